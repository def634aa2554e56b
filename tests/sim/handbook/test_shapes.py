"""Simple bodies in the flow: nothing jumps where it should not, nothing impossible is taken."""

from math import inf, nan, pi

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seatrial.handbook.shapes import (
    SHAPES,
    added_mass_kg,
    drag_band,
    drag_coefficient,
    frontal_area_m2,
    in_drag_crisis,
    kinematic_viscosity_m2_s,
    needs_length,
    reynolds_number,
    spheroid_added_mass,
    volume_m3,
)

WITH_LENGTH = [shape for shape in SHAPES if needs_length(shape)]
ratios = st.floats(0.02, 60.0)
reynolds_numbers = st.floats(1.0, 1e7)


def test_area_and_volume_are_those_of_the_plain_bodies():
    # geometry, no source; 2 m wide and 3 m long
    assert frontal_area_m2("sphere", 2.0) == frontal_area_m2("disc", 2.0) == pytest.approx(pi)
    assert frontal_area_m2("cylinder_along", 2.0, 3.0) == frontal_area_m2("ellipsoid_along", 2.0, 3.0) == pytest.approx(pi)
    assert frontal_area_m2("cylinder_across", 2.0, 3.0) == frontal_area_m2("plate", 2.0, 3.0) == 6.0
    assert frontal_area_m2("box", 2.0, 3.0) == 4.0
    assert volume_m3("sphere", 2.0) == pytest.approx(4.0 / 3.0 * pi)
    assert volume_m3("ellipsoid_along", 2.0, 3.0) == pytest.approx(2.0 * pi)
    assert volume_m3("cylinder_along", 2.0, 3.0) == volume_m3("cylinder_across", 2.0, 3.0) == pytest.approx(3.0 * pi)
    assert volume_m3("box", 2.0, 3.0) == 12.0
    assert volume_m3("plate", 2.0, 3.0) == volume_m3("disc", 2.0) == 0.0


@pytest.mark.parametrize("shape", SHAPES)
@settings(max_examples=40)
@given(reynolds=reynolds_numbers, ratio=ratios)
def test_the_band_of_a_drag_coefficient_holds_the_likely_one(shape, reynolds, ratio):
    low, likely, high = drag_band(shape, reynolds, ratio)
    assert 0.0 < low < likely < high
    assert likely == drag_coefficient(shape, reynolds, ratio)


@pytest.mark.parametrize("shape", SHAPES)
@settings(max_examples=40)
@given(reynolds=st.floats(1e3, 5e6), ratio=ratios)
def test_a_drag_coefficient_never_jumps(shape, reynolds, ratio):
    here = drag_coefficient(shape, reynolds, ratio)
    assert drag_coefficient(shape, reynolds * 1.0001, ratio) == pytest.approx(here, rel=3e-3)
    assert drag_coefficient(shape, reynolds, ratio * 1.0001) == pytest.approx(here, rel=3e-3)


@pytest.mark.parametrize("shape", ["sphere", "cylinder_across"])
def test_a_round_body_loses_most_of_its_drag_in_the_crisis_and_the_band_knows_both_ends(shape):
    before, inside, after = (drag_band(shape, reynolds) for reynolds in (1e5, 3e5, 6e5))
    assert after[1] < 0.4 * before[1]
    assert in_drag_crisis(shape, 3e5) and not in_drag_crisis(shape, 1e5) and not in_drag_crisis(shape, 6e5)
    assert inside[0] < after[1] * 1.05
    assert inside[2] > before[1]


@pytest.mark.parametrize("shape", ["cylinder_along", "box", "plate", "disc"])
def test_bodies_with_edges_have_no_crisis_and_are_doubted_when_they_are_slow(shape):
    assert drag_coefficient(shape, 1e4) == drag_coefficient(shape, 1e6)
    assert not in_drag_crisis(shape, 3e5)
    assert drag_band(shape, 100.0)[2] == pytest.approx(2.0 * drag_band(shape, 1e4)[2])


def test_a_plate_is_the_same_plate_whichever_side_is_called_its_width():
    assert drag_coefficient("plate", 1e4, 5.0) == pytest.approx(drag_coefficient("plate", 1e4, 0.2))
    assert added_mass_kg("plate", 0.2, 1.0, 1025.0) == added_mass_kg("plate", 1.0, 0.2, 1025.0)


@pytest.mark.parametrize("shape", SHAPES)
@settings(max_examples=40)
@given(width=st.floats(0.01, 2.0), ratio=ratios, scale=st.floats(1.01, 3.0))
def test_a_body_twice_as_large_takes_eight_times_the_water_along(shape, width, ratio, scale):
    small = added_mass_kg(shape, width, width * ratio, 1025.0)
    assert small > 0.0
    assert added_mass_kg(shape, width * scale, width * ratio * scale, 1025.0) == pytest.approx(small * scale**3)
    assert added_mass_kg(shape, width, width * ratio, 2050.0) == pytest.approx(2.0 * small)


@pytest.mark.parametrize("shape", [shape for shape in WITH_LENGTH if shape != "ellipsoid_along"])  # that one gets slimmer
@settings(max_examples=40)
@given(ratio=ratios)
def test_a_longer_body_never_takes_less_water_along(shape, ratio):
    assert added_mass_kg(shape, 1.0, ratio * 1.05, 1025.0) >= added_mass_kg(shape, 1.0, ratio, 1025.0) * (1.0 - 1e-9)


@pytest.mark.parametrize("shape", ["ellipsoid_along", "cylinder_along"])
def test_a_body_flattened_to_nothing_is_a_disc(shape):
    assert added_mass_kg(shape, 1.0, 1e-7, 1025.0) == pytest.approx(added_mass_kg("disc", 1.0, None, 1025.0), rel=1e-5)
    assert drag_coefficient(shape, 1e4, 1e-7) == pytest.approx(drag_coefficient("disc", 1e4))


def test_a_flat_box_is_a_square_plate():
    assert added_mass_kg("box", 1.0, 1e-9, 1025.0) == pytest.approx(added_mass_kg("plate", 1.0, 1.0, 1025.0))
    assert drag_coefficient("box", 1e4, 1e-9) == pytest.approx(drag_coefficient("plate", 1e4, 1.0))


@settings(max_examples=50)
@given(st.floats(0.01, 50.0))
def test_the_added_mass_of_an_ellipsoid_is_continuous_through_the_sphere(ratio):
    along, across = spheroid_added_mass(ratio)
    longer_along, longer_across = spheroid_added_mass(ratio * 1.01)
    assert along > longer_along * (1.0 - 1e-4) and across < longer_across * (1.0 + 1e-4)
    for near in (0.99899, 0.99901, 1.00099, 1.00101):
        assert spheroid_added_mass(near) == pytest.approx((0.5, 0.5), abs=1e-3)


@settings(max_examples=40)
@given(st.floats(-2.0, 39.0), st.floats(0.0, 41.0))
def test_colder_and_saltier_water_is_stiffer(temperature_c, salinity_psu):
    here = kinematic_viscosity_m2_s(temperature_c, salinity_psu)
    assert kinematic_viscosity_m2_s(temperature_c + 1.0, salinity_psu) < here
    assert kinematic_viscosity_m2_s(temperature_c, salinity_psu + 1.0) > here


def test_the_reynolds_number_of_a_rise_is_that_of_a_fall():
    assert reynolds_number(-0.9, 0.236, 1.35e-6) == reynolds_number(0.9, 0.236, 1.35e-6) == pytest.approx(157333.3, abs=0.1)
    assert reynolds_number(0.0, 0.236, 1.35e-6) == 0.0


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: frontal_area_m2("teapot", 1.0), 'shape is "teapot"'),
        (lambda: drag_coefficient("teapot", 1e4), "allowed is sphere, ellipsoid_along"),
        (lambda: in_drag_crisis("teapot", 1e4), 'shape is "teapot"'),
        (lambda: needs_length("teapot"), 'shape is "teapot"'),
        (lambda: volume_m3("sphere", 0.0), "width_m is 0"),
        (lambda: frontal_area_m2("box", 1.0), "length_m is missing"),
        (lambda: frontal_area_m2("plate", 1.0, -2.0), "length_m is -2"),
        (lambda: drag_coefficient("sphere", 0.0), "reynolds is 0"),
        (lambda: drag_band("disc", nan), "reynolds is nan"),
        (lambda: drag_coefficient("box", 1e4, -1.0), "length_over_width is -1"),
        (lambda: added_mass_kg("sphere", 1.0, None, 0.0), "water_density_kg_m3 is 0"),
        (lambda: spheroid_added_mass(inf), "length_over_width is inf"),
        (lambda: reynolds_number(1.0, 1.0, 0.0), "kinematic_viscosity_m2_s is 0"),
        (lambda: kinematic_viscosity_m2_s(41.0, 35.0), "temperature_c is 41; allowed is -2 to 40"),
        (lambda: kinematic_viscosity_m2_s(10.0, 43.0), "salinity_psu is 43; allowed is 0 to 42"),
    ])
def test_what_cannot_be_is_refused_in_one_sentence_with_the_value(call, says):
    with pytest.raises(ValueError, match=says):
        call()
