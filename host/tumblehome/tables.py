"""Tables, printed: the mission table as the controller runs it with its diagram, and the faults that may be put in."""

from typing import Annotated

import typer
from rich.table import Table
from rich.text import Text

from lander import table as mission
from lander import words
from seatrial.faults import KINDS, Parameter
from seatrial.reference import diagram, names_of
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


def faults(
    group: Annotated[str | None, typer.Argument(help="Only this group, such as release or sensors.")] = None,
) -> None:
    """List the faults that `rehearse --fault` can put into a dive, with their parameters."""
    groups = list(dict.fromkeys(kind.group for kind in KINDS.values()))
    if group is not None and group not in groups:
        terminal.refuse(["group %r is not known; allowed is %s: choose one, or none for all"
                         % (group, ", ".join(map(repr, groups)))])
    for name in [group] if group else groups:
        terminal.out.print(_fault_kinds(name))
    terminal.out.print(Text("Any fault takes for_s as well: it ends after so many seconds. Write for example"
                            " --fault jammed:channel=both,for_s=600@record"))


def _fault_kinds(group: str) -> Table:
    shown = Table(title=group.capitalize(), box=None, title_justify="left", header_style="bold")
    shown.add_column("fault", no_wrap=True, min_width=max(map(len, KINDS)))
    shown.add_column("what, and its parameters", ratio=1)
    for kind in KINDS.values():
        if kind.group == group:
            lines = [kind.what] + ["  %s: %s" % (key, _parameter(parameter))
                                   for key, parameter in kind.parameters.items() if key != "for_s"]
            shown.add_row(kind.name, Text("\n".join(lines)))
    return shown


def _parameter(parameter: Parameter) -> str:
    if parameter.choices:
        return "%s: %s (%s when left out)" % (parameter.meaning, ", ".join(parameter.choices), parameter.default)
    return "%s: %.10g to %.10g (%.10g when left out)" % (
        parameter.meaning, parameter.lowest, parameter.highest, parameter.default)


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
