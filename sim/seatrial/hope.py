"""How long a run goes on: until the last thing that could bring the lander up has had its time."""


def driven_s(dive) -> float:
    """How long after the splash, s, a driven release should have brought it up."""
    times = dive.given_plan.times
    return 60.0 * (times.latest_release_min + times.slowest_ascent_min + times.surface_margin_min)


def longest_s(dive) -> float:
    """How long after the splash, s, the last thing that is planned to bring it up has done so."""
    passive = dive.plan.release.passive
    return max(driven_s(dive), passive.latest_h * 3600.0) if passive.fitted else driven_s(dive)


def is_left(dive) -> bool:
    """Whether anything could still bring up what is down: something to come, a release, the link."""
    evidence = dive.evidence
    if evidence.surfaced_s is not None or evidence.hauled_s is not None:
        return False
    if any(_is_to_come(*entry) for entry in dive.faults):
        return True
    if evidence.under_s is None:
        return False
    sea = dive.world
    if sea.freed_by or sea.hull.caught or sea.ballast_sticks >= 1.0:
        return False
    return sea.release_possible() or (dive.plan.release.passive.fitted and not sea.link.jammed)


def _is_to_come(fault, from_s: float | None, to_s: float | None) -> bool:
    """Whether its beginning or its end has a time that has not come."""
    if from_s is None:
        return fault.when.word == "start"
    return from_s < 0.0 or bool(fault.for_s and to_s is None)
