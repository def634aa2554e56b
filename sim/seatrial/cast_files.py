"""Files of measured casts, read into columns of numbers: text with named columns, and NetCDF with CF standard names.

Nothing is judged here but the file itself: whether it can be read, has the columns that are wanted, and what stands in
their cells. What the numbers are worth is for `casts`.
"""

import csv
import json
import os
import pickle
import subprocess
import sys
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from seatrial.complaints import complaint

WANTED = (("depth_m", "pressure_dbar"), ("temperature_c",), ("salinity_psu", "conductivity_ms_cm"))  # one of each
CURRENTS = (("speed_m_s", "toward_deg"), ("east_m_s", "north_m_s"))  # both of a pair, or no current
TEXT_SUFFIXES = (".csv", ".tsv", ".txt")
NETCDF_SUFFIXES = (".nc", ".nc4", ".cdf")

FILE_BYTES_MAX = 200_000_000
NETCDF_S_MAX = 20.0  # a cast takes a second
VALUES_MAX = 5_000_000  # of one variable: a small file may claim, or unpack to, more than there is memory for
# What a missing value may look like and still pass for a number in range: the usual mark of a bad scan in CTD files
# (common practice, no source). Others, -99 or 1e35, fall outside every range.
_FILL = -9.99e-29
_BLANKS = ("", "nan", "na", "n/a", "null", "-")

# Names of the CF standard name table (cfconventions.org), from memory.
STANDARD_NAMES = {
    "depth_m": ("depth",),
    "pressure_dbar": ("sea_water_pressure_due_to_sea_water", "sea_water_pressure"),
    "temperature_c": ("sea_water_temperature",),
    "salinity_psu": ("sea_water_practical_salinity", "sea_water_salinity"),
    "conductivity_ms_cm": ("sea_water_electrical_conductivity",),
    "east_m_s": ("eastward_sea_water_velocity",),
    "north_m_s": ("northward_sea_water_velocity",),
}
# Unit in lower case without spaces: factor and offset into the unit of the column.
_METRES = {"m": 1.0, "metre": 1.0, "metres": 1.0, "meter": 1.0, "meters": 1.0, "km": 1e3, "cm": 1e-2}
_DECIBARS = {"dbar": 1.0, "decibar": 1.0, "decibars": 1.0, "bar": 10.0, "mbar": 1e-2, "pa": 1e-4, "hpa": 1e-2,
             "kpa": 0.1, "mpa": 100.0}
_SALINITIES = {"": 1.0, "1": 1.0, "psu": 1.0, "pss-78": 1.0, "1e-3": 1.0, "0.001": 1.0, "gkg-1": 1.0, "g/kg": 1.0,
               "ppt": 1.0, "kgkg-1": 1e3}
_SPEEDS = {"ms-1": 1.0, "m/s": 1.0, "cms-1": 1e-2, "cm/s": 1e-2, "mms-1": 1e-3, "mm/s": 1e-3}
_CELSIUS = dict.fromkeys(("degc", "deg_c", "celsius", "degree_c", "degrees_c", "degree_celsius", "degrees_celsius",
                          "\N{DEGREE SIGN}c"), (1.0, 0.0))
_KELVIN = dict.fromkeys(("k", "kelvin", "degree_kelvin", "degrees_kelvin"), (1.0, -273.15))
_CONDUCTIVITIES = {"sm-1": 10.0, "s/m": 10.0, "mscm-1": 1.0, "ms/cm": 1.0}


def _factors(units: dict[str, float]) -> dict[str, tuple[float, float]]:
    return {unit: (factor, 0.0) for unit, factor in units.items()}


CF_UNITS = {
    "depth_m": _factors(_METRES),
    "pressure_dbar": _factors(_DECIBARS),
    "temperature_c": _CELSIUS | _KELVIN,
    "salinity_psu": _factors(_SALINITIES),
    "conductivity_ms_cm": _factors(_CONDUCTIVITIES),
    "east_m_s": _factors(_SPEEDS),
    "north_m_s": _factors(_SPEEDS),
}


class CastError(Exception):
    """The casts cannot be used. `sentences` says why and what to do; `str()` joins them with newlines."""

    def __init__(self, sentences: Iterable[str]) -> None:
        self.sentences = list(sentences)
        super().__init__("\n".join(self.sentences))

    def __reduce__(self) -> tuple[type["CastError"], tuple[list[str]]]:
        return CastError, (self.sentences,)  # crosses a process border unharmed


@dataclass
class Table:
    """A file as read: numbers by column, NaN where there is none, and where each row stood."""

    file: str  # quoted name, for sentences
    place: str  # "line" or "record"
    numbers: list[int]
    columns: dict[str, np.ndarray]
    written: dict[str, list[str]] = field(default_factory=dict)  # cells as they stood; without it, NaN was masked
    broken: dict[int, str] = field(default_factory=dict)  # rows whose cells do not belong to their columns
    notes: list[str] = field(default_factory=list)

    def place_at(self, index: int) -> str:
        return f"{self.place} {self.numbers[index]}"

    def cell(self, name: str, index: int) -> str:
        """What stands there, for a sentence."""
        if self.is_blank(name, index):
            return "missing"
        value = self.columns[name][index]
        if name not in self.written:
            return f"{value:.6g}"
        text = self.written[name][index]
        return text[:40] if np.isfinite(value) else _shown(text)

    def is_blank(self, name: str, index: int) -> bool:
        """Whether nothing was measured there, as against something that cannot be right."""
        if name not in self.written:
            return bool(np.isnan(self.columns[name][index]))
        return self.written[name][index].lower() in _BLANKS


def read_table(path: Path) -> Table:
    """The file at `path`, text or NetCDF by the ending of its name. Raises CastError with what is wrong with it."""
    return _read_netcdf(path) if _kind_of(path) in NETCDF_SUFFIXES else _read_text(path)


def _kind_of(path: Path) -> str:
    """The ending of a file that is there and looks readable. Raises CastError."""
    name = _shown(path.name)
    try:
        if path.is_dir():
            raise CastError([f"{name} is a folder; a file is wanted: name the file of casts in it"])
        if not path.exists():
            raise CastError([f"{name} is not there: correct the name, it is looked for from the folder of the plan"])
        if not path.is_file():
            raise CastError([f"{name} is not an ordinary file: give a file of casts"])
        size = path.stat().st_size
    except (OSError, ValueError) as error:
        raise CastError([f"{name} cannot be read ({complaint(error)}): check the name and the rights"]) from None
    kind = path.suffix.lower()
    if kind not in TEXT_SUFFIXES + NETCDF_SUFFIXES:
        raise CastError([f"{name} ends in {_shown(path.suffix)}; allowed is {' '.join(TEXT_SUFFIXES)} for text and"
                         f" {' '.join(NETCDF_SUFFIXES)} for NetCDF: rename it or export it as one of these"])
    if not size:
        raise CastError([f"{name} is empty: export the casts again"])
    if size > FILE_BYTES_MAX:
        raise CastError([f"{name} has {size / 1e6:.0f} MB; allowed is {FILE_BYTES_MAX / 1e6:.0f} MB: average it to"
                         " one row a metre before"])
    return kind


def _chosen(table: Table, found: list[str], wording: Callable[[str], str]) -> list[str]:
    """The columns to use, depth or pressure first. Raises CastError with one sentence for each that is missing."""
    missing, used = [], []
    for names in WANTED:
        there = [name for name in names if name in found]
        if not there:
            wanted = " or ".join(wording(name) for name in names)
            missing.append(f"{table.file} has no {wanted}; found {_listed(found)}: name it so, unit included, if it"
                           " is there")
            continue
        used.append(there[0])
        if len(there) > 1:
            table.notes.append(f"{there[1]} is there too and not used, {there[0]} is")
    if missing:
        raise CastError(missing)
    pair = next((pair for pair in CURRENTS if set(pair) <= set(found)), ())
    halves = [name for names in CURRENTS for name in names if name in found] if not pair else []
    for name in halves:
        other = next(other for names in CURRENTS if name in names for other in names if other != name)
        table.notes.append(f"{name} is there without {wording(other)}: the current is left out")
    return used + list(pair)


# Text ---------------------------------------------------------------------------------------------------------------


def _read_text(path: Path) -> Table:
    text, notes = _decoded(path)
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    kept = [(number, line) for number, line in enumerate(lines, 1)
            if line.strip() and not line.lstrip().startswith("#")]
    if not kept:
        raise CastError([f"{_shown(path.name)} has only blank lines and remarks: a line with the names of the columns"
                         " is wanted, then the rows"])
    separator = max(",;\t", key=kept[0][1].count)
    names = [name.strip().lower() for name in _cells(kept[0][1], separator)]
    if len(names) == 1 and " " in names[0]:
        raise CastError([f"{_shown(path.name)} has one column, with blanks in its name, {_shown(names[0])}; columns are"
                         " wanted with commas, semicolons or tabs between them: export it so"])
    table = Table(_shown(path.name), "line", [number for number, _line in kept[1:]], {}, notes=notes)
    used = _chosen(table, names, lambda name: name)
    for name in used:
        if names.count(name) > 1:
            raise CastError([f"{table.file} has the column {name} {names.count(name)} times; allowed is once: rename"
                             " or remove the others"])
    others = sorted({name for name in names if name and name not in used})
    if others:
        notes.append(f"the columns {_listed(others)} are not used")
    _fill_columns(table, [_cells(line, separator) for _number, line in kept[1:]], names, used, separator != ",")
    return table


def _decoded(path: Path) -> tuple[str, list[str]]:
    try:
        raw = path.read_bytes()
    except OSError as error:
        raise CastError([f"{_shown(path.name)} cannot be read ({complaint(error)}): check the name and the"
                         " rights"]) from None
    if b"\0" in raw:
        raise CastError([f"{_shown(path.name)} is not text (it holds zero bytes): export it as CSV in UTF-8, or name a"
                         f" NetCDF file {' or '.join(NETCDF_SUFFIXES)}"])
    try:
        return raw.decode("utf-8-sig"), []
    except UnicodeDecodeError:
        return raw.decode("latin-1"), ["the file is not UTF-8 and was read as latin-1: look at names with accents"]


def _cells(line: str, separator: str) -> list[str]:
    try:
        # each line by itself, so that a quote left open cannot swallow the rest of the file
        return next(csv.reader([line], delimiter=separator, skipinitialspace=True), [])
    except csv.Error:
        return [line]


def _fill_columns(table: Table, rows: list[list[str]], names: list[str], used: list[str], comma: bool) -> None:
    for index, cells in enumerate(rows):
        if any(cell.strip() for cell in cells[len(names):]):
            table.broken[index] = (f"{table.place_at(index)} has {len(cells)} values; the header has"
                                   f" {len(names)} columns (decimals with a comma want semicolons between columns)")
    commas = False
    for name in used:
        at = names.index(name)
        cells = [row[at].strip() if at < len(row) else "" for row in rows]
        commas = commas or (comma and any("," in cell for cell in cells))
        table.written[name] = cells
        table.columns[name] = np.array([_number(cell, comma) for cell in cells], dtype=float)
    if commas:
        table.notes.append("commas within numbers are read as decimal commas")


def _number(cell: str, comma: bool) -> float:
    """The number in a cell, NaN for none. `comma`: one comma may stand for the decimal point."""
    if comma and cell.count(",") == 1 and "." not in cell:
        cell = cell.replace(",", ".")
    try:
        value = float(cell) if "_" not in cell else np.nan
    except ValueError:
        return np.nan
    return np.nan if _is_fill(value) else value


def _is_fill(value: Any) -> Any:
    return np.abs(np.asarray(value) - _FILL) < 1e-3 * abs(_FILL)


# NetCDF -------------------------------------------------------------------------------------------------------------


def _read_netcdf(path: Path) -> Table:
    """Reads in a process of its own: on some damaged files the NetCDF library crashes or does not come back, and the
    person is to get a sentence all the same."""
    name = _shown(path.name)
    try:
        done = subprocess.run(
            [sys.executable, "-c", "from seatrial.cast_files import answer; answer()", str(path)],
            capture_output=True, check=False, timeout=NETCDF_S_MAX, stdin=subprocess.DEVNULL,
            env={**os.environ, "PYTHONPATH": os.pathsep.join(folder for folder in sys.path if folder)})
    except subprocess.TimeoutExpired:
        raise CastError([f"{name} cannot be read as NetCDF within {NETCDF_S_MAX:g} s; it is damaged or far too large:"
                         " export it again, or as CSV"]) from None
    if done.returncode:
        raise CastError([f"{name} cannot be read as NetCDF, the library breaks off over it; it is damaged: export it"
                         " again, or as CSV"])
    found = pickle.loads(done.stdout)
    if isinstance(found, CastError):
        raise found
    return found


def answer() -> None:
    """What the other process runs: the file named on its command line, as a pickled Table or CastError on stdout."""
    try:
        found: Table | CastError = _netcdf_table(Path(sys.argv[1]))
    except CastError as error:
        found = error
    sys.stdout.buffer.write(pickle.dumps(found))


def _netcdf_table(path: Path) -> Table:
    import netCDF4  # here, not above: it takes a while, and most plans have no NetCDF

    try:
        dataset = netCDF4.Dataset(path)
    except (OSError, RuntimeError, ValueError) as error:
        raise CastError([f"{_shown(path.name)} cannot be read as NetCDF ({complaint(error)}): export it again, or as"
                         " CSV"]) from None
    with dataset:
        try:
            return _cf_table(dataset, _shown(path.name))
        except (OSError, RuntimeError, ValueError, TypeError, AttributeError, LookupError, ArithmeticError,
                MemoryError) as error:
            raise CastError([f"{_shown(path.name)} is NetCDF but its content cannot be read ({complaint(error)}): check"
                             " it against the CF conventions, or export it as CSV"]) from None


def _cf_table(dataset: Any, file: str) -> Table:
    table = Table(file, "record", [], {})
    found = {name: _by_standard_name(dataset, name, table.notes) for name in STANDARD_NAMES}
    found = {name: variable for name, variable in found.items() if variable is not None}
    if not found:
        standard = [_attribute(variable, "standard_name") for variable in dataset.variables.values()]
        raise CastError([f"{file} has no variable with a standard_name that is wanted here, found"
                         f" {_listed([name for name in standard if name])}: give the variables the names of the CF"
                         " conventions, such as sea_water_temperature, or export it as CSV"])
    used = _chosen(table, list(found), lambda name: " or ".join(STANDARD_NAMES.get(name, ())) or name)
    for variable in dataset.variables.values():
        if variable.size > VALUES_MAX:
            raise CastError([f"{file}: {variable.name} has {variable.size} values; allowed is {VALUES_MAX}: write the"
                             " profile of the site to a file of its own"])
    along = _profile_dimension(dataset, found, used, file)
    for name in used:
        table.columns[name] = _cf_column(found[name], name, along, file)
    table.numbers = list(range(1, len(table.columns[used[0]]) + 1))
    flags = [name for name, variable in dataset.variables.items()
             if _attribute(variable, "standard_name").endswith(("status_flag", "quality_flag"))]
    if flags:
        table.notes.append(f"the quality flags in {_listed(flags)} are not looked at")
    if "pressure_dbar" in used and _attribute(found["pressure_dbar"], "standard_name") == "sea_water_pressure":
        # by the letter of CF this name includes the air; in the files of the field it is zero at the surface
        table.notes.append(f"{found['pressure_dbar'].name} is taken as zero at the surface; if it holds the pressure of"
                           " the air as well, subtract 10.1 dbar and name it sea_water_pressure_due_to_sea_water")
    return table


def _attribute(variable: Any, name: str) -> str:
    return str(getattr(variable, name, "")).strip()


def _by_standard_name(dataset: Any, name: str, notes: list[str]) -> Any:
    for standard in STANDARD_NAMES[name]:
        found = [variable for variable in dataset.variables.values()
                 if _attribute(variable, "standard_name") == standard]
        if len(found) > 1:
            others = _listed([variable.name for variable in found[1:]])
            notes.append(f"{standard} is there {len(found)} times: {found[0].name} is used, {others} not")
        if found:
            return found[0]
    return None


def _profile_dimension(dataset: Any, found: dict[str, Any], used: list[str], file: str) -> str:
    """The dimension along which the cast runs. Raises CastError when there is more than one profile."""
    down = _long(found[used[0]])  # used[0] is depth or pressure
    if not down:
        raise CastError([f"{file} has fewer than 2 depths; 2 or more are wanted: give a cast that goes down"])
    along = down[-1]
    for name in used:
        if along not in found[name].dimensions:
            raise CastError([f"{file}: {found[name].name} does not run along {along}, the dimension of"
                             f" {found[used[0]].name}: give every variable of the cast on {along}"])
    profiles = _profiles_told(dataset)
    for name in used:
        beside = [size for dimension, size in zip(found[name].dimensions, found[name].shape, strict=True)
                  if dimension != along]
        profiles = max(profiles, int(np.prod(beside, dtype=np.int64)))
    if profiles > 1:
        raise CastError([f"{file} holds {profiles} profiles; allowed is one: write the profile of the site to a file of"
                         " its own"])
    return along


def _long(variable: Any) -> list[str]:
    return [name for name, size in zip(variable.dimensions, variable.shape, strict=True) if size > 1]


def _profiles_told(dataset: Any) -> int:
    """How many profiles the file says it strings together on one dimension (CF, discrete sampling geometries)."""
    most = 1
    for variable in dataset.variables.values():
        if _attribute(variable, "cf_role") == "profile_id" or _attribute(variable, "sample_dimension"):
            # a name of characters has its length as last dimension
            shape = variable.shape[:-1] if getattr(variable.dtype, "kind", "") in "SU" else variable.shape
            most = max(most, int(np.prod(shape, dtype=np.int64)))
        elif _attribute(variable, "instance_dimension"):
            most = max(most, len(np.unique(np.ma.compressed(variable[:]))))
    return most


def _cf_column(variable: Any, name: str, along: str, file: str) -> np.ndarray:
    if not np.issubdtype(np.dtype(variable.dtype), np.number):
        raise CastError([f"{file}: {variable.name} holds text; numbers are wanted: store {name} as numbers"])
    unit = _attribute(variable, "units")
    known = CF_UNITS[name].get(unit.lower().replace(" ", "").replace("**", "").replace("^", ""))
    # the prefix m and the prefix M differ by 1e9, and lower case hides it
    if known is None or unit.startswith(("mP", "MS")):
        has = f"has the units {_shown(unit)}" if unit else "has no units"
        raise CastError([f"{file}: {variable.name} {has}; allowed is {' '.join(u for u in CF_UNITS[name] if u)}"
                         f" (spaces and capitals as you like): convert {name} or correct its attribute units"])
    factor, offset = known
    values = np.ma.masked_invalid(np.ma.atleast_1d(variable[:]).astype(float).reshape(-1)).filled(np.nan)
    if values.size != variable.shape[variable.dimensions.index(along)]:
        raise CastError([f"{file}: {variable.name} has {values.size} values and not one for each {along}: give one"
                         " profile"])
    values[_is_fill(values)] = np.nan
    upward = name == "depth_m" and _attribute(variable, "positive").lower() == "up"
    return (values * factor + offset) * (-1.0 if upward else 1.0) + 0.0  # no minus zero at the surface


# Words --------------------------------------------------------------------------------------------------------------


def _shown(text: str) -> str:
    return json.dumps(text if len(text) <= 40 else text[:37] + "...", ensure_ascii=False)


def _listed(names: list[str], most: int = 12) -> str:
    """Names in a sentence, the rest of a long list counted."""
    if not names:
        return "none"
    more = f" and {len(names) - most} more" if len(names) > most else ""
    return ", ".join(_shown(name) if not name.isidentifier() else name[:40] for name in names[:most]) + more
