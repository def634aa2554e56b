"""The driver of the DS18B20 against simulated chips: right values, no invented ones, and no tick above 2 ms."""

import os
import subprocess

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.ds18b20 import Probe, Thermometers, crc8, read_rom, rom_ok
from seatrial.chips.onewire import DS18B20, OneWireBus

TICKS_PERIOD = 1 << 30
TICK_LIMIT_US = 2000
SERIALS = (b"\x11\x22\x33\x44\x55\x66", b"\x11\x22\x33\x44\x55\x67", b"\x01\x00\x00\x00\x00\x00")
LEARN, CONVERTING, READ = 3, 7, 8  # phases of the driver: where a fault is to strike
A_ROUND_MS = 1500  # one probe alone at a tick each 10 ms, from a start


class Rig:
    """Chips, bus and driver with one clock; the time and the longest tick are kept."""

    def __init__(self, count=1, start_ms=0, step_ms=10, **options):
        self.chips = [DS18B20(serial) for serial in SERIALS[:count]]
        self.bus = OneWireBus(*self.chips)
        self.driver = Thermometers(self.bus, [chip.rom for chip in self.chips], **options)
        self.elapsed_ms = 0
        self.start_ms = start_ms
        self.step_ms = step_ms
        self.longest_us = 0
        self.answered = self.driver.start(self.now_ms())

    def now_ms(self):
        return (self.start_ms + self.elapsed_ms) % TICKS_PERIOD

    def tick(self, step_ms=None):
        self.elapsed_ms += step_ms or self.step_ms
        self.bus.now_s = self.elapsed_ms / 1000
        before_us = self.bus.spent_us
        self.driver.tick(self.now_ms())
        self.longest_us = max(self.longest_us, self.bus.spent_us - before_us)

    def run(self, duration_ms):
        end_ms = self.elapsed_ms + duration_ms
        while self.elapsed_ms < end_ms:
            self.tick()

    def until(self, wanted, limit_ms=20000):
        end_ms = self.elapsed_ms + limit_ms
        while not wanted():
            assert self.elapsed_ms < end_ms, "never happened"
            self.tick()

    @property
    def probe(self):
        return self.driver.probes[0]


@pytest.fixture
def good():
    """A thermometer that has given a value."""
    rig = Rig()
    rig.run(A_ROUND_MS)
    assert rig.probe.ok and rig.probe.centi_c == 400 and rig.probe.faults == 0
    return rig


def test_nothing_is_ok_before_the_first_conversion_is_over():
    rig = Rig()
    while rig.chips[0].conversions == 0:
        assert not rig.probe.ok
        rig.tick()
    rig.run(200)
    assert rig.probe.ok and rig.probe.centi_c == 400


@given(sixteenths=st.integers(-55 * 16, 125 * 16))
def test_every_temperature_of_the_range_is_given_in_hundredths_rounded_down(sixteenths):
    rig = Rig()
    rig.chips[0].temperature_c = sixteenths / 16
    rig.run(A_ROUND_MS)
    assert rig.probe.ok
    assert 0 <= sixteenths * 100 / 16 - rig.probe.centi_c < 1


def test_several_probes_on_one_bus_keep_their_own_values():
    rig = Rig(3)
    for chip, temperature_c in zip(rig.chips, (-1.5, 20.0, 60.25), strict=True):
        chip.temperature_c = temperature_c
    rig.run(4500)
    assert [probe.centi_c for probe in rig.driver.probes] == [-150, 2000, 6025]
    assert [probe.ok for probe in rig.driver.probes] == [1, 1, 1]


def test_a_new_temperature_is_followed(good):
    good.chips[0].temperature_c = 31.0
    good.run(3000)
    assert good.probe.ok and good.probe.centi_c == 3100


def test_conversions_start_no_more_often_than_asked():
    rig = Rig(every_ms=5000)
    rig.until(lambda: rig.probe.ok)
    starts_ms = [rig.probe.measured_ms]
    while len(starts_ms) < 4:
        rig.tick()
        if rig.probe.measured_ms != starts_ms[-1]:
            starts_ms.append(rig.probe.measured_ms)
    # The pause, then two exchanges of six ticks until the command is out.
    assert [later - earlier for earlier, later in zip(starts_ms, starts_ms[1:], strict=False)] == [5000 + 110] * 3


def test_the_eeprom_is_never_written(good):
    good.run(10000)
    assert good.chips[0].eeprom_writes == 0


@pytest.mark.parametrize("trouble", ["none", "shorted", "cut", "absent", "deaf", "endless", "parasite"])
@pytest.mark.parametrize("step_ms", [1, 10, 700])
def test_no_tick_takes_longer_than_two_milliseconds_on_the_bus(trouble, step_ms):
    rig = Rig(2, step_ms=step_ms)
    if trouble != "none":
        victim = rig.bus if hasattr(rig.bus, trouble) else rig.chips[0]
        setattr(victim, trouble, True)
    rig.run(max(5000, 60 * step_ms))
    assert 0 < rig.longest_us <= TICK_LIMIT_US


def test_a_board_that_ticks_once_a_second_still_measures():
    rig = Rig(step_ms=1000, fresh_ms=60000)
    rig.run(100 * 1000)
    assert rig.probe.ok and rig.probe.faults == 0


def test_a_measurement_takes_as_many_ticks_as_the_module_says():
    rig = Rig(step_ms=800)
    rig.until(lambda: rig.probe.ok, limit_ms=60000)
    assert rig.elapsed_ms == 47 * 800
    again = rig.probe.measured_ms
    rig.until(lambda: rig.probe.measured_ms != again, limit_ms=60000)
    assert rig.elapsed_ms == (47 + 23) * 800


def test_start_tells_whether_anybody_answers():
    rig = Rig()
    assert rig.answered == 1
    rig.bus.cut = True
    assert rig.driver.start(0) == 0
    assert not rig.probe.ok


def test_start_takes_a_value_back(good):
    good.driver.start(good.now_ms())
    assert not good.probe.ok
    good.run(A_ROUND_MS)
    assert good.probe.ok


def test_start_in_the_middle_of_a_conversion_begins_from_the_beginning():
    rig = Rig()
    rig.until(lambda: rig.driver._phase == CONVERTING)
    rig.driver.start(rig.now_ms())
    rig.until(lambda: rig.probe.ok)
    assert rig.chips[0].conversions == 2


# Faults: not ok before the next value would be due, and well again by itself.

FAULTS = ["bus.shorted", "bus.cut", "chip.absent", "chip.deaf", "chip.endless", "chip.parasite"]


@pytest.mark.parametrize("fault", FAULTS)
def test_a_fault_is_noticed_within_a_round_and_overcome_after_it_has_gone(good, fault):
    whose, name = fault.split(".")
    victim = good.bus if whose == "bus" else good.chips[0]
    setattr(victim, name, True)
    good.until(lambda: not good.probe.ok, limit_ms=3500)
    good.run(5000)
    assert not good.probe.ok
    assert good.probe.faults >= 3
    setattr(victim, name, False)
    good.chips[0].temperature_c = 7.0
    good.run(1000 + 2000 + A_ROUND_MS)
    assert good.probe.ok and good.probe.centi_c == 700


@pytest.mark.parametrize("fault", FAULTS)
def test_a_fault_from_the_beginning_never_shows_a_value(fault):
    rig = Rig()
    whose, name = fault.split(".")
    setattr(rig.bus if whose == "bus" else rig.chips[0], name, True)
    for _ in range(1000):
        rig.tick()
        assert not rig.probe.ok
    assert 3 <= rig.probe.faults <= 11, "one attempt a second"


def test_a_dead_probe_leaves_the_others_alone():
    rig = Rig(3)
    rig.chips[1].absent = True
    rig.run(8000)
    assert [probe.ok for probe in rig.driver.probes] == [1, 0, 1]
    assert [probe.faults > 0 for probe in rig.driver.probes] == [False, True, False]


def test_two_probes_with_the_wrong_rom_code_do_not_answer_for_each_other():
    rig = Rig(2)
    stranger = DS18B20(SERIALS[2])
    driver = Thermometers(rig.bus, [stranger.rom, rig.chips[1].rom])
    rig.driver = driver
    rig.run(5000)
    assert [probe.ok for probe in driver.probes] == [0, 1]


def test_a_bus_that_raises_is_a_fault_and_no_crash(good):
    class Broken(OneWireBus):
        def reset(self):
            raise OSError(5)

    whole = good.driver.wire
    good.driver.wire = Broken()
    assert good.driver.start(good.now_ms()) == 0
    good.run(2500)
    assert not good.probe.ok and good.probe.faults >= 2
    good.driver.wire = whole
    good.run(1000 + A_ROUND_MS)
    assert good.probe.ok


def test_the_count_of_faults_ends_at_65535():
    rig = Rig()
    rig.bus.cut = True
    rig.probe.faults = 65534
    rig.run(5000)
    assert rig.probe.faults == 65535


# The value after power-on: 0550h, +85.0 degC, with a right checksum.

@pytest.mark.parametrize("moment_ms", range(0, 4600, 37))
def test_a_loss_of_power_at_any_moment_never_shows_85_degrees(moment_ms):
    rig = Rig(step_ms=3)
    rig.run(moment_ms)
    rig.chips[0].power_cycle()
    for _ in range(2000):
        rig.tick()
        assert not rig.probe.ok or rig.probe.centi_c == 400
    assert rig.probe.ok


def test_a_conversion_that_never_began_does_not_show_85_degrees():
    rig = Rig()
    rig.chips[0].deaf = True
    rig.run(20000)
    assert not rig.probe.ok


def test_a_conversion_that_never_ended_does_not_show_85_degrees():
    rig = Rig()
    rig.chips[0].endless = True
    rig.run(20000)
    assert not rig.probe.ok


def test_a_real_85_degrees_is_believed():
    rig = Rig()
    rig.chips[0].temperature_c = 85.0
    rig.run(A_ROUND_MS)
    assert rig.probe.ok and rig.probe.centi_c == 8500


def test_a_chip_whose_eeprom_holds_any_mark_still_gives_power_loss_away():
    for alarm in range(0, 256, 5):
        chip = DS18B20(SERIALS[0], eeprom=(alarm, 0, 0x7F))
        rig = Rig()
        rig.chips = rig.bus.chips = [chip]
        rig.run(A_ROUND_MS)
        assert rig.probe.ok and chip.scratchpad[2] != alarm


def test_a_restart_of_the_controller_alone_finds_a_marked_chip_and_marks_it_anew(good):
    chip = good.chips[0]
    good.driver = Thermometers(good.bus, [chip.rom])
    good.driver.start(good.now_ms())
    good.run(A_ROUND_MS)
    assert good.probe.ok and chip.scratchpad[2] != chip.eeprom[0]


def test_a_chip_set_to_nine_bits_is_set_to_twelve():
    rig = Rig()
    rig.chips[0].eeprom[2] = 0x1F
    rig.chips[0].power_cycle()
    rig.chips[0].temperature_c = 10.0625
    rig.run(A_ROUND_MS)
    assert rig.probe.ok and rig.probe.centi_c == 1006


def test_a_chip_that_lost_its_resolution_is_not_believed(good):
    good.chips[0].scratchpad[4] = 0x5F
    good.until(lambda: not good.probe.ok, limit_ms=3500)
    assert good.probe.faults == 1
    good.run(1000 + A_ROUND_MS)
    assert good.probe.ok and good.chips[0].scratchpad[4] == 0x7F


def test_an_eeprom_that_is_slow_is_waited_for(good):
    # Read too early, the mark of the controller before would be taken for the EEPROM, and the new mark be its equal.
    chip = good.chips[0]
    chip.recall_s = 0.04
    good.step_ms = 1
    good.driver.start(good.now_ms())
    good.run(A_ROUND_MS)
    assert good.probe.ok and good.probe.faults == 0
    assert chip.scratchpad[2] != chip.eeprom[0]


def test_an_eeprom_that_never_answers_is_given_up():
    rig = Rig()
    rig.chips[0].recall_s = 1e9
    rig.run(10000)
    assert not rig.probe.ok and 5 <= rig.probe.faults <= 10


def test_a_scratchpad_of_zeros_is_refused_though_its_checksum_is_right():
    # The line goes low between the end of the conversion and the scratchpad, with resets that look answered.
    rig = Rig()
    assert crc8(bytes(8), 8) == 0
    rig.until(lambda: rig.driver._phase == READ)
    rig.bus.shorted = True
    rig.run(200)
    assert not rig.probe.ok and rig.probe.faults == 1


@pytest.mark.parametrize("raw", [-56 * 16, -881, 2001, 0x7FFF, -0x8000])
def test_a_temperature_outside_the_range_of_the_chip_is_refused(good, raw):
    chip = good.chips[0]
    good.until(lambda: good.driver._phase == READ)
    chip.scratchpad[0:2] = (raw & 0xFFFF).to_bytes(2, "little")
    good.run(300)
    assert not good.probe.ok and good.probe.faults == 1


@given(data=st.data())
def test_wrong_bits_anywhere_never_give_a_wrong_value(data):
    # Up to three wrong bits in a row: CRC-8 finds each burst of up to eight.
    rig = Rig(step_ms=5)
    moments = data.draw(st.lists(st.tuples(st.integers(0, 4000), st.integers(1, 3)), max_size=4))
    moments.sort()
    for moment_ms, bits in moments:
        while rig.elapsed_ms < moment_ms:
            rig.tick()
            assert not rig.probe.ok or rig.probe.centi_c == 400
        rig.bus.flip_next = bits
    for _ in range(1000):
        rig.tick()
        assert not rig.probe.ok or rig.probe.centi_c == 400
    assert rig.probe.ok
    assert rig.longest_us <= TICK_LIMIT_US


@pytest.mark.parametrize("trouble", ["shorted", "flip_next"])
def test_no_mark_is_chosen_by_a_scratchpad_that_is_not_sound(trouble):
    rig = Rig(step_ms=1)
    rig.until(lambda: rig.driver._phase == LEARN)
    setattr(rig.bus, trouble, 1)
    rig.until(lambda: rig.driver._phase != LEARN)
    setattr(rig.bus, trouble, 0)
    assert rig.probe.faults == 1
    rig.run(1000 + A_ROUND_MS)
    assert rig.probe.ok


def test_a_chip_without_its_supply_is_never_asked_to_convert(good):
    good.chips[0].parasite = True
    good.run(10000)
    assert good.chips[0].brownouts == 0 and good.probe.faults >= 5


# Time

@given(start_ms=st.integers(TICKS_PERIOD - 9000, TICKS_PERIOD - 1))
def test_the_wrap_of_the_millisecond_counter_is_not_noticed(start_ms):
    rig = Rig(2, start_ms=start_ms, every_ms=1000)
    rig.run(10000)
    assert [probe.ok for probe in rig.driver.probes] == [1, 1]
    assert [probe.faults for probe in rig.driver.probes] == [0, 0]
    assert min(chip.conversions for chip in rig.chips) >= 4


@pytest.mark.parametrize("start_ms", [0, TICKS_PERIOD - 2000, TICKS_PERIOD - 400])
def test_a_value_goes_stale_after_its_time_even_if_the_driver_is_kept_waiting(start_ms):
    rig = Rig(start_ms=start_ms, fresh_ms=3000, every_ms=60000)
    rig.until(lambda: rig.probe.ok)
    measured_ms = rig.probe.measured_ms
    assert (rig.now_ms() - measured_ms) % TICKS_PERIOD >= 750, "its age counts from the beginning of the conversion"
    rig.until(lambda: not rig.probe.ok)
    assert (rig.now_ms() - measured_ms) % TICKS_PERIOD == 3010


def test_after_a_sleep_of_the_board_the_old_value_is_gone_at_the_first_tick(good):
    good.tick(3600 * 1000)
    assert not good.probe.ok
    good.run(A_ROUND_MS)
    assert good.probe.ok and good.probe.faults == 0


@pytest.mark.parametrize("ticks", range(30, 46))
def test_a_conversion_from_before_a_sleep_is_not_shown_as_new(ticks):
    rig = Rig(step_ms=100)
    for _ in range(ticks):
        rig.tick()
    rig.tick(3600 * 1000)
    rig.chips[0].temperature_c = 30.0
    for _ in range(40):
        rig.tick()
        assert not rig.probe.ok or rig.elapsed_ms - rig.probe.measured_ms < 5000
    assert rig.probe.ok


# ROM codes

def test_the_rom_code_of_a_single_chip_can_be_read():
    rom = bytearray(8)
    chip = DS18B20(SERIALS[0])
    assert read_rom(OneWireBus(chip), rom) == 1
    assert bytes(rom) == chip.rom


def test_the_rom_code_of_nobody_or_of_two_chips_is_not_accepted():
    rom = bytearray(8)
    bus = OneWireBus()
    assert read_rom(bus, rom) == 0
    bus.chips = [DS18B20(SERIALS[0]), DS18B20(SERIALS[2])]
    assert read_rom(bus, rom) == 0
    bus.shorted = True
    assert read_rom(bus, rom) == 0, "eight zeros have a right checksum"


def test_a_rom_code_of_another_family_or_with_a_wrong_byte_is_told():
    good = DS18B20(SERIALS[0]).rom
    assert rom_ok(good)
    assert not rom_ok(good[:7])
    assert not rom_ok(bytes(8))
    for place in range(8):
        assert not rom_ok(good[:place] + bytes([good[place] ^ 0x10]) + good[place + 1:])


def test_a_rom_code_of_a_wrong_length_is_refused_with_what_to_do():
    with pytest.raises(ValueError, match="rom has 7 bytes, must have 8"):
        Probe(bytes(7))


def test_a_bus_without_probes_is_quiet():
    bus = OneWireBus()
    driver = Thermometers(bus, [])
    driver.start(0)
    spent_us = bus.spent_us
    driver.tick(10)
    assert bus.spent_us == spent_us


# Real MicroPython

SCRIPT = """
import micropython
from drivers.ds18b20 import Thermometers, crc8

ROM = bytes((0x28, 1, 2, 3, 4, 5, 6)) + bytes((crc8(bytes((0x28, 1, 2, 3, 4, 5, 6)), 7),))

class Wire:
    def __init__(self):
        self.pad = bytearray(b"\\x50\\x05\\x4b\\x46\\x7f\\xff\\x0c\\x10\\x1c")
        self.here = 1
        self.at = 0
        self.command = 0
        self.now_ms = 0
        self.done_ms = 0
        self.resets = 0
    def reset(self):
        self.at = 0
        self.resets += 1
        return self.here
    def writebyte(self, byte):
        if self.at == 9:
            self.command = byte
            if byte == 0x44:
                self.done_ms = self.now_ms + 750
                self.pad[0] = 0x5E
                self.pad[1] = 0xFF
                self.pad[8] = crc8(self.pad, 8)
        if self.at > 9 and self.command == 0x4E:
            self.pad[self.at - 8] = byte
            self.pad[8] = crc8(self.pad, 8)
        self.at += 1
    def readbyte(self):
        self.at += 1
        if self.command == 0x44:
            return 0 if self.now_ms < self.done_ms else 255
        return self.pad[self.at - 11] if self.command == 0xBE else 255

def run(wire, driver, steps):
    while steps:
        steps -= 1
        wire.now_ms = (wire.now_ms + 10) & 0x3FFFFFFF
        driver.tick(wire.now_ms)

def main():
    wire = Wire()
    wire.now_ms = (1 << 30) - 4000
    driver = Thermometers(wire, [ROM])
    print(driver.start(wire.now_ms))
    run(wire, driver, 150)
    probe = driver.probes[0]
    print(probe.ok, probe.centi_c, probe.faults)
    before = wire.resets
    micropython.heap_lock()
    run(wire, driver, 600)
    micropython.heap_unlock()
    print(probe.ok, probe.centi_c, probe.faults, wire.resets - before)
    wire.here = 0
    micropython.heap_lock()
    run(wire, driver, 600)
    micropython.heap_unlock()
    print(probe.ok, probe.faults > 3)

main()
"""


def test_it_runs_under_micropython_and_a_tick_allocates_nothing(micropython, firmware, tmp_path):
    script = tmp_path / "thermometer.py"
    script.write_text(SCRIPT, encoding="utf-8")
    done = subprocess.run([micropython, str(script)], env={**os.environ, "MICROPYPATH": str(firmware)},
                          capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    # FF5Eh is -10.125 degC by table 1 of the datasheet; three rounds of three exchanges in six seconds.
    assert done.stdout.splitlines() == ["1", "1 -1013 0", "1 -1013 0 9", "0 True"]
