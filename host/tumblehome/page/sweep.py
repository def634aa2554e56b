"""The page of a campaign: what kills the lander, alone and together; how late and how empty it came home otherwise."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from math import cos, radians, sin
from typing import Any, NamedTuple

from seatrial.campaign import summary
from seatrial.laws import clock_text
from tumblehome.page import palette, parts
from tumblehome.page.parts import Column, Html
from tumblehome.wording import NOTHING

HARM_WORDS = {"lost": "lost", "failed": "simulation failed"}
_PATH_WORDS = {
    "primary": "freed by the primary release", "backup": "freed by the backup release",
    "passive": "freed by the corroding link alone", "ballast lost": "up with nothing released",
    "back on deck": "hauled back on deck", "never under": "never went under", "lost": "not home", "none": "not home"}
_CELL, _LETTER, _SLANT = 19, 8.2, 60  # px of a cell and of a letter on paper; degrees that the upper names lean
_LEAST = 0.95  # of that size on a screen: smaller letters cannot be read, so the picture scrolls sideways
_ALARMS_SHOWN = 8
_ONSETS_SHOWN = 8
_ALIKE_SHOWN = 24


class _Level(NamedTuple):
    """How a cell is drawn: paper, hatched or not, sign with its ink, and what it means."""

    paper: str
    hatched: bool
    sign: str
    ink: str
    words: str


_LEVELS = {
    summary.HOME: _Level("#ffffff", False, "·", palette.GREY, "always home, in time, laws kept"),
    summary.LATE: _Level(palette.tint(palette.SKY, 0.35), False, "–", palette.INK,
                         "home, laws kept, later than timed release and slowest ascent"),
    summary.LOST_ALONE: _Level(palette.tint(palette.GREY, 0.25), True, "", palette.INK,
                               "lost by one of the two alone; nothing could be released"),
    summary.LOST_TOGETHER: _Level("#5f5f5f", False, "+", "#ffffff",
                                  "lost only by both together; nothing could be released"),
    summary.BROKEN_ALONE: _Level(palette.tint(palette.ORANGE, 0.45), False, "!", palette.BLACK,
                                 "AVOIDABLE by one alone: law broken or lost though a release was possible"),
    summary.BROKEN_TOGETHER: _Level(palette.BLACK, False, "X", "#ffffff",
                                    "AVOIDABLE by both together: law broken or lost though a release was possible"),
}
_ALONE_WORDS = {summary.LOST_ALONE: "lost; nothing could be released",
                summary.BROKEN_ALONE: "AVOIDABLE: law broken or lost though a release was possible"}

_ONLY_TOGETHER = (summary.LOST_TOGETHER, summary.BROKEN_TOGETHER)


def sweep_page(told: Mapping[str, Any]) -> str:
    """One HTML file that tells a campaign and opens with no network. `told` is the content of sweep.json."""
    verdict = verdict_of(told)
    sections = (_causes(told), _pictures(told), _laws(told), _lateness(told), _energy(told), _origin(told))
    body = parts.join((
        _header(told), parts.verdict_panel(verdict, _facts(told), _alarms(told)),
        parts.note(*_notes(told)), parts.contents(*sections), *sections))
    footer = parts.join(parts.element("p", sentence) for sentence in (
        "%s %s · %s" % (told["tool"], told["version"], told["plan_name"]), *told["cautions"]))
    return parts.frame("%s: %s" % (verdict.word, told["plan_name"]), body, footer, with_charts=False,
                       looks=("look.css", "sweep.css"))


# --- the top ---------------------------------------------------------------------------------------------------------


def verdict_of(told: Mapping[str, Any]) -> parts.Verdict:
    """The campaign in a word and a sentence: bad where a release was possible and something went wrong all the same."""
    counts = told["dives"]
    lost = counts["lost_impossible"]
    if not told["within_laws"]:
        harms = {cause["harm"] for cause in told["causes"] if cause["avoidable"]}
        word = "Lost avoidably" if "lost" in harms else "Simulation failed" if harms == {"failed"} else "Law broken"
        avoidable = len(_by_kinds(cause for cause in told["causes"] if cause["avoidable"]))
        return parts.Verdict("bad", word, "%s where a release was possible." % _counted(
            avoidable, "fault or set of faults does harm", "faults or sets of faults do harm"))
    if lost:
        return parts.Verdict("warn", "Laws kept", "No law was broken where a release was possible; %s where nothing"
                             " could be released." % _counted(lost, "dive was lost", "dives were lost"))
    return parts.Verdict("good", "Always home", "Every one of %s came home within the laws."
                         % _counted(counts["flown"], "dive", "dives"))


def _counted(number: int, one: str, many: str) -> str:
    return "%d %s" % (number, one if number == 1 else many)


def _header(told: Mapping[str, Any]) -> Html:
    return parts.element("header", parts.join((
        parts.element("p", "Campaign of dives", class_="kind"), parts.element("h1", told["plan_name"]),
        parts.element("p", "%s · seed %d · %s %s" % (told["campaign"], told["seed"], told["tool"], told["version"]),
                      class_="when"))))


def _facts(told: Mapping[str, Any]) -> list[tuple[str, str]]:
    counts = told["dives"]
    facts = [("Dives flown", "%d of %d" % (counts["flown"], counts["planned"])), ("Home", str(counts["home"])),
             ("Lost, nothing could be released", str(counts["lost_impossible"])),
             ("Lost, though a release was possible", str(counts["lost_possible"])),
             ("Home late", str(counts["late"]))]
    if told["latest"]:
        facts.append(("Worst lateness", _lateness_text(told["latest"][0]["lateness_s"])))
    if told["emptiest"]:
        worst = told["emptiest"][0]
        facts.append(("Least charge at the command", "%.0f mAh, reserve %.0f"
                      % (worst["left_mah"], worst["reserve_mah"])))
    return facts


def _alarms(told: Mapping[str, Any]) -> list[str]:
    """One line for each set of faults whose harm could have been avoided."""
    return ["%s: %s" % (_kinds(group[0]), ", ".join(_harm(cause) for cause in group))
            for group in _by_kinds(cause for cause in told["causes"] if cause["avoidable"])][:_ALARMS_SHOWN]


def _notes(told: Mapping[str, Any]) -> list[str]:
    counts = told["dives"]
    notes = ["Simulation lowers risk and proves nothing about hardware that was not tested."]
    if counts["never_began"]:
        notes.append("In %s a fault never began, since its moment did not come: they prove nothing about that fault."
                     % _counted(counts["never_began"], "dive", "dives"))
    if counts["failed"]:
        notes.append("%s could not be simulated: that is an error of this tool." % _counted(
            counts["failed"], "dive", "dives"))
    return notes


# --- causes ----------------------------------------------------------------------------------------------------------


def _causes(told: Mapping[str, Any]) -> Html:
    causes = told["causes"]
    if not causes:
        return parts.section("What does harm", parts.element("p", "Nothing: every dive came home within the laws."),
                             name="causes")
    avoidable = _by_kinds(cause for cause in causes if cause["avoidable"])
    physical = _by_kinds(cause for cause in causes if not cause["avoidable"])
    moments = {phase["onset"]: phase["name"] for phase in told["phases"]}
    pieces = []
    if avoidable:
        pieces += [parts.element("h3", "Avoidable: a release was physically possible"), _cause_list(avoidable, moments)]
    if physical:
        pieces += [parts.element("h3", "Physical: nothing could be released"),
                   _cause_list(physical[:_ALIKE_SHOWN], moments)]
        if len(physical) > _ALIKE_SHOWN:
            pieces.append(parts.folded("%d more" % (len(physical) - _ALIKE_SHOWN),
                                       _cause_list(physical[_ALIKE_SHOWN:], moments)))
    return parts.section("What does harm, and the shortest way to see it", *pieces, name="causes")


def _by_kinds(causes: Iterable[Mapping[str, Any]]) -> list[list[Mapping[str, Any]]]:
    """Causes of the same faults together, in the order in which they first come."""
    groups: dict[tuple[str, ...], list[Mapping[str, Any]]] = {}
    for cause in causes:
        groups.setdefault(tuple(cause["kinds"]), []).append(cause)
    return list(groups.values())


def _cause_list(groups: Sequence[Sequence[Mapping[str, Any]]], moments: Mapping[str, str]) -> Html:
    return parts.element("ul", parts.join(_group(group, moments) for group in groups), class_="causes")


def _group(group: Sequence[Mapping[str, Any]], moments: Mapping[str, str]) -> Html:
    pieces = [parts.element("h3", _kinds(group[0])), *(_cause(cause, moments) for cause in group)]
    return parts.element("li", parts.join(pieces), class_="avoidable" if group[0]["avoidable"] else "physical")


def _cause(cause: Mapping[str, Any], moments: Mapping[str, str]) -> Html:
    onsets = [moments.get(onset, onset) for onset in cause["onsets"]]
    shown = ", ".join(onsets[:_ONSETS_SHOWN]) + (" and %d more" % (len(onsets) - _ONSETS_SHOWN)
                                                 if len(onsets) > _ONSETS_SHOWN else "")
    sentence = parts.join((parts.badge(_harm(cause), "bad" if cause["avoidable"] else "plain"),
                           parts.text(cause["sentence"])))
    return parts.join((
        parts.element("p", sentence, class_="sentence"),
        parts.element("p", "%s%s" % (_counted(cause["dives"], "dive", "dives"),
                                     "; begins at " + shown if shown else ""), class_="small"),
        parts.code_block(cause["command"])))


def _harm(cause: Mapping[str, Any]) -> str:
    return HARM_WORDS.get(cause["harm"], cause["harm"] + " broken")


def _kinds(cause: Mapping[str, Any]) -> str:
    return " with ".join(cause["kinds"]) or "no fault at all"


# --- fault against fault ---------------------------------------------------------------------------------------------


def _pictures(told: Mapping[str, Any]) -> Html:
    """When a fault alone does harm; and which two do, where pairs were flown."""
    kinds = told["picture"]["kinds"]
    key = parts.key_list((_swatch(level), level.words, "") for level in _LEVELS.values())
    alone_key = parts.key_list((_swatch(level), _ALONE_WORDS.get(number, level.words), "")
                               for number, level in _LEVELS.items() if number not in _ONLY_TOGETHER)
    moments = {(cell["kind"], cell["onset"]): cell for cell in told["moments"]}
    alone = parts.section(
        "Each fault alone, by the moment at which it begins", parts.element(
            "p", "Bold names do harm; the list above tells which. Point at a cell to read it; an empty cell was not"
                 " flown."), alone_key,
        _drawing(_rows(kinds, {name for (name, _), cell in moments.items() if cell["level"] > summary.LATE}),
                 [_Line(phase["onset"], phase["name"], phase["words"]) for phase in told["phases"]
                  if any(onset == phase["onset"] for _, onset in moments)], moments,
                 "What each fault does alone, by the moment at which it begins. What does harm is listed above."),
        name="moments")
    cells = {tuple(cell["kinds"]): cell for cell in told["picture"]["cells"]}
    if not any(len(names) == 2 for names in cells):
        return alone
    deadly = {names[0] for names, cell in cells.items() if len(names) == 1 and cell["level"] > summary.LATE}
    lines = _rows(kinds, deadly)
    both = {(one.key, other.key): cells[names] for one in lines for other in lines
            if (names := (one.key,) if one is other else tuple(sorted((one.key, other.key)))) in cells}
    words = _picture_words(cells)
    return parts.join((alone, parts.section(
        "Fault against fault", parts.element(
            "p", "Each row meets each column; on the diagonal a fault is alone. Bold names do harm alone."), key,
        _drawing(lines, lines, both, "Fault against fault. " + words),
        parts.element("p", words, class_="small-print"), name="picture")))


def _picture_words(cells: Mapping[tuple[str, ...], Mapping[str, Any]]) -> str:
    """The picture in a sentence, for those who cannot see it: the list of causes above tells the rest."""
    alone = sorted(names[0] for names, cell in cells.items() if len(names) == 1 and cell["level"] > summary.LATE)
    together = sorted(" with ".join(names) for names, cell in cells.items()
                      if cell["level"] in _ONLY_TOGETHER)
    return "Alone do harm: %s. Only together do harm: %s." % (
        ", ".join(alone) or "none", ", ".join(together) or "none")


class _Line(NamedTuple):
    """A row or a column: its key in the cells, its name, what it means; the first of a group stands a little apart."""

    key: str
    name: str
    words: str
    deadly: bool = False
    group: str = ""


def _rows(kinds: Sequence[Mapping[str, Any]], deadly: set[str]) -> list[_Line]:
    return [_Line(kind["name"], kind["name"], kind["what"], kind["name"] in deadly, kind["group"]) for kind in kinds]


def _drawing(rows: Sequence[_Line], columns: Sequence[_Line],
             cells: Mapping[tuple[str, str], Mapping[str, Any]], words: str) -> Html:
    """Rows against columns as a picture. `words` tell it to those who cannot see it."""
    across, down = _places(columns), _places(rows)
    left = round(max((len(row.name) for row in rows), default=0) * _LETTER) + 8
    longest = round(max((len(column.name) for column in columns), default=0) * _LETTER) + 12
    top, right = round(longest * sin(radians(_SLANT))), round(longest * cos(radians(_SLANT)))
    pieces: list[Html] = []
    for row, y in zip(rows, down, strict=True):
        pieces.append(_label(row, x=left - 5, y="%g" % (top + y + _CELL / 2 + 4), text_anchor="end"))
    for column, x in zip(columns, across, strict=True):
        place = (left + x + _CELL / 2 + 4, top - 5, _SLANT)
        pieces.append(_label(column, transform="translate(%g %d) rotate(-%d)" % place))
    for row, y in zip(rows, down, strict=True):
        for column, x in zip(columns, across, strict=True):
            if (row.key, column.key) in cells:
                pieces.append(_cell(row, column, cells[row.key, column.key], left + x, top + y))
    width, height = left + max(across, default=0) + _CELL + right, top + max(down, default=0) + _CELL + 4
    drawn = parts.element("svg", parts.join(pieces), viewBox="0 0 %d %d" % (width, height), role="img",
                          aria_label=words, xmlns="http://www.w3.org/2000/svg",
                          style="min-width:%dpx; max-width:%dpx" % (_LEAST * width, 1.25 * width))
    return parts.element("div", drawn, class_="picture", tabindex=0, role="region",
                         aria_label="Picture, scrolls sideways")


def _label(line: _Line, **place: Any) -> Html:
    return parts.element("text", parts.join((parts.element("title", line.words), parts.text(line.name))),
                         class_="deadly" if line.deadly else None, **place)


def _places(lines: Sequence[_Line]) -> list[int]:
    """Where each line begins, in px: a small gap between groups."""
    places, at = [], 0
    for number, line in enumerate(lines):
        if number and line.group != lines[number - 1].group:
            at += 5
        places.append(at)
        at += _CELL
    return places


def _cell(row: _Line, column: _Line, cell: Mapping[str, Any], x: int, y: int) -> Html:
    level = _LEVELS[cell["level"]]
    alone = row.key == column.key
    said = "%s%s: %s. %s" % (
        row.name, "" if alone else " with %s" % column.name if column.group else " %s" % column.words,
        _ALONE_WORDS.get(cell["level"], level.words) if alone or not column.group else level.words,
        _counted(cell["dives"], "dive", "dives"))
    if cell["harms"]:
        said += "; " + ", ".join(cell["harms"])
    if cell["lateness_s"] is not None:
        said += "; latest " + _lateness_text(cell["lateness_s"])
    return parts.element("g", parts.join((parts.element("title", said), *_drawn(level, x, y))), class_="cell")


def _drawn(level: _Level, x: int, y: int) -> list[Html]:
    box = 'x="%d" y="%d" width="%d" height="%d"' % (x, y, _CELL - 1, _CELL - 1)
    drawn = [Html('<rect %s fill="%s" stroke="%s"/>' % (box, level.paper, palette.RULE))]
    if level.hatched:  # lines of their own: a pattern would be printed as a bitmap in every cell
        slopes = "".join("M%d %dL%d %d" % (x + max(0, at - 18), y + min(18, at), x + min(18, at), y + max(0, at - 18))
                         for at in range(6, 36, 6))
        drawn.append(Html('<path d="%s" stroke="#6a6a6a" pointer-events="none"/>' % slopes))
    if level.sign:
        drawn.append(parts.element("text", level.sign, x="%g" % (x + _CELL / 2), y="%g" % (y + _CELL / 2 + 4),
                                   class_="sign", style="fill:%s" % level.ink))
    return drawn


def _swatch(level: _Level) -> Html:
    return parts.swatch(parts.join(_drawn(level, 1, 1)), "0 0 20 20")


# --- numbers ---------------------------------------------------------------------------------------------------------


def _laws(told: Mapping[str, Any]) -> Html:
    columns = (Column("Law"), Column("What it asks"), Column("Kept", True), Column("Excused", True),
               Column("Broken", True), Column("Broken, release possible", True))
    rows = [["%d %s" % (law["number"], law["name"]), law["text"], law["kept"], law["excused"], law["broken"],
             law["broken_possible"]] for law in told["laws"]]
    return parts.section("Law by law", parts.table(
        "In how many dives. Excused: the world left nothing that the controller could have done.", columns, rows,
        ["alarm" if law["broken"] else "" for law in told["laws"]]), name="laws")


def _lateness(told: Mapping[str, Any]) -> Html:
    columns = (Column("Came home"), Column("Dives", True), Column("Worst lateness", True))
    rows = [[_PATH_WORDS.get(path["path"], path["path"]), path["dives"], _lateness_text(path["latest_s"])]
            for path in told["paths"]]
    return parts.section(
        "How it came home, and how late", parts.table(
            "Lateness is counted from the timed release and the slowest ascent of the plan.", columns, rows),
        _extremes("The latest dives", told["latest"], "Lateness", lambda row: _lateness_text(row["lateness_s"])),
        name="lateness")


def _energy(told: Mapping[str, Any]) -> Html:
    return parts.section("Charge left at the command", _extremes(
        "The dives with the least in the pack when the release was commanded, against the reserve of the plan",
        told["emptiest"], "Left, reserve",
        lambda row: "%.0f, %.0f mAh" % (row["left_mah"], row["reserve_mah"])), name="energy")


def _extremes(caption: str, rows: Sequence[Mapping[str, Any]], heading: str, value) -> Html:
    columns = (Column("Faults"), Column(heading, True), Column("Came home"), Column("Again"))
    return parts.table(caption, columns, [
        [" ".join(row["faults"]) or "none", value(row), _PATH_WORDS.get(row["path"], row["path"]),
         parts.typed(row["command"])] for row in rows])


def _lateness_text(seconds: float | None) -> str:
    if seconds is None:
        return NOTHING
    return "%s %s" % (clock_text(abs(seconds)), "late" if seconds > 0 else "early")


def _origin(told: Mapping[str, Any]) -> Html:
    moments = parts.table("The moments at which faults begin", (Column("Moment"), Column("Written"), Column("Words")),
                          [[phase["name"], phase["when"], phase["words"]] for phase in told["phases"]])
    return parts.section(
        "Where this comes from", parts.element("p", "The same command goes on where it was interrupted, and gives the"
                                                    " same rows:"),
        parts.code_block(told["command"]), moments,
        parts.the_plan(told["plan_toml"]),
        name="origin")
