"""The light over a dive: its bands, and whether and when a moment has the light that the plan wishes for."""

import math
from dataclasses import dataclass
from datetime import datetime, timedelta

from seatrial.handbook import sun
from seatrial.plan import Plan

# Darkness begins where civil twilight ends: until then a lamp is hard to see, and after it a dark float is.
LIGHTS_OF = {
    "daylight": (sun.DAYLIGHT,),
    "darkness": (sun.NAUTICAL_TWILIGHT, sun.NIGHT),
    "any": (sun.DAYLIGHT, sun.CIVIL_TWILIGHT, sun.NAUTICAL_TWILIGHT, sun.NIGHT),
}
LOOKED_AROUND = timedelta(hours=36)  # the light that is wished for comes back within a day, or not for weeks


@dataclass(frozen=True)
class Band:
    """A span of one light, in UTC; `light` is a name of `seatrial.handbook.sun`."""

    begin: datetime
    end: datetime
    light: str


def light_at(plan: Plan, moment: datetime) -> str:
    """The light at the site, by its name in `seatrial.handbook.sun`."""
    return sun.light_at(plan.site.latitude_deg, plan.site.longitude_deg, moment)


def is_wanted(plan: Plan, moment: datetime) -> bool:
    """Whether the lander may surface then by `dive.surface_in`."""
    return light_at(plan, moment) in LIGHTS_OF[plan.dive.surface_in]


def bands(plan: Plan, begin: datetime, end: datetime) -> list[Band]:
    """The lights from one moment to another, in order and without a gap."""
    changes = [event.moment for event in sun.events_between(
        plan.site.latitude_deg, plan.site.longitude_deg, begin + timedelta(seconds=1), end)]
    edges = [begin, *changes, end]
    return [Band(start, stop, light_at(plan, start)) for start, stop in zip(edges, edges[1:], strict=False)]


def changes_around(plan: Plan, moment: datetime) -> tuple[sun.SunEvent | None, sun.SunEvent | None]:
    """The last change of the light up to a moment and the first after it that end or begin the light wished for."""
    names = ("sunrise", "sunset") if plan.dive.surface_in != "darkness" else ("civil dawn", "civil dusk")
    events = [event for event in sun.events_between(
        plan.site.latitude_deg, plan.site.longitude_deg, moment - LOOKED_AROUND, moment + LOOKED_AROUND)
        if event.name in names]
    before = [event for event in events if event.moment <= moment]
    after = [event for event in events if event.moment > moment]
    return before[-1] if before else None, after[0] if after else None


def moves_min(plan: Plan, first: datetime, last: datetime) -> tuple[int | None, int | None]:
    """How far everything from `first` to `last` must move to lie in the light wished for, whole minutes.

    Minutes earlier (negative) and minutes later, each the smallest that does; None where there is none within
    `LOOKED_AROUND`.
    """
    earlier, later = [], []
    for begin, end in _spells(plan, first - LOOKED_AROUND, last + LOOKED_AROUND):
        latest_move = math.ceil((end - last).total_seconds() / 60) - 1  # `end` itself has the next light
        earliest_move = math.ceil((begin - first).total_seconds() / 60)
        if latest_move < earliest_move:
            continue
        if latest_move < 0:
            earlier.append(latest_move)
        elif earliest_move > 0:
            later.append(earliest_move)
    return max(earlier, default=None), min(later, default=None)


def _spells(plan: Plan, begin: datetime, end: datetime) -> list[tuple[datetime, datetime]]:
    """The spans of the light wished for; twilight and night that follow each other are one span."""
    spells: list[tuple[datetime, datetime]] = []
    for band in bands(plan, begin, end):
        if band.light not in LIGHTS_OF[plan.dive.surface_in]:
            continue
        if spells and spells[-1][1] == band.begin:
            spells[-1] = (spells[-1][0], band.end)
        else:
            spells.append((band.begin, band.end))
    return spells
