"""A dive beside the check on deck before it: another lander is refused, another plan or journal is named.

The checksum of the newest record is held against crccheck's CRC-16/IBM-3740, as the journal's format names it.
"""

import json

import pytest
from crccheck.crc import Crc16Ibm3740

from lander import VERSION
from lander.journal import CRC_AT, RECORD_BYTES
from seatrial.dive import Dive
from seatrial.plan import load_sample
from seatrial.scenario import plan_hash
from tumblehome.debrief import deck_check, log, recover
from tumblehome.debrief.log import LogError
from tumblehome.deck.reading import sha256

PLAN = load_sample()
CHIP = "00e0c912d0"


@pytest.fixture(scope="module")
def told() -> log.Log:
    return log.parse(Dive(PLAN, [], 1, keep_series=False).run().journal, "here", CHIP)


@pytest.fixture
def record(told) -> dict:
    """As `tumblehome.deck.record` writes it, of the controller whose journal this is; its newest record is the third."""
    image = Dive(PLAN, [], 1, keep_series=False).run().journal
    third = image[2 * RECORD_BYTES:2 * RECORD_BYTES + CRC_AT]
    return {
        "kind": "check on deck", "form": 1, "version": VERSION, "verdict": "GO", "armed": True, "board": {"id": CHIP},
        "plan": {"numbers_hash": plan_hash(PLAN)},
        "hashes": {"plan_on_board_sha256": sha256(PLAN.mission_record()), "firmware_digest": "ab", "firmware_expected":
                   "ab", "journal": {"newest": 2, "newest_crc": "%04X" % Crc16Ibm3740.calc(third)}},
        "readings": [{"verb": "see", "answer": {"supply_mv": 16690, "lights_pct": 0}},
                     {"verb": "see", "answer": {"supply_mv": 15900, "lights_pct": 70}}]}


def by_words(rows: list[deck_check.Agreed]) -> dict[str, deck_check.Agreed]:
    return {row.words: row for row in rows}


def test_a_dive_of_the_lander_that_was_checked_agrees_in_everything(told, record):
    assert {row.words: row.same for row in deck_check.compare(told, PLAN, record)} == dict.fromkeys(
        [row.words for row in deck_check.compare(told, PLAN, record)], True)


def test_another_lander_is_refused_with_both_chips_in_one_sentence(told, record):
    record["board"]["id"] = "ffff"
    with pytest.raises(LogError) as refused:
        deck_check.compare(told, PLAN, record)
    assert CHIP in str(refused.value) and "ffff" in str(refused.value) and "another lander" in str(refused.value)


@pytest.mark.parametrize(("words", "change"), [
    ("mission record of the plan", lambda record: record["hashes"].update(plan_on_board_sha256="0" * 64)),
    ("firmware, as expected", lambda record: record["hashes"].update(firmware_digest="cd")),
    ("version of the tool", lambda record: record.update(version="0.0.0")),
    ("verdict and arming", lambda record: record.update(armed=False)),
    ("newest record at the check", lambda record: record["hashes"]["journal"].update(newest_crc="0000")),
    ("newest record at the check", lambda record: record["hashes"]["journal"].update(newest=999999)),
    ("supply at rest, mV", lambda record: record["readings"][0]["answer"].update(supply_mv=15000)),
])
def test_what_is_another_than_at_the_check_is_named_and_nothing_else(told, record, words, change):
    change(record)
    assert {row.words for row in deck_check.compare(told, PLAN, record) if not row.same} == {words}


def test_another_plan_than_the_one_that_was_checked_is_named(told, record):
    plan = recover.with_values(PLAN, {"times.timed_release_min": 200.0})
    rows = by_words(deck_check.compare(told, plan, record))
    assert rows["numbers of the plan"].same is False and rows["mission record of the plan"].same is False


def test_what_the_check_did_not_write_down_is_neither_the_same_nor_another(told):
    rows = deck_check.compare(told, PLAN, {"kind": "check on deck", "form": 1})
    assert by_words(rows)["numbers of the plan"].same is None and by_words(rows)["supply at rest, mV"].same is None


@pytest.mark.parametrize(("content", "says"), [
    ("not json", "is no record of a check on deck"), ("[1, 2]", "is no record of a check on deck"),
    (json.dumps({"kind": "another thing"}), "is no record of a check on deck"),
    (json.dumps({"kind": "check on deck", "form": 7}), "form 7"), (None, "cannot be read")])
def test_a_file_that_is_no_record_of_a_check_is_refused_in_one_sentence(tmp_path, content, says):
    path = tmp_path / "deck.json"
    if content is not None:
        path.write_text(content)
    with pytest.raises(LogError, match=says):
        deck_check.read(path)


def test_a_record_comes_back_from_its_file_as_it_was_written(tmp_path, record):
    (tmp_path / "deck.json").write_text(json.dumps(record))
    assert deck_check.read(tmp_path / "deck.json") == record
