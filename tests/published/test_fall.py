"""Whole falls and rises of the hull against an independent integration: SciPy's solve_ivp, DOP853, rtol 1e-9.

The forces are written again here, from volumes, compressibilities and the water, so the hull's own tables are under
test as well as its closed-form steps.
"""

from types import SimpleNamespace

import pytest
from scipy.integrate import solve_ivp

from seatrial.hull import Hull
from seatrial.water import WaterColumn

INTEGRATED = "an integration of its own: SciPy, solve_ivp, DOP853, rtol 1e-9"

DEPTH_TOLERANCE_M = 0.1
TIME_TOLERANCE_S = 0.5


def reference(sample, water, start_depth_m, start_speed, ballast_left, seconds, end_depth_m=None):
    """Integrates the vertical motion; with an end depth it stops there."""
    lander, floats, ballast = sample.lander, sample.lander.floats, sample.lander.ballast
    mass_kg = lander.mass_kg + floats.mass_kg + ballast_left * ballast.mass_kg
    ballast_m3 = ballast_left * ballast.mass_kg / ballast.density_kg_m3

    def slope(_time_s, state):
        depth_m, speed = state
        sea_mpa = (water.pressure_mbar_at(depth_m) - sample.site.air_pressure_hpa) * 1e-4
        body_m3 = 1e-3 * lander.volume_l * (1.0 - lander.compressibility_per_mpa * sea_mpa)
        floats_m3 = 1e-3 * floats.volume_l * (1.0 - floats.compressibility_per_mpa * sea_mpa)
        density = water.density_at(depth_m)
        net_n = water.gravity_m_s2 * (mass_kg - density * (body_m3 + floats_m3 + ballast_m3))
        coefficient = lander.drag_coefficient_down if speed > 0.0 else lander.drag_coefficient_up
        drag_n = 0.5 * density * coefficient * lander.frontal_area_m2 * speed * abs(speed)
        return speed, (net_n - drag_n) / (mass_kg + lander.added_mass_kg)

    events = []
    if end_depth_m is not None:

        def arrived(_time_s, state):
            return state[0] - end_depth_m

        arrived.terminal = True
        events.append(arrived)
    start = (start_depth_m, start_speed)
    run = solve_ivp(slope, (0.0, seconds), start, "DOP853", events=events, rtol=1e-9, atol=1e-9, max_step=5.0)
    assert run.success
    return float(run.t[-1]), float(run.y[0][-1]), float(run.y[1][-1])


def hull_in(sample, water):
    hull = Hull(sample.site, sample.lander, water)
    hull.in_water = True
    return hull


def trimmed_for(hull, depth_m):
    """The ballast fraction that lets the hull float at this depth: net force is linear in it."""
    hull.ballast_left = 0.0
    without_n = hull.net_force_n(depth_m)
    hull.ballast_left = 1.0
    return without_n / (without_n - hull.net_force_n(depth_m))


def dive_times(sample, water, step_s):
    """Touch-down, leaving and surfacing of a whole dive driven in steps, and the depths every 60 s of the way down."""
    hull = hull_in(sample, water)
    clock_s = 0.0
    depths = []
    events = []
    while not hull.on_bottom:
        clock_s += hull.advance(min(step_s, 60.0 - clock_s % 60.0))
        if clock_s % 60.0 == 0.0:
            depths.append(hull.depth_m)
    events.append(clock_s)
    hull.ballast_left = 0.0
    while hull.on_bottom:
        clock_s += hull.advance(step_s)
    events.append(clock_s)
    while hull.depth_m > 0.0:
        clock_s += hull.advance(step_s)
    events.append(clock_s)
    return events, depths


@pytest.mark.published("library", source=INTEGRATED, tolerance="0.5 s, 0.1 m")
@pytest.mark.parametrize("step_s", [0.5, 2.0, 5.0, 600.0])
def test_the_descent_is_that_of_the_numerical_integration(sample, step_s):
    water = WaterColumn(sample.site)
    hull = hull_in(sample, water)
    seconds = 0.0
    while seconds < 300.0:
        seconds += hull.advance(min(step_s, 300.0 - seconds))
    _time_s, depth_m, speed = reference(sample, water, 0.0, 0.0, 1.0, 300.0)
    assert hull.depth_m == pytest.approx(depth_m, abs=DEPTH_TOLERANCE_M)
    assert hull.speed_m_s == pytest.approx(speed, abs=0.001)

    while not hull.on_bottom:
        seconds += hull.advance(step_s)
    touch_s, _depth_m, _speed = reference(sample, water, 0.0, 0.0, 1.0, 3000.0, sample.site.depth_m)
    assert seconds == pytest.approx(touch_s, abs=TIME_TOLERANCE_S)


@pytest.mark.published("library", source=INTEGRATED, tolerance="0.5 s, 0.1 m")
@pytest.mark.parametrize("step_s", [0.5, 2.0, 5.0, 600.0])
def test_the_ascent_is_that_of_the_numerical_integration(sample, step_s):
    sample.site.mud_suction_n = 0.0
    sample.site.mud_hold_s = 0.0
    water = WaterColumn(sample.site)
    hull = hull_in(sample, water)
    hull.depth_m = float(sample.site.depth_m)
    hull.on_bottom = True
    hull.ballast_left = 0.0
    assert hull.advance(step_s) == 0.0
    seconds = 0.0
    while seconds < 300.0:
        seconds += hull.advance(min(step_s, 300.0 - seconds))
    _time_s, depth_m, speed = reference(sample, water, sample.site.depth_m, 0.0, 0.0, 300.0)
    assert hull.depth_m == pytest.approx(depth_m, abs=DEPTH_TOLERANCE_M)
    assert hull.speed_m_s == pytest.approx(speed, abs=0.001)

    while hull.depth_m > 0.0:
        seconds += hull.advance(step_s)
    surface_s, _depth_m, _speed = reference(sample, water, sample.site.depth_m, 0.0, 0.0, 3000.0, 0.0)
    assert seconds == pytest.approx(surface_s, abs=TIME_TOLERANCE_S)


@pytest.mark.published("library", source=INTEGRATED, tolerance="0.002")
def test_ballast_lost_while_sinking_turns_the_lander_round_as_integrated(sample):
    water = WaterColumn(sample.site)
    hull = hull_in(sample, water)
    hull.depth_m, hull.speed_m_s, hull.ballast_left = 150.0, 0.9, 0.0
    for seconds in (1.0, 5.0, 30.0):
        hull.depth_m, hull.speed_m_s = 150.0, 0.9
        hull.advance(seconds)
        _time_s, depth_m, speed = reference(sample, water, 150.0, 0.9, 0.0, seconds)
        assert hull.depth_m == pytest.approx(depth_m, abs=0.002)
        assert hull.speed_m_s == pytest.approx(speed, abs=0.002)


@pytest.mark.published("library", source=INTEGRATED, tolerance="0.01")
def test_a_lander_thrown_in_fast_slows_down_as_integrated(sample):
    water = WaterColumn(sample.site)
    hull = hull_in(sample, water)
    hull.speed_m_s = 4.0
    hull.advance(3.0)
    _time_s, depth_m, speed = reference(sample, water, 0.0, 4.0, 1.0, 3.0)
    assert hull.depth_m == pytest.approx(depth_m, abs=0.01)
    assert hull.speed_m_s == pytest.approx(speed, abs=0.002)


@pytest.mark.published("library", source=INTEGRATED, tolerance="0.1 m")
@pytest.mark.parametrize("step_s", [2.0, 5.0, 600.0])
def test_a_lander_that_hangs_on_a_sharp_layer_swings_as_integrated(sample, step_s):
    # brackish water over the sea, and a lander trimmed to float between the two
    salinities = ((0.0, 20.0), (98.0, 20.0), (102.0, 36.0))
    sample.site.water = [SimpleNamespace(depth_m=d, salinity_psu=s, temperature_c=10.0) for d, s in salinities]
    water = WaterColumn(sample.site)
    hull = hull_in(sample, water)
    hull.ballast_left = trimmed_for(hull, 100.0)
    assert hull.net_force_n(95.0) > 0.0 > hull.net_force_n(105.0)
    for until_s in (20.0, 120.0, 400.0):
        hull.depth_m, hull.speed_m_s = 90.0, 0.5
        seconds = 0.0
        while seconds < until_s:
            seconds += hull.advance(min(step_s, until_s - seconds))
        _time_s, depth_m, _speed = reference(sample, water, 90.0, 0.5, hull.ballast_left, until_s)
        assert hull.depth_m == pytest.approx(depth_m, abs=DEPTH_TOLERANCE_M)


@pytest.mark.published("worked", source="the same integration with half the step", tolerance="0.5 s, 0.1 m")
@pytest.mark.parametrize("step_s", [5.0, 4.0, 2.0, 1.0])
def test_half_the_step_changes_no_depth_by_a_decimetre_and_no_event_by_half_a_second(sample, step_s):
    # measured: 0.0002 s for the events from 5 s steps down to 0.1 s steps, less than 1 mm for the depths
    water = WaterColumn(sample.site)
    events, depths = dive_times(sample, water, step_s)
    finer_events, finer_depths = dive_times(sample, water, 0.5 * step_s)
    assert len(depths) == len(finer_depths) == 10
    assert depths == pytest.approx(finer_depths, abs=DEPTH_TOLERANCE_M)
    assert events == pytest.approx(finer_events, abs=TIME_TOLERANCE_S)
