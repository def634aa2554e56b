"""The simulator's own hull, pack and heat, run over the readings of one dive: what they should have been.

Each of the three parts says which numbers it looks for, and gives for values of them the difference between what was
read and what the model says. Readings are rounded down to the sensor's step, as converters do: half a step is added.
"""

from collections.abc import Callable, Iterator, Mapping
from copy import copy
from dataclasses import dataclass, replace
from math import exp, hypot, sqrt

import numpy as np
from numpy.typing import NDArray

from lander import camera as steps
from lander import journal, sleep, table, words
from seatrial.battery import CELL_MV, capacity_fraction, resistance_factor
from seatrial.heat import Heat
from seatrial.hull import Hull
from seatrial.plan import Plan
from seatrial.plan.reckoning import start_at, water_of
from seatrial.water import WaterColumn
from seatrial.world import AWAKE_S, DRAUGHT_M, lamps_in_housing_w
from tumblehome.debrief.fitting import LEAST_READINGS, OWN, Array, Unknown
from tumblehome.debrief.log import Log

PA_PER_MBAR = 100.0
SPLASH_OVER_S = 10.0  # the sensor's lag and the first metres are over
OFF_BOTTOM_MBAR, OFF_SURFACE_MBAR = 100.0, 500.0  # a metre above the bottom; five below the waves
ALONGSIDE_S = 120.0  # no boat takes up what has come up by itself so soon, the controller's own hold included
POINTS_MAX = 4000  # of a way: more tell nothing new, and take long
COURSE_POINTS_MAX = 10000  # of a course of heat, a day's every ten seconds: a fan that comes and goes tells by each
BELOW_MAX_M = 100.0  # a seabed deeper than planned by more wants a water column of its own

# Doubts where the plan has none of its own: our own choice, common practice, no source.
RESISTANCE_DOUBT, CAPACITY_DOUBT, CHARGE_DOUBT = 0.25, 0.10, 0.02
CONDUCTANCE_DOUBT = 0.25  # the handbook's correlations are good to some 20 %
OFFSET_DOUBT_MBAR = 50.0
COUNT_MA = 1.0  # a converter counts whole mA
SLEEP_MA = 1.0  # sleep is not measured: by so much the mean of a lander at rest may be off
MOMENT_DOUBT_S, DEPTH_DOUBT_M, START_DOUBT_C = 30.0, 20.0, 5.0

OFFSET = "sensors.pressure.offset_mbar"
DRAG_DOWN, DRAG_UP = "lander.drag_coefficient_down", "lander.drag_coefficient_up"
MASS, BALLAST = "lander.mass_kg", "lander.ballast.mass_kg"
RESISTANCE, CAPACITY = "power.resistance_mohm", "power.capacity_ah"
CHARGE = "power.charge_at_start_fraction"
TO_WATER, STILL, FAN = "heat.housing_to_water_w_k", "heat.camera_to_housing_w_k", "heat.camera_to_housing_fan_w_k"
SPLASH, LEFT, SEABED, LAYERS = "splash_s", "left_bottom_s", "seabed_m", "layers_kg_m3"
CAMERA_AT_FIRST, HOUSING_AT_FIRST = "camera_at_first_c", "housing_at_first_c"
CURRENT_LEAN, REST_CURRENT_LEAN = "current_lean_ma", "current_at_rest_lean_ma"
REST_LEAN = "voltage_at_rest_lean_mv"
CAMERA_LEAN, HOUSING_LEAN = "camera_lean_c", "housing_lean_c"
STOPPED, COOL_LEAN = "camera_stopped_later_s", "camera_lean_once_cool_c"
COOL_S = 3600.0  # without a recording for so long a camera's temperature hardly changes, and is rounded one way
LEAN = 0.29  # of a step: by so much two thermometers may differ; no better than an even spread, 1/sqrt(12)

# What the camera does in each step of its controller: on or off, recording or not; while a button is pressed as before.
_STEPS = np.arange(16)
_ON = np.isin(_STEPS, (steps.STARTING, steps.RECORD_PRESS, steps.ANSWER, steps.RECORDING, steps.STOP_PRESS,
                       steps.CLOSING, steps.OFF_PRESS))
_FILMS = np.isin(_STEPS, (steps.ANSWER, steps.RECORDING, steps.STOP_PRESS))
_AFTER_PRESS = {steps.POWER_PRESS: steps.STARTING, steps.RECORD_PRESS: steps.RECORDING, steps.STOP_PRESS: steps.CLOSING,
                steps.OFF_PRESS: steps.OFF}
_FAN_BIT = 1 << 3
PRESSURE_OK, SUPPLY_OK, CURRENT_OK, CAMERA_OK, HOUSING_OK, WATER_OK = (1 << bit for bit in (3, 6, 7, 8, 9, 10))
LAMP, REPORT = (1 << words.DRIVES.index(name) for name in ("beacon", "report"))  # of the drives
CONTACT_WET, CONTACT_OK = 1 << 0, 1 << 4
_HAULED = [row for row in range(len(table.ROWS)) if table.label(row).endswith("-hauled")]


def sought(plan: Plan) -> dict[str, Unknown]:
    """The numbers of the plan that a dive may correct, by key. Bands of [doubt] count as two standard deviations."""
    lander, doubt = plan.lander, plan.doubt
    drag, mass = doubt.drag_pct / 200, doubt.mass_pct / 200
    body_mass = mass * (lander.mass_kg + lander.floats.mass_kg) / lander.mass_kg  # the floats' doubt is put on the body
    rows = (
        (DRAG_DOWN, drag), (DRAG_UP, drag), (MASS, body_mass), (BALLAST, mass), (RESISTANCE, RESISTANCE_DOUBT),
        (CAPACITY, CAPACITY_DOUBT), (TO_WATER, CONDUCTANCE_DOUBT), (STILL, CONDUCTANCE_DOUBT), (FAN, CONDUCTANCE_DOUBT))
    found = {key: Unknown(key, float(plan.value(key)), doubt) for key, doubt in rows}
    found[OFFSET] = Unknown(OFFSET, float(plan.value(OFFSET)), OFFSET_DOUBT_MBAR, False)
    return found


def last_of_each_moment(log: Log) -> Log:
    """One record a moment, with the outputs as they were from then on.

    Only a reading is written after the outputs of its step are known; every other record still has those of the step
    before. Where a step ends without a reading, the first record of the next step tells what it had put out.
    """
    rows = log.records
    if not len(rows):
        return log
    last = np.append(rows["mission_ds"][1:] != rows["mission_ds"][:-1], True)
    ends = np.flatnonzero(last)
    kept = log.part(last)
    outputs = rows[ends].copy()
    following = rows[np.minimum(ends + 1, len(rows) - 1)]
    early = (outputs["kind"] != journal.READING) & (following["boot"] == outputs["boot"])
    for name in ("drives", "lights_pct"):
        outputs[name] = np.where(early, following[name], outputs[name])
    return replace(kept, records=outputs)


def thinned(log: Log) -> tuple[Log, NDArray[np.int64]]:
    """Some thousand records of the time on the bottom, with all at which an output changes or more than a reading is
    told, and all of the rest of the dive, where the water changes; and how many records of the log end with each."""
    rows, count = log.records, len(log.records)
    chosen = (np.arange(count) % max(1, -(-count // COURSE_POINTS_MAX)) == 0) | ~log.is_reading
    chosen |= rows["state"] != table.RECORD
    for name in ("drives", "lights_pct", "camera"):
        chosen[1:] |= rows[name][1:] != rows[name][:-1]
    chosen[:-1] |= rows["boot"][1:] != rows["boot"][:-1]
    return log.part(chosen), np.diff(np.flatnonzero(chosen), prepend=-1)


def noise_of(spread: float, step: float) -> float:
    """Standard deviation of a reading with an even spread to both sides, and of its rounding."""
    return sqrt(spread * spread / 3.0 + step * step / 12.0)


def lean_of(spread: float, step: float) -> float:
    """By how much rounding shifts the mean of a reading of a thing that does not change, one standard deviation over
    all places between two steps; noise wider than a step would round fairly."""
    places = np.linspace(0.0, step, 101)[:-1, None]
    noisy = places + np.arange(-int(spread), int(spread) + 1)
    return float(np.std((np.floor(noisy / step) * step + 0.5 * step - places).mean(axis=1)))


@dataclass(frozen=True)
class Part:
    """One piece of physics over one dive: its unknowns, its readings' noise, and the residuals for values of them.

    `time_s` and `read` are what is fitted, by name, for pictures: the model is what was read less the residual.
    """

    words: str
    unknowns: tuple[Unknown, ...]
    noise: dict[str, float]
    residuals: Callable[[Mapping[str, float]], dict[str, Array]]
    time_s: dict[str, Array]
    read: dict[str, Array]


def parts_of(log: Log, plan: Plan) -> Iterator[Part]:
    """What this dive has readings for."""
    moments = last_of_each_moment(log)
    for part in (motion_of(moments, plan, hauled(log)), supply_of(moments, plan), warmth_of(moments, plan)):
        if part is not None:
            yield part


# --- motion and pressure ---------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Ways:
    """The readings of pressure of the ways down and up and on deck: mission time and mbar; the seabed in mbar."""

    down_s: Array
    down_mbar: Array
    up_s: Array
    up_mbar: Array
    deck_mbar: Array
    seabed_mbar: float
    splash_s: float


def ways_of(log: Log, plan: Plan) -> Ways | None:
    """The two ways as the pressure shows them; None where no descent does."""
    if log.splash_s is None:
        return None
    sensor, state, time_s = plan.sensors.pressure, log.records["state"], log.mission_s
    good = (log.records["signs"] & PRESSURE_OK) > 0
    mbar = log.records["pressure_mbar"] + 0.5 * sensor.resolution_mbar
    splash_s, air_mbar = log.splash_s, plan.site.air_pressure_hpa
    under = good & (time_s > splash_s)
    if not under.any():
        return None
    lying = under & (state == table.RECORD)
    seabed_mbar = float(np.median(mbar[lying])) if lying.any() else float(mbar[under].max())
    off_bottom, under_waves = mbar < seabed_mbar - OFF_BOTTOM_MBAR, mbar > air_mbar + OFF_SURFACE_MBAR
    down = under & (state == table.DESCEND) & off_bottom & (time_s > splash_s + SPLASH_OVER_S)
    up = under & np.isin(state, (table.RELEASE, table.BACKUP, table.ASCEND)) & off_bottom & under_waves
    up &= time_s > _turned_s(time_s, mbar, under, seabed_mbar)
    deck = good & (time_s < splash_s - SPLASH_OVER_S)
    return Ways(*_apart(time_s, mbar, down), *_apart(time_s, mbar, up), mbar[deck], seabed_mbar, splash_s)


def hauled(log: Log) -> bool:
    """Whether it was hauled up on a line: the controller found itself in the air sooner than a boat comes alongside."""
    rows, time_s = log.records, log.true_s
    out = (rows["kind"] == journal.ROW) & np.isin(rows["code"], _HAULED)
    out |= (rows["kind"] == journal.EVENT) & (rows["code"] == journal.E_STOPPED)
    last = np.flatnonzero(_deep(log))[-1:]
    after = out & (np.arange(len(rows)) > last[0]) if len(last) else np.zeros(len(rows), bool)
    return bool(after.any() and time_s[after][0] - time_s[last[0]] < ALONGSIDE_S)


def _deep(log: Log) -> NDArray[np.bool_]:
    """Where the pressure says that it is well under the waves; the air's is that which the controller took on deck."""
    rows = log.records
    return ((rows["signs"] & PRESSURE_OK) > 0) & (
        rows["pressure_mbar"].astype(float) > rows["surface_mbar"] + OFF_SURFACE_MBAR)


def _turned_s(time_s: Array, mbar: Array, under: NDArray[np.bool_], seabed_mbar: float) -> float:
    """The last moment near the seabed: what comes after it is the way up."""
    near = under & (mbar >= seabed_mbar - OFF_BOTTOM_MBAR)
    return float(time_s[near][-1]) if near.any() else 0.0


def _apart(time_s: Array, mbar: Array, chosen: NDArray[np.bool_]) -> tuple[Array, Array]:
    every = max(1, -(-int(chosen.sum()) // POINTS_MAX))
    return time_s[chosen][::every], mbar[chosen][::every]


def motion_of(log: Log, plan: Plan, on_line: bool = False) -> Part | None:
    """Drag and weight of both ways, and what the pressure sensor reads too high; a way up on a line tells nothing."""
    ways = ways_of(log, plan)
    if ways is None or len(ways.down_s) < LEAST_READINGS:
        return None
    sea = _Sea(plan, ways)
    goes_up = not on_line and len(ways.up_s) >= LEAST_READINGS
    numbers = sought(plan)
    unknowns = [numbers[DRAG_DOWN], numbers[MASS], numbers[BALLAST], numbers[OFFSET],
                Unknown(SPLASH, ways.splash_s, MOMENT_DOUBT_S, False, OWN),
                Unknown(LAYERS, 0.0, 0.5 * plan.doubt.density_kg_m3, False, OWN)]
    if goes_up:
        start_s = sea.likely_start_s()
        unknowns += [numbers[DRAG_UP], Unknown(LEFT, start_s, MOMENT_DOUBT_S, False, OWN),
                     Unknown(SEABED, sea.seabed_m, DEPTH_DOUBT_M, False, OWN)]
    sensor = plan.sensors.pressure
    sigma = noise_of(sensor.noise_mbar, sensor.resolution_mbar)
    names = {"pressure down": (ways.down_s, ways.down_mbar)}
    if len(ways.deck_mbar):
        names["pressure on deck"] = (np.zeros(len(ways.deck_mbar)), ways.deck_mbar)
    if goes_up:
        names["pressure up"] = (ways.up_s, ways.up_mbar)
        names["pressure on the seabed"] = (ways.up_s[:1], np.array([ways.seabed_mbar]))
    return Part("motion", tuple(unknowns), {name: sigma for name in names},
                lambda values: {name: names[name][1] - said for name, said in sea.pressures(values, goes_up).items()
                                if name in names},
                {name: pair[0] for name, pair in names.items()}, {name: pair[1] for name, pair in names.items()})


class _Sea:
    """The water of the plan, and the lander falling and rising in it."""

    def __init__(self, plan: Plan, ways: Ways) -> None:
        self.plan, self.ways = plan, ways
        self.water = water_of(plan.site)
        depth_m = self.water.depth_at(ways.seabed_mbar) - DRAUGHT_M
        if depth_m > plan.site.depth_m + BELOW_MAX_M:
            self.water = WaterColumn(plan.site.model_copy(update={"depth_m": depth_m}))
        self.seabed_m = self.water.depth_at(ways.seabed_mbar) - DRAUGHT_M
        # the way must not end at the planned seabed: where it ended is what was read
        self.site = plan.site.model_copy(update={"depth_m": float(self.water.last_m - 1)})

    def likely_start_s(self) -> float:
        """When it left the seabed, by its speed at first."""
        ways = self.ways
        speed = (ways.up_mbar[0] - ways.up_mbar[-1]) / max(1.0, ways.up_s[-1] - ways.up_s[0])
        return float(ways.up_s[0] - (ways.seabed_mbar - ways.up_mbar[0]) / max(speed, 1.0))

    def hull(self, values: Mapping[str, float], water: WaterColumn, with_ballast: bool) -> Hull:
        """A hull with these weights and this drag, at rest at the surface."""
        lander = self.plan.lander
        lander = lander.model_copy(update={
            "mass_kg": values[MASS], "drag_coefficient_down": values[DRAG_DOWN],
            "drag_coefficient_up": values.get(DRAG_UP, lander.drag_coefficient_up),
            "ballast": lander.ballast.model_copy(update={"mass_kg": values[BALLAST]})})
        hull = Hull(self.site, lander, water)
        hull.ballast_left = 1.0 if with_ballast else 0.0
        start_at(hull, 0.0)
        return hull

    def _layered(self, more_kg_m3: float) -> WaterColumn:
        """The water denser at the seabed and lighter at the surface by half of this."""
        if not more_kg_m3:
            return self.water
        water = copy(self.water)
        share = np.arange(water.last_m + 1) / max(1.0, self.seabed_m) - 0.5
        more = more_kg_m3 * share
        water.density_kg_m3 = (np.array(self.water.density_kg_m3) + more).tolist()
        above_n_m2 = self.water.gravity_m_s2 * np.concatenate(([0.0], np.cumsum(0.5 * (more[1:] + more[:-1]))))
        water.pressure_mbar = (np.array(self.water.pressure_mbar) + above_n_m2 / PA_PER_MBAR).tolist()
        return water

    def pressures(self, values: Mapping[str, float], goes_up: bool) -> dict[str, Array]:
        """What the sensor should have read, by name."""
        offset_mbar, water = values[OFFSET], self._layered(values[LAYERS])
        down = self._way(self.hull(values, water, True), water, values[SPLASH], self.ways.down_s)
        said = {"pressure down": down + offset_mbar,
                "pressure on deck": np.full(len(self.ways.deck_mbar), self.water.air_mbar + offset_mbar)}
        if goes_up:
            hull = self.hull(values, water, False)
            start_at(hull, values[SEABED])
            said["pressure up"] = self._way(hull, water, values[LEFT], self.ways.up_s) + offset_mbar
            said["pressure on the seabed"] = np.array(
                [water.pressure_mbar_at(values[SEABED] + DRAUGHT_M) + offset_mbar])
        return said

    def _way(self, hull: Hull, water: WaterColumn, from_s: float, at_s: Array) -> Array:
        """Pressures at these moments of a hull that starts at rest; the sensor lags as the simulated one does."""
        read, now_s, lag_s, felt_mbar = np.empty(len(at_s)), from_s, self.plan.sensors.pressure.lag_s, None
        for place, moment_s in enumerate(at_s.tolist()):
            if moment_s > now_s:
                hull.advance(moment_s - now_s)
            true_mbar = water.pressure_mbar_at(hull.depth_m + DRAUGHT_M)
            if felt_mbar is None or lag_s <= 0.0:
                felt_mbar = true_mbar
            else:
                felt_mbar = true_mbar + (felt_mbar - true_mbar) * exp(-max(0.0, moment_s - now_s) / lag_s)
            read[place], now_s = felt_mbar, max(now_s, moment_s)
        return read


# --- the pack --------------------------------------------------------------------------------------------------------

_CELL_LEFT, _CELL_MV = (np.array(column) for column in zip(*CELL_MV, strict=True))


def step_s_of(plan: Plan) -> Array:
    """By state the usual time between two steps of the controller, s: between them it sleeps."""
    journal, deck_s = plan.journal, sleep.DECK_WAKE_DS / 10
    usual = dict.fromkeys(range(len(table.STATES)), journal.reading_descent_s)
    usual |= {table.SAFE: deck_s, table.ARMED: deck_s, table.RECORD: journal.reading_bottom_s,
              table.SURFACE: sleep.SURFACE_WAKE_DS / 10}
    return np.array([usual[state] for state in range(len(table.STATES))])


def asleep_share(log: Log, plan: Plan) -> Array:
    """The share of the time before each record that the controller slept, as far as its steps tell: none while it
    listened for a fix."""
    rows = log.records
    asleep = np.maximum(0.0, 1.0 - AWAKE_S / step_s_of(plan)[np.minimum(rows["state"], table.SURFACE)])
    return np.where(rows["drives"] & REPORT, 0.0, asleep)


def drawn_ah(log: Log, plan: Plan) -> Array:
    """Charge drawn up to each record since the first, Ah: the current as read, less what sleeping saves.

    Outputs change at records, so the load between two records is the one that the later one reads; where outputs stayed
    as they were and the load changed all the same (a wire parts), it did so half way, for all that is known.
    """
    power, rows = plan.power, log.records
    hours = np.diff(log.true_s, prepend=log.true_s[0]) / 3600.0
    read_ma = rows["supply_ma"] + 0.5 * plan.sensors.supply.resolution_ma
    # a start puts all off: what is on after it has been switched on anew
    outputs = rows["boot"].astype(int) << 16 | rows["drives"].astype(int) << 8 | rows["lights_pct"]
    same = np.zeros(len(rows), bool)
    same[2:] = outputs[1:-1] == outputs[:-2]
    between_ma = np.where(same, 0.5 * (read_ma + np.roll(read_ma, 1)), read_ma)
    mean_ma = np.maximum(0.0, between_ma - (power.controller_ma - power.controller_asleep_ma) * asleep_share(log, plan))
    mean_ma[_was_away(log, plan) + 1] = 0.0
    return np.cumsum(mean_ma * np.maximum(hours, 0.0)) / 1000.0


def supply_of(log: Log, plan: Plan) -> Part | None:
    """Resistance and capacity of the main pack."""
    power, sensor, signs = plan.power, plan.sensors.supply, log.records["signs"]
    wanted = SUPPLY_OK | CURRENT_OK | HOUSING_OK
    good = (signs & wanted) == wanted
    if good.sum() < LEAST_READINGS:
        return None
    used_ah = drawn_ah(log, plan)[good]
    hours = (log.true_s[good] - log.true_s[0]) / 3600.0
    read_mv = log.records["supply_mv"][good] + 0.5 * sensor.resolution_mv
    read_a = (log.records["supply_ma"][good] + 0.5 * sensor.resolution_ma) / 1000.0
    housing_c = felt_late(plan, log.true_s[good], log.records["housing_centi_c"][good])
    # at rest the voltage hardly changes and is rounded the same way throughout; under load it goes down all the steps
    at_rest = read_a < 0.5 * read_a.max()
    rest_hours = np.cumsum(np.diff(hours, prepend=0.0) * at_rest)
    colder = np.array([resistance_factor(power, each) for each in housing_c])
    usable = power.health_fraction * np.array([capacity_fraction(power, each) for each in housing_c])

    def residuals(values: Mapping[str, float]) -> dict[str, Array]:
        lean_a, rest_lean_a = values[CURRENT_LEAN] / 1000.0, values[REST_CURRENT_LEAN] / 1000.0
        used = used_ah - lean_a * (hours - rest_hours) - rest_lean_a * rest_hours
        left = values[CHARGE] - used / (values[CAPACITY] * usable)
        open_mv = power.cells_in_series * np.interp(left, _CELL_LEFT, _CELL_MV)
        flows_a = read_a - np.where(at_rest, rest_lean_a, lean_a)
        lean_mv = np.where(at_rest, values[REST_LEAN], 0.0)
        return {"supply": read_mv - lean_mv - (open_mv - flows_a * values[RESISTANCE] * colder)}

    numbers = sought(plan)
    count_ma = hypot(LEAN * COUNT_MA, lean_of(sensor.noise_ma, sensor.resolution_ma))
    unknowns = (numbers[RESISTANCE], numbers[CAPACITY],
                Unknown(CHARGE, power.charge_at_start_fraction, CHARGE_DOUBT, False, OWN),
                Unknown(CURRENT_LEAN, 0.0, count_ma, False, OWN),
                Unknown(REST_CURRENT_LEAN, 0.0, hypot(SLEEP_MA, count_ma), False, OWN),
                Unknown(REST_LEAN, 0.0, lean_of(sensor.noise_mv, sensor.resolution_mv), False, OWN))
    return Part("main pack", unknowns, {"supply": noise_of(sensor.noise_mv, sensor.resolution_mv)}, residuals,
                {"supply": log.true_s[good]}, {"supply": read_mv})


def felt_late(plan: Plan, time_s: Array, read_centi_c: Array) -> Array:
    """Temperatures as they truly were, degC: the thermometer follows by its lag, so that its slope over the lag before
    and after a reading, times the lag, is still to come. Cells in cooling water are colder than it says."""
    sensor = plan.sensors.temperature
    read_c, lag_s = (read_centi_c + 0.5 * sensor.resolution_centi_c) / 100.0, sensor.lag_s
    before_c, after_c = (np.interp(time_s + way * lag_s, time_s, read_c) for way in (-1.0, 1.0))
    return np.asarray(read_c + 0.5 * (after_c - before_c))


# --- heat ------------------------------------------------------------------------------------------------------------


def warmth_of(log: Log, plan: Plan) -> Part | None:
    """How well the heat goes from camera to housing, with the fan and without, and from housing to water."""
    if log.splash_s is None:
        return None
    wanted = CAMERA_OK | HOUSING_OK | WATER_OK
    good = ((log.records["signs"] & wanted) == wanted) & _in_water(log, log.splash_s)
    log, looks = thinned(log.part(good))
    if len(log.records) < LEAST_READINGS:
        return None
    course = _Course(log, plan, looks)
    sensor = plan.sensors.temperature
    sigma = noise_of(sensor.noise_centi_c, sensor.resolution_centi_c) / 100.0
    names = ("camera", "housing")
    numbers = sought(plan)
    unknowns = [numbers[TO_WATER], numbers[STILL], numbers[FAN],
                Unknown(CAMERA_AT_FIRST, float(course.camera_c[0]), START_DOUBT_C, False, OWN),
                Unknown(HOUSING_AT_FIRST, float(course.housing_c[0]), START_DOUBT_C, False, OWN),
                Unknown(CAMERA_LEAN, 0.0, LEAN * sensor.resolution_centi_c / 100.0, False, OWN),
                Unknown(HOUSING_LEAN, 0.0, LEAN * sensor.resolution_centi_c / 100.0, False, OWN)]
    if course.stopped_w.any():
        unknowns.append(Unknown(STOPPED, 0.0, LEAN * plan.journal.reading_bottom_s, False, OWN))
    if course.cool.any():
        unknowns.append(Unknown(COOL_LEAN, 0.0, lean_of(sensor.noise_centi_c, sensor.resolution_centi_c) / 100.0, False,
                                OWN))
    return Part("heat", tuple(unknowns), dict.fromkeys(names, sigma), course.residuals,
                dict.fromkeys(names, course.time_s), {"camera": course.camera_c, "housing": course.housing_c})


def _in_water(log: Log, splash_s: float) -> NDArray[np.bool_]:
    """From the splash to the last sign of water: on deck the heat goes into air, and the sun shines on it."""
    signs = log.records["signs"]
    wet = (signs & (CONTACT_OK | CONTACT_WET)) == CONTACT_OK | CONTACT_WET
    since = log.mission_s >= splash_s
    last = np.flatnonzero((wet | _deep(log)) & since)[-1:]
    return since & (np.arange(len(wet)) <= (last[0] if len(last) else -1))


class _Course:
    """Temperatures in the water: what was read, and the two lumps driven by what the journal says was on.

    A thermometer follows at each of its looks by a share of what it is off, as the simulated one does. With several
    looks between two records the temperature goes straight from the one to the other.
    """

    def __init__(self, log: Log, plan: Plan, looks: NDArray[np.int64]) -> None:
        self.plan = plan
        sensor, rows = plan.sensors.temperature, log.records
        self.time_s = log.true_s
        self.camera_c, self.housing_c, water_c = (
            (rows[name] + 0.5 * sensor.resolution_centi_c) / 100.0
            for name in ("camera_centi_c", "housing_centi_c", "water_centi_c"))
        self.spans_s = np.diff(self.time_s)
        times = np.maximum(1, looks[1:])
        each = np.exp(-self.spans_s / times / sensor.lag_s) if sensor.lag_s > 0.0 else np.zeros(len(self.spans_s))
        each = np.minimum(each, 1.0 - 1e-9)
        self.kept = each ** times
        self.behind = each * (1.0 - self.kept) / (times * (1.0 - each))  # of the way between two records
        self.camera_w, self.stopped_w = _camera_w(log, plan)
        levels = {int(level): lamps_in_housing_w(plan, float(level)) for level in np.unique(rows["lights_pct"])}
        self.lamps_w = np.array([levels[int(level)] for level in rows["lights_pct"]])
        self.fan = (rows["drives"] & _FAN_BIT) > 0
        for outputs in (self.camera_w, self.stopped_w, self.lamps_w, self.fan):
            outputs[_was_away(log, plan)] = 0
        last_s = np.maximum.accumulate(np.where(self.camera_w > plan.heat.camera_idle_w, self.time_s, self.time_s[0]))
        self.cool = self.time_s - last_s > COOL_S
        self.water_c = self._lag_taken_back(water_c)

    def _lag_taken_back(self, read_c: Array) -> Array:
        """What a thermometer must have felt in each stretch between two records for it to read this."""
        felt_c = [float(read_c[0])]
        rows = zip(read_c[:-1].tolist(), read_c[1:].tolist(), self.kept.tolist(), self.behind.tolist(), strict=True)
        for before_c, after_c, kept, behind in rows:
            felt_c.append((after_c - felt_c[-1] * (behind - kept) - before_c * kept) / (1.0 - behind))
        return np.array([*felt_c[1:], felt_c[-1]])

    def residuals(self, values: Mapping[str, float]) -> dict[str, Array]:
        section = self.plan.heat.model_copy(update={
            key.split(".")[1]: values[key] for key in (TO_WATER, STILL, FAN)})
        lumps = Heat(section)
        lumps.camera_c, lumps.housing_c = felt_camera_c, felt_housing_c = (
            values[CAMERA_AT_FIRST], values[HOUSING_AT_FIRST])
        camera, housing = np.empty(len(self.time_s)), np.empty(len(self.time_s))
        camera[0], housing[0] = felt_camera_c, felt_housing_c
        camera_heat_w = self.camera_w + values.get(STOPPED, 0.0) * self.stopped_w
        rows = zip(self.spans_s.tolist(), self.kept.tolist(), self.behind.tolist(), self.water_c.tolist(),
                   camera_heat_w.tolist(), self.lamps_w.tolist(), self.fan.tolist(), strict=False)
        for place, (span_s, kept, behind, water_c, camera_w, lamps_w, fan) in enumerate(rows, start=1):
            was_camera_c, was_housing_c = lumps.camera_c, lumps.housing_c
            if span_s > 0.0:
                lumps.advance(span_s, water_c, True, camera_w, lamps_w, fan)
            felt_camera_c = (lumps.camera_c - behind * (lumps.camera_c - was_camera_c)
                             + kept * (felt_camera_c - was_camera_c))
            felt_housing_c = (lumps.housing_c - behind * (lumps.housing_c - was_housing_c)
                              + kept * (felt_housing_c - was_housing_c))
            camera[place], housing[place] = felt_camera_c, felt_housing_c
        lean_c = values[CAMERA_LEAN] + values.get(COOL_LEAN, 0.0) * self.cool
        return {"camera": self.camera_c - camera - lean_c,
                "housing": self.housing_c - housing - values[HOUSING_LEAN]}


def _answered(step: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """The steps with each record press that nothing came of as a camera that stands by: its card was full, say."""
    pressed, told = np.isin(step, (steps.RECORD_PRESS, steps.ANSWER)), step.copy()
    edges = np.flatnonzero(np.diff(np.concatenate(([False], pressed, [False])).astype(np.int8)))
    for begin, end in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        if end < len(step) and step[end] != steps.RECORDING:
            told[begin:end] = steps.STARTING
    return told


def _was_away(log: Log, plan: Plan) -> NDArray[np.int64]:
    """Records after which the controller was off for longer than between two steps, and all of its outputs with it."""
    rows = log.records
    step_s = step_s_of(plan)[np.minimum(rows["state"], table.SURFACE)]
    return np.flatnonzero((rows["boot"][1:] != rows["boot"][:-1]) & (np.diff(log.true_s) > 2.0 * step_s[:-1]))


def _camera_w(log: Log, plan: Plan) -> tuple[Array, Array]:
    """Heat made in the camera from each record to the next, W, mean: a press ends between two records; and how much
    more it would be for each second that a camera which stopped by itself had stopped later."""
    heat, camera = plan.heat, plan.camera
    made_w = np.where(_FILMS, heat.camera_recording_w, np.where(_ON, heat.camera_idle_w, 0.0))
    step, time_s = _answered(np.minimum(log.records["camera"], len(_STEPS) - 1)), log.true_s
    mean_w = made_w[step]
    begun_s = time_s[0]
    for at in range(len(step) - 1):
        if at and step[at] != step[at - 1]:
            begun_s = time_s[at]
        then = _AFTER_PRESS.get(int(step[at]))
        if then is None:
            continue
        long = step[at] in (steps.POWER_PRESS, steps.OFF_PRESS)
        over_s = begun_s + (camera.power_press_s if long else camera.record_press_s)
        span_s = max(time_s[at + 1] - time_s[at], 1e-9)
        share = min(1.0, max(0.0, time_s[at + 1] - max(over_s, time_s[at])) / span_s)
        mean_w[at] += share * (made_w[then] - made_w[step[at]])
    more_w = np.zeros(len(mean_w))
    less_w = heat.camera_recording_w - heat.camera_idle_w
    for at in _stopped_by_itself(step):
        stopped_s = _stopped_s(plan, float(time_s[at]))
        spans_s = np.maximum(np.diff(time_s[:at + 1]), 1e-9)
        stood_s = np.maximum(0.0, time_s[1:at + 1] - np.maximum(time_s[:at], stopped_s))
        mean_w[:at] -= less_w * stood_s / spans_s
        within = max(0, int(np.searchsorted(time_s, stopped_s, "right")) - 1)
        more_w[within] += less_w / spans_s[within]
    return mean_w, more_w


def _stopped_by_itself(step: NDArray[np.uint8]) -> list[int]:
    """Records by which a camera had stopped recording that nobody had stopped: its card was full, or it hung."""
    return [int(at) + 1 for at in np.flatnonzero((step[:-1] == steps.RECORDING) & np.isin(
        step[1:], (steps.RECORD_PRESS, steps.STARTING)))]


def _stopped_s(plan: Plan, pressed_s: float) -> float:
    """When a camera stopped by itself that was then pressed: the controller had waited for an answer's time since the
    first look that showed it, and it had stopped half way from the look before that one, for all that is known."""
    return float(pressed_s - plan.camera.answer_s - plan.journal.reading_bottom_s / 2.0)
