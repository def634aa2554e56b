"""Search patterns: their geometry, and that they keep it for a lander that drifts."""

from datetime import UTC, datetime
from math import atan2, degrees, hypot

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from hypothesis import given
from hypothesis import strategies as st

from tumblehome.find.meeting import Drifting
from tumblehome.find.mistakes import SearchError
from tumblehome.find.patterns import (
    SECTOR_TURN_DEG,
    Rectangle,
    expanding_square,
    parallel_tracks,
    pattern,
    sector,
    steered,
    still,
)
from tumblehome.find.shapes import Cloud, Plane, Position, Way
from tumblehome.find.sighting import Sighting, Span

BEGIN = datetime(2027, 5, 18, 13, 0, tzinfo=UTC)
AFTER = datetime(2027, 5, 20, tzinfo=UTC)


def legs(points):
    return np.hypot(*np.diff(points, axis=0).T)


def turns_deg(points):
    east, north = np.diff(points, axis=0).T
    bearings = [degrees(atan2(x, y)) for x, y in zip(east, north, strict=True)]
    return [round((other - one) % 360, 6) % 360 for one, other in zip(bearings, bearings[1:], strict=False)]


# IAMSAR manual, volume II, chapter 5: all turns 90 degrees; each pair of legs one spacing longer.
def test_an_expanding_square_turns_to_starboard_and_grows_every_second_leg():
    points = expanding_square((50.0, 60.0), 200.0, 7, 30.0)
    assert points[0] == (50.0, 60.0)
    assert legs(points) == pytest.approx([200, 200, 400, 400, 600, 600, 800])
    assert turns_deg(points) == pytest.approx([90.0] * 6)
    assert degrees(atan2(points[1][0] - 50, points[1][1] - 60)) == pytest.approx(30.0)


def test_every_track_of_an_expanding_square_lies_one_spacing_outside_the_last():
    points = np.array(expanding_square((0.0, 0.0), 200.0, 13))
    upward = sorted({round(float(east)) for east, other in zip(points[:-1, 0], points[1:, 0], strict=True) if abs(east - other) < 1})
    assert set(np.diff(upward)) == {200}


# The same chapter: 120 degrees to starboard at the rim, straight on over the datum; a second run is turned 30 degrees.
def test_a_sector_search_turns_by_120_degrees_at_the_rim_and_goes_straight_on_over_the_datum():
    points = sector((0.0, 0.0), 1000.0, 10.0, runs=2)
    rim = SECTOR_TURN_DEG
    assert turns_deg(points[:10]) == pytest.approx([rim, rim, 0, rim, rim, 0, rim, rim], abs=1e-5)
    assert len(points) == 19
    first, second = (degrees(atan2(*points[place])) for place in (1, 10))
    assert second - first == pytest.approx(30.0)
    assert all(hypot(*point) <= 1000.0 + 1e-6 for point in points)


@given(st.floats(200, 20_000), st.floats(200, 20_000), st.floats(100, 3000), st.floats(0, 360))
def test_parallel_tracks_leave_no_place_of_the_area_farther_off_than_half_a_spacing_but_at_the_corners(along, across, spacing, axis):
    if max(along, across) / spacing > 60:
        return
    area = Rectangle((300.0, -700.0), max(along, across), min(along, across), axis)
    points = np.array(parallel_tracks(area, spacing))
    dice = np.random.default_rng(3)
    sine, cosine = np.sin(np.radians(axis)), np.cos(np.radians(axis))
    out, side = dice.uniform(-0.5, 0.5, (2, 200)) * np.array([[area.along_m], [area.across_m]])
    places = np.stack([300.0 + out * sine + side * cosine, -700.0 + out * cosine - side * sine], axis=1)
    nearest = np.min([_apart(places, one, other) for one, other in zip(points, points[1:], strict=False)], axis=0)
    assert nearest.max() <= spacing / 2 * 2**0.5 + 1e-6


def _apart(places, one, other):
    line = other - one
    share = np.clip((places - one) @ line / max(1e-9, line @ line), 0, 1)
    return np.hypot(*(places - one - share[:, None] * line).T)


# The same chapter: the commence search point lies half a spacing inside the corner; legs are parallel to the long side.
def test_parallel_tracks_begin_half_a_spacing_inside_the_corner_that_is_nearest():
    area = Rectangle((0.0, 0.0), 4000.0, 2000.0, 0.0)
    assert np.array(parallel_tracks(area, 500.0)) == pytest.approx(np.array([(-750, -1750), (-750, 1750), (-250, 1750), (-250, -1750), (250, -1750), (250, 1750), (750, 1750), (750, -1750)]))
    assert parallel_tracks(area, 500.0, (9000.0, 9000.0))[0] == pytest.approx((750, 1750))
    assert parallel_tracks(area, 500.0, (-9000.0, 9000.0))[0] == pytest.approx((-750, 1750))
    assert parallel_tracks(Rectangle((0.0, 0.0), 4000.0, 2000.0, 90.0), 500.0)[0] == pytest.approx((-1750, 750))


@given(st.floats(-1.5, 1.5), st.floats(-1.5, 1.5))
def test_in_a_drift_the_boat_is_at_each_waypoint_when_the_lander_has_carried_it_there(east_m_s, north_m_s):
    points = expanding_square((100.0, 200.0), 300.0, 8)
    course = steered(points, BEGIN, 3.0, lambda seconds: (east_m_s * seconds, north_m_s * seconds))
    carried = np.stack([course.east_m - east_m_s * course.seconds, course.north_m - north_m_s * course.seconds], axis=1)
    assert carried == pytest.approx(np.array(points), abs=1e-3)
    run = np.hypot(np.diff(course.east_m), np.diff(course.north_m))
    assert run / np.diff(course.seconds) == pytest.approx(np.full(8, 3.0), rel=1e-5)


def test_a_leg_with_the_drift_takes_as_long_as_the_triangle_of_speeds_says():
    # 3 m/s over the ground with 1 m/s behind it: 2 m/s past the water; 1000 m of it in 500 s. Against it 4 m/s, 250 s.
    course = steered([(0.0, 0.0), (0.0, 1000.0), (0.0, 0.0)], BEGIN, 3.0, lambda seconds: (0.0, seconds))
    assert course.seconds == pytest.approx([0.0, 500.0, 750.0], abs=1e-3)


def test_a_course_ends_when_its_time_is_over_in_the_middle_of_a_leg():
    course = steered(expanding_square((0.0, 0.0), 300.0, 8), BEGIN, 3.0, still, most_s=250.0)
    assert (course.seconds[-1], course.east_m[-1], course.north_m[-1]) == (250.0, 300.0, pytest.approx(150.0))
    assert course.length_m == pytest.approx(750.0)


def test_a_drift_that_outruns_the_boat_is_refused_in_one_sentence():
    with pytest.raises(SearchError, match="does not outrun the drift") as refused:
        steered([(0.0, 0.0), (0.0, 1000.0)], BEGIN, 1.0, lambda seconds: (0.0, 1.2 * seconds))
    assert len(refused.value.sentences) == 1


@pytest.mark.parametrize("longitude", [-28.4, 179.99])
def test_a_pattern_is_handed_on_as_positions_from_which_its_course_comes_back(longitude):
    plane = Plane(Position(46.1, longitude))
    lander = Drifting([Cloud(plane, BEGIN, (Way("timed", "timed release", 1.0),), np.zeros(1), np.zeros(1), np.ones(1), np.zeros(1, int), np.ones(1, bool))])
    lamp = Sighting("lamp", 800.0, "the light", 0.004, 0.0, 3.0)
    course = steered(expanding_square((0.0, 0.0), 1200.0, 6), BEGIN, 6 * 1852 / 3600)
    laid = pattern("expanding square", course, 1200.0, 6.0, lander, [Span(BEGIN, AFTER, "night", lamp)])
    assert laid.length_m == pytest.approx(12 * 1200.0)
    assert laid.hours == pytest.approx(12 * 1200.0 / 1852 / 6)
    assert 0.5 < laid.detection < 1.0
    assert all(-180 < place.longitude_deg <= 180 for place in laid.waypoints)
    ends = laid.waypoints[0], laid.waypoints[1]
    assert Geodesic.WGS84.Inverse(*(number for place in ends for number in (place.latitude_deg, place.longitude_deg)))["s12"] == pytest.approx(1200.0, rel=1e-9)
    back_m = [plane.metres(place)[0] for place in laid.waypoints]
    assert back_m == pytest.approx(course.east_m, abs=1e-3)


@pytest.mark.parametrize("wrong", [
    lambda: expanding_square((0, 0), 0.0, 4), lambda: expanding_square((0, 0), 100.0, 0), lambda: sector((0, 0), -1.0), lambda: sector((0, 0), 100.0, runs=0),
    lambda: parallel_tracks(Rectangle((0, 0), 100.0, 100.0, 0.0), 0.0), lambda: parallel_tracks(Rectangle((0, 0), 0.0, 100.0, 0.0), 10.0),
    lambda: steered([(0, 0)], BEGIN, 3.0), lambda: steered([(0, 0), (1, 1)], BEGIN, 0.0),
])
def test_a_pattern_that_cannot_be_is_refused(wrong):
    with pytest.raises(ValueError, match="allowed"):
        wrong()
