"""A dive against its plan: each planned number beside the real one, the laws on the journal, and the check on deck.

Planned numbers are those of `seatrial.workings`; their bands are the plan's own doubt where it has one. The real ones
are read off the journal (`rebuilt`); a number that it cannot tell is named, not guessed.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from geographiclib.geodesic import Geodesic

from lander import camera as cameras
from lander import table
from seatrial.plan import Plan
from seatrial.plan.energy import dive_energy, energy_budget
from seatrial.plan.reckoning import water_of
from seatrial.verdicts import START_S, STEP_S
from seatrial.workings.doubt import FAST_DOWN, FAST_UP, LIKELY, SLOW_DOWN, SLOW_UP
from seatrial.workings.drift import drift
from seatrial.workings.motion import motion
from seatrial.workings.passage import ascent, descent
from seatrial.workings.release_paths import BY_BACKUP, LATEST, TIMED, Path, path_of
from seatrial.workings.temperatures import DESCENT, SEABED, Course, course
from tumblehome.debrief import physics, rebuilt
from tumblehome.debrief.beacon import beacon_of
from tumblehome.debrief.fitting import Array
from tumblehome.debrief.law_by_law import CANNOT, LawTold, told_of
from tumblehome.debrief.log import Log
from tumblehome.debrief.rebuilt import BACKUP, FAN, PRIMARY, Rebuilt

INSIDE, OUTSIDE, BESIDE = "inside", "outside", ""

# Bands where the plan has no doubt of its own: our own choice.
WATER_BAND_C = 1.0  # what a cast of another day is off
HEAT_BAND, HEAT_LEAST_C = 0.2, 0.5  # of the rise over the water, and at least; the handbook's correlations are so good
DEPTH_BAND = 0.01  # of the depth, where the plan gives no margin
RECORDED_PCT = 95.0  # of the bottom time, as law 9 wants it
CURRENT_DOUBT = 0.25  # of a planned current, where the dive does not tell loads apart

SPEED_OVER_S, SPEED_READINGS = 40.0, 4  # a speed is taken from readings of so long, and at least so many
ON_THE_WAY_M = 3.0  # above the bottom and below the surface: there it is no longer, or not yet, steady
NO_DESCENT = "the journal has no touch of the bottom"
NO_ASCENT = "the journal has no ascent to the surface"


@dataclass(frozen=True)
class Compared:
    """A planned number beside the real one.

    `low` and `high` are the band in which the plan expects it, None for no bound on that side. `verdict` is `INSIDE`,
    `OUTSIDE`, `CANNOT` with the reason in `note`, or `BESIDE` where there is no band. `records` are places in the log.
    """

    key: str
    words: str
    unit: str
    digits: int
    planned: float | None
    low: float | None
    high: float | None
    seen: float | None
    verdict: str
    note: str = ""
    records: tuple[int, ...] = ()


@dataclass(frozen=True)
class Spent:
    """Charge by a load or in a part of the dive, mAh, as planned and as read; `ma` is the current that the load drew,
    None where it has no current of its own. `told` says whether this dive tells it apart from other loads."""

    words: str
    planned_mah: float | None
    seen_mah: float
    planned_ma: float | None = None
    ma: float | None = None
    told: bool = True


@dataclass(frozen=True)
class Against:
    """A dive beside its plan. `way_home` says in words which path of the plan it took, and `why` the reason of the
    release as the controller wrote it."""

    rows: tuple[Compared, ...]
    by_load: tuple[Spent, ...]
    by_phase: tuple[Spent, ...]
    laws: tuple[LawTold, ...]
    way_home: str
    why: str
    doubts: tuple[str, ...]

    def row(self, key: str) -> Compared:
        """The number of this name. Raises KeyError for one that is not compared."""
        for found in self.rows:
            if found.key == key:
                return found
        raise KeyError(key)

    def outside(self) -> tuple[Compared, ...]:
        """What went otherwise than planned."""
        return tuple(row for row in self.rows if row.verdict == OUTSIDE)


def against(log: Log, plan: Plan, surfaced_at: tuple[float, float] | None = None) -> Against:
    """Hold the dive of this log (one of `Log.dives`) against its plan.

    `surfaced_at` is where it came up, latitude and longitude in degrees, where somebody knows. Raises ValueError for a
    log without records.
    """
    dive = rebuilt.rebuild(log, plan)
    seen = _Seen(dive)
    rows = [row for rows in (_down, _release, _up, _warmth, _energy, _filmed) for row in rows(seen)]
    rows += list(_place(seen, surfaced_at))
    doubts = (dive.pressure_doubt, dive.contact_doubt, dive.time_doubt, dive.camera_doubt)
    return Against(
        tuple(rows), tuple(_by_load(seen)), tuple(_by_phase(seen)), tuple(told_of(dive)),
        "" if seen.way is None else seen.way.words, dive.evidence.command_reason,
        tuple(doubt for doubt in doubts if doubt))


class _Seen:
    """What the journal says of the moments and speeds of the dive."""

    def __init__(self, dive: Rebuilt) -> None:
        self.dive, self.plan, self.evidence = dive, dive.plan, dive.evidence
        self.rows = dive.log.records

    @cached_property
    def deep(self) -> bool:
        """It has touched the bottom, as far as its pressure can be trusted."""
        return self.evidence.touchdown_s is not None and not self.dive.pressure_doubt

    @cached_property
    def came_up(self) -> bool:
        """It has left the bottom and come to the surface."""
        evidence = self.evidence
        return self.deep and evidence.left_bottom_s is not None and evidence.surfaced_s is not None

    def since_splash_s(self, time_s: float | None) -> float | None:
        """Seconds from the splash to a moment."""
        return None if time_s is None else time_s - self.evidence.splash_s

    def speed_m_s(self, from_s: float, to_s: float) -> float | None:
        """How fast the depth grew between two moments; None with too few readings on the way."""
        marks = self.dive.pressure_ok & (self.dive.time_s >= from_s) & (self.dive.time_s <= to_s)
        marks &= (self.dive.depth_m > ON_THE_WAY_M) & (self.dive.depth_m < self.evidence.deepest_m - ON_THE_WAY_M)
        if marks.sum() < SPEED_READINGS:
            return None
        return float(np.polyfit(self.dive.time_s[marks], self.dive.depth_m[marks], 1)[0])

    @cached_property
    def left_s(self) -> float | None:
        """When it left the bottom: the way up drawn back to it."""
        evidence = self.evidence
        if evidence.left_bottom_s is None:
            return None
        speed = self.speed_m_s(evidence.left_bottom_s, evidence.left_bottom_s + SPEED_OVER_S)
        at = int(np.searchsorted(self.dive.time_s, evidence.left_bottom_s))
        risen_m = evidence.deepest_m - float(self.dive.depth_m[at])
        return evidence.left_bottom_s - (risen_m / -speed if speed and speed < 0.0 else 0.0)

    @cached_property
    def way(self) -> Path | None:
        """The path of the plan that it took; None where it released earlier than any, or not at all."""
        firsts = [number for _at, number in self.dive.rows()
                  if table.ROWS[number][table.TO] in (table.RELEASE, table.BACKUP)]
        if not firsts:
            return None
        when = table.ROWS[firsts[0]][table.WHEN]
        if when == table.DUE:
            return path_of(self.plan, TIMED if len(self.evidence.attempts) < 2 else BY_BACKUP)
        return path_of(self.plan, LATEST) if when == table.LATEST else None


# --- rows -----------------------------------------------------------------------------------------------------------


def _compared(key: str, words: str, unit: str, digits: int, planned: float | None, band: tuple[float | None, ...],
              seen: float | None, why_not: str, at: tuple[int, ...] = (), note: str = "") -> Compared:
    """A row with its verdict; `band` is two bounds in any order, or none."""
    at = tuple(sorted(set(at)))
    bounds = [bound for bound in band if bound is not None]
    low = min(bounds) if len(bounds) == 2 else band[0] if band else None
    high = max(bounds) if len(bounds) == 2 else band[1] if band else None
    if seen is None:
        return Compared(key, words, unit, digits, planned, low, high, None, CANNOT, why_not, at)
    if low is None and high is None:
        return Compared(key, words, unit, digits, planned, None, None, seen, BESIDE, note, at)
    is_inside = (low is None or seen >= low) and (high is None or seen <= high)
    return Compared(key, words, unit, digits, planned, low, high, seen, INSIDE if is_inside else OUTSIDE, note, at)


def _down(seen: _Seen) -> Iterator[Compared]:
    plan, evidence, moved = seen.plan, seen.evidence, motion(seen.plan)
    why_not = seen.dive.pressure_doubt or NO_DESCENT
    depth_m, margin_m = plan.site.depth_m, max(plan.site.depth_margin_m, DEPTH_BAND * plan.site.depth_m)
    at = tuple(seen.dive.at.get(1, ()))
    yield _compared("depth_m", "depth of the seabed", "m", 1, depth_m, (depth_m - margin_m, depth_m + margin_m),
                    evidence.deepest_m if seen.deep else None, why_not)
    took_s = seen.since_splash_s(evidence.touchdown_s) if seen.deep else None
    yield _compared("descent_s", "descent", "s", 0, moved.descent_likely_s,
                    (moved.descent_fast_s, moved.descent_slow_s), took_s, why_not, at)
    rates = [None if seconds is None else depth_m / seconds for seconds in (
        moved.descent_likely_s, moved.descent_fast_s, moved.descent_slow_s)]
    yield _compared("descent_m_s", "mean speed down", "m/s", 3, rates[0], (rates[1], rates[2]),
                    evidence.deepest_m / took_s if took_s else None, why_not, at)
    ends = [None if way is None else way.end_speed_m_s for way in (
        descent(plan, LIKELY), descent(plan, FAST_DOWN), descent(plan, SLOW_DOWN))]
    end_s = evidence.touchdown_s
    yield _compared("impact_m_s", "speed at the seabed", "m/s", 3, ends[0], (ends[1], ends[2]),
                    seen.speed_m_s(end_s - SPEED_OVER_S, end_s) if seen.deep and end_s is not None else None, why_not)


def _release(seen: _Seen) -> Iterator[Compared]:
    evidence, way, timed = seen.evidence, seen.way, path_of(seen.plan, TIMED)
    commanded_s = seen.since_splash_s(evidence.command_s)
    never = "no release was commanded as far as the journal goes"
    planned_s = None if (way or timed).command_min is None else 60.0 * ((way or timed).command_min or 0.0)
    room_s = START_S + STEP_S
    early = "commanded before any time of the plan: %s" % evidence.command_reason if way is None else ""
    at = tuple(seen.dive.at.get(6, ()))
    band = () if planned_s is None else (planned_s - STEP_S, planned_s + room_s)
    yield _compared("command_s", "release commanded, after the splash", "s", 0, planned_s, band, commanded_s, never,
                    at, early)
    yield _compared("attempts", "release attempts", "", 0, float((way or timed).attempts or 1),
                    (0.0, float((way or timed).attempts or 1)), float(len(evidence.attempts)), "",
                    tuple(seen.dive.at.get(4, ())))
    if way is None:
        return
    mud_s = motion(seen.plan).mud_s or 0.0
    freed = [None if minutes is None else 60.0 * minutes + mud_s for minutes in (
        way.freed_min.likely, way.freed_min.early, way.freed_min.late)]
    yield _compared("off_bottom_s", "off the bottom, after the splash", "s", 0, freed[0],
                    _wide(seen, freed[1], freed[2]), seen.since_splash_s(seen.left_s) if seen.deep else None,
                    seen.dive.pressure_doubt or NO_ASCENT)
    up = [None if minutes is None else 60.0 * minutes for minutes in (
        way.surfaced_min.likely, way.surfaced_min.early, way.surfaced_min.late)]
    yield _compared("surfaced_s", "surfaced, after the splash", "s", 0, up[0], _wide(seen, up[1], up[2]),
                    seen.since_splash_s(evidence.surfaced_s) if seen.came_up else None,
                    seen.dive.pressure_doubt or NO_ASCENT, tuple(seen.dive.at.get(8, ())[:1]))


def _wide(seen: _Seen, low_s: float | None, high_s: float | None) -> tuple[float | None, float | None]:
    """A band with the room of the controller's steps; the plan reckons with the longest shedding, which may be none."""
    low_s = None if low_s is None else low_s - STEP_S - seen.plan.release.shed_s
    return low_s, None if high_s is None else high_s + START_S + STEP_S


def _up(seen: _Seen) -> Iterator[Compared]:
    plan, evidence, moved = seen.plan, seen.evidence, motion(seen.plan)
    why_not = seen.dive.pressure_doubt or NO_ASCENT
    took_s = None
    if seen.came_up and evidence.surfaced_s is not None and seen.left_s is not None:
        took_s = evidence.surfaced_s - seen.left_s
    yield _compared("ascent_s", "ascent", "s", 0, moved.ascent_likely_s, (moved.ascent_fast_s, moved.ascent_slow_s),
                    took_s, why_not)
    ends = [None if way is None else -way.end_speed_m_s for way in (
        ascent(plan, LIKELY), ascent(plan, FAST_UP), ascent(plan, SLOW_UP))]
    speed = None
    if took_s is not None and evidence.surfaced_s is not None:
        speed = seen.speed_m_s(evidence.surfaced_s - SPEED_OVER_S, evidence.surfaced_s)
    yield _compared("top_speed_m_s", "speed near the surface, up", "m/s", 3, ends[0], (ends[1], ends[2]),
                    None if speed is None else -speed, why_not)


def _warmth(seen: _Seen) -> Iterator[Compared]:
    plan = seen.plan
    water_c = water_of(plan.site).temperature_at(plan.site.depth_m)
    down = seen.evidence.touchdown_s is not None or bool(seen.dive.pressure_doubt)
    lying = (seen.rows["state"] == table.RECORD) & down
    yield _compared("water_c", "water at the seabed", "degC", 2, water_c, (water_c - WATER_BAND_C,
                    water_c + WATER_BAND_C), _median_c(seen, "water", physics.WATER_OK, lying),
                    "no valid reading of the water on the bottom")
    warmed = course(plan, (plan.fan.on_c, plan.fan.off_c))
    housing = warmed.at_end_of(SEABED)
    yield from _risen(seen, "housing_c", "housing at the end of the bottom time", None if housing is None
                      else housing[1], water_c, _last_c(seen, "housing", physics.HOUSING_OK, lying))
    yield from _risen(seen, "camera_c", "camera, highest in the water", _hottest_c(warmed), water_c,
                      _highest_c(seen, "camera", physics.CAMERA_OK))


def _hottest_c(warmed: Course) -> float | None:
    found = [highest[0] for highest in (warmed.hottest(DESCENT), warmed.hottest(SEABED)) if highest]
    return max(found, default=None)


def _risen(seen: _Seen, key: str, words: str, planned_c: float | None, water_c: float,
           real_c: float | None) -> Iterator[Compared]:
    """A temperature with a band of a share of its rise over the water."""
    room_c = 0.0 if planned_c is None else max(HEAT_LEAST_C, HEAT_BAND * abs(planned_c - water_c))
    band = () if planned_c is None else (planned_c - room_c, planned_c + room_c)
    yield _compared(key, words, "degC", 1, planned_c, band, real_c, "no valid reading of it")


def _read_c(seen: _Seen, name: str, bit: int, marks: np.ndarray) -> Array:
    good = marks & ((seen.dive.signs & bit) > 0)
    return seen.rows["%s_centi_c" % name][good] / 100.0


def _median_c(seen: _Seen, name: str, bit: int, marks: np.ndarray) -> float | None:
    found = _read_c(seen, name, bit, marks)
    return float(np.median(found[len(found) // 2:])) if len(found) else None  # the sensor has settled by half way


def _last_c(seen: _Seen, name: str, bit: int, marks: np.ndarray) -> float | None:
    found = _read_c(seen, name, bit, marks)
    return float(np.median(found[-20:])) if len(found) else None


def _highest_c(seen: _Seen, name: str, bit: int) -> float | None:
    found = _read_c(seen, name, bit, seen.dive.time_s >= seen.evidence.splash_s)
    return float(found.max()) if len(found) else None


def _energy(seen: _Seen) -> Iterator[Compared]:
    plan, evidence = seen.plan, seen.evidence
    orders, budget = plan.orders(), energy_budget(plan)
    left = evidence.left_at_command_mah
    command_s = seen.since_splash_s(evidence.command_s)
    planned = None
    if command_s is not None:
        planned = budget.deck_mah + dive_energy(plan, max(0.0, command_s / 60.0)).total_mah
    yield _compared("used_mah", "charge drawn until the release", "mAh", 0, planned, (0.0, planned),
                    None if left is None else orders.capacity_mah - left, "no release was commanded",
                    tuple(seen.dive.at.get(6, ())), "the plan reckons toward home: less is usual")
    yield _compared("left_mah", "left at the release, by the plan's pack", "mAh", 0,
                    None if planned is None else orders.capacity_mah - planned, (float(orders.reserve_mah), None),
                    left, "no release was commanded", tuple(seen.dive.at.get(6, ())))


def _filmed(seen: _Seen) -> Iterator[Compared]:
    evidence, camera = seen.evidence, seen.plan.camera
    ends = [one for one in (evidence.command_s, evidence.left_bottom_s, evidence.hauled_s, evidence.end_s)
            if one is not None]
    why_not = seen.dive.camera_doubt or seen.dive.pressure_doubt or NO_DESCENT
    share = None
    if camera.feedback == "none":
        why_not = "the camera gives no sign of recording"
    elif seen.deep and evidence.touchdown_s is not None and not seen.dive.camera_doubt:
        bottom_s = max(1e-9, min(ends) - evidence.touchdown_s)
        share = min(100.0, 100.0 * evidence.recorded_on_bottom_s / bottom_s)
    yield _compared("recorded_pct", "bottom time recorded", "%", 1, 100.0, (RECORDED_PCT, None), share, why_not,
                    tuple(seen.dive.at.get(9, ())))
    yield _compared("resets", "resets of the controller", "", 0, 0.0, (0.0, 0.0), float(len(evidence.resets_s)), "",
                    tuple(seen.dive.at.get(2, ())))


def _place(seen: _Seen, surfaced_at: tuple[float, float] | None) -> Iterator[Compared]:
    """How far from the planned place it came up."""
    planned = drift(seen.plan).surfacing
    if planned is None:
        return
    off_m = None
    if surfaced_at is not None:
        off_m = float(Geodesic.WGS84.Inverse(planned.latitude_deg, planned.longitude_deg, *surfaced_at)["s12"])
    yield _compared("off_place_m", "surfaced from the planned place", "m", 0, 0.0, (0.0, planned.radius_m), off_m,
                    "the journal has no position: give where it was found, and when it came up")


# --- energy by load and phase ----------------------------------------------------------------------------------------


def _by_load(seen: _Seen) -> Iterator[Spent]:
    """Charge of each load until the end of the log, by the current that this dive shows it to draw.

    Currents are the least squares of the readings, by what was on; where two loads were never apart the plan's own
    currents share them. A reading is of the moment before its outputs: what was on is what the record before put out.
    """
    plan, dive = seen.plan, seen.dive
    log = physics.last_of_each_moment(dive.log)
    if not len(log.records):
        return
    names, planned_ma, on = _loads(plan, log)
    hours = np.diff(log.mission_s, prepend=log.mission_s[0]) / 3600.0
    good = ((log.records["signs"] & physics.CURRENT_OK) > 0)
    good[0] = False
    read_ma = log.records["supply_ma"] + 0.5 * plan.sensors.supply.resolution_ma
    noise_ma = max(1.0, physics.noise_of(plan.sensors.supply.noise_ma, plan.sensors.supply.resolution_ma))
    doubt_ma = np.maximum(CURRENT_DOUBT * planned_ma, 1.0)
    slopes = np.vstack((on[good] / noise_ma, np.diag(1.0 / doubt_ma)))
    aims = np.concatenate((read_ma[good] / noise_ma, planned_ma / doubt_ma))
    found_ma = np.linalg.lstsq(slopes, aims, rcond=None)[0]
    spread = np.sqrt(np.diag(np.linalg.inv(slopes.T @ slopes))) / doubt_ma
    saved_ma = plan.power.controller_ma - plan.power.controller_asleep_ma
    saved_mah = saved_ma * float(np.sum(physics.asleep_share(log, plan) * hours))
    for place, name in enumerate(names):
        on_h = float(np.sum(on[:, place] * hours))
        if not on_h:
            continue
        less = saved_mah if name == "controller" else 0.0
        seen_mah = max(0.0, float(found_ma[place]) * on_h - less)
        yield Spent(name, float(planned_ma[place]) * on_h, seen_mah, float(planned_ma[place]),
                    float(found_ma[place]), bool(spread[place] < 0.7))


def _loads(plan: Plan, log: Log) -> tuple[list[str], Array, Array]:
    """Names, planned currents, and by record what was on until then, 0 to 1; a lamp that flashed seldom the less."""
    before = np.concatenate((log.records[:1], log.records[:-1]))
    lamp_share = beacon_of(log, plan.orders()).lamp_share
    lamp_share = np.concatenate((lamp_share[:1], lamp_share[:-1]))
    drives, step = before["drives"], before["camera"]
    films = np.isin(step, (cameras.ANSWER, cameras.RECORDING, cameras.STOP_PRESS))
    idles = np.isin(step, (cameras.STARTING, cameras.RECORD_PRESS, cameras.CLOSING, cameras.OFF_PRESS))
    own_pack = plan.camera.supply == "own_pack"
    columns = (
        ("controller", plan.power.controller_ma, np.ones(len(before))),
        ("camera recording", plan.camera.recording_ma, films & (not own_pack)),
        ("camera idle", plan.camera.idle_ma, idles & (not own_pack)),
        ("lamps", plan.lights.current_ma, before["lights_pct"] / 100.0),
        ("fan", plan.fan.current_ma, (drives & FAN) > 0),
        ("primary release", plan.release.primary.current_ma, (drives & PRIMARY) > 0),
        ("backup release", plan.release.backup.current_ma, (drives & BACKUP) > 0),
        ("beacon lamp", plan.beacon.lamp_ma, lamp_share),
        ("reports", plan.beacon.report_ma, (drives & physics.REPORT) > 0),
    )
    return ([name for name, _ma, _on in columns], np.array([ma for _name, ma, _on in columns], float),
            np.array([np.asarray(on, float) for _name, _ma, on in columns]).T)


def _by_phase(seen: _Seen) -> Iterator[Spent]:
    """Charge in each state of the mission, with what the plan reckons for the same time with the same loads."""
    plan, log = seen.plan, physics.last_of_each_moment(seen.dive.log)
    if not len(log.records):
        return
    _names, planned_ma, on = _loads(plan, log)
    hours = np.diff(log.mission_s, prepend=log.mission_s[0]) / 3600.0
    drawn = np.diff(physics.drawn_ah(log, plan) * 1000.0, prepend=0.0)
    planned = (on @ planned_ma) * hours
    state = np.concatenate((log.records["state"][:1], log.records["state"][:-1]))  # an interval is of what began it
    for number in dict.fromkeys(state.tolist()):
        name = table.STATES[number] if number < len(table.STATES) else "unknown"
        yield Spent(name, float(planned[state == number].sum()), float(drawn[state == number].sum()))
