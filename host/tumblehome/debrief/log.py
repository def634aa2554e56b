"""A journal as it came home, read into columns: every whole record, and a count of what could not be read.

Slots are 64 bytes; the first byte of each is the version of its layout (`LAYOUTS`), and stays so in every version to
come. A reader of a version is never removed: a journal of years ago opens like one of today.
"""

import binascii
from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cached_property
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from lander import journal
from lander.journal import RECORD_BYTES
from seatrial.complaints import complaint
from seatrial.verdicts import counted
from seatrial.world import CLOCK_EPOCH
from tumblehome.bench import pulled

BLANK = 0xFF
CODES = {"B": "u1", "H": "<u2", "h": "<i2", "I": "<u4", "i": "<i4"}  # of `struct`, as numpy has them
VERSIONS_MAX = 32  # a first byte above it is not a version that was ever thought of
MOSTLY = 0.8


class LogError(Exception):
    """What was named is no journal that can be read. The text is one sentence with the way out."""


@dataclass(frozen=True)
class Layout:
    """How the records of one version lie in a slot: their fields, and where their CRC-16 stands."""

    fields: np.dtype
    crc_at: int


def _layout(fields: tuple[str, ...], crc_at: int) -> Layout:
    columns = [(name, CODES[code]) for name, code in zip(fields[::2], fields[1::2], strict=True)]
    return Layout(np.dtype([*columns, ("crc", "<u2")]), crc_at)


LAYOUTS = {1: _layout(journal.FIELDS, journal.CRC_AT)}


@dataclass(frozen=True)
class Unread:
    """What is not in the columns: counts of slots or records, and bytes behind the last whole slot."""

    bad: int = 0  # slots with something that is no whole record
    first_bad: int | None = None  # the slot of the first
    torn: tuple[int, ...] = ()  # those of the bad slots that are written up to some byte and blank behind it
    newer: int = 0  # slots of a version that this tool does not know
    missing: int = 0  # numbers between the first record and the last that no record has
    twice: int = 0  # records whose number was there already
    tail_bytes: int = 0

    def sentences(self) -> list[str]:
        """Each of them in words."""
        said = []
        if self.bad:
            said.append("no whole record in %s (the first: slot %d): power failed there, or the memory is worn out" % (
                counted(self.bad, "slot"), self.first_bad or 0))
        if self.newer:
            said.append("left out: %s of a newer version of the journal; bring this tool up to date" % counted(
                self.newer, "slot"))
        if self.missing:
            said.append("%s missing between the first and the last: not stored, damaged, or gone over by newer ones"
                        % counted(self.missing, "record"))
        if self.twice:
            said.append("%s there twice; the first of each counts" % counted(self.twice, "record"))
        if self.tail_bytes:
            said.append("%s left behind the last whole slot: the file was cut off" % counted(self.tail_bytes, "byte"))
        return said


@dataclass(frozen=True)
class Log:
    """Whole records in the order of their numbers.

    `records` is a structured array with the fields of `lander.journal.FIELDS`, in the units of their names; `slot` is
    where each record lies. `chip` is the controller's number where the pull has told it.
    """

    source: str
    records: NDArray[np.void]
    slot: NDArray[np.int64]
    unread: Unread
    slots: int
    chip: str | None = None

    @cached_property
    def mission_s(self) -> NDArray[np.float64]:
        """Mission time of each record, seconds; it goes on over resets."""
        return self.records["mission_ds"] / 10.0

    @cached_property
    def true_s(self) -> NDArray[np.float64]:
        """True seconds of each record as well as they can be told, from the mission time of the first on: within one
        start of the controller its own count, from start to start the real-time clock where it is trusted."""
        rows, mission_s = self.records, self.mission_s
        ahead, last = np.zeros(len(rows)), None
        base: float | None = None
        for boot in dict.fromkeys(rows["boot"].tolist()):
            of_it = rows["boot"] == boot
            trusted = of_it & (rows["clock_s"] > 0)
            if trusted.any():
                last = float(np.median(rows["clock_s"][trusted] - mission_s[trusted]))
                base = last if base is None else base
            if last is not None and base is not None:
                ahead[of_it] = last - base
        return np.maximum.accumulate(mission_s + ahead)

    @cached_property
    def is_reading(self) -> NDArray[np.bool_]:
        """Which records are only readings."""
        return self.records["kind"] == journal.READING

    def told(self) -> Iterator[tuple[int, dict[str, int]]]:
        """The records that are more than a reading, each with its place."""
        for at in np.flatnonzero(~self.is_reading):
            yield int(at), self.fields(int(at))

    def fields(self, at: int) -> dict[str, int]:
        """The fields of one record by name."""
        row = self.records[at]
        return {name: int(row[name]) for name in journal.NAMES}

    def dives(self) -> list["Log"]:
        """The log of each dive (of each arming), in order; records before the first arming are dive 0."""
        return [self.part(self.records["dive"] == number) for number in np.unique(self.records["dive"])]

    def until_dive(self, number: int) -> "Log":
        """All records up to and with those of one dive."""
        return self.part(self.records["dive"] <= number)

    def part(self, chosen: NDArray[np.bool_]) -> "Log":
        """The log of these records alone."""
        return Log(self.source, self.records[chosen], self.slot[chosen], self.unread, self.slots, self.chip)

    @cached_property
    def splash_s(self) -> float | None:
        """Mission time when the descent began, of the newest record that tells it; None when none does."""
        begun = self.records["descent_ds"][self.records["descent_ds"] >= 0]
        return float(begun[-1]) / 10.0 if len(begun) else None

    @property
    def has_clock(self) -> bool:
        """Whether some record has a trusted real-time clock."""
        return self._clocks is not None

    @cached_property
    def _clocks(self) -> tuple[NDArray[np.float64], NDArray[np.float64]] | None:
        """For each start of the controller that a trusted clock has told: mission time from which it counts, and how
        far the clock was ahead of it. A start counts until the next one of them; the first one backwards as well."""
        boot = self.records["boot"]
        begins = np.flatnonzero(np.concatenate(([True], boot[1:] != boot[:-1]))) if len(boot) else np.array([], int)
        from_s, ahead_s = [], []
        for begin, end in zip(begins, [*begins[1:], len(boot)], strict=True):
            trusted = self.records["clock_s"][begin:end] > 0
            if trusted.any():
                from_s.append(float(self.mission_s[begin]))
                ahead_s.append(_ahead_s(self.records[begin:end][trusted], self.mission_s[begin:end][trusted]))
        return (np.array(from_s), np.array(ahead_s)) if from_s else None

    def clock_s_at(self, mission_s: NDArray[np.float64]) -> NDArray[np.float64]:
        """The real-time clock (of its epoch) at these mission times, not a number where no clock was trusted.

        Each start of the controller has an offset of its own: after a reset mission time goes on by whole seconds of
        the clock, and has moved against it by up to one.
        """
        if self._clocks is None:
            return np.full(np.shape(mission_s), np.nan)
        from_s, ahead_s = self._clocks
        return mission_s + ahead_s[np.maximum(np.searchsorted(from_s, mission_s, "right") - 1, 0)]

    def utc(self, mission_s: float) -> datetime | None:
        """The moment of a mission time in UTC; None where no clock was trusted."""
        if self._clocks is None:
            return None
        from_s, ahead_s = self._clocks
        ahead = float(ahead_s[0 if len(from_s) == 1 else max(bisect_right(from_s, mission_s) - 1, 0)])
        return CLOCK_EPOCH + timedelta(seconds=mission_s + ahead)

    def mission_s_at(self, moment: datetime) -> float | None:
        """The mission time of a moment in UTC; None where no clock was trusted."""
        if self._clocks is None:
            return None
        from_s, ahead_s = self._clocks
        clock_s = (moment - CLOCK_EPOCH).total_seconds()
        begun = np.searchsorted(np.maximum.accumulate(from_s + ahead_s), clock_s, "right")
        return clock_s - float(ahead_s[max(int(begun) - 1, 0)])


def _ahead_s(records: NDArray[np.void], mission_s: NDArray[np.float64]) -> float:
    """How far the clock is ahead of mission time; it shows whole seconds, and has half a second more on average."""
    return float(np.median(records["clock_s"] - mission_s)) + 0.5


def read(path: Path) -> Log:
    """The journal in this file, or in this folder of a pull or a rehearsal. Raises LogError."""
    try:
        image = pulled.read(path)
    except OSError as error:
        raise LogError("%s cannot be read: %s; name a journal.bin, or the folder it is in" % (
            path, complaint(error))) from None
    return parse(image, str(path), pulled.chip_of(path))


def parse(image: bytes, source: str, chip: str | None = None) -> Log:
    """The records of an image of the journal's memory. Raises LogError where there is not one whole record."""
    count = len(image) // RECORD_BYTES
    if not image:
        raise LogError("%s is empty: pull the journal again, by `tumblehome bench journal pull`" % source)
    slots = np.frombuffer(image, np.uint8, count * RECORD_BYTES).reshape(count, RECORD_BYTES)
    written = np.flatnonzero((slots != BLANK).any(axis=1))
    version = slots[written, 0]
    good = np.zeros(len(written), bool)
    for number, layout in LAYOUTS.items():
        of_it = np.flatnonzero(version == number)
        good[of_it] = [_fits(image, int(slot) * RECORD_BYTES, layout) for slot in written[of_it]]
    if not good.any():
        raise LogError(_why_none(source, len(image), count, version))
    newer = ~good & (version > max(LAYOUTS)) & (version <= VERSIONS_MAX)
    bad = written[~good & ~newer]
    rows = _rows(slots, written[good])
    order = np.argsort(rows["sequence"], kind="stable")
    rows, where = rows[order], written[good][order]
    first = np.concatenate(([True], rows["sequence"][1:] != rows["sequence"][:-1]))
    numbers = rows["sequence"][first].astype(np.int64)
    return Log(source, rows[first], where[first], Unread(
        bad=len(bad), first_bad=int(bad[0]) if len(bad) else None, torn=_torn(slots, bad), newer=int(newer.sum()),
        missing=int(numbers[-1] - numbers[0]) + 1 - len(numbers), twice=int((~first).sum()),
        tail_bytes=len(image) % RECORD_BYTES), count, chip)


def _fits(image: bytes, at: int, layout: Layout) -> bool:
    end = at + layout.crc_at
    return binascii.crc_hqx(image[at:end], 0xFFFF) == int.from_bytes(image[end:end + 2], "little")


def _torn(slots: NDArray[np.uint8], bad: NDArray[np.int64]) -> tuple[int, ...]:
    """Those of these slots in which the writing stopped: their checksum is still blank, and what comes before it is
    not all that a record holds."""
    end = LAYOUTS[max(LAYOUTS)].crc_at
    return tuple(int(slot) for slot in bad if (slots[slot, end:end + 2] == BLANK).all())


def _rows(slots: NDArray[np.uint8], chosen: NDArray[np.int64]) -> NDArray[np.void]:
    """The chosen slots as records; all in the newest layout."""
    layout = LAYOUTS[max(LAYOUTS)]
    return np.ascontiguousarray(slots[chosen, :layout.fields.itemsize]).view(layout.fields).reshape(-1)


def _why_none(source: str, size: int, count: int, version: NDArray[np.uint8]) -> str:
    if count and not len(version):
        return "%s has no record: its %d slots are all blank; was the journal cleared, or was it never armed?" % (
            source, count)
    if len(version):
        values, counts = np.unique(version, return_counts=True)
        most = int(values[counts.argmax()])
        if counts.max() >= MOSTLY * len(version) and max(LAYOUTS) < most <= VERSIONS_MAX:
            return ("%s is of version %d of the journal; this tool reads up to version %d: bring it up to date"
                    % (source, most, max(LAYOUTS)))
    return ("%s is no journal: none of its %d bytes make a record of %d whose checksum fits; name a journal.bin, or the"
            " folder that `tumblehome bench journal pull` has written" % (source, size, RECORD_BYTES))
