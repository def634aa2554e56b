"""Simulated supply monitor INA226, as an I2C chip on `buses.I2CBus`.

From Texas Instruments SBOS547 (registers, flags and typical conversion times from memory of that sheet). Its alert pin
is not simulated. What the current register holds after a math overflow is not in the sheet: here the low 16 bits.
"""

from errno import EIO, ENODEV

POWER_ON = {0x00: 0x4127, 0x01: 0, 0x02: 0, 0x03: 0, 0x04: 0, 0x05: 0, 0x06: 0, 0x07: 0, 0xFE: 0x5449, 0xFF: 0x2260}
SAMPLES = [1, 4, 16, 64, 128, 256, 512, 1024]
TIMES_S = [140e-6, 204e-6, 332e-6, 588e-6, 1.1e-3, 2.116e-3, 4.156e-3, 8.244e-3]
WRITABLE = {0x00: 0x0FFF, 0x05: 0x7FFF, 0x06: 0xFC03, 0x07: 0xFFFF}
CVRF, OVF = 1 << 3, 1 << 2


class Ina226Chip:
    """A chip with a load. The caller sets `now_s`, the load's `supply_mv` and `current_ma`, and the shunt.

    `shunt_mv` may be set instead of the current: it then holds until set to None. Faults: `absent` (no acknowledge),
    `stopped` (no further conversion), `corrupt_next` (so many reads come out inverted); `power_on()` is a brownout.
    """

    def __init__(self, shunt_micro_ohm: int, supply_mv: float = 12000.0, current_ma: float = 0.0) -> None:
        self.now_s = 0.0
        self.supply_mv = supply_mv
        self.current_ma = current_ma
        self.shunt_micro_ohm = shunt_micro_ohm
        self.shunt_mv: float | None = None
        self.absent = False
        self.stopped = False
        self.corrupt_next = 0
        self.power_on()

    def power_on(self) -> None:
        """Every register as after power came, and a first conversion begun."""
        self.registers = dict(POWER_ON)
        self.pointer = 0
        self.begun_s: float | None = self.now_s

    def write(self, data: bytes) -> None:
        """Pointer, and a register's two bytes. Raises OSError for a pointer that no register has."""
        self._answer()
        if data and data[0] not in self.registers:
            raise OSError(EIO)
        if data:
            self.pointer = data[0]
        if len(data) >= 3 and self.pointer in WRITABLE:
            self._store(int.from_bytes(data[1:3], "big"))

    def read(self, count: int) -> bytes:
        """The register at the pointer, most significant byte first, again for more bytes than two."""
        self._answer()
        word = self.registers[self.pointer].to_bytes(2, "big")
        if self.pointer == 0x06:
            self.registers[0x06] &= ~CVRF  # reading it takes the ready flag down
        if self.corrupt_next:
            self.corrupt_next -= 1
            word = bytes(byte ^ 0xFF for byte in word)
        return (word * count)[:count]

    @property
    def conversion_s(self) -> float:
        """How long one reading takes with the present configuration, averages included."""
        setting = self.registers[0x00]
        bus_s = TIMES_S[setting >> 6 & 7] if setting & 2 else 0.0
        shunt_s = TIMES_S[setting >> 3 & 7] if setting & 1 else 0.0
        return SAMPLES[setting >> 9 & 7] * (bus_s + shunt_s)

    def _store(self, word: int) -> None:
        kept = self.registers[self.pointer] & ~WRITABLE[self.pointer]
        if self.pointer == 0x00 and word & 0x8000:
            self.power_on()
            return
        self.registers[self.pointer] = kept | word & WRITABLE[self.pointer]
        if self.pointer == 0x00:
            running = word & 3  # of the three mode bits, these two say what is measured; none is power-down
            self.begun_s = self.now_s if running else None
            if running:
                self.registers[0x06] &= ~CVRF

    def _answer(self) -> None:
        if self.absent:
            raise OSError(ENODEV)
        if self.begun_s is None or self.stopped:
            return
        whole = int((self.now_s - self.begun_s) / self.conversion_s + 1e-9)
        if whole < 1:
            return
        self._convert()
        self.begun_s = self.begun_s + whole * self.conversion_s if self.registers[0x00] & 4 else None

    def _convert(self) -> None:
        setting = self.registers[0x00]
        flags = self.registers[0x06] & ~OVF
        if setting & 1:
            millivolts = self.current_ma * self.shunt_micro_ohm * 1e-6 if self.shunt_mv is None else self.shunt_mv
            self.registers[0x01] = max(-32768, min(32767, round(millivolts / 2.5e-3))) & 0xFFFF
        if setting & 2:
            self.registers[0x02] = max(0, min(32767, round(self.supply_mv / 1.25)))
        shunt = (self.registers[0x01] ^ 0x8000) - 0x8000
        current = int(shunt * self.registers[0x05] / 2048)
        power = abs(current) * self.registers[0x02] // 20000
        self.registers[0x04] = current & 0xFFFF
        self.registers[0x03] = power & 0xFFFF
        overflowed = not -32768 <= current <= 32767 or power > 0xFFFF
        self.registers[0x06] = flags | CVRF | (OVF if overflowed else 0)
