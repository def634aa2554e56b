"""What the lander does in the water. Accuracy against outside sources is in tests/published."""

from types import SimpleNamespace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from seatrial.hull import Hull
from seatrial.water import WaterColumn


@pytest.fixture
def water(sample):
    return WaterColumn(sample.site)


@pytest.fixture
def fresh_hull(sample, water):
    """Makes hulls in the water, for tests that need many of them."""

    def make():
        afloat = Hull(sample.site, sample.lander, water)
        afloat.in_water = True
        return afloat

    return make


@pytest.fixture
def hull(fresh_hull):
    return fresh_hull()


def afloat_without_ballast(sample, water):
    hull = Hull(sample.site, sample.lander, water)
    hull.in_water = True
    hull.ballast_left = 0.0
    return hull


def at_rest_on_the_bottom(hull, sample):
    hull.depth_m = float(sample.site.depth_m)
    hull.on_bottom = True
    return hull


def surplus_of(hull, sample, newtons):
    """Keeps as much ballast as leaves this much buoyancy at the seabed."""
    depth_m = sample.site.depth_m
    full_n = hull.net_force_n(depth_m)
    hull.ballast_left = 0.0
    bare_n = hull.net_force_n(depth_m)
    hull.ballast_left = (-newtons - bare_n) / (full_n - bare_n)
    assert hull.net_force_n(depth_m) == pytest.approx(-newtons, abs=1e-9)


def test_on_deck_nothing_moves(hull):
    hull.in_water = False
    assert hull.advance(3600.0) == 3600.0
    assert (hull.depth_m, hull.speed_m_s, hull.east_m, hull.north_m) == (0.0, 0.0, 0.0, 0.0)


def test_with_ballast_it_sinks_touches_the_bottom_and_stops_there_exactly(hull, sample):
    took_s = hull.advance(7200.0)
    assert 300.0 < took_s < 1200.0
    assert (hull.depth_m, hull.speed_m_s, hull.on_bottom) == (sample.site.depth_m, 0.0, True)


def test_on_the_bottom_it_stays_without_drifting(hull):
    hull.advance(7200.0)
    place = (hull.depth_m, hull.east_m, hull.north_m)
    assert hull.advance(1e7) == 1e7
    assert (hull.depth_m, hull.east_m, hull.north_m) == place
    assert hull.on_bottom


def test_the_mud_holds_for_its_time_and_then_lets_go(hull, sample):
    at_rest_on_the_bottom(hull, sample)
    hull.ballast_left = 0.0
    assert hull.advance(10.0) == 10.0
    assert hull.on_bottom and hull.held_s == 10.0
    assert hull.advance(600.0) == pytest.approx(sample.site.mud_hold_s - 10.0)
    assert not hull.on_bottom and hull.depth_m == sample.site.depth_m
    hull.advance(10.0)
    assert hull.depth_m < sample.site.depth_m


@pytest.mark.parametrize(
    ("share_of_suction", "held_for_good"), [(0.5, True), (0.99, True), (1.01, False), (3.0, False)]
)
def test_a_surplus_weaker_than_the_mud_is_held_for_good(hull, sample, share_of_suction, held_for_good):
    at_rest_on_the_bottom(hull, sample)
    surplus_of(hull, sample, share_of_suction * sample.site.mud_suction_n)
    seconds = hull.advance(1e6)
    assert hull.on_bottom is held_for_good
    assert seconds == (1e6 if held_for_good else sample.site.mud_hold_s)


def test_a_pull_that_ends_starts_anew(hull, sample):
    at_rest_on_the_bottom(hull, sample)
    hull.ballast_left = 0.0
    hull.advance(20.0)
    hull.ballast_left = 1.0
    hull.advance(1.0)
    hull.ballast_left = 0.0
    assert hull.advance(600.0) == pytest.approx(sample.site.mud_hold_s)


def test_without_ballast_it_rises_and_floats_at_the_surface(hull, sample):
    at_rest_on_the_bottom(hull, sample)
    hull.ballast_left = 0.0
    hull.advance(600.0)
    took_s = hull.advance(7200.0)
    assert 300.0 < took_s < 1500.0
    assert (hull.depth_m, hull.speed_m_s) == (0.0, 0.0)
    assert hull.advance(86400.0) == 86400.0
    assert (hull.depth_m, hull.speed_m_s) == (0.0, 0.0)


def test_afloat_in_a_calm_it_drifts_with_the_surface_current(sample, water):
    sample.site.wind.speed_m_s = 0.0
    hull = afloat_without_ballast(sample, water)
    hull.advance(1000.0)
    east, north = water.current_at(0.0)
    assert (hull.east_m, hull.north_m) == pytest.approx((1000.0 * east, 1000.0 * north))


def test_afloat_the_wind_takes_it_along_downwind_at_its_share(sample, water):
    sample.site.wind = SimpleNamespace(speed_m_s=10.0, from_deg=270.0, leeway_pct=3.0)
    hull = afloat_without_ballast(sample, water)
    hull.advance(1000.0)
    east, north = water.current_at(0.0)
    # a west wind drives eastward: 3 % of 10 m/s for 1000 s are 300 m
    assert (hull.east_m, hull.north_m) == pytest.approx((1000.0 * east + 300.0, 1000.0 * north))


def test_under_water_the_wind_moves_nothing(sample, water):
    ends = []
    for speed_m_s in (0.0, 20.0):
        sample.site.wind.speed_m_s = speed_m_s
        hull = Hull(sample.site, sample.lander, water)
        hull.in_water = True
        hull.advance(300.0)
        ends.append((hull.east_m, hull.north_m))
    assert ends[0] == ends[1]


def test_sinking_it_drifts_with_the_water_at_its_depth(hull, water):
    east_m = north_m = 0.0
    while not hull.on_bottom:
        east, north = water.current_at(hull.depth_m)
        took_s = hull.advance(0.5)
        east_m += took_s * east
        north_m += took_s * north
    assert (hull.east_m, hull.north_m) == pytest.approx((east_m, north_m), abs=0.1)


def test_a_caught_lander_hangs_at_its_depth_and_goes_on_when_let_loose(hull):
    hull.advance(100.0)
    depth_m, east_m = hull.depth_m, hull.east_m
    hull.caught = True
    assert hull.advance(5000.0) == 5000.0
    assert (hull.depth_m, hull.speed_m_s, hull.east_m) == (depth_m, 0.0, east_m)
    hull.caught = False
    hull.advance(10.0)
    assert hull.depth_m > depth_m


def test_half_a_drop_that_is_still_heavy_leaves_it_on_the_bottom(hull, sample):
    at_rest_on_the_bottom(hull, sample)
    hull.ballast_left = 0.6
    assert hull.net_force_n(sample.site.depth_m) > 0.0
    hull.advance(1e6)
    assert hull.on_bottom


@pytest.mark.parametrize("lost", [0.25, 0.5, 0.75])
def test_the_force_changes_in_step_with_the_ballast(hull, lost):
    full_n = hull.net_force_n(200.0)
    hull.ballast_left = 0.0
    bare_n = hull.net_force_n(200.0)
    hull.ballast_left = 1.0 - lost
    assert hull.net_force_n(200.0) == pytest.approx(full_n + lost * (bare_n - full_n))


def test_the_net_force_of_the_sample_is_what_a_hand_calculation_gives(hull, sample, water):
    # at the surface nothing is squeezed: 53 kg against 27.5 L of floats, 12 kg of steel and the body: housings 11.3 L,
    # lamps, release, mast and cables 3.15 L, 5.4 kg of aluminium and 3.15 kg of steel
    litres = 27.5 + 12.0 / 7.85 + 11.3 + 3.15 + 5.4 / 2.7 + 3.15 / 7.85
    expected_n = water.gravity_m_s2 * (53.0 - water.density_at(0.0) * litres / 1000.0)
    assert hull.net_force_n(0.0) == pytest.approx(expected_n)


def test_floats_that_give_way_under_pressure_cost_buoyancy(sample, water):
    stiff = Hull(sample.site, sample.lander, water)
    sample.lander.floats.compressibility_per_mpa = 1.5e-3
    soft = Hull(sample.site, sample.lander, water)
    assert soft.net_force_n(0.0) == pytest.approx(stiff.net_force_n(0.0))
    sea_mpa = (water.pressure_mbar_at(430.0) - 1013.0) / 1e4
    lost_m3 = 27.5e-3 * (1.5e-3 - 1.5e-4) * sea_mpa
    gained_n = soft.net_force_n(430.0) - stiff.net_force_n(430.0)
    assert gained_n == pytest.approx(lost_m3 * water.density_at(430.0) * water.gravity_m_s2, rel=1e-6)


def test_a_neutral_lander_that_moves_only_glides_out(sample):
    sample.site.water = [SimpleNamespace(depth_m=0.0, salinity_psu=0.0, temperature_c=4.0)]
    for part in (sample.lander, sample.lander.floats):
        part.compressibility_per_mpa = 0.0
    water = WaterColumn(sample.site)
    water.density_kg_m3 = [1000.0] * len(water.density_kg_m3)
    sample.lander.ballast.mass_kg = 0.0
    sample.lander.volume_l, sample.lander.added_mass_kg = 16.8, 22.0
    sample.lander.frontal_area_m2, sample.lander.drag_coefficient_down = 0.22, 1.0
    sample.lander.mass_kg = 16.8 + 27.5 - sample.lander.floats.mass_kg
    hull = Hull(sample.site, sample.lander, water)
    hull.in_water = True
    assert hull.net_force_n(100.0) == pytest.approx(0.0, abs=1e-9)
    hull.depth_m, hull.speed_m_s = 100.0, 1.0
    hull.advance(10.0)
    # v = v0 / (1 + k v0 t / m) with k = 1/2 * 1000 * 1.00 * 0.22 = 110 and m = 44.3 + 22: 1 / (1 + 16.59)
    assert hull.speed_m_s == pytest.approx(0.05684, abs=1e-5)
    assert hull.depth_m == pytest.approx(100.0 + 66.3 / 110.0 * 2.8674, abs=1e-3)


@given(until_m=st.floats(1.0, 429.0), step_s=st.sampled_from([0.3, 2.0, 5.0, 60.0, 600.0]))
@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_it_stops_exactly_at_the_depth_asked_for_and_leaves_from_there(fresh_hull, until_m, step_s):
    hull = fresh_hull()
    while hull.depth_m < until_m:
        took_s = hull.advance(step_s, until_m)
        assert hull.depth_m <= until_m
        assert took_s == step_s or hull.depth_m == until_m
    assert hull.depth_m == until_m
    speed = hull.speed_m_s
    hull.advance(0.2, until_m)
    assert hull.depth_m > until_m
    assert hull.speed_m_s == pytest.approx(speed, abs=0.2)


def test_a_depth_asked_for_below_the_seabed_is_never_reached(hull):
    hull.advance(7200.0, 500.0)
    assert hull.on_bottom


def test_of_two_events_in_one_step_the_nearer_comes_first(hull):
    hull.depth_m, hull.speed_m_s = 428.0, 0.7
    hull.advance(5.0, 429.0)
    assert hull.depth_m == 429.0 and not hull.on_bottom
    hull.advance(5.0, 429.0)
    assert hull.on_bottom


def test_a_crossing_and_its_return_are_both_seen_in_one_long_call(hull):
    hull.depth_m, hull.speed_m_s, hull.ballast_left = 150.0, 2.0, 0.0
    hull.advance(600.0, 150.5)
    assert hull.depth_m == 150.5 and hull.speed_m_s > 0.0
    hull.advance(600.0, 150.5)
    assert hull.depth_m == 150.5 and hull.speed_m_s < 0.0


def test_a_lander_turned_round_just_above_the_bottom_does_not_miss_the_touch(hull):
    hull.depth_m, hull.speed_m_s, hull.ballast_left = 429.9, 0.7, 0.0
    took_s = hull.advance(60.0)
    assert hull.on_bottom and took_s < 1.0


@given(
    depth_m=st.floats(0.0, 430.0),
    speed=st.floats(-3.0, 3.0),
    ballast_left=st.floats(0.0, 1.0),
    steps_s=st.lists(st.floats(0.01, 900.0), min_size=1, max_size=8),
)
@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_whatever_happens_it_stays_between_surface_and_seabed(fresh_hull, depth_m, speed, ballast_left, steps_s):
    hull = fresh_hull()
    hull.depth_m, hull.speed_m_s, hull.ballast_left = depth_m, speed, ballast_left
    for step_s in steps_s:
        took_s = hull.advance(step_s)
        assert 0.0 <= took_s <= step_s
        assert 0.0 <= hull.depth_m <= 430.0
        assert abs(hull.speed_m_s) <= 3.0


def test_the_same_dive_twice_is_the_same_to_the_last_bit(fresh_hull):
    def dive():
        hull = fresh_hull()
        trace = []
        for _ in range(400):
            hull.advance(2.0)
            trace.append((hull.depth_m, hull.speed_m_s, hull.east_m, hull.north_m))
        return trace

    assert dive() == dive()
