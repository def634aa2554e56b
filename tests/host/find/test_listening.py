"""The boat hears the lander: reports by line and by radio, in any order, damaged or not, with range and bearing."""

import json
import os
import pty
import tty
from datetime import UTC, datetime, timedelta

import pytest

from lander import report
from tumblehome.find import listening
from tumblehome.find.listening import DamagedReport, Listener, ListenError
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
    told = listener.take(sentence(latitude_deg_e5=4601667, longitude_deg_e5=-2840001), NOW)
    assert told is not None
    assert "1.00 nm, bearing 000° true" in told and "where the boat was 120 s ago" in told


def test_the_same_report_by_line_and_by_radio_is_told_once_and_the_next_one_again():
    listener = Listener()
    told = [listener.take(line, NOW) for line in (sentence(), frame(), sentence(number=8), frame(lander=1, number=8))]
    assert [one is not None for one in told] == [True, False, True, True]
    assert (listener.heard, listener.repeated, listener.damaged) == (3, 1, 0)


def test_a_damaged_report_is_counted_told_and_kept(tmp_path):
    log = tmp_path / "log"
    with log.open("a", encoding="utf-8") as kept:
        listener = Listener(kept)
        assert "1 so far" in (listener.take(sentence().replace("16570", "16571"), NOW) or "")
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


def test_a_line_that_was_torn_before_the_log_went_on_is_left_out_and_hides_no_other(tmp_path):
    log = tmp_path / "log"
    log.write_text(json.dumps({"heard_utc": "2027-05-18T12:00:00Z", "line": sentence()}) + "\n" + '{"heard_utc": "20', encoding="utf-8")
    with listening._opened(log) as kept:
        assert Listener(kept).take(sentence(), NOW)
    assert len(listening.reports_in(log)) == 2
    with listening._opened(log):
        pass
    assert log.read_text(encoding="utf-8").count("\n") == 3, "nothing is added to a whole log"


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
        return sum("report" in one for one in told) >= 2

    listener = listening.listen(cable.url, boat.url, log, told.append, now=lambda: NOW, until=is_over)
    assert [one.number for _at, one in listening.reports_in(log)] == [6, 7]
    assert listener.damaged == 1
    assert "bearing" in told[-1], "the boat's position had come by then"
    assert json.loads(log.read_text(encoding="utf-8").splitlines()[-1])["bearing_deg"] > 180
    boat.end()


def test_a_cable_that_is_pulled_ends_the_watch_with_one_sentence(cable):
    told, turns = [], []

    def is_over() -> bool:
        turns.append(1)
        if len(turns) == 1:
            cable.say(sentence() + "\r\n")
        elif told and len(turns) < 50:
            turns.extend([1] * 50)
            cable.pull()
        return False

    with pytest.raises(ListenError, match="is gone"):
        listening.listen(cable.url, None, None, told.append, until=is_over)
    assert len(told) == 1


def test_a_port_or_a_log_that_is_not_there_is_refused_with_what_to_do(tmp_path):
    with pytest.raises(ListenError, match="right port"):
        listening.listen(str(tmp_path / "nothing"), None, None, print)
    with pytest.raises(ListenError, match="folder that is there"):
        listening.listen("loop://", None, tmp_path / "no" / "log", print)
