"""A dive against the check on deck before it: the same lander, the same plan, the same firmware, the same journal?

The record is the deck.json of `tumblehome deck` (`tumblehome.deck.record`).
"""

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from lander import VERSION, table
from seatrial.complaints import complaint
from seatrial.plan import Plan
from seatrial.scenario import plan_hash
from tumblehome.debrief import physics
from tumblehome.debrief.log import Log, LogError
from tumblehome.deck.reading import sha256
from tumblehome.deck.record import FORM

KIND = "check on deck"
REST_BAND_MV = 150.0  # a pack at rest loses no more between the check and the arming; our own choice


@dataclass(frozen=True)
class Agreed:
    """Something that the check has written down beside what the dive shows: `same` is None where one is missing;
    `way_out` says what it means where they are not the same, and what to do.
    """

    words: str
    on_deck: str
    in_dive: str
    same: bool | None
    way_out: str = ""


OTHER_PLAN = "the plan was changed since, or is that of another dive: name the plan that was on the board"
OTHER_JOURNAL = ("this journal is not the one that was on the board, but a rehearsal's, another board's, or one begun"
                 " since: pull the journal of the dive into the folder of its own check")
NOT_THIS_CHECK = "this check did not arm the lander: name the deck.json of the check that did"
OTHER_FIRMWARE = "the board did not hold this tool's firmware: look into the record of the check for the reason given"
OTHER_TOOL = "debrief with the version that checked, or expect small differences in the numbers"
OTHER_SUPPLY = "another pack, or one that was used or charged since the check"


def read(path: Path) -> dict[str, Any]:
    """The record of a check on deck. Raises LogError."""
    try:
        record = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise LogError("%s cannot be read: %s; name the deck.json of the check before this dive" % (
            path, complaint(error))) from None
    except ValueError:
        record = None
    if not isinstance(record, dict) or record.get("kind") != KIND:
        raise LogError("%s is no record of a check on deck: name the deck.json that `tumblehome deck` has written"
                       % path)
    if record.get("form") != FORM:
        raise LogError("%s is a record of form %s; this tool reads form %d: bring it up to date" % (
            path, record.get("form"), FORM))
    return record


def compare(log: Log, plan: Plan, record: Mapping[str, Any]) -> list[Agreed]:
    """What the check and the dive have in common. Raises LogError where they are of two landers."""
    on_deck = _text(record, "board", "id")
    if log.chip is not None and on_deck and log.chip != on_deck:
        raise LogError("%s is the journal of chip %s, and the check on deck was of chip %s: another lander; name the"
                       " deck.json of this one, or the journal of that one" % (log.source, log.chip, on_deck))
    return list(_rows(log, plan, record))


def _rows(log: Log, plan: Plan, record: Mapping[str, Any]) -> Iterator[Agreed]:
    yield _same("chip of the controller", _text(record, "board", "id"), log.chip or "")
    yield _same("numbers of the plan", _text(record, "plan", "numbers_hash"), plan_hash(plan), OTHER_PLAN)
    yield _same("mission record of the plan", _text(record, "hashes", "plan_on_board_sha256"),
                sha256(plan.mission_record()), OTHER_PLAN)
    yield _same("firmware, as expected", _text(record, "hashes", "firmware_digest"),
                _text(record, "hashes", "firmware_expected"), OTHER_FIRMWARE)
    yield _same("version of the tool", _text(record, "version"), VERSION, OTHER_TOOL)
    yield _same("verdict and arming", "%s, %s" % (_text(record, "verdict"),
                                                  "armed" if record.get("armed") else "not armed"), "GO, armed",
                NOT_THIS_CHECK)
    yield _newest(log, record)
    yield _rest(log, record)


def _text(record: Mapping[str, Any], *way: str) -> str:
    found: Any = record
    for name in way:
        found = found.get(name) if isinstance(found, Mapping) else None
    return "" if found is None else str(found)


def _same(words: str, on_deck: str, in_dive: str, way_out: str = "") -> Agreed:
    return Agreed(words, on_deck, in_dive, on_deck == in_dive if on_deck and in_dive else None, way_out)


def _newest(log: Log, record: Mapping[str, Any]) -> Agreed:
    """Whether this journal goes on from the one that lay on the controller then."""
    number, crc = _text(record, "hashes", "journal", "newest"), _text(record, "hashes", "journal", "newest_crc")
    words = "newest record at the check"
    if not number or number == "-1" or not crc:
        return Agreed(words, "none", "", None)
    found = log.records[log.records["sequence"] == int(number)] if number.lstrip("-").isdigit() else log.records[:0]
    if not len(found):
        return Agreed(words, "%s, checksum %s" % (number, crc), "not in this journal", False, OTHER_JOURNAL)
    return _same(words, "%s, checksum %s" % (number, crc), "%s, checksum %04X" % (number, int(found["crc"][0])),
                 OTHER_JOURNAL)


def _rest(log: Log, record: Mapping[str, Any]) -> Agreed:
    """The supply at rest, then and armed on deck."""
    notes = [note.get("answer") for note in record.get("readings", ()) if isinstance(note, Mapping)]
    at_rest = [float(note["supply_mv"]) for note in notes
               if isinstance(note, Mapping) and str(note.get("supply_mv", "")).isdigit() and _is_idle(note)]
    good = (log.records["state"] <= table.ARMED) & ((log.records["signs"] & physics.SUPPLY_OK) > 0)
    good &= log.records["drives"] == 0
    words = "supply at rest, mV"
    if not at_rest or not good.any():
        return Agreed(words, "", "", None)
    then_mv, now_mv = float(np.median(at_rest)), float(np.median(log.records["supply_mv"][good]))
    return Agreed(words, "%.0f" % then_mv, "%.0f" % now_mv, abs(then_mv - now_mv) <= REST_BAND_MV,
                  OTHER_SUPPLY)


def _is_idle(note: Mapping[str, Any]) -> bool:
    """Nothing but the controller was on."""
    return not any(int(note.get(name, 0) or 0) for name in (
        "camera_supply", "lights_pct", "fan", "release_primary_pct", "release_backup_pct", "report"))
