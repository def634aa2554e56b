"""Sunrise, twilight and the height of the sun against almanacs, an algorithm's report and other libraries.

Our equations are the NOAA solar calculator's, through `astral`; every number here was made by others.
"""

from datetime import UTC, date, datetime, timedelta, timezone

import pytest

from seatrial.handbook.sun import clear_sky_w_m2, events_between, light_at, sun_day, sun_elevation_deg

# Reda and Andreas, Solar Position Algorithm for Solar Radiation Applications, NREL/TP-560-34302, appendix A.5.
SPA_LATITUDE_DEG, SPA_LONGITUDE_DEG = 39.742476, -105.1786
MOUNTAIN = timezone(timedelta(hours=-7))


def seconds_apart(moment, *when):
    return abs((moment - datetime(*when, tzinfo=UTC)).total_seconds())


@pytest.mark.published(
    "printed", ids="10.3", tolerance="30 s",
    source="Skyfield documentation, Almanac Computation, the example of 2018-09-12 (definition of the US Naval "
           "Observatory)")
def test_sunrise_and_sunset_of_the_skyfield_almanac_are_met_within_half_a_minute():
    day = sun_day(40.8939, -83.8917, date(2018, 9, 12))
    assert seconds_apart(day.sunrise, 2018, 9, 12, 11, 13, 12) <= 30
    assert seconds_apart(day.sunset, 2018, 9, 12, 23, 49, 38) <= 30


@pytest.mark.published(
    "printed", ids="10.4", tolerance="0.005 degree",
    source="NREL/TP-560-34302, A.5: topocentric zenith 50.11162 degrees; its refraction from memory")
def test_the_height_of_the_sun_is_that_of_the_nrel_example():
    # NREL/TP-560-34302, A.5: topocentric zenith 50.11162 degrees on 2003-10-17 at 12:30:30 MST.
    # Its refraction, 0.01633 degrees, is from memory; ours is the height without it.
    height_deg = sun_elevation_deg(SPA_LATITUDE_DEG, SPA_LONGITUDE_DEG,
                                   datetime(2003, 10, 17, 12, 30, 30, tzinfo=MOUNTAIN))
    assert height_deg == pytest.approx(90.0 - 50.11162 - 0.01633, abs=0.005)


@pytest.mark.published(
    "printed", ids="10.5", tolerance="30 s",
    source="NREL/TP-560-34302, A.5; pvlib and Skyfield for the evening after")
def test_the_sunset_printed_in_the_nrel_example_is_that_of_the_local_day_before():
    # NREL/TP-560-34302, A.5 prints rise 06:12:43 and set 17:20:19 for 17 October. The set belongs to the day of UTC,
    # and with it to the local 16 October; pvlib and Skyfield give 17:18:51 for the evening of the 17th.
    by_utc_day = sun_day(SPA_LATITUDE_DEG, SPA_LONGITUDE_DEG, date(2003, 10, 17))
    assert seconds_apart(by_utc_day.sunset, 2003, 10, 17, 0, 20, 19) <= 30
    assert by_utc_day.sunset.astimezone(MOUNTAIN).date() == date(2003, 10, 16)

    midnight = datetime(2003, 10, 17, tzinfo=MOUNTAIN)
    events = events_between(SPA_LATITUDE_DEG, SPA_LONGITUDE_DEG, midnight, midnight + timedelta(days=1))
    local_day = {event.name: event.moment for event in events}
    assert seconds_apart(local_day["sunrise"], 2003, 10, 17, 13, 12, 43) <= 30
    assert seconds_apart(local_day["sunset"], 2003, 10, 18, 0, 18, 51) <= 30
    assert local_day["sunset"] != by_utc_day.sunset


@pytest.mark.published(
    "library", ids="10.6", tolerance="15 s",
    source="Not printed anywhere: Skyfield 1.55, ephem 4.2.1 and pvlib 0.16.1, which agree with each other within 2 "
           "s")
def test_an_equinox_in_the_atlantic_agrees_with_three_other_libraries():
    day = sun_day(45.0, -30.0, date(2026, 3, 20))
    assert seconds_apart(day.sunrise, 2026, 3, 20, 8, 3, 14) <= 15
    assert seconds_apart(day.sunset, 2026, 3, 20, 20, 12, 24) <= 15
    assert seconds_apart(day.nautical_dawn, 2026, 3, 20, 6, 59, 39) <= 15
    assert seconds_apart(day.nautical_dusk, 2026, 3, 20, 21, 16, 9) <= 15


@pytest.mark.published(
    "library", ids="10.7", tolerance="exact",
    source="Skyfield 1.55: the sun never reaches 12 degrees down at 60 N 0 E on 2026-06-21")
def test_at_60_north_in_midsummer_there_is_no_nautical_night():
    day = sun_day(60.0, 0.0, date(2026, 6, 21))
    assert day.nautical_dawn is None and day.nautical_dusk is None
    assert day.sunrise is not None and day.sunset is not None
    midnight = datetime(2026, 6, 21, tzinfo=UTC)
    lights = {light_at(60.0, 0.0, midnight + timedelta(minutes=minute)) for minute in range(0, 1440, 5)}
    assert lights == {"daylight", "civil twilight", "nautical twilight"}


@pytest.mark.published(
    "memory", tolerance="0.005 degree",
    source="Bowditch, The American Practical Navigator: sunrise 50' down, civil twilight 6, nautical twilight 12 "
           "degrees down (from memory)")
def test_twilight_begins_and_ends_at_the_heights_of_the_almanacs():
    day = sun_day(45.0, -30.0, date(2026, 3, 20))
    for moment, height_deg in ((day.sunrise, -50.0 / 60.0), (day.civil_dawn, -6.0), (day.nautical_dawn, -12.0),
                               (day.sunset, -50.0 / 60.0), (day.civil_dusk, -6.0), (day.nautical_dusk, -12.0)):
        assert sun_elevation_deg(45.0, -30.0, moment) == pytest.approx(height_deg, abs=0.005)


@pytest.mark.published(
    "memory", tolerance="0.05 degree",
    source="Astronomical Almanac: obliquity of the ecliptic 23.436 degrees in 2026 (from memory)")
def test_the_sun_stands_overhead_at_noon_on_the_tropic_at_the_solstice():
    noon = sun_day(23.436, 0.0, date(2026, 6, 21)).noon
    assert sun_elevation_deg(23.436, 0.0, noon) == pytest.approx(90.0, abs=0.05)


@pytest.mark.published(
    "memory", tolerance="1e-9",
    source="pvlib-python, its own test of `clearsky.haurwitz` (numbers from memory; its constants were read in "
           "release 0.16.1)")
@pytest.mark.parametrize(("elevation_deg", "sun_w_m2"), [
    (-20.0, 0.0), (5.0, 48.6298687941956), (10.0, 135.741748091813), (30.0, 487.894132885425),
    (50.0, 778.766689344363), (90.0, 1035.0920325345),
])
def test_the_clear_sun_on_deck_is_that_of_haurwitz(elevation_deg, sun_w_m2):
    assert clear_sky_w_m2(elevation_deg) == pytest.approx(sun_w_m2, rel=1e-9)
