"""Rounds of dives on several processes; each round knows what those before it have found.

Where so many dives are asked for, the same number of rounds is always under way, whatever the number of processes, so
that the same seed finds the same.
"""

from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future
from dataclasses import dataclass, field
from time import monotonic

from lander import VERSION
from seatrial.campaign.choosing import CampaignError
from seatrial.campaign.running import processes
from seatrial.dice import Dice
from seatrial.fuzzing.search import Cause, Finding, Round, distinct, search
from seatrial.plan import Plan

ROUND = 50  # dives drawn in a round
UNDER_WAY = 4  # rounds at once


@dataclass
class Fuzz:
    """What the rounds so far came to."""

    dives: int = 0
    rounds: int = 0
    points: frozenset[str] = frozenset()
    findings: list[Finding] = field(default_factory=list)

    def add(self, told: Round) -> None:
        self.dives += told.dives
        self.rounds += 1
        self.points |= told.points
        self.findings = distinct([*self.findings, *told.findings])


def fly_round(plan: Plan, version: str, chance: int, examples: int, known: tuple[Cause, ...],
              seconds: float | None) -> Round:
    """A round in this or another process, of at most so many seconds. Raises CampaignError for another version."""
    if version != VERSION:
        raise CampaignError("a worker runs tumblehome %s, this is %s: install the same version everywhere"
                            % (VERSION, version))
    began_s = monotonic()
    return search(plan, chance, examples, known, may_go_on=lambda: seconds is None or monotonic() - began_s < seconds)


def rounds_of(examples: int | None) -> Iterator[int]:
    """The dives to be drawn in each round; without an end where there is no limit."""
    left = examples
    while left is None or left > 0:
        size = ROUND if left is None else min(ROUND, left)
        left = None if left is None else left - size
        yield size


def fuzz(plan: Plan, seed: int, examples: int | None, seconds: float | None, executor: Executor, at_once: int = 1,
         progress: Callable[[Fuzz], object] = lambda told: None) -> Fuzz:
    """Draw and fly dives until so many were drawn, or for so long; `progress` is called after each round."""
    told = Fuzz()
    dice = Dice(seed)
    began_s = monotonic()
    under_way: deque[Future] = deque()
    sizes = rounds_of(examples)
    number = 0
    try:
        while True:
            left_s = None if seconds is None else seconds - (monotonic() - began_s)
            while len(under_way) < (at_once if examples is None else UNDER_WAY) and (left_s is None or left_s > 0.0):
                size = next(sizes, None)
                if size is None:
                    break
                known = tuple(finding.cause for finding in told.findings)
                chance = dice.fork("round %d" % number).seed
                under_way.append(executor.submit(fly_round, plan, VERSION, chance, size, known, left_s))
                number += 1
            if not under_way:
                return told
            told.add(under_way.popleft().result())
            progress(told)
    finally:
        for future in under_way:
            future.cancel()


__all__ = ["Fuzz", "fly_round", "fuzz", "processes", "rounds_of"]
