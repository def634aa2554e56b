"""Release: what each attempt drew and did, and what came of it.

The sound dive: an attempt draws the plan's current at its drive until a wire parts (its current ends then) or a latch
has turned, and the lander rises within the mud's hold.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from lander import journal, release, table
from seatrial.plan.reckoning import ascent_s
from tumblehome.debrief.causes.alike import (
    BY_DEPTH,
    HELD_FOR_A_TIME,
    LET_GO_BY_OTHERS,
    NOT_OPENED,
    OFF_READING,
    STUCK,
    but,
)
from tumblehome.debrief.causes.findings import ESTABLISHED, LIKELY, Finding
from tumblehome.debrief.causes.past import Attempt, Past, Row

OPEN_PART, SHORT_TIMES = 0.3, 2.0  # of the planned current: below is no circuit, above is a short
PARTED_ROOM = 0.25  # of the planned time to part: cold, salt and the wire's own spread (common practice)
SLOW_TIMES = 1.6  # an ascent slower than planned by so much
HOLD_ROOM_S = 60.0
SOON_S = 60.0  # a board that looks every few seconds, and fires, has let go by then
MISLED = ("second-pressure-gone", "second-contact-dead", "second-contact-bridged", "second-hangs")
CHANNEL = ("primary", "backup")


@dataclass
class Drawn:
    """What an attempt drew. `ma` of the channel alone, at each reading; `parted_s` of drive until it ended, or None."""

    attempt: Attempt
    at: list[int]
    ma: list[float]
    seconds: list[float]
    planned_ma: float

    @property
    def first_part(self) -> float | None:
        return self.ma[0] / self.planned_ma if self.ma else None

    @property
    def parted_s(self) -> float | None:
        """Seconds after which the current had ended, having flowed before."""
        flowing = [seconds for seconds, ma in zip(self.seconds, self.ma, strict=True)
                   if ma > OPEN_PART * self.planned_ma]
        ended = [seconds for seconds, ma in zip(self.seconds, self.ma, strict=True)
                 if ma <= OPEN_PART * self.planned_ma and (not flowing or seconds > flowing[-1])]
        return ended[0] if ended and flowing else None


def drawn(past: Past) -> list[Drawn]:
    """Attempts whose current was read."""
    found = []
    for one in past.attempts:
        planned = past.channel(one.channel).current_ma * one.drive_pct / 100.0
        at = [place for place in one.driven if past.sign("current_ok")[place]]
        ma = [float(past.ma[place] - past.plan.power.controller_ma) for place in at]
        found.append(Drawn(one, at, ma, [float(past.t[place] - past.t[one.at]) for place in at], planned))
    return found


def _currents_right(past: Past) -> bool:
    """Whether the current of the controller alone is what the plan says: else the reading itself is wrong."""
    own = past.settled & past.sign("current_ok") & (past.drives == 0) & (past.lights_pct == 0)
    return not own.any() or abs(float(np.median(past.ma[own])) - past.plan.power.controller_ma) <= (
        past.noise_ma + 0.3 * past.plan.power.controller_ma)


def circuits(past: Past) -> Iterator[Finding]:
    """Sound: the plan's current from the first moment; none only once a wire has parted."""
    if not _currents_right(past):
        return
    parted: set[int] = set()
    driven_s = [0.0, 0.0]
    for one in drawn(past):
        channel, end_at = one.attempt.channel, one.attempt.end_at
        if one.first_part is None:
            continue
        if past.channel(channel).current_ma * one.attempt.drive_pct / 100.0 > 3.0 * past.noise_ma:
            found = _shorted(past, one)
            if found is None and channel not in parted:
                found = _open(past, one, driven_s[channel])
            if found is None:
                found = _broken(past, one, driven_s[channel])
            if found is not None:
                yield found
                return
            if one.parted_s is not None:
                parted.add(channel)
        if end_at is not None:
            driven_s[channel] += float(past.t[end_at] - past.t[one.attempt.at]) * one.attempt.drive_pct / 100.0


def _shorted(past: Past, one: Drawn) -> Finding | None:
    if max(one.ma) / one.planned_ma <= SHORT_TIMES:
        return None
    return _bad_circuit(past, one, ESTABLISHED, "%.0f mA flowed where %.0f mA were planned: its circuit is shorted"
                        % (max(one.ma), one.planned_ma), 95, ("jammed", "slow-release", *STUCK, "reset"))


def _open(past: Past, one: Drawn, before_s: float) -> Finding | None:
    """No current from the first moment, of a channel that was driven for `before_s` already."""
    channel = one.attempt.channel
    part = one.first_part
    if part is None or part >= OPEN_PART or (past.channel(channel).kind == "wire" and before_s + one.seconds[0]
                                             >= past.opens_s(channel) * (1.0 - PARTED_ROOM)):
        return None
    sure = one.attempt.end != release.RISE and len(one.ma) > 1
    return _bad_circuit(past, one, ESTABLISHED if sure else LIKELY, "%.0f mA flowed where %.0f mA were planned: its"
                        " circuit is open" % (one.ma[0], one.planned_ma), 95, (*NOT_OPENED, *STUCK))


def _broken(past: Past, one: Drawn, before_s: float) -> Finding | None:
    """The current ended before the release could have opened."""
    if one.parted_s is None:
        return None
    channel, ended_s = one.attempt.channel, before_s + one.parted_s
    kind = past.channel(channel).kind
    if kind != "latch" and ended_s >= past.opens_s(channel) * (1.0 - PARTED_ROOM):
        return None
    return _bad_circuit(past, one, LIKELY, "the current ended after %.0f s of drive, before the %s could have opened:"
                        " the circuit broke" % (ended_s, kind), 94, ("jammed", "slow-release", *STUCK))


def _bad_circuit(past: Past, one: Drawn, certainty: str, seen: str, weight: int, covers: tuple[str, ...]) -> Finding:
    name = CHANNEL[one.attempt.channel]
    return Finding(("bad-circuit",), certainty, "Attempt %d on the %s: %s." % (one.attempt.number, name, seen),
                   past.records([one.attempt.at, *one.at]), "measure the %s circuit, from the driver's plug to the %s"
                   % (name, past.channel(one.attempt.channel).kind), weight, covers)


def _parted(past: Past) -> dict[int, float]:
    """Channels whose wire was seen to part, with the seconds of full drive that it took at most."""
    found: dict[int, float] = {}
    driven_s = [0.0, 0.0]
    for one in drawn(past):
        channel = one.attempt.channel
        pct = one.attempt.drive_pct / 100.0
        if past.channel(channel).kind == "wire" and channel not in found and one.parted_s is not None:
            found[channel] = driven_s[channel] + one.parted_s * pct
        if one.attempt.end_at is not None:
            driven_s[channel] += float(past.t[one.attempt.end_at] - past.t[one.attempt.at]) * pct
    return found


class _InVain(NamedTuple):
    """Attempts that ended without a rise, the rise that came all the same, and what the currents tell of the wires."""

    attempts: list[Attempt]
    rise: Row | None
    rise_s: float | None
    words: tuple[int, ...]
    blind: bool  # the pressure was not always right
    parted: dict[int, float]


def in_vain(past: Past) -> Iterator[Finding]:
    """Sound: the first attempt on the primary ends in a rise, and where it is a wire, its current ends before."""
    rise = past.row("release-rising", "backup-rising")
    vain = [one for one in before_rise(past) if one.end == release.TIME_UP]
    if not vain or past.deepest_m < 3.0 * past.plan.thresholds.submerged_m:
        return
    seen = _InVain(vain, rise, past.t[rise.at] if rise else None,
                   past.records([one.at for one in vain] + ([rise.at] if rise else [])),
                   not past.sign("pressure_ok").all(), _parted(past))
    found = _slow_wire(past, seen)
    if found is None:
        found = _held(past, seen) if seen.parted and not seen.blind else _not_opened(past, seen)
    if found is not None:
        yield found


def _slow_wire(past: Past, seen: _InVain) -> Finding | None:
    for channel, seconds in seen.parted.items():
        planned_s = past.opens_s(channel)
        if seconds > planned_s * (1.0 + 3.0 * PARTED_ROOM) + 2.0 * past.plan.journal.reading_bottom_s:
            return Finding(("slow-release",), LIKELY, "The %s wire parted after %.0f s of current; %.0f s were planned."
                           % (CHANNEL[channel], seconds, planned_s), seen.words,
                           "weigh wires of this batch before and after a soak with current", 85, ("jammed", *STUCK))
    return None


def _held(past: Past, seen: _InVain) -> Finding | None:
    """A wire has parted, and the lander did not rise, or not soon."""
    channel = min(seen.parted)
    first = next(one for one in past.attempts if one.channel == channel)
    since_s = None if seen.rise_s is None else seen.rise_s - past.t[first.at] - seen.parted[channel]
    if since_s is not None and since_s <= past.plan.site.mud_hold_s + HOLD_ROOM_S:
        return None
    rose = "never rose" if since_s is None else "rose %.0f min later" % (since_s / 60.0)
    if seen.parted[channel] < past.opens_s(channel):
        return Finding((*STUCK, "bad-circuit"), LIKELY, "The current of the %s wire ended after %.0f s, a little"
                       " before the planned %.0f s, and the lander %s: something held it, or the circuit broke."
                       % (CHANNEL[channel], seen.parted[channel], past.opens_s(channel), rose), seen.words,
                       "see whether the wire is eroded through; look at the ballast's seat and at the frame", 85,
                       ("jammed", "slow-release"))
    return Finding(STUCK if since_s is None else HELD_FOR_A_TIME, LIKELY, "The %s wire parted and the lander %s:"
                   " something held it." % (CHANNEL[channel], rose), seen.words,
                   "look at the ballast's seat and at the frame for mud, lines and scratches", 85,
                   ("jammed", "slow-release", "bad-circuit"))


def _not_opened(past: Past, seen: _InVain) -> Finding | None:
    """The current flowed as planned and nothing came of it."""
    freed_by = _freed_by(past, seen.rise)
    vain = [one for one in seen.attempts if freed_by is None or one is not freed_by]
    if not vain:
        return None
    if seen.rise_s is not None and seen.rise_s - past.t[vain[0].at] <= (
            past.opens_s(vain[0].channel) + past.plan.site.mud_hold_s + HOLD_ROOM_S):
        return None  # the planned mud alone held it for so long
    if freed_by is not None:
        tried = sorted({one.channel for one in vain})
        failed = [channel for channel in tried if channel != freed_by.channel] or tried
        name = CHANNEL[failed[0]]
        kinds: tuple[str, ...] = NOT_OPENED if freed_by.channel not in tried else (*NOT_OPENED, *STUCK)
        return Finding(kinds, LIKELY, "The %s drew its current through %s in vain; the rise came with an attempt on the"
                       " %s." % (name, _attempts(sum(one.channel == failed[0] for one in vain)),
                                 CHANNEL[freed_by.channel]), seen.words,
                       "take the %s release apart: look for salt and growth; run it on the bench" % name, 80)
    if seen.blind:
        return None
    return Finding((*NOT_OPENED, *STUCK), LIKELY, "%s came to nothing%s." % (
        _attempts(len(vain)), "" if seen.rise is None else ", and a rise came later"), seen.words,
        "run both releases on the bench; look at the ballast's seat and at the frame", 80)


def before_rise(past: Past) -> list[Attempt]:
    """Attempts from the first command until it first rose or was at the surface: later ones are another story."""
    rise = past.entered(table.ASCEND, table.SURFACE)
    return [one for one in past.attempts if rise is None or one.at < rise.at]


def _attempts(count: int) -> str:
    return "one attempt" if count == 1 else "%d attempts" % count


def _freed_by(past: Past, rise) -> Attempt | None:
    """The attempt in which the rise was seen, or in the pause after which it was."""
    before = [one for one in past.attempts if rise is not None and one.at < rise.at]
    return before[-1] if before else None


def late_rise(past: Past) -> Iterator[Finding]:
    """Sound: a wire parts at its time, and the rise is seen within the mud's hold after that."""
    first = past.attempts[0] if past.attempts else None
    rise = past.row("release-rising", "backup-rising")
    if first is None or rise is None or first.end != release.RISE or past.channel(first.channel).kind != "wire":
        return
    took_s = float(past.t[rise.at] - past.t[first.at])
    planned_s = past.opens_s(first.channel) + past.plan.site.mud_hold_s
    if took_s > planned_s * (1.0 + PARTED_ROOM) + HOLD_ROOM_S:
        parted = _parted(past).get(first.channel)
        kinds: tuple[str, ...] = ("slow-release", *STUCK)
        if parted is not None:
            kinds = ("slow-release",) if parted > past.opens_s(first.channel) * (1.0 + PARTED_ROOM) + 20.0 else STUCK
        yield Finding(kinds, LIKELY, "From the first current to the rise it took %.0f s; %.0f s were planned." % (
            took_s, planned_s), past.records([first.at, rise.at]),
            "weigh wires of this batch before and after a soak; look at the frame for mud", 70)


def early_rise(past: Past) -> Iterator[Finding]:
    """Sound: no rise before the wire can have parted."""
    first = past.attempts[0] if past.attempts else None
    rise = past.row("release-rising", "backup-rising")
    if first is None or rise is None or first.end != release.RISE or past.channel(first.channel).kind != "wire":
        return
    took_s = float(past.t[rise.at] - past.t[first.at])
    planned_s = past.opens_s(first.channel)
    if took_s < planned_s * (1.0 - PARTED_ROOM) and planned_s > HOLD_ROOM_S / 2.0:
        came_up = past.surface_at is not None and past.sign("pressure_ok")[past.surface_at]
        kinds = let_go(past, float(past.t[rise.at]))
        yield Finding(kinds if came_up else (*kinds, *OFF_READING), LIKELY, "It rose %.0f s after the first current;"
                      " the wire needs %.0f s to part: something else had let the ballast go." % (took_s, planned_s),
                      past.records([first.at, rise.at]), "look at the wire, at the latch, and at the second board", 72)


def slow_ascent(past: Past) -> Iterator[Finding]:
    """Sound: the way up takes what the plan's hull takes without ballast, within its doubt."""
    up = np.flatnonzero(past.in_state(table.ASCEND) & past.sign("pressure_ok") & past.log.is_reading)
    if len(up) < 6:
        return
    depth = past.depth_m[up]
    far = (depth > 0.15 * past.plan.site.depth_m) & (depth < 0.85 * past.plan.site.depth_m)
    if far.sum() < 4 or np.ptp(depth[far]) < 5.0:
        return
    speed = -np.polyfit(past.t[up][far], depth[far], 1)[0]
    planned = past.plan.site.depth_m / ascent_s(past.plan)
    if 0.0 < speed < planned / SLOW_TIMES:
        yield Finding(("ballast-hangs", "caught"), LIKELY, "It rose at %.2f m/s where %.2f m/s were planned: something"
                      " heavy hung on." % (speed, planned), past.records(up[[0, len(up) // 2, -1]]),
                      "look for what is left of the ballast", 80, ("deep-mud", "slow-release"))


def let_go(past: Past, rose_s: float) -> tuple[str, ...]:
    """What may have let the ballast go without the controller, of what the plan has fitted.

    A second board that has lost its count fires as soon as it knows that it is under water: at once by both signs,
    after the wait for one sign by one of them. At any other time it fires when its power has come back.
    """
    fitted = past.plan.second.fitted, past.plan.release.passive.fitted
    if fitted == (False, True):
        return ("link-early",)
    kinds = LET_GO_BY_OTHERS if fitted == (True, True) else but(LET_GO_BY_OTHERS, "link-early")
    begun_s = past.splash_s
    if begun_s is None or past.flags[-1] & journal.FLAG_TIME_UNKNOWN:
        return kinds
    deepest_s = float(past.t[np.nanargmax(np.where(past.t <= rose_s, past.depth_m, np.nan))])
    wait_s = past.plan.thresholds.one_sign_wait_min * 60.0
    if deepest_s - begun_s < SOON_S:
        return ("second-reset", *but(kinds, "second-reset"))
    if any(wait_s < at_s - begun_s < wait_s + 2.0 * SOON_S for at_s in (rose_s, deepest_s)):
        first = ("second-pressure-gone", "second-contact-dead")
        return (*first, *but(kinds, *first))
    return but(kinds, *MISLED)


def unasked(past: Past) -> Iterator[Finding]:
    """Sound: no rise before a release is commanded."""
    row = past.row("record-rising", "record-afloat", "descend-afloat", "ascend-due", "ascend-first", "surface-due")
    if row is None or (past.command_at is not None and row.at > past.command_at and row.label != "surface-due"):
        return
    if row.label == "surface-due" and past.row("record-rising", "record-afloat", "descend-afloat") is None:
        return
    depth = past.depth_m[past.in_state(table.DESCEND, table.RECORD)]
    if not len(depth) or np.nanmax(depth, initial=0.0) < 3.0 * past.plan.thresholds.submerged_m:
        return
    yield Finding(let_go(past, float(past.t[row.at])), LIKELY,
                  "It rose before any release was commanded: the link or the second board let the ballast go.",
                  past.records([row.at]), "look at the link, at the latch, and at the second board's record", 80,
                  but(BY_DEPTH, *LET_GO_BY_OTHERS))


RULES = (circuits, in_vain, late_rise, early_rise, slow_ascent, unasked)
