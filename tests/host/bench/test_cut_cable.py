"""Whatever a command does, its cable may be pulled there: it says what was done, and does it all when run again.

What is held are statements of this project: the exit statuses of the help, and that a command may be repeated.
"""

import io
from collections.abc import Iterator

import pytest

from seatrial.practice import PracticeBoard
from tumblehome.bench import link

from .cable import LOST, PULLED, Cable

pytestmark = pytest.mark.long
DONE, NO_CONTROLLER, GONE = 0, 2, 3
POKE = ("poke", "fan", "--seconds", "2")
FIRE = ("poke", "release-backup")
LOAD, PULL, CLEAR = ("load", "PLAN"), ("journal", "pull", "--out", "again"), ("journal", "clear", "first")

# command, the request where the cable is pulled, which of that verb it is, what holds then
CUTS = (
    (("status",), "status", 1, "nothing was changed"),
    (("status",), "clock", 1, "nothing was changed"),
    (("watch", "--seconds", "0"), "see", 2, "nothing was changed"),
    (POKE, "status", 1, "nothing was changed"),
    (POKE, "poke", 1, "nothing was judged; if the fan was on already, it goes off by itself"),
    (POKE, "poked", 1, "the fan goes off by itself within 2.4 s, and nothing was judged"),
    (FIRE, "circuits", 1, "nothing was fired"),
    (FIRE, "ask", 1, "nothing was fired, and what was readied runs out within ten seconds"),
    (FIRE, "see", 1, "the backup release may have been fired; it goes off by itself after 5 s"),
    (LOAD, "plan", 1, "nothing was changed"),
    (LOAD, "orders", 1, "the plan before counts"),
    (LOAD, "orders", 4, "the plan before counts"),
    (LOAD, "keep", 1, "the plan may count, or the one before"),
    (LOAD, "hello", 2, "the plan was kept and not read back"),
    (("journal", "list"), "slot", 1, "nothing was changed"),
    (PULL, "slot", 2, "nothing was written, and nothing was changed on the controller"),
    (PULL, "journal", 2, "nothing was written, and nothing was changed on the controller"),
    (CLEAR, "slot", 1, "nothing was changed"),
    (CLEAR, "clear", 1, "the journal may have been cleared, or not; all of it is in the file"),
    (CLEAR, "hello", 2, "the journal was cleared and not looked at again; all of it is in the file"),
)


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


@pytest.fixture(scope="module")
def board(micropython) -> Iterator[PracticeBoard]:
    with PracticeBoard(speed=20.0, tcp_port=0) as made:
        yield made


@pytest.fixture
def bench(run, monkeypatch, plan_file):
    """Runs a command of the bench at this port, with somebody who types `fire`."""
    monkeypatch.setattr(link, "SILENT_S", 1.2)
    monkeypatch.setattr(link, "RESTART_S", 4.0)
    monkeypatch.setitem(link.PATIENCE_S, "clear", 10.0)
    monkeypatch.setitem(link.PATIENCE_S, "keep", 4.0)

    def run_it(command, url, level_pct=70):
        monkeypatch.setattr("sys.stdin", Terminal("fire\n"))
        words = [str(plan_file(level_pct)) if word == "PLAN" else word for word in command]
        return run("bench", *words, "--port", url)
    return run_it


CASES = [(place, PULLED, *cut) for place, cut in enumerate(CUTS)]
CASES += [(place, LOST, *cut) for place, cut in enumerate(CUTS) if cut[1] in ("poke", "ask", "keep", "clear", "journal")]


@pytest.mark.parametrize(("place", "how", "command", "verb", "nth", "holds"), CASES, ids=[
    "%s, %s at %s %d" % (" ".join(case[2][:2]), case[1], case[3], case[4]) for case in CASES])
def test_a_cable_that_is_pulled_is_told_and_the_same_command_does_it_all(bench, board, place, how, command, verb, nth,
                                                                        holds, tmp_path):
    level_pct = 10 + 2 * place + (how == LOST)  # a plan that is not on the board yet
    if command == CLEAR:
        assert bench(("journal", "pull", "--out", "first"), board.url).status == DONE
    with Cable(board.url, verb, nth, how) as cable:
        said = bench(command, cable.url, level_pct)
        assert cable.is_cut, said
    assert said.status == GONE, said
    last = said.err.splitlines()[-1]
    assert holds in last and last.endswith("run the same command again")
    assert not (tmp_path / "again").exists()
    again = bench(command, board.url, level_pct)
    assert again.status == DONE, again


@pytest.mark.parametrize("how", [PULLED, LOST])
def test_a_controller_that_is_gone_before_it_has_said_hello_is_no_controller(bench, board, how):
    with Cable(board.url, "hello", 1, how) as cable:
        said = bench(("status",), cable.url)
    assert said.status == NO_CONTROLLER and said.err.count("\n") == 1


def test_a_plan_whose_answer_was_lost_is_found_there_and_is_not_written_twice(bench, board):
    with Cable(board.url, "keep", 1, LOST) as cable:
        assert bench(LOAD, cable.url, 65).status == GONE
    again = bench(LOAD, board.url, 65)
    assert again.status == DONE and "was there already" in again.out
