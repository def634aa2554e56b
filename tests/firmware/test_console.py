"""The one door to the controller: what can be said, and that a refused request changes nothing."""

import copy
import os
import subprocess
from contextlib import nullcontext
from types import SimpleNamespace

import pytest

from lander import console, journal, orders, session, signals, wire
from lander.console import Console
from lander.mission import Mission


class Line:
    """A host at the other end: numbers its requests and takes the answers apart."""

    def __init__(self) -> None:
        self.console = Console()
        self.number = 0

    def ask(self, text: str) -> str:
        """The answer's text after the number."""
        self.number += 1
        answer = self.console.answer(wire.frame("%d %s" % (self.number, text)))
        assert len(answer.encode()) <= wire.LINE_MAX
        number, said = wire.unframe(answer).split(" ", 1)
        assert int(number) == self.number
        return said

    def ok(self, text: str) -> dict:
        said = self.ask(text)
        assert said.split()[0] == "ok", said
        return dict(pair.split("=") for pair in said.split()[1:])

    def started(self) -> "Line":
        record = orders.pack(orders.Orders())
        for at in range(0, len(record), 64):
            self.ok("orders at=%d hex=%s" % (at, record[at:at + 64].hex()))
        want = self.ok("boot slots=256")["want"]
        while want != "-1":
            want = self.ok("slot at=%s hex=blank" % want)["want"]
        self.ok("start uptime_ds=0")
        return self


def dump(of, depth: int = 0):
    """All that an object holds, as plain values."""
    if depth > 5 or isinstance(of, int | str | bytes | float | None):
        return of
    if isinstance(of, bytearray | memoryview):
        return bytes(of)
    if isinstance(of, list | tuple):
        return [dump(item, depth + 1) for item in of]
    names = list(getattr(of, "__dict__", ())) + [n for n in getattr(type(of), "__slots__", ()) if hasattr(of, n)]
    return {name: dump(getattr(of, name), depth + 1) for name in names}


def test_it_says_who_it_is():
    said = Line().ok("hello")
    assert said["wire"] == str(wire.VERSION)
    assert said["orders"] == str(orders.VERSION)


def test_a_mission_is_loaded_started_and_stepped():
    line = Line().started()
    said = line.ok("step uptime_ds=20 pressure_ok=1 contact_ok=1")
    assert line.console.session.mission.orders.good
    assert int(said["wake_ds"]) >= 1
    record = bytes.fromhex(line.ok("record at=0")["hex"])
    assert journal.is_good(record)
    assert journal.fields(record)["kind"] == journal.BOOT


def test_a_step_tells_only_what_changed():
    line = Line().started()
    line.ok("step uptime_ds=20")
    assert "wake_ds" not in line.ok("step uptime_ds=40")


def test_a_journal_is_read_slot_by_slot():
    line = Line().started()
    line.ok("step uptime_ds=20")
    record = line.ok("record at=0")["hex"]
    want = line.ok("boot slots=256")["want"]
    while want != "-1":
        want = line.ok("slot at=%s hex=%s" % (want, record if want == "0" else "blank"))["want"]
    assert line.ok("start") == {"next": "1", "bad": "0"}
    assert line.console.session.mission.boot_number == 2


REFUSED = [
    "fly", "hello now=1", "orders hex=00", "orders at=0", "orders at=9999 hex=00", "orders at=0 hex=0",
    "orders at=0 hex=zz",
    "orders at=237 hex=%s" % ("00" * 60), "orders at=0 hex=00 more=1", "boot", "boot slots=-1", "boot slots=x",
    "boot slots=4 x=1", "slot at=0 hex=blank", "start", "set uptime_ds=-1", "set pressure_mbar=1300001",
    "set contact_wet=2",
    "set contact_wet=1 nonsense=1", "set contact_wet=1 leak_wet=2", "set state=3", "step uptime_ds=x",
    "step contact_wet=1 depth=1",
    "record at=99", "record at=-1", "record", "record at=0 x=1", "lock", "lock on=2", "heap x=1", "bye x=1", "more x=1",
]


@pytest.mark.parametrize("text", REFUSED)
def test_a_refused_request_changes_nothing_and_says_why(text):
    line = Line().started()
    line.ok("step uptime_ds=20 contact_ok=1")
    before = dump(line.console)
    said = line.ask(text)
    assert said.startswith("no ")
    assert len(said) > 6
    assert dump(line.console) == before


@pytest.mark.parametrize("text", ["step", "step uptime_ds=20", "record at=0", "record"])
def test_a_mission_that_was_not_started_makes_no_step(text):
    line = Line()
    before = dump(line.console)
    assert line.ask(text).startswith("no ")
    assert dump(line.console) == before


def test_a_step_that_wrote_no_record_has_none_to_show():
    line = Line().started()
    line.ok("step uptime_ds=20")
    line.ok("step uptime_ds=40")
    assert line.console.session.outputs.record_count == 0
    assert line.ask("record at=0") == "no the last step wrote no record"


@pytest.mark.parametrize("raised", [None, MemoryError("heap is locked")])
def test_a_locked_step_locks_the_heap_and_lets_it_go_even_after_an_error(monkeypatch, raised):
    """Here by a stand-in; the heap itself is locked in test_micropython.py."""
    done: list = []
    monkeypatch.setattr(session, "micropython", SimpleNamespace(
        heap_lock=lambda: done.append("lock"), heap_unlock=lambda: done.append("unlock")))

    class Noting(Mission):
        def step(self, inputs, outputs):
            done.append("step")
            if raised:
                raise raised
            return super().step(inputs, outputs)

    line = Line().started()
    line.console.session.mission.__class__ = Noting
    line.ok("lock on=1")
    with pytest.raises(MemoryError) if raised else nullcontext():
        line.ok("step uptime_ds=40")
    assert done == ["lock", "step", "unlock"]


def test_the_heap_is_told_where_the_interpreter_can_tell_it():
    assert Line().ok("heap") == {"used": "0", "free": "0"}
    told = Line()
    told.console = Console(heap=lambda: (1200, 3400))
    assert told.ok("heap") == {"used": "1200", "free": "3400"}


def test_a_lock_that_is_refused_changes_nothing():
    line = Line()
    assert line.ask("lock on=1 more=1").startswith("no ")
    assert not line.console.session.locked


@pytest.mark.parametrize("text", ["slot at=5 hex=blank", "slot hex=blank", "slot at=128", "slot at=128 hex=00",
                                  "slot at=128 hex=blank x=1", "start"])
def test_a_slot_that_is_not_wanted_changes_nothing(text):
    line = Line()
    assert line.ok("boot slots=256")["want"] == "128"
    before = dump(line.console)
    assert line.ask(text).startswith("no ")
    assert dump(line.console) == before


@pytest.mark.parametrize("name, lowest, highest, start", signals.INPUTS)
def test_each_input_takes_its_range_and_nothing_beyond(name, lowest, highest, start):
    line = Line()
    for value in (lowest, highest):
        line.ok("set %s=%d" % (name, value))
        assert getattr(line.console.session.inputs, name) == value
    for value in (lowest - 1, highest + 1):
        assert line.ask("set %s=%d" % (name, value)) == "no %s=%d: allowed is %d to %d" % (name, value, lowest, highest)
    assert getattr(line.console.session.inputs, name) == highest


@pytest.mark.parametrize("line", ["", "*", "****", "x" * 500, "1 hello", "1 hello*0000", "\x00\x01*typed", "* *typed",
                                  "1 " + "k" * 90 + "*typed", "1 set " + "k" * 80 + "=1*typed", "1 no*no*typed",
                                  "999999999 set a=" + "9" * 150 + "*typed"])
def test_garbage_is_answered_with_a_whole_line(line):
    answer = Console().answer(line)
    assert len(answer.encode()) <= wire.LINE_MAX
    assert wire.unframe(answer).split()[1] == "no"


def test_a_digit_of_another_script_is_answered_too():
    assert " no " in Console().answer("1 set uptime_ds=²*typed")


def test_every_output_changed_at_once_is_told_in_lines_that_fit():
    line = Line().started()
    line.ok("step uptime_ds=20")
    for name, _lowest, highest in signals.OUTPUTS:
        setattr(line.console.session.outputs, name, highest)
        line.console.session._told._told[[row[0] for row in signals.OUTPUTS].index(name)] = -1
    line.number = 999_999_990
    told: dict = {}
    said = line.ok("more")
    while said.pop("more", None):
        told |= said
        said = line.ok("more")
    told |= said
    assert told == {name: str(highest) for name, _lowest, highest in signals.OUTPUTS}
    assert line.ok("more") == {}


def test_a_long_record_fits_a_line():
    line = Line().started()
    line.ok("step uptime_ds=20")
    line.number = 999_999_990
    assert len(line.ok("record at=0")["hex"]) == 2 * journal.RECORD_BYTES


def test_no_verb_is_left_without_a_test():
    spoken = {text.split()[0] for text in REFUSED}
    assert set(console.VERBS) | set(console.OWN_VERBS) <= spoken


def test_bye_ends_the_talk():
    line = Line()
    line.ok("bye")
    assert line.console.ended


def talk(micropython: str, firmware, sent: bytes) -> list:
    """What a real MicroPython in lockstep answers to these bytes."""
    done = subprocess.run([micropython, "main.py"], cwd=firmware, input=sent, capture_output=True, timeout=30,
                          check=False, env={**os.environ, "MICROPYPATH": str(firmware)})
    assert done.returncode == 0, done.stderr.decode()[-2000:]
    return [wire.unframe(line) for line in done.stdout.decode().split("\n") if line]


def lines(*texts: str) -> bytes:
    return b"".join(wire.frame("%d %s" % (number, text)).encode() + b"\n" for number, text in enumerate(texts, 1))


class TestLockstep:
    def test_a_real_micropython_steps_like_the_console_here(self, micropython, firmware):
        record = orders.pack(orders.Orders())
        texts = ["orders at=%d hex=%s" % (at, record[at:at + 64].hex()) for at in range(0, len(record), 64)]
        texts += ["boot slots=0", "start", "lock on=1", "step uptime_ds=10 contact_ok=1 pressure_ok=1", "record at=0",
                  "step uptime_ds=60 magnet=1", "step uptime_ds=130 magnet=0", "more", "bye"]
        here = Console()
        expected = [wire.unframe(here.answer(line)) for line in lines(*texts).decode().splitlines()]
        assert talk(micropython, firmware, lines(*texts)) == expected

    def test_noise_half_lines_and_line_ends_do_not_upset_it(self, micropython, firmware):
        sent = (b"\n\r\n" + bytes(range(128, 256)) + b"\n" + b"\x00\x01\x02\n" + b"z" * 1000 + b"\n" + b"12 hel\n"
                + b"3 hello*typed\r\n" + lines("bye"))
        said = talk(micropython, firmware, sent)
        assert [text.split()[1] for text in said] == ["no", "no", "no", "no", "ok", "ok"]
        assert "line too long" in said[2]

    def test_it_ends_with_its_line(self, micropython, firmware):
        assert talk(micropython, firmware, b"1 hello") == []


def test_a_copy_of_the_state_is_told_from_a_changed_one():
    line = Line().started()
    before = dump(line.console)
    assert dump(copy.deepcopy(line.console)) == before
    line.ok("step uptime_ds=20")
    assert dump(line.console) != before
