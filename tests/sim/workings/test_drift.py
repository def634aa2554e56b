"""Sideways: where the lander lands, where it surfaces, and where it floats from there."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seatrial.handbook import leeway
from seatrial.plan.reckoning import hull_of
from seatrial.plan.sections import CurrentRow
from seatrial.workings.drift import chapter, drift, position_at
from seatrial.workings.motion import motion

from .plans_for_tests import sample, with_keys

SURE = {"doubt__drag_pct": 0.0, "doubt__mass_pct": 0.0, "doubt__density_kg_m3": 0.0}


def flowing(*rows, plan=None, **keys):
    """A plan whose current has these rows: depth in m, speed in m/s, toward in degrees."""
    current = tuple(CurrentRow(depth_m=depth, speed_m_s=speed, toward_deg=toward) for depth, speed, toward in rows)
    return with_keys(plan, site__current=current, **keys)


def figure(plan, key):
    return next(one for one in chapter(plan).figures if one.key == key).value


# --- down and up ------------------------------------------------------------------------------------------------------


def test_in_an_even_current_it_drifts_for_as_long_as_it_is_on_its_way():
    plan = flowing((0.0, 0.2, 90.0))
    moved, drifted = motion(plan), drift(plan)
    assert drifted.landing.east_m == pytest.approx(0.2 * moved.descent_likely_s, rel=1e-4)
    assert drifted.landing.north_m == pytest.approx(0, abs=1e-6)
    assert drifted.surfacing.east_m == pytest.approx(0.2 * (moved.descent_likely_s + moved.ascent_likely_s), rel=1e-4)
    assert drifted.surfacing.bearing_deg == pytest.approx(90)


def test_at_rest_it_does_not_drift_however_long_it_stays():
    released_late = with_keys(times__timed_release_min=2000.0, times__latest_release_min=2400.0, site__mud_hold_s=900.0)
    assert drift(released_late).surfacing == drift(sample()).surfacing


def test_currents_that_set_against_each_other_carry_it_out_and_back():
    plan = flowing((0.0, 0.3, 0.0), (430.0, 0.3, 180.0))
    assert figure(plan, "landing_distance_m") < 5  # the mean current down the column is none
    assert figure(flowing((0.0, 0.3, 0.0), (430.0, 0.3, 0.0)), "landing_distance_m") > 100


def test_a_slower_descent_drifts_farther():
    slower = with_keys(lander__drag_coefficient_down=2 * sample().lander.drag_coefficient_down)
    assert figure(slower, "landing_distance_m") > 1.3 * figure(sample(), "landing_distance_m")
    assert figure(slower, "ascent_drift_m") == figure(sample(), "ascent_drift_m")


def test_the_doubt_about_the_way_down_is_the_circle_around_the_landing():
    plan = flowing((0.0, 0.2, 90.0))
    moved = motion(plan)
    expected_m = 0.2 * max(moved.descent_slow_s - moved.descent_likely_s, moved.descent_likely_s - moved.descent_fast_s)
    assert drift(plan).landing.radius_m == pytest.approx(expected_m, rel=1e-3)
    assert drift(plan).surfacing.radius_m > drift(plan).landing.radius_m
    assert drift(with_keys(plan, **SURE)).surfacing.radius_m == 0


def test_without_any_current_it_lands_and_surfaces_where_it_went_in():
    plan = flowing((0.0, 0.0, 0.0))
    for place in (drift(plan).landing, drift(plan).surfacing):
        assert (place.latitude_deg, place.longitude_deg) == (plan.site.latitude_deg, plan.site.longitude_deg)
        assert place.distance_m == 0 and place.bearing_deg is None


# --- afloat -----------------------------------------------------------------------------------------------------------


def test_afloat_it_follows_the_current_of_the_surface_and_the_wind_by_its_leeway():
    still = flowing((0.0, 0.0, 0.0), site__wind__from_deg=240.0, site__wind__speed_m_s=10.0)
    east_m_s, north_m_s = drift(still).afloat_likely_m_s  # 2 % of 10 m/s, toward 60 degrees
    assert east_m_s == pytest.approx(0.2 * math.sin(math.radians(60)))
    assert north_m_s == pytest.approx(0.2 * math.cos(math.radians(60)))
    both = drift(flowing((0.0, 0.5, 90.0), plan=still)).afloat_likely_m_s
    assert both == pytest.approx((east_m_s + 0.5, north_m_s))


def test_afloat_it_drifts_as_the_hull_of_the_simulator_does():
    hull = hull_of(sample(), with_ballast=False)
    hull.advance(3600.0)
    now, later = position_at(sample(), 0), position_at(sample(), 1)
    assert later.east_m - now.east_m == pytest.approx(hull.east_m)
    assert later.north_m - now.north_m == pytest.approx(hull.north_m)


def test_a_mile_an_hour_is_a_knot():
    plan = flowing((0.0, 1852 / 3600, 0.0), site__wind__speed_m_s=0.0)
    assert figure(plan, "afloat_kn") == pytest.approx(1)
    assert (position_at(plan, 10).north_m - position_at(plan, 0).north_m) / 1852 == pytest.approx(10)
    # a mile is a minute of latitude: 1852 m is the mean of all latitudes, 1 % apart from pole to equator (Bowditch)
    assert position_at(plan, 10).latitude_deg - position_at(plan, 0).latitude_deg == pytest.approx(10 / 60, rel=0.01)


def test_the_area_grows_by_the_spread_of_the_leeway_alone():
    plan = with_keys(site__wind__speed_m_s=10.0, site__wind__leeway_spread_pct=1.0)
    grown_m = position_at(plan, 5).radius_m - position_at(plan, 0).radius_m
    assert grown_m == pytest.approx(0.01 * 10.0 * 5 * 3600)
    sure = with_keys(plan, site__wind__leeway_spread_pct=0.0)
    assert position_at(sure, 48).radius_m == position_at(sure, 0).radius_m


def test_no_leeway_draws_it_upwind():
    plan = flowing((0.0, 0.0, 0.0), site__wind__leeway_pct=0.5, site__wind__leeway_spread_pct=4.0)
    assert drift(plan).afloat_low_m_s == pytest.approx((0, 0))
    assert math.hypot(*drift(plan).afloat_high_m_s) == pytest.approx(0.045 * plan.site.wind.speed_m_s)


def test_the_area_reaches_from_the_least_to_the_most_leeway():
    series, hour = chapter(sample()).series, 24
    place = position_at(sample(), hour)
    assert series["surface_h"][hour] == hour
    assert (series["surface_east_m"][hour], series["surface_north_m"][hour]) == pytest.approx(
        (place.east_m, place.north_m))
    for case in ("low", "high"):
        away_m = math.hypot(series[f"surface_{case}_east_m"][hour] - place.east_m,
                            series[f"surface_{case}_north_m"][hour] - place.north_m)
        assert away_m == pytest.approx(place.radius_m - position_at(sample(), 0).radius_m)


def test_the_table_has_the_place_of_each_hour_in_miles_and_degrees():
    (table,) = chapter(sample()).tables
    names = [column.key for column in table.columns]
    for row in table.rows:
        told = dict(zip(names, row, strict=True))
        line = leeway.bearing_distance(
            sample().site.latitude_deg, sample().site.longitude_deg, told["latitude_deg"], told["longitude_deg"])
        assert told["distance_nm"] == pytest.approx(line.distance_m / 1852)
        assert told["bearing_deg"] == pytest.approx(line.bearing_deg)
    assert [row[0] for row in table.rows] == [0, 1, 3, 6, 12, 24, 48]


def test_it_may_drift_across_the_date_line():
    plan = flowing((0.0, 1.0, 90.0), site__longitude_deg=179.99)
    assert -180 <= position_at(plan, 24).longitude_deg < -178


@pytest.mark.parametrize("hours", [-1, math.nan, math.inf])
def test_hours_before_it_surfaced_are_refused(hours):
    with pytest.raises(ValueError, match="count from the moment it surfaces"):
        position_at(sample(), hours)


# --- pictures, cautions, any plan -------------------------------------------------------------------------------------


def test_the_track_leads_without_a_gap_from_the_splash_over_the_landing_to_the_surfacing():
    series, drifted = chapter(sample()).series, drift(sample())
    track = list(zip(*(series[f"track_{key}"] for key in ("east_m", "north_m", "depth_m", "phase")), strict=True))
    assert track[0] == (0, 0, 0, "down")
    assert track[-1] == pytest.approx((drifted.surfacing.east_m, drifted.surfacing.north_m, 0.001, "up"))
    for before, after in zip(track, track[1:], strict=False):
        assert math.dist(before[:3], after[:3]) < 10
    down = [point for point in track if point[3] == "down"]
    assert down[-1][:2] == pytest.approx((drifted.landing.east_m, drifted.landing.north_m))


def test_the_sample_has_no_caution_of_its_drift():
    assert chapter(sample()).cautions == () and chapter(sample()).faults == ()


@pytest.mark.parametrize(("plan", "words"), [
    (flowing((50.0, 0.2, 90.0)), "site.current[row 1].depth_m is 50"),
    (flowing((0.0, 0.0, 90.0)), "site.current is still"),
    (with_keys(site__wind__speed_m_s=0.0), "site.wind.speed_m_s is 0"),
    (with_keys(site__wind__leeway_pct=0.0, site__wind__leeway_spread_pct=0.0), "site.wind.leeway_pct is 0"),
], ids=["no row at the surface", "still water", "calm", "no leeway"])
def test_a_drift_that_cannot_be_known_is_one_caution(plan, words):
    (sentence,) = chapter(plan).cautions
    assert sentence.startswith(words)


def test_a_lander_that_never_sinks_or_never_rises_surfaces_nowhere():
    floating = with_keys(lander__ballast__mass_kg=2.0)
    sunk = with_keys(lander__floats__mass_kg=20.0)
    for plan in (floating, sunk):
        assert drift(plan).surfacing is None and position_at(plan, 3) is None
        assert chapter(plan).tables == () and chapter(plan).series["surface_h"] == ()
        assert figure(plan, "surfacing_distance_m") is None
    assert drift(floating).landing is None and chapter(floating).series["track_depth_m"] == ()
    assert drift(sunk).landing is not None and set(chapter(sunk).series["track_phase"]) == {"down"}


@given(
    latitude=st.floats(-90, 90), longitude=st.floats(-180, 180), depth_m=st.floats(3, 10950),
    top_m=st.floats(0, 100), speeds=st.tuples(st.floats(0, 3), st.floats(0, 3)), toward=st.floats(0, 360),
    wind=st.floats(0, 60), wind_from=st.floats(0, 360), pct=st.floats(0, 10), spread_pct=st.floats(0, 10),
    ballast_kg=st.floats(0.1, 60), floats_kg=st.floats(0, 30))
@settings(max_examples=60)
def test_every_plan_whose_keys_are_in_range_has_its_chapter(
    latitude, longitude, depth_m, top_m, speeds, toward, wind, wind_from, pct, spread_pct, ballast_kg, floats_kg,
):
    plan = flowing(
        (top_m, speeds[0], toward), (top_m + 50, speeds[1], 360 - toward), site__latitude_deg=latitude,
        site__longitude_deg=longitude, site__depth_m=depth_m, site__wind__speed_m_s=wind,
        site__wind__from_deg=wind_from, site__wind__leeway_pct=pct, site__wind__leeway_spread_pct=spread_pct,
        lander__ballast__mass_kg=ballast_kg, lander__floats__mass_kg=floats_kg)
    told = chapter(plan)
    assert told.faults == ()
    assert all(one.value is None or math.isfinite(one.value) for one in told.figures)
    drifted = drift(plan)
    assert (drifted.surfacing is None) == (None in (motion(plan).descent_likely_s, motion(plan).ascent_likely_s))
    for hours in (0, 7, 48):
        place = position_at(plan, hours)
        if place is not None:
            assert abs(place.latitude_deg) <= 90 and abs(place.longitude_deg) <= 180 and place.radius_m >= 0
