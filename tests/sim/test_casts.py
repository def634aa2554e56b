"""Measured casts: what is read, what is skipped and told, what is refused. All files are made here.

Densities and depths are checked against `gsw` (TEOS-10) and, in tests/published/test_seawater.py, against print.
"""

import os
import re

import gsw
import netCDF4
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from seatrial import cast_files
from seatrial.casts import LIMITS, ROWS_MAX, CastError, read_cast
from seatrial.plan.sections import CurrentRow, WaterRow

LATITUDE_DEG = 45.0
HEADER = "depth_m,temperature_c,salinity_psu"
GOOD = [HEADER, "0,15,35", "50,12,35.1", "100,10,35.2", "200,8,35.3", "300,7,35.3", "400,6,35.3", "500,5,35.3"]
ABSENT = "absent"


def text_file(folder, text, name="cast.csv", encoding="utf-8"):
    path = folder / name
    path.write_bytes(text.encode(encoding) if isinstance(text, str) else bytes(text))
    return path


def read(folder, lines, **more):
    return read_cast(text_file(folder, "\n".join(lines) if isinstance(lines, list) else lines, **more), LATITUDE_DEG)


def refusal(folder, lines, **more):
    with pytest.raises(CastError) as caught:
        read(folder, lines, **more)
    return str(caught.value)


def column(cast, key):
    return [row[key] for row in cast.rows]


def told(cast):
    return "\n".join(cast.notes)


def test_a_plain_file_is_read_as_it_stands_without_a_word(tmp_path):
    cast = read(tmp_path, GOOD)
    assert cast.rows[1] == {"depth_m": 50.0, "temperature_c": 12.0, "salinity_psu": 35.1}
    assert len(cast.rows) == 7 and cast.deepest_m == 500.0
    assert cast.current_rows == [] and cast.notes == []


def test_the_bounds_are_those_of_the_plan():
    for model in (WaterRow, CurrentRow):
        for name, info in model.model_fields.items():
            low = next(rule.ge for rule in info.metadata if hasattr(rule, "ge"))
            high = next(rule.le for rule in info.metadata if hasattr(rule, "le"))
            assert LIMITS[name][:2] == (low, high), name


@pytest.mark.parametrize("text", [
    "\n".join(GOOD).replace(",", "\t"),
    "\n".join(GOOD).replace(",", ";"),
    "\n".join(GOOD).replace(",", ";").replace(".", ","),
    "\r\n".join(GOOD) + "\r\n",
    "\r".join(GOOD),
    "\n".join(GOOD).upper(),
    "# made for a test\n\n" + "\n\n".join(GOOD) + "\n# the end\n",
    "\ufeff" + "\n".join(GOOD),
    "\n".join('"' + line.replace(",", '", "') + '"' for line in GOOD),
    "\n".join(line + "," for line in GOOD),
    "\n".join(",".join(reversed(line.split(","))) for line in GOOD),
])
def test_separators_decimal_commas_remarks_and_line_ends_make_no_difference(tmp_path, text):
    assert read(tmp_path, text).rows == read(tmp_path, GOOD).rows


def test_decimal_commas_and_latin_1_are_told(tmp_path):
    assert "decimal commas" in told(read(tmp_path, "\n".join(GOOD).replace(",", ";").replace(".", ",")))
    cast = read(tmp_path, "# H\xf6he\n" + "\n".join(GOOD), encoding="latin-1")
    assert "latin-1" in told(cast) and len(cast.rows) == 7


def test_pressure_is_turned_into_depth_at_the_latitude(tmp_path):
    # TEOS-10 through gsw
    cast = read(tmp_path, ["pressure_dbar,temperature_c,salinity_psu", "0,10,35", "1000,5,35", "4000,2,34.9"])
    assert column(cast, "depth_m") == pytest.approx([0.0, *(-gsw.z_from_p([1000.0, 4000.0], LATITUDE_DEG))])


def test_conductivity_is_turned_into_salinity_at_the_pressure_of_the_depth(tmp_path):
    # PSS-78 through gsw; 42.914 mS/cm is C(35, 15 degC IPTS-68, 0) and t90 = t68 / 1.00024
    deep_dbar = gsw.p_from_z(-1000.0, LATITUDE_DEG)
    deep = gsw.C_from_SP(34.5, 4.0, deep_dbar)
    cast = read(tmp_path, ["depth_m,temperature_c,conductivity_ms_cm", f"0,{15 / 1.00024!r},42.9140",
                           f"1000,4,{float(deep)!r}"])
    assert column(cast, "salinity_psu") == pytest.approx([35.0, 34.5], abs=1e-6)


def test_a_column_that_is_there_in_two_forms_is_used_once_and_told(tmp_path):
    cast = read(tmp_path, ["depth_m,pressure_dbar,temperature_c,salinity_psu,oxygen", "0,0,9,35,7", "9,99,8,35,7"])
    assert cast.deepest_m == 9.0
    assert "pressure_dbar is there too and not used, depth_m is" in told(cast) and "oxygen" in told(cast)


def test_currents_come_as_speed_and_heading_or_as_east_and_north(tmp_path):
    by_heading = read(tmp_path, [HEADER + ",speed_m_s,toward_deg", "0,9,35,0.3,70", "50,8,35,,", "90,8,35,0.1,350"])
    assert by_heading.current_rows == [{"depth_m": 0.0, "speed_m_s": 0.3, "toward_deg": 70.0},
                                       {"depth_m": 90.0, "speed_m_s": 0.1, "toward_deg": 350.0}]
    assert len(by_heading.rows) == 3 and "1 rows have no current" in told(by_heading)
    by_parts = read(tmp_path, [HEADER + ",east_m_s,north_m_s", "0,9,35,0.3,0.4", "50,8,35,0,-0.2", "90,8,35,-1,0"])
    assert [row["toward_deg"] for row in by_parts.current_rows] == pytest.approx([36.869897646, 180.0, 270.0])
    assert [row["speed_m_s"] for row in by_parts.current_rows] == pytest.approx([0.5, 0.2, 1.0])


@pytest.mark.parametrize(("cells", "words"), [
    ("7,70", "line 3: speed_m_s is 7; allowed is 0 to 5 m/s"),
    ("0.2,north", 'line 3: toward_deg is "north"; allowed is 0 to 360 deg'),
    ("0.2,", "line 3: toward_deg is missing"),
])
def test_a_wrong_current_costs_the_current_and_not_the_water(tmp_path, cells, words):
    cast = read(tmp_path, [HEADER + ",speed_m_s,toward_deg", "0,9,35,0.3,70", "50,8,35," + cells])
    assert words in told(cast)
    assert len(cast.rows) == 2 and len(cast.current_rows) == 1


def test_two_parts_of_a_current_may_each_be_in_range_and_their_sum_not(tmp_path):
    cast = read(tmp_path, [HEADER + ",east_m_s,north_m_s", "0,9,35,4,4", "50,8,35,0,1"])
    assert len(cast.current_rows) == 1 and "5.65685 m/s" in told(cast)


def test_half_a_current_is_told_and_left_out(tmp_path):
    cast = read(tmp_path, [HEADER + ",speed_m_s", "0,9,35,0.3", "50,8,35,0.2"])
    assert cast.current_rows == [] and "speed_m_s is there without toward_deg" in told(cast)


@pytest.mark.parametrize(("row", "words"), [
    ("150,,35", "line 9: temperature_c is missing; allowed is -2.5 to 40 degC"),
    ("150,nan,35", "line 9: temperature_c is missing"),
    ("150,9,-999", "line 9: salinity_psu is -999; allowed is 0 to 42 psu"),
    ("150,-9.990e-29,35", 'line 9: temperature_c is "-9.990e-29"'),
    ("150,inf,35", "line 9: temperature_c is"),
    ("-3,9,35", "line 9: depth_m is -3; allowed is 0 to 11000 m"),
    ("1_5,9,35", 'line 9: depth_m is "1_5"'),
    ("150,9", "line 9: salinity_psu is missing"),
    ("150,9,4,35,2", "line 9 has 5 values; the header has 3 columns"),
    ("deep,9,35", 'line 9: depth_m is "deep"'),
])
def test_a_bad_row_is_skipped_and_told_with_its_line(tmp_path, row, words):
    cast = read(tmp_path, [*GOOD, row, "600,4,35.3"])
    assert len(cast.notes) == 1 and words in cast.notes[0] and cast.notes[0].endswith("the row is skipped")
    assert len(cast.rows) == 8 and 150.0 not in column(cast, "depth_m")


def test_a_quarter_of_bad_rows_is_borne_and_one_more_is_not(tmp_path):
    quarter = [HEADER, *(f"{10 * step},9,35" for step in range(6)), "x,9,35", "x,9,35"]
    assert len(read(tmp_path, quarter).rows) == 6
    words = refusal(tmp_path, [*quarter, "60,99,35"])
    assert "3 of 9 rows cannot be used; allowed is a quarter" in words
    assert words.count("line ") == 3 and "line 10: temperature_c is 99" in words


def test_many_bad_rows_are_counted_rather_than_listed(tmp_path):
    cast = read(tmp_path, [HEADER, *(f"{step},9,35" for step in range(100)), *["x,9,35"] * 25])
    assert len(cast.notes) == 11 and "15 more rows are skipped, 25 of 125 in all" in cast.notes[-1]


def test_values_in_range_that_give_no_salinity_are_told_with_what_they_came_from(tmp_path):
    lines = ["depth_m,temperature_c,conductivity_ms_cm", *(f"{10 * step},15,42" for step in range(5)), "60,2,80"]
    assert "line 7: conductivity_ms_cm is 80 gives salinity_psu" in told(read(tmp_path, lines))


def test_the_up_cast_is_left_out(tmp_path):
    cast = read(tmp_path, [HEADER, "0,15,35", "50,12,35", "100,10,35", "50,2,35", "0,2,35"])
    assert column(cast, "temperature_c") == [15.0, 12.0, 10.0]
    assert "line 4, 100 m, is the deepest: the 2 rows after it are the up-cast" in told(cast)


def test_a_file_that_starts_at_the_bottom_is_read_upward(tmp_path):
    cast = read(tmp_path, [HEADER, "99,10,35", "100,10,35", "50,12,35", "0,15,35"])
    assert column(cast, "depth_m") == [0.0, 50.0, 100.0]
    assert "the rows go up from there" in told(cast) and "the 1 rows before it" in told(cast)


def test_rows_out_of_order_are_sorted_and_told(tmp_path):
    cast = read(tmp_path, [HEADER, "0,15,35", "50,12,35", "20,14,35", "100,10,35"])
    assert column(cast, "depth_m") == [0.0, 20.0, 50.0, 100.0]
    assert "goes back 1 times, first at line 4" in told(cast)


def test_a_depth_given_twice_is_averaged_and_told(tmp_path):
    cast = read(tmp_path, [HEADER + ",east_m_s,north_m_s", "0,15,35,,", "50,12,35,1,0", "50,11,35.2,,", "90,9,35.4,,"])
    assert cast.rows[1] == pytest.approx({"depth_m": 50.0, "temperature_c": 11.5, "salinity_psu": 35.1})
    assert cast.current_rows[0]["speed_m_s"] == 1.0, "a blank cell takes no part in a mean"
    assert "first line 4 with 50 m: their mean" in told(cast)


def test_water_lighter_than_the_water_above_it_is_told_and_kept(tmp_path):
    rows = [HEADER, "0,10,35", "10,10,35", "20,10.4,35", "30,10.5,35", "40,8,35"]
    cast = read(tmp_path, rows)
    # outside: potential density of gsw, all of it within 40 m of the surface
    dense = gsw.sigma0(gsw.SR_from_SP(35.0), gsw.CT_from_t(gsw.SR_from_SP(35.0), [10.0, 10.5], [10.0, 30.0]))
    found = re.search(r"^lines 4 to 5, 20 to 30 m: the water is up to ([0-9.]+) kg/m3 lighter", told(cast))
    assert float(found[1]) == pytest.approx(dense[0] - dense[1], abs=0.001)
    assert len(cast.rows) == 5
    gentle = [line.replace("10.4", "10.05").replace("10.5", "10.1") for line in rows]
    assert read(tmp_path, gentle).notes == [], "0.02 kg/m3 is the noise of a sensor"


def test_an_inversion_spread_over_many_small_steps_is_still_told(tmp_path):
    cast = read(tmp_path, [HEADER, *(f"{step},{10 + 0.005 * step},35" for step in range(200))])
    assert "lighter than water above it" in told(cast)


def test_bottom_water_of_the_southern_ocean_is_no_inversion(tmp_path):
    # Potential density at the surface falls here by more than 0.05, yet the water is stable in place. Values from
    # memory: North Atlantic deep water above Antarctic bottom water, the fall made a little larger.
    cast = read(tmp_path, [HEADER, "0,20,36", "3000,2.95,34.95", "4000,2.1,34.88", "4500,1.0,34.73", "5500,0.5,34.64"])
    sea_dbar = gsw.p_from_z([-3000.0, -5500.0], LATITUDE_DEG)
    salinity_g_kg = gsw.SR_from_SP([34.95, 34.64])
    shallow = gsw.sigma0(salinity_g_kg, gsw.CT_from_t(salinity_g_kg, [2.95, 0.5], sea_dbar))
    assert shallow[0] - shallow[1] > 0.05
    assert cast.notes == []


def test_a_dense_cast_is_thinned_and_keeps_its_shape(tmp_path):
    depth_m = np.arange(0.0, 3000.0, 0.05)
    temperature_c = 3.0 + 12.0 * np.exp(-depth_m / 400.0) + 3.0 * (depth_m < 60.0)
    salinity_psu = 35.0 + 0.5 * np.exp(-(((depth_m - 900.0) / 150.0) ** 2))
    path = tmp_path / "dense.csv"
    np.savetxt(path, np.column_stack((depth_m, temperature_c, salinity_psu)), "%.4f", ",", header=HEADER, comments="")
    cast = read_cast(path, LATITUDE_DEG)
    assert len(cast.rows) <= ROWS_MAX and cast.deepest_m == pytest.approx(2999.95)
    for key, wanted in (("temperature_c", temperature_c), ("salinity_psu", salinity_psu)):
        off = np.abs(np.interp(depth_m, column(cast, "depth_m"), column(cast, key)) - wanted)
        assert np.quantile(off, 0.99) < 0.01, key
        far = off > 0.02
        assert np.all((np.abs(depth_m[far] - 60.0) < 1.5) | (depth_m[far] < 1.0)), "only the step is smeared, by a metre"
    assert "60000 rows are thinned to" in told(cast)


@pytest.mark.parametrize("key", ["temperature_c", "salinity_psu"])
def test_a_layer_in_one_column_alone_survives_the_thinning(tmp_path, key):
    cells = {"temperature_c": "9,35", "salinity_psu": "9,35"} | {"layer temperature_c": "7,35", "layer salinity_psu": "9,36"}
    lines = [HEADER, *(f"{n},{cells['layer ' + key if 500 <= n < 520 else key]}" for n in range(2000))]
    cast = read(tmp_path, lines)
    inside = np.interp([505.0, 515.0], column(cast, "depth_m"), column(cast, key))
    assert inside == pytest.approx([7.0, 7.0] if key == "temperature_c" else [36.0, 36.0])


def test_a_cast_of_few_rows_is_not_averaged(tmp_path):
    cast = read(tmp_path, [HEADER, *(f"{step / 10},{35 - step / 10},35" for step in range(300))])
    assert len(cast.rows) == 300 and cast.rows[7]["depth_m"] == 0.7


def test_a_current_measured_at_every_scan_is_thinned_as_well(tmp_path):
    lines = [HEADER + ",east_m_s,north_m_s", *(f"{n},9,35,{0.3 if n < 500 else 0.1},0.1" for n in range(1200))]
    cast = read(tmp_path, lines)
    assert len(cast.current_rows) <= ROWS_MAX
    parts = np.interp([400.0, 600.0], *zip(*((row["depth_m"], row["speed_m_s"]) for row in cast.current_rows), strict=True))
    assert parts == pytest.approx([np.hypot(0.3, 0.1), np.hypot(0.1, 0.1)])


def test_sea_water_that_reads_as_fresh_is_doubted(tmp_path):
    cast = read(tmp_path, [HEADER, "0,9,0.0350", "50,8,0.0352"])
    assert "multiply it by 1000" in told(cast)


@pytest.mark.parametrize(("text", "words"), [
    ("", "is empty"),
    ("\n\n# nothing\n", "only blank lines and remarks"),
    ("temperature_c,salinity_psu\n9,35\n", "has no depth_m or pressure_dbar; found temperature_c, salinity_psu"),
    ("depth_m,salinity_psu\n9,35\n", "has no temperature_c"),
    ("depth_m,temperature_c,salt\n9,35\n", "has no salinity_psu or conductivity_ms_cm"),
    ("depth_m temperature_c salinity_psu\n1 2 3\n", "has one column, with blanks in its name"),
    (HEADER + ",depth_m\n1,2,3,4\n", "the column depth_m 2 times; allowed is once"),
    (HEADER + "\n", "has 0 rows that can be used"),
    (HEADER + "\n5,9,35\n", "has 1 rows that can be used"),
    (HEADER + "\n5,9,35\n5,8,35\n", "rows at one depth only"),
    (b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR", "is not text"),
    ("\n".join(GOOD).encode("utf-16"), "is not text"),
])
def test_a_text_file_that_cannot_be_used_is_refused_in_one_sentence(tmp_path, text, words):
    sentence = refusal(tmp_path, text)
    assert '"cast.csv"' in sentence and words in sentence and "\n" not in sentence and ": " in sentence


def test_every_missing_column_has_its_own_sentence(tmp_path):
    assert len(refusal(tmp_path, "time,flag\n1,2\n").splitlines()) == 3


@pytest.mark.parametrize(("name", "words"), [("missing.csv", "is not there"), ("folder.csv", "is a folder"),
                                             ("cast.xlsx", 'ends in ".xlsx"'), ("bare", 'ends in ""'),
                                             ("a\0b.csv", ""), ("n" * 300 + ".csv", "")])
def test_a_name_that_leads_to_no_file_of_casts_is_refused(tmp_path, name, words):
    (tmp_path / "folder.csv").mkdir()
    (tmp_path / "cast.xlsx").write_text("x")
    (tmp_path / "bare").write_text("x")
    with pytest.raises(CastError) as caught:
        read_cast(tmp_path / name, LATITUDE_DEG)
    assert len(caught.value.sentences) == 1 and words in str(caught.value)
    assert str(tmp_path) not in str(caught.value)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_a_pipe_is_refused_and_not_waited_on(tmp_path):
    os.mkfifo(tmp_path / "pipe.csv")
    with pytest.raises(CastError, match="not an ordinary file"):
        read_cast(tmp_path / "pipe.csv", LATITUDE_DEG)


@pytest.mark.parametrize("latitude_deg", [90.5, float("nan")])
def test_a_latitude_off_the_globe_is_refused(tmp_path, latitude_deg):
    with pytest.raises(ValueError, match="-90 to 90"):
        read_cast(text_file(tmp_path, "\n".join(GOOD)), latitude_deg)


def _usable(cast):
    depths_m = column(cast, "depth_m")
    assert 2 <= len(depths_m) <= ROWS_MAX and cast.deepest_m >= depths_m[-1]
    assert all(above < below for above, below in zip(depths_m, depths_m[1:], strict=False))
    for row in cast.rows:
        WaterRow(**row)
    for row in cast.current_rows:
        CurrentRow(**row)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.one_of(st.text(max_size=200), st.binary(max_size=200)))
def test_any_text_is_read_or_refused_in_sentences(tmp_path, text):
    try:
        _usable(read(tmp_path, text.encode("utf-8", "surrogatepass") if isinstance(text, str) else text))
    except CastError as error:
        assert all(error.sentences)


CELLS = st.sampled_from(["0", "1", "2.5", "7", "30", "35", "36,5", "350", "", "nan", "1e9", "-9.99e-29", "x", '"', "#"])


@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.permutations(["depth_m", "temperature_c", "conductivity_ms_cm", "salinity_psu", "pressure_dbar", "east_m_s",
                        "north_m_s", "speed_m_s"]), st.integers(3, 8), st.sampled_from(",;\t"),
       st.lists(st.lists(CELLS, min_size=3, max_size=8), max_size=12))
def test_any_table_is_read_within_the_bounds_of_the_plan_or_refused(tmp_path, names, wide, separator, rows):
    lines = [separator.join(names[:wide]), *(separator.join(row) for row in rows)]
    try:
        _usable(read(tmp_path, lines))
    except CastError as error:
        assert all(error.sentences)


# NetCDF: a variable is name -> (dimensions, values, attributes)

CF = {
    "PRES": (("level",), [0.0, 100.0, 500.0], {"standard_name": "sea_water_pressure_due_to_sea_water", "units": "dbar"}),
    "TEMP": (("level",), [15.0, 10.0, 7.0], {"standard_name": "sea_water_temperature", "units": "degC"}),
    "PSAL": (("level",), [35.0, 35.2, 35.1], {"standard_name": "sea_water_practical_salinity", "units": "1"}),
}
DEPTH = (("level",), [0.0, 99.0, 495.0], {"standard_name": "depth", "units": "m", "positive": "down"})


def netcdf(folder, variables, name="cast.nc", format="NETCDF4"):
    path = folder / name
    with netCDF4.Dataset(path, "w", format=format) as dataset:
        for key, (dimensions, values, attributes) in variables.items():
            values = np.ma.asarray(values)
            for dimension, size in zip(dimensions, values.shape, strict=True):
                if dimension not in dataset.dimensions:
                    dataset.createDimension(dimension, size)
            fill = attributes.get("_FillValue")
            kind = str if values.dtype.kind == "U" else values.dtype
            variable = dataset.createVariable(key, kind, dimensions, fill_value=fill)
            variable.setncatts({name: value for name, value in attributes.items() if name != "_FillValue"})
            variable[:] = np.asarray(values, dtype=object) if kind is str else values
    return read_cast(path, LATITUDE_DEG)


def changed(key, values=None, dimensions=None, **attributes):
    old = CF[key]
    kept = {name: value for name, value in (old[2] | attributes).items() if value != ABSENT}
    return {**CF, key: (dimensions or old[0], old[1] if values is None else values, kept)}


@pytest.mark.parametrize("format", ["NETCDF4", "NETCDF3_CLASSIC"])
def test_a_netcdf_file_is_read_by_its_standard_names(tmp_path, format):
    cast = netcdf(tmp_path, CF, format=format)
    assert column(cast, "depth_m") == pytest.approx([0.0, *(-gsw.z_from_p([100.0, 500.0], LATITUDE_DEG))])
    assert column(cast, "temperature_c") == [15.0, 10.0, 7.0] and column(cast, "salinity_psu") == [35.0, 35.2, 35.1]
    assert cast.notes == []


@pytest.mark.parametrize(("key", "values", "units"), [
    ("PRES", [0.0, 1e6, 5e6], "Pa"), ("PRES", [0.0, 10.0, 50.0], "bar"), ("PRES", [0.0, 1000.0, 5000.0], "kPa"),
    ("PRES", [0.0, 1.0, 5.0], "MPa"),
    ("TEMP", [288.15, 283.15, 280.15], "K"), ("TEMP", [15.0, 10.0, 7.0], "degree_Celsius"),
    ("PSAL", [35.0, 35.2, 35.1], "1e-3"), ("PSAL", [35.0, 35.2, 35.1], ABSENT),
])
def test_units_are_honoured(tmp_path, key, values, units):
    cast, plain = netcdf(tmp_path, changed(key, values, units=units)), netcdf(tmp_path, CF, "plain.nc")
    for name in ("depth_m", "temperature_c", "salinity_psu"):
        assert column(cast, name) == pytest.approx(column(plain, name)), name


@pytest.mark.parametrize(("key", "units"), [("PRES", "psi"), ("PRES", "mPa"), ("TEMP", "degF"), ("TEMP", ABSENT),
                                            ("PRES", ABSENT), ("PSAL", "furlong")])
def test_units_that_are_not_known_are_refused_with_the_known_ones(tmp_path, key, units):
    with pytest.raises(CastError, match=f"{key} has (the|no) units.*allowed is"):
        netcdf(tmp_path, changed(key, units=units))


@pytest.mark.parametrize(("values", "attributes"), [
    ([0.0, 99.0, 495.0], {}), ([0.0, -99.0, -495.0], {"positive": "up"}), ([0.0, 0.099, 0.495], {"units": "km"}),
])
def test_depth_counts_downward_whatever_way_the_file_counts(tmp_path, values, attributes):
    variables = {"DEPTH": (("level",), values, DEPTH[2] | attributes), "TEMP": CF["TEMP"], "PSAL": CF["PSAL"]}
    assert column(netcdf(tmp_path, variables), "depth_m") == pytest.approx([0.0, 99.0, 495.0])


def test_a_pressure_that_may_include_the_air_is_told(tmp_path):
    assert "zero at the surface" in told(netcdf(tmp_path, changed("PRES", standard_name="sea_water_pressure")))


def test_masked_values_are_skipped_and_told_by_their_record(tmp_path):
    values = np.ma.masked_values([15.0, 12.0, -99.0, 8.0, 7.0], -99.0)
    levels = [0.0, 50.0, 100.0, 200.0, 500.0]
    variables = {"PRES": (("level",), levels, CF["PRES"][2]), "PSAL": (("level",), [35.0] * 5, CF["PSAL"][2]),
                 "TEMP": (("level",), values, CF["TEMP"][2] | {"_FillValue": -99.0})}
    cast = netcdf(tmp_path, variables)
    assert told(cast) == "record 3: temperature_c is missing; allowed is -2.5 to 40 degC: the row is skipped"
    assert len(cast.rows) == 4


def test_packed_values_are_unpacked(tmp_path):
    packed = (("level",), np.array([15000, 10000, 7000], dtype="i2"),
              CF["TEMP"][2])
    path = tmp_path / "cast.nc"
    netcdf(tmp_path, {**CF, "TEMP": (packed[0], [15.0, 10.0, 7.0], packed[2])})
    with netCDF4.Dataset(path, "a") as dataset:
        dataset["TEMP"].set_auto_maskandscale(False)
        dataset["TEMP"][:] = packed[1]
        dataset["TEMP"].scale_factor = 0.001
    assert column(read_cast(path, LATITUDE_DEG), "temperature_c") == pytest.approx([15.0, 10.0, 7.0])


def test_dimensions_of_size_one_are_no_matter_and_more_profiles_are_refused_with_their_number(tmp_path):
    one = {**CF, "TEMP": (("time", "level"), [[15.0, 10.0, 7.0]], CF["TEMP"][2])}
    assert column(netcdf(tmp_path, one), "temperature_c") == [15.0, 10.0, 7.0]
    four = {**CF, "TEMP": (("time", "level"), [[15.0, 10.0, 7.0]] * 4, CF["TEMP"][2])}
    with pytest.raises(CastError, match="holds 4 profiles; allowed is one"):
        netcdf(tmp_path, four, "four.nc")
    every = {key: (("station", "level"), [values] * 3, attributes) for key, (_, values, attributes) in CF.items()}
    with pytest.raises(CastError, match="holds 3 profiles; allowed is one"):
        netcdf(tmp_path, every, "every.nc")


def test_profiles_strung_together_on_one_dimension_are_counted_too(tmp_path):
    ragged = {**CF, "count": (("profile",), np.array([2, 1]), {"sample_dimension": "level"})}
    with pytest.raises(CastError, match="holds 2 profiles"):
        netcdf(tmp_path, ragged)
    indexed = {**CF, "which": (("level",), np.array([0, 0, 1]), {"instance_dimension": "profile"})}
    with pytest.raises(CastError, match="holds 2 profiles"):
        netcdf(tmp_path, indexed, "indexed.nc")


def test_currents_conductivity_and_flags_of_a_netcdf_file(tmp_path):
    conductivity = gsw.C_from_SP([35.0, 35.2, 35.1], [15.0, 10.0, 7.0], [0.0, 100.0, 500.0]) / 10.0
    variables = {
        "PRES": CF["PRES"], "TEMP": CF["TEMP"],
        "CNDC": (("level",), conductivity, {"standard_name": "sea_water_electrical_conductivity", "units": "S m-1"}),
        "U": (("level",), [10.0, 0.0, -5.0], {"standard_name": "eastward_sea_water_velocity", "units": "cm s-1"}),
        "V": (("level",), [0.0, 0.2, 0.0], {"standard_name": "northward_sea_water_velocity", "units": "m s-1"}),
        "QC": (("level",), [1.0, 1.0, 4.0], {"standard_name": "sea_water_temperature status_flag"}),
    }
    cast = netcdf(tmp_path, variables)
    assert column(cast, "salinity_psu") == pytest.approx([35.0, 35.2, 35.1])
    assert [(row["speed_m_s"], row["toward_deg"]) for row in cast.current_rows] == [(0.1, 90.0), (0.2, 0.0), (0.05, 270.0)]
    assert "the quality flags in QC are not looked at" in told(cast)


def test_the_first_of_two_sensors_is_used_and_told(tmp_path):
    cast = netcdf(tmp_path, {**CF, "TEMP2": (("level",), [1.0, 1.0, 1.0], CF["TEMP"][2])})
    assert column(cast, "temperature_c") == [15.0, 10.0, 7.0]
    assert "sea_water_temperature is there 2 times: TEMP is used, TEMP2 not" in told(cast)


@pytest.mark.parametrize(("variables", "words"), [
    ({}, "no variable with a standard_name that is wanted"),
    ({"x": (("level",), [1.0], {"standard_name": "air_temperature"})}, "found air_temperature"),
    ({key: CF[key] for key in ("PRES", "TEMP")}, "has no sea_water_practical_salinity or sea_water_salinity or"),
    (changed("TEMP", ["a", "b", "c"]), "TEMP holds text"),
    (changed("TEMP", [1.0, 2.0], ("other",)), "TEMP does not run along level"),
    ({key: ((), values[0], attributes) for key, (_, values, attributes) in CF.items()}, "fewer than 2 depths"),
])
def test_a_netcdf_file_that_cannot_be_used_is_refused_in_one_sentence(tmp_path, variables, words):
    with pytest.raises(CastError) as caught:
        netcdf(tmp_path, variables)
    assert len(caught.value.sentences) == 1 and words in str(caught.value)


@pytest.mark.parametrize("content", [b"CDF\x01 and no more", b"\x89HDF\r\n\x1a\n" + b"\xff" * 600, b"plain words", b"CDF\x05"])
def test_garbage_that_is_called_netcdf_is_refused_in_one_sentence(tmp_path, content):
    with pytest.raises(CastError) as caught:
        read_cast(text_file(tmp_path, content, "cast.nc"), LATITUDE_DEG)
    assert len(caught.value.sentences) == 1 and "cannot be read as NetCDF" in str(caught.value)


def test_a_variable_too_large_to_be_a_cast_is_refused_before_it_is_read(tmp_path):
    path = tmp_path / "cast.nc"
    netcdf(tmp_path, CF)
    with netCDF4.Dataset(path, "a") as dataset:
        dataset.createDimension("much", 400_000_000)
        dataset.createVariable("image", "f4", ("much",), zlib=True)
    with pytest.raises(CastError, match="image has 400000000 values; allowed is 5000000"):
        read_cast(path, LATITUDE_DEG)


@pytest.mark.parametrize(("at", "value", "length"), [
    (69, 255, None),  # the NetCDF library of today does not come back from this one
    (12, 127, None),  # and dies of this one
    (7, 255, None), (20, 0, None), (100, 4, None), (0, 67, 10), (0, 67, 100), (0, 67, 300),
])
def test_a_damaged_netcdf_file_is_read_within_bounds_or_refused_in_one_sentence(tmp_path, monkeypatch, at, value, length):
    netcdf(tmp_path, CF, "whole.nc", format="NETCDF3_CLASSIC")
    content = bytearray((tmp_path / "whole.nc").read_bytes())
    content[at] = value
    monkeypatch.setattr(cast_files, "NETCDF_S_MAX", 3.0)
    try:
        _usable(read_cast(text_file(tmp_path, bytes(content[:length]), "cast.nc"), LATITUDE_DEG))
    except CastError as error:
        assert len(error.sentences) == 1


@pytest.mark.parametrize(("instead", "words"), [
    ("import os; os.abort()", "breaks off over it"), ("import time; time.sleep(30)", "within 0.5 s"),
])
def test_a_library_that_crashes_or_hangs_over_a_file_is_told_as_a_damaged_file(tmp_path, monkeypatch, instead, words):
    (tmp_path / "netCDF4.py").write_text(instead, encoding="utf-8")  # stands in the way of the real one
    monkeypatch.syspath_prepend(tmp_path)
    monkeypatch.setattr(cast_files, "NETCDF_S_MAX", 0.5 if "sleep" in instead else 20.0)
    with pytest.raises(CastError, match=words):
        read_cast(text_file(tmp_path, b"CDF\x01", "cast.nc"), LATITUDE_DEG)
