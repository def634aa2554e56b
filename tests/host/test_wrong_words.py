"""Every option of every command is given what it cannot take: one plain sentence a fault, status 2, and nothing written.

No dive is flown and no board is spoken to: where the work would begin, the words count as accepted, which is as good.
What is thrown in: the customary troubles of files (absent, a folder, bytes of no text, empty, a name longer than any
file system takes, no text of the locale), of numbers (IEEE 754's NaN and infinities, signs, digits of other scripts,
more digits than any type holds), of moments (none, no zone, the ends of the calendar) and of ports.
"""

import os
import re
from pathlib import Path
from typing import Any

import pytest
import typer

from seatrial.plan.sample import sample_text
from tumblehome import budgets, chances, cli, exploring, fuzzing, planning, rehearsal, sweeping
from tumblehome.bench import diving, flash, link, listing, ports, practice
from tumblehome.bench import run as running
from tumblehome.find import command as finding
from tumblehome.find import listening

from .test_options import COMMANDS

WORK = [(rehearsal, "_dive"), (sweeping, "_flown"), (fuzzing, "_flown"), (exploring, "explore"), (exploring, "wander"),
        (chances, "_in_folder"), (budgets, "measure"), (finding, "work_out"), (practice, "PracticeBoard"),
        (diving, "Dive"), (flash, "flash"), (planning, "work_out"), (running, "PracticeBoard")]
# What else a command wants before it looks at the option.
BESIDE = {"bench load": ["plan.toml"], "bench poke": ["fan"], "bench journal verify": ["binary"],
          "bench journal clear": ["binary"], "bench run": ["arming-refused"], "bench flash": ["--port", "COM99"]}
WITH = {"--log": ["--listen", "socket://127.0.0.1:1"], "--boat-port": ["--listen", "socket://127.0.0.1:1"],
        "--video-ends": ["--video-offset", "1"], "--notes": ["--video-offset", "1"], "--lander": ["--heard", "binary"]}
FILES = ["missing", "binary", "folder", "x" * 300, "latin", "empty", "missing/below", "binary/below", "\udcff", "-", "nan",
         "a\tb\x1b[31m"]
FOLDERS = ["binary", "binary/below", "x" * 300, "locked/below"]
NUMBERS = ["nan", "inf", "x", "-1", "9" * 30, "-inf", "1e999", "0x10", "\u0663", "1e-400", "NaN%", "--"]
WORDS = ["\u00a7", "\x1b[31mred", "0001-01-01T00:00+14:00", "x" * 5000, "\udcff", "=", "a=b", "@", "-", "2027-13-45T99:99Z",
         "2027-05-18T12:00", "9999-12-31T23:59-12:00", "91 N 0 E", "nan N nan E"]
PORTS = ["/dev/nowhere", "socket://127.0.0.1:1", "nonsense://x", "COM99", "binary", "folder", "\udcff",
         "socket://127.0.0.1:99999", "rfc2217://127.0.0.1:1", "hwgrep://nothing"]
SHORT = 2  # of each list, in the everyday run
PORT_OPTIONS = {"--port", "--relay-port", "--listen", "--boat-port"}
OUTPUTS = {"--out", "--keep", "--junit", "--log"}


class Accepted(Exception):
    """The words were understood: the work would begin."""


@pytest.fixture
def here(tmp_path, monkeypatch) -> Path:
    """A folder with all that can be named wrongly, and no work."""
    def accept(*_given, **_named):
        raise Accepted
    for owner, name in WORK:
        monkeypatch.setattr(owner, name, accept)
    for owner in (ports, listing):
        monkeypatch.setattr(owner, "usb_ports", dict)
    monkeypatch.setattr(link, "OPEN_S", 0.0)
    monkeypatch.setattr(listening.Lines, "poll", accept)
    monkeypatch.chdir(tmp_path)
    (tmp_path / "plan.toml").write_text(sample_text(), encoding="utf-8")
    (tmp_path / "binary").write_bytes(bytes(range(256)))
    (tmp_path / "latin").write_bytes("name = 'B\u00e4r'".encode("latin-1"))
    (tmp_path / "empty").touch()
    (tmp_path / "folder").mkdir()
    (tmp_path / "locked").mkdir(mode=0o500)
    return tmp_path


def wrong_for(command: Any, param: Any) -> list[str]:
    """What this parameter cannot take."""
    names = set(param.opts)
    if names & PORT_OPTIONS or param.name == "where":
        return PORTS
    if names & OUTPUTS:
        return FOLDERS
    hint = str(command.callback.__annotations__[param.name])
    return FILES if "Path" in hint else NUMBERS if "int" in hint or "float" in hint else WORDS


def lines_for(name: str, count: int | None) -> list[list[str]]:
    """The command with one thing wrong, in every way."""
    command, found = COMMANDS[name], []
    for param in command.params:
        if param.name == "help" or getattr(param, "is_flag", False):
            continue
        for wrong in wrong_for(command, param)[:count]:
            if param.param_type_name == "argument":
                found.append([*name.split(), wrong])
                continue
            option = max(param.opts, key=len)
            beside = [] if option == "--port" and name == "bench flash" else BESIDE.get(name, [])
            found.append([*name.split(), *beside, option, wrong, *WITH.get(option, [])])
    return found


def contents(folder: Path) -> dict[str, int]:
    return {str(path): path.stat().st_size for path in folder.rglob("*")}


def check(words: list[str], folder: Path, capsys) -> None:
    before = contents(folder)
    try:
        cli.main(words)
    except Accepted:
        return
    except SystemExit as ended:
        status = int(ended.code or 0)
    said = capsys.readouterr()
    assert contents(folder) == before, words
    assert status in (0, 1, 2), words
    if status != 2:
        return
    assert said.out == "", words
    sentences = [line for line in said.err.splitlines() if not line.startswith("caution: ")]
    assert sentences, words
    for sentence in sentences:
        assert re.search(r"[:;?] |: \S", sentence), (words, sentence)  # what is wrong, and the way out
        assert sentence.isprintable() and len(sentence) < 1500, (words, sentence)


@pytest.mark.parametrize("name", COMMANDS)
def test_what_an_option_cannot_take_is_told_and_nothing_is_written(name, here, capsys):
    for words in lines_for(name, SHORT):
        check(words, here, capsys)


@pytest.mark.long
@pytest.mark.parametrize("name", COMMANDS)
def test_nothing_that_an_option_cannot_take_breaks_it(name, here, capsys):
    for words in lines_for(name, None):
        check(words, here, capsys)


@pytest.mark.parametrize("name", [name for name in COMMANDS if "--out" in str([one.opts for one in COMMANDS[name].params])])
def test_a_folder_that_may_not_be_written_to_is_told_before_the_work(name, here, capsys, monkeypatch):
    if os.access(here / "locked", os.W_OK):  # for the superuser and on Windows it may
        monkeypatch.setattr(os, "access", lambda path, _mode: Path(path).name != "locked")
    with pytest.raises(SystemExit) as ended:
        cli.main([*name.split(), *BESIDE.get(name, []), "--out", "locked/below"])
    assert ended.value.code == 2 and "may not be written to: name another folder" in capsys.readouterr().err


def test_the_tester_finds_a_command_that_breaks(here, capsys, monkeypatch):
    def break_down(*_given, **_named):
        raise ValueError("a fault of ours")
    monkeypatch.setattr(rehearsal, "choose", break_down)
    with pytest.raises(ValueError):
        check(["rehearse"], here, capsys)


def test_every_option_is_among_those_that_are_tried():
    tried = {word for name in COMMANDS for words in lines_for(name, 1) for word in words if word.startswith("--")}
    there = {max(param.opts, key=len) for command in COMMANDS.values() for param in command.params
             if param.param_type_name == "option" and not param.is_flag}
    assert there <= tried and isinstance(typer.main.get_command(cli.app), object)
