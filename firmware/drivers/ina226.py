"""Supply monitor INA226: voltage and signed current through a shunt, over I2C.

Texas Instruments, "INA226 36V, 16-Bit, Ultra-Precise I2C Output Current, Voltage, and Power Monitor With Alert",
SBOS547 (register map, flags and conversion times from memory of that sheet; its design example was read).

Serves the battery (`supply_mv`, `supply_ma`) and, with another shunt, a release circuit (`release_ma`). The bus has no
check sum: a bit flipped within the possible range passes here, and the core's hold times stand against it.
"""

from drivers.upkeep import FAULTS_MAX, PAUSE_MS, RING

CONFIGURATION, BUS_VOLTAGE, CURRENT, CALIBRATION, FLAGS = 0x00, 0x02, 0x04, 0x05, 0x06
MAKER_ID, DIE_ID = 0xFE, 0xFF

AVERAGES = (1, 4, 16, 64, 128, 256, 512, 1024)  # the place in the row is the code in the register
CONVERSION_MICRO_S = (140, 204, 332, 588, 1100, 2116, 4156, 8244)
CONVERSION_LONGEST_MICRO_S = (154, 224, 365, 646, 1210, 2328, 4572, 9068)
FIXED_BITS = 0x4000  # bit 14 always reads as 1
SHUNT_AND_BUS_WITHOUT_END = 7

MAKER, DIE = 0x5449, 0x226  # the last four bits of the die register are its revision
READY, OVERFLOW, IMPOSSIBLE_FLAGS = 0x0008, 0x0004, 0xFFE3  # no alert is enabled: its bits read as 0

FRESH_MS = 1000
POLLS_MS = 50  # a board that polls now and then still sees the flag in time

BUS_FULL = 28800  # 36 V, the most the chip is made for; the register holds 40.96 V
ASLEEP, FOUND, WAITING, CHECKING = range(4)


class Ina226:
    """One chip. `ok` is `voltage_ok` and `current_ok` together; a current out of range leaves the voltage valid.

    `voltage_mv` from the bus pin to ground, `current_ma` positive from IN+ to IN-, `faults` failed transfers and bad
    checks so far, up to 65535.
    """

    def __init__(self, bus, shunt_micro_ohm: int, current_step_micro_a: int = 100, address: int = 0x40,
                 averages: int = 16, conversion_micro_s: int = 1100, lowest_mv: int = 0) -> None:
        """A chip with this shunt; the current is told in steps of `current_step_micro_a`, to 32767 of them.

        A voltage below `lowest_mv` is a broken sense wire. `averages` and `conversion_micro_s` are values of AVERAGES
        and CONVERSION_MICRO_S. Raises ValueError for what the chip cannot hold.
        """
        self._bus = bus
        self._address = address
        self._step_micro_a = current_step_micro_a
        self._calibration = calibration(shunt_micro_ohm, current_step_micro_a)
        # At the end of the shunt's 81.92 mV the current stands still, whatever flows: this and more is out of range.
        self._current_full = min(32767, 32767 * self._calibration // 2048)
        self._configuration = configuration(averages, conversion_micro_s)
        self._stopped_ms = 2 * longest_ms(averages, conversion_micro_s) + POLLS_MS
        self._fresh_ms = FRESH_MS + self._stopped_ms
        self._lowest_mv = lowest_mv
        self._word = bytearray(2)
        self._state = ASLEEP
        self._since_ms = 0  # of the state
        self._taken_ms = 0  # when the values were read
        self._bus_raw = 0
        self._current_raw = 0
        self._ready = 0
        self._overflow = 0
        self.ok = 0
        self.voltage_ok = 0
        self.current_ok = 0
        self.voltage_mv = 0
        self.current_ma = 0
        self.faults = 0

    def start(self, now_ms: int) -> int:
        """Find the chip and set it up; 1 when it is one. No value is kept, and none comes before its first reading."""
        self._nothing_valid()
        self._state = ASLEEP
        self._step(now_ms)
        if self._state == FOUND:
            self._step(now_ms)
        return 1 if self._state == WAITING else 0

    def tick(self, now_ms: int) -> None:
        """One step: at most 15 bytes on the bus, a reading in two steps once the chip has one."""
        if (now_ms - self._taken_ms) & RING > self._fresh_ms:
            self._nothing_valid()
        if self._state == ASLEEP and (now_ms - self._since_ms) & RING < PAUSE_MS:
            return
        self._step(now_ms)

    def _step(self, now_ms: int) -> None:
        try:
            good = self._do_state(now_ms)
        except OSError:
            good = 0
        if not good:
            self._fail(now_ms)

    def _do_state(self, now_ms: int) -> int:
        if self._state == ASLEEP:
            return self._find(now_ms)
        if self._state == FOUND:
            return self._set_up(now_ms)
        if self._state == WAITING:
            return self._wait(now_ms)
        return self._check(now_ms)

    def _find(self, now_ms: int) -> int:
        self._turn(FOUND, now_ms)
        return 1 if self._read(MAKER_ID) == MAKER and self._read(DIE_ID) >> 4 == DIE else 0

    def _set_up(self, now_ms: int) -> int:
        """Write the settings, which are read back before any value counts."""
        self._ready = 0
        self._write(FLAGS, 0)
        self._write(CALIBRATION, self._calibration)
        self._write(CONFIGURATION, self._configuration)  # last: it begins a new conversion
        self._turn(WAITING, now_ms)
        return 1

    def _wait(self, now_ms: int) -> int:
        """Take the values once the flag says that they are new; 0 when the chip fails or has stopped."""
        if not self._ready:
            self._overflow = 0  # else the check of the last reading has met the flags of this one
        if not self._read_flags():
            return 0
        if not self._ready:
            return 1 if (now_ms - self._since_ms) & RING <= self._stopped_ms else 0
        self._bus_raw = self._read(BUS_VOLTAGE)
        self._current_raw = self._read(CURRENT)
        self._ready = 0
        self._turn(CHECKING, now_ms)
        return 1 if self._bus_raw < 0x8000 else 0  # the top bit of the bus voltage is always 0

    def _check(self, now_ms: int) -> int:
        """Publish the values when the chip still has its settings: one that was reset converts on, with current 0."""
        if self._read(CALIBRATION) != self._calibration or self._read(CONFIGURATION) != self._configuration:
            return 0
        if not self._read_flags():  # again: a conversion may have ended, and overflowed, before the values were read
            return 0
        if (now_ms - self._since_ms) & RING <= self._fresh_ms:
            self._taken_ms = self._since_ms
            self._publish()
        self._turn(WAITING, now_ms)
        return 1

    def _publish(self) -> None:
        raw = self._current_raw
        size = raw if raw < 0x8000 else 0x10000 - raw
        milliamperes = (size * self._step_micro_a + 500) // 1000
        self.current_ma = milliamperes if raw < 0x8000 else -milliamperes
        self.current_ok = 0 if self._overflow or size >= self._current_full else 1
        self.voltage_mv = self._bus_raw * 5 // 4
        self.voltage_ok = 1 if self._bus_raw <= BUS_FULL and self.voltage_mv >= self._lowest_mv else 0
        self.ok = self.voltage_ok & self.current_ok

    def _read_flags(self) -> int:
        """Add up what the flags say, since reading takes them off the chip; 0 when bits are set that cannot be."""
        flags = self._read(FLAGS)
        if flags & IMPOSSIBLE_FLAGS:
            return 0
        if flags & READY:
            self._ready = 1
        if flags & OVERFLOW:
            self._overflow = 1
        return 1

    def _fail(self, now_ms: int) -> None:
        self._nothing_valid()
        if self.faults < FAULTS_MAX:
            self.faults += 1
        self._turn(ASLEEP, now_ms)

    def _nothing_valid(self) -> None:
        self.ok = 0
        self.voltage_ok = 0
        self.current_ok = 0

    def _turn(self, state: int, now_ms: int) -> None:
        self._state = state
        self._since_ms = now_ms

    def _read(self, register: int) -> int:
        self._bus.readfrom_mem_into(self._address, register, self._word)
        return self._word[0] << 8 | self._word[1]

    def _write(self, register: int, value: int) -> None:
        self._word[0] = value >> 8
        self._word[1] = value & 0xFF
        self._bus.writeto_mem(self._address, register, self._word)


def calibration(shunt_micro_ohm: int, current_step_micro_a: int) -> int:
    """What the calibration register must hold: 0.00512 V / (step x shunt), SBOS547 equation 1.

    Raises ValueError when the two do not fit the register's 15 bits. Makes one integer of 33 bits, at boot only.
    """
    if not 1 <= current_step_micro_a <= 32767:
        raise ValueError("current_step_micro_a is %d, allowed are 1 to 32767" % current_step_micro_a)
    if shunt_micro_ohm < 1:
        raise ValueError("shunt_micro_ohm is %d, it must be at least 1" % shunt_micro_ohm)
    product = current_step_micro_a * shunt_micro_ohm
    value = (5120000000 + product // 2) // product
    if not 1 <= value <= 32767:
        raise ValueError("current_step_micro_a %d with shunt_micro_ohm %d needs calibration %d, allowed 1 to 32767; "
                         "take another step" % (current_step_micro_a, shunt_micro_ohm, value))
    return value


def configuration(averages: int, conversion_micro_s: int) -> int:
    """What the configuration register must hold to convert shunt and bus for ever. Raises ValueError off the tables."""
    if averages not in AVERAGES:
        raise ValueError("averages is %d, allowed are %s" % (averages, AVERAGES))
    if conversion_micro_s not in CONVERSION_MICRO_S:
        raise ValueError("conversion_micro_s is %d, allowed are %s" % (conversion_micro_s, CONVERSION_MICRO_S))
    time = CONVERSION_MICRO_S.index(conversion_micro_s)
    return FIXED_BITS | AVERAGES.index(averages) << 9 | time << 6 | time << 3 | SHUNT_AND_BUS_WITHOUT_END


def longest_ms(averages: int, conversion_micro_s: int) -> int:
    """The longest that shunt and bus together take for one reading, in ms, rounded up."""
    longest = CONVERSION_LONGEST_MICRO_S[CONVERSION_MICRO_S.index(conversion_micro_s)]
    return (2 * averages * longest + 999) // 1000
