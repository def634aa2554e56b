"""Pressure: whether it could be read, stood still, leapt, crept, or was rough.

The sound dive: readings scatter by the plan's noise and never stand still; between two records they change no faster
than a lander moves; on the seabed they stay; at the surface they are the air's and a little water.
"""

from collections.abc import Iterator
from math import ceil, log

import numpy as np
from numpy.typing import NDArray

from lander import journal, signals, table
from lander.judge import JUMP_CM_S, SURFACE_HOLD_DS
from seatrial.plan.reckoning import ascent_s, water_of
from tumblehome.debrief.causes.alike import BY_DEPTH, OFF_READING, PRESSURE_BLINKED, but
from tumblehome.debrief.causes.findings import ESTABLISHED, LIKELY, Finding
from tumblehome.debrief.causes.past import ON_DECK, Past

CHANCE_LEAST = 1e-9  # that a sound sensor repeats itself so often by chance
REPEAT_MOST = 0.6  # a sensor with less noise than a step repeats itself at rest: standing still says nothing then
STANDS_MOST = 200
TIDE_MBAR_H = 80.0  # the fastest change of a calm sea over a standing lander: three metres of tide in four hours
ROUGH_TIMES = 2.5
AFLOAT_MBAR = 60.0  # the sensor hangs some decimetres deep when afloat (common practice)
LEAST = 3
REST_LEAST = 12
SIDE = 6  # readings on either side of a step that tell its speed
STEADY_C = 0.5  # a thermometer that stays within this says that the water did not change
STEP_MBAR = 60.0  # a lander that turns in the flow or meets a layer makes less
MANY = 4  # leaps: an offset that comes and goes makes two
SURFACE_M = 3.0
WANDER_STEP, WANDER_WAY = 0.4, 0.8  # of the whole change: a swell leaps farther in one step, and ends anywhere
WARM_MOST_MBAR_K = 200.0  # a sensor that drifts more with the temperature is no sensor (common practice)
AIR_MBAR = 15.0  # so much the air's pressure falls in a day at the most, out of a storm (common practice)
CHANCE_MOST = 0.01
FLAT_LEAST_H, FLAT_PART = 0.5, 0.3  # hours, and part of what it is off by, that it may have gone on in the whole dive
NEAR_MBAR = 40.0
NEAR_STEPS = 4
LONG_STEP_S = 30.0  # in a longer one a lander may do anything
NEAR_M = 30.0  # a reading may be off by so much and still look like a sensor that works
SETTLES_TIMES = 1.5  # of the planned ascent: by then it is up


def gone(past: Past) -> Iterator[Finding]:
    """Sound: valid in every record."""
    lost = ~past.sign("pressure_ok")
    if lost.any():
        yield Finding(("pressure-gone",), ESTABLISHED, "The pressure could not be read in %d records." % lost.sum(),
                      past.records(np.flatnonzero(lost)), "read the pressure sensor on the bench; look at its wires",
                      90, BY_DEPTH)


def standing(past: Past) -> list[NDArray[np.int64]]:
    """Runs of one and the same reading that a sound sensor would not repeat so often."""
    if "standing" not in past.memo:
        past.memo["standing"] = _find_standing(past)
    return past.memo["standing"]


def _find_standing(past: Past) -> list[NDArray[np.int64]]:
    sensor = past.plan.sensors.pressure
    width = 2.0 * sensor.noise_mbar + 1.0
    repeat = max(1.0, sensor.resolution_mbar) / width
    at = np.flatnonzero(past.sign("pressure_ok"))
    if not len(at):
        return []
    # records of one step share a reading: only the first of each step counts
    fresh = at[np.concatenate(([True], np.diff(past.t[at]) > 0.05))]
    least = ceil(log(CHANCE_LEAST) / log(repeat)) if repeat < REPEAT_MOST else STANDS_MOST
    ends = np.append(np.flatnonzero(np.diff(past.mbar[fresh]) != 0) + 1, len(fresh))
    begins = np.append(0, ends[:-1])
    return [fresh[begin:end] for begin, end in zip(begins, ends, strict=True) if end - begin >= max(8, least)]


def frozen(past: Past) -> Iterator[Finding]:
    """Sound: no reading repeats itself more often than its noise allows."""
    runs = standing(past)
    if past.plan.sensors.pressure.noise_mbar * 2 + 1 <= past.plan.sensors.pressure.resolution_mbar / REPEAT_MOST:
        return  # a sensor without noise stands still whenever the lander does
    if not runs:
        return
    run = max(runs, key=len)
    value = past.mbar[run[0]]
    valid = np.flatnonzero(past.sign("pressure_ok"))
    after = valid[valid > run[-1]]
    before = valid[valid < run[0]]
    settle = "press the sensor up and down in a chamber, or by a hand pump, over its whole range"
    said = "The pressure stood at exactly %.2f bar for %.0f min (%d readings); its noise alone would have moved it." % (
        value / 1e3, (past.t[run[-1]] - past.t[run[0]]) / 60.0, len(run))
    covers = (*BY_DEPTH, "pressure-noisy", *OFF_READING)
    moves_on = len(after) and _smooth(past, run[-1], after[0]) and abs(
        np.median(past.mbar[after[:12]]) - value) > 8.0 * past.plan.sensors.pressure.noise_mbar
    came = not len(before) or abs(past.mbar[before[-LEAST:][0]] - value) > 8.0 * past.plan.sensors.pressure.noise_mbar
    kinds: tuple[str, ...] = ("pressure-frozen",)
    if value <= 0.0:
        kinds = OFF_READING
    elif value >= past.orders.pressure_full_mbar:
        kinds = (*OFF_READING, "deeper", "pressure-saturated")
    elif came and (moves_on or (len(before) and not _smooth(past, before[-1], run[0]))):
        kinds = ("pressure-saturated",)  # a sensor that freezes stays at its last reading
    elif came and past.in_state(table.DESCEND)[run[0]] and not _came_up(past, run):
        kinds = ("pressure-frozen", "pressure-saturated")
    yield Finding(kinds, LIKELY, said, past.records(run), settle, 88, covers)


def _came_up(past: Past, run: NDArray[np.int64]) -> bool:
    """Whether the thermometer says that it came to the surface while the reading stood: the end of a range is left
    again on the way up."""
    water = water_of(past.plan.site)
    top_c, there_c = water.temperature_at(0.0), water.temperature_at(max(0.0, float(past.depth_m[run[0]])))
    late = run[past.sign("water_temp_ok")[run]][-LEAST:]
    if len(late) < LEAST or abs(top_c - there_c) < 4.0 * STEADY_C:
        return False
    first = run[past.sign("water_temp_ok")[run]][:LEAST]
    went = float(np.median(past.water_c[late]) - np.median(past.water_c[first]))
    return went * np.sign(top_c - there_c) > abs(top_c - there_c) - STEADY_C


def _smooth(past: Past, one: int, other: int) -> bool:
    """Whether the lander could have moved from one reading to the other."""
    return abs(past.mbar[other] - past.mbar[one]) <= _way_mbar(past, past.t[other] - past.t[one])


def _way_mbar(past: Past, span_s: float) -> float:
    speed_m_s = 1.5  # no lander sinks or rises faster than this for long (common practice)
    return 100.0 + 101.0 * speed_m_s * max(0.1, span_s) + 2.0 * past.plan.sensors.pressure.noise_mbar


def leaps(past: Past) -> Iterator[Finding]:
    """Sound: no change from record to record that is faster than the core itself believes of a lander."""
    at = np.flatnonzero(past.sign("pressure_ok"))
    if len(at) < LEAST:
        return
    spans = np.maximum(0.1, np.diff(past.t[at]))
    change = np.diff(past.mbar[at])
    noise = 2.0 * past.plan.sensors.pressure.noise_mbar
    fast = np.flatnonzero(np.abs(change) > 150.0 + noise + JUMP_CM_S * 1.01 * spans)
    if not len(fast):
        return
    words = past.records(at[fast])
    settle = "press the sensor up and down in a chamber, over its whole range"
    one_way = abs(int(np.sign(change[fast]).sum())) == len(fast)
    if one_way and len(fast) > MANY and (np.diff(fast) == 1).mean() > 0.5:
        return  # a lander that fell like a stone
    if len(fast) == 2 and fast[1] - fast[0] <= 2:
        yield Finding(PRESSURE_BLINKED, LIKELY, "The pressure leapt by %.2f bar for a moment." % (
            float(change[fast[0]]) / 1e3), words, settle, 79)
    elif len(fast) >= MANY or not all(_stays(past, at, int(place)) for place in fast):
        yield Finding(("pressure-noisy",), LIKELY, "The pressure leapt %d times by up to %.1f bar." % (
            len(fast), np.abs(change[fast]).max() / 1e3), words, settle, 89, (*BY_DEPTH, *OFF_READING))
    elif not standing(past):
        yield Finding(("pressure-offset",), LIKELY, "The pressure leapt by %.2f bar between two records and stayed"
                      " there." % (float(change[fast[0]]) / 1e3), words, settle, 86, BY_DEPTH)


def stepped(past: Past) -> Iterator[Finding]:
    """Sound: where it goes on at the same speed after a reading as before it, it has not leapt in between."""
    sensor = past.plan.sensors.pressure
    at = np.flatnonzero(past.sign("pressure_ok") & past.log.is_reading & past.in_state(
        table.DESCEND, table.RECORD, table.ASCEND) & (past.depth_m > SURFACE_M))
    if len(at) < 4 * SIDE or any(rough(past)):
        return
    spans = np.diff(past.t[at])
    speeds = np.diff(past.mbar[at]) / np.maximum(0.1, spans)
    room = STEP_MBAR + 6.0 * sensor.noise_mbar + 2.0 * sensor.resolution_mbar
    for place in np.flatnonzero(np.abs(np.diff(past.mbar[at])) > room):
        if place < SIDE or place + SIDE + 1 >= len(at):
            continue
        before = float(np.median(speeds[place - SIDE:place]))
        after = float(np.median(speeds[place + 1:place + 1 + SIDE]))
        near = np.concatenate((speeds[place - SIDE:place] - before, speeds[place + 1:place + 1 + SIDE] - after))
        if np.abs(near).max() * spans[place] > room or past.boot[at[place]] != past.boot[at[place + 1]]:
            continue
        excess = float(speeds[place] - (before + after) / 2.0) * spans[place]
        if abs(before - after) * spans[place] < room / 4.0 and abs(excess) > room:
            yield Finding(("pressure-offset",), LIKELY, "The pressure leapt by %.0f mbar between two records, and went"
                          " on as before." % excess, past.records(at[place:place + 2]),
                          "press the sensor up and down in a chamber, over its whole range", 86,
                          (*BY_DEPTH, *OFF_READING))
            return
    yield from _blinks(past, at, room)


def _blinks(past: Past, at: NDArray[np.int64], room: float) -> Iterator[Finding]:
    """One reading far off the line of those around it; on the seabed a few of them far off those around them."""
    still = rest(past)
    if len(still) > 4 * SIDE:
        around = np.lib.stride_tricks.sliding_window_view(past.mbar[still], 2 * SIDE + 1)
        far = np.abs(around[:, SIDE] - np.median(around, axis=1)) > room
        if 0 < far.sum() < SIDE:
            yield Finding(PRESSURE_BLINKED, LIKELY, "The pressure was off in %d readings on the seabed and right again."
                          % far.sum(), past.records(still[np.flatnonzero(far) + SIDE]),
                          "press the sensor up and down in a chamber, over its whole range", 64)
            return
    t, mbar = past.t[at], past.mbar[at]
    off = _off_line_mbar(t, mbar)
    for place in np.flatnonzero(np.abs(off) > room) + 1:
        if not 2 <= place < len(at) - 2:
            continue
        others = [place - 2, place - 1, place + 1, place + 2]
        since_s = t[others] - t[place]
        bent = np.abs(mbar[others] - np.polyval(np.polyfit(since_s, mbar[others], 1), since_s))
        if bent.max() < room / 4.0:
            yield Finding(PRESSURE_BLINKED, LIKELY, "The pressure was %.0f mbar off in one reading." %
                          off[place - 1], past.records(at[place - 1:place + 2]),
                "press the sensor up and down in a chamber, over its whole range", 64)
            return


def _stays(past: Past, at: NDArray[np.int64], place: int) -> bool:
    """Whether what came after a leap is nearer to where it leapt than to where it came from."""
    later = past.mbar[at[place + 1:place + 6]]
    return bool(abs(np.median(later) - past.mbar[at[place + 1]]) < abs(np.median(later) - past.mbar[at[place]]))


def rest(past: Past) -> NDArray[np.int64]:
    """Readings of a lander that stands on the seabed, as the controller saw it."""
    command = past.count if past.command_at is None else past.command_at
    chosen = past.in_state(table.RECORD) & past.sign("pressure_ok") & past.log.is_reading
    chosen &= (np.arange(past.count) < command) & (past.depth_m > SURFACE_M)
    at = np.flatnonzero(chosen)
    if past.row("descend-assumed") is not None or not len(at):
        return at[:0] if past.row("descend-settled") is None else at
    return at


def rough(past: Past) -> Iterator[Finding]:
    """Sound: from one reading to the next it changes by the plan's noise and the lander's steady way."""
    sensor = past.plan.sensors.pressure
    allowed = ROUGH_TIMES * (2.0 * sensor.noise_mbar + sensor.resolution_mbar) / 2.0 + 2.0
    for state, name in ((table.RECORD, "on the seabed"), (table.DESCEND, "on the way down"),
                        (table.ASCEND, "on the way up"), (table.RELEASE, "in the release"),
                        (table.BACKUP, "in the release")):
        at = np.flatnonzero(past.in_state(state) & past.sign("pressure_ok") & past.log.is_reading
                            & (past.depth_m > 2 * SURFACE_M))
        if len(at) < REST_LEAST:
            continue
        typical = _scatter_mbar(past, at)
        if typical > allowed:
            yield Finding(("pressure-noisy",), LIKELY, "The pressure scattered by %.0f mbar %s; the plan's sensor"
                          " scatters by %.0f." % (typical, name, sensor.noise_mbar), past.records(at[:8]),
                          "watch the sensor's readings at rest; look at its supply and wires", 80, BY_DEPTH)
            return
    still = rest(past)
    if len(still) < REST_LEAST:
        return
    wild = np.flatnonzero(np.abs(_off_line_mbar(past.t[still], past.mbar[still])) > 3.0 * allowed) + 1
    if len(wild) >= SIDE:
        yield Finding(("pressure-noisy",), LIKELY, "The pressure scattered for a while on the seabed: %d readings stood"
                      " off the others." % len(wild), past.records(still[wild]),
                      "watch the sensor's readings at rest; look at its supply and wires", 78, BY_DEPTH)


def _scatter_mbar(past: Past, at: NDArray[np.int64]) -> float:
    """The middle distance of a reading from the straight line between its neighbours."""
    return float(np.median(np.abs(_off_line_mbar(past.t[at], past.mbar[at]))))


def _off_line_mbar(t: NDArray[np.float64], mbar: NDArray[np.float64]) -> NDArray[np.float64]:
    """How far each reading but the first and the last is off the straight line between its neighbours."""
    part = (t[1:-1] - t[:-2]) / np.maximum(0.1, t[2:] - t[:-2])
    return mbar[1:-1] - mbar[:-2] - part * (mbar[2:] - mbar[:-2])


def creeping(past: Past) -> Iterator[Finding]:
    """Sound: a standing lander's pressure changes no faster than the tide makes it."""
    at = rest(past)
    if len(at) < 4 * REST_LEAST:
        return
    noise = past.plan.sensors.pressure.noise_mbar + past.plan.sensors.pressure.resolution_mbar
    for part in (at, at[len(at) // 2:], at[:len(at) // 2], at[-len(at) // 4:]):
        hours = (past.t[part] - past.t[part[0]]) / 3600.0
        slope, start = np.polyfit(hours, past.mbar[part], 1)
        off = np.abs(past.mbar[part] - (start + slope * hours))
        if abs(slope) <= TIDE_MBAR_H or abs(slope * hours[-1]) <= 6.0 * noise or np.percentile(off, 90) > 3.0 * noise:
            continue
        warming_c = abs(float(np.ptp(past.water_c[part])))
        kinds = ("pressure-creeps",) if warming_c < STEADY_C else ("pressure-creeps", "pressure-drifts-warm")
        yield Finding(kinds, LIKELY, "On the seabed the pressure changed by %.0f mbar an hour, faster than any tide."
                      % slope, past.records(part[[0, len(part) // 2, -1]]),
                      "leave the sensor in air for a day, and read it", 89, (*BY_DEPTH, *OFF_READING))
        return


def afloat(past: Past) -> NDArray[np.int64]:
    """Readings of a lander that has come up and stands there, whatever the controller took it for."""
    up = past.entered(table.ASCEND, table.SURFACE)
    if up is None:
        return np.array([], int)
    since_s = past.t[up.at] + SETTLES_TIMES * min(ascent_s(past.plan), past.plan.times.slowest_ascent_min * 60.0)
    chosen = past.in_state(table.SURFACE, table.ASCEND, table.RELEASE, table.BACKUP) & past.sign("pressure_ok")
    at = np.flatnonzero(chosen & past.log.is_reading & (past.t >= since_s))
    surfaced = np.flatnonzero(past.in_state(table.SURFACE) & past.sign("pressure_ok") & past.log.is_reading)
    at = np.union1d(at, surfaced)
    return at[np.abs(past.depth_m[at]) < NEAR_M]


def arrived(past: Past) -> NDArray[np.int64]:
    """Readings of the seconds in which the surface was being believed: close together, where those later may all fall
    on one phase of the swell."""
    row = past.row("ascend-surface")
    if row is None:
        return np.array([], int)
    held_s = SURFACE_HOLD_DS / 10.0 - 1.5
    return np.flatnonzero((past.t > past.t[row.at] - held_s) & (np.arange(past.count) < row.at)
                          & past.sign("pressure_ok") & past.log.is_reading)


def at_surface(past: Past) -> Iterator[Finding]:
    """Sound: afloat it reads the air taken on deck and some decimetres of water, with the swell on it."""
    at = afloat(past)
    if len(at) < LEAST or standing(past):
        return
    over = past.mbar[at] - past.air_mbar
    swell_mbar = 10.0 * past.plan.site.swell_height_m + 2.0 * past.plan.sensors.pressure.noise_mbar + 10.0
    swing_mbar = swell_mbar + 5.0 * past.plan.site.swell_height_m  # half as high again
    middle = float(np.median(over))
    shown = np.concatenate((over, past.mbar[arrived(past)] - past.air_mbar))
    lowest, *_others, highest = np.sort(shown)[1:-1] if len(shown) > 6 else (0.0, 0.0)
    swing = (highest - lowest) / 2.0
    near = past.mbar[arrived(past)]
    if len(near) >= LEAST:  # those later may all fall on one phase of the swell
        swing = max(swing, float(np.ptp(near)) / 2.0)
    words = past.records(at)
    if swing > swing_mbar and _wanders(over):
        steady = np.ptp(past.water_c[at]) * WARM_MOST_MBAR_K < np.ptp(over)
        yield Finding(("pressure-creeps",) if steady else OFF_READING, LIKELY, "At the surface the pressure wandered"
                      " off by %.0f mbar, always the same way." % np.ptp(over), words,
                      "leave the sensor in air for a day, and read it", 65)
    elif swing > swing_mbar:
        yield Finding(_swell_or_noise(past, shown), LIKELY,
                      "At the surface the pressure swung by %.0f mbar; the planned swell makes %.0f." % (
                          swing, swell_mbar), words, "ask the boat for the swell; watch the sensor at rest", 60)
    if middle > AFLOAT_MBAR + swell_mbar or middle < -swell_mbar - 10.0:
        yield Finding(_off_by(past, middle - AFLOAT_MBAR / 2.0, at), LIKELY,
                      "At the surface the pressure read %.0f mbar off the air taken on deck." % middle, words,
                      "read the sensor in air, warm and cold", 65, ("contact-bridged",))


def _swell_or_noise(past: Past, shown: NDArray[np.float64]) -> tuple[str, ...]:
    """Water over the sensor adds to the air's pressure and takes nothing from it; noise goes both ways."""
    sensor = past.plan.sensors.pressure
    least = -(sensor.noise_mbar + sensor.resolution_mbar + AIR_MBAR)
    if float(shown.min()) < least:
        return ("pressure-noisy",)
    middle = AFLOAT_MBAR / 2.0
    reach = max(1.0, float(shown.max()) - middle)
    below = max(0.0, reach - (middle - least)) / (2.0 * reach)  # of readings of an even noise that reaches so high
    if (1.0 - below) ** len(shown) < CHANCE_MOST:
        return ("heavy-swell",)
    return ("heavy-swell", "pressure-noisy")


def _off_by(past: Past, off_mbar: float, at: NDArray[np.int64]) -> tuple[str, ...]:
    """What makes a reading so far off at the surface. An offset comes in one step between two readings; what creeps
    goes on at the surface; what neither leapt nor goes on went with the temperature, or leapt where it was not seen."""
    hours = (past.t[at] - past.t[at[0]]) / 3600.0
    if hours[-1] < FLAT_LEAST_H:
        return OFF_READING
    slope = float(np.polyfit(hours, past.mbar[at], 1)[0])
    creeps = () if abs(slope * (past.t[at[-1]] - past.t[0]) / 3600.0) < FLAT_PART * abs(off_mbar) else (
        "pressure-creeps",)
    leapt_s = _leapt_s(past, off_mbar)
    if any(moment_s != past.splash_s for moment_s in leapt_s):
        return ("pressure-offset",)
    if leapt_s or _off_on_deck(past, off_mbar):
        return ("pressure-offset", "pressure-drifts-warm", *creeps)
    return ("pressure-drifts-warm", "pressure-offset", *creeps)


def _off_on_deck(past: Past, off_mbar: float) -> bool:
    """Whether it was off by as much in the air of the deck."""
    at = np.flatnonzero(past.in_state(*ON_DECK) & past.sign("pressure_ok") & past.sign("contact_ok")
                        & ~past.sign("contact_wet"))
    if not len(at):
        return False
    return abs(float(np.median(past.mbar[at])) - past.plan.site.air_pressure_hpa - off_mbar) < NEAR_MBAR


def _leapt_s(past: Past, off_mbar: float) -> list[float]:
    """From which moments on a step between two readings is plausible once this leap is taken out of it, and is not as
    it stands: between the speeds before and after it, within what noise and a turning lander make. At the splash the
    temperature leaps as well."""
    sensor = past.plan.sensors.pressure
    at = np.flatnonzero(past.sign("pressure_ok"))
    at = at[np.concatenate(([True], np.diff(past.t[at]) > 0.05))]
    t, mbar, boot = past.t[at], past.mbar[at], past.boot[at]
    if past.splash_s is not None and t[0] < past.splash_s < t[-1]:  # at the splash the air's pressure was on it
        place = int(np.searchsorted(t, past.splash_s))
        t, mbar = np.insert(t, place, past.splash_s), np.insert(mbar, place, mbar[place - 1])
        boot = np.insert(boot, place, boot[place - 1])
    spans, change = np.diff(t), np.diff(mbar)
    speeds = change / np.maximum(0.1, spans)
    found: list[float] = []
    room = STEP_MBAR / 2.0 + 2.0 * (sensor.noise_mbar + sensor.resolution_mbar)
    for place in np.flatnonzero(np.abs(change - off_mbar) < np.abs(change) + room):
        if boot[place] != boot[place + 1] or spans[place] > LONG_STEP_S:
            continue
        before = float(np.median(speeds[max(0, place - NEAR_STEPS):place])) if place else 0.0
        after = float(np.median(speeds[place + 1:place + 1 + NEAR_STEPS])) if place + 1 < len(speeds) else 0.0
        low, high = sorted((before * spans[place], after * spans[place]))
        if not low - room <= change[place] <= high + room and low - room <= change[place] - off_mbar <= high + room:
            found.append(float(t[place]))
    return found


def _wanders(over: NDArray[np.float64]) -> bool:
    """Whether these readings go one way in small steps; those of a swell leap to and fro."""
    reach = float(np.ptp(over))
    longest = float(np.abs(np.diff(over)).max())
    return longest < WANDER_STEP * reach and abs(float(over[-1] - over[0])) > WANDER_WAY * reach


def refused(past: Past) -> Iterator[Finding]:
    """Sound: the air is read on deck, and arming is not refused for it."""
    at = [at for at in past.events(journal.E_ARM_REFUSED) if past.detail[at] in (
        signals.NO_PRESSURE, signals.SIGN_OF_WATER)]
    if at and past.sign("pressure_ok")[at[0]] and not past.sign("contact_wet")[at[0]]:
        yield Finding(_still(past, (*OFF_READING, "pressure-noisy")), LIKELY,
                      "Arming was refused: the pressure on deck read %.0f mbar." % past.mbar[at[0]], past.records(at),
                      "read the sensor in air", 85, BY_DEPTH)


def deck(past: Past) -> Iterator[Finding]:
    """Sound: on deck, armed, it reads the plan's air within a storm's reach, and dry."""
    at = np.flatnonzero(past.in_state(*ON_DECK) & past.sign("pressure_ok") & past.sign("contact_ok")
                        & ~past.sign("contact_wet"))
    off = past.mbar[at] - past.plan.site.air_pressure_hpa
    wrong = at[np.abs(off) > 100.0]
    if len(wrong) >= LEAST:
        yield Finding(_still(past, (*OFF_READING, "pressure-frozen", "pressure-noisy")), LIKELY,
                      "On deck the pressure read %.0f mbar with a dry contact." % past.mbar[wrong[0]],
                      past.records(wrong), "read the sensor in air", 66, BY_DEPTH)


def _still(past: Past, kinds: tuple[str, ...]) -> tuple[str, ...]:
    """Without noise where the readings on deck stand close together, and not frozen where it followed the depth."""
    sensor = past.plan.sensors.pressure
    at = np.flatnonzero(past.in_state(*ON_DECK) & past.sign("pressure_ok"))
    left_out = []
    if len(at) >= LEAST and np.ptp(past.mbar[at]) <= 2.0 * (sensor.noise_mbar + sensor.resolution_mbar):
        left_out.append("pressure-noisy")
    if past.deepest_m > NEAR_M and not standing(past):
        left_out.append("pressure-frozen")
    return but(kinds, *left_out)


RULES = (gone, frozen, leaps, stepped, rough, creeping, at_surface, refused, deck)
