"""What the two kinds of release channel share: off whatever fails, the test by a trickle, a pin that fails.

A channel has `_all_low()`, which puts all its pins low and tells whether they took it. Permission: `drivers.circuits`.
"""

from drivers.circuits import Sense
from drivers.trickle import IDLE_MS, UNTESTED, Trickle
from drivers.upkeep import elapsed_ms, one_more

OFF, TESTING, FAILED = range(3)  # `state`; those in which a channel works are its own, from `OWN` on
OWN = 3


class Channel:
    """One release channel; its outputs are off when it is made. Raises ValueError for a full scale that cannot be."""

    def __init__(self, adc, full_ma: int, trickle: Trickle) -> None:
        self.state = OFF
        self.percent = 0
        self.lapses = 0
        self.faults = 0
        self.ma = 0
        self.ok = 0
        self._sense = Sense(adc, full_ma)
        self._trickle = trickle
        self._since_ms = 0  # of the state
        self._looked_ms = 0
        self._told_ms = 0
        self._is_just_off = 1  # since when is told by the next tick

    @property
    def circuit(self) -> int:
        """Verdict of the last test: UNTESTED, SOUND, OPEN or SHORTED of `drivers.trickle`."""
        return self._trickle.circuit

    @property
    def test_ma(self) -> int:
        """Trickle of the last test."""
        return self._trickle.test_ma

    @property
    def test_mv(self) -> int:
        """Where the node stood in the last test, mV."""
        return self._trickle.test_mv

    def off(self) -> int:
        """All off at once, whatever fails; 1 when every pin took it. Never raises. Allocates nothing."""
        taken = self._all_low()
        if self.state != OFF:
            self._is_just_off = 1
        self.state = OFF
        self.percent = 0
        if not taken:
            self.faults = one_more(self.faults)
        return taken

    def _all_low(self) -> int:
        """Of each kind its own; a channel that had none would tell that no pin took it."""
        return 0

    def _begin_anew(self, now_ms: int) -> int:
        """All off and nothing known; 1 when the pins took it."""
        taken = self.off()
        self._trickle.forget()
        self._is_just_off = 0
        self._since_ms = now_ms
        self._read()
        return taken

    def _begin_test(self, now_ms: int) -> int:
        """1 when begun, 0 while the channel is busy or has not been off for 0.1 s."""
        if self.state != OFF or self._is_just_off or elapsed_ms(now_ms, self._since_ms) < IDLE_MS:
            return 0
        try:
            if not self._trickle.begin(now_ms):
                return 0
        except OSError:
            self._fail(now_ms)
            return 0
        self.state = TESTING
        self._since_ms = now_ms
        return 1

    def _go_on_testing(self, now_ms: int) -> None:
        try:
            if not self._trickle.sample(now_ms):
                return
        except OSError:
            self._fail(now_ms)
            return
        self.off()
        if self._trickle.circuit == UNTESTED:
            self.faults = one_more(self.faults)  # a converter that stands still, or a node that is driven

    def _fail(self, now_ms: int) -> None:
        percent = self.percent
        self.faults = one_more(self.faults)
        self.off()
        self.percent = percent
        self.state = FAILED
        self._since_ms = now_ms

    def _read(self) -> None:
        self.ok = self._sense.read()
        self.ma = self._sense.ma
