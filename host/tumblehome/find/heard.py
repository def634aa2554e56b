"""What the lander has reported, as the log of `tumblehome find --listen` keeps it, turned into what is known of it."""

from datetime import datetime, timedelta
from pathlib import Path

from lander import report
from seatrial.workings.release_paths import LATEST, TIMED
from tumblehome.find.known import Heard
from tumblehome.find.listening import Report, reports_in
from tumblehome.find.mistakes import FindError, told
from tumblehome.find.ways import EARLY

# The way that a report tells of. What it names less exactly (the backup may have been a later attempt) tells no way.
WAY_OF = {report.TIMED: TIMED, report.LATEST: LATEST, report.LOW: EARLY, report.LEAK: EARLY}

SPENT_H = 1  # a lander that calls with its charge spent by its own count, calls again within the hour


def heard_in(log: Path, splash: datetime, now: datetime, lander: str | None = None) -> tuple[Heard, ...]:
    """What the reports of one lander since the splash tell, up to now.

    Raises FindError where the log cannot be read, is of several landers and none was named, or tells nothing.
    """
    heard = [(at, one) for at, one in reports_in(log) if lander is None or one.lander == lander.upper()]
    landers = sorted({one.lander for _at, one in heard})
    if len(landers) > 1:
        raise FindError(["%s has reports of %s: name yours by --lander" % (log, " and ".join(landers))])
    since = [(at, one) for at, one in heard if splash <= at <= now]
    if not since:
        whose = "" if lander is None else " of lander %s" % lander
        raise FindError(["%s has no report%s between the splash at %s and %s: give another log, or by --at a"
                         " later moment, or leave it out" % (log, whose, told(splash), told(now))])
    return tuple(_known(at, one, splash) for at, one in since)


def _known(at: datetime, one: Report, splash: datetime) -> Heard:
    fixed_at = _fixed_at(at, one)
    is_of_this_dive = splash <= fixed_at
    way, silent = WAY_OF.get(one.path), at + timedelta(hours=max(SPENT_H, one.silent_h))
    if one.position is None or not is_of_this_dive:
        return Heard(at, way, silent_at=silent)
    return Heard(at, way, one.position, fixed_at=fixed_at, silent_at=silent)


def _fixed_at(at: datetime, one: Report) -> datetime:
    """When the fix was taken: by the lander's clock where that is sure, which a modem may have kept waiting; else, and
    where the boat's clock is behind it, so long before it was heard as the lander counted."""
    if one.fixed_at is not None and one.is_time_sure and one.fixed_at <= at:
        return one.fixed_at
    return at - timedelta(seconds=one.age_s)

