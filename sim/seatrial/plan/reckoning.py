"""What follows from a plan for its motion and its times: weights in water, speeds, watches, readings.

Water and body are those of the simulated sea, so that plan and rehearsal cannot disagree.
"""

import math
from collections.abc import Iterator
from functools import lru_cache
from typing import TYPE_CHECKING

from lander.orders import MISSION_LIMIT_DS
from seatrial.hull import Hull
from seatrial.plan.attempts import planned_attempts
from seatrial.plan.body import Lander
from seatrial.plan.sections import Latch, Release, Site, Wire
from seatrial.water import WaterColumn

if TYPE_CHECKING:
    from seatrial.plan.whole import Plan

LONGEST_PASSAGE_S = MISSION_LIMIT_DS / 10  # as long as the mission counter is trusted
FASTEST_DESCENT_M_S = 1.2  # common practice, no source: small landers sink at 0.5 to 1.2 m/s


@lru_cache(maxsize=16)
def water_of(site: Site) -> WaterColumn:
    """The water column of a site; never changed after it was built, so it may be shared."""
    return WaterColumn(site)


@lru_cache(maxsize=16)
def _hull(site: Site, lander: Lander, with_ballast: bool) -> Hull:
    hull = Hull(site, lander, water_of(site))
    hull.ballast_left = 1.0 if with_ballast else 0.0
    return hull


def hull_of(plan: "Plan", with_ballast: bool) -> Hull:
    """A hull of this plan's lander at rest at the surface, in the water, for the caller to move."""
    hull = Hull(plan.site, plan.lander, water_of(plan.site))
    hull.ballast_left = 1.0 if with_ballast else 0.0
    start_at(hull, 0.0)
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
    """Seconds from the splash to the seabed in calm water, as the simulated hull falls; infinite if it never sinks."""
    return _passage_s(plan.site, plan.lander, True) if slowest_place(plan, with_ballast=True)[1] > 0 else math.inf


def ascent_s(plan: "Plan") -> float:
    """Seconds from the seabed to the surface without ballast and mud; infinite if it never rises."""
    return _passage_s(plan.site, plan.lander, False) if slowest_place(plan, with_ballast=False)[1] < 0 else math.inf


@lru_cache(maxsize=64)
def _passage_s(site: Site, lander: Lander, down: bool) -> float:
    hull = _hull(site, lander, down)
    start_at(hull, 0.0 if down else site.depth_m)
    return hull.advance(LONGEST_PASSAGE_S)


def start_at(hull: Hull, depth_m: float) -> None:
    """Put a hull at rest in the water at a depth, free of the bottom, with no drift behind it."""
    hull.in_water, hull.on_bottom, hull.caught = True, False, False
    hull.depth_m, hull.speed_m_s, hull.east_m, hull.north_m = depth_m, 0.0, 0.0, 0.0


def channels_of(plan: "Plan") -> Iterator[tuple[str, Wire | Latch, int]]:
    """Each release channel: its section, its model and how many of the planned attempts are its own."""
    # channels alternate and the primary begins, so it has the odd attempt
    attempts = plan.release.attempts_planned
    yield "release.primary", plan.release.primary, (attempts + 1) // 2
    yield "release.backup", plan.release.backup, attempts // 2


def watches_s(release: Release) -> float:
    """The watches for a rise after all planned attempts together, s."""
    return sum(attempt.watch_s for attempt in planned_attempts(release))


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
        (firing + watches_s(release), min(journal.reading_descent_s, journal.reading_bottom_s)),
    )
    return sum(math.ceil(seconds / interval) for seconds, interval in spans)
