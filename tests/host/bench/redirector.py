"""A port of a board handed on over the network by RFC 2217, as a serial server does it; pyserial has both its ends."""

import select
import socket
import threading
from contextlib import suppress

import serial
from serial import rfc2217

LOOK_S = 0.02
PIECE_BYTES = 1024


class Connection:
    """What a `PortManager` writes to."""

    def __init__(self, person: socket.socket) -> None:
        self.write = person.sendall


class Redirector:
    """Hands on the port of this URL to one person at a time; `url` is where. A context manager."""

    def __init__(self, far_url: str) -> None:
        self._far_url = far_url
        self._listener = socket.create_server(("127.0.0.1", 0))
        self._listener.settimeout(LOOK_S)
        self.url = "rfc2217://%s:%d" % self._listener.getsockname()
        self.visits = 0
        self._is_stopping = threading.Event()
        self._thread = threading.Thread(target=self._serve, daemon=True)

    def __enter__(self) -> "Redirector":
        self._thread.start()
        return self

    def __exit__(self, *_error) -> None:
        self._is_stopping.set()
        self._thread.join()
        self._listener.close()

    def _serve(self) -> None:
        while not self._is_stopping.is_set():
            with suppress(TimeoutError):
                person, _from = self._listener.accept()
                self.visits += 1
                with person, serial.serial_for_url(self._far_url, timeout=0) as port, suppress(ConnectionError):
                    self._carry(person, port)

    def _carry(self, person: socket.socket, port) -> None:
        manager = rfc2217.PortManager(port, Connection(person))
        while not self._is_stopping.is_set():
            if select.select([person], [], [], LOOK_S)[0]:
                data = person.recv(PIECE_BYTES)
                if not data:
                    return
                port.write(b"".join(manager.filter(data)))
            said = port.read(PIECE_BYTES)
            if said:
                person.sendall(b"".join(manager.escape(said)))
