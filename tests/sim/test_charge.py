"""What readings could tell of the charge drawn: a reading counts, the plan where there is none, and a reset takes back."""

import pytest

from lander.signals import Inputs
from seatrial.charge import ChargeSeen

from .flying import SAMPLE

OFF = (0,) * 9
HOUR_S = 3600.0


def inputs(supply_ma: int = 1000, current_ok: int = 1, supply_mv: int = 15_000, supply_ok: int = 1) -> Inputs:
    told = Inputs()
    told.supply_ma, told.current_ok, told.supply_mv, told.supply_ok = supply_ma, current_ok, supply_mv, supply_ok
    return told


def test_what_a_reading_showed_is_seen_and_the_rest_is_not():
    charge = ChargeSeen(SAMPLE)
    charge.step(0.0, inputs(), OFF)
    charge.step(HOUR_S, inputs(supply_ma=600), OFF)
    assert charge.unseen_mah(1.0) == pytest.approx(400.0)
    assert charge.unseen_mah(0.5) == 0.0


def test_without_a_reading_what_the_plan_says_of_the_loads_that_are_on_is_seen():
    charge = ChargeSeen(SAMPLE)
    levels = (0, 0, 1, 0, 0, 50, 1, 0, 0)
    charge.step(0.0, inputs(current_ok=0), levels)
    charge.step(HOUR_S, inputs(current_ok=0), levels)
    planned_mah = (SAMPLE.power.controller_ma + SAMPLE.camera.recording_ma + 0.5 * SAMPLE.lights.current_ma
                   + SAMPLE.fan.current_ma)
    assert charge.unseen_mah(5.0) == pytest.approx(5000.0 - planned_mah)


def test_a_reset_takes_back_what_was_seen_since_the_last_record_and_time_without_power_shows_nothing():
    charge = ChargeSeen(SAMPLE)
    charge.step(0.0, inputs(), OFF)
    charge.step(HOUR_S, inputs(), OFF)
    charge.recorded()
    charge.step(2 * HOUR_S, inputs(), OFF)
    charge.reset()
    charge.step(9 * HOUR_S, inputs(), OFF)
    assert charge.unseen_mah(2.0) == pytest.approx(1000.0)


def test_a_voltage_below_the_reserve_tells_once_it_has_lasted():
    charge, hold_s = ChargeSeen(SAMPLE), SAMPLE.thresholds.low_hold_s
    low = inputs(supply_mv=int(SAMPLE.thresholds.reserve_mv) - 1)
    charge.step(0.0, low, OFF)
    charge.step(hold_s - 1.0, inputs(), OFF)
    charge.step(hold_s, low, OFF)
    charge.step(2 * hold_s - 1.0, low, OFF)
    assert charge.low_shown_s is None
    charge.step(2 * hold_s, low, OFF)
    assert charge.low_shown_s == 2 * hold_s
