"""What a plan orders the controller to do: the mission record's numbers, all of them."""

import math
from typing import TYPE_CHECKING

from lander import orders as lander_orders
from lander.orders import Orders
from seatrial.plan.conversion import CONVERSIONS, rounded
from seatrial.plan.energy import energy_budget
from seatrial.plan.night import night_min
from seatrial.plan.reckoning import water_of

if TYPE_CHECKING:
    from seatrial.plan.whole import Plan

CAMERA_ON_SHARE = 0.4  # a camera that draws more than this share of its idle current is on
CAMERA_LAMP_PERMILLE = 400  # a record lamp brighter than this is lit

# The numbers of the mission record that are reckoned from several keys, or chosen by a word, and the key to look at
# first when one of them does not fit. `_derived` reckons them.
DERIVED_FROM = {
    "kind_primary": "release.primary.kind",
    "kind_backup": "release.backup.kind",
    "cm_per_bar": "site.water",
    "pressure_full_mbar": "sensors.pressure.range_m",
    "capacity_mah": "power.capacity_ah",
    "reserve_mah": "beacon.hours",
    "beacon_ma": "beacon.lamp_ma",
    "night_from_min": "site.longitude_deg",
    "night_until_min": "site.longitude_deg",
    "camera_ma": "camera.recording_ma",
    "fire_ma": "release.primary.current_ma",
    "camera_feedback": "camera.feedback",
    "camera_supply": "camera.supply",
    "camera_on_ma": "camera.idle_ma",
    "camera_recording_ma": "camera.recording_ma",
    "camera_lamp_permille": "camera.feedback",
    "film_descent": "camera.film_descent",
    "self_test": "self_test.sensors",
}

KINDS = {"wire": lander_orders.WIRE, "latch": lander_orders.LATCH}
FEEDBACKS = {"none": lander_orders.NONE, "lamp": lander_orders.LAMP, "current": lander_orders.CURRENT}
# The parts of the self-test, each a key of its section, with their bits.
SELF_TEST = {
    "sensors": lander_orders.TEST_SENSORS,
    "circuits": lander_orders.TEST_CIRCUITS,
    "memory": lander_orders.TEST_STORE,
    "camera": lander_orders.TEST_CAMERA,
    "lights": lander_orders.TEST_LIGHTS,
}
SUPPLIES = {"main_switched": lander_orders.SWITCHED, "own_pack": lander_orders.OWN_PACK}


def orders_of(plan: "Plan") -> Orders:
    """Every field of `lander.orders`, as integers, from a plan that was checked; `good` is set for that reason.

    Rounded toward home (see `CONVERSIONS`): release times and capacity down, reserve, currents and firing up.
    """
    numbers = _derived(plan)
    for conversion in CONVERSIONS:
        numbers[conversion.order] = rounded(plan.value(conversion.key), conversion.per_unit, conversion.rounding)
    orders = Orders()
    for name in lander_orders.NAMES:
        setattr(orders, name, numbers[name])
    orders.good = True
    return orders


def _derived(plan: "Plan") -> dict[str, int]:
    budget, water, camera, release = energy_budget(plan), water_of(plan.site), plan.camera, plan.release
    night_from_min, night_until_min = night_min(plan)
    return {
        "kind_primary": KINDS[release.primary.kind],
        "kind_backup": KINDS[release.backup.kind],
        "cm_per_bar": water.cm_per_bar,
        "pressure_full_mbar": math.floor(water.pressure_mbar_at(plan.sensors.pressure.range_m)),
        "capacity_mah": budget.capacity_mah,
        "reserve_mah": budget.reserve_mah,
        "beacon_ma": math.ceil(plan.power.controller_ma + plan.beacon.lamp_ma + plan.beacon.report_ma),
        "night_from_min": night_from_min,
        "night_until_min": night_until_min,
        "camera_ma": math.ceil(camera.recording_ma) if camera.supply == "main_switched" else 0,
        "fire_ma": math.ceil(max(release.primary.current_ma, release.backup.current_ma)),
        "camera_feedback": FEEDBACKS[camera.feedback],
        "camera_supply": SUPPLIES[camera.supply],
        "camera_on_ma": round(camera.idle_ma * CAMERA_ON_SHARE),
        "camera_recording_ma": round((camera.idle_ma + camera.recording_ma) / 2),
        "camera_lamp_permille": CAMERA_LAMP_PERMILLE,
        "film_descent": int(camera.film_descent),
        "self_test": sum(bit for part, bit in SELF_TEST.items() if getattr(plan.self_test, part)),
    }
