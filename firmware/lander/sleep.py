"""How long the controller may sleep after a step: until the next reading, deadline, phase or hold."""

from lander import release
from lander.deck import NOBODY
from lander.selftest import IDLE
from lander.table import ARMED, BACKUP, DESCEND, RECORD, RELEASE, SAFE, SURFACE

LATEST_LEAD_DS = 20  # steps between the latest release and current flowing
HURRY_DS = 10
DECK_WAKE_DS = 20
SURFACE_WAKE_DS = 600
WATCH_DS = 1800  # a rise is watched for closely this long after an attempt

# Named here once: a tuple of names built in the step would allocate on the board.
_CLOCKED = (DESCEND, RECORD, SURFACE)


def wake(mission, now_ds: int) -> int:
    wake_ds = routine_ds(mission, now_ds)
    attempt = mission.release
    if attempt.phase != release.IDLE:
        if attempt.phase == release.SHED:
            wake_ds = 1 if mission.quiet and mission.camera.is_off() else min(wake_ds, HURRY_DS)
        wake_ds = min(wake_ds, attempt.until_ds - now_ds)
    wake_ds = mission.camera.wait_left_ds(now_ds, wake_ds)
    if mission.descent_ds >= 0 and mission.state in _CLOCKED:
        wake_ds = until_deadline(mission, mission.descent_ds - now_ds, wake_ds)
    if wake_ds > HURRY_DS and (mission.self_test.part != IDLE or holds_run(mission)):
        wake_ds = HURRY_DS
    return max(1, wake_ds)


def holds_run(mission):
    """Something must last for a while to count, and is on its way."""
    return (mission.depth.hurry or mission.contact.hurry or mission.magnet.hurry or mission.leak.hurry
            or mission.air.hurry or mission.bench_channel != NOBODY)


def until_deadline(mission, descent_from_now_ds: int, wake_ds: int) -> int:
    left_ds = descent_from_now_ds + mission.orders.timed_release_ds
    if 0 < left_ds < wake_ds:
        wake_ds = left_ds
    left_ds = descent_from_now_ds + mission.orders.latest_release_ds - mission.orders.shed_ds - LATEST_LEAD_DS
    return left_ds if 0 < left_ds < wake_ds else wake_ds


def routine_ds(mission, now_ds: int) -> int:
    state = mission.state
    if state == RECORD:
        return mission.orders.reading_bottom_ds
    if state == SURFACE:
        return min(SURFACE_WAKE_DS, mission.orders.reading_surface_ds)
    if state == SAFE or state == ARMED:
        return DECK_WAKE_DS
    if state == RELEASE or state == BACKUP:
        attempt = mission.release
        if attempt.phase == release.PAUSE and now_ds - attempt.paused_ds > WATCH_DS:
            return mission.orders.reading_bottom_ds
    return mission.orders.reading_descent_ds
