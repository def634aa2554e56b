"""Pieces that every page is put together from. Each returns HTML.

Arguments are plain text and are escaped here, so that a name typed by a user can do nothing. Only arguments of the
type `Html` are taken as they are: they come from these functions.
"""

from __future__ import annotations

import html
import json
import re
from collections.abc import Iterable, Mapping, Sequence
from importlib.resources import files
from typing import Any, NamedTuple

from plotly.offline import get_plotlyjs

from tumblehome.page import palette

# Nothing may be fetched from anywhere, whatever a later change or a hostile name puts into a page.
_POLICY = "default-src 'none'; style-src 'unsafe-inline'"
_POLICY_OF_SCRIPTS = _POLICY + "; script-src 'unsafe-inline'; img-src data: blob:"

LAW_TONES = {"kept": "good", "broken": "bad", "excused": "warn"}
_NAMED_SECTION = re.compile('<section id="([^"]+)"><h2>(.*?)</h2>')
_DASHES = {"solid": "none", "dash": "7 4", "dot": "2 3", "longdash": "11 4", "dashdot": "8 3 2 3"}


class Html(str):
    """Text that is HTML already."""


class Verdict(NamedTuple):
    """What the reader sees first: `tone` is good, warn or bad; `word` the verdict; `sentence` says how and when."""

    tone: str
    word: str
    sentence: str


# Units as a terminal of any kind shows them, and as they are printed.
_SIGNS = tuple((re.compile(spelt), sign) for spelt, sign in (
    (r"\bdegC\b", "°C"), (r"(?<=\d) deg\b", "°"), (r"\bkg/m3\b", "kg/m³"), (r"\bmOhm\b", "mΩ"),
    (r"(?<=\d) (?=(?:%|NM|kn|km²|°C|mAh|V)(?!\w))", "\N{NO-BREAK SPACE}")))


class Column(NamedTuple):
    """A table column: its heading and whether it holds numbers."""

    heading: str
    numeric: bool = False


def text(value: Any) -> Html:
    """Any value as harmless HTML; None is empty, Html stays as it is; units get their signs, as 67 deg is 67°."""
    if value is None:
        return Html("")
    if isinstance(value, Html):
        return value
    written = str(value)
    for spelt, sign in _SIGNS:
        written = spelt.sub(sign, written)
    return _escaped(written)


def join(pieces: Iterable[str]) -> Html:
    """Pieces one after the other, each escaped unless it is Html."""
    return Html("\n".join(text(piece) for piece in pieces))


def element(tag: str, content: Any = "", **attributes: Any) -> Html:
    """One element. Attribute names lose a trailing underscore (`class_`), inner ones become hyphens; None drops it."""
    written = "".join(f' {name.rstrip("_").replace("_", "-")}="{text(value)}"'
                      for name, value in attributes.items() if value is not None)
    return Html(f"<{tag}{written}>{text(content)}</{tag}>")


def island(name: str, data: Any) -> Html:
    """Data for the script of the page, as JSON that cannot end its own element."""
    written = json.dumps(data, allow_nan=False, separators=(",", ":"))
    for sign, code in (("<", "\\u003c"), (">", "\\u003e"), ("&", "\\u0026"),
                       ("\u2028", "\\u2028"), ("\u2029", "\\u2029")):
        written = written.replace(sign, code)
    return Html(f'<script type="application/json" id="{text(name)}">{written}</script>')


def frame(title: str, body: Html, footer: Html, with_charts: bool = True, looks: Sequence[str] = ("look.css",),
          script: str | None = None) -> str:
    """The whole page: head, looks, body, chart library and behaviour in one file; without charts it has no script.

    `title` is plain text; `looks` are style sheets, a later one over an earlier one, and `script` one small script
    more, all beside this module. Raises ValueError if a script could end its own element, which would break the page.
    """
    scripts = [get_plotlyjs(), _resource("behaviour.js")] if with_charts else []
    scripts += [_resource(script)] if script else []
    policy = _POLICY_OF_SCRIPTS if scripts else _POLICY
    if any("</script" in script.lower() for script in scripts):
        raise ValueError("a script holds '</script', which would end its element; take another plotly release")
    return "".join((
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n',
        f'<meta http-equiv="Content-Security-Policy" content="{text(policy)}">\n',
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n',
        f"<title>{text(title)}</title>\n<style>\n{''.join(map(_resource, looks))}</style>\n</head>\n<body>\n",
        f"<main>\n{body}\n</main>\n<footer>\n{footer}\n</footer>\n",
        *(f"<script>\n{script}\n</script>\n" for script in scripts),
        "</body>\n</html>\n"))


def section(heading: str, *content: Html, name: str | None = None) -> Html:
    """A part of the page under its own heading."""
    return element("section", join((element("h2", heading), *content)), id=name)


def contents(*pieces: Html) -> Html:
    """Links to the named sections among `pieces`; they lead there without a script."""
    entries = [element("li", element("a", Html(heading), href=f"#{name}"))
               for piece in pieces for name, heading in _NAMED_SECTION.findall(piece)]
    return element("nav", element("ul", join(entries)), class_="contents", aria_label="Contents")


def law_alarm(number: int, name: str, sentence: str) -> str:
    """A broken law in the panel of the verdict."""
    return f"Law {number} broken, {name}: {sentence}"


def verdict_panel(verdict: Verdict, facts: Sequence[tuple[str, str]], alarms: Sequence[str]) -> Html:
    """The verdict, large, with a mark that needs no colour, its facts, and one line for each broken law."""
    pieces = [_water_mark(verdict.tone), element("p", verdict.word, class_="word"),
              element("p", verdict.sentence, class_="sentence")]
    if alarms:
        pieces.append(element("ul", join(element("li", alarm) for alarm in alarms), class_="alarms"))
    pieces.append(facts_list(facts))
    return element("section", join(pieces), class_=f"verdict {verdict.tone}", aria_label="Verdict")


def facts_list(facts: Sequence[tuple[str, str]]) -> Html:
    """Pairs of a name and a value."""
    return element("dl", join(element("div", join((element("dt", name), element("dd", value))))
                              for name, value in facts), class_="facts")


def key_figures(figures: Iterable[Mapping[str, Any]]) -> Html:
    """Figures with `name`, `text` and `note`, as cards."""
    return element("dl", join(
        element("div", join((element("dt", figure["name"]), element("dd", figure["text"], class_="figure"),
                             element("dd", figure.get("note"), class_="note"))))
        for figure in figures), class_="figures")


def badge(word: str, tone: str) -> Html:
    """A word in a box whose edge differs with the tone: good, warn, bad or plain."""
    return element("span", word, class_=f"badge {tone}")


def table(caption: str, columns: Sequence[Column], rows: Iterable[Sequence[Any]],
          row_classes: Iterable[str] | None = None, wide: bool = False) -> Html:
    """A table whose first column heads its rows; on a narrow screen every row becomes a small card. A `wide` one
    scrolls sideways by itself, by keys too.

    The roles are written out because a screen reader forgets a table once it is laid out as cards.
    """
    head = join(element("th", column.heading, scope="col", role="columnheader", class_=_shape(column))
                for column in columns)
    rows = list(rows)
    classes = [""] * len(rows) if row_classes is None else list(row_classes)
    body = join(element("tr", _cells(columns, row), role="row", class_=mark or None)
                for row, mark in zip(rows, classes, strict=True))
    made = element("table", join((
        element("caption", caption), element("thead", element("tr", head, role="row"), role="rowgroup"),
        element("tbody", body, role="rowgroup"))), role="table")
    return element("div", made, class_="wide", tabindex=0, role="region", aria_label=caption) if wide else made


def note(*sentences: str, heading: str | None = None) -> Html:
    """A box for what the reader must not overlook."""
    pieces = [element("p", heading, class_="heading")] if heading else []
    pieces += [element("p", sentence) for sentence in sentences]
    return element("div", join(pieces), class_="note-box", role="note")


def folded(heading: str, content: Html) -> Html:
    """Content behind a heading that opens it; in print it is open."""
    return element("details", join((element("summary", heading), content)))


def code_block(code: str, copy_name: str | None = None) -> Html:
    """Text in a fixed-width face; with a `copy_name` it gets a button that copies it."""
    block = element("pre", element("code", _escaped(code)), tabindex=0, role="group", aria_label="Text to copy")
    if copy_name is None:
        return block
    return element("div", join((block, element("button", copy_name, type="button", class_="copy"))), class_="copyable")


def typed(command: str) -> Html:
    """A command in a table: it is broken between its words, not at every hyphen."""
    return element("code", join(element("span", word) for word in command.split(" ")), class_="typed")


def the_plan(toml: str) -> Html:
    """The text of the plan that a page rests on, folded away; on paper it is small."""
    return folded("The plan", element("div", code_block(toml), class_="source"))


def time_button(label: str, seconds: float) -> Html:
    """A time that puts the cursor of the charts at `seconds` on their time axis."""
    return element("button", label, type="button", class_="at", data_time=f"{seconds:.1f}",
                   title="Show this moment in the charts")


def stretch_button(label: str, from_s: float, to_s: float) -> Html:
    """A time that zooms the charts to a stretch of their time axis, seconds, and shades it; focus alone shades it."""
    return element("button", label, type="button", class_="at", data_time=f"{from_s:.1f}", data_until=f"{to_s:.1f}",
                   title="Show this moment in the charts")


def chart_frame(name: str, heading: str, figure: Mapping[str, Any], summary: str, key: Html,
                on_time_axis: bool = True) -> Html:
    """A chart with heading, key and a summary in words for those who cannot see it.

    `figure` is what `charts.finished` returns. Charts on the time axis zoom, move and show the cursor together.
    """
    holder = element("div", class_="chart", id=name, role="img", aria_label=f"{heading}. {summary}",
                     style=f"height:{figure['layout']['height']}px", data_time_axis="yes" if on_time_axis else None)
    return element("figure", join((element("h3", heading), key, holder, island(f"{name}-data", figure),
                                   element("figcaption", summary))))


def beside(*figures: Html) -> Html:
    """Charts beside each other where there is room, one above the other on a phone."""
    return element("div", join(figures), class_="beside")


def time_buttons(views: Sequence[tuple[str, float, float]]) -> Html:
    """Buttons that zoom and move all charts on the time axis together.

    `views` are windows (name, from, to) in seconds on that axis, the first one the whole.
    """
    jumps = [element("button", name, type="button", data_from=f"{start:.1f}", data_to=f"{end:.1f}")
             for name, start, end in views]
    steps = [element("button", name, type="button", data_step=step)
             for name, step in (("Closer", "in"), ("Wider", "out"), ("Earlier", "back"), ("Later", "on"))]
    drag = element("button", "Dragging: zooms", type="button", id="drag-mode", aria_pressed="false")
    return element("div", join((
        element("div", join(jumps), class_="buttons", role="group", aria_label="Show a part of the dive"),
        element("div", join((*steps, drag)), class_="buttons", role="group", aria_label="Zoom and move"))),
        class_="time-buttons")


def time_cursor(whole: tuple[str, float, float], utc_at_zero_ms: float | None, origin_name: str) -> Html:
    """The cursor of all charts on the time axis and what they read there. It stays in sight below the charts.

    `whole` is the window (name, from, to) of the whole run in seconds; `utc_at_zero_ms` is the instant of zero on
    that axis in milliseconds since 1970, or None where the date is not known.
    """
    _name, start, end = whole
    slider = element("label", join((
        element("span", Html(f"Cursor, time since {text(origin_name)}" + element(
            "span", ". Keys: arrows move it, + and - zoom, 0 shows all", class_="keys"))),
        Html(f'<input type="range" id="cursor" min="{start:.0f}" max="{max(end, start + 1):.0f}" step="1"'
             f' value="{max(0.0, start):.0f}">'))), class_="cursor-label")
    readout = element("output", "Move the cursor, or point at a chart, to read the values there.", id="readout",
                      for_="cursor")
    return element("div", join((slider, readout, island("time-facts", {"from": start, "to": end,
                                                                       "utc": utc_at_zero_ms}))), class_="time-cursor")


def key_list(entries: Iterable[tuple[Html, str, str]]) -> Html:
    """The key of a chart: (swatch, word, meaning). The meaning may be empty and is left out on a phone."""
    return element("ul", join(element("li", Html(f"{swatch}{text(word)}{_meaning(meaning)}"))
                              for swatch, word, meaning in entries), class_="key")


def dashes(name: str) -> str:
    """The lengths of dashes and gaps of a line, as SVG has them."""
    return _DASHES[name]


def line_swatch(colour: str, dash: str, width: float) -> Html:
    """A short line as a chart draws it."""
    return swatch(f'<path d="M1 7H27" stroke="{colour}" stroke-width="{width}" stroke-dasharray="{_DASHES[dash]}"/>')


def state_swatch(state: str) -> Html:
    """A patch with the colour and pattern of a state."""
    return patch_swatch(palette.state_look(state))


def patch_swatch(look: palette.Look) -> Html:
    """A patch with the colour and pattern of a bar, or of a sector."""
    strokes = {
        "": "", "/": "M3 13L11 1M11 13L19 1M19 13L27 1", "\\": "M3 1L11 13M11 1L19 13M19 1L27 13",
        "|": "M6 1V13M12 1V13M18 1V13M24 1V13", "-": "M1 4H27M1 7.5H27M1 11H27",
        ".": "M5 4h2M13 4h2M21 4h2M9 9h2M17 9h2", "+": "M7 1V13M14 1V13M21 1V13M1 5H27M1 9H27",
        "x": "M3 13L11 1M11 13L19 1M19 13L27 1M3 1L11 13M11 1L19 13M19 1L27 13"}[look.pattern]
    return swatch(f'<rect x="1" y="1" width="26" height="12" fill="{palette.tint(look.colour, 0.4)}"'
                   f' stroke="{palette.INK}"/><path d="{strokes}" stroke="{look.colour}" stroke-width="1.6"/>')


def mark_swatch(symbol: str, colour: str) -> Html:
    """A mark as a chart draws it; `symbol` is one of plotly's names used in `charts.MARKS`."""
    shape = {
        "circle": f'<circle cx="14" cy="7" r="5" fill="{colour}"/>',
        "square-open": f'<rect x="9" y="2" width="10" height="10" stroke="{colour}" stroke-width="2"/>',
        "x-thin": f'<path d="M9 2L19 12M19 2L9 12" stroke="{colour}" stroke-width="2.5"/>',
        "triangle-down": f'<path d="M8 2H20L14 12Z" fill="{colour}"/>',
        "star": f'<path d="M14 0l2 5h5l-4 3 2 6-5-4-5 4 2-6-4-3h5z" fill="{colour}"/>',
        "diamond-open": f'<path d="M14 1l6 6-6 6-6-6z" stroke="{colour}" stroke-width="2"/>'}[symbol]
    return swatch(shape)


def _meaning(words: str) -> Html:
    return element("span", words, class_="meaning") if words else Html("")


def swatch(drawing: str, box: str = "0 0 28 14", kind: str | None = None) -> Html:
    """A small picture for a key, as large as its `box` of SVG (left, upper, width, height)."""
    _left, _upper, width, height = box.split()
    return element("svg", Html(drawing), width=width, height=height, viewBox=box, fill=None if kind else "none",
                   class_=kind, aria_hidden="true")


def _escaped(value: str) -> Html:
    return Html(html.escape(value, quote=True))


def _shape(column: Column) -> str | None:
    return "number" if column.numeric else None


def _cells(columns: Sequence[Column], row: Sequence[Any]) -> Html:
    cells = []
    for index, (column, value) in enumerate(zip(columns, row, strict=True)):
        shape = _shape(column)
        if index == 0:
            cells.append(element("th", value, scope="row", role="rowheader", class_=shape))
        else:
            cells.append(element("td", value, role="cell", class_=shape, data_heading=column.heading))
    return join(cells)


def _water_mark(tone: str) -> Html:
    """The mark of the verdict: afloat, afloat with a warning in it, or on the seabed. Its shape alone tells."""
    bed = '<path d="M2 61H62" stroke-width="3.5"/>'
    parted_sea = '<path d="M2 26q4-6 8 0t8 0M46 26q4-6 8 0t8 0" stroke-width="3.5"/>'
    whole_sea = '<path d="M2 12q5-7 10 0t10 0 10 0 10 0 10 0 10 0" stroke-width="3.5"/>'
    afloat = '<circle cx="32" cy="22" r="13" stroke-width="3.5" fill="currentColor"/>'
    afloat_marked = ('<circle cx="32" cy="22" r="13" stroke-width="3.5"/>'
                     '<path d="M32 14V24M32 27.5V31" stroke-width="4"/>')
    sunk = '<circle cx="32" cy="46" r="13" stroke-width="3.5" fill="currentColor"/>'
    drawing = {"good": bed + parted_sea + afloat, "warn": bed + parted_sea + afloat_marked,
               "bad": bed + whole_sea + sunk}[tone]
    return Html('<svg class="water-mark" viewBox="0 0 64 64" width="72" height="72" fill="none" stroke="currentColor"'
                f' aria-hidden="true">{drawing}</svg>')


def _resource(name: str) -> str:
    return files("tumblehome.page").joinpath(name).read_text(encoding="utf-8")
