"""Where the sun stands: daylight and the twilights at sea, found for any place and any date.

The position of the sun is `astral`'s (the equations of the NOAA solar calculator). The events are found here from
the height itself, by scan and bisection, because a table of one day's events leaves out or repeats events where the
day of UTC cuts the day of the place in two, and where the sun only grazes a height.

Times go in and come out as aware datetimes, the latter in UTC and to a whole second. The equations hold to a quarter
of a minute in middle latitudes; the day's refraction at the horizon moves the real sunrise more than that.
North of 89.8 degrees, and south of it, the sun is taken from the circle of 89.8 degrees: astral does not go nearer.
"""

from datetime import UTC, date, datetime, timedelta
from math import exp, radians, sin
from typing import NamedTuple

from astral import Observer
from astral.sun import elevation
from astral.sun import noon as meridian_passage

# Height of the sun's centre, without refraction, where each light begins and ends; civil and nautical twilight as in
# Bowditch, The American Practical Navigator, and the almanacs. -0.833: 34' of refraction and 16' of half the sun.
HORIZON_DEG = -0.833
CIVIL_DEG = -6.0
NAUTICAL_DEG = -12.0

DAYLIGHT = "daylight"
CIVIL_TWILIGHT = "civil twilight"
NAUTICAL_TWILIGHT = "nautical twilight"
NIGHT = "night"

_EVENTS = (  # height     going up         going down
    (HORIZON_DEG, "sunrise", "sunset"),
    (CIVIL_DEG, "civil dawn", "civil dusk"),
    (NAUTICAL_DEG, "nautical dawn", "nautical dusk"),
)
_LIGHTS = ((HORIZON_DEG, DAYLIGHT), (CIVIL_DEG, CIVIL_TWILIGHT), (NAUTICAL_DEG, NAUTICAL_TWILIGHT))

_DAY_S = 86400
_SCAN_S = 900


class SunEvent(NamedTuple):
    """A change of the light: the first whole second of the new one, and what the change is called."""

    moment: datetime
    name: str


class SunDay(NamedTuple):
    """The sun through one day of UTC, 00:00 to 24:00. None: it does not happen in that day.

    The order is that of a day at longitude 0. In the far west and east sunset comes before sunrise in a day of UTC,
    and now and then an event falls just outside the day on both sides; `events_between` has no such seam.
    """

    nautical_dawn: datetime | None
    civil_dawn: datetime | None
    sunrise: datetime | None
    noon: datetime | None
    sunset: datetime | None
    civil_dusk: datetime | None
    nautical_dusk: datetime | None
    polar_day: bool  # the sun is up all day
    polar_night: bool  # the sun is down all day


def sun_elevation_deg(latitude_deg: float, longitude_deg: float, moment: datetime) -> float:
    """Height of the sun's centre over the horizon in degrees, without refraction, at the second of `moment`.

    Raises ValueError for a place off the globe or a moment without its time zone.
    """
    return _height_deg(_place(latitude_deg, longitude_deg), _utc_second(moment))


def light_at(latitude_deg: float, longitude_deg: float, moment: datetime) -> str:
    """`DAYLIGHT`, `CIVIL_TWILIGHT`, `NAUTICAL_TWILIGHT` or `NIGHT`, by the height of the sun.

    Night begins where nautical twilight ends, 12 degrees down: the horizon at sea is gone by then, and a small dark
    object with it. Raises ValueError for a place off the globe or a moment without its time zone.
    """
    height_deg = sun_elevation_deg(latitude_deg, longitude_deg, moment)
    return next((light for limit_deg, light in _LIGHTS if height_deg >= limit_deg), NIGHT)


def events_between(latitude_deg: float, longitude_deg: float, start: datetime, end: datetime) -> list[SunEvent]:
    """Every change of the light from `start` up to but not including `end`, in order.

    An empty list is a full answer: the light does not change (60 N at midsummer has no nautical dusk).
    Raises ValueError for a place off the globe, a moment without its time zone, or an end before the start.
    """
    place = _place(latitude_deg, longitude_deg)
    first, last = _utc_second(start), _utc_second(end)
    if last < first:
        raise ValueError("the end, %s, is before the start, %s" % (last.isoformat(), first.isoformat()))

    # The second before `start` belongs to the scan: a change in the very second of `start` is a change from there.
    nodes = _monotone_nodes(place, first - timedelta(seconds=1), last - timedelta(seconds=1))
    found = []
    for (before, low_deg), (after, high_deg) in zip(nodes, nodes[1:], strict=False):
        for limit_deg, upward, downward in _EVENTS:
            was_up, is_up = low_deg >= limit_deg, high_deg >= limit_deg
            if was_up != is_up:
                found.append(SunEvent(_crossing(place, limit_deg, before, after), upward if is_up else downward))
    return sorted(found)


def sun_day(latitude_deg: float, longitude_deg: float, day: date) -> SunDay:
    """The sun's events in the day of UTC `day`; what the sun does not do that day is None, never an error.

    Where an event falls twice in the day, at its very beginning and its very end, the first is given.
    Raises ValueError for a place off the globe.
    """
    place = _place(latitude_deg, longitude_deg)
    start = datetime(day.year, day.month, day.day, tzinfo=UTC)
    end = start + timedelta(days=1)
    first: dict[str, datetime] = {}
    for event in events_between(latitude_deg, longitude_deg, start, end):
        first.setdefault(event.name, event.moment)

    never_crosses = "sunrise" not in first and "sunset" not in first
    is_up = _height_deg(place, start) >= HORIZON_DEG
    return SunDay(
        nautical_dawn=first.get("nautical dawn"),
        civil_dawn=first.get("civil dawn"),
        sunrise=first.get("sunrise"),
        noon=_noon(place, start, end),
        sunset=first.get("sunset"),
        civil_dusk=first.get("civil dusk"),
        nautical_dusk=first.get("nautical dusk"),
        polar_day=never_crosses and is_up,
        polar_night=never_crosses and not is_up,
    )


def clear_sky_w_m2(elevation_deg: float) -> float:
    """Sun and sky on a level surface under a clear sky, W/m2, by the height of the sun in degrees; 0 when it is down.

    1098 sin(h) exp(-0.059 / sin(h)): B. Haurwitz, Insolation in relation to cloudiness and cloud density, Journal of
    Meteorology 2, 1945; the constants as read in pvlib 0.16.1. From memory: 0.057 is also
    printed (0.2 % more at noon), and with neither haze nor season in it the formula is good to about a tenth.
    Raises ValueError for a height beyond -90 to 90.
    """
    if not -90.0 <= elevation_deg <= 90.0:
        raise ValueError("the height of the sun is %s degrees; it must be within -90 to 90" % elevation_deg)
    if elevation_deg <= 0.0:
        return 0.0
    sine = sin(radians(elevation_deg))
    return 1098.0 * sine * exp(-0.059 / sine)


def _place(latitude_deg: float, longitude_deg: float) -> Observer:
    if not -90.0 <= latitude_deg <= 90.0:
        raise ValueError("the latitude is %s degrees; it must be within -90 to 90, north positive" % latitude_deg)
    if not -180.0 <= longitude_deg <= 360.0:
        raise ValueError("the longitude is %s degrees; it must be within -180 to 360, east positive" % longitude_deg)
    # astral silently cuts a longitude above 180 back to 180
    return Observer(latitude_deg, longitude_deg - 360.0 if longitude_deg > 180.0 else longitude_deg)


def _height_deg(place: Observer, moment: datetime) -> float:
    return elevation(place, moment, with_refraction=False)


def _utc_second(moment: datetime) -> datetime:
    if moment.tzinfo is None or moment.utcoffset() is None:
        raise ValueError("the moment %s has no time zone; give it in UTC, such as %sZ" % (moment, moment.isoformat()))
    return moment.astimezone(UTC).replace(microsecond=0)


def _monotone_nodes(
    place: Observer, start: datetime, end: datetime
) -> list[tuple[datetime, float]]:
    """(moment, height) from `start` to `end`, so dense that the sun only rises or only sinks between two of them.

    The scan alone would miss a sun that passes a height and turns back between two steps; the turning points,
    one near noon and one near midnight, are therefore nodes too.
    """
    step = timedelta(seconds=_SCAN_S)
    scan = [start - step]  # one step more on both sides: a turn shows by its neighbours
    while scan[-1] < end + step:
        scan.append(scan[-1] + step)
    heights = [_height_deg(place, moment) for moment in scan]

    nodes = {start, end, *(moment for moment in scan if start < moment < end)}
    for i in range(1, len(scan) - 1):
        before, here, after = heights[i - 1 : i + 2]
        if here < max(before, after) and here > min(before, after):
            continue
        turn = _turning_point(place, scan[i - 1], scan[i + 1], upward=here >= before)
        if start < turn < end:
            nodes.add(turn)
    return [(moment, _height_deg(place, moment)) for moment in sorted(nodes)]


def _turning_point(
    place: Observer, start: datetime, end: datetime, upward: bool
) -> datetime:
    """The second between two moments at which the sun stops rising (`upward`) or stops sinking."""
    low_s, high_s = 0, int((end - start).total_seconds())
    while low_s < high_s:
        middle_s = (low_s + high_s) // 2
        here, next_second = (_height_deg(place, start + timedelta(seconds=s)) for s in (middle_s, middle_s + 1))
        if (here < next_second) == upward:
            low_s = middle_s + 1
        else:
            high_s = middle_s
    return start + timedelta(seconds=low_s)


def _crossing(
    place: Observer, limit_deg: float, before: datetime, after: datetime
) -> datetime:
    """The first second on the other side of the height, between two moments on either side of it."""
    was_up = _height_deg(place, before) >= limit_deg
    low_s, high_s = 0, int((after - before).total_seconds())
    while high_s - low_s > 1:
        middle_s = (low_s + high_s) // 2
        if (_height_deg(place, before + timedelta(seconds=middle_s)) >= limit_deg) == was_up:
            low_s = middle_s
        else:
            high_s = middle_s
    return before + timedelta(seconds=high_s)


def _noon(place: Observer, start: datetime, end: datetime) -> datetime | None:
    """The sun's passage of the meridian within a day; None where the passages fall just outside it, near 180 E."""
    passages = (meridian_passage(place, start.date() + timedelta(days=days)) for days in (-1, 0, 1))
    return next((passage for passage in passages if start <= passage < end), None)
