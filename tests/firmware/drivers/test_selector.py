"""The analogue switch: each input its own voltage, whatever was read before, and never another one's."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.register import ShiftRegister
from drivers.selector import Selector
from seatrial.chips.buses import SPIBus
from seatrial.chips.circuits import LOGIC_MV
from seatrial.chips.register import ShiftRegisters
from seatrial.chips.selector import Selector as SwitchChip

VOLTS_MV = (0.0, 3300.0, 400.0, 800.0, 1200.0, 1650.0, 2000.0, 2900.0)


def switch(residue: float = 0.0) -> SwitchChip:
    return SwitchChip([lambda mv=mv: mv for mv in VOLTS_MV], residue=residue)


def counts(mv: float) -> int:
    """What a 12-bit converter makes of it."""
    code = round(4095 * mv / LOGIC_MV)
    return code << 4 | code >> 8


@given(st.lists(st.integers(0, 7), min_size=1, max_size=40))
def test_each_input_shows_its_own_voltage_in_any_order(channels):
    chip = switch()
    driver = Selector(chip.select, chip.common)
    inputs = [driver.input(channel) for channel in range(8)]
    for channel in channels:
        assert inputs[channel].read_u16() == counts(VOLTS_MV[channel])
        assert chip.channel == channel


@given(st.lists(st.integers(0, 7), min_size=1, max_size=40))
def test_what_the_last_channel_left_behind_is_gone_after_the_reading_that_is_thrown_away(channels):
    chip = switch(residue=0.04)
    driver = Selector(chip.select, chip.common)
    for channel in channels:
        seen = driver.input(channel).read_u16()
        assert abs(seen - counts(VOLTS_MV[channel])) <= 0.04 ** 2 * 65535 + 17


def test_without_throwing_away_the_residue_would_be_seen():
    chip = switch(residue=0.04)
    driver = Selector(chip.select, chip.common)
    driver.input(1).read_u16()
    chip.select[0](0)
    assert chip.common.read_u16() > 2500


@pytest.mark.parametrize("settle", [1, 2, 8])
def test_readings_are_thrown_away_only_after_a_change(settle):
    chip = switch()
    driver = Selector(chip.select, chip.common, settle)
    for channel, taken in ((3, settle + 1), (3, 1), (3, 1), (4, settle + 1), (3, settle + 1)):
        before = chip.common.uses
        driver.input(channel).read_u16()
        assert chip.common.uses - before == taken


def test_one_reading_is_thrown_away_unless_told_otherwise():
    chip = switch()
    Selector(chip.select, chip.common).input(3).read_u16()
    assert chip.common.uses == 2


def test_the_first_reading_sets_the_pins_whatever_they_were():
    chip = switch()
    for pin in chip.select:
        pin(1)
    assert Selector(chip.select, chip.common).input(0).read_u16() == counts(VOLTS_MV[0])


@pytest.mark.parametrize("failing", [0, 1, 2])
def test_a_pin_that_fails_raises_at_once_and_the_next_reading_sets_all_of_them_again(failing):
    chip = switch()
    driver = Selector(chip.select, chip.common)
    driver.input(7).read_u16()
    chip.select[failing].dead = True
    for channel in (0, 7, 7):
        with pytest.raises(OSError):
            driver.input(channel).read_u16()
    chip.select[failing].dead = False
    assert driver.input(7).read_u16() == counts(VOLTS_MV[7])


@pytest.mark.parametrize("fails", [1, 2])
def test_a_converter_that_fails_raises_and_the_next_reading_is_settled_and_right(fails):
    chip = switch(residue=0.04)
    driver = Selector(chip.select, chip.common)
    driver.input(1).read_u16()
    chip.common.fail_next = fails
    for _ in range(fails):
        with pytest.raises(OSError):
            driver.input(0).read_u16()
    assert driver.input(0).read_u16() <= 0.04 ** 2 * 65535 + 17


@pytest.mark.parametrize("upset", [0, 1, 2])
def test_an_upset_of_a_select_pin_lasts_no_longer_than_to_the_next_change(upset):
    chip = switch()
    driver = Selector(chip.select, chip.common)
    for channel in (2, 5):
        driver.input(channel).read_u16()
        chip.select[upset].level ^= 1
        other = channel ^ (7 ^ 1 << upset)  # the pin that was upset has the same level for both
        assert driver.input(other).read_u16() == counts(VOLTS_MV[other])


def test_select_pins_behind_the_shift_register_do_as_well():
    chips = ShiftRegisters()
    register = ShiftRegister(SPIBus(chips), chips.rclk, chips.oe, tuple("abcdefgh"))
    register.start()
    chip = SwitchChip([lambda mv=mv: mv for mv in VOLTS_MV],
                      address=[lambda place=place: chips.outputs()[place] for place in (5, 2, 7)])
    driver = Selector([register.pin(name) for name in "fch"], chip.common)
    for channel in (0, 7, 3, 4, 6, 1, 5, 2, 0):
        assert driver.input(channel).read_u16() == counts(VOLTS_MV[channel])


@pytest.mark.parametrize("channel", [-1, 8])
def test_a_channel_that_is_not_there_is_refused(channel):
    chip = switch()
    with pytest.raises(ValueError, match="allowed is 0 to 7"):
        Selector(chip.select, chip.common).input(channel)


@pytest.mark.parametrize("settle", [0, 9])
def test_a_settling_that_means_nothing_is_refused(settle):
    chip = switch()
    with pytest.raises(ValueError, match="allowed is 1 to 8"):
        Selector(chip.select, chip.common, settle)


def test_a_switch_without_pins_is_refused():
    with pytest.raises(ValueError, match="at least one"):
        Selector((), switch().common)
