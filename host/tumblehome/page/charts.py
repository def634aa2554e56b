"""Pieces of a chart: thinning a long series, lines, shading, bands, and the frame they share.

Everything drawn by plotly is built here; the text that plotly would read as markup is escaped here.
"""

from __future__ import annotations

import html
import json
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np
import plotly.graph_objects as go

from tumblehome.page import palette

POINTS_MAX = 4000
_SANS = "system-ui, -apple-system, 'Segoe UI', Roboto, 'Helvetica Neue', Arial, sans-serif"
_MARGIN = {"l": 58, "r": 14, "t": 8, "b": 44}
_ROW_PX = 26


class Bar(NamedTuple):
    """A stretch of time in a row of a band: seconds on the chart's axis, look, and the word written on it."""

    row: int
    start: float
    end: float
    look: palette.Look
    label: str


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


def finished(figure: go.Figure) -> dict[str, Any]:
    """The figure as plain data for `parts.chart_frame`."""
    return json.loads(figure.to_json())


def _bars_of_one_look(look: palette.Look, bars: Sequence[Bar], axis: str) -> go.Bar:
    return go.Bar(
        orientation="h", yaxis=axis, name="", y=[bar.row for bar in bars], base=_plain([bar.start for bar in bars], 1),
        x=_plain([bar.end - bar.start for bar in bars], 1), width=0.78,
        marker={"color": palette.tint(look.colour, 0.4), "line": {"width": 0.7, "color": palette.INK},
                "pattern": {"shape": look.pattern, "size": 7, "solidity": 0.22, "fgcolor": look.colour,
                            "fillmode": "overlay"}})


def _layout(window: tuple[float, float], height_px: int) -> dict[str, Any]:
    return {
        "template": go.layout.Template(), "height": height_px, "margin": _MARGIN, "showlegend": False,
        "hovermode": False, "dragmode": "zoom", "paper_bgcolor": "rgba(0,0,0,0)", "plot_bgcolor": "#ffffff",
        "font": {"family": _SANS, "size": 13, "color": palette.INK},
        "xaxis": {"range": list(window), "showgrid": True, "gridcolor": "#e4e2d8", "zeroline": True,
                  "zerolinecolor": palette.INK, "zerolinewidth": 1, "showline": True, "linecolor": palette.INK,
                  "ticks": "outside", "tickcolor": palette.INK, "anchor": "y"}}


def _y_axis(wanted: Mapping[str, Any]) -> dict[str, Any]:
    return {"fixedrange": True, "gridcolor": "#e4e2d8", "zeroline": False, "showline": True,
            "linecolor": palette.INK, "ticks": "outside", "tickcolor": palette.INK, "nticks": 6} | dict(wanted)


def _plain(values: Iterable[float], decimals: int) -> list[float | None]:
    return [None if value != value else round(float(value), decimals) for value in values]
