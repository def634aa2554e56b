"""The options of all commands beside each other: one name, one form and one order for one thing; and their completion.

How a shell asks for completions, in its environment, is the protocol of typer (its documentation, "CLI Option
autocompletion"), which it takes from click ("Shell Completion").
"""

from typing import Any

import pytest
import typer

from seatrial.faults import KINDS
from tumblehome import cli, options
from tumblehome.bench import sequence
from tumblehome.cli import app

# Behind what is a command's own, in this order.
LAST = ["--seed", "--cores", "--cluster", "--port", "--out", "--json"]
FORMS = {"--seed": "0..4294967295", "--cores": "1..1024", "--cluster": "ADDRESS", "--port": options.URL, "--out": options.FOLDER,
         "--plan": options.FILE, "--fault": "NAME[:key=value,...]@WHEN", "--scenario": options.FILE,
         "--heard": options.FILE, "--lander": "ID"}
KNOWN_FORMS = {options.FILE, options.FOLDER, options.UTC, options.POSITION, options.URL, options.NAME, "ID", "N", "TIME",
               "SECONDS", "MINUTES", "HOURS", "KNOTS", "METRES", "PERCENT", "PORT", "ADDRESS", "GROUP|NAME", "NAME|URL"}


def commands_under(group, *above: str) -> dict[str, Any]:
    if not hasattr(group, "commands"):
        return {" ".join(above): group}
    return {name: one for word, inner in group.commands.items()
            for name, one in commands_under(inner, *above, word).items()}


COMMANDS = commands_under(typer.main.get_command(app))


def options_of(command: Any) -> dict[str, Any]:
    """By its long name, in the order of the help."""
    return {max(param.opts, key=len): param for param in command.params
            if param.param_type_name == "option" and param.name != "help"}


@pytest.mark.parametrize("name", COMMANDS)
def test_what_all_commands_have_comes_last_and_in_one_order(name):
    given = list(options_of(COMMANDS[name]))
    common = [option for option in LAST if option in given]
    assert given[len(given) - len(common):] == common


@pytest.mark.parametrize("name", COMMANDS)
def test_every_option_tells_the_form_of_its_value_the_same_way(name):
    for option, param in options_of(COMMANDS[name]).items():
        assert param.help and param.help.rstrip().endswith("."), option
        if not param.is_flag:
            assert param.metavar == FORMS.get(option, param.metavar), option
            assert param.metavar in KNOWN_FORMS or ".." in param.metavar or "=" in param.metavar, option


def test_one_help_sentence_for_the_plan_wherever_the_sample_stands_in_for_it():
    helps = {param.help for command in COMMANDS.values() for param in command.params if param.name == "plan"
             and param.param_type_name == "argument" and not param.required}
    assert len(helps) <= 2  # that of a dive that is over is another one


# --- completion -----------------------------------------------------------------------------------------------------


@pytest.fixture
def completed(monkeypatch, capsys):
    """What a shell is told when somebody has typed this and pressed the Tab key."""
    def complete(typed: str) -> list[str]:
        monkeypatch.setenv("_TUMBLEHOME_COMPLETE", "complete_bash")
        monkeypatch.setenv("COMP_WORDS", "tumblehome " + typed)
        monkeypatch.setenv("COMP_CWORD", str(len(typed.split(" "))))
        with pytest.raises(SystemExit) as ended:
            cli.main([])
        assert not ended.value.code
        return capsys.readouterr().out.split("\n")
    return complete


@pytest.mark.parametrize("typed, wanted", [
    ("re", ["rehearse"]), ("bench jo", ["journal"]), ("bench journal ve", ["verify"]),
    ("rehearse --fa", ["--fault"]), ("rehearse --body micro", ["micropython", "micropython-core"]),
    ("faults pow", ["power"]), ("sweep --only jam", ["jammed"]), ("plan --chapter mot", ["motion"]),
    ("bench run arm-a", ["arm-and-disarm"]), ("bench flash --as sec", ["second"]),
    ("bench poke release-b", ["release-backup"]), ("bench practice --wrong leak-s", ["leak-stuck"]),
])
def test_a_shell_completes_commands_options_and_names(completed, typed, wanted):
    assert [word for word in completed(typed) if word] == wanted


def test_all_names_are_offered_where_none_was_begun():
    assert options.one_of(lambda: KINDS)("") == list(KINDS)
    assert options.one_of(sequence.names)("circuit-") == [name for name in sequence.names() if name.startswith("circuit-")]


def test_the_help_tells_how_completion_is_put_in(run):
    assert "--install-completion" in run("--help").out
