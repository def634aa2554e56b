"""The shift register: every output where it belongs, nothing shown that was not meant, let go when in doubt."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.register import ShiftRegister
from drivers.sx127x import Sx127x
from seatrial.chips.buses import SPIBus
from seatrial.chips.circuits import Pin
from seatrial.chips.register import ShiftRegisters
from seatrial.chips.sx127x import Sx127x as RadioChip

EIGHT = tuple("abcdefgh")
FOURTEEN = tuple("abcdefghijklmn")


class Bench:
    """A register with its chips on a bus, and everything that its outputs ever showed."""

    def __init__(self, names: tuple = EIGHT, others: tuple = ()) -> None:
        self.names = names
        self.chips = ShiftRegisters((len(names) + 7) // 8)
        self.bus = SPIBus(self.chips, *others)
        self.driver = ShiftRegister(self.bus, self.chips.rclk, self.chips.oe, names)

    def shown(self) -> dict[str, int]:
        return dict(zip(self.names, self.chips.outputs(), strict=False))

    def high(self) -> str:
        """Names of the outputs that are high, in order."""
        assert not any(self.chips.outputs()[len(self.names):]), "places without a name stay low"
        return "".join(name for name, level in self.shown().items() if level)


def test_nothing_is_driven_before_the_start_whatever_the_chip_woke_up_with():
    bench = Bench()
    assert all(bench.chips.stored) and not bench.chips.is_driving and bench.driver.ok == 0
    bench.driver.pin("a")(1)
    assert not bench.chips.is_driving


def test_the_outputs_are_let_go_already_when_the_register_is_made():
    chips = ShiftRegisters()
    chips.oe.level = 0  # a reset of the program alone left it so
    ShiftRegister(SPIBus(chips), chips.rclk, chips.oe, EIGHT)
    assert not chips.is_driving


@pytest.mark.parametrize("names", [EIGHT, FOURTEEN])
def test_zeros_are_there_before_the_outputs_are_enabled(names):
    bench = Bench(names)
    seen = []
    bench.chips.oe.changed = lambda level: seen.append((level, list(bench.chips.stored)))
    assert bench.driver.start() == 1
    assert seen == [(0, [0] * len(bench.chips.stored))]
    assert bench.high() == "" and bench.driver.ok == 1


def test_a_second_start_lets_go_first_and_comes_up_dark():
    bench = Bench()
    bench.driver.start()
    bench.driver.pin("c")(1)
    seen = []
    bench.chips.oe.changed = lambda level: seen.append((level, sum(bench.chips.stored)))
    assert bench.driver.start() == 1
    assert seen == [(1, 1), (0, 0)]
    assert bench.driver.pin("c")() == 0


@pytest.mark.parametrize("names", [("a",), EIGHT, EIGHT + ("i",), FOURTEEN, tuple("abcdefghijklmnopqrstuvwx")])
def test_each_pin_moves_its_own_output_alone(names):
    bench = Bench(names)
    bench.driver.start()
    for name in names:
        pin = bench.driver.pin(name)
        assert pin(1) == 1 == pin()
        assert bench.high() == name
        assert pin(0) == 0 == pin()
        assert bench.high() == ""


@given(st.lists(st.tuples(st.sampled_from(FOURTEEN), st.integers(0, 1), st.booleans(), st.booleans()), max_size=40))
def test_the_outputs_show_what_the_pins_were_told_or_are_let_go(calls):
    bench = Bench(FOURTEEN)
    bench.driver.start()
    told = dict.fromkeys(FOURTEEN, 0)
    for name, level, is_failing, is_refreshed in calls:
        bench.bus.fail_next = int(is_failing)
        before = bench.shown()
        told[name] = level
        try:
            bench.driver.pin(name)(level)
        except OSError:
            assert bench.driver.ok == 0 and bench.shown() == before, "a shift that failed shows nothing"
        if is_refreshed:
            bench.bus.fail_next = 0
            bench.driver.refresh()
        assert not bench.driver.ok or bench.shown() == told
    bench.bus.fail_next = 0
    bench.driver.refresh()
    assert bench.shown() == told and bench.driver.ok == 1


def test_a_level_that_stays_is_not_shifted_and_one_that_changes_is_shifted_once():
    bench = Bench()
    bench.driver.start()
    edges = bench.chips.edges
    bench.driver.pin("b")(0)
    assert bench.chips.edges == edges
    bench.driver.pin("b")(1)
    bench.driver.pin("b")(1)
    assert bench.chips.edges == edges + 1


@pytest.mark.parametrize("line", ["bus", "rclk", "oe"])
def test_a_bus_or_pin_that_fails_is_told_and_made_good_by_the_next_call_with_the_same_level(line):
    bench = Bench()
    bench.driver.start()
    failing = {"bus": bench.bus, "rclk": bench.chips.rclk, "oe": bench.chips.oe}[line]
    failing.dead = True
    for _ in range(3):
        with pytest.raises(OSError):
            bench.driver.pin("d")(1)
        assert bench.driver.ok == 0
    assert bench.driver.faults == 3
    failing.dead = False
    bench.driver.pin("d")(1)
    assert bench.high() == "d" and bench.driver.ok == 1


@pytest.mark.parametrize("line", ["bus", "rclk", "oe"])
def test_a_start_that_fails_leaves_the_outputs_let_go_and_the_next_refresh_makes_it_good(line):
    bench = Bench()
    failing = {"bus": bench.bus, "rclk": bench.chips.rclk, "oe": bench.chips.oe}[line]
    failing.dead = True
    assert bench.driver.start() == 0 and not bench.chips.is_driving
    with pytest.raises(OSError):
        bench.driver.refresh()
    assert not bench.chips.is_driving
    failing.dead = False
    bench.driver.refresh()
    assert bench.chips.is_driving and bench.high() == ""


def test_a_refresh_heals_every_upset():
    bench = Bench(FOURTEEN)
    bench.driver.start()
    bench.driver.pin("c")(1)
    bench.driver.pin("k")(1)
    for upset in range(16):
        bench.chips.stored[upset] ^= 1
        bench.driver.refresh()
        assert bench.high() == "ck"
    bench.chips.oe.level = 1
    bench.driver.refresh()
    assert bench.high() == "ck"
    bench.chips.rclk.level = 1  # without being put low first it would never rise again
    bench.chips.stored[0] = 1
    bench.driver.refresh()
    assert bench.high() == "ck"


def test_release_lets_all_outputs_go_without_the_bus_and_only_a_start_brings_them_back():
    bench = Bench()
    bench.driver.start()
    bench.driver.pin("a")(1)
    bench.bus.dead = True
    assert bench.driver.release() == 1
    assert not bench.chips.is_driving and bench.high() == ""
    bench.bus.dead = False
    bench.driver.refresh()
    bench.driver.pin("b")(1)
    assert not bench.chips.is_driving
    assert bench.driver.start() == 1
    assert bench.chips.is_driving and bench.high() == ""


def test_release_never_raises_and_says_when_the_pin_did_not_take_it():
    bench = Bench()
    bench.driver.start()
    bench.chips.oe.dead = True
    assert bench.driver.release() == 0


def test_what_is_said_to_the_radio_is_never_shown():
    radio_chip = RadioChip()
    bench = Bench(FOURTEEN, (radio_chip,))
    bench.driver.start()
    bench.driver.pin("e")(1)
    radio = Sx127x(bench.bus, radio_chip.cs, radio_chip.reset, 868100000, duty_permille=1000)
    radio.start(0)
    edges = bench.chips.edges
    for now_ms in range(10, 3000, 10):
        radio_chip.now_s = now_ms / 1000
        radio.tick(now_ms)
        radio.send(b"report", 6, now_ms)
        assert bench.high() == "e"
    assert radio.ok and radio.sent and bench.chips.edges == edges
    assert bench.chips.shifting != bench.chips.stored, "the chips did hear it"
    bench.driver.pin("f")(1)
    assert bench.high() == "ef" and bench.bus.conflicts == 0


def test_the_radio_does_not_hear_what_is_shifted():
    radio_chip = RadioChip()
    bench = Bench(EIGHT, (radio_chip,))
    radio_chip.cs(1)
    before = bytes(radio_chip.registers)
    bench.driver.start()
    for name in EIGHT:
        bench.driver.pin(name)(1)
    assert bytes(radio_chip.registers) == before


def test_an_interrupt_that_switches_another_output_off_is_not_undone():
    bench = Bench()
    bench.driver.start()
    bench.driver.pin("a")(1)
    writes = bench.bus.write

    def write_and_be_interrupted(data):
        writes(data)
        bench.bus.write = writes
        bench.driver.pin("a")(0)

    bench.bus.write = write_and_be_interrupted
    bench.driver.pin("b")(1)
    assert bench.high() == "b" and bench.driver.ok == 1


@pytest.mark.parametrize("names, says", [((), "0 outputs with 0 names"), (("a", "b", "a"), "3 outputs with 2 names")])
def test_outputs_without_a_name_of_their_own_are_refused_and_let_go(names, says):
    enable = Pin(0)
    with pytest.raises(ValueError, match=says):
        ShiftRegister(SPIBus(), Pin(), enable, names)
    assert enable.level == 1


def test_a_name_that_is_not_there_is_refused_with_those_that_are():
    with pytest.raises(ValueError, match="no output fan on the shift register; there are a, b"):
        Bench(("a", "b")).driver.pin("fan")


def test_faults_stop_counting_where_the_journal_stops():
    bench = Bench()
    bench.driver.faults = 65535
    bench.bus.dead = True
    assert bench.driver.start() == 0 and bench.driver.faults == 65535
