"""The fourth law: a release is over only when a rise is confirmed; until then it is tried again, in other ways."""

from seatrial.evidence import Attempt, Evidence
from seatrial.verdicts import BROKEN, EXCUSED, KEPT, START_S, clock_text, counted, since_splash

STOOD_TIMES = 3.0  # a standstill begins to count anew with the slightest motion: at most so often (our own choice)
DRIVE_ROOM_S = 20.0  # by so much an attempt may outlast its planned time: steps, and a count of time that fell back


def never_give_up(evidence: Evidence) -> tuple[str, str]:
    """Verdict and sentence of the law of attempts, as `laws.LAWS` has it."""
    repeated = _repeated_after_reset(evidence)
    if repeated is not None and repeated.unrecorded:
        return EXCUSED, "An attempt that a reset ended was repeated: the memory refused %d records, this one too." % (
            evidence.journal_lost)
    if repeated is not None:
        return BROKEN, "The attempt that a reset ended was repeated the same way %s after the splash." % (
            since_splash(evidence, repeated.from_s))
    if evidence.command_s is None:
        return KEPT, "No release was commanded."
    endless = _outlasting(evidence)
    if endless is not None:
        return BROKEN, "The attempt on the %s channel %s after the splash outlasted its planned time." % (
            endless.channel, since_splash(evidence, endless.from_s))
    if evidence.rise_believed_s is not None:
        return BROKEN, "On the bottom %s after the splash, and believed to rise, though no reading had climbed." % (
            since_splash(evidence, evidence.rise_believed_s))
    gap = _longest_silence(evidence)
    if gap is not None:
        return BROKEN, "No attempt for %s from %s after the splash on, though nothing had risen." % (
            clock_text(gap[1] - gap[0]), since_splash(evidence, gap[0]))
    judged = _ascent_judged(evidence)
    if judged is not None:
        return judged
    used = {attempt.channel for attempt in evidence.attempts}
    if len(evidence.attempts) > 2 and len(used) < 2:
        return BROKEN, "%s, all on the %s channel." % (counted(len(evidence.attempts), "attempt"), used.pop())
    if evidence.surfaced_s is None and not evidence.release_possible:
        return EXCUSED, "%s; it stayed down: %s." % (counted(len(evidence.attempts), "attempt"), evidence.why_down)
    rose = evidence.left_bottom_s is not None or evidence.surfaced_s is not None
    return KEPT, "%s %s." % (
        counted(len(evidence.attempts), "attempt"), "until the rise" if rose else "and no rise yet")


def _ascent_judged(evidence: Evidence) -> tuple[str, str] | None:
    """Verdict and sentence of what was taken for an ascent and was none, or went on for too long; None: nothing was."""
    believed = _false_ascent(evidence)
    if believed is not None and evidence.ascent_feigned:
        return EXCUSED, "On the bottom for %s, as if up: the pressure fell as in an ascent, the contact was dry." % (
            clock_text(believed[1] - believed[0]))
    if believed is not None:
        return BROKEN, "On the bottom for %s from %s after the splash on, and believed to rise." % (
            clock_text(believed[1] - believed[0]), since_splash(evidence, believed[0]))
    late_s = _endless_ascent(evidence)
    if late_s is not None:
        return BROKEN, "In the state ascend from %s after the splash on, for longer than any ascent." % (
            since_splash(evidence, late_s))
    if evidence.stood_s > STOOD_TIMES * evidence.plan.thresholds.stalled_s + START_S:
        return BROKEN, "It stood still for %s in the state ascend, as its pressure showed, and nothing was tried." % (
            clock_text(evidence.stood_s))
    return None


def _repeated_after_reset(evidence: Evidence) -> Attempt | None:
    """The first attempt that was made in the same way as the one just before it that a reset had ended."""
    for before, after in zip(evidence.attempts, evidence.attempts[1:], strict=False):
        same = before.channel == after.channel and before.drive_pct == after.drive_pct
        known = not any(before.from_s <= moment <= after.from_s for moment in evidence.damaged_s)
        if before.end == "reset" and same and known:
            return after
    return None


def _outlasting(evidence: Evidence) -> Attempt | None:
    """The first attempt that went on for longer than planned while the other channel waited. That a hang holds the
    outputs until the watchdog bites is no doing of the controller."""
    planned_s = {name: getattr(evidence.plan.release, name).fire_s for name in ("primary", "backup")}
    for attempt in evidence.attempts:
        lasted_s = (evidence.end_s if attempt.to_s is None else attempt.to_s) - attempt.from_s
        if attempt.end != "reset" and lasted_s > planned_s[attempt.channel] + DRIVE_ROOM_S:
            return attempt
    return None


def _endless_ascent(evidence: Evidence) -> float | None:
    """The beginning of the first ascent that went on past the time in which the lander would be up."""
    times = evidence.plan.times
    allowed_s = (times.slowest_ascent_min + times.surface_margin_min) * 60.0 + DRIVE_ROOM_S
    for span in evidence.spans:
        if span.name == "ascend" and span.length_s(evidence.end_s) > allowed_s:
            return span.from_s
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
