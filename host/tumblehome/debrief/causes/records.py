"""The journal itself: records that are missing, damaged, thinned or lost, and refusals on deck.

The sound dive: every record is there, in room that the plan has for it; arming is asked for once and granted.
"""

from collections.abc import Iterator

import numpy as np

from lander import journal, signals, words
from seatrial.verdicts import counted
from tumblehome.debrief.causes.alike import CAMERA_DEAF, CLOCK_LOST, NEVER_ARMED, WATER_INSIDE, but
from tumblehome.debrief.causes.findings import ESTABLISHED, LIKELY, Finding
from tumblehome.debrief.causes.past import Past

# What a refusal on deck can come from. Those of the pressure and of the contact are told by their own themes.
REFUSED_BY = {
    signals.WATER_INSIDE: WATER_INSIDE,
    signals.NO_BATTERY: ("weak-supply", "cell-gone", "battery-misread", "old-battery", "supply-unread"),
    signals.NO_PRESSURE: (),
    signals.NO_ROOM: ("flash-full",),
    signals.NO_CLOCK: CLOCK_LOST,
    signals.NO_TEMPERATURE: ("temperature-unread",),
    signals.NO_CURRENT: ("current-unread", "supply-unread"),
    signals.NO_RELEASE_CURRENT: ("current-unread", "supply-unread"),
    signals.PRIMARY_OPEN: ("bad-circuit",),
    signals.PRIMARY_SHORTED: ("bad-circuit",),
    signals.BACKUP_OPEN: ("bad-circuit",),
    signals.BACKUP_SHORTED: ("bad-circuit",),
    signals.STORE_FAILED: ("flash-refuses",),
    signals.NO_RECORDING: (*CAMERA_DEAF, "battery-misread"),
    signals.CAMERA_HOT: ("temperature-misread", "fan-dead"),
    signals.LIGHTS_WRONG: ("lamp-shorted", "battery-misread"),
}
SURE = (signals.PRIMARY_OPEN, signals.PRIMARY_SHORTED, signals.BACKUP_OPEN, signals.BACKUP_SHORTED)


def refusals(past: Past) -> Iterator[Finding]:
    """Sound: none."""
    at = past.events(journal.E_ARM_REFUSED)
    for why in dict.fromkeys(int(past.detail[place]) for place in at):
        kinds = REFUSED_BY.get(why, ())
        if not kinds:
            continue
        yield Finding(kinds, ESTABLISHED if why in SURE else LIKELY, "Arming was refused: %s." % words.REFUSALS[why],
                      past.records([place for place in at if past.detail[place] == why]),
                      "mend it, and run the self-test again", 92)


def never_armed(past: Past) -> Iterator[Finding]:
    """Sound: armed before the splash."""
    row = past.row("safe-splash", "safe-alone", "safe-lost")
    if row is None or past.events(journal.E_ARM_REFUSED):
        return
    yield Finding(NEVER_ARMED, LIKELY,
                  "It was under water and had never been armed, or had lost the records of it.", past.records([row.at]),
                  "look at the journal's memory, and at the magnet's switch", 74)


def damaged(past: Past) -> Iterator[Finding]:
    """Sound: every written slot holds a whole record."""
    unread = past.whole.unread
    if not unread.bad:
        return
    if past.starts and any(past.log.slot[one.at] - past.log.slot[one.before] > 1 for one in past.starts
                           if one.before is not None):
        return  # power failed there: told with the start
    torn = unread.bad == 1 == len(unread.torn)
    yield Finding(("torn-record",) if torn else ("records-damaged",), LIKELY,
                  "No whole record in %s of the journal%s." % (
                      counted(unread.bad, "slot"), ": it is written in part, as when power fails" if torn else ""),
                  past.records([0]) if past.count else (),
                  "test the journal's memory on the bench", 78, but(NEVER_ARMED, "records-damaged", "torn-record"))


def lost(past: Past) -> Iterator[Finding]:
    """Sound: no record was lost."""
    at = past.events(journal.E_LOST)
    if at:
        yield Finding(("flash-refuses",), LIKELY, "The memory refused %d records or more." % past.detail[at].sum(),
                      past.records(at), "write and read back the journal's memory on the bench", 85,
                      ("power-gone", "records-damaged"))
        return
    gaps = np.flatnonzero(np.diff(past.sequence) > 1)
    if len(gaps) and not past.whole.unread.bad:
        yield Finding(("flash-refuses", "flash-full"), LIKELY, "%d records are missing: they were never stored, or"
                      " newer ones went over them." % (np.diff(past.sequence)[gaps] - 1).sum(), past.records(gaps),
                      "write and read back the journal's memory on the bench", 76)


def full(past: Past) -> Iterator[Finding]:
    """Sound: the plan's journal has room for the whole dive."""
    at = past.events(journal.E_NEARLY_FULL)
    if not at:
        return
    there = int(past.log.slot[at[0]])
    if there + int(past.detail[at[0]]) < past.plan.journal.slots - 2 * journal.HEEL:
        yield Finding(("flash-full",), LIKELY, "The memory was nearly full after %d records of this journal; the plan"
                      " has %d slots." % (there, past.plan.journal.slots), past.records(at),
                      "read and clear the journal before each dive", 82, ("flash-refuses",))


RULES = (refusals, never_armed, damaged, lost, full)
