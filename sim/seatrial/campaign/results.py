"""The rows of a campaign on disk, in SQLite: they come chunk by chunk, and an interrupted campaign goes on.

One file holds one campaign, which stands in the table `campaign`: the file of another one is refused. A row is written
once; a second one of the same number, from a worker that was thought to be lost, is passed over.
"""

import json
import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import closing
from dataclasses import astuple, fields
from pathlib import Path

from lander import VERSION
from seatrial.campaign.choosing import Campaign, CampaignError, Planned, list_hash
from seatrial.campaign.flying import Row
from seatrial.plan import Plan
from seatrial.scenario import plan_hash

FORMAT = 1
BUSY_S = 10.0
COLUMNS = tuple(field.name for field in fields(Row))
LISTS = {name: COLUMNS.index(name) for name in ("faults", "never_began", "verdicts")}
TYPES: dict[object, str] = {int: "INTEGER", bool: "INTEGER", float: "REAL", float | None: "REAL"}
TABLES = """
CREATE TABLE campaign (key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
CREATE TABLE dive (%s);
CREATE TABLE cause (number INTEGER, harm TEXT, faults TEXT NOT NULL, PRIMARY KEY (number, harm)) WITHOUT ROWID;
""" % ", ".join("%s %s%s" % (field.name, TYPES.get(field.type, "TEXT"),
                             " PRIMARY KEY" if field.name == "number" else "") for field in fields(Row))
# What must be the same for a file to be gone on with, and what to say where it is not.
WORDS = {"format": "format", "version": "version of tumblehome", "plan_hash": "plan, by the hash of its numbers",
         "told": "campaign", "seed": "seed", "list_hash": "list of dives"}


def definition(campaign: Campaign, plan: Plan, planned: list[Planned]) -> dict[str, str]:
    """What makes this campaign this campaign."""
    return {"format": str(FORMAT), "version": VERSION, "plan_hash": plan_hash(plan), "told": campaign.told(),
            "seed": str(campaign.seed), "list_hash": list_hash(planned)}


class Results:
    """The file of one campaign, open for reading and writing; one process writes. Close it, or use it in a `with`."""

    def __init__(self, path: Path, wanted: dict[str, str]) -> None:
        """Makes the file or goes on with it. Raises CampaignError when it is of another campaign, or no such file."""
        self.path = path
        try:
            self._base = sqlite3.connect(path, timeout=BUSY_S, isolation_level=None)
            self._open(wanted)
        except sqlite3.Error as error:
            raise CampaignError("%s cannot be used (%s): name another folder with --out" % (path, error)) from None

    def _open(self, wanted: dict[str, str]) -> None:
        try:
            self._base.execute("PRAGMA journal_mode = WAL")
            self._base.execute("PRAGMA synchronous = NORMAL")
            tables = [name for name, in self._base.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
            if not tables:
                self._make(wanted)
                return
            if "campaign" not in tables or "dive" not in tables:
                raise CampaignError("%s holds something else than a campaign: name another folder with --out"
                                    % self.path)
            self._compare(wanted)
        except BaseException:
            self._base.close()
            raise

    def _make(self, wanted: dict[str, str]) -> None:
        self._base.executescript("BEGIN IMMEDIATE;" + TABLES)
        self._base.executemany("INSERT INTO campaign VALUES (?, ?)", wanted.items())
        self._base.execute("COMMIT")

    def _compare(self, wanted: dict[str, str]) -> None:
        held = dict(self._base.execute("SELECT key, value FROM campaign"))
        for key, words in WORDS.items():
            if held.get(key) != wanted[key]:
                raise CampaignError("%s is of another %s (%s; now it is %s): name another folder with --out, or go on"
                                    " as it was begun" % (self.path, words, held.get(key), wanted[key]))

    def __enter__(self) -> "Results":
        return self

    def __exit__(self, *_ignored) -> None:
        self.close()

    def close(self) -> None:
        """Closing folds the write-ahead log into the one file."""
        self._base.close()

    def done(self) -> set[int]:
        return {number for number, in self._base.execute("SELECT number FROM dive")}

    def add(self, rows: Iterable[Row]) -> None:
        """Keep these rows, all or none of them; a number that is there already stays as it is."""
        places = ", ".join("?" * len(COLUMNS))
        self._write("INSERT OR IGNORE INTO dive VALUES (%s)" % places, [_packed(row) for row in rows])

    def rows(self) -> Iterator[Row]:
        """All rows by their numbers."""
        with closing(self._base.execute("SELECT * FROM dive ORDER BY number")) as found:
            for values in found:
                yield _unpacked(values)

    def causes(self) -> dict[tuple[int, str], tuple[str, ...]]:
        """For a dive and a harm: the faults that are enough for it, as far as it has been worked out."""
        found = self._base.execute("SELECT number, harm, faults FROM cause")
        return {(number, harm): tuple(json.loads(faults)) for number, harm, faults in found}

    def add_causes(self, causes: dict[tuple[int, str], tuple[str, ...]]) -> None:
        self._write("INSERT OR IGNORE INTO cause VALUES (?, ?, ?)",
                    [(number, harm, json.dumps(faults)) for (number, harm), faults in causes.items()])

    def _write(self, statement: str, rows: list[tuple]) -> None:
        try:
            self._base.execute("BEGIN IMMEDIATE")
            try:
                self._base.executemany(statement, rows)
                self._base.execute("COMMIT")
            except BaseException:
                self._base.execute("ROLLBACK")
                raise
        except sqlite3.Error as error:
            raise CampaignError("%s cannot be written (%s): make room or close the other program, then run the same"
                                " command again" % (self.path, error)) from None


def _packed(row: Row) -> tuple:
    return tuple(json.dumps(value) if isinstance(value, tuple) else value for value in astuple(row))


def _unpacked(values: tuple) -> Row:
    told = list(values)
    for name, place in LISTS.items():
        told[place] = tuple(map(tuple, json.loads(told[place]))) if name == "verdicts" else tuple(
            json.loads(told[place]))
    for name in ("home", "possible"):
        told[COLUMNS.index(name)] = bool(told[COLUMNS.index(name)])
    return Row(*told)
