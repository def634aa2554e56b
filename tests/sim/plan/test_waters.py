"""Where the water of a plan comes from: rows, measured casts beside the plan file, or the standard profile."""

import pytest

from seatrial import plan as plans
from seatrial.plan import PlanError

from .editing import SAMPLE, put, without_section

NO_WATER = without_section("[[site.water]]")
CAST = """depth_m,temperature_c,salinity_psu
0,15.0,35.5
50,13.0,35.5
100,12.0,xx
200,11.0,35.4
300,10.5,35.4
400,10.0,35.3
440,9.9,35.3
"""


@pytest.fixture
def beside(tmp_path):
    """Writes a plan and a cast into one folder and returns the path of the plan."""

    def write(plan_text: str, cast_text: str | None = CAST):
        if cast_text is not None:
            (tmp_path / "cast.csv").write_text(cast_text, encoding="utf-8")
        (tmp_path / "plan.toml").write_text(plan_text, encoding="utf-8")
        return tmp_path / "plan.toml"

    return write


def sentences_of(path) -> list[str]:
    with pytest.raises(PlanError) as caught:
        plans.load(path)
    return caught.value.sentences


def test_without_rows_and_casts_the_standard_profile_is_used_and_told():
    plan = plans.parse(NO_WATER)
    assert len(plan.site.water) > 5
    assert len(plan.notes) == 1
    assert "site.water is left out: a standard profile for latitude 46.1 deg" in plan.notes[0]


def test_rows_of_the_file_leave_no_note():
    assert plans.load_sample().notes == ()


def test_a_cast_is_looked_for_beside_the_plan_and_its_bad_row_is_told_by_line(beside):
    plan = plans.load(beside(put(NO_WATER, "site.cast", '"cast.csv"')))
    assert [row.depth_m for row in plan.site.water] == [0, 50, 200, 300, 400, 440]
    assert any("line 4" in note and "xx" in note for note in plan.notes)
    assert all(note.startswith("site.cast: ") for note in plan.notes)


def test_the_cast_is_the_water_that_is_dived_in(beside):
    warm = plans.load(beside(put(NO_WATER, "site.cast", '"cast.csv"')))
    assert plans.water_of(warm.site).temperature_at(50) == pytest.approx(13.0)


def test_a_cast_beside_rows_is_refused(beside):
    assert sentences_of(beside(put(SAMPLE, "site.cast", '"cast.csv"'))) == [
        'site.cast is "cast.csv" and [[site.water]] is there too: keep one of them']


def test_a_cast_that_is_not_there_is_one_sentence(beside):
    sentence, = sentences_of(beside(put(NO_WATER, "site.cast", '"cast.csv"'), None))
    assert sentence.startswith("site.cast: ")
    assert "cast.csv" in sentence


def test_currents_of_a_cast_serve_when_the_plan_has_none(beside):
    text = put(without_section("[[site.current]]"), "site.cast", '"cast.csv"')
    text = "".join(text.split("[[site.water]]")[0]) + "[[lander.parts]]" + text.split("[[lander.parts]]", 1)[1]
    cast = "depth_m,temperature_c,salinity_psu,speed_m_s,toward_deg\n0,15,35.5,0.4,90\n200,11,35.4,0.2,80\n430,10,35,0.1,70\n"
    plan = plans.load(beside(text, cast))
    assert plan.site.current[0].speed_m_s == pytest.approx(0.4)


@pytest.mark.parametrize("key", ["latitude_deg", "depth_m"])
def test_a_bad_site_without_water_is_told_by_its_own_key_alone(key):
    with pytest.raises(PlanError) as caught:
        plans.parse(put(NO_WATER, f"site.{key}", '"deep"'))
    sentence, = caught.value.sentences
    assert sentence.startswith(f"site.{key} is the text")


# --- the link that corrodes in it ----------------------------------------------------------------------------------


def test_a_link_soaked_in_warmer_water_may_hold_longer_here_by_bounds_and_not_by_a_law():
    # 20 -> 4 degC: the conductivity of the sea falls to 0.679 (PSS-78 by gsw), a reaction that doubles with 10 degC to
    # 0.330: a link that held 30 to 72 h may hold 30 / 0.679 to 72 / 0.330 h
    text = SAMPLE
    for row in (1, 2, 3, 4):
        text = put(put(text, "site.water.temperature_c", "4.0", row), "site.water.salinity_psu", "35.0", row)
    passive = plans.draft(put(text, "release.passive.soaked_c", "20")).release.passive
    assert passive.earliest_h == pytest.approx(30 / 0.679, rel=2e-3)
    assert passive.latest_h == pytest.approx(72 / 0.330, rel=2e-3)


def test_the_bounds_of_the_link_are_told_and_serve_everywhere():
    plan = plans.draft(put(SAMPLE, "release.passive.soaked_c", "25"))
    note, = plan.notes
    assert note.startswith("release.passive: soaked 30 to 72 h at 25 degC, it may hold ")
    assert "bounds" in note
    assert plan.release.passive.earliest_h > 30 and plan.release.passive.latest_h > 72


def test_a_link_soaked_in_colder_water_may_let_go_too_early():
    with pytest.raises(PlanError) as caught:
        plans.parse(put(put(SAMPLE, "release.passive.earliest_h", "6.1"), "release.passive.soaked_c", "0"))
    sentence, = caught.value.sentences
    assert "the link may let go before it" in sentence


def test_without_a_soak_the_range_stands_as_it_was_given():
    passive = plans.load_sample().release.passive
    assert (passive.earliest_h, passive.latest_h) == (30, 72)


def test_of_a_link_in_fresh_water_nothing_is_known():
    text = put(SAMPLE, "release.passive.soaked_c", "15")
    for row in (1, 2, 3, 4):
        text = put(text, "site.water.salinity_psu", "0.3", row)
    plan = plans.draft(text)
    assert (plan.release.passive.earliest_h, plan.release.passive.latest_h) == (30, 72)
    assert "nothing is known of a corroding link" in plan.notes[0]
