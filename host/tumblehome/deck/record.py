"""The record of a check on deck: what was read and when, how each item was judged, and who accepted what.

It is JSON, and the SHA-256 of its bytes is shown, so that a copy can be told from the one that was signed off. The
hashes in it are what a journal that is read after the dive is compared with: the mission record on the board, the
digest of its firmware, and the newest record of the journal before the splash.
"""

import json
from collections.abc import Mapping, Sequence
from typing import Any

from lander import VERSION
from seatrial.plan import Plan
from seatrial.scenario import plan_hash
from seatrial.workings.card import mark_of
from tumblehome.deck.conduct import Conducted
from tumblehome.deck.judging import Judged, reasons
from tumblehome.deck.reading import Read, sha256, stamp

GO, NO_GO = "GO", "NO-GO"
FORM = 1  # of the record; another number means that older readers cannot read it


def account_of(done: Conducted, by: str, cautions: Sequence[str]) -> dict[str, Any]:
    """The content of deck.json. `by` is who signs; empty where nobody did."""
    read = done.read
    return {
        "tool": "tumblehome", "version": VERSION, "kind": "check on deck", "form": FORM,
        "verdict": GO if done.is_go else NO_GO, "armed": done.is_armed, "by": by or None,
        "practice_board": read.is_practice, "began_utc": stamp(read.began), "ended_utc": stamp(done.ended),
        "splash_utc": stamp(read.splash), "reasons": [] if done.is_go else reasons(done.items),
        "plan": _plan(read.plan), "board": dict(read.greeting), "hashes": _hashes(read),
        "items": [_item(each) for each in done.items], "answers": dict(read.answers), "arming": read.armed,
        "cautions": list(cautions), "readings": done.notes}


def _plan(plan: Plan) -> dict[str, Any]:
    record = plan.mission_record()
    return {"name": plan.dive.name, "toml": plan.source_text, "numbers_hash": plan_hash(plan),
            "mission_record_sha256": sha256(record), "mark": mark_of(record)}


def _hashes(read: Read) -> dict[str, Any]:
    return {"plan_on_board_sha256": None if read.record is None else sha256(read.record),
            "firmware_digest": read.firmware_digest, "firmware_expected": read.firmware_expected,
            "journal": {**read.journal, "newest_crc": read.journal_newest_crc}}


def _item(each: Judged) -> dict[str, Any]:
    finding = each.finding
    return {"key": each.item.key, "part": each.item.part, "ok": finding.ok, "word": each.word, "found": finding.found,
            "wanted": finding.wanted or None, "can_be_accepted": not finding.final, "accepted_because": each.accepted}


def written(account: Mapping[str, Any]) -> bytes:
    """The record as its file has it; the same record gives the same bytes."""
    return (json.dumps(account, indent=1, ensure_ascii=False) + "\n").encode()
