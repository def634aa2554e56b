"""The water column against published seawater. Ids are those of the project's table of check values.

Only `test_the_library_...` looks at `gsw` itself, to guard against an installed version that has gone astray; all
others go through our `WaterColumn`: salinity to density, hydrostatic pressure, tables and their reading.
"""

import warnings
from math import radians, sin
from types import SimpleNamespace

import gsw
import numpy as np
import pytest

from seatrial.casts import read_cast
from seatrial.standard import TEMPERATURE_DOUBT_C, standard_rows
from seatrial.water import WaterColumn
from seatrial.workings import column as column_chapter

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # it says that it is old, which is what it is here for
    import seawater as eos80

# The TEOS-10 page set (teos-10.org/pubs/gsw/html, v3.04 and v3.05): one profile at 4 N, 188 E, six depths.
# One row: practical salinity (1.4), absolute salinity g/kg, in-situ degC, conservative degC (1.5), sea pressure dbar,
# depth m (gsw_z_from_p, 1.2), density kg/m3 (gsw_rho, 1.1).
PAGE = (
    (34.5487, 34.7118, 28.7856, 28.809919826700, 10.0, 9.9445834469, 1021.839935738108),
    (34.7275, 34.8915, 28.4329, 28.439227816091, 50.0, 49.7180897013, 1022.262457966867),
    (34.8605, 35.0256, 22.8103, 22.786176893078, 125.0, 124.2726219410, 1024.427195413316),
    (34.6810, 34.8472, 10.2600, 10.226189266621, 250.0, 248.4700576549, 1027.790152759127),
    (34.5680, 34.7366, 6.8863, 6.827213633480, 600.0, 595.8253480356, 1029.837779000189),
    (34.5600, 34.7324, 4.4036, 4.323575748610, 1000.0, 992.0919060720, 1032.002453224572),
)
PAGE_LATITUDE_DEG, PAGE_LONGITUDE_DEG = 4.0, 188.0
MID_ATLANTIC_DEG_E = -20.0


def column(latitude_deg, depth_m, rows, longitude_deg=MID_ATLANTIC_DEG_E):
    """A column from rows of depth m, practical salinity, in-situ degC."""
    site = SimpleNamespace(
        latitude_deg=latitude_deg,
        longitude_deg=longitude_deg,
        depth_m=depth_m,
        air_pressure_hpa=1013.25,
        water=[SimpleNamespace(depth_m=d, salinity_psu=s, temperature_c=t) for d, s, t in rows],
        current=[],
    )
    return WaterColumn(site)


def uniform(latitude_deg, depth_m, salinity_psu, temperature_c, longitude_deg=MID_ATLANTIC_DEG_E):
    return column(latitude_deg, depth_m, [(0.0, salinity_psu, temperature_c)], longitude_deg)


def standard_ocean(latitude_deg, depth_m):
    """Salinity 35 and conservative temperature 0 degC at every depth, which is in-situ temperature by rows."""
    rows = [(float(at_m), 35.0, float(gsw.t_from_CT(35.16504, 0.0, 1.01 * at_m))) for at_m in range(0, 12001, 100)]
    return column(latitude_deg, depth_m, rows)


def sea_dbar(sea, depth_m):
    return (sea.pressure_mbar_at(depth_m) - sea.air_mbar) / 100.0


def depth_at_dbar(sea, dbar):
    return sea.depth_at(sea.air_mbar + 100.0 * dbar)


@pytest.mark.published(
    "printed", ids="1.1, 1.5", tolerance="1e-9 kg/m3, 1e-10 degC",
    source="teos-10.org, pages gsw_rho and gsw_CT_from_t")
@pytest.mark.parametrize("row", PAGE)
def test_the_library_under_the_column_gives_its_published_numbers(row):
    # 1.1 with the conservative temperature rounded as on the page, and 1.5
    _psu, absolute, in_situ_c, conservative_c, dbar, _depth_m, density = row
    assert gsw.CT_from_t(absolute, in_situ_c, dbar) == pytest.approx(conservative_c, abs=1e-10)
    assert gsw.rho(absolute, round(conservative_c, 4), dbar) == pytest.approx(density, abs=1e-9)


@pytest.mark.published(
    "printed", ids="1.1, 1.2, 1.4, 1.5", tolerance="0.015 kg/m3",
    source="teos-10.org, pages of gsw_rho, gsw_z_from_p, gsw_SA_from_SP, gsw_CT_from_t")
@pytest.mark.parametrize("row", PAGE)
def test_the_column_of_the_teos_10_pages_has_the_published_density_at_each_depth(row):
    # 1.1, 1.2, 1.4, 1.5 in one go: the plan's kind of input, in-situ temperature and practical salinity by depth.
    # Tolerance: the page's depths belong to a standard ocean, this warm profile reaches 1000 dbar some 2 m deeper.
    sea = column(PAGE_LATITUDE_DEG, 1000.0, [(row[5], row[0], row[2]) for row in PAGE], PAGE_LONGITUDE_DEG)
    assert sea.density_at(row[5]) == pytest.approx(row[6], abs=0.015)


@pytest.mark.published(
    "printed", ids="1.3", tolerance="0.005 dbar",
    source="teos-10.org, gsw_p_from_z, as in the tests of GSW-R")
@pytest.mark.parametrize(
    ("depth_m", "dbar"),
    [
        (10.0, 10.055726724518),
        (50.0, 50.283543374874),
        (125.0, 125.731858435610),
        (250.0, 251.540299593468),
        (600.0, 604.210012340727),
        (1000.0, 1007.990337692001),
    ],
)
def test_hydrostatic_pressure_in_a_standard_ocean_is_the_published_one(depth_m, dbar):
    # 1.3: teos-10.org gsw_p_from_z, as in the tests of GSW-R. Ours is a sum of density times gravity, theirs a fit.
    assert sea_dbar(standard_ocean(PAGE_LATITUDE_DEG, 1000.0), depth_m) == pytest.approx(dbar, abs=0.005)


@pytest.mark.published("printed", ids="1.2", source="teos-10.org, gsw_z_from_p", tolerance="0.005 m")
@pytest.mark.parametrize("row", PAGE)
def test_depth_of_a_pressure_in_a_standard_ocean_is_the_published_one(row):
    assert depth_at_dbar(standard_ocean(PAGE_LATITUDE_DEG, 1000.0), row[4]) == pytest.approx(row[5], abs=0.005)


@pytest.mark.published(
    "library", ids="1.10", tolerance="0.2 dbar",
    source="gsw; EOS-80 through the seawater library gives 545.317 and 4071.424 dbar")
@pytest.mark.parametrize(("depth_m", "dbar"), [(540.0, 545.136), (4000.0, 4071.345)])
def test_pressure_at_45_north_is_that_of_two_libraries(depth_m, dbar):
    assert sea_dbar(standard_ocean(45.0, 4000.0), depth_m) == pytest.approx(dbar, abs=0.2)


@pytest.mark.published("library", ids="1.11", source="gsw at 45 N 20 W", tolerance="0.015 kg/m3, 0.1 m/s")
@pytest.mark.parametrize(
    ("depth_m", "psu", "in_situ_c", "density", "sound_m_s"),
    [(540.0, 35.0, 8.0, 1029.75, 1491.3), (1000.0, 35.0, 5.0, 1032.31, 1487.1), (4000.0, 34.9, 2.5, 1046.17, 1527.9)],
)
def test_mid_latitude_water_has_the_density_and_sound_speed_of_the_table(depth_m, psu, in_situ_c, density, sound_m_s):
    # 1.11, worked with gsw at 45 N 20 W. The sound speed needs conservative temperature: feeding in-situ temperature,
    # as the page of 1.6 does, would miss by 0.15 m/s and more at 1000 m.
    sea = uniform(45.0, 4000.0, psu, in_situ_c)
    assert sea.density_at(depth_m) == pytest.approx(density, abs=0.015)
    assert sea.sound_speed_at(depth_m) == pytest.approx(sound_m_s, abs=0.1)


def unesco_depth_m(dbar, latitude_deg):
    """UNESCO technical paper 44 (Fofonoff & Millard 1983), depth of a pressure; coefficients from memory."""
    x = sin(radians(latitude_deg)) ** 2
    gravity = 9.780318 * (1.0 + (5.2788e-3 + 2.36e-5 * x) * x) + 1.092e-6 * dbar
    return (((-1.82e-15 * dbar + 2.279e-10) * dbar - 2.2512e-5) * dbar + 9.72659) * dbar / gravity


@pytest.mark.published(
    "printed", ids="1.20", tolerance="0.5 mm",
    source="Fofonoff & Millard 1983: 10 000 dbar, 30 degrees: 9712.653 m")
def test_the_unesco_formula_as_written_here_gives_its_printed_check_value():
    assert unesco_depth_m(10000.0, 30.0) == pytest.approx(9712.653, abs=5e-4)


@pytest.mark.published(
    "memory", ids="1.20", tolerance="0.02 m + 1.5e-5",
    source="UNESCO technical paper 44 (Fofonoff and Millard 1983); coefficients from memory")
@pytest.mark.parametrize("latitude_deg", [0.0, 30.0, 70.0])
@pytest.mark.parametrize("dbar", [100.0, 1000.0, 5000.0, 10000.0])
def test_the_depth_of_a_pressure_is_the_one_of_unesco_44(dbar, latitude_deg):
    # 1.20: EOS-80's standard ocean is 35 and 0 degC in situ throughout. TEOS-10 and EOS-80 densities differ by about
    # 1e-5, measured here 7 cm at 10 000 dbar and 30 degrees.
    sea = uniform(latitude_deg, 9800.0, 35.0, 0.0)
    assert depth_at_dbar(sea, dbar) == pytest.approx(unesco_depth_m(dbar, latitude_deg), abs=0.02 + 1.5e-5 * dbar)


@pytest.mark.published(
    "memory", ids="1.12", tolerance="2 m",
    source="Saunders 1981, J. Phys. Oceanogr. 11, 573 (cited from memory)")
def test_saunders_rule_gives_the_same_depth_at_7500_decibars():
    # 1.12: Saunders 1981, J. Phys. Oceanogr. 11, 573 (cited from memory): 7321.45 m at 30 degrees. A rule with two
    # coefficients: it stands 1.3 m off UNESCO 44 here.
    assert depth_at_dbar(uniform(30.0, 7500.0, 35.0, 0.0), 7500.0) == pytest.approx(7321.45, abs=2.0)


@pytest.mark.published("printed", ids="1.8", source="teos-10.org, gsw_grav at 0 dbar", tolerance="5e-6 m/s2")
@pytest.mark.parametrize(
    ("latitude_deg", "gravity"),
    [(-90.0, 9.832186205885), (-60.0, 9.819178859991), (-30.0, 9.793249257049), (0.0, 9.780327)],
)
def test_gravity_in_shallow_water_is_the_published_gravity_of_the_latitude(latitude_deg, gravity):
    # 1.8: teos-10.org gsw_grav at 0 dbar. Half a metre down it grows by 1e-6. At the pole there is no sea in the
    # TEOS-10 atlas, which the column must survive.
    assert uniform(latitude_deg, 1.0, 35.0, 2.0).gravity_m_s2 == pytest.approx(gravity, abs=5e-6)


@pytest.mark.published(
    "memory", ids="1.13", tolerance="1e-5 m/s2",
    source="Somigliana's formula, NIMA TR8350.2 (cited from memory): 9.80620")
def test_gravity_at_45_degrees_is_that_of_wgs_84():
    assert uniform(45.0, 1.0, 35.0, 10.0).gravity_m_s2 == pytest.approx(9.80620, abs=1e-5)


@pytest.mark.published("printed", ids="1.30", source="UNESCO 44, gravity: 9.80619 at 45 degrees", tolerance="2e-5 m/s2")
def test_gravity_at_45_degrees_is_that_of_unesco_44():
    # its formula of gravity is an older one: it stands 1e-5 below that of WGS 84
    assert uniform(45.0, 1.0, 35.0, 10.0).gravity_m_s2 == pytest.approx(9.80619, abs=2e-5)


@pytest.mark.published("library", ids="11.1", source="gsw: pressure over that of the air at 45 N", tolerance="0.001 MPa")
@pytest.mark.parametrize(("depth_m", "gauge_mpa"), [(540.0, 5.451), (1000.0, 10.106), (4000.0, 40.713), (6000.0, 61.350)])
def test_a_housing_is_pressed_as_hard_as_the_depth_says(depth_m, gauge_mpa):
    assert sea_dbar(standard_ocean(45.0, 6000.0), depth_m) / 100.0 == pytest.approx(gauge_mpa, abs=1e-3)


@pytest.mark.published(
    "printed", ids="1.7", tolerance="the air in it, 0.0025 degC",
    source="teos-10.org, gsw_t_freezing, reference page: saturated with air")
@pytest.mark.parametrize(("row", "saturated_c"), list(zip(PAGE, (
    -1.902730710150, -1.942908619287, -2.006861069200, -2.090985086875, -2.351293130342, -2.660498762777), strict=True)))
def test_the_sea_of_a_plan_may_be_as_cold_as_the_published_freezing_point(row, saturated_c):
    # The plan's limit is that of water without air, which freezes up to 0.0024 degC above water full of it (Millero 1978,
    # from memory); and of salts in the reference composition, a thousandth of a degree off those of the page.
    plan = SimpleNamespace(site=SimpleNamespace(latitude_deg=PAGE_LATITUDE_DEG))
    limit_c = column_chapter._freezing_c(plan, SimpleNamespace(depth_m=row[5], salinity_psu=row[0]))
    assert saturated_c < limit_c < saturated_c + 0.0035


@pytest.mark.published(
    "printed", ids="1.25", tolerance="0.005 degC",
    source="UNESCO 44 (Fofonoff and Millard 1983): -2.588567 degC (IPTS-68) at salinity 40 and 500 dbar")
def test_the_sea_of_a_plan_may_be_as_cold_as_the_freezing_point_of_the_older_standard():
    depth_m = eos80.dpth(500.0, 45.0)
    plan = SimpleNamespace(site=SimpleNamespace(latitude_deg=45.0))
    limit_c = column_chapter._freezing_c(plan, SimpleNamespace(depth_m=depth_m, salinity_psu=40.0))
    assert limit_c == pytest.approx(-2.588567 / 1.00024, abs=5e-3)


@pytest.mark.published(
    "printed", ids="1.21", tolerance="0.02 kg/m3",
    source="EOS-80, UNESCO 36 and 38 (1981), UNESCO 44")
@pytest.mark.parametrize(
    ("psu", "t68_c", "density"), [(0.0, 5.0, 999.96675), (35.0, 5.0, 1027.67547), (35.0, 25.0, 1023.34306)]
)
def test_surface_density_agrees_with_the_older_equation_of_state(psu, t68_c, density):
    # 1.21: EOS-80, UNESCO 36 and 38 (1981), UNESCO 44; temperature there is IPTS-68, t68 = 1.00024 t90.
    # 0.02 kg/m3: TEOS-10 differs from EOS-80 by about 0.01.
    assert uniform(45.0, 100.0, psu, t68_c / 1.00024).density_at(0.0) == pytest.approx(density, abs=0.02)


@pytest.mark.published(
    "library", ids="1.14", tolerance="1 cm",
    source="gsw: 1 dbar per metre is wrong by -0.94 % at 540 m; fresh water by hand")
def test_one_bar_is_a_little_less_than_ten_metres_of_sea_and_more_of_lake():
    # 1.14: "1 dbar per metre" is wrong by -0.94 % at 540 m: 99.06 cm per dbar, 991 cm per bar
    assert standard_ocean(45.0, 540.0).cm_per_bar == 991
    # fresh water of 1000.0 kg/m3 at 9.806 m/s2: 1e5 Pa / (1000 * 9.806) = 10.198 m; squeezed over 200 m a bit less
    assert uniform(45.0, 200.0, 0.0, 4.0).cm_per_bar in (1019, 1020)


# The older standard, EOS-80, through the `seawater` library: routines that share no code with `gsw`. Its temperatures
# are IPTS-68 inside; it takes ITS-90 and multiplies by 1.00024 itself.


@pytest.mark.published(
    "printed", ids="1.20, 1.23, 1.24, 1.26, 1.27, 1.28, 1.29", tolerance="last digit",
    source="Fofonoff & Millard 1983, UNESCO technical papers in marine science 44: depth, and PSS-78 and EOS-80 "
           "below")
def test_the_older_library_gives_its_own_printed_check_values():
    assert eos80.dpth(10000.0, 30.0) == pytest.approx(9712.653, abs=5e-4)
    assert eos80.salt(1.888091, 40.0 / 1.00024, 10000.0) == pytest.approx(40.0, abs=1e-4)
    assert eos80.salt(1.0, 15.0 / 1.00024, 0.0) == pytest.approx(35.0, abs=1e-6)
    assert eos80.dens(40.0, 40.0 / 1.00024, 10000.0) - 1000.0 == pytest.approx(59.82037, abs=1e-5)
    assert eos80.svel(40.0, 40.0 / 1.00024, 10000.0) == pytest.approx(1731.995, abs=1e-3)
    assert eos80.ptmp(40.0, 40.0 / 1.00024, 10000.0, 0.0) * 1.00024 == pytest.approx(36.89073, abs=1e-5)
    assert eos80.cp(40.0, 40.0 / 1.00024, 10000.0) == pytest.approx(3849.500, abs=1e-3)
    assert eos80.adtg(40.0, 40.0 / 1.00024, 10000.0) == pytest.approx(3.255976e-4, abs=1e-9)


@pytest.mark.published(
    "library", ids="1.22", tolerance="0.02 kg/m3, 0.8 m/s",
    source="EOS-80 (Millero and Poisson 1981; Chen and Millero 1977) through the seawater library")
@pytest.mark.parametrize(("depth_m", "psu", "in_situ_c"), [(540.0, 35.0, 8.0), (4000.0, 34.9, 2.5), (6000.0, 34.7, 1.5)])
def test_deep_water_weighs_and_carries_sound_as_in_the_older_library(depth_m, psu, in_situ_c):
    # EOS-80 (Millero and Poisson 1981; sound of Chen and Millero 1977) against the column's TEOS-10. The two standards
    # differ: measured here 0.013 kg/m3 at most, and 0.6 m/s at 4000 m and below, where Chen and Millero run high (from memory).
    sea = uniform(45.0, 6000.0, psu, in_situ_c)
    dbar = sea_dbar(sea, depth_m)
    assert sea.density_at(depth_m) == pytest.approx(float(eos80.dens(psu, in_situ_c, dbar)), abs=0.02)
    assert sea.sound_speed_at(depth_m) == pytest.approx(float(eos80.svel(psu, in_situ_c, dbar)), abs=0.8)


def cast_of(folder, header, rows, latitude_deg):
    path = folder / "cast.csv"
    path.write_text("\n".join([header, *(",".join(repr(float(cell)) for cell in row) for row in rows)]), encoding="utf-8")
    return read_cast(path, latitude_deg)


@pytest.mark.published("library", ids="1.20", source="UNESCO 44 through the seawater library", tolerance="1.5e-4")
@pytest.mark.parametrize("latitude_deg", [0.0, 30.0, 70.0])
def test_a_cast_by_pressure_stands_at_the_depths_of_unesco_44(tmp_path, latitude_deg):
    # UNESCO 44 through the seawater library, which knows nothing of TEOS-10. The two standard oceans, 35 and 0 degC,
    # differ by 1.08 m at 10 000 dbar and 30 degrees (conservative against in-situ 0 degC): 1.2e-4.
    dbars = [0.0, 100.0, 1000.0, 5000.0, 10000.0]
    cast = cast_of(tmp_path, "pressure_dbar,temperature_c,salinity_psu", [(p, 0.0, 35.0) for p in dbars], latitude_deg)
    wanted = eos80.dpth(np.array(dbars), latitude_deg)
    for row, depth_m in zip(cast.rows, wanted, strict=True):
        assert row["depth_m"] == pytest.approx(depth_m, rel=1.5e-4, abs=0.01)


@pytest.mark.published("printed", ids="1.2", source="the TEOS-10 page of gsw_z_from_p, at 4 N", tolerance="1e-9 m")
def test_a_cast_by_pressure_stands_at_the_published_depths_of_teos_10(tmp_path):
    rows = [(row[4], row[2], row[0]) for row in PAGE]
    cast = cast_of(tmp_path, "pressure_dbar,temperature_c,salinity_psu", rows, PAGE_LATITUDE_DEG)
    assert [row["depth_m"] for row in cast.rows] == pytest.approx([row[5] for row in PAGE], abs=1e-9)


@pytest.mark.published(
    "library", ids="1.9, 1.29", tolerance="2e-4 psu",
    source="PSS-78 (UNESCO 44) through the seawater library; Culkin and Smith 1980 (cited from memory)")
def test_a_cast_by_conductivity_has_the_salinity_of_the_older_library(tmp_path):
    # PSS-78 (UNESCO 44) through the seawater library, from the conductivity ratio; 42.914 mS/cm is the conductivity of
    # salinity 35 at 15 degC IPTS-68 and no pressure (Culkin and Smith 1980, cited from memory).
    ratios, in_situ_c = np.array([1.0, 0.9, 0.8]), np.array([15.0 / 1.00024, 12.0, 8.0])
    dbars = np.array([0.0, 200.0, 1000.0])
    rows = zip(dbars, in_situ_c, 42.914 * ratios, strict=True)
    cast = cast_of(tmp_path, "pressure_dbar,temperature_c,conductivity_ms_cm", rows, 45.0)
    wanted = eos80.salt(ratios, in_situ_c, dbars)
    assert [row["salinity_psu"] for row in cast.rows] == pytest.approx(list(wanted), abs=2e-4)


@pytest.mark.published(
    "memory", ids="1.9", tolerance="5e-4 psu",
    source="Culkin and Smith 1980 (cited from memory): 42.914 mS/cm at 15 degC IPTS-68")
def test_fifteen_degrees_of_1968_are_not_fifteen_degrees_of_1990(tmp_path):
    # The trap in 42.914 mS/cm: its 15 degC are IPTS-68. Read as ITS-90, which is 0.0036 degC
    # warmer on the older scale, the same conductivity is about 0.003 too fresh (worked here: 0.86 psu for a degree).
    header = "depth_m,temperature_c,conductivity_ms_cm"
    right = cast_of(tmp_path, header, [(0.0, 15.0 / 1.00024, 42.914), (9.0, 9.0, 40.0)], 45.0).rows[0]["salinity_psu"]
    wrong = cast_of(tmp_path, header, [(0.0, 15.0, 42.914), (9.0, 9.0, 40.0)], 45.0).rows[0]["salinity_psu"]
    assert right == pytest.approx(35.0, abs=1e-6)
    assert 35.0 - wrong == pytest.approx(0.0031, abs=0.0005)
    newer = cast_of(tmp_path, header, [(0.0, 15.0, 42.918), (9.0, 9.0, 40.0)], 45.0).rows[0]["salinity_psu"]
    assert newer == pytest.approx(35.0, abs=5e-4), "the same water at 15 degC of ITS-90 has 42.918 mS/cm"


@pytest.mark.published(
    "printed", ids="1.3", tolerance="1e-4 dbar",
    source="teos-10.org, gsw_p_from_z, newer pages against older ones")
def test_height_is_negative_below_the_surface_as_the_newer_pages_have_it():
    # The trap in older gsw_p_from_z pages: a positive 10 m, which gives 10.05524 dbar and not 10.05573 dbar
    sea = standard_ocean(PAGE_LATITUDE_DEG, 1000.0)
    assert sea_dbar(sea, 10.0) == pytest.approx(10.05573, abs=1e-4)
    assert abs(sea_dbar(sea, 10.0) - 10.05524) > 3e-4


@pytest.mark.published(
    "printed", ids="1.6", tolerance="0.06 m/s",
    source="teos-10.org, gsw_sound_speed and gsw_CT_from_t")
def test_the_sound_speed_of_the_column_is_not_that_of_the_page_which_takes_one_temperature_for_another():
    # The trap in the gsw_sound_speed page: it hands in-situ temperature over as conservative. At its sixth depth the
    # page prints 1484.271672296 m/s; with the conservative temperature of the gsw_CT_from_t page it is less. Tolerance:
    # this warm profile reaches 1000 dbar some 2 m deeper than the standard ocean of the page's depths.
    sea = column(PAGE_LATITUDE_DEG, 1000.0, [(row[5], row[0], row[2]) for row in PAGE], PAGE_LONGITUDE_DEG)
    _psu, absolute, in_situ_c, conservative_c, dbar, depth_m, _density = PAGE[5]
    assert gsw.sound_speed(round(absolute, 4), in_situ_c, dbar) == pytest.approx(1484.271672296, abs=1e-8)
    right_m_s = float(gsw.sound_speed(absolute, conservative_c, dbar))
    assert 1484.271672296 - right_m_s > 0.3
    assert sea.sound_speed_at(depth_m) == pytest.approx(right_m_s, abs=0.06)


@pytest.mark.published(
    "printed", ids="1.4", tolerance="1.5e-4 g/kg",
    source="The gsw_SA_from_SP page of version 3.04 against a library with a newer anomaly atlas: 1e-4 g/kg, no "
           "closer")
@pytest.mark.parametrize("row", PAGE)
def test_absolute_salinity_is_the_published_one_to_a_ten_thousandth_as_the_atlas_has_moved(row):
    psu, absolute, _t, _ct, dbar, _depth_m, _density = row
    assert gsw.SA_from_SP(psu, dbar, PAGE_LONGITUDE_DEG, PAGE_LATITUDE_DEG) == pytest.approx(absolute, abs=1.5e-4)


@pytest.mark.published(
    "library", ids="1.11", tolerance="0.3 kg/m3",
    source="gsw, water of the open ocean at 45 N 20 W")
@pytest.mark.parametrize(
    ("depth_m", "psu", "in_situ_c", "density"),
    [(540.0, 35.0, 8.0, 1029.75), (1000.0, 35.0, 5.0, 1032.31), (4000.0, 34.9, 2.5, 1046.17)],
)
def test_the_standard_profile_meets_mid_latitude_water_within_its_doubt(depth_m, psu, in_situ_c, density):
    # Water of the open ocean at 45 N 20 W, worked with gsw. The doubt in density is what the doubt in temperature gives
    # there; the thermocline of the profile is closer than that, which is the second check.
    sea = column(45.0, 4000.0, [(r["depth_m"], r["salinity_psu"], r["temperature_c"]) for r in standard_rows(45.0, 4000.0)])
    warm, cold = (uniform(45.0, 4000.0, psu, in_situ_c + doubt_c).density_at(depth_m)
                  for doubt_c in (TEMPERATURE_DOUBT_C, -TEMPERATURE_DOUBT_C))
    assert warm < density < cold
    assert warm < sea.density_at(depth_m) < cold
    assert sea.temperature_at(depth_m) == pytest.approx(in_situ_c, abs=0.2 * TEMPERATURE_DOUBT_C)
    assert sea.density_at(depth_m) == pytest.approx(density, abs=0.3)
