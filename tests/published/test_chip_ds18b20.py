"""The DS18B20 and its checksum as the maker prints them."""

import pytest
from crccheck.crc import Crc8Maxim
from hypothesis import given
from hypothesis import strategies as st

from drivers.ds18b20 import Thermometers, centi_c_of, crc8, rom_ok
from seatrial.chips.onewire import DS18B20, OneWireBus, checksum

# Maxim "DS18B20 Programmable Resolution 1-Wire Digital Thermometer", table 1: digital output and temperature in degC.
TABLE_1 = ((0x07D0, 125.0), (0x0550, 85.0), (0x0191, 25.0625), (0x00A2, 10.125), (0x0008, 0.5), (0x0000, 0.0),
           (0xFFF8, -0.5), (0xFF5E, -10.125), (0xFE6F, -25.0625), (0xFC90, -55.0))

# Maxim Application Note 27, the worked example: a ROM code and its checksum.
ROM_OF_THE_NOTE = bytes.fromhex("021CB801000000")
CHECK_OF_THE_NOTE = 0xA2


@pytest.mark.published("printed", ids="8.5", source="Maxim, DS18B20 datasheet, table 1", tolerance="0.01 degC")
@pytest.mark.parametrize(("word", "temperature_c"), TABLE_1)
def test_the_words_of_the_table_are_the_temperatures_of_the_table(word, temperature_c):
    raw = word - 0x10000 if word & 0x8000 else word
    assert 0 <= temperature_c * 100 - centi_c_of(raw) < 1


@pytest.mark.published("printed", ids="8.5", source="Maxim, DS18B20 datasheet, table 1", tolerance="0.01 degC")
@pytest.mark.parametrize(("word", "temperature_c"), TABLE_1)
def test_a_chip_at_a_temperature_of_the_table_sends_its_word_and_the_driver_shows_it(word, temperature_c):
    chip = DS18B20(b"\x01\x02\x03\x04\x05\x06", temperature_c)
    bus = OneWireBus(chip)
    driver = Thermometers(bus, [chip.rom])
    driver.start(0)
    for now_ms in range(0, 1500, 10):
        bus.now_s = now_ms / 1000
        driver.tick(now_ms)
    assert chip.scratchpad[0:2] == word.to_bytes(2, "little")
    assert driver.probes[0].ok
    assert 0 <= temperature_c * 100 - driver.probes[0].centi_c < 1


@pytest.mark.published(
    "printed", ids="8.6", tolerance="exact",
    source="Maxim Application Note 27, the worked example")
def test_the_rom_code_of_the_note_has_the_checksum_of_the_note():
    assert crc8(ROM_OF_THE_NOTE, 7) == CHECK_OF_THE_NOTE
    assert checksum(ROM_OF_THE_NOTE) == CHECK_OF_THE_NOTE


@pytest.mark.published(
    "printed", ids="8.20", tolerance="exact",
    source="RevEng catalogue of CRC algorithms, CRC-8/MAXIM-DOW: check A1h")
def test_the_checksum_is_that_of_the_catalogue():
    assert crc8(b"123456789", 9) == 0xA1
    assert checksum(b"123456789") == 0xA1


@pytest.mark.published("library", source="crccheck, Crc8Maxim", tolerance="exact")
@given(st.binary(max_size=20))
def test_the_checksum_agrees_with_a_library_on_anything(data):
    assert crc8(data, len(data)) == checksum(data) == Crc8Maxim.calc(data)


@pytest.mark.published(
    "printed", ids="8.6", tolerance="exact",
    source="Maxim Application Note 27: the register holds zeros when the checksum itself was shifted in")
def test_data_with_its_checksum_behind_it_sums_to_zero():
    assert crc8(ROM_OF_THE_NOTE + bytes([CHECK_OF_THE_NOTE]), 8) == 0


@pytest.mark.published("printed", source="DS18B20 datasheet, 64-bit lasered ROM code: family 28h", tolerance="exact")
def test_the_rom_code_of_the_note_is_of_another_family():
    # Family 02h; a DS18B20 has 28h (datasheet, 64-bit lasered ROM code).
    assert not rom_ok(ROM_OF_THE_NOTE + bytes([CHECK_OF_THE_NOTE]))


@pytest.mark.published(
    "memory", ids="8.5", tolerance="exact",
    source="DS18B20 datasheet, memory map: 50h 05h at power-on, reserved FFh and 10h; 1Ch and 0Ch from memory")
def test_the_scratchpad_after_power_on_shows_85_degrees_with_a_right_checksum():
    chip = DS18B20(b"\x01\x02\x03\x04\x05\x06")
    bus = OneWireBus(chip)
    bus.reset()
    bus.writebyte(0xCC)
    bus.writebyte(0xBE)
    assert bytes(bus.readbyte() for _ in range(9)) == bytes.fromhex("5005 4B46 7FFF 0C10 1C")


@pytest.mark.published(
    "printed", tolerance="not longer",
    source="DS18B20 datasheet, table 2: thermometer resolution configuration")
@pytest.mark.parametrize(("bits", "config", "milliseconds"), [(9, 0x1F, 93.75), (10, 0x3F, 187.5), (11, 0x5F, 375), (12, 0x7F, 750)])
def test_the_simulated_chip_converts_as_long_as_the_datasheet_allows_at_each_resolution(bits, config, milliseconds):
    chip = DS18B20(b"\x01\x02\x03\x04\x05\x06", 25.0625, eeprom=(0, 0, config))
    bus = OneWireBus(chip)
    bus.reset()
    bus.writebyte(0xCC)
    bus.writebyte(0x44)
    bus.now_s = milliseconds / 1000 - 0.001
    assert bus.readbit() == 0
    bus.now_s = milliseconds / 1000
    assert bus.readbit() == 1
    assert int.from_bytes(chip.scratchpad[0:2], "little") == 0x0191 & -1 << 12 - bits


@pytest.mark.published(
    "printed", tolerance="within the slots",
    source="DS18B20 datasheet, AC characteristics: slot 60 to 120 us, recovery from 1 us, reset low and presence "
           "from 480 us")
def test_the_time_that_the_bus_counts_is_within_the_slots_of_the_datasheet():
    bus = OneWireBus(DS18B20(b"\x01\x02\x03\x04\x05\x06"))
    bus.reset()
    assert bus.spent_us >= 960
    before_us = bus.spent_us
    bus.writebyte(0xCC)
    assert 8 * 61 <= bus.spent_us - before_us <= 8 * 121
