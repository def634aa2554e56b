"""A whole search from the sample plan: after a planned surfacing, after a search in vain, and before anything is up."""

import re
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from seatrial.plan import load_sample
from tumblehome.find import guesses, working
from tumblehome.find.drifting import clouds
from tumblehome.find.known import Heard, NotHeard
from tumblehome.find.shapes import Plane, Position
from tumblehome.find.sighting import searcher_of
from tumblehome.find.tracks import Segment, Track
from tumblehome.find.working import Asked, work_out

UP = datetime(2027, 5, 18, 12, 30, tzinfo=UTC)  # three quarters of an hour after the likely surfacing of the sample


def asked(at=UP, **changes):
    plan = load_sample()
    return Asked(plan, at, searcher_of(plan, 6.0), guesses.built_in(), **{"hours": 2.0, "particles": 3000, **changes})


@pytest.fixture(scope="module")
def planned():
    return work_out(asked())


def lawn(plane, begin, middle, side_m=3000.0, apart_m=150.0):
    """A boat that mows all around a place at 6 kn, straight lines there and back."""
    points = [(middle[0] + side_m * end, middle[1] + north_m) for row, north_m in enumerate(
        np.arange(-side_m, side_m, apart_m)) for end in ((-1, 1) if row % 2 == 0 else (1, -1))]
    seconds = np.cumsum([0, *(np.hypot(b[0] - a[0], b[1] - a[1]) / 3.087 for a, b in zip(points, points[1:], strict=False))])
    return Track("lawn.gpx", (Segment(tuple(begin + timedelta(seconds=float(each)) for each in seconds),
                                      tuple(plane.position(*point) for point in points)),))


def test_the_same_question_gets_the_same_answer(planned):
    assert work_out(asked()) == planned


def test_after_the_planned_surfacing_the_likely_place_lies_in_its_area_and_a_pattern_is_advised(planned):
    sight = planned.sights[0]
    assert sight.afloat > 0.9 and [area.probability for area in sight.areas] == [0.5, 0.9, 0.99]
    assert planned.heading.place == planned.patterns[0].pattern.waypoints[0]
    assert sum(home.way.probability for home in planned.ways) == pytest.approx(1.0)
    away_m = np.hypot(*Plane(sight.likely).metres(sight.areas[0].rings[0][0]))
    assert away_m < sight.radius_m


def test_the_areas_grow_with_time(planned):
    sizes = [sight.areas[1].area_km2 for sight in planned.sights]
    assert sizes == sorted(sizes) and sizes[-1] > 10 * sizes[0]


@pytest.mark.parametrize("after_h, lamp", [
    (1, "Lamp at night: one flash every two seconds."), (70, "Lamp at night: one flash every ten seconds."),
    (110, "Its lamp is probably dark by now.")])
def test_others_are_told_how_the_lamp_flashes_by_then(after_h, lamp):
    # a planned surfacing: the full rhythm for the plan's 60 hours, and charge for 89
    told = work_out(asked(UP + timedelta(hours=after_h), known=(Heard(UP, "timed"),), particles=1000))
    assert lamp in told.message


def test_once_it_was_heard_afloat_no_release_is_waited_for(planned):
    heard = work_out(asked(known=(Heard(UP, None),), particles=1000))
    assert any("after the latest release" in other.why for other in planned.patterns)
    assert not any("after the" in other.why for other in heard.patterns)
    assert not any("release" in sentence or "link" in sentence for sentence in heard.reasons)


def test_silence_and_a_search_in_vain_are_told_with_what_they_take_for_granted(planned):
    plane = Plane(planned.splash)
    track = lawn(plane, UP, (0.0, 0.0), side_m=150.0)
    said = " ".join(work_out(asked(track.last, tracks=(track,), known=(NotHeard(track.last, 0.9),), particles=1000)).assumed)
    assert "in range, 1.0 NM for a LoRa radio" in said and "with a chance of 90 %" in said
    assert "looked out all the while, with the eye 2.5 m above" in said
    assert "listened" not in " ".join(planned.assumed) and "looked out" not in " ".join(planned.assumed)


def test_a_search_in_vain_lowers_the_way_it_looked_for_and_raises_that_it_stays_down(planned):
    plane = Plane(planned.splash)
    track = lawn(plane, UP, plane.metres(planned.sights[0].likely))
    after = work_out(asked(track.last + timedelta(minutes=1), tracks=(track,)))
    chances = [{home.way.key: home.way.probability for home in told.ways} for told in (planned, after)]
    assert chances[1]["timed"] < chances[0]["timed"] and chances[1]["stays_down"] > chances[0]["stays_down"]
    # Bayes by hand: what stays down is missed for certain, so its chance grows by 1 / (1 - chance to have been found)
    found = 1 - chances[0]["stays_down"] / chances[1]["stays_down"]
    said = re.fullmatch(r"The search along lawn.gpx would have found it with (\d+) %, as the lookout is reckoned.", after.assumed[0])
    assert said and float(said[1]) == pytest.approx(100 * found, abs=1)


@pytest.mark.parametrize("found, said", [
    (0.0, "a.gpx and a.gpx changes nothing, since from there and then nothing of the lander could be seen: look whether"),
    (0.41, "would have found it with 41 %"), (0.001, "would have found it with under 1 %")])
def test_a_track_of_another_place_is_told_by_what_it_would_have_found(found, said):
    assert said in working._searched([Track("a.gpx", ())] * 2, found)


def test_before_anything_can_be_up_it_says_to_wait_or_where_to_be_in_time():
    told = work_out(asked(datetime(2027, 5, 18, 6, 31, tzinfo=UTC), hours=0.2))
    assert told.sights[0].likely is None
    assert told.heading.at >= told.now


def test_who_comes_up_before_the_boat_is_there_counts_as_afloat():
    at = datetime(2027, 5, 18, 11, 44, tzinfo=UTC)  # the likely surfacing of the sample: a few minutes later all are up
    told = work_out(asked(at, boat=Position(46.108333, -28.416667)))
    (then,) = clouds(load_sample(), [told.heading.at], 1, guesses.built_in(), particles=3000)
    said = re.search(r"afloat by then is (\d+) %", " ".join(told.reasons))
    assert said and float(said[1]) == pytest.approx(100 * then.weight[then.afloat].sum(), abs=2)


def test_a_boat_far_away_is_led_there_and_its_way_counts(planned):
    told = work_out(asked(boat=Position(46.3, -28.4)))
    assert told.heading.at - UP > timedelta(hours=1)
    assert told.patterns[0].pattern.detection < planned.patterns[0].pattern.detection


@pytest.mark.parametrize("place, is_told", [(Position(46.2, -28.3), False), (Position(-46.2, -28.3), True), (Position(46.2, 28.3), True)])
def test_a_report_from_farther_than_anything_drifts_is_told_of(place, is_told):
    heard = Heard(UP, position=place)
    notes = list(working._too_far(asked(known=(heard,)), Position(46.1, -28.4)))
    assert len(notes) == is_told
    assert all("NM off the splash, farther than anything drifts in that time: look whose it is" in note for note in notes)
