"""Every page of the tool, opened with no network at the widths of a screen, a tablet, a telephone and a sheet of paper:
it asks for nothing, complains of nothing, and has nothing that a tired reader, or one who cannot see or point, would
stumble over. What that is stands in `audit.js`, with its sources.
"""

import re
from functools import cache
from importlib.resources import files
from pathlib import Path

import pytest

from seatrial.campaign.choosing import Campaign, dives
from seatrial.plan import draft_sample, load_sample
from seatrial.workings.card import card
from tumblehome.debrief import whole
from tumblehome.page import charts, palette, parts
from tumblehome.page.card import card_page
from tumblehome.page.debrief import debrief_page
from tumblehome.page.dive import dive_page
from tumblehome.page.sweep import sweep_page
from tumblehome.page.trends import trends_page

from . import (
    test_card_page,
    test_debrief_page,
    test_deck_page,
    test_page,
    test_plan_page,
    test_search_page,
    test_sweep,
    test_trends_page,
)
from .pages_for_tests import NASTY, PHONE, SCREEN, TABLET, Reader, contrast, until

AUDIT = Path(__file__).with_name("audit.js").read_text(encoding="utf-8")
PAPER = (688, 1000)  # px of CSS: A4 without the margins of look.css
SMALLEST, SMALLEST_ON_PAPER = 11, 7.5  # px of CSS; on paper that is 5.6 pt, and a lamp and reading glasses
LONG = "Southern flank of the Half-Moon Shelf, transect seven, after the gale (invented) AMMONITE-HOLOTHURIAN"
STYLES = ("look.css", "search.css", "debrief.css", "sweep.css", "card.css")
CHARTS = ("depth", "volts", "amps", "heat")
RANGES = "%s.map(name => document.getElementById(name)._fullLayout.xaxis.range.map(Number))" % list(CHARTS)


def crowded_dive():
    """Thirty attempts, five resets, a second board, faults with long names and a long name of its own."""
    dive = test_page.troubled_dive()
    attempts = [{"from_s": 18610.0 + 120 * number, "to_s": 18620.0 + 120 * number, "drive_pct": 100,
                 "channel": "backup" if number % 2 else "primary", "end": "time is up"} for number in range(30)]
    resets = [{"time_s": 18700.0 + 400 * number, "kind": "reset", "state": "off", "depth_m": 430.0, "what": "reset",
               "reason": "the supply fell"} for number in range(5)]
    second = {"deadline_s": 21000.0, "heartbeat_heard_s": 18900.0,
              "attempts": [{"from_s": 21000.0, "to_s": 21012.0, "drive_pct": 100, "freed": True}]}
    fault = {"name": "second-pressure-gone-and-never-seen-again", "from_s": 30000.0, "to_s": None, "what": LONG}
    return dive | {"plan_name": LONG, "attempts": attempts, "timeline": dive["timeline"] + resets, "second": second,
                   "faults": [*dive["faults"], fault]}


def long_plan():
    """The sample with a long name, parts with long names, and a release on the next day."""
    plan = draft_sample()
    parts = tuple(part.model_copy(update={"name": f"{part.name}, with what hangs on it and a long name"})
                  for part in plan.lander.parts)
    return test_plan_page.plan_with(dive__name=LONG, lander__parts=parts, times__timed_release_min=1500.0,
                                    times__latest_release_min=1600.0)


def campaign():
    """Every fault alone, some with a broken law."""
    planned = dives(Campaign(1), load_sample())
    broken = {dive.number for dive in planned if dive.faults and dive.number % 9 == 4}
    told = test_sweep.told_of([test_sweep.row(dive.number, dive.faults, dive.number in broken) for dive in planned],
                              {(dive.number, "law 4"): dive.faults for dive in planned}, campaign=Campaign(1))
    causes = [{"kinds": ["jammed"], "harm": "lost", "avoidable": is_avoidable, "sentence": LONG, "onsets": ["start"],
               "dives": 9, "command": "tumblehome rehearse dives-of-this-lander/half-moon-shelf.toml --seed 7 --fault"
                                      " jammed:channel=both,for_s=600@record+8700s"} for is_avoidable in (True, False)]
    return told | {"causes": causes}


def plan_that_fails():
    plan = long_plan()
    made = test_plan_page.really(plan)
    return test_plan_page.page_of(test_plan_page.worked(plan, made.chapters, (LONG, "power.capacity_ah " * 30), (LONG,)))


PAGES = {
    "dive": lambda: dive_page(crowded_dive()),
    "lost dive": lambda: dive_page(test_page.lost_dive()),
    "plan": plan_that_fails,
    "card": lambda: card_page(test_card_page.crowded()),
    "sweep": lambda: sweep_page(campaign()),
    "deck": lambda: test_deck_page.page(accepted={"clock": LONG}, by=LONG, **test_deck_page.OFF),
    "search": lambda: test_search_page.page_of(test_search_page.search("boat far off")),
    "debrief": lambda: debrief_page(whole.work_out(test_debrief_page.flown("jammed@record"), load_sample(), "the sample")),
    "trends": lambda: trends_page(test_trends_page.worn(), LONG),
}


@cache
def page_of(name):
    """Each page, made once."""
    return PAGES[name]()


BAD = """<!DOCTYPE html><html><head></head><body><main><h1>One</h1><h3 id="a">Three</h3><p id="a">Twice</p>
<button></button><a href="#b">Nowhere</a><svg width="9" height="9"></svg><table><tr><th>Head</th></tr></table>
<p style="color:#999;background:#fff">Pale</p><p style="font-size:9px">Small</p><div style="width:2000px">Wide</div>
<div style="width:90px;overflow-x:auto"><div style="width:400px">Wide</div></div>
<div class="chart" style="width:90px"><svg aria-hidden="true" width="90" height="20" style="overflow:visible">
<text x="60" y="15">far too long for it</text></svg></div></main><script>document.body.dataset.drawn = "yes"</script>
</body></html>"""


def looked_over(shown):
    """What is wrong with the page at each width, and on paper."""
    found = {}
    for name, (width, height) in (("screen", SCREEN), ("tablet", TABLET), ("telephone", PHONE)):
        shown.set_viewport_size({"width": width, "height": height})
        until(shown, "Array.from(document.querySelectorAll('.chart')).every(chart => !chart._fullLayout"
                                " || !chart.clientWidth || chart._fullLayout.width === chart.clientWidth)")
        found[name] = shown.evaluate(AUDIT, {"width": width, "smallest": SMALLEST, "isPaper": False})
    shown.set_viewport_size({"width": PAPER[0], "height": PAPER[1]})
    shown.emulate_media(media="print")
    shown.evaluate("dispatchEvent(new Event('beforeprint'))")
    found["paper"] = shown.evaluate(AUDIT, {"width": PAPER[0], "smallest": SMALLEST_ON_PAPER, "isPaper": True})
    return {name: faults[:5] for name, faults in found.items() if faults}


@pytest.mark.parametrize("name", PAGES)
def test_nobody_stumbles_over_a_page_at_any_width_or_on_paper(name, browser):
    assert browser.use(page_of(name), looked_over) == ({}, [], [])


def test_each_thing_to_stumble_over_is_told(browser):
    # The check above must be able to fail.
    found = browser.use(BAD, lambda shown: shown.evaluate(
        AUDIT, {"width": SCREEN[0], "smallest": SMALLEST, "isPaper": False})).result
    assert {fault.split(":")[0].rstrip(" 0123456789.") for fault in found} == {
        "no language", "no title", "a heading level is left out", "an id stands twice", "no name",
        "a picture without words", "no caption", "no scope", "leads nowhere", "too small to be touched",
        "scrolls sideways", "tiny type", "low contrast", "cut off", "scrolls but not by keys"}


@pytest.mark.long
def test_a_window_that_loses_its_width_for_a_moment_throws_nothing(browser):
    def squeezed(shown):
        for way in ("none", ""):
            shown.evaluate("dispatchEvent(new Event('beforeprint')); document.querySelector('main').style.display = '%s';"
                           "dispatchEvent(new Event('afterprint'))" % way)
        return shown.evaluate("document.getElementById('depth')._fullLayout.width")
    used = browser.use(dive_page(test_page.good_dive()), squeezed)
    assert used.result > 1000 and used.complaints == []


def test_all_that_can_be_done_with_charts_is_done_by_keys(browser):
    def by_keys(shown):
        whole_dive = shown.evaluate(RANGES)
        stops = []
        for _stop in range(40):
            shown.keyboard.press("Tab")
            stops.append(shown.evaluate("[document.activeElement.id || document.activeElement.textContent,"
                                        " getComputedStyle(document.activeElement).outlineStyle]"))
            if stops[-1][0] == "cursor":
                break
        shown.keyboard.press("PageUp")
        at_tenth = shown.inner_text("#readout b")
        shown.keyboard.press("ArrowRight")
        after = shown.inner_text("#readout b")
        shown.keyboard.press("+")
        until(shown, "%s[3][1] - %s[3][0] < %f" % (RANGES, RANGES, 0.6 * (whole_dive[0][1] - whole_dive[0][0])))
        closer = shown.evaluate(RANGES)
        shown.keyboard.press("0")
        until(shown, "%s[3][0] === %f" % (RANGES, whole_dive[3][0]))
        return whole_dive, stops, at_tenth, after, closer
    used = browser.use(dive_page(test_page.troubled_dive()), by_keys)
    whole_dive, stops, at_tenth, after, closer = used.result
    assert stops[-1][0] == "cursor" and {"Closer", "Wider", "Earlier", "Later"} <= {words for words, _outline in stops}
    assert {outline for _words, outline in stops} == {"solid"}, "who tabs sees where the focus is"
    # 40,000 s and 1 % of air at both ends: a tenth of the view is 1:08:00, a hundredth 0:06:48
    assert at_tenth.startswith("1:08:00 ") and after.startswith("1:14:48 ")
    for name, (left, right) in zip(CHARTS, closer, strict=True):
        assert right - left == pytest.approx((whole_dive[0][1] - whole_dive[0][0]) / 2), name
        assert left < 4488 < right
    assert used.complaints == []


def test_a_page_without_its_scripts_still_prints_what_is_folded(browser):
    page = page_of("sweep")
    assert "<script" not in page and "<details" in page
    used = browser.use(page, lambda shown: (
        shown.emulate_media(media="print"), shown.locator("details .source").first.bounding_box())[1])
    assert used.result["height"] > 100


# ---------------------------------------------------------------------------------------------- the style sheets

@pytest.fixture(scope="module")
def sheets():
    return {name: files("tumblehome.page").joinpath(name).read_text(encoding="utf-8") for name in STYLES}


def test_the_colours_of_the_look_stand_out_from_the_paper(sheets):
    # Source: WCAG 2.2, success criteria 1.4.3 (text 4.5 : 1) and 1.4.11 (edges and focus 3 : 1).
    named = dict(re.findall(r"--(\w+): (#[0-9a-f]{6})", sheets["look.css"]))
    assert (named["paper"], named["ink"], named["rule"]) == (palette.PAPER, palette.INK, palette.RULE)
    for name in ("ink", "quiet", "link", "good", "warn", "bad", "edge", "focus"):
        for paper in (palette.PAPER, "#ffffff"):
            assert contrast(named[name], paper) >= (3.0 if name in ("edge", "focus") else 4.5), name
    for sheet in sheets.values():
        for name in re.findall(r"var\(--(\w+)\)", sheet):
            assert name in named or sheet is sheets["card.css"], name
        for colour in re.findall(r"[^-]color: (#[0-9a-f]{6})", sheet):
            assert contrast(colour, palette.PAPER) >= 4.5, colour


@pytest.mark.parametrize("name", ["dive", "plan", "debrief"])
def test_each_line_of_a_chart_stands_out_from_its_ground(name):
    # Source: WCAG 2.2, success criterion 1.4.11: graphics 3 : 1.
    page = Reader(page_of(name))
    lines = [trace["line"] for island in page.islands if island.endswith("-data")
             for trace in page.chart(island.removesuffix("-data"))["data"]
             if trace.get("mode") == "lines" and trace.get("line", {}).get("width")]
    assert len(lines) >= 4
    assert [line for line in lines if contrast(line["color"], "#ffffff") < 3.0] == []


def test_nothing_moves_by_itself(sheets):
    # Source: WCAG 2.2, success criterion 2.3.3: who asked for less motion gets none, as does everybody else.
    scripts = [files("tumblehome.page").joinpath(name).read_text(encoding="utf-8") for name in ("behaviour.js", "search.js")]
    for text in (*sheets.values(), *scripts):
        assert not re.search(r"transition|animation|@keyframes|smooth", text)


def test_a_name_too_long_for_its_row_is_shortened_and_a_shorter_one_is_not():
    short, long = charts.row_names([("float", ": 3 kg"), ("w" * 80, ": 3 kg")])
    assert short["text"] == "<b>float</b>: 3 kg"
    assert long["text"] == f"<b>{'w' * 39}…</b>: 3 kg"


def test_the_plan_on_a_page_keeps_each_letter_and_a_temperature_in_words_gets_its_sign():
    dive = test_page.good_dive()
    dive |= {"plan_toml": "# 4 degC", "figures": [{"name": "Hottest", "text": "35 degC", "note": NASTY}]}
    page = dive_page(dive)
    assert "<code># 4 degC</code>" in page and ">35\N{NO-BREAK SPACE}°C<" in page


@pytest.mark.parametrize(("said", "shown"), [
    ("toward 67 deg true", "toward 67° true"), ("1027.1 kg/m3", "1027.1 kg/m³"), ("168 mOhm", "168 mΩ"),
    ("73 % in 1.1 NM", "73\N{NO-BREAK SPACE}% in 1.1\N{NO-BREAK SPACE}NM"), ("toward_deg 67", "toward_deg 67"),
    ("67 degrees", "67 degrees"), ("half deg", "half deg")])
def test_a_unit_in_words_gets_its_sign_and_stays_with_its_number(said, shown):
    assert parts.text(said) == shown


def test_the_card_keeps_its_own_look():
    assert card_page(card(draft_sample())).count("<style>") == 1
