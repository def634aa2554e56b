"""The mission table, read by hand, walked over every combination of judgements, and run by a second engine."""

import random
import re
from itertools import combinations, product

import pytest
from lander_story import Story

from lander import table
from seatrial.reference import ReferenceMachine, diagram, names_of

STATES = range(len(table.STATES))
BITS = len(table.CONDITIONS)
AT_SEA = (table.DESCEND, table.RECORD, table.RELEASE, table.BACKUP, table.ASCEND)


def rows_from(state: int) -> list:
    return [number for number, row in enumerate(table.ROWS) if row[table.FROM] == state]


def read_aloud(state: int, facts: int) -> int:
    """Rule 2 in words: from the top, the first row of this state whose conditions hold."""
    for number, (source, when, unless, _to, _why) in enumerate(table.ROWS):
        if source == state and all(facts >> bit & 1 for bit in range(BITS) if when >> bit & 1) and not any(
                facts >> bit & 1 for bit in range(BITS) if unless >> bit & 1):
            return number
    return table.STAY


def bits_asked(state: int) -> list:
    asked = 0
    for number in rows_from(state):
        asked |= table.ROWS[number][table.WHEN] | table.ROWS[number][table.UNLESS]
    return [1 << bit for bit in range(BITS) if asked >> bit & 1]


@pytest.mark.parametrize("state", STATES, ids=table.STATES)
def test_the_first_row_that_fits_is_taken_in_every_combination(state):
    for switches in product((0, 1), repeat=len(bits_asked(state))):
        facts = sum(bit for bit, on in zip(bits_asked(state), switches, strict=True) if on)
        assert table.row_taken(state, facts) == read_aloud(state, facts), names_of(facts)


@pytest.mark.parametrize("state", STATES, ids=table.STATES)
def test_judgements_that_no_row_asks_for_change_nothing(state):
    others = ((1 << BITS) - 1) & ~sum(bits_asked(state))
    assert table.row_taken(state, others) == table.STAY
    for number in rows_from(state):
        when = table.ROWS[number][table.WHEN]
        assert table.row_taken(state, when | others) == table.row_taken(state, when)


@pytest.mark.parametrize("state", STATES, ids=table.STATES)
def test_no_row_is_shadowed_by_those_above_it(state):
    bits = bits_asked(state)
    taken = set()
    for size in range(min(4, len(bits)) + 1):
        taken |= {table.row_taken(state, sum(chosen)) for chosen in combinations(bits, size)}
    assert set(rows_from(state)) <= taken, [table.label(n) for n in set(rows_from(state)) - taken]


def test_every_state_is_reached_from_safe():
    reached = {table.SAFE}
    while True:
        further = reached | {row[table.TO] for row in table.ROWS if row[table.FROM] in reached}
        if further == reached:
            break
        reached = further
    assert reached == set(STATES)


def test_every_label_is_unique_and_begins_with_its_state():
    labels = [table.label(number) for number in range(len(table.ROWS))]
    assert len(set(labels)) == len(labels)
    for number, label in enumerate(labels):
        assert label.split("-")[0] == table.STATES[table.ROWS[number][table.FROM]]
        assert table.because(number)


def test_every_condition_is_asked_for_and_has_its_own_bit():
    asked = 0
    for row in table.ROWS:
        asked |= row[table.WHEN] | row[table.UNLESS]
    assert names_of(asked) == list(table.CONDITIONS)
    for place, name in enumerate(table.CONDITIONS):
        assert getattr(table, name.upper()) == 1 << place


@pytest.mark.parametrize("state", AT_SEA, ids=[table.STATES[state] for state in AT_SEA])
def test_at_sea_only_the_disarming_gesture_leads_to_safe(state):
    for number in rows_from(state):
        row = table.ROWS[number]
        if row[table.TO] in (table.SAFE, table.ARMED):
            assert row[table.WHEN] & (table.DISARM_ASKED | table.SPRAY_DRIED), table.label(number)
        if row[table.TO] == table.SAFE:
            assert row[table.WHEN] & table.DISARM_ASKED


@pytest.mark.parametrize("state", STATES, ids=table.STATES)
def test_no_row_leads_to_its_own_state(state):
    assert all(table.ROWS[number][table.TO] != state for number in rows_from(state))


@pytest.mark.parametrize("state", [table.DESCEND, table.RECORD], ids=["descend", "record"])
@pytest.mark.parametrize("when", [
    table.LATEST, table.DUE, table.TIME_UNKNOWN, table.LEAK | table.SURE, table.LOW | table.SURE,
    table.TOO_DEEP | table.SURE, table.PLAN_BAD | table.SURE, table.POWER_GAP | table.SURE])
def test_whatever_ends_a_dive_leads_to_the_release(state, when):
    taken = table.row_taken(state, when)
    assert taken != table.STAY
    assert table.ROWS[taken][table.TO] == table.RELEASE


@pytest.mark.parametrize("seed", range(4))
def test_a_second_engine_agrees_on_long_random_walks(seed):
    dice = random.Random(seed)
    reference = ReferenceMachine()
    state = table.SAFE
    for _ in range(4000):
        facts = sum(1 << bit for bit in range(BITS) if dice.random() < 0.12)
        number = table.row_taken(state, facts)
        state = state if number == table.STAY else table.ROWS[number][table.TO]
        assert reference.step(facts) == table.STATES[state]


def test_a_second_engine_agrees_with_the_core_on_every_step_of_a_long_dive():
    told = Story().jammed().on_the_bottom().after(20000)
    told.needs_s = [20, 4]
    told.after(3000).move_to(3000, 50).after(400).surface().haul().after(100).hold_magnet()
    reference = ReferenceMachine()
    for step in told.trace:
        assert reference.state == table.STATES[step.before]
        assert reference.step(step.facts) == table.STATES[step.state]


def test_a_second_engine_notices_rows_in_another_order():
    rows = table.ROWS
    swapped = list(rows)
    first, second = (row for row in rows_from(table.ASCEND) if table.ROWS[row][table.WHEN] == table.STALLED)
    swapped[first], swapped[second] = rows[second], rows[first]
    facts = table.STALLED
    assert ReferenceMachine("ascend", tuple(swapped)).step(facts) != ReferenceMachine("ascend").step(facts)


def test_a_state_that_is_none_is_refused_by_the_reference_machine():
    machine = ReferenceMachine()
    with pytest.raises(ValueError, match="adrift is no state; states are safe"):
        machine.put("adrift")
    assert machine.state == "safe"


def test_the_diagram_has_one_edge_for_each_row_and_they_are_sorted():
    edges = re.findall(r"^\s*(\w+) --> (\w+): ([\w-]+)$", diagram(), re.MULTILINE)
    assert sorted(edges) == sorted(
        (table.STATES[row[table.FROM]], table.STATES[row[table.TO]], table.label(number))
        for number, row in enumerate(table.ROWS))
    lines = [line for line in diagram().splitlines() if re.search(r" --> \w+: ", line)]
    assert lines == sorted(lines)
    assert diagram() == diagram()
