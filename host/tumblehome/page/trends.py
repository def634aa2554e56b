"""The page of several dives of one lander: what is wearing out, then each measure over the dives, then the table."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

from lander import VERSION
from tumblehome.debrief.trends import CHANCE, DIVES_LEAST, MEASURES, Measure, Row, Trend, Trends
from tumblehome.page import charts, palette, parts
from tumblehome.page.parts import Column, Html, Verdict
from tumblehome.wording import NOTHING, shown

_HEIGHT_PX = 190
_DIVES = charts.Stroke(palette.INK, "dot", 1.2)
_LINE = charts.Stroke(palette.GREY, "dash", 1.6)
_WEARING = charts.Stroke(palette.VERMILLION, "solid", 2.6)


def trends_page(told: Trends, source: str) -> str:
    """One HTML file that tells the dives of `source` and opens with no network; the same dives give the same page."""
    verdict = verdict_of(told)
    sections = (_measures(told), _dives(told), _remarks(told), _origin(told, source))
    header = parts.element("header", parts.join((
        parts.element("p", "Dives of one lander", class_="kind"), parts.element("h1", Path(source).name or source),
        parts.element("p", f"{_counted(told.rows)} · all times UTC (Z)", class_="when"))))
    panel = parts.verdict_panel(verdict, _facts(told), [_sentence(trend) for trend in told.worn[1:]])
    body = parts.join((header, panel, parts.contents(*sections), *sections))
    footer = parts.element("p", f"tumblehome {VERSION} · {source}")
    return parts.frame(f"{verdict.word}: {Path(source).name or source}", body, footer)


def verdict_of(told: Trends) -> Verdict:
    """What is wearing out, or that nothing is, or that there are too few dives to tell."""
    if told.worn:
        return Verdict("bad", "Wearing out", _sentence(told.worn[0]))
    if len(told.rows) < DIVES_LEAST:
        return Verdict("warn", "Too early to tell", f"What wears out shows over {DIVES_LEAST} dives or more.")
    return Verdict("good", "Nothing wears out", "No measure goes the bad way by more than dives differ by themselves.")


def _sentence(trend: Trend) -> str:
    """The trend as a sentence of its own: its measure, and what to look at."""
    said = trend.sentence().removeprefix("wearing out: ")
    return f"{said[:1].upper()}{said[1:]}."


def _counted(rows: Sequence[Row]) -> str:
    return "1 dive" if len(rows) == 1 else f"{len(rows)} dives"


def _facts(told: Trends) -> list[tuple[str, str]]:
    moments = [row.began for row in told.rows if row.began is not None]
    hours = sum(row.bottom_min or 0.0 for row in told.rows) / 60.0
    deepest_m = max((row.deepest_m for row in told.rows if row.deepest_m is not None), default=None)
    chips = sorted({row.chip for row in told.rows if row.chip is not None})
    return [("First dive", shown(min(moments, default=None))), ("Last dive", shown(max(moments, default=None))),
            ("On the bottom, in all", f"{hours:.1f} h"),
            ("Deepest", NOTHING if deepest_m is None else f"{deepest_m:.1f} m"),
            ("Controller", ", ".join(chips) or "not told")]


# --- each measure over the dives ------------------------------------------------------------------------------------


def _measures(told: Trends) -> Html:
    """A chart for each measure that changes, those that wear out first; one sentence for those that never do."""
    worn = {trend.measure.name for trend in told.worn}
    found = {trend.measure.name: trend for trend in told.trends}
    points_of = {measure: points for measure in sorted(MEASURES, key=lambda measure: measure.name not in worn)
                 if (points := _points(measure, told.rows))}
    moving = {measure: points for measure, points in points_of.items() if len({point.value for point in points}) > 1}
    still = [f"{measure.called} {_written(measure, points[0].value)}" for measure, points in points_of.items()
             if measure not in moving]
    pieces = [parts.beside(*(_figure(measure, points, found.get(measure.name), len(told.rows))
                             for measure, points in moving.items()))] if moving else []
    if still:
        pieces.append(parts.element("p", f"The same in every dive: {', '.join(still)}."))
    if any(measure.name in found for measure in moving):
        pieces.append(parts.element("p", _READ, class_="small"))
    return parts.section("Each measure over the dives", *pieces, name="measures")


_READ = (f"A line is drawn where {DIVES_LEAST} dives or more tell the measure: the median of all slopes between two of"
         " them (Theil and Sen). It counts where so much order comes by chance less than once in"
         f" {1 / CHANCE:.0f} cases (Kendall) and the change is more than does no harm.")


class _Point(NamedTuple):
    """One measure in one dive: the number of the dive on the page, the value, and when the dive began, in words."""

    number: int
    value: float
    began: str


def _points(measure: Measure, rows: Sequence[Row]) -> list[_Point]:
    """The dives that tell the measure."""
    return [_Point(number, float(value), shown(row.began)) for number, row in enumerate(rows, 1)
            if (value := row.value(measure.name)) is not None]


def _figure(measure: Measure, points: Sequence[_Point], trend: Trend | None, dives: int) -> Html:
    name = measure.called.capitalize()
    numbers, values = [point.number for point in points], [point.value for point in points]
    traces = [charts.curve(name, numbers, values, _DIVES, ""), charts.spots(
        charts.Marks(name, numbers, values, "circle", palette.INK),
        [f"dive {point.number}, {point.began}: {_written(measure, point.value)}" for point in points])]
    key = [(parts.mark_swatch("circle", palette.INK), "a dive", "")]
    if trend is not None:
        stroke = _WEARING if trend.wears else _LINE
        traces.append(charts.curve("trend", [numbers[0], numbers[-1]], [trend.first, trend.last], stroke, ""))
        key.append((parts.line_swatch(stroke.colour, stroke.dash, stroke.width),
                    "wearing out" if trend.wears else "trend" if trend.counts else "no trend", ""))
    along = {"range": [0.5, dives + 0.5], "dtick": max(1, dives // 8), "tick0": 1}
    figure = charts.plot(traces, along | charts.axis_title("dive, in order of time"),
                         charts.axis_title(measure.unit or "count"), _HEIGHT_PX)
    return parts.chart_frame(f"{measure.name}-over-dives", name, charts.finished(figure),
                             _summary(measure, values, trend), parts.key_list(key), on_time_axis=False)


def _summary(measure: Measure, values: Sequence[float], trend: Trend | None) -> str:
    if trend is not None and trend.counts:
        return _sentence(trend)
    why = "no trend" if trend is not None else f"{DIVES_LEAST} dives or more are needed for a trend"
    return f"{_written(measure, min(values))} to {_written(measure, max(values))}; {why}."


def _written(measure: Measure, value: float) -> str:
    return f"{value:.{measure.digits}f}{' ' + measure.unit if measure.unit else ''}"


# --- the dives ------------------------------------------------------------------------------------------------------


def _dives(told: Trends) -> Html:
    columns = (Column("Dive", numeric=True), Column("Journal"), Column("Began"), *(
        Column(f"{measure.called.capitalize()}{', ' + measure.unit if measure.unit else ''}", numeric=True)
        for measure in MEASURES))
    rows = [(number, f"{Path(row.source).name}, {row.dive}", shown(row.began),
             *(shown(value if value is None else float(value), measure.digits)
               for measure in MEASURES for value in (row.value(measure.name),)))
            for number, row in enumerate(told.rows, 1)]
    return parts.section("The dives", parts.table("Each dive as its journal tells it.", columns, rows, wide=True),
                         name="dives")


def _remarks(told: Trends) -> Html:
    said = [trend.sentence() for trend in told.trends if trend.counts and not trend.wears] + told.remarks
    if not said:
        return Html("")
    items = [parts.element("li", f"{sentence[:1].upper()}{sentence[1:].rstrip('.')}.") for sentence in said]
    return parts.section("What else there is to say", parts.element("ul", parts.join(items)), name="remarks")


def _origin(told: Trends, source: str) -> Html:
    return parts.section("Where this comes from", parts.facts_list([
        ("Folder", source), ("Dives", str(len(told.rows))), ("Version", f"tumblehome {VERSION}")]), name="origin")
