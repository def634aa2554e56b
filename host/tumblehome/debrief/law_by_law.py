"""The laws on a journal alone: kept, broken, or not to be told, with the records that show it.

The same checks judge that judge every simulated dive (`seatrial.laws`), on evidence rebuilt from records (`rebuilt`).
Before their word is passed on, each law is asked what this journal cannot know: a verdict that hangs on something
unseen is withheld, in a sentence. No verdict stands on a doubtful sensor alone.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from lander import journal, table
from seatrial import laws
from seatrial.battery import CELL_MV, resistance_factor, usable_ah
from seatrial.evidence import Evidence, Span
from seatrial.laws import LAWS, SECOND_LAW
from seatrial.plan import Plan
from seatrial.verdicts import BROKEN, EXCUSED, KEPT, Verdict
from tumblehome.debrief import physics, rebuilt
from tumblehome.debrief.log import Log
from tumblehome.debrief.rebuilt import Rebuilt

CANNOT = "cannot be told"
RECORDS_SHOWN = 12

# What no journal can show, law by law, however whole it is.
NEVER_SHOWN = {
    1: "whether the controller had power after its last record",
    2: "how much time passed while no clock ran",
    3: "what happened on deck while the controller was off",
    4: "whether something really held the lander, and what was tried after the last record",
    5: "what overlapped for less than a step",
    6: "what the pack truly held: count and voltage stand for it",
    7: "water that the probe did not feel, or felt between two records only",
    8: "whether the lamp really flashed and the report really left",
    9: "whether what was recorded can be watched",
    10: "light between two records",
    11: "lines that arrived and changed nothing",
    12: "what was never written and left no trace in a later record",
    13: "anything of the second board: it keeps no record here",
}


@dataclass(frozen=True)
class LawTold:
    """A law on a journal. `verdict` is kept, broken, excused or `CANNOT`; `records` are places in the log;
    `never_shown` says what no journal could show of this law."""

    number: int
    name: str
    text: str
    verdict: str
    sentence: str
    records: tuple[int, ...]
    never_shown: str


def laws_on(log: Log, plan: Plan) -> list[LawTold]:
    """Every law on the dive of this log (one of `Log.dives`)."""
    return told_of(rebuilt.rebuild(log, plan))


def told_of(dive: Rebuilt) -> list[LawTold]:
    """The same of a dive that is rebuilt already."""
    told = []
    for law in LAWS:
        verdict = law.judge(_evidence_for(law.number, dive))
        why = _why_not(dive, verdict)
        told.append(LawTold(
            law.number, law.name, law.text, CANNOT if why else verdict.verdict, why or verdict.sentence,
            tuple(sorted(set(dive.at.get(law.number, ())))[:RECORDS_SHOWN]), NEVER_SHOWN[law.number]))
    if dive.plan.second.fitted:
        told.append(LawTold(SECOND_LAW.number, SECOND_LAW.name, SECOND_LAW.text, CANNOT,
                            "The second board writes nothing into this journal.", (), NEVER_SHOWN[13]))
    return told


def _evidence_for(number: int, dive: Rebuilt) -> Evidence:
    """For the law of footage a leak began as early as the records allow: with the last one that did not show it."""
    if number != 9:
        return dive.evidence
    leaks = []
    for span in dive.evidence.leaks:
        before = dive.time_s[dive.time_s < span.from_s]
        leaks.append(Span(span.name, float(before[-1]) if len(before) else span.from_s, span.to_s))
    return replace(dive.evidence, leaks=leaks)


def _why_not(dive: Rebuilt, verdict: Verdict) -> str:
    """Why the verdict is withheld; "" where it stands."""
    why = _WHY_NOT[verdict.number](dive, verdict)
    return NO_DIVE if why == ENDED and dive.evidence.under_s is None and not dive.wet.any() else why


def _sentence(reason: str) -> str:
    return "%s%s." % (reason[0].upper(), reason[1:]) if reason else ""


def _place_doubt(dive: Rebuilt) -> str:
    """Why it is not known where the lander was."""
    return _sentence(dive.pressure_doubt or dive.contact_doubt or _thrown_in_again(dive))


def _thrown_in_again(dive: Rebuilt) -> str:
    hauled_s = dive.evidence.hauled_s
    if hauled_s is not None and (dive.deep & (dive.time_s > hauled_s)).any():
        return "it was in the water again after it had been hauled back"
    return ""


def _gone(dive: Rebuilt) -> str:
    """Records that would tell are missing."""
    unread = dive.log.unread
    lost = dive.events(journal.E_LOST)
    if unread.missing or unread.bad or unread.newer:
        # what lies in a slot that cannot be read is missing by its number as well
        return "%d records are missing or cannot be read." % max(unread.missing, unread.bad + unread.newer)
    return "The memory refused records." if len(lost) else ""


def _ends_early(dive: Rebuilt) -> bool:
    """The journal ends while the dive was not over."""
    last = int(dive.log.records["state"][-1])
    over = last in (table.SURFACE, table.SAFE) or dive.evidence.hauled_s is not None
    return not over and (dive.evidence.surfaced_s is None or last != table.ASCEND)


ENDED = "The journal ends in the middle of the dive."
NO_DIVE = "No sign of water is in this journal."
DARK = "Without records nobody knows whether the controller had power."


def _home(dive: Rebuilt, verdict: Verdict) -> str:
    evidence = dive.evidence
    if dive.time_doubt:
        return _sentence(dive.time_doubt)
    if verdict.verdict == EXCUSED:
        return DARK
    if evidence.under_s is None:
        return _place_doubt(dive) if dive.wet.any() else ""
    if evidence.command_s is None and _ends_early(dive):
        return ENDED
    if verdict.verdict == BROKEN or evidence.command_s is None:
        return _place_doubt(dive)
    return ""


def _time(dive: Rebuilt, verdict: Verdict) -> str:
    if dive.evidence.mission_time_fell:
        return ""
    if dive.time_doubt:
        return _sentence(dive.time_doubt)
    if verdict.verdict == EXCUSED:
        return DARK
    return _place_doubt(dive) if verdict.verdict == BROKEN and not dive.evidence.clock_behind_s > 60.0 else ""


def _deck(dive: Rebuilt, verdict: Verdict) -> str:
    if not dive.evidence.attempts and not dive.evidence.bench_fires:
        return _gone(dive)
    return _place_doubt(dive) or (_gone(dive) if verdict.verdict == KEPT else "")


def _tried(dive: Rebuilt, verdict: Verdict) -> str:
    if verdict.verdict == BROKEN and "same way" in verdict.sentence:
        return _gone(dive)
    if dive.evidence.command_s is None:
        return ENDED if _ends_early(dive) else _gone(dive)
    if verdict.verdict == BROKEN and "outlasted" in verdict.sentence:
        return _sentence(dive.time_doubt) or _gone(dive)
    return _place_doubt(dive) or _gone(dive) or (ENDED if _ends_early(dive) else "")


def _shed(dive: Rebuilt, verdict: Verdict) -> str:
    return _gone(dive) if verdict.verdict == KEPT else ""


def _reserve(dive: Rebuilt, verdict: Verdict) -> str:
    evidence = dive.evidence
    if evidence.command_s is None or evidence.left_at_command_mah is None:
        return ENDED if _ends_early(dive) else ""
    by_voltage_mah = _left_by_voltage_mah(dive)
    if by_voltage_mah is None:
        return "Voltage and current could not be read together at the command: only one count stands for the pack."
    least_mah = laws.RESERVE_ROOM * dive.plan.orders().reserve_mah
    if (by_voltage_mah >= least_mah) == (evidence.left_at_command_mah >= least_mah):
        return ""
    return "Count and voltage disagree: %.0f mAh left by the one, %.0f by the other." % (
        evidence.left_at_command_mah, by_voltage_mah)


def _left_by_voltage_mah(dive: Rebuilt) -> float | None:
    """What the pack of the plan would still give at the voltage just before the command, mAh."""
    power, rows = dive.plan.power, dive.log.records
    wanted = physics.SUPPLY_OK | physics.CURRENT_OK | physics.HOUSING_OK
    good = ((dive.signs & wanted) == wanted) & (dive.time_s <= (dive.evidence.command_s or 0.0))
    places = np.flatnonzero(good)[-10:]
    if not len(places):
        return None
    housing_c = float(np.median(rows["housing_centi_c"][places])) / 100.0
    ohm = power.resistance_mohm / 1000.0 * resistance_factor(power, housing_c)
    open_mv = float(np.median(rows["supply_mv"][places] + rows["supply_ma"][places] * ohm))
    left, cell_mv = zip(*CELL_MV, strict=True)
    share = float(np.interp(open_mv / power.cells_in_series, cell_mv, left))
    return 1000.0 * usable_ah(power, housing_c) * max(0.0, share)


def _leak(dive: Rebuilt, verdict: Verdict) -> str:
    down = dive.log.records["descent_ds"] >= 0
    unread = down & ((dive.signs & rebuilt.LEAK_OK) == 0)
    if verdict.verdict == EXCUSED:
        return DARK
    if unread.any() and not dive.evidence.leaks:
        return "The leak probe could not be read in %d records." % unread.sum()
    if verdict.verdict == BROKEN:
        return _place_doubt(dive) or _gone(dive)
    return ENDED if _ends_early(dive) and dive.evidence.command_s is None else _gone(dive)


def _seen(dive: Rebuilt, verdict: Verdict) -> str:
    evidence = dive.evidence
    doubt = _place_doubt(dive)
    if evidence.surfaced_s is None:
        return doubt or (ENDED if _ends_early(dive) else "")
    if verdict.verdict == EXCUSED:
        return DARK
    if len(evidence.powered) > 1 and evidence.resets_s[-1] > evidence.surfaced_s:
        return "The controller was off for a while at the surface: whether it had power nobody knows."
    if verdict.verdict == BROKEN:
        return doubt or _gone(dive) or _between_records(dive)
    return doubt


def _between_records(dive: Rebuilt) -> str:
    """Whether the lamp may have come on in time and merely no record says so."""
    surfaced_s = dive.evidence.surfaced_s or 0.0
    dark = [float(moment) for moment in dive.time_s[~((dive.log.records["drives"] & rebuilt.BEACON) > 0)]
            if moment > surfaced_s + laws.BEACON_S]
    return "" if dark else "No record lies between the time the beacon was due and the one that shows it lit."


def _film(dive: Rebuilt, verdict: Verdict) -> str:
    evidence = dive.evidence
    if evidence.guessed_presses_s and verdict.verdict == BROKEN:
        return ""
    if dive.plan.camera.feedback == "none":
        return "The camera gives no sign of recording: the journal has only what was pressed."
    if verdict.verdict == KEPT and evidence.touchdown_s is not None:
        return _gone(dive) or _sentence(dive.camera_doubt)
    doubt = _place_doubt(dive) or _gone(dive)
    if doubt:
        return doubt
    if evidence.touchdown_s is None:
        return ENDED if _ends_early(dive) else ""
    if verdict.verdict == EXCUSED:
        return "The controller was without power on the bottom, or waited for a second sign of water."
    trouble = dive.events(journal.E_NO_ANSWER, journal.E_HOT, journal.E_SPARING)
    if len(trouble) or len(evidence.powered) > 1:
        return "The camera gave no answer, was too hot or was left off: whether it could have recorded nobody knows."
    return ""


def _lit(dive: Rebuilt, verdict: Verdict) -> str:
    if not (dive.log.records["lights_pct"] > 0).any():
        return _gone(dive)
    return _sentence(dive.pressure_doubt) or (_gone(dive) if verdict.verdict == KEPT else "")


def _deaf(dive: Rebuilt, verdict: Verdict) -> str:
    obeyed = [at for at, number in dive.rows() if table.label(number).endswith("-disarm")]
    if verdict.verdict == BROKEN or obeyed:
        return _place_doubt(dive)
    return _gone(dive)


def _written(dive: Rebuilt, verdict: Verdict) -> str:
    evidence = dive.evidence
    if verdict.verdict != KEPT and evidence.bug_s is None:
        doubt = _gone(dive)
        if doubt or evidence.motion_believed_s is not None:
            return doubt or _sentence(dive.pressure_doubt)
    return _gone(dive) if verdict.verdict == KEPT else ""


_WHY_NOT: dict[int, Callable[[Rebuilt, Verdict], str]] = {
    1: _home, 2: _time, 3: _deck, 4: _tried, 5: _shed, 6: _reserve, 7: _leak, 8: _seen, 9: _film, 10: _lit, 11: _deaf,
    12: _written}
