"""How the water column reads the plan and its tables. Published seawater is in tests/published/test_seawater.py."""

from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from seatrial.water import TABLE_BELOW_SEABED_M, WaterColumn


def site(depth_m=430.0, **changes):
    values = {
        "latitude_deg": 46.1,
        "longitude_deg": -28.4,
        "depth_m": depth_m,
        "air_pressure_hpa": 1013.0,
        "water": [
            SimpleNamespace(depth_m=10.0, temperature_c=16.0, salinity_psu=35.0),
            SimpleNamespace(depth_m=110.0, temperature_c=12.0, salinity_psu=35.5),
        ],
        "current": [
            SimpleNamespace(depth_m=0.0, speed_m_s=0.4, toward_deg=350.0),
            SimpleNamespace(depth_m=100.0, speed_m_s=0.4, toward_deg=10.0),
        ],
    }
    return SimpleNamespace(**(values | changes))


SEA = WaterColumn(site())


def test_temperature_is_a_straight_line_between_rows_and_constant_beyond_them():
    assert SEA.temperature_at(60.0) == pytest.approx(14.0)
    assert SEA.temperature_at(35.5) == pytest.approx(14.98)
    assert SEA.temperature_at(0.0) == SEA.temperature_at(10.0) == 16.0
    assert SEA.temperature_at(110.0) == SEA.temperature_at(400.0) == SEA.temperature_at(5000.0) == 12.0


def test_rows_may_stand_in_any_order():
    shuffled = site()
    shuffled.water.reverse()
    shuffled.current.reverse()
    again = WaterColumn(shuffled)
    assert again.temperature_c == SEA.temperature_c
    assert again.current_east_m_s == SEA.current_east_m_s


@pytest.mark.parametrize("depth_m", [1.0, 430.0, 430.5, 5000.0])
def test_the_tables_reach_well_below_the_seabed(depth_m):
    sea = WaterColumn(site(depth_m))
    assert sea.last_m >= depth_m + TABLE_BELOW_SEABED_M
    for name in ("density_kg_m3", "temperature_c", "pressure_mbar", "sound_speed_m_s", "current_east_m_s"):
        table = getattr(sea, name)
        assert len(table) == sea.last_m + 1
        assert type(table) is list and type(table[3]) is float, "the inner loop wants plain floats"


def test_in_air_the_pressure_is_that_of_the_air():
    assert SEA.pressure_mbar_at(0.0) == SEA.pressure_mbar_at(-3.0) == 1013.0
    assert SEA.depth_at(1013.0) == SEA.depth_at(900.0) == 0.0


@given(st.floats(0.0, 900.0))
def test_depth_and_pressure_are_each_others_inverse(depth_m):
    assert SEA.depth_at(SEA.pressure_mbar_at(depth_m)) == pytest.approx(depth_m, abs=1e-6)


@given(st.floats(0.0, 900.0), st.floats(0.001, 100.0))
def test_pressure_always_grows_with_depth(depth_m, further_m):
    assert SEA.pressure_mbar_at(depth_m + further_m) > SEA.pressure_mbar_at(depth_m)


def test_lower_air_pressure_lowers_every_pressure_and_moves_no_depth():
    low = WaterColumn(site(air_pressure_hpa=960.0))
    assert SEA.pressure_mbar_at(200.0) - low.pressure_mbar_at(200.0) == pytest.approx(53.0)
    assert low.depth_at(low.pressure_mbar_at(200.0)) == pytest.approx(200.0)
    assert low.cm_per_bar == SEA.cm_per_bar


def test_depth_from_the_site_mean_is_right_at_the_seabed():
    bar = (SEA.pressure_mbar_at(430.0) - 1013.0) / 1000.0
    assert isinstance(SEA.cm_per_bar, int)
    assert bar * SEA.cm_per_bar / 100.0 == pytest.approx(430.0, rel=0.0006)


def test_a_current_that_swings_through_north_does_not_go_round_by_south():
    east, north = SEA.current_at(50.0)
    assert east == pytest.approx(0.0, abs=1e-12)
    assert north == pytest.approx(0.4 * 0.98480775)  # both ends point 10 degrees off north


def test_a_site_without_current_rows_lies_still():
    assert WaterColumn(site(current=[])).current_at(100.0) == (0.0, 0.0)


def test_a_mountain_lake_is_fresh_water_although_no_sea_is_known_there():
    lake = WaterColumn(
        site(
            120.0,
            latitude_deg=46.5,
            longitude_deg=8.0,
            water=[SimpleNamespace(depth_m=0.0, temperature_c=4.0, salinity_psu=0.0)],
        )
    )
    assert lake.density_at(0.0) == pytest.approx(999.97, abs=0.01)  # pure water at 4 degC; any handbook
    assert lake.depth_at(lake.pressure_mbar_at(120.0)) == pytest.approx(120.0)
