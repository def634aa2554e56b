"""A raw MicroPython prompt played by CPython on a TCP port: what a bare board looks like to the loader.

Run isolated (python -I -S), so that nothing of the project can be imported unless it is sent. Its port is printed on
its standard error.
"""

import os
import socket
import sys
import traceback

BANNER = b"raw REPL; CTRL-B to exit\r\n>"


def serve() -> None:
    server = socket.create_server(("127.0.0.1", 0))
    print(server.getsockname()[1], flush=True, file=sys.stderr)
    connection, _ = server.accept()
    os.dup2(connection.fileno(), 0)
    os.dup2(connection.fileno(), 1)
    code = bytearray()
    names: dict = {"__name__": "__main__"}
    while byte := os.read(0, 1):
        if byte == b"\x01":
            code.clear()
            os.write(1, BANNER)
        elif byte == b"\x03":
            code.clear()
        elif byte == b"\x04":
            os.write(1, b"OK")
            os.write(1, b"\x04" + run(code.decode(), names) + b"\x04>")
            code.clear()
        else:
            code += byte


def run(code: str, names: dict) -> bytes:
    try:
        exec(code, names)  # noqa: S102
    except Exception:
        return traceback.format_exc().encode()
    finally:
        sys.stdout.flush()
    return b""


# The loop of the board writes a line and expects it to leave at once.
sys.stdout = os.fdopen(1, "w", buffering=1, closefd=False)
serve()
