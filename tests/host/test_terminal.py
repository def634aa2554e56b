"""What the tool prints in a terminal of any width is whole: the rest of a number that was cut off is another number."""

import io

import pytest
from rich.console import Console

from tumblehome import terminal
from tumblehome.find.positions import parse, written
from tumblehome.find.shapes import Position

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


@pytest.mark.parametrize("terminals", ["ascii", "cp1252", "cp437", "latin-1"])
def test_a_position_is_read_the_same_again_from_a_terminal_without_its_signs(terminals):
    place = Position(46.1, -28.4)
    shown = written(place).encode(terminals, terminal.PLAIN).decode(terminals)
    assert "?" not in shown and parse(shown) == place


def test_a_terminal_without_a_sign_has_it_in_letters_and_a_name_all_the_same():
    assert "steer 071°, 1930 km², Rønne".encode("ascii", terminal.PLAIN) == b"steer 071 deg, 1930 km2, R?nne"
    assert written(Position(46.1, -28.4)).encode("ascii", terminal.PLAIN) == b"46-06.000'N 028-24.000'W"
