"""The journal's memory: what a write leaves behind, whole, cut or refused."""

import pytest

from lander.journal import RECORD_BYTES, Journal, is_blank
from seatrial.store import PowerCut, SimulatedStore

SLOTS = 12
BLANK = b"\xff" * RECORD_BYTES


def record(number: int) -> bytes:
    return bytes([number]) * RECORD_BYTES


def slot(store, number: int) -> bytes:
    buffer = bytearray(RECORD_BYTES)
    assert store.read(number, buffer)
    return bytes(buffer)


def test_a_slot_that_was_never_written_is_blank():
    assert is_blank(slot(SimulatedStore(SLOTS), 5))


def test_what_was_written_is_read_and_its_neighbours_stay_blank():
    store = SimulatedStore(SLOTS)
    assert store.write(3, record(1))
    assert [slot(store, number) for number in (2, 3, 4)] == [BLANK, record(1), BLANK]


@pytest.mark.parametrize("cut_bytes", [0, 1, 32, 63])
def test_power_that_fails_in_a_write_leaves_only_the_bytes_before_the_cut(cut_bytes):
    store = SimulatedStore(SLOTS)
    store.write(0, record(1))
    store.cut_at, store.cut_bytes = 2, cut_bytes
    with pytest.raises(PowerCut):
        store.write(1, record(2))
    assert slot(store, 0) == record(1)
    assert slot(store, 1) == record(2)[:cut_bytes] + BLANK[cut_bytes:]
    assert len(store.data) == 2 * RECORD_BYTES
    assert store.write(2, record(3)), "after the cut the memory works again"


def test_power_that_fails_in_a_rewrite_leaves_the_old_bytes_behind_the_cut():
    store = SimulatedStore(SLOTS)
    store.write(0, record(1))
    store.cut_at, store.cut_bytes = 2, 10
    with pytest.raises(PowerCut):
        store.write(0, record(2))
    assert slot(store, 0) == record(2)[:10] + record(1)[10:]


def test_a_memory_that_refuses_has_changed_nothing_and_counts_no_write():
    store = SimulatedStore(SLOTS)
    store.write(0, record(1))
    store.refuses = True
    assert not store.write(0, record(2))
    assert not store.write(5, record(2))
    assert bytes(store.data) == record(1)
    assert store.writes == 1


def test_a_journal_finds_its_end_again():
    store = SimulatedStore(200)
    journal = Journal(store)
    journal.store(b"".join(record(number) for number in range(1, 8)), 7)
    again = Journal(store)
    again.recall()
    assert again.next_slot == journal.next_slot == 7


def test_a_damaged_record_is_counted_and_is_another_one():
    store = SimulatedStore(SLOTS)
    store.write(2, record(1))
    store.damage(2)
    store.damage(5)
    assert sum(one != other for one, other in zip(slot(store, 2), record(1), strict=True)) == 1
    assert (store.damaged, is_blank(slot(store, 5))) == (1, True)


def test_a_record_over_an_older_one_is_counted_and_one_in_a_blank_slot_is_not():
    store = SimulatedStore(SLOTS)
    store.write(3, record(1))
    store.write(1, record(2))
    assert store.overwritten == 0
    store.write(3, record(3))
    assert store.overwritten == 1
