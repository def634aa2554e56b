"""What a search that found nothing says of where the lander is: Bayes, particle by particle.

A particle that was afloat and near the boat would likely have been seen, so it counts less afterwards; whatever lay
elsewhere, was below or stays down counts more. The boat goes in straight lines between the points of its track, each
particle in a straight line from cloud to cloud; it counts as afloat from the first cloud that shows it afloat.

How likely it is seen is told in one of two ways. By the pass: a function of the nearest distance gives the chance
of being seen in one pass of the boat (lateral range curve; Koopman, Search and Screening, 1946). A pass is over when
the distance has grown again by half and 100 m; where the track begins or ends at its nearest place it is half a pass.
By the second: a function of the distance gives a rate, and the chances of being missed multiply.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from math import ceil

import numpy as np

from tumblehome.find.mistakes import FindError, told
from tumblehome.find.shapes import Cloud, Numbers
from tumblehome.find.tracks import Segment, Track

Law = Callable[[Numbers], Numbers]  # metres to the chance of one pass, or to a rate per second
STEP_M = 50.0  # along the boat's track: a nearest distance of 200 m is off by 2 m at the most
STEP_MAX_S = 60.0
TURNED_SHARE, TURNED_M = 1.5, 100.0  # a pass is over beyond this; wobbling positions make no second one
CLOUDS_APART = timedelta(minutes=10)  # between them a particle drifts some hundred metres, in a straight line


def moments_for(tracks: Sequence[Track]) -> list[datetime]:
    """The moments of clouds that these tracks want, every ten minutes from their first to their last; none: none."""
    if not tracks:
        return []
    first, last = min(track.first for track in tracks), max(track.last for track in tracks)
    count = ceil((last - first) / CLOUDS_APART)
    return [first + number * CLOUDS_APART for number in range(count)] + [last]


def chance_unseen(
    clouds: Iterable[Cloud], tracks: Sequence[Track], a_pass: Law | None = None, a_second: Law | None = None
) -> Numbers:
    """The chance of each particle not to have been seen from these tracks, 0 to 1, in the order of the clouds.

    `clouds` are those of one cast in order of time, at `moments_for(tracks)` or closer; give one law of the two. Every
    segment is a search of its own, whoever steered it. Raises FindError where the clouds do not reach over the tracks.
    """
    series = iter(clouds)
    before = next(series, None)
    if before is None:
        raise ValueError("there is no cloud to search in")
    _look_at_reach(tracks, before.at, "begins", "from")
    searches = [_Search(segment, before, _look(a_pass, a_second, len(before.weight)))
                for track in tracks for segment in track.segments]
    for after in series:
        for search in searches:
            search.go_on(before, after)
        before = after
    _look_at_reach(tracks, before.at, "ends", "until")
    unseen = np.ones(before.weight.shape)
    for search in searches:
        unseen *= search.look.missed()
    return unseen


def after_search(cloud: Cloud, unseen: Numbers) -> Cloud:
    """The cloud once that search has found nothing: weights and ways by Bayes, places as they were.

    `unseen` is for the same cast, as `chance_unseen` gives it. Raises FindError when nothing is left: all of it would
    have been seen for certain.
    """
    weight = cloud.weight * unseen
    total = weight.sum()
    if not total > 0.0:
        raise FindError(["the search would have found the lander wherever it may be: the chance of seeing it is set too"
                         " high, or the plan's ways home are too few"])
    weight = weight / total
    chances = np.bincount(cloud.way, weights=weight, minlength=len(cloud.ways))
    ways = tuple(replace(way, probability=float(chance)) for way, chance in zip(cloud.ways, chances, strict=True))
    return replace(cloud, weight=weight, ways=ways)


def _look_at_reach(tracks: Sequence[Track], reached: datetime, verb: str, preposition: str) -> None:
    for track in tracks:
        moment = track.first if verb == "begins" else track.last
        if (moment < reached) if verb == "begins" else (moment > reached):
            raise FindError([f"{track.file} {verb} at {told(moment)}, and the drift is worked out only {preposition}"
                             f" {told(reached)}: work it out over the whole track"])


def _look(a_pass: Law | None, a_second: Law | None, count: int) -> "_Passes | _Seconds":
    if a_pass is not None and a_second is None:
        return _Passes(a_pass, count)
    if a_second is not None and a_pass is None:
        return _Seconds(a_second, count)
    raise ValueError("give one law: of a pass, or of a second")


class _Search:
    """One segment of a track, gone along cloud by cloud."""

    def __init__(self, segment: Segment, first: Cloud, look: "_Passes | _Seconds") -> None:
        self.look = look
        self._zero = first.at
        self._boat_s = segment.after_s(first.at)
        self._boat_m = segment.metres(first.plane)

    def go_on(self, before: Cloud, after: Cloud) -> None:
        """The part of it that lies between two clouds."""
        start_s, end_s = ((cloud.at - self._zero).total_seconds() for cloud in (before, after))
        if self._boat_s[-1] < start_s or self._boat_s[0] > end_s or end_s <= start_s:
            return
        can_be_seen = np.flatnonzero(before.afloat & (before.weight > 0.0))
        east, north = before.east_m[can_be_seen], before.north_m[can_be_seen]
        drifts_east, drifts_north = after.east_m[can_be_seen] - east, after.north_m[can_be_seen] - north
        for seconds, step_s in self._steps(start_s, end_s):
            part = (seconds - start_s) / (end_s - start_s)
            boat_east, boat_north = (float(np.interp(seconds, self._boat_s, metres)) for metres in self._boat_m)
            self.look.look(can_be_seen, np.hypot(
                east + part * drifts_east - boat_east, north + part * drifts_north - boat_north), step_s)

    def _steps(self, start_s: float, end_s: float) -> Iterator[tuple[float, float]]:
        """Moments at which to look, and the seconds that each stands for."""
        from_s, to_s = max(self._boat_s[0], start_s), min(self._boat_s[-1], end_s)
        corners = [from_s, *self._boat_s[(self._boat_s > from_s) & (self._boat_s < to_s)], to_s]
        for leg_from_s, leg_to_s in zip(corners, corners[1:], strict=False):
            (east, east_after), (north, north_after) = (
                np.interp((leg_from_s, leg_to_s), self._boat_s, metres) for metres in self._boat_m)
            length_m = float(np.hypot(east_after - east, north_after - north))
            steps = max(1, ceil(length_m / STEP_M), ceil((leg_to_s - leg_from_s) / STEP_MAX_S))
            step_s = (leg_to_s - leg_from_s) / steps
            for number in range(steps):
                yield from self.look.moments(leg_from_s + number * step_s, step_s)


class _Seconds:
    """Seen at a rate per second that depends on the distance."""

    def __init__(self, law: Law, count: int) -> None:
        self._law, self._missed = law, np.ones(count)

    @staticmethod
    def moments(from_s: float, step_s: float) -> Iterator[tuple[float, float]]:
        """The middle of a step stands for all of it."""
        yield from_s + step_s / 2, step_s

    def look(self, which: np.ndarray, distance_m: Numbers, step_s: float) -> None:
        self._missed[which] *= np.exp(-self._law(distance_m) * step_s)

    def missed(self) -> Numbers:
        return self._missed


class _Passes:
    """Seen or missed once in each pass, by its nearest distance."""

    def __init__(self, law: Law, count: int) -> None:
        self._law, self._missed = law, np.ones(count)
        self._nearest_m = np.full(count, np.inf)  # in the pass it is in
        self._farthest_m = np.full(count, np.inf)  # since the last pass was over
        self._last_m = np.full(count, np.inf)
        self._near = np.ones(count, dtype=bool)  # in a pass; else waiting for the boat to come nearer again
        self._half = np.ones(count, dtype=bool)  # the nearest place so far is the first from which it could be seen

    @staticmethod
    def moments(from_s: float, step_s: float) -> Iterator[tuple[float, float]]:
        """Both ends of a step: at a corner of the track the boat may be nearest."""
        yield from_s, step_s
        yield from_s + step_s, 0.0

    def look(self, which: np.ndarray, distance_m: Numbers, step_s: float) -> None:
        near, nearest_m = self._near[which], self._nearest_m[which]
        nearer = near & (distance_m < nearest_m)
        self._half[which[nearer & np.isfinite(nearest_m)]] = False
        self._nearest_m[which[nearer]] = distance_m[nearer]
        over = near & (distance_m > TURNED_SHARE * nearest_m + TURNED_M)
        if over.any():
            self._end(which[over], self._half[which[over]])
            self._near[which[over]] = False
            self._farthest_m[which[over]] = distance_m[over]
        away = ~near
        far_m = np.maximum(self._farthest_m[which[away]], distance_m[away])
        self._farthest_m[which[away]] = far_m
        again = which[away][TURNED_SHARE * distance_m[away] + TURNED_M < far_m]
        self._near[again], self._half[again] = True, False
        self._nearest_m[again] = np.inf
        self._last_m[which] = distance_m

    def missed(self) -> Numbers:
        """The passes that are not over when the track ends are closed there."""
        open_still = np.flatnonzero(self._near & np.isfinite(self._nearest_m))
        nearer_to_the_end = self._last_m[open_still] <= self._nearest_m[open_still]
        self._end(open_still, self._half[open_still] | nearer_to_the_end)
        self._near[open_still] = False
        return self._missed

    def _end(self, which: np.ndarray, half: np.ndarray) -> None:
        missed = 1.0 - np.clip(self._law(self._nearest_m[which]), 0.0, 1.0)
        self._missed[which] *= np.where(half, np.sqrt(missed), missed)
