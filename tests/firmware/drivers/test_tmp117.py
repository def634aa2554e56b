"""The driver of the TMP117 against the simulated chip: right values, no invented ones, back after every fault."""

import os
import subprocess

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from drivers.tmp117 import Tmp117
from seatrial.chips.buses import I2CBus
from seatrial.chips.tmp117 import TMP117

TICKS_PERIOD = 1 << 30
BYTES_IN_2_MS = 18  # at 100 kHz, with nine bits a byte and the stops


class Rig:
    """Chip, bus and driver with one clock; the most bytes that a tick moved are kept."""

    def __init__(self, start_ms=0, step_ms=10, temperature_c=4.0):
        self.chip = TMP117(temperature_c)
        self.bus = I2CBus()
        self.bus.chips[0x48] = self.chip
        self.driver = Tmp117(self.bus)
        self.start_ms = start_ms
        self.step_ms = step_ms
        self.elapsed_ms = 0
        self.most_bytes = 0
        self.advance(10)
        self.answered = self.driver.start(self.now_ms())

    def now_ms(self):
        return (self.start_ms + self.elapsed_ms) % TICKS_PERIOD

    def advance(self, step_ms):
        self.elapsed_ms += step_ms
        self.chip.now_s = self.elapsed_ms / 1000

    def tick(self, step_ms=None):
        self.advance(step_ms or self.step_ms)
        self.bus.moved = 0
        self.driver.tick(self.now_ms())
        self.most_bytes = max(self.most_bytes, self.bus.moved)

    def run(self, duration_ms):
        end_ms = self.elapsed_ms + duration_ms
        while self.elapsed_ms < end_ms:
            self.tick()


@pytest.fixture
def good():
    rig = Rig()
    rig.run(500)
    assert rig.answered and rig.driver.ok and rig.driver.centi_c == 400
    return rig


@given(steps=st.integers(-55 * 128, 150 * 128))
@example(steps=-55 * 128)
@example(steps=150 * 128)
def test_every_temperature_of_the_range_is_given_in_hundredths_rounded_down(steps):
    rig = Rig(temperature_c=steps / 128)
    rig.run(500)
    assert rig.driver.ok
    assert 0 <= steps * 100 / 128 - rig.driver.centi_c < 1


def test_nothing_is_ok_before_the_first_conversion():
    rig = Rig()
    while rig.chip.result == 0x8000:
        assert not rig.driver.ok
        rig.tick()
    rig.run(200)
    assert rig.driver.ok


def test_a_new_temperature_is_shown_within_a_second_and_a_poll(good):
    good.chip.temperature_c = 31.0
    good.run(1110)
    assert good.driver.ok and good.driver.centi_c == 3100


def test_no_tick_moves_more_bytes_than_two_milliseconds_allow(good):
    good.run(5000)
    good.chip.absent = True
    good.run(5000)
    good.chip.absent = False
    good.run(5000)
    assert 0 < good.most_bytes <= BYTES_IN_2_MS


def test_a_value_from_before_the_controller_restarted_is_not_shown():
    rig = Rig()
    rig.run(500)
    rig.advance(1500)  # a result waits with its flag up
    rig.driver = Tmp117(rig.bus)
    rig.chip.hung = True
    rig.driver.start(rig.now_ms())
    for _ in range(1000):
        rig.tick()
        assert not rig.driver.ok


@pytest.mark.parametrize("identity", [0x0000, 0xFFFF, 0x0116, 0x0075])
def test_another_chip_at_the_address_is_refused(identity):
    rig = Rig()
    rig.chip.identity = identity
    rig.advance(10)
    assert rig.driver.start(rig.now_ms()) == 0
    rig.run(5000)
    assert not rig.driver.ok and rig.driver.faults >= 4


def test_a_later_revision_of_the_chip_is_accepted():
    rig = Rig()
    rig.chip.identity = 0x1117
    rig.advance(10)
    assert rig.driver.start(rig.now_ms()) == 1


def test_an_absent_chip_is_noticed_within_a_poll_and_found_again(good):
    good.chip.absent = True
    good.run(110)
    assert not good.driver.ok
    good.run(5000)
    assert not good.driver.ok and 4 <= good.driver.faults <= 6
    good.chip.absent = False
    good.chip.temperature_c = 9.0
    good.run(1500)
    assert good.driver.ok and good.driver.centi_c == 900


def test_a_dead_bus_is_noticed_within_a_poll_and_overcome(good):
    good.bus.dead = True
    good.run(110)
    assert not good.driver.ok
    good.bus.dead = False
    good.run(1500)
    assert good.driver.ok


def test_start_takes_a_value_back(good):
    assert good.driver.start(good.now_ms()) == 1
    assert not good.driver.ok


def test_the_reset_of_the_chip_is_waited_for():
    rig = Rig(step_ms=1)
    rig.run(500)
    assert rig.driver.ok and rig.driver.faults == 0


def test_start_on_a_dead_bus_says_so_and_takes_the_value_back(good):
    good.bus.dead = True
    assert good.driver.start(good.now_ms()) == 0
    assert not good.driver.ok


@pytest.mark.parametrize("nth", range(1, 12))
def test_any_single_transfer_may_fail(nth):
    rig = Rig()
    for _ in range(2000):
        if rig.bus.transfers + 1 >= nth + 2:
            break
        rig.tick()
    rig.bus.fail_next = 1
    rig.run(3000)
    assert rig.driver.ok and rig.driver.faults == 1


def test_a_chip_that_stops_converting_is_not_believed_after_three_seconds(good):
    good.chip.hung = True
    good.run(4200)
    assert not good.driver.ok
    faults = good.driver.faults
    assert faults >= 1
    good.chip.hung = False
    good.run(5000)
    assert good.driver.ok


def test_a_chip_that_lost_its_power_never_shows_the_value_of_power_on(good):
    for moment in range(40):
        good.run(73)
        good.chip.power_cycle()
        for _ in range(150):
            good.tick()
            assert not good.driver.ok or good.driver.centi_c == 400, moment
    good.run(1500)
    assert good.driver.ok


def test_a_chip_that_comes_back_with_other_settings_is_set_again(good):
    good.chip.stored_settings = 0x0620  # shut down after power-on
    good.chip.power_cycle()
    good.run(200)
    assert not good.driver.ok
    good.run(1500)
    assert good.driver.ok and good.driver.faults == 1
    assert good.chip.settings & 0x0FFC == 0x0220


class Stuck:
    """A line that somebody holds: every byte reads the same."""

    def __init__(self, byte):
        self.byte = byte

    def write(self, data):
        pass

    def read(self, count):
        return bytes([self.byte]) * count


@pytest.mark.parametrize("byte", [0x00, 0xFF, 0x80, 0x20, 0x02])
def test_a_held_data_line_gives_no_value(good, byte):
    good.bus.chips[0x48] = Stuck(byte)
    good.run(110)
    assert not good.driver.ok
    good.run(5000)
    assert not good.driver.ok
    good.bus.chips[0x48] = good.chip
    good.run(2500)
    assert good.driver.ok


@pytest.mark.parametrize("word", [0x8000, 0xE47F, 0x4B01, 0x7FFF, 0x8001])
def test_a_result_that_is_none_or_outside_the_range_is_refused(good, word):
    # E47Fh is one step below -55 degC, 4B01h one above 150 degC.
    good.chip.hung = True
    good.chip.result = word
    good.chip.settings |= 0x2000
    good.run(110)
    assert not good.driver.ok and good.driver.faults == 1


@given(start_ms=st.integers(TICKS_PERIOD - 6000, TICKS_PERIOD - 1))
def test_the_wrap_of_the_millisecond_counter_is_not_noticed(start_ms):
    rig = Rig(start_ms=start_ms)
    rig.run(400)
    for _ in range(600):
        rig.tick()
        assert rig.driver.ok
    assert rig.driver.faults == 0


@pytest.mark.parametrize("start_ms", range(TICKS_PERIOD - 4500, TICKS_PERIOD, 500))
@pytest.mark.parametrize("fault", ["absent", "hung"])
def test_a_fault_across_the_wrap_is_noticed_and_overcome(fault, start_ms):
    rig = Rig(start_ms=start_ms)
    rig.run(500)
    setattr(rig.chip, fault, True)
    rig.run(4200)
    assert not rig.driver.ok and rig.driver.faults >= 1
    setattr(rig.chip, fault, False)
    rig.run(3000)
    assert rig.driver.ok


def test_after_a_sleep_of_the_board_the_newest_result_is_taken(good):
    good.chip.temperature_c = 12.0
    good.tick(3600 * 1000)
    assert good.driver.ok and good.driver.centi_c == 1200 and good.driver.faults == 0


def test_after_a_sleep_beside_a_hung_chip_nothing_is_shown(good):
    good.run(100)
    good.chip.hung = True
    good.tick(3600 * 1000)
    assert not good.driver.ok


def test_the_count_of_faults_ends_at_65535(good):
    good.driver.faults = 65534
    good.bus.dead = True
    good.run(5000)
    assert good.driver.faults == 65535


def test_the_chip_may_sit_at_another_address():
    bus = I2CBus()
    bus.chips[0x4B] = TMP117()
    bus.chips[0x4B].now_s = 1.0
    assert Tmp117(bus, 0x4B).start(0) == 1
    assert Tmp117(bus, 0x48).start(0) == 0


SCRIPT = """
import micropython
from drivers.tmp117 import Tmp117

class Bus:
    def __init__(self):
        self.words = bytearray(32)
        self.words[30] = 0x01
        self.words[31] = 0x17
        self.taken = 0
        self.dead = 0
    def writeto_mem(self, address, register, data):
        self.words[2 * register] = data[0]
        self.words[2 * register + 1] = data[1] & 0xFC
    def readfrom_mem_into(self, address, register, buffer):
        buffer[0] = self.words[2 * register]
        buffer[1] = self.words[2 * register + 1]
        if register == 0:
            self.taken += 1
            self.words[2] &= 0xDF

def run(bus, driver, now_ms, steps):
    while steps:
        steps -= 1
        now_ms = (now_ms + 10) & 0x3FFFFFFF
        if now_ms % 1000 < 10:
            bus.words[0] = 0xF3
            bus.words[1] = 0x80
            bus.words[2] |= 0x20
        driver.tick(now_ms)
    return now_ms

def main():
    bus = Bus()
    driver = Tmp117(bus)
    now_ms = (1 << 30) - 5000
    print(driver.start(now_ms))
    now_ms = run(bus, driver, now_ms, 150)
    print(driver.ok, driver.centi_c, driver.faults)
    before = bus.taken
    micropython.heap_lock()
    now_ms = run(bus, driver, now_ms, 1000)
    micropython.heap_unlock()
    print(driver.ok, driver.centi_c, driver.faults, bus.taken - before)
    bus.words[30] = 0
    bus.words[2] = 0
    micropython.heap_lock()
    run(bus, driver, now_ms, 500)
    micropython.heap_unlock()
    print(driver.ok, driver.faults)

main()
"""


def test_it_runs_under_micropython_and_a_tick_allocates_nothing(micropython, firmware, tmp_path):
    script = tmp_path / "thermometer.py"
    script.write_text(SCRIPT, encoding="utf-8")
    done = subprocess.run([micropython, str(script)], env={**os.environ, "MICROPYPATH": str(firmware)},
                          capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    # F380h is -25 degC by table 7-1 of the datasheet.
    assert done.stdout.splitlines() == ["1", "1 -2500 0", "1 -2500 0 10", "0 5"]
