"""What the handbook says of materials, and what it says to those who write a name that it does not know."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seatrial.handbook.materials import MATERIALS, density_kg_m3, nearest_names, weight_left_fraction


@pytest.mark.parametrize("name", MATERIALS)
def test_the_likely_density_of_a_material_lies_within_its_range_and_has_a_source(name):
    material = MATERIALS[name]
    assert material.low_kg_m3 <= material.likely_kg_m3 <= material.high_kg_m3
    assert material.low_kg_m3 < material.high_kg_m3
    assert material.source


@pytest.mark.parametrize("name", MATERIALS)
def test_a_material_has_all_three_numbers_of_strength_or_none(name):
    material = MATERIALS[name]
    given_numbers = [number is not None for number in (material.youngs_gpa, material.poisson, material.strength_mpa)]
    assert all(given_numbers) or not any(given_numbers)
    if all(given_numbers):
        assert 0.0 < material.poisson < 0.5
        assert material.strength_mpa < 1000.0 * material.youngs_gpa / 20.0, "no plain solid stretches by 5 % and holds"


def test_compression_holds_more_than_tension_where_both_are_told():
    both = [material for material in MATERIALS.values() if material.compressive_mpa is not None]
    assert both
    assert all(material.compressive_mpa > material.strength_mpa for material in both)


def test_what_floats_and_what_sinks_in_the_sea_is_on_the_right_side():
    floats = {name for name, material in MATERIALS.items() if material.likely_kg_m3 < 1025.0}
    assert floats == {name for name in MATERIALS if "foam" in name} | {
        "polyethylene", "polypropylene", "polypropylene_rope", "wood"}


def test_a_foam_that_has_no_business_at_depth_says_so():
    assert "not for depth" in MATERIALS["polyurethane_foam"].note
    assert "weigh it wet" in MATERIALS["brick"].note


def test_the_compressibility_of_a_solid_without_stiffness_is_not_made_up():
    assert MATERIALS["brick"].compressibility_per_mpa is None
    assert MATERIALS["acrylic"].compressibility_per_mpa == pytest.approx(3.0 * (1.0 - 0.74) / 2760.0)


@pytest.mark.parametrize(
    ("written", "meant"),
    [("pom", "acetal"), ("Stainless Steel", "stainless_steel"), ("stainles", "stainless_steel"),
     ("aluminum", "aluminium"), ("pmma", "acrylic"), ("concret", "concrete"), ("syntactic-foam-4000m",
                                                                                "syntactic_foam_4000m")])
def test_a_name_that_is_nearly_right_leads_to_the_material(written, meant):
    assert nearest_names(written)[0] == meant
    with pytest.raises(ValueError, match=meant) as raised:
        density_kg_m3(written)
    assert '"%s"' % written in str(raised.value)


def test_a_name_like_nothing_known_gets_the_whole_list_and_the_way_out():
    with pytest.raises(ValueError, match="density_kg_m3 of the part") as raised:
        density_kg_m3("qqq")
    assert all(name in str(raised.value) for name in MATERIALS)
    assert nearest_names("") == []


def test_a_known_name_gives_its_likely_density():
    assert density_kg_m3("steel") == MATERIALS["steel"].likely_kg_m3


@settings(max_examples=50)
@given(st.floats(900.0, 20000.0), st.floats(1.001, 1.5), st.floats(1000.0, 1060.0))
def test_a_denser_ballast_keeps_more_of_its_weight_and_a_denser_sea_leaves_less(density, factor, water):
    assert weight_left_fraction(density * factor, water) > weight_left_fraction(density, water)
    assert weight_left_fraction(density, water * factor) < weight_left_fraction(density, water)


def test_a_solid_as_dense_as_the_sea_weighs_nothing_in_it():
    assert weight_left_fraction(1029.0, 1029.0) == 0.0


@pytest.mark.parametrize("densities", [(0.0, 1029.0), (7850.0, -1.0), (float("nan"), 1029.0)])
def test_a_density_that_cannot_be_is_refused(densities):
    with pytest.raises(ValueError, match="allowed is more than 0"):
        weight_left_fraction(*densities)
