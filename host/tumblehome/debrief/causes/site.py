"""Site and people: the seabed that was found, what held the lander, and who hauled it or brushed it with a magnet.

The sound dive: it settles at the planned depth within the plan's margin, sinks at the plan's speed, and nothing but
the arming gesture holds a magnet to it.
"""

from collections.abc import Iterator

import numpy as np

from lander import journal, table
from seatrial.plan.reckoning import descent_s
from tumblehome.debrief.causes.alike import BY_DEPTH, LET_GO_BY_OTHERS, OFF_READING, TOO_HIGH, but
from tumblehome.debrief.causes.findings import LIKELY, Finding
from tumblehome.debrief.causes.past import ON_DECK, UNDER, Past
from tumblehome.debrief.causes.pressure import rest, standing

DEPTH_PART = 0.03  # of the depth: charts, tide and the site's mean density
SPEED_TIMES = 1.5
AFLOAT_M = 2.0
NEAR_M = 30.0  # a reading may be off by so much and still look like a sensor that works
DECK_MBAR = 15.0  # the sensor of a floating lander hangs decimetres deep: so little over the air is on deck


def depth(past: Past) -> Iterator[Finding]:
    """Sound: settled within the margin of the planned depth, and a few parts in a hundred for chart and tide."""
    at = rest(past)
    if len(at) < 6 or standing(past):
        return
    values = past.depth_m[at]
    found_m = float(np.median(values[:max(6, len(values) // 10)]))
    planned_m = float((past.planned_mbar - past.air_mbar) * past.orders.cm_per_bar / 1e5)
    room_m = past.plan.site.depth_margin_m + DEPTH_PART * planned_m + past.noise_m
    words = past.records(at[[0, -1]])
    settle = "sound the site; press the sensor to a known depth"
    if found_m > planned_m + room_m:
        yield Finding(("deeper",), LIKELY, "It settled at %.0f m; planned were %.0f m." % (found_m, planned_m), words,
                      settle, 60)
    elif found_m < planned_m - room_m:
        yield Finding(("shallower",) if _rose_at_once(past) else TOO_HIGH, LIKELY, "It came to rest at %.0f m; planned"
                      " were %.0f m%s." % (found_m, planned_m, ". Released, it rose at once: nothing held it" if
                                           _rose_at_once(past) else ""), words, settle, 60)


def _rose_at_once(past: Past) -> bool:
    """Whether it came up in the first attempt on a release."""
    rise = past.row("release-rising")
    return rise is not None and sum(one.at < rise.at for one in past.attempts) == 1


def too_deep(past: Past) -> Iterator[Finding]:
    """Sound: never deeper than the plan's limit."""
    row = past.row("descend-deep", "record-deep")
    if row is not None and not standing(past):
        yield Finding(("deeper", "pressure-offset", "pressure-noisy", "pressure-creeps", "pressure-drifts-warm"),
                      LIKELY, "It went deeper than the plan's limit: %.0f m." % past.depth_m[row.at],
                      past.records([row.at]), "sound the site; press the sensor to a known depth", 60)


def held(past: Past) -> Iterator[Finding]:
    """Sound: between the splash and the seabed it never stands still, and never once it rises."""
    if standing(past):
        return
    for state, name in ((table.DESCEND, "on the way down"), (table.ASCEND, "on the way up")):
        at = np.flatnonzero(past.in_state(state) & past.sign("pressure_ok") & past.log.is_reading
                            & (past.depth_m > AFLOAT_M * 2.0))
        if len(at) < 10:
            continue
        span = 8
        moved = np.abs(past.depth_m[at[span:]] - past.depth_m[at[:-span]])
        lasted = past.t[at[span:]] - past.t[at[:-span]]
        still = np.flatnonzero((moved < 2.0 * past.noise_m + 0.1) & (lasted > 10.0) & (lasted < 600.0))
        later = past.depth_m[at[-1]]
        if not len(still):
            continue
        stood_m = float(past.depth_m[at[still[0]]])
        if abs(later - stood_m) > NEAR_M / 3.0:
            yield Finding(("caught",), LIKELY, "It stood still at %.0f m %s, and went on later." % (stood_m, name),
                          past.records(at[still[:4]]), "look for lines and scratches at the frame", 75,
                          ("shallower", "ballast-hangs"))
            return
    stalled = past.row("ascend-stalled", "ascend-first", "ascend-late")
    if stalled is not None and past.sign("pressure_ok")[stalled.at] and past.depth_m[stalled.at] > 2.0 * AFLOAT_M:
        near = past.depth_m[stalled.at] < NEAR_M
        yield Finding((*OFF_READING, "caught") if near else ("caught", "ballast-hangs"), LIKELY,
                      "The rise stopped at %.0f m%s." % (past.depth_m[stalled.at],
                                                         ", or the pressure reads so much too high" if near else ""),
                      past.records([stalled.at]), "read the sensor in air; look for lines and scratches at the frame",
                      84, but(BY_DEPTH, "caught"))


def passing(past: Past) -> Iterator[Finding]:
    """Sound: once settled it stays where it is until the release."""
    at = rest(past)
    if len(at) < 12 or standing(past):
        return
    first, last = float(np.median(past.depth_m[at[:5]])), float(np.median(past.depth_m[at[-5:]]))
    steps = np.abs(np.diff(past.depth_m[at]))
    if not past.sign("contact_wet")[at].all():
        return
    stood = np.ptp(past.depth_m[at[:5]]) < 2.0 * past.noise_m + 0.5
    if stood and last - first > 5.0 and steps.max() < 60.0 and (steps > 1.0).sum() >= 2:
        yield Finding(("caught",), LIKELY, "It stood at %.0f m and sank on to %.0f m." % (first, last),
                      past.records(at[[0, -1]]), "look for lines and scratches at the frame", 75, ("shallower",))


def afloat(past: Past) -> Iterator[Finding]:
    """Sound: some minutes after the splash it is deep."""
    if past.splash_s is None or standing(past) or not past.sign("pressure_ok").any():
        return
    down_s = descent_s(past.plan)
    at = np.flatnonzero((past.t > past.splash_s + 120.0) & past.sign("pressure_ok") & past.sign("contact_wet"))
    if len(at) < 6 or past.t[at[-1]] - past.splash_s < min(600.0, down_s):
        return
    deepest = float(np.nanpercentile(past.depth_m[at], 95))
    if past.deepest_m > max(2.0 * AFLOAT_M, 3.0 * past.plan.thresholds.submerged_m):
        return  # it sank, and came up soon
    if deepest < AFLOAT_M and past.splash_s is not None:
        yield Finding(("never-sinks", "caught", "shallower", *LET_GO_BY_OTHERS), LIKELY,
                      "It was in the water and never deeper than %.1f m." % deepest, past.records(at[[0, -1]]),
                      "see whether the ballast is there; weigh lander and ballast in water", 85,
                      but(BY_DEPTH, *LET_GO_BY_OTHERS))


def sinking(past: Past) -> Iterator[Finding]:
    """Sound: it sinks at the plan's speed, within the doubt of its drag and weight."""
    at = np.flatnonzero(past.in_state(table.DESCEND) & past.sign("pressure_ok") & past.log.is_reading)
    if len(at) < 6 or standing(past):
        return
    depth_m, planned_m = past.depth_m[at], past.plan.site.depth_m
    way = (depth_m > 0.1 * planned_m) & (depth_m < 0.6 * planned_m)
    down_s = descent_s(past.plan)
    if way.sum() < 4 or not np.isfinite(down_s) or np.ptp(depth_m[way]) < 5.0:
        return
    speed = float(np.polyfit(past.t[at][way], depth_m[way], 1)[0])
    planned = planned_m / down_s
    if speed > planned * SPEED_TIMES:
        yield Finding(("never-sinks",), LIKELY, "It sank at %.2f m/s where %.2f m/s were planned: the ballast was not"
                      " the planned one." % (speed, planned), past.records(at[[0, -1]]), "weigh lander and ballast", 88,
                      ("pressure-noisy",))


def hauled(past: Past) -> Iterator[Finding]:
    """Sound: once in the water the contact stays wet and the pressure above the air's until the end."""
    row = next((row for row in past.rows if row.label.endswith("-hauled")), None)
    stopped = past.events(journal.E_STOPPED)
    at = row.at if row is not None else stopped[0] if stopped else None
    if at is None:
        return
    after = (np.arange(past.count) >= at) & past.sign("pressure_ok") & ~past.sign("contact_wet")
    over = float(np.median(past.mbar[after] - past.air_mbar)) if after.any() else 0.0
    words = past.records([at])
    if abs(over) < DECK_MBAR:
        yield Finding(("hauled-back",), LIKELY, "It was back in the air: the contact dry, the pressure exactly the"
                      " air's.", words, "ask who hauled it", 87, but(BY_DEPTH, "hauled-back"))
    else:
        yield Finding(("contact-dead", "hauled-back"), LIKELY, "It was taken for out of the water, with %.0f mbar of"
                      " water over the sensor." % over, words, "wet the contact on the bench", 78)


def never_in(past: Past) -> Iterator[Finding]:
    """Sound: it is in the water at about the planned time."""
    if past.under_water or past.splash_s is not None:
        return
    armed = past.in_state(table.ARMED)
    if not armed.any():
        return
    waited_s = float(past.t[-1] - past.t[np.flatnonzero(armed)[0]])
    if past.last_state == table.ARMED and waited_s > past.plan.dive.on_deck_min * 60.0 + 3600.0:
        yield Finding(("hauled-back",), LIKELY, "Armed for %.1f h, and never in the water." % (waited_s / 3600.0),
                      past.records([past.count - 1]), "ask the deck", 70)


def magnet(past: Past) -> Iterator[Finding]:
    """Sound: a magnet for one gesture on deck, before the dive and after it, and none at sea."""
    held_by = past.sign("magnet")
    if not held_by.any():
        return
    back = past.in_state(table.SURFACE) & past.sign("contact_ok") & ~past.sign("contact_wet")
    wet = held_by & past.in_state(*UNDER, table.SURFACE) & ~back
    deck = np.flatnonzero(held_by & past.in_state(*ON_DECK))
    long = len(deck) > 1 and past.t[deck[-1]] - past.t[deck[0]] > past.plan.magnet.hold_max_s
    armed = (held_by & past.in_state(table.ARMED)).any()
    if wet.any() or long or armed:
        yield Finding(("magnet-brushed",), LIKELY, "A magnet was at the housing in %d records, %s." % (
            held_by.sum(), "at sea" if wet.any() else "longer than a gesture, or after it"),
            past.records(np.flatnonzero(held_by)), "look for a magnet near the switch, or a switch that sticks", 70)


def gestures(past: Past) -> Iterator[Finding]:
    """Sound: one gesture arms; what disarms is a person, or a magnet that came near."""
    row = past.row("armed-disarm", "descend-disarm", "release-disarm", "backup-disarm", "ascend-disarm")
    if row is not None:
        yield Finding(("magnet-brushed",), LIKELY, "It was disarmed in state %s." % table.STATES[row.came_from],
                      past.records([row.at]), "ask the deck; look for a magnet near the switch", 65)


RULES = (depth, too_deep, held, passing, afloat, sinking, hauled, never_in, magnet, gestures)
