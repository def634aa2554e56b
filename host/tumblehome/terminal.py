"""How the tool speaks in a terminal: one console for results, one for progress and mistakes, and how it ends.

Colours and progress come to a terminal only; `rich` leaves colours out where NO_COLOR is set (no-color.org).
"""

import errno
import os
import re
import sys
from contextlib import suppress
from typing import NoReturn

import typer
from rich.console import Console

BAD_INPUT = 2
STOPPED = 130  # 128 + SIGINT, as POSIX shells report it
UNREAD = 141  # 128 + SIGPIPE, the same
NOTHING = "nothing was written"
ENDLESS, SHOWN = re.compile(r"\S{300,}"), 60  # no name is as long; of one that is, both ends are shown

so_far = NOTHING  # what a person reads who stops the command now: what was done, and what was not


class _Console(Console):
    """A console that lets its caller know that nobody reads any more."""

    def on_broken_pipe(self) -> None:
        raise BrokenPipeError


out = _Console(highlight=False, soft_wrap=False)
err = _Console(stderr=True, highlight=False)


def refuse(sentences: list[str]) -> NoReturn:
    """Say what is wrong with the input, a sentence a line, and end with status 2."""
    for sentence in sentences:
        complain(sentence)
    raise typer.Exit(BAD_INPUT)


def complain(sentence: str) -> None:
    """Say what went wrong, in one sentence; the caller ends with its own status."""
    print(ENDLESS.sub(lambda word: word[0][:SHOWN] + "..." + word[0][-SHOWN:], printable(sentence)), file=sys.stderr)


def stop(sentence: str) -> NoReturn:
    """Say in one sentence what was done before the keyboard stopped the command and what was not; end with 130."""
    complain("stopped: %s" % sentence)
    sys.exit(STOPPED)


def is_unread(error: OSError) -> bool:
    """Whether a write failed since whoever read what is printed has gone, as `head` does."""
    return isinstance(error, BrokenPipeError) or (os.name == "nt" and error.errno == errno.EINVAL)


def leave_unread() -> NoReturn:
    """End without a word where nobody reads; what is still waiting to be printed goes nowhere."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    for stream in (sys.stdout, sys.stderr):
        with suppress(OSError, ValueError):
            os.dup2(nowhere, stream.fileno())
    sys.exit(UNREAD)


def printable(text: str) -> str:
    """The text with everything that could steer a terminal shown as a question mark."""
    return "".join(letter if letter.isprintable() else "?" for letter in text)
