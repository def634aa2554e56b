"""The parts of the documents that are made from the code: `python -m tumblehome.documents` rewrites them in place.

A part stands between `<!-- made: NAME -->` and `<!-- end -->`. A test holds that the documents are up to date.
"""

import re
import sys
from collections.abc import Callable, Iterable
from pathlib import Path

from lander import console, journal, lamps, orders, signals, table, words
from seatrial import faults, laws, reference
from tumblehome.tables import names_of

PART = re.compile(r"(<!-- made: (\w+) -->\n).*?(<!-- end -->)", re.DOTALL)
DOCUMENTS = ("DEVELOPERS.md",)


def rows(header: Iterable[str], lines: Iterable[Iterable[object]]) -> str:
    """A table in Markdown."""
    head = list(header)
    text = ["| %s |" % " | ".join(head), "|%s" % ("---|" * len(head))]
    text += ["| %s |" % " | ".join(str(cell).replace("|", "\\|") for cell in line) for line in lines]
    return "\n".join(text) + "\n"


def mission_table() -> str:
    return rows(("row", "from", "when", "to", "because"), (
        (table.label(number), table.STATES[row[table.FROM]],
         " and ".join(names_of(row[table.WHEN]) + ["not " + name for name in names_of(row[table.UNLESS])]),
         table.STATES[row[table.TO]], table.because(number)) for number, row in enumerate(table.ROWS)))


def conditions() -> str:
    return rows(("condition", "holds when"), (
        (name, words.CONDITIONS[1 << bit]) for bit, name in enumerate(table.CONDITIONS)))


def diagram() -> str:
    return "```mermaid\n%s\n```\n" % reference.diagram().strip()


def journal_fields() -> str:
    sizes = {"B": 1, "H": 2, "h": 2, "I": 4, "i": 4}
    lines, at = [], 0
    for index, name in enumerate(journal.NAMES):
        code = journal.FIELDS[2 * index + 1]
        kind = ("u" if code.isupper() else "i") + str(8 * sizes[code])
        lines.append((at, kind, name, words.JOURNAL[name]))
        at += sizes[code]
    lines.append((journal.CRC_AT, "u16", "crc", "CRC-16/IBM-3740 of all before"))
    return rows(("byte", "type", "field", "meaning"), lines)


def inputs() -> str:
    return rows(("input", "lowest", "highest", "meaning"), (
        (name, lowest, highest, words.INPUTS[name]) for name, lowest, highest, _start in signals.INPUTS))


def outputs() -> str:
    return rows(("output", "lowest", "highest", "meaning"), (
        (name, lowest, highest, words.OUTPUTS[name]) for name, lowest, highest in signals.OUTPUTS))


def verbs() -> str:
    said = {**console.VERBS, **console.OWN_VERBS}
    return rows(("verb", "what it does"), (
        (verb, " ".join((method.__doc__ or words.VERBS[verb]).split())) for verb, method in said.items()))


def mission_record() -> str:
    return rows(("field", "lowest", "highest", "meaning"), (
        (name, lowest, highest, words.ORDERS[name]) for name, lowest, highest, _default in orders.rows()))


def lamp_codes() -> str:
    return rows(("status lamp", "ms on, off, ..."), (
        (words.STATUS_LAMP[code], ", ".join(map(str, pattern)) or "dark") for code, pattern in enumerate(lamps.STATUS)))


def fault_kinds() -> str:
    return rows(("fault", "group", "what it does", "parameters"), (
        (kind.name, kind.group, kind.what,
         ", ".join("%s=%s" % (key, parameter.default) for key, parameter in kind.parameters.items() if key != "for_s"))
        for kind in faults.KINDS.values()))


def law_list() -> str:
    return rows(("law", "name", "check"), ((law.number, law.name, law.text) for law in laws.LAWS))


PARTS: dict[str, Callable[[], str]] = {
    "mission_table": mission_table, "conditions": conditions, "diagram": diagram, "journal_fields": journal_fields,
    "inputs": inputs, "outputs": outputs, "verbs": verbs, "mission_record": mission_record, "lamp_codes": lamp_codes,
    "fault_kinds": fault_kinds, "law_list": law_list,
}


def renew(text: str) -> str:
    """The document with every made part made anew. Raises KeyError for a part that nobody makes."""
    return PART.sub(lambda found: found[1] + PARTS[found[2]]() + found[3], text)


def main() -> int:
    root = Path(__file__).parents[2]
    for name in DOCUMENTS:
        path = root / name
        before = path.read_text(encoding="utf-8")
        after = renew(before)
        if after != before:
            path.write_text(after, encoding="utf-8")
            print("renewed %s" % name)
    return 0


if __name__ == "__main__":
    sys.exit(main())
