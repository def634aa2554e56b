"""Sea time against wall time, and where the time goes: `python -m seatrial.bench`.

One core, the real mission code, full physics. Each dive is run several times and the best time counts; the shares
come from a profile of the same dive, which slows everything down but leaves the shares of whole parts readable.
"""

import cProfile
import platform
import pstats
import sys
from pathlib import Path
from time import perf_counter

from seatrial.dive import Dive
from seatrial.faults import parse
from seatrial.plan import Plan, load_sample
from seatrial.water import WaterColumn

ROUNDS = 5
YEAR_S = 365.25 * 86400.0
AIM = 500_000
# Whose time it is, by the folder or file of the code.
PARTS = (
    ("mission core", ("lander",)),
    ("motion", ("hull.py", "water.py")),
    ("battery, heat, camera, release", ("battery.py", "heat.py", "camera.py", "mechanisms.py", "world.py")),
    ("sensors", ("sensors.py", "dice.py")),
    ("engine, journal, evidence", ("dive.py", "story.py", "store.py", "bodies.py", "evidence.py", "laws.py")),
)


def dives(plan: Plan) -> list[tuple[str, Plan, list]]:
    """What is timed: name, plan, faults."""
    beacon_min = plan.beacon.hours * 60.0
    whole = plan.model_copy(update={"dive": plan.dive.model_copy(update={"watch_after_surfacing_min": beacon_min})})
    return [
        ("sample, watched %.0f h at the surface" % (plan.dive.watch_after_surfacing_min / 60.0), plan, []),
        ("sample, to the end of the beacon hours", whole, []),
        ("both releases jammed, to the corroding link", plan, [parse("jammed:channel=both")]),
    ]


def time_dive(plan: Plan, faults: list, water: WaterColumn) -> tuple[float, float, int]:
    """Best wall time in s, sea time in s, and steps of the controller."""
    best_s = float("inf")
    for seed in range(ROUNDS):
        dive = Dive(plan, faults, seed, water=water, keep_series=False)
        start_s = perf_counter()
        result = dive.run()
        best_s = min(best_s, perf_counter() - start_s)
    return best_s, result.sea_s, result.steps


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


def main() -> None:
    plan = load_sample()
    water = WaterColumn(plan.site)
    print("Sea time against wall time, one core; aim %d : 1" % AIM)
    print("%s %s on %s %s" % (
        sys.implementation.name, platform.python_version(), platform.system(), platform.machine()))
    print("%-46s %9s %9s %8s %9s %12s" % ("dive", "sea h", "wall s", "steps", "us/step", "ratio"))
    for name, dive_plan, faults in dives(plan):
        wall_s, sea_s, steps = time_dive(dive_plan, faults, water)
        print("%-46s %9.1f %9.3f %8d %9.1f %9.0f : 1" % (
            name, sea_s / 3600.0, wall_s, steps, 1e6 * wall_s / steps, sea_s / wall_s))
    print("A year of sea time at the last ratio: %.0f s" % (YEAR_S * wall_s / sea_s))
    print("Where the time goes, sample dive:")
    for name, share in shares(plan, water):
        print("  %-32s %4.0f %%" % (name, 100.0 * share))


if __name__ == "__main__":
    main()
