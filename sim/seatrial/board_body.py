"""The body that flies the board's own code: drivers, gear and flight in a MicroPython process, with simulated chips.

The process believes that it is a board. Each of its pins and buses is a line on its standard output, answered on its
standard input (`boards.simulated` lists them) by `seatrial.electronics`. So what the mission is told comes out of
registers and bytes, and what it wants counts only when it reaches a pin.

Time. The board counts its own milliseconds, which go on only while it sleeps. It steps when the mission asked for it,
as the engine does, or when an edge wakes it. Its first step comes `START_MS` after its start, when the engine has its
own: the board's count is that much ahead, and `boot_s` of the plan holds the time.

The records of the engine's journal are those that the board tells; the board keeps its own journal on a flash of its
own. The two are equal while nothing is wrong with the flash. Faults of the engine's store reach the flash: one that
refuses, and the cut in the middle of the next record, which falls on the first change of the flash in that step; a cut
is not laid into the second or a later record of one step.
"""

import os
import select
import subprocess
import tempfile
from collections import deque
from contextlib import suppress
from pathlib import Path

from lander import wire
from lander.journal import RECORD_BYTES
from lander.signals import INPUTS
from seatrial.board_files import constants, lay_out
from seatrial.bodies import ANSWER_S, BodyError, find_micropython
from seatrial.chips.flash import FlashChip
from seatrial.electronics import EPOCH_S, Electronics, ElectronicsError

HEAP_BYTES = 512 * 1024  # words are twice as long here as on a board
BLOCKS = {"pico": 352, "esp32": 512}  # of the file systems of stock MicroPython: 1408 KiB and 2 MiB (from memory)
APPLY_MS = 220  # lamps rise in 200 ms, and a wire is armed some milliseconds before it is fired
LINES_MAX = 1000000  # between two steps; a board that says more hangs
ARGUMENT_MAX = 200  # MicroPython on unix takes 255 characters
STEP_ONLY = ("state", "beacon_code", "report", "status_code", "refused", "self_test", "wake_ds", "record_count")
DRIVEN = ("release_primary_pct", "release_backup_pct", "lights_pct")  # what a driver brings about only by and by
FIRST_VALUES = {row[0]: row[3] for row in INPUTS}
# How old a reading may be when it counts, s: the limits of the drivers.
AGE_S = {"pressure_mbar": 2.0, "supply_mv": 1.2, "supply_ma": 1.2, "camera_ma": 1.2, "camera_centi_c": 60.0,
         "water_centi_c": 60.0, "housing_centi_c": 2.0, "camera_lamp_permille": 0.0, "release_ma": 0.3, "clock_s": 0.0,
         "contact_wet": 3.0, "leak_wet": 3.0, "magnet": 1.0}
# The input that says whether another is valid, where there is one.
VALID_BY = {"pressure_mbar": "pressure_ok", "supply_mv": "supply_ok", "supply_ma": "current_ok",
            "camera_ma": "camera_feedback_ok", "camera_lamp_permille": "camera_feedback_ok",
            "camera_centi_c": "camera_temp_ok", "water_centi_c": "water_temp_ok", "housing_centi_c": "housing_temp_ok",
            "release_ma": "release_ok", "clock_s": "clock_ok", "contact_wet": "contact_ok", "leak_wet": "leak_ok"}


class BoardBody:
    """Flies the pins of one board file. `attach` first; then `boot` and `step` as every body has them.

    `fitted` are other numbers than those in `boards.fitted`, by name. `differences` is the furthest that each input of
    the board has been from the engine's, in the input's unit; `electronics.allowed` says how far it may be. `felt` are
    the inputs of its last step, made at `stepped_ms` of its own count; `said` is what it printed last on its serial
    line. BodyError when the process goes away, hangs, uses a pin that its board file does not have, or lets its
    watchdog bite.
    """

    name = "micropython"

    def __init__(self, mission_record: bytes, board: str = "pico", fitted: dict | None = None,
                 heap_bytes: int = HEAP_BYTES) -> None:
        self._program = find_micropython()
        self._record = bytes(mission_record)
        self._board = board
        self._heap_bytes = heap_bytes
        self._pins = constants("boards/%s.py" % board)
        self._fitted = {**constants("boards/fitted.py"), **(fitted or {})}
        self._lead_ms = constants("boards/flight.py")["LEAD_MS"]
        self._start_ms = constants("boards/flight.py")["START_MS"]
        self._watchdog_ms = constants("boards/simulated.py")["watchdog_ms"]
        self._folder = tempfile.TemporaryDirectory(prefix="tumblehome-board-")
        lay_out(Path(self._folder.name), fitted)
        self.flash = FlashChip(BLOCKS[board])
        self.electronics: Electronics
        self.differences: dict[str, float] = {}
        self.said: deque[str] = deque(maxlen=20)
        self.requests = 0
        self.heap_bytes: list[int] = []  # in use after a collection: when the mission starts, and now and then
        self._process: subprocess.Popen | None = None
        self._world = None
        self._is_planned = False
        self._handlers = self._make_handlers()
        self._boot_s = 0.0
        self._begin_counts()

    def _begin_counts(self) -> None:
        """As a process begins."""
        self._now_ms = 0
        self._fed_ms: int | None = None
        self._due_ms: int | None = None  # None before the first step
        self._pending_ms: int | None = None  # the end of a sleep that has not been answered yet
        self._edge_ms: int | None = None
        self._last_ms = 0  # sleeps that end later stay unanswered, when a step is done
        self._ahead_ms = 0
        self._booted: tuple[int, int] | None = None
        self._has_stepped = False
        self._stepped: dict[str, int] = {}
        self.stepped_ms = 0
        self.felt = dict(FIRST_VALUES)
        self._records: list[bytes] = []
        self._driven_ms: list[int] = []  # when a PWM was set since the last step
        self._keys: deque[int] = deque()
        self._lines: deque[bytes] = deque()
        self._rest = b""
        self._printed: deque[str] = deque(maxlen=30)  # what is no line of the board
        self._seen: dict[str, deque] = {name: deque() for name in AGE_S}

    # --- a body -----------------------------------------------------------------------------------------------------

    def attach(self, world, plan) -> None:
        """Lay the electronics into this sea."""
        if plan.release.backup.kind != "latch":
            raise BodyError('release.backup.kind is "%s"; the board that is simulated drives a latch there:'
                            " fly this plan with --body cpython or micropython-core" % plan.release.backup.kind)
        self._world = world
        self._power_s = plan.power.boot_s
        self.electronics = Electronics(self._pins, self._fitted, world, plan)

    def boot(self, store, inputs) -> int:
        """Start the process anew, on the flash as it is."""
        self._end()
        self._store = store
        if not self._is_planned:
            self._store_plan()
        self._begin_counts()
        self._boot_s = self._world.now_s
        self._cause = inputs.reset_cause
        if inputs.reset_cause == 0:
            self.electronics.lose_power(EPOCH_S + self._boot_s - self._power_s)
        self.electronics.let_go()
        self._set_time(0)
        self.electronics.take(inputs)
        for name, seen in self._seen.items():  # the first step comes so soon that these readings may count in it
            seen.append((self._world.now_s, getattr(inputs, name)))
        self._last_ms = 1 << 40
        self._start(self._board)
        while self._booted is None:
            self._serve_line()
        return self._booted[0]

    def step(self, inputs, outputs) -> None:
        """Let the board's time go on to the engine's, and the board make its step there."""
        self._prepare_step(inputs)
        if self._pending_ms is not None:
            self._answer_sleep(self._pending_ms)
        self._serve(lambda: self._has_stepped)
        self._finish_cut()
        self._take_outputs(outputs)
        if self._process is not None:
            self._let_apply()
        for name, level in self.electronics.levels().items():
            setattr(outputs, name, level)
        self._compare(inputs)

    def close(self) -> None:
        """End the process and remove its folder."""
        self._end()
        self._folder.cleanup()

    # --- one step ---------------------------------------------------------------------------------------------------

    def _prepare_step(self, inputs) -> None:
        self.electronics.take(inputs)
        self.flash.refuses = self._store.refuses
        self.flash.cut_next = self._store.cut_at == self._store.writes + 1 and not self._store.refuses
        if inputs.command:
            self._keys.extend((wire.frame("1 ask command=%d" % inputs.command) + "\n").encode())
        self._has_stepped = False
        self._driven_ms = []
        self._records = []
        self._last_ms = 1 << 40
        self._edge_ms = None
        self._target_ms = round((self._world.now_s - self._boot_s) * 1000.0) + self._ahead_ms
        if self._due_ms is not None and self._target_ms < self._due_ms - 1:
            self._edge_ms = self._target_ms - self._lead_ms

    def _take_outputs(self, outputs) -> None:
        told = self._stepped
        if not told.keys() >= set(STEP_ONLY + DRIVEN):
            missing = sorted(set(STEP_ONLY + DRIVEN) - told.keys())
            raise BodyError("the board told a step without %s" % ", ".join(missing))
        if self._due_ms is None:
            self._ahead_ms = self._now_ms - self._target_ms
        self._due_ms = self._now_ms + 100 * told["wake_ds"]
        for name in STEP_ONLY:
            setattr(outputs, name, told[name])
        if len(self._records) != told["record_count"]:
            raise BodyError("the board told %d records and gave %d" % (told["record_count"], len(self._records)))
        for index, record in enumerate(self._records):
            outputs.records[index * RECORD_BYTES:(index + 1) * RECORD_BYTES] = record

    def _let_apply(self) -> None:
        """Some turns more, until the drivers have brought about what the step wanted, but not to the next step."""
        self._last_ms = min(self._now_ms + APPLY_MS, self._due_ms - self._lead_ms - 1)
        self._pending_ms = None
        self._serve(lambda: self._pending_ms is not None)

    def _is_applied(self) -> bool:
        levels = self.electronics.levels()
        return all(levels[name] == self._stepped[name] for name in DRIVEN)

    def _finish_cut(self) -> None:
        """A cut counts only where the step wrote a record; then nothing after it has happened."""
        if self.flash.cut_image is None or not self._records:
            self.flash.forget_cut()
            return
        self.flash.lose_power()
        self._end()

    def _compare(self, inputs) -> None:
        """Keep how far each reading lies from what the engine gave within the age that its driver allows."""
        now_s = self._world.now_s
        for name, age_s in AGE_S.items():
            seen = self._seen[name]
            valid = VALID_BY.get(name)
            if valid and not getattr(inputs, valid):
                seen.clear()
                continue
            seen.append((now_s, getattr(inputs, name)))
            while len(seen) > 2 and seen[1][0] < now_s - age_s:
                seen.popleft()
            if valid and not self.felt[valid] or name == "release_ma" and self._drove_by_itself():
                continue
            values = [value for at_s, value in seen if at_s >= now_s - age_s or age_s]
            felt = self.felt[name]
            off = max(min(values) - felt, felt - max(values), 0)
            if off > self.differences.get(name, -1):
                self.differences[name] = off

    def _drove_by_itself(self) -> bool:
        """A driver came to an end of its own between two steps; the engine sees the pins at steps only."""
        return any(at_ms < self.stepped_ms for at_ms in self._driven_ms)

    # --- the process ------------------------------------------------------------------------------------------------

    def _store_plan(self) -> None:
        """Put the mission record on the flash, as a person does before the dive."""
        self._begin_counts()
        self._start(self._board, "plan", *_in_pieces(self._record.hex()))
        self._serve(lambda: bool(self.said))
        if self.said[-1] != "stored":
            raise BodyError("the board did not take the mission record: %s" % self.said[-1])
        self._is_planned = True
        self._end()

    def _start(self, *arguments: str) -> None:
        self._process = subprocess.Popen(
            [self._program, "-X", "heapsize=%d" % self._heap_bytes, "main.py", "simulated", *arguments],
            cwd=self._folder.name, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, bufsize=0,
            env={**os.environ, "MICROPYPATH": self._folder.name})
        self._sink = self._process.stdin.fileno()
        self._source = self._process.stdout.fileno()
        self._poll = select.poll()
        self._poll.register(self._source, select.POLLIN)

    def _end(self) -> None:
        if self._process is None:
            return
        self._process.kill()
        self._process.stdin.close()
        self._process.stdout.close()
        self._process.wait()
        self._process = None

    def _read_lines(self) -> None:
        if not self._poll.poll(1000.0 * ANSWER_S):
            raise BodyError("the board's process has said nothing for %.0f s" % ANSWER_S)
        data = os.read(self._source, 65536)
        if not data:
            raise BodyError("the board's process has ended: %s" % self._last_words())
        *lines, self._rest = (self._rest + data).split(b"\n")
        self._lines.extend(lines)

    def _last_words(self) -> str:
        """What the process died of: MicroPython prints that among the rest."""
        return self._printed[-1] if self._printed else "it gave no reason"

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
                self._printed.append(line.decode("ascii", "replace").strip())
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

    def _answer(self, answer: bytes) -> None:
        with suppress(BrokenPipeError):  # what it died of is still to be read
            os.write(self._sink, answer + b"\n")

    def _set_time(self, now_ms: int) -> None:
        if now_ms != self._now_ms or not now_ms:
            self._now_ms = now_ms
            if self._world is not None:
                self.electronics.now_s = EPOCH_S + self._boot_s + (now_ms - self._start_ms) / 1000.0

    # --- what it asks -------------------------------------------------------------------------------------------------

    def _make_handlers(self) -> dict:
        named = {"sleep": self._sleep, "say": self._say, "booted": self._take_booted, "felt": self._take_felt,
                 "record": self._take_record, "stepped": self._take_stepped, "watchdog": self._feed, "feed": self._feed,
                 "out": self._out, "pwm": self._pwm, "in": self._in, "adc": self._adc, "i2c_write": self._i2c_write,
                 "i2c_read": self._i2c_read, "i2c_memory": self._i2c_memory, "spi": self._spi, "uart": self._uart,
                 "uart_any": self._uart_any, "wire_reset": self._wire_reset, "wire_write": self._wire_write,
                 "wire_read": self._wire_read, "blocks": self._blocks, "flash_read": self._flash_read,
                 "flash_write": self._flash_write, "flash_erase": self._flash_erase, "cause": self._tell_cause,
                 "key": self._key, "heap": self._take_heap}
        return {name.encode(): handler for name, handler in named.items()}

    def _sleep(self, until_ms: bytes, _is_deep: bytes) -> None:
        until = int(until_ms)
        if self._has_stepped and (until > self._last_ms or self._is_applied()):
            self._pending_ms = until
        else:
            self._answer_sleep(until)

    def _answer_sleep(self, until_ms: int) -> None:
        edge = 0
        if self._edge_ms is not None and until_ms > self._edge_ms:
            until_ms, edge = max(self._now_ms, self._edge_ms), 1
            self._edge_ms = None
        if self._fed_ms is not None and until_ms - self._fed_ms > self._watchdog_ms:
            raise BodyError("the board did not feed its watchdog for %d ms; it bites after %d"
                            % (until_ms - self._fed_ms, self._watchdog_ms))
        self._pending_ms = None
        self._answer(b"%d %d %d" % (until_ms, edge, len(self._keys)))

    def _take_heap(self, used: bytes) -> None:
        self.heap_bytes.append(int(used))

    def _feed(self) -> None:
        self._fed_ms = self._now_ms

    def _say(self, *words: bytes) -> None:
        self.said.append(b" ".join(words).decode("ascii", "replace"))

    def _take_booted(self, next_slot: bytes, bad: bytes) -> None:
        self._booted = (int(next_slot), int(bad))

    def _take_felt(self, *pairs: bytes) -> None:
        self.felt.update(_numbers(pairs))

    def _take_record(self, record: bytes) -> None:
        self._records.append(bytes.fromhex(record.decode()))

    def _take_stepped(self, *pairs: bytes) -> None:
        self._stepped = _numbers(pairs)
        self._has_stepped = True
        self.stepped_ms = self._now_ms

    def _tell_cause(self) -> bytes:
        return b"%d" % self._cause

    def _key(self) -> bytes:
        return b"%d" % self._keys.popleft()

    def _out(self, pin: bytes, level: bytes) -> None:
        self.electronics.out(int(pin), int(level))

    def _pwm(self, pin: bytes, frequency_hz: bytes, duty: bytes) -> None:
        self.electronics.pwm(int(pin), int(frequency_hz), int(duty))
        self._driven_ms.append(self._now_ms)

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


def _numbers(pairs) -> dict[str, int]:
    return {name: int(value) for name, _, value in (pair.decode().partition("=") for pair in pairs)}
