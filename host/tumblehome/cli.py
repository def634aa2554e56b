"""The command line. Every command works on the built-in sample when no plan is named."""

import io
import sys
from collections.abc import Sequence
from typing import Annotated

import typer

from lander import VERSION
from seatrial.bodies import BodyError, core_here
from tumblehome import (
    budgets,
    chances,
    exploring,
    fuzzing,
    manual,
    planning,
    rehearsal,
    sweeping,
    tables,
    terminal,
    usage,
)
from tumblehome.bench import bench
from tumblehome.debrief.command import debrief
from tumblehome.deck.command import deck
from tumblehome.find.command import find

app = typer.Typer(
    name="tumblehome", add_completion=True, pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
    epilog="Simulation lowers risk and proves nothing about hardware that was not tested.")

for _words, _function in (
        ("plan", planning.plan), ("rehearse", rehearsal.rehearse), ("sweep", sweeping.sweep), ("fuzz", fuzzing.fuzz),
        ("explore", exploring.explore_command), ("odds", chances.odds), ("faults", tables.faults),
        ("table", tables.table), ("budgets", budgets.budgets), ("deck", deck), ("find", find), ("debrief", debrief)):
    manual.add(app, _words, _function)
app.add_typer(bench)


def _show_version(asked: bool) -> None:
    if asked:
        print("tumblehome %s" % VERSION)
        raise typer.Exit


def _whole(
    _version: Annotated[bool, typer.Option("--version", callback=_show_version, is_eager=True,
                                           help="Print the version and exit.")] = False,
) -> None:
    """Plan, rehearse and prove the dive of an untethered seabed camera lander. All times are UTC.

    Begin with `tumblehome rehearse`: it needs no plan. `tumblehome --install-completion` lets the Tab key complete
    commands, options and names, in a new terminal.

    Exit status 0: fine. 1: a law broken, or not home. 2: bad input. 3: a controller went away. 130: stopped by Ctrl-C.
    """
    try:
        core_here(b"")  # what a search would fly in each of its processes
    except BodyError as error:
        terminal.refuse([str(error)])


app.callback(help=manual.help_of(_whole))(_whole)


def main(arguments: Sequence[str] | None = None) -> None:
    """The entry point: exit status 0 fine, 1 a law broken or not home, 2 bad input, 130 stopped by the keyboard."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors=terminal.PLAIN)  # a name that the terminal cannot show is no reason to stop
    given = list(sys.argv[1:] if arguments is None else arguments)
    empty = usage.empty(given)
    if empty:
        terminal.complain(empty)
        sys.exit(terminal.BAD_INPUT)
    try:
        status = app(given or ["--help"], prog_name="tumblehome", standalone_mode=False)
        sys.stdout.flush()
    except usage.UsageError as error:
        terminal.complain(usage.sentence(error))
        sys.exit(terminal.BAD_INPUT)
    except SystemExit as ended:  # typer and rich end in their own way where nobody reads the help any more
        if isinstance(ended.__context__, OSError) and terminal.is_unread(ended.__context__):
            terminal.leave_unread()
        raise
    except typer.Abort:  # older releases of typer say it so
        status = terminal.STOPPED
    except OSError as error:
        if not terminal.is_unread(error):
            raise
        terminal.leave_unread()
    if status == terminal.STOPPED:  # before a command began, which says more
        terminal.stop("nothing was done")
    sys.exit(status)
