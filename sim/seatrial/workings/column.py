"""The water: pressure, temperature, density, sound and current from the surface to the deepest point of the site."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from math import atan2, degrees, hypot, log10

import numpy as np

from seatrial.plan import Plan
from seatrial.plan.reckoning import water_of
from seatrial.water import MBAR_PER_DBAR, WaterColumn
from seatrial.workings.chapter import Chapter, Column, Figure, Table

MBAR_PER_MPA = 1e4
TABLE_ROWS = 10  # about so many round depths between surface and seabed
SERIES_POINTS = 120
COVERED = 0.9  # rows that end above this share of the depth leave the water below to a guess
UNSTABLE_KG_M3 = 0.05  # heavier water above lighter by more than a measurement would make it


@dataclass(frozen=True)
class Sea:
    """The water column of a plan in numbers; `deepest_m` is the depth with its margin.

    `rule_error_pct` is how far "one decibar a metre" is off at the seabed; `overturn_kg_m3` by how much the worst layer
    lies on lighter water, None where the column is stable.
    """

    deepest_m: float
    seabed_dbar: float
    deepest_mpa: float
    surface_kg_m3: float
    seabed_kg_m3: float
    mean_kg_m3: float
    mean_sound_m_s: float
    seabed_c: float
    rule_error_pct: float
    overturn_kg_m3: float | None
    overturn_at_m: float | None


@lru_cache(maxsize=16)
def column(plan: Plan) -> Sea:
    """The water column of a plan, from the tables that the simulator dives in."""
    site, water = plan.site, water_of(plan.site)
    depth_m, deepest_m = site.depth_m, site.depth_m + site.depth_margin_m
    depths_m = np.linspace(0.0, depth_m, 500)
    seabed_dbar = _dbar(water, depth_m)
    overturn = _overturn(water, depth_m)
    return Sea(
        deepest_m=deepest_m,
        seabed_dbar=seabed_dbar,
        deepest_mpa=(water.pressure_mbar_at(deepest_m) - water.air_mbar) / MBAR_PER_MPA,
        surface_kg_m3=water.density_at(0.0),
        seabed_kg_m3=water.density_at(depth_m),
        mean_kg_m3=_mean(depths_m, [water.density_at(at) for at in depths_m]),
        # the harmonic mean is the speed over the whole way
        mean_sound_m_s=1.0 / _mean(depths_m, [1.0 / water.sound_speed_at(at) for at in depths_m]),
        seabed_c=water.temperature_at(depth_m),
        rule_error_pct=100.0 * (depth_m - seabed_dbar) / seabed_dbar,
        overturn_kg_m3=overturn[0] if overturn else None,
        overturn_at_m=overturn[1] if overturn else None,
    )


def _mean(depths_m: np.ndarray, values: list[float]) -> float:
    return float(np.trapezoid(values, depths_m) / (depths_m[-1] - depths_m[0]))


def _dbar(water: WaterColumn, depth_m: float) -> float:
    return (water.pressure_mbar_at(depth_m) - water.air_mbar) / MBAR_PER_DBAR


def _overturn(water: WaterColumn, depth_m: float) -> tuple[float, float] | None:
    """The worst inversion and its depth: how much denser a metre is than the next, brought to the same pressure.

    What pressure alone adds over a metre is taken from the speed of sound: drho/dp = 1/c2.
    """
    worst = None
    excess = 0.0
    for upper in range(int(depth_m)):
        density, sound = water.density_kg_m3[upper], water.sound_speed_m_s[upper]
        pressed = (water.pressure_mbar[upper + 1] - water.pressure_mbar[upper]) * 100.0 / sound**2
        # layers that overturn one after the other count together
        excess = max(0.0, excess + density + pressed - water.density_kg_m3[upper + 1])
        if excess > UNSTABLE_KG_M3 and (worst is None or excess > worst[0]):
            worst = excess, float(upper)
    return worst


def chapter(plan: Plan) -> Chapter:
    """The water of a plan: figures, a table by depth and curves."""
    return Chapter(
        key="column",
        title="The water",
        figures=tuple(_figures(plan, column(plan))),
        tables=(_table(plan),),
        series=_series(plan),
        cautions=(*plan.notes, *_cautions(plan, column(plan))),
        sources=(
            "seawater: TEOS-10 (IOC, SCOR and IAPSO 2010), through the library gsw; pressure is the integral of density"
            " times gravity",
        ),
        limits=(
            "between the rows of the plan the water changes along straight lines, beyond the first and the last it does"
            " not change",
        ),
    )


def _figures(plan: Plan, sea: Sea) -> Iterator[Figure]:
    yield Figure("seabed_dbar", "pressure at the seabed", sea.seabed_dbar, "dbar", 1, f"at {plan.site.depth_m:g} m")
    yield Figure("deepest_mpa", "pressure at the deepest point", sea.deepest_mpa, "MPa", 3,
                 f"at {sea.deepest_m:g} m, depth and margin, above the air's")
    yield Figure("rule_error_pct", 'error of "one dbar a metre" there', sea.rule_error_pct, "%", 2)
    yield Figure("seabed_c", "water at the seabed", sea.seabed_c, "degC", 1)
    yield Figure("surface_kg_m3", "density at the surface", sea.surface_kg_m3, "kg/m3", 2)
    yield Figure("seabed_kg_m3", "density at the seabed", sea.seabed_kg_m3, "kg/m3", 2)
    yield Figure("mean_kg_m3", "mean density", sea.mean_kg_m3, "kg/m3", 2)
    yield Figure("mean_sound_m_s", "mean sound speed", sea.mean_sound_m_s, "m/s", 1,
                 "over the whole way from surface to seabed")


def _table(plan: Plan) -> Table:
    water = water_of(plan.site)
    columns = (
        Column("depth_m", "depth m", 0), Column("sea_dbar", "pressure dbar", 1), Column("gauge_mpa", "MPa", 3),
        Column("temperature_c", "degC", 2), Column("density_kg_m3", "density kg/m3", 2),
        Column("sound_speed_m_s", "sound m/s", 1), Column("current_m_s", "current m/s", 2),
        Column("current_toward_deg", "toward deg", 0))
    return Table("depths", "The water by depth", columns, tuple(_row(water, at) for at in _depths(plan)))


def _row(water: WaterColumn, depth_m: float) -> tuple[float, ...]:
    speed_m_s, toward_deg = _current(water, depth_m)
    dbar = _dbar(water, depth_m)
    return (depth_m, dbar, dbar / 100.0, water.temperature_at(depth_m), water.density_at(depth_m),
            water.sound_speed_at(depth_m), speed_m_s, toward_deg)


def _depths(plan: Plan) -> list[float]:
    """Round steps from the surface on, the seabed, and the deepest point."""
    depth_m, deepest_m = plan.site.depth_m, plan.site.depth_m + plan.site.depth_margin_m
    step = 10.0 ** int(log10(depth_m / TABLE_ROWS * 2) // 1)
    step = next(step * times for times in (1, 2, 5, 10) if depth_m / (step * times) <= TABLE_ROWS)
    rounded = [step * number for number in range(int(depth_m / step) + 1) if depth_m - step * number > step / 4]
    return [*rounded, depth_m, *([deepest_m] if deepest_m > depth_m else [])]


def _current(water: WaterColumn, depth_m: float) -> tuple[float, float]:
    east, north = water.current_at(depth_m)
    return hypot(east, north), degrees(atan2(east, north)) % 360.0


def _series(plan: Plan) -> dict[str, list[float]]:
    water = water_of(plan.site)
    depths_m = np.linspace(0.0, plan.site.depth_m + plan.site.depth_margin_m, SERIES_POINTS).tolist()
    currents = [_current(water, at) for at in depths_m]
    return {
        "depth_m": depths_m,
        "temperature_c": [water.temperature_at(at) for at in depths_m],
        "density_kg_m3": [water.density_at(at) for at in depths_m],
        "sound_speed_m_s": [water.sound_speed_at(at) for at in depths_m],
        "current_m_s": [speed for speed, _toward in currents],
        "current_toward_deg": [toward for _speed, toward in currents],
    }


def _cautions(plan: Plan, sea: Sea) -> Iterator[str]:
    site = plan.site
    for name, rows in (("site.water", site.water), ("site.current", site.current)):
        last_m = rows[-1].depth_m
        if len(rows) > 1 and last_m < COVERED * site.depth_m:
            yield (f"{name} ends at {last_m:g} m and the site is {site.depth_m:g} m deep: below that the last row is"
                   " taken to go on; add a row near the seabed")
    if sea.overturn_kg_m3 is not None:
        yield (f"site.water lies {sea.overturn_kg_m3:.2f} kg/m3 heavier on lighter water at {sea.overturn_at_m:g} m,"
               " which would turn over: look at temperature and salinity there")
