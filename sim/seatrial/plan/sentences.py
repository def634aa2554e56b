"""Sentences for single keys: what the models found wrong, in the words of the plan file."""

import math
import re
from collections.abc import Callable
from datetime import datetime
from difflib import get_close_matches
from typing import Any, NamedTuple, get_origin

from pydantic import ValidationError
from pydantic.fields import FieldInfo

from seatrial.handbook.materials import MATERIALS, nearest_names
from seatrial.plan.body import Shell
from seatrial.plan.keys import Section, bounds, item_of, lengths, sections_in, words_of
from seatrial.plan.sample import SAMPLE_FILE, sample_tables
from seatrial.plan.sections import CHANNELS, EARLIEST_YEAR, LATEST_YEAR
from seatrial.plan.units import UNITS, stem_of, symbol_of, unit_of
from seatrial.plan.whole import Plan
from seatrial.plan.wording import show


class Place(NamedTuple):
    """Where in the plan something was found wrong."""

    path: str
    section: str  # dotted path of the section the key is in
    key: str
    owner: type[Section]  # the model of that section
    steps: tuple[str | int, ...]  # the way there in the tables of the file, without the tags of unions

    @property
    def info(self) -> FieldInfo | None:
        return self.owner.model_fields.get(self.key)


def place_of(loc: tuple[str | int, ...]) -> Place:
    owner: type[Section] = Plan
    inside: type[Section] | None = Plan
    path = section = key = ""
    steps: list[str | int] = []
    union_open = False
    for step in loc:
        if union_open and step in CHANNELS:
            inside, union_open = CHANNELS[str(step)], False
            continue
        steps.append(step)
        if isinstance(step, int):
            listed = owner.model_fields.get(key)
            path += f"[{'value' if item_of(listed) else 'row'} {step + 1}]"
            continue
        owner, section, key = inside or owner, path, step
        path = f"{path}.{_bare(step)}" if path else _bare(step)
        info = owner.model_fields.get(step)
        kinds = sections_in(info) if info else ()
        inside = kinds[0] if kinds else None
        union_open = len(kinds) > 1
    return Place(path, section, key, owner, tuple(steps))


def _bare(key: str) -> str:
    return key if re.fullmatch(r"[A-Za-z0-9_-]{1,60}", key) else show(key)


def _sample_value(place: Place) -> Any:
    found: Any = sample_tables()
    for step in place.steps:
        if isinstance(step, int):
            found = found[0]  # any row of the sample serves as an example
        elif isinstance(found, dict) and step in found:
            found = found[step]
        else:
            return None
    return found


def _example(place: Place) -> str:
    value = _sample_value(place)
    if value is None or isinstance(value, dict | list):
        return ""
    return f" (the sample has {place.key} = {_moment(value) if isinstance(value, datetime) else show(value)})"


def _moment(value: datetime) -> str:
    return value.isoformat().replace("+00:00", "Z")


def _meaning(place: Place) -> str:
    return (place.info.description if place.info else None) or "this"


def _allowed(place: Place) -> str:
    low, high = bounds(place.info)
    return f"{low:.10g} to {high:.10g} {symbol_of(place.key)}".rstrip()


def _say_range(place: Place, value: object) -> str:
    return (f"{place.path} is {show(value)}; allowed is {_allowed(place)}: choose a value in this range for"
            f" {_meaning(place)}{_example(place)}")


def _say_number(place: Place, value: object) -> str:
    whole = place.info is not None and place.info.annotation is int
    wanted = "a whole number" if whole else "a number"
    if isinstance(value, float) and not math.isfinite(value):
        return _say_range(place, value)
    if isinstance(value, int) and not isinstance(value, bool):
        return _say_range(place, value)  # too long for a float
    if isinstance(value, str):
        way = _number_in_text(place, value)
        return f"{place.path} is the text {show(value)}; allowed is {wanted} from {_allowed(place)}: {way}"
    return (f"{place.path} is {show(value)}; allowed is {wanted} from {_allowed(place)}: give {_meaning(place)} as"
            f" {wanted}{_example(place)}")


def _number_in_text(place: Place, text: str) -> str:
    trial = text.strip().replace(",", ".")
    try:
        float(trial)
    except ValueError:
        return f"write digits without quotes or unit{_example(place)}"
    return f"write it without quotes and with a decimal point, {place.key} = {trial}"


def _say_bool(place: Place, value: object) -> str:
    return (f"{place.path} is {show(value)}; allowed is true or false, without quotes: say {_meaning(place)}"
            f"{_example(place)}")


def _say_text(place: Place, value: object) -> str:
    fewest, most = lengths(place.info)
    allowed = f"{fewest or 0} to {most} characters" if most else "a text"
    return f"{place.path} is {show(value)}; allowed is a text of {allowed}: write {_meaning(place)} in quotes"


def _say_word(place: Place, value: object) -> str:
    words = _words(place)
    near = _nearest(value, words)
    way = f"did you mean {show(near[0])}?" if near else "write one of these words in quotes"
    return f"{place.path} is {show(value)}; allowed is {' or '.join(map(show, words))}: {way}"


def _words(place: Place) -> list[str]:
    """The words a key may hold, empty when it does not hold a word."""
    if place.key == "kind":
        return list(CHANNELS)  # each model of the union knows its own word only
    return words_of(place.info) if place.info else []


def _nearest(value: object, words: list[str]) -> list[str]:
    """Words that begin as this one does, or else look like it."""
    if not isinstance(value, str) or not value:
        return []
    return [word for word in words if word.startswith(value)] or get_close_matches(value, words, 1)


def _say_section(place: Place, value: object) -> str:
    if isinstance(value, list):
        return (f"{place.path} is a list; allowed is one section: write [{place.path}] with single brackets, once")
    return (f"{place.path} is {show(value)}; allowed is a section with keys of its own: write [{place.path}] and its"
            " keys below, as in the sample")


def _say_rows(place: Place, value: object) -> str:
    if item_of(place.info):
        return (f"{place.path} is {show(value)}; allowed is a list of values in brackets: write"
                f" {place.key} = [..., ...] for {_meaning(place)}")
    found = "a single section" if isinstance(value, dict) else show(value)
    return (f"{place.path} is {found}; allowed is a list of rows: write [[{place.path}]] with double brackets above"
            " each row, as in the sample")


def _say_no_rows(place: Place, _value: object) -> str:
    if item_of(place.info):
        return f"{place.path} is an empty list; allowed is 1 value or more: give {_meaning(place)}, or leave it out"
    return (f"{place.path} has 0 rows; allowed is 1 or more: give {_meaning(place)}, each row under its own"
            f" [[{place.path}]]")


def _say_moment_type(place: Place, value: object) -> str:
    what = f"the text {show(value)}" if isinstance(value, str) else show(value)
    return (f"{place.path} is {what}; allowed is a date and time in UTC, without quotes: write {_meaning(place)}"
            f"{_example(place)}")


def _say_moment_naive(place: Place, value: object) -> str:
    return (f"{place.path} is {show(value)} without a zone; allowed is UTC, marked with Z: change local time to UTC"
            f" and write it{_example(place)}")


def _say_moment_range(place: Place, value: object) -> str:
    return (f"{place.path} is {show(value)}; allowed is the years {EARLIEST_YEAR} to {LATEST_YEAR}: correct the year"
            f"{_example(place)}")


def _say_missing(place: Place, _value: object) -> str:
    if place.info is not None and sections_in(place.info):
        brackets = f"[[{place.path}]]" if get_origin(place.info.annotation) is tuple else f"[{place.path}]"
        return (f"the section {brackets} is missing; all of its keys are wanted: copy it from the sample plan,"
                f" {SAMPLE_FILE}")
    low, _high = bounds(place.info)
    words = _words(place)
    allowed = f"; allowed is {_allowed(place)}" if low is not None else ""
    if words:
        allowed = f"; allowed is {' or '.join(map(show, words))}"
    return f"{place.path} is missing{allowed}: add {_meaning(place)}{_example(place)}"


def _say_material(place: Place, value: object) -> str:
    known = [name for name, material in MATERIALS.items() if place.owner is not Shell or material.youngs_gpa]
    near = [name for name in nearest_names(value) if name in known] if isinstance(value, str) else []
    allowed = ("one of hw_notes/materials.md: did you mean " + " or ".join(map(show, near)) + "?") if near else \
        ", ".join(known) + ": choose one of these"
    other = "" if place.owner is Shell else " Or leave it out and give density_kg_m3"
    return f"{place.path} is {show(value)}; allowed is {allowed}{other}"


def _say_part_mass(place: Place, _value: object) -> str:
    return (f"{place.path} needs two of mass_kg, volume_l and its density (density_kg_m3, or material in its place):"
            " give exactly two of them, the third follows")


def _say_part_flow(place: Place, _value: object) -> str:
    return (f"{place.path} has half of its drag; allowed is shape with width_m (and length_m), or frontal_area_m2 with"
            " drag_coefficient, or none of them for a part that others hide: complete one of these pairs")


def _say_shell_length(place: Place, _value: object) -> str:
    return f"{place.path}.length_mm is missing; allowed is 1 to 10000 mm: add the free length of the tube"


def _say_shell_wall(place: Place, _value: object) -> str:
    return (f"{place.path}.wall_mm is at least half of outer_diameter_mm, no room is left inside: correct one of the"
            " two")


def _say_kind_missing(place: Place, value: object) -> str:
    return _say_missing(place_of((*place.steps, "wire", "kind")), value)


def _say_kind_unknown(place: Place, value: object) -> str:
    kind = value.get("kind") if isinstance(value, dict) else value
    return _say_word(place_of((*place.steps, "wire", "kind")), kind)


SENTENCES: dict[str, Callable[[Place, object], str]] = {
    "greater_than_equal": _say_range, "less_than_equal": _say_range, "finite_number": _say_number,
    "float_type": _say_number, "int_type": _say_number, "int_parsing_size": _say_number, "bool_type": _say_bool,
    "string_type": _say_text, "string_too_short": _say_text, "string_too_long": _say_text,
    "string_unicode": _say_text, "literal_error": _say_word,
    "model_type": _say_section, "model_attributes_type": _say_section, "dict_type": _say_section,
    "tuple_type": _say_rows, "too_short": _say_no_rows,
    "moment_type": _say_moment_type, "moment_naive": _say_moment_naive, "moment_range": _say_moment_range,
    "material": _say_material, "shell_material": _say_material, "part_mass": _say_part_mass,
    "part_flow": _say_part_flow, "shell_length": _say_shell_length, "shell_wall": _say_shell_wall,
    "missing": _say_missing, "union_tag_not_found": _say_kind_missing, "union_tag_invalid": _say_kind_unknown,
}


def _say_other(place: Place, value: object) -> str:
    return f"{place.path} is {show(value)}; this value cannot be used: write it as in the sample{_example(place)}"


class _Unknown(NamedTuple):
    """A key the plan does not have, and the key that was probably meant ("" when there is no guess)."""

    sentence: str
    meant: str


def _say_unknown(place: Place, value: object, absent: set[str]) -> _Unknown:
    """The sentence for an unknown key; `absent` holds the keys of this section that the file lacks."""
    known = list(place.owner.model_fields)
    where = f" of [{place.section}]" if place.section else ""
    other = _kind_with(place)
    if other:
        return _Unknown(f"{place.path} is a key of kind {show(other)} and this release is of another kind: remove it,"
                        f" or set {place.section}.kind = {show(other)}", "")
    slip = _unit_slip(place.key, known, absent)
    if slip:
        path = f"{place.section}.{slip}" if place.section else slip
        there = _converted(place.key, slip, value) if slip in absent else f"{path} is already there, remove this one"
        wanted = f"in {symbol_of(slip)}" if symbol_of(slip) else "without a unit"
        return _Unknown(f"{place.path} is {show(value)}, but this key is wanted {wanted}: {path}; {there}", slip)
    near = get_close_matches(place.key, sorted(absent), 1, 0.6) or get_close_matches(place.key, known, 1, 0.6)
    if near:
        path = f"{place.section}.{near[0]}" if place.section else near[0]
        return _Unknown(f"{place.path} is not a key of the plan; the nearest{where} is {path}: write {near[0]}, or"
                        " remove it", near[0])
    return _Unknown(f"{place.path} is not a key of the plan; known{where or ' sections'} are {', '.join(known)}:"
                    " remove it, or write one of these", "")


def _kind_with(place: Place) -> str:
    """The other kind of release channel that has this key, or ""."""
    if place.owner not in CHANNELS.values():
        return ""
    return next((kind for kind, model in CHANNELS.items() if place.key in model.model_fields), "")


def _unit_slip(key: str, known: list[str], absent: set[str]) -> str:
    """The known key with the same stem and another unit, or ""; rather an absent one, rather of the same quantity."""
    stem, ending = stem_of(key), unit_of(key)
    quantity = UNITS[ending].quantity if ending else ""
    candidates = [name for name in known if stem_of(name) == stem and unit_of(name) and name != key]
    same = [name for name in candidates if UNITS[unit_of(name)].quantity == quantity]
    for names in (same, candidates):
        for name in sorted(names, key=lambda name: name not in absent):
            return name
    return ""


def _converted(key: str, slip: str, value: object) -> str:
    """The advice to write `slip` instead of `key`, with the converted number where a factor does it."""
    ending, wanted = unit_of(key), UNITS[unit_of(slip)]
    if ending and isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e12:
        given = UNITS[ending]
        if given.quantity == wanted.quantity and given.size and wanted.size:
            return f"write {slip} = {value * given.size / wanted.size:.6g}"
    return f"convert the value and write it as {slip}" if ending else f"write it as {slip}"


def _absent(place: Place, tables: dict[str, Any]) -> set[str]:
    """The keys of the section of `place` that the file itself lacks, those that follow from parts among them."""
    written: Any = tables
    for step in place.steps[:-1]:
        try:
            written = written[step]
        except (KeyError, IndexError, TypeError):
            written = {}
    return set(place.owner.model_fields) - set(written if isinstance(written, dict) else ())


def sentences_of(error: ValidationError, tables: dict[str, Any]) -> list[str]:
    """One sentence for each mistake that was found key by key in the tables of the file."""
    found = [(item["type"], place_of(item["loc"]), item["input"])
             for item in error.errors(include_url=False, include_context=False)]
    absent = {place.section: _absent(place, tables) for _kind, place, _value in found}
    unknown = {place.path: _say_unknown(place, value, absent.get(place.section, set()))
               for kind, place, value in found if kind == "extra_forbidden"}
    # a key written wrongly is one mistake, not an unknown key and a missing one
    explained = {(place.section, unknown[place.path].meant) for kind, place, _ in found if kind == "extra_forbidden"}
    sentences = []
    for kind, place, value in found:
        if kind == "extra_forbidden":
            sentences.append(unknown[place.path].sentence)
        elif kind == "missing" and (place.section, place.key) in explained:
            continue
        elif kind == "too_short" and value:
            continue  # rows are there; what is wrong in them is told by itself
        else:
            sentences.append(SENTENCES.get(kind, _say_other)(place, value))
    return sentences
