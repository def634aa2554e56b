"""The ways home: the moments that the plan gives are those at which the simulated lander really comes up."""

from itertools import islice

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lander.release import BACKUP, PRIMARY
from seatrial.plan import Plan
from seatrial.workings.release_paths import (
    BY_BACKUP,
    BY_SECOND,
    LAST_ATTEMPT,
    LATEST,
    LINK_EARLIEST,
    LINK_LATEST,
    TIMED,
    attempts_from,
    command_s,
    last_attempt_over_s,
    path_of,
    paths,
)

from ..flying import fly
from .plans_for_tests import sample, with_keys

COMMANDED = (TIMED, BY_BACKUP, LATEST, LAST_ATTEMPT)


def surfaced_min(plan: Plan, *faults: str) -> float:
    """Minutes from the splash to the surface in a rehearsal."""
    evidence = fly(*faults, plan=plan).evidence
    assert evidence.surfaced_s is not None
    return (evidence.surfaced_s - evidence.splash_s) / 60


# --- against the simulated sea --------------------------------------------------------------------------------------


@pytest.mark.parametrize(("key", "faults", "changes"), [
    (TIMED, (), {}),
    (BY_BACKUP, ("jammed:channel=primary",), {}),
    (LATEST, (), {"times__timed_release_min": 359.9}),
    (TIMED, (), {"lander__ballast__mass_kg": 16.0, "site__mud_hold_s": 600.0, "times__timed_release_min": 100.0}),
    (BY_BACKUP, ("jammed:channel=primary",), {"release__pause_s": 300.0, "release__primary__fire_s": 500.0}),
])
def test_the_rehearsed_lander_comes_up_at_the_likely_moment_and_between_early_and_late(key, faults, changes):
    plan = with_keys(**changes)
    surfaced = path_of(plan, key).surfaced_min
    rehearsed = surfaced_min(plan, *faults)
    # shedding takes up to shed_s (20 s), and the rehearsed rise is rounded to the controller's steps
    assert rehearsed == pytest.approx(surfaced.likely, abs=0.5)
    assert surfaced.early - 0.5 <= rehearsed <= surfaced.late


def test_a_lander_with_both_channels_jammed_comes_up_between_the_bounds_of_its_link():
    plan = sample()
    rehearsed = surfaced_min(plan, "jammed:channel=both")
    earliest, latest = path_of(plan, LINK_EARLIEST), path_of(plan, LINK_LATEST)
    assert earliest.surfaced_min.early <= rehearsed <= latest.surfaced_min.late


def test_the_attempts_follow_each_other_as_in_the_rehearsal():
    plan = sample()
    evidence = fly("jammed:channel=both", plan=plan).evidence
    reckoned = list(islice(attempts_from(plan.release, command_s(plan, TIMED)), 8))
    for rehearsed, planned in zip(evidence.attempts[:8], reckoned, strict=True):
        assert rehearsed.channel == ("primary", "backup")[planned.channel]
        assert rehearsed.from_s - evidence.splash_s == pytest.approx(planned.from_s, abs=plan.release.shed_s + 2)
        assert rehearsed.to_s - rehearsed.from_s == pytest.approx(planned.until_s - planned.from_s, abs=1)


# --- one path -------------------------------------------------------------------------------------------------------


def test_channels_alternate_and_pauses_double_with_each_pair_up_to_the_longest():
    plan = with_keys(release__pause_s=60.0, release__pause_max_s=200.0)
    attempts = list(islice(attempts_from(plan.release, 0.0), 7))
    pauses = [after.from_s - before.until_s for before, after in zip(attempts, attempts[1:], strict=False)]
    assert pauses == [60.0, 60.0, 120.0, 120.0, 200.0, 200.0]
    assert [attempt.channel for attempt in attempts] == [PRIMARY, BACKUP] * 3 + [PRIMARY]
    assert [attempt.number for attempt in attempts] == list(range(1, 8))


def test_current_flows_by_the_latest_release_even_after_the_longest_shedding():
    plan = sample()
    first = next(attempts_from(plan.release, command_s(plan, LATEST)))
    assert 0 <= plan.times.latest_release_min * 60 - first.from_s < 10


def test_a_wire_that_one_attempt_does_not_part_leaves_the_timed_path_to_the_backup():
    plan = with_keys(release__primary__fire_s=60.0)
    assert plan.release.primary.parting_s() > 60.0
    assert path_of(sample(), TIMED).attempts == 1
    assert path_of(plan, TIMED).attempts == 2
    assert path_of(plan, TIMED).freed_min == path_of(plan, BY_BACKUP).freed_min


def test_work_that_one_attempt_did_counts_in_the_next_on_that_channel():
    slow = with_keys(release__primary__fire_s=60.0, release__backup__turn_s=15.0)  # neither opens at once
    path = path_of(slow, TIMED)
    assert path.attempts == 3
    whole = with_keys(release__primary__fire_s=240.0).release.primary.parting_s()
    third = list(islice(attempts_from(slow.release, command_s(slow, TIMED)), 3))[2]
    assert path.freed_min.likely * 60 == pytest.approx(third.from_s + whole - 60.0)


def test_the_last_planned_attempt_is_the_one_of_the_plan():
    plan = with_keys(release__attempts_planned=3)
    assert path_of(plan, LAST_ATTEMPT).attempts == 3
    assert path_of(plan, LAST_ATTEMPT).freed_min.late == pytest.approx(last_attempt_over_s(plan) / 60)
    assert last_attempt_over_s(plan) < last_attempt_over_s(sample())


def test_a_latch_that_never_gets_round_leaves_a_path_without_an_end():
    plan = with_keys(release__backup__turn_s=1800.0, release__backup__fire_s=1.0)
    path = path_of(plan, BY_BACKUP)
    assert path.freed_min.likely is None
    assert path.surfacing.likely is None
    assert path.attempts is None


def test_without_a_link_there_are_only_the_commanded_ways():
    alone = with_keys(second__fitted=False)
    assert [path.key for path in paths(with_keys(alone, release__passive__fitted=False))] == list(COMMANDED)
    bare = with_keys(alone, release__passive__earliest_h=None, release__passive__latest_h=None)
    assert [path.key for path in paths(bare)] == list(COMMANDED)
    assert len(paths(alone)) == 6


def test_the_second_board_is_a_way_home_of_its_own_after_the_latest_release():
    path = path_of(sample(), BY_SECOND)
    assert path.command_min == 360 + 30  # by hand: times.latest_release_min and second.margin_min of the sample
    # by hand: the latch of the sample turns in 4 s; at worst it does so at the end of its 12 s, by a crystal 50 ppm slow
    assert path.freed_min.likely == pytest.approx(390 + 4 / 60)
    assert path.freed_min.late == pytest.approx(390 * 1.00005 + 12 / 60)
    assert path.freed_min.early == pytest.approx(390 - 20 / 60 + 4 / 60)  # it counts from two looks before the water
    slow = path_of(with_keys(release__backup__turn_s=30.0), BY_SECOND)
    assert slow.surfacing.late is None and slow.freed_min.likely > path.freed_min.likely


def test_a_plan_without_a_second_board_has_no_such_way():
    with pytest.raises(KeyError):
        path_of(with_keys(second__fitted=False), BY_SECOND)


@pytest.mark.parametrize("changes", [
    {"lander__ballast__mass_kg": 1.0},  # never sinks
    {"lander__floats__volume_l": 5.0},  # never rises
    {"site__mud_suction_n": 500.0},  # held for good
])
def test_a_lander_that_does_not_get_down_or_up_surfaces_never(changes):
    for path in paths(with_keys(**changes)):
        assert path.freed_min.likely is not None
        assert path.surfacing.likely is None


def test_mud_that_holds_longer_brings_every_path_up_later_by_as_much():
    for before, after in zip(paths(with_keys(site__mud_hold_s=0.0)), paths(with_keys(site__mud_hold_s=600.0)), strict=True):
        assert after.freed_min == before.freed_min
        assert after.surfaced_min.late == pytest.approx(before.surfaced_min.late + 10)


@given(
    timed=st.floats(1, 600), more=st.floats(1, 600), shed=st.floats(1, 120), pause=st.floats(5, 3600),
    fire_primary=st.floats(0.1, 1800), fire_backup=st.floats(0.1, 1800), attempts=st.integers(2, 30),
    drag=st.floats(0, 80), mass=st.floats(0, 20),
)
@settings(max_examples=40)
def test_no_path_comes_up_late_before_it_comes_up_early(
        timed, more, shed, pause, fire_primary, fire_backup, attempts, drag, mass):
    plan = with_keys(
        times__timed_release_min=timed, times__latest_release_min=timed + more, release__shed_s=shed,
        release__pause_s=pause, release__primary__fire_s=fire_primary, release__backup__fire_s=fire_backup,
        release__attempts_planned=attempts, doubt__drag_pct=drag, doubt__mass_pct=mass)
    for path in paths(plan):
        for band in (path.freed_min, path.surfaced_min):
            known = [value for value in (band.early, band.likely, band.late) if value is not None]
            assert known == sorted(known)
        if path.command_min is not None and path.freed_min.likely is not None:
            assert path.freed_min.likely >= path.command_min
    freed = {path.key: path.freed_min.likely for path in paths(plan)}
    if None not in (freed[TIMED], freed[BY_BACKUP]):
        assert freed[TIMED] <= freed[BY_BACKUP]
