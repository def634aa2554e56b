"""Which events a dive has: drawn by how many there are, so that rare ones are flown as often as they need.

A dive with nothing failed is likely and dull; one with two things failed is rare and tells much. So dives are sorted by
the number of events in them (none, one, two and so on), the chance of each number is worked out exactly, and dives of
each are drawn by themselves, as likely among each other as they truly are. This is stratified importance sampling; the
chance of all numbers that are not flown is worked out too, and counts as a loss in the upper bound.

Events are independent, so the chance of a set is the chance of none times the odds of each, and the chance of a number
is the chance of none times an elementary symmetric sum of the odds. A set of that number is found from one number
between 0 and 1, through the same sums (conditional Bernoulli sampling: Chen, Dempster and Liu, Biometrika 81, 1994,
from memory). Single failures are sorted once more, into likely, rare and very rare ones. The draws of one stratum come
from as many equal slices of its range, one of each.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import prod, sqrt

from numpy.random import PCG64, Generator

from seatrial.campaign.choosing import Planned
from seatrial.faults import When, parse, plain
from seatrial.odds.rates import ANY_TIME, Event, Failing, Part

NEGLECTED = 1e-5  # of the chance that anything fails: numbers of events that are not flown
TOGETHER_MAX = 8
LEAST_DIVES = 12  # of each stratum
RARE_SHARES = (0.01, 0.001)  # of all single failures: what is rarer is drawn by itself
SEEDS = 2**32
BELOW_ONE = 1.0 - 2.0**-53


@dataclass(frozen=True)
class Draw:
    """One dive: the places of its events in the list, its faults as on the command line, its seed."""

    events: tuple[int, ...]
    faults: tuple[str, ...]
    seed: int


@dataclass(frozen=True)
class Stratum:
    """Dives with so many events, about as likely as each other: their chance of all dives, and those drawn."""

    together: int
    chance: float
    draws: tuple[Draw, ...]


@dataclass(frozen=True)
class _Cell:
    """One event alone, of a single part in one of its ways."""

    place: int
    way: Failing | None
    odds: float


@dataclass(frozen=True)
class Sample:
    """All that is to be flown. `rest` is the chance of more events together than any of it has."""

    events: tuple[Event, ...]
    strata: tuple[Stratum, ...]
    rest: float

    def planned(self) -> list[Planned]:
        """The dives in order, as a campaign flies them."""
        draws = [draw for stratum in self.strata for draw in stratum.draws]
        return [Planned(number, draw.faults, draw.seed) for number, draw in enumerate(draws)]


def chances_together(events: Sequence[Event], most: int) -> list[float]:
    """The chance of exactly so many events in a dive, from none up to `most`."""
    none = prod(1.0 - event.chance for event in events)
    return [none * total for total in _sums(events, most)[0]]


def _sums(events: Sequence[Event], most: int) -> list[list[float]]:
    """[place][number]: the elementary symmetric sum of that number of odds, of the events from this place on."""
    sums = [[1.0] + [0.0] * most]
    for event in reversed(events):
        odds, after = event.chance / (1.0 - event.chance), sums[-1]
        sums.append([1.0] + [after[number] + odds * after[number - 1] for number in range(1, most + 1)])
    return sums[::-1]


def draw(events: Sequence[Event], hours: float, dives: int, seed: int) -> Sample:
    """So many dives, and at least a dozen of each stratum; the same seed draws the same ones."""
    possible = sum(event.chance > 0.0 for event in events)
    chances = chances_together(events, min(TOGETHER_MAX, possible))
    most = _most_flown(chances)
    rest = max(0.0, 1.0 - sum(chances[:most + 1])) if most < possible else 0.0
    random = Generator(PCG64(seed))
    sums = _sums(events, most)
    groups = _alike(_cells(events)) if most else []
    total = sum(cell.odds for group in groups for cell in group)
    shares = [chances[1] * sum(cell.odds for cell in group) / total for group in groups]
    counts = _shared_out(shares + chances[2:most + 1], dives - LEAST_DIVES)
    strata = [Stratum(0, chances[0], tuple(_seeded((), (), random) for _ in range(LEAST_DIVES)))]
    for group, share, count in zip(groups, shares, counts[:len(groups)], strict=True):
        draws = tuple(_draw_of(events, group, at, hours, random) for at in _slices(count, random))
        strata.append(Stratum(1, share, draws))
    for together, count in enumerate(counts[len(groups):], 2):
        draws = tuple(_draw_set(events, sums, together, at, hours, random) for at in _slices(count, random))
        strata.append(Stratum(together, chances[together], draws))
    return Sample(tuple(events), tuple(strata), rest)


def _slices(count: int, random: Generator) -> list[float]:
    """One number from each of so many equal slices between 0 and 1."""
    return [(place + float(random.uniform())) / count for place in range(count)]


def _most_flown(chances: list[float]) -> int:
    """The fewest events together beyond which nearly nothing is left."""
    left = 1.0 - chances[0]
    for together in range(1, len(chances)):
        left -= chances[together]
        if left <= NEGLECTED * (1.0 - chances[0]):
            return together
    return len(chances) - 1


def _shared_out(chances: list[float], dives: int) -> list[int]:
    """Dives by the square root of the chance, which makes the bound smallest where nothing is lost."""
    total = sum(sqrt(chance) for chance in chances)
    return [max(LEAST_DIVES, round(dives * sqrt(chance) / total)) for chance in chances]


def _cells(events: Sequence[Event]) -> list[_Cell]:
    """Each part with each of its ways to fail, and each common cause, the likeliest first."""
    cells = []
    for place, event in enumerate(events):
        odds = event.chance / (1.0 - event.chance)
        ways = (None,) if event.common else event.parts[0].fails
        cells += [_Cell(place, way, odds * (way.share if way else 1.0)) for way in ways]
    return sorted((cell for cell in cells if cell.odds > 0.0), key=lambda cell: -cell.odds)


def _alike(cells: Sequence[_Cell]) -> list[list[_Cell]]:
    """Cells that are about as likely in one group: the rare ones are flown more often than they would come."""
    total = sum(cell.odds for cell in cells)
    groups: dict[int, list[_Cell]] = {}
    for cell in cells:
        groups.setdefault(sum(cell.odds < share * total for share in RARE_SHARES), []).append(cell)
    return list(groups.values())


def _draw_of(events: Sequence[Event], cells: Sequence[_Cell], at: float, hours: float, random: Generator) -> Draw:
    """The one event that lies at this part of the group."""
    left = sum(cell.odds for cell in cells)
    for cell in cells[:-1]:
        taken, at = _split(at, cell.odds / left)
        if taken:
            break
        left -= cell.odds
    else:
        cell = cells[-1]
    event = events[cell.place]
    texts = _texts(event, at, hours, random) if cell.way is None else _begun(
        [(cell.way.faults, event.parts[0])], hours, random)
    return _seeded((cell.place,), texts, random)


def _draw_set(events: Sequence[Event], sums: list[list[float]], together: int, at: float, hours: float,
              random: Generator) -> Draw:
    """The set of events that lies at this part of all sets of that number, with ways to fail and onsets."""
    chosen: list[int] = []
    for place, event in enumerate(events):
        missing = together - len(chosen)
        if not missing:
            break
        odds = event.chance / (1.0 - event.chance)
        taken, at = _split(at, odds * sums[place + 1][missing - 1] / sums[place][missing])
        if taken:
            chosen.append(place)
    faults: list[str] = []
    for place in chosen:
        faults += _texts(events[place], float(random.uniform()), hours, random)
    return _seeded(tuple(chosen), tuple(dict.fromkeys(faults)), random)


def _texts(event: Event, at: float, hours: float, random: Generator) -> tuple[str, ...]:
    """The faults of an event, each of its parts failing in one of its ways."""
    ways = []
    for part in event.parts:
        way, at = _way(part, at)
        ways.append((way.faults, part))
    return _begun(ways, hours, random)


def _begun(ways: Sequence[tuple[tuple[str, ...], Part]], hours: float, random: Generator) -> tuple[str, ...]:
    """With their onset: one moment for all that fails by one cause."""
    onset_s = 3600.0 * hours * float(random.uniform())
    return tuple(dict.fromkeys(_with_onset(text, part, onset_s) for faults, part in ways for text in faults))


def _split(at: float, share: float) -> tuple[bool, float]:
    """Whether it lies in the first share of the range, and where in its part."""
    taken = at < share
    within = at / share if taken else (at - share) / (1.0 - share)
    return taken, min(within, BELOW_ONE)


def _way(part: Part, at: float) -> tuple[Failing, float]:
    left = 1.0
    for failing in part.fails[:-1]:
        taken, at = _split(at, failing.share / left if left > 0.0 else 0.0)
        if taken:
            return failing, at
        left -= failing.share
    return part.fails[-1], at


def _with_onset(text: str, part: Part, onset_s: float) -> str:
    """What is so before the dive is there from the start; what has an onset of its own keeps it."""
    if "@" in text or part.onset != ANY_TIME or parse(text).kind.prepare:
        return text
    return "%s@%s" % (text, When("start", after_s=float(plain(round(onset_s, 1)))))


def _seeded(events: tuple[int, ...], faults: tuple[str, ...], random: Generator) -> Draw:
    return Draw(events, faults, int(random.integers(SEEDS)))
