"""What a dive leaves behind: the evidence, the verdicts, the journal, and the readings for pictures."""

from dataclasses import dataclass, field

from seatrial import laws
from seatrial.evidence import Evidence
from seatrial.faults import Fault
from seatrial.plan import Plan
from seatrial.water import WaterColumn


@dataclass
class Series:
    """Readings and truth at every step, for pictures."""

    time_s: list[float] = field(default_factory=list)
    depth_m: list[float] = field(default_factory=list)
    pressure_mbar: list[int | None] = field(default_factory=list)
    supply_mv: list[float] = field(default_factory=list)
    load_ma: list[float] = field(default_factory=list)
    camera_c: list[float] = field(default_factory=list)
    housing_c: list[float] = field(default_factory=list)
    water_c: list[float] = field(default_factory=list)


@dataclass
class DiveResult:
    """A flown dive: evidence and verdicts, the journal as the memory held it, and the series that pages draw."""

    evidence: Evidence
    verdicts: list[laws.Verdict]
    journal: bytes
    series: Series
    faults: list[tuple[Fault, float | None, float | None]]  # with the times it really began and ended
    seed: int
    body: str
    steps: int
    sea_s: float
    plan: Plan
    water: WaterColumn
    surfaced_at: tuple[float, float] | None  # metres east and north of the splash
