"""How the pack behaves and fails. Published figures are in tests/published/test_battery.py."""

import pytest

from seatrial.battery import CELL_MV, FULL_CELL_MV, Battery, capacity_fraction, resistance_factor, usable_ah


@pytest.fixture
def battery(sample):
    return Battery(sample.power)


def drained_to(battery, left, temperature_c=20.0):
    while battery.left_fraction(temperature_c) > left:
        battery.draw(1000.0, 60.0, temperature_c)
    return battery


def test_it_starts_with_the_charge_of_the_plan(battery, sample):
    assert battery.left_fraction(20.0) == sample.power.charge_at_start_fraction
    assert battery.left_fraction(0.0) == sample.power.charge_at_start_fraction


def test_the_table_of_the_cell_only_rises_with_charge():
    assert list(CELL_MV) == sorted(CELL_MV)
    assert all(low[1] < high[1] for low, high in zip(CELL_MV, CELL_MV[1:], strict=False))


@pytest.mark.parametrize("left", [0.05, 0.10, 0.30, 0.55, 0.90])
def test_the_voltage_is_read_from_the_table_by_straight_lines(battery, sample, left):
    low, high = next((a, b) for a, b in zip(CELL_MV, CELL_MV[1:], strict=False) if a[0] <= left <= b[0])
    expected = low[1] + (left - low[0]) / (high[0] - low[0]) * (high[1] - low[1])
    battery.used_ah = (sample.power.charge_at_start_fraction - left) * sample.power.capacity_ah
    assert battery.open_circuit_mv(20.0) == pytest.approx(4 * expected, abs=0.01)


def test_drawing_counts_ampere_hours(battery):
    battery.draw(500.0, 7200.0, 20.0)
    battery.draw(38.0, 1800.0, 5.0)
    assert battery.used_ah == pytest.approx(1.0 + 0.019)


def test_resistance_grows_in_the_cold_by_an_exponential_law(battery):
    assert battery.resistance_mohm(20.0) == battery.resistance_mohm(35.0) == 140.0
    assert battery.resistance_mohm(0.0) == pytest.approx(350.0)
    assert battery.resistance_mohm(10.0) == pytest.approx(140.0 * 2.5**0.5)
    assert battery.resistance_mohm(-20.0) == pytest.approx(140.0 * 2.5**2)


@pytest.mark.parametrize(
    ("temperature_c", "fraction"), [(30.0, 1.0), (20.0, 1.0), (10.0, 0.925), (0.0, 0.85), (-20.0, 0.7)]
)
def test_the_charge_that_can_be_had_shrinks_in_the_cold(battery, temperature_c, fraction):
    battery.used_ah = 5.0
    assert battery.left_fraction(temperature_c) == pytest.approx(0.98 - 5.0 / (20.0 * fraction))


def test_warm_or_cold_a_pack_gives_a_share_of_its_capacity(sample):
    assert capacity_fraction(sample.power, 30.0) == capacity_fraction(sample.power, 20.0) == 1.0
    assert capacity_fraction(sample.power, 0.0) == pytest.approx(0.85)
    assert capacity_fraction(sample.power, -1000.0) == 0.3
    assert usable_ah(sample.power, 10.0) == pytest.approx(20.0 * 0.925)


def test_warmth_does_not_lower_the_resistance(sample):
    assert resistance_factor(sample.power, 45.0) == resistance_factor(sample.power, 20.0) == 1.0
    assert resistance_factor(sample.power, 0.0) == pytest.approx(2.5)


def test_a_full_cell_has_the_voltage_its_makers_charge_it_to():
    assert FULL_CELL_MV == 4200.0  # CHECK_VALUES 5.0a, two makers' summaries of 18650 cells


def test_in_the_deepest_cold_a_rest_of_the_charge_remains(sample):
    sample.power.capacity_fraction_at_0_c = 0.5
    battery = Battery(sample.power)
    battery.used_ah = 1.0
    assert battery.left_fraction(-60.0) == pytest.approx(0.98 - 1.0 / (20.0 * 0.3))


def test_a_pack_that_was_flat_in_the_cold_has_something_left_when_warm(battery):
    drained_to(battery, 0.0, temperature_c=0.0)
    assert battery.left_fraction(0.0) == 0.0
    assert battery.left_fraction(20.0) == pytest.approx(0.98 - 0.98 * 0.85, abs=0.002)


def test_an_empty_pack_collapses_and_gives_no_more(battery):
    drained_to(battery, 0.0)
    assert battery.open_circuit_mv(20.0) <= 4 * 2900.0
    battery.draw(1000.0, 3600.0, 20.0)
    flat_ah = battery.used_ah
    assert battery.open_circuit_mv(20.0) == pytest.approx(0.0, abs=1e-6)
    assert battery.supply_mv(1.0, 20.0) == 0.0
    battery.draw(1000.0, 3600.0, 20.0)
    assert battery.used_ah == pytest.approx(flat_ah)
    assert flat_ah == pytest.approx(20.0 * 0.99, abs=1e-6)


def test_a_load_that_is_too_much_pulls_the_supply_to_nothing_and_not_below(battery):
    assert battery.supply_mv(1e6, 20.0) == 0.0


def test_a_loose_connector_sags_more(battery):
    sound_mv = battery.supply_mv(1000.0, 20.0)
    battery.extra_mohm = 2000.0
    assert sound_mv - battery.supply_mv(1000.0, 20.0) == pytest.approx(2000.0)
    assert battery.resistance_mohm(20.0) == 2140.0


@pytest.mark.parametrize(("gone", "share"), [(1, 0.75), (2, 0.5), (4, 0.0), (5, 0.0)])
def test_a_cell_that_is_gone_takes_its_voltage_with_it(battery, gone, share):
    whole_mv = battery.open_circuit_mv(20.0)
    battery.cells_gone = gone
    assert battery.open_circuit_mv(20.0) == pytest.approx(share * whole_mv)


def test_a_pack_that_is_not_connected_gives_no_voltage_and_loses_no_charge(battery):
    battery.connected = False
    assert battery.supply_mv(0.0, 20.0) == 0.0
    battery.draw(1000.0, 3600.0, 20.0)
    assert battery.used_ah == 0.0
    battery.connected = True
    assert battery.supply_mv(0.0, 20.0) > 15000.0


def test_an_aged_pack_runs_down_sooner(battery):
    battery.capacity_factor = 0.5
    battery.used_ah = 4.0
    assert battery.left_fraction(20.0) == pytest.approx(0.98 - 0.4)
