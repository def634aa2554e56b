"""How fast the sea trial is, side by side in one process: `python -m seatrial.bench`, with `--quick` for a first look.

Prints Markdown for DEVELOPERS.md. One core, the real mission code, full physics; where runs are compared, they take
turns, so that a machine that slows down slows both, and the best time of each counts. The shares come from a profile of
the sample dive, which slows everything down but leaves the shares of whole parts readable.
"""

import argparse
import cProfile
import os
import platform
import pstats
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from time import perf_counter
from typing import Any

from lander import VERSION
from seatrial import COMPILED_SEA
from seatrial.bodies import CPythonBody, open_body
from seatrial.campaign.choosing import Campaign, Planned
from seatrial.campaign.choosing import dives as dives_of
from seatrial.campaign.running import chunked, processes
from seatrial.compiled import CompiledBody, is_built
from seatrial.dive import Dive
from seatrial.faults import parse
from seatrial.plain_dive import LEG_S, METHOD, TIGHT_RTOL, PlainDive, PlainResult
from seatrial.plan import Plan, load_sample
from seatrial.result import DiveResult
from seatrial.water import WaterColumn

PLAIN, COMPILED = CPythonBody.name, CompiledBody.name
COMPILED_WORDS = ", core compiled"
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
    """How much is run: rounds of each comparison, dives of the sweep, doublings of it."""

    rounds: int
    dives: int
    doublings: int


FULL, QUICK = Effort(5, 320, 3), Effort(2, 32, 1)


# --- one after the other, in turns ---------------------------------------------------------------------------------


def best_in_turns(jobs: Sequence[Callable[[int], Any]], rounds: int) -> list[tuple[float, Any]]:
    """Best wall time in s of each job, with the answer of that time; in each round every job runs once, on one seed."""
    best: list[tuple[float, Any]] = [(float("inf"), None) for _ in jobs]
    for seed in range(rounds):
        for place, job in enumerate(jobs):
            start_s = perf_counter()
            answer = job(seed)
            took_s = perf_counter() - start_s
            if took_s < best[place][0]:
                best[place] = took_s, answer
    return best


def table(*head: str) -> list[str]:
    return ["| %s |" % " | ".join(head), "|" + "---|" * len(head)]


def row(*cells: object) -> str:
    return "| %s |" % " | ".join(str(cell) for cell in cells)


def grouped(number: float) -> str:
    """With three digits at most, in groups of three."""
    digits = max(0, len("%d" % number) - 3)
    return f"{round(number / 10**digits) * 10**digits:,}".replace(",", " ")


def machine() -> str:
    """Processor, cores, system and Python, as far as the machine tells them."""
    name = platform.processor() or platform.machine()
    try:
        told = Path("/proc/cpuinfo").read_text(encoding="utf-8")
    except OSError:
        told = ""
    models = [line.split(":", 1)[1].strip() for line in told.splitlines() if line.startswith("model name")]
    return "%s, %d cores, %s %s, %s %s" % (
        models[0] if models else name, os.cpu_count() or 1, platform.system(), platform.machine(),
        platform.python_implementation(), platform.python_version())


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
    both = (PLAIN, COMPILED) if is_built() else (PLAIN,)
    return [(name + COMPILED_WORDS if body == COMPILED else name, one, faults, body) for name, one, faults in (
        ("sample, " + watched, plan, ()),
        ("the same without the second board", without_second(plan), ()),
        ("sample, to the end of the beacon hours", whole, ()),
        ("both releases jammed, to the corroding link", plan, ("jammed:channel=both",)),
        ("the same without the second board", without_second(plan), ("jammed:channel=both",)),
    ) for body in both]


def flown(plan: Plan, faults: Sequence[str], water: WaterColumn, body: str = PLAIN) -> Callable[[int], Any]:
    """A job that flies this dive with the round's seed, the core in this process as it is or compiled."""
    def job(seed: int) -> DiveResult:
        core = open_body(body, plan.mission_record())
        return Dive(plan, [parse(text) for text in faults], seed, core, water=water, keep_series=False).run()
    return job


def sea_against_wall(plan: Plan, water: WaterColumn, effort: Effort) -> Iterator[str]:
    yield "Sea time against wall time, one core; aim %s : 1 (a year in a minute):" % grouped(AIM)
    yield ""
    yield from table("dive", "sea", "wall", "steps", "a step", "ratio")
    timed = dives(plan)
    jobs = [flown(one, faults, water, body) for _name, one, faults, body in timed]
    for (name, *_rest), (wall_s, result) in zip(timed, best_in_turns(jobs, effort.rounds), strict=True):
        yield row(name, "%.1f h" % (result.sea_s / 3600.0), "%.3f s" % wall_s, result.steps,
                  "%.0f us" % (1e6 * wall_s / result.steps), "%s : 1" % grouped(result.sea_s / wall_s))


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


def against_plain(plan: Plan, water: WaterColumn, effort: Effort) -> Iterator[str]:
    plan = without_second(plan)
    truth = PlainDive(plan, 1, water, TIGHT_RTOL).run()
    ours_s = error_s(Dive(plan, (), 1, water=water, keep_series=False).run().evidence, truth)
    rtol = matched_rtol(plan, water, ours_s, truth)
    times = best_in_turns([
        flown(plan, (), water),
        lambda seed: PlainDive(plan, seed, water, rtol, None).run(),
        lambda seed: PlainDive(plan, seed, water, rtol).run()], effort.rounds)
    yield "The same dive with SciPy's `solve_ivp` (%s) and a `transitions` machine of eight states;" % METHOD
    yield "aim: %d times ours." % AIM_PLAIN
    yield "Tolerance matched: at rtol %.0e its times down and up are as near as ours to those at rtol %.0e." % (
        rtol, TIGHT_RTOL)
    yield ""
    yield from table("how", "wall", "steps", "a step", "times ours", "error of the way down and up")
    names = ("ours, with the whole mission core and all electronics", "SciPy from each step to the next",
             "SciPy in legs of up to %.0f min, dense output" % (LEG_S / 60.0))
    ours_wall_s = times[0][0]
    for name, (wall_s, result) in zip(names, times, strict=True):
        told = result if isinstance(result, PlainResult) else result.evidence
        yield row(name, "%.3f s" % wall_s, result.steps, "%.0f us" % (1e6 * wall_s / result.steps),
                  "%.1f" % (wall_s / ours_wall_s), "%.1e s" % error_s(told, truth))


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


def cores_and_number(plan: Plan, effort: Effort) -> Iterator[str]:
    yield "Dives of a sweep (single faults, evenly from the list), processes warm; aim of the gain %.1f:" % AIM_CORES
    yield ""
    yield from table("dives", "one core", "a dive", "two cores", "gain")
    for doubling in range(effort.doublings, -1, -1):
        planned = spread_out(plan, effort.dives >> doubling)
        one_s, two_s = sweep_s(plan, planned, 1), sweep_s(plan, planned, 2)
        yield row(len(planned), "%.1f s" % one_s, "%.0f ms" % (1e3 * one_s / len(planned)), "%.1f s" % two_s,
                  "%.2f" % (one_s / two_s))


# --- growth --------------------------------------------------------------------------------------------------------


def growth(plan: Plan, water: WaterColumn, effort: Effort) -> Iterator[str]:
    yield "How the cost grows, one core:"
    yield ""
    yield from table("dive", "sea", "wall", "steps", "a step")
    timed = [("timed release after %.0f h" % hours, with_times(plan, hours), ()) for hours in HOURS]
    timed += [("sample, faults: %d" % count, plan, FAULTS[:count]) for count in (0, 1, 2, 4, len(FAULTS))]
    for (name, *_rest), (wall_s, result) in zip(
            timed, best_in_turns([flown(one, faults, water) for _name, one, faults in timed], effort.rounds),
            strict=True):
        yield row(name, "%.1f h" % (result.sea_s / 3600.0), "%.3f s" % wall_s, result.steps,
                  "%.0f us" % (1e6 * wall_s / result.steps))


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


def where_it_goes(plan: Plan, water: WaterColumn) -> Iterator[str]:
    yield "Where the time of the sample dive goes:"
    yield ""
    yield from table("part", "share")
    for name, share in shares(plan, water):
        yield row(name, "%.0f %%" % (100.0 * share))


# --- all of it -----------------------------------------------------------------------------------------------------


def report(plan: Plan, effort: Effort) -> Iterator[str]:
    """The whole benchmark as lines of Markdown, as they come."""
    water = WaterColumn(plan.site)
    yield "`python -m seatrial.bench%s` on %s%s:" % (
        "" if effort is FULL else " --quick", machine(), ", sea compiled" if COMPILED_SEA else "")
    for part in (sea_against_wall(plan, water, effort), against_plain(plan, water, effort),
                 cores_and_number(plan, effort), growth(plan, water, effort), where_it_goes(plan, water)):
        yield ""
        yield from part


def main(arguments: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="python -m seatrial.bench", description="How fast the sea trial is.")
    parser.add_argument("--quick", action="store_true", help="fewer rounds and a small sweep, half a minute in all")
    given = parser.parse_args(arguments)
    for line in report(load_sample(), QUICK if given.quick else FULL):
        print(line, flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
