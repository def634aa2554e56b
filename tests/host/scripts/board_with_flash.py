"""Run by a real MicroPython: it becomes a board with a littlefs flash, kept in a file of the host, and a `machine`.

    micropython -i board_with_flash.py IMAGE BLOCKS CUT

Starts /main.py as a board does, then leaves the prompt. A reset ends the process; who started it starts it again.
Before it has its flash it says nothing and is to hear nothing: a Ctrl-C would leave a prompt at the files of this
machine. From READY on it is a board.
CUT is the number of the write to the flash at which the power goes, half of it done; 0 for never.
"""

import os
import sys

import vfs

BLOCK_BYTES = 4096
READY = "\x06"


class Flash:
    """A block device over a file: what was written stays when the process is killed."""

    def __init__(self, path, blocks, cut):
        self.file = open(path, "r+b")  # noqa: SIM115
        self.blocks = blocks
        self.writes_left = cut

    def readblocks(self, block, buf, offset=0):
        self.file.seek(block * BLOCK_BYTES + offset)
        self.file.readinto(buf)

    def writeblocks(self, block, buf, offset=0):
        self.file.seek(block * BLOCK_BYTES + offset)
        self.writes_left -= 1
        if self.writes_left:
            self.file.write(buf)
            self.file.flush()
            return
        self.file.write(memoryview(buf)[:len(buf) // 2])
        self.file.flush()
        os.system("kill -9 $PPID")

    def ioctl(self, operation, _argument):
        if operation == 4:
            return self.blocks
        if operation == 5:
            return BLOCK_BYTES
        return 0


class Machine:
    @staticmethod
    def reset():
        sys.exit(7)


def mounted(path, blocks, cut):
    flash = Flash(path, blocks, cut)
    try:
        return vfs.VfsLfs2(flash)
    except OSError:
        vfs.VfsLfs2.mkfs(flash)
        return vfs.VfsLfs2(flash)


sys.modules["machine"] = Machine
files = mounted(sys.argv[1], int(sys.argv[2]), int(sys.argv[3]))
vfs.umount("/")
vfs.mount(files, "/")
os.chdir("/")
sys.path[:] = ["", ".frozen", "/lib"]
sys.stdout.write(READY)
try:
    with open("/main.py") as main:
        source = main.read()
except OSError:
    source = ""
try:
    exec(source, {"__name__": "__main__"})  # noqa: S102
except KeyboardInterrupt:
    print("interrupted")
