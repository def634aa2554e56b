"""The ways home and how likely each is: shares, times, and what seeing and hearing nothing does to them."""

from math import log, sqrt

import numpy as np
import pytest

from seatrial.workings.lasting import beacon_hours_left
from seatrial.workings.release_paths import home_s, path_of
from tumblehome.find.guesses import built_in
from tumblehome.find.known import (
    FIX_RADIUS_M,
    Fix,
    Heard,
    NotHeard,
    NotSeen,
    StillDown,
    Surfaced,
    fix_before,
    last_fix,
)
from tumblehome.find.mistakes import FindError
from tumblehome.find.shapes import Position
from tumblehome.find.ways import Home, as_ways, homes, lean_of, share_afloat, triangle

from .plans_and_clouds import PLAN, hours

GUESSES = built_in()


def chances(known=(), plan=PLAN) -> dict[str, float]:
    return {home.key: home.chance for home in homes(plan, GUESSES, known)}


def home(key: str) -> Home:
    return next(one for one in homes(PLAN, GUESSES) if one.key == key)


def without(second: bool = False, link: bool = False):
    plan = PLAN
    if second:
        plan = plan.model_copy(update={"second": plan.second.model_copy(update={"fitted": False})})
    if link:
        passive = plan.release.passive.model_copy(update={"fitted": False})
        plan = plan.model_copy(update={"release": plan.release.model_copy(update={"passive": passive})})
    return plan


# --- before anything is known -----------------------------------------------------------------------------------------


def test_the_chances_are_those_of_the_table_and_add_up_to_one():
    found = chances()
    assert sum(found.values()) == pytest.approx(1)
    total = sum(GUESSES.ways.values())
    assert found == pytest.approx({key: chance / total for key, chance in GUESSES.ways.items()})
    assert [(way.key, way.probability) for way in as_ways(homes(PLAN, GUESSES))] == list(found.items())


def test_a_second_board_that_is_not_fitted_leaves_its_share_to_the_link():
    assert chances(plan=without(second=True))["passive"] == pytest.approx(chances()["passive"] + chances()["second"])
    assert "second" not in chances(plan=without(second=True))


def test_without_board_and_link_what_only_they_could_save_stays_down():
    found = chances(plan=without(second=True, link=True))
    assert sum(found.values()) == pytest.approx(1)
    lost = chances()["second"] + chances()["passive"] + chances()["stays_down"]
    assert found["stays_down"] == pytest.approx(lost)


def test_times_of_a_way_are_those_of_the_plan():
    backup, path = home("backup"), path_of(PLAN, "backup")
    rise_s = home_s(PLAN)
    assert None not in rise_s and path.freed_min.early and path.freed_min.late
    ends = backup.surfaced_s(np.array([0.0, 1.0]), np.array([-1.0, 1.0]))
    assert ends[0] == pytest.approx(path.freed_min.early * 60 + rise_s[0])
    assert ends[1] == pytest.approx(path.freed_min.late * 60 + rise_s[2])


def test_the_link_lets_go_evenly_in_the_logarithm_of_the_time():
    """Half of them by the geometric mean of earliest and latest."""
    link = home("passive")
    rise_h = home_s(PLAN)[1] / 3600
    assert share_afloat(link, (sqrt(30 * 72) + rise_h) * 3600) == pytest.approx(0.5, abs=0.02)
    assert share_afloat(link, (40 + rise_h) * 3600) == pytest.approx(log(40 / 30) / log(72 / 30), abs=0.02)


def test_what_stays_down_never_surfaces():
    assert np.isinf(home("stays_down").surfaced_s(np.array([0.1]), np.array([0.0]))).all()
    assert share_afloat(home("stays_down"), 1e12) == 0


@pytest.mark.published(
    "printed", tolerance="0.1 %",
    source="NIST/SEMATECH handbook of statistics, triangular distribution")
def test_the_triangle_has_the_mean_and_the_variance_of_a_triangle():
    """Mean (a + b + c) / 3, variance (a2 + b2 + c2 - ab - ac - bc) / 18: NIST/SEMATECH handbook of statistics."""
    a, c, b = 2.0, 3.0, 8.0
    drawn = triangle((np.arange(200_000) + 0.5) / 200_000, a, c, b)
    assert drawn.mean() == pytest.approx((a + b + c) / 3, rel=1e-4)
    assert drawn.var() == pytest.approx((a * a + b * b + c * c - a * b - a * c - b * c) / 18, rel=1e-3)
    assert triangle(np.array([0.3]), 5.0, 5.0, 5.0) == 5.0
    assert lean_of(np.array([0.0, 0.5, 1.0])) == pytest.approx([-1.0, 0.0, 1.0])


def test_the_beacon_hours_of_a_way_are_those_of_the_plan_and_the_second_boards_lander_is_dark():
    path = path_of(PLAN, "timed")
    assert path.surfaced_min.likely
    expected = beacon_hours_left(PLAN, path.surfaced_min.likely / 60, path.command_min, path.attempts)
    assert home("timed").lit_h(np.array([path.surfaced_min.likely * 60])) == pytest.approx(expected, rel=0.01)
    assert home("second").lit_h(np.array([24000.0])) == 0
    assert home("passive").lit_h(np.array([31.0, 72.2]) * 3600) == pytest.approx([29.3, 0.0], abs=0.5)


# --- what is known ----------------------------------------------------------------------------------------------------


def test_a_lander_that_should_have_been_seen_by_noon_and_was_not_is_likelier_still_below():
    """Bayes by hand: ways up by then count one minus the chance of seeing them; the link and what stays down, fully."""
    before, after = chances(), chances([NotSeen(hours(20), 0.9)])
    up = [key for key in before if key not in ("passive", "stays_down")]
    total = 0.1 * sum(before[key] for key in up) + before["passive"] + before["stays_down"]
    for key in before:
        assert after[key] == pytest.approx((0.1 if key in up else 1.0) * before[key] / total, rel=1e-6)


def test_two_looks_count_as_one_that_misses_the_product():
    twice = chances([NotSeen(hours(20), 0.5), NotSeen(hours(20), 0.8)])
    assert twice == pytest.approx(chances([NotSeen(hours(20), 0.9)]))


def test_silence_on_the_radio_says_nothing_of_a_lander_that_is_dark():
    before, after = chances(), chances([NotHeard(hours(20), 0.9)])
    assert after["second"] / after["stays_down"] == pytest.approx(before["second"] / before["stays_down"])
    assert after["timed"] / after["stays_down"] == pytest.approx(0.1 * before["timed"] / before["stays_down"])


def test_a_report_with_its_way_leaves_no_other():
    assert chances([Heard(hours(8), "backup")]) == pytest.approx({**dict.fromkeys(chances(), 0.0), "backup": 1.0})


def test_a_report_without_a_way_leaves_those_that_are_up_by_then():
    after = chances([Heard(hours(8))])
    assert after["stays_down"] == after["passive"] == 0
    assert after["timed"] / after["backup"] == pytest.approx(chances()["timed"] / chances()["backup"])


def test_still_down_after_the_latest_release_leaves_what_comes_later():
    after = chances([StillDown(hours(8))])
    assert set(key for key, chance in after.items() if chance > 0) == {"passive", "stays_down"}


def test_a_known_surfacing_leaves_its_way_at_that_moment():
    found, = homes(PLAN, GUESSES, [Surfaced(hours(6), "timed")])
    assert (found.key, found.chance) == ("timed", 1)
    assert found.surfaced_s(np.array([0.0, 0.5, 1.0]), np.array([-1.0, 0.0, 1.0])) == pytest.approx(6 * 3600)


def test_the_newest_position_counts():
    first, second = Position(46.0, -28.0), Position(46.1, -28.0)
    known = (Heard(hours(9), position=second), Heard(hours(8), position=first), Heard(hours(10)))
    fix = last_fix(known)
    assert fix and (fix.at, fix.position) == (hours(9), second)
    old = Heard(hours(9), position=second, fixed_at=hours(7))
    assert last_fix((old, known[1])) == Fix(hours(8), first, FIX_RADIUS_M)


def test_the_position_of_about_two_hours_before_tells_the_drift_and_one_of_minutes_before_nothing():
    place = Position(46.0, -28.0)
    heard = [Heard(hours(after), position=place) for after in (6, 8.2, 9, 9.9, 10)]
    last = last_fix(heard)
    assert last and last.at == hours(10)
    assert fix_before(heard, last) == Fix(hours(8.2), place, FIX_RADIUS_M)
    assert fix_before(heard[3:], last) is None


@pytest.mark.parametrize("known, said", [
    ([Heard(hours(0.01))], "cannot all be true"),
    ([StillDown(hours(9)), Heard(hours(8), "timed")], "cannot all be true: below at 2027-05-18 15:30Z, heard at 2027-05-18"
                                                      " 14:30Z (timed); no way home of this plan fits that: look at journal and"),
    ([Surfaced(hours(6), "sideways")], "the way home that was told, sideways, is none of this plan's; it has early, timed,"),
    ([NotSeen(hours(9), 1.5)], "the probability of having seen or heard it is 1.5; allowed is 0 to 1"),
    ([NotHeard(hours(-1), 0.5)], "2027-05-18 05:30Z is before the splash at 2027-05-18 06:30Z"),
])
def test_what_cannot_be_known_is_refused_in_one_sentence(known, said):
    with pytest.raises(FindError) as refused:
        homes(PLAN, GUESSES, known)
    assert len(refused.value.sentences) == 1
    assert said in str(refused.value)
