"""Weight in water as the chapter tells it, against seawater, gravity and densities of others."""

import gsw
import pytest
from ht.insulation import building_materials
from periodictable import elements

from seatrial import plan as plans
from seatrial.plan.body import Part
from seatrial.plan.sections import WaterRow
from seatrial.workings.weighing import one_weighed
from seatrial.workings.weights import chapter

LATITUDE_DEG, LONGITUDE_DEG, SALINITY_PSU = 45.0, -20.0, 35.0


def at_site(depth_m, temperature_c, part):
    """The built-in sample with one more part, in water of one temperature and salinity."""
    plan = plans.load_sample()
    water = (WaterRow(depth_m=0.0, temperature_c=temperature_c, salinity_psu=SALINITY_PSU),)
    site = plan.site.model_copy(update={"depth_m": depth_m, "water": water, "latitude_deg": LATITUDE_DEG,
                                        "longitude_deg": LONGITUDE_DEG})
    lander = plan.lander.model_copy(update={"parts": (*plan.lander.parts, part)})
    return plan.model_copy(update={"site": site, "lander": lander})


def row_of(plan, name):
    table = next(one for one in chapter(plan).tables if one.key == "parts")
    keys = [column.key for column in table.columns]
    return next(dict(zip(keys, row, strict=True)) for row in table.rows if row[0] == name)


def outside(depth_m, temperature_c):
    """Density in place, kg/m3, and gravity, m/s2, of the TEOS-10 library on the standard ocean's pressure."""
    dbar = gsw.p_from_z(-depth_m, LATITUDE_DEG)
    salinity = gsw.SA_from_SP(SALINITY_PSU, dbar, LONGITUDE_DEG, LATITUDE_DEG)
    density = gsw.rho(salinity, gsw.CT_from_t(salinity, temperature_c, dbar), dbar)
    return density, gsw.grav(LATITUDE_DEG, dbar / 2)


@pytest.mark.published(
    "memory", ids="3.4", tolerance="0.01 N",
    source="10 kg of 7850 kg/m3 (EN 1991-1-1 table A.4, from memory), TEOS-10, gravity of WGS 84: 85.20 N")
def test_ten_kilograms_of_steel_weigh_what_archimedes_leaves_of_them():
    # worked value: 10 kg of 7850 kg/m3 (EN 1991-1-1 table A.4, from memory), 45 N, 540 m, 35 psu, 8 degC (1029.75
    # kg/m3, TEOS-10), gravity of WGS 84 (NIMA TR8350.2): 85.20 N
    plan = at_site(540.0, 8.0, Part(name="weight", role="body", mass_kg=10.0, material="steel"))
    assert row_of(plan, "weight")["seabed_n"] == pytest.approx(85.20, abs=0.01)


@pytest.mark.published(
    "worked", ids="3.5", tolerance="0.002 N",
    source="385 kg/m3 (Engineered Syntactic Systems, measured sample for 1000 m), TEOS-10: 6.348 N")
def test_a_litre_of_foam_lifts_what_archimedes_gives_it():
    # worked value: 385 kg/m3 (Engineered Syntactic Systems, measured sample for 1000 m) at 1000 m, 35 psu, 5 degC
    # (1032.31 kg/m3, TEOS-10), 45 N: 6.348 N upward
    foam = Part(name="foam", role="float", volume_l=1.0, material="syntactic_foam_1000m")
    assert row_of(at_site(1000.0, 5.0, foam), "foam")["seabed_n"] == pytest.approx(-6.348, abs=0.002)


@pytest.mark.published(
    "library", ids="3.1", tolerance="5e-4",
    source="densities of the elements as in the library periodictable (CRC Handbook), water and gravity of gsw "
           "(TEOS-10)")
@pytest.mark.parametrize(("name", "symbol"), [("lead", "Pb"), ("iron", "Fe"), ("zinc", "Zn"), ("copper", "Cu")])
def test_a_piece_of_an_element_weighs_in_water_what_its_density_leaves(name, symbol):
    density, gravity = outside(540.0, 8.0)
    expected_n = 2.0 * gravity * (1.0 - density / (1000.0 * elements.symbol(symbol).density))
    part = Part(name="piece", role="body", mass_kg=2.0, material=name)
    assert row_of(at_site(540.0, 8.0, part), "piece")["seabed_n"] == pytest.approx(expected_n, rel=5e-4)


@pytest.mark.published(
    "library", ids="3.2", tolerance="0.01",
    source="ISO 10456 as tabulated in the library ht; the share left moves by what the tables differ, at most 1 % of"
           " density")
@pytest.mark.parametrize(("name", "published"), [
    ("stainless_steel", "Metals, stainless steel"), ("acrylic", "Plastics, polymethylmethacrylate (PMMA)"),
    ("reinforced_concrete", "Concrete, reinforced with 1% steel")])
def test_what_is_left_of_a_weight_is_that_of_the_density_in_iso_10456(name, published):
    density, gravity = outside(540.0, 8.0)
    expected = 1.0 - density / building_materials[published][0]
    left = one_weighed(at_site(540.0, 8.0, part := Part(name="piece", role="body", mass_kg=1.0, material=name)), part)
    assert left.seabed_n / gravity == pytest.approx(expected, abs=0.01)
