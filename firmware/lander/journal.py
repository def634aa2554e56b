"""The journal: fixed records that each carry the whole mission state, and how the newest one is found again.

Fault model: power may go at any instant, also in the middle of a record; a record may be torn, flipped or
blank; whole slots may refuse to be written; the journal may be full or missing. Every record is self-contained
(sequence number, CRC-16, state, elapsed time, clock), so the newest good one is enough to carry on. What cannot
be told apart here is a journal that was erased on purpose from one that was lost.

Layout: `slots` records of 64 bytes. They are written from the front; when the front is full, the last `HEEL`
slots go round, so that the dive's history stays and the newest state is still kept. A blank slot is all FFh.
"""

import struct

from lander.checksum import crc16

RECORD_BYTES = 64
VERSION = 1
HEEL = 64
TRIES = 3  # slots tried for one record in a row
LEAP = 64  # then one slot so far ahead, beyond a bad sector of 4 KiB; after that the record counts as lost
BLANKS = 4  # so many blank slots in a row are the end; fewer are holes that a failed write left

# Name and code of `struct`, one after the other; what each means stands in lander.words.
FIELDS = (
    "version", "B",
    "kind", "B",
    "sequence", "I",
    "boot", "H",
    "dive", "B",
    "state", "B",
    "mission_ds", "I",
    "clock_s", "I",
    "flags", "H",
    "descent_ds", "i",
    "command_ds", "i",
    "attempts", "H",
    "release", "B",
    "camera", "B",
    "used_mah", "I",
    "surface_mbar", "H",
    "code", "B",
    "detail", "i",
    "pressure_mbar", "I",
    "supply_mv", "H",
    "supply_ma", "H",
    "camera_centi_c", "h",
    "housing_centi_c", "h",
    "water_centi_c", "h",
    "signs", "H",
    "lights_pct", "B",
    "drives", "B",
)
NAMES = tuple([FIELDS[at] for at in range(0, len(FIELDS), 2)])
FORMAT = "<" + "".join([FIELDS[at] for at in range(1, len(FIELDS), 2)])
CRC_AT = struct.calcsize(FORMAT)

BOOT, ROW, ATTEMPT, ATTEMPT_END, READING, EVENT = range(1, 7)

# Flags.
(CLOCK_TRUSTED, FLAG_SURE, RISE_SEEN, FLAG_TIME_UNKNOWN, FLAG_POWER_GAP, WAS_DEEP, PLAN_GOOD, ATMOSPHERE_ONLY,
 WET_CONTACT, DEEP_SIGN, CONFIRMED, FLAG_BUG) = [1 << n for n in range(12)]
SPARING_SHIFT = 12  # two bits above them: how much is left off because the supply did not carry it


# Events.
(E_NONE, E_CLOCK, E_ARM_REFUSED, E_COMMAND_REFUSED, E_LOST, E_NEARLY_FULL, E_STOPPED, E_POWER, E_PRESS, E_RECORDING,
 E_NO_ANSWER, E_CAMERA_OFF, E_HOT, E_COOL, E_CUT, E_SHED_LATE, E_LEAK, E_LOW, E_BENCH_ON, E_BENCH_OFF, E_BUG,
 E_WET_BEFORE, E_GESTURE, E_ONE_SIGN, E_BEACON_LONG, E_SELF_TEST, E_ARMED_ANYWAY,
 E_SPARING) = range(28)


def seal(buffer, offset: int) -> None:
    """Put the CRC behind the fields of the record at this offset; the rest of the slot stays as it is."""
    struct.pack_into("<H", buffer, offset + CRC_AT, crc16(buffer, offset, offset + CRC_AT))


def is_blank(record) -> bool:
    for index in range(RECORD_BYTES):
        if record[index] != 0xFF:
            return False
    return True


def is_good(record) -> bool:
    """Whole, of a version that this code reads, and its CRC fits."""
    if record is None or len(record) != RECORD_BYTES or record[0] != VERSION:
        return False
    return struct.unpack_from("<H", record, CRC_AT)[0] == crc16(record, 0, CRC_AT)


def fields(record) -> dict:
    """The fields of a good record by name."""
    return dict(zip(NAMES, struct.unpack_from(FORMAT, record, 0)))


def sequence_of(record) -> int:
    return struct.unpack_from("<I", record, 2)[0]


class Recall:
    """Finds the newest good record, asking for one slot at a time, so that it works over any wire.

        while (slot := recall.want()) >= 0: recall.give(bytes of that slot, or None when it cannot be read)

    Afterwards `newest` is the record (bytes) or None, `next_slot` is where the next one goes, and `bad` counts
    slots that were written but could not be used.
    """

    _SEARCH, _AHEAD, _OVER, _BACK, _HEEL, _DONE = range(6)

    def __init__(self, slots: int) -> None:
        self.slots = slots
        self.newest: bytes | None = None
        self.next_slot = 0
        self.bad = 0
        self._low = 0
        self._high = slots
        self._middle = 0
        self._at = 0
        self._newest_slot = -1
        self._mode = self._SEARCH if slots else self._DONE
        self._aim()

    def want(self) -> int:
        return -1 if self._mode == self._DONE else self._at

    def give(self, record) -> None:
        if self._mode == self._SEARCH or self._mode == self._AHEAD:
            self._probe(record)
        elif self._mode == self._OVER:
            self._look_over(record)
        elif self._mode == self._BACK:
            self._step_back(record)
        else:
            self._go_round(record)

    def _aim(self) -> None:
        if self._mode != self._DONE:
            self._middle = (self._low + self._high) // 2
            self._at = self._middle

    def _probe(self, record) -> None:
        written = record is None or not is_blank(record)
        if written:
            self._low = self._at + 1
        elif self._at + 1 < min(self._middle + BLANKS, self._high):
            self._mode = self._AHEAD
            self._at += 1
            return
        else:
            self._high = self._middle
        self._mode = self._SEARCH
        if self._low < self._high:
            self._aim()
            return
        self.next_slot = self._low
        self._at = self._low + LEAP - TRIES
        self._mode = self._OVER
        if self._at >= self.slots:
            self._end_search()

    def _look_over(self, record) -> None:
        """What seemed the end may be a bad stretch that the writer leapt over."""
        if record is not None and not is_blank(record):
            self._low, self._high, self._mode = self._at + 1, self.slots, self._SEARCH
            if self._low < self._high:
                self._aim()
                return
            self.next_slot = self._low
        elif self._at < self.next_slot + LEAP and self._at + 1 < self.slots:
            self._at += 1
            return
        self._end_search()

    def _end_search(self) -> None:
        if self.next_slot > self.slots - HEEL:
            self._mode, self._at = self._HEEL, max(0, self.slots - HEEL)
        else:
            self._mode, self._at = self._BACK, self.next_slot - 1
            if self._at < 0:
                self._mode = self._DONE

    def _step_back(self, record) -> None:
        if record is not None and is_good(record):
            self.newest = bytes(record)
            self._mode = self._DONE
            return
        if record is None or not is_blank(record):
            self.bad += 1
        self._at -= 1
        if self._at < 0:
            self._mode = self._DONE

    def _go_round(self, record) -> None:
        if record is not None and is_good(record):
            if self.newest is None or sequence_of(record) > sequence_of(self.newest):
                self.newest = bytes(record)
                self._newest_slot = self._at
        elif record is None or not is_blank(record):
            self.bad += 1
        self._at += 1
        if self._at < self.slots:
            return
        if self.newest is None and self.slots > HEEL:
            self._mode, self._at = self._BACK, self.slots - HEEL - 1
            self.next_slot = self.slots - HEEL
            return
        if self._newest_slot >= 0:
            self.next_slot = slot_after(self._newest_slot, self.slots)
        self._mode = self._DONE


def slot_after(slot: int, slots: int) -> int:
    """Where the record after the one in this slot goes: forward, and round in the heel at the end."""
    return slot + 1 if slot + 1 < slots else max(0, slots - HEEL)


class Journal:
    """Keeps records in a storage: `storage.slots`, `storage.read(slot, buffer)`, `storage.write(slot, data)`.

    Both answer True when it was done. A refused write goes to the next slot, `TRIES` times, then over a bad sector;
    a longer bad stretch stops the journal, and the records count as lost. Power may fail inside `write`; then nothing
    here has counted it.
    """

    def __init__(self, storage) -> None:
        self.storage = storage
        self.next_slot = 0
        self._slot = bytearray(RECORD_BYTES)

    def recall(self) -> Recall:
        """Read what is there; afterwards records are appended behind it."""
        recall = Recall(self.storage.slots)
        slot = recall.want()
        while slot >= 0:
            recall.give(self._slot if self.storage.read(slot, self._slot) else None)
            slot = recall.want()
        self.next_slot = recall.next_slot
        return recall

    def free(self) -> int:
        return max(0, self.storage.slots - HEEL - self.next_slot)

    def store(self, records, count: int) -> int:
        """Append so many records from the buffer; the answer is how many were lost."""
        lost = 0
        for index in range(count):
            if not self._store_one(memoryview(records)[index * RECORD_BYTES:(index + 1) * RECORD_BYTES]):
                lost += 1
        return lost

    def _store_one(self, record) -> bool:
        slots = self.storage.slots
        slot = self.next_slot if self.next_slot < slots else max(0, slots - HEEL)
        for _ in range(TRIES):
            if self.storage.write(slot, record):
                self.next_slot = slot_after(slot, slots)
                return True
            slot = slot_after(slot, slots)
        leap = self.next_slot + LEAP
        if leap < slots and self.storage.write(leap, record):
            self.next_slot = slot_after(leap, slots)
            return True
        return False  # the next record begins at the same slot again: a hole is two slots, or one leap
