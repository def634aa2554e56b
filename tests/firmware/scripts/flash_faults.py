"""What the journal on flash answers to a flash that is blank, broken, foreign, small or out of order.

Runs under MicroPython with `firmware/` on the path; each case prints its name and what it found.
"""

import gc
import struct

import micropython
import vfs

from boards.flash_journal import TAIL_SLOTS, FlashJournal
from boards.flash_volume import FILE_SLOTS
from boards.plan_copies import on_volume
from lander import journal, orders
from lander.journal import HEEL, LEAP, RECORD_BYTES, Journal

BLOCK_BYTES = 4096
ANSWERS = ("ready", "blank", "unreadable", "foreign", "no room")


class Flash:
    """A block device in memory that makes no objects, so that those of the journal can be counted."""

    def __init__(self, blocks=64, fill=0xFF):
        self.image = bytearray(bytes([fill]) * (blocks * BLOCK_BYTES))
        self.blocks = blocks
        self.dead = False
        self.refuses = 0  # so many programs from now on fail

    def readblocks(self, block, buffer, offset=0):
        if self.dead:
            raise OSError(5)
        at = block * BLOCK_BYTES + offset
        image = self.image
        for index in range(len(buffer)):
            buffer[index] = image[at + index]

    def writeblocks(self, block, buffer, offset=0):
        if self.dead:
            raise OSError(5)
        if self.refuses:
            self.refuses -= 1
            raise OSError(5)
        at = block * BLOCK_BYTES + offset
        image = self.image
        for index in range(len(buffer)):
            image[at + index] &= buffer[index]

    def ioctl(self, what, value):
        if what == 4:
            return self.blocks
        if what == 5:
            return BLOCK_BYTES
        if what == 6:
            image = self.image
            for index in range(value * BLOCK_BYTES, (value + 1) * BLOCK_BYTES):
                image[index] = 0xFF
        return 0


def record(number):
    buffer = bytearray(RECORD_BYTES)
    values = [0] * len(journal.NAMES)
    values[0], values[1], values[2] = journal.VERSION, journal.READING, number
    struct.pack_into(journal.FORMAT, buffer, 0, *values)
    journal.seal(buffer, 0)
    return buffer


def mounted(flash, slots=600):
    store = FlashJournal(flash, slots)
    answer = ANSWERS[store.mount()]
    return store, answer


def filled(count, slots=600, blocks=64):
    flash = Flash(blocks)
    store = FlashJournal(flash, slots)
    store.format()
    kept = Journal(store)
    kept.recall()
    for number in range(count):
        if kept.store(record(number), 1):
            print("refused", number)
    return flash, store, kept


def newest(flash, slots=600):
    store, answer = mounted(flash, slots)
    found = Journal(store).recall()
    return answer, -1 if found.newest is None else journal.sequence_of(found.newest), found.bad


def refuse_to_use(name, flash):
    """Mount and use it; tells whether a byte of the flash was changed and what the core would see."""
    before = bytes(flash.image)
    store, answer = mounted(flash)
    kept = Journal(store)
    kept.recall()
    lost = kept.store(record(0), 1)
    same = "unchanged" if flash.image == before else "CHANGED"
    print(name, "=", answer, "free=%d lost=%d" % (kept.free(), lost), same)


def blank():
    refuse_to_use("blank", Flash())
    refuse_to_use("garbage", Flash(fill=0x5A))
    flash, _store, _kept = filled(20)
    flash.dead = True
    refuse_to_use("dead", flash)
    flash, _store, _kept = filled(20)
    for block in (0, 1):
        flash.image[block * BLOCK_BYTES:block * BLOCK_BYTES + 64] = bytes(64)
    refuse_to_use("no superblock", flash)
    flash, store, _kept = filled(20)
    with store.volume.fs.open("dive/size", "wb") as file:
        file.write(b"something else")
    refuse_to_use("foreign", flash)
    flash = Flash()
    vfs.VfsLfs2.mkfs(flash, progsize=256)
    fs = vfs.VfsLfs2(flash, progsize=256)
    with fs.open("other", "wb") as file:
        for _ in range(55):
            file.write(bytes(BLOCK_BYTES))
    refuse_to_use("no room", flash)


def formats_when_asked():
    flash = Flash(fill=0x5A)
    store = FlashJournal(flash, 600)
    print("format =", ANSWERS[store.format()], store.slots)
    print("format on a dead chip =", end=" ")
    flash.dead = True
    print(ANSWERS[store.format()], store.slots)


def slots_stay():
    """The number of slots is that of the making, whatever is wanted later."""
    flash, store, _kept = filled(20)
    again, answer = mounted(flash, 5000)
    print("slots =", store.slots, answer, again.slots)


def out_of_order():
    flash, store, _kept = filled(20)
    buffer = bytearray(RECORD_BYTES)
    told = [store.write(slot, record(99)) for slot in (0, 13, 19, -1, 600, 601)]
    print("written or absent slots =", told, [store.read(slot, buffer) for slot in (-1, 600)])
    print("a leap =", store.write(20 + LEAP, record(100)), store.write(50, record(50)), newest(flash)[:2])
    again, _answer = mounted(flash)
    right = 0
    for slot in range(600):
        again.read(slot, buffer)
        wanted = record(slot) if slot < 20 else record(100) if slot == 20 + LEAP else b"\xff" * RECORD_BYTES
        right += buffer == wanted
    print("slots as they must be =", right)


def refusals():
    """Programs fail, one or many in a row, at any place; what was acknowledged stays, and it goes on."""
    missing = refused = 0
    for fails in (1, 2, 3, 20):
        for first in range(2 * TAIL_SLOTS + 2):
            flash, store, kept = filled(first)
            flash.refuses = fails
            acknowledged = list(range(first))
            for number in range(first, first + 30):
                if kept.store(record(number), 1):
                    refused += 1
                else:
                    acknowledged.append(number)
            answer, found, _bad = newest(flash)
            again, _answer = mounted(flash)
            buffer = bytearray(RECORD_BYTES)
            there = set()
            for slot in range(200):
                if again.read(slot, buffer) and journal.is_good(buffer):
                    there.add(journal.sequence_of(buffer))
            missing += len(set(acknowledged) - there) + (found != acknowledged[-1])
    print("refusals = missing", missing, "some refused", refused > 0)


def damage():
    """A block of an old long file is gone: what came later is found, and the rest of the slots answer something."""
    flash, store, _kept = filled(FILE_SLOTS + 200, slots=5000)
    place = bytes(flash.image).find(bytes(record(40)))
    block = place - place % BLOCK_BYTES
    flash.image[block:block + BLOCK_BYTES] = bytes(BLOCK_BYTES)
    again, _answer = mounted(flash, 5000)
    buffer = bytearray(RECORD_BYTES)
    good = 0
    for slot in range(FILE_SLOTS + 200):
        good += again.read(slot, buffer) and journal.is_good(buffer) and journal.sequence_of(buffer) == slot
    print("damage =", newest(flash, 5000)[:2], good > FILE_SLOTS + 200 - 2 * BLOCK_BYTES // RECORD_BYTES)


def heap():
    """Bytes that the object takes, and writes that make no object at all."""
    flash, store, kept = filled(TAIL_SLOTS * 3 + 1, slots=200)
    free = 0
    for number in range(TAIL_SLOTS - 1):
        data = record(number)
        slot = kept.next_slot + number
        micropython.heap_lock()
        try:
            free += store.write(slot, data)
        finally:
            micropython.heap_unlock()
    print("writes without an object =", free)
    heel = store.slots - HEEL
    data = record(7)
    store.write(heel, data)
    micropython.heap_lock()
    try:
        free = store.write(heel + 1, data)
    finally:
        micropython.heap_unlock()
    print("in the heel =", free)
    gc.collect()
    before = gc.mem_alloc()
    store = FlashJournal(flash, 200)
    gc.collect()
    print("bytes before mount =", gc.mem_alloc() - before)
    store.mount()
    Journal(store).recall()
    gc.collect()
    print("bytes after mount =", gc.mem_alloc() - before)


def grows():
    """Bytes in use after every so many records: none more."""
    flash, store, kept = filled(60, slots=5000)
    gc.collect()
    before = gc.mem_alloc()
    for number in range(60, 660):
        kept.store(record(number), 1)
    gc.collect()
    print("bytes more after 600 records =", gc.mem_alloc() - before)


def erases():
    flash, store, kept = filled(100)
    print("erase =", ANSWERS[store.erase()], store.slots, newest(flash)[:2], kept.recall().newest)
    print("then =", kept.store(record(1000), 1), newest(flash)[:2])
    print("once more =", ANSWERS[store.erase()], newest(flash)[:2])


def proof():
    """Whether the flash is found to take and hold what it is given."""
    flash, store, _kept = filled(20)
    print("proof =", store.volume.prove(), sorted(entry[0] for entry in store.volume.fs.ilistdir("")))
    flash.refuses = 1000
    print("proof on a flash that refuses =", store.volume.prove())
    blank_one = FlashJournal(Flash(), 600)
    blank_one.mount()
    print("proof without a volume =", blank_one.volume.prove())


def plan_beside():
    """The plan's copies on the volume of the journal, by way of `on_volume`."""
    flash, store, _kept = filled(20)
    record = orders.pack(orders.Orders())
    copies = on_volume(store.volume)
    print("no plan yet =", copies.load().good, copies.newest)
    print("plan kept =", copies.store(record), copies.load().good, copies.degraded)
    again = FlashJournal(flash, 600)
    again.mount()
    copies = on_volume(again.volume)
    print("plan after a restart =", copies.load().good, copies.record == record, newest(flash)[1])
    with again.volume.fs.open("plan_%d/record.bin" % copies.newest, "r+b") as file:
        file.seek(30)
        file.write(b"\x55")
    print("one copy spoilt =", copies.load().good, copies.degraded, copies.mend(), copies.degraded)
    blank_one = FlashJournal(Flash(), 600)
    blank_one.mount()
    print("plan without a volume =", on_volume(blank_one.volume).load().good)


for case in (blank, formats_when_asked, slots_stay, out_of_order, refusals, damage, heap, grows, erases, proof, plan_beside):
    case()
    gc.collect()
