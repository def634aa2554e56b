"""Cuts of power at every operation of a flash that holds the journal. Runs under MicroPython, not under CPython.

    micropython -X heapsize=64M flash_cuts.py RECORDS SLOTS BLOCKS EVERY TAIL    with `firmware/` on the path

RECORDS is a file of journal records. They are written through `boards.flash_journal` to a flash in memory, which
keeps a list of its operations: format, the records, the erasing for a new dive, some records more. Then each EVERYth
operation is stopped in turn, in several ways, on a copy of the flash as it was; the copy is mounted, the journal read,
the mission started from it, and writing goes on. TAIL is 0, or another number of slots for the tail (then nothing is
cut and only the cost is told).

Fault model: the operation at which power goes is done not at all, for a part of its bytes, or for a part of its bits.
Everything before it is on the flash. Not in the model: power that comes back in the middle, worn-out blocks, and bits
that read differently from time to time.
"""

import gc
import struct
import sys

from boards import flash_journal
from boards.flash_journal import FlashJournal
from boards.flash_volume import PROGRAM_BYTES, READY
from lander import journal
from lander.journal import RECORD_BYTES, Journal
from lander.mission import Mission
from lander.signals import Inputs

BLOCK_BYTES = 4096
BLANK_BLOCK = b"\xff" * BLOCK_BYTES
WAYS = 4  # of stopping one operation
LOOK_BACK = 16  # slots compared after each cut; all of them after each WHOLE_EVERY-th
WHOLE_EVERY = 50
TWICE_EVERY = 10  # after each such cut, each operation of the next records is stopped, too
AFTER = 10  # records written after a cut: more than a tail
SECOND_DIVE = 20
BOOT_AT = 6  # where the number of the boot stands in a record
NOTHING = -1


class Flash:
    """NOR flash as a block device: erasing sets the bits of a block, programming only clears them."""

    def __init__(self, image) -> None:
        self.image = image
        self.log: list | None = None
        self.gone = False  # no power: a file that is closed late must not write any more
        self.dirty = 0  # programmed where it was not erased
        self.wear = [0] * (len(image) // BLOCK_BYTES)

    def readblocks(self, block, buffer, offset=0):
        at = block * BLOCK_BYTES + offset
        buffer[:] = memoryview(self.image)[at:at + len(buffer)]

    def writeblocks(self, block, buffer, offset=0):
        if self.gone:
            raise OSError(5)
        at = block * BLOCK_BYTES + offset
        if self.log is not None:
            self.log.append((at, bytes(buffer)))
        self.dirty += program(self.image, at, buffer)

    def ioctl(self, what, value):
        if what == 4:
            return len(self.image) // BLOCK_BYTES
        if what == 5:
            return BLOCK_BYTES
        if what == 6:
            if self.gone:
                return -5
            if self.log is not None:
                self.log.append((value * BLOCK_BYTES, None))
            self.wear[value] += 1
            erase(self.image, value * BLOCK_BYTES)
        return 0


def program(image, at, data):
    """Answers 1 where the place was not blank."""
    if image[at:at + len(data)] == BLANK_BLOCK[:len(data)]:
        image[at:at + len(data)] = data
        return 0
    for index in range(len(data)):
        image[at + index] &= data[index]
    return 1


def erase(image, at):
    image[at:at + BLOCK_BYTES] = BLANK_BLOCK


def do(image, operation):
    at, data = operation
    if data is None:
        erase(image, at)
    else:
        program(image, at, data)


def stop(image, operation, way):
    """Do the operation in part: way 0 is nothing of it."""
    at, data = operation
    if data is None:
        half = BLOCK_BYTES // 2
        if way == 1:
            image[at:at + half] = BLANK_BLOCK[:half]
        elif way == 2:
            image[at + half:at + BLOCK_BYTES] = BLANK_BLOCK[:half]
        elif way == 3:  # some bits have gone over, some not
            for index in range(at, at + BLOCK_BYTES):
                image[index] |= 0x5A
        return
    if way == 1:
        program(image, at, data[:len(data) // 2])
    elif way == 2:
        program(image, at, data[:len(data) - 1])
    elif way == 3:
        program(image, at, bytes([byte | 0x5A for byte in data]))


class Story:
    """What was done to the flash, and after how many operations it was acknowledged.

    A span is (operations when it began, when it ended, newest record before, newest record after).
    """

    def __init__(self, records, slots: int, blocks: int) -> None:
        self.flash = Flash(bytearray(BLANK_BLOCK * blocks))
        self.log: list = []
        self.flash.log = self.log
        self.spans: list = []
        self.records = records
        self.slots = slots
        self.refused = 0
        store = FlashJournal(self.flash, slots)
        self._do(lambda: store.format() != READY, NOTHING, NOTHING)
        self.room = store.slots
        self.formatting = len(self.log)
        kept = Journal(store)
        kept.recall()
        self._write(kept, 0, len(records) - SECOND_DIVE)
        self.writing = len(self.log)
        newest = len(records) - SECOND_DIVE - 1
        self._do(lambda: store.erase() != READY, newest, NOTHING)
        kept.recall()
        self._write(kept, len(records) - SECOND_DIVE, len(records), NOTHING)

    def _write(self, kept, first, end, before=NOTHING) -> None:
        for index in range(first, end):
            self._do(lambda index=index: kept.store(self.records[index], 1), before, index)
            before = index

    def _do(self, act, before, after) -> None:
        begun = len(self.log)
        self.refused += bool(act())
        self.spans.append((begun, len(self.log), before, after))


class Cuts:
    """Stops the story at its operations and counts what was not as it must be."""

    def __init__(self, story: Story) -> None:
        self.story = story
        self.cuts = self.second_cuts = self.lost = self.refused = self.fell_back = self.unmounted = self.crashes = 0
        self.scratch = bytearray(len(story.flash.image))
        self.before = bytearray(len(story.flash.image))
        self.places = {record: index for index, record in enumerate(story.records)}
        self.renewed = [renewed(record) for record in story.records]

    def run(self, every: int) -> None:
        shadow = bytearray(BLANK_BLOCK * (len(self.scratch) // BLOCK_BYTES))
        span = 0
        log = self.story.log
        for number in range(len(log)):
            while number >= self.story.spans[span][1]:
                span += 1
            if number % every == 0:
                for way in range(WAYS):
                    self.scratch[:] = shadow
                    stop(self.scratch, log[number], way)
                    self._cut(number, way, span)
            do(shadow, log[number])
        if shadow != self.story.flash.image:
            raise ValueError("the list of operations does not give the flash as it is")

    def _cut(self, number, way, span) -> None:
        self.cuts += 1
        before, after = self.story.spans[span][2:]
        try:
            said = self._look(number, before, after)
        except Exception as error:  # whatever it is, it would have stopped the board
            self.crashes += 1
            said = "%s: %s" % (type(error).__name__, error)
        if said:
            print("broken operation=%d way=%d: %s" % (number, way, said))

    def _look(self, number, before, after) -> str:
        flash = Flash(self.scratch)
        store = FlashJournal(flash, self.story.slots)
        code = store.mount()
        if code != READY and number < self.story.formatting:
            code = store.format()
        if code != READY:
            self.unmounted += 1
            return "mount answers %d" % code
        kept = Journal(store)
        recall = kept.recall()
        found = self._index(recall.newest)
        if found != before and found != after:
            self.lost += 1
            return "newest is %d, wanted %d or %d" % (found, before, after)
        if found != NOTHING and falls_back(recall.newest, self.story.records[found]):
            self.fell_back += 1
            return "mission time or state fell back"
        first = self._first(found)
        if found - first + 1 < store.slots - journal.HEEL and recall.next_slot != max(0, found - first + 1):
            self.lost += 1
            return "goes on in slot %d after record %d" % (recall.next_slot, found)
        said = self._compare(store, first, found, self.cuts % WHOLE_EVERY == 0)
        return said or self._go_on(flash, kept, found)

    def _go_on(self, flash, kept, found) -> str:
        """Write some records more, with power, and find the last of them after one more start."""
        twice = self.cuts % TWICE_EVERY == 0
        flash.log = []
        if twice:
            self.before[:] = self.scratch
        done = []  # operations when each of the records was acknowledged
        last = min(found + AFTER, len(self.renewed) - 1)
        for index in range(found + 1, last + 1):
            if kept.store(self.renewed[index], 1):
                self.refused += 1
                return "a record after the cut was refused"
            done.append(len(flash.log))
        flash.gone = True
        newest = self.renewed[last] if last > found else None if found == NOTHING else self.story.records[found]
        if self._newest_of(self.scratch) != newest:
            self.lost += 1
            return "the newest of the records after the cut is not found"
        return self._cut_again(flash.log, done, found) if twice else ""

    def _cut_again(self, log, done, found) -> str:
        acknowledged = 0
        for number in range(len(log)):
            while number >= done[acknowledged]:
                acknowledged += 1
            self.second_cuts += 1
            self.scratch[:] = self.before
            stop(self.scratch, log[number], number % WAYS)
            newest = self._newest_of(self.scratch)
            before = found + acknowledged
            kept = self.renewed[before] if acknowledged else None if before == NOTHING else self.story.records[before]
            if newest != kept and newest != self.renewed[before + 1]:
                self.lost += 1
                return "after a second cut, at operation %d after the first, the newest is not found" % number
            do(self.before, log[number])
        return ""

    def _newest_of(self, image):
        store = FlashJournal(Flash(image), self.story.slots)
        if store.mount() != READY:
            self.unmounted += 1
        return Journal(store).recall().newest

    def _index(self, record) -> int:
        """Which of the story's records it is; the length of the list where it is none of them."""
        return NOTHING if record is None else self.places.get(record, len(self.story.records))

    def _first(self, found) -> int:
        """The record in slot 0 of the dive that this one belongs to."""
        if found == NOTHING:
            return 0
        second = len(self.story.records) - SECOND_DIVE
        return second if found >= second else 0

    def _compare(self, store, first, found, whole) -> str:
        """Acknowledged records must stand where they were written, apart from those that the heel has overwritten."""
        buffer = bytearray(RECORD_BYTES)
        front = store.slots - journal.HEEL
        missing = 0
        for index in range(first if whole else max(first, found - LOOK_BACK), found + 1):
            slot = index - first
            if slot >= front:
                slot = front + (slot - front) % journal.HEEL
                if found - index >= journal.HEEL:
                    continue
            if not store.read(slot, buffer) or buffer != self.story.records[index]:
                missing += 1
        self.lost += missing
        return "%d acknowledged records are missing" % missing if missing else ""


def falls_back(newest, acknowledged) -> bool:
    """Whether the mission that starts from this record is earlier, or elsewhere, than the acknowledged one said."""
    said = journal.fields(acknowledged)
    inputs = Inputs()
    inputs.clock_ok = 1
    inputs.clock_s = said["clock_s"] + 1
    mission = Mission(None)
    mission.boot(newest, inputs)
    return mission.mission_ds < said["mission_ds"] or mission.state != said["state"]


def renewed(record):
    """The record as a later boot would write it: the same bytes would hide that a place was programmed twice."""
    changed = bytearray(record)
    struct.pack_into("<H", changed, BOOT_AT, struct.unpack_from("<H", changed, BOOT_AT)[0] + 1 & 0xFFFF)
    journal.seal(changed, 0)
    return changed


def read_records(path: str):
    with open(path, "rb") as file:
        data = file.read()
    return [data[at:at + RECORD_BYTES] for at in range(0, len(data), RECORD_BYTES)]


def tell_cost(story: Story) -> None:
    log, wear = story.log, story.flash.wear
    written = len(story.records) - SECOND_DIVE
    programs = erases = programmed_bytes = 0
    for _at, data in log[story.formatting:story.writing]:
        if data is None:
            erases += 1
        else:
            programs += (len(data) + PROGRAM_BYTES - 1) // PROGRAM_BYTES
            programmed_bytes += len(data)
    print("counted slots=%d records=%d refused=%d operations=%d dirty=%d blocks=%d" % (
        story.room, len(story.records), story.refused, len(log), story.flash.dirty, len(wear)))
    print("counted pages_permille=%d erases_permille=%d bytes=%d" % (
        1000 * programs // written, 1000 * erases // written, programmed_bytes // written))
    print("counted wear_most=%d wear_mean_permille=%d" % (max(wear), 1000 * sum(wear) // len(wear)))


def main(path, slots, blocks, every, tail) -> None:
    if tail:
        flash_journal.TAIL_SLOTS = tail
    story = Story(read_records(path), slots, blocks)
    tell_cost(story)
    if tail:
        return
    cuts = Cuts(story)
    gc.collect()
    cuts.run(every)
    print("counted cuts=%d second_cuts=%d lost=%d fell_back=%d refused_after=%d unmounted=%d crashes=%d" % (
        cuts.cuts, cuts.second_cuts, cuts.lost, cuts.fell_back, cuts.refused, cuts.unmounted, cuts.crashes))


if __name__ == "__main__":
    main(sys.argv[1], *[int(word) for word in sys.argv[2:6]])
