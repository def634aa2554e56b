"""How values stand in tables and on pages."""

from datetime import UTC, datetime

import pytest

from tumblehome.wording import NOTHING, shown


@pytest.mark.parametrize(("value", "digits", "text"), [
    (1.25, 1, "1.2"), (1.0, 0, "1"), (7, 2, "7.00"), (-0.04, 1, "0.0"), (-0.06, 1, "-0.1"), ("night", None, "night"),
    (True, None, "yes"), (False, 2, "no"), (None, 1, NOTHING), (float("inf"), 1, NOTHING), (float("nan"), 0, NOTHING),
    (datetime(2027, 5, 18, 6, 30, 59, tzinfo=UTC), None, "2027-05-18 06:30Z"), (3, None, "3"),
])
def test_a_value_is_shown_as_a_person_reads_it(value, digits, text):
    assert shown(value, digits) == text
