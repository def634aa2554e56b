"""A journal for other programs: CSV with units in its header, NetCDF after the CF conventions, and JSON.

The three come from one table, `COLUMNS`. Readings that the controller held for invalid are left out, never filled in.
"""

import csv
import io
import json
import math
import os
import tempfile
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lander import VERSION, journal, table, words
from seatrial.plan import Plan
from seatrial.world import CLOCK_EPOCH
from tumblehome import moments
from tumblehome.bench import pulled
from tumblehome.debrief import telling
from tumblehome.debrief.depths import Depths, depths
from tumblehome.debrief.log import Log

CONVENTIONS = "CF-1.8"
FILL = 9.969209968386869e36  # netCDF's own for real numbers
SIGN_PLACES = {name: place for place, name in enumerate(words.SIGNS)}
DRIVE_PLACES = {name: place for place, name in enumerate(words.DRIVES)}


@dataclass(frozen=True)
class Column:
    """One series of a log: its name, unit ("1" for a bare number), what it is, and how it is read.

    `read` gives real numbers, not a number where there is no reading. `standard_name` is that of the CF table, where it
    has one. `digits` are the decimals that the reading has. `flags` are the words of a number that stands for one.
    """

    name: str
    unit: str
    meaning: str
    read: Callable[[Log, Depths], NDArray[Any]]
    digits: int = 0
    standard_name: str = ""
    flags: tuple[str, ...] = ()

    @property
    def heading(self) -> str:
        """Name and unit, as they stand in the first line of a CSV."""
        return self.name if self.unit == "1" else "%s (%s)" % (self.name, self.unit)


def _reading(field: str, scale: float, valid: str) -> Callable[[Log, Depths], NDArray[Any]]:
    def read(log: Log, _depths: Depths) -> NDArray[Any]:
        good = log.records["signs"] >> SIGN_PLACES[valid] & 1 != 0
        return np.where(good, log.records[field] * scale, np.nan)
    return read


def _field(field: str) -> Callable[[Log, Depths], NDArray[Any]]:
    return lambda log, _depths: log.records[field].astype(float)


def _sign(name: str, valid: str = "") -> Callable[[Log, Depths], NDArray[Any]]:
    def read(log: Log, _depths: Depths) -> NDArray[Any]:
        value = (log.records["signs"] >> SIGN_PLACES[name] & 1).astype(float)
        return np.where(log.records["signs"] >> SIGN_PLACES[valid] & 1 != 0, value, np.nan) if valid else value
    return read


def _drive(name: str) -> Callable[[Log, Depths], NDArray[Any]]:
    return lambda log, _depths: (log.records["drives"] >> DRIVE_PLACES[name] & 1).astype(float)


def _since_splash(log: Log, _depths: Depths) -> NDArray[Any]:
    return log.mission_s - log.splash_s if log.splash_s is not None else np.full(len(log.records), np.nan)


OFF_ON = ("off", "on")
DRY_WET = ("dry", "wet")
MISSION_TIME = Column("mission_time", "s", "time that the controller has counted, over all its starts",
                      lambda log, _depths: log.mission_s, 1)
COLUMNS = (
    MISSION_TIME,
    Column("since_splash", "s", "time since the descent began, as the controller saw it", _since_splash, 1),
    Column("depth", "m", "depth below the surface", lambda _log, deep: deep.metres, 2, "depth"),
    Column("pressure", "hPa", "absolute pressure outside, air included",
           _reading("pressure_mbar", 1.0, "pressure_ok"), 0, "sea_water_pressure"),
    Column("water_temperature", "degree_Celsius", "temperature outside",
           _reading("water_centi_c", 0.01, "water_temp_ok"), 2, "sea_water_temperature"),
    Column("housing_temperature", "degree_Celsius", "temperature of the air in the housing",
           _reading("housing_centi_c", 0.01, "housing_temp_ok"), 2),
    Column("camera_temperature", "degree_Celsius", "temperature of the camera",
           _reading("camera_centi_c", 0.01, "camera_temp_ok"), 2),
    Column("supply_voltage", "V", "battery voltage at the controller", _reading("supply_mv", 0.001, "supply_ok"), 3),
    Column("supply_current", "A", "battery current", _reading("supply_ma", 0.001, "current_ok"), 3),
    Column("charge_used", "mA h", "charge counted since the start of the count", _field("used_mah")),
    Column("air_pressure", "hPa", "air pressure that was taken on deck", _field("surface_mbar")),
    Column("lights", "percent", "level of the lights", _field("lights_pct")),
    Column("state", "1", "mission state", _field("state"), flags=table.STATES),
    Column("camera", "1", "step of the camera", _field("camera"), flags=words.CAMERA_STEPS),
    Column("attempts", "1", "release attempts begun", _field("attempts")),
    Column("boot", "1", "starts of the controller", _field("boot")),
    Column("dive", "1", "armings", _field("dive")),
    Column("wet_contact", "1", "wet contact outside", _sign("contact_wet", "contact_ok"), flags=DRY_WET),
    Column("leak", "1", "leak probe inside", _sign("leak_wet", "leak_ok"), flags=DRY_WET),
    *(Column(name, "1", "output: %s" % words_of, _drive(drive), flags=OFF_ON) for name, drive, words_of in (
        ("camera_supply", "camera_supply", "supply of the camera"), ("fan", "fan", "housing fan"),
        ("beacon", "beacon", "beacon lamp"), ("primary_release", "primary", "primary release"),
        ("backup_release", "backup", "backup release"))),
)


def stem_of(log: Log) -> str:
    """A name for the files of this log: when it began by UTC, or the number of its first record."""
    utc = log.utc(log.splash_s if log.splash_s is not None else float(log.mission_s[0]))
    return utc.strftime("dive-%Y%m%dT%H%M%SZ") if utc else "dive-from-record-%d" % log.records["sequence"][0]


# --- CSV ------------------------------------------------------------------------------------------------------------


def to_csv(log: Log, plan: Plan | None = None) -> str:
    """Every record, one a line: number, kind, UTC, the columns in their units, and what it tells in words.

    RFC 4180, with one line of headings. A cell is empty where there is no valid reading, or no trusted clock.
    """
    deep = depths(log, plan)
    columns = [_cells(column, log, deep) for column in COLUMNS]
    file = io.StringIO(newline="")
    writer = csv.writer(file)
    writer.writerow(["sequence", "time (UTC)", *(column.heading for column in COLUMNS), "kind", "told"])
    kinds = [words.KINDS.get(int(kind), str(kind)) for kind in log.records["kind"]]
    told = {at: telling.what(fields) for at, fields in log.told()}
    for at, cells in enumerate(zip(*columns, strict=True)):
        writer.writerow([int(log.records["sequence"][at]), _utc_text(log, at), *cells, kinds[at], told.get(at, "")])
    return file.getvalue()


def _cells(column: Column, log: Log, deep: Depths) -> list[str]:
    values = column.read(log, deep).tolist()
    if column.flags:
        return ["" if math.isnan(value) else _word(column.flags, int(value)) for value in values]
    return ["" if math.isnan(value) else "%.*f" % (column.digits, value) for value in values]


def _word(flags: tuple[str, ...], number: int) -> str:
    return flags[number] if number < len(flags) else str(number)


def _utc_text(log: Log, at: int) -> str:
    utc = log.utc(float(log.mission_s[at]))
    return utc.strftime("%Y-%m-%dT%H:%M:%S.%f")[:-5] + "Z" if utc else ""


# --- JSON -----------------------------------------------------------------------------------------------------------


def to_json(log: Log, plan: Plan | None = None, causes: Any = None) -> str:
    """All records in words, what could not be read, and the causes as they are given in (plain data)."""
    deep = depths(log, plan)
    head = json.dumps({
        "tool": "tumblehome", "version": VERSION, "controller": log.chip,
        "plan_name": plan.dive.name if plan else None, "depth_by": deep.how, "slots": log.slots,
        "unread": {**log.unread.__dict__, "sentences": log.unread.sentences()},
        "splash_s": log.splash_s, "causes": causes}, indent=1, allow_nan=False)
    lines = ",\n".join(json.dumps(record, allow_nan=False) for record in _in_words(log, deep))  # a line a record
    return '%s,\n "records": [\n%s\n]}\n' % (head.removesuffix("\n}"), lines)


def _in_words(log: Log, deep: Depths) -> Iterator[dict[str, Any]]:
    for at, (row, depth_m) in enumerate(zip(log.records.tolist(), deep.metres.tolist(), strict=True)):
        fields = dict(zip(journal.NAMES, row, strict=False))  # the checksum stands behind them
        record: dict[str, Any] = pulled.in_words(fields)
        record["utc"] = _utc_text(log, at) or None
        record["depth_m"] = None if math.isnan(depth_m) else round(depth_m, 2)
        if told := telling.what(fields):
            record["told"] = told
        yield record


# --- NetCDF ---------------------------------------------------------------------------------------------------------


def to_netcdf(log: Log, plan: Plan | None = None) -> bytes:
    """The readings as a NetCDF-4 file after the CF conventions, one moment a step of the controller.

    With a trusted clock the coordinate is `time`, from `CLOCK_EPOCH` on; without one it is `mission_time`, since a time
    of CF has a date. With a plan it is a trajectory at the planned place; the drift is not known to a journal.
    """
    import netCDF4  # here, not above: it takes a while, and no other command needs it

    deep = depths(log, plan)
    clock_s = np.round(log.clock_s_at(log.mission_s), 1) if log.has_clock else None
    chosen = _moments(log.mission_s if clock_s is None else clock_s)
    with tempfile.TemporaryDirectory() as folder:
        path = os.path.join(folder, "dive.nc")
        with netCDF4.Dataset(path, "w", format="NETCDF4") as file:
            _describe(file, log, plan, deep)
            along = MISSION_TIME.name if clock_s is None else "time"
            file.createDimension(along, len(chosen))
            if clock_s is not None:
                _put_time(file, clock_s[chosen])
            placed = plan is not None and clock_s is not None and _put_place(file, log, plan, len(chosen))
            for column in COLUMNS:
                _put(file, along, column, column.read(log, deep)[chosen], placed)
        return Path(path).read_bytes()


def _moments(times: NDArray[np.float64]) -> NDArray[np.int64]:
    """The last record of each step: a coordinate of CF grows and has no moment twice."""
    return np.flatnonzero(times < np.append(np.minimum.accumulate(times[::-1])[::-1][1:], np.inf))


def _describe(file, log: Log, plan: Plan | None, deep: Depths) -> None:
    attributes: Mapping[str, str] = {
        "Conventions": CONVENTIONS,
        "title": "Journal of a seabed lander%s" % (": %s" % plan.dive.name if plan else ""),
        "institution": "not given",
        "source": "release controller%s, journal of %d records" % (
            " %s" % log.chip if log.chip else "", len(log.records)),
        "history": "written by tumblehome %s from the controller's journal" % VERSION,
        "references": "Climate and Forecast conventions 1.8; TEOS-10 (IOC, SCOR, IAPSO 2010)",
        "comment": "; ".join([deep.how, *log.unread.sentences()]),
    }
    file.setncatts(attributes)


def _put_time(file, clock_s: NDArray[Any]) -> None:
    time = file.createVariable("time", "f8", ("time",), compression="zlib")
    time[:] = clock_s
    time.setncatts({"units": "seconds since %s" % moments.iso(CLOCK_EPOCH), "calendar": "standard",
                    "standard_name": "time", "axis": "T", "long_name": "time by the controller's clock (UTC)"})


def _put_place(file, log: Log, plan: Plan, count: int) -> bool:
    file.featureType = "trajectory"
    for name, unit, value in (("latitude", "degrees_north", plan.site.latitude_deg),
                              ("longitude", "degrees_east", plan.site.longitude_deg)):
        place = file.createVariable(name, "f8", ("time",), compression="zlib")
        place[:] = np.full(count, value)
        place.setncatts({"standard_name": name, "units": unit, "long_name": "%s of the planned place" % name,
                         "axis": "Y" if name == "latitude" else "X"})
    trajectory = file.createVariable("trajectory", "i4", ())
    trajectory[...] = int(log.records["dive"][-1])
    trajectory.setncatts({"cf_role": "trajectory_id", "long_name": "number of the dive (arming)"})
    return True


def _put(file, along: str, column: Column, values: NDArray[Any], placed: bool) -> None:
    """One column; what has no reading gets the fill value, which a coordinate variable may not have."""
    kind, fill = ("i2", np.int16(-1)) if column.flags else ("f8", FILL)
    variable = file.createVariable(column.name, kind, (along,), compression="zlib",
                                   fill_value=None if column.name == along else fill)
    variable[:] = np.where(np.isnan(values), fill, np.round(values, column.digits))
    attributes: dict[str, Any] = {"long_name": column.meaning, "units": column.unit}
    if column.standard_name:
        attributes["standard_name"] = column.standard_name
    if column.flags:
        attributes["flag_values"] = np.arange(len(column.flags), dtype=np.int16)
        attributes["flag_meanings"] = " ".join(word.replace(" ", "_") for word in column.flags)
        del attributes["units"]
    if column.name == "depth":
        attributes |= {"positive": "down", "axis": "Z"}
    elif column.name != along:
        attributes["coordinates"] = "time latitude longitude depth" if placed else "depth"
    variable.setncatts(attributes)
