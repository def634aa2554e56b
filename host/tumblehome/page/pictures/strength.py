"""What parts and walls of a plan bear, and the chamber test."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from typing import TYPE_CHECKING

from seatrial.workings.pressure import LEAST_FACTOR
from tumblehome.page import charts, palette
from tumblehome.page.charts import Stroke
from tumblehome.page.palette import Look
from tumblehome.page.parts import Html
from tumblehome.page.pictures.drawing import (
    LIMIT,
    Length,
    figure_of,
    framed,
    from_zero,
    line_entry,
    looks_of,
    rows_of,
    said_of,
    there,
)

if TYPE_CHECKING:
    from seatrial.plan import Plan
    from seatrial.workings.chapter import Chapter

_RATED = Look(palette.SKY, "/", "rated by its maker")
_WALL = Look(palette.ORANGE, "", "by the handbook")
_ONE = Stroke(palette.BLACK, "solid", 3.0)
_CHAMBER = Stroke(palette.BLUE, "solid", 2.4)


def pressure(chapter: Chapter, _plan: Plan) -> Iterator[Html]:
    """What each part bears in multiples of the working pressure, and the chamber test."""
    yield from _factors(chapter)
    if there(chapter, "chamber_min", "chamber_mpa"):
        yield _chamber(chapter)


def _factors(chapter: Chapter) -> Iterator[Html]:
    working_mpa = figure_of(chapter, "working_mpa")
    if not working_mpa:
        return
    strong = [(str(row["what"]), row["rated_mpa"], _RATED) for row in rows_of(chapter, "ratings")]
    if there(chapter, "shell", "shell_mpa"):
        strong += [(str(name), mpa, _WALL)
                   for name, mpa in zip(chapter.series["shell"], chapter.series["shell_mpa"], strict=True)]
    bars = [Length(name, f": {mpa / working_mpa:.2f}", mpa / working_mpa, look,
                   f"{name}: {mpa / working_mpa:.2f} times the working pressure")
            for name, mpa, look in strong if mpa is not None]
    if not bars:
        return
    lines, key = [charts.across(1.0, _ONE)], [*looks_of(bars), line_entry(_ONE, "working pressure")]
    if any(bar.look == _WALL for bar in bars):
        lines.append(charts.across(LEAST_FACTOR, LIMIT))
        key.append(line_entry(LIMIT, f"our least factor by the handbook, {LEAST_FACTOR:g}"))
    figure = from_zero(bars, {"range": [0, 1.05 * max(2.0, *(bar.length for bar in bars))]}, lines)
    lowest = min(bars, key=lambda bar: bar.length)
    summary = (f"Working pressure {working_mpa:.2f} MPa at {said_of(chapter, 'deepest_m')}. The weakest is"
               f" {lowest.name}, {lowest.length:.2f} times it. A handbook check certifies nothing.")
    yield framed("factors", "What each part bears, in multiples of the working pressure", figure, summary, key)


def _chamber(chapter: Chapter) -> Html:
    minutes, mpa = chapter.series["chamber_min"], chapter.series["chamber_mpa"]
    line = charts.curve("chamber", minutes, mpa, _CHAMBER, "%{y:.2f} MPa at %{x:.0f} min")
    working_mpa, shapes, key = figure_of(chapter, "working_mpa"), [], [line_entry(_CHAMBER, "pressure in the chamber")]
    if working_mpa:
        shapes = [charts.across(working_mpa, LIMIT, upright=False)]
        key.append(line_entry(LIMIT, "working pressure"))
    figure = charts.plot([line], charts.axis_title("minutes"), {"rangemode": "tozero", "ticksuffix": " MPa"}, 280,
                         shapes)
    held = sum(1 for one, other in pairwise(mpa) if one == other == max(mpa))
    summary = (f"Up to {max(mpa):.2f} MPa (gauge), held {held} {'time' if held == 1 else 'times'},"
               f" over {max(minutes) / 60:.1f} h.")
    return framed("chamber", "Chamber test, MPa", figure, summary, key)
