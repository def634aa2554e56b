"""`tumblehome explore`: every course of a short dive with at most so many surprises, on the real mission core."""

import json
import os
import sys
from collections.abc import Callable, Iterator
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
from seatrial.scenario import in_shell
from tumblehome import options, terminal, writing
from tumblehome.rehearsal import read_plan

LAW_BROKEN = 1
VOYAGES_MAX = 10_000_000
SHOWN_EVERY = 50  # situations between two looks of the progress line


def explore_command(
    plan: options.PlanArgument = None,
    bound: Annotated[int, options.whole(
        "--bound", 0, BOUND_MAX, "At most so many surprises in one dive; each more takes some forty times as long.")
    ] = BOUND,
    voyages: Annotated[int | None, options.whole(
        "--voyages", 1, VOYAGES_MAX, "So many voyages at random, and not every course: for bounds of 2 and more.")
    ] = None,
    seed: Annotated[int, options.seed("Where chance begins, with --voyages.")] = 1,
    out: Annotated[Path | None, options.out(
        "Folder for explore.json and a file for each broken law; a fresh one when left out.")] = None,
    as_json: Annotated[bool, options.as_json("explore.json", "the sentences")] = False,
) -> None:
    """Explore the mission code: every situation it can come into, every law checked in each.

    The code itself is run, not a model of it, through a dive with short times and the plan's choices. Faults, resets
    and people may come at any moment, up to the bound. A law that breaks is written as the shortest way there, and
    `python -m seatrial.explore --replay FILE` walks it again. Exit status 0: no law broken. 1: one is. 2: bad input.
    """
    given = short_orders(read_plan(plan))
    writing.look_at(out)
    with _progress() as tell:
        if voyages:
            found = wander(given, bound, voyages, seed=seed,
                           progress=lambda over: tell("%d of %d voyages" % (over, voyages)))
        else:
            found = explore(given, bound, progress=_situations(tell))
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
    """The command that explores the same again, as a shell takes it."""
    words = ["tumblehome", "explore"]
    if plan:
        words.append(os.path.join(".", plan) if str(plan).startswith("-") else str(plan))
    chance = ["--voyages", str(voyages), "--seed", str(seed)] if voyages else []
    return in_shell([*words, "--bound", str(bound), *chance])


@contextmanager
def _progress() -> Iterator:
    """Yields what hears how far it is, and more that only a terminal shows."""
    columns = (SpinnerColumn(), TextColumn("{task.fields[said]}"))
    with Progress(*columns, console=terminal.err, transient=True, disable=not sys.stderr.isatty()) as line:
        task = line.add_task("explore", total=None, said="exploring")
        said = "nothing"

        def tell(words: str, more: str = "") -> None:
            nonlocal said
            said = words
            line.update(task, said=words + more)

        try:
            yield tell
        except KeyboardInterrupt:
            terminal.so_far = "%s explored, the rest not; nothing was written" % said
            raise


def _situations(tell: Callable[..., None]) -> Callable[[int, int, float, int], None]:
    """What the search of every course calls."""
    shown = 0

    def count(states: int, surprises: int, seconds: float, waiting: int) -> None:
        nonlocal shown
        if states - shown >= SHOWN_EVERY:
            shown = states
            tell("%d situations with up to %d surprises" % (states, surprises), ", %.0f a second, %d waiting" % (
                states / max(seconds, 0.001), waiting))
    return count


def _show(found: Exploration, folder: Path, command: str) -> None:
    for sentence in sentences(found):
        broken = sentence.startswith("LAW")
        terminal.out.print(Text(sentence, style="bold red" if broken else ""), soft_wrap=True)
    terminal.out.print(Text("files   %s" % folder), soft_wrap=True)
    terminal.out.print(Text("again   %s" % command), soft_wrap=True)
