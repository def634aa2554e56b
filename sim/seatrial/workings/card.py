"""What stands on the card that goes on deck: when and where to look for the lander, and what holds if it stays away.

Content only, in short lines; the host lays it out on one page.
"""

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from lander import lamps
from lander.words import BEACON_LAMP, STATUS_LAMP
from seatrial.handbook import leeway
from seatrial.handbook.sighting import METRES_PER_NM
from seatrial.plan import Plan, slowest_place
from seatrial.plan.sections import Latch, Wire
from seatrial.workings import daylight
from seatrial.workings.chart_angles import position_words
from seatrial.workings.drift import position_at
from seatrial.workings.moments import briefly, local, moment_of, zone
from seatrial.workings.release_paths import (
    BY_BACKUP,
    BY_SECOND,
    LATEST,
    LINK_EARLIEST,
    LINK_LATEST,
    TIMED,
    Path,
    path_of,
    paths,
)
from seatrial.workings.times import Times, dark_from, lamp_sighting, lit_h, radio_horizon_km, times

MARK_DIGITS = 8
ON_THE_CARD = (TIMED, BY_BACKUP, LATEST, BY_SECOND, LINK_EARLIEST, LINK_LATEST)
FORESEEN = timedelta(days=7)  # no further does a steady wind and current say where it drifts
SHORT = {
    TIMED: "timed release",
    BY_BACKUP: "primary fails, backup",
    LATEST: "latest release",
    BY_SECOND: "second board, main dead",
    LINK_EARLIEST: "corroding link, earliest",
    LINK_LATEST: "corroding link, latest",
}

CAUTIONS = (
    "Stand clear of the ballast from arming to the splash, and again on recovery until disarmed.",
    "Lamps and beacon are bright: do not look into them. Lights stay off in air.",
    "Lithium pack inside: if hot, hissing or flooded, keep off, keep people away, do not open it.",
    "A leaking housing may hold pressure: face and hands off the caps, relief first.",
    "A wire release makes hydrogen and chlorine while it fires: not in a closed space.",
    "Heavy ballast and lines on a moving deck: one person gives the word, nobody under the load.",
    "Ballast on the seabed, radio and work at sea are regulated: local rules decide.",
    "Reckoned, not promised: it proves nothing about hardware that was not tested.",
)


@dataclass(frozen=True)
class Moment:
    """A time on the card, in UTC and on board; both None where there is none. `note` is a few words."""

    words: str
    utc: datetime | None
    local: datetime | None
    note: str = ""


@dataclass(frozen=True)
class Spot:
    """A place on the card: position, true bearing and distance from the splash, and how far around to look."""

    latitude_deg: float
    longitude_deg: float
    words: str
    bearing_deg: float
    range_nm: float
    radius_nm: float


@dataclass(frozen=True)
class Way:
    """One way home: when it is commanded, when and where it comes up, and in which light; None: it never does."""

    key: str
    words: str
    command: Moment
    early: Moment
    likely: Moment
    late: Moment
    light: str | None
    spot: Spot | None


@dataclass(frozen=True)
class Weight:
    """One weight on the card, kg."""

    words: str
    kg: float


@dataclass(frozen=True)
class Card:
    """All that stands on the deck card. Texts are plain; a line fits the width of a page."""

    name: str
    place: str
    mark: str  # of the mission record, see `mark_of`; empty where the plan makes none
    zone: str  # what local time is
    search_from: Moment
    search_at: Spot | None
    times: tuple[Moment, ...]
    ways: tuple[Way, ...]
    release_order: tuple[str, ...]
    give_up: Moment
    still_true: tuple[str, ...]
    adrift: Spot | None  # where it has drifted to by then, had it come up unseen by the timed release
    beacon: tuple[str, ...]
    status_lamp: tuple[str, ...]
    weights: tuple[Weight, ...]
    tell: tuple[str, ...]
    looks_like: str
    marked: str
    cautions: tuple[str, ...]


def card(plan: Plan) -> Card:
    """The deck card of a plan. What never happens is None, so that a draft that does not add up has one too."""
    worked = times(plan)
    give_up = _give_up(plan, worked)
    site = plan.site
    return Card(
        name=plan.dive.name,
        place=f"{position_words(site.latitude_deg, site.longitude_deg)}, {site.depth_m:g} m deep",
        mark=_mark(plan),
        zone=zone(plan),
        search_from=_search_from(plan),
        search_at=_spot(plan, 0.0) if path_of(plan, TIMED).surfacing.likely else None,
        times=tuple(_times(plan, worked)),
        ways=tuple(_way(plan, path) for path in paths(plan) if path.key in ON_THE_CARD),
        release_order=tuple(_release_order(plan, worked)),
        give_up=give_up,
        still_true=tuple(_still_true(plan, worked, give_up)),
        adrift=_adrift(plan, give_up),
        beacon=tuple(_beacon(plan)),
        status_lamp=tuple(STATUS_LAMP[code] for code in (lamps.ARMED_ON_DECK, lamps.FIRING, lamps.AT_SURFACE)),
        weights=tuple(_weights(plan)),
        tell=plan.card.tell,
        looks_like=plan.card.looks_like,
        marked=plan.card.marked,
        cautions=CAUTIONS,
    )


def mark_of(record: bytes) -> str:
    """What a card and a controller are compared by, by eye: the first digits of the mission record's SHA-256."""
    digits = hashlib.sha256(record).hexdigest()[:MARK_DIGITS].upper()
    return "%s %s" % (digits[:MARK_DIGITS // 2], digits[MARK_DIGITS // 2:])


def _mark(plan: Plan) -> str:
    try:
        return mark_of(plan.mission_record())
    except ValueError:  # a draft that does not add up
        return ""


# --- when and where -------------------------------------------------------------------------------------------------


def _moment(plan: Plan, words: str, utc: datetime | None, note: str = "") -> Moment:
    return Moment(words, utc, None if utc is None else local(plan, utc), note)


def _times(plan: Plan, worked: Times) -> Iterator[Moment]:
    yield _moment(plan, "armed", worked.splash - timedelta(minutes=plan.dive.on_deck_min))
    yield _moment(plan, "splash", worked.splash)
    yield _moment(plan, "touchdown", worked.touchdown, "likely")
    yield _moment(plan, "timed release", worked.timed, f"{plan.times.timed_release_min:g} min after the splash")
    yield _moment(plan, "latest release", worked.latest, f"{plan.times.latest_release_min:g} min after the splash")
    if worked.second is not None:
        yield _moment(plan, "latest by the second board", worked.second,
                      f"{plan.times.latest_release_min + plan.second.margin_min:g} min after the splash")


def _search_from(plan: Plan) -> Moment:
    surfacing, margin_min = path_of(plan, TIMED).surfacing, plan.times.surface_margin_min
    first = surfacing.early or surfacing.likely
    begin = None if first is None else first - timedelta(minutes=margin_min)
    return _moment(plan, "search from", begin, f"earliest surfacing less {margin_min:g} min")


def _way(plan: Plan, path: Path) -> Way:
    surfacing, command_min = path.surfacing, path.command_min
    commanded = None if command_min is None else plan.dive.splash_utc + timedelta(minutes=command_min)
    up_at = surfacing.likely
    return Way(
        path.key, SHORT[path.key], _moment(plan, "command", commanded),
        _moment(plan, "early", surfacing.early), _moment(plan, "likely", up_at), _moment(plan, "late", surfacing.late),
        None if up_at is None else daylight.light_at(plan, up_at),
        None if up_at is None else _spot(plan, 0.0))


def _spot(plan: Plan, afloat_h: float) -> Spot | None:
    """Where it is so many hours after it surfaced."""
    place, site = position_at(plan, afloat_h), plan.site
    if place is None:
        return None
    line = leeway.bearing_distance(site.latitude_deg, site.longitude_deg, place.latitude_deg, place.longitude_deg)
    return Spot(place.latitude_deg, place.longitude_deg, position_words(place.latitude_deg, place.longitude_deg),
                line.bearing_deg, line.distance_m / METRES_PER_NM, place.radius_m / METRES_PER_NM)


# --- giving up ------------------------------------------------------------------------------------------------------


def _give_up(plan: Plan, worked: Times) -> Moment:
    if worked.must_leave is not None:
        return _moment(plan, "give up waiting", worked.must_leave, "the boat must leave")
    surfacing = path_of(plan, LATEST).surfacing
    return _moment(plan, "give up waiting", surfacing.late or surfacing.likely, "late surfacing by the latest release")


def _adrift(plan: Plan, give_up: Moment) -> Spot | None:
    up_at = path_of(plan, TIMED).surfacing.likely
    if up_at is None or give_up.utc is None or give_up.utc <= up_at:
        return None
    return _spot(plan, (give_up.utc - up_at) / timedelta(hours=1)) if give_up.utc - up_at <= FORESEEN else None


def _still_true(plan: Plan, worked: Times, give_up: Moment) -> Iterator[str]:
    """What holds for a lander that was not found by then."""
    yield f"Not up yet: attempts go on until the pack is empty, about {briefly(plan, worked.pack_empty)}."
    yield from _by_the_link(plan)
    if worked.beacon_end is not None:
        yield f"Up by the timed release and not seen: lit until about {briefly(plan, worked.beacon_end)}."
    dark = dark_from(plan, path_of(plan, LATEST))
    if dark is not None:
        yield f"Up only by the latest release: lit until about {briefly(plan, dark)}."
    if worked.must_leave is not None and give_up.utc is not None and give_up.utc < worked.latest:
        yield f"The latest release comes only at {briefly(plan, worked.latest)}."


def _by_the_link(plan: Plan) -> Iterator[str]:
    passive = plan.release.passive
    if not passive.fitted or passive.earliest_h is None or passive.latest_h is None:
        return
    first, last = (moment_of(plan, hours * 3600) for hours in (passive.earliest_h, passive.latest_h))
    yield f"The link may let go from {briefly(plan, first)} to {briefly(plan, last)}, no promise."
    early_h, late_h = (lit_h(plan, path_of(plan, key)) for key in (LINK_EARLIEST, LINK_LATEST))
    if early_h is None or late_h is None:
        return
    if early_h <= 0:
        yield "Freed by the link it comes up dark and silent: the pack is empty by then."
    elif late_h <= 0:
        yield f"Freed by the link: beacon for {early_h:.0f} h at its earliest, dark and silent at its latest."
    else:
        yield f"Freed by the link: beacon for {early_h:.0f} h at its earliest, {late_h:.0f} h at its latest."


# --- release, beacon, weights ---------------------------------------------------------------------------------------


def _release_order(plan: Plan, worked: Times) -> Iterator[str]:
    release = plan.release
    yield f"Timed, {briefly(plan, worked.timed)}: {_channel_words(release.primary)}."
    yield (f"No rise of {release.rise_m:g} m within {release.pause_s:g} s: {_channel_words(release.backup)}; then both"
           f" by turns, pauses up to {release.pause_max_s / 60:.0f} min.")
    yield f"Latest, {briefly(plan, worked.latest)}: the same, whatever else has failed."
    if worked.second is not None:
        yield f"Second board, {briefly(plan, worked.second)}: {_channel_words(release.backup)}; then dark and silent."
    yield "At any time, so look out from the splash on: water inside, low battery, too deep, time unknown."
    passive = release.passive
    if passive.fitted and passive.earliest_h is not None and passive.latest_h is not None:
        yield f"Corroding link, {passive.earliest_h:g} to {passive.latest_h:g} h after the splash: by itself."


def _channel_words(channel: Wire | Latch) -> str:
    names = {"wire": "burn wire", "latch": "latch"}
    return f"{names[channel.kind]}, {channel.fire_s:g} s"


def _beacon(plan: Plan) -> Iterator[str]:
    yield f"Lamp: {BEACON_LAMP[lamps.FLASH]}, {round(plan.beacon.hours, 2):g} h; {BEACON_LAMP[lamps.SPARSE]}."
    seen = lamp_sighting(plan)
    if seen is None:
        yield "How far the lamp is seen is not known: beacon.lamp_cd is not in the plan."
    else:
        yield f"Seen on a dark, calm night up to {seen.range_nm:.1f} NM, limited by the {seen.limited_by}."
        yield (f"Light {seen.luminous_nm:.1f} NM at {plan.site.visibility_nm:g} NM visibility; horizon"
               f" {seen.geographical_nm:.1f} NM, eye {plan.beacon.eye_height_m:g} m up.")
    yield "By day the lamp promises nothing: look for the floats."
    horizon_nm = 1000 * radio_horizon_km(plan) / METRES_PER_NM
    yield (f"Position reports: {horizon_nm:.3g} NM at the most (horizon, antenna at"
           f" {plan.beacon.antenna_height_m:g} m); a weak radio far less.")


def _weights(plan: Plan) -> Iterator[Weight]:
    lander = plan.lander
    bare_kg = lander.mass_kg + lander.floats.mass_kg
    yield Weight("to lift into the water, in air", bare_kg + lander.ballast.mass_kg)
    yield Weight("to lift back, in air, empty of water", bare_kg)
    yield Weight("ballast, left on the seabed, in air", lander.ballast.mass_kg)
    yield Weight("in the water with ballast, least", slowest_place(plan, with_ballast=True)[1])
    yield Weight("lift in the water without ballast, least", -slowest_place(plan, with_ballast=False)[1])
