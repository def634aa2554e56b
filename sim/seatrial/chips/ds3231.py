"""Simulated real-time clock DS3231, as an I2C chip on `buses.I2CBus`.

From Maxim Integrated 19-5170 (registers and power-on values from memory of that sheet). Alarms, ageing offset, square
wave and 32 kHz output are registers only.
"""

import datetime
from errno import ENODEV

LAST_REGISTER = 0x12
CONTROL, STATUS, TEMPERATURE = 0x0E, 0x0F, 0x11
EOSC, CONV, OSF = 0x80, 0x20, 0x80
TEMPERATURE_EVERY_S = 64.0
# Bits that exist in each register; the temperature is only read.
EXISTING = bytes.fromhex("7f7f7f073f9fff" "ffffffff" "ffffff" "ff" "8f" "ff")


class Ds3231Chip:
    """A clock chip. The caller sets `now_s`; the clock runs with it, `drift_ppm` fast, once it has a possible time.

    `temperature_c` is measured every 64 s. `vcc` False leaves the chip on its cell: it keeps time, if its EOSC bit
    allows, and does not answer. Faults: `absent`, `oscillator_stopped`, `stuck` (the time stands with no flag),
    `corrupt_next` (so many reads come out inverted); `lose_power()` is an empty cell.
    """

    def __init__(self, temperature_c: float = 15.0, drift_ppm: float = 0.0) -> None:
        self._now_s = 0.0
        self.temperature_c = temperature_c
        self.drift_ppm = drift_ppm
        self.absent = False
        self.stuck = False
        self.corrupt_next = 0
        self.lose_power()

    def lose_power(self) -> None:
        """Every register as at first power: 2000-01-01 00:00, oscillator stopped in the past."""
        self.registers = bytearray.fromhex("00000001010100" "00000000" "000000" "1c" "88" "00" "0000")
        self.pointer = 0
        self.fraction_s = 0.0
        self.vcc = True
        self._oscillator_stopped = False
        self._measured_s = self._now_s
        self._measure()

    def set_time(self, when: datetime.datetime) -> None:
        """As if somebody had set the clock well, in 24-hour form."""
        self._show(when)
        self.fraction_s = 0.0
        self.registers[STATUS] &= ~OSF & 0xFF

    @property
    def now_s(self) -> float:
        """The caller's time, to which setting it takes the chip."""
        return self._now_s

    @now_s.setter
    def now_s(self, now_s: float) -> None:
        passed_s = now_s - self._now_s
        self._now_s = now_s
        if self._oscillates() and not self.stuck:
            self._count(passed_s * (1.0 + self.drift_ppm * 1e-6))
        if now_s - self._measured_s >= TEMPERATURE_EVERY_S:
            self._measured_s = now_s
            self._measure()

    @property
    def oscillator_stopped(self) -> bool:
        """The fault of a crystal that stands."""
        return self._oscillator_stopped

    @oscillator_stopped.setter
    def oscillator_stopped(self, stopped: bool) -> None:
        self._oscillator_stopped = stopped
        self._oscillates()

    def write(self, data: bytes) -> None:
        """Pointer, then registers from it on; after the last comes the first."""
        self._answer()
        if not data:
            return
        self.pointer = data[0] % (LAST_REGISTER + 1)
        for byte in data[1:]:
            self._store(self.pointer, byte)
            self.pointer = (self.pointer + 1) % (LAST_REGISTER + 1)

    def read(self, count: int) -> bytes:
        """Registers from the pointer on, all of the instant of the transfer's start."""
        self._answer()
        latched = bytes(self.registers)
        found = bytes(latched[(self.pointer + place) % len(latched)] for place in range(count))
        self.pointer = (self.pointer + count) % len(latched)
        if self.corrupt_next:
            self.corrupt_next -= 1
            return bytes(byte ^ 0xFF for byte in found)
        return found

    @property
    def when(self) -> datetime.datetime | None:
        """What the time registers show, None when they show no time."""
        second, minute, hour, _weekday, day, month, year = self.registers[:7]
        try:
            if hour & 0x40:
                text = "%02x %s" % (hour & 0x1F, "PM" if hour & 0x20 else "AM")
                hours = datetime.datetime.strptime(text, "%I %p").hour
            else:
                hours = int("%02x" % hour)
            century = 2100 if month & 0x80 else 2000
            return datetime.datetime(century + int("%02x" % year), int("%02x" % (month & 0x1F)), int("%02x" % day),
                                     hours, int("%02x" % minute), int("%02x" % second))
        except ValueError:
            return None

    def _answer(self) -> None:
        if self.absent or not self.vcc:
            raise OSError(ENODEV)

    def _store(self, register: int, byte: int) -> None:
        if register >= TEMPERATURE:
            return
        byte &= EXISTING[register]
        if register == STATUS:
            was = self.registers[STATUS]
            byte = byte & 0x08 | was & 0x04 | was & byte & 0x83  # flags are cleared by 0, never set by 1
        if register == 0:
            self.fraction_s = 0.0  # writing the seconds restarts the chain of dividers
        self.registers[register] = byte
        if register == CONTROL and byte & CONV:
            self._measure()
            self.registers[CONTROL] &= ~CONV
        self._oscillates()

    def _oscillates(self) -> bool:
        """Whether the crystal swings; if not, the flag that tells so is set."""
        halted = not self.vcc and self.registers[CONTROL] & EOSC
        if self._oscillator_stopped or halted:
            self.registers[STATUS] |= OSF
            return False
        return True

    def _count(self, seconds: float) -> None:
        self.fraction_s += seconds
        whole = int(self.fraction_s + 1e-6)  # sums of tenths fall short of the second by a rounding
        self.fraction_s -= whole
        when = self.when
        if whole and when is not None:
            self._show(when + datetime.timedelta(seconds=whole), bool(self.registers[2] & 0x40), when)

    def _show(self, when: datetime.datetime, twelve_hours: bool = False,
              before: datetime.datetime | None = None) -> None:
        digits = [int(text, 16) for text in when.strftime("%S %M %H %d %m %y %I").split()]
        self.registers[0:2] = bytes(digits[0:2])
        afternoon = 0x20 if when.hour >= 12 else 0
        self.registers[2] = 0x40 | afternoon | digits[6] if twelve_hours else digits[2]
        if before is None:
            self.registers[3] = when.isoweekday()
        else:
            self.registers[3] = (self.registers[3] - 1 + (when.date() - before.date()).days) % 7 + 1
        self.registers[4] = digits[3]
        self.registers[5] = digits[4] | (0x80 if when.year >= 2100 else 0)
        self.registers[6] = digits[5]

    def _measure(self) -> None:
        quarters = round(self.temperature_c * 4) & 0x3FF
        self.registers[TEMPERATURE] = quarters >> 2
        self.registers[TEMPERATURE + 1] = (quarters & 3) << 6
