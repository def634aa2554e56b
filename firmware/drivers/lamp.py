"""A lamp, or any load with a level, behind a PWM that drives the dimming input of its supply or a switch.

Safe state: the PWM pin low. It needs a pull-down of 10 kOhm at the switch (or at the dimming input, where that is
active high), since a pin is an input from reset until the board's first step.

The level rises over `RISE_MS`, so that a cold lamp is no load step on a weak pack, and falls at once. No datasheet:
PWM of MicroPython's `machine` module, 16-bit duty.
"""

from drivers.circuits import duty, quiet
from drivers.upkeep import PAUSE_MS, elapsed_ms, one_more

RISE_MS = 200


class Lamp:
    """A load with a level of 0 to 100 percent.

    `percent` is what was asked, `ok` tells that the last write was taken, `faults` counts those that were not; a
    refused level is written again after a pause of about 1 s, for ever.
    """

    def __init__(self, pwm) -> None:
        self._pwm = pwm
        self.ok = quiet(pwm)
        self.faults = 0
        self.percent = 0
        self._shown = 0  # duty that the PWM has
        self._from = 0
        self._since_ms = 0
        self._failed_ms = 0

    def start(self, now_ms: int) -> int:
        """Dark, whatever was before; 1 when the PWM took it."""
        self._since_ms = now_ms
        self.off()
        self._failed_ms = now_ms
        return self.ok

    def off(self) -> None:
        """Dark at once. Never raises."""
        self.percent = 0
        self._shown = self._from = 0
        self.ok = quiet(self._pwm)
        if not self.ok:
            self.faults = one_more(self.faults)

    def set(self, now_ms: int, percent: int) -> None:
        """Ask for a level; beyond 0 to 100 it is the nearer end."""
        percent = min(max(percent, 0), 100)
        if percent == self.percent:
            return
        if percent == 0:
            self.off()
            self._failed_ms = now_ms
            return
        self.percent = percent
        self._from = self._shown
        self._since_ms = now_ms
        self.tick(now_ms)

    def is_rising(self) -> int:
        """1 while the level has not come to what was asked."""
        return 1 if self._shown < duty(self.percent) else 0

    def tick(self, now_ms: int) -> None:
        """One step of the rise, or of trying again."""
        if not self.ok and elapsed_ms(now_ms, self._failed_ms) < PAUSE_MS:
            return
        wanted = self._wanted(now_ms)
        if wanted == self._shown and self.ok:
            return
        try:
            self._pwm.duty_u16(wanted)
        except OSError:
            self.ok = 0
            self.faults = one_more(self.faults)
            self._failed_ms = now_ms
            return
        self._shown = wanted
        self.ok = 1

    def _wanted(self, now_ms: int) -> int:
        target = duty(self.percent)
        if self._shown >= target:
            return target
        gone_ms = elapsed_ms(now_ms, self._since_ms)
        if gone_ms >= RISE_MS:
            return target
        return self._from + (target - self._from) * gone_ms // RISE_MS
