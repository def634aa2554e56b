"""`tumblehome bench list`: where controllers are, and what they run."""

import json
from typing import Annotated

import typer
from rich.table import Table
from rich.text import Text

from tumblehome import options, terminal
from tumblehome.bench.ports import FAILED, Found, look, usb_ports

COLUMNS = ("port", "runs", "board", "chip", "state", "adapter")


def bench_list(
    port: Annotated[list[str] | None, typer.Option(
        "--port", metavar=options.URL, help="Look here too, as often as wanted: /dev/pts/5, socket://host:port.")
    ] = None,
    as_json: Annotated[bool, options.as_json("JSON", "the table")] = False,
) -> None:
    """List the ports with a controller, and what it runs; nothing there is changed, and no session is disturbed.

    All USB serial ports are looked at, and those that are named. Exit status 0: there is one. 1: there is none.
    2: bad input.
    """
    wanted = {**usb_ports(), **dict.fromkeys(port or [], "")}
    found = look(wanted.items())
    if as_json:
        print(json.dumps([_told(one) for one in found], indent=1))
    else:
        _show(found)
    raise typer.Exit(0 if any(one.greeting for one in found) else FAILED)


def _told(one: Found) -> dict:
    if not one.greeting:
        return {"port": one.url, "adapter": one.words, "problem": one.problem}
    return {"port": one.url, "adapter": one.words, "state": one.state, **one.greeting}


def _show(found: list[Found]) -> None:
    if not found:
        terminal.out.print("no USB serial port on this machine, and none was named")
    answering = [one for one in found if one.greeting]
    if answering:
        terminal.out.print(_table(answering))
    for one in found:
        if not one.greeting:
            terminal.out.print(Text(terminal.printable(one.problem), style="dim"))


def _table(answering: list[Found]) -> Table:
    table = Table(box=None, pad_edge=False, header_style="bold")
    for name in COLUMNS:
        table.add_column(name, overflow="fold")
    for one in answering:
        said = one.greeting
        cells = (one.url, "tumblehome %s, line %s" % (said.get("lander"), said.get("wire")), said.get("board", ""),
                 said.get("id", ""), one.state, one.words)
        table.add_row(*(Text(terminal.printable(cell)) for cell in cells))
    return table
