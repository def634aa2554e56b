"""What follows from a plan for its packs: what the main one and that of the second board hold, and where it goes."""

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from deadman import FEED_DS
from seatrial.battery import Battery, resistance_factor, usable_ah
from seatrial.plan.attempts import planned_attempts
from seatrial.plan.reckoning import filming_from_min, watches_s
from seatrial.plan.sections import Release, Second, Site

if TYPE_CHECKING:
    from seatrial.plan.whole import Plan


@dataclass(frozen=True)
class DiveEnergy:
    """What the dive takes from the main pack from the splash to a release, mAh by item."""

    controller_mah: float
    camera_mah: float
    lights_mah: float
    fan_mah: float

    @property
    def total_mah(self) -> float:
        """All items together."""
        return self.controller_mah + self.camera_mah + self.lights_mah + self.fan_mah


@dataclass(frozen=True)
class EnergyBudget:
    """What the pack holds and where it goes, mAh. Capacity is rounded down, the reserve up."""

    temperature_c: float  # of the coldest water, at which capacity_mah is meant
    capacity_mah: int
    deck_mah: float
    to_timed: DiveEnergy
    to_latest: DiveEnergy
    attempts_mah: float
    pauses_mah: float
    ascent_mah: float
    beacon_mah: float

    @property
    def reserve_mah(self) -> int:
        """What release attempts, the watches between them, ascent and beacon need."""
        return math.ceil(self.attempts_mah + self.pauses_mah + self.ascent_mah + self.beacon_mah)

    @property
    def spare_at_timed_mah(self) -> float:
        """What is left over the reserve at the timed release; negative when short."""
        return self.capacity_mah - self.deck_mah - self.to_timed.total_mah - self.reserve_mah

    @property
    def spare_at_latest_mah(self) -> float:
        """What is left over the reserve at the latest release; negative when short."""
        return self.capacity_mah - self.deck_mah - self.to_latest.total_mah - self.reserve_mah


@dataclass(frozen=True)
class SecondEnergy:
    """What the pack of the second board holds and what is asked of it, mAh; it fires the backup as often as planned."""

    temperature_c: float
    capacity_mah: float  # what it gives in the coldest water from arming on, to its last drop
    watch_mah: float  # from arming to its deadline
    attempts_mah: float  # the drive of the planned attempts, and its watches between them
    supply_mv: float  # under the drive of the last of them

    @property
    def spare_mah(self) -> float:
        """What is left over; negative when short."""
        return self.capacity_mah - self.watch_mah - self.attempts_mah


def second_ma(section: Second, span_s: float = FEED_DS / 10) -> float:
    """What the second board draws without a release, at a look every so many seconds, mA."""
    awake_fraction = min(span_s, section.awake_s) / span_s
    return section.controller_asleep_ma + (section.controller_ma - section.controller_asleep_ma) * awake_fraction


def second_energy(plan: "Plan") -> SecondEnergy:
    """Where the charge of the second board goes when the main one is dead from the start, in the coldest water."""
    second, backup, temperature_c = plan.second, plan.release.backup, coldest_water_c(plan.site)
    attempts = plan.release.attempts_planned
    watch_min = plan.dive.on_deck_min + plan.times.latest_release_min + second.margin_min
    watching_s = sum(attempt.watch_s for attempt in planned_attempts(plan.release)) + attempts * backup.fire_s
    capacity_mah = 1000 * usable_ah(second, temperature_c) * second.charge_at_start_fraction
    watch_mah = second_ma(second) * watch_min / 60
    attempts_mah = (attempts * backup.fire_s * backup.current_ma + second.controller_ma * watching_s) / 3600
    pack = Battery(second)
    pack.used_ah = (watch_mah + attempts_mah) / 1000
    return SecondEnergy(temperature_c, capacity_mah, watch_mah, attempts_mah,
                        pack.supply_mv(backup.current_ma + second.controller_ma, temperature_c))


def coldest_water_c(site: Site) -> float:
    """The temperature of the coldest row of the water, degC."""
    return min(row.temperature_c for row in site.water)


def cold_resistance_ohm(plan: "Plan") -> float:
    """Resistance of the pack in the coldest water, ohm."""
    return plan.power.resistance_mohm / 1000 * resistance_factor(plan.power, coldest_water_c(plan.site))


def charge_at_start_ah(plan: "Plan") -> float:
    """What the pack gives from the moment it is armed, at its age and in the coldest water, Ah."""
    return usable_ah(plan.power, coldest_water_c(plan.site)) * plan.power.charge_at_start_fraction


def gear_ma(plan: "Plan") -> tuple[float, float, float]:
    """Mean currents while filming, from the main pack: camera, lights, fan, mA."""
    camera_ma = plan.camera.recording_ma if plan.camera.supply == "main_switched" else 0.0
    lights_ma = plan.lights.current_ma * plan.lights.level_pct / 100 * plan.lights.duty_fraction()
    return camera_ma, lights_ma, plan.fan.current_ma


def planned_firing_s(release: Release) -> float:
    """How long the planned attempts take together, s; each as long as the longer channel's."""
    return release.attempts_planned * max(release.primary.fire_s, release.backup.fire_s)


def dive_energy(plan: "Plan", release_min: float) -> DiveEnergy:
    """What the dive has taken from the splash to `release_min` minutes later, reckoned as in `energy_budget`."""
    filming_h = max(0.0, release_min - filming_from_min(plan)) / 60
    camera_ma, lights_ma, fan_ma = gear_ma(plan)
    return DiveEnergy(controller_mah=plan.power.controller_ma * release_min / 60, camera_mah=camera_ma * filming_h,
                      lights_mah=lights_ma * filming_h, fan_mah=fan_ma * filming_h)


def energy_budget(plan: "Plan") -> EnergyBudget:
    """Where the energy of the main pack goes, reckoned toward home.

    The pack as cold as the coldest water; the controller awake throughout; camera, lights and fan on for as long as
    there is anything to film; every planned attempt on the thirstier channel; the ascent as slow as thought possible.
    """
    power, release, beacon, times = plan.power, plan.release, plan.beacon, plan.times
    controller_ma = power.controller_ma
    thirstier_mas = max(channel.current_ma * channel.fire_s for channel in (release.primary, release.backup))
    return EnergyBudget(
        temperature_c=coldest_water_c(plan.site),
        capacity_mah=math.floor(1000 * charge_at_start_ah(plan)),
        deck_mah=controller_ma * plan.dive.on_deck_min / 60,
        to_timed=dive_energy(plan, times.timed_release_min),
        to_latest=dive_energy(plan, times.latest_release_min),
        attempts_mah=release.attempts_planned * thirstier_mas / 3600,
        pauses_mah=controller_ma * (watches_s(release) + planned_firing_s(release)) / 3600,
        ascent_mah=controller_ma * (times.slowest_ascent_min + times.surface_margin_min) / 60,
        beacon_mah=(controller_ma + beacon.lamp_ma + beacon.report_ma) * beacon.hours,
    )


def affordable_release_min(plan: "Plan", budget: EnergyBudget) -> int:
    """The last whole minute at which the reserve is still there; 0 or less: no release time is affordable."""
    left_mamin = (budget.capacity_mah - budget.reserve_mah - budget.deck_mah) * 60
    unfilmed_min = filming_from_min(plan)
    filming_ma = sum(gear_ma(plan))
    if left_mamin <= plan.power.controller_ma * unfilmed_min:
        return math.floor(left_mamin / plan.power.controller_ma)
    return math.floor((left_mamin + filming_ma * unfilmed_min) / (plan.power.controller_ma + filming_ma))


def filming_load_ma(plan: "Plan") -> float:
    """The load while filming that lasts long enough for a low supply to be believed, mA.

    Lamps that take turns within `thresholds.low_hold_s` let the supply recover before that, and do not count.
    """
    camera_ma, _mean_lights_ma, fan_ma = gear_ma(plan)
    lights = plan.lights
    lasting = lights.duty_fraction() == 1.0 or lights.on_s >= plan.thresholds.low_hold_s
    lights_ma = lights.current_ma * lights.level_pct / 100 if lasting else 0.0
    return plan.power.controller_ma + camera_ma + lights_ma + fan_ma


def filming_supply_mv(plan: "Plan", left_mah: float) -> float:
    """The supply under `filming_load_ma` in the coldest water when `left_mah` can still be had there, mV."""
    return supply_mv(plan, filming_load_ma(plan), left_mah)


def supply_mv(plan: "Plan", load_ma: float, left_mah: float) -> float:
    """The supply under a load in the coldest water when `left_mah` can still be had there, mV."""
    pack = Battery(plan.power)
    pack.used_ah = charge_at_start_ah(plan) - left_mah / 1000
    return pack.supply_mv(load_ma, coldest_water_c(plan.site))
