"""The 16-bit converter against the tables of its datasheet: Texas Instruments, SBAS444."""

import pytest

from drivers.ads1115 import ADS1115, RANGES, READY, step_sixteenth_uv
from seatrial.chips.ads1115 import ADS1115 as Chip
from seatrial.chips.buses import I2CBus


def converted(range_mv: int, input_mv: float) -> int:
    chip = Chip()
    chip.supply_v = 7.0
    chip.inputs[2] = lambda: input_mv
    bus = I2CBus()
    bus.chips[0x48] = chip
    driver = ADS1115(bus)
    driver.begin(2, RANGES[range_mv])
    chip.now_s += driver.conversion_ms / 1000
    assert driver.poll() == READY
    return driver.code()


@pytest.mark.published(
    "printed", ids="8.12", tolerance="exact",
    source='Texas Instruments SBAS444, "Full-scale range and corresponding LSB size"')
@pytest.mark.parametrize(("range_mv", "step_uv"), [
    # SBAS444, "Full-scale range and corresponding LSB size".
    (6144, 187.5), (4096, 125.0), (2048, 62.5), (1024, 31.25), (512, 15.625), (256, 7.8125)])
def test_one_step_of_each_range_is_that_of_the_datasheet(range_mv, step_uv):
    assert step_sixteenth_uv(range_mv) / 16 == step_uv
    assert converted(range_mv, 1000 * step_uv / 1000) == 1000


@pytest.mark.published(
    "printed", ids="8.12", tolerance="exact",
    source='Texas Instruments SBAS444, "Input signal versus ideal output code"')
@pytest.mark.parametrize(("of_full_scale", "code"), [
    # SBAS444, "Input signal versus ideal output code".
    (1.0, 0x7FFF), (32767 / 32768, 0x7FFF), (1 / 32768, 1), (0.0, 0), (-1 / 32768, -1), (-1.0, -0x8000)])
def test_the_codes_of_the_datasheet_come_out_with_their_sign(of_full_scale, code):
    assert converted(256, 256 * of_full_scale) == code


@pytest.mark.published(
    "memory", ids="8.12", tolerance="exact",
    source="Texas Instruments SBAS444, config register, reset value (from memory)")
def test_the_configuration_after_reset_is_8583():
    chip = Chip()
    chip.write(b"\x01")
    assert chip.read(2) == b"\x85\x83"


@pytest.mark.published(
    "worked", tolerance="exact",
    source="Texas Instruments SBAS444, config register, worked by hand")
@pytest.mark.parametrize(("channel", "range_mv", "rate_hz", "register"), [
    # SBAS444, config register: OS, MUX 100 to 111, PGA, MODE 1, DR, comparator disabled; worked by hand.
    (0, 2048, 128, 0xC583), (3, 6144, 8, 0xF103), (1, 4096, 860, 0xD3E3), (2, 256, 250, 0xEBA3)])
def test_a_conversion_is_begun_by_the_word_that_the_register_map_gives(channel, range_mv, rate_hz, register):
    class Wire:
        def writeto_mem(self, address, number, data):
            self.seen = address, number, bytes(data)

    wire = Wire()
    ADS1115(wire, rate_hz=rate_hz).begin(channel, RANGES[range_mv])
    assert wire.seen == (0x48, 1, register.to_bytes(2, "big"))
