"""Heat: how warm the camera gets on deck in the sun, on the way down and on the seabed, with its fan and without.

The two lumps of the simulated sea (`seatrial.heat`) with the powers that the simulation makes, the fan driven as the
firmware drives it: by the camera's own temperature, in the water and while it films.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

from seatrial.heat import seconds_to_limit, steady
from seatrial.plan import Plan
from seatrial.plan.wording import up
from seatrial.workings.chapter import Chapter, Column, Figure, Table
from seatrial.workings.enclosure import Enclosure, enclosure
from seatrial.workings.overheating import faults, filmed_min
from seatrial.workings.temperatures import (
    AFLOAT,
    DECK,
    DESCENT,
    SEABED,
    Course,
    course,
    lamps_mean_w,
    sun_taken_w,
    water_c,
)

FAR_OFF = 3.0  # a conductance further than this from what the handbook gives is worth a second look


@dataclass(frozen=True)
class Warmth:
    """How warm it gets; None: the lander never comes there, or it never takes that long."""

    sun_w: float
    lamps_w: float
    deck_end_c: float  # steady in the sun with everything off
    splash_c: float
    deck_mistake_s: float | None  # to the limit when it is left recording on deck from the start
    seabed_c: float
    still_c: float  # steady on the seabed, the fan off
    fan_c: float  # and on
    still_s: float | None  # to the limit from the touchdown on
    fan_s: float | None
    driven: Course
    fanless: Course
    enclosure: Enclosure | None


@lru_cache(maxsize=16)
def warmth(plan: Plan) -> Warmth:
    """How warm camera and housing of a plan get, whatever its keys make of it."""
    heat, site, limit_c = plan.heat, plan.site, plan.camera.hot_c
    shone_w, lamps_w = sun_taken_w(plan), lamps_mean_w(plan)
    seabed_c, power_w = water_c(plan, SEABED), heat.camera_recording_w
    bottom = (seabed_c, True, power_w, lamps_w)
    driven = course(plan, (plan.fan.on_c, plan.fan.off_c))
    touch = driven.at_end_of(DESCENT)
    air_c = site.air_temperature_c
    return Warmth(
        sun_w=shone_w,
        lamps_w=lamps_w,
        deck_end_c=steady(heat, air_c, False, 0.0, shone_w, False)[0],
        splash_c=driven.at_end_of(DECK)[0],
        deck_mistake_s=_finite(seconds_to_limit(heat, limit_c, air_c, air_c, air_c, False, power_w, shone_w, False)),
        seabed_c=seabed_c,
        still_c=steady(heat, *bottom, False)[0],
        fan_c=steady(heat, *bottom, True)[0],
        still_s=touch and _finite(seconds_to_limit(heat, limit_c, *touch, *bottom, False)),
        fan_s=touch and _finite(seconds_to_limit(heat, limit_c, *touch, *bottom, True)),
        driven=driven,
        fanless=course(plan, None),
        enclosure=enclosure(plan),
    )


def _finite(seconds: float) -> float | None:
    return seconds if math.isfinite(seconds) else None


# --- in words ---------------------------------------------------------------------------------------------------------


def chapter(plan: Plan) -> Chapter:
    """The heat of a plan in words and curves."""
    worked = warmth(plan)
    return Chapter(
        "warmth", "Heat",
        figures=(*_deck_figures(worked), *_seabed_figures(plan, worked), *_dive_figures(worked),
                 *_handbook_figures(worked)),
        tables=(_place_table(worked),),
        series={"time_min": worked.driven.time_min, "camera_c": worked.driven.camera_c,
                "housing_c": worked.driven.housing_c, "no_fan_min": worked.fanless.time_min,
                "no_fan_camera_c": worked.fanless.camera_c},
        faults=tuple(faults(plan, worked.driven)),
        cautions=tuple(_cautions(plan, worked)),
        sources=(
            "two lumps of heat with an exact solution: Incropera, Fundamentals of Heat and Mass Transfer, chapter 5",
            "films on a cylinder: Churchill and Chu 1975 in still water and air, Churchill and Bernstein 1977 in a"
            " current",
        ),
        limits=(
            "camera and housing are one temperature each: a hot spot inside the camera is not seen; measure the one in"
            " its own mount on the bench, for as long as it will film",
            "the heat of controller and fan is not counted, nor that the controller puts the camera off at its limit",
            "the lamps' heat is taken evenly over their turns",
        ),
    )


def _deck_figures(worked: Warmth) -> Iterator[Figure]:
    yield Figure("sun_w", "sun taken up on deck", worked.sun_w, "W")
    yield Figure("deck_end_c", "on deck in the sun in the end", worked.deck_end_c, "degC", 1, "everything off")
    yield Figure("splash_c", "camera at the splash", worked.splash_c, "degC")
    yield Figure("deck_mistake_min", "left recording on deck: minutes to the limit", _minutes(worked.deck_mistake_s),
                 "min", 0, "in the sun, no fan")


def _seabed_figures(plan: Plan, worked: Warmth) -> Iterator[Figure]:
    yield Figure("lamps_w", "heat of the lamps inside", worked.lamps_w, "W")
    yield Figure("still_c", "filming on the seabed in the end, fan off", worked.still_c, "degC", 1,
                 f"limit {plan.camera.hot_c:g} degC")
    yield Figure("still_min", "minutes to the limit, fan off", _minutes(worked.still_s), "min", 0,
                 "from the touchdown")
    yield Figure("fan_c", "filming on the seabed in the end, fan on", worked.fan_c, "degC", 1, leading=True)
    yield Figure("fan_min", "minutes to the limit, fan on", _minutes(worked.fan_s), "min", 0)


def _dive_figures(worked: Warmth) -> Iterator[Figure]:
    hottest_c, minute = worked.driven.hottest()
    yield Figure("hottest_c", "hottest camera over the dive", hottest_c, "degC", 1,
                 f"{worked.driven.place_at(minute)}, minute {minute:.0f}", leading=True)
    fanless_c, _minute = worked.fanless.hottest()
    yield Figure("no_fan_hottest_c", "hottest if the fan never ran", fanless_c, "degC")
    afloat = AFLOAT in dict(worked.driven.places)
    yield Figure("afloat_c", "camera an hour after surfacing", worked.driven.camera_c[-1] if afloat else None, "degC")


def _handbook_figures(worked: Warmth) -> Iterator[Figure]:
    tube = worked.enclosure
    if tube is None:
        return
    yield Figure("water_still_w_k", "housing to water by the handbook, still", tube.water_still_w_k, "W/K", 1,
                 f"the mantle of {tube.name}, without its ends")
    yield Figure("water_current_w_k", "housing to water, in the current at the seabed", tube.water_current_w_k, "W/K")
    yield Figure("air_w_k", "housing to air by the handbook, calm", tube.air_w_k, "W/K", 1, "radiation counted")


def _place_table(worked: Warmth) -> Table:
    columns = (Column("place", "where"), Column("hottest_c", "hottest camera, degC", 1),
               Column("no_fan_c", "without the fan, degC", 1))
    rows = []
    for place, _ends in worked.driven.places:
        hottest, fanless = worked.driven.hottest(place), worked.fanless.hottest(place)
        rows.append((place, hottest and hottest[0], fanless and fanless[0]))
    return Table("places", "The camera in each part of the dive, the fan driven by the controller", columns,
                 tuple(rows))


def _minutes(seconds: float | None) -> float | None:
    return None if seconds is None else seconds / 60


def _cautions(plan: Plan, worked: Warmth) -> Iterator[str]:
    heat, limit_c = plan.heat, plan.camera.hot_c
    fanless = worked.fanless.passes(limit_c)
    if fanless is not None and worked.driven.passes(limit_c) is None:
        place, minute = fanless
        yield (f"without its fan the camera would pass camera.hot_c ({limit_c:g}) {place} after"
               f" {filmed_min(plan, minute)} min of film: the film hangs on the fan alone")
    on_deck_s = worked.deck_mistake_s
    if on_deck_s is not None and on_deck_s <= plan.dive.on_deck_min * 60:
        yield (f"a camera left recording on deck would pass camera.hot_c ({limit_c:g}) after {up(on_deck_s / 60)} min,"
               f" sooner than the splash: dive.on_deck_min is {plan.dive.on_deck_min:g}; see that it is off")
    if plan.site.sun_w_m2 and not heat.sunlit_area_m2:
        yield ("heat.sunlit_area_m2 is 0: the sun on deck was not worked out; give the area of the housing that it"
               " shines on")
    yield from _handbook_cautions(plan, worked.enclosure)


def _handbook_cautions(plan: Plan, tube: Enclosure | None) -> Iterator[str]:
    if tube is None:
        yield ("lander.shells has no tube of a material whose heat conduction is known: heat.housing_to_water_w_k and"
               " heat.housing_to_air_w_k were not compared with the handbook; give the camera's tube")
        return
    for key, given, low, high in (
        ("heat.housing_to_water_w_k", plan.heat.housing_to_water_w_k, tube.water_still_w_k, tube.water_current_w_k),
        ("heat.housing_to_air_w_k", plan.heat.housing_to_air_w_k, tube.air_w_k, tube.air_w_k),
    ):
        low, high = min(low, high), max(low, high)
        if not low / FAR_OFF <= given <= high * FAR_OFF:
            span = f"{low:.2g}" if high < 1.1 * low else f"{low:.2g} to {high:.2g}"
            effect = "cooler" if given > high else "warmer"
            yield (f"{key} is {given:g}; for {tube.name} the handbook gives {span} W/K: the camera is reckoned"
                   f" {effect} than that; measure it, or see that the tube is the camera's")
