"""Steady speeds and start-up of the hull against handbook drag. Ids are those of the table of check values."""

from math import pi
from types import SimpleNamespace

import pytest
from fluids.drag import drag_sphere, v_terminal

from seatrial.hull import Hull
from seatrial.water import WaterColumn

STEEL_KG_M3 = 7850.0  # EN 1991-1-1 table A.4
SEA_VISCOSITY_PA_S = 1.4e-3  # seawater near 8 degC, as in 2.5


def water_of(depth_m, salinity_psu, temperature_c):
    site = SimpleNamespace(
        latitude_deg=45.0,
        longitude_deg=-20.0,
        depth_m=depth_m,
        air_pressure_hpa=1013.25,
        wind=SimpleNamespace(speed_m_s=0.0, from_deg=0.0, leeway_pct=0.0),
        water=[SimpleNamespace(depth_m=0.0, salinity_psu=salinity_psu, temperature_c=temperature_c)],
        current=[],
        mud_suction_n=0.0,
        mud_hold_s=0.0,
    )
    return site, WaterColumn(site)


def body(mass_kg, volume_m3, area_m2, drag_coefficient, added_mass_kg=0.0):
    """A rigid lander without floats or ballast."""
    return SimpleNamespace(
        mass_kg=mass_kg,
        volume_l=1000.0 * volume_m3,
        compressibility_per_mpa=0.0,
        frontal_area_m2=area_m2,
        drag_coefficient_down=drag_coefficient,
        drag_coefficient_up=drag_coefficient,
        added_mass_kg=added_mass_kg,
        floats=SimpleNamespace(mass_kg=0.0, volume_l=0.0, compressibility_per_mpa=0.0),
        ballast=SimpleNamespace(mass_kg=0.0, density_kg_m3=STEEL_KG_M3),
    )


def sinking(site, water, lander):
    hull = Hull(site, lander, water)
    hull.in_water = True
    return hull


def weighing(net_n, water, area_m2, drag_coefficient, inertia_kg=60.0, volume_m3=0.02):
    """A body with this net weight at the surface and this mass with its added mass."""
    mass_kg = net_n / water.gravity_m_s2 + water.density_at(0.0) * volume_m3
    return body(mass_kg, volume_m3, area_m2, drag_coefficient, inertia_kg - mass_kg)


def ball(diameter_m, density_kg_m3, drag_coefficient):
    volume_m3 = pi * diameter_m**3 / 6.0
    added_kg = 0.5 * 1029.0 * volume_m3  # a sphere moves half its volume of water along: 2.7, L/d 1
    return body(density_kg_m3 * volume_m3, volume_m3, 0.25 * pi * diameter_m**2, drag_coefficient, added_kg)


@pytest.fixture
def sea_of_1029():
    """Surface water of 1029.0 kg/m3: salinity 36.1065 at 0 degC."""
    site, water = water_of(30.0, 36.1065, 0.0)
    assert water.density_at(0.0) == pytest.approx(1029.0, abs=0.001)
    return site, water


@pytest.mark.published(
    "memory", ids="2.1, 2.5", tolerance="1 %",
    source="White, Fluid Mechanics, table 7.3 (cited from memory), sphere C_d 0.47; 50 mm steel ball: 3.037 m/s")
def test_a_steel_ball_sinks_at_the_speed_of_the_handbook_drag(sea_of_1029):
    site, water = sea_of_1029
    hull = sinking(site, water, ball(0.050, STEEL_KG_M3, 0.47))
    hull.advance(5.0)
    assert hull.speed_m_s == pytest.approx(3.037, rel=0.01)
    assert hull.terminal_speed_m_s(hull.depth_m) == pytest.approx(3.037, rel=0.01)


@pytest.mark.published(
    "library", ids="2.1, 2.5", tolerance="0.3 %",
    source="fluids 1.3 iterates its own drag law of spheres; we give the hull the law's value at the speed found")
@pytest.mark.parametrize(("diameter_m", "density_kg_m3"), [(0.050, 7850.0), (0.10, 2500.0), (0.10, 1500.0)])
def test_a_ball_sinks_as_the_fluids_library_says(sea_of_1029, diameter_m, density_kg_m3):
    site, water = sea_of_1029
    expected = v_terminal(diameter_m, density_kg_m3, water.density_at(10.0), SEA_VISCOSITY_PA_S)
    reynolds = water.density_at(10.0) * expected * diameter_m / SEA_VISCOSITY_PA_S
    hull = sinking(site, water, ball(diameter_m, density_kg_m3, drag_sphere(reynolds)))
    hull.advance(1000.0, 25.0)
    assert hull.depth_m == 25.0
    assert hull.speed_m_s == pytest.approx(expected, rel=0.003)


@pytest.mark.published("worked", ids="2.1", source="the drag formula by hand: 1.274 m/s", tolerance="1e-9, 0.002 m/s")
def test_a_light_ball_rises_as_fast_as_an_equally_heavy_one_sinks(sea_of_1029):
    site, water = sea_of_1029
    density = water.density_at(20.0)
    light = Hull(site, ball(0.2, density - 300.0, 0.47), water)
    heavy = Hull(site, ball(0.2, density + 300.0, 0.47), water)
    assert light.terminal_speed_m_s(20.0) == pytest.approx(-heavy.terminal_speed_m_s(20.0), rel=1e-9)
    # by hand: sqrt(4/3 * 9.806 * 0.2 * (300/1029) / 0.47) = 1.274 m/s
    assert heavy.terminal_speed_m_s(20.0) == pytest.approx(1.274, abs=0.002)


@pytest.mark.published(
    "memory", ids="2.1d, 2.8", tolerance="0.1 %",
    source="Hoerner, Fluid-Dynamic Drag (1965), ch. 3, disc normal to the flow C_d 1.17 (from memory), by hand")
def test_a_steel_disc_sinks_face_on_at_the_speed_of_the_handbook_drag(sea_of_1029):
    # 2.1d: Hoerner, Fluid-Dynamic Drag (1965), ch. 3, disc normal to the flow C_d 1.17 (from memory).
    # By hand, 0.3 m across and 10 mm thick: W = (7850 - 1029) * pi/4 * 0.3^2 * 0.01 * 9.806 = 47.28 N,
    # v = sqrt(2 * 47.28 / (1029 * 1.17 * 0.070686)) = 1.0541 m/s. Added mass 8/3 rho a^3 (2.8) = 9.26 kg.
    site, water = sea_of_1029
    area_m2 = 0.25 * pi * 0.3**2
    volume_m3 = 0.01 * area_m2
    hull = sinking(site, water, body(STEEL_KG_M3 * volume_m3, volume_m3, area_m2, 1.17, 9.26))
    hull.advance(10.0)
    assert hull.speed_m_s == pytest.approx(1.0541, rel=0.001)


@pytest.mark.published("worked", ids="2.3", source="the drag formula by hand: 0.66653 m/s", tolerance="2e-5 m/s")
def test_sixty_newtons_on_a_quarter_square_metre_make_two_thirds_of_a_metre_a_second(sea_of_1029):
    site, water = sea_of_1029
    hull = Hull(site, weighing(60.0, water, 0.25, 1.05), water)
    assert hull.net_force_n(0.0) == pytest.approx(60.0, abs=1e-6)
    assert hull.terminal_speed_m_s(0.0) == pytest.approx(0.66653, abs=2e-5)


@pytest.mark.published(
    "worked", ids="2.3, 2.4", tolerance="0.3 %",
    source="the drag formula by hand, at a constant density of 1029 kg/m3")
@pytest.mark.parametrize(("net_n", "seconds"), [(60.0, 810.2), (105.84, 610.0)])
def test_540_m_take_the_time_of_the_worked_example(net_n, seconds):
    # 2.3 and 2.4: constant density 1029; here the sea is squeezed, so the body is small and dense and 0.3 % is allowed
    site, water = water_of(540.0, 36.1065, 0.0)
    hull = sinking(site, water, weighing(net_n, water, 0.25, 1.05, volume_m3=0.002))
    assert hull.advance(2000.0) == pytest.approx(seconds, rel=0.003)
    assert hull.on_bottom


@pytest.mark.published(
    "worked", ids="2.6", tolerance="0.001 s and m",
    source="v tanh(t / tau), and an integration: 99 % of the steady speed after 1.617 s and 0.798 m")
def test_the_start_from_rest_takes_the_time_and_way_of_the_worked_example(sea_of_1029):
    site, water = sea_of_1029
    hull = sinking(site, water, weighing(60.0, water, 0.25, 1.05, inertia_kg=55.0))
    hull.advance(1.617)
    assert hull.speed_m_s == pytest.approx(0.99 * 0.66653, abs=1e-3)
    assert hull.depth_m == pytest.approx(0.798, abs=1e-3)


@pytest.mark.published(
    "practice", ids="2.9a", tolerance="within the range",
    source="0.5 to 1.2 m/s; common practice, no source")
def test_the_sample_lander_sinks_and_rises_as_small_landers_do(sample):
    water = WaterColumn(sample.site)
    hull = Hull(sample.site, sample.lander, water)
    assert 0.5 <= hull.terminal_speed_m_s(200.0) <= 1.2
    hull.ballast_left = 0.0
    assert 0.5 <= -hull.terminal_speed_m_s(200.0) <= 1.2
