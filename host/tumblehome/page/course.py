"""The course of one dive on a page: depth with states, attempts and resets, and the panels that move with it.

Pages of simulated dives and of real ones draw it from the same `Course`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from tumblehome.page import charts, palette, parts
from tumblehome.page.clock import DiveClock
from tumblehome.page.parts import Html
from tumblehome.wording import elapsed


class Marking(NamedTuple):
    """How one kind of happening is marked."""

    symbol: str
    colour: str
    words: str


_MARKINGS = {
    "primary": Marking("circle", palette.VERMILLION, "attempt, primary"),
    "backup": Marking("square-open", "#8a2f63", "attempt, backup"),
    "second": Marking("diamond-open", palette.INK, "attempt, second board"),
    "reset": Marking("x-thin", palette.BLACK, "controller reset"),
    "fault": Marking("triangle-down", palette.BLACK, "fault begins"),
    "surfaced": Marking("star", palette.BLUE, "surfaced"),
}
_PLAIN = palette.Look(palette.GREY, "/", "")
_FEW = 12  # resets whose black lines still leave the depth to be seen


class Trace(NamedTuple):
    """A series of a panel and how it is drawn."""

    key: str
    words: str
    colour: str
    dash: str
    width: float
    unit: str
    decimals: int


class Panel(NamedTuple):
    """A chart below the depth: its heading, its traces, and what its summary calls them."""

    name: str
    heading: str
    traces: tuple[Trace, ...]


DEPTH = (
    Trace("depth_m", "depth", palette.INK, "solid", 3.2, "m", 1),
    Trace("sensed_depth_m", "depth as the controller reads it", palette.VERMILLION, "dash", 1.8, "m", 1),
)
PANELS = (
    Panel("volts", "Battery voltage, V", (Trace("supply_v", "voltage", palette.BLUE, "solid", 1.8, "V", 2),)),
    Panel("amps", "Battery current, A",
           (Trace("current_a", "current", palette.VERMILLION, "solid", 1.8, "A", 2),)),
    Panel("heat", "Temperatures, °C", (
        Trace("camera_c", "camera", palette.VERMILLION, "solid", 2.2, "°C", 1),
        Trace("housing_c", "housing", palette.INK, "dash", 1.8, "°C", 1),
        Trace("water_c", "water", palette.BLUE, "dot", 2.4, "°C", 1))),
)


def every_trace(depth: Sequence[Trace]) -> tuple[Trace, ...]:
    """All that is drawn of a course over time: these of the depth, and those of the panels."""
    return (*depth, *(trace for panel in PANELS for trace in panel.traces))


@dataclass
class Course:
    """What there is to draw. Times are seconds of the run, those of `times` seconds since the clock's origin.

    `series` has the readings at `times` by the keys of `DEPTH` and `PANELS`, NaN where there is none. A span has a
    `state`, `from_s` and `to_s`; an attempt `channel`, `from_s` and `to_s`; a fault `name`, `from_s` and `to_s`, where
    None is the end of the run. A `long` course has all its readings in the page, and the script thins them for the
    window in view. `beside` are other courses drawn with the depth, each with its own times on the axis and depths.
    """

    clock: DiveClock
    times: np.ndarray
    series: Mapping[str, np.ndarray]
    start_s: float
    end_s: float
    spans: Sequence[Mapping[str, Any]] = ()
    attempts: Sequence[Mapping[str, Any]] = ()
    second_attempts: Sequence[Mapping[str, Any]] = ()
    faults: Sequence[Mapping[str, Any]] = ()
    resets: Sequence[float] = ()
    surfaced_s: float | None = None
    long: bool = False
    depth: tuple[Trace, ...] = DEPTH
    beside: Sequence[tuple[Trace, np.ndarray, np.ndarray]] = ()

    @property
    def window(self) -> tuple[float, float]:
        """The whole run on the time axis, with a little air on both sides."""
        air = 0.01 * (self.end_s - self.start_s)
        return self.clock.since(self.start_s) - air, self.clock.since(self.end_s) + air

    def depth_at(self, time_s: float) -> float:
        """Depth in m at an instant of the run; 0 where it is not known."""
        for trace in self.depth:
            values = self.series[trace.key]
            known = ~np.isnan(values)
            if known.any():
                return float(np.interp(self.clock.since(time_s), self.times[known], values[known]))
        return 0.0

    def until(self, happening: Mapping[str, Any]) -> float:
        """When a happening ended, in seconds of the run: the end of the run if it never did."""
        end = happening.get("to_s")
        return self.end_s if end is None else end


def section(heading: str, course: Course) -> Html:
    """The charts of a course under their heading."""
    if not course.spans and not len(course.times):
        return parts.section(heading, parts.note("No readings were kept of this run."), name="charts")
    return parts.section(heading, drawn(course), name="charts")


def drawn(course: Course) -> Html:
    """The charts of a course, what zooms and moves them, and the cursor that reads them."""
    windows = views(course)
    without = parts.element("noscript", parts.note("The charts need JavaScript; the tables below do not."))
    axis = f"Time runs in hours:minutes:seconds since {course.clock.origin_name}" \
           + ("; below it UTC." if course.clock.origin_utc else ".")
    figures = [_depth_chart(course), *(_panel_chart(course, panel) for panel in PANELS)]
    return parts.join((
        without, parts.time_buttons(windows), parts.element("p", axis, class_="axis-note"), *figures,
        parts.time_cursor(windows[0], _zero_ms(course.clock), course.clock.origin_name),
        *([_readings(course)] if course.long else [])))


def _readings(course: Course) -> Html:
    """All readings of a long course, packed, for the script."""
    known = {trace.key: charts.packed(course.series[trace.key], trace.decimals + 1)
             for trace in every_trace(course.depth)
             if not np.isnan(course.series[trace.key]).all()}
    return parts.island("long-readings", {"time": charts.packed(course.times, 1), "series": known})


def _zero_ms(clock: DiveClock) -> float | None:
    return None if clock.origin_utc is None else clock.origin_utc.timestamp() * 1000


def views(course: Course) -> list[tuple[str, float, float]]:
    """Windows worth a button, the whole first. Each but the first holds the named states and some air."""
    wanted = (("Descent", ("descend",)), ("Bottom", ("record",)), ("Release", ("release", "backup")),
              ("Ascent", ("ascend",)), ("Surface", ("surface",)))
    views = [("Whole dive", *course.window)]
    for name, states in wanted:
        spans = [span for span in course.spans if span["state"] in states]
        if spans:
            start, end = min(span["from_s"] for span in spans), max(span["to_s"] for span in spans)
            air = max(5.0, 0.08 * (end - start))
            views.append((name, course.clock.since(start) - air, course.clock.since(end) + air))
    return views


def _state_bars(course: Course) -> list[charts.Bar]:
    since = course.clock.since
    return [charts.Bar(0, since(span["from_s"]), since(span["to_s"]), palette.state_look(span["state"]), span["state"])
            for span in course.spans]


def _marked(course: Course) -> dict[str, list[float]]:
    """Instants of the run by kind of mark."""
    attempts, surfaced = course.attempts, course.surfaced_s
    return {
        "primary": [attempt["from_s"] for attempt in attempts if attempt["channel"] == "primary"],
        "backup": [attempt["from_s"] for attempt in attempts if attempt["channel"] != "primary"],
        "second": [attempt["from_s"] for attempt in course.second_attempts],
        "reset": list(course.resets),
        "fault": [fault["from_s"] for fault in course.faults],
        "surfaced": [] if surfaced is None else [surfaced],
    }


def _depth_chart(course: Course) -> Html:
    bars = _state_bars(course)
    marked = {kind: times for kind, times in _marked(course).items() if times}
    traces, entries = _lines(course, course.depth)
    for trace, times, depths in course.beside:
        traces.insert(0, charts.line(trace.words, times, depths, trace.colour, trace.dash, trace.width, trace.unit,
                                     trace.decimals))
        entries.append((parts.line_swatch(trace.colour, trace.dash, trace.width), trace.words, ""))
    traces += [charts.marks(_marks_at_depth(course, kind, times)) for kind, times in marked.items()]
    deepest = max([1.0, *(float(np.nanmax(course.series[trace.key])) for trace in course.depth
                          if not np.isnan(course.series[trace.key]).all())])
    figure = charts.time_chart(traces, course.window, {"range": [1.06 * deepest, -0.10 * deepest]}, 392)
    names, row_traces, labels = _rows(course, bars, marked)
    shapes = charts.shading(bars, "y")
    resets = marked.get("reset", ())
    shapes += charts.upright_lines(map(course.clock.since, resets), "y",
                                   palette.BLACK if len(resets) <= _FEW else palette.PALE, "dot")
    shapes += charts.upright_lines(map(course.clock.since, marked.get("fault", ())), "y", palette.BLACK, "dash")
    charts.add_rows(figure, names, row_traces, shapes, labels)
    states = dict.fromkeys(bar.label for bar in bars)
    key = parts.join((
        parts.key_list((parts.state_swatch(state), state, palette.state_look(state).meaning)
                       for state in states),
        parts.key_list(entries + [(parts.mark_swatch(_MARKINGS[kind].symbol, _MARKINGS[kind].colour),
                                   _MARKINGS[kind].words, "") for kind in marked])))
    return parts.chart_frame("depth", "Depth, m, and what the lander did", charts.finished(figure),
                             _depth_summary(course), key)


def _marks_at_depth(course: Course, kind: str, times: list[float]) -> charts.Marks:
    marking = _MARKINGS[kind]
    return charts.Marks(marking.words, [course.clock.since(time) for time in times],
                        [course.depth_at(time) for time in times], marking.symbol, marking.colour)


def _rows(course: Course, bars: list[charts.Bar], marked: Mapping[str, list[float]]) -> tuple[list, list, list]:
    """The strip above the depth: names of its rows, its traces, and its labels."""
    since = course.clock.since
    names, stretches, traces = ["state"], list(bars), []
    labels = [charts.label("y2", 0, bar.start, bar.end, bar.label, "inside") for bar in bars]
    if course.attempts:
        row = len(names)
        names.append("release")
        for number, attempt in enumerate(course.attempts, 1):
            start, end = since(attempt["from_s"]), since(course.until(attempt))
            stretches.append(charts.Bar(row, start, end, _PLAIN, ""))
            labels.append(charts.label("y2", row, start, end, str(number), "beside"))
        traces += [_row_marks(course, kind, row, marked[kind]) for kind in ("primary", "backup") if kind in marked]
    if "second" in marked:
        row = len(names)
        names.append("board 2")
        stretches += [charts.Bar(row, since(attempt["from_s"]), since(course.until(attempt)), _PLAIN, "")
                      for attempt in course.second_attempts]
        traces.append(_row_marks(course, "second", row, marked["second"]))
    if "reset" in marked:
        traces.append(_row_marks(course, "reset", len(names), marked["reset"]))
        names.append("resets")
    for name in dict.fromkeys(fault["name"] for fault in course.faults):
        row = len(names)
        same = [fault for fault in course.faults if fault["name"] == name]
        names.append("faults" if "faults" not in names else "")
        for fault in same:
            start, end = since(fault["from_s"]), since(course.until(fault))
            stretches.append(charts.Bar(row, start, end, _PLAIN, name))
            labels.append(charts.label("y2", row, start, end, name, "along"))
        traces.append(_row_marks(course, "fault", row, [fault["from_s"] for fault in same]))
    return names, [*charts.band(stretches, "y2"), *traces], labels


def _row_marks(course: Course, kind: str, row: int, times: list[float]) -> Any:
    marking = _MARKINGS[kind]
    return charts.marks(charts.Marks(marking.words, [course.clock.since(time) for time in times],
                                     [row] * len(times), marking.symbol, marking.colour), "y2")


def _lines(course: Course, wanted: tuple[Trace, ...]) -> tuple[list, list[tuple[Html, str, str]]]:
    """The lines there are readings for, and their entries in the key."""
    traces, entries = [], []
    for trace in wanted:
        values = course.series[trace.key]
        if np.isnan(values).all():
            continue
        if course.long:
            traces.append(charts.long_line(trace.words, trace.key, charts.Stroke(trace.colour, trace.dash, trace.width),
                                           trace.unit, trace.decimals))
        else:
            traces.append(charts.line(trace.words, course.times, values, trace.colour, trace.dash, trace.width,
                                      trace.unit, trace.decimals))
        entries.append((parts.line_swatch(trace.colour, trace.dash, trace.width), trace.words, ""))
    return traces, entries


def _panel_chart(course: Course, panel: Panel) -> Html:
    traces, entries = _lines(course, panel.traces)
    if not traces:
        return parts.note("No readings of this kind in the run.", heading=panel.heading)
    figure = charts.time_chart(traces, course.window, {}, 190 if len(panel.traces) == 1 else 240)
    summary = " ".join(_extremes(course, trace) for trace in panel.traces)
    key = parts.key_list(entries) if len(entries) > 1 else Html("")
    return parts.chart_frame(panel.name, panel.heading, charts.finished(figure), summary, key)


def _extremes(course: Course, trace: Trace) -> str:
    """One sentence with the lowest and the highest reading of a series and their times."""
    values = course.series[trace.key]
    if np.isnan(values).all():
        return f"No readings of {trace.words}."
    lowest, highest = int(np.nanargmin(values)), int(np.nanargmax(values))
    said = [f"{values[at]:.{trace.decimals}f} {trace.unit} at {elapsed(float(course.times[at]))}"
            for at in (lowest, highest)]
    return f"{trace.words.capitalize()}: lowest {said[0]}, highest {said[1]}."


def _depth_summary(course: Course) -> str:
    said = []
    depth = next((course.series[trace.key] for trace in course.depth
                  if not np.isnan(course.series[trace.key]).all()), np.array([np.nan]))
    if not np.isnan(depth).all():
        deepest = int(np.nanargmax(depth))
        said.append(f"Deepest {depth[deepest]:.1f} m at {elapsed(float(course.times[deepest]))}.")
    stays: dict[str, float] = {}
    for span in course.spans:
        stays[span["state"]] = stays.get(span["state"], 0.0) + span["to_s"] - span["from_s"]
    if stays:
        said.append("Time in each state: " + ", ".join(f"{state} {elapsed(stay)}" for state, stay in stays.items())
                    + ".")
    counts = ((len(course.attempts), "release attempt"), (len(course.resets), "controller reset"),
              (len(course.faults), "fault"))
    said.append(", ".join(f"{count} {word}{'' if count == 1 else 's'}" for count, word in counts) + ".")
    surfaced = course.surfaced_s
    said.append("Never seen at the surface." if surfaced is None
                else f"Surfaced at {course.clock.elapsed(surfaced)}.")
    return " ".join(said)
