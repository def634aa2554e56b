"""How warm the camera gets: two lumps, the camera inside its housing and the housing in the water or the air.

    C_c dT_c/dt = P_c - G (T_c - T_h)
    C_h dT_h/dt = P_h + G (T_c - T_h) - H (T_h - T_out)

With constant inputs this linear pair has an exact solution by its two eigenvalues, so a step may be as long as the
inputs stay the same. The lumped model itself: Incropera, Fundamentals of Heat and Mass Transfer, chapter 5.
"""

from math import exp, sqrt


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
