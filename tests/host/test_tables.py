"""The printed tables agree with what flies: `lander.table`, its words, and the faults of the sea trial.

The form of the diagram is the Mermaid project's `stateDiagram-v2`: a header line, then `a --> b: label` (Mermaid
documentation, "State diagrams").
"""

import re

import pytest

from lander import table as mission
from lander import words
from seatrial.faults import KINDS, parse

EDGE = re.compile(r"^  (\S+) --> (\w+): (\S+)$", re.MULTILINE)
ROWS = [(mission.STATES[row[mission.FROM]], mission.STATES[row[mission.TO]], mission.label(number))
        for number, row in enumerate(mission.ROWS)]


def flat(text: str) -> str:
    """The text without the breaks and the padding that a table brings in."""
    return " ".join(text.split())


@pytest.fixture
def printed(run) -> str:
    said = run("table")
    assert said.status == 0
    assert said.err == ""
    return said.out


@pytest.fixture
def diagram(run) -> str:
    said = run("table", "--diagram")
    assert said.status == 0
    assert said.err == ""
    return said.out


def cells(printed: str) -> list[list[str]]:
    """The printed transitions: row, from, when, to, because; continuation lines joined to theirs."""
    _title, header, *lines = printed.split("Conditions", 1)[0].splitlines()
    starts = [(" " + header).index(" " + name) for name in ("row", "from", "when", "to", "because")]
    found: list[list[str]] = []
    for line in lines:
        pieces = [line[start:end].strip() for start, end in zip(starts, [*starts[1:], None], strict=True)]
        if pieces[0]:
            found.append(pieces)
        else:
            found[-1] = [flat("%s %s" % pair) for pair in zip(found[-1], pieces, strict=True)]
    return found


def test_every_row_of_the_mission_table_is_printed_once_in_the_order_in_which_it_is_tried(printed):
    assert [(source, target, label) for label, source, _when, target, _why in cells(printed)] == ROWS


def test_every_row_is_printed_with_its_reason(printed):
    assert [row[4] for row in cells(printed)] == [mission.because(number) for number in range(len(mission.ROWS))]


def test_every_row_is_printed_with_the_conditions_that_take_it_and_those_that_bar_it(printed):
    for row, said in zip(mission.ROWS, cells(printed), strict=True):
        terms = said[2].split(" and ")
        asked = sum(1 << mission.CONDITIONS.index(term) for term in terms if not term.startswith("not "))
        barred = sum(1 << mission.CONDITIONS.index(term[4:]) for term in terms if term.startswith("not "))
        assert (asked, barred) == (row[mission.WHEN], row[mission.UNLESS])


def test_every_condition_is_printed_with_its_meaning(printed):
    conditions = flat(printed.split("Conditions", 1)[1].split("stateDiagram", 1)[0])
    for bit, name in enumerate(mission.CONDITIONS):
        assert "%s %s" % (name, words.CONDITIONS[1 << bit]) in conditions


def test_the_diagram_closes_the_whole_print_and_stands_alone_when_asked(printed, diagram):
    assert printed.rstrip().endswith(diagram.rstrip())
    assert diagram.startswith("stateDiagram-v2\n")
    assert "Conditions" not in diagram


def test_the_diagram_has_every_state_and_starts_in_safe(diagram):
    assert set(re.findall(r'^  state "(\w+)" as', diagram, re.MULTILINE)) == set(mission.STATES)
    assert "[*] --> safe" in diagram


def test_the_edges_of_the_diagram_are_the_rows_of_the_table_and_sorted(diagram):
    edges = EDGE.findall(diagram)
    assert sorted(edges) == sorted(ROWS)
    lines = [line for line in diagram.splitlines() if EDGE.match(line)]
    assert lines == sorted(lines)


def test_the_diagram_is_the_same_every_time(run):
    assert run("table", "--diagram").out == run("table", "--diagram").out


# --- the faults ----------------------------------------------------------------------------------------------------


def test_every_fault_is_listed_with_its_parameters(run):
    said = flat(run("faults").out)
    for kind in KINDS.values():
        assert "%s %s" % (kind.name, kind.what.split()[0]) in said
        for key, parameter in kind.parameters.items():
            assert "%s:" % key in said or key == "for_s"
            assert all(choice in said for choice in parameter.choices)


@pytest.mark.parametrize("group", sorted({kind.group for kind in KINDS.values()}))
def test_a_group_of_faults_is_listed_alone(run, group):
    said = run("faults", group)
    names = set(re.findall(r"^ ([a-z-]+)  ", said.out, re.MULTILINE))
    assert names - {"fault"} == {kind.name for kind in KINDS.values() if kind.group == group}


def test_the_example_under_the_list_of_faults_can_be_used(run):
    example = re.search(r"--fault (\S+)\s*$", run("faults").out)
    assert example
    assert parse(example[1]).name in KINDS
