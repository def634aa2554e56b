"""What the lander reports, heard on the boat: `tumblehome find --listen URL`.

A report comes as a line of text from a modem, or as a frame of a radio that its receiver prints in hexadecimal digits
behind `frame=`; `lander.report` has the one table of both. The boat's own position comes from any NMEA 0183 sentence
with one (GGA, RMC, GLL, read by `pynmea2`), on the same port or on another. Range and bearing are geodesics on WGS 84.
Ports and log are those of `lines`: whatever fails there, a report that was heard is shown.
"""

import json
import re
import struct
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Annotated, Any

import pynmea2
import typer
from geographiclib.geodesic import Geodesic
from rich.text import Text

from lander import report, words
from lander.checksum import crc16
from seatrial.complaints import complaint
from seatrial.handbook.sighting import METRES_PER_NM
from seatrial.world import CLOCK_EPOCH
from tumblehome import moments, options, terminal
from tumblehome.find import telling
from tumblehome.find.lines import BAUD, BOAT_BAUD, OUR_LINE, Lines, ListenError, Log
from tumblehome.find.positions import written
from tumblehome.find.shapes import Position

BAUD_LOWEST, BAUD_HIGHEST = 300, 1000000
LOG_BYTES_MAX = 50_000_000
BOAT_FRESH = timedelta(seconds=30)
SILENT_MOST_H = report.FIELDS[4 * report.NAMES.index("silent_h") + 3]
LONG_SILENCE = timedelta(minutes=10)  # the first report after it rings
SENTENCE = re.compile(r"\$%s,([^*$]*)\*([0-9A-Fa-f]{2})" % report.ADDRESS)
BEGUN = "$%s" % report.ADDRESS
FRAME = re.compile(r"frame=([0-9A-Fa-f]+)\b")
PIECES = re.compile(r"(?=\$|frame=)")  # where a line's end was lost, there are two in one
NEW, OLD, NONE = "new", "old", "none"


class DamagedReport(Exception):
    """A report that is not to be believed; the sentence says why."""


@dataclass(frozen=True)
class Report:
    """What the lander said. `lander` is how it tells itself from others, four hexadecimal digits; `at` its own time,
    None where it knew none; `fix` is new, old or none, and `position` None without one; `age_s` of the fix, seconds;
    `supply_mv` None where it could not be read; `silent_h` whole hours until its charge is gone.
    """

    lander: str
    number: int
    at: datetime | None
    is_time_sure: bool
    fix: str
    position: Position | None
    age_s: int
    supply_mv: int | None
    path: int
    is_awash: bool
    silent_h: int

    @property
    def fixed_at(self) -> datetime | None:
        """When the lander was where it says."""
        return None if self.at is None or self.position is None else self.at - timedelta(seconds=self.age_s)


@dataclass(frozen=True)
class Bearing:
    """From the boat to the lander: range in nautical miles, bearing in degrees true, and how old the boat's position
    was, seconds.
    """

    range_nm: float
    bearing_deg: float
    boat_age_s: float


@dataclass
class Boat:
    """The boat's own position, as last heard."""

    position: Position | None = None
    heard_at: datetime | None = None

    def take(self, line: str, now: datetime) -> None:
        """Keep the position of a line, where it is a sentence with a valid one and a right checksum."""
        position = boat_position(line)
        if position is not None:
            self.position, self.heard_at = position, now

    def bearing(self, to: Position | None, now: datetime) -> Bearing | None:
        """None where either position is not known."""
        if to is None or self.position is None or self.heard_at is None:
            return None
        line = Geodesic.WGS84.Inverse(self.position.latitude_deg, self.position.longitude_deg,
                                      to.latitude_deg, to.longitude_deg)
        return Bearing(line["s12"] / METRES_PER_NM, line["azi1"] % 360.0, (now - self.heard_at).total_seconds())


# --- one report -----------------------------------------------------------------------------------------------------


def read_line(line: str) -> Report | None:
    """The report in a line, None where there is none in it. Raises DamagedReport."""
    found = SENTENCE.search(line)
    if found:
        return from_sentence(found[0])
    if BEGUN in line:
        raise DamagedReport("a sentence that was cut short")
    found = FRAME.search(line)
    if not found:
        return None
    if len(found[1]) % 2:
        raise DamagedReport("a frame with half a byte at its end")
    return from_frame(bytes.fromhex(found[1]))


def from_sentence(sentence: str) -> Report:
    """The report of `$PTHL,...*hh`. Raises DamagedReport."""
    found = SENTENCE.fullmatch(sentence.strip())
    if not found:
        raise DamagedReport("not a sentence of a lander")
    total = 0
    for byte in ("%s,%s" % (report.ADDRESS, found[1])).encode("utf-8", "replace"):
        total ^= byte
    if total != int(found[2], 16):
        raise DamagedReport("a sentence with a wrong checksum")
    *numbers, crc = found[1].split(",")
    if len(numbers) != len(report.NAMES) or not all(re.fullmatch("-?[0-9]{1,10}", number) for number in numbers):
        raise DamagedReport("a sentence with %d fields that are no report's" % len(numbers))
    values = [int(number) for number in numbers]
    _check(values)
    if crc.upper() != "%04X" % struct.unpack_from("<H", report.frame(values), report.CRC_AT)[0]:
        raise DamagedReport("a sentence whose numbers do not fit its checksum")
    return _report(values)


def from_frame(frame: bytes) -> Report:
    """The report of a radio's frame. Raises DamagedReport."""
    if len(frame) != report.FRAME_BYTES:
        raise DamagedReport("a frame of %d bytes; a report has %d" % (len(frame), report.FRAME_BYTES))
    if struct.unpack_from("<H", frame, report.CRC_AT)[0] != crc16(frame, 0, report.CRC_AT):
        raise DamagedReport("a frame with a wrong checksum")
    values = list(struct.unpack_from(report.FORMAT, frame))
    _check(values)
    return _report(values)


def _check(values: list[int]) -> None:
    for at, value in enumerate(values):
        name, _code, lowest, highest = report.FIELDS[4 * at:4 * at + 4]
        if not int(lowest) <= value <= int(highest):
            raise DamagedReport("a report with %s %d; allowed is %s to %s" % (name, value, lowest, highest))
    if values[0] != report.VERSION:
        raise DamagedReport("a report of version %d; this tool reads %d: use the tool that the lander was flashed with"
                            % (values[0], report.VERSION))


def _report(values: list[int]) -> Report:
    said = dict(zip(report.NAMES, values, strict=True))
    flags = said["flags"]
    is_known = bool(flags & report.FIX_KNOWN)
    position = Position(said["latitude_deg_e5"] / 1e5, said["longitude_deg_e5"] / 1e5) if is_known else None
    return Report(
        lander="%04X" % said["lander"], number=said["number"],
        at=CLOCK_EPOCH + timedelta(seconds=said["clock_s"]) if said["clock_s"] else None,
        is_time_sure=bool(flags & report.CLOCK_SURE),
        fix=NONE if not is_known else NEW if flags & report.FIX_NEW else OLD, position=position, age_s=said["age_s"],
        supply_mv=said["supply_mv"] or None, path=said["path"], is_awash=bool(flags & report.AWASH),
        silent_h=said["silent_h"])


def boat_position(line: str) -> Position | None:
    """The position of a sentence of NMEA 0183 that has a valid one and its checksum, None for any other line."""
    start = line.find("$")
    if start < 0:
        return None
    try:
        said = pynmea2.parse(line[start:].strip(), check=True)
    except (pynmea2.ParseError, ValueError, TypeError, AttributeError):
        return None
    if not isinstance(said, pynmea2.GGA | pynmea2.RMC | pynmea2.GLL):
        return None
    try:
        if not said.is_valid or not said.lat or not said.lon or said.lat_dir not in ("N", "S") \
                or said.lon_dir not in ("E", "W"):  # pynmea2 reads a latitude without its letter as 0
            return None
        position = Position(float(said.latitude), float(said.longitude))
    except (ValueError, TypeError, AttributeError):
        return None
    return position if abs(position.latitude_deg) <= 90 and abs(position.longitude_deg) <= 180 else None


# --- in words, and for the log --------------------------------------------------------------------------------------


def in_words(heard: Report, bearing: Bearing | None, now: datetime) -> str:
    """What a person has to see first in one line of at most 80 letters, and the rest in lines below it."""
    first = "" if bearing is None else "%.2f NM, bearing %03d° true; " % (
        bearing.range_nm, round(bearing.bearing_deg) % 360)
    place = "up, and no fix yet" if heard.position is None else "%s, %s fix" % (
        written(heard.position), heard.fix if heard.fix == NEW else heard.fix.upper())
    of = [*_of_the_fix(heard, bearing), words.REPORT_PATHS[heard.path]]
    if heard.is_awash:
        of.append(words.REPORT_FLAGS[report.AWASH])
    battery = "battery not read" if heard.supply_mv is None else "battery %.2f V" % (heard.supply_mv / 1000)
    silent = now + timedelta(hours=heard.silent_h)
    ends = "falls silent in %d h, %s" % (heard.silent_h, telling.moment(silent.astimezone(UTC)))
    if heard.silent_h == 0:
        ends = "its charge is spent by its own count: it may fall silent at any time"
    elif heard.silent_h == SILENT_MOST_H:
        ends = "falls silent in %d h or later" % heard.silent_h
    return "\n    ".join((
        "%sZ %s: %s%s" % (now.astimezone(UTC).strftime("%H:%M:%S"), heard.lander, first, place), "; ".join(of),
        "%s; report %d" % (battery, heard.number), ends))


def _of_the_fix(heard: Report, bearing: Bearing | None) -> Iterator[str]:
    if heard.fixed_at is not None:
        yield "fix of %s%s" % (
            telling.moment(heard.fixed_at), "" if heard.is_time_sure else " by a clock that is not sure")
    if heard.fix == OLD:
        yield "%.0f min old" % (heard.age_s / 60)
    if heard.position is not None and bearing is None:
        yield "where the boat is has not been heard"
    if bearing is not None and bearing.boat_age_s > BOAT_FRESH.total_seconds():
        yield "from where the boat was %.0f s ago" % bearing.boat_age_s


def log_entry(heard: Report, bearing: Bearing | None, now: datetime, line: str) -> dict[str, Any]:
    """What the log keeps of a report; times in UTC."""
    place = heard.position
    return {
        "heard_utc": moments.iso(now), "lander": heard.lander, "number": heard.number,
        "time_utc": None if heard.at is None else moments.iso(heard.at), "is_time_sure": heard.is_time_sure,
        "fix": heard.fix,
        "latitude_deg": None if place is None else place.latitude_deg,
        "longitude_deg": None if place is None else place.longitude_deg,
        "age_s": heard.age_s, "supply_mv": heard.supply_mv, "path": words.REPORT_PATHS[heard.path],
        "is_awash": heard.is_awash, "silent_h": heard.silent_h,
        "range_nm": None if bearing is None else round(bearing.range_nm, 4),
        "bearing_deg": None if bearing is None else round(bearing.bearing_deg, 2),
        "line": line,
    }


def reports_in(log: Path) -> list[tuple[datetime, Report]]:
    """The reports that a log holds, each with when it was heard, in that order. Raises ListenError.

    A line that was torn, where the power of the computer went or its disk was full, tells nothing and is passed over.
    """
    try:
        with log.open("rb") as file:
            content = file.read(LOG_BYTES_MAX + 1)
        if len(content) > LOG_BYTES_MAX:
            raise ListenError("the log %s has more than %d MB: cut it to the days of the search" % (
                log, LOG_BYTES_MAX // 1_000_000))
        lines = content.decode().split("\n")
    except OSError as error:
        raise ListenError("cannot read the log %s (%s): name one that `find --listen` wrote" % (
            log, complaint(error))) from None
    except UnicodeDecodeError:
        raise ListenError("the log %s is no text in UTF-8: name one that `find --listen` wrote" % log) from None
    found = []
    for number, text in enumerate(lines, 1):
        try:
            kept = json.loads(text[max(0, text.rfind(OUR_LINE.decode())):])
            heard = None if "damaged" in kept else read_line(kept["line"])
            heard_at = _moment(kept["heard_utc"])
        except (ValueError, KeyError, TypeError, OverflowError, DamagedReport):
            if number == len(lines) or _is_torn(text.strip("\r\0 ")):
                continue
            raise ListenError("line %d of the log %s is none of this tool's: give a log that `find --listen` wrote"
                              % (number, log)) from None
        if heard is not None:
            found.append((heard_at, heard))
    return found


def _moment(text: str) -> datetime:
    """Raises ValueError for one without a zone, which this tool never wrote."""
    moment = datetime.fromisoformat(text)
    if moment.tzinfo is None:
        raise ValueError("no zone")
    return moment.astimezone(UTC)


def _is_torn(text: str) -> bool:
    """The beginning of a line of ours, or nothing."""
    ours = OUR_LINE.decode()
    return ours.startswith(text[:len(ours)]) and not text.endswith("}")


# --- listening ------------------------------------------------------------------------------------------------------


@dataclass
class Listener:
    """Takes lines as they come, keeps the boat's position and counts; `log` gets a line of JSON for each report.

    `rings` is 1 after a line that should wake somebody: the first report, the first after long, the first new fix.
    """

    log: Log | None = None
    boat: Boat = field(default_factory=Boat)
    heard: int = 0
    damaged: int = 0
    repeated: int = 0
    rings: bool = False
    _last: dict[str, tuple[datetime, Report]] = field(default_factory=dict)

    def take(self, line: str, now: datetime) -> list[str]:
        """What to show a person of this line."""
        self.rings = False
        return [told for piece in PIECES.split(line) for told in self._take(piece, now)]

    def _take(self, line: str, now: datetime) -> Iterator[str]:
        self.boat.take(line, now)
        try:
            said = read_line(line)
        except DamagedReport as error:
            self.damaged += 1
            yield "not believed: %s (%d so far)" % (error, self.damaged)
            yield from self._keep({"heard_utc": moments.iso(now), "damaged": str(error), "line": line})
            return
        if said is None:
            return
        last_at, last = self._last.get(said.lander, (now, None))
        if last == said:  # by its other way, the line or the radio
            self.repeated += 1
            return
        self._last[said.lander] = now, said
        self.heard += 1
        self.rings |= last is None or now - last_at > LONG_SILENCE or (said.fix == NEW and last.fix != NEW)
        bearing = self.boat.bearing(said.position, now)
        yield in_words(said, bearing, now)
        yield from self._keep(log_entry(said, bearing, now, line))

    def _keep(self, entry: dict[str, Any]) -> Iterator[str]:
        if self.log is None:
            return
        self.log.keep(entry)
        if self.log.news:
            self.rings = True
            yield self.log.news


def _now() -> datetime:
    return datetime.now(UTC)


def _never() -> bool:
    return False


def _nothing() -> None:
    pass


def listen(port: str, boat_port: str | None, log: Path | None, say: Callable[[str], None],
           now: Callable[[], datetime] = _now, until: Callable[[], bool] = _never, ring: Callable[[], None] = _nothing,
           begin: Callable[[], None] = _nothing, baud: int = BAUD, boat_baud: int = BOAT_BAUD) -> Listener:
    """Listen at `port`, and for the boat's position at `boat_port` too, until `until` says so or Ctrl-C.

    `say` gets each report and what is wrong with port or log, `ring` is called after what should wake somebody, `begin`
    once ports and log are open.
    Appends to `log`. Raises ListenError where it cannot begin.
    """
    with ExitStack() as stack:
        ports = []
        for url, speed in {boat_port or port: boat_baud, port: baud}.items():
            ports.append(Lines(url, speed))
            stack.callback(ports[-1].close)
        listener = Listener(None if log is None else Log(log))  # a wrong port leaves no file
        if listener.log is not None:
            stack.callback(listener.log.close)
        begin()
        try:
            while not until():
                for one in reversed(ports):  # the lander's first
                    _turn(one, listener, say, now, ring)
        except KeyboardInterrupt:
            pass  # the ordinary end of a watch
        return listener


def _turn(port: Lines, listener: Listener, say: Callable[[str], None], now: Callable[[], datetime],
          ring: Callable[[], None]) -> None:
    lines = port.poll()
    if port.news:
        say(port.news)
        ring()
    for line in lines:
        for told in listener.take(line, now()):
            say(told)
        if listener.rings:
            ring()


# What `tumblehome find` takes for it.
ListenPort = Annotated[str | None, typer.Option(
    "--listen", metavar=options.URL, help="Listen to the lander's reports at this port (/dev/ttyUSB0, COM5,"
                                           " socket://host:port) until Ctrl-C.")]
ListenBaud = Annotated[int | None, options.whole(
    "--baud", BAUD_LOWEST, BAUD_HIGHEST, "Speed of that port; %d when left out." % BAUD)]
BoatPort = Annotated[str | None, typer.Option(
    "--boat-port", metavar=options.URL, help="Port of the boat's own position, NMEA 0183; that of --listen when left"
                                              " out.")]
BoatBaud = Annotated[int | None, options.whole(
    "--boat-baud", BAUD_LOWEST, BAUD_HIGHEST, "Speed of the boat's port; %d, that of NMEA 0183, when left out."
                                              % BOAT_BAUD)]
ReportLog = Annotated[Path | None, typer.Option(
    "--log", metavar=options.FILE, help="Append every report to this file, a line of JSON each.")]


def watch(port: str, boat_port: str | None, log: Path | None, baud: int | None, boat_baud: int | None) -> None:
    """Listen in a terminal, and end with status 2 where a port or the log cannot be used."""
    out = terminal.out
    where = port if boat_port is None else "%s, and for the boat's position at %s" % (port, boat_port)

    def say(told: str) -> None:
        first, *rest = told.split("\n")
        out.print(Text(first, style="bold" if rest else ""))
        for line in rest:
            out.print(Text(line))

    def ring() -> None:
        if out.is_terminal:
            out.bell()

    def begin() -> None:
        out.print(Text("listening at %s; Ctrl-C ends it%s" % (
            terminal.printable(where), "" if log is not None else "; nothing is kept: --log FILE does that")))

    try:
        listener = listen(port, boat_port, log, say, ring=ring, begin=begin, baud=baud or BAUD,
                          boat_baud=boat_baud or BOAT_BAUD)
    except ListenError as error:
        terminal.refuse([str(error)])
    out.print("%d reports heard, %d not believed." % (listener.heard, listener.damaged))
    if listener.log is not None and listener.log.waiting:
        out.print(Text("the log %s lacks the last %d of them" % (log, len(listener.log.waiting)), style="bold"))
