"""Measured casts: a file of depth, temperature and salinity, and perhaps current, turned into rows of the plan.

`cast_files` reads the file, text or NetCDF, into columns of numbers. From there the way is one: rows that cannot be
used are skipped and told of, the down-cast is kept, rows are put in order of depth, water lighter than the water above
it is told of, and what is too dense to be useful is thinned.

The reader knows nothing of plans. Salinity is practical (PSS-78), temperature is in place on ITS-90, pressure is zero
at the surface. Sea water is TEOS-10 through `gsw`, with the reference composition, since a cast knows no longitude.
"""

from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple

import gsw
import numpy as np

from seatrial.cast_files import CURRENTS, WANTED, CastError, Table, read_table

# Lowest, highest, unit. Those of depth, temperature, salinity, speed and heading are the plan's (a test holds them
# together); the others are generous, they catch wrong units.
LIMITS = {
    "depth_m": (0.0, 11000.0, "m"),
    "pressure_dbar": (0.0, 11500.0, "dbar"),
    "temperature_c": (-2.5, 40.0, "degC"),
    "salinity_psu": (0.0, 42.0, "psu"),
    "conductivity_ms_cm": (0.0, 100.0, "mS/cm"),
    "speed_m_s": (0.0, 5.0, "m/s"),
    "toward_deg": (0.0, 360.0, "deg"),
    "east_m_s": (-5.0, 5.0, "m/s"),
    "north_m_s": (-5.0, 5.0, "m/s"),
}
ROWS_MAX = 400
BAD_SHARE_MAX = 0.25
INVERSION_KG_M3 = 0.05
BIN_M = 1.0
_TOLD_MAX = 10  # sentences of one kind before the rest is only counted
_FRESH_PSU = 0.045  # sea water given as a plain fraction, kg/kg, stays below this
# How much a degree and a salinity unit move the density: round numbers from memory, they only weigh one column
# against the other when rows are chosen.
_KG_M3_PER_C, _KG_M3_PER_PSU = 0.2, 0.8


@dataclass(frozen=True)
class Cast:
    """A cast as rows of the plan, top first, no depth twice, every value within the plan's bounds.

    `rows` have `depth_m`, `temperature_c` and `salinity_psu`; `current_rows` have `depth_m`, `speed_m_s` and
    `toward_deg`, and are empty when the file has no current. `notes` are sentences on what was skipped, put in order,
    thinned or doubted. `deepest_m` is the deepest measured row.
    """

    rows: list[dict[str, float]]
    current_rows: list[dict[str, float]]
    notes: list[str]
    deepest_m: float


class _Profile(NamedTuple):
    """Good rows side by side; east and north are NaN where the current is not known."""

    number: np.ndarray
    depth_m: np.ndarray
    temperature_c: np.ndarray
    salinity_psu: np.ndarray
    east_m_s: np.ndarray
    north_m_s: np.ndarray

    def at(self, picked: Any) -> "_Profile":
        return _Profile(*(column[picked] for column in self))


def read_cast(path: Path, latitude_deg: float) -> Cast:
    """The cast in a text file with named columns or in a NetCDF file, told apart by the ending of the name.

    `latitude_deg` turns pressure into depth. Raises CastError when the file cannot be read, lacks a column, or when
    more than a quarter of its rows cannot be used; ValueError for a latitude outside -90 to 90 deg.
    """
    if not -90.0 <= latitude_deg <= 90.0:
        raise ValueError(f"latitude_deg is {latitude_deg}; allowed is -90 to 90 deg: give the latitude of the site")
    table = read_table(path)
    profile = _good_rows(table, latitude_deg)
    notes = table.notes
    profile = _one_way(profile, table.place, notes)
    profile = _in_order(profile, table.place, notes)
    if len(profile.depth_m) < 2:
        raise CastError([f"{table.file} has rows at one depth only, {profile.depth_m[0]:g} m; 2 depths or more are"
                         " wanted: give a cast that goes down"])
    _tell_inversions(profile, latitude_deg, table.place, notes)
    _tell_fresh(profile, notes)
    deepest_m = float(profile.depth_m[-1])
    water, current = _thinned(profile, notes)
    return Cast(_water_rows(water), _current_rows(current), notes, deepest_m)


def _good_rows(table: Table, latitude_deg: float) -> _Profile:
    """The rows that can be used, the others told of in notes. Raises CastError when too many cannot be used."""
    total = len(table.numbers)
    faults = dict(table.broken)
    for names in WANTED:
        for name in (name for name in names if name in table.columns):
            _tell_outside(table, name, table.columns[name], faults)
    depth_m, salinity_psu = _derived(table, latitude_deg, faults)
    good = np.ones(total, dtype=bool)
    good[list(faults)] = False
    told = [faults[index] for index in sorted(faults)]
    if len(told) > BAD_SHARE_MAX * total:
        raise CastError([f"{table.file}: {len(told)} of {total} rows cannot be used; allowed is a quarter of them:"
                         " correct the file, the first are told below", *told[:3]])
    if np.count_nonzero(good) < 2:
        raise CastError([f"{table.file} has {np.count_nonzero(good)} rows that can be used; 2 or more are wanted: give"
                         " a cast that goes down", *told[:3]])
    table.notes.extend(f"{sentence}: the row is skipped" for sentence in told[:_TOLD_MAX])
    if len(told) > _TOLD_MAX:
        table.notes.append(f"{len(told) - _TOLD_MAX} more rows are skipped, {len(told)} of {total} in all")
    east, north = _current_of(table, good)
    temperature_c = table.columns["temperature_c"]
    return _Profile(np.array(table.numbers), depth_m, temperature_c, salinity_psu, east, north).at(good)


def _tell_outside(table: Table, name: str, values: np.ndarray, faults: dict[int, str], how: str = "") -> None:
    """Add a sentence for each row where `values` of column `name` are missing or out of range."""
    low, high, unit = LIMITS[name]
    for index in np.flatnonzero(~((values >= low) & (values <= high))).tolist():
        if index in faults:
            continue
        what = f"{table.cell(how, index)} gives {name} {values[index]:.6g}" if how else table.cell(name, index)
        faults[index] = f"{table.place_at(index)}: {how or name} is {what}; allowed is {low:g} to {high:g} {unit}"


def _derived(table: Table, latitude_deg: float, faults: dict[int, str]) -> tuple[np.ndarray, np.ndarray]:
    """Depth in m and practical salinity, worked out where the file has pressure and conductivity instead.

    Depth by gsw_z_from_p, salinity by gsw_SP_from_C (PSS-78 with the extension below 2), both of TEOS-10.
    """
    columns = {name: values.copy() for name, values in table.columns.items()}
    for values in columns.values():
        values[list(faults)] = np.nan
    if "depth_m" in columns:
        depth_m = columns["depth_m"]
        sea_dbar = gsw.p_from_z(-depth_m, latitude_deg)
    else:
        sea_dbar = columns["pressure_dbar"]
        depth_m = -gsw.z_from_p(sea_dbar, latitude_deg) + 0.0
        _tell_outside(table, "depth_m", depth_m, faults, "pressure_dbar")
    if "salinity_psu" in columns:
        return depth_m, columns["salinity_psu"]
    salinity_psu = gsw.SP_from_C(columns["conductivity_ms_cm"], columns["temperature_c"], sea_dbar)
    _tell_outside(table, "salinity_psu", salinity_psu, faults, "conductivity_ms_cm")
    return depth_m, salinity_psu


def _current_of(table: Table, good: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """East and north, NaN where the current is not known. Blank cells are usual, wrong ones are told of."""
    pair = next((pair for pair in CURRENTS if set(pair) <= set(table.columns)), None)
    none = np.full(len(table.numbers), np.nan)
    if pair is None:
        return none, none.copy()
    first, second = (table.columns[name] for name in pair)
    if pair == CURRENTS[0]:
        east, north = first * np.sin(np.radians(second)), first * np.cos(np.radians(second))
    else:
        east, north = first, second
    faults: dict[int, str] = {}
    for name in pair:
        _tell_outside(table, name, table.columns[name], faults)
    speed_m_s = np.hypot(east, north)
    for index in np.flatnonzero(speed_m_s > LIMITS["speed_m_s"][1]).tolist():
        faults.setdefault(index, f"{table.place_at(index)}: the speed of the current is {speed_m_s[index]:.6g} m/s;"
                                 " allowed is 0 to 5 m/s")
    bad = list(faults)
    east, north = east.copy(), north.copy()
    east[bad] = north[bad] = np.nan
    _tell_currents(table, pair, [index for index in sorted(faults) if good[index]], faults)
    return east, north


def _tell_currents(table: Table, pair: tuple[str, ...], bad: list[int], faults: dict[int, str]) -> None:
    empty = [index for index in bad if all(table.is_blank(name, index) for name in pair)]
    wrong = [index for index in bad if index not in set(empty)]
    table.notes.extend(f"{faults[index]}: the current of this row is left out" for index in wrong[:_TOLD_MAX])
    if len(wrong) > _TOLD_MAX:
        table.notes.append(f"the current of {len(wrong) - _TOLD_MAX} more rows is left out, {len(wrong)} in all")
    if empty:
        table.notes.append(f"{len(empty)} rows have no current: straight lines are drawn between those that have")


def _one_way(profile: _Profile, place: str, notes: list[str]) -> _Profile:
    """The down-cast, up to the deepest row: the sensors lead on the way down and drag their own wake up (common
    practice, no source). When most of the way is up, as in a file that starts at the bottom, the way up."""
    depth_m = profile.depth_m
    turn = int(np.argmax(depth_m))
    down, up = slice(0, turn + 1), slice(turn, None)
    left = len(depth_m) - 1 - turn
    if not left:
        return profile
    where = f"{place} {profile.number[turn]}, {depth_m[turn]:g} m, is the deepest"
    if np.ptp(depth_m[down]) < 0.5 * np.ptp(depth_m[up]):
        before = f", the {turn} rows before it are left out" if turn else ""
        notes.append(f"{where}: the rows go up from there and are used as the cast{before}")
        return profile.at(up).at(slice(None, None, -1))
    notes.append(f"{where}: the {left} rows after it are the up-cast and are left out")
    return profile.at(down)


def _in_order(profile: _Profile, place: str, notes: list[str]) -> _Profile:
    """Rows by rising depth, each depth once."""
    back = np.flatnonzero(np.diff(profile.depth_m) < 0.0)
    if len(back):
        notes.append(f"the depth goes back {len(back)} times, first at {place} {profile.number[back[0] + 1]}: the rows"
                     " are put in order of depth")
        profile = profile.at(np.argsort(profile.depth_m, kind="stable"))
    rises = np.diff(profile.depth_m) > 0.0
    if rises.all():
        return profile
    again = int(np.flatnonzero(~rises)[0])
    notes.append(f"{np.count_nonzero(~rises)} rows repeat the depth of another, first {place}"
                 f" {profile.number[again + 1]} with {profile.depth_m[again + 1]:g} m: their mean is used")
    return _averaged(profile, np.concatenate(([0], np.cumsum(rises))))


def _averaged(profile: _Profile, group: np.ndarray) -> _Profile:
    """The mean of each group of neighbours; `group` counts up from 0. What is NaN in a column takes no part."""
    first = np.flatnonzero(np.diff(group, prepend=-1))
    return _Profile(profile.number[first], *(_means(column, group) for column in profile[1:]))


def _means(column: np.ndarray, group: np.ndarray) -> np.ndarray:
    known = np.isfinite(column)
    count = np.bincount(group[known], minlength=group[-1] + 1)
    total = np.bincount(group[known], weights=column[known], minlength=group[-1] + 1)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def _tell_inversions(profile: _Profile, latitude_deg: float, place: str, notes: list[str]) -> None:
    """Tell of water that is lighter than water above it, by more than `INVERSION_KG_M3`.

    Each pair of neighbours is compared at the pressure between them, and the steps are summed: potential density at
    the surface would call stable bottom water lighter than the deep water above it. Density by gsw_rho of TEOS-10.
    """
    sea_dbar = gsw.p_from_z(-profile.depth_m, latitude_deg)
    salinity_g_kg = gsw.SR_from_SP(profile.salinity_psu)
    conservative_c = gsw.CT_from_t(salinity_g_kg, profile.temperature_c, sea_dbar)
    between_dbar = 0.5 * (sea_dbar[1:] + sea_dbar[:-1])
    steps = (gsw.rho(salinity_g_kg[1:], conservative_c[1:], between_dbar)
             - gsw.rho(salinity_g_kg[:-1], conservative_c[:-1], between_dbar))
    weight = np.concatenate(([0.0], np.cumsum(steps)))
    lighter = np.maximum.accumulate(weight) - weight
    runs = _runs(lighter > INVERSION_KG_M3)
    for start, end in runs[:_TOLD_MAX]:
        numbers = profile.number[start:end]
        where = (f"{place}s {numbers.min()} to {numbers.max()}" if len(numbers) > 1 else f"{place} {numbers[0]}")
        notes.append(f"{where}, {profile.depth_m[start]:.6g} to {profile.depth_m[end - 1]:.6g} m: the water is up to"
                     f" {lighter[start:end].max():.2g} kg/m3 lighter than water above it; it is kept, look at these"
                     " rows")
    if len(runs) > _TOLD_MAX:
        notes.append(f"there are {len(runs) - _TOLD_MAX} more places where water lies below heavier water")


def _runs(flags: np.ndarray) -> list[tuple[int, int]]:
    """First index and index after the last of each stretch of true values."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], flags, [False])).astype(int)))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))


def _tell_fresh(profile: _Profile, notes: list[str]) -> None:
    if profile.salinity_psu.max() < _FRESH_PSU:
        notes.append(f"the salinity is nowhere above {profile.salinity_psu.max():.3g} psu, fresh water: if it is sea"
                     " water given as a fraction in kg/kg, multiply it by 1000")


def _thinned(profile: _Profile, notes: list[str]) -> tuple[_Profile, _Profile]:
    """Water and current, each of at most `ROWS_MAX` rows: means of a metre, then the rows that carry the shape."""
    total = len(profile.depth_m)
    if total > ROWS_MAX:
        metre = np.floor(profile.depth_m / BIN_M).astype(int)
        profile = _averaged(profile, np.concatenate(([0], np.cumsum(np.diff(metre) > 0))))
    water_columns = (_KG_M3_PER_C * profile.temperature_c, _KG_M3_PER_PSU * profile.salinity_psu)
    kept = _shape(profile.depth_m, np.stack(water_columns))
    water = profile.at(kept)
    if total > ROWS_MAX:
        off_c, off_psu = (np.abs(column - np.interp(profile.depth_m, water.depth_m, column[kept])).max()
                          for column in (profile.temperature_c, profile.salinity_psu))
        notes.append(f"{total} rows are thinned to {len(kept)}: means of {BIN_M:g} m, and of these the ones that carry"
                     f" the shape, at most {off_c:.2g} degC and {off_psu:.2g} psu off the means")
    current = profile.at(np.isfinite(profile.east_m_s) & np.isfinite(profile.north_m_s))
    if len(current.depth_m) > ROWS_MAX:
        current = current.at(_shape(current.depth_m, np.stack((current.east_m_s, current.north_m_s))))
    return water, current


def _shape(depth_m: np.ndarray, columns: np.ndarray) -> np.ndarray:
    """Indices of at most `ROWS_MAX` rows whose straight lines follow all of them best.

    Ramer 1972 and Douglas and Peucker 1973 (cited from memory), worst row first: the row furthest from the line of its
    stretch is taken, which halves the stretch, until the count is reached.
    """
    last = len(depth_m) - 1
    if last < ROWS_MAX:
        return np.arange(last + 1)
    kept = {0, last}
    stretches = [_furthest(depth_m, columns, 0, last)]
    while len(kept) < ROWS_MAX:
        worst = max(stretches)
        stretches.remove(worst)
        _off, row, start, end = worst
        kept.add(row)
        halves = [(first, after) for first, after in ((start, row), (row, end)) if after - first > 1]
        stretches += [_furthest(depth_m, columns, *half) for half in halves]
    return np.array(sorted(kept))


def _furthest(depth_m: np.ndarray, columns: np.ndarray, start: int, end: int) -> tuple[float, int, int, int]:
    """How far the furthest row strictly between `start` and `end` is off their line, that row, and both ends."""
    inside = slice(start + 1, end)
    along = (depth_m[inside] - depth_m[start]) / (depth_m[end] - depth_m[start])
    lines = columns[:, [start]] + along * (columns[:, [end]] - columns[:, [start]])
    off = np.abs(columns[:, inside] - lines).max(axis=0)
    worst = int(np.argmax(off))
    return float(off[worst]), start + 1 + worst, start, end


def _water_rows(profile: _Profile) -> list[dict[str, float]]:
    columns = profile.depth_m.tolist(), profile.temperature_c.tolist(), profile.salinity_psu.tolist()
    return [{"depth_m": depth_m, "temperature_c": temperature_c, "salinity_psu": salinity_psu}
            for depth_m, temperature_c, salinity_psu in zip(*columns, strict=True)]


def _current_rows(profile: _Profile) -> list[dict[str, float]]:
    # rounded far below any meter's reading, so that a heading of 70 comes back as 70
    speed_m_s = np.round(np.hypot(profile.east_m_s, profile.north_m_s), 9).tolist()
    toward_deg = np.round(np.degrees(np.arctan2(profile.east_m_s, profile.north_m_s)) % 360.0, 9).tolist()
    return [{"depth_m": depth_m, "speed_m_s": speed, "toward_deg": toward}
            for depth_m, speed, toward in zip(profile.depth_m.tolist(), speed_m_s, toward_deg, strict=True)]
