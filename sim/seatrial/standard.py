"""A standard profile of the open ocean from latitude and depth alone, for plans that have no measured water yet.

Rough on purpose, and all of it from memory, no source: zonal means of the year, drawn as a mixed layer, an exponential
thermocline and deep water. It knows no season, no coast and no basin. `TEMPERATURE_DOUBT_C` is how far the open ocean
may well stand from it; enclosed seas stand further off (the deep Mediterranean is near 13 degC, the deep Red Sea near
22 degC), and fresh or brackish water is another sea altogether.
"""

from math import exp, isfinite

import numpy as np

TEMPERATURE_DOUBT_C = 5.0  # either way, open ocean; from memory, no source
MIXED_LAYER_M = 50.0  # mean of the year, rough, from memory
DEEPEST_M = 11000.0

# Latitude north positive, then: surface degC, deep degC, e-folding depth of the thermocline m, surface and deep psu.
# From memory, no source. The thermocline is sharp in the tropics and reaches deep below the subtropical gyres.
_LATITUDES = (
    (-90.0, -1.7, -0.5, 800.0, 34.0, 34.65),
    (-70.0, -1.3, -0.3, 800.0, 33.9, 34.66),
    (-60.0, 0.0, 0.3, 800.0, 33.9, 34.68),
    (-50.0, 6.0, 1.0, 800.0, 34.0, 34.70),
    (-40.0, 14.0, 1.5, 700.0, 34.7, 34.72),
    (-30.0, 20.0, 1.8, 600.0, 35.5, 34.75),
    (-20.0, 24.5, 2.0, 450.0, 35.7, 34.75),
    (0.0, 27.5, 2.0, 350.0, 34.9, 34.80),
    (10.0, 27.8, 2.0, 350.0, 34.7, 34.80),
    (25.0, 24.0, 2.1, 550.0, 35.6, 34.85),
    (40.0, 15.5, 2.3, 750.0, 35.0, 34.90),
    (50.0, 9.5, 2.3, 800.0, 34.3, 34.90),
    (60.0, 6.5, 2.0, 800.0, 34.0, 34.90),
    (70.0, 2.5, 0.0, 800.0, 33.5, 34.90),
    (80.0, -1.3, -0.7, 800.0, 32.0, 34.92),
    (90.0, -1.7, -0.7, 800.0, 31.5, 34.93),
)
# Depths at which rows are given: close above, wide below, so that straight lines between them follow the curve.
_DEPTHS_M = (
    *range(0, 50, 10), *range(50, 200, 25), *range(200, 500, 50), *range(500, 1000, 100), *range(1000, 2000, 250),
    *range(2000, 11001, 500),
)


def standard_rows(latitude_deg: float, depth_m: float) -> list[dict[str, float]]:
    """Rows of `depth_m`, `temperature_c` (in place) and `salinity_psu` from the surface to a seabed at `depth_m`.

    Latitude is north positive. Rough, from memory, no source: see the head of this file, and `TEMPERATURE_DOUBT_C`.
    Raises ValueError for a latitude outside -90 to 90 deg or a depth outside 0 to 11000 m.
    """
    if not (isfinite(latitude_deg) and -90.0 <= latitude_deg <= 90.0):
        raise ValueError(f"latitude_deg is {latitude_deg}; allowed is -90 to 90 deg: give the latitude of the site")
    if not (isfinite(depth_m) and 0.0 <= depth_m <= DEEPEST_M):
        raise ValueError(f"depth_m is {depth_m}; allowed is 0 to {DEEPEST_M:g} m: give the depth of the seabed")
    latitudes, *columns = zip(*_LATITUDES, strict=True)
    surface_c, deep_c, scale_m, surface_psu, deep_psu = (
        float(np.interp(latitude_deg, latitudes, column)) for column in columns)
    depths_m = [float(row_m) for row_m in _DEPTHS_M if row_m < depth_m] + [float(depth_m)]
    rows = []
    for row_m in depths_m:
        share = exp(-max(0.0, row_m - MIXED_LAYER_M) / scale_m)  # how much is left of what the surface has
        rows.append({
            "depth_m": row_m,
            "temperature_c": round(deep_c + (surface_c - deep_c) * share, 2),
            "salinity_psu": round(deep_psu + (surface_psu - deep_psu) * share, 3),
        })
    return rows
