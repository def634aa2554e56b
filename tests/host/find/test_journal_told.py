"""What a journal tells a search: dives of the simulated sea, whose truth is known, read from their journals alone."""

from datetime import timedelta

import pytest

from seatrial.dive import Dive
from seatrial.faults import parse
from seatrial.result import DiveResult
from seatrial.workings.release_paths import path_of
from tumblehome.bench import pulled
from tumblehome.find import journal_told
from tumblehome.find.drifting import clouds
from tumblehome.find.journal_told import beginning_at, read, told_by
from tumblehome.find.known import Heard, StillDown, Surfaced
from tumblehome.find.mistakes import FindError
from tumblehome.find.mistakes import told as moment_in_words
from tumblehome.find.ways import homes

from .plans_and_clouds import PLAN, SPLASH, hours, sure


@pytest.fixture(scope="module")
def dives() -> dict[str, DiveResult]:
    return {fault: Dive(PLAN, [parse(fault)] if fault else [], 3).run()
            for fault in ("", "jammed:channel=primary", "leak@record+60min", "jammed:channel=both",
                          "main-dead:for_s=30000@record")}


@pytest.mark.parametrize("fault, way", [
    ("", "timed"), ("jammed:channel=primary", "backup"), ("leak@record+60min", "early"), ("jammed:channel=both", "passive")])
def test_the_way_home_and_the_moments_are_those_of_the_dive(dives, fault, way):
    dive = dives[fault]
    assert dive.evidence.surfaced_s and dive.evidence.splash_s
    told = told_by(dive.journal, PLAN)
    assert abs(told.splash - SPLASH) < timedelta(seconds=3)
    known, = told.known
    assert isinstance(known, Surfaced) and known.way == way
    truly = SPLASH + timedelta(seconds=dive.evidence.surfaced_s - dive.evidence.splash_s)
    assert abs(known.at - truly) < timedelta(seconds=30)


def test_a_controller_that_was_dead_while_it_rose_tells_only_between_which_moments(dives):
    dive = dives["main-dead:for_s=30000@record"]
    down, up = told_by(dive.journal, PLAN).known
    truly = SPLASH + timedelta(seconds=dive.evidence.surfaced_s - dive.evidence.splash_s)
    assert isinstance(down, StillDown) and isinstance(up, Heard) and up.way is None
    assert down.at < truly <= up.at
    assert {home.key for home in homes(PLAN, sure(), (down, up)) if home.chance > 0} >= {"second", "timed"}


def test_a_release_by_the_second_board_is_told_by_its_moment():
    second = path_of(PLAN, "second").surfaced_min.likely * 60
    assert journal_told._by_moment(PLAN, second) == "second"
    assert journal_told._by_moment(PLAN, path_of(PLAN, "passive_latest").surfaced_min.likely * 60) == "passive"
    assert journal_told._by_moment(PLAN, second + 3600) is None


def test_the_cloud_at_the_moment_it_surfaced_lies_where_it_surfaced(dives):
    dive = dives[""]
    told = told_by(dive.journal, PLAN)
    cloud, = clouds(beginning_at(PLAN, told.splash), [told.known[0].at], 1, sure(), told.known, particles=1000)
    assert dive.surfaced_at and cloud.afloat.all()
    assert (cloud.east_m.mean(), cloud.north_m.mean()) == pytest.approx(dive.surfaced_at, abs=5)


def test_a_journal_that_breaks_off_on_the_bottom_says_that_it_was_down_then(dives):
    image = dives[""].journal
    told = told_by(image[:len(image) // 2 // 64 * 64], PLAN)
    known, = told.known
    assert isinstance(known, StillDown)
    assert SPLASH + timedelta(minutes=30) < known.at < hours(5.1)


def test_a_later_splash_moves_all_moments_of_the_plan():
    later = beginning_at(PLAN, hours(2))
    assert later.dive.splash_utc == hours(2)
    assert later.site == PLAN.site


def test_the_file_or_its_folder_is_read(tmp_path, dives):
    (tmp_path / "journal.bin").write_bytes(dives[""].journal)
    assert read(tmp_path, PLAN) == read(tmp_path / "journal.bin", PLAN) == told_by(dives[""].journal, PLAN)


def test_a_journal_without_a_dive_and_a_missing_one_are_told_of(tmp_path):
    (tmp_path / "journal.bin").write_bytes(b"\xff" * 6400)
    with pytest.raises(FindError, match="journal.bin tells of no dive: name the journal of the lander"):
        read(tmp_path / "journal.bin", PLAN)
    with pytest.raises(FindError, match="cannot be read .*: name a journal.bin, or the folder it lies in"):
        read(tmp_path / "nowhere", PLAN)


def test_a_journal_of_another_day_than_the_plans_is_told_of(dives):
    later = beginning_at(PLAN, SPLASH + timedelta(days=2))
    told = told_by(dives[""].journal, later)
    assert told.notes == (
        "The journal journal.bin has the splash at %s, the plan at 2027-05-20 06:30Z: the journal's counts; look whether"
        " it is that of this dive." % moment_in_words(told.splash),)
    assert told.last == told.known[0].at > told.splash
    assert told_by(dives[""].journal, PLAN).notes == ()
    assert list(journal_told._notes("dive", None, SPLASH)) == [
        "The clock of the journal dive is not to be trusted: the plan's splash, 2027-05-18 06:30Z, stands."]


def test_a_file_far_larger_than_any_journal_is_refused_before_it_fills_the_memory(tmp_path, monkeypatch):
    monkeypatch.setattr(pulled, "BYTES_MAX", 1000)
    (tmp_path / "film.mp4").write_bytes(bytes(1001))
    with pytest.raises(FindError, match="film.mp4 cannot be read .more than 0 MB, which no controller holds.: name a"):
        read(tmp_path / "film.mp4", PLAN)
