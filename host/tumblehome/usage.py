"""Words on the command line that cannot be: one sentence with the option, its value, what is allowed, the way out."""

import re
from collections.abc import Sequence
from typing import Any, get_type_hints

import typer
from pydantic import ValidationError

from tumblehome import terminal

UsageError: Any = typer.BadParameter.__base__  # typer shows this class under no name of its own
NO_VALUE = re.compile(r"--[\w-]+=")
LONGEST = 40  # letters of a value that are shown
NUMBERS = {int: "a whole number", float: "a number"}


def empty(given: Sequence[str]) -> str:
    """What is wrong with words one of which is empty, as where a variable of the shell holds nothing; else nothing.

    As a path such a word would be the current folder.
    """
    for before, word in zip(["", *given], given, strict=False):
        option = before if not word and before.startswith("--") else word[:-1] if NO_VALUE.fullmatch(word) else ""
        if option or not word:
            return "%s is empty: write its value, or leave it out" % (option or "a word behind tumblehome")
    return ""


def sentence(error: Any) -> str:
    """What is wrong, for a UsageError that typer raised."""
    said = _of_a_number(error) or error.format_message().rstrip(".?")
    command = error.ctx.command_path if error.ctx else "tumblehome"
    return "%s: %s --help shows what there is" % (said[:1].lower() + said[1:], command)


def _of_a_number(error: Any) -> str:
    """Of an option that takes a number and got none, or one out of its range; empty for all else.

    Only newer releases of typer need it, which read values by pydantic and do not name them.
    """
    cause = error.__cause__
    if not isinstance(cause, ValidationError):
        return ""
    given = terminal.printable(str(cause.errors()[0]["input"])[:LONGEST])
    allowed = _allowed(error.ctx.command.callback, error.param.name)
    return "%s is %s; allowed is %s" % (_name(error.param), given, allowed) if allowed else ""


def _name(param: Any) -> str:
    return max(param.opts, key=len) if param.param_type_name == "option" else param.name.upper()


def _allowed(command: Any, name: str) -> str:
    """What the signature of a command allows for a number; empty where it is none."""
    hint = get_type_hints(command, include_extras=True).get(name)
    told = next((one for one in getattr(hint, "__metadata__", ()) if hasattr(one, "min")), None)
    plain = get_type_hints(command).get(name)
    words = next((words for kind, words in NUMBERS.items() if kind in (plain, *getattr(plain, "__args__", ()))), "")
    if not words or told is None:
        return words
    if told.min is not None and told.max is not None:
        return "%s from %g to %g" % (words, told.min, told.max)
    if told.min is not None:
        return "%s of %g or more" % (words, told.min)
    return words if told.max is None else "%s of %g or less" % (words, told.max)
