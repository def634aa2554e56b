"""The mission record on the board, in two copies, so that a power cut never leaves the lander without a plan.

`store` writes the copy that does not count, reads it back, and only then does the new plan count: until that moment the
other copy is whole and untouched. Then that one is brought up to the same plan, so that a page of flash that goes bad
later costs nothing. `load` takes the newest copy whose checksum is right and whose orders pass the limits again here.

Layout of a copy, little-endian: magic "TC", generation u16, length of the record u16, the mission record
(lander.orders), CRC-16 of all before it. Used on deck and at boot only; it may allocate.
"""

import os
import struct

from lander import orders
from lander.checksum import crc16

MAGIC = b"TC"
HEADER_BYTES = 6
COPY_BYTES = HEADER_BYTES + orders.RECORD_BYTES + 2
COPIES = 2
FOLDERS = ("plan_0", "plan_1")  # littlefs keeps a folder's small files in one pair of pages: a folder each
FILE_NAME = "record.bin"
_NO_DEVICE = 19  # ENODEV


class PlanCopies:
    """Two places for the mission record. `load` first; then the attributes tell what was found.

    The places come as three functions: `read(copy)` answers the bytes of copy 0 or 1, or None where there are none;
    `write(copy, data)` replaces them; `sync()` returns when they are in the flash. Each may raise OSError.

    record: the mission record that counts, or None; what `Mission` is made from.
    generation: its number, 0 to 65535, wrapping. newest: which copy it came from, -1 for neither.
    degraded: 1 unless both copies are whole and hold the same plan. Arming wants 0; `mend` brings it about.
    """

    def __init__(self, read, write, sync) -> None:
        self._read = read
        self._write = write
        self._sync = sync
        self.record: bytes | None = None
        self.generation = 0
        self.newest = -1
        self.degraded = 1

    def load(self) -> orders.Orders:
        """The orders that count. `good` is False, and they are the defaults that lead home, when no copy is whole."""
        self._forget()
        for copy in range(COPIES):
            data = self._bytes_of(copy)
            if not _is_whole(data):
                continue
            generation = _generation_of(data)
            record = bytes(data[HEADER_BYTES:COPY_BYTES - 2])
            if self.newest >= 0:
                self.degraded = int(generation != self.generation or record != self.record)
            if self.newest < 0 or _is_newer(generation, self.generation):
                self.newest, self.generation, self.record = copy, generation, record
        return orders.unpack(self.record)

    def store(self, record) -> bool:
        """Make this the plan. True: it counts now. False: it could not be written, and the plan of before counts.

        After True, `degraded` may still be 1: the new plan counts, but its second copy could not be written.
        Raises ValueError when the record is damaged or its orders are outside their limits; nothing is written then.
        """
        if not orders.unpack(record).good:
            raise ValueError("the mission record is damaged or its orders are outside their limits: send it again")
        self.load()  # never trust what was read long ago about which copy may be overwritten
        first = 1 - self.newest if self.newest >= 0 else 0
        data = _copy_of(record, (self.generation + 1) & 0xFFFF)
        if not self._put(first, data):
            self._spoil(first)
            self.load()
            return self.record == bytes(record)
        self._put(1 - first, data)
        self.load()
        return self.record == bytes(record)

    def mend(self) -> bool:
        """Write the plan that counts over a copy that is damaged or old. True: both copies are whole and alike."""
        self.load()
        if self.newest >= 0 and self.degraded:
            self._put(1 - self.newest, _copy_of(self.record, self.generation))
            self.load()
        return not self.degraded

    def _forget(self) -> None:
        self.record = None
        self.generation = 0
        self.newest = -1
        self.degraded = 1

    def _put(self, copy: int, data: bytes) -> bool:
        """Write one copy; True only when the same bytes are read back."""
        try:
            self._write(copy, data)
            self._sync()
        except OSError:
            return False
        return self._bytes_of(copy) == data

    def _spoil(self, copy: int) -> None:
        """A write that was told as failed must not count after all at the next start, because a read went wrong."""
        try:
            self._write(copy, b"")
            self._sync()
        except OSError:
            pass  # the copy is as bad as its flash; `load` says what counts now

    def _bytes_of(self, copy: int):
        try:
            return self._read(copy)
        except OSError:
            return None


def in_files(folder: str) -> PlanCopies:
    """The two copies as files of this folder, on the board's littlefs or anywhere else that has files."""

    def path(copy: int) -> str:
        return folder.rstrip("/") + "/" + FOLDERS[copy]

    def read(copy: int):
        with open(path(copy) + "/" + FILE_NAME, "rb") as file:
            return file.read(COPY_BYTES + 1)  # one more, so that a file that is too long is seen

    def write(copy: int, data: bytes) -> None:
        try:
            os.mkdir(path(copy))
        except OSError:
            pass  # it is there; if not, the next line says so
        with open(path(copy) + "/" + FILE_NAME, "wb") as file:
            file.write(data)

    return PlanCopies(read, write, _sync_files)


def on_volume(volume) -> PlanCopies:
    """The two copies as files at the root of the journal's own volume, where it is mounted."""

    def read(copy: int):
        with _files_of(volume).open(FOLDERS[copy] + "/" + FILE_NAME, "rb") as file:
            return file.read(COPY_BYTES + 1)

    def write(copy: int, data: bytes) -> None:
        files = _files_of(volume)
        try:
            files.mkdir(FOLDERS[copy])
        except OSError:
            pass  # it is there; if not, the next line says so
        with files.open(FOLDERS[copy] + "/" + FILE_NAME, "wb") as file:
            file.write(data)

    return PlanCopies(read, write, _already_written)


def _files_of(volume):
    if volume.fs is None:
        raise OSError(_NO_DEVICE)
    return volume.fs


def _already_written() -> None:
    """Closing a file is enough on littlefs."""


def _sync_files() -> None:
    if hasattr(os, "sync"):  # closing a file is enough on littlefs; other file systems hold back
        os.sync()


def _copy_of(record, generation: int) -> bytes:
    data = bytearray(COPY_BYTES)
    struct.pack_into("<2sHH", data, 0, MAGIC, generation, orders.RECORD_BYTES)
    data[HEADER_BYTES:COPY_BYTES - 2] = record
    struct.pack_into("<H", data, COPY_BYTES - 2, crc16(data, 0, COPY_BYTES - 2))
    return bytes(data)


def _is_whole(data) -> bool:
    if data is None or len(data) != COPY_BYTES:
        return False
    magic, _generation, length = struct.unpack_from("<2sHH", data, 0)
    if magic != MAGIC or length != orders.RECORD_BYTES:
        return False
    if struct.unpack_from("<H", data, COPY_BYTES - 2)[0] != crc16(data, 0, COPY_BYTES - 2):
        return False
    return orders.unpack(data[HEADER_BYTES:COPY_BYTES - 2]).good


def _generation_of(data) -> int:
    return struct.unpack_from("<H", data, 2)[0]


def _is_newer(generation: int, than: int) -> bool:
    """Later on the circle of 65536 numbers, by less than half of it (serial numbers as in RFC 1982)."""
    return 0 < (generation - than) & 0xFFFF < 0x8000
