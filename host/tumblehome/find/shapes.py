"""What the parts of a search hand to each other: positions, the plane they are reckoned in, clouds, areas, patterns.

Latitudes and longitudes are degrees on WGS 84, north and east positive. Near the search everything is reckoned in
metres east and north of one origin, the splash: the azimuthal equidistant plane, true in distance and bearing from
the origin, and off by 0.02 % across it at 200 km. Times are UTC, or seconds after the splash where a name ends in `_s`.
"""

from dataclasses import dataclass
from datetime import datetime
from math import atan2, cos, degrees, hypot, radians, sin

import numpy as np
from geographiclib.geodesic import Geodesic
from numpy.typing import NDArray

Numbers = NDArray[np.float64]


@dataclass(frozen=True)
class Position:
    """A place on WGS 84: latitude -90 to 90, longitude -180 to 180."""

    latitude_deg: float
    longitude_deg: float


@dataclass(frozen=True)
class Plane:
    """Metres east and north of `origin`, and the way back; the lines from the origin are geodesics."""

    origin: Position

    def position(self, east_m: float, north_m: float) -> Position:
        """The place that lies there."""
        end = Geodesic.WGS84.Direct(
            self.origin.latitude_deg, self.origin.longitude_deg, degrees(atan2(east_m, north_m)),
            hypot(east_m, north_m), Geodesic.LATITUDE | Geodesic.LONGITUDE)
        return Position(end["lat2"], end["lon2"])

    def metres(self, position: Position) -> tuple[float, float]:
        """East and north of the origin."""
        line = Geodesic.WGS84.Inverse(
            self.origin.latitude_deg, self.origin.longitude_deg, position.latitude_deg, position.longitude_deg,
            Geodesic.DISTANCE | Geodesic.AZIMUTH)
        return line["s12"] * sin(radians(line["azi1"])), line["s12"] * cos(radians(line["azi1"]))


@dataclass(frozen=True)
class Way:
    """One way the lander may come up: its key and words, and how likely it is, 0 to 1, by all that is known now."""

    key: str
    words: str
    probability: float


@dataclass(frozen=True)
class Cloud:
    """Where the lander may be at one moment: particles, each with a weight; the weights add up to 1.

    Arrays of one length: `east_m` and `north_m` in `plane`, `weight`, `way` (place in `ways`), and `afloat`, False for
    a particle that is still below. `at` is the moment.
    """

    plane: Plane
    at: datetime
    ways: tuple[Way, ...]
    east_m: Numbers
    north_m: Numbers
    weight: Numbers
    way: NDArray[np.int64]
    afloat: NDArray[np.bool_]


@dataclass(frozen=True)
class Area:
    """The smallest area that holds the lander with this probability, if it is afloat: closed rings, first = last.

    Rings that lie inside others are holes, as GeoJSON has them: counter-clockwise outside, clockwise holes.
    """

    probability: float
    at: datetime
    rings: tuple[tuple[Position, ...], ...]
    area_km2: float


@dataclass(frozen=True)
class Pattern:
    """A search pattern as it is steered: waypoints in order, the spacing of its tracks, and what it promises.

    `kind` is "expanding square", "sector" or "parallel tracks". `detection` is the probability, 0 to 1, that the
    lander is found by steering all of it, the chance that it is somewhere else counted in.
    """

    kind: str
    waypoints: tuple[Position, ...]
    spacing_m: float
    length_m: float
    speed_kn: float
    hours: float
    detection: float
