"""The chapter of the water: what it tells of the column that the simulator dives in."""

import gsw
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seatrial.plan.reckoning import water_of
from seatrial.plan.sections import CurrentRow, WaterRow
from seatrial.workings.column import chapter, column

from .plans_for_tests import sample, with_keys


def uniform(depth_m: float, temperature_c: float, salinity_psu: float, latitude_deg: float = 45.0):
    rows = (WaterRow(depth_m=0.0, temperature_c=temperature_c, salinity_psu=salinity_psu),)
    return with_keys(site__depth_m=depth_m, site__water=rows, site__latitude_deg=latitude_deg)


@pytest.mark.parametrize(("depth_m", "dbar"), [(540.0, 545.136), (4000.0, 4071.345)])
def test_the_pressure_at_the_seabed_is_near_that_of_the_standard_ocean(depth_m, dbar):
    # TEOS-10 through gsw.p_from_z at 45 N, standard ocean: 545.136 and 4071.345 dbar (worked values)
    assert dbar == pytest.approx(gsw.p_from_z(-depth_m, 45.0), abs=0.001)
    assert column(uniform(depth_m, 0.0, 35.0)).seabed.sea_dbar == pytest.approx(dbar, abs=0.2)


@pytest.mark.parametrize(("depth_m", "error_pct"), [(540.0, -0.94), (4000.0, -1.75)])
def test_one_decibar_a_metre_falls_short_by_a_percent_and_more(depth_m, error_pct):
    # worked values: -0.94 % at 540 m and -1.75 % at 4000 m, 45 N
    assert column(uniform(depth_m, 0.0, 35.0)).one_dbar_rule_pct == pytest.approx(error_pct, abs=0.03)


def test_the_mean_speed_of_sound_is_that_of_the_whole_way():
    sea = column(sample())
    water = water_of(sample().site)
    seconds = sum(0.5 * (1 / water.sound_speed_m_s[m] + 1 / water.sound_speed_m_s[m + 1]) for m in range(430))
    assert sea.mean_sound_speed_m_s == pytest.approx(430 / seconds, rel=1e-6)


def test_the_deepest_point_is_the_depth_with_its_margin():
    shallow, deep = (column(with_keys(site__depth_margin_m=margin)) for margin in (0.0, 50.0))
    assert (shallow.deepest.depth_m, deep.deepest.depth_m) == (430.0, 480.0)
    assert deep.deepest.gauge_mpa == pytest.approx(shallow.deepest.gauge_mpa * 480 / 430, rel=1e-3)


def test_the_table_goes_from_the_surface_by_round_depths_and_the_plans_own_to_the_deepest_point():
    depths = [row[0] for row in chapter(sample()).tables[0].rows]
    assert depths == [0, 50, 60, 100, 150, 200, 250, 300, 350, 400, 430, 450]


@pytest.mark.parametrize(("depth_m", "error_pct"), [(540.0, -0.43), (4000.0, -1.24)])
def test_a_sea_of_1025_falls_short_too(depth_m, error_pct):
    # worked values: 1025 kg/m3 times 9.80665 m/s2 is -0.43 % at 540 m and -1.24 % at 4000 m, 45 N
    assert column(uniform(depth_m, 0.0, 35.0)).textbook_rule_pct == pytest.approx(error_pct, abs=0.03)


def test_water_that_would_be_ice_is_one_sentence():
    # TEOS-10: seawater of practical salinity 35 freezes near -1.92 degC at the surface
    rows = (WaterRow(depth_m=0.0, temperature_c=-2.4, salinity_psu=35.0),
            WaterRow(depth_m=50.0, temperature_c=-2.3, salinity_psu=35.0))
    fault, = chapter(with_keys(site__water=rows)).faults
    assert fault.startswith("site.water[row 1].temperature_c is -2.4; water of 35 psu freezes at -1.92 degC")
    assert "1 more are like it" in fault
    assert chapter(sample()).faults == ()


def test_where_nothing_flows_there_is_no_direction():
    rows = (CurrentRow(depth_m=0.0, speed_m_s=0.0, toward_deg=90.0),)
    assert {row[-1] for row in chapter(with_keys(site__current=rows)).tables[0].rows} == {None}


def test_rows_that_end_far_above_the_seabed_are_told():
    rows = sample().site.water[:3]
    said = chapter(with_keys(site__water=rows)).cautions
    assert any(caution.startswith("site.water ends at 200 m and the seabed is at 430 m") for caution in said)
    assert not any("site.water ends" in caution for caution in chapter(sample()).cautions)


def test_heavy_water_on_light_water_is_told_and_a_stable_column_is_not():
    rows = (WaterRow(depth_m=0.0, temperature_c=10.0, salinity_psu=36.0),
            WaterRow(depth_m=100.0, temperature_c=10.0, salinity_psu=36.0),
            WaterRow(depth_m=110.0, temperature_c=10.0, salinity_psu=35.0),
            WaterRow(depth_m=500.0, temperature_c=9.0, salinity_psu=35.0))
    sea = column(with_keys(site__water=rows))
    # a psu of salt is some 0.77 kg/m3 (TEOS-10)
    assert sea.inversion_kg_m3 == pytest.approx(0.77, abs=0.03)
    assert 100 <= sea.inversion_m <= 112
    assert any("lighter than water above it" in caution for caution in chapter(with_keys(site__water=rows)).cautions)
    assert column(sample()).inversion_kg_m3 < 0.001


def test_the_current_is_told_as_speed_and_true_heading():
    rows = (CurrentRow(depth_m=0.0, speed_m_s=0.3, toward_deg=350.0),)
    row = chapter(with_keys(site__current=rows)).tables[0].rows[0]
    assert row[-2:] == pytest.approx((0.3, 350.0))


@given(depth_m=st.floats(3, 10950), margin_m=st.floats(0, 200), latitude_deg=st.floats(-90, 90))
@settings(max_examples=15)
def test_any_site_has_its_chapter(depth_m, margin_m, latitude_deg):
    told = chapter(with_keys(site__depth_m=depth_m, site__depth_margin_m=margin_m, site__latitude_deg=latitude_deg))
    assert 3 <= len(told.tables[0].rows) <= 24
    assert len({len(values) for values in told.series.values()}) == 1
