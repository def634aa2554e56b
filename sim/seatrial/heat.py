"""How warm the camera gets: two lumps, the camera inside its housing and the housing in the water or the air.

    C_c dT_c/dt = P_c - G (T_c - T_h)
    C_h dT_h/dt = P_h + G (T_c - T_h) - H (T_h - T_out)

With constant inputs this linear pair has an exact solution by its two eigenvalues, so a step may be as long as the
inputs stay the same. The lumped model itself: Incropera, Fundamentals of Heat and Mass Transfer, chapter 5.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from math import exp, inf, isfinite, log, sqrt

_BISECTIONS = 80
SAMPLE_S = 30.0  # a stage is sampled this often, and less and less so as it lasts,
SAMPLE_GROWTH = 0.02  # by this share of the time into it: a moment read off is right within that share,
STAGE_POINTS = 120  # but never coarser than this share of the whole stage


class _Path:
    """One way for the heat to leave (fan on or off, in water or in air): what the solution needs of it.

    For y = distance from the steady state, dy/dt = A y with A = [[-a, a], [b, -d]] and eigenvalues -slow, -fast.
    """

    __slots__ = ("a", "b", "d", "fast", "inner_w_k", "outer_w_k", "slow", "spread")

    def __init__(self, camera_j_k: float, housing_j_k: float, inner_w_k: float, outer_w_k: float) -> None:
        self.inner_w_k = inner_w_k
        self.outer_w_k = outer_w_k
        self.a = inner_w_k / camera_j_k
        self.b = inner_w_k / housing_j_k
        self.d = (inner_w_k + outer_w_k) / housing_j_k
        self.spread = sqrt((self.a - self.d) ** 2 + 4.0 * self.a * self.b)
        self.fast = 0.5 * (self.a + self.d + self.spread)
        self.slow = self.a * (outer_w_k / housing_j_k) / self.fast  # product of both: no loss of digits by subtraction


class Heat:
    """Temperatures of the camera and of the housing, degC, as state that the caller may read and set.

    Heat capacities and conductances of the plan's section must be above 0.
    """

    __slots__ = ("_paths", "camera_c", "housing_c")

    def __init__(self, heat, start_c: float = 20.0) -> None:
        self.camera_c = start_c
        self.housing_c = start_c
        self._paths = [
            _Path(heat.camera_heat_capacity_j_k, heat.housing_heat_capacity_j_k, inner_w_k, outer_w_k)
            for outer_w_k in (heat.housing_to_air_w_k, heat.housing_to_water_w_k)
            for inner_w_k in (heat.camera_to_housing_w_k, heat.camera_to_housing_fan_w_k)
        ]

    def advance(
        self, dt_s: float, outside_c: float, in_water: bool, camera_w: float, housing_w: float, fan_on: bool
    ) -> None:
        """Move on by `dt_s` seconds, exactly, with these inputs constant.

        `outside_c` is the water or the air around the housing, `camera_w` the heat made in the camera, `housing_w`
        all other heat made in the housing (electronics, fan, the share of the lamps).
        """
        path = self._paths[(2 if in_water else 0) + (1 if fan_on else 0)]
        housing_end_c = outside_c + (camera_w + housing_w) / path.outer_w_k
        camera_end_c = housing_end_c + camera_w / path.inner_w_k
        camera = self.camera_c - camera_end_c
        housing = self.housing_c - housing_end_c
        # exp(A t) = ((A + fast) exp(-slow t) - (A + slow) exp(-fast t)) / (fast - slow)
        late = exp(-path.slow * dt_s) / path.spread
        early = exp(-path.fast * dt_s) / path.spread
        both = late - early
        level = late * path.fast - early * path.slow
        self.camera_c = camera_end_c + (level - both * path.a) * camera + both * path.a * housing
        self.housing_c = housing_end_c + both * path.b * camera + (level - both * path.d) * housing


# --- without running a dive -------------------------------------------------------------------------------------------


def steady(
    heat, outside_c: float, in_water: bool, camera_w: float, housing_w: float, fan_on: bool
) -> tuple[float, float]:
    """Where camera and housing end with these inputs kept for good, degC; `heat` is the section of the plan."""
    path = _path_of(heat, in_water, fan_on)
    housing_c = outside_c + (camera_w + housing_w) / path.outer_w_k
    return housing_c + camera_w / path.inner_w_k, housing_c


def seconds_to_limit(heat, limit_c: float, camera_c: float, housing_c: float, outside_c: float, in_water: bool,
                     camera_w: float, housing_w: float, fan_on: bool) -> float:
    """Seconds until the camera is at `limit_c` from these temperatures with constant inputs; 0 at once, inf never.

    The camera's temperature is a sum of two exponentials: it turns at most once, so the limit is looked for up to
    that turn, and then from it to the end. Raises ValueError for a temperature or power that is no finite number.
    """
    _must_be_finite(limit_c=limit_c, camera_c=camera_c, housing_c=housing_c, outside_c=outside_c, camera_w=camera_w,
                    housing_w=housing_w)
    if camera_c >= limit_c:
        return 0.0
    path = _path_of(heat, in_water, fan_on)
    end_c, housing_end_c = steady(heat, outside_c, in_water, camera_w, housing_w, fan_on)
    camera, housing = camera_c - end_c, housing_c - housing_end_c
    slow_k = ((path.fast - path.a) * camera + path.a * housing) / path.spread
    fast_k = camera - slow_k
    lumps = Heat(heat)

    def reached(seconds: float) -> bool:
        lumps.camera_c, lumps.housing_c = camera_c, housing_c
        lumps.advance(seconds, outside_c, in_water, camera_w, housing_w, fan_on)
        return lumps.camera_c >= limit_c

    ratio = -path.fast * fast_k / (path.slow * slow_k) if slow_k else 0.0
    turn_s = log(ratio) / (path.fast - path.slow) if ratio > 1.0 else 0.0
    if turn_s and reached(turn_s):
        return _first(reached, 0.0, turn_s)
    if end_c <= limit_c:
        return inf
    late_s = max(turn_s, 1.0)
    while not reached(late_s):
        late_s *= 2.0
    return _first(reached, turn_s, late_s)


@dataclass(frozen=True)
class Stage:
    """A stretch of time with the same inputs. `outside_c` may be a function of the seconds into the stage.

    `fan`: None for off, or the camera temperatures at which it goes on and off, as the controller drives it.
    """

    seconds: float
    outside_c: float | Callable[[float], float]
    in_water: bool
    camera_w: float
    housing_w: float
    fan: tuple[float, float] | None


def warming(heat, stages: Iterable[Stage], start_c: float) -> tuple[list[float], list[float], list[float]]:
    """Seconds and temperatures of camera and housing through stages, sampled; both begin at `start_c`, degC."""
    lumps = Heat(heat, start_c)
    times_s, cameras_c, housings_c = [0.0], [start_c], [start_c]
    begun_s, fan_on = 0.0, False
    for stage in stages:
        into_s = 0.0
        for end_s in _sample_ends_s(stage.seconds):
            middle_s = 0.5 * (into_s + end_s)
            outside_c = stage.outside_c(middle_s) if callable(stage.outside_c) else stage.outside_c
            fan_on = _advance(lumps, stage, end_s - into_s, outside_c, fan_on)
            into_s = end_s
            times_s.append(begun_s + end_s)
            cameras_c.append(lumps.camera_c)
            housings_c.append(lumps.housing_c)
        begun_s += stage.seconds
    return times_s, cameras_c, housings_c


def _sample_ends_s(stage_s: float) -> Iterator[float]:
    """Seconds into a stage at which its samples end: close at first, when most happens; the last is its end."""
    into_s, coarsest_s = 0.0, max(SAMPLE_S, stage_s / STAGE_POINTS)
    while True:
        into_s += min(coarsest_s, max(SAMPLE_S, SAMPLE_GROWTH * into_s))
        if into_s >= stage_s - 0.5 * SAMPLE_S:  # no sliver at the end
            break
        yield into_s
    yield stage_s


def _advance(lumps: Heat, stage: Stage, seconds: float, outside_c: float, fan_on: bool) -> bool:
    """Move on through part of a stage, the fan switched as it goes; returns whether the fan is on at the end."""
    steps = max(1, round(seconds / SAMPLE_S)) if stage.fan else 1
    fan_on = fan_on and stage.fan is not None
    for _ in range(steps):
        if stage.fan:
            fan_on = lumps.camera_c >= stage.fan[0] or (fan_on and lumps.camera_c > stage.fan[1])
        lumps.advance(seconds / steps, outside_c, stage.in_water, stage.camera_w, stage.housing_w, fan_on)
    return fan_on


def _path_of(heat, in_water: bool, fan_on: bool) -> _Path:
    return _Path(heat.camera_heat_capacity_j_k, heat.housing_heat_capacity_j_k,
                 heat.camera_to_housing_fan_w_k if fan_on else heat.camera_to_housing_w_k,
                 heat.housing_to_water_w_k if in_water else heat.housing_to_air_w_k)


def _must_be_finite(**values: float) -> None:
    for name, value in values.items():
        if not isfinite(value):
            raise ValueError(f"{name} is {value:g}; allowed is a finite number: correct it")


def _first(reached: Callable[[float], bool], early_s: float, late_s: float) -> float:
    for _ in range(_BISECTIONS):
        middle_s = 0.5 * (early_s + late_s)
        if reached(middle_s):
            late_s = middle_s
        else:
            early_s = middle_s
    return late_s
