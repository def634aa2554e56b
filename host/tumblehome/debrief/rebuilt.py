"""A dive rebuilt from its journal alone: the evidence that the laws judge, as far as records tell it.

The simulator fills `Evidence` with what truly happened; here the same fields are filled with what the controller wrote
down. A moment is that of the record that shows it, so it may be late by the time between two records. What a record
cannot know stays at its default, and `law_by_law.laws_on` says so law by law.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from lander import camera as cameras
from lander import journal, release, table, words
from lander.camera import SEEN_RECORDING
from lander.mission import CLOCK_SLACK_S, CLOCK_SLACK_SHIFT
from seatrial.evidence import Attempt, Evidence, Span
from seatrial.plan import Plan
from seatrial.plan.reckoning import water_of
from seatrial.world import DRAUGHT_M
from tumblehome.debrief import physics
from tumblehome.debrief.fitting import Array
from tumblehome.debrief.log import Log

Flags = NDArray[np.bool_]

AIR_WITHIN_MBAR = 60.0  # a reading so far off the air's pressure is not air's
AIR_S = 60.0  # to be sure of it: a hold of half a minute, its steps and a margin
OFF_BOTTOM_M = 0.5
DEEP_M = 5.0  # deeper than this is not the surface, whatever the swell
BELIEVED_M_S = 2.5  # faster than any lander sinks, rises or is hauled (common practice, no source)
STILL_READINGS = 20  # so many alike in a row, of a sensor with noise: it stands still
NOISE_ALONE_M = 2.0  # a scatter above this from one reading to the next is no motion of a lander
SATURATED = 1.0 - 1.0 / 64.0  # of the range: its end, as in the core
WET, LEAK = 1 << 0, 1 << 1
CONTACT_OK, LEAK_OK = 1 << 4, 1 << 5
BEACON, PRIMARY, BACKUP = 1 << 4, 1 << 6, 1 << 7
FAN = 1 << 3
LOADS = ((1 << 0, "camera"), (FAN, "fan"))
NO_CLOCK = journal.FLAG_TIME_UNKNOWN | journal.CONFIRMED  # the time of the descent counts for nothing then


@dataclass
class Rebuilt:
    """One dive by its records, with the columns that all questions ask for.

    `time_s` are `Log.true_s`. `at` has by law the places of the records that show it.
    """

    log: Log
    plan: Plan
    evidence: Evidence = field(init=False)
    at: dict[int, list[int]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.evidence = Evidence(self.plan)

    # --- columns --------------------------------------------------------------------------------------------------

    @cached_property
    def time_s(self) -> Array:
        """See the class."""
        return self.log.true_s

    @cached_property
    def signs(self) -> NDArray[np.uint16]:
        """Bits of `lander.words.SIGNS`."""
        return self.log.records["signs"]

    @cached_property
    def pressure_ok(self) -> Flags:
        """Whether the pressure was valid."""
        return (self.signs & physics.PRESSURE_OK) > 0

    @cached_property
    def air_mbar(self) -> float:
        """The pressure of the air as the controller took it on deck, or as planned."""
        taken = self.log.records["surface_mbar"][self.log.records["surface_mbar"] > 0]
        return float(np.median(taken)) if len(taken) else float(self.plan.site.air_pressure_hpa)

    @cached_property
    def depth_m(self) -> Array:
        """Depth of the lander by its pressure, m, valid or not; the sensor hangs a little lower."""
        water = water_of(self.plan.site)
        shown = self.log.records["pressure_mbar"] - self.air_mbar + water.air_mbar
        depths = np.arange(water.last_m + 1.0)
        deep = np.interp(shown, water.pressure_mbar, depths)
        per_m = water.pressure_mbar[-1] - water.pressure_mbar[-2]
        deep = np.where(shown > water.pressure_mbar[-1], water.last_m + (shown - water.pressure_mbar[-1]) / per_m, deep)
        return np.maximum(0.0, deep - DRAUGHT_M)

    @cached_property
    def dry(self) -> Flags:
        """Whether the contact, valid, says air."""
        return ((self.signs & CONTACT_OK) > 0) & ((self.signs & WET) == 0)

    @cached_property
    def wet(self) -> Flags:
        """Whether the contact, valid, says water."""
        return ((self.signs & CONTACT_OK) > 0) & ((self.signs & WET) > 0)

    @cached_property
    def light(self) -> Flags:
        """Whether the pressure, valid, is the air's."""
        return self.pressure_ok & (abs(self.log.records["pressure_mbar"] - self.air_mbar) <= AIR_WITHIN_MBAR)

    @cached_property
    def deep(self) -> Flags:
        """Whether the pressure, valid, says water."""
        return self.pressure_ok & (self.depth_m >= self.plan.thresholds.submerged_m)

    @cached_property
    def is_row(self) -> Flags:
        """Which records are rows of the table that were taken."""
        return (self.log.records["kind"] == journal.ROW) & (self.log.records["code"] < len(table.ROWS))

    def rows(self) -> Iterator[tuple[int, int]]:
        """Rows that were taken: place and number."""
        for at in np.flatnonzero(self.is_row):
            yield int(at), int(self.log.records["code"][at])

    def events(self, *codes: int) -> NDArray[np.int64]:
        """Places of these events."""
        rows = self.log.records
        return np.flatnonzero((rows["kind"] == journal.EVENT) & np.isin(rows["code"], codes))

    # --- what is to be doubted ---------------------------------------------------------------------------------------

    @cached_property
    def pressure_doubt(self) -> str:
        """Why the pressure of this dive is not to be trusted; "" where nothing says so."""
        wet = self.log.records["descent_ds"] >= 0
        if not wet.any():
            return ""
        good = wet & self.pressure_ok
        if good.sum() < 0.98 * wet.sum():
            return "the pressure could not be read in %d of %d records" % (wet.sum() - good.sum(), wet.sum())
        mbar = self.log.records["pressure_mbar"][good].astype(float)
        full_mbar = water_of(self.plan.site).pressure_mbar_at(self.plan.sensors.pressure.range_m)
        if (mbar >= SATURATED * full_mbar).any():
            return "the pressure stood at the end of its range"
        if self.plan.sensors.pressure.noise_mbar and _longest_alike(mbar) >= STILL_READINGS:
            return "the pressure stood still without its own noise"
        moved, passed_s = np.abs(np.diff(mbar)) / 100.0, np.diff(self.time_s[good])
        if (moved > NOISE_ALONE_M + BELIEVED_M_S * passed_s).sum() > 1:
            return "the pressure jumped farther than any lander moves"
        if (self.wet & wet & self.pressure_ok).sum() and not (self.deep & wet).any() and self._long_in_water():
            return "the contact said water and the pressure air"
        return ""

    def _long_in_water(self) -> bool:
        begun = np.flatnonzero(self.log.records["descent_ds"] >= 0)
        return self.time_s[-1] - self.time_s[begun[0]] > 60.0 * self.plan.thresholds.one_sign_wait_min

    @cached_property
    def time_doubt(self) -> str:
        """Why the times of this dive are not to be trusted; "" where nothing says so."""
        if len(self.events(journal.E_CLOCK)):
            return "the real-time clock and the controller's own count disagreed"
        if self._clock_strays():
            return "the real-time clock went another way than the controller's own count"
        begun = self.log.records["descent_ds"] >= 0
        if (self.log.records["flags"][begun] & journal.FLAG_TIME_UNKNOWN).any():
            return "the controller itself did not know how much time had passed"
        untrusted = self.log.records["clock_s"] == 0
        if untrusted.any() and len(np.unique(self.log.records["boot"])) > 1:
            return "no clock bridged every start of the controller"
        return ""

    def _clock_strays(self) -> bool:
        """Within one start, farther apart than the controller itself allows."""
        rows = self.log.records
        for boot in np.unique(rows["boot"]):
            trusted = (rows["boot"] == boot) & (rows["clock_s"] > 0)
            if not trusted.any():
                continue
            apart_s = rows["clock_s"][trusted] - self.log.mission_s[trusted]
            passed_s = self.log.mission_s[trusted][-1] - self.log.mission_s[trusted][0]
            if float(np.ptp(apart_s)) > CLOCK_SLACK_S + max(0.0, float(passed_s)) / 2 ** CLOCK_SLACK_SHIFT:
                return True
        return False

    @cached_property
    def camera_doubt(self) -> str:
        """Why it may not have recorded though the controller says so: the current of the pack is too small for it."""
        plan, rows = self.plan, self.log.records
        camera = plan.camera
        filming = (rows["camera"] == cameras.RECORDING) & (rows["state"] == table.RECORD)
        filming &= ((self.signs & physics.CURRENT_OK) > 0) & self.log.is_reading
        if camera.supply != "main_switched" or not filming.any():
            return ""
        # a reading is of the moment before its outputs: the lamps and the fan as the record before had them
        lights_pct, drives = np.roll(rows["lights_pct"], 1), np.roll(rows["drives"], 1)
        expected_ma = plan.power.controller_ma + camera.recording_ma + plan.lights.current_ma * lights_pct / 100.0
        expected_ma = expected_ma + plan.fan.current_ma * ((drives & FAN) > 0)
        little = rows["supply_ma"] < expected_ma - 0.5 * (camera.recording_ma - camera.idle_ma)
        share = float(little[filming].mean())
        return "" if share < 0.05 else (
            "in %.0f %% of the time on the bottom the pack gave too little for a camera that records" % (100.0 * share))

    @cached_property
    def contact_doubt(self) -> str:
        """Why the wet contact is not to be trusted; "" where nothing says so."""
        down = self.deep & (self.depth_m > DEEP_M)
        if (down & ~self.wet).sum() > 2:
            return "the contact said air, or could not be read, under water"
        begun = np.flatnonzero(self.log.records["descent_ds"] >= 0)
        first_deep = np.flatnonzero(self.deep)
        if len(begun) and len(first_deep):
            early_s = self.time_s[first_deep[0]] - self._begun_s(int(begun[0]))
            if early_s > 30.0:
                return "the contact said water long before the pressure did"
        return ""

    def _begun_s(self, at: int) -> float:
        rows = self.log.records
        return float(self.time_s[at] - (float(rows["mission_ds"][at]) - float(rows["descent_ds"][at])) / 10.0)


def _longest_alike(mbar: Array) -> int:
    longest = run = 1
    for same in (mbar[1:] == mbar[:-1]).tolist():
        run = run + 1 if same else 1
        longest = max(longest, run)
    return longest


def evidence_of(log: Log, plan: Plan) -> Evidence:
    """The evidence of the dive of this log (one of `Log.dives`), as far as its records tell it."""
    return rebuild(log, plan).evidence


def rebuild(log: Log, plan: Plan) -> Rebuilt:
    """The same with all that it was made from. Raises ValueError for a log without records."""
    if not len(log.records):
        raise ValueError("the log has no records: choose a dive that has some")
    dive = Rebuilt(log, plan)
    for fill in (_water, _passage, _power, _states, _attempts, _leaks, _clock, _charge, _camera, _deaf, _written):
        fill(dive)
    return dive


def _first(marks: Flags) -> int | None:
    found = np.flatnonzero(marks)
    return int(found[0]) if len(found) else None


def _water(dive: Rebuilt) -> None:
    """When it went under, what signs told, when it was back on deck."""
    evidence, rows, time_s = dive.evidence, dive.log.records, dive.time_s
    evidence.end_s = float(time_s[-1])
    begun = _first(rows["descent_ds"] >= 0)
    deep = _first(dive.deep & (rows["state"] != table.SAFE)) if begun is None else _first(
        dive.deep & (time_s >= dive._begun_s(begun)))
    evidence.splash_s = dive._begun_s(begun) if begun is not None else float(time_s[0])
    evidence.begun_s = float(time_s[0])
    evidence.under_s = None if deep is None else float(time_s[deep])
    evidence.wet_s = evidence.splash_s if begun is not None else None
    shown = _first((rows["flags"] & (journal.WET_CONTACT | journal.DEEP_SIGN)) > 0)
    both = _first((rows["flags"] & (journal.WET_CONTACT | journal.DEEP_SIGN))
                  == journal.WET_CONTACT | journal.DEEP_SIGN)
    evidence.water_shown_s = None if shown is None else float(time_s[shown])
    evidence.both_signs_s = None if both is None else float(time_s[both])
    air = np.flatnonzero(dive.dry | dive.light)
    evidence.air_told_s = float(time_s[air[-1]]) if len(air) else None
    dive.at[1] = dive.at[2] = [at for at in (begun, deep) if at is not None]
    if deep is not None:
        _hauled(dive, deep)


def _hauled(dive: Rebuilt, deep: int) -> None:
    """Both signs of air, lasting, after it had been deep."""
    air = dive.dry & dive.light
    air[:deep] = False
    begun: int | None = None
    for at in range(deep, len(air)):
        begun = (at if begun is None else begun) if air[at] else None
        if begun is not None and (dive.time_s[at] - dive.time_s[begun] >= AIR_S or at == len(air) - 1):
            dive.evidence.hauled_s = float(dive.time_s[begun])
            return


def _passage(dive: Rebuilt) -> None:
    """Bottom and surface, by the pressure."""
    evidence, rows, time_s = dive.evidence, dive.log.records, dive.time_s
    if evidence.under_s is None:
        return
    good = dive.pressure_ok & (time_s >= evidence.under_s)
    lying = good & (rows["state"] == table.RECORD)
    evidence.deepest_m = seabed_m = float(np.median(dive.depth_m[lying])) if lying.any() else 0.0
    if not lying.any():
        evidence.deepest_m = float(dive.depth_m[good].max()) if good.any() else 0.0
    near = good & (dive.depth_m >= seabed_m - OFF_BOTTOM_M)
    if lying.any() and seabed_m > 2.0 * dive.plan.thresholds.submerged_m:
        touched = np.flatnonzero(near)
        evidence.touchdown_s = float(time_s[touched[0]])
        off = touched[-1] + 1
        left = np.flatnonzero(good[off:] & (dive.depth_m[off:] < seabed_m - OFF_BOTTOM_M))
        if len(left):
            evidence.left_bottom_s = float(time_s[off + left[0]])
    _surfaced(dive, good)


def _surfaced(dive: Rebuilt, good: Flags) -> None:
    evidence, time_s = dive.evidence, dive.time_s
    been_deep = np.maximum.accumulate(np.where(good, dive.depth_m, 0.0)) > DEEP_M
    up = _first(good & been_deep & (dive.depth_m <= dive.plan.thresholds.surface_m + 0.5))
    if up is not None:
        evidence.surfaced_s = float(time_s[up])
        evidence.surface_visible = True
        evidence.wet_shown_afloat = bool(dive.wet[up:].any())
        dive.at[8] = [up]


def _power(dive: Rebuilt) -> None:
    """One stretch of power for each start; the moment between two is not known, only the records around it."""
    evidence, rows, time_s = dive.evidence, dive.log.records, dive.time_s
    boots = rows["boot"].astype(int)
    begins = [0, *(np.flatnonzero(np.diff(boots)) + 1).tolist()]
    for begin, end in zip(begins, [*begins[1:], len(rows)], strict=True):
        last = end == len(rows)
        evidence.powered.append(Span("on", float(time_s[begin]), None if last else float(time_s[end - 1])))
        if begin:
            evidence.resets_s.append(float(time_s[begin]))
            dive.at.setdefault(2, []).append(begin)
    lit = (rows["drives"] & BEACON) > 0
    evidence.beacon = [Span("beacon", float(time_s[a]), None if b is None else float(time_s[b]))
                       for a, b in _stretches(lit)]
    first = _first(lit)
    dive.at.setdefault(8, []).extend([] if first is None else [first])


def _stretches(marks: Flags) -> list[tuple[int, int | None]]:
    """Where marks begin and end: the place of the first, and of the first that no longer is; None at the end."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], marks)).astype(np.int8)))
    begins, ends = edges[::2].tolist(), edges[1::2].tolist()
    return list(zip(begins, [*ends, None][:len(begins)], strict=True))


def _states(dive: Rebuilt) -> None:
    """States as spans, with the controller off between two starts; the first command; what rows were taken for."""
    evidence, rows, time_s = dive.evidence, dive.log.records, dive.time_s
    state, boot = np.minimum(rows["state"], table.SURFACE), rows["boot"]
    for at in range(len(rows)):
        fresh = at > 0 and boot[at] != boot[at - 1]
        if at and state[at] == state[at - 1] and not fresh:
            continue
        if fresh:
            evidence.spans[-1].to_s = float(time_s[at - 1])
            evidence.spans.append(Span("off", float(time_s[at - 1]), float(time_s[at])))
        elif evidence.spans:
            evidence.spans[-1].to_s = float(time_s[at])
        evidence.spans.append(Span(table.STATES[state[at]], float(time_s[at])))
    for at, number in dive.rows():
        _read_row(dive, at, number)
    if evidence.command_s is None:
        told = _first(rows["command_ds"] >= 0)
        if told is not None:
            ago_s = (float(rows["mission_ds"][told]) - float(rows["command_ds"][told])) / 10.0
            evidence.command_s = float(time_s[told]) - ago_s


def _read_row(dive: Rebuilt, at: int, number: int) -> None:
    evidence, row = dive.evidence, table.ROWS[number]
    now_s = float(dive.time_s[at])
    if row[table.TO] in (table.RELEASE, table.BACKUP) and evidence.command_s is None:
        evidence.command_s, evidence.command_reason = now_s, table.because(number)
        for law in (1, 2, 4, 6, 7):
            dive.at.setdefault(law, []).append(at)
    if row[table.WHEN] == table.SETTLED and evidence.motion_believed_s is None and _moves(dive, at):
        evidence.motion_believed_s = now_s
        dive.at.setdefault(12, []).append(at)
    if row[table.WHEN] == table.RISING and row[table.FROM] in (table.RELEASE, table.BACKUP) and not _rose(dive, at):
        evidence.rise_believed_s = now_s
        dive.at.setdefault(4, []).append(at)


def _before(dive: Rebuilt, at: int, seconds: float) -> Flags:
    """Valid readings up to this record, not older than so many seconds."""
    marks = dive.pressure_ok & (dive.time_s >= dive.time_s[at] - seconds)
    marks[at + 1:] = False
    return marks


def _moves(dive: Rebuilt, at: int) -> bool:
    """The depth changed by bands while it was said to stand still."""
    thresholds = dive.plan.thresholds
    marks = _before(dive, at, thresholds.settled_s)
    if marks.sum() < 3:
        return False
    slope = np.polyfit(dive.time_s[marks], dive.depth_m[marks], 1)[0]
    return bool(abs(slope) * thresholds.settled_s > 4.0 * thresholds.settled_band_m)


def _rose(dive: Rebuilt, at: int) -> bool:
    """Since the command some reading lay deeper than this one by half of what confirms a rise, or none can tell."""
    begun_s = dive.evidence.command_s
    marks = _before(dive, at, 0.0 if begun_s is None else dive.time_s[at] - begun_s + 1.0)
    if marks.sum() < 2 or not dive.pressure_ok[at]:
        return True
    return bool(dive.depth_m[marks].max() - dive.depth_m[at] >= dive.plan.release.rise_m / 2.0)


def _attempts(dive: Rebuilt) -> None:
    """Attempts as they were written down, and such as only the outputs of a record show."""
    rows, evidence = dive.log.records, dive.evidence
    open_attempt: Attempt | None = None
    for at in range(len(rows)):
        kind, now_s = int(rows["kind"][at]), float(dive.time_s[at])
        if open_attempt and open_attempt.boot != rows["boot"][at]:
            open_attempt.to_s, open_attempt.end, open_attempt = float(dive.time_s[at - 1]), "reset", None
        if kind == journal.ATTEMPT:
            open_attempt = _attempt(dive, at, int(rows["code"][at]), int(rows["detail"][at]))
            evidence.attempts.append(open_attempt)
            dive.at.setdefault(4, []).append(at)
            dive.at.setdefault(5, []).append(at)
        elif kind == journal.ATTEMPT_END and open_attempt:
            open_attempt.to_s, open_attempt.end = now_s, words.ATTEMPT_ENDS.get(int(rows["detail"][at]), "")
            open_attempt.freed = rows["detail"][at] == release.RISE
            open_attempt = None
        elif kind == journal.EVENT and rows["code"][at] == journal.E_BENCH_ON:
            evidence.bench_fires.append(_attempt(dive, at, int(rows["detail"][at]) & 1, 100))
            evidence.bench_fires[-1].to_s = now_s
        elif rows["drives"][at] & (PRIMARY | BACKUP):
            open_attempt = _while_firing(dive, at, open_attempt)
    dive.at[3] = dive.at.get(5, [])


def _while_firing(dive: Rebuilt, at: int, attempt: Attempt | None) -> Attempt | None:
    """What a record shows while a release is energised. A READING comes last in its step, with the outputs as put."""
    drives, evidence = int(dive.log.records["drives"][at]), dive.evidence
    if dive.log.records["kind"][at] != journal.READING:
        return attempt
    state = dive.log.records["state"][at]
    if attempt is None and state in (table.RELEASE, table.BACKUP):
        attempt = _attempt(dive, at, 0 if drives & PRIMARY else 1, 100)
        evidence.attempts.append(attempt)
        dive.at.setdefault(12, []).append(at)
    if attempt is not None:
        attempt.loads_on = attempt.loads_on or _loads(dive, at)
        attempt.both = attempt.both or bool(drives & PRIMARY and drives & BACKUP)
    return attempt


def _loads(dive: Rebuilt, at: int) -> str:
    drives, plan = int(dive.log.records["drives"][at]), dive.plan
    on = [name for bit, name in LOADS if drives & bit and not (name == "camera" and plan.camera.supply == "own_pack")]
    return ", ".join([*on, *(["lights"] if dive.log.records["lights_pct"][at] else [])])


def _attempt(dive: Rebuilt, at: int, channel: int, drive_pct: int) -> Attempt:
    now_s, evidence = float(dive.time_s[at]), dive.evidence
    on_deck = evidence.hauled_s is not None and now_s >= evidence.hauled_s
    under = evidence.under_s is not None and now_s >= evidence.under_s and not on_deck
    aired = _before(dive, at, AIR_S)
    long = aired.any() and dive.time_s[at] - dive.time_s[aired][0] >= 0.5 * AIR_S
    sure_of_air = bool(long and (dive.dry & dive.light)[aired].all())
    return Attempt(
        from_s=now_s, channel=words.CHANNELS[channel] if channel in (0, 1) else "primary", drive_pct=drive_pct,
        loads_on=_loads(dive, at), in_water=bool(dive.wet[at] or dive.deep[at]), been_under=under, both=False,
        boot=int(dive.log.records["boot"][at]), deck_unseen=not sure_of_air)


def _leaks(dive: Rebuilt) -> None:
    """Stretches of records in which the probe felt water."""
    felt = ((dive.signs & LEAK) > 0) & ((dive.signs & LEAK_OK) > 0)
    for begin, end in _stretches(felt):
        dive.evidence.leaks.append(Span("leak", float(dive.time_s[begin]),
                                        None if end is None else float(dive.time_s[end])))
        dive.at.setdefault(7, []).append(begin)


def _clock(dive: Rebuilt) -> None:
    """Mission time, and the time of the descent against the clock."""
    evidence, rows = dive.evidence, dive.log.records
    mission_ds = rows["mission_ds"].astype(np.int64)
    known = (rows["flags"] & journal.FLAG_TIME_UNKNOWN) == 0
    fell = np.flatnonzero((np.diff(mission_ds) < 0) & known[1:]) + 1
    evidence.mission_time_fell = len(fell)
    dive.at.setdefault(2, []).extend(fell.tolist())
    ahead_s: float | None = None
    for at in range(len(rows)):
        if rows["descent_ds"][at] < 0 or rows["flags"][at] & NO_CLOCK:
            ahead_s = None
            continue
        now_s = (mission_ds[at] - int(rows["descent_ds"][at])) / 10.0 - dive.time_s[at]
        ahead_s = now_s if ahead_s is None else ahead_s
        if ahead_s - now_s > evidence.clock_behind_s:
            evidence.clock_behind_s = float(ahead_s - now_s)
            if evidence.clock_behind_s > 1.0 and at not in dive.at[2]:
                dive.at[2] = [*dive.at[2][:8], at]


def _charge(dive: Rebuilt) -> None:
    """What was left at the command: the plan's pack less the currents as they were read."""
    evidence = dive.evidence
    if evidence.command_s is None:
        return
    orders = dive.plan.orders()
    at = max(0, int(np.searchsorted(dive.time_s, evidence.command_s, "right")) - 1)
    used_mah = float(dive.log.records["used_mah"][at])
    read = (dive.signs & physics.CURRENT_OK) > 0
    if read[:at + 1].mean() > 0.9:
        used_mah = 1000.0 * float(physics.drawn_ah(dive.log, dive.plan)[at])
    evidence.pack_mah = float(orders.capacity_mah)
    evidence.left_at_command_mah = orders.capacity_mah - used_mah
    low = dive.log.records["supply_mv"] < dive.plan.thresholds.reserve_mv
    shown = _first(low & ((dive.signs & physics.SUPPLY_OK) > 0) & (dive.time_s > evidence.splash_s))
    evidence.low_shown_s = None if shown is None else float(dive.time_s[shown])


def _camera(dive: Rebuilt) -> None:
    """What was recorded on the bottom as the controller saw it, presses against a running recording, lights in air."""
    evidence, rows, time_s = dive.evidence, dive.log.records, dive.time_s
    spans_s = np.diff(time_s, append=time_s[-1])
    if evidence.touchdown_s is not None:
        ends = [one for one in (evidence.command_s, evidence.left_bottom_s, evidence.hauled_s) if one is not None]
        over_s = min([*ends, evidence.end_s])
        filming = (time_s >= evidence.touchdown_s) & (time_s < over_s)
        answered = rows["camera"] == cameras.RECORDING
        evidence.recorded_on_bottom_s = float(spans_s[filming & answered].sum())
    hot = False
    for at in dive.events(journal.E_HOT, journal.E_COOL, journal.E_PRESS).tolist():
        code = rows["code"][at]
        hot = code == journal.E_HOT or (hot and code != journal.E_COOL)
        guessed = code == journal.E_PRESS and rows["detail"][at] == SEEN_RECORDING
        if guessed and not hot and rows["state"][at] in (table.DESCEND, table.RECORD):
            evidence.guessed_presses_s.append(float(time_s[at]))
            dive.at.setdefault(9, []).append(at)
    in_air = (rows["lights_pct"] > 0) & dive.light
    lasting = in_air & np.append(in_air[1:], False)  # lit at both ends of what lies between two records
    evidence.lights_in_air_s = float(spans_s[lasting].sum())
    dive.at[10] = np.flatnonzero(in_air)[:4].tolist()


def _deaf(dive: Rebuilt) -> None:
    """Disarmings and bench firings while the pressure told of depth."""
    evidence = dive.evidence
    under = dive.pressure_ok & (dive.depth_m > dive.plan.thresholds.submerged_m)
    for at, number in dive.rows():
        if not table.label(number).endswith("-disarm"):
            continue
        if under[at]:
            evidence.disarmed_under_water += 1
            dive.at.setdefault(11, []).append(at)
        elif dive.dry[at] and dive.light[at] and evidence.under_s is not None:
            evidence.disarmed_dry_s = evidence.disarmed_dry_s or float(dive.time_s[at])
    evidence.bench_fires_under_water = int(under[dive.events(journal.E_BENCH_ON)].sum())
    evidence.commands_under_water = int(under[dive.events(journal.E_COMMAND_REFUSED)].sum())


def _written(dive: Rebuilt) -> None:
    """Whether rows and attempts account for the states and outputs that records show."""
    evidence, rows = dive.evidence, dive.log.records
    evidence.journal_rows = [table.label(number) for _at, number in dive.rows()]
    evidence.rows_seen = list(evidence.journal_rows)
    changed = np.flatnonzero(np.diff(rows["state"].astype(int))) + 1
    evidence.state_changes = len(changed) + int(dive.is_row[0])
    silent = [int(at) for at in changed if not dive.is_row[at]]
    dive.at.setdefault(12, []).extend(silent)
    written = int((rows["kind"] == journal.ATTEMPT).sum())
    evidence.journal_attempts = written + len(evidence.bench_fires)
    evidence.journal_lost = dive.log.unread.missing
    evidence.journal_damaged = dive.log.unread.bad
    bugs = dive.events(journal.E_BUG)
    if len(bugs):
        evidence.bug_s = float(dive.time_s[bugs[0]])
        dive.at[12].append(int(bugs[0]))
