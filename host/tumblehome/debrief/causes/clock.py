"""Time: the real-time clock beside the controller's own count.

The sound dive: the clock is valid in every record, agrees with the count within the core's own slack, and stands
within a day of the plan's splash.
"""

from collections.abc import Iterator
from datetime import timedelta

import numpy as np

from lander import journal
from lander.mission import CLOCK_SLACK_S, CLOCK_SLACK_SHIFT
from seatrial.world import CLOCK_EPOCH
from tumblehome.debrief.causes.alike import CLOCK_APART, CLOCK_LOST
from tumblehome.debrief.causes.findings import ESTABLISHED, LIKELY, Finding
from tumblehome.debrief.causes.past import Past

FAR_S = 3 * 86400.0  # a dive is put off by a day or two; further off the clock is wrong
NEW_S = 366 * 86400.0  # a clock that nobody set counts from when its cell was put in: not years ago
DRIFT_LEAST_S = 3.0  # whole seconds are read, and the count has tenths: less says nothing
TICK_S = 2.0  # from reading to reading a clock of whole seconds may seem to step so far
STEP_SHARE, SLIP_SHARE = 0.7, 0.4  # of the whole way: a leap makes nearly all of it at once, a drift little


def distrusted(past: Past) -> Iterator[Finding]:
    """Sound: no event of the clock. Its detail is the seconds by which it was off."""
    for at in past.events(journal.E_CLOCK):
        off_s = int(past.detail[at])
        if not past.sign("clock_ok")[at]:
            yield Finding(_lost(past), LIKELY, "The real-time clock said itself that it had lost"
                          " its time.", past.records([at]), "look at the clock's cell and its wires", 70)
            return
        before = np.flatnonzero((past.log.records["clock_s"] > 0) & (np.arange(past.count) < at))
        drift_s = _drift_s(past, before)
        span_s = float(past.t[at] - past.t[before[-1]]) if len(before) else 0.0
        slack_s = CLOCK_SLACK_S + (float(past.t[at] - past.t[before[0]]) / (1 << CLOCK_SLACK_SHIFT)
                                   if len(before) else 0.0)
        crept = abs(drift_s) >= DRIFT_LEAST_S and abs(off_s) < 2.0 * slack_s + 0.5 * span_s
        leapt: tuple[str, ...] = ("clock-jumps",)  # a count that falls back loses a sleep at the most
        if len(before) and abs(off_s) <= past.restart_most_s(int(before[-1])):
            leapt = CLOCK_APART
        kinds: tuple[str, ...] = ("clock-drifts",) if crept else ("clock-drifts", *leapt)
        if not crept and abs(off_s) > slack_s + 0.5 * max(span_s, 1.0):
            kinds = leapt
        yield Finding(kinds, LIKELY, "The real-time clock and the controller's own count came apart by %d s%s."
                      % (off_s, ", little by little" if crept else ""), past.records([at]),
                      "set the clock, and compare it with another one after a day", 70)
        return


def _lost(past: Past) -> tuple[str, ...]:
    """What a clock without its time has had: one that had it in the first record was set, and lost it since."""
    return CLOCK_LOST if not past.sign("clock_ok")[0] else ("clock-lost",)


def _drift_s(past: Past, places) -> float:
    """How far the trusted clock ran from the count in these records, seconds."""
    if len(places) < 2:
        return 0.0
    ahead = past.log.records["clock_s"][places].astype(float) - past.t[places]
    return float(ahead[-1] - np.median(ahead[:max(1, len(ahead) // 10)]))


def drifting(past: Past) -> Iterator[Finding]:
    """Sound: the trusted clock runs with the count to a few seconds and a thousandth."""
    if past.events(journal.E_CLOCK):
        return
    trusted = np.flatnonzero((past.log.records["clock_s"] > 0) & (past.boot == past.boot[0]))
    off_s = _drift_s(past, trusted)
    span_s = float(past.t[trusted[-1]] - past.t[trusted[0]]) if len(trusted) else 0.0
    if abs(off_s) > DRIFT_LEAST_S + 1e-3 * span_s:
        yield Finding(_drift_or_leap(past, trusted, off_s), LIKELY, "The clock ran %.0f s away from the controller's"
                      " count." % off_s, past.records(trusted[[0, -1]]),
                      "compare the clock with another one after a day", 60)


def _drift_or_leap(past: Past, trusted, off_s: float) -> tuple[str, ...]:
    """Whether it came apart in one step between two records, or a little in each of many."""
    t = past.t[trusted]
    steps = np.abs(np.diff(past.log.records["clock_s"][trusted].astype(float) - t))
    at = int(steps.argmax())
    if steps[at] >= STEP_SHARE * abs(off_s) and t[at + 1] - t[at] < abs(off_s):  # no clock runs at double speed
        return ("clock-jumps",)
    if steps[at] <= max(TICK_S, SLIP_SHARE * abs(off_s)):
        return ("clock-drifts",)
    return ("clock-jumps", "clock-drifts")


def unset(past: Past) -> Iterator[Finding]:
    """Sound: a valid clock, and a date near the plan's."""
    lost = ~past.sign("clock_ok")
    if lost.any() and not past.events(journal.E_CLOCK):
        yield Finding(_lost(past), ESTABLISHED,
                      "The real-time clock was not valid in %d records." % lost.sum(),
                      past.records(np.flatnonzero(lost)), "look at the clock's cell, and set it", 70)
        return
    splash = None if past.splash_s is None else past.log.utc(past.splash_s)
    if splash is None:
        return
    off_s = (splash - past.plan.dive.splash_utc).total_seconds()
    if abs(off_s) > FAR_S:
        new = timedelta(0) <= splash - CLOCK_EPOCH < timedelta(seconds=NEW_S)
        yield Finding(("clock-never-set",) if new else ("clock-jumps", "clock-never-set"), LIKELY,
                      "The journal's dates are %.0f days from the planned splash: the clock was never set, or wrong."
                      % (off_s / 86400.0), past.records([0]), "set the clock", 60)


RULES = (distrusted, drifting, unset)
