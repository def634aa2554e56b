"""Pieces of a chart: thinning a long series, lines, shading, bands, and the frame they share.

Everything drawn by plotly is built here; the text that plotly would read as markup is escaped here.
"""

from __future__ import annotations

import base64
import html
import json
import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np
import plotly.graph_objects as go

from tumblehome.page import palette

POINTS_MAX = 4000
_SANS = "system-ui, -apple-system, 'Segoe UI', Roboto, 'Helvetica Neue', Arial, sans-serif"
_MARGIN = {"l": 58, "r": 14, "t": 8, "b": 44}
_ROW_PX = 26
_ROW_LETTERS = 46  # above a bar, on a telephone 390 px wide
_GRID = "#e4e2d8"


class Bar(NamedTuple):
    """A stretch of time in a row of a band: seconds on the chart's axis, look, and the word written on it."""

    row: int
    start: float
    end: float
    look: palette.Look
    label: str


class Stroke(NamedTuple):
    """How a line is drawn: colour, dash by plotly's name, width in px."""

    colour: str
    dash: str = "solid"
    width: float = 2.2


class Marks(NamedTuple):
    """Marks of one kind: places, a plotly symbol and a colour."""

    name: str
    xs: Sequence[float]
    ys: Sequence[float]
    symbol: str
    colour: str


def numbers(values: Iterable[float | None]) -> np.ndarray:
    """A series as floats, with NaN where it holds None."""
    return np.array([np.nan if value is None else value for value in values], dtype=float)


def thin(xs: np.ndarray, ys: np.ndarray, limit: int = POINTS_MAX) -> tuple[np.ndarray, np.ndarray]:
    """At most `limit` of the points, in order, that look the same on a screen.

    The series is cut into stretches of equal count; from each the lowest and the highest point stay, and the first
    missing one (NaN) so that a gap remains a gap. The first and the last point always stay.
    """
    if len(ys) <= limit:
        return xs, ys
    kept = {0, len(ys) - 1}
    edges = np.linspace(0, len(ys), max(1, (limit - 2) // 3) + 1).astype(int)
    missing = np.isnan(ys)
    for start, end in zip(edges[:-1], edges[1:], strict=True):
        gap = missing[start:end]
        if gap.any():
            kept.add(int(start + gap.argmax()))
        if not gap.all():
            kept.add(int(start + np.nanargmin(ys[start:end])))
            kept.add(int(start + np.nanargmax(ys[start:end])))
    places = np.array(sorted(kept))
    return xs[places], ys[places]


def line(name: str, xs: np.ndarray, ys: np.ndarray, colour: str, dash: str = "solid", width: float = 2.0,
         unit: str = "", decimals: int = 2) -> go.Scatter:
    """A thinned line. `name`, `unit` and `decimals` are also what the readout beneath the charts says."""
    thin_xs, thin_ys = thin(xs, ys)
    return go.Scatter(
        x=_plain(thin_xs, 1), y=_plain(thin_ys, 4), name=html.escape(name), mode="lines", connectgaps=False,
        line={"color": colour, "dash": dash, "width": width},
        meta={"readout": {"name": name, "unit": unit, "decimals": decimals}})


def long_line(name: str, key: str, stroke: Stroke, unit: str, decimals: int) -> go.Scatter:
    """A line whose readings the script takes from the page's `packed` ones, under `key`, and thins for the window in
    view: the lowest and the highest of each pixel stay, and gaps remain gaps."""
    return go.Scatter(
        x=[], y=[], name=html.escape(name), mode="lines", connectgaps=False,
        line={"color": stroke.colour, "dash": stroke.dash, "width": stroke.width},
        meta={"readout": {"name": name, "unit": unit, "decimals": decimals}, "long": key})


def packed(values: np.ndarray, decimals: int) -> dict[str, Any]:
    """A long series as the script unpacks it: whole numbers of `step` above `base`, little-endian and in Base64, in two
    bytes each where they fit, else in four; the largest number stands for a missing reading."""
    step = 10.0 ** -decimals
    known = ~np.isnan(values)
    base = float(np.floor(values[known].min())) if known.any() else 0.0
    counts = np.round((np.where(known, values, base) - base) / step)
    form = "<u2" if counts.size == 0 or counts.max() < 0xFFFF else "<u4"
    whole = np.where(known, counts, np.iinfo(form).max).astype(form)
    return {"bytes": np.dtype(form).itemsize, "base": base, "decimals": decimals,
            "data": base64.b64encode(whole.tobytes()).decode("ascii")}


def marks(group: Marks, axis: str = "y") -> go.Scatter:
    """Marks of one kind on the axis `axis`."""
    return go.Scatter(
        x=_plain(group.xs, 1), y=_plain(group.ys, 3), yaxis=axis, name=html.escape(group.name), mode="markers",
        cliponaxis=False,
        marker={"symbol": group.symbol, "color": group.colour, "size": 11,
                "line": {"width": 2.5 if group.symbol.endswith(("open", "thin")) else 0, "color": group.colour}})


def band(bars: Sequence[Bar], axis: str) -> list[go.Bar]:
    """Bars in rows, one trace for each look. Their labels are fitted by the page's script."""
    by_look: dict[palette.Look, list[Bar]] = {}
    for bar in bars:
        by_look.setdefault(bar.look, []).append(bar)
    return [_bars_of_one_look(look, same, axis) for look, same in by_look.items()]


def shading(bars: Iterable[Bar], axis: str) -> list[dict[str, Any]]:
    """Pale stripes over the whole height of the axis, one shape a colour, so that thousands of spans stay smooth."""
    stripes: dict[str, list[str]] = {}
    for bar in bars:
        path = f"M{bar.start:.1f},0H{bar.end:.1f}V1H{bar.start:.1f}Z"
        stripes.setdefault(bar.look.colour, []).append(path)
    return [{"type": "path", "path": "".join(paths), "xref": "x", "yref": f"{axis} domain", "layer": "below",
             "line": {"width": 0}, "fillcolor": palette.tint(colour, 0.16)} for colour, paths in stripes.items()]


def upright_lines(xs: Iterable[float], axis: str, colour: str, dash: str) -> list[dict[str, Any]]:
    """Thin lines over the whole height of the axis, as one shape."""
    path = "".join(f"M{x:.1f},0V1" for x in xs)
    if not path:
        return []
    return [{"type": "path", "path": path, "xref": "x", "yref": f"{axis} domain", "layer": "below",
             "line": {"width": 1.2, "color": colour, "dash": dash}}]


def label(row_axis: str, row: float, start: float, end: float, words: str, kind: str) -> dict[str, Any]:
    """A label for the script to fit. `kind`: "inside" its bar or not at all; "beside" its place, unless the one
    before it in the row is in the way; "along" its bar, inside if it fits, else after or before it."""
    return {"axis": row_axis, "row": row, "from": start, "to": end, "text": html.escape(words), "kind": kind}


def time_chart(traces: Sequence[go.Scatter | go.Bar], window: tuple[float, float], y_axis: Mapping[str, Any],
               height_px: int) -> go.Figure:
    """A figure on the shared time axis: `window` in seconds on that axis, one y axis, `height_px` in all."""
    return go.Figure(data=list(traces), layout=_layout(window, height_px) | {"yaxis": _y_axis(y_axis)})


def add_rows(figure: go.Figure, names: Sequence[str], traces: Sequence[go.Scatter | go.Bar],
             shapes: Sequence[Mapping[str, Any]], labels: Sequence[Mapping[str, Any]]) -> go.Figure:
    """The figure with a strip of named rows above it (axis y2), and the labels for the script to fit."""
    strip = len(names) * _ROW_PX
    gap = 12
    inner = figure.layout.height - _MARGIN["t"] - _MARGIN["b"]
    total = inner + gap + strip
    figure.update_layout(
        height=total + _MARGIN["t"] + _MARGIN["b"], bargap=0, barmode="overlay", shapes=list(shapes),
        meta={"labels": list(labels)},
        yaxis={"domain": [0, inner / total]},
        yaxis2=_y_axis({"domain": [1 - strip / total, 1], "range": [len(names) - 0.5, -0.5], "showgrid": False,
                        "ticks": "", "tickvals": list(range(len(names))),
                        "ticktext": [html.escape(name) for name in names]}))
    figure.add_traces(list(traces))
    return figure


def plot(traces: Sequence[Any], x_axis: Mapping[str, Any], y_axis: Mapping[str, Any], height_px: int,
         shapes: Sequence[Mapping[str, Any]] = (), notes: Sequence[Mapping[str, Any]] = (),
         bar_mode: str = "overlay") -> go.Figure:
    """A figure with axes of its own. It holds still under a finger, and pointing at a mark tells its numbers."""
    return go.Figure(data=list(traces), layout=_still(height_px) | {
        "barmode": bar_mode, "bargap": 0, "shapes": list(shapes), "annotations": list(notes),
        "xaxis": _y_axis({"nticks": 8, "automargin": True}) | dict(x_axis),
        "yaxis": _y_axis({"automargin": True}) | dict(y_axis)})


def polar(traces: Sequence[Any], radial_axis: Mapping[str, Any], height_px: int) -> go.Figure:
    """A figure by bearing: 0 degrees up, clockwise, as on a compass."""
    angular = {"rotation": 90, "direction": "clockwise", "tickmode": "linear", "dtick": 30, "gridcolor": _GRID,
               "linecolor": palette.INK, "ticksuffix": "°"}
    radial = {"gridcolor": _GRID, "linecolor": palette.INK, "angle": 90, "tickangle": 90, "showline": False}
    return go.Figure(data=list(traces), layout=_still(height_px) | {
        "margin": {"l": 44, "r": 44, "t": 26, "b": 26},
        "polar": {"bgcolor": "#ffffff", "angularaxis": angular, "radialaxis": radial | dict(radial_axis)}})


def curve(name: str, xs: Sequence[float | None], ys: Sequence[float | None], stroke: Stroke, told: str) -> go.Scatter:
    """A line of a figure with axes of its own. `told` is what pointing at it says, with %{x} and %{y} for numbers."""
    thin_xs, thin_ys = thin(numbers(xs), numbers(ys))
    return go.Scatter(
        x=_six(thin_xs), y=_six(thin_ys), name=html.escape(name), mode="lines", connectgaps=False,
        hovertemplate=_told(name, told), line={"color": stroke.colour, "dash": stroke.dash, "width": stroke.width})


def between(name: str, first: tuple[Sequence[float], Sequence[float]], last: tuple[Sequence[float], Sequence[float]],
            colour: str) -> go.Scatter:
    """The area between two lines, each (xs, ys), in a pale tint."""
    xs = [*first[0], *reversed(last[0])]
    ys = [*first[1], *reversed(last[1])]
    return go.Scatter(x=_six(xs), y=_six(ys), name=html.escape(name), mode="lines", fill="toself", hoverinfo="skip",
                      fillcolor=palette.tint(colour, 0.22), line={"width": 0})


def spots(group: Marks, told: Sequence[str], axis: str = "y") -> go.Scatter:
    """Marks with a text each that pointing at them tells."""
    trace = marks(group, axis)
    trace.update(x=_exact(group.xs), y=_exact(group.ys), hovertemplate="%{text}<extra></extra>",
                 text=[html.escape(words) for words in told])
    return trace


def sector(name: str, middle_deg: float, width_deg: float, outer: float, look: palette.Look) -> go.Barpolar:
    """A hatched sector of a polar figure, from the middle out to `outer` on its radial axis."""
    return go.Barpolar(theta=[middle_deg], width=[width_deg], r=[outer], name=html.escape(name),
                       hovertemplate=_told(name, ""), marker=_hatched(look))


def round_curve(name: str, bearings_deg: Sequence[float], radii: Sequence[float | None], stroke: Stroke,
                told: Sequence[str] | None = None, filled: bool = False) -> go.Scatterpolar:
    """A line around a polar figure; `told` is what pointing at each of its points says, None: nothing."""
    return go.Scatterpolar(
        theta=_six(bearings_deg), r=_six(numbers(radii)), name=html.escape(name), mode="lines",
        line={"color": stroke.colour, "dash": stroke.dash, "width": stroke.width},
        fill="toself" if filled else "none", fillcolor=palette.tint(stroke.colour, 0.16),
        text=None if told is None else [html.escape(words) for words in told],
        hovertemplate=None if told is None else "%{text}<extra></extra>", hoverinfo="skip" if told is None else None)


def axis_title(words: str) -> dict[str, Any]:
    """The title of an axis, close to its numbers."""
    return {"title": {"text": html.escape(words), "standoff": 6, "font": {"size": 13}}}


def lying_bars(name: str, rows: Sequence[float], starts: Sequence[float], lengths: Sequence[float], look: palette.Look,
               told: Sequence[str], width: float = 0.36) -> go.Bar:
    """Lying bars of one look, each from its start; `told` is what pointing at each says."""
    return go.Bar(
        orientation="h", y=list(rows), base=_exact(starts), x=_exact(lengths), width=width, name=html.escape(name),
        marker=_hatched(look), hovertemplate="%{text}<extra></extra>", text=[html.escape(words) for words in told],
        textposition="none")


def row_names(names: Sequence[tuple[str, str]], above: float = 0.32) -> list[dict[str, Any]]:
    """What stands above the bar of each row: a name in bold and what is said of it, which may begin a new line.

    A name that would be cut off on a telephone is shortened; pointing at the bar tells it whole.
    """
    names = [(shorter(name, _ROW_LETTERS - len(said.split("\n")[0])), said) for name, said in names]
    return [{"xref": "paper", "x": 0, "yref": "y", "y": row - above, "xanchor": "left", "yanchor": "middle",
             "xshift": 4, "showarrow": False, "align": "left", "font": {"size": 12.5},
             "bgcolor": "rgba(255,255,255,0.75)", "borderpad": 0,
             "text": f"<b>{html.escape(name)}</b>{html.escape(said)}".replace("\n", "<br>")}
            for row, (name, said) in enumerate(names)]


def shorter(words: str, letters: int) -> str:
    """The words, or as many of their letters as there may be, with an ellipsis for the rest."""
    return words if len(words) <= letters else f"{words[:letters - 1].rstrip()}…"


def row_axis(count: int) -> dict[str, Any]:
    """The axis of `count` rows, the first on top, named by `row_names` and not beside it."""
    return {"range": [count - 0.45, -0.72], "showticklabels": False, "ticks": "", "showgrid": False, "showline": False,
            "automargin": False}


def upright_band(start: float, end: float, shade: str) -> dict[str, Any]:
    """A shade behind a figure, from one place of its x axis to another, over its whole height."""
    return {"type": "rect", "xref": "x", "x0": start, "x1": end, "yref": "paper", "y0": 0, "y1": 1, "layer": "below",
            "line": {"width": 0}, "fillcolor": shade}


def across(at: float, stroke: Stroke, upright: bool = True) -> dict[str, Any]:
    """A line through a whole figure: upright at `at` of its x axis, or level at `at` of its y axis."""
    along = {"yref": "paper", "y0": 0, "y1": 1, "xref": "x", "x0": at, "x1": at} if upright else \
        {"xref": "paper", "x0": 0, "x1": 1, "yref": "y", "y0": at, "y1": at}
    return {"type": "line", "line": {"color": stroke.colour, "width": stroke.width, "dash": stroke.dash}, **along}


def ring(east: float, north: float, radius: float, stroke: Stroke) -> dict[str, Any]:
    """A circle on a map, in the unit of its axes."""
    return {"type": "circle", "xref": "x", "yref": "y", "x0": east - radius, "x1": east + radius,
            "y0": north - radius, "y1": north + radius,
            "line": {"color": stroke.colour, "width": stroke.width, "dash": stroke.dash}}


def note_at(x: float | str, y: float, words: str, **placed: Any) -> dict[str, Any]:
    """A few words beside a place of a figure; `placed` is how, in plotly's names."""
    return {"x": x, "y": y, "text": html.escape(words), "showarrow": False, "font": {"size": 12.5},
            "bgcolor": "rgba(255,255,255,0.8)", "borderpad": 1} | placed


def finished(figure: go.Figure) -> dict[str, Any]:
    """The figure as plain data for `parts.chart_frame`."""
    return json.loads(figure.to_json())


def _bars_of_one_look(look: palette.Look, bars: Sequence[Bar], axis: str) -> go.Bar:
    return go.Bar(
        orientation="h", yaxis=axis, name="", y=[bar.row for bar in bars], base=_plain([bar.start for bar in bars], 1),
        x=_plain([bar.end - bar.start for bar in bars], 1), width=0.78,
        marker=_hatched(look))


def _hatched(look: palette.Look) -> dict[str, Any]:
    return {"color": palette.tint(look.colour, 0.4), "line": {"width": 0.7, "color": palette.INK},
            "pattern": {"shape": look.pattern, "size": 7, "solidity": 0.22, "fgcolor": look.colour,
                        "fillmode": "overlay"}}


def _paper(height_px: int) -> dict[str, Any]:
    return {
        "template": go.layout.Template(), "height": height_px, "margin": _MARGIN, "showlegend": False,
        "paper_bgcolor": "rgba(0,0,0,0)", "plot_bgcolor": "#ffffff",
        "font": {"family": _SANS, "size": 13, "color": palette.INK}}


def _still(height_px: int) -> dict[str, Any]:
    return _paper(height_px) | {
        "margin": _MARGIN | {"l": 14, "t": 14}, "hovermode": "closest", "dragmode": False,
        "hoverlabel": {"bgcolor": "#ffffff", "font": {"color": palette.INK}}}


def _layout(window: tuple[float, float], height_px: int) -> dict[str, Any]:
    return _paper(height_px) | {
        "hovermode": False, "dragmode": "zoom",
        "xaxis": {"range": list(window), "showgrid": True, "gridcolor": _GRID, "zeroline": True,
                  "zerolinecolor": palette.INK, "zerolinewidth": 1, "showline": True, "linecolor": palette.INK,
                  "ticks": "outside", "tickcolor": palette.INK, "anchor": "y"}}


def _y_axis(wanted: Mapping[str, Any]) -> dict[str, Any]:
    return {"fixedrange": True, "gridcolor": _GRID, "zeroline": False, "showline": True,
            "linecolor": palette.INK, "ticks": "outside", "tickcolor": palette.INK, "nticks": 6} | dict(wanted)


def _plain(values: Iterable[float], decimals: int) -> list[float | None]:
    return [None if value != value else round(float(value), decimals) for value in values]


def _told(name: str, told: str) -> str:
    return f"{html.escape(name)}{'<br>' if told else ''}{told}<extra></extra>"


def _exact(values: Iterable[float | None]) -> list[float | None]:
    """Numbers for an axis; None where one is missing or endless."""
    return [None if value is None or not math.isfinite(value) else float(value) for value in values]


def _six(values: Iterable[float | None]) -> list[float | None]:
    """The same with six digits that count: what a picture can show at any scale."""
    return [None if value is None else float(f"{value:.6g}") for value in _exact(values)]
