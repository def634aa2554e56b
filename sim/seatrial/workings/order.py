"""The order that must hold between the times of a dive, pair by pair, and what to change where it does not.

`seatrial.plan.checks` holds the order of the keys (timed before latest, latest before the corroding link); here is
what can be said only once the paths home, the light and the energy are worked out.
"""

import math
from collections.abc import Iterator
from datetime import datetime, timedelta

from seatrial.handbook import sun
from seatrial.plan import Plan, descent_s, energy_budget
from seatrial.plan.checks import DESCENT_MARGIN
from seatrial.plan.wording import up
from seatrial.workings import daylight
from seatrial.workings.lasting import beacon_hours_left, empty_h
from seatrial.workings.moments import said
from seatrial.workings.release_paths import (
    BY_BACKUP,
    LATEST,
    LINK_LATEST,
    TIMED,
    last_attempt_over_s,
    path_of,
)

LARGEST_PACK_AH = 1000.0  # what `power.capacity_ah` allows
HALVINGS = 24  # of that: to less than a thousandth of an ampere hour
BROUGHT_UP = {
    TIMED: "the timed release brings the lander up",
    BY_BACKUP: "if the primary fails, the backup brings the lander up",
    LATEST: "the latest release brings the lander up",
}


def faults(plan: Plan) -> list[str]:
    """What is out of order, one sentence for each mistake; empty when the order holds."""
    return [sentence for check in (_link_before_the_pack_is_empty, _surfaces_in_the_light, _boat_waits)
            for sentence in check(plan)]


def cautions(plan: Plan) -> list[str]:
    """What holds and is still worth a second thought, and what could not be worked out."""
    return [sentence for caution in (_link_against_attempts, _link_against_the_beacon, _edges_of_the_light, _late_ways)
            for sentence in caution(plan)]


# --- the corroding link and the energy ------------------------------------------------------------------------------


def _earliest_link_h(plan: Plan) -> float | None:
    return plan.release.passive.earliest_h if plan.release.passive.fitted else None


def _energy_adds_up(plan: Plan) -> bool:
    """A pack that does not even hold the planned dive is told by the plan's own checks."""
    return energy_budget(plan).spare_at_latest_mah >= 0


def _link_before_the_pack_is_empty(plan: Plan) -> Iterator[str]:
    earliest_h = _earliest_link_h(plan)
    if earliest_h is None or not _energy_adds_up(plan) or earliest_h < empty_h(plan):
        return
    needed_ah = _capacity_needed_ah(plan, earliest_h)
    larger = "" if needed_ah is None else f", or carry at least {up(needed_ah, 1)} Ah (power.capacity_ah)"
    yield (f"release.passive.earliest_h is {earliest_h:g}; the pack is empty {empty_h(plan):.1f} h after the splash if"
           " no attempt frees the lander, so nothing would be lit or called when the link lets go: fit a link that lets"
           f" go before {math.floor(10 * empty_h(plan)) / 10:.1f} h{larger}")


def _capacity_needed_ah(plan: Plan, hours: float) -> float | None:
    """The capacity with which the pack outlasts so many hours after the splash; None: none that a plan may name."""

    def outlasts(capacity_ah: float) -> bool:
        power = plan.power.model_copy(update={"capacity_ah": capacity_ah})
        return empty_h(plan.model_copy(update={"power": power})) > hours

    low_ah, high_ah = plan.power.capacity_ah, LARGEST_PACK_AH
    if not outlasts(high_ah):
        return None
    for _ in range(HALVINGS):
        middle_ah = (low_ah + high_ah) / 2
        low_ah, high_ah = (low_ah, middle_ah) if outlasts(middle_ah) else (middle_ah, high_ah)
    return high_ah


def _link_against_attempts(plan: Plan) -> Iterator[str]:
    earliest_h, over_h = _earliest_link_h(plan), last_attempt_over_s(plan) / 3600
    if earliest_h is None or not plan.times.latest_release_min / 60 < earliest_h <= over_h:
        return
    yield (f"release.passive.earliest_h is {earliest_h:g}; the last of the {plan.release.attempts_planned} planned"
           f" attempts ends {over_h:.1f} h after the splash if they begin with the latest release: the link may let go"
           " while they go on")


def _link_against_the_beacon(plan: Plan) -> Iterator[str]:
    passive = plan.release.passive
    if not passive.fitted or passive.latest_h is None or not _energy_adds_up(plan):
        return
    if passive.earliest_h is not None and passive.earliest_h >= empty_h(plan):
        return  # told as a fault
    surfaced_min = path_of(plan, LINK_LATEST).surfaced_min.likely
    if surfaced_min is None:
        return
    left_h = beacon_hours_left(plan, surfaced_min / 60)
    if left_h >= plan.beacon.hours:
        return
    left = f"{left_h:.1f} of the {plan.beacon.hours:g} beacon hours are" if left_h > 0 else "no beacon hours are"
    yield (f"release.passive.latest_h is {passive.latest_h:g}; if only the link frees the lander, and so late,"
           f" {left} left (pack empty {empty_h(plan):.1f} h after the splash, reckoned with the controller awake)")


# --- the light at the surface ---------------------------------------------------------------------------------------


def _times_stand(plan: Plan) -> bool:
    """Where the release comes before the bottom, or after the latest one, the plan's own checks speak."""
    times = plan.times
    return descent_s(plan) / 60 * DESCENT_MARGIN <= times.timed_release_min < times.latest_release_min


def _surfaces_in_the_light(plan: Plan) -> Iterator[str]:
    path = path_of(plan, TIMED)
    up_at = path.surfacing.likely
    if up_at is None or not _times_stand(plan) or daylight.is_wanted(plan, up_at):
        return
    first, last = path.surfacing.early or up_at, path.surfacing.late or up_at
    earlier_min, later_min = daylight.moves_min(plan, first, last)
    if earlier_min is None and later_min is None:  # the light is shorter than the doubt
        earlier_min, later_min = daylight.moves_min(plan, up_at, up_at)
    yield f"{_surfacing_in(plan, TIMED, 'at', up_at)}: {_moves(plan, earlier_min, later_min)}"


def _surfacing_in(plan: Plan, key: str, when: str, moment: datetime) -> str:
    """The wish, and when and in which light a path comes up instead."""
    light = daylight.light_at(plan, moment)
    where = "at night" if light == sun.NIGHT else f"in {light}"
    return (f'dive.surface_in is "{plan.dive.surface_in}"; {BROUGHT_UP[key]} {when} {said(plan, moment)},'
            f" {where}{_between(plan, moment)}")


def _between(plan: Plan, moment: datetime) -> str:
    before, after = daylight.changes_around(plan, moment)
    told = [f"{word} {event.name} at {said(plan, event.moment)}"
            for word, event in (("after", before), ("before", after)) if event is not None]
    return ", " + " and ".join(told) if told else ""


def _moves(plan: Plan, earlier_min: int | None, later_min: int | None) -> str:
    """The ways out: another splash, another timed release where the other times leave room, another wish."""
    ways = []
    if earlier_min is not None:
        ways.append(f"splash {-earlier_min} min earlier (dive.splash_utc)")
    if later_min is not None and (earlier_min is None or _boat_allows(plan, later_min)):
        ways.append(f"splash {later_min} min later" + ("" if ways else " (dive.splash_utc)"))
    for move_min in (earlier_min, later_min):
        if move_min is not None and _timed_may_move(plan, move_min):
            ways.append(f"set times.timed_release_min to {plan.times.timed_release_min + move_min:g}")
    if not ways:
        hours = daylight.LOOKED_AROUND / timedelta(hours=1)
        return f'no such light comes within {hours:g} h of it, so dive on another date or set dive.surface_in = "any"'
    return ", or ".join(ways)


def _boat_allows(plan: Plan, later_min: int) -> bool:
    must_leave, late = plan.dive.must_leave_utc, path_of(plan, BY_BACKUP).surfacing.late
    return must_leave is None or late is None or (must_leave - late).total_seconds() / 60 >= later_min


def _timed_may_move(plan: Plan, move_min: float) -> bool:
    """Whether the timed release still stands behind descent and settling and before the latest release."""
    times, moved_min = plan.times, plan.times.timed_release_min + move_min
    return max(descent_s(plan) / 60 * DESCENT_MARGIN, times.settle_latest_min, 1) < moved_min < times.latest_release_min


def _edges_of_the_light(plan: Plan) -> Iterator[str]:
    surfacing = path_of(plan, TIMED).surfacing
    if surfacing.likely is None or not _times_stand(plan) or not daylight.is_wanted(plan, surfacing.likely):
        return
    for word, moment in (("early", surfacing.early), ("late", surfacing.late)):
        if moment is not None and not daylight.is_wanted(plan, moment):
            yield _surfacing_in(plan, TIMED, f"as {word} as", moment)
    latest_at = path_of(plan, LATEST).surfacing.likely
    if latest_at is not None and not daylight.is_wanted(plan, latest_at):
        yield _surfacing_in(plan, LATEST, "at", latest_at)


# --- the boat -------------------------------------------------------------------------------------------------------


def _latest_of(plan: Plan, key: str) -> datetime | None:
    """The late surfacing of a path, the likely one where it has no bound; None: it never surfaces."""
    surfacing = path_of(plan, key).surfacing
    return surfacing.late or surfacing.likely


def _minutes_over(plan: Plan, key: str) -> int:
    """Whole minutes by which the late surfacing of a path must come sooner for the boat to wait for it; 0: it does."""
    late, must_leave = _latest_of(plan, key), plan.dive.must_leave_utc
    if late is None or must_leave is None:
        return 0
    return max(0, math.ceil((late - must_leave).total_seconds() / 60))


def _boat_waits(plan: Plan) -> Iterator[str]:
    must_leave, splash = plan.dive.must_leave_utc, plan.dive.splash_utc
    if must_leave is None:
        return
    if must_leave <= splash:
        yield (f"dive.must_leave_utc is {said(plan, must_leave)}; the splash is at {said(plan, splash)}, so the boat"
               " must leave before the lander is in the water: splash earlier, or let the boat stay")
        return
    if not _times_stand(plan):
        return
    for key in (TIMED, BY_BACKUP):
        late, over_min = _latest_of(plan, key), _minutes_over(plan, key)
        if late is not None and over_min:
            yield (f"dive.must_leave_utc is {said(plan, must_leave)}; {BROUGHT_UP[key]} as late as {said(plan, late)},"
                   f" {over_min} min after it: {_sooner(plan, over_min)} or let the boat stay {over_min} min longer")
            return


def _sooner(plan: Plan, over_min: int) -> str:
    ways = f"splash {over_min} min earlier (dive.splash_utc),"
    if _timed_may_move(plan, -over_min):
        ways += f" set times.timed_release_min to {plan.times.timed_release_min - over_min:g},"
    return ways


def _late_ways(plan: Plan) -> Iterator[str]:
    must_leave = plan.dive.must_leave_utc
    if must_leave is None:
        yield ("dive.must_leave_utc is missing: whether the boat can wait for every release was not worked out; give"
               " the moment at which it must leave")
        return
    if list(_boat_waits(plan)) or not _times_stand(plan):
        return  # told as a fault
    late, over_min = _latest_of(plan, LATEST), _minutes_over(plan, LATEST)
    if late is not None and over_min:
        yield (f"dive.must_leave_utc is {said(plan, must_leave)}; {BROUGHT_UP[LATEST]} as late as {said(plan, late)},"
               f" {over_min} min after it: the boat would leave it behind")
