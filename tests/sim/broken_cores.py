"""Mission cores that are broken on purpose, in memory, each with the fault that exposes it. No tests of its own.

A core that must be caught tests the tester: it is flown like the true one, and exactly the laws named are to be found
broken, no more and no less.
"""

from collections.abc import Callable
from dataclasses import dataclass

from lander import camera, deck, drive, facts, journal, release, restart, scribe, signals, table

A_DAY_DS = 864_000


def facts_without(*bits: int) -> Callable:
    """A core to which these conditions never come."""
    unseen = sum(bits)

    def break_it(patch) -> None:
        true = facts.gather
        patch.setattr(facts, "gather", lambda mission, now_ds, inputs: true(mission, now_ds, inputs) & ~unseen)
    return break_it


def records_without(kind: int) -> Callable:
    """A core that never writes records of this kind."""
    def break_it(patch) -> None:
        true = scribe.note

        def note(mission, inputs, outputs, what, code, detail) -> None:
            if what != kind:
                true(mission, inputs, outputs, what, code, detail)
        patch.setattr(scribe, "note", note)
    return break_it


def timer_restarts_at_boot(patch) -> None:
    true = restart.resume

    def resume(mission, newest, inputs) -> None:
        true(mission, newest, inputs)
        if mission.descent_ds >= 0:
            mission.descent_ds = mission.base_ds + inputs.uptime_ds
    patch.setattr(restart, "resume", resume)


def mission_time_restarts_at_boot(patch) -> None:
    true = restart.resume

    def resume(mission, newest, inputs) -> None:
        true(mission, newest, inputs)
        mission.base_ds = 0
    patch.setattr(restart, "resume", resume)


def channels_never_alternate(patch) -> None:
    true = release.Release.begin
    patch.setattr(release.Release, "begin", lambda self, now_ds, channel: true(self, now_ds, release.PRIMARY))


def gives_up_after_one_attempt(patch) -> None:
    def rest(self, now_ds: int) -> None:
        self.phase = release.PAUSE
        self.paused_ds = now_ds
        self.until_ds = now_ds + A_DAY_DS
    patch.setattr(release.Release, "rest", rest)


def repeats_an_attempt_that_was_cut(patch) -> None:
    def settle_release(mission) -> None:
        if mission.state in (table.RELEASE, table.BACKUP):
            mission.release.begin(mission.mission_ds, 0 if mission.state == table.RELEASE else 1)
        else:
            mission.release.stop()
    patch.setattr(restart, "settle_release", settle_release)


def believes_in_a_rise_without_seeing_one(patch) -> None:
    true = facts.gather

    def gather(mission, now_ds: int, inputs) -> int:
        seen = true(mission, now_ds, inputs) & ~(table.STALLED | table.ASCENT_LATE)
        return seen | table.RISING if seen & table.TRIED else seen
    patch.setattr(facts, "gather", gather)


def _fires_in_the_step_of(patch, shed_first: bool) -> None:
    def shed(mission, now_ds: int, inputs, outputs) -> None:
        if shed_first:
            mission.camera.force_off()
        mission.release.fire(now_ds)
        scribe.note(mission, inputs, outputs, journal.ATTEMPT, mission.release.channel, mission.release.drive_pct())
    patch.setattr(drive, "shed", shed)
    patch.setattr(drive, "check_invariants", lambda mission, inputs, outputs: None)


def fires_without_shedding(patch) -> None:
    _fires_in_the_step_of(patch, shed_first=False)


def fires_in_the_instant_of_shedding(patch) -> None:
    _fires_in_the_step_of(patch, shed_first=True)


def energises_both_channels(patch) -> None:
    true = drive.run_release

    def run_release(mission, now_ds: int, inputs, outputs) -> None:
        true(mission, now_ds, inputs, outputs)
        most_pct = max(outputs.release_primary_pct, outputs.release_backup_pct)
        outputs.release_primary_pct = outputs.release_backup_pct = most_pct
    patch.setattr(drive, "run_release", run_release)
    patch.setattr(drive, "check_invariants", lambda mission, inputs, outputs: None)


def runs_the_fan_in_an_attempt(patch) -> None:
    true = drive.fan

    def fan(mission, inputs) -> int:
        attempt = mission.release
        late = mission.mission_ds >= attempt.until_ds - 600 and attempt.channel == release.PRIMARY
        return 1 if late and attempt.phase == release.FIRE_NOW else true(mission, inputs)
    patch.setattr(drive, "fan", fan)
    patch.setattr(drive, "check_invariants", lambda mission, inputs, outputs: None)


def waits_ten_minutes_with_a_leak(patch) -> None:
    true = facts.judge

    def judge(mission, now_ds: int, inputs, outputs) -> None:
        hold_ds = mission.orders.leak_hold_ds
        mission.orders.leak_hold_ds = 6000
        true(mission, now_ds, inputs, outputs)
        mission.orders.leak_hold_ds = hold_ds
    patch.setattr(facts, "judge", judge)


def never_lights_the_beacon(patch) -> None:
    patch.setattr(drive, "beacon_due", lambda mission, now_ds: False)


def lets_the_beacon_die_after_an_hour(patch) -> None:
    true = drive.beacon_due
    patch.setattr(drive, "beacon_due", lambda mission, now_ds: (
        true(mission, now_ds) and now_ds - mission.surface_ds < 36_000))


def presses_without_looking(patch) -> None:
    patch.setattr(camera, "see", lambda orders, inputs: camera.UNSEEN)


def never_films(patch) -> None:
    true = camera.Camera.update
    patch.setattr(camera.Camera, "update", lambda self, now_ds, inputs, wanted: true(self, now_ds, inputs, False))


def lights_without_asking_for_depth(patch) -> None:
    patch.setattr(drive, "lights", lambda mission, now_ds: (
        mission.orders.lights_pct if mission.state == table.RECORD else mission.self_test.lights_pct()))


def obeys_under_water(patch) -> None:
    patch.setattr(deck, "obey", lambda mission, now_ds, inputs, outputs: (
        table.DISARM_ASKED if inputs.command == signals.ASK_DISARM else 0))


def believes_one_sign_of_water_at_once(patch) -> None:
    def grow_sure(mission, now_ds: int, inputs, outputs) -> None:
        mission.sure = True
    patch.setattr(facts, "grow_sure", grow_sure)


@dataclass(frozen=True)
class BrokenCore:
    name: str
    break_it: Callable
    faults: str
    laws: frozenset[int]


def _core(name: str, break_it: Callable, faults: str, *laws: int) -> BrokenCore:
    return BrokenCore(name, break_it, faults, frozenset(laws))


CORES = (
    _core("no deadline", facts_without(table.DUE, table.LATEST), "", 1),
    _core("no timed release", facts_without(table.DUE), "", 2),
    _core("timer restarts at boot", timer_restarts_at_boot, "reset@record+20min", 2),
    _core("timer restarts at boot, late", timer_restarts_at_boot, "reset@record+3h", 1, 2),
    _core("mission time restarts at boot", mission_time_restarts_at_boot, "reset@record+20min", 2),
    _core("one sign of water is believed at once", believes_one_sign_of_water_at_once,
          "contact-bridged@armed+60s leak-false@armed+60s", 3),
    _core("not seen to be back on deck", facts_without(table.OUT_OF_WATER, table.AT_SURFACE),
          "hauled-back@record+10min", 3),
    _core("goes on driving on deck", facts_without(table.OUT_OF_WATER, table.AT_SURFACE, table.RISING),
          "hauled-back@attempt+5s", 3),
    _core("channels never alternate", channels_never_alternate, "jammed", 4),
    _core("gives up after one attempt", gives_up_after_one_attempt, "jammed", 4),
    _core("repeats an attempt that a reset cut", repeats_an_attempt_that_was_cut,
          "attempt-resets:channel=primary,for_s=60@release", 4),
    _core("believes in a rise without seeing one", believes_in_a_rise_without_seeing_one, "jammed", 4),
    _core("fires without shedding", fires_without_shedding, "", 5),
    _core("fires in the instant of shedding", fires_in_the_instant_of_shedding, "", 5),
    _core("runs the fan in an attempt", runs_the_fan_in_an_attempt, "jammed", 5),
    # The second channel's attempt is not in the journal either.
    _core("energises both channels", energises_both_channels, "", 5, 12),
    _core("never judges the battery low", facts_without(table.LOW), "lamp-shorted@record+3h", 6),
    _core("never judges the battery low, after a reset", facts_without(table.LOW), "reset@splash lamp-shorted@record+3h",
          6),
    _core("never judges a leak", facts_without(table.LEAK), "leak@record+1h", 7),
    _core("waits ten minutes with a leak", waits_ten_minutes_with_a_leak, "leak@splash+1min", 7),
    _core("never lights the beacon", never_lights_the_beacon, "", 8),
    _core("lets the beacon die after an hour", lets_the_beacon_die_after_an_hour, "", 8),
    _core("presses without looking", presses_without_looking, "records-early", 9),
    _core("a missed press stays unseen", presses_without_looking, "press-missed@splash", 9),
    _core("never films", never_films, "", 9),
    _core("lights without asking for depth", lights_without_asking_for_depth, "never-sinks", 10),
    _core("obeys under water", obeys_under_water, "line-noise:for_s=5@ascend+2min", 11),
    _core("rows are not written", records_without(journal.ROW), "", 12),
    _core("attempts are not written", records_without(journal.ATTEMPT), "", 12),
)
