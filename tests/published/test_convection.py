"""Films and walls of a housing against libraries and textbook examples, the source beside each check."""

import pytest
from ht.conv_external import Nu_cylinder_Churchill_Bernstein
from ht.conv_free_immersed import Nu_horizontal_cylinder_Churchill_Chu

from seatrial.handbook import convection


@pytest.mark.parametrize("fluid", ["air", "seawater"])
@pytest.mark.parametrize(("diameter_m", "warmer_k"), [(0.05, 1.0), (0.1, 10.0), (0.3, 5.0)])
def test_the_film_of_free_convection_is_that_of_the_library(fluid, diameter_m, warmer_k):
    # Churchill and Chu 1975, as the library `ht` has it
    film = convection.FLUIDS[fluid](10 + warmer_k / 2)
    grashof = convection.GRAVITY_M_S2 * film.expansion_per_k * warmer_k * diameter_m**3 / film.viscosity_m2_s**2
    expected = Nu_horizontal_cylinder_Churchill_Chu(film.prandtl, grashof) * film.conductivity_w_mk / diameter_m
    assert convection.cylinder_w_m2k(fluid, diameter_m, 10 + warmer_k, 10) == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize("speed_m_s", [0.02, 0.3, 2.0])
def test_the_film_in_a_current_is_that_of_the_library(speed_m_s):
    # Churchill and Bernstein 1977, as the library `ht` has it
    film = convection.seawater(11.0)
    reynolds = speed_m_s * 0.12 / film.viscosity_m2_s
    expected = Nu_cylinder_Churchill_Bernstein(reynolds, film.prandtl) * film.conductivity_w_mk / 0.12
    assert convection.current_w_m2k("seawater", 0.12, 12, 10, speed_m_s) == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize(("fluid", "fluid_c", "warmer_k", "film_w_m2k"), [
    ("air", 15.0, 2.0, 2.46), ("air", 15.0, 10.0, 3.83), ("fresh_water", 10.0, 0.5, 135.0),
    ("fresh_water", 10.0, 2.0, 204.0)])
def test_the_film_with_its_properties_is_near_that_of_another_library(fluid, fluid_c, warmer_k, film_w_m2k):
    # a worked value: `ht` with CoolProp's properties at the temperature of the fluid and not of the film, 0.1 m; near
    # 10 degC water expands by a tenth more for each degree, so the last differs most
    found = convection.cylinder_w_m2k(fluid, 0.1, fluid_c + warmer_k, fluid_c)
    assert found == pytest.approx(film_w_m2k, rel=0.045)


def test_acrylic_stops_heat_a_thousand_times_as_well_as_aluminium():
    # worked values: acrylic 44.5/50.8 mm radius, 0.3 m, 0.2 W/mK: 0.351 K/W; aluminium 48/52 mm, 167 W/mK: 2.54e-4
    acrylic = convection.tube_wall_k_w(89.0, 101.6, 300.0, 0.2)
    aluminium = convection.tube_wall_k_w(96.0, 104.0, 300.0, 167.0)
    assert acrylic == pytest.approx(0.351, abs=1e-3)
    assert aluminium == pytest.approx(2.543e-4, rel=1e-3)


def test_the_still_air_inside_rules_and_not_the_wall():
    # a worked example: 5 W in that acrylic tube, films of 4 and 150 W/m2K: 14.9, 1.76 and 0.35 K
    inner = 5 * convection.film_k_w(4.0, 89.0, 300.0)
    wall = 5 * convection.tube_wall_k_w(89.0, 101.6, 300.0, 0.2)
    outer = 5 * convection.film_k_w(150.0, 101.6, 300.0)
    assert (inner, wall, outer) == pytest.approx((14.9, 1.76, 0.35), abs=0.1)


def test_the_properties_of_seawater_at_10_degrees_are_published_ones():
    # IAPWS-08 by the library iapws: 0.575 W/mK at salinity 35 and 10 degC; 3.991 kJ/kgK
    sea = convection.seawater(10.0)
    assert sea.conductivity_w_mk == pytest.approx(0.575, abs=1e-3)
    heat_j_kg_k = sea.prandtl * sea.conductivity_w_mk / sea.viscosity_m2_s / 1026.95
    assert heat_j_kg_k == pytest.approx(3991, rel=2e-3)


def test_conductivities_are_those_of_the_standard():
    # EN ISO 10456: acrylic 0.18, aluminium alloys 160, steel 50, stainless steel 17 W/mK
    found = [convection.CONDUCTIVITY_W_MK[name] for name in ("acrylic", "aluminium", "steel", "stainless_steel")]
    assert found == [0.18, 160.0, 50.0, 17.0]


def test_a_black_plate_radiates_by_stefan_and_boltzmann():
    # textbook value, from memory: a black body near 300 K exchanges 6.1 W/m2K with surroundings of the same temperature
    assert convection.radiation_w_m2k(1.0, 26.85, 26.85) == pytest.approx(4 * 5.670374e-8 * 300**3, rel=1e-6)


def test_the_films_lie_in_the_ranges_of_the_handbook():
    # Incropera, table 1.1, from memory: free gases 2 to 25, free liquids 50 to 1000, forced liquids 100 to 20 000
    assert 2 <= convection.cylinder_w_m2k("air", 0.12, 25, 15) <= 25
    assert 50 <= convection.cylinder_w_m2k("seawater", 0.12, 12, 10) <= 1000
    assert 100 <= convection.current_w_m2k("seawater", 0.12, 12, 10, 0.5) <= 20000
