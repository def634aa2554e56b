"""The plan on the board: two copies, one that counts, and no moment in which a power cut loses it."""

import subprocess
from pathlib import Path

import pytest
from crccheck.crc import Crc16Ibm3740
from hypothesis import given
from hypothesis import strategies as st

from boards.plan_copies import COPY_BYTES, HEADER_BYTES, PlanCopies, in_files
from lander import orders

SCRIPT = Path(__file__).parent / "scripts" / "plan_on_littlefs.py"
GARBAGE = {
    "the rest as it was": lambda data, old: data + old[len(data):],
    "nothing more": lambda data, old: data,
    "the rest erased": lambda data, old: data + b"\xff" * (COPY_BYTES - len(data)),
    "the rest zeros": lambda data, old: data + b"\x00" * (COPY_BYTES - len(data)),
    "the rest noise": lambda data, old: data + bytes((31 * n + 7) & 0xFF for n in range(COPY_BYTES - len(data))),
    "the last byte torn": lambda data, old: (data[:-1] + bytes([data[-1] ^ 0x5A]) if data else b"") + old[len(data):],
}


class PowerCut(BaseException):
    """The board is gone; no code of it runs any more."""


class Flash:
    """Two places for bytes. Power is cut after `bytes_left` written bytes; `torn` says what stands after them."""

    def __init__(self, places=(None, None)) -> None:
        self.places = list(places)
        self.bytes_left = 1 << 30
        self.torn = GARBAGE["nothing more"]
        self.refuse_writes: set[int] = set()
        self.refuse_reads: set[int] = set()
        self.bend = lambda copy, data: data  # what the flash makes of what is written
        self.writes: list[int] = []

    def read(self, copy: int):
        if copy in self.refuse_reads:
            raise OSError(5)
        return self.places[copy]

    def write(self, copy: int, data: bytes) -> None:
        self.writes.append(copy)
        if copy in self.refuse_writes:
            raise OSError(28)
        if len(data) > self.bytes_left:
            self.places[copy] = self.torn(data[:self.bytes_left], self.places[copy] or b"")
            raise PowerCut
        self.bytes_left -= len(data)
        self.places[copy] = self.bend(copy, data)

    def sync(self) -> None:
        """Nothing is held back here."""


def record_of(**numbers: int) -> bytes:
    plan = orders.Orders()
    for name, value in numbers.items():
        setattr(plan, name, value)
    return orders.pack(plan)


def copies_on(flash: Flash) -> PlanCopies:
    return PlanCopies(flash.read, flash.write, flash.sync)


def lights_of(flash: Flash) -> tuple[bool, int]:
    plan = copies_on(flash).load()
    return plan.good, plan.lights_pct


FIRST, SECOND, THIRD = record_of(lights_pct=11), record_of(lights_pct=22), record_of(lights_pct=33)


@pytest.fixture
def flash() -> Flash:
    """A flash on which the first plan counts, in both copies."""
    flash = Flash()
    assert copies_on(flash).store(FIRST)
    flash.writes.clear()
    return flash


def test_a_blank_board_has_no_plan_and_says_so():
    for blank in (None, b"", b"\xff" * COPY_BYTES, b"\x00" * COPY_BYTES):
        copies = copies_on(Flash((blank, blank)))
        plan = copies.load()
        assert not plan.good and copies.record is None and copies.newest == -1 and copies.degraded == 1
        assert plan.timed_release_ds == orders.Orders().timed_release_ds


def test_a_stored_plan_counts_after_a_restart_and_stands_in_both_copies(flash):
    copies = copies_on(flash)
    assert copies.store(SECOND)
    restarted = copies_on(flash)
    assert restarted.load().lights_pct == 22 and restarted.record == SECOND and restarted.degraded == 0
    assert flash.places[0] == flash.places[1]


@pytest.mark.published(
    "library", ids="8.20", tolerance="exact",
    source="CRC-16/IBM-3740 of the RevEng catalogue, computed by crccheck")
def test_the_checksum_of_a_copy_is_the_one_of_the_crc_catalogue(flash):
    # CRC-16/IBM-3740 of the RevEng catalogue, computed by crccheck
    whole = flash.places[0]
    assert int.from_bytes(whole[-2:], "little") == Crc16Ibm3740.calc(whole[:-2])
    assert whole[:2] == b"TC" and int.from_bytes(whole[4:6], "little") == len(FIRST) == len(whole) - HEADER_BYTES - 2


def test_the_copy_that_counts_is_written_last(flash):
    copies = copies_on(flash)
    copies.load()
    counted = copies.newest
    copies.store(SECOND)
    assert flash.writes == [1 - counted, counted]


@pytest.mark.parametrize("torn", GARBAGE)
def test_a_power_cut_at_any_byte_leaves_the_old_plan_or_the_new_one_whole(flash, torn):
    seen = set()
    for cut in range(2 * COPY_BYTES + 1):
        board = Flash(flash.places)
        board.bytes_left, board.torn = cut, GARBAGE[torn]
        try:
            assert copies_on(board).store(SECOND)
            assert cut == 2 * COPY_BYTES
        except PowerCut:
            pass
        board.bytes_left = 1 << 30
        good, lights = lights_of(board)
        assert good and lights == (11 if cut < COPY_BYTES else 22), "cut after %d bytes" % cut
        seen.add(lights)
        copies = copies_on(board)
        assert copies.mend() and copies.degraded == 0 and lights_of(board) == (True, lights)
        assert copies.store(THIRD) and lights_of(board) == (True, 33)
    assert seen == {11, 22}


def test_a_power_cut_at_any_byte_of_the_first_plan_leaves_none_or_it():
    for cut in range(2 * COPY_BYTES):
        board = Flash()
        board.bytes_left = cut
        with pytest.raises(PowerCut):
            copies_on(board).store(FIRST)
        assert lights_of(board)[0] == (cut >= COPY_BYTES)


def test_a_second_cut_while_the_first_is_mended_loses_nothing(flash):
    for cut in range(0, COPY_BYTES, 7):
        for again in range(0, COPY_BYTES, 11):
            board = Flash(flash.places)
            for bytes_left in (cut, again):
                board.bytes_left = bytes_left
                with pytest.raises(PowerCut):
                    copies_on(board).store(SECOND)
            assert lights_of(board) == (True, 11)


@given(copy=st.integers(0, 1), at=st.integers(0, COPY_BYTES - 1), flip=st.integers(1, 255))
def test_one_bad_byte_costs_nothing_but_is_told(copy, at, flip):
    flash = Flash()
    copies_on(flash).store(FIRST)
    flash.places[copy] = bytes(byte ^ flip if n == at else byte for n, byte in enumerate(flash.places[copy]))
    copies = copies_on(flash)
    assert copies.load().lights_pct == 11 and copies.degraded == 1 and copies.newest == 1 - copy
    assert copies.mend() and flash.places[0] == flash.places[1]


@pytest.mark.parametrize("places", [(0, 1), (1, 0)])
def test_when_the_newest_copy_is_damaged_the_older_one_counts_and_it_is_told(flash, places):
    newer = Flash(flash.places)
    copies_on(newer).store(SECOND)
    old, new = places
    both = Flash()
    both.places[old], both.places[new] = flash.places[0], newer.places[0]
    assert lights_of(both) == (True, 22)
    both.places[new] = both.places[new][:-1]
    copies = copies_on(both)
    assert copies.load().lights_pct == 11 and copies.degraded == 1


def test_with_both_copies_damaged_there_is_no_plan(flash):
    flash.places = [place[:40] + b"\x55" + place[41:] for place in flash.places]
    copies = copies_on(flash)
    assert not copies.load().good and copies.record is None
    assert not copies.mend()


def test_a_copy_with_a_right_checksum_and_orders_outside_their_limits_does_not_count(flash):
    record = bytearray(FIRST)
    at = 6 + 4 * orders.NAMES.index("lights_pct")
    record[at:at + 4] = (101).to_bytes(4, "little")
    record[-2:] = Crc16Ibm3740.calc(bytes(record[:-2])).to_bytes(2, "little")
    whole = b"TC" + (2).to_bytes(2, "little") + len(record).to_bytes(2, "little") + record
    flash.places[1] = whole + Crc16Ibm3740.calc(whole).to_bytes(2, "little")
    copies = copies_on(flash)
    assert copies.load().lights_pct == 11 and copies.degraded == 1


@pytest.mark.parametrize("record", [b"", FIRST[:-1], FIRST + b"\x00", b"\x00" * len(FIRST), FIRST[:-1] + b"\x00"])
def test_a_damaged_record_is_refused_and_nothing_is_written(flash, record):
    before = list(flash.places)
    with pytest.raises(ValueError, match="mission record"):
        copies_on(flash).store(record)
    assert flash.places == before and flash.writes == []


def test_the_generation_wraps_and_the_newest_still_counts():
    flash = Flash()
    copies = copies_on(flash)
    copies.store(FIRST)
    for generation in (0xFFFE, 0xFFFF, 0x7FFF, 0x8000):
        head = b"TC" + generation.to_bytes(2, "little") + len(FIRST).to_bytes(2, "little") + FIRST
        flash.places = [head + Crc16Ibm3740.calc(head).to_bytes(2, "little")] * 2
        for record, lights in ((SECOND, 22), (THIRD, 33), (FIRST, 11)):
            older = flash.places[0]
            assert copies.store(record)
            assert lights_of(flash) == (True, lights)
            # the same with only one copy of each, as after a cut between the two writes
            assert lights_of(Flash((older, flash.places[1]))) == (True, lights)
            assert lights_of(Flash((flash.places[0], older))) == (True, lights)
    assert copies.generation == 0x8003


@pytest.mark.parametrize("copy", [0, 1])
def test_a_write_that_the_flash_refuses_never_costs_the_plan(flash, copy):
    flash.refuse_writes = {copy}
    copies = copies_on(flash)
    stored = copies.store(SECOND)
    assert lights_of(flash) == (True, 22 if stored else 11)
    assert copies.record == (SECOND if stored else FIRST)
    assert not stored or copies.degraded == 1
    flash.refuse_writes = set()
    assert copies.store(THIRD) and copies.degraded == 0


def test_a_write_that_is_read_back_wrong_does_not_count_later_either(flash):
    copies = copies_on(flash)
    copies.load()
    target = 1 - copies.newest
    reads = iter([False, False, True])  # the reading after the write goes wrong, the flash is right

    def read(copy):
        data = flash.read(copy)
        return data[:-1] if copy == target and data and next(reads, False) else data

    flaky = PlanCopies(read, flash.write, flash.sync)
    flaky.load()
    stored = flaky.store(SECOND)
    assert lights_of(flash) == (True, 22 if stored else 11)
    assert not stored, "what was read back differed"


def test_a_bit_that_does_not_take_in_the_flash_is_noticed(flash):
    flash.bend = lambda copy, data: data[:60] + bytes([data[60] & 0xFE ^ 0x10]) + data[61:] if len(data) > 60 else data
    copies = copies_on(flash)
    assert not copies.store(SECOND)
    assert lights_of(flash) == (True, 11)


@pytest.mark.parametrize("copy", [0, 1])
def test_a_copy_that_cannot_be_read_is_as_good_as_damaged(flash, copy):
    flash.refuse_reads = {copy}
    copies = copies_on(flash)
    assert copies.load().lights_pct == 11 and copies.degraded == 1


def test_the_copies_lie_in_two_folders_of_their_own(tmp_path):
    copies = in_files(str(tmp_path))
    assert not copies.load().good
    assert copies.store(FIRST) and copies.store(SECOND)
    assert sorted(file.name for file in tmp_path.iterdir()) == ["plan_0", "plan_1"], "a page gone bad costs one of them"
    first = tmp_path / "plan_0" / "record.bin"
    first.write_bytes(first.read_bytes() + b"x")
    again = in_files(str(tmp_path) + "/")
    assert again.load().lights_pct == 22 and again.newest == 1 and again.degraded == 1


# the smallest pages that littlefs takes, and those of the first board (RP2040 datasheet, flash: 4096 erased, 256 programmed)
@pytest.mark.parametrize("block_bytes, program_bytes, cuts_at_least, new_at_least", [(128, 16, 8, 0), (4096, 256, 2, 1)])
def test_on_littlefs_a_power_cut_at_every_write_to_the_flash_leaves_a_plan(
        micropython, firmware, block_bytes, program_bytes, cuts_at_least, new_at_least):
    done = subprocess.run([micropython, "-X", "heapsize=1M", str(SCRIPT), str(block_bytes), str(program_bytes)], env={"MICROPYPATH": str(firmware)},
                          capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 0, done.stderr
    cuts, lost, old, new, mended = (int(word) for word in done.stdout.split())
    assert cuts == old + new >= cuts_at_least and lost == 0 and old > 0 and new >= new_at_least and mended == cuts
