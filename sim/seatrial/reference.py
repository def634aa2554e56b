"""The mission table run by a second, unrelated engine, and drawn: for cross-checks and documents, never for flight.

The rows of `lander.table` are handed to the library `transitions`, which tries them in the order in which they stand,
as the core does. Where the two engines ever differ, one of them reads the table wrongly.
"""

from typing import Any

from transitions import Machine
from transitions.extensions import GraphMachine

from lander import table

_STEP = "step"


class Facts:
    """The judgements of one step, each condition of the table as a method that answers whether it holds."""

    def __init__(self) -> None:
        self.bits = 0


def _condition(bit: int):
    def holds(facts: Facts) -> bool:
        return bool(facts.bits & bit)

    return holds


for _place, _name in enumerate(table.CONDITIONS):
    setattr(Facts, _name, _condition(1 << _place))


def names_of(bits: int) -> list[str]:
    """The names of the conditions in these bits, lowest first."""
    return [name for place, name in enumerate(table.CONDITIONS) if bits >> place & 1]


def row_transitions(rows=table.ROWS) -> list[dict]:
    """The rows as the library wants them, all under one trigger; the first that fits is taken."""
    return [{
        "trigger": _STEP,
        "source": table.STATES[row[table.FROM]],
        "dest": table.STATES[row[table.TO]],
        "conditions": names_of(row[table.WHEN]),
        "unless": names_of(row[table.UNLESS]),
    } for row in rows]


class ReferenceMachine:
    """The table as a `transitions` machine. It starts in safe, or in the state named."""

    def __init__(self, state: str = table.STATES[table.SAFE], rows=table.ROWS) -> None:
        self._facts: Any = Facts()  # the library gives it `state` and `step`
        self._machine = Machine(
            model=self._facts, states=list(table.STATES), transitions=row_transitions(rows), initial=state,
            auto_transitions=False)

    @property
    def state(self) -> str:
        return self._facts.state

    def put(self, state: str) -> None:
        """Set the state, as a restart does. Raises ValueError for a name that is none."""
        if state not in table.STATES:
            raise ValueError("%s is no state; states are %s" % (state, ", ".join(table.STATES)))
        self._machine.set_state(state)

    def step(self, bits: int) -> str:
        """Take at most one row on the judgements in these bits; the answer is the state afterwards."""
        self._facts.bits = bits
        self._facts.step()
        return self.state


def diagram(rows=table.ROWS) -> str:
    """The table as a Mermaid state diagram: one edge for each row, with the row's label, sorted."""
    edges = [{"trigger": table.label(number) if rows is table.ROWS else row[table.WHY].split(": ", 1)[0],
              "source": table.STATES[row[table.FROM]], "dest": table.STATES[row[table.TO]]}
             for number, row in enumerate(rows)]
    facts: Any = Facts()  # the library gives it `get_graph`
    GraphMachine(model=facts, states=list(table.STATES), transitions=edges, initial=table.STATES[table.SAFE],
                 auto_transitions=False, graph_engine="mermaid")
    return _one_edge_a_row(facts.get_graph().draw(None))


def _one_edge_a_row(drawn: str) -> str:
    """The library joins edges between two states, colours them, and heads the text with what Mermaid cannot read."""
    head: list[str] = []
    edges: list[str] = []
    lines = drawn.splitlines()
    for line in lines[lines.index("stateDiagram-v2"):]:
        if line.strip().startswith(("classDef", "Class ")):
            continue
        if " --> " not in line or ": " not in line:
            head.append(line)
            continue
        ends, labels = line.split(": ", 1)
        edges.extend("%s: %s" % (ends, label) for label in labels.split(" | "))
    return "\n".join([line for line in head if line.strip()] + sorted(edges)) + "\n"
