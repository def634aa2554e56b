"""The laws: each check can be kept, broken and, where the world leaves no way, excused; and broken cores are caught."""

from dataclasses import replace

import pytest

from lander import journal
from seatrial import deeds
from seatrial.dive import Dive
from seatrial.evidence import Attempt, Drive, Evidence, SecondEvidence, Span
from seatrial.laws import BROKEN, EXCUSED, KEPT, LAWS, clock_text, judge

from .broken_cores import CORES, body_of
from .flying import SAMPLE, SHORT, broken, changed, dive, fly, verdict

NO_DEADLINE = "no deadline ever comes"
SPLASH_S = 600.0
UNDER_S = 605.0
BOTTOM_S = 1600.0
DUE_S = UNDER_S + 300 * 60.0  # the sample's timed release
LATEST_S = UNDER_S + 360 * 60.0
LEFT_S = DUE_S + 200.0
UP_S = LEFT_S + 600.0
END_S = UP_S + 4 * 3600.0
RESERVE_MAH = SAMPLE.orders().reserve_mah
PACK_MAH = float(SAMPLE.orders().capacity_mah)
ROWS = ["safe-arm", "armed-splash", "descend-settled", "record-due", "release-rising", "ascend-surface"]


def attempt(from_s: float = DUE_S + 5.0, channel: str = "primary", **more) -> Attempt:
    told = {"from_s": from_s, "channel": channel, "drive_pct": 100, "loads_on": "", "in_water": True, "been_under": True,
            "both": False, "boot": 1, "to_s": from_s + (100.0 if channel == "primary" else 10.0), "end": "off", **more}
    return Attempt(**told)


def spans(*named: tuple[str, float]) -> list[Span]:
    """Stretches that follow each other; the last is open."""
    ends = [from_s for _name, from_s in named[1:]] + [None]
    return [Span(name, from_s, to_s) for (name, from_s), to_s in zip(named, ends, strict=True)]


def good_dive() -> Evidence:
    """A dive in which all went as planned."""
    return Evidence(
        plan=SAMPLE, splash_s=SPLASH_S, end_s=END_S, under_s=UNDER_S, water_shown_s=UNDER_S, both_signs_s=UNDER_S,
        wet_s=SPLASH_S, deepest_m=430.0,
        touchdown_s=BOTTOM_S, left_bottom_s=LEFT_S, freed_s=LEFT_S - 20.0, freed_by="primary", surfaced_s=UP_S,
        command_s=DUE_S, command_reason="timed release due",
        spans=spans(("safe", 0.0), ("armed", 12.0), ("descend", UNDER_S), ("record", BOTTOM_S), ("release", DUE_S),
                    ("ascend", LEFT_S + 10.0), ("surface", UP_S)),
        powered=[Span("on", 0.0)], beacon=[Span("beacon", UP_S - 10.0)], attempts=[attempt()],
        rows_seen=list(ROWS), state_changes=len(ROWS), journal_rows=list(ROWS), journal_attempts=1,
        left_at_command_mah=RESERVE_MAH + 1000.0, pack_mah=PACK_MAH, recorded_on_bottom_s=DUE_S - BOTTOM_S - 20.0)


STAYED_DOWN = {"surfaced_s": None, "left_bottom_s": None, "freed_s": None, "freed_by": "", "beacon": [],
               "end_s": 200_000.0}
SILENT = {**STAYED_DOWN, "spans": spans(("record", BOTTOM_S), ("release", DUE_S))}
NO_COMMAND = {"command_s": None, "attempts": [], "journal_attempts": 0, "left_at_command_mah": None}
UNARMED = {"spans": spans(("safe", 0.0), ("descend", UNDER_S + 3600.0)), "both_signs_s": UNDER_S + 3600.0}
OFF_AT_DUE = [Span("on", 0.0, DUE_S - 60.0)]
ON_OFTEN = [attempt(DUE_S + 1800.0 * number, ("primary", "backup")[number % 2]) for number in range(101)]

# law, what happened, how the good dive is changed, verdict, parts of the sentence
CASES = (
    (1, "released in time", {}, KEPT, ["5:00:05", "6:00:05"]),
    (1, "never under water", {"under_s": None}, KEPT, ["never under water"]),
    (1, "up before the latest release", {"command_s": None, "surfaced_s": LATEST_S - 1.0}, KEPT, ["out of the water"]),
    (1, "hauled before the latest release", {**STAYED_DOWN, "command_s": None, "hauled_s": LATEST_S - 1.0}, KEPT,
     ["out of the water"]),
    (1, "the run ended early", {**STAYED_DOWN, **NO_COMMAND, "end_s": LATEST_S - 1.0}, KEPT, ["ended before"]),
    (1, "never released", {**STAYED_DOWN, **NO_COMMAND}, BROKEN, ["No release was commanded", "6:00:05"]),
    (1, "never released, as no sensor showed water", {**STAYED_DOWN, **NO_COMMAND, "water_shown_s": None}, EXCUSED,
     ["No sensor showed water"]),
    (1, "released too late", {**STAYED_DOWN, "command_s": LATEST_S + 60.0}, BROKEN, ["6:01:05", "latest was 6:00:05"]),
    (1, "unarmed, and one sign told of air for an hour", {
        **STAYED_DOWN, **UNARMED, "command_s": LATEST_S + 3600.0}, EXCUSED, ["went in unarmed", "1:00:05"]),
    (1, "unarmed, and later than both signs allow", {
        **STAYED_DOWN, **UNARMED, "command_s": LATEST_S + 3700.0}, BROKEN, ["7:01:45"]),
    (1, "armed, and one sign told of air for an hour", {
        **STAYED_DOWN, "both_signs_s": UNDER_S + 3600.0, "command_s": LATEST_S + 3600.0}, BROKEN, ["7:00:05"]),
    (1, "no power any more", {**STAYED_DOWN, **NO_COMMAND, "powered": OFF_AT_DUE}, EXCUSED, ["no power for 10 s"]),
    (1, "power for too short a time", {**STAYED_DOWN, **NO_COMMAND, "powered": OFF_AT_DUE + [
        Span("on", LATEST_S + 100.0, LATEST_S + 109.0)]}, EXCUSED, ["no power for 10 s"]),
    (1, "released when power came back", {**STAYED_DOWN, "command_s": LATEST_S + 3605.0, "powered": OFF_AT_DUE + [
        Span("on", LATEST_S + 3600.0)]}, KEPT, ["as soon as there was power", "7:00:10"]),
    (1, "not released though power came back", {**STAYED_DOWN, "command_s": LATEST_S + 3700.0, "powered": OFF_AT_DUE + [
        Span("on", LATEST_S + 3600.0)]}, BROKEN, ["7:01:45"]),

    (2, "in time through two resets", {"resets_s": [2000.0, 3000.0]}, KEPT, ["2 resets"]),
    (2, "mission time fell", {"mission_time_fell": 1}, BROKEN, ["fell back 1 times"]),
    (2, "later than the timed release", {"command_s": DUE_S + 1200.0}, BROKEN, ["0:20:00 after it was due"]),
    (2, "unarmed, and one sign told of air for an hour", {
        **UNARMED, "command_s": DUE_S + 3590.0}, EXCUSED, ["went in unarmed"]),
    (2, "never, which is for law 1", {**STAYED_DOWN, **NO_COMMAND}, KEPT, ["for law 1"]),
    (2, "after the latest, which is for law 1", {"command_s": LATEST_S + 60.0}, KEPT, ["for law 1"]),
    (2, "the clock of the descent ran behind", {"clock_behind_s": 600.0}, BROKEN, ["0:10:00 behind"]),
    (2, "the clock of the descent a few seconds behind", {"clock_behind_s": 5.0}, KEPT, ["never later"]),
    (2, "no power when it was due", {**STAYED_DOWN, **NO_COMMAND, "powered": OFF_AT_DUE}, EXCUSED, ["No power"]),
    (2, "never under water", {"under_s": None}, KEPT, ["never under water"]),
    (2, "up before it was due", {"command_s": None, "surfaced_s": DUE_S - 1.0}, KEPT, ["never fell back"]),

    (3, "released under water", {}, KEPT, ["No release was energised on deck"]),
    (3, "released before the splash", {"attempts": [attempt(300.0, been_under=False)]}, BROKEN, ["-0:05:00"]),
    (3, "still driven for a while on deck", {"hauled_s": DUE_S + 65.0}, KEPT, [""]),
    (3, "still driven on deck for minutes", {
        "hauled_s": DUE_S + 50.0, "attempts": [attempt(to_s=DUE_S + 240.0)]}, BROKEN, ["0:03:10 after"]),
    (3, "driven to the end of the run on deck", {"hauled_s": DUE_S + 50.0, "attempts": [attempt(to_s=None)]}, BROKEN,
     ["still energised"]),
    (3, "released after it was hauled back", {"attempts": [attempt(9000.0, been_under=False)]}, BROKEN, ["2:20:00"]),
    (3, "released on deck, where a sensor showed water", {"hauled_s": 8000.0, "attempts": [
        attempt(9000.0, been_under=False, deck_unseen=True)]}, EXCUSED, ["did not show air"]),
    (3, "released on deck, where both signs showed air", {"hauled_s": 8000.0, "attempts": [
        attempt(9000.0, been_under=False, deck_unseen=True), attempt(9900.0, been_under=False)]}, BROKEN, ["2:35:00"]),
    (3, "released on deck before the dive, where a sensor showed water", {"hauled_s": 8000.0, "attempts": [
        attempt(300.0, been_under=False, deck_unseen=True)]}, BROKEN, ["-0:05:00"]),
    (3, "released on deck, having floated all the while", {"hauled_s": 8000.0, "under_s": None, "attempts": [
        attempt(9000.0, been_under=False)]}, EXCUSED, ["no rise could be seen"]),
    (3, "released on deck before it floated all the while", {"hauled_s": 8000.0, "under_s": None, "attempts": [
        attempt(300.0, been_under=False)]}, BROKEN, ["-0:05:00"]),
    (3, "still driven on deck, where a sensor showed water", {
        "hauled_s": DUE_S + 50.0, "attempts": [attempt(to_s=DUE_S + 240.0, deck_unseen=True)]}, EXCUSED,
     ["did not show air"]),

    (4, "one attempt was enough", {}, KEPT, ["1 attempt until"]),
    (4, "nothing was commanded", {"command_s": None}, KEPT, ["No release was commanded"]),
    (4, "repeated the way that a reset cut", {"attempts": [
        attempt(end="reset"), attempt(DUE_S + 60.0)]}, BROKEN, ["repeated the same way", "5:01:05"]),
    (4, "repeated weaker after a reset", {"attempts": [
        attempt(end="reset"), attempt(DUE_S + 60.0, drive_pct=50)]}, KEPT, ["2 attempts"]),
    (4, "repeated on the other channel after a reset", {"attempts": [
        attempt(end="reset"), attempt(DUE_S + 60.0, "backup")]}, KEPT, ["2 attempts"]),
    (4, "repeated as the journal's memory had lost the attempt", {"damaged_s": [DUE_S + 50.0], "attempts": [
        attempt(end="reset"), attempt(DUE_S + 60.0)]}, KEPT, ["2 attempts"]),
    (4, "repeated long after the memory lost something", {"damaged_s": [DUE_S - 50.0], "attempts": [
        attempt(end="reset"), attempt(DUE_S + 60.0)]}, BROKEN, ["repeated the same way"]),
    (4, "repeated as the journal's memory had refused the attempt", {"journal_lost": 7, "attempts": [
        attempt(end="reset"), attempt(DUE_S + 60.0, unrecorded=True)]}, EXCUSED, ["refused 7 records"]),
    (4, "gave up", SILENT, BROKEN, ["No attempt for", "5:01:50"]),
    (4, "went on, and nothing could work", {**SILENT, "attempts": ON_OFTEN, "release_possible": False,
                                            "why_down": "both jammed"}, EXCUSED, ["101 attempts", "both jammed"]),
    (4, "silent without power", {**SILENT, "powered": [Span("on", 0.0, DUE_S + 120.0)], "release_possible": False,
                                 "why_down": "no power"}, EXCUSED, ["no power"]),
    (4, "only ever on one channel", {**SILENT, "attempts": [
        replace(one, channel="primary") for one in ON_OFTEN]}, BROKEN, ["101 attempts, all on the primary channel"]),
    (4, "believed to rise on the bottom", {**STAYED_DOWN, "spans": spans(
        ("record", BOTTOM_S), ("release", DUE_S), ("ascend", DUE_S + 200.0))}, BROKEN, ["believed to rise", "5:03:25"]),

    (5, "shed", {}, KEPT, ["throughout 1 attempt."]),
    (5, "with lights", {"attempts": [attempt(loads_on="lights")]}, BROKEN, ["lights still on", "primary", "5:00:10"]),
    (5, "both at once", {"attempts": [attempt(both=True)]}, BROKEN, ["Both channels", "5:00:10"]),

    (6, "with the reserve", {}, KEPT, ["%d mAh left" % (RESERVE_MAH + 1000), "reserve is %d" % RESERVE_MAH]),
    (6, "without it", {"left_at_command_mah": 0.5 * RESERVE_MAH}, BROKEN, [
        "Only %.0f mAh" % (0.5 * RESERVE_MAH), str(RESERVE_MAH)]),
    (6, "a pack that never held it", {"left_at_command_mah": 0.5 * RESERVE_MAH, "pack_mah": 0.6 * PACK_MAH}, EXCUSED,
     ["held only %.0f" % (0.6 * PACK_MAH)]),
    (6, "a reset on the way", {"left_at_command_mah": 0.5 * RESERVE_MAH, "resets_s": [9000.0], "powered": [
        Span("on", 0.0, 9000.0), Span("on", 9002.0)]}, BROKEN, ["Only %.0f mAh" % (0.5 * RESERVE_MAH)]),
    (6, "charge that no reading showed", {"left_at_command_mah": 0.5 * RESERVE_MAH, "unseen_mah": 0.5 * RESERVE_MAH},
     EXCUSED, ["%.0f mAh were drawn that nothing showed" % (0.5 * RESERVE_MAH)]),
    (6, "too little of it unseen", {"left_at_command_mah": 0.5 * RESERVE_MAH, "unseen_mah": 0.2 * RESERVE_MAH}, BROKEN,
     ["Only"]),
    (6, "unseen, but the voltage told", {"left_at_command_mah": 0.5 * RESERVE_MAH, "unseen_mah": 0.5 * RESERVE_MAH,
                                         "low_shown_s": DUE_S - 60.0}, BROKEN, ["Only"]),
    (6, "unseen, and the voltage told a moment before", {
        "left_at_command_mah": 0.5 * RESERVE_MAH, "unseen_mah": 0.5 * RESERVE_MAH, "low_shown_s": DUE_S - 5.0}, EXCUSED,
     ["nothing showed"]),
    (6, "nothing was commanded", NO_COMMAND, KEPT, ["No release was commanded"]),

    (7, "no leak", {}, KEPT, ["No leak"]),
    (7, "released at once", {"leaks": [Span("leak", DUE_S - 10.0)]}, KEPT, ["10 s after the leak"]),
    (7, "released an hour later", {"leaks": [Span("leak", DUE_S - 3600.0)]}, BROKEN, ["Water inside from 4:00:05"]),
    (7, "released already", {"leaks": [Span("leak", DUE_S + 10.0)]}, KEPT, ["before the leak"]),
    (7, "leaked afloat", {**NO_COMMAND, "leaks": [Span("leak", UP_S + 1.0)]}, KEPT, ["at the surface"]),
    (7, "leaked on deck, hauled back", {**STAYED_DOWN, **NO_COMMAND, "hauled_s": 5000.0, "leaks": [
        Span("leak", 5001.0)]}, KEPT, ["on deck"]),
    (7, "felt for a moment only", {"leaks": [Span("leak", 5000.0, 5004.0)]}, KEPT, ["4 s: too short"]),
    (7, "felt for a moment, and later for an hour", {"leaks": [
        Span("leak", 5000.0, 5004.0), Span("leak", DUE_S - 3600.0, DUE_S)]}, BROKEN, ["from 4:00:05"]),
    (7, "leaked on the way down, with one sign of water", {"leaks": [Span("leak", UNDER_S + 60.0)],
                                                           "command_s": UNDER_S + 900.0, "both_signs_s": None}, KEPT,
     ["one sign of water"]),
    (7, "leaked on the way down, with both signs", {
        "leaks": [Span("leak", UNDER_S + 60.0)], "command_s": UNDER_S + 900.0, "both_signs_s": UNDER_S + 5.0}, BROKEN,
     ["Water inside from 0:01:05"]),
    (7, "leaked and took the power with it", {**STAYED_DOWN, **NO_COMMAND, "leaks": [Span("leak", 5000.0)], "powered": [
        Span("on", 0.0, 5000.0)]}, EXCUSED, ["No power"]),

    (8, "lit before it was up", {}, KEPT, ["0:00:00 after it surfaced"]),
    (8, "lit half a minute later", {"beacon": [Span("beacon", UP_S + 30.0)]}, KEPT, ["0:00:30 after it surfaced"]),
    (8, "lit too late", {"beacon": [Span("beacon", UP_S + 90.0)]}, BROKEN, ["No beacon", "5:14:25"]),
    (8, "went out", {"beacon": [Span("beacon", UP_S, UP_S + 3600.0)]}, BROKEN, ["dark for 3:00:00"]),
    (8, "no power at the surface", {"powered": [Span("on", 0.0, UP_S)], "beacon": []}, EXCUSED, ["No power"]),
    (8, "did not surface", STAYED_DOWN, KEPT, ["did not surface"]),
    (8, "the surface unseen, lit by the clock", {
        "surface_visible": False, "beacon": [Span("beacon", DUE_S + 3000.0)]}, KEPT, ["0:36:40 after it surfaced"]),
    (8, "the surface unseen, never lit", {"surface_visible": False, "beacon": []}, BROKEN, ["No beacon 5:51:05"]),
    (8, "the surface seen, lit by the clock", {"beacon": [Span("beacon", DUE_S + 3000.0)]}, BROKEN, ["No beacon 5:14:25"]),
    (8, "no start lasts, and the memory refused what it had to know", {"beacon": [], "journal_lost": 9, "powered": [
        Span("on", UP_S + 10.0 * number, UP_S + 10.0 * number + 8.0) for number in range(1000)]}, EXCUSED,
     ["no start lasted", "refused 9 records"]),
    (8, "no start lasts, and the memory is sound", {"beacon": [], "powered": [
        Span("on", UP_S + 10.0 * number, UP_S + 10.0 * number + 8.0) for number in range(1000)]}, BROKEN, ["No beacon"]),
    (8, "disarmed afloat, where both signs showed air", {
        "beacon": [Span("beacon", UP_S, UP_S + 3600.0)], "disarmed_dry_s": UP_S + 3600.0}, EXCUSED, ["disarmed afloat"]),
    (8, "dark for long before it was disarmed afloat", {
        "beacon": [Span("beacon", UP_S, UP_S + 600.0)], "disarmed_dry_s": UP_S + 3600.0}, BROKEN, ["dark for 0:50:00"]),

    (9, "recorded", {}, KEPT, ["99.9 %", "4:43:25"]),
    (9, "half recorded", {"recorded_on_bottom_s": 0.5 * (DUE_S - BOTTOM_S)}, BROKEN, ["only 50.0 %"]),
    (9, "pressed on a guess", {"guessed_presses_s": [2000.0]}, BROKEN, ["A press stopped a recording 0:23:20"]),
    (9, "a camera that worked half the time", {
        "recorded_on_bottom_s": 0.5 * (DUE_S - BOTTOM_S), "camera_unable_s": 0.5 * (DUE_S - BOTTOM_S)}, KEPT,
     ["100.0 %", "of the time that the camera worked"]),
    (9, "a camera that never worked", {"recorded_on_bottom_s": 0.0, "camera_unable_s": DUE_S}, EXCUSED,
     ["could not record"]),
    (9, "one sign of water alone, waited for", {
        "recorded_on_bottom_s": DUE_S - UNDER_S - 1300.0, "touchdown_s": UNDER_S + 20.0, "both_signs_s": None},
     EXCUSED, ["one sign of water stood alone for 0:14:40"]),
    (9, "both signs of water at once, and begun late", {
        "recorded_on_bottom_s": DUE_S - UNDER_S - 1000.0, "touchdown_s": UNDER_S + 20.0, "both_signs_s": UNDER_S + 5.0},
     BROKEN, ["only 94."]),
    (9, "a pressure that fell as in an ascent", {
        "recorded_on_bottom_s": 600.0, "rise_feigned_s": DUE_S - BOTTOM_S - 600.0}, EXCUSED, ["believed to rise"]),
    (9, "a pressure that fell for a while only", {
        "recorded_on_bottom_s": 600.0, "rise_feigned_s": 6000.0}, BROKEN, ["only 3."]),
    (9, "never reached the bottom", {"touchdown_s": None}, KEPT, ["never reached the bottom"]),

    (10, "dark in air", {}, KEPT, ["never on in air"]),
    (10, "a few seconds of test", {"lights_in_air_s": 4.0}, KEPT, [""]),
    (10, "lit in air", {"lights_in_air_s": 42.0}, BROKEN, ["in air for 42 s"]),
    (10, "lit afloat, and nothing showed the surface", {"lights_in_air_s": 42.0, "lights_unwarned_s": 40.0}, EXCUSED,
     ["afloat for 40 s"]),
    (10, "lit in air, some of it unwarned", {"lights_in_air_s": 42.0, "lights_unwarned_s": 30.0}, BROKEN, ["42 s"]),

    (11, "commands that changed nothing", {"commands_under_water": 7}, KEPT, ["7 commands"]),
    (11, "disarmed under water", {"disarmed_under_water": 1}, BROKEN, ["changed the mission"]),
    (11, "fired by the line afloat, where both signs showed air", {"bench_fires_unwarned": 3}, EXCUSED, ["3 commands"]),
    (11, "fired by the bench under water", {"bench_fires_under_water": 1}, BROKEN, ["changed the mission"]),

    (12, "all written", {}, KEPT, ["All 6 changes", "1 attempt stand"]),
    (12, "a change without a row", {"state_changes": 7}, BROKEN, ["7 changes of state", "6 rows"]),
    (12, "a row that is not in the journal", {"journal_rows": ROWS[:-1]}, BROKEN, ["6 rows were taken, 5 stand"]),
    (12, "rows in another order", {"journal_rows": ROWS[::-1]}, BROKEN, ["6 rows were taken"]),
    (12, "an attempt that is not in the journal", {"journal_attempts": 0}, BROKEN, ["1 attempt, of which 0 stand"]),
    (12, "a memory that refused", {"journal_rows": ROWS[:-1], "journal_lost": 3}, EXCUSED, ["refused 3 records"]),
    (12, "a memory that wrote over the first rows", {"journal_rows": ROWS[2:], "journal_overwritten": 70}, EXCUSED,
     ["wrote over 70 records", "2 changes and attempts"]),
    (12, "a memory that spoilt two", {"journal_rows": ROWS[:-1], "journal_attempts": 0, "journal_damaged": 2}, EXCUSED,
     ["spoilt 2 records"]),
    (12, "more missing than refused", {"journal_rows": [], "journal_attempts": 0, "journal_lost": 1}, BROKEN,
     ["6 rows were taken, 0 stand", "refused 1 records"]),
    (12, "a memory that refused, and rows in another order", {"journal_rows": ROWS[-2::-1], "journal_lost": 9}, BROKEN,
     ["6 rows were taken"]),
    (12, "refused, and nothing is missing", {"journal_lost": 3}, KEPT, ["All 6 changes"]),
    (12, "back after a reset in a state that no row told", {"states_at_start": 1}, BROKEN, ["7 changes", "6 rows"]),
    (12, "back in an earlier state, the last records spoilt", {"states_at_start": 1, "journal_damaged": 2}, KEPT, [""]),
    (12, "back in the state of a row that was stored last", {"states_at_start": 1, "state_changes": 5}, KEPT, [""]),
)


@pytest.mark.parametrize(("number", "what", "changes", "wanted", "said"), CASES,
                         ids=["law %d: %s" % case[:2] for case in CASES])
def test_a_law_judges_what_happened(number, what, changes, wanted, said):
    judged = LAWS[number - 1].judge(replace(good_dive(), **changes))
    assert (judged.number, judged.verdict) == (number, wanted), judged.sentence
    for part in said:
        assert part in judged.sentence


def test_a_good_dive_keeps_every_law():
    assert [(one.number, one.verdict) for one in judge(good_dive())] == [(number, KEPT) for number in range(1, 13)]


# --- the second board's law -----------------------------------------------------------------------------------------

SECOND_DUE_S = LATEST_S + 1800.0
DEAD = {**STAYED_DOWN, **NO_COMMAND, "powered": [Span("on", 0.0, BOTTOM_S + 60.0)]}


def with_second(drives=(), **more) -> Evidence:
    """A dive whose main board died on the bottom, with a second board that drove at these times for 12 s each."""
    seen = {"deadline_s": 390 * 60.0, "powered": [Span("on", 0.0)], "saw_water": True, **more.pop("second", {})}
    return replace(good_dive(), **{**DEAD, **more}, second=SecondEvidence(
        drives=[Drive(from_s, 100, True, been_under, from_s + 12.0) for from_s, been_under in drives], **seen))


def unseen_on_deck() -> Evidence:
    """It fires an hour after it was hauled back, with a sensor that does not show air."""
    evidence = with_second([(9000.0, False)], hauled_s=5400.0)
    evidence.second.drives[0].deck_unseen = True
    return evidence


IN_TIME = [(SECOND_DUE_S - 10.0, True)]
GOES_ON = [(SECOND_DUE_S - 10.0 + 1800.0 * number, True) for number in range(110)]
LATER = [(SECOND_DUE_S + 600.0, True)]


@pytest.mark.parametrize(("evidence", "wanted", "said"), [
    (with_second(IN_TIME, left_bottom_s=SECOND_DUE_S + 5.0, freed_by_second=True), KEPT, "freed the ballast"),
    (with_second(GOES_ON), KEPT, "fired 6:29:55 after the splash"),
    (with_second(), BROKEN, "did not fire; its deadline was 6:30:05"),
    (with_second(LATER), BROKEN, "fired 6:40:05"),
    (with_second(IN_TIME), BROKEN, "made no attempt for"),
    (with_second([(60.0, False)]), BROKEN, "on deck"),
    (with_second([(9000.0, False)], hauled_s=8000.0), BROKEN, "on deck"),
    (unseen_on_deck(), EXCUSED, "did not show air"),
    (with_second(under_s=None), KEPT, "never under water"),
    (with_second(surfaced_s=SECOND_DUE_S - 100.0), KEPT, "out of the water"),
    (with_second(end_s=SECOND_DUE_S - 100.0), KEPT, "before the second board's deadline"),
    (with_second(second={"powered": [Span("on", 0.0, BOTTOM_S)]}), EXCUSED, "no power for 10 s"),
    (with_second(LATER, left_bottom_s=SECOND_DUE_S + 605.0, second={
        "powered": [Span("on", 0.0, BOTTOM_S), Span("on", SECOND_DUE_S + 595.0)]}), KEPT, "fired 6:40:05"),
    (with_second(second={"saw_water": False}), EXCUSED, "showed water"),
    (with_second([(SECOND_DUE_S + 20.0, True)], left_bottom_s=SECOND_DUE_S + 30.0, second={"clock_off_s": 30.0}), KEPT,
     "fired 6:30:25")])
def test_the_second_board_is_judged_by_a_law_of_its_own(evidence, wanted, said):
    judged = judge(evidence)[-1]
    assert (judged.number, judged.verdict) == (13, wanted), judged.sentence
    assert said in judged.sentence


def test_footage_is_excused_where_the_controller_was_dead_for_the_rest_of_the_stay():
    judged = judge(with_second(recorded_on_bottom_s=50.0, camera_unable_s=LATEST_S - BOTTOM_S - 60.0))[8]
    assert (judged.number, judged.verdict) == (9, EXCUSED)
    assert "0:00:50" in judged.sentence and "no power from 0:17:40" in judged.sentence


def test_every_law_has_a_case_that_keeps_it_and_one_that_breaks_it():
    tried = {(number, wanted) for number, _what, _changes, wanted, _said in CASES}
    assert {(law.number, wanted) for law in LAWS for wanted in (KEPT, BROKEN)} <= tried


def test_the_laws_are_twelve_and_stand_in_order():
    assert [law.number for law in LAWS] == list(range(1, 13))
    assert len({law.name for law in LAWS}) == 12


@pytest.mark.parametrize(("seconds", "text"), [(0, "0:00:00"), (3661.4, "1:01:01"), (-90, "-0:01:30"), (360_000, "100:00:00")])
def test_a_time_is_told_in_hours_minutes_and_seconds(seconds, text):
    assert clock_text(seconds) == text


# --- broken cores --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("core", CORES, ids=lambda core: "%s, %s" % (core.breaks, core.faults or "no fault"))
def test_a_broken_core_is_caught_by_exactly_its_law(core):
    assert set(broken(fly(*core.faults.split(), body=body_of(core.breaks, SAMPLE)))) == core.laws


@pytest.mark.parametrize("core", CORES, ids=lambda core: "%s, %s" % (core.breaks, core.faults or "no fault"))
def test_the_true_core_keeps_every_law_under_the_same_faults(core):
    assert broken(fly(*core.faults.split())) == {}


def test_every_law_catches_some_broken_core():
    assert set().union(*(core.laws for core in CORES)) == {law.number for law in LAWS}


@pytest.mark.parametrize(("number", "told"), [
    pytest.param(3, {"bench_fires": [attempt(100.0, to_s=130.0, been_under=False)]}, id="a bench that leaves it on"),
    pytest.param(4, {"attempts": [attempt(to_s=DUE_S + 400.0)]}, id="an attempt without end"),
    pytest.param(4, {"rise_believed_s": LEFT_S}, id="a rise that no reading told"),
    pytest.param(4, {"spans": spans(("record", BOTTOM_S), ("release", DUE_S), ("ascend", LEFT_S))},
                 id="an ascent without end"),
    pytest.param(12, {"motion_believed_s": UNDER_S}, id="motion taken for the bottom"),
    pytest.param(12, {"bug_s": UNDER_S}, id="an invariant of the controller's own"),
])
def test_what_a_controller_may_never_do_breaks_its_law(number, told):
    assert judge(good_dive())[number - 1].verdict == KEPT
    assert judge(replace(good_dive(), **told))[number - 1].verdict == BROKEN


def test_an_attempt_that_a_hang_held_until_the_reset_breaks_no_law():
    held = attempt(to_s=DUE_S + 400.0, end="reset")
    assert judge(replace(good_dive(), attempts=[held]))[3].verdict == KEPT


AT_THE_BENCH = ("hauled-back@record+10min", "say:word=disarm@surface+300s", "say:word=ready-backup@surface+600s")


def test_a_test_on_the_bench_that_was_asked_for_in_two_steps_breaks_no_law():
    result = fly_with_people(*AT_THE_BENCH, "say:word=fire@surface+605s")
    assert broken(result) == {}
    assert [fire.channel for fire in result.evidence.bench_fires] == ["backup"]
    assert result.evidence.attempts == []


def test_a_bench_that_fires_long_after_ready_breaks_the_law_of_the_deck():
    late = (*AT_THE_BENCH, "say:word=fire@surface+620s")
    body = body_of("ready, said on the bench, never runs out", SHORT)
    assert 3 in broken(fly_with_people(*late, body=body))
    assert broken(fly_with_people(*late)) == {}


def fly_with_people(*written: str, body=None):
    return Dive(SHORT, [deeds.parse(text) for text in written], 1, body).run()


# --- what the laws take for broken and is not, and the other way round ----------------------------------------------


@pytest.mark.parametrize("faults", [
    pytest.param("leak-false:for_s=2@record+10min", id="a drop that dries within the hold"),
    pytest.param("leak@record+10min leak-dead@record+602s", id="a probe that dies within the hold"),
    pytest.param("hauled-back@record+10min leak@record+60min", id="a leak on deck, hauled back"),
])
def test_a_leak_that_could_not_be_judged_breaks_no_law(faults):
    assert broken(fly(*faults.split())) == {}


def test_a_torn_record_of_a_row_that_was_taken_before_breaks_no_law():
    again_s = [item.time_s for item in fly("jammed:channel=both").evidence.timeline
               if item.what == "release to backup"][1]
    torn = "torn-record@splash+%.1fs" % (again_s - SPLASH_S - 0.2)
    assert broken(fly("jammed:channel=both", torn)) == {}


def test_the_smallest_journal_holds_every_row_of_two_days_of_attempts():
    result = fly("jammed:channel=both", plan=changed(journal={"slots": 600}))
    assert broken(result) == {}
    assert len(result.evidence.attempts) > 90


# Number, counted from 1, of the release attempt whose record is torn. The second stands behind the row of its own step.
@pytest.mark.parametrize("number", [1, 2])
def test_power_cut_while_an_attempt_is_written_breaks_no_law(number):
    written = [at for at, slot in enumerate(records_of(fly("jammed", plan=SHORT)), start=1)
               if slot["kind"] == journal.ATTEMPT]
    one = dive("jammed", plan=SHORT)
    one.world_store.cut_at = written[number - 1]
    assert broken(one.run()) == {}


def records_of(result) -> list[dict]:
    """The journal's records in the order in which they were written."""
    size = journal.RECORD_BYTES
    return [journal.fields(result.journal[at:at + size]) for at in range(0, len(result.journal), size)]


@pytest.mark.parametrize("cut", range(2, 700, 58))
def test_power_cut_at_any_write_breaks_no_law(cut):
    one = dive()
    one.world_store.cut_at = cut
    assert broken(one.run()) == {}


def test_of_a_lander_that_stayed_down_no_rise_is_told():
    judged = LAWS[3].judge(replace(good_dive(), **SILENT, attempts=ON_OFTEN, release_possible=True))
    assert judged.verdict == KEPT
    assert "until the rise" not in judged.sentence


def thrown_in_again(**second_dive) -> Evidence:
    """A good dive, hauled back after it; thrown in again at 40 000 s and never released."""
    evidence = replace(good_dive(), end_s=40_000.0, hauled_s=30_000.0, earlier=[])
    evidence.begin_another(40_000.0)
    changes = {"wet_s": 40_000.0, "under_s": 40_005.0, "water_shown_s": 40_005.0,
               "touchdown_s": 41_000.0, "end_s": 140_000.0, **second_dive}
    return replace(evidence, **changes)


def test_after_being_hauled_back_and_thrown_in_again_the_second_dive_is_judged():
    judged = judge(thrown_in_again())
    assert judged[0].verdict == BROKEN
    assert judged[0].sentence.startswith("Dive 2 of 2: No release was commanded")


def test_the_first_of_two_dives_is_judged_by_what_was_seen_in_it():
    judged = judge(thrown_in_again(command_s=40_005.0 + 300 * 60.0, hauled_s=61_000.0))
    assert [one.verdict for one in judged[:3]] == [KEPT, KEPT, KEPT]
    evidence = replace(good_dive(), guessed_presses_s=[2000.0], hauled_s=30_000.0, earlier=[])
    evidence.begin_another(40_000.0)
    assert judge(evidence)[8].sentence.startswith("Dive 1 of 2: A press stopped a recording")
    assert evidence.guessed_presses_s == []


def test_a_lander_that_is_thrown_in_again_dives_again_and_comes_home():
    one = dive("hauled-back@record+10min", plan=SHORT)
    one.at(6000.0, one.splash)
    result = one.run()
    evidence = result.evidence
    assert broken(result) == {}
    assert [each.hauled_s is not None for each in evidence.dives()] == [True, False]
    assert evidence.under_s > 6000.0 and evidence.surfaced_s > evidence.command_s > evidence.under_s
    assert [span.name for span in evidence.dives()[1].spans][-3:] == ["release", "ascend", "surface"]


def test_a_core_that_never_releases_is_caught_in_the_second_dive():
    one = dive("hauled-back@record+10min", plan=SHORT, body=body_of(NO_DEADLINE, SHORT))
    one.at(6000.0, one.splash)
    assert set(broken(one.run())) == {1}


def test_a_controller_whose_sensors_show_no_water_is_excused_and_one_that_sees_the_contact_wet_is_not():
    blind = ("pressure-gone@splash", "contact-dead@splash")
    assert broken(fly(*blind)) == {}
    assert verdict(fly(*blind), 1).verdict == EXCUSED
    assert 1 in broken(fly("pressure-gone@splash", body=body_of(NO_DEADLINE, SAMPLE)))


# Faults that once broke a law though a release was possible, and the laws that are excused with them.
MENDED = {
    "a false rise in steep noise": ("pressure-noisy:mbar=10000@splash", set()),
    "a false rise in middling noise": ("pressure-noisy:mbar=1000@splash", set()),
    "a false rise in spikes alone": ("pressure-noisy:spikes=1000", set()),
    "one jump of the pressure on the way up": ("pressure-frozen:for_s=600@attempt", set()),
    "a false ascent to a false surface, on the bottom": ("pressure-creeps:mbar_h=-100000@splash", {9}),
    "a false ascent to a false surface, after the first attempt": ("pressure-creeps:mbar_h=-100000@attempt", set()),
    "a false pressure of air, unarmed": ("pressure-creeps:mbar_h=-100000", {1, 2, 9}),
    "afloat with no journal": ("records-damaged:records=100000@afloat", {12}),
    "a clock lost and starts that fail": ("half-loaded@record+1h clock-lost@record", set()),
    "a site as deep as the lander is high": ("shallower:by_m=5000", {9}),
    "afloat, and nothing tells of the surface": ("link-early@splash pressure-gone@splash", {9, 10}),
    "back on deck, where the pressure shows water": ("pressure-offset@freed hauled-back@freed", {3}),
    "back on deck, having floated all the while": ("never-sinks hauled-back@release", {3}),
    "a dead contact, and afloat with no journal": ("contact-dead@splash records-damaged:records=100000@afloat", {8, 12}),
    "no pressure, and afloat with no journal": ("pressure-gone@afloat records-damaged:records=100000@afloat", {8, 10, 12}),
    "a false ascent into false air": ("pressure-creeps:mbar_h=-100000@attempt contact-dead@attempt", {4}),
    "the arming forgotten, and a pressure of air": ("records-damaged@splash pressure-frozen@splash", {1, 2, 8, 9, 12}),
    "unarmed, and no pressure until it was under water": ("pressure-gone:for_s=1200", set()),
    "afloat, and a pressure that tells of sinking again": ("pressure-offset:mbar=2000@surface+3min", set()),
    "each attempt forgotten": ("attempt-resets@splash flash-refuses@splash", {2, 4, 8, 12}),
    "a command afloat, with a dead contact": ("contact-dead@start+300s line-noise@record+8700s", {8, 11}),
    "up and down again within an outage": ("half-loaded@splash second-reset@splash", {8}),
    "afloat without a command, and a pressure below any air": ("second-reset@splash pressure-creeps@splash", {10}),
    "released afloat by the clock, and no pressure": ("link-early@start+300s pressure-gone@record+8700s", {10}),
    "back on deck, and no rise that could be seen": ("pressure-frozen@start+300s hauled-back@record+8700s", {3}),
    "the arming forgotten, and a dead contact": ("records-damaged@splash contact-dead@splash", {1, 2, 8, 9, 12}),
    "commands from the splash on, and a dead contact": ("contact-dead@splash line-noise@splash", {8, 11}),
    "the second board on deck, where its contact is wet": ("second-contact-bridged@splash hauled-back@splash", {13}),
}


@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.parametrize(("faults", "excused"), MENDED.values(), ids=MENDED)
def test_no_law_is_broken_where_a_release_is_possible(faults, excused, seed):
    result = fly(*faults.split(), seed=seed)
    assert broken(result) == {}
    assert {one.number for one in result.verdicts if one.verdict == EXCUSED} <= excused


def test_the_verdicts_of_a_dive_are_those_of_its_evidence():
    result = fly()
    assert result.verdicts == judge(result.evidence)
    assert verdict(result, 1).name == "Home"
