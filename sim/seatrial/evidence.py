"""What was seen of a dive, for the laws to judge: true times from the world, commands from the controller.

The dive engine fills it as things happen; a reader of real journals can fill what a journal knows. Times are seconds
since the run began, None for what never happened.
"""

from dataclasses import dataclass, field

from seatrial.plan import Plan


@dataclass
class Attempt:
    """One time that a release channel was energised."""

    from_s: float
    channel: str
    drive_pct: int
    loads_on: str  # camera, lights or fan that were on with it; "" when shed
    in_water: bool
    been_under: bool  # under water since it was armed, and not hauled back since
    both: bool
    boot: int
    to_s: float | None = None
    end: str = ""
    freed: bool = False


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
    surfaced_s: float | None = None
    surface_visible: bool = True  # the pressure sensor showed the surface when the lander was there
    hauled_s: float | None = None
    command_s: float | None = None  # first row into release or backup
    command_reason: str = ""
    rise_confirmed_s: float | None = None
    spans: list[Span] = field(default_factory=list)  # mission states, and "off"
    powered: list[Span] = field(default_factory=list)
    beacon: list[Span] = field(default_factory=list)
    attempts: list[Attempt] = field(default_factory=list)
    timeline: list[TimelineItem] = field(default_factory=list)
    resets_s: list[float] = field(default_factory=list)
    rows_seen: list[str] = field(default_factory=list)  # labels of rows, as the records said when they were written
    state_changes: int = 0  # as the outputs showed them
    leak_s: float | None = None  # a leak that the probe feels
    left_at_command_mah: float | None = None
    pack_mah: float = 0.0  # what the pack could truly give at that moment, had nothing been drawn
    recorded_on_bottom_s: float = 0.0
    camera_unable_s: float = 0.0  # of the bottom time
    guessed_presses_s: list[float] = field(default_factory=list)
    lights_in_air_s: float = 0.0
    disarmed_under_water: int = 0
    commands_under_water: int = 0
    bench_fires_under_water: int = 0
    mission_time_fell: int = 0
    last_mission_ds: int = -1
    journal_rows: list[str] = field(default_factory=list)  # labels read back from the journal's memory at the end
    journal_attempts: int = 0
    journal_lost: int = 0  # records that the memory refused
    why_down: str = ""
    release_possible: bool = True

    def powered_for(self, from_s: float, least_s: float) -> float | None:
        """The first moment at or after `from_s` from which the controller had power for `least_s` seconds."""
        for span in self.powered:
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
