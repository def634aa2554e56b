"""What a benchmark tells: a table of Markdown, and beside each aim what was measured."""

import os
import platform
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

Row = tuple[str, ...]
GROUPED_FROM = 1000.0
SUMMARY_HEAD = ("what", "aim", "measured", "ratio to the aim", "told")


@dataclass(frozen=True)
class Outcome:
    """A number beside its aim, which it must reach (`at_least`) or may not pass; `unit` is written behind both."""

    what: str
    aim: float
    measured: float
    unit: str
    at_least: bool = True

    @property
    def is_reached(self) -> bool:
        return self.measured >= self.aim if self.at_least else self.measured <= self.aim

    @property
    def ratio(self) -> float | None:
        """1 at the aim and more beyond it, whichever way is the better one; None where a division has no meaning."""
        over, under = (self.measured, self.aim) if self.at_least else (self.aim, self.measured)
        return over / under if over > 0.0 and under > 0.0 else None

    @property
    def told(self) -> str:
        if self.is_reached:
            return "reached"
        if self.aim <= 0.0:
            return "missed by %s %s" % (number(self.measured - self.aim), self.unit)
        share = abs(self.measured - self.aim) / self.aim
        return "missed: %.2g %% %s the aim" % (100.0 * share, "below" if self.at_least else "above")

    def row(self) -> Row:
        ratio = "" if self.ratio is None else "%.2f" % self.ratio
        sign = "from" if self.at_least else "up to"
        return (self.what, "%s %s %s" % (sign, number(self.aim), self.unit),
                "%s %s" % (number(self.measured), self.unit), ratio, self.told)


@dataclass(frozen=True)
class Table:
    """A table with the lines before it, and what it says of aims."""

    about: tuple[str, ...]
    head: Row
    rows: tuple[Row, ...]
    outcomes: tuple[Outcome, ...] = ()


def markdown(table: Table) -> Iterator[str]:
    """The table, and below it a sentence for each aim."""
    yield from table.about
    if table.rows:
        yield from ("", *_grid(table.head, table.rows))
    for outcome in table.outcomes:
        what, aim, measured, ratio, told = outcome.row()
        yield ""
        yield "%s: %s, aim %s%s; %s." % (what, measured, aim, ", ratio to the aim " + ratio if ratio else "", told)


def summary(outcomes: Iterable[Outcome]) -> list[str]:
    """Every aim that was measured, a row each."""
    return _grid(SUMMARY_HEAD, [outcome.row() for outcome in outcomes])


def _grid(head: Row, rows: Iterable[Row]) -> list[str]:
    return ["| %s |" % " | ".join(head), "|" + "---|" * len(head), *("| %s |" % " | ".join(row) for row in rows)]


def number(value: float) -> str:
    """Whole and in groups of three from a thousand on, below with three digits."""
    if abs(value) >= GROUPED_FROM:
        return f"{round(value):,}".replace(",", " ")
    return "%.3g" % value


def grouped(value: float) -> str:
    """With three digits at most, in groups of three."""
    digits = max(0, len("%d" % value) - 3)
    return number(round(value / 10**digits) * 10**digits) if value >= GROUPED_FROM else "%d" % round(value)


def machine() -> str:
    """Processor, cores, system, Python and load, as far as the machine tells them."""
    name = platform.processor() or platform.machine()
    try:
        told = Path("/proc/cpuinfo").read_text(encoding="utf-8")
    except OSError:
        told = ""
    models = [line.split(":", 1)[1].strip() for line in told.splitlines() if line.startswith("model name")]
    return "%s, %d cores, %s %s, %s %s, load %s" % (
        models[0] if models else name, os.cpu_count() or 1, platform.system(), platform.machine(),
        platform.python_implementation(), platform.python_version(), load())


def load() -> str:
    """How many processes wanted to run, mean over the last minute, where the system counts them."""
    try:
        return "%.1f" % os.getloadavg()[0]
    except (AttributeError, OSError):
        return "unknown"
