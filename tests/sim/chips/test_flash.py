"""The simulated flash does what NOR flash does: common practice, no source."""

import pytest

from seatrial.chips.flash import BLOCK_BYTES, FlashChip


def test_it_is_blank_at_first():
    assert FlashChip(2).read(1, 0, BLOCK_BYTES) == b"\xff" * BLOCK_BYTES


def test_a_program_clears_bits_and_never_sets_them():
    flash = FlashChip(1)
    flash.program(0, 16, b"\xf0\x55")
    flash.program(0, 16, b"\x3f\xff")
    assert flash.read(0, 15, 4) == b"\xff\x30\x55\xff"


def test_an_erase_sets_the_bits_of_its_block_alone():
    flash = FlashChip(2)
    flash.program(0, BLOCK_BYTES - 1, b"\x00")
    flash.program(1, 0, b"\x00")
    flash.erase(0)
    assert (flash.read(0, BLOCK_BYTES - 1, 1), flash.read(1, 0, 1)) == (b"\xff", b"\x00")
    assert (flash.programs, flash.erases) == (2, 1)


def test_a_flash_that_refuses_changes_nothing():
    flash = FlashChip(1)
    flash.refuses = True
    with pytest.raises(OSError):
        flash.program(0, 0, b"\x00")
    with pytest.raises(OSError):
        flash.erase(0)
    assert flash.read(0, 0, 1) == b"\xff"


@pytest.mark.parametrize(("block", "offset", "count"), [(1, 0, 1), (0, BLOCK_BYTES, 1), (-1, 0, 1), (0, 4000, 100)])
def test_beyond_its_end_is_refused(block, offset, count):
    with pytest.raises(OSError):
        FlashChip(1).read(block, offset, count)


def test_a_cut_leaves_half_of_the_program_and_nothing_of_what_came_later():
    flash = FlashChip(1)
    flash.cut_next = True
    flash.program(0, 0, b"\x00\x00\x00\x00")
    flash.program(0, 8, b"\x00")
    assert flash.read(0, 0, 4) == b"\x00\x00\x00\x00"  # the process that waits does not know yet
    flash.lose_power()
    assert flash.read(0, 0, 9) == b"\x00\x00\xff\xff\xff\xff\xff\xff\xff"


def test_a_cut_leaves_half_of_the_erase():
    flash = FlashChip(1)
    flash.program(0, 0, b"\x00" * BLOCK_BYTES)
    flash.cut_next = True
    flash.erase(0)
    flash.lose_power()
    half = BLOCK_BYTES // 2
    assert flash.read(0, 0, BLOCK_BYTES) == b"\xff" * half + b"\x00" * half


def test_a_cut_that_did_not_happen_after_all_changes_nothing():
    flash = FlashChip(1)
    flash.cut_next = True
    flash.program(0, 0, b"\x00\x00")
    flash.forget_cut()
    flash.lose_power()
    assert flash.read(0, 0, 2) == b"\x00\x00"
