"""What follows from a plan for its motion and its times: weights in water, speeds, watches, readings.

Water and body are those of the simulated sea, so that plan and rehearsal cannot disagree.
"""

import math
from collections.abc import Iterator
from functools import lru_cache
from typing import TYPE_CHECKING

from seatrial.hull import Hull
from seatrial.plan.sections import Lander, Latch, Release, Site, Wire
from seatrial.water import WaterColumn

if TYPE_CHECKING:
    from seatrial.plan.whole import Plan

FASTEST_DESCENT_M_S = 1.2  # common practice, no source: small landers sink at 0.5 to 1.2 m/s


@lru_cache(maxsize=4)
def water_of(site: Site) -> WaterColumn:
    """The water column of a site; never changed after it was built, so it may be shared."""
    return WaterColumn(site)


@lru_cache(maxsize=4)
def _hull(site: Site, lander: Lander, with_ballast: bool) -> Hull:
    hull = Hull(site, lander, water_of(site))
    hull.ballast_left = 1.0 if with_ballast else 0.0
    return hull


def gravity_m_s2(site: Site) -> float:
    """Gravity at the site, m/s2 (TEOS-10)."""
    return water_of(site).gravity_m_s2


def weight_in_water_kg(plan: "Plan", depth_m: float, with_ballast: bool) -> float:
    """Mass less the water displaced (Archimedes), kg; positive sinks. Volumes shrink with pressure."""
    return _hull(plan.site, plan.lander, with_ballast).net_force_n(depth_m) / gravity_m_s2(plan.site)


def slowest_place(plan: "Plan", with_ballast: bool) -> tuple[float, float]:
    """Where the lander is least willing to move on: (depth in m, weight in water in kg there).

    With ballast the depth where it weighs least, without ballast where it weighs most. Looked for at the surface,
    at each row of the water and at the seabed.
    """
    depths = {0.0, plan.site.depth_m} | {row.depth_m for row in plan.site.water if row.depth_m < plan.site.depth_m}
    places = [(depth, weight_in_water_kg(plan, depth, with_ballast)) for depth in sorted(depths)]
    return (min if with_ballast else max)(places, key=lambda place: place[1])


def descent_s(plan: "Plan") -> float:
    """Seconds from the surface to the seabed at the steady rate of the slowest depth; infinite if it never sinks."""
    rate_m_s = _slowest_rate_m_s(plan, with_ballast=True)
    return plan.site.depth_m / rate_m_s if rate_m_s > 0 else math.inf


def ascent_s(plan: "Plan") -> float:
    """Seconds from the seabed to the surface at the steady rate of the slowest depth; infinite if it never rises."""
    rate_m_s = _slowest_rate_m_s(plan, with_ballast=False)
    return plan.site.depth_m / -rate_m_s if rate_m_s < 0 else math.inf


def _slowest_rate_m_s(plan: "Plan", with_ballast: bool) -> float:
    depth_m, _weight_kg = slowest_place(plan, with_ballast)
    return _hull(plan.site, plan.lander, with_ballast).terminal_speed_m_s(depth_m)


def channels_of(plan: "Plan") -> Iterator[tuple[str, Wire | Latch, int]]:
    """Each release channel: its section, its model and how many of the planned attempts are its own."""
    # channels alternate and the primary begins, so it has the odd attempt
    attempts = plan.release.attempts_planned
    yield "release.primary", plan.release.primary, (attempts + 1) // 2
    yield "release.backup", plan.release.backup, attempts // 2


def pauses_s(release: Release) -> list[float]:
    """The watch after each planned attempt, s: doubling from pause_s up to pause_max_s."""
    # the cap on the exponent keeps the power small; pause_max_s has long been reached by then
    return [min(release.pause_max_s, release.pause_s * 2 ** min(n, 20)) for n in range(release.attempts_planned)]


def filming_from_min(plan: "Plan") -> float:
    """Minutes after the splash from when there is something to film, reckoned early."""
    # without a filmed descent the camera starts on the bottom, which a fast lander reaches soonest
    return 0.0 if plan.camera.film_descent else plan.site.depth_m / FASTEST_DESCENT_M_S / 60


def planned_readings(plan: "Plan") -> int:
    """How many readings the journal takes if everything lasts as long as the plan allows."""
    times, release, journal = plan.times, plan.release, plan.journal
    descent = min(times.settle_latest_min, times.latest_release_min) * 60
    firing = release.attempts_planned * max(release.primary.fire_s, release.backup.fire_s)
    spans = (
        (plan.dive.on_deck_min * 60 + plan.beacon.hours * 3600, journal.reading_surface_s),
        (times.latest_release_min * 60 - descent, journal.reading_bottom_s),
        (descent + (times.slowest_ascent_min + times.surface_margin_min) * 60, journal.reading_descent_s),
        (firing + sum(pauses_s(release)), min(journal.reading_descent_s, journal.reading_bottom_s)),
    )
    return sum(math.ceil(seconds / interval) for seconds, interval in spans)
