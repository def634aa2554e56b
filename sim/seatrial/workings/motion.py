"""Down and up: how long, how fast, how hard it lands, and how far that is to be trusted.

Slow, likely and fast of a way are three passages of the simulator's hull (`seatrial.workings.passage`); slow has every
number of [doubt] off in the direction that delays, so the truth is expected between slow and fast.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import lru_cache

from seatrial.handbook.shapes import in_drag_crisis
from seatrial.plan import Plan
from seatrial.plan.body import Part
from seatrial.plan.reckoning import gravity_m_s2
from seatrial.plan.totals import InFlow, part_in_flow, speed_of, totals_of
from seatrial.plan.wording import at, up
from seatrial.workings.chapter import Chapter, Column, Figure, Table
from seatrial.workings.doubt import (
    FAST_DOWN,
    FAST_UP,
    LIKELY,
    SLOW_DOWN,
    SLOW_UP,
    leaning_hull,
    leaning_water,
    mass_factor,
    said,
)
from seatrial.workings.passage import (
    ALL,
    HALF,
    NONE,
    Passage,
    ascent,
    descent,
    hardest_place,
    pull_n,
    to_share_of_terminal_m,
)

NEARLY = 0.99  # of the terminal speed
SAME = 1e-9  # two totals that differ by less, of their size, are one


@dataclass(frozen=True)
class Motion:
    """The two ways in numbers; None where the lander never gets there. Speeds are positive the way it goes.

    `mud_s` is how long the mud holds the lander once it pulls, None where it holds for good; no time of an ascent
    contains it. A slow ascent is None too where mud holds the lander in the slow case only.
    `down_..._m_s` and `up_..._m_s` are terminal speeds, `impact_..._m_s` and `top_speed_m_s` the real ones at the
    seabed and at the surface. `nearly_terminal_m` is the way from the splash to 99 % of the terminal speed.
    With half the ballast stuck: `half_ballast_pull_n` is the force upward at the seabed, `half_ballast_ascent_s` the
    way up, None where it never comes up.
    """

    descent_slow_s: float | None
    descent_likely_s: float | None
    descent_fast_s: float | None
    ascent_slow_s: float | None
    ascent_likely_s: float | None
    ascent_fast_s: float | None
    mud_s: float | None
    impact_likely_m_s: float | None
    impact_fast_m_s: float | None
    down_surface_m_s: float | None
    down_seabed_m_s: float | None
    up_seabed_m_s: float | None
    up_surface_m_s: float | None
    top_speed_m_s: float | None
    nearly_terminal_m: float | None
    half_ballast_pull_n: float
    half_ballast_ascent_s: float | None


@dataclass(frozen=True)
class InStream:
    """One part in the flow, all of its count: `down` and `up` at the steady speed each way; ballast has no `up`."""

    part: Part
    down: InFlow
    up: InFlow | None
    share_down_pct: float


@lru_cache(maxsize=16)
def motion(plan: Plan) -> Motion:
    """Times and speeds of the two ways, from the hull of the simulator."""
    down, rise = descent(plan, LIKELY), ascent(plan, LIKELY)
    down_fast, depth_m = descent(plan, FAST_DOWN), plan.site.depth_m
    sinking, rising = leaning_hull(plan, LIKELY, ALL), leaning_hull(plan, LIKELY, NONE)
    return Motion(
        descent_slow_s=_seconds(descent(plan, SLOW_DOWN)),
        descent_likely_s=_seconds(down),
        descent_fast_s=_seconds(down_fast),
        ascent_slow_s=None if _mud_holds_when_slow_only(plan) else _seconds(ascent(plan, SLOW_UP)),
        ascent_likely_s=_seconds(rise),
        ascent_fast_s=_seconds(ascent(plan, FAST_UP)),
        mud_s=plan.site.mud_hold_s if pull_n(plan, LIKELY, NONE) > plan.site.mud_suction_n else None,
        impact_likely_m_s=down.end_speed_m_s if down else None,
        impact_fast_m_s=down_fast.end_speed_m_s if down_fast else None,
        down_surface_m_s=sinking.terminal_speed_m_s(0.0) if down else None,
        down_seabed_m_s=sinking.terminal_speed_m_s(depth_m) if down else None,
        up_seabed_m_s=-rising.terminal_speed_m_s(depth_m) if rise else None,
        up_surface_m_s=-rising.terminal_speed_m_s(0.0) if rise else None,
        top_speed_m_s=-rise.end_speed_m_s if rise else None,
        nearly_terminal_m=to_share_of_terminal_m(plan, NEARLY),
        half_ballast_pull_n=pull_n(plan, LIKELY, HALF),
        half_ballast_ascent_s=_half_ballast_ascent_s(plan))


@lru_cache(maxsize=16)
def in_stream(plan: Plan) -> tuple[InStream, ...]:
    """The parts in the flow, the one with the most drag on the way down first; empty for a lander without parts."""
    parts = plan.lander.parts
    rising = tuple(part for part in parts if part.role != "ballast")
    down_m_s, up_m_s = (speed_of(parts), speed_of(rising)) if parts else (0.0, 0.0)
    down = [(part, part_in_flow(part, down_m_s)) for part in parts]
    drag_m2 = sum(flow.area_m2 * flow.coefficient for _part, flow in down)
    if drag_m2 <= 0:
        return ()
    found = [
        InStream(part, flow, None if part.role == "ballast" else part_in_flow(part, up_m_s),
                 100 * flow.area_m2 * flow.coefficient / drag_m2)
        for part, flow in down if flow.area_m2 > 0]
    return tuple(sorted(found, key=lambda one: -one.share_down_pct))


def chapter(plan: Plan) -> Chapter:
    """Times and speeds with their band, the drag by part, and what the doubt about them costs."""
    return Chapter(
        key="motion",
        title="Down and up",
        figures=(*_figures(plan), *_largest_part(plan)),
        tables=_tables(plan),
        series=_series(plan),
        faults=tuple(sentence for fault in FAULTS for sentence in fault(plan)),
        cautions=tuple(sentence for caution in CAUTIONS for sentence in caution(plan)),
        sources=SOURCES,
        limits=LIMITS)


SOURCES = (
    "equation of motion with added mass: White, Fluid Mechanics, from memory; solved in closed form step by step by the"
    " hull of the simulated sea",
    "density of the water: TEOS-10 (IOC, SCOR and IAPSO, 2010)",
    "drag and added mass of the shapes: see the tables of seatrial.handbook.shapes (White; Hoerner; Barati et al."
    " 2014; DNV-RP-C205)",
)
LIMITS = (
    "slow and fast have drag, every mass and the water off at once, all one way, by as much as [doubt] says: bounds of"
    " that doubt, not of everything that can happen",
    "drag is summed as if every part stood alone in the flow; a trial in shallow water tells more than any handbook",
    "the lander is taken to keep upright and to go straight down and up; it may glide or swing",
    "swell, and the water that clings to the lander as it leaves the deck, are left out",
    "how long mud holds is what the plan says it is: nothing here can know the seabed",
    "with half the ballast stuck the drag is that of the lander without ballast",
)

# --- figures and tables -----------------------------------------------------------------------------------------------


def _figures(plan: Plan) -> Iterator[Figure]:
    moved = motion(plan)
    for way, words in (("descent", "descent"), ("ascent", "ascent")):
        for case in ("fast", "likely", "slow"):
            seconds = getattr(moved, f"{way}_{case}_s")
            yield Figure(f"{way}_{case}_s", f"{words}, {case}", seconds, "s", 0, _in_minutes(seconds),
                         leading=case == "likely")
    yield Figure("mud_hold_s", "held by the mud once it pulls", moved.mud_s, "s", 0)
    yield Figure("impact_likely_m_s", "speed at the seabed, likely", moved.impact_likely_m_s, "m/s", 2, leading=True)
    yield Figure("impact_fast_m_s", "speed at the seabed, fast", moved.impact_fast_m_s, "m/s", 2)
    yield Figure("down_surface_m_s", "terminal speed down, at the surface", moved.down_surface_m_s, "m/s", 3)
    yield Figure("down_seabed_m_s", "terminal speed down, at the seabed", moved.down_seabed_m_s, "m/s", 3)
    yield Figure("up_seabed_m_s", "terminal speed up, at the seabed", moved.up_seabed_m_s, "m/s", 3)
    yield Figure("up_surface_m_s", "terminal speed up, at the surface", moved.up_surface_m_s, "m/s", 3)
    yield Figure("top_speed_m_s", "speed as it breaks the surface", moved.top_speed_m_s, "m/s", 2, leading=True)
    yield Figure("nearly_terminal_m", "way to 99 % of the terminal speed", moved.nearly_terminal_m, "m", 1)
    yield Figure("half_ballast_pull_n", "pull upward with half the ballast stuck", moved.half_ballast_pull_n, "N", 1,
                 "above zero it comes up, below it stays down")
    yield Figure("half_ballast_ascent_s", "ascent with half the ballast stuck", moved.half_ballast_ascent_s, "s", 0,
                 _in_minutes(moved.half_ballast_ascent_s))


def _in_minutes(seconds: float | None) -> str:
    return "" if seconds is None else f"{seconds / 60:.1f} min"


def _largest_part(plan: Plan) -> Iterator[Figure]:
    largest = max(in_stream(plan), key=lambda one: one.down.area_m2, default=None)
    if largest is None:
        return
    name = largest.part.name
    yield Figure("largest_part_reynolds", f"Reynolds number of the largest part ({name}), down", largest.down.reynolds,
                 "", 0)
    yield Figure("largest_part_drag_coefficient", f"drag coefficient of it ({name}), down", largest.down.coefficient,
                 "", 2)


def _tables(plan: Plan) -> tuple[Table, ...]:
    rows = tuple(
        (one.part.name, one.part.count, one.part.shape or "as given", one.down.area_m2, one.down.reynolds,
         one.down.coefficient, one.up.coefficient if one.up else None, one.share_down_pct)
        for one in in_stream(plan))
    if not rows:
        return ()
    caption = "Parts in the flow, all of a kind together"
    if not _totals_are_the_sum(plan):
        caption += "; the totals that the plan gives for the lander differ from their sum, and the totals count"
    return (Table("in_stream", caption, (
        Column("name", "part"), Column("count", "how many", 0), Column("shape", "shape"),
        Column("area_m2", "area m2", 4), Column("reynolds_down", "Reynolds number, down", 0),
        Column("drag_coefficient_down", "drag coefficient, down", 2),
        Column("drag_coefficient_up", "drag coefficient, up", 2),
        Column("share_down_pct", "share of the drag down, %", 0)), rows),)


def _totals_are_the_sum(plan: Plan) -> bool:
    sums = totals_of(plan.lander.parts)
    return all(
        abs(sums[name] - getattr(plan.lander, name)) <= SAME * abs(sums[name])
        for name in ("frontal_area_m2", "drag_coefficient_down", "drag_coefficient_up"))


def _series(plan: Plan) -> dict[str, tuple[float, ...]]:
    """Time from the beginning of each way, depth, and speed (positive the way it goes); likely without a word."""
    series: dict[str, tuple[float, ...]] = {}
    for way, sign, travel, cases in (
        ("down", 1, descent, (("", LIKELY), ("_slow", SLOW_DOWN), ("_fast", FAST_DOWN))),
        ("up", -1, ascent, (("", LIKELY), ("_slow", SLOW_UP), ("_fast", FAST_UP))),
    ):
        for case, lean in cases:
            passage = travel(plan, lean)
            series[f"{way}{case}_s"] = passage.time_s if passage else ()
            series[f"{way}{case}_depth_m"] = passage.depth_m if passage else ()
            series[f"{way}{case}_speed_m_s"] = tuple(sign * one for one in passage.speed_m_s) if passage else ()
    return series


def _seconds(passage: Passage | None) -> float | None:
    return None if passage is None else passage.seconds


def _half_ballast_ascent_s(plan: Plan) -> float | None:
    if pull_n(plan, LIKELY, HALF) <= plan.site.mud_suction_n:
        return None
    return _seconds(ascent(plan, LIKELY, HALF))


def _mud_holds_when_slow_only(plan: Plan) -> bool:
    suction_n = plan.site.mud_suction_n
    return pull_n(plan, SLOW_UP, NONE) <= suction_n < pull_n(plan, LIKELY, NONE)


# --- what the doubt costs ---------------------------------------------------------------------------------------------


def _may_not_sink(plan: Plan) -> Iterator[str]:
    if descent(plan, LIKELY) is None:
        return
    depth_m, force_n = hardest_place(plan, SLOW_DOWN, ALL, down=True)
    if force_n > 0:
        return
    missing_kg = -force_n / gravity_m_s2(plan.site)
    grip = 1 - leaning_water(plan, SLOW_DOWN).density_at(depth_m) / plan.lander.ballast.density_kg_m3
    more_kg = missing_kg / (grip * mass_factor(plan, SLOW_DOWN))
    yield (f"{said(plan)}; with the masses that much less and the water that much denser the lander would weigh"
           f" {-missing_kg:.2f} kg in the water {at(depth_m)} and not sink past there: add more than {up(more_kg, 2)}"
           " kg of its ballast, or weigh everything and narrow the doubt")


def _may_not_rise(plan: Plan) -> Iterator[str]:
    if ascent(plan, LIKELY) is None or motion(plan).mud_s is None:
        return
    depth_m, force_n = hardest_place(plan, SLOW_UP, NONE, down=False)
    if force_n >= 0:
        weight_kg = force_n / gravity_m_s2(plan.site)
        yield (f"{said(plan)}; with the masses that much more and the water that much lighter the lander would weigh"
               f" {weight_kg:.2f} kg in the water {at(depth_m)} without its ballast and not rise past there: add more"
               f" than {up(weight_kg, 2)} kg of lift, or weigh everything and narrow the doubt")
        return
    if _mud_holds_when_slow_only(plan):
        pull, suction_n = pull_n(plan, SLOW_UP, NONE), plan.site.mud_suction_n
        missing_kg = (suction_n - pull) / gravity_m_s2(plan.site)
        yield (f"site.mud_suction_n is {suction_n:g}; with doubt.mass_pct {plan.doubt.mass_pct:g} and"
               f" doubt.density_kg_m3 {plan.doubt.density_kg_m3:g} the wrong way the lander would pull with only"
               f" {pull:.1f} N at the seabed and the mud would hold it for good: add more than {up(missing_kg, 2)} kg"
               " of lift, give the frame smaller feet, or weigh everything and narrow the doubt")


def _slow_ascent_fits(plan: Plan) -> Iterator[str]:
    moved, allowed_min = motion(plan), plan.times.slowest_ascent_min
    if moved.ascent_likely_s is None or moved.ascent_slow_s is None or moved.mud_s is None:
        return
    slow_min = (moved.ascent_slow_s + moved.mud_s) / 60
    if moved.ascent_likely_s <= 60 * allowed_min < 60 * slow_min:  # of the likely one the plan's own checks ask
        yield (f"times.slowest_ascent_min is {allowed_min:g} and the ascent may take {up(slow_min)} min with"
               f" {moved.mud_s:g} s in the mud and everything in [doubt] against it: {up(slow_min)} min or more covers"
               " it")


def _slow_descent_fits(plan: Plan) -> Iterator[str]:
    moved, timed_min = motion(plan), plan.times.timed_release_min
    if moved.descent_likely_s is None or moved.descent_slow_s is None:
        return
    if moved.descent_likely_s <= 60 * timed_min < moved.descent_slow_s:
        yield (f"times.timed_release_min is {timed_min:g} and the descent may take {up(moved.descent_slow_s / 60)} min"
               " with everything in [doubt] against it: the ballast would be dropped on the way down")


def _drag_can_be_relied_on(plan: Plan) -> Iterator[str]:
    for one in in_stream(plan):
        reynolds = one.down.reynolds
        if one.part.shape is not None and reynolds is not None and in_drag_crisis(one.part.shape, reynolds):
            yield (f'the part "{one.part.name}" sinks at a Reynolds number of {reynolds:.2g}, where the drag of a'
                   f" smooth {one.part.shape} drops steeply, and it has {one.share_down_pct:.0f} % of the drag: no"
                   " handbook value can be relied on, give drag_coefficient from a trial or widen doubt.drag_pct")


FAULTS: tuple[Callable[[Plan], Iterator[str]], ...] = (_may_not_sink, _may_not_rise)
CAUTIONS: tuple[Callable[[Plan], Iterator[str]], ...] = (
    _slow_ascent_fits, _slow_descent_fits, _drag_can_be_relied_on)
