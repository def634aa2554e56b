"""Voyages at random with several surprises, where the exhaustive search would take days.

From every situation each act that the search knows may follow. A voyage goes on by what is planned, mostly by waiting;
from some moment on surprises come, up to the bound, and often in bunches: what has gone wrong once goes wrong again
soon. A seed makes the same voyages everywhere.
"""

from collections.abc import Callable

from seatrial.dice import Dice
from seatrial.exploration import acts
from seatrial.exploration.search import Exploration, Violation
from seatrial.exploration.voyage import Breach, Voyage

LEAPS_MAX = 90  # of one voyage: the longest planned one has about sixty
PLANNED = (1, 4)  # the chance that something planned comes where it can, instead of waiting
CALM_LEAPS = 44  # of a voyage at most, before the first surprise: it may come as late as at the surface
ALARMS = ((1, 12), (1, 2))  # the chance of a surprise in a leap after that, of which a voyage draws one for itself
AFTER = (1, 2)  # and in the leap that follows one


class Wanderer:
    """So many voyages with at most `bound` surprises each. `first_only`: until the first that breaks a law."""

    def __init__(self, make_voyage: Callable[[], Voyage], bound: int, voyages: int, seed: int = 1,
                 first_only: bool = False, progress: Callable[[int], object] = lambda over: None) -> None:
        self.voyage = make_voyage()
        self.found = Exploration(bound)
        self.voyages = voyages
        self.dice = Dice(seed)
        self.first_only = first_only
        self.progress = progress  # hears how many voyages are over

    def run(self) -> Exploration:
        found = self.found
        begin = self.voyage.take()
        for number in range(self.voyages):
            self.voyage.put(begin)
            found.voyages += 1
            self._go(self.dice.fork("voyage %d" % number))
            self.progress(found.voyages)
            if self.first_only and found.violations:
                break
        found.steps = self.voyage.steps
        return found

    def _go(self, dice: Dice) -> None:
        """One voyage, until it is over or breaks a law."""
        alarm, calm = _one(dice, ALARMS), dice.u16() % CALM_LEAPS
        left, chance = self.found.bound, alarm
        way: list[str] = []
        while len(way) < LEAPS_MAX:
            possible = self.voyage.possible()
            if not possible:
                return
            act, cost = self._next(dice, possible, left if len(way) >= calm else 0, chance)
            left -= cost
            chance = AFTER if cost else alarm
            way.append(act)
            self.found.transitions += 1
            self.found.depth = max(self.found.depth, len(way))
            if not self._perform(act, way, self.found.bound - left):
                return

    def _next(self, dice: Dice, possible: list[tuple[str, int]], left: int, chance: tuple[int, int]) -> tuple[str, int]:
        if left and dice.chance(*chance):
            groups: dict[str, list[tuple[str, int]]] = {}
            for act, cost in possible:
                if 0 < cost <= left:
                    groups.setdefault(act.partition(":")[0], []).append((act, cost))
            return _one(dice, _one(dice, list(groups.values())))
        planned = [(act, cost) for act, cost in possible if not cost and act != acts.WAIT]
        return _one(dice, planned) if planned and dice.chance(*PLANNED) else (acts.WAIT, 0)

    def _perform(self, act: str, way: list[str], surprises: int) -> bool:
        """Whether the voyage goes on after this act."""
        voyage, found = self.voyage, self.found
        try:
            voyage.perform(act)
        except Breach as breach:
            for check in breach.checks:
                self._note(check.law, check.sentence, way, surprises)
            return False
        except Exception as error:  # whatever a broken core does to itself is a finding
            self._note(0, "the controller stopped: %s: %s" % (type(error).__name__, error), way, surprises)
            return False
        found.mission_states.add(voyage.mission.state)
        return acts.keeps_an_honest_sign(voyage.mission, voyage.sea)

    def _note(self, law: int, sentence: str, way: list[str], surprises: int) -> None:
        """The shortest voyage stands for all that break the same check."""
        for number, known in enumerate(self.found.violations):
            if (known.law, known.sentence) == (law, sentence):
                if len(way) < len(known.acts):
                    self.found.violations[number] = Violation(law, sentence, list(way), surprises)
                return
        self.found.violations.append(Violation(law, sentence, list(way), surprises))


def _one(dice: Dice, choices):
    return choices[dice.u16() % len(choices)]
