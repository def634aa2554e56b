"""Thermometer TMP117 on I2C.

Source: Texas Instruments, "TMP117 High-Accuracy, Low-Power, Digital Temperature Sensor", SNOSD82D. Registers and times
are written from memory of it; its table of temperatures is tested as printed.

The chip converts by itself once a second (eight conversions averaged, its setting from the factory) and raises a flag
for each new result, which reading takes down. The driver takes a result only with the flag up. It begins with the
chip's own reset, after which the result reads 8000h until the first conversion is over, so that a value from before is
never shown. The chip has no checksum: its settings are read with every result, and a result outside -55 to 150 degC is
refused.
"""

from drivers.upkeep import FAULTS_MAX, RING

_RESULT = 0x00
_SETTINGS = 0x01
_IDENTITY = 0x0F

_IDENTITY_MASK = 0x0FFF  # the upper four bits count revisions
_IDENTITY_TMP117 = 0x0117

_ONCE_A_SECOND = b"\x02\x20"
_ONCE_A_SECOND_BITS = 0x0220
_SETTINGS_MASK = 0x0FFC  # without alerts, flags and the reset
_RESET = b"\x02\x22"
_NEW_RESULT = 0x2000

_LOWEST = -55 * 128
_HIGHEST = 150 * 128

_RESET_MS = 4  # 2 by the datasheet, and the steps of the clock
_POLL_MS = 100
_FRESH_MS = 3000  # three results missed
_RETRY_MS = 1000

_FAILED, _RESETTING, _MEASURING = range(3)


def centi_c_of(raw: int) -> int:
    """Hundredths of a degree, rounded down, of a signed number of 7.8125 thousandths of a degree."""
    return (raw * 25) >> 5


class Tmp117:
    """One thermometer at `address` (48h to 4Bh).

    `ok` is 1 only while `centi_c` (hundredths of a degree Celsius) is fresh and believable, that is not older than 3 s;
    `faults` counts what failed so far, up to 65535.
    """

    __slots__ = ("bus", "address", "ok", "centi_c", "faults", "_word", "_state", "_since_ms", "_polled_ms", "_fresh_ms")

    def __init__(self, bus, address: int = 0x48) -> None:
        self.bus = bus
        self.address = address
        self.ok = 0
        self.centi_c = 0
        self.faults = 0
        self._word = bytearray(2)
        self._state = _FAILED
        self._since_ms = 0
        self._polled_ms = 0
        self._fresh_ms = 0

    def start(self, now_ms: int) -> int:
        """Check what chip it is and reset it; 1 if it is a TMP117 that answers. Takes under 1 ms."""
        self.ok = 0
        try:
            if self._read(_IDENTITY) & _IDENTITY_MASK != _IDENTITY_TMP117:
                return self._fail(now_ms)
            self.bus.writeto_mem(self.address, _SETTINGS, _RESET)
        except OSError:
            return self._fail(now_ms)
        self._go(_RESETTING, now_ms)
        return 1

    def tick(self, now_ms: int) -> None:
        """One step; at most two registers are read."""
        passed_ms = (now_ms - self._since_ms) & RING
        try:
            if self._state == _MEASURING:
                self._measure(now_ms)
            elif self._state == _RESETTING and passed_ms >= _RESET_MS:
                self._settle(now_ms)
            elif self._state == _FAILED and passed_ms >= _RETRY_MS:
                self.start(now_ms)
        except OSError:
            self._fail(now_ms)

    def _settle(self, now_ms: int) -> None:
        """The reset brought back what the EEPROM holds, which somebody may have changed."""
        self.bus.writeto_mem(self.address, _SETTINGS, _ONCE_A_SECOND)
        self._go(_MEASURING, now_ms)
        self._polled_ms = now_ms
        self._fresh_ms = now_ms

    def _measure(self, now_ms: int) -> None:
        if (now_ms - self._polled_ms) & RING >= _POLL_MS:
            self._polled_ms = now_ms
            self._poll(now_ms)
        if self._state == _MEASURING and (now_ms - self._fresh_ms) & RING > _FRESH_MS:
            self._fail(now_ms)

    def _poll(self, now_ms: int) -> None:
        settings = self._read(_SETTINGS)
        if settings & _SETTINGS_MASK != _ONCE_A_SECOND_BITS:
            self._fail(now_ms)
        elif settings & _NEW_RESULT:
            self._take(self._read(_RESULT), now_ms)

    def _take(self, word: int, now_ms: int) -> None:
        # 8000h stands for no conversion yet: it would be -256 degC, and falls to the same check.
        raw = word - 0x10000 if word >= 0x8000 else word
        if raw < _LOWEST or raw > _HIGHEST:
            self._fail(now_ms)
            return
        self.centi_c = centi_c_of(raw)
        self._fresh_ms = now_ms
        self.ok = 1

    def _read(self, register: int) -> int:
        self.bus.readfrom_mem_into(self.address, register, self._word)
        return self._word[0] << 8 | self._word[1]

    def _go(self, state: int, now_ms: int) -> None:
        self._state = state
        self._since_ms = now_ms

    def _fail(self, now_ms: int) -> int:
        self.ok = 0
        if self.faults < FAULTS_MAX:
            self.faults += 1
        self._go(_FAILED, now_ms)
        return 0
