"""What a handbook makes of the camera's tube: how much heat it lets into the water and the air for each degree."""

from dataclasses import dataclass
from functools import lru_cache
from math import hypot

from seatrial.handbook.convection import (
    CONDUCTIVITY_W_MK,
    current_w_m2k,
    cylinder_w_m2k,
    housing_w_k,
    radiation_w_m2k,
)
from seatrial.heat import steady
from seatrial.plan import Plan
from seatrial.plan.body import Shell
from seatrial.plan.reckoning import water_of

PAINTED = 0.9  # emissivity of paint, plastic and hard-anodised metal; handbooks, from memory
LEAST_K = 0.1  # a film needs some difference of temperature to flow at all
WATER_C, AIR_C = (-2.0, 40.0), (-23.0, 77.0)  # as far as the properties are known


@dataclass(frozen=True)
class Enclosure:
    """Conductances of the mantle of a tube, W/K, wall and outer film in series; its ends are left out."""

    name: str
    water_still_w_k: float
    water_current_w_k: float
    air_w_k: float


@lru_cache(maxsize=16)
def enclosure(plan: Plan) -> Enclosure | None:
    """The handbook's conductances of the camera's tube, at the temperatures of this plan; None without a tube."""
    tube = camera_tube(plan)
    if tube is None or tube.material not in CONDUCTIVITY_W_MK:
        return None
    site, water = plan.site, water_of(plan.site)
    diameter_m, speed_m_s = tube.outer_diameter_mm / 1000, hypot(*water.current_at(site.depth_m))
    wet = ("seawater", diameter_m, *_film_c(plan, water.temperature_at(site.depth_m), True))
    dry = ("air", diameter_m, *_film_c(plan, site.air_temperature_c, False))
    still = cylinder_w_m2k(*wet)
    flow = max(still, current_w_m2k(*wet, speed_m_s))
    calm = cylinder_w_m2k(*dry) + radiation_w_m2k(PAINTED, *dry[2:])
    return Enclosure(tube.name, *(_through(tube, film_w_m2k) for film_w_m2k in (still, flow, calm)))


def camera_tube(plan: Plan) -> Shell | None:
    """The tube that is named for the camera; the first tube where none is."""
    tubes = [shell for shell in plan.lander.shells if shell.form == "tube"]
    return next((tube for tube in tubes if "camera" in tube.name.lower()), tubes[0] if tubes else None)


def _film_c(plan: Plan, outside_c: float, in_water: bool) -> tuple[float, float]:
    """Temperatures of the wall of a filming camera's housing and of what is around it, as far as the tables reach."""
    coldest_c, warmest_c = WATER_C if in_water else AIR_C
    outside_c = min(max(outside_c, coldest_c), warmest_c - LEAST_K)
    _camera_c, housing_c = steady(plan.heat, outside_c, in_water, plan.heat.camera_recording_w, 0.0, True)
    return min(max(housing_c, outside_c + LEAST_K), warmest_c), outside_c


def _through(tube: Shell, film_w_m2k: float) -> float:
    inner_mm = tube.outer_diameter_mm - 2 * tube.wall_mm
    return housing_w_k(None, inner_mm, tube.outer_diameter_mm, tube.length_mm or 0.0,
                       CONDUCTIVITY_W_MK[tube.material], film_w_m2k)
