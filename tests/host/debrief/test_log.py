"""Any journal opens: whole, torn, damaged, of a controller that reset. What cannot be read is counted, or refused in one
sentence.

The checksum is held against crccheck's CRC-16/IBM-3740, which the journal's format names.
"""

from dataclasses import replace

import numpy as np
import pytest
from crccheck.crc import Crc16Ibm3740

from lander import journal
from lander.journal import CRC_AT, RECORD_BYTES
from seatrial.bodies import open_body
from seatrial.deeds import parse as parse_fault
from seatrial.dive import Dive
from seatrial.plan import load_sample
from seatrial.world import CLOCK_EPOCH
from tumblehome.debrief import log

BLANK = b"\xff" * RECORD_BYTES


def flown(*faults: str) -> bytes:
    plan = load_sample()
    body = open_body("cpython", plan.mission_record())
    return Dive(plan, [parse_fault(fault) for fault in faults], 3, body).run().journal


@pytest.fixture(scope="module")
def image() -> bytes:
    return flown()


def slots_of(image: bytes) -> list[bytes]:
    return [image[at:at + RECORD_BYTES] for at in range(0, len(image), RECORD_BYTES)]


def test_every_whole_record_is_there_with_the_fields_that_the_controller_wrote(image):
    told = log.parse(image, "here")
    good = [slot for slot in slots_of(image) if journal.is_good(slot)]
    assert [told.fields(at) for at in range(len(told.records))] == [journal.fields(slot) for slot in good]
    assert told.unread == log.Unread() and told.unread.sentences() == []


def test_a_slot_that_was_being_written_as_power_failed_is_told_from_one_that_was_damaged(image):
    slots = slots_of(image)
    slots[4] = slots[4][:32] + BLANK[32:]
    slots[7] = slots[7][:20] + bytes([slots[7][20] ^ 1]) + slots[7][21:]
    told = log.parse(b"".join(slots), "here").unread
    assert (told.bad, told.torn) == (2, (4,))


def test_a_records_checksum_is_crc_16_as_another_library_reckons_it(image):
    slot = bytearray(slots_of(image)[5])
    assert int.from_bytes(slot[CRC_AT:CRC_AT + 2], "little") == Crc16Ibm3740.calc(slot[:CRC_AT])
    slot[20] ^= 1
    slot[CRC_AT:CRC_AT + 2] = Crc16Ibm3740.calc(slot[:CRC_AT]).to_bytes(2, "little")
    assert len(log.parse(bytes(slot), "here").records) == 1


def test_the_splash_and_utc_are_those_of_the_plan(image):
    told = log.parse(image, "here")
    splash = load_sample().dive.splash_utc
    assert abs((told.utc(told.splash_s) - splash).total_seconds()) < 10.0


@pytest.fixture(scope="module")
def often_reset() -> log.Log:
    """A dive in which every attempt at a release takes the controller down."""
    return log.parse(flown("attempt-resets@record"), "here")


def test_utc_goes_with_the_clock_that_each_record_shows_over_dozens_of_resets(often_reset):
    assert often_reset.records["boot"].max() > 20
    trusted = often_reset.records["clock_s"] > 0
    shown_s = often_reset.records["clock_s"][trusted] + 0.5  # it counts whole seconds: so much and up to one more
    told_s = [(often_reset.utc(float(at)) - CLOCK_EPOCH).total_seconds() for at in often_reset.mission_s[trusted]]
    assert np.abs(np.array(told_s) - shown_s).max() <= 1.0  # half a second of it, and two quartz clocks in hours
    assert np.abs(often_reset.clock_s_at(often_reset.mission_s[trusted]) - told_s).max() < 1e-5
    ahead_s = shown_s - often_reset.mission_s[trusted]
    assert np.abs(ahead_s - np.median(ahead_s)).max() > 5.0  # one offset for all of it would not do


def test_a_moment_of_utc_leads_back_to_its_mission_time(often_reset):
    for at_s in often_reset.mission_s[::97]:
        assert often_reset.mission_s_at(often_reset.utc(float(at_s))) == pytest.approx(at_s, abs=0.6)


def test_a_start_without_a_clock_keeps_the_offset_of_the_start_before_it(often_reset):
    records = often_reset.records.copy()
    last = records["boot"] == records["boot"][-1]
    records["clock_s"][last] = 0
    blind = replace(often_reset, records=records)
    before_s, at_s = (float(blind.mission_s[place][0]) for place in (records["boot"] == records["boot"][-1] - 1, last))
    assert (blind.utc(at_s) - blind.utc(before_s)).total_seconds() == pytest.approx(at_s - before_s, abs=1e-3)


def test_no_utc_is_told_where_no_record_trusts_its_clock(often_reset):
    records = often_reset.records.copy()
    records["clock_s"] = 0
    blind = replace(often_reset, records=records)
    assert blind.utc(100.0) is None and blind.mission_s_at(often_reset.utc(100.0)) is None
    assert often_reset.has_clock and not blind.has_clock and np.isnan(blind.clock_s_at(blind.mission_s)).all()


def test_a_torn_record_is_counted_and_the_rest_is_read(image):
    slots = slots_of(image)
    slots[40] = slots[40][:30] + BLANK[30:]
    told = log.parse(b"".join(slots), "here")
    assert told.unread.bad == 1 and told.unread.first_bad == 40 and told.unread.missing == 1
    assert len(told.records) == len(log.parse(image, "here").records) - 1
    assert len(told.unread.sentences()) == 2 and "slot 40" in told.unread.sentences()[0]


def test_a_file_that_was_cut_off_is_read_to_its_last_whole_slot(image):
    told = log.parse(image[:1000], "here")
    assert len(told.records) == 1000 // RECORD_BYTES and told.unread.tail_bytes == 1000 % RECORD_BYTES
    assert "cut off" in told.unread.sentences()[-1]


def test_records_come_in_the_order_of_their_numbers_however_they_lie(image):
    slots = slots_of(image)[:200]
    rounded = b"".join(slots[150:] + slots[:150])
    told = log.parse(rounded, "here")
    assert (np.diff(told.records["sequence"].astype(int)) == 1).all()
    assert told.slot[0] == 50 and told.slot[-1] == 49


def test_a_record_that_is_there_twice_counts_once(image):
    slots = slots_of(image)[:50]
    told = log.parse(b"".join([*slots, slots[7]]), "here")
    assert told.unread.twice == 1 and len(told.records) == 50


def test_blank_slots_between_are_no_loss(image):
    slots = slots_of(image)[:50]
    told = log.parse(b"".join([*slots[:20], BLANK, BLANK, *slots[20:], BLANK]), "here")
    assert told.unread == log.Unread() and len(told.records) == 50


def test_five_resets_are_five_more_starts_in_one_dive():
    told = log.parse(flown(*("reset@record+%dmin" % minutes for minutes in range(5, 30, 5))), "here")
    assert len(np.unique(told.records["boot"])) == 6 and (np.diff(told.mission_s) >= 0).all()
    assert len(told.dives()) == len(np.unique(told.records["dive"]))


@pytest.mark.parametrize(("content", "words"), [
    (b"", "is empty"),
    (BLANK * 30, "are all blank"),
    (b"Dear diary, today we went to sea.\n" * 40, "is no journal"),
    (b"short", "is no journal"),
])
def test_what_is_no_journal_gets_one_sentence_with_the_way_out(content, words):
    with pytest.raises(log.LogError) as refused:
        log.parse(content, "that.bin")
    said = str(refused.value)
    assert said.startswith("that.bin") and words in said and "\n" not in said and ("`" in said or "?" in said)


def test_a_journal_of_a_newer_version_is_named_as_such(image):
    slots = [bytes([9]) + slot[1:] for slot in slots_of(image)[:60]]
    with pytest.raises(log.LogError, match="version 9 of the journal; this tool reads up to version 1"):
        log.parse(b"".join(slots), "that.bin")
    told = log.parse(b"".join([*slots_of(image)[:40], *slots[40:]]), "that.bin")
    assert told.unread.newer == 20 and "bring this tool up to date" in told.unread.sentences()[0]


def test_a_file_that_is_not_there_is_told(tmp_path):
    with pytest.raises(log.LogError, match="cannot be read: no such file"):
        log.read(tmp_path / "nowhere")
