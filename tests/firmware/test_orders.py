"""The mission record: packed by the host, checked by the board, never trusted when damaged."""

import struct

import pytest
from crccheck.crc import Crc16Ibm3740

from lander import orders
from lander.mission import Mission

ROWS = [tuple(row) for row in orders.rows()]


def given(**numbers) -> orders.Orders:
    made = orders.Orders()
    for name, value in numbers.items():
        setattr(made, name, value)
    return made


def values(of: orders.Orders) -> dict:
    return {name: getattr(of, name) for name in orders.NAMES}


def test_the_defaults_are_sound_and_not_taken_for_a_plan():
    assert orders.fault(orders.Orders()) == ""
    assert not orders.Orders().good


def test_a_packed_plan_comes_back_whole():
    before = given(timed_release_ds=12345, latest_release_ds=54321, camera_feedback=orders.LAMP, fan_off_centi_c=-500)
    after = orders.unpack(orders.pack(before))
    assert after.good
    assert values(after) == values(before)


def test_the_record_is_laid_out_as_its_docstring_says():
    record = orders.pack(orders.Orders())
    assert len(record) == orders.RECORD_BYTES
    assert record[:2] == b"TH"
    assert struct.unpack_from("<HH", record, 2) == (orders.VERSION, len(orders.NAMES))
    assert struct.unpack_from("<i", record, 6)[0] == orders.Orders().timed_release_ds
    assert struct.unpack("<H", record[-2:])[0] == Crc16Ibm3740.calc(record[:-2])


@pytest.mark.parametrize("at", range(orders.RECORD_BYTES))
def test_a_flip_of_any_byte_falls_back_to_the_defaults(at):
    record = bytearray(orders.pack(given(timed_release_ds=12345)))
    record[at] ^= 0x41
    read = orders.unpack(record)
    assert not read.good
    assert values(read) == values(orders.Orders())


@pytest.mark.parametrize("record", [None, b"", b"TH", bytes(orders.RECORD_BYTES), b"\xff" * orders.RECORD_BYTES,
                                    orders.pack(orders.Orders())[:-1], orders.pack(orders.Orders()) + b"\x00"],
                         ids=["none", "empty", "short", "zeros", "blank", "one less", "one more"])
def test_what_is_no_record_falls_back_to_the_defaults(record):
    read = orders.unpack(record)
    assert not read.good
    assert values(read) == values(orders.Orders())


@pytest.mark.parametrize("row", ROWS, ids=[row[0] for row in ROWS])
def test_a_number_out_of_range_is_refused_with_its_name_value_and_range(row):
    name, lowest, highest, _default = row
    for value in (lowest - 1, highest + 1):
        with pytest.raises(ValueError, match="%s is %d; allowed is %d to %d" % (name, value, lowest, highest)):
            orders.pack(given(**{name: value}))


@pytest.mark.parametrize("row", ROWS, ids=[row[0] for row in ROWS])
def test_a_sealed_record_with_a_number_out_of_range_is_not_flown(row):
    name, _lowest, highest, _default = row
    record = bytearray(orders.pack(orders.Orders()))
    struct.pack_into("<i", record, 6 + 4 * orders.NAMES.index(name), highest + 1)
    struct.pack_into("<H", record, len(record) - 2, Crc16Ibm3740.calc(bytes(record[:-2])))
    assert not orders.unpack(record).good
    assert not Mission(record).orders.good


@pytest.mark.parametrize("smaller, larger, strictly", orders.ORDER)
def test_pairs_must_stand_in_their_order(smaller, larger, strictly):
    limits = {row[0]: row[1:3] for row in ROWS}
    level = max(limits[smaller][0], limits[larger][0])
    assert level <= limits[smaller][1]
    equal = given(**{smaller: level, larger: level})
    assert (smaller in orders.fault(equal)) == strictly
    wrong = given(**{smaller: level + 1, larger: level})
    assert orders.fault(wrong).startswith("%s is %d and must be" % (smaller, level + 1))


def test_two_thresholds_are_always_apart_and_only_a_pause_may_be_its_own_longest():
    assert [smaller for smaller, _larger, strictly in orders.ORDER if not strictly] == ["pause_ds"]


def test_a_mission_longer_than_its_counter_is_trusted_is_refused():
    assert "the mission counter" in orders.fault(given(beacon_ds=orders.MISSION_LIMIT_DS))


def test_every_number_keeps_clear_of_what_allocates_on_a_small_board():
    for name, lowest, highest, default in ROWS:
        assert -(1 << 30) < lowest <= default <= highest < 1 << 30, name


def test_a_word_that_is_no_order_is_an_error_and_no_number():
    with pytest.raises(AttributeError):
        _ = orders.Orders().timed_relaese_ds
