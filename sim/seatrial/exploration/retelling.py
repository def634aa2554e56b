"""A voyage as a file that anybody can replay, leap by leap, and as faults of a rehearsal where those can tell it."""

import json
import tomllib
from dataclasses import dataclass
from pathlib import Path

from lander import VERSION, orders, table
from seatrial.complaints import complaint
from seatrial.exploration.sea import PLACES
from seatrial.exploration.search import Violation
from seatrial.exploration.voyage import Breach, Voyage

# What each surprise is called as a fault of a rehearsal; None where no fault is the same.
FAULTS = {
    "pressure:invalid": "pressure-gone", "pressure:frozen": "pressure-frozen", "contact:dry": "contact-dead",
    "contact:wet": "contact-bridged", "leak:wet": "leak", "supply:low": "cell-gone", "clock:lost": "clock-lost",
    "clock:ahead": "clock-jumps:by_s=1000000", "clock:back": "clock-jumps:by_s=-1000000", "reset": "reset",
    "outage": "power-gone:for_s=4", "long-outage": "power-gone:for_s=1200", "cut:attempt": "attempt-resets:for_s=30",
    "cut:row": "torn-record", "store:refuses": "flash-refuses", "stop": "caught", "plunge": "deeper",
    "rise": "link-early:after_min=0", "haul": "hauled-back", "magnet": "magnet-brushed:for_s=7",
}


class VoyageError(Exception):
    """A file that holds no voyage; the sentence says what is wrong with it."""


@dataclass(frozen=True)
class Leap:
    """One act and what stood after it."""

    at_s: float
    act: str
    surprise: bool
    place: str
    state: str
    broken: tuple[str, ...] = ()


def replay(voyage: Voyage, todo: list[str]) -> list[Leap]:
    """Perform the acts; the last leap carries the laws that it broke, if any. Raises VoyageError for an act that
    does not exist or is not possible from where it stands."""
    told = []
    for number, act in enumerate(todo):
        costs = dict(voyage.possible())
        if act not in costs:
            raise VoyageError("act %d is %r, which is not possible there" % (number + 1, act))
        broken: tuple[str, ...] = ()
        try:
            voyage.perform(act)
        except Breach as breach:
            broken = tuple("law %d: %s" % (check.law, check.sentence) for check in breach.checks)
        except Exception as error:  # a broken core may do anything
            broken = ("law 0: the controller stopped: %s: %s" % (type(error).__name__, error),)
        told.append(Leap(voyage.sea.now_ds / 10.0, act, costs[act] > 0, PLACES[voyage.sea.place],
                         table.STATES[min(voyage.mission.state, len(table.STATES) - 1)], broken))
        if broken:
            break
    return told


def as_rehearsal(told: list[Leap]) -> str:
    """The faults of `tumblehome rehearse` that make the same surprises, or "" where they cannot.

    A rehearsal has the plan's own times, so an onset is told by the mission state in which it came.
    """
    faults = []
    entered_s = {"safe": 0.0}
    before = "safe"
    begun_s = 0.0
    for leap in told:
        entered_s.setdefault(before, begun_s)
        if leap.surprise:
            fault = FAULTS.get(leap.act)
            if fault is None:
                return ""
            faults.append("--fault %s@%s" % (fault, _onset(before, begun_s - entered_s[before])))
        if leap.state != before:
            entered_s.setdefault(leap.state, leap.at_s)
        before, begun_s = leap.state, leap.at_s
    return "tumblehome rehearse " + " ".join(faults) if faults else ""


def _onset(state: str, after_s: float) -> str:
    if state == "safe":
        return "start"
    return state + ("+%ds" % after_s if after_s > 0 else "")


def as_text(violation: Violation, given: orders.Orders, told: list[Leap]) -> str:
    """The file of a violation: TOML, with the way in words as comments."""
    lines = ["# A voyage that breaks law %d: %s." % (violation.law, violation.sentence),
             "# Replay it: python -m seatrial.explore --replay FILE", "#"]
    lines += ["# %6.0f s  %-20s %-13s %s%s" % (leap.at_s, leap.act, leap.place, leap.state,
                                               "   a surprise" if leap.surprise else "") for leap in told]
    dive = as_rehearsal(told)
    if dive:
        lines += ["#", "# The same surprises in a dive of the plan, at its own times: %s" % dive]
    lines += ["", "version = %s" % json.dumps(VERSION), "law = %d" % violation.law,
              "sentence = %s" % json.dumps(violation.sentence),
              "orders = %s" % json.dumps(orders.pack(given).hex()),
              "acts = [%s]" % ", ".join(json.dumps(act) for act in violation.acts), ""]
    return "\n".join(lines)


def read(path: Path) -> tuple[orders.Orders, list[str]]:
    """Orders and acts of such a file. Raises VoyageError with one sentence."""
    try:
        content = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise VoyageError("%s cannot be read: %s" % (path, complaint(error))) from None
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise VoyageError("%s is no voyage file: %s" % (path, error)) from None
    todo = content.get("acts")
    if not isinstance(todo, list) or not todo or not all(isinstance(act, str) for act in todo):
        raise VoyageError("%s: acts must be a list of words" % path)
    try:
        record = bytes.fromhex(str(content.get("orders", "")))
    except ValueError:
        record = b""
    given = orders.unpack(record)
    if not given.good:
        raise VoyageError("%s: orders is no mission record of this version (%s): explore again" % (path, VERSION))
    return given, todo
