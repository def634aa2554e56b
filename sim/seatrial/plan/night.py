"""When it is night for the beacon lamp: from before sunset to after sunrise, on every day on which it may call."""

from datetime import datetime, timedelta
from functools import lru_cache
from typing import TYPE_CHECKING

from seatrial.handbook import sun

if TYPE_CHECKING:
    from seatrial.plan.whole import Plan

DAY_MIN = 24 * 60
ROOM_MIN = 15  # drift, a clock that is off, and cloud: the lamp has its full rhythm so much longer on both sides
ALWAYS = (0, 0)
HARDLY = (0, 1)  # the shortest night that can be ordered, where there is none
HIGH_DEG = 3.75  # as high as the sun stands `ROOM_MIN` before it sets, at the most
LOOKS = 96  # at the sun in a day


def night_min(plan: "Plan") -> tuple[int, int]:
    """Minutes of the UTC day from which and up to which the beacon lamp has its full rhythm, each 0 to 1439.

    One night for all days from the splash until the beacon hours are over after the latest release and the slowest
    ascent: the earliest sunset and the latest sunrise of them, and `ROOM_MIN` more on both sides. `HARDLY` where the
    sun stays high on all of these days. `ALWAYS`, which is equal numbers, where else on any of them it does not rise or
    set, or no day is left between them.
    """
    times = plan.times
    last = plan.dive.splash_utc + timedelta(
        minutes=times.latest_release_min + times.slowest_ascent_min + times.surface_margin_min,
        hours=plan.beacon.hours)
    return _night_min(plan.site.latitude_deg, plan.site.longitude_deg, plan.dive.splash_utc, last)


@lru_cache(maxsize=64)
def _night_min(latitude_deg: float, longitude_deg: float, first: datetime, last: datetime) -> tuple[int, int]:
    days = (last - first).days + 1
    events = sun.events_between(latitude_deg, longitude_deg, first, first + timedelta(days=days))
    sets = [event.moment for event in events if event.name == "sunset"]
    rises = [event.moment for event in events if event.name == "sunrise"]
    if not sets and not rises and _stays_high(latitude_deg, longitude_deg, first, first + timedelta(days=days)):
        return HARDLY
    if min(len(sets), len(rises)) < days:
        return ALWAYS
    from_min = min(_about(sets)) - ROOM_MIN
    night_lasts_min = (max(_about(rises)) + 1 + ROOM_MIN - from_min) % DAY_MIN
    longest_min = max((rise - dusk) % timedelta(days=1) for dusk in sets for rise in rises).total_seconds() / 60
    if night_lasts_min < longest_min:
        return ALWAYS
    return from_min % DAY_MIN, (from_min + night_lasts_min) % DAY_MIN


def _stays_high(latitude_deg: float, longitude_deg: float, first: datetime, last: datetime) -> bool:
    """Whether the midnight sun stands high throughout: it is lowest in the first of the days, or in the last."""
    looks = [timedelta(days=number / LOOKS) for number in range(LOOKS)]
    return all(sun.sun_elevation_deg(latitude_deg, longitude_deg, moment) >= HIGH_DEG
               for look in looks for moment in (first + look, last - look))


def _about(moments: list[datetime]) -> list[int]:
    """Minutes of the day, unbroken across midnight: each within half a day of the first."""
    first = _minute(moments[0])
    return [first + (_minute(moment) - first + DAY_MIN // 2) % DAY_MIN - DAY_MIN // 2 for moment in moments]


def _minute(moment: datetime) -> int:
    return 60 * moment.hour + moment.minute
