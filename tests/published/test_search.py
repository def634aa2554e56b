"""Search theory against Koopman's formulas, the IAMSAR manual's geometry and the datasheet of a LoRa receiver."""

from datetime import UTC, datetime
from math import hypot, pi, sqrt

import numpy as np
import pytest

from tumblehome.find.detection import (
    INVERSE_CUBE,
    best_on_cells,
    best_on_normal,
    coverage,
    detection,
    inside_circle,
    spacing_m,
)
from tumblehome.find.meeting import Course, Drifting, found
from tumblehome.find.patterns import expanding_square, sector
from tumblehome.find.shapes import Cloud, Plane, Position, Way
from tumblehome.find.sighting import Sighting, Span, day_sweep_nm, sensitivity_dbm, sweep_width_m

BEGIN = datetime(2027, 5, 18, 13, 0, tzinfo=UTC)
LONG_AFTER = datetime(2037, 5, 18, tzinfo=UTC)


@pytest.mark.published(
    "memory", ids="7.1", tolerance="1e-4",
    source="Koopman, Search and Screening, 1946 and 1980: 1 - exp(-C) (from memory)")
@pytest.mark.parametrize(("covered", "found_by"), [(0.25, 0.2212), (0.5, 0.3935), (1, 0.6321), (1.5, 0.7769), (2, 0.8647), (3, 0.9502)])
def test_a_search_at_random_detects_by_koopmans_formula(covered, found_by):
    assert detection(covered) == pytest.approx(found_by, abs=1e-4)
    assert spacing_m(600.0, detection(covered)) == pytest.approx(600.0 / covered, rel=1e-9)


@pytest.mark.published(
    "memory", ids="7.1", tolerance="0.001",
    source="Koopman, the inverse-cube law under parallel tracks: erf(C sqrt(pi) / 2); IAMSAR manual, volume II, the "
           "curve for ideal conditions (from memory)")
@pytest.mark.parametrize(("covered", "found_by"), [(0.5, 0.469), (1, 0.790), (1.5, 0.940), (2, 0.988)])
def test_ideal_parallel_tracks_detect_by_the_inverse_cube_law(covered, found_by):
    assert detection(covered, INVERSE_CUBE) == pytest.approx(found_by, abs=1e-3)
    assert spacing_m(600.0, detection(covered, INVERSE_CUBE), INVERSE_CUBE) == pytest.approx(600.0 / covered, rel=1e-9)


# The same published numbers, but now steered: a boat on long parallel tracks among landers spread evenly between them.
@pytest.mark.published(
    "memory", ids="7.1", tolerance="0.002",
    source="Koopman, the inverse-cube law under parallel tracks, steered (from memory)")
@pytest.mark.parametrize(("covered", "found_by"), [(0.5, 0.469), (1, 0.790), (1.5, 0.940), (2, 0.988)])
def test_a_boat_that_steers_parallel_tracks_finds_the_published_share(covered, found_by):
    sweep, speed, tracks, half = 500.0, 3.0, 41, 60_000.0
    eye = Sighting("eye", 50_000.0, "the horizon", 0.0, speed * sweep**2 / (8 * pi), speed)
    apart = sweep / covered
    across = apart * (np.arange(tracks) - tracks // 2)
    east = np.repeat(across, 2)
    north = np.tile([-half, half, half, -half], tracks // 2 + 1)[:2 * tracks]
    seconds = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(east), np.diff(north)))]) / speed
    places = apart * (np.arange(200) + 0.5) / 200
    lander = drifting(places, np.zeros(200))
    share = found(Course(BEGIN, seconds, east, north), lander, [Span(BEGIN, LONG_AFTER, "daylight", eye)]).mean()
    assert share == pytest.approx(found_by, abs=2e-3)


@pytest.mark.published(
    "memory", ids="7.1", tolerance="0.02",
    source="Koopman 1946, random search, thrown at random (from memory)")
def test_tracks_laid_at_random_find_what_koopmans_random_formula_says():
    # Koopman 1946: long tracks, each at random, over a field much wider than the sweep: half a kilometre in 20.
    # Here from edge to edge with both ends drawn evenly, half of them eastward and half northward.
    dice, field, speed = np.random.default_rng(7), 10_000.0, 5.0
    lamp = Sighting("lamp", 250.0, "the light", 1.0, 0.0, speed)  # noticed for certain within range
    lander = drifting(*dice.uniform(-field, field, (2, 4000)))
    missed, length, searches = np.zeros(4000), 0.0, 40
    for _ in range(searches):
        unseen = np.ones(4000)
        for track in range(20):
            along, across = np.array([-field, field]), dice.uniform(-field, field, 2)
            run = hypot(2 * field, across[1] - across[0])
            course = Course(BEGIN, np.array([0.0, run / speed]), *((along, across) if track % 2 else (across, along)))
            unseen *= 1 - found(course, lander, [Span(BEGIN, LONG_AFTER, "night", lamp)])
            length += run
        missed += unseen
    covered = coverage(sweep_width_m(lamp), length / searches, (2 * field) ** 2)
    assert 0.4 < covered < 1.0
    assert 1 - missed.mean() / searches == pytest.approx(detection(covered), abs=0.02)


@pytest.mark.published(
    "memory", ids="7.2", tolerance="1e-4",
    source="The Rayleigh distribution, any table of it: radii in standard deviations of one axis (from memory)")
@pytest.mark.parametrize(("factor", "share"), [(1.1, 0.454), (1.17741, 0.5), (2.0, 0.8647), (2.4477, 0.95), (3.0349, 0.99)])
def test_a_circle_holds_the_share_of_a_normal_that_tables_of_rayleigh_give(factor, share):
    assert inside_circle(factor) == pytest.approx(share, abs=1e-4)


# IAMSAR manual, volume II: factors of the probable error, the circle of 50 %, which is 1.17741 root mean squares.
@pytest.mark.published(
    "memory", ids="7.2", tolerance="0.001",
    source="IAMSAR manual, volume II: factors of the probable error (from memory)")
@pytest.mark.parametrize(("factor", "share"), [(1.1, 0.568), (1.6, 0.830), (2.0, 0.9375), (2.3, 0.974), (2.5, 0.987)])
def test_the_search_factors_of_the_manual_hold_these_shares(factor, share):
    assert inside_circle(1.17741 * factor) == pytest.approx(share, abs=1e-3)


@pytest.mark.published(
    "memory", ids="7.3", tolerance="1e-12",
    source="IAMSAR manual, volume II, chapter 5: legs S, S, 2S, 2S ...; ten of them are 30 S (from memory)")
@pytest.mark.parametrize(("pairs", "lengths"), [(1, 2), (2, 6), (3, 12), (5, 30)])
def test_two_legs_n_times_of_an_expanding_square_are_n_times_n_plus_one_spacings_long(pairs, lengths):
    points = expanding_square((0.0, 0.0), 250.0, 2 * pairs)
    assert sum(np.hypot(*np.diff(points, axis=0).T)) == pytest.approx(250.0 * lengths, rel=1e-12)


@pytest.mark.published(
    "memory", tolerance="1e-9",
    source="IAMSAR manual, volume II, chapter 5: three equilateral triangles that share the datum (from memory)")
def test_a_sector_search_has_nine_legs_of_one_radius_and_goes_three_times_through_the_datum():
    # The same chapter: legs and crosslegs of three equilateral triangles that share the datum.
    points = sector((100.0, -50.0), 1000.0, 20.0)
    assert np.hypot(*np.diff(points, axis=0).T) == pytest.approx([1000.0] * 9, rel=1e-9)
    assert [place for place, (east, north) in enumerate(points) if hypot(east - 100, north + 50) < 1e-6] == [0, 3, 6, 9]


@pytest.mark.published(
    "memory", tolerance="1e-4",
    source="Stone, Theory of Optimal Search, 1975; Koopman 1957 (from memory)")
def test_the_best_search_of_a_normal_succeeds_as_often_as_koopman_and_stone_say():
    # Stone, Theory of Optimal Search, 1975: 1 - (1 + H) exp(-H) with H = sqrt(effort / (pi sigma^2)), within
    # sqrt(2 H) sigmas; against the effort laid over cells by the rule of Koopman 1957.
    sigma, cell, effort = 1000.0, 40.0, 9e6
    axis = np.arange(-6000.0, 6000.0, cell) + 0.5 * cell
    east, north = np.meshgrid(axis, axis)
    chances = np.exp(-0.5 * (east**2 + north**2) / sigma**2) * cell**2 / (2 * pi * sigma**2)
    laid, success = best_on_cells(chances, cell**2, effort)
    radius, best = best_on_normal(effort, sigma, sigma)
    assert laid.sum() == pytest.approx(effort, rel=1e-9)
    assert success == pytest.approx(best, abs=1e-4)
    assert np.hypot(east, north)[laid > 0].max() == pytest.approx(radius * sigma, abs=cell)
    assert best == pytest.approx(1 - (1 + sqrt(9 / pi)) * np.exp(-sqrt(9 / pi)), rel=1e-12)


@pytest.mark.published(
    "memory", tolerance="exact",
    source="IAMSAR manual, volume III, sweep widths for a person in the water, and the factors of weather: from "
           "memory")
@pytest.mark.parametrize(("visibility", "wind", "sea", "width"), [(3, 2, 0.5, 0.4), (5, 2, 0.5, 0.5), (10, 2, 0.5, 0.6), (20, 2, 0.5, 0.7),
                                                                   (10, 10, 0.5, 0.3), (10, 2, 1.2, 0.3), (10, 15, 2.0, 0.15), (10, 2, 1.7, 0.15)])
def test_by_day_a_float_has_the_sweep_width_of_the_smallest_object_of_the_manual(visibility, wind, sea, width):
    assert day_sweep_nm(visibility, wind, sea) == pytest.approx(width, abs=1e-12)


@pytest.mark.published(
    "memory", ids="6.10", tolerance="0.1 dB",
    source="Semtech SX1276 datasheet and AN1200.22: -174 + 10 log10(125 kHz) + 6 - 20 = -137 dBm at spreading factor"
           " 12 (from memory)")
@pytest.mark.parametrize(("factor", "dbm"), [(12, -137.0), (7, -124.5)])
def test_a_lora_receiver_hears_down_to_its_datasheets_level(factor, dbm):
    assert sensitivity_dbm(factor, 125e3) == pytest.approx(dbm, abs=0.1)


def drifting(east, north):
    """Landers that lie still, each as likely."""
    number = len(east)
    return Drifting([Cloud(Plane(Position(46.1, -28.4)), BEGIN, (Way("timed", "timed release", 1.0),), np.asarray(east), np.asarray(north),
                           np.full(number, 1 / number), np.zeros(number, int), np.ones(number, bool))])
