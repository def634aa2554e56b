"""The plan and the journal on the deck line. Loaded when it is asked for.

What is told of the plan is read back from the flash. The journal is cleared only for whoever can say what its newest
record is, so that it has been read out. After `keep` and `clear` the board starts anew.
"""

import binascii

from lander import wire
from lander.checksum import crc16
from lander.journal import CRC_AT, RECORD_BYTES, Journal, is_blank, sequence_of
from lander.orders import RECORD_BYTES as ORDERS_BYTES

PIECE_BYTES = 64
EMPTY = -1  # the newest record's number where there is none

_sent = bytearray(ORDERS_BYTES)


def plan(_line, flight, pairs, _now_ms: int) -> str:
    """The mission record that counts, or a piece of it."""
    copies = flight.copies
    if pairs:
        at = wire.take(pairs, "at", 0, ORDERS_BYTES - 1)
        wire.nothing_else(pairs)
        if copies.record is None:
            raise wire.WireError("there is no plan: no copy of a mission record is whole")
        return "at=%d hex=%s" % (at, _hex(copies.record[at:at + PIECE_BYTES]))
    copies.load()
    record = copies.record or b""
    return "bytes=%d generation=%d copies=%d crc=%04X" % (
        len(record), copies.generation, _whole(copies), _crc(record))


def _crc(record) -> int:
    """Of all but its last two bytes: they are its own, and with it the sum hardly tells records apart."""
    return crc16(record, 0, max(0, len(record) - 2))


def _whole(copies) -> int:
    return 0 if copies.newest < 0 else 1 if copies.degraded else 2


def orders(_line, _flight, pairs, _now_ms: int) -> str:
    """A piece of a mission record; it counts after `keep`."""
    at = wire.take(pairs, "at", 0, ORDERS_BYTES - 1)
    piece = wire.take_hex(pairs)
    wire.nothing_else(pairs)
    if at + len(piece) > ORDERS_BYTES:
        raise wire.WireError("the mission record has %d bytes" % ORDERS_BYTES)
    _sent[at:at + len(piece)] = piece
    return ""


def keep(_line, flight, pairs, _now_ms: int) -> str:
    """Make the record that was sent the plan, in both copies."""
    crc = _take_crc(pairs)
    wire.nothing_else(pairs)
    if crc != _crc(_sent):
        raise wire.WireError("what was sent has another crc: send the record again")
    try:
        if not flight.copies.store(bytes(_sent)):
            raise wire.WireError("the plan could not be written: the one before counts")
    except ValueError as error:
        raise wire.WireError(str(error)) from None
    flight.is_over = 1
    return "generation=%d copies=%d" % (flight.copies.generation, _whole(flight.copies))


def journal(_line, flight, pairs, _now_ms: int) -> str:
    """How long the journal is, and its newest record."""
    wire.nothing_else(pairs)
    newest, crc, bad = _newest(flight)
    return "slots=%d next=%d free=%d bad=%d newest=%d crc=%04X" % (
        flight.slots.slots, flight.journal.next_slot, flight.journal.free(), bad, newest, crc)


def _newest(flight):
    """Number and checksum of the newest record, and the slots that were found bad on the way to it."""
    recall = Journal(flight.slots).recall()
    if recall.newest is None:
        return EMPTY, 0, recall.bad
    return sequence_of(recall.newest), crc16(recall.newest, 0, CRC_AT), recall.bad


def slot(_line, flight, pairs, _now_ms: int) -> str:
    """The bytes of one slot."""
    slots = flight.slots.slots
    if not slots:
        raise wire.WireError("there is no journal: its memory could not be mounted")
    at = wire.take(pairs, "at", 0, slots - 1)
    if "count" in pairs:
        wire.take(pairs, "count", 1, 1)
    wire.nothing_else(pairs)
    record = bytearray(RECORD_BYTES)
    if not flight.slots.read(at, record):
        return "at=%d hex=bad" % at
    return "at=%d hex=%s" % (at, "blank" if is_blank(record) else _hex(record))


def clear(_line, flight, pairs, _now_ms: int) -> str:
    """Begin an empty journal."""
    sequence = wire.take(pairs, "newest", 0, (1 << 32) - 1)
    crc = _take_crc(pairs)
    wire.nothing_else(pairs)
    newest, newest_crc, _bad = _newest(flight)
    if newest == EMPTY:
        raise wire.WireError("the journal is empty")
    if (sequence, crc) != (newest, newest_crc):
        raise wire.WireError("the newest record is another one: read the journal out first")
    if flight.slots.erase():
        raise wire.WireError("the journal's memory did not take it")
    flight.is_over = 1
    return ""


def _take_crc(pairs) -> int:
    digits = pairs.pop("crc", "")
    try:
        crc = binascii.unhexlify(digits)
    except ValueError:
        crc = b""
    if len(crc) != 2:
        raise wire.WireError("crc wants four hexadecimal digits")
    return crc[0] << 8 | crc[1]


def _hex(data) -> str:
    return binascii.hexlify(bytes(data)).decode()
