"""What a person sees of work that takes its time: on a terminal only, and gone when it is done."""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from rich.progress import Progress, SpinnerColumn, TextColumn, TimeElapsedColumn

from tumblehome import terminal


@contextmanager
def line(doing: str, first: str) -> Iterator[Callable[[str], None]]:
    """Yields what hears the part of the work that begins; whoever stops it is told which one was under way."""
    under_way = first
    columns = (SpinnerColumn(), TextColumn("%s {task.description}" % doing), TimeElapsedColumn())
    try:
        with Progress(*columns, console=terminal.err, transient=True, disable=not sys.stderr.isatty()) as shown:
            task = shown.add_task(first, total=None)

            def begins(part: str) -> None:
                nonlocal under_way
                under_way = part
                shown.update(task, description=part)

            yield begins
    except KeyboardInterrupt:
        terminal.so_far = "%s %s was under way; nothing was written" % (doing, under_way)
        raise
