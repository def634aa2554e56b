"""CD74HC4051: an analogue switch with eight channels, three address pins, and a converter at its common pin.

Source: Texas Instruments "CDx4HC405x High-Speed CMOS Logic Analog Multiplexers and Demultiplexers", SCHS122, function
table: with E low, S2 S1 S0 as a binary number say which of A0 to A7 is joined to the common pin; with E high none is.
From memory.
"""

from collections.abc import Callable, Sequence

from seatrial.chips.circuits import Converter, Pin

CHANNELS = 8


class Selector:
    """`inputs_mv` say what stands at A0 to A7, mV (None: nothing is wired there); `common` is the converter.

    `address` are the levels of S0, S1 and S2; without, `select` are three pins that give them. `residue` is how much of
    the difference to what the converter saw last is still there at a reading (0 to below 1): a first reading of
    another channel is wrong by that much, the next by its square. A common pin that nothing drives keeps its voltage.
    Fault: `is_enabled` False lets the common pin go.
    """

    def __init__(self, inputs_mv: Sequence[Callable[[], float] | None],
                 address: Sequence[Callable[[], int]] | None = None, residue: float = 0.0) -> None:
        if len(inputs_mv) > CHANNELS:
            raise ValueError("%d inputs; a switch has %d channels" % (len(inputs_mv), CHANNELS))
        self.inputs_mv = [*inputs_mv, *[None] * (CHANNELS - len(inputs_mv))]
        self.select = (Pin(), Pin(), Pin())
        self.residue = residue
        self.is_enabled = True
        self._address = address
        self._held_mv = 0.0
        self.common = Converter(self._common_mv)

    @property
    def channel(self) -> int:
        """Which channel is joined to the common pin."""
        levels = [level() for level in self._address] if self._address else [pin.level for pin in self.select]
        return sum(level << place for place, level in enumerate(levels))

    def _common_mv(self) -> float:
        """What the converter sees at a reading, which leaves it with that."""
        source = self.inputs_mv[self.channel] if self.is_enabled else None
        if source is not None:
            volts_mv = source()
            self._held_mv = volts_mv + (self._held_mv - volts_mv) * self.residue
        return self._held_mv
