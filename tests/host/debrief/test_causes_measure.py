"""The measure of the causes: what counts as right, and what is shown beside, on dives whose fault is known."""

import pytest

from seatrial.plan import Plan, load_sample
from seatrial.plan.changing import changed
from tumblehome.debrief.causes import measure

BRISK = {"times.timed_release_min": 70.0, "times.latest_release_min": 100.0, "dive.watch_after_surfacing_min": 60.0}


@pytest.fixture(scope="module")
def plan() -> Plan:
    return changed(load_sample(), BRISK)


@pytest.fixture(scope="module")
def sound(plan) -> bytes:
    return measure.flown(plan, (), 3)[0]


@pytest.mark.parametrize(("fault", "word"), [
    ("pressure-gone@record+9min", measure.RIGHT),
    ("leak@record+9min", measure.GROUP),
    ("radio-dead@splash", measure.NO_TRACE_HERE),
    ("jammed@afloat", measure.NO_EFFECT),
    ("power-gone@afloat+30min", measure.TAKEN_OUT),
    ("flash-refuses", measure.NO_JOURNAL),
    ("jammed@backup", measure.NEVER_BEGAN),
])
def test_a_dive_is_judged_by_the_first_finding_or_told_why_it_says_nothing(plan, sound, fault, word):
    image, began = measure.flown(plan, (fault,), 3)
    assert measure.judged(plan, fault, image, began, sound).word == word


def test_a_finding_that_does_not_name_the_fault_is_wrong_and_confidently_so_where_it_is_established(plan, sound):
    image, began = measure.flown(plan, ("pressure-gone@record+9min",), 3)
    one = measure.judged(plan, "jammed@record+9min", image, began, sound)
    assert one.word == measure.WRONG and one.confidently_wrong


def test_the_table_counts_only_what_left_a_trace(plan):
    results = list(measure.measured(plan, 3, ["leak@record+9min", "radio-dead@splash", "jammed@afloat"]))
    lines = measure.printed(results)
    assert [one.first_named for one in results] == [True, False, False]  # leak before leak-false
    assert any("of 1 dives whose fault left a trace: right 0.0 %, right or right group 100.0 %, first named 100.0 %"
               in line for line in lines)
    assert lines[-1] == "no trace: radio-dead: the controller never hears whether a report got through"


def test_the_faults_flown_are_those_of_the_campaign_at_the_phases_asked_for(plan):
    assert measure.chosen(plan, ("jammed",), ("splash", "freed"), False) == ["jammed@splash", "jammed@freed"]
    assert "jammed:channel=both@splash" in measure.chosen(plan, ("jammed",), ("splash",), True)
    assert measure.chosen(plan, ("jammed",), ("record+9min",), False) == ["jammed@record+540s"]
    groups = measure.chosen(plan, ("site and people",), ("splash",), False)
    assert "deeper" in groups and "hauled-back@splash" in groups


def test_the_command_prints_its_table(capsys):
    assert measure.main(["--only", "pressure-gone", "--onsets", "bottom"]) == 0
    told = capsys.readouterr().out
    assert "right 100.0 %" in told and "confidently wrong 0" in told


@pytest.mark.parametrize(("words", "said"), [
    (("--only", "jamed"), "did you mean jammed?"),
    (("--only", "jamed", "--onsets", "record+20min"), "did you mean jammed?"),
    (("--onsets", "lunch"), "onset 'lunch' is not understood"),
])
def test_a_word_that_names_nothing_is_refused_before_any_dive(words, said, capsys):
    with pytest.raises(SystemExit) as ended:
        measure.main(words)
    assert ended.value.code == 2 and said in capsys.readouterr().err
