"""`tumblehome explore`: what it says, what it writes, and how it leaves."""

import json
import tomllib

import pytest
import typer
from typer.testing import CliRunner

from seatrial.broken_core import mission_class, read_edits
from seatrial.explore import explore
from seatrial.known_bad import LIST
from tumblehome import exploring

app = typer.Typer()
app.command("explore")(exploring.explore_command)


@pytest.fixture
def run(monkeypatch, tmp_path):
    monkeypatch.chdir(tmp_path)

    def run(*words):
        return CliRunner().invoke(app, list(words))

    return run


def test_the_planned_dive_of_the_sample_is_explored_and_breaks_no_law(run, tmp_path):
    result = run("--bound", "0", "--out", "found")
    assert result.exit_code == 0, result.output
    assert "exhausted: every course with at most 0 surprises" in result.output
    assert "again   tumblehome explore --bound 0" in result.output
    told = json.loads((tmp_path / "found" / "explore.json").read_text())
    assert told["exhausted"]
    assert told["violations"] == []
    assert sum(told["states_by_surprises"]) == told["states"]


def test_with_json_the_same_is_printed(run):
    told = json.loads(run("--bound", "0", "--json").stdout)
    assert (told["bound"], told["exhausted"], told["violations"]) == (0, True, [])


def test_a_broken_law_leaves_with_1_and_writes_the_way_there(run, tmp_path, monkeypatch):
    edit = next(one for one in read_edits(LIST) if one.breaks == "rows are not written")
    core = mission_class([edit])
    monkeypatch.setattr(exploring, "explore",
                        lambda given, bound, progress: explore(given, bound, core, first_only=True, progress=progress))
    result = run("--bound", "0", "--out", "found")
    assert result.exit_code == 1
    assert "LAW 12 BROKEN" in result.output
    (written,) = (tmp_path / "found").glob("voyage-*.toml")
    assert tomllib.loads(written.read_text())["law"] == 12


def test_voyages_at_random_are_told_and_can_be_made_again(run):
    result = run("--bound", "2", "--voyages", "5", "--seed", "3", "--out", "found")
    assert result.exit_code == 0, result.output
    assert "5 voyages at random with up to 2 surprises" in result.output
    assert "again   tumblehome explore --bound 2 --voyages 5 --seed 3" in result.output
    told = json.loads(run("--bound", "2", "--voyages", "5", "--seed", "3", "--json").stdout)
    assert (told["voyages"], told["exhausted"], told["violations"]) == (5, False, [])


def test_a_plan_that_is_not_there_leaves_with_2_before_any_work(run):
    result = run("none.toml")
    assert result.exit_code == 2


def test_a_bound_out_of_range_leaves_with_2(run):
    assert run("--bound", "99").exit_code == 2
