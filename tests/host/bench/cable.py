"""A cable to a board that is pulled in the middle of what a command does, and a controller that answers by rote."""

import select
import socket
import threading
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress

PULLED = "pulled"  # the port is gone at once, as a USB port is
LOST = "answer lost"  # the request is heard, its answer and all that follows is not, as on two wires
LOOK_S = 0.05


def _address(url: str) -> tuple[str, int]:
    host, _, port = url.removeprefix("socket://").rpartition(":")
    return host, int(port)


class Cable:
    """Between a command and the board at `far_url`; pulled at the request with this verb, the `nth` of them.

    `heard` counts the requests by verb; `is_cut` says whether it came so far.
    """

    def __init__(self, far_url: str, verb: str = "", nth: int = 1, how: str = PULLED) -> None:
        self._far = _address(far_url)
        self._cut_at = (verb, nth)
        self._how = how
        self.heard: Counter[str] = Counter()
        self.is_cut = False
        self._is_stopping = False
        self._listener = socket.create_server(("127.0.0.1", 0))
        self._listener.settimeout(LOOK_S)
        self.url = "socket://%s:%d" % self._listener.getsockname()
        self._thread = threading.Thread(target=self._serve, daemon=True)

    def __enter__(self) -> "Cable":
        self._thread.start()
        return self

    def __exit__(self, *_error) -> None:
        self._is_stopping = True
        self._thread.join()
        self._listener.close()

    def _serve(self) -> None:
        while not self._is_stopping and not (self.is_cut and self._how == PULLED):
            with suppress(TimeoutError):
                near, _from = self._listener.accept()
                with near, socket.create_connection(self._far) as far, suppress(OSError):
                    self._carry(near, far)
        self._listener.close()

    def _carry(self, near: socket.socket, far: socket.socket) -> None:
        said = b""
        while not self._is_stopping:
            ready = select.select([near, far], [], [], LOOK_S)[0]
            if far in ready:
                data = far.recv(4096)
                if not self.is_cut:
                    near.sendall(data)
            if near in ready:
                data = near.recv(4096)
                if not data:
                    return
                *lines, said = (said + data).split(b"\n")
                for line in lines:
                    self._take(line, far)
                if self.is_cut and self._how == PULLED:
                    return

    def _take(self, line: bytes, far: socket.socket) -> None:
        if self.is_cut:
            return
        if line:
            verb = line.decode().partition("*")[0].split()[1]
            self.heard[verb] += 1
            self.is_cut = (verb, self.heard[verb]) == self._cut_at
        if not self.is_cut or self._how == LOST:
            far.sendall(line + b"\n")


@contextmanager
def answering(answer: Callable[[bytes], bytes]) -> Iterator[str]:
    """A port where each line is answered by what this makes of it, as it is; its URL."""
    listener = socket.create_server(("127.0.0.1", 0))
    listener.settimeout(LOOK_S)
    is_over = threading.Event()

    def serve() -> None:
        while not is_over.is_set():
            with suppress(TimeoutError, OSError):
                person, _from = listener.accept()
                person.settimeout(LOOK_S)
                with person:
                    _answer_all(person, answer, is_over)

    thread = threading.Thread(target=serve, daemon=True)
    thread.start()
    try:
        yield "socket://%s:%d" % listener.getsockname()
    finally:
        is_over.set()
        thread.join()
        listener.close()


def _answer_all(person: socket.socket, answer: Callable[[bytes], bytes], is_over: threading.Event) -> None:
    said = b""
    while not is_over.is_set():
        with suppress(TimeoutError):
            data = person.recv(4096)
            if not data:
                return
            *lines, said = (said + data).split(b"\n")
            for line in filter(None, lines):
                person.sendall(answer(line))
