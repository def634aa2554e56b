"""The times of a plan as time lines: the ways home, the light, the boat, beacon and pack."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any, NamedTuple

from seatrial.handbook import sun
from seatrial.workings.moments import MONTHS, briefly
from tumblehome.page import charts, palette, parts
from tumblehome.page.charts import Marks
from tumblehome.page.palette import Look
from tumblehome.page.parts import Html
from tumblehome.page.pictures.drawing import LIMIT, TALL_ROW_PX, framed, line_entry, patch_entry, rows_px, there

if TYPE_CHECKING:
    from seatrial.plan import Plan
    from seatrial.workings.chapter import Chapter

_UP = Look(palette.BLUE, "/", "at the surface between early and late")
_UNTIL = Look(palette.SKY, "", "lasts")
_LONGER = Look(palette.PALE, ".", "lasts longer by energy, sparsely lit")
_LIGHTS = {  # how dark each light stands behind a time line
    sun.CIVIL_TWILIGHT: Look(palette.tint(palette.INK, 0.20), "", "civil twilight"),
    sun.NAUTICAL_TWILIGHT: Look(palette.tint(palette.INK, 0.45), "", "nautical twilight"),
    sun.NIGHT: Look(palette.tint(palette.INK, 0.75), "", "night"),
}
_MUST_LEAVE, _BY_PLAN, _BY_ENERGY, _EMPTY = ("boat must leave", "beacon, by the plan until", "beacon, by energy until",
                                             "pack empty")
_COMMAND, _FREED, _MOST_LIKELY, _EVENT = ("square-open", "diamond-open", "star", "triangle-down")
_LONGEST = timedelta(days=14)


class _Way(NamedTuple):
    """A path home, in seconds since 1970; None: never, or nobody commands it."""

    name: str
    command: float | None
    freed: float | None
    early: float | None
    likely: float | None
    late: float | None


def times(chapter: Chapter, plan: Plan) -> Iterator[Html]:
    """The hours of coming up by command, and the whole dive with what comes after it."""
    keys = ("path_name", "path_command_s", "path_freed_s", "path_early_s", "path_likely_s", "path_late_s")
    if not there(chapter, *keys):
        return
    ways = [_Way(*values) for values in zip(*(chapter.series[key] for key in keys), strict=True)]
    commanded = [way for way in ways if way.command is not None]
    if any(way.late is not None for way in commanded):
        begin = min(way.command for way in commanded if way.command is not None)
        end = max(way.late for way in commanded if way.late is not None)
        air = max(0.08 * (end - begin), 300.0)
        yield _time_line("coming-up", "Coming up, by command: UTC", chapter, plan, commanded, (begin - air, end + air))
    yield _time_line("whole-dive", "The whole dive and what comes after: UTC", chapter, plan, ways,
                     _whole(chapter, plan, ways), _lasting(chapter, ways))


def _whole(chapter: Chapter, plan: Plan, ways: Sequence[_Way]) -> tuple[float, float]:
    """From the splash to the last that is known of the dive, at most `_LONGEST`."""
    begin = plan.dive.splash_utc.timestamp()
    known = [*chapter.series.get("event_s", ()), *(way.late for way in ways if way.late is not None)]
    end = min(max([begin + 3600.0, *known]), begin + _LONGEST.total_seconds())
    return begin - 0.03 * (end - begin), end + 0.03 * (end - begin)


class _Bar(NamedTuple):
    """A row of a time line: what stands above it, its stretches and its marks, in seconds since 1970."""

    name: str
    said: str
    stretches: tuple[tuple[float, float, Look], ...]
    marks: tuple[tuple[float, str], ...]


def _way_bar(plan: Plan, way: _Way) -> _Bar:
    marks = tuple((at, symbol) for at, symbol in (
        (way.command, _COMMAND), (way.freed, _FREED), (way.likely, _MOST_LIKELY)) if at is not None)
    if way.likely is None:
        return _Bar(way.name, "never comes up", (), marks)
    early, late = way.early or way.likely, way.late or way.likely
    return _Bar(way.name, f"up {_utc(plan, early)} to {_utc(plan, late, early)}, likely {_utc(plan, way.likely, late)}",
                ((early, late, _UP),), marks)


def _lasting(chapter: Chapter, ways: Sequence[_Way]) -> Callable[[Plan], Iterator[_Bar]]:
    """The rows of what ends by itself: the beacon after the timed release, and the pack if nothing comes up."""
    events = _events(chapter)

    def bars(plan: Plan) -> Iterator[_Bar]:
        up_at = ways[0].likely if ways else None
        planned, spent, empty = (events.get(name) for name in (_BY_PLAN, _BY_ENERGY, _EMPTY))
        if up_at is not None and planned is not None and spent is not None:
            stretches = [(up_at, min(planned, spent), _UNTIL)]
            stretches += [(planned, spent, _LONGER)] if spent > planned else []
            yield _Bar(f"beacon, after the {ways[0].name}",
                       f"planned to {_utc(plan, planned)}, energy to {_utc(plan, spent)}", tuple(stretches), ())
        if empty is not None:
            yield _Bar("pack, if nothing frees the lander", f"empty {_utc(plan, empty)}",
                       ((plan.dive.splash_utc.timestamp(), empty, _UNTIL),), ())
    return bars


def _events(chapter: Chapter) -> dict[str, float]:
    return dict(zip(chapter.series.get("event_name", ()), chapter.series.get("event_s", ()), strict=False))


def _time_line(name: str, heading: str, chapter: Chapter, plan: Plan, ways: Sequence[_Way],
               window: tuple[float, float], more: Callable[[Plan], Iterator[_Bar]] | None = None) -> Html:
    bars = [*(_way_bar(plan, way) for way in ways), *(more(plan) if more else ())]
    looks = dict.fromkeys(look for bar in bars for *_ends, look in bar.stretches)
    traces: list[Any] = [_stretches(plan, look, bars) for look in looks]
    symbols = [symbol for symbol in (_COMMAND, _FREED, _MOST_LIKELY) if any(symbol == each for bar in bars
                                                                           for _at, each in bar.marks)]
    traces += [_row_marks(plan, symbol, bars) for symbol in symbols]
    shades, lights = _shades(chapter, window)
    leave = _events(chapter).get(_MUST_LEAVE)
    left = [leave] if leave is not None and window[0] < leave < window[1] else []
    shapes = [*shades, *(charts.across(_ms(at), LIMIT) for at in left)]
    figure = charts.plot(
        traces, {"type": "date", "range": [_ms(edge) for edge in window], "tickformat": "%H:%MZ\n%-d %b", "nticks": 6,
                 "tickangle": 0},
        charts.row_axis(len(bars)), rows_px(len(bars), TALL_ROW_PX), shapes,
        charts.row_names([(bar.name, f"\n{bar.said}") for bar in bars]))
    key = [*map(patch_entry, looks), *((parts.mark_swatch(symbol, palette.INK), _SYMBOL_WORDS[symbol], "")
                                        for symbol in symbols), *map(patch_entry, lights)]
    key += [line_entry(LIMIT, f"{_MUST_LEAVE} {_utc(plan, at)}") for at in left]
    return framed(name, heading, figure, _time_summary(plan, ways, leave), key)


_SYMBOL_WORDS = {_COMMAND: "commanded", _FREED: "freed", _MOST_LIKELY: "likely at the surface"}


def _stretches(plan: Plan, look: Look, bars: Sequence[_Bar]) -> Any:
    found = [(row, begin, end, bar) for row, bar in enumerate(bars) for begin, end, each in bar.stretches
             if each == look]
    return charts.lying_bars(
        look.meaning, [row + 0.2 for row, *_rest in found], [_ms(begin) for _row, begin, *_rest in found],
        [_ms(end) - _ms(begin) for _row, begin, end, _bar in found], look,
        [f"{bar.name}: {look.meaning}, {_utc(plan, begin)} to {_utc(plan, end)}" for _row, begin, end, bar in found])


def _row_marks(plan: Plan, symbol: str, bars: Sequence[_Bar]) -> Any:
    found = [(row, at, bar) for row, bar in enumerate(bars) for at, each in bar.marks if each == symbol]
    marks = Marks(_SYMBOL_WORDS[symbol], [_ms(at) for _row, at, _bar in found],
                  [row + 0.2 for row, _at, _bar in found], symbol, palette.INK)
    return charts.spots(marks, [f"{bar.name}: {_SYMBOL_WORDS[symbol]} {_utc(plan, at)}" for _row, at, bar in found])


def _shades(chapter: Chapter, window: tuple[float, float]) -> tuple[list[dict[str, Any]], list[Look]]:
    """Twilight and night behind a time line, and how they look, in the order from light to dark."""
    series = chapter.series
    if not there(chapter, "light_name", "light_from_s", "light_to_s"):
        return [], []
    bands = [(light, max(begin, window[0]), min(end, window[1])) for light, begin, end in zip(
        series["light_name"], series["light_from_s"], series["light_to_s"], strict=True)
        if light in _LIGHTS and begin < window[1] and end > window[0]]
    seen = {light for light, *_ends in bands}
    return ([charts.upright_band(_ms(begin), _ms(end), palette.tint(_LIGHTS[light].colour, 0.4))
             for light, begin, end in bands], [look for light, look in _LIGHTS.items() if light in seen])


def _time_summary(plan: Plan, ways: Sequence[_Way], leave: float | None) -> str:
    said = [f"{way.name} {'never' if way.likely is None else briefly(plan, _moment(way.likely))}" for way in ways]
    ends = f" The boat must leave {briefly(plan, _moment(leave))}." if leave is not None else ""
    local = "; local time in brackets" if plan.dive.utc_offset_h else ""
    return f"Likely at the surface (UTC{local}): {'; '.join(said)}.{ends}"


def _moment(seconds: float) -> datetime:
    return datetime.fromtimestamp(seconds, UTC)


def _utc(plan: Plan, seconds: float, after: float | None = None) -> str:
    """UTC to the minute, with the day where it is not that of the splash, or of the moment `after` which it stands."""
    moment = _moment(seconds)
    known = plan.dive.splash_utc if after is None else _moment(after)
    day = "" if moment.date() == known.date() else f"{moment.day} {MONTHS[moment.month - 1]} "
    return f"{day}{moment:%H:%M}Z"


def _ms(seconds: float) -> float:
    return 1000.0 * seconds
