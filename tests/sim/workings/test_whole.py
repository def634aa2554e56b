"""All chapters together: whatever a plan says, each tells something; one mistake is one sentence."""

import json
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seatrial import plan as plans
from seatrial.plan import PlanError
from seatrial.plan.checks import faults_of
from seatrial.workings.whole import CHAPTERS, work_out

from ..plan.editing import NUMERIC_KEYS, SAMPLE, put
from .plans_for_tests import sample

KEYS = ("times", "weights", "motion", "drift", "supply", "warmth", "light", "pressure", "column")


@st.composite
def drafts(draw):
    """The sample with up to four keys anywhere in their single range, the ends of it often."""
    text = SAMPLE
    for path, whole, lowest, highest in draw(st.lists(st.sampled_from(NUMERIC_KEYS), min_size=1, max_size=4)):
        ends = st.sampled_from([lowest, highest] if whole else [float(lowest), float(highest)])
        value = draw(ends | (st.integers(lowest, highest) if whole else st.floats(lowest, highest)))
        text = put(text, path, repr(value))
    return text


@given(text=drafts())
@settings(max_examples=40, deadline=None)
def test_any_draft_is_worked_out_or_told_what_is_wrong_with_its_keys(text):
    try:
        plan = plans.draft(text)
    except PlanError as error:
        assert error.sentences
        return
    worked = work_out(plan)
    for sentence in (*worked.faults, *worked.cautions):
        assert sentence and "\n" not in sentence and "nan" not in sentence.split() and "inf" not in sentence.split()
    for chapter in worked.chapters:
        assert chapter.figures
        for table in chapter.tables:
            assert all(len(row) == len(table.columns) for row in table.rows), table.key
        for name, values in chapter.series.items():
            assert not any(isinstance(value, float) and math.isnan(value) for value in values), name


def test_the_chapters_come_in_the_order_in_which_a_person_asks():
    assert tuple(chapter.key for chapter in work_out(sample()).chapters) == KEYS
    assert len(CHAPTERS) == len(KEYS)


def test_the_sample_adds_up():
    worked = work_out(sample())
    assert worked.adds_up and worked.faults == ()


def test_the_keys_of_a_chapter_are_its_own_and_told_once():
    for chapter in work_out(sample()).chapters:
        for names in ([figure.key for figure in chapter.figures], [table.key for table in chapter.tables]):
            assert len(names) == len(set(names)), chapter.key


def test_a_chapter_that_is_not_there_is_a_key_error():
    with pytest.raises(KeyError):
        work_out(sample()).chapter("weather")


def test_what_the_checks_refuse_stands_among_the_faults():
    plan = plans.draft(put(SAMPLE, "sensors.pressure.range_m", "440"))
    assert work_out(plan).faults == tuple(faults_of(plan))


def test_a_plan_worked_out_twice_is_the_same():
    told = [json.dumps([[figure.key, str(figure.value)] for chapter in work_out(sample()).chapters
                        for figure in chapter.figures]) for _ in range(2)]
    assert told[0] == told[1]


def test_every_number_of_a_figure_carries_its_unit_in_its_key_or_is_a_count():
    units = {"": ("", "_utc"), "m": ("_m",), "s": ("_s",), "kg": ("_kg",), "N": ("_n",), "mAh": ("_mah",),
             "degC": ("_c",), "MPa": ("_mpa",), "%": ("_pct",), "mV": ("_mv",), "lx": ("_lx",)}
    for chapter in work_out(sample()).chapters:
        for figure in chapter.figures:
            endings = units.get(figure.unit)
            if endings and figure.unit:
                assert figure.key.endswith(endings), (chapter.key, figure.key, figure.unit)
