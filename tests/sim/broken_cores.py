"""Broken cores of the known-bad list, each with a dive of the sample that exposes it. No tests of its own.

A core that must be caught tests the tester: it is flown like the true one, and exactly the laws named are to be found
broken, no more and no less.
"""

from dataclasses import dataclass

from seatrial.broken_core import mission_class, read_edits
from seatrial.known_bad import LIST, Body
from seatrial.plan import Plan

EDITS = {edit.breaks: edit for edit in read_edits(LIST)}


def core_of(breaks: str) -> type:
    """The class `Mission` of the core that is broken in these words."""
    return mission_class([EDITS[breaks]])


def body_of(breaks: str, plan: Plan) -> Body:
    """A body that runs this core, to be flown with."""
    return Body(plan.mission_record(), core_of(breaks))


@dataclass(frozen=True)
class Exposed:
    """A broken core, the faults of a dive, and the laws that it breaks there."""

    breaks: str
    faults: str
    laws: frozenset[int]


def _core(breaks: str, faults: str, *laws: int) -> Exposed:
    return Exposed(breaks, faults, frozenset(laws))


CORES = (
    _core("no deadline ever comes", "", 1),
    _core("the timed release never comes due", "", 2),
    _core("the clock of the descent restarts at every boot", "reset@record+20min", 2),
    _core("the clock of the descent restarts at every boot", "reset@record+3h", 1, 2),
    _core("mission time restarts at boot", "reset@record+20min", 2),
    _core("a clock that jumps while the controller runs stays trusted",
          "clock-drifts:ppm=-500000@splash power-gone:for_s=120@record+1h", 2),
    _core("one sign of water is believed at once", "contact-bridged@armed+60s leak-false@armed+60s", 3),
    _core("it sees neither the surface nor the deck", "hauled-back@record+10min", 3),
    _core("it sees neither the surface nor the deck", "hauled-back@attempt+5s", 3),
    _core("the backup channel is never tried", "jammed", 4),
    _core("one attempt, and no second", "jammed", 4),
    # The same attempt is in the journal only once.
    _core("an attempt that a reset cut is repeated in the same way",
          "attempt-resets:channel=primary,for_s=60@release", 4, 12),
    _core("an attempt that is over is taken for a rise", "jammed", 4),
    _core("a reading that jumps is believed, and counts as a rise", "pressure-saturated@attempt", 4),
    _core("an attempt is left ten minutes late", "jammed", 4),
    _core("it fires without waiting for the loads", "", 5, 12),  # the core finds it itself, too late
    _core("it fires in the instant of shedding", "", 5),
    _core("the battery is never low", "lamp-shorted@record+3h", 6),
    _core("the battery is never low", "reset@splash lamp-shorted@record+3h", 6),
    _core("water inside does not release", "leak@record+1h", 7),
    _core("a leak is believed after ten minutes", "leak@splash+1min", 7),
    _core("the beacon is never lit", "", 8),
    _core("the beacon dies after ten minutes", "", 8),
    _core("it presses without looking at the camera's answer", "records-early", 9),
    _core("it presses without looking at the camera's answer", "press-missed@splash", 9),
    _core("a camera that crashed is not started again", "camera-crashed@record+10min", 9),
    _core("it does not film on the bottom", "", 9),
    _core("lights do not ask for depth", "never-sinks", 10),
    _core("a magnet disarms under water", "magnet-brushed:for_s=8@ascend+60s", 11),
    _core("rows are not written", "", 12),
    _core("attempts are not written", "", 12),
    _core("both channels at once", "", 12),  # the core finds it itself
    _core("one sample is taken for the seabed", "", 12),
)
