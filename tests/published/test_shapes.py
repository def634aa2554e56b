"""Drag and added mass of simple bodies, and the viscosity of seawater, against handbooks."""

from math import pi

import gsw
import pytest
from scipy.integrate import quad

from seatrial.handbook.shapes import (
    added_mass_kg,
    drag_band,
    drag_coefficient,
    frontal_area_m2,
    kinematic_viscosity_m2_s,
    spheroid_added_mass,
    volume_m3,
)


@pytest.mark.published(
    "memory", ids="2.1", tolerance="10 %",
    source="White, Fluid Mechanics, table 7.3: 0.47 for 1e4 to 2e5, from memory")
@pytest.mark.parametrize("reynolds", [5e4, 1e5, 1.5e5])
def test_a_sphere_has_the_drag_of_the_handbook(reynolds):
    assert drag_coefficient("sphere", reynolds) == pytest.approx(0.47, rel=0.10)


@pytest.mark.published("memory", ids="2.1", source="White, table 7.3: 0.2, from memory", tolerance="10 %")
def test_a_sphere_with_a_turbulent_boundary_layer_has_the_drag_of_the_handbook_within_the_band():
    for reynolds in (3e5, 5e5, 1e6, 2e6):
        low, _, high = drag_band("sphere", reynolds)
        assert low < 0.2 < high
    assert drag_coefficient("sphere", 1e6) == pytest.approx(0.2, rel=0.10)


@pytest.mark.published("memory", source="Stokes 1851: 24 / Re (from memory)", tolerance="1 %")
def test_a_creeping_sphere_obeys_stokes():
    assert drag_coefficient("sphere", 0.005) == pytest.approx(4800.0, rel=0.01)


@pytest.mark.published(
    "printed", ids="2.1a, 2.1b, 2.1c", tolerance="0.1 %",
    source="Aeronautical Engineer's Data Book, fig. 5.13")
@pytest.mark.parametrize(
    ("shape", "length_over_width", "coefficient"),
    [("cylinder_along", 1.0, 0.91), ("cylinder_along", 2.0, 0.85), ("cylinder_along", 4.0, 0.87),
     ("cylinder_along", 7.0, 0.99),
     ("cylinder_across", 1.0, 0.63), ("cylinder_across", 2.0, 0.68), ("cylinder_across", 5.0, 0.74),
     ("cylinder_across", 10.0, 0.82), ("cylinder_across", 40.0, 0.98), ("cylinder_across", 1e9, 1.20),
     ("plate", 1.0, 1.17)])
def test_a_body_has_the_drag_of_the_data_book(shape, length_over_width, coefficient):
    assert drag_coefficient(shape, 1e5, length_over_width) == pytest.approx(coefficient, rel=1e-3)


@pytest.mark.published(
    "memory", ids="2.1a, 2.1d", tolerance="10 %",
    source="White, Fluid Mechanics, table 7.3, from memory, where it differs from the data book by no more than 10 %")
@pytest.mark.parametrize(
    ("shape", "length_over_width", "coefficient"),
    [("cylinder_along", 0.5, 1.15), ("cylinder_along", 1.0, 0.90), ("cylinder_along", 2.0, 0.85),
     ("cylinder_along", 4.0, 0.87), ("cylinder_along", 8.0, 0.99),
     ("cylinder_across", 1.0, 0.64), ("cylinder_across", 2.0, 0.68), ("cylinder_across", 5.0, 0.74),
     ("cylinder_across", 10.0, 0.82), ("cylinder_across", 20.0, 0.91), ("cylinder_across", 1e9, 1.20),
     ("plate", 1.0, 1.18), ("plate", 5.0, 1.2), ("plate", 10.0, 1.3), ("plate", 20.0, 1.5), ("plate", 1e9, 2.0),
     ("disc", 1.0, 1.17), ("box", 1.0, 1.07),
     ("ellipsoid_along", 1.0, 0.47), ("ellipsoid_along", 2.0, 0.27), ("ellipsoid_along", 4.0, 0.25),
     ("ellipsoid_along", 8.0, 0.20)])
def test_a_body_has_the_drag_of_whites_table(shape, length_over_width, coefficient):
    assert drag_coefficient(shape, 1e5, length_over_width) == pytest.approx(coefficient, rel=0.10)


@pytest.mark.published("memory", ids="2.1d", source="White, table 7.3, from memory", tolerance="10 %")
@pytest.mark.parametrize(("length_over_width", "coefficient"), [(2.0, 0.13), (4.0, 0.10), (8.0, 0.08)])
def test_an_ellipsoid_with_a_turbulent_boundary_layer_has_the_drag_of_whites_table(length_over_width, coefficient):
    assert drag_coefficient("ellipsoid_along", 5e6, length_over_width) == pytest.approx(coefficient, rel=0.10)


@pytest.mark.published(
    "memory", tolerance="10 %, 20 % where it falls",
    source="The usual curve of a long circular cylinder (Wieselsberger; Schlichting, Boundary-Layer Theory), read "
           "off, and Roshko, J. Fluid Mech. 10 (1961), 0.7 from 3.5e6 up; from memory")
@pytest.mark.parametrize(
    ("reynolds", "coefficient", "within"),
    [(10.0, 2.8, 0.1), (100.0, 1.4, 0.1), (1e3, 1.0, 0.1), (1e4, 1.1, 0.1), (1e5, 1.2, 0.1), (5e5, 0.3, 0.2),
     (3.5e6, 0.7, 0.1)])
def test_a_long_cylinder_across_the_flow_follows_the_usual_curve(reynolds, coefficient, within):
    assert drag_coefficient("cylinder_across", reynolds, 1e9) == pytest.approx(coefficient, rel=within)


def lamb_integral(length_over_width):
    """Lamb, Hydrodynamics, art. 114: alpha_0 of an ellipsoid with semi-axes a (along), b, b, by its integral."""
    a = length_over_width
    return a * quad(lambda t: (a * a + t) ** -1.5 / (1.0 + t), 0.0, float("inf"))[0]


@pytest.mark.published(
    "memory", ids="2.7", tolerance="6e-4",
    source="Lamb, Hydrodynamics, art. 114 and 115, prolate spheroids; DNV-RP-C205 appendix D (cited from memory)")
@pytest.mark.parametrize(
    ("ratio", "along", "across"),
    [(1.0, 0.500, 0.500), (2.0, 0.210, 0.704), (4.0, 0.082, 0.860), (6.0, 0.045, 0.917), (10.0, 0.021, 0.960)])
def test_an_ellipsoid_takes_along_the_water_of_lambs_table(ratio, along, across):
    assert spheroid_added_mass(ratio) == pytest.approx((along, across), abs=6e-4)
    assert added_mass_kg("ellipsoid_along", 1.0, ratio, 1000.0) == pytest.approx(
        1000.0 * along * pi / 6.0 * ratio, rel=0.02)


@pytest.mark.published(
    "worked", ids="2.7", tolerance="1e-6",
    source="Lamb, Hydrodynamics, art. 114, his integral by SciPy")
@pytest.mark.parametrize("ratio", [0.1, 0.5, 0.9, 1.1, 3.0, 8.0])
def test_the_closed_form_for_an_ellipsoid_is_lambs_integral_long_or_flat(ratio):
    alpha = lamb_integral(ratio)
    assert spheroid_added_mass(ratio)[0] == pytest.approx(alpha / (2.0 - alpha), rel=1e-6)


@pytest.mark.published(
    "memory", ids="2.8", tolerance="1e-6",
    source="Lamb, art. 92 and 102; DNV-RP-C205 table D-2 (cited from memory)")
def test_a_sphere_takes_half_its_water_along_and_a_disc_eight_thirds_of_its_radius_cubed():
    assert added_mass_kg("sphere", 0.4, None, 1025.0) == pytest.approx(0.5 * 1025.0 * 4.0 / 3.0 * pi * 0.2**3)
    assert added_mass_kg("disc", 0.4, None, 1025.0) == pytest.approx(2.0 / pi * 1025.0 * 4.0 / 3.0 * pi * 0.2**3)


@pytest.mark.published(
    "memory", ids="2.8a", tolerance="5 %",
    source="DNV-RP-C205 tables D-1 and D-2, from memory: coefficients on the volume")
@pytest.mark.parametrize(
    ("shape", "ratio", "coefficient"),
    [("cylinder_across", 1e6, 1.00), ("cylinder_across", 9.0, 0.96), ("cylinder_across", 5.0, 0.90),
     ("cylinder_across", 2.5, 0.78), ("cylinder_across", 1.2, 0.62),
     ("box", 1.0, 0.68), ("box", 2.0, 0.36), ("box", 3.0, 0.24), ("box", 4.0, 0.19), ("box", 5.0, 0.15),
     ("box", 6.0, 0.13), ("box", 10.0, 0.08)])
def test_a_body_takes_along_the_water_of_the_recommended_practice(shape, ratio, coefficient):
    water_kg = 1025.0 * volume_m3(shape, 0.3, 0.3 * ratio)
    assert added_mass_kg(shape, 0.3, 0.3 * ratio, 1025.0) == pytest.approx(coefficient * water_kg, rel=0.05)


# The same, table D-2, rectangular plates: on pi/4 times the short side squared times the long side; from memory
@pytest.mark.published("memory", source="DNV-RP-C205 table D-2, rectangular plates (from memory)", tolerance="2 %")
@pytest.mark.parametrize(
    ("ratio", "coefficient"),
    [(1.0, 0.579), (1.5, 0.690), (2.0, 0.757), (3.0, 0.830), (4.0, 0.872), (5.0, 0.897), (8.0, 0.934), (10.0, 0.947)])
def test_a_plate_takes_along_the_water_of_the_recommended_practice(ratio, coefficient):
    reference_kg = 1025.0 * 0.25 * pi * 0.2**2 * 0.2 * ratio
    assert added_mass_kg("plate", 0.2, 0.2 * ratio, 1025.0) == pytest.approx(coefficient * reference_kg, rel=0.02)


@pytest.mark.published(
    "memory", tolerance="0.2 %",
    source="ITTC Recommended Procedures 7.5-02-01-03, fresh water and seawater of standard composition, from memory")
@pytest.mark.parametrize(
    ("temperature_c", "absolute_salinity_g_kg", "viscosity_m2_s"),
    [(15.0, 35.16504, 1.1883e-6), (15.0, 0.0, 1.1390e-6), (20.0, 0.0, 1.0034e-6)])
def test_the_sea_has_the_viscosity_that_towing_tanks_use(temperature_c, absolute_salinity_g_kg, viscosity_m2_s):
    salinity_psu = float(gsw.SP_from_SR(absolute_salinity_g_kg))
    assert kinematic_viscosity_m2_s(temperature_c, salinity_psu) == pytest.approx(viscosity_m2_s, rel=0.002)


@pytest.mark.published(
    "library", ids="2.5", tolerance="0.1 %",
    source="the library `fluids`, v_terminal, with the viscosity of the sea at 8 degC: the same sphere from both "
           "sides")
def test_a_steel_ball_sinks_at_the_speed_that_the_library_finds():
    from fluids.drag import v_terminal

    viscosity = kinematic_viscosity_m2_s(8.0, 35.0)
    found = v_terminal(D=0.05, rhop=7850.0, rho=1029.0, mu=viscosity * 1029.0)
    coefficient = drag_coefficient("sphere", found * 0.05 / viscosity)
    weight_n = 9.80665 * (7850.0 - 1029.0) * volume_m3("sphere", 0.05)
    assert (2.0 * weight_n / (1029.0 * coefficient * frontal_area_m2("sphere", 0.05))) ** 0.5 == pytest.approx(found, rel=1e-3)


@pytest.mark.published(
    "printed", ids="2.2", tolerance="1 %",
    source="documentation of the library `fluids`, v_terminal: 0.0041425 m/s for a grain of 70 um in water")
def test_a_grain_of_sand_sinks_as_slowly_as_the_library_prints():
    width_m, printed_m_s, water_kg_m3, viscosity_m2_s = 70e-6, 0.004142497244531304, 1000.0, 1e-6
    weight_n = 9.80665 * (2600.0 - water_kg_m3) * volume_m3("sphere", width_m)
    coefficient = drag_coefficient("sphere", printed_m_s * width_m / viscosity_m2_s)
    drag_n = 0.5 * water_kg_m3 * coefficient * frontal_area_m2("sphere", width_m) * printed_m_s**2
    assert drag_n == pytest.approx(weight_n, rel=0.01)
