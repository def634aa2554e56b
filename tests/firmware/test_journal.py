"""The journal: what is found again after any history of writes, faults and cuts of power."""

import binascii
import struct
from itertools import combinations

import pytest
from crccheck.crc import Crc16Ibm3740

from lander import checksum, journal
from lander.journal import BLANKS, HEEL, RECORD_BYTES, TRIES, Journal, Recall

SLOTS = 160
BLANK = b"\xff" * RECORD_BYTES
LENGTHS = sorted({*range(12), *range(SLOTS - HEEL - 3, SLOTS + 4), SLOTS + 30, SLOTS + HEEL, SLOTS + 3 * HEEL})
CUT_BYTES = (0, 1, 2, 31, journal.CRC_AT, journal.CRC_AT + 1)


def record(sequence: int, boot: int = 1) -> bytes:
    buffer = bytearray(BLANK)
    values = dict.fromkeys(journal.NAMES, 0)
    values.update(version=journal.VERSION, kind=journal.READING, sequence=sequence, boot=boot, mission_ds=10 * sequence)
    struct.pack_into(journal.FORMAT, buffer, 0, *[values[name] for name in journal.NAMES])
    journal.seal(buffer, 0)
    return bytes(buffer)


class PowerCut(Exception):
    """Power went in the middle of a write."""


class Flash:
    """Slots that behave like NOR flash: a blank slot takes what is written, a dirty one only loses bits.

    In the heel the driver erases before it writes. `cut_at` counts writes from 1; the cut write gets `cut_bytes`.
    """

    def __init__(self, slots: int = SLOTS) -> None:
        self.slots = slots
        self.kept = [BLANK] * slots
        self.writes = self.cut_at = self.cut_bytes = 0
        self.refused: set = set()  # slots that refuse to be written and stay blank
        self.unreadable: set = set()

    def read(self, slot: int, buffer) -> bool:
        buffer[:] = self.kept[slot]
        return slot not in self.unreadable

    def write(self, slot: int, data) -> bool:
        if slot in self.refused or slot >= self.slots:
            return False
        self.writes += 1
        data = bytes(data)
        before = self.kept[slot] if slot < self.slots - HEEL else BLANK
        if self.writes == self.cut_at:
            data = data[:self.cut_bytes] + BLANK[self.cut_bytes:]
        self.kept[slot] = bytes(a & b for a, b in zip(before, data, strict=True))
        if self.writes == self.cut_at:
            raise PowerCut
        return True


def newest_of(flash: Flash) -> Recall:
    return Journal(flash).recall()


def filled(length: int, flash: Flash | None = None) -> Flash:
    flash = flash or Flash()
    kept = Journal(flash)
    kept.recall()
    for sequence in range(length):
        assert kept.store(record(sequence), 1) == 0
    return flash


def sequence_found(flash: Flash) -> int:
    newest = newest_of(flash).newest
    return -1 if newest is None else journal.sequence_of(newest)


class TestChecksum:
    # RevEng catalogue of parametrised CRC algorithms, CRC-16/IBM-3740: check 29B1h.
    @pytest.mark.published(
        "printed", ids="8.20", tolerance="exact",
        source="RevEng catalogue of parametrised CRC algorithms, CRC-16/IBM-3740: check 29B1h")
    def test_both_ways_to_compute_it_give_the_catalogues_check_value(self):
        assert checksum.crc16_by_table(b"123456789", 0, 9) == 0x29B1
        assert checksum.crc16_by_library(b"123456789", 0, 9) == 0x29B1

    def test_an_interpreter_without_the_routine_falls_back_on_the_table(self, monkeypatch):
        monkeypatch.delattr(binascii, "crc_hqx")
        assert checksum.crc16_by_library(b"123456789", 0, 9) == 0x29B1

    @pytest.mark.published("library", ids="8.20", source="crccheck, Crc16Ibm3740", tolerance="exact")
    @pytest.mark.parametrize("length", [0, 1, 2, 63, 64, 200, 1000])
    def test_both_ways_agree_with_an_independent_library(self, length):
        data = bytes((7 * n * n + n) & 0xFF for n in range(length))
        expected = Crc16Ibm3740.calc(data)
        assert checksum.crc16_by_table(data, 0, length) == expected
        assert checksum.crc16_by_library(data, 0, length) == expected

    def test_a_part_of_a_buffer_is_summed_alone(self):
        data = b"xx123456789yy"
        assert checksum.crc16_by_table(data, 2, 11) == checksum.crc16_by_library(data, 2, 11) == 0x29B1


class TestRecord:
    def test_a_record_fits_its_slot_with_its_checksum(self):
        assert struct.calcsize(journal.FORMAT) + 2 <= RECORD_BYTES
        assert len(journal.NAMES) == len(set(journal.NAMES))

    def test_the_sequence_stands_where_it_is_looked_for(self):
        assert journal.sequence_of(record(123456)) == 123456
        assert journal.fields(record(7))["sequence"] == 7

    @pytest.mark.parametrize("at", range(journal.CRC_AT + 2))
    def test_a_flip_of_any_bit_is_noticed(self, at):
        whole = record(42)
        assert journal.is_good(whole)
        for bit in range(8):
            flipped = bytearray(whole)
            flipped[at] ^= 1 << bit
            assert not journal.is_good(flipped)

    @pytest.mark.parametrize("kept", range(1, journal.CRC_AT + 2))
    def test_a_record_torn_at_any_byte_is_noticed(self, kept):
        assert not journal.is_good(record(42)[:kept] + BLANK[kept:])

    def test_nothing_is_no_record(self):
        assert not journal.is_good(None)
        assert not journal.is_good(BLANK)
        assert not journal.is_good(bytes(RECORD_BYTES))
        assert not journal.is_good(record(1)[:-1])


class TestRecall:
    @pytest.mark.parametrize("length", LENGTHS)
    def test_the_newest_record_is_found_at_every_length(self, length):
        flash = filled(length)
        assert sequence_found(flash) == length - 1
        kept = Journal(flash)
        kept.recall()
        assert kept.store(record(length, boot=2), 1) == 0
        assert sequence_found(flash) == length

    @pytest.mark.parametrize("length", range(12, SLOTS - HEEL, 7))
    def test_the_newest_record_is_found_in_the_front(self, length):
        assert sequence_found(filled(length)) == length - 1

    @pytest.mark.parametrize("slots", [0, 1, 2, 3, HEEL - 1, HEEL, HEEL + 1, HEEL + 5])
    def test_a_small_storage_serves_too(self, slots):
        flash = Flash(slots)
        for sequence in range(2 * slots + 3):
            kept = Journal(flash)
            kept.recall()
            assert kept.store(record(sequence), 1) == (0 if slots else 1)
            assert sequence_found(flash) == (sequence if slots else -1)

    @pytest.mark.parametrize("length", LENGTHS[1:])
    @pytest.mark.parametrize("cut_bytes", CUT_BYTES[1:])
    def test_a_torn_tail_is_passed_over(self, length, cut_bytes):
        flash = filled(length)
        flash.writes, flash.cut_at, flash.cut_bytes = 0, 1, cut_bytes
        kept = Journal(flash)
        kept.recall()
        with pytest.raises(PowerCut):
            kept.store(record(length), 1)
        assert sequence_found(flash) == length - 1

    @pytest.mark.parametrize("bad", [1, 2, 5, 20])
    def test_records_with_a_wrong_checksum_at_the_end_are_passed_over(self, bad):
        flash = filled(60)
        for slot in range(60 - bad, 60):
            spoilt = bytearray(flash.kept[slot])
            spoilt[20] ^= 0x55
            flash.kept[slot] = bytes(spoilt)
        found = newest_of(flash)
        assert journal.sequence_of(found.newest) == 59 - bad
        assert (found.bad, found.next_slot) == (bad, 60)

    @pytest.mark.parametrize("length", [1, 30, 31, 32, 60, SLOTS - HEEL, SLOTS - 1, SLOTS])
    @pytest.mark.parametrize("holes", range(1, TRIES))
    def test_holes_of_a_failed_write_hide_nothing(self, length, holes):
        for first in range(max(0, length - 2)):
            flash = Flash()
            flash.refused = set(range(first, min(first + holes, length - 1)))
            kept = Journal(flash)
            for sequence in range(length):
                kept.store(record(sequence), 1)
            stored = [journal.sequence_of(slot) for slot in flash.kept if slot != BLANK]
            assert sequence_found(flash) == max(stored), "hole at %d" % first

    def test_records_lost_in_a_row_leave_no_hole_that_hides_the_later_ones(self):
        for first in range(145):
            flash = Flash(256)
            kept = Journal(flash)
            for sequence in range(150):
                flash.refused = set(range(256)) if first <= sequence < first + 4 else set()
                assert kept.store(record(sequence), 1) == (1 if flash.refused else 0)
            assert sequence_found(flash) == 149, "lost from %d" % first

    @pytest.mark.parametrize("length", [1, 20, 64, 95, SLOTS, SLOTS + 20])
    def test_unreadable_slots_are_passed_over(self, length):
        for first in range(min(length, SLOTS)):
            flash = filled(length)
            flash.unreadable = {first, first + 1}
            readable = [journal.sequence_of(kept) for slot, kept in enumerate(flash.kept)
                        if slot not in flash.unreadable and kept != BLANK]
            assert sequence_found(flash) == max(readable, default=-1)

    def test_nothing_is_found_in_a_blank_journal(self):
        found = newest_of(Flash())
        assert (found.newest, found.next_slot, found.bad) == (None, 0, 0)

    def test_nothing_is_found_in_garbage_and_the_journal_goes_on(self):
        flash = Flash()
        flash.kept = [bytes((slot * 31 + n * 7) & 0xFF for n in range(RECORD_BYTES)) for slot in range(SLOTS)]
        found = newest_of(flash)
        assert found.newest is None
        assert found.bad == SLOTS
        kept = Journal(flash)
        kept.recall()
        assert kept.store(record(0), 1) == 0
        assert sequence_found(flash) == 0

    def test_nothing_is_found_where_nothing_can_be_read(self):
        flash = filled(50)
        flash.unreadable = set(range(SLOTS))
        assert newest_of(flash).newest is None

    def test_a_large_journal_is_searched_in_few_reads(self):
        flash = Flash(16384)
        flash.kept[:9000] = [record(sequence) for sequence in range(9000)]
        recall, reads = Recall(flash.slots), 0
        while (slot := recall.want()) >= 0:
            recall.give(flash.kept[slot])
            reads += 1
        assert journal.sequence_of(recall.newest) == 8999
        assert reads < 100


class TestStore:
    def test_the_holes_of_a_refused_write_are_fewer_than_the_blanks_that_mark_the_end(self):
        assert TRIES <= BLANKS

    def test_history_in_the_front_is_kept_when_the_journal_goes_round(self):
        flash = filled(SLOTS + 3 * HEEL)
        assert [journal.sequence_of(kept) for kept in flash.kept[:SLOTS - HEEL]] == list(range(SLOTS - HEEL))

    def test_a_record_that_three_slots_refuse_is_counted_as_lost(self):
        flash = Flash()
        flash.refused = set(range(SLOTS))
        kept = Journal(flash)
        assert kept.store(record(0) + record(1), 2) == 2
        flash.refused = set()
        assert kept.store(record(2) + record(3), 2) == 0
        assert sequence_found(flash) == 3

    @pytest.mark.parametrize("bad", [TRIES, 10, journal.LEAP])
    def test_a_bad_sector_anywhere_is_leapt_over_and_hides_nothing(self, bad):
        for first in range(0, 280, 3):
            flash = Flash(512)
            flash.refused = set(range(first, first + bad))
            kept = Journal(flash)
            for sequence in range(300):
                assert kept.store(record(sequence), 1) == 0
            assert sequence_found(flash) == 299, "bad from %d" % first

    def test_a_spoilt_record_behind_a_bad_sector_is_passed_over_and_the_sector_too(self):
        flash = filled(10)
        flash.refused = set(range(10, 60))
        kept = Journal(flash)
        kept.recall()
        assert kept.store(record(10), 1) == 0
        flash.kept[10 + journal.LEAP] = bytes(RECORD_BYTES)
        found = newest_of(flash)
        assert journal.sequence_of(found.newest) == 9
        assert (found.bad, found.next_slot) == (1, 11 + journal.LEAP)

    def test_a_record_that_was_leapt_into_the_very_last_slot_is_found(self):
        first = SLOTS - 1 - journal.LEAP
        flash = filled(first)
        flash.refused = set(range(first, SLOTS - 1))
        kept = Journal(flash)
        kept.recall()
        assert kept.store(record(first), 1) == 0
        assert flash.kept[SLOTS - 1] != BLANK
        assert sequence_found(flash) == first

    def test_free_room_counts_down_to_nothing(self):
        flash = Flash()
        kept = Journal(flash)
        assert kept.free() == SLOTS - HEEL
        for sequence in range(SLOTS):
            kept.store(record(sequence), 1)
            assert kept.free() == max(0, SLOTS - HEEL - sequence - 1)


def breaks_of_a_cut_story(cuts: tuple, length: int, slots: int) -> list:
    """Write `length` records; power goes at these (write, bytes). What the journal then does wrong, in sentences."""
    flash = Flash(slots)
    wrong = []
    acknowledged: list = []
    sequence = boot = 0
    queue = list(cuts)
    while sequence < length:
        boot += 1
        flash.writes = 0
        flash.cut_at, flash.cut_bytes = queue.pop(0) if queue else (0, 0)
        kept = Journal(flash)
        newest = kept.recall().newest
        wrong += _wrong_after_start(flash, newest, acknowledged)
        shown = -1 if newest is None else journal.sequence_of(newest)
        sequence = max(shown + 1, 0)
        try:
            while sequence < length:
                whole = record(sequence, boot)
                if kept.store(whole, 1) == 0:
                    acknowledged.append(whole)
                sequence += 1
        except PowerCut:
            continue
    wrong += _wrong_after_start(flash, newest_of(flash).newest, acknowledged)
    if sequence_found(flash) != length - 1:
        wrong.append("the last record is not found")
    return wrong


def _wrong_after_start(flash: Flash, newest, acknowledged: list) -> list:
    wrong = []
    if newest is not None and Crc16Ibm3740.calc(newest[:journal.CRC_AT]) != int.from_bytes(
            newest[journal.CRC_AT:journal.CRC_AT + 2], "little"):
        wrong.append("a torn record is shown")
    if acknowledged and (newest is None or journal.sequence_of(newest) < journal.sequence_of(acknowledged[-1])):
        wrong.append("the last acknowledged record is lost")
    history = acknowledged[:max(0, flash.slots - HEEL - 9)]  # the heel goes round and keeps the newest only
    wrong += ["acknowledged record %d is lost" % n for n, whole in enumerate(history) if whole not in flash.kept]
    return wrong


class TestCutSweep:
    """Power is cut at write 1, 2, 3 and so on, at several bytes, then at pairs of writes."""

    @pytest.mark.parametrize("slots, length", [(SLOTS, 24), (HEEL + 6, 24), (HEEL + 6, HEEL + 20), (HEEL, HEEL + 9)])
    def test_a_cut_at_any_write_loses_nothing_that_was_acknowledged(self, slots, length):
        for cut in range(1, length + 1):
            for cut_bytes in CUT_BYTES:
                wrong = breaks_of_a_cut_story(((cut, cut_bytes),), length, slots)
                assert wrong == [], "replay %d:%d" % (cut, cut_bytes)

    @pytest.mark.parametrize("slots, length", [(SLOTS, 9), (HEEL + 2, 12)])
    def test_a_pair_of_cuts_loses_nothing_that_was_acknowledged(self, slots, length):
        one = [(cut, cut_bytes) for cut in range(1, length + 1) for cut_bytes in (0, 1, 31)]
        for cuts in [*combinations(one, 2), *[(cut, cut) for cut in one]]:
            assert breaks_of_a_cut_story(cuts, length, slots) == [], "replay %s" % (cuts,)

    def test_a_journal_that_trusts_torn_records_is_caught(self, monkeypatch):
        monkeypatch.setattr(journal, "is_good", lambda whole: whole is not None and not journal.is_blank(whole))
        assert breaks_of_a_cut_story(((5, 31),), 24, SLOTS)

    def test_a_journal_that_writes_over_a_torn_slot_is_caught(self, monkeypatch):
        real = Journal.recall

        def careless(self):
            found = real(self)
            if found.newest is not None:
                self.next_slot = journal.sequence_of(found.newest) + 1
            return found

        monkeypatch.setattr(Journal, "recall", careless)
        assert breaks_of_a_cut_story(((5, 31),), 24, SLOTS)

    def test_a_journal_that_forgets_where_it_was_is_caught(self, monkeypatch):
        monkeypatch.setattr(Journal, "recall", lambda self: Recall(0))
        assert breaks_of_a_cut_story(((5, 0),), 24, SLOTS)
