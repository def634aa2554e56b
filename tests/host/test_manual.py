"""The help of every command teaches: what it is for, its words with their forms, an example that runs, and how it ends.

That a help fits a terminal of 80 columns is the custom of VT100 and its heirs; the statuses are those of test_cli.
"""

import io
import re
import shlex
import shutil
import sys

import pytest
import typer

from seatrial.odds.rates import BUILT_IN
from seatrial.plan.sample import sample_text
from tumblehome import cli, manual, terminal
from tumblehome.__main__ import main as begin
from tumblehome.cli import app

from .test_cli import widest

BOARD = re.compile(r"--port (?!practice)|bench practice|bench poke|--listen|bench list|deck ")  # wants something at a port
TRACK = """<?xml version="1.0"?><gpx version="1.1" creator="by hand" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>
<trkpt lat="46.10" lon="-28.40"><time>2027-05-18T10:00:00Z</time></trkpt>
<trkpt lat="46.12" lon="-28.40"><time>2027-05-18T10:08:00Z</time></trkpt></trkseg></trk></gpx>"""
COMMANDS = list(manual.EXAMPLES)
EXAMPLES = [(words, example) for words, examples in manual.EXAMPLES.items() for example in examples]


def words_of(example: str) -> list[str]:
    """As a shell hands them over, which keeps where the answer goes for itself."""
    return shlex.split(example.partition(" > ")[0])


@pytest.fixture(scope="module")
def helps() -> dict[str, str]:
    """What each command says of itself, 80 columns wide."""
    with pytest.MonkeyPatch.context() as patch:
        said = {}
        patch.setenv("COLUMNS", "80")
        patch.setattr("typer.rich_utils.MAX_WIDTH", 80, raising=False)
        for name in COMMANDS:
            heard = io.StringIO()
            patch.setattr(sys, "stdout", heard)
            with pytest.raises(SystemExit):
                cli.main([*name.split(), "--help"])
            said[name] = heard.getvalue()
        return said


@pytest.fixture(scope="module")
def parser():
    """The tool's own."""
    return typer.main.get_command(app)


def parsed(parser, words: list[str]) -> str:
    """The command that these words mean, taken apart by the tool's own parser and not done; its options must be ones."""
    context = parser.make_context("tumblehome", list(words))
    while hasattr(context.command, "resolve_command"):
        name, command, rest = context.command.resolve_command(context, [*context._protected_args, *context.args]
                                                              if hasattr(context, "_protected_args") else context.args)
        context = command.make_context(name, rest, parent=context)
    return context.command_path


def commands_under(group, *above: str) -> list[str]:
    """The words of every command in this group and the groups in it."""
    if not hasattr(group, "commands"):
        return [" ".join(above)]
    return [words for name, one in group.commands.items() for words in commands_under(one, *above, name)]


def test_every_command_has_examples_and_nothing_else_has(parser):
    assert sorted(commands_under(parser)) == sorted(manual.EXAMPLES)


@pytest.mark.parametrize("name", COMMANDS)
def test_a_help_fits_80_columns_and_tells_how_the_command_ends(name, helps):
    text = " ".join(helps[name].split())
    assert widest(helps[name]) <= 80
    assert "Exit status 0: " in text and "2: bad input" in text and "Ctrl-C" in text.partition("Exit status")[2]


@pytest.mark.parametrize("words, example", EXAMPLES)
def test_every_example_is_of_its_command_fits_a_line_and_is_understood_by_the_tool_itself(words, example, parser):
    assert len("Example: tumblehome %s" % example) <= 78
    assert parsed(parser, words_of(example)) == "tumblehome " + words


def test_what_a_help_says_in_brackets_is_shown(helps, parser):
    """In brackets the library that shows the help looks for colours; what it takes for one is lost."""
    for name, shown in helps.items():
        command = parser
        for word in name.split():
            command = command.commands[word]
        for param in command.params:
            for bracket in re.findall(r"\[[\w ]+\]", getattr(param, "help", None) or ""):
                assert bracket in shown, name


@pytest.mark.long
def test_the_examples_that_need_no_board_run_one_after_the_other(run, tmp_path, micropython, monkeypatch):
    (tmp_path / "my-dive.toml").write_text(sample_text(), encoding="utf-8")
    (tmp_path / "leg.gpx").write_text(TRACK, encoding="utf-8")
    shutil.copy(BUILT_IN, tmp_path / "rates.toml")
    for words, example in EXAMPLES:
        if not BOARD.search(example) and words not in ("sweep", "fuzz", "odds", "budgets", "explore"):
            said = run(*words_of(example))
            assert said.status in (0, 1), (example, said.err)


# --- how a command ends ---------------------------------------------------------------------------------------------------


def test_a_command_that_the_keyboard_stops_tells_in_one_sentence_what_was_done(capsys):
    def work() -> None:
        terminal.so_far = "one of two was done"
        raise KeyboardInterrupt
    with pytest.raises(SystemExit) as ended:
        manual.well_ended(work)()
    assert ended.value.code == 130
    assert capsys.readouterr().err == "stopped: one of two was done\n"


def test_what_one_command_did_is_not_told_of_the_next(capsys):
    def work() -> None:
        raise KeyboardInterrupt
    terminal.so_far = "another one was done"
    with pytest.raises(SystemExit):
        manual.well_ended(work)()
    assert capsys.readouterr().err == "stopped: nothing was written\n"


class Closed(io.StringIO):
    """A pipe whose reader has gone."""

    def __init__(self, nowhere: int) -> None:
        super().__init__()
        self.nowhere = nowhere

    def write(self, text: str) -> int:
        raise BrokenPipeError

    def flush(self) -> None:
        raise BrokenPipeError

    def fileno(self) -> int:
        return self.nowhere


@pytest.mark.parametrize("words", [("table",), ("table", "--diagram"), ("--help",), ("bench", "poke", "--help"), ("--version",)])
def test_where_nobody_reads_any_more_it_ends_without_a_word(words, tmp_path, monkeypatch, capsys):
    """141 is 128 + SIGPIPE, as POSIX shells report it of a program that the signal ends."""
    with (tmp_path / "nowhere").open("w") as nowhere, pytest.raises(SystemExit) as ended:
        monkeypatch.setattr(sys, "stdout", Closed(nowhere.fileno()))
        cli.main(words)
    assert ended.value.code == 141
    assert capsys.readouterr().err == ""


def test_the_help_fills_its_lines_whatever_the_width_of_the_terminal(run, monkeypatch):
    monkeypatch.setattr("typer.rich_utils.MAX_WIDTH", 200)
    assert any("lets the Tab key complete commands, options and names, in a new terminal." in line
               for line in run("--help").out.splitlines())


def test_a_name_that_no_file_can_have_is_one_sentence(run):
    said = run("debrief", "x" * 300)
    assert (said.status, said.out) == (2, "")
    assert re.fullmatch(r"x+\.\.\.x+ cannot be used \(.+\): name another\n", said.err)


def test_a_stop_before_the_tool_has_come_is_one_sentence_too(monkeypatch, capsys):
    monkeypatch.setattr(sys, "argv", ["tumblehome", "--version"])
    with pytest.raises(SystemExit) as ended:
        begin()
    assert ended.value.code in (0, None) and capsys.readouterr().out.startswith("tumblehome ")

    def stop(*_given):
        raise KeyboardInterrupt
    with monkeypatch.context() as patch, pytest.raises(SystemExit) as ended:
        patch.setattr("builtins.__import__", stop)
        begin()
    assert ended.value.code == 130 and capsys.readouterr().err == "stopped: nothing was done\n"
