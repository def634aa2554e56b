"""Moments of a plan: so long after the splash, in UTC and by the clock on board."""

from datetime import UTC, datetime, timedelta

from seatrial.plan import Plan

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def moment_of(plan: Plan, after_splash_s: float) -> datetime:
    """The moment so long after the splash, in UTC to the second."""
    return plan.dive.splash_utc + timedelta(seconds=round(after_splash_s))


def minute_before(moment: datetime) -> datetime:
    """The whole minute at or before a moment: nothing is told to come later than it may."""
    return moment.replace(second=0, microsecond=0)


def minute_after(moment: datetime) -> datetime:
    """The whole minute at or after a moment: nothing is told to be over before it is."""
    return minute_before(moment + timedelta(seconds=59))


def nearest_minute(moment: datetime) -> datetime:
    """The whole minute nearest to a moment."""
    return minute_before(moment + timedelta(seconds=30))


def local(plan: Plan, moment: datetime) -> datetime:
    """The same moment as the clock on board shows it: `dive.utc_offset_h` ahead of UTC, without a zone."""
    return moment.astimezone(UTC).replace(tzinfo=None) + timedelta(hours=plan.dive.utc_offset_h)


def said(plan: Plan, moment: datetime) -> str:
    """A moment in a sentence: UTC, and local time where that is another."""
    return f"{moment:%Y-%m-%d %H:%M}Z{_on_board(plan, moment, 'local')}"


def briefly(plan: Plan, moment: datetime) -> str:
    """The same for the card, where room is scarce: "18 May 11:30Z (09:30)"; the year only where it is another."""
    year = "" if moment.year == plan.dive.splash_utc.year else f" {moment.year}"
    return f"{moment.day} {MONTHS[moment.month - 1]}{year} {moment:%H:%M}Z{_on_board(plan, moment, '')}"


def _on_board(plan: Plan, moment: datetime, word: str) -> str:
    if not plan.dive.utc_offset_h:
        return ""
    clock = on_board(plan, moment)
    return f" ({clock} {word})" if word else f" ({clock})"


def on_board(plan: Plan, moment: datetime) -> str:
    """The clock on board: "09:30", with its day where that is another than the day of UTC: "19 May 00:30"."""
    there = local(plan, moment)
    day = "" if there.date() == moment.date() else f"{there.day} {MONTHS[there.month - 1]} "
    return f"{day}{there:%H:%M}"


def zone(plan: Plan) -> str:
    """What local time is: "UTC-2", "UTC+5:30" or "UTC"."""
    minutes = round(60 * plan.dive.utc_offset_h)
    if not minutes:
        return "UTC"
    hours, rest = divmod(abs(minutes), 60)
    return f"UTC{'+' if minutes > 0 else '-'}{hours}" + (f":{rest:02d}" if rest else "")
