"""The radio against figures of the Semtech SX1276/77/78/79 datasheet and of public sheets on the time on air."""

import pytest

from drivers import lora_air
from drivers.sx127x import frequency_steps

CODE_125_KHZ = lora_air.bandwidth_code(125000)


@pytest.mark.published(
    "printed", ids="6.9", tolerance="exact",
    source="Semtech SX1276 datasheet, section 4.1.1.7; 164.864 ms in a public sheet quoting AN1200.13; the rest by "
           "independent code")
@pytest.mark.parametrize("spreading_factor, payload_bytes, air_us", [
    # SX1276/77/78/79 datasheet, formula of section 4.1.1.7; the number from a public sheet that quotes AN1200.13
    (9, 13, 164864),
    # the same formula, worked out by hand and by an independent open-source implementation
    (7, 20, 56576), (10, 20, 370688), (11, 30, 905216), (12, 20, 1318912), (12, 64, 2793472)])
def test_time_on_air_at_125_khz_coding_rate_4_5_preamble_8_with_crc_and_header(spreading_factor, payload_bytes, air_us):
    assert lora_air.air_us(payload_bytes, spreading_factor, CODE_125_KHZ, 1) == air_us


@pytest.mark.published(
    "printed", ids="6.9", tolerance="exact",
    source="a public sheet quoting AN1200.13: 28 payload symbols after 8 + 4.25 of preamble")
def test_28_symbols_follow_the_preamble_of_13_bytes_at_spreading_factor_9():
    symbol_us = lora_air.symbol_us(9, CODE_125_KHZ)
    assert lora_air.air_us(13, 9, CODE_125_KHZ, 1) == symbol_us * 28 + symbol_us * 49 // 4


@pytest.mark.published(
    "printed", tolerance="exact",
    source="Semtech SX1276 datasheet, section 4.1.1.6: mandated when the symbol is longer than 16 ms")
@pytest.mark.parametrize("spreading_factor, bandwidth_hz, low", [
    # Section 4.1.1.6: mandated when the symbol is longer than 16 ms
    (10, 125000, 0), (11, 125000, 1), (12, 125000, 1), (12, 250000, 1), (12, 500000, 0), (7, 7800, 1), (7, 10400, 0)])
def test_the_low_data_rate_setting_goes_with_symbols_longer_than_16_ms(spreading_factor, bandwidth_hz, low):
    code = lora_air.bandwidth_code(bandwidth_hz)
    assert lora_air.low_data_rate(spreading_factor, code) == low


@pytest.mark.published(
    "memory", tolerance="exact",
    source="Semtech SX1276 datasheet, RegFrf after reset 434.0 MHz, step of 61.035 Hz (from memory)")
@pytest.mark.parametrize("frequency_hz, steps", [
    # Register tables: RegFrf after reset is 6C8000h, 434.0 MHz (from memory)
    (434000000, 0x6C8000),
    # Step of 61.035 Hz with a 32 MHz crystal (section on the synthesiser); 915 MHz as commonly quoted, from memory
    (915000000, 0xE4C000)])
def test_the_frequency_word(frequency_hz, steps):
    assert frequency_steps(frequency_hz) == steps
