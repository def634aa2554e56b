"""Energy and heat of a plan: where the charge goes, and how warm it gets."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from tumblehome.page import charts, palette, parts
from tumblehome.page.charts import Stroke
from tumblehome.page.palette import Look
from tumblehome.page.parts import Html
from tumblehome.page.pictures.drawing import (
    LIKELY,
    LIMIT,
    OTHER,
    ROW_PX,
    THIRD,
    figure_of,
    framed,
    line_entry,
    patch_entry,
    rows_px,
    said_of,
    span,
    there,
)

if TYPE_CHECKING:
    from seatrial.plan import Plan
    from seatrial.workings.chapter import Chapter

_LOADS = {
    "controller": Look(palette.GREY, "", "controller"),
    "camera": Look(palette.GREEN, "/", "camera"),
    "lamps": Look(palette.YELLOW, ".", "lamps"),
    "fan": Look(palette.SKY, "\\", "fan"),
    "primary": Look(palette.VERMILLION, "|", "primary release"),
    "backup": Look(palette.PURPLE, "x", "backup release"),
    "held": Look(palette.PALE, "", "held over for attempts"),
    "beacon_lamp": Look(palette.BLUE, "-", "beacon lamp"),
    "reports": Look(palette.ORANGE, "+", "position reports"),
}
_CAPACITY = Stroke(palette.BLACK, "solid", 3.0)


def supply(chapter: Chapter, plan: Plan) -> Iterator[Html]:
    """Where the charge goes, how much of it is left over time, and the voltage while filming."""
    yield from _spending(chapter)
    curves = [figure for figure in (_charge_left(chapter), _voltage(chapter, plan)) if figure is not None]
    if curves:
        yield parts.beside(*curves)


def _spending(chapter: Chapter) -> Iterator[Html]:
    """Each phase begins where the one before has ended, so that the last ends at what the dive takes in all."""
    loads = {load: chapter.series[f"{load}_mah"] for load in _LOADS if there(chapter, "phase", f"{load}_mah")}
    if not loads:
        return
    phases = [str(phase) for phase in chapter.series["phase"]]
    starts, total, phase_mah = [], 0.0, []
    spent: dict[str, list[tuple[int, float, float]]] = {}
    for row in range(len(phases)):
        starts.append(total)
        for load, values in loads.items():
            if values[row] > 0:
                spent.setdefault(load, []).append((row, total, values[row]))
                total += values[row]
        phase_mah.append(total - starts[row])
    traces = [charts.lying_bars(
        _LOADS[load].meaning, [row + 0.2 for row, *_rest in stretches], [start for _row, start, _mah in stretches],
        [mah for *_rest, mah in stretches], _LOADS[load],
        [f"{phases[row]}, {_LOADS[load].meaning}: {mah:.0f} mAh" for row, _start, mah in stretches])
        for load, stretches in spent.items()]
    capacity_mah = figure_of(chapter, "capacity_mah")
    labels = [(phase, f": {mah:.0f} mAh") for phase, mah in zip(phases, phase_mah, strict=True)]
    key = [patch_entry(_LOADS[load]) for load in _LOADS if load in spent]
    shapes = []
    if capacity_mah is not None:
        shapes = [charts.across(capacity_mah, _CAPACITY)]
        key.append(line_entry(_CAPACITY, f"what the pack holds, {capacity_mah:.0f} mAh"))
    figure = charts.plot(
        traces, {"range": [0, 1.04 * max(total, capacity_mah or 0.0)], "ticksuffix": " mAh", "nticks": 5,
                 "tickformat": "d"},
        charts.row_axis(len(phases)), rows_px(len(phases), ROW_PX), shapes, charts.row_names(labels, 0.2))
    against = "" if capacity_mah is None else (
        f" The pack holds {capacity_mah:.0f} mAh: {abs(capacity_mah - total):.0f} mAh"
        f" {'to spare' if capacity_mah >= total else 'too little'}.")
    most = max(range(len(phases)), key=phase_mah.__getitem__)
    summary = (f"The latest release and the whole reserve take {total:.0f} mAh, most of it ({phase_mah[most]:.0f}"
               f" mAh) in: {phases[most]}.{against}")
    yield framed("spending", "Charge from the main pack, part after part of the dive", figure, summary, key)


def _charge_left(chapter: Chapter) -> Html | None:
    traces, key = [], []
    for hours, mah, words, stroke in (
            (_hours(chapter, "dive_min"), "left_mah", "filming until the latest release", LIKELY),
            (list(chapter.series.get("stuck_h", ())), "stuck_left_mah", "if nothing ever frees it", OTHER)):
        values = chapter.series.get(mah, ())
        if hours and len(hours) == len(values):
            traces.append(charts.curve(words, hours, values, stroke, "%{y:.0f} mAh left after %{x:.1f} h"))
            key.append(line_entry(stroke, words))
    if not traces:
        return None
    shapes, reserve_mah = [], figure_of(chapter, "reserve_mah")
    if reserve_mah is not None:
        shapes = [charts.across(reserve_mah, THIRD, upright=False)]
        key.append(line_entry(THIRD, f"reserve, {reserve_mah:.0f} mAh"))
    figure = charts.plot(traces, charts.axis_title("hours after the splash"),
                         {"rangemode": "tozero", "ticksuffix": " mAh", "tickformat": "d"}, 300, shapes)
    summary = (f"Spare over the reserve: {said_of(chapter, 'spare_at_timed_mah')} at the timed release,"
               f" {said_of(chapter, 'spare_at_latest_mah')} at the latest. If nothing frees it the pack is empty"
               f" {said_of(chapter, 'empty_h')} after the splash.")
    return framed("charge", "Charge left, mAh", figure, summary, key)


def _hours(chapter: Chapter, name: str) -> list[float]:
    return [minutes / 60 for minutes in chapter.series.get(name, ())]


def _voltage(chapter: Chapter, plan: Plan) -> Html | None:
    if not there(chapter, "dive_min", "supply_mv"):
        return None
    volts = [None if mv is None else mv / 1000 for mv in chapter.series["supply_mv"]]
    reserve_v = plan.thresholds.reserve_mv / 1000
    line = charts.curve("supply", _hours(chapter, "dive_min"), volts, LIKELY, "%{y:.2f} V after %{x:.1f} h")
    figure = charts.plot([line], charts.axis_title("hours after the splash"),
                         {"range": span([reserve_v, *volts], 0.1), "ticksuffix": " V"}, 300,
                         [charts.across(reserve_v, LIMIT, upright=False)])
    key = [line_entry(LIKELY, "while filming"), line_entry(LIMIT, f"goes home below {reserve_v:.2f} V")]
    summary = (f"While filming {said_of(chapter, 'supply_start_mv')} at the start and"
               f" {said_of(chapter, 'supply_latest_mv')} at the latest release; below"
               f" {reserve_v:.2f} V the controller goes home.")
    return framed("voltage", "Supply while filming, V", figure, summary, key)


def warmth(chapter: Chapter, plan: Plan) -> Iterator[Html]:
    """Camera and housing over the dive, and the camera without its fan."""
    lines = (("time_min", "camera_c", "camera, fan as driven", LIKELY),
             ("time_min", "housing_c", "housing", THIRD),
             ("no_fan_min", "no_fan_camera_c", "camera without the fan", OTHER))
    traces, key, said = [], [], []
    for minutes, name, words, stroke in lines:
        if not there(chapter, minutes, name):
            continue
        values = chapter.series[name]
        traces.append(charts.curve(words, _hours(chapter, minutes), values, stroke, "%{y:.1f} °C after %{x:.1f} h"))
        key.append(line_entry(stroke, words))
        said.append(f"{words} {max(values):.1f} °C")
    if not traces:
        return
    limit_c = plan.camera.hot_c
    key.append(line_entry(LIMIT._replace(dash="dashdot"), f"the camera is put off at {limit_c:g} °C"))
    figure = charts.plot(traces, charts.axis_title("hours after the splash"), {"ticksuffix": " °C"}, 320,
                         [charts.across(limit_c, LIMIT._replace(dash="dashdot"), upright=False)])
    yield framed("temperatures", "Temperatures over the dive, °C", figure,
                 f"Hottest: {', '.join(said)}; the limit is {limit_c:g} °C.", key)
