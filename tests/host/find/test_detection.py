"""Coverage, detection and effort: what cannot be is refused, and the best search is the best."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import minimize

from tumblehome.find.detection import (
    INVERSE_CUBE,
    RANDOM,
    best_on_cells,
    best_on_normal,
    coverage,
    coverage_for,
    detection,
    effort_on_normal,
    spacing_m,
)


@given(st.floats(0, 20))
def test_a_search_at_random_never_promises_more_than_ideal_tracks(covered):
    assert detection(covered) <= detection(covered, INVERSE_CUBE) + 1e-12
    assert detection(covered) == detection(covered, RANDOM)


@given(st.floats(0, 0.999), st.sampled_from([RANDOM, INVERSE_CUBE]))
def test_the_coverage_for_a_wish_gives_what_was_wished(wanted, law):
    assert detection(coverage_for(wanted, law), law) == pytest.approx(wanted, abs=1e-12)


def test_a_square_mile_swept_over_a_square_mile_is_a_coverage_of_one():
    assert coverage(1852.0, 1852.0, 1852.0**2) == 1.0


@given(st.lists(st.floats(0.0, 1.0), min_size=3, max_size=3).filter(lambda row: sum(row) > 0.1), st.floats(0.05, 8))
def test_no_other_way_of_laying_effort_over_three_cells_finds_more(chances, effort):
    # against SciPy's constrained minimizer (SLSQP), which knows nothing of Koopman's rule
    row = np.array(chances) / sum(chances)
    laid, success = best_on_cells(row, 1.0, effort)
    assert laid.sum() == pytest.approx(effort, rel=1e-9)
    assert (laid >= 0).all()
    other = minimize(lambda z: float(np.sum(row * np.exp(-z))), np.full(3, effort / 3), bounds=[(0, None)] * 3,
                     constraints={"type": "eq", "fun": lambda z: z.sum() - effort}, method="SLSQP")
    assert success >= 1 - other.fun - 1e-6
    assert success == pytest.approx(float(np.sum(row * (1 - np.exp(-laid)))), abs=1e-12)


def test_effort_lies_where_the_cells_lie():
    chances = np.array([[0.0, 0.1], [0.7, 0.2]])
    laid, _success = best_on_cells(chances, 1.0, 0.5)
    assert laid == pytest.approx(np.array([[0.0, 0.0], [0.5, 0.0]]))


@pytest.mark.parametrize("wrong", [
    lambda: coverage(0, 1, 1), lambda: coverage(1, -1, 1), lambda: coverage(1, 1, float("nan")), lambda: detection(-0.1),
    lambda: detection(float("nan")), lambda: detection(1, "cube"), lambda: coverage_for(1.0), lambda: coverage_for(-0.1),
    lambda: coverage_for(0.5, "cube"), lambda: spacing_m(500, 0.0), lambda: spacing_m(0, 0.5),
    lambda: best_on_normal(0, 1, 1),
    lambda: best_on_cells(np.zeros(3), 1, 1), lambda: best_on_cells(np.array([0.5, -0.1]), 1, 1), lambda: best_on_cells(np.ones(2), 1, 0),
])
def test_numbers_that_cannot_be_are_refused_in_one_sentence(wrong):
    with pytest.raises(ValueError, match="allowed|correct"):
        wrong()


def test_the_effort_for_a_share_of_a_normal_is_that_with_which_the_best_search_finds_so_much():
    for wanted in (0.1, 0.5, 0.9):
        assert best_on_normal(effort_on_normal(wanted, 800.0, 300.0), 800.0, 300.0)[1] == pytest.approx(wanted, rel=1e-9)
    with pytest.raises(ValueError, match="allowed is more than 0 and less than 1"):
        effort_on_normal(1.0, 800.0, 300.0)
