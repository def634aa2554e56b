"""What the pictures of a plan share: their frame and key, and how they read a chapter."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

from tumblehome.page import charts, palette, parts
from tumblehome.page.charts import Stroke
from tumblehome.page.palette import Look
from tumblehome.page.parts import Html
from tumblehome.wording import measured, shown

if TYPE_CHECKING:
    from seatrial.workings.chapter import Chapter

ROW_PX, TALL_ROW_PX = 44, 58  # of lying bars, with one or two lines of words above each
LIMIT = Stroke(palette.VERMILLION, "dash", 2.4)
LIKELY = Stroke(palette.BLUE, "solid", 2.8)
OTHER = Stroke(palette.VERMILLION, "dash", 2.8)
THIRD = Stroke(palette.INK, "dot", 2.4)

Entry = tuple[Html, str, str]


def framed(name: str, heading: str, figure: Any, summary: str, key: Sequence[Entry] = ()) -> Html:
    """A chart of a plan with its summary and key."""
    return parts.chart_frame(name, heading, charts.finished(figure), summary,
                             parts.key_list(key) if key else Html(""), on_time_axis=False)


def there(chapter: Chapter, *names: str) -> bool:
    """Whether these series have points, all as many."""
    lengths = {len(chapter.series.get(name, ())) for name in names}
    return len(lengths) == 1 and 0 not in lengths


def figure_of(chapter: Chapter, key: str) -> Any:
    """The value of a figure of the chapter; None where it has no such figure."""
    return next((figure.value for figure in chapter.figures if figure.key == key), None)


def said_of(chapter: Chapter, key: str) -> str:
    """A figure of the chapter as its table shows it, unit and all."""
    found = next((figure for figure in chapter.figures if figure.key == key), None)
    return shown(None) if found is None else measured(found.value, found.digits, found.unit)


def rows_of(chapter: Chapter, key: str) -> list[dict[str, Any]]:
    """The rows of a table, each by the keys of its columns; none where there is no such table."""
    found = next((table for table in chapter.tables if table.key == key), None)
    if found is None:
        return []
    return [dict(zip((column.key for column in found.columns), row, strict=True)) for row in found.rows]


def line_entry(stroke: Stroke, words: str) -> Entry:
    """A line in the key of a chart."""
    return parts.line_swatch(stroke.colour, stroke.dash, stroke.width), words, ""


def patch_entry(look: Look) -> Entry:
    """A bar or sector in the key of a chart."""
    return parts.patch_swatch(look), look.meaning, ""


class Length(NamedTuple):
    """A lying bar from zero: what stands above it, its length, its look, and what pointing at it says."""

    name: str
    said: str
    length: float
    look: Look
    told: str


def from_zero(bars: Sequence[Length], axis: Mapping[str, Any], lines: Sequence[Mapping[str, Any]]) -> Any:
    """A figure of bars in rows, each from zero, with upright lines through them."""
    traces = []
    for look in dict.fromkeys(bar.look for bar in bars):
        rows = [row for row, bar in enumerate(bars) if bar.look == look]
        traces.append(charts.lying_bars(
            look.meaning, [row + 0.2 for row in rows], [0.0] * len(rows), [bars[row].length for row in rows], look,
            [bars[row].told for row in rows]))
    return charts.plot(traces, axis, charts.row_axis(len(bars)), rows_px(len(bars), ROW_PX), lines,
                       charts.row_names([(bar.name, bar.said) for bar in bars], 0.2))


def looks_of(bars: Sequence[Length]) -> list[Entry]:
    """The key of bars: each look once."""
    return [patch_entry(look) for look in dict.fromkeys(bar.look for bar in bars)]


def rows_px(count: int, row_px: int) -> int:
    """The height of a chart of lying bars."""
    return count * row_px + 60


def span(values: Iterable[float | None], share: float = 0.06) -> list[float]:
    """A range that holds all values, with some air."""
    known = [value for value in values if value is not None]
    low, high = min(known), max(known)
    air = share * (high - low) or 0.5 * abs(high) or 1.0
    return [low - air, high + air]
