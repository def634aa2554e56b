"""Sideways: where the water carries the lander on its way down and up, and where wind and current take it afloat.

The drift down and up is that of the simulator's hull in the current of the plan; on the seabed it lies still. So every
path of release surfaces at the same place, only at another moment, and what follows counts from there.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from math import atan2, degrees, hypot, isfinite

from seatrial.handbook import leeway
from seatrial.handbook.sighting import METRES_PER_NM
from seatrial.plan import Plan
from seatrial.plan.reckoning import water_of
from seatrial.workings.chapter import Chapter, Column, Figure, Table
from seatrial.workings.chart_angles import Latitude, Longitude
from seatrial.workings.doubt import FAST_DOWN, FAST_UP, LIKELY, SLOW_DOWN, SLOW_UP
from seatrial.workings.passage import Passage, ascent, descent

TABLE_H = (0, 1, 3, 6, 12, 24, 48)
PICTURE_H = range(49)
SURFACE_ROW_M = 10.0  # a row of the current that begins deeper says little of the surface; common practice, no source
M_S_PER_KN = METRES_PER_NM / 3600


@dataclass(frozen=True)
class Position:
    """A place, as degrees and as metres from the splash, and the circle around it that the lander may be in.

    The circle holds what [doubt] does to the ways down and up, and afloat the spread of the leeway; the current is
    taken as the plan gives it.
    """

    latitude_deg: float
    longitude_deg: float
    east_m: float
    north_m: float
    radius_m: float

    @property
    def distance_m(self) -> float:
        """From the splash."""
        return hypot(self.east_m, self.north_m)

    @property
    def bearing_deg(self) -> float | None:
        """True, from the splash; None where there is no distance."""
        return bearing_deg(self.east_m, self.north_m)


@dataclass(frozen=True)
class Drift:
    """Where it lands and where it surfaces, None where it never does; pairs are (east, north).

    `way_up_m` leads from landing to surfacing. Low and high are the least and the most leeway.
    """

    landing: Position | None
    way_up_m: tuple[float, float] | None
    surfacing: Position | None
    afloat_low_m_s: tuple[float, float]
    afloat_likely_m_s: tuple[float, float]
    afloat_high_m_s: tuple[float, float]


@lru_cache(maxsize=16)
def drift(plan: Plan) -> Drift:
    """Landing, surfacing and the drift afloat."""
    down, rise = descent(plan, LIKELY), ascent(plan, LIKELY)
    down_m, rise_m = _spread_m(plan, descent, (SLOW_DOWN, FAST_DOWN)), _spread_m(plan, ascent, (SLOW_UP, FAST_UP))
    way_up_m = _end_m(rise) if rise else None
    landing = surfacing = None
    if down is not None:
        landing = _place(plan, *_end_m(down), down_m)
    if landing is not None and way_up_m is not None:
        surfacing = _place(plan, landing.east_m + way_up_m[0], landing.north_m + way_up_m[1], down_m + rise_m)
    spread_pct = plan.site.wind.leeway_spread_pct
    return Drift(
        landing, way_up_m, surfacing,
        _afloat_m_s(plan, -spread_pct), _afloat_m_s(plan, 0.0), _afloat_m_s(plan, spread_pct))


def position_at(plan: Plan, hours_after_surfacing: float) -> Position | None:
    """Where it is so long after it surfaced, by any path of release; None when it never sinks or never comes up.

    Raises ValueError for hours that are negative or no number.
    """
    if not (isfinite(hours_after_surfacing) and hours_after_surfacing >= 0):
        raise ValueError(f"hours_after_surfacing is {hours_after_surfacing}; allowed is 0 or more: count from the"
                         " moment it surfaces")
    drifted, seconds = drift(plan), 3600 * hours_after_surfacing
    if drifted.surfacing is None:
        return None
    likely = drifted.afloat_likely_m_s
    spread_m_s = max(_apart(likely, drifted.afloat_low_m_s), _apart(likely, drifted.afloat_high_m_s))
    return _place(
        plan, drifted.surfacing.east_m + seconds * likely[0], drifted.surfacing.north_m + seconds * likely[1],
        drifted.surfacing.radius_m + seconds * spread_m_s)


def bearing_deg(east: float, north: float) -> float | None:
    """The true bearing of a way or a velocity, 0 to 360; None where it has no length."""
    return degrees(atan2(east, north)) % 360 if hypot(east, north) > 0 else None


def chapter(plan: Plan) -> Chapter:
    """Landing, surfacing, and hour by hour where it floats."""
    return Chapter(
        key="drift",
        title="Sideways",
        figures=tuple(_figures(plan)),
        tables=_tables(plan),
        series=_series(plan),
        cautions=tuple(sentence for caution in CAUTIONS for sentence in caution(plan)),
        sources=SOURCES,
        limits=LIMITS)


SOURCES = (
    "leeway of small floating bodies: Allen and Plourde, Review of Leeway, USCG R&D Center, 1999; the share itself is"
    " site.wind.leeway_pct",
    "positions on WGS 84: Karney, Algorithms for geodesics, 2013",
)
LIMITS = (
    "current and wind stand still in time as the plan gives them: no tide, no change of weather; work the plan out"
    " again with the forecast of the hour",
    "wind drives the top of the water too (Ekman): the current at the surface is taken to hold that, and the leeway is"
    " the motion through the water only",
    "every path of release surfaces at the same place because the current does not change and the lander lies still on"
    " the seabed; only the moment differs",
    "the lander follows the water at its depth at once, and drifts straight downwind: a real one may bear off to either"
    " side",
    "the half width holds the doubt about the ways down and up and the spread of the leeway, not an error of the"
    " current; it is where to begin to look, not a search plan",
)

# --- places and speeds ------------------------------------------------------------------------------------------------


def _place(plan: Plan, east_m: float, north_m: float, radius_m: float) -> Position:
    latitude, longitude = leeway.moved(plan.site.latitude_deg, plan.site.longitude_deg, east_m, north_m)
    return Position(latitude, longitude, east_m, north_m, radius_m)


def _end_m(passage: Passage) -> tuple[float, float]:
    return passage.east_m[-1], passage.north_m[-1]


def _apart(one: tuple[float, float], other: tuple[float, float]) -> float:
    return hypot(one[0] - other[0], one[1] - other[1])


def _spread_m(plan: Plan, travel: Callable, leans: tuple) -> float:
    """How far slow and fast end from likely; of those that get there."""
    likely = travel(plan, LIKELY)
    others = [passage for passage in (travel(plan, lean) for lean in leans) if passage is not None]
    if likely is None:
        return 0.0
    return max((_apart(_end_m(likely), _end_m(other)) for other in others), default=0.0)


def _afloat_m_s(plan: Plan, more_pct: float) -> tuple[float, float]:
    wind, (east, north) = plan.site.wind, water_of(plan.site).current_at(0.0)
    fraction = max(0.0, wind.leeway_pct + more_pct) / 100  # no wind draws a body upwind
    wind_east, wind_north = leeway.drift_m_s(wind.speed_m_s, wind.from_deg, fraction)
    return east + wind_east, north + wind_north


# --- figures and tables -----------------------------------------------------------------------------------------------


def _figures(plan: Plan) -> Iterator[Figure]:
    drifted = drift(plan)
    for key, words, place in (("landing", "lands", drifted.landing), ("surfacing", "surfaces", drifted.surfacing)):
        yield Figure(f"{key}_distance_m", f"{words}, from the splash",
                     place.distance_m if place else None, "m", 0, leading=True)
        yield Figure(f"{key}_bearing_deg", f"{words}, true bearing from the splash",
                     place.bearing_deg if place else None, "deg", 0)
        yield Figure(f"{key}_radius_m", f"{words}, give or take", place.radius_m if place else None, "m", 0)
        yield Figure(f"{key}_latitude_deg", f"{words}, latitude", Latitude(place.latitude_deg) if place else None)
        yield Figure(f"{key}_longitude_deg", f"{words}, longitude", Longitude(place.longitude_deg) if place else None)
    way_up_m = drifted.way_up_m
    yield Figure("ascent_drift_m", "drift on the way up", hypot(*way_up_m) if way_up_m else None, "m", 0, leading=True)
    yield Figure("ascent_bearing_deg", "drift on the way up, true bearing",
                 bearing_deg(*way_up_m) if way_up_m else None, "deg", 0)
    speed_m_s = hypot(*drifted.afloat_likely_m_s)
    yield Figure("afloat_m_s", "drift afloat", speed_m_s, "m/s", 2, "current of the surface and leeway", leading=True)
    yield Figure("afloat_kn", "drift afloat", speed_m_s / M_S_PER_KN, "kn", 2)
    yield Figure("afloat_toward_deg", "drift afloat, toward", bearing_deg(*drifted.afloat_likely_m_s), "deg", 0)
    yield Figure("afloat_low_m_s", "drift afloat with the least leeway", hypot(*drifted.afloat_low_m_s), "m/s", 2)
    yield Figure("afloat_high_m_s", "drift afloat with the most leeway", hypot(*drifted.afloat_high_m_s), "m/s", 2)


def _tables(plan: Plan) -> tuple[Table, ...]:
    places = [(hours, place) for hours in TABLE_H if (place := position_at(plan, hours)) is not None]
    if not places:
        return ()
    rows = tuple(
        (hours, place.east_m, place.north_m, place.distance_m / METRES_PER_NM, place.bearing_deg,
         Latitude(place.latitude_deg), Longitude(place.longitude_deg), place.radius_m)
        for hours, place in places)
    return (Table("afloat", "Where it floats after it has surfaced, by whatever release", (
        Column("after_surfacing_h", "h after surfacing", 0),
        Column("east_m", "east of the splash, m", 0), Column("north_m", "north of the splash, m", 0),
        Column("distance_nm", "from the splash, NM", 2), Column("bearing_deg", "true bearing from the splash, deg", 0),
        Column("latitude_deg", "latitude", 4), Column("longitude_deg", "longitude", 4),
        Column("radius_m", "half width of the area, m", 0)), rows),)


def _series(plan: Plan) -> dict[str, tuple[float | str, ...]]:
    """The likely track down and up, and hour by hour afloat with the least and the most leeway; from the splash."""
    drifted, down, rise = drift(plan), descent(plan, LIKELY), ascent(plan, LIKELY)
    legs = [("down", 0.0, 0.0, down)]
    if drifted.landing is not None:
        legs.append(("up", drifted.landing.east_m, drifted.landing.north_m, rise))
    points = [
        (east_m + from_east_m, north_m + from_north_m, depth_m, phase)
        for phase, from_east_m, from_north_m, leg in legs if leg is not None
        for east_m, north_m, depth_m in zip(leg.east_m, leg.north_m, leg.depth_m, strict=True)]
    track = zip(*points, strict=True) if points else ((), (), (), ())
    series = dict(zip(("track_east_m", "track_north_m", "track_depth_m", "track_phase"), map(tuple, track),
                      strict=True))
    return {**series, **_afloat_series(drifted)}


def _afloat_series(drifted: Drift) -> dict[str, tuple[float, ...]]:
    start, hours = drifted.surfacing, tuple(float(hour) for hour in PICTURE_H)
    series = {"surface_h": hours if start else ()}
    for key, (east_m_s, north_m_s) in (
        ("surface", drifted.afloat_likely_m_s), ("surface_low", drifted.afloat_low_m_s),
        ("surface_high", drifted.afloat_high_m_s),
    ):
        series[f"{key}_east_m"] = tuple(start.east_m + 3600 * hour * east_m_s for hour in hours) if start else ()
        series[f"{key}_north_m"] = tuple(start.north_m + 3600 * hour * north_m_s for hour in hours) if start else ()
    return series


# --- cautions ---------------------------------------------------------------------------------------------------------


def _surface_current_is_known(plan: Plan) -> Iterator[str]:
    top_m = plan.site.current[0].depth_m
    if top_m > SURFACE_ROW_M:
        yield (f"site.current[row 1].depth_m is {top_m:g}: the current there stands for the surface too, which often"
               " runs faster and elsewhere; give a row at 0 m")


def _something_moves(plan: Plan) -> Iterator[str]:
    wind = plan.site.wind
    if all(row.speed_m_s == 0 for row in plan.site.current):
        yield ("site.current is still at every depth: no drift down or up is worked out; give the speed_m_s that is to"
               " be expected")
    if wind.speed_m_s == 0:
        yield ("site.wind.speed_m_s is 0: the drift afloat is that of the current alone; give the wind that is to be"
               " expected")
    elif wind.leeway_pct + wind.leeway_spread_pct == 0:
        yield ("site.wind.leeway_pct is 0: the drift afloat is that of the current alone, and nothing afloat follows no"
               " wind; give 1 to 3 for a small low float")


CAUTIONS: tuple[Callable[[Plan], Iterator[str]], ...] = (_surface_current_is_known, _something_moves)
