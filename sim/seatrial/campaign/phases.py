"""The moments of a dive at which a fault may begin: one for each thing that changes what the lander must do.

Times in the middle of something are worked out from the plan, rounded to what a person would write.
"""

from typing import NamedTuple

from seatrial.faults import FaultKind
from seatrial.plan import Plan, ascent_s, descent_s

ARMED_LEAST_S = 30.0  # the arming gesture is over by then


class Phase(NamedTuple):
    """`when` is the onset as it is written on the command line."""

    name: str
    when: str
    words: str


def phases(plan: Plan) -> dict[str, Phase]:
    """All phases by name, in the order in which they come."""
    deck_s = max(ARMED_LEAST_S, round(plan.dive.on_deck_min * 30.0))
    bottom_min = max(1, round((plan.times.timed_release_min - descent_s(plan) / 60.0) / 2.0))
    fire_s = max(1, round(plan.release.primary.fire_s / 4.0))
    rise_s = max(1, round(ascent_s(plan) / 2.0))
    return {phase.name: phase for phase in (
        Phase("start", "start", "before it is armed"),
        Phase("deck", "start+%ds" % deck_s, "armed on deck"),
        Phase("splash", "splash", "at the splash"),
        Phase("sinking", "%dm" % max(1, round(plan.site.depth_m / 2.0)), "half way down"),
        Phase("touchdown", "touchdown", "when it touches the bottom"),
        Phase("record", "record", "when it begins to film the bottom"),
        Phase("bottom", "record+%dmin" % bottom_min, "half way through the bottom time"),
        Phase("release", "release", "when the release is commanded"),
        Phase("attempt", "attempt", "when a release is first energised"),
        Phase("firing", "attempt+%ds" % fire_s, "in the middle of the first attempt"),
        Phase("backup", "backup", "when the backup is first tried"),
        Phase("freed", "freed", "when the ballast falls"),
        Phase("ascend", "ascend", "when the rise is noticed"),
        Phase("rising", "freed+%ds" % rise_s, "half way up"),
        Phase("afloat", "afloat", "when it comes up"),
        Phase("surface", "surface", "when it notices the surface"),
        Phase("waiting", "afloat+1h", "an hour at the surface"),
    )}


START_ONLY = ("start",)
ALONE = ("start", "deck", "splash", "sinking", "touchdown", "record", "bottom", "release", "attempt", "firing", "freed",
         "ascend", "rising", "afloat", "surface", "waiting")  # a fault alone: backup never comes
VARIED = ("start", "splash", "bottom", "attempt", "afloat")  # where its bounds are tried, and that it ends by itself
TOGETHER = ("splash", "bottom", "attempt", "freed", "ascend")  # several at once: down, bottom, release, way up, known
LATENT, LATER = "deck", "bottom"  # one is there from the deck on, the other comes while it films


def sensible(kind: FaultKind, names: tuple[str, ...]) -> tuple[str, ...]:
    """Of these phases, those at which this kind can begin: what changes the site is there from the start."""
    return START_ONLY if kind.prepare else names


def has_channel(kind: FaultKind) -> bool:
    """Whether it is a fault of a release channel, which makes the other one's turn come."""
    return "channel" in kind.parameters
