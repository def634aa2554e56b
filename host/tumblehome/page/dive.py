"""The page of one dive: did it come home, by which path, when, and which law broke; then what happened and why."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from tumblehome.page import charts, course, parts
from tumblehome.page.clock import DiveClock
from tumblehome.page.course import Course
from tumblehome.page.parts import Column, Html
from tumblehome.wording import elapsed

_PATHS = {
    "primary": "The primary release",
    "backup": "The backup release",
    "second board": "The second board, which drove the backup release",
    "passive": "The corroding link",
    "ballast lost": "The ballast came off without a release",
    "none": "None: nothing freed it",
}
_SERIES = ("time_s", "depth_m", "sensed_depth_m", "supply_v", "current_a", "camera_c", "housing_c", "water_c")
_NEEDED = ("tool", "version", "seed", "plan_name", "plan_toml", "command", "outcome", "series", "spans", "timeline",
           "attempts", "faults", "laws", "figures", "cautions")


class _Dive:
    """The input, checked, with its clock and its time axis (seconds since the splash)."""

    def __init__(self, dive: Mapping[str, Any]) -> None:
        missing = [key for key in _NEEDED if key not in dive]
        if missing:
            raise ValueError(f"this dive has no {missing[0]!r}; it was not written by a rehearsal, or is cut short:"
                             " rehearse it again")
        begun = [fault for fault in dive["faults"] if fault["from_s"] is not None]
        self.never_began = [fault for fault in dive["faults"] if fault["from_s"] is None]
        self.dive = {**dive, "faults": begun}
        self.outcome = dive["outcome"]
        self.second = dive.get("second") or {}
        self.second_attempts = self.second.get("attempts", ())
        self.clock = DiveClock(self.outcome.get("splash_s"), dive.get("splash_utc"))
        self.series = _read_series(dive["series"])
        self.times = self.series["time_s"] - self.clock.origin_s
        self.start_s, self.end_s = self._reach()

    def _reach(self) -> tuple[float, float]:
        """First and last instant of the run that anything is known of, in seconds of the run."""
        known = [0.0, float(self.outcome.get("end_s") or 0.0)]
        known += [span["to_s"] for span in self.dive["spans"]]
        if len(self.times):
            known.append(float(self.series["time_s"][-1]))
        return min(known), max(*known, 1.0)

    @property
    def course(self) -> Course:
        """What the charts draw."""
        return Course(
            self.clock, self.times, self.series, self.start_s, self.end_s, self.dive["spans"], self.dive["attempts"],
            self.second_attempts, self.dive["faults"],
            [entry["time_s"] for entry in self.dive["timeline"] if entry["kind"] == "reset"],
            self.outcome.get("surfaced_s"))

    def until(self, happening: Mapping[str, Any]) -> float:
        """When a happening ended, in seconds of the run: the end of the run if it never did."""
        return self.course.until(happening)


def dive_page(dive: dict[str, Any]) -> str:
    """One HTML file that shows a dive and opens with no network.

    `dive` is the content of a dive.json; its lists may be empty and its series may hold None. Raises ValueError,
    in one sentence, when a part is missing, the series differ in length or `splash_utc` is no instant.
    """
    checked = _Dive(dive)
    sections = (course.section("What happened", checked.course), _laws(checked), _figures(checked), _attempts(checked),
                _faults(checked), _timeline(checked))
    body = parts.join((_header(checked), _verdict(checked), parts.contents(*sections), *sections, _cautions(checked),
                       _origin(checked)))
    return parts.frame(f"{_verdict_of(checked).word}: {dive['plan_name']}", body, _footer(checked))


def _read_series(series: Mapping[str, Any]) -> dict[str, np.ndarray]:
    times = charts.numbers(series.get("time_s") or ())
    read = {"time_s": times}
    for key in _SERIES[1:]:
        values = series.get(key) or [None] * len(times)
        if len(values) != len(times):
            raise ValueError(f"series {key} has {len(values)} values and time_s has {len(times)}; every series needs"
                             " one value for each time, None where there is none")
        read[key] = charts.numbers(values)
    return read


def _header(checked: _Dive) -> Html:
    clock, dive = checked.clock, checked.dive
    splash = clock.utc(clock.origin_s)
    when = f"Splash {splash} UTC" if splash else "Date of the splash not known"
    return parts.element("header", parts.join((
        parts.element("p", "Rehearsal of a dive", class_="kind"), parts.element("h1", dive["plan_name"]),
        parts.element("p", f"{when} · seed {dive['seed']} · {dive['tool']} {dive['version']}", class_="when"))))


def _broken(checked: _Dive) -> list[Mapping[str, Any]]:
    return [law for law in checked.dive["laws"] if law["verdict"] == "broken"]


def _verdict_of(checked: _Dive) -> parts.Verdict:
    outcome, broken = checked.outcome, _broken(checked)
    whole = outcome["within_laws"] and not broken
    count = f"{len(broken)} {'law' if len(broken) == 1 else 'laws'} broken" if broken else "a law was broken"
    if outcome["home"]:
        word = "Home, within the laws" if whole else f"Home, but {count}"
        return parts.Verdict("good" if whole else "warn", word, outcome["sentence"])
    return parts.Verdict("bad", "Not home" if whole else f"Not home; {count}", outcome["sentence"])


def _verdict(checked: _Dive) -> Html:
    outcome, clock = checked.outcome, checked.clock
    surfaced = outcome.get("surfaced_s")
    facts = [("Freed by", _PATHS.get(outcome["path"], outcome["path"])),
             ("At the surface", "Never seen there" if surfaced is None else f"{clock.elapsed(surfaced)} after"
              f" {clock.origin_name}")]
    if surfaced is not None and clock.utc(surfaced):
        facts.append(("Surfaced, UTC", clock.utc(surfaced)))
    facts.append(("Laws", _law_count(checked)))
    alarms = [parts.law_alarm(law["number"], law["name"], law["sentence"]) for law in _broken(checked)]
    return parts.verdict_panel(_verdict_of(checked), facts, alarms)


def _law_count(checked: _Dive) -> str:
    verdicts = [law["verdict"] for law in checked.dive["laws"]]
    worst_first = dict.fromkeys(("broken", "excused", "kept", *verdicts))
    counted = [f"{verdicts.count(verdict)} {verdict}" for verdict in worst_first if verdict in verdicts]
    return ", ".join(counted) or "None judged"


def _cautions(checked: _Dive) -> Html:
    return parts.note(*checked.dive["cautions"], heading="Caution") if checked.dive["cautions"] else Html("")


def _laws(checked: _Dive) -> Html:
    columns = (Column("Law", numeric=True), Column("Name"), Column("Verdict"), Column("Why"))
    laws = checked.dive["laws"]
    rows = [(law["number"], law["name"], parts.badge(law["verdict"], parts.LAW_TONES.get(law["verdict"], "plain")),
             law["sentence"]) for law in laws]
    if not rows:
        return parts.section("The laws", parts.note("No law was judged in this run."), name="laws")
    marks = ["alarm" if law["verdict"] == "broken" else "" for law in laws]
    return parts.section("The laws", parts.table("Each law of the mission and how this dive stands to it.",
                                                 columns, rows, marks), name="laws")


def _figures(checked: _Dive) -> Html:
    if not checked.dive["figures"]:
        return Html("")
    return parts.section("Key figures", parts.key_figures(checked.dive["figures"]), name="figures")


def _time_cell(checked: _Dive, time_s: float) -> Html:
    return parts.time_button(checked.clock.elapsed(time_s), checked.clock.since(time_s))


def _time_columns(checked: _Dive) -> tuple[Column, ...]:
    since = Column(f"Since {checked.clock.origin_name}", numeric=True)
    return (since, Column("UTC", numeric=True)) if checked.clock.origin_utc else (since,)


def _time_cells(checked: _Dive, time_s: float) -> tuple[Html | str, ...]:
    utc = checked.clock.utc(time_s)
    return (_time_cell(checked, time_s), utc) if utc else (_time_cell(checked, time_s),)


def _attempts(checked: _Dive) -> Html:
    return parts.section("Release attempts", parts.join((_main_attempts(checked), _second_attempts(checked))),
                         name="attempts")


def _main_attempts(checked: _Dive) -> Html:
    attempts = checked.dive["attempts"]
    if not attempts:
        return parts.element("p", "No release was attempted by the main board." if checked.second
                             else "No release was attempted.")
    columns = (Column("Attempt", numeric=True), *_time_columns(checked), Column("Channel"),
               Column("Drive", numeric=True), Column("Lasted", numeric=True), Column("How it ended"))
    rows = [(number, *_time_cells(checked, attempt["from_s"]), attempt["channel"], f"{attempt['drive_pct']} %",
             elapsed(checked.until(attempt) - attempt["from_s"]), attempt["end"])
            for number, attempt in enumerate(attempts, 1)]
    return parts.table("Every time a release channel was energised.", columns, rows)


def _second_attempts(checked: _Dive) -> Html:
    """What the second board did; nothing where none is fitted."""
    second, clock = checked.second, checked.clock
    if not second:
        return Html("")
    heard_s = second["heartbeat_heard_s"]
    heard = "never" if heard_s is None else f"last {clock.elapsed(heard_s)} after {clock.origin_name}"
    told = (f"The second board was due to fire the backup {clock.elapsed(second['deadline_s'])} after"
            f" {clock.origin_name}; it heard the main board's heartbeat {heard}.")
    if not checked.second_attempts:
        return parts.element("p", f"{told} It fired nothing.")
    columns = (Column("Attempt", numeric=True), *_time_columns(checked), Column("Drive", numeric=True),
               Column("Lasted", numeric=True), Column("What came of it"))
    rows = [(number, *_time_cells(checked, attempt["from_s"]), f"{attempt['drive_pct']} %",
             elapsed(checked.until(attempt) - attempt["from_s"]),
             "freed the ballast" if attempt["freed"] else "freed nothing")
            for number, attempt in enumerate(checked.second_attempts, 1)]
    return parts.join((parts.element("p", told), parts.table(
        "Every time the second board energised the backup release.", columns, rows)))


def _faults(checked: _Dive) -> Html:
    faults = checked.dive["faults"]
    idle = parts.join([parts.element("p", "Never began, since its moment never came: %s, %s" % (
        fault["name"], fault["what"])) for fault in checked.never_began])
    if not faults:
        return parts.section("Faults", idle if checked.never_began else parts.element(
            "p", "No fault was put into this dive."), name="faults")
    columns = (*_time_columns(checked), Column("Until", numeric=True), Column("Fault"), Column("What it does"))
    rows = [(*_time_cells(checked, fault["from_s"]),
             "the end" if fault.get("to_s") is None else checked.clock.elapsed(fault["to_s"]), fault["name"],
             fault["what"]) for fault in faults]
    return parts.section("Faults", parts.join((
        parts.table("What was broken on purpose, and for how long.", columns, rows), idle)), name="faults")


def _timeline(checked: _Dive) -> Html:
    entries = checked.dive["timeline"]
    if not entries:
        return parts.section("Timeline", parts.element("p", "The journal holds no entry."), name="timeline")
    columns = (*_time_columns(checked), Column("State"), Column("Depth, m", numeric=True), Column("What"),
               Column("Reason"))
    rows = [(*_time_cells(checked, entry["time_s"]), entry["state"],
             "" if entry["depth_m"] is None else f"{entry['depth_m']:.1f}", _what(entry), entry["reason"])
            for entry in entries]
    marks = ["alarm" if entry["kind"] in ("fault", "reset") else "" for entry in entries]
    return parts.section("Timeline", parts.table("What happened, in order. A time puts the cursor of the charts there.",
                                                 columns, rows, marks), name="timeline")


def _what(entry: Mapping[str, Any]) -> Html:
    if entry["kind"] in ("state", "event"):
        return parts.text(entry["what"])
    return Html(f"{parts.badge(entry['kind'], 'plain')} {parts.text(entry['what'])}")


def _origin(checked: _Dive) -> Html:
    dive = checked.dive
    return parts.section(
        "Where this comes from",
        parts.element("p", "The same seed, version and plan give the same dive, byte for byte. To see it again:"),
        parts.code_block(dive["command"], copy_name="Copy the command"),
        parts.facts_list((("Seed", str(dive["seed"])), ("Version", f"{dive['tool']} {dive['version']}"),
                          ("Mission code ran in", dive.get("body") or "not recorded"))),
        parts.the_plan(dive["plan_toml"]))


def _footer(checked: _Dive) -> Html:
    dive = checked.dive
    return parts.element("p", f"{dive['tool']} {dive['version']} · seed {dive['seed']} · {dive['plan_name']}")
