"""Searches simulated one by one: does who follows the advice find the lander as often as it says?

`python -m tumblehome.find.trials` draws landers of another seed than the advice was worked out from, as they are before
anything is known. What had happened by then happens to each of them by the toss of a coin: a report is heard or not, a
boat that mows over it notices it or not. Those of whom nobody knows by now are the truth. Then the boat steers the
waypoints as they are handed on, and at every second each flash, or each look, is tossed for. Nothing of the reckoning
of chances is used: neither the weights after Bayes nor the integrals along the track.

What both share are the laws: drift, ways home, how far a flash is seen. The trials say that the sums are right, not
that the sea is.
"""

import argparse
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
from numpy.random import PCG64, Generator
from scipy.stats import binomtest

from seatrial.plan import load_sample
from tumblehome.find.drifting import PARTICLES, clouds, lamps
from tumblehome.find.guesses import built_in
from tumblehome.find.known import Known, NotHeard, StillDown
from tumblehome.find.shapes import Cloud, Plane, Position
from tumblehome.find.sighting import LAMP, Span, searcher_of, spans
from tumblehome.find.telling import Telling, stops
from tumblehome.find.tracks import Segment, Track
from tumblehome.find.ways import STAYS_DOWN
from tumblehome.find.working import Asked, work_out

SEED, OTHER_SEED = 1, 20_270_518
LANDERS = 10_000
DRAWN_FROM = 400_000  # particles of the truth, from which those are taken of whom nobody knows
STEP_S = 1.0
CLOUDS_APART = timedelta(minutes=5)
SURE = 0.99  # of the limits
BOAT_KN = 6.0

@dataclass(frozen=True)
class Case:
    """A question to `find` and its name."""

    name: str
    asked: Asked


@dataclass(frozen=True)
class Outcome:
    """How often the lander was found: the share that was told, and the found ones of so many searches."""

    name: str
    told: float
    found: int
    searches: int

    @property
    def share(self) -> float:
        return self.found / self.searches

    @property
    def limits(self) -> tuple[float, float]:
        """Within which the true share lies with 99 %: Clopper and Pearson, Biometrika 26, 1934."""
        interval = binomtest(self.found, self.searches).proportion_ci(SURE, "exact")
        return float(interval.low), float(interval.high)

    @property
    def holds(self) -> bool:
        low, high = self.limits
        return low <= self.told <= high


def cases(particles: int = PARTICLES) -> list[Case]:
    """The sample dive after a planned surfacing, by day and with hours enough to wait for the dark; after one that was
    missed; and two days after a passive release.
    """
    plan = load_sample()
    splash, searcher = plan.dive.splash_utc, searcher_of(plan, BOAT_KN)
    site = Plane(Position(plan.site.latitude_deg, plan.site.longitude_deg))

    def asked(after_h: float, hours: float, boat_m: tuple[float, float] | None, known: Sequence[Known] = (),
              tracks: Sequence[Track] = ()) -> Asked:
        return Asked(plan, splash + timedelta(hours=after_h), searcher, built_in(), hours,
                     None if boat_m is None else site.position(*boat_m), None, tuple(known),
                     tuple(tracks), seed=SEED, particles=particles)

    planned = asked(5.5, 3.0, (-800.0, 900.0))
    looked = mowed(site, splash + timedelta(hours=5.3), (500.0, 200.0))
    dark = asked(6.0, 6.0, (-800.0, 900.0))
    missed = asked(6.5, 4.0, (0.0, 0.0), (NotHeard(splash + timedelta(hours=6.4), built_in().heard),), (looked,))
    passive = asked(96.0, 24.0, None, (StillDown(splash + timedelta(hours=30)),))
    return [Case("after the planned surfacing", planned), Case("the same, at dark", dark),
            Case("after a missed one, listened and looked for", missed),
            Case("two days after the corroding link", passive)]


def mowed(plane: Plane, begin: datetime, middle: tuple[float, float], side_m: float = 600.0, apart_m: float = 200.0
          ) -> Track:
    """The track of a boat that mows all around a place at 6 kn and sees nothing."""
    rows = np.arange(-side_m, side_m + 1.0, apart_m)
    points = [(middle[0] + end * side_m, middle[1] + north) for row, north in enumerate(rows)
              for end in ((-1, 1) if row % 2 == 0 else (1, -1))]
    lengths = [np.hypot(b[0] - a[0], b[1] - a[1]) for a, b in zip(points, points[1:], strict=False)]
    seconds = np.cumsum([0.0, *lengths]) / (BOAT_KN * 1852 / 3600)
    return Track("mowed", (Segment(tuple(begin + timedelta(seconds=float(each)) for each in seconds),
                                   tuple(plane.position(*point) for point in points)),))


def tried(case: Case, landers: int = LANDERS, drawn_from: int = DRAWN_FROM, seed: int = OTHER_SEED) -> Outcome:
    """The advice for a case, and how often those who follow it find the lander."""
    told = work_out(case.asked)
    advised = told.patterns[0]
    truth = _Truth(case.asked, drawn_from, seed)
    truth.live_through()
    chosen = truth.chosen(landers)
    found = truth.searched(_steered(told), chosen)
    return Outcome(case.name, advised.pattern.detection, int(found.sum()), landers)


def _steered(told: Telling) -> Track:
    """The advised pattern as an instrument steers it: from waypoint to waypoint, each at its time."""
    planned = list(stops(told.patterns[0]))
    return Track("advised", (Segment(tuple(stop.at for stop in planned), tuple(stop.place for stop in planned)),))


class _Truth:
    """Landers of whom nothing is known beforehand, and what happens to them."""

    def __init__(self, asked: Asked, number: int, seed: int) -> None:
        self.asked, self.number, self.seed = asked, number, seed
        self.random = Generator(PCG64(seed + 1))
        self.lamps = lamps(asked.plan, seed, asked.guesses, (), number)
        first = next(iter(self._clouds([asked.at])))
        self.weight = first.weight
        self.stays_down = np.array([way.key == STAYS_DOWN for way in first.ways])[first.way]
        self.unknown = np.ones(first.weight.size, bool)  # nobody has heard or seen it

    def live_through(self) -> None:
        """Up to now: who is heard, seen, or was not below when it was known to be, is not what is looked for."""
        for one in self.asked.known:
            if isinstance(one, StillDown):
                self.unknown &= ~self._at(one.at).afloat
            elif isinstance(one, NotHeard):
                calls = self._at(one.until).afloat & self.lamps.lit(0.0)
                self.unknown &= ~(calls & (self.random.random(self.unknown.size) < one.detection))
            else:
                raise ValueError("%s is not simulated" % type(one).__name__)
        for track in self.asked.tracks:
            everyone = np.arange(self.unknown.size)
            self.unknown &= ~self.searched(track, everyone)

    def chosen(self, landers: int) -> np.ndarray:
        """So many of those of whom nobody knows, by how likely each was at the beginning.

        None is taken twice, or the searches would not be independent, but those that stay down, which are all alike.
        """
        still = self.unknown & self.stays_down
        moving = np.flatnonzero(self.unknown & ~self.stays_down)
        weight = self.weight[moving]
        number = self.random.binomial(landers, weight.sum() / (weight.sum() + self.weight[still].sum()))
        accepted = self.random.permutation(moving[self.random.random(moving.size) * weight.max() < weight])
        if accepted.size < number:
            raise ValueError("%d landers are wanted and %d are left: draw from more" % (number, accepted.size))
        return np.concatenate([accepted[:number], np.full(landers - number, np.flatnonzero(self.stays_down)[0])])

    def searched(self, track: Track, which: np.ndarray) -> np.ndarray:
        """Which of these are noticed from a boat that steers the track, second by second."""
        found = np.zeros(which.size, bool)
        for span in spans(self.asked.plan, self.asked.searcher, track.first, track.last + timedelta(seconds=1)):
            piece = track.between(span.begin, span.end)
            if piece is not None and span.sighting.range_m > 0:
                for segment in piece.segments:
                    self._look(segment, span, which, found)
        return found

    def _look(self, segment: Segment, span: Span, which: np.ndarray, found: np.ndarray) -> None:
        first, last = segment.moments[0], segment.moments[-1]
        count = max(1, -(-(last - first) // CLOUDS_APART))
        moments = [min(last, first + number * CLOUDS_APART) for number in range(count + 1)]
        before: Cloud | None = None
        for after in self._clouds(moments):
            if before is not None and after.at > before.at:
                self._toss(segment, span, before, after, which, found)
            before = after

    def _toss(self, segment: Segment, span: Span, before: Cloud, after: Cloud, which: np.ndarray, found: np.ndarray
              ) -> None:
        """Between two clouds: a coin for every second and every lander that could be noticed then."""
        sighting, seconds = span.sighting, (after.at - before.at).total_seconds()
        boat_s, boat_m = segment.after_s(before.at), segment.metres(before.plane)
        shows, rhythm = before.afloat[which] & ~found, np.ones(which.size)
        if sighting.by == LAMP:
            end_s = (after.at - self.asked.plan.dive.splash_utc).total_seconds()
            rhythm = self.lamps.rhythm(end_s)[which]
            shows &= rhythm > 0.0
        reach_m = sighting.range_m + seconds * (self.asked.searcher.speed_m_s + 2.0)
        boat_at = [float(np.interp(0.0, boat_s, axis)) for axis in boat_m]
        near = np.flatnonzero(shows & (np.hypot(before.east_m[which] - boat_at[0],
                                                before.north_m[which] - boat_at[1]) < reach_m))
        members = which[near]
        here = before.east_m[members], before.north_m[members]
        moved = after.east_m[members] - here[0], after.north_m[members] - here[1]
        for at_s in np.arange(0.5 * STEP_S, seconds, STEP_S):
            share = at_s / seconds
            distance_m = np.hypot(here[0] + share * moved[0] - np.interp(at_s, boat_s, boat_m[0]),
                                  here[1] + share * moved[1] - np.interp(at_s, boat_s, boat_m[1]))
            within = np.flatnonzero(distance_m <= sighting.range_m)
            chance = -np.expm1(-STEP_S * rhythm[near[within]] * sighting.rate_per_s(distance_m[within]))
            found[near[within]] |= self.random.random(within.size) < chance

    def _at(self, moment: datetime) -> Cloud:
        return next(iter(self._clouds([moment])))

    def _clouds(self, moments: Sequence[datetime]) -> Iterator[Cloud]:
        return clouds(self.asked.plan, moments, self.seed, self.asked.guesses, (), self.asked.weather, self.number)


def main(arguments: Sequence[str] = ()) -> int:
    """Print what was told and what was found, a row a case; status 1 where a told chance lies outside the limits."""
    parser = argparse.ArgumentParser(prog="python -m tumblehome.find.trials",
                                     description=(__doc__ or "").splitlines()[0])
    parser.add_argument("landers", type=int, nargs="?", default=LANDERS, help="searches a case (%(default)d)")
    landers = parser.parse_args(arguments).landers
    if landers < 1:
        parser.error("landers is %d; give it 1 or more" % landers)
    print("| %d searches | told | found | limits, 99 %% |\n|---|---|---|---|" % landers)
    outcomes = []
    for case in cases():
        outcome = tried(case, landers)
        outcomes.append(outcome)
        low, high = outcome.limits
        print("| %s | %.2f %% | %.2f %% | %.2f to %.2f %% |" % (
            outcome.name, 100 * outcome.told, 100 * outcome.share, 100 * low, 100 * high), flush=True)
    return 0 if all(outcome.holds for outcome in outcomes) else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
