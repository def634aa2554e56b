"""How the tool speaks in a terminal: one console for results, one for progress and mistakes."""

import sys
from typing import NoReturn

import typer
from rich.console import Console

BAD_INPUT = 2

out = Console(highlight=False, soft_wrap=False)
err = Console(stderr=True, highlight=False)


def refuse(sentences: list[str]) -> NoReturn:
    """Say what is wrong with the input, a sentence a line, and end with status 2."""
    for sentence in sentences:
        print(sentence, file=sys.stderr)
    raise typer.Exit(BAD_INPUT)


def complain(sentence: str) -> None:
    """Say what went wrong, in one sentence; the caller ends with its own status."""
    print(printable(sentence), file=sys.stderr)


def printable(text: str) -> str:
    """The text with everything that could steer a terminal shown as a question mark."""
    return "".join(letter if letter.isprintable() else "?" for letter in text)
