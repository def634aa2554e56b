"""`tumblehome rehearse`: one dive of the plan, with faults if asked for, told in the terminal and on a page."""

import json
import os
import sys
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated, NamedTuple

import typer
from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn
from rich.table import Table
from rich.text import Text

from seatrial.account import account
from seatrial.bodies import BodyError, open_body
from seatrial.deeds import parse as parse_fault
from seatrial.dive import Dive
from seatrial.faults import KINDS, Fault, FaultError, unfit
from seatrial.laws import clock_text
from seatrial.plan import Plan, PlanError, load, load_sample
from seatrial.result import DiveResult
from seatrial.scenario import ScenarioError, in_shell
from seatrial.scenario import read as read_scenario
from tumblehome import options, terminal, writing
from tumblehome.page.dive import dive_page

NOT_HOME = 1
FILES = ("dive.html", "dive.json", "journal.bin")
CPYTHON = "cpython"
BODIES = (CPYTHON, "compiled", "micropython", "micropython-core")
VERDICT_LOOK = {"kept": "green", "broken": "bold red", "excused": "yellow"}
KIND_MARK = {"state": ">", "attempt": "*", "fault": "!", "reset": "x", "event": " "}


FaultOption = Annotated[list[str] | None, typer.Option(
    metavar="NAME[:key=value,...]@WHEN", autocompletion=options.one_of(lambda: KINDS),
    help="A fault to put in, as often as wanted; `tumblehome faults` lists them. WHEN: start, splash, touchdown,"
         " attempt, freed, afloat, a mission state, a depth (200m), a time after the splash (45min), or word+time"
         " (record+10min).")]
SeedOption = Annotated[int | None, options.seed("The same seed gives the same journal; 1 when left out.")]
ScenarioOption = Annotated[Path | None, typer.Option(
    metavar=options.FILE, help="The dive of this file, as `sweep` and `fuzz` write them: plan, faults and seed.")]
OutOption = Annotated[Path | None, options.out(
    "Folder for dive.html, dive.json and journal.bin; a fresh one when left out.")]
JsonOption = Annotated[bool, options.as_json("dive.json", "the table")]


class Chosen(NamedTuple):
    """The dive that was asked for; `words` ask for it again, behind the name of a command."""

    plan: Plan
    faults: list[Fault]
    seed: int
    words: list[str]


def rehearse(
    plan: options.PlanArgument = None,
    fault: FaultOption = None,
    scenario: ScenarioOption = None,
    body: Annotated[str, typer.Option(
        metavar="NAME|URL", autocompletion=options.one_of(lambda: BODIES),
        help="What flies the mission: cpython, compiled (the same core, made by `python -m seatrial.compiled`),"
             " micropython (the whole board's code, with simulated chips),"
             " micropython-core, or the port of a controller (/dev/ttyACM0, COM5, socket://127.0.0.1:4330)."),
    ] = CPYTHON,
    seed: SeedOption = None,
    out: OutOption = None,
    as_json: JsonOption = False,
) -> None:
    """Rehearse a dive: the real mission code, a simulated sea, and the faults you name.

    It writes the page of the dive, its account and the journal into a folder, and prints the command that does the
    same dive again. Exit status 0: came home within its laws. 1: it did not. 2: bad input.
    """
    dive = choose(plan, fault, seed, scenario)
    command = replay_command(dive.words, body)
    writing.look_at(out)
    result = _dive(dive.plan, dive.faults, dive.seed, body)
    raise typer.Exit(0 if publish(result, command, out, as_json) else NOT_HOME)


def choose(plan: Path | None, fault: list[str] | None, seed: int | None, scenario: Path | None) -> Chosen:
    """The dive of a plan or of a scenario. Ends with status 2 and its sentences where something is wrong with it."""
    if scenario is None:
        loaded, dive_seed = read_plan(plan), 1 if seed is None else seed
        faults = _read_faults(fault or [], loaded)
        return Chosen(loaded, faults, dive_seed, dive_words(plan, faults, dive_seed))
    if plan is not None or fault or seed is not None:
        terminal.refuse(["--scenario has plan, faults and seed of its own: leave PLAN, --fault and --seed out, or"
                         " --scenario"])
    return Chosen(*read_scenario_file(scenario), ["--scenario", str(scenario)])


def publish(result: DiveResult, command: str, out: Path | None, as_json: bool) -> bool:
    """Write page, account and journal, and show what happened; whether it came home within its laws."""
    told = account(result, command)
    contents = dict(zip(FILES, (dive_page(told).encode(), json.dumps(told).encode(), result.journal), strict=True))
    page = writing.write(out, contents, "dive") / FILES[0]
    if as_json:
        print(json.dumps(told, indent=1))
        print("page    %s" % page, file=sys.stderr)
    else:
        _show(told, page)
    return told["outcome"]["home"] and told["outcome"]["within_laws"]


def read_plan(path: Path | None) -> Plan:
    """The plan of this file, or the sample. Ends with status 2 and its sentences when the plan is wrong."""
    try:
        return load(path) if path else load_sample()
    except PlanError as error:
        terminal.refuse(error.sentences)


def read_scenario_file(path: Path) -> tuple[Plan, list[Fault], int]:
    """Plan, faults and seed of a scenario. Ends with status 2 and its sentences when it is wrong."""
    try:
        scenario = read_scenario(path)
        plan, faults = scenario.load_plan(), scenario.parsed()
    except ScenarioError as error:
        terminal.refuse([str(error)])
    except PlanError as error:
        terminal.refuse(["scenario %s: %s" % (path, sentence) for sentence in error.sentences])
    sentences = list(filter(None, (unfit(plan, fault) for fault in faults)))
    if sentences:
        terminal.refuse(sentences)
    return plan, faults, scenario.seed


def _read_faults(texts: list[str], plan: Plan) -> list[Fault]:
    faults, sentences = [], []
    for text in texts:
        try:
            faults.append(parse_fault(text))
        except FaultError as error:
            sentences.append(str(error))
    sentences += filter(None, (unfit(plan, fault) for fault in faults))
    if sentences:
        terminal.refuse(sentences)
    return faults


def _dive(plan: Plan, faults: list[Fault], seed: int, body_name: str) -> DiveResult:
    try:
        body = open_body(body_name, plan.mission_record())
        try:
            with _progress() as progress:
                return Dive(plan, faults, seed, body, progress).run()
        finally:
            body.close()
    except BodyError as error:
        terminal.refuse([str(error)])


@contextmanager
def _progress():
    """Yields what the engine calls: a bar of sea time, on a terminal only."""
    columns = (TextColumn("rehearsing"), BarColumn(), TextColumn("{task.fields[sea]} of sea time"),
               TimeRemainingColumn())
    with Progress(*columns, console=terminal.err, transient=True, disable=not sys.stderr.isatty()) as bar:
        task = bar.add_task("dive", total=1.0, sea="0:00:00")
        reached_s = 0.0

        def show(now_s: float, end_s: float) -> None:
            nonlocal reached_s
            reached_s = now_s
            bar.update(task, completed=now_s, total=end_s, sea=clock_text(now_s))
        try:
            yield show
        except KeyboardInterrupt:
            terminal.so_far = "the dive came to %s of sea time; nothing was written" % clock_text(reached_s)
            raise


def replay_command(words: list[str], body: str) -> str:
    """The command that does this dive again, quoted for the shell."""
    return in_shell(["tumblehome", "rehearse", *words, *([] if body == CPYTHON else ["--body", body])])


def dive_words(plan: Path | None, faults: list[Fault], seed: int) -> list[str]:
    """Plan, seed and faults as a command takes them."""
    words = []
    if plan:
        words.append(os.path.join(".", plan) if str(plan).startswith("-") else str(plan))
    words += ["--seed", str(seed)]
    for fault in faults:
        words += ["--fault", str(fault)]
    return words


def _show(told: dict, page: Path) -> None:
    out = terminal.out
    outcome = told["outcome"]
    out.print(Text("tumblehome %s   seed %d   body %s   %s" % (
        told["version"], told["seed"], told["body"], terminal.printable(told["plan_name"]))))
    out.print(_timeline(told))
    out.print(_verdicts(told))
    word, look = _word(outcome)
    out.print(Text(word, style=look), Text(outcome["sentence"]))
    for fault in told["faults"]:
        if fault["from_s"] is None:
            out.print(Text("This fault never began, the dive proves nothing about it: %s" % fault["written"],
                           style="yellow"))
    out.print(Text("page    %s" % page), soft_wrap=True)
    out.print(Text("replay  %s" % told["command"]), soft_wrap=True)


def _word(outcome: dict) -> tuple[str, str]:
    if not outcome["home"]:
        return "NOT HOME", "bold red"
    return ("HOME", "bold green") if outcome["within_laws"] else ("HOME, LAW BROKEN", "bold red")


def _timeline(told: dict) -> Table:
    table = Table(box=None, pad_edge=False, header_style="bold")
    table.add_column("after splash", justify="right", no_wrap=True)
    table.add_column("", no_wrap=True)
    table.add_column("state", no_wrap=True)
    table.add_column("depth m", justify="right", no_wrap=True)
    table.add_column("what, and why")
    for item in told["timeline"]:
        what = item["what"] + (": " + item["reason"] if item["reason"] else "")
        table.add_row(clock_text(item["time_s"] - told["outcome"]["splash_s"]), KIND_MARK[item["kind"]], item["state"],
                      "%.0f" % item["depth_m"], Text(what))
    return table


def _verdicts(told: dict) -> Table:
    table = Table(box=None, pad_edge=False, header_style="bold")
    table.add_column("law", justify="right")
    table.add_column("")
    table.add_column("verdict")
    table.add_column("")
    for law in told["laws"]:
        verdict = Text(law["verdict"].upper() if law["verdict"] == "broken" else law["verdict"],
                       style=VERDICT_LOOK[law["verdict"]])
        table.add_row(str(law["number"]), law["name"], verdict, Text(law["sentence"]))
    return table
