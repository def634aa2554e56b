"""The person on deck and at the bench: magnet gestures, the bench line, the checks and the self-test before arming.

On deck, when code cannot know, it does nothing and says so: a refusal has a number, a lamp code and a record.
Under water the line is deaf, and a gesture counts only while at least one valid sign says air.
"""

from lander import journal, scribe, signals, table
from lander.orders import NONE, TEST_SENSORS, TEST_STORE
from lander.selftest import DONE
from lander.table import ARMED, ASCEND, BACKUP, DESCEND, RECORD, RELEASE, SAFE, SURFACE

READY_DS = 100  # ready and fire must follow each other within this
BENCH_FIRE_DS = 50
REFUSED_SHOWN_DS = 300
SLOTS_TO_ARM = 512
AIR_MBAR_MIN, AIR_MBAR_MAX = 550, 1100
PLAN_COPIES = 2
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
    testing = mission.self_test.part
    facts = obey(mission, now_ds, inputs, outputs) if inputs.command else 0
    if made:
        facts |= gesture(mission, now_ds, inputs, outputs)
    if testing and mission.self_test.part:  # not in the step in which it begins: nothing was asked of the board yet
        facts |= go_on_testing(mission, now_ds, inputs, outputs)
    return facts


def gesture(mission, now_ds: int, inputs, outputs) -> int:
    scribe.event(mission, inputs, outputs, journal.E_GESTURE, inputs.magnet)
    if mission.self_test.part:
        call_off(mission, now_ds, inputs, outputs)
        return 0
    if mission.state == SAFE:
        return ask_to_arm(mission, now_ds, inputs, outputs)
    if speaks_of_air(mission, inputs):
        return table.DISARM_ASKED
    return 0


def speaks_of_air(mission, inputs) -> bool:
    """At least one valid sign says air. A magnet at sea, with every sign wet, changes nothing."""
    return bool((inputs.contact_ok and not inputs.contact_wet) or (mission.depth.valid and mission.depth.atmosphere))


def ask_to_arm(mission, now_ds: int, inputs, outputs) -> int:
    """The checks that need no waiting; then the self-test, where the plan orders one."""
    why = why_not_arm(mission, inputs)
    if why == signals.FINE and not mission.orders.self_test & ~TEST_SENSORS:
        return table.ARM_ASKED
    if why == signals.FINE and mission.bench_channel != NOBODY:
        why = signals.WRONG_STATE
    if why != signals.FINE:
        return refuse_to_arm(mission, now_ds, inputs, outputs, why)
    refuse(mission, now_ds, signals.FINE)
    mission.ready_channel = NOBODY
    mission.self_test.begin(now_ds, inputs)
    return 0


def refuse_to_arm(mission, now_ds: int, inputs, outputs, why: int) -> int:
    refuse(mission, now_ds, why)
    scribe.event(mission, inputs, outputs, journal.E_ARM_REFUSED, why)
    return 0


def go_on_testing(mission, now_ds: int, inputs, outputs) -> int:
    why = why_never_arm(mission, inputs)
    if why == signals.FINE:
        why = mission.self_test.update(now_ds, inputs, mission.camera)
    if why == signals.FINE:
        if mission.self_test.part != DONE:
            return 0
        why = why_not_arm(mission, inputs)  # the test took a while
    end_test(mission, inputs, outputs, why)
    return table.ARM_ASKED if why == signals.FINE else refuse_to_arm(mission, now_ds, inputs, outputs, why)


def end_test(mission, inputs, outputs, why: int) -> None:
    mission.self_test.end(why)
    scribe.event(mission, inputs, outputs, journal.E_SELF_TEST, mission.self_test.passed)


def call_off(mission, now_ds: int, inputs, outputs) -> None:
    """A gesture while the self-test runs ends it; nothing is armed."""
    end_test(mission, inputs, outputs, signals.CALLED_OFF)
    refuse_to_arm(mission, now_ds, inputs, outputs, signals.CALLED_OFF)


def arm_anyway(mission, now_ds: int, inputs, outputs) -> int:
    """Over the bench line only: past a failed check or a failed self-test, which is then in the journal."""
    why = why_never_arm(mission, inputs)
    if why != signals.FINE:
        return refuse_to_arm(mission, now_ds, inputs, outputs, why)
    why = why_not_arm(mission, inputs) or mission.self_test.failed
    scribe.event(mission, inputs, outputs, journal.E_ARMED_ANYWAY, why)
    return table.ARM_ASKED


def why_never_arm(mission, inputs) -> int:
    """What nobody can arm past: no plan to fly, water inside, a sign of water outside, none of air."""
    if not mission.orders.good or not inputs.plan_copies:
        return signals.BAD_PLAN
    if inputs.leak_ok and inputs.leak_wet:
        return signals.WATER_INSIDE
    depth = mission.depth
    if not dry_on_deck(mission, inputs) or (depth.valid and depth.depth_cm > mission.orders.submerged_cm):
        return signals.SIGN_OF_WATER
    return signals.FINE


def why_not_arm(mission, inputs) -> int:
    """The first check that fails, as a number of `signals`; FINE when fit to dive."""
    if not mission.orders.good:
        return signals.BAD_PLAN
    if not inputs.leak_ok:
        return signals.NO_LEAK_PROBE
    if inputs.leak_wet:
        return signals.WATER_INSIDE
    if not inputs.supply_ok or inputs.supply_mv < mission.orders.reserve_mv:
        return signals.NO_BATTERY
    if not reads_air(inputs):
        return signals.NO_PRESSURE
    if not inputs.contact_ok or inputs.contact_wet:
        return signals.NO_CONTACT
    if inputs.store_free < SLOTS_TO_ARM:
        return signals.NO_ROOM
    if mission.orders.self_test & TEST_STORE and inputs.plan_copies < PLAN_COPIES:
        return signals.PLAN_COPIES
    return why_not_sense(mission, inputs) if mission.orders.self_test & TEST_SENSORS else signals.FINE


def why_not_sense(mission, inputs) -> int:
    """The first sensor that cannot be read, of those that a dive can do without at a pinch."""
    if not inputs.clock_ok:
        return signals.NO_CLOCK
    if not (inputs.camera_temp_ok and inputs.housing_temp_ok and inputs.water_temp_ok):
        return signals.NO_TEMPERATURE
    if not inputs.current_ok:
        return signals.NO_CURRENT
    if not inputs.release_ok:
        return signals.NO_RELEASE_CURRENT
    if mission.orders.camera_feedback != NONE and not inputs.camera_feedback_ok:
        return signals.NO_FEEDBACK
    return signals.FINE


def reads_air(inputs) -> bool:
    """The pressure is that of the atmosphere, from a lake in the mountains to a high over the sea."""
    return bool(inputs.pressure_ok and AIR_MBAR_MIN <= inputs.pressure_mbar <= AIR_MBAR_MAX)


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
    if mission.self_test.part:
        return obey_in_test(mission, now_ds, inputs, outputs)
    refuse(mission, now_ds, signals.FINE)
    if command == signals.ASK_ARM and mission.state == SAFE:
        return ask_to_arm(mission, now_ds, inputs, outputs)
    if command == signals.ASK_ARM_ANYWAY and mission.state == SAFE:
        return arm_anyway(mission, now_ds, inputs, outputs)
    if command == signals.ASK_DISARM and mission.state == ARMED:
        return table.DISARM_ASKED
    if mission.state != SAFE or mission.bench_channel != NOBODY:  # one fire ends before another can be made ready
        refuse(mission, now_ds, signals.WRONG_STATE)
    elif command == signals.READY_PRIMARY or command == signals.READY_BACKUP:
        mission.ready_channel = 0 if command == signals.READY_PRIMARY else 1
        mission.ready_ds = now_ds
    elif command == signals.FIRE:
        bench_fire(mission, now_ds, inputs, outputs)
    else:
        refuse(mission, now_ds, signals.WRONG_STATE)
    return 0


def obey_in_test(mission, now_ds: int, inputs, outputs) -> int:
    """While the self-test runs it can be called off, and nothing else: least of all may a release be fired then."""
    if inputs.command == signals.ASK_DISARM:
        call_off(mission, now_ds, inputs, outputs)
    else:
        refuse(mission, now_ds, signals.WRONG_STATE)
    return 0


def dry_on_deck(mission, inputs) -> bool:
    """No valid sign of water, held or raw, and at least one valid sign of air."""
    depth = mission.depth
    wet = (inputs.contact_ok and inputs.contact_wet) or mission.contact.on or depth.deep.on or (
        depth.valid and not depth.atmosphere)
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
