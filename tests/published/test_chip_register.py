"""The shift register against the function table and the timing of its datasheet: simulated chip and driver apart.

Source of all: Texas Instruments "SNx4HC595 8-Bit Shift Registers With 3-State Output Registers", SCLS041; from memory.
"""

import pytest

from drivers.register import ShiftRegister
from seatrial.chips.buses import SPIBus
from seatrial.chips.register import ShiftRegisters

SHEET = "Texas Instruments SCLS041, SNx4HC595 (from memory)"


class Recorder:
    """Bus and pins that only write down what the driver did."""

    def __init__(self) -> None:
        self.said: list[tuple[str, object]] = []

    def write(self, data) -> None:
        self.said.append(("data", bytes(data)))

    def latch(self, level: int) -> None:
        self.said.append(("RCLK", level))

    def enable(self, level: int) -> None:
        self.said.append(("OE", level))


@pytest.mark.published("memory", source=SHEET, tolerance="exact")
@pytest.mark.parametrize("ser", [0, 1])
def test_a_rising_srclk_puts_ser_into_the_first_stage_and_every_other_stage_one_on(ser):
    # Function table: "first stage of the shift register goes low (high). Other stages store the data of previous stage".
    chip = ShiftRegisters()
    chip.shifting = [1, 0, 0, 1, 1, 0, 1, 0]
    chip.clock(ser)
    assert chip.shifting == [ser, 1, 0, 0, 1, 1, 0, 1]


@pytest.mark.published("memory", source=SHEET, tolerance="exact")
def test_the_storage_register_changes_at_a_rising_rclk_alone():
    # Function table: "Shift-register data is stored in the storage register" at the rising edge; nothing at the falling.
    chip = ShiftRegisters()
    chip.shifting = [1, 0, 1, 0, 0, 0, 0, 1]
    before = list(chip.stored)
    chip.clock(0)
    assert chip.stored == before
    chip.rclk(1)
    assert chip.stored == chip.shifting
    chip.clock(1)
    chip.rclk(1)
    chip.rclk(0)
    assert chip.stored != chip.shifting


@pytest.mark.published("memory", source=SHEET, tolerance="exact")
def test_oe_high_disables_the_outputs_and_low_enables_them_without_touching_either_register():
    # Function table: "Outputs QA-QH are disabled" with OE high, "enabled" with OE low.
    chip = ShiftRegisters()
    chip.stored = [1, 0, 1, 0, 0, 0, 0, 1]
    shifting = list(chip.shifting)
    assert not chip.is_driving and chip.outputs() == [0] * 8
    chip.oe(0)
    assert chip.is_driving and chip.outputs() == [1, 0, 1, 0, 0, 0, 0, 1] and chip.shifting == shifting


@pytest.mark.published("memory", source=SHEET, tolerance="exact")
def test_the_first_of_eight_bits_ends_at_qh_and_the_last_at_qa():
    # Timing diagram: a single high bit moves from QA to QH with eight clocks.
    chip = ShiftRegisters()
    chip.shifting = [0] * 8
    chip.clock(1)
    for place in range(8):
        assert chip.shifting.index(1) == place
        chip.clock(0)
    assert not any(chip.shifting)


@pytest.mark.published("memory", source=SHEET, tolerance="exact")
def test_a_chain_passes_the_bit_of_qh_on_to_the_next_chip():
    # Pin table: QH' is the serial output, for cascading.
    chip = ShiftRegisters(2)
    chip.shifting = [0] * 16
    chip.exchange(0x80)
    assert chip.shifting.index(1) == 7
    chip.exchange(0x00)
    assert chip.shifting.index(1) == 15


@pytest.mark.published("memory", source=SHEET, tolerance="exact")
@pytest.mark.parametrize("place, byte", [(0, 0x01), (1, 0x02), (3, 0x08), (7, 0x80)])
def test_the_driver_says_the_byte_that_by_the_datasheet_belongs_to_an_output(place, byte):
    # SPI sends bit 7 first, so it ends at QH (Q7), and bit 0, sent last, at QA (Q0): worked out by hand.
    recorder = Recorder()
    driver = ShiftRegister(recorder, recorder.latch, recorder.enable, tuple("abcdefgh"))
    driver.start()
    recorder.said.clear()
    driver.pin("abcdefgh"[place])(1)
    assert recorder.said[:4] == [("RCLK", 0), ("data", bytes([byte])), ("RCLK", 1), ("RCLK", 0)]


@pytest.mark.published("memory", source=SHEET, tolerance="exact")
@pytest.mark.parametrize("place, data", [(0, b"\x00\x01"), (7, b"\x00\x80"), (8, b"\x01\x00"), (13, b"\x20\x00")])
def test_the_driver_says_what_is_for_the_last_chip_of_a_chain_first(place, data):
    # By hand: what is clocked in first has gone furthest.
    names = tuple("abcdefghijklmn")
    recorder = Recorder()
    driver = ShiftRegister(recorder, recorder.latch, recorder.enable, names)
    driver.start()
    recorder.said.clear()
    driver.pin(names[place])(1)
    assert recorder.said[1] == ("data", data)


@pytest.mark.published("memory", source=SHEET, tolerance="exact")
def test_the_driver_enables_the_outputs_last_and_keeps_them_disabled_before():
    recorder = Recorder()
    ShiftRegister(recorder, recorder.latch, recorder.enable, ("a",)).start()
    assert recorder.said == [("OE", 1), ("OE", 1), ("RCLK", 0), ("data", b"\x00"), ("RCLK", 1), ("RCLK", 0), ("OE", 0)]


@pytest.mark.published("memory", source=SHEET, tolerance="exact")
def test_what_others_say_on_the_bus_is_shifted_and_not_shown():
    # The chip has no select pin: SRCLK is not gated (logic diagram).
    chip = ShiftRegisters()
    chip.oe(0)
    chip.stored = [0] * 8
    SPIBus(chip).write(b"\xA5")
    assert chip.shifting == [1, 0, 1, 0, 0, 1, 0, 1] and chip.outputs() == [0] * 8
