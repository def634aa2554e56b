"""Controller: its starts, what came before each, and how long it was away.

The sound dive: one start, before arming.
"""

from collections.abc import Iterator

import numpy as np

from lander import journal, release, table
from tumblehome.debrief.causes.alike import (
    BITTEN,
    DRIVE_TOO_MUCH,
    FIRING_CUT,
    NOT_OPENED,
    POWER_BLINKED,
    POWER_WENT,
    SILENCE,
    STUCK,
    but,
)
from tumblehome.debrief.causes.findings import ESTABLISHED, LIKELY, Finding
from tumblehome.debrief.causes.past import DRIVE, FIRING, Attempt, Past, Start
from tumblehome.debrief.causes.supply import carries, doubt_mv, weigh

POWER_CAME = 0
LOADS = (("camera", DRIVE["camera_supply"]), ("fan", DRIVE["fan"]), ("beacon", DRIVE["beacon"] | DRIVE["report"]))
PACK = ("weak-supply", "cell-gone", "old-battery")
BITE_S = 8.4  # the longest that the watchdog of such a board waits (RP2040 datasheet: 8.3 s), and a tenth
STEP_S = 30.0  # what the step of a load does it does by then
AGAIN_S = 120.0
REPEATS = 2


def starts(past: Past) -> Iterator[Finding]:
    """Sound: none after the first. Each is sorted by what the controller says of it and by what came before."""
    first = 0
    if past.count and past.kind[first] == journal.BOOT and past.code[first] != POWER_CAME and past.boot[first] == 1:
        yield Finding(BITTEN, LIKELY, "The first start of this journal came by the watchdog.", past.records([first]),
                      "read the program back from the board; look for what hung", 60)
    loose = [one for one in past.starts if not _cut_attempt(past, one)]
    loops, single = _loops(past, loose)
    for load, group in loops:
        yield _looped(past, load, group)
    if not single:
        return
    bites = [one for one in single if one.cause != POWER_CAME]
    power = [one for one in single if one.cause == POWER_CAME]
    if bites:
        yield _bitten(past, bites, _times(len(bites)), 80)
    if power:
        yield _powered(past, power)


def _cut_attempt(past: Past, one: Start) -> bool:
    return any(attempt.end == release.RESET and attempt.end_at == one.at for attempt in past.attempts)


def _loops(past: Past, found: list[Start]) -> tuple[list[tuple[str, list[Start]]], list[Start]]:
    """Starts that follow each other quickly, each with the same load on before it; and the others."""
    runs: list[list[Start]] = []
    for one in found:
        if runs and one.cause == POWER_CAME and past.t[one.at] - past.t[runs[-1][-1].at] < AGAIN_S:
            runs[-1].append(one)
        else:
            runs.append([one])
    loops, single = [], []
    for run in runs:
        load = _load_before(past, run)
        if len(run) >= REPEATS and load:
            loops.append((load, run))
        else:
            single += run
    return loops, single


def _load_before(past: Past, run: list[Start]) -> str:
    """The load that was on in the last record before each of these starts, but the first perhaps."""
    later = [one.before for one in run[1:] if one.before is not None]
    for name, bit in LOADS:
        if later and all(past.drives[at] & bit for at in later):
            return name
    return "lights" if later and all(past.lights_pct[at] > 0 for at in later) else ""


def _sagged(past: Past) -> bool:
    seen = weigh(past)
    return bool((seen.short_mv > doubt_mv(past)).sum() >= 3)


def _all_loads_ma(past: Past) -> float:
    plan = past.plan
    return float(plan.power.controller_ma + plan.camera.recording_ma + plan.lights.current_ma + plan.fan.current_ma)


def _looped(past: Past, load: str, group: list[Start]) -> Finding:
    kinds: tuple[str, ...] = ("weak-supply", "load-resets") if _sagged(past) else ("load-resets", "weak-supply")
    if carries(past, _all_loads_ma(past), group[0].at):
        kinds = ("load-resets",)
    return Finding(kinds, LIKELY, "The controller reset %d times within %.0f s, each time with the %s on." % (
        len(group), past.t[group[-1].at] - past.t[group[0].at], load), past.records([one.at for one in group]),
        "switch the %s on and off on the bench, and watch the supply" % load, 85,
        ("reset", "camera-crashed", "press-missed"))


def _bitten(past: Past, found: list[Start], when: str, weight: int, covers: tuple[str, ...] = ()) -> Finding:
    several = any(_several_bites(past, one) for one in found)
    said = "The watchdog started the controller anew %s; it was away up to %.0f s" % (
        when, max(one.away_s for one in found))
    if several:
        said += ", longer than one bite of the watchdog and a start take: some starts failed"
    return Finding(("half-loaded",) if several else BITTEN, LIKELY, said + ".", past.records([one.at for one in found]),
                   "read the program back from the board; look for what hung", weight, covers)


def _several_bites(past: Past, one: Start) -> bool:
    """Whether it was away for longer than until the watchdog bites once, and starts."""
    return (one.known and one.before is not None
            and one.away_s > past.record_age_s(one.before) + BITE_S + _start_s(past))


def _start_s(past: Past) -> float:
    """What a start takes at the most, seen by a clock of whole seconds."""
    return float(past.plan.power.boot_s) + 2.0


def _powered(past: Past, found: list[Start]) -> Finding:
    words = past.records([one.at for one in found])
    spoilt = [one for one in found if _spoilt_before(past, one)]
    longest = max(found, key=lambda one: one.away_s)
    if spoilt:
        lost = max(_spoilt_before(past, one) for one in spoilt)
        kinds = ("torn-record",) if all(_torn_before(past, one) for one in spoilt) else ("records-damaged",)
        return Finding(kinds, LIKELY, "Power failed, and the last %d record%s before it %s." % (
            lost, "" if lost == 1 else "s", "is written in part" if kinds == ("torn-record",) else
            "is not whole" if lost == 1 else "are not whole"), words,
            "look at plug and pack; test the journal's memory", 82)
    if longest.before is not None and longest.away_s > past.restart_most_s(longest.before):
        return Finding(_by_pack(past, longest, POWER_WENT), LIKELY,
                       "Power was gone for %.0f s." % longest.away_s, words, "look at plug, fuse and pack", 82,
                       ("clock-lost",))
    return Finding((*POWER_BLINKED, *_just_switched(past, found)), LIKELY, "Power failed for a moment%s: the"
                   " controller started anew." % ("" if len(found) == 1 else " " + _times(len(found))), words,
                   "shake plug and pack while the controller runs", 70)


def _by_pack(past: Past, one: Start, kinds: tuple[str, ...]) -> tuple[str, ...]:
    """Without what is wrong with a pack for good, where the readings behind this start show a sound one."""
    return but(kinds, *PACK) if carries(past, _all_loads_ma(past), one.at) else kinds


def _just_switched(past: Past, found: list[Start]) -> tuple[str, ...]:
    """What pulls the supply down: a load that had just come on, and a pack that is weak, where later readings do not
    show a sound one."""
    before = [one.before for one in found if one.before is not None]
    loaded = len(found) >= REPEATS and any(all(load[at] for at in before) for load in _loads(past))
    loaded = loaded or any(_just_on(past, at) for at in before)
    return (*(("load-resets", "attempt-resets") if loaded else ()), *_by_pack(past, found[-1], PACK))


def _loads(past: Past):
    """By load the places at which it is on."""
    return [past.lights_pct > 0, *((past.drives & bit) != 0 for bit in (*(bit for _name, bit in LOADS), FIRING))]


def _just_on(past: Past, before: int) -> bool:
    """Whether a load was on at this place, and had come on shortly before."""
    earlier = max(0, int(np.searchsorted(past.t, past.t[before] - STEP_S)) - 1)
    return any(load[before] and not load[earlier] for load in _loads(past))


def _spoilt_before(past: Past, one: Start) -> int:
    """Slots with no whole record between this start and the record before it."""
    if one.before is None or not past.whole.unread.bad:
        return 0
    return max(0, int(past.log.slot[one.at] - past.log.slot[one.before]) - 1)


def _torn_before(past: Past, one: Start) -> bool:
    """Whether one slot lies between, and was being written as power failed."""
    return _spoilt_before(past, one) == 1 and int(past.log.slot[one.at]) - 1 in past.whole.unread.torn


def _times(count: int) -> str:
    return "once" if count == 1 else "%d times" % count


def cut_attempts(past: Past) -> Iterator[Finding]:
    """Sound: no attempt ends in a reset."""
    cut = [one for one in past.attempts if one.end == release.RESET]
    if not cut:
        return
    words = past.records([at for one in cut for at in (one.at, one.end_at) if at is not None])
    spans = [float(past.t[one.end_at] - past.t[one.at]) for one in cut if one.end_at is not None]
    causes = [int(past.code[one.end_at]) for one in cut
              if one.end_at is not None and past.kind[one.end_at] == journal.BOOT]
    if len(cut) == 1 and causes == [1]:
        found = [one for one in past.starts if one.at == cut[0].end_at]
        yield _bitten(past, found, "in the middle of an attempt", 86, (*NOT_OPENED, *STUCK))
        return
    if len(cut) == 1:
        yield _cut_once(past, cut[0], words)
        return
    # once may be chance; when power fails in attempt after attempt, the drive takes it away, by whatever part
    repeated = len(causes) == len(cut) and set(causes) == {POWER_CAME} and not _cut_elsewhere(past, cut)
    kinds = ("weak-supply", *FIRING_CUT) if _sagged(past) else (*FIRING_CUT, "weak-supply", "bad-circuit")
    if repeated:
        kinds = tuple(dict.fromkeys((*kinds, *DRIVE_TOO_MUCH)))
    last = cut[-1].end_at
    if last is not None and carries(past, _most_drive_ma(past), last):
        kinds = but(kinds, *PACK)
    if {one.channel for one in cut} == {0, 1} and repeated:
        kinds = but(kinds, "load-resets", "bad-circuit")  # one load, or one circuit, is not in both
    yield Finding(kinds,
                  ESTABLISHED if repeated else LIKELY,
                  "%s%d attempts ended in a reset of the controller, %.0f s after they began at the soonest." % (
                      "Driving the release takes the controller's power away: " if repeated else "", len(cut),
                      min(spans, default=0.0)), words,
                  "drive both releases on the bench at full load, and watch the supply", 88,
                  ("reset", *NOT_OPENED, *STUCK))


def _most_drive_ma(past: Past) -> float:
    release_plan = past.plan.release
    return float(past.plan.power.controller_ma + max(release_plan.primary.current_ma, release_plan.backup.current_ma))


def _cut_once(past: Past, cut: Attempt, words: tuple[int, ...]) -> Finding:
    """One attempt ended in a reset. The step of its current acts at once, and each time; chance strikes at any time."""
    end_at = cut.at if cut.end_at is None else cut.end_at
    away_s = float(past.t[end_at] - past.t[cut.at])
    start = next((one for one in past.starts if one.at == end_at), None)
    spoilt = 0 if start is None else _spoilt_before(past, start)
    said = "Power failed once in an attempt on the %s: the controller was back %.0f s after the attempt began." % (
        ("primary", "backup")[cut.channel], away_s)
    settle = "drive that release on the bench at full load, and watch the supply"
    covers = (*NOT_OPENED, *STUCK)
    if start is not None and spoilt:
        return Finding(("torn-record",) if _torn_before(past, start) else ("records-damaged",), LIKELY, said + (
            " The last record before it is not whole." if spoilt == 1 else
            " The last %d records before it are not whole." % spoilt), words, settle, 86, covers)
    again = [one for one in past.attempts if one.channel == cut.channel and one.at > end_at and one.driven]
    ran_s = past.t[cut.driven[-1]] - past.t[cut.at] if cut.driven else 0.0
    firing = (*FIRING_CUT, "bad-circuit", *(PACK if start is None else _by_pack(past, start, PACK)))
    kinds = (*POWER_BLINKED, *firing) if ran_s > STEP_S or again else (*firing, *POWER_BLINKED)
    if _shorted(past, cut.driven):
        kinds = ("bad-circuit", *kinds)
    return Finding(tuple(dict.fromkeys(kinds)), LIKELY, said, words, settle, 86, covers)


def _cut_elsewhere(past: Past, cut: list[Attempt]) -> bool:
    """Whether power failed outside of these attempts as well."""
    ends = {one.end_at for one in cut}
    return any(one.cause == POWER_CAME and one.at not in ends for one in past.starts)


def _shorted(past: Past, driven: list[int]) -> bool:
    return any(past.ma[at] > 3.0 * past.plan.release.primary.current_ma for at in driven)


def ends(past: Past) -> Iterator[Finding]:
    """Sound: the journal goes on until the surface, and beyond."""
    if past.last_state in (table.SURFACE, table.SAFE) or past.surface_at is not None:
        return
    if past.whole.unread.tail_bytes:
        return  # the file was cut off, and not the journal
    armed_s = float(past.t[-1])
    waits = past.last_state == table.ARMED and not past.under_water
    if waits and armed_s > past.plan.dive.on_deck_min * 60.0 + 3600.0:
        return
    tries = past.last_state in (table.RELEASE, table.BACKUP) and len(past.attempts) >= 6
    if tries or not past.count:
        return
    driving = bool(past.drives[-1] & FIRING)
    yield Finding(SILENCE, LIKELY, "The journal ends in state %s%s: nothing was written from then on." % (
        table.STATES[past.last_state], ", with a release energised" if driving else ""),
        past.records([past.count - 1]), "measure the pack; start the controller on the bench; test its memory", 84)


def bug(past: Past) -> Iterator[Finding]:
    """Sound: the mission code never finds itself wrong."""
    at = past.events(journal.E_BUG)
    if at:
        yield Finding((), LIKELY, "The mission code found itself wrong, and went home.", past.records(at),
                      "keep the journal and tell whoever looks after the firmware", 60)


RULES = (starts, cut_attempts, ends, bug)
