"""Advice on how to search: what it promises is what simulated searches find, and it waits only where that pays."""

import re
from datetime import UTC, datetime, timedelta
from math import pi, sqrt

import numpy as np
import pytest
from scipy.stats import binomtest

from lander.lamps import BEACON, FLASH
from seatrial.plan import draft_sample
from tumblehome.find.advice import PAYS, Window, advise, propose
from tumblehome.find.meeting import Course, Drifting, chance
from tumblehome.find.mistakes import NothingAfloat, NothingSeen, OutOfReach, SearchError
from tumblehome.find.positions import parse
from tumblehome.find.shapes import Cloud, Plane, Position, Way
from tumblehome.find.sighting import NOTICED, by_eye, by_lamp, day_sweep_nm, searcher_of, spans

from .plans_and_clouds import fully

SAMPLE = draft_sample()
BOAT = searcher_of(SAMPLE, 6.0)
NOON = datetime(2027, 5, 18, 13, 0, tzinfo=UTC)
NIGHT = datetime(2027, 5, 18, 23, 0, tzinfo=UTC)
HOUR = timedelta(hours=1)
SPLASH = Position(46.1, -28.4)
SEARCHES = 10_000
SURE = 0.999  # of the confidence limits
NORMAL = ((1.0, 0.0, 0.0),)
TWO_LOBES = ((0.6, -4.0, -2.0), (0.4, 4.0, 3.0))  # share, and middle in standard deviations


def drawn(seed, number, lobes, sigma_m):
    """Places and velocities of landers: normals twice as long as wide, each lander with a drift of its own."""
    dice = np.random.default_rng(seed)
    lobe = dice.choice(len(lobes), number, p=[row[0] for row in lobes])
    middle = sigma_m * np.array([row[1:] for row in lobes])[lobe]
    places = middle + dice.normal(0, 1, (number, 2)) * np.array([sigma_m, 0.5 * sigma_m])
    drift = np.array([0.35, 0.12]) + dice.normal(0, 0.04, (number, 2))
    return places, drift, lobe


def clouds(begin, hours, lobes=NORMAL, sigma_m=1500.0, number=20_000, origin=SPLASH, up_h=(0.0, 0.0)):
    """The same landers as particles, a cloud an hour; those of each lobe come up after these hours."""
    places, drift, lobe = drawn(1, number, lobes, sigma_m)
    ways = tuple(Way(key, key, row[0]) for key, row in zip(("timed", "passive"), lobes, strict=False))
    later = np.array(up_h)[lobe]
    return [Cloud(Plane(origin), begin + hour * HOUR, ways, *(places + 3600 * hour * drift).T, np.full(number, 1 / number), lobe, later <= hour)
            for hour in range(hours + 1)]


def walked(laid, plane, step_s):
    """Where the boat is at each step of the pattern as it is handed on: the waypoints, straight, at its speed."""
    corners = np.array([plane.metres(place) for place in laid.waypoints])
    run = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(corners, axis=0).T))])
    gone = np.arange(0.5 * step_s, laid.hours * 3600, step_s) * laid.speed_kn * 1852 / 3600
    return np.stack([np.interp(gone, run, corners[:, axis]) for axis in (0, 1)], axis=1)


def searched_by_eye(boat, places, drift, step_s, dice):
    """Koopman's inverse-cube law with the sweep width of the manual, a chance at every step; who was found."""
    width = 1852.0 * day_sweep_nm(SAMPLE.site.visibility_nm, SAMPLE.site.wind.speed_m_s, SAMPLE.site.swell_height_m)
    rate = 6 * 1852 / 3600 * width**2 / (8 * pi)
    found = np.zeros(len(places), bool)
    for step, here in enumerate(boat):
        away = np.hypot(*(places + (step + 0.5) * step_s * drift - here).T)
        found |= dice.random(len(places)) < 1 - np.exp(-rate * step_s / np.maximum(1.0, away) ** 3)
    return found


def searched_by_lamp(boat, places, drift, dice):
    """Flash by flash: each lander rides a swell with a phase of its own, and a flash that shows may be noticed."""
    beacon, swell = SAMPLE.beacon, SAMPLE.site.swell_height_m
    period_s = sum(BEACON[FLASH]) / 1000
    reach = by_lamp(SAMPLE, BOAT).range_m
    phase = dice.uniform(0, 2 * pi, len(places))
    found = np.zeros(len(places), bool)
    for step, here in enumerate(boat):
        time_s = (step + 0.5) * period_s
        near = np.hypot(*(places + time_s * drift - here).T) <= reach
        over_crests = beacon.lamp_height_m + 0.5 * swell * (np.cos(phase + 2 * pi * time_s / 8.3) - 1)
        found |= near & (over_crests >= 0.5 * beacon.lamp_height_m) & (dice.random(len(places)) < NOTICED)
    return found


@pytest.mark.parametrize(("lobes", "sigma_m"), [(NORMAL, 1500.0), (TWO_LOBES, 900.0)], ids=["one lobe", "two lobes"])
@pytest.mark.parametrize("begin", [NOON, NIGHT], ids=["by day", "by night"])
def test_ten_thousand_searches_that_follow_the_advice_find_the_lander_as_often_as_it_says(begin, lobes, sigma_m):
    wider = sigma_m * (4.0 if begin == NIGHT else 1.0)  # by night a lamp leaves little to miss in a small area
    advice = advise(SAMPLE, Drifting(clouds(begin, 4, lobes, wider)), BOAT, begin, 3.0)
    told = advice.begun[0]
    places, drift, _lobe = drawn(2, SEARCHES, lobes, wider)
    places = places + (told.course.begin - begin).total_seconds() * drift
    dice = np.random.default_rng(3)
    if begin == NOON:
        found = searched_by_eye(walked(told.pattern, Plane(SPLASH), 4.0), places, drift, 4.0, dice)
    else:
        found = searched_by_lamp(walked(told.pattern, Plane(SPLASH), sum(BEACON[FLASH]) / 1000), places, drift, dice)
    limits = binomtest(int(found.sum()), SEARCHES).proportion_ci(SURE)
    assert 0.2 < told.pattern.detection < 0.98  # neither sure nor hopeless, so that a wrong law would show
    assert limits.low <= told.pattern.detection <= limits.high


def test_the_same_searches_find_fewer_where_the_pattern_is_not_carried_with_the_drift():
    # the tester tested: were the stated chance blind to the drift, the test above would not see it either
    swift = Drifting(clouds(NOON, 4, NORMAL, 600.0))
    light = spans(SAMPLE, BOAT, NOON, NOON + 4 * HOUR)
    still = Drifting(swift.clouds[:1])
    blind = propose(still, still.thinned(2000), BOAT, light, NOON, NOON + 3 * HOUR)
    assert blind is not None
    places, drift, _lobe = drawn(2, SEARCHES, NORMAL, 600.0)
    found = searched_by_eye(walked(blind[0], Plane(SPLASH), 4.0), places, drift, 4.0, np.random.default_rng(3))
    assert binomtest(int(found.sum()), SEARCHES).proportion_ci(SURE).high < blind[0].detection


def test_no_pattern_promises_more_than_the_whole_boat_could_sweep():
    # Ideal sweeping without overlap or end holds at most the densest area of sweep width times length
    advice = advise(SAMPLE, Drifting(clouds(NOON, 4)), BOAT, NOON, 3.0)
    told, width = advice.begun[0], advice.begun[0].pattern.length_m * 1852 * day_sweep_nm(8, 6, 1.2)
    content = 1 - np.exp(-width / (2 * pi * 1500 * 750))
    assert told.pattern.detection < content


@pytest.mark.parametrize("sigma_m", [10.0, 300.0, 1500.0, 6000.0])
def test_the_advice_is_over_in_the_hours_that_there_are_and_never_before_the_boat_is_there(sigma_m):
    boat = parse("46 06 N, 028 36 W")
    told = advise(SAMPLE, Drifting(clouds(NOON, 4, NORMAL, sigma_m)), BOAT, NOON, 3.0, boat).advised
    assert told.course.end <= NOON + 3 * HOUR + timedelta(seconds=1)
    east, north = Plane(SPLASH).metres(boat)
    away_m = np.hypot(told.course.east_m[0] - east, told.course.north_m[0] - north)
    assert (told.course.begin - NOON).total_seconds() == pytest.approx(away_m / BOAT.speed_m_s, rel=0.01)
    assert told.pattern.hours == pytest.approx(told.course.seconds[-1] / 3600)


def test_more_hours_find_more():
    cloud = Drifting(clouds(NOON, 8))
    chances = [advise(SAMPLE, cloud, BOAT, NOON, hours).begun[0].pattern.detection for hours in (1.0, 2.0, 4.0)]
    assert chances[0] < chances[1] < chances[2]


def test_the_chance_grows_hour_by_hour_to_what_the_pattern_promises():
    advice = advise(SAMPLE, Drifting(clouds(NOON, 6)), BOAT, NOON, 4.0)
    hours, chances = zip(*advice.hourly, strict=True)
    assert hours[:-1] == tuple(range(1, len(hours)))
    assert hours[-1] == pytest.approx(advice.advised.pattern.hours)
    assert list(chances) == sorted(chances)
    assert chances[-1] == pytest.approx(advice.advised.pattern.detection, rel=1e-9)
    cut = advice.advised.course
    whole = int(np.searchsorted(cut.seconds, 3600.0))
    legs = Course(cut.begin, cut.seconds[:whole], cut.east_m[:whole], cut.north_m[:whole])
    light = spans(SAMPLE, BOAT, NOON, NOON + 6 * HOUR)
    assert chance(legs, Drifting(clouds(NOON, 6)), light) <= chances[0]


def test_it_pays_to_wait_for_the_dark_where_the_lamp_is_seen_farther_than_the_floats():
    advice = advise(SAMPLE, Drifting(clouds(NOON, 24, NORMAL, 3000.0)), BOAT, NOON, 3.0)
    now, dark = (next(one for one in advice.begun if one.words == words) for words in ("now", "at dark"))
    assert dark.pattern.detection > now.pattern.detection + PAYS
    assert advice.advised is dark
    assert dark.light == "night"
    assert any("It pays to wait and begin at dark" in sentence for sentence in advice.sentences)


def test_it_does_not_pay_to_wait_where_the_lander_is_all_but_found_now():
    advice = advise(SAMPLE, Drifting(clouds(NOON, 24, NORMAL, 100.0)), BOAT, NOON, 3.0)
    assert advice.advised.words == "now"
    assert any("It does not pay to wait" in sentence for sentence in advice.sentences)


def test_it_pays_to_wait_for_the_window_after_which_more_is_afloat():
    later = Drifting(clouds(NOON, 8, ((0.2, 0.0, 0.0), (0.8, 0.0, 0.0)), 400.0, up_h=(0.0, 3.0)))
    advice = advise(SAMPLE, later, BOAT, NOON, 2.0, windows=[Window("the corroding link may have let go", NOON + 3 * HOUR)])
    assert advice.advised.words == "after the corroding link may have let go"
    assert advice.advised.course.begin >= NOON + 3 * HOUR
    assert advice.begun[0].afloat == pytest.approx(0.2, abs=0.01)
    assert advice.begun[0].pattern.detection < 0.2 + 0.01
    assert advice.advised.afloat == pytest.approx(1.0)


def test_a_search_by_night_counts_on_no_lamp_that_may_be_out():
    dark = clouds(NIGHT, 12, ((0.5, 0.0, 0.0), (0.5, 0.0, 0.0)), 600.0)
    out = fully(*np.full(20_000, -1.0))
    lit, half = (advise(SAMPLE, Drifting(dark, lamps=until), BOAT, NIGHT, 3.0).begun[0].pattern.detection
                 for until in (None, fully(*np.where(dark[0].way == 0, 72_000.0, -1.0))))
    assert lit > 0.95
    assert half == pytest.approx(0.5 * lit, abs=0.02)
    with pytest.raises(NothingSeen, match="nothing of the lander can be seen .* no lamp can be counted on"):
        advise(SAMPLE, Drifting(dark[:4], lamps=out), BOAT, NIGHT, 3.0)
    by_day = advise(SAMPLE, Drifting(dark, lamps=out), BOAT, NIGHT, 3.0)
    assert by_day.advised.words == "in daylight"
    assert any("begun now" in sentence and "no lamp can be counted on" in sentence for sentence in by_day.sentences)


def night_width_nm(sentences):
    return next(float(told[1]) for sentence in sentences if (told := re.search(r"look for its flash.*width ([\d.]+) NM", sentence)))


def test_the_sweep_width_that_is_told_counts_on_no_lamp_that_may_be_out():
    dark = clouds(NIGHT, 3, ((0.5, 0.0, 0.0), (0.5, 0.0, 0.0)), 600.0)
    sure, half = (night_width_nm(advise(SAMPLE, Drifting(dark, lamps=lamps), BOAT, NIGHT, 3.0).sentences)
                  for lamps in (None, fully(*np.where(dark[0].way == 0, 72_000.0, -1.0))))
    assert half == pytest.approx(0.5 * sure, abs=0.02)


def test_each_light_of_a_long_search_is_told_once_and_no_flash_of_a_lamp_that_is_out():
    days = clouds(NIGHT, 30, NORMAL, 600.0, number=2000)
    said = advise(SAMPLE, Drifting(days, lamps=fully(*np.full(2000, -1.0))), BOAT, NIGHT, 30.0).sentences
    assert len(set(said)) == len(said) and not any("look for its flash" in sentence for sentence in said)
    assert "At night nothing of it is seen: by then its lamp is likely out." in said
    assert sum(sentence.startswith("In daylight look for its floats") for sentence in said) == 1


def test_a_start_that_the_drift_does_not_reach_is_said_to_be_left_out():
    advice = advise(SAMPLE, Drifting(clouds(NOON, 10)), BOAT, NOON, 3.0)
    assert [one.words for one in advice.begun] == ["now"]
    assert any("begun at dark" in sentence and "worked out to 18 May 23:00Z only" in sentence for sentence in advice.sentences)


@pytest.mark.parametrize(("sigma_m", "little"), [(40_000.0, True), (500.0, False)])
def test_a_chance_that_is_little_is_said_to_be_little(sigma_m, little):
    advice = advise(SAMPLE, Drifting(clouds(NOON, 4, NORMAL, sigma_m)), BOAT, NOON, 3.0)
    assert (advice.advised.pattern.detection < 0.1) is little
    assert any("That is little" in sentence for sentence in advice.sentences) is little


@pytest.mark.parametrize("lobes", [NORMAL, TWO_LOBES])
def test_the_words_say_where_when_and_how_in_this_order(lobes):
    advice = advise(SAMPLE, Drifting(clouds(NOON, 24, lobes)), BOAT, NOON, 3.0, parse("46 06 N, 028 36 W"))
    go, steer, drift, waiting = advice.sentences[:4]
    first = advice.advised.pattern.waypoints[0]
    place = parse(go.removeprefix("Be at ").split(",")[0])
    assert (place.latitude_deg, place.longitude_deg) == pytest.approx((first.latitude_deg, first.longitude_deg), abs=1e-5)
    assert "NM on 0" in go and "Z and begin there" in go
    assert "NM" in steer and "%" in steer
    assert "over the ground" in drift
    assert "pay" in waiting
    assert all(sentence.endswith(".") and sentence.isprintable() for sentence in advice.sentences)


def test_who_steers_is_told_that_the_waypoints_go_along_with_the_drift_already_and_how_late_is_too_late():
    # the landers drift at 0.35 m/s east and 0.12 m/s north: 0.72 kn toward 071; in the time told no more than half a track
    advice = advise(SAMPLE, Drifting(clouds(NOON, 4)), BOAT, NOON, 3.0)
    said = advice.sentences[2]
    assert said.startswith("The waypoints go along with what drifts, 0.7 kn toward 071\N{DEGREE SIGN}: ")
    late_min = float(said.split("more than ")[1].split(" min")[0])
    half_m = 0.5 * min(advice.advised.pattern.spacing_m, by_eye(SAMPLE, BOAT).sweep_m)
    assert late_min * 60 * 0.37 == pytest.approx(half_m, abs=30 * 0.37)
    still = Drifting(clouds(NOON, 0))
    assert not any("waypoints go along" in sentence for sentence in advise(SAMPLE, still, BOAT, NOON, 3.0).sentences)


def test_the_same_question_has_the_same_answer():
    one, other = (advise(SAMPLE, Drifting(clouds(NOON, 12)), BOAT, NOON, 3.0) for _ in range(2))
    assert one.sentences == other.sentences
    assert one.advised.pattern == other.advised.pattern


def test_a_search_across_the_antimeridian_is_the_same_search_elsewhere():
    here, there = (advise(SAMPLE, Drifting(clouds(NOON, 4, origin=origin)), BOAT, NOON, 3.0).begun[0].pattern
                   for origin in (SPLASH, Position(46.1, 179.999)))
    assert there.detection == pytest.approx(here.detection, rel=1e-9)
    longitudes = [place.longitude_deg for place in there.waypoints]
    assert min(longitudes) < -179 and max(longitudes) > 179
    assert all(-180 <= longitude <= 180 for longitude in longitudes)


def test_a_lander_whose_place_is_known_for_certain_is_found_where_it_is():
    advice = advise(SAMPLE, Drifting(clouds(NOON, 4, NORMAL, 0.0, number=50)), BOAT, NOON, 1.0)
    assert advice.begun[0].pattern.detection > 0.95


def test_one_cloud_alone_is_searched_as_it_drifts():
    there = clouds(NOON, 0, NORMAL, sqrt(2) * 100)
    advice = advise(SAMPLE, Drifting(there, (0.35, 0.12)), BOAT, NOON, 2.0)
    assert advice.begun[0].pattern.detection > 0.9


@pytest.mark.parametrize(("hours", "at", "why"), [(0.0, NOON, "allowed is 0.1 to 240"), (float("nan"), NOON, "allowed is 0.1 to 240"),
                                                  (5.0, NOON, "drift is worked out to"), (3.0, NOON + 2 * HOUR, "drift is worked out to")])
def test_a_search_that_cannot_be_is_refused_in_one_sentence(hours, at, why):
    with pytest.raises(SearchError) as refused:
        advise(SAMPLE, Drifting(clouds(NOON, 4, number=50)), BOAT, at, hours)
    assert len(refused.value.sentences) == 1
    assert why in refused.value.sentences[0]


def test_a_search_for_what_is_still_below_is_refused_in_one_sentence():
    below = Drifting(clouds(NOON, 4, number=50, up_h=(9.0,)))
    with pytest.raises(NothingAfloat, match="search later") as refused:
        advise(SAMPLE, below, BOAT, NOON, 3.0)
    assert len(refused.value.sentences) == 1


def test_a_search_out_of_reach_says_how_many_hours_away_it_is():
    with pytest.raises(OutOfReach, match=r"is 1[89]\.\d h away at 6 kn: give more hours than 3") as refused:
        advise(SAMPLE, Drifting(clouds(NOON, 4, NORMAL, 100.0)), BOAT, NOON, 3.0, parse("48 00 N, 028 24 W"))
    assert len(refused.value.sentences) == 1
