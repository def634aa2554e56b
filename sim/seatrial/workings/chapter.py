"""The form in which every chapter of a worked plan is told, so that table, page, card and JSON are made from one thing.

A chapter module has its numbers as a frozen dataclass of its own, made by a function of the plan that other chapters
may call, and `chapter(plan)`, which puts them into words here. Values carry their unit; none is rounded before it is
shown. A number that does not exist (a lander that never sinks has no descent time) is None.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

Value = float | int | str | datetime | None


@dataclass(frozen=True)
class Figure:
    """One number of a chapter.

    `key` names it in JSON, unit and all ("descent_likely_s"); `words` for people ("descent, likely"); `unit` is the
    symbol that stands behind it; `digits` the decimals that are shown; `note` a few words on what it means.
    `leading` marks the few that a person looks for first: the short table, and side by side when plans are compared.
    """

    key: str
    words: str
    value: Value
    unit: str = ""
    digits: int = 1
    note: str = ""
    leading: bool = False


@dataclass(frozen=True)
class Column:
    """A column of a table: name in JSON with its unit, heading with its unit, decimals shown."""

    key: str
    heading: str
    digits: int | None = None  # None: text or a moment


@dataclass(frozen=True)
class Table:
    """Rows of a chapter; each row has a value for each column."""

    key: str
    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Value, ...], ...]


@dataclass(frozen=True)
class Chapter:
    """What one part of the plan comes to.

    `faults` are what does not add up, one sentence each with the key, the numbers and the way out; `cautions` are
    allowed and worth a second thought; `dangers` what can hurt somebody, whatever the numbers are; `series` hold what
    pictures are drawn from, named with their units; `sources` say what the numbers rest on; `limits` what they do not
    tell.
    """

    key: str
    title: str
    figures: tuple[Figure, ...] = ()
    tables: tuple[Table, ...] = ()
    series: Mapping[str, Sequence[Any]] = field(default_factory=dict)
    faults: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    dangers: tuple[str, ...] = ()
    sources: tuple[str, ...] = ()
    limits: tuple[str, ...] = ()
