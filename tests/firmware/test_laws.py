"""The twelve laws, one class each: the core keeps them, and each check notices a core that does not."""

import pytest
from lander_story import Story
from law_checks import breaches

from lander import camera, deck, drive, facts, journal, judge, lamps, orders, release, restart, scribe, signals, turn

EVERY_STATE = ("armed", "descend", "record", "release", "backup", "ascend", "surface")


def reach(state: str, **numbers) -> Story:
    """A lander brought to this state by the sea."""
    told = Story(**numbers)
    if state == "armed":
        return told.arm().after(5)
    if state == "descend":
        return told.arm().after(60).move_to(4000, 100).until("descend").after(8)
    if state == "record":
        return told.on_the_bottom().after(30)
    if state == "ascend":
        return told.on_the_bottom().until("ascend")
    if state == "surface":
        return told.on_the_bottom().until("surface").after(5)
    return told.jammed().on_the_bottom().until(state).after(5)


def a_good_dive() -> Story:
    return Story().on_the_bottom().until("surface").after(3600)


def test_the_lander_keeps_every_law_in_a_dive_without_faults():
    told = a_good_dive().haul().after(120).hold_magnet()
    assert told.states == ["safe", "armed", "descend", "record", "release", "ascend", "surface", "safe"]
    assert breaches(told) == []


@pytest.mark.parametrize("cause", [0, 1, 2])
@pytest.mark.parametrize("away_s", [2, 14])
@pytest.mark.parametrize("state", EVERY_STATE)
def test_the_lander_keeps_every_law_through_a_reset_in(state, away_s, cause):
    told = reach(state).reset(cause=cause, away_s=away_s)
    assert told.state in (state, "backup" if state == "release" else "release", "descend")
    if state == "armed":
        told.after(60).sink_to(40)
    told.after(7000)
    assert told.state == "surface" or not told.freed
    assert breaches(told, 1, 2, 3, 4, 5, 6, 7, 8, 10, 11, 12) == []


@pytest.mark.parametrize("state", EVERY_STATE)
def test_the_lander_keeps_every_law_through_three_watchdog_resets_in_a_row_in(state):
    told = reach(state)
    for _ in range(3):
        told.reset(cause=1, away_s=6).after(4)
    if state == "armed":
        told.after(60).sink_to(40)
    told.after(7000)
    assert breaches(told, 1, 2, 3, 4, 5, 6, 7, 8, 10, 11, 12) == []


class TestLaw1Home:
    @pytest.mark.parametrize("blind", [
        "frozen_pressure", "dead_pressure", "dead_contact"])
    def test_a_blind_lander_is_released_in_time(self, blind):
        told = Story().arm().after(30).sink_to(40)
        getattr(told, blind)()
        told.after(6000)
        assert told.attempts
        assert breaches(told, 1, 2) == []

    @pytest.mark.parametrize("sign", ["dead_pressure", "dead_contact"])
    def test_one_sign_of_water_alone_is_enough(self, sign):
        told = Story().arm().after(30)
        getattr(told, sign)()
        told.sink_to(40).after(6000)
        assert told.attempts
        assert breaches(told, 1, 2) == []

    def test_a_pressure_of_zero_on_the_bottom_does_not_stop_the_clock(self):
        told = Story().on_the_bottom().after(60).show(pressure_mbar=1013).after(6000)
        assert told.attempts
        assert breaches(told, 1, 2) == []

    def test_power_that_comes_back_after_the_latest_release_fires_within_ten_seconds(self):
        told = Story().on_the_bottom().reset(cause=0, away_s=9000).after(12)
        assert told.trace[-1].driven
        assert breaches(told, 1, 2) == []

    def test_a_lander_thrown_in_unarmed_comes_home(self):
        told = Story().arm().after(60).hold_magnet().after(60).sink_to(40).after(6000)
        assert told.rows[:3] == ["safe-arm", "armed-disarm", "safe-splash"]
        assert breaches(told, 1) == []

    def test_a_new_controller_thrown_in_comes_home_at_once(self):
        told = Story().sink_to(40).after(60)
        assert told.rows[0] == "safe-lost"

    def test_a_damaged_mission_record_still_leads_home(self):
        told = Story().arm().after(30)
        told.mission_record = b"\x00" * orders.RECORD_BYTES
        told.reset().sink_to(40).after(60)
        assert "descend-plan" in told.rows

    def test_a_lander_that_rose_by_itself_and_hovers_is_released_in_time(self):
        told = Story(latest_release_ds=37000).on_the_bottom()
        told.after(3440).move_to(3000, 20).until("ascend").dead_pressure().after(3000)
        assert breaches(told, 1) == []

    def test_is_noticed_when_the_clock_asks_for_nothing(self, monkeypatch):
        monkeypatch.setattr(facts, "deadlines", lambda lander, elapsed_ds: 0)
        assert breaches(Story().jammed().on_the_bottom().after(7000), 1)


class TestLaw2TimeNeverRestarts:
    @pytest.mark.parametrize("state", ["descend", "record"])
    @pytest.mark.parametrize("away_s", [1, 14, 5000])
    def test_a_watchdog_reset_without_a_clock_counts_as_overdue(self, state, away_s):
        """Start after start may have ended in the watchdog before this one: nothing tells how many."""
        told = reach(state).lose_clock().after(20).reset(cause=1, away_s=away_s).after(12)
        assert [row for row in told.rows if row.endswith("-time")]
        assert breaches(told, 1, 2) == []

    @pytest.mark.parametrize("state", ["descend", "record"])
    @pytest.mark.parametrize("away_s", [1, 14])
    def test_a_watchdog_reset_with_a_clock_costs_no_time(self, state, away_s):
        told = reach(state).after(20).reset(cause=1, away_s=away_s)
        assert not told.mission.time_unknown
        assert breaches(told.after(5000), 2) == []

    @pytest.mark.parametrize("state", ["descend", "record"])
    def test_a_power_loss_without_a_clock_counts_as_overdue(self, state):
        told = reach(state).after(20).lose_clock().reset(cause=0, away_s=5).after(12)
        assert [row for row in told.rows if row.endswith("-time")]
        assert told.attempts
        assert breaches(told, 1, 2, 3) == []

    @pytest.mark.parametrize("state", ["descend", "record"])
    def test_a_clock_set_back_to_before_the_record_counts_as_overdue(self, state):
        told = reach(state).jump_clock(-86400).reset(cause=0, away_s=60).after(12)
        assert [row for row in told.rows if row.endswith("-time")]
        assert breaches(told, 2) == []

    @pytest.mark.parametrize("jump_s", [-86400, -600, 600, 86400])
    def test_a_clock_that_jumps_while_the_controller_runs_moves_nothing(self, jump_s):
        told = Story().on_the_bottom().after(100).jump_clock(jump_s).after(60)
        assert journal.E_CLOCK in told.events
        assert told.state == "record"
        assert breaches(told.after(5000), 1, 2) == []

    def test_a_clock_that_jumps_back_in_a_watchdog_reset_counts_as_overdue(self):
        told = Story().on_the_bottom().after(100).jump_clock(-86400).reset(cause=1).after(5)
        assert told.state == "release"
        assert breaches(told.after(5000), 1, 2) == []

    def test_a_clock_that_jumps_ahead_in_a_watchdog_reset_only_brings_the_lander_home_sooner(self):
        """Records may have been refused for as long: the clock is the only witness, and it leads home."""
        told = Story().on_the_bottom().after(100).jump_clock(86400).reset(cause=1).after(5)
        assert told.state == "release"
        assert breaches(told.after(5000), 1, 2) == []

    def test_an_outage_that_the_clock_bridges_is_counted(self):
        told = Story().on_the_bottom().after(60).reset(cause=0, away_s=200)
        assert told.state == "record"
        assert breaches(told.after(5000), 1, 2) == []

    def test_an_outage_that_is_too_long_ends_the_dive(self):
        told = Story().on_the_bottom().reset(cause=0, away_s=400).after(5)
        assert told.rows[-1] == "record-gap"

    def test_under_water_with_no_journal_counts_as_overdue(self):
        told = Story().on_the_bottom()
        told.store = type(told.store)(told.store.slots)
        told.reset(cause=0).after(20)
        assert told.rows[-1] == "safe-lost"

    def test_a_lander_that_sank_while_the_controller_was_away_counts_as_overdue(self):
        told = Story().arm().after(30)
        told.move_to(4000, 100).lose_clock().reset(cause=0, away_s=300).after(20)
        assert "descend-time" in told.rows
        assert journal.E_WET_BEFORE in told.events
        assert breaches(told, 2) == []

    def test_an_uptime_that_falls_back_counts_the_sleep(self):
        told = Story().on_the_bottom()
        told.started_ds = told.at_ds + 100
        told.show(uptime_ds=lambda now: now.at_ds - now.started_ds)
        told.after(4000)
        assert breaches(told, 1, 2) == []

    def test_sensors_that_wake_late_after_an_outage_do_not_restart_the_clock(self):
        told = Story().arm().after(30).dead_contact().dead_pressure()
        told.move_to(4000, 100).lose_clock().reset(cause=0, away_s=3000)
        told.after(3).show(contact_ok=None, pressure_ok=None).step().after(30)
        assert breaches(told, 2) == []

    def test_a_watchdog_reset_after_an_hour_of_refused_records_loses_no_time(self):
        told = Story(timed_release_ds=50000).on_the_bottom().after(60)
        told.store.refuses = lambda slot: True
        told.after(3000)
        told.store.refuses = None
        told.reset(cause=1).after(100)
        assert breaches(told, 2) == []

    def test_watchdog_resets_with_a_clock_that_stands_still_lose_no_time(self):
        told = Story().on_the_bottom().after(60)
        told.show(clock_s=told.inputs.clock_s)
        for _ in range(40):
            told.reset(cause=1, away_s=6).after(3)
        assert breaches(told, 2) == []

    def test_a_watchdog_reset_after_a_bad_stretch_of_the_journal_loses_no_time(self):
        told = Story().on_the_bottom().after(60)
        first = told.journal.next_slot
        told.store.refuses = lambda slot: first <= slot < first + 3
        told.after(1500).reset(cause=1).after(30)
        assert breaches(told, 2) == []

    def test_is_noticed_when_time_is_never_unknown(self, monkeypatch):
        real = restart.resume

        def forgetful(lander, newest, inputs):
            real(lander, newest, inputs)
            lander.time_unknown = False

        monkeypatch.setattr(restart, "resume", forgetful)
        told = reach("record").lose_clock().reset(cause=0, away_s=1000).after(60)
        assert breaches(told, 2)

    def test_is_noticed_when_the_descent_begins_anew_with_a_reset(self, monkeypatch):
        real = restart.resume

        def anew(lander, newest, inputs):
            real(lander, newest, inputs)
            lander.descent_ds = lander.base_ds + inputs.uptime_ds

        monkeypatch.setattr(restart, "resume", anew)
        assert breaches(Story().on_the_bottom().after(900).reset().after(60), 2)


class TestLaw3NotOnDeck:
    def test_a_day_on_deck_brings_no_release(self):
        told = Story().arm().after(86400)
        assert told.state == "armed"
        assert breaches(told, 3) == []

    def test_spray_that_dries_stops_the_clock(self):
        told = Story().arm().after(60).show(contact_wet=1).after(40).show(contact_wet=None).after(9000)
        assert told.rows == ["safe-arm", "armed-splash", "descend-dry"]
        assert breaches(told, 3) == []

    def test_a_pressure_sensor_that_breaks_on_deck_releases_nothing_for_the_wait_of_one_sign(self):
        told = Story().arm().after(60).show(pressure_mbar=9000).after(3000)
        assert not told.attempts

    def test_spray_that_dries_stops_the_clock_though_one_pressure_reading_was_missed(self):
        told = Story().arm().after(60).show(contact_wet=1).after(10).show(pressure_ok=0).step()
        told.show(pressure_ok=None).after(20).show(contact_wet=None).after(6000)
        assert breaches(told, 3) == []

    def test_with_a_dead_pressure_sensor_only_the_gesture_ends_a_firing_on_deck(self):
        """What remains where laws 1 and 3 pull apart: no rise was seen, and dry air alone stops nothing."""
        told = Story().on_the_bottom().dead_pressure().until("release").after(60).haul().after(100).hold_magnet()
        assert told.state == "safe"

    def test_a_reset_on_deck_releases_nothing(self):
        told = Story().arm().after(60)
        for cause in (1, 0, 2, 0):
            told.reset(cause=cause, away_s=10).after(30)
        told.lose_clock().reset(cause=0).after(9000)
        assert told.state == "armed"
        assert breaches(told, 3) == []

    @pytest.mark.parametrize("when", ["release", "ascend", "surface"])
    def test_a_lander_hauled_on_deck_releases_nothing(self, when):
        told = reach(when) if when != "release" else reach("release")
        told.haul().after(9000)
        assert told.state == "surface"
        assert breaches(told, 3) == []

    def test_a_lander_hauled_on_deck_before_its_release_releases_nothing(self):
        told = Story().on_the_bottom().haul().after(9000)
        assert told.state == "surface"
        assert breaches(told, 3, 8) == []

    def test_the_bench_fires_after_two_steps_and_for_five_seconds(self):
        told = Story().say(signals.READY_BACKUP).after(3).say(signals.FIRE)
        assert told.outputs.release_backup_pct == 100
        told.after(6)
        assert not told.trace[-1].driven
        assert told.events == [journal.E_BENCH_ON, journal.E_BENCH_OFF]
        assert breaches(told, 3) == []

    def test_no_further_fire_is_made_ready_while_the_bench_fires(self):
        told = Story().say(signals.READY_BACKUP).say(signals.FIRE).after(2).say(signals.READY_BACKUP)
        assert told.outputs.refused == signals.WRONG_STATE
        told.say(signals.FIRE).after(4)
        assert not told.trace[-1].driven

    def test_a_pressure_above_the_atmosphere_makes_the_line_deaf(self):
        """Sinking with a dead contact: the first metres must not pass for a deck on which somebody types."""
        told = Story().arm().show(contact_wet=0, pressure_mbar=1013 + 120).after(10).say(signals.ASK_DISARM)
        assert told.outputs.refused == signals.SIGN_OF_WATER
        assert told.state == "armed"

    @pytest.mark.parametrize("wait_s", [None, 11])
    def test_the_bench_does_not_fire_after_one_step_or_too_late(self, wait_s):
        told = Story()
        if wait_s:
            told.say(signals.READY_PRIMARY).after(wait_s)
        told.say(signals.FIRE)
        assert told.outputs.refused == signals.NOT_READY
        assert not told.trace[-1].driven

    def test_the_bench_does_not_fire_when_armed(self):
        told = Story().arm().say(signals.READY_PRIMARY).say(signals.FIRE)
        assert not told.trace[-1].driven

    @pytest.mark.parametrize("sign", [{"contact_wet": 1}, {"contact_ok": 0, "pressure_ok": 0}])
    def test_the_bench_does_not_fire_with_a_sign_of_water_or_no_sign_of_air(self, sign):
        told = Story().show(**sign).step().say(signals.READY_PRIMARY).say(signals.FIRE)
        assert told.outputs.refused == signals.SIGN_OF_WATER
        assert not told.trace[-1].driven

    def test_water_ends_a_bench_firing(self):
        told = Story().say(signals.READY_PRIMARY).say(signals.FIRE).show(contact_wet=1).step()
        assert not told.trace[-1].driven

    def test_is_noticed_when_one_step_fires(self, monkeypatch):
        def careless(lander, now_ds, inputs, outputs):
            lander.bench_channel, lander.bench_ds = 0, now_ds

        monkeypatch.setattr(deck, "bench_fire", careless)
        assert breaches(Story().say(signals.FIRE), 3)

    def test_is_noticed_when_spray_counts_as_the_sea(self, monkeypatch):
        def rash(lander, *_rest):
            lander.time_unknown = lander.sure = True

        monkeypatch.setattr(facts, "grow_sure", rash)
        assert breaches(Story().arm().after(60).show(contact_wet=1).after(60), 3)

    def test_is_noticed_when_air_is_never_believed(self, monkeypatch):
        monkeypatch.setattr(facts, "AIR_HOLD_DS", 1 << 29)
        monkeypatch.setattr(judge, "RISE_HOLD_DS", 1 << 29)
        assert breaches(Story().on_the_bottom().haul().after(6000), 3)


class TestLaw4NeverGiveUp:
    def test_a_jammed_lander_is_tried_again_on_both_channels(self):
        told = Story().jammed().on_the_bottom().after(40000)
        assert len(told.attempts) > 12
        assert {channel for channel, _pct in told.attempts} == {0, 1}
        assert breaches(told, 4) == []

    def test_a_lander_with_no_pressure_sensor_is_tried_again(self):
        told = Story().jammed().on_the_bottom().dead_pressure().after(40000)
        assert len(told.attempts) > 12
        assert breaches(told, 4) == []

    @pytest.mark.parametrize("resets", [1, 2, 3, 6])
    def test_an_attempt_that_reset_the_controller_is_not_repeated(self, resets):
        told = Story().jammed().on_the_bottom().until("release")
        for _ in range(resets):
            while not told.trace[-1].driven:
                told.after(1)
            told.after(1).reset(cause=0, away_s=3)
        told.after(5000)
        assert told.events.count(journal.E_CUT) == resets
        assert breaches(told, 4, 12) == []

    def test_a_rise_that_stops_is_fired_at_again(self):
        told = Story().on_the_bottom().until("ascend").move_to(1500, 80).after(300)
        assert "ascend-stalled" in told.rows
        assert breaches(told, 4) == []

    def test_a_lander_that_sinks_again_is_fired_at_again(self):
        told = Story().on_the_bottom().until("surface").after(100).move_to(3000, 50).after(400)
        assert "surface-sank" in told.rows
        assert breaches(told, 4) == []

    def test_a_sensor_that_is_gone_and_then_reads_zero_is_no_rise(self):
        told = Story().jammed().on_the_bottom().until("backup").dead_pressure().after(300)
        told.show(pressure_ok=None, pressure_mbar=1013).after(9000)
        assert told.state in ("release", "backup")

    def test_is_noticed_when_one_channel_is_tried_only(self, monkeypatch):
        real = release.Release.begin
        monkeypatch.setattr(release.Release, "begin", lambda self, now_ds, channel: real(self, now_ds, 0))
        assert breaches(Story().jammed().on_the_bottom().after(9000), 4)

    def test_is_noticed_when_an_attempt_is_never_over(self, monkeypatch):
        monkeypatch.setattr(release.Release, "is_over", lambda self, now_ds: False)
        told = Story(pause_max_ds=600).jammed().on_the_bottom().until("release").after(300)
        assert breaches(told, 4)

    def test_is_noticed_when_a_cut_attempt_is_repeated(self, monkeypatch):
        monkeypatch.setattr(release.Release, "cut_by_reset", lambda self, now_ds: self.begin(now_ds, self.channel))
        told = Story().jammed().on_the_bottom().until("release").after(5).reset(cause=0).after(60)
        assert breaches(told, 4)

    def test_is_noticed_when_pauses_shrink(self, monkeypatch):
        def hasty(self, now_ds):
            self.phase = release.PAUSE
            self.until_ds = now_ds + max(10, 600 - 100 * self.attempts)

        monkeypatch.setattr(release.Release, "rest", hasty)
        assert breaches(Story().jammed().on_the_bottom().after(9000), 4)


class TestLaw5ShedFirst:
    @pytest.mark.parametrize("feedback", [orders.NONE, orders.LAMP, orders.CURRENT])
    @pytest.mark.parametrize("supply", [orders.SWITCHED, orders.OWN_PACK])
    def test_the_loads_are_off_before_a_release(self, feedback, supply):
        told = Story(camera_feedback=feedback, camera_supply=supply).jammed()
        told.show(camera_centi_c=4000).on_the_bottom().after(300)
        assert told.outputs.lights_pct and told.outputs.fan
        told.after(4000)
        assert told.attempts
        assert breaches(told, 5) == []

    def test_a_camera_that_never_closes_its_file_does_not_hold_the_release_back(self):
        told = Story(camera_stop_ds=600, shed_ds=50).on_the_bottom().after(60).wet_inside().after(30)
        assert told.attempts
        assert journal.E_SHED_LATE in told.events
        assert breaches(told, 5, 7) == []

    def test_is_noticed_when_shedding_is_forgotten(self, monkeypatch):
        def forgetful(self, now_ds, channel):
            self.channel = channel
            self.fire(now_ds)

        monkeypatch.setattr(release.Release, "begin", forgetful)
        monkeypatch.setattr(drive, "check_invariants", lambda *_all: None)
        assert breaches(Story().on_the_bottom().after(60).wet_inside().after(30), 5)

    def test_is_noticed_when_both_channels_are_energised(self, monkeypatch):
        real = drive.run_release

        def both(lander, now_ds, inputs, outputs):
            real(lander, now_ds, inputs, outputs)
            outputs.release_backup_pct = outputs.release_primary_pct

        monkeypatch.setattr(drive, "run_release", both)
        monkeypatch.setattr(drive, "check_invariants", lambda *_all: None)
        assert breaches(Story().on_the_bottom().until("release").after(30), 5)

    def test_the_invariant_makes_both_channels_harmless_and_writes_it_down(self, monkeypatch):
        real = drive.run_release

        def both(lander, now_ds, inputs, outputs):
            real(lander, now_ds, inputs, outputs)
            outputs.release_backup_pct = outputs.release_primary_pct

        monkeypatch.setattr(drive, "run_release", both)
        told = Story().on_the_bottom().until("release").after(30)
        assert breaches(told, 5) == []
        assert journal.E_BUG in told.events


class TestLaw6EnoughLeft:
    def test_the_charge_count_ends_the_dive_in_time(self):
        told = Story(capacity_mah=3600, reserve_mah=3000).on_the_bottom().until("release")
        assert told.rows[-1] == "record-low"
        assert breaches(told, 6) == []

    def test_a_wrong_current_reading_does_not_make_the_battery_fuller_than_three_quarters_of_the_plan(self):
        told = Story(capacity_mah=3600, reserve_mah=3000).on_the_bottom().show(supply_ma=0).until("release")
        assert told.rows[-1] == "record-low"
        assert 600 <= told.used_mah <= 600 * 4 // 3 + 50

    def test_a_low_voltage_ends_the_dive(self):
        told = Story().on_the_bottom()
        told.supply_mv = 12000
        told.until("release", at_most_s=90)
        assert told.rows[-1] == "record-low"
        assert breaches(told, 6) == []

    def test_the_count_survives_resets(self):
        told = Story(capacity_mah=3700, reserve_mah=3000).on_the_bottom()
        while told.state == "record":
            told.after(300).reset()
        lost_mah = 5 * told.boots  # what was drawn since the last reading, ten seconds at most
        low = next(step for step in told.trace if step.command_ds >= 0)
        assert "record-low" in told.rows
        assert told.orders.capacity_mah - low.used_mah >= told.orders.reserve_mah - lost_mah

    def test_the_count_goes_on_through_a_reset_before_every_reading(self):
        told = Story(capacity_mah=3100, reserve_mah=3000, timed_release_ds=50000).on_the_bottom()
        for _ in range(200):
            told.after(9.5).reset()
        assert "record-low" in told.rows
        assert breaches(told, 6) == []

    def test_is_noticed_when_nothing_is_counted(self, monkeypatch):
        monkeypatch.setattr(judge.Energy, "count", lambda self, *_rest: None)
        assert breaches(Story(capacity_mah=3600, reserve_mah=3000).on_the_bottom().after(3000), 6)

    def test_is_noticed_when_the_voltage_is_not_looked_at(self, monkeypatch):
        monkeypatch.setattr(judge.Energy, "is_low", lambda self, *_rest: False)
        told = Story().on_the_bottom()
        told.supply_mv = 12000
        assert breaches(told.after(300), 6)


class TestLaw7WaterInside:
    @pytest.mark.parametrize("state", ["descend", "record"])
    def test_water_inside_brings_a_release(self, state):
        told = reach(state).wet_inside().after(40)
        assert told.rows[-1] in ("descend-leak", "record-leak", "release-rising")
        assert told.attempts
        assert breaches(told, 7) == []

    def test_a_drop_shorter_than_the_hold_changes_nothing(self):
        told = Story().on_the_bottom().wet_inside().after(3)
        told.leak = 0
        told.step().after(60)
        assert told.state == "record"

    def test_a_leak_across_a_reset_is_seen_again(self):
        told = Story().on_the_bottom().wet_inside().after(2).reset().after(30)
        assert told.attempts
        assert breaches(told, 7) == []

    @pytest.mark.parametrize("blind", ["dead_contact", "dead_pressure"])
    def test_a_leak_with_one_sign_of_water_and_the_other_unreadable_is_acted_on(self, blind):
        told = Story().arm().after(30)
        getattr(told, blind)()
        told.sink_to(40).wet_inside().after(60)
        assert told.attempts

    def test_a_leak_with_both_signs_wet_at_the_splash_is_seen(self):
        told = Story().arm().after(30)
        told.leak = 1
        told.sink_to(40)
        assert "descend-leak" in told.rows
        assert breaches(told, 7) == []

    def test_is_noticed_when_the_probe_is_not_believed(self, monkeypatch):
        real = facts.gather

        def dry(lander, now_ds, inputs):
            lander.leak.on = False
            return real(lander, now_ds, inputs)

        monkeypatch.setattr(facts, "gather", dry)
        assert breaches(Story().on_the_bottom().wet_inside().after(60), 7)


class TestLaw8SeenAtTheSurface:
    def test_the_beacon_is_on_within_a_minute_and_lasts(self):
        told = Story().on_the_bottom().until("surface").after(72000 // 10 + 600)
        assert journal.E_BEACON_LONG in told.events
        assert told.outputs.beacon_code == 2
        assert breaches(told, 8) == []

    @pytest.mark.parametrize("blind", ["dead_pressure", "frozen_pressure"])
    def test_the_beacon_comes_by_time_when_the_surface_is_not_seen(self, blind):
        told = Story().on_the_bottom()
        getattr(told, blind)()
        told.until("release").after(2500)
        assert told.outputs.beacon_code
        assert breaches(told, 8) == []

    def test_a_reset_at_the_surface_keeps_the_beacon(self):
        told = Story().on_the_bottom().until("surface").after(100)
        for cause in (0, 1, 0):
            told.lose_clock().reset(cause=cause).after(30)
            assert told.outputs.beacon_code
        assert breaches(told, 8) == []

    def test_a_lander_that_comes_up_by_itself_from_the_bottom_is_seen(self):
        for wait_s in range(10):
            told = Story().on_the_bottom().after(100 + wait_s).surface().after(90)
            assert breaches(told, 8) == [], "risen %d s after a reading" % wait_s

    def test_a_lander_afloat_before_any_release_keeps_its_beacon_past_the_latest_release(self):
        told = Story().on_the_bottom().after(100).rise_to(0.25, 0.3).after(6000)
        assert "record-rising" in told.rows
        assert breaches(told, 8) == []

    def test_the_slowest_readings_that_orders_allow_still_show_the_beacon_in_time(self):
        late = []
        for wait_s in range(0, 60, 7):
            told = Story(reading_descent_ds=300).on_the_bottom().after(wait_s).wet_inside().until("surface")
            late += breaches(told, 8)
        assert late == []

    @pytest.mark.parametrize(("night", "rhythm"), [
        ((0, 0), lamps.FLASH), ((0, 720), lamps.FLASH), ((1200, 600), lamps.FLASH), ((720, 1200), lamps.SPARSE),
        ((600, 0), lamps.SPARSE)])
    def test_by_day_the_beacon_flashes_seldom_and_by_night_often(self, night, rhythm):
        told = Story(night_from_min=night[0], night_until_min=night[1]).on_the_bottom().until("surface").after(600)
        assert 0 < told.inputs.clock_s // 60 % 1440 < 600, "it is early in the day of UTC"
        assert told.outputs.beacon_code == rhythm
        assert breaches(told, 8) == []

    def test_a_lander_that_does_not_know_the_time_flashes_as_by_night(self):
        told = Story(night_from_min=720, night_until_min=1200).on_the_bottom().until("surface").after(60)
        assert told.outputs.beacon_code == lamps.SPARSE
        assert told.lose_clock().reset(cause=0).after(60).outputs.beacon_code == lamps.FLASH

    def test_a_beacon_whose_charge_does_not_last_the_planned_hours_saves_it_at_once(self):
        rich = Story(beacon_ma=100, capacity_mah=10000).on_the_bottom().until("surface").after(600)
        poor = Story(beacon_ma=8000, capacity_mah=10000).on_the_bottom().until("surface").after(600)
        assert (rich.outputs.beacon_code, poor.outputs.beacon_code) == (lamps.FLASH, lamps.SPARSE)
        assert breaches(poor, 8) == []

    def test_is_noticed_when_the_beacon_is_not_due(self, monkeypatch):
        monkeypatch.setattr(drive, "beacon_due", lambda lander, now_ds: False)
        assert breaches(a_good_dive(), 8)

    def test_is_noticed_when_the_unseen_surface_brings_no_beacon(self, monkeypatch):
        monkeypatch.setattr(drive, "_RELEASED", ())
        assert breaches(Story().on_the_bottom().dead_pressure().until("release").after(2500), 8)


class TestLaw9Footage:
    @pytest.mark.parametrize("feedback", [orders.NONE, orders.LAMP, orders.CURRENT])
    @pytest.mark.parametrize("supply", [orders.SWITCHED, orders.OWN_PACK])
    def test_the_bottom_is_filmed(self, feedback, supply):
        told = Story(camera_feedback=feedback, camera_supply=supply).on_the_bottom().until("release")
        assert breaches(told, 9) == []

    @pytest.mark.parametrize("misses", [1, 2, 3])
    def test_missed_presses_cost_little(self, misses):
        told = Story()
        told.camera.misses = misses
        told.on_the_bottom().until("release")
        assert breaches(told, 9) == []

    def test_a_crash_costs_little(self):
        told = Story().on_the_bottom().after(300)
        told.camera.crash()
        told.until("release")
        assert breaches(told, 9) == []

    def test_a_reset_costs_little(self):
        assert breaches(Story().on_the_bottom().after(300).reset().until("release"), 9) == []

    def test_is_noticed_when_the_toggle_is_pressed_on_a_guess(self, monkeypatch):
        def guess(self, now_ds):
            return self._press_record(now_ds)

        monkeypatch.setattr(camera.Camera, "_keep_recording", guess)
        assert breaches(Story().on_the_bottom().until("release"), 9)

    def test_is_noticed_when_a_lost_recording_is_not_looked_for(self, monkeypatch):
        monkeypatch.setattr(camera.Camera, "_keep_recording", lambda self, now_ds: 0)
        told = Story().on_the_bottom().after(300)
        told.camera.crash()
        assert breaches(told.until("release"), 9)


class TestLaw10DarkInAir:
    def test_the_lights_are_dark_from_the_ascent_on(self):
        told = a_good_dive()
        assert any(step.outputs["lights_pct"] for step in told.trace)
        assert breaches(told, 10) == []

    def test_a_lander_hauled_up_while_filming_is_dark_in_air(self):
        assert breaches(Story().on_the_bottom().after(100).haul().after(600), 10) == []

    def test_a_dead_pressure_sensor_lights_nothing_when_the_contact_is_dry(self):
        assert breaches(Story().on_the_bottom().after(100).dead_pressure().after(20).haul().after(600), 10) == []

    def test_a_frozen_pressure_lights_nothing_when_the_contact_is_dry(self):
        assert breaches(Story().on_the_bottom().after(100).frozen_pressure().haul().after(600), 10) == []

    def test_is_noticed_when_the_depth_is_not_looked_at(self, monkeypatch):
        monkeypatch.setattr(drive, "lights", lambda lander, now_ds: 70 if lander.state in (2, 3, 7) else 0)
        assert breaches(a_good_dive(), 10)


class TestLaw11DeafAtSea:
    @pytest.mark.parametrize("state", ["descend", "record", "release", "backup", "ascend"])
    def test_bytes_on_the_line_change_nothing(self, state):
        told, silent = reach(state), reach(state)
        for command in range(1, 6):
            told.say(command).after(7)
            silent.step().after(7)
        assert breaches(told, 11) == []
        assert [step.outputs for step in told.trace] == [step.outputs for step in silent.trace]
        assert [step.records for step in told.trace] == [step.records for step in silent.trace]

    def test_a_magnet_at_sea_with_every_sign_wet_changes_nothing(self):
        told = Story().on_the_bottom().hold_magnet()
        assert told.state == "record"

    def test_is_noticed_when_the_line_hears(self, monkeypatch):
        monkeypatch.setattr(deck, "_SUBMERGED", ())
        assert breaches(reach("record").say(signals.FIRE), 11)


class TestLaw12NothingUnexplained:
    def test_each_row_stands_in_the_journal_with_its_evidence(self):
        assert breaches(Story().jammed().on_the_bottom().after(20000), 12) == []

    def test_the_newest_record_always_holds_the_state(self):
        told = a_good_dive()
        newest = None
        for step in told.trace:
            newest = step.records[-1] if step.records else newest
            assert newest["state"] == step.state
            assert (newest["descent_ds"], newest["command_ds"]) == (step.descent_ds, step.command_ds)

    def test_is_noticed_when_rows_are_not_written(self, monkeypatch):
        real = scribe.note
        monkeypatch.setattr(scribe, "note", lambda lander, inputs, outputs, kind, code, detail:
                            real(lander, inputs, outputs, kind, code, detail) if kind != journal.ROW else None)
        assert breaches(a_good_dive(), 12)

    def test_is_noticed_when_attempts_are_not_written(self, monkeypatch):
        real = scribe.note
        monkeypatch.setattr(scribe, "note", lambda lander, inputs, outputs, kind, code, detail:
                            real(lander, inputs, outputs, kind, code, detail) if kind != journal.ATTEMPT else None)
        assert breaches(a_good_dive(), 12)

    def test_is_noticed_when_a_row_is_taken_silently(self, monkeypatch):
        real = turn.take

        def silent(lander, number, now_ds, inputs, outputs):
            count = outputs.record_count
            real(lander, number, now_ds, inputs, outputs)
            outputs.record_count = count

        monkeypatch.setattr(turn, "take", silent)
        assert breaches(a_good_dive(), 12)
