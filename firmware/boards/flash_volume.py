"""The volume that the journal stands on: a littlefs of its own, mounted, made and erased, but never formatted unasked.

    dive/size     how many slots there are, decided when the journal was made, and a checksum
    dive/heel     the last `journal.HEEL` slots, made at once so that their place is sure
    dive/…        the rest is for `boards.flash_journal`

A journal is built in a folder aside and renamed into place; erasing is one rename away. What a cut of power leaves
over is removed at the next mount. A flash that reads as blank is not formatted either: a chip that does not answer
reads so, too.
"""

import struct

import vfs

from lander.checksum import crc16
from lander.journal import HEEL, RECORD_BYTES

READY, BLANK, UNREADABLE, FOREIGN, NO_ROOM = range(5)  # answers of `mount`

DIVE = "dive"
FILE_SLOTS = 1020  # fills 16 blocks of 4 KiB; littlefs reads a file back from its end: damage stays in one file
PROGRAM_BYTES = 256  # a page of the common serial flash (common practice, no source)
LOOKAHEAD_BYTES = 64  # sight of 512 blocks when it looks for free ones
SPARE_BLOCKS = 16  # never given to slots: the heel twice, copies in the making, logs of folders and their moves
POINTER_BYTES = 8  # what littlefs takes of a block for its links, mean of a long file (its design notes, from memory)
BLANK_RECORD = b"\xff" * RECORD_BYTES

_MAKING, _GONE, _PROOF = "making", "gone", "proof"
_SIZE_FORMAT = "<4sI"  # name of the layout, slots; a CRC-16 follows
_SIZE_BYTES = 10
_LAYOUT = b"TJ01"
_BLANK_PAGE = b"\xff" * PROGRAM_BYTES
_PATTERN = bytes([n * 37 & 0xFF for n in range(PROGRAM_BYTES)])
_NO_SPACE = 28  # ENOSPC


class FlashVolume:
    """On a block device as `vfs` takes it. `fs` and `slots` hold while the last answer was READY.

    `wanted_slots` counts only when a journal is made; a smaller flash gives fewer.
    """

    def __init__(self, device, wanted_slots: int) -> None:
        self.fs = _mounted(None)
        self.slots = 0
        self._device = device
        self._wanted = wanted_slots

    def mount(self) -> int:
        """READY; BLANK: nothing but FFh on the whole flash; UNREADABLE: something, but no file system that can be
        read; FOREIGN: a journal that this code does not know; NO_ROOM: too full to make one."""
        self.slots = 0
        self.fs = _mounted(self._device)
        if self.fs is None:
            return BLANK if self._is_blank() else UNREADABLE
        try:
            self._remove(_GONE)
            self._remove(_MAKING)
            if not self._has(DIVE) and not self._make():
                return NO_ROOM
            self.slots = self._read_size()
        except OSError as error:
            return NO_ROOM if error.errno == _NO_SPACE else UNREADABLE
        return READY if self.slots else FOREIGN

    def format(self) -> int:
        """Lose everything and begin anew: for a person on deck, never by itself. Answers as `mount`."""
        self.slots = 0
        self.fs = None
        try:
            vfs.VfsLfs2.mkfs(self._device, progsize=PROGRAM_BYTES, lookahead=LOOKAHEAD_BYTES)
        except OSError:
            return UNREADABLE
        return self.mount()

    def erase(self) -> int:
        """Begin an empty journal. A cut leaves the old one whole, or an empty one. Answers as `mount`."""
        if self.slots:
            try:
                self.fs.rename(DIVE, _GONE)
            except OSError:
                return UNREADABLE
        return self.mount()

    def prove(self) -> bool:
        """Write a small file, read it back, remove it: whether the flash still takes and holds what it is given."""
        if not self.slots:
            return False
        page = bytearray(len(_PATTERN))
        try:
            with self.fs.open(_PROOF, "wb") as file:
                file.write(_PATTERN)
            with self.fs.open(_PROOF, "rb") as file:
                file.readinto(page)
            self.fs.remove(_PROOF)
        except OSError:
            return False
        return page == _PATTERN

    def _is_blank(self) -> bool:
        page = bytearray(PROGRAM_BYTES)
        try:
            block_bytes = self._device.ioctl(5, 0)
            for block in range(self._device.ioctl(4, 0)):
                for at in range(0, block_bytes, PROGRAM_BYTES):
                    self._device.readblocks(block, page, at)
                    if page != _BLANK_PAGE:
                        return False
        except OSError:
            return False
        return True

    def _has(self, name: str) -> bool:
        # Read to its end: a listing that is left open is closed when it is collected, and that may be in the middle of
        # another operation of littlefs, which then ends the interpreter.
        return name in [entry[0] for entry in self.fs.ilistdir("")]

    def _remove(self, folder: str) -> None:
        if not self._has(folder):
            return
        for name in [entry[0] for entry in self.fs.ilistdir(folder)]:
            self.fs.remove(folder + "/" + name)
        self.fs.rmdir(folder)

    def _make(self) -> bool:
        slots = min(self._wanted, self._room())
        if slots <= HEEL:
            return False
        self.fs.mkdir(_MAKING)
        with self.fs.open(_MAKING + "/heel", "wb") as file:
            for _ in range(HEEL):
                file.write(BLANK_RECORD)
        size = struct.pack(_SIZE_FORMAT, _LAYOUT, slots)
        with self.fs.open(_MAKING + "/size", "wb") as file:
            file.write(size + struct.pack("<H", crc16(size, 0, len(size))))
        self.fs.rename(_MAKING, DIVE)
        return True

    def _room(self) -> int:
        """Slots that fit what is free now: whole long files, and the heel."""
        state = self.fs.statvfs("")
        useful_bytes = state[0] - POINTER_BYTES
        file_blocks = (FILE_SLOTS * RECORD_BYTES + useful_bytes - 1) // useful_bytes
        return max(0, state[3] - SPARE_BLOCKS) // file_blocks * FILE_SLOTS + HEEL

    def _read_size(self) -> int:
        """0 where it is not a journal of ours."""
        size = bytearray(_SIZE_BYTES)
        with self.fs.open(DIVE + "/size", "rb") as file:
            file.readinto(size)
        name, slots = struct.unpack_from(_SIZE_FORMAT, size, 0)
        checksum = struct.unpack_from("<H", size, _SIZE_BYTES - 2)[0]
        return slots if name == _LAYOUT and checksum == crc16(size, 0, _SIZE_BYTES - 2) else 0


def _mounted(device):
    """The file system on the device; None where there is none that can be read."""
    if device is None:
        return None
    try:
        # No times of change: they would be one more entry a record. (The stub takes the class for an abstract one.)
        return vfs.VfsLfs2(  # type: ignore[abstract]
            device, progsize=PROGRAM_BYTES, lookahead=LOOKAHEAD_BYTES, mtime=False)
    except OSError:
        return None
