"""Units as they end the keys of a plan: what each measures, how large it is, how it is written."""

import math
from typing import NamedTuple


class Unit(NamedTuple):
    """A unit as it ends a key: what it measures, its size in the base unit (None: not a plain factor), its symbol."""

    quantity: str
    size: float | None
    symbol: str


UNITS: dict[str, Unit] = {
    "mm": Unit("length", 1e-3, "mm"), "cm": Unit("length", 1e-2, "cm"), "m": Unit("length", 1, "m"),
    "km": Unit("length", 1e3, "km"), "nm": Unit("length", 1852, "NM"),
    "inch": Unit("length", 0.0254, "inch"), "ft": Unit("length", 0.3048, "ft"),
    "fathoms": Unit("length", 1.8288, "fathoms"),
    "ms": Unit("time", 1e-3, "ms"), "s": Unit("time", 1, "s"), "min": Unit("time", 60, "min"),
    "h": Unit("time", 3600, "h"), "hours": Unit("time", 3600, "h"), "days": Unit("time", 86400, "days"),
    "ma": Unit("current", 1e-3, "mA"), "a": Unit("current", 1, "A"),
    "mah": Unit("charge", 1e-3, "mAh"), "ah": Unit("charge", 1, "Ah"),
    "mv": Unit("voltage", 1e-3, "mV"), "v": Unit("voltage", 1, "V"),
    "mohm": Unit("resistance", 1e-3, "mohm"), "ohm": Unit("resistance", 1, "ohm"),
    "mw": Unit("power", 1e-3, "mW"), "w": Unit("power", 1, "W"),
    "g": Unit("mass", 1e-3, "g"), "kg": Unit("mass", 1, "kg"), "t": Unit("mass", 1e3, "t"),
    "lb": Unit("mass", 0.45359237, "lb"),
    "ml": Unit("volume", 1e-6, "ml"), "cm3": Unit("volume", 1e-6, "cm3"), "l": Unit("volume", 1e-3, "l"),
    "m3": Unit("volume", 1, "m3"),
    "kg_m3": Unit("density", 1, "kg/m3"), "kg_l": Unit("density", 1e3, "kg/l"), "g_cm3": Unit("density", 1e3, "g/cm3"),
    "cm_s": Unit("speed", 1e-2, "cm/s"), "m_s": Unit("speed", 1, "m/s"), "km_h": Unit("speed", 1 / 3.6, "km/h"),
    "kn": Unit("speed", 1852 / 3600, "kn"),
    "cm2": Unit("area", 1e-4, "cm2"), "m2": Unit("area", 1, "m2"),
    "pa": Unit("pressure", 1, "Pa"), "mbar": Unit("pressure", 100, "mbar"), "hpa": Unit("pressure", 100, "hPa"),
    "kpa": Unit("pressure", 1e3, "kPa"), "dbar": Unit("pressure", 1e4, "dbar"), "bar": Unit("pressure", 1e5, "bar"),
    "mpa": Unit("pressure", 1e6, "MPa"), "gpa": Unit("pressure", 1e9, "GPa"), "psi": Unit("pressure", 6894.757, "psi"),
    "centi_c": Unit("temperature", 0.01, "hundredths of degC"), "c": Unit("temperature", 1, "degC"),
    "k": Unit("temperature", None, "K"), "f": Unit("temperature", None, "degF"),
    "pct": Unit("share", 0.01, "%"), "percent": Unit("share", 0.01, "%"), "permille": Unit("share", 1e-3, "permille"),
    "fraction": Unit("share", 1, ""), "ppm": Unit("drift", 1, "ppm"),
    "deg": Unit("angle", 1, "deg"), "rad": Unit("angle", 180 / math.pi, "rad"),
    "n": Unit("force", 1, "N"), "kgf": Unit("force", 9.80665, "kgf"), "lbf": Unit("force", 4.448222, "lbf"),
    "psu": Unit("salinity", 1, "psu"), "ppt": Unit("salinity", None, "ppt"),
    "per_mpa": Unit("compressibility", 1, "1/MPa"), "per_bar": Unit("compressibility", 10, "1/bar"),
    "j_k": Unit("heat capacity", 1, "J/K"), "kj_k": Unit("heat capacity", 1e3, "kJ/K"),
    "w_k": Unit("heat flow", 1, "W/K"), "mw_k": Unit("heat flow", 1e-3, "mW/K"),
    "at_0_c": Unit("ratio at 0 degC", None, ""),
    "w_m2": Unit("irradiance", 1, "W/m2"), "per_m": Unit("attenuation", 1, "1/m"),
    "lm": Unit("luminous flux", 1, "lm"), "lx": Unit("illuminance", 1, "lx"), "cd": Unit("luminous intensity", 1, "cd"),
    "utc": Unit("moment", None, "UTC"), "local": Unit("moment", None, "local time"),
}


def unit_of(key: str) -> str:
    """The ending of `key` that names its unit, a key of `UNITS`, or "" when it carries none."""
    parts = key.split("_")
    for start in range(len(parts)):
        ending = "_".join(parts[start:])
        if ending in UNITS:
            return ending
    return ""


def symbol_of(key: str) -> str:
    """The symbol of the unit of `key`, such as "kg/m3"; "" when it has none."""
    ending = unit_of(key)
    return UNITS[ending].symbol if ending else ""


def stem_of(key: str) -> str:
    """The key without its unit."""
    ending = unit_of(key)
    return key[:len(key) - len(ending)].rstrip("_") if ending else key
