"""What a journal tells a search: when the dive really began, by which way the lander came up, and when.

The journal is an image of the controller's memory: pulled over the cable, or written by a rehearsal.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from lander import table, words
from lander.journal import ROW
from seatrial.complaints import complaint
from seatrial.plan import Plan
from seatrial.world import CLOCK_EPOCH
from tumblehome.bench import pulled
from tumblehome.find.guesses import built_in
from tumblehome.find.known import Heard, Known, NotHeard, NotSeen, StillDown, Surfaced
from tumblehome.find.mistakes import FindError, told
from tumblehome.find.ways import BY_BACKUP, BY_SECOND, EARLY, LAST_ATTEMPT, LATEST, PASSIVE, TIMED, homes

Record = dict[str, int]
UNDER_WATER = (table.DESCEND, table.RECORD, table.RELEASE, table.BACKUP, table.ASCEND)
DUE, LATEST_ROW = "due", "latest"  # ends of the labels of rows that command a release; any other is an early one
BY_ATTEMPTS = {1: TIMED, 2: BY_BACKUP}
SIGN_PRESSURE = 1 << words.SIGNS.index("pressure_ok")
BELOW_MBAR, AFLOAT_MBAR = 500, 200  # over the air: deeper than a swell reaches, and no deeper than it does
MARGIN_S = 120  # from the surface that the way reaches by reckoning to that which the controller is sure of
GAP_MAX = timedelta(minutes=10)  # from the last record below to the first afloat of a controller that lived meanwhile
APART = timedelta(minutes=10)  # a splash later or earlier than planned by no more is the usual work on deck


@dataclass(frozen=True)
class Told:
    """The moment of the splash as the controller had it, and what is known of the way home.

    `notes` say where splash and plan differ, or that no clock tells the splash.
    """

    splash: datetime
    known: tuple[Known, ...]
    notes: tuple[str, ...] = ()

    @property
    def last(self) -> datetime:
        """The newest moment that it tells of: now is no earlier."""
        return max((one.at for one in self.known if not isinstance(one, NotSeen | NotHeard)), default=self.splash)


def read(path: Path, plan: Plan) -> Told:
    """What the journal at `path`, a file or its folder, tells of its last dive. Raises FindError when it tells none.

    Where the controller's clock was not trusted, the plan's moment of the splash stands.
    """
    try:
        image = pulled.read(path)
    except OSError as error:
        raise FindError([f"{path} cannot be read ({complaint(error)}): name a journal.bin, or the folder it lies"
                         " in"]) from None
    return told_by(image, plan, path.name)


def told_by(image: bytes, plan: Plan, name: str = "journal.bin") -> Told:
    """The same for an image at hand."""
    dived = [span for span in pulled.spans(pulled.records_of(image))
             if any(record["descent_ds"] >= 0 for record in span.records)]
    if not dived:
        raise FindError([f"{name} tells of no dive: name the journal of the lander that is looked for"])
    last = dived[-1].dive
    records = [record for span in dived if span.dive == last for record in span.records if record["descent_ds"] >= 0]
    by_clock = _splash(records)
    splash = by_clock or plan.dive.splash_utc
    return Told(splash, _known(records, splash, plan), tuple(_notes(name, by_clock, plan.dive.splash_utc)))


def _notes(name: str, by_clock: datetime | None, planned: datetime) -> Iterator[str]:
    if by_clock is None:
        yield f"The clock of the journal {name} is not to be trusted: the plan's splash, {told(planned)}, stands."
    elif abs(by_clock - planned) > APART:
        yield (f"The journal {name} has the splash at {told(by_clock)}, the plan at {told(planned)}: the journal's"
               " counts; look whether it is that of this dive.")


def beginning_at(plan: Plan, splash: datetime) -> Plan:
    """The plan with its dive begun at that moment."""
    return plan.model_copy(update={"dive": plan.dive.model_copy(update={"splash_utc": splash.astimezone(UTC)})})


def _splash(records: Sequence[Record]) -> datetime | None:
    trusted = next((record for record in records if record["clock_s"]), None)
    if trusted is None:
        return None
    under_s = (trusted["mission_ds"] - trusted["descent_ds"]) // 10
    return CLOCK_EPOCH + timedelta(seconds=trusted["clock_s"] - under_s)


def _known(records: Sequence[Record], splash: datetime, plan: Plan) -> tuple[Known, ...]:
    below = None
    for record in records:
        if below is not None and _is_up(record):
            return _surfaced(records, below, record, splash, plan)
        below = record if _is_below(record) else below
    return (StillDown(_moment(below, splash)),) if below else ()


def _is_below(record: Record) -> bool:
    """By the pressure; where it is not read, by the state, until a release was commanded and it may be anywhere."""
    if record["signs"] & SIGN_PRESSURE:
        return record["pressure_mbar"] - record["surface_mbar"] > BELOW_MBAR
    return record["state"] in UNDER_WATER and record["command_ds"] < 0


def _is_up(record: Record) -> bool:
    """By the controller's own word, or by the pressure: one that was reset afloat never saw the rise."""
    shallow = record["pressure_mbar"] - record["surface_mbar"] < AFLOAT_MBAR
    return record["state"] == table.SURFACE or bool(record["signs"] & SIGN_PRESSURE and shallow)


def _surfaced(records: Sequence[Record], below: Record, surfaced: Record, splash: datetime, plan: Plan
              ) -> tuple[Known, ...]:
    """The moment and the way; or, of a controller that was dead for a while, no more than between which records."""
    last_down, at = _moment(below, splash), _moment(surfaced, splash)
    if at - last_down > GAP_MAX:
        return StillDown(last_down), Heard(at)
    return (Surfaced(at, _way(records, surfaced, plan)),)


def _moment(record: Record, splash: datetime) -> datetime:
    return splash + timedelta(seconds=(record["mission_ds"] - record["descent_ds"]) / 10)


def _way(records: Sequence[Record], surfaced: Record, plan: Plan) -> str:
    """By the row that first commanded a release and by how many attempts it took, where the moment fits that way."""
    after_s = (surfaced["mission_ds"] - surfaced["descent_ds"]) / 10
    labels = [table.ROWS[record["code"]][table.WHY].split(":")[0] for record in records
              if record["kind"] == ROW and record["command_ds"] == record["mission_ds"] >= 0]
    if not labels:
        return EARLY if after_s < 60 * plan.times.timed_release_min else _by_moment(plan, after_s) or PASSIVE
    ending = labels[0].rpartition("-")[2]
    if ending not in (DUE, LATEST_ROW):
        return EARLY
    told = LATEST if ending == LATEST_ROW else BY_ATTEMPTS.get(surfaced["attempts"], LAST_ATTEMPT)
    return told if _fits(plan, told, after_s) else _by_moment(plan, after_s) or told


def _by_moment(plan: Plan, after_s: float) -> str | None:
    """The way that nobody on the main board commands, or a late attempt, whose time this is."""
    return next((key for key in (LAST_ATTEMPT, BY_SECOND, PASSIVE) if _fits(plan, key, after_s)), None)


def _fits(plan: Plan, key: str, after_s: float) -> bool:
    """Whether a lander that comes up by this way may surface so long after the splash."""
    for home in homes(plan, built_in()):
        if home.key == key and home.freed_s is not None:
            return (home.freed_s[0] + home.rise_s[0] - MARGIN_S <= after_s
                    <= home.freed_s[2] + home.rise_s[2] + MARGIN_S)
    return False
