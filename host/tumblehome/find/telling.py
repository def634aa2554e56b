"""All that is told about one search: what the page, the message and the files for other instruments are made of.

Nothing is reckoned here but lengths and bearings along geodesics. Times are UTC; positions are on WGS 84.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from geographiclib.geodesic import Geodesic

from seatrial.handbook.sighting import METRES_PER_NM
from seatrial.workings.moments import MONTHS
from tumblehome.find.positions import written
from tumblehome.find.shapes import Area, Pattern, Position, Way

SECTOR = "sector"
NEAR_NM = 0.5  # below this a distance is told in metres, as on the deck card


@dataclass(frozen=True)
class Sight:
    """What is believed for one moment: the areas, the place to aim at, and the chance that it is afloat by then.

    `radius_m` is the distance from `likely` within which it is with nine chances in ten, if afloat; `toward_deg` (true)
    and `speed_kn` are its drift. `likely` is None where nothing is afloat yet.
    """

    at: datetime
    areas: tuple[Area, ...]
    likely: Position | None
    radius_m: float
    afloat: float
    toward_deg: float = 0.0
    speed_kn: float = 0.0


@dataclass(frozen=True)
class WayHome:
    """A way the lander may come up, how likely it is now, and when it would be up; None: never, or not known."""

    way: Way
    early: datetime | None
    likely: datetime | None
    late: datetime | None


@dataclass(frozen=True)
class Planned:
    """A pattern, when its first waypoint is to be reached, and in a few words what it is for."""

    pattern: Pattern
    begins: datetime
    why: str = ""


@dataclass(frozen=True)
class Heading:
    """Where the boat goes now: the place, when to be there, and why, in one sentence. Place None: stay where you are.

    `word` stands first where it is not simply to go there or to wait until then.
    """

    place: Position | None
    at: datetime
    sentence: str
    word: str = ""

    @property
    def title(self) -> str:
        """What is to be done, in a few words. A place has its moment: what drifts is there at no other."""
        if self.word:
            return self.word
        until = moment(self.at)
        return f"Wait until {until}" if self.place is None else f"Go to {written(self.place)} by {until}"


@dataclass(frozen=True)
class Telling:
    """A whole search. `sights` are in order of time, at least one; the first of `patterns` is the advised one.

    `boat` is None where it is not known; `bottom` where it never lands. `message` is what is read out to others;
    `reasons` are what speaks for the heading and what else to do; `tell` is whom the crew wants told. `assumed` says
    what was taken for granted, `cautions` what can hurt or mislead.
    """

    name: str
    now: datetime
    splash: Position
    splash_utc: datetime
    bottom: Position | None
    boat: Position | None
    heading: Heading
    ways: tuple[WayHome, ...]
    sights: tuple[Sight, ...]
    patterns: tuple[Planned, ...]
    message: str
    reasons: tuple[str, ...] = ()
    tell: tuple[str, ...] = ()
    assumed: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True)
class Stop:
    """A waypoint as it is steered: its number from 1, when it is reached, and the leg that leads on from it, if any."""

    number: int
    place: Position
    at: datetime
    course_deg: float | None
    leg_m: float | None


def sight_at(told: Telling, at: datetime) -> Sight:
    """What is believed for the moment nearest to that one."""
    return min(told.sights, key=lambda sight: abs(sight.at - at))


def line(start: Position, end: Position) -> tuple[float, float]:
    """True bearing at the start, 0 up to 360, and length in metres of the geodesic (WGS 84)."""
    found = Geodesic.WGS84.Inverse(start.latitude_deg, start.longitude_deg, end.latitude_deg, end.longitude_deg)
    return found["azi1"] % 360.0, found["s12"]


def stops(planned: Planned) -> Iterator[Stop]:
    """The waypoints of a pattern with times at its speed, and the course and length of every leg."""
    pattern, run_m = planned.pattern, 0.0
    metres_a_second = pattern.speed_kn * METRES_PER_NM / 3600
    for number, place in enumerate(pattern.waypoints, 1):
        at = planned.begins + timedelta(seconds=round(run_m / metres_a_second))
        if number == len(pattern.waypoints):
            yield Stop(number, place, at, None, None)
            return
        course_deg, leg_m = line(place, pattern.waypoints[number])
        yield Stop(number, place, at, course_deg, leg_m)
        run_m += leg_m


def ends(planned: Planned) -> datetime:
    """When the last waypoint is reached."""
    return planned.begins + timedelta(hours=planned.pattern.hours)


def distance(metres: float) -> str:
    """A distance as it is said on board: miles, and metres when it is near."""
    miles = metres / METRES_PER_NM
    if miles >= NEAR_NM:
        return "%.1f NM" % miles
    return "%d m" % (max(1, round(metres / 10)) * 10)


def apart(pattern: Pattern) -> str:
    """What the spacing of a pattern is: its tracks lie so far apart, or its legs are so long."""
    words = "legs of %s" if pattern.kind == SECTOR else "tracks %s apart"
    return words % distance(pattern.spacing_m)


def square_km(area_km2: float) -> str:
    """The size of an area, to three figures."""
    return "%.3g km²" % area_km2 if area_km2 < 1000 else "%.0f km²" % round(area_km2, -1)


def bearing(degrees: float) -> str:
    """A true bearing in three figures, 000 to 359."""
    return "%03d°" % (round(degrees) % 360)


def moment(at: datetime) -> str:
    """A moment without its year: "18 May 11:30Z"."""
    return "%d %s %s" % (at.day, MONTHS[at.month - 1], at.strftime("%H:%MZ"))


def lasting(hours: float) -> str:
    """How long something takes, to the minute: "3 h 14 min"."""
    minutes = round(60 * hours)
    return "%d h %02d min" % divmod(minutes, 60) if minutes >= 60 else "%d min" % minutes


def percent(share: float) -> str:
    """A probability in whole per cent, and never "0" or "100" for what is neither."""
    if 0 < share < 0.005:
        return "under 1 %"
    if 0.995 <= share < 1:
        return "over 99 %"
    return "%.0f %%" % (100 * share)
