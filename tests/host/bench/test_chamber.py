"""The sequence `chamber` takes its pressures and holds from the plan; without one it keeps those of its file.

Pressures are held against TEOS-10 by `gsw`, at the depth and latitude of the plan.
"""

import gsw
import pytest

from seatrial.plan import load_sample
from seatrial.plan.changing import changed
from seatrial.plan.sample import sample_text
from seatrial.practice import PracticeBoard
from tumblehome.bench.chamber import steps_by
from tumblehome.bench.link import open_link
from tumblehome.bench.people import AtPractice
from tumblehome.bench.rigs import BoardRig
from tumblehome.bench.running import FAILED, PASSED, Outcome, run
from tumblehome.bench.sequence import Ask, Expect, Limits, Note, Person, SequenceError, load
from tumblehome.cli import main

SAMPLE = load_sample()
SPEED = 100.0
PATIENCE_S = 30.0
QUICK = {"cycles": 1, "hold_min": 1.0, "window_rated_m": None}


def plan_with(**chamber):
    return changed(SAMPLE, {"chamber." + key: value for key, value in chamber.items()})


def raised_mbar(steps) -> list[int]:
    """The pressures that somebody raises it to, in order, absolute."""
    return [step.touch["pressure_mbar"] for step in steps if isinstance(step, Person) and "Go to" in step.person]


def holds(steps) -> list[tuple[int, float]]:
    """Pressures that are held by the lander's own sensor, and for how long, s."""
    return [(step.expect["pressure_mbar"].about, step.for_s) for step in steps if isinstance(step, Expect)
            and isinstance(step.expect.get("pressure_mbar"), Limits) and step.expect["pressure_mbar"].steady]


@pytest.mark.parametrize(("factor", "cycles", "hold_min"), [(1.25, 2, 60.0), (1.3, 3, 90.0), (1.0, 1, 5.0)])
def test_the_proof_is_held_as_often_and_as_long_as_the_plan_says(factor, cycles, hold_min):
    steps = steps_by(plan_with(proof_factor=factor, cycles=cycles, hold_min=hold_min, window_rated_m=None))
    site = SAMPLE.site
    deepest_m = site.depth_m + site.depth_margin_m
    proof_mbar = 1013.25 + factor * 100.0 * gsw.p_from_z(-deepest_m, site.latitude_deg)
    proofs = [(mbar, for_s) for mbar, for_s in holds(steps) if mbar == pytest.approx(proof_mbar, rel=0.01)]
    assert [for_s for _mbar, for_s in proofs][-cycles:] == [60.0 * hold_min] * cycles
    assert max(raised_mbar(steps)) == pytest.approx(proof_mbar, rel=0.01)


def test_after_each_time_under_pressure_somebody_looks_inside_and_closes_it_anew():
    steps = steps_by(plan_with(cycles=3, window_rated_m=None))
    looks = [at for at, step in enumerate(steps) if isinstance(step, Ask) and "Is it dry" in step.ask]
    assert len(looks) == 1 + 3 and looks[-1] == len(steps) - 1
    for at in looks[:-1]:
        assert isinstance(steps[at + 1], Ask) and "does the operator say go" in steps[at + 1].ask


def test_the_leak_probe_must_be_dry_at_every_look():
    assert all(step.expect["leak_wet"] == 0 and step.expect["leak_ok"] == 1
               for step in steps_by(SAMPLE) if isinstance(step, Expect))


def test_a_sensor_that_ends_before_the_proof_leaves_the_pressure_to_the_gauge():
    steps = steps_by(plan_with(proof_factor=1.4, window_rated_m=None))
    assert max(raised_mbar(steps)) > max(mbar for mbar, _for_s in holds(steps)) + 10000
    assert any(isinstance(step, Note) and "gauge alone tells the pressure" in step.note for step in steps)


def test_a_window_that_is_tested_alone_is_no_step_of_the_lander():
    deep_m = 2.0 * (SAMPLE.site.depth_m + SAMPLE.site.depth_margin_m)
    steps = steps_by(plan_with(window_rated_m=deep_m))
    assert max(raised_mbar(steps)) == max(raised_mbar(steps_by(plan_with(window_rated_m=None))))
    assert any(isinstance(step, Note) and "alone in a test flange" in step.note for step in steps)


def test_a_housing_that_must_not_see_its_proof_is_refused_in_a_sentence():
    plan = plan_with(proof_factor=3.0)
    with pytest.raises(SequenceError, match="must not see the proof pressure of 13.6"):
        steps_by(plan)


def on_practice(steps, wrong: tuple[str, ...] = ()) -> Outcome:
    sequence = load("chamber").model_copy(update={"steps": steps})
    with PracticeBoard(wrong=wrong, speed=SPEED) as board, open_link(board.url, PATIENCE_S) as link:
        nobody = AtPractice(board)
        return run(sequence, BoardRig(link, nobody, SAMPLE, nobody))


@pytest.mark.long
def test_a_pressure_sensor_that_stands_still_fails_at_the_first_pressure(patient):
    outcome = on_practice(steps_by(plan_with(**QUICK)), ("pressure-frozen",))
    assert outcome.outcome == FAILED and "pressure_mbar is " in outcome.reason
    assert "Low-pressure leak check" in outcome.steps[outcome.done - 1].what


@pytest.mark.long
def test_a_sound_lander_passes_the_test_of_its_plan(patient):
    outcome = on_practice(steps_by(plan_with(**QUICK)))
    assert outcome.outcome == PASSED, outcome.reason


class Seen(Exception):
    """The steps were looked at, and nothing was begun."""


def test_the_command_takes_the_steps_of_a_plan_that_is_given_and_else_those_of_its_file(monkeypatch, tmp_path):
    taken = []

    def look(sequence, *_rest):
        taken.append(sequence.steps)
        raise Seen
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("tumblehome.bench.run._rig", look)
    (tmp_path / "mine.toml").write_text(sample_text().replace("cycles = 2\n", "cycles = 5\n"), encoding="utf-8")
    for words in ([], ["--plan", "mine.toml"]):
        with pytest.raises(Seen):
            main(["bench", "run", "chamber", "--port", "practice", *words])
    fixed, planned = taken
    assert fixed == load("chamber").steps
    assert planned == steps_by(plan_with(cycles=5)) and planned != fixed
