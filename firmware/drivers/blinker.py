"""Plays a pattern on a pin or a PWM: strobe, beacon, status lamp.

A pattern is a tuple of milliseconds, on and off in turn from the first, repeated; the patterns of the lander are in
`lander.lamps`. () is dark, and so is a pattern that lasts no time.

Safe state: the pin low. It needs a pull-down of 10 kOhm at the lamp's switch; a status lamp driven straight from the
pin needs none, since an input does not light it. No datasheet: pins and PWM of MicroPython's `machine` module.
"""

from drivers.circuits import duty, quiet
from drivers.upkeep import PAUSE_MS, RING, elapsed_ms, one_more

DARK: tuple = ()


class Blinker:
    """A lamp that plays one of its `patterns`.

    `lit` is what the lamp was told last, `ok` that it took it; a refused write is made again after about 1 s. Phases
    come from the counter alone: a late tick makes a flash late, never the ones after it. `level_pct` is the
    brightness of a lamp on a PWM.
    """

    def __init__(self, output, patterns=(DARK,), level_pct: int = 100) -> None:
        self._output = output
        self.ok = quiet(output)
        self.faults = 0
        self.lit = 0
        self.pattern = DARK
        self._patterns = patterns
        self._is_pwm = hasattr(output, "duty_u16")
        self._duty = duty(level_pct)
        self._total_ms = 0
        self._since_ms = 0
        self._failed_ms = 0

    def start(self, now_ms: int) -> int:
        """Dark, and the pattern played before is forgotten; 1 when the lamp took it."""
        self.off()
        self._since_ms = self._failed_ms = now_ms
        return self.ok

    def off(self) -> None:
        """Dark at once, until the next `show` or `play`. Never raises."""
        self.pattern = DARK
        self._total_ms = 0
        self.lit = 0
        self.ok = quiet(self._output)
        if not self.ok:
            self.faults = one_more(self.faults)

    def show(self, now_ms: int, code: int) -> None:
        """Play the pattern of this number; a number that has none is dark."""
        self.play(now_ms, self._patterns[code] if 0 <= code < len(self._patterns) else DARK)

    def play(self, now_ms: int, pattern) -> None:
        """Play this pattern from its beginning; one that plays already goes on as it is."""
        if pattern == self.pattern:
            return
        self.pattern = pattern
        self._since_ms = now_ms
        self._total_ms = 0
        for part_ms in pattern:
            self._total_ms += part_ms
        self.tick(now_ms)

    def tick(self, now_ms: int) -> None:
        """Put the lamp where the pattern has it now."""
        if not self.ok:
            if elapsed_ms(now_ms, self._failed_ms) >= PAUSE_MS:
                self._put(now_ms, self._wanted(now_ms))
            return
        wanted = self._wanted(now_ms)
        if wanted != self.lit:
            self._put(now_ms, wanted)

    def until_change_ms(self, now_ms: int) -> int:
        """How long the board may leave the lamp alone, ms; the whole counter when nothing will change."""
        if self._total_ms <= 0:
            return RING
        left_ms = self._position_ms(now_ms)
        for part_ms in self.pattern:
            if left_ms < part_ms:
                return part_ms - left_ms
            left_ms -= part_ms
        return 0

    def _wanted(self, now_ms: int) -> int:
        if self._total_ms <= 0:
            return 0
        left_ms = self._position_ms(now_ms)
        wanted = 1
        for part_ms in self.pattern:
            if left_ms < part_ms:
                return wanted
            left_ms -= part_ms
            wanted ^= 1
        return 0

    def _position_ms(self, now_ms: int) -> int:
        """Milliseconds into the pattern; the beginning moves along by whole patterns, so that no wrap is ever near."""
        gone_ms = elapsed_ms(now_ms, self._since_ms)
        if gone_ms >= self._total_ms:
            gone_ms %= self._total_ms
            self._since_ms = (now_ms - gone_ms) & RING
        return gone_ms

    def _put(self, now_ms: int, wanted: int) -> None:
        try:
            if self._is_pwm:
                self._output.duty_u16(self._duty if wanted else 0)
            else:
                self._output(wanted)
        except OSError:
            self.ok = 0
            self.faults = one_more(self.faults)
            self._failed_ms = now_ms
            return
        self.lit = wanted
        self.ok = 1
