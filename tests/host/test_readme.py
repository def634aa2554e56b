"""The commands of the README's section on the bench and on deck, as they stand there, against one practice board."""

import os
import re
import shlex
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from seatrial.plan.sample import sample_text

from .keyboard import Keyboard

pytestmark = [pytest.mark.usefixtures("micropython"),
              pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminals here")]
ROOT = Path(__file__).parents[2]
SECTION = "## On the bench and on deck\n"
PORT = "socket://127.0.0.1:4330"
PRACTICE = "tumblehome bench practice --tcp 4330"
LEFT_OUT = "..."
SLOW = ("bench run", "bench dive", "deck")  # a minute each, at the speed of the sea's own clock
PATIENCE_S = 600.0
# With more patience than the tool has: a machine that is busy with other tests is no controller that is gone.
TOOL = [sys.executable, "-c", "from tumblehome.bench import link; link.SILENT_S = 30.0; from tumblehome.cli import main;"
        " main()"]


def section() -> str:
    return (ROOT / "README.md").read_text(encoding="utf-8").split(SECTION)[1].split("\n## ")[0]


def fenced(language: str) -> list[str]:
    """The lines of all blocks of this language."""
    return [line for block in re.findall(r"(?ms)^```%s\n(.*?)^```$" % language, section()) for line in block.splitlines()]


def commands() -> list[str]:
    return [line.partition("  #")[0].strip() for line in fenced("sh")]


def shown() -> dict[str, list[str]]:
    """What the README shows of a command's output, by the command."""
    told: dict[str, list[str]] = {}
    for line in fenced("text"):
        if line.startswith("$ "):
            told[line[2:]] = []
        else:
            told[list(told)[-1]].append(line)
    return told


def plainly(line: str, url: str) -> str:
    """A line without its numbers, its spaces and its port, which are others every time."""
    return re.sub(r"\s+", " ", re.sub(r"\d[\d.:]*", "N", line.replace(url, PORT).replace(PORT, "PORT"))).strip()


@pytest.fixture
def practised(tmp_path) -> Iterator[str]:
    """The README's practice board, on a port that is free; where it is."""
    (tmp_path / "my-dive.toml").write_text(sample_text(), encoding="utf-8")
    words = shlex.split(PRACTICE.replace("4330", "0"))[1:]
    with subprocess.Popen([*TOOL, *words], cwd=tmp_path, stdout=subprocess.PIPE, encoding="utf-8") as process:
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


def is_shown(lines: list[str], said: str, url: str) -> bool:
    """Whether these lines were printed in this order; `...` stands for any."""
    printed = iter([plainly(line, url) for line in said.splitlines()])
    return all(plainly(line, url) in printed for line in lines if line != LEFT_OUT)


@pytest.mark.parametrize("is_whole", [
    pytest.param(False, id="quick ones"), pytest.param(True, id="all", marks=pytest.mark.long)])
def test_every_command_of_the_bench_and_the_deck_does_what_it_says(is_whole, practised, tmp_path):
    assert commands()[0] == PRACTICE
    tried = 0
    for command in commands()[1:]:
        words = shlex.split(command.replace(PORT, practised))
        assert words[0] == "tumblehome" and practised in words
        if not is_whole and command.removeprefix("tumblehome ").startswith(SLOW):
            continue
        status, said = done(words[1:], tmp_path)
        assert status == 0, (command, said)
        assert is_shown(shown().get(command, []), said, practised), (command, said)
        tried += 1
    assert tried == len(commands()) - 1 if is_whole else tried > 0


def test_what_the_readme_shows_is_the_output_of_commands_that_it_has():
    assert shown() and set(shown()) <= set(commands())


def test_an_output_that_is_another_one_is_seen():
    lines = ["added    365 mA", LEFT_OUT, "lowest   16.62 V"]
    assert is_shown(lines, "output x\nadded  41 mA\nplanned\nlowest 12.00 V\n", PORT)
    assert not is_shown(lines, "lowest 12.00 V\nadded  41 mA\n", PORT)
    assert not is_shown(lines, "added  41 A\nlowest 12.00 V\n", PORT)
