"""`tumblehome odds`: how likely the lander is lost, and each way home, given how often its parts fail."""

import json
import os
from math import floor, log10
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Annotated, Any

import typer
from rich.table import Table
from rich.text import Text

from lander import VERSION
from seatrial.campaign.choosing import CampaignError, Planned, list_hash
from seatrial.campaign.flying import Row
from seatrial.campaign.results import FORMAT, Results
from seatrial.campaign.running import run
from seatrial.odds.drawing import Sample, draw
from seatrial.odds.rates import BUILT_IN, Rates, RatesError, events, fitted, hours_of
from seatrial.odds.rates import read as read_rates
from seatrial.odds.reckoning import LOST, Flown, fitted_with, path_of
from seatrial.odds.summary import FITTED, summary
from seatrial.plan import Plan
from seatrial.scenario import in_shell, plan_hash
from tumblehome import options, rehearsal, sweeping, terminal, writing

DIVES, DIVES_MIN, DIVES_MAX = 1000, 100, 10_000_000
WRONG = 1
BASE, DATA, WITH_MORE = "odds.sqlite", "odds.json", "odds-fitted-%d.sqlite"
TEMPLATE = "rates-built-in.toml"  # for the person to copy and change
PATH_WORDS = {"passive": "corroding link"}
SHOWN_CAUSES, SHOWN_IMPROVEMENTS = 8, 6
LEAST_GONE = 0.05  # of the loss; what changes less is not told from chance
RARE = 1e-6  # below this a chance is told as one in so many


def odds(
    plan: options.PlanArgument = None,
    rates: Annotated[Path | None, typer.Option(
        metavar=options.FILE, help="Your rates (TOML): entries of the same name stand instead of the built-in ones,"
                                   " which are guesses.")] = None,
    dives: Annotated[int, options.whole(
        "--dives", DIVES_MIN, DIVES_MAX, "Dives to fly: four times as many halve the bounds.")] = DIVES,
    seed: Annotated[int, options.seed("The same seed draws the same dives.")] = 1,
    cores: Annotated[int | None, options.cores()] = None,
    cluster: Annotated[str | None, options.cluster()] = None,
    out: Annotated[Path | None, options.out(
        "Folder for odds.json, odds.sqlite and rates-built-in.toml, a table to copy and change; nothing is written"
             " when left out. The same command with the same folder goes on where it was interrupted.")] = None,
    as_json: Annotated[bool, options.as_json("odds.json", "the tables")] = False,
) -> None:
    """Reckon how likely the lander is lost, each way home, and what would help most, from how often parts fail.

    Dives with one, two and more failures are drawn and flown; what is rare is flown often and weighed by its chance.
    Exit status 0: reckoned. 1: a dive was lost though a release was possible, or could not be simulated. 2: bad input.
    130: stopped by Ctrl-C; what was flown into --out is kept.
    """
    dive_plan = rehearsal.read_plan(plan)
    workers = options.workers(cores, cluster)
    writing.look_at(out)
    try:
        table = fitted(read_rates(rates), dive_plan)
        told = _in_folder(dive_plan, plan, table, dives, seed, workers, out,
                          command_of(plan, rates, dives, seed, cluster, out))
    except RatesError as error:
        terminal.refuse(error.sentences)
    except CampaignError as error:
        terminal.refuse([str(error)])
    if as_json:
        print(json.dumps(told, indent=1))
    else:
        show(told)
    raise typer.Exit(WRONG if told["failed"] or told["possible"]["dives"] else 0)


def command_of(plan: Path | None, rates: Path | None, dives: int, seed: int, cluster: str | None = None,
               out: Path | None = None) -> str:
    """The command that reckons this again, quoted for the shell."""
    words = ["tumblehome", "odds"]
    if plan is not None:
        words.append(os.path.join(".", plan) if str(plan).startswith("-") else str(plan))
    words += ["--rates", str(rates)] if rates is not None else []
    words += ["--dives", str(dives), "--seed", str(seed)] + (["--cluster", cluster] if cluster else [])
    words += ["--out", str(out)] if out is not None else []
    return in_shell(words)


# --- flying --------------------------------------------------------------------------------------------------------


def _in_folder(plan: Plan, path: Path | None, table: Rates, dives: int, seed: int, workers: options.Workers,
               out: Path | None, command: str) -> dict[str, Any]:
    """Draw, fly and reckon; the rows are kept in the person's folder, or in one that is gone afterwards."""
    hours = hours_of(plan)
    happening = events(table, hours)
    if not any(event.chance for event in happening):
        raise RatesError(["the table of rates has no part of this lander that can fail: give one a rate above 0"])
    sample = draw(happening, hours, dives, seed)
    if out is None:
        with TemporaryDirectory() as passing:
            return _reckoned(plan, path, table, hours, sample, dives, seed, workers, Path(passing), command)
    folder = writing.write(out, {}, "odds")
    told = _reckoned(plan, path, table, hours, sample, dives, seed, workers, folder, command)
    writing.write(folder, {DATA: json.dumps(told, indent=1).encode(), TEMPLATE: BUILT_IN.read_bytes()}, "odds")
    return told


def _reckoned(plan: Plan, path: Path | None, table: Rates, hours: float, sample: Sample, dives: int, seed: int,
              workers: options.Workers, folder: Path, command: str) -> dict[str, Any]:
    try:
        flown = Flown(sample, tuple(_flown(plan, sample.planned(), folder / BASE, workers, "flying")))
        lost = [planned for planned, row in zip(sample.planned(), flown.rows, strict=True) if path_of(row) == LOST]
        more = {}
        for number, (needs, words, better) in enumerate(fitted_with(plan), 1):
            more[needs, words] = _flown(better, lost, folder / (WITH_MORE % number), workers,
                                        "flying with more fitted")
    except KeyboardInterrupt:
        if "--out" in command:
            terminal.so_far = "what was flown is kept; go on with: %s" % command
        raise
    return summary(plan, path, table, hours, flown, dives, seed, command, more)


def _flown(plan: Plan, planned: list[Planned], base: Path, workers: options.Workers, words: str) -> list[Row]:
    """The rows of these dives in their order, flown unless they are there already. Raises CampaignError."""
    wanted = {"format": str(FORMAT), "version": VERSION, "plan_hash": plan_hash(plan), "told": "odds", "seed": "",
              "list_hash": list_hash(planned)}
    with Results(base, wanted) as results:
        with sweeping.progress_bar(words, len(planned), len(results.done())) as progress:
            run(plan, planned, results, *workers, progress)
        return list(results.rows())


# --- telling -------------------------------------------------------------------------------------------------------


def show(told: dict[str, Any]) -> None:
    """The odds in the terminal: the ways home, how they were counted, what loses it, what would help."""
    out = terminal.out
    out.print(Text("tumblehome %s   seed %d   %d dives   %s" % (
        told["version"], told["seed"], told["dives"], terminal.printable(told["plan_name"]))))
    out.print(Text(_loss_sentence(told), style="bold"))
    out.print(_paths(told))
    out.print(_together(told))
    _show_causes(told)
    _show_improvements(told)
    for one in told["failed"]:
        out.print(Text("A dive could not be simulated and counts as lost: %s\n       %s" % (
            one["error"], one["command"]), style="bold red"), soft_wrap=True)
    if told["possible"]["dives"]:
        out.print(Text("In %d lost dives a release was possible: that goes against the laws; `tumblehome sweep`"
                       " looks into it." % told["possible"]["dives"], style="bold red"), soft_wrap=True)
    out.print(Text(_nothing_failed(told)))
    for caution in told["cautions"][:4]:
        out.print(Text(caution))
    out.print(Text("again   %s" % told["command"]), soft_wrap=True)


def chance_text(chance: float) -> str:
    """A chance for a person: in percent, with so many digits that it differs from 0 and from 100."""
    if chance <= 0.0:
        return "none seen"
    if chance < RARE:
        return "1 in %s" % _grouped(1.0 / chance)
    if chance >= 1.0:
        return "100 %"
    percent = 100.0 * chance
    decimals = max(1, 1 - floor(log10(min(percent, 100.0 - percent))))
    return "%.*f %%" % (min(decimals, 6), percent)


def _grouped(number: float) -> str:
    """Two digits that count, and thousands apart."""
    return "{:,.0f}".format(float("%.2g" % number)).replace(",", " ")


def _bounds_text(one: dict[str, Any]) -> str:
    low = chance_text(one["lowest"]) if one["lowest"] > 0.0 else "0"
    return "%s to %s" % (low, chance_text(one["highest"]))


def _loss_sentence(told: dict[str, Any]) -> str:
    loss, confidence = told["loss"], "%g %%" % (100.0 * told["confidence"])
    if not loss["dives"]:
        return "None of the %d dives was lost: with %s confidence the chance of loss is below %s a dive." % (
            told["dives"], confidence, chance_text(loss["highest"]))
    return "Lost: %s of dives, about 1 in %s; with %s confidence %s." % (
        chance_text(loss["value"]), _grouped(1.0 / loss["value"]), confidence, _bounds_text(loss))


def _nothing_failed(told: dict[str, Any]) -> str:
    quiet = told["nothing_failed"]
    if quiet["lost"]:
        return "With nothing failed %d of %d dives were lost: mend the plan first." % (quiet["lost"], quiet["dives"])
    return ("With nothing failed all %d dives came home; they differ in noise alone and are taken for all such dives"
            " (as a mere count they would leave up to %s lost)." % (quiet["dives"],
                                                                   chance_text(quiet["highest_share_lost"])))


def _table(*headings: str) -> Table:
    table = Table(box=None, pad_edge=False, header_style="bold")
    table.add_column(headings[0])
    for heading in headings[1:]:
        table.add_column(heading, justify="right")
    return table


def _paths(told: dict[str, Any]) -> Table:
    table = _table("way home", "of dives", "%g %% confidence" % (100.0 * told["confidence"]), "dives seen")
    for one in told["paths"]:
        bad = one["path"] == LOST and one["dives"]
        words = PATH_WORDS.get(one["path"], one["path"])
        table.add_row(Text(words, style="bold red" if bad else ""), chance_text(one["value"]), _bounds_text(one),
                      str(one["dives"]))
    return table


def _together(told: dict[str, Any]) -> Table:
    table = _table("failures in a dive", "of dives", "flown", "lost")
    for one in told["together"]:
        table.add_row(str(one["failures"]) if one["failures"] else "none", chance_text(one["chance"]),
                      str(one["dives"]), str(one["lost"]))
    if told["rest_chance"] > 0.0:
        table.add_row("more", chance_text(told["rest_chance"]), "0", "counted in the upper bound")
    return table


def _show_causes(told: dict[str, Any]) -> None:
    """What loses it, in two lines each, the second of which can be copied into a shell."""
    if not told["causes"]:
        return
    terminal.out.print(Text("%-16s lost by" % "of dives", style="bold"))
    for cause in told["causes"][:SHOWN_CAUSES]:
        names = " + ".join(map(terminal.printable, cause["failures"])) or "nothing failed"
        terminal.out.print(Text("%-16s %s" % (chance_text(cause["chance"]), names)), soft_wrap=True)
        terminal.out.print(Text("%-16s %s" % ("", cause["command"])), soft_wrap=True)
    if len(told["causes"]) > SHOWN_CAUSES:
        terminal.out.print(Text("%d more, in odds.json (--out or --json)" % (len(told["causes"]) - SHOWN_CAUSES)))


def _show_improvements(told: dict[str, Any]) -> None:
    worth = [one for one in told["improvements"] if one["part_gone"] >= LEAST_GONE][:SHOWN_IMPROVEMENTS]
    if not worth:
        return
    table = _table("what would help most", "loss then", "less by", "lost dives that show it")
    for one in worth:
        what = "%s: %s" % (one["name"], one["what"]) if one["what"] != FITTED else "fit %s" % one["name"]
        table.add_row(Text(terminal.printable(what)), chance_text(one["loss"]), "%.0f %%" % (100.0 * one["part_gone"]),
                      str(one["dives"]))
    terminal.out.print(table)
