"""From flown dives to probabilities with bounds, what loses the lander, and what would help most.

A probability is the sum over the numbers of events of their chance times the share of their dives that had the
outcome. Its bounds sum those of the shares (`proportions`), each at its part of the doubt, so that together they hold
at least as often as stated; the more one dive of a stratum stands for, the more of the doubt it gets, which keeps the
sum small. The shares were counted in draws from equal slices; there the binomial bounds still hold, since the count
spreads less (Hoeffding, Annals of Mathematical Statistics 27, 1956, 713-721). What was not flown counts as the outcome
in the upper bound and as none of it in the lower one.

Dives with nothing failed differ in the noise of the readings alone. Where all of them had one outcome, it is taken for
what such a dive comes to; how far their small number carries is told apart from the rest.

What would help is worked out from the same dives: a dive counts as much more or less as its events have become more or
less likely.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from math import prod

from seatrial.campaign.flying import Row
from seatrial.odds.drawing import Draw, Sample, Stratum
from seatrial.odds.proportions import bounds
from seatrial.odds.rates import Event, Rates, events
from seatrial.plan import Plan

DOUBT = 0.05  # the bounds miss the truth with this chance at most
LOST = "lost"
HALVED, INDEPENDENT = "half as often", "no cause in common"


@dataclass(frozen=True)
class Estimate:
    """A probability with its bounds, and the dives that it was counted in."""

    value: float
    lowest: float
    highest: float
    dives: int


@dataclass(frozen=True)
class Cause:
    """Events that lost the lander together: the chance of such a loss, the lost dives, and one of them."""

    events: tuple[str, ...]
    chance: float
    dives: int
    example: Draw


@dataclass(frozen=True)
class Improvement:
    """One thing made better, and the probability of loss then. `dives`: lost ones that it makes rarer."""

    name: str
    what: str
    loss: float
    dives: int


@dataclass(frozen=True)
class Flown:
    """The dives that were drawn, each with its row, in order."""

    sample: Sample
    rows: tuple[Row, ...]

    def by_stratum(self) -> list[tuple[Stratum, Sequence[Row]]]:
        found: list[tuple[Stratum, Sequence[Row]]] = []
        at = 0
        for stratum in self.sample.strata:
            found.append((stratum, self.rows[at:at + len(stratum.draws)]))
            at += len(stratum.draws)
        return found

    def weighed(self) -> list[tuple[float, Draw, Row]]:
        """Each dive with the chance that it stands for."""
        return [(stratum.chance / len(stratum.draws), draw, row) for stratum, rows in self.by_stratum()
                for draw, row in zip(stratum.draws, rows, strict=True)]


def path_of(row: Row) -> str:
    """The way home, or that there was none; a dive that could not be simulated counts as lost."""
    return row.path if row.home and not row.error else LOST


def estimate(flown: Flown, hit: Callable[[Row], bool], doubt: float = DOUBT) -> Estimate:
    """The probability of a dive with this outcome."""
    strata = flown.by_stratum()
    value = lowest = 0.0
    highest = flown.sample.rest
    counts = [(stratum, sum(map(hit, rows)), len(rows)) for stratum, rows in strata]
    uncertain = sum(stratum.chance / dives for stratum, hits, dives in counts if not _is_settled(stratum, hits, dives))
    for stratum, hits, dives in counts:
        share = low = high = hits / dives
        if not _is_settled(stratum, hits, dives):
            low, high = bounds(hits, dives, doubt * stratum.chance / dives / uncertain)
        value += stratum.chance * share
        lowest += stratum.chance * low
        highest += stratum.chance * high
    return Estimate(value, lowest, min(1.0, highest), sum(hits for _stratum, hits, _dives in counts))


def _is_settled(stratum: Stratum, hits: int, dives: int) -> bool:
    """Nothing failed, and all such dives agree."""
    return not stratum.together and hits in (0, dives)


def with_nothing_failed(flown: Flown, doubt: float = DOUBT) -> tuple[int, int, float]:
    """Of the dives with nothing failed: how many were lost, of how many, and the highest share that leaves."""
    _stratum, rows = flown.by_stratum()[0]
    lost = sum(path_of(row) == LOST for row in rows)
    return lost, len(rows), bounds(lost, len(rows), doubt)[1]


def paths(flown: Flown) -> list[tuple[str, Estimate]]:
    """Every way that was seen to bring it home, the likeliest first, then the loss."""
    names = {path_of(row) for row in flown.rows} - {LOST}
    found = [(name, _by(flown, name)) for name in names]
    return [*sorted(found, key=lambda one: (-one[1].value, one[0])), (LOST, _by(flown, LOST))]


def _by(flown: Flown, path: str) -> Estimate:
    return estimate(flown, lambda row: path_of(row) == path)


def causes(flown: Flown) -> list[Cause]:
    """Which events together lost it, the likeliest first.

    A lost dive that has the faults of another lost one and more is laid to the fewer, whatever their onsets were.
    """
    dives = [(weight, draw) for weight, draw, row in flown.weighed() if path_of(row) == LOST]
    cores: list[tuple[frozenset[str], Draw]] = []
    found: dict[tuple[int, ...], list[tuple[float, Draw]]] = {}
    for weight, draw in sorted(dives, key=lambda dive: len(dive[1].events)):
        faults = frozenset(text.partition("@")[0] for text in draw.faults)
        guilty = next((core for had, core in cores if had <= faults), None)
        if guilty is None:
            guilty = draw
            cores.append((faults, draw))
        found.setdefault(guilty.events, []).append((weight, guilty))
    told = [Cause(tuple(flown.sample.events[place].name for place in places), sum(weight for weight, _ in members),
                  len(members), members[0][1]) for places, members in found.items()]
    return sorted(told, key=lambda cause: (-cause.chance, cause.events))


def loss_if(flown: Flown, changed: Sequence[Event]) -> float:
    """The probability of loss had the events these chances instead, in the same order, from the same dives."""
    were = flown.sample.events
    none = prod((1.0 - now.chance) / (1.0 - was.chance) for was, now in zip(were, changed, strict=True))
    odds = [_odds(now) / _odds(was) if was.chance else 0.0 for was, now in zip(were, changed, strict=True)]
    return sum(weight * none * prod(odds[place] for place in draw.events)
               for weight, draw, row in flown.weighed() if path_of(row) == LOST)


def _odds(event: Event) -> float:
    return event.chance / (1.0 - event.chance)


def improvements(flown: Flown, rates: Rates, hours: float) -> list[Improvement]:
    """Each part failing half as often, each common cause gone; what helps most comes first. Without a loss: none."""
    lost = [draw for _weight, draw, row in flown.weighed() if path_of(row) == LOST]
    if not lost:
        return []
    tried = [(part.name, HALVED, 0.5) for part in rates.parts] + [
        (one.name, INDEPENDENT, 0.0) for one in rates.commons]
    found = []
    for name, what, factor in tried:
        touched = {place for place, event in enumerate(flown.sample.events)
                   if event.name == name or any(part.name == name for part in event.parts)}
        loss = loss_if(flown, events(rates, hours, {name: factor}))
        if what == INDEPENDENT:
            touched = {place for place, event in enumerate(flown.sample.events) if event.name == name}
        found.append(Improvement(name, what, loss, sum(not touched.isdisjoint(draw.events) for draw in lost)))
    return sorted(found, key=lambda one: (one.loss, one.name))


# --- what is not fitted --------------------------------------------------------------------------------------------


def fitted_with(plan: Plan) -> list[tuple[str, str, Plan]]:
    """What this lander lacks and could have: what the parts of it need, in words, and the plan with it."""
    found = []
    if not plan.release.passive.fitted:
        release_h = plan.times.latest_release_min / 60.0
        earliest_h, latest_h = round(2.0 * release_h, 1), round(4.0 * release_h, 1)
        link = plan.release.passive.model_copy(update={
            "fitted": True, "earliest_h": earliest_h, "latest_h": latest_h})
        words = "a corroding link, through after %g to %g h" % (earliest_h, latest_h)
        found.append(("corroding link", words, plan.model_copy(update={
            "release": plan.release.model_copy(update={"passive": link})})))
    if not plan.second.fitted:
        found.append(("second board", "a second board with a battery of its own", plan.model_copy(update={
            "second": plan.second.model_copy(update={"fitted": True})})))
    return found


def loss_fitted(flown: Flown, again: Iterable[Row], rates: Rates, needs: str, hours: float) -> tuple[float, int]:
    """The probability of loss with something fitted, and the dives that it brought home: the lost dives flown `again`.

    Dives that came home before are taken to do so still. What is fitted fails too: where any of its parts does, the
    dive counts as lost as before.
    """
    works = prod(1.0 - part.chance(hours) for part in rates.parts if part.needs == needs)
    saved = {row.number for row in again if path_of(row) != LOST}
    loss = sum(weight * (1.0 - works if row.number in saved else 1.0)
               for weight, _draw, row in flown.weighed() if path_of(row) == LOST)
    return loss, len(saved)
