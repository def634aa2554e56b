"""`tumblehome explore`: every course of a short dive with at most so many surprises, on the real mission core."""

import json
import os
import shlex
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated

import typer
from rich.progress import Progress, SpinnerColumn, TextColumn
from rich.text import Text

from lander import VERSION, table
from seatrial.exploration.search import Exploration
from seatrial.exploration.voyage import short_orders
from seatrial.explore import BOUND, BOUND_MAX, explore, files_of, sentences, wander
from tumblehome import terminal, writing
from tumblehome.rehearsal import read_plan

LAW_BROKEN = 1
SHOWN_EVERY = 50  # situations between two looks of the progress line


def explore_command(
    plan: Annotated[Path | None, typer.Argument(help="Plan file (TOML); the built-in sample when left out.")] = None,
    bound: Annotated[int, typer.Option(
        min=0, max=BOUND_MAX, help="At most so many surprises in one dive; each more takes some forty times as long.")
    ] = BOUND,
    voyages: Annotated[int | None, typer.Option(
        min=1, help="So many voyages at random, and not every course: for bounds of 2 and more.")
    ] = None,
    seed: Annotated[int, typer.Option(min=0, help="Where chance begins, with --voyages.")] = 1,
    out: Annotated[Path | None, typer.Option(
        help="Folder for explore.json and a file for each broken law; a fresh one when left out.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print explore.json instead of the sentences.")] = False,
) -> None:
    """Explore the mission code: every situation it can come into, every law checked in each.

    The code itself is run, not a model of it, through a dive with short times and the plan's choices. Faults, resets
    and people may come at any moment, up to the bound. A law that breaks is written as the shortest way there, and
    `python -m seatrial.explore --replay FILE` walks it again. Exit status 0: no law broken. 1: one is. 2: bad input.
    """
    given = short_orders(read_plan(plan))
    writing.look_at(out)
    if voyages:
        found = wander(given, bound, voyages, seed=seed)
    else:
        with _progress() as progress:
            found = explore(given, bound, progress=progress)
    told = as_dict(found, replay_command(plan, bound, voyages, seed))
    contents = {"explore.json": json.dumps(told, indent=1).encode()}
    contents.update({name: text.encode() for name, text in files_of(found, given).items()})
    folder = writing.write(out, contents, "explore")
    if as_json:
        print(json.dumps(told, indent=1))
    else:
        _show(found, folder, told["command"])
    raise typer.Exit(LAW_BROKEN if found.violations else 0)


def as_dict(found: Exploration, command: str) -> dict:
    """What explore.json holds. Times are seconds of this machine."""
    return {
        "version": VERSION, "command": command, "bound": found.bound, "exhausted": found.exhausted,
        "voyages": found.voyages,
        "states": found.states, "states_by_surprises": found.layers, "acts": found.transitions, "steps": found.steps,
        "depth": found.depth, "seconds": round(found.seconds, 1),
        "mission_states": [table.STATES[state] for state in sorted(found.mission_states)],
        "violations": [{"law": one.law, "sentence": one.sentence, "surprises": one.surprises, "acts": one.acts}
                       for one in found.violations],
    }


def replay_command(plan: Path | None, bound: int, voyages: int | None = None, seed: int = 1) -> str:
    words = ["tumblehome", "explore"]
    if plan:
        words.append(os.path.join(".", plan) if str(plan).startswith("-") else str(plan))
    chance = ["--voyages", str(voyages), "--seed", str(seed)] if voyages else []
    return shlex.join([*words, "--bound", str(bound), *chance])


@contextmanager
def _progress() -> Iterator:
    """Yields what the search calls: situations and rate, on a terminal only."""
    columns = (SpinnerColumn(), TextColumn("{task.fields[said]}"))
    with Progress(*columns, console=terminal.err, transient=True, disable=not sys.stderr.isatty()) as line:
        task = line.add_task("explore", total=None, said="exploring")
        shown = 0

        def tell(states: int, surprises: int, seconds: float, waiting: int) -> None:
            nonlocal shown
            if states - shown >= SHOWN_EVERY:
                shown = states
                line.update(task, said="%d situations with up to %d surprises, %.0f a second, %d waiting" % (
                    states, surprises, states / max(seconds, 0.001), waiting))

        yield tell


def _show(found: Exploration, folder: Path, command: str) -> None:
    for sentence in sentences(found):
        broken = sentence.startswith("LAW")
        terminal.out.print(Text(sentence, style="bold red" if broken else ""), soft_wrap=True)
    terminal.out.print(Text("files   %s" % folder), soft_wrap=True)
    terminal.out.print(Text("again   %s" % command), soft_wrap=True)
