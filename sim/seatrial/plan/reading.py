"""Reading a plan: from a file or a text, through its models and checks, to a plan or to sentences."""

import re
import tomllib
from pathlib import Path

from pydantic import ValidationError

from seatrial.complaints import complaint
from seatrial.plan.checks import faults_of, rows_out_of_order
from seatrial.plan.sample import SAMPLE_FILE, sample_text
from seatrial.plan.sentences import sentences_of
from seatrial.plan.waters import with_link_in_its_water, with_water
from seatrial.plan.whole import Plan
from seatrial.plan.wording import PlanError, show

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


def draft(text: str, origin: str = "plan", folder: str | Path = ".") -> Plan:
    """The plan in a text, every key right by itself; whether the keys fit each other is not asked.

    `origin` names the text in sentences about its form; a file of casts is looked for from `folder`.
    Raises PlanError with every sentence there is to say.
    """
    try:
        tables = tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # a number of thousands of digits, brackets thousands deep
        raise PlanError([_say_syntax(text, origin, error)]) from None
    if not tables:
        raise PlanError([f"{origin} is an empty plan: copy {SAMPLE_FILE} and change in the copy what is yours"])
    tables, notes = with_water(tables, Path(folder))
    try:
        plan = Plan.model_validate(tables)
    except ValidationError as error:
        raise PlanError(sentences_of(error, tables)) from None
    sentences = rows_out_of_order(plan)
    if sentences:
        raise PlanError(sentences)
    plan, more = with_link_in_its_water(plan)
    plan._source_text, plan._notes = text, (*notes, *more)
    return plan


def parse(text: str, origin: str = "plan", folder: str | Path = ".") -> Plan:
    """The plan in a text, and its keys fit each other. See `draft`."""
    return _fitting(draft(text, origin, folder))


def draft_file(path: str | Path) -> Plan:
    """The plan in a file, not yet checked against itself. Raises PlanError, see `draft`."""
    path = Path(path)
    return draft(_text_of(path), path.name, path.parent)


def load(path: str | Path) -> Plan:
    """The plan in a file. Raises PlanError with every sentence there is to say, the unreadable file among them."""
    return _fitting(draft_file(path))


def draft_sample() -> Plan:
    """The built-in sample plan, not yet checked against itself."""
    return draft(sample_text(), "sample.toml")


def load_sample() -> Plan:
    """The built-in sample plan."""
    return _fitting(draft_sample())


def _fitting(plan: Plan) -> Plan:
    sentences = faults_of(plan)
    if sentences:
        raise PlanError(sentences)
    return plan


def _text_of(path: Path) -> str:
    try:
        return path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise PlanError([f"{path} is not UTF-8 text (byte {error.start} is 0x{error.object[error.start]:02x}): save it"
                         " as plain text in UTF-8"]) from None
    except (OSError, ValueError) as error:  # ValueError: a path with a null byte
        raise PlanError([f"{path} cannot be read ({complaint(error)}): give the path of a plan file"]) from None
