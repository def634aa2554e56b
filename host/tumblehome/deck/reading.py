"""Everything that the check on deck reads of a controller, in the order in which it is read.

Nothing moves in `read_at_rest`. `read_moving` lights the lamps for some seconds and sends the trickle through both
releases; it is called once the person has said that everybody is clear. What the controller refuses to do is kept with
its reason, so that the item which needed it can say why it was not judged.
"""

import hashlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

from lander import journal
from lander.table import ARMED
from seatrial.board_files import laid_out
from seatrial.bodies import BodyError, firmware_folder
from seatrial.plan import Plan
from seatrial.world import CLOCK_EPOCH
from tumblehome.bench.link import Link, LinkError, Refused, is_practice
from tumblehome.deck.watch import Watch
from tumblehome.firmware_files import BOARDS, MissingFile, digest_of, expected_digest, sources
from tumblehome.flashing import FlashError, compiled

REST_LOOKS = 12  # different steps of the mission at rest
LOOK_S = 1.0  # the mission steps about once a second on deck
LOOKS_STILL = 30  # so many before a pressure counts as standing still
LOOKS_MAX = 40
LIGHTS_MS = 3000
OFF_TIMES = 5  # later than so many times that, nobody believes that they went off
PAUSE_S = 0.25
CIRCUITS_S = 5.0
THERMOMETERS_S = 20.0  # DS18B20 and TMP117 have their first readings by then
USED_SLOTS_READ = 256  # a journal longer than this is not looked through: it is not empty anyway


@dataclass(frozen=True)
class ClockLook:
    """One reading of the controller's clock: when by this machine, what it said, and how long the answer took."""

    utc: datetime
    clock_s: int
    is_ok: bool
    took_s: float

    @property
    def shown(self) -> datetime:
        """What the controller's clock showed, UTC."""
        return CLOCK_EPOCH.replace(tzinfo=UTC) + timedelta(seconds=self.clock_s)

    @property
    def ahead_s(self) -> float:
        """How far it is ahead of this machine, s; it counts whole seconds, so half of one is added."""
        return (self.shown - self.utc).total_seconds() + 0.5


@dataclass
class Read:
    """What was read. None where it was not, and then `refused` has the controller's reason under the verb."""

    plan: Plan
    splash: datetime
    began: datetime
    greeting: dict[str, str] = field(default_factory=dict)
    status: dict[str, str] = field(default_factory=dict)
    record: bytes | None = None
    plan_copies: int = 0
    firmware_digest: str | None = None
    firmware_expected: str | None = None
    firmware_unknown: str = ""  # why it cannot be said here what is expected
    firmware_differs: tuple[str, ...] = ()
    journal: dict[str, int] = field(default_factory=dict)
    journal_newest_crc: str = ""
    journal_states: frozenset[int] | None = None
    rest: list[dict[str, int]] = field(default_factory=list)
    clocks: list[ClockLook] = field(default_factory=list)
    circuits: dict[str, int] | None = None
    lights: dict[str, int] | None = None
    lights_pct: int = 0
    answers: dict[str, bool | None] = field(default_factory=dict)
    refused: dict[str, str] = field(default_factory=dict)
    armed: dict[str, Any] | None = None  # what came of arming, see `arming`

    @property
    def last(self) -> dict[str, int]:
        """The newest readings at rest."""
        return self.rest[-1]

    @property
    def is_practice(self) -> bool:
        """It is a practice board and no lander."""
        return is_practice(self.greeting)

    def mean(self, name: str) -> float:
        """The mean of a reading at rest."""
        return sum(each[name] for each in self.rest) / len(self.rest)


class Reader:
    """Reads, and keeps `notes`: each request with its answer and when. Raises Gone and LinkError as the link does."""

    def __init__(self, link: Link, plan: Plan, splash: datetime, watch: Watch,
                 tell: Callable[[str], None] = lambda _said: None) -> None:
        self.link = link
        self.watch = watch
        self.notes: list[dict[str, Any]] = []
        self.read = Read(plan, splash, watch.utc())
        self._tell = tell

    # --- nothing moves ------------------------------------------------------------------------------------------------

    def read_at_rest(self) -> None:
        """Who it is, what is on it, what it measures; about fifteen seconds."""
        read = self.read
        read.greeting = self._noted("hello", {}, lambda: self.link.ask("hello"))
        read.status = self.status()
        self._tell("plan and firmware")
        self._read_plan()
        self._read_firmware()
        self._tell("journal")
        self._read_journal()
        self._tell("readings at rest, for about %.0f s" % (REST_LOOKS * LOOK_S))
        self._look_at_clock()
        self._read_rest()
        self._look_at_clock()

    def status(self) -> dict[str, str]:
        """What the mission does."""
        return self._noted("status", {}, self.link.status)

    def readings(self) -> dict[str, int]:
        """Inputs and outputs of the last step."""
        return self._noted("see", {}, self.link.readings)

    def ask(self, verb: str, **pairs) -> dict[str, str]:
        """A request that is noted."""
        return self._noted(verb, pairs, lambda: self.link.ask(verb, **pairs))

    def number(self, said: Mapping[str, str], key: str) -> int:
        """The integer under this key. Raises LinkError."""
        return self.link.number_in(dict(said), key)

    def _noted(self, verb: str, pairs: Mapping[str, Any], do: Callable[[], Any]) -> Any:
        note: dict[str, Any] = {"utc": stamp(self.watch.utc()), "verb": verb, "pairs": dict(pairs)}
        self.notes.append(note)
        try:
            said = do()
        except Refused as error:
            note["refused"] = error.reason
            raise
        note["answer"] = said.hex() if isinstance(said, bytes) else said
        return said

    def _read_plan(self) -> None:
        self.read.plan_copies = self.number(self.ask("plan"), "copies")
        self.read.record = self._noted("plan", {"at": "all"}, self.link.plan_record)

    def _read_firmware(self) -> None:
        read = self.read
        try:
            told = self.ask("files")
        except Refused as error:
            read.refused["files"] = error.reason
            return
        read.firmware_digest = told.get("digest", "")
        try:
            wanted = self._wanted_files()
        except (FlashError, MissingFile, BodyError) as error:
            read.firmware_unknown = str(error)
            return
        if not wanted:
            read.firmware_unknown = "nothing is known of a board called %s" % read.greeting.get("board")
            return
        digests = [expected_digest(files) for files in wanted]
        read.firmware_expected = read.firmware_digest if read.firmware_digest in digests else digests[0]
        if read.firmware_digest not in digests:
            read.firmware_differs = self._differing(wanted[0], self.number(told, "count"))

    def _wanted_files(self) -> list[dict[str, bytes]]:
        """The firmware as it may lie on this board: of a practice board, as flashed, or as sources."""
        if self.read.is_practice:
            return [laid_out()]
        board = self.read.greeting.get("board", "")
        if board not in BOARDS:
            return []
        folder = firmware_folder()
        plain = {there: (folder / here).read_bytes() for there, here in sources(folder, board).items()}
        return [compiled(board, folder), plain]

    def _differing(self, wanted: Mapping[str, bytes], count: int) -> tuple[str, ...]:
        """The files that are other ones, missing or too many."""
        there = {}
        for at in range(count):
            said = self.ask("files", at=at)
            there[said.get("name", "")] = said.get("digest", "")
        here = {name: digest_of(data) for name, data in wanted.items()}
        return tuple(sorted(name for name in {*there, *here} if there.get(name) != here.get(name)))

    def _read_journal(self) -> None:
        read = self.read
        told = self.ask("journal")
        read.journal = {key: self.number(told, key) for key in ("slots", "next", "free", "bad", "newest")}
        read.journal_newest_crc = told.get("crc", "")
        if 0 < read.journal["next"] <= USED_SLOTS_READ:
            records = self._noted("slot", {"at": "all"}, lambda: b"".join(self.link.journal()))
            read.journal_states = frozenset(states_in(records))

    def _look_at_clock(self) -> None:
        before = self.watch.utc()
        said = self.ask("clock")
        after = self.watch.utc()
        self.read.clocks.append(ClockLook(before + (after - before) / 2, self.number(said, "s"),
                                          self.number(said, "ok") == 1, (after - before).total_seconds()))

    def _read_rest(self) -> None:
        """Readings of several steps, until the slow thermometers have had their time too."""
        rest, begun = self.read.rest, self.watch.utc()
        for _ in range(LOOKS_MAX):
            seen = self.readings()
            if not rest or seen["uptime_ds"] != rest[-1]["uptime_ds"]:
                rest.append(seen)
            warm = all(seen[name] for name in ("camera_temp_ok", "housing_temp_ok", "water_temp_ok"))
            is_long = (self.watch.utc() - begun).total_seconds() >= THERMOMETERS_S
            has_moved = len(rest) >= LOOKS_STILL or not stands_still(self.read)
            if len(rest) >= REST_LOOKS and (warm or is_long) and has_moved:
                return
            self.watch.wait(LOOK_S)

    # --- something moves ----------------------------------------------------------------------------------------------

    def read_moving(self) -> None:
        """A trickle through both releases, then the lamps on for some seconds at the level of the plan."""
        self._tell("release circuits")
        self._try("circuits", self._read_circuits)
        level = max(1, round(self.read.plan.lights.level_pct))
        self._tell("lamps on for %d s" % (LIGHTS_MS // 1000))
        self.link.so_far = "the lamps may be on: they go off by themselves within %d s; nothing else was changed" % (
            LIGHTS_MS // 1000)
        self._try("poke", lambda: self._read_lights(level))
        self.link.so_far = "nothing was changed, and the lander is not armed"

    def _try(self, verb: str, do: Callable[[], None]) -> None:
        try:
            do()
        except Refused as error:
            self.read.refused[verb] = error.reason

    def _read_circuits(self) -> None:
        end = self.watch.utc() + timedelta(seconds=CIRCUITS_S)
        while True:
            said = self.ask("circuits")
            found = {key: self.number(said, key) for key in ("primary", "backup", "primary_mv", "backup_mv")}
            if found["primary"] and found["backup"]:
                break
            if self.watch.utc() > end:
                break
            self.watch.wait(PAUSE_S)
        self.read.circuits = found

    def _read_lights(self, level: int) -> None:
        self.ask("poke", output="lights", level=level, ms=LIGHTS_MS)
        end = self.watch.utc() + timedelta(milliseconds=OFF_TIMES * LIGHTS_MS)
        while True:
            self.watch.wait(PAUSE_S)
            said = self.ask("poked")
            found = {key: self.number(said, key) for key in
                     ("level", "left_ms", "supply_mv", "supply_ma", "peak_ma", "rest_ma", "camera_ma")}
            if not found["left_ms"]:
                break
            if self.watch.utc() > end:
                raise LinkError("the lamps were to go off after %d s and the controller does not say that they have:"
                                " look at them, and take the power away if they are lit" % (LIGHTS_MS // 1000))
        self.read.lights, self.read.lights_pct = found, level


def stands_still(read: Read) -> bool:
    """The pressure has not moved by anything."""
    return len({seen["pressure_mbar"] for seen in read.rest}) == 1


def states_in(records: bytes) -> set[int]:
    """The states that records of the journal tell of."""
    return {journal.fields(records[at:at + journal.RECORD_BYTES])["state"]
            for at in range(0, len(records), journal.RECORD_BYTES)}


def is_of_a_dive(states: frozenset[int]) -> bool:
    """Whether a journal with these states has more in it than a lander that stood on deck."""
    return any(state > ARMED for state in states)


def stamp(moment: datetime) -> str:
    """A moment as it stands in the record: UTC, to a thousandth."""
    return moment.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def sha256(data: bytes) -> str:
    """SHA-256 in hexadecimal."""
    return hashlib.sha256(data).hexdigest()
