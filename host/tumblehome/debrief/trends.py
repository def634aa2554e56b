"""Several dives of one lander in a table, and what wears out over them.

A trend is a Theil–Sen line over the dives in their order (the median of all slopes between two dives: one odd dive
moves it little). It counts only where Kendall's rank test would see so much order by chance in one case of a hundred,
and where the whole change is larger than what does no harm (`MEASURES`). That test needs six dives at least.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np

from lander import journal, table, words
from seatrial.plan import Plan
from tumblehome.bench import pulled
from tumblehome.debrief import log as logs
from tumblehome.debrief.depths import depths
from tumblehome.debrief.footage import left_bottom_s
from tumblehome.debrief.log import Log, LogError

CHANCE = 0.01
DIVES_LEAST = 6  # with fewer no order is rarer than CHANCE: 2 in 5! is one in sixty
STEP_MA = 150  # a change of load smaller than this tells nothing of a resistance beside the noise of the readings
STEP_S = 31.0  # further apart, the charge and the temperature have changed as well
STEPS_LEAST = 3
LOADED_MA = 200  # more than the controller, the beacon and a report draw: something is on
SUPPLY_OK = 1 << words.SIGNS.index("supply_ok") | 1 << words.SIGNS.index("current_ok")
HOUSING_OK = 1 << words.SIGNS.index("housing_temp_ok")
RELEASING = (table.RELEASE, table.BACKUP)


@dataclass(frozen=True)
class Resistance:
    """Drop of the supply per ampere over `steps` changes of load, with its standard uncertainty."""

    mohm: float
    sigma_mohm: float
    steps: int


@dataclass(frozen=True)
class Row:
    """One dive. What its journal does not tell is None."""

    source: str
    chip: str | None
    dive: int
    began: datetime | None
    deepest_m: float | None
    bottom_min: float | None
    command_to_rise_s: float | None
    attempts: int
    lowest_loaded_v: float | None
    resistance: Resistance | None
    housing_c: float | None  # while the resistance was measured
    surface_mbar: int
    resets: int
    bad_slots: int

    def value(self, name: str) -> float | None:
        """The number under this name; the resistance in milliohm."""
        found = getattr(self, name)
        return found.mohm if isinstance(found, Resistance) else found


@dataclass(frozen=True)
class Measure:
    """What a column is called, its unit and decimals; `wears` is which way is bad (1 up, -1 down, 0 both, None: no
    wear), `harmless` the change that counts for nothing, and `means` what may be wearing out."""

    name: str
    called: str
    unit: str
    digits: int
    wears: int | None = None
    harmless: float = 0.0
    means: str = ""


MEASURES = (
    Measure("deepest_m", "deepest", "m", 1),
    Measure("bottom_min", "time on the bottom", "min", 1),
    # Ten readings on the bottom lie in ten seconds; a wire takes minutes, and a warmer sea a third of them.
    Measure("command_to_rise_s", "from the command to the rise", "s", 0, 1, 15.0,
            "the release: a worn latch, a fouled anode, a lander that has become heavier"),
    Measure("attempts", "release attempts", "", 0, 1, 0.5, "the release: its first attempt no longer does it"),
    Measure("lowest_loaded_v", "lowest supply under load", "V", 2, -1, 0.2, "the pack, or how full it is at the start"),
    Measure("resistance", "resistance of the pack and its wires", "mΩ", 0, 1, 15.0,
            "the pack, or a connector on the way from it"),
    # Weather moves the air by thirty millibars between dives, and a season's dives may well fall in falling weather.
    Measure("surface_mbar", "pressure on deck", "mbar", 0, 0, 30.0,
            "the pressure sensor: its zero creeps; hold it against a barometer"),
    Measure("resets", "resets of the controller", "", 0, 1, 0.5, "the supply of the controller, or its watchdog bites"),
    Measure("bad_slots", "slots without a whole record", "", 0, 1, 0.5, "the journal's memory"),
)


@dataclass(frozen=True)
class Trend:
    """A straight line through one measure over the dives: change a dive with its 95 % limits, first and last value on
    the line, and how often chance alone makes so much order. `counts` where it is told as a trend."""

    measure: Measure
    dives: int
    slope: float
    slope_low: float
    slope_high: float
    first: float
    last: float
    chance: float

    @property
    def counts(self) -> bool:
        return self.chance < CHANCE and abs(self.last - self.first) > self.measure.harmless

    @property
    def wears(self) -> bool:
        """Whether it goes the bad way."""
        bad = self.measure.wears
        return self.counts and bad is not None and (bad == 0 or bad * self.slope > 0)

    def sentence(self) -> str:
        """The trend with its numbers."""
        measure = self.measure
        unit, digits = (" " + measure.unit if measure.unit else ""), measure.digits
        said = "%s went from %.*f to %.*f%s over %d dives: %+.*f%s a dive (%+.*f to %+.*f, 95 %%)" % (
            measure.called, digits, self.first, digits, self.last, unit, self.dives, digits + 1, self.slope, unit,
            digits + 1, self.slope_low, digits + 1, self.slope_high)
        return "wearing out: %s. Look at %s" % (said, measure.means) if self.wears else said


@dataclass(frozen=True)
class Trends:
    """The dives in their order, a line through each measure that has one, and what there is to say."""

    rows: list[Row]
    trends: list[Trend]
    remarks: list[str]

    @property
    def worn(self) -> list[Trend]:
        return [trend for trend in self.trends if trend.wears]

    def sentences(self) -> list[str]:
        """What is wearing out, then other trends, then remarks."""
        said = [trend.sentence() for trend in self.worn]
        said += [trend.sentence() for trend in self.trends if trend.counts and not trend.wears]
        return said + self.remarks

    def plain(self) -> dict[str, Any]:
        """All of it as plain data, for JSON."""
        return {
            "dives": [{**row.__dict__, "began": row.began.isoformat() if row.began else None,
                       "resistance": row.resistance.__dict__ if row.resistance else None} for row in self.rows],
            "trends": [{"measure": trend.measure.name, "unit": trend.measure.unit, "slope_a_dive": trend.slope,
                        "slope_low": trend.slope_low, "slope_high": trend.slope_high, "first": trend.first,
                        "last": trend.last, "chance": trend.chance, "counts": trend.counts, "wears": trend.wears}
                       for trend in self.trends],
            "sentences": self.sentences()}


# --- the dives of a folder ------------------------------------------------------------------------------------------


def read(folder: Path, plan: Plan | None = None) -> Trends:
    """All dives under this folder, in order of time. Raises LogError where there is none, or they are of several
    landers."""
    found, unread = _logs(folder)
    if not found:
        raise LogError("%s has no journal that can be read%s: name a folder with a %s, or with folders that have one"
                       % (folder, " (%s)" % unread[0] if unread else "", pulled.IMAGE))
    chips = sorted({log.chip for log in found if log.chip is not None})
    if len(chips) > 1:
        raise LogError("%s has the journals of %d landers (chips %s), whose wear makes no line: name a folder of one"
                       % (folder, len(chips), ", ".join(chips)))
    dives = [dive for log in found for dive in _dives(log)]
    if not dives:
        raise LogError("%s has %d journals and none tells of a dive: none was in water" % (folder, len(found)))
    once = _once(dives)
    rows = [_row(dive, plan) for dive in once]
    remarks = ["left out: %s" % sentence for sentence in unread]
    if len(once) < len(dives):
        remarks.append("left out: %d of dives that are there already, as in a journal that was pulled and not cleared"
                       % (len(dives) - len(once)))
    if chips and any(log.chip is None for log in found):
        remarks.append("some journals do not tell their chip; they are taken for dives of the same lander")
    if all(row.began for row in rows):
        rows.sort(key=lambda row: row.began.timestamp() if row.began else 0.0)
    elif len(rows) > 1:
        remarks.append("not every dive has a trusted clock: they are in the order of their folders, which may be wrong")
    return over(rows, remarks)


def over(rows: list[Row], remarks: list[str] | None = None) -> Trends:
    """The trends over these dives, which are in order of time."""
    said = list(remarks or [])
    trends = [trend for measure in MEASURES if (trend := _trend(measure, rows)) is not None]
    if len(rows) == 1:
        said.append("this is one dive: what wears out shows over %d dives or more" % DIVES_LEAST)
    elif len(rows) < DIVES_LEAST:
        said.append("these are %d dives: what wears out shows over %d or more" % (len(rows), DIVES_LEAST))
    said += _colder(rows, trends)
    return Trends(rows, trends, said)


def _logs(folder: Path) -> tuple[list[Log], list[str]]:
    found, unread = [], []
    for path in sorted(folder.rglob(pulled.IMAGE)):
        try:
            found.append(logs.read(path.parent))
        except LogError as error:
            unread.append(str(error))
    return found, unread


def _dives(log: Log) -> Iterator[Log]:
    return (dive for dive in log.dives() if dive.splash_s is not None)


def _once(dives: list[Log]) -> list[Log]:
    """Each dive once, known by the record in which its descent began: of two pulls the one that has more of it."""
    kept: dict[tuple[int, int], Log] = {}
    for dive in dives:
        begun = dive.records[dive.records["descent_ds"] >= 0][0]
        key = int(begun["sequence"]), int(begun["crc"])
        if key not in kept or len(dive.records) > len(kept[key].records):
            kept[key] = dive
    return list(kept.values())


# --- one dive -------------------------------------------------------------------------------------------------------


def _row(dive: Log, plan: Plan | None) -> Row:
    records = dive.records
    deep = depths(dive, plan)
    resistance, housing_c = resistance_of(dive)
    splash_s = dive.splash_s
    return Row(
        source=dive.source, chip=dive.chip, dive=int(records["dive"][0]),
        began=dive.utc(splash_s) if splash_s is not None else None, deepest_m=deep.deepest_m,
        bottom_min=_bottom_min(dive, left_bottom_s(dive, deep)), command_to_rise_s=_command_to_rise_s(dive),
        attempts=int(records["attempts"].max()), lowest_loaded_v=_lowest_loaded_v(dive), resistance=resistance,
        housing_c=housing_c, surface_mbar=int(np.median(records["surface_mbar"])),
        resets=len(np.unique(records["boot"])) - 1, bad_slots=dive.unread.bad)


def _first_row_s(dive: Log, into: int, come_from: Callable[[int], bool] = lambda state: True) -> float | None:
    for at, fields in dive.told():
        if fields["kind"] == journal.ROW and fields["state"] == into and fields["code"] < len(table.ROWS) and come_from(
                table.ROWS[fields["code"]][table.FROM]):
            return float(dive.mission_s[at])
    return None


def _bottom_min(dive: Log, left_s: float | None) -> float | None:
    landed_s = _first_row_s(dive, table.RECORD)
    return None if landed_s is None or left_s is None else (left_s - landed_s) / 60.0


def _command_to_rise_s(dive: Log) -> float | None:
    """From the first release command to the rise that was confirmed; None where there was no such rise."""
    commanded = dive.records["command_ds"][dive.records["command_ds"] >= 0]
    rising_s = _first_row_s(dive, table.ASCEND, lambda state: state in RELEASING)
    return None if rising_s is None or not len(commanded) else rising_s - float(commanded[0]) / 10.0


def _lowest_loaded_v(dive: Log) -> float | None:
    records = dive.records
    loaded = (records["signs"] & SUPPLY_OK == SUPPLY_OK) & (records["supply_ma"] >= LOADED_MA)
    return float(records["supply_mv"][loaded].min()) / 1000.0 if loaded.any() else None


def resistance_of(dive: Log) -> tuple[Resistance | None, float | None]:
    """Resistance of pack and wires, from neighbouring readings under water between which the load changed, and the
    temperature in the housing then, degC, weighted as the changes are.

    Least squares through the origin of the changes of voltage over those of current. The uncertainty comes from how
    far the changes lie off that line; a step stands between two others, so that neighbours share a reading and the
    noise of both.
    """
    records = dive.records
    places = np.flatnonzero((records["signs"] & SUPPLY_OK == SUPPLY_OK) & (records["descent_ds"] >= 0))
    volts, amps = records["supply_mv"][places] / 1000.0, records["supply_ma"][places] / 1000.0
    same_start = records["boot"][places][1:] == records["boot"][places][:-1]
    steps = (np.abs(np.diff(amps)) * 1000.0 >= STEP_MA) & same_start & (np.diff(dive.mission_s[places]) <= STEP_S)
    if steps.sum() < STEPS_LEAST:
        return None, None
    change_v, change_a = np.diff(volts)[steps], np.diff(amps)[steps]
    squares = float((change_a ** 2).sum())
    ohm = -float((change_v * change_a).sum()) / squares
    off_v = change_v + ohm * change_a
    spread_v = float((off_v ** 2).sum() / (len(off_v) - 1)) ** 0.5
    at = places[1:][steps]
    weight = change_a ** 2 * (records["signs"][at] & HOUSING_OK != 0)
    housing_c = float((records["housing_centi_c"][at] * weight).sum() / weight.sum()) / 100.0 if weight.any() else None
    return Resistance(1000.0 * ohm, 1000.0 * spread_v / squares ** 0.5, int(steps.sum())), housing_c


# --- over the dives -------------------------------------------------------------------------------------------------


def _trend(measure: Measure, rows: list[Row]) -> Trend | None:
    """The line through a measure; None with fewer dives that tell it than show anything, or where it never changes."""

    told = [(at, value) for at, row in enumerate(rows) if (value := row.value(measure.name)) is not None]
    if len(told) < DIVES_LEAST or len({value for _at, value in told}) == 1:
        return None
    from scipy.stats import kendalltau, theilslopes  # here, not above: it takes a second, and no other command needs it

    order, values = np.array(told, dtype=float).T
    line = theilslopes(values, order, 0.95)
    return Trend(measure, len(told), float(line.slope), float(line.low_slope), float(line.high_slope),
                 float(line.intercept + line.slope * order[0]), float(line.intercept + line.slope * order[-1]),
                 float(kendalltau(order, values).pvalue))


def _colder(rows: list[Row], trends: list[Trend]) -> list[str]:
    """A pack has more resistance in the cold: say so where it was colder as well."""
    grown = any(trend.wears and trend.measure.name == "resistance" for trend in trends)
    colder = _trend(Measure("housing_c", "temperature in the housing", "°C", 1), rows)
    if not grown or colder is None or not (colder.counts and colder.slope < 0):
        return []
    return ["some of the resistance is the cold: the housing went from %.1f to %.1f °C meanwhile"
            % (colder.first, colder.last)]
