"""A board with no pins: its inputs and outputs are lines on the serial port that the interpreter already has.

Runs on any MicroPython that has a standard input: a board at the end of a cable, or a process behind a
pseudo-terminal. Needs nothing but `sys` and `gc`.
"""

import gc
import sys

from lander import wire
from lander.console import Console


def run() -> None:
    """Answer lines until `bye`. Bytes beyond the longest line are dropped and answered once."""
    source = getattr(sys.stdin, "buffer", sys.stdin)
    console = Console(heap)
    line = bytearray(wire.LINE_MAX + 1)
    length = 0
    while not console.ended:
        byte = source.read(1)
        if not byte:
            return
        code = byte[0] if isinstance(byte, bytes) else ord(byte)
        if code == 10:
            if length:
                _say(console.answer(_text(line, length)))
            length = 0
        elif code != 13 and length <= wire.LINE_MAX:
            line[length] = code
            length += 1


def heap():
    """Bytes used and free after a collection; zeros where the interpreter cannot tell."""
    gc.collect()
    return (gc.mem_alloc(), gc.mem_free()) if hasattr(gc, "mem_alloc") else (0, 0)


def _text(line, length: int) -> str:
    """The line as text; a byte outside printable ASCII becomes a question mark, which no checksum forgives."""
    for index in range(length):
        if not 32 <= line[index] < 127:
            line[index] = 63
    return bytes(line[:length]).decode()


def _say(answer: str) -> None:
    sys.stdout.write(answer + "\n")
