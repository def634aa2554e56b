"""`tumblehome fuzz`: dives drawn at random from everything that may be, and the shortest that breaks a law."""

import json
import os
import sys
from collections.abc import Iterator
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.progress import Progress, SpinnerColumn, TextColumn, TimeElapsedColumn
from rich.table import Table
from rich.text import Text

from lander import VERSION
from seatrial.account import CAUTIONS
from seatrial.laws import LAWS, SECOND_LAW
from seatrial.plan import Plan
from seatrial.scenario import Scenario, in_shell, plan_hash, scenario_command
from seatrial.scenario import write as scenario_text
from tumblehome import options, rehearsal, terminal, writing

LAW_BROKEN = 1
DATA = "fuzz.json"
MINUTES = 5.0
MINUTES_MAX = 10080.0
EXAMPLES_MAX = 10_000_000
UNREACHED_SHOWN = 12
LAW_NAMES = {0: "no error", **{law.number: law.name for law in (*LAWS, SECOND_LAW)}}
NEEDS_HYPOTHESIS = ("fuzz needs the package hypothesis, which is not here: pip install 'tumblehome[fuzz]', or"
                    " `tumblehome sweep`, which does without")


def _minutes(given: str | float) -> float:
    text = str(given)
    try:
        minutes = float(text)
    except ValueError:
        minutes = 0.0
    if not 0.0 < minutes <= MINUTES_MAX:
        terminal.refuse(["--minutes is %s; allowed is more than 0 and at most %g: choose one in this range"
                         % (terminal.printable(text[:40]), MINUTES_MAX)])
    return minutes


def fuzz(
    plan: options.PlanArgument = None,
    minutes: Annotated[float | None, typer.Option(
        metavar="MINUTES", parser=_minutes, help="Go on for so long; %g when left out." % MINUTES)] = None,
    examples: Annotated[int | None, options.whole(
        "--examples", 1, EXAMPLES_MAX, "Draw so many dives, however long it takes; the same seed then finds the same.")
    ] = None,
    seed: Annotated[int, options.seed("Where chance begins.")] = 1,
    cores: Annotated[int | None, options.cores()] = None,
    out: Annotated[Path | None, options.out(
        "Folder for fuzz.json and a scenario file for each finding; a fresh one when left out.")] = None,
    as_json: Annotated[bool, options.as_json("fuzz.json", "the table")] = False,
) -> None:
    """Fly dives drawn at random: variants of the plan, several faults at once, people, resets at any instant.

    Where a law is broken though it could have been kept, the dive is shrunk to the shortest that still breaks it, and
    written as a file that `tumblehome rehearse --scenario` does again on any body. Exit status 0: nothing found.
    1: a law can be broken. 2: bad input. 130: stopped by Ctrl-C; what was found is written.
    """
    if minutes is not None and examples is not None:
        terminal.refuse(["--minutes and --examples were both given: leave one out"])
    dive_plan = rehearsal.read_plan(plan)
    writing.look_at(out)
    told, stopped = _flown(dive_plan, seed, examples, minutes, cores)
    folder = writing.write(out, {}, "fuzz")
    content = as_dict(told, dive_plan, command_of(plan, seed, examples, minutes, folder), folder)
    writing.write(folder, {DATA: json.dumps(content).encode(), **_scenarios(told, dive_plan, plan, folder)}, "fuzz")
    if as_json:
        print(json.dumps(content, indent=1))
    else:
        _show(content, folder)
    if stopped:
        terminal.stop("%d dives were flown; what was found is in %s" % (told.dives, folder))
    raise typer.Exit(LAW_BROKEN if told.findings else 0)


def command_of(plan: Path | None, seed: int, examples: int | None, minutes: float | None, out: Path) -> str:
    """The command that does this again, quoted for the shell."""
    words = ["tumblehome", "fuzz"]
    if plan is not None:
        words.append(os.path.join(".", plan) if str(plan).startswith("-") else str(plan))
    words += ["--examples", str(examples)] if examples else ["--minutes", "%g" % (minutes or MINUTES)]
    return in_shell([*words, "--seed", str(seed), "--out", str(out)])


# --- flying --------------------------------------------------------------------------------------------------------


def _flown(plan: Plan, seed: int, examples: int | None, minutes: float | None, cores: int | None) -> tuple[Any, bool]:
    """What was found, and whether the keyboard stopped it."""
    try:
        from seatrial.fuzzing.running import Fuzz, processes
        from seatrial.fuzzing.running import fuzz as run
    except ModuleNotFoundError as error:
        if error.name != "hypothesis":
            raise
        terminal.refuse([NEEDS_HYPOTHESIS])
    seconds = None if examples else 60.0 * (minutes or MINUTES)
    last = Fuzz()
    at_once = cores or os.cpu_count() or 1
    with _bar() as show, processes(at_once) as executor:
        def keep(told: Fuzz) -> None:
            nonlocal last
            last = told
            show(told)
        try:
            return run(plan, seed, examples, seconds, executor, at_once, keep), False
        except KeyboardInterrupt:
            return last, True
        except BrokenProcessPool:
            terminal.refuse(["a process that flies dives was killed, perhaps for want of memory: run it with fewer"
                             " --cores"])


@contextmanager
def _bar() -> Iterator[Any]:
    """Yields what takes the state of things after each round: a line with rate and findings, on a terminal only."""
    columns = (SpinnerColumn(), TextColumn("{task.fields[said]}"), TimeElapsedColumn())
    with Progress(*columns, console=terminal.err, transient=True, disable=not sys.stderr.isatty()) as line:
        task = line.add_task("fuzz", total=None, said="drawing dives")

        def show(told: Any) -> None:
            since_s = max(line.tasks[0].elapsed or 0.0, 0.001)
            line.update(task, said="%d dives, %.1f/s, %d findings" % (
                told.dives, told.dives / since_s, len(told.findings)))

        yield show


# --- telling -------------------------------------------------------------------------------------------------------


def _file_of(number: int) -> str:
    return "finding-%02d.toml" % number


def as_dict(told: Any, plan: Plan, command: str, folder: Path) -> dict[str, Any]:
    """What fuzz.json holds. `told` is a `seatrial.fuzzing.running.Fuzz`."""
    from seatrial.fuzzing.coverage import all_points, missing
    from seatrial.fuzzing.drawing import all_kinds
    from seatrial.fuzzing.variants import told as changes_told

    kinds = list(all_kinds().values())
    unreached = missing(told.points, kinds)
    return {
        "tool": "tumblehome", "version": VERSION, "command": command, "plan_name": plan.dive.name,
        "plan_hash": plan_hash(plan), "dives": told.dives, "rounds": told.rounds,
        "findings": [
            {"law": one.law, "name": LAW_NAMES[one.law], "sentence": one.sentence, "faults": list(one.drawn.faults),
             "changes": changes_told(one.drawn.changes), "seed": one.drawn.seed, "file": _file_of(number),
             "command": scenario_command(folder / _file_of(number))}
            for number, one in enumerate(told.findings, 1)],
        "coverage": {sort: {"reached": len(points) - len(unreached[sort]), "of": len(points),
                            "unreached": unreached[sort]} for sort, points in all_points(kinds).items()},
        "cautions": list(CAUTIONS),
    }


def _scenarios(told: Any, plan: Plan, path: Path | None, folder: Path) -> dict[str, bytes]:
    files = {}
    for number, one in enumerate(told.findings, 1):
        scenario = Scenario(plan_hash(plan), one.drawn.seed, one.drawn.faults, path,
                            "law %d: %s" % (one.law, one.sentence), changes=one.drawn.changes)
        files[_file_of(number)] = scenario_text(scenario, folder, _file_of(number)).encode()
    return files


COVERED = {"rows": "rows of the mission table taken", "conditions": "conditions seen true and false, in each state",
           "faults": "faults begun in each state"}


def _show(told: dict[str, Any], folder: Path) -> None:
    out = terminal.out
    out.print(Text("tumblehome %s   %s" % (told["version"], terminal.printable(told["plan_name"]))))
    out.print(Text("%s, %s" % (_counted(told["dives"], "dive"), _counted(told["rounds"], "round"))))
    out.print(_coverage(told["coverage"]))
    for sort, found in told["coverage"].items():
        if sort != "faults" and found["unreached"]:
            more = len(found["unreached"]) - UNREACHED_SHOWN
            out.print(Text("never   %s%s" % (", ".join(found["unreached"][:UNREACHED_SHOWN]),
                                             " and %d more in %s" % (more, DATA) if more > 0 else "")))
    for one in told["findings"]:
        line = Text("LAW %d %s: " % (one["law"], one["name"]), style="bold red")
        out.print(line.append(one["sentence"], style="not bold default"), soft_wrap=True)
        for word in [*one["faults"], *one["changes"]] or ["no fault"]:
            out.print(Text("       %s" % word), soft_wrap=True)
        out.print(Text("       %s" % one["command"]), soft_wrap=True)
    if told["findings"]:
        out.print(Text("LAWS BROKEN in %s" % _counted(len(told["findings"]), "way"), style="bold red"))
    else:
        out.print(Text("LAWS KEPT  No law was broken in %s." % _counted(told["dives"], "dive"), style="bold green"))
    out.print(Text("files   %s" % folder), soft_wrap=True)
    out.print(Text("again   %s" % told["command"]), soft_wrap=True)


def _counted(number: int, thing: str) -> str:
    return "%d %s%s" % (number, thing, "" if number == 1 else "s")


def _coverage(coverage: dict[str, dict[str, Any]]) -> Table:
    table = Table(box=None, pad_edge=False, header_style="bold")
    table.add_column("reached", justify="right")
    table.add_column("of", justify="right")
    table.add_column("")
    for sort, found in coverage.items():
        table.add_row(str(found["reached"]), str(found["of"]), COVERED[sort])
    return table
