"""Starting again: what the newest journal record tells a controller that lost its memory.

The rule of time: mission time goes on from the record by the real-time clock if it can be trusted, and is otherwise
unknown, which under water counts as overdue.
"""

from lander import journal, orders, release, scribe
from lander.table import ARMED, BACKUP, DESCEND, RECORD, RELEASE, SAFE, SURFACE

RESTART_LEAST_DS = 100
SPARING_MOST = 3
LOADS = 1 | 1 << 3  # camera and fan in the record's `drives`
RESTART_DS = 150  # no restart with power takes longer than this: watchdog time and start-up (common practice)


def resume(mission, newest, inputs) -> None:
    was = journal.fields(newest)
    flags = was["flags"]
    mission.sequence = was["sequence"] + 1
    mission.boot_number = was["boot"] + 1 & 0xFFFF
    mission.dive = was["dive"]
    mission.state = was["state"]
    mission.descent_ds = was["descent_ds"]
    mission.command_ds = was["command_ds"]
    mission.energy.used_mah = was["used_mah"]
    mission.depth.surface_mbar = was["surface_mbar"]
    mission.depth.was_deep = bool(flags & journal.WAS_DEEP)
    mission.depth.rise_seen = bool(flags & journal.RISE_SEEN)
    mission.depth.deep.on = bool(flags & journal.DEEP_SIGN)
    mission.contact.on = bool(flags & journal.WET_CONTACT)
    mission.sure = bool(flags & journal.FLAG_SURE)
    mission.atmosphere_only = bool(flags & journal.ATMOSPHERE_ONLY)
    mission.confirmed = bool(flags & journal.CONFIRMED)
    mission.time_unknown = bool(flags & journal.FLAG_TIME_UNKNOWN)
    mission.power_gap = bool(flags & journal.FLAG_POWER_GAP)
    mission.bug = bool(flags & journal.FLAG_BUG)
    mission.sparing = flags >> journal.SPARING_SHIFT & SPARING_MOST
    mission.release.restore(was["release"], was["attempts"])
    mission.base_ds += was["mission_ds"] + time_away_ds(mission, was, flags, inputs)
    now_ds = mission.base_ds + inputs.uptime_ds
    count_unrecorded(mission, was["mission_ds"], now_ds, inputs)
    spare(mission, was, now_ds, inputs)
    mission.camera.restore(was["camera"], now_ds)
    mission.ascend_ds = mission.record_ds = now_ds
    if mission.state == SURFACE:
        mission.surface_ds = now_ds
    if mission.state == ARMED or mission.state == SAFE:
        mission.before_ds = was["mission_ds"]
    if mission.descent_ds < 0 and (mission.state == DESCEND or mission.state == RECORD):
        mission.descent_ds = now_ds  # no record says so: a clock that is not running would never end the dive
        mission.time_unknown = mission.sure = True
    if mission.state > SURFACE:
        mission.bug = True
        mission.state = RELEASE if mission.sure else SAFE


def spare(mission, was, now_ds: int, inputs) -> None:
    """Power failed while loads were on: the second time lights and fan stay off, the third time the camera too."""
    mission.sparing_ds = now_ds
    loaded = was["lights_pct"] or was["drives"] & LOADS
    if inputs.reset_cause == 0 and loaded and (mission.state == DESCEND or mission.state == RECORD):
        mission.sparing = min(mission.sparing + 1, SPARING_MOST)


def count_unrecorded(mission, from_ds: int, now_ds: int, inputs) -> None:
    """Charge drawn since the last record stands in none: everything counts as on for as long as that may have been."""
    orders = mission.orders
    longest_ds = RESTART_DS + scribe.reading_every_ds(mission, inputs)
    load_ma = orders.controller_ma + orders.camera_ma + orders.lights_ma + orders.fan_ma
    if mission.state == DESCEND or mission.state == RECORD:
        mission.energy.count(min(now_ds - from_ds, longest_ds), load_ma, 1, load_ma)
        mission.energy.used_mah += 1  # the part of one that the record could not hold


def time_away_ds(mission, was, flags: int, inputs) -> int:
    """Time between the last record and now; sets `time_unknown` when it cannot be established."""
    trusted = flags & journal.CLOCK_TRUSTED and inputs.clock_ok and inputs.clock_s >= was["clock_s"]
    restart_ds = RESTART_DS + scribe.reading_every_ds(mission, inputs)  # the record may be as old as that
    away_ds = min((inputs.clock_s - was["clock_s"] + 1) * 10, orders.MISSION_LIMIT_DS) if trusted else restart_ds
    mission.boot_detail = away_ds if trusted else -1
    # Also where power never failed: nobody knows how many starts have ended in the watchdog before this one.
    if not trusted:
        mission.time_unknown = True
        mission.clock_trusted = False
    if inputs.reset_cause != 0:
        mission.clock_trusted = bool(trusted and away_ds <= 2 * restart_ds)
        return max(away_ds, RESTART_LEAST_DS)
    if trusted and away_ds > mission.orders.power_gap_ds and was["descent_ds"] >= 0 and not mission.confirmed:
        mission.power_gap = True
    return away_ds


def settle_release(mission) -> None:
    if mission.state != RELEASE and mission.state != BACKUP:
        mission.release.stop()
    elif mission.release.phase == release.FIRE_NOW:
        mission.release.cut_by_reset(mission.mission_ds)
        mission.attempt_cut = True
    elif mission.release.phase == release.PAUSE:
        mission.release.rest_cut_short(mission.mission_ds)
    else:
        mission.release.begin(mission.mission_ds, 0 if mission.state == RELEASE else 1)
