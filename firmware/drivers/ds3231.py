"""Real-time clock DS3231, with its stopped-oscillator flag and its thermometer, over I2C.

Maxim Integrated (Analog Devices), "DS3231 Extremely Accurate I2C-Integrated RTC/TCXO/Crystal", 19-5170 (register map
from memory of that sheet; its temperature example was read).

The chip keeps UTC. It holds the seconds of a transfer still, so that seven registers read in one transfer belong
together. A clock that jumps is reported as it is and counted: the core judges clocks, by its own count.
"""

from drivers.upkeep import FAULTS_MAX, PAUSE_MS, RING

TIME, YEAR, CONTROL, STATUS = 0x00, 0x06, 0x0E, 0x0F
CONTROL_VALUE = 0x1C  # oscillator on, also from the cell; no square wave, no alarm
IMPOSSIBLE_STATUS = 0x70
NO_YEAR = 0x00  # 2000, before the first year: no time that counts

READ_EVERY_MS = 200
COMPARE_OVER_MS = 600000  # longer, and two good crystals begin to differ by part of a second
SLOWEST_S, FASTEST_S = -1, 2  # whole seconds against counted ms: up to 2 apart without any jump, 1 back with drift

DAY_S = 86400
FIRST_YEAR = 20  # 2020, as the chip counts
LAST_DAY = 12426  # 2054-01-08: the last whole day whose seconds stay below 2^30
DAYS_BEFORE = (0, 31, 59, 90, 120, 151, 181, 212, 243, 273, 304, 334, 365)  # each month of a common year
COLDEST_QUARTERS, HOTTEST_QUARTERS = -180, 352  # -45 to 88 degrees: the chip works from -40 to 85, give or take 3


class Ds3231:
    """One chip. `ok` says that `clock_s` is valid: the oscillator never stopped since the clock was set.

    `clock_s` seconds since 2020-01-01 00:00 UTC; `centi_c` with `temperature_ok`, the chip's own temperature in
    hundredths of a degree, measured by it every 64 s; `stopped` 1 while the chip says that its oscillator stopped,
    until `set`; `jumps` how often the clock and the board's ms disagreed, `faults` failed transfers and bad checks,
    both up to 65535.
    """

    def __init__(self, bus, address: int = 0x68) -> None:
        self._bus = bus
        self._address = address
        self._time = bytearray(7)
        self._rest = bytearray(5)  # control, status, ageing offset, temperature
        self._byte = bytearray(1)
        self._running = 0
        self._since_ms = 0  # of the last reading or failure
        self._anchored = 0
        self._anchor_s = 0
        self._anchor_ms = 0
        self.ok = 0
        self.clock_s = 0
        self.stopped = 0
        self.centi_c = 0
        self.temperature_ok = 0
        self.jumps = 0
        self.faults = 0

    def start(self, now_ms: int) -> int:
        """Let the oscillator run from the cell too, and take a first reading; 1 when the chip answers as it should.

        A clock that was never set answers well: 1, with `ok` 0. The stopped flag is left for `set` to clear.
        """
        self._begin(now_ms)
        if self._running:
            self._attempt(now_ms)
        return self._running

    def tick(self, now_ms: int) -> None:
        """One step: a reading when one is due, 18 bytes on the bus."""
        passed_ms = (now_ms - self._since_ms) & RING
        if not self._running:
            if passed_ms >= PAUSE_MS:
                self._begin(now_ms)
            return
        if passed_ms >= READ_EVERY_MS:
            self._attempt(now_ms)

    def _begin(self, now_ms: int) -> None:
        """Let the chip run; the next step reads it."""
        try:
            self._write_byte(CONTROL, CONTROL_VALUE)
        except OSError:
            self._end(0, now_ms)
            return
        self._running = 1
        self._since_ms = (now_ms - READ_EVERY_MS) & RING

    def _attempt(self, now_ms: int) -> None:
        try:
            good = self._read(now_ms)
        except OSError:
            good = 0
        self._end(good, now_ms)

    def _end(self, good: int, now_ms: int) -> None:
        """Keep or drop what is valid after a transfer that was good or failed."""
        self._running = good
        self._since_ms = now_ms
        if good:
            return
        self.ok = 0
        self.temperature_ok = 0
        if self.faults < FAULTS_MAX:
            self.faults += 1

    def set(self, clock_s: int, now_ms: int) -> int:
        """Write the time, read it back, and only then clear the stopped flag; 1 when the chip holds both.

        `clock_s` from 0 to the end of 2054-01-08; anything else is refused with 0 and changes nothing. A setting that
        breaks off, by a cut of power too, leaves a clock that is invalid. About 50 bytes on the bus, 5 ms at 100 kHz:
        not for a tick of the mission.
        """
        if not 0 <= clock_s < (LAST_DAY + 1) * DAY_S:
            return 0
        self.ok = 0
        self._anchored = 0
        try:
            good = self._write_and_verify(clock_s, now_ms)
        except OSError:
            good = 0
        if not good:
            self._spoil()
        self._end(good, now_ms)
        return good

    def _spoil(self) -> None:
        """Leave no half-written time that could be believed."""
        try:
            self._write_byte(YEAR, NO_YEAR)
        except OSError:
            pass  # the year went first and comes back last: what was written so far counts for nothing

    def _write_and_verify(self, clock_s: int, now_ms: int) -> int:
        self._write_byte(CONTROL, CONTROL_VALUE)
        to_registers(clock_s, self._time)
        self._write_byte(YEAR, NO_YEAR)  # so that the time counts once its last byte, the year, is there
        self._bus.writeto_mem(self._address, TIME, self._time)
        if not self._reads_as(clock_s):
            return 0
        self._write_byte(STATUS, 0)
        return 1 if self._read(now_ms) and self.ok and 0 <= self.clock_s - clock_s <= 1 else 0

    def _reads_as(self, clock_s: int) -> int:
        self._bus.readfrom_mem_into(self._address, TIME, self._time)
        return 1 if 0 <= from_registers(self._time) - clock_s <= 1 else 0  # the second may just have turned

    def _read(self, now_ms: int) -> int:
        """Take time, then flags: a stop before the flags were read shows. 0 when anything is impossible."""
        self._bus.readfrom_mem_into(self._address, TIME, self._time)
        self._bus.readfrom_mem_into(self._address, CONTROL, self._rest)
        if self._rest[0] != CONTROL_VALUE or self._rest[1] & IMPOSSIBLE_STATUS or not self._take_temperature():
            return 0
        self.stopped = self._rest[1] >> 7
        if self.stopped:
            self.ok = 0
            self._anchored = 0
            return 1
        clock_s = from_registers(self._time)
        if clock_s < 0:
            return 0
        self._compare(clock_s, now_ms)
        self.clock_s = clock_s
        self.ok = 1
        return 1

    def _take_temperature(self) -> int:
        quarters = self._rest[3] << 2 | self._rest[4] >> 6
        if quarters >= 0x200:
            quarters -= 0x400
        if self._rest[4] & 0x3F or quarters < COLDEST_QUARTERS or quarters > HOTTEST_QUARTERS:
            return 0
        self.centi_c = quarters * 25
        self.temperature_ok = 1
        return 1

    def _compare(self, clock_s: int, now_ms: int) -> None:
        """Count a jump that the counted ms cannot explain, over a stretch long enough to show a clock that stands."""
        passed_ms = (now_ms - self._anchor_ms) & RING
        ahead_s = clock_s - self._anchor_s - passed_ms // 1000
        jumped = self._anchored and not SLOWEST_S <= ahead_s <= FASTEST_S
        if jumped and self.jumps < 65535:
            self.jumps += 1
        if jumped or not self._anchored or passed_ms >= COMPARE_OVER_MS:
            self._anchored = 1
            self._anchor_s = clock_s
            self._anchor_ms = now_ms

    def _write_byte(self, register: int, value: int) -> None:
        self._byte[0] = value
        self._bus.writeto_mem(self._address, register, self._byte)


def from_registers(registers) -> int:
    """Seconds since 2020-01-01 of the seven time registers, in either form of the hours; -1 for no such time.

    The century bit means 2100 and later, beyond what the core counts.
    """
    second = _from_bcd(registers[0], 59)
    minute = _from_bcd(registers[1], 59)
    hour = _hour(registers[2])
    days = _days(_from_bcd(registers[6], 99), _from_bcd(registers[5], 12), _from_bcd(registers[4], 31))
    if second < 0 or minute < 0 or hour < 0 or days < 0:
        return -1
    return days * DAY_S + hour * 3600 + minute * 60 + second


def to_registers(clock_s: int, registers) -> None:
    """Write this time into seven bytes as the chip has them: 24-hour form, Monday is day 1."""
    days = clock_s // DAY_S
    second = clock_s % DAY_S
    rest = days % 1461  # four years from a leap year on
    year = 0 if rest < 366 else 1 + (rest - 366) // 365
    rest -= 0 if year == 0 else 1 + 365 * year
    leap = 1 if year == 0 else 0
    month = 1
    while rest >= _days_before(month + 1, leap):
        month += 1
    registers[0] = _to_bcd(second % 60)
    registers[1] = _to_bcd(second // 60 % 60)
    registers[2] = _to_bcd(second // 3600)
    registers[3] = (days + 2) % 7 + 1  # 2020-01-01 was a Wednesday
    registers[4] = _to_bcd(rest - _days_before(month, leap) + 1)
    registers[5] = _to_bcd(month)
    registers[6] = _to_bcd(FIRST_YEAR + days // 1461 * 4 + year)


def _days(year: int, month: int, day: int) -> int:
    """Days since 2020-01-01, -1 for no such day or one that the core cannot count."""
    if year < FIRST_YEAR or month < 1 or day < 1:
        return -1
    leap = 1 if year % 4 == 0 else 0  # every fourth year to 2099
    in_year = _days_before(month, leap) + day - 1
    if in_year >= _days_before(month + 1, leap):
        return -1
    days = (year - FIRST_YEAR) * 365 + (year - FIRST_YEAR + 3) // 4 + in_year
    return days if days <= LAST_DAY else -1


def _days_before(month: int, leap: int) -> int:
    return DAYS_BEFORE[month - 1] + (leap if month > 2 else 0)


def _hour(register: int) -> int:
    """Hour of the day from either form, -1 for none: bit 6 is the 12-hour form, bit 5 then the afternoon."""
    if not register & 0x40:
        return _from_bcd(register, 23)
    hour = _from_bcd(register & 0x9F, 12)
    if hour < 1:
        return -1
    return hour % 12 + (12 if register & 0x20 else 0)


def _from_bcd(register: int, highest: int) -> int:
    """The two digits, -1 for no digits or more than the highest; bits that must be 0 make it more."""
    value = (register >> 4) * 10 + (register & 0x0F)
    return value if register & 0x0F <= 9 and value <= highest else -1


def _to_bcd(value: int) -> int:
    return value // 10 << 4 | value % 10
