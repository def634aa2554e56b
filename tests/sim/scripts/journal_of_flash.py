"""Reads the journal out of the image of a board's flash. Runs under MicroPython, with the firmware on the path.

    micropython journal_of_flash.py IMAGE

One line a record, in hexadecimal digits, from slot 0 to the first blank one. No tests of its own.
"""

import binascii
import sys

from boards.flash_journal import FlashJournal
from boards.flash_volume import READY
from lander.journal import RECORD_BYTES, is_blank

BLOCK_BYTES = 4096


class Image:
    """A block device that is only read."""

    def __init__(self, data) -> None:
        self._data = memoryview(data)

    def readblocks(self, block, buffer, offset=0):
        at = block * BLOCK_BYTES + offset
        buffer[:] = self._data[at:at + len(buffer)]

    def writeblocks(self, block, buffer, offset=0):
        raise OSError(30)

    def ioctl(self, operation, argument):
        if operation == 4:
            return len(self._data) // BLOCK_BYTES
        return BLOCK_BYTES if operation == 5 else 0


with open(sys.argv[1], "rb") as file:
    journal = FlashJournal(Image(file.read()), 0)
if journal.mount() != READY:
    raise SystemExit("the flash holds no journal")
record = bytearray(RECORD_BYTES)
slot = 0
while journal.read(slot, record) and not is_blank(record):
    print(binascii.hexlify(record).decode())
    slot += 1
