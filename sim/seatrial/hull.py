"""The lander as a body in the water: it sinks, rests, sticks in the mud, rises, floats and drifts.

Vertical motion obeys (m + m_a) dv/dt = W - 1/2 rho Cd A v|v|, with W the weight less the buoyancy and m_a the added
mass of the water that moves along. Over one step W, rho and Cd are held at their values in the middle of the step
and the equation is solved in closed form, so a step is stable whatever its length. A step never contains a turning
point: it ends there, so the depth within a step only grows or only falls and a crossing cannot be missed.
"""

from math import atan, copysign, cos, exp, inf, log, sqrt, tan

import numpy as np

from seatrial.handbook import leeway

MAX_STEP_S = 5.0  # the water changes little in what a lander travels in this time; see tests/published/test_fall.py
LITRE_M3 = 1.0e-3
MBAR_PER_MPA = 1.0e4
_NO_FORCE_N = 1.0e-9  # below this the closed form of a free glide is the better conditioned one
_STANDSTILL = 1.0e-12  # rounding of an angle: the turning point itself
_CROSSING_ROUNDS = 50  # halvings of a step: far below a nanosecond


class Hull:
    """A lander at a site, as state that the caller may read and set between calls.

    `depth_m` positive down, 0 afloat; `speed_m_s` positive down; `on_bottom`; `ballast_left` the fraction of the
    ballast mass still attached; `caught` held at its depth, by a line for example; `held_s` seconds that the mud has
    been pulled at; `east_m`, `north_m` drift since the splash; `in_water` False on deck, and then nothing moves.

    Volumes shrink with sea pressure by `compressibility_per_mpa`; the ballast keeps its volume. The hull drifts with
    the water at its depth while off the bottom, in the water and not caught, and afloat with the wind too.
    """

    __slots__ = (
        "_added_kg",
        "_afloat_east_m_s",
        "_afloat_north_m_s",
        "_ballast_kg",
        "_ballast_net_n",
        "_bare_kg",
        "_bare_net_n",
        "_bottom_m",
        "_drag_down_m2",
        "_drag_up_m2",
        "_inertia_kg",
        "_mud_hold_s",
        "_mud_suction_n",
        "_net_n",
        "_pull_n",
        "_rests_at_m",
        "_stopped",
        "_water",
        "_weighed_with",
        "ballast_left",
        "caught",
        "depth_m",
        "east_m",
        "held_s",
        "in_water",
        "north_m",
        "on_bottom",
        "speed_m_s",
    )

    def __init__(self, site, lander, water) -> None:
        self._water = water
        self._bottom_m = float(site.depth_m)
        self._mud_suction_n = float(site.mud_suction_n)
        self._mud_hold_s = float(site.mud_hold_s)
        self._drag_down_m2 = 0.5 * lander.drag_coefficient_down * lander.frontal_area_m2
        self._drag_up_m2 = 0.5 * lander.drag_coefficient_up * lander.frontal_area_m2
        self._bare_kg = lander.mass_kg + lander.floats.mass_kg
        self._ballast_kg = float(lander.ballast.mass_kg)
        self._added_kg = float(lander.added_mass_kg)

        density = np.array(water.density_kg_m3)
        sea_mpa = (np.array(water.pressure_mbar) - water.air_mbar) / MBAR_PER_MPA
        volume_m3 = _squeezed_m3(lander, sea_mpa) + _squeezed_m3(lander.floats, sea_mpa)
        ballast_m3 = lander.ballast.mass_kg / lander.ballast.density_kg_m3
        self._bare_net_n = water.gravity_m_s2 * (self._bare_kg - density * volume_m3)
        self._ballast_net_n = water.gravity_m_s2 * (self._ballast_kg - density * ballast_m3)

        wind = site.wind
        leeway_east, leeway_north = leeway.drift_m_s(wind.speed_m_s, wind.from_deg, wind.leeway_pct / 100)
        self._afloat_east_m_s = water.current_east_m_s[0] + leeway_east
        self._afloat_north_m_s = water.current_north_m_s[0] + leeway_north

        self.depth_m = 0.0
        self.speed_m_s = 0.0
        self.on_bottom = False
        self.ballast_left = 1.0
        self.caught = False
        self.held_s = 0.0
        self.east_m = 0.0
        self.north_m = 0.0
        self.in_water = False
        self._stopped = False
        self._pull_n = 0.0  # of the hull on the mud, upward, where it last rested
        self._rests_at_m = -1.0
        self._weigh()

    def net_force_n(self, depth_m: float) -> float:
        """Weight less buoyancy at rest and wholly under water, N, positive down, with the ballast now attached."""
        if self.ballast_left != self._weighed_with:
            self._weigh()
        return _read(self._net_n, min(max(depth_m, 0.0), self._water.last_m - 1.0))

    def terminal_speed_m_s(self, depth_m: float) -> float:
        """The steady speed at this depth, m/s, positive down: v = sqrt(2 W / (rho Cd A))."""
        force_n = self.net_force_n(depth_m)
        drag_m2 = self._drag_down_m2 if force_n > 0.0 else self._drag_up_m2
        return copysign(sqrt(abs(force_n) / (drag_m2 * self._water.density_at(depth_m))), force_n)

    def advance(self, dt_s: float, until: float | None = None) -> float:
        """Move on by at most `dt_s` seconds and return the seconds really advanced.

        Stops early, exactly at the event, when the lander touches the bottom (`on_bottom` turns true), leaves it
        (turns false), breaks the surface (`depth_m` is 0) or reaches the depth `until` in metres (`depth_m` equals
        it; a lander that starts there is not stopped by it). An event can take no time: 0 seconds is a valid answer,
        and the state has changed then. Without an event the answer is `dt_s` itself.
        """
        if not self.in_water or self.caught:
            self.speed_m_s = 0.0
            return dt_s
        if self.on_bottom:
            return self._rest(dt_s)
        if self.ballast_left != self._weighed_with:
            self._weigh()
        left_s = dt_s
        self._stopped = False
        while left_s > 0.0:
            if self.depth_m <= 0.0 and self.speed_m_s <= 0.0 and self._net_n[0] <= 0.0:
                self._float(left_s)
                return dt_s
            left_s -= self._step(left_s if left_s < MAX_STEP_S else MAX_STEP_S, until)
            if self._stopped:
                return dt_s - left_s
        return dt_s

    def _step(self, step_s: float, until: float | None) -> float:
        """One closed-form step of at most `step_s`, cut at a turning point or an event; returns its seconds."""
        depth_m = self.depth_m
        speed = self.speed_m_s
        middle_m = depth_m + 0.5 * step_s * speed
        if middle_m < 0.0:
            middle_m = 0.0
        elif middle_m > self._bottom_m:
            middle_m = self._bottom_m
        water = self._water
        index = int(middle_m)
        below = index + 1
        part = middle_m - index

        table = self._net_n
        force = table[index]
        force += part * (table[below] - force)
        table = water.density_kg_m3
        density = table[index]
        density += part * (table[below] - density)
        drag = density * (self._drag_down_m2 if speed > 0.0 or (speed == 0.0 and force > 0.0) else self._drag_up_m2)
        if speed * force < 0.0:
            stop_s = _seconds_to_standstill(speed, force, drag, self._inertia_kg)
            if stop_s <= step_s:
                step_s = stop_s
        moved_m, new_speed = _motion(speed, force, drag, self._inertia_kg, step_s)
        new_depth_m = depth_m + moved_m

        target_m = None
        if until is not None or not 0.0 < new_depth_m < self._bottom_m:
            target_m = self._event_depth(depth_m, new_depth_m, until)
        if target_m is not None:
            step_s = _seconds_to_travel(target_m - depth_m, speed, force, drag, self._inertia_kg, step_s)
            moved_m, new_speed = _motion(speed, force, drag, self._inertia_kg, step_s)
            new_depth_m = target_m
            self._stopped = True

        table = water.current_east_m_s
        flow = table[index]
        self.east_m += step_s * (flow + part * (table[below] - flow))
        table = water.current_north_m_s
        flow = table[index]
        self.north_m += step_s * (flow + part * (table[below] - flow))
        self.depth_m = new_depth_m
        self.speed_m_s = new_speed
        if self._stopped:
            self._settle_at_ends()
        return step_s

    def _event_depth(self, from_m: float, to_m: float, until: float | None) -> float | None:
        """The first depth on the way that has to be reported, or None."""
        if to_m >= from_m:
            end_m = self._bottom_m if to_m >= self._bottom_m else None
            if until is not None and from_m < until <= to_m and (end_m is None or until < end_m):
                return until
            return end_m
        end_m = 0.0 if to_m <= 0.0 else None
        if until is not None and to_m <= until < from_m and (end_m is None or until > end_m):
            return until
        return end_m

    def _settle_at_ends(self) -> None:
        if self.depth_m >= self._bottom_m:
            self.on_bottom = True
            self.held_s = 0.0
            self.speed_m_s = 0.0
        elif self.depth_m <= 0.0:
            self.speed_m_s = 0.0

    def _rest(self, dt_s: float) -> float:
        """Seconds spent on the bottom, up to `dt_s`: mud gives way to a surplus above its suction, after a while."""
        self.speed_m_s = 0.0
        if self.depth_m != self._rests_at_m or self.ballast_left != self._weighed_with:
            self._pull_n = -self.net_force_n(self.depth_m)
            self._rests_at_m = self.depth_m
        pull_n = self._pull_n
        if pull_n <= 0.0 or pull_n <= self._mud_suction_n:
            self.held_s = 0.0
            return dt_s
        wait_s = max(0.0, self._mud_hold_s - self.held_s)
        if dt_s < wait_s:
            self.held_s += dt_s
            return dt_s
        self.held_s = self._mud_hold_s
        self.on_bottom = False
        return wait_s

    def _float(self, dt_s: float) -> None:
        self.depth_m = 0.0
        self.speed_m_s = 0.0
        self.east_m += dt_s * self._afloat_east_m_s
        self.north_m += dt_s * self._afloat_north_m_s

    def _weigh(self) -> None:
        self._net_n = (self._bare_net_n + self.ballast_left * self._ballast_net_n).tolist()
        self._inertia_kg = self._bare_kg + self.ballast_left * self._ballast_kg + self._added_kg
        self._weighed_with = self.ballast_left
        self._rests_at_m = -1.0


def _squeezed_m3(part, sea_mpa: np.ndarray) -> np.ndarray:
    return LITRE_M3 * part.volume_l * np.maximum(0.0, 1.0 - part.compressibility_per_mpa * sea_mpa)


def _read(table: list[float], depth_m: float) -> float:
    index = int(depth_m)
    above = table[index]
    return above + (depth_m - index) * (table[index + 1] - above)


def _motion(speed: float, force: float, drag: float, inertia: float, seconds: float) -> tuple[float, float]:
    """Distance and new speed after `seconds` of inertia * dv/dt = force - drag * v|v|, constants constant.

    With the speed along the force: v = v_t tanh(t/tau + c), or coth where it starts faster than v_t; both are one
    expression in exp(-2 t/tau). Against the force: v = -v_t tan(c - t/tau), good to the standstill. Without force:
    v = v_0 / (1 + drag v_0 t / inertia). From White, Fluid Mechanics (from memory), and checked in the tests by a
    numerical integration.
    """
    if -_NO_FORCE_N < force < _NO_FORCE_N:
        fade = 1.0 + drag * abs(speed) * seconds / inertia
        return copysign(inertia / drag * log(fade), speed), speed / fade
    terminal = sqrt(abs(force) / drag)
    angle = seconds * drag * terminal / inertia
    if force < 0.0:
        terminal = -terminal  # everything below is written in the direction of the force
    ratio = speed / terminal
    length = inertia / drag if force > 0.0 else -inertia / drag
    if ratio >= 0.0:
        more = 1.0 + ratio
        less = (1.0 - ratio) * exp(-2.0 * angle)
        return length * (angle + log(0.5 * (more + less))), terminal * (more - less) / (more + less)
    start = atan(-ratio)
    rest = start - angle
    if rest <= _STANDSTILL:
        return length * log(cos(start)), 0.0
    return length * log(cos(start) / cos(rest)), -terminal * tan(rest)


def _seconds_to_standstill(speed: float, force: float, drag: float, inertia: float) -> float:
    """How long a body that moves against the force takes to stop: tau * atan(|v| / v_t)."""
    if -_NO_FORCE_N < force < _NO_FORCE_N:
        return inf
    terminal = sqrt(abs(force) / drag)
    return inertia / (drag * terminal) * atan(abs(speed) / terminal)


def _seconds_to_travel(
    distance: float, speed: float, force: float, drag: float, inertia: float, seconds: float
) -> float:
    """When, within `seconds` of motion in one direction, `distance` has been covered."""
    early, late = 0.0, seconds
    for _ in range(_CROSSING_ROUNDS):
        middle = 0.5 * (early + late)
        if abs(_motion(speed, force, drag, inertia, middle)[0]) < abs(distance):
            early = middle
        else:
            late = middle
    return late
