"""A sequence: steps that are done with a controller on the bench, in order, and what must be seen of it.

A sequence is TOML. What each step does is the one key of `KINDS` that it has; readings, their names and ranges are
those of `lander.signals`. Those that come with the tool lie in the folder `sequences` beside this file. A sequence
runs `on = "session"`, where the host plays the lander and lets the controller's mission step, or `on = "board"`, with
the board's own sensors and circuits.
"""

import tomllib
from difflib import get_close_matches
from pathlib import Path
from typing import Any, ClassVar, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator, model_validator

from lander.signals import INPUTS, OUTPUTS
from lander.table import STATES
from lander.words import COMMANDS, REFUSALS
from seatrial.complaints import complaint
from seatrial.deeds import parse as parse_fault
from seatrial.faults import FaultError
from seatrial.on_deck import TOUCHES
from seatrial.staged import RANGES, check_reading
from seatrial.world import NOT_WRITTEN, OPEN, SHORTED, SOUND, WRITTEN
from tumblehome.wording import CAUTIONS

LIBRARY = Path(__file__).with_name("sequences")
BYTES_MAX = 1_000_000
STEPS_MAX = 1000
LONGEST_S = 30 * 86400.0
SPEED_MAX = 1e6
AS_FAST_AS_IT_ANSWERS = 0.0

# Complaints of the models in plainer words.
PLAIN = {"extra_forbidden": "is not known here: leave it out", "missing": "is missing: add it"}
COMMAND_NUMBERS = {word: number for number, word in COMMANDS.items() if number}
CIRCUIT_WORDS = {"untested": 0, "sound": SOUND, "open": OPEN, "shorted": SHORTED}
# Words that stand for a value of a reading or an output.
WORDS: dict[str, dict[str, int]] = {
    "state": {word: number for number, word in enumerate(STATES)},
    "refused": {words: number for number, words in REFUSALS.items()},
    "primary_circuit": CIRCUIT_WORDS,
    "backup_circuit": CIRCUIT_WORDS,
    "channels": {"in place": 0, "swapped": 1},
    "store_test": {"untested": 0, "written": WRITTEN, "failed": NOT_WRITTEN},
}
# What was measured of the circuit that was poked last; `more_ma` is what it drew above the rest.
POKED = ("supply_mv", "supply_ma", "peak_ma", "rest_ma", "camera_ma", "more_ma")
SEEN = (*(row[0] for row in INPUTS), *(row[0] for row in OUTPUTS), *("poked_" + name for name in POKED), "faults",
        "channels")
POKE_LONGEST_S = 10.0  # but for the camera, which starts slowly
# Circuits that can be poked, and the largest level of each.
CIRCUITS = {"camera_supply": 1, "power_button": 1, "record_button": 1, "lights": 100, "fan": 1, "beacon": 1,
            "status": 1, "surface_supply": 1, "heartbeat": 1, "camera": 1}


class SequenceError(Exception):
    """A sequence that cannot be run. `sentences` says all that is wrong with it, each with the way out."""

    def __init__(self, *sentences: str) -> None:
        super().__init__("\n".join(sentences))
        self.sentences = list(sentences)


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class Limits(_Strict):
    """Between what a value must lie; `steady` is how far it may wander while it is held for a time.

    `plan` names a key of the plan, such as "fan.current_ma"; the value is `times` that, to within `within_pct` of it.
    """

    least: int | None = None
    most: int | None = None
    about: int | None = None
    within: int | None = Field(default=None, ge=0)
    plan: str | None = None
    times: float = Field(default=1.0, gt=0.0, le=1000.0)
    within_pct: float | None = Field(default=None, gt=0.0, le=100.0)
    steady: int | None = Field(default=None, ge=0)

    @model_validator(mode="after")
    def _whole(self) -> "Limits":
        if (self.about is None) != (self.within is None):
            raise ValueError("about and within go together: give both")
        if (self.plan is None) != (self.within_pct is None):
            raise ValueError("plan and within_pct go together: give both")
        if all(one is None for one in (self.least, self.most, self.about, self.plan, self.steady)):
            raise ValueError("nothing is wanted: give least, most, about with within, plan with within_pct, or steady")
        return self

    def by(self, plan) -> "Limits":
        """The same with the plan's number in it. Raises SequenceError where the plan has no such number."""
        if self.plan is None or self.within_pct is None:
            return self
        wanted = self.times * _number_of(plan, self.plan)
        return Limits(least=self.least, most=self.most, about=round(wanted), steady=self.steady,
                      within=round(abs(wanted) * self.within_pct / 100.0))

    def bounds(self) -> tuple[float, float]:
        """Smallest and largest value that is allowed."""
        lows = [float("-inf") if self.least is None else self.least]
        highs = [float("inf") if self.most is None else self.most]
        if self.about is not None and self.within is not None:
            lows.append(self.about - self.within)
            highs.append(self.about + self.within)
        return max(lows), min(highs)

    def __str__(self) -> str:
        parts = []
        if self.plan is not None:
            times = "" if self.times == 1.0 else "%g times " % self.times
            parts.append("%s%s of the plan to within %g %%" % (times, self.plan, self.within_pct or 0.0))
        if self.about is not None:
            parts.append("%d to within %d" % (self.about, self.within or 0))
        if self.least is not None:
            parts.append("at least %d" % self.least)
        if self.most is not None:
            parts.append("at most %d" % self.most)
        if self.steady is not None:
            parts.append("steady to within %d" % self.steady)
        return ", ".join(parts)


Wanted = int | str | Limits  # a number, a word that stands for one, or limits


class Step(_Strict):
    """What all steps have in common. `sessions`, `boards`: where it can be done; `in_dive`: also while a dive runs."""

    sessions: ClassVar[bool] = True
    boards: ClassVar[bool] = True
    in_dive: ClassVar[bool] = False


class Note(Step):
    """Something to read, nothing is done."""

    in_dive = True
    note: str = Field(min_length=1, max_length=400)

    def words(self) -> str:
        return self.note


class Set(Step):
    """Readings that the controller is told from now on; `over_s` takes them there in a straight line."""

    boards = False
    set: dict[str, int] = Field(min_length=1)
    over_s: float = Field(default=0.0, ge=0.0, le=LONGEST_S)

    @field_validator("set", mode="before")
    @classmethod
    def _numbers(cls, given: Any) -> Any:
        return {name: _value(name, value) for name, value in given.items()} if isinstance(given, dict) else given

    @field_validator("set")
    @classmethod
    def _known(cls, given: dict[str, int]) -> dict[str, int]:
        for name, value in given.items():
            if name not in RANGES:
                raise ValueError("%s is no reading that can be set: %s" % (name[:40], _near(name, RANGES)))
            check_reading(name, value)
        return given

    def words(self) -> str:
        over = " over %g s" % self.over_s if self.over_s else ""
        return "set %s%s" % (", ".join("%s %s" % (name, shown(name, value)) for name, value in self.set.items()), over)


class LetGo(Step):
    """Readings are those of the simulated lander again."""

    boards = False
    let_go: Literal[True]

    def words(self) -> str:
        return "let go of all readings"


class Break(Step):
    """A fault begins now, as the faults of a dive are written: `fault = "camera-crashed"`."""

    boards = False
    in_dive = True
    fault: str

    @field_validator("fault")
    @classmethod
    def _written(cls, given: str) -> str:
        return _fault(given)

    def words(self) -> str:
        return "fault %s" % self.fault


class Sea(Step):
    """A whole dive of the plan begins: from here on the simulator's sea moves the readings; faults come as written."""

    boards = False
    faults: tuple[str, ...] = Field(default=(), strict=False)
    seed: int = Field(default=1, ge=0, le=2**32 - 1)
    sea: Literal[True]

    @field_validator("faults")
    @classmethod
    def _written(cls, given: tuple[str, ...]) -> tuple[str, ...]:
        return tuple(map(_fault, given))

    def words(self) -> str:
        return "dive of the plan, seed %d%s" % (self.seed, "".join(", " + fault for fault in self.faults))


class Home(Step):
    """The dive runs to its end; the lander must be home, and all laws kept."""

    boards = False
    in_dive = True
    home: Literal[True]

    def words(self) -> str:
        return "the dive to its end: home, and within its laws"


class Wait(Step):
    """Let time pass."""

    in_dive = True
    wait_s: float = Field(gt=0.0, le=LONGEST_S)

    def words(self) -> str:
        return "wait %g s" % self.wait_s


class Command(Step):
    """A command on the line: arm, disarm, ready-primary, ready-backup, fire, arm-anyway."""

    command: str

    @field_validator("command")
    @classmethod
    def _known(cls, given: str) -> str:
        if given not in COMMAND_NUMBERS:
            raise ValueError("%s is no command: %s" % (given[:40], _near(given, COMMAND_NUMBERS)))
        return given

    def words(self) -> str:
        return "command %s" % self.command


class Magnet(Step):
    """The magnet is held to the housing for a time."""

    in_dive = True
    magnet_s: float = Field(gt=0.0, le=600.0)

    def words(self) -> str:
        return "magnet at the housing for %g s" % self.magnet_s


class PowerOff(Step):
    """The supply is switched off for a time: simulated, by a relay, or by hand."""

    in_dive = True
    power_off_s: float = Field(gt=0.0, le=86400.0)

    def words(self) -> str:
        return "supply off for %g s" % self.power_off_s


class Expect(Step):
    """What must be seen, within a time, and then for a time."""

    in_dive = True
    expect: dict[str, Wanted] = Field(min_length=1)
    within_s: float = Field(default=0.0, ge=0.0, le=LONGEST_S)
    for_s: float = Field(default=0.0, ge=0.0, le=LONGEST_S)

    @field_validator("expect")
    @classmethod
    def _known(cls, given: dict[str, Wanted]) -> dict[str, Wanted]:
        for name, wanted in given.items():
            if name not in SEEN:
                raise ValueError("%s is nothing that can be seen: %s" % (name[:40], _near(name, SEEN)))
            if isinstance(wanted, str):
                _value(name, wanted)
        return given

    @model_validator(mode="after")
    def _held(self) -> "Expect":
        if not self.for_s and any(isinstance(one, Limits) and one.steady is not None for one in self.expect.values()):
            raise ValueError("steady needs a time to be steady for: add for_s")
        return self

    def limits(self, plan) -> dict[str, Limits]:
        """The limits of all that must be seen, with the plan's numbers."""
        return {name: limits_of(name, one).by(plan) for name, one in self.expect.items()}

    def words(self) -> str:
        wanted = ", ".join("%s %s" % (name, one) for name, one in self.expect.items())
        return "expect %s%s%s" % (wanted, " within %g s" % self.within_s if self.within_s else "",
                                  " for %g s" % self.for_s if self.for_s else "")


class Poke(Step):
    """One circuit on for a time, measured meanwhile; what was measured stands in `poked_*` afterwards."""

    sessions = False
    poke: str
    level: int = Field(default=1, ge=1, le=100)
    for_s: float = Field(default=1.0, ge=0.05, le=60.0)

    @model_validator(mode="after")
    def _known(self) -> "Poke":
        if self.poke not in CIRCUITS:
            raise ValueError("%s is no circuit that can be poked: %s" % (self.poke[:40], _near(self.poke, CIRCUITS)))
        if self.level > CIRCUITS[self.poke]:
            raise ValueError("level of %s is %d; allowed is 1 to %d" % (self.poke, self.level, CIRCUITS[self.poke]))
        if self.poke != "camera" and self.for_s > POKE_LONGEST_S:
            raise ValueError("for_s of %s is %g; allowed is 0.05 to %g" % (self.poke, self.for_s, POKE_LONGEST_S))
        return self

    def words(self) -> str:
        level = " at %d %%" % self.level if CIRCUITS[self.poke] > 1 else ""
        return "%s on%s for %g s" % (self.poke, level, self.for_s)


class Trickle(Step):
    """Both release circuits are tested by a trickle; seen then: `primary_circuit`, `backup_circuit`, `channels`."""

    sessions = False
    trickle: Literal[True]

    def words(self) -> str:
        return "trickle through both release circuits"


class Person(Step):
    """Something that a person does; `touch` is the same on a practice board, which needs nobody."""

    sessions = False
    person: str = Field(min_length=1, max_length=400)
    touch: dict[str, int] = {}
    over_s: float = Field(default=0.0, ge=0.0, le=86400.0)

    @field_validator("touch")
    @classmethod
    def _known(cls, given: dict[str, int]) -> dict[str, int]:
        for name in given:
            if name not in TOUCHES:
                raise ValueError("nobody can touch %s: %s" % (name[:40], _near(name, TOUCHES)))
        return given

    def words(self) -> str:
        return self.person


class Ask(Step):
    """A question to the person; yes is what goes on."""

    sessions = False
    ask: str = Field(min_length=1, max_length=400)

    def words(self) -> str:
        return self.ask


KINDS: dict[str, type[Step]] = {
    "note": Note, "set": Set, "let_go": LetGo, "fault": Break, "sea": Sea, "home": Home, "wait_s": Wait,
    "command": Command, "magnet_s": Magnet, "power_off_s": PowerOff, "expect": Expect, "poke": Poke,
    "trickle": Trickle, "person": Person, "ask": Ask,
}
BY_PEOPLE = (Magnet, PowerOff, Person, Ask)  # who is at a terminal is asked something there
SESSION, BOARD = "session", "board"


class Sequence(_Strict):
    """A sequence as it was read. `plan` is the path of the plan that it wants, from the file's folder; "": the sample.

    `changes` are keys of the plan with other values. `by_plan` names who makes the steps where a plan is given; those
    in the file are for the sample. `speed` is mission seconds in a second, 0: as fast as the
    controller answers; on a real board that flies by itself time goes as it goes. `cautions` are names of
    `wording.CAUTIONS`.
    """

    name: str = Field(pattern=r"^[a-z0-9][a-z0-9-]{0,59}$")
    about: str = Field(min_length=1, max_length=1000)
    on: Literal["session", "board"]
    plan: str = ""
    changes: dict[str, Any] = {}
    by_plan: Literal["", "chamber"] = ""
    speed: float = Field(default=AS_FAST_AS_IT_ANSWERS, ge=0.0, le=SPEED_MAX)
    cautions: tuple[str, ...] = Field(default=(), strict=False)
    steps: tuple[Any, ...] = Field(min_length=1, max_length=STEPS_MAX, strict=False)
    folder: Path = Path()

    @field_validator("cautions")
    @classmethod
    def _known(cls, given: tuple[str, ...]) -> tuple[str, ...]:
        for name in given:
            if name not in CAUTIONS:
                raise ValueError("%s is no caution: %s" % (name[:40], _near(name, CAUTIONS)))
        return given

    @model_validator(mode="after")
    def _in_place(self) -> "Sequence":
        at_sea = False
        for number, step in enumerate(self.steps, 1):
            if not (step.sessions if self.on == SESSION else step.boards):
                raise ValueError("step %d cannot be done on = \"%s\": %s" % (number, self.on, step.words()))
            if at_sea and not step.in_dive:
                raise ValueError("step %d cannot be done in a dive: %s" % (number, step.words()))
            if isinstance(step, Home) and not at_sea:
                raise ValueError("step %d: there is no dive to end: begin one by sea = true" % number)
            at_sea = (at_sea or isinstance(step, Sea)) and not isinstance(step, Home)
        return self

    def plan_file(self) -> Path | None:
        """The plan that it wants; None is the sample."""
        return self.folder / self.plan if self.plan else None


def load(named: str) -> Sequence:
    """The sequence of this name in the library, or of this file. Raises SequenceError."""
    path = LIBRARY / (named + ".toml")
    if "/" in named or "\\" in named or not path.is_file():
        path = Path(named)
        if not path.is_file():
            raise SequenceError("%s is neither a file nor a sequence of the library: %s; `tumblehome bench run --list`"
                                " shows them all" % (named[:80], _near(named, names())))
    try:
        data = path.read_bytes()
    except OSError as error:
        raise SequenceError("%s cannot be read (%s): name another file" % (path, complaint(error))) from None
    if len(data) > BYTES_MAX:
        raise SequenceError("%s is longer than %d bytes: name a sequence" % (path, BYTES_MAX))
    try:
        told = tomllib.loads(data.decode("utf-8"))
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise SequenceError("%s is no TOML (%s): correct it" % (path, error)) from None
    return parse(told, path)


def parse(told: dict[str, Any], path: Path = Path("sequence.toml")) -> Sequence:
    """The sequence of these tables; `path` is where they came from. Raises SequenceError with all that is wrong."""
    listed = told.get("step")
    if not isinstance(listed, list) or not listed:
        raise SequenceError("%s has no steps: write each as a table [[step]]" % path)
    sentences: list[str] = []
    steps = [_step(one, "%s, step %d" % (path, number), sentences) for number, one in enumerate(listed, 1)]
    if sentences:
        raise SequenceError(*sentences)
    rest = {key: value for key, value in told.items() if key != "step"}
    for key in {"steps", "folder"} & set(rest):
        raise SequenceError("%s: %s is not known: leave it out" % (path, key))
    try:
        return Sequence(**rest, steps=tuple(steps), folder=path.parent)
    except ValidationError as error:
        raise SequenceError(*("%s: %s" % (path, _sentence(one)) for one in error.errors())) from None


def names() -> list[str]:
    """The sequences of the library, in order."""
    return sorted(path.stem for path in LIBRARY.glob("*.toml"))


def shown(name: str, value: float) -> str:
    """A value for a person: the word that stands for it, or the number."""
    return next((word for word, number in WORDS.get(name, {}).items() if number == value), "%g" % value)


def limits_of(name: str, wanted: Wanted) -> Limits:
    """What is wanted of a value, as limits. Raises ValueError for a word that stands for nothing there."""
    return wanted if isinstance(wanted, Limits) else Limits(about=_value(name, wanted), within=0)


def check_plan(sequence: Sequence, plan) -> None:
    """Raises SequenceError where the plan lacks a number that the sequence compares with."""
    for step in sequence.steps:
        if isinstance(step, Expect):
            step.limits(plan)


def _number_of(plan, key: str) -> float:
    found = plan
    for name in key.split("."):
        found = getattr(found, name, None)
    if isinstance(found, bool) or not isinstance(found, int | float):
        raise SequenceError("%s is no number of the plan: name a key as in the plan file, such as fan.current_ma"
                            % key[:60])
    return float(found)


def _step(told: Any, place: str, sentences: list[str]) -> Step | None:
    if not isinstance(told, dict):
        sentences.append("%s is no table: write it as [[step]]" % place)
        return None
    kinds = [key for key in told if key in KINDS]
    if len(kinds) != 1:
        sentences.append("%s does %s; a step has exactly one of %s" % (
            place, " and ".join(kinds) if kinds else "nothing that is known", ", ".join(KINDS)))
        return None
    try:
        return KINDS[kinds[0]](**told)
    except ValidationError as error:
        sentences += ["%s: %s" % (place, _sentence(one)) for one in error.errors()]
    return None


def _sentence(error: Any) -> str:
    where = ".".join(str(part) for part in error["loc"] if part not in ("int", "str", "Limits"))
    said = error["msg"].removeprefix("Value error, ")
    said = PLAIN.get(error["type"], said)
    return "%s: %s" % (where, said) if where else said


def _value(name: str, value: Any) -> Any:
    """The number that a word stands for; a number stays as it is. Raises ValueError."""
    if not isinstance(value, str):
        return value
    words = WORDS.get(name, {})
    if value not in words:
        raise ValueError("%s is %r; allowed is %s" % (name, value[:60], " or ".join(words) if words else "a number"))
    return words[value]


def _fault(written: str) -> str:
    try:
        return str(parse_fault(written))
    except FaultError as error:
        raise ValueError(str(error)) from None


def _near(name: str, known: Any) -> str:
    near = get_close_matches(name, list(known), 1)
    return "did you mean %s?" % near[0] if near else "there are %s" % ", ".join(known)
