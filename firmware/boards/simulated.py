"""A board whose pins, buses and counters are lines on standard input and output: the other end plays the chips.

The pin numbers are those of a real board file; drivers, gear and flight are the same code. A line begins with the
board's own milliseconds; `*` marks what is answered, `no N` is the number of an error.

    out PIN LEVEL    pwm PIN HZ DUTY    in PIN *    adc PIN *
    i2c_write ADDRESS HEX *    i2c_read ADDRESS COUNT *    i2c_memory ADDRESS REGISTER COUNT *    spi HEX *
    uart COUNT *    uart_any *    uart_write HEX *    wire_reset *    wire_write BYTE    wire_read *
    blocks *    flash_read BLOCK OFFSET COUNT *    flash_write BLOCK OFFSET HEX *    flash_erase BLOCK *
    cause *    watchdog    feed    sleep UNTIL_MS DEEP * (time, woken by an edge, bytes waiting)    key *    say TEXT
    heap BYTES    booted NEXT BAD    felt NAME=VALUE ...    record HEX    stepped NAME=VALUE ...
"""

import binascii
import gc
import os
import sys

from drivers.upkeep import RING
from lander.journal import RECORD_BYTES
from lander.signals import INPUTS, OUTPUTS

BLOCK_BYTES = 4096
TURN_MS = 10
NO_CHIP = "0" * 16
HEAP_STEPS = 1000  # between two looks at the heap
# A file whose closing failed is closed again when it is collected. Nothing can be allocated then, and so nothing asked;
# an exception that runs through the collection would end the interpreter. A real flash is asked in C, without objects.
IN_COLLECTION = -5


class Line:
    """Asks and tells; knows the time of this board."""

    def __init__(self) -> None:
        self.now_ms = 0
        self._source = sys.stdin
        self._sink = sys.stdout

    def tell(self, text: str) -> None:
        self._sink.write("%d %s\n" % (self.now_ms, text))

    def ask(self, text: str) -> str:
        """The answer. Raises OSError with the number that a refusal gives."""
        self.tell(text)
        said = self._source.readline()
        if not said:
            raise SystemExit
        said = said.strip()
        if said.startswith("no "):
            raise OSError(int(said[3:]))
        return said

    def ask_hex(self, text: str) -> bytes:
        said = self.ask(text)
        return b"" if said == "-" else binascii.unhexlify(said)


def _hex(data) -> str:
    return binascii.hexlify(data).decode()


class Pin:
    def __init__(self, line: Line, number: int, level: int) -> None:
        self._line = line
        self._number = number
        self._level = -1
        if level >= 0:
            self(level)

    def __call__(self, level=None):
        if level is None:
            return int(self._line.ask("in %d" % self._number))
        if level != self._level:
            self._level = level
            self._line.tell("out %d %d" % (self._number, level))
        return None


class Pwm:
    def __init__(self, line: Line, number: int, frequency_hz: int) -> None:
        self._line = line
        self._said = "pwm %d %d " % (number, frequency_hz) + "%d"
        self._duty = -1
        self.duty_u16(0)

    def duty_u16(self, duty: int) -> None:
        if duty != self._duty:
            self._duty = duty
            self._line.tell(self._said % duty)


class Adc:
    def __init__(self, line: Line, number: int) -> None:
        self._line = line
        self._asked = "adc %d" % number

    def read_u16(self) -> int:
        return int(self._line.ask(self._asked))


class I2c:
    def __init__(self, line: Line) -> None:
        self._line = line

    def writeto(self, address: int, buffer) -> int:
        self._line.ask("i2c_write %d %s" % (address, _hex(buffer)))
        return len(buffer)

    def readfrom_into(self, address: int, buffer) -> None:
        buffer[:] = self._line.ask_hex("i2c_read %d %d" % (address, len(buffer)))

    def writeto_mem(self, address: int, register: int, buffer) -> None:
        self._line.ask("i2c_write %d %02x%s" % (address, register, _hex(buffer)))

    def readfrom_mem_into(self, address: int, register: int, buffer) -> None:
        buffer[:] = self._line.ask_hex("i2c_memory %d %d %d" % (address, register, len(buffer)))


class Spi:
    def __init__(self, line: Line) -> None:
        self._line = line

    def write(self, buffer) -> None:
        self._line.ask("spi %s" % _hex(buffer))

    def write_readinto(self, out, into) -> None:
        into[:] = self._line.ask_hex("spi %s" % _hex(out))


class Uart:
    def __init__(self, line: Line) -> None:
        self._line = line

    def any(self) -> int:
        return int(self._line.ask("uart_any"))

    def readinto(self, buffer, count: int) -> int:
        data = self._line.ask_hex("uart %d" % count)
        buffer[:len(data)] = data
        return len(data)

    def write(self, data) -> int:
        self._line.ask("uart_write %s" % _hex(data))
        return len(data)


class OneWire:
    def __init__(self, line: Line) -> None:
        self._line = line

    def reset(self) -> int:
        return int(self._line.ask("wire_reset"))

    def writebyte(self, byte: int) -> None:
        self._line.tell("wire_write %d" % byte)

    def readbyte(self) -> int:
        return int(self._line.ask("wire_read"))


class Flash:
    """A block device as `vfs` takes it."""

    def __init__(self, line: Line) -> None:
        self._line = line
        self._blocks = int(line.ask("blocks"))

    def readblocks(self, block: int, buffer, offset: int = 0) -> int:
        try:
            buffer[:] = self._line.ask_hex("flash_read %d %d %d" % (block, offset, len(buffer)))
        except MemoryError:
            return IN_COLLECTION
        return 0

    def writeblocks(self, block: int, buffer, offset: int = 0) -> int:
        try:
            self._line.ask("flash_write %d %d %s" % (block, offset, _hex(buffer)))
        except MemoryError:
            return IN_COLLECTION
        return 0

    def ioctl(self, operation: int, argument: int) -> int:
        if operation == 4:
            return self._blocks
        if operation == 5:
            return BLOCK_BYTES
        if operation == 6:
            try:
                self._line.ask("flash_erase %d" % argument)
            except MemoryError:
                return IN_COLLECTION
        return 0


class _Files:
    """The file system of this process."""

    open = open

    @staticmethod
    def ilistdir(folder):
        return os.ilistdir(folder)


class Watchdog:
    def __init__(self, line: Line) -> None:
        self._line = line
        line.tell("watchdog")

    def feed(self) -> None:
        self._line.tell("feed")


class Board:
    """The methods of `boards.stock`, each a line."""

    watchdog_ms = 8000

    def __init__(self, name: str, chip: str = NO_CHIP) -> None:
        real = __import__("boards." + name, None, None, (name,))
        self.name = name
        self._chip = chip
        self.pins = real.PINS
        self.register = real.REGISTER
        self.selector = real.SELECTOR
        self.line = Line()
        self._keys = 0
        self._steps = 0
        self._felt = [row[3] for row in INPUTS]

    def pin_out(self, signal: str, level: int = 0) -> Pin:
        return Pin(self.line, self.pins[signal], level)

    def pin_in(self, signal: str, is_pulled_up: int = 1) -> Pin:
        return Pin(self.line, self.pins[signal], -1)

    def pwm(self, signal: str, frequency_hz: int) -> Pwm:
        return Pwm(self.line, self.pins[signal], frequency_hz)

    def adc(self, signal: str) -> Adc:
        return Adc(self.line, self.pins[signal])

    def i2c(self) -> I2c:
        return I2c(self.line)

    def spi(self) -> Spi:
        return Spi(self.line)

    def surface_uart(self) -> Uart:
        return Uart(self.line)

    def one_wire(self) -> OneWire:
        return OneWire(self.line)

    def flash(self) -> Flash:
        """The flash, with a file system on it: a stock MicroPython makes one at its first start."""
        import vfs

        flash = Flash(self.line)
        littlefs = getattr(vfs, "VfsLfs2")  # noqa: B009 - the stub takes the class for an abstract one
        try:
            littlefs(flash)
        except OSError:
            littlefs.mkfs(flash)
        return flash

    def ticks_ms(self) -> int:
        return self.line.now_ms & RING

    def sleep_ms(self, span_ms: int, is_deep: int) -> int:
        """The other end says when it is over, and whether an edge ended it."""
        said = self.line.ask("sleep %d %d" % (self.line.now_ms + span_ms, is_deep)).split()
        self.line.now_ms = int(said[0])
        self._keys = int(said[2])
        return int(said[1])

    def turned(self) -> None:
        """As long as a turn of the drivers takes on the first board, by rule of thumb."""
        self.line.now_ms += TURN_MS

    def reset_cause(self) -> int:
        return int(self.line.ask("cause"))

    def watchdog(self) -> Watchdog:
        return Watchdog(self.line)

    def key(self) -> int:
        if not self._keys:
            return -1
        self._keys -= 1
        return int(self.line.ask("key"))

    def say(self, text: str) -> None:
        self.line.tell("say " + text)

    def chip_id(self) -> str:
        return self._chip

    def lend(self, volume) -> None:
        """The firmware's files are the other end's."""

    def files(self, volume):
        """Those that this interpreter was started with."""
        return _Files

    def take_back(self) -> None:
        """Nothing was lent."""

    def give_back(self) -> None:
        """Nobody else has it."""

    def restart(self) -> None:
        raise SystemExit

    # --- what a real board keeps to itself --------------------------------------------------------------------------

    def booted(self, next_slot: int, bad: int) -> None:
        self.line.tell("booted %d %d" % (next_slot, bad))
        self._tell_heap()

    def stepped(self, inputs, outputs, wake_ds: int) -> None:
        """Tell the other end of this step: what was felt, what was written, what is wanted."""
        felt = ""
        for index in range(len(INPUTS)):
            value = getattr(inputs, INPUTS[index][0])
            if value != self._felt[index]:
                self._felt[index] = value
                felt += " %s=%d" % (INPUTS[index][0], value)
        self.line.tell("felt" + felt)
        for index in range(outputs.record_count):
            first = index * RECORD_BYTES
            self.line.tell("record " + _hex(bytes(outputs.records[first:first + RECORD_BYTES])))
        told = ""
        for name, _lowest, _highest in OUTPUTS:
            told += " %s=%d" % (name, wake_ds if name == "wake_ds" else getattr(outputs, name))
        self.line.tell("stepped" + told)
        self._steps += 1
        if self._steps % HEAP_STEPS == 0:
            self._tell_heap()

    def _tell_heap(self) -> None:
        gc.collect()
        self.line.tell("heap %d" % gc.mem_alloc())


def run(arguments) -> None:
    """`NAME`: fly with the pins of this board file. `NAME plan HEX HEX ...`: put a mission record on its flash and end.
    `NAME id=HEX`: fly, and be the chip with this number of 16 digits.

    In pieces, since an argument of MicroPython on unix has at most 255 characters.
    """
    chip = arguments[1][3:] if arguments[1:] and arguments[1].startswith("id=") else NO_CHIP
    board = Board(arguments[0], chip)
    if arguments[1:2] == ["plan"]:
        from boards.flash_volume import FlashVolume
        from boards.plan_copies import on_volume

        volume = FlashVolume(board.flash(), 0)
        volume.mount()
        stored = on_volume(volume).store(binascii.unhexlify("".join(arguments[2:])))
        board.say("stored" if stored else "not stored")
        return
    from boards import flight

    flight.run(board)
