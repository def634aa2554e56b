"""Lines that nobody should send to a board on deck: made from the table of its verbs, then spoilt in every way.

The grammar is that of `boards.deck_words` and `lander.console`, so that a new verb is in the storm as soon as it stands
there. Everything comes from one seed. What was answered is learnt, so that the values of a line may be those that the
board wants. Checksums are those of Python's own `binascii.crc_hqx`, which knows nothing of this project.
"""

import binascii
import re
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass

from lander import orders, wire
from lander.journal import RECORD_BYTES
from lander.signals import INPUTS, OUTPUTS
from seatrial.board_code import board_module
from seatrial.dice import Dice

deck_poke, deck_verbs, deck_words = (
    board_module("boards." + name) for name in ("deck_poke", "deck_verbs", "deck_words"))

# What a session understands besides its own verbs: those of `lander.console`, with their pairs.
CONSOLE = (("hello", ""), ("heap", ""), ("bye", ""), ("orders", "at=N hex=BYTES"), ("boot", "slots=N"),
           ("slot", "at=N hex=BYTES"), ("start", "INPUTS"), ("set", "INPUTS"), ("step", "INPUTS"), ("more", ""),
           ("record", "at=N"), ("lock", "on=N"))
GRAMMAR = (*((name, pairs) for name, pairs, _answer, _words in (*deck_words.VERBS, *deck_words.SESSION_VERBS)),
           *CONSOLE)
NAMES = {
    "command": (*deck_verbs.COMMANDS, "1", "2", "3", "4", "5", "6"),
    "output": (*deck_poke.CIRCUITS, *deck_poke.RELEASES)}
NUMBERS = (0, 1, 2, 3, 5, 6, 7, 39, 40, 49, 50, 63, 64, 65, 99, 100, 101, 144, 199, 200, 201, 255, 256, 1000, 1023,
           10000, 10001, 16383, 16384, 65535, 65536, (1 << 30) - 1, 1 << 30, (1 << 31) - 1, 1 << 31, (1 << 32) - 1,
           1 << 32, 1 << 63, 10**9, 10**11, -1, -2, -(1 << 30), -(1 << 31))
USUAL = {"level": (0, 1, 1, 1, 1, 50, 100, 101), "ms": (49, 50, 50, 100, 1000, 3000, 10000, 10001),
         "s": (0, 1, 200_000_000, 400_000_000, (1 << 30) - 1, 1 << 30), "on": (0, 0, 1, 2), "slots": (0, 64, 1000)}
NO_NUMBERS = ("", "-", "--1", "+1", "1.5", "1e3", "0x10", "00000000001", "nan", "None", "on", "1,2", "1 2", "=", "==")
NO_VERBS = ("__init__", "obey", "check", "bring", "let_go", "x" * 60, "*", "ok", "no")
NO_PAIRS = ("x=1", "at=0", "=", "at=", "=1", "hex=00", "code=0000", "from=0", "level=1", "command=fire")
LINE_NUMBERS = ("0", "1", "7", "007", "999999999", "1000000000", "4294967296", "-1", "", "x", "1.0", "1_0", "17 17")
HEX = ("", "0", "00", "zz", "blank", "bad", "BLANK", "0g", "ff" * 64, "FF" * 64, "00" * 64, "ff" * 63, "0" * 129)
SILENCES_MS = (100, 2000, 9000, 11000, 62000)
LONG = (199, 200, 201, 202, 256, 1000, 5000)
NUMBER = re.compile(rb"[0-9]{1,9}\Z")
STILL, NO_READY, NO_FIRE = "still", "no ready", "no fire"
HELD_VALUES = {NO_READY: {"ready-primary", "ready-backup", "3", "4"}, NO_FIRE: {"fire", "5"}}
MOVERS = {"ask", "poke", "circuits", "session", "keep", "clear"}
MODES = (STILL, *HELD_VALUES)  # what is held back in one life of a board, so that nothing, or no release, may move


@dataclass(frozen=True)
class Item:
    """Bytes to type, and then so much silence."""

    data: bytes
    silent_ms: int = 0


def crc(data: bytes) -> bytes:
    """CRC-16/IBM-3740 in four digits."""
    return b"%04X" % binascii.crc_hqx(data, 0xFFFF)


def framed(text: bytes) -> bytes:
    """A line with its star and checksum, as a program sends it."""
    return text + b"*" + crc(text)


def whole(line: bytes) -> bytes | None:
    """The text of a line that a board may do something for; None for any other. As the wire is described, not as it
    is built."""
    if len(line) > wire.LINE_MAX or not all(32 <= code < 127 for code in line):
        return None
    text, star, mark = line.rpartition(b"*")
    if not star or (mark != b"typed" and mark.upper() != crc(text)):
        return None
    words = text.split()
    if len(words) < 2 or not NUMBER.match(words[0]):
        return None
    return text


def whole_ends(line: bytes) -> Iterator[bytes]:
    """The texts of the ends of this line that are whole: its beginning may have been forgotten."""
    return filter(None, (whole(line[at:]) for at in range(len(line))))


def number_of(text: bytes) -> str:
    """The number of a whole line, as it is answered."""
    return "%d" % int(text.split()[0])


def is_held(line: bytes, mode: str) -> bool:
    """Whether this line, or an end of it, could be one that is held back in this mode."""
    if mode == STILL:
        return any(name.encode() in line for name in MOVERS)
    return b"ask" in line and any(
        value == want or (want.isdigit() and value.isdigit() and int(value) == int(want))
        for value in re.findall(r"command=([^ *]*)", line.decode("ascii", "replace")) for want in HELD_VALUES[mode])


class Storm:
    """Makes items without end. `learn` is told what was answered."""

    def __init__(self, seed: int) -> None:
        self._dice = Dice(seed).fork("lines")
        self._number = 0
        self._told: dict[str, str] = {}
        self._last: deque[bytes] = deque([b"1 hello"], maxlen=16)
        self._record = orders.pack(orders.Orders())
        self._kinds = (
            *(self._good,) * 8, *(self._typed,) * 2, *(self._wrong_values,) * 5, *(self._wrong_checksum,) * 2,
            *(self._mutated,) * 4, *(self._mutated_and_summed,) * 4, *(self._spliced,) * 3, self._halved, self._long,
            self._noise, self._controls, self._numbered, self._repeated, self._ends, self._plan, self._in_session,
            self._two_steps, self._silence)

    def learn(self, answer: bytes) -> None:
        """Values that the board has told may be those that it wants."""
        for word in answer.rpartition(b"*")[0].split():
            key, equals, value = word.decode("ascii", "replace").partition("=")
            if equals and key != "code":  # whoever sends that back may be live
                self._told[key] = value

    def items(self) -> Iterator[Item]:
        while True:
            yield from self._pick(self._kinds)()

    # --- kinds of lines ---------------------------------------------------------------------------------------------

    def _good(self) -> Iterator[Item]:
        yield self._line(framed(self._request(0)))

    def _typed(self) -> Iterator[Item]:
        yield self._line(self._request(5) + b"*typed")

    def _wrong_values(self) -> Iterator[Item]:
        yield self._line(framed(self._request(60)))

    def _wrong_checksum(self) -> Iterator[Item]:
        text = self._request(0)
        yield self._line(text + self._pick((b"*0000", b"*FFFF", b"", b"*", b"*TYPED", b"*typed ", b"**typed",
                                            b"*" + crc(text)[::-1], b"*" + crc(text)[:3], b"*" + crc(text) + b"0")))

    def _mutated(self) -> Iterator[Item]:
        yield self._line(self._spoil(framed(self._request(10))))

    def _mutated_and_summed(self) -> Iterator[Item]:
        yield self._line(framed(self._spoil(self._request(10)).replace(b"\n", b"")))

    def _spliced(self) -> Iterator[Item]:
        first, second = self._pick(self._last), self._request(10)
        text = first[:self._below(len(first) + 1)] + second[self._below(len(second)):]
        yield self._line(framed(text) if self._below(2) else text)

    def _halved(self) -> Iterator[Item]:
        """A cable that is pulled in the middle of a line."""
        line = framed(self._request(0))
        yield Item(line[:self._below(len(line))], 0 if self._below(12) else self._pick(SILENCES_MS))

    def _long(self) -> Iterator[Item]:
        length = self._pick(LONG)
        text = self._request(0)
        yield self._line(framed(text + b" " + self._pick((b"x", b"=", b"a=1 ", b"*", b" ")) * (length - len(text) - 6)))

    def _noise(self) -> Iterator[Item]:
        yield self._line(bytes(self._below(256) for _ in range(self._below(120))))

    def _controls(self) -> Iterator[Item]:
        text = bytearray(framed(self._request(0)))
        for _ in range(1 + self._below(4)):
            text.insert(self._below(len(text) + 1), self._pick((0, 3, 4, 7, 8, 9, 13, 17, 19, 26, 27, 127, 128, 255)))
        yield self._line(bytes(text))

    def _numbered(self) -> Iterator[Item]:
        text = self._request(0).split(b" ", 1)[1]
        yield self._line(framed(self._pick(LINE_NUMBERS).encode() + b" " + text))

    def _repeated(self) -> Iterator[Item]:
        line = framed(self._request(5))
        yield Item((line + b"\n") * (2 + self._below(6)))

    def _ends(self) -> Iterator[Item]:
        yield Item(self._pick((b"\n", b"\r", b"\r\n", b"\n\r\n\r", b" \n", b"*\n", b"*typed\n", b"\n\n\n")))

    def _silence(self) -> Iterator[Item]:
        if not self._below(24):
            yield Item(b"", self._pick(SILENCES_MS))

    # --- lines that belong together ---------------------------------------------------------------------------------

    def _plan(self) -> Iterator[Item]:
        """A whole plan and its keeping, now and then damaged."""
        if self._below(12):
            return
        record = bytearray(self._record)
        if self._below(2):
            record[self._below(len(record))] ^= 1 << self._below(8)
        for at in range(0, len(record), RECORD_BYTES):
            yield self._line(framed(self._numbers() + b" orders at=%d hex=%s" % (
                at, bytes(record[at:at + RECORD_BYTES]).hex().encode())))
        summed = bytes(record[:-2] if self._below(2) else record)
        yield self._line(framed(self._numbers() + b" keep crc=" + crc(summed)))

    def _in_session(self) -> Iterator[Item]:
        """A session, steps in it, and now and then its end."""
        if self._below(6):
            return
        yield self._line(framed(self._numbers() + b" session"))
        yield self._line(framed(self._numbers() + b" boot slots=64"))
        for _ in range(self._below(24)):
            at = self._told.get("want", "0").encode()
            yield self._line(framed(self._numbers() + b" slot at=%s hex=%s" % (at, self._pick((b"blank", b"bad")))))
        for verb in (b"start", b"step", b"step", b"more", b"record at=0", b"live", b"step"):
            yield self._line(framed(self._numbers() + b" " + verb))
        if self._below(3):
            yield self._line(framed(self._numbers() + b" bye"))

    def _two_steps(self) -> Iterator[Item]:
        """Both steps of a release; one of them is held back in every mode."""
        for name in (self._pick(("ready-primary", "ready-backup", "fire", "disarm")), "fire"):
            yield self._line(framed(self._numbers() + b" ask command=" + name.encode()))
            yield Item(b"", 0 if self._below(4) else 2000)  # in which the mission hears it

    # --- parts ------------------------------------------------------------------------------------------------------

    def _line(self, text: bytes) -> Item:
        ends = (b"\n", b"\n", b"\n", b"\r\n", b"\r\r\n", b"\n\n")
        return Item(text + self._pick(ends))

    def _request(self, wrong_percent: int) -> bytes:
        """A request without its checksum; so many of a hundred of its parts are wrong."""
        verb, pairs = self._pick(GRAMMAR)
        given = []
        for pair in pairs.split():
            if pair[0] == "[":
                if self._below(2):
                    continue
                pair = pair.strip("[]")
            given += self._inputs() if pair == "INPUTS" else [self._pair(pair, wrong_percent)]
        if self._below(100) < wrong_percent:
            given = self._spoil_pairs(given)
        if self._below(200) < wrong_percent:
            verb = self._pick((verb.upper(), verb[:-1], verb + "s", *NO_VERBS))
        text = " ".join([self._numbers().decode(), verb, *given]).encode("utf-8", "replace")
        self._last.append(text)
        return text

    def _numbers(self) -> bytes:
        self._number = self._number + 1 if self._below(400) else self._below(5)
        return b"%d" % self._number

    def _pair(self, pair: str, wrong_percent: int) -> str:
        key, _, kind = pair.partition("=")
        if self._below(100) < wrong_percent:
            return "%s=%s" % (key, self._pick((*NO_NUMBERS, *HEX, *map(str, NUMBERS))))
        if key in self._told and self._below(2):
            return "%s=%s" % (key, self._told[key])
        if key in NAMES:
            return "%s=%s" % (key, self._pick(NAMES[key]))
        if kind == "BYTES":
            return "%s=%s" % (key, self._pick(HEX))
        if kind in ("HHHH", "NNNN"):
            return "%s=%04X" % (key, self._below(65536))
        if key in USUAL:
            return "%s=%d" % (key, self._pick(USUAL[key]))
        return "%s=%d" % (key, self._pick(NUMBERS[:24]))

    def _inputs(self) -> list[str]:
        chosen = [self._pick(INPUTS) for _ in range(self._below(5))]
        return ["%s=%d" % (name, low + self._below(high - low + 1)) for name, low, high, _start in chosen]

    def _spoil_pairs(self, given: list[str]) -> list[str]:
        extra = self._pick((*NO_PAIRS, self._pick(OUTPUTS)[0] + "=1"))
        return self._pick((given + [extra], given * 2, given[::-1], given[:-1], [extra, *given]))

    def _spoil(self, text: bytes) -> bytes:
        data = bytearray(text)
        for _ in range(1 + self._below(3)):
            at = self._below(len(data) + 1)
            deed = self._below(4)
            if deed == 0:
                data.insert(at, self._below(256))
            elif deed == 1:
                del data[at:at + 1 + self._below(4)]
            elif deed == 2 and at < len(data):
                data[at] ^= 1 << self._below(8)
            else:
                data[at:at] = data[self._below(len(data) + 1):][:8]
        return bytes(data)

    def _below(self, end: int) -> int:
        """From 0 to one less than this; 0 where that is nothing."""
        if end <= 1 << 16:
            return self._dice.u16() * end >> 16 if end > 0 else 0
        return (self._dice.u16() << 16 | self._dice.u16()) % end

    def _pick(self, choices):
        return choices[self._below(len(choices))]
