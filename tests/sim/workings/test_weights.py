"""Weight and buoyancy: everything on the scales, what moves the lander, what holds it down, what keeps it upright."""

import math
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seatrial.plan.checks import faults_of
from seatrial.plan.reckoning import gravity_m_s2, slowest_place, water_of, weight_in_water_kg
from seatrial.plan.totals import totals_of
from seatrial.workings.doubt import LIKELY, leaning_hull
from seatrial.workings.motion import motion
from seatrial.workings.passage import ALL, NONE
from seatrial.workings.sizing import ballast_for_kg, floats_for_l, planned_rate_m_s
from seatrial.workings.stability import LEAST_BG_M, upright
from seatrial.workings.weighing import kg, parts_weighed, roles_weighed
from seatrial.workings.weights import chapter, weights

from .plans_for_tests import sample, with_keys


def with_parts(parts):
    """The sample of other parts, its totals summed anew."""
    sums = totals_of(parts)
    plan = with_keys(lander__parts=tuple(parts))
    for name in ("mass_kg", "volume_l", "compressibility_per_mpa"):
        plan = with_keys(plan, **{f"lander__{name}": sums[name], f"lander__floats__{name}": sums["floats"][name]})
    if sums["ballast"]:
        plan = with_keys(plan, lander__ballast__mass_kg=sums["ballast"]["mass_kg"],
                         lander__ballast__density_kg_m3=sums["ballast"]["density_kg_m3"])
    return plan


def changed(name, plan=None, **values):
    """The sample with keys of one of its parts changed, by the name of the part."""
    parts = (plan or sample()).lander.parts
    return with_parts([part.model_copy(update=values) if part.name == name else part for part in parts])


def raised(plan, role, by_m):
    return with_parts([part.model_copy(update={"height_m": part.height_m + by_m}) if part.role == role else part
                       for part in plan.lander.parts])


def with_floats(litres):
    """The sample with so much of its own kind of float, its parts left as they are."""
    share = litres / sample().lander.floats.volume_l
    return with_keys(lander__floats__volume_l=litres, lander__floats__mass_kg=share * sample().lander.floats.mass_kg)


def table(plan, key):
    found = next(one for one in chapter(plan).tables if one.key == key)
    return [dict(zip((column.key for column in found.columns), row, strict=True)) for row in found.rows]


def figure(plan, key):
    return next(one for one in chapter(plan).figures if one.key == key).value


def stuck(plan):
    return [caution for caution in chapter(plan).cautions if caution.startswith("with half the ballast stuck")]


# --- on the scales ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("place", "depth_m"), [("surface_kg", 0.0), ("seabed_kg", 430.0)])
def test_the_parts_weigh_together_what_the_lander_of_the_simulator_weighs(place, depth_m):
    rows = table(sample(), "parts")
    laden, bare = (sum(row[place] for row in rows if with_ballast or row["role"] != "ballast")
                   for with_ballast in (True, False))
    assert laden == pytest.approx(weight_in_water_kg(sample(), depth_m, with_ballast=True), abs=1e-9)
    assert bare == pytest.approx(weight_in_water_kg(sample(), depth_m, with_ballast=False), abs=1e-9)


def test_the_roles_weigh_together_what_the_parts_do():
    for role, total in roles_weighed(sample()).items():
        seabed_n = sum(one.seabed_n for part, one in parts_weighed(sample()) if part.role == role)
        assert total.seabed_n == pytest.approx(seabed_n, abs=1e-9)


def test_a_part_has_the_weight_of_its_count():
    one, three = (table(changed("lamp", count=count), "parts")[4] for count in (1, 3))
    assert three["seabed_n"] == pytest.approx(3 * one["seabed_n"])
    assert three["mass_kg"] == pytest.approx(2.4)


def test_weight_in_water_is_told_in_kilograms_and_newtons_alike():
    assert figure(sample(), "laden_seabed_n") == pytest.approx(
        gravity_m_s2(sample().site) * figure(sample(), "laden_seabed_kg"))


def test_the_lift_that_compression_costs_is_the_water_that_is_no_longer_displaced():
    plan = sample()
    water, lander = water_of(plan.site), plan.lander
    sea_mpa = (water.pressure_mbar_at(430.0) - water.air_mbar) / 1e4
    lost_l = sea_mpa * sum(part.volume_l * part.compressibility_per_mpa for part in (lander, lander.floats))
    assert weights(plan).squeezed_kg == pytest.approx(lost_l / 1000 * water.density_at(430.0), rel=1e-9)


def test_a_lander_without_parts_is_weighed_by_its_totals():
    plan = with_keys(lander__parts=())
    assert {one.key for one in chapter(plan).tables} == {"roles", "ballast_for_rate", "floats_for_rate"}
    assert weights(plan) == weights(sample())
    assert [caution for caution in chapter(plan).cautions if caution.startswith("lander.parts is not given")]


# --- ballast and floats for a rate ------------------------------------------------------------------------------------


@pytest.mark.parametrize("rate_m_s", [0.3, 0.5, 0.8, 1.2])
def test_the_hull_of_the_simulator_sinks_at_the_rate_that_the_ballast_is_for(rate_m_s):
    plan = with_keys(lander__ballast__mass_kg=ballast_for_kg(sample(), rate_m_s))
    depth_m = slowest_place(sample(), with_ballast=True)[0]
    assert leaning_hull(plan, LIKELY, ALL).terminal_speed_m_s(depth_m) == pytest.approx(rate_m_s, rel=1e-9)


@pytest.mark.parametrize("rate_m_s", [0.3, 0.5, 0.8, 1.2])
def test_the_hull_of_the_simulator_rises_at_the_rate_that_the_floats_are_for(rate_m_s):
    plan = with_floats(floats_for_l(sample(), rate_m_s))
    depth_m = slowest_place(sample(), with_ballast=False)[0]
    assert leaning_hull(plan, LIKELY, NONE).terminal_speed_m_s(depth_m) == pytest.approx(-rate_m_s, rel=1e-9)


def test_the_planned_rate_takes_the_ballast_and_the_floats_that_are_planned():
    down, up = (next(row for row in table(sample(), key) if row["which"] == "as planned")
                for key in ("ballast_for_rate", "floats_for_rate"))
    assert (down["ballast_kg"], down["more_kg"]) == (pytest.approx(12.0), 0.0)
    assert (up["floats_l"], up["more_l"], up["pieces"]) == (pytest.approx(27.5), 0.0, pytest.approx(4.0))


def test_a_lander_that_does_not_move_has_no_planned_rate_and_still_learns_what_it_needs():
    never_sinks, never_rises = with_keys(lander__ballast__mass_kg=1.0), with_floats(5.0)
    assert planned_rate_m_s(never_sinks, down=True) is None
    assert planned_rate_m_s(never_rises, down=False) is None
    assert ballast_for_kg(never_sinks, 0.5) == pytest.approx(ballast_for_kg(sample(), 0.5), rel=0.01)
    assert floats_for_l(never_rises, 0.5) == pytest.approx(floats_for_l(sample(), 0.5), rel=0.01)


def test_floats_that_do_not_lift_reach_no_rate():
    assert floats_for_l(with_keys(lander__floats__mass_kg=40.0), 0.5) is None
    assert floats_for_l(with_keys(lander__floats__mass_kg=0.0, lander__floats__volume_l=0.0), 0.5) is None


def test_a_lander_that_sinks_without_ballast_needs_none_for_a_slow_descent():
    assert ballast_for_kg(with_keys(lander__mass_kg=60.0), 0.3) is None


@given(ballast_kg=st.floats(0.1, 200), more_kg=st.floats(0.01, 200))
@settings(max_examples=20, deadline=None)
def test_more_ballast_never_sinks_slower(ballast_kg, more_kg):
    light, heavy = (leaning_hull(with_keys(lander__ballast__mass_kg=carried), LIKELY, ALL)
                    for carried in (ballast_kg, ballast_kg + more_kg))
    assert all(heavy.terminal_speed_m_s(depth_m) >= light.terminal_speed_m_s(depth_m) for depth_m in (0.0, 200, 430))


@given(litres=st.floats(0.1, 200), more_l=st.floats(0.01, 200))
@settings(max_examples=20, deadline=None)
def test_more_float_never_rises_slower(litres, more_l):
    small, large = (leaning_hull(with_floats(volume_l), LIKELY, NONE) for volume_l in (litres, litres + more_l))
    assert all(large.terminal_speed_m_s(depth_m) <= small.terminal_speed_m_s(depth_m) for depth_m in (0.0, 200, 430))


@given(slow=st.floats(0.01, 2), faster=st.floats(0.001, 2))
@settings(max_examples=20, deadline=None)
def test_a_faster_rate_never_takes_less_ballast_or_float(slow, faster):
    assert ballast_for_kg(sample(), slow + faster) > ballast_for_kg(sample(), slow)
    assert floats_for_l(sample(), slow + faster) > floats_for_l(sample(), slow)


# --- half the ballast stuck -------------------------------------------------------------------------------------------


def test_with_half_its_ballast_stuck_the_sample_stays_down_and_is_told_what_would_lift_it():
    sentence, = stuck(sample())
    assert "still weighs 0.59 kg in water and stays down" in sentence
    assert sentence.endswith("the releases must free all of it")
    lift_kg = float(re.search(r"more than ([\d.]+) kg of lift", sentence)[1])
    floats_kg = sample().lander.floats.mass_kg
    assert weights(with_keys(lander__floats__mass_kg=floats_kg - lift_kg)).half_stuck_missing_kg is None
    assert weights(with_keys(lander__floats__mass_kg=floats_kg - lift_kg + 0.02)).half_stuck_missing_kg is not None


@pytest.mark.parametrize("lift_kg", [0.0, 0.65, 1.5, 3.0])
def test_half_the_ballast_stuck_is_a_caution_exactly_when_the_lander_would_not_come_up(lift_kg):
    plan = with_keys(lander__floats__mass_kg=sample().lander.floats.mass_kg - lift_kg)
    assert bool(stuck(plan)) == (motion(plan).half_ballast_ascent_s is None)
    assert (weights(plan).half_stuck_up_m_s is None) == bool(stuck(plan))


def test_mud_that_holds_half_the_ballast_is_named():
    plan = with_keys(lander__floats__mass_kg=sample().lander.floats.mass_kg - 1.5)
    assert "the mud (site.mud_suction_n 12) holds it" in stuck(plan)[0]


def test_a_fresh_layer_that_half_the_ballast_does_not_rise_past_is_named():
    rows = tuple(row.model_copy(update={"salinity_psu": 8.0}) if row.depth_m == 0 else row for row in sample().site.water)
    plan = with_keys(site__water=rows, site__mud_suction_n=0.0,
                     lander__floats__mass_kg=sample().lander.floats.mass_kg - 1.0)
    assert weights(plan).half_stuck_seabed_kg < 0
    assert "in the water at the surface and does not rise past there" in stuck(plan)[0]


def test_ballast_in_one_piece_cannot_stick_by_half():
    assert stuck(changed("ballast plate", count=1, mass_kg=12.0)) == []


def test_a_lander_that_never_rises_is_not_told_of_half_its_ballast():
    plan = with_floats(5.0)
    assert any("does not rise past there" in fault for fault in faults_of(plan))
    assert stuck(plan) == []


# --- upright ----------------------------------------------------------------------------------------------------------


def test_the_righting_moment_is_the_sum_of_the_moments_of_all_parts_leaned_over():
    plan, angle = sample(), math.radians(30)
    gravity = gravity_m_s2(plan.site)
    weighed = parts_weighed(plan)
    centre_m = sum(one.mass_kg * part.height_m for part, one in weighed) / sum(one.mass_kg for _part, one in weighed)
    turned = sum((gravity * one.mass_kg - one.seabed_n) * (part.height_m - centre_m) * math.sin(angle)
                 for part, one in weighed)
    assert figure(plan, "laden_moment_30_n_m") == pytest.approx(turned)


def test_two_parts_have_their_centres_where_a_lever_balances():
    # 10 kg at 0 m under a float of 1 kg and 11 l at 1 m: of 11 kg the middle lies at 1/11 m
    weight = sample().lander.parts[1].model_copy(update={
        "mass_kg": 10.0, "count": 1, "material": None, "volume_l": 1.0, "height_m": 0.0})
    float_ = sample().lander.parts[8].model_copy(update={
        "mass_kg": 1.0, "count": 1, "volume_l": 11.0, "compressibility_per_mpa": 0.0, "height_m": 1.0})
    state = upright(with_keys(lander__parts=(weight, float_)))[0]
    assert state.gravity_height_m == pytest.approx(1 / 11)
    assert state.buoyancy_height_m == pytest.approx(11 / 12)


def test_ballast_low_down_keeps_the_lander_upright_and_losing_it_costs_some_of_that():
    assert 0 < figure(sample(), "bare_bg_m") < figure(sample(), "laden_bg_m")


@pytest.mark.parametrize("floats_m", [0.30, 0.45])
def test_a_lander_that_turns_over_or_hardly_rights_itself_is_told_how_far_to_raise_its_floats(floats_m):
    plan = changed("float", height_m=floats_m)
    worst_m = min(state.arm_m for state in upright(plan))
    sentences = [one for one in (*chapter(plan).faults, *chapter(plan).cautions) if "centre of buoyancy" in one]
    assert len(sentences) == (1 if worst_m < LEAST_BG_M else 0)
    assert bool(chapter(plan).faults) == (worst_m <= 0)
    by_m = float(re.search(r"raise the floats by (\d+) cm", sentences[0])[1]) / 100
    assert min(state.arm_m for state in upright(raised(plan, "float", by_m))) >= LEAST_BG_M
    assert min(state.arm_m for state in upright(raised(plan, "float", by_m - 0.011))) < LEAST_BG_M


def test_lowering_what_the_sentence_names_helps_as_well():
    plan = changed("float", height_m=0.45)
    sentence = next(one for one in (*chapter(plan).faults, *chapter(plan).cautions) if "centre of buoyancy" in one)
    name, by_cm = re.search(r'lower "(.+)" by (\d+) cm', sentence).groups()
    height_m = next(part.height_m for part in plan.lander.parts if part.name == name)
    lowered = changed(name, plan, height_m=height_m - int(by_cm) / 100)
    assert min(state.arm_m for state in upright(lowered)) >= LEAST_BG_M


def test_a_part_without_its_height_is_named_and_no_upright_is_told():
    plan = changed("lamp", height_m=None)
    assert upright(plan) == ()
    said, = (caution for caution in chapter(plan).cautions if "height_m" in caution)
    assert said.startswith('lander.parts "lamp" has no height_m')
    assert not [one for one in chapter(plan).figures if "bg_m" in one.key]


# --- floats that do not float, totals that differ ---------------------------------------------------------------------


def test_the_sample_adds_up():
    assert chapter(sample()).faults == ()
    assert len(chapter(sample()).cautions) == 1


def test_a_float_heavier_than_its_water_is_named_with_the_mass_and_the_volume_that_would_do():
    sentence, = chapter(changed("float", mass_kg=8.0)).faults
    assert sentence.startswith('lander.parts "float" has 8 kg and 6.875 l; meant to float, it weighs 0.95 kg')
    lighter_kg, larger_l = map(float, re.search(r"lighter than ([\d.]+) kg or larger than ([\d.]+) l", sentence).groups())
    assert chapter(changed("float", mass_kg=lighter_kg)).faults == ()
    assert chapter(changed("float", mass_kg=8.0, volume_l=larger_l)).faults == ()
    assert chapter(changed("float", mass_kg=lighter_kg + 0.02)).faults != ()
    assert chapter(changed("float", mass_kg=8.0, volume_l=larger_l - 0.02)).faults != ()


def test_a_float_that_the_depth_makes_too_heavy_is_told_at_that_depth():
    sentence, = chapter(changed("float", mass_kg=7.0, compressibility_per_mpa=0.005)).faults
    assert "in the water at 430 m" in sentence
    assert chapter(changed("float", mass_kg=7.0)).faults == ()


def test_floats_that_are_given_as_totals_are_weighed_too():
    sentence, = chapter(with_keys(lander__parts=(), lander__floats__mass_kg=40.0)).faults
    assert sentence.startswith("lander.floats has 40 kg and 27.5 l; meant to float, it weighs")


@pytest.mark.parametrize(("weighed_kg", "told"), [(31.0, False), (31.6, False), (31.7, True), (30.3, True)])
def test_a_weighed_total_more_than_two_percent_from_its_parts_is_told_with_both_numbers(weighed_kg, told):
    said = [one for one in chapter(with_keys(lander__mass_kg=weighed_kg)).cautions if "add up to" in one]
    assert said == ([f"lander.mass_kg is {weighed_kg:g} and lander.parts add up to 31 kg: the total counts, weigh again"
                     " or correct the parts"] if told else [])


# --- whatever the plan says -------------------------------------------------------------------------------------------


@given(
    depth_m=st.floats(3, 10950), mass_kg=st.floats(0.5, 5000), volume_l=st.floats(0.1, 10000),
    floats_kg=st.floats(0, 5000), floats_l=st.floats(0, 10000), squeezed=st.floats(0, 0.005),
    ballast_kg=st.floats(0.1, 5000), density=st.floats(1100, 20000), suction_n=st.floats(0, 1000),
    count=st.integers(1, 1000), part_kg=st.floats(0, 5000), part_l=st.floats(0, 10000),
    height_m=st.none() | st.floats(0, 20), role=st.sampled_from(["body", "float", "ballast"]),
    alone=st.sampled_from(["alone", "with the others", "none"]))
@settings(max_examples=40, deadline=None)
def test_any_plan_is_weighed(depth_m, mass_kg, volume_l, floats_kg, floats_l, squeezed, ballast_kg, density, suction_n,
                             count, part_kg, part_l, height_m, role, alone):
    part = sample().lander.parts[2].model_copy(update={
        "count": count, "mass_kg": part_kg, "volume_l": part_l, "height_m": height_m, "role": role,
        "compressibility_per_mpa": squeezed})
    parts = {"alone": (part,), "with the others": (*sample().lander.parts, part), "none": ()}[alone]
    told = chapter(with_keys(
        site__depth_m=depth_m, site__mud_suction_n=suction_n, lander__mass_kg=mass_kg, lander__volume_l=volume_l,
        lander__compressibility_per_mpa=squeezed, lander__floats__mass_kg=floats_kg,
        lander__floats__volume_l=floats_l, lander__floats__compressibility_per_mpa=squeezed,
        lander__ballast__mass_kg=ballast_kg, lander__ballast__density_kg_m3=density, lander__parts=parts))
    numbers = [one.value for one in told.figures] + [value for one in told.tables for row in one.rows for value in row]
    assert all(math.isfinite(value) for value in numbers if isinstance(value, float))
    assert all(len(one.columns) == len(row) for one in told.tables for row in one.rows)
    assert all(";" in fault and ": " in fault for fault in told.faults)


# --- units ------------------------------------------------------------------------------------------------------------


@given(mass_kg=st.floats(-5000, 5000))
@settings(max_examples=30)
def test_kilograms_survive_their_way_into_newtons_and_back(mass_kg):
    assert kg(sample(), gravity_m_s2(sample().site) * mass_kg) == pytest.approx(mass_kg, rel=1e-12)
