"""The least squares of a dive say what is told, how surely, and leave alone what is not.

Held against closed forms: the covariance of a straight line with doubts about both numbers, (A'A/s2 + 1)^-1 (Gelman and
others, Bayesian Data Analysis, chapter 14, from memory), and the spread of the mean of an autoregressive series,
s / sqrt(n) * sqrt((1 + r) / (1 - r)).
"""

import numpy as np
import pytest

from tumblehome.debrief import fitting
from tumblehome.debrief.fitting import Unknown, solve

TIMES = np.linspace(0.0, 1.0, 400)
NOISE = 0.1


def line(slope: float, start: float, seed: int = 1):
    read = start + slope * TIMES + NOISE * np.random.default_rng(seed).standard_normal(len(TIMES))
    return lambda values: {"line": read - values["start"] - values["slope"] * TIMES}


def doubts(*kinds: str) -> tuple[Unknown, ...]:
    return Unknown("slope", 2.0, 1.0, False, kinds[0]), Unknown("start", 1.0, 1.0, False, kinds[1])


@pytest.mark.published(
    "memory", tolerance="as each says",
    source="Gelman and others, Bayesian Data Analysis, chapter 14: (A'A / s2 + 1)^-1 (from memory)")
def test_a_straight_line_has_the_numbers_and_the_uncertainty_of_the_closed_form():
    found = solve(doubts("wanted", "wanted"), line(2.3, 0.8), {"line": NOISE})
    slopes = np.array([TIMES, np.ones(len(TIMES))]).T / found.scatter["line"]
    widened = fitting._alike(found.residuals["line"])
    slopes = slopes / widened
    sigma = np.sqrt(np.diag(np.linalg.inv(slopes.T @ slopes + np.eye(2))))
    assert [found.sigma["slope"], found.sigma["start"]] == pytest.approx(sigma.tolist(), rel=1e-2)
    assert abs(found.values["slope"] - 2.3) < 3 * sigma[0]
    assert abs(found.values["start"] - 0.8) < 3 * sigma[1]
    assert found.told == {"slope": True, "start": True}


def test_two_numbers_that_only_act_together_are_not_both_told_and_the_doubt_of_the_one_is_in_the_other():
    read = 5.0 + NOISE * np.random.default_rng(2).standard_normal(400)
    unknowns = (Unknown("one", 2.0, 1.0, False), Unknown("other", 2.0, 0.2, False))
    found = solve(unknowns, lambda values: {"sum": read - values["one"] - values["other"]}, {"sum": NOISE})
    assert found.told == {"one": True, "other": False}
    assert found.values["other"] == 2.0 and found.sigma["other"] == pytest.approx(0.2)
    assert found.values["one"] == pytest.approx(3.0, abs=0.05)
    assert found.sigma["one"] == pytest.approx(0.2, rel=0.05)  # the sum is known far better than the other


def test_a_number_that_nothing_hangs_on_stays_as_planned():
    unknowns = (*doubts("wanted", "wanted"), Unknown("idle", 7.0, 0.5))
    found = solve(unknowns, line(2.0, 1.0), {"line": NOISE})
    assert not found.told["idle"] and found.values["idle"] == 7.0


def test_spikes_are_left_out_and_counted():
    def residuals(values):
        found = line(2.0, 1.0)(values)["line"].copy()
        found[::50] += 40.0
        return {"line": found}
    found = solve(doubts("wanted", "wanted"), residuals, {"line": NOISE})
    assert found.dropped == {"line": 8}
    assert found.values["start"] == pytest.approx(1.0, abs=0.05)


@pytest.mark.published(
    "worked", tolerance="15 %",
    source="the mean of an autoregressive series: sqrt((1 + r) / (1 - r))")
def test_noise_that_makes_waves_is_trusted_less_by_as_much_as_theory_says():
    kept, widths = 0.8, []
    for seed in range(40):
        steps = np.random.default_rng(seed).standard_normal(4000)
        series = np.zeros(4000)
        for at in range(1, 4000):
            series[at] = kept * series[at - 1] + steps[at]
        widths.append(fitting._alike(series))
    assert np.mean(widths) == pytest.approx(((1 + kept) / (1 - kept)) ** 0.5, rel=0.15)


def test_stated_uncertainty_of_lines_with_waves_holds_as_often_as_it_says():
    off = []
    for seed in range(60):
        rng = np.random.default_rng((3, seed))
        wave = 0.05 * np.sin(2 * np.pi * (1.3 * TIMES + rng.random()))
        read = 1.0 + 2.0 * TIMES + wave + NOISE * rng.standard_normal(len(TIMES))
        found = solve(doubts("wanted", "wanted"),
                      lambda values, read=read: {"line": read - values["start"] - values["slope"] * TIMES},
                      {"line": NOISE})
        off.append((found.values["start"] - 1.0) / found.sigma["start"])
    assert np.mean(np.abs(off) <= 2.0) >= 0.85
