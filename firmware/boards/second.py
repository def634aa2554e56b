"""The second board: a Raspberry Pi Pico (RP2040) with a pack of its own, on which `deadman` runs and nothing else.

Wake, give the drivers a moment, fill the inputs, step, store the record, drive, feed the watchdog, sleep. A step comes
when the last one asked for it or the magnet came or went, and at least every `FEED_DS`, since only a step feeds the
watchdog. What drives the release has permission until the next step is due and no longer.

What is fitted is told by the numbers below; what each signal is, its safe state and its resistor, by
`boards.second_wiring`. Datasheets: Raspberry Pi Ltd, "RP2040 Datasheet" and "Raspberry Pi Pico Datasheet" (from
memory).
"""

import os

from boards import fitted, pressures
from boards.plan_copies import in_files
from boards.stock import WATCHDOG_BIT, StockBoard
from deadman import (
    BOTH,
    CONTACT_ONLY,
    COUNTING,
    FEED_DS,
    MARGIN_DS,
    PRESSURE_ONLY,
    RECORD_BYTES,
    DeadMan,
    Inputs,
    Outputs,
)
from drivers.blinker import Blinker
from drivers.burnwire import BurnWire
from drivers.latch import MOTOR_FOR_TIME, SERVO, STROKE_MS_MAX, Latch
from drivers.magnet import Magnet
from drivers.probe import Probe
from drivers.upkeep import RING, elapsed_ms, one_more
from lander import lamps

# What is fitted; one of the two signs of water may be missing.
PRESSURE = 1  # a sensor of its own, of the kind that `boards.fitted` names; 0 for none
CONTACT_OHM = fitted.CONTACT_OHM  # () for none
BACKUP_IS_WIRE = 0  # 0: the latch of `boards.fitted`, 1: a wire

# Signal and number of the GPIO.
PINS = {
    "heartbeat": 2,
    "i2c_sda": 8,
    "i2c_scl": 9,
    "backup_arm": 11,
    "backup_trickle": 12,
    "backup_fire": 13,
    "contact_drive_a": 18,
    "contact_drive_b": 19,
    "magnet": 22,
    "status": 25,
    "contact_node": 26,
    "backup_sense": 27,
    "backup_node": 28,
}

LEAD_MS = 60  # before a step the drivers have so long to take fresh readings
START_MS = 200  # the same after a start: the pressure sensor tells its numbers first
TICK_MS = 5  # between two turns of the drivers meanwhile
MOVING_MS = 20  # while the release is driven
MAGNET_MS = 1000  # between two looks at the magnet where a person may be
SERVO_HZ, FIRE_HZ = 50, 1000
RECORDS = ("dead_0", "dead_1")  # a folder each: littlefs keeps a folder's small files in one pair of pages
RECORD_FILE = "record.bin"


class Board(StockBoard):
    """The pins of a Pico."""

    name = "second"
    pins = PINS
    buses = (0, 0, 0)
    watchdog_ms = 8000  # the chip's counter ends at 8388


class Records:
    """The two records of `deadman` as files below a folder. `faults` counts what could not be written."""

    def __init__(self, folder: str) -> None:
        self._folder = folder.rstrip("/") + "/"
        self.faults = 0

    def read(self, slot: int):
        """The record as found; b"" where there is none."""
        try:
            with open(self._folder + RECORDS[slot] + "/" + RECORD_FILE, "rb") as file:
                return file.read(RECORD_BYTES + 1)  # one more, so that a file that is too long is seen
        except OSError:
            return b""

    def write(self, slot: int, record) -> None:
        """Replace one of them; a flash that refuses never keeps the board from its deadline."""
        try:
            self._write(self._folder + RECORDS[slot], record)
        except OSError:
            self.faults = one_more(self.faults)

    def _write(self, folder: str, record) -> None:
        try:
            os.mkdir(folder)
        except OSError:
            pass  # it is there; if not, the next line says so
        with open(folder + "/" + RECORD_FILE, "wb") as file:
            file.write(record)


class Second:
    """One run from reset to reset: `boot` once, then `turn` for ever. `folder` is where plan and records are.

    Raises ValueError where no sign of water is fitted, or the numbers above do not fit each other.
    """

    def __init__(self, board, folder: str = "/") -> None:
        self.board = board
        fire = board.pwm("backup_fire", SERVO_HZ if _is_servo() else FIRE_HZ)  # low from here on
        self.copies = in_files(folder)
        self.records = Records(folder)
        self.orders = self.copies.load()
        self.backup = _wire(board, fire) if BACKUP_IS_WIRE else _latch(fire, self.orders.fire_backup_ds * 100)
        self.status = Blinker(board.pin_out("status"), lamps.STATUS)
        self.magnet = Magnet(board.pin_in("magnet"))
        self.contact = _contact(board) if CONTACT_OHM else None
        self.pressure = pressures.made(board.i2c()) if PRESSURE else None
        self._heartbeat = board.pin_in("heartbeat", 0)  # driven by the main board, through 47 kOhm
        self._beat = -1
        self.inputs = Inputs()
        self.outputs = Outputs()
        self.man = DeadMan(self.orders, (self.records.read(0), self.records.read(1)),
                           0 if board.reset_cause() == WATCHDOG_BIT else 1, self._signs(), MARGIN_DS)
        self._parts = [part for part in (self.backup, self.status, self.magnet, self.contact, self.pressure) if part]
        self._ticked_ms = board.ticks_ms()
        self._uptime_ms = 0  # the part of a tenth of a second that has not been counted yet
        self._watchdog = board.watchdog()

    def _signs(self) -> int:
        if self.contact and self.pressure:
            return BOTH
        if not (self.contact or self.pressure):
            raise ValueError("neither a pressure sensor nor a wet contact is fitted: fit one of them")
        return CONTACT_ONLY if self.contact else PRESSURE_ONLY

    def boot(self) -> None:
        """Begin with every part; what does not answer is tried again by its driver."""
        now_ms = self.board.ticks_ms()
        for part in self._parts:
            part.start(now_ms)
        self._settle(START_MS)
        self._step()

    def turn(self) -> None:
        """Sleep until a step is due, and take it."""
        self._rest()
        self._settle(LEAD_MS)
        self._step()

    # --- one step -----------------------------------------------------------------------------------------------------

    def _step(self) -> None:
        now_ms = self._tick()
        inputs, outputs = self.inputs, self.outputs
        if self.pressure:
            inputs.pressure_ok = self.pressure.ok
            if self.pressure.ok:
                inputs.pressure_mbar = max(0, self.pressure.pressure_mbar)
        if self.contact:
            inputs.contact_ok = self.contact.ok
            if self.contact.ok:
                inputs.contact_wet = self.contact.wet
        inputs.magnet = self.magnet.held
        self.man.step(inputs, outputs)
        if outputs.write:
            self.records.write(outputs.slot, outputs.record)
        self.backup.fire(now_ms, outputs.fire_pct)
        is_alone = self.man.state == COUNTING and not self.man.some_air
        self.status.show(now_ms, lamps.DARK if is_alone else outputs.lamp)
        self._watchdog.feed()

    # --- between steps ------------------------------------------------------------------------------------------------

    def _rest(self) -> None:
        """Until the drivers must be woken for the next step, or the magnet came or went."""
        since_ms = self.board.ticks_ms()
        span_ms = max(0, min(self.outputs.wake_ds, FEED_DS) * 100 - LEAD_MS)
        held = self.magnet.held
        while self.magnet.held == held:
            now_ms = self._tick()
            left_ms = span_ms - elapsed_ms(now_ms, since_ms)
            if left_ms <= 0:
                return
            if self.outputs.fire_pct:
                self.backup.fire(now_ms, self.outputs.fire_pct)
            elif self.contact and self.magnet.held == held:
                self.contact.off()  # no current through the electrodes while it sleeps
            left_ms = min(left_ms, self._next_tick_ms(now_ms))
            self.board.sleep_ms(left_ms, 0 if self.outputs.fire_pct else 1)

    def _next_tick_ms(self, now_ms: int) -> int:
        if self.outputs.fire_pct:
            return MOVING_MS
        if self.inputs.magnet or self.magnet.held:
            return MOVING_MS
        span_ms = self.status.until_change_ms(now_ms)
        return min(span_ms, MAGNET_MS) if self.man.state != COUNTING or self.man.some_air else span_ms

    def _settle(self, span_ms: int) -> None:
        """Turns for the drivers, without a pause, until their readings are fresh."""
        since_ms = self.board.ticks_ms()
        while elapsed_ms(self._tick(), since_ms) < span_ms:
            if self.outputs.fire_pct:
                self.backup.fire(self.board.ticks_ms(), self.outputs.fire_pct)
            self.board.sleep_ms(TICK_MS, 0)

    def _tick(self) -> int:
        """A turn for every driver; counts the time and the heartbeat."""
        now_ms = self.board.ticks_ms()
        passed_ms = self._uptime_ms + elapsed_ms(now_ms, self._ticked_ms)
        self._ticked_ms = now_ms & RING
        self.inputs.uptime_ds += passed_ms // 100
        self._uptime_ms = passed_ms % 100
        for part in self._parts:
            part.tick(now_ms)
        self._listen()
        return now_ms

    def _listen(self) -> None:
        """The level of the heartbeat line; two turns between two looks look like none, and some will be seen."""
        level = self._heartbeat()
        if level != self._beat and self._beat >= 0:
            self.inputs.heartbeats = (self.inputs.heartbeats + 1) & 0xFFFF
        self._beat = level


def _is_servo() -> int:
    return 0 if BACKUP_IS_WIRE else int(fitted.BACKUP_KIND == SERVO)


def _latch(fire, stroke_ms: int) -> Latch:
    """Without the end switch, which the main board has: it drives for as long as an attempt lasts."""
    kind = SERVO if _is_servo() else MOTOR_FOR_TIME
    return Latch(kind, fire, stroke_ms=0 if kind == SERVO else min(stroke_ms, STROKE_MS_MAX))


def _wire(board, fire) -> BurnWire:
    return BurnWire(board.pin_out("backup_arm"), fire, board.pin_out("backup_trickle"), board.adc("backup_sense"),
                    board.adc("backup_node"), fitted.RELEASE_FULL_MA, fitted.FIRE_MA)


def _contact(board) -> Probe:
    return Probe(board.pin_out("contact_drive_a"), board.pin_out("contact_drive_b"), board.adc("contact_node"),
                 *CONTACT_OHM)


def run(board=None) -> None:
    """For ever, until the watchdog or the power ends it."""
    second = Second(board or Board())
    second.boot()
    while True:
        second.turn()
