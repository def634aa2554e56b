"""The page of a worked plan: does it add up, what is wrong and by how much; then each chapter with its pictures."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import TYPE_CHECKING, Any

from seatrial.workings.moments import MONTHS, said
from tumblehome.page import parts
from tumblehome.page.parts import Column, Html
from tumblehome.page.pictures import pictures
from tumblehome.wording import measured, shown

if TYPE_CHECKING:
    from seatrial.plan import Plan
    from seatrial.workings.chapter import Chapter, Figure, Table, Value
    from seatrial.workings.whole import Worked

# What a tired person wants to know next, in the panel of the verdict: chapter, key of its figure, words.
_FIRST = (
    ("times", "splash_utc", "Splash"),
    ("times", "timed_surfacing_utc", "Up by the timed release, likely"),
    ("times", "latest_surfacing_utc", "Up by the latest release, likely"),
    ("times", "must_leave_utc", "Boat must leave"),
    ("supply", "spare_at_latest_mah", "Charge to spare at the latest release"),
    ("drift", "surfacing_distance_m", "Surfaces, from the splash"),
)
_PROVES_NOTHING = "Nothing found wrong. It proves nothing about hardware that was not tested."


def plan_page(worked: Worked, told: Mapping[str, Any]) -> str:
    """One HTML file that shows a worked plan and opens with no network.

    `told` is the content of plan.json: from it come the name and version of the tool and the plan as it was written.
    """
    verdict = _verdict_of(worked)
    chapters = [_chapter(chapter, worked.plan) for chapter in worked.chapters]
    body = parts.join((
        _header(worked.plan, told), _verdict(worked, verdict), _cautions(worked), _dangers(worked.chapters),
        parts.contents(*chapters),
        parts.element("noscript", parts.note("The pictures need JavaScript; the numbers and tables do not.")),
        *chapters, _origin(told)))
    footer = parts.element("p", f"{told['tool']} {told['version']} · {worked.plan.dive.name}")
    return parts.frame(f"{verdict.word}: {worked.plan.dive.name}", body, footer)


def _header(plan: Plan, told: Mapping[str, Any]) -> Html:
    return parts.element("header", parts.join((
        parts.element("p", "Plan of a dive", class_="kind"), parts.element("h1", plan.dive.name),
        parts.element("p", f"Splash {said(plan, plan.dive.splash_utc)} · {plan.site.depth_m:g} m deep · {told['tool']}"
                           f" {told['version']}", class_="when"))))


# --- the verdict ------------------------------------------------------------------------------------------------------


def _verdict_of(worked: Worked) -> parts.Verdict:
    if worked.adds_up:
        return parts.Verdict("good", "Adds up", _PROVES_NOTHING)
    number = len(worked.faults)
    return parts.Verdict("bad", "Does not add up", f"{number} {'thing' if number == 1 else 'things'} to change:")


def _verdict(worked: Worked, verdict: parts.Verdict) -> Html:
    facts = []
    for key, figure_key, words in _FIRST:
        figure = _figure(worked.chapters, key, figure_key)
        if figure is not None and figure.value is not None:
            facts.append((words, _with_unit(figure)))
    return parts.verdict_panel(verdict, facts, worked.faults)


def _figure(chapters: Sequence[Chapter], key: str, figure_key: str) -> Figure | None:
    return next((figure for chapter in chapters if chapter.key == key for figure in chapter.figures
                 if figure.key == figure_key), None)


def _cautions(worked: Worked) -> Html:
    """What is allowed and worth a second thought."""
    if not worked.cautions:
        return Html("")
    return parts.note(*worked.cautions, heading="Caution" if len(worked.cautions) == 1 else "Cautions")


def _dangers(chapters: Sequence[Chapter]) -> Html:
    """Where it stands what can hurt somebody: in full it is in the chapters, where it is not read over."""
    there = [parts.element("a", chapter.title, href=f"#{chapter.key}") for chapter in chapters if chapter.dangers]
    if not there:
        return Html("")
    words = "Building, testing and launching can hurt people. Read what stands under Danger in: "
    return parts.note(Html(parts.text(words) + ", ".join(there) + "."), heading="Danger")


# --- a chapter --------------------------------------------------------------------------------------------------------


def _chapter(chapter: Chapter, plan: Plan) -> Html:
    alarms = parts.element("ul", parts.join(parts.element("li", fault) for fault in chapter.faults),
                           class_="alarms") if chapter.faults else Html("")
    key_figures = [figure for figure in chapter.figures if figure.leading]
    return parts.section(
        chapter.title, alarms, parts.note(*chapter.dangers, heading="Danger") if chapter.dangers else Html(""),
        parts.key_figures(map(_card, key_figures)) if key_figures else Html(""),
        *pictures(chapter, plan), _numbers(chapter.figures), _tables([table for table in chapter.tables if table.rows]),
        _small_print("What the numbers do not tell", chapter.limits), _small_print("Sources", chapter.sources),
        name=chapter.key)


def _card(figure: Figure) -> dict[str, str]:
    return {"name": _sentence(figure.words), "text": _with_unit(figure), "note": figure.note}


def _with_unit(figure: Figure) -> str:
    if isinstance(figure.value, int | float):
        return measured(figure.value, figure.digits, figure.unit)
    return _shown(figure.value, figure.digits)


def _numbers(figures: Sequence[Figure]) -> Html:
    """All figures of a chapter in their order, close together."""
    if not figures:
        return Html("")
    return parts.element("dl", parts.join(
        parts.element("div", parts.join((
            parts.element("dt", parts.join((parts.text(_sentence(figure.words)),
                                            parts.element("small", figure.note) if figure.note else Html("")))),
            parts.element("dd", _with_unit(figure))))) for figure in figures), class_="numbers")


def _tables(tables: Sequence[Table]) -> Html:
    """All tables of a chapter behind one heading that names them: they are long, above all on a telephone."""
    if not tables:
        return Html("")
    names = "; ".join(table.caption for table in tables)
    heading = parts.join(("Table" if len(tables) == 1 else "Tables", parts.element("small", names)))
    return parts.folded(heading, parts.join(map(_table, tables)))


def _table(table: Table) -> Html:
    columns = [Column(column.heading, column.digits is not None) for column in table.columns]
    rows = [[_shown(value, column.digits) for column, value in zip(table.columns, row, strict=True)]
            for row in table.rows]
    return parts.table(table.caption, columns, rows, wide=True)


def _shown(value: Value, digits: int | None) -> str:
    """A value as on the whole tool's pages; a moment without its year, which stands at the top of the page."""
    if isinstance(value, datetime):
        return f"{value.day} {MONTHS[value.month - 1]} {value:%H:%M}Z"
    return shown(value, digits)


def _small_print(heading: str, sentences: Sequence[str]) -> Html:
    if not sentences:
        return Html("")
    return parts.element("div", parts.join((
        parts.element("h3", heading),
        parts.element("ul", parts.join(parts.element("li", _sentence(each)) for each in sentences)))),
        class_="small-print")


def _sentence(words: str) -> str:
    return words[:1].upper() + words[1:]


def _origin(told: Mapping[str, Any]) -> Html:
    return parts.section(
        "Where this comes from",
        parts.element("p", "Everything here follows from the plan below, by the same models as the simulated sea."),
        parts.the_plan(told["plan_toml"]))
