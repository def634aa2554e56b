"""The lander at the surface reports where it is, as often as its charge allows."""

import struct

import pynmea2
import pytest
from lander_story import Story

from lander import report, table
from lander.checksum import crc16
from lander.signals import Inputs

LOWEST = [report.FIELDS[4 * at + 2] for at in range(len(report.NAMES))]
HIGHEST = [report.FIELDS[4 * at + 3] for at in range(len(report.NAMES))]
LONGEST = [max(pair, key=lambda value: len(str(value))) for pair in zip(LOWEST, HIGHEST, strict=True)]
NMEA_BYTES = 82  # NMEA 0183: with `$` and the end of the line


def afloat(**numbers):
    """A mission that has just surfaced after its timed release."""
    return Story(**numbers).on_the_bottom().until("surface").mission


def later(mission, seconds: int):
    mission.mission_ds += 10 * seconds
    return mission


def named(values) -> dict:
    return dict(zip(report.NAMES, values, strict=True))


def said(caller, mission, awash: int = 0, current_ok: int = 1) -> dict:
    inputs = Inputs()
    inputs.supply_mv, inputs.supply_ok, inputs.current_ok = 14321, 1, current_ok
    values = caller.say(mission, inputs, awash, 230_000_000, 1)
    caller.sent(mission, values)
    return named(values)


def calls_within(caller, mission, hours: int, fixed: bool) -> list[dict]:
    told = []
    for _ in range(hours * 360):
        later(mission, 10)
        if fixed:
            caller.hear(mission.mission_ds, 4610000, -2840000)
        if caller.is_due(mission.mission_ds, 0):
            told.append(said(caller, mission))
    return told


@pytest.mark.parametrize("values", [LOWEST, HIGHEST, LONGEST], ids=["lowest", "highest", "longest"])
def test_the_longest_report_fits_a_sentence_and_a_frame(values):
    assert len(report.sentence(values)) <= NMEA_BYTES
    assert len(report.frame(values)) == report.FRAME_BYTES <= 32
    assert list(struct.unpack_from(report.FORMAT, report.frame(values))) == values


def test_the_checksum_of_the_sentence_is_that_of_nmea_0183():
    # GGA as printed on a widely used page on NMEA 0183 (DePriest), which pynmea2 takes only with its *47.
    pynmea2.parse("$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47", check=True)
    parsed = pynmea2.parse(report.sentence(HIGHEST).strip(), check=True)
    assert isinstance(parsed, pynmea2.ProprietarySentence)
    assert parsed.manufacturer == "THL"
    with pytest.raises(pynmea2.ChecksumError):
        pynmea2.parse(report.sentence(HIGHEST).strip().replace(",999,", ",998,"), check=True)


def test_the_frame_ends_with_the_checksum_of_all_before():
    frame = report.frame(HIGHEST)
    assert crc16(frame, 0, report.CRC_AT) == int.from_bytes(frame[-2:], "little")
    assert report.sentence(HIGHEST).split(",")[-1][:4] == "%04X" % int.from_bytes(frame[-2:], "little")


def test_numbers_out_of_range_become_the_nearest_that_fit():
    values = [-(1 << 29)] * len(report.NAMES)
    report.clamp(values)
    assert values == LOWEST
    values = [(1 << 30) + 5] * len(report.NAMES)
    report.clamp(values)
    assert values == HIGHEST


def test_a_lander_that_surfaces_says_so_at_once_even_without_a_fix():
    mission = afloat()
    caller = report.Caller(mission, 7)
    assert caller.is_due(mission.mission_ds, 0)
    first = said(caller, mission)
    assert not first["flags"] & (report.FIX_KNOWN | report.FIX_NEW)
    assert (first["supply_mv"], first["clock_s"], first["lander"]) == (14321, 230_000_000, 7)
    assert first["path"] == report.TIMED


def test_the_first_fix_is_sent_at_once_and_twice():
    mission = afloat()
    caller = report.Caller(mission, 7)
    said(caller, mission)
    later(mission, 20)
    assert not caller.is_due(mission.mission_ds, 0)
    caller.hear(mission.mission_ds, 4612345, -2854321)
    assert caller.is_due(mission.mission_ds, 0)
    fix = said(caller, mission)
    assert fix["flags"] & report.FIX_NEW
    assert (fix["latitude_deg_e5"], fix["longitude_deg_e5"]) == (4612345, -2854321)
    later(mission, 15)
    caller.hear(mission.mission_ds, 4612346, -2854321)
    assert caller.is_due(mission.mission_ds, 0), "the second of the two"
    said(caller, mission)
    later(mission, 60)
    caller.hear(mission.mission_ds, 4612347, -2854321)
    assert not caller.is_due(mission.mission_ds, 0), "and no third before its time"


def test_a_fix_that_is_lost_is_sent_on_as_old_with_its_age_and_a_new_one_doubles_again():
    mission = afloat()
    caller = report.Caller(mission, 7)
    caller.hear(mission.mission_ds, 4612345, -2854321)
    said(caller, mission)
    said(caller, later(mission, 15))
    old = said(caller, later(mission, 600))
    assert old["flags"] & report.FIX_KNOWN and not old["flags"] & report.FIX_NEW
    assert (old["age_s"], old["latitude_deg_e5"]) == (615, 4612345)
    later(mission, 5)
    caller.hear(mission.mission_ds, 4600000, -2854321)
    assert caller.is_due(mission.mission_ds, 0)
    assert said(caller, mission)["number"] == 3
    assert caller.is_due(later(mission, 15).mission_ds, 0)


def test_an_antenna_that_goes_under_puts_a_report_off_but_not_for_long():
    mission = afloat()
    caller = report.Caller(mission, 7)
    caller.hear(mission.mission_ds, 4612345, -2854321)
    assert not caller.is_awash(mission)
    later(mission, 20)
    assert caller.is_awash(mission), "the fix of twenty seconds ago is gone"
    assert not caller.is_due(mission.mission_ds, 1)
    later(mission, 40)
    assert caller.is_due(mission.mission_ds, 1)
    assert said(caller, mission, awash=1)["flags"] & report.AWASH


def test_an_antenna_is_awash_where_the_depth_says_so_though_there_was_never_a_fix():
    told = Story().on_the_bottom().until("surface").after(60)
    caller = report.Caller(told.mission, 7)
    assert not caller.is_awash(told.mission)
    assert caller.is_awash(told.sink_to(1.5).after(600).mission)


def test_the_less_charge_is_left_the_rarer_are_the_reports_and_the_shorter_is_the_receiver_on():
    counts, rests = [], []
    for used_mah in (0, 4000, 6000, 7500, 9500):
        mission = afloat(beacon_ds=720000, beacon_ma=350, capacity_mah=10000)
        mission.energy.used_mah = used_mah
        caller = report.Caller(mission, 7)
        counts.append(len(calls_within(caller, mission, 5, fixed=True)))
        said(caller, mission)
        rests.append(not caller.wants_fix(mission))
    assert counts == sorted(counts, reverse=True) and len(set(counts)) == 5
    assert rests == sorted(rests) and rests[-1] and not rests[0]


@pytest.mark.parametrize(("left_mah", "share"), [(3000, 100), (2999, 99), (1500, 50), (0, 0), (-5, 0)])
def test_the_charge_is_told_as_a_share_of_what_ten_hours_need(left_mah, share):
    mission = afloat(beacon_ds=360000, beacon_ma=300, capacity_mah=10000)
    mission.energy.used_mah = 10000 - left_mah
    assert report.charge_pct(mission, mission.mission_ds) == share


def test_after_the_planned_hours_it_reports_once_an_hour_for_as_long_as_it_can():
    mission = later(afloat(), 72000 // 10 + 60)
    assert mission.state == table.SURFACE
    caller = report.Caller(mission, 7)
    assert 5 <= len(calls_within(caller, mission, 5, fixed=False)) <= 6


def test_the_receiver_is_on_before_a_rare_report_and_longer_without_any_fix():
    for fixed, lead_s in ((True, 180), (False, 900)):
        mission = later(afloat(), 72000 // 10 + 60)
        caller = report.Caller(mission, 7)
        if fixed:
            caller.hear(mission.mission_ds, 1, 1)
            said(caller, mission)
        said(caller, mission)
        assert not caller.wants_fix(later(mission, 3600 - lead_s - 1))
        assert caller.wants_fix(later(mission, 2))


def test_it_tells_the_hours_to_silence_by_the_plan_at_first_and_then_by_what_it_drew():
    mission = afloat(beacon_ma=100, capacity_mah=10000)
    caller = report.Caller(mission, 7)
    mission.energy.used_mah = 1000
    assert said(report.Caller(mission, 7), mission)["silent_h"] == 90
    caller = report.Caller(mission, 7)
    mission.energy.used_mah += 400
    assert said(caller, later(mission, 2 * 3600))["silent_h"] == (10000 - 1400) // 200


def test_what_a_day_draws_is_not_taken_for_what_the_night_will_draw():
    mission = afloat(beacon_ma=100, capacity_mah=10000)
    caller = report.Caller(mission, 7)
    told = []
    for hour in range(1, 49):
        mission.energy.used_mah += 40 if hour % 24 < 12 else 100  # the first hours are of a day, and the lamp spares
        told.append(hour + said(caller, later(mission, 3600))["silent_h"])
    ends_h = 10000 / 70
    assert min(told) > 80 and max(told) <= ends_h + 1, "by the first day alone it would be 250"
    assert max(told[36:]) - min(told[36:]) < 20, "by then it has seen both"


def test_without_a_measured_current_it_tells_the_hours_to_silence_by_the_plan_at_the_least():
    mission = afloat(beacon_ma=100, capacity_mah=10000)
    caller = report.Caller(mission, 7)
    mission.energy.used_mah = 400
    assert said(caller, later(mission, 30 * 3600), current_ok=0)["silent_h"] == 96


@pytest.mark.parametrize(("supply_mv", "share", "silent_h"), [(14000, 75, 30), (13125, 75, 7), (12250, 50, 0)])
def test_a_voltage_that_falls_away_is_believed_for_the_silence_and_for_the_pace_in_part(supply_mv, share, silent_h):
    mission = afloat(beacon_ds=360000, beacon_ma=100, capacity_mah=10000, reserve_mah=3000, reserve_mv=14000)
    mission.energy.supply_mv, mission.energy.voltage_low.on = supply_mv, True
    assert report.charge_pct(mission, mission.mission_ds) == share
    assert said(report.Caller(mission, 7), mission)["silent_h"] == silent_h


@pytest.mark.parametrize(("story", "path"), [
    (lambda: Story().on_the_bottom().wet_inside(), report.LEAK),
    (lambda: Story(capacity_mah=3200, reserve_mah=3000).on_the_bottom(), report.LOW),
    (lambda: Story().on_the_bottom().after(100).rise_to(0.25, 0.3), report.UNCOMMANDED),
    (lambda: Story(timed_release_ds=3590, latest_release_ds=3600).on_the_bottom(), report.LATEST),
], ids=["leak", "low", "by itself", "latest"])
def test_it_tells_which_way_it_came_up(story, path):
    assert report.path_of(story().until("surface").mission) == path


def test_a_later_attempt_of_the_primary_is_not_called_the_timed_release_which_may_be_hours_ago():
    told = Story().on_the_bottom()
    told.needs_s[:] = [100, 10**6]
    told.until("surface")
    assert told.mission.release.attempts == 3
    assert report.path_of(told.mission) == report.OTHER


def test_it_tells_that_the_backup_freed_it():
    told = Story().on_the_bottom()
    told.needs_s[0] = 10**6
    assert report.path_of(told.until("surface").mission) == report.BACKUP


def test_a_controller_whose_memory_was_lost_afloat_does_not_guess_what_freed_it():
    told = Story().on_the_bottom().until("surface").after(60)
    told.store.kept = [b"\xff" * len(one) for one in told.store.kept]
    told.reset(cause=0).after(60)
    assert (told.state, told.outputs.report) == ("safe", 1)
    assert report.path_of(told.mission) == report.UNKNOWN


def test_after_a_reset_it_does_not_guess_why_it_was_released():
    told = Story().on_the_bottom().until("surface").after(60).reset(cause=1).after(5)
    assert report.path_of(told.mission) == report.UNKNOWN
