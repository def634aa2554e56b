"""What a journal tells a search: when the dive really began, by which way the lander came up, and when.

The journal is an image of the controller's memory: pulled over the cable, or written by a rehearsal.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from lander import table
from lander.journal import ROW
from seatrial.plan import Plan
from seatrial.world import CLOCK_EPOCH
from tumblehome.bench import pulled
from tumblehome.find.known import Known, StillDown, Surfaced
from tumblehome.find.mistakes import FindError, reason
from tumblehome.find.ways import BY_BACKUP, EARLY, LAST_ATTEMPT, LATEST, PASSIVE, TIMED

Record = dict[str, int]
UNDER_WATER = (table.DESCEND, table.RECORD, table.RELEASE, table.BACKUP, table.ASCEND)
DUE, LATEST_ROW = "due", "latest"  # ends of the labels of rows that command a release; any other is an early one
BY_ATTEMPTS = {1: TIMED, 2: BY_BACKUP}


@dataclass(frozen=True)
class Told:
    """The moment of the splash as the controller had it, and what is known of the way home."""

    splash: datetime
    known: tuple[Known, ...]


def read(path: Path, plan: Plan) -> Told:
    """What the journal at `path`, a file or its folder, tells of its last dive. Raises FindError when it tells none.

    Where the controller's clock was not trusted, the plan's moment of the splash stands.
    """
    try:
        image = pulled.read(path)
    except OSError as error:
        raise FindError([f"{path} cannot be read ({reason(error)}): name a journal.bin, or the folder it lies"
                         " in"]) from None
    return told_by(image, plan, path.name)


def told_by(image: bytes, plan: Plan, name: str = "the journal") -> Told:
    """The same for an image at hand."""
    dived = [span for span in pulled.spans(pulled.records_of(image))
             if any(record["descent_ds"] >= 0 for record in span.records)]
    if not dived:
        raise FindError([f"{name} tells of no dive: name the journal of the lander that is looked for"])
    last = dived[-1].dive
    records = [record for span in dived if span.dive == last for record in span.records if record["descent_ds"] >= 0]
    splash = _splash(records) or plan.dive.splash_utc
    return Told(splash, _known(records, splash, plan))


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
    risen = False
    for record in records:
        if record["state"] == table.SURFACE and risen:
            return (Surfaced(_moment(record, splash), _way(records, record, plan)),)
        risen = risen or record["state"] == table.ASCEND
    below = [record for record in records if record["state"] in UNDER_WATER]
    return (StillDown(_moment(below[-1], splash)),) if below else ()


def _moment(record: Record, splash: datetime) -> datetime:
    return splash + timedelta(seconds=(record["mission_ds"] - record["descent_ds"]) / 10)


def _way(records: Sequence[Record], surfaced: Record, plan: Plan) -> str:
    """By the row that first commanded a release, and by how many attempts it took."""
    labels = [table.ROWS[record["code"]][table.WHY].split(":")[0] for record in records
              if record["kind"] == ROW and record["command_ds"] == record["mission_ds"] >= 0]
    if not labels:
        after_min = (surfaced["mission_ds"] - surfaced["descent_ds"]) / 600
        return EARLY if after_min < plan.times.timed_release_min else PASSIVE
    ending = labels[0].rpartition("-")[2]
    if ending == LATEST_ROW:
        return LATEST
    return BY_ATTEMPTS.get(surfaced["attempts"], LAST_ATTEMPT) if ending == DUE else EARLY
