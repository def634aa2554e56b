"""The options that several commands have: one name, one form and one order of words for the same thing everywhere.

Commands take them in one order too: arguments, what is their own, then --seed, --cores, --cluster, --port, --out,
--json.
"""

from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Annotated, Any, NamedTuple

import typer

from seatrial.scenario import SEED_MAX
from tumblehome import terminal

FILE, FOLDER, UTC, POSITION, URL, NAME = "FILE", "FOLDER", "UTC", "POSITION", "URL", "NAME"  # forms of a value
CORES_MAX = 1024
LONGEST = 40  # letters of a value that are shown

PlanArgument = Annotated[Path | None, typer.Argument(help="Plan file (TOML); the built-in sample when left out.")]


def whole_number(option: str, given: str | int, lowest: int, highest: int) -> int:
    """The number that was given to an option. Ends with status 2 where it is none, or out of its range."""
    text = str(given)
    if not (text.isascii() and text.isdigit() and len(text) < 20 and lowest <= int(text) <= highest):
        terminal.refuse(["%s is %s; allowed is a whole number from %d to %d: choose one in this range"
                         % (option, terminal.printable(text[:LONGEST]), lowest, highest)])
    return int(text)


def whole(option: str, lowest: int, highest: int, words: str) -> Any:
    """An option that takes a whole number in a range, which its help shows."""
    return typer.Option(option, metavar="%d..%d" % (lowest, highest), help=words,
                        parser=lambda given: whole_number(option, given, lowest, highest))


def seed(words: str) -> Any:
    """Where chance begins."""
    return whole("--seed", 0, SEED_MAX, words)


def cores() -> Any:
    """So many processes at once."""
    return whole("--cores", 1, CORES_MAX, "Processes to fly with; all cores when left out.")


def cluster() -> Any:
    """The machines of others."""
    return typer.Option("--cluster", metavar="ADDRESS",
                        help="Fly on the workers of this dask scheduler, such as tcp://192.0.2.7:8786.")


class Workers(NamedTuple):
    """Who flies: so many processes (None: one a core), or the workers of the cluster at this address."""

    cores: int | None
    address: str | None


def workers(cores: int | None, cluster: str | None) -> Workers:
    """Who was asked for. Ends with status 2 where both were."""
    if cluster is not None and cores is not None:
        terminal.refuse(["--cores and --cluster were both given: the cluster has its own workers; leave one out"])
    return Workers(cores, cluster)


def out(words: str) -> Any:
    """The folder for what is written."""
    return typer.Option("--out", metavar=FOLDER, help=words)


def as_json(what: str, instead: str) -> Any:
    """The same for a machine."""
    return typer.Option("--json", help="Print %s instead of %s." % (what, instead))


def one_of(names: Callable[[], Iterable[str]]) -> Callable[[str], list[str]]:
    """For the completion of a value by the shell: those of these names that begin with what was typed."""
    def complete(incomplete: str) -> list[str]:
        return [name for name in names() if name.startswith(incomplete)]
    return complete
