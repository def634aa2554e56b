"""The page of a search: where to go now; then the map moment by moment, the ways home, patterns, and what to say."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any

from seatrial.handbook.sighting import METRES_PER_NM
from tumblehome.find import telling
from tumblehome.find.positions import written
from tumblehome.find.telling import Planned, Sight, Telling
from tumblehome.page import parts
from tumblehome.page.parts import Column, Html, Verdict
from tumblehome.page.search_map import key, sea_map
from tumblehome.wording import NOTHING

_SURELY = 0.5  # from this chance of being afloat on, the verdict has no warning in its mark
_CHART = ("The map has no land, no depths and no marks: nobody gave them. Steer by the chart.",
          "Reckoned, not promised: it proves nothing about hardware that was not tested.")
SAYING = ("Say it as information and never as a call for help, on the channel that local rules and the coast guard give"
          " for it. It drifts: after some hours work out a new one, and take the old one back; take the last one back"
          " when it is on board.")  # common practice, no source


def search_page(told: Telling, origin: Mapping[str, Any] | None = None) -> str:
    """One HTML file that tells a search and opens with no network.

    `origin` may have `tool`, `version`, `command` and `plan_toml`, which then stand at its end.
    """
    verdict = _verdict(told)
    sections = (_maps(told), _reasons(told), _ways(told), _times(told), _patterns(told), _say(told), _assumed(told),
                _origin(origin or {}))
    body = parts.join((
        _header(told), parts.element("div", parts.verdict_panel(verdict, _facts(told), ()), class_="go"),
        parts.note(*_CHART), parts.contents(*sections), *sections))
    footer = parts.join(parts.element("p", sentence) for sentence in (told.name, *told.cautions))
    return parts.frame(f"{verdict.word}: {told.name}", body, footer, with_charts=False,
                       looks=("look.css", "search.css"), script="search.js")


def _header(told: Telling) -> Html:
    return parts.element("header", parts.join((
        parts.element("p", "Where to look for the lander", class_="kind"), parts.element("h1", told.name),
        parts.element("p", f"As of {_full(told.now)} · splash {_full(told.splash_utc)} at"
                           f" {written(told.splash)} · all times UTC (Z), bearings true", class_="when"))))


# --- where to go ----------------------------------------------------------------------------------------------------


def _verdict(told: Telling) -> Verdict:
    heading = told.heading
    if heading.place is None:
        return Verdict("warn", heading.title, heading.sentence)
    tone = "good" if telling.sight_at(told, heading.at).afloat >= _SURELY and not heading.word else "warn"
    when = f"by {telling.moment(heading.at)}"
    there = f"Go to {written(heading.place)} {when}: " if heading.word else ""
    title = heading.title.replace(when, when.replace(" ", "\N{NO-BREAK SPACE}"))  # one line of its own, never half
    return Verdict(tone, title, f"{there}{_from_boat(told)}. {heading.sentence}")


def _from_boat(told: Telling) -> str:
    """Bearing and distance to where to go, from the boat, or from the splash where the boat is not known."""
    start, whose = (told.splash, "splash; where the boat is was not given") if told.boat is None else (
        told.boat, "boat")
    course_deg, away_m = telling.line(start, told.heading.place or told.splash)
    return f"{telling.bearing(course_deg)} true, {telling.distance(away_m)} from the {whose}"


def _facts(told: Telling) -> list[tuple[str, str]]:
    sight = telling.sight_at(told, told.heading.at)
    facts = [("Afloat by then", telling.percent(sight.afloat))]
    if sight.likely is not None:
        facts += [("Nine chances in ten, if afloat", f"within {telling.distance(sight.radius_m)}"),
                  ("Drifts", f"toward {telling.bearing(sight.toward_deg)} at {sight.speed_kn:.1f} kn")]
    if told.patterns:
        planned = told.patterns[0]
        facts += [("Search", f"{planned.pattern.kind}, {telling.apart(planned.pattern)}"),
                  ("Takes", f"{telling.lasting(planned.pattern.hours)} at {planned.pattern.speed_kn:g} kn"),
                  ("Finds it with", telling.percent(planned.pattern.detection))]
    return facts


def _reasons(told: Telling) -> Html:
    if not told.reasons:
        return Html("")
    return parts.section("Why, and what else", parts.element(
        "ul", parts.join(parts.element("li", sentence) for sentence in told.reasons)), name="reasons")


# --- the map --------------------------------------------------------------------------------------------------------


def _maps(told: Telling) -> Html:
    steered = told.patterns[0] if told.patterns else None
    first = telling.sight_at(told, told.heading.at)  # the moment of the verdict
    return parts.section(
        "Where it is, moment by moment", key(), _chooser(told),
        *(_map(told, sight, steered, sight is first) for sight in told.sights), name="map")


def _chooser(told: Telling) -> Html:
    """Hidden until the script that it needs runs."""
    slider = parts.element("label", parts.join((
        parts.element("span", "Moment shown"),
        Html(f'<input type="range" id="when" min="0" max="{len(told.sights) - 1}" step="1" value="0">'))))
    buttons = [parts.element("button", words, type="button", id=words.lower()) for words in ("Earlier", "Later")]
    said = parts.element("output", "", id="when-said", for_="when", aria_live="polite")
    return parts.element("div", parts.join((buttons[0], slider, buttons[1], said)), class_="chooser", hidden="")


def _map(told: Telling, sight: Sight, steered: Planned | None, is_first: bool) -> Html:
    when = f"{telling.moment(sight.at)}, {_after(sight.at - told.splash_utc)} the splash"
    shown = steered if steered is not None and _while_steered(told, sight, steered) else None
    return parts.element("figure", parts.join((
        parts.element("h3", when), sea_map(told, sight, shown),
        parts.element("figcaption", _caption(told, sight)))),
        class_="map", data_moment=when, hidden=None if is_first else "")


def _while_steered(told: Telling, sight: Sight, steered: Planned) -> bool:
    """Whether the pattern is steered at that moment, or no other moment is nearer to its begin."""
    return steered.begins <= sight.at <= telling.ends(steered) or sight is telling.sight_at(told, steered.begins)


def _caption(told: Telling, sight: Sight) -> str:
    if sight.likely is None:
        return "Not afloat yet by any way that is likely: nothing to search for at this moment."
    said = f"Likely place {written(sight.likely)}"
    if told.boat is not None:
        course_deg, away_m = telling.line(told.boat, sight.likely)
        said += f", {telling.bearing(course_deg)} and {telling.distance(away_m)} from the boat"
    return f"{said}. Afloat by then with {telling.percent(sight.afloat)}; the areas hold if it is afloat."


# --- tables ---------------------------------------------------------------------------------------------------------


def _ways(told: Telling) -> Html:
    columns = (Column("Way home"), Column("Chance now", True), Column("Up, early", True), Column("Likely", True),
               Column("Late", True))
    rows = [(home.way.words, telling.percent(home.way.probability), *map(_moment, (home.early, home.likely, home.late)))
            for home in sorted(told.ways, key=lambda home: -home.way.probability) if home.way.probability > 0]
    return parts.section("How it may come up", parts.table(
        "What is still possible, by all that is known now: what was heard, seen, and searched without a sight", columns,
        rows), name="ways")


def _times(told: Telling) -> Html:
    shares = sorted({area.probability for sight in told.sights for area in sight.areas})
    whence = "From the boat" if told.boat else "From the splash"
    columns = (Column("Moment"), Column("Likely place", True), Column(whence, True), Column("Nine in ten within", True),
               Column("Afloat", True), *(Column(f"{100 * share:g} % area", True) for share in shares))
    return parts.section("Areas over time", parts.table(
        "Areas and likely place if it is afloat; open water only, no land is known here", columns,
        [_time_row(told, sight, shares) for sight in told.sights], wide=True), name="times")


def _time_row(told: Telling, sight: Sight, shares: Sequence[float]) -> list[str]:
    sizes = {area.probability: telling.square_km(area.area_km2) for area in sight.areas}
    if sight.likely is None:
        place = [NOTHING] * 3
    else:
        course_deg, away_m = telling.line(told.boat or told.splash, sight.likely)
        place = [written(sight.likely), f"{telling.bearing(course_deg)} {telling.distance(away_m)}",
                 telling.distance(sight.radius_m)]
    return [telling.moment(sight.at), *place, telling.percent(sight.afloat),
            *(sizes.get(share, NOTHING) for share in shares)]


def _patterns(told: Telling) -> Html:
    if not told.patterns:
        return Html("")
    return parts.section("How to search", *(
        _pattern(told, number, planned) for number, planned in enumerate(told.patterns)), name="patterns")


def _pattern(told: Telling, number: int, planned: Planned) -> Html:
    pattern = planned.pattern
    words = "advised" if number == 0 else "instead"
    columns = (Column("Waypoint"), Column("Position", True), Column("At", True), Column("Then steer", True),
               Column("For", True))
    rows = [(str(stop.number), written(stop.place), telling.moment(stop.at),
             NOTHING if stop.course_deg is None else telling.bearing(stop.course_deg),
             NOTHING if stop.leg_m is None else _miles(stop.leg_m)) for stop in telling.stops(planned)]
    summary = (f"From {telling.moment(planned.begins)} to {telling.moment(telling.ends(planned))}:"
               f" {telling.distance(pattern.length_m)} in {telling.lasting(pattern.hours)} at {pattern.speed_kn:g} kn,"
               f" {telling.apart(pattern)}; finds it with {telling.percent(pattern.detection)}, the"
               " chance that it is elsewhere counted in.")
    return parts.element("div", parts.join((
        parts.element("h3", f"{pattern.kind.capitalize()}, {words}"), parts.element("p", summary),
        parts.element("p", planned.why) if planned.why else Html(""),
        parts.element("figure", sea_map(told, telling.sight_at(told, planned.begins), planned), class_="map"),
        parts.table("Waypoints in order; courses true, along the water's shortest line", columns, rows, wide=True))),
        class_="pattern")


# --- what to say, and what it rests on ------------------------------------------------------------------------------


def _say(told: Telling) -> Html:
    pieces = [parts.element("p", told.message, class_="say"), parts.element("p", SAYING)]
    if told.tell:
        pieces.append(parts.element("p", "Tell also, when it is found too:"))
        pieces.append(parts.element("ul", parts.join(parts.element("li", line) for line in told.tell)))
    return parts.section("To other vessels or the coast guard", *pieces, name="say")


def _assumed(told: Telling) -> Html:
    if not told.assumed:
        return Html("")
    return parts.section("What was taken for granted", parts.element(
        "ul", parts.join(parts.element("li", line) for line in told.assumed)), name="assumed")


def _origin(origin: Mapping[str, Any]) -> Html:
    pieces = []
    if origin.get("command"):
        pieces += [parts.element("p", "The same command gives the same page:"), parts.code_block(origin["command"])]
    if origin.get("plan_toml"):
        pieces.append(parts.the_plan(origin["plan_toml"]))
    if origin.get("tool"):
        pieces.append(parts.element("p", f"{origin['tool']} {origin.get('version', '')}"))
    return parts.section("Where this comes from", *pieces, name="origin") if pieces else Html("")


def _full(at: datetime) -> str:
    return at.strftime("%Y-%m-%d %H:%M") + "Z"


def _moment(at: datetime | None) -> str:
    return NOTHING if at is None else telling.moment(at)


def _after(passed: timedelta) -> str:
    """How long after (or before) something: "5 h 15 min after"."""
    hours = telling.lasting(abs(passed) / timedelta(hours=1))
    return f"{hours} {'before' if passed < timedelta(0) else 'after'}"


def _miles(metres: float) -> str:
    return f"{metres / METRES_PER_NM:.2f} NM"
