"""The twelve laws, each one named check of the evidence of a dive.

A law is `kept`, `broken`, or `excused` where the world left nothing that the controller could have done; the sentence
says why. `LAWS` is the list, in order.
"""

from collections.abc import Callable
from dataclasses import dataclass

from seatrial.evidence import Attempt, Evidence

KEPT, BROKEN, EXCUSED = "kept", "broken", "excused"
POWER_S = 10.0  # the time with power that law 1 speaks of
START_S = 10.0  # to start, read the journal and take the first steps
STEP_S = 3.0
BEACON_S = 60.0
LAMP_TEST_S = 5.0
RECORDED_SHARE = 0.95
PACK_ROOM = 0.9  # a pack that holds less than this part of the plan's figure was not the pack of the plan
RESERVE_ROOM = 0.95  # the battery's own cold and age are known to the plan only so well
LEAK_STEP_S = 12.0  # the bottom's reading interval of the sample, and a step


@dataclass(frozen=True)
class Verdict:
    number: int
    name: str
    verdict: str
    sentence: str


@dataclass(frozen=True)
class Law:
    number: int
    name: str
    text: str
    check: Callable[[Evidence], tuple[str, str]]

    def judge(self, evidence: Evidence) -> Verdict:
        verdict, sentence = self.check(evidence)
        return Verdict(self.number, self.name, verdict, sentence)


def clock_text(seconds: float) -> str:
    """Hours, minutes and seconds, for a sentence."""
    whole = round(abs(seconds))
    return "%s%d:%02d:%02d" % ("-" if seconds < 0 else "", whole // 3600, whole // 60 % 60, whole % 60)


def _since_splash(evidence: Evidence, time_s: float) -> str:
    return clock_text(time_s - evidence.splash_s)


def home(evidence: Evidence) -> tuple[str, str]:
    if evidence.under_s is None:
        return KEPT, "It was never under water."
    times = evidence.plan.times
    latest_s = evidence.under_s + times.latest_release_min * 60.0
    if evidence.command_s is not None and evidence.command_s <= latest_s:
        return KEPT, "Release commanded %s after the splash, latest was %s." % (
            _since_splash(evidence, evidence.command_s), _since_splash(evidence, latest_s))
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
            _since_splash(evidence, evidence.command_s))
    if evidence.command_s is None:
        return BROKEN, "No release was commanded; latest was %s after the splash." % _since_splash(evidence, latest_s)
    return BROKEN, "Release commanded %s after the splash; latest was %s." % (
        _since_splash(evidence, evidence.command_s), _since_splash(evidence, latest_s))


def _up_before(evidence: Evidence, time_s: float) -> bool:
    return any(moment is not None and moment <= time_s for moment in (evidence.surfaced_s, evidence.hauled_s))


def time_never_restarts(evidence: Evidence) -> tuple[str, str]:
    if evidence.mission_time_fell:
        return BROKEN, "Mission time fell back %d times." % evidence.mission_time_fell
    if evidence.under_s is None:
        return KEPT, "It was never under water."
    due_s = evidence.under_s + evidence.plan.times.timed_release_min * 60.0
    if _up_before(evidence, due_s) or evidence.end_s < due_s:
        return KEPT, "Mission time never fell back."
    power_s = evidence.powered_for(due_s, POWER_S)
    if power_s is None:
        return EXCUSED, "No power at or after the timed release."
    allowed_s = max(due_s, power_s + START_S) + STEP_S + evidence.plan.thresholds.sign_hold_s
    if evidence.command_s is not None and evidence.command_s <= allowed_s:
        return KEPT, "%d resets; the release was never later than the timed one." % len(evidence.resets_s)
    late_s = (evidence.command_s or evidence.end_s) - due_s
    return BROKEN, "The release came %s after it was due." % clock_text(late_s)


def not_on_deck(evidence: Evidence) -> tuple[str, str]:
    wrong = [attempt for attempt in evidence.attempts if not attempt.been_under]
    if wrong:
        return BROKEN, "A release was energised %s after the splash on deck." % _since_splash(evidence, wrong[0].from_s)
    return KEPT, "No release was energised on deck."


def never_give_up(evidence: Evidence) -> tuple[str, str]:
    repeated = _repeated_after_reset(evidence)
    if repeated is not None:
        return BROKEN, "The attempt that a reset ended was repeated the same way %s after the splash." % (
            _since_splash(evidence, repeated.from_s))
    if evidence.command_s is None:
        return KEPT, "No release was commanded."
    gap = _longest_silence(evidence)
    if gap is not None:
        return BROKEN, "No attempt for %s from %s after the splash on, though nothing had risen." % (
            clock_text(gap[1] - gap[0]), _since_splash(evidence, gap[0]))
    believed = _false_ascent(evidence)
    if believed is not None:
        return BROKEN, "On the bottom for %s from %s after the splash on, and believed to rise." % (
            clock_text(believed[1] - believed[0]), _since_splash(evidence, believed[0]))
    used = {attempt.channel for attempt in evidence.attempts}
    if len(evidence.attempts) > 2 and len(used) < 2:
        return BROKEN, "%d attempts, all on the %s channel." % (len(evidence.attempts), used.pop())
    if evidence.surfaced_s is None and not evidence.release_possible:
        return EXCUSED, "%d attempts; it stayed down: %s." % (len(evidence.attempts), evidence.why_down)
    rose = evidence.left_bottom_s is not None or evidence.surfaced_s is not None
    return KEPT, "%d attempts %s." % (len(evidence.attempts), "until the rise" if rose else "and no rise yet")


def _repeated_after_reset(evidence: Evidence) -> Attempt | None:
    """The first attempt that was made in the same way as the one just before it that a reset had ended."""
    for before, after in zip(evidence.attempts, evidence.attempts[1:], strict=False):
        same = before.channel == after.channel and before.drive_pct == after.drive_pct
        if before.end == "reset" and same:
            return after
    return None


def _longest_silence(evidence: Evidence) -> tuple[float, float] | None:
    """The first stretch in the states of release, with power and no attempt, longer than any pause may be."""
    release = evidence.plan.release
    allowed_s = release.pause_max_s + release.shed_s + 2 * START_S
    for from_s, to_s in _releasing(evidence):
        marks = [from_s]
        for attempt in evidence.attempts:
            if from_s <= attempt.from_s <= to_s:
                marks += [attempt.from_s, to_s if attempt.to_s is None else min(to_s, attempt.to_s)]
        marks.append(to_s)
        for quiet_s, next_s in zip(marks[::2], marks[1::2], strict=True):
            begin_s = evidence.powered_for(quiet_s, allowed_s)
            if begin_s is not None and next_s - begin_s > allowed_s:
                return quiet_s, next_s
    return None


def _releasing(evidence: Evidence) -> list[tuple[float, float]]:
    """Stretches from the first state of release to the next ascent or surface, or the end."""
    stretches: list[tuple[float, float]] = []
    begun_s = None
    for span in evidence.spans:
        if span.name in ("release", "backup"):
            begun_s = span.from_s if begun_s is None else begun_s
        elif span.name != "off" and begun_s is not None:
            stretches.append((begun_s, span.from_s))
            begun_s = None
    if begun_s is not None:
        stretches.append((begun_s, evidence.end_s))
    return stretches


def _false_ascent(evidence: Evidence) -> tuple[float, float] | None:
    """A stretch of the states ascend or surface, longer than any ascent, while the lander truly lay on the bottom."""
    times = evidence.plan.times
    allowed_s = (times.slowest_ascent_min + times.surface_margin_min) * 60.0 + START_S
    if evidence.command_s is None or evidence.touchdown_s is None:
        return None
    lay_until_s = evidence.end_s if evidence.left_bottom_s is None else evidence.left_bottom_s
    for span in evidence.spans:
        to_s = min(lay_until_s, evidence.end_s if span.to_s is None else span.to_s)
        if span.name in ("ascend", "surface") and to_s - span.from_s > allowed_s and span.from_s > evidence.command_s:
            return span.from_s, to_s
    return None


def shed_before_firing(evidence: Evidence) -> tuple[str, str]:
    for attempt in evidence.attempts:
        if attempt.both:
            return BROKEN, "Both channels were energised at once %s after the splash." % (
                _since_splash(evidence, attempt.from_s))
        if attempt.loads_on:
            return BROKEN, "%s still on when the %s release was energised %s after the splash." % (
                attempt.loads_on, attempt.channel, _since_splash(evidence, attempt.from_s))
    return KEPT, "Camera, lights and fan were off at every one of %d attempts." % len(evidence.attempts)


def enough_left(evidence: Evidence) -> tuple[str, str]:
    if evidence.command_s is None or evidence.left_at_command_mah is None:
        return KEPT, "No release was commanded."
    reserve_mah = evidence.plan.orders().reserve_mah
    if evidence.left_at_command_mah >= RESERVE_ROOM * reserve_mah:
        return KEPT, "%.0f mAh left at the first command, reserve is %d." % (evidence.left_at_command_mah, reserve_mah)
    if evidence.pack_mah < PACK_ROOM * evidence.plan.orders().capacity_mah:
        return EXCUSED, ("%.0f mAh left at the first command, reserve is %d: the pack held only %.0f, which its voltage"
                         " alone cannot tell." % (evidence.left_at_command_mah, reserve_mah, evidence.pack_mah))
    if _power_failed(evidence):
        return EXCUSED, "%.0f mAh left at the first command, reserve is %d: the supply itself had failed." % (
            evidence.left_at_command_mah, reserve_mah)
    return BROKEN, "Only %.0f mAh left at the first command; the reserve is %d." % (
        evidence.left_at_command_mah, reserve_mah)


def _power_failed(evidence: Evidence) -> bool:
    """The controller was without power for a while before the first command."""
    return any(span.to_s is not None and span.to_s <= (evidence.command_s or 0.0) for span in evidence.powered)


def water_inside(evidence: Evidence) -> tuple[str, str]:
    if evidence.leak_s is None or evidence.under_s is None:
        return KEPT, "No leak was felt under water."
    thresholds = evidence.plan.thresholds
    from_s = max(evidence.leak_s, evidence.under_s + thresholds.sign_hold_s)
    if evidence.surfaced_s is not None and evidence.surfaced_s <= from_s:
        return KEPT, "The leak came at the surface."
    if evidence.command_s is not None and evidence.command_s <= from_s:
        return KEPT, "The release had been commanded before the leak."
    power_s = evidence.powered_for(from_s, POWER_S)
    if power_s is None:
        return EXCUSED, "No power since the leak."
    room_s = thresholds.leak_hold_s + max(LEAK_STEP_S, evidence.plan.journal.reading_bottom_s + STEP_S) + START_S
    allowed_s = max(from_s, power_s) + room_s
    if evidence.command_s is not None and evidence.command_s <= allowed_s:
        return KEPT, "Release commanded %.0f s after the leak was felt." % (evidence.command_s - from_s)
    one_sign_s = evidence.under_s + thresholds.one_sign_wait_min * 60.0 + room_s
    if evidence.command_s is not None and evidence.command_s <= one_sign_s:
        return KEPT, "Release commanded %.0f s after the leak: one sign of water alone had to be waited for." % (
            evidence.command_s - from_s)
    return BROKEN, "Water inside from %s after the splash, and no release %.0f s later." % (
        _since_splash(evidence, from_s), room_s)


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
    if not any(span.from_s <= max(by_s, power_s + START_S) for span in evidence.beacon):
        return BROKEN, "No beacon %s after the splash; it surfaced at %s." % (
            _since_splash(evidence, by_s), _since_splash(evidence, evidence.surfaced_s))
    dark_s = _dark_s(evidence, by_s, min(end_s, evidence.surfaced_s + evidence.plan.beacon.hours * 3600.0))
    if dark_s > BEACON_S:
        return BROKEN, "The beacon was dark for %s at the surface." % clock_text(dark_s)
    first_s = min(span.from_s for span in evidence.beacon)
    return KEPT, "Beacon on %s after it surfaced, for the rest of the run." % clock_text(
        max(0.0, first_s - evidence.surfaced_s))


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
            _since_splash(evidence, evidence.guessed_presses_s[0]))
    if evidence.touchdown_s is None:
        return KEPT, "It never reached the bottom."
    ends = (evidence.command_s, evidence.left_bottom_s, evidence.hauled_s, evidence.end_s)
    over_s = min(moment for moment in ends if moment is not None)
    bottom_s = over_s - evidence.touchdown_s
    able_s = bottom_s - evidence.camera_unable_s
    settle_s = evidence.plan.thresholds.settled_s + evidence.plan.camera.start_s + 2 * evidence.plan.camera.answer_s
    failed_at_once = evidence.camera_unable_s and able_s <= settle_s and not evidence.recorded_on_bottom_s
    if able_s <= 0.0 or failed_at_once:
        return EXCUSED, "The camera could not record on the bottom."
    share = evidence.recorded_on_bottom_s / able_s
    if share >= RECORDED_SHARE or able_s - evidence.recorded_on_bottom_s <= settle_s:
        return KEPT, "Recorded %.1f %% of %s on the bottom%s." % (
            100.0 * share, clock_text(bottom_s),
            "" if not evidence.camera_unable_s else ", of the time that the camera worked")
    return BROKEN, "Recorded only %.1f %% of %s that the camera worked on the bottom." % (
        100.0 * share, clock_text(able_s))


def lights_off_in_air(evidence: Evidence) -> tuple[str, str]:
    if evidence.lights_in_air_s > LAMP_TEST_S:
        return BROKEN, "The lights were on in air for %.0f s." % evidence.lights_in_air_s
    return KEPT, "The lights were never on in air."


def deaf_at_sea(evidence: Evidence) -> tuple[str, str]:
    if evidence.disarmed_under_water or evidence.bench_fires_under_water:
        return BROKEN, "A command changed the mission under water."
    return KEPT, "%d commands arrived under water and changed nothing." % evidence.commands_under_water


def nothing_unexplained(evidence: Evidence) -> tuple[str, str]:
    if evidence.state_changes != len(evidence.rows_seen):
        return BROKEN, "%d changes of state, but %d rows were written down." % (
            evidence.state_changes, len(evidence.rows_seen))
    if evidence.journal_lost:
        return EXCUSED, "The journal's memory refused %d records." % evidence.journal_lost
    if evidence.journal_rows != evidence.rows_seen:
        return BROKEN, "%d rows were taken, %d stand in the journal." % (
            len(evidence.rows_seen), len(evidence.journal_rows))
    if evidence.journal_attempts < len(evidence.attempts):
        return BROKEN, "%d attempts were made, %d stand in the journal." % (
            len(evidence.attempts), evidence.journal_attempts)
    return KEPT, "All %d changes of state and %d attempts stand in the journal with their reasons." % (
        len(evidence.rows_seen), len(evidence.attempts))


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


def judge(evidence: Evidence) -> list[Verdict]:
    """The verdict of every law on this dive."""
    return [law.judge(evidence) for law in LAWS]
