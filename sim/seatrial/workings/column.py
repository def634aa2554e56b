"""The water: pressure, temperature, density, sound and current by depth, and how far rules of thumb are off here.

Everything is read off the water column of the simulated sea (`seatrial.water`); nothing of seawater is worked out a
second time but the freezing point.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from math import atan2, ceil, degrees, floor, hypot, log10

import gsw
import numpy as np

from seatrial.casts import INVERSION_KG_M3
from seatrial.plan import Plan, gravity_m_s2, water_of
from seatrial.plan.sections import WaterRow
from seatrial.plan.wording import at
from seatrial.water import MBAR_PER_DBAR, WaterColumn
from seatrial.workings.chapter import Chapter, Column, Figure, Table
from seatrial.workings.pressure import gauge_mpa

ROUND_STEPS = 10  # about so many rows of round depths
ROWS_SHOWN = 12  # rows of the plan that a person can still look over; a cast has hundreds
PICTURE_POINTS = 151
ENDS_TOO_SOON = 0.9  # of the depth of the site: water that ends above this is carried on for long
SUPERCOOLED_C = 0.05  # below freezing without ice: found under ice shelves, from memory; more than this is no water
TEXTBOOK_SEA_KG_M3, TEXTBOOK_GRAVITY_M_S2 = 1025.0, 9.80665
PA_PER_MPA = 1.0e6
PA_PER_MBAR = 100.0


@dataclass(frozen=True)
class Level:
    """The water at one depth; pressures are gauge. `current_toward_deg` is None where nothing flows."""

    depth_m: float
    gauge_mpa: float
    sea_dbar: float
    temperature_c: float
    density_kg_m3: float
    sound_speed_m_s: float
    current_m_s: float
    current_toward_deg: float | None


@dataclass(frozen=True)
class Water:
    """The water column of a plan in numbers.

    `levels` are those of the table, `picture` those that pictures are drawn from. `mean_density_kg_m3` is by depth,
    `mean_sound_speed_m_s` by travel time: the depth over the time that sound takes straight down. The two rules of
    thumb are off by `one_dbar_rule_pct` (one decibar a metre) and `textbook_rule_pct` (1025 kg/m3 times standard
    gravity) of the pressure at the seabed, negative when they say too little. `inversion_kg_m3` is how much water is
    at most lighter than water above it, both brought to one pressure, and `inversion_m` where.
    """

    levels: tuple[Level, ...]
    picture: tuple[Level, ...]
    surface: Level
    seabed: Level
    deepest: Level
    mean_density_kg_m3: float
    mean_sound_speed_m_s: float
    one_dbar_rule_pct: float
    textbook_rule_pct: float
    inversion_kg_m3: float
    inversion_m: float


@lru_cache(maxsize=16)
def column(plan: Plan) -> Water:
    """The water of a plan, from the surface to the deepest its seabed may be."""
    depth_m, water = plan.site.depth_m, water_of(plan.site)
    deepest_m = depth_m + plan.site.depth_margin_m
    seabed = _level(plan, depth_m)
    lighter_kg_m3, lighter_m = _inversion(water, deepest_m)
    return Water(
        levels=tuple(_level(plan, at_m) for at_m in _table_depths_m(plan, deepest_m)),
        picture=tuple(_level(plan, at_m) for at_m in _picture_depths_m(plan, deepest_m)),
        surface=_level(plan, 0.0),
        seabed=seabed,
        deepest=_level(plan, deepest_m),
        mean_density_kg_m3=_mean(water.density_at, depth_m),
        mean_sound_speed_m_s=1.0 / _mean(lambda at_m: 1.0 / water.sound_speed_at(at_m), depth_m),
        one_dbar_rule_pct=100.0 * (depth_m / seabed.sea_dbar - 1.0),
        textbook_rule_pct=100.0 * (
            TEXTBOOK_SEA_KG_M3 * TEXTBOOK_GRAVITY_M_S2 * depth_m / (seabed.gauge_mpa * PA_PER_MPA) - 1.0),
        inversion_kg_m3=lighter_kg_m3,
        inversion_m=lighter_m)


def chapter(plan: Plan) -> Chapter:
    """The water of a plan in words, a table and what pictures are drawn from."""
    found = column(plan)
    return Chapter(
        key="column",
        title="The water",
        figures=tuple(_figures(plan, found)),
        tables=(_table(found),),
        series=_series(found),
        faults=tuple(_faults(plan)),
        cautions=tuple(_cautions(plan, found)),
        sources=SOURCES,
        limits=(*LIMITS, *_limit_of_the_table(plan)))


SOURCES = (
    "seawater: TEOS-10 (IOC, SCOR and IAPSO, 2010) through the library gsw; salinity of the plan is practical (PSS-78),"
    " temperature is in place (ITS-90)",
    "pressure: density times gravity summed from the surface down, at the latitude of the site",
)
LIMITS = (
    "the water is that of the plan on the day it was measured or guessed; straight lines between its rows, constant"
    " above the first and below the last",
    "all pressures are gauge: above that of the air, without swell and tide",
    "the current is a mean: no tide, no eddies, nothing about its direction at another hour",
)


def _limit_of_the_table(plan: Plan) -> Iterator[str]:
    end_m = water_of(plan.site).last_m
    if plan.site.depth_m + plan.site.depth_margin_m > end_m:
        yield f"below {end_m:g} m the density is taken to stay as it is there, which makes the pressure a little low"


# --- numbers ----------------------------------------------------------------------------------------------------------


def _level(plan: Plan, depth_m: float) -> Level:
    water = water_of(plan.site)
    east, north = water.current_at(depth_m)
    toward_deg = degrees(atan2(east, north)) % 360.0 if east or north else None
    return Level(
        depth_m, gauge_mpa(plan, depth_m), (water.pressure_mbar_at(depth_m) - water.air_mbar) / MBAR_PER_DBAR,
        water.temperature_at(depth_m), water.density_at(depth_m), water.sound_speed_at(depth_m), hypot(east, north),
        toward_deg)


def _mean(value_at, depth_m: float) -> float:
    """Mean over the depth of what is a straight line between whole metres."""
    depths_m = [*map(float, range(ceil(depth_m))), depth_m]
    return float(np.trapezoid([value_at(at_m) for at_m in depths_m], depths_m)) / depth_m


def _table_depths_m(plan: Plan, deepest_m: float) -> list[float]:
    step_m = _round_step_m(deepest_m)
    rows_m = _row_depths_m(plan, deepest_m)
    return sorted({
        0.0, plan.site.depth_m, deepest_m, *(step_m * number for number in range(1, ceil(deepest_m / step_m))),
        *(rows_m if len(rows_m) <= ROWS_SHOWN else ())})


def _picture_depths_m(plan: Plan, deepest_m: float) -> list[float]:
    rows_m = _row_depths_m(plan, deepest_m)  # lines bend there
    return sorted({*np.linspace(0.0, deepest_m, PICTURE_POINTS).tolist(), plan.site.depth_m, *rows_m})


def _row_depths_m(plan: Plan, deepest_m: float) -> set[float]:
    return {row.depth_m for row in (*plan.site.water, *plan.site.current) if row.depth_m < deepest_m}


def _round_step_m(deepest_m: float) -> float:
    """1, 2 or 5 times a power of ten, about a tenth of the depth."""
    wanted_m = deepest_m / ROUND_STEPS
    decade_m = 10.0 ** floor(log10(wanted_m))
    return next(factor * decade_m for factor in (1.0, 2.0, 5.0, 10.0) if factor * decade_m >= wanted_m * (1 - 1e-9))


def _inversion(water: WaterColumn, deepest_m: float) -> tuple[float, float]:
    """How much lighter than water above it the water is at most, kg/m3, and at which depth.

    From metre to metre the density may grow by what the pressure alone does to it, dp / c2 with c the speed of sound
    (any textbook of physical oceanography); what is left of the change is the water's own.
    """
    end = min(ceil(deepest_m), water.last_m) + 1
    density, pressure_mbar, sound_m_s = (
        np.array(table[:end]) for table in (water.density_kg_m3, water.pressure_mbar, water.sound_speed_m_s))
    between_m_s = 0.5 * (sound_m_s[1:] + sound_m_s[:-1])
    own_steps = np.diff(density) - PA_PER_MBAR * np.diff(pressure_mbar) / between_m_s**2
    own = np.concatenate(([0.0], np.cumsum(own_steps)))
    lighter = np.maximum.accumulate(own) - own
    worst = int(np.argmax(lighter))
    return float(lighter[worst]), float(worst)


# --- figures, table, pictures -----------------------------------------------------------------------------------------


def _figures(plan: Plan, found: Water) -> Iterator[Figure]:
    seabed = found.seabed
    yield Figure("seabed_mpa", "pressure at the seabed", seabed.gauge_mpa, "MPa", 3,
                 f"gauge, {seabed.sea_dbar:.1f} dbar")
    yield Figure("deepest_mpa", "pressure at the deepest point", found.deepest.gauge_mpa, "MPa", 3,
                 f"gauge, at {found.deepest.depth_m:g} m")
    yield Figure("surface_temperature_c", "water at the surface", found.surface.temperature_c, "degC", 1)
    yield Figure("seabed_temperature_c", "water at the seabed", seabed.temperature_c, "degC", 1)
    yield Figure("surface_density_kg_m3", "density at the surface", found.surface.density_kg_m3, "kg/m3", 2)
    yield Figure("seabed_density_kg_m3", "density at the seabed", seabed.density_kg_m3, "kg/m3", 2)
    yield Figure("mean_density_kg_m3", "mean density", found.mean_density_kg_m3, "kg/m3", 2, "surface to seabed")
    yield Figure("mean_sound_speed_m_s", "mean speed of sound", found.mean_sound_speed_m_s, "m/s", 1,
                 "by travel time, surface to seabed")
    yield Figure("one_dbar_rule_pct", '"one decibar a metre" is off by', found.one_dbar_rule_pct, "%", 2,
                 "of the pressure at the seabed; negative: it says too little")
    yield Figure("textbook_rule_pct", '"1025 kg/m3 times 9.80665 m/s2" is off by', found.textbook_rule_pct, "%", 2,
                 "the same")
    yield Figure("gravity_m_s2", "gravity", gravity_m_s2(plan.site), "m/s2", 4, "at the latitude, half way down")


def _table(found: Water) -> Table:
    return Table("levels", "The water by depth, pressures gauge", (
        Column("depth_m", "depth, m", 0 if all(level.depth_m.is_integer() for level in found.levels) else 1),
        Column("gauge_mpa", "pressure, MPa", 3), Column("sea_dbar", "pressure, dbar", 1),
        Column("temperature_c", "temperature, degC", 2), Column("density_kg_m3", "density, kg/m3", 2),
        Column("sound_speed_m_s", "sound, m/s", 1), Column("current_m_s", "current, m/s", 2),
        Column("current_toward_deg", "toward, deg", 0),
    ), tuple(
        (level.depth_m, level.gauge_mpa, level.sea_dbar, level.temperature_c, level.density_kg_m3,
         level.sound_speed_m_s, level.current_m_s, level.current_toward_deg) for level in found.levels))


def _series(found: Water) -> dict[str, tuple[float | None, ...]]:
    names = ("depth_m", "temperature_c", "density_kg_m3", "sound_speed_m_s", "current_m_s", "current_toward_deg")
    return {name: tuple(getattr(level, name) for level in found.picture) for name in names}


# --- what is wrong with it, and what is worth a second thought --------------------------------------------------------


def _faults(plan: Plan) -> Iterator[str]:
    """Rows that would be ice; the worst one speaks for all."""
    frozen = [(row, number, freezing_c) for number, row in enumerate(plan.site.water, start=1)
              if row.temperature_c < (freezing_c := _freezing_c(plan, row)) - SUPERCOOLED_C]
    if not frozen:
        return
    row, number, freezing_c = min(frozen, key=lambda one: one[0].temperature_c - one[2])
    others = f" ({len(frozen) - 1} more are like it)" if len(frozen) > 1 else ""
    where = f"site.cast {at(row.depth_m)}: temperature_c" if plan.site.cast else \
        f"site.water[row {number}].temperature_c"
    yield (f"{where} is {row.temperature_c:g}; water of {row.salinity_psu:g} psu freezes at {freezing_c:.2f} degC"
           f" {at(row.depth_m)}, {freezing_c - row.temperature_c:.2f} degC above that{others}: correct the temperature"
           " or the salinity")


def _freezing_c(plan: Plan, row: WaterRow) -> float:
    """Freezing point of air-free water, degC (TEOS-10). Salts are of the reference composition: good to 0.002 degC."""
    sea_dbar = gsw.p_from_z(-row.depth_m, plan.site.latitude_deg)
    return float(gsw.t_freezing(gsw.SR_from_SP(row.salinity_psu), sea_dbar, 0.0))


def _cautions(plan: Plan, found: Water) -> Iterator[str]:
    yield from plan.notes
    yield from _ends_above_the_seabed(plan)
    if plan.site.cast is None and found.inversion_kg_m3 > INVERSION_KG_M3:  # of a cast its notes tell
        yield (f"the water {at(found.inversion_m)} is {found.inversion_kg_m3:.2f} kg/m3 lighter than water above it, at"
               " the same pressure, and would rise: look at the rows of [[site.water]]")


def _ends_above_the_seabed(plan: Plan) -> Iterator[str]:
    site = plan.site
    water_m, current_row = max(row.depth_m for row in site.water), max(site.current, key=lambda row: row.depth_m)
    if water_m < ENDS_TOO_SOON * site.depth_m:
        yield (f"{'site.cast' if site.cast else 'site.water'} ends at {water_m:g} m and the seabed is at"
               f" {site.depth_m:g} m: below its last row temperature and salinity are taken to stay as they are there,"
               " give a deeper row if you know one")
    if current_row.depth_m < ENDS_TOO_SOON * site.depth_m and current_row.speed_m_s > 0:
        yield (f"site.current ends at {current_row.depth_m:g} m and the seabed is at {site.depth_m:g} m: below its last"
               f" row the current is taken to stay at {current_row.speed_m_s:g} m/s, give a deeper row if you know one")
