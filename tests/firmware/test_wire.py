"""Lines on the wire: framed, checked, and refused with a reason."""

import pytest
from crccheck.crc import Crc16Ibm3740

from lander import wire

GOOD = "17 step uptime_ds=1200 contact_wet=1"


def test_a_frame_ends_in_the_checksum_of_all_before_the_star():
    assert wire.frame(GOOD) == "%s*%04X" % (GOOD, Crc16Ibm3740.calc(GOOD.encode()))


def test_the_example_of_the_docstring_is_true():
    assert wire.frame("17 step uptime_ds=1200 contact_wet=1") in wire.__doc__


@pytest.mark.parametrize("text", [GOOD, "", "1 x", "a*b", "0 no line too long: at most 200 bytes"])
def test_what_was_framed_comes_back(text):
    assert wire.unframe(wire.frame(text)) == text


def test_small_letters_of_a_checksum_and_typed_lines_pass():
    framed = wire.frame(GOOD)
    assert wire.unframe(framed[:-4] + framed[-4:].lower()) == GOOD
    assert wire.unframe(GOOD + "*typed") == GOOD


@pytest.mark.parametrize("line", [
    GOOD, "", "*", GOOD + "*", GOOD + "*12", GOOD + "*12345", GOOD + "*0000", GOOD + "*Typed", wire.frame(GOOD)[:-1],
    wire.frame(GOOD)[1:], wire.frame(GOOD) + " ", "x" * 300, wire.frame("1 " + "x" * 200)])
def test_a_line_that_is_not_whole_is_refused(line):
    with pytest.raises(wire.WireError):
        wire.unframe(line)


@pytest.mark.parametrize("at", range(len(wire.frame(GOOD)) - 5))
def test_a_changed_character_is_noticed(at):
    framed = wire.frame(GOOD)
    changed = framed[:at] + chr(ord(framed[at]) ^ 1) + framed[at + 1:]
    with pytest.raises(wire.WireError):
        wire.unframe(changed)


def test_the_longest_line_passes_and_one_more_does_not():
    longest = "1 " + "x" * (wire.LINE_MAX - 7)
    assert len(wire.frame(longest)) == wire.LINE_MAX
    assert wire.unframe(wire.frame(longest)) == longest
    with pytest.raises(wire.WireError, match="line too long: at most 200 bytes"):
        wire.unframe(wire.frame(longest + "x"))


def test_words_are_number_verb_and_pairs():
    assert wire.words(GOOD) == (17, "step", {"uptime_ds": "1200", "contact_wet": "1"})
    assert wire.words("  3   bye ") == (3, "bye", {})


@pytest.mark.parametrize("text", ["", "bye", "x bye", "-1 bye", "1", "1234567890 bye", "1 set a", "1 set =1",
                                  "1 set a=1 a=2", "1.5 bye"])
def test_words_that_are_none_are_refused(text):
    with pytest.raises(wire.WireError, match="want"):
        wire.words(text)


@pytest.mark.parametrize("value, number", [("0", 0), ("-5", -5), ("10", 10), ("007", 7)])
def test_an_integer_in_its_range_is_read(value, number):
    assert wire.integer("key", value, -5, 10) == number


@pytest.mark.parametrize("value", ["", "-", "--1", "+1", "1.0", "1e3", "0x1", " 1", "11", "-6", "99999999999", "one"])
def test_any_other_integer_is_refused_with_its_range(value):
    with pytest.raises(wire.WireError, match="allowed is -5 to 10"):
        wire.integer("key", value, -5, 10)


@pytest.mark.parametrize("text", ["² bye"])
def test_a_digit_of_another_script_is_refused_like_any_other_word(text):
    with pytest.raises(wire.WireError):
        wire.words(text)
