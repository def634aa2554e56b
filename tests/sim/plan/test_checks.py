"""Keys that do not fit each other: each is one sentence with the key, its value and a way out that works."""

import re

import pytest

from seatrial import plan as plans

from .editing import SAMPLE, edited, put, refusal, said_of

ONE_NUMBER = [  # path, literal, what the sentence must say
    # out of range, key by key
    ("site.depth_m", "-5", ["site.depth_m is -5", "3 to 10950 m", "seabed", "depth_m = 430"]),
    ("site.latitude_deg", "91.0", ["site.latitude_deg is 91", "-90 to 90 deg"]),
    ("site.air_pressure_hpa", "1.013", ["site.air_pressure_hpa is 1.013", "860 to 1090 hPa"]),
    ("site.water.salinity_psu", "355", ["site.water[row 1].salinity_psu is 355", "0 to 42 psu"]),
    ("lander.drag_coefficient_down", "0", ["lander.drag_coefficient_down is 0", "0.05 to 5"]),
    ("lander.ballast.density_kg_m3", "7.85", ["lander.ballast.density_kg_m3 is 7.85", "1100 to 20000 kg/m3"]),
    ("power.cells_in_series", "0", ["power.cells_in_series is 0", "1 to 14"]),
    ("power.charge_at_start_fraction", "98", ["power.charge_at_start_fraction is 98", "0.05 to 1"]),
    ("release.attempts_planned", "1", ["release.attempts_planned is 1", "2 to 200"]),
    ("release.primary.fire_s", "2400", ["release.primary.fire_s is 2400", "0.1 to 1800 s", "one attempt"]),
    ("release.backup.turn_s", "-4", ["release.backup.turn_s is -4", "0.05 to 1800 s"]),
    ("lights.level_pct", "120", ["lights.level_pct is 120", "0 to 100 %"]),
    ("beacon.hours", "0.01", ["beacon.hours is 0.01", "0.02 to 1440 h"]),
    ("dive.name", '""', ['dive.name is ""', "1 to 80 characters"]),
    # the wrong kind of value
    ("site.depth_m", '"430"', ['site.depth_m is the text "430"', "3 to 10950 m", "depth_m = 430"]),
    ("site.depth_m", '"430,5 m"', ['the text "430,5 m"', "without quotes or unit"]),
    ("lander.mass_kg", '"31,5"', ['lander.mass_kg is the text "31,5"', "decimal point, mass_kg = 31.5"]),
    ("lander.mass_kg", "true", ["lander.mass_kg is true", "a number from 0.5 to 5000 kg"]),
    ("lander.mass_kg", "nan", ["lander.mass_kg is nan", "0.5 to 5000 kg"]),
    ("lander.mass_kg", "-inf", ["lander.mass_kg is -inf", "0.5 to 5000 kg"]),
    ("lander.mass_kg", "1" + "0" * 400, ["lander.mass_kg is 1000", "(401 digits)", "0.5 to 5000 kg"]),
    ("lander.mass_kg", "[31.0]", ["lander.mass_kg is a list", "a number"]),
    ("power.cells_in_series", "4.0", ["power.cells_in_series is 4.0", "a whole number from 1 to 14"]),
    ("camera.film_descent", "1", ["camera.film_descent is 1", "true or false"]),
    ("camera.film_descent", '"yes"', ['camera.film_descent is "yes"', "true or false, without quotes"]),
    ("camera.feedback", '"curent"', ['camera.feedback is "curent"', '"none" or "lamp" or "current"',
                                     'did you mean "current"?']),
    ("camera.supply", "3", ["camera.supply is 3", '"main_switched" or "own_pack"']),
    ("release.backup.kind", '"lach"', ['release.backup.kind is "lach"', '"wire" or "latch"', 'mean "latch"?']),
    ("release.backup.kind", "7", ["release.backup.kind is 7", '"wire" or "latch"']),
    ("dive.name", "5", ["dive.name is 5", "in quotes"]),
    ("dive.splash_utc", "2027-05-18T06:30:00", ["dive.splash_utc is 2027-05-18T06:30:00 without a zone", "Z",
                                               "change local time to UTC"]),
    ("dive.splash_utc", "2027-05-18", ["dive.splash_utc is 2027-05-18", "a date and time in UTC"]),
    ("dive.splash_utc", '"2027-05-18T06:30:00Z"', ["dive.splash_utc is the text", "without quotes"]),
    ("dive.splash_utc", "0227-05-18T06:30:00Z", ["dive.splash_utc is 0227-05-18", "2000 to 2099"]),
    ("site.water.depth_m", "100", ["site.water[row 2].depth_m is 60", "deeper than the one before", "100 m"]),
    ("site.current.depth_m", "100", ["site.current[row 2].depth_m is 100", "[[site.current]]"]),
    # keys against each other
    ("site.depth_m", "580", ["sensors.pressure.range_m is 600", "580 m deep", "at least 609 m (depth + 5 %)"]),
    ("thresholds.too_deep_m", "430", ["thresholds.too_deep_m is 430", "430 m deep", "best 452 m"]),
    ("thresholds.too_deep_m", "600", ["thresholds.too_deep_m is 600", "sensor ends at 600 m", "430 m deep"]),
    ("times.timed_release_min", "360", ["times.timed_release_min is 360", "below times.latest_release_min", "is 360"]),
    ("times.timed_release_min", "359.9", None),
    ("times.timed_release_min", "29", ["times.settle_latest_min is 30", "below times.timed_release_min", "is 29"]),
    ("times.settle_latest_min", "5.5", ["times.settle_latest_min is 5.5", "1.2 m/s", "430 m", "at least 6.0 min"]),
    ("times.slowest_ascent_min", "11", ["times.slowest_ascent_min is 11", "about 12 min", "at least 17 min"]),
    ("times.latest_release_min", "400", ["times.latest_release_min is 400", "18071 mAh", "8436 mAh",
                                         "425 mAh are missing",
                                         "release by minute 383", "at least 20.5 Ah"]),
    ("power.capacity_ah", "5", ["power.capacity_ah 5", "already", "times.timed_release_min, 300",
                                "no release time is early enough"]),
    ("journal.slots", "8192", ["journal.slots is 8192", "6242", "2048", "at least 8290"]),
    ("lander.ballast.mass_kg", "3", ["lander.ballast.mass_kg is 3", "does not sink", "kg are missing"]),
    ("lander.floats.volume_l", "22", ["lander.floats.volume_l is 22", "at the surface", "does not rise", "kg of lift"]),
    ("site.mud_suction_n", "60", ["site.mud_suction_n is 60", "hold it for good", "kg of lift"]),
    ("release.primary.fire_s", "30", ["release.primary.fire_s is 30", "96 s", "1000 mA", "3 planned attempts", "90 s",
                                      "more than 32.0 s"]),
    ("release.backup.fire_s", "3.9", ["release.backup.fire_s is 3.9", "4 s to turn", "at least 4 s"]),
    ("release.passive.earliest_h", "6", ["release.passive.earliest_h is 6", "after 6 h", "release earlier"]),
    ("release.passive.latest_h", "30", ["release.passive.latest_h is 30", "above release.passive.earliest_h", "is 30"]),
    ("release.pause_s", "1801", ["release.pause_s is 1801", "at most release.pause_max_s", "is 1800"]),
    ("thresholds.surface_m", "1.5", ["thresholds.surface_m is 1.5", "below thresholds.submerged_m", "is 1.5"]),
    ("thresholds.surface_m", "1.4999", ["thresholds.surface_m is 1.4999", "below thresholds.submerged_m",
                                        "more than the 0.01 m the controller tells apart"]),
    ("magnet.hold_s", "15", ["magnet.hold_s is 15", "below magnet.hold_max_s", "is 15"]),
    ("fan.off_c", "34", ["fan.off_c is 34", "below fan.on_c", "is 34"]),
    ("camera.cool_c", "58", ["camera.cool_c is 58", "below camera.hot_c", "is 58"]),
    ("camera.shutdown_c", "58", ["camera.hot_c is 58", "below camera.shutdown_c", "is 58"]),
    ("camera.idle_ma", "520", ["camera.idle_ma is 520", "below camera.recording_ma", "is 520"]),
    ("camera.record_press_s", "2.0", None),
    ("camera.power_press_s", "0.3", ["camera.record_press_s is 0.3", "below camera.power_press_s", "is 0.3"]),
    ("lights.off_s", "60", ["lights.off_s is 60", "lights.on_s is 0", "lights.level_pct = 0"]),
    ("power.brownout_mv", "7200", ["power.brownout_mv is 7200", "below power.recover_mv", "is 7200"]),
    ("power.recover_mv", "14400", ["thresholds.reserve_mv is 14400", "above power.recover_mv", "16800 mV"]),
    ("thresholds.reserve_mv", "16800", ["thresholds.reserve_mv is 16800", "4 cells", "below 16800 mV"]),
    ("thresholds.reserve_mv", "12600", ["thresholds.reserve_mv is 12600", "1508 mA at 9.6 degC", "less than 50 %",
                                        "reserve of 8436 mAh", "set 14375 mV"]),
    ("thresholds.reserve_mv", "13957", ["thresholds.reserve_mv is 13957", "set 14375 mV"]),  # half is left at 13958
    ("thresholds.reserve_mv", "13960", None),
    ("power.cells_in_series", "5", ["thresholds.reserve_mv is 14400", "less than 50 %", "set 18054 mV"]),
    ("power.cells_in_series", "3", ["thresholds.reserve_mv is 14400", "3 cells", "at most 12600 mV"]),
    ("power.controller_asleep_ma", "39", ["power.controller_asleep_ma is 39", "at most power.controller_ma", "is 38"]),
    ("second.capacity_ah", "0.02", ["second.capacity_ah is 0.02", "until its deadline", "for 6 attempts", "17 mAh at 9.6",
                                    "9 mAh are missing", "at least 0.03 Ah"]),
    ("second.resistance_mohm", "6000", ["second.resistance_mohm is 6000", "under the drive", "second.brownout_mv (5500)"]),
    ("second.brownout_mv", "6500", ["second.brownout_mv is 6500", "below second.recover_mv", "is 6500"]),
    ("second.recover_mv", "12600", ["second.recover_mv is 12600", "3 cells", "never start"]),
    ("second.controller_asleep_ma", "13", ["second.controller_asleep_ma is 13", "at most second.controller_ma", "is 12"]),
    ("power.resistance_mohm", "5000", ["release.primary.current_ma is 1000", "reserve of 14400 mV",
                                       "power.brownout_mv (6500)", "reset the controller"]),
]


@pytest.mark.parametrize(("path", "literal", "parts"), ONE_NUMBER, ids=lambda value: str(value)[:40])
def test_one_wrong_value_is_told_by_its_key_its_value_and_the_way_out(path, literal, parts):
    text = put(SAMPLE, path, literal)
    if parts is None:  # the neighbour of a refused value is taken
        plans.parse(text)
        return
    sentences = [sentence for sentence in refusal(text) if parts[0] in sentence]
    assert len(sentences) == 1, refusal(text)
    assert [part for part in parts if part not in sentences[0]] == []
    assert "\n" not in sentences[0]


ALONE = {  # values that break more than one thing, and how many
    ("site.depth_m", "580"): 2,  # deeper than the sensor reaches, and than the depth that ends the dive
}


@pytest.mark.parametrize(("path", "literal", "parts"), ONE_NUMBER, ids=lambda value: str(value)[:40])
def test_one_wrong_value_is_one_sentence(path, literal, parts):
    expected = 0 if parts is None else ALONE.get((path, literal), 1)
    assert len(said_of(put(SAMPLE, path, literal))) == expected, said_of(put(SAMPLE, path, literal))


def test_a_sensor_that_is_too_short_is_told_with_the_depth():
    text = edited(sensors__pressure__range_m="300", thresholds__too_deep_m="440")
    assert refusal(text) == [
        "sensors.pressure.range_m is 300; the site is 430 m deep: choose a sensor that reaches at least 452 m"
        " (depth + 5 %), or a shallower site"]


def test_a_mission_longer_than_the_counter_is_refused_in_days():
    text = edited(beacon__hours="1440", power__capacity_ah="300", journal__slots="100000")
    assert len(refusal(text)) == 1
    assert all(part in refusal(text)[0] for part in ("beacon.hours is 1440", "60.28 days", "60 days"))


def test_a_release_before_the_bottom_is_refused():
    sentences = refusal(edited(times__timed_release_min="13", times__settle_latest_min="8"))
    assert len(sentences) == 1
    assert all(part in sentences[0] for part in ("times.timed_release_min is 13", "430 m", "11 min", "14 min"))


def test_a_pond_too_shallow_for_the_thresholds_is_refused():
    sentences = refusal(edited(site__depth_m="3", site__mud_suction_n="0"))
    assert len(sentences) == 1
    assert "release.rise_m is 3; the site is 3 m deep" in sentences[0]


def test_everything_wrong_is_told_at_once():
    text = edited(sensors__pressure__range_m="300", magnet__hold_s="20", release__backup__fire_s="1",
                  journal__slots="1024")
    keys = [sentence.split(" ")[0] for sentence in refusal(text)]
    assert keys == ["sensors.pressure.range_m", "magnet.hold_s", "journal.slots", "release.backup.fire_s"]


@pytest.mark.parametrize("film_descent", ["true", "false"])
def test_the_release_time_offered_as_a_way_out_is_the_last_that_fits(film_descent):
    text = edited(times__latest_release_min="700", camera__film_descent=film_descent)
    offered = int(re.search(r"release by minute (\d+)", refusal(text)[0])[1])
    plans.parse(put(text, "times.latest_release_min", str(offered)))
    assert "mAh are missing" in refusal(put(text, "times.latest_release_min", str(offered + 1)))[0]


def test_the_pack_offered_as_a_way_out_is_the_smallest_that_fits():
    text = edited(times__latest_release_min="700")
    offered = float(re.search(r"at least ([\d.]+) Ah", refusal(text)[0])[1])
    plans.parse(put(text, "power.capacity_ah", str(offered)))
    assert refusal(put(text, "power.capacity_ah", str(round(offered - 0.1, 1))))


def test_the_ballast_offered_as_a_way_out_sinks_the_lander():
    text = edited(lander__ballast__mass_kg="3.0")
    offered = float(re.search(r"add more than ([\d.]+) kg", refusal(text)[0])[1])
    assert "does not sink" in refusal(put(text, "lander.ballast.mass_kg", str(3 + offered - 0.2)))[0]
    assert not any("does not sink" in sentence
                   for sentence in said_of(put(text, "lander.ballast.mass_kg", str(3 + offered + 0.1))))


@pytest.mark.parametrize("cells", [1, 2, 3, 7, 14])
def test_the_reserve_voltage_offered_as_a_way_out_is_taken(cells):
    levels = {"power__brownout_mv": repr(1500.0 * cells), "power__recover_mv": repr(1800.0 * cells)}
    text = edited(power__cells_in_series=str(cells), thresholds__reserve_mv=repr(3000.0 * cells), **levels)
    offered = re.search(r"set (\d+) mV", refusal(text)[0])[1]
    assert said_of(put(text, "thresholds.reserve_mv", offered)) == []


def test_a_reserve_voltage_is_not_questioned_while_the_pack_is_too_small_for_the_reserve():
    sentences = refusal(edited(power__capacity_ah="8", thresholds__reserve_mv="12600"))
    assert len(sentences) == 1
    assert "mAh are missing" in sentences[0]


def test_a_reserve_voltage_below_the_restart_is_told_once():
    sentences = refusal(edited(thresholds__reserve_mv="7000"))
    assert len(sentences) == 1
    assert "above power.recover_mv" in sentences[0]
