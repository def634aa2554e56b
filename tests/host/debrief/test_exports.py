"""Other programs read the lander's journal: spreadsheets, xarray, whatever reads JSON.

The NetCDF is judged by compliance-checker (CF 1.8) and read by xarray.
"""

import csv
import io
import json

import numpy as np
import pytest
import xarray
from compliance_checker.runner import CheckSuite, ComplianceChecker

from lander import journal, table
from lander.journal import RECORD_BYTES
from seatrial.bodies import open_body
from seatrial.deeds import parse as parse_fault
from seatrial.dive import Dive
from seatrial.plan import load_sample
from seatrial.plan.changing import changed
from tumblehome.debrief import exports, log

PLAN = changed(load_sample(), {"dive.watch_after_surfacing_min": 20})
RESETS = ("reset@record+20min", "reset@record+25min")
CLOCKLESS = {"sensors.clock.set": False, "self_test.sensors": False}


def flown(*faults: str, plan=PLAN):
    return Dive(plan, [parse_fault(fault) for fault in faults], 3, open_body("cpython", plan.mission_record())).run()


@pytest.fixture(scope="module")
def result():
    return flown()


@pytest.fixture(scope="module")
def told(result) -> log.Log:
    return log.parse(result.journal, "here")


@pytest.fixture(scope="module")
def torn(result) -> log.Log:
    slots = [result.journal[at:at + RECORD_BYTES] for at in range(0, len(result.journal), RECORD_BYTES)]
    slots[700] = slots[700][:20] + b"\xff" * 44
    return log.parse(b"".join(slots[:1500]), "here")


@pytest.fixture(scope="module")
def clockless() -> log.Log:
    plan = changed(PLAN, CLOCKLESS)
    return log.parse(flown("clock-lost@start", plan=plan).journal, "here")


@pytest.fixture(scope="module")
def reset() -> log.Log:
    return log.parse(flown(*RESETS, "pressure-gone:for_s=600@record+60min").journal, "here")


def opened(content: bytes, tmp_path) -> xarray.Dataset:
    path = tmp_path / "dive.nc"
    path.write_bytes(content)
    return xarray.load_dataset(path)


# --- CSV and JSON ---------------------------------------------------------------------------------------------------


def test_a_spreadsheet_finds_every_record_with_units_in_the_heading(result, told):
    rows = list(csv.DictReader(io.StringIO(exports.to_csv(told, PLAN))))
    assert len(rows) == len(told.records)
    for at in (0, 9, 200, 1200, len(rows) - 1):
        fields = journal.fields(result.journal[at * RECORD_BYTES:(at + 1) * RECORD_BYTES])
        row = rows[at]
        assert int(row["sequence"]) == fields["sequence"] and row["state"] == table.STATES[fields["state"]]
        assert float(row["pressure (hPa)"]) == fields["pressure_mbar"]
        assert float(row["supply_voltage (V)"]) == fields["supply_mv"] / 1000
        assert float(row["water_temperature (degree_Celsius)"]) == fields["water_centi_c"] / 100
    settled = next(row for row in rows if "on the bottom" in row["told"])
    assert settled["kind"] == "row" and settled["time (UTC)"].startswith("2027-05-18T06:41")


def test_an_invalid_reading_is_an_empty_cell_and_no_number(reset):
    rows = list(csv.DictReader(io.StringIO(exports.to_csv(reset, PLAN))))
    bad = (reset.records["signs"] & 8) == 0
    assert bad.sum() > 20
    assert [row["pressure (hPa)"] == "" and row["depth (m)"] == "" for row in rows] == bad.tolist()


def test_without_a_trusted_clock_no_moment_is_invented(clockless):
    rows = list(csv.DictReader(io.StringIO(exports.to_csv(clockless))))
    assert {row["time (UTC)"] for row in rows} == {""} and float(rows[-1]["mission_time (s)"]) > 15000
    assert exports.stem_of(clockless).startswith("dive-from-record-")
    assert all(record["utc"] is None for record in json.loads(exports.to_json(clockless))["records"])


def test_json_tells_the_records_in_words_what_was_not_read_and_the_causes_given(torn):
    causes = [{"sentence": "the wire was open", "kinds": ["open-circuit"]}]
    account = json.loads(exports.to_json(torn, PLAN, causes))
    assert account["causes"] == causes and account["unread"]["bad"] == 1 and account["unread"]["sentences"]
    assert len(account["records"]) == len(torn.records) and account["records"][0]["kind"] == "boot"
    assert any(record.get("told") == "descend to record: on the bottom: depth stands still"
               for record in account["records"])


def test_records_of_another_firmware_with_numbers_unknown_here_are_told_as_numbers(told):
    rows = told.records.copy()
    rows["kind"], rows["code"], rows["state"] = 6, 99, 12
    strange = log.Log("here", rows[:5], told.slot[:5], told.unread, 5)
    assert "event 99" in exports.to_csv(strange) and '"state": 12' in exports.to_json(strange)


# --- NetCDF ---------------------------------------------------------------------------------------------------------


@pytest.mark.published("library", source="compliance-checker, CF 1.8", tolerance="valid")
@pytest.mark.parametrize(("which", "plan"), [("told", PLAN), ("told", None), ("torn", PLAN), ("reset", PLAN),
                                             ("clockless", PLAN)])
def test_the_cf_checker_finds_nothing_to_say(which, plan, request, tmp_path):
    path = tmp_path / "dive.nc"
    path.write_bytes(exports.to_netcdf(request.getfixturevalue(which), plan))
    CheckSuite.load_all_available_checkers()
    report = tmp_path / "report.json"
    passed, errors = ComplianceChecker.run_checker(str(path), ["cf:1.8"], 0, "strict", output_filename=str(report),
                                                   output_format="json")
    found = json.loads(report.read_text())["cf:1.8"]
    failed = [check["msgs"] for kind in ("high_priorities", "medium_priorities", "low_priorities") for check in found[kind]
              if check["value"][0] < check["value"][1]]
    assert failed == [] and found["scored_points"] == found["possible_points"] > 50 and passed and not errors


def test_the_cf_checker_does_find_what_is_wrong(told, tmp_path, monkeypatch):
    monkeypatch.setattr(exports, "COLUMNS", tuple(
        column if column.name != "pressure" else exports.Column("pressure", "degree_Celsius", "", column.read, 0,
                                                                "sea_water_pressure") for column in exports.COLUMNS))
    path = tmp_path / "dive.nc"
    path.write_bytes(exports.to_netcdf(told, PLAN))
    CheckSuite.load_all_available_checkers()
    passed, _errors = ComplianceChecker.run_checker(str(path), ["cf:1.8"], 0, "strict",
                                                    output_filename=str(tmp_path / "report.json"), output_format="json")
    assert not passed


def test_xarray_reads_times_depths_and_states(result, told, tmp_path):
    dive = opened(exports.to_netcdf(told, PLAN), tmp_path)
    assert dive.attrs["featureType"] == "trajectory" and dive.depth.attrs["positive"] == "down"
    splash = np.datetime64(PLAN.dive.splash_utc.replace(tzinfo=None))
    since_s = (dive.time.values - splash) / np.timedelta64(1, "s")
    assert (np.diff(since_s) > 0).all()
    true_m = np.interp(since_s + result.evidence.splash_s, result.series.time_s, result.series.depth_m)
    assert np.nanmax(np.abs(dive.depth.values - np.maximum(true_m, 0.0))) < 4.0  # 2 s off by the clock's whole seconds
    names = dict(zip(dive.state.attrs["flag_values"].tolist(), dive.state.attrs["flag_meanings"].split(), strict=True))
    assert names[int(dive.state.sel(time=splash + np.timedelta64(2, "h"), method="nearest"))] == "record"
    assert float(dive.latitude[0]) == PLAN.site.latitude_deg


def test_what_was_not_valid_is_missing_in_xarray(reset, tmp_path):
    dive = opened(exports.to_netcdf(reset, PLAN), tmp_path)
    assert int(dive.pressure.isnull().sum()) > 20 and int(dive.supply_voltage.isnull().sum()) == 0


def test_without_a_plan_there_is_no_place_and_the_depth_says_how(told, tmp_path):
    dive = opened(exports.to_netcdf(told), tmp_path)
    assert "latitude" not in dive and "featureType" not in dive.attrs and "standard ocean" in dive.attrs["comment"]


def test_the_same_journal_gives_the_same_bytes(told):
    for write in (exports.to_csv, exports.to_json, exports.to_netcdf):
        assert write(told, PLAN) == write(told, PLAN)
