"""`tumblehome find`: where to look for the lander now, how to search, and what to hand to whom."""

import json
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.table import Table as Grid
from rich.text import Text

from lander import VERSION
from seatrial.plan import Plan
from seatrial.workings.release_paths import TIMED, path_of
from tumblehome import moments, options, progress, terminal, writing
from tumblehome.find import exports, guesses, journal_told, listening, positions, telling, tracks, wind_files
from tumblehome.find.advice import HOURS_MAX
from tumblehome.find.drifting import PARTICLES
from tumblehome.find.heard import heard_in
from tumblehome.find.known import Known, NotHeard, StillDown
from tumblehome.find.mistakes import FindError
from tumblehome.find.positions import written
from tumblehome.find.sighting import searcher_of
from tumblehome.find.telling import Telling
from tumblehome.find.ways import SHORT_WORDS
from tumblehome.find.working import Asked, work_out
from tumblehome.page.search import search_page
from tumblehome.planning import read_draft

PAGE, DATA, MESSAGE = "search.html", "search.json", "message.txt"
STILL_LOOKED_FOR = timedelta(days=30)  # a splash longer ago than that is not the dive of today


def find(
    plan: options.PlanArgument = None,
    journal: Annotated[Path | None, typer.Option(
        metavar=options.FILE, help="The lander's journal, or its folder: what it tells is known.")] = None,
    at: Annotated[str | None, typer.Option(
        metavar=options.UTC, help="Now, in UTC, such as 2027-05-18T12:00Z; left out: the clock of this computer, or the"
                                  " planned surfacing while the dive is not under way.")] = None,
    boat: Annotated[str | None, typer.Option(
        metavar=options.POSITION, help="Where the boat is, such as \"46 06.0 N 28 24.0 W\".")] = None,
    boat_kn: Annotated[float, typer.Option(
        metavar="KNOTS", help="Speed of the boat in the search, knots.", min=0.5, max=60)] = 6.0,
    eye_m: Annotated[float | None, typer.Option(
        metavar="METRES", help="Height of the eye above the water, metres; left out: the plan's.", min=0.5, max=60)
    ] = None,
    hours: Annotated[float, typer.Option(
        metavar="HOURS", help="Hours for the search, with the way there.", min=0.1, max=240)] = 6.0,
    wind: Annotated[Path | None, typer.Option(
        metavar=options.FILE, help="Wind and current in time (CSV); left out: the plan's.")] = None,
    not_seen: Annotated[list[Path] | None, typer.Option(
        metavar=options.FILE, help="Track (GPX) along which a boat looked and saw nothing; as often as wanted.")
    ] = None,
    heard: Annotated[Path | None, typer.Option(
        metavar=options.FILE, help="Reports of the lander, as --log has kept them.")] = None,
    lander: Annotated[str | None, typer.Option(
        metavar="ID", help="Whose reports of the log count, where it has those of several.")] = None,
    not_heard_until: Annotated[str | None, typer.Option(
        metavar=options.UTC, help="Who was within reach of its radio listened up to this moment: no report came.")
    ] = None,
    down_at: Annotated[str | None, typer.Option(
        metavar=options.UTC, help="It was certainly below at this moment, as by an echo sounder or a pinger.")] = None,
    areas_at: Annotated[list[str] | None, typer.Option(
        metavar=options.UTC, help="Tell the areas of this moment as well, as when another boat gets there; as often as"
                                  " wanted.")] = None,
    own_guesses: Annotated[Path | None, typer.Option(
        "--guesses", metavar=options.FILE, help="Own guesses of chances and errors (TOML).")] = None,
    listen: listening.ListenPort = None,
    baud: listening.ListenBaud = None,
    boat_port: listening.BoatPort = None,
    boat_baud: listening.BoatBaud = None,
    log: listening.ReportLog = None,
    seed: Annotated[int, options.seed("The same seed gives the same areas.")] = 1,
    out: Annotated[Path | None, options.out(
        "Folder for search.html, search.gpx, search.kml, search.geojson, search.json and message.txt.")] = None,
    as_json: Annotated[bool, options.as_json("search.json", "the summary")] = False,
) -> None:
    """Where is the lander now, and how is it best searched for?

    Ways home, wind and current make the areas; what was heard, and what was searched in vain, changes them. With
    --listen it shows the lander's reports as they come, and does nothing else. Exit status 0: fine. 2: bad input.
    """
    if listen is not None:
        if boat_baud is not None and boat_port is None:
            terminal.refuse(["--boat-baud goes with --boat-port URL: add that, or leave it out"])
        listening.watch(listen, boat_port, log, baud, boat_baud)
        return
    for name, value in (("--baud", baud), ("--boat-port", boat_port), ("--boat-baud", boat_baud), ("--log", log)):
        if value is not None:
            terminal.refuse(["%s goes with --listen URL: add that, or leave it out" % name])
    writing.look_at(out)
    made = read_draft(plan)
    try:
        heard_of = None if journal is None else journal_told.read(journal, made)
        asked = _asked(made, heard_of, at, boat, boat_kn, eye_m, hours, wind, not_seen or [],
                       own_guesses, seed)
        more = _known(asked, heard, lander, not_heard_until, down_at)
        with progress.line("working out", "ways home") as begins:
            told = work_out(replace(asked, known=(*asked.known, *more), also=_later(asked, areas_at or [])), begins)
        told = replace(told, assumed=(*(heard_of.notes if heard_of else ()), *told.assumed))
    except FindError as error:
        terminal.refuse(error.sentences)
    account = account_of(told, made.source_text)
    written_there = _write(told, account, out)  # before a word is printed: a pipe may close
    if as_json:
        print(json.dumps(account, indent=1))
    else:
        _show(told)
    for line in written_there:
        (terminal.err if as_json else terminal.out).print(Text(line), soft_wrap=True)
    if not as_json:  # once more where the eye rests
        terminal.out.print(Text(told.heading.title, style="bold green" if told.heading.place else "bold yellow"))


def _asked(plan: Plan, heard: journal_told.Told | None, at: str | None, boat: str | None, boat_kn: float,
           eye_m: float | None, hours: float, wind: Path | None, not_seen: list[Path], own_guesses: Path | None,
           seed: int) -> Asked:
    dived = plan if heard is None else journal_told.beginning_at(plan, heard.splash)
    now = _now(dived, at, dived.dive.splash_utc if heard is None else heard.last)
    searched = tuple(tracks.read(path, dived.dive.splash_utc) for path in not_seen)
    tracks.look_for_copies(searched)
    for track in searched:
        if track.last > now:
            raise FindError(["%s ends at %s, after now, %s: give --at the moment after the search" % (
                track.file, moments.iso(track.last), moments.iso(now))])
    return Asked(
        plan=dived, at=now, searcher=searcher_of(dived, boat_kn, eye_m), guesses=guesses.read(own_guesses),
        hours=hours, boat=None if boat is None else positions.parse(boat),
        weather=None if wind is None else wind_files.read(wind), known=() if heard is None else heard.known,
        tracks=searched, seed=seed, particles=PARTICLES)


def _known(asked: Asked, log: Path | None, lander: str | None, not_heard_until: str | None, down_at: str | None
           ) -> list[Known]:
    """What the options tell besides journal and tracks."""
    known: list[Known] = []
    if log is not None:
        known += heard_in(log, asked.plan.dive.splash_utc, asked.at, lander)
    elif lander is not None:
        raise FindError(["--lander goes with --heard FILE: add that, or leave it out"])
    if not_heard_until is not None:
        known.append(NotHeard(_before(asked, "--not-heard-until", not_heard_until), asked.guesses.heard))
    if down_at is not None:
        known.append(StillDown(_before(asked, "--down-at", down_at)))
    return known


def _later(asked: Asked, texts: Sequence[str]) -> tuple[datetime, ...]:
    """The moments whose areas are told as well."""
    last = asked.at + timedelta(hours=HOURS_MAX) if asked.weather is None else asked.weather.last
    end = "where the wind file ends" if asked.weather else "%g h later" % HOURS_MAX
    found = tuple(_moment("--areas-at", text) for text in texts)
    for moment in found:
        if not asked.at <= moment <= last:
            raise FindError(["--areas-at is %s; allowed is from now, %s, to %s, %s: correct it" % (
                moments.iso(moment), moments.iso(asked.at), end, moments.iso(last))])
    return found


def _before(asked: Asked, option: str, text: str) -> datetime:
    moment, splash = _moment(option, text), asked.plan.dive.splash_utc
    if not splash <= moment <= asked.at:
        raise FindError(["%s is %s; allowed is from the splash, %s, to now, %s: correct it" % (
            option, moments.iso(moment), moments.iso(splash), moments.iso(asked.at))])
    return moment


def _now(plan: Plan, at: str | None, last: datetime) -> datetime:
    """The moment asked for; else the clock's while the dive may be under way; else that of the planned surfacing.

    None is before the `last` one of which a journal tells: what is told later cannot be known.
    """
    splash = plan.dive.splash_utc
    if at is None:
        clock = datetime.now(UTC).replace(second=0, microsecond=0)
        planned = path_of(plan, TIMED).surfacing.likely or splash
        return max(last, clock if splash <= clock <= splash + STILL_LOOKED_FOR else planned)
    moment = _moment("--at", at)
    if moment < splash:
        raise FindError(["--at %s is before the splash at %s: give a later moment, or correct dive.splash_utc in the"
                         " plan" % (moments.iso(moment), moments.iso(splash))])
    if moment < last:
        raise FindError(["--at %s is before the journal's last word, at %s: give a later moment, or another journal" % (
            moments.iso(moment), moments.iso(last))])
    return moment


def _moment(option: str, text: str) -> datetime:
    try:
        return moments.utc(text)
    except moments.MomentError as error:
        raise FindError(["%s %s" % (option, error)]) from None


def account_of(told: Telling, plan_toml: str) -> dict[str, Any]:
    """The content of search.json: what is told in numbers; areas, patterns and places as GeoJSON under `map`."""
    heading = told.heading
    return {
        "tool": "tumblehome", "version": VERSION, "plan_name": told.name, "plan_toml": plan_toml,
        "at_utc": moments.iso(told.now),
        "go_to": None if heading.place is None else {
            "latitude_deg": heading.place.latitude_deg, "longitude_deg": heading.place.longitude_deg},
        "go_at_utc": moments.iso(heading.at), "title": heading.title, "advice": heading.sentence,
        "reasons": list(told.reasons),
        "ways": [{"key": home.way.key, "words": home.way.words, "probability": home.way.probability,
                  **{name: None if moment is None else moments.iso(moment) for name, moment in (
                      ("early_utc", home.early), ("likely_utc", home.likely), ("late_utc", home.late))}}
                 for home in told.ways],
        "sights": [{"at_utc": moments.iso(sight.at), "afloat": sight.afloat, "radius_m": sight.radius_m,
                    "drift_toward_deg": sight.toward_deg, "drift_kn": sight.speed_kn,
                    "area_km2": {"%g" % area.probability: area.area_km2 for area in sight.areas}}
                   for sight in told.sights],
        "message": told.message, "assumed": list(told.assumed), "map": json.loads(exports.geojson(told))}


def _write(told: Telling, account: dict[str, Any], out: Path | None) -> list[str]:
    """Write all files where a folder is named; returns the lines that say where they are."""
    if out is None:
        return ["nothing is written: --out FOLDER gets the page with the map, GPX, KML, GeoJSON and the message"]
    contents = {PAGE: search_page(told, account).encode(), DATA: json.dumps(account).encode(),
                MESSAGE: (told.message + "\n").encode(), **exports.contents(told)}
    there = writing.write(out, contents, "find")
    return ["%-8s %s" % ("page" if name == PAGE else Path(name).suffix[1:], there / name) for name in contents]


def _show(told: Telling) -> None:
    """Where to go first; then why, how it may come up, where it will be, and what to say to others."""
    out = terminal.out
    out.print(Text("tumblehome %s   %s" % (VERSION, terminal.printable(told.name))))
    out.print(Text("as of %s, all times UTC, bearings true" % moments.iso(told.now)))
    out.print(Text(told.heading.title.upper(), style="bold green" if told.heading.place else "bold yellow"))
    out.print(Text(_how(told)))
    for sentence in told.reasons:
        out.print(Text("- " + sentence))
    out.print()
    out.print(_grid(("way home", "chance", "up, early", "likely", "late"), [
        (SHORT_WORDS.get(home.way.key, home.way.words), telling.percent(home.way.probability),
         *("never" if moment is None else telling.moment(moment) for moment in (home.early, home.likely, home.late)))
        for home in sorted(told.ways, key=lambda home: -home.way.probability) if home.way.probability > 0]))
    out.print()
    out.print(_grid(("at", "afloat", "likely place", "9 in 10 within", "90 % area"), [
        (telling.moment(sight.at), telling.percent(sight.afloat),
         *(("none", "") if sight.likely is None else (written(sight.likely), telling.distance(sight.radius_m))),
         ", ".join(telling.square_km(area.area_km2) for area in sight.areas if area.probability == 0.9))
        for sight in told.sights]))
    out.print()
    for sentence in told.assumed:
        out.print(Text("taken for granted: " + terminal.printable(sentence)))
    out.print(Text("to others: " + terminal.printable(told.message)))


def _how(told: Telling) -> str:
    """How to get there, by when, and what to steer then."""
    heading = told.heading
    if heading.place is None:
        return heading.sentence
    there = "Go to %s by %s: " % (written(heading.place), telling.moment(heading.at)) if heading.word else ""
    if told.boat is None:
        return "%sWhere the boat is was not given (--boat), so no time is counted for the way. %s" % (
            there, heading.sentence)
    course_deg, away_m = telling.line(told.boat, heading.place)
    return "%s%s, %s from the boat. %s" % (
        there, telling.bearing(course_deg), telling.distance(away_m), heading.sentence)


def _grid(headings: tuple[str, ...], rows: list[tuple[str, ...]]) -> Grid:
    return terminal.table(headings, ([terminal.printable(cell) for cell in row] for row in rows))
