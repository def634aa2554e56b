"""The chamber test as a list of steps: it hangs together, looks for water, and keeps the window under its cap.

What the rules say is checked in tests/published/test_chamber.py.
"""

import math

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from seatrial.handbook import chamber
from seatrial.handbook.chamber import advice, protocol

workings = st.floats(0.2, 60.0)
factors = st.floats(1.0, 2.0)
turns = st.integers(1, 5)
holds = st.floats(1.0, 300.0)


@settings(max_examples=60, deadline=None)
@given(workings, factors, turns, holds, st.none() | st.floats(1.0, 2.3))
def test_every_step_starts_where_and_when_the_last_one_ended(working, factor, cycles, hold_min, window_share):
    window = None if window_share is None else max(window_share, factor / 1.5) * working
    assume(window is None or window <= chamber.WINDOW_CAP_MPA)
    steps = protocol(working, factor, cycles, hold_min, window)
    assert (steps[0].time_min, steps[0].from_mpa) == (0.0, 0.0)
    for last, step in zip(steps, steps[1:], strict=False):
        assert step.from_mpa == last.to_mpa
        way_min = abs(last.to_mpa - last.from_mpa) / chamber.RATE_MPA_PER_MIN
        assert step.time_min == pytest.approx(last.time_min + way_min + last.hold_min)
    assert steps[-1].to_mpa == 0.0
    on_the_housing = [step for step in steps if "alone" not in step.words]
    assert max(step.to_mpa for step in on_the_housing) == pytest.approx(factor * working)
    if window is not None:
        assert max(step.to_mpa for step in steps) <= chamber.window_cap_mpa(window) * (1.0 + 1e-9)


@pytest.mark.parametrize("cycles", [1, 2, 4])
def test_the_proof_pressure_is_held_once_a_cycle_and_each_time_someone_looks_for_water(cycles):
    steps = protocol(5.0, 1.25, cycles, 45.0)
    proofs = [at for at, step in enumerate(steps) if step.to_mpa == 6.25]
    assert len(proofs) == cycles
    for at in proofs:
        assert steps[at].hold_min == 45.0
        assert steps[at + 1].to_mpa == 0.0
        assert "look for water" in steps[at + 1].words


def test_before_anything_high_comes_a_low_pressure_leak_check_and_a_look_inside():
    steps = protocol(5.0, 1.25, 2, 60.0)
    assert 0.0 < steps[0].to_mpa <= 0.1
    assert "leak" in steps[0].words
    assert steps[1].to_mpa == 0.0
    assert max(step.to_mpa for step in protocol(0.2, 1.25, 2, 60.0)[:2]) < 0.1, "a shallow housing starts lower still"


def test_the_working_pressure_is_held_on_the_first_way_up():
    pressures = [step.to_mpa for step in protocol(5.0, 1.25, 2, 60.0)]
    assert pressures == [0.1, 0.0, 2.5, 5.0, 6.25, 0.0, 6.25, 0.0]


def test_a_window_designed_for_more_than_the_proof_is_tested_alone_and_the_hull_is_spared():
    steps = protocol(4.0, 1.25, 2, 60.0, 10.0)
    above = [step for step in steps if step.to_mpa > 5.0]
    assert [step.to_mpa for step in above] == [10.0]
    assert "alone in a test flange" in above[0].words


def test_without_a_window_nothing_is_said_of_windows():
    assert not any("indow" in step.words for step in protocol(5.0, 1.25, 2, 60.0))


def test_a_factor_that_the_refusal_offers_is_accepted():
    with pytest.raises(ValueError, match="at most 1.72") as refused:
        protocol(4.4, 2.0, 2, 60.0, 5.05)
    assert "proof_factor is 2.00" in str(refused.value)
    assert "8.80 MPa" in str(refused.value)
    assert protocol(4.4, 1.72, 2, 60.0, 5.05)
    with pytest.raises(ValueError, match="at most 1.72"):
        protocol(4.4, 1.73, 2, 60.0, 5.05)


def test_a_window_designed_for_less_than_the_working_pressure_is_refused():
    with pytest.raises(ValueError, match="designed for 4.00 MPa and the working pressure is 4.40 MPa"):
        protocol(4.4, 1.0, 2, 60.0, 4.0)


@pytest.mark.parametrize(("name", "value"), [
    ("working_mpa", 0.0), ("working_mpa", math.nan), ("hold_min", -1.0), ("hold_min", math.inf),
    ("proof_factor", 0.9), ("proof_factor", math.nan), ("cycles", 0), ("cycles", 1.5),
    ("window_design_mpa", 0.0), ("window_design_mpa", 500.0),
])
def test_an_impossible_number_is_refused_by_name(name, value):
    asked = {"working_mpa": 5.0, "proof_factor": 1.25, "cycles": 2, "hold_min": 60.0, "window_design_mpa": 6.0}
    with pytest.raises(ValueError, match="^%s is " % name):
        protocol(**{**asked, name: value})


def test_a_test_as_the_rules_ask_draws_no_advice_and_a_weaker_one_says_what_it_lacks():
    assert advice(5.0, 1.25, 2) == ()
    weak = advice(5.0, 1.1, 1)
    assert len(weak) == 2
    assert "1.10 is below the 1.25" in weak[0]


def test_the_caution_names_what_hurts_people():
    said = " ".join(chamber.CAUTION)
    told = ("certify nothing", "without warning", "stand clear", "never with air or any gas", "lithium", "operator")
    for word in told:
        assert word in said


@given(st.floats(0.01, 60.0), st.floats(0.1, 50.0))
def test_gas_does_the_work_of_boyles_law(gauge_mpa, volume_l):
    """The integral of p dV with p V constant, by `scipy.integrate.quad`."""
    start_pa, start_m3 = gauge_mpa * 1e6 + 101325.0, volume_l / 1000.0
    work_j, _doubt = quad(lambda part: start_pa * start_m3 / part, 1.0, start_pa / 101325.0)
    assert chamber.gas_work_j(gauge_mpa, volume_l) == pytest.approx(work_j, rel=1e-6)


def test_a_cap_bears_the_pressure_times_its_area():
    assert chamber.cap_load_n(10.0, 100.0) == pytest.approx(78540.0, rel=1e-4)  # 10 N/mm2 on 7854 mm2
