"""Position and time against printed NMEA 0183 sentences and against an independent parser.

Source of the sentences: the widely used page "NMEA data" by Dale DePriest, with its checksums and what it says of them.
"""

import pynmea2
import pytest

from drivers.gnss import Gnss
from seatrial.chips.gnss import checksum

GGA = "GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,"
RMC = "GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W"
PRINTED = [
    (GGA, "47"), (RMC, "6A"), ("GPGLL,4916.45,N,12311.12,W,225444,A,", "1D"),
    ("GPGSA,A,3,04,05,,09,12,,,24,,,,,2.5,1.3,2.1", "39"),
    ("GPGSV,2,1,08,01,40,083,46,02,17,308,41,12,07,344,39,14,22,228,45", "75"),
    ("GPVTG,054.7,T,034.4,M,005.5,N,010.2,K", "48")]


class Wire:
    def __init__(self) -> None:
        self.data = bytearray()

    def any(self) -> int:
        return len(self.data)

    def readinto(self, buffer, count: int) -> int:
        buffer[:count] = self.data[:count]
        del self.data[:count]
        return count


def heard(line: str) -> Gnss:
    wire = Wire()
    gnss = Gnss(wire)
    gnss.start(0)
    wire.data += line.encode()
    gnss.tick(10)
    return gnss


@pytest.mark.published("printed", ids="8.22", source='page "NMEA data" by Dale DePriest; pynmea2', tolerance="exact")
@pytest.mark.parametrize("body, printed", PRINTED, ids=[body[:5] for body, _sum in PRINTED])
def test_printed_sentences_are_taken_with_their_printed_checksum_and_with_no_other(body, printed):
    assert checksum(body) == printed
    assert pynmea2.parse("$%s*%s" % (body, printed), check=True).sentence_type == body[2:5]
    wrong = "%02X" % (int(printed, 16) ^ 1)
    # The RMC of the page is from 1994: a right checksum, and a date that is no clock of today.
    assert heard("$%s*%s\r\n" % (body, printed)).faults == (1 if body == RMC else 0)
    assert heard("$%s*%s\r\n" % (body, wrong)).faults == 1


@pytest.mark.published("printed", ids="8.22", source='page "NMEA data" by Dale DePriest', tolerance="0.5e-5 degree")
def test_the_printed_fix():
    gnss = heard("$%s*47\r\n" % GGA)
    assert gnss.ok == 1
    assert gnss.latitude_deg_e5 == pytest.approx(48.1173e5, abs=0.5)  # 48 degrees 07.038 minutes north
    assert gnss.longitude_deg_e5 == pytest.approx(11.516667e5, abs=0.5)  # 11 degrees 31.000 minutes east
    assert (gnss.quality, gnss.satellites, gnss.hdop_tenths) == (1, 8, 9)


@pytest.mark.published("library", ids="8.23", source="pynmea2 raises ChecksumError", tolerance="exact")
def test_the_same_fix_with_the_checksum_off_by_one_is_refused_as_the_library_refuses_it():
    with pytest.raises(pynmea2.ChecksumError):
        pynmea2.parse("$%s*48" % GGA)
    assert heard("$%s*48\r\n" % GGA).ok == 0


@pytest.mark.published("library", ids="8.23", source="pynmea2 lets it pass unless told", tolerance="exact")
def test_a_sentence_without_checksum_is_refused_though_the_library_lets_it_pass_unless_told():
    assert pynmea2.parse("$" + GGA).num_sats == "08"
    assert heard("$%s\r\n" % GGA).ok == 0


@pytest.mark.published(
    "printed", ids="8.22", tolerance="exact",
    source='page "NMEA data" by Dale DePriest, through pynmea2')
def test_the_printed_date_is_before_2020_and_therefore_no_clock():
    assert str(pynmea2.parse("$%s*6A" % RMC).datestamp) == "1994-03-23"
    assert heard("$%s*6A\r\n" % RMC).clock_ok == 0
