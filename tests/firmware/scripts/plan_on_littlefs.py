"""Run by a real MicroPython: the plan on a littlefs flash that loses power at each program and erase in turn.

Prints the number of cuts, of plans lost, of starts with the old plan and with the new one, and of those mended after.
"""

import sys

import vfs

from boards.plan_copies import in_files
from lander import orders

BLOCK_BYTES, PROGRAM_BYTES = int(sys.argv[1]), int(sys.argv[2])
BLOCKS = 16


class Flash:
    """A flash in memory that must be erased before it is programmed, and that fails for good at the cut."""

    def __init__(self, data, left):
        self.data = data
        self.left = left

    def readblocks(self, block, buf, offset=0):
        at = block * BLOCK_BYTES + offset
        buf[:] = self.data[at:at + len(buf)]

    def writeblocks(self, block, buf, offset=0):
        at = block * BLOCK_BYTES + offset
        whole = self._power()
        length = len(buf) if whole else len(buf) // 2 if self.left == 0 else 0
        self.data[at:at + length] = buf[:length]
        return 0 if whole else -5

    def ioctl(self, operation, block):
        if operation == 4:
            return BLOCKS
        if operation == 5:
            return BLOCK_BYTES
        if operation == 6:
            whole = self._power()
            length = BLOCK_BYTES if whole else BLOCK_BYTES // 2 if self.left == 0 else 0
            for at in range(block * BLOCK_BYTES, block * BLOCK_BYTES + length):
                self.data[at] = 0xFF
            return 0 if whole else -5
        return 0

    def _power(self):
        self.left -= 1
        return self.left > 0


def mounted(data, left):
    flash = Flash(data, left)
    vfs.mount(vfs.VfsLfs2(flash, progsize=PROGRAM_BYTES, readsize=PROGRAM_BYTES), "/flash")
    return flash


def record(lights):
    plan = orders.Orders()
    plan.lights_pct = lights
    return orders.pack(plan)


NEVER = 1000000
image = bytearray(b"\xff" * BLOCK_BYTES * BLOCKS)
vfs.VfsLfs2.mkfs(Flash(image, NEVER), progsize=PROGRAM_BYTES, readsize=PROGRAM_BYTES)
mounted(image, NEVER)
in_files("/flash").store(record(11))
vfs.umount("/flash")

cuts = lost = old = new = mended = 0
left = 1
while True:
    data = bytearray(image)
    flash = mounted(data, left)
    in_files("/flash").store(record(22))
    vfs.umount("/flash")
    if flash.left > 0:
        break
    cuts += 1
    mounted(data, NEVER)
    copies = in_files("/flash")
    plan = copies.load()
    lost += not plan.good
    old += plan.lights_pct == 11
    new += plan.lights_pct == 22
    mended += copies.mend() and copies.load().lights_pct == plan.lights_pct
    vfs.umount("/flash")
    left += 1
print(cuts, lost, old, new, mended)
