"""`tumblehome plan`: a dive worked out from its plan, one alone or several side by side."""

import json
from collections.abc import Iterable, Sequence
from datetime import datetime
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.padding import Padding
from rich.table import Table as Grid
from rich.text import Text

from lander import VERSION
from seatrial.plan import Plan, PlanError, draft_file, draft_sample
from seatrial.workings.card import card
from seatrial.workings.chapter import Chapter, Figure, Table
from seatrial.workings.whole import Worked, work_out
from tumblehome import options, terminal, writing
from tumblehome.page.card import card_page
from tumblehome.page.plan import plan_page
from tumblehome.wording import shown

DOES_NOT_ADD_UP = 1
DANGERS_ELSEWHERE = ("Packs, lamps, wire, ballast and chamber can hurt people: read --full or the page before you"
                     " build, test or launch.")
PAGE, DATA, CARD = "plan.html", "plan.json", "card.html"


def _chapter_names() -> list[str]:
    return [chapter.key for chapter in work_out(draft_sample()).chapters]


def plan(
    plans: Annotated[list[Path] | None, typer.Argument(
        help="Plan file (TOML); the built-in sample when left out. Two or more are set side by side.")] = None,
    chapter: Annotated[list[str] | None, typer.Option(
        metavar=options.NAME, autocompletion=options.one_of(_chapter_names),
        help="Show all of this chapter, with its tables; as often as wanted.")] = None,
    full: Annotated[bool, typer.Option("--full", help="Show all of every chapter.")] = False,
    make_card: Annotated[bool, typer.Option(
        "--card", help="Write card.html, the one-page card to take on deck.")] = False,
    out: Annotated[Path | None, options.out(
        "Folder for plan.html, plan.json and, with --card, card.html; with --card alone a fresh one.")] = None,
    as_json: Annotated[bool, options.as_json("plan.json", "the table")] = False,
) -> None:
    """Work a dive out from its plan: does it add up, and if not, what is wrong and by how much?

    Weight, motion, drift, energy, heat, light, pressure and times come from the models of the simulated sea.
    Exit status 0: it adds up. 1: it does not. 2: bad input.
    """
    paths = plans or []
    if len(paths) > 1:
        _refuse_for_many(make_card, out)
        raise typer.Exit(_side_by_side(paths, as_json))
    writing.look_at(out)
    worked = work_out(read_draft(paths[0] if paths else None))
    wanted = _wanted(worked, chapter or [])
    told = account_of(worked)
    written = _write(worked, told, out, make_card)
    if as_json:
        print(json.dumps(told, indent=1))
    else:
        _show(worked, wanted if chapter or full else None)
    for line in written:
        (terminal.err if as_json else terminal.out).print(Text(line), soft_wrap=True)
    raise typer.Exit(0 if worked.adds_up else DOES_NOT_ADD_UP)


def read_draft(path: Path | None) -> Plan:
    """The plan of this file, or the sample. Ends with status 2 and its sentences when a key is wrong by itself."""
    try:
        return draft_file(path) if path else draft_sample()
    except PlanError as error:
        terminal.refuse(error.sentences)


def account_of(worked: Worked) -> dict[str, Any]:
    """The content of plan.json: numbers under the names of their figures, moments as ISO 8601 in UTC."""
    return {
        "tool": "tumblehome", "version": VERSION, "plan_name": worked.plan.dive.name,
        "plan_toml": worked.plan.source_text, "adds_up": worked.adds_up, "faults": list(worked.faults),
        "cautions": list(worked.cautions), "chapters": [_told(chapter) for chapter in worked.chapters]}


def _told(chapter: Chapter) -> dict[str, Any]:
    return {
        "key": chapter.key, "title": chapter.title,
        "figures": {figure.key: _plain(figure.value) for figure in chapter.figures},
        "tables": {table.key: [{column.key: _plain(value) for column, value in zip(table.columns, row, strict=True)}
                               for row in table.rows] for table in chapter.tables},
        "series": {name: [_plain(value) for value in values] for name, values in chapter.series.items()},
        "faults": list(chapter.faults), "cautions": list(chapter.cautions), "dangers": list(chapter.dangers),
        "sources": list(chapter.sources),
        "limits": list(chapter.limits)}


def _plain(value: Any) -> Any:
    """A value as JSON has it: RFC 8259 knows no infinity, and numpy's numbers are not Python's."""
    if value is None or isinstance(value, str | bool | int):
        return value
    if isinstance(value, datetime):
        return value.isoformat().replace("+00:00", "Z")
    number = float(value)
    return number if abs(number) < float("inf") else None


def _write(worked: Worked, told: dict[str, Any], out: Path | None, make_card: bool) -> list[str]:
    """Write what was asked for; returns the lines that say where it is."""
    contents: dict[str, bytes] = {}
    lines = []
    if out is not None:
        contents = {PAGE: plan_page(worked, told).encode(), DATA: json.dumps(told).encode()}
    if make_card and worked.adds_up:
        contents[CARD] = card_page(card(worked.plan)).encode()
    if contents:
        there = writing.write(out, contents, "plan")
        lines = ["%-7s %s" % (Path(name).stem if name != PAGE else "page", there / name) for name in contents]
    if make_card and not worked.adds_up:
        lines.append("card    none: a dive that does not add up gets no card")
    return lines


def _wanted(worked: Worked, names: list[str]) -> list[Chapter]:
    known = [chapter.key for chapter in worked.chapters]
    for name in names:
        if name not in known:
            terminal.refuse(["--chapter is %s; allowed is %s: choose one of these" % (
                terminal.printable(name[:40]), ", ".join(known))])
    return [chapter for chapter in worked.chapters if not names or chapter.key in names]


# --- one plan -------------------------------------------------------------------------------------------------------


def _show(worked: Worked, chapters: list[Chapter] | None) -> None:
    """The leading figures of every chapter, or all of some; then cautions, what is wrong, and the verdict last."""
    out = terminal.out
    out.print(Text("tumblehome %s   %s" % (VERSION, terminal.printable(worked.plan.dive.name))))
    if chapters is None:
        out.print(_figures([(chapter.title, [figure for figure in chapter.figures if figure.leading])
                            for chapter in worked.chapters]))
    for chapter in chapters or ():
        out.print(_figures([(chapter.title, chapter.figures)]))
        for table in chapter.tables:
            out.print(_table(table))
        for sentence in chapter.limits:
            terminal.say("limit", "dim", sentence)
        for sentence in chapter.dangers:
            terminal.say("danger", "bold", sentence)
    if chapters is None and worked.dangers:
        terminal.say("danger", "bold", DANGERS_ELSEWHERE)
    for sentence in worked.cautions:
        terminal.say("caution", "yellow", sentence)
    for sentence in worked.faults:
        terminal.say("WRONG", "bold red", sentence)
    out.print(_verdict(worked))


def _verdict(worked: Worked) -> Text:
    if worked.adds_up:
        return Text("ADDS UP", style="bold green") + Text("  nothing found wrong; it proves nothing about hardware that"
                                                          " was not tested", style="default")
    number = len(worked.faults)
    return Text("DOES NOT ADD UP", style="bold red") + Text(
        "  %d %s to change" % (number, "thing" if number == 1 else "things"), style="default")


def _figures(groups: Iterable[tuple[str, Sequence[Figure]]]) -> Grid:
    grid = Grid(box=None, pad_edge=False, show_header=False)
    grid.add_column("", ratio=3)
    grid.add_column("", justify="right", no_wrap=True)
    grid.add_column("", no_wrap=True)
    grid.add_column("", ratio=2, style="dim", overflow="fold")
    for title, figures in groups:
        if figures:
            grid.add_row(Text(title, style="bold"))
        for figure in figures:
            value = Text(terminal.printable(shown(figure.value, figure.digits)))
            grid.add_row(Padding(figure.words, (0, 0, 0, 2)), value, figure.unit, Text(terminal.printable(figure.note)))
    return grid


def _table(table: Table) -> Grid:
    return terminal.table(
        [column.heading if column.digits is None else ">" + column.heading for column in table.columns],
        [[terminal.printable(shown(value, column.digits)) for column, value in zip(table.columns, row, strict=True)]
         for row in table.rows], table.caption)


# --- several plans --------------------------------------------------------------------------------------------------


def _refuse_for_many(make_card: bool, out: Path | None) -> None:
    if make_card or out is not None:
        terminal.refuse(["%s is for one plan: name one plan to write its files, or leave the option out to compare"
                         % ("--card" if make_card else "--out")])


def _side_by_side(paths: list[Path], as_json: bool) -> int:
    all_worked = [work_out(read_draft(path)) for path in paths]
    if as_json:
        print(json.dumps([account_of(worked) for worked in all_worked], indent=1))
    else:
        terminal.out.print(_comparison(paths, all_worked))
        for path, worked in zip(paths, all_worked, strict=True):
            for sentence in worked.faults:
                terminal.say("WRONG", "bold red", "%s: %s" % (path, sentence))
            terminal.out.print(Text("%s  " % path), _verdict(worked), sep="")
    return 0 if all(worked.adds_up for worked in all_worked) else DOES_NOT_ADD_UP


def _comparison(paths: list[Path], all_worked: list[Worked]) -> Grid:
    """The leading figures: each plan a column, behind each but the first how far it is from the first."""
    grid = Grid(box=None, pad_edge=False, header_style="bold")
    grid.add_column("")
    for number, path in enumerate(paths):
        grid.add_column(str(path), justify="right")
        if number:
            grid.add_column("", justify="left")
    grid.add_column("")
    for chapter in all_worked[0].chapters:
        for figure in chapter.figures:
            if figure.leading:
                grid.add_row(figure.words, *_cells(figure, chapter.key, all_worked), figure.unit)
    return grid


def _cells(figure: Figure, chapter_key: str, all_worked: list[Worked]) -> list[str]:
    cells = []
    for number, worked in enumerate(all_worked):
        value = _value(worked.chapter(chapter_key), figure.key)
        cells.append(shown(value, figure.digits))
        if number:
            cells.append(_difference(figure.value, value, figure.digits))
    return cells


def _value(chapter: Chapter, key: str) -> Any:
    return next((figure.value for figure in chapter.figures if figure.key == key), None)


def _difference(first: Any, other: Any, digits: int) -> str:
    if isinstance(first, datetime) and isinstance(other, datetime) and other != first:
        return "(%+.0f min)" % ((other - first).total_seconds() / 60)
    numbers = all(isinstance(value, int | float) and not isinstance(value, bool) for value in (first, other))
    return "(%+.*f)" % (digits, other - first) if numbers and other != first else ""
