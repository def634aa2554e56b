"""Energy: where the charge goes, what is left, and how long it lasts when nothing goes as planned."""

from datetime import timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seatrial.plan.checks import faults_of
from seatrial.plan.energy import energy_budget
from seatrial.workings.lasting import attempts_s, beacon_hours_left, empty_after_h, empty_h, left_mah, watch_s
from seatrial.workings.supply import LOADS, chapter, supply

from ..flying import SHORT, dive
from .plans_for_tests import sample, with_keys


def figure(plan, key):
    return next(one for one in chapter(plan).figures if one.key == key).value


def in_water_of(temperature_c):
    """The sample in water that is this warm from top to bottom."""
    rows = sample().site.water
    return with_keys(site__water=tuple(row.model_copy(update={"temperature_c": temperature_c}) for row in rows))


# --- where it goes ----------------------------------------------------------------------------------------------------


def test_the_parts_of_the_dive_add_up_to_the_budget_the_controller_holds_its_reserve_by():
    worked, budget = supply(sample()), energy_budget(sample())
    spent = budget.deck_mah + budget.to_latest.total_mah + budget.attempts_mah + budget.pauses_mah
    assert sum(phase.total_mah for phase in worked.phases) == pytest.approx(
        spent + budget.ascent_mah + budget.beacon_mah)


def test_a_load_is_its_current_times_its_hours():
    by_words = {phase.words: phase for phase in supply(sample()).phases}
    beacon = by_words["beacon"]
    assert beacon.beacon_lamp_mah == pytest.approx(60 * 60)  # 60 mA for 60 h
    assert beacon.reports_mah == pytest.approx(35 * 60)
    more = by_words["seabed to the latest release"]  # one hour
    assert (more.camera_mah, more.lamps_mah, more.fan_mah) == pytest.approx((520, 0.7 * 1200, 110))


def test_attempts_are_shown_by_channel_and_the_rest_of_what_is_held_beside_them():
    attempts = next(phase for phase in supply(sample()).phases if phase.words == "release attempts")
    assert attempts.primary_mah == pytest.approx(3 * 1000 * 240 / 3600)
    assert attempts.backup_mah == pytest.approx(3 * 900 * 12 / 3600)
    assert attempts.primary_mah + attempts.backup_mah + attempts.held_mah == pytest.approx(6 * 1000 * 240 / 3600)


def test_the_table_has_a_row_of_sums():
    table = chapter(sample()).tables[0]
    *rows, sums = table.rows
    assert sums[-1] == pytest.approx(sum(row[-1] for row in rows))
    assert len(sums) == len(LOADS) + 2


def test_a_camera_on_its_own_pack_takes_nothing_from_the_main_one():
    worked = supply(with_keys(camera__supply="own_pack"))
    assert all(phase.camera_mah == 0 for phase in worked.phases)
    assert worked.own_pack.to_timed_mah == pytest.approx(5 * 520)


def test_the_latest_safe_release_is_where_the_reserve_begins_to_be_touched():
    worked = supply(sample())
    at_it, after_it = (with_keys(times__latest_release_min=float(worked.affordable_min + more)) for more in (0, 1))
    assert energy_budget(at_it).spare_at_latest_mah >= 0 > energy_budget(after_it).spare_at_latest_mah
    assert worked.affordable_utc - sample().dive.splash_utc == timedelta(minutes=worked.affordable_min)


def test_a_plan_whose_reserve_is_larger_than_the_pack_has_no_safe_release():
    worked = supply(with_keys(power__capacity_ah=2.0))
    assert worked.affordable_min is None and worked.affordable_utc is None
    assert figure(with_keys(power__capacity_ah=2.0), "latest_safe_release_min") is None
    assert worked.health_needed_fraction > 1


def test_a_pack_of_the_health_that_is_needed_just_adds_up():
    needed = supply(sample()).health_needed_fraction
    assert energy_budget(with_keys(power__health_fraction=needed + 0.001)).spare_at_latest_mah > 0
    assert energy_budget(with_keys(power__health_fraction=needed - 0.001)).spare_at_latest_mah < 0


def test_the_supply_falls_all_the_way_through_the_dive():
    series = chapter(sample()).series
    assert all(later < earlier for earlier, later in zip(series["left_mah"], series["left_mah"][1:], strict=False))
    assert all(later < earlier for earlier, later in zip(series["supply_mv"], series["supply_mv"][1:], strict=False))
    assert series["left_mah"][-1] == pytest.approx(
        supply(sample()).budget.spare_at_latest_mah + supply(sample()).budget.reserve_mah, abs=1)
    assert series["stuck_left_mah"][-1] == pytest.approx(0, abs=0.01)


# --- when nothing goes as planned -------------------------------------------------------------------------------------


def test_the_watches_double_with_every_pair_of_attempts_up_to_the_longest():
    watches = [watch_s(sample(), attempt) for attempt in range(1, 15)]
    assert watches == [60, 60, 120, 120, 240, 240, 480, 480, 960, 960, 1800, 1800, 1800, 1800]


def test_so_many_attempts_take_their_firing_and_the_watches_between_them():
    assert attempts_s(sample(), 1) == 240
    assert attempts_s(sample(), 4) == 240 + 60 + 12 + 60 + 240 + 120 + 12


def counted(plan, command_min, until_h):
    """The charge left, counted second by second: another way to the same number."""
    power, beacon, times = plan.power, plan.beacon, plan.times
    left = energy_budget(plan).capacity_mah - energy_budget(plan).deck_mah
    schedule, at_s = [], 0.0
    for attempt in range(1, 200):
        channel = (plan.release.backup, plan.release.primary)[attempt % 2]
        schedule.append((at_s, at_s + channel.fire_s, channel.current_ma))
        at_s += channel.fire_s + watch_s(plan, attempt)
    calling_s = (times.slowest_ascent_min + times.surface_margin_min) * 60
    gear_ma = 520 + 0.7 * 1200 + 110
    for second in range(int(until_h * 3600)):
        after_s = second - command_min * 60
        load_ma = power.controller_ma + (gear_ma if after_s < 0 else 0)
        if after_s >= calling_s:
            load_ma += beacon.lamp_ma + beacon.report_ma
        while schedule and after_s >= schedule[0][1]:
            schedule.pop(0)
        if schedule and schedule[0][0] <= after_s:
            load_ma += schedule[0][2]
        left -= load_ma / 3600
    return left


@pytest.mark.parametrize("hours", [3.0, 5.5, 9.0, 20.0])
def test_what_is_left_is_what_counting_every_second_leaves(hours):
    assert left_mah(sample(), hours, command_min=300.0) == pytest.approx(counted(sample(), 300, hours), abs=2)


def test_the_pack_is_empty_when_nothing_is_left_and_not_before():
    empty_after = empty_after_h(sample(), 300.0)
    assert left_mah(sample(), empty_after + 0.001, 300.0) == 0
    assert left_mah(sample(), empty_after - 0.01, 300.0) > 0


def test_the_earlier_of_the_two_courses_counts():
    """With nothing to film the attempts draw more than the waiting, so an early command empties the pack sooner."""
    nothing_to_film = with_keys(camera__supply="own_pack", lights__level_pct=0.0, fan__current_ma=0.0,
                                times__latest_release_min=2000.0)
    assert empty_h(nothing_to_film) == empty_after_h(nothing_to_film, 300.0) < empty_after_h(nothing_to_film, 2000.0)
    assert empty_h(sample()) == empty_after_h(sample(), 360.0) < empty_after_h(sample(), 300.0)


def test_a_pack_lasts_longer_with_the_controller_asleep():
    assert empty_after_h(sample(), 300.0, asleep=True) > empty_after_h(sample(), 300.0)


def test_a_supply_too_low_for_the_controller_ends_it_before_the_charge_does():
    high = with_keys(power__brownout_mv=13000.0)
    # 13 V is 3252 mV a cell with the drop at 38 mA: 3.2 % of 18.44 Ah by the table of the cell
    assert supply(high).stranded_mah == pytest.approx(0.032 * 18440, abs=2)
    assert supply(sample()).stranded_mah == 0
    assert empty_h(high) < empty_h(sample())


def test_a_pack_that_never_starts_the_controller_is_empty_from_the_first():
    assert empty_h(with_keys(power__brownout_mv=60000.0)) == 0


def test_the_beacon_has_the_hours_of_the_plan_and_goes_on_sparsely_with_the_rest():
    """By the patterns of the firmware the sparse lamp is on for a fifth of the flashing one's time."""
    left = left_mah(sample(), 5.5, 300.0, 1)
    full_ma, sparse_ma = 38 + 60 + 35, 38 + 12 + 35
    assert beacon_hours_left(sample(), 5.5, 300.0, 1) == pytest.approx(60 + (left - 60 * full_ma) / sparse_ma)
    assert beacon_hours_left(sample(), 30.0) == pytest.approx(left_mah(sample(), 30.0) / full_ma)


def test_a_link_that_lets_go_after_the_pack_is_empty_brings_it_up_silent():
    last = supply(sample()).afloat[-1]
    assert last.words == "corroding link alone, latest" and last.surfaced_h > supply(sample()).empty_h
    assert last.left_mah == last.beacon_h == 0


def test_a_simulated_dive_never_uses_more_than_is_reckoned():
    flown = dive(plan=SHORT)
    flown.run()
    used_mah = 1000 * flown.world.battery.used_ah
    ashore_h = (flown.world.now_s / 60 - SHORT.dive.on_deck_min) / 60
    reckoned_mah = supply(SHORT).budget.capacity_mah - left_mah(SHORT, ashore_h, SHORT.times.timed_release_min, 1)
    assert 0.7 * reckoned_mah < used_mah <= reckoned_mah


def test_a_lander_that_never_rises_has_no_hours_at_the_surface():
    stuck = with_keys(lander__mass_kg=100.0)
    assert {way.beacon_h for way in supply(stuck).afloat} == {None}
    assert chapter(stuck).faults == ()  # that it never rises is told elsewhere


# --- the camera's own pack --------------------------------------------------------------------------------------------


def test_a_camera_pack_too_small_for_the_timed_release_is_one_sentence_with_the_numbers():
    plan = with_keys(camera__supply="own_pack", camera__pack_mah=2000.0)
    assert chapter(plan).faults == (
        "camera.pack_mah is 2000; the camera records 5.0 h until the timed release and takes 2600 mAh, so it stops"
        " 1.2 h too early: give it a pack of at least 2600 mAh, or release earlier",)


def test_a_camera_pack_of_the_size_that_is_asked_for_is_enough():
    plan = with_keys(camera__supply="own_pack", camera__pack_mah=2600.0)
    assert chapter(plan).faults == ()
    assert any("520 mAh short of filming to the latest one" in caution for caution in chapter(plan).cautions)


def test_a_camera_pack_that_is_not_given_is_not_worked_out_and_the_plan_says_so():
    plan = with_keys(camera__supply="own_pack")
    assert figure(plan, "camera_pack_mah") is None
    assert any("give camera.pack_mah" in caution for caution in chapter(plan).cautions)


def test_a_camera_pack_beside_the_main_supply_is_told_to_be_unused():
    assert any("was not used" in caution for caution in chapter(with_keys(camera__pack_mah=3000.0)).cautions)


def test_a_pack_that_may_not_be_older_than_new_is_a_caution():
    assert any(caution.startswith("power.health_fraction is 1 ") for caution in chapter(sample()).cautions)
    assert not chapter(with_keys(power__capacity_ah=25.0)).cautions


def test_what_the_checks_already_say_is_not_said_again():
    small = with_keys(power__capacity_ah=12.0)
    assert any("mAh are missing" in sentence for sentence in faults_of(small))
    assert chapter(small).faults == ()


# --- properties -------------------------------------------------------------------------------------------------------

temperatures = st.floats(-2.5, 40)


@settings(max_examples=40)
@given(temperatures, temperatures)
def test_colder_never_gives_more_capacity(one, other):
    colder, warmer = (in_water_of(temperature_c) for temperature_c in sorted((one, other)))
    assert supply(colder).budget.capacity_mah <= supply(warmer).budget.capacity_mah
    assert empty_h(colder) <= empty_h(warmer) + 1e-6


@settings(max_examples=40)
@given(st.floats(0.2, 1), st.floats(0.2, 1))
def test_more_age_never_gives_more_capacity(one, other):
    older, newer = (with_keys(power__health_fraction=health) for health in sorted((one, other)))
    assert supply(older).budget.capacity_mah <= supply(newer).budget.capacity_mah
    assert supply(older).budget.spare_at_latest_mah <= supply(newer).budget.spare_at_latest_mah


@settings(max_examples=40)
@given(st.floats(1, 5000), st.floats(1, 5000))
def test_a_longer_dive_never_spends_less(one, other):
    shorter, longer = (with_keys(times__timed_release_min=minutes) for minutes in sorted((one, other)))
    assert supply(shorter).budget.to_timed.total_mah <= supply(longer).budget.to_timed.total_mah


@settings(max_examples=40)
@given(st.floats(0, 200), st.floats(0, 200), st.floats(1, 3000))
def test_what_is_left_never_grows(one, other, command_min):
    earlier, later = sorted((one, other))
    assert left_mah(sample(), later, command_min) <= left_mah(sample(), earlier, command_min) + 1e-6


MAY_BE = {
    "power__capacity_ah": st.floats(0.1, 1000), "power__health_fraction": st.floats(0.2, 1),
    "power__cells_in_series": st.integers(1, 14), "power__resistance_mohm": st.floats(1, 10000),
    "power__capacity_fraction_at_0_c": st.floats(0.3, 1), "power__charge_at_start_fraction": st.floats(0.05, 1),
    "power__brownout_mv": st.floats(500, 60000), "power__controller_ma": st.floats(1, 2000),
    "power__controller_asleep_ma": st.floats(0, 2000), "release__pause_s": st.floats(5, 3600),
    "release__pause_max_s": st.floats(5, 14400), "release__attempts_planned": st.integers(2, 200),
    "release__primary__fire_s": st.floats(0.1, 1800), "release__primary__current_ma": st.floats(1, 50000),
    "release__backup__fire_s": st.floats(0.1, 1800), "release__passive__earliest_h": st.none() | st.floats(0.1, 8760),
    "release__passive__latest_h": st.none() | st.floats(0.1, 8760), "release__passive__fitted": st.booleans(),
    "camera__supply": st.sampled_from(["main_switched", "own_pack"]), "camera__film_descent": st.booleans(),
    "camera__pack_mah": st.none() | st.floats(10, 1e6), "camera__recording_ma": st.floats(5, 20000),
    "beacon__hours": st.floats(0.02, 1440), "beacon__lamp_ma": st.floats(0, 5000),
    "beacon__report_ma": st.floats(0, 5000), "times__timed_release_min": st.floats(1, 86400),
    "times__latest_release_min": st.floats(1, 86400), "times__slowest_ascent_min": st.floats(0.2, 86400),
    "dive__on_deck_min": st.floats(0, 2880), "lander__mass_kg": st.floats(0.5, 100),
    "lander__ballast__mass_kg": st.floats(0.1, 100), "site__depth_m": st.floats(3, 10950),
}


@settings(max_examples=100)
@given(st.fixed_dictionaries({}, optional=MAY_BE))
def test_any_plan_whose_keys_are_right_by_themselves_is_worked_out(keys):
    worked = chapter(with_keys(**keys))
    assert worked.tables[0].rows[-1][-1] >= 0
    assert len({len(worked.series[f"{load}_mah"]) for load in LOADS} | {len(worked.series["phase"])}) == 1
