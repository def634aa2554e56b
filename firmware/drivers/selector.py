"""CD74HC4051, an analogue switch that shows one of eight inputs to one converter.

Source: Texas Instruments "CDx4HC405x High-Speed CMOS Logic Analog Multiplexers and Demultiplexers", SCHS122; from
memory. Its enable pin (E) lies at ground, its VEE as well.

Safe state: the select pins anything, no resistor needed; the common pin is an input.

Whenever the channel changes, a reading is thrown away. The common pin and the sampling capacitor of the converter,
about 30 pF together, still hold the voltage of the last channel, and the pins change one after the other, so that a
third channel may be shown for a moment; the first reading carries away what is left of both. The capacitor of the node
shares its charge with those 30 pF: one of 10 nF loses less than a hundredth of the difference, one of 1 nF about a
thirtieth, which comes back through 100 kOhm within 0.3 ms. The limits of such a node must bear that.
"""

CHANNEL_UNKNOWN = -1


class Selector:
    """`select_pins`, the lowest bit first, say which input `adc` reads; `input` gives each of them as a converter.

    `settle` readings are thrown away after a change, 1 to 8. Raises ValueError for another number, or without pins.
    """

    def __init__(self, select_pins, adc, settle: int = 1) -> None:
        if not select_pins:
            raise ValueError("an analogue switch needs at least one select pin")
        if not 1 <= settle <= 8:
            raise ValueError("readings thrown away after a change are %d; allowed is 1 to 8" % settle)
        self._pins = select_pins
        self._adc = adc
        self._settle = settle
        self._channel = CHANNEL_UNKNOWN

    def input(self, channel: int):
        """This input as a converter with `read_u16`. Raises ValueError for a channel that is not there."""
        channels = 1 << len(self._pins)
        if not 0 <= channel < channels:
            raise ValueError("channel of the analogue switch is %d; allowed is 0 to %d" % (channel, channels - 1))
        return SelectedInput(self, channel)

    def read_u16(self, channel: int) -> int:
        """One reading of this channel, 0 to 65535. Raises OSError when a pin or the converter fails."""
        if channel != self._channel:
            self._select(channel)
        return self._adc.read_u16()

    def _select(self, channel: int) -> None:
        """All pins are written, also those that stay: an upset of one lasts no longer than to the next change."""
        self._channel = CHANNEL_UNKNOWN  # until every pin took its level
        bits = channel
        for pin in self._pins:
            pin(bits & 1)
            bits >>= 1
        for _ in range(self._settle):
            self._adc.read_u16()
        self._channel = channel


class SelectedInput:
    """One input of the switch, read as a converter."""

    def __init__(self, selector, channel: int) -> None:
        self._selector = selector
        self._channel = channel

    def read_u16(self) -> int:
        """One reading, 0 to 65535. Raises OSError when a pin or the converter fails."""
        return self._selector.read_u16(self._channel)
