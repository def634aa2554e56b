"""The search patterns of the IAMSAR manual, volume II: expanding square, sector, parallel tracks.

A pattern is drawn in the water that the lander drifts with, and steered over the ground: each waypoint is where its
place in the drifting frame will be when the boat gets there. So the tracks lie as far apart for the lander as they were
meant to, whatever the current. Points are (east, north) in metres; bearings are degrees true.
"""

from collections.abc import Sequence
from datetime import datetime
from math import ceil, cos, hypot, radians, sin
from typing import NamedTuple

import numpy as np

from seatrial.handbook.arguments import above_zero
from tumblehome.find.meeting import Course, Drifting, Moved, Point, chance
from tumblehome.find.mistakes import SearchError
from tumblehome.find.shapes import Pattern
from tumblehome.find.sighting import M_S_PER_KN, Span

EXPANDING_SQUARE, SECTOR, PARALLEL_TRACKS = "expanding square", "sector", "parallel tracks"
SECTOR_LEGS, SECTOR_TURN_DEG = 9, 120.0
SECOND_RUN_DEG = 30.0  # a sector search that is run again is turned by this much
_MEETINGS = 400  # steps until a waypoint is met that drifts away at nineteen twentieths of the boat's speed
_MET_S = 1e-4


class Rectangle(NamedTuple):
    """An area to search: its middle, its longer side along `axis_deg`, and its shorter side across."""

    middle: Point
    along_m: float
    across_m: float
    axis_deg: float


def still(_seconds: float) -> Point:
    """A frame that does not drift."""
    return 0.0, 0.0


def expanding_square(datum: Point, spacing_m: float, legs: int, first_deg: float = 0.0) -> list[Point]:
    """From the datum outward in a square spiral to starboard: legs of S, S, 2S, 2S, 3S, 3S ...

    The first 2n legs are S n (n + 1) long. Raises ValueError for a spacing that is not above 0 or no legs.
    """
    above_zero(spacing_m=spacing_m, legs=legs)
    points = [datum]
    for leg in range(legs):
        points.append(_on(points[-1], first_deg + 90.0 * leg, spacing_m * (leg // 2 + 1)))
    return points


def sector(datum: Point, radius_m: float, first_deg: float = 0.0, runs: int = 1) -> list[Point]:
    """Through the datum again and again: nine legs of one radius, each turn 120 degrees to starboard.

    Out, across and back, then straight on through the datum into the next sector; a second run is turned 30 degrees.
    Raises ValueError for a radius that is not above 0 or no runs.
    """
    above_zero(radius_m=radius_m, runs=runs)
    points = [datum]
    for run in range(runs):
        bearing = first_deg + SECOND_RUN_DEG * run
        for leg in range(SECTOR_LEGS):
            points.append(_on(points[-1], bearing, radius_m))
            bearing += 0.0 if leg % 3 == 2 else SECTOR_TURN_DEG  # straight on where it crosses the datum
        points[-1] = datum  # where it ends but for rounding
    return points


def parallel_tracks(area: Rectangle, spacing_m: float, toward: Point | None = None) -> list[Point]:
    """Tracks along the longer side, the outer ones half a spacing inside the edge, as their ends are.

    As many as cover the shorter side. Begins at the corner nearest to `toward`, else at the one astern on the left.
    Raises ValueError for a spacing or a side that is not above 0.
    """
    above_zero(spacing_m=spacing_m, along_m=area.along_m, across_m=area.across_m)
    tracks = max(1, ceil(area.across_m / spacing_m - 1e-9))
    half = max(0.0, 0.5 * (area.along_m - spacing_m))
    offsets = [spacing_m * (track - 0.5 * (tracks - 1)) for track in range(tracks)]
    ways = [_zigzag(offsets[::side], end * half) for side in (1, -1) for end in (-1.0, 1.0)]
    turned = [[_turned(area, along, across) for along, across in way] for way in ways]
    if toward is None:
        return turned[0]
    return min(turned, key=lambda points: hypot(points[0][0] - toward[0], points[0][1] - toward[1]))


def steered(points: Sequence[Point], begin: datetime, speed_m_s: float, moved: Moved = still,
            most_s: float | None = None) -> Course:
    """The course over the ground that keeps to these points of a drifting frame, at one speed over the ground.

    Where `most_s` seconds are over it ends, in the middle of a leg if need be. Raises SearchError for a drift that
    the boat does not outrun, and ValueError for fewer than two points or a speed that is not above 0.
    """
    above_zero(speed_m_s=speed_m_s)
    if len(points) < 2:
        raise ValueError("a course has %d points; allowed is 2 or more: correct it" % len(points))
    drift = moved(0.0)
    rows = [(0.0, points[0][0] + drift[0], points[0][1] + drift[1])]
    for point in points[1:]:
        rows.append(_met(rows[-1], point, speed_m_s, moved))
        if most_s is not None and rows[-1][0] >= most_s:
            rows[-1] = _cut(rows[-2], rows[-1], most_s)
            break
    seconds, east, north = np.transpose(rows)
    return Course(begin, seconds, east, north)


def pattern(kind: str, course: Course, spacing_m: float, speed_kn: float, drifting: Drifting,
            spans: Sequence[Span]) -> Pattern:
    """The course as a pattern to hand on: its waypoints, its length and hours, and the chance that it finds the lander.

    That chance is worked out particle by particle (`meeting.chance`), all of it that is not afloat or elsewhere
    counted as missed.
    """
    plane = drifting.plane
    waypoints = tuple(plane.position(float(east), float(north))
                      for east, north in zip(course.east_m, course.north_m, strict=True))
    return Pattern(kind, waypoints, spacing_m, course.length_m, speed_kn, float(course.seconds[-1]) / 3600,
                   chance(course, drifting, spans))


# --- geometry ---------------------------------------------------------------------------------------------------------


def _on(point: Point, bearing_deg: float, metres: float) -> Point:
    return point[0] + metres * sin(radians(bearing_deg)), point[1] + metres * cos(radians(bearing_deg))


def _zigzag(offsets: Sequence[float], start: float) -> list[Point]:
    """(along, across) of the ends of the tracks in the order they are steered; the first one begins at `start`."""
    points = []
    for number, offset in enumerate(offsets):
        first = start if number % 2 == 0 else -start
        points += [(first, offset), (-first, offset)]
    return points


def _turned(area: Rectangle, along: float, across: float) -> Point:
    """`across` is to the right of the axis."""
    sine, cosine = sin(radians(area.axis_deg)), cos(radians(area.axis_deg))
    return area.middle[0] + along * sine + across * cosine, area.middle[1] + along * cosine - across * sine


def _met(here: tuple[float, float, float], point: Point, speed_m_s: float, moved: Moved) -> tuple[float, float, float]:
    """When and where the boat meets a point of the frame: steered for where it will be on arrival, found by steps."""
    seconds, east, north = here
    arrival = seconds
    for _ in range(_MEETINGS):
        drift = moved(arrival)
        there = point[0] + drift[0], point[1] + drift[1]
        guess, arrival = arrival, seconds + hypot(there[0] - east, there[1] - north) / speed_m_s
        if abs(arrival - guess) < _MET_S:
            return arrival, *there
    raise SearchError([
        "the boat's speed of %.1f kn does not outrun the drift of the lander: search faster, or wait ahead of it"
        % (speed_m_s / M_S_PER_KN)])


def _cut(before: tuple[float, float, float], after: tuple[float, float, float], seconds: float
         ) -> tuple[float, float, float]:
    if after[0] <= before[0]:
        return before
    share = (seconds - before[0]) / (after[0] - before[0])
    return seconds, before[1] + share * (after[1] - before[1]), before[2] + share * (after[2] - before[2])
