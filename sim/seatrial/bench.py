"""How fast the sea trial is, side by side in one process; `python -m tumblehome.benchmarks` prints its tables.

One core, the real mission code, full physics; where runs are compared, they take turns, so that a machine that slows
down slows both, and the best time of each counts. The shares come from a profile of the sample dive, which slows
everything down but leaves the shares of whole parts readable.
"""

import cProfile
import pstats
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from time import perf_counter, process_time
from typing import Any

from lander import VERSION
from seatrial import COMPILED_SEA
from seatrial.bench_tables import Outcome, Row, Table, grouped
from seatrial.bodies import CPythonBody, open_body
from seatrial.campaign.choosing import Campaign, Planned
from seatrial.campaign.choosing import dives as dives_of
from seatrial.campaign.running import chunked, processes
from seatrial.compiled import CompiledBody, is_built
from seatrial.dive import Dive
from seatrial.faults import parse
from seatrial.plain_dive import LEG_S, METHOD, TIGHT_RTOL, PlainDive, PlainResult
from seatrial.plan import Plan
from seatrial.result import DiveResult
from seatrial.water import WaterColumn

PLAIN, COMPILED = CPythonBody.name, CompiledBody.name
COMPILED_WORDS = ", core and sea compiled" if COMPILED_SEA else ", core compiled"
AIM = 500_000
AIM_PLAIN = 50
AIM_CORES = 1.9
HOURS = (1.0, 5.0, 20.0, 60.0)
# Faults that leave the dive its length, so that only their number grows.
FAULTS = tuple("%s@record" % name for name in (
    "no-fix", "clock-drifts", "strobe-dead", "leak-dead", "radio-dead", "records-damaged", "antenna-awash", "fan-dead"))
# Whose time it is, by the folder or file of the code.
PARTS = (
    ("mission core", ("lander",)),
    ("second board", ("firmware", "second.py", "leap.py")),
    ("motion", ("hull.py", "water.py")),
    ("battery, heat, camera, release", ("battery.py", "heat.py", "camera.py", "mechanisms.py", "world.py")),
    ("sensors", ("sensors.py", "dice.py")),
    ("engine, journal, evidence",
     ("dive.py", "story.py", "store.py", "bodies.py", "evidence.py", "laws.py", "law_of_attempts.py", "verdicts.py",
      "charge.py", "holding.py", "hope.py")),
)


@dataclass(frozen=True)
class Effort:
    """How much is run: rounds of each comparison, dives of the sweep, doublings of it; by which clock on one core."""

    rounds: int
    dives: int
    doublings: int
    by_processor: bool = False

    @property
    def clock(self) -> str:
        return "processor" if self.by_processor else "wall"


FULL, QUICK = Effort(5, 320, 3), Effort(2, 32, 1)


# --- one after the other, in turns ---------------------------------------------------------------------------------


def best_in_turns(jobs: Sequence[Callable[[int], Any]], effort: Effort) -> list[tuple[float, Any]]:
    """Best time in s of each job, with the answer of that time; in each round every job runs once, on one seed."""
    now_s = process_time if effort.by_processor else perf_counter
    best: list[tuple[float, Any]] = [(float("inf"), None) for _ in jobs]
    for seed in range(effort.rounds):
        for place, job in enumerate(jobs):
            start_s = now_s()
            answer = job(seed)
            took_s = now_s() - start_s
            if took_s < best[place][0]:
                best[place] = took_s, answer
    return best


# --- sea time against wall time ------------------------------------------------------------------------------------


def without_second(plan: Plan) -> Plan:
    return plan.model_copy(update={"second": plan.second.model_copy(update={"fitted": False})})


def with_times(plan: Plan, released_h: float) -> Plan:
    """The plan with another length, on batteries and a link that last as long: what is timed is the length alone."""
    times = plan.times.model_copy(update={"timed_release_min": 60.0 * released_h,
                                          "latest_release_min": 60.0 * released_h + 60.0})
    return plan.model_copy(update={
        "times": times,
        "power": plan.power.model_copy(update={"capacity_ah": 10.0 * plan.power.capacity_ah}),
        "journal": plan.journal.model_copy(update={"slots": 4 * plan.journal.slots}),
        "release": plan.release.model_copy(update={
            "passive": plan.release.passive.model_copy(update={"fitted": False})})})


def dives(plan: Plan) -> list[tuple[str, Plan, tuple[str, ...], str]]:
    """What is timed: name, plan, faults, body; the compiled core where it was made."""
    beacon_min = plan.beacon.hours * 60.0
    whole = plan.model_copy(update={"dive": plan.dive.model_copy(update={"watch_after_surfacing_min": beacon_min})})
    watched = "watched %.0f h at the surface" % (plan.dive.watch_after_surfacing_min / 60.0)
    return [(name + words_of(body), one, faults, body) for name, one, faults in (
        ("sample, " + watched, plan, ()),
        ("the same without the second board", without_second(plan), ()),
        ("sample, to the end of the beacon hours", whole, ()),
        ("both releases jammed, to the corroding link", plan, ("jammed:channel=both",)),
        ("the same without the second board", without_second(plan), ("jammed:channel=both",)),
    ) for body in bodies()]


def bodies() -> tuple[str, ...]:
    """The core as it is and compiled, where it was made; with a compiled sea only the compiled core is of interest."""
    if COMPILED_SEA:
        return (COMPILED,)
    return (PLAIN, COMPILED) if is_built() else (PLAIN,)


def words_of(body: str) -> str:
    return COMPILED_WORDS if body == COMPILED else ""


def flown(plan: Plan, faults: Sequence[str], water: WaterColumn, body: str = PLAIN) -> Callable[[int], Any]:
    """A job that flies this dive with the round's seed, the core in this process as it is or compiled."""
    def job(seed: int) -> DiveResult:
        core = open_body(body, plan.mission_record())
        return Dive(plan, [parse(text) for text in faults], seed, core, water=water, keep_series=False).run()
    return job


def sea_against_wall(plan: Plan, water: WaterColumn, effort: Effort) -> Table:
    timed = dives(plan)
    jobs = [flown(one, faults, water, body) for _name, one, faults, body in timed]
    rows: list[Row] = []
    ratios: dict[str, list[float]] = {body: [] for body in bodies()}
    for (name, _plan, _faults, body), (wall_s, result) in zip(timed, best_in_turns(jobs, effort), strict=True):
        ratio = result.sea_s / wall_s
        ratios[body].append(ratio)
        rows.append((name, *_cost(wall_s, result), "%s : 1" % grouped(ratio), "%.2f" % (ratio / AIM)))
    outcomes = [Outcome("Sea time, %s%s" % (which, words_of(body)), AIM, float("%.3g" % ratio), ": 1")
                for body, found in ratios.items()
                for which, ratio in (("sample dive", found[0]), ("slowest of these dives", min(found)))]
    return Table(("Sea time against %s time, one core; the aim is a year in a minute:" % effort.clock,),
                 ("dive", "sea", effort.clock, "steps", "a step", "ratio", "of the aim"), tuple(rows), tuple(outcomes))


def _cost(wall_s: float, result: DiveResult) -> Row:
    return ("%.1f h" % (result.sea_s / 3600.0), "%.3f s" % wall_s, str(result.steps),
            "%.0f us" % (1e6 * wall_s / result.steps))


# --- against the same dive written the usual way -------------------------------------------------------------------


def way_down_and_up(told: Any) -> tuple[float, float]:
    """Seconds from the splash to the bottom, and from the bottom to the surface: what an integration decides alone.

    `told` is the evidence of a dive that came up, or a plain result."""
    return told.touchdown_s - told.splash_s, told.surfaced_s - told.left_bottom_s


def error_s(told: Any, truth: PlainResult) -> float:
    return max(abs(one - other) for one, other in zip(way_down_and_up(told), way_down_and_up(truth), strict=True))


def matched_rtol(plan: Plan, water: WaterColumn, allowed_s: float, truth: PlainResult) -> float:
    """The loosest tolerance, in powers of ten, at which the plain dive is as right as ours; the tightest if none is."""
    for power in range(2, 10):
        rtol = 10.0**-power
        if error_s(PlainDive(plan, 1, water, rtol).run(), truth) <= allowed_s:
            return rtol
    return TIGHT_RTOL


def against_plain(plan: Plan, water: WaterColumn, effort: Effort) -> Table:
    plan = without_second(plan)
    truth = PlainDive(plan, 1, water, TIGHT_RTOL).run()
    ours_s = error_s(Dive(plan, (), 1, water=water, keep_series=False).run().evidence, truth)
    rtol = matched_rtol(plan, water, ours_s, truth)
    ours = bodies()
    times = best_in_turns([
        *(flown(plan, (), water, body) for body in ours),
        lambda seed: PlainDive(plan, seed, water, rtol, None).run(),
        lambda seed: PlainDive(plan, seed, water, rtol).run()], effort)
    names = (*("ours, with the whole mission core and all electronics" + words_of(body) for body in ours),
             "SciPy from each step to the next", "SciPy in legs of up to %.0f min, dense output" % (LEG_S / 60.0))
    rows: list[Row] = []
    for name, (wall_s, result) in zip(names, times, strict=True):
        told = result if isinstance(result, PlainResult) else result.evidence
        rows.append((name, "%.3f s" % wall_s, str(result.steps), "%.0f us" % (1e6 * wall_s / result.steps),
                     *("%.1f" % (wall_s / times[place][0]) for place in range(len(ours))),
                     "%.1e s" % error_s(told, truth)))
    outcomes = [Outcome("SciPy's time %s%s" % (how, words_of(body)), AIM_PLAIN, times[which][0] / times[place][0],
                        "times ours")
                for place, body in enumerate(ours) for how, which in (("step by step", -2), ("in legs", -1))]
    return Table((
        "The same dive with SciPy's `solve_ivp` (%s) and a `transitions` machine of eight states." % METHOD,
        "Tolerance matched: at rtol %.0e its times down and up are as near as ours to those at rtol %.0e." % (
            rtol, TIGHT_RTOL)),
        ("how", effort.clock, "steps", "a step", *("times ours" + words_of(body) for body in ours),
         "error of the way down and up"), tuple(rows), tuple(outcomes))


# --- campaigns -----------------------------------------------------------------------------------------------------


def spread_out(plan: Plan, count: int) -> list[Planned]:
    """So many dives of the campaign of all single faults, evenly from its list."""
    every = dives_of(Campaign(), plan)
    return [every[place * len(every) // count] for place in range(min(count, len(every)))]


def sweep_s(plan: Plan, planned: Sequence[Planned], cores: int) -> float:
    """Wall time in s of these dives on so many processes that have started and flown one each already."""
    with processes(cores) as executor:
        for _rows in chunked(executor, cores, (plan, VERSION), planned[:2 * cores]):
            pass
        start_s = perf_counter()
        for _rows in chunked(executor, cores, (plan, VERSION), planned):
            pass
        return perf_counter() - start_s


def cores_and_number(plan: Plan, effort: Effort) -> Table:
    rows: list[Row] = []
    gain = 0.0
    for doubling in range(effort.doublings, -1, -1):
        planned = spread_out(plan, effort.dives >> doubling)
        one_s, two_s = sweep_s(plan, planned, 1), sweep_s(plan, planned, 2)
        gain = one_s / two_s
        rows.append((str(len(planned)), "%.1f s" % one_s, "%.0f ms" % (1e3 * one_s / len(planned)), "%.1f s" % two_s,
                     "%.2f" % gain))
    return Table(("Dives of a sweep (single faults, evenly from the list), processes warm:",),
                 ("dives", "one core", "a dive", "two cores", "gain"), tuple(rows),
                 (Outcome("Two cores against one, %d dives" % len(planned), AIM_CORES, gain, "times as fast"),))


# --- growth --------------------------------------------------------------------------------------------------------


def growth(plan: Plan, water: WaterColumn, effort: Effort) -> Table:
    timed: list[tuple[str, Plan, tuple[str, ...]]] = [
        ("timed release after %.0f h" % hours, with_times(plan, hours), ()) for hours in HOURS]
    timed += [("sample, faults: %d" % count, plan, FAULTS[:count]) for count in (0, 1, 2, 4, len(FAULTS))]
    best = best_in_turns([flown(one, faults, water) for _name, one, faults in timed], effort)
    return Table(("How the cost grows, one core:",), ("dive", "sea", effort.clock, "steps", "a step"), tuple(
        (name, *_cost(wall_s, result)) for (name, *_rest), (wall_s, result) in zip(timed, best, strict=True)))


# --- where the time goes -------------------------------------------------------------------------------------------


def shares(plan: Plan, water: WaterColumn) -> list[tuple[str, float]]:
    """Part of the time that each part of the code takes, callees outside counted to their callers' part."""
    profile = cProfile.Profile()
    dive = Dive(plan, [], 1, water=water, keep_series=False)
    profile.enable()
    dive.run()
    profile.disable()
    taken = dict.fromkeys([name for name, _ in PARTS], 0.0)
    for (file, _line, _name), (_calls, _primitive, own_s, _total_s, callers) in pstats.Stats(profile).stats.items():
        if _part_of(file):
            taken[_part_of(file)] += own_s
            continue
        for (caller_file, _, _), times in callers.items():
            if _part_of(caller_file):
                taken[_part_of(caller_file)] += times[2]
    whole_s = sum(taken.values())
    return [(name, own_s / whole_s) for name, own_s in taken.items()]


def _part_of(file: str) -> str:
    path = Path(file)
    for name, places in PARTS:
        if path.name in places and path.parent.name == "seatrial" or path.parent.name in places:
            return name
    return ""


def where_it_goes(plan: Plan, water: WaterColumn) -> Table:
    return Table(("Where the time of the sample dive goes:",), ("part", "share"), tuple(
        (name, "%.0f %%" % (100.0 * share)) for name, share in shares(plan, water)))
