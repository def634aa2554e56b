"""What the tool asks a person at a terminal, and what Ctrl-C leaves behind: typed on a pseudo-terminal, as a person does.

The boards are practice boards, in real MicroPython; whether something moved is read from their electronics, not from
what the tool says. 130 is 128 and the number of SIGINT, as POSIX shells have it.
"""

import signal
import sys
import time
from collections.abc import Callable, Iterator

import pytest

from lander.table import ARMED, SAFE
from seatrial.practice import PracticeBoard
from tumblehome.bench.link import Link
from tumblehome.deck.asking import AFTER, BY_ITEM

from .keyboard import CTRL_C, Keyboard

pytestmark = [pytest.mark.usefixtures("micropython"),
              pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminals here")]
FAST = 8.0
PATIENCE_S = 60.0
STOPPED = 128 + signal.SIGINT
# Its time goes faster than this machine's, so that its clock is off, which somebody accepts.
CHECK = ("deck", "--splash", "2027-05-18T06:30Z", "--by", "A. Person", "--out", "check",
         "--accept", "clock=a practice board in quick motion")
BEFORE = [item for item in BY_ITEM if item not in AFTER]


class Fired(PracticeBoard):
    """Notes the channels that its mission has driven."""

    def __init__(self, *given, **named) -> None:
        super().__init__(*given, **named)
        self.driven: set[str] = set()

    def _take_stepped(self, *pairs: bytes) -> None:
        super()._take_stepped(*pairs)
        self.driven |= {name for name in ("release_primary_pct", "release_backup_pct") if self.wanted.get(name)}


@pytest.fixture
def board() -> Iterator[Fired]:
    with Fired(speed=FAST, tcp_port=0) as made:
        assert comes(lambda: bool(made.wanted))
        yield made


@pytest.fixture
def at_terminal(tmp_path) -> Iterator[Callable[..., Keyboard]]:
    """Starts the tool at a terminal; all of them end with the test."""
    made: list[Keyboard] = []

    def start(*words: object) -> Keyboard:
        made.append(Keyboard(tmp_path, *words, speed=FAST))
        return made[-1]
    yield start
    for one in made:
        one.__exit__()


def comes(holds: Callable[[], bool]) -> bool:
    """Whether it comes so in time."""
    end_s = time.monotonic() + PATIENCE_S
    while not holds():
        if time.monotonic() > end_s:
            return False
        time.sleep(0.02)
    return True


def state_of(board: PracticeBoard) -> str:
    with Link(board.url, PATIENCE_S) as there:
        return there.status()["state"]


def yes_to(items) -> list[str]:
    return ["--answer=%s=yes" % item for item in items]


# --- the check on deck --------------------------------------------------------------------------------------------------


@pytest.mark.long
def test_the_questions_of_the_check_take_y_and_n_and_ask_again_what_they_do_not_understand(board, at_terminal):
    person = at_terminal(*CHECK, "--port", board.url)
    person.answer("on for seconds? [y/n] ", "perhaps")
    person.answer("on for seconds? [y/n] ", "y")
    person.answer("show the plan", "Y")
    person.answer("room for", "yes")
    person.answer("corroding link fitted", "y")
    person.answer("lines clear", "n")
    person.answer("second board", "y")
    assert person.ended() == 1
    assert person.screen.rstrip().endswith("NO-GO") and "NO-GO  line: " in person.screen
    assert state_of(board) == "safe"


@pytest.mark.long
def test_a_person_who_answers_everything_with_y_arms_the_lander(board, at_terminal):
    person = at_terminal(*CHECK, *yes_to(BEFORE), "--port", board.url)
    person.answer("blink twice every two seconds? [y/n] ", "y")
    person.answer("plug off the wire", "y")
    assert person.ended() == 0
    assert person.screen.rstrip().endswith("\nGO") and "The lander is ARMED" in person.screen
    assert state_of(board) == "armed"


@pytest.mark.long
def test_a_check_that_is_stopped_at_its_first_question_has_moved_nothing(board, at_terminal):
    person = at_terminal(*CHECK, "--port", board.url)
    person.wait_for_question("on for seconds? [y/n] ")
    person.type(CTRL_C)
    assert person.ended() == STOPPED
    assert "stopped: nothing was changed, and the lander is not armed by this check" in person.screen
    assert state_of(board) == "safe" and board.world.camera.recorded_s == 0.0


@pytest.mark.long
def test_a_check_that_is_stopped_in_its_self_test_leaves_the_lander_safe(board, at_terminal):
    person = at_terminal(*CHECK, *yes_to(BY_ITEM), "--port", board.url)
    assert comes(lambda: board.wanted.get("self_test", 0) != 0)
    person.type(CTRL_C)
    assert person.ended() == STOPPED
    assert "that was called off, and it is safe: the lander is not armed" in person.screen
    assert board.wanted["state"] == SAFE and comes(lambda: not board.wanted["self_test"])
    assert state_of(board) == "safe"


@pytest.mark.long
def test_a_check_that_is_stopped_when_it_has_armed_disarms_again(board, at_terminal):
    person = at_terminal(*CHECK, *yes_to(BEFORE), "--port", board.url)
    person.wait_for_question("blink twice every two seconds? [y/n] ")
    assert board.wanted["state"] == ARMED
    person.type(CTRL_C)
    assert person.ended() == STOPPED
    assert "that was called off, and it is safe: the lander is not armed" in person.screen
    assert state_of(board) == "safe"


@pytest.mark.long
def test_a_check_that_is_stopped_with_its_cable_pulled_says_that_it_may_be_armed(board, at_terminal):
    person = at_terminal(*CHECK, *yes_to(BEFORE), "--port", board.url)
    person.wait_for_question("blink twice every two seconds? [y/n] ")
    board.unplug()
    person.type(CTRL_C)
    assert person.ended() == STOPPED
    assert "stopped: it was asked to arm and may be armed: look at the status lamp" in person.screen
    assert board.wanted["state"] == ARMED


# --- a release on the bench ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("channel", "output"), [
    ("release-primary", "release_primary_pct"),
    pytest.param("release-backup", "release_backup_pct", marks=pytest.mark.long)])
def test_a_release_is_fired_by_the_typed_word_and_no_other_one(channel, output, board, at_terminal):
    person = at_terminal("bench", "poke", channel, "--port", board.url)
    person.answer("anything else to leave it: ", "fire it")
    assert person.ended() == 1 and "nothing was fired" in person.screen
    assert board.driven == set()
    person = at_terminal("bench", "poke", channel, "--port", board.url)
    cautions = person.wait_for("anything else to leave it: ")
    assert "stand clear of the ballast" in cautions and board.driven == set()
    person.type("fire\n")
    assert person.ended() == 0 and "drew" in person.screen
    assert board.driven == {output}


def test_a_release_that_is_left_by_ctrl_c_is_not_fired(board, at_terminal):
    person = at_terminal("bench", "poke", "release-primary", "--port", board.url)
    person.wait_for_question("anything else to leave it: ")
    person.type(CTRL_C)
    assert person.ended() == STOPPED and "stopped: nothing was fired" in person.screen
    assert board.driven == set()


def test_a_release_that_is_fired_when_ctrl_c_comes_is_told_and_goes_off_by_itself(board, at_terminal):
    person = at_terminal("bench", "poke", "release-primary", "--port", board.url)
    person.answer("anything else to leave it: ", "fire")
    assert comes(lambda: bool(board.driven))
    person.type(CTRL_C)
    assert person.ended() == STOPPED and "may have been fired; it goes off by itself after 5 s" in person.screen
    assert comes(lambda: not board.wanted["release_primary_pct"])


def test_a_sequence_whose_question_is_answered_with_n_fires_nothing(board, at_terminal):
    person = at_terminal("bench", "run", "release-primary", "--port", board.url)
    person.answer("Done? [y/N]", "n")
    assert person.ended() == 1 and "answered no" in person.screen
    assert board.driven == set()


# --- a dive whose outputs are live ------------------------------------------------------------------------------------


def test_a_live_dive_shows_its_cautions_and_sends_nothing_without_its_word(board, at_terminal):
    heard = board.requests
    said = len(board.said)
    person = at_terminal("bench", "dive", "--live", "--port", board.url)
    cautions = person.wait_for("reach the pins: ")
    for danger in ("stand clear of the ballast", "against eyes", "Lithium", "hydrogen"):
        assert danger in cautions
    person.type("yes\n")
    assert person.ended() == 2 and "not confirmed: nothing was sent" in person.screen
    assert len(board.said) == said and board.requests >= heard and board.starts == 1


@pytest.mark.long
def test_a_live_dive_that_is_stopped_says_how_far_it_came_and_the_board_starts_anew_with_all_off(board, at_terminal):
    person = at_terminal("bench", "dive", "--live", "--port", board.url)
    person.answer("reach the pins: ", "live")
    assert comes(lambda: board.electronics.levels()["camera_supply"] > 0)  # as in the self-test before the dive
    person.type(CTRL_C)
    assert person.ended() == STOPPED
    assert "steps of the dive were flown" in person.screen and "it lets its releases go within" in person.screen
    assert comes(lambda: board.starts == 2 and board.wanted.get("state") == SAFE)
    assert not any(board.electronics.levels().values()) and board.driven == set()
    assert state_of(board) == "safe"
