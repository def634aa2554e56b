"""`tumblehome bench journal`: what a controller has written down, pulled, verified, and only then cleared."""

import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated, NoReturn

import typer
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn
from rich.table import Table
from rich.text import Text

from lander import journal as records
from lander.checksum import crc16
from seatrial.complaints import complaint
from tumblehome import manual, options, terminal, writing
from tumblehome.bench import pulled
from tumblehome.bench.link import Link, LinkError
from tumblehome.bench.ports import FAILED, Port, controller
from tumblehome.wording import shown

journal = typer.Typer(name="journal", help="What a controller has written down: list, pull, verify, clear.")


def journal_list(
    file: Annotated[Path | None, typer.Argument(
        help="A pulled journal; the one on the controller when left out.")] = None,
    port: Port = None,
    as_json: Annotated[bool, options.as_json("JSON", "the table")] = False,
) -> None:
    """List the starts and dives of a journal. Exit status 0: listed. 2: bad input, or no controller answers. 3: it went
    away meanwhile.
    """
    if file is not None:
        if port is not None:
            terminal.refuse(["FILE is read from this computer and --port from a controller: leave one of them out"])
        good = pulled.records_of(_read(file))
    else:
        with controller(port) as link, _bar() as progress:
            good = link.journal(progress)
    spans = pulled.spans(good)
    if as_json:
        print(json.dumps([span.told() for span in spans], indent=1))
    elif spans:
        terminal.out.print(_table(spans))
    else:
        terminal.out.print("the journal is empty")


def journal_pull(
    port: Port = None,
    out: Annotated[Path | None, options.out(
        "Folder for journal.bin, journal.json and journal.sha256; a fresh one when left out.")] = None,
) -> None:
    """Pull the whole journal into a folder: as it lies on the flash, in words, and its SHA-256. Nothing is changed on
    the controller.

    Exit status 0: pulled. 2: bad input, or no controller answers. 3: it went away meanwhile, and nothing was written.
    """
    writing.look_at(out)
    with controller(port) as link:
        link.so_far = "nothing was written, and nothing was changed on the controller"
        with _bar() as progress:
            journal_there = link.pull(progress)
        told = pulled.account_of(journal_there, link.greeting, datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ"))
    image = journal_there.written
    folder = writing.write(out, {pulled.IMAGE: image, pulled.DATA: json.dumps(told, indent=1).encode(),
                                 pulled.HASH: pulled.hash_line(image)}, "journal")
    terminal.out.print(Text("journal %s" % (folder / pulled.IMAGE)), soft_wrap=True)
    terminal.out.print("records %d, bad slots %d, sha256 %s" % (
        len(journal_there.records), journal_there.bad, pulled.sha256(image)), soft_wrap=True)


def journal_verify(
    file: Annotated[Path, typer.Argument(help="journal.bin, or the folder that it was pulled into.")],
) -> None:
    """Verify a pulled journal: that it is as it was pulled, by its hash; then every record's checksum and number.

    What the controller itself could not write is told as a remark. Exit status 0: as it was pulled. 1: not, a sentence
    for each fault. 2: bad input.
    """
    image = _read(file)
    faults = _faults(image, file)
    for sentence in faults:
        terminal.complain(sentence)
    for sentence in pulled.remarks_on(image):
        terminal.out.print("remark  %s" % sentence, soft_wrap=True)
    good = pulled.records_of(image)
    terminal.out.print("%d records%s, sha256 %s: %s" % (
        len(good), ", numbers %d to %d" % tuple(records.sequence_of(good[at]) for at in (0, -1)) if good else "",
        pulled.sha256(image), "NOT SHOWN TO BE WHOLE" if faults else "as it was pulled"), soft_wrap=True)
    raise typer.Exit(FAILED if faults else 0)


def journal_clear(
    file: Annotated[Path, typer.Argument(help="The journal that was pulled: journal.bin or its folder.")],
    port: Port = None,
) -> None:
    """Begin an empty journal on the controller, where this file holds all that is on it now, byte for byte.

    The controller starts anew. Exit status 0: cleared, now or before. 1: not, since the file holds less or something
    else. 2: bad input, or no controller answers. 3: it went away meanwhile; the sentence says what was done.
    """
    image = _read(file)
    if faults := _faults(image, file):
        _refuse_to_clear(faults[0])
    with controller(port) as link:
        chip = pulled.chip_of(file)
        if chip != link.greeting.get("id"):
            _refuse_to_clear("%s was pulled from another controller, chip %s" % (file, chip or "unknown"))
        with _bar() as progress:
            there = link.pull(progress)
        missing = set(there.records) - set(pulled.records_of(image))
        if there.newest is None or len(missing) == len(there.records):
            terminal.out.print("nothing of %s is on the controller any more: it was cleared before" % file,
                               soft_wrap=True)
            return
        if missing:
            _refuse_to_clear("%s lacks %d of the %d records on the controller" % (
                file, len(missing), len(there.records)))
        if there.written != image:
            _refuse_to_clear("%s and the controller differ in a slot that holds no record" % file)
        clear(link, there.newest)
        terminal.out.print("cleared: %d records are in %s only" % (len(there.records), file), soft_wrap=True)


for _words, _function in (("bench journal list", journal_list), ("bench journal pull", journal_pull),
                          ("bench journal verify", journal_verify), ("bench journal clear", journal_clear)):
    manual.add(journal, _words, _function)


def clear(link: Link, newest: bytes) -> None:
    """Begin an empty journal where this record is its newest one, and see after the restart that it is gone. Raises as
    `Link.ask`, and LinkError where it is still there.
    """
    link.so_far = "the journal may have been cleared, or not; all of it is in the file"
    link.ask("clear", newest=records.sequence_of(newest), crc="%04X" % crc16(newest, 0, records.CRC_AT))
    link.so_far = "the journal was cleared and not looked at again; all of it is in the file"
    link.come_back()
    if newest in link.journal():
        raise LinkError("the journal on %s was not cleared: run the same command again, and if it stays so, its flash"
                        " is worn out" % link.url)


def _refuse_to_clear(why: str) -> NoReturn:
    terminal.complain("not cleared: %s: pull the journal again, and clear it with that" % why)
    raise typer.Exit(FAILED)


def _read(file: Path) -> bytes:
    try:
        return pulled.read(file)
    except OSError as error:
        terminal.refuse(["%s cannot be read (%s): name a journal.bin, or the folder that it was pulled into"
                         % (file, complaint(error))])


def _faults(image: bytes, file: Path) -> list[str]:
    try:
        return pulled.faults_of(image, file)
    except OSError as error:
        terminal.refuse(["what lies beside %s cannot be read (%s)" % (file, complaint(error))])


@contextmanager
def _bar() -> Iterator[Callable[[int, int], None]]:
    """A bar of the slots that were read."""
    bar = Progress(TextColumn("slots"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn(),
                   console=terminal.err, transient=True, disable=not terminal.err.is_terminal)
    with bar:
        task = bar.add_task("", total=None)
        yield lambda read, whole: bar.update(task, completed=read, total=whole)


def _table(spans: list[pulled.Span]) -> Table:
    headings = (">boot", ">dive", ">records", ">from, UTC", ">hours", ">bar", ">volt", "states")
    rows = []
    for told in (span.told() for span in spans):
        cells = (told["boot"], told["dive"], told["records"], told["first"], told["lasted_s"] / 3600,
                 told["deepest_mbar"] / 1000, told["lowest_supply_mv"] / 1000)
        rows.append([*(shown(cell, 2 if isinstance(cell, float) else None) for cell in cells),
                     ", ".join(map(str, told["states"]))])
    return terminal.table(headings, rows, in_words=(len(headings) - 1,))
