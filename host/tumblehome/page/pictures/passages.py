"""The ways of a plan: down and up over time, and sideways on maps."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from tumblehome.page import charts, palette, parts
from tumblehome.page.charts import Marks, Stroke
from tumblehome.page.palette import Look
from tumblehome.page.parts import Html
from tumblehome.page.pictures.drawing import LIKELY, OTHER, figure_of, framed, line_entry, rows_of, said_of, span, there

if TYPE_CHECKING:
    from seatrial.plan import Plan
    from seatrial.workings.chapter import Chapter

def motion(chapter: Chapter, plan: Plan) -> Iterator[Html]:
    """Depth over time, down and up, likely and from slow to fast."""
    traces, key, said = [], [], []
    for way, words, stroke in (("down", "down, from the splash on", LIKELY), ("up", "up, once it is free", OTHER)):
        likely = _passage(chapter, way)
        if likely is None:
            continue
        slow, fast = (_passage(chapter, f"{way}_{pace}") for pace in ("slow", "fast"))
        if slow and fast:
            traces.append(charts.between(f"{words}: slow to fast", slow, fast, stroke.colour))
        traces.append(charts.curve(words, *likely, stroke, "%{x:.1f} min, %{y:.0f} m"))
        key.append(line_entry(stroke, words))
        name = {"down": "descent", "up": "ascent"}[way]
        said.append(f"{name.capitalize()}: likely {_minutes(chapter, f'{name}_likely_s')}, fast"
                    f" {_minutes(chapter, f'{name}_fast_s')}, slow {_minutes(chapter, f'{name}_slow_s')}.")
    if not traces:
        return
    key.append((parts.patch_swatch(Look(palette.BLUE, "", "")), "from fast to slow", ""))
    depth_m = plan.site.depth_m
    figure = charts.plot(traces, charts.axis_title("minutes") | {"rangemode": "tozero"},
                         {"range": [1.05 * depth_m, -0.05 * depth_m], "ticksuffix": " m"}, 340)
    yield framed("passage", "Depth over time, m", figure, " ".join(said), key)


def _passage(chapter: Chapter, name: str) -> tuple[list[float], list[float]] | None:
    if not there(chapter, f"{name}_s", f"{name}_depth_m"):
        return None
    return [second / 60 for second in chapter.series[f"{name}_s"]], list(chapter.series[f"{name}_depth_m"])


def _minutes(chapter: Chapter, key: str) -> str:
    seconds = figure_of(chapter, key)
    return "never" if seconds is None else f"{seconds / 60:.1f} min"


_AFLOAT_H = 24  # further on a map the first hours, when it is found, would shrink to a dot
_DOWN, _UPWARD = Stroke(palette.BLUE, "solid", 2.8), Stroke(palette.VERMILLION, "dash", 2.8)
_CIRCLE = Stroke(palette.INK, "dot", 1.4)
_FLATTEST = 0.55  # the shorter side of a map by its longer one
_MAP_PX, _FRAME_PX = 440, 50  # sides of a map on a screen, and what its scales take


def drift(chapter: Chapter, _plan: Plan) -> Iterator[Html]:
    """Down and up from above, and where it floats in the hours after surfacing."""
    drawn = [figure for figure in (_track(chapter), _afloat(chapter)) if figure is not None]
    if drawn:
        yield parts.beside(*drawn)


def _track(chapter: Chapter) -> Html | None:
    if not there(chapter, "track_east_m", "track_north_m", "track_depth_m", "track_phase"):
        return None
    series, traces, key, shapes = chapter.series, [], [], []
    ends: list[tuple[str, str, float, float]] = []
    for phase, stroke in (("down", _DOWN), ("up", _UPWARD)):
        points = [(east, north) for east, north, each in zip(
            series["track_east_m"], series["track_north_m"], series["track_phase"], strict=True) if each == phase]
        if not points:
            continue
        easts, norths = zip(*points, strict=True)
        traces.append(charts.curve(phase, easts, norths, stroke, "east %{x:.0f} m, north %{y:.0f} m"))
        key.append(line_entry(stroke, phase))
        if phase == "down":
            ends.append(("splash", "triangle-down", easts[0], norths[0]))
        ends.append(("lands", "square-open", easts[-1], norths[-1]) if phase == "down"
                    else ("surfaces", "star", easts[-1], norths[-1]))
    for words, symbol, east, north in ends:
        traces.append(charts.spots(Marks(words, [east], [north], symbol, palette.INK), [words]))
        key.append((parts.mark_swatch(symbol, palette.INK), words, ""))
    radii = {words: figure_of(chapter, f"{name}_radius_m") for words, name in (("lands", "landing"),
                                                                             ("surfaces", "surfacing"))}
    shapes = [charts.ring(east, north, radii[words], _CIRCLE) for words, _symbol, east, north in ends
              if radii.get(words)]
    widest = max([0.0, *(radius for radius in radii.values() if radius)])
    figure = _map(traces, [east for *_rest, east, _north in ends], [north for *_rest, north in ends], widest, " m",
                  shapes)
    summary = (f"Lands {said_of(chapter, 'landing_distance_m')} from the splash toward"
               f" {said_of(chapter, 'landing_bearing_deg')} true; surfaces"
               f" {said_of(chapter, 'surfacing_distance_m')} from it toward "
               f"{said_of(chapter, 'surfacing_bearing_deg')}. Dotted circles: give or take.")
    return framed("track", "Down and up from above, metres east and north of the splash", figure, summary, key)


def _afloat(chapter: Chapter) -> Html | None:
    rows = [row for row in rows_of(chapter, "afloat") if row["after_surfacing_h"] <= _AFLOAT_H]
    if not rows:
        return None
    hours = [f"{row['after_surfacing_h']:g} h" for row in rows]
    easts, norths, radii = ([row[key] / 1000 for row in rows] for key in ("east_m", "north_m", "radius_m"))
    line = charts.curve("drift", easts, norths, _DOWN, "east %{x:.1f} km, north %{y:.1f} km")
    marks = charts.spots(Marks("hours after surfacing", easts, norths, "circle", palette.INK), [
        f"{hour} after surfacing: {row['distance_nm']:.1f} NM, {row['bearing_deg']:03.0f} deg true, within"
        f" {row['radius_m'] / 1000:.1f} km" for hour, row in zip(hours, rows, strict=True)])
    shapes = [charts.ring(*each, _CIRCLE) for each in zip(easts, norths, radii, strict=True)]
    notes = [charts.note_at(east, north, hour, yshift=-16, xshift=14) for east, north, hour in
             _told_apart(zip(easts, norths, hours, strict=True), easts, norths)]
    figure = _map([line, marks], easts, norths, radii[-1], " km", shapes, notes)
    last = rows[-1]
    summary = (f"Afloat it drifts {said_of(chapter, 'afloat_kn')} toward {said_of(chapter, 'afloat_toward_deg')} true."
               f" {hours[-1]} after surfacing it is {last['distance_nm']:.1f} NM from the splash, bearing"
               f" {last['bearing_deg']:03.0f}, within {last['radius_m'] / 1000:.1f} km (dotted circle).")
    return framed("afloat", "Afloat after surfacing, kilometres east and north of the splash", figure, summary)


def _told_apart(labels: Iterable[tuple[float, float, str]], easts: Sequence[float], norths: Sequence[float],
                ) -> Iterator[tuple[float, float, str]]:
    """The labels of a map that do not run into the one before."""
    apart = 0.09 * max(max(easts) - min(easts), max(norths) - min(norths))
    last = None
    for east, north, words in labels:
        if last is None or max(abs(east - last[0]), abs(north - last[1])) >= apart:
            last = (east, north)
            yield east, north, words


def _map(traces: Sequence[Any], easts: Sequence[float], norths: Sequence[float], air: float, unit: str,
         shapes: Sequence[Mapping[str, Any]], notes: Sequence[Mapping[str, Any]] = ()) -> Any:
    """A map of equal scale, north up, that holds these places with `air` around them, as large as there is room."""
    wide = span([min(easts) - air, max(easts) + air])
    high = span([min(norths) - air, max(norths) + air])
    wide, high = _at_least(wide, _FLATTEST * (high[1] - high[0])), _at_least(high, _FLATTEST * (wide[1] - wide[0]))
    height_px = _FRAME_PX + min(_MAP_PX, round(_MAP_PX * (high[1] - high[0]) / (wide[1] - wide[0])))
    north = charts.note_at(1, 1, "N ↑", xref="x domain", yref="y domain", xanchor="right", yanchor="top",
                           font={"size": 15})
    fixed = {"ticksuffix": unit, "constrain": "domain", "nticks": 5}  # or each change of its width widens the range
    return charts.plot(traces, fixed | {"range": wide}, fixed | {"range": high, "scaleanchor": "x", "scaleratio": 1},
                       height_px, shapes, [*notes, north])


def _at_least(reach: list[float], wanted: float) -> list[float]:
    """A range as wide as `wanted` at least, around the same middle."""
    more = max(0.0, wanted - (reach[1] - reach[0])) / 2
    return [reach[0] - more, reach[1] + more]
