"""The dive as its journal has it, laid out for the rules: columns, starts, rows, attempts, and the plan beside them.

Nothing here knows more than the records and the plan. Times are mission time in seconds.
"""

from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lander import camera, journal, release, table, words
from lander.orders import OWN_PACK
from lander.restart import RESTART_DS
from seatrial.plan import Plan
from seatrial.plan.reckoning import water_of
from tumblehome.debrief.beacon import Beacon, beacon_of
from tumblehome.debrief.log import Log

SIGN = {name: 1 << bit for bit, name in enumerate(words.SIGNS)}
DRIVE = {name: 1 << bit for bit, name in enumerate(words.DRIVES)}
ON_DECK = (table.SAFE, table.ARMED)
UNDER = (table.DESCEND, table.RECORD, table.RELEASE, table.BACKUP, table.ASCEND)
FIRING = DRIVE["primary"] | DRIVE["backup"]
CAMERA_KNOWN = {camera.OFF: False, camera.WAIT: False, camera.RECORDING: True}


@dataclass
class Start:
    """The controller started. `before` is the place of the last record before it, or None; `away_s` from that record
    to this one by the mission clock; `known` whether a clock has told that time."""

    at: int
    cause: int
    before: int | None
    away_s: float
    known: bool


@dataclass
class Attempt:
    """One attempt at a release. `driven` are places of readings while current flowed; `end` as in `lander.release`."""

    at: int
    number: int
    channel: int
    drive_pct: int
    end_at: int | None = None
    end: int | None = None
    driven: list[int] = field(default_factory=list)


@dataclass(frozen=True)
class Row:
    """A row of the mission table was taken."""

    at: int
    number: int
    came_from: int

    @property
    def label(self) -> str:
        return table.label(self.number)


class Past:
    """One dive: the newest that went into the water, with what came before it on deck."""

    def __init__(self, log: Log, plan: Plan) -> None:
        self.whole = log
        self.plan = plan
        self.orders = plan.orders()
        self.log = log.part(_span(log)) if len(log.records) else log
        r = self.log.records
        self.count = len(r)
        self.t: NDArray[np.float64] = self.log.mission_s
        self.kind = r["kind"].astype(int)
        self.state = r["state"].astype(int)
        self.code = r["code"].astype(int)
        self.detail = r["detail"].astype(int)
        self.boot = r["boot"].astype(int)
        self.sequence = r["sequence"].astype(int)
        self.mbar = r["pressure_mbar"].astype(float)
        self.mv = r["supply_mv"].astype(float)
        self.ma = r["supply_ma"].astype(float)
        self.camera_c = r["camera_centi_c"] / 100.0
        self.housing_c = r["housing_centi_c"] / 100.0
        self.water_c = r["water_centi_c"] / 100.0
        self.signs = r["signs"].astype(int)
        self.drives = r["drives"].astype(int)
        self.lights_pct = r["lights_pct"].astype(int)
        self.camera = r["camera"].astype(int)
        self.flags = r["flags"].astype(int)
        self.used_mah = r["used_mah"].astype(float)
        self.memo: dict[str, Any] = {}  # what several rules need and one of them works out

    # --- reading the columns --------------------------------------------------------------------------------------

    def sign(self, name: str) -> NDArray[np.bool_]:
        return (self.signs & SIGN[name]) != 0

    def lost(self, name: str) -> NDArray[np.int64]:
        """Places where this sign could not be read and should have been: a thermometer has no answer yet in the step
        in which the controller starts."""
        fresh = np.zeros(self.count, bool)
        if name.endswith("_temp_ok"):
            begun_s = self.t[(self.kind == journal.BOOT)]
            fresh = (np.abs(self.t[:, None] - begun_s[None, :]) < 0.05).any(axis=1)
        return np.flatnonzero(~self.sign(name) & ~fresh)

    def drive(self, name: str) -> NDArray[np.bool_]:
        return (self.drives & DRIVE[name]) != 0

    def records(self, places) -> tuple[int, ...]:
        """Sequence numbers of these places: all of a few, the first and last ones of many."""
        numbers = [int(self.sequence[at]) for at in places]
        return tuple(numbers if len(numbers) <= 8 else [*numbers[:4], *numbers[-4:]])

    def in_state(self, *states: int) -> NDArray[np.bool_]:
        return np.isin(self.state, states)

    @cached_property
    def air_mbar(self) -> float:
        """Air pressure as the controller took it on deck."""
        return float(self.log.records["surface_mbar"][-1])

    @cached_property
    def depth_m(self) -> NDArray[np.float64]:
        """Depth by the site's mean water, as the controller reckons it; nan where the pressure was not valid."""
        depth = (self.mbar - self.air_mbar) * self.orders.cm_per_bar / 1e5
        return np.where(self.sign("pressure_ok"), depth, np.nan)

    @cached_property
    def noise_m(self) -> float:
        """The most by which a sound reading of the pressure is off, as depth: noise and step of the plan's sensor."""
        sensor = self.plan.sensors.pressure
        return (sensor.noise_mbar + sensor.resolution_mbar) * self.orders.cm_per_bar / 1e5

    @cached_property
    def planned_mbar(self) -> float:
        """Pressure on the planned seabed."""
        return float(water_of(self.plan.site).pressure_mbar_at(self.plan.site.depth_m))

    # --- what happened --------------------------------------------------------------------------------------------

    @cached_property
    def starts(self) -> list[Start]:
        """Every start of the controller but the first, whose beginning is no restart."""
        found = []
        for place in np.flatnonzero(self.boot[1:] != self.boot[:-1]):
            at = int(place) + 1
            is_boot = self.kind[at] == journal.BOOT
            found.append(Start(at, int(self.code[at]) if is_boot else 0, at - 1, float(self.t[at] - self.t[at - 1]),
                               bool(is_boot and self.detail[at] >= 0)))
        return found

    @cached_property
    def rows(self) -> list[Row]:
        found = []
        for at in np.flatnonzero(self.kind == journal.ROW):
            number = int(self.code[at])
            if number < len(table.ROWS):
                found.append(Row(int(at), number, table.ROWS[number][table.FROM]))
        return found

    def row(self, *labels: str) -> Row | None:
        """The first row of these labels that was taken."""
        return next((row for row in self.rows if row.label in labels), None)

    def entered(self, *states: int) -> Row | None:
        """The first row that led to one of these states."""
        return next((row for row in self.rows if table.ROWS[row.number][table.TO] in states), None)

    def events(self, *codes: int) -> list[int]:
        return [int(at) for at in np.flatnonzero((self.kind == journal.EVENT) & np.isin(self.code, codes))]

    @cached_property
    def attempts(self) -> list[Attempt]:
        found: list[Attempt] = []
        open_one: Attempt | None = None
        for at in range(self.count):
            kind = self.kind[at]
            if kind == journal.ATTEMPT:
                open_one = Attempt(at, int(self.log.records["attempts"][at]), int(self.code[at]), int(self.detail[at]))
                found.append(open_one)
                continue
            if open_one is None:
                continue
            if kind == journal.BOOT or self.boot[at] != self.boot[open_one.at]:
                open_one.end, open_one.end_at, open_one = release.RESET, at, None
                continue
            if self.t[at] > self.t[open_one.at] and self.drives[at] & FIRING:
                open_one.driven.append(at)
            if kind == journal.ATTEMPT_END:
                open_one.end, open_one.end_at, open_one = int(self.detail[at]), at, None
        return found

    @cached_property
    def splash_s(self) -> float | None:
        return self.log.splash_s

    @cached_property
    def under_water(self) -> bool:
        return bool(self.in_state(*UNDER).any())

    @cached_property
    def deepest_m(self) -> float:
        """The deepest reading of the pressure, m; 0 where there is none."""
        return float(np.nanmax(self.depth_m, initial=0.0))

    @cached_property
    def command_at(self) -> int | None:
        """Place of the row with which a release was first commanded."""
        row = self.entered(table.RELEASE, table.BACKUP)
        return None if row is None else row.at

    @cached_property
    def surface_at(self) -> int | None:
        row = self.entered(table.SURFACE)
        return None if row is None else row.at

    @cached_property
    def last_state(self) -> int:
        return int(self.state[-1])

    def between(self, from_s: float, to_s: float) -> NDArray[np.bool_]:
        return (self.t >= from_s) & (self.t <= to_s)

    # --- what the plan would have drawn ---------------------------------------------------------------------------

    @cached_property
    def settled(self) -> NDArray[np.bool_]:
        """Places whose readings belong to the outputs that stand in them: nothing was switched just before, and
        what the beacon drew is known."""
        same = np.zeros(self.count, bool)
        if self.count > 1:
            same[1:] = ((self.drives[1:] == self.drives[:-1]) & (self.lights_pct[1:] == self.lights_pct[:-1])
                        & (self.camera[1:] == self.camera[:-1]) & (self.boot[1:] == self.boot[:-1])
                        & (self.kind[1:] == journal.READING) & (self.t[1:] > self.t[:-1]))
            beacon = self.beacon
            known = beacon.is_sure & ~beacon.may_rest
            same[1:] &= (beacon.code[1:] == beacon.code[:-1]) & known[1:] & known[:-1]
        same &= np.isin(self.camera, list(CAMERA_KNOWN))
        return same & ((self.drives & (DRIVE["power_button"] | DRIVE["record_button"])) == 0)

    @cached_property
    def beacon(self) -> Beacon:
        """The rhythm of its lamp, as the core chooses it by the night, the clock and the charge."""
        return beacon_of(self.log, self.orders)

    @cached_property
    def beacon_lamp_ma(self) -> NDArray[np.float64]:
        """Mean current that the plan's beacon lamp would draw in its rhythm."""
        return self.plan.beacon.lamp_ma * self.beacon.lamp_share

    @cached_property
    def planned_ma(self) -> NDArray[np.float64]:
        """Current that the plan's own loads would draw with the outputs of each record, release channels left out."""
        plan = self.plan
        ma = np.full(self.count, float(plan.power.controller_ma))
        if self.orders.camera_supply != OWN_PACK:
            ma += np.where(self.camera == camera.RECORDING, plan.camera.recording_ma, 0.0)
        ma += plan.lights.current_ma * self.lights_pct / 100.0
        ma += np.where(self.drive("fan"), plan.fan.current_ma, 0.0)
        ma += self.beacon_lamp_ma
        return ma + np.where(self.drive("report"), plan.beacon.report_ma, 0.0)

    @cached_property
    def noise_ma(self) -> float:
        sensor = self.plan.sensors.supply
        return sensor.noise_ma + sensor.resolution_ma

    def channel(self, number: int):
        return (self.plan.release.primary, self.plan.release.backup)[number]

    def opens_s(self, number: int) -> float:
        """Seconds of planned current after which the channel has opened."""
        section = self.channel(number)
        return section.parting_s() if section.kind == "wire" else section.turn_s

    def record_age_s(self, before: int) -> float:
        """How old a record may be when the next one is due, seconds: that of an attempt that is being driven comes as
        often as those on the seabed."""
        if self.drives[before] & FIRING:
            return float(self.orders.reading_bottom_ds) / 10.0
        return self.restart_most_s(before) - RESTART_DS / 10.0

    def restart_most_s(self, before: int) -> float:
        """The longest that a plain restart may seem to take: what the core itself allows, and the age of the record
        that it goes on from."""
        state = self.state[before]
        orders = self.orders
        every_ds = orders.reading_bottom_ds if state == table.RECORD else (
            orders.reading_surface_ds if state in (*ON_DECK, table.SURFACE) else
            8 * orders.reading_bottom_ds if state in (table.RELEASE, table.BACKUP) else orders.reading_descent_ds)
        return (RESTART_DS + every_ds) / 10.0


def _span(log: Log) -> NDArray[np.bool_]:
    """The records of the newest dive that went into the water, and of the deck before it."""
    r = log.records
    in_water = r["descent_ds"] >= 0
    dive = r["dive"][np.flatnonzero(in_water)[-1]] if in_water.any() else r["dive"][-1]
    places = np.flatnonzero(r["dive"] == dive)
    first, last = places[0], places[-1]
    while first > 0 and r["state"][first - 1] == table.SAFE and r["descent_ds"][first - 1] < 0:
        first -= 1
    chosen = np.zeros(len(r), bool)
    chosen[first:last + 1] = True
    return chosen
