"""The account of a dive: outcome, figures, timeline and verdicts as plain data, for pages, files and machines.

This is the content of `dive.json`; every number has its unit in its key or beside it.
"""

from collections.abc import Callable

from lander import VERSION
from lander.orders import RECORD_BYTES as ORDERS_BYTES
from seatrial.evidence import Evidence, SecondEvidence
from seatrial.laws import BROKEN, clock_text
from seatrial.result import DiveResult
from seatrial.verdicts import counted

CAUTIONS = (
    "Simulation lowers risk and proves nothing about hardware that was not tested.",
    "Lithium packs in a sealed housing: a flooded or gassing housing can open with force. Follow the maker's rules.",
    "Heavy ballast and lines on a moving deck: keep clear of the fall and of the bight.",
    "An electrolytic release makes hydrogen and chlorine: not in closed rooms.",
    "Strobes and lamps hurt eyes at close range.",
    "Ballast left on the seabed, radio transmitters and work at sea are regulated: local rules and licensed people"
    " decide.",
)
ARMED_BY = "safe-arm"  # the row of the mission table
BY_SECOND = "second board"  # the path home on which it drove the backup release
BY_PATH = {
    "primary": "freed by the primary release",
    "backup": "freed by the backup release",
    BY_SECOND: "freed by the second board, which drove the backup release",
    "passive": "freed by the corroding link alone",
    "": "with nothing released",
}


def account(result: DiveResult, command: str) -> dict:
    """All that is to be told of this dive; `command` replays it."""
    evidence = result.evidence
    plan = result.plan
    return {
        "tool": "tumblehome",
        "version": VERSION,
        "seed": result.seed,
        "body": result.body,
        "plan_name": plan.dive.name,
        "plan_toml": plan.source_text,
        "mission_record_bytes": ORDERS_BYTES,
        "command": command,
        "splash_utc": plan.dive.splash_utc.strftime("%Y-%m-%dT%H:%M:%SZ"),
        "outcome": outcome(result),
        "laws": [verdict.__dict__ for verdict in result.verdicts],
        "figures": figures(result),
        "timeline": [item.__dict__ for item in sorted(evidence.timeline, key=lambda item: item.time_s)],
        "spans": [{"state": span.name, "from_s": span.from_s,
                   "to_s": evidence.end_s if span.to_s is None else span.to_s} for span in evidence.spans],
        "attempts": [{"from_s": attempt.from_s, "to_s": evidence.end_s if attempt.to_s is None else attempt.to_s,
                      "channel": attempt.channel, "drive_pct": attempt.drive_pct, "end": attempt.end}
                     for attempt in evidence.attempts],
        "second": _second(evidence),
        "faults": [{"name": fault.name, "written": str(fault), "from_s": from_s, "to_s": to_s,
                    "what": fault.sentence()} for fault, from_s, to_s in result.faults],
        "series": _series(result),
        "steps": result.steps,
        "cautions": list(CAUTIONS),
    }


def is_home(evidence: Evidence) -> bool:
    """At the surface, or safely back on deck."""
    return evidence.surfaced_s is not None or evidence.hauled_s is not None or evidence.under_s is None


def within_laws(result: DiveResult) -> bool:
    return not any(verdict.verdict == BROKEN for verdict in result.verdicts)


def outcome(result: DiveResult) -> dict:
    evidence = result.evidence
    path = _freed_by(evidence) if evidence.surfaced_s is not None else "none"
    if evidence.surfaced_s is not None and not evidence.freed_by:
        path = "ballast lost"
    return {
        "home": is_home(evidence),
        "within_laws": within_laws(result),
        "path": path,
        "sentence": _sentence(evidence),
        "splash_s": evidence.splash_s,
        "surfaced_s": evidence.surfaced_s,
        "end_s": evidence.end_s,
        "east_m": None if result.surfaced_at is None else result.surfaced_at[0],
        "north_m": None if result.surfaced_at is None else result.surfaced_at[1],
    }


def _sentence(evidence: Evidence) -> str:
    told = _how_it_ended(evidence)
    if ARMED_BY in evidence.rows_seen or not evidence.arming_refused:
        return told
    return "%s It was never armed: %s." % (told, evidence.arming_refused)


def _how_it_ended(evidence: Evidence) -> str:
    if evidence.hauled_s is not None:
        return "Hauled back on deck %s after the splash." % clock_text(evidence.hauled_s - evidence.splash_s)
    if evidence.under_s is None:
        return "It never went under."
    if evidence.surfaced_s is None:
        return "Still down %s after the splash: %s." % (
            clock_text(evidence.end_s - evidence.splash_s), evidence.why_down)
    return "At the surface %s after the splash, %s." % (
        clock_text(evidence.surfaced_s - evidence.splash_s), BY_PATH[_freed_by(evidence)])


def _freed_by(evidence: Evidence) -> str:
    return BY_SECOND if evidence.freed_by_second else evidence.freed_by


def _second(evidence: Evidence) -> dict | None:
    """What the second board did; None where none is fitted."""
    second = evidence.second
    if second is None:
        return None
    return {
        "deadline_s": evidence.splash_s + second.deadline_s,
        "attempts": [{"from_s": drive.from_s, "to_s": evidence.end_s if drive.to_s is None else drive.to_s,
                      "drive_pct": drive.drive_pct, "freed": drive.freed} for drive in second.drives],
        "heartbeat_heard_s": second.heard_s,
        "starts": len(second.powered),
        "battery_left_fraction": second.left_fraction,
    }


def figures(result: DiveResult) -> list[dict]:
    """Key numbers of the dive, in the words of the field."""
    evidence = result.evidence
    rows = []

    def row(name: str, text: str, note: str = "") -> None:
        rows.append({"name": name, "text": text, "note": note})

    down_s = _between(evidence.splash_s, evidence.touchdown_s)
    if down_s:
        row("Descent", clock_text(down_s), "from the splash to the bottom")
        row("Descent rate", "%.2f m/s" % (evidence.deepest_m / down_s), "mean")
    if evidence.touchdown_s is not None:
        over_s = evidence.left_bottom_s if evidence.left_bottom_s is not None else evidence.end_s
        row("Bottom time", clock_text(over_s - evidence.touchdown_s))
        row("Recorded on the bottom", clock_text(evidence.recorded_on_bottom_s), "until the release was commanded")
    if evidence.command_s is not None:
        row("Release commanded", clock_text(evidence.command_s - evidence.splash_s), evidence.command_reason)
    if evidence.freed_s is not None and evidence.command_s is not None and evidence.freed_by != "passive":
        row("Command to freed", clock_text(evidence.freed_s - evidence.command_s),
            counted(len(evidence.attempts), "attempt"))
    up_s = _between(evidence.left_bottom_s, evidence.surfaced_s)
    if up_s:
        row("Ascent rate", "%.2f m/s" % (evidence.deepest_m / up_s), "mean")
    if evidence.left_at_command_mah is not None:
        row("Left at the release", "%.0f mAh" % evidence.left_at_command_mah,
            "reserve is %d mAh" % result.plan.orders().reserve_mah)
    if result.surfaced_at is not None:
        east_m, north_m = result.surfaced_at
        row("Surfaced from the splash", "%.0f m east, %.0f m north" % (east_m, north_m), "current only")
        heard = "never" if evidence.heard_s is None else clock_text(evidence.heard_s - evidence.splash_s)
        row("Position heard", heard, "after the splash")
    row("Lowest supply", "%.1f V" % (min(result.series.supply_mv, default=0.0) / 1000.0))
    row("Hottest camera", "%.0f degC" % max(result.series.camera_c, default=0.0))
    row("Resets", "%d" % len(evidence.resets_s))
    if evidence.second is not None:
        _second_rows(evidence, evidence.second, row)
    return rows


def _second_rows(evidence: Evidence, second: SecondEvidence, row: Callable[..., None]) -> None:
    fired = clock_text(second.drives[0].from_s - evidence.splash_s) if second.drives else "never"
    row("Second board fired", fired, "%s, due %s after the splash%s" % (
        counted(len(second.drives), "attempt"), clock_text(second.deadline_s),
        "; it freed the ballast" if evidence.freed_by_second else ""))
    heard = "never" if second.heard_s is None else clock_text(second.heard_s - evidence.splash_s)
    row("Second board heard the main one", heard, "the last heartbeat")
    row("Second board's battery left", "%.0f %%" % (100.0 * second.left_fraction), "at the end of the run")


def _between(from_s: float | None, to_s: float | None) -> float | None:
    return None if from_s is None or to_s is None else to_s - from_s


def _series(result: DiveResult) -> dict:
    series = result.series
    water = result.water
    return {
        "time_s": [round(value, 1) for value in series.time_s],
        "depth_m": [round(value, 2) for value in series.depth_m],
        "sensed_depth_m": [None if value is None else round(water.depth_at(value), 2)
                           for value in series.pressure_mbar],
        "supply_v": [round(value / 1000.0, 3) for value in series.supply_mv],
        "current_a": [round(value / 1000.0, 3) for value in series.load_ma],
        "camera_c": [round(value, 2) for value in series.camera_c],
        "housing_c": [round(value, 2) for value in series.housing_c],
        "water_c": [round(value, 2) for value in series.water_c],
    }
