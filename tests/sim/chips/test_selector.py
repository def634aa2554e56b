"""The simulated analogue switch: what is left of the last channel, and inputs that nothing drives."""

import pytest

from seatrial.chips.selector import Selector


def test_a_residue_of_the_last_reading_dies_away_reading_by_reading():
    chip = Selector([lambda: 1000.0, lambda: 0.0], residue=0.1)
    assert chip.common.volts_mv() == pytest.approx(900.0)
    for expected_mv in (990.0, 999.0):
        assert chip.common.volts_mv() == pytest.approx(expected_mv)
    chip.select[0](1)
    for expected_mv in (99.9, 9.99):
        assert chip.common.volts_mv() == pytest.approx(expected_mv)


def test_an_input_that_is_not_wired_shows_what_was_read_last():
    chip = Selector([lambda: 1234.0])
    chip.common.read_u16()
    chip.select[2](1)
    assert chip.channel == 4 and chip.common.volts_mv() == 1234.0


def test_more_inputs_than_channels_are_refused():
    with pytest.raises(ValueError, match="9 inputs"):
        Selector([None] * 9)
