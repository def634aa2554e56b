"""The two lumps of heat against textbook cooling. Ids are those of the table of check values."""

from math import pi
from types import SimpleNamespace

import pytest

from seatrial.heat import Heat

ENDLESS_J_K = 1e12
MINUTE_S = 60.0


def two_lumps(camera_j_k, housing_j_k, inner_w_k, outer_w_k, fan_w_k=1.0, air_w_k=1.0):
    return SimpleNamespace(
        camera_heat_capacity_j_k=camera_j_k,
        housing_heat_capacity_j_k=housing_j_k,
        camera_to_housing_w_k=inner_w_k,
        camera_to_housing_fan_w_k=fan_w_k,
        housing_to_water_w_k=outer_w_k,
        housing_to_air_w_k=air_w_k,
    )


@pytest.mark.published(
    "memory", ids="12.1", tolerance="0.05 s",
    source="Incropera, example 5.1 (cited from memory): 25 to 199 degC in a gas of 200 degC in 5.2 s")
def test_the_thermocouple_bead_of_the_textbook_warms_in_five_seconds():
    # 12.1: Incropera, example 5.1 (cited from memory): sphere 0.706 mm, rho 8500, c 400, h 400: from 25 to 199 degC in
    # a gas of 200 degC in 5.2 s. The bead is the camera, the gas a housing that nothing can cool.
    diameter_m = 7.06e-4
    heat_capacity_j_k = 8500.0 * 400.0 * pi * diameter_m**3 / 6.0
    heat = Heat(two_lumps(heat_capacity_j_k, ENDLESS_J_K, 400.0 * pi * diameter_m**2, 1e-6))
    heat.camera_c, heat.housing_c = 25.0, 200.0
    heat.advance(5.2, 200.0, True, 0.0, 0.0, False)
    assert heat.camera_c == pytest.approx(199.0, abs=0.05)


@pytest.mark.published(
    "worked", ids="12.6", tolerance="0.01, 0.3 %",
    source="3 kg, c 900, h 150 on 0.12 m2: tau 150 s, from 20 to 5 degC in water of 4 degC in 416 s")
def test_a_three_kilogram_housing_cools_in_the_worked_time():
    heat = Heat(two_lumps(1e-3, 3.0 * 900.0, 1.0, 150.0 * 0.12), start_c=20.0)
    heat.advance(416.0, 4.0, True, 0.0, 0.0, False)
    assert heat.housing_c == pytest.approx(5.0, abs=0.01)
    heat.advance(150.0, 4.0, True, 0.0, 0.0, False)
    assert heat.housing_c - 4.0 == pytest.approx(0.3679, abs=0.003)  # one more tau: 1/e


@pytest.mark.published(
    "worked", ids="12.5", tolerance="0.1 K",
    source="inner film 14.9 K, wall 1.76 K, outer film 0.35 K, all for 5 W: the still air rules, not the wall")
def test_five_watts_in_an_acrylic_tube_end_at_the_sum_of_the_worked_steps():
    heat = Heat(two_lumps(180.0, 900.0, 5.0 / 14.9, 5.0 / (1.76 + 0.35)), start_c=10.0)
    heat.advance(1e6, 10.0, True, 5.0, 0.0, False)
    assert heat.camera_c == pytest.approx(27.0, abs=0.1)
    assert heat.housing_c == pytest.approx(12.1, abs=0.1)


def minutes_to_hot(plan, outside_c, in_water, housing_w, fan_on, hours=12):
    heat = Heat(plan.heat, start_c=outside_c)
    for minute in range(hours * 60):
        if heat.camera_c >= plan.camera.hot_c:
            return minute
        heat.advance(MINUTE_S, outside_c, in_water, plan.heat.camera_recording_w, housing_w, fan_on)
    return None


@pytest.mark.published(
    "practice", tolerance="within the range",
    source="common practice, no source: 30 to 40 minutes at full power")
@pytest.mark.parametrize("in_water", [True, False])
def test_a_sealed_camera_overheats_in_half_an_hour_without_its_fan_and_runs_for_hours_with_it(sample, in_water):
    # Common practice, no source: 30 to 40 minutes at full power. Condition: 20 degC around the housing and inside,
    # controller only (0.5 W) in the housing, still air; then the fan on, which adds its own 1.6 W.
    assert 30 <= minutes_to_hot(sample, 20.0, in_water, 0.5, fan_on=False) <= 40
    assert minutes_to_hot(sample, 20.0, in_water, 0.5 + 1.6, fan_on=True) is None


@pytest.mark.published(
    "practice", tolerance="within the range",
    source="common practice, no source: 30 to 40 minutes at full power")
@pytest.mark.parametrize(("outside_c", "housing_w"), [(10.0, 2.4), (20.0, 2.4), (20.0, 0.5)])
def test_a_camera_that_turns_all_its_current_into_heat_overheats_as_fast_at_the_seabed(sample, outside_c, housing_w):
    # The same practice at 10 degC with the lamps' share in the housing needs other numbers than the sample may have:
    # 7.5 W is 520 mA from 14.4 V, all of it heat; 310 J/K and 0.05 W/K are a 0.35 kg camera in a snug mount.
    sample.heat.camera_recording_w = 7.5
    sample.heat.camera_heat_capacity_j_k = 310.0
    sample.heat.camera_to_housing_w_k = 0.05
    assert 30 <= minutes_to_hot(sample, outside_c, True, housing_w, fan_on=False) <= 40
    assert minutes_to_hot(sample, outside_c, True, housing_w + 1.6, fan_on=True) is None
