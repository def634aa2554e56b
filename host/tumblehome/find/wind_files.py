"""Wind and surface current in time: a file of rows, or the plan's constant where there is none.

CSV in UTF-8, a line with the names of the columns first, lines that begin with # left out. Columns: `time_utc`
(2027-05-18T06:00Z), then one or both pairs `wind_speed_m_s` (or `wind_speed_kn`) with `wind_from_deg`, and
`current_speed_m_s` (or `current_speed_kn`) with `current_toward_deg`. Wind is named by where it comes from, current by
where it goes. Between rows east and north go in straight lines. Reading NetCDF is not worth a second reader of it.

The current of the surface is taken to hold what the wind drives of it; Ekman's current is added only where the guesses
say that it does not, and a rule of 3 % of the wind never (see `seatrial.handbook.leeway`).
"""

import csv
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from math import cos, hypot, isfinite, radians, sin
from pathlib import Path

import numpy as np

from seatrial.handbook.leeway import EKMAN_LATITUDE_MIN_DEG, ekman_surface_m_s
from seatrial.plan import Plan
from seatrial.plan.reckoning import water_of
from tumblehome.find.guesses import ADDED, DriftGuesses
from tumblehome.find.mistakes import FindError, told
from tumblehome.find.shapes import Numbers
from tumblehome.find.text_files import text_of

BYTES_MAX = 20_000_000
GAP_MAX = timedelta(hours=6)  # the widest step of the usual forecasts; over more a shift of wind goes unseen
TIME = "time_utc"
M_S = {"m_s": 1.0, "kn": 1852.0 / 3600.0}
FASTEST_M_S = {"wind": 60.0, "current": 5.0}
DIRECTION = {"wind": "wind_from_deg", "current": "current_toward_deg"}
TURN_DEG = {"wind": 180.0, "current": 0.0}  # from the direction named to where it goes
NETCDF_SUFFIXES = (".nc", ".nc4", ".cdf")


@dataclass(frozen=True)
class Weather:
    """Rows of a file: seconds of UTC since 1970, and where wind and current go, m/s; None where the file has none."""

    file: str
    time_s: Numbers
    wind_m_s: tuple[Numbers, Numbers] | None
    current_m_s: tuple[Numbers, Numbers] | None

    @property
    def first(self) -> datetime:
        """The moment of the first row."""
        return datetime.fromtimestamp(float(self.time_s[0]), UTC)

    @property
    def last(self) -> datetime:
        """The moment of the last row."""
        return datetime.fromtimestamp(float(self.time_s[-1]), UTC)


DRIVEN_HELD = ("the current is taken to hold what the wind drives of the water; where it does not, as from a tidal"
               " atlas, set wind_current in [drift] of your guesses (--guesses)")
DRIVEN_ADDED = "Ekman's current is added to the current, by [drift] wind_current of the guesses"


class Forces:
    """What moves a floating lander of a plan in time: east and north of wind and current, in m/s, where they go.

    Raises FindError where the wind's own current is wanted too near the equator.
    """

    def __init__(self, plan: Plan, guesses: DriftGuesses, weather: Weather | None = None) -> None:
        self.splash = plan.dive.splash_utc
        self.weather = weather
        wind, toward = plan.site.wind, radians(plan.site.wind.from_deg + TURN_DEG["wind"])
        self._plan = {"wind": (wind.speed_m_s * sin(toward), wind.speed_m_s * cos(toward)),
                      "current": water_of(plan.site).current_at(0.0)}
        self._rows = {"wind": weather.wind_m_s if weather else None,
                      "current": weather.current_m_s if weather else None}
        self.wind_error_m_s = guesses.plan_wind_error_m_s if self._rows["wind"] is None else guesses.file_wind_error_m_s
        self._is_driven = guesses.wind_current == ADDED
        self._driven = _ekman(plan.site.latitude_deg) if self._is_driven else (0.0, 0.0)

    @property
    def notes(self) -> tuple[str, ...]:
        """What stands in for a measurement, a sentence each."""
        name = f"{self.weather.file} has no {{0}}" if self.weather else "no wind file is given"
        said = {"wind": "the plan's wind, %.3g m/s, stands for all hours" % hypot(*self._plan["wind"]),
                "current": "the plan's current at the surface, %.3g m/s, stands for all hours, with no tide that"
                           " turns" % hypot(*self._plan["current"])}
        missing = tuple(f"{name.format(what)}: {said[what]}" for what in said if self._rows[what] is None)
        return (*missing, DRIVEN_ADDED if self._is_driven else DRIVEN_HELD)

    def look_at(self, first: datetime, last: datetime) -> None:
        """Raise FindError when the file does not reach from the first to the last moment that is asked for."""
        weather = self.weather
        if weather is None or (first >= weather.first and last <= weather.last):
            return
        raise FindError([f"{weather.file} reaches from {told(weather.first)} to {told(weather.last)}; wanted is from"
                         f" {told(first)} to {told(last)}: get a file that holds all of it, or ask for other moments"])

    def wind_m_s(self, after_splash_s: float) -> tuple[float, float]:
        """Where the wind goes so long after the splash, m/s east and north."""
        return self._at("wind", after_splash_s)

    def current_m_s(self, after_splash_s: float) -> tuple[float, float]:
        """Where the surface current goes so long after the splash, m/s east and north."""
        return self._at("current", after_splash_s)

    def driven_m_s(self, wind_east_m_s: Numbers, wind_north_m_s: Numbers) -> tuple[Numbers, Numbers]:
        """The current that winds drive beside the one that is given, m/s east and north."""
        east, north = self._driven  # of 1 m/s of wind toward north
        return wind_north_m_s * east + wind_east_m_s * north, wind_north_m_s * north - wind_east_m_s * east

    def _at(self, what: str, after_splash_s: float) -> tuple[float, float]:
        rows = self._rows[what]
        if rows is None or self.weather is None:
            return self._plan[what]
        moment_s = self.splash.timestamp() + after_splash_s
        return (float(np.interp(moment_s, self.weather.time_s, rows[0])),
                float(np.interp(moment_s, self.weather.time_s, rows[1])))


def read(path: Path) -> Weather:
    """The rows of a file. Raises FindError with what is wrong, the line, and the way out."""
    if path.suffix.lower() in NETCDF_SUFFIXES:
        raise FindError([f"{path.name} is NetCDF, which is not read here: export it as CSV with the columns {TIME},"
                         " wind_speed_m_s, wind_from_deg, current_speed_m_s, current_toward_deg"])
    lines = _lines(path)
    names = [name.strip().lower() for name in lines[0][1]]
    columns = _Columns(path.name, names)
    rows = lines[1:]
    if len(rows) < 2:
        raise FindError([f"{path.name} has {len(rows)} rows; 2 or more are wanted: a first and a last moment"])
    moments = [_moment(path.name, number, columns.cell(cells, TIME)) for number, cells in rows]
    _in_order(path.name, [number for number, _cells in rows], moments)
    return Weather(path.name, np.array([moment.timestamp() for moment in moments]),
                   columns.east_north("wind", rows), columns.east_north("current", rows))


def _ekman(latitude_deg: float) -> tuple[float, float]:
    """The current of 1 m/s of wind toward north, m/s east and north."""
    if abs(latitude_deg) < EKMAN_LATITUDE_MIN_DEG:
        raise FindError([f"the wind's current is to be added, and the site lies at latitude {latitude_deg:g}; Ekman's"
                         f" law holds from {EKMAN_LATITUDE_MIN_DEG:g} degrees: give a file with the whole current"
                         " (--wind), and leave out wind_current"])
    return ekman_surface_m_s(1.0, 180.0, latitude_deg)


class _Columns:
    """Where the columns stand, and their numbers."""

    def __init__(self, file: str, names: Sequence[str]) -> None:
        self.file, self.names = file, names
        twice = next((name for name in names if name and names.count(name) > 1), None)
        if twice:
            raise FindError([f"{file} has the column {twice} {names.count(twice)} times; allowed is once"])
        if TIME not in names:
            raise FindError([f"{file} has no column {TIME}; found {', '.join(names) or 'none'}: name the columns in the"
                             " first line, units included"])
        self.speeds = {what: self._speed(what) for what in DIRECTION}
        if not any(self.speeds.values()):
            raise FindError([f"{file} has neither wind nor current: give wind_speed_m_s and wind_from_deg, or"
                             " current_speed_m_s and current_toward_deg"])

    def _speed(self, what: str) -> tuple[str, float] | None:
        """The column of the speed and its unit in m/s; None where the pair is not there."""
        found = [(f"{what}_speed_{unit}", factor) for unit, factor in M_S.items()
                 if f"{what}_speed_{unit}" in self.names]
        if len(found) > 1:
            raise FindError([f"{self.file} has the speed of the {what} twice, {found[0][0]} and {found[1][0]}: keep"
                             " one"])
        if bool(found) != (DIRECTION[what] in self.names):
            speeds = " or ".join(f"{what}_speed_{unit}" for unit in M_S)
            there, missing = (found[0][0], DIRECTION[what]) if found else (DIRECTION[what], speeds)
            raise FindError([f"{self.file} has {there} and no {missing}; found {', '.join(self.names)}: a {what} wants"
                             " both, in these units"])
        return found[0] if found else None

    def cell(self, cells: Sequence[str], name: str) -> str:
        at = self.names.index(name)
        return cells[at].strip() if at < len(cells) else ""

    def east_north(self, what: str, rows: Sequence[tuple[int, list[str]]]) -> tuple[Numbers, Numbers] | None:
        speed = self.speeds[what]
        if speed is None:
            return None
        name, factor = speed
        speeds = np.array([self._number(number, cells, name, FASTEST_M_S[what] / factor) for number, cells in rows])
        turned = np.radians([TURN_DEG[what] + self._number(number, cells, DIRECTION[what], 360.0)
                             for number, cells in rows])
        return speeds * factor * np.sin(turned), speeds * factor * np.cos(turned)

    def _number(self, number: int, cells: Sequence[str], name: str, most: float) -> float:
        if any(cells[len(self.names):]):
            raise FindError([f"{self.file}, line {number} has {len(cells)} cells under {len(self.names)} names: write"
                             " decimals with a point, or name every column in the first line"])
        text = self.cell(cells, name)
        try:
            value = float(text)
        except ValueError:
            value = float("nan")
        if isfinite(value) and 0.0 <= value <= most:
            return value
        raise FindError([f"{self.file}, line {number}: {name} is {text[:40] or 'missing'}; allowed is a number from 0"
                         f" to {most:.4g}, with a point for decimals: mend the row or take it out"])


def _lines(path: Path) -> list[tuple[int, list[str]]]:
    """Numbers of lines with their cells, blank lines and remarks left out."""
    text = text_of(path, BYTES_MAX, "a file of wind or current", "export it as CSV in UTF-8")
    kept = [(number, line) for number, line in enumerate(text.splitlines(), 1)
            if line.strip() and not line.lstrip().startswith("#")]
    if not kept:
        raise FindError([f"{path.name} is empty: a line with the names of the columns is wanted, then the rows"])
    separator = max(",;\t", key=kept[0][1].count)
    return [(number, next(csv.reader([line], delimiter=separator), [])) for number, line in kept]


def _moment(file: str, number: int, text: str) -> datetime:
    try:
        moment = datetime.fromisoformat(text)
        return moment.replace(tzinfo=UTC) if moment.tzinfo is None else moment.astimezone(UTC)
    except (ValueError, OverflowError):
        raise FindError([f"{file}, line {number}: {TIME} is {text[:40] or 'missing'}; write it as"
                         " 2027-05-18T06:00Z"]) from None


def _in_order(file: str, numbers: Sequence[int], moments: Sequence[datetime]) -> None:
    for number, before, after in zip(numbers[1:], moments, moments[1:], strict=False):
        if after <= before:
            raise FindError([f"{file}, line {number}: {told(after)} does not come after {told(before)}, the row before:"
                             " put the rows in the order of time, each moment once"])
        if after - before > GAP_MAX:
            hours = (after - before) / timedelta(hours=1)
            raise FindError([f"{file}, line {number}: {hours:.3g} h are missing between {told(before)} and"
                             f" {told(after)}; allowed is {GAP_MAX / timedelta(hours=1):g} h: fill the gap"])
