"""The numbers of the mission record that are keys of the plan in another unit, and how each is rounded."""

from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, Decimal
from typing import NamedTuple

from lander import orders as lander_orders

DOWN, UP, NEAREST = ROUND_FLOOR, ROUND_CEILING, ROUND_HALF_EVEN


class Conversion(NamedTuple):
    """One number of the mission record that is a key of the plan in another unit."""

    order: str
    key: str
    per_unit: int
    rounding: str


# Rounded toward home: whatever starts, ends or reports the dive comes rather sooner, whatever frees or powers the
# lander comes rather longer. Only what has no such side is rounded to the nearest.
CONVERSIONS = (
    Conversion("timed_release_ds", "times.timed_release_min", 600, DOWN),
    Conversion("latest_release_ds", "times.latest_release_min", 600, DOWN),
    Conversion("settle_latest_ds", "times.settle_latest_min", 600, DOWN),
    Conversion("slowest_ascent_ds", "times.slowest_ascent_min", 600, DOWN),
    Conversion("surface_margin_ds", "times.surface_margin_min", 600, DOWN),
    Conversion("power_gap_ds", "times.power_gap_min", 600, DOWN),
    Conversion("beacon_ds", "beacon.hours", 36000, UP),
    Conversion("pause_ds", "release.pause_s", 10, DOWN),
    Conversion("pause_max_ds", "release.pause_max_s", 10, DOWN),
    Conversion("shed_ds", "release.shed_s", 10, DOWN),
    Conversion("fire_primary_ds", "release.primary.fire_s", 10, UP),
    Conversion("fire_backup_ds", "release.backup.fire_s", 10, UP),
    Conversion("rise_cm", "release.rise_m", 100, UP),  # a release is over only when a rise is sure
    Conversion("stalled_ds", "thresholds.stalled_s", 10, DOWN),
    Conversion("submerged_cm", "thresholds.submerged_m", 100, DOWN),
    Conversion("surface_cm", "thresholds.surface_m", 100, UP),
    Conversion("sign_hold_ds", "thresholds.sign_hold_s", 10, DOWN),
    Conversion("one_sign_wait_ds", "thresholds.one_sign_wait_min", 600, DOWN),
    Conversion("settled_band_cm", "thresholds.settled_band_m", 100, NEAREST),
    Conversion("settled_ds", "thresholds.settled_s", 10, NEAREST),
    Conversion("too_deep_cm", "thresholds.too_deep_m", 100, DOWN),
    Conversion("leak_hold_ds", "thresholds.leak_hold_s", 10, DOWN),
    Conversion("low_hold_ds", "thresholds.low_hold_s", 10, DOWN),
    Conversion("reserve_mv", "thresholds.reserve_mv", 1, UP),
    Conversion("controller_ma", "power.controller_ma", 1, UP),
    Conversion("lights_ma", "lights.current_ma", 1, UP),
    Conversion("fan_ma", "fan.current_ma", 1, UP),
    Conversion("power_press_ds", "camera.power_press_s", 10, NEAREST),
    Conversion("record_press_ds", "camera.record_press_s", 10, NEAREST),
    Conversion("camera_start_ds", "camera.start_s", 10, UP),
    Conversion("camera_stop_ds", "camera.stop_s", 10, UP),
    Conversion("camera_answer_ds", "camera.answer_s", 10, UP),
    Conversion("camera_hot_centi_c", "camera.hot_c", 100, DOWN),
    Conversion("camera_cool_centi_c", "camera.cool_c", 100, DOWN),
    Conversion("lights_pct", "lights.level_pct", 1, DOWN),
    Conversion("lights_on_ds", "lights.on_s", 10, DOWN),
    Conversion("lights_off_ds", "lights.off_s", 10, UP),
    Conversion("fan_on_centi_c", "fan.on_c", 100, DOWN),
    Conversion("fan_off_centi_c", "fan.off_c", 100, DOWN),
    Conversion("magnet_hold_ds", "magnet.hold_s", 10, NEAREST),
    Conversion("magnet_hold_max_ds", "magnet.hold_max_s", 10, NEAREST),
    Conversion("reading_descent_ds", "journal.reading_descent_s", 10, UP),
    Conversion("reading_bottom_ds", "journal.reading_bottom_s", 10, UP),
    Conversion("reading_surface_ds", "journal.reading_surface_s", 10, UP),
)

CONVERSION_OF = {conversion.order: conversion for conversion in CONVERSIONS}
LIMITS_OF = {field[0]: (field[1], field[2]) for field in lander_orders.rows()}


def rounded(value: float, per_unit: int, rounding: str) -> int:
    """`value` in steps of the controller, `per_unit` to one unit of the plan, rounded as `rounding` says."""
    # through the shortest decimal text, so that 0.7 s is 7 tenths and not 7.000000000000001 rounded up to 8
    return int((Decimal(repr(value)) * per_unit).to_integral_value(rounding))


def bounds_of(order: str) -> tuple[float, float]:
    """The lowest and the highest value that `order` allows its key, in the unit of the plan."""
    per_unit, cents = CONVERSION_OF[order].per_unit, Decimal("0.01")
    low, high = (Decimal(limit) / per_unit for limit in LIMITS_OF[order])
    return float(low.quantize(cents, ROUND_CEILING)), float(high.quantize(cents, ROUND_FLOOR))
