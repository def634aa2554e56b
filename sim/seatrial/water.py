"""The water column under the splash: density, pressure, temperature, sound and current by depth.

Seawater is TEOS-10 (IOC, SCOR, IAPSO 2010), reached through the `gsw` library. The plan gives practical salinity
and in-situ temperature at a few depths, with straight lines between and constant values beyond the ends. Pressure
is the integral of in-situ density times gravity from the surface down, not a standard ocean.

Everything is tabulated once at 1 m spacing, as plain Python lists: the inner loop of the dive reads those. A column
never changes after it is built, so many dives at one site may share one.
"""

from bisect import bisect_right
from math import ceil, cos, radians, sin

import gsw
import numpy as np

TABLE_BELOW_SEABED_M = 200  # room for a seabed deeper than planned
MBAR_PER_DBAR = 100.0
PA_PER_DBAR = 1.0e4
_PRESSURE_ROUNDS = 3  # density needs pressure, pressure needs density: the change after this many is below 1e-9 dbar


class WaterColumn:
    """The sea at one site.

    The tables hold one value a metre from 0 m to `TABLE_BELOW_SEABED_M` below the seabed; index = depth in metres:
    `density_kg_m3`, `temperature_c`, `pressure_mbar` (absolute, air included), `sound_speed_m_s`,
    `current_east_m_s`, `current_north_m_s`. `last_m` is the last index.

    `cm_per_bar` is the depth in centimetres for one bar of sea pressure, mean from the surface to the seabed.
    `gravity_m_s2` is the gravity at the latitude, at half the depth.
    """

    __slots__ = (
        "air_mbar",
        "cm_per_bar",
        "current_east_m_s",
        "current_north_m_s",
        "density_kg_m3",
        "gravity_m_s2",
        "last_m",
        "pressure_mbar",
        "sound_speed_m_s",
        "temperature_c",
    )

    def __init__(self, site) -> None:
        self.last_m = ceil(site.depth_m) + TABLE_BELOW_SEABED_M
        depths_m = np.arange(self.last_m + 1, dtype=float)
        practical_salinity = _by_depth(depths_m, site.water, "salinity_psu")
        in_situ_c = _by_depth(depths_m, site.water, "temperature_c")
        salinity_g_kg, conservative_c, sea_dbar = _solve_pressure(site, depths_m, practical_salinity, in_situ_c)

        self.air_mbar = float(site.air_pressure_hpa)  # 1 hPa is 1 mbar
        self.density_kg_m3 = gsw.rho(salinity_g_kg, conservative_c, sea_dbar).tolist()
        self.temperature_c = in_situ_c.tolist()
        self.pressure_mbar = (self.air_mbar + MBAR_PER_DBAR * sea_dbar).tolist()
        self.sound_speed_m_s = gsw.sound_speed(salinity_g_kg, conservative_c, sea_dbar).tolist()
        self.current_east_m_s, self.current_north_m_s = _current_tables(depths_m, site.current)

        sea_bar = (self.pressure_mbar_at(site.depth_m) - self.air_mbar) / 1000.0
        self.cm_per_bar = round(100.0 * site.depth_m / sea_bar)
        self.gravity_m_s2 = float(gsw.grav(site.latitude_deg, np.interp(0.5 * site.depth_m, depths_m, sea_dbar)))

    def density_at(self, depth_m: float) -> float:
        """In-situ density, kg/m3; constant beyond the ends of the table."""
        return self._read(self.density_kg_m3, depth_m)

    def temperature_at(self, depth_m: float) -> float:
        """In-situ temperature, degC; constant beyond the ends of the table."""
        return self._read(self.temperature_c, depth_m)

    def sound_speed_at(self, depth_m: float) -> float:
        """Speed of sound, m/s; constant beyond the ends of the table."""
        return self._read(self.sound_speed_m_s, depth_m)

    def current_at(self, depth_m: float) -> tuple[float, float]:
        """Velocity of the water toward east and toward north, m/s; constant beyond the ends of the table."""
        return self._read(self.current_east_m_s, depth_m), self._read(self.current_north_m_s, depth_m)

    def pressure_mbar_at(self, depth_m: float) -> float:
        """Absolute pressure, mbar, air included; at the surface and above it the air pressure.

        Below the table the last metre is continued as a straight line, so that a pressure always grows with depth.
        """
        if depth_m <= 0.0:
            return self.air_mbar
        index = min(int(depth_m), self.last_m - 1)
        above = self.pressure_mbar[index]
        return above + (depth_m - index) * (self.pressure_mbar[index + 1] - above)

    def depth_at(self, pressure_mbar: float) -> float:
        """Depth in metres where the absolute pressure is `pressure_mbar`; 0 for air pressure and less."""
        if pressure_mbar <= self.air_mbar:
            return 0.0
        index = min(bisect_right(self.pressure_mbar, pressure_mbar) - 1, self.last_m - 1)
        above = self.pressure_mbar[index]
        return index + (pressure_mbar - above) / (self.pressure_mbar[index + 1] - above)

    def _read(self, table: list[float], depth_m: float) -> float:
        if depth_m <= 0.0:
            return table[0]
        if depth_m >= self.last_m:
            return table[-1]
        index = int(depth_m)
        above = table[index]
        return above + (depth_m - index) * (table[index + 1] - above)


def _by_depth(depths_m: np.ndarray, rows, key: str) -> np.ndarray:
    ordered = sorted(rows, key=lambda row: row.depth_m)
    return np.interp(depths_m, [row.depth_m for row in ordered], [getattr(row, key) for row in ordered])


def _solve_pressure(site, depths_m: np.ndarray, practical_salinity: np.ndarray, in_situ_c: np.ndarray):
    """Absolute salinity g/kg, conservative temperature degC and sea pressure dbar, in hydrostatic balance."""
    sea_dbar = gsw.p_from_z(-depths_m, site.latitude_deg)
    for _ in range(_PRESSURE_ROUNDS):
        salinity_g_kg = _absolute_salinity(site, practical_salinity, sea_dbar)
        conservative_c = gsw.CT_from_t(salinity_g_kg, in_situ_c, sea_dbar)
        gradient = gsw.rho(salinity_g_kg, conservative_c, sea_dbar) * gsw.grav(site.latitude_deg, sea_dbar)
        pressure_pa = np.concatenate(([0.0], np.cumsum(0.5 * (gradient[1:] + gradient[:-1]) * np.diff(depths_m))))
        sea_dbar = pressure_pa / PA_PER_DBAR
    return salinity_g_kg, conservative_c, sea_dbar


def _absolute_salinity(site, practical_salinity: np.ndarray, sea_dbar: np.ndarray) -> np.ndarray:
    """Absolute salinity g/kg. Where the TEOS-10 atlas has no sea (lakes, fjords), the reference composition counts."""
    salinity_g_kg = gsw.SA_from_SP(practical_salinity, sea_dbar, site.longitude_deg, site.latitude_deg)
    return np.where(np.isfinite(salinity_g_kg), salinity_g_kg, gsw.SR_from_SP(practical_salinity))


def _current_tables(depths_m: np.ndarray, rows) -> tuple[list[float], list[float]]:
    """East and north parts, straight lines between rows: a turn through north never swings the long way round."""
    if not rows:
        still = [0.0] * len(depths_m)
        return still, list(still)
    ordered = sorted(rows, key=lambda row: row.depth_m)
    row_depths_m = [row.depth_m for row in ordered]
    east = [row.speed_m_s * sin(radians(row.toward_deg)) for row in ordered]
    north = [row.speed_m_s * cos(radians(row.toward_deg)) for row in ordered]
    return np.interp(depths_m, row_depths_m, east).tolist(), np.interp(depths_m, row_depths_m, north).tolist()
