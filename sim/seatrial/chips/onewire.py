"""A 1-Wire bus, and the thermometer DS18B20 on it, bit by bit.

Source: Maxim Integrated, "DS18B20 Programmable Resolution 1-Wire Digital Thermometer" (from memory); the checksum is
the shift register of Maxim Application Note 27.

The bus is a line that anybody can pull low: what the master reads is the AND of all. It counts the time that its slots
take (`spent_us`), so that a driver can be held to a limit.
"""

from collections.abc import Generator, Iterable

RESET_US = 960  # 480 low, 480 for the presence pulse
SLOT_US = 70  # 60 to 120 and a recovery of 1 at least; what a byte of 0.6 ms at most allows

Talk = Generator[int | None, int, None]


def checksum(data: Iterable[int]) -> int:
    """The 8-bit shift register of Application Note 27, fed with the lowest bit of each byte first."""
    register = [0] * 8
    for byte in data:
        for place in range(8):
            feedback = register[7] ^ (byte >> place & 1)
            register = [feedback, *register[:7]]
            register[4] ^= feedback
            register[5] ^= feedback
    return sum(bit << (7 - place) for place, bit in enumerate(register))


class OneWireBus:
    """The line, with the methods of MicroPython's OneWire. `chips` hang on it; setting `now_s` sets their time.

    Faults: `shorted` (held low: every reset looks answered, every bit reads 0), `cut` (nobody is reached), `flip_next`
    (so many of the next bits read come out wrong).
    """

    def __init__(self, *chips: "DS18B20") -> None:
        self.chips = list(chips)
        self.shorted = False
        self.cut = False
        self.flip_next = 0
        self.spent_us = 0
        self.resets = 0
        self._now_s = 0.0

    @property
    def now_s(self) -> float:
        """Time of the world."""
        return self._now_s

    @now_s.setter
    def now_s(self, now_s: float) -> None:
        self._now_s = now_s
        for chip in self.chips:
            chip.now_s = now_s

    def reset(self) -> bool:
        """True when the line is low at the time of the presence pulse."""
        self.spent_us += RESET_US
        self.resets += 1
        if self.shorted:
            return True
        return any([chip.reset() for chip in self._reached()])

    def writebit(self, bit: int) -> None:
        """One slot of the master."""
        self._slot(bit & 1)

    def readbit(self) -> int:
        """One slot in which the master lets go of the line."""
        level = self._slot(1)
        if self.flip_next:
            self.flip_next -= 1
            level ^= 1
        return level

    def writebyte(self, byte: int) -> None:
        """Eight slots, the lowest bit first."""
        for place in range(8):
            self.writebit(byte >> place)

    def readbyte(self) -> int:
        """Eight slots, the lowest bit first."""
        return sum(self.readbit() << place for place in range(8))

    def _reached(self) -> list["DS18B20"]:
        return [] if self.cut else [chip for chip in self.chips if not chip.absent]

    def _slot(self, bit: int) -> int:
        self.spent_us += SLOT_US
        if self.shorted:
            return 0
        chips = self._reached()
        level = min([bit, *(chip.drives() for chip in chips)])
        for chip in chips:
            chip.sees(level)
        return level


class DS18B20:
    """The thermometer. `rom` is its 8-byte code, or its 6-byte serial number, completed with family and checksum.

    The world: `temperature_c`, `now_s`. Faults: `absent`; `parasite` (the supply wire is broken: a conversion pulls the
    chip down, and it starts anew); `deaf` (does not begin conversions); `endless` (a conversion never ends);
    `recall_s` (how long the EEPROM takes). `conversions` and `brownouts` count. `power_cycle()` is a loss of supply.
    """

    CONVERSION_S = (0.09375, 0.1875, 0.375, 0.75)  # at 9, 10, 11, 12 bits, the longest allowed

    def __init__(self, rom: bytes, temperature_c: float = 4.0,
                 eeprom: tuple[int, int, int] = (0x4B, 0x46, 0x7F)) -> None:
        body = bytes(rom) if len(rom) == 8 else bytes([0x28]) + bytes(rom)
        self.rom = body if len(rom) == 8 else body + bytes([checksum(body)])
        self.temperature_c = temperature_c
        self.now_s = 0.0
        self.absent = False
        self.parasite = False
        self.deaf = False
        self.endless = False
        self.recall_s = 0.0
        self.conversion_s: float | None = None  # another duration than the longest allowed
        self.eeprom = bytearray(eeprom)
        self.eeprom_writes = 0
        self.conversions = 0
        self.brownouts = 0
        self.power_cycle()

    def power_cycle(self) -> None:
        """Lose the supply and get it back: +85 degC, and what the EEPROM holds."""
        self.scratchpad = bytearray((0x50, 0x05, *self.eeprom, 0xFF, 0x0C, 0x10))
        self._done_s: float | None = None
        self._ready_s = self.now_s
        self._recalling = False
        self._hang_up()

    def _hang_up(self) -> None:
        self._talk: Talk | None = None
        self._out: int | None = 1

    def reset(self) -> bool:
        """A reset pulse; the chip answers with presence. A conversion goes on."""
        self._talk = self._listen()
        self._out = next(self._talk)
        return True

    def drives(self) -> int:
        """What the chip does to the line in the slot that begins: 0 pulls it low."""
        if self._out is None:
            return 0 if self._busy() else 1
        return self._out

    def sees(self, level: int) -> None:
        """The level of the slot that ended."""
        if self._talk is None:
            return
        try:
            self._out = self._talk.send(level)
        except StopIteration:
            self._hang_up()

    def _busy(self) -> bool:
        self._finish_conversion()
        self._finish_recall()
        return self._done_s is not None or self.now_s < self._ready_s

    def _finish_conversion(self) -> None:
        if self._done_s is None or self.now_s < self._done_s or self.endless:
            return
        self._done_s = None
        self.conversions += 1
        sixteenths = round(min(125.0, max(-55.0, self.temperature_c)) * 16)
        unused = 3 - self._resolution()
        self.scratchpad[0:2] = (sixteenths >> unused << unused & 0xFFFF).to_bytes(2, "little")

    def _finish_recall(self) -> None:
        if self._recalling and self.now_s >= self._ready_s:
            self._recalling = False
            self.scratchpad[2:5] = self.eeprom

    def _resolution(self) -> int:
        return self.scratchpad[4] >> 5 & 3

    def _listen(self) -> Talk:
        command = yield from self._take_byte()
        if command == 0x33:
            yield from self._give(self.rom)
        elif command == 0xF0:
            if not (yield from self._searched()):
                return
        elif command == 0x55:
            if not (yield from self._matched()):
                return
        elif command != 0xCC:
            return
        yield from self._serve((yield from self._take_byte()))

    def _matched(self) -> Generator[int | None, int, bool]:
        for bit in self._bits(self.rom):
            if (yield 1) != bit:
                return False
        return True

    def _searched(self) -> Generator[int | None, int, bool]:
        for bit in self._bits(self.rom):
            yield bit
            yield 1 - bit
            if (yield 1) != bit:
                return False
        return True

    def _serve(self, command: int) -> Talk:
        if command == 0x44:
            yield from self._convert()
        elif command == 0xBE:
            self._finish_conversion()
            self._finish_recall()
            yield from self._give(bytes(self.scratchpad) + bytes([checksum(self.scratchpad)]))
        elif command == 0x4E:
            for place in (2, 3, 4):
                byte = yield from self._take_byte()
                self.scratchpad[place] = byte & 0x60 | 0x1F if place == 4 else byte
        elif command == 0x48:
            self.eeprom[:] = self.scratchpad[2:5]
            self.eeprom_writes += 1
        elif command == 0xB8:
            self._recalling = True
            self._ready_s = self.now_s + self.recall_s
            yield from self._show_busy()
        elif command == 0xB4:
            while True:
                yield 0 if self.parasite else 1

    def _convert(self) -> Talk:
        if self.deaf:
            return
        if self.parasite:
            self.brownouts += 1
            self.power_cycle()
            return
        longest_s = self.CONVERSION_S[self._resolution()]
        self._done_s = self.now_s + (longest_s if self.conversion_s is None else self.conversion_s)
        yield from self._show_busy()

    def _show_busy(self) -> Talk:
        while True:
            yield None

    def _take_byte(self) -> Generator[int | None, int, int]:
        byte = 0
        for place in range(8):
            level = yield 1
            byte |= level << place
        return byte

    def _give(self, data: bytes) -> Talk:
        for bit in self._bits(data):
            _level = yield bit  # the chip does not look whether another pulled the line low

    @staticmethod
    def _bits(data: bytes) -> list[int]:
        return [byte >> place & 1 for byte in data for place in range(8)]
