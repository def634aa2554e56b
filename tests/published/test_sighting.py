"""Horizons, lights and radio against the rules at sea, the books of the lighthouse services and the ITU."""

from math import log10, sqrt

import pytest
from scipy.special import lambertw

from seatrial.handbook.sighting import (
    HORIZON_FACTOR,
    LEAST_HORIZON_FACTOR,
    effective_intensity_cd,
    flat_sea_loss_db,
    free_space_loss_db,
    geographical_range_nm,
    intensity_needed_cd,
    luminous_range_nm,
    radio_horizon_km,
    visible_horizon_nm,
)

VISIBILITY_AT_K_08_NM = log10(0.05) / log10(0.8)  # COLREG's K = 0.8 a mile as a meteorological visibility


@pytest.mark.published(
    "printed", ids="6.4", tolerance="half a digit",
    source="COLREG 1972 Annex I section 8 and 33 CFR 84.14: I = 3.43e6 T D^2 K^-D with T 2e-7 lx, K 0.8, and this "
           "table")
@pytest.mark.parametrize(("range_nm", "intensity_cd", "digit"),
                         [(1, 0.9, 0.1), (2, 4.3, 0.1), (3, 12, 1), (4, 27, 1), (5, 52, 1), (6, 94, 1)])
def test_the_collision_rules_ask_this_intensity_for_each_range(range_nm, intensity_cd, digit):
    assert intensity_needed_cd(range_nm, VISIBILITY_AT_K_08_NM) == pytest.approx(intensity_cd, abs=0.5 * digit)
    slack = 0.55 * digit / intensity_cd  # what the rounding of the printed intensity leaves open in the range
    assert luminous_range_nm(intensity_cd, VISIBILITY_AT_K_08_NM) == pytest.approx(range_nm, rel=slack)


@pytest.mark.published(
    "printed", ids="6.5", tolerance="0.1 %",
    source="IES definition of the nominal range (also IALA E-200-2): threshold 0.2 microlux = 0.686 cd per square "
           "mile, 10 NM of visibility pass 0.74 a mile: I = 0.686 d^2 0.05^(-d / 10)")
@pytest.mark.parametrize(("range_nm", "intensity_cd"), [(1, 0.926), (2, 4.996), (3, 15.17), (5, 76.7), (10, 1372)])
def test_the_nominal_range_of_a_light_follows_its_definition(range_nm, intensity_cd):
    assert intensity_needed_cd(range_nm, 10.0) == pytest.approx(intensity_cd, rel=1e-3)
    assert luminous_range_nm(intensity_cd, 10.0) == pytest.approx(range_nm, rel=1e-3)


@pytest.mark.published("printed", ids="6.5", source="IES: 0.686 cd/NM2, 0.74 per mile", tolerance="0.1 %, 0.2 %")
def test_the_threshold_of_the_eye_is_that_of_the_nominal_range_in_miles():
    assert intensity_needed_cd(1.0, 1e9) == pytest.approx(0.686, rel=1e-3)  # IES: 0.686 cd/NM2
    assert intensity_needed_cd(1.0, 1e9) / intensity_needed_cd(1.0, 10.0) == pytest.approx(0.74, rel=2e-3)


@pytest.mark.published("library", ids="6.6", source="SciPy, lambertw (Corless and others, 1996)", tolerance="1e-9")
@pytest.mark.parametrize("intensity_cd", [0.01, 1.0, 10.0, 1e4])
@pytest.mark.parametrize("visibility_nm", [0.1, 2.0, 10.0, 27.0])
def test_allards_law_is_solved_as_lamberts_function_solves_it(intensity_cd, visibility_nm):
    # d e^(k d) = c has the root W(k c) / k: SciPy's lambertw (Corless and others, 1996)
    k = -0.5 * log10(0.05) / log10(2.718281828459045) / visibility_nm
    vacuum_nm = sqrt(intensity_cd / 2e-7) / 1852.0
    expected_nm = lambertw(k * vacuum_nm).real / k
    assert luminous_range_nm(intensity_cd, visibility_nm) == pytest.approx(expected_nm, rel=1e-9)


@pytest.mark.published(
    "memory", ids="6.7", tolerance="exact",
    source="Blondel and Rey; IALA E-200-4: I t / (0.2 s + t) (from memory)")
def test_a_flash_of_a_tenth_of_a_second_counts_a_third():
    assert effective_intensity_cd(12.0, 0.1) == pytest.approx(12.0 / 3.0, rel=1e-12)
    assert effective_intensity_cd(12.0, 0.2) == pytest.approx(12.0 / 2.0, rel=1e-12)


@pytest.mark.published(
    "printed", ids="6.2", tolerance="0.001",
    source="Bowditch, The American Practical Navigator, 1995 and 2002, chapter 22: 1.17 sqrt(feet) and 2.07 "
           "sqrt(metres)")
def test_bowditch_in_feet_and_bowditch_in_metres_differ_by_two_and_a_half_per_cent():
    in_feet, in_metres = HORIZON_FACTOR["bowditch feet"], HORIZON_FACTOR["bowditch metres"]
    assert in_feet * sqrt(10.0) == pytest.approx(1.17 * sqrt(10.0 / 0.3048), rel=1e-12)
    assert in_feet / in_metres == pytest.approx(1.024, abs=0.001)


@pytest.mark.published(
    "memory", ids="6.2", tolerance="0.1 %",
    source="Bowditch, explanation of Table 12: sqrt(2 * 3440.1 NM / (6076.1 ft * 0.8279)); the constants are from "
           "memory")
def test_bowditchs_factor_for_feet_follows_from_its_own_constants():
    assert visible_horizon_nm(0.3048, HORIZON_FACTOR["bowditch feet"]) == pytest.approx(
        sqrt(2.0 * 3440.1 / (6076.1 * 0.8279)), rel=1e-3)


@pytest.mark.published(
    "memory", ids="6.2a", tolerance="1e-12",
    source="IALA and Admiralty List of Lights: 2.03 (sqrt h + sqrt H), metres (from memory)")
def test_the_range_that_is_used_is_the_least_that_the_books_promise():
    assert min(HORIZON_FACTOR.values()) == LEAST_HORIZON_FACTOR == 2.03
    assert geographical_range_nm(4.0, 9.0) == pytest.approx(2.03 * (2.0 + 3.0), rel=1e-12)


@pytest.mark.published(
    "worked", ids="6.3", tolerance="0.001 NM",
    source="the formulas of the three books by hand, an eye 2 m and an object 0.5 m above the sea")
@pytest.mark.parametrize(("factor", "range_nm"), [(2.03, 4.306), (2.07, 4.391), (2.12, 4.497)])
def test_from_a_small_boat_a_lander_shows_above_the_horizon_at_four_miles_and_not_more(factor, range_nm):
    # 1.17 for feet is 2.119 for metres, which the books round to 2.12
    nearest = min(HORIZON_FACTOR.values(), key=lambda known: abs(known - factor))
    assert visible_horizon_nm(2.0, nearest) + visible_horizon_nm(0.5, nearest) == pytest.approx(range_nm, abs=0.002)
    assert geographical_range_nm(2.0, 0.5) <= range_nm + 0.001


@pytest.mark.published(
    "worked", ids="6.1", tolerance="0.001 NM",
    source="Geometry: sqrt(2 R h), R 6371 km, is 1.927 NM per root metre; refraction bends light a little beyond it")
def test_every_book_sees_farther_than_a_straight_line_over_the_earth():
    straight_nm = sqrt(2.0 * 6371e3 * 1.0) / 1852.0
    assert straight_nm == pytest.approx(1.927, abs=1e-3)
    assert all(1.04 * straight_nm < factor < 1.11 * straight_nm for factor in HORIZON_FACTOR.values())


@pytest.mark.published(
    "memory", ids="6.1", tolerance="0.1 %",
    source="ITU-R P.310 and P.453: k = 4/3; 4.12 km per root metre (from memory)")
def test_the_radio_horizon_is_that_of_an_earth_of_four_thirds_its_radius():
    assert radio_horizon_km(1.0, 0.0) == pytest.approx(sqrt(2.0 * 4.0 / 3.0 * 6371e3) / 1e3, rel=1e-3)
    assert radio_horizon_km(4.0, 9.0) == pytest.approx(4.12 * 5.0, rel=1e-12)


@pytest.mark.published(
    "printed", ids="6.8", tolerance="0.001 dB, 0.05 dB",
    source="ITU-R P.525: 32.4 + 20 log f(MHz) + 20 log d(km), the rounded form of 20 log(4 pi d f / c)")
@pytest.mark.parametrize(("frequency_mhz", "distance_km", "loss_db"),
                         [(868.0, 10.0, 111.218), (433.0, 10.0, 105.178), (1575.42, 20200.0, 182.503)])
def test_the_loss_in_free_space_is_that_of_the_itu(frequency_mhz, distance_km, loss_db):
    assert free_space_loss_db(frequency_mhz, distance_km) == pytest.approx(loss_db, abs=0.001)
    rounded_db = 32.4 + 20.0 * log10(frequency_mhz) + 20.0 * log10(distance_km)
    assert free_space_loss_db(frequency_mhz, distance_km) == pytest.approx(rounded_db, abs=0.05)


@pytest.mark.published(
    "memory", tolerance="0.01 dB",
    source="The plane-earth equation of the radio handbooks, from memory")
def test_over_a_flat_sea_twice_the_distance_costs_twelve_decibels_and_twice_the_mast_gives_six():
    loss_db = flat_sea_loss_db(5.0, 0.5, 4.0)
    assert flat_sea_loss_db(10.0, 0.5, 4.0) - loss_db == pytest.approx(12.04, abs=0.01)
    assert loss_db - flat_sea_loss_db(5.0, 1.0, 4.0) == pytest.approx(6.02, abs=0.01)
