"""The hardware notes: their commands are taken, their numbers are the code's, and each says one thing first."""

import re
import shlex
from pathlib import Path
from xml.etree import ElementTree

import pytest
import typer
from scipy.integrate import quad

from lander import lamps, words
from seatrial.faults import parse as parse_fault
from seatrial.handbook import corrosion
from seatrial.workings.whole import CHAPTERS
from tumblehome import documents, note_numbers
from tumblehome.bench import sequence
from tumblehome.bench.poke import CHANNELS, CIRCUITS
from tumblehome.cli import app

NOTES = Path(__file__).parents[2] / "hw_notes"
WRITTEN = sorted(path for path in NOTES.glob("*.md") if path.name not in ("README.md", "plan_keys.md", "materials.md"))
CHAPTER_NAMES = {make.__module__.rpartition(".")[2] for make in CHAPTERS}
WITH_MARKS = ("burn_wire", "motor_latch", "corroding_link")


def named(path):
    return path.name if isinstance(path, Path) else None


def text_of(note: Path) -> str:
    return note.read_text(encoding="utf-8")


def by_hand(note: Path) -> str:
    """A note without what is made from the code."""
    return documents.PART.sub("", text_of(note))


def commands(note: Path) -> list[list[str]]:
    """The words after `tumblehome` of every command, in a shell block or within a sentence."""
    text = text_of(note)
    lines = [line for block in re.findall(r"(?ms)^```sh\n(.*?)^```", text) for line in block.splitlines()]
    lines += re.findall(r"`(tumblehome [^`]+)`", text)
    return [shlex.split(line, comments=True)[1:] for line in lines]


COMMANDS = sorted({(note.name, *said) for note in NOTES.glob("*.md") for said in commands(note)})


@pytest.mark.parametrize("said", COMMANDS, ids=" ".join)
def test_every_command_of_the_notes_is_one_that_the_tool_takes(said):
    command, rest = typer.main.get_command(app), list(said[1:])
    path = []
    while hasattr(command, "commands"):
        path.append(rest.pop(0))
        command = command.commands[path[-1]]
    values = command.make_context(path[-1], rest).params  # refuses an option that is not there
    for fault in values.get("fault") or ():
        assert parse_fault(fault).name
    assert set(values.get("chapter") or ()) <= CHAPTER_NAMES
    if path == ["bench", "run"]:
        assert values["sequence"] in sequence.names()
    if path == ["bench", "poke"]:
        assert values["output"] in (*CIRCUITS, *CHANNELS)


@pytest.mark.parametrize("note", WRITTEN, ids=named)
def test_every_note_says_one_thing_first_and_leads_to_the_cautions(note):
    title, empty, first = text_of(note).split("\n")[:3]
    assert title.startswith("# ") and not empty and first.startswith("**")
    assert note.name == "cautions.md" or "](cautions.md)" in text_of(note)


@pytest.mark.parametrize("note", WRITTEN, ids=named)
def test_no_line_begins_with_a_number_that_was_put_in(note):
    """CommonMark 0.31 section 4.6: a line that begins with a comment ends the paragraph before it."""
    assert not re.findall(r"(?m)^ {0,3}<!-- made: \w+ -->.", text_of(note))


@pytest.mark.parametrize("name", ["trickle_ohm", "motor_back", "heartbeat_series", "release_full"])
def test_a_value_of_a_circuit_is_put_into_the_notes_and_never_typed(name):
    typed = re.compile(r"\b%s\b" % re.escape(note_numbers.NUMBERS[name]))
    assert not [note.name for note in WRITTEN if typed.search(by_hand(note))]


@pytest.mark.parametrize("code", [lamps.ARMED_ON_DECK, lamps.FIRING])
def test_the_cautions_tell_the_lamp_in_the_words_of_the_firmware(code):
    rhythm = words.STATUS_LAMP[code].partition(":")[0]
    assert rhythm in text_of(NOTES / "cautions.md").lower()


@pytest.mark.parametrize("name", WITH_MARKS)
def test_every_number_in_a_ring_is_a_row_of_the_failures_beside_the_drawing(name):
    svg = ElementTree.fromstring((NOTES / (name + ".svg")).read_text(encoding="utf-8"))
    marks = {one.text for one in svg.iter("{http://www.w3.org/2000/svg}text") if (one.text or "").isdigit()}
    rows = set(re.findall(r"(?m)^\| (\d) \|", by_hand(NOTES / (name + ".md"))))
    assert marks and marks == rows


def test_a_litre_of_gas_does_the_work_of_boyles_law():
    """Work of a gas that expands at a steady temperature: the integral of p dV with p V constant (Boyle's law)."""
    for _depth_m, gauge_mpa, _load_kn, work_kj in note_numbers.pressures():
        start_kpa = 1000 * float(gauge_mpa) + 101.325
        work, _doubt = quad(lambda volume_l, p=start_kpa: p / volume_l / 1000, 1.0, start_kpa / 101.325)
        assert float(work_kj) == pytest.approx(work, rel=0.02, abs=0.15)  # the pressure is rounded to a tenth of a MPa


def test_the_sea_presses_as_the_check_value_of_the_standard_says():
    """UNESCO technical paper 44 (1983): 10000 dbar lie at 9712.653 m at 30 degrees; so 1000 m are near 1008 dbar."""
    rows = {row[0]: row for row in note_numbers.pressures()}
    assert float(rows[1000][1]) == pytest.approx(10.08, abs=0.06)
    assert float(rows[1000][2]) == pytest.approx(float(rows[1000][1]) * 7.854, rel=0.01)  # kN on pi/4 * 100 mm squared


def test_a_kilogram_of_steel_weighs_seven_eighths_in_the_sea():
    """Archimedes, with 1027 kg/m3 of sea water and 7850 of steel (EN 1991-1-1 table A.4)."""
    least, most = next((float(row[2]), float(row[3])) for row in note_numbers.ballast_weights() if row[0] == "steel")
    assert least <= round(1 - 1027 / 7850, 2) <= most


def test_a_wire_parts_in_the_time_of_faradays_law():
    """m z F / (M I) by hand: 0.8 mm, 5 mm long, 7.94 g/cm3, 25.12 g/mol, 0.8 A of use; ASTM G102 for the weight."""
    longest = next(row for row in note_numbers.wire_times() if row[0] == "0.8")
    mass_g = 3.14159 / 4 * 0.08**2 * 0.5 * 7.94
    assert float(longest[1]) == pytest.approx(mass_g * 96485 / (25.12 * 0.8), rel=0.01)
    assert float(longest[2]) / float(longest[1]) == pytest.approx(25.12 / 15.72, rel=0.01)


def test_the_life_of_a_link_doubles_at_the_most_with_ten_degrees():
    lives = {row[0]: (float(row[1]), float(row[2])) for row in note_numbers.link_lives()}
    assert lives["10"][1] == corrosion.Q10 and lives["0"][1] == corrosion.Q10**2
    assert all(1 < least < most for least, most in lives.values())


def test_a_resistor_that_a_signal_does_not_have_is_refused():
    with pytest.raises(KeyError, match="has no resistor in series"):
        note_numbers._resistor("pico", "magnet", "in series")
