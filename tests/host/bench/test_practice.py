"""`tumblehome bench practice` as a person runs it: it says where the board is, and ends when it is told to."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest
import serial

from tumblehome.cli import main

pytestmark = pytest.mark.usefixtures("micropython")
PATIENCE_S = 30.0
CHILDREN = Path("/proc/self/task/%d/children" % os.getpid())


class Started:
    """The command as a process of its own."""

    def __init__(self, folder: Path, *words: str) -> None:
        self.folder = folder
        self.process = subprocess.Popen(
            [sys.executable, "-c", "from tumblehome.cli import main; main()", "bench", "practice", "--speed", "20",
             *words], cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.PIPE, encoding="utf-8")
        self.lines = [self.process.stdout.readline().split(maxsplit=1) for _ in range(3)]

    @property
    def url(self) -> str:
        return dict(self.lines)["port"].strip()

    def hello(self, within_s: float = PATIENCE_S) -> bytes:
        with serial.serial_for_url(self.url, timeout=within_s) as port:
            port.write(b"1 hello*typed\n")
            return port.readline()

    def hello_at_last(self) -> bytes:
        """Its answer as soon as it has started: what is said to it before is lost."""
        end_s = time.monotonic() + PATIENCE_S
        while not (said := self.hello(within_s=1.0)) and time.monotonic() < end_s:
            time.sleep(0.1)
        return said

    def children(self) -> list[int]:
        pid = self.process.pid
        found = [path.read_text().split() for path in Path("/proc/%d/task" % pid).glob("*/children")]
        return [int(child) for children in found for child in children]


@pytest.fixture
def start(tmp_path) -> Iterator:
    made: list[Started] = []

    def make(*words: str) -> Started:
        made.append(Started(tmp_path, *words))
        return made[-1]
    yield make
    for one in made:
        one.process.kill()
        one.process.communicate()


def is_there(pid: int) -> bool:
    with suppress(OSError):
        return " Z " not in Path("/proc/%d/stat" % pid).read_text()
    return False


def gone(pids: list[int]) -> bool:
    end_s = time.monotonic() + PATIENCE_S
    while any(map(is_there, pids)):
        if time.monotonic() > end_s:
            return False
        time.sleep(0.05)
    return True


@pytest.mark.skipif(not CHILDREN.exists(), reason="this system does not list the children of a process")
@pytest.mark.parametrize(("how", "status", "words", "board"), [
    (signal.SIGINT, 0, ("--tcp", "0", "--keep", "board"), "pico, on deck"),
    pytest.param(signal.SIGKILL, -9, ("--board", "esp32", "--wrong", "leak-stuck"),
                 "esp32, on deck; wrong: leak-stuck", marks=pytest.mark.long)])
def test_it_tells_its_port_answers_there_and_leaves_no_process_when_it_is_stopped(start, how, status, words, board):
    started = start(*words)
    assert started.lines[1] == ["board", board + "\n"]
    assert started.url.startswith("socket://127.0.0.1:" if "--tcp" in words else "/dev/")
    assert b"board=%s " % board.split(",")[0].encode() in started.hello()
    children = started.children()
    assert len(children) == 1
    started.process.send_signal(how)
    assert started.process.wait(PATIENCE_S) == status
    assert gone(children)
    flash = started.folder / "board" / "flash.bin"
    assert flash.exists() == ("--keep" in words)
    assert not flash.exists() or flash.stat().st_size == 352 * 4096


@pytest.mark.long
@pytest.mark.skipif(not CHILDREN.exists(), reason="this system does not list the children of a process")
def test_a_crash_of_its_code_is_one_line_and_a_second_board_on_its_flash_is_refused(start, run):
    started = start("--tcp", "0", "--keep", "board")
    refused = run("bench", "practice", "--tcp", "0", "--keep", "board")
    assert refused.status == 2 and refused.out == ""
    assert refused.err == ("--keep is board, and another practice board works on it: stop that one, or choose another"
                           " folder\n")
    started.hello_at_last()
    os.kill(started.children()[0], signal.SIGSEGV)
    started.hello_at_last()
    started.process.send_signal(signal.SIGINT)
    heard = started.process.communicate(timeout=PATIENCE_S)
    assert heard[1] == ("the board's code has crashed, and is started anew: its interpreter was ended by signal %d: it"
                        " gave no reason\n" % signal.SIGSEGV)


@pytest.mark.parametrize(("words", "said"), [
    (("--wrong", "gravity"), "--wrong is gravity; allowed is channels-swapped, camera-dead"),
    (("--board", "abacus"), "--board is abacus; allowed is pico, esp32"),
    (("--speed", "1000"), "--speed is 1000; allowed is 0.1 to 100"),
    (("--keep", "a-file"), "--keep is a-file, and that is no folder"),
    (("--keep", "a-file/below"), "--keep is a-file/below and cannot be used: "),
    (("--plan", "nowhere.toml"), "nowhere.toml"),
], ids=lambda value: str(value)[:30])
def test_what_cannot_be_is_one_sentence_and_status_2(words, said, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    Path("a-file").write_bytes(b"")
    with pytest.raises(SystemExit) as ended:
        main(["bench", "practice", *words])
    heard = capsys.readouterr()
    assert (ended.value.code, heard.out) == (2, "")
    assert heard.err.count("\n") == 1 and said in heard.err
