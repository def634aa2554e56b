"""The board files: every output is safe from the line that makes it, and every signal is on its own pin."""

import importlib
import io
import os
import subprocess
import sys
import types
from pathlib import Path

import fake_machine
import pytest

import main
from boards import pico, wiring
from boards.gear import Gear

BOARDS = {name: importlib.import_module("boards." + name) for name in main.BOARDS.values()}
LEVEL_WHEN_MADE = {"register_enable": 1, "radio_cs": 1}  # every other output is low
OUTPUTS = [row[wiring.NAME] for row in wiring.SIGNALS if row[wiring.KIND] in (wiring.OUTPUT, wiring.PWM)]


@pytest.fixture(autouse=True)
def line(monkeypatch):
    """A serial line on which nobody types."""
    with open(os.devnull) as nobody:
        monkeypatch.setattr(sys, "stdin", nobody)
        yield


@pytest.fixture(params=sorted(BOARDS))
def made(request, monkeypatch):
    """A board with all its gear made, and the log of what was asked of the chip."""
    log = fake_machine.Log()
    monkeypatch.setitem(sys.modules, "machine", fake_machine.make(log))
    wire = types.SimpleNamespace(OneWire=lambda pin: types.SimpleNamespace(pin=pin, reset=lambda: 0))
    monkeypatch.setitem(sys.modules, "onewire", wire)
    board = BOARDS[request.param].Board()
    return board, Gear(board), log


def test_every_output_is_safe_from_the_line_that_makes_it(made):
    board, _gear, log = made
    for signal in OUTPUTS:
        if signal in board.register:
            continue
        first = next(event for event in log.events if event[0] in ("out", "pwm") and event[1] == board.pins[signal])
        assert first[2] == LEVEL_WHEN_MADE.get(signal, 0), signal


def test_no_output_but_those_of_the_register_comes_on_while_the_gear_is_made(made):
    board, _gear, log = made
    name_of = {number: name for name, number in board.pins.items()}
    for what, number, value in log.events:
        if what in ("out", "pwm") and value:
            assert name_of[number] in ("register_enable", "register_latch", "radio_cs"), name_of[number]


def test_the_register_is_let_go_until_zeros_are_in_it(made):
    board, _gear, log = made
    enable = board.pins["register_enable"]
    moments = [index for index, event in enumerate(log.events) if event[:2] == ("out", enable)]
    assert log.events[moments[0]][2] == 1 and log.events[moments[-1]][2] == 0
    shifted = [event[2] for event in log.events[:moments[-1]] if event[0] == "shifted"]
    assert shifted and not any(any(data) for data in shifted)


def test_off_leaves_every_output_off_and_the_register_let_go(made):
    board, gear, log = made
    gear.lights.set(0, 80)
    gear.primary.fire(0, 100)
    gear.off()
    on = {number for number, level in log.levels.items() if level}
    assert on <= {board.pins["register_enable"], board.pins["radio_cs"]}
    assert board.pins["register_enable"] in on


def test_every_pin_of_the_table_is_asked_for_and_no_other(made):
    board, _gear, log = made
    asked = {number for what, number, _value in log.events if what in ("out", "in", "pwm", "adc")}
    for _what, _number, given in [event for event in log.events if event[0] == "bus"]:
        asked |= {given[key] for key in ("sck", "mosi", "miso", "scl", "sda", "rx", "tx") if key in given}
    asked.add(board.pins["one_wire"])
    assert asked == set(board.pins.values())


def test_a_watchdog_reset_is_told_from_power_that_came(monkeypatch):
    for cause, wanted in ((3, 1), (1, 0)):
        monkeypatch.setitem(sys.modules, "machine", fake_machine.make(fake_machine.Log(), cause))
        assert pico.Board().reset_cause() == wanted


def test_only_a_deep_sleep_stops_the_clocks(monkeypatch):
    log = fake_machine.Log()
    monkeypatch.setitem(sys.modules, "machine", fake_machine.make(log))
    board = pico.Board()
    waited = []
    board._poll = types.SimpleNamespace(ipoll=lambda span_ms: waited.append(span_ms) or iter(()))
    board.sleep_ms(500, 0)
    assert not log.events and waited == [500]
    board.sleep_ms(500, 1)
    assert log.events == [("lightsleep", -1, 500)] and waited == [500]


def test_a_byte_on_the_line_ends_a_sleep_that_is_not_deep_and_is_read_once(monkeypatch):
    """`poll.ipoll` returns as soon as a stream is ready, and allocates nothing (MicroPython documentation, `select`)."""
    monkeypatch.setitem(sys.modules, "machine", fake_machine.make(fake_machine.Log()))
    board = pico.Board()
    stream = io.BytesIO(b"7")
    board._source = stream
    board._poll = types.SimpleNamespace(ipoll=lambda _span_ms: iter(("ready",) if stream.tell() < 1 else ()))
    assert board.sleep_ms(5000, 0) == 0
    assert [board.key(), board.key()] == [ord("7"), -1]


def test_the_number_of_the_chip_has_sixteen_digits(monkeypatch):
    machine = fake_machine.make(fake_machine.Log())
    monkeypatch.setitem(sys.modules, "machine", machine)
    for number, shown in ((bytes(range(8)), "0001020304050607"), (b"\xa1\x02\x03\x04\x05\x06", "0000a10203040506")):
        machine.unique_id = lambda number=number: number
        assert pico.Board().chip_id() == shown


def test_an_answer_has_its_time_before_the_board_starts_anew(monkeypatch):
    log = fake_machine.Log()
    monkeypatch.setitem(sys.modules, "machine", fake_machine.make(log))
    monkeypatch.setattr("time.sleep_ms", lambda span_ms: log.events.append(("wait", -1, span_ms)), raising=False)
    pico.Board().restart()
    assert [event[0] for event in log.events] == ["wait", "reset"]


def test_a_module_is_loaded_late_through_the_owner_of_the_flash_and_spoils_nothing(micropython, firmware):
    """In a real MicroPython, on a littlefs in memory; by itself the board has no files any more."""
    script = Path(__file__).parents[1] / "scripts" / "late_files.py"
    done = subprocess.run([micropython, str(script)], env={"MICROPYPATH": str(firmware)}, capture_output=True, text=True,
                          timeout=60, check=False)
    assert done.stdout.splitlines() == [
        "mounted 0", "written True", "before nothing", "lent late", "after nothing", "written True",
        "lent again latest", "read [True, True] ['late.py', 'later.py', 'latest.py']"], done.stderr


def test_the_flash_has_one_owner_at_a_time(monkeypatch):
    monkeypatch.setitem(sys.modules, "machine", fake_machine.make(fake_machine.Log()))
    done = []
    monkeypatch.setitem(sys.modules, "rp2", types.SimpleNamespace(Flash=lambda: "the flash"))
    monkeypatch.setitem(sys.modules, "vfs", types.SimpleNamespace(
        umount=lambda path: done.append(("umount", path)), mount=lambda device, path: done.append((device, path))))
    board = pico.Board()
    board.give_back()
    assert not done
    assert board.flash() == "the flash" and done == [("umount", "/")]
    board.give_back()
    assert done[-1] == ("the flash", "/")
