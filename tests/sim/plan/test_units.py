"""Units as they end the keys of a plan."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from seatrial.plan import UNITS, symbol_of, unit_of

PLAIN = {name: unit for name, unit in UNITS.items() if unit.size}
PAIRS = [(one, other) for one, first in PLAIN.items() for other, second in PLAIN.items()
         if first.quantity == second.quantity]


@pytest.mark.parametrize(("one", "other"), PAIRS)
@given(value=st.floats(-1e6, 1e6))
def test_a_value_survives_the_way_to_another_unit_and_back(one, other, value):
    there = value * PLAIN[one].size / PLAIN[other].size
    assert there * PLAIN[other].size / PLAIN[one].size == pytest.approx(value, rel=1e-12, abs=1e-12)


@pytest.mark.parametrize(("one", "value", "other", "expected"), [
    # exact by definition: the international foot, inch and pound (1959), the nautical mile (1929), standard gravity
    ("ft", 1.0, "m", 0.3048), ("inch", 1.0, "mm", 25.4), ("lb", 1.0, "kg", 0.45359237), ("nm", 1.0, "m", 1852.0),
    ("fathoms", 1.0, "ft", 6.0), ("kgf", 1.0, "n", 9.80665), ("bar", 1.0, "kpa", 100.0), ("kn", 1.0, "km_h", 1.852),
    ("lbf", 1.0, "n", 4.4482216), ("psi", 1.0, "pa", 6894.757),
])
def test_a_unit_is_as_large_as_it_is_defined(one, value, other, expected):
    assert value * PLAIN[one].size / PLAIN[other].size == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize(("key", "unit", "symbol"), [
    ("depth_m", "m", "m"), ("speed_m_s", "m_s", "m/s"), ("sun_w_m2", "w_m2", "W/m2"), ("name", "", ""),
    ("attenuation_per_m", "per_m", "1/m"), ("compressibility_per_mpa", "per_mpa", "1/MPa"), ("hot_c", "c", "degC"),
    ("resistance_factor_at_0_c", "at_0_c", ""), ("hours", "hours", "h"),
])
def test_the_unit_of_a_key_is_its_longest_ending_that_is_one(key, unit, symbol):
    assert (unit_of(key), symbol_of(key)) == (unit, symbol)
