"""What faults do to the world, held for as long as each of them lasts, whatever began or ended meanwhile.

Several may hold one attribute. How their values are joined is said by who holds: `newest` for words and flags, `added`
for what adds up, `multiplied` for factors, `smallest` and `largest` for limits. When the last lets go, the attribute is
what it was before the first held it.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from math import prod
from typing import Any

Join = Callable[[Any, list], Any]


def newest(_before, values: list):
    """Join of words and flags: what began last counts."""
    return values[-1]


def added(before, values: list):
    """Join of what adds up."""
    return sum(values, before)


def multiplied(before, values: list):
    """Join of factors."""
    return before * prod(values)


def smallest(before, values: list):
    """Join of limits: the lowest counts."""
    return min(before, *values)


def largest(before, values: list):
    """Join of limits: the highest counts."""
    return max(before, *values)


def joined(before: tuple, values: list) -> tuple:
    """Tuples one after the other."""
    return sum(values, before)


@dataclass
class _Held:
    target: object  # kept, so that its identity stays its own
    before: Any
    values: list[tuple[int, Any]] = field(default_factory=list)


class Holding:
    """The attributes that are held at this moment, and by what."""

    def __init__(self) -> None:
        self._held: dict[tuple[int, str], _Held] = {}
        self._number = 0

    def hold(self, target: object, name: str, value, join: Join = newest) -> Callable[[], None]:
        """Hold this attribute at this value; returns what lets go of it, which may be called more than once."""
        key = (id(target), name)
        held = self._held.setdefault(key, _Held(target, getattr(target, name)))
        self._number += 1
        mine = (self._number, value)
        held.values.append(mine)
        self._put(key, join)

        def let_go() -> None:
            if mine in held.values:
                held.values.remove(mine)
                self._put(key, join)
        return let_go

    def _put(self, key: tuple[int, str], join: Join) -> None:
        held = self._held[key]
        values = [value for _number, value in held.values]
        setattr(held.target, key[1], join(held.before, values) if values else held.before)
        if not values:
            del self._held[key]
