"""The README as its tests read it: its commands, what it shows of their output, and a way to do each as a person does.

No tests.
"""

import os
import re
import shlex
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import typer

from tumblehome.cli import app

from .keyboard import Keyboard

ROOT = Path(__file__).parents[2]
TEXT = (ROOT / "README.md").read_text(encoding="utf-8")
FIRST_HOUR, AT_THE_BENCH = "The first hour", "On the bench and on deck"
PORT = "socket://127.0.0.1:4330"
PRACTICE = "tumblehome bench practice --tcp 4330"
LEFT_OUT = "..."
PATIENCE_S = 600.0
# With more patience than the tool has: a machine that is busy with other tests is no controller that is gone.
TOOL = [sys.executable, "-c", "from tumblehome.bench import link; link.SILENT_S = 30.0; from tumblehome.cli import main;"
        " main()"]


def section(title: str) -> str:
    return TEXT.split("\n## %s\n" % title)[1].split("\n## ")[0]


def blocks(language: str, text: str = TEXT) -> list[list[str]]:
    """The lines of each block of this language."""
    return [block.splitlines() for block in re.findall(r"(?ms)^```%s\n(.*?)^```$" % language, text)]


def commands(text: str = TEXT) -> list[str]:
    """Every line that a person copies, without the remark behind it."""
    return [line.partition("  #")[0].strip() for block in blocks("sh", text) for line in block]


def of_the_tool(text: str = TEXT) -> list[str]:
    return [line for line in commands(text) if line.startswith("tumblehome ")]


def shown() -> dict[str, list[str]]:
    """What the README shows of a command's output, by the command."""
    return {block[0][2:]: block[1:] for block in blocks("text") if block[0].startswith("$ ")}


def parse(command: str) -> dict[str, object]:
    """What the tool's own parser makes of a command, down to the options of its last word. Raises as the parser does."""
    return _parse(typer.main.get_command(app), "tumblehome", shlex.split(command)[1:])


def _parse(command, name: str, words: list[str]) -> dict[str, object]:
    context = command.make_context(name, list(words))
    if not hasattr(command, "resolve_command"):
        return context.params
    within, inner, rest = command.resolve_command(context, words)
    return _parse(inner, within, rest)


def plainly(line: str, url: str) -> str:
    """A line without its numbers, its spaces and its port, which are others every time."""
    return re.sub(r"\s+", " ", re.sub(r"\d[\d.:]*", "N", line.replace(url, PORT).replace(PORT, "PORT"))).strip()


def is_shown(lines: list[str], said: str, url: str) -> bool:
    """Whether these lines were printed in this order; `...` stands for any."""
    printed = iter([plainly(line, url) for line in said.splitlines()])
    return all(plainly(line, url) in printed for line in lines if line != LEFT_OUT)


@contextmanager
def practising(folder: Path) -> Iterator[str]:
    """The README's practice board, on a port that is free, until the end; where it is."""
    words = shlex.split(PRACTICE.replace("4330", "0"))[1:]
    with subprocess.Popen([*TOOL, *words], cwd=folder, stdout=subprocess.PIPE, encoding="utf-8") as process:
        try:
            yield process.stdout.readline().split()[1]
        finally:
            process.send_signal(signal.SIGINT)
            assert process.wait(PATIENCE_S) == 0


def done(words: list[str], folder: Path) -> tuple[int, str]:
    """Exit status and output of a command, as a person does it who says yes and watches for a moment."""
    if words[0] == "deck":
        with Keyboard(folder, *words) as person:
            person.say_yes()
            return person.ended(), person.screen
    with subprocess.Popen([*TOOL, *words], cwd=folder, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
                          stderr=subprocess.PIPE, encoding="utf-8", env={**os.environ, "COLUMNS": "200"}) as process:
        first = process.stdout.readline()
        if words[1] == "watch":
            process.send_signal(signal.SIGINT)
        rest, complaint = process.communicate(timeout=PATIENCE_S)
        return process.returncode, first + rest + complaint

