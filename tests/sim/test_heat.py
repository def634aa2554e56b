"""The two lumps of heat: exact whatever the step. Textbook cooling is in tests/published/test_heat.py."""

from math import inf, nan
from types import SimpleNamespace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from seatrial.heat import Heat, Stage, seconds_to_limit, steady, warming
from seatrial.plan import load_sample


@pytest.fixture(scope="module")
def section():
    """The section of the sample plan; frozen, so it may be shared."""
    return load_sample().heat


def lumps_of(camera_j_k, housing_j_k, inner_w_k, outer_w_k):
    """A section of numbers of its own; fan and still air, water and air are the same to it."""
    return SimpleNamespace(
        camera_heat_capacity_j_k=camera_j_k, housing_heat_capacity_j_k=housing_j_k,
        camera_to_housing_w_k=inner_w_k, camera_to_housing_fan_w_k=inner_w_k,
        housing_to_water_w_k=outer_w_k, housing_to_air_w_k=outer_w_k)


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


@settings(max_examples=100)
@given(camera_j_k=st.floats(50.0, 5000.0), housing_j_k=st.floats(50.0, 5000.0), inner_w_k=st.floats(0.02, 5.0),
       outer_w_k=st.floats(0.1, 50.0), housing_c=st.floats(-20.0, 150.0), camera_w=POWERS_W)
def test_the_time_to_the_limit_holds_for_any_housing_and_whichever_way_the_camera_turns(
        camera_j_k, housing_j_k, inner_w_k, outer_w_k, housing_c, camera_w):
    numbers = lumps_of(camera_j_k, housing_j_k, inner_w_k, outer_w_k)
    seconds = seconds_to_limit(numbers, 40.0, 20.0, housing_c, 10.0, True, camera_w, 1.0, False)
    slowest_s = (camera_j_k + housing_j_k) * (1 / inner_w_k + 1 / outer_w_k)
    lumps, until_s = Heat(numbers), min(seconds, 20 * slowest_s)

    def camera_after(passed_s: float) -> float:
        lumps.camera_c, lumps.housing_c = 20.0, housing_c
        lumps.advance(passed_s, 10.0, True, camera_w, 1.0, False)
        return lumps.camera_c

    assert all(camera_after(until_s * (n / 400) ** 3) <= 40.0 + 1e-6 for n in range(400))
    if seconds < inf:
        assert camera_after(seconds) == pytest.approx(40.0, abs=1e-6)


def test_a_camera_in_a_housing_that_was_hot_passes_the_limit_on_the_way_and_cools_again():
    # a hot housing heats an idle camera above the limit, although both end at the water's temperature
    numbers = lumps_of(310.0, 5200.0, 0.55, 6.0)
    seconds = seconds_to_limit(numbers, 40.0, 20.0, 90.0, 10.0, True, 0.0, 0.0, False)
    assert integrated(numbers, 20.0, 90.0, seconds, 10.0, True, 0.0, 0.0, False)[0] == pytest.approx(40.0, abs=1e-4)
    assert integrated(numbers, 20.0, 90.0, 20 * seconds, 10.0, True, 0.0, 0.0, False)[0] < 40.0
    assert seconds_to_limit(numbers, 60.0, 20.0, 90.0, 10.0, True, 0.0, 0.0, False) == inf


def test_a_camera_that_cools_at_first_reaches_its_limit_later():
    numbers = lumps_of(310.0, 5200.0, 0.55, 6.0)
    seconds = seconds_to_limit(numbers, 40.0, 39.0, 5.0, 30.0, True, 7.5, 0.0, False)
    assert integrated(numbers, 39.0, 5.0, 60.0, 30.0, True, 7.5, 0.0, False)[0] < 39.0
    assert integrated(numbers, 39.0, 5.0, seconds, 30.0, True, 7.5, 0.0, False)[0] == pytest.approx(40.0, abs=1e-4)


def test_a_camera_at_its_limit_has_no_time_left_and_one_that_ends_at_it_has_all_of_it():
    numbers = lumps_of(310.0, 5200.0, 0.5, 5.0)
    assert seconds_to_limit(numbers, 40.0, 40.0, 10.0, 10.0, True, 0.0, 0.0, False) == 0.0
    assert seconds_to_limit(numbers, 22.0, 10.0, 10.0, 10.0, True, 5.0, 5.0, False) == inf  # ends at 10 + 2 + 10


@pytest.mark.parametrize("key", ["limit_c", "camera_c", "housing_c", "outside_c", "camera_w", "housing_w"])
def test_a_number_that_is_none_is_refused_and_not_waited_for(section, key):
    inputs = {"limit_c": 58.0, "camera_c": 20.0, "housing_c": 20.0, "outside_c": 10.0, "camera_w": 7.5, "housing_w": 1.0}
    with pytest.raises(ValueError, match=f"{key} is nan"):
        seconds_to_limit(section, **{**inputs, key: nan}, in_water=True, fan_on=False)


@given(warmer_k=st.floats(0.0, 20.0), more_w=st.floats(0.0, 10.0))
def test_warmer_water_and_more_power_never_make_a_cooler_camera(section, warmer_k, more_w):
    base = steady(section, 10.0, True, 7.5, 1.0, False)[0]
    assert steady(section, 10.0 + warmer_k, True, 7.5, 1.0, False)[0] >= base
    assert steady(section, 10.0, True, 7.5 + more_w, 1.0, False)[0] >= base


@given(camera_w=POWERS_W)
def test_the_fan_never_makes_the_steady_camera_hotter(section, camera_w):
    still, blown = (steady(section, 10.0, True, camera_w, 1.0, fan)[0] for fan in (False, True))
    assert blown <= still


@given(camera_w=POWERS_W, fan_w=st.floats(0.0, 5.0))
def test_with_its_own_power_the_fan_costs_no_more_than_that_power_warms_the_housing(section, camera_w, fan_w):
    still = steady(section, 10.0, True, camera_w, 1.0, False)[0]
    blown = steady(section, 10.0, True, camera_w, 1.0 + fan_w, True)[0]
    assert blown <= still + fan_w / section.housing_to_water_w_k + 1e-9


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


@pytest.mark.parametrize("hours", [2, 24, 720])
def test_the_moment_of_the_limit_is_read_off_as_well_from_a_month_as_from_two_hours(hours):
    numbers = lumps_of(310.0, 5200.0, 0.05, 6.0)
    exact_s = seconds_to_limit(numbers, 58.0, 16.0, 16.0, 10.0, True, 7.5, 1.9, False)
    times_s, cameras_c, _ = warming(numbers, [Stage(hours * 3600.0, 10.0, True, 7.5, 1.9, None)], 16.0)
    read_s = next(time_s for time_s, camera_c in zip(times_s, cameras_c, strict=True) if camera_c >= 58.0)
    assert exact_s <= read_s <= 1.02 * exact_s + 30.0
    assert len(times_s) < 500


def test_water_that_gets_colder_on_the_way_down_is_the_integral_of_the_equations():
    numbers = lumps_of(310.0, 900.0, 0.05, 6.0)

    def slope(time_s, state):
        across_w = 0.05 * (state[0] - state[1])
        return ((7.5 - across_w) / 310.0, (1.0 + across_w - 6.0 * (state[1] - (18.0 - time_s / 300.0))) / 900.0)

    run = solve_ivp(slope, (0.0, 2400.0), (20.0, 20.0), "DOP853", rtol=1e-10, atol=1e-10)
    stage = Stage(2400.0, lambda second: 18.0 - second / 300.0, True, 7.5, 1.0, None)
    _times, cameras_c, housings_c = warming(numbers, [stage], 20.0)
    assert (cameras_c[-1], housings_c[-1]) == pytest.approx((float(run.y[0][-1]), float(run.y[1][-1])), abs=0.02)


@given(st.lists(st.floats(0.0, 1e6), min_size=1, max_size=4))
def test_stages_of_any_length_follow_each_other_and_end_where_they_should(section, lengths_s):
    times_s, cameras_c, housings_c = warming(
        section, [Stage(seconds, 10.0, True, 7.5, 1.0, None) for seconds in lengths_s], 18.0)
    assert times_s == sorted(times_s) and times_s[-1] == pytest.approx(sum(lengths_s))
    assert len(times_s) == len(cameras_c) == len(housings_c)


def test_the_fan_stays_on_until_the_camera_is_cool():
    # warmed to 31 degC, between off and on: a fan that was off stays off and the camera warms on to 34
    numbers = lumps_of(310.0, 5200.0, 0.05, 6.0)
    numbers.camera_to_housing_fan_w_k = 5.0
    warm = Stage(600.0, 10.0, True, 7.5, 0.0, (34.0, 29.0))
    _times, off_c, _ = warming(numbers, [warm], 31.0)
    assert max(off_c) >= 34.0 and min(off_c[off_c.index(max(off_c)):]) < 29.5


def test_a_stage_without_fan_puts_off_the_one_that_ran():
    numbers = lumps_of(310.0, 5200.0, 0.05, 6.0)
    numbers.camera_to_housing_fan_w_k = 5.0
    blown = Stage(30.0, 10.0, True, 7.5, 0.0, (20.0, 15.0))
    _times, cameras_c, housings_c = warming(numbers, [blown, Stage(600.0, 10.0, True, 7.5, 0.0, None)], 31.0)
    assert cameras_c[1] > 20.0  # the fan is on still
    expected = integrated(numbers, cameras_c[1], housings_c[1], 600.0, 10.0, True, 7.5, 0.0, False)
    assert (cameras_c[-1], housings_c[-1]) == pytest.approx(expected, abs=1e-4)
