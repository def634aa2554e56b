"""What the pack holds in the cold and where it goes. "By hand" marks arithmetic worked here from the sample plan."""

import math

import pytest

from seatrial import plan as plans
from seatrial.battery import Battery

from .editing import edited, put


def test_the_plan_and_the_pack_agree_on_what_the_cold_leaves():
    plan = plans.load_sample()
    pack = Battery(plan.power)
    capacity_mah = plans.energy_budget(plan).capacity_mah
    pack.draw(capacity_mah, 3600 * 0.99, plans.coldest_water_c(plan.site))
    assert pack.left_fraction(plans.coldest_water_c(plan.site)) == pytest.approx(0.0098, abs=5e-4)


def test_the_energy_of_the_sample_adds_up_by_hand():
    budget = plans.energy_budget(plans.load_sample())
    assert budget.temperature_c == 9.6
    assert budget.capacity_mah == math.floor(20000 * (1 - 0.15 * (20 - 9.6) / 20) * 0.98)
    assert budget.deck_mah == pytest.approx(38 / 6)
    assert budget.to_latest == plans.DiveEnergy(
        controller_mah=38 * 6, camera_mah=520 * 6, lights_mah=pytest.approx(1200 * 0.7 * 6), fan_mah=110 * 6)
    assert budget.to_timed.total_mah == pytest.approx(5 * (38 + 520 + 840 + 110))
    assert budget.attempts_mah == pytest.approx(6 * 1000 * 240 / 3600)
    assert budget.pauses_mah == pytest.approx(38 * (60 + 60 + 120 + 120 + 240 + 240 + 6 * 240) / 3600)
    assert budget.ascent_mah == pytest.approx(38 * 50 / 60)
    assert budget.beacon_mah == pytest.approx((38 + 60 + 35) * 60)
    assert budget.reserve_mah == 8436
    assert budget.spare_at_latest_mah == pytest.approx(18071 - 38 / 6 - 9048 - 8436)


def test_lamps_that_take_turns_use_their_share():
    plan = plans.parse(edited(lights__on_s="30", lights__off_s="90"))
    assert plans.energy_budget(plan).to_latest.lights_mah == pytest.approx(1200 * 0.7 * 6 / 4)


def test_a_descent_that_is_not_filmed_saves_what_the_fastest_descent_takes():
    plan = plans.parse(edited(camera__film_descent="false"))
    assert plans.energy_budget(plan).to_latest.camera_mah == pytest.approx(520 * (6 - 430 / 1.2 / 3600))


def test_the_cold_of_the_pack_is_that_of_the_coldest_row_of_the_water():
    # by hand: 140 mohm, 2.5 times that at 0 degC; 20 Ah, 0.85 of that at 0 degC, 0.98 of that at the start
    plan = plans.parse(put(edited(thresholds__reserve_mv="14000", power__capacity_ah="22"),
                           "site.water.temperature_c", "0.0", 3))
    assert plans.coldest_water_c(plan.site) == 0
    assert plans.cold_resistance_ohm(plan) == pytest.approx(0.35)
    assert plans.energy_budget(plan).capacity_mah == math.floor(22000 * 0.85 * 0.98)


def test_the_supply_that_still_holds_the_reserve_is_reckoned_by_hand():
    # 8436 of 18440 mAh are 0.4575 of a full pack: 3650 + 0.575 * 50 = 3678.7 mV a cell by the table of the cell;
    # 1508 mA through 140 * 2.5 ** 0.52 = 225.4 mohm take 340.0 mV
    plan = plans.load_sample()
    assert plans.filming_load_ma(plan) == 38 + 520 + 0.7 * 1200 + 110
    assert plans.filming_supply_mv(plan, 8436) == pytest.approx(4 * 3678.7 - 340.0, abs=0.5)


@pytest.mark.parametrize(("on_s", "off_s", "load_ma"), [
    ("0", "0", 1508), ("60", "30", 1508), ("59", "600", 668), ("10", "10", 668)])
def test_lamps_count_in_the_load_when_they_are_on_for_as_long_as_a_low_supply_must_last(on_s, off_s, load_ma):
    plan = plans.parse(edited(lights__on_s=on_s, lights__off_s=off_s))
    assert plans.filming_load_ma(plan) == load_ma


def test_a_camera_on_its_own_pack_is_no_load_of_the_main_one():
    plan = plans.parse(edited(camera__supply='"own_pack"', camera__feedback='"lamp"'))
    assert plans.filming_load_ma(plan) == 38 + 840 + 110


@pytest.mark.parametrize("key", ["timed_release_min", "latest_release_min"])
def test_a_sound_pack_is_above_the_reserve_of_the_sample_until_the_release(key):
    # the whole dive as cold as the coldest water and everything on throughout
    plan = plans.load_sample()
    pack = Battery(plan.power)
    pack.draw(plan.power.controller_ma, plan.dive.on_deck_min * 60, 9.6)
    pack.draw(plans.filming_load_ma(plan), getattr(plan.times, key) * 60, 9.6)
    noise_mv = 3 * plan.sensors.supply.noise_mv + plan.sensors.supply.resolution_mv
    assert pack.supply_mv(plans.filming_load_ma(plan), 9.6) - noise_mv > plan.thresholds.reserve_mv


def test_the_supply_of_the_sample_is_low_as_soon_as_the_reserve_is_touched():
    plan = plans.load_sample()
    reserve_mah = plans.energy_budget(plan).reserve_mah
    assert plans.filming_supply_mv(plan, reserve_mah) < plan.thresholds.reserve_mv
    assert plans.filming_supply_mv(plan, 1.05 * reserve_mah) > plan.thresholds.reserve_mv
