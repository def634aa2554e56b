"""All voyages with at most so many surprises, each situation once, by fewest surprises and then fewest leaps.

The search goes layer by layer: first everything that the planned dive can do, with every rise that comes or fails to
come; then all that one surprise at any moment makes of it; then two. Within a layer it ends when no new situation
appears, for waiting can be done for ever and brings nothing new once every deadline is over. So a law that is broken
late is found, however late: liveness (laws 1 and 4) is judged by deadlines whose age is part of the situation, and
every act lets ten seconds pass, so no round of situations can put a deadline off: either its age grows, or the law is
broken, or it is kept.

The first voyage that reaches a situation stands for all that do. That is exact up to the classes of the key
(`snapshot.Quotient`), and where two differ within a class it is a choice: the search is exhaustive over situations, it
is no proof over all tenths of seconds.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

from seatrial.exploration import acts
from seatrial.exploration.voyage import Breach, Voyage

ROOT = -1
COST_MAX = 2  # surprises of the dearest act


@dataclass
class Violation:
    """A law that a voyage breaks: the acts that lead there, the last of which breaks it."""

    law: int
    sentence: str
    acts: list[str]
    surprises: int


@dataclass
class Exploration:
    """What a search found."""

    bound: int
    states: int = 0
    transitions: int = 0
    steps: int = 0
    depth: int = 0  # leaps of the longest of the shortest ways to a situation
    seconds: float = 0.0
    exhausted: bool = False
    voyages: int = 0  # at random, where the search was none of all
    layers: list[int] = field(default_factory=list)  # situations first reached with 0, 1, 2... surprises
    mission_states: set[int] = field(default_factory=set)
    rows: set[int] = field(default_factory=set)
    violations: list[Violation] = field(default_factory=list)


class Search:
    """Explores up to `bound` surprises. `states_max` and `seconds_max` end it early, and it then says so.

    `first_only`: it ends at the first law that is broken. `progress(states, surprises, seconds, waiting)` is called
    after every situation. `clock()` answers seconds; where it is left out, none are told and `seconds_max` counts
    for nothing.
    """

    def __init__(self, make_voyage: Callable[[], Voyage], bound: int, states_max: int | None = None,
                 seconds_max: float | None = None, first_only: bool = False, progress: Callable | None = None,
                 clock: Callable[[], float] | None = None) -> None:
        self.voyage = make_voyage()
        self.found = Exploration(bound)
        self.states_max = states_max
        self.seconds_max = seconds_max
        self.first_only = first_only
        self.progress = progress
        self.clock = clock or (lambda: 0.0)
        self._seen: set[int] = set()
        self._parents: list[int] = []
        self._acts: list[str] = []
        self._broken: set[tuple[int, str]] = set()
        self._began_s = 0.0
        self._stopped = False

    def run(self) -> Exploration:
        found = self.found
        self._began_s = self.clock()
        copy = self.voyage.take()
        frontier = [(self._enter(hash(self.voyage.key(copy)), ROOT, ""), copy)]
        layers: list[list[list]] = []
        for surprises in range(found.bound + 1):
            known = len(self._parents) if surprises else 0
            layers.append(self._layer(frontier, layers, surprises))
            frontier = []
            found.layers.append(len(self._parents) - known)
            if self._stopped:
                break
            if surprises >= COST_MAX:
                layers[surprises - COST_MAX] = []
        found.exhausted = not self._stopped
        found.seconds = self.clock() - self._began_s
        found.states = len(self._parents)
        found.steps = self.voyage.steps
        return found

    def _layer(self, frontier: list, layers: list[list[list]], surprises: int) -> list[list]:
        """All situations first reached with so many surprises, in lists by the number of acts that lead there.

        They come from those of the layers before by acts that cost as much as lies between, and from each other.
        """
        kept: list[list] = []
        sources = [(cost, layers[surprises - cost]) for cost in range(1, min(COST_MAX, surprises) + 1)]
        longest = max((len(layer) for _cost, layer in sources), default=0)
        while frontier or len(kept) < longest:
            reached: list = []
            number = len(kept)
            due = [(0, frontier)] + [(cost, layer[number]) for cost, layer in sources if number < len(layer)]
            kept.append(frontier if surprises < self.found.bound else [])
            for cost, situations in due:
                for index, copy in situations:
                    self._expand(index, copy, cost, surprises, reached)
                    if self._over(surprises, len(situations)):
                        return kept
            frontier = reached
            self.found.depth = max(self.found.depth, number + 1)
        return kept

    def _over(self, surprises: int, waiting: int) -> bool:
        states = len(self._parents)
        passed_s = self.clock() - self._began_s
        if self.progress:
            self.progress(states, surprises, passed_s, waiting)
        self._stopped = self._stopped or bool(
            (self.first_only and self.found.violations)
            or (self.states_max is not None and states >= self.states_max)
            or (self.seconds_max is not None and passed_s >= self.seconds_max))
        return self._stopped

    def _expand(self, index: int, copy: tuple, cost: int, surprises: int, reached: list) -> None:
        voyage, found = self.voyage, self.found
        voyage.put(copy)
        todo = [act for act, costs in voyage.possible() if costs == cost]
        for number, act in enumerate(todo):
            if number or not cost:
                voyage.put(copy)
            found.transitions += 1
            try:
                voyage.perform(act)
            except Breach as breach:
                for check in breach.checks:
                    self._note(check.law, check.sentence, index, act, surprises)
                continue
            except Exception as error:  # whatever a broken core does to itself is a finding
                self._note(0, "the controller stopped: %s: %s" % (type(error).__name__, error), index, act, surprises)
                continue
            if not acts.keeps_an_honest_sign(voyage.mission, voyage.sea):
                continue
            key = hash(voyage.key(after := voyage.take()))
            if key in self._seen:
                continue
            reached.append((self._enter(key, index, act), after))

    def _enter(self, key: int, parent: int, act: str) -> int:
        self._seen.add(key)
        self._parents.append(parent)
        self._acts.append(act)
        mission = self.voyage.mission
        self.found.mission_states.add(mission.state)
        return len(self._parents) - 1

    def _note(self, law: int, sentence: str, index: int, act: str, surprises: int) -> None:
        if (law, sentence) in self._broken:
            return
        self._broken.add((law, sentence))
        way = [act]
        while index > 0:
            way.append(self._acts[index])
            index = self._parents[index]
        self.found.violations.append(Violation(law, sentence, way[::-1], surprises))
