"""How the second board is passed over while nothing can happen to it: on deck, on the seabed, afloat.

It wakes every `WATCH_DS` and, for most of a dive, finds what it found before. `quiet_steps` says how many such steps
from now on can change nothing but the time, whatever the noise of its sensor does; `pass_by` makes the board older by
so many of them. The steps at the end of a leap are taken for real (`REAL_STEPS`), so that the last readings, what is
judged from them, and both slots of its record are those of a board that was never passed over. What noise alone leaves
behind in the middle, the highest and lowest reading of a still stretch, is not followed.
"""

from deadman import (
    CONTACT_ONLY,
    COUNTING,
    HEARD_DS,
    RECORD_EVERY_DS,
    UNKNOWN_DS,
    WATCH_DS,
    DeadMan,
)
from lander.judge import ANCHOR_CM_S, SANK_ROOM_CM, SATURATED_SHIFT, SURFACE_ROOM_CM, Depth
from lander.release import FIRE_NOW, PAUSE

REAL_STEPS = 2 * RECORD_EVERY_DS // WATCH_DS + 2  # two records, the middle of three readings, an old depth forgotten
LONGEST_DS = 216000  # six hours in one leap
CREEP_CM = ANCHOR_CM_S * WATCH_DS // 10


def quiet_steps(man: DeadMan, wake_ds: int, lowest_mbar: int, highest_mbar: int) -> int:
    """How many steps can be passed over from this one on, 0 for none; its readings stay between the two given."""
    if wake_ds != WATCH_DS or man.magnet.since_ds >= 0 or man.contact.turning_ds >= 0:
        return 0
    if man.air.on != man.all_air or man.not_air.on == man.all_air:
        return 0
    if man.signs != CONTACT_ONLY and not _depth_is_settled(man.depth, lowest_mbar, highest_mbar):
        return 0
    return max(0, _quiet_ds(man) // WATCH_DS - 1)


def _depth_is_settled(depth: Depth, lowest_mbar: int, highest_mbar: int) -> bool:
    """Nothing that is judged of the depth can turn, or is about to."""
    orders, full_mbar = depth.orders, depth.orders.pressure_full_mbar
    if not depth.valid or depth.hurry or depth.jumps or highest_mbar >= full_mbar - (full_mbar >> SATURATED_SHIFT):
        return False
    low_cm, high_cm = (_depth_cm(depth, mbar) for mbar in (lowest_mbar, highest_mbar))
    if not depth.deep.on:  # swell may well be more than the band of stillness, which counts below only
        return high_cm < min(orders.surface_cm, orders.submerged_cm) and high_cm - low_cm < orders.rise_cm
    if high_cm - low_cm >= min(CREEP_CM, orders.rise_cm, orders.settled_band_cm):
        return False
    turning_cm = (orders.too_deep_cm, orders.submerged_cm + SANK_ROOM_CM)
    return (not depth.rising.on and low_cm > max(orders.submerged_cm, orders.surface_cm + SURFACE_ROOM_CM) + 1
            and not any(low_cm - 1 <= cm <= high_cm + 1 for cm in turning_cm))


def _depth_cm(depth: Depth, mbar: int) -> int:
    return (mbar - depth.surface_mbar) * depth.orders.cm_per_bar // 1000


def _quiet_ds(man: DeadMan) -> int:
    """Time until the board does something by its clock alone."""
    if man.state != COUNTING:
        return 0 if man.depth.deep.on or man.contact.on else LONGEST_DS
    if man.air.on and (man.depth.rise_seen or man.atmosphere_only or man.doubt):
        return 0
    release = man.release
    if release.phase == PAUSE:
        if not release.is_over(man.last_ds):
            return min(release.until_ds - man.last_ds, LONGEST_DS)
        return LONGEST_DS if man.depth.rise_seen and man.depth.surface.on else 0
    if release.phase == FIRE_NOW:
        return 0
    return min(max(0, man.deadline_ds - (man.last_ds - man.began_ds)), LONGEST_DS)


def pass_by(man: DeadMan, steps: int, beats: int, beat_step: int) -> None:
    """So many steps older. `beats` is the count of heartbeats at the last of them, and `beat_step` (from 1) the last
    step that found the count changed, 0 for none."""
    first_ds = man.last_ds
    man.last_ds += steps * WATCH_DS
    if man.depth.last_ds >= 0:
        man.depth.last_ds = man.last_ds
        man.depth.before_last_ds = man.last_ds - WATCH_DS
        man.depth.anchor_cm -= steps * CREEP_CM
    man.heartbeats = beats
    if beat_step:
        heard_at_ds = first_ds + beat_step * WATCH_DS
        man.heard_until_ds = heard_at_ds + HEARD_DS
        man.heard_ds = min(heard_at_ds - man.began_ds, UNKNOWN_DS) if man.state == COUNTING else 0
    if man.state == COUNTING:
        _pass_records_by(man, first_ds)


def _pass_records_by(man: DeadMan, first_ds: int) -> None:
    """The records of that time are numbered; the last two will be written for real."""
    age_steps = -(-RECORD_EVERY_DS // WATCH_DS)
    next_step = max(1, -(-(man.written_ds + RECORD_EVERY_DS - first_ds) // WATCH_DS))
    steps = (man.last_ds - first_ds) // WATCH_DS
    if steps < next_step:
        return
    count = 1 + (steps - next_step) // age_steps
    man.written_ds = first_ds + (next_step + (count - 1) * age_steps) * WATCH_DS
    man.sequence = man.sequence + count & 0xFFFF
    man.slot ^= count & 1
