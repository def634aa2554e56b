"""Simple bodies in steady flow: frontal area, volume, drag coefficient with its band, added mass.

Every shape has a width and some a length, as the flow meets them:

    sphere            width: diameter
    ellipsoid_along   width: diameter; length: the axis, along the flow (an ellipsoid of revolution)
    cylinder_along    width: diameter; length: along the flow
    cylinder_across   width: diameter; length: across the flow
    box               width: side of the square face that meets the flow; length: along the flow
    plate             width and length: sides of the thin plate, face to the flow
    disc              width: diameter of the thin disc, face to the flow

The Reynolds number is built on the width. A drag coefficient belongs to the frontal area. Parts that stand in each
other's wake, straps, ropes and growth are in no handbook: that is what the plan's own doubt is for.
"""

from bisect import bisect_right
from dataclasses import dataclass
from math import asin, atanh, inf, log10, pi, sqrt

import gsw

from seatrial.handbook.arguments import above_zero, within

Table = tuple[tuple[float, float], ...]

SHARP_FROM_REYNOLDS = 1e3  # bodies with edges have one drag coefficient from here up; below it rises (not modelled)
CRISIS_FROM_REYNOLDS = 2e5  # smooth round bodies; a rough one, a strap or a seam brings it down to 5e4 (Achenbach)
_SPHERE_REYNOLDS_MAX = 1e6  # end of the correlations of the library

# --- drag coefficients; rows (length over width, coefficient) unless said otherwise --------------------------------

_READ = 0.10  # half width of the band, of the coefficient: read in a table that others bear out
_MEMORY = 0.15  # the same for values from memory
_ROUGH_GUESS = 0.25

SPHERE_LEAST = 0.09  # the bottom of the crisis: Barati et al. 2014, as in the library

DISC = 1.17  # White, table 7.3; Hoerner, Fluid-Dynamic Drag 1965, ch. 3; from memory

# Aeronautical Engineer's Data Book, fig. 5.13; the row of 0.5 is White's table 7.3 from memory, 0 is the disc.
CYLINDER_ALONG: Table = ((0.0, DISC), (0.5, 1.15), (1.0, 0.91), (2.0, 0.85), (4.0, 0.87), (7.0, 0.99))

# Aeronautical Engineer's Data Book, fig. 5.13, by WIDTH OVER LENGTH, so that the endless cylinder has a row.
CYLINDER_ACROSS: Table = ((0.0, 1.20), (1 / 40, 0.98), (1 / 10, 0.82), (1 / 5, 0.74), (1 / 2, 0.68), (1.0, 0.63))

# What is left of the drag of a cylinder across the flow, by log10 of the Reynolds number: about 0.3 at 5e5, and 0.7
# from 3.5e6 up (Roshko, J. Fluid Mech. 10, 1961, and the usual curve of Wieselsberger, from memory).
CYLINDER_CRISIS: Table = (
    (log10(2e5), 1.00), (log10(3e5), 0.75), (log10(4e5), 0.40), (log10(5e5), 0.25), (log10(1e6), 0.29),
    (log10(3.5e6), 0.58))

# Square plate: Aeronautical Engineer's Data Book, fig. 5.13. Longer ones, by the SHORT OVER THE LONG side: White,
# table 7.3 (5, 10, 20 and endless: 1.2, 1.3, 1.5, 2.0), from memory.
PLATE: Table = ((0.0, 2.0), (1 / 20, 1.5), (1 / 10, 1.3), (1 / 5, 1.2), (1.0, 1.17))

# Cube face on: White, table 7.3, from memory; 0 is the square plate. Longer boxes keep the value of the cube: the
# flow that comes back to their sides makes it less, never much more (own choice, on the safe side for the time).
BOX: Table = ((0.0, 1.17), (1.0, 1.07))

# Ellipsoids of revolution along the flow: White, table 7.3, from memory; the row of 0 is the disc, the sphere at 1 is
# the sphere's handbook value. The flattened ones between those two rows are our own straight line.
ELLIPSOID_LAMINAR: Table = ((0.0, DISC), (1.0, 0.47), (2.0, 0.27), (4.0, 0.25), (8.0, 0.20))
ELLIPSOID_TURBULENT: Table = ((0.0, DISC), (1.0, 0.20), (2.0, 0.13), (4.0, 0.10), (8.0, 0.08))
_ELLIPSOID_TURNS = (log10(2e5), log10(2e6))  # laminar below, turbulent above, a straight line between: own choice

# --- added mass ---------------------------------------------------------------------------------------------------

DISC_ADDED = 8.0 / 3.0  # times rho a^3 with the radius a: Lamb, Hydrodynamics, art. 102; DNV-RP-C205 table D-2

# Circular cylinder across the flow, of its own volume, by WIDTH OVER LENGTH: DNV-RP-C205 table D-2, from memory.
CYLINDER_ACROSS_ADDED: Table = ((0.0, 1.00), (1 / 9, 0.96), (1 / 5, 0.90), (1 / 2.5, 0.78), (1 / 1.2, 0.62))

# Rectangular plate face on, of pi/4 short^2 long, by the SHORT OVER THE LONG side: DNV-RP-C205 table D-2, from memory.
PLATE_ADDED: Table = ((0.0, 1.0), (1 / 10, 0.947), (1 / 5, 0.897), (1 / 3, 0.830), (1 / 2, 0.757), (1.0, 0.579))

# Square prism along the flow, of width^3: DNV-RP-C205 table D-2 (0.68, 0.36, 0.19, 0.08 of the volume at 1, 2, 4 and
# 10), from memory; 0 is the square plate.
BOX_ADDED: Table = ((0.0, 0.25 * pi * 0.579), (1.0, 0.68), (2.0, 0.72), (4.0, 0.76), (10.0, 0.80))


@dataclass(frozen=True)
class _Kind:
    """What sets one shape apart: `has_length`, is it `round` (has a drag crisis), half width of its `band`."""

    has_length: bool
    round: bool
    band: float


_KINDS = {
    "sphere": _Kind(has_length=False, round=True, band=_READ),
    "ellipsoid_along": _Kind(has_length=True, round=True, band=_MEMORY),
    "cylinder_along": _Kind(has_length=True, round=False, band=_READ),
    "cylinder_across": _Kind(has_length=True, round=True, band=_READ),
    "box": _Kind(has_length=True, round=False, band=_ROUGH_GUESS),
    "plate": _Kind(has_length=True, round=False, band=_READ),
    "disc": _Kind(has_length=False, round=False, band=_MEMORY),
}
SHAPES = tuple(_KINDS)


def needs_length(shape: str) -> bool:
    """Whether a shape is told by width and length, or by its width alone. Raises ValueError for no such shape."""
    return _kind(shape).has_length


def frontal_area_m2(shape: str, width_m: float, length_m: float | None = None) -> float:
    """Area that meets the flow, m2. Raises ValueError for no such shape, a missing length, or sizes not above 0."""
    length_m = _length(shape, width_m, length_m)
    if shape in ("cylinder_across", "plate"):
        return width_m * length_m
    if shape == "box":
        return width_m**2
    return 0.25 * pi * width_m**2


def volume_m3(shape: str, width_m: float, length_m: float | None = None) -> float:
    """Volume within the shape, m3; 0 for plate and disc, whose thickness is not told. Raises as `frontal_area_m2`."""
    length_m = _length(shape, width_m, length_m)
    if shape in ("plate", "disc"):
        return 0.0
    if shape == "box":
        return width_m**2 * length_m
    if shape in ("sphere", "ellipsoid_along"):
        return pi / 6.0 * width_m**2 * length_m
    return 0.25 * pi * width_m**2 * length_m


def reynolds_number(speed_m_s: float, width_m: float, kinematic_viscosity_m2_s: float) -> float:
    """Reynolds number on the width, |v| d / nu. Raises ValueError for a width or viscosity that is not above 0."""
    above_zero(width_m=width_m)
    above_zero(kinematic_viscosity_m2_s=kinematic_viscosity_m2_s)
    return abs(speed_m_s) * width_m / kinematic_viscosity_m2_s


def drag_coefficient(shape: str, reynolds: float, length_over_width: float = 1.0) -> float:
    """Likely drag coefficient on the frontal area, for a smooth body alone in still water.

    Sphere: Barati et al., Powder Technology 257 (2014), by the library `fluids`, through the drag crisis; from
    Reynolds 1e6 up the value there. Cylinder across: the table by length, times the change with Reynolds number of an
    endless cylinder. The others have one value per proportion (tables of this module, sources there); lengths
    beyond a table take its last row. Bodies with edges keep the value of Reynolds 1e3 below that, which is too low
    there: `drag_band` says by how much to doubt it.

    Raises ValueError for no such shape, and for a Reynolds number or proportion not above 0.
    """
    kind = _kind(shape)
    above_zero(reynolds=reynolds)
    if kind.has_length:
        above_zero(length_over_width=length_over_width)
    if shape == "sphere":
        return _sphere(reynolds)
    if shape == "cylinder_across":
        return _cylinder_across(reynolds, length_over_width)
    if shape == "ellipsoid_along":
        return _ellipsoid(reynolds, length_over_width)
    if shape == "plate":
        return _read(PLATE, min(length_over_width, 1.0 / length_over_width))
    if shape == "disc":
        return DISC
    return _read(CYLINDER_ALONG if shape == "cylinder_along" else BOX, length_over_width)


def drag_band(shape: str, reynolds: float, length_over_width: float = 1.0) -> tuple[float, float, float]:
    """Low, likely and high drag coefficient.

    The half width is 10 % for tables that were read, 15 % for values from memory and 25 % for the box. From Reynolds
    2e5 up a round body may have either boundary layer, by its roughness, straps and the water it moves in: low is the
    least of the turbulent curve and high the laminar value. Below 1e3 bodies with edges may have twice the table's
    value (own choice). Raises as `drag_coefficient`.
    """
    likely = drag_coefficient(shape, reynolds, length_over_width)
    kind = _kind(shape)
    low, high = likely * (1.0 - kind.band), likely * (1.0 + kind.band)
    if not kind.round and reynolds < SHARP_FROM_REYNOLDS:
        return low, likely, 2.0 * high
    if not kind.round or reynolds < CRISIS_FROM_REYNOLDS:
        return low, likely, high
    laminar = drag_coefficient(shape, CRISIS_FROM_REYNOLDS, length_over_width)
    return min(low, _turbulent_least(shape, laminar, length_over_width)), likely, max(high, laminar * (1.0 + kind.band))


def in_drag_crisis(shape: str, reynolds: float) -> bool:
    """Whether the drag of a smooth body of this shape drops steeply hereabouts, so that no value can be relied on.

    Sphere 2e5 to 4e5, cylinder across 2e5 to 5e5, ellipsoid 2e5 to 2e6. Raises ValueError for no such shape.
    """
    _kind(shape)
    ends = {"sphere": 4e5, "cylinder_across": 5e5, "ellipsoid_along": 10.0 ** _ELLIPSOID_TURNS[1]}
    return CRISIS_FROM_REYNOLDS <= reynolds <= ends.get(shape, 0.0)


def added_mass_kg(shape: str, width_m: float, length_m: float | None, water_density_kg_m3: float) -> float:
    """Mass of water that a body takes along when it speeds up in the direction of the flow, far from any wall, kg.

    Sphere: half of its volume, and ellipsoids: Lamb, Hydrodynamics, art. 92 and 114. Disc: 8/3 rho a^3. Cylinder
    across, plate and box: DNV-RP-C205 appendix D. Cylinder along: the disc of its end, growing with the length as the
    box does (own estimate, no source). Raises ValueError for no such shape, a missing length, or sizes not above 0.
    """
    length_m = _length(shape, width_m, length_m)
    above_zero(water_density_kg_m3=water_density_kg_m3)
    ratio = length_m / width_m
    return water_density_kg_m3 * {
        "sphere": lambda: 0.5 * volume_m3("sphere", width_m),
        "ellipsoid_along": lambda: spheroid_added_mass(ratio)[0] * volume_m3(shape, width_m, length_m),
        "cylinder_along": lambda: DISC_ADDED * (0.5 * width_m) ** 3 * _read(BOX_ADDED, ratio) / BOX_ADDED[0][1],
        "cylinder_across": lambda: _read(CYLINDER_ACROSS_ADDED, 1.0 / ratio) * volume_m3(shape, width_m, length_m),
        "box": lambda: _read(BOX_ADDED, ratio) * width_m**3,
        "plate": lambda: _plate_added_m3(min(width_m, length_m), max(width_m, length_m)),
        "disc": lambda: DISC_ADDED * (0.5 * width_m) ** 3,
    }[shape]()


def spheroid_added_mass(length_over_width: float) -> tuple[float, float]:
    """Added mass of an ellipsoid of revolution, of the water it displaces: moving along its axis, and across it.

    Lamb, Hydrodynamics, art. 114 and 115 (prolate) and art. 107 (oblate), k = alpha / (2 - alpha).
    Raises ValueError when the proportion is not above 0.
    """
    above_zero(length_over_width=length_over_width)
    if abs(length_over_width - 1.0) < 1e-3:  # the closed forms lose their digits here
        return 0.5, 0.5
    if length_over_width > 1.0:
        eccentricity = sqrt(1.0 - length_over_width**-2)
        along = 2.0 * (1.0 - eccentricity**2) / eccentricity**3 * (atanh(eccentricity) - eccentricity)
    else:
        eccentricity = sqrt(1.0 - length_over_width**2)
        along = 2.0 / eccentricity**2 * (1.0 - length_over_width / eccentricity * asin(eccentricity))
    across = 0.5 * (2.0 - along)  # the three of an ellipsoid sum to 2
    return along / (2.0 - along), across / (2.0 - across)


def kinematic_viscosity_m2_s(temperature_c: float, salinity_psu: float) -> float:
    """Kinematic viscosity of seawater at the pressure of the surface, m2/s.

    Dynamic viscosity: Sharqawy, Lienhard and Zubair, Desalination and Water Treatment 16 (2010), equations 22 and 23,
    1.5 % (coefficients from memory, tested against ITTC). Density: TEOS-10 (gsw), standard composition. Depth changes
    it by less than that in the first thousands of metres. Raises ValueError outside -2 to 40 degC and 0 to 42.
    """
    within(-2.0, 40.0, temperature_c=temperature_c)
    within(0.0, 42.0, salinity_psu=salinity_psu)
    absolute_g_kg = gsw.SR_from_SP(salinity_psu)
    salt = absolute_g_kg / 1000.0
    fresh_pa_s = 4.2844e-5 + 1.0 / (0.157 * (temperature_c + 64.993) ** 2 - 91.296)
    first = 1.541 + 1.998e-2 * temperature_c - 9.52e-5 * temperature_c**2
    second = 7.974 - 7.561e-2 * temperature_c + 4.724e-4 * temperature_c**2
    dynamic_pa_s = fresh_pa_s * (1.0 + first * salt + second * salt**2)
    return float(dynamic_pa_s / gsw.rho_t_exact(absolute_g_kg, temperature_c, 0.0))


def _sphere(reynolds: float) -> float:
    from fluids.drag import drag_sphere  # a library of its own for the spheres alone

    return float(drag_sphere(min(reynolds, _SPHERE_REYNOLDS_MAX)))


def _cylinder_across(reynolds: float, length_over_width: float) -> float:
    subcritical = min(reynolds, CRISIS_FROM_REYNOLDS)
    of_endless = _endless_cylinder(subcritical) / _endless_cylinder(1e5)  # the table is one of about 1e5
    return _read(CYLINDER_ACROSS, 1.0 / length_over_width) * of_endless * _read(CYLINDER_CRISIS, log10(reynolds))


def _endless_cylinder(reynolds: float) -> float:
    """Sucker and Brauer, Waerme- und Stoffuebertragung 8 (1975), 1e-4 to 2e5; from memory."""
    return (1.18 + 6.8 / reynolds**0.89 + 1.96 / sqrt(reynolds)
            - 0.0004 * reynolds / (1.0 + 3.64e-7 * reynolds**2))


def _ellipsoid(reynolds: float, length_over_width: float) -> float:
    laminar, turbulent = _read(ELLIPSOID_LAMINAR, length_over_width), _read(ELLIPSOID_TURBULENT, length_over_width)
    begin, end = _ELLIPSOID_TURNS
    return _read(((begin, laminar), (end, turbulent)), log10(reynolds))


def _turbulent_least(shape: str, laminar: float, length_over_width: float) -> float:
    if shape == "sphere":
        return SPHERE_LEAST
    if shape == "cylinder_across":
        return laminar * min(left for _, left in CYLINDER_CRISIS)
    return _read(ELLIPSOID_TURBULENT, length_over_width) * (1.0 - _MEMORY)


def _plate_added_m3(short_m: float, long_m: float) -> float:
    return _read(PLATE_ADDED, short_m / long_m) * 0.25 * pi * short_m**2 * long_m


def _read(table: Table, at: float) -> float:
    """The value on the straight lines between the rows; outside the table that of its end."""
    if at <= table[0][0]:
        return table[0][1]
    if at >= table[-1][0]:
        return table[-1][1]
    above = bisect_right(table, (at, inf))
    (left, low), (right, high) = table[above - 1], table[above]
    return low + (at - left) / (right - left) * (high - low)


def _length(shape: str, width_m: float, length_m: float | None) -> float:
    """The length of a shape; that of one told by its width alone is the width."""
    kind = _kind(shape)
    above_zero(width_m=width_m)
    if not kind.has_length:
        return width_m
    if length_m is None:
        raise ValueError(f'length_m is missing; a shape "{shape}" has a width and a length: give both')
    above_zero(length_m=length_m)
    return length_m


def _kind(shape: str) -> _Kind:
    if shape not in _KINDS:
        raise ValueError(f'shape is "{shape}"; allowed is {", ".join(SHAPES)}: take the one that is nearest, or give '
                         "frontal_area_m2 and drag_coefficient")
    return _KINDS[shape]
