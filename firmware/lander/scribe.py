"""Writing into the journal: every record carries the whole mission state and the readings of its instant."""

import struct

from lander import journal, signals
from lander.table import ARMED, BACKUP, RECORD, RELEASE, SAFE, SURFACE

SLOTS_THIN = 1024  # readings are thinned below this many free slots
SLOTS_EVENTS_ONLY = 256  # and once more
THIN = 8


def read_into_journal(mission, inputs, outputs) -> None:
    now_ds = mission.mission_ds
    if inputs.store_free < SLOTS_THIN and not mission.noted_full and mission.state != SAFE:
        mission.noted_full = True
        event(mission, inputs, outputs, journal.E_NEARLY_FULL, inputs.store_free)
    if mission.reading_ds < 0 or now_ds - mission.reading_ds >= reading_every_ds(mission, inputs):
        mission.reading_ds = now_ds
        note(mission, inputs, outputs, journal.READING, mission.state, mission.depth.depth_cm)


def reading_every_ds(mission, inputs) -> int:
    """Time between readings in this state, longer where the journal is nearly full."""
    every_ds = _planned_every_ds(mission)
    if inputs.store_free < SLOTS_THIN:
        every_ds *= THIN
        if inputs.store_free < SLOTS_EVENTS_ONLY:
            every_ds *= THIN
    return every_ds


def _planned_every_ds(mission) -> int:
    state = mission.state
    orders = mission.orders
    if state == RECORD:
        return orders.reading_bottom_ds
    if state == SAFE or state == ARMED or state == SURFACE:
        return orders.reading_surface_ds
    if state == RELEASE or state == BACKUP:
        return orders.reading_bottom_ds if mission.release.attempts <= 6 else THIN * orders.reading_bottom_ds
    return orders.reading_descent_ds


def note_boot(mission, inputs, outputs) -> None:
    mission.booted = True
    note(mission, inputs, outputs, journal.BOOT, inputs.reset_cause, mission.boot_detail)
    if mission.sparing:
        event(mission, inputs, outputs, journal.E_SPARING, mission.sparing)


def event(mission, inputs, outputs, event: int, detail: int) -> None:
    note(mission, inputs, outputs, journal.EVENT, event, detail)


def note(mission, inputs, outputs, kind: int, code: int, detail: int) -> None:
    count = outputs.record_count
    if count >= signals.RECORDS_MAX:
        return
    at = count * journal.RECORD_BYTES
    struct.pack_into(
        journal.FORMAT, outputs.records, at, journal.VERSION, kind, mission.sequence, mission.boot_number,
        mission.dive, mission.state, mission.mission_ds, inputs.clock_s if mission.clock_trusted else 0,
        flags(mission), mission.descent_ds, mission.command_ds, mission.release.attempts, mission.release.code(),
        mission.camera.step, mission.energy.used_mah, mission.depth.surface_mbar, code, detail,
        inputs.pressure_mbar, min(inputs.supply_mv, 65535), min(inputs.supply_ma, 65535), inputs.camera_centi_c,
        inputs.housing_centi_c, inputs.water_centi_c, signs(inputs), outputs.lights_pct, drives(outputs))
    journal.seal(outputs.records, at)
    mission.sequence += 1
    outputs.record_count = count + 1


def flags(mission) -> int:
    flags = 0
    if mission.clock_trusted:
        flags |= journal.CLOCK_TRUSTED
    if mission.sure:
        flags |= journal.FLAG_SURE
    if mission.depth.rise_seen:
        flags |= journal.RISE_SEEN
    if mission.time_unknown:
        flags |= journal.FLAG_TIME_UNKNOWN
    if mission.power_gap:
        flags |= journal.FLAG_POWER_GAP
    if mission.depth.was_deep:
        flags |= journal.WAS_DEEP
    if mission.orders.good:
        flags |= journal.PLAN_GOOD
    if mission.atmosphere_only:
        flags |= journal.ATMOSPHERE_ONLY
    if mission.contact.on:
        flags |= journal.WET_CONTACT
    if mission.depth.deep.on:
        flags |= journal.DEEP_SIGN
    if mission.confirmed:
        flags |= journal.CONFIRMED
    if mission.bug:
        flags |= journal.FLAG_BUG
    return flags | mission.sparing << journal.SPARING_SHIFT


def signs(inputs) -> int:
    return (inputs.contact_wet | inputs.leak_wet << 1 | inputs.magnet << 2 | inputs.pressure_ok << 3
            | inputs.contact_ok << 4 | inputs.leak_ok << 5 | inputs.supply_ok << 6 | inputs.current_ok << 7
            | inputs.camera_temp_ok << 8 | inputs.housing_temp_ok << 9 | inputs.water_temp_ok << 10
            | inputs.clock_ok << 11 | inputs.camera_feedback_ok << 12 | inputs.release_ok << 13)


def drives(outputs) -> int:
    return (outputs.camera_supply | outputs.power_button << 1 | outputs.record_button << 2 | outputs.fan << 3
            | (outputs.beacon_code > 0) << 4 | outputs.report << 5 | (outputs.release_primary_pct > 0) << 6
            | (outputs.release_backup_pct > 0) << 7)
