"""What wears out in a lander shows over its dives, and what only differs from dive to dive does not.

True resistances, depths and times are those of the simulated sea. How often chance is taken for a trend is held
against the rate that the test states.
"""

import json
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from lander.journal import RECORD_BYTES
from seatrial.battery import resistance_factor
from seatrial.bodies import open_body
from seatrial.deeds import parse as parse_fault
from seatrial.dive import Dive
from seatrial.plan import load_sample
from seatrial.plan.changing import changed
from tumblehome.bench import pulled
from tumblehome.debrief import log, trends

PLAN = changed(load_sample(), {"dive.watch_after_surfacing_min": 20})


def flown(changes=None, faults=(), seed: int = 1):
    """A dive on a day of its own, one seed a day."""
    splash = PLAN.dive.splash_utc - timedelta(days=30 - seed)
    plan = changed(PLAN, {"dive.splash_utc": splash, **(changes or {})})
    return Dive(plan, [parse_fault(fault) for fault in faults], seed, open_body("cpython", plan.mission_record())).run()


def put(folder, number: int, journal: bytes, chip: str | None = None) -> None:
    place = folder / ("dive-%02d" % number)
    place.mkdir(parents=True)
    (place / pulled.IMAGE).write_bytes(journal)
    if chip:
        (place / pulled.DATA).write_text(json.dumps({"controller": {"id": chip}}))


@pytest.fixture(scope="module")
def sound(tmp_path_factory):
    """Eight dives of a lander that is as good as new in each of them."""
    folder = tmp_path_factory.mktemp("sound")
    results = [flown(seed=number) for number in range(8)]
    for number, result in enumerate(results):
        put(folder, number, result.journal, "E660")
    return folder, results


@pytest.fixture(scope="module")
def rows(sound) -> list[trends.Row]:
    return trends.read(sound[0], PLAN).rows


# --- one dive -------------------------------------------------------------------------------------------------------


def test_the_table_tells_what_truly_happened_in_each_dive(sound, rows):
    for row, result in zip(rows, sound[1], strict=True):
        evidence = result.evidence
        assert row.deepest_m == pytest.approx(evidence.deepest_m, abs=0.5)
        assert row.bottom_min == pytest.approx((evidence.left_bottom_s - evidence.touchdown_s) / 60.0, abs=1.0)
        assert row.attempts == len(evidence.attempts) == 1 and row.resets == row.bad_slots == 0
        begun_s = min(attempt.from_s for attempt in evidence.attempts)
        assert evidence.left_bottom_s - begun_s < row.command_to_rise_s < evidence.left_bottom_s - begun_s + 40.0
        assert row.surface_mbar == pytest.approx(PLAN.site.air_pressure_hpa, abs=15)
        assert row.lowest_loaded_v < 15.0
        assert (row.began - result.plan.dive.splash_utc).total_seconds() == pytest.approx(0.0, abs=10.0)


@pytest.mark.long
def test_the_true_resistance_lies_within_the_stated_uncertainty_as_often_as_it_should():
    off = []
    for seed in range(20):
        for mohm in (100.0, 300.0):
            plan = changed(PLAN, {"power.resistance_mohm": mohm})
            dive = log.parse(flown({"power.resistance_mohm": mohm}, seed=seed).journal, "here").dives()[-1]
            found, housing_c = trends.resistance_of(dive)
            off.append((found.mohm - mohm * resistance_factor(plan.power, housing_c)) / found.sigma_mohm)
    assert np.mean(np.abs(off) < 2.0) >= 0.9 and abs(np.mean(off)) < 0.5


def test_a_dive_without_readable_supply_has_no_resistance_and_no_lowest_supply():
    told = log.parse(flown().journal, "here")
    told.records["signs"] &= np.uint16(0xFFFF - (1 << 6))  # supply_ok
    assert trends.resistance_of(told) == (None, None) and trends._lowest_loaded_v(told) is None


def test_a_lander_that_never_rose_has_no_time_from_command_to_rise():
    stuck = flown({"second.fitted": False}, ("jammed:channel=both@record",)).journal[:RECORD_BYTES * 3000]
    row = trends._row(log.parse(stuck, "here").dives()[-1], PLAN)
    assert row.command_to_rise_s is None and row.bottom_min is None and row.attempts > 1


# --- over the dives -------------------------------------------------------------------------------------------------


def test_a_lander_that_does_not_wear_is_told_to_wear_nowhere(sound):
    found = trends.read(sound[0], PLAN)
    assert found.worn == [] and [row.dive for row in found.rows] == [1] * 8
    assert not any("wearing out" in sentence for sentence in found.sentences())


@pytest.mark.parametrize(("wear", "measure", "words"), [
    (lambda at: ({"power.resistance_mohm": 140.0 + 15.0 * at}, ()), "resistance", "a connector on the way"),
    (lambda at: ({}, ("pressure-offset:mbar=%d@start" % (8 * at + 1),)), "surface_mbar", "its zero creeps"),
    (lambda at: ({"release.primary.wire_diameter_mm": 0.6 + 0.04 * at}, ()), "command_to_rise_s", "heavier"),
    (lambda at: ({}, tuple("reset@record+%dmin" % (5 * n + 5) for n in range(at))), "resets", "watchdog"),
])
def test_what_wears_is_named_with_its_numbers(wear, measure, words, tmp_path):
    for number in range(7):
        changes, faults = wear(number)
        put(tmp_path, number, flown(changes, faults, seed=number).journal)
    found = trends.read(tmp_path, PLAN)
    by_name = {trend.measure.name: trend for trend in found.worn}
    assert measure in by_name
    sentence = by_name[measure].sentence()
    assert sentence.startswith("wearing out: ") and words in sentence and "over 7 dives" in sentence
    json.dumps(found.plain(), allow_nan=False)


def test_the_slope_is_that_of_the_wear_and_the_limits_hold_it(tmp_path):
    for number in range(8):
        put(tmp_path, number, flown({"power.resistance_mohm": 140.0 + 20.0 * number}, seed=number).journal)
    found = next(trend for trend in trends.read(tmp_path, PLAN).trends if trend.measure.name == "resistance")
    row = trends.read(tmp_path, PLAN).rows[0]
    slope = 20.0 * resistance_factor(PLAN.power, row.housing_c)
    assert found.slope_low < slope < found.slope_high and found.slope == pytest.approx(slope, rel=0.1)


def varied(rows, name: str, values) -> list[trends.Row]:
    return [replace(rows[at % len(rows)], **{name: value}) for at, value in enumerate(values)]


def test_chance_is_taken_for_a_trend_no_oftener_than_stated(rows):
    rolls = np.random.default_rng(4)
    lone = trends.Measure("lowest_loaded_v", "supply", "V", 2, -1, 0.0, "the pack")
    drawn = [trends._trend(lone, varied(rows, "lowest_loaded_v", rolls.normal(14.0, 0.3, 8))) for _ in range(1500)]
    counted = sum(trend.counts for trend in drawn) / 1500
    assert 0.002 < counted < 0.016  # 1 % stated; three standard deviations of 1500 draws, above; rank counts are coarse


def test_a_real_trend_that_is_too_small_to_matter_is_no_wear(rows):
    found = trends.over(varied(rows, "command_to_rise_s", [140.0 + at for at in range(8)]))
    assert found.worn == [] and next(
        trend for trend in found.trends if trend.measure.name == "command_to_rise_s").chance < trends.CHANCE


def test_what_gets_better_is_a_trend_and_no_wear(rows):
    found = trends.over(varied(rows, "lowest_loaded_v", [13.0 + 0.2 * at for at in range(8)]))
    assert found.worn == [] and any(sentence.startswith("lowest supply") for sentence in found.sentences())


def test_one_odd_dive_is_no_trend(rows):
    values = [140.0] * 7 + [1500.0]
    assert trends.over(varied(rows, "command_to_rise_s", values)).worn == []


def test_more_resistance_in_a_colder_sea_says_that_it_may_be_the_cold(rows):
    cold = [replace(row, housing_c=15.0 - at, resistance=trends.Resistance(150.0 + 20.0 * at, 4.0, 7))
            for at, row in enumerate(rows)]
    found = trends.over(cold)
    assert [trend.measure.name for trend in found.worn] == ["resistance"]
    assert "some of the resistance is the cold" in found.sentences()[-1]


# --- folders --------------------------------------------------------------------------------------------------------


def test_a_folder_without_a_journal_is_refused_in_one_sentence(tmp_path):
    with pytest.raises(log.LogError, match="has no journal that can be read: name a folder"):
        trends.read(tmp_path)
    put(tmp_path, 1, b"Dear diary, today we went to sea.\n" * 40)
    with pytest.raises(log.LogError, match="is no journal") as refused:
        trends.read(tmp_path)
    assert "\n" not in str(refused.value)


def test_the_dives_of_two_landers_make_no_line(sound, tmp_path):
    for number, chip in enumerate(("E660", "E661")):
        put(tmp_path, number, sound[1][number].journal, chip)
    with pytest.raises(log.LogError, match=r"journals of 2 landers \(chips E660, E661\)"):
        trends.read(tmp_path)


def test_one_dive_says_that_a_trend_needs_more(sound, tmp_path):
    put(tmp_path, 1, sound[1][0].journal)
    found = trends.read(tmp_path)
    assert len(found.rows) == 1 and found.trends == [] and found.sentences() == [
        "this is one dive: what wears out shows over 6 dives or more"]


def test_a_journal_that_never_was_in_water_is_no_dive(sound, tmp_path):
    put(tmp_path, 1, sound[1][0].journal[:RECORD_BYTES * 9])
    with pytest.raises(log.LogError, match="none tells of a dive"):
        trends.read(tmp_path)


def test_a_dive_that_was_pulled_twice_counts_once_and_the_fuller_pull_counts(sound, tmp_path):
    put(tmp_path, 1, sound[1][0].journal[:RECORD_BYTES * 1000])
    put(tmp_path, 2, sound[1][0].journal)
    put(tmp_path / "copies", 3, sound[1][0].journal)
    found = trends.read(tmp_path)
    assert len(found.rows) == 1 and found.rows[0].command_to_rise_s is not None
    assert any("left out: 2 of dives that are there already" in sentence for sentence in found.sentences())


def test_a_torn_journal_among_whole_ones_is_named_and_the_rest_counts(sound, tmp_path):
    put(tmp_path, 1, sound[1][0].journal)
    put(tmp_path, 2, b"")
    found = trends.read(tmp_path)
    assert len(found.rows) == 1 and any("is empty" in sentence for sentence in found.sentences())


def test_dives_stand_in_the_order_of_their_time_however_their_folders_are_called(sound, tmp_path):
    for number, at in enumerate((3, 1, 2)):
        put(tmp_path, number, sound[1][at].journal)
    began = [row.began for row in trends.read(tmp_path).rows]
    assert began == sorted(began)
