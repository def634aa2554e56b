"""The page of a real dive: what happened and why stands first, its chain shows its moments in the charts, and a day of
readings stays quick without losing a spike.

A browser draws it, with no network; series are unpacked here by numpy, in the form that `charts.packed` names.
"""

import base64
import json
import re
from dataclasses import replace

import numpy as np
import pytest

from lander import table, words
from seatrial.bodies import open_body
from seatrial.deeds import parse as parse_fault
from seatrial.dive import Dive
from seatrial.plan import load_sample
from tumblehome.debrief import log, whole
from tumblehome.debrief.causes.alike import SILENCE
from tumblehome.page.debrief import NO_PLAN, debrief_page

from .pages_for_tests import NASTY, Reader, until

PLAN = load_sample()
DAY = 86_400


def flown(*faults: str) -> log.Log:
    body = open_body("cpython", PLAN.mission_record())
    return log.parse(Dive(PLAN, [parse_fault(fault) for fault in faults], 1, body).run().journal, "journal.bin", "E660")


@pytest.fixture(scope="module")
def jammed() -> whole.Debrief:
    """A dive whose primary release is jammed."""
    return whole.work_out(flown("jammed@record"), PLAN, "the sample")


@pytest.fixture(scope="module")
def page(jammed) -> str:
    return debrief_page(jammed)


@pytest.fixture(scope="module")
def often_reset() -> whole.Debrief:
    return whole.work_out(flown("attempt-resets@record"), PLAN, "the sample")


@pytest.fixture(scope="module")
def a_day(jammed) -> tuple[whole.Debrief, float]:
    """A dive with a day at one reading a second, one of them with a spike of the supply, and when that was."""
    records = jammed.log.records
    at = int(np.flatnonzero((records["state"] == table.RECORD) & jammed.log.is_reading)[20])
    long = np.repeat(records[at:at + 1], DAY)
    steps = np.arange(DAY)
    for name, by in (("sequence", 1), ("mission_ds", 10), ("clock_s", 1)):
        long[name] += (steps * by).astype(long[name].dtype)
    long["supply_mv"] = 15_000 + steps % 7
    long["supply_mv"][50_000] = 9_100
    spike_s = float(long["mission_ds"][50_000]) / 10.0
    day = replace(jammed.whole, records=np.concatenate((records[:at], long)), slot=np.arange(at + DAY))
    told = whole.work_out(day, PLAN, "the sample")
    return told, float(told.since_origin(np.array([spike_s]))[0])


def unpacked(packed: dict) -> np.ndarray:
    counts = np.frombuffer(base64.b64decode(packed["data"]), "<u%d" % packed["bytes"])
    values = packed["base"] + counts / 10.0 ** packed["decimals"]
    return np.where(counts == np.iinfo(counts.dtype).max, np.nan, values)


# --- what it says ---------------------------------------------------------------------------------------------------


def test_what_happened_and_why_come_before_anything_else(page, jammed):
    words_there = Reader(page).words
    contents = words_there.index("Where this comes from")
    first = [words_there.index(said) for said in (jammed.headline.word, jammed.headline.sentence)]
    then = [words_there.index(said, contents) for said in ("Causes", jammed.findings[0].sentence, "The dive",
                                                           "Against the plan")]
    assert first == sorted(first) and first[-1] < contents and then == sorted(then)
    assert "backup" in jammed.headline.sentence and "jammed" in jammed.findings[0].kinds


def test_each_link_says_what_was_expected_and_seen_and_has_a_button_for_its_moment(page, jammed):
    reader = Reader(page)
    for link in jammed.happened:
        assert link.said in reader.text and " ".join(link.seen.split()) in reader.text
        assert link.expected in reader.text
    buttons = [attributes for attributes in reader.named("button") if "data-until" in attributes]
    assert len(buttons) >= len(jammed.happened) + len(jammed.findings)
    assert all(float(button["data-time"]) <= float(button["data-until"]) for button in buttons)


def test_the_readings_in_the_page_are_those_of_the_journal_to_the_last_digit_that_shows(page, jammed):
    island = json.loads(Reader(page).islands["long-readings"])
    records = jammed.log.records
    valid = records["signs"] >> words.SIGNS.index("supply_ok") & 1 != 0
    volts = unpacked(island["series"]["supply_v"])
    assert len(volts) == len(records)  # no record is missing in this dive
    assert np.abs(volts[valid] - records["supply_mv"][valid] / 1000.0).max() < 0.00051
    assert np.isnan(volts[~valid]).all()
    splash_ds = jammed.log.splash_s * 10
    assert np.abs(unpacked(island["time"]) - (records["mission_ds"] - splash_ds) / 10).max() < 0.06


def test_no_line_is_drawn_over_what_nobody_saw(jammed):
    kept = np.ones(len(jammed.whole.records), bool)
    kept[1000:1500] = False
    torn = replace(jammed.whole, records=jammed.whole.records[kept], slot=jammed.whole.slot[kept])
    times, readings = whole.series(whole.work_out(torn, PLAN))
    gaps = np.flatnonzero(np.isnan(readings["supply_v"]))
    assert len(gaps) == 1 and times[gaps[0]] - times[gaps[0] - 1] > 1000.0


def test_the_axis_goes_by_the_clock_so_that_dozens_of_resets_do_not_bend_it(often_reset):
    rise = next(link for link in often_reset.happened if link.said.startswith("Rise"))
    on_axis_s = float(often_reset.since_origin(np.array([rise.at_s]))[0])
    utc = often_reset.whole.utc(rise.at_s) - often_reset.whole.utc(often_reset.origin_s)
    assert on_axis_s == pytest.approx(utc.total_seconds(), abs=0.01)
    assert abs(on_axis_s - (rise.at_s - often_reset.origin_s)) > 5.0


def test_an_attempt_that_took_the_controller_down_ends_where_it_started_anew(often_reset):
    assert len(often_reset.attempts) == len(often_reset.resets_s) == 47
    for attempt, reset_s in zip(often_reset.attempts, often_reset.resets_s, strict=True):
        assert attempt["to_s"] == reset_s and "reset" in attempt["end"]


def test_without_a_plan_the_page_names_no_cause_and_judges_no_law(jammed):
    told = whole.work_out(jammed.whole, None)
    text = Reader(debrief_page(told)).text
    assert NO_PLAN in text and "Against the plan" not in text and "The laws" not in text
    assert told.findings == () and told.headline.word == "Home"
    assert "Release to backup: no rise: other channel." in text


def test_a_dive_that_was_never_in_the_water_has_a_page_too(jammed):
    dry = jammed.whole.records["descent_ds"] < 0
    told = whole.work_out(replace(jammed.whole, records=jammed.whole.records[dry], slot=jammed.whole.slot[dry]), PLAN)
    assert told.headline.word == "Never in the water"
    assert "Never in the water" in Reader(debrief_page(told)).text
    assert told.against.rows == () and "Against the plan" not in Reader(debrief_page(told)).text
    assert {law.sentence for law in told.against.laws if law.verdict == "cannot be told"} == {
        "No sign of water is in this journal.", "The second board writes nothing into this journal."}


def test_a_controller_that_answered_when_its_journal_was_pulled_on_deck_was_not_silent(jammed):
    armed = (jammed.whole.records["descent_ds"] < 0) & (jammed.whole.records["state"] <= table.ARMED)
    dry = replace(jammed.whole, records=jammed.whole.records[armed], slot=jammed.whole.slot[armed], chip=None)
    assert [finding.kinds for finding in whole.work_out(dry, PLAN).findings] == [SILENCE]
    pulled = whole.work_out(replace(dry, chip="00e0c912d0"), PLAN)
    assert pulled.findings == () and "no dive to judge" in pulled.headline.sentence


def test_a_bound_on_one_side_is_told_as_one(page):
    words = Reader(page).text
    assert re.search(r"charge drawn until the release \d+ mAh (at most \d+|0 to \d+) mAh", words)
    assert re.search(r"bottom time recorded [\d.]+ % at least 95.0 %", words)
    assert re.search(r"release commanded, after the splash 5:00:00 4:59:\d\d to 5:00:\d\d 5:00:00", words)


def test_a_journal_that_ends_on_the_seabed_is_never_called_home(jammed):
    kept = jammed.whole.records["state"] <= table.RECORD
    told = whole.work_out(replace(jammed.whole, records=jammed.whole.records[kept], slot=jammed.whole.slot[kept]), PLAN)
    assert told.headline.word == "Not seen to come up" and not told.is_sound
    assert "The journal ends" in told.headline.sentence


def test_the_same_debrief_gives_the_same_page(page, jammed):
    assert debrief_page(jammed) == page


def test_nothing_in_a_hostile_name_becomes_markup(jammed):
    hostile = replace(jammed, whole=replace(jammed.whole, source=NASTY, chip=NASTY))
    reader = Reader(debrief_page(hostile))
    assert NASTY in reader.text
    assert not [tag for tag, attributes in reader.tags if tag == "img" or "onerror" in attributes]
    assert not [value for _tag, attributes in reader.tags for name, value in attributes.items()
                if name in ("src", "href") and not (value or "").startswith("#")]


# --- in a browser ---------------------------------------------------------------------------------------------------

RANGE = "document.getElementById('%s')._fullLayout.xaxis.range.map(Number)"
CHARTS = ("depth", "volts", "amps", "heat")


def test_it_opens_zooms_and_hovers_with_no_network_and_nothing_to_complain_of(page, jammed, browser):
    def zoomed_and_pointed(shown):
        box = shown.locator("#volts .nsewdrag").first
        box.scroll_into_view_if_needed()
        place = box.bounding_box()
        whole_view = shown.evaluate(RANGE % "depth")
        for share, action in ((0.3, shown.mouse.down), (0.6, shown.mouse.up)):
            shown.mouse.move(place["x"] + share * place["width"], place["y"] + place["height"] / 2, steps=5)
            action()
        until(shown, "Math.abs(%s[0] - %f) > 60" % (RANGE % "depth", whole_view[0]))
        span = whole_view[1] - whole_view[0]
        for name in CHARTS:
            zoomed = shown.evaluate(RANGE % name)
            assert zoomed == pytest.approx([whole_view[0] + 0.3 * span, whole_view[0] + 0.6 * span], abs=0.01 * span)
        shown.mouse.move(place["x"] + 0.5 * place["width"], place["y"] + place["height"] / 2)
        until(shown, "document.getElementById('readout').textContent.includes('voltage')")
        read = shown.inner_text("#readout")
        at_s = whole_view[0] + 0.45 * span
        place_in_log = int(np.argmin(np.abs(jammed.log.mission_s - jammed.origin_s - at_s)))
        volts = float(re.search(r"voltage ([\d.]+) V", read).group(1))
        assert volts == pytest.approx(jammed.log.records["supply_mv"][place_in_log] / 1000.0, abs=0.05)
        assert "state record" in read and "depth as the controller read it 430" in read and " UTC" in read

    used = browser.use(page, zoomed_and_pointed)
    assert used.asked == used.complaints == []


def test_a_link_of_the_chain_shows_its_moment_when_it_is_pressed_and_shades_it_when_it_has_the_focus(
        page, jammed, browser):
    def focused_and_pressed(shown):
        number = next(at for at, link in enumerate(jammed.happened) if link.said.startswith("Attempt 2"))
        button = shown.locator(".chain li").nth(number).locator("button.at")
        before = shown.evaluate(RANGE % "depth")
        button.focus()
        assert shown.evaluate(RANGE % "depth") == before
        assert "5:05:0" in shown.inner_text("#readout")
        assert shown.locator("#depth .stretch").evaluate("one => getComputedStyle(one).display") == "block"
        shown.keyboard.press("Enter")
        until(shown, "%s[1] - %s[0] < 400" % (RANGE % "heat", RANGE % "heat"))
        since_s = jammed.happened[number].at_s - jammed.log.splash_s
        for name in CHARTS:
            left, right = shown.evaluate(RANGE % name)
            assert left < since_s < right

    used = browser.use(page, focused_and_pressed)
    assert used.asked == used.complaints == []


def test_a_day_of_readings_keeps_its_spike_in_every_view_and_every_reading_in_a_close_one(a_day, browser):
    told, spike_s = a_day
    lines = "document.getElementById('volts').data[0]"
    def zoomed(shown):
        assert shown.evaluate("%s.y.length" % lines) < 3.5 * 1280 < DAY
        assert shown.evaluate("Math.min(...%s.y)" % lines) == pytest.approx(9.1)
        shown.evaluate("Plotly.relayout('volts', {'xaxis.range[0]': %f, 'xaxis.range[1]': %f})" % (
            spike_s - 100, spike_s + 100))
        until(shown, "%s.x.length < 300" % lines)
        xs, ys = shown.evaluate("%s.x" % lines), shown.evaluate("%s.y" % lines)
        assert np.diff(xs) == pytest.approx(1.0) and 200 <= len(xs) <= 204
        assert xs[int(np.argmin(ys))] == pytest.approx(spike_s, abs=0.1)

    used = browser.use(debrief_page(told), zoomed)
    assert used.asked == used.complaints == []
