"""How what a controller says stands in a terminal."""

from collections.abc import Iterable

from rich.console import Console
from rich.table import Table
from rich.text import Text

from tumblehome import terminal


def pairs_table(lines: Iterable[tuple[str, str]]) -> Table:
    """Names, and behind each what it is."""
    table = Table.grid(padding=(0, 2))
    table.add_column(no_wrap=True, style="bold")
    table.add_column(overflow="fold")
    for name, value in lines:
        table.add_row(Text(name), Text(terminal.printable(value)))
    return table


def show_cautions(sentences: Iterable[str], console: Console = terminal.out) -> None:
    """Say what can hurt somebody, before anything moves."""
    for sentence in sentences:
        terminal.say("danger", "bold red", sentence, console)
