"""Pressure: what the sea presses with at the deepest point of a plan, and whether housings, walls and test bear it."""

import re
import warnings

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seatrial.handbook import chamber
from seatrial.handbook.materials import MATERIALS
from seatrial.plan.body import Part, Shell
from seatrial.workings.pressure import (
    BRITTLE,
    DEEPEST_RATING_M,
    FRAIL_FACTOR,
    LEAST_FACTOR,
    chapter,
    gauge_mpa,
    pressure,
)

from .plans_for_tests import sample, with_keys

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # it says that it is old, which is what it is here for
    import seawater as eos80

CHECKED = [name for name, material in MATERIALS.items() if material.youngs_gpa is not None]


def figure(plan, key):
    return next(one for one in chapter(plan).figures if one.key == key).value


def rows(plan, key):
    return next(table for table in chapter(plan).tables if table.key == key).rows


def with_row(table, name, plan=None, **values):
    """The sample with one part or shell changed."""
    plan = sample() if plan is None else plan
    changed = tuple(row.model_copy(update=values) if row.name == name else row for row in getattr(plan.lander, table))
    assert changed != getattr(plan.lander, table)
    return with_keys(plan, **{f"lander__{table}": changed})


def only_fault(plan):
    (sentence,) = chapter(plan).faults
    return sentence


def own_cautions(plan):
    """Without what is always said first."""
    assert chapter(plan).dangers == chamber.CAUTION
    return chapter(plan).cautions


# --- pressure ---------------------------------------------------------------------------------------------------------


def test_the_working_pressure_is_that_of_the_standard_ocean_within_half_a_percent():
    # UNESCO 44 (Fofonoff and Millard 1983) by the library seawater: pressure by depth in the standard ocean of 35 psu
    # and 0 degC, which is a little denser than the sample's water.
    standard_mpa = float(eos80.pres(450, sample().site.latitude_deg)) / 100
    assert pressure(sample()).working_mpa == pytest.approx(standard_mpa, rel=0.005)


def test_the_deepest_point_is_the_charted_depth_and_its_margin():
    deeper = with_keys(site__depth_margin_m=100.0)
    assert figure(deeper, "deepest_m") == 530
    assert figure(deeper, "working_mpa") == gauge_mpa(deeper, 530) > figure(deeper, "charted_mpa")


def test_the_pressure_of_the_air_is_not_counted():
    thin_air = with_keys(site__air_pressure_hpa=870.0)
    assert pressure(thin_air).working_mpa == pytest.approx(pressure(sample()).working_mpa, abs=1e-6)
    assert gauge_mpa(sample(), 0.0) == 0


@settings(max_examples=10)
@given(st.floats(3, 3000), st.floats(0, 900), st.floats(1, 100))
def test_deeper_never_presses_less(depth_m, margin_m, more_m):
    shallow, deep = (with_keys(site__depth_m=depth_m, site__depth_margin_m=margin) for margin in
                     (margin_m, margin_m + more_m))
    assert pressure(deep).working_mpa > pressure(shallow).working_mpa
    assert pressure(deep).weakest.factor < pressure(shallow).weakest.factor


# --- ratings ----------------------------------------------------------------------------------------------------------


def test_the_sample_stands_the_pressure_with_nothing_to_add():
    assert chapter(sample()).faults == () and own_cautions(sample()) == ()
    assert all(wall.factor > 2 for wall in pressure(sample()).walls)


def test_a_housing_rated_for_less_than_the_deepest_point_is_one_sentence():
    sentence = only_fault(with_row("parts", "camera housing", rated_m=445.0))
    assert sentence.startswith('lander.parts "camera housing" rated_m is 445; the site may be 450 m deep')
    assert "5 m more" in sentence and "at least 450 m, better 495 m" in sentence


def test_a_housing_rated_for_just_the_deepest_point_is_a_caution():
    plan = with_row("parts", "camera housing", rated_m=450.0)
    (caution,) = own_cautions(plan)
    assert chapter(plan).faults == () and "less than 10 %" in caution and "495 m" in caution
    assert own_cautions(with_row("parts", "camera housing", rated_m=495.0)) == ()


def test_each_part_that_is_under_rated_is_told():
    plan = with_row("parts", "lamp", with_row("parts", "float", rated_m=100.0), rated_m=200.0)
    assert [sentence.split('"')[1] for sentence in chapter(plan).faults] == ["lamp", "float"]


def test_a_float_without_a_rating_is_told_and_feet_of_steel_are_not():
    (caution,) = own_cautions(with_row("parts", "float", rated_m=None))
    assert '"float" has no rated_m' in caution and "feet" not in caution


def test_a_lander_given_in_totals_alone_says_what_was_not_worked_out():
    plan = with_keys(lander__parts=(), lander__shells=())
    (caution,) = own_cautions(plan)
    assert "lander.parts and lander.shells are not given" in caution
    assert figure(plan, "lowest_factor") is None


# --- walls ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("name", "wall_mm"), [("controller tube", 2.0), ("camera tube", 1.0), ("camera dome", 3.0)])
def test_the_wall_that_is_offered_is_enough_and_a_tenth_less_is_not(name, wall_mm):
    sentence = only_fault(with_row("shells", name, wall_mm=wall_mm))
    assert sentence.startswith(f'lander.shells "{name}" wall_mm is {wall_mm:g}; ')
    offered_mm = float(re.search(r"at least ([\d.]+) mm", sentence)[1])
    assert chapter(with_row("shells", name, wall_mm=offered_mm)).faults == ()
    assert chapter(with_row("shells", name, wall_mm=offered_mm - 0.1)).faults != ()


def test_a_wall_of_a_material_too_weak_at_any_thickness_says_so():
    deep = with_keys(lander__parts=(), chamber__window_rated_m=None, site__depth_m=5000.0)
    soft = with_row("shells", "camera dome", deep, material="polyethylene")
    assert any('"camera dome"' in one and "no wall of this material is enough" in one for one in chapter(soft).faults)


def test_a_shell_under_its_makers_rating_is_not_told_twice():
    plan = with_row("shells", "camera tube", rated_m=300.0, wall_mm=1.0)
    assert only_fault(plan).startswith('lander.shells "camera tube" rated_m is 300')


def test_acrylic_with_little_to_spare_is_a_caution_where_metal_is_not():
    plan = with_row("shells", "camera dome", wall_mm=7.5)
    (caution,) = own_cautions(plan)
    wall = pressure(plan).weakest
    assert 2 < wall.factor < FRAIL_FACTOR and "acrylic" in caution
    metal = with_row("shells", "controller tube", wall_mm=4.5)
    assert 2 < pressure(metal).weakest.factor < FRAIL_FACTOR and own_cautions(metal) == ()


def test_a_dome_is_held_to_its_strength_in_compression_and_a_flat_window_in_tension():
    glass = with_row("shells", "camera dome", material="borosilicate_glass")
    flat = with_row("shells", "camera dome", glass, form="flat_window")
    strength_mpa = [plan_walls[-1].strength_mpa for plan_walls in (pressure(glass).walls, pressure(flat).walls)]
    material = MATERIALS["borosilicate_glass"]
    assert strength_mpa == [material.compressive_mpa, material.strength_mpa]


def test_the_edge_of_a_flat_window_counts():
    flat = with_row("shells", "camera dome", form="flat_window", wall_mm=30.0)
    clamped = with_row("shells", "camera dome", flat, edge="clamped")
    assert pressure(clamped).walls[-1].factor > pressure(flat).walls[-1].factor


def test_the_materials_that_break_are_those_the_handbook_calls_brittle():
    assert sorted(BRITTLE) == sorted(name for name in CHECKED if "brittle" in MATERIALS[name].note)


@settings(max_examples=25)
@given(st.sampled_from(["tube", "flat_window", "dome"]), st.sampled_from(CHECKED), st.floats(20, 500),
       st.floats(0.02, 0.4), st.floats(1.01, 1.2))
def test_a_thicker_wall_never_holds_less(form, material, diameter_mm, share, thicker):
    wall_mm = share * diameter_mm
    factors = []
    for own_mm in (wall_mm, thicker * wall_mm):
        shell = Shell(name="x", form=form, material=material, outer_diameter_mm=diameter_mm, wall_mm=own_mm,
                      length_mm=300.0)
        factors.append(pressure(with_keys(lander__shells=(shell,))).weakest.factor)
    assert factors[1] >= factors[0] * (1 - 1e-9)


# --- chamber ----------------------------------------------------------------------------------------------------------


def test_what_is_always_said_comes_first():
    assert "certify nothing" in chapter(sample()).dangers[0]
    assert "certifies nothing" in chapter(sample()).limits[0]


def test_the_chamber_test_goes_to_the_proof_pressure_as_often_as_planned_and_no_further():
    pressed_mpa = [row[3] for row in rows(sample(), "chamber")]
    assert max(pressed_mpa) == pytest.approx(1.25 * pressure(sample()).working_mpa)
    assert sum(mpa == max(pressed_mpa) for mpa in pressed_mpa) == sample().chamber.cycles


def test_the_windows_are_held_at_their_design_pressure_and_not_at_the_proof_of_the_hull():
    # ASME PVHO-1 as cited in the rules of Lloyd's Register: 1.0 times the design pressure, never above 1.5 times.
    (window,) = [row for row in rows(sample(), "chamber") if row[-1].startswith("Window test")]
    assert window[3] == pytest.approx(gauge_mpa(sample(), 500.0))


def test_a_proof_above_one_and_a_half_times_the_windows_design_is_a_fault_of_the_test():
    sentence = only_fault(with_keys(chamber__proof_factor=2.0))
    assert sentence.startswith("chamber.proof_factor is 2; it would press the windows with 9.08 MPa")
    most = float(re.search(r"set at most ([\d.]+)", sentence)[1])
    assert most == pytest.approx(1.5 * 500 / 450, rel=0.01)
    assert chapter(with_keys(chamber__proof_factor=most)).faults == ()
    assert not any(table.key == "chamber" for table in chapter(with_keys(chamber__proof_factor=2.0)).tables)


def test_a_proof_that_a_wall_does_not_bear_is_a_fault_of_the_test():
    weak = with_row("shells", "controller tube", with_keys(chamber__window_rated_m=None), wall_mm=4.5)
    sentence = only_fault(with_keys(weak, chamber__proof_factor=3.0))
    assert sentence.startswith('chamber.proof_factor is 3; it would press lander.shells "controller tube"')
    assert chapter(with_keys(weak, chamber__proof_factor=1.25)).faults == ()


def test_windows_designed_for_less_than_the_dive_are_told_once_and_not_tested():
    plan = with_keys(chamber__window_rated_m=400.0)
    assert only_fault(plan).startswith("chamber.window_rated_m is 400; ") and pressure(plan).steps == ()


def test_without_a_design_depth_of_the_windows_the_hull_is_tested_and_the_rest_told():
    plan = with_keys(chamber__window_rated_m=None)
    (caution,) = own_cautions(plan)
    assert caution.startswith("chamber.window_rated_m is not given") and pressure(plan).steps
    assert figure(plan, "window_design_mpa") is None


def test_a_test_that_asks_less_than_the_rules_is_a_caution():
    assert len(own_cautions(with_keys(chamber__proof_factor=1.1, chamber__cycles=1))) == 2


def test_the_line_of_the_chamber_picture_never_runs_back_in_time():
    series = chapter(sample()).series
    assert series["chamber_min"] == sorted(series["chamber_min"])
    assert len(series["chamber_min"]) == len(series["chamber_mpa"])
    assert series["chamber_mpa"][-1] == 0


# --- any plan ---------------------------------------------------------------------------------------------------------


def bound_of(field):
    return max(getattr(rule, "le", None) or 0 for rule in field.metadata)


def test_no_margin_asks_for_a_rating_that_the_plan_would_refuse():
    assert bound_of(Part.model_fields["rated_m"]) == bound_of(Shell.model_fields["rated_m"]) == DEEPEST_RATING_M
    plan = with_keys(site__depth_m=10950.0, lander__shells=())
    assert not any(re.search(r"better 12\d{3}[1-9]", sentence) for sentence in chapter(plan).faults)
    assert any("better 12000 m" in sentence for sentence in chapter(plan).faults)


@st.composite
def shell_in_range(draw):
    form = draw(st.sampled_from(["tube", "flat_window", "dome"]))
    diameter_mm = draw(st.floats(1, 5000))
    most_mm = 1000 if form == "flat_window" else max(0.1, min(1000, 0.499 * diameter_mm))
    return Shell(name="x", form=form, material=draw(st.sampled_from(CHECKED)), outer_diameter_mm=diameter_mm,
                 wall_mm=draw(st.floats(0.1, most_mm)), length_mm=draw(st.floats(1, 10000)),
                 edge=draw(st.sampled_from(["supported", "clamped"])), rated_m=draw(st.none() | st.floats(1, 12000)))


PART = st.builds(Part, name=st.just("p"), role=st.sampled_from(["body", "float", "ballast"]),
                 mass_kg=st.floats(0, 5000), volume_l=st.floats(0, 10000), rated_m=st.none() | st.floats(1, 12000))


@settings(max_examples=40)
@given(st.sampled_from([3.0, 430.0, 4000.0, 10950.0]), st.floats(0, 1000), st.floats(1, 3), st.integers(1, 100),
       st.floats(1, 1440), st.none() | st.floats(1, 12000), st.lists(shell_in_range(), max_size=2),
       st.lists(PART, max_size=2))
def test_the_chapter_of_any_plan_with_keys_in_range_comes_to_an_end(
        depth_m, margin_m, proof_factor, cycles, hold_min, window_m, walls, parts):
    plan = with_keys(
        site__depth_m=depth_m, site__depth_margin_m=margin_m, chamber__proof_factor=proof_factor,
        chamber__cycles=cycles, chamber__hold_min=hold_min, chamber__window_rated_m=window_m,
        lander__shells=tuple(walls), lander__parts=tuple(parts))
    told = chapter(plan).faults
    weak = [wall for wall in pressure(plan).walls if wall.factor < LEAST_FACTOR]
    assert len(told) >= len({wall.shell.name for wall in weak})
    assert bool(pressure(plan).steps) == (figure(plan, "chamber_h") is not None)
