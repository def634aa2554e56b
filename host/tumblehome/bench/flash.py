"""`tumblehome bench flash`: put the firmware on a board; `tumblehome.flashing` does it."""

import sys
from typing import Annotated

import typer
from rich.progress import BarColumn, Progress, TextColumn

from tumblehome import options, terminal
from tumblehome.bench.ports import usb_ports
from tumblehome.firmware_files import BOARDS, ROLES
from tumblehome.flashing import NONE, ClosedPort, FlashError, flash, not_allowed

FAILED = 1


def bench_flash(
    where: Annotated[str | None, typer.Argument(metavar="[%s]" % options.URL, help="The same as --port.")] = None,
    board: Annotated[str, typer.Option(
        metavar=options.NAME, autocompletion=options.one_of(lambda: BOARDS),
        help="What is at the port: %s." % ", ".join(BOARDS))] = "pico",
    role: Annotated[str, typer.Option(
        "--as", metavar=options.NAME, autocompletion=options.one_of(lambda: ROLES),
        help="Which of the lander's two boards it is: %s." % " or ".join(ROLES))
                    ] = "main",
    back: Annotated[bool, typer.Option("--back", help="Make the version before count again; nothing is sent.")] = False,
    port: Annotated[str | None, typer.Option(
        "--port", metavar=options.URL, autocompletion=options.one_of(lambda: usb_ports()),
        help="The board's port: /dev/ttyACM0, COM5. It must be named, since a board without firmware does not answer.")
    ] = None,
) -> None:
    """Put the firmware on a board, check every file there by its hash, and make it count in one step.

    Plan and journal stay. An interruption leaves a board that boots what it had. Not during a mission: the board is
    reset. Exit status 0: done. 1: not done, and one sentence says why. 2: bad input, or no such port.
    """
    if (where is None) == (port is None):
        terminal.refuse(["the board's port is named %s: name it once, by --port /dev/ttyACM0, or COM5" % (
            "nowhere" if port is None else "twice")])
    sentence = not_allowed(board, role)
    if sentence:
        terminal.refuse([sentence + ": choose one of these"])
    bar = Progress(TextColumn("{task.description}"), BarColumn(), TextColumn("{task.percentage:3.0f} %"),
                   console=terminal.err, transient=True, disable=not terminal.err.is_terminal)
    try:
        with bar:
            task = bar.add_task("compiling", total=None)
            done = flash(port or where or "", board, back, lambda sent, whole, path: bar.update(
                task, completed=sent, total=whole, description=path), role=role)
    except ClosedPort as error:
        terminal.refuse([str(error)])
    except FlashError as error:
        print(error, file=sys.stderr)
        raise typer.Exit(FAILED) from None
    print("%s counts now (%d files sent, %d bytes; %d were there)%s" % (
        done.version, done.files_sent, done.bytes_sent, done.files_kept,
        "" if done.before == NONE else "; --back makes %s count again" % done.before))
