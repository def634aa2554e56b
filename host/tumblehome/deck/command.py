"""`tumblehome deck`: the last check before the splash, go or no-go, and arming."""

import json
import sys
from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from pathlib import Path
from typing import Annotated

import typer
from rich.table import Table
from rich.text import Text

from seatrial.plan import Plan
from tumblehome import moments, options, terminal, writing
from tumblehome.bench.link import Gone, LinkError
from tumblehome.bench.ports import Port, controller
from tumblehome.bench.showing import show_cautions
from tumblehome.deck.asking import BY_ITEM, Asking
from tumblehome.deck.checks import KEYS
from tumblehome.deck.conduct import Conducted, conduct
from tumblehome.deck.judging import ACCEPTED, reasons
from tumblehome.deck.page import deck_page
from tumblehome.deck.reading import sha256
from tumblehome.deck.record import GO, NO_GO, account_of, written
from tumblehome.deck.watch import Watch
from tumblehome.rehearsal import read_plan
from tumblehome.wording import CAUTIONS

NOT_GO = 1
PAGE, DATA = "deck.html", "deck.json"
LOOKS = {"ok": "green", "accepted": "yellow", "NO": "bold red", "open": "yellow"}
YES, NO = ("yes", "y", "true", "1"), ("no", "n", "false", "0")
REASON_MIN = 8  # letters: a reason that nobody can understand later is none
# Five rows a letter, so that the word is read across a deck.
LETTERS = {
    "G": (" #### ", "##    ", "## ###", "##  ##", " #### "),
    "O": (" #### ", "##  ##", "##  ##", "##  ##", " #### "),
    "N": ("##  ##", "### ##", "######", "## ###", "##  ##"),
    "-": ("      ", "      ", " #### ", "      ", "      "),
}


def _answers_there_are() -> list[str]:
    return ["%s=%s" % (item, word) for item in BY_ITEM for word in ("yes", "no")]


def _items_there_are() -> list[str]:
    return ["%s=" % item for item in KEYS]


def deck(
    plan: options.PlanArgument = None,
    splash: Annotated[str | None, typer.Option(
        metavar=options.UTC,
        help="When it is going in, as 2027-05-18T06:30Z; when left out: now and the plan's time on deck.")] = None,
    answer: Annotated[list[str] | None, typer.Option(
        metavar="ITEM=yes|no", autocompletion=options.one_of(_answers_there_are),
        help="Answer a question beforehand: %s." % ", ".join(BY_ITEM))] = None,
    accept: Annotated[list[str] | None, typer.Option(
        metavar="ITEM=REASON", autocompletion=options.one_of(_items_there_are),
        help="Go in spite of this item, with the reason; wants --by. Not everything can be accepted:"
             " never another plan, water, or two bad releases.")] = None,
    by: Annotated[str | None, typer.Option(metavar=options.NAME, help="Who signs: stands in the record.")] = None,
    port: Port = None,
    out: Annotated[Path | None, options.out("Folder for deck.html and deck.json; a fresh one when left out.")] = None,
    as_json: Annotated[bool, options.as_json("deck.json", "the table")] = False,
) -> None:
    """The last check before the splash: read everything, ask the rest, then arm it. Go or no-go, in one word.

    Lamps go on for some seconds and the camera is started: read the cautions that it shows. A no-go leaves the lander
    safe, and so does Ctrl-C. Exit status 0: go, and armed. 1: no-go. 2: bad input. 3: the controller went away in the
    middle. 130: stopped by Ctrl-C.
    """
    given, watch = read_plan(plan), Watch()
    answers, accepted = _answers(answer or []), _accepted(accept or [], by)
    begins = _moment(splash) if splash else watch.utc() + timedelta(minutes=given.dive.on_deck_min)
    writing.look_at(out)
    cautions = cautions_of(given)
    with controller(port) as link:
        if not link.is_board:
            terminal.refuse(["%s is in a session, or no board but a core alone: end it, then check again" % link.url])
        _caution(cautions)
        try:
            done = conduct(link, given, begins, Asking(given, answers, _ask), accepted, watch, _tell)
        except LinkError as error:
            _big(NO_GO, sys.stderr)
            raise error if isinstance(error, Gone) else LinkError("%s; %s" % (error, link.so_far)) from None
    _finish(done, by or "", accepted, cautions, out, as_json)
    raise typer.Exit(0 if done.is_go else NOT_GO)


# --- what was given ---------------------------------------------------------------------------------------------------


def _answers(given: Sequence[str]) -> dict[str, bool]:
    answers = {}
    for each in given:
        item, _, word = each.partition("=")
        if item not in BY_ITEM:
            terminal.refuse(["--answer %s: there is no question about that; allowed is %s" % (
                terminal.printable(each[:60]), ", ".join(BY_ITEM))])
        if word.lower() not in YES + NO:
            terminal.refuse(["--answer %s: say %s=yes or %s=no" % (terminal.printable(each[:60]), item, item)])
        answers[item] = word.lower() in YES
    return answers


def _accepted(given: Sequence[str], by: str | None) -> dict[str, str]:
    accepted = {}
    for each in given:
        item, _, reason = each.partition("=")
        if item not in KEYS:
            terminal.refuse(["--accept %s: there is no such item; allowed is %s" % (
                terminal.printable(each[:60]), ", ".join(KEYS))])
        if len(reason.strip()) < REASON_MIN:
            terminal.refuse(["--accept %s: the record wants the reason in words: --accept %s=\"why it may go so\"" % (
                terminal.printable(each[:60]), item)])
        accepted[item] = terminal.printable(reason.strip())
    if accepted and not (by or "").strip():
        terminal.refuse(["--accept wants a name with it: add --by NAME"])
    return accepted


def _moment(text: str) -> datetime:
    try:
        return moments.utc(text)
    except moments.MomentError as error:
        terminal.refuse(["--splash %s" % error])


# --- at the terminal --------------------------------------------------------------------------------------------------


def cautions_of(plan: Plan) -> list[str]:
    """What can hurt somebody in this check and on deck."""
    return [CAUTIONS[key] for key in ("lamps", "release", "pack", "gas")
            if key != "gas" or plan.release.primary.kind == "wire"]


def _caution(cautions: Sequence[str]) -> None:
    """Shown before anything moves."""
    terminal.err.print(Text("Lamps go on for seconds, the camera starts, and then it is armed.", style="bold"))
    show_cautions(cautions, terminal.err)


def _tell(said: str) -> None:
    terminal.err.print(Text("reading  %s" % said, style="dim"))


def _ask(words: str) -> bool | None:
    """Yes or no of the person at the terminal; None where there is none."""
    if not sys.stdin.isatty():
        return None
    while True:
        terminal.err.print(Text("%s [y/n] " % words, style="bold"), end="")
        try:
            said = input().strip().lower()
        except EOFError:
            return None
        if said in YES + NO:
            return said in YES


# --- what came of it --------------------------------------------------------------------------------------------------


def _finish(done: Conducted, by: str, accepted: Mapping[str, str], cautions: Sequence[str], out: Path | None,
            as_json: bool) -> None:
    account = account_of(done, by, cautions)
    data = written(account)
    digest = sha256(data)
    folder = writing.write(out, {DATA: data, PAGE: deck_page(account, digest).encode()}, "deck")
    if as_json:
        print(json.dumps(account, indent=1, ensure_ascii=False))
    else:
        _show(done, accepted, by)
    stream = terminal.err if as_json else terminal.out
    for line in ("page    %s" % (folder / PAGE), "record  %s" % (folder / DATA), "sha256  %s" % digest):
        stream.print(Text(line), soft_wrap=True)
    if not as_json:
        _big(GO if done.is_go else NO_GO, sys.stdout)


def _show(done: Conducted, accepted: Mapping[str, str], by: str) -> None:
    grid = Table(box=None, pad_edge=False, show_header=False)
    grid.add_column(no_wrap=True)
    grid.add_column(no_wrap=True)
    grid.add_column()
    for each in done.items:
        grid.add_row(Text(each.word, style=LOOKS[each.word]), each.item.key,
                     Text(terminal.printable(each.finding.found)))
        if each.word == ACCEPTED:
            grid.add_row("", "", Text("accepted: %s" % each.accepted, style="yellow"))
    terminal.out.print(grid)
    for item in accepted:
        if any(each.item.key == item and each.finding.ok for each in done.items):
            terminal.out.print(Text("%s was accepted and is as it must be" % item), soft_wrap=True)
    if done.read.is_practice:
        terminal.out.print(Text("practice board: it says nothing about any lander", style="yellow"))
    for each in done.items if done.is_go else ():
        if each.word == ACCEPTED:
            terminal.say(ACCEPTED, "bold yellow", "%s: %s; by %s: %s" % (
                each.item.key, each.finding.found, by, each.accepted))
    for sentence in () if done.is_go else reasons(done.items):
        terminal.say(NO_GO, "bold", sentence)
    terminal.out.print(Text(_state(done)))


def _state(done: Conducted) -> str:
    if not done.is_armed:
        return "The lander is not armed."
    if done.is_go:
        return "The lander is ARMED: stand clear of the ballast; disarm it when the launch is put off."
    return "The lander could not be disarmed and may be ARMED: stand clear of the ballast, and disarm it by the magnet."


def _big(word: str, stream) -> None:
    """The verdict, large; a program reads it in the last line."""
    for row in range(len(LETTERS["G"])):
        print("  ".join(LETTERS[letter][row] for letter in word).rstrip(), file=stream)
    print(word, file=stream, flush=True)

