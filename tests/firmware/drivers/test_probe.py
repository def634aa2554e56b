"""Leak probe and wet contact: wet, dry, broken, and kind to its electrodes."""

import random
from math import inf

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers import probe
from drivers.upkeep import RING
from seatrial.chips.circuits import ProbeCircuit

LEAK = (100_000, 30_000, 100_000, 3_000_000)  # series, wet below, dry above, broken above; end resistor 1 MOhm


class Housing:
    """A probe with its circuit, and a clock."""

    def __init__(self, begin_ms: int = 0) -> None:
        self.circuit = ProbeCircuit(series_ohm=LEAK[0], end_ohm=1_000_000)
        self.driver = probe.Probe(self.circuit.drive_a, self.circuit.drive_b, self.circuit.node, *LEAK)
        self.now_ms = begin_ms
        self.started = self.driver.start(begin_ms & RING)

    def step(self, wait_ms: int) -> None:
        self.circuit.advance(wait_ms / 1000)
        self.now_ms += wait_ms
        self.driver.tick(self.now_ms & RING)

    def wait(self, seconds: float, every_ms: int = 5) -> "Housing":
        for _ in range(int(1000 * seconds) // every_ms):
            self.step(every_ms)
        return self


@given(st.one_of(st.floats(0.1, 1e7), st.just(inf)), st.integers(0, RING))
def test_water_of_any_resistance_is_told_right(water_ohm, begin_ms):
    housing = Housing(begin_ms)
    housing.circuit.water_ohm = water_ohm
    housing.wait(0.3)
    assert housing.driver.ok and not housing.driver.broken and not housing.driver.faults
    if not 0.97 * 30_000 < housing.circuit.probe_ohm < 1.03 * 100_000:
        assert housing.driver.wet == (housing.circuit.probe_ohm < 50_000)


def test_between_wet_and_dry_the_last_verdict_stands():
    housing = Housing().wait(1)
    housing.circuit.water_ohm = 60_000
    assert not housing.wait(1).driver.wet
    housing.circuit.water_ohm = 1_000
    assert housing.wait(1).driver.wet
    housing.circuit.water_ohm = 60_000
    assert housing.wait(1).driver.wet
    housing.circuit.water_ohm = inf
    assert not housing.wait(1).driver.wet and housing.driver.ok


def test_between_wet_and_dry_with_nothing_known_is_wet():
    housing = Housing()
    housing.circuit.water_ohm = 60_000
    assert housing.wait(1).driver.wet and housing.driver.ok


@pytest.mark.parametrize("begin_ms", [0, RING - 1100])
def test_water_is_seen_within_a_period_and_so_is_its_going(begin_ms):
    housing = Housing(begin_ms).wait(1)
    housing.circuit.water_ohm = 500
    assert housing.wait(0.24).driver.wet
    housing.circuit.water_ohm = inf
    assert not housing.wait(0.24).driver.wet


def test_a_broken_cable_is_not_dry():
    housing = Housing().wait(1)
    housing.circuit.broken = True
    housing.wait(0.24)
    assert housing.driver.broken and not housing.driver.ok
    housing.circuit.broken = False
    housing.wait(0.24)
    assert housing.driver.ok and not housing.driver.broken and not housing.driver.wet


@given(st.integers(0, 65535), st.booleans())
def test_a_converter_that_stands_still_is_never_believed(counts, is_wet):
    housing = Housing()
    housing.circuit.water_ohm = 500 if is_wet else inf
    housing.circuit.node.stuck_counts = counts
    for _ in range(200):
        housing.step(5)
        assert not housing.driver.ok


@pytest.mark.parametrize("line", ["drive_a", "drive_b", "node"])
def test_a_line_that_fails_is_not_believed_at_once_and_comes_back_by_itself(line):
    housing = Housing().wait(1)
    getattr(housing.circuit, line).dead = True
    housing.wait(0.3)
    assert not housing.driver.ok and housing.driver.faults >= 1
    housing.wait(3)
    assert not housing.driver.ok
    getattr(housing.circuit, line).dead = False
    housing.wait(1.3)
    assert housing.driver.ok and not housing.driver.wet


@pytest.mark.parametrize("line", ["drive_a", "drive_b"])
def test_a_drive_that_does_not_move_is_noticed_when_dry(line):
    housing = Housing()
    pin = getattr(housing.circuit, line)
    original = type(pin).__call__

    class Dull(type(pin)):
        def __call__(self, level=None):
            original(self, level)
            self.level = 0
    pin.__class__ = Dull
    for _ in range(300):
        housing.step(5)
        assert not housing.driver.ok


def test_nothing_is_claimed_before_the_first_measurement():
    circuit = ProbeCircuit(series_ohm=LEAK[0], end_ohm=1_000_000)
    driver = probe.Probe(circuit.drive_a, circuit.drive_b, circuit.node, *LEAK)
    assert (driver.ok, driver.wet, driver.broken, driver.counts, driver.faults) == (0, 0, 0, 0, 0)


def test_a_failed_line_is_left_alone_for_a_second():
    housing = Housing().wait(1)
    housing.circuit.node.dead = True
    housing.wait(0.3)
    uses = housing.circuit.node.uses
    housing.wait(0.6)
    assert housing.circuit.node.uses == uses


def test_a_verdict_grows_old():
    housing = Housing().wait(1)
    assert housing.driver.ok
    housing.step(probe.AGE_MS + 1000)
    assert not housing.driver.ok
    housing.wait(0.6)
    assert housing.driver.ok


@pytest.mark.parametrize("cell_mv", [-500, -100, 100, 500])
def test_polarised_electrodes_do_not_hide_water(cell_mv):
    housing = Housing()
    housing.circuit.water_ohm = 200
    housing.circuit.cell_mv = cell_mv
    housing.wait(1)
    assert housing.driver.ok and housing.driver.wet


@pytest.mark.parametrize("seed", range(5))
def test_as_much_charge_goes_one_way_as_the_other_even_when_the_board_ticks_unevenly(seed):
    dice = random.Random(seed)
    housing = Housing()
    housing.circuit.water_ohm = 300
    for _ in range(20000):
        housing.step(dice.choice((1, 3, 10, 30, 60)))
        assert abs(housing.driver.balance_ms) <= 200
    assert housing.circuit.moved_uc > 1000
    # 33 uA while driven; what is not made good yet is at most some hundred milliseconds of it
    assert abs(housing.circuit.charge_uc) <= 33.0 * 0.2
    assert abs(housing.circuit.charge_uc) <= 0.01 * housing.circuit.moved_uc


def test_a_stall_with_one_drive_on_is_made_good():
    housing = Housing()
    housing.circuit.water_ohm = 300
    housing.wait(1)
    while not housing.circuit.drive_a.level:
        housing.step(5)
    housing.step(4000)
    assert abs(housing.circuit.charge_uc) > 100
    housing.wait(60)
    assert abs(housing.circuit.charge_uc) < 3
    assert housing.driver.ok


def test_the_probe_is_driven_for_a_small_part_of_the_time():
    housing = Housing()
    driven = 0
    for _ in range(10000):
        housing.step(5)
        driven += housing.circuit.drive_a.level or housing.circuit.drive_b.level
    assert driven <= 600


def test_the_drives_are_never_high_together_and_low_between_measurements_and_when_off():
    housing = Housing()
    assert housing.started == 1
    for _ in range(1000):
        housing.step(3)
        assert not (housing.circuit.drive_a.level and housing.circuit.drive_b.level)
    while housing.driver.state == probe.RESTING:
        housing.step(1)
    assert housing.driver.off() == 1
    assert housing.circuit.drive_a.level == housing.circuit.drive_b.level == 0


def test_sleeping_in_the_middle_of_every_measurement_does_not_wear_one_electrode():
    housing = Housing()
    housing.circuit.water_ohm = 300
    for _ in range(2000):
        while housing.driver.state == probe.RESTING:
            housing.step(2)
        housing.step(1)
        housing.driver.off()
    assert abs(housing.circuit.charge_uc) < 0.05 * housing.circuit.moved_uc


def test_the_drives_are_low_from_construction_and_off_never_raises():
    circuit = ProbeCircuit(series_ohm=LEAK[0], end_ohm=1_000_000)
    circuit.drive_a.level = circuit.drive_b.level = 1
    driver = probe.Probe(circuit.drive_a, circuit.drive_b, circuit.node, *LEAK)
    assert circuit.drive_a.level == circuit.drive_b.level == 0
    circuit.drive_a.dead = True
    circuit.drive_b.level = 1
    assert driver.off() == 0
    assert circuit.drive_b.level == 0, "the other drive is switched off all the same"
    circuit.drive_a.dead, circuit.drive_b.dead = False, True
    assert driver.off() == 0
    circuit.drive_b.dead = False
    assert driver.off() == 1


@pytest.mark.parametrize("ohms", [
    (0, 1, 2, 3), (100, 50, 50, 300), (100, 50, 40, 300), (100, 50, 300, 300), (100, 0, 20, 300), (100, 100, 200, 300),
    (100, 50, 200, 100_000_001)])
def test_resistances_that_do_not_fit_are_refused_with_the_drives_low(ohms):
    circuit = ProbeCircuit(series_ohm=100, end_ohm=1000)
    circuit.drive_a.level = 1
    with pytest.raises(ValueError, match="must rise"):
        probe.Probe(circuit.drive_a, circuit.drive_b, circuit.node, *ohms)
    assert circuit.drive_a.level == 0
