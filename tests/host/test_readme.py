"""The README is true: its commands do what it says, what it shows is what they print, its pictures are there.

The section of the first hour has a test of its own. A command that takes a board, or more than a moment, is parsed by the
tool's own parser; one that would take long is done on less, by the same options.
"""

import os
import re
import shlex
import shutil
import struct
import sys
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from seatrial.odds.rates import BUILT_IN
from seatrial.plan.sample import sample_text
from tumblehome.readme_pictures import PICTURES

from .find.test_command import gpx, report_log, wind_rows
from .readme_commands import (
    AT_THE_BENCH,
    FIRST_HOUR,
    LEFT_OUT,
    PORT,
    PRACTICE,
    ROOT,
    TEXT,
    blocks,
    done,
    is_shown,
    of_the_tool,
    parse,
    practising,
    section,
    shown,
)

on_a_practice_board = pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminals here")
MINUTES = "takes minutes, and has tests of its own"
NOT_DONE = {  # the beginnings of commands that are parsed only, and why
    "tumblehome bench flash": "takes a board", "tumblehome rehearse --body /dev/": "takes a board",
    "tumblehome find --listen": "takes a receiver", "tumblehome rehearse --body micropython ": MINUTES,
    "tumblehome budgets ": MINUTES,
}
ON_LESS = {  # words of a command, and what stands instead so that it takes seconds
    "sweep": "sweep --only deep-mud", "sweep --pairs": "sweep --pairs --only deep-mud", "--minutes 10": "--minutes 0.05",
    "--bound 1 ": "--bound 0 ", "--voyages 2000": "--voyages 5", "odds": "odds --dives 100",
}
SPLASH = datetime.fromisoformat("2027-05-18T06:30Z")
PNG = b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR"  # the first bytes of every PNG file: W3C, Portable Network Graphics, 5.2 and 11.2.1
PICTURE_BYTES_MAX = 150_000


def on_less(command: str) -> str:
    for words in sorted(ON_LESS, key=len, reverse=True):
        if " %s " % words.strip() in command + " ":
            return (command + " ").replace(" %s " % words.strip(), " %s " % ON_LESS[words].strip()).strip()
    return command


def is_only_parsed(command: str) -> bool:
    return any((command + " ").startswith(words) for words in NOT_DONE)


def ashore() -> list[str]:
    """The commands that need no controller."""
    hour = of_the_tool(section(FIRST_HOUR))
    return [line for line in of_the_tool() if line not in hour and PORT not in line and not is_only_parsed(line)]


def with_a_board() -> list[str]:
    hour = of_the_tool(section(FIRST_HOUR))
    return [line for line in of_the_tool() if line not in hour and PORT in line]


@pytest.fixture
def at_sea(run, tmp_path):
    """A folder with the files that the README's commands name, as a person has them after a dive."""
    (tmp_path / "my-dive.toml").write_text(sample_text(), encoding="utf-8")
    (tmp_path / "other.toml").write_text(sample_text(), encoding="utf-8")
    shutil.copy(BUILT_IN, tmp_path / "my-rates.toml")
    gpx(tmp_path / "boat.gpx", [(46.1 + minute / 6000, -28.4, SPLASH + timedelta(hours=6, minutes=minute))
                                for minute in range(60)])
    report_log(tmp_path / "reports.log", (SPLASH + timedelta(hours=5, minutes=13), {}))
    wind_rows(tmp_path / "forecast.csv", 72)
    (tmp_path / "seen.csv").write_text("time,what\n00:10:00,a crab\n", encoding="utf-8")
    for folder in ("my-dive", "dives-of-this-lander/one", "dives-of-this-lander/two"):
        assert run("rehearse", "my-dive.toml", "--seed", len(folder), "--out", folder).status == 0
    return tmp_path


# --- its commands -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("command", of_the_tool())
def test_every_command_is_one_that_the_tool_takes_to_its_last_option(command):
    assert [refusal_of(words) for words in (command, on_less(command))] == ["", ""]


def refusal_of(command: str) -> str:
    try:
        parse(command)
    except Exception as error:
        return str(error) or type(error).__name__
    return ""


def test_a_command_with_a_word_that_its_last_part_does_not_know_is_refused():
    with pytest.raises(Exception, match="--bord"):
        parse("tumblehome bench flash /dev/ttyUSB0 --bord esp32")


def test_what_is_not_done_or_done_on_less_stands_in_the_readme():
    for words in (*NOT_DONE, *ON_LESS):
        assert any(words.strip() in line for line in of_the_tool()), words


@pytest.mark.long
def test_every_command_that_needs_no_controller_does_what_it_says(run, at_sea):
    for command in ashore():
        said = run(*shlex.split(on_less(command))[1:])
        assert said.status == 0, (command, said)


@on_a_practice_board
@pytest.mark.usefixtures("micropython")
@pytest.mark.long
def test_every_command_of_the_bench_does_what_it_says(tmp_path):
    assert of_the_tool(section(AT_THE_BENCH))
    with practising(tmp_path) as url:
        for command in with_a_board():
            status, said = done(shlex.split(command.replace(PORT, url))[1:], tmp_path)
            assert status == 0, (command, said)
            assert is_shown(shown().get(command, []), said, url), (command, said)


# --- what it shows ------------------------------------------------------------------------------------------------------


def test_what_the_readme_shows_is_the_output_of_commands_that_it_has():
    assert shown() and set(shown()) <= set(of_the_tool())
    assert PRACTICE in of_the_tool(section(FIRST_HOUR))


def test_a_boat_that_leaves_too_early_is_told_in_the_words_of_the_readme(run, tmp_path):
    (said_of_a_plan,) = [block for block in blocks("text") if not block[0].startswith("$ ")]
    early = re.sub(r"(?m)^must_leave_utc = .*$", "must_leave_utc = 2027-05-18T11:48:00Z", sample_text())
    assert early != sample_text()
    (tmp_path / "early.toml").write_text(early, encoding="utf-8")
    said = run("plan", "early.toml")
    assert said.status == 1
    assert " ".join(" ".join(said_of_a_plan).split()) in " ".join(said.out.split())


def test_an_output_that_is_another_one_is_seen():
    lines = ["added    365 mA", LEFT_OUT, "lowest   16.62 V"]
    assert is_shown(lines, "AS PLANNED  x\nadded  41 mA\nplanned\nlowest 12.00 V\n", PORT)
    assert not is_shown(lines, "lowest 12.00 V\nadded  41 mA\n", PORT)
    assert not is_shown(lines, "added  41 A\nlowest 12.00 V\n", PORT)


# --- its pictures -------------------------------------------------------------------------------------------------------


def test_every_picture_is_there_and_says_in_words_what_is_seen():
    pictures = dict(reversed(found) for found in re.findall(r"!\[([^\]]+)\]\(\.pictures/([^)]+)\)", TEXT))
    assert set(pictures) == set(PICTURES) == set(os.listdir(ROOT / ".pictures"))
    for name, words in pictures.items():
        data = Path(ROOT / ".pictures" / name).read_bytes()
        wide, high = struct.unpack(">II", data[len(PNG):len(PNG) + 8])
        assert data.startswith(PNG) and 600 <= wide <= 1300 and 600 <= high <= 1600
        assert len(data) <= PICTURE_BYTES_MAX
        assert len(words.split()) > 15 and "`tumblehome %s`" % PICTURES[name].command in TEXT
