"""At the surface the board sends what is due by every way that it has, and a way that fails holds nothing up."""

from types import SimpleNamespace

import pytest
from lander_story import Story

from boards.reports import PATIENCE_MS, Reports
from lander import report
from lander.checksum import crc16
from lander.signals import Inputs
from tumblehome.find import listening

CHIP = "e6616407e3464a28"


class Modem:
    def __init__(self) -> None:
        self.lines: list[str] = []
        self.is_dead = False

    def write(self, data: bytes) -> None:
        if self.is_dead:
            raise OSError(5)
        self.lines.append(data.decode())


class Radio:
    """Takes a frame when it is ready, and has sent it at the next look."""

    def __init__(self) -> None:
        self.frames: list[bytes] = []
        self.ready = True
        self.loses = 0
        self.sent = self.busy = 0

    def send(self, payload, length: int, _now_ms: int) -> int:
        if not self.ready:
            return 0
        if self.loses:
            self.loses -= 1
            return 1
        self.frames.append(bytes(payload[:length]))
        self.sent += 1
        return 1


class Sea:
    """A lander afloat: its reports, and a second after another."""

    def __init__(self, modem=None, radio=None, gnss=None) -> None:
        self.mission = Story().on_the_bottom().until("surface").mission
        self.modem, self.radio = modem, radio
        self.gnss = gnss
        self.inputs = Inputs()
        self.inputs.supply_mv, self.inputs.supply_ok = 15000, 1
        self.reports = Reports(self.mission, self, CHIP)
        self.now_ms = 0

    def go_on(self, seconds: int) -> "Sea":
        for _ in range(seconds):
            self.now_ms += 1000
            self.mission.mission_ds += 10
            self.reports.turn(self.mission, self.inputs, self.now_ms)
        return self


def receiver(ok: int = 1):
    return SimpleNamespace(ok=ok, latitude_deg_e5=4610015, longitude_deg_e5=-2839933, age_ms=0, clock_ok=1,
                           clock_s=232786433)


def test_what_leaves_by_line_and_by_radio_is_the_same_and_is_what_the_boat_hears():
    sea = Sea(Modem(), Radio(), receiver()).go_on(400)
    by_line = [listening.read_line(line) for line in sea.modem.lines]
    by_radio = [listening.from_frame(frame) for frame in sea.radio.frames]
    assert by_line == by_radio
    assert [one.number for one in by_radio] == list(range(len(by_radio))) and len(by_radio) >= 4
    assert all(one.fix == "new" and one.lander == "%04X" % crc16(CHIP.encode(), 0, 16) for one in by_radio)
    assert sea.reports.sent == len(by_radio)


def test_a_radio_that_does_not_come_up_costs_the_line_a_minute_a_report_and_no_report():
    radio = Radio()
    radio.ready = False
    sea = Sea(Modem(), radio, receiver()).go_on(1200)
    assert sea.reports.sent >= 5
    radio.ready = True
    sea.go_on(400)
    assert radio.frames


def test_a_frame_that_is_lost_on_its_way_is_sent_again():
    radio = Radio()
    radio.loses = 2
    sea = Sea(None, radio, receiver()).go_on(20)
    assert [listening.from_frame(frame).number for frame in radio.frames][0] == 0
    assert sea.reports.sent >= 1


def test_with_a_radio_alone_a_report_that_waits_is_made_anew_with_the_fix_that_came():
    radio = Radio()
    radio.ready = False
    sea = Sea(None, radio, receiver(ok=0)).go_on(PATIENCE_MS // 1000 + 5)
    sea.gnss = receiver()
    sea.go_on(PATIENCE_MS // 1000 + 5)
    radio.ready = True
    sea.go_on(5)
    assert listening.from_frame(radio.frames[0]).fix == "new"


def test_a_line_that_fails_leaves_the_report_due():
    modem = Modem()
    modem.is_dead = True
    sea = Sea(modem, None, receiver())
    with pytest.raises(OSError):
        sea.go_on(1)
    modem.is_dead = False
    assert len(sea.go_on(2).modem.lines) == 1


def test_a_line_that_fails_keeps_no_frame_from_the_air():
    modem, radio = Modem(), Radio()
    modem.is_dead = True
    sea = Sea(modem, radio, receiver()).go_on(300)
    assert [listening.from_frame(frame).number for frame in radio.frames] == list(range(len(radio.frames)))
    assert len(radio.frames) >= 3 and sea.reports.sent == len(radio.frames)
    modem.is_dead = False
    assert sea.go_on(200).modem.lines


def test_a_lander_without_a_receiver_says_so_with_battery_and_time():
    sea = Sea(Modem())
    sea.inputs.clock_s, sea.inputs.clock_ok = 230_000_000, 1
    heard = listening.read_line(sea.go_on(1).modem.lines[0])
    assert heard is not None
    assert (heard.fix, heard.supply_mv, heard.at is not None) == ("none", 15000, True)


def test_the_receiver_rests_between_rare_reports():
    sea = Sea(Modem(), None, receiver())
    sea.mission.mission_ds += sea.mission.orders.beacon_ds
    sea.go_on(100)
    assert sea.reports.sent == 2 and not sea.reports.wants_fix
    assert report.PACE[-1][1] == 36000
    sea.go_on(3600 - 100)
    assert sea.reports.wants_fix


def test_the_receiver_is_on_for_a_step_more_so_that_no_deep_sleep_cuts_a_line_in_its_port():
    sea = Sea(Modem(), None, receiver())
    sea.mission.mission_ds += sea.mission.orders.beacon_ds
    wanted = []
    for _ in range(60):
        lines = len(sea.modem.lines)
        sea.go_on(1)
        wanted.append((len(sea.modem.lines) > lines, bool(sea.reports.wants_fix)))
    assert (True, True) in wanted and (True, False) not in wanted
    assert wanted[-1] == (False, False), "and rests from then on"


def test_a_radio_that_stays_dead_does_not_keep_the_receiver_on_where_the_charge_is_short():
    radio = Radio()
    radio.ready = False
    sea = Sea(None, radio, receiver())
    sea.mission.mission_ds += sea.mission.orders.beacon_ds
    on = 0
    for _ in range(10 * 3600 // 20):
        sea.now_ms += 20000
        sea.mission.mission_ds += 200
        sea.reports.turn(sea.mission, sea.inputs, sea.now_ms)
        on += sea.reports.wants_fix
    assert 0.04 < on / (10 * 3600 // 20) < 0.1, "three minutes of an hour"
    radio.ready = True
    assert sea.go_on(5).reports.sent, "and the first chance is taken"


def test_a_fix_that_came_while_the_report_before_waited_for_the_radio_is_still_sent_twice():
    radio = Radio()
    radio.ready = False
    sea = Sea(Modem(), radio, receiver(ok=0)).go_on(20)
    sea.gnss = receiver()
    sea.go_on(5)
    radio.ready = True
    heard = [listening.from_frame(frame).fix for frame in sea.go_on(60).radio.frames]
    assert heard == ["none", "new", "new"]


def test_the_age_of_a_fix_counts_from_when_the_receiver_had_it():
    sea = Sea(Modem(), None, receiver())
    sea.gnss.age_ms = 8400
    heard = listening.read_line(sea.go_on(1).modem.lines[0])
    assert heard is not None
    assert (heard.fix, heard.age_s) == ("new", 8)
