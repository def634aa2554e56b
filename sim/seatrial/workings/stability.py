"""Does the lander keep upright? The centre of its buoyancy against that of its gravity, from the heights of its parts.

Wholly under water a body turns about its centre of gravity until that of buoyancy is above it; at an angle from the
upright the righting moment is buoyancy times the distance of the two times the sine of the angle (naval architecture
for submarines, such as Burcher and Rydill, Concepts in Submarine Design, from memory).
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from math import ceil, radians, sin

from seatrial.plan import Plan
from seatrial.plan.body import Part
from seatrial.plan.reckoning import gravity_m_s2
from seatrial.plan.wording import at
from seatrial.workings.weighing import Weighed, parts_weighed

LEAST_BG_M = 0.05  # common practice, no source: below this a lander hardly rights itself against a current or a slope
LOADS = (("with ballast", True), ("without ballast", False))


@dataclass(frozen=True)
class Upright:
    """The lander under water with or without its ballast; heights are above the feet."""

    load: str
    depth_m: float
    gravity_height_m: float
    buoyancy_height_m: float
    buoyancy_n: float

    @property
    def arm_m(self) -> float:
        """How far the centre of buoyancy is above that of gravity, m; negative turns the lander over."""
        return self.buoyancy_height_m - self.gravity_height_m

    def moment_n_m(self, angle_deg: float) -> float:
        """The moment that rights the lander at this angle from the upright, N m, about its centre of gravity."""
        return self.buoyancy_n * self.arm_m * sin(radians(angle_deg))


@dataclass(frozen=True)
class _Shares:
    """One load at one depth: share of all mass and of all buoyancy that each part has."""

    upright: Upright
    parts: tuple[tuple[Part, float, float], ...]

    @property
    def missing_m(self) -> float:
        return LEAST_BG_M - self.upright.arm_m


@lru_cache(maxsize=16)
def upright(plan: Plan) -> tuple[Upright, ...]:
    """With and without ballast, just under the surface and at the seabed; empty without the height of every part."""
    return tuple(shares.upright for shares in _all_shares(plan))


def unplaced(plan: Plan) -> list[str]:
    """Names of the parts whose height is not given."""
    return [part.name for part in plan.lander.parts if part.height_m is None]


def faults(plan: Plan) -> Iterator[str]:
    """A sentence if the lander turns over, at its worst."""
    worst = _worst(plan)
    if worst is not None and worst.arm_m <= 0:
        yield (f"lander.parts has its centre of buoyancy {worst.buoyancy_height_m:.2f} m and its centre of gravity"
               f" {worst.gravity_height_m:.2f} m above the feet, {worst.load} {at(worst.depth_m)}; the first must be"
               f" the higher one or the lander turns over: {_way_out(plan)}")


def cautions(plan: Plan) -> Iterator[str]:
    """A sentence if the lander hardly rights itself, or if that could not be worked out."""
    if not plan.lander.parts:
        yield ("lander.parts is not given, so whether the lander keeps upright was not worked out: list the parts with"
               " their height_m")
        return
    names = [f'"{name}"' for name in dict.fromkeys(unplaced(plan))]
    if names:
        yield (f"lander.parts {', '.join(names)} {'has' if len(names) == 1 else 'have'} no height_m, so whether the"
               " lander keeps upright was not worked out: give the height of the middle above the feet")
    worst = _worst(plan)
    if worst is not None and 0 < worst.arm_m < LEAST_BG_M:
        yield (f"lander.parts has its centre of buoyancy only {100 * worst.arm_m:.1f} cm above its centre of gravity,"
               f" {worst.load} {at(worst.depth_m)}, and hardly rights itself; {100 * LEAST_BG_M:g} cm and more is"
               f" usual: {_way_out(plan)}")


def _worst(plan: Plan) -> Upright | None:
    return min(upright(plan), key=lambda one: one.arm_m, default=None)


def _all_shares(plan: Plan) -> Iterator[_Shares]:
    weighed = parts_weighed(plan)
    if unplaced(plan):
        return
    for load, with_ballast in LOADS:
        carried = [(part, one) for part, one in weighed if with_ballast or part.role != "ballast"]
        for depth_m in (0.0, plan.site.depth_m):
            buoyancy_n = [_buoyancy_n(plan, one, depth_m) for _part, one in carried]
            mass_kg = [one.mass_kg for _part, one in carried]
            if sum(mass_kg) > 0 and sum(buoyancy_n) > 0:
                yield _shares(load, depth_m, [part for part, _one in carried], mass_kg, buoyancy_n)


def _buoyancy_n(plan: Plan, one: Weighed, depth_m: float) -> float:
    return gravity_m_s2(plan.site) * one.mass_kg - (one.seabed_n if depth_m else one.surface_n)


def _shares(load: str, depth_m: float, parts: list[Part], mass_kg: list[float], buoyancy_n: list[float]) -> _Shares:
    of_mass, of_buoyancy = ([value / sum(values) for value in values] for values in (mass_kg, buoyancy_n))
    heights_m = [part.height_m or 0.0 for part in parts]
    state = Upright(load, depth_m, _middle(heights_m, of_mass), _middle(heights_m, of_buoyancy), sum(buoyancy_n))
    return _Shares(state, tuple(zip(parts, of_mass, of_buoyancy, strict=True)))


def _middle(heights_m: Iterable[float], shares: Iterable[float]) -> float:
    return sum(height_m * share for height_m, share in zip(heights_m, shares, strict=True))


# --- what to move -----------------------------------------------------------------------------------------------------


def _way_out(plan: Plan) -> str:
    """What to raise or to lower, and by how much, for the least usual distance with every load at every depth."""
    lacking = [shares for shares in _all_shares(plan) if shares.missing_m > 0]
    ways = []
    raise_m = _distance_m(lacking, [part for part in plan.lander.parts if part.role == "float"], up=True)
    if raise_m is not None:
        ways.append(f"raise the floats by {ceil(100 * raise_m)} cm")
    lower_m, name = min(_lowerings(plan, lacking), default=(None, ""))
    if lower_m is not None:
        ways.append(f'lower "{name}" by {ceil(100 * lower_m)} cm')
    if not ways:
        missing_cm = ceil(100 * max(shares.missing_m for shares in lacking))
        ways.append(f"raise what is light and lower what is heavy until the two are {missing_cm} cm further apart")
    return " or ".join(ways)


def _lowerings(plan: Plan, lacking: list[_Shares]) -> Iterator[tuple[float, str]]:
    """How far each part of the body would have to go down, where there is so much room below it."""
    for part in plan.lander.parts:
        distance_m = _distance_m(lacking, [part], up=False) if part.role == "body" else None
        if distance_m is not None and distance_m <= (part.height_m or 0.0):
            yield distance_m, part.name


def _distance_m(lacking: list[_Shares], moved: list[Part], up: bool) -> float | None:
    """How far these parts have to go for what is missing; None where moving them that way does not help."""
    distance_m = 0.0
    for shares in lacking:
        gain = sum(of_buoyancy - of_mass for part, of_mass, of_buoyancy in shares.parts if part in moved)
        gain = gain if up else -gain
        if gain <= 0:
            return None
        distance_m = max(distance_m, shares.missing_m / gain)
    return distance_m
