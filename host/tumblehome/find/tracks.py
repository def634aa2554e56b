"""Tracks of boats that searched, from GPX files: where they were and when.

Each segment of a track counts as searched from its first to its last point, in straight lines between points; between
segments nothing does. So a pause belongs into a new segment, and a gap within one is refused.
"""

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import gpxpy
import numpy as np
from geographiclib.geodesic import Geodesic
from gpxpy.gpx import GPXException, GPXTrackPoint

from seatrial.complaints import complaint
from tumblehome.find.mistakes import FindError, told
from tumblehome.find.shapes import Numbers, Plane, Position
from tumblehome.find.text_files import text_of

BYTES_MAX = 50_000_000
GAP_MAX = timedelta(minutes=10)  # at 6 kn a mile: over more, nobody knows what was searched
FASTEST_KN = 60.0
KN_M_S = 1852.0 / 3600.0


@dataclass(frozen=True)
class Segment:
    """Points of a track that belong together, in order of time, two or more."""

    moments: tuple[datetime, ...]
    positions: tuple[Position, ...]

    def after_s(self, moment: datetime) -> Numbers:
        """Its moments as seconds after another one."""
        return np.array([(own - moment).total_seconds() for own in self.moments])

    def between(self, begin: datetime, end: datetime) -> "Segment | None":
        """The part of it from one moment to another; None where that is nothing."""
        begin, end = max(begin, self.moments[0]), min(end, self.moments[-1])
        if end <= begin:
            return None
        inner = [(moment, position) for moment, position in zip(self.moments, self.positions, strict=True)
                 if begin < moment < end]
        moments, positions = zip((begin, self._at(begin)), *inner, (end, self._at(end)), strict=True)
        return Segment(moments, positions)

    def _at(self, moment: datetime) -> Position:
        after = bisect_left(self.moments, moment)
        if self.moments[after] == moment:
            return self.positions[after]
        start, end = self.positions[after - 1], self.positions[after]
        share = (moment - self.moments[after - 1]) / (self.moments[after] - self.moments[after - 1])
        east_m, north_m = Plane(start).metres(end)
        return Plane(start).position(share * east_m, share * north_m)

    def metres(self, plane: Plane) -> tuple[Numbers, Numbers]:
        """Its points in a plane, m east and north of the origin."""
        east_north = np.array([plane.metres(position) for position in self.positions])
        return east_north[:, 0], east_north[:, 1]


@dataclass(frozen=True)
class Track:
    """What one file holds."""

    file: str
    segments: tuple[Segment, ...]

    def between(self, begin: datetime, end: datetime) -> "Track | None":
        """The part of it from one moment to another, for a search by another light; None where that is nothing."""
        parts = [segment.between(begin, end) for segment in self.segments]
        kept = tuple(part for part in parts if part is not None)
        return Track(self.file, kept) if kept else None

    @property
    def first(self) -> datetime:
        """When the search began."""
        return min(segment.moments[0] for segment in self.segments)

    @property
    def last(self) -> datetime:
        """When it ended."""
        return max(segment.moments[-1] for segment in self.segments)


def read(path: Path, splash: datetime) -> Track:
    """The track in a GPX file, all of it after the splash. Raises FindError with what is wrong and the way out."""
    segments = [_segment(path.name, number, points, splash) for number, points in enumerate(_points(path), 1)]
    return Track(path.name, tuple(segments))


def look_for_copies(tracks: Sequence[Track]) -> None:
    """Raise FindError where the same stretch of a search comes twice: it would count as two searches.

    One shared point is the place where a track was split.
    """
    seen: dict[tuple[datetime, Position], str] = {}
    for track in tracks:
        for number, segment in enumerate(track.segments, 1):
            where = f"{track.file}, segment {number}"
            points = list(zip(segment.moments, segment.positions, strict=True))
            shared = [point for point in points if point in seen]
            if len(shared) > 1:
                raise FindError([f"{where} holds the same points as {seen[shared[0]]} from {told(shared[0][0])} to"
                                 f" {told(shared[-1][0])}: leave one of them out, what was searched once counts once"])
            seen.update(dict.fromkeys(points, where))


def _points(path: Path) -> Iterator[Sequence[GPXTrackPoint]]:
    text = text_of(path, BYTES_MAX, "a GPX file", "export the track as GPX 1.1")
    if not text.strip():
        raise FindError([f"{path.name} is empty: export the track again"])
    try:
        gpx = gpxpy.parse(text)
    except (GPXException, ValueError, TypeError, AttributeError) as error:
        raise FindError([f"{path.name} is no GPX file ({complaint(error)}): export the track as GPX 1.1"]) from None
    found = [segment.points for track in gpx.tracks for segment in track.segments if segment.points]
    if not found:
        other = " (it has a route or waypoints, which were not steered)" if gpx.routes or gpx.waypoints else ""
        raise FindError([f"{path.name} holds no track{other}: export the track that the boat recorded"])
    longer = [points for points in found if len(points) > 1]
    if not longer:
        raise FindError([f"{path.name} holds single points and no track: export the track that the boat recorded"])
    yield from longer


def _segment(file: str, number: int, points: Sequence[GPXTrackPoint], splash: datetime) -> Segment:
    where = f"{file}, segment {number}"
    moments = [_moment(where, place, point) for place, point in enumerate(points, 1)]
    positions = [_position(where, place, point) for place, point in enumerate(points, 1)]
    if moments[0] < splash:
        raise FindError([f"{where} begins at {told(moments[0])}, before the splash at {told(splash)}: cut off what was"
                         " steered before, or look whether it is the track of this dive"])
    kept_moments, kept_positions = [moments[0]], [positions[0]]
    for moment, position in zip(moments[1:], positions[1:], strict=True):
        if moment == kept_moments[-1]:
            continue  # a second point of the same second tells nothing new
        _look_at_leg(where, kept_moments[-1], moment, kept_positions[-1], position)
        kept_moments.append(moment)
        kept_positions.append(position)
    if len(kept_moments) < 2:
        raise FindError([f"{where} has one moment only, {told(moments[0])}: export the track with the time of every"
                         " point"])
    return Segment(tuple(kept_moments), tuple(kept_positions))


def _moment(where: str, place: int, point: GPXTrackPoint) -> datetime:
    if point.time is None:
        raise FindError([f"{where}, point {place} has no time: export the track as it was recorded, with times"])
    return point.time.replace(tzinfo=UTC) if point.time.tzinfo is None else point.time.astimezone(UTC)


def _position(where: str, place: int, point: GPXTrackPoint) -> Position:
    if -90.0 <= point.latitude <= 90.0 and -180.0 <= point.longitude <= 180.0:
        return Position(float(point.latitude), float(point.longitude))
    raise FindError([f"{where}, point {place} lies at latitude {point.latitude:g}, longitude {point.longitude:g};"
                     " allowed is -90 to 90 and -180 to 180, at the antimeridian too: export the track again"])


def _look_at_leg(where: str, before: datetime, after: datetime, start: Position, end: Position) -> None:
    if after < before:
        raise FindError([f"{where}: {told(after)} stands after {told(before)}: put its points in the order of time"])
    if after - before > GAP_MAX:
        minutes = (after - before) / timedelta(minutes=1)
        raise FindError([f"{where} has a gap of {minutes:.0f} min from {told(before)} to {told(after)}; allowed is"
                         f" {GAP_MAX / timedelta(minutes=1):.0f}: split it there into two segments, nothing between"
                         " them counts as searched"])
    length_m = Geodesic.WGS84.Inverse(
        start.latitude_deg, start.longitude_deg, end.latitude_deg, end.longitude_deg, Geodesic.DISTANCE)["s12"]
    speed_kn = length_m / (after - before).total_seconds() / KN_M_S
    if speed_kn > FASTEST_KN:
        raise FindError([f"{where} goes {speed_kn:.0f} kn from {told(before)} to {told(after)}; allowed is"
                         f" {FASTEST_KN:.0f}: take out the point that is off, or split the track there"])
