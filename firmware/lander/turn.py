"""Taking a row of the table: what begins and what ends when the mission goes from one state to another."""

from lander import deck, drive, journal, release, scribe, signals, table
from lander.table import ARMED, ASCEND, BACKUP, DESCEND, RECORD, RELEASE, SAFE, SURFACE

NEVER = -1


def take(mission, number: int, now_ds: int, inputs, outputs) -> None:
    row = table.ROWS[number]
    came_from = mission.state
    mission.state = row[table.TO]
    if mission.release.phase == release.FIRE_NOW:
        how = release.RISE if mission.state == ASCEND else release.LEFT
        drive.end_attempt(mission, how, inputs, outputs)
    mission.release.stop()
    if mission.self_test.part:
        deck.end_test(mission, inputs, outputs, signals.SIGN_OF_WATER)  # nothing but water leaves safe in a test
    if mission.state == SAFE:
        end_dive(mission)
    elif mission.state == ARMED:
        enter_armed(mission, came_from, inputs)
    elif mission.state == DESCEND:
        enter_descend(mission, came_from, now_ds, inputs, outputs)
    elif mission.state == RECORD:
        mission.record_ds = now_ds
    elif mission.state == RELEASE or mission.state == BACKUP:
        if came_from == SAFE:
            begin_dive(mission, inputs)
            mission.time_unknown = mission.sure = True
            mission.descent_ds = now_ds
        enter_release(mission, number, now_ds)
    elif mission.state == ASCEND:
        mission.ascend_ds = now_ds
        mission.depth.stand_again()
    else:
        enter_surface(mission, came_from, now_ds)
    scribe.note(mission, inputs, outputs, journal.ROW, number, mission.facts)
    mission.reading_ds = now_ds


def begin_dive(mission, inputs) -> None:
    mission.dive = mission.dive + 1 & 0xFF
    mission.descent_ds = mission.command_ds = NEVER
    mission.why = table.STAY
    mission.release.attempts = 0
    mission.release.ways[0] = mission.release.ways[1] = 0
    mission.energy.used_mah = 0
    mission.sure = mission.confirmed = mission.power_gap = mission.bug = False
    mission.time_unknown = False
    mission.sparing = 0
    mission.depth.forget_rise()
    mission.contact_felt = False
    mission.noted_leak = mission.noted_long = False
    mission.clock_trusted = bool(inputs.clock_ok)
    mission.clock_from_s = inputs.clock_s
    mission.clock_from_ds = mission.mission_ds


def end_dive(mission) -> None:
    mission.descent_ds = NEVER
    mission.sure = mission.time_unknown = mission.power_gap = mission.bug = False
    mission.camera.force_off()


def enter_armed(mission, came_from: int, inputs) -> None:
    mission.descent_ds = NEVER
    mission.sure = False
    mission.before_ds = NEVER
    if came_from == SAFE:
        begin_dive(mission, inputs)
        if deck.reads_air(inputs):
            mission.depth.surface_mbar = inputs.pressure_mbar


def enter_descend(mission, came_from: int, now_ds: int, inputs, outputs) -> None:
    if came_from == SAFE:
        begin_dive(mission, inputs)
    if came_from == SURFACE:
        mission.depth.forget_rise()
    if mission.descent_ds >= 0 and not mission.confirmed:
        return
    began_ds = wet_since_ds(mission, came_from, now_ds)
    was_wet_before = came_from != SURFACE and mission.before_ds >= 0 and not mission.air_seen
    if was_wet_before:
        # No air since the controller came back: it may have been under water since the last record on deck.
        began_ds = mission.before_ds
    elif came_from == ARMED:
        mission.time_unknown = False
    mission.descent_ds = began_ds
    mission.sure = False
    mission.confirmed = False
    mission.atmosphere_only = mission.depth.valid and mission.depth.atmosphere
    mission.before_ds = NEVER
    if was_wet_before:  # written last: power may fail behind any record, and each must carry a whole mission
        scribe.event(mission, inputs, outputs, journal.E_WET_BEFORE, began_ds)


def wet_since_ds(mission, came_from: int, now_ds: int) -> int:
    """When the first of the signs that start the clock was seen. Unarmed, a sign may have stood on deck for days: it
    counts from when the other one last said air."""
    deep_ds = mission.depth.deep.began_ds if mission.depth.deep.on else NEVER
    contact_ds = mission.contact.began_ds if mission.contact.on else NEVER
    if deep_ds < 0 or contact_ds < 0:
        began_ds = max(deep_ds, contact_ds)
    else:
        began_ds = min(deep_ds, contact_ds)
        if came_from == SAFE:
            began_ds = max(began_ds, mission.air_ds)
    return began_ds if began_ds >= 0 else now_ds


def enter_release(mission, number: int, now_ds: int) -> None:
    if mission.command_ds < 0:
        mission.command_ds = now_ds
        mission.why = number
    mission.confirmed = False
    mission.depth.rise_from_here()
    mission.release.begin(now_ds, 0 if mission.state == RELEASE else 1)


def enter_surface(mission, came_from: int, now_ds: int) -> None:
    mission.surface_ds = now_ds
    if came_from == ASCEND and mission.command_ds >= 0:
        mission.confirmed = True
    if mission.facts & table.OUT_OF_WATER:
        stop_descent_clock(mission)


def stop_descent_clock(mission) -> None:
    mission.descent_ds = NEVER
    mission.sure = mission.time_unknown = mission.power_gap = False


def stay_at_surface(mission, now_ds: int, inputs, outputs) -> None:
    if mission.facts & table.OUT_OF_WATER and mission.descent_ds >= 0:
        stop_descent_clock(mission)
        scribe.event(mission, inputs, outputs, journal.E_STOPPED, 0)
    if now_ds - mission.surface_ds >= mission.orders.beacon_ds and not mission.noted_long:
        mission.noted_long = True
        scribe.event(mission, inputs, outputs, journal.E_BEACON_LONG, 0)
