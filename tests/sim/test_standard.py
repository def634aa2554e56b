"""The standard profile: what it promises without a source. Against other numbers: tests/published/test_seawater.py."""

import math

import gsw
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from seatrial.plan.sections import WaterRow
from seatrial.standard import TEMPERATURE_DOUBT_C, standard_rows

LATITUDES_DEG = range(-90, 91, 5)


def at(rows, depth_m, key):
    return float(np.interp(depth_m, [row["depth_m"] for row in rows], [row[key] for row in rows]))


@given(st.floats(-90.0, 90.0), st.floats(0.0, 11000.0))
def test_the_rows_reach_from_the_surface_to_the_seabed_and_fit_the_plan(latitude_deg, depth_m):
    rows = standard_rows(latitude_deg, depth_m)
    depths_m = [row["depth_m"] for row in rows]
    assert depths_m[0] == 0.0 or depth_m == depths_m[0]
    assert depths_m[-1] == depth_m
    assert all(above < below for above, below in zip(depths_m, depths_m[1:], strict=False))
    for row in rows:
        WaterRow(**row)


@pytest.mark.parametrize("latitude_deg", LATITUDES_DEG)
def test_no_water_lies_on_lighter_water(latitude_deg):
    rows = standard_rows(latitude_deg, 6000.0)
    depth_m, in_situ_c, psu = (np.array([row[key] for row in rows])
                               for key in ("depth_m", "temperature_c", "salinity_psu"))
    sea_dbar = gsw.p_from_z(-depth_m, latitude_deg)
    salinity_g_kg = gsw.SR_from_SP(psu)
    squared, _between = gsw.Nsquared(salinity_g_kg, gsw.CT_from_t(salinity_g_kg, in_situ_c, sea_dbar), sea_dbar)
    assert squared.min() > -1e-8, "buoyancy frequency squared, 1/s2; the two decimals of the rows account for this much"


def test_the_tropics_are_warm_above_and_the_poles_are_near_freezing():
    assert at(standard_rows(0.0, 4000.0), 0.0, "temperature_c") > 25.0
    for latitude_deg in (-90.0, 90.0):
        assert -1.95 < at(standard_rows(latitude_deg, 4000.0), 0.0, "temperature_c") < 0.0


def test_south_of_the_line_is_not_a_mirror_of_the_north():
    assert at(standard_rows(-60.0, 500.0), 0.0, "temperature_c") < at(standard_rows(60.0, 500.0), 0.0, "temperature_c")


@pytest.mark.parametrize("latitude_deg", range(-90, 90, 3))
def test_three_degrees_of_latitude_never_jump_more_than_the_doubt(latitude_deg):
    here, there = (standard_rows(float(at_deg), 5000.0) for at_deg in (latitude_deg, latitude_deg + 3))
    assert all(abs(a["temperature_c"] - b["temperature_c"]) < 0.5 * TEMPERATURE_DOUBT_C
               for a, b in zip(here, there, strict=True))


@pytest.mark.parametrize("latitude_deg", [-90.1, 91.0, math.nan, math.inf])
def test_a_latitude_off_the_globe_is_refused(latitude_deg):
    with pytest.raises(ValueError, match="latitude_deg is .*-90 to 90"):
        standard_rows(latitude_deg, 100.0)


@pytest.mark.parametrize("depth_m", [-1.0, 11001.0, math.nan])
def test_a_depth_no_sea_has_is_refused(depth_m):
    with pytest.raises(ValueError, match="depth_m is .*0 to 11000"):
        standard_rows(45.0, depth_m)
