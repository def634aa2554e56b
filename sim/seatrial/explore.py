"""Exhaustive exploration of the real mission core, from the shell.

    python -m seatrial.explore                       the sample's choices, one surprise
    python -m seatrial.explore my-dive.toml --bound 2
    python -m seatrial.explore --bound 3 --voyages 2000     voyages at random, with up to three surprises
    python -m seatrial.explore --replay FILE         a voyage that broke a law, leap by leap

Leaves with 1 where a law is broken. What a situation is, and what counts as a surprise, is told in
`seatrial.exploration`.
"""

import argparse
import sys
from collections.abc import Callable
from pathlib import Path
from time import perf_counter

from lander import table
from lander.orders import Orders
from seatrial.exploration.retelling import Leap, VoyageError, as_text, read, replay
from seatrial.exploration.search import Exploration, Search
from seatrial.exploration.voyage import Voyage, short_orders
from seatrial.exploration.wandering import Wanderer
from seatrial.exploration.watch import CHECKS
from seatrial.plan import PlanError, load, load_sample

BOUND = 1
BOUND_MAX = 9


def explore(given: Orders, bound: int = BOUND, mission_class=None, **limits) -> Exploration:
    """All voyages of a controller with these orders and up to `bound` surprises. `limits` are those of `Search`."""
    return Search(lambda: Voyage(given, mission_class), bound, clock=perf_counter, **limits).run()


def wander(given: Orders, bound: int, voyages: int, mission_class=None, seed: int = 1,
           first_only: bool = False, progress: Callable[[int], object] = lambda over: None) -> Exploration:
    """So many voyages at random with up to `bound` surprises each; `progress` hears how many are over."""
    began_s = perf_counter()
    found = Wanderer(lambda: Voyage(given, mission_class), bound, voyages, seed, first_only, progress).run()
    found.seconds = perf_counter() - began_s
    return found


def files_of(found: Exploration, given: Orders, mission_class=None) -> dict[str, str]:
    """A voyage file for each violation, by name."""
    files = {}
    for number, violation in enumerate(found.violations, start=1):
        told = replay(Voyage(given, mission_class), violation.acts)
        files["voyage-%d-law-%d.toml" % (number, violation.law)] = as_text(violation, given, told)
    return files


def sentences(found: Exploration) -> list[str]:
    """What was searched and what came of it."""
    if found.voyages:
        return _wandered(found) + _verdict(found)
    layers = ", ".join("%d with %d" % (count, surprises) for surprises, count in enumerate(found.layers))
    told = [
        "%d situations of the controller and its sea (%s surprises), %d acts, %d steps of the core, %.0f s" % (
            found.states, layers, found.transitions, found.steps, found.seconds),
        "the longest of the shortest ways has %d acts; mission states seen: %s" % (
            found.depth, ", ".join(table.STATES[state] for state in sorted(found.mission_states))),
        "%d checks of the laws after every step%s" % (
            len(CHECKS), "; from every situation with a surprise left also a reset" if found.bound else ""),
    ]
    if found.exhausted:
        told.append("exhausted: every course with at most %d surprises, at any moment, was followed to where nothing"
                    " new comes" % found.bound)
    else:
        told.append("not exhausted: the search was ended early, within %d surprises" % (len(found.layers) - 1))
    return told + _verdict(found)


def _wandered(found: Exploration) -> list[str]:
    return [
        "%d voyages at random with up to %d surprises, %d acts, %d steps of the core, %.0f s" % (
            found.voyages, found.bound, found.transitions, found.steps, found.seconds),
        "mission states seen: %s" % ", ".join(table.STATES[state] for state in sorted(found.mission_states)),
        "%d checks of the laws after every step; more voyages, or another seed, may find more" % len(CHECKS)]


def _verdict(found: Exploration) -> list[str]:
    return ["LAW %d BROKEN: %s, after %s" % (violation.law, violation.sentence, " ".join(violation.acts))
            for violation in found.violations] or ["no law was broken"]


def lines_of(told: list[Leap]) -> list[str]:
    """A voyage as it is printed: a line for each leap, then what broke."""
    lines = ["%7.0f s  %-20s %-14s %s" % (leap.at_s, leap.act, leap.place, leap.state) for leap in told]
    return lines + list(told[-1].broken or ("no law was broken",))


def _replay(path: Path) -> int:
    given, todo = read(path)
    told = replay(Voyage(given), todo)
    print("\n".join(lines_of(told)))
    return 1 if told[-1].broken else 0


def main(arguments=None) -> int:
    parser = argparse.ArgumentParser(prog="python -m seatrial.explore", description="Explore the mission core.")
    parser.add_argument("plan", nargs="?", type=Path, help="plan file; the sample when left out")
    parser.add_argument("--bound", type=int, default=BOUND, choices=range(BOUND_MAX + 1), metavar="0..%d" % BOUND_MAX,
                        help="at most so many surprises in a dive")
    parser.add_argument("--voyages", type=int, metavar="NUMBER", help="so many at random, and not every course")
    parser.add_argument("--seed", type=int, default=1, help="where chance begins")
    parser.add_argument("--replay", type=Path, metavar="FILE", help="replay a voyage file")
    given = parser.parse_args(arguments)
    try:
        if given.replay:
            return _replay(given.replay)
        short = short_orders(load(given.plan) if given.plan else load_sample())
    except VoyageError as error:
        parser.error(str(error))
    except PlanError as error:
        parser.error(error.sentences[0])
    if given.voyages:
        found = wander(short, given.bound, given.voyages, seed=given.seed)
    else:
        found = explore(short, given.bound, progress=_progress if sys.stderr.isatty() else None)
    print("\n".join(sentences(found)))
    return 1 if found.violations else 0


def _progress(states: int, surprises: int, seconds: float, waiting: int) -> None:
    if not states % 100:
        print("\r%d situations, %d surprises, %.0f a second " % (states, surprises, states / max(seconds, 0.001)),
              end="", file=sys.stderr)


if __name__ == "__main__":
    sys.exit(main())
