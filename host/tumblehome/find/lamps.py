"""How the beacon lamp of each lander flashes: at its full rhythm, seldom, or not at all.

The firmware flashes fully by night through the planned hours, and seldom after them. It flashes seldom from the
beginning where the charge does not pay for those hours at the full rhythm, as of a lander that has waited long for its
link. Then it will outlast what is reckoned here, at the full rhythm; nothing is promised for that time.
"""

from dataclasses import dataclass

import numpy as np

from lander.lamps import BEACON, FLASH, SPARSE
from seatrial.plan import Plan
from tumblehome.find.shapes import Numbers

NEVER_S = -np.inf
SELDOM = sum(BEACON[FLASH]) / sum(BEACON[SPARSE])  # flashes in a time, as a share of those of the full rhythm


@dataclass(frozen=True)
class Lamps:
    """For each particle until when its lamp flashes fully, and until when at all; `NEVER_S` where it never does.

    In seconds after a moment, the splash at first.
    """

    full_until_s: Numbers
    until_s: Numbers

    def after(self, seconds: float) -> "Lamps":
        """The same, counted from so many seconds later."""
        return Lamps(self.full_until_s - seconds, self.until_s - seconds)

    def lit(self, at_s: float) -> np.ndarray:
        """Whose lamps are counted on up to then."""
        return self.until_s >= at_s

    def rhythm(self, at_s: float) -> Numbers:
        """How often each flashes then, as a share of the full rhythm: 1, `SELDOM` or 0."""
        return np.where(self.lit(at_s), np.where(self.full_until_s >= at_s, 1.0, SELDOM), 0.0)

    def picked(self, which: slice) -> "Lamps":
        """Those of some particles."""
        return Lamps(self.full_until_s[which], self.until_s[which])

    def told(self, until_s: float) -> "Lamps":
        """The same once a lander has said until when its charge lasts; it spares that, where it ends too early."""
        return Lamps(np.where(self.full_until_s <= until_s, self.full_until_s, NEVER_S),
                     np.full(self.until_s.shape, until_s))


def lamps_of(plan: Plan, surfaced_s: Numbers, lit_h: Numbers) -> Lamps:
    """The lamps of landers that surfaced then and whose charge lasts for so many hours at the full rhythm."""
    planned_h = plan.beacon.hours
    return Lamps(np.where(lit_h >= planned_h, surfaced_s + 3600 * planned_h, NEVER_S),
                 np.where(lit_h > 0.0, surfaced_s + 3600 * lit_h, NEVER_S))
