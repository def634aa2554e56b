"""What dives have reached: rows of the mission table, conditions both ways in each state, faults in each state.

A point of coverage is a word: `row armed-splash`, `leak in record is true`, `jammed in release`. `all_points` is
the whole list, so that what was never reached can be named.
"""

from collections.abc import Iterable

from lander import table
from lander.journal import Journal
from seatrial.bodies import CPythonBody
from seatrial.faults import FaultKind
from seatrial.result import DiveResult

ROWS, CONDITIONS, FAULTS = "rows", "conditions", "faults"


def _asked(state: int) -> int:
    """Every condition that a row of this state asks for, with those that hold it back."""
    bits = 0
    for number in table.ROWS_FROM[state]:
        bits |= table.ROWS[number][table.WHEN] | table.ROWS[number][table.UNLESS]
    return bits


ASKED = tuple(_asked(state) for state in range(len(table.STATES)))


class WatchedBody(CPythonBody):
    """The core in this process, or another make of it, and which conditions it has seen true and false by state."""

    def __init__(self, record: bytes, core: type | None = None) -> None:
        super().__init__(record)
        self._record = record
        self._core = core
        self.seen_true = [0] * len(table.STATES)
        self.seen_false = [0] * len(table.STATES)

    def boot(self, store, inputs) -> int:
        if self._core is None:
            return super().boot(store, inputs)
        journal = Journal(store)
        recall = journal.recall()
        self.mission = self._core(self._record)
        self.mission.boot(recall.newest, inputs)
        return journal.next_slot

    def step(self, inputs, outputs) -> None:
        mission = self.mission
        assert mission is not None, "a body is booted before its first step"
        state = mission.state
        mission.step(inputs, outputs)
        self.seen_true[state] |= mission.facts
        self.seen_false[state] |= ~mission.facts


def points_of(result: DiveResult, body: WatchedBody) -> frozenset[str]:
    """What this dive has reached."""
    found = {"row %s" % label for label in result.evidence.rows_seen}
    for state in range(len(table.STATES)):
        found.update(_ways(state, body.seen_true[state] & ASKED[state], "true"))
        found.update(_ways(state, body.seen_false[state] & ASKED[state], "false"))
    for fault, from_s, _to_s in result.faults:
        state_name = "" if from_s is None else result.evidence.state_at(from_s)
        if state_name in table.STATES:
            found.add("%s in %s" % (fault.name, "safe" if fault.kind.prepare else state_name))
    return frozenset(found)


def _ways(state: int, bits: int, way: str) -> Iterable[str]:
    return ("%s in %s is %s" % (name, table.STATES[state], way)
            for place, name in enumerate(table.CONDITIONS) if bits >> place & 1)


def all_points(kinds: Iterable[FaultKind]) -> dict[str, list[str]]:
    """Every point there is, by sort."""
    states = range(len(table.STATES))
    return {
        ROWS: ["row %s" % table.label(number) for number in range(len(table.ROWS))],
        CONDITIONS: [point for state in states for way in ("true", "false") for point in
                     _ways(state, ASKED[state], way)],
        FAULTS: ["%s in %s" % (kind.name, state) for kind in kinds
                 for state in (table.STATES[:1] if kind.prepare else table.STATES)],
    }


def missing(reached: Iterable[str], kinds: Iterable[FaultKind]) -> dict[str, list[str]]:
    """The points that were not reached, by sort."""
    there = set(reached)
    return {sort: [point for point in points if point not in there] for sort, points in all_points(kinds).items()}
