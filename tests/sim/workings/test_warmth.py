"""Heat: how warm the camera gets, and what of it is too warm."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seatrial.workings.enclosure import camera_tube, enclosure
from seatrial.workings.temperatures import AFLOAT, DECK, DESCENT, SEABED
from seatrial.workings.warmth import chapter, warmth

from ..flying import SHORT, dive
from .plans_for_tests import sample, with_keys


def figure(plan, key):
    return next(one for one in chapter(plan).figures if one.key == key).value


def water_of_one_temperature(temperature_c, **keys):
    rows = tuple(row.model_copy(update={"temperature_c": temperature_c}) for row in sample().site.water)
    return with_keys(site__water=rows, **keys)


# --- the numbers ------------------------------------------------------------------------------------------------------


def test_on_the_seabed_the_heat_goes_through_two_conductances_in_series():
    """Ohm's law of heat: 7.5 W through 0.55 W/K, and with the lamps' share through 20 W/K into the water."""
    lamps_w = 1.2 * 0.7 * 4 * 3.7 * 0.15
    worked = warmth(sample())
    assert worked.lamps_w == pytest.approx(lamps_w)
    assert worked.fan_c == pytest.approx(worked.seabed_c + (7.5 + lamps_w) / 20.0 + 7.5 / 0.55)
    assert worked.still_c == pytest.approx(worked.seabed_c + (7.5 + lamps_w) / 20.0 + 7.5 / 0.05)


def test_lamps_that_take_turns_leave_their_share_of_the_heat():
    assert warmth(with_keys(lights__on_s=10.0, lights__off_s=30.0)).lamps_w == pytest.approx(
        warmth(sample()).lamps_w / 4)


def test_the_sun_on_deck_warms_by_what_is_taken_up_over_what_goes_into_the_air():
    assert warmth(sample()).deck_end_c == pytest.approx(16.0 + 850 * 0.05 * 0.4 / 1.1)


def test_a_lander_on_deck_for_days_ends_at_the_temperature_of_deck():
    waited = warmth(with_keys(dive__on_deck_min=2880.0))
    assert waited.splash_c == pytest.approx(waited.deck_end_c, abs=0.1)
    assert warmth(with_keys(dive__on_deck_min=0.0)).splash_c == 16.0


def test_without_its_fan_the_sealed_camera_reaches_its_limit_in_half_an_hour():
    """Common practice, no source: 30 to 40 minutes at full power; here on deck and from the splash on."""
    assert 25 <= warmth(sample()).deck_mistake_s / 60 <= 40
    _place, minute = warmth(sample()).fanless.passes(58.0)
    assert 30 <= minute <= 40


def test_with_its_fan_it_never_does():
    worked = warmth(sample())
    assert worked.fan_s is None and worked.driven.passes(58.0) is None
    assert figure(sample(), "fan_min") is None


def test_the_controller_keeps_the_camera_between_its_two_temperatures():
    driven = warmth(sample()).driven
    settled = [camera for minute, camera in zip(driven.time_min, driven.camera_c, strict=True)
               if 120 < minute < 350]
    assert min(settled) > 28 and max(settled) < 35  # the fan on at 34 degC and off at 29


def test_the_worked_course_is_the_one_that_is_simulated():
    flown = dive(plan=SHORT).run()
    driven = warmth(SHORT).driven
    assert max(flown.series.camera_c) == pytest.approx(driven.hottest()[0], abs=1.0)
    until_s = SHORT.times.timed_release_min * 60
    assert max(flown.series.housing_c) == pytest.approx(
        max(housing for minute, housing in zip(driven.time_min, driven.housing_c, strict=True) if minute * 60 < until_s),
        abs=1.0)


def test_every_minute_of_the_dive_belongs_to_a_place():
    driven = warmth(sample()).driven
    assert [place for place, _ends in driven.places] == [DECK, DESCENT, SEABED, "in the ascent", AFLOAT]
    assert driven.place_at(-5.0) == DECK and driven.place_at(100.0) == SEABED and driven.place_at(1e9) == AFLOAT
    assert driven.time_min[0] == -10.0
    assert driven.time_min[-1] == pytest.approx(driven.places[-1][1])


def test_an_unfilmed_descent_stays_cool():
    assert warmth(with_keys(camera__film_descent=False)).driven.hottest(DESCENT)[0] < 17


def test_a_lander_that_never_sinks_has_only_its_time_on_deck():
    afloat = with_keys(lander__ballast__mass_kg=0.1)
    assert [place for place, _ends in warmth(afloat).driven.places] == [DECK]
    assert figure(afloat, "still_min") is None and figure(afloat, "afloat_c") is None
    assert chapter(afloat).faults == ()


# --- too hot ----------------------------------------------------------------------------------------------------------


def only(sentences):
    assert len(sentences) == 1, sentences
    return sentences[0]


def test_a_fan_that_moves_too_little_heat_is_one_sentence_with_what_would_do():
    sentence = only(chapter(with_keys(heat__camera_to_housing_fan_w_k=0.12)).faults)
    assert sentence.startswith("heat.camera_to_housing_fan_w_k is 0.12; recording at 7.5 W on the seabed")
    assert "passes camera.hot_c (58)" in sentence and "raise it to at least 0.16 W/K" in sentence
    assert chapter(with_keys(heat__camera_to_housing_fan_w_k=0.16)).faults == ()


def test_the_power_that_is_named_would_do():
    sentence = only(chapter(with_keys(heat__camera_to_housing_fan_w_k=0.12)).faults)
    power_w = float(sentence.partition("a camera of at most ")[2].partition(" W")[0])
    cooler = {"heat__camera_to_housing_fan_w_k": 0.12, "heat__camera_recording_w": power_w}
    assert chapter(with_keys(**cooler)).faults == ()
    assert chapter(with_keys(**{**cooler, "heat__camera_recording_w": power_w + 0.2})).faults != ()


def test_a_housing_that_keeps_its_heat_is_the_cause_that_is_named():
    hot = {"heat__housing_to_water_w_k": 0.1, "heat__housing_heat_capacity_j_k": 500.0}
    sentence = only(chapter(with_keys(**hot)).faults)
    assert sentence.startswith("heat.housing_to_water_w_k is 0.1;")
    wanted = float(sentence.partition("raise it to at least ")[2].partition(" W/K")[0])
    assert chapter(with_keys(**{**hot, "heat__housing_to_water_w_k": wanted})).faults == ()


def test_a_fan_that_starts_past_the_limit_is_the_cause_that_is_named():
    sentence = only(chapter(with_keys(fan__on_c=70.0)).faults)
    assert sentence.startswith("fan.on_c is 70;") and sentence.endswith("set less than 58")
    assert chapter(with_keys(fan__on_c=57.0)).faults == ()


def test_a_black_housing_in_the_tropical_sun_is_too_hot_before_it_is_in_the_water():
    black = {"site__sun_w_m2": 1100.0, "site__air_temperature_c": 38.0, "heat__sun_absorbed_fraction": 0.95,
             "dive__on_deck_min": 600.0}
    sentence = only(chapter(with_keys(**black)).faults)
    assert sentence.startswith("site.sun_w_m2 is 1100; on deck at 38 degC the camera, everything off, passes")
    wanted = float(sentence.rpartition(" ")[2])
    assert chapter(with_keys(**{**black, "heat__sun_absorbed_fraction": wanted})).faults == ()


def test_a_camera_warmed_on_deck_that_starts_to_film_at_once_is_told_to_have_been_warmed_there():
    warm = {"site__sun_w_m2": 1100.0, "site__air_temperature_c": 38.0, "heat__sun_absorbed_fraction": 0.39,
            "dive__on_deck_min": 600.0}
    sentence = only(chapter(with_keys(**warm)).faults)
    assert "at the splash and passes camera.hot_c (58) in the descent" in sentence
    wanted = float(sentence.rpartition(" ")[2])
    assert 0.2 < wanted < 0.39
    assert chapter(with_keys(**{**warm, "heat__sun_absorbed_fraction": wanted})).faults == ()


def test_air_hotter_than_the_camera_stands_asks_for_another_camera():
    sentence = only(chapter(with_keys(site__air_temperature_c=48.0, camera__hot_c=40.0)).faults)
    assert sentence.startswith("camera.hot_c is 40; the camera reaches that on deck with everything off")


def test_a_film_that_hangs_on_the_fan_alone_is_a_caution():
    assert any("the film hangs on the fan alone" in caution for caution in chapter(sample()).cautions)
    snug = with_keys(heat__camera_to_housing_w_k=0.5)
    assert not any("fan alone" in caution for caution in chapter(snug).cautions)


def test_a_camera_left_on_in_the_waiting_on_deck_is_a_caution():
    assert any("left recording on deck" in caution for caution in chapter(with_keys(dive__on_deck_min=60.0)).cautions)
    assert not any("left recording on deck" in caution for caution in chapter(sample()).cautions)


def test_a_sun_without_an_area_to_shine_on_is_told_not_to_count():
    assert any("the sun on deck was not worked out" in caution
               for caution in chapter(with_keys(heat__sunlit_area_m2=0.0)).cautions)


# --- beside the handbook ----------------------------------------------------------------------------------------------


def test_the_tube_that_is_named_for_the_camera_is_the_one_that_is_reckoned():
    assert camera_tube(sample()).name == "camera tube"
    unnamed = with_keys(lander__shells=(sample().lander.shells[0],))
    assert camera_tube(unnamed).name == "controller tube"
    assert enclosure(with_keys(lander__shells=())) is None


def test_a_tube_lets_more_heat_into_water_than_into_air_and_no_less_in_a_current():
    tube = enclosure(sample())
    assert tube.water_current_w_k >= tube.water_still_w_k > 5 * tube.air_w_k > 0


@pytest.mark.parametrize(("key", "value", "effect"), [
    ("heat__housing_to_water_w_k", 5000.0, "cooler"), ("heat__housing_to_water_w_k", 0.5, "warmer"),
    ("heat__housing_to_air_w_k", 50.0, "cooler"), ("heat__housing_to_air_w_k", 0.1, "warmer")])
def test_a_conductance_far_from_the_handbook_is_a_caution(key, value, effect):
    said = [caution for caution in chapter(with_keys(**{key: value})).cautions
            if caution.startswith(key.replace("__", "."))]
    assert effect in only(said) and "camera tube" in only(said)


def test_without_a_tube_the_comparison_is_told_to_be_missing():
    bare = with_keys(lander__shells=())
    assert any("lander.shells has no tube of a material" in caution for caution in chapter(bare).cautions)
    assert not any(one.key == "water_still_w_k" for one in chapter(bare).figures)


# --- properties -------------------------------------------------------------------------------------------------------


@settings(max_examples=25)
@given(st.floats(-2, 40), st.floats(-2, 40), st.booleans())
def test_warmer_water_never_makes_a_cooler_camera(one, other, film_descent):
    cooler, warmer = (warmth(water_of_one_temperature(temperature_c, camera__film_descent=film_descent))
                      for temperature_c in sorted((one, other)))
    assert warmer.fan_c >= cooler.fan_c and warmer.still_c >= cooler.still_c
    assert warmer.fanless.hottest()[0] >= cooler.fanless.hottest()[0] - 1e-9


@settings(max_examples=25)
@given(st.floats(0, 200), st.floats(0, 200))
def test_more_power_never_makes_a_cooler_camera(one, other):
    less, more = (warmth(with_keys(heat__camera_recording_w=power_w)) for power_w in sorted((one, other)))
    assert more.fan_c >= less.fan_c
    assert more.fanless.hottest()[0] >= less.fanless.hottest()[0] - 1e-9


MAY_BE = {
    "site__depth_m": st.floats(3, 10950), "site__air_temperature_c": st.floats(-40, 50),
    "site__sun_w_m2": st.floats(0, 1400), "dive__on_deck_min": st.floats(0, 2880),
    "camera__hot_c": st.floats(30, 90), "camera__film_descent": st.booleans(), "fan__on_c": st.floats(-5, 80),
    "fan__off_c": st.floats(-5, 80), "lights__level_pct": st.floats(0, 100), "lights__on_s": st.floats(0, 1000),
    "lights__off_s": st.floats(0, 1000), "heat__housing_heat_capacity_j_k": st.floats(10, 1e6),
    "heat__camera_heat_capacity_j_k": st.floats(1, 1e5), "heat__camera_to_housing_w_k": st.floats(0.001, 100),
    "heat__camera_to_housing_fan_w_k": st.floats(0.001, 100), "heat__housing_to_water_w_k": st.floats(0.01, 10000),
    "heat__housing_to_air_w_k": st.floats(0.01, 1000), "heat__camera_recording_w": st.floats(0, 200),
    "heat__sunlit_area_m2": st.floats(0, 10), "heat__sun_absorbed_fraction": st.floats(0, 1),
    "times__timed_release_min": st.floats(1, 3000), "times__latest_release_min": st.floats(1, 3000),
    "lander__mass_kg": st.floats(0.5, 100), "lander__ballast__mass_kg": st.floats(0.1, 100),
}


@settings(max_examples=60)
@given(st.fixed_dictionaries({}, optional=MAY_BE))
def test_any_plan_whose_keys_are_right_by_themselves_is_worked_out(keys):
    worked = chapter(with_keys(**keys))
    assert len(worked.faults) <= 1
    assert len(worked.series["time_min"]) == len(worked.series["camera_c"]) == len(worked.series["housing_c"])
