"""Energy: where the charge of the main pack goes, how long it lasts when nothing goes as planned, what is left to call.

The budget is the one the controller holds its reserve by (`seatrial.plan.energy`), reckoned toward home. What comes
after the release command follows the firmware: channels in turn, its pauses, its beacon.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import lru_cache
from itertools import pairwise

from seatrial.battery import resistance_factor, usable_ah
from seatrial.plan import Plan
from seatrial.plan.energy import (
    EnergyBudget,
    affordable_release_min,
    charge_at_start_ah,
    coldest_water_c,
    dive_energy,
    energy_budget,
    filming_load_ma,
    filming_supply_mv,
    planned_firing_s,
    second_energy,
)
from seatrial.plan.reckoning import ascent_s, channels_of, descent_s, filming_from_min, watches_s
from seatrial.plan.wording import up
from seatrial.workings.chapter import Chapter, Column, Figure, Table
from seatrial.workings.lasting import (
    attempts_s,
    beacon_hours_left,
    empty_after_h,
    empty_h,
    left_mah,
    stranded_mah,
    watch_s,
)

SHOWN_ATTEMPTS = 12
CURVE_POINTS = 120
USUAL_TEMPERATURES_C = (20.0, 10.0, 4.0, 0.0)
HEALTH_LOST = 0.05  # what a pack may lose within a season unnoticed; common practice, no source

LOADS = ("controller", "camera", "lamps", "fan", "primary", "backup", "held", "beacon_lamp", "reports")


@dataclass(frozen=True)
class Phase:
    """A part of the dive, how long it lasts, and what each load takes in it from the main pack, mAh.

    `held_mah` is what the reserve counts beyond the attempts in turn, since every attempt is held as the thirstier's.
    """

    words: str
    lasts_h: float
    controller_mah: float = 0.0
    camera_mah: float = 0.0
    lamps_mah: float = 0.0
    fan_mah: float = 0.0
    primary_mah: float = 0.0
    backup_mah: float = 0.0
    held_mah: float = 0.0
    beacon_lamp_mah: float = 0.0
    reports_mah: float = 0.0

    @property
    def total_mah(self) -> float:
        """All loads together."""
        return sum(self.by_load())

    @property
    def mean_ma(self) -> float | None:
        """The current of all loads together, mean over the phase; None where it lasts no time."""
        return self.total_mah / self.lasts_h if self.lasts_h else None

    def by_load(self) -> tuple[float, ...]:
        """What each of `LOADS` takes, in their order."""
        return tuple(getattr(self, f"{load}_mah") for load in LOADS)


@dataclass(frozen=True)
class Afloat:
    """What is left for the beacon when the lander surfaces in one of the ways; None: it never surfaces that way."""

    words: str
    surfaced_h: float | None  # after the splash
    left_mah: float | None
    beacon_h: float | None


@dataclass(frozen=True)
class OwnPack:
    """A camera on a pack of its own: what it needs for filming, and what the pack holds if that is known."""

    recording_ma: float
    to_timed_mah: float
    to_latest_mah: float
    pack_mah: float | None
    lasts_h: float | None


@dataclass(frozen=True)
class Supply:
    """The energy of a plan. Moments are hours or minutes after the splash."""

    budget: EnergyBudget
    phases: tuple[Phase, ...]
    affordable_min: int | None  # the last release that leaves the reserve whole; None: there is none
    affordable_utc: datetime | None
    health_needed_fraction: float  # the age of the pack at which the latest release is just paid; above 1: never
    stranded_mah: float  # what the pack still holds when the supply is too low for the controller
    supply_start_mv: float
    supply_latest_mv: float
    supply_reserve_mv: float
    empty_h: float
    empty_asleep_h: float
    afloat: tuple[Afloat, ...]
    filming_to_timed_h: float
    own_pack: OwnPack | None


@lru_cache(maxsize=16)
def supply(plan: Plan) -> Supply:
    """The energy of a plan, whatever its keys make of it."""
    budget = energy_budget(plan)
    affordable_min = affordable_release_min(plan, budget)
    affordable = affordable_min if affordable_min >= 1 else None
    times, filming_from = plan.times, filming_from_min(plan)
    used_mah = budget.deck_mah + budget.to_latest.total_mah + budget.reserve_mah
    return Supply(
        budget=budget,
        phases=tuple(_phases(plan, budget)),
        affordable_min=affordable,
        affordable_utc=None if affordable is None else plan.dive.splash_utc + timedelta(minutes=affordable),
        health_needed_fraction=used_mah / max(budget.capacity_mah, 1) * plan.power.health_fraction,
        stranded_mah=stranded_mah(plan),
        supply_start_mv=filming_supply_mv(plan, budget.capacity_mah),
        supply_latest_mv=filming_supply_mv(plan, budget.spare_at_latest_mah + budget.reserve_mah),
        supply_reserve_mv=filming_supply_mv(plan, budget.reserve_mah),
        empty_h=empty_h(plan),
        empty_asleep_h=max(empty_after_h(plan, minutes, asleep=True)
                           for minutes in (times.timed_release_min, times.latest_release_min)),
        afloat=tuple(_ways_up(plan)),
        filming_to_timed_h=max(0.0, times.timed_release_min - filming_from) / 60,
        own_pack=_own_pack(plan),
    )


def _ways_up(plan: Plan) -> Iterator[Afloat]:
    """Surfacing by the first attempt, by the last planned one, and by the corroding link alone."""
    times, passive, attempts = plan.times, plan.release.passive, plan.release.attempts_planned
    yield _afloat(plan, "timed release, first attempt", times.timed_release_min * 60 + attempts_s(plan, 1),
                  times.timed_release_min, 1)
    yield _afloat(plan, f"latest release, attempt {attempts}",
                  times.latest_release_min * 60 + attempts_s(plan, attempts), times.latest_release_min, attempts)
    for words, hours in (("earliest", passive.earliest_h), ("latest", passive.latest_h)):
        if passive.fitted and hours is not None:
            yield _afloat(plan, f"corroding link alone, {words}", hours * 3600, None, None)


def _afloat(plan: Plan, words: str, freed_s: float, command_min: float | None, attempts: int | None) -> Afloat:
    passage_s = ascent_s(plan)
    if not math.isfinite(passage_s):
        return Afloat(words, None, None, None)
    surfaced_h = (freed_s + plan.site.mud_hold_s + passage_s) / 3600
    return Afloat(words, surfaced_h, left_mah(plan, surfaced_h, command_min, attempts),
                  beacon_hours_left(plan, surfaced_h, command_min, attempts))


# --- phases -----------------------------------------------------------------------------------------------------------


def _phases(plan: Plan, budget: EnergyBudget) -> Iterator[Phase]:
    times, beacon, controller_ma = plan.times, plan.beacon, plan.power.controller_ma
    sunk_min = min(descent_s(plan) / 60, times.timed_release_min)
    yield Phase("on deck", plan.dive.on_deck_min / 60, controller_mah=budget.deck_mah)
    marks = (0.0, sunk_min, times.timed_release_min, times.latest_release_min)
    names = ("descent", "seabed to the timed release", "seabed to the latest release")
    for words, (begins, ends) in zip(names, pairwise(marks), strict=True):
        yield _dived(plan, words, begins, max(begins, ends))
    primary, backup = (channel.current_ma * channel.fire_s * attempts / 3600
                       for _path, channel, attempts in channels_of(plan))
    firing_h, watches_h = planned_firing_s(plan.release) / 3600, watches_s(plan.release) / 3600
    yield Phase("release attempts", firing_h, controller_mah=controller_ma * firing_h, primary_mah=primary,
                backup_mah=backup, held_mah=max(0.0, budget.attempts_mah - primary - backup))
    yield Phase("watches between them", watches_h, controller_mah=budget.pauses_mah - controller_ma * firing_h)
    yield Phase("ascent", (times.slowest_ascent_min + times.surface_margin_min) / 60,
                controller_mah=budget.ascent_mah)
    yield Phase("beacon", beacon.hours, controller_mah=controller_ma * beacon.hours,
                beacon_lamp_mah=beacon.lamp_ma * beacon.hours, reports_mah=beacon.report_ma * beacon.hours)


def _dived(plan: Plan, words: str, begins_min: float, ends_min: float) -> Phase:
    before, after = dive_energy(plan, begins_min), dive_energy(plan, ends_min)
    return Phase(words, (ends_min - begins_min) / 60, controller_mah=after.controller_mah - before.controller_mah,
                 camera_mah=after.camera_mah - before.camera_mah, lamps_mah=after.lights_mah - before.lights_mah,
                 fan_mah=after.fan_mah - before.fan_mah)


def _own_pack(plan: Plan) -> OwnPack | None:
    camera, times, filming_from = plan.camera, plan.times, filming_from_min(plan)
    if camera.supply != "own_pack":
        return None
    to_timed, to_latest = (camera.recording_ma * max(0.0, minutes - filming_from) / 60
                           for minutes in (times.timed_release_min, times.latest_release_min))
    lasts_h = None if camera.pack_mah is None else camera.pack_mah / camera.recording_ma
    return OwnPack(camera.recording_ma, to_timed, to_latest, camera.pack_mah, lasts_h)


# --- in words ---------------------------------------------------------------------------------------------------------


DANGERS = (
    "Lithium packs in a sealed housing: a short, flooding or a crushed cell makes fire and gas that the housing holds"
    " back until it does not: protected packs, a fuse at the pack, charged outside and never unattended.",
    "A wire release makes hydrogen and chlorine while it fires: try it in open air, keep it short, no closed vessel.",
)


def chapter(plan: Plan) -> Chapter:
    """The energy of a plan in words, tables and curves."""
    worked = supply(plan)
    return Chapter(
        "supply", "Energy",
        figures=(*_budget_figures(worked), *_voltage_figures(plan, worked), *_lasting_figures(plan, worked),
                 *_own_pack_figures(worked), *_second_figures(plan)),
        tables=(_load_table(worked), _afloat_table(worked), _attempt_table(plan), _cold_table(plan, worked)),
        series={**_phase_series(worked), **_curve_series(plan)},
        faults=tuple(_faults(worked)),
        dangers=DANGERS,
        cautions=tuple(_cautions(plan, worked)),
        sources=(
            "the reserve by which the controller comes home, with the same rules",
            "form of the cell's voltage, its capacity and resistance in the cold: our own, between the numbers of"
            " the plan; ends of the voltage by the makers' data of 18650 cells",
        ),
        limits=(
            "the reserve counts the controller awake throughout and every planned attempt on the thirstier channel; the"
            " simulated controller sleeps between its steps and uses less",
            "lamps and fan are counted on from the moment there is something to film; the controller lights the lamps"
            " on the seabed only and runs the fan when the camera is warm",
            "the pack is taken as cold as the coldest water from the moment it is armed, which gives less than it holds"
            " while it is still warm",
            "self-discharge, uneven cells and the wear of the pack since its last test are not in the numbers:"
            " measure the pack you take",
        ),
    )


def _budget_figures(worked: Supply) -> Iterator[Figure]:
    budget = worked.budget
    yield Figure("capacity_mah", "pack, in the coldest water", budget.capacity_mah, "mAh", 0,
                 f"at {budget.temperature_c:g} degC, at its age and charge")
    yield Figure("to_timed_mah", "used until the timed release", budget.deck_mah + budget.to_timed.total_mah, "mAh", 0,
                 "from arming on", leading=True)
    yield Figure("to_latest_mah", "used until the latest release", budget.deck_mah + budget.to_latest.total_mah, "mAh",
                 0, "from arming on")
    yield Figure("reserve_mah", "reserve", budget.reserve_mah, "mAh", 0, "release attempts, ascent and beacon")
    yield Figure("spare_at_timed_mah", "spare at the timed release", budget.spare_at_timed_mah, "mAh", 0,
                 "over the reserve")
    yield Figure("spare_at_latest_mah", "spare at the latest release", budget.spare_at_latest_mah, "mAh", 0,
                 "over the reserve", leading=True)
    yield Figure("latest_safe_release_min", "latest safe release by energy", worked.affordable_min, "min", 0,
                 "after the splash; later the reserve is touched", leading=True)
    yield Figure("latest_safe_release_utc", "that is at", worked.affordable_utc)
    yield Figure("health_needed_pct", "pack health at which it just adds up", 100 * worked.health_needed_fraction, "%",
                 0, "more than 100 %: never with this pack")


def _voltage_figures(plan: Plan, worked: Supply) -> Iterator[Figure]:
    yield Figure("filming_load_ma", "load while filming", filming_load_ma(plan), "mA", 0)
    yield Figure("supply_start_mv", "supply while filming, at the start", worked.supply_start_mv, "mV", 0)
    yield Figure("supply_latest_mv", "supply while filming, at the latest release", worked.supply_latest_mv, "mV", 0)
    yield Figure("supply_reserve_mv", "supply while filming, with the reserve left", worked.supply_reserve_mv, "mV", 0,
                 f"the controller goes home below {plan.thresholds.reserve_mv:g} mV")


def _lasting_figures(plan: Plan, worked: Supply) -> Iterator[Figure]:
    yield Figure("empty_h", "pack empty if nothing ever frees it", worked.empty_h,
                 "h", 1, "after the splash; attempts go on in turn, controller awake", leading=True)
    yield Figure("empty_asleep_h", "pack empty then, controller always asleep", worked.empty_asleep_h, "h", 1,
                 "it sleeps most of the time: the truth lies between")
    yield Figure("filming_h", "footage until the timed release", worked.filming_to_timed_h, "h", 1,
                 f"the card holds {plan.camera.card_h:g} h")


def _own_pack_figures(worked: Supply) -> Iterator[Figure]:
    own = worked.own_pack
    if own is None:
        return
    yield Figure("camera_pack_mah", "the camera's own pack", own.pack_mah, "mAh", 0)
    yield Figure("camera_to_timed_mah", "recording until the timed release", own.to_timed_mah, "mAh", 0)
    yield Figure("camera_to_latest_mah", "recording until the latest release", own.to_latest_mah, "mAh", 0)
    yield Figure("camera_lasts_h", "recording it lasts for", own.lasts_h, "h", 1)


def _second_figures(plan: Plan) -> Iterator[Figure]:
    if not plan.second.fitted:
        return
    energy = second_energy(plan)
    yield Figure("second_capacity_mah", "pack of the second board, in the coldest water", energy.capacity_mah, "mAh", 0,
                 f"at {energy.temperature_c:g} degC, at its age and charge")
    yield Figure("second_to_deadline_mah", "used until its deadline", energy.watch_mah, "mAh", 1, "from arming on")
    yield Figure("second_attempts_mah", "used by its planned attempts", energy.attempts_mah, "mAh", 1,
                 f"{plan.release.attempts_planned}, with the watches between them")
    yield Figure("second_spare_mah", "spare after them", energy.spare_mah, "mAh", 0)
    yield Figure("second_supply_mv", "its supply under the last of them", energy.supply_mv, "mV", 0,
                 f"it resets below {plan.second.brownout_mv:g} mV")


def _load_table(worked: Supply) -> Table:
    headings = ("controller", "camera", "lamps", "fan", "primary", "backup", "held over", "beacon", "reports")
    columns = (Column("phase", "mAh"), *(Column(f"{load}_mah", heading, 0)
                                         for load, heading in zip(LOADS, headings, strict=True)),
               Column("total_mah", "sum", 0))
    rows = [(phase.words, *phase.by_load(), phase.total_mah) for phase in worked.phases]
    sums = tuple(sum(row[place] for row in rows) for place in range(1, len(columns)))
    return Table("loads", "What each load takes in each part of the dive", columns, (*rows, ("sum", *sums)))


def _afloat_table(worked: Supply) -> Table:
    columns = (Column("way", "freed by"), Column("surfaced_h", "up after, h", 1), Column("left_mah", "left, mAh", 0),
               Column("beacon_h", "beacon for, h", 1))
    rows = tuple((way.words, way.surfaced_h, way.left_mah, way.beacon_h) for way in worked.afloat)
    return Table("afloat", "What is left for the beacon", columns, rows)


def _attempt_table(plan: Plan) -> Table:
    columns = (Column("attempt", "attempt", 0), Column("channel", "channel"),
               Column("begins_min", "after the command, min", 1), Column("fire_s", "lasts, s", 0),
               Column("charge_mah", "takes, mAh", 1), Column("watch_s", "then watches, s", 0))
    channels = (("primary", plan.release.primary), ("backup", plan.release.backup))
    rows, at_s = [], 0.0
    for fired in range(min(plan.release.attempts_planned, SHOWN_ATTEMPTS)):
        name, channel = channels[fired % 2]
        waits_s = watch_s(plan, fired + 1)
        rows.append((fired + 1, name, at_s / 60, channel.fire_s, channel.current_ma * channel.fire_s / 3600, waits_s))
        at_s += channel.fire_s + waits_s
    return Table("attempts", f"The release attempts, {plan.release.attempts_planned} in the reserve", columns,
                 tuple(rows))


def _cold_table(plan: Plan, worked: Supply) -> Table:
    power, budget = plan.power, worked.budget
    columns = (Column("temperature_c", "pack, degC", 1), Column("capacity_mah", "holds, mAh", 0),
               Column("resistance_mohm", "resistance, mohm", 0), Column("spare_mah", "spare at latest, mAh", 0))
    rows = []
    for temperature_c in sorted({*USUAL_TEMPERATURES_C, coldest_water_c(plan.site)}, reverse=True):
        holds_mah = 1000 * usable_ah(power, temperature_c) * power.charge_at_start_fraction
        rows.append((temperature_c, holds_mah, power.resistance_mohm * resistance_factor(power, temperature_c),
                     holds_mah - budget.capacity_mah + budget.spare_at_latest_mah))
    return Table("cold", "The same pack in other water", columns, tuple(rows))


def _phase_series(worked: Supply) -> dict[str, list[float | str]]:
    series: dict[str, list[float | str]] = {"phase": [phase.words for phase in worked.phases]}
    for place, load in enumerate(LOADS):
        series[f"{load}_mah"] = [phase.by_load()[place] for phase in worked.phases]
    return series


def _curve_series(plan: Plan) -> dict[str, list[float]]:
    """Filming until the latest release, and what is left when nothing ever frees the lander, to the empty pack."""
    latest_min = plan.times.latest_release_min
    dive_min = [latest_min * point / CURVE_POINTS for point in range(CURVE_POINTS + 1)]
    deck_mah = plan.power.controller_ma * plan.dive.on_deck_min / 60
    left = [1000 * charge_at_start_ah(plan) - deck_mah - dive_energy(plan, minutes).total_mah for minutes in dive_min]
    lasts_h = empty_h(plan)
    stuck_h = [lasts_h * point / CURVE_POINTS for point in range(CURVE_POINTS + 1)]
    return {
        "dive_min": dive_min,
        "left_mah": [max(0.0, mah) for mah in left],
        "supply_mv": [filming_supply_mv(plan, mah) for mah in left],
        "stuck_h": stuck_h,
        "stuck_left_mah": [left_mah(plan, hours) for hours in stuck_h],
    }


def _faults(worked: Supply) -> Iterator[str]:
    own = worked.own_pack
    if own is None or own.pack_mah is None or own.pack_mah >= own.to_timed_mah:
        return
    short_h = worked.filming_to_timed_h - own.pack_mah / own.recording_ma
    yield (f"camera.pack_mah is {own.pack_mah:g}; the camera records {worked.filming_to_timed_h:.1f} h until the timed"
           f" release and takes {up(own.to_timed_mah)} mAh, so it stops {up(short_h, 1)} h too early: give it a pack of"
           f" at least {up(own.to_timed_mah)} mAh, or release earlier")


def _cautions(plan: Plan, worked: Supply) -> Iterator[str]:
    own, needed, health = worked.own_pack, worked.health_needed_fraction, plan.power.health_fraction
    if own is not None and own.pack_mah is None:
        yield ('camera.supply is "own_pack" and camera.pack_mah is not given: whether the camera\'s own pack lasts for'
               f" the {up(own.to_timed_mah)} mAh until the timed release was not worked out; give camera.pack_mah")
    if own is not None and own.pack_mah is not None and own.to_timed_mah <= own.pack_mah < own.to_latest_mah:
        yield (f"camera.pack_mah is {own.pack_mah:g}: enough until the timed release, but"
               f" {up(own.to_latest_mah - own.pack_mah)} mAh short of filming to the latest one")
    if plan.camera.pack_mah is not None and own is None:
        yield ('camera.pack_mah is given and camera.supply is "main_switched": the camera draws from the main pack and'
               " camera.pack_mah was not used")
    if health - HEALTH_LOST < needed <= health:
        yield (f"power.health_fraction is {health:g} and the plan adds up down to {up(needed, 2)} only; a pack can lose"
               " that within a season unnoticed (common practice, no source): measure it before the dive")
