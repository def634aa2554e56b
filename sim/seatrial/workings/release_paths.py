"""The ways home: when each path of release lets the ballast go, and when it brings the lander up.

The attempts are those of the mission core, which is driven here as on the board; how long a wire or a latch takes is
asked of `seatrial.mechanisms`, how long the lander rises of `seatrial.workings.motion`. Early, likely and late of a
path are its own: the band of the ascent, and a mechanism that opens as reckoned or only at the end of its attempt.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from itertools import islice

from deadman import WATCH_DS
from lander.release import BACKUP
from lander.sleep import LATEST_LEAD_DS
from seatrial import mechanisms
from seatrial.plan import Plan
from seatrial.plan.attempts import Attempt, attempts_from
from seatrial.workings.moments import minute_after, minute_before, moment_of, nearest_minute
from seatrial.workings.motion import motion

ATTEMPTS_MAX = 200  # as many as a plan may hold in its reserve; a mechanism that is not open by then never will be
ROUNDED = (minute_before, nearest_minute, minute_after)  # early, likely and late as they are told
TIMED, BY_BACKUP, LATEST, LAST_ATTEMPT = "timed", "backup", "latest", "last_attempt"
BY_SECOND = "second"
LINK_EARLIEST, LINK_LATEST = "passive_earliest", "passive_latest"
WORDS = {
    TIMED: "timed release",
    BY_BACKUP: "timed release, primary fails",
    LATEST: "latest release",
    LAST_ATTEMPT: "last planned attempt after the latest release",
    BY_SECOND: "second board, main board dead",
    LINK_EARLIEST: "corroding link, earliest",
    LINK_LATEST: "corroding link, latest",
}


@dataclass(frozen=True)
class Minutes:
    """Minutes after the splash; None: never."""

    early: float | None
    likely: float | None
    late: float | None


@dataclass(frozen=True)
class Moments:
    """Moments in UTC to the minute, so that early is never too late and late never too early; None: never."""

    early: datetime | None
    likely: datetime | None
    late: datetime | None


@dataclass(frozen=True)
class Path:
    """One way home.

    `command_min` is None for the corroding link, which nobody commands; `attempts` is how many are fired until the
    likely one frees the ballast, None where that never happens or is not by an attempt.
    """

    key: str
    words: str
    command_min: float | None
    attempts: int | None
    freed_min: Minutes
    surfaced_min: Minutes
    surfacing: Moments


def command_s(plan: Plan, key: str) -> float:
    """When the mission core begins this path of release, seconds after the splash.

    The latest release begins so early that current flows by `times.latest_release_min` even after the longest
    shedding.
    """
    orders = plan.orders()
    if key in (TIMED, BY_BACKUP):
        return orders.timed_release_ds / 10
    return max(0, orders.latest_release_ds - orders.shed_ds - LATEST_LEAD_DS) / 10


@lru_cache(maxsize=16)
def paths(plan: Plan) -> tuple[Path, ...]:
    """Every way home in the order of the plan: four by command, then those that there are by themselves.

    That is the second board's where one is fitted, and the corroding link's two where it has a range.
    """
    commanded = (
        _by_command(plan, TIMED, _everything, _everything),
        _by_command(plan, BY_BACKUP, _only_backup, _only_backup),
        _by_command(plan, LATEST, _everything, _only_backup),
        _by_command(plan, LAST_ATTEMPT, _only_number(plan.release.attempts_planned),
                    _only_number(plan.release.attempts_planned)),
    )
    return (*commanded, *_by_second(plan), *_by_link(plan))


def path_of(plan: Plan, key: str) -> Path:
    """The path of this key. Raises KeyError for one that the plan has not: the second board's or the link's."""
    return {path.key: path for path in paths(plan)}[key]


def last_attempt_over_s(plan: Plan) -> float:
    """When the last planned attempt ends if it begins with the latest release, seconds after the splash."""
    number = plan.release.attempts_planned
    return next(islice(attempts_from(plan.release, command_s(plan, LATEST)), number - 1, None)).until_s


def second_deadline_s(plan: Plan) -> float:
    """When the second board fires at the latest by its own clock, seconds after the splash."""
    return plan.orders().latest_release_ds / 10 + plan.second.margin_min * 60


def home_s(plan: Plan) -> tuple[float | None, float | None, float | None]:
    """Seconds from the freed ballast to the surface, mud and ascent: early, likely and late.

    None: it never gets there, or has never left it.
    """
    moved = motion(plan)
    if moved.descent_likely_s is None or moved.mud_s is None:
        return None, None, None
    fast_s, likely_s, slow_s = (None if seconds is None else moved.mud_s + seconds for seconds in (
        moved.ascent_fast_s, moved.ascent_likely_s, moved.ascent_slow_s))
    return fast_s, likely_s, slow_s


# --- one path -------------------------------------------------------------------------------------------------------

Works = Callable[[Attempt], bool]


def _everything(_attempt: Attempt) -> bool:
    return True


def _only_backup(attempt: Attempt) -> bool:
    return attempt.channel == BACKUP


def _only_number(number: int) -> Works:
    return lambda attempt: attempt.number == number


def _by_command(plan: Plan, key: str, works: Works, works_at_worst: Works) -> Path:
    begun_s = command_s(plan, key)
    likely, worst = _opening(plan, begun_s, works), _opening(plan, begun_s, works_at_worst)
    opened_s = likely.opened_s if likely else None
    return _path(plan, key, begun_s, likely.attempt.number if likely else None, opened_s, opened_s,
                 worst.attempt.until_s if worst else None)


def _by_second(plan: Plan) -> Iterator[Path]:
    """It counts from two looks before the first sign of water; its crystal and a worn backup make it later."""
    if not plan.second.fitted:
        return
    deadline_s, backup = second_deadline_s(plan), plan.release.backup
    mechanism = mechanisms.make(backup)
    opened_s, one_attempt = mechanism.seconds_to_open(backup.current_ma), backup.fire_s
    if opened_s > one_attempt:  # by more than one attempt: as with the main board's channels
        likely = _opening(plan, deadline_s, _only_backup)
        freed_s = None if likely is None else likely.opened_s
        yield _path(plan, BY_SECOND, deadline_s, None, freed_s, freed_s, None)
        return
    early_s = deadline_s - 2 * WATCH_DS / 10
    late_s = deadline_s * (1 + abs(plan.second.drift_ppm) * 1e-6)
    yield _path(plan, BY_SECOND, deadline_s, 1, early_s + opened_s, deadline_s + opened_s, late_s + one_attempt)


def _by_link(plan: Plan) -> Iterator[Path]:
    passive = plan.release.passive
    for key, hours in ((LINK_EARLIEST, passive.earliest_h), (LINK_LATEST, passive.latest_h)):
        if passive.fitted and hours is not None:
            yield _path(plan, key, None, None, hours * 3600, hours * 3600, hours * 3600)


def _path(plan: Plan, key: str, begun_s: float | None, attempts: int | None, *freed_s: float | None) -> Path:
    surfaced_s = [_sum(freed, home) for freed, home in zip(freed_s, home_s(plan), strict=True)]
    return Path(
        key, WORDS[key], None if begun_s is None else begun_s / 60, attempts,
        Minutes(*(None if seconds is None else seconds / 60 for seconds in freed_s)),
        Minutes(*(None if seconds is None else seconds / 60 for seconds in surfaced_s)),
        Moments(*(None if seconds is None else to_the_minute(moment_of(plan, seconds))
                  for seconds, to_the_minute in zip(surfaced_s, ROUNDED, strict=True))))


def _sum(first_s: float | None, then_s: float | None) -> float | None:
    return None if first_s is None or then_s is None else first_s + then_s


@dataclass(frozen=True)
class _Opening:
    opened_s: float
    attempt: Attempt


def _opening(plan: Plan, begun_s: float, works: Works) -> _Opening | None:
    """When the ballast is freed, and by which attempt; None when it never is.

    In attempts that do not work, nothing is done at the mechanism; in the others work done stays done.
    """
    channels = (plan.release.primary, plan.release.backup)
    stock = [mechanisms.make(channel) for channel in channels]
    for attempt in islice(attempts_from(plan.release, begun_s), ATTEMPTS_MAX):
        if not works(attempt):
            continue
        mechanism, current_ma = stock[attempt.channel], channels[attempt.channel].current_ma
        left_s, fired_s = mechanism.seconds_to_open(current_ma), attempt.until_s - attempt.from_s
        if left_s <= fired_s:
            return _Opening(attempt.from_s + left_s, attempt)
        mechanism.advance(current_ma, fired_s)
    return None
