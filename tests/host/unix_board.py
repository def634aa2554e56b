"""A board for the tests: a real MicroPython behind a pseudo-terminal, its littlefs flash kept in a file."""

import fcntl
import functools
import os
import pty
import select
import signal
import subprocess
import termios
import threading
import time
import tty
from contextlib import suppress
from math import inf
from pathlib import Path

from seatrial.bodies import find_micropython

SCRIPT = Path(__file__).parent / "scripts" / "board_with_flash.py"
BLOCK_BYTES = 4096
READY = b"\x06"  # it has its flash
SETTLES_S = 0.3  # so long after that it hears, or as soon as it says something
PICO_BLOCKS = 352  # the file system of the first board: 1408 KiB


class UnixBoard:
    """`port` is where the host finds it. After a reset it starts again; at a power cut the port is gone.

    `cut` is the number of the write to the flash at which the power goes, 0 for never, counted anew in each start from
    `cut_start` on: a board that has firmware is reset before it is flashed, so that the second start takes the files.
    With `cut_start` 1 only the first start counts. `garble` is given the bytes that go to the board and answers what
    arrives there. What is sent while it starts waits: a Ctrl-C that comes as the interpreter compiles may hang it.
    """

    def __init__(self, image: Path, blocks: int = PICO_BLOCKS, cut: int = 0, cut_start: int = 2,
                 garble=None) -> None:
        self._command = functools.partial(command, image, blocks)
        self._cut, self._cut_start = cut, cut_start
        self._garble = garble or (lambda data: data)
        self._host, self._cable_to_host = pty.openpty()
        tty.setraw(self._cable_to_host)
        self.port = os.ttyname(self._cable_to_host)
        self.starts = 0
        self.heard = b""
        self.was_cut = False
        self._closing = False
        self._start()
        self._cable = threading.Thread(target=self._carry, daemon=True)
        self._cable.start()

    def close(self) -> None:
        self._closing = True
        self._cable.join()

    def _start(self) -> None:
        self.starts += 1
        self._has_flash, self._hears_from_s = False, inf
        self._cable_to_board, board = pty.openpty()
        tty.setraw(board)
        attributes = termios.tcgetattr(board)
        attributes[3] |= termios.ISIG  # Ctrl-C interrupts what runs, as on a board
        termios.tcsetattr(board, termios.TCSANOW, attributes)

        def own_terminal() -> None:
            os.setsid()
            fcntl.ioctl(board, termios.TIOCSCTTY, 0)

        counts = self.starts == 1 if self._cut_start == 1 else self.starts >= self._cut_start
        cut = self._cut if counts else 0
        self._process = subprocess.Popen(self._command(cut, "-i"), stdin=board, stdout=board, stderr=board,
                                         preexec_fn=own_terminal)
        os.close(board)  # it belongs to the process now, and goes with it

    def _carry(self) -> None:
        """The cable: bytes from the host to the board and back, until one of them is gone."""
        while not self._closing and not self.was_cut:
            # Linux keeps a terminal exclusive until its last end is closed, and this one stays open: a port would not.
            fcntl.ioctl(self._cable_to_host, termios.TIOCNXCL)
            ready, _, _ = select.select([self._cable_to_board, *self._to_be_heard()], [], [], 0.02)
            if self._host in ready:
                os.write(self._cable_to_board, self._garble(os.read(self._host, 4096)))
            if self._cable_to_board in ready:
                self._hear()
            ended = self._process.poll()
            if ended is not None:
                self.was_cut = ended == -signal.SIGKILL  # a Ctrl-C before it can take one ends it as well
                os.close(self._cable_to_board)
                if not self.was_cut:
                    self._start()
        if not self.was_cut:
            self._process.kill()
            self._process.wait()
            os.close(self._cable_to_board)
        os.close(self._host)
        os.close(self._cable_to_host)

    def _to_be_heard(self) -> list[int]:
        return [self._host] if time.monotonic() >= self._hears_from_s else []

    def _hear(self) -> None:
        with suppress(OSError):  # the process ended, and its terminal with it
            data = os.read(self._cable_to_board, 4096)
            if self._has_flash:
                self._hears_from_s = 0.0
            elif READY in data:
                data = data.replace(READY, b"", 1)
                self._has_flash = True
                self._hears_from_s = 0.0 if data else time.monotonic() + SETTLES_S
            self.heard += data
            os.write(self._host, data)


def command(image: Path, blocks: int, cut: int, *options: str) -> list[str]:
    """What starts a board with this flash, which is made when it is not there."""
    if not image.exists():
        image.write_bytes(b"\xff" * BLOCK_BYTES * blocks)
    return [find_micropython(), *options, str(SCRIPT), str(image), str(blocks), str(cut)]


def boot(image: Path, blocks: int = PICO_BLOCKS) -> str:
    """What a board with this flash says from power-up to the end of the start or the next reset."""
    done = subprocess.run(command(image, blocks, 0), capture_output=True, stdin=subprocess.DEVNULL, encoding="utf-8",
                          timeout=60, check=False)
    return done.stdout.replace(READY.decode(), "", 1) + done.stderr
