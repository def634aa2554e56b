"""What the controller reads of the world: resolution, range, lag, noise, and the ways to be wrong."""

from math import exp
from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from seatrial.dice import Dice
from seatrial.faults import parse
from seatrial.sensors import PressureSensor, RealTimeClock, SupplySensor, TemperatureSensor

from .flying import SAMPLE, fly

FULL_MBAR = 60_000
DAY_S = 86_400


def pressure_sensor(**numbers) -> PressureSensor:
    """Exact and quick unless the test says otherwise."""
    section = SimpleNamespace(**{"resolution_mbar": 1, "noise_mbar": 0, "lag_s": 0.0, **numbers})
    return PressureSensor(section, FULL_MBAR, Dice(1), 1013.0)


def temperature_sensor(**numbers) -> TemperatureSensor:
    section = SimpleNamespace(**{"resolution_centi_c": 1, "noise_centi_c": 0, "lag_s": 0.0, **numbers})
    return TemperatureSensor(section, Dice(1), 15.0)


@given(st.floats(0.0, FULL_MBAR), st.integers(1, 50))
def test_pressure_comes_in_whole_steps_of_its_resolution(true_mbar, step_mbar):
    reading = pressure_sensor(resolution_mbar=step_mbar).read(true_mbar, 1.0)
    assert reading % step_mbar == 0
    assert 0.0 <= true_mbar - reading < step_mbar


@given(st.lists(st.floats(FULL_MBAR, 10 * FULL_MBAR), min_size=2, max_size=20))
def test_beyond_its_range_pressure_stands_still_at_the_end(true_mbars):
    sensor = pressure_sensor()
    assert {sensor.read(mbar, float(now_s)) for now_s, mbar in enumerate(true_mbars)} == {FULL_MBAR}
    assert not sensor.absent, "a saturated reading is still a valid one"


def test_a_saturated_sensor_stands_still_and_stays_valid_in_a_dive():
    result = fly("pressure-saturated:range_m=200")
    falling = [mbar for mbar, depth_m in zip(result.series.pressure_mbar, result.series.depth_m, strict=True)
               if depth_m > 210.0]
    assert len(falling) > 500
    assert None not in falling
    assert max(falling) - min(falling) <= 10, "noise of 4 mbar, cut off at the end of the range"


def test_a_noisy_reading_never_leaves_the_range():
    sensor = pressure_sensor(noise_mbar=500)
    assert all(0 <= sensor.read(true_mbar, 1.0) <= FULL_MBAR for true_mbar in (0.0, FULL_MBAR) for _ in range(200))


@pytest.mark.published(
    "memory", tolerance="1e-3",
    source="step response of a first-order lag, any handbook of control (from memory)")
@pytest.mark.parametrize("make", [pressure_sensor, temperature_sensor])
def test_after_one_time_constant_a_step_is_felt_by_63_percent(make):
    """Step response of a first-order lag: 1 - 1/e, as in every handbook of control (from memory)."""
    sensor = make(lag_s=20.0)
    scale = 1.0 if make is pressure_sensor else 100.0
    low, high = (1000.0, 11_000.0) if make is pressure_sensor else (15.0, 25.0)
    sensor.read(low, 0.0)
    if make is pressure_sensor:
        sensor.felt_mbar = low
    felt = sensor.read(high, 20.0) / scale
    assert (felt - low) / (high - low) == pytest.approx(1.0 - exp(-1.0), abs=1e-3)


def test_the_lag_does_not_depend_on_how_often_it_is_read():
    often, once = pressure_sensor(lag_s=5.0), pressure_sensor(lag_s=5.0)
    for tenth in range(1, 101):
        reading = often.read(5000.0, tenth / 10.0)
    assert reading == pytest.approx(once.read(5000.0, 10.0), abs=1)


@given(st.integers(0, 2**32 - 1), st.integers(0, 300))
def test_noise_is_bounded_and_the_mean_is_true(seed, noise_mbar):
    section = SimpleNamespace(resolution_mbar=1, noise_mbar=noise_mbar, lag_s=0.0)
    sensor = PressureSensor(section, FULL_MBAR, Dice(seed), 1013.0)
    readings = [sensor.read(20_000.0, 1.0) for _ in range(400)]
    assert all(abs(reading - 20_000) <= noise_mbar for reading in readings)
    assert sum(readings) / 400 == pytest.approx(20_000, abs=0.15 * noise_mbar + 0.01)


def test_a_frozen_reading_stands_still_and_goes_on_from_the_truth():
    sensor = pressure_sensor()
    before = sensor.read(9000.0, 1.0)
    sensor.frozen = True
    assert [sensor.read(mbar, 2.0) for mbar in (1000.0, 20_000.0)] == [before, before]
    sensor.frozen = False
    assert sensor.read(20_000.0, 3.0) == 20_000


def test_an_offset_and_a_creep_are_added():
    sensor = pressure_sensor()
    sensor.offset_mbar = 300.0
    sensor.creeps = ((1000.0, -200.0),)
    assert sensor.read(10_000.0, 1000.0) == 10_300
    assert sensor.read(10_000.0, 1000.0 + 3600.0) == 10_100
    assert sensor.read(10_000.0, 1000.0 + 7200.0) == 9_900


def test_spikes_come_as_often_as_asked_and_stay_in_range():
    sensor = pressure_sensor()
    sensor.spikes = 100
    readings = [sensor.read(10_000.0, 1.0) for _ in range(5000)]
    spikes = [reading for reading in readings if reading != 10_000]
    assert len(spikes) == pytest.approx(500, abs=100)
    assert all(0 <= spike <= FULL_MBAR for spike in spikes)


def test_an_absent_pressure_sensor_is_invalid_and_keeps_no_truth():
    series = fly("pressure-gone:for_s=600@record+10min").series
    gone = [depth_m for depth_m, mbar in zip(series.depth_m, series.pressure_mbar, strict=True) if mbar is None]
    assert len(gone) > 30
    assert series.pressure_mbar[-1] is not None


@given(st.floats(0.0, 30_000.0), st.integers(1, 100), st.floats(0.0, 3.0))
def test_supply_readings_come_in_steps_scaled_by_their_error(true_value, step, factor):
    section = SimpleNamespace(resolution_mv=step, noise_mv=0, resolution_ma=step, noise_ma=0)
    supply = SupplySensor(section, Dice(1))
    supply.voltage_factor = supply.current_factor = factor
    for reading in (supply.voltage_mv(true_value), supply.current_ma(true_value)):
        assert reading % step == 0
        assert -1e-6 <= true_value * factor - reading < step + 1e-6


def test_supply_readings_are_never_negative():
    section = SimpleNamespace(resolution_mv=10, noise_mv=8, resolution_ma=5, noise_ma=40)
    supply = SupplySensor(section, Dice(1))
    assert min(supply.current_ma(3.0) for _ in range(300)) == 0
    assert min(supply.voltage_mv(0.0) for _ in range(300)) == 0


@given(st.floats(-40.0, 100.0), st.integers(1, 50))
def test_temperature_comes_in_whole_steps_also_below_zero(true_c, step_centi_c):
    sensor = temperature_sensor(resolution_centi_c=step_centi_c)
    reading = sensor.read(true_c, 1000.0)
    assert reading % step_centi_c == 0
    assert abs(true_c * 100.0 - reading) <= step_centi_c + 1.0


@pytest.mark.published("worked", ids="10.1", source="so many millionths of a day", tolerance="exact")
@pytest.mark.parametrize(("drift_ppm", "seconds_a_day"), [(2.0, 0.1728), (5.0, 0.432), (20.0, 1.728)])
def test_a_clock_drifts_by_its_ppm(drift_ppm, seconds_a_day):
    """CHECK_VALUES 10.1: 2 / 5 / 20 ppm are .1728 / .432 / 1.728 s/day; ±2 ppm is the DS3231 from 0 to 40 degC."""
    clock = RealTimeClock(SimpleNamespace(drift_ppm=drift_ppm, set=True), 0)
    days = 10_000
    assert (clock.read(days * DAY_S) - days * DAY_S) / days == pytest.approx(seconds_a_day, abs=1e-4)


def test_a_clock_that_was_lost_or_never_set_says_so_and_starts_at_its_own_beginning():
    clock = RealTimeClock(SimpleNamespace(drift_ppm=0.0, set=False), 220_000_000)
    assert not clock.ok
    assert clock.read(100.0) == 100
    clock.ok = True
    assert clock.read(100.0) == 220_000_100


def test_a_clock_that_jumps_back_never_reads_below_zero():
    clock = RealTimeClock(SimpleNamespace(drift_ppm=0.0, set=True), 5000)
    clock.jump_s = -100_000_000
    assert clock.read(10.0) == 0
    clock.jump_s = 7200
    assert clock.read(10.0) == 12_210


def test_a_pressure_that_drifts_with_the_temperature_is_right_at_one_temperature():
    sensor = pressure_sensor()
    sensor.warmths = ((15.0, 20.0), (10.0, -5.0))
    assert sensor.read(10_000.0, 1.0, 15.0) == 10_000 - 25
    assert sensor.read(10_000.0, 2.0, 5.0) == 10_000 - 200 + 25


def test_a_clock_that_drifts_keeps_what_it_has_lost_when_it_goes_right_again():
    clock = RealTimeClock(SAMPLE.sensors.clock.model_copy(update={"drift_ppm": 0.0}), 1_000_000)
    clock.drift(1000.0, -100_000.0)
    assert clock.read(1000.0) == 1_001_000
    assert clock.read(2000.0) == 1_001_900
    clock.drift(2000.0, 100_000.0)
    assert clock.read(3000.0) == 1_002_900


@pytest.mark.parametrize(("says", "ok"), [("set", True), ("unset", False)])
def test_a_clock_that_was_never_set_counts_from_its_own_beginning_and_may_say_that_it_is_right(says, ok):
    fault = parse("clock-never-set:says=%s" % says)
    clock = RealTimeClock(fault.kind.prepare(SAMPLE, fault.values).sensors.clock, 1_000_000)
    assert (clock.read(500.0), clock.ok) == (500, ok)
    assert SAMPLE.sensors.clock.set, "the plan of the controller knows nothing of it"
