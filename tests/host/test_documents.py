"""The documents say what the code says."""

from pathlib import Path

import pytest

from lander import console, journal, orders, signals, table
from seatrial import faults, laws
from tumblehome import documents

ROOT = Path(__file__).parents[2]
TEXT = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("name", documents.DOCUMENTS)
def test_the_made_parts_are_up_to_date(name):
    text = (ROOT / name).read_text(encoding="utf-8")
    assert documents.renew(text) == text, "run: python -m tumblehome.documents"


def test_every_part_that_is_made_stands_in_a_document():
    assert {found[2] for found in documents.PART.finditer(TEXT)} == set(documents.PARTS)


def test_a_stale_part_is_noticed():
    assert documents.renew("<!-- made: law_list -->\nold\n<!-- end -->\n") != "<!-- made: law_list -->\nold\n<!-- end -->\n"


@pytest.mark.parametrize("names", [
    [table.label(number) for number in range(len(table.ROWS))], table.CONDITIONS, journal.NAMES, orders.NAMES,
    [row[0] for row in signals.INPUTS], [row[0] for row in signals.OUTPUTS], list(console.VERBS), list(faults.KINDS),
    [law.name for law in laws.LAWS]], ids=["rows", "conditions", "journal", "record", "inputs", "outputs", "verbs",
                                           "faults", "laws"])
def test_the_guide_names_every_one(names):
    cells = {cell.strip() for line in TEXT.splitlines() for cell in line.split("|")}
    assert not [name for name in names if name not in cells]


def test_a_line_shown_in_the_guide_has_a_right_checksum():
    from lander import wire
    shown = [line.strip() for line in TEXT.splitlines() if line.strip().startswith("17 step")]
    assert shown and all(wire.unframe(line) for line in shown)
