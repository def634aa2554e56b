"""A round of dives by Hypothesis: drawn, flown, and where a law breaks, shrunk to the shortest dive that breaks it."""

from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import dataclass, replace

from hypothesis import HealthCheck, Phase, Verbosity, given, seed, settings, target

from seatrial.campaign.shrinking import shrink
from seatrial.faults import Fault
from seatrial.fuzzing.drawing import Drawn, dives
from seatrial.fuzzing.flying import STOPPED, Flight, fly
from seatrial.fuzzing.variants import variant
from seatrial.laws import LAWS, SECOND_LAW
from seatrial.plan import Plan

SHRINK_FLIGHTS = 200  # of one round, after its first finding
POLISH_FLIGHTS = 80


@dataclass(frozen=True)
class Cause:
    """What makes a finding one of its own: the law, and the kinds of faults and keys of the plan that it takes."""

    law: int
    kinds: frozenset[str]
    keys: frozenset[str]

    def explains(self, other: "Cause") -> bool:
        """Whether the other has all that this one needs to break the same law."""
        return self.law == other.law and self.kinds <= other.kinds and self.keys <= other.keys


@dataclass(frozen=True)
class Finding:
    """The shortest dive that was found to break a law for one cause."""

    law: int
    sentence: str
    drawn: Drawn

    @property
    def cause(self) -> Cause:
        return cause_of(self.law, self.drawn)

    def length(self) -> tuple[int, int, int, str]:
        """What is to be short, the first before the second."""
        written = " ".join(self.drawn.faults)
        return len(self.drawn.faults), len(self.drawn.changes), len(written), written


@dataclass(frozen=True)
class Round:
    """What one round came to."""

    dives: int
    points: frozenset[str]
    findings: tuple[Finding, ...]


class _Broken(Exception):
    """A law was broken: one class for each law, by which Hypothesis tells the findings of a round apart."""


BROKEN: dict[int, type[_Broken]] = {
    law: type("Law%d" % law, (_Broken,), {}) for law in (STOPPED, *(law.number for law in LAWS), SECOND_LAW.number)}


def cause_of(law: int, drawn: Drawn) -> Cause:
    """What breaking this law in this dive counts as; findings of one cause are one."""
    return Cause(law, drawn.kinds(), frozenset(drawn.changes))


class _Enough(BaseException):
    """No more may be flown. Hypothesis lets it through at once, whatever it was doing."""


class _Flights:
    """Flies each dive once and remembers what it came to, until no more may be flown; then raises _Enough."""

    def __init__(self, plan: Plan, core: type | None, may_go_on: Callable[[], bool], to_shrink: int) -> None:
        self.plan = plan
        self.core = core
        self.may_go_on = may_go_on
        self.to_shrink = to_shrink
        self.flown: dict[str, Flight] = {}
        self.left: int | None = None
        self.points: frozenset[str] = frozenset()

    def fly(self, drawn: Drawn) -> Flight:
        name = repr(drawn)
        flight = self.flown.get(name)
        if flight is not None:
            return flight
        if self.left == 0 or not self.may_go_on():
            raise _Enough
        if self.left is not None:
            self.left -= 1
        flight = self.flown[name] = self._judged(drawn)
        self.points |= flight.points
        if flight.broken and self.left is None:
            self.left = self.to_shrink
        return flight

    def _judged(self, drawn: Drawn) -> Flight:
        """Against a core of another make is held only what the true one keeps in the same dive."""
        flight = fly(self.plan, drawn, self.core)
        if self.core is None or not flight.broken:
            return flight
        true = fly(self.plan, drawn)
        return replace(flight, broken={law: said for law, said in flight.broken.items() if law not in true.broken})


def search(plan: Plan, chance: int, examples: int, known: Iterable[Cause] = (), core: type | None = None,
           may_go_on: Callable[[], bool] = lambda: True, shrink_flights: int = SHRINK_FLIGHTS) -> Round:
    """A round of so many dives, `chance` its seed. What a known cause explains is passed over; `core` is a class
    `Mission` of another make, blamed for what the true one keeps; shrinking takes at most so many flights."""
    known = tuple(known)
    flights = _Flights(plan, core, may_go_on, shrink_flights)
    shortest: dict[int, Finding] = {}

    def keep(law: int, flight: Flight, drawn: Drawn) -> None:
        finding = Finding(law, flight.broken[law], drawn)
        if law not in shortest or finding.length() < shortest[law].length():
            shortest[law] = finding

    @seed(chance)
    @settings(max_examples=examples, database=None, deadline=None, suppress_health_check=list(HealthCheck),
              phases=(Phase.generate, Phase.target, Phase.shrink), report_multiple_bugs=False,
              verbosity=Verbosity.quiet, print_blob=False)
    @given(dives(plan))
    def one(drawn: Drawn) -> None:
        flight = flights.fly(drawn)
        target(float(len(flight.points)), label="points reached")
        for law in sorted(flight.broken):
            if not any(cause.explains(cause_of(law, drawn)) for cause in known):
                keep(law, flight, drawn)
                raise BROKEN[law]

    with suppress(_Broken, _Enough):
        one()
    findings = tuple(_polished(flights, finding) for _law, finding in sorted(shortest.items()))
    return Round(len(flights.flown), flights.points, findings)


def _polished(flights: _Flights, finding: Finding) -> Finding:
    """The dive made plainer where Hypothesis, which knows no defaults, has left it odd. This may take some flights
    more when time is up: a finding with all that was drawn with it tells nothing."""
    flights.left = POLISH_FLIGHTS
    flights.may_go_on = lambda: True
    law, best = finding.law, finding

    def still(other: Drawn) -> bool:
        nonlocal best
        broken = flights.fly(other).broken
        if law in broken:
            best = Finding(law, broken[law], other)
        return law in broken

    with suppress(_Enough):
        _make_plainer(flights.plan, finding.drawn, still)
    return best


def _make_plainer(plan: Plan, drawn: Drawn, still: Callable[[Drawn], bool]) -> None:
    """Try dives with less in them, one change at a time; `still` tells whether one does the same harm."""
    def with_faults(faults: list[Fault]) -> Drawn:
        return replace(drawn, faults=tuple(map(str, faults)))

    drawn = with_faults(shrink(drawn.parsed(), lambda faults: still(with_faults(faults)), POLISH_FLIGHTS))
    as_planned = replace(drawn, changes={})
    if drawn.changes and still(as_planned):
        return
    for key in list(drawn.changes):
        fewer = replace(drawn, changes={name: value for name, value in drawn.changes.items() if name != key})
        if variant(plan, fewer.changes) is not None and still(fewer):
            drawn = fewer


def distinct(findings: Iterable[Finding]) -> list[Finding]:
    """Each cause once, by its shortest dive; what a shorter one explains is left out."""
    kept: list[Finding] = []
    for finding in sorted(findings, key=lambda one: (one.law, one.length())):
        if not any(one.cause.explains(finding.cause) for one in kept):
            kept.append(finding)
    return kept


def blames(plan: Plan, core: type, examples: int, chance: int = 1) -> str:
    """The shortest dive found in which this core breaks a law that the true one keeps, in words; "" for none."""
    findings = search(plan, chance, examples, core=core, shrink_flights=examples).findings
    if not findings:
        return ""
    first = min(findings, key=Finding.length)
    return "%s: law %d: %s" % (" ".join(first.drawn.faults) or "no fault", first.law, first.sentence)
