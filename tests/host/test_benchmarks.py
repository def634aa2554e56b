"""The tables of the benchmarks are chosen, made and told as promised, in tiny sizes. No time is asserted."""

import json

import pytest

from seatrial import bench
from seatrial.bench_tables import Outcome, Table
from seatrial.bodies import BodyError
from tumblehome import benchmarks, budgets
from tumblehome.benchmarks import CATALOGUE, Entry
from tumblehome.debrief import log
from tumblehome.debrief.long_log import image_of

TINY = benchmarks.Size(bench.Effort(1, 2, 0), particles=1000, readings=200, sweep=("--only", "no-fix"), searches=200,
                       lines=50)


def cannot(_size):
    raise BodyError("there is no `micropython` here")


SHORT_LIST = (
    Entry("quick", "a table", lambda size: Table(("Quick.",), ("what", "s"), (("one", "1"),),
                                                 (Outcome("One", 2.0, 1.0, "s", False),))),
    Entry("bare", "needs what is not here", cannot),
    Entry("slow", "a long table", lambda size: Table(("Slow.",), (), ()), True),
)


@pytest.fixture
def told(monkeypatch, capsys):
    """Runs the command on a short list; what it prints."""
    monkeypatch.setattr(benchmarks, "CATALOGUE", SHORT_LIST)

    def run(*words):
        assert benchmarks.main(words) == 0
        return capsys.readouterr().out
    return run


def test_without_a_word_all_but_the_long_tables_are_made_with_the_machine_first_and_the_aims_last(told):
    lines = told().splitlines()
    assert lines[0].startswith("`python -m tumblehome.benchmarks`, version") and "load" in lines[0]
    assert [line for line in lines if line.startswith("### ")] == ["### quick", "### bare", "### The aims"]
    assert lines[-1] == "| One | up to 2 s | 1 s | 2.00 | reached |"


def test_long_tables_are_made_when_asked_for_or_named(told):
    assert "### slow" in told("--long")
    assert "### slow" in told("--table", "slow") and "### quick" not in told("--table", "slow")


def test_a_table_that_cannot_be_made_here_says_why(told):
    assert "Not measured: there is no `micropython` here." in told("--table", "bare")


def test_a_name_that_is_no_table_is_refused(told, capsys):
    with pytest.raises(SystemExit):
        benchmarks.main(["--table", "quikc"])
    assert "quikc" in capsys.readouterr().err


def test_the_list_names_every_table_and_makes_none(told):
    assert [line.split()[0] for line in told("--list").splitlines()] == ["quick", "bare", "slow"]


def test_the_tables_as_data_are_those_that_are_printed(told):
    made = json.loads(told("--json"))
    assert [table["about"] for table in made] == [["Quick."], ["Not measured: there is no `micropython` here."]]
    assert Outcome(**made[0]["outcomes"][0]).is_reached


def test_what_the_design_asks_for_stands_in_the_catalogue():
    names = [one.name for one in CATALOGUE]
    assert len(set(names)) == len(names)
    assert {"sea", "plain", "cores", "sweep", "firmware", "day"} <= set(names)
    assert [one.name for one in CATALOGUE if one.is_long] == ["sweep", "trials", "storm"]


def test_a_long_log_is_whole_and_goes_on_without_a_gap():
    read = log.parse(image_of(benchmarks.sample()[0], 500), "a long log")
    assert not read.unread.sentences()
    seconds = read.mission_s
    assert (seconds[1:] >= seconds[:-1]).all() and len(read.records) > 500
    assert read.dives()[-1].records["state"][-1] == read.records["state"][-1]


def test_the_table_of_a_day_of_readings_tells_of_an_aim_only_where_it_was_a_day():
    table = benchmarks.day(TINY)
    assert [len(row) for row in table.rows] == 3 * [len(table.head)]
    assert table.outcomes == ()


def test_the_table_of_the_firmware_tells_each_budget_as_an_aim_and_the_allocations_of_all_states_as_one(monkeypatch):
    monkeypatch.setattr(benchmarks, "find_micropython", lambda: "micropython")
    monkeypatch.setattr(budgets, "bytecode", lambda plan: [
        budgets.Row("names", "Bytecode", "names in them", 43_000, "bytes"),
        budgets.Row("always", "Bytecode", "always in memory", 66_000, "bytes", 65_536)])
    monkeypatch.setattr(budgets, "steps", lambda plan: [
        budgets.Row("allocated_safe_bytes", "Allocated", "safe", 0, "bytes", 0),
        budgets.Row("allocated_armed_bytes", "Allocated", "armed", 16, "bytes", 0)])
    table = benchmarks.firmware(TINY)
    assert [row[2] for row in table.rows] == ["43 000 bytes", "66 000 bytes", "0 bytes", "16 bytes"]
    assert [one.told for one in table.outcomes] == ["missed: 0.71 % above the aim", "missed by 16 bytes"]


@pytest.mark.long
@pytest.mark.parametrize("name", [one.name for one in CATALOGUE if one.name != "firmware"])
def test_every_table_in_tiny_size_is_whole(name):
    table = benchmarks.made(next(one for one in CATALOGUE if one.name == name), TINY)
    assert table.about
    assert {len(row) for row in table.rows} <= {len(table.head)}
    assert all(isinstance(one, Outcome) and one.row() for one in table.outcomes)
