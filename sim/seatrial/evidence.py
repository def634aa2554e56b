"""What was seen of a dive, for the laws to judge: true times from the world, commands from the controller.

The dive engine fills it as things happen; a reader of real journals can fill what a journal knows. Times are seconds
since the run began, None for what never happened. A lander that is hauled back and thrown in again makes two dives in
one run: lists go on through both, everything else is of the last one, and `dives` tells them apart.
"""

from dataclasses import MISSING, dataclass, field, fields, replace

from seatrial.plan import Plan


@dataclass
class Attempt:
    """One time that a release channel was energised."""

    from_s: float
    channel: str
    drive_pct: int
    loads_on: str  # camera, lights or fan that were on until it began, or came on while it ran; "" when shed
    in_water: bool
    been_under: bool  # under water since it was armed, and not hauled back since
    both: bool
    boot: int
    to_s: float | None = None
    end: str = ""
    freed: bool = False
    deck_unseen: bool = False  # its sensors had not shown air, by both signs, for a minute when it began nor at its end
    unrecorded: bool = False  # the journal's memory refused it


@dataclass
class TimelineItem:
    """One line of the story."""

    time_s: float
    kind: str  # state, attempt, fault, reset, event
    state: str
    depth_m: float
    what: str
    reason: str


@dataclass
class Span:
    """A stretch of time with a name."""

    name: str
    from_s: float
    to_s: float | None = None

    def length_s(self, end_s: float) -> float:
        return (end_s if self.to_s is None else self.to_s) - self.from_s


@dataclass
class Drive:
    """One time that the second board energised the backup mechanism."""

    from_s: float
    drive_pct: int
    in_water: bool
    been_under: bool  # as for an `Attempt`
    to_s: float | None = None
    freed: bool = False
    deck_unseen: bool = False  # some sensor of its own did not show air


@dataclass
class SecondEvidence:
    """What was seen of the second board. Its deadline counts from the first sign of water, by its own clock."""

    deadline_s: float = 0.0  # by the plan: it fires so long after the splash at the latest
    clock_off_s: float = 0.0  # by how much its crystal may make that later
    drives: list[Drive] = field(default_factory=list)
    powered: list[Span] = field(default_factory=list)
    heard_s: float | None = None  # when it last found the heartbeat line turned over
    saw_water: bool = False  # some sensor of its own has shown water
    left_fraction: float = 0.0  # of its battery, at the end


@dataclass(slots=True)
class Evidence:
    plan: Plan
    splash_s: float = 0.0
    end_s: float = 0.0
    under_s: float | None = None  # first time deeper than the submerged threshold
    wet_s: float | None = None  # first time in the water
    deepest_m: float = 0.0
    touchdown_s: float | None = None
    left_bottom_s: float | None = None
    freed_s: float | None = None
    freed_by: str = ""
    freed_by_second: bool = False  # the second board's drive let the backup go, not the main one's
    second: SecondEvidence | None = None  # None: none is fitted
    surfaced_s: float | None = None
    surface_visible: bool = True  # the pressure sensor showed the surface when the lander was there
    hauled_s: float | None = None
    command_s: float | None = None  # first row into release or backup
    command_reason: str = ""
    rise_believed_s: float | None = None  # it lay on the bottom, no reading climbed, and that was taken for a rise
    bug_s: float | None = None  # the controller found an invariant of its own broken
    motion_believed_s: float | None = None  # it moved, its pressure told so, and that was taken for the bottom
    spans: list[Span] = field(default_factory=list)  # mission states, and "off"
    powered: list[Span] = field(default_factory=list)
    beacon: list[Span] = field(default_factory=list)
    attempts: list[Attempt] = field(default_factory=list)
    bench_fires: list[Attempt] = field(default_factory=list)  # those that somebody had asked for in two steps
    timeline: list[TimelineItem] = field(default_factory=list)
    resets_s: list[float] = field(default_factory=list)
    rows_seen: list[str] = field(default_factory=list)  # labels of rows, as the records said when they were written
    state_changes: int = 0  # as the outputs showed them, but for
    states_at_start: int = 0  # those that a controller came back with after a reset
    arming_refused: str = ""  # why, the last time
    leaks: list[Span] = field(default_factory=list)  # water that the probe feels
    water_shown_s: float | None = None  # a sensor had shown water for as long as a sign needs
    both_signs_s: float | None = None  # pressure and contact had both shown water for as long as a sign needs
    air_told_s: float | None = None  # the last time that a valid sign told of air
    wet_shown_afloat: bool = False  # the contact has shown water since it came up
    stood_s: float = 0.0  # the longest that it stood still in the state ascend, as its pressure showed
    ascent_feigned: bool = False  # on the bottom the pressure fell as in an ascent, and the contact showed air
    clock_behind_s: float = 0.0  # by how much the time of the descent, as the records have it, ran behind the true one
    left_at_command_mah: float | None = None
    unseen_mah: float = 0.0  # of the charge drawn until then, what no reading showed
    low_shown_s: float | None = None  # since when the voltage reading has told that the reserve is reached
    pack_mah: float = 0.0  # what the pack could truly give at that moment, had nothing been drawn
    recorded_on_bottom_s: float = 0.0
    camera_unable_s: float = 0.0  # of the bottom time
    rise_feigned_s: float = 0.0  # of the bottom time, without filming, while the pressure fell as in a true ascent
    guessed_presses_s: list[float] = field(default_factory=list)
    lights_in_air_s: float = 0.0
    lights_unwarned_s: float = 0.0  # of it, afloat with a wet contact, and no pressure that showed the surface
    disarmed_under_water: int = 0
    disarmed_dry_s: float | None = None  # first time that it was disarmed afloat, while both signs showed air
    commands_under_water: int = 0
    bench_fires_under_water: int = 0
    bench_fires_unwarned: int = 0  # afloat, while both signs showed air
    mission_time_fell: int = 0
    last_mission_ds: int = -1
    journal_rows: list[str] = field(default_factory=list)  # labels read back from the journal's memory at the end
    journal_attempts: int = 0
    journal_lost: int = 0  # records that the memory refused
    journal_overwritten: int = 0  # records that went over older ones, the memory being full
    journal_damaged: int = 0  # records that the memory spoilt afterwards
    damaged_s: list[float] = field(default_factory=list)  # when it did
    reports: list[Span] = field(default_factory=list)  # position reports that could be heard
    heard_s: float | None = None  # its position was first heard
    begun_s: float = 0.0  # when the last dive of the run began: with the run, or when it was thrown in again
    earlier: list["Evidence"] = field(default_factory=list)  # dives that ended with being hauled back
    why_down: str = ""
    release_possible: bool = True

    def powered_for(self, from_s: float, least_s: float) -> float | None:
        """The first moment at or after `from_s` from which the controller had power for `least_s` seconds."""
        return self._lasting(self.powered, from_s, least_s)

    def second_powered_for(self, from_s: float, least_s: float) -> float | None:
        """The same of the second board; None also where none is fitted."""
        return self._lasting(self.second.powered, from_s, least_s) if self.second else None

    def _lasting(self, spans: list[Span], from_s: float, least_s: float) -> float | None:
        for span in spans:
            end_s = self.end_s if span.to_s is None else span.to_s
            begin_s = max(span.from_s, from_s)
            if end_s - begin_s >= least_s:
                return begin_s
        return None

    def state_at(self, time_s: float) -> str:
        for span in reversed(self.spans):
            if span.from_s <= time_s:
                return span.name
        return "off"

    # --- several dives in one run ---------------------------------------------------------------------------------

    def begin_another(self, now_s: float) -> None:
        """It is thrown in again: what was seen up to now is an earlier dive."""
        self.earlier.append(replace(self._within(self.begun_s), earlier=[], end_s=now_s))
        for one in fields(self):
            if one.name in OF_ONE_DIVE:
                setattr(self, one.name, one.default if one.default is not MISSING else one.default_factory())
        self.begun_s = now_s

    def dives(self) -> list["Evidence"]:
        """The dives of the run, each as if it had been alone."""
        return [*self.earlier, self._within(self.begun_s)] if self.earlier else [self]

    def _within(self, from_s: float) -> "Evidence":
        """Only what was from this moment on."""
        second = self.second and replace(
            self.second, powered=_clipped(self.second.powered, from_s),
            drives=[drive for drive in self.second.drives if drive.from_s >= from_s])
        return replace(
            self, second=second, spans=_clipped(self.spans, from_s), powered=_clipped(self.powered, from_s),
            beacon=_clipped(self.beacon, from_s), leaks=_clipped(self.leaks, from_s),
            attempts=[attempt for attempt in self.attempts if attempt.from_s >= from_s],
            resets_s=[reset_s for reset_s in self.resets_s if reset_s >= from_s])


def _clipped(spans: list[Span], from_s: float) -> list[Span]:
    return [replace(span, from_s=max(span.from_s, from_s)) for span in spans if span.to_s is None or span.to_s > from_s]


OF_ONE_DIVE = {
    "under_s", "wet_s", "deepest_m", "touchdown_s", "left_bottom_s", "surfaced_s", "surface_visible", "hauled_s",
    "command_s", "command_reason", "rise_believed_s", "water_shown_s", "both_signs_s",
    "air_told_s", "stood_s", "wet_shown_afloat", "ascent_feigned", "clock_behind_s", "left_at_command_mah",
    "unseen_mah", "pack_mah", "recorded_on_bottom_s", "camera_unable_s", "rise_feigned_s", "guessed_presses_s",
    "lights_in_air_s", "lights_unwarned_s", "disarmed_under_water", "disarmed_dry_s", "commands_under_water",
    "bench_fires_under_water", "bench_fires_unwarned", "mission_time_fell", "heard_s"}
