"""A search worked out: from what is asked to all that is told. Every number comes from the other parts; here they meet.

Clouds are drawn anew for each use from one seed, so that they hold the same particles in the same order.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from math import atan2, degrees, hypot

import numpy as np
from scipy.ndimage import gaussian_filter

from seatrial.handbook.sighting import METRES_PER_NM
from seatrial.plan import Plan
from seatrial.workings import release_paths
from seatrial.workings.card import CAUTIONS, SHORT
from seatrial.workings.drift import drift
from tumblehome.find.advice import Advice, Window, advise
from tumblehome.find.areas import areas
from tumblehome.find.drifting import PARTICLES, follow
from tumblehome.find.guesses import Guesses
from tumblehome.find.known import Known, last_fix
from tumblehome.find.meeting import Drifting, lamps_until_s
from tumblehome.find.message import message
from tumblehome.find.mistakes import SearchError
from tumblehome.find.shapes import Cloud, Numbers, Plane, Position
from tumblehome.find.sighting import Searcher, spans
from tumblehome.find.telling import Heading, Planned, Sight, Telling, WayHome
from tumblehome.find.tracks import Track
from tumblehome.find.unseen import after_search, chance_unseen, moments_for
from tumblehome.find.ways import Home, homes
from tumblehome.find.wind_files import Forces, Weather

SHOWN_H = (0, 1, 3, 6, 12, 24, 48)  # hours from now on for which the areas are told
STEP = timedelta(minutes=30)  # from cloud to cloud while a search may be under way
HORIZON = timedelta(hours=48)
SHARE = 0.9  # of the landers afloat lie within the radius that is told
BY_LAMP = "lamp"
CELLS, CELL_MIN_M = 40, 2.0  # a side of the grid on which the likely place is found
SMOOTHED_CELLS, AROUND_CELLS = 2.0, 2


@dataclass(frozen=True)
class Asked:
    """What a search is worked out from. `at` is now; `hours` is the time for it, the way there counted in."""

    plan: Plan
    at: datetime
    searcher: Searcher
    guesses: Guesses
    hours: float = 6.0
    boat: Position | None = None
    weather: Weather | None = None
    known: tuple[Known, ...] = ()
    tracks: tuple[Track, ...] = ()
    seed: int = 1
    particles: int = PARTICLES


def work_out(asked: Asked) -> Telling:
    """All that is told of this search. Raises FindError with the sentences to show."""
    plan, site = asked.plan, asked.plan.site
    clouds = list(_follow(asked, _moments(asked)))
    lit_s = _lit_until_s(asked, clouds[-1].at)
    unseen = _unseen(asked, lit_s)
    if unseen is not None:
        clouds = [after_search(cloud, unseen) for cloud in clouds]
    after_now_s = None if lit_s is None else lit_s - (asked.at - plan.dive.splash_utc).total_seconds()
    told, heading = _advised(asked, Drifting(clouds, lit_until_s=after_now_s))
    sights = tuple(_sights(asked, clouds, heading.at))
    splash = Position(site.latitude_deg, site.longitude_deg)
    landing = drift(plan).landing
    notes = Forces(plan, asked.guesses.drift, asked.weather).notes
    return Telling(
        name=plan.dive.name, now=asked.at, splash=splash, splash_utc=plan.dive.splash_utc,
        bottom=None if landing is None else Position(landing.latitude_deg, landing.longitude_deg),
        boat=asked.boat, heading=heading, ways=tuple(_ways(asked, clouds[0])), sights=sights,
        patterns=() if told is None else tuple(_planned(told)),
        message=message(plan, splash, min(sights, key=lambda sight: abs(sight.at - heading.at))),
        reasons=() if told is None else told.sentences[2:], tell=plan.card.tell,
        assumed=tuple(note[:1].upper() + note[1:] + "." for note in notes), cautions=CAUTIONS)


# --- clouds ---------------------------------------------------------------------------------------------------------


def _follow(asked: Asked, moments: Sequence[datetime]) -> Iterator[Cloud]:
    return follow(asked.plan, moments, asked.seed, asked.guesses, asked.known, asked.weather, asked.particles)


def _moments(asked: Asked) -> list[datetime]:
    """From now on, as far as the wind file reaches: no wind is made up beyond it."""
    last = asked.at + max(HORIZON, timedelta(hours=asked.hours))
    if asked.weather is not None:
        last = min(last, asked.weather.last)
    count = max(0, (last - asked.at) // STEP)
    return [asked.at + number * STEP for number in range(count + 1)]


def _lit_until_s(asked: Asked, last: datetime) -> Numbers | None:
    """Until when each lamp is counted on, seconds after the splash; None where a report says that the beacon calls."""
    if last_fix(asked.known) is not None:
        return None
    splash = asked.plan.dive.splash_utc
    count = -((splash - last) // STEP)
    moments = [min(last, splash + number * STEP) for number in range(count + 1)]
    nowhere = np.zeros(0)  # only who is afloat when is wanted of these clouds
    series = [replace(cloud, east_m=nowhere, north_m=nowhere) for cloud in _follow(asked, moments)]
    lit_h = {home.key: home.lit_h for home in homes(asked.plan, asked.guesses, asked.known)}
    return lamps_until_s(series, lit_h, splash)


# --- what was searched in vain --------------------------------------------------------------------------------------


def _unseen(asked: Asked, lit_s: Numbers | None) -> Numbers | None:
    """The chance of each particle to have been missed by all tracks; None without any.

    In each light the lander is seen by another law, so the tracks are cut where the light changes.
    """
    if not asked.tracks:
        return None
    unseen = np.ones(1)
    first, last = min(track.first for track in asked.tracks), max(track.last for track in asked.tracks)
    for span in spans(asked.plan, asked.searcher, first, last + timedelta(seconds=1)):
        pieces = [piece for track in asked.tracks if (piece := track.between(span.begin, span.end)) is not None]
        if not pieces or span.sighting.sweep_m <= 0:
            continue
        moments = moments_for(pieces)
        from_first_s = None
        if span.sighting.by == BY_LAMP and lit_s is not None:
            from_first_s = lit_s - (moments[0] - asked.plan.dive.splash_utc).total_seconds()
        unseen = unseen * chance_unseen(
            _follow(asked, moments), pieces, a_second=span.sighting.rate_per_s, seen_until_s=from_first_s)
    return unseen


# --- advice ---------------------------------------------------------------------------------------------------------


def _advised(asked: Asked, drifting: Drifting) -> tuple[Advice | None, Heading]:
    windows = [window for window in _windows(asked.plan) if window.moment > asked.at]
    try:
        told = advise(asked.plan, drifting, asked.searcher, asked.at, asked.hours, asked.boat, windows)
    except SearchError as error:
        after = [window.moment for window in windows]
        if not after:
            raise
        return None, Heading(None, min(after), " ".join(error.sentences))
    advised = told.advised
    return told, Heading(advised.pattern.waypoints[0], advised.course.begin, told.sentences[1])


def _windows(plan: Plan) -> Iterator[Window]:
    """When more may be afloat than before: each way home at the latest that it is reckoned to be up."""
    for path in release_paths.paths(plan):
        moment = path.surfacing.late or path.surfacing.likely
        if moment is not None and path.key in SHORT:
            yield Window(SHORT[path.key], moment)


def _planned(told: Advice) -> Iterator[Planned]:
    """The advised search first, then the others that it was compared with."""
    others = [begun for begun in told.begun if begun is not told.advised]
    for begun in (told.advised, *others):
        yield Planned(begun.pattern, begun.course.begin, "Begun %s, in %s." % (begun.words, begun.light))


# --- what is told ---------------------------------------------------------------------------------------------------


def _ways(asked: Asked, cloud: Cloud) -> Iterator[WayHome]:
    known = {home.key: home for home in homes(asked.plan, asked.guesses, asked.known)}
    for way in cloud.ways:
        yield WayHome(way, *(_surfaced(asked.plan, known[way.key], share, lean)
                             for share, lean in ((0.0, -1.0), (0.5, 0.0), (1.0, 1.0))))


def _surfaced(plan: Plan, home: Home, share: float, lean: float) -> datetime | None:
    seconds = float(home.surfaced_s(np.array([share]), np.array([lean]))[0])
    return plan.dive.splash_utc + timedelta(seconds=round(seconds)) if np.isfinite(seconds) else None


def _sights(asked: Asked, clouds: Sequence[Cloud], begin: datetime) -> Iterator[Sight]:
    """For the hours that are shown, and for the moment at which the advised search begins."""
    wanted = {asked.at + timedelta(hours=hours) for hours in SHOWN_H}
    wanted.add(min(clouds, key=lambda cloud: abs(cloud.at - begin)).at)
    for number, cloud in enumerate(clouds):
        if cloud.at in wanted:
            yield _sight(cloud, clouds[number + 1] if number + 1 < len(clouds) else clouds[number - 1])


def _sight(cloud: Cloud, neighbour: Cloud) -> Sight:
    """The likely place is where it is densest: the middle of all may be where it is not, as after a search in vain."""
    afloat = cloud.afloat & (cloud.weight > 0)
    weight = np.where(afloat, cloud.weight, 0.0)
    share = float(weight.sum())
    if share <= 0:
        return Sight(cloud.at, (), None, 0.0, 0.0)
    own = np.where(_densest(cloud.east_m, cloud.north_m, weight), weight, 0.0)
    east_m, north_m = _middle(cloud, own)
    away_m = np.hypot(cloud.east_m - east_m, cloud.north_m - north_m)
    order = np.argsort(away_m)
    within = int(np.searchsorted(np.cumsum(weight[order]), SHARE * share))
    later_east_m, later_north_m = _middle(neighbour, own)
    hours = (neighbour.at - cloud.at) / timedelta(hours=1) or 1.0
    per_hour = (later_east_m - east_m) / hours, (later_north_m - north_m) / hours
    return Sight(cloud.at, areas(cloud), Plane(cloud.plane.origin).position(east_m, north_m),
                 float(away_m[order[min(within, len(order) - 1)]]), min(1.0, share),
                 degrees(atan2(*per_hour)) % 360.0, hypot(*per_hour) / METRES_PER_NM)


def _densest(east_m: Numbers, north_m: Numbers, weight: Numbers) -> np.ndarray:
    """Which particles lie in the cell that holds most, and in those around it."""
    counts = weight > 0
    cells = []
    for axis in (east_m, north_m):
        low, high = np.quantile(axis[counts], (0.005, 0.995))
        size = max(float(high - low) / CELLS, CELL_MIN_M)
        cells.append(np.clip(((axis - low) / size).astype(np.int64), 0, CELLS))
    held = np.bincount(cells[0] * (CELLS + 1) + cells[1], weights=weight, minlength=(CELLS + 1) ** 2)
    smooth = gaussian_filter(held.reshape(CELLS + 1, CELLS + 1), SMOOTHED_CELLS, mode="constant")
    peak = np.unravel_index(int(np.argmax(smooth)), smooth.shape)
    near = (np.abs(cells[0] - peak[0]) <= AROUND_CELLS) & (np.abs(cells[1] - peak[1]) <= AROUND_CELLS) & counts
    return near if near.any() else counts


def _middle(cloud: Cloud, weight: Numbers) -> tuple[float, float]:
    total = float(weight.sum())
    return float(np.sum(weight * cloud.east_m)) / total, float(np.sum(weight * cloud.north_m)) / total
