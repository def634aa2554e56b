"""Thermometers DS18B20 on one 1-Wire bus, each addressed by its ROM code.

Source: Maxim Integrated (now Analog Devices), "DS18B20 Programmable Resolution 1-Wire Digital Thermometer", and
Application Note 27 for the checksum. Commands and times are written from memory of them; the table of temperatures and
the example of the checksum are tested as printed.

The chips are fed by their third wire. Parasite power is not supported, and is noticed: a chip whose supply wire is
broken lives on the data wire for a while and then measures nonsense, so its supply is asked for before each conversion.

A DS18B20 shows +85.0 degC after power-on, with a right checksum, until it has converted. So a value is believed only if
the chip was seen busy after the command, seen idle at the end, and still holds a mark in its alarm byte that differs
from what its EEPROM brings back after a loss of power. A real 85.0 degC passes all three. The mark is never copied to
the EEPROM, which would wear.

The chips measure one after the other, since only the chip addressed last can be asked whether it is busy. A measurement
takes 23 ticks and 0.75 s, 47 ticks after a failure.
"""

from drivers.upkeep import FAULTS_MAX, RING

ROM_BYTES = 8
FAMILY = 0x28
SCRATCHPAD_BYTES = 9

# Places in the scratchpad.
_LOW, _HIGH, _ALARM_HIGH, _ALARM_LOW, _CONFIG, _, _, _, _CHECK = range(SCRATCHPAD_BYTES)

_READ_ROM = 0x33
_MATCH_ROM = 0x55
_RECALL = 0xB8
_READ_SCRATCHPAD = 0xBE
_WRITE_SCRATCHPAD = 0x4E
_READ_SUPPLY = 0xB4
_CONVERT = 0x44

_TWELVE_BITS = 0x7F
_ALL_ONES = 0xFF
_LOWEST = -55 * 16
_HIGHEST = 125 * 16

_ADDRESSED = 1 + ROM_BYTES  # bytes before the command
_BYTES_A_TICK = 2  # a byte takes 0.6 ms at most, a reset with one byte after it 1.6 ms
_CONVERT_MS = 752  # 750 at 12 bits, and the tick that sent the command
_RECALL_MS = 50
_RETRY_MS = 1000

# What goes on with the probe in turn: an exchange of bytes each, RECALLING and CONVERTING are waits.
(_IDLE, _ASK_RECALL, _RECALLING, _LEARN, _MARK, _SUPPLY, _ASK_CONVERT, _CONVERTING, _READ) = range(9)


def _make_table(shift: int) -> bytes:
    """What four bits of a byte add to the checksum: polynomial x8 + x5 + x4 + 1, lowest bit first."""
    table = bytearray(16)
    for nibble in range(16):
        crc = nibble << shift
        for _bit in range(8):
            crc = (crc >> 1) ^ 0x8C if crc & 1 else crc >> 1
        table[nibble] = crc
    return bytes(table)


_LOW_NIBBLE = _make_table(0)
_HIGH_NIBBLE = _make_table(4)


def crc8(data, count: int) -> int:
    """Checksum of the first `count` bytes, CRC-8/MAXIM. Source: Maxim Application Note 27."""
    crc = 0
    at = 0
    while at < count:
        crc ^= data[at]
        crc = _LOW_NIBBLE[crc & 15] ^ _HIGH_NIBBLE[crc >> 4]
        at += 1
    return crc


def rom_ok(rom) -> int:
    """1 if these are the 8 bytes of the ROM code of a DS18B20: family 28h, right checksum. For bench and self-test."""
    return 1 if len(rom) == ROM_BYTES and rom[0] == FAMILY and crc8(rom, 7) == rom[7] else 0


def read_rom(wire, rom: bytearray) -> int:
    """Fill 8 bytes with the ROM code of the only chip on the bus; 1 if it is one of a DS18B20.

    Takes about 6.4 ms: for a bench and a self-test, not for a tick. With several chips on the bus the checksum fails.
    """
    if not wire.reset():
        return 0
    wire.writebyte(_READ_ROM)
    for at in range(ROM_BYTES):
        rom[at] = wire.readbyte()
    return rom_ok(rom)


def centi_c_of(raw: int) -> int:
    """Hundredths of a degree, rounded down, of a signed number of sixteenths of a degree."""
    return (raw * 25) >> 2


class Probe:
    """One thermometer of the bus.

    `ok` is 1 only while `centi_c` (hundredths of a degree Celsius) is fresh and believable; `faults` counts what failed
    so far, up to 65535. Raises ValueError for a ROM code that has not 8 bytes. A ROM code with a wrong checksum is no
    error here, so that a board boots with it: such a probe never answers. Ask `rom_ok`.
    """

    __slots__ = ("rom", "ok", "centi_c", "faults", "measured_ms", "since_ms", "rest_ms", "marked", "mark")

    def __init__(self, rom) -> None:
        if len(rom) != ROM_BYTES:
            raise ValueError("rom has %d bytes, must have 8: copy them as the bench shows them" % len(rom))
        self.rom = bytes(rom)
        self.faults = 0
        self.centi_c = 0
        self.mark = 0
        self.measured_ms = 0
        self.forget(0)

    def forget(self, now_ms: int) -> None:
        """Nothing is known of the chip; it may be addressed at once."""
        self.ok = 0
        self.marked = 0
        self.since_ms = now_ms
        self.rest_ms = 0

    def fail(self, now_ms: int) -> None:
        """An exchange failed or was not believed: start anew after a pause."""
        self.forget(now_ms)
        self.rest_ms = _RETRY_MS
        if self.faults < FAULTS_MAX:
            self.faults += 1


class Thermometers:
    """All DS18B20 of one bus; `probes` are in the order of the ROM codes given.

    `wire` has `reset()` (1 when somebody answers), `writebyte(b)` and `readbyte()`, as MicroPython's OneWire. A probe
    rests until `every_ms` after the start of its last conversion; a value older than `fresh_ms` is not `ok`. At ten
    ticks a second three probes take 9 s, so that `fresh_ms` must not be shorter on a board as slow as that.
    """

    __slots__ = ("wire", "probes", "every_ms", "fresh_ms", "_out", "_into", "_out_count", "_count", "_moved", "_phase",
                 "_index", "_probe", "_since_ms")

    def __init__(self, wire, roms, every_ms: int = 2000, fresh_ms: int = 30000) -> None:
        self.wire = wire
        self.probes = [Probe(rom) for rom in roms]
        self.every_ms = every_ms
        self.fresh_ms = fresh_ms
        self._out = bytearray(_ADDRESSED + 4)
        self._out[0] = _MATCH_ROM
        self._into = bytearray(SCRATCHPAD_BYTES)
        self._out_count = 0
        self._count = 0
        self._moved = -1
        self._phase = _IDLE
        self._index = -1
        self._probe = Probe(bytes(ROM_BYTES))  # nobody's turn yet
        self._since_ms = 0

    def start(self, now_ms: int) -> int:
        """Forget every value and begin with the first probe; 1 if anybody answers on the bus. Takes 1 ms."""
        self._phase = _IDLE
        self._index = -1
        for probe in self.probes:
            probe.forget(now_ms)
        try:
            return 1 if self.wire.reset() else 0
        except OSError:
            return 0

    def tick(self, now_ms: int) -> None:
        """One step: a reset and a byte, or two bytes, or a look at the time; at most 1.6 ms on the bus."""
        self._age(now_ms)
        try:
            self._step(now_ms)
        except OSError:
            self._fail(now_ms)

    def _age(self, now_ms: int) -> None:
        for probe in self.probes:
            if probe.ok and (now_ms - probe.measured_ms) & RING > self.fresh_ms:
                probe.ok = 0

    def _step(self, now_ms: int) -> None:
        phase = self._phase
        if phase == _RECALLING:
            self._wait_for_recall(now_ms)
        elif phase == _CONVERTING:
            self._wait_for_conversion(now_ms)
        elif phase == _IDLE and not self._choose(now_ms):
            return
        elif self._moved < 0:
            self._address(now_ms)
        elif self._move():
            self._judge(now_ms)

    def _choose(self, now_ms: int) -> int:
        """Turn to the next probe that has rested; 0 if all rest."""
        left = len(self.probes)
        while left:
            left -= 1
            self._index = self._index + 1 if self._index + 1 < len(self.probes) else 0
            probe = self.probes[self._index]
            if (now_ms - probe.since_ms) & RING >= probe.rest_ms:
                self._turn_to(probe)
                return 1
        return 0

    def _turn_to(self, probe) -> None:
        self._probe = probe
        at = 0
        while at < ROM_BYTES:
            self._out[1 + at] = probe.rom[at]
            at += 1
        if probe.marked:
            self._begin(_SUPPLY, _READ_SUPPLY, 0, 1)
        else:
            self._begin(_ASK_RECALL, _RECALL, 0, 0)

    def _begin(self, phase: int, command: int, more: int, answer: int) -> None:
        """Prepare an exchange: the address, a command, `more` bytes after it, `answer` bytes read."""
        self._phase = phase
        self._out[_ADDRESSED] = command
        self._out_count = _ADDRESSED + 1 + more
        self._count = self._out_count + answer
        self._moved = -1

    def _address(self, now_ms: int) -> None:
        if not self.wire.reset():
            self._fail(now_ms)
            return
        self.wire.writebyte(self._out[0])
        self._moved = 1

    def _move(self) -> int:
        """Move two bytes; 1 when it was the last.

        The first byte went out with the reset, so that a command and the first byte of its answer share a tick: a board
        that ticks slowly would otherwise never see a chip busy.
        """
        at = self._moved
        end = min(at + _BYTES_A_TICK, self._count)
        while at < end:
            if at < self._out_count:
                self.wire.writebyte(self._out[at])
            else:
                self._into[at - self._out_count] = self.wire.readbyte()
            at += 1
        self._moved = at
        return 1 if at == self._count else 0

    def _judge(self, now_ms: int) -> None:
        """An exchange is complete."""
        phase = self._phase
        if phase == _ASK_RECALL:
            self._wait(_RECALLING, now_ms)
        elif phase == _LEARN:
            self._choose_mark(now_ms)
        elif phase == _MARK:
            self._probe.marked = 1
            self._begin(_SUPPLY, _READ_SUPPLY, 0, 1)
        elif phase == _SUPPLY and self._into[0] == _ALL_ONES:
            self._begin(_ASK_CONVERT, _CONVERT, 0, 1)
        elif phase == _ASK_CONVERT and self._into[0] == 0:
            self._wait(_CONVERTING, now_ms)
        elif phase == _READ:
            self._take(now_ms)
        else:  # fed by the data wire, or not busy after the command
            self._fail(now_ms)

    def _wait(self, phase: int, now_ms: int) -> None:
        self._phase = phase
        self._since_ms = now_ms

    def _wait_for_recall(self, now_ms: int) -> None:
        """A chip answers zeros until its EEPROM is read back."""
        if self.wire.readbyte() == _ALL_ONES:
            self._begin(_LEARN, _READ_SCRATCHPAD, 0, SCRATCHPAD_BYTES)
        elif (now_ms - self._since_ms) & RING > _RECALL_MS:
            self._fail(now_ms)

    def _wait_for_conversion(self, now_ms: int) -> None:
        if (now_ms - self._since_ms) & RING < _CONVERT_MS:
            return
        if self.wire.readbyte() == _ALL_ONES:
            self._begin(_READ, _READ_SCRATCHPAD, 0, SCRATCHPAD_BYTES)
        else:
            self._fail(now_ms)

    def _choose_mark(self, now_ms: int) -> None:
        """The scratchpad shows the EEPROM now: mark the alarm byte with anything else, and ask for 12 bits."""
        if not self._sound():
            self._fail(now_ms)
            return
        mark = self._into[_ALARM_HIGH] ^ 0xFF
        self._probe.mark = mark
        self._out[_ADDRESSED + 1] = mark
        self._out[_ADDRESSED + 2] = self._into[_ALARM_LOW]
        self._out[_ADDRESSED + 3] = _TWELVE_BITS
        self._begin(_MARK, _WRITE_SCRATCHPAD, 3, 0)

    def _sound(self) -> int:
        """The checksum is right. That of nine zeros is right too, but no scratchpad is: its settings are never 0."""
        return 1 if self._into[_CONFIG] and crc8(self._into, _CHECK) == self._into[_CHECK] else 0

    def _take(self, now_ms: int) -> None:
        """Judge the scratchpad after a conversion."""
        into = self._into
        probe = self._probe
        raw = into[_HIGH] << 8 | into[_LOW]
        if raw >= 0x8000:
            raw -= 0x10000
        kept = into[_CONFIG] == _TWELVE_BITS and into[_ALARM_HIGH] == probe.mark
        if not self._sound() or not kept or raw < _LOWEST or raw > _HIGHEST:
            self._fail(now_ms)
            return
        probe.centi_c = centi_c_of(raw)
        probe.measured_ms = self._since_ms
        # The board may have slept since the conversion.
        probe.ok = 1 if (now_ms - self._since_ms) & RING <= self.fresh_ms else 0
        probe.since_ms = self._since_ms
        probe.rest_ms = self.every_ms if probe.ok else 0
        self._phase = _IDLE

    def _fail(self, now_ms: int) -> None:
        self._phase = _IDLE
        self._probe.fail(now_ms)
