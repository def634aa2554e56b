"""Whether a release is physically possible while a fault lasts: found out by trying, in the simulated world.

For each way that the ballast could be let go, a world of its own is made: the lander on the bottom, the fault there,
the charge down to the planned reserve, nothing on but the controller. The channel is then driven as the controller
would: for its planned time, again and again, at less drive where the full drive pulls the supply down, until it is
open, the pack is empty or the attempts are more than any dive makes. Then the sea decides whether it lifts.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from lander.release import DRIVES_PCT
from seatrial import world as seas
from seatrial.battery import usable_ah
from seatrial.dive import Dive
from seatrial.faults import Fault, When, unfit

PRIMARY, BACKUP, SECOND_BOARD, PASSIVE = "primary", "backup", "second board", "corroding link"
WAYS = (PRIMARY, BACKUP, SECOND_BOARD, PASSIVE)
PLACES = {PRIMARY: 0, BACKUP: 1}
ATTEMPTS_MAX = 200
LIFT_S = 24 * 3600.0  # the mud is given so long to let go
STEPS_MAX = 1000  # of one look at the sea: events in a row that come to nothing


@dataclass(frozen=True)
class Way:
    """One way home. `after_s`: seconds from the first drive until it lifts; `why_not` is "" where it can."""

    name: str
    why_not: str
    after_s: float = 0.0

    @property
    def possible(self) -> bool:
        return not self.why_not


def ways_home(plan, faults: Iterable[Fault], water=None, seed: int = 1) -> list[Way]:
    """What could bring the lander up from the bottom while these faults last, whatever their onset was."""
    lasting = [Fault(fault.kind, {**fault.values, **({"for_s": 0.0} if fault.kind.can_end else {})}, When())
               for fault in faults if not unfit(plan, fault)]
    return [_try(name, _on_the_bottom(plan, lasting, water, seed)) for name in WAYS if _is_fitted(name, plan)]


def _is_fitted(name: str, plan) -> bool:
    return {SECOND_BOARD: plan.second.fitted, PASSIVE: plan.release.passive.fitted}.get(name, True)


def _on_the_bottom(plan, faults: list[Fault], water, seed: int) -> Dive:
    """A dive that is never run: its world, with the lander on the bottom and the faults begun there."""
    dive = Dive(plan, faults, seed, body=_NoBody(), water=water, keep_series=False)
    sea = dive.world
    sea.hull.in_water = True
    sea.hull.depth_m = dive.plan.site.depth_m
    sea.hull.on_bottom = True
    sea.heat.housing_c = sea.heat.camera_c = sea.outside_c()
    sea.controller_on = True
    dive.story.controller_on()
    for fault in faults:
        fault.kind.begin(dive, fault.values)
    orders = plan.orders()
    share = orders.reserve_mah / orders.capacity_mah
    spare = sea.battery.left_fraction(sea.heat.housing_c) - share
    sea.battery.used_ah += max(0.0, spare) * _full_ah(sea)
    sea.weigh_load()
    return dive


def _full_ah(sea) -> float:
    """What the full pack gives where it lies, at its age."""
    return usable_ah(sea.plan.power, sea.heat.housing_c) * sea.battery.capacity_factor


class _NoBody:
    """Nobody flies: the channels are driven by hand."""

    name = "none"


def _try(name: str, dive: Dive) -> Way:
    sea = dive.world
    if name == PASSIVE:
        why_not = _wait_for_link(sea)
    elif name == SECOND_BOARD:
        why_not = _drive_by_second(dive)
    else:
        why_not = _drive_by_main(dive, PLACES[name])
    return Way(name, why_not or _lift(sea), sea.now_s)


def _drive_by_main(dive: Dive, place: int) -> str:
    """Drive a channel from the main board; returns why it does not open, or ""."""
    sea = dive.world
    sea.controller_on = not dive.main_dead and sea.supply_is_back()
    if not sea.controller_on:
        return "the main board is dead" if dive.main_dead else "no power"
    channel = (dive.plan.release.primary, dive.plan.release.backup)[place]
    mechanism = (sea.primary, sea.backup)[place]
    spikes_s = [after_s for one, after_s in dive.load_resets if one == place]
    time_s = min([channel.fire_s, *spikes_s])
    for _ in range(ATTEMPTS_MAX):
        if not any(_drive_once(sea, place, pct, time_s) for pct in DRIVES_PCT):
            return _why_closed(mechanism, "its drive pulls the supply below the brownout")
        if mechanism.open:
            return ""
    return _why_closed(mechanism, "it opens too slowly")


def _drive_once(sea, place: int, pct: int, time_s: float) -> bool:
    """One attempt; False when the supply cannot carry it."""
    levels = [0] * len(seas.ALL_OFF)
    levels[place] = pct
    sea.set_levels(tuple(levels))
    holds = sea.supply_holds()
    if holds:
        _pass(sea, time_s)
    sea.set_levels(seas.ALL_OFF)
    return holds


def _drive_by_second(dive: Dive) -> str:
    """Drive the backup mechanism from the second board's own battery; returns why it does not open, or ""."""
    sea, second = dive.world, dive.second
    if second.dead:
        return "the second board is dead"
    for _ in range(ATTEMPTS_MAX):
        driving = False
        for pct in DRIVES_PCT:
            load_ma = second.section.controller_ma + sea.backup.drawn_ma(pct)
            if second.battery.supply_mv(load_ma, sea.outside_c()) >= second.section.brownout_mv:
                driving = True
                second.battery.draw(load_ma, dive.plan.release.backup.fire_s, sea.outside_c())
                sea.second_pct = pct
                _pass(sea, dive.plan.release.backup.fire_s)
                sea.second_pct = 0
                break
        if sea.backup.open:
            return ""
        if not driving:
            return _why_closed(sea.backup, "its drive empties the second board's battery")
    return _why_closed(sea.backup, "it opens too slowly")


def _why_closed(mechanism, else_why: str) -> str:
    if mechanism.jammed:
        return "it is jammed"
    return else_why if mechanism.circuit == "sound" else "its circuit is %s" % mechanism.circuit


def _wait_for_link(sea) -> str:
    if sea.link.jammed:
        return "the link does not part"
    _pass(sea, sea.link.seconds_to_open() + 1.0)
    return "" if sea.link.open else "the link does not part"


def _pass(sea, span_s: float) -> None:
    """Let so much time pass, or less until the ballast is let go."""
    goal_s = sea.now_s + span_s
    for _ in range(STEPS_MAX):
        if sea.now_s >= goal_s - 1e-9 or sea.freed_by:
            return
        sea.advance(goal_s - sea.now_s)


def _lift(sea) -> str:
    """Whether it leaves the bottom once something has opened; returns why it stays, or ""."""
    hull = sea.hull
    goal_s = sea.now_s + LIFT_S
    for _ in range(STEPS_MAX):
        if hull.depth_m <= 0.0 or (not hull.on_bottom and not hull.caught and hull.speed_m_s < 0.0):
            return ""
        if sea.now_s >= goal_s:
            break
        sea.advance(min(goal_s - sea.now_s, 1.0 if not hull.on_bottom else goal_s - sea.now_s))
    if hull.caught:
        return "something holds it where it is"
    force_n = hull.net_force_n(hull.depth_m)
    if hull.ballast_left > 0.0 and force_n >= 0.0:
        return "%.0f %% of the ballast hangs on" % (100.0 * hull.ballast_left)
    return "the mud holds it" if force_n < 0.0 else "it is too heavy"
