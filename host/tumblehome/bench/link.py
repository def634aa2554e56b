"""A controller at the end of a cable: one line asked, one line answered, and a clear word when it is gone.

The form of the lines is that of `lander.wire`; what can be said stands in `boards.deck_verbs`. A request that changes
nothing when it comes twice is repeated once; any other is not, because its answer may be all that was lost. Whoever
works in several steps keeps `so_far` true, the sentence that a person reads when the cable is pulled just then.
"""

import os
import random
import re
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass

import serial

from lander import journal as records
from lander import wire
from lander.checksum import crc16
from lander.signals import INPUTS, OUTPUTS
from seatrial.bodies import BAUD, WireBody
from seatrial.practice import CHIP

SILENT_S = 1.6  # after so much silence a controller is called gone: a person reads it within two seconds
OPEN_S = 2.0  # for the first hello
HELLO_TRY_S = 0.5
LISTEN_S = 1.0  # to what others say on the line
LOOK_S = 0.05  # between two looks at a port that is not there yet
# A read ends after so much silence; set once, since a port on the network settles each change anew. What a read takes
# longer, this machine was away, and that is no silence of the other.
READ_S = 0.1
NO_WRITE_LIMIT = ("rfc2217:",)  # there pyserial has none: what is sent goes to this machine's own network
RESTART_S = 12.0  # for a controller to start anew, its USB port with it
SENT_BEFORE = "nothing was changed"
REPEATED = frozenset(("hello", "status", "see", "poked", "plan", "orders", "journal", "slot", "files"))
# Answers that take longer than silence may last, s: flash is erased and written, every file is read.
PATIENCE_S = {"keep": 5.0, "clear": 20.0, "files": 10.0, "session": 5.0, "circuits": 4.0}
SOCKET = "socket://"
BARE_SOCKET, HAS_NUMBER = re.compile(r"([\w.-]+:)?\d+"), re.compile(r":\d+$")
STEP_LATE_DS = 10  # a step comes no later than this after it is due
LOCKSTEP = frozenset(("boot", "slot", "start", "set", "step", "more", "record"))
PRACTICE_S = 10.0  # the same in lockstep, where a practice board shares a machine; its silence is told as soon as any


def heard_by_ds(seen: Mapping[str, int]) -> int:
    """The uptime, ds, at which a step has surely taken a command that was asked before these readings: the next step is
    due by what the mission asked for, and the uptime that is told goes on between steps."""
    return seen["uptime_ds"] + seen["wake_ds"] + STEP_LATE_DS


class LinkError(Exception):
    """What is wrong, and the way out, in one sentence."""


class Gone(LinkError):
    """The controller does not answer any more; the sentence says what was done and what was not."""


class Refused(LinkError):
    """The controller answered `no`, and nothing was changed by the request; `reason` is its own."""

    def __init__(self, asked: str, reason: str) -> None:
        super().__init__("the controller refused `%s`: %s" % (asked, reason))
        self.reason = reason


@dataclass(frozen=True)
class Pulled:
    """A journal as it was read: `written` are its slots from the front to the last one written, as they lie on the
    flash, a slot that cannot be read as zeros; `records` the good ones in the order of their numbers.
    """

    slots: int
    free: int
    written: bytes
    records: list[bytes]
    bad: int

    @property
    def newest(self) -> bytes | None:
        return self.records[-1] if self.records else None


def why_closed(error: BaseException) -> str:
    """Why a port cannot be opened, as the system says it; pyserial says it twice, or as text only."""
    while not (isinstance(error, OSError) and error.strerror and (error.errno or 0) > 0
               and not isinstance(error, serial.SerialException)):
        if isinstance(error, serial.SerialException) and (error.errno or 0) > 0:
            return os.strerror(error.errno).lower()
        if error.__context__ is None:
            return str(error.args[-1] if error.args else error).lower()  # of termios: number and text
        error = error.__context__
    return error.strerror.lower()


LOOK_AT_PORT = "is it the right port, is the cable in, and does no other program use it?"


def _way_to(url: str, error: BaseException) -> str:
    """The way out for somebody who has written this port."""
    if url == "practice":
        return ("only `tumblehome bench run` starts a board by this word: start `tumblehome bench practice`, and name"
                " the port that it prints")
    if BARE_SOCKET.fullmatch(url):
        return "a socket is written socket://127.0.0.1:%s" % url.rpartition(":")[2]
    if url.startswith(SOCKET) and not HAS_NUMBER.search(url):
        return "the number of the port is missing: write such as %s:4330" % url.rstrip(":/")
    if url.startswith(SOCKET) and isinstance(error.__context__, ConnectionRefusedError):
        return "nothing listens there: start it, such as `tumblehome bench practice --tcp %s`" % url.rpartition(":")[2]
    return LOOK_AT_PORT


def is_practice(greeting: dict[str, str]) -> bool:
    """Whether who said hello in this way is a practice board of some machine and no lander."""
    return greeting.get("id") == CHIP


class Link:
    """A controller that has said hello; a context manager. `greeting` is its answer to that.

    `notice` is told when silence that may last for long does. Raises Gone and Refused from every request.
    """

    def __init__(self, url: str, within_s: float = OPEN_S, ends_session: bool = True) -> None:
        """Open the port and say hello. A session that somebody has left there is ended, where `ends_session`.

        Raises LinkError where nothing can be opened or nothing answers in time.
        """
        self.url = url
        self.so_far = SENT_BEFORE
        self.patience_s = 0.0  # no answer is awaited for less; more than 0 where the other end is slow by itself
        self.notice: Callable[[str], None] | None = None
        self._number = random.randrange(1, 9_000_000)  # so that two people at one port do not take the other's answer
        self._heard = b""
        self._away_s = 0.0  # of the time since it was made: this machine had something else to do
        self._port: serial.SerialBase | None = None
        self.greeting: dict[str, str] = {}
        self._open(within_s)
        if ends_session and not self.is_board:
            self._end_left_session()

    def __enter__(self) -> "Link":
        return self

    def __exit__(self, *_error) -> None:
        self.close()

    @property
    def is_board(self) -> bool:
        """It flies by itself; otherwise it is in lockstep, by a session or because it is a core alone."""
        return "board" in self.greeting

    def close(self) -> None:
        """Leave the port."""
        if self._port is not None:
            with suppress(serial.SerialException, OSError):
                self._port.close()
        self._port = None

    # --- requests -----------------------------------------------------------------------------------------------------

    def ask(self, verb: str, **pairs) -> dict[str, str]:
        """The pairs of the answer. A pair named `from_` is sent as `from`."""
        return self.exchange(" ".join([verb, *("%s=%s" % (key.rstrip("_"), value) for key, value in pairs.items())]))

    def exchange(self, text: str) -> dict[str, str]:
        """The pairs of the answer to a request that is whole but for its number and its checksum."""
        verb = text.split(" ", 1)[0]
        patience_s = max(PATIENCE_S.get(verb, SILENT_S), self.patience_s)
        if is_practice(self.greeting) and verb in LOCKSTEP:
            patience_s = max(patience_s, PRACTICE_S)
        tries = 2 if verb in REPEATED or text == "clock" else 1
        self._number = self._number % 999_999_999 + 1
        try:
            for left in reversed(range(tries)):
                self._send(text)
                said = self._patient_answer(text, patience_s / tries, is_last=not left)
                if said is not None:
                    return said
        except (serial.SerialException, OSError) as error:
            raise self._gone("its port went away: %s" % error) from None
        raise self._gone("no answer to `%s` within %.1f s, while its port is still there" % (verb, patience_s))

    def status(self) -> dict[str, str]:
        """What the mission does."""
        return self.ask("status")

    def readings(self) -> dict[str, int]:
        """All inputs and outputs of the last step by name, and `faults`, the pins that refused."""
        seen: dict[str, int] = {}
        at = 0
        while at >= 0:
            said = self.ask("see", from_=at)
            further = self.number_in(said, "next")
            if 0 <= further <= at:
                raise LinkError("%s goes round in `see`: flash matching firmware" % self.url)
            at = further
            seen.update((name, self.number_in(said, name)) for name in said if name != "next")
        missing = [row[0] for row in (*INPUTS, *OUTPUTS) if row[0] not in seen]
        if missing:
            raise LinkError("%s does not tell `%s`: flash matching firmware" % (self.url, missing[0]))
        return seen

    def plan_record(self) -> bytes | None:
        """The mission record that counts, read back from the flash; None where no copy is whole."""
        told = self.ask("plan")
        record = self._pieces(self.number_in(told, "bytes"))
        if not record:
            return None
        if told.get("crc") != record_crc(record):
            raise LinkError("the plan on the board was read with errors or was changed meanwhile: run the same command"
                            " again")
        return record

    def _pieces(self, length: int) -> bytes:
        record = b""
        while len(record) < length:
            piece = self.bytes_in(self.ask("plan", at=len(record)))
            if not piece:
                raise LinkError("%s answers an empty piece of its plan: flash matching firmware" % self.url)
            record += piece
        return record

    def journal(self, progress: Callable[[int, int], None] | None = None) -> list[bytes]:
        """The good records, in order. `progress` is told the slots that were read, and how many there are to read."""
        return self.pull(progress).records

    def pull(self, progress: Callable[[int, int], None] | None = None) -> Pulled:
        """The journal, slot by slot, until what the mission wrote meanwhile is in it too."""
        parts: list[bytes | None] = []
        while True:
            told = self.ask("journal")
            slots, further = self.number_in(told, "slots"), self.number_in(told, "next")
            has_gone_round = further >= slots - records.HEEL
            end = slots if has_gone_round else further
            first = min(len(parts), max(0, slots - records.HEEL)) if has_gone_round else len(parts)
            del parts[first:]
            for at in range(first, end):
                parts.append(self._slot(at))
                if progress:
                    progress(at + 1, end)
            if self.ask("journal") == told:
                return _pulled(slots, self.number_in(told, "free"), parts)

    def _slot(self, at: int) -> bytes | None:
        said = self.ask("slot", at=at)
        if said.get("hex") == "bad":
            return None
        return b"\xff" * records.RECORD_BYTES if said.get("hex") == "blank" else self.bytes_in(
            said, records.RECORD_BYTES)

    def session(self, mission_record: bytes | None = None) -> "Session":
        """Lockstep on this line with this mission record, or with the one on the board. It ends with a restart."""
        record = mission_record or self.plan_record()
        if record is None:
            raise LinkError("there is no plan on the board: load one by `tumblehome bench load PLAN`")
        return Session(self, record)

    # --- over a restart -----------------------------------------------------------------------------------------------

    def come_back(self, within_s: float | None = None) -> dict[str, str]:
        """Open the port anew after a restart, and say hello. Raises Gone when nothing answers in time."""
        self.close()
        within_s = RESTART_S if within_s is None else within_s
        end_s = time.monotonic() + within_s
        tell_s = time.monotonic() + SILENT_S
        while True:
            try:
                self._open(HELLO_TRY_S)
                return self.greeting
            except LinkError as error:
                if tell_s < time.monotonic() < end_s:
                    self._tell("it has not come back from its restart yet, which may take %.0f s" % within_s)
                    tell_s = end_s
                if time.monotonic() >= end_s:
                    raise self._gone("it has not come back within %.0f s: %s" % (within_s, error)) from None
            time.sleep(LOOK_S)

    def _end_left_session(self) -> None:
        """A host that died in a session has left the board in it; one that lives is heard."""
        with suppress(serial.SerialException, OSError):
            if self._line(self._listened_s() + LISTEN_S) is not None:
                self.close()
                raise LinkError("somebody else flies the controller on %s in a session: wait for its end" % self.url)
        self.ask("bye")
        self.come_back()

    # --- numbers and bytes --------------------------------------------------------------------------------------------

    def number_in(self, said: dict[str, str], key: str) -> int:
        """The integer under this key of an answer. Raises LinkError where there is none."""
        try:
            return int(said[key])
        except (KeyError, ValueError):
            raise LinkError("%s answered without a number for `%s`: flash matching firmware" % (self.url, key)
                            ) from None

    def bytes_in(self, said: dict[str, str], length: int | None = None) -> bytes:
        """The bytes under `hex`. Raises LinkError where there are none, or not so many."""
        try:
            data = bytes.fromhex(said["hex"])
        except (KeyError, ValueError):
            data = None
        if data is None or (length is not None and len(data) != length):
            raise LinkError("%s answered without the bytes that were asked for: flash matching firmware" % self.url)
        return data

    # --- the port -----------------------------------------------------------------------------------------------------

    def _open(self, within_s: float) -> None:
        try:
            write_s = None if self.url.lower().startswith(NO_WRITE_LIMIT) else SILENT_S
            self._port = serial.serial_for_url(self.url, baudrate=BAUD, timeout=READ_S, write_timeout=write_s,
                                               exclusive=True)
            self._port.reset_input_buffer()
        except (serial.SerialException, OSError, ValueError) as error:
            self.close()
            raise LinkError("cannot open %s (%s): %s" % (self.url, why_closed(error), _way_to(self.url, error))
                            ) from None
        self._heard = b""
        end_s = self._listened_s() + within_s  # from now on: a port on the network may take seconds to be opened
        try:
            self._port.write(b"\n")  # the end of what somebody else began
            self.greeting = self._greet(end_s)
        except (serial.SerialException, OSError) as error:
            self.close()
            raise LinkError("%s was opened and is gone (%s): put the cable back and run the same command again"
                            % (self.url, error)) from None
        except LinkError:
            self.close()
            raise

    def _greet(self, end_s: float) -> dict[str, str]:
        while (now_s := self._listened_s()) < end_s:
            self._number += 1
            self._send("hello")
            said = self._answer("hello", min(now_s + HELLO_TRY_S, end_s), is_last=False)
            if said is None:
                continue
            if said.get("wire") != str(wire.VERSION):
                raise LinkError("%s speaks wire version %s and this tool speaks %d: flash matching firmware by"
                                " `tumblehome bench flash`" % (self.url, said.get("wire"), wire.VERSION))
            return said
        raise LinkError("nothing on %s answers: is the controller on, is it on deck (at sea it is deaf), and is this"
                        " its port?" % self.url)

    def _send(self, text: str) -> None:
        line = wire.frame("%d %s" % (self._number, text)) + "\n"
        if len(line) > wire.LINE_MAX + 1:
            raise LinkError("`%s` is longer than the %d bytes that a line may have" % (text[:40], wire.LINE_MAX))
        self._open_port().write(line.encode())

    def _open_port(self) -> serial.SerialBase:
        if self._port is None:
            raise self._gone("its port was left")
        return self._port

    def _patient_answer(self, asked: str, patience_s: float, is_last: bool) -> dict[str, str] | None:
        """The same as `_answer`, with a word to the person where the answer takes its time."""
        end_s = self._listened_s() + patience_s
        said = self._answer(asked, min(end_s, self._listened_s() + SILENT_S), is_last)
        if said is None and self._listened_s() < end_s:
            self._tell("no answer to `%s` yet, while its port is there: that may take %.0f s"
                       % (asked.split(" ", 1)[0], patience_s))
            said = self._answer(asked, end_s, is_last)
        return said

    def _tell(self, sentence: str) -> None:
        if self.notice:
            self.notice(sentence)

    def _answer(self, asked: str, end_s: float, is_last: bool) -> dict[str, str] | None:
        """The answer to the newest request; None when it has not come by then, or the request came there in pieces."""
        while (line := self._line(end_s)) is not None:
            try:
                text = wire.unframe(line)
                number, verb, rest = _split(text)
                if number == self._number and verb == "ok":
                    return wire.words(text)[2]
            except wire.WireError:
                continue  # a banner, an echo, a torn line
            if number == self._number and verb == "no":
                raise Refused(asked[:60], rest)
            if number == 0 and verb == "no":
                if not is_last:
                    return None
                raise Refused(asked[:60], "%s: the line is disturbed, nothing was done" % rest)
        return None

    def _line(self, end_s: float) -> str | None:
        port = self._open_port()
        while b"\n" not in self._heard:
            if self._listened_s() >= end_s:
                return None
            began_s = time.monotonic()
            self._heard += port.read(max(1, port.in_waiting))
            self._away_s += max(0.0, time.monotonic() - began_s - 2.0 * READ_S)
            if b"\n" not in self._heard:
                self._heard = self._heard[-2 * wire.LINE_MAX:]
        line, _, self._heard = self._heard.partition(b"\n")
        return line.decode("ascii", "replace").strip()

    def _listened_s(self) -> float:
        """A clock by which silence is measured."""
        return time.monotonic() - self._away_s

    def _gone(self, why: str) -> Gone:
        self.close()
        return Gone("the controller on %s is gone (%s): %s; put the cable back and run the same command again"
                    % (self.url, why, self.so_far))


class Session(WireBody):
    """The core on the board at the end of a link, in lockstep: a body for `seatrial.dive.Dive`. Outputs are dry.

    `close` says bye, after which the board starts anew; `Link.come_back` finds it again. Raises Gone and BodyError.
    """

    _brings_firmware = False

    def __init__(self, link: Link, mission_record: bytes) -> None:
        self.link = link
        self.is_live = False
        self._is_over = False
        super().__init__(None, link.url, mission_record)

    def live_code(self) -> str:
        """The first step of letting outputs reach the pins: a code, and nothing moves."""
        return self._ask("live").get("code", "")

    def go_live(self, code: str) -> None:
        """The second: from now on they do."""
        self._ask("live code=" + code)
        self.is_live = True

    def close(self) -> None:
        """Say bye, once; the board starts anew."""
        if self._is_over:
            return
        self._is_over = True
        with suppress(LinkError):  # it may be gone already
            self._ask("bye")

    def _greet(self) -> dict[str, str]:
        if "board" in self.link.greeting:  # a core alone is in lockstep from the start
            self._ask("session")
        return self.link.greeting

    def _ask(self, text: str) -> dict[str, str]:
        return self.link.exchange(text)


def open_link(url: str, within_s: float = OPEN_S) -> Link:
    """The controller at any port that pyserial takes: /dev/ttyACM0, COM5, socket://host:port. Raises LinkError."""
    return Link(url, within_s)


def record_crc(record: bytes) -> str:
    """What tells mission records apart on the line: the CRC-16 of all but their own, which are the last two bytes."""
    return "%04X" % crc16(record, 0, max(0, len(record) - 2))


def _split(text: str) -> tuple[int, str, str]:
    number, _, rest = text.partition(" ")
    verb, _, words = rest.partition(" ")
    if not (number.isascii() and number.isdigit()):
        raise wire.WireError("no number")
    return int(number), verb, words


def _pulled(slots: int, free: int, parts: list[bytes | None]) -> Pulled:
    good = [part for part in parts if part is not None and records.is_good(part)]
    blank = sum(part is not None and records.is_blank(part) for part in parts)
    nothing = bytes(records.RECORD_BYTES)
    return Pulled(slots, free, b"".join(nothing if part is None else part for part in parts),
                  sorted(good, key=records.sequence_of), len(parts) - len(good) - blank)
