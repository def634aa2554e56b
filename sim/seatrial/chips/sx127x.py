"""A LoRa radio SX1276/77/78/79 on SPI: registers, FIFO, modes and the time a frame is on the air.

Source: Semtech SX1276/77/78/79 datasheet, chapters 4 and 6, values after reset from the register tables; from memory.
"""

import math
from dataclasses import dataclass

REGISTERS = 0x71
CRYSTAL_HZ = 32e6
SLEEP, STANDBY, TRANSMIT = 0, 1, 3
BANDWIDTH_HZ = (500e3 / 64, 500e3 / 48, 500e3 / 32, 500e3 / 24, 500e3 / 16, 500e3 / 12, 62.5e3, 125e3, 250e3, 500e3)
WAKES_AFTER_S = 0.005  # after a reset by the pin
AFTER_RESET = {  # LoRa page and the common registers
    0x01: 0x09, 0x06: 0x6C, 0x07: 0x80, 0x08: 0x00, 0x09: 0x4F, 0x0A: 0x09, 0x0B: 0x2B, 0x0C: 0x20, 0x0D: 0x00,
    0x0E: 0x80, 0x0F: 0x00, 0x1D: 0x72, 0x1E: 0x70, 0x1F: 0x64, 0x20: 0x00, 0x21: 0x08, 0x22: 0x01, 0x23: 0xFF,
    0x26: 0x04, 0x31: 0xC3, 0x33: 0x27, 0x37: 0x0A, 0x39: 0x12, 0x42: 0x12, 0x4D: 0x84,
}


@dataclass(frozen=True)
class Frame:
    """What went on the air."""

    start_s: float
    air_s: float
    payload: bytes
    frequency_hz: float
    spreading_factor: int
    bandwidth_hz: float
    coding_rate: int
    power_dbm: float
    sync_word: int
    crc: bool
    low_data_rate: bool


class Sx127x:
    """A device on an `SPIBus`; `cs` and `reset` are its pins. The caller moves `now_s` on.

    `frames` went on the air whole, `cut` frames began and were broken off.

    Faults: `absent` (the bus floats high), `grounded` (it reads as zeros), `never_done` (a frame without an end),
    `browns_out` (the supply breaks when a frame begins), `corrupt_next` (so many reads get a wrong bit), `deaf_next`
    (so many writes are lost).
    """

    def __init__(self) -> None:
        self.frames: list[Frame] = []
        self.cut: list[Frame] = []
        self.absent = self.grounded = self.never_done = self.browns_out = False
        self.corrupt_next = 0
        self.deaf_next = 0
        self.resets = 0
        self._now_s = 0.0
        self._awake_s = 0.0
        self._selected = False
        self._held = False
        self._address: int | None = None
        self._on_air: Frame | None = None
        self.power_up()

    @property
    def now_s(self) -> float:
        """The time of the sea; setting it ends a frame that is over by then."""
        return self._now_s

    @now_s.setter
    def now_s(self, now_s: float) -> None:
        self._now_s = now_s
        frame = self._on_air
        if frame and not self.never_done and now_s >= frame.start_s + frame.air_s:
            self.frames.append(frame)
            self._on_air = None
            self.registers[0x01] = self.registers[0x01] & ~7 | STANDBY
            self._flag(0x08)

    def power_up(self) -> None:
        """All registers as after reset; a frame on the air is broken off."""
        self.registers = bytearray(REGISTERS)
        for register, value in AFTER_RESET.items():
            self.registers[register] = value
        self.fifo = bytearray(256)
        self._break_off()

    def cs(self, level: int | None = None) -> int | None:
        """Chip select: low opens a transfer, high ends it."""
        if level is None:
            return 0 if self._selected else 1
        self._selected = not level
        self._address = None
        return None

    def reset(self, level: int | None = None) -> int | None:
        """The reset pin: low holds the chip in reset."""
        if level is None:
            return 0 if self._held else 1
        if self._held and level:
            self._awake_s = self._now_s + WAKES_AFTER_S
        if not level:
            self.resets += 1
            self.power_up()
        self._held = not level
        return None

    def exchange(self, byte: int) -> int | None:
        """Take a byte and give one while selected; else nothing is heard and the line let go."""
        if self.grounded:
            return 0x00
        if not self._selected or self.absent or self._held or self._now_s < self._awake_s:
            return None
        if self._address is None:
            self._address = byte
            return 0x00
        register = self._address & 0x7F
        if self._address & 0x80:
            self._store(register, byte)
            answer = 0x00
        else:
            answer = self._fetch(register)
        if register:  # a burst goes on to the next register, but stays at the FIFO
            self._address = self._address & 0x80 | (register + 1) & 0x7F
        return answer

    def _fetch(self, register: int) -> int:
        if register == 0 and self._mode() != SLEEP:
            value = self.fifo[self._step_fifo()]
        else:
            value = self.registers[register] if 0 < register < REGISTERS else 0x00
        if self.corrupt_next:
            self.corrupt_next -= 1
            value ^= 0x10
        return value

    def _store(self, register: int, value: int) -> None:
        if self.deaf_next:
            self.deaf_next -= 1
            return
        if register == 0:
            if self._mode() != SLEEP:
                self.fifo[self._step_fifo()] = value
        elif register == 0x01:
            self._change_mode(value)
        elif register == 0x12:
            self.registers[0x12] &= ~value  # a one clears
        elif register != 0x42 and register < REGISTERS:
            self.registers[register] = value

    def _step_fifo(self) -> int:
        at = self.registers[0x0D]
        self.registers[0x0D] = (at + 1) & 0xFF
        return at

    def _mode(self) -> int:
        return self.registers[0x01] & 7

    def _change_mode(self, value: int) -> None:
        if self._mode() != SLEEP:
            value = value & 0x7F | self.registers[0x01] & 0x80  # the modem is chosen only while the chip sleeps
        self.registers[0x01] = value
        if value & 7 == SLEEP:
            self.fifo = bytearray(256)
        if value & 7 != TRANSMIT:
            self._break_off()
        elif value & 0x80:
            self._transmit()

    def _transmit(self) -> None:
        self._on_air = self._frame()
        if self.browns_out:
            self.power_up()

    def _break_off(self) -> None:
        if self._on_air:
            self.cut.append(self._on_air)
        self._on_air = None

    def _flag(self, bit: int) -> None:
        self.registers[0x12] |= bit & ~self.registers[0x11]

    def _frame(self) -> Frame:
        reg = self.registers
        length, base = reg[0x22], reg[0x0E]
        steps = reg[0x06] << 16 | reg[0x07] << 8 | reg[0x08]
        return Frame(
            start_s=self._now_s, air_s=self._air_s(length),
            payload=bytes(self.fifo[(base + at) & 0xFF] for at in range(length)),
            frequency_hz=steps * CRYSTAL_HZ / 2 ** 19, spreading_factor=reg[0x1E] >> 4,
            bandwidth_hz=BANDWIDTH_HZ[reg[0x1D] >> 4], coding_rate=reg[0x1D] >> 1 & 7, power_dbm=self._power_dbm(),
            sync_word=reg[0x39], crc=bool(reg[0x1E] & 4), low_data_rate=bool(reg[0x26] & 8))

    def _power_dbm(self) -> float:
        config = self.registers[0x09]
        if config & 0x80:
            return (20 if self.registers[0x4D] == 0x87 else 17) - (15 - (config & 15))
        return 10.8 + 0.6 * (config >> 4 & 7) - (15 - (config & 15))

    def _air_s(self, length: int) -> float:
        """Section 4.1.1.7: preamble and payload symbols, each as long as 2^SF / bandwidth."""
        reg = self.registers
        factor = reg[0x1E] >> 4
        symbol_s = 2 ** factor / BANDWIDTH_HZ[reg[0x1D] >> 4]
        preamble_s = ((reg[0x20] << 8 | reg[0x21]) + 4.25) * symbol_s
        implicit, crc, slow = reg[0x1D] & 1, reg[0x1E] >> 2 & 1, reg[0x26] >> 3 & 1
        over = (8 * length - 4 * factor + 28 + 16 * crc - 20 * implicit) / (4 * (factor - 2 * slow))
        return preamble_s + (8 + max(math.ceil(over) * ((reg[0x1D] >> 1 & 7) + 4), 0)) * symbol_s
