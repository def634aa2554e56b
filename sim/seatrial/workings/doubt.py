"""The same dive with the numbers a little off: drag, masses and water, as far as [doubt] says, all pushing one way.

Each is bent where it acts: the drag coefficients, every mass, the density at every depth. Volumes are kept: a
displaced volume is measured better than a mass on a moving deck, and both act through the same difference.
"""

from copy import copy
from functools import lru_cache
from typing import NamedTuple

from seatrial.hull import Hull
from seatrial.plan import Plan
from seatrial.plan.body import Lander
from seatrial.plan.reckoning import start_at, water_of
from seatrial.plan.sections import Site
from seatrial.water import WaterColumn


class Lean(NamedTuple):
    """Which way each number is off: 1 more, -1 less, 0 as planned."""

    drag: int
    mass: int
    density: int


LIKELY = Lean(drag=0, mass=0, density=0)
SLOW_DOWN = Lean(drag=1, mass=-1, density=1)
FAST_DOWN = Lean(drag=-1, mass=1, density=-1)
SLOW_UP = Lean(drag=1, mass=1, density=-1)
FAST_UP = Lean(drag=-1, mass=-1, density=1)


def leaning_hull(plan: Plan, lean: Lean, ballast_left: float) -> Hull:
    """A hull at rest at the surface, in the water, for the caller to move; `ballast_left` is the share attached."""
    hull = Hull(plan.site, leaning_lander(plan, lean), leaning_water(plan, lean))
    hull.ballast_left = ballast_left
    start_at(hull, 0.0)
    return hull


def leaning_lander(plan: Plan, lean: Lean) -> Lander:
    """The lander with its drag and its masses off, volumes as planned (ballast keeps its density)."""
    drag, mass = 1 + lean.drag * plan.doubt.drag_pct / 100, mass_factor(plan, lean)
    lander = plan.lander
    return lander.model_copy(update={
        "mass_kg": lander.mass_kg * mass,
        "floats": lander.floats.model_copy(update={"mass_kg": lander.floats.mass_kg * mass}),
        "ballast": lander.ballast.model_copy(update={"mass_kg": lander.ballast.mass_kg * mass}),
        "drag_coefficient_down": lander.drag_coefficient_down * drag,
        "drag_coefficient_up": lander.drag_coefficient_up * drag})


def leaning_water(plan: Plan, lean: Lean) -> WaterColumn:
    """The water column with its density off at every depth; pressure and temperature as planned."""
    return _water(plan.site, lean.density * plan.doubt.density_kg_m3)


def mass_factor(plan: Plan, lean: Lean) -> float:
    """What each mass is multiplied by."""
    return 1 + lean.mass * plan.doubt.mass_pct / 100


def said(plan: Plan) -> str:
    """The doubt about weight at the head of a sentence."""
    doubt = plan.doubt
    return f"doubt.mass_pct is {doubt.mass_pct:g} and doubt.density_kg_m3 is {doubt.density_kg_m3:g}"


@lru_cache(maxsize=32)
def _water(site: Site, more_kg_m3: float) -> WaterColumn:
    water = copy(water_of(site))
    water.density_kg_m3 = [density + more_kg_m3 for density in water.density_kg_m3]
    return water
