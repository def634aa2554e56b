"""The pictures of the wiring show what the tables say, in black, as text, and inside the sheet."""

import re
from xml.etree import ElementTree

import pytest

from tumblehome import board_tables, circuit_picture, documents, wiring_picture
from tumblehome.drawing import Sheet

SVG = "{http://www.w3.org/2000/svg}"
CHARACTER = 0.55  # mean width of a character by its size, measured 0.49 in DejaVu Sans, the widest of the common faces


def texts(svg):
    return [(one.text or "", one) for one in ElementTree.fromstring(svg).iter(SVG + "text")]


def sheets(board):
    """Everything that is drawn of a board."""
    has_chips = any(one.way != board_tables.PIN for one in board_tables.signals(board))
    return [wiring_picture.picture(board), *([wiring_picture.chips_picture(board)] if has_chips else [])]


def words_of(board):
    return [said for svg in sheets(board) for said in words(svg)]


def words(svg):
    return [said for said, _one in texts(svg)]


@pytest.mark.parametrize("board", board_tables.BOARDS)
def test_every_signal_stands_in_the_picture_of_its_board_once(board):
    said = words_of(board)
    assert [one.name for one in board_tables.signals(board) if said.count(one.name) != 1] == []


@pytest.mark.parametrize("board", board_tables.BOARDS)
def test_every_pin_stands_at_the_height_of_its_signal(board):
    """The name stands 6 above its line and the pin 5 below that height, as text is set; so they belong together."""
    found = {said: float(one.get("y")) for said, one in texts(wiring_picture.picture(board))}
    for one in board_tables.signals(board):
        if one.way == board_tables.PIN:
            assert found[wiring_picture.place_of(board, one)] - found[one.name] == pytest.approx(11), one.name


@pytest.mark.parametrize("board", board_tables.BOARDS)
def test_every_resistor_and_capacitor_of_the_tables_is_drawn(board):
    said = words_of(board)
    for value in ("4.7 kOhm", "10 kOhm", "1 MOhm", "1 nF", "47 kOhm"):
        wanted = sum(1 for one in board_tables.signals(board)
                     for given, _way in wiring_picture.hanging(one.resistor) if given == value)
        assert said.count(value.replace("Ohm", "Ω")) == wanted, value


@pytest.mark.parametrize("name", documents.PICTURES)
def test_a_picture_is_black_on_white_and_its_words_are_text(name):
    svg = documents.PICTURES[name]()
    colours = set(re.findall(r'(?:fill|stroke)="([^"]+)"', svg))
    assert colours <= {"black", "white", "none"}
    assert len(words(svg)) > 15 and "<title>" in svg and "<desc>" in svg


@pytest.mark.parametrize("name", documents.PICTURES)
def test_nothing_is_written_beyond_the_edge_of_the_sheet(name):
    svg = documents.PICTURES[name]()
    _x, _y, width, height = map(float, ElementTree.fromstring(svg).get("viewBox").split())
    for said, one in texts(svg):
        long = len(said) * float(one.get("font-size")) * CHARACTER
        start = float(one.get("x")) - {"start": 0, "middle": long / 2, "end": long}[one.get("text-anchor")]
        assert start >= 0 and start + long <= width and 0 < float(one.get("y")) <= height, said


@pytest.mark.parametrize("name", documents.PICTURES)
def test_no_words_stand_on_others(name):
    boxes = []
    for said, one in texts(documents.PICTURES[name]()):
        size, long = float(one.get("font-size")), len(said) * float(one.get("font-size")) * CHARACTER * 0.9
        left = float(one.get("x")) - {"start": 0, "middle": long / 2, "end": long}[one.get("text-anchor")]
        base = float(one.get("y"))
        boxes.append((said, left, left + long, base - 0.7 * size, base + 0.1 * size))
    for index, (said, left, right, top, bottom) in enumerate(boxes):
        for other, o_left, o_right, o_top, o_bottom in boxes[index + 1:]:
            assert right <= o_left or o_right <= left or bottom <= o_top or o_bottom <= top, (said, other)


@pytest.mark.parametrize("name", documents.PICTURES)
def test_a_picture_fits_a_sheet_of_paper_with_letters_of_seven_points_at_least(name):
    """ISO 216: A4 is 210 by 297 mm; 10 mm of margin. A point is 25.4 / 72 mm."""
    svg = documents.PICTURES[name]()
    _x, _y, width, height = map(float, ElementTree.fromstring(svg).get("viewBox").split())
    scale = min(190 / width, 277 / height)
    assert min(float(one.get("font-size")) for _said, one in texts(svg)) * scale >= 7 * 25.4 / 72


def test_the_shared_lines_of_the_bus_reach_both_chips():
    said = words(wiring_picture.picture("pico"))
    assert {"SRCLK, 11", "SCK", "SER, 14", "MOSI"} <= set(said)


def test_a_pin_that_no_block_has_is_refused(monkeypatch):
    monkeypatch.setattr(wiring_picture, "main_blocks", lambda: ((), ()))
    with pytest.raises(KeyError, match="no block has the pin of backup_end"):
        wiring_picture.picture("pico")


def test_the_circuits_name_every_signal_of_releases_and_probes():
    said = " ".join(words(circuit_picture.picture()))
    names = [one.name for one in board_tables.signals("pico") if one.name.startswith(("primary", "backup", "leak", "contact"))]
    assert len(names) > 14 and [name for name in names if name not in said] == []


def test_the_end_resistors_are_told_from_the_numbers_that_are_fitted(monkeypatch):
    before = board_tables.fitted()
    monkeypatch.setattr(board_tables, "fitted", lambda: {**before, "LEAK_OHM": (50000, 20000, 700000, 5000000)})
    assert "between 700 kΩ and 5 MΩ" in " ".join(words(circuit_picture.picture()))


def test_words_with_signs_of_their_own_are_harmless():
    sheet = Sheet(100, "a < b", "c & d")
    sheet.text(0, 10, '<script>"&')
    assert words(sheet.svg()) == ['<script>"&']
