"""How long the main pack lasts: what is left at any time after the splash, when it is empty, what the beacon still has.

Until the release command by the budget of the plan (`seatrial.plan.energy`); from there as the firmware goes on when
nothing comes of it: the channels in turn, its pauses, its beacon. The pack as cold as the coldest water throughout,
the controller awake, so a pack really lasts longer.
"""

import math
from functools import lru_cache
from itertools import islice

from lander.lamps import BEACON, FLASH, SPARSE
from seatrial.plan import Plan
from seatrial.plan.attempts import Attempt, attempts_from
from seatrial.plan.energy import charge_at_start_ah, dive_energy, supply_mv
from seatrial.world import duty

HALVINGS = 60  # of a span of years: far below a second
WATCHES_KEPT = 64  # an even number; the watches have long been at their longest by then


def empty_h(plan: Plan) -> float:
    """Hours after the splash at which the main pack is empty if nothing ever frees the lander; 0: before the splash.

    The earlier of two courses: the release is commanded at the timed or at the latest release.
    """
    return min(empty_after_h(plan, minutes) for minutes in _commands_min(plan))


def empty_after_h(plan: Plan, command_min: float, asleep: bool = False) -> float:
    """The same when the release is commanded at `command_min` minutes.

    `asleep` counts the controller as if it slept all the time, which no pack outlasts.
    """
    controller_ma = plan.power.controller_asleep_ma if asleep else plan.power.controller_ma
    usable_mah = _usable_mah(plan)
    low_min, high_min = 0.0, 1.0
    if _spent_mah(plan, low_min, command_min, controller_ma) >= usable_mah:
        return 0.0
    while _spent_mah(plan, high_min, command_min, controller_ma) < usable_mah:  # ends: attempts always draw something
        high_min *= 2
    for _ in range(HALVINGS):
        middle_min = (low_min + high_min) / 2
        if _spent_mah(plan, middle_min, command_min, controller_ma) < usable_mah:
            low_min = middle_min
        else:
            high_min = middle_min
    return high_min / 60


def beacon_hours_left(
    plan: Plan, surfaced_h: float, command_min: float | None = None, attempts: int | None = None
) -> float:
    """Hours for which the beacon calls once the lander has surfaced `surfaced_h` hours after the splash.

    Counted until the pack is empty: `beacon.hours` at the full rhythm, then the sparse one; by day the lamp really has
    the sparse one too, so the beacon outlasts this. `command_min` and `attempts` as in `left_mah`.
    """
    left, beacon = left_mah(plan, surfaced_h, command_min, attempts), plan.beacon
    flashing_ma = plan.power.controller_ma + beacon.lamp_ma + beacon.report_ma
    flashing_h = left / flashing_ma
    if flashing_h <= beacon.hours:
        return flashing_h
    sparse_ma = plan.power.controller_ma + beacon.lamp_ma * duty(BEACON[SPARSE]) / duty(BEACON[FLASH])
    return beacon.hours + (left - flashing_ma * beacon.hours) / (sparse_ma + beacon.report_ma)


def left_mah(plan: Plan, after_h: float, command_min: float | None = None, attempts: int | None = None) -> float:
    """Charge that the controller can still use `after_h` hours after the splash, mAh; 0 when the pack is empty.

    The release was commanded at `command_min` minutes; None takes the worse of the timed and the latest release.
    `attempts` is how many were fired; None: they have gone on until then.
    """
    commands_min = _commands_min(plan) if command_min is None else (command_min,)
    spent_mah = max(_spent_mah(plan, after_h * 60, minutes, plan.power.controller_ma, attempts)
                    for minutes in commands_min)
    return max(0.0, _usable_mah(plan) - spent_mah)


def watch_s(plan: Plan, attempt: int) -> float:
    """How long the firmware waits for a rise after this attempt, s; the first is attempt 1."""
    return _attempt(plan, attempt).watch_s


def attempts_s(plan: Plan, attempts: int) -> float:
    """Seconds from the first current until so many attempts in turn are over, the last one's watch left out."""
    return _attempt(plan, attempts).until_s - _attempt(plan, 1).from_s


def _attempt(plan: Plan, number: int) -> Attempt:
    return next(islice(attempts_from(plan.release), number - 1, None))


@lru_cache(maxsize=16)
def stranded_mah(plan: Plan) -> float:
    """Charge still in the cold pack when the supply of the controller alone falls below `power.brownout_mv`, mAh."""
    low_mah, high_mah = 0.0, 1000 * charge_at_start_ah(plan)
    own_ma, brownout_mv = plan.power.controller_ma, plan.power.brownout_mv
    if supply_mv(plan, own_ma, low_mah) >= brownout_mv:
        return 0.0
    for _ in range(HALVINGS):
        middle_mah = (low_mah + high_mah) / 2
        if supply_mv(plan, own_ma, middle_mah) >= brownout_mv:
            high_mah = middle_mah
        else:
            low_mah = middle_mah
    return high_mah


def _commands_min(plan: Plan) -> tuple[float, float]:
    return plan.times.timed_release_min, plan.times.latest_release_min


def _channels(plan: Plan):
    return plan.release.primary, plan.release.backup


def _usable_mah(plan: Plan) -> float:
    return 1000 * charge_at_start_ah(plan) - stranded_mah(plan)


def _spent_mah(
    plan: Plan, after_min: float, command_min: float, controller_ma: float, attempts: int | None = None
) -> float:
    """Charge spent from arming until `after_min` minutes after the splash; never falls as that grows."""
    dived = dive_energy(plan, min(after_min, command_min))
    gear_mah = dived.total_mah - dived.controller_mah
    after_s = max(0.0, after_min - command_min) * 60
    called_s = max(0.0, after_s - (plan.times.slowest_ascent_min + plan.times.surface_margin_min) * 60)
    beacon_mah = (plan.beacon.lamp_ma + plan.beacon.report_ma) * called_s / 3600
    controller_mah = controller_ma * (plan.dive.on_deck_min + after_min) / 60
    return controller_mah + gear_mah + _firing_mas(plan, after_s, attempts) / 3600 + beacon_mah


def _firing_mas(plan: Plan, seconds: float, attempts: int | None) -> float:
    """Charge that attempts in turn have taken within so many seconds of the command, mA s."""
    channels, watches_s = _channels(plan), _watches_s(plan)
    spent_mas, at_s, fired = 0.0, 0.0, 0
    while at_s < seconds and (attempts is None or fired < attempts):
        if fired == len(watches_s) and attempts is None:  # an even number: whole pairs are taken at once
            pair_s = sum(channel.fire_s for channel in channels) + 2 * watches_s[-1]
            pairs = math.floor((seconds - at_s) / pair_s)
            spent_mas += pairs * sum(channel.fire_s * channel.current_ma for channel in channels)
            at_s += pairs * pair_s
        channel = channels[fired % 2]
        spent_mas += channel.current_ma * min(channel.fire_s, max(0.0, seconds - at_s))
        at_s += channel.fire_s + watches_s[min(fired, len(watches_s) - 1)]
        fired += 1
    return spent_mas


@lru_cache(maxsize=16)
def _watches_s(plan: Plan) -> tuple[float, ...]:
    """The watch after each attempt, s, for as many as it takes to be at its longest; an even number of them."""
    return tuple(attempt.watch_s for attempt in islice(attempts_from(plan.release), WATCHES_KEPT))
