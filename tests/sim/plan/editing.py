"""The sample plan edited as a person does, and what the reader says to it. No tests of its own."""

import re

import pytest

from seatrial import plan as plans
from seatrial.plan import PlanError
from seatrial.plan.sections import Latch, Wire
from seatrial.plan.sentences import sections_in

SAMPLE = plans.sample_text()


LISTS = ("site.water", "site.current", "lander.parts", "lander.shells")


def header_of(path: str) -> tuple[str, str]:
    section, _, key = path.rpartition(".")
    return (f"[[{section}]]" if section in LISTS else f"[{section}]"), key


def shown_path(path: str) -> str:
    """The path as sentences show it when the first row of a list is meant."""
    section, _, key = path.rpartition(".")
    return f"{section}[row 1].{key}" if section in LISTS else path


def put(text: str, path: str, literal: str, row: int = 1) -> str:
    """The plan with one key set to `literal`, in the given row of a table list; added when the section lacks it."""
    header, key = header_of(path)
    lines = text.splitlines()
    starts = [number for number, line in enumerate(lines) if line.split("#")[0].strip() == header]
    if not starts:
        return text + f"\n{header}\n{key} = {literal}\n"
    start = starts[row - 1]
    for number in range(start + 1, len(lines)):
        if lines[number].startswith("["):
            break
        if re.match(rf"{re.escape(key)} *=", lines[number]):
            lines[number] = f"{key} = {literal}"
            return "\n".join(lines) + "\n"
    lines.insert(start + 1, f"{key} = {literal}")
    return "\n".join(lines) + "\n"


def cut(text: str, path: str) -> str:
    """The plan without one key."""
    marked = put(text, path, '"cut here"')
    return "".join(line for line in marked.splitlines(keepends=True) if '"cut here"' not in line)


def edited(**changes: str) -> str:
    """The sample with keys set; a double underscore stands for a dot."""
    text = SAMPLE
    for name, literal in changes.items():
        text = put(text, name.replace("__", "."), literal)
    return text


def refusal(text: str) -> list[str]:
    with pytest.raises(PlanError) as caught:
        plans.parse(text)
    return caught.value.sentences


def said_of(text: str) -> list[str]:
    try:
        plans.parse(text)
    except PlanError as error:
        return error.sentences
    return []


def without_section(header: str) -> str:
    return re.sub(rf"^{re.escape(header)}.*?(?=^\[)", "", SAMPLE, flags=re.DOTALL | re.MULTILINE)


def numeric_keys(model=plans.Plan, prefix=""):
    """Every key of the sample that holds a number: (path, whole, lowest, highest)."""
    for name, info in model.model_fields.items():
        kinds = sections_in(info)
        path = f"{prefix}{name}"
        if path == "release.backup":
            kinds = (Latch,)
        if kinds:
            yield from numeric_keys(kinds[0] if path != "release.primary" else Wire, path + ".")
            continue
        limits = {rule: getattr(item, rule) for item in info.metadata for rule in ("ge", "le") if hasattr(item, rule)}
        if limits:
            yield path, info.annotation is int, limits["ge"], limits["le"]


NUMERIC_KEYS = sorted(numeric_keys())
