"""What a search that found nothing leaves: closed forms of search theory, and Bayes by hand."""

from collections.abc import Callable
from datetime import datetime, timedelta
from math import exp

import numpy as np
import pytest

from tumblehome.find.drifting import clouds
from tumblehome.find.lamps import NEVER_S, SELDOM, Lamps
from tumblehome.find.mistakes import FindError
from tumblehome.find.shapes import Cloud, Plane, Position
from tumblehome.find.tracks import Segment, Track
from tumblehome.find.unseen import after_search, chance_unseen, moments_for

from .plans_and_clouds import NOON, PLAN, cloud_of, fully, hours

PLANE = Plane(Position(46.1, -28.4))
KN = 1852 / 3600


def definite(range_m: float) -> Callable[[np.ndarray], np.ndarray]:
    return lambda distance_m: np.where(distance_m <= range_m, 1.0, 0.0)


def track(*points_m: tuple[float, float], speed_m_s: float = 6 * KN, begin: datetime = NOON) -> Track:
    """A boat that goes from point to point, east and north of the origin, at this speed."""
    moments = [begin]
    for start, end in zip(points_m, points_m[1:], strict=False):
        moments.append(moments[-1] + timedelta(seconds=float(np.hypot(end[0] - start[0], end[1] - start[1])) / speed_m_s))
    return Track("boat.gpx", (Segment(tuple(moments), tuple(PLANE.position(*point) for point in points_m)),))


def still(cloud: Cloud, tracks: list[Track]) -> list[Cloud]:
    """The same cloud at every moment: a sea that stands still."""
    return [Cloud(cloud.plane, moment, cloud.ways, cloud.east_m, cloud.north_m, cloud.weight, cloud.way, cloud.afloat)
            for moment in moments_for(tracks)]


def strip(half_width_m: float = 1000.0, count: int = 20_001) -> Cloud:
    """Evenly across the track, which goes north through the origin."""
    return cloud_of(np.linspace(-half_width_m, half_width_m, count), np.zeros(count))


PAST = track((0.0, -5000.0), (0.0, 5000.0))


# --- closed forms -----------------------------------------------------------------------------------------------------


def test_one_definite_range_pass_through_an_even_strip_takes_out_its_share_exactly():
    """Koopman, Search and Screening, 1946: swept is 2 R of the width."""
    unseen = chance_unseen(still(strip(), [PAST]), [PAST], a_pass=definite(300.0))
    assert unseen.mean() == pytest.approx(1 - 2 * 300 / 2000, abs=2e-3)
    assert set(np.unique(unseen)) == {0.0, 1.0}


def test_a_pass_is_weighed_by_the_nearest_distance_of_each_particle():
    def law(distance_m):
        return 0.8 * np.exp(-(distance_m / 400) ** 2)
    cloud = strip()
    unseen = chance_unseen(still(cloud, [PAST]), [PAST], a_pass=law)
    assert unseen == pytest.approx(1 - law(np.abs(cloud.east_m)), abs=2e-3)


def test_a_rate_of_the_inverse_cube_comes_to_the_law_of_the_inverse_cube():
    """At a rate k h / r^3 and the speed w, the chance of a long straight pass at x is 1 - exp(-2 k h / (w x^2)):
    Koopman, Search and Screening, 1946."""
    k_h, speed = 2e6, 6 * KN
    far = track((0.0, -20_000.0), (0.0, 20_000.0))
    cloud = cloud_of([200.0, 400.0, 800.0], [0.0, 0.0, 0.0])
    unseen = chance_unseen(still(cloud, [far]), [far], a_second=lambda distance_m: k_h / distance_m ** 3)
    assert unseen == pytest.approx([exp(-2 * k_h / (speed * x ** 2)) for x in (200.0, 400.0, 800.0)], rel=0.02)


def test_a_boat_that_waits_sees_by_the_second():
    waits = Track("boat.gpx", (Segment((NOON, NOON + timedelta(minutes=5), NOON + timedelta(minutes=10)),
                                       (PLANE.origin,) * 3),))
    unseen = chance_unseen(still(cloud_of([100.0], [0.0]), [waits]), [waits], a_second=lambda d: np.full(d.shape, 1e-3))
    assert unseen[0] == pytest.approx(exp(-0.6))


# --- passes -----------------------------------------------------------------------------------------------------------


def law_of_half(distance_m: np.ndarray) -> np.ndarray:
    return np.where(distance_m <= 500.0, 0.5, 0.0)


def test_two_passes_multiply():
    there_and_back = track((0.0, -5000.0), (0.0, 5000.0), (200.0, 5000.0), (200.0, -5000.0))
    unseen = chance_unseen(still(cloud_of([100.0, 600.0], [0.0, 0.0]), [there_and_back]), [there_and_back],
                           a_pass=law_of_half)
    assert unseen == pytest.approx([0.25, 0.5])


def test_a_track_that_begins_or_ends_at_its_nearest_place_is_half_a_pass():
    away, to = track((0.0, 0.0), (0.0, 5000.0)), track((0.0, -5000.0), (0.0, 0.0))
    for one in (away, to):
        unseen = chance_unseen(still(cloud_of([100.0], [0.0]), [one]), [one], a_pass=law_of_half)
        assert unseen[0] == pytest.approx(0.5 ** 0.5)
    both = chance_unseen(still(cloud_of([100.0], [0.0]), [away, to]), [away, to], a_pass=law_of_half)
    assert both[0] == pytest.approx(0.5)


def test_positions_that_wobble_make_no_second_pass():
    random = np.random.Generator(np.random.PCG64(1))
    wobbling = track(*[(float(random.normal(0, 8)), -3000.0 + 20 * step + float(random.normal(0, 8)))
                       for step in range(300)])
    unseen = chance_unseen(still(cloud_of([300.0], [0.0]), [wobbling]), [wobbling], a_pass=law_of_half)
    assert unseen[0] == pytest.approx(0.5)


def test_the_nearest_distance_counts_where_boat_and_lander_both_move():
    """Nearest approach of two straight lines: |d x v| / |v| with d between them and v their relative velocity."""
    north_going = track((0.0, -2000.0), (0.0, 2000.0), speed_m_s=3.0)
    drift = np.array([1.0, 0.5])
    at_first = np.array([-400.0, 300.0])
    series = []
    for moment in moments_for([north_going]):
        place = at_first + drift * (moment - NOON).total_seconds()
        series.append(cloud_of([place[0]], [place[1]], at=moment))
    apart, relative = at_first - np.array([0.0, -2000.0]), drift - np.array([0.0, 3.0])
    nearest_m = abs(apart[0] * relative[1] - apart[1] * relative[0]) / np.hypot(*relative)
    unseen = chance_unseen(series, [north_going], a_pass=lambda distance_m: np.exp(-distance_m / 1000))
    assert -1000 * np.log(1 - unseen) == pytest.approx([nearest_m], rel=0.01)


def test_a_boat_that_goes_far_away_and_comes_back_makes_a_second_pass():
    far_and_back = track((0.0, -30_000.0), (0.0, 30_000.0), (0.0, -30_000.0), speed_m_s=20 * KN)
    unseen = chance_unseen(still(cloud_of([100.0, 0.0], [0.0, 30_000.0]), [far_and_back]), [far_and_back],
                           a_pass=law_of_half)
    assert unseen == pytest.approx([0.25, 0.5])


def test_a_point_a_second_tells_the_same_as_one_at_each_corner():
    every_second = track(*[(0.0, north) for north in np.arange(-2000.0, 2000.1, 3.0)])
    coarse = track((0.0, -2000.0), (0.0, 2000.2))
    def law(distance_m):
        return 0.8 * np.exp(-(distance_m / 400) ** 2)
    fine, plain = (chance_unseen(still(strip(1000.0, 501), [one]), [one], a_pass=law) for one in (every_second, coarse))
    assert fine == pytest.approx(plain, abs=2e-3)


def test_what_surfaces_after_the_boat_has_gone_by_was_not_seen():
    below = cloud_of([0.0, 100.0], [0.0, 0.0], afloat=[False, True])
    series = still(below, [PAST])
    unseen = chance_unseen(series, [PAST], a_pass=definite(300.0))
    assert list(unseen) == [1.0, 0.0]


def test_a_lamp_that_has_gone_out_is_not_seen():
    series = still(cloud_of([0.0, 100.0], [0.0, 0.0]), [PAST])
    middle_s = (PAST.last - PAST.first).total_seconds() / 2
    unseen = chance_unseen(series, [PAST], a_pass=definite(300.0), lamps=fully(1e9, middle_s - 900.0))
    assert list(unseen) == [0.0, 1.0]


def test_a_lamp_that_flashes_seldom_gives_so_many_fewer_chances():
    series = still(cloud_of([0.0, 0.0], [300.0, 300.0]), [PAST])
    lamps = Lamps(np.array([1e9, NEVER_S]), np.array([1e9, 1e9]))
    full, seldom = chance_unseen(series, [PAST], a_second=lambda away_m: np.where(away_m < 800.0, 0.003, 0.0), lamps=lamps)
    assert 0.0 < full < 0.5
    assert np.log(seldom) == pytest.approx(SELDOM * np.log(full), rel=1e-9)


def test_a_track_cut_in_two_leaves_what_the_whole_leaves():
    def law(distance_m):
        return 1e6 / np.maximum(distance_m, 50.0) ** 3
    cloud = strip(1000.0, 501)
    parts = [PAST.between(PAST.first, NOON + timedelta(minutes=23)), PAST.between(NOON + timedelta(minutes=23), PAST.last)]
    series = still(cloud, [PAST])
    whole = chance_unseen(series, [PAST], a_second=law)
    cut = [chance_unseen(series, [part], a_second=law) for part in parts if part]
    assert cut[0] * cut[1] == pytest.approx(whole, rel=1e-2)


# --- Bayes ------------------------------------------------------------------------------------------------------------


def test_the_order_of_two_searches_does_not_matter():
    other = track((-5000.0, 100.0), (5000.0, 100.0), begin=NOON + timedelta(hours=1))
    cloud = strip()
    series = still(cloud, [PAST, other])
    first, second = (chance_unseen(series, [one], a_pass=law_of_half) for one in (PAST, other))
    both = chance_unseen(series, [PAST, other], a_pass=law_of_half)
    assert both == pytest.approx(chance_unseen(series, [other, PAST], a_pass=law_of_half))
    assert both == pytest.approx(first * second)
    one_way, other_way = (after_search(after_search(cloud, a), b) for a, b in ((first, second), (second, first)))
    assert one_way.weight == pytest.approx(other_way.weight)


def test_what_was_not_searched_only_gains_and_the_weights_add_up_to_one():
    cloud = strip()
    unseen = chance_unseen(still(cloud, [PAST]), [PAST], a_pass=law_of_half)
    after = after_search(cloud, unseen)
    assert after.weight.sum() == pytest.approx(1)
    outside = np.abs(cloud.east_m) > 501
    assert (after.weight[outside] > cloud.weight[outside]).all()
    assert (after.weight[np.abs(cloud.east_m) < 499] < cloud.weight[0]).all()


def test_a_search_in_vain_makes_it_likelier_that_it_stays_down():
    """Bayes by hand: 0.9 afloat, of which the search finds 30 %, and 0.1 below: 0.1 / (0.9 * 0.7 + 0.1)."""
    count = 2001
    east = np.append(np.linspace(-1000, 1000, count), 0.0)
    cloud = cloud_of(east, np.zeros(count + 1), weight=np.append(np.full(count, 0.9 / count), 0.1),
                     afloat=[True] * count + [False], way=[0] * count + [1])
    after = after_search(cloud, chance_unseen(still(cloud, [PAST]), [PAST], a_pass=definite(300.0)))
    assert [way.probability for way in after.ways] == pytest.approx([0.63 / 0.73, 0.1 / 0.73], abs=1e-3)
    assert [way.key for way in after.ways] == ["timed", "stays_down"]


def test_after_a_day_of_search_around_the_planned_surfacing_the_link_and_the_seabed_gain():
    """On the clouds of the sample dive: what is left of each way is what Bayes leaves of its particles."""
    legs = [(400.0 * leg, north) for leg in range(12) for north in ((-1500.0, 4500.0) if leg % 2 else (4500.0, -1500.0))]
    search = track(*legs, begin=hours(6), speed_m_s=12 * KN)
    series = list(clouds(PLAN, [*moments_for([search]), hours(30)], 2, particles=5000))
    unseen = chance_unseen(series, [search], a_pass=definite(800.0))
    before, after = series[-1], after_search(series[-1], unseen)
    gained = {was.key: now.probability / was.probability for was, now in zip(before.ways, after.ways, strict=True)}
    assert gained["stays_down"] == pytest.approx(gained["passive"])
    assert gained["passive"] > 1 > gained["timed"]
    for number, way in enumerate(after.ways):
        own = before.way == number
        left = (before.weight[own] * unseen[own]).sum() / (before.weight * unseen).sum()
        assert way.probability == pytest.approx(left)


# --- what cannot be ---------------------------------------------------------------------------------------------------


def test_clouds_that_do_not_reach_over_the_track_are_refused():
    series = still(strip(), [PAST])
    with pytest.raises(FindError, match="boat.gpx begins at 2027-05-18 12:00Z, and the drift is worked out only from"):
        chance_unseen(series[1:], [PAST], a_pass=definite(300.0))
    with pytest.raises(FindError, match="boat.gpx ends at .*, and the drift is worked out only until"):
        chance_unseen(series[:-1], [PAST], a_pass=definite(300.0))


def test_a_search_that_leaves_nothing_is_refused():
    with pytest.raises(FindError, match="would have found the lander wherever it may be"):
        after_search(strip(), np.zeros(20_001))


def test_one_law_is_wanted_not_two_and_not_none():
    series = still(strip(), [PAST])
    for laws in ({}, {"a_pass": law_of_half, "a_second": law_of_half}):
        with pytest.raises(ValueError, match="one law"):
            chance_unseen(series, [PAST], **laws)
    with pytest.raises(ValueError, match="no cloud"):
        chance_unseen([], [PAST], a_pass=law_of_half)


def test_without_a_track_nothing_changes():
    assert (chance_unseen([strip()], [], a_pass=law_of_half) == 1).all()
    assert moments_for([]) == []


def test_moments_reach_from_the_first_to_the_last_point_no_more_than_ten_minutes_apart():
    moments = moments_for([PAST])
    assert (moments[0], moments[-1]) == (PAST.first, PAST.last)
    assert max(after - before for before, after in zip(moments, moments[1:], strict=False)) <= timedelta(minutes=10)
