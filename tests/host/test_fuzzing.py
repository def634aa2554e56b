"""`tumblehome fuzz` as a person meets it: dives drawn at random, what was found and reached, and files to fly again.

The checks of one run against another are checks of the tool against itself. 130 is 128 + SIGINT, as shells report it
(common practice, no source).
"""

import json
import re
import shlex

import pytest

from seatrial.fuzzing import running
from seatrial.fuzzing.drawing import Drawn
from seatrial.fuzzing.search import Finding
from seatrial.plan import load_sample
from seatrial.scenario import Scenario, plan_hash, read, write
from tumblehome import fuzzing

JAMMED = Finding(4, "It gave up.", Drawn(("jammed", "reset@record"), {"second.fitted": False}, 7))


@pytest.fixture
def found(monkeypatch):
    """A run that finds what it is told to, at once."""
    def set_to(*findings: Finding, stopped: bool = False) -> None:
        told = running.Fuzz(20, 2, frozenset({"row safe-arm", "jammed in record"}), list(findings))
        monkeypatch.setattr(fuzzing, "_flown", lambda *given: (told, stopped))
    return set_to


def test_it_flies_so_many_dives_and_tells_what_they_reached(run, tmp_path):
    said = run("fuzz", "--examples", 4, "--seed", 3, "--cores", 1, "--out", "out")
    told = json.loads((tmp_path / "out" / "fuzz.json").read_text())
    assert said.status == (1 if told["findings"] else 0)
    assert told["dives"] > 0
    for found in told["coverage"].values():
        assert found["reached"] + len(found["unreached"]) == found["of"]
    assert re.search(r"(?m)^ +%d +53  rows of the mission table taken" % told["coverage"]["rows"]["reached"], said.out)


def test_the_command_that_it_tells_finds_the_same(run, tmp_path):
    run("fuzz", "--examples", 3, "--seed", 5, "--out", "one")
    first = json.loads((tmp_path / "one" / "fuzz.json").read_text())
    words = shlex.split(first["command"])
    assert words[:2] == ["tumblehome", "fuzz"]
    run(*words[1:-1], "two")
    second = json.loads((tmp_path / "two" / "fuzz.json").read_text())
    assert {**first, "command": "", "findings": []} == {**second, "command": "", "findings": []}
    assert [one["faults"] for one in first["findings"]] == [one["faults"] for one in second["findings"]]


def test_a_finding_is_told_with_a_file_and_the_command_that_flies_it(run, tmp_path, found):
    found(JAMMED)
    said = run("fuzz", "--out", "out")
    assert said.status == 1
    for line in ("LAW 4 Never give up: It gave up.", "       jammed", "       reset@record", "       second.fitted = False",
                 "LAWS BROKEN in 1 way"):
        assert line in said.out.splitlines(), line
    command = re.search(r"tumblehome (rehearse --scenario \S+)", said.out)
    scenario = read(tmp_path / "out" / "finding-01.toml")
    assert (scenario.faults, scenario.seed, scenario.changes) == (("jammed", "reset@record"), 7, {"second.fitted": False})
    flown = run(*shlex.split(command[1]), "--json", "--out", "again")
    told = json.loads(flown.out)
    assert (told["seed"], [fault["written"] for fault in told["faults"]]) == (7, ["jammed", "reset@record"])
    assert told["command"] == "tumblehome " + command[1]


def test_nothing_found_is_status_0_and_the_keyboard_130(run, found):
    found()
    said = run("fuzz", "--out", "out")
    assert said.status == 0 and "LAWS KEPT  No law was broken in " in said.out
    found(JAMMED, stopped=True)
    said = run("fuzz", "--out", "out")
    assert said.status == 130 and re.fullmatch(r"stopped: \d+ dives were flown; what was found is in out\n", said.err)


def test_json_is_what_stands_in_the_file(run, tmp_path, found):
    found(JAMMED)
    said = run("fuzz", "--json", "--out", "out")
    assert json.loads(said.out) == json.loads((tmp_path / "out" / "fuzz.json").read_text())
    assert json.loads(said.out)["findings"][0]["file"] == "finding-01.toml"


@pytest.mark.parametrize(("options", "said"), [
    (("--minutes", "0"), "--minutes is 0; allowed is more than 0"),
    (("--minutes", "nan"), "--minutes is nan; allowed"), (("--minutes", "soon"), "--minutes is soon; allowed"),
    (("--examples", "0"), "--examples is 0; allowed is a whole number from 1"),
    (("--seed", "-1"), "--seed is -1; allowed"), (("--cores", "0"), "--cores is 0; allowed"),
    (("--minutes", "1", "--examples", "1"), "--minutes and --examples were both given"),
])
def test_bad_input_is_one_sentence_and_status_2(run, options, said):
    told = run("fuzz", *options)
    assert told.status == 2
    assert said in told.err and told.err.count("\n") == 1


def test_without_hypothesis_it_says_what_to_install(run, monkeypatch):
    def gone(name, *given, **more):
        if name.startswith("seatrial.fuzzing"):
            raise ModuleNotFoundError("No module named 'hypothesis'", name="hypothesis")
        return true(name, *given, **more)
    true = __import__
    monkeypatch.setattr("builtins.__import__", gone)
    said = run("fuzz", "--examples", "1")
    assert said.status == 2 and "pip install 'tumblehome[fuzz]'" in said.err


# --- rehearse --scenario -------------------------------------------------------------------------------------------


def scenario_file(folder, **more):
    path = folder / "mine.toml"
    path.write_text(write(Scenario(plan_hash(load_sample()), 5, ("jammed@record",), **more), folder, path.name))
    return path


def test_a_scenario_is_the_dive_of_its_faults_and_seed(run, tmp_path):
    scenario_file(tmp_path)
    one = run("rehearse", "--scenario", "mine.toml", "--out", "one")
    two = run("rehearse", "--seed", 5, "--fault", "jammed@record", "--out", "two")
    assert one.status == two.status == 0
    assert (tmp_path / "one" / "journal.bin").read_bytes() == (tmp_path / "two" / "journal.bin").read_bytes()


def test_a_scenario_flies_its_variant_of_the_plan(run, tmp_path):
    scenario_file(tmp_path, changes={"times.timed_release_min": 60.0, "times.latest_release_min": 70.0})
    told = json.loads(run("rehearse", "--scenario", "mine.toml", "--json", "--out", "out").out)
    released_s = next(item["time_s"] for item in told["timeline"] if item["what"] == "record to release")
    assert 3600 <= released_s - told["outcome"]["splash_s"] < 3610
    assert told["plan_toml"].startswith("# changed: times.timed_release_min = 60.0\n")


@pytest.mark.parametrize(("options", "said"), [
    (("--seed", "3"), "--scenario has plan, faults and seed of its own"),
    (("--fault", "jammed"), "--scenario has plan, faults and seed of its own"),
])
def test_a_scenario_goes_with_no_fault_or_seed_of_the_command_line(run, tmp_path, options, said):
    scenario_file(tmp_path)
    told = run("rehearse", "--scenario", "mine.toml", *options)
    assert told.status == 2 and said in told.err


@pytest.mark.parametrize(("old", "new", "said"), [
    ("seed = 5", "seed = -5", "seed is -5"), ("jammed", "jamed", "did you mean jammed?"),
    ("plan_hash = \"", "plan_hash = \"0", "the numbers of the sample give"),
    ("faults = [", "changes = {\"times.timed_release_min\" = 900}\nfaults = [", "times.timed_release_min is 900"),
    ("faults = [", "changes = 3\nfaults = [", "changes is 3; wanted is a table of keys of the plan"),
])
def test_a_wrong_scenario_is_told_with_its_file(run, tmp_path, old, new, said):
    path = scenario_file(tmp_path)
    path.write_text(path.read_text().replace(old, new))
    told = run("rehearse", "--scenario", "mine.toml")
    assert told.status == 2
    assert said in told.err
