"""Boards on deck for a storm of lines: the whole code, as fast as it answers, in MicroPython or in this process.

Both are the boards of `seatrial.board_process` in front of a lander on deck. Their time hardly goes on while bytes
come, and leaps where the storm is silent, so that a million lines need no more of it than they must.
"""

import os
import shutil
import sys
import tempfile
from collections import deque
from types import ModuleType, SimpleNamespace

from lander.table import SAFE
from seatrial.board_files import constants
from seatrial.board_process import BLOCKS, GAVE_NO_REASON, BoardProcess, numbers
from seatrial.bodies import BodyError
from seatrial.chips.flash import BLOCK_BYTES
from seatrial.electronics import EPOCH_S
from seatrial.on_deck import DeckElectronics, DeckWorld
from seatrial.plan import load_sample

PIECE_BYTES = 4096
PASS_MS = 200  # electronics are brought forward when so much has gone by
SETTLE_MS = 3000
PATIENCE_S = 60.0  # a machine with much to do
ENDED_BY_ITSELF = GAVE_NO_REASON
TRICKLES = ("primary_trickle", "backup_trickle")
RELEASES = ("release_primary_pct", "release_backup_pct")
# At the end of boards/simulated.py: bytes come in long pieces, the end of each line is told as it is heard, a turn
# takes a millisecond, so that the drivers do not ask more than the lines, and the heap is told when it is wanted.
BULK = """

def _key(board):
    if board._at == len(board._piece):
        if not board._keys:
            return -1
        board._keys = 0
        said = board.line.ask("key")
        if said == "heap":
            board._tell_heap()
            return -1
        board._piece = binascii.unhexlify(said)
        board._at = 0
    board._at += 1
    code = board._piece[board._at - 1]
    if code == 10:
        board.line.tell("heard")
    return code


def _sleep_ms(board, span_ms, is_deep):
    return 0 if board._at < len(board._piece) else _asked(board, span_ms, is_deep)


def _turned(board):
    board.line.now_ms += 1


_asked = Board.sleep_ms
Board._piece = b""
Board._at = 0
Board.key, Board.sleep_ms, Board.turned = _key, _sleep_ms, _turned
"""


class StormBoard(BoardProcess):
    """`start`, then `type` pieces and `pass_ms`. `ended` says why it has ended, None while it runs.

    `watch` is told what it does: `heard()` at the end of each line before that is answered, `answered(bytes)`,
    `changed_state()`, and `looked(board)` after each change of an output.
    """

    def __init__(self, watch, board: str = "pico") -> None:
        self._watch = watch
        self._prepare(board)
        self.ended: str | None = None
        self.state = SAFE
        self._record = load_sample().mission_record()
        self._put_plan(self._record)
        self.fresh_image = bytes(self.flash.image)

    def _prepare(self, board: str) -> None:
        super().__init__(board, appended={"boards/simulated.py": BULK})

    # --- its life ---------------------------------------------------------------------------------------------------

    def start(self) -> None:
        """Start it on its flash, on deck."""
        self._begin_counts()
        plan = load_sample()
        self.world = DeckWorld(plan, 1)
        self.electronics = DeckElectronics(self._pins, self._fitted, self.world, plan)
        self._is_wired = True
        self._boot_s = self.world.now_s
        self._passed_ms = 0
        self._until_ms = 0
        self._weighs = False
        self._piece = b""
        self.ended = None
        self.state = SAFE
        self.wanted: dict[str, int] = {}
        self._fresh()
        self.pass_ms(SETTLE_MS)

    def _fresh(self) -> None:
        self._start(self._board)

    def renew_flash(self) -> None:
        """As it was when the plan was put on it."""
        self.flash.image[:] = self.fresh_image

    def stop(self) -> None:
        """Power is cut."""
        self._end()

    def close(self) -> None:
        self._end()
        self._folder.cleanup()

    # --- what is done to it -----------------------------------------------------------------------------------------

    def type(self, piece: bytes) -> None:
        """At most PIECE_BYTES."""
        self._piece = piece
        self._until_ms = self._now_ms
        self._run()

    def pass_ms(self, span_ms: int) -> None:
        """Silence."""
        self._until_ms = self._now_ms + span_ms
        self._run()

    def weigh(self) -> int:
        """Bytes of its heap in use after a collection; 0 where nobody can say."""
        known = len(self.heap_bytes)
        self._weighs = True
        self.type(b"")
        return self.heap_bytes[-1] if len(self.heap_bytes) > known else 0

    def _run(self) -> None:
        if self.ended is not None:
            return
        try:
            if self._pending_ms is not None:
                self._go_on()
            self._serve(lambda: self._pending_ms is not None)
        except BodyError as error:
            self._stopped(self._last_words() if "has ended" in str(error) else str(error))

    def _read_lines(self) -> None:
        data = self._read(PATIENCE_S)
        if data is None:
            raise BodyError("its process has hung for %.0f s" % PATIENCE_S)
        if not data:
            raise BodyError("its process has ended")
        self._take(data)

    def _last_words(self) -> str:
        return self._crash(PATIENCE_S) or super()._last_words()

    def _stopped(self, why: str) -> None:
        self.ended = why
        self.electronics.let_go()
        self._end()

    # --- what it asks -----------------------------------------------------------------------------------------------

    def _make_handlers(self) -> dict:
        return {**super()._make_handlers(), b"heard": self._heard}

    def _sleep(self, until_ms: bytes, _is_deep: bytes) -> None:
        self._pending_ms = int(until_ms)
        if self._has_bytes() or self._pending_ms <= self._until_ms:
            self._go_on()

    def _go_on(self) -> None:
        """End the sleep: at once for bytes, else when its time has come, or the silence is over."""
        until_ms = self._now_ms if self._has_bytes() else max(self._now_ms, min(self._pending_ms, self._until_ms))
        if self._fed_ms is not None and until_ms - self._fed_ms > self._watchdog_ms:
            raise BodyError("its watchdog bit")
        self._pending_ms = None
        self._set_time(until_ms)
        if until_ms - self._passed_ms >= PASS_MS:
            self.electronics.pass_time((until_ms - self._passed_ms) / 1000.0)
            self._passed_ms = until_ms
        self._answer(b"%d 0 %d" % (until_ms, 1 if self._has_bytes() else 0))

    def _has_bytes(self) -> bool:
        return bool(self._piece) or self._weighs

    def _set_time(self, now_ms: int) -> None:
        self._now_ms = now_ms
        if self._is_wired:
            self.electronics.now_s = EPOCH_S + self._boot_s + now_ms / 1000.0

    def _key(self) -> bytes:
        if self._weighs:
            self._weighs = False
            return b"heap"
        piece, self._piece = self._piece, b""
        return piece.hex().encode()

    def _tell_cause(self) -> bytes:
        return b"0"

    def _say(self, *words: bytes) -> None:
        super()._say(*words)
        if self._is_wired:
            self._watch.answered(b" ".join(words))

    def _heard(self) -> None:
        self._watch.heard()

    def _take_stepped(self, *pairs: bytes) -> None:
        self.wanted = numbers(pairs)
        if self.wanted["state"] != self.state:
            self.state = self.wanted["state"]
            self._watch.changed_state()
        self._look()

    def _out(self, pin: bytes, level: bytes) -> None:
        super()._out(pin, level)
        if self._signal_matters(int(pin)):
            self._look()

    def _pwm(self, pin: bytes, frequency_hz: bytes, duty: bytes) -> None:
        super()._pwm(pin, frequency_hz, duty)
        self._look()

    def _signal_matters(self, number: int) -> bool:
        return self._is_wired and self.electronics.matters(number)

    def _look(self) -> None:
        if self._is_wired:
            self._watch.looked(self)

    def driven(self) -> dict[str, int]:
        """What the pins drive, trickles and lamps among it."""
        lines = self.electronics._lines
        return {**self.electronics.levels(), "beacon": lines["beacon"].level,
                "surface_supply": lines["surface_supply"].level, **{name: lines[name].level for name in TRICKLES}}


# --- the same in this process ---------------------------------------------------------------------------------------


class _Folder:
    """A folder of this machine as `vfs.VfsLfs2` shows a littlefs."""

    def __init__(self, device, **_named) -> None:
        self._at = device.folder

    def open(self, name: str, mode: str = "r"):
        return open(os.path.join(self._at, name), mode, buffering=0 if "b" in mode else -1)  # noqa: SIM115

    def ilistdir(self, name: str):
        with os.scandir(os.path.join(self._at, name)) as found:
            return [(one.name, 0x4000 if one.is_dir() else 0x8000, 0, one.stat().st_size) for one in found]

    def mkdir(self, name: str) -> None:
        os.mkdir(os.path.join(self._at, name))

    def remove(self, name: str) -> None:
        os.remove(os.path.join(self._at, name))

    def rmdir(self, name: str) -> None:
        os.rmdir(os.path.join(self._at, name))

    def rename(self, old: str, new: str) -> None:
        os.rename(os.path.join(self._at, old), os.path.join(self._at, new))

    def statvfs(self, _name: str) -> tuple[int, ...]:
        return BLOCK_BYTES, BLOCK_BYTES, BLOCKS["pico"], BLOCKS["pico"] - 2


class HereBoard(StormBoard):
    """The same code in this process: no MicroPython is needed, and its flash is a folder."""

    def _prepare(self, board: str) -> None:
        self._vfs_before = sys.modules.get("vfs")
        sys.modules["vfs"] = folders = ModuleType("vfs")
        folders.__dict__["VfsLfs2"] = _Folder
        from boards import flash_volume

        self._volume_before = flash_volume.__dict__["vfs"]
        flash_volume.__dict__["vfs"] = folders
        self._board = board
        self._pins = constants("boards/%s.py" % board)
        self._fitted = constants("boards/fitted.py")
        self._watchdog_ms = constants("boards/simulated.py")["watchdog_ms"]
        self._folder = tempfile.TemporaryDirectory(prefix="tumblehome-storm-")
        self.flash = SimpleNamespace(image=bytearray(), folder=self._folder.name)
        self.said: deque[str] = deque(maxlen=20)
        self.heap_bytes: list[int] = []
        self.requests = 0
        self._process = None
        self._is_wired = False
        self._handlers = self._make_handlers()
        self._boot_s, self._start_ms = 0.0, 0
        self._flight = None
        self._begin_counts()

    def _put_plan(self, record: bytes) -> None:
        from boards.plan_copies import in_files

        shutil.rmtree(self._folder.name)
        os.mkdir(self._folder.name)
        in_files(self._folder.name).store(record)

    def renew_flash(self) -> None:
        self._put_plan(self._record)

    def _fresh(self) -> None:
        from boards.deck_line import DeckLine
        from boards.flight import Flight
        from boards.gear import Gear

        self._answered = b""
        board = _here(self)
        self._flight = Flight(board, Gear(board), DeckLine(board))
        self._flight.boot()

    def _run(self) -> None:
        """Turns of the flight, until the bytes are heard and the silence is over."""
        if self.ended is not None:
            return
        board = self._flight.board
        try:
            while True:
                self._flight.turn()
                if self._flight.is_over:
                    self._stopped(ENDED_BY_ITSELF)
                    return
                if not self._has_bytes() and not board._piece and self._now_ms >= self._until_ms:
                    return
        except BodyError as error:
            self._stopped(str(error))
        except Exception as error:  # what would end the interpreter of a board
            self._stopped("%s: %s" % (type(error).__name__, error))

    def _end(self) -> None:
        self._flight = None

    def close(self) -> None:
        from boards import flash_volume

        super().close()
        flash_volume.__dict__["vfs"] = self._volume_before
        if self._vfs_before is None:
            del sys.modules["vfs"]
        else:
            sys.modules["vfs"] = self._vfs_before

    def exchange(self, text: str) -> bytes | None:
        """What is answered to one line of the board."""
        verb, *words = text.encode().split()
        try:
            self._answered = None
            answer = self._handlers[verb](*words)
        except OSError as error:
            return b"no %d" % error.args[0]
        return self._answered if answer is None else answer

    def _answer(self, answer: bytes) -> None:
        self._answered = answer

    def _sleep(self, until_ms: bytes, _is_deep: bytes) -> None:
        """It ends when its time has come, however long the silence is still."""
        self._pending_ms = int(until_ms)
        self._until_ms = max(self._until_ms, self._pending_ms) if self._flight is None else self._until_ms
        self._go_on()

    def _key(self) -> bytes:
        self._weighs = False
        piece, self._piece = self._piece, b""
        return piece.hex().encode()


def _here(storm: HereBoard):
    from boards import simulated

    class Line(simulated.Line):
        """Its other end is in this process."""

        def tell(self, text: str) -> None:
            storm._set_time(self.now_ms)
            storm.exchange(text)

        def ask(self, text: str) -> str:
            storm._set_time(self.now_ms)
            said = (storm.exchange(text) or b"").decode()
            if said.startswith("no "):
                raise OSError(int(said[3:]))
            return said

    class Board(simulated.Board):
        """Without a heap to tell of, on a folder."""

        def __init__(self) -> None:
            super().__init__("pico")
            self.line = Line()
            self._piece = b""

        def flash(self):
            return storm.flash

        def files(self, _volume):
            """Those of this installation."""
            return _Folder(SimpleNamespace(folder=""))

        def key(self) -> int:
            if not self._piece:
                if not self._keys:
                    return -1
                self._keys = 0
                self._piece = bytes.fromhex(self.line.ask("key"))
                if not self._piece:
                    return -1
            code, self._piece = self._piece[0], self._piece[1:]
            if code == 10:
                storm._heard()
            return code

        def sleep_ms(self, span_ms: int, is_deep: int) -> int:
            return 0 if self._piece else super().sleep_ms(span_ms, is_deep)

        def turned(self) -> None:
            self.line.now_ms += 1

        def _tell_heap(self) -> None:
            """Another interpreter."""

    return Board()
