"""SN74HC595 shift registers in a chain: what is shifted in, what was taken over, and what the outputs drive.

Source: Texas Instruments "SNx4HC595 8-Bit Shift Registers With 3-State Output Registers", SCLS041, function table and
logic diagram; from memory. At each rising edge of SRCLK the bit at SER goes to QA and every other bit one place on; QH'
carries the bit of QH on to the next chip, before it is lost. A rising edge of RCLK copies the shift register into the
storage register. OE high lets all outputs go. SRCLR is tied to the supply.
"""

from seatrial.chips.circuits import Pin

PLACES = 8  # QA to QH


class ShiftRegisters:
    """`chips` of them in a chain, a device on an `SPIBus`; `rclk` and `oe` are the pins. OE is pulled up from reset.

    `shifting` and `stored` are the two registers, QA of the first chip first; both hold ones when power comes, the
    worst of what they may hold. Pull-downs hold what is let go low. `edges` counts what was taken over. Faults:
    `absent` (nothing drives the outputs), `deaf` (nothing is shifted in any more).
    """

    def __init__(self, chips: int = 1) -> None:
        self.shifting = [1] * (PLACES * chips)
        self.stored = [1] * (PLACES * chips)
        self.edges = 0
        self.absent = self.deaf = False
        self.rclk = Pin(0, changed=self._take_over)
        self.oe = Pin(1)

    def exchange(self, byte: int) -> None:
        """Eight clocks, the most significant bit first. Selected or not: the chip has no select pin, nor an output."""
        for place in range(7, -1, -1):
            self.clock(byte >> place & 1)

    def clock(self, ser: int) -> None:
        """A rising edge of SRCLK."""
        if not self.deaf:
            self.shifting = [ser, *self.shifting[:-1]]

    def _take_over(self, level: int) -> None:
        if level:
            self.edges += 1
            self.stored = list(self.shifting)

    @property
    def is_driving(self) -> bool:
        """The outputs are enabled; else each is at its pull-down."""
        return not self.oe.level and not self.absent

    def outputs(self) -> list[int]:
        """Level at each output, QA of the first chip first."""
        return list(self.stored) if self.is_driving else [0] * len(self.stored)
