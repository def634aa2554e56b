"""The page of several dives: what wears out stands first, and each dive can be read in charts and table."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from tumblehome.debrief import trends
from tumblehome.page.trends import trends_page, verdict_of

from .pages_for_tests import NASTY, Reader

FIRST = datetime(2027, 4, 18, 6, 30, tzinfo=UTC)


def dives(count: int, **changed):
    """So many invented dives, a day apart; a changed measure is a function of the number of the dive."""
    rows = [trends.Row(
        source=f"dives/dive-{number:02d}", chip="E660", dive=1, began=FIRST + timedelta(days=number), deepest_m=429.9,
        bottom_min=290.5, command_to_rise_s=139.4, attempts=1, lowest_loaded_v=14.8 - number % 3 / 100,
        resistance=trends.Resistance(214.0 - number % 3, 4.0, 9), housing_c=12.0, surface_mbar=1016 - number % 4,
        resets=0, bad_slots=0) for number in range(count)]
    return trends.over([replace(row, **{name: value(number) for name, value in changed.items()})
                        for number, row in enumerate(rows)])


def worn():
    return dives(8, resistance=lambda number: trends.Resistance(140.0 + 25.0 * number, 4.0, 9),
                 lowest_loaded_v=lambda number: 14.8 - 0.06 * number)


def test_what_wears_out_and_what_to_look_at_come_before_anything_else():
    told = Reader(trends_page(worn(), "dives"))
    contents = told.words.index("Each measure over the dives")
    said = [told.words.index(next(words for words in told.words if part in words))
            for part in ("Wearing out", "Look at the pack, or how full", "Look at the pack, or a connector")]
    assert said == sorted(said) and said[-1] < contents


@pytest.mark.parametrize(("told", "tone", "word"), [
    (worn(), "bad", "Wearing out"),
    (dives(8), "good", "Nothing wears out"),
    (dives(trends.DIVES_LEAST - 1), "warn", "Too early to tell"),
])
def test_the_verdict_tells_wear_from_none_and_from_too_few_dives(told, tone, word):
    assert verdict_of(told)[:2] == (tone, word)


def test_a_chart_shows_each_dive_and_its_line_ends_where_the_trend_does():
    told = worn()
    trend = next(trend for trend in told.worn if trend.measure.name == "resistance")
    joined, spots, line = Reader(trends_page(told, "dives")).chart("resistance-over-dives")["data"]
    assert spots["x"] == [1, 2, 3, 4, 5, 6, 7, 8] and spots["y"] == [row.resistance.mohm for row in told.rows]
    assert line["x"] == [1, 8] and line["y"] == pytest.approx([trend.first, trend.last])
    assert joined["y"] == spots["y"] and spots["text"][0].startswith("dive 1, 2027-04-18 06:30Z: 140")


def test_a_measure_that_not_every_dive_tells_leaves_a_place_empty():
    told = dives(8, command_to_rise_s=lambda number: None if number == 3 else 139.0 + number)
    spots = Reader(trends_page(told, "dives")).chart("command_to_rise_s-over-dives")["data"][1]
    assert spots["x"] == [1, 2, 3, 5, 6, 7, 8]


def test_a_measure_that_never_changes_is_one_part_of_a_sentence_and_no_chart():
    told = Reader(trends_page(dives(8), "dives"))
    assert "bottom_min-over-dives-data" not in told.islands
    assert "time on the bottom 290.5 min" in told.text and "release attempts 1" in told.text


def test_every_dive_stands_in_the_table_and_what_it_does_not_tell_is_a_dash():
    told = Reader(trends_page(dives(3, bottom_min=lambda number: None, began=lambda number: None), "dives"))
    assert all(f"dive-0{number}, 1" in told.words for number in range(3))
    assert told.words.count("–") >= 6 and "these are 3 dives" in told.text.replace("These", "these")


def test_names_are_harmless_and_nothing_is_fetched(browser):
    nasty = trends.over([replace(row, source=NASTY, chip=NASTY) for row in dives(2).rows], [NASTY])
    shown, complaints = browser.opened(trends_page(nasty, NASTY))
    assert complaints == [] and NASTY not in shown
