"""How a key of the plan is declared: its meaning, its bounds, and the model that every section is."""

from typing import Any, Literal, get_args, get_origin

from pydantic import BaseModel, ConfigDict, Field
from pydantic.fields import FieldInfo

from seatrial.plan.conversion import bounds_of


def key(meaning: str, lowest: float | None = None, highest: float | None = None) -> Any:
    """A key of the plan: its meaning as a noun phrase, and the hard bounds of its value."""
    return Field(ge=lowest, le=highest, description=meaning)


def ordered(order: str, meaning: str) -> Any:
    """A key that goes into the mission record: its bounds are those of `order`."""
    return key(meaning, *bounds_of(order))


def optional(meaning: str, lowest: float, highest: float) -> Any:
    """A key that may be left out: what hangs on it is then not worked out, and the plan says so."""
    return Field(None, ge=lowest, le=highest, description=meaning)


def default(value: float, meaning: str, lowest: float, highest: float) -> Any:
    """A key that has a usual value."""
    return Field(value, ge=lowest, le=highest, description=meaning)


def words(meaning: str) -> Any:
    """A name of the person's own."""
    return Field(min_length=1, max_length=80, description=meaning)


class Section(BaseModel):
    """One section of the plan file: exactly these keys, never changed after reading, no silent conversions."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)


def sections_in(info: FieldInfo) -> tuple[type[Section], ...]:
    """The models a field may hold: one for a section or a table list, two for a release channel, none for a value."""
    found: list[type[Section]] = []
    waiting = [info.annotation]
    while waiting:
        kind = waiting.pop()
        if isinstance(kind, type) and issubclass(kind, Section):
            found.append(kind)
        else:
            waiting.extend(get_args(kind))
    return tuple(found)


def bounds(info: FieldInfo | None) -> tuple[float | None, float | None]:
    """The lowest and the highest value of a key, or of each value where it holds a list; None where it has none."""
    return _rule(info, "ge"), _rule(info, "le")


def lengths(info: FieldInfo | None) -> tuple[int | None, int | None]:
    """The fewest and the most letters of a text, or of each where a key holds a list; None where there is no limit."""
    inner = item_of(info)
    return _rule(inner or info, "min_length"), _rule(inner or info, "max_length")


def item_of(info: FieldInfo | None) -> FieldInfo | None:
    """What is said of each value of a key that holds a list of plain values; None for every other key."""
    waiting = [info.annotation] if info and not sections_in(info) else []
    while waiting:
        for one in get_args(waiting.pop()):
            for extra in getattr(one, "__metadata__", ()):
                if isinstance(extra, FieldInfo):
                    return extra
            waiting.append(one)
    return None


def _rule(info: FieldInfo | None, name: str) -> Any:
    for source in (info, item_of(info)):
        for rule in source.metadata if source else ():
            if hasattr(rule, name):
                return getattr(rule, name)
    return None


def words_of(info: FieldInfo) -> list[str]:
    """The words a key may hold, empty when it does not hold a word."""
    for one in (info.annotation, *get_args(info.annotation)):  # the word itself, or one that may be left out
        if get_origin(one) is Literal:
            return list(get_args(one))
    return []
