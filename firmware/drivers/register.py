"""SN74HC595, a shift register of eight outputs with a storage register; several in a chain are longer ones.

    SPI data --- SER    first chip   QH' --- SER    second chip   QH' --- ...
    SPI clock, latch pin (RCLK) and enable pin (OE) --- all chips; SRCLR of all at the supply

Source: Texas Instruments "SNx4HC595 8-Bit Shift Registers With 3-State Output Registers", SCLS041; from memory. SPI
mode 0, most significant bit first, at 1 MHz or so: a shift of two chips takes 16 us of it.

Safe states, pin by pin, from reset until the first step:

    enable   high, pull-up 10 kOhm to 3.3 V: all outputs are let go, and the pull-down at each decides
    latch    low, no resistor needed: its rising edge takes over what was shifted in

Both registers hold anything when power comes, so zeros are shifted in before the outputs are first enabled. The chips
hear everything that is said on the bus, to the radio as well, and show none of it, since nothing is taken over without
the latch. Nothing comes back from them: `ok` says that the bus and the pins took it, not that a chip is there.

The pins that this gives out are like those of MicroPython's `machine` module. A scheduled (soft) interrupt may use them
too, as `lapse` of the releases does: what is shifted is always the newest, and a talk with the radio that it falls into
is spoilt, which the radio's driver notices by reading back.
"""

from drivers.upkeep import one_more

CHIP_OUTPUTS = 8


class ShiftRegister:
    """`names` are the outputs, Q0 (the datasheet's QA) of the first chip first; `pin` gives each of them.

    `ok` is 1 while the outputs show what the pins were told; `faults` counts shifts that failed. Raises ValueError,
    with all outputs let go, when there is no name or one twice. Pins and bus raise OSError.
    """

    def __init__(self, spi, latch, enable, names) -> None:
        self._enable = enable
        self.release()
        self.ok = 0
        self.faults = 0
        self._spi = spi
        self._latch = latch
        self._pins = {}
        chips = (len(names) + CHIP_OUTPUTS - 1) // CHIP_OUTPUTS
        self._levels = bytearray(chips)  # as shifted: what goes first ends in the last chip
        for at in range(len(names)):
            self._pins[names[at]] = RegisterPin(self, chips - 1 - at // CHIP_OUTPUTS, 1 << at % CHIP_OUTPUTS)
        if not names or len(self._pins) != len(names):
            raise ValueError("shift register: %d outputs with %d names; each output needs a name of its own" % (
                len(names), len(self._pins)))

    def pin(self, name: str):
        """The output of this name, to be called as a pin. Raises ValueError for a name that is not there."""
        if name not in self._pins:
            raise ValueError("no output %s on the shift register; there are %s" % (name, ", ".join(self._pins)))
        return self._pins[name]

    def start(self) -> int:
        """All outputs low and enabled; 1 when bus and pins took it. If not, the next `refresh` tries again."""
        self.release()
        for at in range(len(self._levels)):
            self._levels[at] = 0
        self._is_wanted = 1
        try:
            self.refresh()
        except OSError:
            return 0
        return 1

    def release(self) -> int:
        """Let all outputs go until the next `start`, without the bus; 1 when the pin took it. Never raises."""
        self._is_wanted = 0  # enabled as soon as the outputs are known, after a start
        try:
            self._enable(1)
        except Exception:  # must never raise: whatever the pin has, the caller has other outputs to switch off
            return 0
        return 1

    def refresh(self) -> None:
        """Shift all levels again, so that an upset of the register does not last. Raises OSError."""
        self.ok = 0
        try:
            self._latch(0)
            self._spi.write(self._levels)
            self._latch(1)
            self._latch(0)
            if self._is_wanted:
                self._enable(0)
        except OSError:
            self.faults = one_more(self.faults)
            raise
        self.ok = 1

    def put(self, chip: int, mask: int, level: int) -> None:
        """Set one output: what its pin calls. It is shifted when it changes or when the last shift failed.

        Changed in one statement, which no scheduled interrupt divides: one that sets another output is not undone.
        """
        before = self._levels[chip]
        if level:
            self._levels[chip] |= mask
        else:
            self._levels[chip] &= ~mask
        if self._levels[chip] != before or not self.ok:
            self.refresh()

    def level(self, chip: int, mask: int) -> int:
        """What one output was told last."""
        return 1 if self._levels[chip] & mask else 0


class RegisterPin:
    """One output of the register: called with a level to drive it, without to read what it was told."""

    def __init__(self, register, chip: int, mask: int) -> None:
        self._register = register
        self._chip = chip
        self._mask = mask

    def __call__(self, level: int = -1) -> int:
        if level >= 0:
            self._register.put(self._chip, self._mask, level)
        return self._register.level(self._chip, self._mask)
