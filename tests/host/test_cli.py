"""The command line as a whole: it teaches, it answers with the right status, and it speaks plainly.

The exit statuses 0, 1 and 2 are the tool's own; 2 for usage is the shell utilities' custom (POSIX.1-2017, XCU 1.4
allows any value above 0; 2 is common practice, no source). 130 is 128 + SIGINT, as POSIX shells report it (XCU 2.8.2
asks for more than 128; 128 + n is common practice, no source).
"""

import re
import sys

import pytest
from typer.testing import CliRunner

from lander import VERSION
from seatrial import caches, compiled
from tumblehome.cli import app

ESCAPE = re.compile(r"\x1b")
COMMANDS = [command.name for command in app.registered_commands] + [
    "%s %s" % (group.name or group.typer_instance.info.name, command.name)
    for group in app.registered_groups for command in group.typer_instance.registered_commands]


def widest(text: str) -> int:
    return max(len(line) for line in text.splitlines())


def test_alone_it_shows_its_commands_and_where_to_begin(run):
    said = run()
    assert said.status == 0
    assert all(name.split()[0] in said.out for name in COMMANDS)
    assert "Begin with" in said.out
    assert said.err == ""


def test_it_says_that_a_simulation_proves_nothing_about_hardware(run):
    assert "proves nothing about hardware" in " ".join(run("--help").out.split())


@pytest.mark.parametrize("name", COMMANDS)
def test_the_help_of_every_command_tells_what_it_does_and_shows_an_example(name):
    said = CliRunner().invoke(app, [*name.split(), "--help"])
    text = " ".join(said.output.split())
    assert said.exit_code == 0
    assert "Example: tumblehome %s" % name in text
    assert re.search(r"Usage: \w+ %s .*?[\]}](\.\.\.)? (\w+ ){2,}" % name, text), "a sentence follows the usage line"


@pytest.mark.parametrize("name", COMMANDS)
def test_the_short_form_of_help_works_too(run, name):
    assert run(*name.split(), "-h").out == run(*name.split(), "--help").out


def test_a_group_of_commands_alone_shows_what_is_in_it(run):
    said = run("bench")
    assert said.status == 0 and said.err == ""
    assert "flash" in said.out and "Begin with" in said.out


def test_the_help_of_rehearse_names_the_exit_statuses_and_where_the_faults_are_listed(run):
    text = " ".join(run("rehearse", "--help").out.replace("│", " ").split())
    assert all(part in text for part in ("Exit status 0", "1: it did not", "2: bad input", "`tumblehome faults`"))


@pytest.mark.parametrize("words", [(), ("rehearse", "--help"), ("faults",), ("table",)])
def test_what_it_prints_fits_80_columns_and_has_no_colour_codes_in_a_pipe(run_outside, words):
    said = run_outside(*words)
    assert said.status == 0
    assert widest(said.out) <= 80
    assert not ESCAPE.search(said.out + said.err)


def test_it_tells_its_version(run):
    assert run("--version").out == "tumblehome %s\n" % VERSION


@pytest.mark.parametrize("words, wanted", [
    (("rehersal",), "no such command 'rehersal'. Did you mean 'rehearse'"),
    (("rehearse", "--sead", "1"), "no such option: --sead"),
    (("rehearse", "one.toml", "two.toml"), "unexpected extra argument"),
    (("rehearse", "--fault"), "'--fault' requires an argument"),
    (("table", "sideways"), "unexpected extra argument"),
    (("bench", "flush"), "no such command 'flush'. Did you mean 'flash'"),
    (("bench", "load"), "missing argument 'plan'"),
    (("bench", "flash"), "the board's port is named nowhere: name it once"),
    (("bench", "flash", "COM5", "--port", "COM6"), "the board's port is named twice: name it once"),
    (("rehearse", "--out", ""), "--out is empty: write its value, or leave it out"),
    (("rehearse", "--seed="), "--seed is empty: write its value, or leave it out"),
    (("rehearse", ""), "a word behind tumblehome is empty: write its value"),
    (("bench", "flash", "/dev/nowhere", "--as", "third"), "--as is third; allowed is main, second: choose one"),
    (("faults", "tides"), "group 'tides' is not known; allowed is 'release', "),
])
def test_wrong_words_get_one_sentence_with_the_way_out(run, words, wanted):
    said = run(*words)
    assert said.status == 2
    assert said.out == ""
    assert len(said.err.splitlines()) == 1
    assert wanted in said.err
    assert any(way_out in said.err for way_out in ("--help shows what there is", "choose one", "name it once",
                                                   "write its value"))


@pytest.mark.parametrize("words, option, value, allowed", [
    (("bench", "poke", "lights", "--level", "300"), "--level", "300", ("1", "100")),
    (("bench", "poke", "lights", "--level", "0"), "--level", "0", ("1", "100")),
    (("bench", "poke", "fan", "--seconds", "x"), "--seconds", "x", ()),
    (("bench", "watch", "--seconds", "-1"), "--seconds", "-1", ("0",)),
    (("bench", "watch", "--every", "nan"), "--every", "nan", ("0.1", "3600")),
    (("bench", "practice", "--tcp", "99999"), "--tcp", "99999", ("0", "65535")),
    (("explore", "--voyages", "0"), "--voyages", "0", ("1",)),
])
def test_a_number_that_cannot_be_is_named_with_its_option_what_is_allowed_and_the_way_out(
        run, words, option, value, allowed):
    said = run(*words)
    assert (said.status, said.out) == (2, "")
    sentence, = said.err.splitlines()
    told, _, way_out = sentence.rpartition(": ")
    parts = re.findall(r"--\w+|-?[\w.]+", told)
    assert option in parts and value in parts
    assert all(re.search(r"(?<![\d.])%s(?![\d.])" % re.escape(bound), told) for bound in allowed)
    assert "--help shows what there is" in way_out or "choose one in this range" in way_out


def test_a_terminal_that_cannot_show_a_letter_is_no_reason_to_stop(run_outside, tmp_path):
    said = run_outside("rehearse", "Rønne→.toml", PYTHONIOENCODING="ascii", PYTHONUTF8="0")
    assert said.status == 2
    assert "Traceback" not in said.err
    assert "cannot be read" in said.err


@pytest.mark.parametrize("asked, said", [
    ("yes", "TUMBLEHOME_COMPILED is 'yes' in the environment; allowed is 1"),
    ("1", "are not compiled here: `python -m seatrial.compiled`"),
])
def test_a_core_that_the_environment_asks_for_and_that_cannot_be_had_is_bad_input(
        run, monkeypatch, tmp_path, asked, said):
    monkeypatch.setattr(caches, "cache_folder", lambda: tmp_path)
    monkeypatch.delitem(sys.modules, "%s.mission" % compiled.PACKAGE, raising=False)
    monkeypatch.delitem(sys.modules, "%s.signals" % compiled.PACKAGE, raising=False)
    monkeypatch.setenv("TUMBLEHOME_COMPILED", asked)
    told = run("rehearse", "--out", str(tmp_path / "dive"))
    assert told.status == 2 and told.out == ""
    assert said in told.err and len(told.err.splitlines()) == 1
