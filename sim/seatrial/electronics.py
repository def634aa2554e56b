"""The controller's electronics, simulated: chips and circuits on the pins of a board file, set from the sea.

`take` sets each chip to what the mission's inputs say, so that the drivers find it in registers and bytes again. A
reading that is not valid becomes what makes it so: a chip that is absent, a cable that is cut, an oscillator that
stands. `levels` tells what the pins drive. Everything else is a request of the board: a pin, a bus, a converter.
"""

from collections.abc import Callable
from datetime import timedelta
from functools import partial
from math import cos, inf, radians, sqrt

from lander.orders import CURRENT
from seatrial.chips import circuits
from seatrial.chips.ads1115 import ADS1115, FULL_SCALE_V, RatiometricTransducer
from seatrial.chips.buses import SPIBus
from seatrial.chips.ds3231 import OSF, STATUS, Ds3231Chip
from seatrial.chips.gnss import Receiver
from seatrial.chips.ina226 import Ina226Chip
from seatrial.chips.ms58xx import MS58xx
from seatrial.chips.onewire import DS18B20, OneWireBus
from seatrial.chips.register import PLACES, ShiftRegisters
from seatrial.chips.selector import Selector
from seatrial.chips.sx127x import Sx127x
from seatrial.chips.tmp117 import TMP117
from seatrial.world import CLOCK_EPOCH

TRANSDUCER = "transducer"
SERVO = 0  # of `fitted.BACKUP_KIND`
GNSS_BUFFER = 512
EPOCH = CLOCK_EPOCH.replace(tzinfo=None)
EPOCH_S = 1000.0  # what the chips count at the beginning of the rehearsal: their time never runs below zero
CLOCK_OFF_S = 0.5  # a clock chip further off than this was set, or lost and found
TEST_PLUG_OHM = 330.0  # an electrolytic wire is dry on deck: a plug stands for the sea
WET_SHARE = 0.1  # of the resistance below which a probe counts as wet
METRES_A_DEGREE = 111320.0
RESIDUE = 0.02  # of the channel before in a first reading, as a switch leaves it; our own choice
MOTOR_CONDITIONS = {"sound": "sound", "open": "open", "shorted": "grounded"}  # by the circuit of a mechanism
HIGH_FROM_RESET = ("register_enable", "radio_cs")  # pulled up; all other outputs are pulled down or have no pull


class ElectronicsError(Exception):
    """The board's code used a pin or a part that its own board file does not have."""


class Electronics:
    """`board` and `fitted` are the plain values of a board file and of `boards.fitted`; `world` and `plan` of a dive.

    The caller sets `now_s`, seconds on the scale of the chips (`EPOCH_S` at the beginning of the rehearsal).
    """

    def __init__(self, board: dict, fitted: dict, world, plan) -> None:
        self.now_s = EPOCH_S
        self._world = world
        self._plan = plan
        self._fitted = fitted
        self._numbers = board["PINS"]
        self._names = board["REGISTER"]
        self._feedback = plan.orders().camera_feedback
        self._make_releases()
        self._make_probes()
        self._make_sensors()
        self._make_surface()
        self._wire_up(board)
        self.let_go()

    # --- what is fitted ---------------------------------------------------------------------------------------------

    def _make_releases(self) -> None:
        self.burn = circuits.BurnWireCircuit()
        self.motor = circuits.LatchMotor()
        self.is_sense_lost = False
        self.lights = circuits.PWM()
        self.magnet = circuits.MagnetSwitch()

    def _sensed_mv(self, current_ma: float) -> float:
        """Behind the amplifier of a release's shunt; at full scale, and not to be believed, when that is lost."""
        share = 1.0 if self.is_sense_lost else current_ma / self._fitted["RELEASE_FULL_MA"]
        return circuits.LOGIC_MV * share

    def _backup_ma(self) -> float:
        if self._fitted["BACKUP_KIND"] == SERVO:
            return self.motor.running_ma if self.motor.opener.duty else 0.0
        return self.motor.drawn_ma

    def _make_probes(self) -> None:
        self.leak = _probe(self._fitted["LEAK_OHM"])
        self.contact = _probe(self._fitted["CONTACT_OHM"])
        self.lamp_mv = 0.0

    def _make_sensors(self) -> None:
        fitted = self._fitted
        self.pressure: ADS1115 | MS58xx
        self.transducer = None
        if fitted["PRESSURE"] == TRANSDUCER:
            self.pressure = ADS1115()
            self.transducer = RatiometricTransducer(fitted["TRANSDUCER_FULL_MBAR"], fitted["TRANSDUCER_ZERO_MBAR"])
            self.transducer.wire_to(self.pressure)
        else:
            self.pressure = MS58xx(fitted["PRESSURE"])
        self.supply = Ina226Chip(fitted["SUPPLY_SHUNT_MICRO_OHM"])
        self.camera = Ina226Chip(fitted["CAMERA_SHUNT_MICRO_OHM"])
        self.clock = Ds3231Chip(drift_ppm=self._plan.sensors.clock.drift_ppm)
        self.housing = TMP117()
        self.chips = {fitted["PRESSURE_ADDRESS"]: self.pressure, fitted["SUPPLY_ADDRESS"]: self.supply,
                      fitted["CAMERA_ADDRESS"]: self.camera, fitted["CLOCK_ADDRESS"]: self.clock,
                      fitted["HOUSING_ADDRESS"]: self.housing}
        self.camera_probe, self.water_probe = DS18B20(fitted["CAMERA_ROM"]), DS18B20(fitted["WATER_ROM"])
        self.one_wire = OneWireBus(self.camera_probe, self.water_probe)

    def _make_surface(self) -> None:
        dive = self._plan.dive
        start = dive.splash_utc - timedelta(minutes=dive.on_deck_min) - timedelta(seconds=EPOCH_S)
        self.receiver = Receiver(start.replace(tzinfo=None), buffer_bytes=GNSS_BUFFER)
        self.receiver.absent = True
        self.radio = Sx127x() if self._fitted["RADIO_HZ"] else None
        self.register = ShiftRegisters(-(-len(self._names) // PLACES))
        self.bus = SPIBus(self.register, *([self.radio] if self.radio else []))

    def _wire_up(self, board: dict) -> None:
        """Which line goes where: by signal, then by the number of its pin, its place in the register or the switch."""
        burn, motor, leak, contact = self.burn, self.motor, self.leak, self.contact
        self._lines: dict[str, circuits.Pin] = {
            "primary_arm": burn.arm, "primary_trickle": burn.trickle, "leak_drive_a": leak.drive_a,
            "leak_drive_b": leak.drive_b, "contact_drive_a": contact.drive_a, "contact_drive_b": contact.drive_b,
            "backup_trickle": motor.trickle, "register_latch": self.register.rclk, "register_enable": self.register.oe}
        pwms = {"primary_fire": burn.fire, "backup_opener": motor.opener, "backup_locker": motor.locker,
                "lights": self.lights}
        sensed = {"primary_sense": lambda: self._sensed_mv(burn.wire_ma), "primary_node": burn.node.volts_mv,
                  "backup_sense": lambda: self._sensed_mv(self._backup_ma()), "backup_node": motor.node.volts_mv,
                  "leak_node": leak.node.volts_mv, "contact_node": contact.node.volts_mv,
                  "camera_lamp": lambda: self.lamp_mv}
        inputs = {"magnet": self.magnet.pin, "backup_end": motor.end}
        numbers = self._numbers
        self._signals = {number: signal for signal, number in numbers.items()}
        self._pwms = {numbers[signal]: pwm for signal, pwm in pwms.items()}
        self._inputs = {numbers[signal]: pin for signal, pin in inputs.items()}
        for signal in (*numbers, *self._names):
            if signal not in pwms and signal not in inputs:
                self._lines.setdefault(signal, circuits.Pin())
        self._on_edge: dict[str, Callable[[], None]] = {
            "register_latch": self._show, "register_enable": self._show, "radio_cs": self._select_radio,
            "surface_supply": self._supply_surface}
        self.selector = Selector([sensed[signal] for signal in board["SELECTOR"]],
                                 [partial(getattr, self._lines["select_%d" % place], "level") for place in range(3)],
                                 RESIDUE)

    # --- the controller's side: one method a request ----------------------------------------------------------------

    def let_go(self) -> None:
        """The controller was reset: its pins are inputs, and what pulls them decides."""
        for pwm in self._pwms.values():
            pwm.duty = 0
        for signal in self._numbers:
            if signal in self._lines:
                self._drive(signal, 1 if signal in HIGH_FROM_RESET else 0)

    def lose_power(self, back_s: float) -> None:
        """All supplies were gone; they came back at `back_s`, on the scale of the chips. The clock has its own cell."""
        self.now_s = max(self.now_s, back_s)
        for chip in (self.pressure, self.supply, self.camera, self.housing, self.one_wire):
            chip.now_s = self.now_s
        self.pressure.lose_supply()
        self.supply.power_on()
        self.camera.power_on()
        for chip in (self.housing, self.camera_probe, self.water_probe):
            chip.power_cycle()
        if self.radio:
            self.radio.power_up()
        self.register.stored[:] = self.register.shifting[:] = [1] * len(self.register.stored)

    def out(self, number: int, level: int) -> None:
        """Drive a pin."""
        self._drive(self._signal(number), level)

    def pwm(self, number: int, frequency_hz: int, duty: int) -> None:
        """Set a PWM."""
        pwm = self._part(self._pwms, number)
        pwm.frequency_hz = frequency_hz
        pwm.duty_u16(duty)

    def read_pin(self, number: int) -> int:
        """Level of an input."""
        return self._part(self._inputs, number)()

    def read_adc(self, number: int) -> int:
        """What the converter shows of the channel that the analogue switch is at."""
        if number != self._numbers["selected"]:
            raise ElectronicsError("pin %d has no converter" % number)
        return self.selector.common.read_u16()

    def chip(self, address: int):
        """The chip on I2C, brought to this instant. Raises OSError where there is none."""
        chip = self.chips.get(address)
        if chip is None:
            raise OSError(19)
        chip.now_s = self.now_s
        return chip

    def spi(self, data: bytes) -> bytes:
        """A full-duplex transfer: through the register, and to the radio while that is selected."""
        if self.radio:
            self.radio.now_s = self.now_s
        answer = bytearray(len(data))
        self.bus.write_readinto(data, answer)
        return bytes(answer)

    def uart(self) -> Receiver:
        """The position receiver, brought to this instant."""
        self.receiver.now_s = self.now_s
        return self.receiver

    def wire(self) -> OneWireBus:
        """The 1-Wire bus, brought to this instant."""
        self.one_wire.now_s = self.now_s
        return self.one_wire

    def _signal(self, number: int) -> str:
        signal = self._signals.get(number)
        if signal is None or signal not in self._lines:
            raise ElectronicsError("pin %d is no output of this board" % number)
        return signal

    @staticmethod
    def _part(parts: dict, number: int):
        if number not in parts:
            raise ElectronicsError("pin %d is not wired for that on this board" % number)
        return parts[number]

    def _drive(self, signal: str, level: int) -> None:
        line = self._lines[signal]
        before = line.level
        line(level)
        if level != before and signal in self._on_edge:
            self._on_edge[signal]()

    def _show(self) -> None:
        """The outputs of the register drive what is behind them."""
        for signal, level in zip(self._names, self.register.outputs(), strict=False):
            self._drive(signal, level)

    def _select_radio(self) -> None:
        if self.radio:
            self.radio.now_s = self.now_s
            self.radio.cs(self._lines["radio_cs"].level)

    def _supply_surface(self) -> None:
        self.receiver.now_s = self.now_s
        self.receiver.absent = not self._lines["surface_supply"].level

    # --- the sea's side -----------------------------------------------------------------------------------------------

    def take(self, inputs) -> None:
        """Set the chips so that the drivers read these inputs."""
        self._take_pressure(inputs)
        self._take_supply(inputs)
        self._take_clock(inputs)
        self._take_temperatures(inputs)
        _wet(self.leak, self._fitted["LEAK_OHM"], inputs.leak_ok, inputs.leak_wet)
        _wet(self.contact, self._fitted["CONTACT_OHM"], inputs.contact_ok, inputs.contact_wet)
        self.magnet.now_s = self.now_s
        self.magnet.near = bool(inputs.magnet)
        self._take_releases(inputs)
        self._take_position()

    def _take_pressure(self, inputs) -> None:
        self.pressure.absent = not inputs.pressure_ok
        if self.transducer:
            self.transducer.pressure_mbar = inputs.pressure_mbar
        else:
            self.pressure.pressure_mbar = inputs.pressure_mbar

    def _take_supply(self, inputs) -> None:
        supply, camera = self.supply, self.camera
        supply.absent = not (inputs.supply_ok and inputs.current_ok)
        supply.supply_mv = camera.supply_mv = inputs.supply_mv
        supply.current_ma = inputs.supply_ma
        camera.absent = self._feedback == CURRENT and not inputs.camera_feedback_ok
        camera.current_ma = inputs.camera_ma
        full_mv = circuits.LOGIC_MV * self._fitted["CAMERA_LAMP_FULL"] / circuits.FULL_SCALE
        self.lamp_mv = full_mv * inputs.camera_lamp_permille / 1000.0

    def _take_clock(self, inputs) -> None:
        chip, clock = self.clock, self._world.clock
        chip.now_s = self.now_s
        chip.oscillator_stopped = not inputs.clock_ok
        if not inputs.clock_ok:
            return
        true_s = clock.start_s + (self.now_s - EPOCH_S) * clock.rate + clock.jump_s
        shown = chip.when
        shown_s = -inf if shown is None else (shown - EPOCH).total_seconds() + chip.fraction_s
        if abs(shown_s - true_s) > CLOCK_OFF_S or chip.registers[STATUS] & OSF:
            chip.set_time(EPOCH + timedelta(seconds=int(true_s)))
            chip.fraction_s = true_s - int(true_s)

    def _take_temperatures(self, inputs) -> None:
        self.camera_probe.absent = not inputs.camera_temp_ok
        self.camera_probe.temperature_c = inputs.camera_centi_c / 100.0
        self.water_probe.absent = not inputs.water_temp_ok
        self.water_probe.temperature_c = inputs.water_centi_c / 100.0
        self.housing.absent = not inputs.housing_temp_ok
        self.housing.temperature_c = inputs.housing_centi_c / 100.0

    def _take_releases(self, inputs) -> None:
        world, burn, motor = self._world, self.burn, self.motor
        full_ma = world.primary.drawn_ma(100)
        burn.supply_mv = float(inputs.supply_mv) if inputs.supply_ok else world.supply_mv()
        burn.condition = world.primary.circuit if full_ma else "open"
        if full_ma:
            burn.load_ohm = burn.supply_mv / full_ma if world.hull.in_water else TEST_PLUG_OHM
        self.is_sense_lost = not inputs.release_ok
        motor.running_ma = motor.stalled_ma = world.backup.drawn_ma(100)
        motor.place = 1.0 if world.backup.open else 0.0
        motor.jammed = world.backup.jammed
        motor.condition = MOTOR_CONDITIONS[world.backup.circuit]

    def _take_position(self) -> None:
        hull, site, receiver = self._world.hull, self._plan.site, self.receiver
        receiver.quality = 0 if hull.in_water and hull.depth_m > 0.0 else 1
        receiver.latitude_deg = site.latitude_deg + hull.north_m / METRES_A_DEGREE
        receiver.longitude_deg = site.longitude_deg + hull.east_m / (
            METRES_A_DEGREE * cos(radians(site.latitude_deg)))

    def levels(self) -> dict[str, int]:
        """The outputs that the pins drive, by the names of `lander.signals`."""
        lines = self._lines
        opener = self.motor.opener
        is_servo = self._fitted["BACKUP_KIND"] == SERVO
        return {
            "release_primary_pct": percent(self.burn.fire) if self.burn.arm.level else 0,
            "release_backup_pct": (100 if opener.duty else 0) if is_servo else percent(opener),
            "camera_supply": lines["camera_supply"].level,
            "power_button": lines["power_button"].level,
            "record_button": lines["record_button"].level,
            "lights_pct": percent(self.lights),
            "fan": lines["fan"].level}

    # --- how exactly it can be read -----------------------------------------------------------------------------------

    def allowed(self) -> dict[str, float]:
        """How far a reading of the drivers may lie from the input that was given, in the input's unit.

        From the steps of the chips: half a step, and 1 for the whole number that the driver makes of it.
        """
        fitted = self._fitted
        analogue = 1 / 4095 / 2 + RESIDUE ** 2  # of full scale: half a step, and what a second reading still sees
        return {
            "pressure_mbar": self._pressure_step_mbar() / 2 + 1.0,
            "supply_mv": 1.25 / 2 + 1.0,
            "supply_ma": _current_step_ma(fitted["SUPPLY_SHUNT_MICRO_OHM"], fitted["SUPPLY_STEP_MICRO_A"]),
            "camera_ma": _current_step_ma(fitted["CAMERA_SHUNT_MICRO_OHM"], fitted["CAMERA_STEP_MICRO_A"]),
            "camera_centi_c": 100 / 16 / 2 + 1.0,
            "water_centi_c": 100 / 16 / 2 + 1.0,
            "housing_centi_c": 100 / 128 / 2 + 1.0,
            "camera_lamp_permille": 1000 * analogue + 1.0,
            "release_ma": 2 * (fitted["RELEASE_FULL_MA"] * analogue + 1.0),  # two currents
            "clock_s": 1.0,  # whole seconds, read a fraction of a second before the step
            "contact_wet": 0.0, "leak_wet": 0.0, "magnet": 0.0}

    def _pressure_step_mbar(self) -> float:
        """Of the converter by its range, for the output and again for the supply; the MS58xx tells tenths."""
        if self.transducer is None:
            return 0.1
        step_mv = 1000.0 * FULL_SCALE_V[self.pressure.registers[1] >> 9 & 7] / 0x8000
        share = step_mv / (0.5 * self.transducer.supply_mv)
        return 2.0 * share * self.transducer.full_scale_mbar / 0.8


def percent(pwm: circuits.PWM) -> int:
    """The duty to the nearest percent."""
    return round(100.0 * pwm.fraction)


def _probe(ohm: tuple[int, int, int, int]) -> circuits.ProbeCircuit:
    """A probe with the end resistor between dry and broken."""
    series, _wet_below, dry_above, broken_above = ohm
    return circuits.ProbeCircuit(series, sqrt(dry_above * broken_above))


def _wet(probe: circuits.ProbeCircuit, ohm: tuple[int, int, int, int], is_ok: int, is_wet: int) -> None:
    probe.broken = not is_ok
    probe.water_ohm = WET_SHARE * ohm[1] if is_wet else inf


def _current_step_ma(shunt_micro_ohm: int, step_micro_a: int) -> float:
    """An INA226: 2.5 uV on the shunt, then the step of its current register, each cut off to a whole number."""
    return 2500.0 / shunt_micro_ohm + step_micro_a / 1000.0 + 1.0
