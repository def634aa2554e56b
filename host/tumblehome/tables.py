"""`tumblehome table`: the mission table as the controller runs it, and its diagram."""

from typing import Annotated

import typer
from rich.table import Table
from rich.text import Text

from lander import table as mission
from lander import words
from seatrial.reference import diagram
from tumblehome import terminal


def table(
    diagram_only: Annotated[bool, typer.Option("--diagram", help="Print the Mermaid diagram only.")] = False,
) -> None:
    """Print the mission table: every state, condition and transition, and its diagram (Mermaid)."""
    if diagram_only:
        print(diagram())
        return
    terminal.out.print(_rows())
    terminal.out.print(_conditions())
    print(diagram())


def _rows() -> Table:
    shown = Table(title="Transitions: tried from the top, the first whose conditions hold is taken", box=None,
                  title_justify="left", header_style="bold")
    for name in ("row", "from", "when", "to", "because"):
        shown.add_column(name, no_wrap=name in ("row", "from", "to"))
    for number, row in enumerate(mission.ROWS):
        when = " and ".join(names_of(row[mission.WHEN]) + ["not %s" % name for name in names_of(row[mission.UNLESS])])
        shown.add_row(mission.label(number), mission.STATES[row[mission.FROM]], Text(when),
                      mission.STATES[row[mission.TO]], Text(mission.because(number)))
    return shown


def _conditions() -> Table:
    shown = Table(title="Conditions", box=None, title_justify="left", header_style="bold")
    shown.add_column("condition", no_wrap=True)
    shown.add_column("holds when")
    for bit, name in enumerate(mission.CONDITIONS):
        shown.add_row(name, Text(words.CONDITIONS[1 << bit]))
    return shown


def names_of(bits: int) -> list[str]:
    """The names of the conditions in these bits."""
    return [name for bit, name in enumerate(mission.CONDITIONS) if bits >> bit & 1]
