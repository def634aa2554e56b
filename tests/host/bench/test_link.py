"""The link to a controller, against a real board's code and against ends that answer amiss.

Checksums of the ends that answer amiss are worked out by `crccheck`, an outside implementation of CRC-16/IBM-3740.
"""

import sys
import threading
import time

import pytest
from crccheck.crc import Crc16Ibm3740

from lander import wire
from lander.signals import INPUTS, OUTPUTS
from seatrial.dive import Dive
from seatrial.plan import load_sample
from seatrial.practice import PracticeBoard
from tumblehome.bench import link as links
from tumblehome.bench.link import Gone, LinkError, Refused, open_link

from .cable import answering
from .conftest import FAST

HELLO = "ok lander=0 wire=%d orders=2 journal=1 board=pico id=01 reset=power" % wire.VERSION


def framed(text: str) -> bytes:
    return ("%s*%04X\r\n" % (text, Crc16Ibm3740.calc(text.encode()))).encode()


class Rote:
    """Says hello as a board does, and to each further request what comes next: text, bytes as they are, or nothing."""

    def __init__(self, *answers: str | bytes | None) -> None:
        self.answers = list(answers)
        self.heard: list[str] = []

    def __call__(self, line: bytes) -> bytes:
        text, _, crc = line.decode().rpartition("*")
        assert int(crc, 16) == Crc16Ibm3740.calc(text.encode())
        number, _, asked = text.partition(" ")
        self.heard.append(asked)
        answer = HELLO if asked == "hello" else self.answers.pop(0)
        if isinstance(answer, str):
            return framed("%s %s" % (number, answer) if answer[:2] in ("ok", "no") else answer)
        return answer or b""


class Wall:
    """The clock on the wall, and what it went on while this machine stood still."""

    away_s = 0.0

    def monotonic(self) -> float:
        return time.monotonic() + self.away_s


@pytest.fixture(autouse=True)
def _quickly(monkeypatch):
    monkeypatch.setattr(links, "SILENT_S", 1.0)


# --- a real board's code ----------------------------------------------------------------------------------------------


def test_it_reads_what_the_board_is_feels_wants_and_has(board):
    with open_link(board.url) as link:
        assert link.greeting["board"] == "pico" and link.status()["state"] == "safe"
        assert set(link.readings()) == {row[0] for row in (*INPUTS, *OUTPUTS)} | {"faults"}
        assert link.plan_record() == load_sample().mission_record()
        seen: list[tuple[int, int]] = []
        records = link.journal(lambda read, whole: seen.append((read, whole)))
        assert records and seen[-1][0] == seen[-1][1] >= len(records)


def test_a_session_flies_steps_on_the_board_and_leaves_it_started_anew(practised):
    board = practised()
    with open_link(board.url) as link:
        session = link.session()
        dive = Dive(load_sample(), body=session, seed=3)
        assert session.boot(dive.world_store, dive.inputs) == 0
        session.step(dive.inputs, dive.outputs)
        assert dive.outputs.record_count > 0
        session.close()
        assert link.come_back()["reset"] == "asked"


def test_a_practice_board_that_is_slow_in_lockstep_is_told_of_and_waited_for(practised, monkeypatch):
    board = practised()
    told = []
    with open_link(board.url) as link:
        link.notice = told.append
        link.session()
        monkeypatch.setattr(links, "SILENT_S", 0.3)
        with board.lock:  # its machine has something else to do
            waiting = threading.Thread(target=link.exchange, args=("boot slots=64",))
            waiting.start()
            waiting.join(1.0)
            assert waiting.is_alive()
        waiting.join(links.PRACTICE_S)
        assert not waiting.is_alive()
    assert told == ["no answer to `boot` yet, while its port is there: that may take 10 s"]


def test_a_session_that_somebody_left_is_ended_for_the_next_person(practised):
    board = practised()
    with open_link(board.url) as link:
        link.session()
    with open_link(board.url) as link:
        assert link.greeting["reset"] == "asked" and link.status()["state"] == "safe"


def test_a_board_that_lost_its_supply_is_gone_and_found_again_by_the_next(practised):
    board = practised()
    with open_link(board.url) as link:
        board.cut_power(40.0)
        with pytest.raises(Gone, match="nothing was changed; put the cable back"):
            link.status()
    with open_link(board.url, within_s=20.0) as link:
        assert link.greeting["reset"] == "power"


@pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminals here")
def test_a_terminal_that_goes_away_is_told_with_its_name(micropython):
    board = PracticeBoard(speed=FAST).__enter__()
    try:
        link = open_link(board.url)
    finally:
        board.close()
    with link, pytest.raises(Gone, match="the controller on %s is gone" % board.url):
        link.status()


# --- ends that answer amiss -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("before", [
    b"boot: 1\r\n", b"\xff\x00\r\n", b"12 ok state=safe*0000\r\n", framed("999999999 ok state=armed"), b"x" * 900 + b"\n",
    framed("7 step x"), b"*\n*typed\n"], ids=["banner", "no text", "wrong sum", "other number", "long", "echo", "stars"])
def test_what_is_no_answer_is_passed_over(before):
    def answer(line: bytes) -> bytes:
        said = Rote("ok state=safe")(line)
        return said if b"hello" in line else before + said
    with answering(answer) as url, open_link(url) as link:
        assert link.status() == {"state": "safe"}


@pytest.mark.parametrize("lost", [None, "0 no wrong checksum"])
def test_a_question_without_an_answer_is_asked_once_more(lost):
    rote = Rote(lost, "ok state=safe")
    with answering(rote) as url, open_link(url) as link:
        assert link.status() == {"state": "safe"}
    assert rote.heard == ["hello", "status", "status"]


@pytest.mark.parametrize("asked", ["ask command=fire", "poke output=fan level=1 ms=50", "keep crc=0000",
                                   "clear newest=1 crc=0000", "clock s=5", "circuits", "session", "live code=0001"])
def test_a_request_that_does_something_is_never_sent_twice(asked, monkeypatch):
    monkeypatch.setattr(links, "PATIENCE_S", {})
    rote = Rote(None, "ok")
    with answering(rote) as url, open_link(url) as link, pytest.raises(Gone):
        link.exchange(asked)
    assert rote.heard == ["hello", asked]


def test_a_request_that_was_disturbed_on_its_way_was_not_done_and_says_so():
    with answering(Rote("0 no wrong checksum")) as url, open_link(url) as link, pytest.raises(
            Refused, match="the line is disturbed, nothing was done"):
        link.ask("ask", command="arm")


def test_a_controller_that_says_nothing_is_told_from_a_port_that_went_away():
    with answering(Rote(None, None)) as url, open_link(url) as link, pytest.raises(
            Gone, match="no answer to `status` within 1.0 s, while its port is still there"):
        link.status()
    with answering(Rote()) as url:
        link = open_link(url)
    with link, pytest.raises(Gone, match="its port went away: "):
        link.status()


def test_what_takes_its_time_is_told_before_it_is_called_gone(monkeypatch):
    monkeypatch.setitem(links.PATIENCE_S, "clear", 1.5)
    told: list[str] = []
    with answering(Rote(None)) as url, open_link(url) as link:
        link.notice = told.append
        with pytest.raises(Gone, match="no answer to `clear` within 1.5 s"):
            link.ask("clear", newest=1, crc="0000")
    assert told == ["no answer to `clear` yet, while its port is there: that may take 2 s"]


def test_while_this_machine_was_away_nobody_was_silent(monkeypatch):
    wall = Wall()
    monkeypatch.setattr(links, "time", wall)
    with answering(Rote("ok state=safe")) as url, open_link(url) as link:
        read = link._port.read

        def come_back_late(count: int) -> bytes:
            wall.away_s += 60.0
            link._port.read = read
            return b""
        link._port.read = come_back_late
        assert link.status() == {"state": "safe"}


def test_a_refusal_carries_the_reason():
    with answering(Rote("no water: a sign of it was read")) as url, open_link(url) as link, pytest.raises(
            Refused) as refused:
        link.ask("poke", output="fan", level=1, ms=50)
    assert refused.value.reason == "water: a sign of it was read"


@pytest.mark.parametrize(("answer", "words"), [
    (b"", "nothing on .* answers"), (framed("1 ok wire=1"), "nothing on .* answers"), (b">>> \r\n", "nothing on")])
def test_a_port_where_nobody_says_hello_is_named(answer, words):
    with answering(lambda _line: answer) as url, pytest.raises(LinkError, match=words):
        open_link(url, within_s=1.0)


def test_another_version_of_the_line_is_told_with_the_way_out():
    def answer(line: bytes) -> bytes:
        return framed("%s ok lander=9 wire=1 board=pico" % line.decode().split()[0])
    with answering(answer) as url, pytest.raises(LinkError, match="speaks wire version 1 .*: flash matching firmware"):
        open_link(url)


@pytest.mark.parametrize(("url", "way"), [
    ("4330", "a socket is written socket://127.0.0.1:4330"),
    ("127.0.0.1:4330", "a socket is written socket://127.0.0.1:4330"),
    ("practice", "name the port that it prints"),
    ("socket://127.0.0.1", "write such as socket://127.0.0.1:4330"),
    ("socket://127.0.0.1:1", "(connection refused): nothing listens there"),
    ("/dev/no-such-port", "(no such file or directory): is it the right port"),
])
def test_a_port_that_cannot_be_opened_says_why_once_and_the_way_out(url, way):
    with pytest.raises(LinkError) as refused:
        open_link(url)
    assert way in str(refused.value) and "Errno" not in str(refused.value)


@pytest.mark.parametrize("url", ["/dev/no-such-port", "socket://127.0.0.1:1", "carrier-pigeon://roof"])
def test_what_cannot_be_opened_is_one_sentence(url):
    with pytest.raises(LinkError, match="^cannot open %s " % url):
        open_link(url)


@pytest.mark.parametrize("answer", ["ok next=0", "ok uptime_ds=x next=-1", "ok uptime_ds=1", "ok uptime_ds=1 next=-1"])
def test_readings_that_cannot_be_are_no_readings(answer):
    with answering(Rote(*[answer] * 3)) as url, open_link(url) as link, pytest.raises(LinkError):
        link.readings()


@pytest.mark.parametrize(("told", "piece"), [
    ("ok bytes=4 generation=1 copies=2 crc=0000", "ok at=0 hex=01020304"),
    ("ok bytes=4 generation=1 copies=2 crc=0000", "ok at=0 hex="),
    ("ok bytes=4 generation=1 copies=2 crc=0000", "ok at=0 hex=xyz"), ("ok generation=1", "ok")])
def test_a_plan_that_was_read_amiss_is_no_plan(told, piece):
    with answering(Rote(told, piece, piece)) as url, open_link(url) as link, pytest.raises(LinkError):
        link.plan_record()


def test_no_plan_on_the_board_is_none():
    with answering(Rote("ok bytes=0 generation=0 copies=0 crc=FFFF")) as url, open_link(url) as link:
        assert link.plan_record() is None
