"""Wind and current in time: rows of a file, the plan's constant without one, and what a file must not have."""

from math import cos, radians, sin

import pytest

from tumblehome.find.guesses import built_in
from tumblehome.find.mistakes import FindError
from tumblehome.find.wind_files import DRIVEN_HELD, Forces, read

from .plans_and_clouds import PLAN, hours

HEADER = "time_utc,wind_speed_m_s,wind_from_deg,current_speed_m_s,current_toward_deg"
ROWS = ("2027-05-18T06:30Z,8,270,0.2,90", "2027-05-18T09:30Z,4,180,0.4,90", "2027-05-18T12:30Z,4,180,0.4,180")


def file_of(tmp_path, *lines: str, name: str = "wind.csv"):
    path = tmp_path / name
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def forces(tmp_path, *lines: str) -> Forces:
    return Forces(PLAN, built_in().drift, read(file_of(tmp_path, *lines)))


def test_wind_is_named_by_where_it_comes_from_and_current_by_where_it_goes(tmp_path):
    found = forces(tmp_path, HEADER, *ROWS)
    assert found.wind_m_s(0) == pytest.approx((8, 0), abs=1e-9)  # a west wind goes east
    assert found.wind_m_s(3 * 3600) == pytest.approx((0, 4), abs=1e-9)
    assert found.current_m_s(0) == pytest.approx((0.2, 0), abs=1e-9)
    assert found.notes == (DRIVEN_HELD,)


def test_between_rows_east_and_north_go_in_straight_lines(tmp_path):
    found = forces(tmp_path, HEADER, *ROWS)
    assert found.wind_m_s(1.5 * 3600) == pytest.approx((4, 2))
    assert found.current_m_s(1.5 * 3600) == pytest.approx((0.3, 0), abs=1e-9)


def test_knots_semicolons_tabs_remarks_and_blank_lines_are_read(tmp_path):
    found = forces(tmp_path, "# forecast", "time_utc;wind_speed_kn;wind_from_deg", "", "2027-05-18 06:00;10;0",
                   "2027-05-18T12:00:00+00:00;10;0")
    assert found.wind_m_s(3600) == pytest.approx((0, -10 * 1852 / 3600), abs=1e-9)  # the knot, exactly: SI brochure


def test_a_time_in_another_zone_is_the_moment_it_names(tmp_path):
    weather = read(file_of(tmp_path, "time_utc,wind_speed_m_s,wind_from_deg", "2027-05-18T06:30+02:00,1,0",
                           "2027-05-18T09:30Z,1,0"))
    assert weather.first == hours(-2) and weather.last == hours(3)


def test_without_a_file_the_plans_wind_and_current_stand_and_it_is_said(tmp_path):
    found = Forces(PLAN, built_in().drift)
    wind = PLAN.site.wind
    toward = radians(wind.from_deg + 180)
    assert found.wind_m_s(1e6) == pytest.approx((wind.speed_m_s * sin(toward), wind.speed_m_s * cos(toward)))
    assert found.notes == ("no wind file is given: the plan's wind, 6 m/s, stands for all hours",
                           "no wind file is given: the plan's current at the surface, 0.32 m/s, stands for all hours,"
                           " with no tide that turns", DRIVEN_HELD)
    assert found.wind_error_m_s == built_in().drift.plan_wind_error_m_s
    found.look_at(hours(-10), hours(1000))


def test_a_pair_that_a_file_has_not_is_the_plans_and_it_is_said(tmp_path):
    found = forces(tmp_path, "time_utc,current_speed_m_s,current_toward_deg", "2027-05-18T06:30Z,1,0",
                   "2027-05-18T09:30Z,1,0")
    assert found.current_m_s(0) == pytest.approx((0, 1))
    assert found.notes == ("wind.csv has no wind: the plan's wind, 6 m/s, stands for all hours", DRIVEN_HELD)
    assert found.wind_error_m_s == built_in().drift.plan_wind_error_m_s
    assert forces(tmp_path, HEADER, *ROWS).wind_error_m_s == built_in().drift.file_wind_error_m_s


def test_moments_beyond_the_file_are_refused_with_both_spans(tmp_path):
    found = forces(tmp_path, HEADER, *ROWS)
    found.look_at(hours(0), hours(6))
    with pytest.raises(FindError, match="wind.csv reaches from 2027-05-18 06:30Z to 2027-05-18 12:30Z; wanted is from"
                                        " 2027-05-18 07:30Z to 2027-05-18 13:30Z"):
        found.look_at(hours(1), hours(7))


@pytest.mark.parametrize("lines, said", [
    ((HEADER, ROWS[1], ROWS[0]), "line 3: 2027-05-18 06:30Z does not come after 2027-05-18 09:30Z, the row before"),
    ((HEADER, ROWS[0], ROWS[0]), "line 3: 2027-05-18 06:30Z does not come after 2027-05-18 06:30Z"),
    ((HEADER, ROWS[0], "2027-05-18T13:30Z,4,180,0.4,90"), "line 3: 7 h are missing between 2027-05-18 06:30Z and"
                                                         " 2027-05-18 13:30Z; allowed is 6 h: fill the gap"),
    ((HEADER, ROWS[0], "2027-05-18T09:30Z,nan,180,0.4,90"), "line 3: wind_speed_m_s is nan; allowed is a number from 0"
                                                           " to 60"),
    ((HEADER, ROWS[0], "2027-05-18T09:30Z,4,180,0.4"), "line 3: current_toward_deg is missing"),
    ((HEADER, ROWS[0], "2027-05-18T09:30Z,4,-20,0.4,90"), "line 3: wind_from_deg is -20; allowed is a number from 0 to"
                                                         " 360"),
    ((HEADER, ROWS[0], "tomorrow,4,180,0.4,90"), "line 3: time_utc is tomorrow; write it as 2027-05-18T06:00Z"),
    ((HEADER, ROWS[0]), "has 1 rows; 2 or more are wanted"),
    (("time_utc,wind_speed_m_s", "x", "y"), "has wind_speed_m_s and no wind_from_deg; found time_utc, wind_speed_m_s: a"
                                            " wind wants both"),
    (("time_utc,current_toward_deg", "x", "y"), "has current_toward_deg and no current_speed_m_s or current_speed_kn"),
    (("time_utc,wind_speed_kmh,wind_from_deg", "x", "y"), "no wind_speed_m_s or wind_speed_kn; found time_utc,"
                                                          " wind_speed_kmh, wind_from_deg: a wind wants both, in these"),
    # 6,5 m/s from 240 degrees with a decimal comma would be read as 6 m/s from 5 degrees
    (("time_utc,wind_speed_m_s,wind_from_deg", "2027-05-18T06:30Z,6,5,240", "2027-05-18T09:30Z,6,5,240"),
     "line 2 has 4 cells under 3 names: write decimals with a point"),
    (("time_utc;wind_speed_m_s;wind_from_deg", "2027-05-18T06:30Z;6,5;240", "2027-05-18T09:30Z;6,5;240"),
     "line 2: wind_speed_m_s is 6,5; allowed is a number from 0 to 60, with a point for decimals"),
    (("time_utc,wind_speed_m_s,wind_speed_kn,wind_from_deg", "x", "y"), "has the speed of the wind twice"),
    (("time_utc,wind_from_deg,wind_from_deg", "x", "y"), "has the column wind_from_deg 2 times"),
    (("time_utc,gust", "x", "y"), "has neither wind nor current"),
    (("time,wind_speed_m_s,wind_from_deg", "x", "y"), "has no column time_utc; found time, wind_speed_m_s"),
    (("# only a remark",), "is empty"),
])
def test_what_is_wrong_with_a_file_is_told_in_one_sentence(tmp_path, lines, said):
    with pytest.raises(FindError) as refused:
        read(file_of(tmp_path, *lines))
    assert len(refused.value.sentences) == 1
    assert said in str(refused.value) and str(refused.value).startswith("wind.csv")


def test_netcdf_text_in_another_code_and_a_missing_file_are_told_of(tmp_path):
    with pytest.raises(FindError, match="wind.nc is NetCDF, which is not read here: export it as CSV"):
        read(tmp_path / "wind.nc")
    with pytest.raises(FindError, match="wind.csv cannot be read"):
        read(tmp_path / "wind.csv")
    (tmp_path / "wind.csv").write_bytes(b"time_utc\n\xff\xff\n")
    with pytest.raises(FindError, match="wind.csv is not text in UTF-8"):
        read(tmp_path / "wind.csv")
