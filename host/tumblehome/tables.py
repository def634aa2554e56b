"""Tables, printed: the mission table as the controller runs it with its diagram, and the faults that may be put in."""

from typing import Annotated

import typer
from rich.table import Table
from rich.text import Text

from lander import table as mission
from lander import words
from seatrial.faults import KINDS, FaultKind, Parameter, parse, plain
from seatrial.plan import load_sample
from seatrial.possible import Way, ways_home
from seatrial.reference import diagram, names_of
from seatrial.water import WaterColumn
from tumblehome import options, terminal

FAULTS_END = (
    "Release: which way off the bottom is left while the fault lasts, with only the reserve in the pack. It is tried in"
    " the simulated sea with the sample's lander; another may fare otherwise, and nothing here was tested at sea."
    "\nA fault also takes for_s: it ends after so many seconds. Write for example"
    " --fault jammed:channel=both,for_s=600@record")


def table(
    diagram_only: Annotated[bool, typer.Option("--diagram", help="Print the Mermaid diagram only.")] = False,
) -> None:
    """Print the mission table: every state, condition and transition, and its diagram (Mermaid).

    Exit status 0: printed. 2: bad input.
    """
    if diagram_only:
        print(diagram())
        return
    terminal.out.print(_rows())
    terminal.out.print(_conditions())
    print(diagram())


def _groups() -> list[str]:
    return list(dict.fromkeys(kind.group for kind in KINDS.values()))


def faults(
    group: Annotated[str | None, typer.Argument(
        autocompletion=options.one_of(_groups), help="Only this group, such as release or sensors.")] = None,
) -> None:
    """List the faults that `rehearse --fault` can put into a dive: parameters, effect, and which release still works.

    Exit status 0: listed. 2: bad input.
    """
    groups = _groups()
    if group is not None and group not in groups:
        terminal.refuse(["group %r is not known; allowed is %s: choose one, or none for all"
                         % (group, ", ".join(map(repr, groups)))])
    plan = load_sample()
    water = WaterColumn(plan.site)
    for name in [group] if group else groups:
        terminal.out.print(_fault_kinds(name, plan, water))
    terminal.out.print(Text(FAULTS_END))


def _fault_kinds(group: str, plan, water: WaterColumn) -> Table:
    shown = Table(title=group.capitalize(), box=None, title_justify="left", header_style="bold")
    shown.add_column("fault", no_wrap=True, min_width=max(map(len, KINDS)))
    shown.add_column("what, and its parameters", ratio=1)
    for kind in KINDS.values():
        if kind.group == group:
            lines = [kind.what, "Then: %s" % kind.to_the_lander]
            lines += ["  %s: %s" % (key, _parameter(parameter))
                      for key, parameter in kind.parameters.items() if key != "for_s"]
            lines += [] if kind.can_end else ["  takes no for_s"]
            lines.append("Release: %s" % _releases(kind, plan, water))
            shown.add_row(kind.name, Text("\n".join(lines)))
    return shown


def _releases(kind: FaultKind, plan, water: WaterColumn) -> str:
    """Which release still lifts it off the bottom while the fault lasts, and at which values none does."""
    ways = ways_home(plan, [parse(kind.name)], water)
    said = told_ways(ways)
    hopeless = [text for text in _at_their_bounds(kind)
                if not any(way.possible for way in ways_home(plan, [parse("%s:%s" % (kind.name, text))], water))]
    return said + ("; none at %s" % " or ".join(hopeless) if hopeless and any(way.possible for way in ways) else "")


def told_ways(ways: list[Way]) -> str:
    works = [way.name for way in ways if way.possible]
    fails = ["%s: %s" % (way.name, way.why_not) for way in ways if not way.possible]
    if not fails:
        return "each works"
    if not works:
        reasons = {way.why_not for way in ways}
        return "none works: %s" % (reasons.pop() if len(reasons) == 1 else ", ".join(fails))
    return "%s; not %s" % (", ".join(works), ", ".join(fails))


def _at_their_bounds(kind: FaultKind) -> list[str]:
    return ["%s=%s" % (key, worth if isinstance(worth, str) else plain(worth))
            for key, parameter in kind.parameters.items() if key != "for_s"
            for worth in parameter.choices or (parameter.lowest, parameter.highest) if worth != parameter.default]


def _parameter(parameter: Parameter) -> str:
    if isinstance(parameter.default, str):
        return "%s: %s (%s when left out)" % (parameter.meaning, ", ".join(parameter.choices), parameter.default)
    return "%s: %.10g to %.10g (%.10g when left out)" % (
        parameter.meaning, parameter.lowest, parameter.highest, parameter.default)


def _rows() -> Table:
    rows = []
    for number, row in enumerate(mission.ROWS):
        when = " and ".join(names_of(row[mission.WHEN]) + ["not %s" % name for name in names_of(row[mission.UNLESS])])
        rows.append((mission.label(number), mission.STATES[row[mission.FROM]], when, mission.STATES[row[mission.TO]],
                     mission.because(number)))
    return terminal.table(("row", "from", "when", "to", "because"), rows,
                          "Transitions: tried from the top, the first whose conditions hold is taken", in_words=(2, 4))


def _conditions() -> Table:
    rows = [(name, words.CONDITIONS[1 << bit]) for bit, name in enumerate(mission.CONDITIONS)]
    return terminal.table(("condition", "holds when"), rows, "Conditions", in_words=(1,))
