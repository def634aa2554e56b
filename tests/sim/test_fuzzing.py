"""Dives drawn at random: what is drawn can be flown, broken cores are caught, and what is found can be flown again.

No outside source: the search is measured by cores that are broken on purpose.
"""

import tomllib
from concurrent.futures import Executor, Future

import pytest
from hypothesis import HealthCheck, given, settings

from lander import table
from seatrial import deeds
from seatrial.broken_core import mission_class
from seatrial.dive import Dive
from seatrial.faults import KINDS
from seatrial.fuzzing import drawing, flying, running, search
from seatrial.fuzzing.coverage import CONDITIONS, FAULTS, ROWS, WatchedBody, all_points, missing, points_of
from seatrial.fuzzing.drawing import Drawn, all_kinds, dives
from seatrial.fuzzing.search import Cause, Finding, Round, distinct
from seatrial.fuzzing.variants import BRISK, SCALED, WORDS, told, variant
from seatrial.laws import BROKEN
from seatrial.scenario import Scenario, plan_hash, read, write

from .broken_cores import EDITS, body_of, core_of
from .flying import SAMPLE

BRISK_PLAN = variant(SAMPLE, BRISK)
QUIET = settings(max_examples=25, derandomize=True, deadline=None, database=None,
                 suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])


# --- drawing -------------------------------------------------------------------------------------------------------


@QUIET
@given(dives(SAMPLE))
def test_what_is_drawn_is_a_plan_that_its_checks_allow_and_faults_that_can_be_read(drawn):
    assert variant(SAMPLE, drawn.changes) is not None
    assert [str(fault) for fault in drawn.parsed()] == list(drawn.faults)
    assert len(drawn.faults) <= drawing.FAULTS_MAX


@QUIET
@given(dives(SAMPLE))
def test_a_drawn_dive_stands_in_a_scenario_file_and_comes_back(tmp_path_factory, drawn):
    folder = tmp_path_factory.mktemp("drawn")
    scenario = Scenario(plan_hash(SAMPLE), drawn.seed, drawn.faults, changes=drawn.changes)
    (folder / "scenario.toml").write_text(write(scenario, folder), encoding="utf-8")
    again = read(folder / "scenario.toml")
    assert (again.faults, again.seed) == (drawn.faults, drawn.seed)
    assert again.load_plan().model_dump() == variant(SAMPLE, drawn.changes).model_dump()
    assert again.load_plan().mission_record() == variant(SAMPLE, drawn.changes).mission_record()


@QUIET
@given(drawing._course())
def test_what_people_do_is_drawn_in_its_order(course):
    onsets = [deeds.parse(text).when for text in course]
    at_the_surface = [when.after_s for when in onsets if when.word == "surface"]
    assert len(course) > 1
    assert at_the_surface == sorted(at_the_surface)


def test_every_key_that_is_drawn_stands_in_the_plan():
    assert [key for key in SCALED if not SAMPLE.value(key)] == [], "a part of nothing is nothing"
    assert [key for key, words in WORDS.items() if SAMPLE.value(key) not in words] == []


def test_faults_and_deeds_are_drawn_alike():
    assert set(all_kinds()) > set(KINDS)
    assert set(drawing.OFTEN) <= set(all_kinds())


def test_changes_are_told_as_they_stand_in_a_plan():
    assert told({"site.depth_m": 30.0, "second.fitted": False, "release.primary": {"kind": "latch"}}) == [
        "site.depth_m = 30", "second.fitted = False", "release.primary = latch"]


# --- coverage ------------------------------------------------------------------------------------------------------


def reached(*faults: str) -> frozenset[str]:
    return flying.fly(SAMPLE, Drawn(faults, BRISK)).points


def test_a_planned_dive_reaches_the_rows_of_a_planned_dive():
    rows = {point for point in reached() if point.startswith("row ")}
    assert rows == {"row safe-arm", "row armed-splash", "row descend-settled", "row record-due", "row release-rising",
                    "row ascend-surface"}


def test_a_condition_counts_each_way_in_the_state_that_asks_for_it():
    there = reached()
    assert {"due in record is false", "due in record is true", "arm_asked in safe is true"} <= there
    assert "leak in record is true" not in there and "leak in record is false" in there
    assert "leak in record is true" in reached("leak@record+60s")
    assert not {point for point in there if " in armed is" in point and "wet" not in point and "disarm" not in point}


def test_a_fault_counts_in_the_state_in_which_it_begins_and_one_of_the_site_in_the_first():
    assert {"jammed in record", "deeper in safe"} <= reached("jammed@record+60s", "deeper@start")
    assert not {point for point in reached("jammed@backup") if point.startswith("jammed")}


def test_every_point_that_is_reached_is_one_of_all_points_and_the_rest_is_missing():
    kinds = list(all_kinds().values())
    points = all_points(kinds)
    there = reached("jammed@record", "leak@record+60s", "say@start+60s")
    listed = {point for some in points.values() for point in some}
    assert there <= listed
    assert len(points[ROWS]) == len(table.ROWS)
    left = missing(there, kinds)
    assert sum(map(len, left.values())) == len(listed) - len(there)
    assert len(points[CONDITIONS]) % 2 == 0 and len(points[FAULTS]) > len(kinds)


def test_the_watched_body_flies_like_the_plain_one():
    body = WatchedBody(BRISK_PLAN.mission_record())
    result = Dive(BRISK_PLAN, [], 1, body).run()
    assert result.journal == Dive(BRISK_PLAN, [], 1).run().journal
    assert points_of(result, body) == reached()


# --- findings ------------------------------------------------------------------------------------------------------


def found(breaks: str, examples: int = 60) -> list[Finding]:
    """What a small round finds in this broken core."""
    return list(search.search(SAMPLE, 1, examples, core=core_of(breaks), shrink_flights=60).findings)


@pytest.mark.parametrize(("breaks", "law", "faults"), [
    ("the timed release never comes due", 2, 0), ("the beacon is never lit", 8, 0),
    ("the backup channel is never tried", 4, 1)])
def test_a_broken_core_is_caught_and_the_dive_is_shrunk_to_what_it_takes(breaks, law, faults):
    shortest, = (one for one in found(breaks) if one.law == law)
    assert len(shortest.drawn.faults) == faults
    assert shortest.drawn.changes == {} and shortest.sentence


def test_another_make_of_the_core_is_blamed_for_what_the_true_one_keeps():
    edit = next(one for one in EDITS.values() if one.law == 8)
    assert ": law 8: " in search.blames(SAMPLE, mission_class([edit]), 20)
    assert search.blames(SAMPLE, mission_class([]), 20) == ""


def test_a_core_that_stops_with_an_error_is_a_finding(monkeypatch):
    monkeypatch.setattr("lander.drive.fan", lambda mission, inputs: 1 // 0)
    first, = found_in_one_dive()
    assert first.law == flying.STOPPED and first.sentence.startswith("ZeroDivisionError")


def found_in_one_dive() -> tuple[Finding, ...]:
    return search.search(SAMPLE, 1, 1, shrink_flights=5).findings


def test_a_finding_replays_to_the_same_verdicts(tmp_path):
    finding = found("the beacon is never lit", 5)[0]
    scenario = Scenario(plan_hash(SAMPLE), finding.drawn.seed, finding.drawn.faults, changes=finding.drawn.changes)
    path = tmp_path / "finding.toml"
    path.write_text(write(scenario, tmp_path, path.name), encoding="utf-8")
    again = read(path)
    plan = again.load_plan()
    result = Dive(plan, again.parsed(), again.seed, body_of("the beacon is never lit", plan)).run()
    assert {one.number: one.sentence for one in result.verdicts if one.verdict == BROKEN}[8] == finding.sentence


def test_a_known_cause_is_passed_over():
    known = [Cause(law, frozenset(), frozenset()) for law in range(14)]
    assert search.search(SAMPLE, 1, 5, known, core_of("the beacon is never lit")).findings == ()


def test_the_same_seed_makes_the_same_round():
    assert search.search(SAMPLE, 7, 6, shrink_flights=5) == search.search(SAMPLE, 7, 6, shrink_flights=5)


def test_when_time_is_up_nothing_more_is_flown():
    assert search.search(SAMPLE, 1, 30, may_go_on=lambda: False) == Round(0, frozenset(), ())


def test_a_cause_is_told_once_by_its_shortest_dive():
    short = Finding(4, "gave up", Drawn(("jammed",), {}))
    longer = Finding(4, "gave up", Drawn(("jammed", "reset"), BRISK))
    other_law = Finding(1, "late", Drawn(("jammed", "reset"), {}))
    other_cause = Finding(4, "gave up", Drawn(("caught",), {}))
    assert distinct([longer, other_cause, short, other_law]) == [other_law, other_cause, short]


# --- running -------------------------------------------------------------------------------------------------------


class AtOnce(Executor):
    """An executor that does everything in this process, in order."""

    def submit(self, function, /, *args, **kwargs):
        future: Future = Future()
        try:
            future.set_result(function(*args, **kwargs))
        except Exception as error:
            future.set_exception(error)
        return future


def test_rounds_add_up_to_the_dives_that_were_asked_for():
    rounds = list(running.rounds_of(330))
    assert sum(rounds) == 330
    assert all(0 < size <= running.ROUND for size in rounds)


def test_a_run_tells_its_progress_and_ends(monkeypatch):
    monkeypatch.setattr(running, "ROUND", 1)
    told = []
    fuzz = running.fuzz(SAMPLE, 1, 3, None, AtOnce(), progress=lambda one: told.append(one.dives))
    assert len(told) == fuzz.rounds == 3 and told == sorted(told)
    assert fuzz.dives == told[-1] > 0


def test_a_run_without_time_left_flies_nothing():
    assert running.fuzz(SAMPLE, 1, None, 0.0, AtOnce()).dives == 0


def test_another_version_of_the_tool_is_refused():
    with pytest.raises(running.CampaignError, match="install the same version"):
        running.fly_round(SAMPLE, "0", 1, 1, (), None)


def test_a_change_of_a_section_stands_as_an_inline_table():
    text = write(Scenario(plan_hash(SAMPLE), changes={"release.primary": SAMPLE.release.backup.model_dump()}))
    assert tomllib.loads(text)["changes"]["release.primary"]["kind"] == "latch"
    assert text.startswith("# Replay: tumblehome rehearse --scenario scenario.toml\n")
