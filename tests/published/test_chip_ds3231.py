"""The real-time clock DS3231 and its simulated twin against what the maker printed, and against the calendar."""

import datetime

import pytest

from drivers.ds3231 import Ds3231, from_registers, to_registers
from seatrial.chips.buses import I2CBus
from seatrial.chips.ds3231 import Ds3231Chip

EPOCH = datetime.datetime(2020, 1, 1)


def clock_on(chip: Ds3231Chip) -> Ds3231:
    bus = I2CBus()
    bus.chips[0x68] = chip
    return Ds3231(bus)


# Maxim 19-5170, temperature registers: 11h = 0001 1001b and 12h = 0100 0000b are +25.25 degrees. The others follow from
# the same rule (ten bits in twos complement, a quarter of a degree each); F5C0h = -10.25 is quoted from driver code.
@pytest.mark.published(
    "printed", ids="8.7", tolerance="exact",
    source="Maxim 19-5170, temperature registers: 1940h is +25.25 degC; F5C0h is quoted from driver code")
@pytest.mark.parametrize(("registers", "centi_c"), [
    ("1940", 2525), ("f5c0", -1025), ("0000", 0), ("ffc0", -25), ("0040", 25), ("d800", -4000), ("5500", 8500)])
def test_the_printed_temperature_comes_out_of_the_registers_and_goes_into_them(registers, centi_c):
    chip = Ds3231Chip(temperature_c=centi_c / 100)
    assert chip.registers[0x11:0x13].hex() == registers
    clock = clock_on(chip)
    assert clock.start(0)
    assert (clock.temperature_ok, clock.centi_c) == (1, centi_c)


@pytest.mark.published(
    "memory", ids="8.8", tolerance="exact",
    source="Maxim 19-5170, register map: two decimal digits a register; bit 6 of the hours the 12-hour form, bit 5 "
           "then PM (from memory)")
@pytest.mark.parametrize(("hours", "hour"), [
    (0x00, 0), (0x09, 9), (0x10, 10), (0x19, 19), (0x20, 20), (0x23, 23),
    (0x52, 0), (0x41, 1), (0x49, 9), (0x51, 11), (0x72, 12), (0x61, 13), (0x69, 21), (0x71, 23)])
def test_the_hours_are_read_in_both_forms_of_the_sheet(hours, hour):
    assert from_registers(bytes([0x59, 0x59, hours, 3, 0x01, 0x01, 0x20])) == hour * 3600 + 59 * 60 + 59


@pytest.mark.published(
    "library", tolerance="exact",
    source="the Gregorian calendar of the standard library; Maxim 19-5170, features: right to 2100")
def test_every_day_that_the_core_can_count_goes_in_and_out_as_the_calendar_has_it():
    registers = bytearray(7)
    days = 0
    while days * 86400 + 86399 < 1 << 30:
        when = EPOCH + datetime.timedelta(days=days, seconds=days * 7919 % 86400)
        clock_s = int((when - EPOCH).total_seconds())
        to_registers(clock_s, registers)
        assert registers.hex() == "%s%02x%s" % (when.strftime("%S%M%H"), when.isoweekday(), when.strftime("%d%m%y"))
        assert from_registers(registers) == clock_s
        days += 1
    assert days == 12427


@pytest.mark.published(
    "memory", ids="10.1", tolerance="1 s",
    source='Maxim 19-5170, features: "Accuracy +-2ppm from 0 to +40 degrees" (from memory). In 30 days that is 5.18 '
           "s")
@pytest.mark.parametrize(("drift_ppm", "seconds"), [(2.0, 5.184), (-2.0, -5.184)])
def test_thirty_days_at_the_printed_accuracy_are_five_seconds_and_no_jump(drift_ppm, seconds):
    chip = Ds3231Chip(drift_ppm=drift_ppm)
    chip.set_time(EPOCH)
    clock = clock_on(chip)
    clock.start(0)
    last_s = 30 * 86400
    for now_s in range(0, last_s + 1, 300):
        chip.now_s = now_s
        clock.tick(now_s * 1000 & 0x3FFFFFFF)
    assert clock.ok and clock.jumps == 0
    assert seconds - 1 <= clock.clock_s - last_s <= seconds


@pytest.mark.published(
    "memory", ids="10.1", tolerance="not above",
    source="Maxim 19-5170, features: +-2 ppm (from memory)")
def test_the_sample_plan_supposes_a_clock_as_good_as_the_sheet_says(sample):
    assert abs(sample.sensors.clock.drift_ppm) <= 2.0


@pytest.mark.published(
    "memory", tolerance="exact",
    source="Maxim 19-5170, control (0Eh) and status (0Fh): at first power 0001 1100b and 1000 1000b, stopped flag "
           "set (from memory)")
def test_a_chip_at_first_power_says_that_its_oscillator_was_stopped():
    chip = Ds3231Chip()
    assert chip.registers[0x0E:0x10].hex() == "1c88"
    clock = clock_on(chip)
    assert clock.start(0) == 1
    assert (clock.ok, clock.stopped) == (0, 1)
