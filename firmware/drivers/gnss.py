"""A satellite receiver that sends NMEA 0183 sentences over a UART: where the lander is, and the time.

Source: NMEA 0183 (National Marine Electronics Association), sentences GGA and RMC; the standard is not free, and the
order of the fields, the modes and the limit of a line are written from memory. Any talker is heard (GP, GN, GA, …);
every receiver sends both sentences unless it was told not to. The position comes from GGA, which says how good the fix
is; time and date come from RMC, which also says when the receiver itself calls its position void.

Angles are hundred-thousandths of a degree (1.1 m on the ground): 180 degrees stay below 2^30, where integers of a
32-bit board begin to allocate.
"""

from drivers.upkeep import FAULTS_MAX, PAUSE_MS, RING

BYTES_A_TICK = 128
LINE_MAX = 100  # the standard says 82 with its ends; receivers of high resolution send somewhat more
OLD_MS = 10000
GAP_MS = 1000  # bytes that lay in the UART's buffer for longer are dropped: nobody knows how old they are
HDOP_UNKNOWN = 999  # tenths, also the highest that is shown
SATELLITES_MIN = 3  # with fewer there is no position, whatever the sentence says (common practice, no source)
FIRST_YEAR, LAST_YEAR = 20, 53  # of 2000: what began before is a rolled-over week, what comes later is beyond 2^30 s
_NO_ANGLE = 0x3FFFFFFF

_DOLLAR, _COMMA, _STAR, _POINT, _CR, _LF = 36, 44, 42, 46, 13, 10
_MEASURED_FIRST, _MEASURED_LAST = 1, 5  # quality of GGA: 6 is reckoned, 7 typed by hand, 8 simulated
_GGA_FIELDS, _RMC_FIELDS = 15, 12
_FIELDS_MAX = 24
_OUTSIDE = -1  # between sentences
_MEASURED_MODES = b"ADFRP"  # mode of RMC: autonomous, differential, float, real-time kinematic, precise
_MONTH_DAYS = b"\x1f\x1d\x1f\x1e\x1f\x1e\x1f\x1f\x1e\x1f\x1e\x1f"
_DAYS_BEFORE = (0, 31, 59, 90, 120, 151, 181, 212, 243, 273, 304, 334)


class Gnss:
    """A receiver on a UART that the board has opened with the receiver's speed and no timeout.

    `ok` 1 only while a measured fix is younger than `old_ms` and not called void. Then `latitude_deg_e5` (north) and
    `longitude_deg_e5` (east) in hundred-thousandths of a degree, `quality` as GGA has it, `satellites`, `hdop_tenths`
    (rounded up) and `age_ms` since the fix was heard (-1 while there is none). The last position stays readable when
    `ok` is 0. `clock_ok` 1 only while a valid time and date is younger than `old_ms`: then `clock_s`, seconds since
    2020-01-01 00:00 UTC, which runs on between sentences. `faults` are sentences that were cut, noisy or malformed,
    and times when the receiver fell silent.

    Tick it several times a second: after more than `GAP_MS` what waits in the UART is dropped unread.
    """

    def __init__(self, uart, old_ms: int = OLD_MS) -> None:
        self._uart = uart
        self._old_ms = old_ms
        self._bytes = bytearray(BYTES_A_TICK)
        self._line = bytearray(LINE_MAX)
        self._starts = bytearray(_FIELDS_MAX)
        self.ok = 0
        self.latitude_deg_e5 = 0
        self.longitude_deg_e5 = 0
        self.quality = 0
        self.satellites = 0
        self.hdop_tenths = HDOP_UNKNOWN
        self.age_ms = -1
        self.clock_ok = 0
        self.clock_s = 0
        self.faults = 0
        self._tick_ms = 0
        self._running = 0
        self._forget(0)

    def start(self, now_ms: int) -> int:
        """Begin to listen anew, with nothing believed of what came before. 1 unless the UART itself fails."""
        self._forget(now_ms)
        try:
            self._drop = self._uart.any()
        except OSError:
            self._fail(now_ms)
            return 0
        self._running = 1
        return 1

    def tick(self, now_ms: int) -> None:
        """Take at most `BYTES_A_TICK` bytes that have come, and let what is known grow old."""
        if not self._running:
            if (now_ms - self._since_ms) & RING >= PAUSE_MS:
                self.start(now_ms)
            return
        try:
            self._listen(now_ms)
        except OSError:
            self._fail(now_ms)
            return
        self._grow_old(now_ms)

    def _forget(self, now_ms: int) -> None:
        self.ok = 0
        self.clock_ok = 0
        self.age_ms = -1
        self._length = _OUTSIDE
        self._fields = 0
        self._drop = 0
        self._fixed = 0
        self._void = 0
        self._clocked = 0
        self._fix_ms = now_ms
        self._fix_time_ms = -1  # time of day of the last fix: a receiver that repeats itself has no newer one
        self._clock_at_ms = now_ms
        self._clock_time_ms = -1
        self._clock_heard_s = 0
        self._since_ms = now_ms
        self._tick_ms = now_ms

    def _fail(self, now_ms: int) -> None:
        self._forget(now_ms)
        self._running = 0
        self._fault()

    def _fault(self) -> None:
        if self.faults < FAULTS_MAX:
            self.faults += 1

    def _grow_old(self, now_ms: int) -> None:
        # What is too old is forgotten for good, before the counter wraps and makes it look young again.
        if self._fixed and (now_ms - self._fix_ms) & RING > self._old_ms:
            self._fixed = 0
        if self._clocked and (now_ms - self._clock_at_ms) & RING > self._old_ms:
            self._clocked = 0
        self.ok = 1 if self._fixed and not self._void else 0
        self.age_ms = (now_ms - self._fix_ms) & RING if self._fixed else -1
        self.clock_ok = self._clocked
        if self._clocked:
            part_ms = self._clock_time_ms % 1000
            self.clock_s = self._clock_heard_s + (part_ms + ((now_ms - self._clock_at_ms) & RING)) // 1000
        if (now_ms - self._since_ms) & RING > self._old_ms:
            self._fault()
            self.start(now_ms)

    # What comes in.

    def _listen(self, now_ms: int) -> None:
        waiting = self._uart.any()
        if (now_ms - self._tick_ms) & RING > GAP_MS:
            self._drop = waiting
            self._length = _OUTSIDE
        self._tick_ms = now_ms
        count = min(waiting, BYTES_A_TICK)
        if not count:
            return
        got = self._uart.readinto(self._bytes, count) or 0
        dropped = min(self._drop, got)
        self._drop -= dropped
        for at in range(dropped, got):
            self._take(self._bytes[at], now_ms)

    def _take(self, byte: int, now_ms: int) -> None:
        if byte == _DOLLAR:
            if self._length != _OUTSIDE:
                self._fault()
            self._length = 0
            self._starts[0] = 0
            self._fields = 1
            return
        if self._length == _OUTSIDE:
            return
        if byte == _CR or byte == _LF:
            self._sentence(now_ms)
            self._length = _OUTSIDE
            return
        if byte < 32 or byte > 126 or self._length == LINE_MAX:
            self._fault()
            self._length = _OUTSIDE
            return
        self._line[self._length] = byte
        self._length += 1
        if byte == _COMMA and self._fields < _FIELDS_MAX:
            self._starts[self._fields] = self._length
            self._fields += 1

    def _sentence(self, now_ms: int) -> None:
        if not self._sum_right():
            self._fault()
            return
        self._since_ms = now_ms
        kind = self._kind()
        if kind == 1 and not self._take_fix(now_ms):
            self._fault()
        if kind == 2 and not self._take_clock(now_ms):
            self._fault()

    def _sum_right(self) -> bool:
        end = self._length - 3
        if end < 1 or self._line[end] != _STAR:
            return False
        total = 0
        for at in range(end):
            total ^= self._line[at]
        return total == _hex(self._line[end + 1]) * 16 + _hex(self._line[end + 2])

    def _kind(self) -> int:
        """1 for GGA, 2 for RMC, 0 for the rest; an address that begins with P is a maker's own."""
        line = self._line
        if self._end(0) != 5 or line[0] == 80:
            return 0
        if line[2] == 71 and line[3] == 71 and line[4] == 65:
            return 1
        if line[2] == 82 and line[3] == 77 and line[4] == 67:
            return 2
        return 0

    # The two sentences. Each returns False for one that is malformed; then nothing is changed.

    def _take_fix(self, now_ms: int) -> bool:
        if self._fields < _GGA_FIELDS:
            return False
        quality = self._number(self._starts[6], self._end(6), 0)
        if quality < 0:
            return False
        satellites = 0 if self._empty(7) else self._number(self._starts[7], self._end(7), 0)
        if not _MEASURED_FIRST <= quality <= _MEASURED_LAST or 0 <= satellites < SATELLITES_MIN:
            self._fixed = 0
            return True
        time_ms = self._time_of_day_ms(1)
        latitude = self._signed(self._angle(2, 2, 90), 3, 78, 83)
        longitude = self._signed(self._angle(4, 3, 180), 5, 69, 87)
        hdop = HDOP_UNKNOWN * 10 if self._empty(8) else self._number(self._starts[8], self._end(8), 2)
        if time_ms < 0 or latitude == _NO_ANGLE or longitude == _NO_ANGLE or hdop < 0 or satellites < 0:
            return False
        if time_ms == self._fix_time_ms:
            return True
        self.latitude_deg_e5 = latitude
        self.longitude_deg_e5 = longitude
        self.quality = quality
        self.satellites = satellites
        self.hdop_tenths = min((hdop + 9) // 10, HDOP_UNKNOWN)
        self._fix_time_ms = time_ms
        self._fix_ms = now_ms
        self._fixed = 1
        return True

    def _take_clock(self, now_ms: int) -> bool:
        status = self._letter(2)
        if self._fields < _RMC_FIELDS or (status != 65 and status != 86):
            return False
        self._void = 1 if status == 86 or not self._mode_measured() else 0
        if self._void:
            self._clocked = 0
            return True
        time_ms = self._time_of_day_ms(1)
        days = self._days_since_2020(9)
        if time_ms < 0 or days < 0:
            self._clocked = 0  # a receiver that mistakes the day is no clock, whatever it said before
            return False
        if time_ms == self._clock_time_ms:
            return True
        self._clock_heard_s = days * 86400 + time_ms // 1000
        self._clock_time_ms = time_ms
        self._clock_at_ms = now_ms
        self._clocked = 1
        return True

    def _mode_measured(self) -> bool:
        if self._fields <= _RMC_FIELDS or self._empty(12):
            return True  # older receivers send no mode
        letter = self._letter(12)
        for at in range(len(_MEASURED_MODES)):
            if _MEASURED_MODES[at] == letter:
                return True
        return False

    # Fields, read where they stand in the line. -1 says malformed.

    def _end(self, field: int) -> int:
        if field + 1 < self._fields:
            return self._starts[field + 1] - 1
        return self._length - 3

    def _empty(self, field: int) -> bool:
        return self._starts[field] == self._end(field)

    def _letter(self, field: int) -> int:
        """The only byte of a field, 0 when it has none or more."""
        return self._line[self._starts[field]] if self._end(field) - self._starts[field] == 1 else 0

    def _number(self, at: int, end: int, places: int) -> int:
        """An unsigned decimal in units of 10^-places; further places are cut off, with 0 places no point is taken."""
        value = 0
        digits = 0
        missing = -1  # places still to come, once the point was seen
        while at < end:
            byte = self._line[at]
            at += 1
            if byte == _POINT and missing < 0 and places:
                missing = places
            elif not 48 <= byte <= 57 or value >= 100000000:
                return -1
            elif missing != 0:
                value = value * 10 + byte - 48
                digits += 1
                if missing > 0:
                    missing -= 1
        if not digits:
            return -1
        if missing < 0:
            missing = places
        for _place in range(missing):
            if value >= 100000000:
                return -1
            value *= 10
        return value

    def _angle(self, field: int, degree_digits: int, degrees_max: int) -> int:
        """Degrees and minutes (ddmm.mmm) in hundred-thousandths of a degree, rounded."""
        if not self._whole_digits(field, degree_digits + 2):
            return -1
        split = self._starts[field] + degree_digits
        degrees = self._number(self._starts[field], split, 0)
        minutes_e5 = self._number(split, self._end(field), 5)
        if minutes_e5 < 0 or minutes_e5 >= 6000000 or degrees < 0:
            return -1
        angle = degrees * 100000 + (minutes_e5 + 30) // 60
        return angle if angle <= degrees_max * 100000 else -1

    def _signed(self, angle: int, field: int, plus: int, minus: int) -> int:
        """The angle with the sign of its hemisphere; `_NO_ANGLE` when either is malformed."""
        letter = self._letter(field)
        if angle < 0 or (letter != plus and letter != minus):
            return _NO_ANGLE
        return angle if letter == plus else -angle

    def _whole_digits(self, field: int, digits: int) -> bool:
        """Whether the field is so long before its point, or before its end."""
        point = self._starts[field] + digits
        end = self._end(field)
        return point == end or (point < end and self._line[point] == _POINT)

    def _time_of_day_ms(self, field: int) -> int:
        at = self._starts[field]
        if not self._whole_digits(field, 6):
            return -1
        hours = self._number(at, at + 2, 0)
        minutes = self._number(at + 2, at + 4, 0)
        seconds_ms = self._number(at + 4, self._end(field), 3)
        if not 0 <= hours < 24 or not 0 <= minutes < 60 or not 0 <= seconds_ms < 61000:  # a leap second is the 61st
            return -1
        return hours * 3600000 + minutes * 60000 + seconds_ms

    def _days_since_2020(self, field: int) -> int:
        at = self._starts[field]
        if self._end(field) - at != 6:
            return -1
        day = self._number(at, at + 2, 0)
        month = self._number(at + 2, at + 4, 0)
        year = self._number(at + 4, at + 6, 0)
        if not FIRST_YEAR <= year <= LAST_YEAR or not 1 <= month <= 12 or not 1 <= day <= _MONTH_DAYS[month - 1]:
            return -1
        leap = year % 4 == 0
        if month == 2 and day == 29 and not leap:
            return -1
        years = year - FIRST_YEAR
        days = years * 365 + (years + 3) // 4 + _DAYS_BEFORE[month - 1] + day - 1
        return days + 1 if leap and month > 2 else days


def _hex(byte: int) -> int:
    """The value of a hexadecimal digit of either case; 256, which no sum reaches, for any other byte."""
    if 48 <= byte <= 57:
        return byte - 48
    if 65 <= byte <= 70:
        return byte - 55
    if 97 <= byte <= 102:
        return byte - 87
    return 256
