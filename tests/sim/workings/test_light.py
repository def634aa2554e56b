"""Light: where the camera of a plan sees a lit seabed, where not, and what would help."""

import math
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seatrial.plan.sections import Ring, View
from seatrial.workings.light import chapter, lamps_of, light

from .plans_for_tests import sample, with_keys

EVENLY = {"lights__ring__bearings_deg": None}


def figure(plan, key):
    return next(one for one in chapter(plan).figures if one.key == key).value


def rows(plan, key):
    return next(table for table in chapter(plan).tables if table.key == key).rows


def faults(**values):
    return chapter(with_keys(**values)).faults


def only_fault(**values):
    (sentence,) = faults(**values)
    return sentence


# --- numbers ----------------------------------------------------------------------------------------------------------


def test_the_sample_sees_all_of_its_view_and_is_dark_behind():
    worked = light(sample())
    assert worked.blind == () and chapter(sample()).faults == ()
    assert worked.worst_lx > sample().camera.view.least_lx
    assert 90 < worked.blind_circle_deg < 240


@pytest.mark.published(
    "memory", tolerance="0.5 %",
    source="Lambert, inverse square, Beer and Lambert; Fresnel in Hecht, Optics, chapter 4 (from memory)")
def test_a_lambert_lamp_that_looks_straight_down_gives_what_the_laws_of_light_give():
    # Flux of a Lambert emitter is pi times its intensity; inverse square; Beer and Lambert: any lighting handbook.
    # 0.96 is what two faces of acrylic let through head on (Fresnel, Hecht, Optics, chapter 4, from memory).
    plan = with_keys(
        lights__count=1, lights__level_pct=50.0, lights__ring__flux_lm=2000.0, lights__ring__beam_deg=120.0,
        lights__ring__bearings_deg=(0.0,), lights__ring__tilt_deg=90.0, lights__ring__height_m=1.5,
        lights__ring__radius_m=0.5, lights__ring__body_radius_m=0.0, lights__ring__hood_deg=None,
        lights__ring__window="dome", camera__view__distance_m=0.5, camera__view__width_deg=1.0,
        site__attenuation_per_m=0.4)
    below_lx = 0.96 * 1000.0 / math.pi * math.exp(-0.4 * 1.5) / 1.5**2
    assert light(plan).best_lx == pytest.approx(below_lx, rel=0.005)


def test_the_beam_behind_a_flat_window_is_narrower_and_behind_a_dome_as_it_was():
    # Snell: sin 50 deg / 1.34, twice its angle.
    narrowed_deg = 2 * math.degrees(math.asin(math.sin(math.radians(50)) / 1.34))
    assert light(sample()).beam_in_water_deg == pytest.approx(narrowed_deg)
    assert light(with_keys(lights__ring__window="dome")).beam_in_water_deg == 100


def test_light_grows_with_the_level_in_proportion():
    half, full = (light(with_keys(lights__level_pct=level_pct)) for level_pct in (50.0, 100.0))
    assert full.worst_lx == pytest.approx(2 * half.worst_lx)
    assert full.evenness == pytest.approx(half.evenness)


def test_lamps_that_take_turns_are_as_bright_while_they_are_on():
    turns = with_keys(lights__on_s=10.0, lights__off_s=50.0)
    assert light(turns) == light(sample())


def test_three_lamps_evenly_around_leave_blind_sectors_that_four_do_not():
    by_lamps = {row[0]: row[1:] for row in rows(sample(), "lamps")}
    assert list(by_lamps) == list(range(1, 9))
    assert by_lamps[3][0] > 0 and by_lamps[3][1] > 0
    assert by_lamps[4][:2] == (0, 0)


def test_the_table_of_lamps_says_of_the_plans_own_number_what_the_figures_say():
    plan = with_keys(**EVENLY)
    by_lamps = {row[0]: row[1:] for row in rows(plan, "lamps")}
    worked = light(plan)
    assert by_lamps[3] == pytest.approx((worked.blind_circle_deg, worked.blind_view_deg, worked.worst_lx))


def test_light_reaches_less_far_in_less_clear_water():
    by_water = rows(sample(), "reach")
    assert [row[0] for row in by_water] == ["clear", "as planned", "coastal", "turbid"]
    reach_m = [row[2] for row in by_water]
    assert reach_m == sorted(reach_m, reverse=True) and len(set(reach_m)) == 4


def test_at_its_reach_the_light_is_just_what_is_asked():
    reach_m = {row[0]: row[2] for row in rows(sample(), "reach")}["as planned"]
    there = with_keys(camera__view__distance_m=reach_m, camera__view__width_deg=1.0)
    assert light(there).best_lx == pytest.approx(40, rel=0.001)


def test_a_lamp_that_nowhere_gives_enough_has_no_reach():
    assert {row[2] for row in rows(with_keys(camera__view__least_lx=1e5), "reach")} == {None}


# --- blind sectors ----------------------------------------------------------------------------------------------------


def test_blind_sectors_are_one_sentence_that_names_each_of_them():
    sentence = only_fault(**EVENLY)
    assert sentence.startswith("lights.count is 3, evenly around; ")
    assert re.search(r"from 300 to 31[345](\.\d)? deg \(down to 0 lx\) and from 4[567](\.\d)? to 60 deg", sentence)
    assert "40 lx" in sentence and "1.2 m" in sentence


def test_what_the_sentence_offers_leaves_no_blind_sector():
    offered = only_fault(**EVENLY)
    count = int(re.search(r"fit (\d+) lamps", offered)[1])
    bearings_deg = tuple(float(one) for one in re.search(r"bearings_deg = \[(.+?)\]", offered)[1].split(", "))
    assert faults(**EVENLY, lights__count=count) == ()
    assert faults(**EVENLY, lights__count=count - 1) != ()
    assert faults(lights__ring__bearings_deg=bearings_deg) == ()
    assert bearings_deg == (320, 0, 40)  # each lamp in the middle of its third of the view


@pytest.mark.parametrize(("broken", "key", "number"), [
    ({"lights__level_pct": 5.0}, "lights__level_pct", r"lights\.level_pct = (\d+)"),
    ({"lights__ring__tilt_deg": 90.0}, "lights__ring__tilt_deg", r"lights\.ring\.tilt_deg = (\d+)"),
    ({"lights__ring__beam_deg": 10.0}, "lights__ring__beam_deg", r"lights\.ring\.beam_deg = (\d+)"),
    ({"site__attenuation_per_m": 3.0}, "camera__view__distance_m", r"camera\.view\.distance_m = ([\d.]+)"),
    ({"site__attenuation_per_m": 3.0}, "camera__view__least_lx", r"camera\.view\.least_lx = ([\d.]+)"),
])
def test_a_change_that_is_offered_is_enough(broken, key, number):
    offered = float(re.search(number, only_fault(**broken))[1])
    assert faults(**{**broken, key: offered}) == ()


def test_a_hood_that_cuts_the_view_is_named_as_the_way_out():
    assert "take the hood (lights.ring.hood_deg) off" in only_fault(lights__ring__hood_deg=20.0)
    assert faults(lights__ring__hood_deg=None) == ()


def test_a_view_that_nothing_alone_can_light_says_so():
    sentence = only_fault(camera__view__least_lx=1e5, lights__ring__flux_lm=1.0, site__attenuation_per_m=10.0,
                          camera__view__distance_m=20.0)
    assert "no change of bearings, number, level" in sentence


def test_many_blind_sectors_do_not_make_an_endless_sentence():
    sentence = only_fault(lights__count=40, **EVENLY, lights__ring__hood_deg=2.0, lights__ring__tilt_deg=12.0,
                          camera__view__width_deg=360.0, camera__view__distance_m=3.0, camera__view__least_lx=0.01)
    assert sentence.count("down to") == 6 and re.search(r"and \d+ more stay", sentence)


# --- lamps that do not fit --------------------------------------------------------------------------------------------


def test_a_number_of_lamps_other_than_that_of_their_bearings_is_the_only_thing_told():
    sentence = only_fault(lights__count=4)
    assert sentence.startswith("lights.count is 4; lights.ring.bearings_deg places 3 of them")
    assert light(with_keys(lights__count=4)).worst_lx is None


def test_lamps_inside_the_body_are_told_and_nothing_is_worked_out():
    assert only_fault(lights__ring__body_radius_m=0.3).startswith("lights.ring.radius_m is 0.2; ")
    assert chapter(with_keys(lights__ring__body_radius_m=0.3)).tables == ()


def test_a_view_into_the_body_is_told():
    assert only_fault(camera__view__distance_m=0.1).startswith("camera.view.distance_m is 0.1; ")


# --- what is missing, and second thoughts -----------------------------------------------------------------------------


@pytest.mark.parametrize("dark", [{"lights__count": 0}, {"lights__level_pct": 0.0}])
def test_without_light_a_wanted_view_is_a_caution_and_no_fault(dark):
    plan = with_keys(**dark)
    assert chapter(plan).faults == () and light(plan).worst_lx is None
    (caution,) = chapter(plan).cautions
    assert caution.startswith(f"{next(iter(dark)).replace('__', '.')} is 0 and camera.view asks for 40 lx")
    assert chapter(with_keys(plan, camera__view=None)).cautions == ()


@pytest.mark.parametrize("absent", [["lights.ring"], ["camera.view"], ["lights.ring", "camera.view"]])
def test_what_is_not_given_is_one_caution_with_its_key_and_absent_figures(absent):
    plan = with_keys(lights__ring__hood_deg=None)
    plan = with_keys(plan, **{name.replace(".", "__"): None for name in absent})
    (caution,) = chapter(plan).cautions
    assert all(f"[{name}]" in caution for name in absent) and "not worked out" in caution
    assert chapter(plan).faults == () and figure(plan, "worst_lx") is None


def test_a_hood_outside_the_light_of_a_flat_window_does_nothing_and_is_told():
    # asin(1 / 1.34) = 48.3 degrees: total reflection, Snell.
    (caution,) = chapter(with_keys(lights__ring__hood_deg=60.0)).cautions
    assert "hood_deg is 60" in caution and "48.3 deg" in caution
    assert light(with_keys(lights__ring__hood_deg=60.0)) == light(with_keys(lights__ring__hood_deg=None))
    assert chapter(with_keys(lights__ring__hood_deg=48.0)).cautions == ()
    assert chapter(with_keys(lights__ring__hood_deg=60.0, lights__ring__window="dome")).cautions == ()


# --- pictures and properties ------------------------------------------------------------------------------------------


def test_the_series_of_the_polar_picture_go_once_round_and_close():
    series = chapter(sample()).series
    assert series["bearing_deg"][0] == 0 and series["bearing_deg"][-1] == 360
    around = [name for name in series if name not in ("distance_m", "lamp_bearing_deg")]
    assert {len(series[name]) for name in around} == {181}
    assert series["lux_at_view"][0] == pytest.approx(series["lux_at_view"][-1])
    assert [f"lux_{distance_m:.1f}_m".replace(".", "_") in series for distance_m in series["distance_m"]] == [True] * 5


def test_the_series_of_three_and_four_lamps_are_those_of_plans_with_so_many():
    series = chapter(sample()).series
    for name, count in (("lux_three", 3), ("lux_four", 4)):
        assert series[name] == pytest.approx(
            chapter(with_keys(**EVENLY, lights__count=count)).series["lux_at_view"])


BEARING = st.floats(0, 360)


@settings(max_examples=15)
@given(st.lists(BEARING, min_size=1, max_size=6), BEARING)
def test_adding_a_lamp_never_lowers_illuminance(bearings_deg, one_more_deg):
    few, more = (with_keys(lights__count=len(placed), lights__ring__bearings_deg=tuple(placed))
                 for placed in (bearings_deg, [*bearings_deg, one_more_deg]))
    assert light(more).worst_lx >= light(few).worst_lx
    assert light(more).blind_view_deg <= light(few).blind_view_deg + 1e-6
    for before, after in zip(chapter(few).series["lux_at_view"], chapter(more).series["lux_at_view"], strict=True):
        assert after >= before


RING = st.builds(
    Ring, first_bearing_deg=BEARING, bearings_deg=st.none() | st.lists(BEARING, min_size=1, max_size=5).map(tuple),
    radius_m=st.floats(0, 10), height_m=st.floats(0.02, 20), tilt_deg=st.floats(0, 90), beam_deg=st.floats(2, 175),
    hood_deg=st.none() | st.floats(1, 90), flux_lm=st.floats(1, 1e6), window=st.sampled_from(["flat", "dome"]),
    body_radius_m=st.just(0.0) | st.floats(0, 5))
VIEW = st.builds(View, toward_deg=BEARING, width_deg=st.floats(1, 360), distance_m=st.floats(0.1, 50),
                 least_lx=st.floats(0.01, 1e5))


@settings(max_examples=40)
@given(st.none() | RING, st.none() | VIEW, st.integers(0, 5), st.floats(0, 100), st.floats(0.02, 10), st.booleans())
def test_the_chapter_of_any_plan_with_keys_in_range_comes_to_an_end(ring, view, count, level_pct, per_m, matching):
    if matching and ring is not None and ring.bearings_deg is not None:
        count = len(ring.bearings_deg)
    plan = with_keys(lights__ring=ring, camera__view=view, lights__count=count, lights__level_pct=level_pct,
                     site__attenuation_per_m=per_m)
    worked = light(plan)
    assert len(chapter(plan).faults) <= 1
    assert bool(worked.blind) == bool(worked.blind_view_deg)
    if worked.worst_lx is not None:
        assert worked.worst_lx <= worked.best_lx
        assert len(lamps_of(plan)) == count
