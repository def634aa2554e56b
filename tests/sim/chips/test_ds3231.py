"""The simulated clock: registers and counting, as Maxim 19-5170 has them (from memory of that sheet)."""

import datetime

import pytest

from seatrial.chips.ds3231 import Ds3231Chip


@pytest.fixture
def chip() -> Ds3231Chip:
    chip = Ds3231Chip()
    chip.set_time(datetime.datetime(2024, 2, 28, 23, 59, 59))
    return chip


def read(chip: Ds3231Chip, register: int, count: int) -> str:
    chip.write(bytes([register]))
    return chip.read(count).hex()


def test_the_time_is_counted_in_decimal_digits_over_a_leap_day(chip):
    assert read(chip, 0, 7) == "59592303280224"
    chip.now_s = 1.0
    assert read(chip, 0, 7) == "00000004290224"
    chip.now_s = 86401.0
    assert read(chip, 0, 7) == "00000005010324"


def test_the_twelve_hour_form_stays_and_noon_and_midnight_are_twelve(chip):
    chip.write(bytes([0x02, 0x71]))
    chip.now_s = 1.0
    assert read(chip, 0, 5) == "0000520429"
    chip.now_s = 1.0 + 12 * 3600
    assert read(chip, 0, 5) == "0000720429"
    chip.now_s = 1.0 + 13 * 3600
    assert read(chip, 0, 5) == "0000610429"


def test_the_century_bit_rises_with_the_year_2100(chip):
    chip.set_time(datetime.datetime(2099, 12, 31, 23, 59, 59))
    chip.now_s = 1.0
    assert read(chip, 4, 3) == "018100"


def test_after_the_last_register_comes_the_first(chip):
    assert read(chip, 0x11, 4) == "0f005959"  # 15 degrees, then seconds and minutes


def test_the_stopped_flag_is_cleared_by_0_and_never_set_by_1(chip):
    chip.write(bytes([0x0F, 0xFF]))
    assert int(read(chip, 0x0F, 1), 16) & 0x80 == 0
    chip.oscillator_stopped = True
    chip.write(bytes([0x0F, 0x00]))
    assert int(read(chip, 0x0F, 1), 16) & 0x80
    chip.oscillator_stopped = False
    chip.write(bytes([0x0F, 0x00]))
    assert read(chip, 0x0F, 1) == "00"


@pytest.mark.parametrize(("control", "counted", "flag"), [(0x1C, 100, 0), (0x9C, 0, 0x80)])
def test_on_its_cell_the_oscillator_runs_if_its_bit_lets_it(chip, control, counted, flag):
    before = chip.when
    chip.write(bytes([0x0E, control]))
    chip.vcc = False
    chip.now_s = 100.0
    with pytest.raises(OSError):
        chip.read(1)
    chip.vcc = True
    assert (chip.when - before).total_seconds() == counted
    assert int(read(chip, 0x0F, 1), 16) & 0x80 == flag


def test_the_temperature_is_measured_every_64_s_and_when_asked(chip):
    chip.temperature_c = 25.25
    chip.now_s = 63.0
    assert read(chip, 0x11, 2) == "0f00"
    chip.now_s = 64.0
    assert read(chip, 0x11, 2) == "1940"
    chip.temperature_c = -10.25
    chip.write(bytes([0x0E, 0x3C]))
    assert read(chip, 0x11, 2) == "f5c0"


def test_drift_is_in_parts_of_a_million(chip):
    chip.drift_ppm = 20.0
    before = chip.when
    chip.now_s = 86400.0
    assert (chip.when - before).total_seconds() == 86401  # 1.728 s a day
