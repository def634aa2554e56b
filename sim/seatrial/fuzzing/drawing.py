"""A whole dive as Hypothesis draws it: which plan, what goes wrong, what people do, and the seed of chance."""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from hypothesis import strategies as st

from seatrial.deeds import DEEDS, parse
from seatrial.faults import EVENTS, KINDS, STATES, Fault, FaultKind, Parameter, When, unfit
from seatrial.fuzzing.variants import changes_of, variant
from seatrial.plan import Plan

FAULTS_MAX = 6
TENTHS_OF_S = 300  # onsets to a tenth of a second in the first half minute after an event
SOON_S, LATEST_S = 900, 4 * 3600
# Gestures of people, resets and jumps of the clock come oftener than the rest: they may come at any instant.
OFTEN = ("reset", "clock-jumps", "magnet-brushed", "hauled-back", "say", "thrown-in", "power-gone")
# What people do one thing after the other, each of which tells little alone: a deed, the event that it follows, and the
# seconds that may pass since that event, or since the deed before where it follows the same one.
COURSES = (
    (("hauled-back", "record", (1, SOON_S)), ("thrown-in", "surface", (60, LATEST_S))),
    (("hauled-back", "record", (1, SOON_S)), ("say:word=disarm", "surface", (60, SOON_S)),
     ("say:word=arm", "surface", (5, SOON_S)), ("thrown-in", "surface", (60, SOON_S))),
    (("hauled-back", "descend", (1, SOON_S)), ("say:word=disarm", "surface", (60, SOON_S)),
     ("say:word=ready-primary", "surface", (5, SOON_S)), ("say:word=fire", "surface", (1, 30))),
)
ALONE_OF_FOUR = 3  # of four dives so many without a course of people
PARTS_PCT = (1, 5, 10, 25, 50, 75, 90, 110, 150, 200, 400, 1000)  # of a default
LASTING_S = (1, 5, 8, 30, 60, 300, 1200, 7200)  # 8: long enough for the gesture with the magnet


@dataclass(frozen=True)
class Drawn:
    """A dive to be flown: changes of the plan, faults and deeds as they are written, and the seed."""

    faults: tuple[str, ...] = ()
    changes: dict[str, Any] = field(default_factory=dict, hash=False)
    seed: int = 1

    def parsed(self) -> list[Fault]:
        return [parse(text) for text in self.faults]

    def kinds(self) -> frozenset[str]:
        return frozenset(fault.name for fault in self.parsed())


def all_kinds() -> dict[str, FaultKind]:
    """Faults and deeds by name."""
    return {**KINDS, **DEEDS}


@st.composite
def dives(draw, plan: Plan) -> Drawn:
    """Any dive of this plan or a variant of it. It shrinks to a brisk dive with nothing wrong."""
    changes = draw(changes_of(plan))
    flown = variant(plan, changes)
    assert flown is not None  # what is drawn is allowed
    kinds = all_kinds()
    names = [*sorted(kinds), *OFTEN]
    wanted = draw(st.lists(st.sampled_from(names).flatmap(lambda name: _faults(kinds[name], flown)),
                           max_size=FAULTS_MAX))
    course = draw(_course()) if draw(st.integers(0, ALONE_OF_FOUR)) == ALONE_OF_FOUR else ()
    faults = tuple(text for text in (*course, *wanted) if text)[:FAULTS_MAX]
    return Drawn(faults, changes, draw(st.integers(1, 999)))


def _course() -> st.SearchStrategy[tuple[str, ...]]:
    """One thing that people do after the other."""
    return st.sampled_from(COURSES).flatmap(lambda course: st.tuples(
        *[st.integers(*seconds) for _deed, _event, seconds in course]).map(lambda drawn: _timed(course, drawn)))


def _timed(course, drawn: tuple[int, ...]) -> tuple[str, ...]:
    passed_s: dict[str, int] = {}
    texts = []
    for (deed, event, _seconds), after_s in zip(course, drawn, strict=True):
        passed_s[event] = passed_s.get(event, 0) + after_s
        texts.append(str(parse("%s@%s+%ds" % (deed, event, passed_s[event]))))
    return tuple(texts)


def _faults(kind: FaultKind, plan: Plan) -> st.SearchStrategy[str]:
    """A fault of this kind as it is written; "" where a lander of this plan cannot have it."""
    values = st.fixed_dictionaries({key: _value(key, parameter) for key, parameter in kind.parameters.items()})
    return st.builds(lambda values, when: _written(kind, values, when, plan), values, _onset(plan))


def _value(key: str, parameter: Parameter) -> st.SearchStrategy:
    if parameter.choices:
        return st.sampled_from([parameter.default, *(one for one in parameter.choices if one != parameter.default)])
    low, high = parameter.lowest, parameter.highest
    if key == "for_s":
        return st.one_of(st.just(0.0), st.sampled_from(LASTING_S).map(_within(low, high)),
                         st.integers(1, LATEST_S).map(_within(low, high)))
    near = st.sampled_from(PARTS_PCT).map(lambda percent: float(parameter.default) * percent / 100.0)
    return st.one_of(st.just(parameter.default), near.map(_within(low, high)), st.sampled_from([low, high]),
                     near.map(lambda number: -number).map(_within(low, high)))


def _within(low: float, high: float) -> Callable[[float], float]:
    return lambda number: float("%.6g" % min(high, max(low, number)))


def _onset(plan: Plan) -> st.SearchStrategy[When]:
    words = st.sampled_from([*EVENTS, *STATES])
    return st.one_of(
        words.map(When),
        st.builds(lambda word, tenths: When(word, after_s=tenths / 10.0), words, st.integers(1, TENTHS_OF_S)),
        st.builds(lambda word, seconds: When(word, after_s=float(seconds)), words,
                  st.one_of(st.integers(1, SOON_S), st.integers(1, LATEST_S))),
        st.integers(1, max(1, int(plan.site.depth_m))).map(lambda depth_m: When("depth", depth_m=float(depth_m))),
    )


def _written(kind: FaultKind, values: dict, when: When, plan: Plan) -> str:
    """The fault in its shortest spelling."""
    if kind.prepare:
        when = When()  # the site is so from the beginning
    fault = Fault(kind, {key: values[key] for key in kind.parameters}, when)
    return "" if unfit(plan, fault) else str(fault)
