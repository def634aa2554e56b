"""What every command has in common: a help that teaches with examples that run, and an end that tells what was done."""

import re
from collections.abc import Callable
from functools import wraps
from inspect import getdoc

import typer

from seatrial.complaints import complaint
from tumblehome import terminal

# By the words of a command. In this order they run in one folder that holds the sample as my-dive.toml, rates.toml as
# `odds` writes it, and the track leg.gpx; those with a board take whatever is at the port.
EXAMPLES: dict[str, tuple[str, ...]] = {
    "plan": ("plan --chapter supply", "plan my-dive.toml --card --out my-plan"),
    "rehearse": ("rehearse --fault jammed@record --seed 7", "rehearse my-dive.toml --out my-dive"),
    "sweep": ("sweep --only release", "sweep my-dive.toml --pairs --out my-sweep"),
    "fuzz": ("fuzz --examples 200", "fuzz my-dive.toml --minutes 10 --out found"),
    "explore": ("explore --out explored", "explore my-dive.toml --bound 3 --voyages 500 --seed 7"),
    "odds": ("odds --dives 400", "odds my-dive.toml --rates rates.toml --out my-odds"),
    "faults": ("faults release",),
    "table": ("table --diagram > table.mmd",),
    "budgets": ("budgets my-dive.toml --json > budgets.json",),
    "deck": ("deck my-dive.toml --splash 2027-05-18T06:30Z --out checked",),
    "find": ("find my-dive.toml --boat \"46 06.0 N 28 24.0 W\"", "find --not-seen leg.gpx --out search",
             "find --listen /dev/ttyUSB0 --log reports.jsonl"),
    "debrief": ("debrief my-dive", "debrief my-dive --lights-at 00:03:12.4 --out told"),
    "bench practice": ("bench practice --wrong leak-stuck",),
    "bench list": ("bench list --port socket://127.0.0.1:4330",),
    "bench status": ("bench status --port /dev/ttyACM0",),
    "bench watch": ("bench watch --seconds 60 --port COM5 > readings.txt",),
    "bench poke": ("bench poke lights --level 40 --plan my-dive.toml",),
    "bench clock": ("bench clock --set --port /dev/ttyACM0",),
    "bench load": ("bench load my-dive.toml --port /dev/ttyACM0",),
    "bench journal list": ("bench journal list --port /dev/ttyACM0", "bench journal list my-dive"),
    "bench journal pull": ("bench journal pull --port /dev/ttyACM0 --out my-dive",),
    "bench journal verify": ("bench journal verify my-dive",),
    "bench journal clear": ("bench journal clear my-dive --port /dev/ttyACM0",),
    "bench run": ("bench run --list", "bench run arm-and-disarm --port practice --junit out.xml"),
    "bench dive": ("bench dive --fault jammed@record --port /dev/ttyACM0",),
    "bench disarm": ("bench disarm --port /dev/ttyACM0",),
    "bench flash": ("bench flash --port /dev/ttyACM0", "bench flash --port COM5 --board pico --as second"),
}
ENDS = re.compile(r"\s+(?=Exit status 0)")
STOPPED = " 130: stopped by Ctrl-C."


def add(group: typer.Typer, words: str, function: Callable[..., None]) -> None:
    """Make this function the command of these words, such as `bench poke`."""
    group.command(words.split()[-1], help=help_of(function), epilog=examples_of(words))(well_ended(function))


def help_of(function: Callable[..., None]) -> str:
    """The docstring as the help shows it: what it is for, more of it, and the exit statuses, a paragraph each."""
    text = ENDS.sub("\n\n", getdoc(function) or "")
    text += "" if "Ctrl-C" in text.rpartition("Exit status")[2] else STOPPED
    return "\n\n".join(" ".join(paragraph.split()) for paragraph in text.split("\n\n"))


def examples_of(words: str) -> str:
    """The examples of a command as the end of its help."""
    return "\n\n".join("Example: tumblehome %s" % example for example in EXAMPLES[words])


def well_ended(function: Callable[..., None]) -> Callable[..., None]:
    """The function, which ends in one sentence where the keyboard stops it, and silently where nobody reads."""
    @wraps(function)
    def command(*given, **named) -> None:
        terminal.so_far = terminal.NOTHING
        try:
            function(*given, **named)
        except (KeyboardInterrupt, typer.Abort):  # at a question typer says it the other way
            terminal.stop(terminal.so_far)
        except OSError as error:
            if terminal.is_unread(error):
                terminal.leave_unread()
            if error.filename is None:
                raise
            terminal.refuse(["%s cannot be used (%s): name another" % (  # a name that no file can have, and the like
                error.filename, complaint(error))])
    return command
