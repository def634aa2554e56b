"""The simulated supply monitor: modes, flags and reset, as TI SBOS547 has them (from memory of that sheet)."""

import pytest

from seatrial.chips.ina226 import Ina226Chip


@pytest.fixture
def chip() -> Ina226Chip:
    return Ina226Chip(shunt_micro_ohm=10_000, supply_mv=12000.0, current_ma=1000.0)


def word(chip: Ina226Chip, register: int) -> int:
    chip.write(bytes([register]))
    return int.from_bytes(chip.read(2), "big")


def write(chip: Ina226Chip, register: int, contents: int) -> None:
    chip.write(bytes([register, contents >> 8, contents & 0xFF]))


def test_without_a_calibration_the_current_is_zero_and_the_voltages_are_there(chip):
    chip.now_s = 0.01
    assert [word(chip, register) for register in range(1, 6)] == [4000, 9600, 0, 0, 0]


def test_the_ready_flag_rises_with_a_conversion_and_falls_when_read(chip):
    assert not word(chip, 6) & 8
    chip.now_s = 0.0021  # twice 1.1 ms
    assert not word(chip, 6) & 8
    chip.now_s = 0.0023
    assert word(chip, 6) & 8
    assert not word(chip, 6) & 8
    chip.now_s = 0.0045
    write(chip, 0, 0x4127)  # writing the configuration takes it down too
    assert not word(chip, 6) & 8


def test_a_triggered_conversion_comes_once(chip):
    write(chip, 0, 0x4123)
    chip.now_s = 0.01
    assert word(chip, 6) & 8
    chip.now_s = 0.02
    assert not word(chip, 6) & 8
    chip.supply_mv = 5000.0
    assert word(chip, 2) == 9600


@pytest.mark.parametrize(("mode", "shunt", "bus"), [(0, 0, 0), (4, 0, 0), (5, 4000, 0), (6, 0, 9600), (7, 4000, 9600)])
def test_each_mode_measures_what_it_names(chip, mode, shunt, bus):
    write(chip, 0, 0x4120 | mode)
    chip.now_s = 1.0
    assert (word(chip, 1), word(chip, 2)) == (shunt, bus)


def test_the_reset_bit_gives_every_register_its_first_contents(chip):
    write(chip, 5, 2560)
    write(chip, 0, 0x4327)
    write(chip, 0, 0x8000)
    assert (word(chip, 0), word(chip, 5)) == (0x4127, 0)


def test_the_fixed_bits_stay_and_the_results_cannot_be_written(chip):
    write(chip, 0, 0x0000)
    write(chip, 2, 0x1234)
    write(chip, 5, 0xFFFF)
    assert (word(chip, 0), word(chip, 2), word(chip, 5)) == (0x4000, 0, 0x7FFF)


def test_a_register_that_does_not_exist_is_not_acknowledged(chip):
    with pytest.raises(OSError):
        chip.write(bytes([0x08]))
