"""A practice board behind its port: it says what a board says, lives through what people do, and has what is wrong.

What is held here are statements of this project; checksums are worked out by `crccheck`, an outside implementation of
CRC-16/IBM-3740, so that the line is not judged by the code that speaks it.
"""

import os
import signal
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
import serial
from crccheck.crc import Crc16Ibm3740

from lander import signals
from lander.orders import RECORD_BYTES
from seatrial import practice
from seatrial.bodies import BodyError
from seatrial.electronics import TEST_PLUG_OHM
from seatrial.miswirings import MISWIRINGS
from seatrial.practice import PracticeBoard

from .flying import SAMPLE, changed

pytestmark = pytest.mark.usefixtures("micropython")
FAST = 25.0
PATIENCE_S = 20.0
SOUND, SHORTED = "1", "3"  # of `primary_circuit`

needs_terminals = pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminals here")


class Noting(PracticeBoard):
    """Keeps what the mission felt and wanted at each step: a person at the line may look too late."""

    def __init__(self, *given, **named) -> None:
        super().__init__(*given, **named)
        self.steps: list[dict[str, int]] = []

    def _take_stepped(self, *pairs: bytes) -> None:
        super()._take_stepped(*pairs)
        self.steps.append({**self.felt, **self.wanted})


class Person:
    """Somebody with a serial program."""

    def __init__(self, url: str) -> None:
        self.port = serial.serial_for_url(url, timeout=PATIENCE_S)
        self._number = 0

    def send(self, text: str) -> None:
        self._number += 1
        line = "%d %s" % (self._number, text)
        self.port.write(("%s*%04X\n" % (line, Crc16Ibm3740.calc(line.encode()))).encode())

    def ask(self, text: str) -> dict[str, str]:
        """The answer to this, as pairs; what is older is passed over. A refusal is under `no`."""
        self.send(text)
        while True:
            line = self.port.readline().decode()
            assert line.endswith("\r\n"), "no answer to `%s`" % text
            said, _, crc = line.rstrip().rpartition("*")
            assert int(crc, 16) == Crc16Ibm3740.calc(said.encode())
            number, verb, *pairs = said.split(" ")
            if int(number) == self._number:
                return dict(pair.split("=") for pair in pairs) if verb == "ok" else {"no": " ".join(pairs)}

    def command(self, name: str) -> None:
        """Once the mission has heard the one before."""
        until(lambda: "no" not in self.ask("ask command=" + name))

    def see(self) -> dict[str, str]:
        seen, at = {}, "0"
        while at != "-1":
            seen.update(self.ask("see from=" + at))
            at = seen.pop("next")
        return seen

    def leave(self) -> None:
        self.port.close()


def until(holds: Callable[[], object], look_s: float = 0.02):
    """The first true answer."""
    end_s = time.monotonic() + PATIENCE_S
    while not (answer := holds()):
        assert time.monotonic() < end_s, "it never came so"
        time.sleep(look_s)
    return answer


@pytest.fixture
def practised() -> Iterator[Callable[..., Noting]]:
    """Makes practice boards; all of them end with the test."""
    made: list[Noting] = []

    def make(*wrong: str, **options) -> Noting:
        board = Noting(wrong=wrong, **{"speed": FAST, "tcp_port": 0, **options})
        made.append(board.__enter__())
        return board
    yield make
    for board in made:
        board.__exit__(None, None, None)


@pytest.fixture(scope="module")
def sound() -> Iterator[PracticeBoard]:
    """One board for the tests that leave it as it was."""
    with PracticeBoard(speed=FAST, tcp_port=0) as board:
        yield board


@pytest.fixture
def person(sound) -> Iterator[Person]:
    somebody = Person(sound.url)
    yield somebody
    somebody.leave()


# --- what it says -------------------------------------------------------------------------------------------------------


def test_it_says_who_it_is_and_that_everything_is_sound(person):
    hello = person.ask("hello")
    assert hello["board"] == "pico" and hello["reset"] == "power" and len(hello["id"]) == 16
    status = person.ask("status")
    assert (status["state"], status["plan_copies"], status["boots"]) == ("safe", "2", "1")
    until(lambda: person.see()["water_temp_ok"] == "1")
    seen = person.see()
    assert {name for name, value in seen.items() if name.endswith("_ok") and value != "1"} == set()
    assert (seen["contact_wet"], seen["leak_wet"], seen["magnet"], seen["store_lost"]) == ("0", "0", "0", "0")


@needs_terminals
def test_any_serial_program_finds_the_other_board_at_a_terminal(practised):
    assert Person(practised(tcp_port=None, board="esp32").url).ask("hello")["board"] == "esp32"


@pytest.mark.parametrize(("name", "value", "felt"), [
    ("contact_wet", 1, range(1, 2)), ("leak_wet", 1, range(1, 2)), ("magnet", 1, range(1, 2)),
    ("pressure_mbar", 1100, range(1050, 1150))])
def test_what_a_person_touches_is_felt_until_it_is_let_go(sound, person, name, value, felt):
    before = person.see()[name]
    sound.set(**{name: value})
    until(lambda: int(person.see()[name]) in felt)
    sound.set(**{name: None})
    until(lambda: abs(int(person.see()[name]) - int(before)) < 30 and int(person.see()[name]) not in felt)


def test_a_board_that_is_put_under_water_is_deaf(practised):
    board = practised()
    person = Person(board.url)
    person.ask("hello")
    board.set(contact_wet=1, pressure_mbar=1500)
    until(lambda: board.wanted.get("state"))
    said, steps = len(board.said), len(board.steps)
    person.send("hello")
    until(lambda: len(board.steps) > steps + 5)
    assert len(board.said) == said


def test_a_poked_lamp_draws_what_the_plan_says(sound, person):
    assert person.ask("poke output=lights level=50 ms=4000") == {}
    until(lambda: person.ask("poked")["left_ms"] == "0")
    poked = person.ask("poked")
    drawn_ma = int(poked["peak_ma"]) - int(poked["rest_ma"])
    assert drawn_ma == pytest.approx(0.5 * SAMPLE.lights.current_ma, rel=0.05)


# --- what people do to it -----------------------------------------------------------------------------------------------


def test_a_fired_wire_draws_what_its_plug_lets_through_and_the_latch_opens(practised):
    """Ohm's law for the plug."""
    board = practised(speed=5.0)
    person = Person(board.url)
    for channel in ("primary", "backup"):
        person.command("ready-" + channel)
        person.command("fire")
        until(lambda channel=channel: board.steps[-1]["release_%s_pct" % channel])
        until(lambda channel=channel: not board.steps[-1]["release_%s_pct" % channel])
    plug_ma = board.world.supply_mv() / TEST_PLUG_OHM
    assert max(one["release_ma"] for one in board.steps if one["release_primary_pct"]) == pytest.approx(plug_ma, abs=3.0)
    assert board.world.backup.open and not board.world.primary.open
    board.set(latch_open=0)
    assert not board.world.backup.open


def test_someone_who_leaves_in_the_middle_of_a_line_costs_the_next_one_nothing_but_that_line(sound):
    first = Person(sound.url)
    first.port.write(b"77 hel")
    first.port.flush()
    first.leave()
    second = Person(sound.url)
    second.port.write(b"\n")
    assert second.ask("hello")["board"] == "pico"
    second.leave()


@needs_terminals
def test_whoever_comes_next_finds_no_answers_to_the_one_who_left(practised):
    board = practised(tcp_port=None)
    first = Person(board.url)
    first.ask("hello")
    said = len(board.said)
    first.send("status")
    until(lambda: len(board.said) > said)
    first.leave()
    until(lambda: not board._port._was_open)
    second = Person(board.url)
    second.port.write(b"5 status*typed\n")
    assert second.port.readline().startswith(b"5 ok ")


@pytest.mark.parametrize("tcp_port", [0, pytest.param(None, marks=needs_terminals)])
def test_someone_who_never_reads_does_not_stop_the_board(practised, tcp_port):
    board = practised(tcp_port=tcp_port)
    person = Person(board.url)
    asked = 600 if tcp_port is None else 40
    for _ in range(asked):
        person.send("see")
    heard = board.requests
    until(lambda: not board._keys and board.requests > heard)
    before_s = board.world.now_s
    until(lambda: board.world.now_s > before_s + 10.0)
    assert board.starts == 1
    assert person.ask("hello")["board"] == "pico"


def test_two_people_at_one_socket_both_hear_it(sound, person):
    other = Person(sound.url)
    other.ask("hello")
    person.ask("status")
    assert b" ok state=" in other.port.readline()
    other.leave()


def test_a_pulled_cable_stops_the_line_and_not_the_board(practised):
    board = practised()
    person = Person(board.url)
    person.ask("hello")
    board.unplug()
    said, before_s = len(board.said), board.world.now_s
    person.send("status")
    until(lambda: board.world.now_s > before_s + 10.0)
    assert len(board.said) == said
    board.plug()
    assert person.ask("hello")["board"] == "pico"
    assert board.starts == 1


# --- resets -------------------------------------------------------------------------------------------------------------


def test_power_that_goes_and_comes_costs_neither_journal_nor_plan(practised):
    board = practised()
    person = Person(board.url)
    before = person.ask("journal")
    clock_s = int(person.ask("clock")["s"])
    board.cut_power(30.0)
    until(lambda: board.starts == 2)
    assert person.ask("hello")["reset"] == "power"
    after = person.ask("journal")
    assert int(after["newest"]) > int(before["newest"]) and int(after["next"]) > int(before["next"])
    status = person.ask("status")
    assert (status["boots"], status["plan_copies"]) == ("2", "2")
    clock = person.ask("clock")
    assert clock["ok"] == "1" and int(clock["s"]) >= clock_s + 30


def test_a_plan_that_is_kept_starts_the_board_anew_with_it(practised):
    board = practised()
    person = Person(board.url)
    record = changed(times={"timed_release_min": 61.0}).mission_record()
    for at in range(0, RECORD_BYTES, 64):
        assert person.ask("orders at=%d hex=%s" % (at, record[at:at + 64].hex())) == {}
    crc = "%04X" % Crc16Ibm3740.calc(record[:-2])
    assert person.ask("keep crc=" + crc)["copies"] == "2"
    until(lambda: board.starts == 2)
    assert person.ask("hello")["reset"] == "asked"
    assert person.ask("plan")["crc"] == crc


@pytest.mark.skipif(not hasattr(signal, "SIGSTOP"), reason="a process cannot be held here")
def test_a_board_that_hangs_is_bitten_by_its_watchdog(practised, monkeypatch):
    monkeypatch.setattr(practice, "HANGS_S", 0.3)
    board = practised()
    person = Person(board.url)
    person.ask("hello")
    os.kill(board._process.pid, signal.SIGSTOP)
    until(lambda: board.starts == 2)
    assert person.ask("hello")["reset"] == "watchdog"


@pytest.mark.parametrize(("number", "reset"), [(signal.SIGSEGV, "watchdog"), (signal.SIGABRT, "watchdog")])
def test_an_interpreter_that_crashes_is_told_of_and_started_anew(practised, number, reset):
    """POSIX tells a process that a signal has ended from one that has ended by itself."""
    told: list[str] = []
    board = practised(tell=told.append)
    person = Person(board.url)
    person.ask("hello")
    os.kill(board._process.pid, number)
    until(lambda: board.starts == 2)
    assert person.ask("hello")["reset"] == reset
    assert len(told) == 1 and "has crashed" in told[0] and "by signal %d" % number in told[0]


def test_an_exception_in_the_code_of_a_board_is_told_with_its_words(practised):
    told: list[str] = []
    board = practised(tell=told.append)
    person = Person(board.url)
    person.ask("hello")
    with board.lock:
        board._handlers[b"key"] = lambda: b"rubbish"  # which no port of a board hands to its code
    person.send("hello")
    until(lambda: told)
    with board.lock:
        board._handlers[b"key"] = board._key
    until(lambda: board.starts >= 2)
    assert "ended with status 1" in told[0] and "ValueError: invalid syntax for integer" in told[0]


def test_a_board_that_starts_anew_since_it_was_asked_to_has_not_crashed(practised):
    told: list[str] = []
    board = practised(tell=told.append)
    person = Person(board.url)
    record = changed(times={"timed_release_min": 61.0}).mission_record()
    for at in range(0, RECORD_BYTES, 64):
        person.ask("orders at=%d hex=%s" % (at, record[at:at + 64].hex()))
    person.ask("keep crc=%04X" % Crc16Ibm3740.calc(record[:-2]))
    until(lambda: board.starts == 2)
    assert told == []


def test_a_supply_that_breaks_down_under_a_load_resets_the_board(practised):
    board = practised()
    person = Person(board.url)
    with board.lock:
        board.world.battery.extra_mohm = 60000.0
    person.send("poke output=lights level=100 ms=4000")
    until(lambda: board.starts >= 2)
    assert person.ask("hello")["reset"] == "power"


def test_a_board_whose_pack_came_loose_starts_when_it_is_back(practised):
    board = practised()
    with board.lock:
        board.world.battery.connected = False
    before_s = until(lambda: board._process is None and board.world.now_s)
    until(lambda: board.world.now_s > before_s + 10.0)
    assert board.starts == 1
    with board.lock:
        board.world.battery.connected = True
    until(lambda: board.starts == 2)


def test_a_kept_flash_has_its_plan_and_its_journal_the_next_time(tmp_path):
    plan, keep = changed(times={"timed_release_min": 62.0}), tmp_path / "board"
    newest = []
    for given in (plan, None):
        with PracticeBoard(given, speed=FAST, tcp_port=0, keep=keep) as board:
            person = Person(board.url)
            assert person.ask("plan")["crc"] == "%04X" % Crc16Ibm3740.calc(plan.mission_record()[:-2])
            newest.append(int(person.ask("journal")["newest"]))
    assert newest[1] > newest[0]
    with pytest.raises(BodyError, match="flash of a esp32 has 2097152: choose another folder"), PracticeBoard(
            board="esp32", tcp_port=0, keep=keep):
        pass


def test_a_kept_flash_has_one_board_at_a_time(tmp_path):
    with PracticeBoard(speed=FAST, tcp_port=0, keep=tmp_path) as first:
        with pytest.raises(BodyError, match="--keep is .*, and another practice board works on it"), PracticeBoard(
                speed=FAST, tcp_port=0, keep=tmp_path):
            pass
        assert Person(first.url).ask("hello")["board"] == "pico"
    with PracticeBoard(speed=FAST, tcp_port=0, keep=tmp_path) as later:
        assert Person(later.url).ask("hello")["board"] == "pico"


# --- time ---------------------------------------------------------------------------------------------------------------


class Wall:
    """A clock on the wall that a test turns."""

    def __init__(self) -> None:
        self.now_s = 1000.0

    def monotonic(self) -> float:
        return self.now_s


def rounds_until(board: PracticeBoard, holds: Callable[[], object]) -> None:
    """Rounds in which the wall stands still."""
    def holds_now() -> object:
        board._wake()
        board._round()
        return holds()
    until(holds_now, look_s=0.0)


def turned(board: PracticeBoard) -> None:
    """Rounds until the board sleeps beyond what the wall shows."""
    rounds_until(board, lambda: board._pending_ms is not None and board._pending_ms > board._wall_ms())


def test_its_time_stands_still_where_it_was_told_to_it_answers_all_the_same_and_makes_up_for_nothing(monkeypatch):
    wall = Wall()
    monkeypatch.setattr(practice, "time", wall)
    board = PracticeBoard(speed=10.0, tcp_port=0)
    board.open()
    somebody = serial.serial_for_url(board.url)
    try:
        wall.now_s += 0.9
        rounds_until(board, lambda: board.now_s >= 8.9)
        board.go_no_further(14.5)
        wall.now_s += 60.0
        rounds_until(board, lambda: board._pending_ms and board._pending_ms > 14500)
        for _ in range(10):
            wall.now_s += 60.0
            _some_rounds(board)
        assert board.now_s == pytest.approx(14.5)
        somebody.write(b"1 hello*typed\n")
        rounds_until(board, lambda: somebody.in_waiting)
        assert somebody.readline().startswith(b"1 ok ")
        assert 14.499 <= board.now_s < 14.6
        board.go_no_further(None)
        _some_rounds(board)
        assert board.now_s < 14.6, "ten minutes of the wall are gone for it"
        wall.now_s += 0.9
        rounds_until(board, lambda: board.now_s >= 23.4)
        assert board.now_s == pytest.approx(23.5, abs=0.1)
        assert board.starts == 1
    finally:
        somebody.close()
        board.close()


def _some_rounds(board: PracticeBoard) -> None:
    for _ in range(50):
        board._wake()
        board._round()


@pytest.mark.parametrize("speed", [1.0, 7.0])
def test_its_time_goes_with_the_wall_times_its_speed_and_never_ahead(monkeypatch, speed):
    wall = Wall()
    monkeypatch.setattr(practice, "time", wall)
    board = PracticeBoard(speed=speed, tcp_port=0)
    board.open()
    try:
        longest_ms = 4000 + practice.LATE_S
        for _ in range(100):
            wall.now_s += 0.1
            turned(board)
            assert board._wall_ms() - longest_ms <= board._now_ms <= board._wall_ms() + 20
        assert board._wall_ms() == pytest.approx(10.0 * speed * 1000.0)
        wall.now_s += 3600.0  # this machine was away
        turned(board)
        assert board.starts == 1, "its watchdog did not bite"
        assert board._now_ms < 20.0 * speed * 1000.0, "and its time did not leap"
    finally:
        board.close()


# --- what is wrong ------------------------------------------------------------------------------------------------------


def shown(person: Person, **wanted: str) -> bool:
    """Whether the board comes to tell these inputs."""
    return bool(until(lambda: wanted.items() <= person.see().items()))


def circuits(person: Person) -> dict[str, str]:
    return until(lambda: (said := person.ask("circuits")).get("primary", "0") != "0" and said)


def test_swapped_channels_show_a_short_in_the_first(practised, sound, person):
    assert circuits(person)["primary"] == SOUND
    assert circuits(Person(practised("channels-swapped").url))["primary"] == SHORTED


def test_a_dead_camera_keeps_it_from_arming(practised):
    board = practised("camera-dead", speed=50.0)
    person = Person(board.url)
    until(lambda: board.felt["camera_temp_ok"] and board.felt["water_temp_ok"])
    person.command("arm")
    assert until(lambda: {one["refused"] for one in board.steps} - {0}) == {signals.NO_RECORDING}
    assert board.world.camera.recorded_s == 0.0


def test_a_frozen_pressure_does_not_feel_a_press(practised):
    board = practised("pressure-frozen")
    person = Person(board.url)
    first = person.see()["pressure_mbar"]
    board.set(pressure_mbar=3000, magnet=1)
    shown(person, magnet="1", pressure_mbar=first)
    assert person.see()["pressure_mbar"] == first


def test_a_wrong_shunt_shows_twice_the_current(practised, sound, person):
    board = practised("supply-wrong")
    usual_ma, shown_ma = (int(one.see()["supply_ma"]) for one in (person, Person(board.url)))
    assert board.world.load_ma == sound.world.load_ma
    assert shown_ma == pytest.approx(2 * usual_ma, abs=20)


def test_a_stuck_leak_probe_says_wet(practised):
    assert shown(Person(practised("leak-stuck").url), leak_wet="1", leak_ok="1")


def test_a_stopped_clock_stays_so_when_it_is_set(practised):
    person = Person(practised("clock-stopped").url)
    assert person.ask("clock")["ok"] == "0"
    person.ask("clock s=300000000")
    assert shown(person, clock_ok="0")


def test_a_lamp_that_is_always_on_draws_while_everything_is_off(practised):
    person = Person(practised("lamp-on").url)
    seen = person.see()
    assert seen["lights_pct"] == "0"
    assert int(seen["supply_ma"]) > 0.9 * SAMPLE.lights.current_ma


def test_a_flash_that_takes_no_write_has_no_journal(practised):
    assert Person(practised("store-read-only").url).ask("status")["store_free"] == "0"


def test_a_damaged_plan_has_no_whole_copy_and_the_journal_is_there(practised):
    status = Person(practised("plan-damaged").url).ask("status")
    assert status["plan_copies"] == "0" and int(status["store_free"]) > 10000


def test_other_firmware_has_another_version_and_another_digest(practised, person):
    other = Person(practised("firmware-wrong").url)
    assert other.ask("hello")["lander"] != person.ask("hello")["lander"]
    theirs, ours = other.ask("files"), person.ask("files")
    assert theirs["count"] == ours["count"] and theirs["digest"] != ours["digest"]


def test_every_miswiring_has_a_test_here():
    told = Path(__file__).read_text(encoding="utf-8")
    assert [name for name in MISWIRINGS if 'practised("%s"' % name not in told] == []


# --- its end ------------------------------------------------------------------------------------------------------------


def test_it_leaves_no_process_behind(practised):
    with PracticeBoard(speed=FAST, tcp_port=0) as board:
        Person(board.url).ask("hello")
        process, folder = board._process, Path(board._folder.name)
    assert process.poll() is not None
    assert not folder.exists()


def test_what_no_board_can_do_ends_it_with_a_sentence():
    with pytest.raises(BodyError, match="pin 999 is no output of this board"), PracticeBoard(tcp_port=0) as board:
        board._lines.append(b"0 out 999 1")
        board._wake()
        while board.wait(0.1):
            pass


@pytest.mark.parametrize(("options", "said"), [
    ({"board": "abacus"}, "--board is abacus; allowed is pico, esp32"),
    ({"wrong": ["gravity"]}, "--wrong is gravity; allowed is channels-swapped, "),
    ({"speed": 0.0}, "--speed is 0; allowed is 0.1 to 100"),
    ({"plan": SAMPLE.model_copy(update={"release": SAMPLE.release.model_copy(
        update={"backup": SAMPLE.release.primary})})}, 'release.backup.kind is "wire"'),
], ids=lambda value: str(value)[:20])
def test_what_does_not_exist_is_one_sentence(options, said):
    with pytest.raises(BodyError, match=said):
        PracticeBoard(**options)


def test_a_socket_that_is_taken_is_one_sentence(sound):
    taken = int(sound.url.rpartition(":")[2])
    with pytest.raises(BodyError, match="port %d of this machine cannot be had" % taken), PracticeBoard(tcp_port=taken):
        pass
