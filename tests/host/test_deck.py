"""`tumblehome deck` at practice boards: what was built wrong is found and named, what is sound is armed.

The boards are real MicroPython with the whole code of a board; what is wrong with them is wrong in their circuits, on
their flash or in their files (`seatrial.miswirings`), not in their answers. Time goes faster than on the wall, and the
check has a watch that goes with it.
"""

import hashlib
import json
import time
from collections.abc import Callable, Iterator

import pytest

from lander import journal
from seatrial.miswirings import MISWIRINGS
from seatrial.plan import load_sample
from seatrial.practice import PracticeBoard
from tumblehome.bench import link
from tumblehome.bench.link import Gone, Link
from tumblehome.deck import command
from tumblehome.deck.asking import BY_ITEM, Asking
from tumblehome.deck.conduct import Conducted, conduct
from tumblehome.deck.judging import reasons

from .deck_watch import BEGAN, PATIENCE_S, DeckWatch

pytestmark = pytest.mark.usefixtures("micropython")
FAST = 12.0
GONE_S = 5.0  # longer than in the tool: a machine that is busy with other tests is slow to answer
PLAN = load_sample()
ALL_YES = dict.fromkeys(BY_ITEM, True)
SPLASH = "--splash=2027-05-18T06:30Z"
YES = ["--answer=%s=yes" % item for item in BY_ITEM]

# Which part each of the boards that were built wrong has wrong, in the words that a person reads.
NAMED = {
    "channels-swapped": ("release-primary", "primary and backup have been swapped"),
    "camera-dead": ("camera", "the camera, its supply, its buttons and its cable"),
    "pressure-frozen": ("pressure-moves", "the sensor is frozen"),
    "supply-wrong": ("current", "its shunt is another one"),
    "leak-stuck": ("leak", "the leak probe says water inside"),
    "clock-stopped": ("clock", "its crystal has stopped"),
    "lamp-on": ("lamp-off", "a lamp is lit though all outputs are off"),
    "store-read-only": ("journal-writes", "the journal's memory takes no write"),
    "plan-damaged": ("plan", "the plan on the board is damaged"),
    "firmware-wrong": ("firmware", "the firmware is version 0.0.1"),
}
# What follows from it and is told as well.
FOLLOWS = {"camera-dead": {"arming"}, "store-read-only": {"journal-room"}, "plan-damaged": {"plan-copies"}}


@pytest.fixture(autouse=True)
def _patience(monkeypatch) -> None:
    """A machine that is busy with other tests is no controller that is gone."""
    monkeypatch.setattr(link, "SILENT_S", PATIENCE_S / 4)


@pytest.fixture
def practised() -> Iterator[Callable[..., PracticeBoard]]:
    """Makes practice boards; all of them end with the test."""
    made: list[PracticeBoard] = []

    def make(*wrong: str, **options) -> PracticeBoard:
        board = PracticeBoard(wrong=wrong, speed=FAST, tcp_port=0, clock=BEGAN, **options)
        made.append(board.__enter__())
        end_s = time.monotonic() + PATIENCE_S
        while not board.wanted and time.monotonic() < end_s:  # it has stepped: whoever says hello now is heard
            time.sleep(0.02)
        return board
    yield make
    for board in made:
        board.__exit__(None, None, None)


def check(board: PracticeBoard, accepted=None, answers=None, tell=lambda _said: None) -> Conducted:
    given = ALL_YES if answers is None else answers
    with Link(board.url, PATIENCE_S) as there:
        return conduct(there, PLAN, PLAN.dive.splash_utc, Asking(PLAN, given, lambda _words: None), accepted or {},
                       DeckWatch(board), tell)


def state_of(board: PracticeBoard) -> str:
    with Link(board.url, PATIENCE_S) as there:
        return there.status()["state"]


def asked(done: Conducted) -> set[str]:
    return {note["verb"] for note in done.notes}


# --- the boards that were built wrong -----------------------------------------------------------------------------------


def test_every_board_that_was_built_wrong_has_its_part_here():
    assert set(NAMED) == set(MISWIRINGS)


@pytest.mark.parametrize("wrong", sorted(NAMED))
def test_a_board_that_was_built_wrong_is_no_go_and_the_part_is_named(wrong, practised):
    board = practised(wrong)
    done = check(board)
    item, words = NAMED[wrong]
    assert {each.item.key for each in done.items if each.finding.ok is False} == {item} | FOLLOWS.get(wrong, set())
    assert any(reason.startswith(item + ": ") and words in reason for reason in reasons(done.items))
    assert not done.is_go and not done.is_armed and state_of(board) == "safe"


# --- what is sound ------------------------------------------------------------------------------------------------------


def test_a_sound_lander_is_armed_and_its_lamp_shows_it(practised):
    board = practised()
    done = check(board)
    assert done.is_go and done.is_armed and state_of(board) == "armed"
    assert done.read.armed["passed"] == 31 and not done.read.armed["anyway"]
    assert done.read.is_practice and {"circuits", "poke", "poked", "ask"} <= asked(done)
    again = check(board)
    assert not again.is_go and reasons(again.items)[0].startswith("state: it is armed")
    assert asked(again) & {"poke", "circuits", "ask"} == set() and state_of(board) == "armed"


def test_nothing_moves_where_nobody_has_said_that_everybody_is_clear(practised):
    board = practised()
    done = check(board, answers={**ALL_YES, "clear": False})
    assert not done.is_go and asked(done) & {"poke", "circuits", "ask"} == set()
    assert "nothing was moved" in next(each.finding.found for each in done.items if each.item.key == "lights")


@pytest.mark.long
def test_a_lamp_that_does_not_show_armed_makes_it_safe_again(practised):
    board = practised()
    done = check(board, answers={**ALL_YES, "status-lamp": False})
    assert done.read.armed["state"] == "armed"
    assert not done.is_go and not done.is_armed and state_of(board) == "safe"


@pytest.mark.long
def test_an_accepted_camera_is_armed_past_and_the_journal_keeps_that(practised):
    board = practised("camera-dead")
    done = check(board, accepted={"camera": "no footage wanted, the mooring is to be found"})
    assert done.is_go and done.is_armed and done.read.armed["anyway"]
    with Link(board.url, PATIENCE_S) as there:
        events = [journal.fields(record) for record in there.journal()]
    assert any(event["code"] == journal.E_ARMED_ANYWAY for event in events)


@pytest.mark.long
def test_a_self_test_that_was_passed_over_leaves_the_camera_to_be_accepted_too(practised):
    board = practised("clock-stopped")
    done = check(board, accepted={"clock": "it counts by itself, nobody needs the time"})
    assert not done.is_go and not done.is_armed and state_of(board) == "safe"
    assert reasons(done.items)[0].startswith("camera: the self-test did not come to the camera")


@pytest.mark.long
def test_two_open_releases_are_no_go_whatever_anybody_accepts(practised):
    board = practised()
    with board.lock:
        board.world.primary.circuit = board.world.backup.circuit = "open"
        board.electronics.draw()
    done = check(board, accepted={"release-primary": "it will be fine", "release-backup": "it will be fine"})
    assert not done.is_go and not done.is_armed and "ask" not in asked(done)
    assert sum("nobody can accept this" in reason for reason in reasons(done.items)) == 2


# --- a controller that goes away ----------------------------------------------------------------------------------------


@pytest.mark.long
@pytest.mark.parametrize(("moment", "so_far"), [
    ("journal", "the lander is not armed"), ("lamps", "go off by themselves"), ("arming", "may be armed")])
def test_a_cable_that_is_pulled_is_told_with_what_was_done(moment, so_far, practised, monkeypatch):
    monkeypatch.setattr(link, "SILENT_S", GONE_S)
    board = practised()

    def pull(said: str) -> None:
        if said.startswith(moment):
            board.unplug()
    with pytest.raises(Gone, match=so_far):
        check(board, tell=pull)


# --- the command --------------------------------------------------------------------------------------------------------


@pytest.fixture
def deck(run, monkeypatch) -> Callable:
    """Runs `tumblehome deck` at a practice board, on a watch that goes with it."""
    def run_at(board: PracticeBoard, *words: str):
        monkeypatch.setattr(command, "Watch", lambda: DeckWatch(board))
        return run("deck", "--port", board.url, *words)
    return run_at


def test_go_is_said_large_and_the_record_is_signed_off_by_its_hash(deck, practised, tmp_path):
    said = deck(practised(), SPLASH, *YES, "--by", "A. Person", "--out", "check")
    assert said.status == 0 and said.out.splitlines()[-1] == "GO" and "ARMED" in said.out
    data = (tmp_path / "check" / "deck.json").read_bytes()
    digest = hashlib.sha256(data).hexdigest()  # FIPS 180-4, by the standard library
    page = (tmp_path / "check" / "deck.html").read_text(encoding="utf-8")
    assert digest in said.out and digest in page
    record = json.loads(data)
    assert (record["verdict"], record["armed"], record["by"], record["practice_board"]) == ("GO", True, "A. Person", True)
    assert record["hashes"]["plan_on_board_sha256"] == hashlib.sha256(PLAN.mission_record()).hexdigest()
    assert all(note["utc"].endswith("Z") for note in record["readings"]) and len(record["readings"]) > 20
    assert "practice board" in page and "<script" not in page


@pytest.mark.long
def test_without_answers_and_with_nobody_at_a_terminal_it_is_no_go_by_name(deck, practised):
    said = deck(practised(), SPLASH)
    assert said.status == 1 and said.out.splitlines()[-1] == "NO-GO"
    assert "clear: " in said.out and "Not answered" in said.out and "not armed" in said.out


def test_what_is_accepted_stands_in_the_record_with_reason_and_name(deck, practised, tmp_path):
    said = deck(practised("clock-stopped"), SPLASH, *YES, "--by", "A. Person", "--out", "check",
                "--accept", "clock=it counts by itself, nobody needs the time",
                "--accept", "camera=seen to record by hand: what stops the self-test is the clock")
    assert said.status == 0 and said.out.splitlines()[-1] == "GO"
    record = json.loads((tmp_path / "check" / "deck.json").read_text(encoding="utf-8"))
    item = next(item for item in record["items"] if item["key"] == "clock")
    assert item["word"] == "accepted" and item["accepted_because"] == "it counts by itself, nobody needs the time"
    assert record["by"] == "A. Person" and record["arming"]["anyway"]


def test_a_controller_that_is_gone_in_the_middle_ends_with_its_own_status(deck, practised, monkeypatch):
    monkeypatch.setattr(link, "SILENT_S", GONE_S)
    board = practised()
    monkeypatch.setattr(command, "_tell", lambda said: board.unplug() if said.startswith("journal") else None)
    said = deck(board, SPLASH, *YES)
    assert said.status == 3 and "gone" in said.err and "not armed" in said.err and "run the same command again" in said.err


@pytest.mark.parametrize(("words", "told"), [
    (("--accept", "clock=no"), "wants the reason in words"),
    (("--accept", "clock=a good long reason"), "--by"),
    (("--accept", "sky=a good long reason", "--by", "A. Person"), "no such item"),
    (("--answer", "sky=yes"), "no question about that"),
    (("--answer", "line=perhaps"), "say line=yes or line=no"),
    (("--splash", "tomorrow"), "date and time in UTC"),
    (("no-such-plan.toml",), "no-such-plan.toml"),
    (("--port", "/dev/no-such-port"), "cannot open"),
])
def test_what_cannot_be_understood_is_told_and_nothing_is_opened(words, told, run):
    said = run("deck", *words)
    assert said.status == 2 and told in said.err.replace("\n", " ")
