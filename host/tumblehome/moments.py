"""Moments in ISO 8601: as a person writes them for an option, with a zone, since a bare time may be local or UTC; and
as files have them.
"""

from datetime import UTC, datetime

EXAMPLE = "2027-05-18T06:30Z"
FIRST, LAST = datetime(2000, 1, 1, tzinfo=UTC), datetime(2100, 1, 1, tzinfo=UTC)  # what a controller's clock counts
LONGEST = 40  # letters that are shown


class MomentError(ValueError):
    """What was written is no moment; the message goes on behind the name of what it was written for."""


def iso(moment: datetime) -> str:
    """A moment that has a zone, in UTC and to the second: 2027-05-18T06:30:00Z."""
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def utc(text: str) -> datetime:
    """The moment, in UTC. Raises MomentError."""
    shown = "".join(letter if letter.isprintable() else "?" for letter in text.strip()[:LONGEST])
    try:
        moment = datetime.fromisoformat(text.strip())
    except ValueError:
        raise MomentError("%s is no moment: write it such as %s, which is UTC" % (shown, EXAMPLE)) from None
    if moment.tzinfo is None:
        raise MomentError("%s has no zone: write Z behind it if it is UTC, such as %s" % (shown, EXAMPLE))
    try:
        moment = moment.astimezone(UTC)
    except OverflowError:
        moment = FIRST.replace(year=1)
    if not FIRST <= moment < LAST:
        raise MomentError("%s is outside the years %d to %d: correct it" % (shown, FIRST.year, LAST.year - 1))
    return moment
