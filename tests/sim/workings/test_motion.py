"""The ways down and up: how long and how fast, how far that is to be trusted, and what the doubt costs."""

import math
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seatrial.plan.body import Part
from seatrial.plan.checks import faults_of
from seatrial.plan.reckoning import ascent_s, descent_s, hull_of, water_of
from seatrial.workings.doubt import LIKELY, SLOW_UP
from seatrial.workings.motion import chapter, in_stream, motion
from seatrial.workings.passage import ascent, descent, to_share_of_terminal_m

from .plans_for_tests import sample, with_keys

SURE = {"doubt__drag_pct": 0.0, "doubt__mass_pct": 0.0, "doubt__density_kg_m3": 0.0}


def figure(plan, key):
    return next(one for one in chapter(plan).figures if one.key == key).value


def last_number(sentence):
    return float(re.findall(r"[\d.]+(?= kg of)", sentence)[-1])


def with_ballast(kg, plan=None):
    return with_keys(plan, lander__ballast__mass_kg=kg)


def with_lift(kg, plan=None):
    """Floats lighter by so much, at their volume."""
    plan = plan or sample()
    return with_keys(plan, lander__floats__mass_kg=plan.lander.floats.mass_kg - kg)


# --- the likely way ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("depth_m", [3.0, 37.5, 430.0, 1000.0, 6000.0])
def test_the_likely_times_are_those_that_the_checks_of_the_plan_reckon_with(depth_m):
    plan = with_keys(site__depth_m=depth_m)
    assert motion(plan).descent_likely_s == pytest.approx(descent_s(plan), rel=1e-6)
    assert motion(plan).ascent_likely_s == pytest.approx(ascent_s(plan), rel=1e-6)


def test_a_lander_lands_at_its_terminal_speed_where_the_water_is_deep():
    moved = motion(sample())
    assert moved.impact_likely_m_s == pytest.approx(moved.down_seabed_m_s, rel=1e-3)
    assert moved.top_speed_m_s == pytest.approx(moved.up_surface_m_s, rel=1e-3)


def test_a_heavy_lander_in_shallow_water_lands_before_it_has_gathered_speed():
    plan = with_keys(site__depth_m=3.0, lander__added_mass_kg=2000.0)
    assert motion(plan).impact_likely_m_s < 0.8 * motion(plan).down_seabed_m_s
    assert motion(plan).nearly_terminal_m is None


@pytest.mark.published(
    "memory", ids="2.6", tolerance="0.2 %",
    source="White, Fluid Mechanics: v = v_t tanh(t / tau) (from memory)")
def test_speed_is_gathered_over_the_length_of_the_closed_form():
    # White, Fluid Mechanics (from memory): v = v_t tanh(t/tau), so x = L ln cosh(t/tau) with L = 2 m / (rho Cd A)
    plan, lander = sample(), sample().lander
    moving_kg = lander.mass_kg + lander.floats.mass_kg + lander.ballast.mass_kg + lander.added_mass_kg
    area_m2 = lander.drag_coefficient_down * lander.frontal_area_m2
    length_m = 2 * moving_kg / (water_of(plan.site).density_at(0.5) * area_m2)
    for share in (0.5, 0.9, 0.99):
        expected_m = length_m * math.log(math.cosh(math.atanh(share)))
        assert to_share_of_terminal_m(plan, share) == pytest.approx(expected_m, rel=2e-3)
    assert motion(plan).nearly_terminal_m == to_share_of_terminal_m(plan, 0.99)


def test_the_pictures_begin_and_end_where_the_ways_do():
    series, depth_m = chapter(sample()).series, sample().site.depth_m
    for way, first_m, last_m in (("down", 0, depth_m), ("up", depth_m, 0)):
        for case in ("", "_slow", "_fast"):
            depths, speeds = series[f"{way}{case}_depth_m"], series[f"{way}{case}_speed_m_s"]
            assert depths[0] == first_m and depths[-1] == pytest.approx(last_m, abs=0.01)
            assert len(depths) == len(speeds) == len(series[f"{way}{case}_s"]) > 100
            assert min(speeds) == speeds[0] == 0
    assert series["down_s"][-1] == pytest.approx(motion(sample()).descent_likely_s, abs=0.01)


def test_a_long_way_gives_no_more_points_than_a_picture_needs():
    plan = with_keys(site__depth_m=10000.0)
    assert len(chapter(plan).series["down_s"]) < 220


# --- the band ---------------------------------------------------------------------------------------------------------


def test_without_doubt_slow_likely_and_fast_are_one():
    moved = motion(with_keys(**SURE))
    assert moved.descent_slow_s == moved.descent_likely_s == moved.descent_fast_s
    assert moved.ascent_slow_s == moved.ascent_likely_s == moved.ascent_fast_s


@given(st.floats(0, 80), st.floats(0, 3), st.floats(0, 3))
@settings(max_examples=25)
def test_slow_is_never_faster_than_likely_and_fast_never_slower(drag_pct, mass_pct, density_kg_m3):
    moved = motion(with_keys(
        doubt__drag_pct=drag_pct, doubt__mass_pct=mass_pct, doubt__density_kg_m3=density_kg_m3))
    for way in ("descent", "ascent"):
        fast, likely, slow = (getattr(moved, f"{way}_{case}_s") for case in ("fast", "likely", "slow"))
        assert fast <= likely * (1 + 1e-9)
        assert slow is None or slow >= likely * (1 - 1e-9)


@pytest.mark.parametrize("key", SURE)
def test_each_doubt_alone_widens_the_band_on_both_sides(key):
    alone = motion(with_keys(**{**SURE, key: 1.0}))
    assert alone.descent_fast_s < alone.descent_likely_s < alone.descent_slow_s
    assert alone.ascent_fast_s < alone.ascent_likely_s < alone.ascent_slow_s


@pytest.mark.published(
    "memory", ids="2.3", tolerance="0.2 %",
    source="White, Fluid Mechanics: v = sqrt(2 W / (rho Cd A)) (from memory)")
def test_a_doubt_about_drag_alone_lengthens_the_way_by_its_root():
    # v = sqrt(2 W / (rho Cd A)): White, Fluid Mechanics, from memory
    moved = motion(with_keys(**{**SURE, "doubt__drag_pct": 21.0}))
    assert moved.descent_slow_s / moved.descent_likely_s == pytest.approx(math.sqrt(1.21), rel=2e-3)
    assert moved.ascent_fast_s / moved.ascent_likely_s == pytest.approx(math.sqrt(0.79), rel=2e-3)


@given(st.floats(5.6, 20), st.floats(0, 10))
@settings(max_examples=25)
def test_more_ballast_never_sinks_slower(ballast_kg, more_kg):
    lighter, heavier = motion(with_ballast(ballast_kg)), motion(with_ballast(ballast_kg + more_kg))
    for case in ("slow", "likely", "fast"):
        before_s, after_s = (getattr(moved, f"descent_{case}_s") for moved in (lighter, heavier))
        assert before_s is None or after_s <= before_s * (1 + 1e-9)


# --- parts in the flow ------------------------------------------------------------------------------------------------


def test_the_shares_of_the_parts_make_the_whole_drag_and_the_coefficient_of_the_lander():
    stream, lander = in_stream(sample()), sample().lander
    assert sum(one.share_down_pct for one in stream) == pytest.approx(100)
    drag_m2 = sum(one.down.area_m2 * one.down.coefficient for one in stream)
    assert drag_m2 == pytest.approx(lander.drag_coefficient_down * lander.frontal_area_m2)


@pytest.mark.published(
    "memory", ids="2.1", tolerance="2 %, 10 %",
    source="ITTC 7.5-02-01-03, viscosity of seawater; White, table 7.3 (from memory)")
def test_the_largest_part_is_told_with_its_reynolds_number():
    # nu of seawater at 10 degC and 35: 1.3538e-6 m2/s, ITTC 7.5-02-01-03 (from memory)
    speed_m_s = motion(sample()).down_seabed_m_s
    assert figure(sample(), "largest_part_reynolds") == pytest.approx(speed_m_s * 0.236 / 1.3538e-6, rel=0.02)
    assert figure(sample(), "largest_part_drag_coefficient") == pytest.approx(0.47, rel=0.1)  # White, table 7.3 (memory)


def test_ballast_has_no_drag_on_the_way_up():
    table = chapter(sample()).tables[0]
    up = [column.key for column in table.columns].index("drag_coefficient_up")
    by_name = {row[0]: row for row in table.rows}
    assert by_name["ballast plate"][up] is None
    assert by_name["float"][up] is not None


def test_a_lander_told_in_totals_has_no_table_of_parts():
    plan = with_keys(lander__parts=())
    assert chapter(plan).tables == () and in_stream(plan) == ()
    assert motion(plan).descent_likely_s == motion(sample()).descent_likely_s


def test_the_table_says_when_totals_of_the_plan_overrule_the_parts():
    assert "the totals count" not in chapter(sample()).tables[0].caption
    assert "the totals count" in chapter(with_keys(lander__drag_coefficient_down=1.4)).tables[0].caption


def test_a_part_in_the_drag_crisis_is_a_caution_that_names_it():
    ball = Part(name="great ball", role="float", mass_kg=30.0, volume_l=40.0, shape="sphere", width_m=0.6)
    plan = with_keys(lander__parts=(*sample().lander.parts, ball))
    assert [one for one in chapter(plan).cautions if "great ball" in one and "drops steeply" in one]
    assert not [one for one in chapter(sample()).cautions if "drops steeply" in one]


# --- half the ballast, and the mud ------------------------------------------------------------------------------------


def test_with_half_the_ballast_stuck_the_sample_stays_down():
    assert figure(sample(), "half_ballast_pull_n") < 0
    assert figure(sample(), "half_ballast_ascent_s") is None


def test_with_half_a_light_ballast_stuck_it_rises_slower_than_without():
    plan = with_lift(2.0, with_keys(site__mud_suction_n=0.0))
    assert figure(plan, "half_ballast_ascent_s") > motion(plan).ascent_likely_s


def test_mud_that_is_stronger_than_the_pull_with_half_the_ballast_keeps_it_down():
    plan = with_lift(2.0, with_keys(site__mud_suction_n=0.0))
    stronger_n = figure(plan, "half_ballast_pull_n") + 0.1
    assert figure(with_keys(plan, site__mud_suction_n=stronger_n), "half_ballast_ascent_s") is None


def test_mud_holds_for_its_time_when_the_pull_is_stronger_and_for_good_when_it_is_not():
    hull = hull_of(sample(), with_ballast=False)
    pull_n = -hull.net_force_n(sample().site.depth_m)
    assert motion(with_keys(site__mud_suction_n=pull_n - 0.1)).mud_s == sample().site.mud_hold_s
    assert motion(with_keys(site__mud_suction_n=pull_n + 0.1)).mud_s is None


# --- what the doubt costs ---------------------------------------------------------------------------------------------


def test_the_sample_has_no_fault_and_no_caution_of_its_motion():
    assert chapter(sample()).faults == () and chapter(sample()).cautions == ()


def test_a_lander_that_may_not_sink_is_told_how_much_ballast_would_do():
    plan = with_ballast(5.6)
    assert not [one for one in faults_of(plan) if "does not sink" in one]
    (sentence,) = chapter(plan).faults
    assert "doubt.mass_pct is 1 and doubt.density_kg_m3 is 0.5" in sentence and "not sink" in sentence
    assert motion(plan).descent_slow_s is None and motion(plan).descent_likely_s is not None
    assert chapter(with_ballast(5.6 + last_number(sentence) + 0.001)).faults == ()
    assert chapter(with_ballast(5.6 + last_number(sentence) - 0.03)).faults != ()


def test_a_lander_that_may_not_rise_is_told_how_much_lift_would_do():
    plan = with_lift(-4.3, with_keys(site__mud_suction_n=0.0))
    assert not [one for one in faults_of(plan) if "does not rise" in one]
    (sentence,) = chapter(plan).faults
    assert "not rise" in sentence and "without its ballast" in sentence
    assert motion(plan).ascent_slow_s is None and motion(plan).ascent_likely_s is not None
    # lift by lighter floats: their own mass is in doubt too, so a hundredth more than lift by volume
    assert chapter(with_lift(1.01 * last_number(sentence) + 0.001, plan)).faults == ()
    assert chapter(with_lift(last_number(sentence) - 0.03, plan)).faults != ()


def test_mud_that_may_hold_in_the_slow_case_only_is_one_fault_and_the_late_ascent_is_never():
    pull_n = -hull_of(sample(), with_ballast=False).net_force_n(430.0)
    plan = with_keys(site__mud_suction_n=pull_n - 1.0)
    (sentence,) = chapter(plan).faults
    assert sentence.startswith(f"site.mud_suction_n is {pull_n - 1.0:g};") and "hold it for good" in sentence
    assert motion(plan).ascent_slow_s is None and motion(plan).ascent_likely_s is not None
    assert chapter(with_lift(1.01 * last_number(sentence) + 0.001, plan)).faults == ()


@pytest.mark.parametrize("plan", [
    with_ballast(2.0), with_lift(-8.0), with_keys(site__mud_suction_n=500.0),
    with_keys(times__slowest_ascent_min=5.0), with_keys(times__timed_release_min=5.0),
], ids=["too light", "floats too small", "mud", "slowest ascent", "timed release"])
def test_what_the_checks_of_the_plan_say_is_not_said_again(plan):
    assert faults_of(plan)
    assert chapter(plan).faults == () and chapter(plan).cautions == ()


def test_a_slowest_ascent_that_the_slow_case_overruns_is_a_caution_with_the_number_that_covers_it():
    plan = with_keys(times__slowest_ascent_min=12.0)  # likely 11.3 min, slow 13.0 min, mud 25 s
    (sentence,) = chapter(plan).cautions
    assert sentence.startswith("times.slowest_ascent_min is 12 ") and "25 s in the mud" in sentence
    enough_min = float(re.search(r"(\d+) min or more", sentence)[1])
    assert chapter(with_keys(times__slowest_ascent_min=enough_min)).cautions == ()
    assert chapter(with_keys(times__slowest_ascent_min=enough_min - 1)).cautions != ()


def test_a_timed_release_before_the_slow_descent_is_over_is_a_caution():
    plan = with_keys(times__timed_release_min=12.0)  # likely 11.0 min, slow 12.6 min
    (sentence,) = chapter(plan).cautions
    assert sentence.startswith("times.timed_release_min is 12 ") and "on the way down" in sentence


# --- any plan ---------------------------------------------------------------------------------------------------------


@given(
    depth_m=st.floats(3, 10950), mass_kg=st.floats(0.5, 200), volume_l=st.floats(0.1, 200),
    floats_kg=st.floats(0, 100), floats_l=st.floats(0, 200), ballast_kg=st.floats(0.1, 200),
    area_m2=st.floats(0.001, 20), down=st.floats(0.05, 5), up=st.floats(0.05, 5), added_kg=st.floats(0, 20000),
    squeeze=st.floats(0, 0.005), suction_n=st.floats(0, 5000), drag_pct=st.floats(0, 80), mass_pct=st.floats(0, 20),
    density=st.floats(0, 20), ascent_min=st.floats(1, 600))
@settings(max_examples=60)
def test_every_plan_whose_keys_are_in_range_has_its_chapter(
    depth_m, mass_kg, volume_l, floats_kg, floats_l, ballast_kg, area_m2, down, up, added_kg, squeeze, suction_n,
    drag_pct, mass_pct, density, ascent_min,
):
    plan = with_keys(
        site__depth_m=depth_m, lander__mass_kg=mass_kg, lander__volume_l=volume_l, lander__floats__mass_kg=floats_kg,
        lander__floats__volume_l=floats_l, lander__ballast__mass_kg=ballast_kg, lander__frontal_area_m2=area_m2,
        lander__drag_coefficient_down=down, lander__drag_coefficient_up=up, lander__added_mass_kg=added_kg,
        lander__floats__compressibility_per_mpa=squeeze, site__mud_suction_n=suction_n, doubt__drag_pct=drag_pct,
        doubt__mass_pct=mass_pct, doubt__density_kg_m3=density, times__slowest_ascent_min=ascent_min)
    told = chapter(plan)
    assert len(told.faults) <= 2 and all(sentence.count("\n") == 0 for sentence in told.faults)
    for one in told.figures:
        assert one.value is None or math.isfinite(one.value)
    moved = motion(plan)
    assert (moved.descent_likely_s is None) == (descent(plan, LIKELY) is None)
    assert (moved.top_speed_m_s is None) == (moved.ascent_likely_s is None)
    if moved.ascent_slow_s is not None:
        assert moved.ascent_likely_s is not None and ascent(plan, SLOW_UP).seconds == moved.ascent_slow_s


def test_a_lander_that_never_sinks_or_never_rises_has_no_times_and_no_pictures():
    floating, sunk = with_ballast(2.0), with_lift(-8.0)
    assert motion(floating).descent_likely_s is None and chapter(floating).series["down_s"] == ()
    assert motion(floating).nearly_terminal_m is None and motion(floating).impact_likely_m_s is None
    assert motion(sunk).ascent_likely_s is None and chapter(sunk).series["up_depth_m"] == ()
