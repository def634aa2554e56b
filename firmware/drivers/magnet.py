"""A hall or reed switch that sees a magnet through the housing.

An open-drain hall switch or a reed contact to ground reads 0 with the magnet near. Safe state: an input; it needs a
pull-up of 10 to 100 kOhm to 3.3 V (a reed with a cable: the lower), and no magnet is what a broken wire shows.
The length of a gesture is judged by the mission; this driver only says what is believable.

Bounce of a reed contact is over within a few milliseconds (common practice, no source).
"""

from drivers.upkeep import PAUSE_MS, elapsed_ms, one_more

STEADY_MS = 30  # a level counts when it has stood so long ...
STEADY_READINGS = 3  # ... and was seen so often: one look after a long sleep is no evidence
STUCK_MS = 150000  # beyond the longest gesture that orders can ask for, so that its end is never taken for one
CHATTER_MS = 2000  # a switch that never stands still so long is broken ...
CHATTER_CHANGES = 5  # ... if it was seen to change so often; fewer is a board that looks seldom
AGE_MS = 5000  # longer than a board ever sleeps between two steps


class Magnet:
    """`held` is 1 while a magnet is near, believable while `ok`; it is 0 whenever `ok` is.

    Not believed: a switch that was not looked at for `AGE_MS`, one that chatters (`CHATTER_MS` without a steady
    level), one that is on without a break for `STUCK_MS` (`stuck`), a pin that fails. A switch that stays off cannot
    be told from no magnet. After each of these a steady off is wanted before `ok` returns, so that no gesture begins
    in the middle.
    """

    def __init__(self, pin, near_level: int = 0) -> None:
        self._pin = pin
        self._near_level = near_level
        self.ok = 0
        self.held = 0
        self.stuck = 0
        self.faults = 0
        self._raw = -1  # last seen: 0 or 1, -1 nothing yet
        self._seen = 0
        self._changes = 0  # since the level was steady
        self._raw_ms = 0
        self._steady_ms = 0
        self._looked_ms = 0
        self._failed_ms = 0
        self._failing = 0

    def start(self, now_ms: int) -> int:
        """Forget what was seen; 1 when the pin can be read."""
        self._doubt()
        self.stuck = 0
        self._failing = 0
        self._steady_ms = self._looked_ms = now_ms
        self._look(now_ms)
        return 0 if self._failing else 1

    def tick(self, now_ms: int) -> None:
        """Look once."""
        if elapsed_ms(now_ms, self._looked_ms) > AGE_MS:
            self._doubt()
            self._steady_ms = now_ms
        if self._failing and elapsed_ms(now_ms, self._failed_ms) < PAUSE_MS:
            return
        self._look(now_ms)
        if self._failing:
            return
        if self._seen >= STEADY_READINGS and elapsed_ms(now_ms, self._raw_ms) >= STEADY_MS:
            self._believe(now_ms)
        elif self.ok and self._changes >= CHATTER_CHANGES and elapsed_ms(now_ms, self._steady_ms) >= CHATTER_MS:
            self.faults = one_more(self.faults)
            self._doubt()

    def _look(self, now_ms: int) -> None:
        self._looked_ms = now_ms
        try:
            near = 1 if self._pin() == self._near_level else 0
        except OSError:
            self.faults = one_more(self.faults)
            self._failing = 1
            self._failed_ms = now_ms
            self._doubt()
            return
        self._failing = 0
        if near != self._raw:
            self._raw = near
            self._raw_ms = now_ms
            self._seen = 0
            self._changes = min(self._changes + 1, CHATTER_CHANGES)
        self._seen = min(self._seen + 1, STEADY_READINGS)

    def _believe(self, now_ms: int) -> None:
        self._steady_ms = now_ms
        self._changes = 0
        if not self._raw:
            self.held = 0
            self.stuck = 0
            self.ok = 1
        elif self.ok and elapsed_ms(now_ms, self._raw_ms) < STUCK_MS:
            self.held = 1
        elif elapsed_ms(now_ms, self._raw_ms) >= STUCK_MS and not self.stuck:
            self.faults = one_more(self.faults)
            self._doubt()
            self.stuck = 1

    def _doubt(self) -> None:
        self.ok = 0
        self.held = 0
        self._raw = -1
        self._seen = 0
        self._changes = 0
