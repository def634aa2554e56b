"""The pictures of a plan, by chapter: each drawn from the figures, tables and series of its chapter.

A picture whose series are not there (a lander that never sinks has no descent) is left out. No meaning rests on
colour alone: lines differ by dash, bars by pattern, marks by shape, and every picture is summed up in words.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

from tumblehome.page.parts import Html
from tumblehome.page.pictures import lighting, loads, passages, spending, strength, time_lines

if TYPE_CHECKING:
    from seatrial.plan import Plan
    from seatrial.workings.chapter import Chapter

_DRAWN: dict[str, Callable[[Chapter, Plan], Iterator[Html]]] = {
    "times": time_lines.times, "weights": loads.weights, "motion": passages.motion, "drift": passages.drift,
    "supply": spending.supply, "warmth": spending.warmth, "light": lighting.light, "pressure": strength.pressure,
    "column": loads.column,
}


def pictures(chapter: Chapter, plan: Plan) -> list[Html]:
    """The pictures of a chapter, none where there are none."""
    draw = _DRAWN.get(chapter.key)
    return [] if draw is None else list(draw(chapter, plan))
