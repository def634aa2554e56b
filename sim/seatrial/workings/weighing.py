"""What anything weighs in the water of a plan, part by part and kind by kind, on the scales of the simulated hull."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from math import inf, isfinite

from seatrial.hull import Hull
from seatrial.plan import Plan
from seatrial.plan.body import Part
from seatrial.plan.reckoning import gravity_m_s2, water_of

ROLES = ("body", "float", "ballast")


@dataclass(frozen=True)
class Weighed:
    """Mass in air, volume at the surface, and weight in water (positive sinks) just under it and at the seabed."""

    mass_kg: float
    volume_l: float
    surface_n: float
    seabed_n: float

    @property
    def density_kg_m3(self) -> float | None:
        """Density in air, kg/m3; None for what displaces nothing or next to nothing."""
        density = 1000 * self.mass_kg / self.volume_l if self.volume_l else inf
        return density if isfinite(density) else None


@lru_cache(maxsize=16)
def parts_weighed(plan: Plan) -> tuple[tuple[Part, Weighed], ...]:
    """Each part with all of its count on the scales; empty for a lander without parts."""
    return tuple((part, _part_weighed(plan, part, part.count)) for part in plan.lander.parts)


def one_weighed(plan: Plan, part: Part) -> Weighed:
    """One of a part's count."""
    return _part_weighed(plan, part, 1)


@lru_cache(maxsize=16)
def roles_weighed(plan: Plan) -> dict[str, Weighed]:
    """Body, floats and ballast by the totals of the lander, which count whatever its parts add up to."""
    return dict(zip(ROLES, _totals_weighed(plan), strict=True))


def alone_in_water(plan: Plan, mass_kg: float, volume_l: float, compressibility_per_mpa: float) -> Hull:
    """A hull at this site that is nothing but one thing, with the drag of the lander."""
    nothing = {"mass_kg": 0.0, "volume_l": 0.0, "compressibility_per_mpa": 0.0}
    lander = plan.lander
    thing = lander.model_copy(update={
        "mass_kg": mass_kg, "volume_l": volume_l, "compressibility_per_mpa": compressibility_per_mpa,
        "floats": lander.floats.model_copy(update=nothing),
        "ballast": lander.ballast.model_copy(update={"mass_kg": 0.0})})
    return Hull(plan.site, thing, water_of(plan.site))


def kg(plan: Plan, newton: float) -> float:
    """A force as the mass that weighs as much at the site."""
    return newton / gravity_m_s2(plan.site)


def _totals_weighed(plan: Plan) -> Iterator[Weighed]:
    lander = plan.lander
    for total in (lander, lander.floats):
        yield _weighed(plan, total.mass_kg, total.volume_l, total.compressibility_per_mpa)
    ballast = lander.ballast
    yield _weighed(plan, ballast.mass_kg, 1000 * ballast.mass_kg / ballast.density_kg_m3, 0.0)


def _part_weighed(plan: Plan, part: Part, count: int) -> Weighed:
    # the hull lets ballast keep its volume, whatever the part says
    squeezed = 0.0 if part.role == "ballast" else part.compressibility_per_mpa
    return _weighed(plan, count * part.own_mass_kg, count * part.own_volume_l, squeezed)


def _weighed(plan: Plan, mass_kg: float, volume_l: float, compressibility_per_mpa: float) -> Weighed:
    hull = alone_in_water(plan, mass_kg, volume_l, compressibility_per_mpa)
    return Weighed(mass_kg, volume_l, hull.net_force_n(0.0), hull.net_force_n(plan.site.depth_m))
