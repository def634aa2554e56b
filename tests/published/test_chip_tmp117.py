"""The TMP117 as its maker prints it: Texas Instruments, SNOSD82D."""

import pytest

from drivers.tmp117 import Tmp117, centi_c_of
from seatrial.chips.buses import I2CBus
from seatrial.chips.tmp117 import TMP117

# Table 7-1: 16-bit temperature data format. The last is printed as 255.9921.
TABLE_7_1 = ((0x8000, -256.0), (0xF380, -25.0), (0xFFF0, -0.125), (0xFFFF, -0.0078125), (0x0000, 0.0),
             (0x0001, 0.0078125), (0x0010, 0.125), (0x0080, 1.0), (0x0C80, 25.0), (0x3200, 100.0),
             (0x7FFF, 255.9921875))


@pytest.mark.published("printed", ids="8.11", source="Texas Instruments SNOSD82D, table 7-1", tolerance="0.01 degC")
@pytest.mark.parametrize(("word", "temperature_c"), TABLE_7_1)
def test_the_words_of_the_table_are_the_temperatures_of_the_table(word, temperature_c):
    raw = word - 0x10000 if word & 0x8000 else word
    assert 0 <= temperature_c * 100 - centi_c_of(raw) < 1


@pytest.mark.published("printed", ids="8.11", source="Texas Instruments SNOSD82D, table 7-1", tolerance="0.01 degC")
@pytest.mark.parametrize(("word", "temperature_c"), TABLE_7_1)
def test_a_chip_at_a_temperature_of_the_table_sends_its_word_and_the_driver_shows_it(word, temperature_c):
    chip = TMP117(temperature_c)
    bus = I2CBus()
    bus.chips[0x48] = chip
    driver = Tmp117(bus)
    chip.now_s = 0.002
    driver.start(2)
    for now_ms in range(10, 500, 10):
        chip.now_s = now_ms / 1000
        driver.tick(now_ms)
    assert chip.result == word
    within = -55 <= temperature_c <= 150  # the range that the chip is specified for
    assert driver.ok == (1 if within else 0)
    assert not within or 0 <= temperature_c * 100 - driver.centi_c < 1


@pytest.mark.published(
    "memory", ids="8.11", tolerance="exact",
    source="Texas Instruments SNOSD82D, register map (from memory)")
def test_the_registers_at_power_on_are_those_of_the_register_map():
    # Register map (from memory): result 8000h, settings 0220h, limits 6000h and 8000h, identity 0117h.
    chip = TMP117()
    chip.now_s = 0.002
    found = []
    for register in (0x00, 0x01, 0x02, 0x03, 0x0F):
        chip.write(bytes([register]))
        found.append(chip.read(2).hex())
    assert found == ["8000", "0220", "6000", "8000", "0117"]


@pytest.mark.published(
    "memory", tolerance="exact",
    source="Texas Instruments SNOSD82D, configuration register, bit 13 (from memory)")
def test_the_flag_of_a_new_result_goes_down_when_the_result_or_the_settings_are_read():
    # Configuration register, bit 13 (from memory): set by a conversion, cleared by reading either register.
    chip = TMP117()
    for register in (0x00, 0x01):
        chip.now_s += 1.5
        chip.write(b"\x01")
        assert chip.settings & 0x2000
        chip.write(bytes([register]))
        chip.read(2)
        assert not chip.settings & 0x2000


@pytest.mark.published(
    "memory", tolerance="exact",
    source="Texas Instruments SNOSD82D, configuration register, bits 11 and 10 (from memory)")
def test_a_single_conversion_ends_in_shutdown():
    # Configuration register, bits 11 and 10 (from memory): 11b one conversion, then 01b.
    chip = TMP117(25.0)
    chip.now_s = 0.002
    chip.write(b"\x01\x0c\x20")
    chip.now_s = 0.2
    assert (chip.result, chip.settings >> 10 & 3) == (0x0C80, 1)
    chip.temperature_c = 30.0
    chip.now_s = 60.0
    assert chip.result == 0x0C80
