"""Faults that can be put into a dive: how they are written and read. The kinds stand in `seatrial.fault_kinds`.

A fault has a name, parameters with their bounds, an onset and a duration. On the command line it is written
`NAME:key=value,key=value@WHEN`; a bare `NAME` begins with the run. `for_s` ends a fault after so many seconds, where
the fault can end: what is over at once or is so before the dive takes no `for_s`.

    WHEN   start, splash, touchdown, attempt, freed, afloat         an event (its first occurrence)
           descend, record, release, backup, ascend, surface        a mission state (its first occurrence)
           200m                                                     this depth, first time on the way down
           45min, 90s, 2h                                           this long after the splash
           record+10min, splash+30s                                 this long after an event or state

What may break and how much: any number of faults at once, each any time. Out of scope here: the physics itself, the
plan, and a controller that runs other code than ours.
"""

import re
from dataclasses import dataclass
from decimal import Decimal
from difflib import get_close_matches

from lander.table import STATES
from seatrial.fault_kinds import FOREVER_S, KINDS, SECOND, FaultKind, Parameter

__all__ = ("EVENTS", "FOREVER_S", "KINDS", "SECOND", "Fault", "FaultError", "FaultKind", "Parameter", "When", "parse",
           "parse_when", "plain", "unfit")

EVENTS = ("start", "splash", "touchdown", "attempt", "freed", "afloat")
TIME_UNITS_S = {"s": 1.0, "min": 60.0, "h": 3600.0}


class FaultError(Exception):
    """A fault that is written wrong; the sentence names the part, the value and what is allowed."""


def plain(number: float) -> str:
    """The shortest decimal form that reads back as the same number, without an exponent."""
    return format(Decimal(repr(number)), "f").removesuffix(".0")


@dataclass(frozen=True)
class When:
    """The onset: an event, a state, a depth or the splash, and seconds after it."""

    word: str = "start"
    depth_m: float = 0.0
    after_s: float = 0.0

    def __str__(self) -> str:
        if self.word == "depth":
            return "%sm" % plain(self.depth_m)
        return self.word + ("+%ss" % plain(self.after_s) if self.after_s else "")


@dataclass(frozen=True)
class Fault:
    """One fault of a scenario. `str(fault)` is how it is written on the command line."""

    kind: FaultKind
    values: dict[str, float | str]
    when: When = When()

    @property
    def name(self) -> str:
        return self.kind.name

    @property
    def for_s(self) -> float:
        return float(self.values.get("for_s", FOREVER_S))

    def __str__(self) -> str:
        given = ["%s=%s" % (key, value if isinstance(value, str) else plain(value))
                 for key, value in self.values.items() if value != _default(self.kind, key)]
        at = "" if self.when == When() else "@%s" % self.when
        return self.name + (":" + ",".join(given) if given else "") + at

    def sentence(self) -> str:
        shown = ", ".join("%s %s" % (key, value if isinstance(value, str) else "%g" % value)
                          for key, value in self.values.items() if key != "for_s")
        return self.kind.what + (" (%s)" % shown if shown else "")


def unfit(plan, fault: Fault) -> str:
    """Why a lander of this plan cannot have this fault, in one sentence; "" when it can."""
    if fault.kind.group != SECOND or plan.second.fitted:
        return ""
    return ("fault %s is one of the second board and second.fitted is false: fit one ([second] in the plan), or leave"
            " the fault out" % fault.name)


# --- reading them --------------------------------------------------------------------------------------------------


def _default(kind: FaultKind, key: str):
    return kind.parameters[key].default


def parse(text: str) -> Fault:
    """A fault as it is written on the command line. Raises FaultError with one sentence."""
    head, at, when = text.partition("@")
    name, colon, pairs = head.partition(":")
    kind = KINDS.get(name)
    if kind is None:
        near = get_close_matches(name, KINDS, 1)
        hint = "did you mean %s?" % near[0] if near else "`tumblehome faults` lists what there is"
        raise FaultError("fault %r is not known; %s" % (name, hint))
    if at and not when:
        raise FaultError("fault %r ends in @ with no onset; write for example %s@record or %s@45min"
                         % (text, name, name))
    values = {key: parameter.default for key, parameter in kind.parameters.items()}
    for pair in pairs.split(",") if colon else ():
        key, equals, value = pair.partition("=")
        if key == "for_s" and not kind.can_end:
            raise FaultError("fault %s takes no for_s: %s has no end to wait for; leave for_s out"
                             % (name, "what is so before the dive" if kind.prepare else "what is over at once"))
        if key not in values or not equals:
            raise FaultError("fault %s has no parameter %r; it has %s" % (name, key or pair, _shown(kind) or "none"))
        values[key] = _value(kind, key, value)
    return Fault(kind, values, parse_when(when) if at else When())


def _value(kind: FaultKind, key: str, text: str) -> float | str:
    parameter = kind.parameters[key]
    if parameter.choices:
        if text not in parameter.choices:
            raise FaultError("fault %s: %s=%s; allowed is %s" % (kind.name, key, text, ", ".join(parameter.choices)))
        return text
    try:
        number = float(text)
    except ValueError:
        raise FaultError("fault %s: %s=%s is no number" % (kind.name, key, text)) from None
    if not parameter.lowest <= number <= parameter.highest:
        raise FaultError("fault %s: %s=%g; allowed is %g to %g"
                         % (kind.name, key, number, parameter.lowest, parameter.highest))
    return number


def _shown(kind: FaultKind) -> str:
    return ", ".join("%s (%s)" % (key, parameter.meaning) for key, parameter in kind.parameters.items())


_DEPTH = re.compile(r"(\d+(?:\.\d+)?)m")
_TIME = re.compile(r"(\d+(?:\.\d+)?)(s|min|h)")


def parse_when(text: str) -> When:
    """An onset. Raises FaultError with the forms that are allowed."""
    depth = _DEPTH.fullmatch(text)
    if depth:
        return When("depth", depth_m=float(depth[1]))
    after = _TIME.fullmatch(text)
    if after:
        return When("splash", after_s=float(after[1]) * TIME_UNITS_S[after[2]])
    word, plus, later = text.partition("+")
    time = _TIME.fullmatch(later) if plus else None
    if word in EVENTS + STATES and bool(plus) == bool(time):
        return When(word, after_s=float(time[1]) * TIME_UNITS_S[time[2]] if time else 0.0)
    raise FaultError("onset %r is not understood; allowed is an event (%s), a state (%s), a depth like 200m, a time"
                     " after the splash like 45min, or event+time like record+10min"
                     % (text, ", ".join(EVENTS), ", ".join(STATES)))
