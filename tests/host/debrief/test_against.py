"""Planned numbers beside the real ones: those of a sound dive lie in the plan's bands, and those of another lander do
not. The truth is what the simulator knows of the same dive and the journal does not say.
"""

from math import cos, radians

import pytest

from seatrial.bodies import core_here
from seatrial.deeds import parse as parse_fault
from seatrial.dive import Dive
from seatrial.plan import load_sample
from tumblehome.debrief import log, recover
from tumblehome.debrief.against import INSIDE, OUTSIDE, against
from tumblehome.debrief.law_by_law import CANNOT

PLAN = load_sample()
M_PER_DEG = 111_195.0  # of latitude on a sphere of 6371 km; good to half a per cent


def flown(*faults: str, plan=PLAN, given=PLAN):
    dive = Dive(plan, [parse_fault(fault) for fault in faults], 3, core_here(given.mission_record()), keep_series=False)
    return dive, dive.run()


def dive_of(journal: bytes) -> log.Log:
    return log.parse(journal, "here").dives()[-1]


@pytest.fixture(scope="module")
def sound():
    return flown()


@pytest.fixture(scope="module")
def beside(sound):
    return against(dive_of(sound[1].journal), PLAN)


def test_every_number_of_a_sound_dive_is_inside_its_band_or_has_a_reason_why_it_cannot_be_told(beside):
    assert [row.key for row in beside.rows if row.verdict == OUTSIDE] == []
    assert [row.key for row in beside.rows if row.verdict == CANNOT] == ["off_place_m"]
    assert beside.row("off_place_m").note.startswith("the journal has no position")


def test_moments_read_off_the_journal_are_those_that_truly_were(sound, beside):
    true = sound[1].evidence
    reading_s = PLAN.journal.reading_descent_s
    for key, moment_s in (("command_s", true.command_s), ("surfaced_s", true.surfaced_s),
                          ("off_bottom_s", true.left_bottom_s), ("descent_s", true.touchdown_s)):
        assert abs(beside.row(key).seen - (moment_s - true.splash_s)) <= reading_s + 0.5, key


def test_depth_and_speeds_are_those_that_truly_were(sound, beside):
    true = sound[1].evidence
    assert beside.row("depth_m").seen == pytest.approx(true.deepest_m, abs=0.2)
    assert beside.row("descent_m_s").seen == pytest.approx(
        true.deepest_m / (true.touchdown_s - true.splash_s), rel=0.01)
    assert beside.row("recorded_pct").seen == pytest.approx(
        100 * true.recorded_on_bottom_s / (true.command_s - true.touchdown_s), abs=0.5)


def test_charge_by_load_and_by_state_adds_up_to_what_the_pack_has_truly_given(sound, beside):
    true_mah = 1000.0 * sound[0].world.battery.used_ah
    for spent in (beside.by_load, beside.by_phase):
        assert sum(one.seen_mah for one in spent) == pytest.approx(true_mah, rel=0.01)


def test_each_load_is_told_apart_by_the_current_that_it_truly_draws(beside):
    drawn = {one.words: one.ma for one in beside.by_load if one.told}
    for words, true_ma in (("camera recording", PLAN.camera.recording_ma), ("lamps", PLAN.lights.current_ma),
                           ("fan", PLAN.fan.current_ma)):
        assert drawn[words] == pytest.approx(true_ma, rel=0.02), words


def test_a_lamp_that_draws_more_than_planned_shows_in_its_own_row_alone():
    plan = recover.with_values(PLAN, {"lights.current_ma": 1500.0})
    by_load = {one.words: one for one in against(dive_of(flown(plan=plan)[1].journal), PLAN).by_load}
    assert by_load["lamps"].ma == pytest.approx(1500.0, rel=0.02)
    assert by_load["camera recording"].ma == pytest.approx(PLAN.camera.recording_ma, rel=0.02)


def test_a_beacon_lamp_that_flashes_seldom_by_day_is_not_reckoned_as_a_full_one(sound, beside):
    by_load = {one.words: one for one in beside.by_load}
    for words, true_ma in (("beacon lamp", PLAN.beacon.lamp_ma), ("reports", PLAN.beacon.report_ma)):
        assert by_load[words].told and by_load[words].ma == pytest.approx(true_ma, rel=0.06), words
    lit_h = (sound[1].evidence.end_s - sound[1].evidence.surfaced_s) / 3600.0
    seldom = (100 / 10000) / (100 / 2000)  # milliseconds lit, of each pattern
    assert by_load["beacon lamp"].planned_mah == pytest.approx(PLAN.beacon.lamp_ma * seldom * lit_h, rel=0.03)


def test_a_dead_beacon_lamp_shows_in_its_own_row_alone():
    by_load = {one.words: one for one in against(dive_of(flown("strobe-dead@splash")[1].journal), PLAN).by_load}
    assert by_load["beacon lamp"].ma == pytest.approx(0.0, abs=2.0)
    assert by_load["reports"].ma == pytest.approx(PLAN.beacon.report_ma, rel=0.06)


@pytest.mark.parametrize(("changes", "outside"), [
    ({"lander.drag_coefficient_down": 1.3}, {"descent_s", "descent_m_s", "impact_m_s"}),
    ({"lander.drag_coefficient_up": 1.1}, {"ascent_s", "top_speed_m_s", "surfaced_s"}),
    ({"site.depth_m": 465.0}, {"depth_m", "descent_s", "ascent_s"}),
    ({"heat.camera_to_housing_fan_w_k": 0.20}, {"camera_c"}),
])
def test_what_differs_from_the_plan_lies_outside_and_little_else(changes, outside):
    found = against(dive_of(flown(plan=recover.with_values(PLAN, changes))[1].journal), PLAN)
    told = {row.key for row in found.outside()}
    assert told & outside and told <= outside | {"surfaced_s", "descent_s", "ascent_s", "water_c"}


def test_the_way_home_is_the_one_that_it_took():
    assert against(dive_of(flown()[1].journal), PLAN).way_home == "timed release"
    by_backup = against(dive_of(flown("jammed")[1].journal), PLAN)
    assert by_backup.way_home == "timed release, primary fails"
    assert by_backup.row("surfaced_s").verdict == INSIDE


def test_a_release_before_its_time_has_its_reason_and_no_planned_moment():
    found = against(dive_of(flown("leak@record+1h")[1].journal), PLAN)
    assert found.why == "water inside" and found.way_home == ""
    assert found.row("command_s").verdict == OUTSIDE and "water inside" in found.row("command_s").note
    with pytest.raises(KeyError):
        found.row("surfaced_s")


def test_a_dead_pressure_sensor_leaves_depth_and_speeds_untold_and_says_why():
    found = against(dive_of(flown("pressure-gone@splash")[1].journal), PLAN)
    for key in ("depth_m", "descent_s", "impact_m_s", "ascent_s"):
        assert found.row(key).verdict == CANNOT and "pressure" in found.row(key).note
    assert found.doubts and found.row("water_c").verdict == INSIDE


def test_resets_are_counted():
    found = against(dive_of(flown("reset@record+20min", "reset@record+2h")[1].journal), PLAN)
    assert found.row("resets").seen == 2.0 and found.row("resets").verdict == OUTSIDE


def test_where_it_came_up_is_held_against_the_planned_place(sound):
    result = sound[1]
    east_m, north_m = result.surfaced_at
    here = (PLAN.site.latitude_deg + north_m / M_PER_DEG,
            PLAN.site.longitude_deg + east_m / M_PER_DEG / cos(radians(PLAN.site.latitude_deg)))
    near = against(dive_of(result.journal), PLAN, here).row("off_place_m")
    assert near.verdict == INSIDE and near.seen < near.high
    far = against(dive_of(result.journal), PLAN, (here[0] + 0.01, here[1])).row("off_place_m")
    assert far.verdict == OUTSIDE and far.seen == pytest.approx(0.01 * M_PER_DEG, rel=0.05)


def test_the_records_that_a_row_names_are_those_of_what_it_tells(sound, beside):
    told = dive_of(sound[1].journal)
    (at,) = beside.row("command_s").records
    assert told.fields(at)["state"] == 4 and told.fields(at)["kind"] == 2
