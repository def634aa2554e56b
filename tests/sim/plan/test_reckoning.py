"""Weights, speeds and times that follow from a plan, against outside sources.

Outside sources are named beside each check; CHECK_VALUES is the project's own list of published numbers. "By hand"
marks arithmetic worked here from the sample plan.
"""

import math

import pytest

from seatrial import plan as plans
from seatrial.hull import Hull
from seatrial.plan import Plan

from .editing import edited, put


@pytest.mark.published(
    "worked", ids="4.4, 4.3", tolerance="0.1 s",
    source="Faraday's law with the equivalent weights of ASTM G102")
@pytest.mark.parametrize(("equivalent_weight", "seconds"), [(25.12, 76.6), (18.99, 101.4), (15.72, 122.5)])
def test_a_304_wire_parts_after_the_time_of_faraday(equivalent_weight, seconds):
    # CHECK_VALUES 4.4: 0.8 mm x 5 mm, 7.94 g/cm3, 1 A, full efficiency; equivalent weights of ASTM G102 (4.3)
    wire = plans.load_sample().release.primary.model_copy(
        update={"efficiency_fraction": 1.0, "equivalent_weight": equivalent_weight})
    assert wire.parting_s() == pytest.approx(seconds, abs=0.1)


@pytest.mark.published(
    "worked", ids="4.5", tolerance="0.2 s",
    source="Faraday's law, Fe 55.845 g/mol as Fe2+, 7.874 g/cm3")
def test_an_iron_wire_parts_after_the_time_of_faraday():
    # CHECK_VALUES 4.5: iron 1.0 mm x 5 mm at 0.5 A: 213.7 s; Fe 55.845 g/mol as Fe2+, 7.874 g/cm3 (3.1)
    wire = plans.load_sample().release.primary.model_copy(update={
        "efficiency_fraction": 1.0, "equivalent_weight": 55.845 / 2, "wire_diameter_mm": 1.0,
        "wire_density_kg_m3": 7874, "current_ma": 500})
    assert wire.parting_s() == pytest.approx(213.7, abs=0.2)


def _at_540_m(**changes: str) -> Plan:
    text = edited(**{"site__latitude_deg": "45.0", "site__depth_m": "540", "thresholds__too_deep_m": "580"} | changes)
    for row in (1, 2, 3, 4):
        text = put(put(text, "site.water.temperature_c", "8.0", row), "site.water.salinity_psu", "34.84", row)
    return plans.parse(text)


@pytest.mark.published(
    "worked", ids="3.4, 1.11", tolerance="0.02 N",
    source="Archimedes: 7850 kg/m3 in water of 1029.75 kg/m3 at 45 N: 85.20 N")
def test_ten_kilograms_of_steel_weigh_their_published_newtons_at_540_m():
    # CHECK_VALUES 3.4: 10 kg of steel 7850 in water of 1029.75 kg/m3 at 45 N: 85.20 N. The salinity of 34.84 psu is
    # the absolute salinity of 35.0 g/kg of CHECK_VALUES 1.11.
    plan = _at_540_m(lander__ballast__mass_kg="10.0")
    held = plans.weight_in_water_kg(plan, 540, with_ballast=True) - \
        plans.weight_in_water_kg(plan, 540, with_ballast=False)
    assert held * plans.gravity_m_s2(plan.site) == pytest.approx(85.20, abs=0.02)


@pytest.mark.published("worked", ids="2.3, 2.6", source="the drag formula: 0.66653 m/s, 810.2 s", tolerance="0.1 %")
def test_a_body_falls_540_m_in_its_published_time():
    # CHECK_VALUES 2.3: 60 N, Cd 1.05, 0.25 m2, 1029 kg/m3: 0.66653 m/s, 810.2 s. The weight is set to 60 N half way
    # down, where the water is 1028.5 kg/m3; getting up to speed costs 0.8 s (CHECK_VALUES 2.6).
    incompressible = {"lander__compressibility_per_mpa": "0.0", "lander__floats__compressibility_per_mpa": "0.0"}
    shape = {"lander__drag_coefficient_down": "1.05", "lander__frontal_area_m2": "0.25"}
    as_built = _at_540_m(**incompressible, **shape)
    surplus_kg = plans.weight_in_water_kg(as_built, 270, True) - 60 / plans.gravity_m_s2(as_built.site)
    plan = _at_540_m(**incompressible, **shape, lander__mass_kg=repr(31.0 - surplus_kg))
    assert plans.descent_s(plan) == pytest.approx(810.2, rel=1e-3)


@pytest.mark.published("printed", ids="1.8", source="teos-10.org, gsw_grav at 0 dbar", tolerance="1e-3 m/s2")
def test_gravity_is_that_of_the_latitude():
    # CHECK_VALUES 1.8, TEOS-10 page of grav: 9.780327 on the equator at 0 m; 215 m add less than 0.001
    plan = plans.parse(edited(site__latitude_deg="0.0"))
    assert plans.gravity_m_s2(plan.site) == pytest.approx(9.780327, abs=1e-3)


@pytest.mark.published(
    "memory", ids="1.10", tolerance="0.2 %",
    source="conventional metre of water (NIST SP 811, from memory); 540 m of the standard ocean by gsw")
def test_a_bar_of_fresh_water_is_deeper_than_a_bar_of_the_sea():
    # Conventional metre of water 9806.65 Pa (NIST SP 811, from memory): 1019.7 cm a bar. TEOS-10, CHECK_VALUES 1.10:
    # 540 m of the standard ocean at 45 N are 545.136 dbar, 990.6 cm a bar; warmer water is a little lighter.
    text = edited(power__capacity_ah="25")
    for row in (1, 2, 3, 4):
        text = put(put(text, "site.water.temperature_c", "4.0", row), "site.water.salinity_psu", "0.0", row)
    fresh = plans.parse(put(text, "lander.floats.volume_l", "28.6")).orders().cm_per_bar
    assert fresh == pytest.approx(1019.7, rel=2e-3)
    assert _at_540_m().orders().cm_per_bar == pytest.approx(54000 / 54.5136, rel=2e-3)


@pytest.mark.published("library", ids="11.1", source="gsw: 540 m at 45 N are 5.451 MPa gauge", tolerance="0.5 %")
def test_the_sensor_is_saturated_at_the_pressure_of_its_range():
    # CHECK_VALUES 11.1, TEOS-10: 540 m at 45 N are 5.451 MPa gauge; here a sensor of 567 m, scaled, and 1013 mbar
    # of air
    plan = _at_540_m(sensors__pressure__range_m="567", thresholds__too_deep_m="550")
    assert plan.orders().pressure_full_mbar == pytest.approx(54510 * 567 / 540 + 1013, rel=5e-3)


@pytest.mark.published(
    "practice", ids="2.9a", tolerance="within the range",
    source="common practice, no source: 0.5 to 1.2 m/s")
def test_the_sample_sinks_as_fast_as_small_landers_do():
    # common practice, no source (CHECK_VALUES 2.9a): 0.5 to 1.2 m/s
    assert 0.5 <= 430 / plans.descent_s(plans.load_sample()) <= 1.2


def test_the_readings_of_the_sample_are_counted_by_hand():
    # deck and surface 600 + 216000 s by 300; bottom 330 min by 10 s; descent and ascent 30 + 50 min by 2 s; release
    # 6 x 240 s and watches of 840 s (doubling with each pair) by 2 s
    assert plans.planned_readings(plans.load_sample()) == 722 + 1980 + 2400 + 1140


@pytest.mark.parametrize("with_ballast", [True, False])
def test_the_way_down_and_the_way_up_take_what_the_plan_reckons(with_ballast):
    # the plan moves the hull of the simulator
    plan = plans.load_sample()
    hull = Hull(plan.site, plan.lander, plans.water_of(plan.site))
    hull.in_water = True
    hull.ballast_left = 1.0 if with_ballast else 0.0
    hull.depth_m = 0.0 if with_ballast else plan.site.depth_m
    seconds = hull.advance(7200.0)
    reckoned_s = plans.descent_s(plan) if with_ballast else plans.ascent_s(plan)
    assert seconds == pytest.approx(reckoned_s, rel=1e-9)


def test_a_lander_that_does_not_move_takes_for_ever():
    lander = plans.load_sample().lander
    light = lander.model_copy(update={"ballast": lander.ballast.model_copy(update={"mass_kg": 0.1})})
    heavy = lander.model_copy(update={"mass_kg": 50.0})
    assert plans.descent_s(plans.load_sample().model_copy(update={"lander": light})) == math.inf
    assert plans.ascent_s(plans.load_sample().model_copy(update={"lander": heavy})) == math.inf
