"""What is said of a law after a dive, and the words and times that all laws share."""

from dataclasses import dataclass

from seatrial.evidence import Evidence

KEPT, BROKEN, EXCUSED = "kept", "broken", "excused"
BROKEN_LAST = (KEPT, EXCUSED, BROKEN)
POWER_S = 10.0  # the time with power that law 1 speaks of
START_S = 10.0  # to start, read the journal and take the first steps
STEP_S = 3.0


@dataclass(frozen=True)
class Verdict:
    """What a law has to say of a dive: BROKEN, EXCUSED or KEPT, and why in one sentence."""

    number: int
    name: str
    verdict: str
    sentence: str


def clock_text(seconds: float) -> str:
    """Hours, minutes and seconds, for a sentence."""
    whole = round(abs(seconds))
    return "%s%d:%02d:%02d" % ("-" if seconds < 0 else "", whole // 3600, whole // 60 % 60, whole % 60)


def counted(count: int, name: str) -> str:
    """So many of what has this name, whose plural takes an s."""
    return "%d %s%s" % (count, name, "" if count == 1 else "s")


def since_splash(evidence: Evidence, time_s: float) -> str:
    """A moment of the run in a sentence, as hours, minutes and seconds after the splash."""
    return clock_text(time_s - evidence.splash_s)
