"""Materials of a lander: densities with their range, and for walls the stiffness and strength of a plain check.

Densities are those of dry, solid material in air at room temperature. None of the strengths is an allowable: they
are short-time figures of a common grade, and a part is made of what its certificate says. "From memory" in a source
means that the number was not looked up again in the document named.
"""

from dataclasses import dataclass
from difflib import get_close_matches

_CERTIFICATE = "the grade rules: take yield from its certificate, this is no allowable"
_CREEPS = "creeps: holds far less for hours than for minutes"
_HANDBOOK = "plastics handbooks and common data sheets, from memory"


@dataclass(frozen=True)
class Material:
    """What a handbook says of a material.

    `likely_kg_m3` within `low_kg_m3` to `high_kg_m3` is the density. `youngs_gpa` (GPa), `poisson` (-) and
    `strength_mpa` (MPa) are given together or not at all: short-time yield or 0.2 % proof stress, for brittle
    materials the strength in tension. `compressive_mpa` stands where compression holds much more than that.
    """

    likely_kg_m3: float
    low_kg_m3: float
    high_kg_m3: float
    source: str
    note: str = ""
    youngs_gpa: float | None = None
    poisson: float | None = None
    strength_mpa: float | None = None
    compressive_mpa: float | None = None

    @property
    def compressibility_per_mpa(self) -> float | None:
        """Share of the volume of the solid lost to each MPa of pressure from all sides; None where not known.

        3 (1 - 2 nu) / E, isotropic elasticity (any textbook, such as Timoshenko and Goodier, Theory of Elasticity).
        It is that of the solid, not of a hollow body made of it.
        """
        if self.youngs_gpa is None or self.poisson is None:
            return None
        return 3.0 * (1.0 - 2.0 * self.poisson) / (1000.0 * self.youngs_gpa)


# Measured samples, kg/m3, by the depth that the foam is rated for.
_SYNTACTIC_FOAM_KG_M3 = {
    1000: (385.0,),
    2000: (400.0,),
    3000: (432.0,),
    4000: (457.0, 515.0),
    4500: (490.0,),
    5000: (496.0,),
    6000: (552.0,),
    7000: (545.0,),
}
_MAKERS_DIFFER = 0.15  # of the density, from maker to maker


def _syntactic_foam(samples_kg_m3: tuple[float, ...]) -> Material:
    return Material(
        sum(samples_kg_m3) / len(samples_kg_m3),
        min(samples_kg_m3) * (1.0 - _MAKERS_DIFFER),
        max(samples_kg_m3) * (1.0 + _MAKERS_DIFFER),
        "Engineered Syntactic Systems, Acoustic properties of syntactic foam, part 3: measured samples",
        "samples of one maker: weigh yours, and take its compression and uptake of water from the maker")


MATERIALS: dict[str, Material] = {
    # metals
    "steel": Material(
        7850, 7800, 7870, "EN 1991-1-1 table A.4 (77 to 78.5 kN/m3), from memory; ISO 10456: 7800",
        "modulus of EN 1993-1-1, yield of grade S235 to EN 10025-2, from memory; " + _CERTIFICATE, 210.0, 0.30, 235.0),
    "stainless_steel": Material(
        7950, 7900, 8000, "304 and 316; ISO 10456: 7900",
        "proof stress of annealed 304 to ASTM A240, from memory; crevices pit in seawater", 200.0, 0.30, 205.0),
    "cast_iron": Material(
        7200, 7000, 7500, "grey iron, handbooks, from memory; ISO 10456: 7500",
        "brittle; strength in tension of EN-GJL-200, modulus at the low end, from memory", 100.0, 0.26, 200.0, 700.0),
    "iron": Material(7870, 7750, 7880, "CRC Handbook, element: 7874; wrought iron has slag in it and is lighter"),
    "aluminium": Material(
        2700, 2640, 2840, "alloy 6061, handbooks; ISO 10456, alloys: 2800",
        "proof stress of 6061-T6 to ASTM B209, from memory; welded or soft tempers hold less than half; "
        + _CERTIFICATE, 68.9, 0.33, 240.0),
    "titanium": Material(
        4510, 4500, 4540, "grade 2, ASM Handbook volume 2, from memory",
        "proof stress of grade 2 to ASTM B265, from memory; " + _CERTIFICATE, 105.0, 0.37, 275.0),
    "titanium_grade_5": Material(
        4430, 4420, 4470, "Ti-6Al-4V, ASM Handbook volume 2, from memory",
        "proof stress of annealed sheet to ASTM B265, from memory; " + _CERTIFICATE, 114.0, 0.34, 828.0),
    "brass": Material(
        8450, 8300, 8750, "CuZn37 to CuZn39Pb3, handbooks, from memory; ISO 10456: 8400",
        "soft temper, from memory; loses its zinc in seawater", 100.0, 0.34, 120.0),
    "bronze": Material(
        8800, 7500, 8900, "tin bronze, handbooks, from memory; ISO 10456: 8700",
        "cast tin bronze, from memory; aluminium bronze is lighter (7500 to 7700)", 105.0, 0.34, 130.0),
    "copper": Material(
        8930, 8890, 8960, "CRC Handbook, element: 8960; ISO 10456: 8900", "annealed, from memory", 117.0, 0.34, 50.0),
    "lead": Material(11340, 11300, 11350, "CRC Handbook: 11340", "antimony makes it lighter: a hard alloy has 10900"),
    "zinc": Material(7133, 7100, 7200, "CRC Handbook, element: 7133; ISO 10456: 7200"),
    "magnesium": Material(1740, 1730, 1840, "CRC Handbook, element: 1738; anode alloys to 1840, from memory"),
    # stone
    "concrete": Material(
        2300, 2000, 2400, "ISO 10456: 2000 to 2400", "soaks water: weigh it wet; a home mix is at the low end"),
    "reinforced_concrete": Material(
        2300, 2300, 2400, "ISO 10456: 2300 with 1 % of steel, 2400 with 2 %", "soaks water: weigh it wet"),
    "brick": Material(
        1920, 1120, 2400, "clay brick, ASHRAE Handbook Fundamentals, tables of masonry",
        "dry bulk: soaks water, weigh it wet; hollow bricks are the light ones, take 1600 and more"),
    "granite": Material(
        2650, 2600, 2750, "ISO 10456: 2600; handbooks to 2750, from memory", "field stones differ: weigh yours"),
    # plastics
    "acrylic": Material(
        1185, 1180, 1190, "ISO 10456, PMMA: 1180; data sheets of cast sheet 1190",
        "the least modulus and strength that ASME PVHO-1 accepts of cast sheet (400 000, 9000 and 15 000 lbf/in2), "
        "from memory; " + _CREEPS, 2.76, 0.37, 62.0, 103.0),
    "polycarbonate": Material(1200, 1190, 1220, "ISO 10456: 1200", _HANDBOOK + "; " + _CREEPS, 2.35, 0.37, 60.0),
    "polyethylene": Material(
        955, 930, 980, "high density, " + _HANDBOOK + "; ISO 10456: 980", _HANDBOOK + "; " + _CREEPS, 0.8, 0.42, 22.0),
    "polypropylene": Material(905, 895, 915, "ISO 10456: 910", _HANDBOOK + "; " + _CREEPS, 1.3, 0.40, 30.0),
    "pvc": Material(1400, 1330, 1450, "rigid, ISO 10456: 1390", _HANDBOOK + "; " + _CREEPS, 2.8, 0.38, 45.0),
    "acetal": Material(1410, 1390, 1430, "ISO 10456, polyacetate: 1410", _HANDBOOK + "; " + _CREEPS, 2.7, 0.35, 60.0),
    "nylon": Material(
        1140, 1120, 1160, "ISO 10456: 1150", _HANDBOOK + ", soaked through; swells in water; " + _CREEPS,
        1.4, 0.40, 40.0),
    "epoxy": Material(1200, 1100, 1250, "ISO 10456: 1200", "unfilled; fillers make it heavier"),
    "rubber": Material(
        1240, 910, 1500, "neoprene, ISO 10456: 1240; natural 910",
        "filled compounds go to 1500, from memory; no sponge rubber"),
    # glass
    "borosilicate_glass": Material(
        2230, 2210, 2250, "ISO 3585, glass 3.3; PNNL-15870", "brittle; EN 1595 allows 7 MPa in tension and 100 in "
        "compression, from memory; scratches and the seat rule", 63.0, 0.20, 7.0, 100.0),
    "soda_glass": Material(
        2500, 2470, 2520, "ISO 10456: 2500", "brittle; annealed, bending for a short time, EN 572-1, from memory: "
        "holds far less for long and when scratched", 70.0, 0.22, 45.0),
    # what floats
    **{"syntactic_foam_%dm" % rated_m: _syntactic_foam(samples) for rated_m, samples in _SYNTACTIC_FOAM_KG_M3.items()},
    "polyurethane_foam": Material(
        60, 30, 200, "rigid closed-cell foam, data sheets, from memory",
        "not for depth: crushes within tens of metres and soaks water"),
    "wood": Material(600, 400, 800, "ISO 10456, timber: 500 and 700", "soaks water under pressure and sinks: no float"),
    "polypropylene_rope": Material(
        910, 900, 920, "fibre of polypropylene, ISO 10456: 910",
        "holds air at the splash, which is gone in the first metres"),
}

# Said by those who look for a material under another of its names; only to lead them to the one above.
_ALSO_CALLED = {
    "aluminum": "aluminium",
    "foam": "syntactic_foam_1000m",
    "glass": "borosilicate_glass",
    "hdpe": "polyethylene",
    "pa": "nylon",
    "pc": "polycarbonate",
    "pe": "polyethylene",
    "pmma": "acrylic",
    "polyamide": "nylon",
    "pom": "acetal",
    "pp": "polypropylene",
    "stone": "granite",
    "timber": "wood",
}


def density_kg_m3(name: str) -> float:
    """The likely density of a material of `MATERIALS`, kg/m3. Raises ValueError with the nearest names."""
    if name not in MATERIALS:
        raise ValueError(f'material is "{name}"; no such material is known here: take {_meant(name)}, or give the '
                         "density_kg_m3 of the part")
    return MATERIALS[name].likely_kg_m3


def nearest_names(name: str) -> list[str]:
    """Up to three names of `MATERIALS` that a person may have meant, the nearest first; may be empty."""
    written = name.strip().lower().replace(" ", "_").replace("-", "_")
    if written in MATERIALS:
        return [written]
    if written in _ALSO_CALLED:
        return [_ALSO_CALLED[written]]
    within = [known for known in MATERIALS if written and written in known]
    close = get_close_matches(written, [*MATERIALS, *_ALSO_CALLED], n=3, cutoff=0.7)
    found = [_ALSO_CALLED.get(known, known) for known in close] + within
    return list(dict.fromkeys(found))[:3]


def weight_left_fraction(density_kg_m3: float, water_density_kg_m3: float) -> float:
    """Share of its weight in air that a solid keeps in water: 1 - rho_w / rho (Archimedes); below 0 it floats.

    Raises ValueError for a density that is not above 0.
    """
    for key, value in (("density_kg_m3", density_kg_m3), ("water_density_kg_m3", water_density_kg_m3)):
        if not value > 0.0:
            raise ValueError(f"{key} is {value:g}; allowed is more than 0: give it in kilograms per cubic metre")
    return 1.0 - water_density_kg_m3 / density_kg_m3


def _meant(name: str) -> str:
    found = nearest_names(name) or list(MATERIALS)
    return found[0] if len(found) == 1 else ", ".join(found[:-1]) + " or " + found[-1]
