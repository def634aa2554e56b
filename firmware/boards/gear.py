"""Everything that hangs on the controller: the drivers, made from a board's pins and the numbers of `boards.fitted`.

Made once at the start. The outputs come first and are off from the line that makes them; `off` puts all of them off
whatever fails. `tick` gives every driver its turn and never waits. Which driver a reading comes from is told in
`boards.readings`, which output goes where in `boards.drives`.
"""

from boards import fitted, pressures
from drivers import burnwire, latch, trickle
from drivers.blinker import Blinker
from drivers.ds18b20 import Thermometers
from drivers.ds3231 import Ds3231
from drivers.ina226 import Ina226
from drivers.lamp import Lamp
from drivers.magnet import Magnet
from drivers.probe import RESTING, Probe
from drivers.register import ShiftRegister
from drivers.selector import Selector
from drivers.tmp117 import Tmp117
from drivers.upkeep import elapsed_ms
from lander import lamps

FIRE_HZ, LIGHTS_HZ, SERVO_HZ, MOTOR_HZ = 1000, 1000, 50, 1000
REFRESH_MS = 1000  # an upset of the shift register lasts no longer
THERMOMETERS_FRESH_MS = 60000  # a probe has its turn only while the controller is awake
MOVING_MS, FIRING_MS, RISING_MS, LISTENING_MS, TESTING_MS = 20, 250, 20, 100, 5  # how soon the next tick is wanted


class Gear:
    """The parts of one controller. Raises ValueError where the numbers of `boards.fitted` do not fit each other."""

    def __init__(self, board) -> None:
        self.board = board
        uart = board.surface_uart() if fitted.GNSS or fitted.MODEM else None
        spi = board.spi()
        self._register = ShiftRegister(spi, board.pin_out("register_latch"), board.pin_out("register_enable", 1),
                                       board.register)
        self._register.start()
        out = self._out
        selector = Selector((out("select_0"), out("select_1"), out("select_2")), board.adc("selected"))

        def analogue(signal: str):
            return selector.input(board.selector.index(signal))

        self.primary = burnwire.BurnWire(
            out("primary_arm"), board.pwm("primary_fire", FIRE_HZ), out("primary_trickle"), analogue("primary_sense"),
            analogue("primary_node"), fitted.RELEASE_FULL_MA, fitted.FIRE_MA,
            open_below_ma=fitted.TRICKLE_OPEN_BELOW_MA)
        latch_hz = SERVO_HZ if fitted.BACKUP_KIND == latch.SERVO else MOTOR_HZ
        self.backup = latch.Latch(
            fitted.BACKUP_KIND, board.pwm("backup_opener", latch_hz), board.pwm("backup_locker", latch_hz),
            board.pin_in("backup_end"), analogue("backup_sense"), fitted.RELEASE_FULL_MA,
            trickle=out("backup_trickle"), node=analogue("backup_node"), short_above_ma=fitted.MOTOR_SHORT_ABOVE_MA)
        self.camera_supply, self.fan = out("camera_supply"), out("fan")
        self.power_button, self.record_button = out("power_button"), out("record_button")
        self.surface_supply, self.heartbeat = out("surface_supply"), out("heartbeat")
        self.lights = Lamp(board.pwm("lights", LIGHTS_HZ))
        self.beacon = Blinker(out("beacon"), lamps.BEACON)
        self.status = Blinker(out("status"), lamps.STATUS)
        self.magnet = Magnet(board.pin_in("magnet"))
        self.leak = Probe(out("leak_drive_a"), out("leak_drive_b"), analogue("leak_node"), *fitted.LEAK_OHM)
        self.contact = Probe(out("contact_drive_a"), out("contact_drive_b"), analogue("contact_node"),
                             *fitted.CONTACT_OHM)
        self.camera_lamp = analogue("camera_lamp")
        self._make_sensors(board, board.i2c())
        self._make_surface(board, spi, uart)
        self._slow: list = [self.clock, self.housing, self.lights, self.beacon, self.status]
        self._fast: list = [self.primary, self.backup, self.magnet, self.leak, self.contact, self.pressure, self.supply,
                      self.camera_current]
        self._is_listening = 0
        self._shown_ms = 0

    def _out(self, signal: str):
        return self._register.pin(signal) if signal in self.board.register else self.board.pin_out(signal)

    def _make_sensors(self, board, bus) -> None:
        self.pressure = pressures.made(bus)
        self.supply = Ina226(bus, fitted.SUPPLY_SHUNT_MICRO_OHM, fitted.SUPPLY_STEP_MICRO_A, fitted.SUPPLY_ADDRESS)
        self.camera_current = Ina226(bus, fitted.CAMERA_SHUNT_MICRO_OHM, fitted.CAMERA_STEP_MICRO_A,
                                     fitted.CAMERA_ADDRESS)
        self.clock = Ds3231(bus, fitted.CLOCK_ADDRESS)
        self.housing = Tmp117(bus, fitted.HOUSING_ADDRESS)
        self.thermometers = Thermometers(board.one_wire(), (fitted.CAMERA_ROM, fitted.WATER_ROM),
                                         fresh_ms=THERMOMETERS_FRESH_MS)
        self.camera_thermometer, self.water_thermometer = self.thermometers.probes

    def _make_surface(self, board, spi, uart) -> None:
        self.gnss = self.radio = None
        self.modem = uart if fitted.MODEM else None
        if fitted.GNSS:
            from drivers.gnss import Gnss

            self.gnss = Gnss(uart)
        radio_cs = board.pin_out("radio_cs", 1)
        if fitted.RADIO_HZ:
            from drivers.sx127x import Sx127x

            self.radio = Sx127x(spi, radio_cs, None, fitted.RADIO_HZ, power_dbm=fitted.RADIO_DBM,
                                duty_permille=fitted.RADIO_DUTY_PERMILLE)

    # --- all of them ------------------------------------------------------------------------------------------------

    def start(self, now_ms: int) -> None:
        """Begin with every part; what does not answer is tried again by its driver."""
        for part in self._fast:
            part.start(now_ms)
        for part in self._slow:
            part.start(now_ms)
        self.thermometers.start(now_ms)
        if self.radio:
            self.radio.start(now_ms)

    def off(self) -> None:
        """Every output off, whatever fails. Never raises."""
        self.primary.off()
        self.backup.off()
        self.lights.off()
        self.beacon.off()
        self.status.off()
        self.leak.off()
        self.contact.off()
        self._register.release()

    def tick(self, now_ms: int) -> None:
        """A turn for every driver."""
        for part in self._fast:
            part.tick(now_ms)
        for part in self._slow:
            part.tick(now_ms)
        self.thermometers.tick(now_ms)
        if self._is_listening and self.gnss:
            self.gnss.tick(now_ms)
        if self.radio:
            self.radio.tick(now_ms)
        if elapsed_ms(now_ms, self._shown_ms) >= REFRESH_MS:
            self._shown_ms = now_ms
            self._show()

    def _show(self) -> None:
        try:
            self._register.refresh()
        except OSError:
            pass  # counted by the register, and tried again in a second

    def listen(self, now_ms: int, on: int) -> None:
        """Supply the position receiver, or not."""
        if on == self._is_listening:
            return
        self._is_listening = on
        self.surface_supply(on)
        if self.gnss and on:
            self.gnss.start(now_ms)

    def next_tick_ms(self, now_ms: int) -> int:
        """How long the drivers can do without a turn, ms, by what they are in the middle of."""
        span_ms = min(self.status.until_change_ms(now_ms), self.beacon.until_change_ms(now_ms))
        if self.is_testing():
            return min(span_ms, TESTING_MS)
        if self.primary.percent:
            span_ms = min(span_ms, FIRING_MS if self.primary.ma else TESTING_MS)
        if self.backup.percent:
            span_ms = min(span_ms, MOVING_MS)
        if self.lights.is_rising():
            span_ms = min(span_ms, RISING_MS)
        if self._is_listening or (self.radio and self.radio.busy):
            span_ms = min(span_ms, LISTENING_MS)
        return span_ms

    def needs_clock(self) -> int:
        """1 while an output needs the clocks that a light sleep stops."""
        return 1 if self.lights.percent or self.primary.percent or self.backup.percent or self._is_listening else 0

    def settle(self) -> None:
        """Before a sleep: no current through the electrodes."""
        if self.leak.state != RESTING:
            self.leak.off()
        if self.contact.state != RESTING:
            self.contact.off()

    # --- the releases tested ------------------------------------------------------------------------------------------

    def test(self, now_ms: int) -> None:
        """Begin to test both release circuits by a trickle, where that has not been done yet."""
        if self.primary.circuit == trickle.UNTESTED:
            self.primary.test(now_ms)
        if self.backup.circuit == trickle.UNTESTED:
            self.backup.test(now_ms)

    def test_anew(self, now_ms: int) -> None:
        """Begin to test both release circuits, whatever was found before."""
        self.primary.test(now_ms)
        self.backup.test(now_ms)

    def is_testing(self) -> int:
        return 1 if self.primary.state == burnwire.TESTING or self.backup.state == latch.TESTING else 0
