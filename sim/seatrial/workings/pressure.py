"""Pressure: what the sea presses with at the deepest point of a plan, and whether what stands against it is enough.

Depths become pressures in the water of the plan, all gauge: above the pressure of the air, which is inside the
housings too.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from math import ceil, floor, inf

import numpy as np

from seatrial.handbook import chamber, shells
from seatrial.handbook.materials import MATERIALS
from seatrial.hull import MBAR_PER_MPA
from seatrial.plan import Plan, water_of
from seatrial.plan.body import Part, Shell
from seatrial.plan.wording import up
from seatrial.workings.chapter import Chapter, Column, Figure, Table, Value

LEAST_FACTOR = 1.5  # our own planning limit: a handbook check leaves too much out to plan with less
METAL_FACTOR = 2.0  # below this a caution; common practice, no source
FRAIL_FACTOR = 4.0  # the same for plastics and what breaks: ASME PVHO-1 takes 4 and more for acrylic, from memory
RATING_MARGIN = 0.10  # between the deepest point and a rating; common practice, no source
DEEPEST_RATING_M = 12000.0  # the plan takes no deeper one, so no margin asks for it
BRITTLE = ("borosilicate_glass", "cast_iron", "soda_glass")
WATER_KG_L = 1.025  # what is lighter than this holds air or is foam; round figure of seawater
WINDOW_KEY = "chamber.window_rated_m"
PROFILE_POINTS = 61
WALL_STEP_MM = 0.1

SOURCES = (
    "Pressure by depth: TEOS-10, density times gravity summed over the water column of the plan.",
    "Tube: Lame; von Mises, Windenburg and Trilling (1934); Roark's Formulas for Stress and Strain. Flat window: "
    "Timoshenko, Theory of Plates and Shells. Dome: Lame, Zoelly, knock-down of NASA SP-8032.",
    "Materials: short-time figures of common grades, each with its source in the table of materials.",
    "Chamber test: ABS rules for underwater vehicles for the hull; Lloyd's Register citing ASME PVHO-1 for windows; "
    "rates and short holds are common practice, no source.",
)
LIMITS = (
    "A handbook check certifies nothing: it takes the wall as perfect and the material as one even piece, and counts "
    "neither grooves, threads, seals, seats, scratches nor age.",
    f"A factor of at least {LEAST_FACTOR:g} between the handbook's pressure and the working pressure is this tool's "
    f"own planning limit and no rule; below {METAL_FACTOR:g} for metals and {FRAIL_FACTOR:g} for plastics, glass and "
    "cast iron it raises a caution.",
    "Tubes and domes are checked with the strength in compression where the table of materials has one, flat windows "
    "always with the strength in tension.",
    "A rating in metres is its maker's word; it is turned into a pressure in the water of this plan, which may differ "
    "from the maker's by one or two in a hundred.",
)


@dataclass(frozen=True)
class Wall:
    """A shell against the working pressure: the handbook's check, and how many times it holds what it must."""

    shell: Shell
    strength_mpa: float
    check: shells.Check
    factor: float


@dataclass(frozen=True)
class Pressure:
    """Depths and gauge pressures of a plan, its walls and its chamber test.

    `deepest_m` is the charted depth and its margin, `working_mpa` the pressure there; `too_deep_mpa` is where the
    controller ends the dive by itself. `window_design_mpa` is None without chamber.window_rated_m. `steps` are empty
    where a window or a wall must not see such a test.
    """

    deepest_m: float
    charted_mpa: float
    working_mpa: float
    too_deep_mpa: float
    proof_mpa: float
    window_design_mpa: float | None
    walls: tuple[Wall, ...]
    steps: tuple[chamber.Step, ...]

    @property
    def weakest(self) -> Wall | None:
        """The wall with the lowest factor; None where no shell is given."""
        return min(self.walls, key=lambda wall: wall.factor, default=None)


@lru_cache(maxsize=16)
def pressure(plan: Plan) -> Pressure:
    """The pressures of a plan and what stands against them."""
    test, deepest_m = plan.chamber, plan.site.depth_m + plan.site.depth_margin_m
    working_mpa = gauge_mpa(plan, deepest_m)
    window_mpa = None if test.window_rated_m is None else gauge_mpa(plan, test.window_rated_m)
    walls = tuple(_wall(shell, working_mpa) for shell in plan.lander.shells)
    stands_it = all(wall.factor > test.proof_factor for wall in walls)
    if window_mpa is not None:
        stands_it &= window_mpa >= working_mpa and not _beyond_window(working_mpa, test.proof_factor, window_mpa)
    steps: list[chamber.Step] = []
    if stands_it:
        steps = chamber.protocol(working_mpa, test.proof_factor, test.cycles, test.hold_min, window_mpa)
    return Pressure(
        deepest_m=deepest_m,
        charted_mpa=gauge_mpa(plan, plan.site.depth_m),
        working_mpa=working_mpa,
        too_deep_mpa=gauge_mpa(plan, plan.thresholds.too_deep_m),
        proof_mpa=test.proof_factor * working_mpa,
        window_design_mpa=window_mpa,
        walls=walls,
        steps=tuple(steps),
    )


def gauge_mpa(plan: Plan, depth_m: float) -> float:
    """The pressure of the sea at a depth in the water of a plan, MPa, without that of the air."""
    water = water_of(plan.site)
    return (water.pressure_mbar_at(depth_m) - water.air_mbar) / MBAR_PER_MPA


def chapter(plan: Plan) -> Chapter:
    """The pressure of a plan in words, tables and what pictures are drawn from."""
    found = pressure(plan)
    return Chapter(
        key="pressure",
        title="Pressure",
        figures=tuple(_figures(plan, found)),
        tables=tuple(_tables(plan, found)),
        series=_series(plan, found),
        faults=tuple(_faults(plan, found)),
        cautions=tuple(_cautions(plan, found)),
        dangers=chamber.CAUTION,
        sources=SOURCES,
        limits=(*LIMITS, *_limits_of_walls(found)),
    )


# Walls


def _wall(shell: Shell, working_mpa: float) -> Wall:
    check = _check(shell)
    return Wall(shell, _strength_mpa(shell), check, check.governing_mpa / working_mpa)


def _check(shell: Shell) -> shells.Check:
    material, strength_mpa = MATERIALS[shell.material], _strength_mpa(shell)
    stiffness = (material.youngs_gpa, material.poisson)
    if shell.form == "tube":
        return shells.check_tube(shell.outer_diameter_mm, shell.wall_mm, shell.length_mm, *stiffness, strength_mpa)
    if shell.form == "dome":
        return shells.check_dome(shell.outer_diameter_mm, shell.wall_mm, *stiffness, strength_mpa)
    return shells.check_disc(shell.outer_diameter_mm, shell.wall_mm, *stiffness, strength_mpa, shell.edge)


def _strength_mpa(shell: Shell) -> float:
    """In compression for what the sea only squeezes; a flat window bends, and one of its faces is drawn apart."""
    material = MATERIALS[shell.material]
    if shell.form == "flat_window" or material.compressive_mpa is None:
        return material.strength_mpa
    return material.compressive_mpa


def _is_frail(name: str) -> bool:
    """Whether a material creeps or breaks without giving way first."""
    return MATERIALS[name].youngs_gpa < shells.PLASTIC_GPA or name in BRITTLE


def _wanted_wall_mm(wall: Wall, working_mpa: float) -> float:
    """The thinnest wall, in steps of 0.1 mm, that has the least factor; infinite if none has."""
    def has_it(steps: int) -> bool:
        thicker = wall.shell.model_copy(update={"wall_mm": steps * WALL_STEP_MM})
        return _wall(thicker, working_mpa).factor >= LEAST_FACTOR

    full_mm = wall.shell.outer_diameter_mm * (1.0 if wall.shell.form == "flat_window" else 0.5)
    low, high = floor(wall.shell.wall_mm / WALL_STEP_MM), ceil(full_mm / WALL_STEP_MM) - 1
    if high <= low or not has_it(high):
        return inf
    while low + 1 < high:  # a thicker wall never holds less
        middle = (low + high) // 2
        low, high = (low, middle) if has_it(middle) else (middle, high)
    return high * WALL_STEP_MM


# What does not add up


def _faults(plan: Plan, found: Pressure) -> Iterator[str]:
    for key, rated_m in _ratings(plan):
        if rated_m < found.deepest_m:
            choose = "fit windows designed" if key == WINDOW_KEY else "choose one rated"
            yield (f"{key} is {rated_m:g}; {_deepest(plan)}, {up(found.deepest_m - rated_m)} m more: {choose} for at"
                   f" least {up(found.deepest_m)} m, better {up(_with_margin(found.deepest_m))} m, or choose a"
                   " shallower site")
    for wall in found.walls:
        if wall.factor < LEAST_FACTOR and not _is_under_rated(wall.shell, found.deepest_m):
            yield _weak_sentence(found, wall)
    yield from _proof_sentence(plan, found)


def _ratings(plan: Plan) -> Iterator[tuple[str, float]]:
    """Every rating that the plan gives, by its place in the file."""
    for rows, parts in (("parts", plan.lander.parts), ("shells", plan.lander.shells)):
        for part in parts:
            if part.rated_m is not None:
                yield f'lander.{rows} "{part.name}" rated_m', part.rated_m
    if plan.chamber.window_rated_m is not None:
        yield WINDOW_KEY, plan.chamber.window_rated_m


def _deepest(plan: Plan) -> str:
    site = plan.site
    if not site.depth_margin_m:
        return f"the site is {site.depth_m:g} m deep"
    return (f"the site may be {site.depth_m + site.depth_margin_m:g} m deep (site.depth_m {site.depth_m:g} and"
            f" site.depth_margin_m {site.depth_margin_m:g})")


def _with_margin(depth_m: float) -> float:
    return min(round((1.0 + RATING_MARGIN) * depth_m, 6), DEEPEST_RATING_M)  # rounded, or 495 m would become 496


def _is_under_rated(shell: Shell, deepest_m: float) -> bool:
    return shell.rated_m is not None and shell.rated_m < deepest_m


def _weak_sentence(found: Pressure, wall: Wall) -> str:
    shell, wanted_mm = wall.shell, _wanted_wall_mm(wall, found.working_mpa)
    way_out = f"make the wall at least {wanted_mm:.1f} mm, or choose a stronger material"
    if wanted_mm == inf:
        way_out = "no wall of this material is enough, so choose a stronger one, or a shallower site"
    return (f'lander.shells "{shell.name}" wall_mm is {shell.wall_mm:g}; by the handbook it fails at'
            f" {_down(wall.check.governing_mpa)} MPa ({wall.check.mode}), {_down(wall.factor)} times the"
            f" {found.working_mpa:.2f} MPa at {found.deepest_m:g} m, and {LEAST_FACTOR:g} times is the least to plan"
            f" with: {way_out}")


def _proof_sentence(plan: Plan, found: Pressure) -> Iterator[str]:
    """A test that would spoil what it tests; windows and walls too weak for the dive itself are told elsewhere."""
    factor, design_mpa, weakest = plan.chamber.proof_factor, found.window_design_mpa, found.weakest
    if design_mpa is not None and design_mpa >= found.working_mpa and _beyond_window(
            found.working_mpa, factor, design_mpa):
        cap_mpa = chamber.window_cap_mpa(design_mpa)
        yield (f"chamber.proof_factor is {factor:g}; it would press the windows with {up(found.proof_mpa, 2)} MPa, and"
               f" {_down(cap_mpa)} MPa is the most they may ever see ({chamber.WINDOW_CAP_FACTOR:g} times the"
               f" {design_mpa:.2f} MPa of {WINDOW_KEY}, at most {chamber.WINDOW_CAP_MPA:g}): set at most"
               f" {_down(cap_mpa / found.working_mpa)}, or test the hull with blanks in place of the windows")
    elif weakest is not None and LEAST_FACTOR <= weakest.factor <= factor:
        yield (f'chamber.proof_factor is {factor:g}; it would press lander.shells "{weakest.shell.name}" with'
               f" {up(found.proof_mpa, 2)} MPa, and by the handbook that fails at"
               f" {_down(weakest.check.governing_mpa)} MPa ({weakest.check.mode}): set less than"
               f" {_down(weakest.factor)}, {chamber.HULL_PROOF_FACTOR:g} is usual, or make the wall thicker")


def _beyond_window(working_mpa: float, proof_factor: float, design_mpa: float) -> bool:
    return proof_factor * working_mpa > chamber.window_cap_mpa(design_mpa)


# What is worth a second thought


def _cautions(plan: Plan, found: Pressure) -> Iterator[str]:
    yield from chamber.advice(found.working_mpa, plan.chamber.proof_factor, plan.chamber.cycles)
    wanted_m = _with_margin(found.deepest_m)
    for key, rated_m in _ratings(plan):
        if found.deepest_m <= rated_m < wanted_m:
            yield (f"{key} is {rated_m:g}; {_deepest(plan)}, which leaves less than {100 * RATING_MARGIN:g} %:"
                   f" {up(wanted_m)} m or more is usual")
    for wall in found.walls:
        yield from _thin_margin(found, wall)
    yield from _not_worked_out(plan)


def _thin_margin(found: Pressure, wall: Wall) -> Iterator[str]:
    frail = _is_frail(wall.shell.material)
    usual = FRAIL_FACTOR if frail else METAL_FACTOR
    if LEAST_FACTOR <= wall.factor < usual and not _is_under_rated(wall.shell, found.deepest_m):
        why = ", which creeps or breaks without warning," if frail else ""
        yield (f'lander.shells "{wall.shell.name}" holds {_down(wall.factor)} times the working pressure by the'
               f" handbook; for {wall.shell.material}{why} {usual:g} times or more is usual")


def _not_worked_out(plan: Plan) -> Iterator[str]:
    lander = plan.lander
    if not lander.parts and not lander.shells:
        yield ("lander.parts and lander.shells are not given, so whether the housings hold was not worked out: give the"
               " parts with their rated_m, or the walls")
    unrated = [f'"{part.name}"' for part in lander.parts if part.rated_m is None and _holds_air(part)]
    if unrated:
        yield (f"lander.parts {', '.join(unrated)} {'has' if len(unrated) == 1 else 'have'} no rated_m, so whether"
               f" {'it holds' if len(unrated) == 1 else 'they hold'} was not worked out: give the depth that the maker"
               " allows")
    if plan.chamber.window_rated_m is None:
        yield ("chamber.window_rated_m is not given, so what the windows may see in the chamber was not worked out:"
               " give the depth they are designed for")


def _holds_air(part: Part) -> bool:
    """Whether a part has something in it that the sea could crush, as far as the plan tells."""
    if part.role == "ballast":
        return False
    floats = part.own_mass_kg < WATER_KG_L * part.own_volume_l
    return part.role == "float" or part.compressibility_per_mpa > 0.0 or floats


# Words, tables, pictures


def _figures(plan: Plan, found: Pressure) -> Iterator[Figure]:
    ratings = list(_ratings(plan))
    lowest = min(ratings, key=lambda rating: rating[1], default=(None, None))
    weakest = found.weakest
    yield Figure("deepest_m", "deepest point", found.deepest_m, "m", 0, "charted depth and its margin")
    yield Figure("working_mpa", "working pressure", found.working_mpa, "MPa", 2, "gauge, at the deepest point")
    yield Figure("charted_mpa", "at the charted depth", found.charted_mpa, "MPa", 2, "gauge")
    yield Figure("too_deep_mpa", "where the controller ends the dive", found.too_deep_mpa, "MPa", 2,
                 _too_deep_note(plan, lowest[1]))
    yield Figure("lowest_rated_m", "lowest rating", lowest[1], "m", 0, lowest[0] or "no rating given", leading=True)
    yield Figure("lowest_factor", "lowest factor by the handbook", weakest.factor if weakest else None, "", 2,
                 f"{weakest.shell.name}: {weakest.check.mode}" if weakest else "no shell given", leading=True)
    yield Figure("proof_mpa", "proof pressure", found.proof_mpa, "MPa", 2,
                 f"gauge, {plan.chamber.proof_factor:g} times the working pressure")
    yield Figure("window_design_mpa", "design pressure of the windows", found.window_design_mpa, "MPa", 2, "gauge")
    yield Figure("chamber_h", "chamber test", found.steps[-1].end_min / 60.0 if found.steps else None, "h", 1,
                 "from the first rise to the last look")


def _too_deep_note(plan: Plan, lowest_m: float | None) -> str:
    too_deep_m = plan.thresholds.too_deep_m
    beyond = ", beyond the lowest rating" if lowest_m is not None and too_deep_m > lowest_m else ""
    return f"gauge, at the {too_deep_m:g} m of thresholds.too_deep_m{beyond}"


def _tables(plan: Plan, found: Pressure) -> Iterator[Table]:
    ratings = tuple(_ratings(plan))
    if ratings:
        yield Table("ratings", f"What the makers allow, against {found.deepest_m:g} m", (
            Column("what", "what"), Column("rated_m", "rated, m", 0), Column("rated_mpa", "rated, MPa", 2),
            Column("spare_pct", "to spare, %", 0),
        ), tuple((_plainly(key), rated_m, gauge_mpa(plan, rated_m), 100.0 * (rated_m / found.deepest_m - 1.0))
                 for key, rated_m in ratings))
    if found.walls:
        yield Table("shells", f"Walls by the handbook, against {found.working_mpa:.2f} MPa", (
            Column("name", "wall"), Column("material", "material"), Column("strength_mpa", "strength, MPa", 0),
            Column("yield_mpa", "yields at, MPa", 1), Column("buckling_mpa", "buckles at, MPa", 1),
            Column("factor", "factor", 2), Column("mode", "fails by"),
        ), tuple(_shell_row(wall) for wall in found.walls))
    if found.steps:
        yield Table("chamber", "Chamber test, all pressures gauge", (
            Column("step", "step", 0), Column("time_min", "begins, min", 0), Column("from_mpa", "from, MPa", 2),
            Column("to_mpa", "to, MPa", 2), Column("ramp_min", "on the way, min", 1),
            Column("hold_min", "hold, min", 0), Column("words", "what to do"),
        ), tuple((number, step.time_min, step.from_mpa, step.to_mpa, step.ramp_min, step.hold_min, step.words)
                 for number, step in enumerate(found.steps, start=1)))


def _shell_row(wall: Wall) -> tuple[Value, ...]:
    check = wall.check
    return (wall.shell.name, wall.shell.material, wall.strength_mpa, check.yield_mpa, check.buckling_mpa, wall.factor,
            check.mode)


def _plainly(key: str) -> str:
    """The name of what is rated, without the words of the file around it."""
    return f"windows ({WINDOW_KEY})" if key == WINDOW_KEY else key[key.index('"') + 1:key.rindex('"')]


def _series(plan: Plan, found: Pressure) -> dict[str, list[float | str | None]]:
    """Pressure by depth, the walls beside each other, and the chamber test as a line to draw."""
    depths_m = np.linspace(0.0, found.deepest_m, PROFILE_POINTS).tolist()
    corners = [corner for step in found.steps for corner in (
        (step.time_min, step.from_mpa), (step.time_min + step.ramp_min, step.to_mpa), (step.end_min, step.to_mpa))]
    return {
        "depth_m": depths_m,
        "gauge_mpa": [gauge_mpa(plan, depth_m) for depth_m in depths_m],
        "shell": [wall.shell.name for wall in found.walls],
        "shell_mpa": [wall.check.governing_mpa for wall in found.walls],
        "chamber_min": [time_min for time_min, _ in corners],
        "chamber_mpa": [mpa for _, mpa in corners],
    }


def _limits_of_walls(found: Pressure) -> list[str]:
    """What the handbook says of the walls at hand; what it says of several is said once."""
    names: dict[str, list[str]] = {}
    for wall in found.walls:
        for limit in wall.check.limits:
            names.setdefault(limit, []).append(wall.shell.name)
    return [f"{', '.join(dict.fromkeys(of))}: {limit}" for limit, of in names.items()]


def _down(value: float) -> str:
    """Rounded down, so that too little never reads as enough."""
    return f"{floor(100.0 * value) / 100.0:.2f}"
