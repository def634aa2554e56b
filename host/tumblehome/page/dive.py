"""The page of one dive: did it come home, by which path, when, and which law broke; then what happened and why."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

import numpy as np

from tumblehome.page import charts, palette, parts
from tumblehome.page.clock import DiveClock
from tumblehome.page.parts import Column, Html

_PATHS = {
    "primary": "The primary release",
    "backup": "The backup release",
    "second board": "The second board, which drove the backup release",
    "passive": "The passive link",
    "ballast lost": "The ballast came off without a release",
    "none": "None: nothing freed it",
}
_LAW_TONES = {"kept": "good", "broken": "bad", "excused": "warn"}
_SERIES = ("time_s", "depth_m", "sensed_depth_m", "supply_v", "current_a", "camera_c", "housing_c", "water_c")
_NEEDED = ("tool", "version", "seed", "plan_name", "plan_toml", "command", "outcome", "series", "spans", "timeline",
           "attempts", "faults", "laws", "figures", "cautions")


class _Marking(NamedTuple):
    """How one kind of happening is marked."""

    symbol: str
    colour: str
    words: str


_MARKINGS = {
    "primary": _Marking("circle", palette.VERMILLION, "attempt, primary"),
    "backup": _Marking("square-open", "#8a2f63", "attempt, backup"),
    "second": _Marking("diamond-open", palette.INK, "attempt, second board"),
    "reset": _Marking("x-thin", palette.BLACK, "controller reset"),
    "fault": _Marking("triangle-down", palette.BLACK, "fault begins"),
    "surfaced": _Marking("star", palette.BLUE, "surfaced"),
}
_PLAIN = palette.Look(palette.GREY, "/", "")


class _Trace(NamedTuple):
    """A series of a panel and how it is drawn."""

    key: str
    words: str
    colour: str
    dash: str
    width: float
    unit: str
    decimals: int


class _Panel(NamedTuple):
    """A chart below the depth: its heading, its traces, and what its summary calls them."""

    name: str
    heading: str
    traces: tuple[_Trace, ...]


_DEPTH = (
    _Trace("depth_m", "depth", palette.INK, "solid", 3.2, "m", 1),
    _Trace("sensed_depth_m", "depth as the controller reads it", palette.ORANGE, "dash", 1.8, "m", 1),
)
_PANELS = (
    _Panel("volts", "Battery voltage, V", (_Trace("supply_v", "voltage", palette.BLUE, "solid", 1.8, "V", 2),)),
    _Panel("amps", "Battery current, A",
           (_Trace("current_a", "current", palette.VERMILLION, "solid", 1.8, "A", 2),)),
    _Panel("heat", "Temperatures, °C", (
        _Trace("camera_c", "camera", palette.VERMILLION, "solid", 2.2, "°C", 1),
        _Trace("housing_c", "housing", palette.INK, "dash", 1.8, "°C", 1),
        _Trace("water_c", "water", palette.BLUE, "dot", 2.4, "°C", 1))),
)


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
    def window(self) -> tuple[float, float]:
        """The whole run on the time axis, with a little air on both sides."""
        air = 0.01 * (self.end_s - self.start_s)
        return self.clock.since(self.start_s) - air, self.clock.since(self.end_s) + air

    def depth_at(self, time_s: float) -> float:
        """Depth in m at an instant of the run; 0 where it is not known."""
        for key in ("depth_m", "sensed_depth_m"):
            known = ~np.isnan(self.series[key])
            if known.any():
                return float(np.interp(time_s, self.series["time_s"][known], self.series[key][known]))
        return 0.0

    def until(self, happening: Mapping[str, Any]) -> float:
        """When a happening ended, in seconds of the run: the end of the run if it never did."""
        end = happening.get("to_s")
        return self.end_s if end is None else end


def dive_page(dive: dict[str, Any]) -> str:
    """One HTML file that shows a dive and opens with no network.

    `dive` is the content of a dive.json; its lists may be empty and its series may hold None. Raises ValueError,
    in one sentence, when a part is missing, the series differ in length or `splash_utc` is no instant.
    """
    checked = _Dive(dive)
    body = parts.join((
        _header(checked), _verdict(checked), _charts(checked), _laws(checked), _figures(checked),
        _attempts(checked), _faults(checked), _timeline(checked), _cautions(checked), _origin(checked)))
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
    alarms = [f"Law {law['number']} broken, {law['name']}: {law['sentence']}" for law in _broken(checked)]
    return parts.verdict_panel(_verdict_of(checked), facts, alarms)


def _law_count(checked: _Dive) -> str:
    verdicts = [law["verdict"] for law in checked.dive["laws"]]
    worst_first = dict.fromkeys(("broken", "excused", "kept", *verdicts))
    counted = [f"{verdicts.count(verdict)} {verdict}" for verdict in worst_first if verdict in verdicts]
    return ", ".join(counted) or "None judged"


def _cautions(checked: _Dive) -> Html:
    return parts.note(*checked.dive["cautions"], heading="Caution") if checked.dive["cautions"] else Html("")


def _charts(checked: _Dive) -> Html:
    if not checked.dive["spans"] and not len(checked.times):
        return parts.section("What happened", parts.note("No readings were kept of this run."))
    views = _views(checked)
    figures = [_depth_chart(checked), *(_panel_chart(checked, panel) for panel in _PANELS)]
    without = parts.element("noscript", parts.note("The charts need JavaScript; the tables below do not."))
    axis = f"Time runs in hours:minutes:seconds since {checked.clock.origin_name}" \
           + ("; below it UTC." if checked.clock.origin_utc else ".")
    return parts.section("What happened", without, parts.time_buttons(views),
                         parts.element("p", axis, class_="axis-note"), *figures,
                         parts.time_cursor(views[0], _zero_ms(checked.clock), checked.clock.origin_name),
                         name="charts")


def _zero_ms(clock: DiveClock) -> float | None:
    return None if clock.origin_utc is None else clock.origin_utc.timestamp() * 1000


def _views(checked: _Dive) -> list[tuple[str, float, float]]:
    """Windows worth a button, the whole first. Each but the first holds the named states and some air."""
    wanted = (("Descent", ("descend",)), ("Bottom", ("record",)), ("Release", ("release", "backup")),
              ("Ascent", ("ascend",)), ("Surface", ("surface",)))
    views = [("Whole dive", *checked.window)]
    for name, states in wanted:
        spans = [span for span in checked.dive["spans"] if span["state"] in states]
        if spans:
            start, end = min(span["from_s"] for span in spans), max(span["to_s"] for span in spans)
            air = max(5.0, 0.08 * (end - start))
            views.append((name, checked.clock.since(start) - air, checked.clock.since(end) + air))
    return views


def _state_bars(checked: _Dive) -> list[charts.Bar]:
    since = checked.clock.since
    return [charts.Bar(0, since(span["from_s"]), since(span["to_s"]), palette.state_look(span["state"]), span["state"])
            for span in checked.dive["spans"]]


def _resets(checked: _Dive) -> list[float]:
    return [entry["time_s"] for entry in checked.dive["timeline"] if entry["kind"] == "reset"]


def _marked(checked: _Dive) -> dict[str, list[float]]:
    """Instants of the run by kind of mark."""
    attempts, surfaced = checked.dive["attempts"], checked.outcome.get("surfaced_s")
    return {
        "primary": [attempt["from_s"] for attempt in attempts if attempt["channel"] == "primary"],
        "backup": [attempt["from_s"] for attempt in attempts if attempt["channel"] != "primary"],
        "second": [attempt["from_s"] for attempt in checked.second_attempts],
        "reset": _resets(checked),
        "fault": [fault["from_s"] for fault in checked.dive["faults"]],
        "surfaced": [] if surfaced is None else [surfaced],
    }


def _depth_chart(checked: _Dive) -> Html:
    bars = _state_bars(checked)
    marked = {kind: times for kind, times in _marked(checked).items() if times}
    traces, entries = _lines(checked, _DEPTH)
    traces += [charts.marks(_marks_at_depth(checked, kind, times)) for kind, times in marked.items()]
    deepest = max([1.0, *(float(np.nanmax(checked.series[trace.key])) for trace in _DEPTH
                          if not np.isnan(checked.series[trace.key]).all())])
    figure = charts.time_chart(traces, checked.window, {"range": [1.06 * deepest, -0.10 * deepest]}, 392)
    names, row_traces, labels = _rows(checked, bars, marked)
    shapes = charts.shading(bars, "y")
    shapes += charts.upright_lines(map(checked.clock.since, marked.get("reset", ())), "y", palette.BLACK, "dot")
    shapes += charts.upright_lines(map(checked.clock.since, marked.get("fault", ())), "y", palette.BLACK, "dash")
    charts.add_rows(figure, names, row_traces, shapes, labels)
    states = dict.fromkeys(bar.label for bar in bars)
    key = parts.join((
        parts.key_list((parts.state_swatch(state), state, palette.state_look(state).meaning)
                       for state in states),
        parts.key_list(entries + [(parts.mark_swatch(_MARKINGS[kind].symbol, _MARKINGS[kind].colour),
                                   _MARKINGS[kind].words, "") for kind in marked])))
    return parts.chart_frame("depth", "Depth, m, and what the lander did", charts.finished(figure),
                             _depth_summary(checked), key)


def _marks_at_depth(checked: _Dive, kind: str, times: list[float]) -> charts.Marks:
    marking = _MARKINGS[kind]
    return charts.Marks(marking.words, [checked.clock.since(time) for time in times],
                        [checked.depth_at(time) for time in times], marking.symbol, marking.colour)


def _rows(checked: _Dive, bars: list[charts.Bar], marked: Mapping[str, list[float]]) -> tuple[list, list, list]:
    """The strip above the depth: names of its rows, its traces, and its labels."""
    since = checked.clock.since
    names, stretches, traces = ["state"], list(bars), []
    labels = [charts.label("y2", 0, bar.start, bar.end, bar.label, "inside") for bar in bars]
    if checked.dive["attempts"]:
        row = len(names)
        names.append("release")
        for number, attempt in enumerate(checked.dive["attempts"], 1):
            start, end = since(attempt["from_s"]), since(checked.until(attempt))
            stretches.append(charts.Bar(row, start, end, _PLAIN, ""))
            labels.append(charts.label("y2", row, start, end, str(number), "beside"))
        traces += [_row_marks(checked, kind, row, marked[kind]) for kind in ("primary", "backup") if kind in marked]
    if "second" in marked:
        row = len(names)
        names.append("second board")
        stretches += [charts.Bar(row, since(attempt["from_s"]), since(checked.until(attempt)), _PLAIN, "")
                      for attempt in checked.second_attempts]
        traces.append(_row_marks(checked, "second", row, marked["second"]))
    if "reset" in marked:
        traces.append(_row_marks(checked, "reset", len(names), marked["reset"]))
        names.append("resets")
    for name in dict.fromkeys(fault["name"] for fault in checked.dive["faults"]):
        row = len(names)
        same = [fault for fault in checked.dive["faults"] if fault["name"] == name]
        names.append("faults" if "faults" not in names else "")
        for fault in same:
            start, end = since(fault["from_s"]), since(checked.until(fault))
            stretches.append(charts.Bar(row, start, end, _PLAIN, name))
            labels.append(charts.label("y2", row, start, end, name, "along"))
        traces.append(_row_marks(checked, "fault", row, [fault["from_s"] for fault in same]))
    return names, [*charts.band(stretches, "y2"), *traces], labels


def _row_marks(checked: _Dive, kind: str, row: int, times: list[float]) -> Any:
    marking = _MARKINGS[kind]
    return charts.marks(charts.Marks(marking.words, [checked.clock.since(time) for time in times],
                                     [row] * len(times), marking.symbol, marking.colour), "y2")


def _lines(checked: _Dive, wanted: tuple[_Trace, ...]) -> tuple[list, list[tuple[Html, str, str]]]:
    """The lines there are readings for, and their entries in the key."""
    traces, entries = [], []
    for trace in wanted:
        values = checked.series[trace.key]
        if np.isnan(values).all():
            continue
        traces.append(charts.line(trace.words, checked.times, values, trace.colour, trace.dash, trace.width,
                                  trace.unit, trace.decimals))
        entries.append((parts.line_swatch(trace.colour, trace.dash, trace.width), trace.words, ""))
    return traces, entries


def _panel_chart(checked: _Dive, panel: _Panel) -> Html:
    traces, entries = _lines(checked, panel.traces)
    if not traces:
        return parts.note("No readings of this kind in the run.", heading=panel.heading)
    figure = charts.time_chart(traces, checked.window, {}, 190 if len(panel.traces) == 1 else 240)
    summary = " ".join(_extremes(checked, trace) for trace in panel.traces)
    key = parts.key_list(entries) if len(entries) > 1 else Html("")
    return parts.chart_frame(panel.name, panel.heading, charts.finished(figure), summary, key)


def _extremes(checked: _Dive, trace: _Trace) -> str:
    """One sentence with the lowest and the highest reading of a series and their times."""
    values = checked.series[trace.key]
    if np.isnan(values).all():
        return f"No readings of {trace.words}."
    lowest, highest = int(np.nanargmin(values)), int(np.nanargmax(values))
    said = [f"{values[at]:.{trace.decimals}f} {trace.unit} at {checked.clock.elapsed(checked.series['time_s'][at])}"
            for at in (lowest, highest)]
    return f"{trace.words.capitalize()}: lowest {said[0]}, highest {said[1]}."


def _depth_summary(checked: _Dive) -> str:
    said = []
    depth = checked.series["depth_m"]
    if np.isnan(depth).all():
        depth = checked.series["sensed_depth_m"]
    if not np.isnan(depth).all():
        deepest = int(np.nanargmax(depth))
        said.append(f"Deepest {depth[deepest]:.1f} m at {checked.clock.elapsed(checked.series['time_s'][deepest])}.")
    stays: dict[str, float] = {}
    for span in checked.dive["spans"]:
        stays[span["state"]] = stays.get(span["state"], 0.0) + span["to_s"] - span["from_s"]
    if stays:
        said.append("Time in each state: " + ", ".join(f"{state} {_span_text(stay)}" for state, stay in stays.items())
                    + ".")
    counts = ((len(checked.dive["attempts"]), "release attempt"), (len(_resets(checked)), "controller reset"),
              (len(checked.dive["faults"]), "fault"))
    said.append(", ".join(f"{count} {word}{'' if count == 1 else 's'}" for count, word in counts) + ".")
    surfaced = checked.outcome.get("surfaced_s")
    said.append("Never seen at the surface." if surfaced is None
                else f"Surfaced at {checked.clock.elapsed(surfaced)}.")
    return " ".join(said)


def _span_text(seconds: float) -> str:
    return DiveClock(None).elapsed(seconds)


def _laws(checked: _Dive) -> Html:
    columns = (Column("Law", numeric=True), Column("Name"), Column("Verdict"), Column("Why"))
    laws = checked.dive["laws"]
    rows = [(law["number"], law["name"], parts.badge(law["verdict"], _LAW_TONES.get(law["verdict"], "plain")),
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
    return parts.section("Release attempts", parts.join((_main_attempts(checked), _second_attempts(checked))))


def _main_attempts(checked: _Dive) -> Html:
    attempts = checked.dive["attempts"]
    if not attempts:
        return parts.element("p", "No release was attempted by the main board." if checked.second
                             else "No release was attempted.")
    columns = (Column("Attempt", numeric=True), *_time_columns(checked), Column("Channel"),
               Column("Drive", numeric=True), Column("Lasted", numeric=True), Column("How it ended"))
    rows = [(number, *_time_cells(checked, attempt["from_s"]), attempt["channel"], f"{attempt['drive_pct']} %",
             _span_text(checked.until(attempt) - attempt["from_s"]), attempt["end"])
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
             _span_text(checked.until(attempt) - attempt["from_s"]), "freed the ballast" if attempt["freed"] else "")
            for number, attempt in enumerate(checked.second_attempts, 1)]
    return parts.join((parts.element("p", told), parts.table(
        "Every time the second board energised the backup release.", columns, rows)))


def _faults(checked: _Dive) -> Html:
    faults = checked.dive["faults"]
    idle = parts.join([parts.element("p", "Never began, since its moment never came: %s, %s" % (
        fault["name"], fault["what"])) for fault in checked.never_began])
    if not faults:
        return parts.section("Faults", idle if checked.never_began else parts.element(
            "p", "No fault was put into this dive."))
    columns = (*_time_columns(checked), Column("Until", numeric=True), Column("Fault"), Column("What it does"))
    rows = [(*_time_cells(checked, fault["from_s"]),
             "the end" if fault.get("to_s") is None else checked.clock.elapsed(fault["to_s"]), fault["name"],
             fault["what"]) for fault in faults]
    return parts.section("Faults", parts.join((
        parts.table("What was broken on purpose, and for how long.", columns, rows), idle)))


def _timeline(checked: _Dive) -> Html:
    entries = checked.dive["timeline"]
    if not entries:
        return parts.section("Timeline", parts.element("p", "The journal holds no entry."))
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
        parts.folded("The plan", parts.code_block(dive["plan_toml"])))


def _footer(checked: _Dive) -> Html:
    dive = checked.dive
    return parts.element("p", f"{dive['tool']} {dive['version']} · seed {dive['seed']} · {dive['plan_name']}")
