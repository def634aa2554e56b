"""A satellite receiver at the far end of a UART, as `machine.UART` shows it: NMEA 0183, once a second.

Sentences are put together from the fields as NMEA 0183 orders them (from memory; the standard is not free). Bytes
arrive at the speed of the line, the UART keeps as many as its buffer holds and loses what comes after.
"""

from datetime import datetime, timedelta
from errno import EIO

START_BITS_AND_ALL = 10  # bits on the line for each byte


def checksum(body: str) -> str:
    """The two hexadecimal digits that close a sentence: all bytes between `$` and `*`, exclusive-or."""
    total = 0
    for byte in body.encode("latin-1"):
        total ^= byte
    return "%02X" % total


def sentence(body: str) -> bytes:
    """A body with its `$`, its checksum and its line end."""
    return ("$%s*%s\r\n" % (body, checksum(body))).encode("latin-1")


def angle(degrees: float, degree_digits: int, places: int) -> str:
    """An angle as degrees and decimal minutes without a sign, as the sentences have it."""
    unit = 10 ** places
    minutes = round(abs(degrees) * 60 * unit)
    whole, part = divmod(minutes, 60 * unit)
    return "%0*d%02d.%0*d" % (degree_digits, whole, part // unit, places, part % unit)


class Receiver:
    """A receiver and the UART it talks to: `any`, `readinto`, `write`. The caller moves `now_s` on.

    What it finds: `latitude_deg`, `longitude_deg`, `altitude_m`, `satellites`, `hdop`, `quality` (0 no fix, 1 to 5
    measured, 6 reckoned, 8 simulated), `mode` (of RMC, or None as old receivers do), `talker`, `places` of the minutes.
    `utc` is the time of day and date at `now_s` 0.

    Faults: `absent` (silence), `frozen` (the same sentences for ever), `void` (RMC says so), `corrupt_next` (so many
    sentences get a wrong bit), `noise` (bytes before each burst), `rollovers` (weeks counted anew, 1024 at a time),
    `dead_port` (the UART itself fails).
    """

    def __init__(self, utc: datetime, baud: int = 9600, buffer_bytes: int = 256) -> None:
        self.utc = utc
        self.baud = baud
        self.buffer_bytes = buffer_bytes
        self.latitude_deg = 0.0
        self.longitude_deg = 0.0
        self.altitude_m = 0.0
        self.satellites = 8
        self.hdop = 1.0
        self.quality = 1
        self.mode: str | None = "A"
        self.talker = "GP"
        self.places = 4
        self.absent = False
        self.frozen = False
        self.void = False
        self.corrupt_next = 0
        self.noise = b""
        self.rollovers = 0
        self.dead_port = False
        self.heard = bytearray()
        self._now_s = 0.0
        self._burst_s = 0
        self._line = bytearray()  # on its way
        self._line_free_s = 0.0
        self._waiting = bytearray()
        self._repeated = b""

    @property
    def now_s(self) -> float:
        """The time of the sea; setting it brings in the bytes that have come until then."""
        return self._now_s

    @now_s.setter
    def now_s(self, now_s: float) -> None:
        while self._burst_s + 1 <= now_s:
            self._burst_s += 1
            self._arrive(self._burst_s)
            self.say(self.burst(), self._burst_s)
        self._arrive(now_s)
        self._now_s = now_s

    def say(self, data: bytes, at_s: float | None = None) -> None:
        """Put bytes on the line, behind those that are still on their way."""
        if not self._line:
            self._line_free_s = self._now_s if at_s is None else at_s
        self._line += data

    def any(self) -> int:
        """How many bytes wait."""
        self._check_port()
        return len(self._waiting)

    def readinto(self, buffer, count: int | None = None) -> int | None:
        """Move waiting bytes into the buffer, at most `count`; None when there are none."""
        self._check_port()
        taken = min(len(self._waiting), len(buffer) if count is None else count)
        buffer[:taken] = self._waiting[:taken]
        del self._waiting[:taken]
        return taken or None

    def write(self, data) -> int:
        """Take bytes from the board; they change nothing."""
        self._check_port()
        self.heard += data
        return len(data)

    def burst(self) -> bytes:
        """What the receiver says in one second."""
        if self.absent:
            return b""
        if self.frozen and self._repeated:
            return self._repeated
        said = self.noise + b"".join(self._spoil(sentence(body)) for body in (self.rmc(), self.gga(), self.gsa()))
        self._repeated = said
        return said

    def rmc(self) -> str:
        """Recommended minimum data: time, status, position, speed, course, date."""
        moment = self._moment()
        fields = [self.talker + "RMC", moment.strftime("%H%M%S") + ".%02d" % (moment.microsecond // 10000),
                  "V" if self.void or not self.quality else "A", *self._position(), "0.10", "084.4",
                  moment.strftime("%d%m%y"), "", ""]
        return ",".join(fields if self.mode is None else [*fields, self.mode])

    def gga(self) -> str:
        """Fix data: time, position, quality, satellites, dilution, altitude."""
        moment = self._moment()
        return ",".join([self.talker + "GGA", moment.strftime("%H%M%S") + ".%02d" % (moment.microsecond // 10000),
                         *self._position(), str(self.quality), "%02d" % self.satellites, "%.2f" % self.hdop,
                         "%.1f" % self.altitude_m, "M", "46.9", "M", "", ""])

    def gsa(self) -> str:
        """Satellites in use: a sentence that a driver has to pass over."""
        return self.talker + "GSA,A,3,04,05,,09,12,,,24,,,,,2.5,1.3,2.1"

    def _moment(self) -> datetime:
        return self.utc + timedelta(seconds=self._burst_s) - timedelta(weeks=1024 * self.rollovers)

    def _position(self) -> list[str]:
        if not self.quality:
            return ["", "", "", ""]
        return [angle(self.latitude_deg, 2, self.places), "N" if self.latitude_deg >= 0 else "S",
                angle(self.longitude_deg, 3, self.places), "E" if self.longitude_deg >= 0 else "W"]

    def _spoil(self, said: bytes) -> bytes:
        if not self.corrupt_next:
            return said
        self.corrupt_next -= 1
        middle = len(said) // 2
        return said[:middle] + bytes([said[middle] ^ 1]) + said[middle + 1:]

    def _arrive(self, now_s: float) -> None:
        count = min(len(self._line), int((now_s - self._line_free_s) * self.baud / START_BITS_AND_ALL + 1e-6))
        self._line_free_s += count * START_BITS_AND_ALL / self.baud
        room = self.buffer_bytes - len(self._waiting)
        self._waiting += self._line[:min(count, room)]
        del self._line[:count]

    def _check_port(self) -> None:
        if self.dead_port:
            raise OSError(EIO)
