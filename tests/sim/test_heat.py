"""The two lumps of heat: exact whatever the step. Textbook cooling is in tests/published/test_heat.py."""

import pytest
from scipy.integrate import solve_ivp

from seatrial.heat import Heat


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
