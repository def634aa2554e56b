"""The lander knows its position and the time from a receiver, and knows when it does not."""

import os
import subprocess
from datetime import UTC, datetime, timedelta

import pynmea2
import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.gnss import BYTES_A_TICK, GAP_MS, HDOP_UNKNOWN, LINE_MAX, OLD_MS, PAUSE_MS, Gnss
from seatrial.chips.gnss import Receiver, sentence

UTC_AT_0 = datetime(2027, 3, 1, 23, 59, 30, tzinfo=UTC)
EPOCH = datetime(2020, 1, 1, tzinfo=UTC)
WRAP = 1 << 30


class Dive:
    """A receiver and its driver on one clock."""

    def __init__(self, utc: datetime = UTC_AT_0, start_ms: int = 0, **finds) -> None:
        self.receiver = Receiver(utc)
        self.receiver.latitude_deg = -47.12345
        self.receiver.longitude_deg = 11.5
        for name, value in finds.items():
            setattr(self.receiver, name, value)
        self.start_ms = start_ms
        self.passed_ms = 0
        self.gnss = Gnss(self.receiver)
        assert self.gnss.start(self.now_ms) == 1

    @property
    def now_ms(self) -> int:
        return (self.start_ms + self.passed_ms) % WRAP

    def run(self, seconds: float, step_ms: int = 50) -> Gnss:
        for _step in range(int(seconds * 1000) // step_ms):
            self.passed_ms += step_ms
            self.receiver.now_s = self.passed_ms / 1000
            self.gnss.tick(self.now_ms)
        return self.gnss


class Wire:
    """A UART that holds bytes given to it."""

    def __init__(self, data: bytes = b"") -> None:
        self.data = bytearray(data)
        self.asked: list[int] = []

    def any(self) -> int:
        return len(self.data)

    def readinto(self, buffer, count):
        self.asked.append(count)
        taken = min(count, len(self.data))
        buffer[:taken] = self.data[:taken]
        del self.data[:taken]
        return taken

    def write(self, data):
        return len(data)


def heard(*lines: bytes) -> Gnss:
    wire = Wire()
    gnss = Gnss(wire)
    gnss.start(0)
    wire.data += b"".join(lines)
    now_ms = 0
    while wire.data:
        now_ms += 10
        gnss.tick(now_ms)
    return gnss


def gga(time="120000.00", latitude="4807.038,N", longitude="01131.000,E", quality="1", satellites="08", hdop="0.9",
        talker="GP") -> bytes:
    return sentence("%sGGA,%s,%s,%s,%s,%s,%s,545.4,M,46.9,M,," % (
        talker, time, latitude, longitude, quality, satellites, hdop))


def rmc(time="120000.00", status="A", date="010327", mode=",A", talker="GP") -> bytes:
    return sentence("%sRMC,%s,%s,4807.038,N,01131.000,E,022.4,084.4,%s,,%s" % (talker, time, status, date, mode))


def seconds(*moment: int) -> int:
    return int((datetime(*moment, tzinfo=UTC) - EPOCH).total_seconds())


def test_a_receiver_with_a_fix_gives_position_quality_and_time():
    gnss = Dive(satellites=9, hdop=1.21).run(3.9)
    assert gnss.ok == 1 and gnss.clock_ok == 1 and gnss.faults == 0
    assert (gnss.latitude_deg_e5, gnss.longitude_deg_e5) == (-4712345, 1150000)
    assert (gnss.quality, gnss.satellites) == (1, 9)
    assert gnss.hdop_tenths == 13, "rounded to the worse side"


@given(latitude=st.floats(-90, 90), longitude=st.floats(-180, 180), places=st.integers(2, 7),
       talker=st.sampled_from(["GP", "GN", "GA", "GL", "GB", "BD", "QZ"]))
def test_any_place_on_earth_is_read_as_an_independent_library_reads_it(latitude, longitude, places, talker):
    dive = Dive(latitude_deg=latitude, longitude_deg=longitude, places=places, talker=talker)
    gnss = dive.run(1.5)
    read = pynmea2.parse(sentence(dive.receiver.gga()).decode(), check=True)
    assert gnss.ok == 1
    assert gnss.latitude_deg_e5 == pytest.approx(read.latitude * 1e5, abs=0.52)
    assert gnss.longitude_deg_e5 == pytest.approx(read.longitude * 1e5, abs=0.52)


@given(moment=st.datetimes(datetime(2020, 1, 1), datetime(2053, 12, 31, 23, 59, 50)))
def test_any_moment_of_34_years_is_the_moment_of_python_s_own_calendar(moment):
    gnss = heard(rmc(time=moment.strftime("%H%M%S"), date=moment.strftime("%d%m%y")))
    assert gnss.clock_ok == 1
    assert gnss.clock_s == int((moment.replace(microsecond=0, tzinfo=UTC) - EPOCH).total_seconds())
    assert gnss.clock_s < WRAP, "no large integer on a 32-bit board"


@pytest.mark.parametrize("date", ["290220", "280221", "010321", "290224", "010324", "311252", "311253"])
def test_leap_years_and_ends_of_years(date):
    moment = datetime.strptime(date + "235959", "%d%m%y%H%M%S").replace(tzinfo=UTC)
    assert heard(rmc(time="235959", date=date)).clock_s == int((moment - EPOCH).total_seconds())


def test_the_clock_runs_on_between_sentences_and_over_midnight():
    dive = Dive()
    dive.run(40)
    for _step in range(30):
        gnss = dive.run(0.1)
        expected_s = (UTC_AT_0 - EPOCH).total_seconds() + dive.passed_ms / 1000
        assert gnss.clock_ok == 1
        assert 0 <= expected_s - gnss.clock_s < 1.3, "a sentence is some tenths of a second on the line"


def test_the_first_moment_of_a_day_and_of_2020_is_a_moment_like_any_other():
    gnss = heard(gga(time="000000"), rmc(time="000000", date="010120"))
    assert gnss.ok == 1 and gnss.clock_ok == 1 and gnss.clock_s == 0


def test_a_leap_second_is_the_next_second():
    assert heard(rmc(time="235960", date="311229")).clock_s == seconds(2030, 1, 1)


@pytest.mark.parametrize("quality", ["0", "6", "7", "8"])
def test_a_position_that_was_not_measured_is_no_position(quality):
    gnss = heard(gga(), gga(time="120001", quality=quality))
    assert gnss.ok == 0 and gnss.age_ms == -1


@pytest.mark.parametrize("quality", ["1", "2", "3", "4", "5"])
def test_measured_qualities_are_positions(quality):
    gnss = heard(gga(quality=quality))
    assert gnss.ok == 1 and gnss.quality == int(quality)


@pytest.mark.parametrize("satellites, ok", [("00", 0), ("02", 0), ("", 0), ("03", 1), ("12", 1)])
def test_fewer_than_three_satellites_are_no_position(satellites, ok):
    assert heard(gga(satellites=satellites)).ok == ok


@pytest.mark.parametrize("hdop, tenths", [("", HDOP_UNKNOWN), ("99.99", HDOP_UNKNOWN), ("250.0", HDOP_UNKNOWN), ("0.9", 9),
                                          ("1", 10), ("1.01", 11), ("99.8", 998)])
def test_dilution_is_shown_in_tenths_and_never_better_than_sent(hdop, tenths):
    assert heard(gga(hdop=hdop)).hdop_tenths == tenths


@pytest.mark.parametrize("status, mode, ok", [
    ("A", ",A", 1), ("A", ",D", 1), ("A", ",F", 1), ("A", ",R", 1), ("A", ",P", 1), ("A", "", 1), ("A", ",", 1),
    ("A", ",A,V", 1), ("V", ",A", 0), ("A", ",N", 0), ("A", ",E", 0), ("A", ",M", 0), ("A", ",S", 0)])
def test_a_position_that_the_receiver_calls_void_is_void_and_so_is_its_time(status, mode, ok):
    gnss = heard(rmc(time="115959"), gga(), rmc(status=status, mode=mode))
    assert gnss.ok == ok and gnss.clock_ok == ok


def test_a_void_receiver_is_believed_again_when_it_says_valid():
    dive = Dive()
    assert dive.run(3).ok == 1
    dive.receiver.void = True
    assert dive.run(2).ok == 0
    dive.receiver.void = False
    assert dive.run(2).ok == 1


def test_a_silent_receiver_is_old_in_time_counted_and_heard_again():
    dive = Dive()
    assert dive.run(3).ok == 1
    dive.receiver.absent = True
    assert dive.run(OLD_MS / 1000 - 1).ok == 1
    gnss = dive.run(2)
    assert gnss.ok == 0 and gnss.clock_ok == 0 and gnss.age_ms == -1
    assert dive.run(OLD_MS / 1000).faults > 0
    dive.receiver.absent = False
    assert dive.run(2).ok == 1 and dive.gnss.clock_ok == 1


def test_the_age_of_the_fix_is_told():
    dive = Dive()
    dive.run(3)
    dive.receiver.absent = True
    dive.run(5)
    assert 4500 <= dive.gnss.age_ms <= 6000


def test_a_receiver_that_repeats_one_moment_for_ever_grows_old():
    dive = Dive()
    assert dive.run(3).ok == 1
    dive.receiver.frozen = True
    gnss = dive.run(OLD_MS / 1000 + 2)
    assert gnss.ok == 0 and gnss.clock_ok == 0
    dive.receiver.frozen = False
    assert dive.run(2).ok == 1 and gnss.clock_ok == 1


@pytest.mark.parametrize("start_ms", [WRAP - 1, WRAP - 2500, WRAP - 13000, WRAP - 50])
def test_nothing_changes_where_the_counter_of_milliseconds_wraps(start_ms):
    dive = Dive(start_ms=start_ms)
    dive.run(1.6)
    for _second in range(4):
        gnss = dive.run(1)
        assert gnss.ok == 1 and gnss.clock_ok == 1 and gnss.faults == 0
    dive.receiver.absent = True
    assert dive.run(OLD_MS / 1000 + 1).ok == 0


def test_an_old_fix_stays_old_when_the_counter_comes_round_to_the_same_number():
    wire = Wire()
    gnss = Gnss(wire)
    gnss.start(0)
    wire.data += gga() + rmc()
    for now_ms in (0, 10, 20):
        gnss.tick(now_ms)
    assert gnss.ok == 1 and gnss.clock_ok == 1
    gnss.tick(20 + OLD_MS + 1)
    assert gnss.ok == 0 and gnss.clock_ok == 0
    gnss.tick(30)
    assert gnss.ok == 0 and gnss.clock_ok == 0 and gnss.age_ms == -1


def test_bytes_that_lay_in_the_buffer_while_the_board_slept_are_not_taken_for_news():
    dive = Dive()
    dive.run(2.95)
    dive.receiver.latitude_deg = 10.0
    dive.receiver.now_s = 4.9  # the board sleeps; the buffer fills with this position
    dive.receiver.latitude_deg = 20.0
    dive.passed_ms += 60000
    dive.receiver.absent = True
    dive.receiver.now_s = 62
    dive.gnss.tick(dive.now_ms)
    assert dive.gnss.ok == 0
    dive.passed_ms += 50
    for _tick in range(5):
        dive.gnss.tick(dive.now_ms)
    assert dive.gnss.ok == 0 and dive.gnss.latitude_deg_e5 == -4712345
    assert dive.receiver.any() == 0


def test_a_pause_of_just_what_is_allowed_loses_nothing():
    wire = Wire()
    gnss = Gnss(wire)
    gnss.start(0)
    wire.data += gga()
    gnss.tick(GAP_MS)
    assert gnss.ok == 1
    wire.data += gga(time="120001", quality="0")
    gnss.tick(2 * GAP_MS + 1)
    assert gnss.ok == 1, "what says no fix was dropped too"


def test_after_a_pause_only_what_had_been_waiting_is_dropped():
    wire = Wire()
    gnss = Gnss(wire)
    gnss.start(0)
    wire.data += gga(latitude="1000.0,N") * 6
    gnss.tick(5000)
    wire.data += gga(latitude="2000.0,N", time="120001")
    for now_ms in range(5010, 5100, 10):
        gnss.tick(now_ms)
    assert gnss.ok == 1 and gnss.latitude_deg_e5 == 2000000


def test_what_waits_at_the_start_is_dropped():
    wire = Wire(gga())
    gnss = Gnss(wire)
    gnss.start(0)
    gnss.tick(10)
    assert gnss.ok == 0 and not wire.data


def test_a_tick_takes_a_bounded_number_of_bytes():
    wire = Wire()
    gnss = Gnss(wire)
    gnss.start(0)
    wire.data += gga() * 20
    before = len(wire.data)
    gnss.tick(1)
    assert before - len(wire.data) == BYTES_A_TICK and wire.asked == [BYTES_A_TICK]


def test_a_sentence_may_come_byte_by_byte():
    wire = Wire()
    gnss = Gnss(wire)
    gnss.start(0)
    oks = []
    for now_ms, byte in enumerate(gga()):
        wire.data.append(byte)
        gnss.tick(now_ms)
        oks.append(gnss.ok)
    assert oks == [0] * (len(oks) - 2) + [1, 1], "believed at its first line end, not before"


@pytest.mark.parametrize("spoil", [
    lambda line: line.replace(b"*", b"*0"), lambda line: line[:-5] + b"\r\n", lambda line: line[:-4] + b"\r\n",
    lambda line: line[:-3] + b"\r\n", lambda line: line.replace(b"4807", b"4806"), lambda line: line.replace(b"*", b","),
    lambda line: line[:-2] + b" \r\n", lambda line: line[:20] + b"\x00" + line[20:], lambda line: line[:20] + b"\xb5" + line[20:],
    lambda line: line[:20] + line, lambda line: b"$" + line[1:40] + b"\r\n"],
    ids=["digit too many", "no checksum", "star only", "one digit", "bit flipped", "no star", "space after", "zero byte",
         "binary byte", "cut and begun again", "torn"])
def test_a_spoilt_sentence_is_counted_and_not_believed(spoil):
    line = gga()
    gnss = heard(spoil(line))
    assert gnss.faults == 1
    assert gnss.ok == (1 if spoil(line).endswith(line) else 0)


def test_every_single_wrong_bit_is_noticed():
    line = gga()
    for at in range(1, len(line) - 2):
        for bit in range(8):
            spoilt = bytearray(line)
            spoilt[at] ^= 1 << bit
            gnss = heard(bytes(spoilt))
            same = bytes(spoilt).lower() == line.lower() and at >= len(line) - 4  # case of the checksum
            assert gnss.ok == (1 if same else 0), (at, bit)


def test_hexadecimal_digits_of_either_case_are_taken():
    for minute in range(30):
        line = gga(latitude="48%02d.038,N" % minute)
        lower = line[:-4] + line[-4:].lower()
        assert heard(lower).ok == 1 and heard(lower).faults == 0


@pytest.mark.parametrize("end", [b"\r\n", b"\n", b"\r"])
def test_lines_may_end_either_way(end):
    assert heard(gga()[:-2] + end).ok == 1


@pytest.mark.parametrize("byte, faults", [(31, 1), (32, 0), (126, 0), (127, 1), (9, 1)])
def test_only_what_can_be_printed_belongs_in_a_sentence(byte, faults):
    assert heard(sentence("GPTXT,%c" % byte)).faults == faults


def test_a_sentence_of_many_fields_is_passed_over_and_the_next_is_heard():
    gnss = heard(sentence("GPGSV" + "," * 60), gga())
    assert gnss.ok == 1 and gnss.faults == 0


def test_an_overlong_line_is_dropped_and_the_next_is_heard():
    gnss = heard(sentence("GPTXT," + "A" * LINE_MAX), b"A" * 3000, gga())
    assert gnss.ok == 1 and gnss.faults == 1


def test_the_longest_line_is_taken():
    body = gga()[1:-5].decode()
    whole = body + "0" * (LINE_MAX - 3 - len(body))
    assert len(whole) + 3 == LINE_MAX
    assert heard(sentence(whole)).ok == 1
    assert heard(sentence(whole + "0")).ok == 0


@given(st.binary(max_size=600))
def test_no_noise_makes_a_position_or_stops_the_driver(noise):
    gnss = heard(noise)
    assert gnss.ok == 0 and gnss.clock_ok == 0
    gnss = heard(noise, b"\r\n", gga(), rmc())
    assert gnss.ok == 1 and gnss.clock_ok == 1


@given(st.lists(st.text("0123456789.,-+NSEWAV $*", max_size=12), min_size=1, max_size=30), st.sampled_from(["GGA", "RMC"]))
def test_no_fields_with_a_right_checksum_stop_the_driver(fields, kind):
    body = ",".join(["GP" + kind, *fields])
    gnss = heard(sentence(body))
    assert abs(gnss.latitude_deg_e5) <= 9000000 and abs(gnss.longitude_deg_e5) <= 18000000
    assert 0 <= gnss.clock_s < WRAP


@pytest.mark.parametrize("field, value", [
    ("latitude", "4860.000,N"), ("latitude", "9000.001,N"), ("latitude", "4807.038,E"), ("latitude", "4807.038,"),
    ("latitude", "807.038,N"), ("latitude", "04807.038,N"), ("latitude", "-807.038,N"), ("latitude", ",N"),
    ("latitude", "48.7038,N"), ("latitude", "4807.0.8,N"), ("latitude", "4807.038,NN"), ("latitude", "4 07.038,N"),
    ("longitude", "18000.001,E"), ("longitude", "0131.000,E"), ("longitude", "01160.000,E"), ("longitude", "01131.000,N"),
    ("time", ""), ("time", "240000"), ("time", "126000"), ("time", "120061"), ("time", "12000"), ("time", "1200000"),
    ("time", "12:000"), ("quality", ""), ("quality", "A"), ("satellites", "-8"), ("satellites", "8.0"), ("hdop", "x"),
    ("hdop", "."), ("hdop", "-1.0"), ("hdop", "1234567890123")])
def test_a_fix_with_an_impossible_field_is_refused_and_the_last_one_stands(field, value):
    gnss = heard(gga(), gga(**{"time": "120001", "latitude": "1000.0,N", field: value}))
    assert gnss.faults == 1
    assert gnss.latitude_deg_e5 == 4811730 and gnss.ok == 1


@pytest.mark.parametrize("latitude, longitude, expected", [
    ("9000.0,S", "18000.0,W", (-9000000, -18000000)), ("0000.000,N", "00000.000,E", (0, 0)),
    ("4807,N", "01131,W", (4811667, -1151667)), ("4807.,N", "01131.0,E", (4811667, 1151667)),
    ("4859.99999,N", "17959.9999999,E", (4900000, 18000000)), ("0000.00030,N", "00000.00029,E", (1, 0))])
def test_edges_of_the_globe_and_of_the_form(latitude, longitude, expected):
    gnss = heard(gga(latitude=latitude, longitude=longitude))
    assert gnss.ok == 1 and (gnss.latitude_deg_e5, gnss.longitude_deg_e5) == expected


@pytest.mark.parametrize("date", ["", "010319", "311219", "010354", "010399", "230394", "000327", "320127", "290227",
                                  "310427", "011327", "010027", "10327", "0103270", "0103.7"])
def test_a_date_that_cannot_be_leaves_no_clock(date):
    gnss = heard(rmc(time="115959"), gga(), rmc(date=date))
    assert gnss.clock_ok == 0 and gnss.faults == 1
    assert gnss.ok == 1, "the position does not hang on the date"


def test_a_receiver_with_rolled_over_weeks_gives_a_position_and_no_time():
    gnss = Dive(rollovers=1).run(3)
    assert gnss.ok == 1 and gnss.clock_ok == 0 and gnss.faults > 0


@pytest.mark.parametrize("time", ["240000", "126000", "120061", "1200", "", "12000A"])
def test_a_time_that_cannot_be_leaves_no_clock(time):
    assert heard(rmc(time=time)).clock_ok == 0


@pytest.mark.parametrize("status", ["", "X", "AA"])
def test_a_status_that_is_none_is_refused(status):
    gnss = heard(rmc(time="115959"), rmc(status=status))
    assert gnss.faults == 1 and gnss.clock_ok == 1


@pytest.mark.parametrize("body", ["GPGGA", "GPGGA,120000,4807.038,N,01131.000,E,1,08", "GPRMC", "GPRMC,120000,A,4807.038,N"])
def test_a_short_sentence_with_a_right_checksum_is_refused(body):
    gnss = heard(sentence(body))
    assert gnss.ok == 0 and gnss.clock_ok == 0 and gnss.faults == 1


@pytest.mark.parametrize("address", ["PXGGA", "GPGGAX", "GGA", "GPGSV", "GPGGB", "GPGLA", "GPRMA", "GPRNC"])
def test_other_sentences_are_passed_over(address):
    gnss = heard(gga(), sentence(address + gga(time="120001", quality="0")[6:-5].decode()),
                 sentence(address + rmc(status="V")[6:-5].decode()))
    assert gnss.ok == 1 and gnss.faults == 0


def test_binary_noise_between_sentences_and_wrong_bits_cost_no_more_than_the_sentences_they_hit():
    dive = Dive(noise=b"\xb5\x62\x01\x07\x00\xff\x24\x00")
    assert dive.run(3).ok == 1
    dive.receiver.corrupt_next = 3
    before = dive.gnss.faults
    gnss = dive.run(2)
    assert gnss.ok == 1, "the fix of the second before is still fresh"
    assert gnss.faults == before + 3 + 2, "three sentences, and the dollar in the noise of two bursts"


def test_a_port_that_fails_is_not_ok_at_once_and_tried_again_for_ever():
    dive = Dive()
    assert dive.run(3).ok == 1
    dive.receiver.dead_port = True
    gnss = dive.run(0.05)
    assert gnss.ok == 0 and gnss.clock_ok == 0
    dive.run(10 * PAUSE_MS / 1000)
    assert 8 <= gnss.faults <= 12
    assert Gnss(dive.receiver).start(0) == 0
    dive.receiver.dead_port = False
    assert dive.run(3).ok == 1


def test_faults_stop_counting_at_their_limit():
    gnss = heard(gga())
    gnss.faults = 65534
    wire = gnss._uart
    for now_ms in (100, 110, 120):
        wire.data += b"$x\r\n"
        gnss.tick(now_ms)
    assert gnss.faults == 65535


def test_the_simulated_receiver_speaks_what_an_independent_library_reads():
    dive = Dive(latitude_deg=-0.00001, longitude_deg=179.99999, satellites=7, hdop=2.5)
    dive.run(2)
    fix = pynmea2.parse(sentence(dive.receiver.gga()).decode(), check=True)
    time = pynmea2.parse(sentence(dive.receiver.rmc()).decode(), check=True)
    assert (fix.num_sats, float(fix.horizontal_dil), fix.gps_qual, fix.lat_dir) == ("07", 2.5, 1, "S")
    assert time.datetime.replace(tzinfo=UTC) == UTC_AT_0 + timedelta(seconds=2)


SCRIPT = """
import micropython
from drivers.gnss import Gnss

class Uart:
    def __init__(self, data):
        self.data = data
        self.at = 0
    def any(self):
        return len(self.data) - self.at
    def readinto(self, buffer, count):
        for at in range(count):
            buffer[at] = self.data[self.at + at]
        self.at += count
        return count

DATA = %r
uart = Uart(b"")
gnss = Gnss(uart)
def run(locked):
    gnss.start(0)
    uart.data = DATA
    uart.at = 0
    now_ms = 0
    if locked:
        micropython.heap_lock()
    while uart.at < len(uart.data):
        now_ms += 20
        gnss.tick(now_ms)
    if locked:
        micropython.heap_unlock()
run(0)
run(1)
print(gnss.ok, gnss.latitude_deg_e5, gnss.longitude_deg_e5, gnss.clock_ok, gnss.clock_s, gnss.hdop_tenths, gnss.faults)
"""


def test_the_driver_runs_under_micropython_and_allocates_nothing(micropython, firmware):
    data = (b"\xb5\x62noise$" + gga(quality="0") + rmc(time="115959", date="010319") + sentence("GPGSA,A,3,04")
            + b"$bad*00\r\n" + gga(latitude="4807.038,S", longitude="17959.99999,W") + rmc(time="235958"))
    done = subprocess.run([micropython, "-c", SCRIPT % data], env={**os.environ, "MICROPYPATH": str(firmware)},
                          capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 0, done.stderr[-2000:]
    here = heard(data)
    expected = [here.ok, here.latitude_deg_e5, here.longitude_deg_e5, here.clock_ok, here.clock_s, here.hdop_tenths]
    assert [int(word) for word in done.stdout.split()][:6] == expected
    assert expected == [1, -4811730, -18000000, 1, seconds(2027, 3, 1, 23, 59, 58), 9]
