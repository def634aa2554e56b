"""The analogue switch against the function table of its datasheet: simulated chip and driver apart.

Source: Texas Instruments "CDx4HC405x High-Speed CMOS Logic Analog Multiplexers and Demultiplexers", SCHS122; from memory.
"""

import pytest

from drivers.selector import Selector
from seatrial.chips.selector import Selector as SwitchChip

SHEET = "Texas Instruments SCHS122, CDx4HC405x (from memory)"

# Function table of the CD74HC4051, enable low: S2, S1, S0 and the channel that is on.
FUNCTION_TABLE = ((0, 0, 0, 0), (0, 0, 1, 1), (0, 1, 0, 2), (0, 1, 1, 3), (1, 0, 0, 4), (1, 0, 1, 5), (1, 1, 0, 6),
                  (1, 1, 1, 7))


@pytest.mark.published("memory", source=SHEET, tolerance="exact")
@pytest.mark.parametrize("s2, s1, s0, channel", FUNCTION_TABLE)
def test_the_simulated_switch_joins_the_channel_of_the_function_table(s2, s1, s0, channel):
    chip = SwitchChip([lambda mv=mv: 400.0 * mv for mv in range(8)])
    for pin, level in zip(chip.select, (s0, s1, s2), strict=True):
        pin(level)
    assert chip.common.volts_mv() == 400.0 * channel


@pytest.mark.published("memory", source=SHEET, tolerance="exact")
def test_with_the_enable_high_no_channel_is_on():
    # Function table: E high, select pins of no matter: none. The pin then keeps its charge for a while.
    chip = SwitchChip([lambda: 3300.0] * 8)
    chip.is_enabled = False
    assert chip.common.volts_mv() == 0.0


@pytest.mark.published("memory", source=SHEET, tolerance="exact")
@pytest.mark.parametrize("s2, s1, s0, channel", FUNCTION_TABLE)
def test_the_driver_drives_the_levels_of_the_function_table(s2, s1, s0, channel):
    levels: dict[str, int] = {}

    class Converter:
        def read_u16(self) -> int:
            return 0

    pins = [lambda level, name=name: levels.__setitem__(name, level) for name in ("s0", "s1", "s2")]
    Selector(pins, Converter()).input(channel).read_u16()
    assert levels == {"s0": s0, "s1": s1, "s2": s2}
