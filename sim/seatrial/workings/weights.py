"""Weight and buoyancy: what everything weighs in the water, what moves it, what holds it down, what keeps it upright.

Weights in water are positive where they pull down. The numbers of the whole lander are those of the simulated hull; of
parts, of sizes and of the upright see `weighing`, `sizing` and `stability`.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from math import floor

from seatrial.plan import Plan
from seatrial.plan.cautions import SLOW_DESCENT_M_S
from seatrial.plan.reckoning import FASTEST_DESCENT_M_S, gravity_m_s2, slowest_place, weight_in_water_kg
from seatrial.plan.totals import totals_of
from seatrial.plan.units import symbol_of
from seatrial.plan.wording import at, up
from seatrial.workings import stability
from seatrial.workings.chapter import Chapter, Column, Figure, Table, Value
from seatrial.workings.doubt import LIKELY, leaning_hull
from seatrial.workings.passage import ALL, HALF, NONE, hardest_place, pull_n
from seatrial.workings.sizing import ballast_for_kg, drag_n, floats_for_l, planned_rate_m_s
from seatrial.workings.weighing import Weighed, alone_in_water, kg, one_weighed, parts_weighed, roles_weighed

RATES_M_S = (SLOW_DESCENT_M_S, 0.5, 0.8, FASTEST_DESCENT_M_S)  # common practice, no source
TOTAL_AGREES = 0.02  # of the sum of the parts: scales and drawings do not agree better
HEEL_DEG = 30.0
SERIES_POINTS = 60
SMALLEST_KG = 0.01  # that a sentence tells
SAME = 1e-9  # of a number: rounding, no difference


@dataclass(frozen=True)
class Weights:
    """The whole lander in the water, kg; positive sinks.

    `squeezed_kg` is the lift at the seabed that the compression of the lander has cost. `half_stuck_seabed_kg` is the
    weight there with half the ballast still attached; `half_stuck_up_m_s` the steady speed up from there, None where it
    stays down; `half_stuck_missing_kg` the lift it would still need where it rises least, None where it comes up.
    """

    laden_air_kg: float
    bare_air_kg: float
    laden_surface_kg: float
    laden_seabed_kg: float
    bare_surface_kg: float
    bare_seabed_kg: float
    squeezed_kg: float
    half_stuck_seabed_kg: float
    half_stuck_up_m_s: float | None
    half_stuck_missing_kg: float | None


@lru_cache(maxsize=16)
def weights(plan: Plan) -> Weights:
    """The lander on the scales, in air and in the water of the plan."""
    lander, depth_m = plan.lander, plan.site.depth_m
    bare_air_kg = lander.mass_kg + lander.floats.mass_kg
    half_n, missing_kg = -pull_n(plan, LIKELY, HALF), _half_stuck_missing_kg(plan)
    half_m_s = leaning_hull(plan, LIKELY, HALF).terminal_speed_m_s(depth_m)
    return Weights(
        laden_air_kg=bare_air_kg + lander.ballast.mass_kg,
        bare_air_kg=bare_air_kg,
        laden_surface_kg=weight_in_water_kg(plan, 0.0, with_ballast=True),
        laden_seabed_kg=weight_in_water_kg(plan, depth_m, with_ballast=True),
        bare_surface_kg=weight_in_water_kg(plan, 0.0, with_ballast=False),
        bare_seabed_kg=weight_in_water_kg(plan, depth_m, with_ballast=False),
        squeezed_kg=_squeezed_kg(plan),
        half_stuck_seabed_kg=kg(plan, half_n),
        half_stuck_up_m_s=-half_m_s if missing_kg is None else None,
        half_stuck_missing_kg=missing_kg)


def _squeezed_kg(plan: Plan) -> float:
    lander = plan.lander
    stiff = [alone_in_water(plan, part.mass_kg, part.volume_l, 0.0) for part in (lander, lander.floats)]
    stiff_n = sum(hull.net_force_n(plan.site.depth_m) for hull in stiff)
    return kg(plan, -pull_n(plan, LIKELY, NONE) - stiff_n)


def _half_stuck_missing_kg(plan: Plan) -> float | None:
    """What keeps it from rising with half the ballast: its weight where it is heaviest, or the mud."""
    hardest_n = hardest_place(plan, LIKELY, HALF, down=False)[1]
    missing_n = max(hardest_n, plan.site.mud_suction_n - pull_n(plan, LIKELY, HALF))
    return kg(plan, missing_n) if missing_n >= 0 else None


DANGERS = (
    "Heavy ballast and lines on a moving deck: nobody under the load or in a bight, one person gives the word.",
    "Ballast left on the seabed is regulated in many waters: ask the authority.",
)


def chapter(plan: Plan) -> Chapter:
    """Weights in water of everything, ballast and floats for chosen rates, half the ballast stuck, and the upright."""
    return Chapter(
        key="weights",
        title="Weight and buoyancy",
        figures=(*_figures(plan), *_upright_figures(plan)),
        tables=tuple(table for table in (_parts(plan), _roles(plan), _ballast(plan), _floats(plan), _upright(plan))
                     if table.rows),
        series=_series(plan),
        faults=(*_heavy_floats(plan), *stability.faults(plan)),
        cautions=(*_half_stuck(plan), *_totals_differ(plan), *stability.cautions(plan)),
        sources=SOURCES,
        dangers=DANGERS,
        limits=LIMITS)


SOURCES = (
    "weight in water: Archimedes, with density of TEOS-10 (IOC, SCOR and IAPSO, 2010) and gravity by latitude",
    "densities of materials: the tables of seatrial.handbook.materials, each with its source",
    "righting moment of a body under water: Burcher and Rydill, Concepts in Submarine Design, from memory",
    "usual rates of 0.3 to 1.2 m/s and 5 cm between the centres: common practice, no source",
)
LIMITS = (
    "volumes are taken to shrink in proportion to the pressure and ballast not at all; water that soaks into foam, wood"
    " or concrete, and air caught at the splash, are not known here: weigh the lander in water before the dive",
    "ballast and floats for a rate are reckoned with the drag of the lander as planned; what is added has drag of its"
    " own, so work the changed plan out again",
    "the upright is that of the lander wholly under water, from the heights of the parts; afloat at the surface, in a"
    " current, and along the two other directions it was not worked out",
    "totals that were weighed count for the whole lander, the parts for the upright",
)

# --- figures ----------------------------------------------------------------------------------------------------------


def _figures(plan: Plan) -> Iterator[Figure]:
    found, gravity = weights(plan), gravity_m_s2(plan.site)
    yield Figure("laden_air_kg", "mass in air, with ballast", found.laden_air_kg, "kg", 2, leading=True)
    yield Figure("bare_air_kg", "mass in air, without ballast", found.bare_air_kg, "kg", 2)
    for load, words in (("laden", "with ballast"), ("bare", "without ballast")):
        for place, where in (("surface", "just under the surface"), ("seabed", "at the seabed")):
            weight_kg = getattr(found, f"{load}_{place}_kg")
            yield Figure(f"{load}_{place}_kg", f"weight in water {words}, {where}", weight_kg, "kg", 2,
                         "sinks" if weight_kg > 0 else "rises", leading=place == "seabed")
            yield Figure(f"{load}_{place}_n", f"weight in water {words}, {where}", gravity * weight_kg, "N", 1)
    yield Figure("squeezed_kg", "lift lost to compression at the seabed", found.squeezed_kg, "kg", 3)
    yield Figure("half_stuck_seabed_kg", "weight in water with half the ballast stuck, at the seabed",
                 found.half_stuck_seabed_kg, "kg", 2,
                 "stays down" if (found.half_stuck_seabed_kg or 0) > 0 else "comes up")
    yield Figure("half_stuck_up_m_s", "speed up from the seabed with half the ballast stuck", found.half_stuck_up_m_s,
                 "m/s", 2)
    yield Figure("half_stuck_missing_kg", "lift missing to rise with half the ballast stuck",
                 found.half_stuck_missing_kg, "kg", 2, "where it rises least, or out of the mud")


def _upright_figures(plan: Plan) -> Iterator[Figure]:
    at_seabed = [state for state in stability.upright(plan) if state.depth_m]
    for key, (load, _with_ballast) in zip(("laden", "bare"), stability.LOADS, strict=True):
        state = next((one for one in at_seabed if one.load == load), None)
        if state is None:
            continue
        yield Figure(f"{key}_bg_m", f"centre of buoyancy above centre of gravity, {load}", state.arm_m, "m", 3,
                     "at the seabed: " + ("keeps upright" if state.arm_m > 0 else "turns over"), leading=True)
        yield Figure(f"{key}_moment_30_n_m", f"righting moment at {HEEL_DEG:g} deg, {load}, at the seabed",
                     state.moment_n_m(HEEL_DEG), "N m", 1)


# --- tables -----------------------------------------------------------------------------------------------------------

_SCALES = (
    Column("mass_kg", "mass kg", 2), Column("volume_l", "volume l", 2), Column("density_kg_m3", "density kg/m3", 0),
    Column("surface_kg", "in water at the surface kg", 2), Column("surface_n", "N", 1),
    Column("seabed_kg", "at the seabed kg", 2), Column("seabed_n", "N", 1))


def _on_scales(plan: Plan, one: Weighed) -> tuple[Value, ...]:
    return (one.mass_kg, one.volume_l, one.density_kg_m3, kg(plan, one.surface_n), one.surface_n,
            kg(plan, one.seabed_n), one.seabed_n)


def _parts(plan: Plan) -> Table:
    rows = tuple((part.name, part.role, part.count, *_on_scales(plan, one), part.height_m, part.rated_m)
                 for part, one in parts_weighed(plan))
    return Table("parts", "Parts on the scales, all of a kind together; below zero it lifts", (
        Column("name", "part"), Column("role", "role"), Column("count", "how many", 0), *_SCALES,
        Column("height_m", "height m", 2), Column("rated_m", "rated m", 0)), rows)


def _roles(plan: Plan) -> Table:
    rows = tuple((role, *_on_scales(plan, one)) for role, one in roles_weighed(plan).items())
    return Table("roles", "By role, the totals that count", (Column("role", "role"), *_SCALES), rows)


def _rates(plan: Plan, down: bool) -> Iterator[tuple[str, float]]:
    yield from (("usual", rate_m_s) for rate_m_s in RATES_M_S)
    planned_m_s = planned_rate_m_s(plan, down)
    if planned_m_s is not None:
        yield "as planned", planned_m_s


def _ballast(plan: Plan) -> Table:
    depth_m = slowest_place(plan, with_ballast=True)[0]
    rows = []
    for which, rate_m_s in sorted(_rates(plan, down=True), key=lambda rate: rate[1]):
        needed_kg, weight_n = ballast_for_kg(plan, rate_m_s), drag_n(plan, depth_m, rate_m_s, down=True)
        rows.append((rate_m_s, which, kg(plan, weight_n), needed_kg, _more(needed_kg, plan.lander.ballast.mass_kg)))
    caption = f"Ballast of this density for a descent rate, {at(depth_m)}, where it sinks least"
    return Table("ballast_for_rate", caption, (
        Column("rate_m_s", "rate m/s", 2), Column("which", "rate"), Column("weight_kg", "weight in water kg", 2),
        Column("ballast_kg", "ballast in air kg", 2), Column("more_kg", "more than planned kg", 2)), tuple(rows))


def _floats(plan: Plan) -> Table:
    depth_m = slowest_place(plan, with_ballast=False)[0]
    rows = []
    for which, rate_m_s in sorted(_rates(plan, down=False), key=lambda rate: rate[1]):
        needed_l, lift_n = floats_for_l(plan, rate_m_s), drag_n(plan, depth_m, rate_m_s, down=False)
        rows.append((rate_m_s, which, kg(plan, lift_n), needed_l, _more(needed_l, plan.lander.floats.volume_l),
                     _pieces(plan, needed_l)))
    caption = f"Floats like these for an ascent rate, {at(depth_m)}, where it rises least"
    return Table("floats_for_rate", caption, (
        Column("rate_m_s", "rate m/s", 2), Column("which", "rate"), Column("lift_kg", "lift in water kg", 2),
        Column("floats_l", "floats l", 2), Column("more_l", "more than planned l", 2),
        Column("pieces", "of the float of the plan", 1)), tuple(rows))


def _more(needed: float | None, planned: float) -> float | None:
    if needed is None:
        return None
    return 0.0 if abs(needed - planned) <= SAME * planned else needed - planned


def _pieces(plan: Plan, needed_l: float | None) -> float | None:
    """How many floats that is, where there is one kind of float only."""
    kinds = [part for part in plan.lander.parts if part.role == "float"]
    if needed_l is None or len(kinds) != 1 or not kinds[0].own_volume_l:
        return None
    return needed_l / kinds[0].own_volume_l


def _upright(plan: Plan) -> Table:
    rows = tuple((state.load, state.depth_m, state.gravity_height_m, state.buoyancy_height_m, state.arm_m,
                  state.moment_n_m(1.0), state.moment_n_m(HEEL_DEG)) for state in stability.upright(plan))
    return Table("upright", "What keeps it upright under water; heights above the feet", (
        Column("load", "load"), Column("depth_m", "depth m", 0), Column("gravity_height_m", "centre of gravity m", 3),
        Column("buoyancy_height_m", "centre of buoyancy m", 3), Column("bg_m", "above it m", 3),
        Column("moment_1_n_m", "righting moment at 1 deg N m", 2),
        Column("moment_30_n_m", f"at {HEEL_DEG:g} deg N m", 1)), rows)


def _series(plan: Plan) -> dict[str, tuple[float, ...]]:
    depths_m = tuple(plan.site.depth_m * step / (SERIES_POINTS - 1) for step in range(SERIES_POINTS))
    series = {"depth_m": depths_m}
    for name, left in (("laden_kg", ALL), ("half_stuck_kg", HALF), ("bare_kg", NONE)):
        hull = leaning_hull(plan, LIKELY, left)
        series[name] = tuple(kg(plan, hull.net_force_n(depth_m)) for depth_m in depths_m)
    return series


# --- what does not add up, and what is worth a thought ----------------------------------------------------------------


def _heavy_floats(plan: Plan) -> Iterator[str]:
    named = False
    for part in plan.lander.parts:
        if part.role == "float":
            for sentence in _too_heavy(plan, f'lander.parts "{part.name}"', one_weighed(plan, part)):
                named = True
                yield sentence
    if not named:
        yield from _too_heavy(plan, "lander.floats", roles_weighed(plan)["float"])


def _too_heavy(plan: Plan, name: str, one: Weighed) -> Iterator[str]:
    worst_n, depth_m = max((one.surface_n, 0.0), (one.seabed_n, plan.site.depth_m))
    heavy_kg = kg(plan, worst_n)
    if heavy_kg <= 0:
        return
    carried_kg = one.mass_kg - heavy_kg
    way_out = "give it a volume that lifts its mass"
    if carried_kg >= SMALLEST_KG:
        way_out = (f"make it lighter than {floor(100 * carried_kg) / 100:.2f} kg or larger than"
                   f" {up(one.volume_l * one.mass_kg / carried_kg, 2)} l")
    yield (f"{name} has {one.mass_kg:g} kg and {one.volume_l:.4g} l; meant to float, it weighs {up(heavy_kg, 2)} kg in"
           f" the water {at(depth_m)}: {way_out}")


def _half_stuck(plan: Plan) -> Iterator[str]:
    found, suction_n = weights(plan), plan.site.mud_suction_n
    never_rises = slowest_place(plan, with_ballast=False)[1] >= 0 or pull_n(plan, LIKELY, NONE) <= suction_n
    if found.half_stuck_missing_kg is None or never_rises or _in_one_piece(plan):
        return  # it comes up, or the checks of the plan say what is wrong, or there is no half
    depth_m, hardest_n = hardest_place(plan, LIKELY, HALF, down=False)
    if found.half_stuck_seabed_kg >= 0:
        what = f"still weighs {found.half_stuck_seabed_kg:.2f} kg in water and stays down"
    elif hardest_n >= 0:
        what = f"weighs {up(kg(plan, hardest_n), 2)} kg in the water {at(depth_m)} and does not rise past there"
    else:
        what = (f"pulls with only {pull_n(plan, LIKELY, HALF):.1f} N and the mud (site.mud_suction_n"
                f" {suction_n:g}) holds it")
    yield (f"with half the ballast stuck the lander {what}: more than {up(found.half_stuck_missing_kg, 2)} kg of lift"
           f" would bring it up{', out of the mud too' if suction_n else ''}, without that the releases must free all"
           " of it")


def _in_one_piece(plan: Plan) -> bool:
    return sum(part.count for part in plan.lander.parts if part.role == "ballast") == 1


def _totals_differ(plan: Plan) -> Iterator[str]:
    if not plan.lander.parts:
        return
    sums = totals_of(plan.lander.parts)
    for section, name in (("", "mass_kg"), ("", "volume_l"), ("floats", "mass_kg"), ("floats", "volume_l"),
                          ("ballast", "mass_kg")):
        key = ".".join(filter(None, ("lander", section, name)))
        summed = (sums[section] if section else sums).get(name, 0.0)
        given = plan.value(key)
        if abs(given - summed) > TOTAL_AGREES * abs(summed):
            yield (f"{key} is {given:g} and lander.parts add up to {summed:.4g} {symbol_of(name)}: the total counts,"
                   " weigh again or correct the parts")
