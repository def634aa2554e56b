"""One drawn dive flown and judged: which laws it broke, whether a release was possible, what it reached."""

from dataclasses import dataclass, field

from seatrial.account import is_home
from seatrial.campaign.flying import Watch
from seatrial.dive import Dive
from seatrial.fuzzing.coverage import WatchedBody, points_of
from seatrial.fuzzing.drawing import Drawn
from seatrial.fuzzing.variants import variant
from seatrial.laws import BROKEN
from seatrial.plan import Plan

NOT_ON_DECK = 3  # broken whatever was possible
STOPPED = 0  # in the place of a law: the controller or the simulation stopped with an error


@dataclass(frozen=True)
class Flight:
    """What a dive came to. `broken`: each law that it broke, with its sentence, where it could have been kept."""

    broken: dict[int, str] = field(default_factory=dict)
    points: frozenset[str] = frozenset()


def fly(plan: Plan, drawn: Drawn, core: type | None = None) -> Flight:
    """Fly this dive; an error in the core or in the simulation is a finding too."""
    flown = variant(plan, drawn.changes)
    if flown is None:
        raise ValueError("the plan refuses these changes: %s" % drawn.changes)
    body = WatchedBody(flown.mission_record(), core)
    watch = Watch(flown)
    try:
        watch.dive = dive = Dive(flown, drawn.parsed(), drawn.seed, body, progress=watch, keep_series=False)
        result = dive.run()
    except Exception as error:  # whatever it is, it is ours
        return Flight({STOPPED: "%s: %s" % (type(error).__name__, error)})
    evidence = result.evidence
    possible = is_home(evidence) or watch.possible or (evidence.release_possible and evidence.freed_s is None)
    return Flight({verdict.number: verdict.sentence for verdict in result.verdicts
                   if verdict.verdict == BROKEN and (possible or verdict.number == NOT_ON_DECK)},
                  points_of(result, body))
