"""Films and walls of a housing against libraries and textbook examples, the source beside each check."""

import pytest
from ht.conv_external import Nu_cylinder_Churchill_Bernstein
from ht.conv_free_immersed import Nu_horizontal_cylinder_Churchill_Chu
from ht.insulation import k_material, materials_dict

from seatrial.handbook import convection


@pytest.mark.published(
    "library", ids="12.2", tolerance="1e-6",
    source="Churchill and Chu 1975, as the library `ht` has it")
@pytest.mark.parametrize("fluid", ["air", "seawater"])
@pytest.mark.parametrize(("diameter_m", "warmer_k"), [(0.05, 1.0), (0.1, 10.0), (0.3, 5.0)])
def test_the_film_of_free_convection_is_that_of_the_library(fluid, diameter_m, warmer_k):
    film = convection.FLUIDS[fluid](10 + warmer_k / 2)
    grashof = convection.GRAVITY_M_S2 * film.expansion_per_k * warmer_k * diameter_m**3 / film.viscosity_m2_s**2
    expected = Nu_horizontal_cylinder_Churchill_Chu(film.prandtl, grashof) * film.conductivity_w_mk / diameter_m
    assert convection.cylinder_w_m2k(fluid, diameter_m, 10 + warmer_k, 10) == pytest.approx(expected, rel=1e-6)


@pytest.mark.published("library", source="Churchill and Bernstein 1977, as the library `ht` has it", tolerance="1e-6")
@pytest.mark.parametrize("speed_m_s", [0.02, 0.3, 2.0])
def test_the_film_in_a_current_is_that_of_the_library(speed_m_s):
    film = convection.seawater(11.0)
    reynolds = speed_m_s * 0.12 / film.viscosity_m2_s
    expected = Nu_cylinder_Churchill_Bernstein(reynolds, film.prandtl) * film.conductivity_w_mk / 0.12
    assert convection.current_w_m2k("seawater", 0.12, 12, 10, speed_m_s) == pytest.approx(expected, rel=1e-6)


@pytest.mark.published(
    "library", ids="12.2", tolerance="1 %",
    source="Churchill and Chu 1975 by `ht`, properties by CoolProp")
@pytest.mark.parametrize(("fluid", "fluid_c", "warmer_k", "film_w_m2k"), [
    ("air", 15.0, 2.0, 2.46), ("air", 15.0, 10.0, 3.83), ("fresh_water", 10.0, 0.5, 135.0),
    ("fresh_water", 10.0, 2.0, 204.0)])
def test_the_film_with_its_properties_is_that_of_two_other_libraries(fluid, fluid_c, warmer_k, film_w_m2k):
    # a worked value: Churchill and Chu 1975 by `ht`, CoolProp's properties at the temperature of the fluid, 0.1 m. The
    # mean of both temperatures is put there too: near 10 degC water expands by a tenth more for each degree
    found = convection.cylinder_w_m2k(fluid, 0.1, fluid_c + warmer_k / 2, fluid_c - warmer_k / 2)
    assert found == pytest.approx(film_w_m2k, rel=0.01)


@pytest.mark.published(
    "memory", tolerance="1e-4",
    source="US Standard Atmosphere 1976, 15 degC, printed values from memory: 1.4607e-5 m2/s, 0.025326 W/mK")
def test_air_is_that_of_the_standard_atmosphere_at_sea_level():
    air = convection.air(15.0)
    assert (air.viscosity_m2_s, air.conductivity_w_mk) == pytest.approx((1.4607e-5, 0.025326), rel=1e-4)


@pytest.mark.published(
    "memory", tolerance="0.5 %, 1 %",
    source="Incropera, table A.4, from memory: its densities are those of 1 bar, so its viscosities are 1.3 % above "
           "1 atm")
@pytest.mark.parametrize(("kelvin", "viscosity_m2_s", "conductivity_w_mk", "prandtl"), [
    (250.0, 11.44e-6, 0.0223, 0.720), (300.0, 15.89e-6, 0.0263, 0.707), (350.0, 20.92e-6, 0.0300, 0.700)])
def test_the_air_of_the_textbook_is_the_same_but_at_one_bar(kelvin, viscosity_m2_s, conductivity_w_mk, prandtl):
    air = convection.air(kelvin - 273.15)
    assert air.viscosity_m2_s * 1.01325 == pytest.approx(viscosity_m2_s, rel=0.005)
    assert air.conductivity_w_mk == pytest.approx(conductivity_w_mk, rel=0.01)
    assert air.prandtl == pytest.approx(prandtl, rel=0.01)


@pytest.mark.published(
    "memory", tolerance="1 %",
    source="CRC Handbook after Kell 1975, from memory. By Conservative Temperature it would be 5 % less")
@pytest.mark.parametrize(("temperature_c", "expansion_per_k"), [
    (0.0, -6.8e-5), (10.0, 8.80e-5), (20.0, 2.068e-4), (30.0, 3.032e-4)])
def test_the_expansion_of_fresh_water_is_by_its_temperature_in_the_water(temperature_c, expansion_per_k):
    assert convection.fresh_water(temperature_c).expansion_per_k == pytest.approx(expansion_per_k, rel=0.01)


@pytest.mark.published(
    "worked", ids="12.4", tolerance="0.001 K/W, 0.1 %",
    source="worked values: acrylic 44.5/50.8 mm radius, 0.3 m, 0.2 W/mK: 0.351 K/W; aluminium 48/52 mm, 167 W/mK: "
           "2.54e-4")
def test_acrylic_stops_heat_a_thousand_times_as_well_as_aluminium():
    acrylic = convection.tube_wall_k_w(89.0, 101.6, 300.0, 0.2)
    aluminium = convection.tube_wall_k_w(96.0, 104.0, 300.0, 167.0)
    assert acrylic == pytest.approx(0.351, abs=1e-3)
    assert aluminium == pytest.approx(2.543e-4, rel=1e-3)


@pytest.mark.published(
    "worked", ids="12.5", tolerance="0.02 K",
    source="a worked example: 5 W in that acrylic tube, films of 4 and 150 W/m2K: 14.9, 1.76 and 0.35 K")
def test_the_still_air_inside_rules_and_not_the_wall():
    inner = 5 * convection.film_k_w(4.0, 89.0, 300.0)
    wall = 5 * convection.tube_wall_k_w(89.0, 101.6, 300.0, 0.2)
    outer = 5 * convection.film_k_w(150.0, 101.6, 300.0)
    assert (inner, wall, outer) == pytest.approx((14.9, 1.76, 0.35), abs=0.01)
    whole_w_k = convection.housing_w_k(4.0, 89.0, 101.6, 300.0, 0.2, 150.0)
    assert 5 / whole_w_k == pytest.approx(14.9 + 1.76 + 0.35, abs=0.02)


@pytest.mark.published(
    "library", ids="12.7", tolerance="0.1 %",
    source="IAPWS-08 by the library iapws: 0.575 W/mK at salinity 35 and 10 degC; 3.991 kJ/kgK")
def test_the_properties_of_seawater_at_10_degrees_are_published_ones():
    sea = convection.seawater(10.0)
    assert sea.conductivity_w_mk == pytest.approx(0.575, abs=1e-3)
    heat_j_kg_k = sea.prandtl * sea.conductivity_w_mk / sea.viscosity_m2_s / 1026.95
    assert heat_j_kg_k == pytest.approx(3991, rel=1e-3)


@pytest.mark.published(
    "library", ids="12.3", tolerance="within the range",
    source="EN ISO 10456, table 3, as the library `ht` has it; names in full, it matches others loosely")
def test_conductivities_are_those_of_the_standard():
    standard = {
        "acrylic": "Plastics, polymethylmethacrylate (PMMA)", "polycarbonate": "Plastics, polycarbonates",
        "acetal": "Plastics, polyacetate", "pvc": "Plastics, Polyvinylchloride (PVC)",
        "nylon": "Plastics, polyamide (nylon)", "polypropylene": "Plastics, polypropylene",
        "polyethylene": "Plastics, polyethylene / polythene, high density", "aluminium": "Metals, aluminium alloys",
        "steel": "Metals, steel", "stainless_steel": "Metals, stainless steel", "cast_iron": "Metals, iron, cast",
        "copper": "Metals, copper", "brass": "Metals, brass", "bronze": "Metals, bronze",
        "soda_glass": "Glass, soda lime"}
    assert set(standard.values()) <= set(materials_dict)
    for name, in_full in standard.items():
        assert convection.CONDUCTIVITY_W_MK[name] == k_material(in_full), name
    assert convection.CONDUCTIVITY_W_MK["acrylic"] == 0.18 and convection.CONDUCTIVITY_W_MK["aluminium"] == 160.0


@pytest.mark.published(
    "memory", tolerance="1e-6",
    source="textbook value, from memory: a black body near 300 K exchanges 6.1 W/m2K with surroundings of the same "
           "temperature")
def test_a_black_plate_radiates_by_stefan_and_boltzmann():
    assert convection.radiation_w_m2k(1.0, 26.85, 26.85) == pytest.approx(4 * 5.670374e-8 * 300**3, rel=1e-6)


@pytest.mark.published(
    "memory", ids="12.0", tolerance="within the range",
    source="Incropera, table 1.1, from memory: free gases 2 to 25, free liquids 50 to 1000, forced liquids 100 to 20"
           " 000")
def test_the_films_lie_in_the_ranges_of_the_handbook():
    assert 2 <= convection.cylinder_w_m2k("air", 0.12, 25, 15) <= 25
    assert 50 <= convection.cylinder_w_m2k("seawater", 0.12, 12, 10) <= 1000
    assert 100 <= convection.current_w_m2k("seawater", 0.12, 12, 10, 0.5) <= 20000
