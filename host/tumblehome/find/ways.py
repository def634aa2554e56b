"""The ways the lander may come home: how likely each is, when it frees the ballast, and how long it then rises.

Moments come from `seatrial.workings.release_paths`, chances from `guesses`. Each way has its time as a distribution:

- by command: a triangle from early over likely to late of its path: a mechanism as reckoned, or at its attempt's end;
- a later attempt: evenly from the backup's first attempt to the end of the last planned one;
- the corroding link: evenly in the logarithm of the time between its earliest and latest, or evenly in time;
- early: evenly from touchdown to the timed release, for what ends a dive sooner comes at any time.

The rise is a triangle too: fast, likely, slow, as [doubt] of the plan has them.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from seatrial.plan import Plan
from seatrial.workings import release_paths as paths_home
from seatrial.workings.drift import drift
from seatrial.workings.lasting import beacon_hours_left
from seatrial.workings.motion import motion
from seatrial.workings.release_paths import Path
from tumblehome.find.guesses import EVENLY, Guesses
from tumblehome.find.known import Known, chance_of_silence, in_words, surfacing_told
from tumblehome.find.mistakes import FindError
from tumblehome.find.shapes import Numbers, Way

TIMED, BY_BACKUP, LAST_ATTEMPT, LATEST, BY_SECOND = (
    paths_home.TIMED, paths_home.BY_BACKUP, paths_home.LAST_ATTEMPT, paths_home.LATEST, paths_home.BY_SECOND)
PASSIVE, EARLY, STAYS_DOWN = "passive", "early", "stays_down"
OWN_WORDS = {
    LAST_ATTEMPT: "a later attempt, up to the last planned one",
    PASSIVE: "corroding link",
    EARLY: "before the timed release: water inside, low battery, too deep, ballast lost",
    STAYS_DOWN: "stays down",
}
SHORT_WORDS = {  # for a narrow table
    EARLY: "before timed release", TIMED: "timed release", BY_BACKUP: "backup release", LAST_ATTEMPT: "a later attempt",
    LATEST: "latest release", BY_SECOND: "second board", PASSIVE: "corroding link", STAYS_DOWN: "stays down",
}
ORDER = (EARLY, TIMED, BY_BACKUP, LAST_ATTEMPT, LATEST, BY_SECOND, PASSIVE, STAYS_DOWN)
TRIANGLE, ALIKE, ALIKE_IN_LOG = "triangle", "alike", "alike in the logarithm"
QUANTILES = 96  # of the freed moment, and as many of the rise, for sums over a way without a draw
LIT_POINTS = 9  # of the span in which a way may surface; the hours of the beacon are a straight line between
NEVER_S = np.inf
NOT_HOME = ("the lander of this plan never reaches the seabed or never comes up from it: mend the plan, `tumblehome"
            " plan` says what is wrong")


@dataclass(frozen=True)
class Home:
    """One way home. `chance` is by all that is known; times are seconds after the splash, early, likely and late.

    `freed_s` is when the ballast goes, `rise_s` how long from there to the surface; None for a lander that stays down.
    `lit_h`: hours for which the beacon calls, given the moment of surfacing.
    """

    key: str
    words: str
    chance: float
    shape: str
    freed_s: tuple[float, float, float] | None
    rise_s: tuple[float, float, float]
    lit_h: Callable[[Numbers], Numbers]

    def surfaced_s(self, share: Numbers, lean: Numbers) -> Numbers:
        """When it surfaces, s after the splash: `share` 0 to 1 from the earliest freed moment, `lean` -1 fast, 1 slow.

        `share` drawn evenly and `lean` by `lean_of` give the distribution of the way.
        """
        if self.freed_s is None:
            return np.full(share.shape, NEVER_S)
        return self._freed_s(share, self.freed_s) + np.interp(lean, (-1.0, 0.0, 1.0), self.rise_s)

    def _freed_s(self, share: Numbers, freed_s: tuple[float, float, float]) -> Numbers:
        early, likely, late = freed_s
        if self.shape == ALIKE:
            return early + share * (late - early)
        if self.shape == ALIKE_IN_LOG:
            return early * (late / early) ** share
        return triangle(share, early, likely, late)


def triangle(share: Numbers, low: float, mode: float, high: float) -> Numbers:
    """The value below which this share of a triangular distribution lies (its inverse distribution function)."""
    if high <= low:
        return np.full(share.shape, float(low))
    turn = (mode - low) / (high - low)
    rising = low + np.sqrt(share * (high - low) * (mode - low))
    falling = high - np.sqrt((1.0 - share) * (high - low) * (high - mode))
    return np.where(share < turn, rising, falling)


def lean_of(share: Numbers) -> Numbers:
    """How far the doubt leans, -1 to 1, likeliest 0: the triangle of that, below which this share lies."""
    return triangle(share, -1.0, 0.0, 1.0)


def homes(plan: Plan, guesses: Guesses, known: Sequence[Known] = ()) -> tuple[Home, ...]:
    """The ways home of this lander and how likely each is by all that is known now; the chances add up to 1.

    Raises FindError for a plan whose lander never comes up, and for things known that cannot all be true.
    """
    if drift(plan).surfacing is None:
        raise FindError([NOT_HOME])
    before = _at_first(plan, guesses)
    exact = surfacing_told(known)
    if exact is not None:
        before = _as_told(before, (exact.at - plan.dive.splash_utc).total_seconds(), exact.way)
    likelihoods = [_likelihood(plan, home, known) for home in before]
    total = sum(home.chance * likelihood for home, likelihood in zip(before, likelihoods, strict=True))
    if not total > 0:
        raise FindError(["what is known cannot all be true: %s; no way home of this plan fits that: look at journal and"
                         " log, at --down-at, and whether the plan is that of this dive" % in_words(known)])
    return tuple(replace(home, chance=home.chance * likelihood / total)
                 for home, likelihood in zip(before, likelihoods, strict=True))


def as_ways(found: Sequence[Home]) -> tuple[Way, ...]:
    """The same as the other parts of a search take them."""
    return tuple(Way(home.key, home.words, home.chance) for home in found)


def share_afloat(home: Home, after_splash_s: float) -> float:
    """How much of a way has surfaced by then, 0 to 1, as if nothing had been seen or heard."""
    return float(np.mean(_moments(home) <= after_splash_s))


def _moments(home: Home) -> Numbers:
    """Moments of surfacing that stand for the way, all alike."""
    middles = (np.arange(QUANTILES) + 0.5) / QUANTILES
    shares, leans = np.meshgrid(middles, lean_of(middles))
    return home.surfaced_s(shares.ravel(), leans.ravel())


def _likelihood(plan: Plan, home: Home, known: Sequence[Known]) -> float:
    surfaced_s = _moments(home)
    return float(np.mean(chance_of_silence(known, plan.dive.splash_utc, home.key, surfaced_s, home.lit_h(surfaced_s))))


# --- before anything is known -----------------------------------------------------------------------------------------


def _at_first(plan: Plan, guesses: Guesses) -> tuple[Home, ...]:
    there = {home.key: home for home in _possible(plan, guesses)}
    chances, left = {}, 0.0
    for key in ORDER:  # what is not there leaves its share to the next
        left += guesses.ways[key]
        if key in there:
            chances[key], left = left, 0.0
    total = sum(chances.values())
    return tuple(replace(there[key], chance=chance / total) for key, chance in chances.items())


def _possible(plan: Plan, guesses: Guesses) -> Iterator[Home]:
    known = {path.key: path for path in paths_home.paths(plan)}
    rise_s = _rise_s(plan)
    for key in (TIMED, BY_BACKUP, LATEST, BY_SECOND):
        freed_s = _span_s(known[key]) if key in known else None
        if freed_s is not None:
            yield _home(plan, key, TRIANGLE, freed_s, rise_s, known[key])
    last = known[LAST_ATTEMPT].freed_min.late
    first = known[BY_BACKUP].freed_min.late or plan.times.timed_release_min
    if last is not None and last > first:
        yield _home(plan, LAST_ATTEMPT, ALIKE, (first * 60, (first + last) * 30, last * 60), rise_s,
                    known[LAST_ATTEMPT])
    if paths_home.LINK_EARLIEST in known and paths_home.LINK_LATEST in known:
        early, late = (known[key].freed_min.likely for key in (paths_home.LINK_EARLIEST, paths_home.LINK_LATEST))
        if early is not None and late is not None:
            shape = ALIKE if guesses.drift.link_time == EVENLY else ALIKE_IN_LOG
            yield _home(plan, PASSIVE, shape, (early * 60, (early * late) ** 0.5 * 60, late * 60), rise_s,
                        known[paths_home.LINK_EARLIEST])
    touchdown_s = motion(plan).descent_likely_s
    if touchdown_s is not None:
        timed_s = max(touchdown_s, paths_home.command_s(plan, TIMED))
        yield _home(plan, EARLY, ALIKE, (touchdown_s, (touchdown_s + timed_s) / 2, timed_s), rise_s, known[TIMED])
    yield Home(STAYS_DOWN, OWN_WORDS[STAYS_DOWN], 0.0, TRIANGLE, None, rise_s, np.zeros_like)


def _span_s(path: Path) -> tuple[float, float, float] | None:
    likely = path.freed_min.likely
    if likely is None:
        return None
    early, late = path.freed_min.early, path.freed_min.late
    return 60 * (likely if early is None else early), 60 * likely, 60 * (likely if late is None else late)


def _rise_s(plan: Plan) -> tuple[float, float, float]:
    """Fast, likely and slow; where doubt would keep it down, that side is as the likely one."""
    fast, likely, slow = paths_home.home_s(plan)
    if likely is None:
        raise FindError([NOT_HOME])
    return likely if fast is None else fast, likely, likely if slow is None else slow


def _home(plan: Plan, key: str, shape: str, freed_s: tuple[float, float, float], rise_s: tuple[float, float, float],
          path: Path) -> Home:
    if key == BY_SECOND:  # it fires and then it is dark; the main board, whose pack feeds the beacon, is dead
        return Home(key, paths_home.WORDS[key], 0.0, shape, freed_s, rise_s, np.zeros_like)
    grid = np.linspace(freed_s[0] + rise_s[0], freed_s[2] + rise_s[2], LIT_POINTS)
    command_min, attempts = (None, None) if key == EARLY else (path.command_min, path.attempts)
    hours = np.array([beacon_hours_left(plan, seconds / 3600, command_min, attempts) for seconds in grid])

    def lit_h(surfaced_s: Numbers) -> Numbers:
        return np.interp(surfaced_s, grid, hours)
    return Home(key, OWN_WORDS.get(key, paths_home.WORDS.get(key, "")), 0.0, shape, freed_s, rise_s, lit_h)


def _as_told(before: Sequence[Home], surfaced_s: float, key: str | None) -> tuple[Home, ...]:
    """Every way that may be meant, at the moment that is known."""
    meant = [home for home in before if home.key != STAYS_DOWN and (key is None or home.key == key)]
    if not meant:
        raise FindError([f"the way home that was told, {key}, is none of this plan's; it has"
                         f" {', '.join(home.key for home in before)}"])
    rise_s = meant[0].rise_s[1]
    fixed = (surfaced_s - rise_s,) * 3
    total = sum(home.chance for home in meant)
    return tuple(replace(home, chance=home.chance / total if total else 1 / len(meant), shape=TRIANGLE,
                         freed_s=fixed, rise_s=(rise_s,) * 3) for home in meant)
