"""The parts of the documents that are made from the code: `python -m tumblehome.documents` rewrites them in place.

A part stands between `<!-- made: NAME -->` and `<!-- end -->`, a table on lines of its own, a number within a line; the
pictures are made as a whole. A test holds that all of them are up to date.
"""

import argparse
import re
import sys
from collections.abc import Callable, Iterable, Sequence
from functools import partial
from pathlib import Path

from lander import console, journal, lamps, orders, report, signals, table, words
from seatrial import faults, laws, reference
from seatrial.handbook.materials import MATERIALS
from seatrial.handbook.shapes import SHAPES, needs_length
from seatrial.plan import Plan, symbol_of
from seatrial.plan.keys import bounds, sections_in, words_of
from seatrial.workings.whole import CHAPTERS
from tumblehome import (
    board_tables,
    circuit_picture,
    mechanism_picture,
    note_numbers,
    supply_picture,
    wiring_picture,
)
from tumblehome.bench.sequence import BOARD, KINDS, SESSION
from tumblehome.tables import names_of

PART = re.compile(r"(<!-- made: (\w+) -->\n?).*?(<!-- end -->)", re.DOTALL)
ROOT = Path(__file__).parents[2]
DOCUMENTS = ("DEVELOPERS.md", *sorted("hw_notes/" + path.name for path in (ROOT / "hw_notes").glob("*.md")))
PICTURES: dict[str, Callable[[], str]] = {
    **{"hw_notes/wiring_%s.svg" % board: partial(wiring_picture.picture, board) for board in board_tables.BOARDS},
    **{"hw_notes/wiring_%s_chips.svg" % board: partial(wiring_picture.chips_picture, board)
       for board in board_tables.MAIN},
    "hw_notes/wiring_circuits.svg": circuit_picture.picture,
    "hw_notes/energy.svg": supply_picture.energy,
    "hw_notes/camera.svg": supply_picture.camera,
    "hw_notes/burn_wire.svg": mechanism_picture.burn_wire,
    "hw_notes/motor_latch.svg": mechanism_picture.motor_latch,
    "hw_notes/corroding_link.svg": mechanism_picture.corroding_link,
    "hw_notes/ballast.svg": mechanism_picture.whole_lander,
    "hw_notes/housing.svg": mechanism_picture.housing,
}


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


SIZES = {"B": 1, "H": 2, "h": 2, "I": 4, "i": 4}  # by the codes of `struct`


def kind_of(code: str) -> str:
    """The type that a code of `struct` stands for, as u16."""
    return ("u" if code.isupper() else "i") + str(8 * SIZES[code])


def report_fields() -> str:
    lines: list[tuple[object, ...]] = []
    at = 0
    for place, name in enumerate(report.NAMES):
        _name, code, lowest, highest = report.FIELDS[4 * place:4 * place + 4]
        lines.append((at, kind_of(str(code)), name, lowest, highest, words.REPORT[name]))
        at += SIZES[str(code)]
    lines.append((report.CRC_AT, "u16", "crc", "", "", "CRC-16/IBM-3740 of all before"))
    return rows(("byte", "type", "field", "lowest", "highest", "meaning"), lines)


def report_paths() -> str:
    return rows(("number", "path"), words.REPORT_PATHS.items())


def report_flags() -> str:
    return rows(("flag", "meaning"), words.REPORT_FLAGS.items())


def journal_fields() -> str:
    lines, at = [], 0
    for index, name in enumerate(journal.NAMES):
        code = journal.FIELDS[2 * index + 1]
        kind = kind_of(code)
        lines.append((at, kind, name, words.JOURNAL[name]))
        at += SIZES[code]
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


def deck_verbs_table() -> str:
    wants = {name: wanted for name, (wanted, _module) in board_tables.tables("deck_verbs")["VERBS"].items()}
    words_of_deck = board_tables.tables("deck_words")
    return rows(("verb", "pairs", "answer", "done when", "what it does"), (
        (name, pairs, answer,
         ", ".join(said for bit, said in words_of_deck["WANTS"] if wants[name] & bit) or "always", what)
        for name, pairs, answer, what in words_of_deck["VERBS"]))


def session_verbs() -> str:
    return rows(("verb", "pairs", "answer", "what it does"), board_tables.tables("deck_words")["SESSION_VERBS"])


def sequence_steps() -> str:
    """Every step that a sequence may have: its key and its other keys, where it is done, what it does."""
    return rows(("key", "with it", "on", "what it does"), (
        (key, ", ".join(name for name in step.model_fields if name != key),
         " and ".join(on for on, is_done in ((SESSION, step.sessions), (BOARD, step.boards)) if is_done)
         + (", in a dive" if step.in_dive and key != "home" else ""),
         " ".join((step.__doc__ or "").split())) for key, step in KINDS.items()))


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


def chapters() -> str:
    """Each chapter of a worked plan: its name on the command line, and what its module says of itself."""
    modules = [sys.modules[make.__module__] for make in CHAPTERS]
    return rows(("chapter", "what it works out"), (
        (module.__name__.rpartition(".")[2], " ".join((module.__doc__ or "").split("\n\n")[0].split()))
        for module in modules))


def materials() -> str:
    return rows(("material", "kg/m3", "from", "to", "E GPa", "holds MPa", "source", "note"), (
        (name, *("%g" % number for number in (one.likely_kg_m3, one.low_kg_m3, one.high_kg_m3)),
         *("" if number is None else "%g" % number for number in (one.youngs_gpa, one.strength_mpa)),
         one.source, one.note) for name, one in MATERIALS.items()))


def shapes() -> str:
    return rows(("shape", "told by"), (
        (name, "width_m and length_m" if needs_length(name) else "width_m") for name in SHAPES))


def plan_keys(model=Plan, path: str = "") -> str:
    """Every key of the plan file, section by section."""
    return "".join(_section_keys(model, path))


def _section_keys(model, path: str) -> Iterable[str]:
    own = [(name, info) for name, info in model.model_fields.items() if not sections_in(info)]
    if own:
        yield "\n### %s\n\n%s\n\n" % (path, " ".join((model.__doc__ or "").split()))
        yield rows(("key", "unit", "allowed", "left out", "what it is"), (_key(path, name, info) for name, info in own))
    for name, info in model.model_fields.items():
        kinds = sections_in(info)
        for inner in kinds:
            where = "%s.%s" % (path, name) if path else name
            if len(kinds) > 1:
                where += ", kind %s" % words_of(inner.model_fields["kind"])[0]
            yield from _section_keys(inner, where)


def _key(section: str, name: str, info) -> tuple[str, ...]:
    low, high = bounds(info)
    allowed = "" if low is None or high is None else "%g to %g" % (low, high)
    if words_of(info):
        allowed = " or ".join(words_of(info))
    absent = "must be there" if info.is_required() else "not worked out" if info.default is None else str(info.default)
    if section in SUMMED:
        absent = "follows from the parts"
    return name, symbol_of(name), allowed, absent, info.description or ""


def pins(board: str) -> str:
    """Every signal of a board: where it is, and what it is."""
    return rows(("signal", "where", "kind", "from reset until the first step", "resistor", "what it is"), (
        (one.name, wiring_picture.place_of(board, one), one.kind, one.at_reset, one.resistor, one.what)
        for one in board_tables.signals(board)))


FAULT = ("fault", "what it is", "what comes of it", "release that still works")
# Tables of the notes: what stands over their columns, and what makes their lines.
NOTES: dict[str, tuple[tuple[str, ...], Callable[[], Iterable[Iterable[object]]]]] = {
    "probe_limits": (("probe", "series resistor", "wet below", "end resistor between", "broken above"),
                     note_numbers.probe_limits),
    "wire_times": (("wire mm", "parts after s, least", "most"), note_numbers.wire_times),
    "link_lives": (("water degC", "lasts times as long, least", "most"), note_numbers.link_lives),
    "ballast_weights": (("material", "kg/m3", "1 kg weighs in the sea kg, least", "most"),
                        note_numbers.ballast_weights),
    "pressures": (("depth m", "gauge pressure MPa", "load on a cap of %g mm kN" % note_numbers.CAP_MM,
                   "work in 1 l of gas kJ"), note_numbers.pressures),
    "chamber_numbers": (("what", "number", "source"), note_numbers.chamber_numbers),
    "release_faults": (FAULT, note_numbers.release_faults),
    "miswirings": (("name", "what is wrong with it"), note_numbers.miswirings),
    "energy_faults": (FAULT, note_numbers.energy_faults),
}


def note_table(name: str) -> str:
    header, lines = NOTES[name]
    return rows(header, lines())


def beacon_codes() -> str:
    return rows(("beacon", "ms on, off"), (
        (words.BEACON_LAMP[code], ", ".join(map(str, pattern)) or "dark") for code, pattern in enumerate(lamps.BEACON)))


SUMMED = ("lander", "lander.floats", "lander.ballast")


PARTS: dict[str, Callable[[], str]] = {
    "mission_table": mission_table, "conditions": conditions, "diagram": diagram, "journal_fields": journal_fields,
    "inputs": inputs, "outputs": outputs, "verbs": verbs, "deck_verbs": deck_verbs_table,
    "session_verbs": session_verbs, "sequence_steps": sequence_steps, "mission_record": mission_record,
    "lamp_codes": lamp_codes, "report_fields": report_fields, "report_paths": report_paths,
    "report_flags": report_flags,
    "fault_kinds": fault_kinds, "law_list": law_list, "chapters": chapters, "materials": materials, "shapes": shapes,
    "beacon_codes": beacon_codes, "wire_assumed": note_numbers.wire_assumed,
    "equivalent_weights": note_numbers.equivalent_weights,
    **{name: partial(note_table, name) for name in NOTES},
    **{name: partial(str, number) for name, number in note_numbers.NUMBERS.items()},
    "plan_keys": plan_keys, **{"pins_" + board: partial(pins, board) for board in board_tables.BOARDS},
}


def renew(text: str) -> str:
    """The document with every made part made anew. Raises KeyError for a part that nobody makes."""
    return PART.sub(lambda found: found[1] + PARTS[found[2]]() + found[3], text)


def main(arguments: Sequence[str] = ()) -> int:
    options = argparse.ArgumentParser(prog="python -m tumblehome.documents",
                                      description=(__doc__ or "").splitlines()[0])
    options.parse_args(arguments)
    for name in DOCUMENTS:
        _write(ROOT / name, renew((ROOT / name).read_text(encoding="utf-8")))
    for name, make in PICTURES.items():
        _write(ROOT / name, make())
    return 0


def _write(path: Path, text: str) -> None:
    if not path.exists() or path.read_text(encoding="utf-8") != text:
        path.write_text(text, encoding="utf-8", newline="\n")
        print("renewed %s" % path.name)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
