"""The thermometer TMP117 on I2C: its registers and its time.

Source: Texas Instruments, "TMP117 High-Accuracy, Low-Power, Digital Temperature Sensor", SNOSD82D (registers and times
from memory).
"""

from errno import ENODEV

RESULT, SETTINGS, IDENTITY = 0x00, 0x01, 0x0F
ALARMS_AND_EEPROM = {0x02: 0x6000, 0x03: 0x8000, 0x04: 0x0000, 0x05: 0x0000, 0x06: 0x0000, 0x07: 0x0000, 0x08: 0x0000}
FLAGS = 0xF000
DATA_READY = 0x2000
SOFT_RESET = 0x0002

AVERAGED_S = (0.0155, 0.125, 0.5, 1.0)
CYCLE_S = (0.0155, 0.125, 0.25, 0.5, 1.0, 4.0, 8.0, 16.0)
CONTINUOUS, SHUT_DOWN, CONTINUOUS_TOO, ONE_SHOT = range(4)


class TMP117:
    """The chip. The world: `temperature_c`, and `now_s`, which runs the conversions that are due.

    Faults: `absent`; `hung` (converts no more, still answers); `identity` (another chip); `stored_settings` (what the
    EEPROM brings back, 0220h from the factory). `power_cycle()` is a loss of supply.
    """

    def __init__(self, temperature_c: float = 4.0) -> None:
        self.temperature_c = temperature_c
        self.absent = False
        self.hung = False
        self.identity = 0x0117
        self.stored_settings = 0x0220
        self.settings = 0
        self._now_s = 0.0
        self.power_cycle()

    @property
    def now_s(self) -> float:
        """Time of the world."""
        return self._now_s

    @now_s.setter
    def now_s(self, now_s: float) -> None:
        self._now_s = now_s
        while self._due_s is not None and now_s >= self._due_s:
            self._convert()

    def power_cycle(self) -> None:
        """Lose the supply and get it back."""
        self._restart(0.0015)

    def write(self, data: bytes) -> None:
        """A register number, then two bytes for it or none. Raises OSError while absent or in reset."""
        self._check_awake()
        self.pointer = data[0]
        if len(data) == 3 and self.pointer != IDENTITY:
            self._store(data[1] << 8 | data[2])

    def read(self, count: int) -> bytes:
        """The register that was chosen, the upper byte first. Raises OSError while absent or in reset."""
        self._check_awake()
        word = self._word()
        if self.pointer in (RESULT, SETTINGS):
            self.settings &= ~DATA_READY
        return word.to_bytes(2, "big")[:count]

    def _check_awake(self) -> None:
        if self.absent or self._now_s < self._awake_s:
            raise OSError(ENODEV)

    def _word(self) -> int:
        if self.pointer == RESULT:
            return self.result
        if self.pointer == SETTINGS:
            return self.settings
        return self.identity if self.pointer == IDENTITY else self.others.get(self.pointer, 0)

    def _store(self, word: int) -> None:
        if self.pointer == SETTINGS:
            self._set(word)
        elif self.pointer in self.others:
            self.others[self.pointer] = word

    def _set(self, word: int) -> None:
        if word & SOFT_RESET:
            self._restart(0.002)
            return
        self.settings = self.settings & FLAGS | word & ~FLAGS & 0xFFFC
        self._begin(self._now_s)

    def _restart(self, takes_s: float) -> None:
        self.result = 0x8000
        self.pointer = RESULT
        self.others = dict(ALARMS_AND_EEPROM)
        self.settings = self.stored_settings
        self._awake_s = self._now_s + takes_s
        self._begin(self._awake_s)

    def _mode(self) -> int:
        return self.settings >> 10 & 3

    def _begin(self, at_s: float) -> None:
        averaged_s = AVERAGED_S[self.settings >> 5 & 3]
        self._due_s: float | None = None if self._mode() == SHUT_DOWN else at_s + averaged_s

    def _convert(self) -> None:
        finished_s = self._due_s or 0.0
        if self._mode() == ONE_SHOT:
            self.settings = self.settings & ~0x0C00 | SHUT_DOWN << 10
            self._due_s = None
        else:
            self._due_s = finished_s + max(CYCLE_S[self.settings >> 7 & 7], AVERAGED_S[self.settings >> 5 & 3])
        if self.hung:
            return
        steps = round(min(255.9921875, max(-256.0, self.temperature_c)) * 128)
        self.result = steps & 0xFFFF
        self.settings |= DATA_READY
