"""A file that shows to other processes that something is in use; the lock ends with the process, however that ends."""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


class Taken(Exception):
    """Somebody else has it."""


@contextmanager
def taken(path: Path) -> Iterator[None]:
    """Hold the lock of this file, which is made where it is not there and stays. Raises Taken, and OSError."""
    file = os.open(path, os.O_RDWR | os.O_CREAT, 0o666)
    try:
        try:
            _lock(file)
        except OSError:
            raise Taken(str(path)) from None
        yield
    finally:
        os.close(file)


def _lock(file: int) -> None:
    """Raises OSError where it is locked already."""
    if os.name == "nt":
        import msvcrt

        msvcrt.locking(file, msvcrt.LK_NBLCK, 1)
    else:
        import fcntl

        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
