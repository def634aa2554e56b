"""Times and order: when each release brings the lander up, in which light, and whether the times follow each other."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache

from lander import lamps
from lander.orders import MISSION_LIMIT_DS
from seatrial.handbook import sighting, sun
from seatrial.plan import Plan
from seatrial.workings import daylight, order
from seatrial.workings.chapter import Chapter, Column, Figure, Table
from seatrial.workings.chart_angles import Latitude, Longitude
from seatrial.workings.drift import position_at
from seatrial.workings.lasting import beacon_hours_left, empty_h
from seatrial.workings.moments import local, moment_of, on_board, zone
from seatrial.workings.motion import motion
from seatrial.workings.release_paths import (
    BY_BACKUP,
    LATEST,
    TIMED,
    Path,
    last_attempt_over_s,
    path_of,
    paths,
    second_deadline_s,
)

AROUND = timedelta(hours=3)  # shown before the splash and after the last of a dive
LONGEST_SHOWN = timedelta(days=14)  # of light: a corroding link may hold for months
SUN_EVENTS = ("nautical dawn", "civil dawn", "sunrise", "sunset", "civil dusk", "nautical dusk")

BOAT = "boat must leave"  # to be up in that very minute is soon enough


@dataclass(frozen=True)
class Times:
    """The moments of a dive in UTC; None: never, or not planned."""

    splash: datetime
    touchdown: datetime | None
    timed: datetime
    latest: datetime
    second: datetime | None  # the second board fires at the latest; None: none is fitted
    last_attempt_over: datetime  # the last planned attempt, had the first begun with the latest release
    pack_empty: datetime  # if nothing ever frees the lander
    counter_end: datetime
    must_leave: datetime | None
    beacon_planned_end: datetime | None  # up by the timed release, likely
    beacon_end: datetime | None  # the same by energy: the pack is empty
    paths: tuple[Path, ...]


@dataclass(frozen=True)
class SunDay:
    """The sun's events of one day as the calendar on board has it, in UTC, in the order of `SUN_EVENTS`."""

    day: date
    events: tuple[datetime | None, ...]


@lru_cache(maxsize=16)
def times(plan: Plan) -> Times:
    """The moments of a plan, whatever its keys make of them."""
    touchdown_s, path = motion(plan).descent_likely_s, path_of(plan, TIMED)
    up_at = path.surfacing.likely
    return Times(
        splash=plan.dive.splash_utc,
        touchdown=None if touchdown_s is None else moment_of(plan, touchdown_s),
        timed=moment_of(plan, plan.times.timed_release_min * 60),
        latest=moment_of(plan, plan.times.latest_release_min * 60),
        second=moment_of(plan, second_deadline_s(plan)) if plan.second.fitted else None,
        last_attempt_over=moment_of(plan, last_attempt_over_s(plan)),
        pack_empty=moment_of(plan, empty_h(plan) * 3600),
        counter_end=moment_of(plan, MISSION_LIMIT_DS / 10 - plan.dive.on_deck_min * 60),
        must_leave=plan.dive.must_leave_utc,
        beacon_planned_end=None if up_at is None else up_at + timedelta(hours=plan.beacon.hours),
        beacon_end=dark_from(plan, path),
        paths=paths(plan),
    )


def lit_h(plan: Plan, path: Path) -> float | None:
    """Hours for which the pack feeds the beacon after the likely surfacing of a path; None: it never surfaces."""
    if path.surfaced_min.likely is None:
        return None
    return beacon_hours_left(plan, path.surfaced_min.likely / 60, path.command_min, path.attempts)


def dark_from(plan: Plan, path: Path) -> datetime | None:
    """When the beacon goes out for want of energy after the likely surfacing of a path; None: it never surfaces."""
    hours, up_at = lit_h(plan, path), path.surfacing.likely
    return None if hours is None or up_at is None else up_at + timedelta(seconds=round(hours * 3600))


def lamp_sighting(plan: Plan) -> sighting.LampSighting | None:
    """How far the beacon's flash is seen by night; None where its intensity is not given."""
    beacon = plan.beacon
    if beacon.lamp_cd is None:
        return None
    on_and_off_ms: tuple[int, ...] = lamps.BEACON[lamps.FLASH]
    return sighting.lamp_sighting_nm(
        beacon.lamp_cd, on_and_off_ms[0] / 1000, plan.site.visibility_nm, beacon.eye_height_m, beacon.lamp_height_m)


def radio_horizon_km(plan: Plan) -> float:
    """How far the searcher's antenna and the lander's see each other, km."""
    return sighting.radio_horizon_km(plan.beacon.antenna_height_m, plan.beacon.own_antenna_height_m)


def last_moment(plan: Plan) -> datetime:
    """The end of what is shown of a dive: the last surfacing or the boat's leaving, at most `LONGEST_SHOWN`."""
    moments = [plan.dive.splash_utc, times(plan).latest, plan.dive.must_leave_utc]
    for path in paths(plan):
        moments += [path.surfacing.likely, path.surfacing.late]
    last = max(moment for moment in moments if moment is not None)
    return min(last, plan.dive.splash_utc + LONGEST_SHOWN)


def sun_days(plan: Plan) -> list[SunDay]:
    """The sun on each day on board that the dive touches."""
    first, last = local(plan, plan.dive.splash_utc).date(), local(plan, last_moment(plan)).date()
    days = [first + timedelta(days=number) for number in range((last - first).days + 1)]
    begin = _midnight(plan, first)
    events = sun.events_between(plan.site.latitude_deg, plan.site.longitude_deg, begin,
                                begin + timedelta(days=len(days)))
    by_day: dict[tuple[date, str], datetime] = {}
    for event in events:
        by_day.setdefault((local(plan, event.moment).date(), event.name), event.moment)
    return [SunDay(day, tuple(by_day.get((day, name)) for name in SUN_EVENTS)) for day in days]


def _midnight(plan: Plan, day: date) -> datetime:
    return datetime(day.year, day.month, day.day, tzinfo=UTC) - timedelta(hours=plan.dive.utc_offset_h)


# --- in words -------------------------------------------------------------------------------------------------------


def chapter(plan: Plan) -> Chapter:
    """The times of a plan in words, tables and what a time line is drawn from."""
    return Chapter(
        "times", "Times and order",
        figures=tuple(_figures(plan)),
        tables=(_path_table(plan), _order_table(plan), _sun_table(plan)),
        series=_series(plan),
        faults=tuple(order.faults(plan)),
        cautions=(*order.cautions(plan), *_cautions(plan)),
        sources=(
            "release sequence, pauses and lead: the mission core itself, as the board runs it",
            "sunrise and twilight: heights of the sun as in Bowditch, The American Practical Navigator; position of the"
            " sun by astral (NOAA solar calculator)",
            "range of the lamp: Allard's law (IALA E-200-2), Blondel and Rey for a flash (IALA E-200-4), the lesser of"
            " light and horizon; radio horizon over an earth of 4/3 its radius (ITU-R P.453)",
        ),
        limits=(
            "every moment counts from the planned splash: if the real one differs, move all of them by as much",
            "each path begins on the seabed; water inside, a low battery, too great a depth or an unknown time release"
            " earlier than any time here",
            "early and late take the doubt of the ascent, and a wire or latch that opens only at the end of its"
            " attempt; a path that needs more attempts is later still",
            "the second board is reckoned with the main one dead: it comes up dark and silent then",
            "the corroding link has a range and no likely moment in it: no law of time for it deserves trust",
            "light is the sun's height alone, without clouds and land; darkness begins at civil dusk",
            "the lamp's range is for a dark, calm night and an eye that looks that way; swell takes from both heights,"
            " and by day the lamp promises nothing",
        ),
    )


def _figures(plan: Plan) -> Iterator[Figure]:
    worked = times(plan)
    yield _moment(plan, "splash_utc", "splash", worked.splash)
    yield _moment(plan, "touchdown_utc", "touchdown", worked.touchdown, "likely")
    yield _moment(plan, "timed_release_utc", "timed release", worked.timed)
    yield _moment(plan, "latest_release_utc", "latest release", worked.latest)
    if worked.second is not None:
        yield _moment(plan, "second_release_utc", "latest by the second board", worked.second,
                      "whatever the main board does")
    yield _moment(plan, "last_attempt_utc", "last planned attempt over", worked.last_attempt_over,
                  "begun with the latest release")
    for key, words in ((TIMED, "up by the timed release"), (BY_BACKUP, "up by the backup"),
                       (LATEST, "up by the latest release")):
        surfacing = path_of(plan, key).surfacing
        yield _moment(plan, f"{key}_surfacing_utc", words, surfacing.likely, "likely", leading=True)
        yield _moment(plan, f"{key}_surfacing_late_utc", f"{words}, late", surfacing.late)
    up_at = path_of(plan, TIMED).surfacing.likely
    yield Figure("surfacing_light", "light at the timed surfacing",
                 None if up_at is None else daylight.light_at(plan, up_at), note=f"wished: {plan.dive.surface_in}")
    yield from _sun_figures(plan)
    yield _moment(plan, "must_leave_utc", BOAT, worked.must_leave)
    yield _moment(plan, "beacon_planned_end_utc", "beacon, by the plan until", worked.beacon_planned_end,
                  "up by the timed release")
    yield _moment(plan, "beacon_end_utc", "beacon, by energy until", worked.beacon_end,
                  "sparsely once the planned hours are over")
    yield _moment(plan, "pack_empty_utc", "pack empty", worked.pack_empty, "if nothing frees the lander")
    yield _moment(plan, "counter_end_utc", "mission counter trusted until", worked.counter_end)
    seen = lamp_sighting(plan)
    yield Figure("lamp_range_nm", "lamp seen by night", None if seen is None else seen.range_nm, "NM", 1,
                 "" if seen is None else f"limited by the {seen.limited_by}")
    yield Figure("radio_horizon_km", "radio horizon", radio_horizon_km(plan), "km", 1,
                 "line of sight, far fainter beyond")


def _sun_figures(plan: Plan) -> Iterator[Figure]:
    up_at = path_of(plan, TIMED).surfacing.likely or plan.dive.splash_utc
    day = local(plan, up_at).date()
    found = next((one for one in sun_days(plan) if one.day == day), None)
    events = found.events if found else (None,) * len(SUN_EVENTS)
    for name, moment in zip(SUN_EVENTS, events, strict=True):
        if name in ("sunrise", "sunset", "civil dusk"):
            yield _moment(plan, f"{name.replace(' ', '_')}_utc", f"{name} that day", moment)


def _moment(plan: Plan, key: str, words: str, moment: datetime | None, note: str = "",
            leading: bool = False) -> Figure:
    clock = None if moment is None else f"{on_board(plan, moment)} local"
    return Figure(key, words, moment, note=", ".join(part for part in (clock, note) if part), leading=leading)


def _clock(plan: Plan, moment: datetime | None) -> str | None:
    return None if moment is None else f"{local(plan, moment):%H:%M}"


def _path_table(plan: Plan) -> Table:
    columns = (
        Column("path", "freed by"), Column("command_min", "command, min", 1), Column("freed_min", "freed, min", 1),
        Column("mud_s", "mud, s", 0), Column("ascent_min", "ascent, min", 1), Column("early_utc", "up early, UTC"),
        Column("likely_utc", "likely, UTC"), Column("late_utc", "late, UTC"),
        Column("likely_local", f"likely, {zone(plan)}"), Column("light", "light then"),
        Column("latitude_deg", "latitude", 4), Column("longitude_deg", "longitude", 4),
    )
    return Table("paths", "The ways home", columns, tuple(_path_row(plan, path) for path in paths(plan)))


def _path_row(plan: Plan, path: Path) -> tuple:
    moved, up_at = motion(plan), path.surfacing.likely
    place = None if up_at is None else position_at(plan, 0.0)
    return (
        path.words, path.command_min, path.freed_min.likely, moved.mud_s,
        None if moved.ascent_likely_s is None else moved.ascent_likely_s / 60,
        path.surfacing.early, up_at, path.surfacing.late, _clock(plan, up_at),
        None if up_at is None else daylight.light_at(plan, up_at),
        None if place is None else Latitude(place.latitude_deg),
        None if place is None else Longitude(place.longitude_deg),
    )


def _order_table(plan: Plan) -> Table:
    columns = (Column("first", "first"), Column("first_utc", "at, UTC"), Column("then", "then"),
               Column("then_utc", "at, UTC"), Column("margin_h", "between, h", 1), Column("holds", "holds"))
    rows = []
    for first, first_at, then, then_at, must in _pairs(plan):
        margin_h = None
        if first_at is not None and then_at is not None:
            margin_h = (then_at - first_at) / timedelta(hours=1)
        rows.append((first, first_at, then, then_at, margin_h, _holds(margin_h, must, may_meet=then == BOAT)))
    return Table("order", "The order that must hold", columns, tuple(rows))


def _holds(margin_h: float | None, must: bool, may_meet: bool) -> str:
    if margin_h is None:
        return "not known"
    if margin_h > 0 or (may_meet and margin_h == 0):
        return "yes"
    return "no" if must else "no, a caution"


def _pairs(plan: Plan) -> Iterator[tuple[str, datetime | None, str, datetime | None, bool]]:
    """What comes first, what then, and whether the dive does not add up otherwise."""
    worked = times(plan)
    yield "timed release", worked.timed, "latest release", worked.latest, True
    passive = plan.release.passive
    if worked.second is not None:
        yield "latest release", worked.latest, "second board fires", worked.second, True
    if passive.fitted:
        earliest, latest = (None if hours is None else moment_of(plan, hours * 3600)
                            for hours in (passive.earliest_h, passive.latest_h))
        yield "latest release", worked.latest, "link at its earliest", earliest, True
        if worked.second is not None:
            yield "second board fires", worked.second, "link at its earliest", earliest, False
        yield "last planned attempt over", worked.last_attempt_over, "link at its earliest", earliest, False
        yield "link at its earliest", earliest, "pack empty", worked.pack_empty, True
        called = None if latest is None else latest + timedelta(hours=plan.beacon.hours)
        yield "link at its latest, and the beacon hours", called, "pack empty", worked.pack_empty, False
    yield "splash", worked.splash, BOAT, worked.must_leave, True
    for key, words in ((TIMED, "timed release"), (BY_BACKUP, "backup"), (LATEST, "latest release")):
        late = path_of(plan, key).surfacing.late
        yield f"up by the {words}, late", late, BOAT, worked.must_leave, key != LATEST


def _sun_table(plan: Plan) -> Table:
    columns = (Column("day", "day on board"),
               *(Column(f"{name.replace(' ', '_')}_utc", f"{name}, UTC") for name in SUN_EVENTS),
               Column("sunrise_local", f"sunrise, {zone(plan)}"), Column("sunset_local", f"sunset, {zone(plan)}"))
    rise, fall = SUN_EVENTS.index("sunrise"), SUN_EVENTS.index("sunset")
    rows = tuple((one.day.isoformat(), *one.events, _clock(plan, one.events[rise]), _clock(plan, one.events[fall]))
                 for one in sun_days(plan))
    return Table("sun", "The sun at the site", columns, rows)


def _series(plan: Plan) -> dict[str, Sequence[float | str | None]]:
    worked = times(plan)
    events = (
        ("splash", worked.splash), ("touchdown", worked.touchdown), ("timed release", worked.timed),
        ("latest release", worked.latest), ("latest by the second board", worked.second),
        ("last planned attempt over", worked.last_attempt_over),
        (BOAT, worked.must_leave), ("pack empty", worked.pack_empty),
        ("beacon, by the plan until", worked.beacon_planned_end), ("beacon, by energy until", worked.beacon_end),
    )
    shown = [(words, moment) for words, moment in events if moment is not None]
    lights = daylight.bands(plan, worked.splash - AROUND, last_moment(plan) + AROUND)
    return {
        "event_name": [words for words, _moment in shown],
        "event_s": [moment.timestamp() for _words, moment in shown],
        "path_key": [path.key for path in worked.paths],
        "path_name": [path.words for path in worked.paths],
        "path_command_s": [_since(plan, path.command_min) for path in worked.paths],
        "path_freed_s": [_since(plan, path.freed_min.likely) for path in worked.paths],
        "path_early_s": [_epoch(path.surfacing.early) for path in worked.paths],
        "path_likely_s": [_epoch(path.surfacing.likely) for path in worked.paths],
        "path_late_s": [_epoch(path.surfacing.late) for path in worked.paths],
        "light_name": [band.light for band in lights],
        "light_from_s": [band.begin.timestamp() for band in lights],
        "light_to_s": [band.end.timestamp() for band in lights],
    }


def _epoch(moment: datetime | None) -> float | None:
    return None if moment is None else moment.timestamp()


def _since(plan: Plan, minutes: float | None) -> float | None:
    return None if minutes is None else moment_of(plan, minutes * 60).timestamp()


def _cautions(plan: Plan) -> Iterator[str]:
    if plan.beacon.lamp_cd is None:
        yield ("beacon.lamp_cd is missing: how far the beacon's lamp is seen was not worked out; give its intensity"
               " while it is on")
