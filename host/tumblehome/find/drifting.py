"""Where the lander may be: many landers of one plan, each with its own way home and its own errors, drifted in time.

Each particle sinks and rises through the plan's currents as the simulated hull does, with [doubt] leaning one way or
the other, lies still on the seabed, comes up by its way at its moment, and from there moves through

- the surface current and an error of it, the same from the seabed up, that slowly becomes another (an autoregressive
  process of first order: the spread is that of Taylor, Diffusion by continuous movements, 1921);
- leeway: the plan's share of the wind, its spread taken as two standard deviations, straight downwind;
- crosswind leeway: a share of the wind to one side, which changes now and then (jibes: Allen, Leeway Divergence, USCG
  R&D Center, 2005);
- eddies too small for any forecast: a random walk with a constant diffusivity (Okubo, Deep-Sea Research 18, 1971).

The current is taken to hold what the wind drives of it: Ekman's current and the rule of 3 % are not added, since that
would count the wind twice; `guesses` may say that it does not, and then Ekman's current of each particle's own wind is.
How large the errors are stands there too.

Where positions were heard, all begin at the last one. An older one tells how it really drifts: the errors of each
particle are moved by what its own drift between the two was wrong (an ensemble Kalman filter with perturbed
observations: Burgers, van Leeuwen, Evensen, Monthly Weather Review 126, 1998; exact for normal errors).
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from math import exp, sqrt

import numpy as np
from numpy.random import PCG64, Generator
from numpy.typing import NDArray

from seatrial.plan import Plan
from seatrial.workings.doubt import FAST_DOWN, FAST_UP, LIKELY, SLOW_DOWN, SLOW_UP, Lean
from seatrial.workings.passage import Passage, ascent, descent
from tumblehome.find.guesses import DriftGuesses, Guesses, built_in
from tumblehome.find.known import Fix, Known, chance_of_silence, fix_before, last_fix
from tumblehome.find.lamps import Lamps, lamps_of
from tumblehome.find.mistakes import FindError, told
from tumblehome.find.shapes import Cloud, Numbers, Plane, Position, Way
from tumblehome.find.ways import NOT_HOME, STAYS_DOWN, Home, as_ways, homes, lean_of
from tumblehome.find.wind_files import Forces, Weather

PARTICLES = 100_000
PARTICLES_MIN, PARTICLES_MAX = 1000, 5_000_000
STEP_S = 1800.0  # wind and current hardly change within; between rows of a file they go in straight lines
STILL_SHARE = 0.005  # of the particles, for the way that needs no more than one: it stays down
EVEN_SHARE = 0.5  # of the others, shared out evenly: a way that is rare now may be all that is left after a search


@dataclass
class _Particles:
    """Arrays of one length, in the order of `start_s`, the moment from when each drifts, s after the splash."""

    start_s: Numbers
    lamps: Lamps
    weight: Numbers
    way: NDArray[np.int64]
    bottom_east_m: Numbers
    bottom_north_m: Numbers
    east_m: Numbers
    north_m: Numbers
    current_east_m_s: Numbers  # errors
    current_north_m_s: Numbers
    wind_east_m_s: Numbers
    wind_north_m_s: Numbers
    leeway: Numbers
    crosswind: Numbers  # to the right of downwind

    def started_by(self, after_splash_s: float) -> int:
        return int(np.searchsorted(self.start_s, after_splash_s, side="right"))


def clouds(
    plan: Plan,
    at: Sequence[datetime],
    seed: int,
    guesses: Guesses | None = None,
    known: Sequence[Known] = (),
    weather: Weather | None = None,
    particles: int = PARTICLES,
) -> Iterator[Cloud]:
    """Where the lander may be at each of these moments, in order of time; the same seed gives the same clouds.

    One by one, since nobody wants to hold a long series at once. A particle keeps its place in the arrays from cloud
    to cloud, and one cloud does not depend on which others are asked for. Raises FindError, with the first cloud, for
    moments before the splash or beyond the wind file, and what `homes` raises.
    """
    guesses = guesses or built_in()
    moments = sorted(at)
    fix = last_fix(known)
    _look_at(plan, moments, particles, fix)
    forces = Forces(plan, guesses.drift, weather)
    found = homes(plan, guesses, known)
    random = Generator(PCG64(seed))
    cast = _cast(plan, found, guesses.drift, forces, known, random, particles)
    older = fix_before(known, fix) if fix else None
    for begin in (older, fix):
        if begin is not None:
            _begin_at(plan, cast, begin, random)
        if begin is older and older is not None and fix is not None:
            forces.look_at(older.at, fix.at)
            _drift_to(cast, forces, guesses.drift, random, (fix.at - plan.dive.splash_utc).total_seconds())
            _learn(cast, _plane(plan).metres(fix.position), fix.radius_m, random)
    counting = cast.start_s[np.isfinite(cast.start_s) & (cast.weight > 0.0)]
    if moments and len(counting):
        first = plan.dive.splash_utc + timedelta(seconds=float(counting[0]))
        if first <= moments[-1]:
            forces.look_at(first, moments[-1])
    yield from _followed(plan, found, cast, forces, guesses.drift, random, moments)


def lamps(
    plan: Plan, seed: int, guesses: Guesses | None = None, known: Sequence[Known] = (), particles: int = PARTICLES
) -> Lamps:
    """How the beacon of each particle of the clouds of that seed flashes, and until when.

    In the order of the clouds that have the same seed, guesses, known things and number of particles.
    """
    guesses = guesses or built_in()
    found = homes(plan, guesses, known)
    cast = _cast(plan, found, guesses.drift, Forces(plan, guesses.drift), known, Generator(PCG64(seed)), particles)
    return cast.lamps


def _look_at(
    plan: Plan, moments: Sequence[datetime], particles: int, fix: Fix | None
) -> None:
    if not PARTICLES_MIN <= particles <= PARTICLES_MAX:
        raise FindError([f"{particles} particles are asked for; allowed is {PARTICLES_MIN} to {PARTICLES_MAX}"])
    for moment in moments[:1]:
        if moment < plan.dive.splash_utc:
            raise FindError([f"{told(moment)} is before the splash at {told(plan.dive.splash_utc)}: ask for a later"
                             " moment, or correct dive.splash_utc in the plan"])
        if fix is not None and moment < fix.at:
            raise FindError([f"{told(moment)} is before the position that was heard, of {told(fix.at)}: ask for a later"
                             " moment"])


def _plane(plan: Plan) -> Plane:
    return Plane(Position(plan.site.latitude_deg, plan.site.longitude_deg))


# --- the cast of particles --------------------------------------------------------------------------------------------


def _cast(
    plan: Plan, found: Sequence[Home], drift: DriftGuesses, forces: Forces, known: Sequence[Known], random: Generator,
    particles: int,
) -> _Particles:
    counts = _counts(found, particles)
    total = sum(counts)
    down, up = lean_of(random.random(total)), lean_of(random.random(total))
    share = random.random(total)
    error = random.normal(0.0, drift.current_error_m_s, (2, total))
    wind_error = random.normal(0.0, forces.wind_error_m_s, (2, total))
    wind = plan.site.wind
    leeway = np.maximum(0.0, random.normal(wind.leeway_pct, wind.leeway_spread_pct / 2, total)) / 100
    crosswind = random.normal(0.0, drift.crosswind_pct / 100, total)

    way = np.repeat(np.arange(len(found)), counts)
    surfaced_s, lit_h, weight = np.empty(total), np.empty(total), np.empty(total)
    for number, home in enumerate(found):
        own = way == number
        surfaced_s[own] = home.surfaced_s(share[own], up[own])
        lit_h[own] = home.lit_h(surfaced_s[own])
        weight[own] = _weights(plan, home, known, surfaced_s[own], lit_h[own])
    weight /= weight.sum()
    bottom = _carried(plan, descent, (FAST_DOWN, LIKELY, SLOW_DOWN), down, error)
    rise = _carried(plan, ascent, (FAST_UP, LIKELY, SLOW_UP), up, error)
    order = np.argsort(surfaced_s, kind="stable")
    return _Particles(
        surfaced_s[order], lamps_of(plan, surfaced_s[order], lit_h[order]), weight[order], way[order],
        bottom[0][order], bottom[1][order],
        (bottom[0] + rise[0])[order], (bottom[1] + rise[1])[order], error[0][order], error[1][order],
        wind_error[0][order], wind_error[1][order], leeway[order], crosswind[order])


def _counts(found: Sequence[Home], particles: int) -> list[int]:
    """Particles for each way: few for one that stays down, half of the rest by chance and half evenly."""
    still = max(1, round(STILL_SHARE * particles))
    moving = [home for home in found if home.key != STAYS_DOWN and home.chance > 0]
    chance = sum(home.chance for home in moving)
    counts = []
    for home in found:
        if not home.chance > 0:
            counts.append(0)
        elif home.key == STAYS_DOWN:
            counts.append(still)
        else:
            share = EVEN_SHARE / len(moving) + (1 - EVEN_SHARE) * home.chance / chance
            counts.append(max(1, round((particles - still) * share)))
    return counts


def _weights(plan: Plan, home: Home, known: Sequence[Known], surfaced_s: Numbers, lit_h: Numbers) -> Numbers:
    """The chance of the way, shared out among its particles by how well each fits what is known."""
    likelihood = chance_of_silence(known, plan.dive.splash_utc, home.key, surfaced_s, lit_h)
    total = likelihood.sum()
    return home.chance * likelihood / total if total > 0 else np.zeros(surfaced_s.shape)


def _carried(
    plan: Plan, travel: Callable[[Plan, Lean], Passage | None], leans: tuple[Lean, Lean, Lean], lean: Numbers,
    error: Numbers,
) -> tuple[Numbers, Numbers]:
    """How far the water carries each particle on its way down or up, m east and north.

    Straight lines between the fast, the likely and the slow passage, and the error of the current for its time.
    """
    likely = travel(plan, LIKELY)
    if likely is None:
        raise FindError([NOT_HOME])
    passages = [travel(plan, one) or likely for one in leans]
    places = (-1.0, 0.0, 1.0)
    seconds = np.interp(lean, places, [passage.seconds for passage in passages])
    east = np.interp(lean, places, [passage.east_m[-1] for passage in passages])
    north = np.interp(lean, places, [passage.north_m[-1] for passage in passages])
    return east + error[0] * seconds, north + error[1] * seconds


def _begin_at(plan: Plan, cast: _Particles, fix: Fix, random: Generator) -> None:
    """Begin again from a position that was heard: where it was before no longer matters."""
    total, place_m = len(cast.start_s), _plane(plan).metres(fix.position)
    cast.start_s = np.full(total, (fix.at - plan.dive.splash_utc).total_seconds())
    cast.east_m = place_m[0] + random.normal(0.0, fix.radius_m, total)
    cast.north_m = place_m[1] + random.normal(0.0, fix.radius_m, total)


def _learn(cast: _Particles, place_m: tuple[float, float], radius_m: float, random: Generator) -> None:
    """Move the errors of each particle by how far it ended from where the lander was heard."""
    errors = (cast.current_east_m_s, cast.current_north_m_s, cast.wind_east_m_s, cast.wind_north_m_s, cast.leeway,
              cast.crosswind)
    ends = np.stack((cast.east_m, cast.north_m))
    away = ends - (ends @ cast.weight)[:, None]
    missed = np.array(place_m)[:, None] + random.normal(0.0, radius_m, ends.shape) - ends
    doubt = away * cast.weight @ away.T + radius_m ** 2 * np.eye(2)
    for error in errors:
        error += ((error - error @ cast.weight) * cast.weight @ away.T) @ np.linalg.solve(doubt, missed)
    np.maximum(cast.leeway, 0.0, out=cast.leeway)  # no wind draws a body upwind


# --- afloat -----------------------------------------------------------------------------------------------------------


def _followed(
    plan: Plan, found: Sequence[Home], cast: _Particles, forces: Forces, drift: DriftGuesses, random: Generator,
    moments: Sequence[datetime],
) -> Iterator[Cloud]:
    ways, plane, splash = as_ways(found), _plane(plan), plan.dive.splash_utc
    wanted_s = [(moment - splash).total_seconds() for moment in moments]
    first_s = float(cast.start_s[0]) if len(cast.start_s) else np.inf
    step = int(first_s // STEP_S) if np.isfinite(first_s) else 0
    number = 0
    while number < len(moments):
        from_s, to_s = step * STEP_S, (step + 1) * STEP_S
        moving = wanted_s[number] > from_s
        change = _change(cast, forces, drift, random, from_s, to_s) if moving else None
        while number < len(moments) and (wanted_s[number] <= from_s or (change and wanted_s[number] <= to_s)):
            east, north = (cast.east_m, cast.north_m) if change is None else change.until(cast, wanted_s[number])
            yield _cloud(cast, plane, moments[number].astimezone(UTC), ways, east, north, wanted_s[number])
            number += 1
        if change is not None:
            cast.east_m, cast.north_m = change.until(cast, to_s)
            step += 1


def _drift_to(cast: _Particles, forces: Forces, drift: DriftGuesses, random: Generator, to_s: float) -> None:
    """Move all particles on to a moment."""
    step = int(cast.start_s[0] // STEP_S)
    while step * STEP_S < to_s:
        change = _change(cast, forces, drift, random, step * STEP_S, (step + 1) * STEP_S)
        cast.east_m, cast.north_m = change.until(cast, min(to_s, (step + 1) * STEP_S))
        step += 1


@dataclass(frozen=True)
class _Change:
    """How the first `count` particles move within a step: velocities, and steps of the random walk in m/sqrt(s)."""

    from_s: float
    count: int
    east_m_s: Numbers
    north_m_s: Numbers
    walk: Numbers

    def until(self, cast: _Particles, to_s: float) -> tuple[Numbers, Numbers]:
        """Places of all particles at a moment of the step, those that were not up yet unmoved."""
        own = slice(self.count)
        seconds = np.clip(to_s - cast.start_s[own], 0.0, to_s - self.from_s)
        root = np.sqrt(seconds)
        east, north = cast.east_m.copy(), cast.north_m.copy()
        east[own] += self.east_m_s * seconds + self.walk[0] * root
        north[own] += self.north_m_s * seconds + self.walk[1] * root
        return east, north


def _change(
    cast: _Particles, forces: Forces, drift: DriftGuesses, random: Generator, from_s: float, to_s: float
) -> _Change:
    count = cast.started_by(to_s)
    own, middle_s = slice(count), (from_s + to_s) / 2
    turns = random.random(count) < 0.5 * (1 - np.exp(-2 * drift.jibes_per_h * (to_s - from_s) / 3600))  # an odd number
    cast.crosswind[own] = np.where(turns, -cast.crosswind[own], cast.crosswind[own])
    kept = exp((from_s - to_s) / 3600 / drift.current_memory_h)
    for error in (cast.current_east_m_s, cast.current_north_m_s):
        error[own] *= kept
        error[own] += drift.current_error_m_s * sqrt(1 - kept * kept) * random.standard_normal(count)
    wind, current = forces.wind_m_s(middle_s), forces.current_m_s(middle_s)
    wind_east, wind_north = wind[0] + cast.wind_east_m_s[own], wind[1] + cast.wind_north_m_s[own]
    driven = forces.driven_m_s(wind_east, wind_north)
    leeway, crosswind = cast.leeway[own], cast.crosswind[own]
    return _Change(
        from_s, count,
        current[0] + driven[0] + cast.current_east_m_s[own] + leeway * wind_east + crosswind * wind_north,
        current[1] + driven[1] + cast.current_north_m_s[own] + leeway * wind_north - crosswind * wind_east,
        np.sqrt(2 * drift.diffusivity_m2_s) * random.standard_normal((2, count)))


def _cloud(
    cast: _Particles, plane: Plane, moment: datetime, ways: tuple[Way, ...], east: Numbers, north: Numbers,
    after_splash_s: float,
) -> Cloud:
    afloat = cast.start_s <= after_splash_s
    return Cloud(
        plane, moment, ways, np.where(afloat, east, cast.bottom_east_m), np.where(afloat, north, cast.bottom_north_m),
        cast.weight, cast.way, afloat)
