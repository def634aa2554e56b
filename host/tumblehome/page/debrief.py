"""The page of a real dive: what happened and why first, the chain of causes beside the charts, then all it rests on."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from lander import VERSION
from tumblehome.debrief import whole
from tumblehome.debrief.against import INSIDE, OUTSIDE, Compared
from tumblehome.debrief.causes import ESTABLISHED, LIKELY, Finding, Link
from tumblehome.debrief.learning import Course as Followed
from tumblehome.debrief.learning import Learned
from tumblehome.debrief.whole import Debrief
from tumblehome.page import charts, course, palette, parts
from tumblehome.page.clock import DiveClock
from tumblehome.page.course import Course, Trace
from tumblehome.page.parts import Column, Html
from tumblehome.wording import NOTHING, measured, shown

_DEPTH = (Trace("depth_m", "depth as the controller read it", palette.INK, "solid", 2.4, "m", 1),)
_PLANNED = Trace("planned_m", "depth as planned", palette.GREY, "dash", 1.4, "m", 1)
_CERTAIN = {ESTABLISHED: "", LIKELY: "likely"}
_ROW_TONES = {INSIDE: "good", OUTSIDE: "bad"}
_RECORDS_NAMED = 8
_RESIDUAL = 1500  # points of a picture of how the model follows


def debrief_page(told: Debrief) -> str:
    """One HTML file that tells a dive and opens with no network; the same debrief gives the same page."""
    headline = told.headline
    sections = (_causes(told), _course(told), _untold(told), _against(told), _laws(told), _energy(told), _learned(told),
                _deck(told), _unread(told), _origin(told))
    body = parts.join((
        _header(told), _verdict(told), _no_plan(told), parts.contents(*sections), *sections))
    footer = parts.element("p", f"tumblehome {VERSION} · {told.whole.source} · dive {told.number}")
    return parts.frame(f"{headline.word}: {told.name}", body, footer, looks=("look.css", "debrief.css"))


# --- what happened, and why -----------------------------------------------------------------------------------------


def _header(told: Debrief) -> Html:
    controller = "" if told.whole.chip is None else f" · controller {told.whole.chip}"
    return parts.element("header", parts.join((
        parts.element("p", "After the dive", class_="kind"), parts.element("h1", told.name),
        parts.element("p", f"{told.whole.source} · dive {told.number}{controller} · {len(told.log.records)} records",
                      class_="when"))))


def _verdict(told: Debrief) -> Html:
    headline = told.headline
    alarms = [parts.law_alarm(law.number, law.name, law.sentence) for law in told.broken]
    return parts.verdict_panel(parts.Verdict(headline.tone, headline.word, headline.sentence), told.facts(), alarms)


def _no_plan(told: Debrief) -> Html:
    if told.plan is not None:
        return Html("")
    return parts.note(NO_PLAN, heading="No plan")


NO_PLAN = ("Why it went so, and whether the laws were kept, needs the plan of this dive: name its file, or the check on"
           " deck (--deck deck.json), which holds it. Depths are those of a standard ocean.")


def _causes(told: Debrief) -> Html:
    if told.plan is None:
        return Html("")
    if not told.findings:
        went = ": it went as planned, as far as records tell" if told.headline.tone == "good" else ""
        return parts.section("Causes", parts.element("p", f"Nothing in the journal points to a cause{went}."),
                             name="causes")
    items = parts.join(_cause(told, finding) for finding in told.findings)
    return parts.section("Causes", parts.element("ol", items, class_="causes"), name="causes")


def _cause(told: Debrief, finding: Finding) -> Html:
    pieces = [parts.element("p", parts.join((_certain(finding.certainty), Html(" "), parts.text(finding.sentence))),
                            class_="said")]
    if finding.kinds:
        pieces.append(parts.element("p", "In the catalogue of faults: " + " or ".join(finding.kinds), class_="small"))
    if finding.settle:
        pieces.append(parts.element("p", parts.join((parts.element("b", "To know for sure: "),
                                                     parts.text(finding.settle + ".")))))
    pieces.append(parts.element("p", _records(told, finding.records), class_="small"))
    return parts.element("li", parts.join(pieces), class_=_CERTAIN.get(finding.certainty, "open") or None)


def _certain(certainty: str) -> Html:
    return parts.element("span", certainty, class_=f"certain {_CERTAIN.get(certainty, 'open')}".strip())


def _records(told: Debrief, numbers: Sequence[int]) -> Html:
    """Record numbers, as a button that shows when they were written."""
    if not numbers:
        return Html("")
    named = ", ".join(str(number) for number in numbers[:_RECORDS_NAMED])
    words = f"{'record' if len(numbers) == 1 else 'records'} {named}" + (" …" if len(numbers) > _RECORDS_NAMED else "")
    at_s = told.since_origin(told.moments(tuple(numbers)))
    if not len(at_s):
        return parts.text(words)
    return parts.stretch_button(words, float(at_s.min()), float(at_s.max()))


def _course(told: Debrief) -> Html:
    links = parts.join(_link(told, link) for link in told.happened)
    to_charts = parts.element("a", "the charts", href="#depth")
    why = parts.join((parts.element("h3", "What happened, link by link"),
                      parts.element("p", Html(f"A time shows its moment in {to_charts}."), class_="small"),
                      parts.element("ol", links, class_="chain")))
    return parts.section(
        "The dive", parts.element("div", parts.join((
            parts.element("div", why, class_="why"),
            parts.element("div", course.drawn(_drawn(told)), class_="charts"))), class_="course"), name="charts")


def _link(told: Debrief, link: Link) -> Html:
    at_s = float(told.since_origin(np.array([link.at_s]))[0])
    others = told.since_origin(told.moments(link.records))
    near = [at_s, *others[np.abs(others - at_s) < 900.0].tolist()]  # a link may sum up hours: then its beginning shows
    pairs = [(name, said) for name, said in (("expected", link.expected), ("seen", link.seen)) if said]
    pieces = [parts.element("p", parts.join((
        parts.stretch_button(link.when, min(near), max(near)), Html(" "),
        _certain(link.certainty) if link.certainty != ESTABLISHED else Html("")))),
        parts.element("p", link.said, class_="said")]
    if pairs:
        pieces.append(parts.element("dl", parts.join(
            parts.join((parts.element("dt", name), parts.element("dd", said))) for name, said in pairs)))
    if link.records:
        named = ", ".join(str(number) for number in link.records[:_RECORDS_NAMED])
        pieces.append(parts.element("p", f"record {named}", class_="small"))
    is_odd = link.expected in ("not in a sound dive", "one start")
    return parts.element("li", parts.join(pieces), class_="odd" if is_odd else _CERTAIN.get(link.certainty) or None)


def _drawn(told: Debrief) -> Course:
    times, readings = whole.series(told)
    utc = told.whole.utc(told.origin_s)
    clock = DiveClock(0.0, None if utc is None else utc.isoformat())
    if told.log.splash_s is None:
        clock.origin_name = "the first record"

    def on_axis(mission_s: float) -> float:
        return float(told.since_origin(np.array([mission_s]))[0])

    moments = [told.log.mission_s[0], *(link.at_s for link in told.happened)]
    beside = []
    if told.plan is not None and told.log.splash_s is not None:
        beside.append((_PLANNED, *whole.planned_depths(told.plan)))
    return Course(
        clock=clock, times=times, series=readings, start_s=min(map(on_axis, moments)), end_s=float(times[-1]),
        spans=[span | {"from_s": on_axis(span["from_s"]), "to_s": on_axis(span["to_s"])} for span in whole.spans(told)],
        attempts=[attempt | {"from_s": on_axis(attempt["from_s"]),
                             "to_s": None if attempt["to_s"] is None else on_axis(attempt["to_s"])}
                  for attempt in told.attempts],
        resets=[on_axis(at_s) for at_s in told.resets_s],
        surfaced_s=None if told.surfaced_s is None else on_axis(told.surfaced_s), long=True, depth=_DEPTH,
        beside=beside)


def _untold(told: Debrief) -> Html:
    said = [link.said for link in told.untold]
    if told.against is not None:
        said += [f"For law {law.number}: {law.never_shown}." for law in told.against.laws if law.never_shown]
    return _list_section("What the journal cannot tell", said, "untold", folded=True)


def _list_section(heading: str, sentences: Iterable[str], name: str, folded: bool = False) -> Html:
    items = [parts.element("li", sentence) for sentence in sentences]
    if not items:
        return Html("")
    listed = parts.element("ul", parts.join(items))
    return parts.section(heading, parts.folded(f"{len(items)} things", listed) if folded else listed, name=name)


# --- against the plan -----------------------------------------------------------------------------------------------


def _against(told: Debrief) -> Html:
    if told.against is None or not told.against.rows:
        return Html("")
    columns = (Column("What"), Column("Planned", numeric=True), Column("Between", numeric=True),
               Column("Seen", numeric=True), Column("Verdict"), Column("Note"))
    rows = []
    for row in told.against.rows:
        rows.append((row.words, measured(row.planned, row.digits, row.unit), _between(row),
                     measured(row.seen, row.digits, row.unit),
                     parts.badge(row.verdict, _ROW_TONES.get(row.verdict, "plain")) if row.verdict else "", row.note))
    marks = ["alarm" if row.verdict == OUTSIDE else "" for row in told.against.rows]
    doubts = parts.join(parts.element("p", f"In doubt: {doubt}.") for doubt in told.against.doubts)
    return parts.section("Against the plan", doubts, parts.table(
        "Each planned number beside the real one; between is where the plan expects it.", columns, rows, marks,
        wide=True), name="against")


def _between(row: Compared) -> str:
    """Where the plan expects a number: both bounds, or the one that there is."""
    low, high = (measured(bound, row.digits, row.unit) for bound in (row.low, row.high))
    if row.low is None or row.high is None:
        return f"at most {high}" if row.low is None and row.high is not None else (
            f"at least {low}" if row.low is not None else "")
    return high if low == high else f"{low.removesuffix(' ' + row.unit)} to {high}"


def _laws(told: Debrief) -> Html:
    if told.against is None:
        return Html("")
    columns = (Column("Law", numeric=True), Column("Name"), Column("Verdict"), Column("Why"), Column("Records"))
    rows = [(law.number, law.name, parts.badge(law.verdict, parts.LAW_TONES.get(law.verdict, "plain")), law.sentence,
             _records(told, tuple(int(told.log.records["sequence"][at]) for at in law.records[:_RECORDS_NAMED])))
            for law in told.against.laws]
    marks = ["alarm" if law.verdict == "broken" else "" for law in told.against.laws]
    return parts.section("The laws", parts.table("Each law of the mission, judged on the journal alone.", columns, rows,
                                                 marks), name="laws")


def _energy(told: Debrief) -> Html:
    if told.against is None or not told.against.by_load:
        return Html("")
    columns = (Column("Load"), Column("Planned", numeric=True), Column("Seen", numeric=True),
               Column("Current planned", numeric=True), Column("Current seen", numeric=True), Column("Note"))
    rows = [(spent.words, f"{shown(spent.planned_mah, 0)} mAh", f"{spent.seen_mah:.0f} mAh",
             NOTHING if spent.planned_ma is None else f"{spent.planned_ma:.0f} mA",
             NOTHING if spent.ma is None else f"{spent.ma:.0f} mA",
             "" if spent.told else "not told apart from other loads")
            for spent in (*told.against.by_load, *told.against.by_phase)]
    return parts.section("Energy", parts.table(
        "Charge by load, then by state of the mission, for the time that each was really on.", columns, rows,
        wide=True), name="energy")


# --- what it teaches ------------------------------------------------------------------------------------------------


def _learned(told: Debrief) -> Html:
    learned = told.learned
    if learned is None:
        return Html("")
    columns = (Column("Number of the plan"), Column("Planned", numeric=True), Column("Fitted", numeric=True),
               Column("One standard deviation", numeric=True), Column("Note"))
    rows = [(fit.words, f"{fit.planned:.5g} {fit.unit}", f"{fit.value:.5g} {fit.unit}" if fit.told else NOTHING,
             f"{fit.sigma:.2g} {fit.unit}" if fit.told else NOTHING,
             "" if fit.told else "left as planned: this dive does not tell it") for fit in learned.fits]
    follows = [(each.words, str(each.readings), f"{each.before:.3g} {each.unit}", f"{each.after:.3g} {each.unit}")
               for each in learned.follows]
    return parts.section(
        "What it teaches",
        parts.table("Fitted to this dive by least squares; learned.toml has them for the next plan.", columns, rows,
                    wide=True),
        parts.table("How far the simulation is from the readings, root mean square.", (
            Column("Readings"), Column("How many", numeric=True), Column("As planned", numeric=True),
            Column("Refitted", numeric=True)), follows),
        _following(learned), parts.element("ul", parts.join(
            parts.element("li", sentence) for sentence in (*learned.notes, *learned.alike, *learned.missing))),
        name="learned")


def _following(learned: Learned) -> Html:
    return parts.beside(*(_followed(number, each) for number, each in enumerate(learned.courses)))


def _followed(number: int, each: Followed) -> Html:
    """How far reading and simulation are apart over the dive, as planned and refitted."""
    chosen = np.unique(np.linspace(0, len(each.time_s) - 1, _RESIDUAL).astype(int))
    hours = ((each.time_s - each.time_s[0]) / 3600.0)[chosen].tolist()
    unit = str(parts.text(each.unit))
    lines = (("as planned", each.planned, charts.Stroke(palette.GREY, "solid", 1.2)),
             ("refitted", each.fitted, charts.Stroke(palette.BLUE, "solid", 1.2)))
    figure = charts.plot(
        [charts.curve(name, hours, (each.read - model)[chosen].tolist(), stroke, "%{y} " + unit)
         for name, model, stroke in lines], charts.axis_title("hours from its first reading"),
        charts.axis_title(f"read less simulated, {unit}"), 220)
    key = parts.key_list((parts.line_swatch(stroke.colour, stroke.dash, 2), name, "") for name, _model, stroke in lines)
    spread = [float(np.sqrt(np.mean((each.read - model) ** 2))) for model in (each.planned, each.fitted)]
    return parts.chart_frame(
        f"followed-{number}", each.words.capitalize(), charts.finished(figure),
        f"Off by {spread[0]:.3g} {unit} as planned and {spread[1]:.3g} {unit} refitted, root mean square.", key,
        on_time_axis=False)


# --- what it rests on -----------------------------------------------------------------------------------------------


def _deck(told: Debrief) -> Html:
    if not told.agreed:
        return Html("")
    columns = (Column("What"), Column("On deck"), Column("In the dive"), Column("Verdict"))
    rows = [(each.words, each.on_deck or NOTHING, each.in_dive or NOTHING, parts.badge(
        *{True: ("the same", "good"), False: ("another", "bad"), None: ("cannot be told", "plain")}[each.same]))
        for each in told.agreed]
    ways_out = [parts.element("p", f"{each.words.capitalize()}: {each.way_out}.") for each in told.agreed
                if each.same is False]
    return parts.section("Against the check on deck", parts.join(ways_out), parts.table(
        "What the check has written down, beside what the dive shows.", columns, rows,
        ["alarm" if each.same is False else "" for each in told.agreed]), name="deck")


def _unread(told: Debrief) -> Html:
    sentences = told.whole.unread.sentences() or ["Every slot that was written holds a whole record."]
    return _list_section("What could not be read", [f"{sentence.rstrip('.')}." for sentence in sentences], "unread")


def _origin(told: Debrief) -> Html:
    facts = [("Journal", told.whole.source), ("Records", str(len(told.log.records))),
             ("Controller", told.whole.chip or "not told"), ("Plan", told.plan_from or "none"),
             ("Depth", told.depths.how), ("Version", f"tumblehome {VERSION}")]
    plan = Html("") if told.plan is None else parts.the_plan(told.plan.source_text)
    return parts.section("Where this comes from", parts.facts_list(facts), plan, name="origin")
