"""Heat out of a closed tube: still air inside, the wall, and the water or air around it.

Incropera and DeWitt, Fundamentals of Heat and Mass Transfer (from memory), for all correlations here. They are good to
some 20 %; a housing with ribs, feet or mud around it is another case. Typical films after the same book (table 1.1,
from memory): free gases 2 to 25 W/m2K, free liquids 50 to 1000, forced liquids 100 to 20 000; others print 50 to 100
for free liquids.
"""

from collections.abc import Callable
from dataclasses import dataclass
from math import inf, log, pi

import gsw

from seatrial.handbook.arguments import above_zero
from seatrial.handbook.shapes import kinematic_viscosity_m2_s

STEFAN_BOLTZMANN_W_M2K4 = 5.670374419e-8  # CODATA 2018, exact
GRAVITY_M_S2 = 9.80665
ZERO_C_K = 273.15
SEA_PSU = 35.0

# W/mK. EN ISO 10456, but titanium, its grade 5 and borosilicate glass: data sheets, from memory. Aluminium 6061 has 167
# and cast acrylic 0.19 to 0.20 (from memory).
CONDUCTIVITY_W_MK = {
    "acrylic": 0.18, "polycarbonate": 0.20, "acetal": 0.30, "pvc": 0.17, "polyethylene": 0.50, "nylon": 0.25,
    "polypropylene": 0.22, "aluminium": 160.0, "steel": 50.0, "stainless_steel": 17.0, "cast_iron": 50.0,
    "titanium": 17.0, "titanium_grade_5": 7.0, "brass": 120.0, "bronze": 65.0, "copper": 380.0,
    "borosilicate_glass": 1.1, "soda_glass": 1.0,
}

ATMOSPHERE_PA = 101325.0
AIR_GAS_CONSTANT_J_KG_K = 287.053
AIR_HEAT_J_KG_K = 1006.0  # Incropera, table A.4, within 0.3 % over the range, from memory
AIR_RANGE_C = (-40.0, 80.0)


@dataclass(frozen=True)
class Fluid:
    """A fluid at one temperature: viscosity m2/s, conductivity W/mK, Prandtl number, thermal expansion 1/K."""

    viscosity_m2_s: float
    conductivity_w_mk: float
    prandtl: float
    expansion_per_k: float


def air(temperature_c: float) -> Fluid:
    """Dry air at one atmosphere, as an ideal gas: viscosity and conductivity of the US Standard Atmosphere 1976.

    Its equations 51 and 53, from memory. Raises ValueError outside -40 to 80 degC.
    """
    if not AIR_RANGE_C[0] <= temperature_c <= AIR_RANGE_C[1]:
        raise ValueError(f"temperature_c is {temperature_c:g}; air is known from -40 to 80 degC: correct it")
    kelvin = temperature_c + ZERO_C_K
    dynamic_pa_s = 1.458e-6 * kelvin**1.5 / (kelvin + 110.4)
    conductivity = 2.64638e-3 * kelvin**1.5 / (kelvin + 245.4 * 10.0 ** (-12.0 / kelvin))
    density = ATMOSPHERE_PA / (AIR_GAS_CONSTANT_J_KG_K * kelvin)
    return Fluid(dynamic_pa_s / density, conductivity, dynamic_pa_s * AIR_HEAT_J_KG_K / conductivity, 1.0 / kelvin)


def fresh_water(temperature_c: float) -> Fluid:
    """Fresh water at the pressure of the surface. Raises ValueError outside -2 to 40 degC."""
    return _water(temperature_c, 0.0)


def seawater(temperature_c: float) -> Fluid:
    """Seawater of practical salinity 35 at the pressure of the surface. Raises ValueError outside -2 to 40 degC."""
    return _water(temperature_c, SEA_PSU)


FLUIDS: dict[str, Callable[[float], Fluid]] = {"air": air, "fresh_water": fresh_water, "seawater": seawater}


def water_conductivity_w_mk(temperature_c: float, salinity_psu: float) -> float:
    """Thermal conductivity of water, W/mK: 0.580 fresh and 0.575 at salinity 35, at 10 degC (IAPWS-08).

    The slope of 0.0018 a degree is that of fresh water (IAPWS, from memory); good to 1 % from 0 to 40 degC.
    """
    return 0.580 - 0.005 * salinity_psu / 35.0 + 0.0018 * (temperature_c - 10.0)


def cylinder_w_m2k(fluid: str, diameter_m: float, surface_c: float, fluid_c: float) -> float:
    """Film of free convection on a long horizontal cylinder, W/m2K: Churchill and Chu 1975, Rayleigh up to 1e12.

    `fluid` is a key of `FLUIDS`, taken at the mean of both temperatures. Fresh water turns its expansion at 4 degC:
    across that temperature the film is only a guess. Raises ValueError for another fluid, a diameter not above 0, and
    temperatures beyond its properties.
    """
    above_zero(diameter_m=diameter_m)
    film = _fluid(fluid)(0.5 * (surface_c + fluid_c))
    buoyancy = GRAVITY_M_S2 * abs(film.expansion_per_k) * abs(surface_c - fluid_c)
    rayleigh = buoyancy * diameter_m**3 * film.prandtl / film.viscosity_m2_s**2
    shape = (1.0 + (0.559 / film.prandtl) ** (9 / 16)) ** (8 / 27)
    nusselt = (0.60 + 0.387 * rayleigh ** (1 / 6) / shape) ** 2
    return nusselt * film.conductivity_w_mk / diameter_m


def current_w_m2k(fluid: str, diameter_m: float, surface_c: float, fluid_c: float, speed_m_s: float) -> float:
    """Film on a cylinder across a current, W/m2K: Churchill and Bernstein 1977, for Reynolds times Prandtl above 0.2.

    It knows nothing of free convection: in a weak current the larger of both films holds. Raises ValueError as
    `cylinder_w_m2k`, and for a speed below 0.
    """
    above_zero(diameter_m=diameter_m)
    _not_below_zero("speed_m_s", speed_m_s)
    film = _fluid(fluid)(0.5 * (surface_c + fluid_c))
    reynolds = speed_m_s * diameter_m / film.viscosity_m2_s
    shape = (1.0 + (0.4 / film.prandtl) ** (2 / 3)) ** 0.25
    nusselt = 0.3 + 0.62 * reynolds**0.5 * film.prandtl ** (1 / 3) / shape * (1 + (reynolds / 282000) ** 0.625) ** 0.8
    return nusselt * film.conductivity_w_mk / diameter_m


def radiation_w_m2k(emissivity: float, surface_c: float, around_c: float) -> float:
    """Film that stands for radiation to surroundings at `around_c`, W/m2K: e sigma (Ts + Ta)(Ts^2 + Ta^2).

    Raises ValueError for an emissivity outside 0 to 1 and a temperature not above absolute zero.
    """
    _share("emissivity", emissivity)
    for name, value in (("surface_c", surface_c), ("around_c", around_c)):
        if not -ZERO_C_K < value < inf:
            raise ValueError(f"{name} is {value:g}; allowed is more than absolute zero, -273.15 degC: correct it")
    surface_k, around_k = surface_c + ZERO_C_K, around_c + ZERO_C_K
    return emissivity * STEFAN_BOLTZMANN_W_M2K4 * (surface_k + around_k) * (surface_k**2 + around_k**2)


def tube_wall_k_w(inner_mm: float, outer_mm: float, length_mm: float, conductivity_w_mk: float) -> float:
    """Resistance of the wall of a tube, K/W, given its diameters: ln(outer/inner) / (2 pi k L).

    Raises ValueError for sizes not above 0 and an inner diameter that is not below the outer.
    """
    for name, value in (("inner_mm", inner_mm), ("length_mm", length_mm), ("conductivity_w_mk", conductivity_w_mk)):
        above_zero(**{name: value})
    if not inner_mm < outer_mm:
        raise ValueError(f"inner_mm is {inner_mm:g}; it must be below outer_mm, which is {outer_mm:g}")
    return log(outer_mm / inner_mm) / (2.0 * pi * conductivity_w_mk * length_mm / 1000.0)


def film_k_w(film_w_m2k: float, diameter_mm: float, length_mm: float) -> float:
    """Resistance of a film on the mantle of a tube, K/W. Raises ValueError for numbers not above 0."""
    for name, value in (("film_w_m2k", film_w_m2k), ("diameter_mm", diameter_mm), ("length_mm", length_mm)):
        above_zero(**{name: value})
    return 1.0 / (film_w_m2k * pi * diameter_mm * length_mm / 1e6)


def housing_w_k(inner_film_w_m2k: float | None, inner_mm: float, outer_mm: float, length_mm: float,
                conductivity_w_mk: float, outer_film_w_m2k: float) -> float:
    """Conductance of the mantle of a tube from the air inside to the fluid outside, W/K: films and wall in series.

    `inner_film_w_m2k` None leaves the still air out: from the wall's inside on. Ends and feet are not counted.
    Incropera, chapter 3 (from memory). Raises ValueError as `tube_wall_k_w` and `film_k_w`.
    """
    across_k_w = tube_wall_k_w(inner_mm, outer_mm, length_mm, conductivity_w_mk)
    across_k_w += film_k_w(outer_film_w_m2k, outer_mm, length_mm)
    if inner_film_w_m2k is not None:
        across_k_w += film_k_w(inner_film_w_m2k, inner_mm, length_mm)
    return 1.0 / across_k_w


def sun_w(sun_w_m2: float, sunlit_area_m2: float, absorbed_fraction: float) -> float:
    """Heat that the sun leaves in a surface, W.

    Raises ValueError for a share outside 0 to 1, and for sun or area below 0.
    """
    _share("absorbed_fraction", absorbed_fraction)
    _not_below_zero("sun_w_m2", sun_w_m2)
    _not_below_zero("sunlit_area_m2", sunlit_area_m2)
    return sun_w_m2 * sunlit_area_m2 * absorbed_fraction


def _water(temperature_c: float, salinity_psu: float) -> Fluid:
    viscosity = kinematic_viscosity_m2_s(temperature_c, salinity_psu)
    absolute_g_kg = float(gsw.SR_from_SP(salinity_psu))
    density = float(gsw.rho_t_exact(absolute_g_kg, temperature_c, 0.0))
    heat_j_kg_k = float(gsw.cp_t_exact(absolute_g_kg, temperature_c, 0.0))
    conductivity = water_conductivity_w_mk(temperature_c, salinity_psu)
    return Fluid(viscosity, conductivity, viscosity * density * heat_j_kg_k / conductivity,
                 float(gsw.alpha_wrt_t_exact(absolute_g_kg, temperature_c, 0.0)))


def _fluid(name: str) -> Callable[[float], Fluid]:
    if name not in FLUIDS:
        raise ValueError(f'fluid is "{name}"; known are {", ".join(FLUIDS)}: take one of these')
    return FLUIDS[name]


def _not_below_zero(name: str, value: float) -> None:
    if not 0.0 <= value < inf:
        raise ValueError(f"{name} is {value:g}; allowed is 0 and more: correct it")


def _share(name: str, value: float) -> None:
    if not 0.0 <= value <= 1.0:
        raise ValueError(f"{name} is {value:g}; allowed is 0 to 1: give it as a share")
