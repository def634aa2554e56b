"""What the system complained of stands in our sentences as a part of them."""

import os

import pytest

from seatrial.complaints import LENGTH_MAX, complaint


@pytest.mark.parametrize("error, told", [
    (FileNotFoundError(2, os.strerror(2)), "no such file or directory"),
    (OSError("NetCDF: Unknown file format."), "NetCDF: Unknown file format"),
    (ValueError("embedded null byte\nand a second line"), "embedded null byte"),
    (RecursionError(), "RecursionError"),
])
def test_a_complaint_is_one_part_of_a_sentence(error, told):
    assert complaint(error) == told


def test_a_long_complaint_is_cut():
    assert len(complaint(ValueError("a" * 1000))) == LENGTH_MAX
