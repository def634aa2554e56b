"""The release sequence: channels, growing pauses, and what follows an attempt that a reset ended."""

from itertools import pairwise

import pytest
from lander_story import Story

from lander import orders, release
from lander.release import BACKUP, DRIVES_PCT, FIRE_NOW, IDLE, PAUSE, PRIMARY, SHED, Release


def release_of(**numbers) -> Release:
    given = orders.Orders()
    for name, value in numbers.items():
        setattr(given, name, value)
    return Release(given)


def test_an_attempt_sheds_then_fires_for_its_channels_time():
    attempt = release_of(shed_ds=200, fire_primary_ds=2400, fire_backup_ds=120)
    for channel, length_ds in ((PRIMARY, 2400), (BACKUP, 120)):
        attempt.begin(1000, channel)
        assert (attempt.phase, attempt.until_ds) == (SHED, 1200)
        attempt.fire(1010)
        assert (attempt.phase, attempt.until_ds) == (FIRE_NOW, 1010 + length_ds)
    assert attempt.attempts == 2


def test_pauses_double_with_each_pair_of_attempts_up_to_the_longest():
    attempt = release_of(pause_ds=600, pause_max_ds=5000)
    pauses = []
    for _ in range(10):
        attempt.fire(0)
        attempt.rest(0)
        pauses.append(attempt.until_ds)
    assert pauses == [600, 600, 1200, 1200, 2400, 2400, 4800, 4800, 5000, 5000]


def test_a_pause_is_over_at_its_end_and_no_other_phase_is():
    attempt = release_of()
    assert not attempt.is_over(10**6)
    attempt.begin(0, PRIMARY)
    assert not attempt.is_over(10**6)
    attempt.fire(0)
    assert not attempt.is_over(10**6)
    attempt.rest(0)
    assert not attempt.is_over(attempt.until_ds - 1)
    assert attempt.is_over(attempt.until_ds)


def test_a_channel_whose_attempts_reset_the_controller_goes_on_at_less_drive_and_then_from_the_top():
    attempt = release_of()
    shown = []
    for _ in range(4):
        attempt.begin(0, PRIMARY)
        attempt.fire(0)
        shown.append(attempt.drive_pct())
        attempt.cut_by_reset(0)
    assert shown == list(DRIVES_PCT) + [DRIVES_PCT[0]]
    attempt.begin(0, BACKUP)
    assert attempt.drive_pct() == 100


def test_the_other_channel_follows_a_first_cut_attempt_at_once():
    attempt = release_of()
    attempt.begin(0, PRIMARY)
    attempt.fire(0)
    attempt.cut_by_reset(50)
    assert attempt.is_over(50)


def test_many_cut_attempts_do_not_hammer_the_battery():
    attempt = release_of(pause_max_ds=900)
    waits = []
    for _ in range(30):
        attempt.fire(0)
        attempt.cut_by_reset(0)
        waits.append(attempt.until_ds)
    assert waits == sorted(waits)
    assert waits[-1] == 900


@pytest.mark.parametrize("phase", [IDLE, SHED, FIRE_NOW, PAUSE])
@pytest.mark.parametrize("channel", [PRIMARY, BACKUP])
@pytest.mark.parametrize("ways", [(0, 0), (1, 2), (2, 1)])
def test_the_journal_byte_brings_back_phase_channel_and_ways(phase, channel, ways):
    before, after = release_of(), release_of()
    before.phase, before.channel = phase, channel
    before.ways[0], before.ways[1] = ways
    after.restore(before.code(), 7)
    assert (after.phase, after.channel, tuple(after.ways), after.attempts) == (phase, channel, ways, 7)
    assert before.code() < 256


@pytest.mark.parametrize("code", range(256))
def test_any_byte_of_a_journal_gives_a_sequence_that_can_go_on(code):
    attempt = release_of()
    attempt.restore(code, 65535)
    assert attempt.drive_pct() in DRIVES_PCT
    attempt.fire(0)
    attempt.rest(0)
    assert attempt.attempts == 65535
    assert attempt.until_ds == attempt.orders.pause_max_ds


def test_the_first_attempt_is_primary_at_full_drive_and_the_second_is_backup():
    told = Story().jammed().on_the_bottom().after(7000)
    assert told.attempts[:3] == [(0, 100), (1, 100), (0, 100)]


@pytest.mark.parametrize("begin", [Release.rest, Release.cut_by_reset, Release.rest_cut_short])
def test_a_pause_knows_when_it_began_however_it_began(begin):
    attempt = release_of()
    attempt.fire(0)
    begin(attempt, 1234)
    assert (attempt.phase, attempt.paused_ds) == (PAUSE, 1234)


def test_for_three_minutes_after_an_attempt_a_rise_is_watched_for_closely_and_then_less():
    told = Story(pause_ds=4800, reading_descent_ds=20, reading_bottom_ds=400).jammed().on_the_bottom().until("release")
    while told.mission.release.phase != PAUSE:
        told.after(1)
    ended_ds = told.mission.release.paused_ds
    told.after(400)
    waits = {early: {after.at_ds - step.at_ds for step, after in pairwise(told.trace)
                     if ended_ds < step.at_ds and (step.at_ds <= ended_ds + 1800) == early} for early in (True, False)}
    assert waits == {True: {20}, False: {400}}


def test_a_rise_ends_the_attempt_that_brought_it():
    told = Story().on_the_bottom().until("ascend")
    assert not told.trace[-1].driven
    assert len(told.attempts) == 1


def test_a_brownout_at_every_attempt_still_leads_through_all_drives_of_both_channels():
    told = Story().jammed().on_the_bottom().until("release")
    for _ in range(6):
        while not told.trace[-1].driven:
            told.after(1)
        told.reset(cause=0, away_s=2)
    assert set(told.attempts) >= {(0, 100), (1, 100), (0, 50), (1, 50), (0, 25), (1, 25)}


def test_a_channel_drives_one_way_in():
    assert (PRIMARY, BACKUP) == (0, 1)
    assert release.DRIVES_PCT[0] == 100
