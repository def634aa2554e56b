"""The light of a plan by bearing, with its blind sectors, and three lamps beside four."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

from seatrial.workings import light as reckoned
from tumblehome.page import charts, palette, parts
from tumblehome.page.charts import Stroke
from tumblehome.page.palette import Look
from tumblehome.page.parts import Html
from tumblehome.page.pictures.drawing import framed, line_entry, patch_entry, rows_of, said_of, there
from tumblehome.wording import shown

if TYPE_CHECKING:
    from seatrial.plan import Plan
    from seatrial.plan.sections import View
    from seatrial.workings.chapter import Chapter

_DECADES_BELOW = 1.5  # how far below the light that is asked for the middle of the picture lies
_HERE = Stroke(palette.BLUE, "solid", 2.6)
_NEEDED = Stroke(palette.VERMILLION, "dash", 2.2)
_VIEW = Stroke(palette.INK, "dashdot", 2.0)
_BLIND = Look(palette.VERMILLION, "x", "blind: in the view and too dark")
_THREE, _FOUR = Stroke(palette.INK, "dash", 2.6), Stroke(palette.BLUE, "solid", 2.6)


def light(chapter: Chapter, plan: Plan) -> Iterator[Html]:
    """The light on the seabed around the lander with its blind sectors, and three lamps beside four."""
    view = plan.camera.view
    if view is None or not there(chapter, "bearing_deg", "lux_at_view") or view.least_lx <= 0:
        return
    drawn = [_light_around(chapter, plan, view)]
    if there(chapter, "bearing_deg", "lux_three", "lux_four"):
        drawn.append(_three_or_four(chapter, view))
    yield parts.beside(*drawn)


class _LuxScale(NamedTuple):
    """The radial axis of the light: decades above the darkest that is drawn."""

    floor_lx: float
    top_lx: float

    def out(self, lux: float | None) -> float:
        """How far out this light is drawn; what is darker than the middle is in the middle."""
        return 0.0 if lux is None or lux <= self.floor_lx else math.log10(lux / self.floor_lx)

    def axis(self) -> dict[str, Any]:
        """The radial axis with its round numbers."""
        decades = [10.0 ** power for power in range(-6, 9) if self.floor_lx < 10.0 ** power <= self.top_lx]
        return {"range": [0, 1.08 * self.out(self.top_lx)], "tickvals": [self.out(lux) for lux in decades],
                "ticktext": [f"{lux:g} lx" for lux in decades]}


def _lux_scale(needed_lx: float, *curves: Sequence[float | None]) -> _LuxScale:
    brightest = max([needed_lx, *(lux for curve in curves for lux in curve if lux is not None)])
    return _LuxScale(needed_lx / 10 ** _DECADES_BELOW, brightest)


def _light_around(chapter: Chapter, plan: Plan, view: View) -> Html:
    series = chapter.series
    bearings, lux = series["bearing_deg"], series["lux_at_view"]
    scale = _lux_scale(view.least_lx, lux)
    outer = scale.axis()["range"][1]
    blind = reckoned.light(plan).blind
    traces: list[Any] = [charts.sector(_BLIND.meaning, (each.from_deg + each.width_deg / 2) % 360, each.width_deg,
                                       outer, _BLIND) for each in blind]
    traces.append(_lux_curve("here", bearings, lux, scale, _HERE, filled=True))
    traces.append(_lux_curve("asked for", bearings, [view.least_lx] * len(bearings), scale, _NEEDED))
    half_deg = view.width_deg / 2
    edges = () if half_deg >= 180 else (view.toward_deg - half_deg, view.toward_deg + half_deg)
    traces += [charts.round_curve("edge of the view", [edge % 360] * 2, [0, outer], _VIEW) for edge in edges]
    key = [line_entry(_HERE, f"light on the seabed {view.distance_m:g} m away"),
           line_entry(_NEEDED, f"asked for, {view.least_lx:g} lx"),
           *([line_entry(_VIEW, "edges of the view")] if edges else []), *([patch_entry(_BLIND)] if blind else [])]
    dark = "no blind sector" if not blind else "blind: " + ", ".join(
        f"{each.from_deg:.0f} to {each.to_deg:.0f} deg" for each in blind)
    summary = (f"In the view of {view.width_deg:g} deg toward {view.toward_deg:g} deg {dark}. Brightest"
               f" {said_of(chapter, 'best_lx')}, darkest {said_of(chapter, 'worst_lx')}, asked for"
               f" {view.least_lx:g} lx."
               " Bearings count from the mark on the frame; each ring is ten times brighter than the one inside.")
    return framed("light-around", "Light around the lander, lx, by bearing", charts.polar(traces, scale.axis(), 400),
                  summary, key)


def _lux_curve(name: str, bearings: Sequence[float], lux: Sequence[float | None], scale: _LuxScale, stroke: Stroke,
               filled: bool = False) -> Any:
    told = [f"{name}: {bearing:.0f} deg, {shown(value, 1)} lx" for bearing, value in zip(bearings, lux, strict=True)]
    return charts.round_curve(name, bearings, [scale.out(value) for value in lux], stroke, told, filled)


def _three_or_four(chapter: Chapter, view: View) -> Html:
    needed_lx, series = view.least_lx, chapter.series
    bearings, three, four = series["bearing_deg"], series["lux_three"], series["lux_four"]
    scale = _lux_scale(needed_lx, three, four)
    traces = [_lux_curve("four lamps", bearings, four, scale, _FOUR),
              _lux_curve("three lamps", bearings, three, scale, _THREE),
              _lux_curve("asked for", bearings, [needed_lx] * len(bearings), scale, _NEEDED._replace(dash="dot"))]
    key = [line_entry(_THREE, "three lamps"), line_entry(_FOUR, "four lamps"),
           line_entry(_NEEDED._replace(dash="dot"), f"asked for, {needed_lx:g} lx")]
    blind = {row["lamps"]: row["blind_circle_deg"] for row in rows_of(chapter, "lamps")}
    said = "" if not {3, 4} <= set(blind) else (
        f" Too dark all around: with three {blind[3]:.0f} deg, with four {blind[4]:.0f} deg of 360.")
    return framed("light-three-four", "The same lamps evenly around: three or four",
                  charts.polar(traces, scale.axis(), 400),
                  f"Light on the seabed {view.distance_m:g} m away, by bearing.{said}", key)
