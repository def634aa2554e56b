"""`tumblehome sweep`: every fault, alone or together, at every phase of the dive, and what comes of it."""

import json
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.progress import BarColumn, MofNCompleteColumn, Progress, ProgressColumn, TextColumn, TimeRemainingColumn
from rich.table import Table
from rich.text import Text

from seatrial.campaign.blaming import Blame, grouped, harms_of
from seatrial.campaign.choosing import Campaign, CampaignError, Planned, dives
from seatrial.campaign.flying import Row
from seatrial.campaign.results import Results, definition
from seatrial.campaign.running import run
from seatrial.campaign.summary import summary
from seatrial.faults import KINDS
from seatrial.laws import clock_text
from seatrial.plan import Plan
from seatrial.scenario import Scenario, in_shell, plan_hash
from seatrial.scenario import write as scenario_text
from tumblehome import options, rehearsal, terminal, writing
from tumblehome.page.sweep import HARM_WORDS, sweep_page, verdict_of

LAW_BROKEN = 1
BASE, PAGE, DATA = "sweep.sqlite", "sweep.html", "sweep.json"
SHOWN_CAUSES = 12


def _groups_and_faults() -> list[str]:
    return [*dict.fromkeys(kind.group for kind in KINDS.values()), *KINDS]


def sweep(
    plan: options.PlanArgument = None,
    pairs: Annotated[bool, typer.Option("--pairs", help="Every two faults together as well; the same as --ways 2.")
                     ] = False,
    ways: Annotated[int | None, options.whole(
        "--ways", 1, 3, "So many faults together: 1 each alone, 2 pairs, 3 triples, in dives of several faults chosen"
                        " so that every three meet.")] = None,
    full: Annotated[bool, typer.Option(
        "--full", help="Pairs at every two phases, triples each in a dive of its own: takes hours to days.")] = False,
    only: Annotated[list[str] | None, typer.Option(
        metavar="GROUP|NAME", autocompletion=options.one_of(_groups_and_faults),
        help="Only this group or fault, as often as wanted; `tumblehome faults` lists them.")
                    ] = None,
    seed: Annotated[int, options.seed("The same seed gives the same rows.")] = 1,
    cores: Annotated[int | None, options.cores()] = None,
    cluster: Annotated[str | None, options.cluster()] = None,
    out: Annotated[Path | None, options.out(
        "Folder for sweep.html, sweep.json, sweep.sqlite and a scenario file for each kind of harm; a fresh one"
             " when left out. The same command with the same folder goes on where it was interrupted.")] = None,
    as_json: Annotated[bool, options.as_json("sweep.json", "the table")] = False,
) -> None:
    """Fly every fault at every phase of the dive, judge every law, and show what kills the lander.

    Exit status 0: no law broken where a release was possible. 1: one was, or a dive could not be simulated. 2: bad
    input. 130: stopped by Ctrl-C; what was flown is kept.
    """
    campaign = Campaign(_ways_of(pairs, ways), full, seed, tuple(only or ()))
    dive_plan = rehearsal.read_plan(plan)
    workers = options.workers(cores, cluster)
    writing.look_at(out)
    try:
        planned = dives(campaign, dive_plan)
        folder = writing.write(out, {}, "sweep")
        with Results(folder / BASE, definition(campaign, dive_plan, planned)) as results:
            told = _flown(campaign, dive_plan, plan, planned, results, folder, workers)
    except CampaignError as error:
        terminal.refuse([str(error)])
    writing.write(folder, _files(told, dive_plan, plan, folder), "sweep")
    if as_json:
        print(json.dumps(told, indent=1))
        print("page    %s" % (folder / PAGE), file=sys.stderr)
    else:
        show(told, folder / PAGE)
    raise typer.Exit(0 if told["within_laws"] else LAW_BROKEN)


def _ways_of(pairs: bool, ways: int | None) -> int:
    if pairs and ways not in (None, 2):
        terminal.refuse(["--pairs and --ways %d were both given; --pairs is --ways 2: leave one out" % ways])
    return 2 if pairs else ways or 1


def command_of(campaign: Campaign, plan: Path | None, out: Path, cluster: str | None = None) -> str:
    """The command that runs or goes on with this campaign, quoted for the shell."""
    words = ["tumblehome", "sweep"]
    if plan is not None:
        words.append(os.path.join(".", plan) if str(plan).startswith("-") else str(plan))
    words += {1: [], 2: ["--pairs"], 3: ["--ways", "3"]}[campaign.ways] + (["--full"] if campaign.full else [])
    for word in campaign.only:
        words += ["--only", word]
    words += ["--seed", str(campaign.seed)] + (["--cluster", cluster] if cluster else []) + ["--out", str(out)]
    return in_shell(words)


# --- flying --------------------------------------------------------------------------------------------------------


def _flown(campaign: Campaign, plan: Plan, path: Path | None, planned: list[Planned], results: Results, folder: Path,
           workers: options.Workers) -> dict[str, Any]:
    """Fly what is missing, find the causes, and tell it. On the keyboard's word it says how to go on."""
    command = command_of(campaign, path, folder, workers.address)
    try:
        with progress_bar("flying", len(planned), len(results.done())) as progress:
            run(plan, planned, results, *workers, progress)
        rows = list(results.rows())
        blame = _blame(plan, rows, results)
        causes = grouped(rows, blame)
    except KeyboardInterrupt:
        terminal.so_far = "%d of %d dives are flown and kept; go on with: %s" % (
            len(results.done()), len(planned), command)
        raise
    return summary(campaign, plan, path, rows, causes, blame.found, len(planned), command)


def _blame(plan: Plan, rows: list[Row], results: Results) -> Blame:
    """Find which faults did the harm, keeping what was found, since it takes flying."""
    blame = Blame(plan, results.causes())
    guilty = [row for row in rows if harms_of(row)]
    with progress_bar("finding causes", len(guilty), 0) as progress:
        try:
            blame.all_of(guilty, progress)
        finally:
            results.add_causes(blame.found)
    return blame


class _Rate(ProgressColumn):
    """Dives a second."""

    def render(self, task) -> Text:
        return Text("%.1f/s" % task.speed if task.speed else "")


@contextmanager
def progress_bar(what: str, total: int, done: int) -> Iterator[Any]:
    """Yields what takes the number of dives just finished: a bar with rate and time left, on a terminal only."""
    columns = (TextColumn(what), BarColumn(), MofNCompleteColumn(), TextColumn("dives"), _Rate(),
               TimeRemainingColumn(elapsed_when_finished=True), TextColumn("left"))
    with Progress(*columns, console=terminal.err, transient=True, disable=not sys.stderr.isatty()) as bar:
        task = bar.add_task(what, total=total, completed=done)
        yield lambda count: bar.update(task, advance=count)


# --- telling -------------------------------------------------------------------------------------------------------


def _files(told: dict, plan: Plan, path: Path | None, folder: Path) -> dict[str, bytes]:
    files = {PAGE: sweep_page(told).encode(), DATA: json.dumps(told).encode()}
    for number, cause in enumerate(told["causes"], 1):
        scenario = Scenario(plan_hash(plan), cause["seed"], tuple(cause["faults"]), path,
                            "%s: %s" % (cause["harm"], cause["sentence"]))
        files["scenario-%02d.toml" % number] = scenario_text(scenario, folder).encode()
    return files


def show(told: dict, page: Path) -> None:
    """The outcome in the terminal: counts, law by law, causes with their commands, the extremes."""
    out = terminal.out
    counts = told["dives"]
    out.print(Text("tumblehome %s   seed %d   %s   %s" % (
        told["version"], told["seed"], told["campaign"], terminal.printable(told["plan_name"]))))
    out.print(_laws(told))
    if any(law["excused"] for law in told["laws"]):
        out.print("excused: the world left nothing that the controller could have done")
    _show_causes(told)
    for key, sentence in (("latest", _latest), ("emptiest", _emptiest)):
        for dive in told[key][:1]:
            terminal.say("%-8s" % key, "bold", sentence(dive))
            out.print(Text("          %s" % dive["command"]), soft_wrap=True)
    verdict = verdict_of(told)
    out.print(Text(verdict.word.upper(), style={"good": "bold green", "warn": "yellow"}.get(verdict.tone, "bold red")),
              Text(verdict.sentence))
    out.print(Text("%d dives, %d home, %d lost where nothing could be released, %d lost though it could" % (
        counts["flown"], counts["home"], counts["lost_impossible"], counts["lost_possible"])))
    if counts["never_began"]:
        out.print(Text("In %d dives a fault never began, since its moment did not come." % counts["never_began"]))
    out.print(Text("page    %s" % page), soft_wrap=True)
    out.print(Text("again   %s" % told["command"]), soft_wrap=True)


def _latest(dive: dict) -> str:
    return "%s %s the timed release and the slowest ascent" % (
        clock_text(abs(dive["lateness_s"])), "after" if dive["lateness_s"] > 0 else "before")


def _emptiest(dive: dict) -> str:
    return "%.0f mAh left at the command, reserve is %.0f" % (dive["left_mah"], dive["reserve_mah"])


def _laws(told: dict) -> Table:
    table = Table(box=None, pad_edge=False, header_style="bold")
    table.add_column("law", justify="right")
    table.add_column("")
    for heading in ("kept", "excused", "broken", "broken, release possible"):
        table.add_column(heading, justify="right")
    for law in told["laws"]:
        look = "bold red" if law["broken_possible"] else "yellow" if law["broken"] else ""
        table.add_row(str(law["number"]), law["name"], str(law["kept"]), str(law["excused"]),
                      Text(str(law["broken"]), style=look), Text(str(law["broken_possible"]), style=look))
    return table


def _show_causes(told: dict) -> None:
    """Each kind of harm in two lines, the second of which can be copied into a shell."""
    if told["causes"]:
        terminal.out.print(Text("dives  harm", style="bold"))
    for cause in told["causes"][:SHOWN_CAUSES]:
        harm = HARM_WORDS.get(cause["harm"], cause["harm"])
        terminal.say("%5d" % cause["dives"], "bold red" if cause["avoidable"] else "bold",
                     "%s: %s" % (harm, cause["sentence"]))
        terminal.out.print(Text("       %s" % cause["command"]), soft_wrap=True)
    if len(told["causes"]) > SHOWN_CAUSES:
        terminal.out.print(Text("%d more kinds of harm stand on the page." % (len(told["causes"]) - SHOWN_CAUSES)))
