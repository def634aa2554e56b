"""Depth from the pressures of a journal: in the plan's water where there is a plan, in a standard ocean where not."""

from dataclasses import dataclass

import gsw
import numpy as np
from numpy.typing import NDArray

from lander import words
from lander.judge import AIR_LEAST_MBAR, SATURATED_SHIFT
from seatrial.plan import Plan
from seatrial.water import MBAR_PER_DBAR, WaterColumn
from tumblehome.debrief.log import Log

LATITUDE_DEG = 45.0  # gravity differs by 0.5 % between the equator and a pole; this is the middle
PRESSURE_OK = 1 << words.SIGNS.index("pressure_ok")


@dataclass(frozen=True)
class Depths:
    """Depth below the surface of each record of a log.

    `metres` is positive down, not a number where the reading was invalid or at the end of the sensor's range; `how` is
    a sentence that says how it was reckoned.
    """

    metres: NDArray[np.float64]
    how: str

    @property
    def deepest_m(self) -> float | None:
        """The largest depth that two neighbours at least come near to, so that one spike is none; None without any."""
        there = self.metres[np.isfinite(self.metres)]
        if not len(there):
            return None
        if len(there) < 3:
            return float(there.max())
        return float(np.median(np.stack([there[:-2], there[1:-1], there[2:]]), axis=0).max())


def depths(log: Log, plan: Plan | None = None, latitude_deg: float = LATITUDE_DEG) -> Depths:
    """The depths of a log. The air pressure that was taken on deck is taken off, and the sensor's offset with it.

    With a plan its water counts (TEOS-10, from its salinities and temperatures); without one the standard ocean of
    `gsw.z_from_p` at a latitude.
    """
    pressure_mbar = log.records["pressure_mbar"].astype(float)
    over_mbar = np.maximum(pressure_mbar - log.records["surface_mbar"], 0.0)
    usable = (log.records["signs"] & PRESSURE_OK != 0) & (pressure_mbar >= AIR_LEAST_MBAR)
    if plan is None:
        metres = np.maximum(0.0, -gsw.z_from_p(over_mbar / MBAR_PER_DBAR, latitude_deg))
        how = "depth by TEOS-10 in a standard ocean at latitude %g degrees, since there is no plan" % latitude_deg
    else:
        full_mbar = plan.orders().pressure_full_mbar
        usable &= pressure_mbar < full_mbar - (full_mbar >> SATURATED_SHIFT)
        water = WaterColumn(plan.site)
        distinct, places = np.unique(over_mbar, return_inverse=True)
        metres = np.array([water.depth_at(water.air_mbar + mbar) for mbar in distinct])[places]
        how = "depth by TEOS-10 in the water of the plan"
    return Depths(np.where(usable, metres, np.nan), how + ", below the air pressure that was taken on deck")
