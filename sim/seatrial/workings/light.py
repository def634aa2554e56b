"""Light: what the lamps of a plan throw on the seabed, how far it reaches, and where the camera would see nothing.

Bearings count from the mark on the frame, as in the plan: the lander turns as it sinks, and nobody knows how it lands.
Lamps that take turns are taken while they are on.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import lru_cache
from math import ceil, floor

import numpy as np

from seatrial.handbook import lamplight
from seatrial.handbook.lamplight import BEARINGS_DEG, CLARITY, Array, Lamp, Sector
from seatrial.plan import Plan
from seatrial.plan.sections import Lights, Ring, View
from seatrial.plan.wording import up
from seatrial.workings.chapter import Chapter, Column, Figure, Table

LAMPS_COMPARED = range(1, 9)
LAMPS_TRIED = range(1, 13)  # common practice, no source: more do not fit around a small lander
ANGLE_STEP_DEG = 5  # no bracket holds an angle more closely; common practice, no source
WIDEST_BEAM_DEG = 175
DISTANCES_TRIED = 40
REMEDIES_TOLD = 3
SECTORS_TOLD = 6
PICTURE_BEARINGS_DEG = np.arange(0.0, 361.0, 2.0)  # closed, so that a picture joins up
PICTURE_DISTANCES_M = (0.5, 1.0, 1.5, 2.0, 3.0)
COARSE_DEG = BEARINGS_DEG[::10]
FARTHEST_M = 50.0  # as far as a view may be asked for
REACH_POINTS = 400
FLANK_HEIGHT_SHARE = 0.5  # of the lamps' height: where something that swims by is looked at

SOURCES = (
    "Inverse square and cosine law: the SI definitions of candela, lumen and lux.",
    "Refraction at the window and what it reflects: Snell and Fresnel, Hecht, Optics, chapter 4, from memory.",
    "Attenuation by the law of Beer and Lambert; clear, coastal and turbid water as measured by Petzold (1972), in "
    "Mobley, Light and Water (1994), from memory.",
    "Evenness is the least by the mean illuminance, as EN 12464-1 has it, from memory.",
)
LIMITS = (
    "Light that the water scatters counts as lost, and none comes back from the seabed: the least that arrives. The "
    "veil that scattered light lays before the camera (backscatter) is not worked out, and in turbid water it is what "
    "ends the view.",
    "A lamp is a point with a smooth beam: nearer than about five times its width the numbers are too high, and a lamp "
    "with a measured polar curve may have shoulders or side lobes.",
    "Of the lander only its middle throws a shadow, as a pillar as high as the lamps; legs, mast and ballast do not.",
    "One attenuation stands for all colours, while the sea takes red first; the seabed is taken as flat and level.",
)


@dataclass(frozen=True)
class Light:
    """What the lamps do at the distance of the view; None where there is nothing to work it out from.

    `beam_in_water_deg` is the full angle behind the window; `best_lx`, `worst_lx` and `evenness` (least by mean) are
    of the seabed within the view, `worst_flank_lx` of an upright face that looks at the lander, at half the height of
    the lamps. `blind` are the sectors of the view that are darker than asked, `blind_view_deg` their width together,
    `blind_circle_deg` the width of all such sectors round the lander.
    """

    beam_in_water_deg: float | None = None
    best_lx: float | None = None
    worst_lx: float | None = None
    evenness: float | None = None
    worst_flank_lx: float | None = None
    blind: tuple[Sector, ...] = ()
    blind_view_deg: float | None = None
    blind_circle_deg: float | None = None


@lru_cache(maxsize=16)
def light(plan: Plan) -> Light:
    """The light of a plan; empty of what cannot be worked out."""
    ring, view = plan.lights.ring, plan.camera.view
    if ring is None:
        return Light()
    beam_deg = lamplight.beam_in_water_deg(ring.beam_deg, ring.window)
    if view is None or _is_dark(plan.lights) or _misplaced(plan):
        return Light(beam_in_water_deg=beam_deg)
    lamps = lamps_of(plan)
    circle_lx = _seabed_lx(plan, lamps, BEARINGS_DEG)
    within_lx = _within(view, BEARINGS_DEG, circle_lx)
    flank_lx = _within(view, BEARINGS_DEG, _flank_lx(plan, lamps, BEARINGS_DEG))
    blind = tuple(lamplight.sectors_below(BEARINGS_DEG, circle_lx, view.least_lx, (view.toward_deg, view.width_deg)))
    around = lamplight.sectors_below(BEARINGS_DEG, circle_lx, view.least_lx)
    mean_lx = float(within_lx.mean())
    return Light(
        beam_in_water_deg=beam_deg,
        best_lx=float(within_lx.max()),
        worst_lx=float(within_lx.min()),
        evenness=float(within_lx.min()) / mean_lx if mean_lx > 0.0 else None,
        worst_flank_lx=float(flank_lx.min()),
        blind=blind,
        blind_view_deg=_width_deg(blind),
        blind_circle_deg=_width_deg(around),
    )


def lamps_of(plan: Plan) -> tuple[Lamp, ...]:
    """The lamps of a plan at the level they burn at; none where there are none or where [lights.ring] is absent."""
    lights, ring = plan.lights, plan.lights.ring
    if ring is None or lights.count == 0:
        return ()
    if ring.bearings_deg is None:
        return _evenly(lights, ring, lights.count)
    return lamplight.lamps_at(ring.bearings_deg, **_alike(lights, ring))


def chapter(plan: Plan) -> Chapter:
    """The light of a plan in words, tables and what a polar picture is drawn from."""
    found = light(plan)
    drawn = _can_be_drawn(plan)
    viewed = drawn and plan.camera.view is not None
    return Chapter(
        key="light",
        title="Light",
        figures=tuple(_figures(plan, found)),
        tables=(_reach_table(plan), _lamps_table(plan)) if viewed else (),
        series=_series(plan) if drawn else {},
        faults=tuple(_faults(plan, found)),
        dangers=("Lamps this bright hurt eyes, and overheat in air: cover them on the bench, a few seconds at most.",),
        cautions=tuple(_cautions(plan)),
        sources=SOURCES,
        limits=LIMITS,
    )


# Lamps and what they light


def _alike(lights: Lights, ring: Ring) -> dict[str, float | str | None]:
    """All of a lamp but its bearing."""
    return {
        "radius_m": ring.radius_m, "height_m": ring.height_m, "tilt_deg": ring.tilt_deg,
        "flux_lm": ring.flux_lm * lights.level_pct / 100.0, "beam_deg": ring.beam_deg, "hood_deg": ring.hood_deg,
        "window": ring.window,
    }


def _evenly(lights: Lights, ring: Ring, count: int) -> tuple[Lamp, ...]:
    return lamplight.ring(count, ring.first_bearing_deg, **_alike(lights, ring))


def _is_dark(lights: Lights) -> bool:
    return lights.count == 0 or lights.level_pct == 0


def _can_be_drawn(plan: Plan) -> bool:
    return plan.lights.ring is not None and not _is_dark(plan.lights) and not _misplaced(plan)


def _seabed_lx(plan: Plan, lamps: tuple[Lamp, ...], bearings_deg: Array, distance_m: float | None = None) -> Array:
    """On the seabed, at the distance of the view or another."""
    distance_m = plan.camera.view.distance_m if distance_m is None else distance_m
    return lamplight.seabed_lux(
        lamps, bearings_deg, distance_m, plan.site.attenuation_per_m, plan.lights.ring.body_radius_m)


def _flank_lx(plan: Plan, lamps: tuple[Lamp, ...], bearings_deg: Array) -> Array:
    ring = plan.lights.ring
    return lamplight.water_lux(lamps, bearings_deg, plan.camera.view.distance_m, FLANK_HEIGHT_SHARE * ring.height_m,
                               plan.site.attenuation_per_m, ring.body_radius_m)


def _within(view: View, bearings_deg: Array, lux: Array) -> Array:
    """The illuminances in the view, its two edges among them, read between the samples as sectors are."""
    half_deg = 0.5 * min(view.width_deg, 360.0)
    off_deg = (bearings_deg - view.toward_deg + 180.0) % 360.0 - 180.0
    edges_lx = np.interp([view.toward_deg - half_deg, view.toward_deg + half_deg], bearings_deg, lux, period=360.0)
    return np.concatenate((lux[np.abs(off_deg) < half_deg], edges_lx))


def _width_deg(sectors: tuple[Sector, ...] | list[Sector]) -> float:
    return float(sum(sector.width_deg for sector in sectors))


def _shows_all(plan: Plan, lamps: tuple[Lamp, ...], distance_m: float | None = None) -> bool:
    """Whether nothing in the view is darker than asked. A coarse look first: most trials fail there."""
    view = plan.camera.view
    return all(
        _within(view, bearings_deg, _seabed_lx(plan, lamps, bearings_deg, distance_m)).min() >= view.least_lx
        for bearings_deg in (COARSE_DEG, BEARINGS_DEG))


def _reach_m(plan: Plan, lamps: tuple[Lamp, ...], attenuation_per_m: float) -> float | None:
    """The farthest distance in the middle of the view at which the seabed is still lit as asked; None where nowhere."""
    view, ring = plan.camera.view, plan.lights.ring

    def farthest(distances_m: Array) -> int | None:
        lux = lamplight.seabed_lux(lamps, view.toward_deg, distances_m, attenuation_per_m, ring.body_radius_m)
        enough = np.flatnonzero(lux >= view.least_lx)
        return int(enough[-1]) if enough.size else None

    distances_m = np.geomspace(max(ring.body_radius_m, 0.02), FARTHEST_M, REACH_POINTS)
    for _ in range(2):  # once over all of it, once between the two points where the light gives out
        last = farthest(distances_m)
        if last is None or last + 1 == distances_m.size:
            break
        distances_m = np.linspace(distances_m[last], distances_m[last + 1], REACH_POINTS)
    return None if last is None else float(distances_m[last])


# What does not add up


def _misplaced(plan: Plan) -> str:
    """What keeps the lamps from being worked out, in a sentence; empty when nothing does."""
    lights, ring, view = plan.lights, plan.lights.ring, plan.camera.view
    if ring is None or _is_dark(lights):
        return ""
    if ring.bearings_deg is not None and len(ring.bearings_deg) != lights.count:
        named = len(ring.bearings_deg)
        return (f"lights.count is {lights.count}; lights.ring.bearings_deg places {named} of them: set lights.count ="
                f" {named}, give {lights.count} bearings, or leave the bearings out for lamps evenly around")
    if ring.radius_m < ring.body_radius_m:
        return (f"lights.ring.radius_m is {ring.radius_m:g}; the lander's middle reaches to lights.ring.body_radius_m,"
                f" {ring.body_radius_m:g} m, so the lamps would sit inside it: mount them at {ring.body_radius_m:g} m"
                " or more, or give a smaller body")
    if view is not None and view.distance_m <= ring.body_radius_m:
        return (f"camera.view.distance_m is {view.distance_m:g}; the lander's middle reaches to"
                f" lights.ring.body_radius_m, {ring.body_radius_m:g} m, and no light falls there: look at more than"
                f" {ring.body_radius_m:g} m")
    return ""


def _faults(plan: Plan, found: Light) -> Iterator[str]:
    misplaced = _misplaced(plan)
    if misplaced:
        yield misplaced
    elif found.blind:
        yield _blind_sentence(plan, found)


def _blind_sentence(plan: Plan, found: Light) -> str:
    lights, ring, view = plan.lights, plan.lights.ring, plan.camera.view
    head = f"lights.count is {lights.count}, evenly around"
    if ring.bearings_deg is not None:
        head = f"lights.ring.bearings_deg is {_listed(ring.bearings_deg)}"
    dark = [f"from {_angle(sector.from_deg)} to {_angle(sector.to_deg)} deg (down to {_down(sector.darkest_lux)} lx)"
            for sector in found.blind[:SECTORS_TOLD]]
    if len(found.blind) > SECTORS_TOLD:
        dark.append(f"{len(found.blind) - SECTORS_TOLD} more")
    stay = "stay" if len(dark) > 1 else "stays"
    return (f"{head}; of the seabed at {view.distance_m:g} m in camera.view, {_joined(dark, 'and')} {stay} below the"
            f" {view.least_lx:g} lx of camera.view.least_lx: {_way_out(plan, found)}")


def _way_out(plan: Plan, found: Light) -> str:
    """What would leave no blind sector, found by trying one change at a time."""
    ways = [way for remedy in REMEDIES if (way := remedy(plan, found))][:REMEDIES_TOLD]
    if not ways:
        ways = [way for remedy in LAST_RESORTS if (way := remedy(plan, found))]
    if ways:
        return _joined(ways, "or")
    return ("no change of bearings, number, level, hood, beam, tilt or distance alone is enough, so change several of"
            " them, and lights.ring.flux_lm first")


def _other_bearings(plan: Plan, found: Light) -> str:
    """The same lamps spread over the view."""
    lights, ring, view = plan.lights, plan.lights.ring, plan.camera.view
    share = [(place + 0.5) / lights.count - 0.5 for place in range(lights.count)]
    spread_deg = [round(view.toward_deg + min(view.width_deg, 360.0) * part) % 360 for part in share]
    if not _shows_all(plan, lamplight.lamps_at(spread_deg, **_alike(lights, ring))):
        return ""
    return f"set lights.ring.bearings_deg = {_listed(spread_deg)}"


def _more_lamps(plan: Plan, found: Light) -> str:
    """The least number evenly around."""
    lights, ring = plan.lights, plan.lights.ring
    for count in LAMPS_TRIED:
        if _shows_all(plan, _evenly(lights, ring, count)):
            return f"fit {count} lamp{'s' if count > 1 else ''} like these evenly around"
    return ""


def _higher_level(plan: Plan, found: Light) -> str:
    """Light grows with the level in proportion."""
    if not found.worst_lx:
        return ""
    wanted_pct = plan.lights.level_pct * plan.camera.view.least_lx / found.worst_lx
    return f"set lights.level_pct = {up(wanted_pct)}" if ceil(wanted_pct) <= 100 else ""


def _no_hood(plan: Plan, found: Light) -> str:
    lamps = lamps_of(plan)
    if plan.lights.ring.hood_deg is None or not _shows_all(plan, tuple(replace(lamp, hood_deg=None) for lamp in lamps)):
        return ""
    return "take the hood (lights.ring.hood_deg) off"


def _wider_beam(plan: Plan, found: Light) -> str:
    """The first of the next wider beams that does, with the same light in it."""
    lamps, beam_deg = lamps_of(plan), plan.lights.ring.beam_deg
    first_deg = ANGLE_STEP_DEG * (floor(beam_deg / ANGLE_STEP_DEG) + 1)
    for wider_deg in range(first_deg, WIDEST_BEAM_DEG + 1, ANGLE_STEP_DEG):
        if _shows_all(plan, tuple(replace(lamp, beam_deg=wider_deg) for lamp in lamps)):
            return f"take lamps with lights.ring.beam_deg = {wider_deg}"
    return ""


def _other_tilt(plan: Plan, found: Light) -> str:
    """The tilt nearest to the planned one that does."""
    lamps, tilt_deg = lamps_of(plan), plan.lights.ring.tilt_deg
    for other_deg in sorted(range(0, 91, ANGLE_STEP_DEG), key=lambda other: abs(other - tilt_deg)):
        if _shows_all(plan, tuple(replace(lamp, tilt_deg=other_deg) for lamp in lamps)):
            return f"set lights.ring.tilt_deg = {other_deg}"
    return ""


def _nearer(plan: Plan, found: Light) -> str:
    lamps, view, ring = lamps_of(plan), plan.camera.view, plan.lights.ring
    tried_m = {round(float(distance_m), 1) for distance_m in np.geomspace(view.distance_m, 0.1, DISTANCES_TRIED)}
    for nearer_m in sorted(tried_m, reverse=True):
        if ring.body_radius_m < nearer_m < view.distance_m and _shows_all(plan, lamps, nearer_m):
            return f"set camera.view.distance_m = {nearer_m:g}"
    return ""


def _less_asked(plan: Plan, found: Light) -> str:
    asked_lx = floor(100.0 * found.worst_lx) / 100.0
    return f"take a camera that does with camera.view.least_lx = {asked_lx:g}" if asked_lx >= 0.01 else ""


Remedy = Callable[[Plan, Light], str]
# From what costs least; the first few that do are told.
REMEDIES: tuple[Remedy, ...] = (_other_bearings, _more_lamps, _higher_level, _no_hood, _wider_beam, _other_tilt)
LAST_RESORTS: tuple[Remedy, ...] = (_nearer, _less_asked)


# What is worth a second thought


def _cautions(plan: Plan) -> Iterator[str]:
    lights, ring, view = plan.lights, plan.lights.ring, plan.camera.view
    if _is_dark(lights):
        if view is not None:
            key = "lights.count" if lights.count == 0 else "lights.level_pct"
            yield (f"{key} is 0 and camera.view asks for {view.least_lx:g} lx at {view.distance_m:g} m: there is no"
                   " light of the lander's own, and none was worked out")
        return
    missing = [name for name, section in (("lights.ring", ring), ("camera.view", view)) if section is None]
    if missing:
        sections = _joined([f"[{name}]" for name in missing], "and")
        yield (f"{_joined(missing, 'and')} {'is' if len(missing) == 1 else 'are'} not given, so whether the camera sees"
               f" a lit seabed was not worked out: give {sections}")
    if ring is not None:
        yield from _idle_hood(ring)


def _idle_hood(ring: Ring) -> Iterator[str]:
    edge_deg = lamplight.critical_angle_deg(lamplight.WATER_INDEX, lamplight.AIR_INDEX)
    if ring.hood_deg is not None and ring.window == lamplight.FLAT and ring.hood_deg >= edge_deg:
        yield (f"lights.ring.hood_deg is {ring.hood_deg:g} and behind a flat window no light leaves beyond"
               f" {edge_deg:.1f} deg off the axis: the hood does nothing; one of {floor(edge_deg)} deg or less cuts"
               " into the light, or leave it out")


# Words, tables, pictures


def _figures(plan: Plan, found: Light) -> Iterator[Figure]:
    view = plan.camera.view
    at = f"seabed at {view.distance_m:g} m, in the view" if view is not None else ""
    yield Figure("beam_in_water_deg", "beam in the water", found.beam_in_water_deg, "deg", 0,
                 "full angle, behind the window")
    yield Figure("best_lx", "brightest", found.best_lx, "lx", 0, at)
    yield Figure("worst_lx", "darkest", found.worst_lx, "lx", 0, at, leading=True)
    yield Figure("needed_lx", "asked for", view.least_lx if view is not None else None, "lx", 0, "camera.view.least_lx")
    yield Figure("evenness", "evenness", found.evenness, "", 2, "darkest by mean, in the view")
    yield Figure("worst_flank_lx", "darkest, upright", found.worst_flank_lx, "lx", 0,
                 "a face toward the lander at half the height of the lamps, in the view")
    yield Figure("blind_view_deg", "blind in the view", found.blind_view_deg, "deg", 0,
                 f"of {view.width_deg:g} deg" if view is not None else "", leading=True)
    yield Figure("blind_circle_deg", "blind all around", found.blind_circle_deg, "deg", 0, "of 360 deg")


def _reach_table(plan: Plan) -> Table:
    """How far out the middle of the view is lit as asked, by the clarity of the water."""
    lamps = lamps_of(plan)
    waters = {**CLARITY, "as planned": plan.site.attenuation_per_m}
    rows = tuple((name, per_m, _reach_m(plan, lamps, per_m))
                 for name, per_m in sorted(waters.items(), key=lambda water: water[1]))
    columns = (Column("water", "water"), Column("attenuation_per_m", "attenuation, 1/m", 2),
               Column("reach_m", "lit ahead as far as, m", 1))
    return Table("reach", f"How far the seabed ahead has {plan.camera.view.least_lx:g} lx", columns, rows)


def _lamps_table(plan: Plan) -> Table:
    """What other numbers of the same lamps would do, evenly around."""
    view = plan.camera.view
    rows = []
    for count in LAMPS_COMPARED:
        lux = _seabed_lx(plan, _evenly(plan.lights, plan.lights.ring, count), BEARINGS_DEG)
        around = lamplight.sectors_below(BEARINGS_DEG, lux, view.least_lx)
        viewed = lamplight.sectors_below(BEARINGS_DEG, lux, view.least_lx, (view.toward_deg, view.width_deg))
        rows.append((count, _width_deg(around), _width_deg(viewed), float(_within(view, BEARINGS_DEG, lux).min())))
    columns = (Column("lamps", "lamps", 0), Column("blind_circle_deg", "blind all around, deg", 0),
               Column("blind_view_deg", "blind in the view, deg", 0), Column("worst_lx", "darkest in the view, lx", 0))
    return Table("lamps", "The same lamps evenly around, by their number", columns, tuple(rows))


def _series(plan: Plan) -> dict[str, list[float]]:
    lights, ring, view = plan.lights, plan.lights.ring, plan.camera.view
    lamps, bearings_deg = lamps_of(plan), PICTURE_BEARINGS_DEG
    series = {"bearing_deg": bearings_deg.tolist(), "distance_m": list(PICTURE_DISTANCES_M)}
    rows = lamplight.polar(lamps, PICTURE_DISTANCES_M, bearings_deg, plan.site.attenuation_per_m, ring.body_radius_m)
    for distance_m, row in zip(PICTURE_DISTANCES_M, rows, strict=True):
        series[f"lux_{distance_m:.1f}_m".replace(".", "_")] = row.tolist()
    series["lamp_bearing_deg"] = [lamp.bearing_deg for lamp in lamps]
    if view is None:
        return series
    series["lux_at_view"] = _seabed_lx(plan, lamps, bearings_deg).tolist()
    series["lux_flank_at_view"] = _flank_lx(plan, lamps, bearings_deg).tolist()
    series["lux_three"] = _seabed_lx(plan, _evenly(lights, ring, 3), bearings_deg).tolist()
    series["lux_four"] = _seabed_lx(plan, _evenly(lights, ring, 4), bearings_deg).tolist()
    series["needed_lx"] = [view.least_lx] * len(bearings_deg)
    return series


def _joined(words: list[str], last: str) -> str:
    """A list as it stands in a sentence."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} {last} {words[-1]}"


def _listed(angles_deg: list[float] | tuple[float, ...]) -> str:
    return "[" + ", ".join(f"{angle_deg:g}" for angle_deg in angles_deg) + "]"


def _angle(angle_deg: float) -> str:
    return f"{round(angle_deg, 1):g}"


def _down(lux: float) -> str:
    """Rounded down, so that too dark never reads as enough."""
    return f"{floor(10.0 * lux) / 10.0:g}"
