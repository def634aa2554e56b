"""A storm of lines breaks nothing on deck, moves nothing, and would be noticed if it did.

The checksums of the storm are those of Python's `binascii.crc_hqx`, held here against `crccheck`, another
implementation of CRC-16/IBM-3740. Whole lines are judged by the description of the wire, not by the code that reads it.
"""

import os
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from itertools import islice

import pytest
import serial
from crccheck.crc import Crc16Ibm3740

import boards
from boards import deck_line, deck_poke, deck_verbs
from lander import console, wire
from seatrial import line_guided, line_storm
from seatrial.bodies import BodyError, find_micropython
from seatrial.line_storm import LONG_BYTES, Watch
from seatrial.practice import PracticeBoard
from seatrial.storm_lines import (
    GRAMMAR,
    MODES,
    NO_FIRE,
    NO_READY,
    STILL,
    Item,
    Storm,
    crc,
    framed,
    is_held,
    whole,
    whole_ends,
)

HERE_LINES, THERE_LINES = 300, 2400
PATIENCE_S = 30.0
PEOPLE, REQUESTS = 2, 60


@pytest.fixture(scope="module")
def micropython() -> str:
    try:
        return find_micropython()
    except BodyError as error:
        pytest.skip(str(error))


def storm(lines: int = HERE_LINES, here: bool = True, seed: int = 1, long_bytes: int = 5000) -> line_storm.Told:
    return line_storm.storm(seed, lines, here, long_bytes)


# --- the lines ------------------------------------------------------------------------------------------------------


def test_every_verb_of_the_line_is_in_the_storm():
    assert {verb for verb, _pairs in GRAMMAR} >= {*deck_verbs.VERBS, *console.VERBS, *console.OWN_VERBS, "live"}
    said = b"".join(item.data for item in islice(Storm(1).items(), 20000))
    assert [verb for verb, _pairs in GRAMMAR if b" %s" % verb.encode() not in said] == []


def test_one_seed_makes_one_storm():
    first, again, other = (list(islice(Storm(seed).items(), 500)) for seed in (7, 7, 8))
    assert first == again != other


def test_the_checksum_is_that_of_another_implementation():
    for text in (b"", b"123456789", b"1 hello", bytes(range(32, 127))):
        assert crc(text) == b"%04X" % Crc16Ibm3740.calc(text)
    assert crc(b"123456789") == b"29B1"  # the check value of CRC-16/IBM-3740 in the catalogue of CRC algorithms


@pytest.mark.parametrize(("line", "text"), [
    (b"7 hello*typed", b"7 hello"), (b"7 hello*" + crc(b"7 hello"), b"7 hello"),
    (b"7 hello*" + crc(b"7 hello").lower(), b"7 hello"), (b"7 hello*0000", None), (b"7 hello", None),
    (b"hello*typed", None), (b"1234567890 hello*typed", None), (b"7*typed", None), (b"7 h\xe9llo*typed", None),
    (b"7 hello " + b"x" * 200 + b"*typed", None)])
def test_a_line_is_whole_as_the_wire_is_described(line, text):
    assert whole(line) == text


def test_a_line_whose_beginning_was_forgotten_is_known_by_its_end():
    assert list(whole_ends(b"1 see fr7 hello*" + crc(b"7 hello"))) == [b"7 hello"]
    assert list(whole_ends(b"1 see fr7 hello*0000")) == []


@pytest.mark.parametrize(("mode", "line", "held"), [
    (NO_READY, b"1 ask command=ready-primary*typed", True), (NO_READY, b"1 ask command=04*typed", True),
    (NO_READY, b"1 see fr1 ask command=3*typed", True), (NO_READY, b"1 ask command=fire*typed", False),
    (NO_FIRE, b"1 ask command=fire*typed", True), (NO_FIRE, b"1 ask command=5*typed", True),
    (NO_FIRE, b"1 ask command=ready-backup*typed", False), (STILL, b"1 poke output=fan level=1 ms=50*typed", True),
    (STILL, b"1 see from=0*typed", False)])
def test_what_is_held_back_is_known_by_whatever_way_it_is_written(mode, line, held):
    assert is_held(line, mode) is held


def test_a_line_that_is_held_back_is_known_with_returns_in_its_middle_that_no_board_hears():
    watch = Watch(1, here=True)
    try:
        watch.begin()
        watch.throw_now(Item(framed(b"1 ask command=ready-primary") + b"\n"))
        watch.throw_now(Item(framed(b"2 ask command=fire").replace(b"command", b"com\rmand") + b"\r\n", 3000))
        assert not watch.told.faults and watch.told.refused["wrong checksum"] + watch.told.refused["no checksum"] == 1
    finally:
        watch.close()


def test_a_line_is_forgotten_after_ten_seconds_of_silence_however_they_were_counted():
    watch = Watch(1, here=True)
    try:
        watch.begin()
        for item in (Item(b"9", 9000), Item(b"", 3000), Item(b"1 hello*typed\n")):
            watch.throw_now(item)
        assert not watch.told.faults and watch.told.obeyed["hello"] == 1
    finally:
        watch.close()


@pytest.mark.parametrize("silences_ms", [[2000] * 5, [9000, *[100] * 10], [9000, 2000]])
def test_near_ten_seconds_of_silence_half_a_line_may_be_forgotten_or_not(silences_ms):
    watch = Watch(1, here=True)
    try:
        watch.begin()
        for item in (Item(b"9"), *(Item(b"", silent_ms) for silent_ms in silences_ms), Item(b"1 hello*typed\n")):
            watch.throw_now(item)
        assert not watch.told.faults and watch.told.obeyed["hello"] == 1
    finally:
        watch.close()


# --- the storm ------------------------------------------------------------------------------------------------------


@pytest.mark.long
def test_a_storm_on_real_micropython_breaks_nothing_and_moves_nothing(micropython):
    told = storm(THERE_LINES, here=False, long_bytes=LONG_BYTES)
    assert told.faults == []
    assert told.lines >= THERE_LINES
    assert told.lives >= len(MODES)
    assert told.bytes > LONG_BYTES, "a line of a megabyte was among them"
    assert told.answers == told.lines
    assert told.growth < 4096, "the heap of a board that nobody moves stays as it is, but for what is loaded once"
    assert told.obeyed["session"] > 0 and told.obeyed["ask"] > 0


@pytest.mark.long
def test_the_same_storm_in_this_process_gets_the_same_answers(micropython):
    there, here = storm(here=False, seed=3), storm(seed=3)
    assert here.faults == there.faults == []
    assert (here.obeyed["see"], here.obeyed["ask"], here.lines) == (there.obeyed["see"], there.obeyed["ask"], there.lines)


def _no_checksum(line: str) -> str:
    return line.rpartition("*")[0]


def _fails(_line, _flight, _pairs, _now_ms) -> str:
    return "%d" % (1 // 0)


def _fires(_line, flight, _pairs, now_ms) -> str:
    flight.drives.primary_pct = 100
    flight.drives.hold(now_ms)
    return ""


def _twice(line, flight, pairs, now_ms) -> str:
    line.board.say(wire.frame("1 ok"))
    return ""


def _crashes(_line, flight, _pairs, _now_ms) -> str:
    flight.gear = None
    return ""


def _silent(line, _flight, _now_ms) -> None:
    line._length = 0


@pytest.mark.parametrize(("place", "name", "wrong", "noticed"), [
    pytest.param(wire, "unframe", _no_checksum, "obeyed: ", marks=pytest.mark.long),
    pytest.param(deck_verbs, "status", _fails, "a verb failed on the inside", marks=pytest.mark.long),
    pytest.param(deck_verbs, "status", _fires, "moved: release_primary_pct", marks=pytest.mark.long),
    pytest.param(deck_verbs, "status", _twice, "2 answers and not 1", marks=pytest.mark.long),
    pytest.param(deck_verbs, "status", _crashes, "the board ended: AttributeError", marks=pytest.mark.long),
    (deck_line.DeckLine, "_answer", _silent, "0 answers and not 1"),
    (wire, "frame", lambda text: text + "*0000", "an answer that is none"),
], ids=["checksum", "failing verb", "firing verb", "two answers", "crash", "silence", "answers without a sum"])
def test_a_board_that_does_wrong_is_found_out(monkeypatch, place, name, wrong, noticed):
    monkeypatch.setattr(place, name, wrong)
    faults = storm().faults
    assert any(noticed in fault for fault in faults), faults[:3]


def test_a_lamp_that_stays_on_is_found_out(monkeypatch):
    monkeypatch.setitem(sys.modules, "boards.deck_poke", deck_poke)  # a board may have let it go, and load it anew
    monkeypatch.setattr(boards, "deck_poke", deck_poke, raising=False)
    monkeypatch.setattr(deck_poke, "LONGEST_MS", 1 << 30)
    watch = Watch(1, here=True)
    try:
        watch.begin()
        watch.throw_now(line_storm.Item(b"1 poke output=lights level=50 ms=100000000*typed\n", 5000))
        watch._end_life()
        assert any("after a minute of silence it is not off: lights_pct" in fault for fault in watch.told.faults)
    finally:
        watch.close()


def test_the_command_tells_what_it_has_done_and_that_nothing_was_found():
    done = subprocess.run([sys.executable, "-m", "seatrial.line_storm", "--in-process", "--lines", "100", "--seed", "4"],
                          capture_output=True, encoding="utf-8", check=False, timeout=120)
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.startswith("tumblehome ")
    assert ", seed 4, 100 lines, in this process\n" in done.stdout
    assert done.stdout.endswith("0 faults\n")


@pytest.mark.long
def test_what_was_found_ends_the_command_with_1_and_the_lines_before_it(monkeypatch, capsys):
    monkeypatch.setattr(deck_verbs, "status", _fails)
    assert line_storm.main(["--in-process", "--lines", "200", "--seed", "2"]) == 1
    assert "a verb failed on the inside: b'" in capsys.readouterr().out


def test_without_the_guide_one_sentence_says_how_to_get_it(monkeypatch, capsys):
    monkeypatch.setitem(sys.modules, "atheris", None)
    assert line_guided.main([]) == 2
    assert "pip install" in capsys.readouterr().err


GUIDE = """
import contextlib, sys, types
guide = types.ModuleType("atheris")
guide.instrument_imports = lambda include: contextlib.nullcontext()
guide.Setup = lambda arguments, tried: guide.__dict__.update(tried=tried)
guide.Fuzz = lambda: [guide.tried(data) for data in (b"1 hello$", b"2 status$", b"*")]
sys.modules["atheris"] = guide
from seatrial import line_guided
sys.exit(line_guided.main(["--runs", "3"]))
"""


def test_the_guide_finds_the_code_of_the_board_where_no_path_names_it():
    bare = {key: value for key, value in os.environ.items() if key != "PYTHONPATH"}
    done = subprocess.run([sys.executable, "-c", GUIDE], capture_output=True, encoding="utf-8", check=False, timeout=120,
                          env=bare)
    assert (done.returncode, done.stderr) == (0, "")


# --- people at one port ---------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def board(micropython) -> Iterator[PracticeBoard]:
    with PracticeBoard(speed=50.0, tcp_port=0) as made:
        yield made


def _ask_all(url: str, first: int, got: dict[int, str]) -> None:
    """Somebody who asks, one line after the other, and picks out the answers by their numbers."""
    with serial.serial_for_url(url, timeout=PATIENCE_S) as port:
        for number in range(first, first + REQUESTS):
            port.write(b"%d %s*typed\n" % (number, b"status" if number % 2 else b"clock"))
            while number not in got:
                line = port.readline()
                assert line.endswith(b"\n"), "no answer"
                told = line.decode().partition(" ")
                if told[0] == str(number):
                    got[number] = told[2]


def test_two_people_at_one_port_get_each_the_answers_to_what_they_asked(board):
    got: list[dict[int, str]] = [{} for _ in range(PEOPLE)]
    people = [threading.Thread(target=_ask_all, args=(board.url, 1000 * (1 + which), got[which]))
              for which in range(PEOPLE)]
    for person in people:
        person.start()
    for person in people:
        person.join(10 * PATIENCE_S)
    for answers in got:
        assert len(answers) == REQUESTS
        for number, said in answers.items():
            assert said.startswith("ok state=safe" if number % 2 else "ok s="), said


def test_someone_who_floods_the_line_and_never_reads_costs_the_next_one_only_patience(board):
    before = board.starts
    with serial.serial_for_url(board.url, timeout=PATIENCE_S) as flood:
        for _ in range(16):
            flood.write(b"5 see*typed\n" * 20 + b"x" * 1024)
    with serial.serial_for_url(board.url, timeout=PATIENCE_S) as person:
        end_s = time.monotonic() + PATIENCE_S
        person.write(b"\n77 hello*typed\n")
        line = person.readline()
        while not line.startswith(b"77 ok lander="):
            assert time.monotonic() < end_s, "it was never answered"
            line = person.readline()
    assert board.starts == before
