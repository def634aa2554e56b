"""One dive of a campaign becomes one row: what it came to, and the verdict of every law."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from time import perf_counter

from lander import VERSION
from seatrial.account import is_home, outcome
from seatrial.campaign.choosing import CampaignError, Planned
from seatrial.campaign.sharing import Beginning, Parted, Trunk, alike, can_share
from seatrial.dive import Dive
from seatrial.faults import parse
from seatrial.laws import BROKEN, KEPT
from seatrial.plan import Plan
from seatrial.plan.sections import Site
from seatrial.result import DiveResult
from seatrial.water import WaterColumn

BACK_ON_DECK, NEVER_UNDER = "back on deck", "never under"


@dataclass(frozen=True)
class Row:
    """What is kept of one dive; `None` for what never happened. Only `took_s` differs from run to run."""

    number: int
    faults: tuple[str, ...]
    seed: int
    home: bool
    path: str  # what freed it: primary, backup, passive, ballast lost, back on deck, never under, none
    possible: bool  # it came home, or a release would have been possible for a while when it was due, or at the end
    lateness_s: float | None  # surfaced so much after the timed release and the slowest ascent; negative is before it
    left_mah: float | None  # in the pack at the first command
    reserve_mah: float
    resets: int
    attempts: int
    why_down: str  # "" when it came home
    never_began: tuple[str, ...]  # faults whose moment did not come: the dive proves nothing about them
    sea_s: float
    steps: int
    verdicts: tuple[tuple[int, str, str], ...]  # laws that were not kept: number, verdict, sentence
    error: str = ""  # the simulation itself failed
    took_s: float = 0.0

    def broken(self) -> list[int]:
        return [number for number, verdict, _sentence in self.verdicts if verdict == BROKEN]


class Watch:
    """Looks at every 500 steps, without touching anything, whether a release would bring it up if driven now.

    It counts from the first command on, or from the timed release where none came: what was possible earlier says
    nothing about a lander that cannot be released when its time comes. Two looks in a row make a release possible: one
    may fall into the few seconds before the power fails.
    """

    def __init__(self, plan: Plan) -> None:
        self.due_after_s = plan.times.timed_release_min * 60.0
        self.dive: Dive | None = None
        self.in_a_row = 0
        self.possible = False

    def __call__(self, now_s: float, end_s: float) -> None:
        if self.possible or self.dive is None or not self._is_due(now_s):
            return
        world = self.dive.world
        free = world.hull.in_water and not world.hull.caught and not world.ballast_sticks and not world.freed_by
        self.in_a_row = self.in_a_row + 1 if free and world.release_possible() else 0
        self.possible = self.in_a_row >= 2

    def _is_due(self, now_s: float) -> bool:
        evidence = self.dive.evidence if self.dive else None
        if evidence is None or evidence.under_s is None:
            return False
        return evidence.command_s is not None or now_s >= evidence.under_s + self.due_after_s


def fly(plan: Plan, planned: Planned, water: WaterColumn | None = None) -> Row:
    """Fly one dive and tell it. An error inside the simulation becomes a row too: the campaign goes on."""
    start_s = perf_counter()
    watch = Watch(plan)
    try:
        watch.dive = dive = Dive(plan, [parse(text) for text in planned.faults], planned.seed, water=water,
                                 progress=watch, keep_series=False)
        result = dive.run()
    except Exception as error:  # whatever it is, it is ours, and the person must see with which faults it comes
        return _failed(planned, plan, error, perf_counter() - start_s)
    return _row(planned, result, watch.possible, perf_counter() - start_s)


def _row(planned: Planned, result: DiveResult, possible: bool, took_s: float) -> Row:
    evidence = result.evidence
    home = is_home(evidence)
    at_the_end = evidence.release_possible and evidence.freed_s is None  # what has let go cannot be released again
    return Row(
        planned.number, planned.faults, planned.seed, home, _path(result), home or possible or at_the_end,
        _lateness_s(result), evidence.left_at_command_mah, float(result.plan.orders().reserve_mah),
        len(evidence.resets_s), len(evidence.attempts), "" if home else evidence.why_down,
        tuple(text for text, times in zip(planned.faults, result.faults, strict=True) if times[1] is None),
        result.sea_s, result.steps,
        tuple((verdict.number, verdict.verdict, verdict.sentence) for verdict in result.verdicts
              if verdict.verdict != KEPT), took_s=took_s)


def _path(result: DiveResult) -> str:
    if result.evidence.hauled_s is not None:
        return BACK_ON_DECK
    if result.evidence.under_s is None:
        return NEVER_UNDER
    return outcome(result)["path"]


def _lateness_s(result: DiveResult) -> float | None:
    evidence, times = result.evidence, result.plan.times
    if evidence.surfaced_s is None or evidence.under_s is None:
        return None
    return evidence.surfaced_s - evidence.splash_s - 60.0 * (times.timed_release_min + times.slowest_ascent_min)


def _failed(planned: Planned, plan: Plan, error: Exception, took_s: float) -> Row:
    said = "%s: %s" % (type(error).__name__, error)
    return Row(planned.number, planned.faults, planned.seed, False, "none", True, None, None,
               float(plan.orders().reserve_mah), 0, 0, "the simulation failed", (), 0.0, 0, (), said, took_s)


@lru_cache(maxsize=2)
def _water(site: Site) -> WaterColumn:
    """The water of a site, worked out once in each process."""
    return WaterColumn(site)


def fly_many(plan: Plan, version: str, planned: Sequence[Planned]) -> list[Row]:
    """Fly these dives, in this or another process. Raises CampaignError where another version of the tool runs."""
    if version != VERSION:
        raise CampaignError("a worker runs tumblehome %s, this is %s: install the same version everywhere"
                            % (VERSION, version))
    water = _water(plan.site)
    rows: list[Row] = []
    for shared, dives in alike(planned):
        if shared is None or len(dives) == 1 or not can_share():
            rows += [fly(plan, one, water) for one in dives]
        else:
            rows += fly_alike(plan, shared, dives, water)
    return rows


def fly_alike(plan: Plan, shared: Beginning, dives: Sequence[Planned], water: WaterColumn | None = None) -> list[Row]:
    """Fly dives that begin alike: the same rows as if each had been flown alone."""
    starts_s = [perf_counter()]
    watch = Watch(plan)
    trunk = None
    try:
        watch.dive = trunk = Trunk(plan, shared, dives, lambda: starts_s.append(perf_counter()), water=water,
                                   progress=watch, keep_series=False)
        result = trunk.run()
    except Parted:
        return [answer or fly(plan, one, water) for one, answer in zip(dives, trunk.answers, strict=True)]
    except Exception as error:
        if trunk is None or trunk.mine is None:
            return [fly(plan, one, water) for one in dives]  # each tells for itself what is wrong with it
        trunk.hand_over(_failed(trunk.mine, plan, error, perf_counter() - starts_s[-1]))
    took_s = perf_counter() - starts_s[0]
    if trunk.mine is None:
        return [_row(one, result, watch.possible, took_s / len(dives)) for one in dives]
    trunk.hand_over(_row(trunk.mine, result, watch.possible, perf_counter() - starts_s[-1]))
    raise AssertionError("a copy does not go on")
