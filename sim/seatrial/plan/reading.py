"""Reading a plan: from a file or a text, through its models and checks, to a plan or to sentences."""

import re
import tomllib
from collections.abc import Iterable
from pathlib import Path

from pydantic import ValidationError

from seatrial.plan.checks import faults_of
from seatrial.plan.sample import sample_text
from seatrial.plan.sentences import sentences_of
from seatrial.plan.whole import Plan
from seatrial.plan.wording import show


class PlanError(Exception):
    """The operator's mistake: the plan cannot be used as it stands.

    `sentences` holds everything that was found, one sentence each; `str()` joins them with newlines.
    """

    def __init__(self, sentences: Iterable[str]) -> None:
        self.sentences = list(sentences)
        super().__init__("\n".join(self.sentences))

    def __reduce__(self) -> tuple[type["PlanError"], tuple[list[str]]]:
        return PlanError, (self.sentences,)  # crosses a process border unharmed


# What the TOML reader says, by its first words, and the way out in ours.
SYNTAX_ADVICE = (
    ("Expected newline or end of document after a statement", "one key = value on a line, decimals with a point and"
                                                              " remarks after #"),
    ("Expected '=' after a key", "write key = value, and section names in [brackets]"),
    ("Invalid value", "write numbers as 12.5, words in \"quotes\", switches as true or false"),
    ("Cannot overwrite a value", "this key stands twice in its section, remove one"),
    ("Cannot declare", "this section stands twice or clashes with a key, remove one"),
    ("Cannot mutate", "this section or list was already closed, keep its keys together"),
    ("Unterminated string", "close the text with a quote"),
    ("Illegal character", "remove the stray character or close the text with a quote"),
    ("Invalid statement", "begin the line with a key or a [section]"),
)


def _say_syntax(text: str, origin: str, error: Exception) -> str:
    message = str(error)
    known = (advice for start, advice in SYNTAX_ADVICE if message.startswith(start))
    way = next(known, "see the sample plan for the form")
    at = re.search(r"at line (\d+), column (\d+)", message)
    if "end of document" in message and at is None:
        return f"{origin}, at the end: a value, bracket or quote is not finished: {way}"
    if at is None:
        return f"{origin} cannot be read as TOML: {way}"
    lines = text.replace("\r\n", "\n").split("\n")
    line = lines[min(int(at[1]), len(lines)) - 1].strip()
    return f"{origin}, line {at[1]}, column {at[2]}: {show(line)} cannot be read as TOML: {way}"


def parse(text: str, origin: str = "plan") -> Plan:
    """The plan in a text. `origin` names the text in sentences about its form.

    Raises PlanError with every sentence there is to say.
    """
    try:
        tables = tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # a number of thousands of digits, brackets thousands deep
        raise PlanError([_say_syntax(text, origin, error)]) from None
    try:
        plan = Plan.model_validate(tables)
    except ValidationError as error:
        raise PlanError(sentences_of(error)) from None
    plan._source_text = text
    sentences = faults_of(plan)
    if sentences:
        raise PlanError(sentences)
    return plan


def load(path: str | Path) -> Plan:
    """The plan in a file. Raises PlanError with every sentence there is to say, the unreadable file among them."""
    path = Path(path)
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise PlanError([f"{path} is not UTF-8 text (byte {error.start} is 0x{error.object[error.start]:02x}): save it"
                         " as plain text in UTF-8"]) from None
    except (OSError, ValueError) as error:  # ValueError: a path with a null byte
        reason = (getattr(error, "strerror", None) or str(error)).lower()
        raise PlanError([f"{path} cannot be read ({reason}): give the path of a plan file"]) from None
    return parse(text, path.name)


def load_sample() -> Plan:
    """The built-in sample plan."""
    return parse(sample_text(), "sample.toml")
