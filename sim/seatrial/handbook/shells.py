"""Pressure housings by handbook formulas: tube, flat disc window, hemispherical dome, each under outside pressure.

A sanity check and no more: every formula takes the wall as perfect, the material as one even piece and the load as
steady. The `limits` of a `Check` say in sentences where that matters for the wall at hand; none of the results is an
allowable pressure, and no safety factor is in them but the knock-down of the dome.

Sources, all cited from memory except the plate formulas and Roark's tube, which were read in handbooks:
Lame 1852 (thick walls); von Mises 1929, in the form of Windenburg and Trilling, Trans. ASME 56 (1934); Bresse 1866 and
Bryan 1888 (long tube), the same as Roark's Formulas for Stress and Strain, table 35 case 19a; Timoshenko, Theory of
Plates and Shells (disc); Zoelly 1915 (sphere); NASA SP-8032 (1969) for the knock-down of the dome.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass

from seatrial.handbook.arguments import above_zero

MPA_PER_GPA = 1000.0
SUPPORTED, CLAMPED = "supported", "clamped"
EDGES = (SUPPORTED, CLAMPED)
CLOSE_RATIO = 2.0  # yield and buckling this near each other weaken each other; common practice, no source
THICK_SHELL = 20.0  # below this diameter by wall a shell counts as thick; common practice, no source
THICK_PLATE = 0.5  # wall by radius from which plate theory, which leaves out shear, is strained; common practice
PLASTIC_GPA = 10.0  # every common plastic lies below, every metal, glass and ceramic above
PERFECT_TUBE = ("The tube is taken as perfectly round and even, between ends that stay round and carry their own load; "
                "grooves, threads, holes and ports weaken it and are not counted.")
PERFECT_DISC = ("The disc is taken as flat, even and without scratch or hole, pressed on one face only; the seat's own "
                "stress and the seal are not counted.")
PERFECT_DOME = ("The dome is taken as a full half sphere of even wall whose rim neither slides nor turns; a moulded "
                "dome is thinner at the crown than at the rim, so measure it there. The rim's own stress is not "
                "counted.")


@dataclass(frozen=True)
class Check:
    """At what outside pressure a wall fails by the handbook, and what the number leaves out.

    `yield_mpa` brings the worst point of the wall to the given strength; `buckling_mpa` folds the elastic wall, None
    where nothing can buckle; `governing_mpa` is the lower of the two, `mode` names it in words.
    """

    yield_mpa: float
    buckling_mpa: float | None
    governing_mpa: float
    mode: str
    limits: tuple[str, ...]


# --- tube ------------------------------------------------------------------------------------------------------------


def thin_hoop_stress_mpa(pressure_mpa: float, outer_radius_mm: float, wall_mm: float) -> float:
    """Hoop stress p r/t of a thin tube, r to the middle of the wall. For comparison: it is low for a thick wall.

    Raises ValueError for a wall that is no tube.
    """
    _wall_inside("a tube", 2.0 * outer_radius_mm, wall_mm)
    return pressure_mpa * (outer_radius_mm - wall_mm / 2.0) / wall_mm


def bore_hoop_stress_mpa(pressure_mpa: float, outer_radius_mm: float, wall_mm: float) -> float:
    """Hoop stress at the bore of a tube of any wall, 2 p Ro^2/(Ro^2 - Ri^2) (Lame).

    It is the largest there is: along the tube it is half as much, across the wall nothing. Raises ValueError for a
    wall that is no tube.
    """
    _wall_inside("a tube", 2.0 * outer_radius_mm, wall_mm)
    inner_radius_mm = outer_radius_mm - wall_mm
    return 2.0 * pressure_mpa * outer_radius_mm**2 / (outer_radius_mm**2 - inner_radius_mm**2)


def long_tube_buckling_mpa(mean_diameter_mm: float, wall_mm: float, youngs_gpa: float, poisson: float) -> float:
    """Buckling of a tube whose ends are too far away to help, 2E/(1-nu^2) (t/D)^3 (Bresse, Bryan).

    In radii this is Roark's E/(4(1-nu^2)) (t/r)^3, table 35 case 19a. Raises ValueError for impossible arguments.
    """
    _material(youngs_gpa, poisson)
    above_zero(mean_diameter_mm=mean_diameter_mm, wall_mm=wall_mm)
    return 2.0 * youngs_gpa * MPA_PER_GPA / (1.0 - poisson**2) * (wall_mm / mean_diameter_mm) ** 3


def von_mises_buckling_mpa(
    mean_diameter_mm: float, wall_mm: float, length_mm: float, youngs_gpa: float, poisson: float
) -> tuple[float, int]:
    """Buckling of a tube between stiff ends under pressure from all round, and the number of lobes it folds into.

    The full formula of von Mises (1929), as given by Windenburg and Trilling (1934), least over two lobes and more:
    E t/R / (n^2-1+l/2) * ((l/(n^2+l))^2 + t^2/(12 R^2 (1-nu^2)) (n^2-1+l)^2), with l = (pi R/L)^2.
    Raises ValueError for impossible arguments.
    """
    _material(youngs_gpa, poisson)
    above_zero(mean_diameter_mm=mean_diameter_mm, wall_mm=wall_mm, length_mm=length_mm)
    radius_mm = mean_diameter_mm / 2.0
    wave = (math.pi * radius_mm / length_mm) ** 2
    slender = wall_mm / radius_mm
    bending = slender**2 / (12.0 * (1.0 - poisson**2))
    best, lobes = math.inf, 2
    n = 2
    # The bending part alone grows with every lobe: once it is above the best sum, no more lobes can be lower.
    while bending * (n * n - 1.0 + wave) ** 2 / (n * n - 1.0 + wave / 2.0) < best:
        stretch = (wave / (n * n + wave)) ** 2
        value = (stretch + bending * (n * n - 1.0 + wave) ** 2) / (n * n - 1.0 + wave / 2.0)
        if value < best:
            best, lobes = value, n
        n += 1
    return youngs_gpa * MPA_PER_GPA * slender * best, lobes


def windenburg_trilling_buckling_mpa(
    mean_diameter_mm: float, wall_mm: float, length_mm: float, youngs_gpa: float, poisson: float
) -> float:
    """Windenburg and Trilling's short form of von Mises's formula, without lobes (Trans. ASME 56, 1934).

    2.42 E (t/D)^2.5 / ((1-nu^2)^0.75 (L/D - 0.45 sqrt(t/D))). Good for thin walls with many lobes; too high for a
    thick short tube, far too low for a long one; infinite for a tube so short that the formula has no value.
    Raises ValueError for impossible arguments.
    """
    _material(youngs_gpa, poisson)
    above_zero(mean_diameter_mm=mean_diameter_mm, wall_mm=wall_mm, length_mm=length_mm)
    thin = wall_mm / mean_diameter_mm
    short = length_mm / mean_diameter_mm - 0.45 * math.sqrt(thin)
    if short <= 0.0:
        return math.inf
    return 2.42 * youngs_gpa * MPA_PER_GPA * thin**2.5 / ((1.0 - poisson**2) ** 0.75 * short)


def long_from_mm(mean_diameter_mm: float, wall_mm: float, poisson: float) -> float:
    """Length from which a tube counts as long: 4 pi sqrt(6)/27 (1-nu^2)^0.25 D sqrt(D/t), about 1.11 D sqrt(D/t).

    Southwell's critical length, as given by Windenburg and Trilling (1934), from memory. Raises ValueError for
    impossible arguments.
    """
    above_zero(mean_diameter_mm=mean_diameter_mm, wall_mm=wall_mm)
    _within("poisson", poisson, 0.0, 0.5)
    southwell = 4.0 * math.pi * math.sqrt(6.0) / 27.0
    return southwell * (1.0 - poisson**2) ** 0.25 * mean_diameter_mm * math.sqrt(mean_diameter_mm / wall_mm)


def check_tube(
    outer_diameter_mm: float, wall_mm: float, length_mm: float, youngs_gpa: float, poisson: float, strength_mpa: float
) -> Check:
    """A tube closed by stiff ends `length_mm` apart, under pressure on its outside and its ends.

    Yield is Lame's hoop stress at the bore. Buckling is the lower of von Mises and Windenburg-Trilling: the short form
    counts only where it is on the safe side. No length makes a tube weaker than the long tube, so that is the floor;
    it sets the short form aside where it sinks below, a little beyond `long_from_mm`, without a step in between.
    Raises ValueError for a wall that is no tube and for impossible numbers.
    """
    _wall_inside("a tube", outer_diameter_mm, wall_mm)
    above_zero(length_mm=length_mm, strength_mpa=strength_mpa)
    _material(youngs_gpa, poisson)
    mean_diameter_mm = outer_diameter_mm - wall_mm
    yield_mpa = strength_mpa / bore_hoop_stress_mpa(1.0, outer_diameter_mm / 2.0, wall_mm)
    mises_mpa, lobes = von_mises_buckling_mpa(mean_diameter_mm, wall_mm, length_mm, youngs_gpa, poisson)
    short_form_mpa = windenburg_trilling_buckling_mpa(mean_diameter_mm, wall_mm, length_mm, youngs_gpa, poisson)
    long_mpa = long_tube_buckling_mpa(mean_diameter_mm, wall_mm, youngs_gpa, poisson)
    buckling_mpa = max(long_mpa, min(mises_mpa, short_form_mpa))
    fold = "buckling in %d lobes between the ends" % lobes
    if buckling_mpa == long_mpa:
        fold = "buckling in 2 lobes as a long tube"
    limits = [PERFECT_TUBE]
    limits += _tube_yield_limits(outer_diameter_mm, wall_mm)
    limits += _short_form_limits(short_form_mpa, mises_mpa)
    if length_mm > long_from_mm(mean_diameter_mm, wall_mm, poisson):
        limits.append("At %.3g diameters of length its ends no longer help: it counts as a long tube, and the formula "
                      "of Windenburg and Trilling (%.3g MPa here) does not hold." % (
                          length_mm / mean_diameter_mm, short_form_mpa))
    limits += _thick_shell_limits(outer_diameter_mm / wall_mm)
    return _lower_of(yield_mpa, "yield at the bore", buckling_mpa, fold, (*limits, *_plastic_limits(youngs_gpa)))


def _tube_yield_limits(outer_diameter_mm: float, wall_mm: float) -> Iterator[str]:
    radius_mm = outer_diameter_mm / 2.0
    low = 1.0 - thin_hoop_stress_mpa(1.0, radius_mm, wall_mm) / bore_hoop_stress_mpa(1.0, radius_mm, wall_mm)
    if low >= 0.01:
        yield "The thin-wall formula is %.0f %% low at D/t %.3g; Lame's stress at the bore is used." % (
            100.0 * low, outer_diameter_mm / wall_mm)


def _short_form_limits(short_form_mpa: float, mises_mpa: float) -> Iterator[str]:
    if math.isinf(short_form_mpa):
        yield "The tube is too short for the formula of Windenburg and Trilling; von Mises's is used."
    elif short_form_mpa > mises_mpa * 1.01:
        yield "Windenburg and Trilling give %.3g MPa, %.0f %% above von Mises: not used, it would be unsafe." % (
            short_form_mpa, 100.0 * (short_form_mpa / mises_mpa - 1.0))


# --- flat disc -------------------------------------------------------------------------------------------------------


def disc_stress_mpa(pressure_mpa: float, radius_mm: float, wall_mm: float, poisson: float, edge: str) -> float:
    """Largest bending stress of a flat disc under pressure on one face (Timoshenko; Roark).

    Supported: 3(3+nu) p a^2/(8 t^2), at the centre of the dry face. Clamped: 3/4 p (a/t)^2, at the edge of the wet
    face. `radius_mm` is that of the opening nothing backs. Raises ValueError for impossible arguments.
    """
    _disc(radius_mm, wall_mm, poisson, edge)
    shape = 0.75 if edge == CLAMPED else 3.0 * (3.0 + poisson) / 8.0
    return shape * pressure_mpa * (radius_mm / wall_mm) ** 2


def disc_shear_mpa(pressure_mpa: float, radius_mm: float, wall_mm: float) -> float:
    """Largest shear stress at the rim, 3/4 p a/t: one and a half times the rim's share of the load, p a/(2t).

    The share is plain balance of forces; one and a half is the peak of the parabola across the wall (Timoshenko).
    Raises ValueError for impossible arguments.
    """
    above_zero(radius_mm=radius_mm, wall_mm=wall_mm)
    return 0.75 * pressure_mpa * radius_mm / wall_mm


def disc_bow_mm(
    pressure_mpa: float, radius_mm: float, wall_mm: float, youngs_gpa: float, poisson: float, edge: str
) -> float:
    """How far the centre of a flat disc gives way (Timoshenko; Roark), bending only.

    Supported: (5+nu) p a^4/(64 (1+nu) B); clamped: p a^4/(64 B); B = E t^3/(12 (1-nu^2)).
    Raises ValueError for impossible arguments.
    """
    _disc(radius_mm, wall_mm, poisson, edge)
    _material(youngs_gpa, poisson)
    stiffness_n_mm = youngs_gpa * MPA_PER_GPA * wall_mm**3 / (12.0 * (1.0 - poisson**2))
    shape = 1.0 if edge == CLAMPED else (5.0 + poisson) / (1.0 + poisson)
    return shape * pressure_mpa * radius_mm**4 / (64.0 * stiffness_n_mm)


def check_disc(
    free_diameter_mm: float, wall_mm: float, youngs_gpa: float, poisson: float, strength_mpa: float,
    edge: str = SUPPORTED,
) -> Check:
    """A flat round window, pressed on one face; `edge` is "supported" (rests on a seat) or "clamped".

    Clamped is the luck of a stiff flange, never of a seal ring: when in doubt, supported. Raises ValueError for an
    unknown edge and for impossible numbers.
    """
    radius_mm = free_diameter_mm / 2.0
    above_zero(free_diameter_mm=free_diameter_mm, strength_mpa=strength_mpa)
    bending_mpa = strength_mpa / disc_stress_mpa(1.0, radius_mm, wall_mm, poisson, edge)
    # A ductile material shears at its strength by the square root of three (von Mises).
    shear_mpa = strength_mpa / math.sqrt(3.0) / disc_shear_mpa(1.0, radius_mm, wall_mm)
    yield_mpa = min(bending_mpa, shear_mpa)
    mode = "yield at the clamped edge" if edge == CLAMPED else "yield at the centre of the dry face"
    if shear_mpa < bending_mpa:
        mode = "shear at the rim"
    limits = [PERFECT_DISC]
    if edge == CLAMPED:
        limits.append("A clamped edge needs a flange far stiffer than the disc; if it only rests on a seat, check it "
                      "as supported.")
    if wall_mm > THICK_PLATE * radius_mm:
        limits.append("At %.2g of its free radius the disc is thick for plate theory, which leaves shear out of the "
                      "bending." % (wall_mm / radius_mm))
    bow_mm = disc_bow_mm(yield_mpa, radius_mm, wall_mm, youngs_gpa, poisson, edge)
    if bow_mm > wall_mm / 2.0:
        limits.append("It would bow %.3g mm before it yields, more than half its wall of %.3g mm: the formula leaves "
                      "out that the disc then also stretches, and is rough." % (bow_mm, wall_mm))
    return Check(yield_mpa, None, yield_mpa, mode, (*limits, *_plastic_limits(youngs_gpa)))


# --- dome ------------------------------------------------------------------------------------------------------------


def sphere_bore_stress_mpa(pressure_mpa: float, outer_radius_mm: float, wall_mm: float) -> float:
    """Stress along the inner face of a hollow sphere of any wall, 3 p Ro^3/(2 (Ro^3 - Ri^3)) (Lame).

    Raises ValueError for a wall that is no shell.
    """
    _wall_inside("a dome", 2.0 * outer_radius_mm, wall_mm)
    inner_radius_mm = outer_radius_mm - wall_mm
    return 1.5 * pressure_mpa * outer_radius_mm**3 / (outer_radius_mm**3 - inner_radius_mm**3)


def sphere_buckling_mpa(mean_radius_mm: float, wall_mm: float, youngs_gpa: float, poisson: float) -> float:
    """Buckling of the perfect sphere, 2E/sqrt(3(1-nu^2)) (t/R)^2 (Zoelly 1915). No real sphere reaches it.

    Raises ValueError for impossible arguments.
    """
    _material(youngs_gpa, poisson)
    above_zero(mean_radius_mm=mean_radius_mm, wall_mm=wall_mm)
    perfect = 2.0 * youngs_gpa * MPA_PER_GPA / math.sqrt(3.0 * (1.0 - poisson**2))
    return perfect * (wall_mm / mean_radius_mm) ** 2


def dome_knock_down(mean_radius_mm: float, wall_mm: float, poisson: float) -> float:
    """The share of `sphere_buckling_mpa` to count on for a half sphere, 0.14 + 3.2/lambda^2, at most 1.

    Lower bound of many tests of caps with a held rim, NASA SP-8032 (1969), from memory:
    lambda = (12 (1-nu^2))^0.25 sqrt(R/t) 2 sin(phi/2), phi = 90 degrees here. Raises ValueError for impossible
    arguments.
    """
    above_zero(mean_radius_mm=mean_radius_mm, wall_mm=wall_mm)
    _within("poisson", poisson, 0.0, 0.5)
    half_sphere = 2.0 * math.sin(math.pi / 4.0)
    depth = (12.0 * (1.0 - poisson**2)) ** 0.25 * math.sqrt(mean_radius_mm / wall_mm) * half_sphere
    return min(1.0, 0.14 + 3.2 / depth**2)


def check_dome(
    outer_diameter_mm: float, wall_mm: float, youngs_gpa: float, poisson: float, strength_mpa: float
) -> Check:
    """A half sphere, round side to the sea, its rim held.

    Yield is Lame's stress at the inner face, buckling Zoelly's with the knock-down of NASA SP-8032. Raises ValueError
    for a wall that is no shell and for impossible numbers.
    """
    _wall_inside("a dome", outer_diameter_mm, wall_mm)
    above_zero(strength_mpa=strength_mpa)
    mean_radius_mm = (outer_diameter_mm - wall_mm) / 2.0
    yield_mpa = strength_mpa / sphere_bore_stress_mpa(1.0, outer_diameter_mm / 2.0, wall_mm)
    perfect_mpa = sphere_buckling_mpa(mean_radius_mm, wall_mm, youngs_gpa, poisson)
    knock_down = dome_knock_down(mean_radius_mm, wall_mm, poisson)
    limits = (
        PERFECT_DOME,
        "Buckling is %.2f of the perfect sphere's %.3g MPa: a dent too small to see costs the rest." % (
            knock_down, perfect_mpa),
        *_thick_shell_limits(outer_diameter_mm / wall_mm),
        *_plastic_limits(youngs_gpa),
    )
    return _lower_of(yield_mpa, "yield at the inner face", knock_down * perfect_mpa, "buckling of the dome", limits)


# --- shared ----------------------------------------------------------------------------------------------------------


def _lower_of(yield_mpa: float, yields: str, buckling_mpa: float, buckles: str, limits: tuple[str, ...]) -> Check:
    governing_mpa, mode = min((yield_mpa, yields), (buckling_mpa, buckles))
    if max(yield_mpa, buckling_mpa) < CLOSE_RATIO * governing_mpa:
        limits = (*limits, "Yield (%.3g MPa) and buckling (%.3g MPa) lie close together: a real wall gives way below "
                           "both." % (yield_mpa, buckling_mpa))
    return Check(yield_mpa, buckling_mpa, governing_mpa, mode, limits)


def _thick_shell_limits(diameter_by_wall: float) -> Iterator[str]:
    if diameter_by_wall < THICK_SHELL:
        yield ("At D/t %.3g the wall is thick: the yield pressure holds, the buckling pressure is rough."
               % diameter_by_wall)


def _plastic_limits(youngs_gpa: float) -> Iterator[str]:
    if youngs_gpa < PLASTIC_GPA:
        yield ("A modulus of %.3g GPa is a plastic's: stiffness and strength fall with warmth and with time under "
               "load, and these short-time figures are no allowables." % youngs_gpa)


def _within(name: str, value: float, low: float, high: float) -> None:
    if not low <= value <= high:
        raise ValueError("%s is %g; it must lie from %g to %g." % (name, value, low, high))


def _material(youngs_gpa: float, poisson: float) -> None:
    above_zero(youngs_gpa=youngs_gpa)
    _within("poisson", poisson, 0.0, 0.5)


def _disc(radius_mm: float, wall_mm: float, poisson: float, edge: str) -> None:
    above_zero(radius_mm=radius_mm, wall_mm=wall_mm)
    _within("poisson", poisson, 0.0, 0.5)
    if edge not in EDGES:
        raise ValueError('edge is "%s"; it must be "%s" or "%s".' % (edge, *EDGES))


def _wall_inside(form: str, outer_diameter_mm: float, wall_mm: float) -> None:
    above_zero(outer_diameter_mm=outer_diameter_mm, wall_mm=wall_mm)
    if 2.0 * wall_mm >= outer_diameter_mm:
        raise ValueError("wall_mm is %g; %s %g mm across must have a wall under %g mm, so make the wall thinner or the "
                         "diameter larger." % (wall_mm, form, outer_diameter_mm, outer_diameter_mm / 2.0))
