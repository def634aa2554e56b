"""`tumblehome debrief`: what happened down there, and why; what was seen, where and when; and what wears out."""

import json
import re
from collections.abc import Mapping
from datetime import timedelta
from pathlib import Path
from typing import Annotated, Any, NamedTuple

import typer
from rich.table import Table as Grid
from rich.text import Text

from lander import VERSION
from seatrial.complaints import complaint
from seatrial.plan import Plan, PlanError, load, parse
from tumblehome import moments, options, progress, terminal, writing
from tumblehome.bench import pulled
from tumblehome.debrief import deck_check, exports, footage, learning, trends, whole
from tumblehome.debrief import log as logs
from tumblehome.debrief.against import OUTSIDE
from tumblehome.debrief.causes import ESTABLISHED
from tumblehome.debrief.footage import Match
from tumblehome.debrief.log import Log, LogError
from tumblehome.debrief.whole import Debrief
from tumblehome.find import positions
from tumblehome.find.heard import heard_in
from tumblehome.find.mistakes import FindError
from tumblehome.page.debrief import NO_PLAN, debrief_page
from tumblehome.page.trends import trends_page
from tumblehome.wording import measured, shown

NOT_SOUND = 1
PAGE, DATA, RECORDS, CSV, NETCDF = "debrief.html", "debrief.json", "records.json", "dive.csv", "dive.nc"
CAPTIONS, SUBTITLES, CHAPTERS, LEARNED = "captions.vtt", "captions.srt", "chapters.vtt", "learned.toml"
TRENDS_PAGE, TRENDS = "trends.html", "trends.json"
REHEARSED, CHECKED = "dive.json", "deck.json"  # where a plan may lie beside a journal
HEARD_DAYS = 60.0
KINDS_MOST = 3  # named in the terminal; the page and debrief.json have all
DATED = re.compile(r"\d{4}-\d\d-\d\d ")
SHORT = {"deepest_m": "deep", "bottom_min": "bottom", "command_to_rise_s": "to rise", "attempts": "tries",
         "lowest_loaded_v": "low", "resistance": "pack", "surface_mbar": "air", "resets": "resets", "bad_slots": "bad"}
TONES = {"good": "bold green", "warn": "bold yellow", "bad": "bold red"}
LAW_LOOK = {"kept": "green", "broken": "bold red", "excused": "yellow"}
NOWHERE = ("there is no %s here: name a journal, or its folder (`tumblehome bench journal pull --out my-dive` gets one;"
           " to try it, `tumblehome rehearse --out my-dive`)" % pulled.IMAGE)


class Video(NamedTuple):
    """What was told of the footage."""

    starts: str | None
    offset_s: float | None
    lights_at: list[str]
    dark_at: list[str]
    ends: str | None
    notes: Path | None

    @property
    def is_told(self) -> bool:
        return self.starts is not None or self.offset_s is not None or bool(self.lights_at or self.dark_at)


def debrief(
    journal: Annotated[Path | None, typer.Argument(
        help="The journal, or its folder; a folder of several dives gives their trends. Left out: the journal here.")]
    = None,
    plan: Annotated[Path | None, typer.Argument(
        help="Plan file of this dive (TOML); left out: the one in deck.json or dive.json beside the journal.")] = None,
    dive: Annotated[int | None, typer.Option(
        metavar="N", help="Which arming; left out: the newest that went into the water.")] = None,
    deck: Annotated[Path | None, typer.Option(
        metavar=options.FILE, help="The check on deck before it (deck.json); left out: the one beside the journal.")]
    = None,
    surfaced: Annotated[str | None, typer.Option(
        metavar=options.POSITION, help="Where it came up, such as \"46 06.0 N 28 24.0 W\".")] = None,
    heard: Annotated[Path | None, typer.Option(
        metavar=options.FILE,
        help="Reports of the lander, as `find --log` has kept them: the first tells where it came up.")] = None,
    lander: Annotated[str | None, typer.Option(metavar="ID", help="Whose reports of that log count.")] = None,
    learn: Annotated[bool, typer.Option("--learn", help="Fit drag, weight, pack, sensor and heat to it.")] = False,
    video_starts: Annotated[str | None, typer.Option(metavar=options.UTC, help="When the video begins.")] = None,
    video_offset_s: Annotated[float | None, typer.Option(
        "--video-offset", metavar="SECONDS", help="How long after the splash the video begins.")] = None,
    lights_at: Annotated[list[str] | None, typer.Option(
        metavar="TIME", help="Video time at which the lamps come on, such as 00:03:12.4; as often as wanted.")] = None,
    dark_at: Annotated[list[str] | None, typer.Option(metavar="TIME", help="The same for the lamps going off.")] = None,
    video_ends: Annotated[str | None, typer.Option(metavar="TIME", help="How long the video is.")] = None,
    notes: Annotated[Path | None, typer.Option(
        metavar=options.FILE, help="Own notes (CSV), time and text, for the chapters of the video.")] = None,
    out: Annotated[Path | None, options.out("Folder for page, data and exports; a fresh one when left out.")] = None,
    as_json: Annotated[bool, options.as_json("debrief.json", "the summary")] = False,
) -> None:
    """After the dive: what happened down there, and why.

    It reads any journal, names causes with what to inspect, holds the dive against its plan and the laws, and writes a
    page, CSV, NetCDF, JSON and, with a video's time, captions and chapters. Exit status 0: as planned. 1: a law broken,
    a cause established, or not seen to come up. 2: bad input.
    """
    video = Video(video_starts, video_offset_s, lights_at or [], dark_at or [], video_ends, notes)
    writing.look_at(out)
    try:
        _fits(video, heard, lander)
        where = _journal(journal)
        if _is_of_several(where):
            _only_for_one(dive=dive, deck=deck, surfaced=surfaced, heard=heard, learn=learn or None,
                          video=video.is_told or None)
            raise typer.Exit(_trends(where, plan, out, as_json))
        raise typer.Exit(_one(where, plan, dive, deck, surfaced, (heard, lander), learn, video, out, as_json))
    except LogError as error:
        terminal.refuse([terminal.printable(str(error))])
    except (PlanError, FindError) as error:
        terminal.refuse(error.sentences)


def _fits(video: Video, heard: Path | None, lander: str | None) -> None:
    if sum((video.starts is not None, video.offset_s is not None, bool(video.lights_at or video.dark_at))) > 1:
        raise LogError("--video-starts, --video-offset and --lights-at with --dark-at each tell the video's time: give"
                       " one of them")
    for name, value in (("--notes", video.notes), ("--video-ends", video.ends)):
        if value is not None and not video.is_told:
            raise LogError("%s needs the video's time: add --lights-at, --video-starts or --video-offset" % name)
    if lander is not None and heard is None:
        raise LogError("--lander goes with --heard FILE: add that, or leave it out")


def _journal(named: Path | None) -> Path:
    if named is None:
        if not Path(pulled.IMAGE).exists():
            raise LogError(NOWHERE)
        return Path()
    if not named.exists():
        raise LogError("%s does not exist: name a %s, or the folder it is in" % (named, pulled.IMAGE))
    if named.is_dir() and not (named / pulled.IMAGE).exists():
        found = sorted(named.rglob(pulled.IMAGE))
        if not found:
            raise LogError("%s has no %s, nor has a folder in it: name another" % (named, pulled.IMAGE))
        return found[0].parent if len(found) == 1 else named
    return named


def _is_of_several(where: Path) -> bool:
    return where.is_dir() and not (where / pulled.IMAGE).exists()


def _only_for_one(**options: Any) -> None:
    for name, value in options.items():
        if value is not None:
            raise LogError("--%s is for one dive, and the folder has several: name the folder of one" % name)


# --- one dive -------------------------------------------------------------------------------------------------------


def _one(where: Path, plan_file: Path | None, number: int | None, deck: Path | None, surfaced: str | None,
         reports: tuple[Path | None, str | None], learn: bool, video: Video, out: Path | None, as_json: bool) -> int:
    log = logs.read(where)
    beside = where if where.is_dir() else where.parent
    checked = deck if deck is not None else beside / CHECKED
    record = deck_check.read(checked) if deck is not None or checked.exists() else None
    plan, plan_from = _plan(plan_file, record, checked, beside / REHEARSED)
    if learn and plan is None:
        raise LogError("--learn fits the numbers of a plan, and none is known: name its file behind the journal")
    place = _surfaced_at(surfaced, *reports, log, plan)
    with progress.line("working out", "what happened") as begins:
        told = whole.work_out(log, plan, plan_from, number, record, place, learn)
        begins("page and exports")
        contents, remarks = _contents(told, video)
    folder = writing.write(out, contents, "debrief")  # before a word is printed: a pipe may close
    if as_json:
        print(json.dumps(told.plain(), indent=1, allow_nan=False))
    else:
        _show(told)
    console = terminal.err if as_json else terminal.out
    for remark in remarks:
        console.print(Text(terminal.printable(remark)))
    console.print(Text("page    %s" % (folder / PAGE)), soft_wrap=True)
    console.print(Text("files   %s" % ", ".join(name for name in contents if name != PAGE)))
    return 0 if told.is_sound else NOT_SOUND


def _plan(file: Path | None, record: Mapping[str, Any] | None, checked: Path, rehearsed: Path
          ) -> tuple[Plan | None, str]:
    """The plan of this dive and where it is from: as named, from the check on deck, or from the rehearsal."""
    if file is not None:
        _no_journal(file)
        return load(file), str(file)
    if record is not None:
        text = record.get("plan", {}).get("toml") if isinstance(record.get("plan"), Mapping) else None
        if isinstance(text, str):
            return parse(text, "the plan in %s" % checked, checked.parent), "the check on deck, %s" % checked
    text = _rehearsed_plan(rehearsed)
    if text is not None:
        return parse(text, "the plan in %s" % rehearsed, rehearsed.parent), "the rehearsal, %s" % rehearsed
    return None, ""


def _no_journal(file: Path) -> None:
    """Raises LogError where a second journal is named in the place of the plan."""
    try:
        logs.read(file)
    except LogError:
        return
    raise LogError("%s is a journal too, and a plan goes in its place: for several dives name the folder they are in"
                   % file)


def _rehearsed_plan(path: Path) -> str | None:
    try:
        told = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    text = told.get("plan_toml") if isinstance(told, dict) else None
    return text if isinstance(text, str) else None


def _surfaced_at(text: str | None, heard: Path | None, lander: str | None, log: Log, plan: Plan | None
                 ) -> tuple[float, float] | None:
    if text is not None:
        place = positions.parse(text)
        return place.latitude_deg, place.longitude_deg
    if heard is None:
        return None
    splash = None if log.splash_s is None else log.utc(log.splash_s)
    if splash is None:
        if plan is None:
            raise LogError("%s has no trusted clock and no plan is known: give --surfaced instead of --heard"
                           % log.source)
        splash = plan.dive.splash_utc
    reports = heard_in(heard, splash, splash + timedelta(days=HEARD_DAYS), lander)
    return next(((one.position.latitude_deg, one.position.longitude_deg) for one in reports
                 if one.position is not None), None)


def _contents(told: Debrief, video: Video) -> tuple[dict[str, bytes], list[str]]:
    """All files by name, and what is to be said of them."""
    plain = told.plain()
    contents = {
        PAGE: debrief_page(told).encode(), DATA: (json.dumps(plain, indent=1, allow_nan=False) + "\n").encode(),
        RECORDS: exports.to_json(told.log, told.plan, plain["causes"]).encode(),
        CSV: exports.to_csv(told.log, told.plan).encode(), NETCDF: exports.to_netcdf(told.log, told.plan)}
    remarks = []
    if told.learned is not None:
        contents[LEARNED] = learning.fragment(told.learned).encode()
    match = _match(told.log, video)
    if match is not None:
        own, refused = _notes(video, told.log, match)
        remarks = ["video: %s" % sentence for sentence in match.how] + refused
        ends_s = None if video.ends is None else footage.clock_s(video.ends)
        cues = footage.captions(told.log, match, told.depths, ends_s)
        contents[CAPTIONS] = footage.web_vtt(cues, told.name).encode()
        contents[SUBTITLES] = footage.sub_rip(cues).encode()
        contents[CHAPTERS] = footage.web_vtt(footage.chapters(told.log, match, told.depths, own, ends_s),
                                             told.name).encode()
    return contents, remarks


def _match(log: Log, video: Video) -> Match | None:
    if video.starts is not None:
        try:
            return footage.by_start(log, moments.utc(video.starts))
        except moments.MomentError as error:
            raise LogError("--video-starts %s" % error) from None
    if video.offset_s is not None:
        return footage.by_offset(log, video.offset_s)
    marks = [footage.read_mark(text) for text in video.lights_at]
    marks += [footage.read_mark(text, on=False) for text in video.dark_at]
    return footage.by_marks(log, marks) if marks else None


def _notes(video: Video, log: Log, match: Match) -> tuple[list[footage.Note], list[str]]:
    if video.notes is None:
        return [], []
    try:
        text = video.notes.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        reason = complaint(error) if isinstance(error, OSError) else "it is no text in UTF-8"
        raise LogError("--notes %s cannot be read: %s; name a CSV of time and text" % (video.notes, reason)) from None
    return footage.read_notes(text, log, match, str(video.notes))


# --- in the terminal ------------------------------------------------------------------------------------------------


def _show(told: Debrief) -> None:
    """The chain and what it rests on, then the causes, and last, where the eye rests, what happened and why."""
    out = terminal.out
    out.print(Text("tumblehome %s   %s   %s, dive %d" % (
        VERSION, terminal.printable(told.name), terminal.printable(told.whole.source), told.number)))
    out.print(_chain(told))
    for sentence in told.whole.unread.sentences():
        out.print(Text("not read: %s" % sentence, style="yellow"))
    if told.plan is None:
        out.print(Text(NO_PLAN, style="yellow"))
    if told.against is not None:
        if told.against.rows:
            out.print(_against(told))
        for law in told.against.laws:
            if law.verdict != "kept":
                out.print(Text("law %d, %s: " % (law.number, law.name)),
                          Text(law.verdict, style=LAW_LOOK.get(law.verdict, "")), Text(law.sentence))
        kept = sum(law.verdict == "kept" for law in told.against.laws)
        out.print("laws kept, as far as records tell: %d of %d" % (kept, len(told.against.laws)))
    if told.agreed and all(each.same is not False for each in told.agreed):
        out.print("check on deck: %d of %d things the same in the dive, none another" % (
            sum(each.same is True for each in told.agreed), len(told.agreed)))
    for each in told.agreed:
        if each.same is False:
            out.print(Text("check on deck: %s: there %s, here %s; %s" % (
                each.words, each.on_deck, each.in_dive, each.way_out), style="bold yellow"))
    _show_learned(told)
    _show_causes(told)
    headline = told.headline
    out.print(Text(headline.word.upper() + ".", style=TONES[headline.tone]),
              Text(terminal.printable(headline.sentence)))


def _show_causes(told: Debrief) -> None:
    for finding in told.findings:
        line = Text("cause, %s: " % finding.certainty, style="bold red" if finding.certainty == ESTABLISHED else "bold")
        line.append(finding.sentence, style="default")
        if finding.kinds:
            line.append(" (%s)" % _kinds(finding.kinds), style="default")
        terminal.out.print(line)
        if finding.settle:
            terminal.out.print(Text("  to know for sure: %s" % finding.settle))


def _kinds(kinds: tuple[str, ...]) -> str:
    """Names of the catalogue of faults; of many that look alike the first, since nobody reads ten names on deck."""
    if len(kinds) <= KINDS_MOST:
        return " or ".join(kinds)
    return "%s or %d others that look alike" % (" or ".join(kinds[:KINDS_MOST - 1]), len(kinds) - KINDS_MOST + 1)


def _show_learned(told: Debrief) -> None:
    if told.learned is None:
        return
    grid = _grid(("learned", ">planned", ">fitted", ">± one sigma", ""))
    for fit in told.learned.fits:
        grid.add_row(fit.words, "%.5g" % fit.planned, "%.5g" % fit.value if fit.told else "–",
                     "%.2g" % fit.sigma if fit.told else "–", fit.unit)
    terminal.out.print(grid)
    for sentence in (*told.learned.notes, *told.learned.missing):
        terminal.out.print(Text("learned: %s" % sentence))


def _chain(told: Debrief) -> Grid:
    zone = ", UTC" if any(link.when.endswith(" UTC") for link in told.happened) else ""
    grid = _grid(("when" + zone, "what happened", "expected", "seen"))
    day = ""
    for link in told.happened:
        when = link.when.removeprefix(day).removesuffix(" UTC")  # day and zone are told once
        dated = DATED.match(link.when)
        day = dated.group() if dated else day
        said = link.said if link.certainty == ESTABLISHED else "%s (%s)" % (link.said, link.certainty)
        grid.add_row(*(Text(terminal.printable(cell)) for cell in (when, said, link.expected, link.seen)))
    return grid


def _against(told: Debrief) -> Grid:
    grid = _grid(("against the plan", ">planned", ">seen", "", "verdict"))
    for row in told.against.rows if told.against is not None else ():
        unit = "" if row.unit == "s" else row.unit
        grid.add_row(row.words, *(measured(value, row.digits, row.unit).removesuffix(" " + row.unit)
                                  for value in (row.planned, row.seen)), unit,
                     Text(row.verdict.upper() if row.verdict == OUTSIDE else row.verdict,
                          style="bold red" if row.verdict == OUTSIDE else ""))
    return grid


def _grid(headings: tuple[str, ...]) -> Grid:
    """A table; a heading that begins with > stands over numbers. Where room is short, names and words give way."""
    grid = Grid(box=None, pad_edge=False, header_style="bold")
    for heading in headings:
        is_number = heading.startswith(">")
        grid.add_column(heading.removeprefix(">"), justify="right" if is_number else "left", overflow="fold",
                        no_wrap=is_number)
    return grid


# --- several dives --------------------------------------------------------------------------------------------------


def _trends(where: Path, plan_file: Path | None, out: Path | None, as_json: bool) -> int:
    told = trends.read(where, None if plan_file is None else load(plan_file))
    plain = json.dumps(told.plain(), indent=1, allow_nan=False)
    folder = None if out is None else writing.write(out, {
        TRENDS_PAGE: trends_page(told, str(where)).encode(), TRENDS: (plain + "\n").encode()}, "trends")
    if as_json:
        print(plain)
    else:
        _show_trends(told)
    if folder is not None:
        for word, name in (("page", TRENDS_PAGE), ("data", TRENDS)):
            (terminal.err if as_json else terminal.out).print(Text("%-7s %s" % (word, folder / name)), soft_wrap=True)
    return NOT_SOUND if told.worn else 0


def _show_trends(told: trends.Trends) -> None:
    # unit and time stand below, so that all columns fit a terminal of 80
    terminal.out.print(terminal.table(
        ("dive", "began", *(">%s\n%s" % (SHORT[measure.name], measure.unit) for measure in trends.MEASURES)),
        [("%s, %d" % (terminal.printable(Path(row.source).name), row.dive), shown(row.began).replace(" ", "\n"),
          *(shown(_digits(row.value(measure.name), measure.digits), measure.digits) for measure in trends.MEASURES))
         for row in told.rows]))
    for sentence in told.sentences():
        terminal.out.print(Text(terminal.printable(sentence),
                                style="bold red" if sentence.startswith("wearing out") else ""))


def _digits(value: float | None, digits: int) -> float | None:
    return None if value is None else round(float(value), digits)
