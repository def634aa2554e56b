"""A scenario file does the same dive again, on its own plan only. TOML is held to Python's own reader."""

import shlex
import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lander import VERSION
from seatrial.plan import PlanError, sample_text
from seatrial.scenario import Scenario, ScenarioError, plan_hash, read, replay_command, write

from .flying import SAMPLE, changed, fly
from .test_faults import faults

HASH = plan_hash(SAMPLE)
GOOD = Scenario(HASH, 7, ("jammed:channel=both", "reset@record+600s"), None, "law 4: it gave up")


def kept(text: str, folder: Path) -> Path:
    path = folder / "scenario.toml"
    path.write_text(text, encoding="utf-8")
    return path


@given(st.lists(faults().map(str), max_size=4), st.integers(0, 2**32 - 1), st.text(max_size=40))
def test_what_is_written_is_read_back(tmp_path_factory, written, seed, found):
    scenario = Scenario(HASH, seed, tuple(written), None, found)
    assert read(kept(write(scenario), tmp_path_factory.mktemp("scenario"))) == scenario


def test_the_first_line_is_the_command_that_does_it_again():
    first = write(GOOD).splitlines()[0]
    assert first == "# Replay: " + GOOD.command()
    assert shlex.split(first.removeprefix("# Replay: ")) == [
        "tumblehome", "rehearse", "--seed", "7", "--fault", "jammed:channel=both", "--fault", "reset@record+600s"]


def test_a_line_break_in_the_name_of_the_plan_cannot_end_the_comment():
    text = write(Scenario(HASH, plan=Path("a\nseed = 3\nb.toml")))
    assert tomllib.loads(text)["seed"] == 1


def test_a_plan_that_begins_with_a_dash_is_no_option():
    assert replay_command(Path("-x.toml"), (), 1) == "tumblehome rehearse ./-x.toml --seed 1"


def test_it_replays_to_the_same_journal(tmp_path):
    scenario = read(kept(write(GOOD), tmp_path))
    again = fly(*map(str, scenario.parsed()), plan=scenario.load_plan(), seed=scenario.seed)
    assert again.journal == fly(*GOOD.faults, seed=7).journal
    assert scenario.version == VERSION


def test_the_plan_is_found_from_where_the_file_lies(tmp_path, monkeypatch):
    (tmp_path / "plans").mkdir()
    (tmp_path / "found").mkdir()
    (tmp_path / "plans" / "mine.toml").write_text(sample_text(), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    text = write(Scenario(HASH, plan=Path("plans/mine.toml")), Path("found"))
    assert tomllib.loads(text)["plan"] == "../plans/mine.toml"
    monkeypatch.chdir("/")
    scenario = read(kept(text, tmp_path / "found"))
    assert plan_hash(scenario.load_plan()) == HASH


def test_a_plan_that_is_gone_is_told_as_a_plan(tmp_path):
    with pytest.raises(PlanError):
        Scenario(HASH, plan=tmp_path / "gone.toml").load_plan()


@pytest.mark.parametrize("other", [
    changed(site={"depth_m": 431.0}), changed(times={"timed_release_min": 301.0}),
    changed(sensors={}, release={"rise_m": 4.0})])
def test_another_number_gives_another_hash(other):
    assert plan_hash(other) != HASH


def test_another_name_is_the_same_dive():
    assert plan_hash(changed(dive={"name": "Another name"}, card={"looks_like": "a green box"})) == HASH


def test_it_is_not_replayed_on_another_plan():
    with pytest.raises(ScenarioError) as told:
        Scenario("0" * 16).load_plan()
    assert str(told.value).startswith("plan_hash is %s, but the numbers of the sample give %s" % ("0" * 16, HASH))
    assert "\n" not in str(told.value)


@pytest.mark.parametrize(("old", "new", "said"), [
    ("seed = 7", "seed = -7", ["seed is -7", "0 to 4294967295"]),
    ("seed = 7", "seed = 7.5", ["seed is 7.5", "whole number"]),
    ("seed = 7", "seed = true", ["seed is True", "whole number"]),
    ("seed = 7", "", ["key seed is missing"]),
    ("seed = 7", "seed = 7\nsead = 8", ["key sead is not known", "seed"]),
    ("format = 1", "format = 2", ["format is 2", "reads 1"]),
    ("jammed:", "jamed:", ["fault 'jamed' is not known", "did you mean jammed"]),
    ('"jammed:channel=both"', "5", ["no text"]),
    ("seed = 7", "seed = ", ["no TOML"]),
])
def test_a_wrong_file_is_one_sentence_with_the_part_and_the_way_out(tmp_path, old, new, said):
    path = kept(write(GOOD).replace(old, new), tmp_path)
    with pytest.raises(ScenarioError) as told:
        read(path)
    assert str(told.value).count("\n") == 0
    for part in (str(path), *said):
        assert part in str(told.value)


def test_a_file_that_is_not_there_is_one_sentence(tmp_path):
    with pytest.raises(ScenarioError, match="cannot be read .no such file"):
        read(tmp_path / "gone.toml")


def test_bytes_that_are_no_text_are_one_sentence(tmp_path):
    path = tmp_path / "scenario.toml"
    path.write_bytes(b"\xff\xfe")
    with pytest.raises(ScenarioError, match="no TOML"):
        read(path)
