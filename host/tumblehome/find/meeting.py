"""How likely the lander is seen from a boat that steers a course, while both move.

Between two moments boat and particles go in straight lines, so the chances that the lookout has (`Sighting`: a rate by
the distance) are summed in closed form: the time within range, and the inverse cube along a line. Nothing is stepped
through, and nothing is missed between steps. A particle counts only while it is afloat, and by its lamp only while that
is counted on.
"""

from bisect import bisect_right
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from tumblehome.find.lamps import Lamps
from tumblehome.find.shapes import Cloud, Numbers, Plane
from tumblehome.find.sighting import LAMP, NEAREST_M, Sighting, Span

Point = tuple[float, float]  # metres east and north
Moved = Callable[[float], Point]  # how far a drifting frame has moved, so many seconds after its beginning

STILL_M = 1e-3  # who moves less past the boat is taken to stay where it is


@dataclass(frozen=True)
class Course:
    """A way as it is steered over the ground: metres in a plane at so many seconds after `begin`, straight between."""

    begin: datetime
    seconds: Numbers
    east_m: Numbers
    north_m: Numbers

    @property
    def end(self) -> datetime:
        return self.begin + timedelta(seconds=float(self.seconds[-1]))

    @property
    def length_m(self) -> float:
        return float(np.sum(np.hypot(np.diff(self.east_m), np.diff(self.north_m))))


class Drifting:
    """Particles between the moments of their clouds: places in a straight line, afloat only where they had been before.

    `clouds` are in order of time, of one plane, with the same particles in the same order. One cloud alone goes on with
    `drift_m_s` (east, north). `lamps`: how the lamp of each particle flashes, from the first cloud on; without it all
    flash fully. Raises ValueError for clouds that do not belong together.
    """

    def __init__(self, clouds: Sequence[Cloud], drift_m_s: tuple[float, float] = (0.0, 0.0),
                 lamps: Lamps | None = None) -> None:
        if not clouds:
            raise ValueError("there is no cloud: give one or more")
        first = clouds[0]
        for earlier, later in zip(clouds, clouds[1:], strict=False):
            if later.at <= earlier.at or later.plane != first.plane or later.weight.shape != first.weight.shape:
                raise ValueError("the clouds of %s and %s do not belong together: one plane, the same particles, in"
                                 " the order of time" % (earlier.at.isoformat(), later.at.isoformat()))
        self.clouds = tuple(clouds)
        self.plane: Plane = first.plane
        self.weight: Numbers = first.weight
        self.way = first.way
        self._drift_m_s = drift_m_s
        self._lamps = lamps

    def at(self, moment: datetime) -> tuple[Numbers, Numbers]:
        """Metres east and north of every particle.

        Raises ValueError for a moment that several clouds do not reach.
        """
        first, last = self.clouds[0], self.clouds[-1]
        if len(self.clouds) == 1:
            seconds = (moment - first.at).total_seconds()
            return first.east_m + seconds * self._drift_m_s[0], first.north_m + seconds * self._drift_m_s[1]
        if not first.at <= moment <= last.at:
            raise ValueError("%s lies outside of the clouds, %s to %s: work out clouds for all of the search" % (
                moment.isoformat(), first.at.isoformat(), last.at.isoformat()))
        place = min(self._before(moment), len(self.clouds) - 2)
        one, other = self.clouds[place], self.clouds[place + 1]
        share = (moment - one.at) / (other.at - one.at)
        return one.east_m + share * (other.east_m - one.east_m), one.north_m + share * (other.north_m - one.north_m)

    def afloat(self, moment: datetime) -> np.ndarray:
        """Which were afloat at the last cloud up to then; who comes up in between counts from the next."""
        return self.clouds[self._before(moment)].afloat

    def lit(self, moment: datetime) -> np.ndarray:
        """Whose lamps are counted on up to then."""
        return self.rhythm(moment) > 0.0

    def rhythm(self, moment: datetime) -> Numbers:
        """How often the lamp of each flashes then, as a share of the full rhythm."""
        if self._lamps is None:
            return np.ones(self.weight.shape)
        return self._lamps.rhythm((moment - self.clouds[0].at).total_seconds())

    def frame(self, begin: datetime, members: np.ndarray) -> Moved:
        """How the mean of these particles moves from `begin` on: the frame that a pattern is laid in."""
        weight = self.weight[members] / self.weight[members].sum()
        moments = sorted({begin, *(cloud.at for cloud in self.clouds if cloud.at > begin)})
        if len(self.clouds) == 1:
            moments = [begin, begin + timedelta(days=1)]
        seconds = np.array([(moment - begin).total_seconds() for moment in moments])
        means = np.array([[float(np.sum(weight * axis[members])) for axis in self.at(moment)] for moment in moments])
        means -= means[0]

        return _along(seconds.tolist(), [(float(east), float(north)) for east, north in means])

    def thinned(self, most: int) -> "Drifting":
        """The same with at most so many of the particles, evenly picked, their weights made to add up as before."""
        step = -(-self.weight.size // most)
        if step <= 1:
            return self
        pick = slice(step // 2, None, step)
        scale = self.weight.sum() / self.weight[pick].sum()
        return Drifting([Cloud(
            cloud.plane, cloud.at, cloud.ways, cloud.east_m[pick], cloud.north_m[pick], cloud.weight[pick] * scale,
            cloud.way[pick], cloud.afloat[pick]) for cloud in self.clouds], self._drift_m_s,
            None if self._lamps is None else self._lamps.picked(pick))

    def _before(self, moment: datetime) -> int:
        return max(0, bisect_right(self.clouds, moment, key=lambda cloud: cloud.at) - 1)


def _along(seconds: list[float], places: list[Point]) -> Moved:
    """The place at a time, in straight lines; before the first and after the last they stand still."""
    def moved(after_s: float) -> Point:
        later = min(max(1, bisect_right(seconds, after_s)), len(seconds) - 1)
        if later == 0:
            return places[0]
        one, other = places[later - 1], places[later]
        share = min(1.0, max(0.0, (after_s - seconds[later - 1]) / (seconds[later] - seconds[later - 1])))
        return one[0] + share * (other[0] - one[0]), one[1] + share * (other[1] - one[1])
    return moved


def found(course: Course, drifting: Drifting, spans: Sequence[Span]) -> Numbers:
    """Chance that each particle is seen by steering the whole course, 0 to 1.

    `spans` say how it is seen when; where there is none, nothing is seen.
    """
    grown = [exposure for _end, exposure in _exposures(course, drifting, spans)]
    return -np.expm1(-grown[-1]) if grown else np.zeros(drifting.weight.shape)


def growing(course: Course, drifting: Drifting, spans: Sequence[Span]) -> tuple[Numbers, Numbers]:
    """How the chance to have found the lander grows: seconds after the beginning, and the chance by then."""
    rows = [(0.0, 0.0)]
    for end, exposure in _exposures(course, drifting, spans):
        rows.append(((end - course.begin).total_seconds(), float(np.sum(drifting.weight * -np.expm1(-exposure)))))
    seconds, chances = np.transpose(rows)
    return seconds, chances


def _exposures(course: Course, drifting: Drifting, spans: Sequence[Span]) -> Iterator[tuple[datetime, Numbers]]:
    """Chances that the lookout has had with each particle, at the end of each piece; one array that goes on growing."""
    exposure = np.zeros(drifting.weight.shape)
    reached, apart = None, (exposure, exposure)  # the moment of the last places from the boat, and these
    for begin, end, span in _pieces(course, drifting, spans):
        before = apart if reached == begin else _from_boat(course, drifting, begin)
        reached, apart = end, _from_boat(course, drifting, end)
        seen = drifting.afloat(begin) & _near(span.sighting.range_m, before, apart)
        rhythm = np.ones(1)
        if span.sighting.by == LAMP:
            rhythm = drifting.rhythm(end)  # a lamp that goes out within counts no more
            seen = seen & (rhythm > 0.0)
            rhythm = rhythm[seen]
        if seen.any():
            exposure[seen] += rhythm * exposed(
                span.sighting, (end - begin).total_seconds(),
                (before[0][seen], before[1][seen]), (apart[0][seen], apart[1][seen]))
        yield end, exposure


def chance(course: Course, drifting: Drifting, spans: Sequence[Span]) -> float:
    """Probability that the lander is found by steering the whole course, by the weights of the particles."""
    return float(np.sum(drifting.weight * found(course, drifting, spans)))


def exposed(sighting: Sighting, seconds: float, begin_m: tuple[Numbers, Numbers], end_m: tuple[Numbers, Numbers]
            ) -> Numbers:
    """Chances that a lookout has while the lander moves in a straight line past the boat: the integral of the rate.

    `begin_m` and `end_m` are east and north from the boat, at the beginning and the end of these seconds.
    """
    east, north = end_m[0] - begin_m[0], end_m[1] - begin_m[1]
    way_m = np.hypot(east, north)
    still = way_m < STILL_M
    way_m = np.where(still, STILL_M, way_m)
    from_m = (begin_m[0] * east + begin_m[1] * north) / way_m
    to_m = from_m + way_m
    abeam2 = np.maximum(begin_m[0] ** 2 + begin_m[1] ** 2 - from_m**2, NEAREST_M**2)
    half = np.sqrt(np.maximum(0.0, sighting.range_m**2 - abeam2))  # of the line within range
    low, high = np.clip(from_m, -half, half), np.clip(to_m, -half, half)
    chances = sighting.steady_per_s * (high - low)
    if sighting.cube_m3_s:
        chances += sighting.cube_m3_s * (_cube(high, abeam2) - _cube(low, abeam2))
    mean_per_s = chances / way_m
    if still.any():
        mean_per_s = np.where(still, sighting.rate_per_s(np.hypot(*begin_m)), mean_per_s)
    return seconds * mean_per_s


def _cube(along_m: Numbers, abeam2: Numbers) -> Numbers:
    """The integral of 1 / distance^3 along a line from its nearest point."""
    return along_m / (abeam2 * np.sqrt(abeam2 + along_m**2))


def _pieces(course: Course, drifting: Drifting, spans: Sequence[Span]) -> list[tuple[datetime, datetime, Span]]:
    """Times within the course in which boat, particles and light are each of one kind."""
    begin, end = course.begin, course.end
    edges = {begin, end}
    edges.update(begin + timedelta(seconds=float(seconds)) for seconds in course.seconds)
    edges.update(cloud.at for cloud in drifting.clouds if begin < cloud.at < end)
    edges.update(moment for span in spans for moment in (span.begin, span.end) if begin < moment < end)
    in_order = sorted(edges)
    pieces = []
    for one, other in zip(in_order, in_order[1:], strict=False):
        span = next((span for span in spans if span.begin <= one < span.end), None)
        if span is not None:
            pieces.append((one, other, span))
    return pieces


def _from_boat(course: Course, drifting: Drifting, moment: datetime) -> tuple[Numbers, Numbers]:
    """East and north from the boat to every particle."""
    seconds = (moment - course.begin).total_seconds()
    east, north = drifting.at(moment)
    return (east - float(np.interp(seconds, course.seconds, course.east_m)),
            north - float(np.interp(seconds, course.seconds, course.north_m)))


def _near(range_m: float, begin_m: tuple[Numbers, Numbers], end_m: tuple[Numbers, Numbers]) -> np.ndarray:
    """Who may come within range on the line between: not those for whom a whole side of the boat is out of reach."""
    near = np.ones(begin_m[0].shape, bool)
    for one, other in zip(begin_m, end_m, strict=True):
        near &= (np.minimum(one, other) <= range_m) & (np.maximum(one, other) >= -range_m)
    return near
