"""The test of a release circuit by a current that is far too small to work it.

    trickle pin --- 330 Ohm, Schottky diode ---+--- what is tested --- return
                                               |
                                               +--- 100 kOhm --- node converter (1 MOhm and 10 nF to ground)

The trickle is limited by its resistor alone (3300 mV through 330 Ohm: 10 mA into a dead short, what a pin may give).
The node shows the current: what the node lacks of the 3.3 V dropped over the resistor. A little of it dropped over the
diode and looks like 1 mA more: a Schottky diode, so that an open circuit stays below the limit of open. The node is
clamped to 3.3 V. The release that owns the circuit sees to it that nothing else drives it meanwhile, and ends the test
after `TEST_MS_MAX` at most.

Safe state of the pin: low, no resistor needed: 330 Ohm and the diode let nothing pass that could hurt.

No datasheet: pins and ADC of MicroPython's `machine` module. The current is Ohm's law.
"""

from drivers.circuits import FULL, quiet
from drivers.upkeep import elapsed_ms

UNTESTED, SOUND, OPEN, SHORTED = range(4)  # `circuit`

IDLE_MS = 100  # after this long off, current and voltage have gone
TRICKLE_MS = 20  # until the node has settled: 100 kOhm and 10 nF settle in 5 ms
SAMPLES = 4
FULL_MV = 3300  # at the converter's full scale
TEST_MS_MAX = 500
TESTED_MS = 60000  # a verdict older than this is forgotten
STEP_COUNTS = 2048  # a trickle that moves the node by less has not been seen at all
SHORT_MA_MIN, SHORT_MA_MAX = 5, 20  # below it the verdicts lie too close together, above it no pin drives


class Trickle:
    """`circuit` is the verdict of the last test, `test_ma` its current; forgotten after a minute. `test_mv` is where
    the node stood in it: in what is called shorted it tells a dead short from a few Ohm.

    `short_ma` is the trickle into a dead short. One below `open_below_ma` (default a fifth of it) means open, one above
    `short_above_ma` (default four fifths) shorted; with `short_above_ma` 0 no circuit is ever called shorted. A node
    that the trickle moves by less than `step_counts` proves nothing but a short: the converter may stand still, or
    something else drive the node. `trickle` None: not fitted, never tested.

    Raises ValueError, with the trickle off, when the numbers do not fit each other or a trickle has no node.
    """

    def __init__(self, trickle, node, short_ma: int = 10, open_below_ma: int = -1, short_above_ma: int = -1,
                 step_counts: int = STEP_COUNTS) -> None:
        self._trickle = trickle
        self.off()
        self.circuit = UNTESTED
        self.test_ma = 0
        self.test_mv = 0
        self._node = node
        self._short_ma = short_ma
        self._open_below_ma = short_ma // 5 if open_below_ma < 0 else open_below_ma
        self._short_above_ma = short_ma * 4 // 5 if short_above_ma < 0 else short_above_ma
        self._step_counts = step_counts
        self._begun_ms = 0
        self._tested_ms = 0
        self._idle_counts = 0
        self._sum_counts = 0
        self._samples = 0
        self._check()

    def _check(self) -> None:
        if self._trickle is not None and self._node is None:
            raise ValueError("a trickle needs the converter of its node")
        if not SHORT_MA_MIN <= self._short_ma <= SHORT_MA_MAX:
            raise ValueError("trickle into a short is %d mA; allowed is %d to %d" % (
                self._short_ma, SHORT_MA_MIN, SHORT_MA_MAX))
        sound_below_ma = self._short_above_ma or self._short_ma
        if not 0 < self._open_below_ma < sound_below_ma or self._short_above_ma >= self._short_ma:
            raise ValueError("open below %d mA and shorted above %d mA; they must rise, and stay within 1 to %d" % (
                self._open_below_ma, self._short_above_ma, self._short_ma - 1))
        if not 0 < self._step_counts < FULL:
            raise ValueError("least step of the node is %d counts; allowed is 1 to %d" % (self._step_counts, FULL - 1))

    def off(self) -> int:
        """Trickle off, whatever happens; 1 when the pin took it. Never raises."""
        return quiet(self._trickle)

    def forget(self) -> None:
        """No verdict any more: the circuit may have changed."""
        self.circuit = UNTESTED

    def age(self, now_ms: int) -> None:
        """Forget a verdict that is too old; to be called at every tick."""
        if self.circuit != UNTESTED and elapsed_ms(now_ms, self._tested_ms) > TESTED_MS:
            self.circuit = UNTESTED

    def begin(self, now_ms: int) -> int:
        """Switch the trickle on; 0 where none is fitted. The circuit has been off for `IDLE_MS`. Raises OSError."""
        self.circuit = UNTESTED
        self.test_ma = self.test_mv = 0
        self._sum_counts = self._samples = 0
        if self._trickle is None:
            return 0
        self._idle_counts = self._node.read_u16()
        self._trickle(1)
        self._begun_ms = now_ms
        return 1

    def is_overdue(self, now_ms: int) -> bool:
        """Nobody has ended this test in time."""
        return elapsed_ms(now_ms, self._begun_ms) > TEST_MS_MAX

    def sample(self, now_ms: int) -> int:
        """Go on with a test: 1 when it is over, with the trickle off and the verdict in `circuit`. Raises OSError.

        A verdict that is still UNTESTED then is a converter that stands still, or a node that something else drives.
        """
        if elapsed_ms(now_ms, self._begun_ms) < TRICKLE_MS:
            return 0
        self._sum_counts += self._node.read_u16()
        self._samples += 1
        if self._samples < SAMPLES:
            return 0
        self.off()
        self._tested_ms = now_ms
        self._judge(self._sum_counts // SAMPLES)
        return 1

    def _judge(self, counts: int) -> None:
        self.test_mv = (counts * FULL_MV + (FULL >> 1)) // FULL
        self.test_ma = ((FULL - counts) * self._short_ma + (FULL >> 1)) // FULL
        if self._short_above_ma and self.test_ma > self._short_above_ma:
            self.circuit = SHORTED
        elif counts - self._idle_counts < self._step_counts:
            self.circuit = UNTESTED
        elif self.test_ma < self._open_below_ma:
            self.circuit = OPEN
        else:
            self.circuit = SOUND
