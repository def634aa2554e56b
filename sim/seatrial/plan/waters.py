"""What the water makes of a plan: rows, measured casts or the standard profile; the link that corrodes in it."""

from pathlib import Path
from typing import Any

import numpy as np

from seatrial.casts import CastError, read_cast
from seatrial.handbook.corrosion import LEAST_SALT_PSU, link_life_bounds_h
from seatrial.plan.whole import Plan
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


def with_link_in_its_water(plan: Plan) -> tuple[Plan, list[str]]:
    """The plan with the range of its corroding link brought from the water of its soak to that of the seabed.

    Bounds of reason only (`seatrial.handbook.corrosion.link_life_bounds_h`); there is no law of time. A range that is
    missing or the wrong way round is left for the checks.
    """
    passive, site = plan.release.passive, plan.site
    if not passive.fitted or None in (passive.soaked_c, passive.earliest_h, passive.latest_h):
        return plan, []
    if passive.earliest_h >= passive.latest_h:
        return plan, []
    depths_m = [row.depth_m for row in site.water]
    water_c = float(np.interp(site.depth_m, depths_m, [row.temperature_c for row in site.water]))
    salinity_psu = float(np.interp(site.depth_m, depths_m, [row.salinity_psu for row in site.water]))
    if salinity_psu < LEAST_SALT_PSU or not -2 <= water_c <= 40:
        return plan, [f"release.passive.soaked_c is {passive.soaked_c:g}; in water of {salinity_psu:.1f} psu at"
                      f" {water_c:.1f} degC nothing is known of a corroding link: its range stands as it was given"]
    earliest_h, latest_h = link_life_bounds_h(passive.earliest_h, passive.latest_h, passive.soaked_c, water_c,
                                              salinity_psu, own_soak=True)
    here = passive.model_copy(update={"earliest_h": earliest_h, "latest_h": latest_h})
    note = (f"release.passive: soaked {passive.earliest_h:g} to {passive.latest_h:g} h at {passive.soaked_c:g} degC, it"
            f" may hold {earliest_h:.1f} to {latest_h:.1f} h at {water_c:.1f} degC: bounds from temperature and salt"
            " alone, oxygen, flow and fouling are in neither")
    return plan.model_copy(update={"release": plan.release.model_copy(update={"passive": here})}), [note]
