"""What may happen next: the alphabet of the exploration, and what of it counts as a surprise.

An act is a word; one leap of ten seconds follows it, a long outage takes ten. What a planned dive brings by itself
costs nothing: waiting, the gesture that arms, the splash, a rise after an attempt, being fetched at the surface. All
else is a surprise, also that a disturbance ends again, and that the lander, back from a release and disarmed on deck,
is armed for another dive. Left out, because no controller could tell: that both signs of water lie, or that none can be
read, before the clock of the descent runs.
"""

from lander import signals
from lander.table import ARMED, DESCEND, SAFE, SURFACE
from seatrial.exploration import sea as seas
from seatrial.exploration.snapshot import LEAP_DS

WAIT, MAGNET = "wait", "magnet"
MOTIONS = {"sink": seas.SINK, "plunge": seas.PLUNGE, "rise": seas.RISE, "haul": seas.HAUL, "stop": seas.REST}
COMMANDS = {"say:arm": signals.ASK_ARM, "say:disarm": signals.ASK_DISARM, "say:ready": signals.READY_PRIMARY,
            "say:fire": signals.FIRE, "say:anyway": signals.ASK_ARM_ANYWAY}
BENCH = "bench"  # ready, then fire
# How long it is away, its cause, and what is found of the journal: the newest record, the one before, or nothing.
WATCHDOG_DS, OUTAGE_DS, LONG_DS = 30, 40, 1000
NEWEST, OLDER, BLANK = range(3)
RESETS = {
    "reset": (WATCHDOG_DS, 1, NEWEST), "reset:older": (WATCHDOG_DS, 1, OLDER), "reset:blank": (WATCHDOG_DS, 1, BLANK),
    "outage": (OUTAGE_DS, 0, NEWEST), "outage:older": (OUTAGE_DS, 0, OLDER), "outage:blank": (OUTAGE_DS, 0, BLANK),
    "long-outage": (LONG_DS, 0, NEWEST), "long-outage:older": (LONG_DS, 0, OLDER),
    "outage:clock-back": (OUTAGE_DS, 0, NEWEST), "outage:clock-ahead": (OUTAGE_DS, 0, NEWEST),
}
IN_THE_DARK = {"outage:clock-back": -seas.JUMP_S, "outage:clock-ahead": seas.JUMP_S}  # what the clock does meanwhile
CUT_ATTEMPT, CUT_ROW = "cut:attempt", "cut:row"  # power fails as current flows, or while a row is written
SPIKES = {"spike:deep": 3000, "spike:air": seas.AIR_MBAR}
JUMPS = {"clock:ahead": seas.JUMP_S, "clock:back": -seas.JUMP_S}
TURNS = tuple("%s:%s" % (name, word) for name, words in seas.SENSORS.items() for word in words)


def _said(turn: str) -> tuple[str, int]:
    name, word = turn.split(":")
    return name, seas.SENSORS[name].index(word)


TURNED = {turn: _said(turn) for turn in TURNS}


def possible(mission, sea, watch) -> list[tuple[str, int]]:
    """The acts from here, each with the surprises that it counts for."""
    if mission.state == SAFE and watch.drove and sea.place == seas.DECK:
        return [(MAGNET, 1)]  # it is home, and may go out again
    found = [(WAIT, 0)]
    found += _motions(mission, sea, watch)
    found += _people(mission, sea)
    found += [(turn, cost) for turn in TURNS if (cost := _turn_cost(turn, mission, sea)) >= 0]
    found += [(name, _reset_cost(reset[2], sea) + (name in IN_THE_DARK)) for name, reset in RESETS.items()]
    found += [(CUT_ATTEMPT, 1), (CUT_ROW, 1)]
    if sea.pressure == seas.TRUE:
        found += [(name, 1) for name in SPIKES]
    if sea.clock == 0:
        found += [(name, 1) for name in JUMPS]
    return found


def _reset_cost(found: int, sea) -> int:
    """That the journal is gone too, or that a record rots that was stored for long, is a second surprise.

    A record that has just been written may be torn by the same failure.
    """
    fresh = sea.now_ds - sea.written_ds <= LEAP_DS
    return 1 if found == NEWEST or (found == OLDER and fresh) else 2


def _motions(mission, sea, watch) -> list[tuple[str, int]]:
    if sea.motion != seas.REST:
        way = [("stop", 1)]
        return way + [("plunge", 1)] if sea.motion == seas.SINK else way
    found = []
    if sea.place < seas.BOTTOM:
        planned = mission.state == ARMED and sea.place == seas.DECK
        found.append(("sink", 0 if planned else 1))
    elif sea.place == seas.BOTTOM:
        found.append(("plunge", 1))
    if sea.place > seas.AFLOAT:
        found.append(("rise", 0 if watch.drove else 1))
    if sea.place > seas.DECK:
        found.append(("haul", 0 if mission.state == SURFACE and mission.command_ds >= 0 else 1))
    return found


def _people(mission, sea) -> list[tuple[str, int]]:
    on_deck = sea.place == seas.DECK and sea.motion == seas.REST
    planned = on_deck and mission.state in (SAFE, SURFACE)
    found = [(MAGNET, 0 if planned else 1)]
    found += [(name, 1) for name in COMMANDS]
    if mission.state == SAFE:
        found.append((BENCH, 1))
    return found


def _turn_cost(turn: str, mission, sea) -> int:
    """-1: not possible from here."""
    name, word = TURNED[turn]
    now = getattr(sea, name)
    if word == now or (now and word):  # a disturbance ends before another of the same sensor begins
        return -1
    if name in ("pressure", "contact") and word and not _believable(name, word, mission, sea):
        return -1
    return 1


def _believable(name: str, word: int, mission, sea) -> bool:
    pressure = word if name == "pressure" else sea.pressure
    contact = word if name == "contact" else sea.contact
    if pressure == seas.TRUE or contact == seas.TRUE:
        return True
    lies = pressure in (seas.FROZEN, seas.AIR, seas.FULL) and contact in (seas.WET, seas.DRY)
    return not lies and mission.descent_ds >= 0 and mission.state >= DESCEND


def keeps_an_honest_sign(mission, sea) -> bool:
    """Where the clock of the descent does not run, one sign at least is true."""
    if sea.pressure == seas.TRUE or sea.contact == seas.TRUE:
        return True
    lies = sea.pressure in (seas.FROZEN, seas.AIR, seas.FULL) and sea.contact in (seas.WET, seas.DRY)
    return not lies and mission.descent_ds >= 0

