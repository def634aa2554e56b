"""What is known of a dive that is not over: looked and not seen, listened and not heard, heard, surfaced.

Each is turned into how likely it is if the lander came up by a way at a moment; `ways` and `drifting` weigh by that.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from tumblehome.find.mistakes import FindError, told
from tumblehome.find.shapes import Numbers, Position

FIX_RADIUS_M = 15.0  # a position of a satellite receiver in a swell, standard deviation; common practice, no source
APART, APART_MIN = timedelta(hours=2), timedelta(minutes=10)  # of two positions that tell the drift


@dataclass(frozen=True)
class NotSeen:
    """Nobody saw it, though a lander afloat by `until` would have been seen with the probability `detection`."""

    until: datetime
    detection: float


@dataclass(frozen=True)
class NotHeard:
    """No report came by radio, though one of a beacon that calls by `until` would have, with this probability."""

    until: datetime
    detection: float


@dataclass(frozen=True)
class StillDown:
    """It was certainly below at `at`."""

    at: datetime


@dataclass(frozen=True)
class Heard:
    """A report came at `at`: afloat by then; by which way where it told that, and from where where it had a fix.

    `fixed_at` is when the fix was taken (None: at `at`); `radius_m` the standard deviation of the position, east and
    north each; `silent_at` when its charge will be gone, by its own word.
    """

    at: datetime
    way: str | None = None
    position: Position | None = None
    radius_m: float = FIX_RADIUS_M
    fixed_at: datetime | None = None
    silent_at: datetime | None = None


@dataclass(frozen=True)
class Surfaced:
    """The moment it surfaced is known, and the way where that is known too."""

    at: datetime
    way: str | None = None


Known = NotSeen | NotHeard | StillDown | Heard | Surfaced


def in_words(known: Sequence[Known]) -> str:
    """The moments that are certain, for a sentence about things that cannot all be true."""
    words = {StillDown: "below at %s", Heard: "heard at %s", Surfaced: "surfaced at %s"}
    certain = [one for one in known if isinstance(one, StillDown | Heard | Surfaced)]
    ways = [None if isinstance(one, StillDown) else one.way for one in certain]
    return ", ".join(words[type(one)] % told(one.at) + (f" ({way})" if way else "")
                     for one, way in zip(certain, ways, strict=True))


def surfacing_told(known: Sequence[Known]) -> Surfaced | None:
    """The moment of surfacing where it is known; the last word counts."""
    return next((one for one in reversed(known) if isinstance(one, Surfaced)), None)


@dataclass(frozen=True)
class Fix:
    """Where it was at a moment, and how well that is known: standard deviation, east and north each."""

    at: datetime
    position: Position
    radius_m: float


def last_fix(known: Sequence[Known]) -> Fix | None:
    """The newest position that was heard."""
    return max(_fixes(known), key=lambda fix: fix.at, default=None)


def fix_before(known: Sequence[Known], last: Fix) -> Fix | None:
    """An older position that tells with the last one how it really drifts: about two hours older, where there is one.

    Much closer together the receiver's error hides the drift, much farther apart it is the drift of another tide.
    """
    older = [fix for fix in _fixes(known) if last.at - fix.at >= APART_MIN]
    return min(older, key=lambda fix: abs(last.at - fix.at - APART), default=None)


def _fixes(known: Sequence[Known]) -> list[Fix]:
    return [Fix(one.fixed_at or one.at, one.position, one.radius_m) for one in known
            if isinstance(one, Heard) and one.position is not None]


def chance_of_silence(
    known: Sequence[Known], splash: datetime, way: str, surfaced_s: Numbers, lit_h: Numbers
) -> Numbers:
    """How likely all that is known is for a lander that surfaced so by this way, each thing by itself, 0 to 1.

    `surfaced_s` counts from the splash, infinite for one that stays down; `lit_h` are the hours that its beacon calls.
    Raises FindError for a probability outside 0 to 1 and for a moment before the splash.
    """
    likelihood = np.ones(surfaced_s.shape)
    for one in known:
        if not isinstance(one, Surfaced):
            likelihood *= _chance(one, splash, way, surfaced_s, lit_h)
    return likelihood


def _chance(one: Known, splash: datetime, way: str, surfaced_s: Numbers, lit_h: Numbers) -> Numbers:
    if isinstance(one, NotSeen):
        return np.where(surfaced_s <= _after_s(one.until, splash), 1.0 - _probability(one.detection), 1.0)
    if isinstance(one, NotHeard):
        calls = (surfaced_s <= _after_s(one.until, splash)) & (lit_h > 0.0)
        return np.where(calls, 1.0 - _probability(one.detection), 1.0)
    if isinstance(one, StillDown):
        return np.where(surfaced_s > _after_s(one.at, splash), 1.0, 0.0)
    if isinstance(one, Heard):
        at_s = min(_after_s(one.at, splash), _after_s(one.fixed_at or one.at, splash))
        return np.where((surfaced_s <= at_s) & (one.way in (None, way)), 1.0, 0.0)
    return np.ones(surfaced_s.shape)


def _after_s(moment: datetime, splash: datetime) -> float:
    seconds = (moment - splash).total_seconds()
    if seconds < 0:
        raise FindError([f"{told(moment)} is before the splash at {told(splash)}: nothing can be known of the way home"
                         " by then; correct the moment, or the splash in the plan"])
    return seconds


def _probability(value: float) -> float:
    if not 0.0 <= value <= 1.0:
        raise FindError([f"the probability of having seen or heard it is {value:g}; allowed is 0 to 1"])
    return value
