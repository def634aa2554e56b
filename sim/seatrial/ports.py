"""Ports at which a simulated board is found: a pseudo-terminal as any serial program opens it, or a local socket.

Several people may be at one port, nobody, or one who never reads: a line that does not fit into what waits for them is
dropped whole, and the board goes on. What is sent while nobody is there is lost, as on a USB port.
"""

import os
import select
import socket
import sys
from contextlib import suppress

from seatrial.bodies import BodyError

WAITING_MAX = 4096  # bytes that wait for somebody who does not read
AT_ONCE = 1024
LOOK_S = 0.05  # how soon a pseudo-terminal that was left is looked at again
HOST = "127.0.0.1"


class Waiting:
    """What waits for one reader."""

    def __init__(self) -> None:
        self._bytes = bytearray()

    def __bool__(self) -> bool:
        return bool(self._bytes)

    def add(self, line: bytes) -> None:
        if len(self._bytes) + len(line) <= WAITING_MAX:
            self._bytes += line

    def send(self, send) -> None:
        """Give `send` what it takes."""
        with suppress(BlockingIOError):
            while self._bytes:
                del self._bytes[:send(self._bytes)]

    def clear(self) -> None:
        self._bytes.clear()


class TerminalPort:
    """One end of a pseudo-terminal; `url` is the name of the other. Raises BodyError where a system has none."""

    def __init__(self) -> None:
        try:
            import pty
            import tty
        except ImportError:
            raise BodyError("this system has no pseudo-terminals: choose a local socket with --tcp 4330") from None
        self._end, others = pty.openpty()
        self.url = os.ttyname(others)
        self._set_raw = tty.setraw
        os.close(others)  # from now on it shows whether somebody has it open
        os.set_blocking(self._end, False)
        self._poll = select.poll()
        self._poll.register(self._end, select.POLLIN)
        self._waiting = Waiting()
        self._was_open = True
        self._is_open()

    def close(self) -> None:
        os.close(self._end)

    @property
    def look_s(self) -> float | None:
        """How soon to look again by itself."""
        return None if self._is_open() else LOOK_S

    def readers(self) -> list:
        """What `select` can wait for to read; nobody there is always something to read."""
        return [self._end] if self._is_open() else []

    def writers(self) -> list:
        return [self._end] if self._waiting and self._is_open() else []

    def read(self, wanted: bool) -> bytes:
        """What has come; where it is not wanted yet, it waits where it is."""
        if not wanted or not self._events() & select.POLLIN:
            return b""
        with suppress(OSError):
            return os.read(self._end, AT_ONCE)
        return b""

    def write(self, line: bytes) -> None:
        if self._is_open():
            self._waiting.add(line)
            self.flush()

    def flush(self) -> None:
        try:
            self._waiting.send(lambda data: os.write(self._end, data))
        except OSError:
            self._waiting.clear()  # left in the middle

    def _events(self) -> int:
        return next((events for _end, events in self._poll.poll(0)), 0)

    def _is_open(self) -> bool:
        is_open = not self._events() & select.POLLHUP
        if self._was_open and not is_open:
            self._begin_anew()
        self._was_open = is_open
        return is_open

    def _begin_anew(self) -> None:
        """Everybody has left: whoever comes next finds neither old answers nor a changed terminal."""
        import termios

        self._waiting.clear()
        others = os.open(self.url, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
        self._set_raw(others, termios.TCSANOW)
        termios.tcflush(others, termios.TCIFLUSH)
        os.close(others)


class SocketPort:
    """A socket on this machine only, for systems without pseudo-terminals; `url` is as pyserial takes it.

    All who are connected hear everything. Number 0: any that is free. Raises BodyError where the number is taken.
    """

    look_s = None

    def __init__(self, number: int) -> None:
        self._listener = socket.socket()
        if sys.platform != "win32":  # there it would let two listen at once
            self._listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            self._listener.bind((HOST, number))
        except OSError as error:
            self._listener.close()
            raise BodyError("port %d of this machine cannot be had (%s): choose another with --tcp"
                            % (number, error)) from None
        self._listener.listen()
        self._listener.setblocking(False)
        self.url = "socket://%s:%d" % self._listener.getsockname()
        self._people: dict[socket.socket, Waiting] = {}

    def close(self) -> None:
        for person in (*self._people, self._listener):
            person.close()
        self._people.clear()

    def readers(self) -> list:
        return [self._listener, *self._people]

    def writers(self) -> list:
        return [person for person, waiting in self._people.items() if waiting]

    def read(self, wanted: bool) -> bytes:
        with suppress(BlockingIOError):
            while True:
                person, _from = self._listener.accept()
                person.setblocking(False)
                person.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                self._people[person] = Waiting()
        return b"".join(self._heard(person) for person in tuple(self._people)) if wanted else b""

    def write(self, line: bytes) -> None:
        for waiting in self._people.values():
            waiting.add(line)
        self.flush()

    def flush(self) -> None:
        for person, waiting in tuple(self._people.items()):
            try:
                waiting.send(person.send)
            except OSError:
                self._leave(person)

    def _heard(self, person: socket.socket) -> bytes:
        try:
            data = person.recv(AT_ONCE)
        except BlockingIOError:
            return b""
        except OSError:
            data = b""
        if not data:
            self._leave(person)
        return data

    def _leave(self, person: socket.socket) -> None:
        del self._people[person]
        person.close()
