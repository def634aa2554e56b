"""What a search that found nothing says of where the lander is: Bayes, particle by particle.

A particle that was afloat and near the boat would likely have been seen, so it counts less afterwards; whatever lay
elsewhere, was below or stays down counts more. The boat goes in straight lines between the points of its track, each
particle in a straight line from cloud to cloud; it counts as afloat from the first cloud that shows it afloat.

How likely it is seen is told in one of two ways. By the pass: a function of the nearest distance gives the chance
of being seen in one pass of the boat (lateral range curve; Koopman, Search and Screening, 1946). A pass is over when
the distance has grown again by half and 100 m; where the track begins or ends at its nearest place it is half a pass.
By the second: a function of the distance gives a rate, and the chances of being missed multiply.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from math import ceil

import numpy as np

from tumblehome.find.lamps import Lamps
from tumblehome.find.mistakes import FindError, told
from tumblehome.find.shapes import Cloud, Numbers
from tumblehome.find.tracks import Segment, Track

Law = Callable[[Numbers], Numbers]  # metres to the chance of one pass, or to a rate per second
# Along the boat's track a step is the 20th part of how far it sees: then the nearest distance there is off by less than
# 1/3000 of itself; a minute at the most where the boat lies still.
STEPS_A_REACH, STEP_MIN_M, STEP_MAX_M, STEP_MAX_S = 20, 10.0, 200.0, 60.0
REACH_MAX_M = 200_000.0  # nothing at the surface is seen or heard so far
LEAST_A_PASS, LEAST_A_SECOND = 1e-6, 1e-9  # less than this is nothing
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
    clouds: Iterable[Cloud], tracks: Sequence[Track], a_pass: Law | None = None, a_second: Law | None = None,
    lamps: Lamps | None = None,
) -> Numbers:
    """The chance of each particle not to have been seen from these tracks, 0 to 1, in the order of the clouds.

    `clouds` are those of one cast in order of time, at `moments_for(tracks)` or closer; give one law of the two. Every
    segment is a search of its own, whoever steered it. Where it is seen by its lamp, `lamps` tells how that flashes
    from the first cloud on: out, it is not seen; seldom, a law by the second gives so much less. Where the light
    changes, cut the tracks (`Track.between`) and multiply what each part with its own law leaves. Raises FindError
    where the clouds do not reach over the tracks.
    """
    series = iter(clouds)
    before = next(series, None)
    if before is None:
        raise ValueError("there is no cloud to search in")
    first_at = before.at
    _look_at_reach(tracks, first_at, "begins", "from")
    searches = [_Search(segment, before, _look(a_pass, a_second, len(before.weight)))
                for track in tracks for segment in track.segments]
    for after in series:
        since_first_s = (before.at - first_at).total_seconds()
        shows = np.where(before.afloat & (before.weight > 0.0), 1.0, 0.0)
        if lamps is not None:
            shows *= lamps.rhythm(since_first_s)
        for search in searches:
            search.go_on(before, after, shows)
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


def _reach_m(law: Law, least: float) -> float:
    """The distance beyond which a law gives no more than `least`."""
    distances_m = np.geomspace(1.0, REACH_MAX_M, 2000)
    gives = np.flatnonzero(law(distances_m) > least)
    return float(distances_m[min(gives[-1] + 1, len(distances_m) - 1)]) if len(gives) else 0.0


class _Search:
    """One segment of a track, gone along cloud by cloud."""

    def __init__(self, segment: Segment, first: Cloud, look: "_Passes | _Seconds") -> None:
        self.look = look
        self._zero = first.at
        self._boat_s = segment.after_s(first.at)
        self._boat_m = segment.metres(first.plane)
        self._step_m = min(STEP_MAX_M, max(STEP_MIN_M, look.reach_m / STEPS_A_REACH))

    def go_on(self, before: Cloud, after: Cloud, shows: Numbers) -> None:
        """The part of it that lies between two clouds; `shows` is the share of the law that holds for each particle."""
        start_s, end_s = ((cloud.at - self._zero).total_seconds() for cloud in (before, after))
        if self._boat_s[-1] < start_s or self._boat_s[0] > end_s or end_s <= start_s:
            return
        moments_s = self._moments_s(max(self._boat_s[0], start_s), min(self._boat_s[-1], end_s))
        boat_m = [np.interp(moments_s, self._boat_s, metres) for metres in self._boat_m]
        near = np.flatnonzero((shows > 0.0) & self._near(before, after, boat_m))
        self.look.leave(near)
        east, north = before.east_m[near], before.north_m[near]
        drifts_east, drifts_north = after.east_m[near] - east, after.north_m[near] - north
        seconds = np.diff(moments_s, append=moments_s[-1]), np.diff(moments_s, prepend=moments_s[0])
        stands_for_s = (seconds[0] + seconds[1]) / 2
        for moment_s, boat_east, boat_north, step_s in zip(moments_s, *boat_m, stands_for_s, strict=True):
            part = (moment_s - start_s) / (end_s - start_s)
            self.look.look(near, np.hypot(
                east + part * drifts_east - boat_east, north + part * drifts_north - boat_north), step_s * shows[near])

    def _near(self, before: Cloud, after: Cloud, boat_m: Sequence[Numbers]) -> np.ndarray:
        """Particles that may come within reach: a rectangle around both ways."""
        reach_m = TURNED_SHARE * self.look.reach_m + TURNED_M + self._step_m
        near = np.ones(before.weight.shape, dtype=bool)
        for ends, metres in zip(((before.east_m, after.east_m), (before.north_m, after.north_m)), boat_m, strict=True):
            near &= np.maximum(*ends) >= metres.min() - reach_m
            near &= np.minimum(*ends) <= metres.max() + reach_m
        return near

    def _moments_s(self, from_s: float, to_s: float) -> Numbers:
        """Moments at which to look: no more than a step or a minute apart, corners a step apart among them."""
        moments_s, place_m = [from_s], self._boat_at(from_s)
        for corner_s in (*self._boat_s[(self._boat_s > from_s) & (self._boat_s < to_s)], to_s):
            corner_m = self._boat_at(corner_s)
            steps = max(float(np.hypot(corner_m[0] - place_m[0], corner_m[1] - place_m[1])) / self._step_m,
                        (corner_s - moments_s[-1]) / STEP_MAX_S)
            if steps < 1 and corner_s < to_s:
                continue
            moments_s += list(np.linspace(moments_s[-1], corner_s, ceil(steps) + 1)[1:])
            place_m = corner_m
        return np.array(moments_s)

    def _boat_at(self, moment_s: float) -> tuple[float, float]:
        east_m, north_m = (float(np.interp(moment_s, self._boat_s, metres)) for metres in self._boat_m)
        return east_m, north_m


class _Seconds:
    """Seen at a rate per second that depends on the distance."""

    def __init__(self, law: Law, count: int) -> None:
        self._law, self._missed = law, np.ones(count)
        self.reach_m = _reach_m(law, LEAST_A_SECOND)

    def leave(self, near: np.ndarray) -> None:
        """What is out of reach is not seen; nothing is to be kept of it."""

    def look(self, which: np.ndarray, distance_m: Numbers, exposed_s: Numbers) -> None:
        self._missed[which] *= np.exp(-self._law(distance_m) * exposed_s)

    def missed(self) -> Numbers:
        return self._missed


class _Passes:
    """Seen or missed once in each pass, by its nearest distance."""

    def __init__(self, law: Law, count: int) -> None:
        self._law, self._missed = law, np.ones(count)
        self.reach_m = _reach_m(law, LEAST_A_PASS)
        self._nearest_m = np.full(count, np.inf)  # in the pass it is in
        self._farthest_m = np.full(count, np.inf)  # since the last pass was over
        self._last_m = np.full(count, np.inf)
        self._near = np.ones(count, dtype=bool)  # in a pass; else waiting for the boat to come nearer again
        self._half = np.ones(count, dtype=bool)  # the nearest place so far is the first from which it could be seen

    def leave(self, near: np.ndarray) -> None:
        """End the pass of all others, which are farther away than where a pass is over."""
        others = self._near & np.isfinite(self._nearest_m)
        others[near] = False
        self._end(np.flatnonzero(others))
        self._near[others], self._farthest_m[others] = False, np.inf

    def look(self, which: np.ndarray, distance_m: Numbers, exposed_s: Numbers) -> None:
        near, nearest_m = self._near[which], self._nearest_m[which]
        nearer = near & (distance_m < nearest_m)
        self._half[which[nearer & np.isfinite(nearest_m)]] = False
        self._nearest_m[which[nearer]] = distance_m[nearer]
        over = near & (distance_m > TURNED_SHARE * nearest_m + TURNED_M)
        if over.any():
            self._end(which[over])
            self._near[which[over]] = False
            self._farthest_m[which[over]] = distance_m[over]
        away = ~near
        far_m = np.maximum(self._farthest_m[which[away]], distance_m[away])
        self._farthest_m[which[away]] = far_m
        again = which[away][TURNED_SHARE * distance_m[away] + TURNED_M < far_m]
        self._near[again], self._half[again] = True, False
        self._nearest_m[again] = REACH_MAX_M
        self._last_m[which] = distance_m

    def missed(self) -> Numbers:
        """The passes that are not over when the track ends are closed there."""
        still = np.flatnonzero(self._near & np.isfinite(self._nearest_m))
        self._half[still] |= self._last_m[still] <= self._nearest_m[still]  # it was still coming nearer
        self._end(still)
        self._near[still] = False
        return self._missed

    def _end(self, which: np.ndarray) -> None:
        missed = 1.0 - np.clip(self._law(self._nearest_m[which]), 0.0, 1.0)
        self._missed[which] *= np.where(self._half[which], np.sqrt(missed), missed)
