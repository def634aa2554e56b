"""A scenario: one dive with its faults, in a small file, to be run again on any body.

The file is TOML. Its first line is a comment with the command that does the dive again. It names the plan and carries
a hash of the plan's numbers, so that a dive is never replayed on another plan than the one it was found on. Where the
dive was found on a variant of that plan, the keys that were changed stand in it too.
"""

import hashlib
import json
import os
import shlex
import subprocess
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from lander import VERSION
from seatrial.complaints import complaint
from seatrial.deeds import parse
from seatrial.faults import Fault, FaultError
from seatrial.plan import Plan, load, load_sample
from seatrial.plan.changing import changed

FORMAT = 1
SEED_MAX = 2**32 - 1
BYTES_MAX = 1_000_000
# What a person may reword without the dive becoming another one.
NO_NUMBERS: Any = {"card": True, "dive": {"name"}}
KEYS = {"format": int, "version": str, "plan": str, "plan_hash": str, "seed": int, "faults": list, "found": str,
        "changes": dict}


class ScenarioError(Exception):
    """A scenario that cannot be read or does not fit; the sentence says what and the way out."""


@dataclass(frozen=True)
class Scenario:
    """A dive to be run again. `faults` are written as on the command line; `plan` is a path, or None for the sample.

    `changes` are keys of the plan with other values, as for `seatrial.plan.changing.changed`; the hash is that of the
    plan without them.
    """

    plan_hash: str
    seed: int = 1
    faults: tuple[str, ...] = ()
    plan: Path | None = None
    found: str = ""  # why it was kept: the law that it breaks, or the loss
    version: str = VERSION
    changes: dict[str, Any] = field(default_factory=dict, hash=False)

    def parsed(self) -> list[Fault]:
        """The faults. Raises FaultError with one sentence."""
        return [parse(text) for text in self.faults]

    def load_plan(self) -> Plan:
        """The plan with its changes, held against the hash. Raises PlanError, or ScenarioError when its numbers are
        others."""
        plan = load_sample() if self.plan is None else load(self.plan)
        found = plan_hash(plan)
        if found != self.plan_hash:
            raise ScenarioError(
                "plan_hash is %s, but the numbers of %s give %s: replay it on the plan it was found on, or find it anew"
                % (self.plan_hash, self.plan or "the sample", found))
        return changed(plan, self.changes)

    def command(self, file: Path = Path("scenario.toml")) -> str:
        """The command that does this dive again, quoted for a POSIX shell; `file` is where the scenario stands."""
        if self.changes:
            return scenario_command(file)
        return replay_command(self.plan, self.faults, self.seed)


def plan_hash(plan: Plan) -> str:
    """Sixteen hexadecimal digits of the SHA-256 of the plan's numbers; names, comments and the order do not count."""
    numbers = json.dumps(plan.model_dump(mode="json", exclude=NO_NUMBERS), sort_keys=True)
    return hashlib.sha256(numbers.encode()).hexdigest()[:16]


def in_shell(words: Sequence[str]) -> str:
    """A command as it is typed into the shell of this system."""
    return subprocess.list2cmdline(words) if os.name == "nt" else shlex.join(words)


def replay_command(plan: Path | None, faults, seed: int) -> str:
    """`tumblehome rehearse` for this dive, quoted for the shell."""
    words = ["tumblehome", "rehearse"]
    if plan is not None:
        words.append(os.path.join(".", plan) if str(plan).startswith("-") else str(plan))
    words += ["--seed", str(seed)]
    for fault in faults:
        words += ["--fault", str(fault)]
    return in_shell(words)


def scenario_command(file: Path) -> str:
    """`tumblehome rehearse` for the dive in this file, quoted for the shell."""
    return in_shell(["tumblehome", "rehearse", "--scenario", str(file)])


def write(scenario: Scenario, folder: Path = Path(), name: str = "scenario.toml") -> str:
    """The text of the file, for a file of this name in `folder`: the plan is named as seen from there."""
    plan = "" if scenario.plan is None else _seen_from(folder, scenario.plan)
    lines = ["# Replay: %s" % scenario.command(folder / name).replace("\n", " "), "format = %d" % FORMAT]
    lines += ["%s = %s" % (key, _quoted(text)) for key, text in (
        ("version", scenario.version), ("plan", plan), ("plan_hash", scenario.plan_hash), ("found", scenario.found))]
    lines.append("seed = %d" % scenario.seed)
    lines += ["faults = [", *("    %s," % _quoted(text) for text in scenario.faults), "]"]
    if scenario.changes:
        lines += ["", "[changes]", *("%s = %s" % (_quoted(key), _valued(value))
                                     for key, value in scenario.changes.items())]
    return "\n".join(lines) + "\n"


def _seen_from(folder: Path, plan: Path) -> str:
    try:
        return Path(os.path.relpath(plan, folder)).as_posix()
    except ValueError:  # another drive
        return plan.absolute().as_posix()


def _quoted(text: str) -> str:
    """A basic string of TOML: JSON escapes the same characters the same way, but for DEL; half characters become ?."""
    whole = text.encode("utf-8", "replace").decode("utf-8")
    return json.dumps(whole, ensure_ascii=False).replace("\x7f", "\\u007f")


def _valued(value: Any) -> str:
    """A value of a plan as TOML; a section becomes an inline table, without the keys that are left out."""
    if isinstance(value, dict):
        given = ("%s = %s" % (key, _valued(inner)) for key, inner in value.items() if inner is not None)
        return "{ %s }" % ", ".join(given)
    return _quoted(value) if isinstance(value, str) else json.dumps(value)


def read(path: Path) -> Scenario:
    """The scenario of this file. Raises ScenarioError with one sentence."""
    try:
        with path.open("rb") as file:
            data = file.read(BYTES_MAX + 1)
    except OSError as error:
        raise ScenarioError("scenario %s cannot be read (%s): name a file that exists"
                            % (path, complaint(error))) from None
    if len(data) > BYTES_MAX:
        raise ScenarioError("scenario %s is longer than %d bytes: name a scenario file" % (path, BYTES_MAX))
    try:
        told = tomllib.loads(data.decode("utf-8"))
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise ScenarioError("scenario %s is no TOML (%s): name a scenario file" % (path, error)) from None
    return _checked(told, path)


def _checked(told: dict[str, Any], path: Path) -> Scenario:
    for key in told:
        if key not in KEYS:
            raise ScenarioError("scenario %s: key %s is not known; known are %s: leave it out"
                                % (path, key, ", ".join(KEYS)))
    for key, kind in KEYS.items():
        value = told.get(key)
        if key not in told and key not in ("found", "version", "plan", "changes"):
            raise ScenarioError("scenario %s: key %s is missing: add it, or write the scenario anew" % (path, key))
        if key in told and (not isinstance(value, kind) or isinstance(value, bool)):
            raise ScenarioError("scenario %s: %s is %r; wanted is %s" % (path, key, value, _KIND_WORDS[kind]))
    if told["format"] != FORMAT:
        raise ScenarioError("scenario %s: format is %d; this version reads %d: use a matching version of tumblehome"
                            % (path, told["format"], FORMAT))
    if not 0 <= told["seed"] <= SEED_MAX:
        raise ScenarioError("scenario %s: seed is %d; allowed is 0 to %d" % (path, told["seed"], SEED_MAX))
    plan = path.parent / told["plan"] if told.get("plan") else None
    return Scenario(told["plan_hash"], told["seed"], _faults(told["faults"], path), plan, told.get("found", ""),
                    told.get("version", ""), told.get("changes", {}))


_KIND_WORDS = {int: "a whole number", str: "a text", list: "a list of faults",
               dict: "a table of keys of the plan"}


def _faults(texts: list, path: Path) -> tuple[str, ...]:
    """The faults in their shortest spelling."""
    try:
        if not all(isinstance(text, str) for text in texts):
            raise FaultError("faults holds something that is no text; write each as on the command line")
        return tuple(str(parse(text)) for text in texts)
    except FaultError as error:
        raise ScenarioError("scenario %s: %s" % (path, error)) from None
