"""The mission: facts in, outputs and records out. It touches no pin, no clock and no file.

One step: tell the time, judge the readings, take at most one row of the table, run the sequences of the state
(camera, lights, fan, release, beacon), write records, say when to be woken.

    mission = Mission(mission_record)
    mission.boot(newest_journal_record_or_None, inputs)
    loop: fill inputs; mission.step(inputs, outputs); store outputs.records; apply outputs; sleep outputs.wake_ds

Records are to be stored before the outputs of the same step are applied: an attempt stands in the journal before
current flows, so that a reset in the attempt is understood afterwards.

Time: `mission_ds` counts tenths of a second and never goes back. It is the journal's last mission time plus what
passed since by the real-time clock, if that can be trusted, and otherwise unknown, which under water counts as overdue.
"""

from lander import deck, drive, facts, journal, orders, release, restart, scribe, signals, sleep, table, turn
from lander.camera import Camera
from lander.judge import Depth, Energy, Held, Magnet, Sign
from lander.selftest import SelfTest
from lander.table import SAFE, SURFACE

CLOCK_SLACK_S = 5  # real-time clock against the controller's own count
CLOCK_SLACK_SHIFT = 8  # and one part in 256 of the time since they were compared first
NEVER = -1


class Mission:
    def __init__(self, mission_record=None) -> None:
        self.orders = orders.unpack(mission_record)
        self.state = SAFE
        self.facts = 0
        self.mission_ds = 0
        self.depth = Depth(self.orders)
        self.contact = Sign()
        self.dry = Held()
        self.air = Held()
        self.leak = Held()
        self.alone = Held()
        self.magnet = Magnet()
        self.energy = Energy(self.orders)
        self.camera = Camera(self.orders)
        self.self_test = SelfTest(self.orders)
        self.release = release.Release(self.orders)
        self.sequence = 0
        self.boot_number = 1
        self.dive = 0
        self.descent_ds = NEVER
        self.command_ds = NEVER
        self.why = table.STAY  # row by which the release was first commanded, as far as this run knows
        self.ascend_ds = 0
        self.record_ds = 0
        self.surface_ds = 0
        self.sure = False
        self.atmosphere_only = False
        self.confirmed = False
        self.time_unknown = True
        self.power_gap = False
        self.clock_trusted = False
        self.bug = False
        self.fan_on = False
        self.refusal = signals.FINE
        self.refused_ds = NEVER
        self.ready_channel = NEVER
        self.ready_ds = NEVER
        self.bench_channel = NEVER
        self.bench_ds = NEVER
        self.base_ds = 0
        self.last_uptime_ds = 0
        self.asked_wake_ds = 1
        self.clock_from_s = 0
        self.clock_from_ds = 0
        self.before_ds = NEVER  # armed, restarted: mission time of the last record before the restart
        self.air_seen = False  # since this start, with no sign of water against it
        self.air_ds = NEVER  # when a valid sign last said air
        self.contact_felt = False  # the contact has felt water in this dive, as far as this run knows
        self.first_ds = 0  # mission time at the start of this run
        self.reading_ds = NEVER
        self.planned_ma = 0
        self.quiet = True  # camera, lights and fan were off in the outputs of the last step
        self.noted_leak = False
        self.noted_full = False
        self.noted_long = False
        self.sparing = 0  # how much is left off because the supply did not carry it
        self.sparing_ds = 0
        self.booted = False
        self.boot_detail = 0
        self.attempt_cut = False

    # --- start ----------------------------------------------------------------------------------------------

    def boot(self, newest, inputs) -> None:
        """Carry on from the newest good journal record, or begin as an unarmed controller when there is none."""
        self.last_uptime_ds = inputs.uptime_ds
        self.base_ds = -inputs.uptime_ds
        self.clock_trusted = bool(inputs.clock_ok)
        if newest is not None:
            restart.resume(self, newest, inputs)
        self.mission_ds = self.base_ds + inputs.uptime_ds
        self.first_ds = self.mission_ds
        self.clock_from_s = inputs.clock_s
        self.clock_from_ds = self.mission_ds
        restart.settle_release(self)

    # --- the step -------------------------------------------------------------------------------------------

    def step(self, inputs, outputs) -> int:
        """Run one step; returns `outputs.wake_ds`."""
        outputs.record_count = 0
        before_ds = self.mission_ds
        now_ds = self._tell_time(inputs)
        if not self.booted:
            scribe.note_boot(self, inputs, outputs)
        if inputs.store_lost:
            scribe.event(self, inputs, outputs, journal.E_LOST, inputs.store_lost)
        self.energy.count(now_ds - before_ds, inputs.supply_ma, inputs.current_ok, self.planned_ma)
        self._check_clock(now_ds, inputs, outputs)
        facts.judge(self, now_ds, inputs, outputs)
        self.facts = facts.gather(self, now_ds, inputs) | deck.asked(self, now_ds, inputs, outputs)
        number = table.row_taken(self.state, self.facts)
        if number != table.STAY:
            turn.take(self, number, now_ds, inputs, outputs)
        elif self.state == SURFACE:
            turn.stay_at_surface(self, now_ds, inputs, outputs)
        drive.run_release(self, now_ds, inputs, outputs)
        drive.run_camera(self, now_ds, inputs, outputs)
        drive.run_lamps(self, now_ds, inputs, outputs)
        drive.check_invariants(self, inputs, outputs)
        scribe.read_into_journal(self, inputs, outputs)
        drive.plan_load(self, outputs)
        outputs.state = self.state
        outputs.wake_ds = self.asked_wake_ds = sleep.wake(self, now_ds)
        return outputs.wake_ds

    def _tell_time(self, inputs) -> int:
        uptime_ds = inputs.uptime_ds
        if uptime_ds < self.last_uptime_ds:
            # The controller's own count fell back (a wrap, a fault): the sleep that was asked for has passed at least.
            self.base_ds += self.last_uptime_ds - uptime_ds + self.asked_wake_ds
        self.last_uptime_ds = uptime_ds
        self.mission_ds = min(self.base_ds + uptime_ds, signals.LARGEST)
        return self.mission_ds

    def _check_clock(self, now_ds: int, inputs, outputs) -> None:
        """A real-time clock that disagrees with the controller's count is not trusted again before the next arming."""
        if not self.clock_trusted:
            return
        passed_s = (now_ds - self.clock_from_ds) // 10
        error_s = inputs.clock_s - self.clock_from_s - passed_s
        slack_s = CLOCK_SLACK_S + (passed_s >> CLOCK_SLACK_SHIFT)
        if not inputs.clock_ok or not -slack_s <= error_s <= slack_s:
            self.clock_trusted = False
            scribe.event(self, inputs, outputs, journal.E_CLOCK, max(-signals.LARGEST, min(signals.LARGEST, error_s)))
