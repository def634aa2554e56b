"""The boat hears the lander: reports by line and by radio, in any order, damaged or not, with range and bearing."""

import errno
import json
import os
import pty
import socket
import tty
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from lander import report
from seatrial.board_files import constants
from tumblehome.find import lines, listening
from tumblehome.find.listening import DamagedReport, Listener, ListenError, Log
from tumblehome.find.shapes import Position

NOW = datetime(2027, 5, 18, 12, 0, tzinfo=UTC)
# As printed on a widely used page on NMEA 0183 (DePriest): sentences with their checksums.
PRINTED = {
    "GGA": "$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47",
    "RMC": "$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A",
    "GLL": "$GPGLL,4916.45,N,12311.12,W,225444,A,*1D",
    "GSA": "$GPGSA,A,3,04,05,,09,12,,,24,,,,,2.5,1.3,2.1*39",
    "GSV": "$GPGSV,2,1,08,01,40,083,46,02,17,308,41,12,07,344,39,14,22,228,45*75",
    "VTG": "$GPVTG,054.7,T,034.4,M,005.5,N,010.2,K*48",
}


@pytest.fixture(autouse=True)
def quick(monkeypatch) -> None:
    """Ports that are silent are not waited for."""
    monkeypatch.setattr(lines, "POLL_S", 0.01)


def values(**changed) -> list[int]:
    said = {"version": 1, "lander": 0xA5F9, "number": 7, "clock_s": 232786433, "latitude_deg_e5": 4610015,
            "longitude_deg_e5": -2839933, "age_s": 0, "supply_mv": 16570, "path": report.TIMED,
            "flags": report.FIX_KNOWN | report.FIX_NEW | report.CLOCK_SURE, "silent_h": 132, **changed}
    return [said[name] for name in report.NAMES]


def sentence(**changed) -> str:
    return report.sentence(values(**changed)).strip()


def frame(**changed) -> str:
    return "frame=" + report.frame(values(**changed)).hex()


@pytest.mark.parametrize("form", [sentence, frame])
def test_what_the_lander_says_is_what_the_boat_hears(form):
    heard = listening.read_line("+RCV=7,29," + form())
    assert heard is not None
    assert (heard.lander, heard.number, heard.fix, heard.age_s) == ("A5F9", 7, "new", 0)
    assert heard.position == Position(46.10015, -28.39933)
    assert heard.at == datetime(2020, 1, 1, tzinfo=UTC) + timedelta(seconds=232786433)
    assert (heard.supply_mv, heard.path, heard.silent_h, heard.is_time_sure) == (16570, report.TIMED, 132, True)


def test_a_lander_without_fix_clock_or_reading_is_heard_as_such():
    heard = listening.read_line(sentence(flags=report.AWASH, clock_s=0, supply_mv=0))
    assert heard is not None
    assert (heard.position, heard.at, heard.supply_mv, heard.fix, heard.is_awash) == (None, None, None, "none", True)
    told = listening.in_words(heard, None, NOW)
    assert "no fix yet" in told and "battery not read" in told and "under water" in told


def test_every_single_wrong_bit_of_a_frame_is_noticed():
    good = report.frame(values())
    for bit in range(8 * len(good)):
        bad = bytearray(good)
        bad[bit // 8] ^= 1 << bit % 8
        with pytest.raises(DamagedReport):
            listening.read_line("frame=" + bad.hex())


def test_every_single_wrong_letter_of_a_sentence_is_noticed_or_no_sentence():
    good = sentence()
    for at in range(len(good)):
        bad = good[:at] + ("0" if good[at] != "0" else "1") + good[at + 1:]
        try:
            assert listening.read_line(bad) is None, bad
        except DamagedReport:
            continue


@pytest.mark.parametrize(("line", "why"), [
    (sentence()[:40], "cut short"), (frame()[:-2], "28 bytes"), (frame()[:-1], "half a byte"),
    (sentence(version=2), "version 2"), (sentence(path=9), "path 9; allowed is 0 to 7"),
    (sentence(latitude_deg_e5=9000001), "latitude_deg_e5"),
])
def test_a_report_that_cannot_be_is_refused_with_the_reason(line, why):
    with pytest.raises(DamagedReport, match=why):
        listening.read_line(line)


@pytest.mark.parametrize("line", ["", "hello", "$GPGGA,,,,,", "frames=2", *PRINTED.values()])
def test_other_lines_are_passed_over(line):
    assert listening.read_line(line) is None


def test_the_boats_position_is_read_from_the_printed_sentences_that_have_one():
    # Values as printed beside the sentences: 48 deg 07.038' N 11 deg 31.000' E; 49 deg 16.45' N 123 deg 11.12' W.
    places = {name: listening.boat_position(line) for name, line in PRINTED.items()}
    assert places["GGA"] == places["RMC"] == Position(pytest.approx(48.1173), pytest.approx(11.516667))
    assert places["GLL"] == Position(pytest.approx(49 + 16.45 / 60), pytest.approx(-123 - 11.12 / 60))
    assert places["GSA"] is places["GSV"] is places["VTG"] is None


@pytest.mark.parametrize("line", [
    PRINTED["GGA"].replace("*47", "*48"), PRINTED["GGA"].replace("*47", ""),
    "$GPGGA,123519,4807.038,N,01131.000,E,0,08,0.9,545.4,M,46.9,M,,*46",
    "$GPRMC,123519,V,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*7D",
    "$GPGGA,123519,4807.038,,01131.000,,1,08,0.9,545.4,M,46.9,M,,*4C",
    "$GPGGA,123519,4807.038,X,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*51",
])
def test_a_position_with_a_wrong_checksum_or_none_or_without_a_fix_is_not_taken(line):
    assert listening.boat_position(line) is None


@pytest.mark.published(
    "memory", ids="7.12", tolerance="0.001 NM, 1e-6 degree",
    source="manual page of GeodSolve (GeographicLib), from memory")
def test_range_and_bearing_are_those_of_the_geodesic():
    # Manual page of GeodSolve (GeographicLib), from memory: 40.6 N 73.8 W to 51.6 N 0.5 W is 5551759.400 m, first
    # course 51.19888285 degrees.
    boat = listening.Boat(Position(40.6, -73.8), NOW)
    bearing = boat.bearing(Position(51.6, -0.5), NOW + timedelta(seconds=12))
    assert bearing is not None
    assert bearing.range_nm == pytest.approx(5551.759 / 1.852, abs=0.001)
    assert bearing.bearing_deg == pytest.approx(51.19888285, abs=1e-6)
    assert bearing.boat_age_s == 12


def test_a_boat_just_south_of_the_lander_sees_it_in_the_north():
    listener = Listener()
    listener.boat.position, listener.boat.heard_at = Position(46.0, -28.4), NOW - timedelta(minutes=2)
    told, = listener.take(sentence(latitude_deg_e5=4601667, longitude_deg_e5=-2840001), NOW)
    assert "1.00 NM, bearing 000° true" in told and "where the boat was 120 s ago" in told


def test_the_same_report_by_line_and_by_radio_is_told_once_and_the_next_one_again():
    listener = Listener()
    told = [listener.take(line, NOW) for line in (sentence(), frame(), sentence(number=8), frame(lander=1, number=8))]
    assert [len(one) for one in told] == [1, 0, 1, 1]
    assert (listener.heard, listener.repeated, listener.damaged) == (3, 1, 0)


def test_a_damaged_report_is_counted_told_and_kept(tmp_path):
    log = tmp_path / "log"
    listener = Listener(Log(log))
    assert "1 so far" in listener.take(sentence().replace("16570", "16571"), NOW)[0]
    assert listener.take(sentence(), NOW)
    entries = [json.loads(line) for line in log.read_text(encoding="utf-8").splitlines()]
    assert entries[0]["damaged"] and entries[1]["heard_utc"] == "2027-05-18T12:00:00Z"
    assert [one.number for _at, one in listening.reports_in(log)] == [7]


def test_a_log_that_was_cut_in_its_last_line_is_read_and_a_strange_one_is_refused(tmp_path):
    log = tmp_path / "log"
    log.write_text(json.dumps({"heard_utc": "2027-05-18T12:00:00Z", "line": sentence()}) + "\n" + '{"line": "$PT', encoding="utf-8")
    assert len(listening.reports_in(log)) == 1
    log.write_text("hello\n" + json.dumps({"heard_utc": "2027-05-18T12:00:00Z", "line": sentence()}) + "\n", encoding="utf-8")
    with pytest.raises(ListenError, match="line 1 of the log"):
        listening.reports_in(log)
    with pytest.raises(ListenError, match="cannot read the log"):
        listening.reports_in(tmp_path / "none")
    log.write_bytes(b"\xa2\x00")
    with pytest.raises(ListenError, match="log is no text in UTF-8: name one that"):
        listening.reports_in(log)


def test_a_modem_is_listened_to_at_the_speed_that_the_board_sends_at():
    assert constants("boards/stock.py")["SURFACE_BAUD"] == lines.BAUD


def test_a_log_without_zones_or_without_end_is_refused_in_one_sentence(tmp_path, monkeypatch):
    log = tmp_path / "log"
    entry = json.dumps({"heard_utc": "2027-05-18T12:00:00", "line": sentence()}) + "\n"
    log.write_text(2 * entry, encoding="utf-8")
    with pytest.raises(ListenError, match="line 1 of the log .* is none of this tool's"):
        listening.reports_in(log)
    monkeypatch.setattr(listening, "LOG_BYTES_MAX", 100)
    with pytest.raises(ListenError, match="has more than 0 MB: cut it to the days of the search"):
        listening.reports_in(log)


class Cable:
    """A port that plays lines: the other end is a pseudo-terminal."""

    def __init__(self) -> None:
        self._own, self._other = pty.openpty()
        tty.setraw(self._other)
        self.url = os.ttyname(self._other)

    def say(self, text: str) -> None:
        os.write(self._own, text.encode())

    def pull(self) -> None:
        os.close(self._own)

    def end(self) -> None:
        os.close(self._other)


@pytest.fixture
def cable():
    made = Cable()
    yield made
    made.end()


def test_reports_and_the_boats_position_come_at_two_ports(cable, tmp_path):
    boat, told, turns = Cable(), [], []
    log = tmp_path / "reports.jsonl"

    def is_over() -> bool:
        """Between two looks at the ports something new comes, in this order."""
        turns.append(1)
        if len(turns) == 1:
            cable.say("noise\xff" + sentence()[:10] + "\r\n" + frame(number=6) + "\r\n")
            boat.say(PRINTED["GGA"] + "\r\n")
        if len(turns) == 10:
            cable.say(sentence(number=7) + "\r\n")
        return sum("report " in one for one in told) >= 2

    listener = listening.listen(cable.url, boat.url, log, told.append, now=lambda: NOW, until=is_over)
    assert [one.number for _at, one in listening.reports_in(log)] == [6, 7]
    assert listener.damaged == 1
    assert "bearing" in told[-1], "the boat's position had come by then"
    assert json.loads(log.read_text(encoding="utf-8").splitlines()[-1])["bearing_deg"] > 180
    boat.end()


def test_a_cable_that_is_pulled_is_told_once_and_the_watch_goes_on_at_the_other_port(cable, monkeypatch):
    monkeypatch.setattr(lines, "AGAIN_POLLS", 2)
    monkeypatch.setattr(lines.time, "sleep", lambda _seconds: None)
    boat, told, rung, turns = Cable(), [], [], []

    def is_over() -> bool:
        turns.append(1)
        if len(turns) == 1:
            boat.pull()
        if len(turns) == 20:
            cable.say(sentence() + "\r\n")
        return any("report 7" in one for one in told) or len(turns) > 200

    listener = listening.listen(cable.url, boat.url, None, told.append, until=is_over, ring=lambda: rung.append(1))
    boat.end()
    assert listener.heard == 1 and len(told) == 2 and len(rung) == 2
    assert "%s is gone" % boat.url in told[0] and "watch goes on" in told[0]


def test_a_port_that_comes_back_is_listened_to_again(monkeypatch):
    monkeypatch.setattr(lines, "AGAIN_POLLS", 3)
    monkeypatch.setattr(lines.time, "sleep", lambda _seconds: None)
    port = lines.Lines("loop://")
    feed, opens = port._port, port._opened
    monkeypatch.setattr(feed, "read", lambda _count: (_ for _ in ()).throw(OSError(errno.EIO, "gone")))
    monkeypatch.setattr(port, "_opened", lambda: (_ for _ in ()).throw(OSError(errno.ENOENT, "no such port")))
    news = []
    for turn in range(12):
        if turn == 6:
            monkeypatch.setattr(port, "_opened", opens)
        assert port.poll() == []
        news.append(port.news)
    assert [one.split(" ", 1)[1][:7] for one in news if one] == ["is gone", "is back"]
    port._port.write(b"hello\n")
    assert port.poll() == ["hello"]
    port.close()


def test_what_waits_at_a_socket_is_taken_at_once_and_not_a_byte_a_turn():
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = lines.Lines("socket://127.0.0.1:%d" % server.getsockname()[1])
        other, _address = server.accept()
        with other:
            other.sendall((sentence() + "\r\n").encode() * 40)
            found = port.poll()
            other.sendall((sentence(number=8) + "\r\n").encode())
        told = [(port.poll(), port.news) for _ in range(2)]
        port.close()
    assert found + told[0][0] == [*[sentence()] * 40, sentence(number=8)], "also what came just before the end"
    assert any("is gone" in news for _lines, news in told)


def test_a_port_of_another_speed_is_told_once():
    port = lines.Lines("loop://")
    news = []
    for came in ([b"\xf8\x00\xe0\x9c" * 60] * 3 + [(sentence() + "\r\n").encode() * 4]):
        port._port.write(came)
        port.poll()
        news.append(port.news)
    port.close()
    assert [bool(one) for one in news] == [True, False, False, False]
    assert "is 9600 baud its speed? --baud" in news[0]


class FullDisk:
    """Takes so many bytes of what is written, and then no more until there is room."""

    def __init__(self, file, room: int) -> None:
        self.file, self.room = file, room

    def write(self, data: bytes) -> int:
        if not self.room:
            raise OSError(errno.ENOSPC, "No space left on device")
        taken = self.file.write(data[:self.room])
        self.room -= taken
        return taken

    def close(self) -> None:
        self.file.close()


def test_a_full_disk_costs_no_report_on_the_screen_and_none_in_the_log_once_there_is_room(tmp_path):
    log = Log(tmp_path / "log")
    disk = log._file = FullDisk(log._file, 100)
    listener = Listener(log)
    told = [listener.take(sentence(number=number), NOW) for number in range(3)]
    assert [len(one) for one in told] == [2, 1, 1], "told once"
    assert "make room; the watch goes on" in told[0][1] and "report 2" in told[2][0]
    assert len(log.waiting) == 3
    disk.room = 10**6
    assert "is written again" in listener.take(sentence(number=3), NOW)[1]
    log.close()
    assert [one.number for _at, one in listening.reports_in(tmp_path / "log")] == [0, 1, 2, 3]


def test_a_log_that_was_torn_goes_on_in_a_line_of_its_own(tmp_path):
    path = tmp_path / "log"
    for number, torn in ((0, b""), (1, b'{"heard_utc": "2027-05'), (2, b"\0\0\0\0"), (3, b"")):
        log = Log(path)
        Listener(log).take(sentence(number=number), NOW)
        log.close()
        with path.open("ab") as file:
            file.write(torn)
    assert [one.number for _at, one in listening.reports_in(path)] == [0, 1, 2, 3]


def test_a_file_of_something_else_is_never_written_into(tmp_path):
    plan = tmp_path / "plan.toml"
    plan.write_text("[dive]\n")
    with pytest.raises(ListenError, match="is no log of this tool"):
        listening.listen("loop://", None, plan, print)
    assert plan.read_text() == "[dive]\n"


def test_two_reports_in_a_line_whose_end_was_lost_are_both_heard():
    listener = Listener()
    told = listener.take(PRINTED["GGA"] + sentence(number=1) + sentence(number=2) + "x" * 9000, NOW)
    assert len(told) == 2 and "report 1" in told[0] and "report 2" in told[1]
    assert all("NM, bearing" in one for one in told)


@pytest.mark.parametrize("changes", [{}, {"flags": report.AWASH}, {"flags": report.FIX_KNOWN, "age_s": 3600}],
                         ids=["new", "none", "old"])
def test_what_must_be_seen_first_stands_in_the_first_line_of_a_narrow_terminal(changes):
    listener = Listener()
    listener.boat.position, listener.boat.heard_at = Position(-46.0, 170.0), NOW - timedelta(hours=2)
    told, = listener.take(sentence(latitude_deg_e5=-8912345, longitude_deg_e5=-17912345, **changes), NOW)
    first = told.split("\n")[0]
    assert len(first) <= 80
    assert "no fix yet" in first if changes.get("flags") == report.AWASH else "NM, bearing" in first and "179°07.407′W" in first
    assert ("OLD fix" in first) == ("age_s" in changes)


def test_without_a_position_of_the_boat_it_is_said_why_there_is_no_bearing():
    told, = Listener().take(sentence(), NOW)
    assert told.startswith("12:00:00Z A5F9: 46") and "where the boat is has not been heard" in told
    assert "where the boat" not in Listener().take(sentence(flags=0), NOW)[0]


def test_it_rings_for_the_first_report_the_first_fix_and_the_first_after_a_long_silence():
    listener, rung = Listener(), []
    for minute, changes in ((0, {"flags": 0}), (2, {"flags": 0}), (4, {}), (6, {}), (8, {"flags": report.FIX_KNOWN}), (10, {}),
                            (30, {}), (32, {}), (34, {"lander": 5})):
        listener.take(sentence(number=minute, **changes), NOW + timedelta(minutes=minute))
        rung.append(listener.rings)
    assert rung == [True, False, True, False, False, True, True, False, True]


def test_a_lander_whose_charge_is_spent_by_its_own_count_is_not_said_to_fall_silent_now():
    told, = Listener().take(sentence(silent_h=0), NOW)
    assert "may fall silent at any time" in told and "falls silent" not in told
    assert Listener().take(sentence(silent_h=30), NOW)[0].endswith("falls silent in 30 h, 19 May 18:00Z")
    assert Listener().take(sentence(silent_h=999), NOW)[0].endswith("falls silent in 999 h or later")


def test_a_port_or_a_log_that_is_not_there_is_refused_with_what_to_do(tmp_path):
    with pytest.raises(ListenError, match=r"cannot open .* \(no such file or directory\): is it the right port"):
        listening.listen(str(tmp_path / "nothing"), None, None, print)
    with pytest.raises(ListenError, match="folder that is there"):
        listening.listen("loop://", None, tmp_path / "no" / "log", print)


def test_the_line_and_the_frame_in_the_documents_are_reports():
    text = (Path(__file__).parents[3] / "DEVELOPERS.md").read_text(encoding="utf-8")
    shown = [line.strip() for line in text.splitlines() if line.startswith(("    $PTHL", "    frame="))]
    heard = [listening.read_line(line) for line in shown]
    assert len(heard) == 2 and all(one is not None and one.position == Position(46.10015, -28.39933) for one in heard)
