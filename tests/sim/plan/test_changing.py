"""A plan with other numbers is checked like a plan from a file. No outside source: the plan is ours."""

import pytest

from seatrial.plan import PlanError, load_sample, parse, sample_text
from seatrial.plan.changing import changed

SAMPLE = load_sample()


def test_the_changed_plan_is_the_one_that_the_file_would_have_given():
    written = parse(sample_text().replace("timed_release_min = 300", "timed_release_min = 200"))
    variant = changed(SAMPLE, {"times.timed_release_min": 200})
    assert variant.model_dump() == written.model_dump()
    assert variant.mission_record() == written.mission_record() != SAMPLE.mission_record()


def test_nothing_changed_is_the_plan_itself():
    assert changed(SAMPLE, {}) is SAMPLE


def test_a_whole_section_can_be_changed():
    variant = changed(SAMPLE, {"release.primary": SAMPLE.release.backup.model_dump()})
    assert variant.release.primary == SAMPLE.release.backup
    assert SAMPLE.release.primary.kind == "wire"


def test_the_changes_stand_before_the_text_of_the_plan():
    first, second = changed(SAMPLE, {"site.depth_m": 300.0, "camera.feedback": "none"}).source_text.splitlines()[:2]
    assert (first, second) == ("# changed: site.depth_m = 300.0", "# changed: camera.feedback = 'none'")


@pytest.mark.parametrize(("changes", "said"), [
    ({"times.timed_release_mins": 200}, "times.timed_release_min"),
    ({"tides.high_m": 2}, "tides"),
    ({"site.depth_m": "deep"}, "site.depth_m"),
    ({"times.timed_release_min": 400}, "times.latest_release_min"),
    ({"site.depth_m": -3}, "site.depth_m"),
    ({"site.depth_m.more": 3}, "the plan has no section depth_m"),
])
def test_a_change_that_no_plan_allows_is_told(changes, said):
    with pytest.raises(PlanError) as told:
        changed(SAMPLE, changes)
    assert any(said in sentence for sentence in told.value.sentences)
