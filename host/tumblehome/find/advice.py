"""How to search with the hours that there are: which pattern, how far apart, from when, and whether it pays to wait.

Every pattern that is proposed was tried on the cloud, particle by particle: squares, sectors and parallel tracks over
the whole cloud, its ways home and its thick spots, smaller and larger around the size that Koopman's best search of a
normal has. Choosing is done on a part of the particles; the chance that is told is that of all of them.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from math import atan2, ceil, degrees, hypot, pi, sqrt
from typing import NamedTuple

import numpy as np

from seatrial.handbook import sun
from seatrial.handbook.leeway import bearing_distance
from seatrial.handbook.sighting import METRES_PER_NM
from seatrial.plan import Plan
from tumblehome.find.detection import best_on_normal, effort_on_normal
from tumblehome.find.meeting import Course, Drifting, Moved, Point, chance, growing
from tumblehome.find.mistakes import NothingAfloat, NothingSeen, OutOfReach, SearchError
from tumblehome.find.patterns import (
    EXPANDING_SQUARE,
    PARALLEL_TRACKS,
    SECOND_RUN_DEG,
    SECTOR,
    SECTOR_LEGS,
    Rectangle,
    expanding_square,
    parallel_tracks,
    pattern,
    sector,
    steered,
)
from tumblehome.find.positions import written
from tumblehome.find.shapes import Numbers, Pattern, Position
from tumblehome.find.sighting import (
    EYE,
    LAMP,
    M_S_PER_KN,
    NOTHING,
    Link,
    Searcher,
    Sighting,
    Span,
    radio_range,
    spans,
    spared,
)
from tumblehome.find.telling import distance, lasting, moment
from tumblehome.wording import shown

PAYS = 0.05  # so much more chance for the same hours is worth a wait; less is within what nobody knows
LITTLE = 0.1  # a chance below this is told as what it is
LAMP_LEAST = 0.01  # of the sweep width of a sure lamp: with less nobody should look for it
HOURS_MAX = 240.0

_TRIED_ON = 2000  # particles on which patterns are compared
_SIZES = (0.5, 0.7, 0.85, 1.0, 1.2, 1.5, 1.9)  # around the best size for a normal
_WAYPOINTS_MAX = 240
_RUNS_MAX = 3
_CLOSEST = 0.25  # tracks are laid no nearer to each other than this share of the sweep width ...
_CLOSEST_M = 30.0  # ... or this, which a boat can keep to
_SMALLEST_M = 60.0  # of the side of an area
_WAY_MIN = 0.05  # a way home with less of what is afloat gets no pattern of its own
_CELLS, _THICK = 24, 0.6  # thick spots: on so many cells a side, the likeliest that hold this share
_SPOT_MIN = 0.08
# A normal cut off at a content p keeps 1 + ln(1 - p) (1 - p) / p of its variance: an integral by parts
_CUT = sqrt(1.0 + np.log(1.0 - _THICK) * (1.0 - _THICK) / _THICK)
_NEVER = 1e-9
_LATE_MIN = 30.0  # later than this nobody should be, whatever the drift
_STILL_KN = 0.05  # slower than this nothing need be said of the drift


class Window(NamedTuple):
    """A moment after which more may be afloat: what will have happened, as in "after ...", and when."""

    words: str
    moment: datetime


@dataclass(frozen=True)
class Begun:
    """A search begun at some time: `words` is "now", "at dark", "in daylight" or "after ...".

    `course` begins when the boat is at the first waypoint; `light` is that of this moment, and `afloat` the chance that
    the lander is afloat by then. `coverage` is sweep width over spacing, None for a sector search, which has none.
    """

    words: str
    pattern: Pattern
    course: Course
    light: str
    afloat: float
    coverage: float | None


@dataclass(frozen=True)
class Advice:
    """The searches compared, which of them is advised, and all that in plain words, the most urgent first.

    `hourly`: the chance to have found the lander by the advised search after each full hour of it, and at its end.
    """

    begun: tuple[Begun, ...]
    advised: Begun
    hourly: tuple[tuple[float, float], ...]
    sentences: tuple[str, ...]


class _Region(NamedTuple):
    middle: Point
    long_m: float  # standard deviations along and across its main axis
    short_m: float
    axis_deg: float
    members: np.ndarray


class _Laid(NamedTuple):
    kind: str
    points: list[Point]
    spacing_m: float
    moved: Moved


def advise(plan: Plan, drifting: Drifting, searcher: Searcher, now: datetime, hours: float,
           boat: Position | None = None, windows: Sequence[Window] = (), link: Link | None = None) -> Advice:
    """The best search of `hours` (the way there counted in), begun now, at a change of the light, or after a window.

    Waiting is advised where it gives `PAYS` more. `boat` None: it is where the search begins. Raises SearchError for
    hours out of range and clouds that do not reach through the search; NothingAfloat, OutOfReach or NothingSeen, which
    are kinds of it, where no search can find anything in that time.
    """
    if not 0.1 <= hours <= HOURS_MAX:
        raise SearchError([f"the hours for the search are {hours:g}; allowed is 0.1 to {HOURS_MAX:g}: correct them"])
    length, last = timedelta(hours=hours), drifting.clouds[-1].at
    if len(drifting.clouds) > 1 and now + length > last:
        raise SearchError([f"the search would end at {shown(now + length)}, but the drift is worked out to"
                           f" {shown(last)} only: work it out for longer, or search for fewer hours"])
    end = last if len(drifting.clouds) > 1 else now + length + timedelta(days=1)
    light = spans(plan, searcher, now, end)
    seen = _as_lit(light, drifting)
    there = None if boat is None else drifting.plane.metres(boat)
    few = drifting.thinned(_TRIED_ON)
    begun, left_out = [], []
    for words, start in _starts(light, now, windows):
        if start + length > end:
            left_out.append(f"A search begun {words}, {moment(start)}, was not compared: the drift is worked out to"
                            f" {moment(end)} only.")
            continue
        best = propose(drifting, few, searcher, light, start, start + length, now, there)
        if best is None:
            why = _why_none(drifting, few, searcher, start, min(start + length, end), now, there)
            left_out.append(f"A search begun {words}, {moment(start)}, is left out: {why.sentences[0]}.")
        else:
            begun.append(_told(words, best, drifting, seen))
    if not begun:
        raise _why_none(drifting, few, searcher, now, min(now + length, end), now, there)
    advised = _advised(begun)
    hourly = _hourly(advised.course, drifting, light)
    sentences = _sentences(plan, drifting, begun, advised, hourly, searcher, seen, hours, boat, link or Link(),
                           _even_h(few, advised, searcher, seen))
    return Advice(tuple(begun), advised, hourly, (*sentences, *left_out))


def propose(drifting: Drifting, few: Drifting, searcher: Searcher, light: Sequence[Span], start: datetime,
            end: datetime, now: datetime | None = None, boat: Point | None = None) -> tuple[Pattern, Course] | None:
    """The best pattern that begins at `start` or when the boat gets there, and is over by `end`.

    `few` is a thinned `drifting` on which patterns are compared; the boat is at `boat` at `now`, or at the pattern.
    None where nothing is afloat, or nothing can be reached or seen, in that time.
    """
    best: tuple[float, _Laid, Course] | None = None
    seen = _as_lit(light, few)
    for region in _regions(few, start, end):
        begin = _there(start, region.middle, searcher, now, boat)
        if begin >= end:
            continue
        moved = few.frame(start, region.members)
        for laid in _laid(region, moved, searcher, seen, begin, end, boat):
            course = _course(laid, start, end, searcher, now, boat)
            if course is None:
                continue
            success = chance(course, few, light)
            if best is None or success > best[0] + _NEVER:
                best = success, laid, course
    if best is None or best[0] <= _NEVER:
        return None
    _success, laid, course = best
    return pattern(laid.kind, course, laid.spacing_m, searcher.speed_kn, drifting, light), course


def _why_none(drifting: Drifting, few: Drifting, searcher: Searcher, start: datetime, end: datetime, now: datetime,
              boat: Point | None) -> SearchError:
    """The error that says why a search between two moments finds nothing, by a boat that is there now."""
    hours = (end - start) / timedelta(hours=1)
    if not (drifting.afloat(end) & (drifting.weight > 0)).any():
        return NothingAfloat([f"nothing can be afloat from {shown(start)} on for {hours:g} h: search later, or for"
                              " longer"])
    arrival = min(_there(start, region.middle, searcher, now, boat) for region in _regions(few, start, end))
    if arrival >= end:
        return OutOfReach([f"the nearest place worth a search is {(arrival - now) / timedelta(hours=1):.1f} h away at"
                           f" {searcher.speed_kn:g} kn: give more hours than {hours:g} (--hours), or a faster boat"
                           " (--boat-kn)"])
    return NothingSeen([f"nothing of the lander can be seen from {shown(start)} on for {hours:g} h: no lamp can be"
                        " counted on, and it is not day; give more hours (--hours), or look in daylight"])


# --- where and what to try --------------------------------------------------------------------------------------------


def _regions(few: Drifting, start: datetime, end: datetime) -> Iterator[_Region]:
    """The cloud, the ways home that make up enough of it, and its thick spots: of what is afloat, else of what will be.
    """
    afloat = few.afloat(start) & (few.weight > 0)
    if not afloat.any():
        afloat = few.afloat(end) & (few.weight > 0)
    if not afloat.any():
        return
    east, north = few.at(start)
    yield _region(few, east, north, afloat, 1.0)
    whole = few.weight[afloat].sum()
    for number in range(len(few.clouds[0].ways)):
        members = afloat & (few.way == number)
        if _WAY_MIN * whole < few.weight[members].sum() < (1.0 - _WAY_MIN) * whole:
            yield _region(few, east, north, members, 1.0)
    for members in _thick_spots(few, east, north, afloat):
        yield _region(few, east, north, members, 1.0 / _CUT)


def _region(few: Drifting, east: Numbers, north: Numbers, members: np.ndarray, widened: float) -> _Region:
    weight = few.weight[members] / few.weight[members].sum()
    places = np.stack([east[members], north[members]])
    middle = places @ weight
    apart = places - middle[:, None]
    values, vectors = np.linalg.eigh((apart * weight) @ apart.T)
    short_m, long_m = (max(_SMALLEST_M / 4, widened * sqrt(max(0.0, value))) for value in values)
    axis_deg = degrees(atan2(vectors[0, 1], vectors[1, 1])) % 180.0
    return _Region((float(middle[0]), float(middle[1])), long_m, short_m, axis_deg, members)


def _thick_spots(few: Drifting, east: Numbers, north: Numbers, afloat: np.ndarray) -> Iterator[np.ndarray]:
    """The particles in each patch of the likeliest cells; patches that hold too little are left out."""
    from scipy import ndimage  # here, not above: it takes a while, and few commands need it

    weight = np.where(afloat, few.weight, 0.0)
    edges = [np.linspace(low, high + 1.0, _CELLS + 1) for low, high in (
        np.quantile(axis[afloat], (0.005, 0.995)) for axis in (east, north))]
    density, _east, _north = np.histogram2d(east, north, bins=edges, weights=weight)
    smooth = ndimage.gaussian_filter(density, 1.0, mode="constant")
    order = np.argsort(-smooth, axis=None)
    held = np.cumsum(density.ravel()[order])
    thick = np.zeros(density.size, bool)
    thick[order[:1 + int(np.searchsorted(held, _THICK * held[-1]))]] = True
    patches, number = ndimage.label(thick.reshape(density.shape), structure=np.ones((3, 3)))
    columns = [np.searchsorted(edge, axis, side="right") - 1 for edge, axis in zip(edges, (east, north), strict=True)]
    within = np.all([(column >= 0) & (column < _CELLS) for column in columns], axis=0)
    patch = np.where(within, patches[tuple(np.clip(column, 0, _CELLS - 1) for column in columns)], 0)
    for label in range(1, number + 1):
        members = afloat & (patch == label)
        if few.weight[members].sum() >= _SPOT_MIN * weight.sum():
            yield members


def _laid(region: _Region, moved: Moved, searcher: Searcher, light: Sequence[Span], begin: datetime, end: datetime,
          boat: Point | None) -> Iterator[_Laid]:
    """Patterns over the region, of several sizes, each about as long as the boat goes in that time."""
    length_m = searcher.speed_m_s * (end - begin).total_seconds()
    sweep_m = _mean_sweep_m(light, begin, end)
    if sweep_m <= 0.0:
        return
    best, _success = best_on_normal(sweep_m * length_m, region.long_m, region.short_m)
    closest_m = max(_CLOSEST_M, _CLOSEST * sweep_m)
    for size in _SIZES:
        out_long_m, out_short_m = (size * best * sigma for sigma in (region.long_m, region.short_m))
        sides = [max(_SMALLEST_M, sqrt(pi) * out) for out in (out_long_m, out_short_m)]
        area = Rectangle(region.middle, sides[0], sides[1], region.axis_deg)
        spacing_m = _tracks_apart_m(area, length_m, closest_m)
        yield _Laid(PARALLEL_TRACKS, parallel_tracks(area, spacing_m, boat), spacing_m, moved)
        spacing_m = max(closest_m, pi * out_long_m * out_short_m / length_m)
        legs = min(_WAYPOINTS_MAX, 2 * ceil(sqrt(length_m / spacing_m)) + 2)
        yield _Laid(EXPANDING_SQUARE, expanding_square(region.middle, spacing_m, legs, region.axis_deg), spacing_m,
                    moved)
        radius_m = min(max(_SMALLEST_M, sqrt(out_long_m * out_short_m)), length_m / SECTOR_LEGS)
        runs = min(_RUNS_MAX, max(1, int(length_m / (SECTOR_LEGS * radius_m))))
        yield _Laid(SECTOR, sector(region.middle, radius_m, region.axis_deg, runs), radius_m, moved)


def _tracks_apart_m(area: Rectangle, length_m: float, closest_m: float) -> float:
    """The spacing of as many tracks as the length gives over the area."""
    most = max(1, min(_WAYPOINTS_MAX // 2, int(area.across_m / closest_m)))
    for tracks in range(most, 1, -1):
        spacing_m = area.across_m / tracks
        if tracks * max(0.0, area.along_m - spacing_m) + (tracks - 1) * spacing_m <= length_m:
            return spacing_m
    return min(area.across_m, 0.5 * area.along_m)


def _as_lit(light: Sequence[Span], drifting: Drifting) -> tuple[Span, ...]:
    """The light with the sweep widths that count: by the shares of the lamps that flash fully, seldom and no more.

    For what is laid and told; the chance of a search goes by the lamp of each particle.
    """
    return tuple(span if span.sighting.by != LAMP else span._replace(sighting=_lit(span, drifting)) for span in light)


def _lit(span: Span, drifting: Drifting) -> Sighting:
    middle = span.begin + (span.end - span.begin) / 2
    afloat = drifting.afloat(middle)
    weight, rhythm = drifting.weight[afloat], drifting.rhythm(middle)[afloat]
    if not weight.sum() > 0 or (rhythm[weight > 0] == 1.0).all():
        return span.sighting
    sweep_m = sum(float(weight[rhythm == share].sum()) * spared(span.sighting, float(share)).sweep_m
                  for share in np.unique(rhythm)) / float(weight.sum())
    if sweep_m < LAMP_LEAST * span.sighting.sweep_m:
        return replace(NOTHING, limited_by="by then its lamp is likely out", speed_m_s=span.sighting.speed_m_s)
    return replace(span.sighting, sweep_m=sweep_m)


def _mean_sweep_m(light: Sequence[Span], begin: datetime, end: datetime) -> float:
    total = 0.0
    for span in light:
        seconds = (min(end, span.end) - max(begin, span.begin)).total_seconds()
        total += max(0.0, seconds) * span.sighting.sweep_m
    return total / (end - begin).total_seconds()


# --- getting there ----------------------------------------------------------------------------------------------------


def _there(start: datetime, point: Point, searcher: Searcher, now: datetime | None, boat: Point | None) -> datetime:
    """When the boat can begin there: at the start, or on its arrival if that is later."""
    if boat is None or now is None:
        return start
    seconds = hypot(point[0] - boat[0], point[1] - boat[1]) / searcher.speed_m_s
    return max(start, now + timedelta(seconds=seconds))


def _course(laid: _Laid, start: datetime, end: datetime, searcher: Searcher, now: datetime | None,
            boat: Point | None) -> Course | None:
    """The pattern steered from the arrival at its first point, which drifts until then, to the end at the latest."""
    begin = start
    for _ in range(4):  # the drift in the way there changes it a little, and that the drift less
        drift = laid.moved((begin - start).total_seconds())
        first = laid.points[0][0] + drift[0], laid.points[0][1] + drift[1]
        begin = _there(start, first, searcher, now, boat)
    late_s, most_s = (begin - start).total_seconds(), (end - begin).total_seconds()
    if most_s <= 0:
        return None
    return steered(laid.points, begin, searcher.speed_m_s, lambda after_s: laid.moved(late_s + after_s), most_s)


# --- now or later -----------------------------------------------------------------------------------------------------


def _starts(light: Sequence[Span], now: datetime, windows: Sequence[Window]) -> list[tuple[str, datetime]]:
    """When a search may begin: now, at the next other light, after each window; in the order of time."""
    later = [(f"after {window.words}", window.moment) for window in windows if window.moment > now]
    for words, wanted in (("at dark", sun.NIGHT), ("in daylight", sun.DAYLIGHT)):
        if light[0].light != wanted:
            later += [(words, span.begin) for span in light if span.light == wanted][:1]
    return [("now", now), *sorted(later, key=lambda start: start[1])]


def _told(words: str, best: tuple[Pattern, Course], drifting: Drifting, light: Sequence[Span]) -> Begun:
    laid, course = best
    afloat = float(drifting.weight[drifting.afloat(course.begin)].sum())
    swept = None if laid.kind == SECTOR else _mean_sweep_m(light, course.begin, course.end) / laid.spacing_m
    return Begun(words, laid, course, _span(light, course.begin).light, afloat, swept)


def _hourly(course: Course, drifting: Drifting, light: Sequence[Span]) -> tuple[tuple[float, float], ...]:
    seconds, chances = growing(course, drifting, light)
    whole = ceil(seconds[-1] / 3600)
    return tuple((hour, float(np.interp(3600 * hour, seconds, chances)))
                 for hour in (*range(1, whole), seconds[-1] / 3600))


def _span(light: Sequence[Span], moment: datetime) -> Span:
    return next((span for span in light if span.begin <= moment < span.end), light[-1])


def _advised(begun: Sequence[Begun]) -> Begun:
    """The first one, unless another gives `PAYS` more; then the earliest that is near the best."""
    most = max(one.pattern.detection for one in begun)
    if begun[0].words == "now" and most < begun[0].pattern.detection + PAYS:
        return begun[0]
    return next(one for one in begun if one.pattern.detection >= most - PAYS / 2)


# --- in words ---------------------------------------------------------------------------------------------------------


def _sentences(plan: Plan, drifting: Drifting, begun: Sequence[Begun], advised: Begun,
               hourly: Sequence[tuple[float, float]], searcher: Searcher, light: Sequence[Span], hours: float,
               boat: Position | None, link: Link, even_h: float) -> Iterator[str]:
    yield _go(advised, boat)
    yield _steer(advised)
    yield from _with_the_drift(advised, drifting, _mean_sweep_m(light, advised.course.begin, advised.course.end))
    little = advised.pattern.detection < LITTLE
    if little:
        yield (f"That is little: for an even chance this boat would search about {_rounded(even_h)} h, if the area did"
               " not grow meanwhile. More helps to ask others: give the message to vessels in these waters and to the"
               " coast radio, listen for its reports, and search again as soon as anybody has seen or heard it.")
    yield _waiting(begun, advised, hours)
    if len(hourly) > 1 and not little:
        grown = ", ".join(f"{_percent(reached)} after {after:.0f} h" for after, reached in hourly[:-1])
        yield f"The chance to have found it grows with the hours of the search: {grown}."
    yield from dict.fromkeys(_seeing(span) for span in light
                             if span.begin < advised.course.end and span.end > advised.course.begin)
    yield (f"The chance that it is afloat by then is {_percent(advised.afloat)}; the chance to find it counts in that"
           " it is still below or somewhere else.")
    if plan.beacon.own_antenna_height_m > 0:
        heard = radio_range(searcher, plan.beacon.own_antenna_height_m, link)
        yield (f"Listen all the while: a LoRa radio of {link.power_dbm:g} dBm at {link.frequency_mhz:g} MHz and"
               f" spreading factor {link.spreading_factor}, if it has one, is heard within about"
               f" {heard.range_nm:.1f} NM, limited by the {heard.limited_by}; it tells where it is once it has a fix."
               " No chance is counted for that.")


HOW = {
    EXPANDING_SQUARE: "an expanding square to starboard, its tracks %s apart",
    SECTOR: "a sector search, each leg %s, each turn 120\N{DEGREE SIGN} to starboard, straight on at the middle",
    PARALLEL_TRACKS: "parallel tracks %s apart",
}


def _go(advised: Begun, boat: Position | None) -> str:
    first = advised.pattern.waypoints[0]
    way = ""
    if boat is not None:
        line = bearing_distance(boat.latitude_deg, boat.longitude_deg, first.latitude_deg, first.longitude_deg)
        way = f", {line.distance_m / METRES_PER_NM:.1f} NM on {_bearing(line.bearing_deg)} from you"
    return f"Be at {written(first)}{way} at {moment(advised.course.begin)} and begin there."


def _steer(advised: Begun) -> str:
    laid, course = advised.pattern, advised.course
    leg_deg = degrees(atan2(course.east_m[1] - course.east_m[0], course.north_m[1] - course.north_m[0]))
    how = HOW[laid.kind] % distance(laid.spacing_m)
    if laid.kind == SECTOR and len(laid.waypoints) > SECTOR_LEGS + 1:
        how += ", and again from the middle with the first leg turned by %.0f\N{DEGREE SIGN}" % SECOND_RUN_DEG
    if advised.coverage is not None:
        how += f" (coverage {advised.coverage:.2f})"
    return (f"Steer {how}; first leg {_bearing(leg_deg)}: {laid.length_m / METRES_PER_NM:.1f} NM in"
            f" {lasting(laid.hours)} at {laid.speed_kn:g} kn over the ground. The chance to find the lander by that is"
            f" {_percent(laid.detection)}.")


def _with_the_drift(advised: Begun, drifting: Drifting, sweep_m: float) -> Iterator[str]:
    """That the waypoints are those over the ground already, and how late is too late for them: half a track off."""
    course = advised.course
    members = drifting.afloat(course.end) & (drifting.weight > 0)
    seconds = float(course.seconds[-1])
    east_m, north_m = drifting.frame(course.begin, members)(seconds)
    drift_m_s = hypot(east_m, north_m) / seconds
    if drift_m_s < _STILL_KN * M_S_PER_KN:
        return
    half_m = 0.5 * min(advised.pattern.spacing_m, sweep_m)
    late_min = max(1.0, min(_LATE_MIN, half_m / drift_m_s / 60))
    yield (f"The waypoints go along with what drifts, {drift_m_s / M_S_PER_KN:.1f} kn toward"
           f" {_bearing(degrees(atan2(east_m, north_m)))}: steer from each to the next over the ground, at its time,"
           f" and allow for no drift again. Who is more than {late_min:.0f} min late asks anew (--at).")


def _waiting(begun: Sequence[Begun], advised: Begun, hours: float) -> str:
    others = [one for one in begun if one is not advised]
    if not others:
        return f"No other start was compared: {_percent(advised.pattern.detection)} for {hours:g} h in all."
    compared = "; ".join(f"{one.words}, {moment(one.course.begin)}, {_percent(one.pattern.detection)}"
                         for one in others)
    pays = "It does not pay to wait" if advised.words == "now" else f"It pays to wait and begin {advised.words}"
    both = "" if advised.words == "now" or begun[0].words != "now" else (
        " Who has hours for both searches begins now, and asks again with the track of it (--not-seen).")
    return (f"{pays}: {_percent(advised.pattern.detection)} for {hours:g} h in all. Begun at another time:"
            f" {compared}.{both}")


def _even_h(few: Drifting, advised: Begun, searcher: Searcher, light: Sequence[Span]) -> float:
    """Hours after which the best search of a normal as wide as what is afloat would find half of it."""
    sweep_m = _mean_sweep_m(light, advised.course.begin, advised.course.end)
    whole = next(_regions(few, advised.course.begin, advised.course.end), None)
    if whole is None or sweep_m <= 0.0:
        return float("inf")
    return effort_on_normal(0.5, whole.long_m, whole.short_m) / (sweep_m * searcher.speed_m_s) / 3600


def _rounded(hours: float) -> str:
    """To two figures: more are not known."""
    return "%d" % float("%.2g" % hours) if hours >= 10 else "%.2g" % hours


def _seeing(span: Span) -> str:
    sighting = span.sighting
    when = "At night" if span.light == sun.NIGHT else f"In {span.light}"
    if sighting.by == LAMP:
        return (f"{when} look for its flash: within {sighting.range_m / METRES_PER_NM:.1f} NM, limited by"
                f" {sighting.limited_by}; sweep width {sighting.sweep_m / METRES_PER_NM:.2f} NM.")
    if sighting.by == EYE:
        return (f"{when} look for its floats: sweep width {sighting.sweep_m / METRES_PER_NM:.2f} NM; a lamp is"
                " not seen by day.")
    return f"{when} nothing of it is seen: {sighting.limited_by}."


def _bearing(bearing_deg: float) -> str:
    return "%03d\N{DEGREE SIGN}" % (round(bearing_deg) % 360)


def _percent(share: float) -> str:
    """Never 100 % and never 0 % for what is neither."""
    if 0.0 < share < 0.01:
        return "less than 1 %"
    return "more than 99 %" if 0.99 < share < 1.0 - _NEVER else "%.0f %%" % (100.0 * share)
