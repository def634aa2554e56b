"""Which faults of a dive did the harm. A harm is the loss of the lander, or a law that was broken.

Most dives that end badly do so because of a fault that does it alone at that moment; such a dive is put down to it
without flying again. Of the others faults are dropped until the harm goes; what is left is its cause. Causes of the
same kinds of faults are one cause, whose shortest scenario is then shrunk in every way.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from seatrial.campaign.choosing import Planned
from seatrial.campaign.flying import Row, fly
from seatrial.campaign.shrinking import drop, shrink
from seatrial.faults import Fault, parse
from seatrial.plan import Plan
from seatrial.water import WaterColumn

LOST = "lost"
FAILED = "failed"
Causes = dict[tuple[int, str], tuple[str, ...]]


@dataclass(frozen=True)
class Cause:
    """One kind of harm by one set of kinds of faults. `avoidable`: a release was physically possible in some dive."""

    harm: str
    kinds: tuple[str, ...]
    dives: int
    avoidable: bool
    onsets: tuple[str, ...]  # at which it happened, of dives that had no other fault
    faults: tuple[str, ...]  # the shortest scenario
    seed: int
    sentence: str  # how it ended, or which sentence the law said


def harms_of(row: Row) -> list[str]:
    """What is wrong with this dive: `lost`, and `law 4` for each law that was broken; `failed` is the simulation."""
    if row.error:
        return [FAILED]
    return ([] if row.home else [LOST]) + ["law %d" % number for number in row.broken()]


class Blame:
    """Finds causes by flying; remembers what it has found."""

    def __init__(self, plan: Plan, known: Causes) -> None:
        self.plan = plan
        self.water = WaterColumn(plan.site)
        self.found: Causes = dict(known)

    def all_of(self, rows: Sequence[Row], progress: Callable[[int], object] = lambda count: None) -> Causes:
        """The cause of every harm of every row; rows with fewer faults come first, since they explain the others."""
        enough: dict[str, list[frozenset[str]]] = {}
        for row in sorted(rows, key=lambda row: (len(row.faults), row.number)):
            for harm in harms_of(row):
                self.found[row.number, harm] = self._cause(row, harm, enough.setdefault(harm, []))
            progress(1)
        return self.found

    def _cause(self, row: Row, harm: str, enough: list[frozenset[str]]) -> tuple[str, ...]:
        known = self.found.get((row.number, harm))
        if known is None:
            here = set(row.faults)
            known = next((tuple(text for text in row.faults if text in one) for one in enough if one <= here), None)
        if known is None:
            faults = drop([parse(text) for text in row.faults], self.does(harm, row.seed))
            known = tuple(map(str, faults))
        if frozenset(known) not in enough:
            enough.append(frozenset(known))
        return known

    def does(self, harm: str, seed: int) -> Callable[[list[Fault]], bool]:
        """Whether a list of faults does this harm, found by flying it."""
        def flown(faults: list[Fault]) -> bool:
            return harm in harms_of(self.fly(tuple(map(str, faults)), seed))
        return flown

    def fly(self, faults: tuple[str, ...], seed: int) -> Row:
        return fly(self.plan, Planned(-1, faults, seed), self.water)

    def shortest(self, harm: str, faults: tuple[str, ...], seed: int) -> tuple[str, ...]:
        return tuple(map(str, shrink([parse(text) for text in faults], self.does(harm, seed))))


def kinds_in(faults: Iterable[str]) -> tuple[str, ...]:
    """The names of these faults, sorted."""
    return tuple(sorted({parse(text).name for text in faults}))


def grouped(rows: Sequence[Row], blame: Blame, shorten: bool = True) -> list[Cause]:
    """Every cause once, with the worst first: avoidable ones, then losses, then by how many dives it harmed."""
    groups: dict[tuple[str, tuple[str, ...]], list[tuple[Row, tuple[str, ...]]]] = {}
    for row in rows:
        for harm in harms_of(row):
            faults = blame.found[row.number, harm]
            groups.setdefault((harm, kinds_in(faults)), []).append((row, faults))
    causes = [_one(harm, kinds, members, blame, shorten) for (harm, kinds), members in groups.items()]
    return sorted(causes, key=lambda cause: (not cause.avoidable, cause.harm != LOST, -cause.dives, cause.harm,
                                             cause.kinds))


def _one(harm: str, kinds: tuple[str, ...], members: list[tuple[Row, tuple[str, ...]]], blame: Blame,
         shorten: bool) -> Cause:
    row, faults = min(members, key=lambda member: (
        len(member[0].faults), sum(map(len, member[0].faults)), member[0].number))
    shortest = blame.shortest(harm, faults, row.seed) if shorten else faults
    flown = blame.fly(shortest, row.seed)
    alone = sorted({str(parse(text).when) for row_, faults_ in members if len(row_.faults) == len(faults_)
                    for text in faults_})
    return Cause(harm, kinds, len(members), any(row_.possible for row_, _ in members), tuple(alone), shortest,
                 row.seed, sentence_of(flown, harm))


def sentence_of(row: Row, harm: str) -> str:
    """How the dive ended, or the sentence of the law."""
    if harm == FAILED:
        return row.error
    if harm == LOST:
        return row.why_down
    return next((sentence for number, _, sentence in row.verdicts if "law %d" % number == harm), "")
