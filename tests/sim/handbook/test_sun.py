"""The light at the site: every change found once, whatever the place, the date and the seam of the day."""

from datetime import UTC, date, datetime, timedelta, timezone

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seatrial.handbook.sun import (
    DAYLIGHT,
    NIGHT,
    clear_sky_w_m2,
    events_between,
    light_at,
    sun_day,
    sun_elevation_deg,
)

LIGHT_AFTER = {
    "nautical dawn": "nautical twilight",
    "civil dawn": "civil twilight",
    "sunrise": DAYLIGHT,
    "sunset": "civil twilight",
    "civil dusk": "nautical twilight",
    "nautical dusk": NIGHT,
}
SECOND = timedelta(seconds=1)
DAY = timedelta(days=1)

latitudes = st.floats(-90.0, 90.0)
longitudes = st.floats(-180.0, 180.0)
moments = st.datetimes(datetime(2020, 1, 1), datetime(2040, 1, 1), timezones=st.just(UTC))


@given(latitudes, longitudes, moments, st.integers(0, 40 * 3600))
@settings(max_examples=40, deadline=None)
def test_the_light_changes_exactly_at_the_events_and_nowhere_else(latitude, longitude, start, span_s):
    start = start.replace(microsecond=0)
    end = start + timedelta(seconds=span_s)
    light, since = light_at(latitude, longitude, start - SECOND), start
    for event in events_between(latitude, longitude, start, end):
        for moment in (since, since + (event.moment - since) / 2, event.moment - SECOND):
            assert event.moment <= since or light_at(latitude, longitude, moment) == light
        light, since = LIGHT_AFTER[event.name], event.moment
        assert light_at(latitude, longitude, event.moment) == light
    for i in range(8):
        assert span_s == 0 or light_at(latitude, longitude, since + (end - SECOND - since) * (i / 7)) == light


@given(latitudes, longitudes, moments, st.integers(0, 86400), st.integers(0, 86400))
@settings(max_examples=40, deadline=None)
def test_a_span_cut_in_two_has_the_same_events(latitude, longitude, start, first_s, second_s):
    cut = start + timedelta(seconds=first_s)
    end = cut + timedelta(seconds=second_s)
    halves = events_between(latitude, longitude, start, cut) + events_between(latitude, longitude, cut, end)
    assert halves == events_between(latitude, longitude, start, end)


@given(latitudes, longitudes, st.dates(date(2020, 1, 1), date(2040, 1, 1)))
@settings(max_examples=40, deadline=None)
def test_a_day_holds_only_events_of_that_day_of_utc(latitude, longitude, day):
    for moment in sun_day(latitude, longitude, day)[:7]:
        assert moment is None or moment.date() == day


@pytest.mark.parametrize("longitude_deg", [-180.0, -179.9, -120.0, 120.0, 179.9, 180.0])
def test_no_sunrise_is_lost_or_doubled_far_from_greenwich(longitude_deg):
    start = datetime(2026, 1, 1, tzinfo=UTC)
    events = events_between(10.0, longitude_deg, start, start + 365 * DAY)
    for name in LIGHT_AFTER:
        days = [event.moment for event in events if event.name == name]
        assert len(days) in (364, 365, 366)
        assert all(DAY - timedelta(minutes=2) < after - before < DAY + timedelta(minutes=2)
                   for before, after in zip(days, days[1:], strict=False))


def test_in_the_far_east_sunset_comes_before_sunrise_in_a_day_of_utc():
    day = sun_day(0.0, 179.9, date(2026, 6, 1))
    assert day.sunset < day.sunrise
    assert not day.polar_day and not day.polar_night


def test_a_longitude_above_180_is_the_same_place_counted_the_other_way():
    assert sun_day(20.0, 190.0, date(2026, 5, 1)) == sun_day(20.0, -170.0, date(2026, 5, 1))


def test_the_sun_of_a_northern_summer_night_never_sets():
    day = sun_day(78.0, 15.0, date(2026, 6, 1))
    assert day.polar_day and not day.polar_night
    assert day.sunrise is None and day.sunset is None and day.nautical_dusk is None
    assert day.noon is not None


def test_the_sun_of_a_northern_winter_day_never_rises_yet_it_has_twilight():
    day = sun_day(78.0, 15.0, date(2026, 12, 1))
    assert day.polar_night and not day.polar_day
    assert day.sunrise is None and day.nautical_dawn < day.noon < day.nautical_dusk


@pytest.mark.parametrize("begin_min", range(0, 15, 2))
def test_a_night_shorter_than_a_step_of_the_scan_is_found(begin_min):
    midnight = datetime(2026, 6, 21, tzinfo=UTC)
    near_midnight = [midnight + timedelta(minutes=minute) for minute in range(-30, 31)]
    lowest_deg = min(sun_elevation_deg(54.0, 0.0, moment) for moment in near_midnight)
    grazing_deg = 54.0 - (lowest_deg + 12.0) - 0.002  # a degree of latitude is a degree of height at midnight
    start = midnight - timedelta(hours=2) + timedelta(minutes=begin_min)

    events = events_between(grazing_deg, 0.0, start, start + timedelta(hours=4))
    dusk, dawn = (event for event in events if event.name.startswith("nautical"))
    assert (dusk.name, dawn.name) == ("nautical dusk", "nautical dawn")
    assert timedelta(0) < dawn.moment - dusk.moment < timedelta(minutes=15)
    assert light_at(grazing_deg, 0.0, dusk.moment + (dawn.moment - dusk.moment) / 2) == NIGHT


def test_a_moment_in_local_time_is_the_same_moment():
    local = datetime(2026, 3, 20, 10, 0, tzinfo=timezone(timedelta(hours=-2)))
    assert sun_elevation_deg(45.0, -30.0, local) == sun_elevation_deg(45.0, -30.0, local.astimezone(UTC))


@given(st.floats(0.0, 89.0), st.floats(0.1, 1.0))
@settings(max_examples=30, deadline=None)
def test_a_higher_sun_gives_more(height_deg, more_deg):
    assert clear_sky_w_m2(height_deg) < clear_sky_w_m2(height_deg + more_deg)


def test_a_sun_below_the_horizon_gives_nothing():
    assert clear_sky_w_m2(0.0) == 0.0 and clear_sky_w_m2(-30.0) == 0.0


def test_impossible_places_and_moments_are_refused_in_one_sentence():
    noon = datetime(2026, 3, 20, 12, tzinfo=UTC)
    with pytest.raises(ValueError, match="latitude is 91 degrees"):
        light_at(91, 0.0, noon)
    with pytest.raises(ValueError, match="latitude is nan degrees"):
        sun_day(float("nan"), 0.0, noon.date())
    with pytest.raises(ValueError, match="longitude is -181 degrees"):
        sun_day(0.0, -181, noon.date())
    with pytest.raises(ValueError, match="no time zone"):
        light_at(0.0, 0.0, datetime(2026, 3, 20, 12))
    with pytest.raises(ValueError, match="before the start"):
        events_between(0.0, 0.0, noon, noon - SECOND)
    with pytest.raises(ValueError, match="within -90 to 90"):
        clear_sky_w_m2(90.5)
