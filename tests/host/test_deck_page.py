"""The page of a check on deck: on one sheet, with no script, and whatever somebody typed stays text."""

import re
from datetime import timedelta
from functools import cache

import pytest

from tumblehome.deck.conduct import Conducted
from tumblehome.deck.judging import judged
from tumblehome.deck.page import deck_page
from tumblehome.deck.record import account_of, written
from tumblehome.wording import CAUTIONS

from .pages_for_tests import NASTY, Reader
from .test_deck_checks import NOW, clock, sound

DIGEST = "0123456789abcdef" * 4
NOTES = [{"utc": "2027-05-18T06:20:00.000Z", "verb": "hello", "pairs": {}, "answer": {"lander": "0.1.0"}},
         {"utc": "2027-05-18T06:20:01.000Z", "verb": "poke", "pairs": {"output": "lights"}, "refused": "busy: fan is on"}]
OFF = {"clocks": [clock(0, off_s=30), clock(15, off_s=30)]}


def account(by="A. Person", accepted=None, **changes):
    read = sound(**changes)
    items = judged(read, accepted or {}, with_arming=True)
    return account_of(Conducted(read, items, NOTES, NOW + timedelta(minutes=2), True), by, list(CAUTIONS.values()))


def page(**given):
    return deck_page(account(**given), DIGEST)


@cache
def plain():
    """The page of a lander that may go, made once for all tests that only read it."""
    return page()


def test_the_first_thing_after_the_name_is_the_verdict_and_the_hash_of_the_record_is_on_it():
    words = Reader(plain()).text
    assert words.index("GO") < words.index("What was checked") < words.index(DIGEST)
    assert "Lander is armed" in words and "B76B 73BF" in words


def test_a_no_go_says_why_before_anything_else():
    words = Reader(page(**OFF)).text
    assert words.index("NO-GO") < words.index("clock: the clock is off") < words.index("What was checked")


def test_what_was_accepted_stands_there_with_its_reason_and_the_name():
    words = Reader(page(accepted={"clock": "set to the ship's time"}, **OFF)).text
    assert "NO-GO" not in words
    assert words.index("GO") < words.index("Accepted by A. Person") < words.index("the clock is off") < words.index(
        "set to the ship's time") < words.index("What was checked")


def test_every_request_stands_there_with_its_answer_or_its_refusal():
    words = Reader(plain()).text
    assert "06:20:00.000" in words and "lander=0.1.0" in words and "no: busy: fan is on" in words


def test_a_practice_board_is_told_from_a_lander():
    from seatrial.practice import CHIP

    assert "practice board" in Reader(page(greeting={**sound().greeting, "id": CHIP})).text
    assert "practice board" not in Reader(plain()).text


def test_the_same_record_has_the_same_bytes():
    assert written(account()) == written(account())


def test_the_page_has_no_script_and_a_hostile_string_stays_text():
    hostile = {**sound().greeting, "id": NASTY, "board": NASTY}
    made = page(by=NASTY, accepted={"clock": NASTY}, greeting=hostile, **OFF)
    assert "<script" not in plain() and "script-src" not in plain()
    assert NASTY not in made and NASTY in Reader(made).text


@pytest.mark.parametrize("given", [{}, OFF, {"accepted": {"clock": "set to the ship's time"}, **OFF}],
                         ids=["go", "no-go", "accepted"])
def test_it_prints_to_one_page_of_a4(given, browser):
    paper = browser.printed(page(**given))
    assert len(re.findall(rb"/Type\s*/Page\b(?!s)", paper)) == 1  # ISO 32000-1, 7.7.3.3
