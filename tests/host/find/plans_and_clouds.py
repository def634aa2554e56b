"""Plans and clouds of which everything is known, for the tests of the search."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np

from seatrial.plan import Plan, load_sample
from seatrial.plan.sections import CurrentRow
from tumblehome.find.guesses import Guesses, built_in
from tumblehome.find.lamps import Lamps
from tumblehome.find.shapes import Cloud, Plane, Position, Way

PLAN = load_sample()
SPLASH = PLAN.dive.splash_utc
NO_ERRORS = {"current_error_m_s": 0.0, "current_memory_h": 1e9, "plan_wind_error_m_s": 0.0, "file_wind_error_m_s": 0.0, "crosswind_pct": 0.0,
             "jibes_per_h": 0.0, "diffusivity_m2_s": 0.0}
SITE = Position(46.1, -28.4)
WAYS = (Way("timed", "timed release", 0.9), Way("stays_down", "stays down", 0.1))
NOON = datetime(2027, 5, 18, 12, tzinfo=UTC)


def hours(after_splash: float) -> datetime:
    return SPLASH + timedelta(hours=after_splash)


def sure(**drift: float | str) -> Guesses:
    """Guesses without any error of the drift but these."""
    ours = built_in()
    return replace(ours, drift=replace(ours.drift, **{**NO_ERRORS, **drift}))  # type: ignore[arg-type]


def plan_with(wind: dict[str, float] | None = None, current: tuple[float, float] | None = None, **changes) -> Plan:
    """The sample with another wind, one current (m/s, toward deg) at every depth, sections changed; no [doubt] at all."""
    site = PLAN.site
    if wind is not None:
        site = site.model_copy(update={"wind": site.wind.model_copy(update=wind)})
    if current is not None:
        rows = tuple(CurrentRow(depth_m=depth_m, speed_m_s=current[0], toward_deg=current[1]) for depth_m in (0.0, 430.0))
        site = site.model_copy(update={"current": rows})
    doubt = PLAN.doubt.model_copy(update={"drag_pct": 0.0, "mass_pct": 0.0, "density_kg_m3": 0.0})
    return PLAN.model_copy(update={"site": site, "doubt": doubt, **changes})


def fully(*until_s: float) -> Lamps:
    """Lamps that flash fully until they are out."""
    return Lamps(np.array(until_s), np.array(until_s))


def cloud_of(east_m: Sequence[float] | np.ndarray, north_m: Sequence[float] | np.ndarray, at: datetime = NOON,
             weight: Sequence[float] | np.ndarray | None = None, afloat: Sequence[bool] | np.ndarray | None = None,
             way: Sequence[int] | np.ndarray | None = None, origin: Position = SITE,
             ways: tuple[Way, ...] = WAYS) -> Cloud:
    """A cloud as told; weights alike and all afloat unless said otherwise."""
    count = len(east_m)
    weights = np.ones(count) if weight is None else np.asarray(weight, dtype=float)
    return Cloud(
        Plane(origin), at, ways, np.asarray(east_m, dtype=float), np.asarray(north_m, dtype=float),
        weights / weights.sum(), np.zeros(count, dtype=np.int64) if way is None else np.asarray(way, dtype=np.int64),
        np.ones(count, dtype=bool) if afloat is None else np.asarray(afloat, dtype=bool))
