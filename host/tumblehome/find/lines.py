"""The ports that are listened to, which may go and come back, and the log, whose disk may be full.

A watch lasts for days with nobody beside it: what fails is said once, tried again, and ends nothing.
"""

import json
import time
from contextlib import suppress
from pathlib import Path
from typing import IO, Any

import serial

from seatrial.complaints import complaint
from tumblehome import terminal
from tumblehome.bench.link import LOOK_AT_PORT, why_closed
from tumblehome.find.mistakes import FindError

BAUD, BOAT_BAUD = 9600, 4800  # of the lander's line (boards.stock); of NMEA 0183
POLL_S = 0.2
POLL_BYTES = 4096
LINE_MAX = 512
AGAIN_POLLS = 50  # between two attempts to open a port that is gone: ten seconds
NOISE_BYTES, NOISE_PART = 200, 4  # of so many bytes no more than such a part is not text, at the right speed
OUR_LINE = b'{"heard_utc"'


class ListenError(FindError):
    """A port or a log that cannot be used; one sentence says what to do."""

    def __init__(self, sentence: str) -> None:
        super().__init__([sentence])

    def __reduce__(self) -> tuple[type["ListenError"], tuple[Any, ...]]:
        return type(self), (self.sentences[0],)


class Lines:
    """The lines that come at a port, any pyserial URL. Raises ListenError where it cannot be opened at first.

    `news` is what a person has to know of the port since the last poll: that it is gone, is back, or has noise only.
    """

    def __init__(self, url: str, baud: int = BAUD) -> None:
        self.url = url
        self.news = ""
        self._baud = baud
        self._kept = b""
        self._wait_polls = 0
        self._bytes = self._odd_bytes = 0
        self._is_noisy = False
        try:
            self._port = self._opened()
        except (serial.SerialException, OSError, ValueError) as error:
            raise ListenError("cannot open %s (%s): %s" % (url, why_closed(error), LOOK_AT_PORT)) from None

    def _opened(self) -> Any:
        return serial.serial_for_url(self.url, baudrate=self._baud, timeout=POLL_S)

    def poll(self) -> list[str]:
        """Whole lines that have come within `POLL_S`. None from a port that is gone, which is opened again."""
        self.news = ""
        if self._port is None and not self._is_back():
            return []
        came, gone = b"", None
        try:
            came = self._port.read(max(1, self._port.in_waiting))
            while len(came) < POLL_BYTES and (waiting := self._port.in_waiting):  # a socket tells of one byte at a time
                came += self._port.read(waiting)
        except (serial.SerialException, OSError, TypeError) as error:  # TypeError: pyserial's own, of a port just gone
            gone = error
        self._judge(came)
        *whole, self._kept = (self._kept + came).replace(b"\r", b"\n").split(b"\n")
        if len(self._kept) > LINE_MAX:
            self._kept = b""
        if gone is not None:  # after what it still said
            self._lose(gone)
        return [terminal.printable(line.decode("ascii", "replace")) for line in whole if line.strip()]

    def _lose(self, error: Exception) -> None:
        self.news = "%s is gone (%s): put the cable back; the watch goes on, and it is tried again" % (
            self.url, why_closed(error))
        self.close()
        self._kept, self._wait_polls = b"", AGAIN_POLLS

    def _is_back(self) -> bool:
        self._wait_polls -= 1
        if self._wait_polls > 0:
            time.sleep(POLL_S)
            return False
        self._wait_polls = AGAIN_POLLS
        try:
            self._port = self._opened()
        except (serial.SerialException, OSError, ValueError):
            return False
        self.news = "%s is back" % self.url
        return True

    def _judge(self, came: bytes) -> None:
        """Bytes that are no text come of another speed, or of nothing at the cable."""
        self._bytes += len(came)
        self._odd_bytes += sum(not (32 <= byte < 127 or byte in b"\r\n\t") for byte in came)
        if self._bytes < NOISE_BYTES:
            return
        was_noisy, self._is_noisy = self._is_noisy, self._odd_bytes * NOISE_PART > self._bytes
        self._bytes = self._odd_bytes = 0
        if self._is_noisy and not was_noisy:
            self.news = "what comes at %s is mostly no text: is %d baud its speed? --baud and --boat-baud set" \
                " another" % (self.url, self._baud)

    def close(self) -> None:
        """Let the port go."""
        if self._port is not None:
            with suppress(serial.SerialException, OSError):
                self._port.close()
        self._port = None


class Log:
    """A line of JSON for each entry, behind what the file holds. Raises ListenError where it cannot be opened.

    What cannot be written is kept in `waiting`, and written before the next entry; `news` says so as that of a port.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.news = ""
        self.waiting: list[dict[str, Any]] = []
        self._is_torn = False
        try:
            self._file: IO[bytes] = path.open("ab+", buffering=0)
            self._look()
        except OSError as error:
            raise ListenError("cannot write the log %s (%s): name a file in a folder that is there" % (
                path, complaint(error))) from None

    def _look(self) -> None:
        """The end of the last line may be missing, where the power of the computer went."""
        if not self._file.seekable() or not self._file.seek(0, 2):
            return
        self._file.seek(-1, 2)
        self._is_torn = self._file.read(1) != b"\n"
        self._file.seek(0)
        head = self._file.read(len(OUR_LINE))
        if head != OUR_LINE[:len(head)]:
            self._file.close()
            raise ListenError("%s is there and is no log of this tool: nothing is written into it; name another file"
                              % self.path)

    def keep(self, entry: dict[str, Any]) -> None:
        """Write an entry, and first what could not be written before."""
        self.news, had_waited = "", len(self.waiting)
        self.waiting.append(entry)
        try:
            while self.waiting:
                self._write(json.dumps(self.waiting[0], ensure_ascii=True).encode() + b"\n")
                del self.waiting[0]
        except OSError as error:
            if not had_waited:
                self.news = ("the log %s cannot be written (%s): make room; the watch goes on, and what is heard is"
                             " written then" % (self.path, complaint(error)))
            return
        if had_waited:
            self.news = "the log %s is written again, with all that was heard" % self.path

    def _write(self, line: bytes) -> None:
        if self._is_torn:
            line = b"\n" + line
        while line:
            count = self._file.write(line)
            self._is_torn = line[count - 1:count] != b"\n"
            line = line[count:]

    def close(self) -> None:
        """Let the file go."""
        with suppress(OSError):
            self._file.close()
