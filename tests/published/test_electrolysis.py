"""The burn wire against Faraday's law as published. Ids are those of the table of check values."""

from types import SimpleNamespace

import pytest
import scipy.constants

from seatrial.mechanisms import FARADAY_C_MOL, Wire, dissolved_mg, wire_mg


def wire(diameter_mm, length_mm, density_kg_m3, equivalent_weight, efficiency_fraction=1.0):
    return Wire(
        SimpleNamespace(
            kind="wire",
            current_ma=1000.0,
            wire_diameter_mm=diameter_mm,
            wire_length_mm=length_mm,
            wire_density_kg_m3=density_kg_m3,
            equivalent_weight=equivalent_weight,
            efficiency_fraction=efficiency_fraction,
        )
    )


@pytest.mark.published("printed", ids="4.1", source="CODATA 2018/2022 through scipy.constants", tolerance="1e-10")
def test_the_faraday_constant_is_codata():
    assert pytest.approx(scipy.constants.value("Faraday constant"), rel=1e-10) == FARADAY_C_MOL


@pytest.mark.published(
    "library", ids="4.2", tolerance="1e-5 mg/C, 0.15 Ah/kg",
    source="Faraday's law with the standard atomic masses; mg/C and Ah/kg as tabulated in handbooks")
@pytest.mark.parametrize(
    ("metal", "atomic_mass", "valence", "mg_per_c", "ah_per_kg"),
    [
        ("Fe", 55.845, 2, 0.28940, 959.85),
        ("Mg", 24.305, 2, 0.12595, 2205.4),
        ("Zn", 65.38, 2, 0.33881, 819.87),
        ("Al", 26.9815, 3, 0.09321, 2980.0),
        ("Cr", 51.9961, 3, 0.17963, 1546.4),
        ("Ni", 58.6934, 2, 0.30416, 913.27),
    ],
)
def test_a_coulomb_dissolves_the_published_mass(metal, atomic_mass, valence, mg_per_c, ah_per_kg):
    assert dissolved_mg(1.0, atomic_mass / valence) == pytest.approx(mg_per_c, abs=1e-5)
    rod = wire(10.0, 10.0, 5000.0, atomic_mass / valence)
    rod_kg = wire_mg(10.0, 10.0, 5000.0) * 1e-6
    assert rod.seconds_to_open(1000.0) / 3600.0 / rod_kg == pytest.approx(ah_per_kg, abs=0.15)


@pytest.mark.published(
    "worked", ids="4.4", tolerance="0.1 s",
    source="304 wire, 0.8 mm by 5 mm, 7940 kg/m3, 1 A, all current at work; the valence alone is a factor of 1.6")
@pytest.mark.parametrize(("equivalent_weight", "seconds"), [(25.12, 76.6), (18.99, 101.4), (15.72, 122.5)])
def test_a_stainless_wire_parts_in_the_worked_time(equivalent_weight, seconds):
    assert wire_mg(0.8, 5.0, 7940.0) == pytest.approx(19.955, abs=0.001)
    bare = wire(0.8, 5.0, 7940.0, equivalent_weight)
    assert bare.seconds_to_open(1000.0) == pytest.approx(seconds, abs=0.1)
    bare.advance(1000.0, seconds - 0.2)
    assert not bare.open
    bare.advance(1000.0, 0.4)
    assert bare.open


@pytest.mark.published("worked", ids="4.5", source="1.0 mm by 5 mm at 0.5 A: 213.7 s", tolerance="0.1 s")
def test_an_iron_wire_parts_in_the_worked_time():
    assert wire(1.0, 5.0, 7874.0, 55.845 / 2).seconds_to_open(500.0) == pytest.approx(213.7, abs=0.1)


@pytest.mark.published(
    "memory", ids="4.3", tolerance="0.006",
    source="ASTM G102, worked example for 304 (71.75 Fe, 19 Cr, 9.25 Ni): 25.12 with Fe 2, Cr 3, Ni 2 (from memory)")
def test_the_equivalent_weight_of_the_sample_wire_is_that_of_astm_g102(sample):
    parts = ((0.7175, 2, 55.845), (0.19, 3, 51.9961), (0.0925, 2, 58.6934))
    of_the_alloy = 1.0 / sum(fraction * valence / mass for fraction, valence, mass in parts)
    assert sample.release.primary.equivalent_weight == pytest.approx(of_the_alloy, abs=0.006)


@pytest.mark.published(
    "worked", ids="4.3, 4.4", tolerance="0.2 s",
    source="the highest valence of the ASTM example, EW 15.72, at the sample's efficiency of 0.8: 122.5 / 0.8 s")
def test_the_sample_wire_parts_well_within_one_attempt_even_at_the_worst_valence(sample):
    channel = sample.release.primary
    channel.equivalent_weight = 15.72
    assert Wire(channel).seconds_to_open(channel.current_ma) == pytest.approx(153.1, abs=0.2)
    assert Wire(channel).seconds_to_open(channel.current_ma) < channel.fire_s
