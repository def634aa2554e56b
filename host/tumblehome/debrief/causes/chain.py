"""The chain: what happened, in order, each link with what was expected beside what was seen, and its records.

A link is established where records say it in so many words, likely where it was worked out from readings, and what
the journal cannot tell stands at the end.
"""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from lander import camera, journal, lamps, release, table, words
from lander.release import DRIVES_PCT
from seatrial.plan import Plan
from seatrial.plan.reckoning import ascent_s, descent_s
from tumblehome.debrief.causes.findings import ESTABLISHED, LIKELY, OPEN, Link
from tumblehome.debrief.causes.past import ON_DECK, Attempt, Past, Start
from tumblehome.debrief.causes.release import CHANNEL, OPEN_PART, SHORT_TIMES
from tumblehome.debrief.causes.untold import UNTOLD
from tumblehome.debrief.log import Log
from tumblehome.debrief.telling import moment

ATTEMPTS_TOLD = 8  # one by one; then they are summed up
ODD = {
    journal.E_CLOCK: "The real-time clock was no longer trusted",
    journal.E_COMMAND_REFUSED: "A command was refused",
    journal.E_LOST: "Records could not be stored",
    journal.E_NEARLY_FULL: "The journal was nearly full: readings were thinned",
    journal.E_HOT: "The camera was too hot and was put off",
    journal.E_COOL: "The camera was cool again",
    journal.E_NO_ANSWER: "The camera did not answer, and was started anew",
    journal.E_SHED_LATE: "The camera was switched off hard before the release: it had not closed in time",
    journal.E_LEAK: "Water was felt in the housing",
    journal.E_BENCH_ON: "A release was energised from the bench line",
    journal.E_BUG: "The mission code found itself wrong",
    journal.E_WET_BEFORE: "After a restart the descent was counted from the last record on deck",
    journal.E_ONE_SIGN: "One sign of water alone was believed, after a long wait",
    journal.E_SPARING: "Loads were left off, since the supply had failed under them, or tried again",
    journal.E_STOPPED: "The clock of the descent was stopped: out of the water",
}
DETAIL = {journal.E_CLOCK: "%d s apart from the controller's count", journal.E_LOST: "%d records",
          journal.E_NEARLY_FULL: "%d slots free", journal.E_SPARING: "step %d of 3"}


def chain(log: Log, plan: Plan) -> list[Link]:
    """What happened in the newest dive of this log, in order; at the end what the journal cannot tell."""
    past = Past(log, plan)
    if not past.count:
        return []
    links = [link for part in PARTS for link in part(past)]
    links.sort(key=lambda link: (link.at_s is None, link.at_s or 0.0, link.records[:1]))
    return links + list(_untold(past))


def told_time(past: Past, at_s: float) -> str:
    """A mission time for a person."""
    return moment(past.log.utc(at_s), None if past.splash_s is None else at_s - past.splash_s, at_s)


def span(seconds: float) -> str:
    """A time in words: 45 s, 12 min 5 s, 3 h 20 min."""
    whole = int(round(seconds))
    if whole < 60:
        return "%d s" % whole
    if whole < 3600:
        return "%d min %d s" % divmod(whole, 60)
    return "%d h %d min" % divmod(whole // 60, 60)


def _link(past: Past, at: int, said: str, expected: str = "", seen: str = "", certainty: str = ESTABLISHED,
          more: tuple[int, ...] = ()) -> Link:
    at_s = float(past.t[at])
    return Link(at_s, told_time(past, at_s), said, expected, seen, certainty, past.records([at, *more]))


def _because(row_number: int) -> str:
    return table.because(row_number)


# --- on deck ---------------------------------------------------------------------------------------------------------


def _arming(past: Past) -> Iterator[Link]:
    for at in past.events(journal.E_ARM_REFUSED):
        yield _link(past, at, "Arming refused: %s." % words.REFUSALS.get(int(past.detail[at]), "reason unknown"),
                    "granted")
    for at in past.events(journal.E_ARMED_ANYWAY):
        yield _link(past, at, "Armed in spite of a check: %s." % words.REFUSALS.get(int(past.detail[at]), "unknown"),
                    "every check passed")
    for at in past.events(journal.E_SELF_TEST):
        passed = [name for bit, name in words.SELF_TEST.items() if past.detail[at] & bit]
        asked = [name for bit, name in words.SELF_TEST.items() if past.orders.self_test & bit]
        yield _link(past, at, "Self-test ended.", "passed: " + ", ".join(asked), "passed: " + (
            ", ".join(passed) or "nothing"))
    for row in past.rows:
        if row.label == "safe-arm":
            yield _link(past, row.at, "Armed.", "%g min before the splash" % past.plan.dive.on_deck_min,
                        "supply %.1f V, air %.0f mbar" % (past.mv[row.at] / 1e3, past.air_mbar))
        elif row.label.endswith("-disarm"):
            yield _link(past, row.at, "Disarmed%s." % (
                ": the dive was over" if row.came_from == table.SURFACE else ""), "only after the recovery")


def _splash(past: Past) -> Iterator[Link]:
    for row in past.rows:
        if row.label in ("armed-splash", "safe-splash", "safe-alone", "safe-lost", "surface-again"):
            planned = moment(past.plan.dive.splash_utc, None)
            signs = [name for name, wet in (("wet contact", past.flags[row.at] & journal.WET_CONTACT),
                                            ("pressure", past.flags[row.at] & journal.DEEP_SIGN)) if wet]
            yield _link(past, row.at, "Water: %s." % _because(row.number), "splash planned for %s" % planned,
                        "by %s" % (" and ".join(signs) or "no sign that was recorded"))
        elif row.label in ("descend-dry", "descend-afloat") or row.label.endswith("-hauled"):
            yield _link(past, row.at, "%s." % _because(row.number).capitalize(), "not in a sound dive",
                        _depth(past, row.at))


def _depth(past: Past, at: int) -> str:
    if not past.sign("pressure_ok")[at]:
        return "pressure not valid"
    return "%.1f m, contact %s" % (past.depth_m[at], "wet" if past.sign("contact_wet")[at] else "dry")


# --- on the way down and on the seabed -------------------------------------------------------------------------------


def _bottom(past: Past) -> Iterator[Link]:
    row = past.row("descend-settled", "descend-assumed")
    if row is None:
        return
    seen = _depth(past, row.at)
    if past.splash_s is not None:
        seen += ", %s after the splash" % span(past.t[row.at] - past.splash_s)
    expected = "%.0f m, %s after the splash" % (past.plan.site.depth_m, span(min(descent_s(past.plan), 1e7)))
    assumed = row.label == "descend-assumed"
    yield _link(past, row.at, "%s." % _because(row.number).capitalize(), expected, seen, LIKELY if assumed
                else ESTABLISHED)


def _recording(past: Past) -> Iterator[Link]:
    first = [at for at in past.events(journal.E_RECORDING) if past.state[at] not in ON_DECK]
    if first:
        yield _link(past, first[0], "The camera recorded.", "from the %s on" % (
            "splash" if past.plan.camera.film_descent else "seabed"), "step: %s" % words.CAMERA_STEPS[
                int(past.camera[first[0]])])
    on_bottom = np.flatnonzero(past.in_state(table.RECORD) & past.log.is_reading)
    if len(on_bottom):
        share = float((past.camera[on_bottom] == camera.RECORDING).mean())
        yield _link(past, int(on_bottom[-1]), "Filming of the bottom ended.", "recording at least 95 % of it",
                    "recording in %.1f %% of %d readings" % (100.0 * share, len(on_bottom)),
                    LIKELY, (int(on_bottom[0]),))


def _odd(past: Past) -> Iterator[Link]:
    for code, said in ODD.items():
        at = past.events(code)
        if not at:
            continue
        detail = DETAIL.get(code)
        seen = detail % past.detail[at[0]] if detail else ""
        if len(at) > 1:
            seen = ("%s; " % seen if seen else "") + "%d times, the last %s" % (
                len(at), told_time(past, float(past.t[at[-1]])))
        yield _link(past, at[0], said + ".", "not in a sound dive", seen, ESTABLISHED, tuple(at[1:]))
    for name, words_of_it in (("pressure_ok", "pressure"), ("contact_ok", "wet contact"), ("leak_ok", "leak probe"),
                              ("supply_ok", "battery voltage"), ("current_ok", "battery current"),
                              ("release_ok", "release current"), ("clock_ok", "real-time clock"),
                              ("camera_temp_ok", "camera's thermometer"), ("water_temp_ok", "water's thermometer"),
                              ("housing_temp_ok", "housing's thermometer")):
        lost = past.lost(name)
        if len(lost):
            yield _link(past, int(lost[0]), "The %s could not be read." % words_of_it, "valid in every record",
                        "not valid in %d of %d records" % (len(lost), past.count), ESTABLISHED, (int(lost[-1]),))


def _restarts(past: Past) -> Iterator[Link]:
    starts = past.starts
    for one in starts[:ATTEMPTS_TOLD]:
        yield _restart(past, one)
    rest = starts[ATTEMPTS_TOLD:]
    if rest:
        yield _link(past, rest[0].at, "The controller started anew %d times more." % len(rest), "one start",
                    "until %s" % told_time(past, float(past.t[rest[-1].at])), ESTABLISHED, (rest[-1].at,))


def _restart(past: Past, one: Start) -> Link:
    cause = {0: "power came", 1: "the watchdog bit", 2: "asked for"}.get(one.cause, "unknown")
    away = "away for %s by the clock" % span(one.away_s) if one.known else (
        "nobody knows how long it was away, %s counted" % span(one.away_s))
    firing = next((attempt for attempt in past.attempts if attempt.end == release.RESET
                   and attempt.end_at == one.at), None)
    during = "" if firing is None else ", in attempt %d on the %s" % (firing.number, CHANNEL[firing.channel])
    return _link(past, one.at, "The controller started anew%s: %s." % (during, cause), "one start", away, ESTABLISHED,
                 () if one.before is None else (one.before,))


# --- release ---------------------------------------------------------------------------------------------------------


def _command(past: Past) -> Iterator[Link]:
    for row in past.rows:
        if table.ROWS[row.number][table.TO] not in (table.RELEASE, table.BACKUP):
            continue
        if row.came_from in (table.RELEASE, table.BACKUP):
            continue
        due_s = None if past.splash_s is None else past.splash_s + past.plan.times.timed_release_min * 60.0
        expected = "release due %s (timed)" % (
            "%g min after the splash" % past.plan.times.timed_release_min if due_s is None else told_time(past, due_s))
        yield _link(past, row.at, "Release commanded: %s." % _because(row.number), expected,
                    "supply %.1f V, %s" % (past.mv[row.at] / 1e3, _depth(past, row.at)))


def _attempts(past: Past) -> Iterator[Link]:
    for one in past.attempts[:ATTEMPTS_TOLD]:
        yield _attempt(past, one)
    rest = past.attempts[ATTEMPTS_TOLD:]
    if rest:
        yield _link(past, rest[0].at, "%d more attempts." % len(rest), "one attempt",
                    "until %s" % told_time(past, float(past.t[rest[-1].at])), ESTABLISHED, (rest[-1].at,))


def _attempt(past: Past, one: Attempt) -> Link:
    section = past.channel(one.channel)
    planned_ma = section.current_ma * one.drive_pct / 100.0
    seen = ["supply %.1f V before" % (past.mv[one.at] / 1e3)] if past.sign("supply_ok")[one.at] else []
    certainty = ESTABLISHED
    read = [at for at in one.driven if past.sign("current_ok")[at]]
    if read:
        ma = [past.ma[at] - past.plan.power.controller_ma for at in read]
        seen.append("%.0f mA, %.1f V" % (max(ma[0], 0.0), past.mv[read[0]] / 1e3))
        if ma[0] > SHORT_TIMES * planned_ma:
            seen.append("a short")
        elif ma[0] < OPEN_PART * planned_ma:
            seen.append("no circuit")
        elif ma[-1] < OPEN_PART * planned_ma:
            after_s = next(past.t[at] - past.t[one.at] for at, value in zip(read, ma, strict=True)
                           if value < OPEN_PART * planned_ma)
            seen.append("the current ended within %s" % span(after_s))
            certainty = LIKELY
    else:
        seen.append("no current recorded")
    if one.end is not None and one.end_at is not None:
        seen.append("%s after %s" % (words.ATTEMPT_ENDS[one.end], span(past.t[one.end_at] - past.t[one.at])))
    else:
        seen.append("no end recorded")
    drive = "" if one.drive_pct == DRIVES_PCT[0] else " at %d %% drive" % one.drive_pct
    needs = "%s in %s" % ("parts" if section.kind == "wire" else "opens", span(past.opens_s(one.channel)))
    return _link(past, one.at, "Attempt %d, %s (%s)%s." % (one.number, CHANNEL[one.channel], section.kind, drive),
                 "%.0f mA for up to %s; it %s; the supply above %.1f V" % (
                     planned_ma, span(section.fire_s), needs, past.plan.power.brownout_mv / 1e3),
                 "; ".join(seen), certainty,
                 () if one.end_at is None else (one.end_at,))


# --- up --------------------------------------------------------------------------------------------------------------


def _rise(past: Past) -> Iterator[Link]:
    for row in past.rows:
        to = table.ROWS[row.number][table.TO]
        if to == table.ASCEND:
            yield _link(past, row.at, "%s." % _because(row.number).capitalize(),
                        "a rise of %g m" % past.plan.release.rise_m if row.came_from != table.RECORD
                        else "not before a release", _depth(past, row.at))
        elif row.came_from == table.ASCEND and to in (table.RELEASE, table.BACKUP):
            yield _link(past, row.at, "The rise came to an end: %s." % _because(row.number), "not in a sound dive",
                        _depth(past, row.at))


def _surface(past: Past) -> Iterator[Link]:
    for row in past.rows:
        if row.label in ("ascend-surface", "record-afloat"):
            rise = next((other for other in reversed(past.rows) if other.at < row.at
                         and table.ROWS[other.number][table.TO] == table.ASCEND), None)
            seen = _depth(past, row.at)
            if rise is not None:
                seen += ", %s after the rise was seen" % span(past.t[row.at] - past.t[rise.at])
            expected = "%s after the rise" % span(min(ascent_s(past.plan), 1e7))
            yield _link(past, row.at, "At the surface.", expected, seen)
    beacon = np.flatnonzero(past.drive("beacon"))
    if len(beacon):
        hours = float(past.t[beacon[-1]] - past.t[beacon[0]]) / 3600.0
        yield _link(past, int(beacon[0]), "Beacon on.", "on by the surface, for %g h" % past.plan.beacon.hours,
                    "recorded for %.1f h, until the journal ends or it was put off" % hours, ESTABLISHED,
                    (int(beacon[-1]),))
        yield from _rhythms(past, beacon)
    elif past.surface_at is not None:
        yield _link(past, past.surface_at, "No beacon was recorded.", "on by the surface", "off in every record")


def _rhythms(past: Past, beacon: NDArray[np.intp]) -> Iterator[Link]:
    """Where the rhythm of the lamp changed, by the core's own choice; a record does not have it."""
    codes = past.beacon.code[beacon]
    changes = np.flatnonzero(codes[1:] != codes[:-1]) + 1
    for place in changes[:ATTEMPTS_TOLD]:
        at, then = int(beacon[place]), beacon[place:]
        same = then[past.settled[then] & past.sign("current_ok")[then] & (past.beacon.code[then] == codes[place])]
        seen = "%.0f mA where %.0f mA are planned" % (past.ma[same[0]], past.planned_ma[same[0]]) if len(same) else ""
        how = "seldom" if codes[place] == lamps.SPARSE else "fully"
        yield _link(past, at, "The beacon lamp flashed %s from here on, by the plan's night, the clock and the charge."
                    % how, "seldom by day, and where the charge does not cover the planned hours", seen, LIKELY)


# --- the journal itself ----------------------------------------------------------------------------------------------


def _gaps(past: Past) -> Iterator[Link]:
    """Where numbers are missing; a gap in time alone is told with the start after it."""
    for at in np.flatnonzero(np.diff(past.sequence) > 1)[:ATTEMPTS_TOLD]:
        at = int(at)
        yield _link(past, at + 1, "%d records are missing before this one." % (
            past.sequence[at + 1] - past.sequence[at] - 1), "every number once",
            "nothing for %s" % span(past.t[at + 1] - past.t[at]), ESTABLISHED, (at,))


def _end(past: Past) -> Iterator[Link]:
    at = past.count - 1
    yield _link(past, at, "The journal ends.", "in state surface, or safe after the recovery",
                "in state %s, supply %.1f V, %s" % (table.STATES[int(past.state[at])], past.mv[at] / 1e3,
                                                    _depth(past, at)))


def _untold(past: Past) -> Iterator[Link]:
    for sentence in past.whole.unread.sentences():
        yield Link(None, "", "Not read: %s." % sentence, "every record whole", "", OPEN, ())
    for one in UNTOLD:
        if one.kinds[:1] == ("leak",) and not (past.sign("leak_wet").any() or past.events(journal.E_LEAK)):
            continue
        yield Link(None, "", one.said, "", "", OPEN, ())


PARTS = (_arming, _splash, _bottom, _recording, _odd, _restarts, _command, _attempts, _rise, _surface, _gaps, _end)
