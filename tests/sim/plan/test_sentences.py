"""What is wrong with a single key or section: one sentence with the key, its value, what is allowed and the way out."""

from pathlib import Path

import pytest

from seatrial.plan.sample import SAMPLE_FILE
from seatrial.plan.whole import Plan

from .editing import NUMERIC_KEYS, SAMPLE, cut, edited, put, refusal, said_of, shown_path, without_section


def test_every_key_out_of_range_is_told_at_once():
    text = edited(site__depth_m="-1", lander__mass_kg="nan", camera__supply='"mains"')
    assert [sentence.split(" ")[0] for sentence in refusal(text)] == ["site.depth_m", "lander.mass_kg", "camera.supply"]


@pytest.mark.parametrize(("old", "new", "literal", "parts"), [
    ("site.depth_m", "site.depth_cm", "43000", ["site.depth_cm is 43000", "wanted in m: site.depth_m",
                                               "write depth_m = 430"]),
    ("site.depth_m", "site.depth_ft", "1411", ["site.depth_ft is 1411", "wanted in m", "depth_m = 430.073"]),
    ("site.depth_m", "site.depth", "430", ["site.depth is 430", "wanted in m: site.depth_m"]),
    ("release.primary.current_ma", "release.primary.current_a", "1.0",
     ["release.primary.current_a is 1.0", "wanted in mA: release.primary.current_ma", "current_ma = 1000"]),
    ("lander.mass_kg", "lander.mass_lb", "68.3", ["lander.mass_lb", "wanted in kg", "mass_kg = 30.9804"]),
    ("power.capacity_ah", "power.capacity_mah", "20000", ["wanted in Ah: power.capacity_ah", "capacity_ah = 20"]),
    ("times.timed_release_min", "times.timed_release_h", "5", ["wanted in min", "timed_release_min = 300"]),
    ("beacon.hours", "beacon.days", "2.5", ["beacon.days is 2.5", "wanted in h: beacon.hours", "hours = 60"]),
    ("sensors.supply.resolution_ma", "sensors.supply.resolution_a", "0.005",
     ["wanted in mA: sensors.supply.resolution_ma", "resolution_ma = 5"]),
    ("sensors.temperature.resolution_centi_c", "sensors.temperature.resolution_c", "0.06",
     ["wanted in hundredths of degC", "resolution_centi_c = 6"]),
    ("camera.hot_c", "camera.hot_f", "136", ["wanted in degC: camera.hot_c", "convert the value"]),
    ("site.current.speed_m_s", "site.current.speed_kn", "0.6",
     ["site.current[row 1].speed_kn", "wanted in m/s", "speed_m_s = 0.308667"]),
    ("lights.level_pct", "lights.level_fraction", "0.7", ["wanted in %: lights.level_pct", "level_pct = 70"]),
    ("dive.splash_utc", "dive.splash_local", "2027-05-18T08:30:00", ["wanted in UTC: dive.splash_utc"]),
    ("thresholds.too_deep_m", "thresholds.to_deep_m", "560", ["thresholds.to_deep_m", "thresholds.too_deep_m"]),
    ("camera.feedback", "camera.feed_back", '"current"', ["camera.feed_back", "camera.feedback"]),
])
def test_a_key_with_another_unit_or_a_slip_of_the_pen_is_one_sentence_with_the_right_key(old, new, literal, parts):
    sentences = refusal(put(cut(SAMPLE, old), new, literal))
    assert len(sentences) == 1, sentences
    assert [part for part in parts if part not in sentences[0]] == []


def test_a_key_given_in_two_units_is_told_to_keep_the_right_one():
    sentences = refusal(edited(site__depth_ft="1411"))
    assert len(sentences) == 1
    assert "site.depth_m is already there, remove this one" in sentences[0]


def test_a_key_with_no_relative_is_told_with_the_keys_of_its_section():
    sentences = refusal(edited(fan__zzz="1"))
    assert len(sentences) == 1
    assert "fan.zzz is not a key of the plan" in sentences[0]
    assert "current_ma, on_c, off_c" in sentences[0]


@pytest.mark.parametrize(("path", "parts"), [
    ("site.depth_m", ["site.depth_m is missing", "3 to 10950 m", "depth_m = 430"]),
    ("camera.supply", ["camera.supply is missing", '"main_switched" or "own_pack"']),
    ("release.primary.kind", ["release.primary.kind is missing", '"wire" or "latch"']),
    ("release.backup.turn_s", ["release.backup.turn_s is missing", "0.05 to 1800 s", "turn_s = 4"]),
    ("dive.splash_utc", ["dive.splash_utc is missing", "splash_utc = 2027-05-18T06:30:00Z"]),
    ("release.passive.earliest_h", ["release.passive.earliest_h is missing", "fitted = false"]),
    ("sensors.clock.set", ["sensors.clock.set is missing", "set = true"]),
])
def test_a_missing_key_is_told_with_its_range_and_an_example(path, parts):
    sentences = refusal(cut(SAMPLE, path))
    assert len(sentences) == 1, sentences
    assert [part for part in parts if part not in sentences[0]] == []


@pytest.mark.parametrize(("text", "parts"), [
    (without_section("[power]"), ["the section [power] is missing", "sample"]),
    (without_section("[sensors.pressure]"), ["the section [sensors.pressure] is missing"]),
    (without_section("[[site.water]]").replace("[site]", "[site]\nwater = []"),
     ["site.water has 0 rows", "1 or more"]),
    (without_section("[[site.current]]"), ["the section [[site.current]] is missing"]),
    (without_section("[[site.current]]").replace("[site]", "[site]\ncurrent = 3"),
     ["site.current is 3", "[[site.current]]", "double brackets"]),
    (SAMPLE.replace("[fan]", "[fann]"), ["fann", "fan"]),
    (SAMPLE.replace("[fan]", "[[fan]]"), ["fan is a list", "[fan]", "single brackets"]),
    ("fan = 3\n" + without_section("[fan]"), ["fan is 3", "a section", "[fan]"]),
    (SAMPLE + "\n[anchor]\nmass_kg = 3\n", ["anchor is not a key of the plan", "known sections are dive, site"]),
])
def test_a_section_that_is_missing_or_misshapen_is_one_sentence(text, parts):
    sentences = refusal(text)
    assert len(sentences) == 1, sentences
    assert [part for part in parts if part not in sentences[0]] == []


@pytest.mark.parametrize(("path", "literal", "parts"), [
    ("lights.ring.bearings_deg", '[320, "x"]', ['lights.ring.bearings_deg[value 2] is the text "x"', "0 to 360 deg"]),
    ("lights.ring.bearings_deg", "[320, 400.0]", ["lights.ring.bearings_deg[value 2] is 400", "0 to 360 deg"]),
    ("lights.ring.bearings_deg", "5", ["lights.ring.bearings_deg is 5", "a list of values in brackets"]),
    ("lights.ring.bearings_deg", "[]", ["lights.ring.bearings_deg is an empty list", "leave it out"]),
    ("card.tell", '"me"', ['card.tell is "me"', "tell = [..., ...]"]),
    ("card.tell", '["me", 3]', ["card.tell[value 2] is 3", "1 to 120 characters"]),
    ("card.looks_like", '"%s"' % ("x" * 161), ["card.looks_like is", "0 to 160 characters"]),
    ("dive.surface_in", '"day"', ['dive.surface_in is "day"', 'did you mean "daylight"?']),
])
def test_a_list_of_values_or_a_text_that_does_not_fit_is_one_sentence(path, literal, parts):
    sentences = refusal(put(SAMPLE, path, literal))
    assert len(sentences) == 1, sentences
    assert [part for part in parts if part not in sentences[0]] == []


def test_a_wire_called_a_latch_is_told_which_keys_are_in_the_way():
    sentences = refusal(edited(release__primary__kind='"latch"'))
    assert sum('is a key of kind "wire"' in sentence for sentence in sentences) == 5
    assert sum("release.primary.turn_s is missing" in sentence for sentence in sentences) == 1
    assert len(sentences) == 6


@pytest.mark.parametrize("text", ["", "# only a remark\n"])
def test_an_empty_plan_is_one_sentence_that_says_how_to_get_one(text):
    (sentence,) = refusal(text)
    assert "is an empty plan" in sentence and sentence.endswith("copy %s and change in the copy what is yours"
                                                                % SAMPLE_FILE)
    assert (Path(__file__).parents[3] / SAMPLE_FILE).is_file()


def test_a_plan_of_one_line_misses_every_section_it_needs():
    assert len(refusal("[magnet]\nhold_s = 5\nhold_max_s = 15\n")) == sum(
        info.is_required() for info in Plan.model_fields.values()) - 1


def test_every_number_of_the_plan_has_bounds_and_every_key_its_meaning():
    assert len(NUMERIC_KEYS) > 110
    for path, _whole, lowest, highest in NUMERIC_KEYS:
        assert lowest < highest, path


@pytest.mark.parametrize("end", ["lowest", "highest"])
@pytest.mark.parametrize("path", [key[0] for key in NUMERIC_KEYS])
def test_the_bounds_of_every_key_are_told_apart_from_what_lies_beyond(path, end):
    _path, _whole, lowest, highest = next(key for key in NUMERIC_KEYS if key[0] == path)
    bound, beyond = (lowest, lowest - 1) if end == "lowest" else (highest, highest + 1)
    shown = shown_path(path)
    said = said_of(put(SAMPLE, path, repr(bound)))
    assert not any(sentence.startswith(f"{shown} is") and "allowed is" in sentence for sentence in said)
    assert refusal(put(SAMPLE, path, repr(beyond)))[0].startswith(f"{shown} is ")
    assert "allowed is" in refusal(put(SAMPLE, path, repr(beyond)))[0]
