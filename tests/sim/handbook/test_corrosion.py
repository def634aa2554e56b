"""Metal in the water: bounds keep their order, and nothing impossible is taken."""

from math import inf

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seatrial.handbook.corrosion import (
    ANODES,
    EQUIVALENT_WEIGHTS_304,
    anode_capacity_ah_kg,
    equivalent_weight,
    galvanic_rate_bounds,
    link_life_bounds_h,
    penetration_mm_year,
    theoretical_capacity_ah_kg,
    wire_parting_range_s,
)
from seatrial.mechanisms import dissolved_mg, wire_mg

temperatures = st.floats(-2.0, 40.0)
salinities = st.floats(2.0, 42.0)


@settings(max_examples=50)
@given(st.floats(0.1, 5.0), st.floats(1.0, 50.0), st.floats(50.0, 5000.0), st.floats(0.1, 1.0))
def test_the_handbook_and_the_simulated_wire_part_in_the_same_time(diameter_mm, length_mm, current_ma, efficiency):
    weight = EQUIVALENT_WEIGHTS_304["iron 2, chromium 3"]
    shortest, longest = wire_parting_range_s(diameter_mm, length_mm, current_ma, 7940.0, efficiency, (weight,))
    in_a_second = efficiency * dissolved_mg(0.001 * current_ma, weight)
    assert shortest == longest == pytest.approx(wire_mg(diameter_mm, length_mm, 7940.0) / in_a_second)


def test_half_the_current_or_half_the_efficiency_takes_twice_the_time():
    once = wire_parting_range_s(0.8, 5.0, 1000.0)
    assert wire_parting_range_s(0.8, 5.0, 500.0) == pytest.approx((2 * once[0], 2 * once[1]))
    assert wire_parting_range_s(0.8, 5.0, 1000.0, efficiency_fraction=0.5) == pytest.approx((2 * once[0], 2 * once[1]))
    assert wire_parting_range_s(1.6, 5.0, 1000.0) == pytest.approx((4 * once[0], 4 * once[1]))


def test_the_equivalent_weight_of_a_pure_metal_is_its_mass_by_its_valence():
    assert equivalent_weight(((1.0, 65.38, 2),)) == pytest.approx(32.69)


@pytest.mark.parametrize("metal", ANODES)
def test_no_anode_gives_more_than_every_ion_of_it(metal):
    anode = ANODES[metal]
    assert 0.4 < anode_capacity_ah_kg(metal) / theoretical_capacity_ah_kg(anode.atomic_mass, anode.valence) < 1.0


@settings(max_examples=50)
@given(temperatures, temperatures, salinities)
def test_warmer_is_faster_by_both_bounds_and_the_way_back_is_the_inverse(from_c, to_c, salinity):
    slowest, fastest = galvanic_rate_bounds(from_c, to_c, salinity)
    assert slowest <= fastest
    back_slowest, back_fastest = galvanic_rate_bounds(to_c, from_c, salinity)
    assert (1.0 / back_fastest, 1.0 / back_slowest) == pytest.approx((slowest, fastest), rel=1e-9)
    if to_c > from_c + 0.01:
        assert slowest > 1.0
    if to_c < from_c - 0.01:
        assert fastest < 1.0


def test_water_of_the_same_temperature_changes_nothing():
    assert galvanic_rate_bounds(12.0, 12.0, 35.0) == (1.0, 1.0)
    assert link_life_bounds_h(30.0, 72.0, 12.0, 12.0, own_soak=True) == (30.0, 72.0)


@settings(max_examples=50)
@given(st.floats(1.0, 50.0), st.floats(1.0, 4.0), temperatures, temperatures, salinities)
def test_a_link_that_its_user_did_not_soak_is_doubted_more(low, factor, soaked_c, water_c, salinity):
    own = link_life_bounds_h(low, low * factor, soaked_c, water_c, salinity, own_soak=True)
    other = link_life_bounds_h(low, low * factor, soaked_c, water_c, salinity)
    assert other == pytest.approx((0.5 * own[0], 1.5 * own[1]))
    assert own[0] <= own[1]


def test_a_colder_sea_never_makes_a_link_earlier_than_its_soak():
    earliest, latest = link_life_bounds_h(30.0, 72.0, 20.0, 4.0, own_soak=True)
    assert earliest > 30.0 and latest > 72.0
    warm_earliest, warm_latest = link_life_bounds_h(30.0, 72.0, 4.0, 20.0, own_soak=True)
    assert warm_earliest < 30.0 and warm_latest < 72.0


def test_penetration_is_in_proportion_to_the_current_and_none_without():
    assert penetration_mm_year(0.0, 27.92, 7870.0) == 0.0
    assert penetration_mm_year(20.0, 27.92, 7870.0) == pytest.approx(2.0 * penetration_mm_year(10.0, 27.92, 7870.0))


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: wire_parting_range_s(0.0, 5.0, 1000.0), "diameter_mm is 0"),
        (lambda: wire_parting_range_s(0.8, -5.0, 1000.0), "length_mm is -5"),
        (lambda: wire_parting_range_s(0.8, 5.0, 0.0), "current_ma is 0"),
        (lambda: wire_parting_range_s(0.8, 5.0, 1000.0, efficiency_fraction=1.2), "efficiency_fraction is 1.2"),
        (lambda: wire_parting_range_s(0.8, 5.0, 1000.0, equivalent_weights=()), "equivalent_weights is"),
        (lambda: equivalent_weight(()), "parts is"),
        (lambda: equivalent_weight(((0.5, 55.8, 0),)), "leave out elements"),
        (lambda: theoretical_capacity_ah_kg(0.0, 2), "atomic_mass is 0"),
        (lambda: anode_capacity_ah_kg("gold"), 'metal is "gold"; allowed is zinc'),
        (lambda: penetration_mm_year(-1.0, 27.9, 7870.0), "current_density_ua_cm2 is -1"),
        (lambda: galvanic_rate_bounds(-3.0, 4.0, 35.0), "temperature_from_c is -3; allowed is -2 to 40"),
        (lambda: galvanic_rate_bounds(20.0, 4.0, 0.0), "salinity_psu is 0; allowed is 2 to 42"),
        (lambda: link_life_bounds_h(72.0, 30.0, 20.0, 4.0), "swap them"),
        (lambda: link_life_bounds_h(1.0, inf, 20.0, 4.0), "soaked_h_high is inf"),
    ])
def test_what_cannot_be_is_refused_in_one_sentence_with_the_value(call, says):
    with pytest.raises(ValueError, match=says):
        call()
