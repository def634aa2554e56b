"""One record of a journal in words."""

from collections.abc import Mapping
from datetime import datetime

from lander import journal as records
from lander import table, words
from seatrial.story import reason_of
from tumblehome.wording import elapsed, to_the_second


def state_of(fields: Mapping[str, int]) -> str:
    """The mission state after this record."""
    return _named(table.STATES, fields["state"])


def what(fields: Mapping[str, int]) -> str:
    """What a record tells beyond its readings, in words; empty for a mere reading.

    A number that this version has no word for, since another firmware wrote it, is told as the number.
    """
    kind, code, detail = fields["kind"], fields["code"], fields["detail"]
    if kind == records.BOOT:
        away = "for an unknown time" if detail < 0 else "for %.1f s" % (detail / 10)
        return "controller started (%s), was away %s" % (_named(RESET_CAUSES, code), away)
    if kind == records.ROW:
        return _row(code)
    if kind == records.ATTEMPT:
        return "attempt %d: %s release driven at %d %%" % (fields["attempts"], _named(words.CHANNELS, code), detail)
    if kind == records.ATTEMPT_END:
        return "%s release off: %s" % (_named(words.CHANNELS, code), _named(words.ATTEMPT_ENDS, detail))
    if kind == records.EVENT:
        return _event(code, detail)
    return ""


RESET_CAUSES = ("power came", "watchdog", "asked for")


def _row(number: int) -> str:
    if number >= len(table.ROWS):
        return "row %d" % number
    row = table.ROWS[number]
    return "%s to %s: %s" % (table.STATES[row[table.FROM]], table.STATES[row[table.TO]], table.because(number))


def _event(code: int, detail: int) -> str:
    said = words.EVENTS.get(code, "event %d" % code)
    try:
        reason = reason_of(code, detail)
    except (KeyError, IndexError):
        reason = "reason %d" % detail
    return "%s: %s" % (said, reason) if reason else said


def _named(names, number: int) -> str:
    try:
        return names[number]
    except (KeyError, IndexError):
        return "number %d" % number


def moment(utc: datetime | None, since_splash_s: float | None, mission_s: float | None = None) -> str:
    """A time for a person, to the second: UTC where it is known, else after the splash, else of the journal's own
    count."""
    if utc is not None:
        return "%s UTC" % to_the_second(utc)
    if since_splash_s is not None:
        return "%s %s the splash" % (elapsed(abs(since_splash_s)), "after" if since_splash_s > -0.5 else "before")
    return "unknown time" if mission_s is None else "mission time %s" % elapsed(mission_s)
