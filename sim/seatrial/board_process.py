"""The process of a board: its own code in real MicroPython, and what answers its pins, its buses and its flash.

The process believes that it is a board. Each of its pins and buses is a line on its standard output, answered on its
standard input (`boards.simulated` lists them) by `seatrial.electronics`. How time goes is the subclass's: in step with
the engine (`seatrial.board_body`), or with the clock on the wall (`seatrial.practice`).
"""

import os
import select
import subprocess
import tempfile
from collections import deque
from contextlib import suppress
from pathlib import Path

from lander.signals import INPUTS
from seatrial.board_files import constants, lay_out
from seatrial.bodies import ANSWER_S, BodyError, find_micropython
from seatrial.chips.flash import FlashChip
from seatrial.electronics import EPOCH_S, Electronics, ElectronicsError

HEAP_BYTES = 512 * 1024  # words are twice as long here as on a board
BLOCKS = {"pico": 352, "esp32": 512}  # of the file systems of stock MicroPython: 1408 KiB and 2 MiB (from memory)
LINES_MAX = 1000000  # of one wait; a board that says more hangs
ARGUMENT_MAX = 200  # MicroPython on unix takes 255 characters
GAVE_NO_REASON = "it gave no reason"
FIRST_VALUES = {row[0]: row[3] for row in INPUTS}


class BoardProcess:
    """The code of one board file, on a flash of its own. A subclass answers `sleep`, `key` and `cause`.

    `fitted` are other numbers than those in `boards.fitted`, by name; `appended` is text at the end of other files of
    the firmware, by their names. `felt` are the inputs of the last step, `said` what it printed last on its serial
    line. BodyError when the process goes away, hangs, or uses a pin that its board file does not have.
    """

    def __init__(self, board: str, fitted: dict | None = None, heap_bytes: int = HEAP_BYTES,
                 appended: dict[str, str] | None = None) -> None:
        self._program = find_micropython()
        self._board = board
        self._heap_bytes = heap_bytes
        self._pins = constants("boards/%s.py" % board)
        self._fitted = {**constants("boards/fitted.py"), **(fitted or {})}
        self._watchdog_ms = constants("boards/simulated.py")["watchdog_ms"]
        self._folder = tempfile.TemporaryDirectory(prefix="tumblehome-board-")
        lay_out(Path(self._folder.name), fitted, appended)
        self.flash = FlashChip(BLOCKS[board])
        self.electronics: Electronics
        self.said: deque[str] = deque(maxlen=20)
        self.requests = 0
        self.heap_bytes: list[int] = []  # in use after a collection: when the mission starts, and now and then
        self._process: subprocess.Popen | None = None
        self._is_wired = False  # the electronics are there
        self._handlers = self._make_handlers()
        self._boot_s = 0.0
        self._start_ms = 0  # of the board's count at `_boot_s`
        self._begin_counts()

    def _begin_counts(self) -> None:
        """As a process begins."""
        self._now_ms = 0
        self._fed_ms: int | None = None
        self._pending_ms: int | None = None  # the end of a sleep that has not been answered yet
        self.felt = dict(FIRST_VALUES)
        self._keys: deque[int] = deque()
        self._lines: deque[bytes] = deque()
        self._rest = b""
        self._printed: deque[str] = deque(maxlen=30)  # what is no line of the board

    # --- the process ------------------------------------------------------------------------------------------------

    def _put_plan(self, record: bytes) -> None:
        """Put the mission record on the flash, as a person does before the dive."""
        self._begin_counts()
        self._start(self._board, "plan", *_in_pieces(record.hex()))
        self._serve(lambda: bool(self.said))
        if self.said[-1] != "stored":
            raise BodyError("the board did not take the mission record: %s" % self.said[-1])
        self._end()

    def _start(self, *arguments: str) -> None:
        self._process = subprocess.Popen(
            [self._program, "-X", "heapsize=%d" % self._heap_bytes, "main.py", "simulated", *arguments],
            cwd=self._folder.name, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, bufsize=0,
            env={**os.environ, "MICROPYPATH": self._folder.name})
        self._sink = self._process.stdin.fileno()
        self._connect(self._process.stdout)

    def _connect(self, stdout) -> None:
        """Make ready to read what the process says."""
        self._source = stdout.fileno()
        self._poll = select.poll()
        self._poll.register(self._source, select.POLLIN)

    def _read(self, wait_s: float) -> bytes | None:
        """What it says next, nothing where it has ended; None when it says nothing for so long."""
        return os.read(self._source, 65536) if self._poll.poll(1000.0 * wait_s) else None

    def _end(self) -> None:
        if self._process is None:
            return
        self._process.kill()
        self._process.stdin.close()
        self._process.stdout.close()
        self._process.wait()
        self._process = None

    def _read_lines(self) -> None:
        data = self._read(ANSWER_S)
        if data is None:
            raise BodyError("the board's process has said nothing for %.0f s" % ANSWER_S)
        if not data:
            raise BodyError("the board's process has ended: %s" % self._last_words())
        self._take(data)

    def _take(self, data: bytes) -> None:
        *lines, self._rest = (self._rest + data).split(b"\n")
        self._lines.extend(lines)

    def _last_words(self) -> str:
        """What the process died of: MicroPython prints that among the rest."""
        return self._printed[-1] if self._printed else GAVE_NO_REASON

    def _crash(self, within_s: float = ANSWER_S) -> str:
        """What its interpreter died of, once its output has ended; empty where it has ended as a board is reset."""
        status = self._process.wait(within_s) if self._process else 0
        if not status:
            return ""
        how = "was ended by signal %d" % -status if status < 0 else "ended with status %d" % status
        return "its interpreter %s: %s" % (how, " / ".join(self._printed) or GAVE_NO_REASON)

    def _serve(self, until) -> None:
        """Answer lines until it is so. Raises BodyError where it never will be."""
        for _ in range(LINES_MAX):
            if until():
                return
            self._serve_line()
        raise BodyError("the board asked %d things without coming to an end" % LINES_MAX)

    def _serve_line(self) -> None:
        while not self._lines:
            self._read_lines()
        line = self._lines.popleft()
        self.requests += 1
        if not line[:1].isdigit():
            if line.strip():
                self._print(line)
            return
        words = line.split()
        try:
            self._set_time(int(words[0]))
            answer = self._handlers[words[1]](*words[2:])
        except (ElectronicsError, ValueError, KeyError, IndexError, TypeError) as error:
            raise BodyError("the board said `%s`: %s" % (line.decode("ascii", "replace")[:80], error)) from error
        except OSError as error:
            answer = b"no %d" % error.args[0]
        if answer is not None:
            self._answer(answer)

    def _print(self, line: bytes) -> None:
        """A line that is none of the board's own, as those of an exception."""
        self._printed.append(line.decode("ascii", "replace").strip())

    def _answer(self, answer: bytes) -> None:
        with suppress(BrokenPipeError):  # what it died of is still to be read
            os.write(self._sink, answer + b"\n")

    def _set_time(self, now_ms: int) -> None:
        if now_ms != self._now_ms or not now_ms:
            self._now_ms = now_ms
            if self._is_wired:
                self.electronics.now_s = EPOCH_S + self._boot_s + (now_ms - self._start_ms) / 1000.0

    # --- what it asks -----------------------------------------------------------------------------------------------

    def _make_handlers(self) -> dict:
        named = {"sleep": self._sleep, "key": self._key, "cause": self._tell_cause, "say": self._say,
                 "booted": self._take_booted, "felt": self._take_felt, "record": self._take_record,
                 "stepped": self._take_stepped, "heap": self._take_heap, "watchdog": self._feed, "feed": self._feed,
                 "out": self._out, "pwm": self._pwm, "in": self._in, "adc": self._adc, "i2c_write": self._i2c_write,
                 "i2c_read": self._i2c_read, "i2c_memory": self._i2c_memory, "spi": self._spi, "uart": self._uart,
                 "uart_any": self._uart_any, "uart_write": self._uart_write,
                 "wire_reset": self._wire_reset, "wire_write": self._wire_write,
                 "wire_read": self._wire_read, "blocks": self._blocks, "flash_read": self._flash_read,
                 "flash_write": self._flash_write, "flash_erase": self._flash_erase}
        return {name.encode(): handler for name, handler in named.items()}

    def _sleep(self, until_ms: bytes, is_deep: bytes) -> None:
        raise NotImplementedError

    def _tell_cause(self) -> bytes:
        raise NotImplementedError

    def _take_booted(self, next_slot: bytes, bad: bytes) -> None:
        """The mission has started."""

    def _take_record(self, record: bytes) -> None:
        """A record of the step that is told next."""

    def _take_stepped(self, *pairs: bytes) -> None:
        """A step is done."""

    def _take_heap(self, used: bytes) -> None:
        self.heap_bytes.append(int(used))

    def _feed(self) -> None:
        self._fed_ms = self._now_ms

    def _say(self, *words: bytes) -> None:
        self.said.append(b" ".join(words).decode("ascii", "replace"))

    def _take_felt(self, *pairs: bytes) -> None:
        self.felt.update(numbers(pairs))

    def _key(self) -> bytes:
        return b"%d" % self._keys.popleft()

    def _out(self, pin: bytes, level: bytes) -> None:
        self.electronics.out(int(pin), int(level))

    def _pwm(self, pin: bytes, frequency_hz: bytes, duty: bytes) -> None:
        self.electronics.pwm(int(pin), int(frequency_hz), int(duty))

    def _in(self, pin: bytes) -> bytes:
        return b"%d" % self.electronics.read_pin(int(pin))

    def _adc(self, pin: bytes) -> bytes:
        return b"%d" % self.electronics.read_adc(int(pin))

    def _i2c_write(self, address: bytes, data: bytes) -> bytes:
        self.electronics.chip(int(address)).write(_bytes(data))
        return b"ok"

    def _i2c_read(self, address: bytes, count: bytes) -> bytes:
        return _hex(self.electronics.chip(int(address)).read(int(count)))

    def _i2c_memory(self, address: bytes, register: bytes, count: bytes) -> bytes:
        chip = self.electronics.chip(int(address))
        chip.write(bytes([int(register)]))
        return _hex(chip.read(int(count)))

    def _spi(self, data: bytes) -> bytes:
        return _hex(self.electronics.spi(_bytes(data)))

    def _uart(self, count: bytes) -> bytes:
        buffer = bytearray(int(count))
        taken = self.electronics.uart().readinto(buffer, len(buffer)) or 0
        return _hex(buffer[:taken])

    def _uart_any(self) -> bytes:
        return b"%d" % self.electronics.uart().any()

    def _uart_write(self, data: bytes) -> bytes:
        self.electronics.uart().write(_bytes(data))
        return b"ok"

    def _wire_reset(self) -> bytes:
        return b"%d" % self.electronics.wire().reset()

    def _wire_write(self, byte: bytes) -> None:
        self.electronics.wire().writebyte(int(byte))

    def _wire_read(self) -> bytes:
        return b"%d" % self.electronics.wire().readbyte()

    def _blocks(self) -> bytes:
        return b"%d" % self.flash.blocks

    def _flash_read(self, block: bytes, offset: bytes, count: bytes) -> bytes:
        return _hex(self.flash.read(int(block), int(offset), int(count)))

    def _flash_write(self, block: bytes, offset: bytes, data: bytes) -> bytes:
        self.flash.program(int(block), int(offset), _bytes(data))
        return b"ok"

    def _flash_erase(self, block: bytes) -> bytes:
        self.flash.erase(int(block))
        return b"ok"


def _in_pieces(text: str) -> list[str]:
    return [text[at:at + ARGUMENT_MAX] for at in range(0, len(text), ARGUMENT_MAX)]


def _bytes(digits: bytes) -> bytes:
    return bytes.fromhex(digits.decode())


def _hex(data) -> bytes:
    return bytes(data).hex().encode() or b"-"


def numbers(pairs) -> dict[str, int]:
    """NAME=NUMBER, each, as the board tells them."""
    return {name: int(value) for name, _, value in (pair.decode().partition("=") for pair in pairs)}
