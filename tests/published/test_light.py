"""Lamps, windows and water against numbers in textbooks, standards and reports, the source beside each check."""

from math import cos, exp, pi, radians

import pytest
import scipy.integrate

from seatrial.handbook.lamplight import (
    AIR_INDEX,
    BARE,
    CLARITY,
    FLAT,
    WATER_INDEX,
    Lamp,
    beam_in_water_deg,
    critical_angle_deg,
    flux_of_peak_lm,
    peak_of_flux_cd,
    refracted_deg,
    seabed_lux,
    transmitted,
    water_lux,
)


def shining_down(peak_cd, height_m, beam_deg=120.0):
    """A lamp without a window on the axis, looking straight down."""
    flux_lm = flux_of_peak_lm(peak_cd, beam_deg)
    return Lamp(0.0, 0.0, height_m, 90.0, flux_lm, beam_deg, None, BARE)


# Snell and Fresnel


@pytest.mark.published(
    "memory", tolerance="0.05 degree",
    source="OpenStax, College Physics, example 25.2 (from memory): 30.0 degrees in air are 22.0 in water of index "
           "1.33")
def test_light_into_water_bends_as_in_the_textbook():
    assert float(refracted_deg(30.0, 1.00, 1.333)) == pytest.approx(22.0, abs=0.05)


@pytest.mark.published(
    "memory", tolerance="0.05 degree",
    source="OpenStax, College Physics, example 25.3 (from memory): 30.0 degrees in air are 11.9 in diamond, index "
           "2.419")
def test_light_into_diamond_bends_as_in_the_textbook():
    assert float(refracted_deg(30.0, 1.00, 2.419)) == pytest.approx(11.9, abs=0.05)


@pytest.mark.published(
    "memory", tolerance="0.05 degree",
    source="optics textbooks; OpenStax, College Physics, example 25.4 (from memory)")
@pytest.mark.parametrize(("index", "printed_deg"), [
    (1.333, 48.6),  # water to air: any optics textbook (from memory)
    (1.49, 42.2),  # polystyrene to air: OpenStax, College Physics, example 25.4 (from memory)
])
def test_the_critical_angle_is_the_printed_one(index, printed_deg):
    assert critical_angle_deg(index, AIR_INDEX) == pytest.approx(printed_deg, abs=0.05)


@pytest.mark.published(
    "memory", tolerance="0.05 %",
    source="Hecht, Optics, section 4.6, 4 % for glass; 2 % for water, any optics textbook (from memory)")
@pytest.mark.parametrize(("index", "reflected", "tolerance"), [
    (1.5, 0.04, 1e-12),  # glass: Hecht, Optics, section 4.6 (from memory): 4 %
    (1.333, 0.02, 5e-4),  # water: 2 %, any optics textbook (from memory)
])
def test_square_on_a_surface_reflects_the_printed_share(index, reflected, tolerance):
    assert 1.0 - float(transmitted(0.0, AIR_INDEX, index)) == pytest.approx(reflected, abs=tolerance)


@pytest.mark.published("memory", source="Brewster's law; Hecht, Optics, chapter 8 (from memory)", tolerance="0.05 %")
def test_at_the_brewster_angle_only_half_of_the_light_is_reflected_at_all():
    # Brewster's law, tan = n (53.1 degrees for water, from memory): one polarisation passes whole, of the other
    # ((n^2 - 1) / (n^2 + 1))^2 comes back: 15 % for glass of 1.5, so 7.4 % in all (Hecht, Optics, chapter 8,
    # from memory)
    brewster_deg = 56.31
    assert 1.0 - float(transmitted(brewster_deg, AIR_INDEX, 1.5)) == pytest.approx(0.074, abs=5e-4)


@pytest.mark.published(
    "memory", tolerance="0.003",
    source="Quan and Fry, Applied Optics 34 (1995) 3477, coefficients from memory: 35 psu, 10 degC, 550 nm")
def test_the_index_of_seawater_is_that_of_the_empirical_equation():
    salinity, temperature, wavelength = 35.0, 10.0, 550.0
    index = (1.31405 + (1.779e-4 - 1.05e-6 * temperature + 1.6e-8 * temperature**2) * salinity
             - 2.02e-6 * temperature**2
             + (15.868 + 0.01155 * salinity - 0.00423 * temperature) / wavelength
             - 4382.0 / wavelength**2 + 1.1455e6 / wavelength**3)
    assert pytest.approx(index, abs=0.003) == WATER_INDEX


@pytest.mark.published(
    "memory", tolerance="0.01",
    source="common handbook rule of underwater photography (from memory): what is seen through a flat port shrinks "
           "by 3/4")
def test_a_flat_port_takes_a_quarter_off_a_narrow_beam():
    assert beam_in_water_deg(10.0, FLAT) / 10.0 == pytest.approx(0.75, abs=0.01)


# Candela, lumen, lux


@pytest.mark.published("worked", source="SI: lx = lm / m^2 and cd = lm / sr, hence E = I / r^2", tolerance="1e-6")
def test_a_thousand_candela_at_two_metres_give_250_lux():
    assert float(seabed_lux([shining_down(1000.0, 2.0)], 0.0, 0.0, 0.0)) == pytest.approx(250.0)


@pytest.mark.published("worked", source="inverse square law, Kepler 1604", tolerance="1e-6")
def test_twice_as_far_is_a_quarter_of_the_light():
    near, far = (float(seabed_lux([shining_down(1000.0, height_m)], 0.0, 0.0, 0.0)) for height_m in (1.0, 2.0))
    assert near / far == pytest.approx(4.0)


@pytest.mark.published(
    "memory", tolerance="1e-6",
    source="E = I cos^3 / h^2 on a horizontal plane: any lighting handbook, point-by-point method (from memory)")
@pytest.mark.parametrize("incidence_deg", [0.0, 30.0, 45.0, 60.0])
def test_light_aimed_aslant_obeys_the_cosine_cubed_law(incidence_deg):
    height_m = 1.5
    distance_m = height_m * (1.0 - cos(radians(incidence_deg)) ** 2) ** 0.5 / cos(radians(incidence_deg))
    lamp = Lamp(0.0, 0.0, height_m, 90.0 - incidence_deg, flux_of_peak_lm(1000.0, 60.0), 60.0, None, BARE)
    printed = 1000.0 * cos(radians(incidence_deg)) ** 3 / height_m**2
    assert float(seabed_lux([lamp], 0.0, distance_m, 0.0)) == pytest.approx(printed)


@pytest.mark.published(
    "memory", tolerance="1e-6",
    source="E = I cos^2 sin / h^2 on a vertical plane: the same handbooks (from memory); 60 degrees, 1 m above: r = "
           "2 m")
def test_on_an_upright_plane_the_sine_takes_the_place_of_one_cosine():
    lamp = Lamp(0.0, 0.0, 1.5, 30.0, flux_of_peak_lm(1000.0, 60.0), 60.0, None, BARE)
    assert float(water_lux([lamp], 0.0, 3.0**0.5, 0.5, 0.0)) == pytest.approx(1000.0 * 0.25 * 0.75**0.5)


@pytest.mark.published(
    "memory", tolerance="0.05 cd",
    source="Lambert's law: flux = pi I0, half intensity at 60 degrees off the axis (any radiometry text, from "
           "memory)")
def test_a_lambertian_lamp_gives_pi_lumens_per_candela():
    assert flux_of_peak_lm(1.0, 120.0) == pytest.approx(pi)
    assert peak_of_flux_cd(1000.0, 120.0) == pytest.approx(318.3, abs=0.05)


@pytest.mark.published(
    "worked", tolerance="15 %",
    source="SI: an isotropic source of 1 cd sends out 4 pi lm, 2 pi lm into a half sphere; cos^m with m to 0 tends "
           "to it")
def test_the_widest_lamp_comes_near_one_that_shines_alike_over_the_half_sphere():
    assert 0.85 * 2.0 * pi < flux_of_peak_lm(1.0, 179.0) < 2.0 * pi


@pytest.mark.published(
    "worked", tolerance="1e-4",
    source="conservation: the illuminance integrated over the plane is the flux that was sent there")
def test_all_light_shone_down_arrives_on_the_seabed():
    lamp = shining_down(1000.0, 0.6, beam_deg=60.0)
    arrived, _ = scipy.integrate.quad(
        lambda distance_m: 2.0 * pi * distance_m * float(seabed_lux([lamp], 0.0, distance_m, 0.0)), 0.0, 200.0,
        points=[0.2, 0.6, 2.0, 10.0], limit=200)
    assert arrived == pytest.approx(lamp.flux_lm, rel=1e-4)


# Beer and Lambert


@pytest.mark.published(
    "memory", tolerance="5e-5",
    source="Beer-Lambert: exp(-1) = 0.3679 after 1/c (Mobley, Light and Water, 1994; from memory)")
def test_one_attenuation_length_leaves_37_percent():
    lit, dimmed = (float(seabed_lux([shining_down(1000.0, 2.0)], 0.0, 0.0, c)) for c in (0.0, 0.5))
    assert dimmed / lit == pytest.approx(0.3679, abs=5e-5)


@pytest.mark.published(
    "memory", tolerance="0.05 %",
    source="transmission = exp(-c x), the conversion of 25 cm beam transmissometers (from memory): 91.3 % in pure "
           "water")
def test_a_transmissometer_over_a_quarter_metre_reads_as_its_maker_converts_it():
    # transmission = exp(-c x) over a path of 0.25 m, the conversion of 25 cm beam transmissometers (from memory):
    # 91.3 % is pure water at 660 nm, c = 0.364 per m
    lit, dimmed = (float(seabed_lux([shining_down(1000.0, 0.25)], 0.0, 0.0, c)) for c in (0.0, 0.364))
    assert dimmed / lit == pytest.approx(0.913, abs=5e-4)


@pytest.mark.published("worked", source="3-4-5 triangle: 0.6 m high and 0.8 m out is 1 m of water", tolerance="1e-6")
def test_light_aslant_is_dimmed_over_the_slant_way():
    lamp = shining_down(1000.0, 0.6)
    lit, dimmed = (float(seabed_lux([lamp], 90.0, 0.8, c)) for c in (0.0, 2.0))
    assert dimmed / lit == pytest.approx(exp(-2.0))


@pytest.mark.published(
    "memory", tolerance="1e-9 per m",
    source="Petzold 1972 at 514 nm, in Mobley, Light and Water (1994), table 3.11 (from memory): c = a + b")
@pytest.mark.parametrize(("water", "absorbed_per_m", "scattered_per_m"), [
    ("clear", 0.114, 0.037),
    ("coastal", 0.179, 0.219),
    ("turbid", 0.366, 1.824),
])
def test_clarity_is_absorption_and_scattering_as_petzold_measured_them(water, absorbed_per_m, scattered_per_m):
    assert CLARITY[water] == pytest.approx(absorbed_per_m + scattered_per_m, abs=1e-9)


@pytest.mark.published(
    "memory", tolerance="above it",
    source="Smith and Baker, Applied Optics 20 (1981) 177 (from memory): at 510 nm pure sea water absorbs 0.0357 and"
           " scatters 0.0026 per m")
def test_no_water_is_clearer_than_the_purest():
    assert min(CLARITY.values()) > 0.0357 + 0.0026
