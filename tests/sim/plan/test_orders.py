"""What a plan orders the controller to do. "By hand" marks arithmetic worked here from the sample plan."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lander import orders as lander_orders
from seatrial import plan as plans
from seatrial.plan import PlanError
from seatrial.plan.conversion import CONVERSIONS
from seatrial.plan.orders import DERIVED_FROM

from .editing import SAMPLE, edited, put, refusal


def test_the_orders_of_the_sample_survive_the_mission_record():
    plan = plans.load_sample()
    read = lander_orders.unpack(plan.mission_record())
    assert read.good
    assert [getattr(read, name) for name in lander_orders.NAMES] == \
        [getattr(plan.orders(), name) for name in lander_orders.NAMES]


def test_every_number_of_the_mission_record_comes_from_the_plan_once():
    sources = [conversion.order for conversion in CONVERSIONS] + list(DERIVED_FROM)
    assert sorted(sources) == sorted(lander_orders.NAMES)


@pytest.mark.parametrize(("order", "expected"), [  # by hand, from the text of the sample
    ("timed_release_ds", 300 * 60 * 10), ("latest_release_ds", 360 * 60 * 10), ("settle_latest_ds", 18000),
    ("slowest_ascent_ds", 24000), ("surface_margin_ds", 6000), ("power_gap_ds", 6000), ("beacon_ds", 60 * 3600 * 10),
    ("pause_ds", 600), ("pause_max_ds", 18000), ("shed_ds", 200), ("fire_primary_ds", 2400), ("fire_backup_ds", 120),
    ("kind_primary", lander_orders.WIRE), ("kind_backup", lander_orders.LATCH), ("rise_cm", 300),
    ("submerged_cm", 150), ("surface_cm", 100), ("too_deep_cm", 56000), ("settled_band_cm", 50),
    ("one_sign_wait_ds", 9000), ("reserve_mv", 14400), ("record_press_ds", 3), ("camera_hot_centi_c", 5800),
    ("fan_off_centi_c", 2900), ("camera_on_ma", 88), ("camera_recording_ma", 370), ("camera_lamp_permille", 400),
    ("camera_feedback", lander_orders.CURRENT), ("camera_supply", lander_orders.SWITCHED), ("fire_ma", 1000),
    ("reading_surface_ds", 3000), ("film_descent", 1), ("lights_pct", 70), ("magnet_hold_max_ds", 150),
])
def test_an_order_is_the_number_of_the_sample_in_the_unit_of_the_controller(order, expected):
    assert getattr(plans.load_sample().orders(), order) == expected


@pytest.mark.parametrize(("path", "literal", "order", "expected"), [
    ("release.shed_s", "0.7", "shed_ds", None),  # 0.7 * 10 is 7.000000000000001 in floats, and below the limit of 10
    ("release.shed_s", "20.19", "shed_ds", 201),
    ("times.timed_release_min", "300.0019", "timed_release_ds", 180001),
    ("times.latest_release_min", "359.9999", "latest_release_ds", 215999),
    ("release.primary.fire_s", "240.01", "fire_primary_ds", 2401),
    ("camera.stop_s", "0.7", "camera_stop_ds", 7),
    ("camera.answer_s", "3.01", "camera_answer_ds", 31),
    ("release.rise_m", "3.001", "rise_cm", 301),
    ("thresholds.too_deep_m", "559.999", "too_deep_cm", 55999),
    ("thresholds.reserve_mv", "14400.2", "reserve_mv", 14401),
    ("power.controller_ma", "38.2", "controller_ma", 39),
    ("fan.off_c", "-1.255", "fan_off_centi_c", -126),
])
def test_what_falls_between_two_steps_is_rounded_toward_home(path, literal, order, expected):
    text = put(SAMPLE, path, literal)
    if expected is None:
        assert "release.shed_s is 0.7" in refusal(text)[0]
    else:
        assert getattr(plans.parse(text).orders(), order) == expected


@given(minutes=st.floats(10, 359))
@settings(max_examples=40, deadline=None)
def test_the_timed_release_survives_the_change_of_unit_and_is_never_later_than_planned(minutes):
    text = edited(times__timed_release_min=repr(minutes), times__settle_latest_min="8")
    try:
        orders = plans.parse(text).orders()
    except PlanError as error:  # too soon for the descent of the sample
        assert minutes < 13
        assert "times.timed_release_min" in str(error)
        return
    planned_ds = minutes * 600
    assert planned_ds - 1 <= orders.timed_release_ds <= planned_ds + 1e-6


def test_a_latch_and_a_wire_may_change_places():
    text = SAMPLE.replace("[release.primary]", "[release.spare]").replace("[release.backup]", "[release.primary]")
    orders = plans.parse(text.replace("[release.spare]", "[release.backup]")).orders()
    assert (orders.kind_primary, orders.kind_backup) == (lander_orders.LATCH, lander_orders.WIRE)
    assert (orders.fire_primary_ds, orders.fire_backup_ds) == (120, 2400)


def test_a_camera_on_its_own_pack_takes_nothing_from_the_main_one():
    plan = plans.parse(edited(camera__supply='"own_pack"', camera__feedback='"lamp"'))
    assert plan.orders().camera_ma == 0
    assert plan.orders().camera_supply == lander_orders.OWN_PACK
    assert plans.energy_budget(plan).to_latest.camera_mah == 0


def test_the_reserve_and_the_capacity_of_the_orders_are_those_of_the_budget():
    plan = plans.load_sample()
    budget = plans.energy_budget(plan)
    assert (plan.orders().reserve_mah, plan.orders().capacity_mah) == (budget.reserve_mah, budget.capacity_mah)
