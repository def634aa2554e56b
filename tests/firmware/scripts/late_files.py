"""Run by a real MicroPython: a board whose flash has one owner loads a module late, through that owner.

Prints a line a step; the test beside it knows which.
"""

import sys

import vfs

BLOCK_BYTES, BLOCKS = 4096, 64


class Ram:
    """A flash in memory."""

    def __init__(self):
        self.data = bytearray(b"\xff" * (BLOCK_BYTES * BLOCKS))

    def readblocks(self, block, buffer, offset=0):
        at = block * BLOCK_BYTES + offset
        buffer[:] = self.data[at:at + len(buffer)]

    def writeblocks(self, block, buffer, offset=0):
        at = block * BLOCK_BYTES + offset
        self.data[at:at + len(buffer)] = buffer

    def ioctl(self, operation, _argument):
        return {4: BLOCKS, 5: BLOCK_BYTES}.get(operation, 0)


class Machine:
    """All that a board without pins asks for."""


class Poll:
    def register(self, *_):
        pass


sys.modules["machine"] = Machine
from boards.flash_journal import FlashJournal  # noqa: E402
from boards.stock import StockBoard  # noqa: E402

ram = Ram()
vfs.VfsLfs2.mkfs(ram, progsize=256, lookahead=64)
files = vfs.VfsLfs2(ram)
files.mkdir("/fw")
for name in ("late", "later", "latest"):
    with files.open("/fw/%s.py" % name, "w") as file:
        file.write("said = '%s'\n" % name)


class Board(StockBoard):
    def device(self):
        return ram


def tried(name):
    try:
        return __import__(name).said
    except (ImportError, OSError):
        return "nothing"


board = Board()
sys.path[:] = ["/fw"]
journal = FlashJournal(board.flash(), 200)
print("mounted", journal.mount())
record = bytearray(range(64))
print("written", journal.write(0, record))
print("before", tried("late"))
board.lend(journal.volume)
print("lent", tried("late"))
board.take_back()
print("after", tried("later"))
print("written", journal.write(1, record))
board.lend(journal.volume)
print("lent again", tried("latest"))
board.take_back()
again = FlashJournal(ram, 200)
again.mount()
back = bytearray(64)
print("read", [again.read(slot, back) and back == record for slot in (0, 1)], sorted(
    entry[0] for entry in again.volume.fs.ilistdir("/fw")))
