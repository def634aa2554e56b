"""A camera that gets too hot: one sentence for the first place where it does, with the cause and what would do."""

import math
from collections.abc import Iterator

from seatrial.heat import steady
from seatrial.plan import Plan
from seatrial.plan.reckoning import descent_s
from seatrial.plan.wording import up
from seatrial.workings.temperatures import DECK, DESCENT, SEABED, Course, course, lamps_mean_w, water_c

SHADES = 100  # steps in which a share of the sun is looked for


def faults(plan: Plan, driven: Course) -> Iterator[str]:
    """The sentence, if the camera passes `camera.hot_c` with the fan as the controller drives it."""
    found = driven.passes(plan.camera.hot_c)
    if found is None:
        return
    place, minute = found
    yield _cause(plan, place)(plan, driven, place, minute)


def _cause(plan: Plan, place: str):
    """What made it too hot: how to say it."""
    limit_c = plan.camera.hot_c
    films = place == SEABED or (place == DESCENT and plan.camera.film_descent)
    if not films or water_c(plan, place) >= limit_c:
        return _warmed_on_deck if place == DECK and plan.site.air_temperature_c < limit_c else _warm_all_around
    if plan.fan.on_c >= limit_c:
        return _fan_too_late
    return _warmed_on_deck if _ends(plan, place)[0] < limit_c else _fan_too_weak


def _ends(plan: Plan, place: str) -> tuple[float, float]:
    """Where camera and housing end while filming there with the fan on, degC."""
    return steady(plan.heat, water_c(plan, place), True, plan.heat.camera_recording_w, _lamps_w(plan, place), True)


def _lamps_w(plan: Plan, place: str) -> float:
    return lamps_mean_w(plan) if place == SEABED else 0.0


def _warm_all_around(plan: Plan, _driven: Course, place: str, _minute: float) -> str:
    return (f"camera.hot_c is {plan.camera.hot_c:g}; the camera reaches that {place} with everything off, from air and"
            " water alone: take one that stands more, or another season")


def _warmed_on_deck(plan: Plan, driven: Course, place: str, minute: float) -> str:
    limit_c, site, (splash_c, _housing_c) = plan.camera.hot_c, plan.site, driven.at_end_of(DECK)
    warmed = f"the camera, everything off, is at {splash_c:.1f} degC at the splash and" if place != DECK else \
        "the camera, everything off,"
    moment = f"{place} after {filmed_min(plan, minute)} min of film" if place != DECK else \
        f"after {up(minute + plan.dive.on_deck_min)} min"
    return (f"site.sun_w_m2 is {site.sun_w_m2:g}; on deck at {site.air_temperature_c:g} degC {warmed} passes"
            f" camera.hot_c ({limit_c:g}) {moment}: {_shade(plan)}")


def _shade(plan: Plan) -> str:
    """The largest share of the sun with which the camera stays below its limit, found by trying."""
    def stays_cool(percent: int) -> bool:
        heat = plan.heat.model_copy(update={"sun_absorbed_fraction": percent / SHADES})
        shaded = plan.model_copy(update={"heat": heat})
        return course(shaded, (plan.fan.on_c, plan.fan.off_c)).passes(plan.camera.hot_c) is None
    low, high = 0, SHADES
    if not stays_cool(low):
        return "keep it in the cool until the splash, or arm it later"
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if stays_cool(middle) else (low, middle)
    return f"shade it, or paint it so that heat.sun_absorbed_fraction is at most {low / SHADES:.2f}"


def _fan_too_late(plan: Plan, _driven: Course, place: str, minute: float) -> str:
    limit_c = plan.camera.hot_c
    return (f"fan.on_c is {plan.fan.on_c:g}; the controller puts the camera off at camera.hot_c ({limit_c:g}), which it"
            f" reaches {place} after {filmed_min(plan, minute)} min of film, before the fan starts: set less than"
            f" {limit_c:g}")


def _fan_too_weak(plan: Plan, _driven: Course, place: str, minute: float) -> str:
    heat, limit_c, (ends_c, _housing_c) = plan.heat, plan.camera.hot_c, _ends(plan, place)
    key, better_w_k = _better_path(plan, place)
    allowed_w = math.floor(10 * _allowed_w(plan, place)) / 10
    ways = [f"raise it to at least {up(better_w_k, 2)} W/K"] if better_w_k is not None else []
    ways.append(f"choose a camera of at most {allowed_w:.1f} W" if allowed_w > 0 else "keep the lamps' heat out of it")
    return (f"{key} is {plan.value(key):g}; recording at {heat.camera_recording_w:g} W {place} the camera is on its way"
            f" to {ends_c:.1f} degC with the fan on and passes camera.hot_c ({limit_c:g}) after"
            f" {filmed_min(plan, minute)} min of film: {', or '.join(ways)}")


def filmed_min(plan: Plan, minute: float) -> str:
    """How long the camera has been filming at a minute after the splash, in whole minutes for a sentence."""
    begins = 0.0 if plan.camera.film_descent else descent_s(plan) / 60
    return up(max(0.0, minute - begins))


def _allowed_w(plan: Plan, place: str) -> float:
    """The camera's power that just keeps the limit with the fan on, W: both steps of temperature are in series."""
    heat = plan.heat
    across_k_w = 1 / heat.camera_to_housing_fan_w_k + 1 / heat.housing_to_water_w_k
    spare_k = plan.camera.hot_c - water_c(plan, place)
    return (spare_k - _lamps_w(plan, place) / heat.housing_to_water_w_k) / across_k_w


def _better_path(plan: Plan, place: str) -> tuple[str, float | None]:
    """Which of the two conductances to raise and to what, W/K; None when that alone would not do."""
    heat, limit_c, (_ends_c, housing_c) = plan.heat, plan.camera.hot_c, _ends(plan, place)
    power_w = heat.camera_recording_w
    if housing_c < limit_c:
        return "heat.camera_to_housing_fan_w_k", power_w / (limit_c - housing_c)
    outer_k = limit_c - water_c(plan, place) - power_w / heat.camera_to_housing_fan_w_k
    return "heat.housing_to_water_w_k", (power_w + _lamps_w(plan, place)) / outer_k if outer_k > 0 else None
