"""Weights of a plan part by part, and its water by depth."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, NamedTuple

from tumblehome.page import charts, palette, parts
from tumblehome.page.charts import Stroke
from tumblehome.page.palette import Look
from tumblehome.page.parts import Html
from tumblehome.page.pictures.drawing import (
    LIKELY,
    OTHER,
    THIRD,
    Length,
    framed,
    from_zero,
    line_entry,
    looks_of,
    rows_of,
    span,
    there,
)

if TYPE_CHECKING:
    from seatrial.plan import Plan
    from seatrial.workings.chapter import Chapter

_ROLE_LOOKS = {
    "body": Look(palette.SKY, "/", "body"),
    "float": Look(palette.GREEN, "", "float"),
    "ballast": Look(palette.VERMILLION, "x", "ballast"),
}
_OTHER_ROLE = Look(palette.GREY, ".", "other")
_WEIGHT = "seabed_kg"  # the column of the table of parts that is drawn


class _Load(NamedTuple):
    """A state of the ballast: the series of the lander's weight in it, its words, its line."""

    series: str
    words: str
    stroke: Stroke


_LOADS = (
    _Load("laden_kg", "with ballast", LIKELY),
    _Load("half_stuck_kg", "half the ballast stuck", THIRD),
    _Load("bare_kg", "without ballast", OTHER),
)


def column(chapter: Chapter, _plan: Plan) -> Iterator[Html]:
    """The water by depth, each of its measures beside the others."""
    panels = (("temperature_c", "Temperature", "°C", 1), ("density_kg_m3", "Density", "kg/m3", 1),
              ("sound_speed_m_s", "Speed of sound", "m/s", 0), ("current_m_s", "Current", "m/s", 2))
    drawn = [_profile(chapter, *panel) for panel in panels
             if there(chapter, "depth_m", panel[0]) and any(value is not None for value in chapter.series[panel[0]])]
    if drawn:
        yield parts.beside(*drawn)


def _profile(chapter: Chapter, name: str, heading: str, unit: str, digits: int) -> Html:
    depths_m, values = chapter.series["depth_m"], chapter.series[name]
    deepest_m = max(depths_m)
    line = charts.curve(heading, values, depths_m, LIKELY, f"%{{x:.{digits}f}} {unit} at %{{y:.0f}} m")
    known = [(value, depth_m) for value, depth_m in zip(values, depths_m, strict=True) if value is not None]
    axis = {"nticks": 4, "range": span(value for value, _depth_m in known)}
    figure = charts.plot([line], axis, {"range": [1.03 * deepest_m, -0.03 * deepest_m], "ticksuffix": " m"}, 300)
    ends = [f"{value:.{digits}f} {unit} at {depth_m:.0f} m" for value, depth_m in (known[0], known[-1])]
    return framed(f"profile-{name.split('_')[0]}", f"{heading}, {unit}", figure, f"{ends[0]}, {ends[1]}.")


def weights(chapter: Chapter, _plan: Plan) -> Iterator[Html]:
    """What each part weighs in the water at the seabed, and the whole lander on its way down."""
    yield from _by_part(chapter)
    yield from _by_depth(chapter)


def _by_part(chapter: Chapter) -> Iterator[Html]:
    rows = [row for row in rows_of(chapter, "parts") if isinstance(row.get(_WEIGHT), int | float)]
    if not rows:
        return
    bars = [Length(str(row["name"]), f": {row[_WEIGHT]:.2f} kg", row[_WEIGHT],
                   _ROLE_LOOKS.get(str(row["role"]), _OTHER_ROLE), f"{row['name']}: {row[_WEIGHT]:.2f} kg")
            for row in rows]
    zero = charts.across(0.0, Stroke(palette.INK, "solid", 1.4))
    figure = from_zero(bars, {"range": span([0.0, *(bar.length for bar in bars)]), "ticksuffix": " kg"}, [zero])
    total_kg = sum(bar.length for bar in bars)
    summary = (f"To the right what pulls down, to the left what lifts; with the ballast together {abs(total_kg):.1f} kg"
               f" {'down' if total_kg >= 0 else 'up'}.")
    yield framed("weights-by-part", "Weight in the water at the seabed, kg", figure, summary, looks_of(bars))


def _by_depth(chapter: Chapter) -> Iterator[Html]:
    loads = [load for load in _LOADS if there(chapter, "depth_m", load.series)]
    if not loads:
        return
    depths_m = chapter.series["depth_m"]
    deepest_m = max(depths_m)
    traces = [charts.curve(load.words, chapter.series[load.series], depths_m, load.stroke, "%{x:.2f} kg at %{y:.0f} m")
              for load in loads]
    zero = charts.across(0.0, Stroke(palette.INK, "solid", 1.4))
    values = [0.0, *(value for load in loads for value in chapter.series[load.series])]
    figure = charts.plot(traces, {"range": span(values), "ticksuffix": " kg"},
                         {"range": [1.03 * deepest_m, -0.03 * deepest_m], "ticksuffix": " m"}, 320, [zero])
    said = "; ".join(f"{load.words} {chapter.series[load.series][0]:.2f} kg at the surface,"
                     f" {chapter.series[load.series][-1]:.2f} kg at {deepest_m:.0f} m" for load in loads)
    yield framed("weight-by-depth", "Weight of the lander in the water, kg, by depth", figure,
                 f"Right of the zero it sinks, left of it it rises: {said}.",
                 [line_entry(load.stroke, load.words) for load in loads])
