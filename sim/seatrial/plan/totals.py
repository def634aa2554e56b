"""A list of parts summed up to what the hull is made of: mass, volume, compressibility, area, drag, added mass.

Drag adds up as if every part stood alone in the flow: parts that stand in each other's wake have less, parts that
crowd it have more; [doubt] drag_pct is there for that. Coefficients depend on the speed, and the speed on them: both
are solved for, in a nominal sea.
"""

from collections.abc import Iterable, Sequence
from math import sqrt
from typing import Any, NamedTuple, Protocol

from seatrial.handbook import shapes

NOMINAL_SEA_KG_M3 = 1028.0  # the sea at a few hundred metres; the hull itself uses that of the site
NOMINAL_SEA_C, NOMINAL_SEA_PSU = 10.0, 35.0
GRAVITY_M_S2 = 9.81
USUAL_SPEED_M_S = 0.8  # for the Reynolds number of a lander that would not move
_ROUNDS = 20  # speed and drag settle in a few; round bodies near the drag crisis take more

HARMLESS: dict[str, Any] = {
    "mass_kg": 10.0, "volume_l": 10.0, "compressibility_per_mpa": 0.0, "frontal_area_m2": 0.1,
    "drag_coefficient_down": 1.0, "drag_coefficient_up": 1.0, "added_mass_kg": 0.0,
    "floats": {"mass_kg": 1.0, "volume_l": 5.0, "compressibility_per_mpa": 0.0},
    "ballast": {"mass_kg": 5.0, "density_kg_m3": 7850.0}}


class PartLike(Protocol):
    """What is asked of a part here; see `seatrial.plan.body.Part`."""

    @property
    def role(self) -> str: ...

    @property
    def count(self) -> int: ...

    @property
    def own_mass_kg(self) -> float: ...

    @property
    def own_volume_l(self) -> float: ...

    @property
    def compressibility_per_mpa(self) -> float: ...

    @property
    def shape(self) -> str | None: ...

    @property
    def width_m(self) -> float | None: ...

    @property
    def length_m(self) -> float | None: ...

    @property
    def frontal_area_m2(self) -> float | None: ...

    @property
    def drag_coefficient(self) -> float | None: ...


class InFlow(NamedTuple):
    """One part in the flow, all of its count together: area, Reynolds number (None for a given coefficient), drag."""

    area_m2: float
    reynolds: float | None
    coefficient: float


def totals_of(parts: Sequence[PartLike]) -> dict[str, Any]:
    """The keys of [lander] that follow from its parts; one that does not follow (no part in the flow) is absent."""
    body, floats, ballast = ([part for part in parts if part.role == role] for role in ("body", "float", "ballast"))
    totals: dict[str, Any] = {**_bulk(body), "floats": _bulk(floats), "ballast": {}}
    ballast_kg, ballast_l = _mass_kg(ballast), _volume_l(ballast)
    if ballast_kg > 0 and ballast_l > 0:
        totals["ballast"] = {"mass_kg": ballast_kg, "density_kg_m3": 1000 * ballast_kg / ballast_l}
    rising = [*body, *floats]
    area_m2 = sum(part_in_flow(part, USUAL_SPEED_M_S).area_m2 for part in rising)
    if area_m2 > 0:
        totals["frontal_area_m2"] = area_m2
        totals["drag_coefficient_down"] = _drag_m2(parts, speed_of(parts)) / area_m2
        totals["drag_coefficient_up"] = _drag_m2(rising, speed_of(rising)) / area_m2
        totals["added_mass_kg"] = sum(_added_kg(part) for part in rising)
    return totals


def speed_of(parts: Sequence[PartLike]) -> float:
    """The steady speed of these parts together in the nominal sea, m/s, whichever way they go."""
    weight_n = GRAVITY_M_S2 * (_mass_kg(parts) - NOMINAL_SEA_KG_M3 * _volume_l(parts) / 1000)
    speed_m_s = USUAL_SPEED_M_S
    for _ in range(_ROUNDS):
        drag_m2 = _drag_m2(parts, speed_m_s)
        if drag_m2 <= 0 or weight_n == 0:
            return USUAL_SPEED_M_S
        # half way only: across the drag crisis a whole step would jump from one side to the other for ever
        speed_m_s = 0.5 * (speed_m_s + sqrt(2 * abs(weight_n) / (NOMINAL_SEA_KG_M3 * drag_m2)))
    return speed_m_s


def part_in_flow(part: PartLike, speed_m_s: float) -> InFlow:
    """Area and drag coefficient of all of a part's count at a speed; no area for a part that others hide."""
    if part.frontal_area_m2 is not None and part.drag_coefficient is not None:
        return InFlow(part.count * part.frontal_area_m2, None, part.drag_coefficient)
    if part.shape is None or part.width_m is None:
        return InFlow(0.0, None, 0.0)
    viscosity = shapes.kinematic_viscosity_m2_s(NOMINAL_SEA_C, NOMINAL_SEA_PSU)
    reynolds = max(1.0, shapes.reynolds_number(speed_m_s, part.width_m, viscosity))
    slender = (part.length_m or part.width_m) / part.width_m
    return InFlow(part.count * shapes.frontal_area_m2(part.shape, part.width_m, part.length_m), reynolds,
                  shapes.drag_coefficient(part.shape, reynolds, slender))


def _drag_m2(parts: Iterable[PartLike], speed_m_s: float) -> float:
    """Sum of area times coefficient, m2."""
    found = (part_in_flow(part, speed_m_s) for part in parts)
    return sum(flow.area_m2 * flow.coefficient for flow in found)


def _added_kg(part: PartLike) -> float:
    if part.shape is None or part.width_m is None:
        return 0.0
    return part.count * shapes.added_mass_kg(part.shape, part.width_m, part.length_m, NOMINAL_SEA_KG_M3)


def _mass_kg(parts: Iterable[PartLike]) -> float:
    return sum(part.count * part.own_mass_kg for part in parts)


def _volume_l(parts: Iterable[PartLike]) -> float:
    return sum(part.count * part.own_volume_l for part in parts)


def _bulk(parts: Sequence[PartLike]) -> dict[str, float]:
    volume_l = _volume_l(parts)
    lost = sum(part.count * part.own_volume_l * part.compressibility_per_mpa for part in parts)
    return {"mass_kg": _mass_kg(parts), "volume_l": volume_l,
            "compressibility_per_mpa": lost / volume_l if volume_l else 0.0}
