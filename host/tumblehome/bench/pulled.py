"""A journal that was pulled from a controller, as a file: its slots as they lie on the flash, and what is wrong there.
"""

import errno
import hashlib
import json
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from typing import Any

from lander import journal as records
from lander import table as mission
from lander import words
from lander.journal import RECORD_BYTES
from seatrial.world import CLOCK_EPOCH
from tumblehome import moments
from tumblehome.bench.link import Pulled

BYTES_MAX = 64_000_000
IMAGE, DATA, HASH = "journal.bin", "journal.json", "journal.sha256"
NAMED = {"state": lambda value: mission.STATES[value], "kind": lambda value: words.KINDS[value]}


@dataclass(frozen=True)
class Span:
    """The records of one start of the controller within one dive, in order."""

    boot: int
    dive: int
    records: list[dict[str, int]]

    @property
    def states(self) -> list[str]:
        """The states that were gone through."""
        names: list[str] = []
        for record in self.records:
            name = _word("state", record["state"])
            if names[-1:] != [name]:
                names.append(name)
        return names

    def told(self) -> dict[str, Any]:
        """Boot, dive, number of records, when it began and ended (UTC, None where the clock was not trusted)."""
        clocks = [record["clock_s"] for record in self.records if record["clock_s"]]
        return {"boot": self.boot, "dive": self.dive, "records": len(self.records),
                "first": utc(clocks[0]) if clocks else None, "last": utc(clocks[-1]) if clocks else None,
                "lasted_s": (self.records[-1]["mission_ds"] - self.records[0]["mission_ds"]) / 10,
                "deepest_mbar": max(record["pressure_mbar"] for record in self.records),
                "lowest_supply_mv": min(record["supply_mv"] for record in self.records), "states": self.states}


def utc(clock_s: int) -> str:
    """The moment that the clock shows, ISO 8601."""
    return moments.iso(CLOCK_EPOCH + timedelta(seconds=clock_s))


def records_of(image: bytes) -> list[bytes]:
    """The good records of an image, in the order of their numbers."""
    good = [slot for slot in slots_of(image) if records.is_good(slot)]
    return sorted(good, key=records.sequence_of)


def slots_of(image: bytes) -> Iterator[bytes]:
    """Its slots, whole ones only."""
    for at in range(0, len(image) - RECORD_BYTES + 1, RECORD_BYTES):
        yield image[at:at + RECORD_BYTES]


def spans(good: list[bytes]) -> list[Span]:
    """The records by start and dive."""
    found: list[Span] = []
    for record in good:
        told = records.fields(record)
        if not found or (found[-1].boot, found[-1].dive) != (told["boot"], told["dive"]):
            found.append(Span(told["boot"], told["dive"], []))
        found[-1].records.append(told)
    return found


def account_of(pulled: Pulled, greeting: dict[str, str], pulled_at: str) -> dict[str, Any]:
    """The content of journal.json."""
    return {
        "tool": "tumblehome", "version": greeting.get("lander"), "controller": greeting, "pulled_at": pulled_at,
        "slots": pulled.slots, "free": pulled.free, "bad": pulled.bad, "sha256": sha256(pulled.written),
        "spans": [span.told() for span in spans(pulled.records)],
        "records": [in_words(records.fields(record)) for record in pulled.records]}


def in_words(told: dict[str, int]) -> dict[str, Any]:
    """A record with words for the numbers that have some."""
    return {name: _word(name, value) for name, value in told.items()}


def _word(name: str, value: int):
    try:
        return NAMED[name](value) if name in NAMED else value
    except (IndexError, KeyError):
        return value


def sha256(image: bytes) -> str:
    """Of the image, in hexadecimal digits."""
    return hashlib.sha256(image).hexdigest()


def hash_line(image: bytes) -> bytes:
    """The content of journal.sha256, as `sha256sum --check` reads it."""
    return ("%s  %s\n" % (sha256(image), IMAGE)).encode()


def read(path: Path) -> bytes:
    """The image of a pulled journal: the file itself, or the one in this folder. Raises OSError."""
    with (path / IMAGE if path.is_dir() else path).open("rb") as file:
        image = file.read(BYTES_MAX + 1)
    if len(image) > BYTES_MAX:
        raise OSError(errno.EFBIG, "more than %d MB, which no controller holds" % (BYTES_MAX // 1_000_000))
    return image


def chip_of(path: Path) -> str | None:
    """The chip that a journal was pulled from, as journal.json beside it tells; None where it does not."""
    try:
        told = json.loads(((path if path.is_dir() else path.parent) / DATA).read_text(encoding="utf-8"))
        return str(told["controller"]["id"])
    except (OSError, ValueError, KeyError, TypeError):
        return None


def faults_of(image: bytes, path: Path) -> list[str]:
    """Why a pulled journal is not as it was pulled, or cannot be shown to be, a sentence each. Raises OSError."""
    found = []
    if len(image) % RECORD_BYTES:
        found.append("%d bytes are left behind the last whole slot: the file was cut off" % (len(image) % RECORD_BYTES))
    beside = (path if path.is_dir() else path.parent) / HASH
    if not beside.exists():
        found.append("%s is not beside it: nothing shows that it is as it was pulled" % HASH)
    elif beside.read_bytes().split()[:1] != [sha256(image).encode()]:
        found.append("its hash is another one than %s says: it was changed since it was pulled" % HASH)
    return found


def remarks_on(image: bytes) -> list[str]:
    """What the controller could not write, or lost: slots without a whole record, numbers that are not there."""
    found = list(_gaps(records_of(image)))
    bad = [at for at, slot in enumerate(slots_of(image)) if not records.is_good(slot) and not records.is_blank(slot)]
    if bad:
        found.append("%d %s no whole record (the first: slot %d): power failed in it, or its memory is worn out" % (
            len(bad), "slot holds" if len(bad) == 1 else "slots hold", bad[0]))
    return found


def _gaps(good: list[bytes]) -> Iterator[str]:
    numbers = [records.sequence_of(record) for record in good]
    for before, after in zip(numbers, numbers[1:], strict=False):
        if after == before:
            yield "record %d is there twice" % after
        elif after > before + 1:
            yield "%d %s missing after record %d" % (
                after - before - 1, "record is" if after == before + 2 else "records are", before)
