"""A boat and drifting landers: the chance to be seen, in closed form, against plain numerical integration."""

from datetime import UTC, datetime, timedelta
from math import exp, pi

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from tumblehome.find.lamps import NEVER_S, SELDOM, Lamps
from tumblehome.find.meeting import Course, Drifting, chance, exposed, found
from tumblehome.find.shapes import Cloud, Plane, Position, Way
from tumblehome.find.sighting import Sighting, Span

from .plans_and_clouds import fully

BEGIN = datetime(2027, 5, 18, 13, 0, tzinfo=UTC)
HOUR = timedelta(hours=1)
WAYS = (Way("timed", "timed release", 0.5), Way("passive", "corroding link", 0.5))
LAMP = Sighting("lamp", 800.0, "the light", 0.004, 0.0, 3.0)
EYE = Sighting("eye", 5000.0, "the horizon", 0.0, 3.0 * 500.0**2 / (8 * pi), 3.0)
places = st.floats(-3000, 3000)


def cloud(at, east, north, way=None, afloat=None):
    number = len(east)
    return Cloud(Plane(Position(46.1, -28.4)), at, WAYS, np.array(east, float), np.array(north, float), np.full(number, 1 / number),
                 np.zeros(number, int) if way is None else np.array(way), np.ones(number, bool) if afloat is None else np.array(afloat))


def straight(hours=1.0, speed=3.0):
    """North through the origin."""
    run = 3600 * hours * speed
    return Course(BEGIN, np.array([0.0, 3600 * hours]), np.zeros(2), np.array([-0.5 * run, 0.5 * run]))


def span(sighting, hours=48.0, begin=BEGIN):
    return Span(begin, begin + hours * HOUR, "any", sighting)


@given(places, places, places, places, st.sampled_from([LAMP, EYE]))
def test_the_chances_along_a_line_are_the_integral_of_the_rate(east, north, to_east, to_north, sighting):
    # SciPy's adaptive quadrature of the rate itself, told where the range begins and ends by a fine scan
    def rate(share):
        distance = np.hypot(east + share * (to_east - east), north + share * (to_north - north))
        return float(sighting.rate_per_s(distance))
    scan = np.linspace(0, 1, 4001)
    distances = np.hypot(east + scan * (to_east - east), north + scan * (to_north - north))
    cuts = scan[1:][np.diff((distances <= sighting.range_m).astype(int)) != 0]
    nearest = scan[int(np.argmin(distances))]
    expected, _error = quad(rate, 0, 1, points=sorted({*cuts, nearest} - {0.0, 1.0}) or None, limit=400)
    got = exposed(sighting, 600.0, (np.array([east]), np.array([north])), (np.array([to_east]), np.array([to_north])))[0]
    if distances.min() > 20:  # nearer, the reckoning keeps a metre off the line and the rate a metre off the point
        assert got == pytest.approx(600.0 * expected, rel=2e-3, abs=2e-3)
    assert got >= 0


def test_a_lander_that_keeps_its_distance_is_seen_at_the_rate_of_that_distance():
    here = (np.array([300.0, 900.0]), np.array([0.0, 0.0]))
    assert exposed(LAMP, 100.0, here, here) == pytest.approx([0.4, 0.0], abs=1e-12)


def test_a_pass_within_range_lasts_as_long_as_its_chord():
    # a chord of a circle by Pythagoras: 480 m abeam in 800 m of range is 2 x 640 m, at 3 m/s 426.7 s
    course = straight()
    seen = found(course, Drifting([cloud(BEGIN, [480.0, 801.0], [0.0, 0.0])]), [span(LAMP)])
    assert seen == pytest.approx([1 - exp(-0.004 * 1280 / 3), 0.0], rel=1e-9)


@pytest.mark.parametrize("sighting", [LAMP, EYE])
def test_a_long_pass_sees_what_the_lateral_curve_says(sighting):
    abeam = np.array([5.0, 100.0, 400.0, 790.0, 2000.0])
    seen = found(straight(4.0), Drifting([cloud(BEGIN, abeam, np.zeros(5))]), [span(sighting)])
    assert seen == pytest.approx(sighting.lateral(abeam), abs=1e-6)


def test_the_lander_and_a_boat_that_drift_together_meet_as_if_both_lay_in_still_water():
    course, drift = straight(), (0.4, -0.3)
    carried = Course(BEGIN, course.seconds, course.east_m + 0.4 * course.seconds, course.north_m - 0.3 * course.seconds)
    there = cloud(BEGIN, [480.0, -200.0], [100.0, 30.0])
    assert found(carried, Drifting([there], drift), [span(LAMP)]) == pytest.approx(found(course, Drifting([there]), [span(LAMP)]), rel=1e-9)


def test_a_cloud_more_on_the_way_changes_nothing_where_the_drift_is_steady():
    east, north = np.array([480.0, -200.0]), np.array([100.0, 30.0])
    clouds = [cloud(BEGIN + hours * HOUR, east + 900 * hours, north - 300 * hours) for hours in (0, 0.3, 0.5, 1)]
    with_more = found(straight(), Drifting(clouds), [span(EYE)])
    assert with_more == pytest.approx(found(straight(), Drifting([clouds[0], clouds[-1]]), [span(EYE)]), rel=1e-9)
    assert with_more == pytest.approx(found(straight(), Drifting(clouds[:1], (0.25, -1 / 12)), [span(EYE)]), rel=1e-9)


def test_a_lander_below_is_not_found_and_one_that_comes_up_counts_from_the_next_cloud():
    clouds = [cloud(BEGIN + hours * HOUR, [0.0, 0.0], [0.0, 0.0], afloat=[False, hours >= 1]) for hours in (0, 1, 2)]
    first = found(straight(), Drifting(clouds), [span(LAMP)])
    later = Course(BEGIN + HOUR, *(getattr(straight(), name) for name in ("seconds", "east_m", "north_m")))
    assert first == pytest.approx([0.0, 0.0])
    assert found(later, Drifting(clouds), [span(LAMP)]) == pytest.approx([0.0, 1 - exp(-0.004 * 1600 / 3)], rel=1e-6)


def test_by_its_lamp_only_a_lander_whose_lamp_is_counted_on_is_found():
    there = cloud(BEGIN, [100.0, 100.0], [0.0, 0.0], way=[0, 1])
    dark = Drifting([there], lamps=fully(7200.0, -1.0))
    by_night, by_day = (found(straight(), dark, [span(sighting)]) for sighting in (LAMP, EYE))
    assert by_night[0] > 0.5 and by_night[1] == 0.0
    assert by_day[0] == by_day[1] > 0.5
    out = Drifting([there], lamps=fully(900.0, 900.0))
    assert found(straight(), out, [span(LAMP)]) == pytest.approx([0.0, 0.0])  # out before the boat comes within range


def test_a_lamp_that_flashes_seldom_is_noticed_that_much_less_and_a_float_by_day_alike():
    there = cloud(BEGIN, [100.0, 100.0], [0.0, 0.0])
    sparing = Drifting([there], lamps=Lamps(np.array([7200.0, NEVER_S]), np.array([7200.0, 7200.0])))
    full, seldom = found(straight(), sparing, [span(LAMP)])
    assert np.log1p(-seldom) == pytest.approx(SELDOM * np.log1p(-full), rel=1e-9)
    assert found(straight(), sparing, [span(EYE)])[0] == found(straight(), sparing, [span(EYE)])[1]
    later = Drifting([there], lamps=Lamps(np.array([900.0, 900.0]), np.array([7200.0, 7200.0])))
    assert found(straight(), later, [span(LAMP)]) == pytest.approx(seldom, rel=1e-9)  # past its planned hours


def test_what_is_seen_in_two_lights_is_seen_in_each_of_them_by_itself():
    here = Drifting([cloud(BEGIN, [300.0], [0.0])])
    parts = [found(straight(), here, [Span(BEGIN, BEGIN + HOUR / 2, "day", EYE)])[0],
             found(straight(), here, [Span(BEGIN + HOUR / 2, BEGIN + HOUR, "night", LAMP)])[0]]
    both = found(straight(), here, [Span(BEGIN, BEGIN + HOUR / 2, "day", EYE), Span(BEGIN + HOUR / 2, BEGIN + HOUR, "night", LAMP)])[0]
    assert both == pytest.approx(1 - (1 - parts[0]) * (1 - parts[1]), rel=1e-9)
    assert found(straight(), here, [])[0] == 0.0


def test_the_chance_of_the_search_weighs_the_particles():
    here = cloud(BEGIN, [100.0, 5000.0], [0.0, 0.0])
    assert chance(straight(), Drifting([here]), [span(LAMP)]) == pytest.approx(0.5 * LAMP.lateral(np.array([100.0]))[0], rel=1e-6)


def test_a_thinned_cloud_weighs_as_much_as_the_whole():
    whole = Drifting([cloud(BEGIN + hours * HOUR, np.arange(1001.0), np.zeros(1001)) for hours in (0, 1)])
    few = whole.thinned(100)
    assert few.weight.size <= 100
    assert few.weight.sum() == pytest.approx(whole.weight.sum(), rel=1e-12)
    assert (few.weight * few.at(BEGIN)[0]).sum() == pytest.approx(500.0, rel=0.02)
    assert whole.thinned(5000) is whole


def test_the_frame_of_some_particles_moves_as_their_mean():
    clouds = [cloud(BEGIN + hours * HOUR, [0.0 + 500 * hours, 900.0 - 500 * hours], [0.0, 100.0 * hours]) for hours in (0, 1, 2)]
    moved = Drifting(clouds).frame(BEGIN + HOUR / 2, np.array([True, False]))
    assert moved(0.0) == (0.0, 0.0)
    assert moved(3600.0) == pytest.approx((500.0, 0.0), abs=1e-9)


@pytest.mark.parametrize("clouds", [
    [], [cloud(BEGIN, [0.0], [0.0]), cloud(BEGIN, [0.0], [0.0])], [cloud(BEGIN, [0.0], [0.0]), cloud(BEGIN + HOUR, [0.0, 1.0], [0.0, 1.0])],
])
def test_clouds_that_do_not_belong_together_are_refused(clouds):
    with pytest.raises(ValueError, match="cloud"):
        Drifting(clouds)


def test_a_moment_that_the_clouds_do_not_reach_is_refused():
    two = Drifting([cloud(BEGIN, [0.0], [0.0]), cloud(BEGIN + HOUR, [0.0], [0.0])])
    with pytest.raises(ValueError, match="outside of the clouds"):
        found(straight(2.0), two, [span(LAMP)])
