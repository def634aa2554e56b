"""The lander part by part: what the parts add up to, and what is said of a part that is told badly."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from seatrial import plan as plans
from seatrial.plan.body import Part
from seatrial.plan.totals import totals_of

from .editing import SAMPLE, cut, edited, put, refusal

TOTALS_ONLY = """
[lander]
mass_kg = 31.0
volume_l = 16.8
compressibility_per_mpa = 4.0e-5
frontal_area_m2 = 0.22
drag_coefficient_down = 1.00
drag_coefficient_up = 1.05
added_mass_kg = 22.0
[lander.floats]
mass_kg = 10.0
volume_l = 27.5
compressibility_per_mpa = 1.5e-4
[lander.ballast]
mass_kg = 12.0
density_kg_m3 = 7850
"""


def without_parts() -> str:
    kept = []
    inside = False
    for line in SAMPLE.splitlines():
        if line.startswith("["):
            inside = line.startswith("[[lander.")
        if not inside:
            kept.append(line)
    return "\n".join(kept) + "\n"


def test_a_lander_may_be_told_by_its_totals_alone():
    plan = plans.parse(without_parts() + TOTALS_ONLY)
    assert plan.lander.mass_kg == 31.0
    assert plan.lander.parts == ()
    # by hand: 430 m at the steady rate of about 0.71 m/s, the sample of the first dives
    assert plans.descent_s(plan) == pytest.approx(602, abs=2)


def test_without_parts_and_without_totals_every_total_is_asked_for():
    sentences = refusal(without_parts())
    assert sentences == ["the section [lander] is missing; all of its keys are wanted: copy it from the sample plan,"
                         " sim/seatrial/sample.toml"]


def test_the_parts_of_the_sample_add_up_to_its_totals():
    lander = plans.load_sample().lander
    # by hand from the sample: 6 x 0.9 + 3 x 1.05 + 9.6 + 5.2 + 3 x 0.8 + 2.6 + 1.8 + 0.85 kg; four floats; two plates
    assert lander.mass_kg == pytest.approx(31.0)
    assert (lander.floats.mass_kg, lander.floats.volume_l) == (10.0, 27.5)
    assert lander.ballast.mass_kg == 12.0
    assert lander.ballast.density_kg_m3 == pytest.approx(7850)
    # aluminium 5.4 kg at 2700 and steel 3.15 kg at 7850 kg/m3, the rest as given
    assert lander.volume_l == pytest.approx(5.4 / 2.7 + 3.15 / 7.85 + 6.4 + 4.9 + 0.9 + 0.7 + 1.2 + 0.35)


def test_the_drag_of_the_sample_is_that_of_its_parts_standing_free():
    lander = plans.load_sample().lander
    # frontal areas by hand: tubes 6 x 0.025 x 0.5, housing 0.108 x 0.7, camera pi/4 0.12^2, floats 4 pi/4 0.236^2
    area_m2 = 0.075 + 0.0756 + math.pi / 4 * 0.12**2 + math.pi * 0.236**2
    assert lander.frontal_area_m2 == pytest.approx(area_m2)
    # two ballast plates of 0.14 m, 1.17 (the Aeronautical Engineer's Data Book), are in the flow on the way down only
    plates_m2 = 2 * 0.14**2 * 1.17
    extra_m2 = (lander.drag_coefficient_down - lander.drag_coefficient_up) * lander.frontal_area_m2
    assert extra_m2 == pytest.approx(plates_m2, rel=0.02)  # the coefficients differ a little with the speed


def test_a_total_that_was_weighed_wins_over_the_parts():
    plan = plans.parse(edited(lander__mass_kg="32.5"))
    assert plan.lander.mass_kg == 32.5
    assert plan.lander.floats.mass_kg == 10.0


def test_a_total_in_a_sentence_says_whether_it_was_given_or_summed():
    given_total = refusal(edited(lander__ballast__mass_kg="3"))
    assert given_total[0].startswith("lander.ballast.mass_kg is 3;")
    summed = refusal(put(SAMPLE, "lander.parts.mass_kg", "1.5", row=10))
    assert summed[0].startswith("lander.ballast.mass_kg, summed over lander.parts, is 3;")


@pytest.mark.parametrize(("row", "key", "literal", "parts"), [
    (1, "volume_l", "2.0", ["lander.parts[row 1] needs two of mass_kg, volume_l and its density"]),
    (3, "material", '"steel"', ["lander.parts[row 3] needs two of"]),
    (1, "density_kg_m3", "2700", ["lander.parts[row 1] needs two of"]),
    (1, "material", '"aluminum"', ['lander.parts[row 1].material is "aluminum"', 'did you mean "aluminium"?',
                                  "density_kg_m3"]),
    (1, "material", "7", ["lander.parts[row 1].material is 7", "text"]),
    (1, "role", '"balast"', ['lander.parts[row 1].role is "balast"', 'did you mean "ballast"?']),
    (1, "shape", '"ball"', ['lander.parts[row 1].shape is "ball"', '"sphere"']),
    (1, "count", "0", ["lander.parts[row 1].count is 0", "1 to 1000"]),
    (1, "drag_coefficient", "1.1", ["lander.parts[row 1] has half of its drag"]),
    (5, "shape", '"sphere"', ["lander.parts[row 5] has half of its drag"]),
    (5, "width_m", "0.1", ["lander.parts[row 5] has half of its drag"]),
    (5, "frontal_area_m2", "0.1", ["lander.parts[row 5] has half of its drag"]),
    (5, "mas_kg", "0.8", ["lander.parts[row 5].mas_kg is not a key of the plan", "mass_kg"]),
])
def test_a_part_that_is_told_badly_is_one_sentence(row, key, literal, parts):
    sentences = refusal(put(SAMPLE, f"lander.parts.{key}", literal, row))
    assert len(sentences) == 1, sentences
    assert [part for part in parts if part not in sentences[0]] == []


def test_a_long_shape_without_its_length_is_one_sentence():
    sentences = refusal(cut(SAMPLE, "lander.parts.length_m"))
    assert len(sentences) == 1
    assert "lander.parts[row 1] has half of its drag" in sentences[0]


@pytest.mark.parametrize(("key", "literal", "parts"), [
    ("material", '"brick"', ['lander.shells[row 1].material is "brick"', "aluminium"]),
    ("wall_mm", "54", ["lander.shells[row 1].wall_mm is at least half of outer_diameter_mm"]),
    ("form", '"cone"', ['lander.shells[row 1].form is "cone"', '"tube" or "flat_window" or "dome"']),
])
def test_a_shell_that_is_told_badly_is_one_sentence(key, literal, parts):
    sentences = refusal(put(SAMPLE, f"lander.shells.{key}", literal))
    assert len(sentences) == 1, sentences
    assert [part for part in parts if part not in sentences[0]] == []


def test_a_tube_without_its_length_is_one_sentence():
    sentences = refusal(cut(SAMPLE, "lander.shells.length_mm"))
    assert len(sentences) == 1
    assert "lander.shells[row 1].length_mm is missing" in sentences[0]


@given(st.floats(0.01, 500), st.floats(25, 20000))
def test_mass_volume_and_density_of_a_part_agree_whichever_two_are_given(mass_kg, density_kg_m3):
    volume_l = 1000 * mass_kg / density_kg_m3
    if not 0.001 <= volume_l <= 10000:
        return
    ways = (Part(name="x", role="body", mass_kg=mass_kg, density_kg_m3=density_kg_m3),
            Part(name="x", role="body", volume_l=volume_l, density_kg_m3=density_kg_m3),
            Part(name="x", role="body", mass_kg=mass_kg, volume_l=volume_l))
    for way in ways:
        assert way.own_mass_kg == pytest.approx(mass_kg)
        assert way.own_volume_l == pytest.approx(volume_l)
        assert way.own_density_kg_m3 == pytest.approx(density_kg_m3)


@given(st.integers(1, 6))
def test_a_count_is_as_many_parts_alone(count):
    alike = {"name": "x", "role": "body", "mass_kg": 1.0, "volume_l": 2.0, "shape": "sphere", "width_m": 0.2}
    together, alone = totals_of([Part(count=count, **alike)]), totals_of([Part(**alike)] * count)
    for key in ("mass_kg", "volume_l", "frontal_area_m2", "drag_coefficient_down", "added_mass_kg"):
        assert together[key] == pytest.approx(alone[key])
