"""The dive as a course of temperatures: camera and housing from arming until an hour after the lander has surfaced.

The two lumps of the simulated sea (`seatrial.heat`) with the powers that the simulation makes; the release as late as
it may be, and the camera not put off at its limit, so that a course says how far it would go.
"""

import math
from bisect import bisect_left
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from seatrial.handbook.convection import sun_w
from seatrial.heat import Stage, warming
from seatrial.plan import Plan
from seatrial.plan.reckoning import ascent_s, descent_s, hull_of, start_at, water_of
from seatrial.world import lamps_in_housing_w

AFLOAT_S = 3600.0
PASSAGE_POINTS = 60
ROUNDING_MIN = 1e-6  # within which two moments are the same

DECK, DESCENT, SEABED, ASCENT, AFLOAT = "on deck", "in the descent", "on the seabed", "in the ascent", "afloat"


@dataclass(frozen=True)
class Course:
    """Temperatures over the dive, sampled; `time_min` from the splash, and negative on deck."""

    time_min: tuple[float, ...]
    camera_c: tuple[float, ...]
    housing_c: tuple[float, ...]
    places: tuple[tuple[str, float], ...]  # each part of the dive with the minute at which it ends

    def place_at(self, minute: float) -> str:
        """The part of the dive that a minute belongs to."""
        ends = [end for _place, end in self.places]
        return self.places[min(bisect_left(ends, minute - ROUNDING_MIN), len(ends) - 1)][0]

    def at_end_of(self, place: str) -> tuple[float, float] | None:
        """Temperatures of camera and housing at the end of a part of the dive, degC; None: there is no such part."""
        ends = dict(self.places)
        if place not in ends:
            return None
        nearest = min(bisect_left(self.time_min, ends[place] - ROUNDING_MIN), len(self.time_min) - 1)
        return self.camera_c[nearest], self.housing_c[nearest]

    def hottest(self, place: str | None = None) -> tuple[float, float] | None:
        """The highest temperature of the camera, degC, and its minute, in a part of the dive or in all of it."""
        moments = [(camera, -minute) for minute, camera in zip(self.time_min, self.camera_c, strict=True)
                   if place is None or self.place_at(minute) == place]
        return (max(moments)[0], -max(moments)[1]) if moments else None

    def passes(self, limit_c: float) -> tuple[str, float] | None:
        """Where and at which minute the camera first reaches a temperature; None when it never does."""
        before_min, before_c = self.time_min[0], self.camera_c[0]
        for minute, camera in zip(self.time_min, self.camera_c, strict=True):
            if camera >= limit_c:
                part = (limit_c - before_c) / (camera - before_c) if camera > before_c else 1.0
                return self.place_at(minute), before_min + max(0.0, part) * (minute - before_min)
            before_min, before_c = minute, camera
        return None


def sun_taken_w(plan: Plan) -> float:
    """Heat that the sun on deck leaves in the housing, W."""
    return sun_w(plan.site.sun_w_m2, plan.heat.sunlit_area_m2, plan.heat.sun_absorbed_fraction)


def lamps_mean_w(plan: Plan) -> float:
    """Heat that the lamps leave in the housing while filming, W, evenly over their turns."""
    return lamps_in_housing_w(plan, plan.lights.level_pct) * plan.lights.duty_fraction()


def course(plan: Plan, fan: tuple[float, float] | None) -> Course:
    """The dive as far as the lander gets, its fan driven between two temperatures (on_c, off_c) or, with None, off."""
    stages = list(_stages(plan, fan))
    times_s, camera_c, housing_c = warming(plan.heat, [stage for _place, stage in stages], plan.site.air_temperature_c)
    deck_min, ends_s, places = plan.dive.on_deck_min, 0.0, []
    for place, stage in stages:
        ends_s += stage.seconds
        places.append((place, ends_s / 60 - deck_min))
    return Course(tuple(second / 60 - deck_min for second in times_s), tuple(camera_c), tuple(housing_c), tuple(places))


def _stages(plan: Plan, fan: tuple[float, float] | None) -> Iterator[tuple[str, Stage]]:
    site, heat, camera = plan.site, plan.heat, plan.camera
    yield DECK, Stage(plan.dive.on_deck_min * 60, site.air_temperature_c, False, 0.0, sun_taken_w(plan), None)
    sinks_s, rises_s = descent_s(plan), ascent_s(plan)
    if not math.isfinite(sinks_s):
        return
    films = camera.film_descent
    yield DESCENT, Stage(sinks_s, _outside(plan, True), True, heat.camera_recording_w if films else 0.0, 0.0,
                         fan if films else None)
    bottom_s = max(0.0, max(plan.times.timed_release_min, plan.times.latest_release_min) * 60 - sinks_s)
    yield SEABED, Stage(bottom_s, water_of(site).temperature_at(site.depth_m), True, heat.camera_recording_w,
                        lamps_mean_w(plan), fan)
    if not math.isfinite(rises_s):
        return
    yield ASCENT, Stage(rises_s, _outside(plan, False), True, 0.0, 0.0, None)
    yield AFLOAT, Stage(AFLOAT_S, water_of(site).temperature_at(0.0), True, 0.0, 0.0, None)


def _outside(plan: Plan, down: bool) -> Callable[[float], float]:
    """The temperature of the water around the lander so many seconds into its descent or ascent."""
    hull, water = hull_of(plan, with_ballast=down), water_of(plan.site)
    if not down:
        start_at(hull, plan.site.depth_m)
    passage_s = descent_s(plan) if down else ascent_s(plan)
    step_s = passage_s / PASSAGE_POINTS
    temperatures_c = [water.temperature_at(hull.depth_m)]
    for _ in range(PASSAGE_POINTS):
        hull.advance(step_s)
        temperatures_c.append(water.temperature_at(hull.depth_m))
    return lambda second: temperatures_c[min(PASSAGE_POINTS, max(0, round(second / step_s)))]


def water_c(plan: Plan, place: str) -> float:
    """The temperature of the water at the seabed, or the warmest on the way there, degC."""
    if place == SEABED:
        return water_of(plan.site).temperature_at(plan.site.depth_m)
    return max(row.temperature_c for row in plan.site.water)
