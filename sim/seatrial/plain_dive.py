"""The sample's dive written the usual way, for the benchmark: SciPy's `solve_ivp`, and a `transitions` machine.

This is what one would write without this tool, and written to be fast: the sea is integrated in long legs with dense
output and terminal events, the controller reads the dense solution at its own times, and a leg is cut where the
controller changes an output. `leg_s=None` is the simpler way that one writes first: one integration from each step of
the controller to the next. Body, water, heat and battery obey the same equations as in `hull`, `heat` and `battery`,
derived anew here as right-hand sides; the controller is eight states with plain conditions, a camera, lights, a fan and
a row of readings kept at every step, at the same pace as the real one. It has no second board, no faults, no journal
that survives a reset, no restart, and judges only what a dive without faults needs: the comparison leans its way.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from math import inf

import numpy as np
from scipy.integrate import solve_ivp
from transitions import Machine

from seatrial.battery import CELL_MV, resistance_factor, usable_ah
from seatrial.dice import Dice
from seatrial.mechanisms import dissolved_mg, wire_mg
from seatrial.plan import Plan
from seatrial.water import WaterColumn

METHOD = "LSODA"  # the quickest of SciPy's on this problem: stiff while it sinks, smooth on the bottom
LEG_S = 1200.0
TIGHT_RTOL = 1e-10  # of the reference that both are held against
GESTURE_S = 12.0  # the magnet has been held, and is away again
AWAKE_S = 0.2
DRAUGHT_M = 0.3
SURFACE_WAKE_S = 60.0
AT_SURFACE_S = 10.0
DEPTH, SPEED, EAST, NORTH, CAMERA_C, HOUSING_C, USED_AH = range(7)
_CELL_LEFT, _CELL_MV = (np.array(column) for column in zip(*CELL_MV, strict=True))


@dataclass
class PlainResult:
    """When what happened, seconds since the run began, as in `seatrial.evidence`; and the rows that were kept."""

    splash_s: float
    touchdown_s: float = inf
    command_s: float = inf
    freed_s: float = inf
    left_bottom_s: float = inf
    surfaced_s: float = inf
    end_s: float = inf
    steps: int = 0
    integrations: int = 0
    states: list[str] = field(default_factory=list)
    rows: list[tuple] = field(default_factory=list)


class Controller:
    """Eight states on a `transitions` machine, stepped with readings; `levels` are its outputs."""

    state: str  # these two are the machine's
    advance: Callable[[], bool]
    STATES = ("safe", "armed", "descend", "record", "release", "backup", "ascend", "surface")
    ROWS = (
        {"source": "safe", "dest": "armed", "conditions": "gesture_seen"},
        {"source": "armed", "dest": "descend", "conditions": "wet"},
        {"source": ["descend", "record"], "dest": "release", "conditions": "must_go"},
        {"source": "descend", "dest": "record", "conditions": "settled"},
        {"source": ["release", "backup"], "dest": "ascend", "conditions": "rising"},
        {"source": "release", "dest": "backup", "conditions": "tried"},
        {"source": "backup", "dest": "release", "conditions": "tried"},
        {"source": "ascend", "dest": "surface", "conditions": "at_surface"},
    )

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.levels: tuple[float, ...] = (0, 0, 0, 0, 0, 0)  # primary, backup, camera, recording, lights, fan
        self.camera_from_s = inf
        self.dive_s = self.entered_s = inf
        self.wet_since_s = self.still_since_s = self.shallow_since_s = self.low_since_s = inf
        self.still_m = self.deepest_m = self.depth_m = 0.0
        self.now_s = 0.0
        self.leak = self.fan = False
        self.machine = Machine(self, list(self.STATES), initial="safe", ignore_invalid_triggers=True,
                               auto_transitions=False,
                               transitions=[{"trigger": "advance", **row} for row in self.ROWS])

    def gesture_seen(self) -> bool:
        return self.now_s >= GESTURE_S

    def wet(self) -> bool:
        return self.now_s - self.wet_since_s >= self.plan.thresholds.sign_hold_s

    def must_go(self) -> bool:
        plan = self.plan
        return (self.now_s - self.dive_s >= 60.0 * plan.times.timed_release_min or self.leak
                or self.depth_m > plan.thresholds.too_deep_m
                or self.now_s - self.low_since_s >= plan.thresholds.low_hold_s)

    def settled(self) -> bool:
        thresholds = self.plan.thresholds
        return (self.now_s - self.still_since_s >= thresholds.settled_s and self.depth_m > 2.0 * thresholds.submerged_m
                or self.now_s - self.dive_s >= 60.0 * self.plan.times.settle_latest_min)

    def rising(self) -> bool:
        return self.deepest_m - self.depth_m >= self.plan.release.rise_m

    def tried(self) -> bool:
        release = self.plan.release
        fire_s = release.primary.fire_s if self.state == "release" else release.backup.fire_s
        return self.now_s - self.entered_s >= fire_s + release.pause_s

    def at_surface(self) -> bool:
        return self.now_s - self.shallow_since_s >= AT_SURFACE_S

    def step(self, now_s: float, depth_m: float, contact: bool, leak: bool, supply_mv: float, camera_c: float) -> bool:
        """One step on these readings; whether state or outputs have changed."""
        thresholds = self.plan.thresholds
        self.now_s, self.depth_m, self.leak = now_s, depth_m, leak
        self.wet_since_s = _since(contact and depth_m > thresholds.submerged_m, self.wet_since_s, now_s)
        self.shallow_since_s = _since(depth_m < thresholds.surface_m, self.shallow_since_s, now_s)
        self.low_since_s = _since(supply_mv < thresholds.reserve_mv, self.low_since_s, now_s)
        if self.still_since_s == inf or abs(depth_m - self.still_m) > 0.5 * thresholds.settled_band_m:
            self.still_since_s, self.still_m = now_s, depth_m
        state, levels = self.state, self.levels
        if self.advance():
            self.entered_s = now_s
            if self.state == "descend":
                self.dive_s = now_s
            if self.state == "release":
                self.deepest_m = depth_m
        self.deepest_m = max(self.deepest_m, depth_m) if self.state in ("release", "backup") else depth_m
        self.levels = self._outputs(now_s, camera_c)
        return self.state != state or self.levels != levels

    def _outputs(self, now_s: float, camera_c: float) -> tuple[float, ...]:
        plan, state = self.plan, self.state
        wanted = state == "record" or (state == "descend" and plan.camera.film_descent)
        if not wanted:
            self.camera_from_s = inf
        elif self.camera_from_s == inf:
            self.camera_from_s = now_s
        camera = plan.camera
        started_s = camera.power_press_s + camera.start_s + camera.record_press_s
        recording = now_s - self.camera_from_s >= started_s
        self.fan = wanted and (camera_c >= plan.fan.on_c or (self.fan and camera_c > plan.fan.off_c))
        firing = now_s > self.entered_s  # one step after the loads were shed
        primary = state == "release" and firing and now_s - self.entered_s <= plan.release.primary.fire_s
        backup = state == "backup" and firing and now_s - self.entered_s <= plan.release.backup.fire_s
        lit = plan.lights.level_pct if state == "record" and recording else 0
        return 100 * primary, 100 * backup, int(wanted), int(recording), lit, int(self.fan)

    def wake_s(self) -> float:
        """Seconds to the next step."""
        journal = self.plan.journal
        if self.state == "record":
            return journal.reading_bottom_s
        return SURFACE_WAKE_S if self.state == "surface" else journal.reading_descent_s


def _since(stands: bool, since_s: float, now_s: float) -> float:
    if not stands:
        return inf
    return min(since_s, now_s)


class PlainDive:
    """One dive of the plan without faults, from the deck to the surface. `rtol` is handed to the solver; absolute
    tolerances are a tenth of it in metres, metres a second, kelvin and ampere-hours."""

    def __init__(self, plan: Plan, seed: int = 1, water: WaterColumn | None = None, rtol: float = 1e-6,
                 leg_s: float | None = LEG_S) -> None:
        self.plan = plan
        self.water = water or WaterColumn(plan.site)
        self.dice = Dice(seed)
        self.controller = Controller(plan)
        self.rtol, self.leg_s = rtol, leg_s
        self.result = PlainResult(splash_s=60.0 * plan.dive.on_deck_min)
        air_c = plan.site.air_temperature_c
        self.state = np.array([0.0, 0.0, 0.0, 0.0, air_c, air_c, 0.0])
        self.where = "deck"  # deck, moving, bottom, afloat
        self.now_s = self.next_step_s = 0.0
        self.loosens_s = inf  # when the mud gives way
        wire, latch = plan.release.primary, plan.release.backup
        self.to_open_s = {0: _seconds_of_drive(wire), 1: _seconds_of_drive(latch)}
        self.ballast = True
        lander = plan.lander
        self.volumes = ((lander.volume_l * 1e-3, lander.compressibility_per_mpa),
                        (lander.floats.volume_l * 1e-3, lander.floats.compressibility_per_mpa))
        self.air_mbar = float(plan.site.air_pressure_hpa)
        self._set_masses()

    def _set_masses(self) -> None:
        lander = self.plan.lander
        ballast = lander.ballast
        self.mass_kg = lander.mass_kg + lander.floats.mass_kg + (ballast.mass_kg if self.ballast else 0.0)
        self.ballast_m3 = ballast.mass_kg / ballast.density_kg_m3 if self.ballast else 0.0
        self.inertia_kg = self.mass_kg + lander.added_mass_kg

    # --- right-hand sides -----------------------------------------------------------------------------------------

    def net_n(self, depth_m: float) -> float:
        """Weight less buoyancy, N, positive down."""
        water = self.water
        sea_mpa = (water.pressure_mbar_at(depth_m) - water.air_mbar) / 1e4
        volume_m3 = self.ballast_m3
        for full_m3, squeeze in self.volumes:
            volume_m3 += full_m3 * (1.0 - squeeze * sea_mpa)
        return water.gravity_m_s2 * (self.mass_kg - water.density_at(depth_m) * volume_m3)

    def _moving(self, _now_s: float, state) -> tuple[float, ...]:
        depth_m, speed, _east, _north, camera_c, housing_c, _used = state.tolist()
        lander, water = self.plan.lander, self.water
        coefficient = lander.drag_coefficient_down if speed > 0.0 else lander.drag_coefficient_up
        drag_n = 0.5 * water.density_at(depth_m) * coefficient * lander.frontal_area_m2 * speed * abs(speed)
        east, north = water.current_at(depth_m)
        warming = self._warming(camera_c, housing_c, water.temperature_at(depth_m))
        return (speed, (self.net_n(depth_m) - drag_n) / self.inertia_kg, east, north, *warming, self._draw_ah_s)

    def _resting(self, _now_s: float, state) -> tuple[float, ...]:
        camera_c, housing_c, _used = state.tolist()
        return (*self._warming(camera_c, housing_c, self._outside_c), self._draw_ah_s)

    def _warming(self, camera_c: float, housing_c: float, outside_c: float) -> tuple[float, float]:
        inner_w = self._inner_w_k * (camera_c - housing_c)
        heat = self.plan.heat
        outer_w = self._outer_w_k * (housing_c - outside_c)
        return ((self._camera_w - inner_w) / heat.camera_heat_capacity_j_k,
                (self._housing_w + inner_w - outer_w) / heat.housing_heat_capacity_j_k)

    def _take_levels(self) -> None:
        """What stays the same until the outputs change or it goes from water to air."""
        plan, heat = self.plan, self.plan.heat
        primary, backup, camera, recording, lights_pct, fan = self.controller.levels
        self._inner_w_k = heat.camera_to_housing_fan_w_k if fan else heat.camera_to_housing_w_k
        self._outer_w_k = heat.housing_to_air_w_k if self.where == "deck" else heat.housing_to_water_w_k
        self._camera_w = (heat.camera_recording_w if recording else heat.camera_idle_w) if camera else 0.0
        lamp_ma = plan.lights.current_ma * lights_pct / 100.0
        self._housing_w = lamp_ma / 1000.0 * plan.power.cells_in_series * 3.7 * heat.lights_in_housing_fraction
        if self.where == "deck":
            self._housing_w += plan.site.sun_w_m2 * heat.sunlit_area_m2 * heat.sun_absorbed_fraction
        self._outside_c = plan.site.air_temperature_c if self.where == "deck" else self.water.temperature_at(
            float(self.state[DEPTH]))
        self.load_ma = plan.power.controller_ma + lamp_ma + plan.fan.current_ma * fan
        if camera:
            self.load_ma += plan.camera.recording_ma if recording else plan.camera.idle_ma
        for level, channel in ((primary, plan.release.primary), (backup, plan.release.backup)):
            self.load_ma += channel.current_ma * level / 100.0 if self.ballast else 0.0
        if self.where == "afloat":
            self.load_ma += plan.beacon.lamp_ma + plan.beacon.report_ma
        asleep = 0.0 if self.where == "afloat" else max(0.0, 1.0 - AWAKE_S / self.controller.wake_s())
        mean_ma = self.load_ma - (plan.power.controller_ma - plan.power.controller_asleep_ma) * asleep
        self._draw_ah_s = mean_ma / 3.6e6

    # --- the run --------------------------------------------------------------------------------------------------

    def run(self) -> PlainResult:
        """Fly it. Never ends early: without faults the lander always comes up."""
        result = self.result
        self._take_levels()
        while self.now_s < result.end_s:
            self._leg()
        result.end_s = self.now_s
        return result

    def _leg(self) -> None:
        """Integrate up to what is known to come, let the controller read its way along it, and stop where it acts."""
        opens_s = self._opens_s()
        known_s = (self.result.splash_s if self.where == "deck" else inf, self.loosens_s, opens_s, self.result.end_s)
        goal_s = min(*known_s, self.now_s + self.leg_s if self.leg_s else max(self.next_step_s, self.now_s + 0.1))
        solution = self._integrate(goal_s)
        end_s = float(solution.t[-1])
        cut_s = self._control(solution, end_s)
        start_s, self.now_s = self.now_s, end_s if cut_s is None else cut_s
        self._take_state(solution, start_s, cut_s)
        self._drive(self.now_s - start_s)
        if cut_s is None:
            self._what_came(opens_s)
        self._take_levels()

    def _integrate(self, goal_s: float):
        self.result.integrations += 1
        moving = self.where == "moving"
        state = self.state if moving else self.state[CAMERA_C:]
        return solve_ivp(self._moving if moving else self._resting, (self.now_s, goal_s), state, METHOD,
                         dense_output=True, events=self._events() if moving else None, rtol=self.rtol,
                         atol=0.1 * self.rtol)

    def _events(self) -> list:
        bottom_m = float(self.plan.site.depth_m)

        def touches(_now_s: float, state) -> float:
            return state[DEPTH] - bottom_m

        def surfaces(_now_s: float, state) -> float:
            return state[DEPTH]

        touches.terminal, touches.direction = True, 1.0  # type: ignore[attr-defined]
        surfaces.terminal, surfaces.direction = True, -1.0  # type: ignore[attr-defined]
        return [touches, surfaces]

    def _take_state(self, solution, start_s: float, cut_s: float | None) -> None:
        state = solution.y[:, -1] if cut_s is None else solution.sol(cut_s)
        if self.where == "moving":
            self.state = state
            return
        self.state[CAMERA_C:] = state
        if self.where == "afloat":
            wind = self.plan.site.wind
            leeway = wind.speed_m_s * wind.leeway_pct / 100.0
            toward = np.radians(wind.from_deg + 180.0)
            east, north = self.water.current_at(0.0)
            self.state[EAST] += (east + leeway * np.sin(toward)) * (self.now_s - start_s)
            self.state[NORTH] += (north + leeway * np.cos(toward)) * (self.now_s - start_s)

    def _control(self, solution, end_s: float) -> float | None:
        """The steps of the controller within this leg; the time of the one that changed something, or None."""
        every_s = self.controller.wake_s()
        times_s = np.arange(self.next_step_s, end_s + 1e-9, every_s)
        if not len(times_s):
            return None
        for now_s, state in zip(times_s.tolist(), solution.sol(times_s).T.tolist(), strict=True):
            if self._step(now_s, state):
                self.next_step_s = now_s + self.controller.wake_s()
                return now_s
        self.next_step_s = float(times_s[-1]) + every_s
        return None

    def _step(self, now_s: float, state: list[float]) -> bool:
        plan, dice, sensors = self.plan, self.dice, self.plan.sensors
        depth_m = state[DEPTH] if self.where == "moving" else float(self.state[DEPTH])
        camera_c, housing_c, used_ah = state[-3:]
        wet = self.where != "deck"
        true_mbar = self.water.pressure_mbar_at(depth_m + DRAUGHT_M) if wet else self.air_mbar
        step_mbar = sensors.pressure.resolution_mbar
        mbar = (true_mbar + dice.spread(int(sensors.pressure.noise_mbar))) // step_mbar * step_mbar
        read_m = (mbar - self.air_mbar) * self.water.cm_per_bar * 1e-5
        power = plan.power
        left = power.charge_at_start_fraction - used_ah / usable_ah(power, housing_c)
        supply_mv = (power.cells_in_series * float(np.interp(left, _CELL_LEFT, _CELL_MV))
                     - self.load_ma * power.resistance_mohm * resistance_factor(power, housing_c) / 1000.0
                     + dice.spread(int(sensors.supply.noise_mv)))
        noise_c = 0.01 * sensors.temperature.noise_centi_c
        read_c = camera_c + noise_c * dice.spread(100) / 100.0
        controller, result = self.controller, self.result
        changed = controller.step(now_s, read_m, wet, False, supply_mv, read_c)
        result.steps += 1
        result.rows.append((now_s, controller.state, mbar, supply_mv, read_c, controller.levels))
        if changed and (not result.states or result.states[-1] != controller.state):
            result.states.append(controller.state)
            if controller.state == "release":
                result.command_s = min(result.command_s, now_s)
        return changed

    def _opens_s(self) -> float:
        """When a channel that is driven now lets the ballast go."""
        if not self.ballast:
            return inf
        return min((self.now_s + 100.0 * self.to_open_s[place] / self.controller.levels[place] for place in (0, 1)
                    if self.controller.levels[place]), default=inf)

    def _drive(self, passed_s: float) -> None:
        for place in (0, 1):
            self.to_open_s[place] -= passed_s * self.controller.levels[place] / 100.0

    def _what_came(self, opens_s: float) -> None:
        """The event at the end of a leg."""
        result, now_s, site = self.result, self.now_s, self.plan.site
        if self.where == "deck" and now_s >= result.splash_s:
            self.where = "moving"
        elif self.where == "moving" and self.state[DEPTH] >= site.depth_m - 1e-6 and self.state[SPEED] > 0.0:
            self.where, result.touchdown_s = "bottom", now_s
            self.state[DEPTH], self.state[SPEED] = site.depth_m, 0.0
        elif self.where == "moving" and self.state[DEPTH] <= 1e-6 and self.state[SPEED] < 0.0:
            self.where, result.surfaced_s = "afloat", now_s
            self.state[DEPTH] = self.state[SPEED] = 0.0
            result.end_s = now_s + 60.0 * self.plan.dive.watch_after_surfacing_min
        elif now_s >= self.loosens_s:
            self.where, result.left_bottom_s, self.loosens_s = "moving", now_s, inf
        if self.ballast and now_s >= opens_s:
            self.ballast, result.freed_s = False, now_s
            self._set_masses()
            if self.where == "bottom" and -self.net_n(site.depth_m) > site.mud_suction_n:
                self.loosens_s = now_s + site.mud_hold_s


def _seconds_of_drive(channel) -> float:
    """Seconds of full current that open a release channel."""
    if channel.kind == "latch":
        return float(channel.turn_s)
    mass_mg = wire_mg(channel.wire_diameter_mm, channel.wire_length_mm, channel.wire_density_kg_m3)
    mg_s = channel.efficiency_fraction * dissolved_mg(channel.current_ma / 1000.0, channel.equivalent_weight)
    return mass_mg / mg_s
