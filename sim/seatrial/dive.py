"""One dive: the real mission core, the simulated sea and the faults, from the deck to the surface.

The engine leaps. Nothing is computed between the moments that matter: the controller's next step (the core says
when), an edge that wakes it, a fault, the bottom, the surface, a wire that parts, a supply that gives way. Physics in
between is advanced in closed form. One seed gives one journal, byte for byte, whatever body flies the mission.
"""

from collections.abc import Callable
from heapq import heappop, heappush

from lander import journal as records
from lander import table
from lander.signals import Inputs, Outputs
from seatrial import camera as cameras
from seatrial import hope, laws, world
from seatrial.bodies import core_here
from seatrial.dice import Dice
from seatrial.evidence import Evidence
from seatrial.faults import SECOND, FaultError, unfit
from seatrial.holding import Holding
from seatrial.hope import AFTER_LAST_HOPE_S
from seatrial.result import DiveResult, Series
from seatrial.second import SecondBoard
from seatrial.store import PowerCut, SimulatedStore
from seatrial.story import Story
from seatrial.world import World

GESTURE_FROM_S = 5.0
GESTURE_S = 7.0
SUPPLY_LOOK_S = 10.0  # a controller without power looks this often whether it can start
HAUL_STEP_S = 0.5
CAMERA_ANEW_S = 300.0  # to see that it has hung, to press in vain, to wait without supply and to start it
LOOK_AFTER_S = 15.0
SEEN_WITHIN_MBAR = 60.0
FIRING_PLACES = frozenset((0, 1))
CAMERA_PLACE = 2
RECORD_GOOD_BYTES = records.CRC_AT + 2
HOT_ROOM_C = 1.0


class Dive:
    """A dive that can be run once. `progress(now_s, end_s)` is called now and then; `second` stands in for the second
    board that the plan has fitted. Raises FaultError for a fault of the second board where there is none."""

    def __init__(self, plan, faults=(), seed: int = 1, body=None, progress: Callable | None = None,
                 water=None, keep_series: bool = True, second=None) -> None:
        self.given_plan = plan
        for fault in faults:
            if fault.kind.prepare:
                plan = fault.kind.prepare(plan, fault.values)
                water = None
        self.plan = plan
        self.seed = seed
        dice = Dice(seed)
        self.world = World(plan, dice, water)
        self.body = body or core_here(self.given_plan.mission_record())
        self._takes = getattr(self.body, "takes", (Inputs, Outputs))
        if hasattr(self.body, "attach"):
            self.body.attach(self.world, self.plan)
        self.world_store = SimulatedStore(plan.journal.slots)
        self.journal = records.Journal(self.world_store)
        self.inputs = self._takes[0]()
        self.outputs = self._takes[1]()
        self.evidence = Evidence(self.given_plan)
        self.submerged_mbar = self.world.water.pressure_mbar_at(self.given_plan.thresholds.submerged_m)
        self.hold = Holding().hold
        self.story = Story(self)
        self.series = Series() if keep_series else None
        self.progress = progress
        self.steps = 0
        self.load_resets: tuple[tuple[int, float], ...] = ()  # place in the levels, seconds after it is switched on
        self._on_since_s: dict[int, float] = {}  # when each place of the levels was switched on for the last time
        self.line_noise = False
        self.main_dead = False
        self.second = second or (SecondBoard(plan.second) if plan.second.fitted else None)
        for fault in faults:
            if fault.kind.group == SECOND and self.second is None:
                raise FaultError(unfit(plan, fault))
        self._noise = dice.fork("line noise")
        self._schedule: list = []
        self._order = 0
        self._wake_s = 0.0
        self._boot_s = 0.0
        self._reset_cause = 0
        self._hung = False
        self._failing_starts = 0
        self._failing_s = 0.0
        self._kept_on_deck = False
        self._on_line = False  # somebody is hauling
        self.records_lost = 0
        self._edges = (0, 0, 0)
        self.faults = [[fault, None, None] for fault in faults]
        self._marks: list = []  # depths on the way down that somebody waits for: (depth, what to do)
        self._end_s = 0.0
        self._surfaced_at: tuple[float, float] | None = None
        if self.second:
            self.second.attach(self)

    # --- the run ------------------------------------------------------------------------------------------------

    def run(self) -> DiveResult:
        self._prepare()
        self._go_on()
        if hope.put_off_end(self):
            self._go_on()
        return self._finish()

    def _go_on(self) -> None:
        world = self.world
        schedule = self._schedule
        while world.now_s < self._end_s:
            next_s = self._wake_s if self._wake_s < self._end_s else self._end_s
            if schedule and schedule[0][0] < next_s:
                next_s = schedule[0][0]
            if next_s > world.now_s:
                self._advance(next_s - world.now_s)
            if schedule and schedule[0][0] <= world.now_s:
                self._do_scheduled()
            if self._wake_s <= world.now_s + 1e-9:
                self._step()

    def _prepare(self) -> None:
        plan = self.plan
        splash_s = plan.dive.on_deck_min * 60.0
        self.evidence.splash_s = splash_s
        self._end_s = splash_s + hope.driven_s(self) + AFTER_LAST_HOPE_S
        self._start_controller(0)
        self.at(GESTURE_FROM_S, lambda: self.hold_magnet(GESTURE_S))
        self.at(splash_s, self._splash_as_planned)
        self._mark(plan.thresholds.submerged_m, self._went_under)
        if self.second:
            self._end_s = max(self._end_s, splash_s + self.second.begin() + AFTER_LAST_HOPE_S)
        for entry in self.faults:
            self._await_onset(entry)

    def at(self, time_s: float, action: Callable) -> None:
        """Do this at that time, in the order in which it was asked for."""
        self._order += 1
        heappush(self._schedule, (time_s, self._order, action))

    def _do_scheduled(self) -> None:
        while self._schedule and self._schedule[0][0] <= self.world.now_s:
            heappop(self._schedule)[2]()
        if self.second:
            self.second.look()
        self._see_edges()

    def _see_edges(self) -> None:
        """Digital lines wake the controller, as they do on a board."""
        world = self.world
        edges = (world.magnet, world.contact_wet(), world.leak_wet)
        if edges != self._edges:
            self._edges = edges
            if world.controller_on and not self._hung:
                self._wake_s = world.now_s

    def _advance(self, span_s: float) -> None:
        world = self.world
        evidence = self.evidence
        hull = world.hull
        camera = world.camera
        goal_s = world.now_s + span_s
        while world.now_s < goal_s:
            filming = hull.on_bottom and evidence.command_s is None and evidence.touchdown_s is not None
            idle = filming and camera.state != cameras.RECORDING
            unable = idle and self._camera_unable()
            misled = idle and not unable and world.pressure.feigns_rise()
            recorded_s = camera.recorded_s
            mark_m = self._marks[0][0] if self._marks and hull.in_water else None
            passed_s, what = world.advance(goal_s - world.now_s, mark_m)
            if filming:
                evidence.recorded_on_bottom_s += camera.recorded_s - recorded_s
                if unable:
                    evidence.camera_unable_s += passed_s
                if misled:
                    evidence.rise_feigned_s += passed_s
            if world.levels[5] and (not hull.in_water or hull.depth_m <= 0.0):
                evidence.lights_in_air_s += passed_s
                if world.contact_wet() and not self._surface_shown():
                    evidence.lights_unwarned_s += passed_s
            if what:
                self._happened(what)
                if self.second:
                    self.second.look()
                if self._schedule and self._schedule[0][0] < goal_s:
                    return
        if goal_s - world.now_s < 1e-9:
            world.now_s = goal_s

    def _camera_unable(self) -> bool:
        camera = self.world.camera
        cool_c = self.plan.camera.cool_c
        return (not self.world.controller_on or self._camera_hangs() or camera.card_left_s <= 0.0
                or camera.deaf_presses > 0 or self.world.heat.camera_c >= cool_c
                or (self.inputs.camera_temp_ok and self.inputs.camera_centi_c >= 100.0 * cool_c)
                or any(place == CAMERA_PLACE for place, _after_s in self.load_resets))

    def _camera_hangs(self) -> bool:
        """It has crashed, and nothing could have started it anew by now: its supply can, after a while."""
        camera = self.world.camera
        if camera.state != cameras.CRASHED:
            return False
        curable_s = CAMERA_ANEW_S + 2.0 * self.plan.journal.reading_bottom_s
        return camera.own_pack or self.world.now_s - camera.crashed_s < curable_s

    # --- what happens at sea ------------------------------------------------------------------------------------

    def _happened(self, what: str) -> None:
        evidence = self.evidence
        now_s = self.world.now_s
        if what == world.CROSSED:
            self._reach_marks()
            return
        if what == world.TOUCHED:
            self._reach_marks()
            if evidence.touchdown_s is None:
                evidence.touchdown_s = now_s
                evidence.deepest_m = self.world.hull.depth_m
                self._trigger("touchdown")
            self.story.tell("event", "touched the bottom", "at %.0f m" % self.world.hull.depth_m)
        elif what == world.LEFT_BOTTOM:
            evidence.left_bottom_s = evidence.left_bottom_s or now_s
            self.story.tell("event", "left the bottom", "")
        elif what == world.FREED:
            self._freed()
        elif what == world.SURFACED:
            self._surfaced()

    def _freed(self) -> None:
        sea = self.world
        self.evidence.freed_s = sea.now_s
        self.evidence.freed_by = sea.freed_by
        self.evidence.freed_by_second = sea.freed_by == "backup" and sea.second_pct > sea.levels[1]
        if self.evidence.freed_by_second:
            self.second.drives[-1].freed = True
        left = sea.hull.ballast_left
        by = ", driven by the second board" if self.evidence.freed_by_second else ""
        self.story.tell("event", "ballast freed by the %s release%s" % (sea.freed_by, by),
                        "" if not left else "%.0f %% of it hangs on" % (100.0 * left))
        for attempt in self.evidence.attempts:
            if attempt.to_s is None and attempt.channel == sea.freed_by:
                attempt.freed = True
        self._trigger("freed")

    def _surfaced(self) -> None:
        evidence = self.evidence
        now_s = self.world.now_s
        if evidence.under_s is None:
            return
        self.story.tell("event", "surfaced", "%.0f m from the splash" % self._drift_m())
        self.story.look_at_reports()
        if evidence.surfaced_s is None:
            evidence.surfaced_s = now_s
            self._end_s = now_s + self.plan.dive.watch_after_surfacing_min * 60.0
            self._surfaced_at = (self.world.hull.east_m, self.world.hull.north_m)
            self.at(now_s + LOOK_AFTER_S, self._look_whether_seen)
            self._trigger("afloat")

    def _look_whether_seen(self) -> None:
        self.evidence.surface_visible = self._surface_shown()

    def _surface_shown(self) -> bool:
        """Whether the pressure sensor shows the surface for what it is."""
        inputs = self.inputs
        near = abs(inputs.pressure_mbar - self.world.pressure_mbar()) < SEEN_WITHIN_MBAR
        return bool(inputs.pressure_ok) and near and self.world.pressure.is_steady(SEEN_WITHIN_MBAR)

    def _drift_m(self) -> float:
        hull = self.world.hull
        return (hull.east_m ** 2 + hull.north_m ** 2) ** 0.5

    def _went_under(self) -> None:
        evidence = self.evidence
        if evidence.under_s is None:
            evidence.under_s = self.world.now_s

    def _reach_marks(self) -> None:
        """All that waited for the depth where it now is, or for less."""
        while self._marks and self._marks[0][0] <= self.world.hull.depth_m:
            self._marks.pop(0)[1]()

    def _mark(self, depth_m: float, action: Callable) -> None:
        self._marks.append((depth_m, action))
        self._marks.sort(key=lambda mark: mark[0])

    # --- the person -----------------------------------------------------------------------------------------------

    def hold_magnet(self, for_s: float) -> None:
        self.at(self.world.now_s + for_s, self.hold(self.world, "magnet", 1))

    def _splash_as_planned(self) -> None:
        if not self._kept_on_deck:
            self.splash()

    def splash(self) -> None:
        """Into the water, from the deck; once it has been hauled back this begins a dive of its own."""
        hull = self.world.hull
        if hull.in_water:
            return
        if self.evidence.hauled_s is not None:
            self.evidence.begin_another(self.world.now_s)
            self._surfaced_at = None
            self._mark(self.plan.thresholds.submerged_m, self._went_under)
            self.go_on_for_a_whole_dive()
        hull.in_water = True
        self.story.been_under = True
        self.story.tell("event", "splash", "")
        self.evidence.wet_s = self.evidence.wet_s or self.world.now_s
        self._trigger("splash")
        self._reach_marks()

    def go_on_for_a_whole_dive(self) -> None:
        """The run lasts until the last thing that could bring it up has had its time from now on."""
        second_s = self.second.evidence.deadline_s if self.second else 0.0
        self._end_s = max(self._end_s, self.world.now_s + max(hope.longest_s(self), second_s) + AFTER_LAST_HOPE_S)

    def haul_back(self, speed_m_s: float) -> None:
        """Hauled up on a line and onto the deck, where it stays. What is still on deck is not thrown in as planned."""
        if self._on_line:
            return
        if not self.world.hull.in_water:
            if self.evidence.wet_s is None and not self._kept_on_deck:
                self._kept_on_deck = True
                self.story.tell("event", "kept on deck", "it is not thrown in")
            return
        self._on_line = True
        if self.world.hull.on_bottom:
            self.world.hull.on_bottom = False
            self.evidence.left_bottom_s = self.evidence.left_bottom_s or self.world.now_s
        self._haul_on(speed_m_s, self.hold(self.world.hull, "caught", True))

    def _haul_on(self, speed_m_s: float, let_go: Callable) -> None:
        hull = self.world.hull
        hull.depth_m = max(0.0, hull.depth_m - speed_m_s * HAUL_STEP_S)
        if hull.depth_m > 0.0:
            self.at(self.world.now_s + HAUL_STEP_S, lambda: self._haul_on(speed_m_s, let_go))
            return
        self._on_line = False
        hull.in_water = False
        let_go()
        self._come_on_deck()

    def _come_on_deck(self) -> None:
        self.evidence.hauled_s = self.world.now_s
        self.story.been_under = False
        self.story.look_at_reports()
        self.story.tell("event", "hauled back on deck", "")
        times = self.given_plan.times
        second_min = self.plan.second.margin_min if self.second else 0.0
        self._end_s = max(self.world.now_s, self.evidence.splash_s) + 3600.0 + 60.0 * (
            times.latest_release_min + times.slowest_ascent_min + second_min)

    # --- faults ---------------------------------------------------------------------------------------------------

    def _await_onset(self, entry) -> None:
        when = entry[0].when
        if when.word == "start" and when.after_s:
            self.at(when.after_s, lambda: self.begin_fault(entry))
        elif when.word == "start":
            self.begin_fault(entry)
        elif when.word == "depth":
            self._mark(when.depth_m, lambda: self.begin_fault(entry))

    def _trigger(self, word: str) -> None:
        """An event or a state came for the first time: faults that wait for it begin, now or some time after."""
        for entry in self.faults:
            when = entry[0].when
            if when.word == word and entry[1] is None:
                entry[1] = -1.0
                self.at(self.world.now_s + when.after_s, lambda entry=entry: self.begin_fault(entry))

    def begin_fault(self, entry) -> None:
        """The moment of a fault has come; `entry` is [fault, began, ended], and what it holds by now counts."""
        fault = entry[0]
        now_s = self.world.now_s
        entry[1] = now_s
        self.story.tell("fault", str(fault), fault.sentence())
        end = fault.kind.begin(self, fault.values)
        if fault.for_s:
            self.at(now_s + fault.for_s, lambda: self._end(entry, end))
        self._parts_changed()

    def _end(self, entry, end: Callable | None) -> None:
        entry[2] = self.world.now_s
        if end:
            end()
        self.story.tell("fault", "%s ends" % entry[0].name, "")
        self._parts_changed()

    def _parts_changed(self) -> None:
        sea = self.world
        sea.weigh_load()
        self.story.look_at_leak()
        self.story.look_at_reports()
        if sea.controller_on and not sea.supply_holds():
            self.reset("supply fell to %.1f V" % (sea.supply_mv() / 1000.0), 0)
        self._see_edges()

    # --- the controller -------------------------------------------------------------------------------------------

    def reset(self, why: str, cause: int) -> None:
        """The controller loses its memory and its outputs; it starts again when the supply can carry it."""
        sea = self.world
        if not sea.controller_on:
            return
        sea.controller_on = False
        self._hung = False
        self._reset_cause = cause
        self._wake_s = float("inf")
        self.evidence.resets_s.append(sea.now_s)
        self.story.controller_off(why)
        sea.set_levels(world.ALL_OFF)
        self.story.look_at_reports()
        self.at(sea.now_s + self.plan.power.boot_s, self._try_to_start)

    def _try_to_start(self) -> None:
        if self.world.controller_on:
            return
        powered = self.world.supply_is_back() and not self.main_dead
        if powered and self._failing_starts:
            self._failing_starts -= 1
            self._reset_cause = 1
            self.at(self.world.now_s + self._failing_s + self.plan.power.boot_s, self._try_to_start)
        elif powered:
            self._start_controller(self._reset_cause)
        else:
            self._reset_cause = 0
            self.at(self.world.now_s + SUPPLY_LOOK_S, self._try_to_start)

    def _start_controller(self, cause: int) -> None:
        sea = self.world
        sea.controller_on = True
        sea.weigh_load()
        self._boot_s = sea.now_s
        self.story.controller_on()
        self.inputs = self._takes[0]()
        self.outputs = self._takes[1]()
        self.inputs.reset_cause = cause
        self.records_lost = 0
        sea.fill(self.inputs)
        self.inputs.store_free = self.journal.free()
        self.journal.next_slot = self.body.boot(self.world_store, self.inputs)
        self._wake_s = sea.now_s

    def hang(self, watchdog_s: float) -> None:
        """The controller stands still, its outputs as they are, until the watchdog bites."""
        if not self.world.controller_on:
            return
        self._hung = True
        self._wake_s = float("inf")
        self.at(self.world.now_s + watchdog_s, self._bite)

    def fail_starts(self, starts: int, each_s: float) -> None:
        """It resets, and so many starts end in the watchdog before one succeeds."""
        self._failing_starts, self._failing_s = starts, each_s
        self.reset("its program came up only in part", 1)

    def set_back_counter(self, by_s: float) -> None:
        """The controller's count of the time since its start falls back, to zero at the most."""
        self._boot_s = min(self.world.now_s, self._boot_s + by_s)

    def fill_journal(self, slots: int) -> None:
        """The journal has room for so many records more before they go over older ones."""
        self.world_store.slots = min(self.world_store.slots, self.journal.next_slot + slots + records.HEEL)

    def damage_records(self, count: int) -> None:
        """The newest records in the journal's memory are spoilt."""
        size = records.RECORD_BYTES
        data = self.world_store.data
        found = {records.sequence_of(data[at:at + size]): at // size for at in range(0, len(data), size)
                 if records.is_good(data[at:at + size])}
        for number in sorted(found)[-count:]:
            self.world_store.damage(found[number])
        self.evidence.damaged_s.append(self.world.now_s)

    def _bite(self) -> None:
        if self._hung:
            self.reset("the watchdog bit", 1)

    def _step(self) -> None:
        sea = self.world
        inputs = self.inputs
        outputs = self.outputs
        now_s = sea.now_s
        inputs.uptime_ds = int((now_s - self._boot_s) * 10.0 + 1e-6)
        sea.fill(inputs)
        self.story.look_at_inputs(inputs)
        inputs.store_free = self.journal.free()
        inputs.store_lost = self.records_lost
        inputs.command = self._noise.u16() % 6 if self.line_noise and sea.hull.in_water else 0
        if inputs.command:
            self.evidence.commands_under_water += 1
        self._edges = (sea.magnet, inputs.contact_wet, sea.leak_wet)
        self.body.step(inputs, outputs)
        self.steps += 1
        if inputs.command:
            self.story.hear(inputs.command)
        if self.second:
            self.second.beat(now_s)
        if self.series is not None:
            self._keep(self.series, inputs)
        if outputs.record_count:
            self.story.read(outputs)
            written = self.world_store.writes
            try:
                self.records_lost = self.journal.store(outputs.records, outputs.record_count)
            except PowerCut:
                whole = self.world_store.cut_bytes >= RECORD_GOOD_BYTES  # nothing that counts was cut off
                self.story.forget(self.world_store.writes - written - (0 if whole else 1))
                self.reset("power failed in the middle of a record", 0)
                return
            self.evidence.journal_lost += self.records_lost
            if not self.records_lost:
                self.story.charge.recorded()
        else:
            self.records_lost = 0
        self._put_out(outputs)
        if sea.controller_on and not self._hung:
            self._wake_s = now_s + outputs.wake_ds * 0.1
        if self.progress and self.steps % 500 == 0:
            self.progress(now_s, self._end_s)

    def _put_out(self, outputs) -> None:
        sea = self.world
        if outputs.state != self.story.state:
            self.story.change_state(outputs.state)
            self._trigger(table.STATES[outputs.state])
        self.story.stepped()
        before = sea.levels
        stopped = len(sea.camera.stopped_by_press_s)
        holds = sea.apply(outputs)
        if sea.levels is not before:
            self.story.levels_changed(before, sea.levels)
            self._watch_loads(before, sea.levels)
            self.story.look_at_reports()
        if len(sea.camera.stopped_by_press_s) > stopped:
            self._judge_press(outputs)
        if not holds:
            self.reset("supply fell to %.1f V" % (sea.supply_mv() / 1000.0), 0)

    def _watch_loads(self, before, levels) -> None:
        risen = [place for place, level in enumerate(levels) if level and not before[place]]
        self._on_since_s |= dict.fromkeys(risen, self.world.now_s)
        if FIRING_PLACES.intersection(risen):
            self._trigger("attempt")
        self.await_spikes([one for one in self.load_resets if one[0] in risen])

    def await_spikes(self, spikes) -> None:
        """What is still to come after the loads at these places were switched on, comes."""
        for place, after_s in spikes:
            at_s = self._on_since_s.get(place, 0.0) + after_s
            if self.world.levels[place] and at_s >= self.world.now_s:
                self.at(at_s, lambda place=place: self._spike(place))

    def _spike(self, place: int) -> None:
        if self.world.levels[place] and self.world.controller_on:
            what = "drive's spike" if place in FIRING_PLACES else "step of a load"
            self.reset("the %s reset the controller" % what, 0)

    def _judge_press(self, outputs) -> None:
        """A press that ended a recording which was wanted and could be seen to run was a guess."""
        filming = outputs.state in (table.DESCEND, table.RECORD)
        seems_c = 0.01 * self.inputs.camera_centi_c if self.inputs.camera_temp_ok else self.world.heat.camera_c
        hot = max(seems_c, self.world.heat.camera_c) >= self.plan.camera.hot_c - HOT_ROOM_C
        if filming and not hot and self.plan.camera.feedback != "none":
            self.evidence.guessed_presses_s.append(self.world.now_s)

    def _keep(self, series: Series, inputs) -> None:
        sea = self.world
        series.time_s.append(sea.now_s)
        series.depth_m.append(sea.hull.depth_m)
        series.pressure_mbar.append(inputs.pressure_mbar if inputs.pressure_ok else None)
        series.supply_mv.append(sea.supply_mv())
        series.load_ma.append(sea.load_ma)
        series.camera_c.append(sea.heat.camera_c)
        series.housing_c.append(sea.heat.housing_c)
        series.water_c.append(sea.outside_c())

    # --- the end --------------------------------------------------------------------------------------------------

    def _finish(self) -> DiveResult:
        evidence = self.evidence
        sea = self.world
        evidence.end_s = sea.now_s
        evidence.why_down = sea.why_down()
        evidence.release_possible = sea.release_possible() and not sea.hull.caught and not sea.ballast_sticks
        if self.second:
            self.second.finish()
        self.story.close()
        self.story.read_back(self.world_store)
        return DiveResult(
            evidence=evidence, verdicts=laws.judge(evidence), journal=bytes(self.world_store.data),
            series=self.series or Series(),
            faults=[(fault, None if from_s == -1.0 else from_s, to_s) for fault, from_s, to_s in self.faults],
            seed=self.seed, body=self.body.name, steps=self.steps, sea_s=sea.now_s, plan=self.given_plan,
            water=sea.water,
            surfaced_at=self._surfaced_at)


