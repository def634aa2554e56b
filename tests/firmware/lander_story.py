"""A lander that dives by script: the real mission core in a world with no physics.

The world knows where the lander truly is and what truly happens to ballast, camera and battery. The core sees only
readings, which a story may falsify through `shown`. Steps come at the times the core asks for, and at edges of
magnet, contact and leak, as on a board. Every step is kept in `trace` with the truth beside it, for the law checks.
"""

from dataclasses import dataclass, field

from toy_camera import ToyCamera

from lander import journal, orders, signals, table
from lander.mission import Mission

# A short dive of our own: an hour to the timed release, an hour and a half to the latest.
DIVE = {
    "timed_release_ds": 36000, "latest_release_ds": 54000, "settle_latest_ds": 12000, "slowest_ascent_ds": 12000,
    "surface_margin_ds": 3000, "power_gap_ds": 3000, "beacon_ds": 72000, "pause_ds": 600, "pause_max_ds": 4800,
    "shed_ds": 200, "fire_primary_ds": 600, "fire_backup_ds": 120, "camera_feedback": orders.CURRENT,
    "camera_on_ma": 110, "camera_recording_ma": 370, "reading_surface_ds": 600, "too_deep_cm": 60000,
}
CLOCK_AT_START_S = 230_000_000
CONTACT_CM = 10  # the wet contact sits this far below the waterline
AFLOAT_CM = 25
NEVER_S = 10**9
SUBMERGED = (table.DESCEND, table.RECORD, table.RELEASE, table.BACKUP, table.ASCEND)


@dataclass(slots=True)
class Step:
    """One step of the core, and the truth of its instant."""

    at_ds: int
    boot: int
    depth_cm: int
    recording: bool
    used_mah: float
    inputs: dict
    outputs: dict
    before: int
    state: int
    facts: int
    records: list
    mission_ds: int
    descent_ds: int
    command_ds: int
    sure: bool
    time_unknown: bool
    wet_ds: int | None = None  # when this submersion truly began; None in air
    started: int = -1  # reset cause, on the first step after a start

    @property
    def driven(self) -> bool:
        return bool(self.outputs["release_primary_pct"] or self.outputs["release_backup_pct"])


@dataclass
class Slots:
    """Storage in memory. `refuses` holds slots, or is a function of the slot, that will not be written."""

    slots: int = 4096
    kept: list = field(default_factory=list)
    refuses: object = None

    def __post_init__(self) -> None:
        self.kept = [b"\xff" * journal.RECORD_BYTES] * self.slots

    def read(self, slot: int, buffer) -> bool:
        buffer[:] = self.kept[slot]
        return True

    def write(self, slot: int, data) -> bool:
        if not 0 <= slot < self.slots or (self.refuses is not None and self.refuses(slot)):
            return False
        self.kept[slot] = bytes(data)
        return True


def names_of(rows) -> tuple:
    return tuple(row[0] for row in rows)


INPUT_NAMES = names_of(signals.INPUTS)
OUTPUT_NAMES = names_of(signals.OUTPUTS)


class Story:
    """A lander on deck, not armed. Methods that tell the story return the story."""

    def __init__(self, core=Mission, slots: int = 4096, clock_set: bool = True, **numbers) -> None:
        self.core = core
        self.orders = orders.Orders()
        for name, value in {**DIVE, **numbers}.items():
            if name not in orders.NAMES:
                raise KeyError(name)
            setattr(self.orders, name, value)
        self.mission_record = orders.pack(self.orders)
        self.store = Slots(slots)
        self.at_ds = 0
        self.clock_shift_s = 0
        self.clock_ok = int(clock_set)
        self.shown: dict = {}
        self.magnet = self.leak = self.command = self.lost = 0
        self.found = {"primary_circuit": 1, "backup_circuit": 1, "store_test": 1}  # by the board, when asked to test
        self._from_cm, self._to_cm, self._rate_cm_s, self._since_ds = 0, 0, 0, 0
        self.needs_s = [20, 4]  # seconds of full drive that free the ballast, by channel
        self.driven_s = [0.0, 0.0]
        self._wet_ds: int | None = None
        self.freed = False
        self.camera = ToyCamera(self.orders)
        self.supply_mv = 15800
        self.used_mah = 0.0
        self.trace: list[Step] = []
        self.boots = 0
        self._start(cause=0)

    # --- the truth ------------------------------------------------------------------------------------------

    @property
    def depth_cm(self) -> int:
        gone = self._rate_cm_s * (self.at_ds - self._since_ds) // 10
        if self._to_cm >= self._from_cm:
            return min(self._from_cm + gone, self._to_cm)
        return max(self._from_cm - gone, self._to_cm)

    @property
    def state(self) -> str:
        return table.STATES[self.mission.state]

    @property
    def states(self) -> list:
        """The states this lander went through, each once a visit."""
        seen = [table.STATES[self.trace[0].before]]
        for step in self.trace:
            if table.STATES[step.state] != seen[-1]:
                seen.append(table.STATES[step.state])
        return seen

    @property
    def rows(self) -> list:
        """The labels of the rows taken."""
        return [table.label(record["code"]) for step in self.trace for record in step.records
                if record["kind"] == journal.ROW]

    @property
    def events(self) -> list:
        return [record["code"] for step in self.trace for record in step.records if record["kind"] == journal.EVENT]

    @property
    def attempts(self) -> list:
        """Channel and drive of every attempt."""
        return [(record["code"], record["detail"]) for step in self.trace for record in step.records
                if record["kind"] == journal.ATTEMPT]

    # --- telling --------------------------------------------------------------------------------------------

    def after(self, seconds: float) -> "Story":
        end_ds = self.at_ds + round(seconds * 10)
        while True:
            next_ds = min(self.wake_at_ds, self._contact_edge_ds())
            if next_ds > end_ds:
                self._pass(end_ds)
                return self
            self._pass(next_ds)
            self.step()

    def until(self, *states: str, at_most_s: float = 40000) -> "Story":
        """Let time pass until one of these states; an AssertionError says which state it stayed in."""
        end_ds = self.at_ds + round(at_most_s * 10)
        while self.state not in states:
            self._pass(min(self.wake_at_ds, self._contact_edge_ds()))
            if self.at_ds > end_ds:
                raise AssertionError("still in %s after %d s" % (self.state, at_most_s))
            self.step()
        return self

    def move_to(self, cm: int, rate_cm_s: int) -> "Story":
        self._from_cm, self._to_cm, self._rate_cm_s, self._since_ds = self.depth_cm, cm, rate_cm_s, self.at_ds
        return self

    def sink_to(self, metres: float, rate_m_s: float = 1.0) -> "Story":
        """Sink, and arrive."""
        self.move_to(round(metres * 100), round(rate_m_s * 100))
        return self.after(abs(self._to_cm - self._from_cm) / self._rate_cm_s + 1)

    def rise_to(self, metres: float, rate_m_s: float = 0.8) -> "Story":
        return self.sink_to(metres, rate_m_s)

    def surface(self) -> "Story":
        """Rise and float."""
        return self.rise_to(AFLOAT_CM / 100)

    def haul(self) -> "Story":
        """Lift it out of the water and onto the deck."""
        return self.rise_to(0)

    def hold_magnet(self, seconds: float = 7) -> "Story":
        self.magnet = 1
        self.step()
        self.after(seconds)
        self.magnet = 0
        return self.step()

    def arm(self) -> "Story":
        return self.hold_magnet()

    def on_the_bottom(self, metres: float = 40) -> "Story":
        """Armed, thrown in, sunk and settled."""
        return self.arm().after(60).sink_to(metres).until("record", at_most_s=200)

    def wet_inside(self) -> "Story":
        self.leak = 1
        return self.step()

    def say(self, command: int) -> "Story":
        self.command = command
        return self.step()

    def show(self, **readings) -> "Story":
        """Falsify inputs: a number, or a function of the story. None ends it."""
        for name, value in readings.items():
            if name not in INPUT_NAMES:
                raise KeyError(name)
            if value is None:
                self.shown.pop(name, None)
            else:
                self.shown[name] = value
        return self

    def frozen_pressure(self) -> "Story":
        return self.show(pressure_mbar=self._true_mbar())

    def dead_pressure(self) -> "Story":
        return self.show(pressure_ok=0)

    def dead_contact(self) -> "Story":
        return self.show(contact_ok=0)

    def jammed(self) -> "Story":
        self.needs_s = [NEVER_S, NEVER_S]
        return self

    def jump_clock(self, seconds: int) -> "Story":
        self.clock_shift_s += seconds
        return self

    def lose_clock(self) -> "Story":
        self.clock_ok = 0
        return self

    def reset(self, cause: int = 1, away_s: float = 2.0) -> "Story":
        """The controller stops and starts again; cause 0 is a loss of power, 1 the watchdog."""
        self.outputs = signals.Outputs()
        self.camera.apply(self.outputs, self.at_ds)
        self._pass(self.at_ds + round(away_s * 10))
        self._start(cause)
        return self

    # --- the machine ----------------------------------------------------------------------------------------

    def _start(self, cause: int) -> None:
        self.boots += 1
        self.started_ds = self.at_ds
        self.inputs = signals.Inputs()
        self.outputs = signals.Outputs()
        self.cause = cause
        self.journal = journal.Journal(self.store)
        newest = self.journal.recall().newest
        self.mission = self.core(self.mission_record)
        self._fill()
        self.mission.boot(newest, self.inputs)
        self.step(started=cause)

    def step(self, started: int = -1) -> "Story":
        self._fill()
        mission, outputs = self.mission, self.outputs
        before = mission.state
        mission.step(self.inputs, outputs)
        self.lost = self.journal.store(outputs.records, outputs.record_count)
        size = journal.RECORD_BYTES
        self.trace.append(Step(
            at_ds=self.at_ds, boot=self.boots, depth_cm=self.depth_cm, recording=self.camera.recording,
            used_mah=self.used_mah, inputs={name: getattr(self.inputs, name) for name in INPUT_NAMES},
            outputs={name: getattr(outputs, name) for name in OUTPUT_NAMES}, before=before, state=mission.state,
            facts=mission.facts,
            records=[journal.fields(outputs.records[n * size:(n + 1) * size]) for n in range(outputs.record_count)],
            mission_ds=mission.mission_ds, descent_ds=mission.descent_ds, command_ds=mission.command_ds,
            sure=mission.sure, time_unknown=mission.time_unknown, wet_ds=self._wet_since_ds(), started=started))
        self.camera.apply(outputs, self.at_ds)
        self.command = 0
        self.wake_at_ds = self.at_ds + outputs.wake_ds
        return self

    def _true_mbar(self) -> int:
        return 1013 + max(0, self.depth_cm) * 1000 // self.orders.cm_per_bar

    def _fill(self) -> None:
        inputs = self.inputs
        inputs.uptime_ds = self.at_ds - self.started_ds
        inputs.clock_s = CLOCK_AT_START_S + self.at_ds // 10 + self.clock_shift_s if self.clock_ok else 0
        inputs.clock_ok = self.clock_ok
        inputs.reset_cause = self.cause
        inputs.pressure_mbar = self._true_mbar()
        inputs.contact_wet = int(self.depth_cm > CONTACT_CM)
        inputs.leak_wet = self.leak
        inputs.supply_mv = self.supply_mv
        inputs.supply_ma = self._load_ma()
        inputs.camera_ma = self.camera.current_ma()
        inputs.camera_lamp_permille = 800 if self.camera.recording else 5
        for name in ("pressure_ok", "contact_ok", "leak_ok", "supply_ok", "current_ok", "camera_temp_ok",
                     "housing_temp_ok", "water_temp_ok", "camera_feedback_ok", "release_ok"):
            setattr(inputs, name, 1)
        inputs.magnet = self.magnet
        inputs.store_free = self.journal.free()
        inputs.store_lost = self.lost
        inputs.command = self.command
        for name, answer in self.found.items():
            setattr(inputs, name, answer if self.outputs.self_test else 0)
        for name, value in self.shown.items():
            setattr(inputs, name, value(self) if callable(value) else value)

    def _wet_since_ds(self) -> int | None:
        depth_cm, counts_cm = self.depth_cm, self.orders.submerged_cm
        if depth_cm <= 0:
            self._wet_ds = None
        elif depth_cm > counts_cm and self._wet_ds is None:
            self._wet_ds = self._since_ds + max(0, counts_cm - self._from_cm) * 10 // self._rate_cm_s
        return self._wet_ds

    def _load_ma(self) -> int:
        outputs = self.outputs
        load_ma = self.orders.controller_ma + self.orders.lights_ma * outputs.lights_pct // 100
        load_ma += self.orders.fan_ma if outputs.fan else 0
        if outputs.release_primary_pct or outputs.release_backup_pct:
            load_ma += self.orders.fire_ma
        if self.orders.camera_supply != orders.OWN_PACK:
            load_ma += self.camera.current_ma()
        return load_ma

    def _contact_edge_ds(self) -> int:
        """When the moving lander next wets or dries its contact, which wakes the board."""
        depth_cm = self.depth_cm
        sinking = self._to_cm > self._from_cm
        if not self._rate_cm_s or "contact_wet" in self.shown:
            return 1 << 40
        if sinking and depth_cm <= CONTACT_CM < self._to_cm:
            edge_ds = self._since_ds + -(-(CONTACT_CM + 1 - self._from_cm) * 10 // self._rate_cm_s)
        elif not sinking and depth_cm > CONTACT_CM >= self._to_cm:
            edge_ds = self._since_ds + -(-(self._from_cm - CONTACT_CM) * 10 // self._rate_cm_s)
        else:
            return 1 << 40
        return max(edge_ds, self.at_ds + 1)

    def _pass(self, to_ds: int) -> None:
        span_ds = to_ds - self.at_ds
        self.used_mah += self._load_ma() * span_ds / 36000
        self.at_ds = to_ds
        self.camera.run(to_ds)
        for channel, pct in enumerate((self.outputs.release_primary_pct, self.outputs.release_backup_pct)):
            self.driven_s[channel] += span_ds * pct / 1000
            if self.driven_s[channel] >= self.needs_s[channel] and not self.freed and self.depth_cm > AFLOAT_CM:
                self.freed = True
                self.move_to(AFLOAT_CM, 80)
