"""What lamps around a lander throw on the seabed and into the water beside it, and where they leave it dark.

A lamp is a point that shines along an axis, outward at its bearing and down by its tilt. In air its intensity falls as
a power of the cosine of the angle off the axis (`exponent`). The light passes a window, then maybe a hood, then water:

    E = sum over lamps of  I(angle off the axis) cos(incidence) exp(-c r) / r^2

Sources: inverse square and cosine law, the SI definitions of candela, lumen and lux, any lighting handbook; Snell and
Fresnel, Hecht, Optics, chapter 4; Beer and Lambert in the sea, Mobley, Light and Water (1994). All from memory.

Where this is a promise of the least, not of the whole: light that the water scatters counts as lost (beam attenuation),
the seabed sends none back, the central body is a pillar as high as the lamps. What it leaves out: the size of the lamp
(so nearer than about five of its widths the numbers are too high), the edge of a shadow (sharp here, soft in truth),
legs of the frame, marine growth, and colour: one attenuation for all of it, while the sea takes red first.

Bearings are degrees clockwise, seen from above, from whatever mark the caller counts from.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from math import cos, inf, isfinite, log, pi, radians
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

AIR_INDEX = 1.0
WATER_INDEX = 1.34  # seawater in green light; Mobley, Light and Water (1994), from memory
ACRYLIC_INDEX = 1.49  # polymethyl methacrylate, common handbook value, from memory
FLAT, DOME, BARE = "flat", "dome", "bare"
WINDOWS = {
    FLAT: "a plane window before a lamp in air: narrows the beam",
    DOME: "a dome with the lamp in its middle: leaves the beam as it is",
    BARE: "none, or a lamp whose beam and flux are given as in the water",
}

# Beam attenuation c, per m, at 514 nm: all light that is scattered counts as lost, so this is the least that arrives.
# Measured by Petzold (1972), Scripps Institution of Oceanography report 72-78, as in Mobley, Light and Water (1994),
# table 3.11 (from memory): Tongue of the Ocean; coast of southern California; San Diego harbour. The diffuse
# attenuation of daylight, by which Jerlov's water types are sorted, is smaller, in turbid water by far (from memory),
# and would promise more.
CLARITY = {"clear": 0.151, "coastal": 0.398, "turbid": 2.190}

BEARINGS_DEG: Array = np.arange(3600) / 10.0  # fine enough for the sharp edges of shadows and hoods
BEARINGS_LEAST = 8  # fewer samples round the circle say nothing about sectors
GAP_DEG_MAX = 45.0
IN_THE_LAMP_M = 1e-6

# What a lamp may be: least, most, whether each of both is allowed, in words.
_LIMITS = {
    "bearing_deg": (-inf, inf, False, False, "any angle in degrees"),
    "radius_m": (0.0, inf, True, False, "0 m or more"),
    "height_m": (0.0, inf, False, False, "above 0 m"),
    "tilt_deg": (-90.0, 90.0, True, True, "-90 (straight up) to 90 (straight down) degrees"),
    "flux_lm": (0.0, inf, True, False, "0 lm or more"),
    "beam_deg": (1.0, 179.0, True, True, "1 to 179 degrees"),
    "hood_deg": (0.0, 90.0, False, True, "above 0 and up to 90 degrees, or None for no hood"),
    "attenuation_per_m": (0.0, inf, True, False, "0 per m or more"),
    "body_radius_m": (0.0, inf, True, False, "0 m or more"),
    "threshold_lux": (0.0, inf, False, False, "above 0 lx"),
    "view width": (0.0, inf, False, False, "above 0 degrees"),
    "refractive index": (1.0, inf, True, False, "1 or more"),
    "peak_cd": (0.0, inf, True, False, "0 cd or more"),
}


def _within(name: str, value: float) -> None:
    least, most, with_least, with_most, words = _LIMITS[name]
    low_enough = value < most or (with_most and value == most)
    high_enough = value > least or (with_least and value == least)
    if not (isfinite(value) and low_enough and high_enough):
        raise ValueError(f"{name} is {value:g}; it may be {words}")


def _known_window(window: str) -> None:
    if window not in WINDOWS:
        raise ValueError(f"window is {window!r}; it may be " + " or ".join(repr(known) for known in WINDOWS))


@dataclass(frozen=True)
class Lamp:
    """One lamp on the lander. Raises ValueError for a value outside what the field may be.

    bearing_deg: where it is mounted and the way it shines, clockwise from the mark.
    radius_m: from the vertical axis of the lander to the lamp.
    height_m: above the seabed.
    tilt_deg: of its axis below the horizontal.
    flux_lm: all its light at the level it burns at, before the window (see `flux_of_peak_lm` for a lamp known in cd).
    beam_deg: full angle in air at which the intensity is half of that on the axis.
    hood_deg: angle off the axis beyond which a hood lets nothing pass. The hood stands outside the window, so the angle
        is one in the water; behind a flat window no light leaves beyond 48 degrees anyway. None: no hood.
    window: one of `WINDOWS`.
    """

    bearing_deg: float
    radius_m: float
    height_m: float
    tilt_deg: float
    flux_lm: float
    beam_deg: float
    hood_deg: float | None = None
    window: str = FLAT

    def __post_init__(self) -> None:
        for name in ("bearing_deg", "radius_m", "height_m", "tilt_deg", "flux_lm", "beam_deg"):
            _within(name, getattr(self, name))
        if self.hood_deg is not None:
            _within("hood_deg", self.hood_deg)
        _known_window(self.window)


@dataclass(frozen=True)
class Sector:
    """A stretch of bearings, clockwise, that is darker than asked; `to_deg` is below `from_deg` if it holds north.

    `from_deg` is 0 or more and below 360, `to_deg` above 0 and up to 360; the whole circle is 0 to 360.
    `darkest_deg` is the bearing of the least illuminance in it, the middle one if many share it.
    """

    from_deg: float
    to_deg: float
    darkest_deg: float
    darkest_lux: float

    @property
    def width_deg(self) -> float:
        return self.to_deg - self.from_deg + (360.0 if self.to_deg <= self.from_deg else 0.0)


def lamps_at(bearings_deg: Iterable[float], **alike: Any) -> tuple[Lamp, ...]:
    """Lamps alike in all but their bearing; `alike` are the other fields of `Lamp`.

    Raises ValueError as `Lamp` does.
    """
    return tuple(Lamp(bearing_deg=bearing_deg, **alike) for bearing_deg in bearings_deg)


def ring(count: int, first_bearing_deg: float, **alike: Any) -> tuple[Lamp, ...]:
    """`count` lamps evenly around the axis, the first at this bearing; `alike` as in `lamps_at`.

    Raises ValueError for fewer than one lamp, and as `Lamp` does.
    """
    if count < 1:
        raise ValueError(f"count is {count}; a ring has at least 1 lamp")
    return lamps_at(((first_bearing_deg + 360.0 * place / count) % 360.0 for place in range(count)), **alike)


# Windows


def critical_angle_deg(index_from: float, index_to: float) -> float:
    """Angle from the normal beyond which nothing passes from the denser to the thinner: asin(n_to / n_from) (Snell).

    Raises ValueError if the light comes from the thinner side, where there is no such angle.
    """
    _within("refractive index", index_from)
    _within("refractive index", index_to)
    if index_from <= index_to:
        raise ValueError(f"light going from index {index_from:g} to {index_to:g} has no critical angle;"
                         " it needs the denser side first")
    return float(np.degrees(np.arcsin(index_to / index_from)))


def refracted_deg(angle_deg: ArrayLike, index_from: float, index_to: float) -> Array:
    """Angle from the normal behind a plane surface: n_from sin(a) = n_to sin(b) (Snell); NaN where nothing passes."""
    _within("refractive index", index_from)
    _within("refractive index", index_to)
    sine = np.sin(_angles_from_axis(angle_deg)) * index_from / index_to
    passes = sine <= 1.0
    return np.where(passes, np.degrees(np.arcsin(np.where(passes, sine, 0.0))), np.nan)


def transmitted(angle_deg: ArrayLike, index_from: float, index_to: float) -> Array:
    """Fraction of unpolarised light that passes a plane surface at this angle from the normal (Fresnel)."""
    behind = refracted_deg(angle_deg, index_from, index_to)
    passes = np.isfinite(behind)
    cos_from = np.cos(_angles_from_axis(angle_deg))
    cos_to = np.cos(np.radians(np.where(passes, behind, 0.0)))
    across = ((index_from * cos_from - index_to * cos_to) / (index_from * cos_from + index_to * cos_to)) ** 2
    along = ((index_from * cos_to - index_to * cos_from) / (index_from * cos_to + index_to * cos_from)) ** 2
    return np.where(passes, 1.0 - 0.5 * (across + along), 0.0)


def window_transmission(angle_in_air_deg: ArrayLike, window: str) -> Array:
    """Fraction of the light that passes air to acrylic to water, at this angle off the axis of the lamp in air.

    About 0.96 on the axis. The little that comes back from the second surface to the first and the absorption in the
    acrylic are left out. A dome is met square everywhere.
    """
    _known_window(window)
    angle_deg = np.degrees(_angles_from_axis(angle_in_air_deg))
    if window == BARE:
        return np.ones_like(angle_deg)
    if window == DOME:
        angle_deg = np.zeros_like(angle_deg)
    in_acrylic_deg = refracted_deg(angle_deg, AIR_INDEX, ACRYLIC_INDEX)
    into_water = transmitted(in_acrylic_deg, ACRYLIC_INDEX, WATER_INDEX)
    return transmitted(angle_deg, AIR_INDEX, ACRYLIC_INDEX) * into_water


def beam_in_water_deg(beam_deg: float, window: str) -> float:
    """Full angle in water of the rays that bound the beam in air: sin(half in water) = sin(half in air) / 1.34 (Snell).

    An acrylic layer between does not change it. Because a flat window also crowds the outer rays together, the
    intensity at this angle is somewhat more than half of that on the axis; `intensity_cd` has it exactly.
    """
    _within("beam_deg", beam_deg)
    _known_window(window)
    if window != FLAT:
        return beam_deg
    return 2.0 * float(refracted_deg(0.5 * beam_deg, AIR_INDEX, WATER_INDEX))


# Lamps


def exponent(beam_deg: float) -> float:
    """m of the profile I = I0 cos^m(angle) that has half its peak at half the beam: m = ln 0.5 / ln cos(beam / 2).

    1 at 120 degrees, a Lambertian emitter. The profile is common practice for diodes with a lens, no source; a lamp
    with a measured polar curve may have shoulders or side lobes that this has not.
    """
    _within("beam_deg", beam_deg)
    return log(0.5) / log(cos(radians(0.5 * beam_deg)))


def peak_of_flux_cd(flux_lm: float, beam_deg: float) -> float:
    """Intensity on the axis in air: I0 = flux (m + 1) / (2 pi), by integrating the profile over the half sphere."""
    _within("flux_lm", flux_lm)
    return flux_lm * (exponent(beam_deg) + 1.0) / (2.0 * pi)


def flux_of_peak_lm(peak_cd: float, beam_deg: float) -> float:
    """All the light of a lamp with this intensity on the axis in air; the reverse of `peak_of_flux_cd`."""
    _within("peak_cd", peak_cd)
    return peak_cd * 2.0 * pi / (exponent(beam_deg) + 1.0)


def intensity_cd(lamp: Lamp, off_axis_deg: ArrayLike) -> Array:
    """Intensity in the water, close to the lamp, at this angle off its axis (0 to 180 degrees).

    Behind a flat window the same light fills a smaller solid angle. From sin(air) = n sin(water) follows
    d(solid angle in air) / d(solid angle in water) = n^2 cos(water) / cos(air): n^2 = 1.8 on the axis, less what the
    window reflects.
    """
    in_water = _angles_from_axis(off_axis_deg, 180.0)
    sine = np.sin(in_water) * (WATER_INDEX if lamp.window == FLAT else 1.0)
    lit = (in_water < 0.5 * pi) & (sine < 1.0)
    if lamp.hood_deg is not None:
        lit &= in_water <= radians(lamp.hood_deg)
    in_air = np.arcsin(np.where(lit, sine, 0.0))
    crowding = (WATER_INDEX**2 * np.cos(in_water) / np.cos(in_air)) if lamp.window == FLAT else 1.0
    in_air_cd = peak_of_flux_cd(lamp.flux_lm, lamp.beam_deg) * np.cos(in_air) ** exponent(lamp.beam_deg)
    return np.where(lit, in_air_cd * crowding * window_transmission(np.degrees(in_air), lamp.window), 0.0)


def _angles_from_axis(angle_deg: ArrayLike, most_deg: float = 90.0) -> Array:
    """In radians; raises ValueError for an angle that no ray can have."""
    angle = np.asarray(angle_deg, dtype=float)
    wrong = ~((angle >= 0.0) & (angle <= most_deg))
    if wrong.any():
        raise ValueError(f"angle is {angle[wrong].flat[0]:g} degrees; it may be 0 to {most_deg:g}")
    return np.radians(angle)


# Illuminance


def seabed_lux(lamps: Iterable[Lamp], bearing_deg: ArrayLike, distance_m: ArrayLike, attenuation_per_m: float,
               body_radius_m: float = 0.0) -> Array:
    """Illuminance on a flat seabed at bearings and distances from the lander's axis; both may be arrays that broadcast.

    attenuation_per_m: beam attenuation of the water, as in `CLARITY`.
    body_radius_m: of the central body. A lamp does not reach points whose straight line, seen from above, meets it.

    Raises ValueError for a distance below 0, a lamp inside the body, and values outside their range.
    """
    return _lux(lamps, bearing_deg, distance_m, None, attenuation_per_m, body_radius_m)


def water_lux(lamps: Iterable[Lamp], bearing_deg: ArrayLike, distance_m: ArrayLike, height_m: ArrayLike,
              attenuation_per_m: float, body_radius_m: float = 0.0) -> Array:
    """Illuminance on an upright surface that faces the lander's axis, such as the flank of an animal that swims there.

    `height_m` above the seabed, the rest and the errors as in `seabed_lux`; also raises ValueError for a point below
    the seabed or in a lamp.
    """
    return _lux(lamps, bearing_deg, distance_m, height_m, attenuation_per_m, body_radius_m)


def polar(lamps: Iterable[Lamp], distances_m: ArrayLike, bearings_deg: ArrayLike, attenuation_per_m: float,
          body_radius_m: float = 0.0) -> Array:
    """`seabed_lux` on a grid for a picture: one row a distance, one column a bearing."""
    rows = np.atleast_1d(np.asarray(distances_m, dtype=float))[:, np.newaxis]
    columns = np.atleast_1d(np.asarray(bearings_deg, dtype=float))[np.newaxis, :]
    return seabed_lux(lamps, columns, rows, attenuation_per_m, body_radius_m)


def _lux(lamps: Iterable[Lamp], bearing_deg: ArrayLike, distance_m: ArrayLike, height_m: ArrayLike | None,
         attenuation_per_m: float, body_radius_m: float) -> Array:
    """On the seabed, or at a height on a surface that faces the axis."""
    _within("attenuation_per_m", attenuation_per_m)
    _within("body_radius_m", body_radius_m)
    bearing, distance, height = np.broadcast_arrays(
        np.radians(_finite("bearing_deg", bearing_deg)), _finite("distance_m", distance_m, least=0.0),
        _finite("height_m", 0.0 if height_m is None else height_m, least=0.0))
    outward = np.stack((np.cos(bearing), np.sin(bearing), np.zeros_like(bearing)))
    points = distance * outward
    points[2] = height
    facing = -outward if height_m is not None else np.stack((outward[2], outward[2], np.ones_like(bearing)))
    lux = np.zeros_like(distance)
    for lamp in lamps:
        lux = lux + _lux_of_one(lamp, points, facing, attenuation_per_m, body_radius_m)
    return lux


def _lux_of_one(lamp: Lamp, points: Array, facing: Array, attenuation_per_m: float, body_radius_m: float) -> Array:
    if lamp.radius_m < body_radius_m:
        raise ValueError(f"the lamp at {lamp.bearing_deg:g} degrees is {lamp.radius_m:g} m from the axis, inside the"
                         f" central body of radius {body_radius_m:g} m; move it out or give a smaller body_radius_m")
    bearing, tilt = radians(lamp.bearing_deg), radians(lamp.tilt_deg)
    direction = (cos(tilt) * np.cos(bearing), cos(tilt) * np.sin(bearing), -np.sin(tilt))
    place = np.array((lamp.radius_m * np.cos(bearing), lamp.radius_m * np.sin(bearing), lamp.height_m))
    ray = points - place.reshape(3, *(1,) * (points.ndim - 1))
    length = np.sqrt((ray**2).sum(axis=0))
    if (length < IN_THE_LAMP_M).any():
        raise ValueError(f"a point is in the lamp at {lamp.bearing_deg:g} degrees itself; take points apart from the"
                         f" lamps, which are at {lamp.radius_m:g} m from the axis and {lamp.height_m:g} m high")
    along = sum(part * way for part, way in zip(ray, direction, strict=True)) / length
    off_axis_deg = np.degrees(np.arccos(np.clip(along, -1.0, 1.0)))
    incidence = np.clip(-(ray * facing).sum(axis=0) / length, 0.0, 1.0)
    lux = intensity_cd(lamp, off_axis_deg) * incidence * np.exp(-attenuation_per_m * length) / length**2
    return np.where(_behind_body(place, ray, body_radius_m), 0.0, lux)


def _behind_body(place: Array, ray: Array, body_radius_m: float) -> NDArray[np.bool_]:
    """Whether the ray, seen from above, comes nearer to the axis than the body's radius on its way."""
    squared = ray[0] ** 2 + ray[1] ** 2
    nearest = np.clip(-(place[0] * ray[0] + place[1] * ray[1]) / np.where(squared > 0.0, squared, 1.0), 0.0, 1.0)
    clearance = np.hypot(place[0] + nearest * ray[0], place[1] + nearest * ray[1])
    return clearance < body_radius_m * (1.0 - 1e-9)  # a lamp on the body's skin is not in its own way


def _finite(name: str, values: ArrayLike, least: float = -inf) -> Array:
    array = np.asarray(values, dtype=float)
    wrong = ~(np.isfinite(array) & (array >= least))
    if wrong.any():
        raise ValueError(f"{name} is {array[wrong].flat[0]:g}; it must be a number" +
                         (f" of {least:g} or more" if isfinite(least) else ""))
    return array


# Sectors


def sectors_below(bearing_deg: ArrayLike, lux: ArrayLike, threshold_lux: float,
                  view: tuple[float, float] | None = None) -> list[Sector]:
    """The sectors in which the illuminance is below the threshold, clockwise, from samples round the circle.

    view: centre and full width in degrees of what the camera sees; only this part is searched, from its left edge on.
        None: the whole circle, from north on.

    Ends stand where straight lines between the samples cross the threshold. At the sharp edge of a shadow or hood an
    end is as good as the samples are close: 0.1 degree with `BEARINGS_DEG`.

    Raises ValueError for samples that do not go round the circle, lists of different length, a threshold of 0 or below,
    a view without width.
    """
    _within("threshold_lux", threshold_lux)
    bearings, values = _round_the_circle(bearing_deg, lux)
    start, span = _span(view)
    inner = start + np.sort((bearings - start) % 360.0)
    nodes = np.concatenate(([start], inner[(inner > start) & (inner < start + span)], [start + span]))
    levels = np.interp(nodes, bearings, values, period=360.0)
    runs = [_run(nodes, levels, first, last, threshold_lux) for first, last in _stretches(levels < threshold_lux)]
    if span == 360.0 and len(runs) > 1 and runs[0][0] == start and runs[-1][1] == start + span:
        runs = runs[1:-1] + [_joined(runs[-1], runs[0])]
    return [_sector(*run) for run in runs if run[0] < run[1]]  # a dip lost in rounding has no width


Run = tuple[float, float, Array, Array]  # from, to, bearings inside, illuminance at them; not yet brought below 360


def _round_the_circle(bearing_deg: ArrayLike, lux: ArrayLike) -> tuple[Array, Array]:
    """Samples in the order of the compass; raises ValueError if they leave too much of it out."""
    bearings = np.atleast_1d(_finite("bearing_deg", bearing_deg)) % 360.0
    values = np.atleast_1d(_finite("lux", lux))
    if bearings.ndim != 1 or bearings.shape != values.shape:
        raise ValueError(f"bearing_deg holds {bearings.size} values and lux {values.size};"
                         " give two plain lists with one lux for each bearing")
    bearings, at = np.unique(bearings, return_index=True)
    gap_deg = float(np.diff(bearings, append=bearings[0] + 360.0).max()) if bearings.size else 360.0
    if bearings.size < BEARINGS_LEAST or gap_deg > GAP_DEG_MAX:
        raise ValueError(f"{bearings.size} bearings with a gap of {gap_deg:.0f} degrees do not show the circle; give at"
                         f" least {BEARINGS_LEAST}, none further than {GAP_DEG_MAX:.0f} degrees from the next")
    return bearings, values[at]


def _span(view: tuple[float, float] | None) -> tuple[float, float]:
    if view is None:
        return 0.0, 360.0
    centre_deg, width_deg = view
    _within("bearing_deg", centre_deg)
    _within("view width", width_deg)
    if width_deg >= 360.0:
        return 0.0, 360.0
    return (centre_deg - 0.5 * width_deg) % 360.0, width_deg


def _stretches(below: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """First and last index of each unbroken stretch."""
    steps = np.diff(np.concatenate(([0], below.astype(int), [0])))
    return list(zip(np.flatnonzero(steps == 1).tolist(), (np.flatnonzero(steps == -1) - 1).tolist(), strict=True))


def _run(nodes: Array, levels: Array, first: int, last: int, threshold_lux: float) -> Run:
    def crossing(inside: int, outside: int) -> float:
        share = (threshold_lux - levels[inside]) / (levels[outside] - levels[inside])
        return float(nodes[inside] + share * (nodes[outside] - nodes[inside]))

    begins = crossing(first, first - 1) if first > 0 else float(nodes[0])
    ends = crossing(last, last + 1) if last + 1 < len(nodes) else float(nodes[-1])
    return begins, ends, nodes[first:last + 1], levels[first:last + 1]


def _joined(before_north: Run, after_north: Run) -> Run:
    begins, _, bearings, levels = before_north
    _, ends, bearings_on, levels_on = after_north
    return begins, ends + 360.0, np.concatenate((bearings, bearings_on + 360.0)), np.concatenate((levels, levels_on))


def _sector(begins: float, ends: float, bearings: Array, levels: Array) -> Sector:
    darkest = np.flatnonzero(levels == levels.min())
    middle = darkest[len(darkest) // 2]
    to_deg = ends % 360.0 or 360.0
    return Sector(begins % 360.0, to_deg, float(bearings[middle] % 360.0), float(levels[middle]))
