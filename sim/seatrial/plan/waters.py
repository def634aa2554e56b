"""Where the water of a plan comes from: rows in the file, measured casts beside it, or the standard profile."""

from pathlib import Path
from typing import Any

from seatrial.casts import CastError, read_cast
from seatrial.plan.wording import PlanError, show
from seatrial.standard import TEMPERATURE_DOUBT_C, standard_rows


def with_water(tables: dict[str, Any], folder: Path) -> tuple[dict[str, Any], list[str]]:
    """The tables of a plan with the water column put in where it is not written out, and notes on where it came from.

    Tables that cannot be understood come back as they are: their keys are told of by the models. Raises PlanError
    for casts that cannot be used, or that stand beside rows.
    """
    site = tables.get("site")
    if not isinstance(site, dict) or ("water" in site and "cast" not in site):
        return tables, []
    if "cast" in site:
        return _from_cast(tables, site, folder)
    latitude_deg, depth_m = site.get("latitude_deg"), site.get("depth_m")
    if not (_is_number(latitude_deg, -90, 90) and _is_number(depth_m, 0, 11000)):
        return {**tables, "site": {**site, "water": [_ANY_WATER]}}, []  # what is wrong is told of these two keys
    rows = standard_rows(float(latitude_deg), float(depth_m))
    note = (f"site.water is left out: a standard profile for latitude {latitude_deg:g} deg is used, its temperatures"
            f" may be {TEMPERATURE_DOUBT_C:g} degC off; give rows or site.cast when you have measured")
    return {**tables, "site": {**site, "water": rows}}, [note]


_ANY_WATER = {"depth_m": 0.0, "temperature_c": 10.0, "salinity_psu": 35.0}


def _is_number(value: object, low: float, high: float) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and low <= value <= high


def _from_cast(tables: dict[str, Any], site: dict[str, Any], folder: Path) -> tuple[dict[str, Any], list[str]]:
    name = site["cast"]
    if "water" in site:
        raise PlanError([f"site.cast is {show(name)} and [[site.water]] is there too: keep one of them"])
    if not isinstance(name, str) or not name:
        return {**tables, "site": {**site, "water": [_ANY_WATER]}}, []
    latitude_deg = site.get("latitude_deg")
    try:
        cast = read_cast(folder / name, float(latitude_deg) if _is_number(latitude_deg, -90, 90) else 0.0)
    except CastError as error:
        raise PlanError([f"site.cast: {sentence}" for sentence in error.sentences]) from None
    filled = {**site, "water": cast.rows}
    if cast.current_rows and "current" not in site:
        filled["current"] = cast.current_rows
    return {**tables, "site": filled}, [f"site.cast: {note}" for note in cast.notes]
