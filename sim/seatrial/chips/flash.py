"""Serial NOR flash: erasing a block sets its bits, programming only clears them.

Blocks and commands as MicroPython's block devices show them; the behaviour is common practice of such chips, no source.
"""

from errno import EIO

BLOCK_BYTES = 4096


class FlashChip:
    """A flash of so many blocks, blank at first. `programs` and `erases` count.

    Faults: `refuses` (every change fails and changes nothing); `cut_next`: power goes in the middle of the next
    program or erase. Those who wait for its answer still get one, but `cut_image` is then what power left behind, until
    `lose_power` makes it so, or `forget_cut` says that it did not happen after all.
    """

    def __init__(self, blocks: int) -> None:
        self.blocks = blocks
        self.image = bytearray(b"\xff" * (blocks * BLOCK_BYTES))
        self.refuses = False
        self.cut_next = False
        self.cut_image: bytearray | None = None
        self.programs = 0
        self.erases = 0

    def read(self, block: int, offset: int, count: int) -> bytes:
        """So many bytes. Raises OSError beyond the end."""
        at = self._place(block, offset, count)
        return bytes(self.image[at:at + count])

    def program(self, block: int, offset: int, data: bytes) -> None:
        """Clear bits. Raises OSError beyond the end and where the chip refuses."""
        at = self._place(block, offset, len(data))
        self._may_change()
        self.programs += 1
        half = len(data) // 2
        self._cut(lambda image: _clear(image, at, data[:half]))
        _clear(self.image, at, data)

    def erase(self, block: int) -> None:
        """Set all bits of a block. Raises OSError beyond the end and where the chip refuses."""
        at = self._place(block, 0, BLOCK_BYTES)
        self._may_change()
        self.erases += 1
        self._cut(lambda image: _blank(image, at, BLOCK_BYTES // 2))
        _blank(self.image, at, BLOCK_BYTES)

    def lose_power(self) -> None:
        """Be as the cut left it, if there was one."""
        if self.cut_image is not None:
            self.image = self.cut_image
        self.forget_cut()

    def forget_cut(self) -> None:
        """There was no cut, and none will come."""
        self.cut_image = None
        self.cut_next = False

    def _cut(self, do_half) -> None:
        if self.cut_next:
            self.cut_next = False
            self.cut_image = bytearray(self.image)
            do_half(self.cut_image)

    def _may_change(self) -> None:
        if self.refuses:
            raise OSError(EIO)

    def _place(self, block: int, offset: int, count: int) -> int:
        at = block * BLOCK_BYTES + offset
        if block < 0 or offset < 0 or at + count > len(self.image):
            raise OSError(EIO)
        return at


def _blank(image: bytearray, at: int, count: int) -> None:
    image[at:at + count] = b"\xff" * count


def _clear(image: bytearray, at: int, data: bytes) -> None:
    count = len(data)
    both = int.from_bytes(image[at:at + count], "big") & int.from_bytes(data, "big")
    image[at:at + count] = both.to_bytes(count, "big")
