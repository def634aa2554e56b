"""A search worked out: from what is asked to all that is told. Every number comes from the other parts; here they meet.

The clouds from now on are kept; those of a search in vain are drawn anew from the same seed, one by one, so that they
hold the same particles in the same order.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from math import atan2, degrees, hypot

import numpy as np

from seatrial.handbook import sun
from seatrial.handbook.sighting import METRES_PER_NM
from seatrial.plan import Plan
from seatrial.workings import release_paths
from seatrial.workings.card import CAUTIONS
from seatrial.workings.drift import drift
from seatrial.workings.release_paths import BY_BACKUP, BY_SECOND, LATEST, LINK_EARLIEST, LINK_LATEST, TIMED
from tumblehome.find.advice import LITTLE, Advice, Window, advise
from tumblehome.find.areas import areas
from tumblehome.find.drifting import PARTICLES, clouds, lamps
from tumblehome.find.guesses import Guesses
from tumblehome.find.known import Heard, Known, NotHeard, last_fix
from tumblehome.find.lamps import SELDOM, Lamps
from tumblehome.find.meeting import Drifting
from tumblehome.find.message import lamp_told, message, moment_told
from tumblehome.find.mistakes import NothingAfloat, NothingSeen, OutOfReach, SearchError
from tumblehome.find.mistakes import told as shown
from tumblehome.find.positions import written
from tumblehome.find.shapes import Cloud, Numbers, Plane, Position
from tumblehome.find.sighting import LAMP, Link, Searcher, radio_range, spans
from tumblehome.find.telling import Heading, Planned, Sight, Telling, WayHome, percent
from tumblehome.find.tracks import Track
from tumblehome.find.unseen import after_search, chance_unseen, moments_for
from tumblehome.find.ways import STAYS_DOWN, Home, homes
from tumblehome.find.wind_files import Forces, Weather

SHOWN_H = (0, 1, 3, 6, 12, 24, 48)  # hours from now on for which the areas are told
STEP = timedelta(minutes=30)  # from cloud to cloud while a search may be under way
HORIZON = timedelta(hours=48)
SHARE = 0.9  # of the landers afloat lie within the radius that is told
LEAST_MORE = 1e-9
FAR_M, FASTEST_DRIFT_M_S = 20_000.0, 3.0  # a gale in the strongest of ocean currents, and room for the way down
SEARCHED_MIN = 1e-4  # a search that would have found it with less than this tells nothing
CELLS, CELL_MIN_M = 40, 2.0  # a side of the grid on which the likely place is found
SMOOTHED_CELLS = 2.0
NEARLY_PEAK = 0.7  # of the highest density; the patch that holds more has a middle that does not jump about
WINDOWS = {  # what will have happened by the moment after which more may be afloat
    TIMED: "the timed release", BY_BACKUP: "the backup release", LATEST: "the latest release",
    BY_SECOND: "the second board's release", LINK_EARLIEST: "the corroding link's earliest",
    LINK_LATEST: "the corroding link's latest",
}


@dataclass(frozen=True)
class Asked:
    """What a search is worked out from. `at` is now; `hours` is the time for it, the way there counted in.

    `also` are moments, from now on, whose areas are told as well.
    """

    plan: Plan
    at: datetime
    searcher: Searcher
    guesses: Guesses
    hours: float = 6.0
    boat: Position | None = None
    weather: Weather | None = None
    known: tuple[Known, ...] = ()
    tracks: tuple[Track, ...] = ()
    also: tuple[datetime, ...] = ()
    seed: int = 1
    particles: int = PARTICLES


def work_out(asked: Asked, begins: Callable[[str], None] = lambda _what: None) -> Telling:
    """All that is told of this search. `begins` hears what is worked out now. Raises FindError with sentences."""
    plan, site = asked.plan, asked.plan.site
    splash = Position(site.latitude_deg, site.longitude_deg)
    begins("drift")
    series = list(_clouds(asked, _moments(asked)))
    lit = _lamps(asked)
    if asked.tracks:
        begins("what was searched in vain")
    unseen = _unseen(asked, lit)
    searched = []
    if unseen is not None:
        searched = [_searched(asked.tracks, float(np.sum(series[0].weight * (1.0 - unseen))))]
        series = [after_search(cloud, unseen) for cloud in series]
    begins("patterns")
    drifting = Drifting(series, lamps=lit.after(_after_splash_s(asked, asked.at)))
    told, heading = _advised(asked, drifting)
    begins("areas")
    sights = tuple(_sights(asked, series, heading.at))
    return Telling(
        name=plan.dive.name, now=asked.at, splash=splash, splash_utc=plan.dive.splash_utc, bottom=_bottom(plan),
        boat=asked.boat, heading=heading, ways=tuple(_ways(asked, series[0])), sights=sights,
        patterns=() if told is None else tuple(_planned(told)),
        message=_message(asked, splash, sights, heading.at, drifting),
        reasons=(*_too_far(asked, splash), *_reasons(told, drifting, asked.at)), tell=plan.card.tell,
        assumed=(*searched, *(note[:1].upper() + note[1:] + "." for note in _notes(asked))), cautions=CAUTIONS)


def _notes(asked: Asked) -> Iterator[str]:
    """What was taken for granted of wind, current, silence and searches in vain, a sentence each."""
    plan, searcher = asked.plan, asked.searcher
    yield from Forces(plan, asked.guesses.drift, asked.weather).notes
    silence = [one for one in asked.known if isinstance(one, NotHeard)]
    if silence:
        height_m = plan.beacon.own_antenna_height_m
        near = ", %.1f NM for a LoRa radio as the firmware sets it" % radio_range(
            searcher, height_m, Link()).range_nm if height_m > 0 else ""
        yield ("who listened is taken to have been in range%s, and to have heard a beacon that calls with a chance of"
               " %s; else leave out --not-heard-until" % (near, percent(silence[-1].detection)))
    if asked.tracks:
        yield ("whoever steered the tracks is taken to have looked out all the while, with the eye %.3g m above the"
               " water (--eye-m); leave out what was steered without a lookout" % searcher.eye_height_m)


def _bottom(plan: Plan) -> Position | None:
    landing = drift(plan).landing
    return None if landing is None else Position(landing.latitude_deg, landing.longitude_deg)


def _after_splash_s(asked: Asked, moment: datetime) -> float:
    return (moment - asked.plan.dive.splash_utc).total_seconds()


# --- clouds ---------------------------------------------------------------------------------------------------------


def _clouds(asked: Asked, moments: Sequence[datetime]) -> Iterator[Cloud]:
    return clouds(asked.plan, moments, asked.seed, asked.guesses, asked.known, asked.weather, asked.particles)


def _moments(asked: Asked) -> list[datetime]:
    """From now on, as far as the wind file reaches: no wind is made up beyond it.

    Also when a way home has brought up whom it will: who is up counts as afloat from the next moment on only.
    """
    last = max(asked.at + max(HORIZON, timedelta(hours=asked.hours)), *asked.also, asked.at)
    if asked.weather is not None:
        end = asked.at + timedelta(hours=asked.hours)
        if asked.at <= asked.weather.last < end:
            raise SearchError([f"{asked.weather.file} ends at {shown(asked.weather.last)}, and a search of"
                               f" {asked.hours:g} h at {shown(end)}: get a longer file, or give fewer hours (--hours)"])
        last = min(last, asked.weather.last)
    count = max(0, (last - asked.at) // STEP)
    up = [window.moment for window in _windows(asked.plan) if asked.at < window.moment < last]
    return sorted({*up, *asked.also, *(asked.at + number * STEP for number in range(count + 1))})


def _lamps(asked: Asked) -> Lamps:
    """How each lamp flashes, in seconds after the splash.

    As long as the lander said in its last report, where it told that; without an end where it told only a place.
    """
    planned = lamps(asked.plan, asked.seed, asked.guesses, asked.known, asked.particles)
    heard = max((one for one in asked.known if isinstance(one, Heard) and one.silent_at), key=lambda one: one.at,
                default=None)
    if heard is not None and heard.silent_at is not None:
        return planned.told(_after_splash_s(asked, heard.silent_at))
    return planned if last_fix(asked.known) is None else planned.told(np.inf)


# --- what was searched in vain --------------------------------------------------------------------------------------


def _unseen(asked: Asked, lit: Lamps) -> Numbers | None:
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
        unseen = unseen * chance_unseen(
            _clouds(asked, moments), pieces, a_second=span.sighting.rate_per_s,
            lamps=lit.after(_after_splash_s(asked, moments[0])) if span.sighting.by == LAMP else None)
    return unseen


def _too_far(asked: Asked, splash: Position) -> Iterator[str]:
    """A report from farther away than anything drifts: of another lander, or the plan has it in another place."""
    fix = last_fix(asked.known)
    if fix is None:
        return
    away_m = hypot(*Plane(splash).metres(fix.position))
    if away_m > FAR_M + FASTEST_DRIFT_M_S * _after_splash_s(asked, fix.at):
        yield (f"The report of {shown(fix.at)} came from {away_m / METRES_PER_NM:.0f} NM off the splash, farther than"
               " anything drifts in that time: look whose it is, and at the plan's position.")


def _searched(tracks: Sequence[Track], found: float) -> str:
    """How likely what was searched in vain would have found it: a track of another place or day shows by that."""
    files = " and ".join(track.file for track in tracks)
    if found < SEARCHED_MIN:
        return (f"The search along {files} changes nothing, since from there and then nothing of the lander could be"
                " seen: look whether it is the track of this search.")
    return f"The search along {files} would have found it with {percent(found)}, as the lookout is reckoned."


# --- advice ---------------------------------------------------------------------------------------------------------


def _advised(asked: Asked, drifting: Drifting) -> tuple[Advice | None, Heading]:
    windows = list(_windows_ahead(asked, drifting))
    try:
        told = advise(asked.plan, drifting, asked.searcher, asked.at, asked.hours, asked.boat, windows)
    except NothingAfloat as error:
        return None, _waiting(asked, drifting, windows, " ".join(error.sentences))
    except (OutOfReach, NothingSeen) as error:
        word = "Out of reach" if isinstance(error, OutOfReach) else "Not to be seen"
        return None, Heading(None, asked.at, _sentence(error), word)
    advised = told.advised
    place, begin, chance = advised.pattern.waypoints[0], advised.course.begin, advised.pattern.detection
    word = "" if chance >= LITTLE else "Little to gain: a chance of %s in %g h" % (percent(chance), asked.hours)
    return told, Heading(place, begin, told.sentences[1], word)


def _waiting(asked: Asked, drifting: Drifting, windows: Sequence[Window], why: str) -> Heading:
    """Until the next way home, or, where none is left, where it would lie."""
    up = [cloud.at for cloud in drifting.clouds if (cloud.afloat & (cloud.weight > 0)).any()]
    after = [window.moment for window in windows] + up[:1]
    if after:
        return Heading(None, min(after), "%s." % (why[:1].upper() + why[1:]))
    bottom = _bottom(asked.plan)
    where = "" if bottom is None else " near %s" % written(bottom)
    return Heading(None, asked.at, "By all that is known it is not afloat, and no way home is left that would bring it"
                   " up: it lies on the seabed%s. Look at what was told (--down-at, --not-seen, --not-heard-until); a"
                   " lander that lies there is for an echo sounder and a grapnel." % where, "It stays down")


def _sentence(error: SearchError) -> str:
    text = " ".join(error.sentences)
    return "%s." % (text[:1].upper() + text[1:])


def _windows(plan: Plan) -> Iterator[Window]:
    """When more may be afloat than before: each way home at the latest that it is reckoned to be up."""
    for path in release_paths.paths(plan):
        moment = path.surfacing.late or path.surfacing.likely
        if moment is not None and path.key in WINDOWS:
            yield Window(WINDOWS[path.key], moment)


def _windows_ahead(asked: Asked, drifting: Drifting) -> Iterator[Window]:
    """Those by which more is afloat than before: once it is heard afloat, there is no release to wait for."""
    last = drifting.clouds[-1].at
    downs = [number for number, way in enumerate(drifting.clouds[0].ways) if way.key == STAYS_DOWN]
    later = ~drifting.afloat(last) & ~np.isin(drifting.way, downs) & (drifting.weight > 0)
    up = float(drifting.weight[drifting.afloat(asked.at)].sum())
    for window in sorted(_windows(asked.plan), key=lambda window: window.moment):
        if window.moment <= asked.at:
            continue
        by_then = float(drifting.weight[drifting.afloat(min(window.moment, last))].sum())
        if by_then > up + LEAST_MORE or (window.moment > last and later.any()):
            yield window
        up = by_then


def _message(asked: Asked, splash: Position, sights: Sequence[Sight], begin: datetime, drifting: Drifting) -> str:
    """For others, who look from now on, whenever the boat begins."""
    sight = moment_told(sights, min(sights, key=lambda sight: abs(sight.at - begin)))
    fully, seldom = (_share(drifting, sight.at, rhythm) for rhythm in (1.0, SELDOM))
    if fully is None or seldom is None:
        return message(asked.plan, splash, sight)
    return message(asked.plan, splash, sight, lamp_told(fully, seldom))


def _share(drifting: Drifting, moment: datetime, rhythm: float) -> float | None:
    """The chance that one that is afloat by then flashes in this rhythm; None: none is afloat."""
    afloat = drifting.afloat(moment)
    share = float(drifting.weight[afloat].sum())
    return float(drifting.weight[afloat & (drifting.rhythm(moment) == rhythm)].sum()) / share if share > 0 else None


def _reasons(told: Advice | None, drifting: Drifting, now: datetime) -> Iterator[str]:
    yield from () if told is None else told.sentences[2:]
    fully, seldom = (_share(drifting, now, rhythm) for rhythm in (1.0, SELDOM))
    if fully is None or seldom is None:
        return
    calls = fully + seldom
    yield "If it is afloat now, its lamp and its radio still have charge with a chance of %s%s." % (
        percent(calls), "" if calls >= LITTLE else ": look for its floats, by day")
    if seldom >= LITTLE:
        yield "By night it flashes %d times less often, to save charge, with a chance of %s: look longer." % (
            round(1 / SELDOM), percent(seldom))


def _planned(told: Advice) -> Iterator[Planned]:
    """The advised search first, then the others that it was compared with."""
    others = [begun for begun in told.begun if begun is not told.advised]
    for begun in (told.advised, *others):
        yield Planned(begun.pattern, begun.course.begin, "Begun %s, %s." % (
            begun.words, "at night" if begun.light == sun.NIGHT else "in %s" % begun.light))


# --- what is told ---------------------------------------------------------------------------------------------------


def _ways(asked: Asked, cloud: Cloud) -> Iterator[WayHome]:
    known = {home.key: home for home in homes(asked.plan, asked.guesses, asked.known)}
    for way in cloud.ways:
        yield WayHome(way, *(_surfaced(asked.plan, known[way.key], share, lean)
                             for share, lean in ((0.0, -1.0), (0.5, 0.0), (1.0, 1.0))))


def _surfaced(plan: Plan, home: Home, share: float, lean: float) -> datetime | None:
    seconds = float(home.surfaced_s(np.array([share]), np.array([lean]))[0])
    return plan.dive.splash_utc + timedelta(seconds=round(seconds)) if np.isfinite(seconds) else None


def _sights(asked: Asked, series: Sequence[Cloud], begin: datetime) -> Iterator[Sight]:
    """For the hours that are shown, the moments asked for, and that at which the advised search begins."""
    wanted = {*asked.also, *(asked.at + timedelta(hours=hours) for hours in SHOWN_H)}
    wanted.add(min(series, key=lambda cloud: abs(cloud.at - begin)).at)
    for number, cloud in enumerate(series):
        if cloud.at in wanted:
            yield _sight(cloud, series[number + 1] if number + 1 < len(series) else series[number - 1])


def _sight(cloud: Cloud, neighbour: Cloud) -> Sight:
    """The likely place is the middle of where it is densest: that of all may be where it is not, as after a search."""
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
    """Which particles lie in the patch of cells around the densest one that hold nearly as much.

    Only those of the densest cell where the middle of the patch is no such place, as of one that bends around a search
    in vain.
    """
    from scipy.ndimage import gaussian_filter, label  # here, not above: it takes a while, and few commands need it

    counts = weight > 0
    cells = []
    for axis in (east_m, north_m):
        low, high = np.quantile(axis[counts], (0.005, 0.995))
        size = max(float(high - low) / CELLS, CELL_MIN_M)
        cells.append(np.clip(((axis - low) / size).astype(np.int64), 0, CELLS))
    held = np.bincount(cells[0] * (CELLS + 1) + cells[1], weights=weight, minlength=(CELLS + 1) ** 2)
    smooth = gaussian_filter(held.reshape(CELLS + 1, CELLS + 1), SMOOTHED_CELLS, mode="constant")
    peak = np.unravel_index(int(np.argmax(smooth)), smooth.shape)
    patches, _number = label(smooth >= NEARLY_PEAK * smooth[peak])
    patch = patches == patches[peak]
    middle = tuple(int(round(float(np.average(axis, weights=smooth[patch])))) for axis in np.nonzero(patch))
    if not patch[middle]:
        rows, columns = np.indices(smooth.shape)
        patch = np.hypot(rows - peak[0], columns - peak[1]) <= SMOOTHED_CELLS
    near = patch[cells[0], cells[1]] & counts
    return near if near.any() else counts


def _middle(cloud: Cloud, weight: Numbers) -> tuple[float, float]:
    total = float(weight.sum())
    return float(np.sum(weight * cloud.east_m)) / total, float(np.sum(weight * cloud.north_m)) / total
