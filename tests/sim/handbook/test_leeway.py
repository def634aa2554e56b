"""What wind does to the floating lander: away from where it blows from, within bounds, and to a true position."""

from math import atan2, degrees, hypot, nan

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seatrial.handbook.leeway import (
    bearing_distance,
    drift_m_s,
    ekman_surface_m_s,
    leeway_m_s,
    moved,
    wind_drift_bounds,
)

winds = st.floats(0.1, 40.0)
bearings = st.floats(0.0, 360.0)


@pytest.mark.parametrize(("from_deg", "east", "north"), [(0.0, 0, -1), (90.0, -1, 0), (180.0, 0, 1), (270.0, 1, 0)])
def test_the_lander_drifts_away_from_where_the_wind_comes_from(from_deg, east, north):
    assert drift_m_s(10.0, from_deg, 0.02) == pytest.approx((0.2 * east, 0.2 * north), abs=1e-12)


@given(winds, bearings, st.floats(0.001, 0.2))
@settings(max_examples=30, deadline=None)
def test_the_drift_is_the_fraction_of_the_wind_whatever_its_direction(wind_m_s, from_deg, fraction):
    assert hypot(*drift_m_s(wind_m_s, from_deg, fraction)) == pytest.approx(fraction * wind_m_s)


def test_six_hours_in_current_and_wind_lead_here():
    """Worked here: current 0.25 m/s toward 090, wind 10 m/s toward 045, the leeway of a person in the water."""
    leeway_east, leeway_north = drift_m_s(10.0, 225.0, leeway_m_s("person in the water", 10.0) / 10.0)
    assert 21600.0 * (0.25 + leeway_east) == pytest.approx(6866.0, abs=1.0)
    assert 21600.0 * leeway_north == pytest.approx(1466.0, abs=1.0)


def test_a_calm_drives_nothing_and_no_body_drifts_upwind():
    assert drift_m_s(0.0, 240.0, 0.02) == pytest.approx((0.0, 0.0))
    assert leeway_m_s("bait box, light", 0.0) == 0.0
    assert leeway_m_s("submarine EPIRB", 2.0) == 0.0


@given(winds, bearings, st.floats(10.0, 90.0))
@settings(max_examples=30, deadline=None)
def test_the_winds_current_in_the_south_mirrors_that_in_the_north(wind_m_s, from_deg, latitude_deg):
    east, north = ekman_surface_m_s(wind_m_s, from_deg, latitude_deg)
    mirrored_east, mirrored_north = ekman_surface_m_s(wind_m_s, -from_deg, -latitude_deg)
    assert (mirrored_east, mirrored_north) == pytest.approx((-east, north), abs=1e-9)


@pytest.mark.parametrize("latitude_deg", [0.0, 9.9, -9.9])
def test_near_the_equator_there_is_no_ekman_current_to_be_had(latitude_deg):
    with pytest.raises(ValueError, match="holds from 10 degrees to the pole only"):
        ekman_surface_m_s(10.0, 0.0, latitude_deg)
    bounds = wind_drift_bounds(10.0, 180.0, latitude_deg)
    assert bounds.ekman_m_s is None
    assert (bounds.least_m_s, bounds.most_m_s) == pytest.approx((0.1, 0.3))
    assert (bounds.toward_from_deg, bounds.toward_to_deg) == (315.0, 45.0)


def test_the_sector_opens_to_the_right_of_the_wind_in_the_north_and_to_the_left_in_the_south():
    north, south = (wind_drift_bounds(6.0, 240.0, latitude_deg) for latitude_deg in (46.0, -46.0))
    assert north.downwind_deg == south.downwind_deg == 60.0
    assert (north.toward_from_deg, north.toward_to_deg) == (60.0, 105.0)
    assert (south.toward_from_deg, south.toward_to_deg) == (15.0, 60.0)


@given(winds, bearings, st.floats(-90.0, 90.0), st.floats(0.0, 0.05), st.floats(0.0, 0.05))
@settings(max_examples=60, deadline=None)
def test_the_bounds_hold_every_answer_and_are_never_their_sum(wind_m_s, from_deg, latitude_deg, fraction, other):
    low, high = sorted((fraction, other))
    bounds = wind_drift_bounds(wind_m_s, from_deg, latitude_deg, low, high)
    answers = [low * wind_m_s, high * wind_m_s] + ([] if bounds.ekman_m_s is None else [bounds.ekman_m_s])
    assert bounds.least_m_s == pytest.approx(min(answers))
    assert bounds.most_m_s == pytest.approx(max(answers))
    if bounds.ekman_m_s is not None:
        east, north = ekman_surface_m_s(wind_m_s, from_deg, latitude_deg)
        off_deg = (degrees(atan2(east, north)) - bounds.toward_from_deg) % 360.0
        assert min(abs(off_deg), abs(off_deg - 45.0), abs(off_deg - 360.0)) < 1e-6


@given(st.floats(-80.0, 80.0), st.floats(-180.0, 180.0), st.floats(-2e5, 2e5), st.floats(-2e5, 2e5))
@settings(max_examples=50, deadline=None)
def test_the_way_back_is_as_long_as_the_way_there_and_starts_as_asked(latitude, longitude, east_m, north_m):
    end = moved(latitude, longitude, east_m, north_m)
    there, back = bearing_distance(latitude, longitude, *end), bearing_distance(*end, latitude, longitude)
    assert there.distance_m == pytest.approx(hypot(east_m, north_m), abs=1e-6)
    assert back.distance_m == pytest.approx(there.distance_m, abs=1e-6)
    if there.distance_m > 1.0:
        asked_deg = degrees(atan2(east_m, north_m))
        assert (there.bearing_deg - asked_deg + 180.0) % 360.0 == pytest.approx(180.0, abs=1e-4)
        assert (back.bearing_deg - there.end_bearing_deg) % 360.0 == pytest.approx(180.0, abs=1e-6)


def test_a_drift_over_the_antimeridian_comes_out_on_the_other_side():
    latitude, longitude = moved(0.0, 179.99, 5000.0, 0.0)
    assert latitude == pytest.approx(0.0, abs=1e-9)
    assert longitude == pytest.approx(-179.965, abs=1e-3)


@pytest.mark.parametrize(("call", "words"), [
    (lambda: drift_m_s(10.0, 0.0, 2.0), "fraction is 2.0; it must be within 0 to 0.2, and 0.02 means 2 %"),
    (lambda: drift_m_s(-1.0, 0.0, 0.02), "wind_speed_m_s is -1.0; it must be 0 or more"),
    (lambda: drift_m_s(10.0, nan, 0.02), "wind_from_deg is nan"),
    (lambda: leeway_m_s("kite", 10.0), "no leeway is known of 'kite'; known are person in the water"),
    (lambda: wind_drift_bounds(10.0, 0.0, 45.0, 0.03, 0.01), "low_fraction, 0.03, is above high_fraction, 0.01"),
    (lambda: wind_drift_bounds(10.0, 0.0, 95.0), "latitude is 95.0 degrees"),
    (lambda: moved(91.0, 0.0, 0.0, 0.0), "latitude is 91.0 degrees"),
    (lambda: moved(0.0, 0.0, nan, 0.0), "east_m is nan"),
    (lambda: bearing_distance(0.0, 0.0, 0.0, 400.0), "longitude is 400.0 degrees"),
])
def test_impossible_arguments_are_refused_with_their_name_and_value(call, words):
    with pytest.raises(ValueError, match=words.replace(".", r"\.")):
        call()
