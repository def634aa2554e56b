"""The command line. Every command works on the built-in sample when no plan is named."""

import io
import sys
from collections.abc import Sequence
from typing import Annotated

import typer

from lander import VERSION
from seatrial.bodies import BodyError, core_here
from tumblehome import budgets, chances, exploring, fuzzing, planning, rehearsal, sweeping, tables, terminal, usage
from tumblehome.bench import bench
from tumblehome.debrief.command import debrief
from tumblehome.deck.command import deck
from tumblehome.find.command import find

INTERRUPTED = 130

app = typer.Typer(
    name="tumblehome", add_completion=True, pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
    epilog="Simulation lowers risk and proves nothing about hardware that was not tested.")

app.command("plan", epilog="Example: tumblehome plan my-dive.toml --card --out my-dive")(planning.plan)
app.command("rehearse", epilog="Example: tumblehome rehearse --fault jammed@record --seed 7 --out my-dive")(
    rehearsal.rehearse)
app.command("sweep", epilog="Example: tumblehome sweep --pairs --out my-sweep")(sweeping.sweep)
app.command("fuzz", epilog="Example: tumblehome fuzz --minutes 10 --out found")(fuzzing.fuzz)
app.command("explore", epilog="Example: tumblehome explore --bound 1 --out found")(exploring.explore_command)
app.command("odds", epilog="Example: tumblehome odds --rates my-rates.toml --dives 4000 --out my-odds")(chances.odds)
app.command("faults", epilog="Example: tumblehome faults release")(tables.faults)
app.command("table", epilog="Example: tumblehome table --diagram > table.mmd")(tables.table)
app.command("budgets", epilog="Example: tumblehome budgets my-dive.toml --json > budgets.json")(budgets.budgets)
app.command("deck", epilog="Example: tumblehome deck my-dive.toml --splash 2027-05-18T06:30Z")(deck)
app.command("find", epilog="Example: tumblehome find my-dive.toml --boat \"46 06.0 N 28 24.0 W\" --out search")(find)
app.command("debrief", epilog="Example: tumblehome debrief my-dive my-dive.toml --lights-at 00:03:12.4 --out told")(
    debrief)

app.add_typer(bench)


def _show_version(asked: bool) -> None:
    if asked:
        print("tumblehome %s" % VERSION)
        raise typer.Exit


@app.callback()
def _whole(
    _version: Annotated[bool, typer.Option("--version", callback=_show_version, is_eager=True,
                                           help="Print the version and exit.")] = False,
) -> None:
    """Plan, rehearse and prove the dive of an untethered seabed camera lander. All times are UTC.

    Begin with `tumblehome rehearse`: it needs no plan. Exit status 0: fine. 1: a law broken, or not home. 2: bad input.
    """
    try:
        core_here(b"")  # what a search would fly in each of its processes
    except BodyError as error:
        terminal.refuse([str(error)])


def main(arguments: Sequence[str] | None = None) -> None:
    """The entry point: exit status 0 fine, 1 a law broken or not home, 2 bad input, 130 stopped by the keyboard."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")  # a name that the terminal cannot show is no reason to stop
    given = list(sys.argv[1:] if arguments is None else arguments)
    try:
        status = app(given or ["--help"], prog_name="tumblehome", standalone_mode=False)
    except usage.UsageError as error:
        print(usage.sentence(error), file=sys.stderr)
        sys.exit(terminal.BAD_INPUT)
    except typer.Abort:  # older releases of typer say it so
        status = INTERRUPTED
    if status == INTERRUPTED:
        print("stopped by the keyboard", file=sys.stderr)
    sys.exit(status)
