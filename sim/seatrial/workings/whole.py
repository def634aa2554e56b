"""All chapters of a plan together: does it add up?"""

from collections.abc import Callable
from dataclasses import dataclass

from seatrial.plan import Plan
from seatrial.plan.checks import faults_of
from seatrial.workings import column, drift, light, motion, pressure, supply, times, warmth, weights
from seatrial.workings.chapter import Chapter

# In the order in which a person asks: the one number everything hangs on first.
CHAPTERS: tuple[Callable[[Plan], Chapter], ...] = tuple(
    module.chapter for module in (times, weights, motion, drift, supply, warmth, light, pressure, column))


@dataclass(frozen=True)
class Worked:
    """A plan with everything that follows from it."""

    plan: Plan
    faults: tuple[str, ...]
    cautions: tuple[str, ...]
    chapters: tuple[Chapter, ...]

    @property
    def dangers(self) -> tuple[str, ...]:
        """What can hurt somebody in building, testing and launching it."""
        return tuple(danger for chapter in self.chapters for danger in chapter.dangers)

    @property
    def adds_up(self) -> bool:
        """Whether nothing in it is wrong."""
        return not self.faults

    def chapter(self, key: str) -> Chapter:
        """The chapter of this key. Raises KeyError when there is none."""
        for found in self.chapters:
            if found.key == key:
                return found
        raise KeyError(key)


def work_out(plan: Plan) -> Worked:
    """Every chapter of a plan whose keys are right by themselves (`seatrial.plan.reading.draft`)."""
    chapters = tuple(make(plan) for make in CHAPTERS)
    faults = [*faults_of(plan), *(fault for chapter in chapters for fault in chapter.faults)]
    cautions = [*plan.cautions(), *(caution for chapter in chapters for caution in chapter.cautions)]
    return Worked(plan, tuple(dict.fromkeys(faults)), tuple(dict.fromkeys(cautions)), chapters)
