"""One core, three bodies: the same journal, byte for byte, and one sentence when the other end is not what it should be."""

import os
import pty
import socket
import subprocess
import threading
import tty
from contextlib import suppress

import pytest

from lander import wire
from lander.console import Console
from seatrial import bodies, loader
from seatrial.bodies import (
    BodyError,
    CPythonBody,
    MicroPythonBody,
    WireBody,
    find_micropython,
    firmware_folder,
    open_body,
)
from seatrial.result import DiveResult

from .flying import SAMPLE, SHORT, changed, fly
from .single_faults import SCENARIOS

DOZEN = [scenario for scenario in SCENARIOS if scenario.both_bodies]
SPLASH_ONLY = changed(SHORT, dive={"watch_after_surfacing_min": 1.0}, times={"timed_release_min": 22.0},
                      journal={"reading_descent_s": 10.0, "reading_bottom_s": 60.0})
RECORD = SHORT.mission_record()
HANGS_AFTER_S = 10.0


@pytest.fixture
def micropython() -> str:
    try:
        return find_micropython()
    except BodyError as error:
        pytest.skip(str(error))


@pytest.fixture
def impatient(monkeypatch) -> None:
    """Nobody waits long in a test."""
    monkeypatch.setattr(bodies, "HELLO_S", 1.0)
    monkeypatch.setattr(bodies, "ANSWER_S", 0.5)
    monkeypatch.setattr(loader, "PROMPT_S", 0.3)


def fly_with(body, *faults: str, plan=SHORT) -> DiveResult:
    try:
        return fly(*faults, plan=plan, body=body)
    finally:
        body.close()


# --- real MicroPython --------------------------------------------------------------------------------------------------


def fly_micropython(*faults: str, plan) -> DiveResult:
    body = MicroPythonBody(plan.mission_record())
    body.lock_heap()
    return fly_with(body, *faults, plan=plan)


def test_the_journals_of_both_pythons_are_equal_on_the_sample(micropython):
    real, here = fly_micropython(plan=SAMPLE), fly()
    assert (real.body, here.body) == ("micropython-core", "cpython")
    assert real.journal == here.journal
    assert real.series == here.series
    assert real.verdicts == here.verdicts


@pytest.mark.parametrize("scenario", DOZEN, ids=lambda scenario: scenario.name)
def test_the_journals_of_both_pythons_are_equal_with_a_fault_and_no_step_allocates(scenario, micropython):
    """Every step runs with the heap locked, so that an allocation would be an error at the other end."""
    real, here = fly_micropython(*scenario.faults, plan=SHORT), fly(*scenario.faults, plan=SHORT)
    assert real.journal == here.journal
    assert real.evidence == here.evidence


def test_a_locked_heap_is_an_error_to_whoever_allocates(micropython):
    """The proof of the tests above is worth what this lock is worth."""
    program = "import micropython\ndef f():\n micropython.heap_lock()\n return [0] * 50\nf()\n"
    done = subprocess.run([micropython, "-c", program], capture_output=True, text=True, timeout=20, check=False)
    assert "MemoryError" in done.stderr + done.stdout


def test_micropython_answers_how_much_heap_it_uses(micropython):
    body = MicroPythonBody(RECORD)
    used, free = body.heap()
    body.close()
    assert 0 < used < used + free <= 160 * 1024 + 4096


def test_a_body_that_was_closed_leaves_no_process(micropython):
    body = MicroPythonBody(RECORD)
    body.close()
    assert body._process.poll() is not None


@pytest.mark.parametrize("name", ["micropython", "micropython-core"])
def test_without_micropython_one_sentence_says_how_to_get_it(name, monkeypatch, tmp_path):
    monkeypatch.setattr(bodies.sys, "executable", str(tmp_path / "python"))
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(BodyError, match="there is no `micropython` here: .*PATH.*--body cpython works without it"):
        open_body(name, RECORD)


def test_the_firmware_folder_holds_what_a_board_runs():
    assert (firmware_folder() / "main.py").exists()


# --- a port ------------------------------------------------------------------------------------------------------------


class Peer:
    """A TCP server on this machine that answers each line by `answer(line)`: bytes, or None to hang up."""

    def __init__(self, answer) -> None:
        self._answer = answer
        self._server = socket.create_server(("127.0.0.1", 0))
        self.url = "socket://127.0.0.1:%d" % self._server.getsockname()[1]
        threading.Thread(target=self._serve, daemon=True).start()

    def _serve(self) -> None:
        link, _address = self._server.accept()
        with link, link.makefile("rb") as lines:
            for line in lines:
                said = self._answer(line)
                if said is None:
                    return
                try:
                    link.sendall(said)
                except OSError:
                    return

    def close(self) -> None:
        self._server.close()


@pytest.fixture
def peer():
    made = []

    def make(answer) -> str:
        made.append(Peer(answer))
        return made[-1].url
    yield make
    for one in made:
        one.close()


def controller(hang_up_after: int | None = None, hello: str | None = None):
    """The real core at the other end of a wire; hangs up after so many lines, or greets with other words."""
    console = Console()
    heard = []

    def answer(line: bytes) -> bytes | None:
        heard.append(line)
        if hang_up_after is not None and len(heard) > hang_up_after:
            return None
        text = line.decode().strip()
        number, verb = wire.unframe(text).split()[:2]
        if verb == "hello" and hello is not None:
            return (wire.frame("%s ok %s" % (number, hello)) + "\n").encode()
        return (console.answer(text) + "\n").encode()
    return answer


def test_the_core_behind_a_socket_gives_the_equal_journal(peer):
    body = open_body(peer(controller()), SPLASH_ONLY.mission_record())
    assert isinstance(body, WireBody)
    assert fly_with(body, "reset@record", plan=SPLASH_ONLY).journal == fly("reset@record", plan=SPLASH_ONLY).journal


@pytest.mark.parametrize("said", [b"", b"\n", b"hello yourself\n", b"\xff\xfe\x00\x80\n", b"1 ok lander=0.1.0*0000\n",
                                  b"login: "], ids=repr)
def test_a_port_that_answers_nothing_or_garbage_is_one_sentence(said, peer, impatient):
    with pytest.raises(BodyError, match="nothing answers `hello` on socket://.*is the firmware running there"):
        open_body(peer(lambda line: said), RECORD)


def test_a_serial_port_that_answers_nothing_is_one_sentence(impatient):
    board_end, host_end = pty.openpty()
    tty.setraw(host_end)
    try:
        with pytest.raises(BodyError, match="nothing answers `hello` on /dev/.* within 1 s"):
            open_body(os.ttyname(host_end), RECORD)
    finally:
        os.close(board_end)
        os.close(host_end)


def within(seconds: float, action) -> list[BaseException]:
    """What `action` raised within so many seconds; an empty list when it goes on."""
    raised: list[BaseException] = []

    def run() -> None:
        try:
            action()
        except (BodyError, OSError) as error:
            raised.append(error)
    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    thread.join(seconds)
    return raised


def test_a_port_that_chatters_without_end_is_one_sentence(impatient):
    server = socket.create_server(("127.0.0.1", 0))
    ended = threading.Event()

    def chatter() -> None:
        link, _address = server.accept()
        with link, suppress(OSError):
            while not ended.wait(0.02):
                link.sendall(b"$GPTXT,01,01,02,no answer of ours*00\r\n")
    thread = threading.Thread(target=chatter, daemon=True)
    thread.start()
    raised = within(HANGS_AFTER_S, lambda: open_body("socket://127.0.0.1:%d" % server.getsockname()[1], RECORD))
    ended.set()
    thread.join(2.0)
    server.close()
    assert [type(error) for error in raised] == [BodyError]


@pytest.mark.parametrize(("hello", "said"), [
    ("lander=9 wire=99", "speaks wire version 99; this host speaks %d: flash matching firmware" % wire.VERSION),
    ("lander=9 wire=x", "without a number for `wire`"),
    ("lander=9", "without a number for `wire`"),
])
def test_another_wire_version_is_one_sentence(hello, said, peer, impatient):
    with pytest.raises(BodyError, match=said):
        open_body(peer(controller(hello=hello)), RECORD)


@pytest.mark.parametrize("lines", [
    0,
    1, 5, 12, 60, 400])
def test_a_port_that_vanishes_is_one_sentence_at_any_moment(lines, peer, impatient):
    with pytest.raises(BodyError, match="is gone|does not answer|nothing answers"):
        fly_with(open_body(peer(controller(hang_up_after=lines)), RECORD))


def test_a_board_that_is_unplugged_in_the_middle_of_a_dive_is_one_sentence(micropython, impatient):
    body = MicroPythonBody(RECORD)
    true_step, steps = body.step, []

    def step(inputs, outputs) -> None:
        steps.append(1)
        if len(steps) == 300:
            body._process.kill()
            body._process.wait()
        true_step(inputs, outputs)
    body.step = step
    with pytest.raises(BodyError, match="micropython-core (is gone|does not answer)"):
        fly_with(body)
    assert len(steps) == 300


def test_a_pseudo_terminal_that_is_closed_in_the_middle_is_one_sentence(impatient):
    board_end, host_end = pty.openpty()
    tty.setraw(host_end)
    tty.setraw(board_end)
    answer = controller(hang_up_after=200)

    def serve() -> None:
        heard = b""
        while b"\n" not in heard or answered(heard):
            heard = (b"" if b"\n" in heard else heard) + os.read(board_end, 1)
        os.close(board_end)

    def answered(line: bytes) -> bool:
        said = answer(line)
        if said is not None:
            os.write(board_end, said)
        return said is not None
    thread = threading.Thread(target=serve, daemon=True)
    thread.start()
    body = open_body(os.ttyname(host_end), RECORD)
    os.close(host_end)
    raised = within(HANGS_AFTER_S, lambda: fly_with(body))
    thread.join(2.0)
    assert [type(error) for error in raised] == [BodyError]


@pytest.mark.parametrize(("answer", "said"), [
    ("ok depth=4", "answered an output that is not known here: depth"),
    ("ok state=9", "state=9"),
    ("no out of cheese", "refused `step.*out of cheese"),
])
def test_an_answer_that_makes_no_sense_is_one_sentence(answer, said, peer, impatient):
    with pytest.raises(BodyError, match=said):
        fly_with(open_body(peer(controller_but("step", answer)), RECORD))


@pytest.mark.parametrize("answer", [
    "ok hex=00", "ok", "ok hex=zz"])
def test_a_record_that_makes_no_sense_is_one_sentence(answer, peer, impatient):
    with pytest.raises(BodyError, match="answered a record of"):
        fly_with(open_body(peer(controller_but("record", answer)), RECORD))


def controller_but(verb: str, answer: str):
    """The real core, but for what it answers to this verb."""
    true = controller()

    def odd(line: bytes) -> bytes:
        number, asked = wire.unframe(line.decode().strip()).split()[:2]
        return (wire.frame("%s %s" % (number, answer)) + "\n").encode() if asked == verb else true(line)
    return odd


@pytest.mark.parametrize("name", ["nonsense", "/dev/no-such-port", "socket://127.0.0.1:1", "socket://", "quux://here"])
def test_a_port_that_cannot_be_opened_is_one_sentence_with_the_forms_that_can(name):
    with pytest.raises(BodyError, match="cannot open %s.*want cpython, compiled, micropython, micropython-core, or a serial port" % name):
        open_body(name, RECORD)


def test_real_micropython_behind_a_socket_gives_the_equal_journal(micropython):
    """A bridge from TCP to the standard input and output of the interpreter, as serial servers do it."""
    server = socket.create_server(("127.0.0.1", 0))
    folder = firmware_folder()
    process = subprocess.Popen([micropython, "-X", "heapsize=%d" % bodies.HEAP_BYTES, "main.py"], cwd=folder,
                               stdin=subprocess.PIPE, stdout=subprocess.PIPE,
                               env={**os.environ, "MICROPYPATH": str(folder)}, bufsize=0)

    def bridge() -> None:
        link, _address = server.accept()
        with link:
            back = threading.Thread(target=lambda: pump(process.stdout.fileno(), link.sendall), daemon=True)
            back.start()
            pump(link.fileno(), process.stdin.write)
            back.join(2.0)
    thread = threading.Thread(target=bridge, daemon=True)
    thread.start()
    try:
        body = open_body("socket://127.0.0.1:%d" % server.getsockname()[1], SPLASH_ONLY.mission_record())
        result = fly_with(body, "jammed", plan=SPLASH_ONLY)
        thread.join(5.0)
    finally:
        process.kill()
        process.wait()
        server.close()
    assert result.journal == fly("jammed", plan=SPLASH_ONLY).journal


def pump(source: int, sink) -> None:
    while piece := _read(source):
        try:
            sink(piece)
        except OSError:
            return


def _read(source: int) -> bytes:
    try:
        return os.read(source, 4096)
    except OSError:
        return b""


def test_the_body_in_this_process_forgets_everything_when_closed():
    body = CPythonBody(RECORD)
    fly_with(body)
    assert body.mission is None
