"""The documents say what the code says."""

import tomllib
from pathlib import Path

import pytest

from lander import console, journal, orders, signals, table
from seatrial import faults, laws
from seatrial.plan import sample_text
from tumblehome import documents

ROOT = Path(__file__).parents[2]
TEXT = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("name", documents.DOCUMENTS)
def test_the_made_parts_are_up_to_date(name):
    text = (ROOT / name).read_text(encoding="utf-8")
    assert documents.renew(text) == text, "run: python -m tumblehome.documents"


@pytest.mark.parametrize("name", documents.PICTURES)
def test_the_pictures_are_up_to_date(name):
    assert (ROOT / name).read_text(encoding="utf-8") == documents.PICTURES[name](), "run: python -m tumblehome.documents"


def test_the_notes_link_to_every_picture():
    links = "".join(note.read_text(encoding="utf-8") for note in (ROOT / "hw_notes").glob("*.md"))
    assert not [name for name in documents.PICTURES if "](%s)" % Path(name).name not in links]
    pictures = {path.name for path in (ROOT / "hw_notes").glob("*.svg")}
    assert pictures == {Path(name).name for name in documents.PICTURES}, "a picture that nothing makes"


def test_every_part_that_is_made_stands_in_a_document():
    texts = [(ROOT / name).read_text(encoding="utf-8") for name in documents.DOCUMENTS]
    assert {found[2] for text in texts for found in documents.PART.finditer(text)} == set(documents.PARTS)


def test_every_key_of_the_sample_plan_stands_in_the_list_of_keys():
    text = (ROOT / "hw_notes" / "plan_keys.md").read_text(encoding="utf-8")
    sections: dict[str, str] = {}
    for part in text.split("\n### ")[1:]:
        path = part.split("\n", 1)[0].partition(",")[0]  # a release has a part for each kind
        sections[path] = sections.get(path, "") + part
    missing = [f"{path}.{key}" for path, key in _keys_of(tomllib.loads(sample_text()))
               if f"\n| {key} |" not in sections.get(path, "")]
    assert missing == []


def _keys_of(table, path=""):
    """(section, key) of every value in the tables of a plan."""
    for key, value in table.items():
        inner = f"{path}.{key}" if path else key
        rows = value if isinstance(value, list) else [value]
        if isinstance(rows[0], dict):
            for row in rows:
                yield from _keys_of(row, inner)
        else:
            yield path, key


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
