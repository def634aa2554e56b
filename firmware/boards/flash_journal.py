"""The journal on the board's flash: what `lander.journal.Journal` asks for, in files of littlefs.

Why this layout: littlefs changes nothing in place. A record appended to a long file copies the file's last block; a
file of up to 512 bytes has no block but stands in the log of its folder, and a change is one entry more. So the
newest records live in a small file, the tail, and go over into the long ones when it is full. What a record costs
this way, and with other tails, is measured by `python -m seatrial.powercuts`.

    dive/0, 1, …  FILE_SLOTS records each from the front, only appended
    dive/tail     number of the first slot, then up to TAIL_SLOTS records: those right behind the long files
    dive/heel     the last `journal.HEEL` slots, the only ones that are ever written again

Each change is whole or has not happened. A tail that was copied and not yet replaced is known by its number.

Until `mount` answers READY there are no slots: the core refuses on deck (`store_free` 0), and under water it carries
on without a journal.
"""

import struct

from boards.flash_volume import BLANK_RECORD, DIVE, FILE_SLOTS, READY, UNREADABLE, FlashVolume
from lander.journal import HEEL, RECORD_BYTES

TAIL_SLOTS = 6  # of 1 to 7, which fit into the log of the folder, the one with the fewest erases; divides FILE_SLOTS
_EXISTS = 17  # EEXIST


class FlashJournal:
    """Slots on a block device as `vfs` takes it (256-byte pages, erase before write); `volume` is where they are.

    `read` and `write` answer False where the flash refuses; OSError stays inside. `refused` counts failed writes.
    `write` makes objects only where a file is opened: once in TAIL_SLOTS records, and for each long file.
    """

    def __init__(self, device, wanted_slots: int) -> None:
        self.slots = 0
        self.refused = 0
        self.volume = FlashVolume(device, wanted_slots)
        self._heel_from = 0
        self._end = 0  # slots that stand in the long files
        self._tail = bytearray(4 + TAIL_SLOTS * RECORD_BYTES)
        self._first = memoryview(self._tail)[:4]
        self._records = memoryview(self._tail)[4:]
        self._pieces = [self._records[n * RECORD_BYTES:(n + 1) * RECORD_BYTES] for n in range(TAIL_SLOTS)]
        self._written = 0  # pieces that stand in the open tail file
        self._file = self._tail_file = self._heel_file = self._reader = _closed(None)
        self._file_number = self._reader_number = -1

    def mount(self) -> int:
        """Answers as `FlashVolume.mount`; `slots` is 0 unless that is READY."""
        self._close()
        return self._take_up(self.volume.mount())

    def format(self) -> int:
        """Lose everything: for a person on deck, never by itself. Answers as `mount`."""
        self._close()
        return self._take_up(self.volume.format())

    def erase(self) -> int:
        """Begin an empty journal for a new dive. Answers as `mount`."""
        self._close()
        return self._take_up(self.volume.erase())

    def read(self, slot: int, buffer) -> bool:
        try:
            return self._read(slot, buffer)
        except OSError:
            self._reader = _closed(self._reader)
            self._heel_file = _closed(self._heel_file)
            return False

    def write(self, slot: int, data) -> bool:
        """True when the record is on the flash. A slot that was written is refused, but for those of the heel."""
        self._reader = _closed(self._reader)  # it would not see what is appended now
        if not self._end <= slot < self.slots:
            return False
        try:
            if slot >= self._heel_from:
                self._write_heel(slot, data)
                return True
            return self._write_tail(slot, data)
        except OSError:
            self.refused = min(self.refused + 1, 65535)
            self._close()  # littlefs does not go on with a file after an error
            return False

    def _read(self, slot: int, buffer) -> bool:
        if not 0 <= slot < self.slots:
            return False
        if slot >= self._heel_from:
            file, at = self._open_heel(), slot - self._heel_from
        elif slot < self._end:
            file, at = self._open_reader(slot // FILE_SLOTS), slot % FILE_SLOTS
        else:
            index = slot - self._end
            buffer[:] = self._pieces[index] if index < TAIL_SLOTS else BLANK_RECORD
            return True
        file.seek(at * RECORD_BYTES)
        return file.readinto(buffer) == RECORD_BYTES

    def _write_heel(self, slot: int, data) -> None:
        file = self._open_heel()
        file.seek((slot - self._heel_from) * RECORD_BYTES)
        file.write(data)
        file.flush()

    def _write_tail(self, slot: int, data) -> bool:
        while slot >= self._end + TAIL_SLOTS:  # more than once where the journal leaps over slots
            self._append_tail()
        piece = self._pieces[slot - self._end]
        if piece != BLANK_RECORD:
            return False
        piece[:] = data
        try:
            self._save_tail(slot - self._end + 1)
        except OSError:
            piece[:] = BLANK_RECORD
            raise
        return True

    def _append_tail(self) -> None:
        """Copy the tail behind the long files; its own file stays as it is until the next record replaces it."""
        number = self._end // FILE_SLOTS
        if self._file is None or self._file_number != number:
            self._file = _closed(self._file)
            self._file = self.volume.fs.open("%s/%d" % (DIVE, number), "ab")
            self._file_number = number
        if self._file.seek(0, 2) == self._end % FILE_SLOTS * RECORD_BYTES:  # else a try that failed had come so far
            self._file.write(self._records)
            self._file.flush()
        self._begin_tail(self._end + TAIL_SLOTS)

    def _begin_tail(self, slot: int) -> None:
        self._tail_file = _closed(self._tail_file)
        self._end = slot
        struct.pack_into("<I", self._tail, 0, slot)
        for piece in self._pieces:
            piece[:] = BLANK_RECORD

    def _save_tail(self, count: int) -> None:
        if self._tail_file is None:
            self._tail_file = self.volume.fs.open(DIVE + "/tail", "wb")
            self._tail_file.write(self._first)
            self._written = 0
        while self._written < count:
            self._tail_file.write(self._pieces[self._written])
            self._written += 1
        self._tail_file.flush()

    def _take_up(self, code: int) -> int:
        """Learn where the journal ends."""
        self.slots = self.volume.slots
        self._heel_from = self.slots - HEEL
        try:
            self._begin_tail(self._slots_in_files() if code == READY else 0)
        except OSError:
            self.slots = 0
            return UNREADABLE
        if code == READY:
            self._recall_tail()
        return code

    def _slots_in_files(self) -> int:
        last, last_bytes = -1, 0
        for entry in self.volume.fs.ilistdir(DIVE):
            if entry[0].isdigit() and int(entry[0]) > last:
                last, last_bytes = int(entry[0]), entry[3]
        return last * FILE_SLOTS + last_bytes // RECORD_BYTES if last >= 0 else 0

    def _recall_tail(self) -> None:
        """The tail's records, unless they stand in the long files already."""
        try:
            with self.volume.fs.open(DIVE + "/tail", "rb") as file:
                file.readinto(self._first)
                if struct.unpack_from("<I", self._tail, 0)[0] == self._end:
                    file.readinto(self._records)
                    return
        except OSError:
            pass  # no tail yet, or one that cannot be read: its slots are blank
        self._begin_tail(self._end)

    def _open_heel(self):
        if self._heel_file is None:
            self._heel_file = self.volume.fs.open(DIVE + "/heel", "r+b")
        return self._heel_file

    def _open_reader(self, number: int):
        if self._reader is None or self._reader_number != number:
            self._reader = _closed(self._reader)
            self._reader = self.volume.fs.open("%s/%d" % (DIVE, number), "rb")
            self._reader_number = number
        return self._reader

    def _close(self) -> None:
        self._file = _closed(self._file)
        self._tail_file = _closed(self._tail_file)
        self._heel_file = _closed(self._heel_file)
        self._reader = _closed(self._reader)


def _closed(file):
    """Close a file, if there is one. Answers None, to be kept in its place."""
    if file is not None:
        try:
            file.close()
        except OSError:
            pass  # what it held is lost or is on the flash already
    return None  # noqa: RET501 - the answer is meant
