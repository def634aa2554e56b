"""The two lumps of heat: exact whatever the step. Textbook cooling is in tests/published/test_heat.py."""

from math import inf

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from seatrial.heat import Heat, Stage, seconds_to_limit, steady, warming
from seatrial.plan import load_sample


@pytest.fixture(scope="module")
def section():
    """The section of the sample plan; frozen, so it may be shared."""
    return load_sample().heat


def integrated(plan, start_camera_c, start_housing_c, dt_s, outside_c, in_water, camera_w, housing_w, fan_on):
    """SciPy's DOP853 on the two equations as they stand in the module's docstring."""
    inner_w_k = plan.camera_to_housing_fan_w_k if fan_on else plan.camera_to_housing_w_k
    outer_w_k = plan.housing_to_water_w_k if in_water else plan.housing_to_air_w_k

    def slope(_time_s, state):
        camera_c, housing_c = state
        across_w = inner_w_k * (camera_c - housing_c)
        out_w = outer_w_k * (housing_c - outside_c)
        return (
            (camera_w - across_w) / plan.camera_heat_capacity_j_k,
            (housing_w + across_w - out_w) / plan.housing_heat_capacity_j_k,
        )

    run = solve_ivp(slope, (0.0, dt_s), (start_camera_c, start_housing_c), "DOP853", rtol=1e-10, atol=1e-10)
    return tuple(float(row[-1]) for row in run.y)


@pytest.mark.parametrize("dt_s", [1.0, 60.0, 1800.0, 20000.0])
@pytest.mark.parametrize(("in_water", "fan_on"), [(True, True), (True, False), (False, True), (False, False)])
def test_one_step_of_any_length_is_the_integral_of_the_two_equations(sample, dt_s, in_water, fan_on):
    heat = Heat(sample.heat)
    heat.camera_c, heat.housing_c = 48.0, 17.0
    heat.advance(dt_s, 9.5, in_water, 5.5, 2.3, fan_on)
    expected = integrated(sample.heat, 48.0, 17.0, dt_s, 9.5, in_water, 5.5, 2.3, fan_on)
    assert (heat.camera_c, heat.housing_c) == pytest.approx(expected, abs=1e-6)


def test_many_short_steps_end_where_one_long_one_does(sample):
    long, short = Heat(sample.heat, 16.0), Heat(sample.heat, 16.0)
    long.advance(3600.0, 10.0, True, 5.5, 1.0, False)
    for _ in range(3600):
        short.advance(1.0, 10.0, True, 5.5, 1.0, False)
    assert (short.camera_c, short.housing_c) == pytest.approx((long.camera_c, long.housing_c), abs=1e-9)


def test_no_time_changes_nothing(sample):
    heat = Heat(sample.heat, 16.0)
    heat.camera_c = 30.0
    heat.advance(0.0, 5.0, True, 5.5, 1.0, False)
    assert (heat.camera_c, heat.housing_c) == pytest.approx((30.0, 16.0), abs=1e-12)


def test_with_everything_off_all_ends_at_the_temperature_outside(sample):
    heat = Heat(sample.heat, 40.0)
    heat.advance(1e7, 4.0, True, 0.0, 0.0, False)
    assert (heat.camera_c, heat.housing_c) == pytest.approx((4.0, 4.0), abs=1e-9)


def test_all_power_leaves_through_the_housing_in_the_end(sample):
    heat = Heat(sample.heat)
    heat.advance(1e7, 10.0, True, 5.5, 2.5, True)
    assert heat.housing_c == pytest.approx(10.0 + 8.0 / sample.heat.housing_to_water_w_k)
    assert heat.camera_c == pytest.approx(heat.housing_c + 5.5 / sample.heat.camera_to_housing_fan_w_k)


def test_the_fan_cools_the_camera_and_water_cools_better_than_air(sample):
    def camera_after_an_hour(in_water, fan_on):
        heat = Heat(sample.heat, 20.0)
        heat.advance(3600.0, 20.0, in_water, 5.5, 1.0, fan_on)
        return heat.camera_c

    assert camera_after_an_hour(True, True) < camera_after_an_hour(False, True) < camera_after_an_hour(True, False)
    assert camera_after_an_hour(True, False) < camera_after_an_hour(False, False)


# --- without running a dive --------------------------------------------------------------------------------------------

POWERS_W = st.floats(0.0, 30.0)
STARTS_C = st.floats(0.0, 55.0)


@given(camera_w=POWERS_W, housing_w=POWERS_W, outside_c=st.floats(-2.0, 30.0), in_water=st.booleans(), fan=st.booleans())
def test_the_steady_state_is_where_a_long_time_leads(section, camera_w, housing_w, outside_c, in_water, fan):
    lumps = Heat(section, 20.0)
    lumps.advance(1e7, outside_c, in_water, camera_w, housing_w, fan)
    ends = steady(section, outside_c, in_water, camera_w, housing_w, fan)
    assert (lumps.camera_c, lumps.housing_c) == pytest.approx(ends, abs=1e-6)


@given(camera_c=STARTS_C, housing_c=STARTS_C, outside_c=st.floats(-2.0, 30.0), in_water=st.booleans(),
       camera_w=POWERS_W, fan=st.booleans())
def test_at_the_time_to_the_limit_the_camera_is_at_the_limit_and_not_before(
        section, camera_c, housing_c, outside_c, in_water, camera_w, fan):
    inputs = (outside_c, in_water, camera_w, 2.0)
    seconds = seconds_to_limit(section, 58.0, camera_c, housing_c, *inputs, fan)
    lumps = Heat(section)

    def camera_after(passed_s: float) -> float:
        lumps.camera_c, lumps.housing_c = camera_c, housing_c
        lumps.advance(passed_s, *inputs, fan)
        return lumps.camera_c

    if seconds == inf:
        assert max(camera_after(n * 600.0) for n in range(1, 200)) <= 58.0 + 1e-9
        return
    assert camera_after(seconds) == pytest.approx(58.0, abs=1e-6)
    assert all(camera_after(seconds * n / 50) <= 58.0 + 1e-9 for n in range(50))


def test_a_camera_in_a_housing_that_was_hot_passes_the_limit_on_the_way_and_cools_again(section):
    # a hot housing heats an idle camera above the limit, although both end at the water's temperature
    seconds = seconds_to_limit(section, 40.0, 20.0, 90.0, 10.0, True, 0.0, 0.0, True)
    assert 0.0 < seconds < inf
    assert steady(section, 10.0, True, 0.0, 0.0, True)[0] == 10.0


@given(warmer_k=st.floats(0.0, 20.0), more_w=st.floats(0.0, 10.0))
def test_warmer_water_and_more_power_never_make_a_cooler_camera(section, warmer_k, more_w):
    base = steady(section, 10.0, True, 7.5, 1.0, False)[0]
    assert steady(section, 10.0 + warmer_k, True, 7.5, 1.0, False)[0] >= base
    assert steady(section, 10.0, True, 7.5 + more_w, 1.0, False)[0] >= base


@given(camera_w=POWERS_W)
def test_the_fan_never_makes_the_steady_camera_hotter(section, camera_w):
    still, blown = (steady(section, 10.0, True, camera_w, 1.0, fan)[0] for fan in (False, True))
    assert blown <= still


def test_stages_one_after_the_other_are_one_long_advance(section):
    stages = [Stage(1000.0, 10.0, True, 7.5, 1.0, None), Stage(500.0, lambda _second: 10.0, True, 7.5, 1.0, None)]
    times_s, cameras_c, housings_c = warming(section, stages, 18.0)
    lumps = Heat(section, 18.0)
    lumps.advance(1500.0, 10.0, True, 7.5, 1.0, False)
    assert times_s[0] == 0.0 and times_s[-1] == pytest.approx(1500.0)
    assert (cameras_c[-1], housings_c[-1]) == pytest.approx((lumps.camera_c, lumps.housing_c))
    assert len(times_s) == len(cameras_c) == len(housings_c)


def test_the_fan_of_a_stage_holds_the_camera_between_its_two_temperatures(section):
    _times, cameras_c, _housings = warming(section, [Stage(36000.0, 10.0, True, 7.5, 1.0, (34.0, 29.0))], 10.0)
    late = cameras_c[len(cameras_c) // 2:]
    assert min(late) > 27.0 and max(late) < 37.0
