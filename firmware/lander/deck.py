"""The person on deck and at the bench: magnet gestures, the bench line, and the checks before arming.

On deck, when code cannot know, it does nothing and says so: a refusal has a number, a lamp code and a record.
Under water the line is deaf, and a gesture counts only while at least one valid sign says air.
"""

from lander import journal, scribe, signals, table
from lander.table import ARMED, ASCEND, BACKUP, DESCEND, RECORD, RELEASE, SAFE, SURFACE

READY_DS = 100  # ready and fire must follow each other within this
BENCH_FIRE_DS = 50
REFUSED_SHOWN_DS = 300
SLOTS_TO_ARM = 512
NOBODY = -1

_SUBMERGED = (DESCEND, RECORD, RELEASE, BACKUP, ASCEND)
_OFF_OFF = (0, 0)
_ON_OFF = (100, 0)
_OFF_ON = (0, 100)


def asked(mission, now_ds: int, inputs, outputs) -> int:
    if mission.refused_ds >= 0 and now_ds - mission.refused_ds >= REFUSED_SHOWN_DS:
        mission.refused_ds = NOBODY
        mission.refusal = signals.FINE
    orders = mission.orders
    made = mission.magnet.gesture(now_ds, inputs.magnet, orders.magnet_hold_ds, orders.magnet_hold_max_ds)
    facts = obey(mission, now_ds, inputs, outputs) if inputs.command else 0
    if made:
        facts |= gesture(mission, now_ds, inputs, outputs)
    return facts


def gesture(mission, now_ds: int, inputs, outputs) -> int:
    scribe.event(mission, inputs, outputs, journal.E_GESTURE, inputs.magnet)
    if mission.state == SAFE:
        return ask_to_arm(mission, now_ds, inputs, outputs)
    if speaks_of_air(mission, inputs):
        return table.DISARM_ASKED
    return 0


def speaks_of_air(mission, inputs) -> bool:
    """At least one valid sign says air. A magnet at sea, with every sign wet, changes nothing."""
    return bool((inputs.contact_ok and not inputs.contact_wet) or (mission.depth.valid and mission.depth.atmosphere))


def ask_to_arm(mission, now_ds: int, inputs, outputs) -> int:
    why = why_not_arm(mission, inputs)
    if why == signals.FINE:
        return table.ARM_ASKED
    refuse(mission, now_ds, why)
    scribe.event(mission, inputs, outputs, journal.E_ARM_REFUSED, why)
    return 0


def why_not_arm(mission, inputs) -> int:
    """The first check that fails, as a number of `signals.REFUSALS`; FINE when fit to dive."""
    if not mission.orders.good:
        return signals.BAD_PLAN
    if not inputs.leak_ok:
        return signals.NO_LEAK_PROBE
    if inputs.leak_wet:
        return signals.WATER_INSIDE
    if not inputs.supply_ok or inputs.supply_mv < mission.orders.reserve_mv:
        return signals.NO_BATTERY
    if not inputs.pressure_ok or not 550 <= inputs.pressure_mbar <= 1100:
        return signals.NO_PRESSURE
    if not inputs.contact_ok or inputs.contact_wet:
        return signals.NO_CONTACT
    if inputs.store_free < SLOTS_TO_ARM:
        return signals.NO_ROOM
    return signals.FINE


def refuse(mission, now_ds: int, why: int) -> None:
    mission.refusal = why
    mission.refused_ds = now_ds


def obey(mission, now_ds: int, inputs, outputs) -> int:
    """The bench line. Under water it is deaf: nothing is changed and nothing is written."""
    command = inputs.command
    if mission.state in _SUBMERGED:
        return 0
    if mission.state == SURFACE or not dry_on_deck(mission, inputs):
        if command == signals.ASK_DISARM and dry_on_deck(mission, inputs):
            return table.DISARM_ASKED
        refuse(mission, now_ds, signals.SIGN_OF_WATER)
        return 0
    refuse(mission, now_ds, signals.FINE)
    if command == signals.ASK_ARM and mission.state == SAFE:
        return ask_to_arm(mission, now_ds, inputs, outputs)
    if command == signals.ASK_DISARM and mission.state == ARMED:
        return table.DISARM_ASKED
    if mission.state != SAFE:
        refuse(mission, now_ds, signals.WRONG_STATE)
    elif command == signals.READY_PRIMARY or command == signals.READY_BACKUP:
        mission.ready_channel = 0 if command == signals.READY_PRIMARY else 1
        mission.ready_ds = now_ds
    elif command == signals.FIRE:
        bench_fire(mission, now_ds, inputs, outputs)
    else:
        refuse(mission, now_ds, signals.WRONG_STATE)
    return 0


def dry_on_deck(mission, inputs) -> bool:
    """No valid sign of water, held or raw, and at least one valid sign of air."""
    wet = (inputs.contact_ok and inputs.contact_wet) or mission.contact.on or mission.depth.deep.on
    return not wet and speaks_of_air(mission, inputs)


def bench_fire(mission, now_ds: int, inputs, outputs) -> None:
    if mission.ready_channel == NOBODY or now_ds - mission.ready_ds > READY_DS:
        refuse(mission, now_ds, signals.NOT_READY)
        return
    mission.bench_channel = mission.ready_channel
    mission.bench_ds = now_ds
    mission.ready_channel = NOBODY
    scribe.event(mission, inputs, outputs, journal.E_BENCH_ON, mission.bench_channel)


def bench_drives(mission, now_ds: int, inputs, outputs):
    if mission.state != SAFE or now_ds - mission.bench_ds >= BENCH_FIRE_DS or not dry_on_deck(mission, inputs):
        mission.bench_channel = NOBODY
        scribe.event(mission, inputs, outputs, journal.E_BENCH_OFF, 0)
        return _OFF_OFF
    return _ON_OFF if mission.bench_channel == 0 else _OFF_ON
