"""Leeway, the wind's current and positions against search-and-rescue tables, Ekman and geodesists' examples."""

from math import asin, atan2, cos, degrees, hypot, radians, sin, sqrt

import pytest

from seatrial.handbook.leeway import (
    LEEWAY,
    SURFACE_DRIFT_FRACTION,
    bearing_distance,
    destination,
    drift_m_s,
    ekman_surface_m_s,
    leeway_m_s,
    moved,
    wind_drift_bounds,
)


def dms(degree, minute, second):
    return degree + minute / 60.0 + second / 3600.0


@pytest.mark.published(
    "printed", ids="7.4", tolerance="exact",
    source="Allen and Plourde, Review of Leeway, 1999, and Allen, 2005, as in OpenDrift's OBJECTPROP.DAT of "
           "2011-08-25: slope in % of the wind, offset and standard deviation in cm/s, downwind")
@pytest.mark.parametrize(("body", "slope_pct", "offset_cm_s", "scatter_cm_s"), [
    ("person in the water", 0.96, 0.0, 12.0),
    ("oil drum", 0.75, 2.66, 2.83),
    ("bait box, light", 2.53, 9.01, 3.05),
    ("bait box, full", 1.15, 7.94, None),
    ("submarine EPIRB", 0.4, -1.8, 6.0),
    ("drogued marker", 0.0, 0.0, None),
    ("life raft without ballast", 3.70, 0.0, 12.0),
])
def test_small_bodies_drift_as_the_leeway_table_says(body, slope_pct, offset_cm_s, scatter_cm_s):
    assert LEEWAY[body] == (slope_pct, offset_cm_s, scatter_cm_s)
    assert leeway_m_s(body, 10.0) == pytest.approx(0.01 * (10.0 * slope_pct + offset_cm_s), rel=1e-12)


@pytest.mark.published(
    "printed", ids="7.4", tolerance="exact",
    source="Allen and Plourde 1999 and Allen 2005, as in OpenDrift's OBJECTPROP.DAT, worked out")
@pytest.mark.parametrize(("body", "cm_s"), [("person in the water", 9.6), ("oil drum", 10.16),
                                            ("bait box, light", 34.31), ("submarine EPIRB", 2.2)])
def test_in_ten_metres_a_second_of_wind_the_table_gives_these_drifts(body, cm_s):
    assert 100.0 * leeway_m_s(body, 10.0) == pytest.approx(cm_s, abs=1e-9)  # the same table, worked out


@pytest.mark.published(
    "memory", ids="7.5", tolerance="0.1 %",
    source="Ekman 1905; Pond and Pickard, Introductory Dynamical Oceanography: 0.0127 U / sqrt(sin latitude) (from "
           "memory)")
def test_ekmans_surface_current_is_one_and_a_half_per_cent_of_the_wind_at_45_degrees():
    assert hypot(*ekman_surface_m_s(10.0, 180.0, 45.0)) == pytest.approx(0.151, rel=1e-3)


@pytest.mark.published(
    "memory", ids="7.5", tolerance="1e-9 degree",
    source="Ekman 1905. A wind from the south blows to the north (from memory)")
@pytest.mark.parametrize(("latitude_deg", "toward_deg"), [(45.0, 45.0), (-45.0, 315.0)])
def test_ekmans_surface_current_sets_45_degrees_to_the_right_in_the_north_and_left_in_the_south(latitude_deg, toward_deg):
    east, north = ekman_surface_m_s(10.0, 180.0, latitude_deg)
    assert degrees(atan2(east, north)) % 360.0 == pytest.approx(toward_deg, abs=1e-9)


@pytest.mark.published(
    "memory", ids="7.5, 7.5a", tolerance="2 %",
    source="The rule: 3 to 3.5 % of the wind, used for oil on the surface (practice, from memory). It holds Ekman's "
           "current")
def test_ekman_and_the_three_per_cent_rule_differ_by_two_and_are_bounds_not_a_sum():
    ekman_m_s = hypot(*ekman_surface_m_s(10.0, 180.0, 45.0))
    assert SURFACE_DRIFT_FRACTION * 10.0 / ekman_m_s == pytest.approx(2.0, rel=0.02)
    bounds = wind_drift_bounds(10.0, 180.0, 45.0)
    assert bounds.most_m_s == pytest.approx(0.30, abs=1e-12)
    assert bounds.ekman_m_s == pytest.approx(0.151, rel=1e-3)


@pytest.mark.published(
    "printed", ids="7.10", tolerance="0.5 mm, 5e-7 degree",
    source="GeographicLib documentation, the inverse problem from (-41.32, 174.81) to (40.96, -5.50)")
def test_the_long_line_of_the_geodesy_library_is_met_to_half_a_millimetre():
    line = bearing_distance(-41.32, 174.81, 40.96, -5.50)
    assert line.distance_m == pytest.approx(19_959_679.267, abs=5e-4)
    assert line.bearing_deg == pytest.approx(161.067670, abs=5e-7)
    assert line.end_bearing_deg == pytest.approx(18.825195, abs=5e-7)


@pytest.mark.published(
    "printed", ids="7.11", tolerance="5e-9 degree",
    source="GeographicLib documentation, the direct problem from (-32.06, 115.74), azimuth 225")
def test_twenty_thousand_kilometres_south_west_end_where_the_geodesy_library_says():
    expected = (32.11195529, -63.95925278)
    assert destination(-32.06, 115.74, 225.0, 20e6) == pytest.approx(expected, abs=5e-9)
    east_m, north_m = 20e6 * sin(radians(225.0)), 20e6 * cos(radians(225.0))
    assert moved(-32.06, 115.74, east_m, north_m) == pytest.approx(expected, abs=5e-9)


@pytest.mark.published(
    "printed", ids="7.12", tolerance="0.5 mm",
    source="GeographicLib documentation, GeodSolve example: (40.6, -73.8) to (51.6, -0.5)")
def test_an_ocean_crossing_is_as_long_as_the_geodesy_library_prints():
    assert bearing_distance(40.6, -73.8, 51.6, -0.5).distance_m == pytest.approx(5_551_759.400, abs=5e-4)


@pytest.mark.published(
    "printed", ids="7.13", tolerance='0.5 mm, 0.01"',
    source="ICSM, Geocentric Datum of Australia Technical Manual, Flinders Peak to Buninyong")
def test_the_survey_line_of_the_australian_manual_is_met_to_half_a_millimetre():
    # ICSM, Geocentric Datum of Australia Technical Manual: 54 972.271 m, 306 52 05.37, back 127 10 25.07 on GRS 80,
    # whose ellipsoid differs from that of WGS 84 by a tenth of a millimetre.
    line = bearing_distance(-dms(37, 57, 3.72030), dms(144, 25, 29.52440),
                            -dms(37, 39, 10.15610), dms(143, 55, 35.38390))
    assert line.distance_m == pytest.approx(54_972.271, abs=5e-4)
    assert line.bearing_deg == pytest.approx(dms(306, 52, 5.37), abs=0.01 / 3600.0)
    assert (line.end_bearing_deg + 180.0) % 360.0 == pytest.approx(dms(127, 10, 25.07), abs=0.01 / 3600.0)


@pytest.mark.published(
    "printed", ids="7.14", tolerance="1 cm, 1e-7 degree",
    source="Karney, test set for geodesics, a row shipped with geographiclib")
def test_a_row_of_the_geodesic_test_set_is_met():
    line = bearing_distance(-66.99028, 112.2363, -12.70631, 285.90344)
    assert line.distance_m == pytest.approx(11_150_344.2312, abs=0.01)
    assert line.bearing_deg == pytest.approx(173.734912409, abs=1e-7)
    assert line.end_bearing_deg == pytest.approx(2.512956621, abs=1e-7)


@pytest.mark.published(
    "worked", ids="7.6", tolerance="1 m",
    source="by hand: 6 h of 0.25 m/s to 090 and of a person's leeway in 10 m/s from 225: 6866 m east, 1466 m north")
def test_six_hours_of_current_and_leeway_lead_where_the_hand_reckons():
    east_m_s, north_m_s = drift_m_s(10.0, 225.0, leeway_m_s("person in the water", 10.0) / 10.0)
    east_m, north_m = 6 * 3600 * (0.25 + east_m_s), 6 * 3600 * north_m_s
    assert (east_m, north_m) == pytest.approx((6866.0, 1466.0), abs=1.0)
    line = bearing_distance(45.0, -20.0, *moved(45.0, -20.0, east_m, north_m))
    assert line.distance_m == pytest.approx(hypot(6866.0, 1466.0), abs=1.0)
    assert line.bearing_deg == pytest.approx(degrees(atan2(6866.0, 1466.0)), abs=0.01)


def on_a_sphere_m(latitude, longitude, other_latitude, other_longitude):
    """The haversine formula on a sphere of the earth's mean radius, 6371.0088 km."""
    half = [radians(one) / 2.0 for one in (other_latitude - latitude, other_longitude - longitude)]
    across = sin(half[0])**2 + cos(radians(latitude)) * cos(radians(other_latitude)) * sin(half[1])**2
    return 2.0 * 6371008.8 * asin(sqrt(across))


@pytest.mark.published(
    "worked", ids="7.15", tolerance="0.001 %",
    source="the haversine formula against the geodesic: 0.085 % and 0.268 % short on these two lines")
@pytest.mark.parametrize(("line", "short_pct"), [
    ((-dms(37, 57, 3.72030), dms(144, 25, 29.52440), -dms(37, 39, 10.15610), dms(143, 55, 35.38390)), 0.085),
    ((40.6, -73.8, 51.6, -0.5), 0.268)])
def test_distances_are_those_of_the_ellipsoid_and_not_of_a_sphere(line, short_pct):
    assert 100.0 * (1.0 - on_a_sphere_m(*line) / bearing_distance(*line).distance_m) == pytest.approx(short_pct, abs=1e-3)
