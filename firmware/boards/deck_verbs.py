"""What can be said to the board on deck: `VERBS` says when each verb is done, and in which module it stands.

A verb is a function of its name, which has checked everything before it changes anything. What is seldom said stands in
modules of their own, which are loaded when it is said and let go when the mission's state changes, so that at sea
nothing of it is in memory. The words for people are those of `boards.deck_words`.
"""

import gc
import sys

from lander import VERSION, deck, journal, orders, wire
from lander.signals import INPUTS, OUTPUTS
from lander.table import SAFE, STATES

# What a verb wants: the mission is safe; no sign of water; a sign of air as well; no release is fired and no self-test
# runs. To change something, all but the air is wanted, to move something, all.
ANY, IS_SAFE, NO_WATER, IN_AIR, NOT_BUSY, CHANGES, MOVES = 0, 1, 2, 4, 8, 11, 15

LATE = ("deck_poke", "deck_store", "deck_files", "deck_session")  # modules that are loaded when they are asked for
VERBS = {
    "hello": (ANY, ""),
    "status": (ANY, ""),
    "see": (ANY, ""),
    "clock": (ANY, ""),
    "ask": (NO_WATER, ""),
    "circuits": (MOVES, ""),
    "poke": (MOVES, "deck_poke"),
    "poked": (ANY, "deck_poke"),
    "plan": (ANY, "deck_store"),
    "orders": (CHANGES, "deck_store"),
    "keep": (CHANGES, "deck_store"),
    "journal": (ANY, "deck_store"),
    "slot": (ANY, "deck_store"),
    "clear": (CHANGES, "deck_store"),
    "files": (ANY, "deck_files"),
    "session": (MOVES, "deck_session"),
}

RESETS = ("power", "watchdog", "asked")  # by the input `reset_cause`
COMMANDS = ("arm", "disarm", "ready-primary", "ready-backup", "fire", "arm-anyway")  # from 1 on, as lander.signals has
ROOM = wire.LINE_MAX - 40  # for pairs in an answer: number, `ok`, `next` and checksum take the rest


def obey(line, flight, verb: str, pairs, now_ms: int) -> str:
    """Do what a line says; the words of the answer. Raises WireError with the reason, and nothing is changed then."""
    if verb not in VERBS:
        raise wire.WireError("unknown verb: %s" % verb[:20])
    wants, module = VERBS[verb]
    check(flight, wants)
    do = getattr(bring(line, flight, module), verb) if module else globals()[verb]
    return do(line, flight, pairs, now_ms)


def check(flight, wants: int) -> None:
    """Raises WireError where the mission is not as a verb wants it."""
    if wants & IS_SAFE and flight.mission.state != SAFE:
        raise wire.WireError("disarm first: the mission is %s" % STATES[flight.mission.state])
    if wants & NO_WATER and is_wet(flight):
        raise wire.WireError("water: a sign of it was read")
    if wants & IN_AIR and not says_air(flight.inputs):
        raise wire.WireError("water: no sensor says air")
    if wants & NOT_BUSY and is_busy(flight):
        raise wire.WireError("busy: a release is fired or a self-test runs")


def is_wet(flight) -> bool:
    """A sign of water, held by the mission or read just now: wet contact, or deeper than what counts as submerged."""
    mission, contact, pressure = flight.mission, flight.gear.contact, flight.gear.pressure
    if mission.contact.on or mission.depth.deep.on or (contact.ok and contact.wet):
        return True
    over_mbar = pressure.pressure_mbar - mission.depth.surface_mbar
    return bool(pressure.ok and over_mbar * mission.orders.cm_per_bar // 1000 > mission.orders.submerged_cm)


def says_air(inputs) -> bool:
    """A sensor that can be read says air. The readings are those of the last step."""
    return bool((inputs.contact_ok and not inputs.contact_wet) or deck.reads_air(inputs))


def is_busy(flight) -> bool:
    """The mission drives a release or tests itself."""
    outputs = flight.outputs
    return bool(outputs.release_primary_pct or outputs.release_backup_pct or outputs.self_test
                or flight.mission.self_test.part)


# --- always there ---------------------------------------------------------------------------------------------------


def hello(line, flight, pairs, _now_ms: int) -> str:
    """Who is there."""
    wire.nothing_else(pairs)
    return "lander=%s wire=%d orders=%d journal=%d board=%s id=%s reset=%s" % (
        VERSION, wire.VERSION, orders.VERSION, journal.VERSION, line.board.name, line.board.chip_id(),
        RESETS[flight.inputs.reset_cause])


def status(_line, flight, pairs, _now_ms: int) -> str:
    """What the mission does, and what it refused last."""
    wire.nothing_else(pairs)
    inputs, outputs, test = flight.inputs, flight.outputs, flight.mission.self_test
    return "state=%s refused=%d boots=%d uptime_ds=%d supply_mv=%d plan_copies=%d store_free=%d selftest=%d" \
        " passed=%d" % (STATES[outputs.state], outputs.refused, flight.mission.boot_number, inputs.uptime_ds,
                        inputs.supply_mv, inputs.plan_copies, inputs.store_free, test.part, test.passed)


def see(_line, flight, pairs, _now_ms: int) -> str:
    """The inputs and outputs of the last step, as many as fit a line."""
    return shown(take_first(pairs), flight.inputs, flight.outputs, flight.drives.faults)


def take_first(pairs) -> int:
    """Where in the tables to begin."""
    first = wire.take(pairs, "from", 0, len(INPUTS) + len(OUTPUTS)) if pairs else 0
    wire.nothing_else(pairs)
    return first


def shown(first: int, inputs, outputs, faults: int) -> str:
    """Pairs from this place in the tables on, and the place where they go on: -1 after the last one."""
    said = ""
    for at in range(first, len(INPUTS) + len(OUTPUTS) + 1):
        if at < len(INPUTS):
            pair = "%s=%d " % (INPUTS[at][0], getattr(inputs, INPUTS[at][0]))
        elif at < len(INPUTS) + len(OUTPUTS):
            name = OUTPUTS[at - len(INPUTS)][0]
            pair = "%s=%d " % (name, getattr(outputs, name))
        else:
            pair = "faults=%d " % faults
        if len(said) + len(pair) > ROOM:
            return said + "next=%d" % at
        said += pair
    return said + "next=-1"


def clock(_line, flight, pairs, now_ms: int) -> str:
    """Read the clock, or set it."""
    chip = flight.gear.clock
    if pairs:
        clock_s = wire.take(pairs, "s", 0, (1 << 30) - 1)
        wire.nothing_else(pairs)
        check(flight, IS_SAFE | NO_WATER)
        if not chip.set(clock_s, now_ms):
            raise wire.WireError("the clock did not take it")
    return "s=%d ok=%d" % (chip.clock_s, chip.ok)


def ask(line, flight, pairs, now_ms: int) -> str:
    """A command for the mission's next step; what is poked ends. `status` says whether it was refused."""
    said = pairs.get("command", "")
    if said in COMMANDS:
        pairs.pop("command")
        command = COMMANDS.index(said) + 1
    else:
        command = wire.take(pairs, "command", 1, len(COMMANDS))
    wire.nothing_else(pairs)
    if line.command not in (0, command):
        raise wire.WireError("busy: the mission has not heard the command before")
    if line.poke is not None:
        line.poke.end(flight, now_ms)
    line.command = command
    return ""


def circuits(line, flight, pairs, now_ms: int) -> str:
    """Test both releases by a trickle, and tell what that has found, once; 0 while it has found nothing."""
    wire.nothing_else(pairs)
    gear = flight.gear
    if line.has_told_circuits and not gear.is_testing():
        gear.test_anew(now_ms)
    else:
        gear.test(now_ms)
    is_done = gear.primary.circuit and not gear.is_testing()
    line.has_told_circuits = 1 if is_done else 0
    return "primary=%d backup=%d primary_mv=%d backup_mv=%d" % (
        gear.primary.circuit, gear.backup.circuit, gear.primary.test_mv, gear.backup.test_mv)


# --- loaded when it is said -----------------------------------------------------------------------------------------


def _load_poke():
    from boards import deck_poke

    return deck_poke


def _load_store():
    from boards import deck_store

    return deck_store


def _load_files():
    from boards import deck_files

    return deck_files


def _load_session():
    from boards import deck_session

    return deck_session


LOADERS = dict(zip(LATE, (_load_poke, _load_store, _load_files, _load_session)))


def bring(line, flight, name: str):
    """The module of this name, loaded if it is not there yet. Raises WireError where that fails; nothing is changed."""
    if name in line.later:
        return line.later[name]
    gc.collect()
    line.board.lend(flight.slots.volume)
    try:
        line.later[name] = LOADERS[name]()
    except (ImportError, MemoryError, OSError):
        raise wire.WireError("not loaded: no memory for it, or its file is not on the board") from None
    finally:
        line.board.take_back()
        gc.collect()
    return line.later[name]


def let_go(line) -> None:
    """Forget the modules that were loaded."""
    package = sys.modules["boards"]
    for name in line.later:
        sys.modules.pop("boards." + name, None)
        if hasattr(package, name):
            delattr(package, name)
    line.later = {}
    gc.collect()
