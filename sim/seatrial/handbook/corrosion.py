"""Metal that goes into the water: wires that current dissolves, links and anodes that corrode by themselves.

Faraday's law is exact; what a real wire, link or anode makes of it is not. Of a link that corrodes by itself only
bounds are given here: no published law of its time against temperature, salt and flow is known that deserves trust.
"""

from dataclasses import dataclass
from math import inf, pi

import gsw

from seatrial.handbook.arguments import above_zero, within

FARADAY_C_MOL = 96485.33212  # CODATA 2018 and 2022; exact since the SI of 2019
LEAST_SALT_PSU = 2.0  # the practical salinity scale begins here, and a link in fresher water hardly corrodes
PENETRATION_MM_YEAR = 3.27e-3  # mm g / (uA cm year): ASTM G102, the constant of its equation for penetration
Q10 = 2.0  # rates of reaction double with 10 degC: rule of thumb, from memory
UNSOAKED = 0.5  # of the life: doubt in a link that was not soaked by its user in his own water; own choice
STAINLESS_304_KG_M3 = 7940.0  # ASTM G1, appendix table of densities, from memory

# Type 304, mass fractions of its worked example in ASTM G102: (fraction, atomic mass). Elements below 1 % left out.
_IRON, _CHROMIUM, _NICKEL = (0.7175, 55.845), (0.19, 51.9961), (0.0925, 58.6934)


def equivalent_weight(parts: tuple[tuple[float, float, int], ...]) -> float:
    """Equivalent weight of an alloy, g/mol, from (mass fraction, atomic mass, valence) of its elements.

    ASTM G102: 1 / sum(f n / W). Raises ValueError when there is no part, or one is not above 0.
    """
    if not parts or min(min(part) for part in parts) <= 0:
        raise ValueError(f"parts is {parts}; allowed are rows of mass fraction, atomic mass and valence, all above 0: "
                         "leave out elements that are not in the alloy")
    return 1.0 / sum(fraction * valence / mass for fraction, mass, valence in parts)


def _of_304(iron: int, chromium: int) -> float:
    return equivalent_weight(((*_IRON, iron), (*_CHROMIUM, chromium), (*_NICKEL, 2)))


# Which valences a driven wire dissolves with is not known beforehand: 25.12, 18.99 and 15.72 in ASTM G102.
EQUIVALENT_WEIGHTS_304 = {
    "iron 2, chromium 3": _of_304(2, 3),
    "iron 3, chromium 3": _of_304(3, 3),
    "iron 3, chromium 6": _of_304(3, 6),
}


@dataclass(frozen=True)
class Anode:
    """A metal that is eaten in the place of another, or in a link: its valence, and what a kilogram really gives."""

    atomic_mass: float
    valence: int
    design_ah_kg: float
    source: str


ANODES = {
    "zinc": Anode(65.38, 2, 700.0, "DNV-RP-B401 table 10-6, from memory"),
    "aluminium": Anode(26.9815, 3, 2000.0, "DNV-RP-B401 table 10-6, in seawater, from memory"),
    "magnesium": Anode(24.305, 2, 1100.0, "about half of theory: Baeckmann, Schwenk and Prinz, Handbook of Cathodic "
                                          "Corrosion Protection, 1100 to 1230, from memory"),
}


def theoretical_capacity_ah_kg(atomic_mass: float, valence: int) -> float:
    """Charge that a kilogram of a metal gives if every ion counts, Ah/kg: Faraday's law, z F / (3.6 M).

    Raises ValueError when a number is not above 0.
    """
    above_zero(atomic_mass=atomic_mass)
    above_zero(valence=valence)
    return valence * FARADAY_C_MOL / (3.6 * atomic_mass)


def anode_capacity_ah_kg(metal: str) -> float:
    """Charge that a kilogram of anode metal gives in design, Ah/kg. Raises ValueError for a metal without a figure."""
    if metal not in ANODES:
        raise ValueError(f'metal is "{metal}"; allowed is {", ".join(ANODES)}: no handbook figure for another is here')
    return ANODES[metal].design_ah_kg


def penetration_mm_year(current_density_ua_cm2: float, equivalent_weight: float, density_kg_m3: float) -> float:
    """How deep even corrosion eats in a year, mm, from the current density: ASTM G102, 3.27e-3 i EW / rho.

    Pits go deeper. Raises ValueError for a current below 0, or a weight or density not above 0.
    """
    within(0.0, inf, current_density_ua_cm2=current_density_ua_cm2)
    above_zero(equivalent_weight=equivalent_weight)
    above_zero(density_kg_m3=density_kg_m3)
    return PENETRATION_MM_YEAR * current_density_ua_cm2 * equivalent_weight / (0.001 * density_kg_m3)


def wire_parting_range_s(
    diameter_mm: float,
    length_mm: float,
    current_ma: float,
    density_kg_m3: float = STAINLESS_304_KG_M3,
    efficiency_fraction: float = 1.0,
    equivalent_weights: tuple[float, ...] = tuple(EQUIVALENT_WEIGHTS_304.values()),
) -> tuple[float, float]:
    """Shortest and longest time in which a current dissolves a bare round wire, s: Faraday's law, m z F / (W I).

    The range is that of the valences: of type 304 if not said otherwise, a factor 1.6 by itself. All of the bare
    length is eaten evenly; a wire parts sooner at a thin place and later where a film, cold or fresh water holds the
    current back. Raises ValueError when a number is not above 0, or the efficiency is above 1.
    """
    for key, value in (("diameter_mm", diameter_mm), ("length_mm", length_mm), ("current_ma", current_ma),
                       ("density_kg_m3", density_kg_m3), ("efficiency_fraction", efficiency_fraction)):
        above_zero(**{key: value})
    within(0.0, 1.0, efficiency_fraction=efficiency_fraction)
    if not equivalent_weights or min(equivalent_weights) <= 0.0:
        raise ValueError(f"equivalent_weights is {equivalent_weights}; allowed is one number above 0 and more: "
                         "give those of the alloy")
    mass_g = 0.25e-6 * pi * diameter_mm**2 * length_mm * density_kg_m3
    ampere = 0.001 * current_ma * efficiency_fraction
    times_s = [mass_g * FARADAY_C_MOL / (weight * ampere) for weight in equivalent_weights]
    return min(times_s), max(times_s)


def galvanic_rate_bounds(
    temperature_from_c: float, temperature_to_c: float, salinity_psu: float
) -> tuple[float, float]:
    """Slowest and fastest that a galvanic couple goes at one temperature, its rate at another being 1.

    One bound is the conductivity of the water (PSS-78 by gsw), where its resistance holds the current back; the other
    a doubling with 10 degC, where the reaction does (rule of thumb, from memory). Film, flow, oxygen and fouling are
    in neither. Raises ValueError outside -2 to 40 degC and 2 to 42 practical salinity.
    """
    within(-2.0, 40.0, temperature_from_c=temperature_from_c)
    within(-2.0, 40.0, temperature_to_c=temperature_to_c)
    within(LEAST_SALT_PSU, 42.0, salinity_psu=salinity_psu)
    by_water = float(gsw.C_from_SP(salinity_psu, temperature_to_c, 0.0)
                     / gsw.C_from_SP(salinity_psu, temperature_from_c, 0.0))
    by_reaction = Q10 ** ((temperature_to_c - temperature_from_c) / 10.0)
    return min(by_water, by_reaction), max(by_water, by_reaction)


def link_life_bounds_h(
    soaked_h_low: float,
    soaked_h_high: float,
    soaked_at_c: float,
    water_c: float,
    salinity_psu: float = 35.0,
    own_soak: bool = False,
) -> tuple[float, float]:
    """Earliest and latest that a corroding link lets go, h, from the shortest and longest life in a soak.

    Widened by what the temperature may do (`galvanic_rate_bounds`), and by half either way unless the links were
    soaked by the user himself, of the same batch and in his own water (`own_soak`). A bound of reason, not a promise.
    Raises ValueError for lives not above 0 or the wrong way round, and as `galvanic_rate_bounds`.
    """
    above_zero(soaked_h_low=soaked_h_low)
    above_zero(soaked_h_high=soaked_h_high)
    if soaked_h_low > soaked_h_high:
        raise ValueError(f"soaked_h_low is {soaked_h_low:g}; allowed is up to soaked_h_high, {soaked_h_high:g}: "
                         "swap them")
    slowest, fastest = galvanic_rate_bounds(soaked_at_c, water_c, salinity_psu)
    doubt = 0.0 if own_soak else UNSOAKED
    return (1.0 - doubt) * soaked_h_low / fastest, (1.0 + doubt) * soaked_h_high / slowest
