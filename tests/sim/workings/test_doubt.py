"""The doubt of a plan acts on drag, on every mass and on the water, by as much as it says and in one direction."""

import pytest

from seatrial.plan.reckoning import gravity_m_s2, hull_of, water_of
from seatrial.water import WaterColumn
from seatrial.workings.doubt import FAST_DOWN, FAST_UP, LIKELY, SLOW_DOWN, SLOW_UP, leaning_hull, leaning_water

from .plans_for_tests import sample, with_keys

SURE = {"doubt__drag_pct": 0.0, "doubt__mass_pct": 0.0, "doubt__density_kg_m3": 0.0}
DEPTHS_M = (0.0, 200.0, 430.0)


def test_without_a_lean_the_hull_is_the_planned_one():
    leaning, planned = leaning_hull(sample(), LIKELY, 1.0), hull_of(sample(), with_ballast=True)
    for depth_m in DEPTHS_M:
        assert leaning.net_force_n(depth_m) == planned.net_force_n(depth_m)
        assert leaning.terminal_speed_m_s(depth_m) == planned.terminal_speed_m_s(depth_m)


@pytest.mark.parametrize(("lean", "sign"), [(SLOW_DOWN, -1), (FAST_DOWN, 1), (SLOW_UP, 1), (FAST_UP, -1)])
def test_every_mass_is_off_and_floats_and_body_keep_their_volume(lean, sign):
    plan, lander = with_keys(**{**SURE, "doubt__mass_pct": 2.0}), sample().lander
    gravity = gravity_m_s2(plan.site)
    bare_n = sign * 0.02 * (lander.mass_kg + lander.floats.mass_kg) * gravity
    for depth_m in DEPTHS_M:
        off_n = leaning_hull(plan, lean, 0.0).net_force_n(depth_m) - hull_of(plan, False).net_force_n(depth_m)
        assert off_n == pytest.approx(bare_n)
        grip = 1 - water_of(plan.site).density_at(depth_m) / lander.ballast.density_kg_m3
        off_n = leaning_hull(plan, lean, 1.0).net_force_n(depth_m) - hull_of(plan, True).net_force_n(depth_m)
        assert off_n == pytest.approx(bare_n + sign * 0.02 * lander.ballast.mass_kg * grip * gravity)


@pytest.mark.parametrize(("lean", "ballast_left", "factor"), [
    (SLOW_DOWN, 1.0, 1.2), (FAST_DOWN, 1.0, 0.8), (SLOW_UP, 0.0, 1.2), (FAST_UP, 0.0, 0.8)])
def test_drag_is_off_on_the_way_it_is_for(lean, ballast_left, factor):
    plan = with_keys(**{**SURE, "doubt__drag_pct": 20.0})
    planned, leaning = hull_of(plan, ballast_left > 0), leaning_hull(plan, lean, ballast_left)
    assert leaning.terminal_speed_m_s(100.0) == pytest.approx(planned.terminal_speed_m_s(100.0) / factor**0.5)


def test_the_water_is_off_by_what_the_doubt_says_even_where_it_is_fresh():
    fresh = tuple(row.model_copy(update={"salinity_psu": 0.0}) for row in sample().site.water)
    plan = with_keys(site__water=fresh, doubt__density_kg_m3=2.0)
    for depth_m in DEPTHS_M:
        planned = water_of(plan.site).density_at(depth_m)
        assert leaning_water(plan, SLOW_DOWN).density_at(depth_m) == pytest.approx(planned + 2.0)
        assert leaning_water(plan, FAST_UP).density_at(depth_m) == pytest.approx(planned + 2.0)
        assert leaning_water(plan, SLOW_UP).density_at(depth_m) == pytest.approx(planned - 2.0)
        assert leaning_water(plan, FAST_DOWN).density_at(depth_m) == pytest.approx(planned - 2.0)


def test_the_planned_water_that_others_share_is_not_moved():
    leaning_water(sample(), SLOW_UP)
    assert water_of(sample().site).density_kg_m3 == WaterColumn(sample().site).density_kg_m3
