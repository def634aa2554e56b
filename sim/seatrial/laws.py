"""The twelve laws, each one named check of the evidence of a dive, and a thirteenth where a second board is fitted.

A law is `kept`, `broken`, or `excused` where the world left nothing that the controller could have done; the sentence
says why. `LAWS` is the list, in order.
"""

from collections.abc import Callable
from dataclasses import dataclass

from seatrial.evidence import Evidence, Span
from seatrial.law_of_attempts import never_give_up
from seatrial.story import AIR_SEEN_S
from seatrial.verdicts import (
    BROKEN,
    BROKEN_LAST,
    EXCUSED,
    KEPT,
    POWER_S,
    START_S,
    STEP_S,
    Verdict,
    clock_text,
    counted,
    since_splash,
)

BEACON_S = 60.0
LAMP_TEST_S = 5.0
RECORDED_SHARE = 0.95
PACK_ROOM = 0.9  # a pack that holds less than this part of the plan's figure was not the pack of the plan
RESERVE_ROOM = 0.95  # the battery's own cold and age are known to the plan only so well
UNSHOWN = "No sensor showed water: nothing told the controller that it was not on deck."
BENCH_S = 5.0  # the longest that the bench energises a release for
UNSEEN_DECK = "A release was energised on deck, where a sensor did not show air: one sign alone ends no dive."
AS_ON_DECK = "As far as it knew unarmed, and a sensor told of air to the end: one sign may be a fault on deck."
NO_RISE = "Both signs never showed water: no rise could be seen, and without one air on the sensors ends no dive."
SLEPT_THROUGH = "The controller had no power from before it went under until it was up: nothing told it of a dive."
RUN_S = 30.0  # a start that lasts less has no time to learn from its sensors where it is
LEAK_STEP_S = 12.0  # the bottom's reading interval of the sample, and a step


@dataclass(frozen=True)
class Law:
    number: int
    name: str
    text: str
    check: Callable[[Evidence], tuple[str, str]]

    def judge(self, evidence: Evidence) -> Verdict:
        verdict, sentence = self.check(evidence)
        return Verdict(self.number, self.name, verdict, sentence)


def home(evidence: Evidence) -> tuple[str, str]:
    if evidence.under_s is None:
        return KEPT, "It was never under water."
    times = evidence.plan.times
    latest_s = evidence.under_s + times.latest_release_min * 60.0
    if evidence.command_s is not None and evidence.command_s <= latest_s:
        return KEPT, "Release commanded %s after the splash, latest was %s." % (
            since_splash(evidence, evidence.command_s), since_splash(evidence, latest_s))
    if _up_before(evidence, latest_s):
        return KEPT, "It was out of the water before the latest release."
    if evidence.end_s < latest_s:
        return KEPT, "The run ended before the latest release was due."
    power_s = evidence.powered_for(latest_s, POWER_S)
    if power_s is None:
        return EXCUSED, "The controller had no power for %.0f s at or after the latest release." % POWER_S
    allowed_s = max(latest_s, power_s + START_S) + STEP_S
    if evidence.command_s is not None and evidence.command_s <= allowed_s:
        return KEPT, "Commanded %s after the splash, as soon as there was power after the latest release." % (
            since_splash(evidence, evidence.command_s))
    if _unshown(evidence):
        return EXCUSED, UNSHOWN
    if _taken_for_deck(evidence):
        return EXCUSED, AS_ON_DECK
    if evidence.command_s is not None and evidence.command_s <= allowed_s + _unarmed_s(evidence):
        return EXCUSED, _unarmed(evidence)
    if evidence.command_s is None:
        return BROKEN, "No release was commanded; latest was %s after the splash." % since_splash(evidence, latest_s)
    return BROKEN, "Release commanded %s after the splash; latest was %s." % (
        since_splash(evidence, evidence.command_s), since_splash(evidence, latest_s))


def _unarmed_s(evidence: Evidence) -> float:
    """How much later the clock of a lander that was never armed may start: with the second sign of water, since one
    alone may be a fault on deck."""
    if evidence.both_signs_s is None or evidence.state_at(evidence.under_s) != "safe":
        return 0.0
    return max(0.0, evidence.both_signs_s - evidence.under_s)


def _taken_for_deck(evidence: Evidence) -> bool:
    """Never armed, as far as it could know, and a valid sign told of air to the end: a fault on deck looks the same."""
    unarmed = evidence.both_signs_s is None and evidence.state_at(evidence.under_s) == "safe"
    if evidence.command_s is not None or evidence.air_told_s is None or not unarmed:
        return False
    return evidence.end_s - evidence.air_told_s <= START_S


def _unarmed(evidence: Evidence) -> str:
    return "It went in unarmed, and a sensor told of air until %s after the splash." % (
        since_splash(evidence, evidence.both_signs_s))


def _unshown(evidence: Evidence) -> bool:
    """Neither pressure nor contact ever told of the water."""
    return evidence.command_s is None and evidence.water_shown_s is None


def _up_before(evidence: Evidence, time_s: float) -> bool:
    return any(moment is not None and moment <= time_s for moment in (evidence.surfaced_s, evidence.hauled_s))


def time_never_restarts(evidence: Evidence) -> tuple[str, str]:
    if evidence.mission_time_fell:
        return BROKEN, "Mission time fell back %d times." % evidence.mission_time_fell
    room_s = START_S + STEP_S + evidence.plan.thresholds.sign_hold_s
    if evidence.clock_behind_s > room_s:
        return BROKEN, "The time of the descent fell %s behind the true one." % clock_text(evidence.clock_behind_s)
    if evidence.under_s is None:
        return KEPT, "It was never under water."
    times = evidence.plan.times
    due_s = evidence.under_s + times.timed_release_min * 60.0
    if _up_before(evidence, due_s) or evidence.end_s < due_s:
        return KEPT, "Mission time never fell back."
    power_s = evidence.powered_for(due_s, POWER_S)
    if power_s is None:
        return EXCUSED, "No power at or after the timed release."
    allowed_s = max(due_s, power_s + START_S) + STEP_S + evidence.plan.thresholds.sign_hold_s
    if evidence.command_s is not None and evidence.command_s <= allowed_s:
        return KEPT, "%s; the release was never later than the timed one." % counted(len(evidence.resets_s), "reset")
    latest_s = max(evidence.under_s + times.latest_release_min * 60.0, power_s + START_S) + STEP_S
    if evidence.command_s is None or evidence.command_s > latest_s:
        return KEPT, "Mission time never fell back; that the latest release passed is for law 1."
    if evidence.command_s <= allowed_s + _unarmed_s(evidence):
        return EXCUSED, _unarmed(evidence)
    return BROKEN, "The release came %s after it was due." % clock_text(evidence.command_s - due_s)


def not_on_deck(evidence: Evidence) -> tuple[str, str]:
    for fire in evidence.bench_fires:
        lasted_s = (evidence.end_s if fire.to_s is None else fire.to_s) - fire.from_s
        if lasted_s > BENCH_S + STEP_S:
            return BROKEN, "The bench left the %s release energised for %.0f s." % (fire.channel, lasted_s)
    hauled_s = evidence.hauled_s
    wrong = [attempt for attempt in evidence.attempts if not attempt.been_under]
    no_rise = evidence.under_s is None or evidence.both_signs_s is None
    seen = [one for one in wrong if hauled_s is None or one.from_s < hauled_s
            or not (one.deck_unseen or no_rise)]
    if seen:
        return BROKEN, "A release was energised %s after the splash on deck." % since_splash(evidence, seen[0].from_s)
    if wrong:
        return EXCUSED, NO_RISE if no_rise else UNSEEN_DECK
    if hauled_s is None:
        return KEPT, "No release was energised on deck."
    ends_s = [evidence.end_s if attempt.to_s is None else attempt.to_s for attempt in evidence.attempts]
    on_deck_s = max(ends_s, default=hauled_s) - hauled_s
    if on_deck_s > AIR_SEEN_S and (evidence.attempts[-1].deck_unseen or no_rise):
        return EXCUSED, NO_RISE if no_rise else UNSEEN_DECK
    if on_deck_s > AIR_SEEN_S:
        return BROKEN, "A release was still energised %s after it was back on deck." % clock_text(on_deck_s)
    return KEPT, "No release was energised on deck."


def shed_before_firing(evidence: Evidence) -> tuple[str, str]:
    for attempt in evidence.attempts:
        if attempt.both:
            return BROKEN, "Both channels were energised at once %s after the splash." % (
                since_splash(evidence, attempt.from_s))
        if attempt.loads_on:
            return BROKEN, "%s still on when the %s release was energised %s after the splash." % (
                attempt.loads_on, attempt.channel, since_splash(evidence, attempt.from_s))
    return KEPT, "Camera, lights and fan were off throughout %s." % counted(len(evidence.attempts), "attempt")


def enough_left(evidence: Evidence) -> tuple[str, str]:
    if evidence.command_s is None or evidence.left_at_command_mah is None:
        return KEPT, "No release was commanded."
    reserve_mah = evidence.plan.orders().reserve_mah
    if evidence.left_at_command_mah >= RESERVE_ROOM * reserve_mah:
        return KEPT, "%.0f mAh left at the first command, reserve is %d." % (evidence.left_at_command_mah, reserve_mah)
    if evidence.pack_mah < PACK_ROOM * evidence.plan.orders().capacity_mah:
        return EXCUSED, ("%.0f mAh left at the first command, reserve is %d: the pack held only %.0f, which its voltage"
                         " alone cannot tell." % (evidence.left_at_command_mah, reserve_mah, evidence.pack_mah))
    if _reserve_unknown(evidence, RESERVE_ROOM * reserve_mah):
        return EXCUSED, ("%.0f mAh left at the first command, reserve is %d: %.0f mAh were drawn that nothing showed."
                         % (evidence.left_at_command_mah, reserve_mah, evidence.unseen_mah))
    return BROKEN, "Only %.0f mAh left at the first command; the reserve is %d." % (
        evidence.left_at_command_mah, reserve_mah)


def _reserve_unknown(evidence: Evidence, least_mah: float) -> bool:
    """By all that readings told the reserve was still there, and the voltage had not told the contrary for long."""
    shown_s = evidence.low_shown_s
    if shown_s is not None and evidence.command_s is not None and evidence.command_s > shown_s + START_S + STEP_S:
        return False
    return evidence.left_at_command_mah + evidence.unseen_mah >= least_mah


def water_inside(evidence: Evidence) -> tuple[str, str]:
    if not evidence.leaks or evidence.under_s is None:
        return KEPT, "No leak was felt under water."
    told = [_leak_judged(evidence, span) for span in evidence.leaks]
    for wanted in (BROKEN, EXCUSED):
        for verdict, sentence in told:
            if verdict == wanted:
                return verdict, sentence
    return told[-1]


def _leak_judged(evidence: Evidence, leak: Span) -> tuple[str, str]:
    """One stretch of water at the probe. It must last for as long as it takes to be sure of it."""
    thresholds = evidence.plan.thresholds
    from_s = max(leak.from_s, evidence.under_s + thresholds.sign_hold_s)
    ends = (leak.to_s, evidence.surfaced_s, evidence.hauled_s, evidence.end_s)
    until_s = min(moment for moment in ends if moment is not None)
    if evidence.surfaced_s is not None and evidence.surfaced_s <= from_s:
        return KEPT, "The leak came at the surface."
    if evidence.hauled_s is not None and evidence.hauled_s <= from_s:
        return KEPT, "The leak came on deck."
    if evidence.command_s is not None and evidence.command_s <= from_s:
        return KEPT, "The release had been commanded before the leak."
    room_s = thresholds.leak_hold_s + max(LEAK_STEP_S, evidence.plan.journal.reading_bottom_s + STEP_S) + START_S
    power_s = evidence.powered_for(from_s, room_s)
    if power_s is None:
        return EXCUSED, "No power since the leak."
    allowed_s = power_s + room_s
    if _unshown(evidence):
        return EXCUSED, UNSHOWN
    if evidence.command_s is not None and evidence.command_s <= allowed_s:
        return KEPT, "Release commanded %.0f s after the leak was felt." % (evidence.command_s - from_s)
    allowed_s = max(allowed_s, _sure_s(evidence) + room_s)
    if evidence.command_s is not None and evidence.command_s <= allowed_s:
        return KEPT, "Release commanded %.0f s after the leak: one sign of water alone had to be waited for." % (
            evidence.command_s - from_s)
    if until_s < allowed_s:
        return KEPT, "The leak was felt for %.0f s: too short to be sure of it." % max(0.0, until_s - from_s)
    return BROKEN, "Water inside from %s after the splash, and no release %.0f s later." % (
        since_splash(evidence, from_s), allowed_s - from_s)


def _sure_s(evidence: Evidence) -> float:
    """When the controller can have been sure that it is under water: both signs, or one for long."""
    begun_s = evidence.touchdown_s if evidence.under_s is None else evidence.under_s
    alone_s = begun_s + evidence.plan.thresholds.one_sign_wait_min * 60.0
    return alone_s if evidence.both_signs_s is None else min(alone_s, evidence.both_signs_s)


def seen_at_the_surface(evidence: Evidence) -> tuple[str, str]:
    if evidence.surfaced_s is None:
        return KEPT, "It did not surface."
    end_s = evidence.hauled_s if evidence.hauled_s is not None else evidence.end_s
    by_s = evidence.surfaced_s + BEACON_S
    times = evidence.plan.times
    if evidence.command_s is not None:
        unseen_s = evidence.command_s + (times.slowest_ascent_min + times.surface_margin_min) * 60.0 + BEACON_S
        by_s = by_s if evidence.surface_visible else max(by_s, unseen_s)
    elif not evidence.surface_visible:
        by_s = evidence.under_s + (times.latest_release_min + times.slowest_ascent_min
                                   + times.surface_margin_min) * 60.0 + BEACON_S if evidence.under_s else by_s
    if end_s <= by_s:
        return KEPT, "The run ended before the beacon was due."
    power_s = evidence.powered_for(by_s, 1.0)
    if power_s is None:
        return EXCUSED, "No power at the surface."
    if _unshown(evidence) and not evidence.beacon:
        return EXCUSED, UNSHOWN
    if _taken_for_deck(evidence) and not evidence.beacon:
        return EXCUSED, AS_ON_DECK
    if _slept_through(evidence) and evidence.command_s is None:
        return EXCUSED, SLEPT_THROUGH
    if evidence.journal_lost and evidence.powered_for(by_s, RUN_S) is None:
        return EXCUSED, "At the surface no start lasted for %.0f s, and the memory had refused %d records." % (
            RUN_S, evidence.journal_lost)
    if _memory_gone_afloat(evidence) and not (evidence.surface_visible and evidence.wet_shown_afloat):
        return EXCUSED, "Its memory lost %d records afloat, and not both water and the surface could be seen." % (
            evidence.journal_damaged)
    if not any(span.from_s <= max(by_s, power_s + START_S) for span in evidence.beacon):
        return BROKEN, "No beacon %s after the splash; it surfaced at %s." % (
            since_splash(evidence, by_s), since_splash(evidence, evidence.surfaced_s))
    if evidence.disarmed_dry_s is not None:
        end_s = min(end_s, evidence.disarmed_dry_s)
    dark_s = _dark_s(evidence, by_s, min(end_s, evidence.surfaced_s + evidence.plan.beacon.hours * 3600.0))
    if dark_s > BEACON_S:
        return BROKEN, "The beacon was dark for %s at the surface." % clock_text(dark_s)
    if end_s == evidence.disarmed_dry_s:
        return EXCUSED, "It was disarmed afloat like one that is recovered: both signs showed air."
    first_s = min(span.from_s for span in evidence.beacon)
    return KEPT, "Beacon on %s after it surfaced, for the rest of the run." % clock_text(
        max(0.0, first_s - evidence.surfaced_s))


def _slept_through(evidence: Evidence) -> bool:
    """Without power from before it went under until it was up."""
    return evidence.under_s is not None and not any(
        span.from_s < evidence.surfaced_s and (span.to_s is None or span.to_s > evidence.under_s)
        for span in evidence.powered)


def _memory_gone_afloat(evidence: Evidence) -> bool:
    """The journal was lost as a whole: it came back as one that knows of no dive."""
    return any(moment >= evidence.surfaced_s and evidence.state_at(moment + START_S) == "safe"
               for moment in evidence.damaged_s)


def _dark_s(evidence: Evidence, from_s: float, to_s: float) -> float:
    """Time between the two with power and without the beacon."""
    lit_s = sum(max(0.0, min(to_s, to_s if span.to_s is None else span.to_s) - max(from_s, span.from_s))
                for span in evidence.beacon)
    powered_s = sum(max(0.0, min(to_s, to_s if span.to_s is None else span.to_s) - max(from_s, span.from_s))
                    for span in evidence.powered)
    return powered_s - lit_s


def footage(evidence: Evidence) -> tuple[str, str]:
    if evidence.guessed_presses_s:
        return BROKEN, "A press stopped a recording %s after the splash, though it could be seen to run." % (
            since_splash(evidence, evidence.guessed_presses_s[0]))
    if _released_for_a_flicker(evidence):
        return BROKEN, "Released for water inside, which its probe had not felt for %.0f s on end." % (
            evidence.plan.thresholds.leak_hold_s)
    if evidence.touchdown_s is None:
        return KEPT, "It never reached the bottom."
    ends = (evidence.command_s, evidence.left_bottom_s, evidence.hauled_s, evidence.end_s)
    over_s = min(moment for moment in ends if moment is not None)
    bottom_s = over_s - evidence.touchdown_s
    unsure_s = max(0.0, min(_sure_s(evidence), over_s) - evidence.touchdown_s)
    able_s = bottom_s - evidence.camera_unable_s
    settle_s = evidence.plan.thresholds.settled_s + evidence.plan.camera.start_s + 2 * evidence.plan.camera.answer_s
    failed_at_once = evidence.camera_unable_s and able_s <= settle_s and not evidence.recorded_on_bottom_s
    if able_s <= 0.0 or failed_at_once:
        return EXCUSED, "The camera could not record on the bottom."
    dead_s = evidence.powered[-1].to_s if evidence.powered else None
    if dead_s is not None and dead_s < over_s - settle_s:
        return EXCUSED, "Recorded %s of %s on the bottom; the controller had no power from %s after the splash on." % (
            clock_text(evidence.recorded_on_bottom_s), clock_text(bottom_s), since_splash(evidence, dead_s))
    if _unshown(evidence):
        return EXCUSED, UNSHOWN
    if evidence.under_s is not None and _taken_for_deck(evidence):
        return EXCUSED, AS_ON_DECK
    share = evidence.recorded_on_bottom_s / able_s
    if share >= RECORDED_SHARE or able_s - evidence.recorded_on_bottom_s <= settle_s:
        return KEPT, "Recorded %.1f %% of %s on the bottom%s." % (
            100.0 * share, clock_text(bottom_s),
            "" if not evidence.camera_unable_s else ", of the time that the camera worked")
    lacking_s = RECORDED_SHARE * able_s - evidence.recorded_on_bottom_s
    told = "Recorded %s of %s on the bottom: " % (clock_text(evidence.recorded_on_bottom_s), clock_text(bottom_s))
    if lacking_s <= unsure_s:
        return EXCUSED, told + "one sign of water stood alone for %s, and had to be waited for." % clock_text(unsure_s)
    if lacking_s <= evidence.rise_feigned_s:
        return EXCUSED, told + "the pressure fell as in a true ascent, and for %s it was believed to rise." % (
            clock_text(evidence.rise_feigned_s))
    return BROKEN, "Recorded only %.1f %% of %s that the camera worked on the bottom." % (
        100.0 * share, clock_text(able_s))


def _released_for_a_flicker(evidence: Evidence) -> bool:
    """The command names a leak, and none had been felt for as long as that sign needs."""
    if evidence.command_s is None or "water inside" not in evidence.command_reason:
        return False
    least_s = evidence.plan.thresholds.leak_hold_s - 1.0  # its steps see the beginning and the end up to so late
    return not any(min(evidence.command_s, span.from_s + span.length_s(evidence.end_s)) - span.from_s >= least_s
                   for span in evidence.leaks if span.from_s < evidence.command_s)


def lights_off_in_air(evidence: Evidence) -> tuple[str, str]:
    warned_s = evidence.lights_in_air_s - evidence.lights_unwarned_s
    if evidence.lights_in_air_s > LAMP_TEST_S >= warned_s:
        return EXCUSED, "The lights were on afloat for %.0f s: no pressure showed the surface, the contact was wet." % (
            evidence.lights_unwarned_s)
    if evidence.lights_in_air_s > LAMP_TEST_S:
        return BROKEN, "The lights were on in air for %.0f s." % evidence.lights_in_air_s
    if evidence.lights_in_air_s:
        return KEPT, "The lights were on in air for %.1f s, in the self-test." % evidence.lights_in_air_s
    return KEPT, "The lights were never on in air."


def deaf_at_sea(evidence: Evidence) -> tuple[str, str]:
    if evidence.disarmed_under_water or evidence.bench_fires_under_water:
        return BROKEN, "A command changed the mission under water."
    if evidence.bench_fires_unwarned:
        return EXCUSED, "%d commands were obeyed afloat, where both signs showed air as they do on deck." % (
            evidence.bench_fires_unwarned)
    number = evidence.commands_under_water
    return KEPT, "%d %s arrived under water and changed nothing." % (
        number, "command" if number == 1 else "commands") if number else "No command arrived under water."


def nothing_unexplained(evidence: Evidence) -> tuple[str, str]:
    rows, attempts = len(evidence.rows_seen), len(evidence.attempts) + len(evidence.bench_fires)
    missing = max(0, rows - len(evidence.journal_rows)) + max(0, attempts - evidence.journal_attempts)
    spoilt = evidence.journal_lost + evidence.journal_overwritten + evidence.journal_damaged
    changes = evidence.state_changes + evidence.states_at_start
    # With records gone it may come back in an earlier state, which no row tells, and take a row again.
    if rows != changes and not (spoilt and rows >= evidence.state_changes):
        return BROKEN, "%d changes of state, but %d rows were written down." % (changes, rows)
    if missing and missing <= spoilt and _in_order(evidence.journal_rows, evidence.rows_seen):
        return EXCUSED, "The journal's memory %s: %d changes and attempts are missing." % (
            _spoilt_words(evidence), missing)
    if evidence.journal_rows != evidence.rows_seen:
        return BROKEN, "%d rows were taken, %d stand in the journal%s." % (
            rows, len(evidence.journal_rows), " after its memory %s" % _spoilt_words(evidence) if spoilt else "")
    if evidence.bug_s is not None:
        return BROKEN, "The controller found an invariant of its own broken %s after the splash." % (
            since_splash(evidence, evidence.bug_s))
    if evidence.motion_believed_s is not None:
        return BROKEN, "The row %s after the splash says that the depth stood still; it did not." % (
            since_splash(evidence, evidence.motion_believed_s))
    if evidence.journal_attempts < attempts:
        return BROKEN, "%s, of which %d stand in the journal." % (
            counted(attempts, "attempt"), evidence.journal_attempts)
    return KEPT, "All %s of state and %s stand in the journal with their reasons." % (
        counted(rows, "change"), counted(attempts, "attempt"))


def _in_order(some: list[str], of_all: list[str]) -> bool:
    """Whether these labels stand among all of them in the same order."""
    rest = iter(of_all)
    return all(label in rest for label in some)


def _spoilt_words(evidence: Evidence) -> str:
    counts = (("refused", evidence.journal_lost), ("wrote over", evidence.journal_overwritten),
              ("spoilt", evidence.journal_damaged))
    return ", ".join("%s %d records" % (what, count) for what, count in counts if count)


# --- the second board ----------------------------------------------------------------------------------------------


def second_board(evidence: Evidence) -> tuple[str, str]:
    """What `deadman` promises, whatever the main board does: its own deadline, not on deck, never to give up."""
    drives = evidence.second.drives
    wrong = [drive for drive in drives if not drive.been_under]
    if wrong and evidence.hauled_s is not None and all(
            drive.deck_unseen and drive.from_s >= evidence.hauled_s for drive in wrong):
        return EXCUSED, UNSEEN_DECK
    if wrong:
        return BROKEN, "The second board fired %s after the splash on deck." % since_splash(evidence, wrong[0].from_s)
    if evidence.under_s is None:
        return KEPT, "It was never under water."
    due_s = evidence.under_s + evidence.second.deadline_s
    if not drives and _up_before(evidence, due_s):
        return KEPT, "It was out of the water before the second board's deadline."
    if not drives and evidence.end_s < due_s:
        return KEPT, "The run ended before the second board's deadline."
    fired_s = drives[0].from_s if drives else None
    power_s = evidence.second_powered_for(due_s, POWER_S)
    allowed_s = max(due_s, (due_s if power_s is None else power_s) + START_S) + STEP_S + evidence.second.clock_off_s
    if fired_s is not None and fired_s <= allowed_s:
        return _second_goes_on(evidence, due_s)
    if power_s is None:
        return EXCUSED, "The second board had no power for %.0f s at or after its deadline." % POWER_S
    if not evidence.second.saw_water:
        return EXCUSED, "No sensor of the second board showed water."
    return BROKEN, "The second board %s; its deadline was %s after the splash." % (
        "did not fire" if fired_s is None else "fired %s after the splash" % since_splash(evidence, fired_s),
        since_splash(evidence, due_s))


def _second_goes_on(evidence: Evidence, due_s: float) -> tuple[str, str]:
    """It fired in time: the attempts after it, as long as it stays down, and what came of them."""
    drives, release = evidence.second.drives, evidence.plan.release
    allowed_s = release.pause_max_s + 2 * START_S
    ends = (evidence.left_bottom_s, evidence.surfaced_s, evidence.hauled_s, evidence.end_s)
    over_s = min(moment for moment in ends if moment is not None)
    quiet = [over_s if drive.to_s is None else drive.to_s for drive in drives]
    for quiet_s, next_s in zip(quiet, [drive.from_s for drive in drives[1:]] + [over_s], strict=True):
        begin_s = evidence.second_powered_for(quiet_s, allowed_s)
        if begin_s is not None and min(next_s, over_s) - begin_s > allowed_s:
            return BROKEN, "The second board made no attempt for %s from %s after the splash on." % (
                clock_text(min(next_s, over_s) - quiet_s), since_splash(evidence, quiet_s))
    told = "The second board fired %s after the splash, its deadline was %s" % (
        since_splash(evidence, drives[0].from_s), since_splash(evidence, due_s))
    return KEPT, "%s%s." % (told, ", and freed the ballast" if evidence.freed_by_second else "")


LAWS = (
    Law(1, "Home", "under water, a release is commanded by the latest release", home),
    Law(2, "Time never restarts", "no reset and no clock makes the release later", time_never_restarts),
    Law(3, "Not on deck", "no release before the splash or after being hauled back", not_on_deck),
    Law(4, "Never give up", "attempts go on until a rise is confirmed", never_give_up),
    Law(5, "Shed before firing", "camera, lights and fan off, one channel at a time", shed_before_firing),
    Law(6, "Enough left", "the release begins while the reserve is there", enough_left),
    Law(7, "Water inside", "a leak under water releases now", water_inside),
    Law(8, "Seen at the surface", "the beacon is on and lasts", seen_at_the_surface),
    Law(9, "Footage", "it records while the camera works, and presses nothing on a guess", footage),
    Law(10, "Lights off in air", "lights are off out of the water", lights_off_in_air),
    Law(11, "Deaf at sea", "the serial line changes nothing under water", deaf_at_sea),
    Law(12, "Nothing unexplained", "every change stands in the journal with its reason", nothing_unexplained),
)


SECOND_LAW = Law(13, "Second board", "it fires by its own deadline, never on deck, and goes on", second_board)


WHOLE_RUN = (12,)  # the journal is one, however often the lander was thrown in


def judge(evidence: Evidence) -> list[Verdict]:
    """The verdict of every law on this run; where it made several dives, of the one that the law fared worst in."""
    laws = LAWS if evidence.second is None else (*LAWS, SECOND_LAW)
    dives = evidence.dives()
    return [law.judge(evidence) if len(dives) == 1 or law.number in WHOLE_RUN else _worst(law, dives) for law in laws]


def _worst(law: Law, dives: list[Evidence]) -> Verdict:
    verdicts = [law.judge(dive) for dive in dives]
    number, worst = max(enumerate(verdicts), key=lambda numbered: (BROKEN_LAST.index(numbered[1].verdict), numbered[0]))
    return Verdict(worst.number, worst.name, worst.verdict, "Dive %d of %d: %s" % (
        number + 1, len(dives), worst.sentence))
