"""`tumblehome bench practice`: a board to practise on, behind a serial port of this machine."""

import signal
from contextlib import suppress
from pathlib import Path
from typing import Annotated

import typer

from seatrial.board_process import BLOCKS
from seatrial.bodies import BodyError
from seatrial.complaints import complaint
from seatrial.miswirings import MISWIRINGS
from seatrial.practice import PracticeBoard, not_possible
from tumblehome import options, terminal
from tumblehome.rehearsal import read_plan

LOOK_S = 0.5


def bench_practice(
    board: Annotated[str, typer.Option(
        metavar=options.NAME, autocompletion=options.one_of(lambda: BLOCKS),
        help="Whose pins it has: %s." % ", ".join(BLOCKS))] = "pico",
    plan: Annotated[Path | None, typer.Option(
        metavar=options.FILE, help="Plan file (TOML) that is put on the board; the built-in sample when left out.")
    ] = None,
    wrong: Annotated[list[str] | None, typer.Option(
        metavar=options.NAME, autocompletion=options.one_of(lambda: MISWIRINGS),
        help="Something to find, as often as wanted: %s." % "; ".join(
            "%s (%s)" % (name, one.words) for name, one in MISWIRINGS.items()))] = None,
    tcp: Annotated[int | None, typer.Option(
        metavar="PORT", min=0, max=65535,
        help="A local socket instead of a pseudo-terminal; 0: any that is free. On Windows only this works.")] = None,
    speed: Annotated[float, typer.Option(
        metavar="N", help="So many times as fast as the clock on the wall.")] = 1.0,
    keep: Annotated[Path | None, typer.Option(
        metavar=options.FOLDER, help="Where the board's flash stays, with journal and plan; thrown away when left out.")
    ] = None,
) -> None:
    """Start a practice board: the whole board's code in real MicroPython, on a simulated lander that stands on deck.

    It prints the port where any serial program finds it, and runs until Ctrl-C. Exit status 0: stopped by Ctrl-C.
    2: bad input.
    """
    given = read_plan(plan) if plan else None
    sentence = not_possible(board, wrong or [], speed, given)
    if sentence:
        terminal.refuse([sentence])
    if keep is not None and keep.exists() and not keep.is_dir():
        terminal.refuse(["--keep is %s, and that is no folder: choose a folder" % keep])
    signal.signal(signal.SIGTERM, _stop)
    try:
        with suppress(KeyboardInterrupt), PracticeBoard(
                given, board, wrong or [], speed, tcp, keep, tell=terminal.complain) as practised:
            _tell(practised, board, wrong or [])
            while practised.wait(LOOK_S):
                pass
    except BodyError as error:
        terminal.refuse([str(error)])
    except OSError as error:
        terminal.refuse(["--keep is %s and cannot be used: %s" % (keep, complaint(error))])


def _tell(practised: PracticeBoard, board: str, wrong: list[str]) -> None:
    print("port    %s" % practised.url)
    print("board   %s, on deck%s" % (board, "".join("; wrong: %s" % name for name in wrong)))
    print("try     in another terminal: tumblehome bench status --port %s" % practised.url)
    print("stop    Ctrl-C", flush=True)


def _stop(_number, _frame) -> None:
    raise KeyboardInterrupt
