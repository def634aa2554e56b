"""What a campaign came to, as plain data: the content of `sweep.json`, and what the page and the terminal tell."""

from collections.abc import Iterable, Sequence
from itertools import combinations
from pathlib import Path
from typing import Any

from lander import VERSION
from seatrial.account import CAUTIONS
from seatrial.campaign.blaming import Cause, harms_of, kinds_in
from seatrial.campaign.choosing import Campaign, kinds_of
from seatrial.campaign.flying import Row
from seatrial.campaign.phases import phases
from seatrial.faults import parse, parse_when
from seatrial.laws import BROKEN, EXCUSED, LAWS, SECOND_LAW, Law
from seatrial.plan import Plan
from seatrial.scenario import plan_hash, replay_command

EXTREMES = 8  # dives in the lists of the latest and of the emptiest
# What two faults came to in a picture of fault against fault, the best first; the page draws each its own way.
NOT_FLOWN, HOME, LATE, LOST_ALONE, LOST_TOGETHER, BROKEN_ALONE, BROKEN_TOGETHER = range(7)


def summary(campaign: Campaign, plan: Plan, plan_path: Path | None, rows: Sequence[Row], causes: Sequence[Cause],
            causes_of: dict[tuple[int, str], tuple[str, ...]], planned: int, command: str) -> dict[str, Any]:
    """All that is to be told of a campaign. `planned` is the number of its dives, `command` runs it again."""
    return {
        "tool": "tumblehome",
        "version": VERSION,
        "plan_name": plan.dive.name,
        "plan_hash": plan_hash(plan),
        "plan_toml": plan.source_text,
        "campaign": campaign.told(),
        "seed": campaign.seed,
        "command": command,
        "phases": [{"name": phase.name, "when": phase.when, "onset": str(parse_when(phase.when)), "words": phase.words}
                   for phase in phases(plan).values()],
        "dives": {
            "planned": planned, "flown": len(rows), "home": sum(row.home for row in rows),
            "lost_possible": sum(not row.home and row.possible for row in rows),
            "lost_impossible": sum(not row.home and not row.possible for row in rows),
            "late": sum(_late(row) for row in rows), "failed": sum(bool(row.error) for row in rows),
            "never_began": sum(bool(row.never_began) for row in rows)},
        "within_laws": within_laws(rows),
        "laws": [_law(law, rows) for law in laws_of(plan)],
        "paths": _paths(rows),
        "causes": [_cause(cause, plan_path) for cause in causes],
        "latest": _extremes((row for row in rows if row.lateness_s is not None),
                            lambda row: -(row.lateness_s or 0.0), plan_path),
        "emptiest": _extremes((row for row in rows if row.left_mah is not None),
                              lambda row: (row.left_mah or 0.0) - row.reserve_mah, plan_path),
        "picture": _picture(campaign, rows, causes_of),
        "moments": _moments(rows),
        "took_s": round(sum(row.took_s for row in rows), 1),
        "sea_s": round(sum(row.sea_s for row in rows)),
        "cautions": list(CAUTIONS),
    }


def within_laws(rows: Iterable[Row]) -> bool:
    """No law broken and no lander lost where a release was physically possible, and no dive that failed to run."""
    return not any(row.possible and harms_of(row) for row in rows)


def laws_of(plan: Plan) -> tuple[Law, ...]:
    """The laws that are judged in a dive of this plan."""
    return (*LAWS, SECOND_LAW) if plan.second.fitted else LAWS


def _late(row: Row) -> bool:
    return row.lateness_s is not None and row.lateness_s > 0.0


def _law(law: Law, rows: Sequence[Row]) -> dict[str, Any]:
    verdicts = [(row, verdict) for row in rows for number, verdict, _ in row.verdicts if number == law.number]
    broken = sum(verdict == BROKEN for _, verdict in verdicts)
    excused = sum(verdict == EXCUSED for _, verdict in verdicts)
    return {"number": law.number, "name": law.name, "text": law.text,
            "kept": sum(not row.error for row in rows) - len(verdicts), "excused": excused, "broken": broken,
            "broken_possible": sum(verdict == BROKEN and row.possible for row, verdict in verdicts)}


def _paths(rows: Sequence[Row]) -> list[dict[str, Any]]:
    """How they came home: the path, how many, and the worst lateness in s."""
    found: dict[str, list[Row]] = {}
    for row in rows:
        found.setdefault(row.path if row.home else "lost", []).append(row)
    return [{"path": path, "dives": len(members),
             "latest_s": max((row.lateness_s for row in members if row.lateness_s is not None), default=None)}
            for path, members in sorted(found.items(), key=lambda item: -len(item[1]))]


def _cause(cause: Cause, plan_path: Path | None) -> dict[str, Any]:
    return {"harm": cause.harm, "kinds": list(cause.kinds), "dives": cause.dives, "avoidable": cause.avoidable,
            "onsets": list(cause.onsets), "faults": list(cause.faults), "seed": cause.seed,
            "sentence": cause.sentence, "command": replay_command(plan_path, cause.faults, cause.seed)}


def _extremes(rows: Iterable[Row], key, plan_path: Path | None) -> list[dict[str, Any]]:
    worst = sorted(rows, key=lambda row: (key(row), row.number))[:EXTREMES]
    return [{"faults": list(row.faults), "seed": row.seed, "path": row.path, "home": row.home,
             "lateness_s": row.lateness_s, "left_mah": row.left_mah, "reserve_mah": row.reserve_mah,
             "command": replay_command(plan_path, row.faults, row.seed)} for row in worst]


# --- fault against fault -------------------------------------------------------------------------------------------


def _picture(campaign: Campaign, rows: Sequence[Row], causes_of) -> dict[str, Any]:
    """For every two kinds what the dives with both came to; on the diagonal, each kind alone.

    A cell has its `level`, the number of `dives` with these kinds, the worst `lateness_s` of dives without others,
    and `harms`. A harm in a dive of more faults counts for the kinds of its cause.
    """
    kinds = kinds_of(campaign.only)
    cells: dict[tuple[str, ...], dict[str, Any]] = {}
    for row in rows:
        names = kinds_in(row.faults)
        harms = [(harm, kinds_in(causes_of[row.number, harm])) for harm in harms_of(row)]
        for pair in [names] if len(names) == 1 else combinations(names, 2):
            _count(cells, pair, row, len(names) <= 2)
        for harm, guilty in harms:
            where = names if 1 <= len(names) <= 2 else guilty
            if 1 <= len(where) <= 2:
                alone = len(where) == 1 or len(guilty) > 1
                _mark(cells, where, row, guilty,
                      harm if alone else "%s by %s" % (harm, " ".join(guilty) or "no fault"))
    return {"kinds": [{"name": kind.name, "group": kind.group, "what": kind.what} for kind in kinds],
            "cells": [{"kinds": list(names), **cell} for names, cell in sorted(cells.items())]}


def _moments(rows: Sequence[Row]) -> list[dict[str, Any]]:
    """For every kind alone and every onset what its dives came to, as in a cell of the picture."""
    cells: dict[tuple[str, ...], dict[str, Any]] = {}
    for row in rows:
        if len(row.faults) == 1:
            fault = parse(row.faults[0])
            key = (fault.name, str(fault.when))
            _count(cells, key, row, True)
            for harm in harms_of(row):
                _mark(cells, key, row, (fault.name,), harm)
    return [{"kind": kind, "onset": onset, **cell} for (kind, onset), cell in cells.items()]


def _cell(cells: dict, names: tuple[str, ...]) -> dict[str, Any]:
    return cells.setdefault(names, {"level": HOME, "dives": 0, "lateness_s": None, "harms": []})


def _count(cells: dict, names: tuple[str, ...], row: Row, only_these: bool) -> None:
    cell = _cell(cells, names)
    cell["dives"] += 1
    if not only_these:  # what made it late may be another fault of the same dive
        return
    if row.lateness_s is not None:
        cell["lateness_s"] = max(row.lateness_s, cell["lateness_s"] or row.lateness_s)
    if _late(row):
        cell["level"] = max(cell["level"], LATE)


def _mark(cells: dict, names: tuple[str, ...], row: Row, guilty: tuple[str, ...], said: str) -> None:
    cell = _cell(cells, names)
    together = len(guilty) > 1
    if row.possible:
        level = BROKEN_TOGETHER if together else BROKEN_ALONE
    else:
        level = LOST_TOGETHER if together else LOST_ALONE
    cell["level"] = max(cell["level"], level)
    if said not in cell["harms"]:
        cell["harms"].append(said)
