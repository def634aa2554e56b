"""A practice board: the whole code of a board behind a serial port, in real time, on a lander that stands on deck.

Any serial program finds it at `url`, as it would find a board. The code runs in real MicroPython (`board_process`);
its chips and circuits are those of a lander on deck (`on_deck`). Time of the board goes with the clock on the wall,
`speed` times as fast: a sleep is answered when its end has come, or sooner where bytes have come. Where this machine is
too slow for that, the board's time goes slower; it never leaps. Who looks at the board again and again may say how far
its time may go until the next look (`go_no_further`): then nothing passes unseen, however slow the looking is.

A process that ends, or whose watchdog bites, is started anew on the same flash, as a chip does it; the port stays. One
that crashed is told of, since no line asked for that: it is a fault of the board's code.
"""

import mmap
import os
import select
import socket
import threading
import time
from collections.abc import Callable, Sequence
from contextlib import ExitStack, suppress
from datetime import UTC, datetime
from math import inf
from pathlib import Path

from seatrial.board_process import BLOCKS, HEAP_BYTES, BoardProcess, numbers
from seatrial.bodies import BodyError
from seatrial.chips.flash import BLOCK_BYTES
from seatrial.electronics import EPOCH_S
from seatrial.locking import Taken, taken
from seatrial.miswirings import MISWIRINGS, Miswiring
from seatrial.on_deck import DeckElectronics, DeckWorld, touch
from seatrial.plan import load_sample
from seatrial.ports import SocketPort, TerminalPort

POWER_CAME, WATCHDOG_BIT, ASKED_FOR = range(3)  # as the input `reset_cause` counts
SPEED_MIN, SPEED_MAX = 0.1, 100.0
KEYS_MAX = 1024  # bytes that wait for the board; more wait at the sender
LATE_S = 1.0  # further behind the wall than this: the board's time goes slower from here on
HANGS_S = 5.0  # a process is not called hanging sooner, however fast its watchdog counts
IDLE_S = 1.0
FLASH = "flash.bin"
IN_USE = "in-use"  # locked while a board works on the flash beside it
CHIP = b"practice".hex()  # the number of its chip


class PracticeBoard(BoardProcess):
    """`with PracticeBoard() as board:` serves until it ends, in a thread of its own; or `open`, `run`, `close`.

    `plan` (the sample when left out) is put on the flash where it was given or the flash is new. `wrong` are names of
    `MISWIRINGS`. `tcp_port` asks for a local socket in place of a pseudo-terminal, 0 for any that is free. `keep` is a
    folder where the flash outlives this object. `clock` is what the board's clock was set to, UTC; the time on the wall
    when left out. `tell` is told in a sentence of each crash of the board's code. `starts` counts the starts of the
    process, `wanted` are the outputs of the mission's last step.

    Raises BodyError for what does not exist, and when the board's code does what no board can.
    """

    def __init__(self, plan=None, board: str = "pico", wrong: Sequence[str] = (), speed: float = 1.0,
                 tcp_port: int | None = None, keep: Path | None = None, fitted: dict | None = None, seed: int = 1,
                 clock: datetime | None = None, heap_bytes: int = HEAP_BYTES,
                 tell: Callable[[str], None] = lambda _sentence: None) -> None:
        sentence = not_possible(board, wrong, speed, plan)
        if sentence:
            raise BodyError(sentence)
        if keep is not None:
            keep.mkdir(parents=True, exist_ok=True)
        self._wrong: list[Miswiring] = [MISWIRINGS[name] for name in wrong]
        super().__init__(board, fitted, heap_bytes,
                         {name: text for one in self._wrong for name, text in one.appended.items()})
        self._plan = plan or load_sample()
        self._is_given = plan is not None
        self.speed = speed
        self._tcp_port = tcp_port
        self._keep = keep
        self._seed = seed
        self._clock = clock
        self._tell = tell
        self._kept: ExitStack = ExitStack()
        self.lock = threading.RLock()  # held while the board is served: hold it to look at or change several things
        self.starts = 0
        self.wanted: dict[str, int] = {}
        self.is_plugged = True
        self.failure: BaseException | None = None
        self._thread: threading.Thread | None = None
        self._is_stopping = threading.Event()
        self._is_over = threading.Event()
        self._cause = POWER_CAME
        self._was_off_s = 0.0
        self._starts_at = 0.0
        self._limit_s: float | None = None  # its time goes no further than this, but to answer
        self._is_asked = False  # a line has come that was not answered yet

    # --- its life -----------------------------------------------------------------------------------------------------

    def __enter__(self) -> "PracticeBoard":
        try:
            self.open()
        except BaseException:
            self.close()
            raise
        self._thread = threading.Thread(target=self.run, name="practice board", daemon=True)
        self._thread.start()
        return self

    def __exit__(self, kind, _value, _trace) -> None:
        self.close()
        if self.failure and kind is None:
            raise self.failure

    @property
    def url(self) -> str:
        """What a serial program opens: /dev/pts/N or socket://127.0.0.1:PORT."""
        return self._port.url

    def open(self) -> None:
        """Prepare flash and electronics, start, and be found at `url`."""
        self._wake_here, self._wake_there = socket.socketpair()
        self._wake_here.setblocking(False)
        self._port = TerminalPort() if self._tcp_port is None else SocketPort(self._tcp_port)
        self._take_flash()
        self.world = DeckWorld(self._plan, self._seed)
        self.electronics = DeckElectronics(self._pins, self._fitted, self.world, self._plan)
        self._is_wired = True
        self._moving = {number for number in self._pins["PINS"].values() if self.electronics.matters(number)}
        self.electronics.start_clock(self._clock or datetime.now(UTC))
        for one in self._wrong:
            one.wire(self.electronics)
        self._come_up()

    def run(self) -> None:
        """Serve until `stop`."""
        try:
            while not self._is_stopping.is_set():
                self._round()
        except BaseException as error:
            self.failure = error
            if self._thread is None:
                raise
        finally:
            try:
                self._end()
            finally:
                self._is_over.set()

    def wait(self, for_s: float) -> bool:
        """Wait so long at most; whether it still serves. Raises what ended it."""
        if self._thread:
            self._is_over.wait(for_s)  # no `join`: where Ctrl-C comes into one, some Pythons take the thread as ended
        if self.failure:
            raise self.failure
        return self._thread is not None and not self._is_over.is_set()

    def stop(self) -> None:
        """Let `run` come to its end."""
        self._is_stopping.set()
        self._wake()

    def close(self) -> None:
        """End the process, leave the port, and keep the flash where that was asked for."""
        if not hasattr(self, "_port"):
            return self._put_away()
        self.stop()
        if self._thread:
            self._thread.join()
        self._end()
        self._port.close()
        self._wake_here.close()
        self._wake_there.close()
        return self._put_away()

    def _put_away(self) -> None:
        self._kept.close()
        self._folder.cleanup()

    # --- what people do to it -----------------------------------------------------------------------------------------

    def set(self, **touched) -> None:
        """Change what the board can feel: `pressure_mbar` (None: air again), `contact_wet`, `leak_wet`, `magnet`,
        `latch_open`. Raises ValueError for another name. `world` holds all the rest; take `lock` for that.
        """
        with self.lock:
            for name, value in touched.items():
                touch(self.electronics, name, value)
            self.electronics.draw()

    def cut_power(self, for_s: float) -> None:
        """Take all supplies away for so long, s of the board's time; the clock has its own cell."""
        with self.lock:
            self._go_down(POWER_CAME, for_s + self._plan.power.boot_s)
        self._wake()

    def unplug(self) -> None:
        """Pull the cable of the line: the board goes on, and nothing passes in either direction."""
        self.is_plugged = False

    def plug(self) -> None:
        """Put the cable back."""
        self.is_plugged = True

    # --- its time -----------------------------------------------------------------------------------------------------

    @property
    def now_s(self) -> float:
        """Seconds of its time that have passed since it was made, those of a sleep that still lasts among them."""
        with self.lock:
            if self._process is None or self._pending_ms is None:
                return self.world.now_s
            return max(self.world.now_s, self._boot_s + min(self._wall_ms(), self._pending_ms) / 1000.0)

    def go_no_further(self, limit_s: float | None) -> None:
        """Its time stands still from this `now_s` on, until another limit is given; None: it goes with the wall again.

        What it needs to answer a line goes on all the same. A time when it is off is not limited.
        """
        with self.lock:
            self._limit_s = limit_s
        self._wake()

    # --- the flash ----------------------------------------------------------------------------------------------------

    def _take_flash(self) -> None:
        is_new = self._open_kept_flash(self._keep) if self._keep else True
        if is_new or self._is_given:
            self._put_plan(self._plan.mission_record())
        for one in self._wrong:
            one.spoil(self.flash)

    def _open_kept_flash(self, keep: Path) -> bool:
        """The flash as a file that is changed in place, and nobody else's meanwhile; whether it is new."""
        try:
            self._kept.enter_context(taken(keep / IN_USE))
        except Taken:
            raise BodyError("--keep is %s, and another practice board works on it: stop that one, or choose another"
                            " folder" % keep) from None
        path, wanted = keep / FLASH, BLOCKS[self._board] * BLOCK_BYTES
        is_new = not path.exists()
        if is_new:
            path.write_bytes(self.flash.image)
        if path.stat().st_size != wanted:
            raise BodyError("%s has %d bytes and the flash of a %s has %d: choose another folder with --keep"
                            % (path, path.stat().st_size, self._board, wanted))
        with path.open("r+b") as file:
            self.flash.image = self._kept.enter_context(mmap.mmap(file.fileno(), 0))
        return is_new

    # --- one round ----------------------------------------------------------------------------------------------------

    def _round(self) -> None:
        """Wait for something, and answer it."""
        with self.lock:
            readers, writers, wait_s = self._waits()
        with suppress(ValueError, OSError):  # somebody left meanwhile
            select.select(readers, writers, [], wait_s)
        with self.lock:
            with suppress(BlockingIOError):
                self._wake_here.recv(64)
            self._port.flush()
            self._hear()
            if self._process is None:
                if time.monotonic() >= self._starts_at:
                    self._come_up()
                return
            self._listen()
            if self._process is not None:
                self._look_at_time()

    def _waits(self) -> tuple[list, list, float]:
        readers = [self._wake_here]
        if self._process is not None:
            readers.append(self._said_here)
        if self._wants_keys():
            readers += self._port.readers()
        spans_s = [self._until_s(), self._port.look_s or IDLE_S, IDLE_S]
        return readers, self._port.writers(), max(0.0, min(spans_s))

    def _until_s(self) -> float:
        """How long until something is due by the clock on the wall."""
        if self._process is None:
            return self._starts_at - time.monotonic()
        if self._pending_ms is None:
            return IDLE_S
        due_ms = self._now_ms if self._keys else self._pending_ms
        if due_ms > self._limit_ms():
            return IDLE_S
        return (due_ms - self._wall_ms()) / self.speed / 1000.0

    def _wall_ms(self) -> float:
        """What the board would count if it did exactly as the wall does, which it does not beyond a limit."""
        wall_ms = (time.monotonic() - self._began_at) * self.speed * 1000.0
        over_ms = wall_ms - self._limit_ms()
        if over_ms <= 0.0:
            return wall_ms
        self._began_at += over_ms / self.speed / 1000.0
        return wall_ms - over_ms

    def _limit_ms(self) -> float:
        """How far its time may go. A board that is limited makes up for nothing: it would run on unseen."""
        if self._limit_s is None:
            return inf
        asked_ms = (self._pending_ms or 0) if self._is_asked else 0
        return max(1000.0 * (self._limit_s - self._boot_s), self._now_ms, asked_ms)

    def _wants_keys(self) -> bool:
        return len(self._keys) < KEYS_MAX

    def _hear(self) -> None:
        data = self._port.read(self._wants_keys())
        if self.is_plugged and self._process is not None:
            self._keys.extend(data)
            self._is_asked |= b"\n" in data

    def _listen(self) -> None:
        """Take what the process has said, and answer it."""
        data = self._read(0.0)
        now_s = time.monotonic()
        self._silent_s += min(now_s - self._rounded_at, IDLE_S)
        self._rounded_at = now_s
        if data:
            self._silent_s = 0.0
            self._take(data)
        while self._lines and self._process is not None:
            self._serve_line()
            if not self.world.supply_holds():
                self._go_down(POWER_CAME, self._plan.power.boot_s)
        if data == b"" and self._process is not None:
            self._go_down(self._why_it_ended(), self._plan.power.boot_s)

    def _why_it_ended(self) -> int:
        """The cause that the board finds at its next start. Its launcher resets it after an exception; where the
        interpreter itself is gone, only the watchdog does.
        """
        crash = self._crash()
        if crash:
            self._tell("the board's code has crashed, and is started anew: %s" % crash)
        return WATCHDOG_BIT if self._process.returncode < 0 else ASKED_FOR

    def _look_at_time(self) -> None:
        """End a sleep that is over; let the watchdog bite."""
        wall_ms = self._wall_ms()
        if self._bites(wall_ms):
            return self._go_down(WATCHDOG_BIT, self._plan.power.boot_s)
        if self._pending_ms is None:
            return None
        if wall_ms >= self._pending_ms:
            self._slow_down(wall_ms - self._pending_ms)
            self._answer_sleep(self._pending_ms)
        elif self._keys and wall_ms >= self._now_ms:
            self._answer_sleep(int(wall_ms))
        return None

    def _bites(self, wall_ms: float) -> bool:
        if self._fed_ms is None:
            return False
        if self._pending_ms is None:
            return self._silent_s > max(self._watchdog_ms / 1000.0 / self.speed, HANGS_S)
        return max(self._now_ms, min(self._pending_ms, wall_ms)) - self._fed_ms > self._watchdog_ms

    def _slow_down(self, late_ms: float) -> None:
        """Too far behind: this machine was away, or is too slow."""
        if late_ms > 1000.0 * LATE_S * self.speed:
            self._began_at += late_ms / 1000.0 / self.speed

    def _answer_sleep(self, until_ms: int) -> None:
        self._pending_ms = None
        self._silent_s = 0.0
        self._let_pass(until_ms)
        self._set_time(until_ms)
        self._answer(b"%d 0 %d" % (until_ms, len(self._keys)))

    def _let_pass(self, until_ms: int) -> None:
        passed_ms, self._passed_ms = until_ms - self._passed_ms, until_ms
        self.electronics.now_s = EPOCH_S + self._boot_s + until_ms / 1000.0
        self.electronics.pass_time(passed_ms / 1000.0)

    def _wake(self) -> None:
        with suppress(OSError):
            self._wake_there.send(b"!")

    # --- up and down --------------------------------------------------------------------------------------------------

    def _come_up(self) -> None:
        """Power is there, or the reset is over: start the process on the flash as it is."""
        world, electronics = self.world, self.electronics
        electronics.pass_time(self._was_off_s)
        if not world.supply_is_back():
            self._was_off_s = self._plan.power.boot_s
            self._starts_at = time.monotonic() + self._was_off_s / self.speed
            return
        self._boot_s = world.now_s
        self._begin_counts()
        self._passed_ms = 0
        if self._cause == POWER_CAME:
            electronics.lose_power(EPOCH_S + self._boot_s)
        self._set_time(0)
        world.controller_on = True
        electronics.draw()
        self.starts += 1
        self._start(self._board, "id=" + CHIP)
        self._began_at = self._rounded_at = time.monotonic()
        self._silent_s = 0.0  # since it said something, as long as this machine was there

    def _go_down(self, cause: int, for_s: float) -> None:
        """The chip is reset, or its supply is gone: its pins let go at once. It starts again after so long."""
        self._end()
        self._keys.clear()
        self._is_asked = False
        self._cause = cause
        self._was_off_s = for_s
        self._starts_at = time.monotonic() + for_s / self.speed
        self.electronics.let_go()
        self.world.controller_on = False
        self.electronics.draw()

    # --- the pipe of the process --------------------------------------------------------------------------------------

    def _connect(self, stdout) -> None:
        """What it says goes through a socket, since not every system can wait for a pipe and a socket at once."""
        self._said_here, said_there = socket.socketpair()
        self._pump = threading.Thread(target=_carry, args=(stdout.fileno(), said_there), daemon=True)
        self._pump.start()

    def _read(self, wait_s: float) -> bytes | None:
        self._said_here.settimeout(wait_s)
        try:
            return self._said_here.recv(65536)
        except (BlockingIOError, TimeoutError):
            return None

    def _end(self) -> None:
        if self._process is None:
            return
        self._process.kill()
        self._said_here.close()
        self._pump.join()
        super()._end()

    # --- what it asks -------------------------------------------------------------------------------------------------

    def _sleep(self, until_ms: bytes, _is_deep: bytes) -> None:
        self._pending_ms = int(until_ms)

    def _tell_cause(self) -> bytes:
        return b"%d" % self._cause

    def _take_stepped(self, *pairs: bytes) -> None:
        self.wanted = numbers(pairs)

    def _say(self, *words: bytes) -> None:
        super()._say(*words)
        self._is_asked = False
        self._send(b" ".join(words))

    def _print(self, line: bytes) -> None:
        super()._print(line)
        self._send(line.rstrip())

    def _send(self, line: bytes) -> None:
        if self.is_plugged:
            self._port.write(line + b"\r\n")  # as MicroPython ends a line on its serial ports

    def _out(self, pin: bytes, level: bytes) -> None:
        super()._out(pin, level)
        self._moved(int(pin))

    def _pwm(self, pin: bytes, frequency_hz: bytes, duty: bytes) -> None:
        super()._pwm(pin, frequency_hz, duty)
        self._moved(int(pin))

    def _moved(self, pin: int) -> None:
        if pin in self._moving:
            self.electronics.draw()


def not_possible(board: str, wrong: Sequence[str], speed: float, plan=None) -> str:
    """What is wrong with such a practice board, in a sentence; empty when nothing is."""
    unknown = [name for name in wrong if name not in MISWIRINGS]
    if board not in BLOCKS:
        return "--board is %s; allowed is %s" % (board[:40], ", ".join(BLOCKS))
    if unknown:
        return "--wrong is %s; allowed is %s" % (unknown[0][:40], ", ".join(MISWIRINGS))
    if not SPEED_MIN <= speed <= SPEED_MAX:
        return "--speed is %g; allowed is %g to %g" % (speed, SPEED_MIN, SPEED_MAX)
    if plan is not None and plan.release.backup.kind != "latch":
        return ('release.backup.kind is "%s"; the board that is simulated drives a latch there: practise with another'
                " plan" % plan.release.backup.kind)
    return ""


def _carry(source: int, sink: socket.socket) -> None:
    """Whatever the process says, until it ends."""
    with sink, suppress(OSError):
        while data := os.read(source, 65536):
            sink.sendall(data)
