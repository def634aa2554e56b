"""The ports of a practice board: who is there hears whole lines, and who is not costs nothing.

What is held here are statements of this project; there is no outside source.
"""

import os
import select
import socket
import sys
import time
from collections.abc import Iterator

import pytest

from seatrial.ports import WAITING_MAX, SocketPort, TerminalPort

LINE = b"a line of forty bytes, with its end: 01\n"
needs_terminals = pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminals here")


@pytest.fixture
def sockets() -> Iterator[SocketPort]:
    port = SocketPort(0)
    yield port
    port.close()


@pytest.fixture
def terminal() -> Iterator[TerminalPort]:
    port = TerminalPort()
    yield port
    port.close()


def joined(port: SocketPort) -> socket.socket:
    person = socket.create_connection(("127.0.0.1", int(port.url.rpartition(":")[2])))
    select.select(port.readers(), [], [], 5.0)
    port.read(True)
    return person


def all_from(person: socket.socket) -> bytes:
    person.settimeout(5.0)
    return b"".join(iter(lambda: person.recv(65536), b""))


def heard(terminal: TerminalPort, wanted: bytes) -> bytes:
    """What has come once so much is there: a system may take a moment to carry it over."""
    got = b""
    end_s = time.monotonic() + 10.0
    while len(got) < len(wanted) and time.monotonic() < end_s:
        got += terminal.read(True)
    return got


def test_who_never_reads_loses_whole_lines_and_never_a_part_of_one(sockets):
    person = joined(sockets)
    for _ in range(200000):  # far more than systems buffer
        sockets.write(LINE)
    for waiting in sockets._people.values():
        assert 0 < len(waiting._bytes) <= WAITING_MAX
    seen = b""
    person.setblocking(False)
    while sockets.writers():
        seen += person.recv(1 << 20)
        sockets.flush()
    sockets.close()
    seen += all_from(person)
    assert seen.count(LINE) * len(LINE) == len(seen) < 200000 * len(LINE)


def test_who_leaves_is_forgotten_and_the_other_one_is_heard(sockets):
    stays, leaves = joined(sockets), joined(sockets)
    leaves.close()
    stays.send(b"here")
    heard = b""
    while b"here" not in heard or len(sockets._people) > 1:
        select.select(sockets.readers(), [], [], 5.0)
        heard += sockets.read(True)
    sockets.write(LINE)
    sockets.close()
    assert all_from(stays) == LINE
    stays.close()


def test_bytes_that_are_not_wanted_yet_wait_at_the_sender(sockets):
    person = joined(sockets)
    person.send(b"later")
    select.select(sockets.readers(), [], [], 5.0)
    assert sockets.read(False) == b""
    assert sockets.read(True) == b"later"
    person.close()


@needs_terminals
def test_a_terminal_passes_bytes_as_they_are_and_drops_what_nobody_hears(terminal):
    terminal.write(LINE)
    person = os.open(terminal.url, os.O_RDWR | os.O_NOCTTY)
    terminal.write(b"\x03\r\n")
    assert os.read(person, 100) == b"\x03\r\n"
    os.write(person, b"\x03\x04\r\n")
    assert heard(terminal, b"\x03\x04\r\n") == b"\x03\x04\r\n"
    os.close(person)


@needs_terminals
def test_two_people_at_one_terminal_share_it_and_the_first_may_leave(terminal):
    one, other = (os.open(terminal.url, os.O_RDWR | os.O_NOCTTY) for _ in range(2))
    os.write(one, b"one")
    os.write(other, b"other")
    assert heard(terminal, b"oneother") == b"oneother"
    os.close(one)
    terminal.write(LINE)
    assert os.read(other, 100) == LINE
    os.close(other)


@needs_terminals
def test_what_was_typed_by_one_who_has_left_still_arrives_and_the_terminal_is_as_new(terminal):
    import termios

    first = os.open(terminal.url, os.O_RDWR | os.O_NOCTTY)
    settings = termios.tcgetattr(first)
    settings[3] |= termios.ECHO | termios.ICANON
    termios.tcsetattr(first, termios.TCSANOW, settings)
    os.write(first, b"bye\n")
    terminal.write(LINE)
    os.close(first)
    assert heard(terminal, b"bye").startswith(b"bye")
    terminal.write(LINE)
    second = os.open(terminal.url, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
    assert not termios.tcgetattr(second)[3] & (termios.ECHO | termios.ICANON)
    with pytest.raises(BlockingIOError):
        os.read(second, 100)
    os.close(second)
