"""What the tool prints in a terminal of any width is whole: the rest of a number that was cut off is another number."""

import io

import pytest
from rich.console import Console

from tumblehome import terminal

HEADINGS = ("dive", "began", ">pack\nmΩ", ">air mbar")
ROWS = [["first of the season, 1", "2027-05-18\n06:29Z", "1012", "14.82"], ["d2, 1", "2027-06-02\n10:05Z", "9", "–"]]


def shown(monkeypatch, width, **more):
    console = Console(width=width, record=True, file=io.StringIO())
    monkeypatch.setattr(terminal, "out", console)
    console.print(terminal.table(HEADINGS, ROWS, **more))
    return console.export_text()


@pytest.mark.parametrize("width", [100, 40, 33, 24, 20])
def test_a_table_is_never_cut_off(monkeypatch, width):
    said = shown(monkeypatch, width, caption="Dives")
    words = said.replace(";", " ").split()
    assert "\u2026" not in said and all(len(line) <= width for line in said.splitlines())
    assert [word for row in ROWS for cell in row for word in cell.split() if word not in words] == []


def test_a_table_without_room_becomes_a_paragraph_a_row_with_its_headings(monkeypatch):
    assert "mΩ:" not in shown(monkeypatch, 40)
    assert "pack mΩ: 1012; air mbar: 14.82" in " ".join(shown(monkeypatch, 24).split())


def test_the_further_lines_of_a_sentence_stand_under_its_first():
    console = Console(width=20, record=True, file=io.StringIO())
    terminal.say("danger", "bold", "stand clear of the ballast", console)
    assert console.export_text().splitlines() == ["danger  stand clear ", "        of the      ", "        ballast     "]
