"""Wires, anodes and links against ASTM G102, Faraday's law, DNV-RP-B401 and the conductivity of seawater."""

import pytest
import scipy.constants
from periodictable import elements

from seatrial.handbook.corrosion import (
    ANODES,
    EQUIVALENT_WEIGHTS_304,
    FARADAY_C_MOL,
    anode_capacity_ah_kg,
    equivalent_weight,
    galvanic_rate_bounds,
    link_life_bounds_h,
    penetration_mm_year,
    theoretical_capacity_ah_kg,
    wire_parting_range_s,
)


@pytest.mark.published(
    "printed", ids="4.1", tolerance="1e-10",
    source="CODATA 2018 and 2022, through scipy.constants")
def test_the_faraday_constant_is_codata():
    assert pytest.approx(scipy.constants.value("Faraday constant"), rel=1e-10) == FARADAY_C_MOL


@pytest.mark.published(
    "memory", ids="4.3", tolerance="0.006",
    source="ASTM G102, table 1 and its worked example for type 304 (cited from memory)")
@pytest.mark.parametrize(
    ("valences", "published"),
    [("iron 2, chromium 3", 25.12), ("iron 3, chromium 3", 18.99), ("iron 3, chromium 6", 15.72)])
def test_stainless_steel_has_the_equivalent_weights_of_astm_g102(valences, published):
    assert EQUIVALENT_WEIGHTS_304[valences] == pytest.approx(published, abs=0.006)


@pytest.mark.published(
    "memory", ids="4.3a", tolerance="0.15",
    source="ASTM G102 prints 25.50 (from memory); 65.5 Fe, 17 Cr, 12 Ni, 2.5 Mo (valence 3) gives 26.2")
def test_the_equivalent_weight_of_316_in_astm_g102_is_not_that_of_its_usual_composition():
    parts = ((0.655, 55.845, 2), (0.17, 51.9961, 3), (0.12, 58.6934, 2), (0.025, 95.95, 3))
    assert equivalent_weight(parts) == pytest.approx(26.2, abs=0.15)
    assert equivalent_weight(parts) > 25.50 * 1.02


@pytest.mark.published(
    "worked", ids="4.4", tolerance="0.1 s",
    source="Faraday's law with the equivalent weights of ASTM G102; 0.8 mm by 5 mm, 7940 kg/m3, 1 A")
def test_the_unknown_valence_alone_makes_the_time_of_a_stainless_wire_uncertain_by_a_factor_of_one_point_six():
    shortest, longest = wire_parting_range_s(0.8, 5.0, 1000.0, 7940.0)
    assert shortest == pytest.approx(76.6, abs=0.1)
    assert longest == pytest.approx(122.5, abs=0.1)
    assert longest / shortest == pytest.approx(25.12 / 15.72, rel=1e-3)


@pytest.mark.published(
    "worked", ids="4.5", tolerance="0.1 s",
    source="mm by 5 mm at 0.5 A, iron of 7874 kg/m3 (CRC Handbook), Fe 2: 213.7 s")
def test_an_iron_wire_parts_in_the_time_of_faradays_law():
    assert wire_parting_range_s(1.0, 5.0, 500.0, 7874.0, 1.0, (55.845 / 2,)) == pytest.approx((213.7, 213.7), abs=0.1)


@pytest.mark.published(
    "memory", ids="4.6", tolerance="0.1 um/year",
    source="ASTM G102: 1 uA/cm2 on iron, zinc, magnesium (cited from memory)")
@pytest.mark.parametrize(
    ("symbol", "um_year"), [("Fe", 11.6), ("Zn", 15.0), ("Mg", 22.8)])
def test_a_microampere_eats_as_deep_in_a_year_as_astm_g102_says(symbol, um_year):
    element = elements.symbol(symbol)
    eaten = penetration_mm_year(1.0, element.mass / 2, 1000.0 * element.density)
    assert 1000.0 * eaten == pytest.approx(um_year, abs=0.1)


@pytest.mark.published(
    "memory", ids="4.6", tolerance="5e-4",
    source="ASTM G102, 3.27e-3 mm g / (uA cm year) (cited from memory)")
def test_the_constant_of_astm_g102_is_faradays_law_in_its_units():
    # a year of 365.25 days: 3.2707e-3 mm g / (uA cm year), printed as 3.27e-3
    by_law = 1e-6 * 365.25 * 86400.0 / scipy.constants.value("Faraday constant") * 10.0
    assert penetration_mm_year(1.0, 1.0, 1000.0) == pytest.approx(by_law, rel=5e-4)


@pytest.mark.published(
    "library", ids="4.2", tolerance="0.15 Ah/kg",
    source="Faraday's law with the standard atomic masses (library `periodictable`), as tabulated in handbooks")
@pytest.mark.parametrize(
    ("symbol", "valence", "ah_kg"),
    [("Fe", 2, 959.85), ("Mg", 2, 2205.4), ("Zn", 2, 819.87), ("Al", 3, 2980.0), ("Cr", 3, 1546.4), ("Ni", 2, 913.27)])
def test_a_kilogram_of_metal_gives_the_published_charge(symbol, valence, ah_kg):
    assert theoretical_capacity_ah_kg(elements.symbol(symbol).mass, valence) == pytest.approx(ah_kg, abs=0.15)


# DNV-RP-B401 table 10-6 design values 700 and 2000 Ah/kg; Baeckmann, Handbook of Cathodic Corrosion Protection, half
# of theory for magnesium, 1100 to 1230; all from memory. BS 7361: zinc 11.25 kg for an ampere and a year, about 90 %.
@pytest.mark.published(
    "memory", ids="4.7", tolerance="as each says",
    source="DNV-RP-B401 table 10-6; Baeckmann, Handbook of Cathodic Corrosion Protection (both from memory); BS 7361")
@pytest.mark.parametrize(
    ("metal", "share_of_theory", "within"), [("zinc", 0.854, 0.001), ("aluminium", 0.671, 0.001), ("magnesium", 0.5, 0.03)])
def test_an_anode_gives_the_share_of_theory_that_the_design_codes_allow(metal, share_of_theory, within):
    anode = ANODES[metal]
    theory = theoretical_capacity_ah_kg(anode.atomic_mass, anode.valence)
    assert anode_capacity_ah_kg(metal) / theory == pytest.approx(share_of_theory, abs=within)


@pytest.mark.published(
    "printed", ids="4.7", tolerance="not above",
    source="BS 7361 as quoted by an anode vendor: 11.25 kg/(A year), and not less than 780 Ah/kg")
def test_zinc_in_design_is_below_the_780_of_the_makers():
    assert anode_capacity_ah_kg("zinc") < 365.0 * 24.0 / 11.25 < theoretical_capacity_ah_kg(65.38, 2)


@pytest.mark.published(
    "memory", ids="4.8", tolerance="0.001",
    source="PSS-78 conductivity of seawater, 4 against 20 degC: 0.679; Q10 = 2 (rule of thumb, from memory): 0.330")
def test_a_corroding_link_has_bounds_of_a_factor_two_from_temperature_alone_and_no_law_of_time():
    slowest, fastest = galvanic_rate_bounds(20.0, 4.0, 35.0)
    assert slowest == pytest.approx(0.330, abs=0.001)
    assert fastest == pytest.approx(0.679, abs=0.001)
    earliest, latest = link_life_bounds_h(30.0, 30.0, 20.0, 4.0, own_soak=True)
    assert latest / earliest > 2.0
    doubted = link_life_bounds_h(30.0, 30.0, 20.0, 4.0)
    assert doubted[0] < 0.51 * earliest and doubted[1] > 1.49 * latest


@pytest.mark.published(
    "library", ids="4.8", tolerance="0.004",
    source="Resistivity of seawater at 4 and 15 degC: 0.307 and 0.233 ohm m (PSS-78); 15 to 4 degC")
def test_the_bound_by_the_water_is_the_conductivity_of_the_sea():
    assert galvanic_rate_bounds(15.0, 4.0, 35.0)[1] == pytest.approx(0.233 / 0.307, abs=0.004)
