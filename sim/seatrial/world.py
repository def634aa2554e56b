"""The lander at sea with all its parts, as the controller never sees it: the truth of a simulated dive.

`World` owns the physics and the electronics. The controller reaches it by two doors only, the same two that a board
has: `fill(inputs)` and `apply(outputs)`. Time passes in `advance`, which stops early when something happens that may
matter to somebody, and says what.
"""

from datetime import UTC, datetime

from lander import lamps
from lander.orders import CURRENT, LAMP, OWN_PACK
from lander.release import DRIVES_PCT
from seatrial import camera as cameras
from seatrial.bare import bare
from seatrial.battery import Battery
from seatrial.camera import SimulatedCamera
from seatrial.handbook.convection import sun_w
from seatrial.heat import Heat
from seatrial.hull import Hull
from seatrial.mechanisms import PassiveLink, make
from seatrial.sensors import PressureSensor, RealTimeClock, SupplySensor, TemperatureSensor
from seatrial.water import WaterColumn

CLOCK_EPOCH = datetime(2020, 1, 1, tzinfo=UTC)
AWAKE_S = 0.2  # a step keeps the controller awake this long
DRAUGHT_M = 0.3  # the pressure sensor hangs this deep when the lander floats
SWELL_FELT = 0.1  # part of the swell that a floating lander does not follow
LAMP_LIT_PERMILLE = 800
LAMP_DARK_PERMILLE = 60
CAMERA_OFF_MA = 2
USUAL_CELL_V = 3.7  # at which the lamps draw their current, for their heat
OUTPUT_LEVELS = ("release_primary_pct", "release_backup_pct", "camera_supply", "power_button", "record_button",
                 "lights_pct", "fan", "beacon_code", "report")
ALL_OFF = (0,) * len(OUTPUT_LEVELS)
SELF_TEST_S = 1.5  # the board has its answers so long after it was asked
SOUND, OPEN, SHORTED = 1, 2, 3  # what it says of a release circuit
WRITTEN, NOT_WRITTEN = 1, 2  # and of the store

# What may happen while time passes.
TOUCHED, LEFT_BOTTOM, SURFACED, FREED, CROSSED = "touched the bottom", "left the bottom", "surfaced", "freed", "crossed"


def duty(pattern: tuple[int, ...]) -> float:
    """Share of the time that a lamp pattern is lit."""
    return sum(pattern[::2]) / sum(pattern) if pattern else 0.0


def lamps_in_housing_w(plan, level_pct: float) -> float:
    """Heat that the lamps leave in the camera's housing at a level, W."""
    volts = plan.power.cells_in_series * USUAL_CELL_V
    return plan.lights.current_ma * level_pct / 1e5 * volts * plan.heat.lights_in_housing_fraction


class World:
    """Water, hull, ballast, battery, heat, camera, release mechanisms and sensors of one dive."""

    __slots__ = (
        "_air_c", "_asked_s", "_asleep_saves_ma", "_beacon", "_beacon_share", "_camera_feedback", "_fan_ma", "_felt_mv",
        "_lamps_w", "_lights_ma", "_main_feeds_camera", "_orders", "_outside_c", "_outside_m", "_power", "_pressed_m",
        "_pressed_mbar", "_sun_w", "_swell_period_s", "_warmth", "antenna_awash", "backup", "ballast_sticks", "battery",
        "camera", "camera_temperature", "clock", "contact_bridged", "contact_dead", "controller_on", "fan_dead",
        "freed_by", "heat", "housing_temperature", "hull", "lamp_shorted", "leak_dead", "leak_wet", "levels", "link",
        "load_ma", "magnet", "no_fix", "now_s", "plan", "pressure", "primary", "radio_dead", "second_pct",
        "store_refuses", "strobe_dead", "supply", "swell_m", "water", "water_temperature",
    )

    def __init__(self, plan, dice, water: WaterColumn | None = None) -> None:
        self.plan = plan
        self.now_s = 0.0
        self.water = water or WaterColumn(plan.site)
        self.hull = Hull(plan.site, plan.lander, self.water)
        self.battery = Battery(plan.power)
        self.heat = Heat(plan.heat, plan.site.air_temperature_c)
        self._sun_w = sun_w(plan.site.sun_w_m2, plan.heat.sunlit_area_m2, plan.heat.sun_absorbed_fraction)
        self.camera = SimulatedCamera(plan.camera)
        self.primary = make(plan.release.primary)
        self.backup = make(plan.release.backup)
        passive = plan.release.passive
        bounds_h = (passive.earliest_h, passive.latest_h) if passive.fitted else (0.0, 0.0)
        opens_h = dice.fork("passive link").between(*bounds_h)
        self.link = PassiveLink(passive, opens_h * 3600.0)
        self._make_sensors(dice)
        self.levels = ALL_OFF
        self.load_ma = 0.0
        self._felt_mv = 0.0
        self._asked_s: float | None = None  # since when the self-test is asked for
        self.store_refuses = False
        self.controller_on = False
        self.magnet = 0
        self.contact_dead = False
        self.contact_bridged = False
        self.leak_wet = False
        self.leak_dead = False
        self.lamp_shorted = False
        self.fan_dead = False
        self.strobe_dead = False
        self.no_fix = False
        self.radio_dead = False
        self.antenna_awash = 0.0  # part of the time that it is under, afloat
        self.second_pct = 0  # what a second board drives the backup mechanism with, from a battery of its own
        self.ballast_sticks = 0.0  # part of the ballast that stays when everything has let go
        self.swell_m = plan.site.swell_height_m
        self.freed_by = ""
        self._orders = plan.orders()
        self._power, self._beacon, self._warmth = bare(plan.power), bare(plan.beacon), bare(plan.heat)
        self._lights_ma, self._fan_ma = plan.lights.current_ma, plan.fan.current_ma
        self._swell_period_s = plan.site.swell_period_s
        self._lamps_w: dict[int, float] = {}  # heat of the lamps in the housing, by the level
        self._camera_feedback = self._orders.camera_feedback
        self._main_feeds_camera = self._orders.camera_supply != OWN_PACK
        self._asleep_saves_ma = plan.power.controller_ma - plan.power.controller_asleep_ma
        self._air_c = plan.site.air_temperature_c
        self._outside_m = self._pressed_m = -1.0  # the depths that the next two were worked out for
        self._outside_c = self._pressed_mbar = 0.0
        self._beacon_share = [duty(pattern) / duty(lamps.BEACON[lamps.FLASH]) for pattern in lamps.BEACON]

    def _make_sensors(self, dice) -> None:
        plan = self.plan
        sensors = plan.sensors
        air_mbar = plan.site.air_pressure_hpa
        full_mbar = int(self.water.pressure_mbar_at(sensors.pressure.range_m))
        self.pressure = PressureSensor(sensors.pressure, full_mbar, dice.fork("pressure"), air_mbar)
        self.supply = SupplySensor(sensors.supply, dice.fork("supply"))
        air_c = plan.site.air_temperature_c
        self.camera_temperature = TemperatureSensor(sensors.temperature, dice.fork("camera temperature"), air_c)
        self.housing_temperature = TemperatureSensor(sensors.temperature, dice.fork("housing temperature"), air_c)
        self.water_temperature = TemperatureSensor(sensors.temperature, dice.fork("water temperature"), air_c)
        start_s = int((plan.dive.splash_utc - CLOCK_EPOCH).total_seconds() - plan.dive.on_deck_min * 60)
        self.clock = RealTimeClock(sensors.clock, start_s)

    # --- the two doors ------------------------------------------------------------------------------------------

    def fill(self, inputs) -> None:
        """The readings of this instant. Time since start, reset cause and the journal's state are the board's own."""
        now_s = self.now_s
        clock = self.clock
        inputs.clock_s = clock.read(now_s)
        inputs.clock_ok = 1 if clock.ok else 0
        pressure = self.pressure
        if pressure.absent:
            inputs.pressure_ok = 0
        else:
            inputs.pressure_ok = 1
            outside_c = self.outside_c() if pressure.warmths else 0.0
            inputs.pressure_mbar = pressure.read(self.pressure_mbar(), now_s, outside_c)
        inputs.contact_ok = inputs.leak_ok = 1
        inputs.contact_wet = self.contact_wet()
        inputs.leak_wet = 1 if self.leak_wet and not self.leak_dead else 0
        self._fill_supply(inputs)
        self._fill_temperatures(inputs, now_s)
        self._fill_camera(inputs)
        inputs.magnet = self.magnet
        self._fill_self_test(inputs)

    def _fill_supply(self, inputs) -> None:
        supply = self.supply
        self._felt_mv = self.battery.supply_mv(self.load_ma, self.heat.housing_c)
        if supply.absent:
            inputs.supply_ok = inputs.current_ok = inputs.release_ok = 0
            return
        inputs.supply_ok = 1
        inputs.current_ok = 0 if supply.current_absent else 1
        inputs.release_ok = 0 if supply.release_absent else 1
        inputs.supply_mv = supply.voltage_mv(self._felt_mv)
        if not supply.current_absent:
            inputs.supply_ma = supply.current_ma(self.load_ma)
        if supply.release_absent:
            return
        levels = self.levels
        if levels[0] or levels[1]:
            inputs.release_ma = int(self.primary.drawn_ma(levels[0]) + self.backup.drawn_ma(levels[1]))
        else:
            inputs.release_ma = 0

    def _fill_temperatures(self, inputs, now_s: float) -> None:
        heat = self.heat
        thermometer = self.camera_temperature
        inputs.camera_temp_ok = 0 if thermometer.absent else 1
        if not thermometer.absent:
            inputs.camera_centi_c = thermometer.read(heat.camera_c, now_s)
        thermometer = self.housing_temperature
        inputs.housing_temp_ok = 0 if thermometer.absent else 1
        if not thermometer.absent:
            inputs.housing_centi_c = thermometer.read(heat.housing_c, now_s)
        thermometer = self.water_temperature
        inputs.water_temp_ok = 0 if thermometer.absent else 1
        if not thermometer.absent:
            inputs.water_centi_c = thermometer.read(self.outside_c(), now_s)

    def _fill_camera(self, inputs) -> None:
        feedback = self._camera_feedback
        inputs.camera_feedback_ok = 1 if feedback else 0
        if feedback == CURRENT:
            inputs.camera_ma = int(self.camera.current_ma()) or CAMERA_OFF_MA
        elif feedback == LAMP:
            lit = self.camera.state == cameras.RECORDING
            inputs.camera_lamp_permille = LAMP_LIT_PERMILLE if lit else LAMP_DARK_PERMILLE

    def _fill_self_test(self, inputs) -> None:
        """Answers only while they are asked for, and only once the board has had time to find them."""
        asked_s = self._asked_s
        if asked_s is None or self.now_s - asked_s < SELF_TEST_S:
            inputs.primary_circuit = inputs.backup_circuit = inputs.store_test = 0
            return
        inputs.primary_circuit = circuit_found(self.primary)
        inputs.backup_circuit = circuit_found(self.backup)
        inputs.store_test = NOT_WRITTEN if self.store_refuses else WRITTEN

    def apply(self, outputs) -> bool:
        """Put the outputs on the pins; False when the supply cannot carry them and the controller browns out."""
        if outputs.self_test != (self._asked_s is not None):
            self._asked_s = self.now_s if outputs.self_test else None
        levels = (outputs.release_primary_pct, outputs.release_backup_pct, outputs.camera_supply,
                  outputs.power_button, outputs.record_button, outputs.lights_pct, outputs.fan, outputs.beacon_code,
                  outputs.report)
        if levels == self.levels:
            return self._felt_mv >= self._power.brownout_mv  # nothing has changed since the readings were taken
        self.set_levels(levels)
        return self.supply_holds()

    def set_levels(self, levels) -> None:
        self.levels = levels
        if levels is ALL_OFF:
            self._asked_s = None  # a reset takes away whatever was asked
        self.camera.apply(self.now_s, levels[2], levels[3], levels[4])
        self.weigh_load()

    # --- electricity --------------------------------------------------------------------------------------------

    def weigh_load(self) -> None:
        """Work out the load anew, after the outputs or a part have changed."""
        levels = self.levels
        load_ma = self._power.controller_ma if self.controller_on else 0.0
        if self._main_feeds_camera:
            load_ma += self.camera.current_ma()
        if levels[5]:
            load_ma += self._lights_ma * levels[5] / 100.0 * (5.0 if self.lamp_shorted else 1.0)
        if levels[6] and not self.fan_dead:
            load_ma += self._fan_ma
        if levels[7] and not self.strobe_dead:
            load_ma += self._beacon.lamp_ma * self._beacon_share[levels[7]]
        if levels[8]:
            load_ma += self._beacon.report_ma
        self.load_ma = load_ma + self.primary.drawn_ma(levels[0]) + self.backup.drawn_ma(levels[1])

    def supply_mv(self) -> float:
        return self.battery.supply_mv(self.load_ma, self.heat.housing_c)

    def supply_holds(self) -> bool:
        return self.supply_mv() >= self._power.brownout_mv

    def supply_is_back(self) -> bool:
        """Whether the controller could start: nothing but itself is drawing then."""
        own_ma = self._power.controller_ma
        return self.battery.supply_mv(own_ma, self.heat.housing_c) >= self._power.recover_mv

    # --- what is true -------------------------------------------------------------------------------------------

    def outside_c(self) -> float:
        hull = self.hull
        if not hull.in_water:
            return self._air_c
        depth_m = hull.depth_m
        if depth_m != self._outside_m:  # on the bottom it stays what it was
            self._outside_m = depth_m
            self._outside_c = self.water.temperature_at(depth_m)
        return self._outside_c

    def pressure_mbar(self) -> float:
        hull = self.hull
        return self.pressure_at(hull.in_water, hull.depth_m, self.swell_m, self.now_s)

    def pressure_at(self, in_water: bool, depth_m: float, swell_m: float, now_s: float) -> float:
        """The pressure where the sensors hang, with the lander there at that time; afloat the swell goes over it."""
        if not in_water:
            return self.water.air_mbar
        if depth_m > 0.0:
            if depth_m != self._pressed_m:
                self._pressed_m = depth_m
                self._pressed_mbar = self.water.pressure_mbar_at(depth_m + DRAUGHT_M)
            return self._pressed_mbar
        period_s = self._swell_period_s
        phase = now_s % period_s / period_s
        triangle = 4.0 * phase - 1.0 if phase < 0.5 else 3.0 - 4.0 * phase
        return self.water.pressure_mbar_at(DRAUGHT_M + SWELL_FELT * swell_m * triangle)

    def contact_wet(self) -> int:
        if self.contact_dead:
            return 0
        return 1 if self.hull.in_water or self.contact_bridged else 0

    def afloat(self) -> bool:
        return self.hull.in_water and self.hull.depth_m <= 0.0

    def leak_felt(self) -> bool:
        return self.leak_wet and not self.leak_dead

    def position_goes_out(self) -> bool:
        """Whether position reports can be heard: sent, with a fix, by a live radio, from above the water."""
        sent = self.levels[8] and self.controller_on and self.afloat()
        return bool(sent) and not (self.no_fix or self.radio_dead or self.antenna_awash >= 1.0)

    # --- time ---------------------------------------------------------------------------------------------------

    def advance(self, dt_s: float, until_m: float | None = None) -> tuple[float, str]:
        """Let up to `dt_s` seconds pass; returns the seconds that passed and what stopped them, or ""."""
        hull = self.hull
        levels = self.levels
        backup_pct = self.second_pct  # two drivers, a diode each: the stronger one counts
        if levels[1] > backup_pct:
            backup_pct = levels[1]
        driven = bool(levels[0] or backup_pct)
        if driven:
            dt_s = self._until_open(dt_s, backup_pct)
        link = self.link
        linked = hull.in_water and not link.open
        if linked:
            opens_s = link.seconds_to_open()
            if opens_s < dt_s:
                dt_s = opens_s
        was_afloat = hull.depth_m <= 0.0
        was_on_bottom = hull.on_bottom
        passed_s = hull.advance(dt_s, until_m)
        self.now_s += passed_s
        self._spend(passed_s)
        if driven:
            self.primary.advance(self.primary.drawn_ma(levels[0]), passed_s)
            self.backup.advance(self.backup.drawn_ma(backup_pct), passed_s)
        if linked:
            link.advance(passed_s)
        if not self.freed_by and (driven or linked):
            self._see_what_opened()
            if self.freed_by:
                return passed_s, FREED
        return passed_s, self._what_happened(was_afloat, was_on_bottom, until_m)

    def _until_open(self, dt_s: float, backup_pct: int) -> float:
        for mechanism, pct in ((self.primary, self.levels[0]), (self.backup, backup_pct)):
            if pct and not mechanism.open:
                dt_s = min(dt_s, mechanism.seconds_to_open(mechanism.drawn_ma(pct)))
        return dt_s

    def _spend(self, passed_s: float) -> None:
        """Charge drawn, heat made, film recorded."""
        if passed_s <= 0.0:
            return
        heat = self.heat
        levels = self.levels
        load_ma = self.load_ma
        if self.controller_on and passed_s > AWAKE_S:
            load_ma -= self._asleep_saves_ma * (1.0 - AWAKE_S / passed_s)
        self.battery.draw(load_ma, passed_s, heat.housing_c)
        camera = self.camera
        before = camera.state
        in_water = self.hull.in_water
        housing_w = self._lamps_heat_w(levels[5]) if levels[5] else 0.0
        if not in_water:
            housing_w += self._sun_w
        heat.advance(passed_s, self.outside_c(), in_water, camera.heat_w(self._warmth), housing_w,
                     bool(levels[6]) and not self.fan_dead)
        if before != cameras.OFF:
            camera.advance(self.now_s, passed_s, heat.camera_c)
            if camera.state != before:
                self.weigh_load()

    def _lamps_heat_w(self, level_pct: int) -> float:
        if level_pct not in self._lamps_w:
            self._lamps_w[level_pct] = lamps_in_housing_w(self.plan, level_pct)
        return self._lamps_w[level_pct]

    def _see_what_opened(self) -> None:
        if self.primary.open:
            self.let_go("primary")
        elif self.backup.open:
            self.let_go("backup")
        elif self.link.open:
            self.let_go("passive")

    def let_go(self, by: str) -> None:
        """The ballast is free, but for what sticks."""
        self.freed_by = by
        self.let_fall()
        self.weigh_load()

    def let_fall(self) -> None:
        """What does not stick falls."""
        self.hull.ballast_left = min(self.hull.ballast_left, self.ballast_sticks)

    def _what_happened(self, was_afloat: bool, was_on_bottom: bool, until_m: float | None) -> str:
        hull = self.hull
        if hull.on_bottom != was_on_bottom:
            return TOUCHED if hull.on_bottom else LEFT_BOTTOM
        if not was_afloat and hull.depth_m <= 0.0:
            return SURFACED
        if until_m is not None and hull.depth_m == until_m:
            return CROSSED
        return ""

    def why_down(self) -> str:
        """Why the lander is not at the surface, from the state of its parts, in one sentence."""
        hull = self.hull
        if hull.caught:
            return "it is caught at %.0f m and held there" % hull.depth_m
        if self.freed_by and hull.ballast_left > 0.0:
            return ("the %s release let go, but %.0f %% of the ballast hangs on: net force %.1f N downward"
                    % (self.freed_by, 100.0 * hull.ballast_left, hull.net_force_n(hull.depth_m)))
        if self.freed_by and hull.on_bottom:
            return "the ballast is gone (%s release), and the mud holds it: it pulls with %.1f N" % (
                self.freed_by, -hull.net_force_n(hull.depth_m))
        if self.freed_by:
            return "the ballast is gone (%s release) and it is on its way up" % self.freed_by
        parts = ["primary %s" % _state_of(self.primary), "backup %s" % _state_of(self.backup)]
        if not self.plan.release.passive.fitted:
            parts.append("no corroding link")
        else:
            parts.append("corroding link %s" % ("never opens" if self.link.jammed else "not yet through"))
        if not self.supply_is_back():
            parts.append("no power")
        return ", ".join(parts)

    def release_possible(self) -> bool:
        """Whether some driven channel could free the ballast if it were energised now, for as long as it takes, with
        all else off; `seatrial.possible` tries it out."""
        if not self.supply_is_back():
            return False
        return any(self.channel_works(mechanism) and self._carries(mechanism)
                   for mechanism in (self.primary, self.backup))

    def _carries(self, mechanism) -> bool:
        """Whether the supply holds under the weakest drive of this channel."""
        load_ma = self._power.controller_ma + mechanism.drawn_ma(min(DRIVES_PCT))
        return self.battery.supply_mv(load_ma, self.heat.housing_c) >= self._power.brownout_mv

    def channel_works(self, mechanism) -> bool:
        return mechanism.open or (not mechanism.jammed and mechanism.circuit == "sound")


def circuit_found(mechanism) -> int:
    """What a trickle through the circuit of a release tells; a wire that has parted is as open as a broken one."""
    if not mechanism.drawn_ma(100):
        return OPEN
    return SHORTED if mechanism.circuit == "shorted" else SOUND


def _state_of(mechanism) -> str:
    if mechanism.open:
        return "open"
    if mechanism.circuit != "sound":
        return "circuit %s" % mechanism.circuit
    return "jammed" if mechanism.jammed else "sound and closed"
