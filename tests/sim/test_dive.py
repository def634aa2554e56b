"""The engine: one seed, one journal; no clock and no chance but its own; and a sea that does not depend on the step."""

import os
import random
import time
from itertools import pairwise

import pytest

from seatrial import hull
from seatrial.dive import Dive

from .flying import SAMPLE, SHORT, changed, dive, fly

PROBE_EVERY_S = 20.0
NO_FAN = changed(fan={"on_c": 79.0, "off_c": 78.0})


# --- the same again ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("faults", [(), ("jammed", "pressure-noisy", "line-noise")], ids=["as planned", "with faults"])
def test_the_same_seed_gives_the_same_journal_byte_for_byte(faults):
    first, again = fly(*faults, plan=SHORT, seed=5), fly(*faults, plan=SHORT, seed=5)
    assert first.journal == again.journal
    assert first.evidence == again.evidence
    assert first.series == again.series


def test_another_seed_gives_another_journal():
    journals = {fly(plan=SHORT, seed=seed).journal for seed in range(6)}
    assert len(journals) == 6


def test_a_dive_asks_no_wall_clock_and_no_global_chance(monkeypatch):
    wanted = fly(plan=SHORT).journal

    def refuse(*_args, **_more):
        raise AssertionError("the simulation asked for the wall clock or for global chance")
    with monkeypatch.context() as patch:
        for name in ("time", "time_ns", "monotonic", "perf_counter", "sleep"):
            patch.setattr(time, name, refuse)
        for name in ("random", "randint", "getrandbits", "uniform", "gauss", "choice"):
            patch.setattr(random, name, refuse)
        patch.setattr(os, "urandom", refuse)
        journal = fly(plan=SHORT).journal
    assert journal == wanted


def test_who_looks_on_changes_nothing():
    seen = []
    watched = Dive(SHORT, progress=lambda now_s, end_s: seen.append((now_s, end_s))).run()
    blind = Dive(SHORT, keep_series=False).run()
    assert watched.journal == blind.journal
    assert blind.series.time_s == []
    assert seen and all(now_s <= end_s for now_s, end_s in seen)


# --- the step does not matter ----------------------------------------------------------------------------------------


def depths_and_events(plan, until_s: float = 20_000.0) -> tuple[list[float], dict[str, float]]:
    """True depth at equal times, and the times of the events."""
    one = dive(plan=plan)
    depths: list[float] = []
    for number in range(int(until_s / PROBE_EVERY_S)):
        one.at(number * PROBE_EVERY_S, lambda: depths.append(one.world.hull.depth_m))
    evidence = one.run().evidence
    return depths, {name: getattr(evidence, name) for name in (
        "under_s", "touchdown_s", "command_s", "freed_s", "left_bottom_s", "surfaced_s")}


def worst_event_s(one: dict[str, float], other: dict[str, float]) -> float:
    return max(abs(one[name] - other[name]) for name in one)


def test_half_the_step_of_the_physics_changes_depth_by_less_than_a_decimetre(monkeypatch):
    depths, events = depths_and_events(SAMPLE)
    monkeypatch.setattr(hull, "MAX_STEP_S", 0.5 * hull.MAX_STEP_S)
    finer, finer_events = depths_and_events(SAMPLE)
    assert max(abs(one - other) for one, other in zip(depths, finer, strict=True)) < 0.1
    assert worst_event_s(events, finer_events) < 0.5


def test_readings_twice_as_often_change_depth_by_less_than_a_decimetre():
    journal = SAMPLE.journal
    often = changed(journal={"reading_descent_s": 0.5 * journal.reading_descent_s,
                             "reading_bottom_s": 0.5 * journal.reading_bottom_s})
    depths, events = depths_and_events(SAMPLE)
    finer, finer_events = depths_and_events(often)
    down = int(SAMPLE.times.timed_release_min * 60.0 / PROBE_EVERY_S)
    assert max(abs(one - other) for one, other in zip(depths[:down], finer[:down], strict=True)) < 0.1
    assert worst_event_s(events, finer_events) < 0.5


# --- the sample's numbers are those of the trade ---------------------------------------------------------------------


def test_it_sinks_as_fast_as_landers_do():
    """Common practice, no source: a free-fall lander sinks at 0.5 to 1.2 m/s."""
    result = fly(plan=SHORT)
    points = [(time_s, depth_m) for time_s, depth_m in zip(result.series.time_s, result.series.depth_m, strict=True)
              if 10.0 < depth_m < 425.0 and time_s < result.evidence.touchdown_s]
    rates = [(depth_m - before_m) / (time_s - before_s)
             for (before_s, before_m), (time_s, depth_m) in pairwise(points[::10])]
    assert min(rates) >= 0.5
    assert max(rates) <= 1.2


def minutes_of(result, what: str) -> list[float]:
    return [item.time_s / 60.0 for item in result.evidence.timeline if what in item.what]


def test_a_sealed_camera_without_its_fan_is_too_hot_in_30_to_40_minutes_of_a_dive():
    """Common practice, no source: 30 to 40 minutes at full power."""
    result = fly(plan=NO_FAN)
    on_deck, filmed = minutes_of(result, "camera: recording")[:2]  # the first is the self-test
    assert on_deck < result.evidence.splash_s / 60.0 < filmed
    filmed_min = minutes_of(result, "camera: too hot")[0] - filmed
    assert 30.0 <= filmed_min <= 40.0


def test_a_sealed_camera_with_its_fan_films_for_hours():
    """Common practice, no source."""
    result = fly()
    assert minutes_of(result, "camera: too hot") == []
    assert result.evidence.recorded_on_bottom_s > 4 * 3600.0
    assert max(result.series.camera_c) < SAMPLE.camera.hot_c


# --- the controller in its sea ---------------------------------------------------------------------------------------


def test_it_is_armed_by_the_magnet_and_released_by_its_clock():
    evidence = fly(plan=SHORT).evidence
    assert evidence.rows_seen == [
        "safe-arm", "armed-splash", "descend-settled", "record-due", "release-rising", "ascend-surface"]
    assert evidence.command_s == pytest.approx(evidence.under_s + 60 * 60.0, abs=10.0)


def test_time_in_the_series_never_goes_back_and_depth_stays_in_the_sea():
    series = fly("jammed", "reset@record", plan=SHORT).series
    assert all(before <= after for before, after in pairwise(series.time_s))
    assert all(0.0 <= depth_m <= SHORT.site.depth_m for depth_m in series.depth_m)
    assert len({len(getattr(series, name)) for name in series.__dataclass_fields__}) == 1


def test_a_controller_without_power_has_every_output_off_and_starts_again_by_itself():
    one = dive("power-gone:for_s=300@record+5min", plan=SHORT)
    levels = []
    one.at(600.0 + 1800.0, lambda: None)
    tell = one.story.controller_off
    one.story.controller_off = lambda why: (tell(why), one.at(one.world.now_s + 1.0, lambda: levels.append(
        (one.world.controller_on, one.world.levels))))
    evidence = one.run().evidence
    assert [(on, set(outputs)) for on, outputs in levels] == [(False, {0})]
    off, on = evidence.powered[0].to_s, evidence.powered[1].from_s
    assert 300.0 <= on - off <= 300.0 + 10.0 + SHORT.power.boot_s
    assert evidence.surfaced_s is not None


def test_a_hung_controller_holds_its_outputs_until_the_watchdog_bites():
    evidence = fly("hang:watchdog_s=20@record+5min", plan=SHORT).evidence
    began_s = next(span.from_s for span in evidence.spans if span.name == "record") + 300.0
    assert evidence.resets_s == [pytest.approx(began_s + 20.0)]


def test_the_run_goes_on_for_as_long_as_the_plan_watches_and_no_longer():
    evidence = fly(plan=SHORT).evidence
    assert evidence.end_s == pytest.approx(evidence.surfaced_s + 20 * 60.0)


def test_it_comes_up_where_the_current_has_carried_it():
    """The sample's current sets between 40 and 75 degrees true at 0.06 to 0.32 m/s."""
    result = fly(plan=SHORT)
    east_m, north_m = result.surfaced_at
    in_water_s = result.evidence.surfaced_s - result.evidence.splash_s
    assert 0.0 < north_m < east_m
    assert (east_m**2 + north_m**2) ** 0.5 < 0.32 * in_water_s


def test_a_run_ends_some_hours_after_the_last_thing_that_could_bring_it_up():
    """All the ballast hangs on: neither the link nor another attempt helps. A jammed latch leaves the link to wait for,
    and a line that lets go one day is waited for too."""
    driven_h = (SHORT.times.latest_release_min + SHORT.times.slowest_ascent_min + SHORT.times.surface_margin_min) / 60.0
    hangs = fly("ballast-hangs:part=1", plan=SHORT).evidence
    assert hangs.surfaced_s is None
    assert hangs.end_s - hangs.splash_s == pytest.approx(3600.0 * (driven_h + 3.0))
    assert fly("jammed:channel=both", plan=SHORT).evidence.freed_by == "passive"
    caught = fly("caught:for_s=100000@60m", plan=SHORT).evidence
    assert caught.surfaced_s > 100000.0
    lost = fly("jammed:channel=both", "link-never", plan=SHORT).evidence
    assert lost.end_s == hangs.end_s


def test_a_release_that_is_slow_beyond_the_plan_is_waited_for():
    patient = changed(SHORT, release={"pause_s": 3600.0, "pause_max_s": 7200.0})
    evidence = fly("slow-release:channel=both,rate=0.01", "link-never", plan=patient).evidence
    assert evidence.surfaced_s - evidence.splash_s > 40 * 3600.0
