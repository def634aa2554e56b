"""How the tool speaks in a terminal: one console for results, one for progress and mistakes, and how it ends.

Colours and progress come to a terminal only; `rich` leaves colours out where NO_COLOR is set (no-color.org).
"""

import codecs
import errno
import os
import re
import sys
import textwrap
from collections.abc import Collection, Iterable, Sequence
from contextlib import suppress
from typing import NoReturn

import typer
from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

BAD_INPUT = 2
STOPPED = 130  # 128 + SIGINT, as POSIX shells report it
UNREAD = 141  # 128 + SIGPIPE, the same
NOTHING = "nothing was written"
PLAIN = "tumblehome.plain"  # how a letter is written that the terminal does not have, for `errors` of a stream
WRITTEN_OUT = {"\N{DEGREE SIGN}": " deg", "\N{PRIME}": "'", "\N{SUPERSCRIPT TWO}": "2", "\N{EN DASH}": "-",
               "\N{MINUS SIGN}": "-", "\N{MIDDLE DOT}": "-", "\N{PLUS-MINUS SIGN}": "+-",
               "\N{GREEK CAPITAL LETTER OMEGA}": " Ohm"}
ENDLESS, SHOWN = re.compile(r"\S{300,}"), 60  # no name is as long; of one that is, both ends are shown

so_far = NOTHING  # what a person reads who stops the command now: what was done, and what was not


class _Console(Console):
    """A console that lets its caller know that nobody reads any more."""

    def on_broken_pipe(self) -> None:
        raise BrokenPipeError


out = _Console(highlight=False, soft_wrap=False)
err = _Console(stderr=True, highlight=False)


def _written_out(error: UnicodeError) -> tuple[str, int]:
    """Signs in the letters of every terminal, others as a question mark: `46-06.000'N`, a course of `071 deg`."""
    if not isinstance(error, UnicodeEncodeError):
        raise error
    after = error.object[error.end:error.end + 1]
    signs = error.object[error.start:error.end]
    said = "".join(WRITTEN_OUT.get(sign, "?") for sign in signs)
    if signs == "\N{DEGREE SIGN}" and after.isdigit():
        said = "-"  # before minutes, as sailors type a position
    return said, error.end


codecs.register_error(PLAIN, _written_out)


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


def say(word: str, look: str, sentence: str, console: Console = out) -> None:
    """A sentence behind its word in that look of `rich`, its further lines under its first."""
    grid = Table.grid(padding=(0, 2))
    grid.add_column(no_wrap=True, style=look)
    grid.add_column(overflow="fold")
    grid.add_row(word, Text(printable(sentence)))
    console.print(grid)


def table(headings: Sequence[str], rows: Iterable[Sequence[str]], caption: str | None = None,
          in_words: Collection[int] = (0,)) -> Table:
    """A table in which nothing is ever cut off, since the rest of a number would be another number.

    A heading that begins with > stands over numbers. Headings are broken between words, and so are the cells of the
    columns `in_words`; where the terminal is too narrow even so, each row becomes a paragraph.
    """
    all_rows = [list(row) for row in rows]
    names = [heading.removeprefix(">") for heading in headings]
    widths = [_narrowest(name, cells, number in in_words)
              for number, (name, *cells) in enumerate(zip(names, *all_rows, strict=True))]
    if sum(widths) + 2 * (len(widths) - 1) > out.width:
        return _paragraphs(names, all_rows, caption)
    made = Table(box=None, pad_edge=False, title=caption, title_justify="left", title_style="italic",
                 header_style="bold")
    for number, (heading, name, width) in enumerate(zip(headings, names, widths, strict=True)):
        lines = name.split("\n") if number in in_words else [textwrap.fill(line, width) for line in name.split("\n")]
        made.add_column("\n".join(lines), min_width=width, no_wrap=number not in in_words,
                        justify="right" if heading.startswith(">") else "left")
    for row in all_rows:
        made.add_row(*map(Text, row))
    return made


def _narrowest(name: str, cells: Iterable[str], is_in_words: bool) -> int:
    """How wide a column must be, at least."""
    parts = [*name.split(), *(part for cell in cells for part in (cell.split() if is_in_words else cell.split("\n")))]
    return max(map(len, parts), default=1)


def _paragraphs(names: Sequence[str], rows: Iterable[Sequence[str]], caption: str | None) -> Table:
    made = Table.grid()
    made.add_row(Text("%s (%s)" % (caption, names[0]) if caption else names[0], style="italic"))
    for first, *cells in rows:
        said = "; ".join("%s: %s" % (" ".join(name.split()), " ".join(cell.split()))
                         for name, cell in zip(names[1:], cells, strict=True))
        made.add_row(Padding(Text(first, style="bold"), (0, 0, 0, 2)))
        made.add_row(Padding(Text(said), (0, 0, 0, 4)))
    return made
