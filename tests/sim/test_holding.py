"""What faults hold: each effect for as long as its fault, whatever began or ended meanwhile."""

from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from seatrial.holding import Holding, added, joined, largest, multiplied, newest, smallest

JOINS = {"newest": newest, "added": added, "multiplied": multiplied, "smallest": smallest, "largest": largest}


@pytest.mark.parametrize(("join", "values", "wanted"), [
    (newest, (3, 1, 2), 2), (added, (3, 1, 2), 10 + 6), (multiplied, (3, 1, 2), 60), (smallest, (3, 1, 12), 1),
    (smallest, (30, 20), 10), (largest, (3, 12, 2), 12), (largest, (3, 2), 10)])
def test_values_that_hold_at_once_are_joined(join, values, wanted):
    part, hold = SimpleNamespace(value=10), Holding().hold
    for value in values:
        hold(part, "value", value, join)
    assert part.value == wanted


def test_tuples_are_put_one_after_the_other():
    part, hold = SimpleNamespace(value=(1,)), Holding().hold
    end = hold(part, "value", (2,), joined)
    hold(part, "value", (3,), joined)
    assert part.value == (1, 2, 3)
    end()
    assert part.value == (1, 3)


@given(st.sampled_from(sorted(JOINS)), st.lists(st.integers(1, 50), min_size=1, max_size=6), st.randoms())
def test_in_whatever_order_they_let_go_what_is_left_holds_and_at_the_end_all_is_as_before(name, values, order):
    part, hold, join = SimpleNamespace(value=7), Holding().hold, JOINS[name]
    holding = [(value, hold(part, "value", value, join)) for value in values]
    while holding:
        _value, let_go = holding.pop(order.randrange(len(holding)))
        let_go()
        left = [value for value, _end in holding]
        assert part.value == (join(7, left) if left else 7)


def test_letting_go_twice_takes_nothing_from_another():
    part, hold = SimpleNamespace(value=False), Holding().hold
    first = hold(part, "value", True)
    hold(part, "value", True)
    first()
    first()
    assert part.value is True


def test_what_was_changed_between_two_faults_is_what_the_second_puts_back():
    part, hold = SimpleNamespace(value=1), Holding().hold
    hold(part, "value", 5)()
    part.value = 2
    hold(part, "value", 5)()
    assert part.value == 2


def test_attributes_and_parts_are_held_each_for_itself():
    one, other, hold = SimpleNamespace(a=1, b=1), SimpleNamespace(a=1, b=1), Holding().hold
    hold(one, "a", 9)
    assert (one.a, one.b, other.a) == (9, 1, 1)
