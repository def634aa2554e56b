"""The supply monitor INA226 and its simulated twin against the examples that the maker printed."""

import pytest

from drivers.ina226 import Ina226, calibration
from seatrial.chips.buses import I2CBus
from seatrial.chips.ina226 import Ina226Chip


# TI SBOS547, Table 1 (design example): 10 A through 2 milliohm on 12 V, of which 11.98 V are left at the bus pin.
@pytest.fixture
def example() -> Ina226Chip:
    chip = Ina226Chip(shunt_micro_ohm=2000, supply_mv=11980.0, current_ma=10000.0)
    chip.write(bytes.fromhex("050a00"))
    chip.now_s += 0.01
    return chip


def word(chip: Ina226Chip, register: int) -> int:
    chip.write(bytes([register]))
    return int.from_bytes(chip.read(2), "big")


@pytest.mark.published(
    "printed", ids="8.10", tolerance="exact",
    source="TI SBOS547, Table 1: configuration 4127h, shunt 1F40h = 8000, bus 2570h = 9584, calibration A00h = 2560,"
           " current 2710h = 10000")
@pytest.mark.parametrize(("register", "contents"), [(0, 0x4127), (1, 8000), (2, 9584), (5, 2560), (4, 10000)])
def test_the_registers_of_the_printed_example_come_out(example, register, contents):
    assert word(example, register) == contents


@pytest.mark.published(
    "printed", ids="8.10", tolerance="exact",
    source="TI SBOS547, Table 1: power 12B8h = 4792 of 25 mW; printed 119.82 W, which is a slip for 119.80 W")
def test_the_power_of_the_printed_example_is_what_its_register_says_and_not_what_is_printed(example):
    assert word(example, 3) == 0x12B8 == 4792
    assert 4792 * 25 == 119_800


@pytest.mark.published(
    "printed", ids="8.10", tolerance="exact",
    source="TI SBOS547, shunt voltage register: -80 mV is 8300h")
def test_a_negative_shunt_voltage_is_told_in_twos_complement():
    chip = Ina226Chip(shunt_micro_ohm=2000)
    chip.shunt_mv = -80.0
    chip.now_s += 0.01
    assert word(chip, 1) == 0x8300


@pytest.mark.published(
    "printed", ids="8.10", tolerance="exact",
    source="TI SBOS547, equation 1 and Table 1: 0.00512 / (1 mA x 2 milliohm) = 2560")
def test_the_calibration_of_the_printed_example_is_reckoned():
    assert calibration(2000, 1000) == 2560


@pytest.mark.published(
    "printed", ids="8.10", tolerance="exact",
    source="TI SBOS547, Table 1: 11.98 V, 10 A; the other way round for a pack that is charged")
@pytest.mark.parametrize("current_ma", [10000, -10000])
def test_the_driver_tells_the_voltage_and_current_of_the_printed_example(current_ma):
    bus = I2CBus()
    bus.chips[0x40] = chip = Ina226Chip(shunt_micro_ohm=2000, supply_mv=11980.0, current_ma=current_ma)
    sensor = Ina226(bus, shunt_micro_ohm=2000, current_step_micro_a=1000)
    assert sensor.start(0)
    for now_ms in range(0, 200, 10):
        chip.now_s = now_ms / 1000
        sensor.tick(now_ms)
    assert (sensor.ok, sensor.voltage_mv, sensor.current_ma) == (1, 11980, current_ma)


@pytest.mark.published(
    "memory", tolerance="exact",
    source='TI SBOS547, registers FEh and FFh, from memory: 5449h ("TI") and 2260h')
def test_the_makers_number_and_the_dies_number_are_those_of_the_sheet():
    chip = Ina226Chip(shunt_micro_ohm=2000)
    assert word(chip, 0xFE) == 0x5449 == int.from_bytes(b"TI", "big")
    assert word(chip, 0xFF) == 0x2260
