"""A storm on the deck line: `python -m seatrial.line_storm`, with `--quick` for a first look.

Random, damaged and malicious lines (`seatrial.storm_lines`) come to the whole code of a board on deck, in MicroPython
or in this process (`seatrial.storm_boards`). What is held:

- each line is answered once, in order, by an answer whose checksum is right, that is short enough and printable;
- no line is obeyed whose number, checksum, length or letters are wrong; no verb fails on the inside;
- the board neither crashes nor hangs, and starts anew only where the line may ask for that;
- nothing moves that is not asked for. Each life of a board has one kind of line held back: all that may move
  something, or the first step of a release, or its second. So no release may ever be driven;
- after a minute of silence everything is off; the heap does not grow.

Exit status 0: all of that held. 1: it did not, and the lines before it are told.
"""

import argparse
import re
import sys
from collections import Counter, deque
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from itertools import chain
from time import perf_counter

from lander import VERSION, wire
from lander.table import ARMED, SAFE
from seatrial.bodies import BodyError
from seatrial.storm_boards import ENDED_BY_ITSELF, PIECE_BYTES, RELEASES, TRICKLES, HereBoard, StormBoard
from seatrial.storm_lines import MODES, NO_FIRE, STILL, Item, Storm, crc, is_held, number_of, whole, whole_ends

LINES, QUICK_LINES = 1_000_000, 5_000
LIFE_LINES = 10_000  # then its power is cut, and the next life has another kind of line held back
WEIGH_LINES = 500
LONG_BYTES = 1 << 20  # a line without an end, once in a storm
UNFINISHED_MS = 10_000  # after so much silence a board forgets half a line
HEARD_WITHIN_MS = 1500  # that much later than it was typed a byte may be heard, so that near 10 s it may be either
MINUTE_MS = 62_000
LEADING = re.compile(rb"[0-9]{1,9}")
SPOILT = b"\x01\n"  # an end behind which no checksum is right
SHOWN = 12
ENDING = ("keep", "clear", "bye")  # what asks a board to start anew


@dataclass
class Told:
    """What a storm has done, and what went wrong."""

    lines: int = 0
    bytes: int = 0
    answers: int = 0
    obeyed: Counter = field(default_factory=Counter)
    refused: Counter = field(default_factory=Counter)
    lives: int = 0
    restarts: int = 0
    wall_s: float = 0.0
    board_s: float = 0.0
    heap_first: int = 0
    heap_most: int = 0
    growth: int = 0
    faults: list[str] = field(default_factory=list)

    def add(self, other: "Told") -> None:
        """Both together; they went on side by side."""
        for name in ("lines", "bytes", "answers", "lives", "restarts", "board_s"):
            setattr(self, name, getattr(self, name) + getattr(other, name))
        self.obeyed += other.obeyed
        self.refused += other.refused
        self.wall_s = max(self.wall_s, other.wall_s)
        self.heap_first = max(self.heap_first, other.heap_first)
        self.heap_most = max(self.heap_most, other.heap_most)
        self.growth = max(self.growth, other.growth)
        self.faults += other.faults

    def sentences(self) -> list[str]:
        """For a person."""
        heap = "heap %d bytes at first, %d at most, growth in a life %d" % (
            self.heap_first, self.heap_most, self.growth) if self.heap_first else "heap not weighed in this process"
        return [
            "%d lines, %d bytes, in %.0f s: %.0f lines a second; %.1f h on the boards' clocks" % (
                self.lines, self.bytes, self.wall_s, self.lines / max(self.wall_s, 1e-9), self.board_s / 3600.0),
            "%d answers, %d of them obeyed, in %d lives with %d restarts that were asked for" % (
                self.answers, self.obeyed.total(), self.lives, self.restarts),
            "obeyed: " + ", ".join("%s %d" % one for one in self.obeyed.most_common()),
            "refused: " + ", ".join("%s %d" % one for one in self.refused.most_common(SHOWN)), heap,
            "%d faults" % len(self.faults), *self.faults[:SHOWN]]


class Watch:
    """Types a storm into boards and holds what comes back."""

    def __init__(self, seed: int, board: StormBoard | None = None, here: bool = False) -> None:
        self.told = Told()
        self._seed = seed
        self._storm = Storm(seed)
        self._mode = STILL
        self._is_live = False
        self._is_in_session = False
        self._heaps: list[int] = []
        self._sent = bytearray()  # of the line that is typed, for what is held back
        self._waiting = bytearray()  # to be typed
        self._typed = bytearray()  # and not heard yet
        self._silent_ms = 0  # since the last byte
        self._line: bytes | None = None  # heard last, None where that was empty
        self._answers: list[bytes] = []  # to it
        self._may_be_torn = False
        self._has_turned = False
        self._may_end = False
        self._last: deque[bytes] = deque(maxlen=SHOWN)
        self._board = board or (HereBoard if here else StormBoard)(self)

    def run(self, lines: int, long_bytes: int = LONG_BYTES) -> Told:
        """Throw so many lines, a long one first."""
        began_s = perf_counter()
        life_lines = min(LIFE_LINES, -(-lines // len(MODES)))
        items = chain([Item(b"1 hello " + b"x" * long_bytes + b"*typed\n")], self._storm.items())
        while self.told.lines < lines:
            self._begin_life()
            end = min(lines, self.told.lines + life_lines)
            while self.told.lines < end:
                self.throw(next(items))
                if self._board.ended is not None:
                    self._come_back()
                if self.told.lines // WEIGH_LINES > len(self._heaps) + self._weighed:
                    self._weigh()
            self._end_life()
        self.told.wall_s = perf_counter() - began_s
        return self.told

    def begin(self) -> None:
        """A life in which only the second step of a release is held back, for `throw_now`."""
        self._mode = NO_FIRE
        self._board.renew_flash()
        self._start()

    def throw_now(self, item: Item) -> None:
        """Throw one item at once, and hold all that it does."""
        self.throw(item)
        self._type(bytes(self._waiting), 0)
        self._waiting = bytearray()
        self._hold_answers()
        if self._board.ended is not None:
            self._come_back()

    def close(self) -> None:
        """Let the board go."""
        self._board.close()

    # --- lives ------------------------------------------------------------------------------------------------------

    def _begin_life(self) -> None:
        self._mode = MODES[self.told.lives % len(MODES)]
        self.told.lives += 1
        self._board.renew_flash()
        self._start()
        self._heaps = []
        self._weighed = self.told.lines // WEIGH_LINES

    def _start(self) -> None:
        self._is_live = self._is_in_session = self._may_end = False
        for bytes_of_the_last in (self._typed, self._sent, self._waiting):
            bytes_of_the_last.clear()
        self._answers, self._line = [], None
        self._board.start()

    def _come_back(self) -> None:
        """It has ended; a board starts anew then."""
        self.told.board_s += self._board._now_ms / 1000.0
        self.told.restarts += 1
        self._start()

    def _end_life(self) -> None:
        """Silence, and then everything has to be off."""
        board = self._board
        self._type(bytes(self._waiting) + b"\n1 bye*typed\n", MINUTE_MS)
        self._waiting.clear()
        if board.ended is None and board.state != SAFE:
            self._type(b"1 ask command=disarm*typed\n", MINUTE_MS)
        self._hold_answers()
        if board.ended is not None:
            self._come_back()
        on = [name for name, level in board.driven().items() if level]
        if board.state == SAFE and on:
            self._fault("after a minute of silence it is not off: %s" % ", ".join(on))
        if self._mode == STILL:  # in which nothing starts anew
            self.told.growth = max(self.told.growth, _growth(self._heaps))
        self.told.heap_first = self.told.heap_first or (self._heaps or [0])[0]
        self.told.heap_most = max([self.told.heap_most, *self._heaps])
        self.told.board_s += board._now_ms / 1000.0
        board.stop()

    def _weigh(self) -> None:
        self._heaps.append(self._board.weigh())

    # --- one item ---------------------------------------------------------------------------------------------------

    def throw(self, item: Item) -> None:
        """Type it, unless it could be what is held back now: then it is spoilt. Bytes wait for more, up to a piece."""
        data = self._waiting
        for line in item.data.splitlines(keepends=True) if b"\n" in item.data else [item.data]:
            whole_line = bytes(self._sent) + line.replace(b"\r", b"")  # which a board does not hear
            is_end = line.endswith(b"\n")
            data += line.rstrip(b"\r\n") + SPOILT if is_end and is_held(whole_line, self._mode) else line
            self._sent = bytearray() if is_end else bytearray(whole_line[-2 * wire.LINE_MAX:])
        if item.silent_ms or len(data) >= PIECE_BYTES:
            self._waiting = bytearray()
            self._type(bytes(data), item.silent_ms)

    def _type(self, data: bytes, silent_ms: int) -> None:
        board = self._board
        self.told.bytes += len(data)
        self._typed += data
        for at in range(0, len(data), PIECE_BYTES):
            board.type(data[at:at + PIECE_BYTES])
            if board.ended is not None:
                self._hold_end()
                return
        self._silent_ms = silent_ms if data else self._silent_ms + silent_ms
        if silent_ms:
            board.pass_ms(silent_ms)
            if self._silent_ms > UNFINISHED_MS + HEARD_WITHIN_MS:
                self._typed.clear()
            elif self._silent_ms >= UNFINISHED_MS:
                self._has_turned = True
            if board.ended is not None:
                self._hold_end(was_silent=self._silent_ms > UNFINISHED_MS)

    # --- what the board does, as it does it -------------------------------------------------------------------------

    def heard(self) -> None:
        """It has heard the end of the next line of those that were typed."""
        self._hold_answers()
        typed, _, self._typed = self._typed.partition(b"\n")
        line = bytes(typed).replace(b"\r", b"")
        self._line = line if line else None
        self._may_be_torn, self._has_turned = self._has_turned, False
        if line:
            self.told.lines += 1
            self._last.append(line[:2 * wire.LINE_MAX])

    def answered(self, answer: bytes) -> None:
        """It has answered."""
        self._answers.append(answer)
        if self._line is not None and len(self._answers) == 1:
            self._hold_answer(self._line, answer)

    def changed_state(self) -> None:
        """The mission is in another state, where the board forgets what it has heard of a line."""
        self._has_turned = True
        if self._board.state not in (SAFE, ARMED):
            self._fault("the mission has left the deck")

    def looked(self, board: StormBoard) -> None:
        """An output has changed."""
        if self._is_live:
            return
        driven = board.driven()
        names = driven if self._mode == STILL or self._is_in_session else RELEASES
        still = () if self._mode == STILL else TRICKLES  # a test of the circuits that was begun goes on to its end
        moved = [name for name in names if driven[name] and name not in still]
        if moved:
            self._fault("moved: %s" % ", ".join(moved))

    def _hold_answers(self) -> None:
        """The line before has had its turn: there was one answer to it, or none to an empty one."""
        wanted = 0 if self._line is None else 1
        if len(self._answers) != wanted and not (self._may_be_torn and len(self._answers) < wanted):
            self._fault("%d answers and not %d" % (len(self._answers), wanted))
        self._answers = []
        self._line = None

    def _hold_answer(self, line: bytes, answer: bytes) -> None:
        self.told.answers += 1
        text, _, mark = answer.rpartition(b"*")
        if len(answer) > wire.LINE_MAX or mark != crc(text) or not all(32 <= code < 127 for code in answer):
            self._fault("an answer that is none: %r" % answer[:80])
            return
        number, verb, *words = text.decode().split(" ")
        ends = whole_ends(line) if self._may_be_torn else filter(None, [whole(line)])
        asked = next((text for text in ends if number_of(text) == number), None)
        if verb == "ok":
            if asked is None:
                self._fault("obeyed: %r" % line[:80])
            else:
                self._obeyed(asked.split()[1].decode())
                self._storm.learn(answer)
        elif verb != "no" or (number not in ("0", _readable(line)) and asked is None):
            self._fault("an answer of no kind: %r" % answer[:80])
        else:
            self.told.refused[" ".join(words).split(":")[0].split("=")[0][:40]] += 1
            if words and words[0] == "failed:":
                self._fault("a verb failed on the inside: %r" % answer[:80])

    def _obeyed(self, verb: str) -> None:
        self.told.obeyed[verb] += 1
        self._may_end = self._may_end or verb in ENDING
        self._is_in_session = self._is_in_session or verb == "session"
        if verb == "live" and b"code=" in self._last[-1]:
            self._is_live = True  # a number of four digits can be guessed; then releases are the host's

    def _hold_end(self, was_silent: bool = False) -> None:
        """It has ended: was it asked to?"""
        self._hold_answers()
        why = self._board.ended
        if why != ENDED_BY_ITSELF or not (self._may_end or (self._is_in_session and was_silent)):
            self._fault("the board ended: %s" % why)

    def _fault(self, what: str) -> None:
        self.told.faults.append("%s; seed %d, life %d (%s), line %d; last lines %s" % (
            what, self._seed, self.told.lives, self._mode, self.told.lines, [one[:80] for one in self._last][-3:]))


def _readable(line: bytes) -> str:
    """The number that a line begins with; one that is refused may be answered with it."""
    found = LEADING.match(line.lstrip())
    return "%d" % int(found[0]) if found else "0"


def _growth(heaps: list[int]) -> int:
    """How much more the second half of a life took at most than the first."""
    half = len(heaps) // 2
    return max(heaps[half:]) - max(heaps[:half]) if half else 0


def storm(seed: int, lines: int, here: bool = False, long_bytes: int = LONG_BYTES) -> Told:
    """One storm in one process."""
    watch = Watch(seed, here=here)
    try:
        return watch.run(lines, long_bytes)
    finally:
        watch.close()


def storms(seed: int, lines: int, cores: int, here: bool) -> Told:
    """The same shared out to processes, each with a seed of its own."""
    if cores == 1:
        return storm(seed, lines, here)
    told = Told()
    with ProcessPoolExecutor(cores) as pool:
        for one in pool.map(storm, range(seed, seed + cores), [lines // cores] * cores, [here] * cores):
            told.add(one)
    return told


def main(arguments: Sequence[str] | None = None) -> int:
    """The command; its exit status."""
    words = argparse.ArgumentParser(prog="python -m seatrial.line_storm", description=__doc__.split("\n")[0])
    words.add_argument("--lines", type=int, default=LINES)
    words.add_argument("--quick", action="store_true", help="%d lines" % QUICK_LINES)
    words.add_argument("--seed", type=int, default=1)
    words.add_argument("--cores", type=int, default=1)
    words.add_argument("--in-process", action="store_true", help="the board's code in this interpreter, for speed")
    given = words.parse_args(arguments)
    if given.lines < 1 or given.cores < 1 or given.seed < 0:
        words.error("--lines and --cores want 1 or more, --seed 0 or more")
    lines = min(given.lines, QUICK_LINES) if given.quick else given.lines
    body = "in this process" if given.in_process else "in MicroPython"
    print("tumblehome %s, seed %d, %d lines, %s" % (VERSION, given.seed, lines, body), flush=True)
    try:
        told = storms(given.seed, lines, given.cores, given.in_process)
    except BodyError as error:
        print(error, file=sys.stderr)
        return 2
    print("\n".join(told.sentences()))
    return 1 if told.faults else 0


if __name__ == "__main__":
    sys.exit(main())
