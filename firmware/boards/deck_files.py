"""`files`: which firmware is really on the board, by SHA-256 of each of its files. Loaded when it is asked for.

The files are those beside the `lander` package: what ends in .py or .mpy there, and all such in the packages. They are
read through the volume that owns the flash, since the file system itself is not mounted in flight.
"""

import binascii
import hashlib

import lander
from lander import wire

PACKAGES = ("boards", "drivers", "lander")
ENDINGS = (".py", ".mpy")
DIGEST_DIGITS = 16
CHUNK_BYTES = 512


def files(line, flight, pairs, _now_ms: int) -> str:
    """How many, and the digest of all; or one of them."""
    volume = line.board.files(flight.slots.volume)
    if volume is None:
        raise wire.WireError("the file system of the board cannot be read")
    folder = folder_of(lander.__file__)
    try:
        names = sorted(names_in(volume, folder))
        if pairs:
            at = wire.take(pairs, "at", 0, len(names) - 1)
            wire.nothing_else(pairs)
            length, digest = digest_of(volume, folder + names[at])
            return "at=%d name=%s bytes=%d digest=%s" % (at, names[at], length, digest)
        whole = hashlib.sha256()
        for name in names:
            whole.update(("%s %s\n" % (name, digest_of(volume, folder + name)[1])).encode())
    except OSError:
        raise wire.WireError("a file of the firmware cannot be read") from None
    return "count=%d digest=%s" % (len(names), _digits(whole))


def folder_of(file: str) -> str:
    """The folder of the firmware, with a slash behind it unless it is the one that the interpreter was started in."""
    package = file.rsplit("/", 1)[0]
    return package[:package.rfind("/") + 1]


def names_in(volume, folder: str):
    """The names of all files of the firmware, paths within its folder."""
    found = []
    for name in _listed(volume, folder):
        if name in PACKAGES:
            for inner in _listed(volume, folder + name):
                if inner.endswith(ENDINGS):
                    found.append(name + "/" + inner)
        elif name.endswith(ENDINGS):
            found.append(name)
    return found


def _listed(volume, folder: str):
    return [entry[0] for entry in volume.ilistdir(folder.rstrip("/") or folder)]


def digest_of(volume, path: str):
    """Bytes of a file, and the first digits of its SHA-256."""
    digest = hashlib.sha256()
    piece = bytearray(CHUNK_BYTES)
    length = 0
    with volume.open(path, "rb") as file:
        count = file.readinto(piece)
        while count:
            digest.update(memoryview(piece)[:count])
            length += count
            count = file.readinto(piece)
    return length, _digits(digest)


def _digits(digest) -> str:
    return binascii.hexlify(digest.digest()).decode()[:DIGEST_DIGITS]
