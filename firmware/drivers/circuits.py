"""What the drivers of plain circuits share: duties, currents, and a permission that runs out.

No chip stands behind these; the PWM, ADC and pins are those of MicroPython's `machine` module, whose 16-bit duty and
16-bit reading are full at 65535.

A release output needs to be told again and again. Every call of its `fire` (or `lock`) is a permission for `TOLD_MS`;
`tick` and `lapse` switch it off when the last one is older. Three cases are so covered: a mission that no longer
steps while the board still ticks (`tick` sees it), a board that no longer ticks while interrupts still run (the board
may call `lapse` from a timer interrupt: it allocates nothing), and a processor that has stopped (the watchdog resets
it, and the pull resistors named in each driver hold the outputs off from that instant).
"""

from drivers.upkeep import one_more

FULL = 65535
CLIPPED = 65520  # a 12-bit converter shows its last code as 65520 to 65535, by how it is widened to 16 bits
SENSED_MA_MAX = 16383  # so that counts times milliamperes stay below 2^30
TOLD_MS = 2000  # how long one permission lasts
LOOK_MS = 50  # while a circuit is off, it is looked at this often


def duty(percent: int) -> int:
    """Percent as a 16-bit duty, to the nearest: 0 and below is exactly 0, 100 and above exactly 65535."""
    if percent <= 0:
        return 0
    if percent >= 100:
        return FULL
    return (percent * FULL + 50) // 100


def quiet(output) -> int:
    """Switch a PWM or a pin off whatever happens; 1 when it took it. None is an output that is not fitted."""
    try:
        if output is None:
            return 1
        if hasattr(output, "duty_u16"):
            output.duty_u16(0)
        else:
            output(0)
    except Exception:  # off must never raise: whatever the pin has, the caller has other pins to switch off
        return 0
    return 1


class Sense:
    """A current through a shunt and its amplifier: `ma`, believable while `ok`.

    `full_ma` is the current at full scale, 1 to 16383 mA. A reading at full scale is not believed: it says only that
    the current is at least that. Without a converter (None) nothing is ever believed. Raises ValueError for another
    `full_ma`.
    """

    def __init__(self, adc, full_ma: int) -> None:
        self.ok = 0
        self.ma = 0
        self.faults = 0
        self._adc = adc
        self._full_ma = full_ma
        if adc is not None and not 1 <= full_ma <= SENSED_MA_MAX:
            raise ValueError("current at full scale is %d mA; allowed is 1 to %d" % (full_ma, SENSED_MA_MAX))

    def read(self) -> int:
        """Take one reading; returns `ok`."""
        self.ok = 0
        if self._adc is None:
            return 0
        try:
            counts = self._adc.read_u16()
        except OSError:
            self.faults = one_more(self.faults)
            return 0
        if not 0 <= counts <= FULL:
            self.faults = one_more(self.faults)
            return 0
        self.ma = (counts * self._full_ma + (FULL >> 1)) // FULL
        self.ok = 0 if counts >= CLIPPED else 1
        return self.ok
