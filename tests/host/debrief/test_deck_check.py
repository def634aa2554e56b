"""A dive beside the check on deck before it: another lander is refused, another plan or journal is named.

One check is a real one, of a practice board that then is in the water (by a hose at its sensor and a wet contact) and
taken up again; for the others the record is written by hand. The checksum of the newest record is held against crccheck's CRC-16/IBM-3740, as the journal's format names it.
"""

import json
from collections.abc import Callable

import pytest
from crccheck.crc import Crc16Ibm3740

from lander import VERSION
from lander.journal import CRC_AT, RECORD_BYTES
from seatrial.dive import Dive
from seatrial.plan import load_sample
from seatrial.practice import PracticeBoard
from seatrial.scenario import plan_hash
from tumblehome.debrief import deck_check, log, recover
from tumblehome.debrief.log import LogError
from tumblehome.deck import command
from tumblehome.deck.asking import BY_ITEM
from tumblehome.deck.reading import sha256

from ..deck_watch import BEGAN, PATIENCE_S, DeckWatch

PLAN = load_sample()
CHIP = "00e0c912d0"


@pytest.fixture(scope="module")
def image() -> bytes:
    return Dive(PLAN, [], 1, keep_series=False).run().journal


@pytest.fixture(scope="module")
def told(image) -> log.Log:
    return log.parse(image, "here", CHIP)


@pytest.fixture
def record(image) -> dict:
    """As `tumblehome.deck.record` writes it, of the controller whose journal this is; its newest record is the third."""
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


def test_whatever_is_another_says_what_that_means_and_the_way_out(told, record):
    record["hashes"]["journal"].update(newest_crc="0000")
    rows = by_words(deck_check.compare(told, PLAN, record))
    assert "a rehearsal's, another board's" in rows["newest record at the check"].way_out
    assert all(row.way_out for name, row in rows.items() if name != "chip of the controller")  # that one is refused


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


# --- a real one -----------------------------------------------------------------------------------------------------------


def taken_down_and_up(board: PracticeBoard, wait: Callable[[float], None]) -> None:
    """Forty metres down, three minutes there, up at a metre a second, onto the deck; then the gesture that ends it."""
    board.set(contact_wet=1, pressure_mbar=2000)
    wait(20)
    board.set(pressure_mbar=5000)
    wait(180)
    for mbar in range(5000, 1100, -200):
        board.set(pressure_mbar=mbar)
        wait(2)
    board.set(contact_wet=0, pressure_mbar=None)
    wait(60)
    board.set(magnet=1)
    wait(8)
    board.set(magnet=0)
    wait(10)


@pytest.mark.long
def test_the_journal_of_a_board_that_was_checked_on_deck_is_debriefed_with_that_check(micropython, run, monkeypatch):
    monkeypatch.setattr("tumblehome.bench.link.SILENT_S", PATIENCE_S / 4)
    with PracticeBoard(speed=20.0, tcp_port=0, clock=BEGAN) as board:
        watch = DeckWatch(board)
        monkeypatch.setattr(command, "Watch", lambda: watch)
        done = run("deck", "--port", board.url, "--splash=2027-05-18T06:30Z",
                   *("--answer=%s=yes" % item for item in BY_ITEM), "--out", "check")
        assert done.status == 0, done.out + done.err
        taken_down_and_up(board, watch.wait)
        assert run("bench", "journal", "pull", "--port", board.url, "--out", "dive").status == 0
    told = json.loads(run("debrief", "dive", "--deck", "check/deck.json", "--json").out)
    assert {row["words"]: row["same"] for row in told["deck"]} == dict.fromkeys(
        [row["words"] for row in told["deck"]], True) and len(told["deck"]) == 8
    assert told["plan_from"] == "the check on deck, check/deck.json" and told["outcome"]["end"] == "hauled back"
    # a real board's thermometers have no answer yet as it starts, and its magnet ends the dive: neither is a fault
    assert {kind for cause in told["causes"] for kind in cause["kinds"]} & {"temperature-unread", "magnet-brushed"} == set()
    assert all(cause["certainty"] != "established" for cause in told["causes"])
