"""The mission: facts in, outputs and records out. It touches no pin, no clock and no file.

One step: tell the time, judge the readings, take at most one row of the table, run the sequences of the state
(camera, lights, fan, release, beacon), write records, say when to be woken.

    mission = Mission(mission_record)
    mission.boot(newest_journal_record_or_None, inputs)
    loop: fill inputs; mission.step(inputs, outputs); store outputs.records; apply outputs; sleep outputs.wake_ds

Records are to be stored before the outputs of the same step are applied: an attempt stands in the journal before
current flows, so that a reset in the attempt is understood afterwards.

Time: `mission_ds` counts tenths of a second and never goes back. It is the journal's last mission time plus what
passed since: by the real-time clock if that can be trusted, by the short bound of a restart if power never failed,
and otherwise unknown, which under water counts as overdue.
"""

from lander import deck, drive, journal, orders, release, restart, scribe, signals, sleep, table, turn
from lander.camera import Camera
from lander.judge import AIR_HOLD_DS, SURFACE_ROOM_CM, Depth, Energy, Held, Magnet, Sign
from lander.table import ASCEND, SAFE, SURFACE

CLOCK_SLACK_S = 5  # real-time clock against the controller's own count
CLOCK_SLACK_SHIFT = 8  # and one part in 256 of the time since they were compared first
DRY_FIRST_DS = 300
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
        self.release = release.Release(self.orders)
        self.sequence = 0
        self.boot_number = 1
        self.dive = 0
        self.descent_ds = NEVER
        self.command_ds = NEVER
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
        self.first_ds = 0  # mission time at the start of this run
        self.reading_ds = NEVER
        self.planned_ma = 0
        self.quiet = True  # camera, lights and fan were off in the outputs of the last step
        self.noted_leak = False
        self.noted_full = False
        self.noted_long = False
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
        self._judge(now_ds, inputs, outputs)
        self.facts = self._gather(now_ds, inputs) | deck.asked(self, now_ds, inputs, outputs)
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

    def _judge(self, now_ds: int, inputs, outputs) -> None:
        self.depth.update(now_ds, inputs.pressure_mbar, inputs.pressure_ok)
        depth = self.depth
        contact_ok = inputs.contact_ok
        contact_wet = inputs.contact_wet
        self.contact.update(now_ds, contact_ok, contact_wet, self.orders.sign_hold_ds)
        dry = contact_ok and not contact_wet
        self.dry.update(now_ds, dry, AIR_HOLD_DS)
        self.air.update(now_ds, dry and depth.valid and depth.atmosphere, AIR_HOLD_DS)
        self.leak.update(now_ds, inputs.leak_ok and inputs.leak_wet, self.orders.leak_hold_ds)
        if self.leak.on and not self.noted_leak:
            self.noted_leak = True
            scribe.event(self, inputs, outputs, journal.E_LEAK, 0)
        if not (depth.valid and depth.atmosphere):
            self.atmosphere_only = False
        if self.descent_ds >= 0 and not self.sure:
            self._grow_sure(now_ds, inputs, outputs)
        self.alone.update(now_ds, self.state == SAFE and self._one_sign_alone(inputs), self.orders.one_sign_wait_ds)

    def _one_sign_alone(self, inputs) -> bool:
        """One sign of water, while the other cannot be read and so cannot object."""
        return ((self.contact.on and inputs.contact_ok and not self.depth.valid)
                or (self.depth.deep.on and self.depth.valid and not inputs.contact_ok))

    def _grow_sure(self, now_ds: int, inputs, outputs) -> None:
        if self.depth.deep.on and self.contact.on:
            self.sure = True
        elif (self.depth.deep.on or self.contact.on) and now_ds - self.descent_ds >= self.orders.one_sign_wait_ds:
            self.sure = True
            scribe.event(self, inputs, outputs, journal.E_ONE_SIGN, 0)

    def _gather(self, now_ds: int, inputs) -> int:
        """The judgements and deadlines of this step as bits of the table."""
        orders = self.orders
        depth = self.depth
        facts = 0
        if depth.deep.on or self.contact.on:
            facts |= table.WET
            if depth.deep.on and self.contact.on:
                facts |= table.BOTH_WET
        if self.sure:
            facts |= table.SURE
        if self.alone.on:
            facts |= table.ALONE
        if self.atmosphere_only and inputs.contact_ok and not self.contact.on and not depth.deep.on:
            facts |= table.SPRAY_DRIED
        if depth.rise_seen:
            if self.air.on:
                facts |= table.OUT_OF_WATER
            if depth.surface.on or depth.awash.on or (not depth.valid and self.dry.on):
                facts |= table.AT_SURFACE
        if self.descent_ds >= 0 and not self.confirmed:
            facts |= self._deadlines(now_ds - self.descent_ds)
        elif self.time_unknown and self.state == SAFE:
            facts |= self._splash_seen(now_ds, inputs, facts)
        if depth.valid and not depth.saturated:
            if (depth.still_for_ds >= orders.settled_ds and depth.deep.on
                    and depth.depth_cm >= 2 * orders.submerged_cm):
                facts |= table.SETTLED
            if depth.still_for_ds >= orders.stalled_ds and depth.depth_cm > orders.surface_cm + SURFACE_ROOM_CM:
                facts |= table.STALLED
        if depth.too_deep.on:
            facts |= table.TOO_DEEP
        if depth.rising.on:
            facts |= table.RISING
        if depth.sank.on:
            facts |= table.SANK_AGAIN
        if self.leak.on:
            facts |= table.LEAK
        if self.energy.is_low(now_ds, inputs.supply_mv, inputs.supply_ok):
            facts |= table.LOW
        if self.state == ASCEND and now_ds - self.ascend_ds >= orders.slowest_ascent_ds + orders.surface_margin_ds:
            facts |= table.ASCENT_LATE
        if self.release.is_over(now_ds):
            facts |= table.TRIED
        if self.command_ds >= 0:
            facts |= table.COMMANDED
        if not orders.good:
            facts |= table.PLAN_BAD
        if self.bug:
            facts |= table.BUG
        return facts

    def _splash_seen(self, now_ds: int, inputs, facts: int) -> int:
        """With no journal to go by, time is unknown until this run has seen air: a later splash is then a new one."""
        if now_ds - self.first_ds >= DRY_FIRST_DS and not facts & table.BOTH_WET and deck.speaks_of_air(self, inputs):
            self.time_unknown = False
        return table.TIME_UNKNOWN if self.time_unknown else 0

    def _deadlines(self, elapsed_ds: int) -> int:
        orders = self.orders
        facts = 0
        if elapsed_ds >= orders.timed_release_ds:
            facts |= table.DUE
        if elapsed_ds >= orders.latest_release_ds - orders.shed_ds - sleep.LATEST_LEAD_DS:
            facts |= table.LATEST
        if elapsed_ds >= orders.settle_latest_ds:
            facts |= table.SETTLE_LATE
        if self.time_unknown and self.sure:
            facts |= table.TIME_UNKNOWN
        if self.power_gap:
            facts |= table.POWER_GAP
        return facts
