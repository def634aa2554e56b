"""How wind moves what floats, and where on the globe that leads.

Leeway is the motion of a floating body through the water around it, downwind. The wind also drives the top of the
water itself (Ekman). A rule of 3 % of the wind for surface drift holds that current and the waves' drift already:
the two are two answers to one question, a factor of two apart, and are never added here.

Wind is named by where it comes FROM, as in meteorology; drift and current by where they go. East and north positive.
"""

from math import atan2, cos, degrees, hypot, isfinite, radians, sin, sqrt
from typing import NamedTuple

from geographiclib.geodesic import Geodesic

from seatrial.handbook.arguments import finite

FRACTION_MAX = 0.2  # more than any floating body; a fraction above it is a percentage by mistake
EKMAN_FACTOR = 0.0127  # Ekman 1905; Pond and Pickard, Introductory Dynamical Oceanography
EKMAN_TURN_DEG = 45.0  # the same: to the right of the wind in the north, to the left in the south
EKMAN_LATITUDE_MIN_DEG = 10.0  # nearer the equator the law fails; Pond and Pickard, from memory
SURFACE_DRIFT_FRACTION = 0.03  # of the wind, the rule used for oil on the surface (3 to 3.5 %); from memory


class Leeway(NamedTuple):
    """A straight line through measured drifts, downwind: slope and offset, and the scatter about it."""

    slope_pct: float  # of the wind's speed at 10 m
    offset_cm_s: float
    scatter_cm_s: float | None  # standard deviation; None where the table gives none


# Allen and Plourde, Review of Leeway, USCG R&D Center, 1999, and Allen, Leeway Divergence, 2005, as they stand in
# OpenDrift's OBJECTPROP.DAT of 2011-08-25. A small low lander is none of these; together they span it: 1 to 3 %.
LEEWAY = {
    "person in the water": Leeway(0.96, 0.0, 12.0),
    "oil drum": Leeway(0.75, 2.66, 2.83),
    "bait box, light": Leeway(2.53, 9.01, 3.05),
    "bait box, full": Leeway(1.15, 7.94, None),
    "submarine EPIRB": Leeway(0.4, -1.8, 6.0),
    "drogued marker": Leeway(0.0, 0.0, None),
    "life raft without ballast": Leeway(3.70, 0.0, 12.0),
}


class WindDriftBounds(NamedTuple):
    """What the wind can do to a small low body at the surface: speeds, and the sector it can set toward."""

    least_m_s: float
    most_m_s: float
    downwind_deg: float
    toward_from_deg: float  # the sector, clockwise from here ...
    toward_to_deg: float  # ... to here
    ekman_m_s: float | None  # the wind's own current; None near the equator, where the law fails


class Line(NamedTuple):
    """The shortest line between two positions on the ellipsoid."""

    bearing_deg: float  # true, at the beginning, 0 to 360
    distance_m: float
    end_bearing_deg: float  # true, on arrival: the line turns on its way


def leeway_m_s(body: str, wind_speed_m_s: float) -> float:
    """Downwind drift of a body of the table `LEEWAY`; 0 in a calm and where the line falls below 0.

    The offset belongs to a line fitted in wind of some strength: in the lightest airs it says little.
    Raises ValueError for a body that is not in the table or a negative wind.
    """
    _wind_speed(wind_speed_m_s)
    if body not in LEEWAY:
        raise ValueError("no leeway is known of '%s'; known are %s" % (body, ", ".join(LEEWAY)))
    if wind_speed_m_s == 0.0:
        return 0.0
    row = LEEWAY[body]
    return max(0.0, 0.01 * (row.slope_pct * wind_speed_m_s + row.offset_cm_s))


def drift_m_s(wind_speed_m_s: float, wind_from_deg: float, fraction: float) -> tuple[float, float]:
    """Drift straight downwind at a fraction of the wind's speed, (east, north) in m/s through the water around.

    Raises ValueError for a negative wind, a direction that is not a number, or a fraction beyond 0 to 0.2.
    """
    _wind_speed(wind_speed_m_s)
    finite(wind_from_deg=wind_from_deg)
    _fraction("fraction", fraction)
    return _toward(fraction * wind_speed_m_s, wind_from_deg + 180.0)


def ekman_surface_m_s(wind_speed_m_s: float, wind_from_deg: float, latitude_deg: float) -> tuple[float, float]:
    """The current that a steady wind drives at the very surface, (east, north) in m/s.

    0.0127 U / sqrt(sin latitude), 45 degrees to the right of the wind in the north and to the left in the south:
    Ekman 1905; Pond and Pickard. It takes about half a day of steady wind to grow. Do not add it to a drift of 3 %,
    which holds it, nor to a measured current. Raises ValueError nearer the equator than 10 degrees, where the law
    grows without bound, and for a negative wind.
    """
    _wind_speed(wind_speed_m_s)
    finite(wind_from_deg=wind_from_deg)
    _latitude(latitude_deg)
    if abs(latitude_deg) < EKMAN_LATITUDE_MIN_DEG:
        raise ValueError(
            "the latitude is %s degrees; Ekman's law for the wind's current holds from %g degrees to the pole only"
            % (latitude_deg, EKMAN_LATITUDE_MIN_DEG)
        )
    turn_deg = EKMAN_TURN_DEG if latitude_deg > 0.0 else -EKMAN_TURN_DEG
    speed_m_s = EKMAN_FACTOR * wind_speed_m_s / sqrt(sin(radians(abs(latitude_deg))))
    return _toward(speed_m_s, wind_from_deg + 180.0 + turn_deg)


def wind_drift_bounds(
    wind_speed_m_s: float,
    wind_from_deg: float,
    latitude_deg: float,
    low_fraction: float = 0.01,
    high_fraction: float = SURFACE_DRIFT_FRACTION,
) -> WindDriftBounds:
    """Bounds of the drift that wind can cause: from straight downwind to Ekman's 45 degrees off it.

    The speeds run from the least to the greatest of the two fractions and Ekman's current, never their sum. Within
    10 degrees of the equator Ekman says nothing: the fractions alone bound the speed and the sector lies 45 degrees
    on both sides. Raises ValueError for a negative wind, a latitude beyond the poles, or fractions out of order or
    beyond 0 to 0.2.
    """
    _wind_speed(wind_speed_m_s)
    finite(wind_from_deg=wind_from_deg)
    _latitude(latitude_deg)
    _fraction("low_fraction", low_fraction)
    _fraction("high_fraction", high_fraction)
    if low_fraction > high_fraction:
        raise ValueError("low_fraction, %g, is above high_fraction, %g" % (low_fraction, high_fraction))

    speeds = [low_fraction * wind_speed_m_s, high_fraction * wind_speed_m_s]
    ekman_m_s = None
    if abs(latitude_deg) >= EKMAN_LATITUDE_MIN_DEG:
        ekman_m_s = hypot(*ekman_surface_m_s(wind_speed_m_s, wind_from_deg, latitude_deg))
        speeds.append(ekman_m_s)
    downwind_deg = (wind_from_deg + 180.0) % 360.0
    left_deg = 0.0 if latitude_deg >= EKMAN_LATITUDE_MIN_DEG else EKMAN_TURN_DEG
    right_deg = 0.0 if latitude_deg <= -EKMAN_LATITUDE_MIN_DEG else EKMAN_TURN_DEG
    return WindDriftBounds(
        min(speeds), max(speeds), downwind_deg,
        (downwind_deg - left_deg) % 360.0, (downwind_deg + right_deg) % 360.0, ekman_m_s,
    )


def moved(latitude_deg: float, longitude_deg: float, east_m: float, north_m: float) -> tuple[float, float]:
    """The position this far east and north along one straight line, (latitude, longitude) in degrees on WGS 84.

    The line starts in the direction of (east, north) and is the shortest one on the ellipsoid. Longitude comes out
    within -180 to 180. Raises ValueError for a place off the globe or a distance that is not a number.
    """
    finite(east_m=east_m)
    finite(north_m=north_m)
    return destination(latitude_deg, longitude_deg, degrees(atan2(east_m, north_m)), hypot(east_m, north_m))


def destination(
    latitude_deg: float, longitude_deg: float, bearing_deg: float, distance_m: float
) -> tuple[float, float]:
    """The position at this true bearing and distance, (latitude, longitude) in degrees on WGS 84.

    Raises ValueError for a place off the globe or a bearing or distance that is not a number.
    """
    _position(latitude_deg, longitude_deg)
    finite(bearing_deg=bearing_deg)
    finite(distance_m=distance_m)
    end = Geodesic.WGS84.Direct(latitude_deg, longitude_deg, bearing_deg, distance_m)
    return end["lat2"], end["lon2"]


def bearing_distance(
    latitude_deg: float, longitude_deg: float, other_latitude_deg: float, other_longitude_deg: float
) -> Line:
    """The shortest line from one position to another on WGS 84 (Karney, Algorithms for geodesics, 2013).

    Raises ValueError for a place off the globe.
    """
    _position(latitude_deg, longitude_deg)
    _position(other_latitude_deg, other_longitude_deg)
    line = Geodesic.WGS84.Inverse(latitude_deg, longitude_deg, other_latitude_deg, other_longitude_deg)
    return Line(line["azi1"] % 360.0, line["s12"], line["azi2"] % 360.0)


def _toward(speed_m_s: float, heading_deg: float) -> tuple[float, float]:
    heading = radians(heading_deg)
    return speed_m_s * sin(heading), speed_m_s * cos(heading)


def _wind_speed(wind_speed_m_s: float) -> None:
    if not (isfinite(wind_speed_m_s) and wind_speed_m_s >= 0.0):
        raise ValueError("wind_speed_m_s is %s; it must be 0 or more" % wind_speed_m_s)


def _fraction(name: str, value: float) -> None:
    if not 0.0 <= value <= FRACTION_MAX:
        raise ValueError("%s is %s; it must be within 0 to %g, and 0.02 means 2 %%" % (name, value, FRACTION_MAX))


def _latitude(latitude_deg: float) -> None:
    if not -90.0 <= latitude_deg <= 90.0:
        raise ValueError("the latitude is %s degrees; it must be within -90 to 90, north positive" % latitude_deg)


def _position(latitude_deg: float, longitude_deg: float) -> None:
    _latitude(latitude_deg)
    if not -180.0 <= longitude_deg <= 360.0:
        raise ValueError("the longitude is %s degrees; it must be within -180 to 360, east positive" % longitude_deg)
