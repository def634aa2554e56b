"""How values stand in tables and on pages."""

import re
from datetime import UTC, datetime
from pathlib import Path

import pytest

from tumblehome.wording import CAUTIONS, NOTHING, measured, shown


@pytest.mark.parametrize(("value", "digits", "text"), [
    (1.25, 1, "1.2"), (1.0, 0, "1"), (7, 2, "7.00"), (-0.04, 1, "0.0"), (-0.06, 1, "-0.1"), ("night", None, "night"),
    (True, None, "yes"), (False, 2, "no"), (None, 1, NOTHING), (float("inf"), 1, NOTHING), (float("nan"), 0, NOTHING),
    (datetime(2027, 5, 18, 6, 30, 59, tzinfo=UTC), None, "2027-05-18 06:30Z"), (3, None, "3"),
])
def test_a_value_is_shown_as_a_person_reads_it(value, digits, text):
    assert shown(value, digits) == text


@pytest.mark.parametrize(("value", "digits", "unit", "text"), [
    (18334.4, 0, "s", "5:05:34"), (0.5, 1, "s", "0.5 s"), (25, 0, "s", "25 s"), (14438.0, 0, "mV", "14.44 V"),
    (150, 0, "mV", "150 mV"), (430.0, 1, "m", "430.0 m"), (2, 0, "", "2"),
    (None, 0, "s", NOTHING), (None, 1, "m", NOTHING)])
def test_a_measured_value_has_its_unit_and_many_seconds_are_a_clock(value, digits, unit, text):
    assert measured(value, digits, unit) == text


def test_what_is_said_before_something_moves_stands_in_the_hardware_notes():
    notes = (Path(__file__).parents[2] / "hw_notes" / "cautions.md").read_text(encoding="utf-8").replace("**", "")
    for sentence in CAUTIONS.values():
        for part in re.split(r"[:;.] ?", sentence):
            assert part.strip() in notes, part
