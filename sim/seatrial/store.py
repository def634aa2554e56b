"""The journal's memory, simulated: a byte device that can lose power in the middle of a write.

It has what `lander.journal.Journal` asks for: `slots`, `read(slot, buffer)`, `write(slot, data)`.
"""


from lander.journal import RECORD_BYTES

BLANK = 0xFF
DAMAGED_BYTE = 20  # of a record, somewhere under its checksum


class PowerCut(Exception):
    """Power was gone in the middle of a write."""


class SimulatedStore:
    """Bytes that start blank (FFh). Memory is made as it is written, so that a large journal costs nothing.

    Faults: `refuses` (every write fails and changes nothing), `cut_at` (the write with this number, counted from 1,
    is stopped after `cut_bytes` bytes, and PowerCut is raised); `slots` may be made less while it is in use.
    `overwritten` counts records that went over older ones, `damaged` those that `damage` has spoilt.
    """

    def __init__(self, slots: int) -> None:
        self.slots = slots
        self.data = bytearray()
        self.writes = 0
        self.refuses = False
        self.cut_at = 0
        self.cut_bytes = RECORD_BYTES // 2
        self.overwritten = 0
        self.damaged = 0

    def damage(self, slot: int) -> None:
        """One bit of a written slot turns over, as in worn-out flash; a blank slot stays blank."""
        at = slot * RECORD_BYTES + DAMAGED_BYTE
        if self._is_written(slot):
            self.data[at] ^= 1
            self.damaged += 1

    def _is_written(self, slot: int) -> bool:
        start = slot * RECORD_BYTES
        piece = self.data[start:start + RECORD_BYTES]
        return len(piece) == RECORD_BYTES and piece.count(BLANK) < RECORD_BYTES

    def read(self, slot: int, buffer) -> bool:
        start = slot * RECORD_BYTES
        piece = self.data[start:start + RECORD_BYTES]
        buffer[:] = piece + bytes([BLANK]) * (RECORD_BYTES - len(piece))
        return True

    def write(self, slot: int, data) -> bool:
        if self.refuses:
            return False
        self.writes += 1
        start = slot * RECORD_BYTES
        if start < len(self.data) and self._is_written(slot):
            self.overwritten += 1
        if start > len(self.data):
            self.data.extend(bytes([BLANK]) * (start - len(self.data)))
        if self.writes == self.cut_at:
            self.data[start:start + self.cut_bytes] = data[:self.cut_bytes]
            rest = start + RECORD_BYTES - len(self.data)
            if rest > 0:
                self.data.extend(bytes([BLANK]) * rest)
            raise PowerCut
        self.data[start:start + RECORD_BYTES] = data
        return True
