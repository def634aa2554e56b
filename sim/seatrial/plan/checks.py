"""Do the keys of a plan fit each other? One check, one question; each yields a sentence for every no."""

import math
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

from lander import orders as lander_orders
from lander.orders import Orders
from seatrial.battery import FULL_CELL_MV
from seatrial.plan.conversion import CONVERSION_OF, LIMITS_OF
from seatrial.plan.energy import (
    affordable_release_min,
    cold_resistance_ohm,
    coldest_water_c,
    energy_budget,
    filming_load_ma,
    filming_supply_mv,
    second_energy,
)
from seatrial.plan.orders import DERIVED_FROM
from seatrial.plan.reckoning import (
    FASTEST_DESCENT_M_S,
    ascent_s,
    channels_of,
    descent_s,
    gravity_m_s2,
    planned_readings,
    slowest_place,
    water_of,
    weight_in_water_kg,
)
from seatrial.plan.sections import Latch
from seatrial.plan.totals import totals_of
from seatrial.plan.units import symbol_of
from seatrial.plan.wording import at, up

if TYPE_CHECKING:
    from seatrial.plan.whole import Plan

SENSOR_MARGIN = 1.05  # the pressure sensor reaches this many times the depth of the site
DESCENT_MARGIN = 1.25  # the timed release leaves at least this many times the descent reckoned from drag
EVENT_SLOTS = 2048  # journal slots kept for everything that is not a planned reading
RESERVE_BY_VOLTAGE = 0.5  # share of the reserve that is left at least when the supply falls to the threshold


def rows_out_of_order(plan: "Plan") -> list[str]:
    """Rows of water or current that are not each deeper than the one before: nothing can be reckoned from them."""
    sentences = []
    tables = {"water": [row.depth_m for row in plan.site.water],
              "current": [row.depth_m for row in plan.site.current]}
    for name, depths in tables.items():
        for number, (above_m, below_m) in enumerate(zip(depths, depths[1:], strict=False), start=2):
            if below_m <= above_m:
                sentences.append(
                    f"site.{name}[row {number}].depth_m is {below_m:g}; each row must be deeper than the one"
                    f" before, which is at {above_m:g} m: put the rows of [[site.{name}]] in order of depth")
    return sentences


def _sensor_reaches_the_seabed(plan: "Plan") -> Iterator[str]:
    range_m, depth_m = plan.sensors.pressure.range_m, plan.site.depth_m
    if range_m < depth_m * SENSOR_MARGIN:
        yield (f"sensors.pressure.range_m is {range_m:g}; the site is {depth_m:g} m deep: choose a sensor that reaches"
               f" at least {up(depth_m * SENSOR_MARGIN)} m (depth + 5 %), or a shallower site")


def _too_deep_lies_between(plan: "Plan") -> Iterator[str]:
    too_deep_m, depth_m, range_m = plan.thresholds.too_deep_m, plan.site.depth_m, plan.sensors.pressure.range_m
    if too_deep_m <= depth_m:
        yield (f"thresholds.too_deep_m is {too_deep_m:g}; the site is {depth_m:g} m deep, so the dive would end on its"
               f" way down: set more than {depth_m:g} m, best {up(depth_m * SENSOR_MARGIN)} m or more")
    if too_deep_m >= range_m >= depth_m * SENSOR_MARGIN:
        yield (f"thresholds.too_deep_m is {too_deep_m:g}; the pressure sensor ends at {range_m:g} m and could never"
               f" show it: set less than {range_m:g} m and more than the site, which is {depth_m:g} m deep")


# The way out for a pair of `lander.orders.ORDER`, by its first name. Pairs that a check below words better are absent.
PAIR_ADVICE = {
    "timed_release_ds": "let the timer release earlier, or move the latest release",
    "shed_ds": "shorten the shedding, or release later",
    "pause_ds": "shorten the first watch, or lengthen the longest",
    "surface_cm": "the surface must begin above the depth that counts as under water",
    "submerged_cm": "lower the first or raise the second",
    "magnet_hold_ds": "shorten the shortest hold, or lengthen the longest",
    "fan_off_centi_c": "the fan needs some degrees between off and on, or it chatters",
    "camera_cool_centi_c": "the camera must have cooled before it starts again",
}


def _pairs_in_order(plan: "Plan") -> Iterator[str]:
    orders = plan.orders()
    for smaller, larger, strictly in lander_orders.ORDER:
        low, high = getattr(orders, smaller), getattr(orders, larger)
        if smaller not in PAIR_ADVICE or low < high or (low == high and not strictly):
            continue
        first, second = CONVERSION_OF[smaller].key, CONVERSION_OF[larger].key
        smallest_step = f"{1 / CONVERSION_OF[smaller].per_unit:.2g} {symbol_of(first)}"
        alike = plan.value(first) < plan.value(second)  # apart in the plan, not in the steps of the controller
        step = f", by more than the {smallest_step} the controller tells apart" if alike else ""
        yield (f"{first} is {plan.value(first):g}; it must be {'below' if strictly else 'at most'} {second}, which is"
               f" {plan.value(second):g}{step}: {PAIR_ADVICE[smaller]}")


def _thresholds_fit_the_depth(plan: "Plan") -> Iterator[str]:
    for key, why in (("thresholds.submerged_m", "would never count as under water"),
                     ("release.rise_m", "could never confirm a release by its rise")):
        if plan.value(key) >= plan.site.depth_m:
            yield (f"{key} is {plan.value(key):g}; the site is {plan.site.depth_m:g} m deep, so the lander {why}:"
                   f" set less than {plan.site.depth_m:g} m")


def _descent_fits_the_times(plan: "Plan") -> Iterator[str]:
    times, depth_m = plan.times, plan.site.depth_m
    reckoned_min = descent_s(plan) / 60
    if math.isfinite(reckoned_min) and times.timed_release_min < reckoned_min * DESCENT_MARGIN:
        yield (f"times.timed_release_min is {times.timed_release_min:g}; the descent to {depth_m:g} m alone takes about"
               f" {up(reckoned_min)} min: release after at least {up(reckoned_min * DESCENT_MARGIN)} min (descent +"
               " 25 %), or sink faster")
    fastest_min = depth_m / FASTEST_DESCENT_M_S / 60
    if times.settle_latest_min < fastest_min:
        yield (f"times.settle_latest_min is {times.settle_latest_min:g}; even at {FASTEST_DESCENT_M_S:g} m/s the lander"
               f" needs {up(fastest_min, 1)} min to {depth_m:g} m: set at least {up(fastest_min, 1)} min")
    if times.settle_latest_min >= times.timed_release_min:
        yield (f"times.settle_latest_min is {times.settle_latest_min:g}; it must be below times.timed_release_min,"
               f" which is {times.timed_release_min:g}, or nothing is filmed when the bottom goes unnoticed:"
               " settle earlier or release later")


def _ascent_fits_the_times(plan: "Plan") -> Iterator[str]:
    slowest_min, reckoned_min = plan.times.slowest_ascent_min, ascent_s(plan) / 60
    if math.isfinite(reckoned_min) and slowest_min < reckoned_min:
        yield (f"times.slowest_ascent_min is {slowest_min:g}; the ascent from {plan.site.depth_m:g} m takes about"
               f" {up(reckoned_min)} min in calm water: set at least {up(reckoned_min * 1.5)} min, or add lift")


def _energy_lasts(plan: "Plan") -> Iterator[str]:
    budget = energy_budget(plan)
    short_mah = -budget.spare_at_latest_mah
    if short_mah <= 0:
        return
    used_mah = budget.deck_mah + budget.to_latest.total_mah
    timed = ""
    if budget.spare_at_timed_mah < 0:
        timed = (f" (and already {up(-budget.spare_at_timed_mah)} mAh at times.timed_release_min,"
                 f" {plan.times.timed_release_min:g})")
    pack_ah = (used_mah + budget.reserve_mah) * plan.power.capacity_ah / max(budget.capacity_mah, 1)
    affordable_min = affordable_release_min(plan, budget)
    earlier = f"release by minute {affordable_min} at the latest," if affordable_min >= 1 else \
        "no release time is early enough,"
    yield (f"times.latest_release_min is {plan.times.latest_release_min:g}; the dive has used {up(used_mah)} mAh by"
           f" then and release, ascent and beacon need {budget.reserve_mah} mAh, but the pack (power.capacity_ah"
           f" {plan.power.capacity_ah:g}) holds {budget.capacity_mah} mAh at {budget.temperature_c:g} degC, so"
           f" {up(short_mah)} mAh are missing{timed}: {earlier} carry at least {up(pack_ah, 1)} Ah, or plan"
           " fewer beacon hours or lighter loads")


def _counter_lasts(plan: "Plan") -> Iterator[str]:
    times, hours = plan.times, plan.beacon.hours
    total_days = (times.latest_release_min + times.slowest_ascent_min) / 1440 + hours / 24
    limit_days = lander_orders.MISSION_LIMIT_DS / 864000
    if total_days > limit_days:
        yield (f"beacon.hours is {hours:g}; latest release ({times.latest_release_min:g} min), slowest ascent"
               f" ({times.slowest_ascent_min:g} min) and beacon together last {up(total_days, 2)} days, and the"
               f" mission counter is trusted to {limit_days:g} days: shorten one of them")


def _journal_holds_the_dive(plan: "Plan") -> Iterator[str]:
    needed = planned_readings(plan) + EVENT_SLOTS
    if plan.journal.slots < needed:
        yield (f"journal.slots is {plan.journal.slots}; the planned readings take {needed - EVENT_SLOTS} slots and"
               f" {EVENT_SLOTS} are kept for events: give it at least {needed} slots, or take readings less often")


def _total(plan: "Plan", key: str) -> str:
    """A total of the lander at the head of a sentence: a key of the file, or the sum of its parts."""
    section, _, name = key.rpartition(".")
    sums = totals_of(plan.lander.parts) if plan.lander.parts else {}
    for step in section.split(".")[1:]:
        sums = sums.get(step, {})
    summed = sums.get(name) == plan.value(key)
    return f"{key}{', summed over lander.parts,' if summed else ''} is {plan.value(key):g}"


def _sinks_and_rises(plan: "Plan") -> Iterator[str]:
    ballast, site = plan.lander.ballast, plan.site
    depth_m, weight_kg = slowest_place(plan, with_ballast=True)
    if weight_kg <= 0:
        grip = 1 - water_of(site).density_at(depth_m) / ballast.density_kg_m3
        yield (f"{_total(plan, 'lander.ballast.mass_kg')}; with it the lander weighs {weight_kg:.2f} kg in the"
               f" water {at(depth_m)} and does not sink past there, {up(-weight_kg, 2)} kg are missing: add more"
               f" than {up(-weight_kg / grip, 1)} kg of this ballast, or take floats off")
    depth_m, weight_kg = slowest_place(plan, with_ballast=False)
    if weight_kg >= 0:
        yield (f"{_total(plan, 'lander.floats.volume_l')}; without its ballast the lander still weighs"
               f" {weight_kg:.2f} kg in the water {at(depth_m)} and does not rise past there: add more than"
               f" {up(weight_kg, 2)} kg of lift, or make the lander lighter")
        return
    lift_n = -weight_in_water_kg(plan, site.depth_m, with_ballast=False) * gravity_m_s2(site)
    if lift_n <= site.mud_suction_n:
        missing_kg = (site.mud_suction_n - lift_n) / gravity_m_s2(site)
        yield (f"site.mud_suction_n is {site.mud_suction_n:g}; without its ballast the lander pulls with {lift_n:.1f} N"
               f" at the seabed and the mud would hold it for good: add more than {up(missing_kg, 2)} kg of lift, or"
               " give the frame smaller feet")


def _channels_can_open(plan: "Plan") -> Iterator[str]:
    for path, channel, attempts in channels_of(plan):
        if isinstance(channel, Latch):
            if channel.fire_s < channel.turn_s:
                yield (f"{path}.fire_s is {channel.fire_s:g}; the latch needs {channel.turn_s:g} s to turn open:"
                       f" fire for at least {channel.turn_s:g} s, better twice that")
            continue
        needed_s = channel.parting_s()
        if attempts * channel.fire_s <= needed_s:
            yield (f"{path}.fire_s is {channel.fire_s:g}; the wire parts after {up(needed_s)} s at"
                   f" {channel.current_ma:g} mA (Faraday's law) and its {attempts} planned attempts give only"
                   f" {attempts * channel.fire_s:g} s: fire for more than {up(needed_s / attempts, 1)} s, or plan more"
                   " attempts, more current or a thinner wire")


def _passive_link_waits(plan: "Plan") -> Iterator[str]:
    passive = plan.release.passive
    if not passive.fitted:
        return
    for key in ("earliest_h", "latest_h"):
        if getattr(passive, key) is None:
            yield (f"release.passive.{key} is missing; a link that is fitted needs its range: add {key}, or set"
                   " release.passive.fitted = false")
    if passive.earliest_h is None or passive.latest_h is None:
        return
    latest_release_h = plan.times.latest_release_min / 60
    if passive.earliest_h <= latest_release_h:
        yield (f"release.passive.earliest_h is {passive.earliest_h:g}; the latest release comes after"
               f" {latest_release_h:g} h, so the link may let go before it: fit a link that holds longer than"
               f" {latest_release_h:g} h, or release earlier")
    if passive.latest_h <= passive.earliest_h:
        yield (f"release.passive.latest_h is {passive.latest_h:g}; it must be above release.passive.earliest_h, which"
               f" is {passive.earliest_h:g}: give the range in which the link may let go")


def _camera_adds_up(plan: "Plan") -> Iterator[str]:
    camera = plan.camera
    for low, high, why in (
        ("idle_ma", "recording_ma", "a recording could not be told from an idle camera"),
        ("hot_c", "shutdown_c", "the camera would put itself off before the controller can"),
        ("record_press_s", "power_press_s", "the two presses could not be told apart"),
    ):
        if getattr(camera, low) >= getattr(camera, high):
            yield (f"camera.{low} is {getattr(camera, low):g}; it must be below camera.{high}, which is"
                   f" {getattr(camera, high):g}, or {why}: lower the first or raise the second")


def _lights_take_turns(plan: "Plan") -> Iterator[str]:
    lights = plan.lights
    if lights.off_s and not lights.on_s:
        yield (f"lights.off_s is {lights.off_s:g} and lights.on_s is 0; lamps that take turns need both: set"
               " lights.on_s as well, set lights.off_s = 0 for lamps always on, or lights.level_pct = 0 for none")


def _supply_levels_in_order(plan: "Plan") -> Iterator[str]:
    power, reserve_mv = plan.power, plan.thresholds.reserve_mv
    full_mv = FULL_CELL_MV * power.cells_in_series
    if power.brownout_mv >= power.recover_mv:
        yield (f"power.brownout_mv is {power.brownout_mv:g}; it must be below power.recover_mv, which is"
               f" {power.recover_mv:g}: lower the first or raise the second")
    if reserve_mv <= power.recover_mv:
        yield (f"thresholds.reserve_mv is {reserve_mv:g}; it must be above power.recover_mv, which is"
               f" {power.recover_mv:g}, or the controller fails before the release is due: set between"
               f" {power.recover_mv:g} and {full_mv:g} mV")
    if reserve_mv >= full_mv:
        yield (f"thresholds.reserve_mv is {reserve_mv:g}; {power.cells_in_series} cells in series give at most"
               f" {full_mv:g} mV, so the release would come at once: set below {full_mv:g} mV")
    if power.controller_asleep_ma > power.controller_ma:
        yield (f"power.controller_asleep_ma is {power.controller_asleep_ma:g}; it must be at most power.controller_ma,"
               f" which is {power.controller_ma:g}: the two may have been swapped")


def _voltage_holds_the_reserve(plan: "Plan") -> Iterator[str]:
    power, reserve_mv = plan.power, plan.thresholds.reserve_mv
    budget = energy_budget(plan)
    if reserve_mv <= power.recover_mv or budget.reserve_mah >= budget.capacity_mah:
        return  # told by the checks of the levels and of the energy
    if reserve_mv < filming_supply_mv(plan, RESERVE_BY_VOLTAGE * budget.reserve_mah):
        share_pct = 100 * RESERVE_BY_VOLTAGE
        wanted_mv = up(filming_supply_mv(plan, budget.reserve_mah))
        yield (f"thresholds.reserve_mv is {reserve_mv:g}; while filming ({filming_load_ma(plan):g} mA at"
               f" {budget.temperature_c:g} degC) the supply falls to it only when less than {share_pct:g} % of the"
               f" reserve of {budget.reserve_mah} mAh is left: set {wanted_mv} mV, the supply when the whole reserve is"
               " left")


def _firing_does_not_reset(plan: "Plan") -> Iterator[str]:
    power, reserve_mv = plan.power, plan.thresholds.reserve_mv
    if reserve_mv <= power.recover_mv:
        return
    for path, channel, _attempts in channels_of(plan):
        sag_mv = (channel.current_ma + power.controller_ma) * cold_resistance_ohm(plan)
        if reserve_mv - sag_mv <= power.brownout_mv:
            yield (f"{path}.current_ma is {channel.current_ma:g}; at {coldest_water_c(plan.site):g} degC it pulls the"
                   f" supply down by {up(sag_mv)} mV, from the reserve of {reserve_mv:g} mV below power.brownout_mv"
                   f" ({power.brownout_mv:g}), and every attempt would reset the controller: choose less current, a"
                   " pack of lower resistance or a higher thresholds.reserve_mv")


def _second_levels_in_order(plan: "Plan") -> Iterator[str]:
    second = plan.second
    if not second.fitted:
        return
    if second.brownout_mv >= second.recover_mv:
        yield (f"second.brownout_mv is {second.brownout_mv:g}; it must be below second.recover_mv, which is"
               f" {second.recover_mv:g}: lower the first or raise the second")
    full_mv = FULL_CELL_MV * second.cells_in_series
    if second.recover_mv >= full_mv:
        yield (f"second.recover_mv is {second.recover_mv:g}; {second.cells_in_series} cells in series give at most"
               f" {full_mv:g} mV, so the second board would never start: set below {full_mv:g} mV, or take more cells")
    if second.controller_asleep_ma > second.controller_ma:
        yield (f"second.controller_asleep_ma is {second.controller_asleep_ma:g}; it must be at most"
               f" second.controller_ma, which is {second.controller_ma:g}: the two may have been swapped")


def _second_lasts(plan: "Plan") -> Iterator[str]:
    second, attempts = plan.second, plan.release.attempts_planned
    if not second.fitted or second.recover_mv >= FULL_CELL_MV * second.cells_in_series:
        return
    energy = second_energy(plan)
    if energy.spare_mah < 0:
        needed_mah = energy.watch_mah + energy.attempts_mah
        wanted_ah = needed_mah * second.capacity_ah / energy.capacity_mah
        yield (f"second.capacity_ah is {second.capacity_ah:g}; the second board needs {up(energy.watch_mah)} mAh until"
               f" its deadline and {up(energy.attempts_mah)} mAh for {attempts} attempts, and its pack holds"
               f" {math.floor(energy.capacity_mah)} mAh at {energy.temperature_c:g} degC, so {up(-energy.spare_mah)}"
               f" mAh are missing: carry at least {up(wanted_ah, 2)} Ah, or plan a shorter dive or fewer attempts")
    elif energy.supply_mv <= second.brownout_mv:
        yield (f"second.resistance_mohm is {second.resistance_mohm:g}; at {energy.temperature_c:g} degC the supply of"
               f" the second board is {energy.supply_mv:.0f} mV under the drive of its last planned attempt; it resets"
               f" below second.brownout_mv ({second.brownout_mv:g}): choose a pack of lower resistance, more cells or"
               " more capacity (second.capacity_ah)")


CHECKS: tuple[Callable[["Plan"], Iterator[str]], ...] = (
    _sensor_reaches_the_seabed, _too_deep_lies_between, _pairs_in_order, _thresholds_fit_the_depth,
    _descent_fits_the_times, _ascent_fits_the_times, _energy_lasts, _counter_lasts, _journal_holds_the_dive,
    _sinks_and_rises, _channels_can_open, _passive_link_waits, _camera_adds_up, _lights_take_turns,
    _supply_levels_in_order, _voltage_holds_the_reserve, _firing_does_not_reset, _second_levels_in_order,
    _second_lasts,
)


def faults_of(plan: "Plan") -> list[str]:
    """Everything in which the keys of a plan do not fit each other, one sentence each; empty when the dive adds up."""
    sentences = [sentence for check in CHECKS for sentence in check(plan)]
    return sentences or _faults_of_orders(plan.orders())


def _faults_of_orders(orders: Orders) -> list[str]:
    """What the controller itself would refuse, told by the plan's keys; the net below all checks."""
    sentences = []
    for name, (lowest, highest) in LIMITS_OF.items():
        value = getattr(orders, name)
        if not lowest <= value <= highest:
            key = CONVERSION_OF[name].key if name in CONVERSION_OF else DERIVED_FROM[name]
            sentences.append(f"{key} gives the controller {name} = {value}; it takes {lowest} to {highest}:"
                             f" {'raise' if value < lowest else 'lower'} {key}")
    if not sentences and lander_orders.fault(orders):
        sentences.append(f"the controller would refuse these orders: {lander_orders.fault(orders)}")
    return sentences
