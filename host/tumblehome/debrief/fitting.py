"""Least squares for the numbers of a dive: what it tells of them, how surely, and what it cannot tell.

Each unknown has the plan's value and a doubt about it, one standard deviation. The doubt stands in the squares beside
the readings, so that a number that the dive says nothing of stays where it was. An unknown that the readings narrow by
less than `TOLD` is held at the plan's value and fitted no more; the doubt about it then goes into the uncertainty of
the others (in estimation theory: considered, not estimated). Covariance of the rest: (J'J)^-1, J in units of the
scatter of the residuals themselves, which is widened where neighbours are alike (a model that is a little wrong makes
long waves, and a long wave is one observation, not a hundred).
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from math import exp, sqrt

import numpy as np
from numpy.typing import NDArray

TOLD = 0.7  # of the doubt that was there before; our own choice
OUTLIER = 6.0  # standard deviations; a reading farther off is a spike and no measurement
ROUNDS = 2  # of fitting, looking at the scatter, and fitting again
LEAST_READINGS = 20
BLOCKS = 20

WANTED, OWN = "wanted", "own"
Array = NDArray[np.float64]
Residuals = Callable[[Mapping[str, float]], Mapping[str, Array]]


@dataclass(frozen=True)
class Unknown:
    """A number that is looked for.

    `doubt` is one standard deviation: a share of the value where `is_share`, and then the number stays positive.
    WANTED is what the person asks for, OWN is of this dive alone and only helps.
    """

    key: str
    planned: float
    doubt: float
    is_share: bool = True
    kind: str = WANTED

    def value(self, step: float) -> float:
        """The number so many doubts away from the plan's."""
        if self.is_share:
            return self.planned * exp(self.doubt * step)
        return self.planned + self.doubt * step

    def spread(self, value: float, steps: float) -> float:
        """One standard deviation in the number's own unit, from one in doubts."""
        return (value if self.is_share else 1.0) * self.doubt * steps


@dataclass(frozen=True)
class Solution:
    """What came out: by key the numbers, one standard deviation of each, and which are told by the dive at all.

    `correlation` is among all that were fitted at first, in the order of `keys`. `scatter` is the standard deviation
    of the residuals of each kind of reading, in its own unit; `used` their count; `dropped` the spikes left out.
    """

    keys: tuple[str, ...]
    values: dict[str, float]
    sigma: dict[str, float]
    told: dict[str, bool]
    correlation: Array
    scatter: dict[str, float]
    used: dict[str, int]
    dropped: dict[str, int]
    residuals: dict[str, Array]

    def correlated(self, least: float = 0.9) -> list[tuple[str, str, float]]:
        """Pairs that the dive can hardly tell apart."""
        return [(one, other, float(self.correlation[row, column])) for row, one in enumerate(self.keys)
                for column, other in enumerate(self.keys) if row < column
                and abs(self.correlation[row, column]) >= least]


class _Problem:
    """Readings, unknowns and the weights that they have by now."""

    def __init__(self, unknowns: Sequence[Unknown], residuals: Residuals, noise: Mapping[str, float]) -> None:
        self.unknowns = tuple(unknowns)
        self.residuals = residuals
        self.noise = dict(noise)
        self.weight = {name: 1.0 / sigma for name, sigma in noise.items()}
        self.good: dict[str, NDArray[np.bool_]] = {}

    def values(self, steps: Array) -> dict[str, float]:
        return {one.key: one.value(float(step)) for one, step in zip(self.unknowns, steps, strict=True)}

    def weighed(self, steps: Array) -> Array:
        parts = [found[self.good[name]] * self.weight[name] if name in self.good else found * self.weight[name]
                 for name, found in self.residuals(self.values(steps)).items()]
        return np.concatenate(parts)

    def fit(self, start: Array, free: Sequence[int]) -> tuple[Array, Array]:
        """The best steps with all but the free ones held, and the slopes of the readings by the free ones."""
        from scipy.optimize import least_squares  # here, since no other command is to wait for it

        steps = start.copy()
        if not free:
            return steps, np.zeros((len(self.weighed(steps)), 0))

        def squares(some: Array) -> Array:
            steps[list(free)] = some
            return np.concatenate((self.weighed(steps), some))

        found = least_squares(squares, start[list(free)], x_scale=1.0, diff_step=1e-4, xtol=1e-7, ftol=1e-9)
        steps[list(free)] = found.x
        return steps, found.jac[:-len(free)]

    def slopes(self, steps: Array, of: Sequence[int]) -> Array:
        """The same of unknowns that were held."""
        columns = []
        for place in of:
            there, here = steps.copy(), steps.copy()
            there[place] += 0.5
            here[place] -= 0.5
            columns.append(self.weighed(there) - self.weighed(here))
        return np.array(columns).T if columns else np.zeros((len(self.weighed(steps)), 0))

    def look_at_scatter(self, steps: Array) -> None:
        """Weigh each kind of reading by how far it really strays, and leave spikes out."""
        for name, found in self.residuals(self.values(steps)).items():
            self.good[name] = np.ones(len(found), bool)
            if len(found) < LEAST_READINGS:
                continue
            usual = 1.4826 * float(np.median(np.abs(found - np.median(found))))
            self.good[name] = np.abs(found - np.median(found)) <= OUTLIER * max(usual, self.noise[name])
            self.weight[name] = 1.0 / (max(_rms(found[self.good[name]]), 1e-9) * _alike(found[self.good[name]]))


def _rms(found: Array) -> float:
    return float(np.sqrt(np.mean(found * found))) if len(found) else 0.0


def _alike(found: Array) -> float:
    """By how much neighbours that are alike widen an uncertainty; 1 where each reading strays for itself.

    The greater of two: sqrt((1 + r) / (1 - r)), r of neighbours, of a first-order autoregressive series (Bayley and
    Hammersley 1946, from memory), and how far the means of `BLOCKS` stretches stray, by how far they should (batch
    means, usual in the statistics of simulations): small long waves under much noise show only in the second.
    """
    if len(found) < LEAST_READINGS or not found.any():
        return 1.0
    alike = float(np.dot(found[1:], found[:-1]) / np.dot(found, found))
    alike = min(max(alike, 0.0), 0.99)
    length = len(found) // BLOCKS
    means = found[:length * BLOCKS].reshape(BLOCKS, length).mean(axis=1)
    strays = sqrt(length * float(np.mean(means * means)) / float(np.mean(found * found)))
    return max(sqrt((1.0 + alike) / (1.0 - alike)), strays, 1.0)


def solve(unknowns: Sequence[Unknown], residuals: Residuals, noise: Mapping[str, float]) -> Solution:
    """Fit the unknowns to the readings.

    `residuals` gives by name what was read less what the model says, for values by key; `noise` is the standard
    deviation of each by its sensor's own noise, the weight of the first round.
    """
    problem = _Problem(unknowns, residuals, noise)
    places = range(len(problem.unknowns))
    free = list(places)
    steps = np.zeros(len(problem.unknowns))
    for _ in range(ROUNDS):
        steps, _slopes = problem.fit(steps, free)
        problem.look_at_scatter(steps)
    steps, slopes = problem.fit(steps, free)
    first = _covariance(slopes)
    told = {one.key: one.kind == OWN for one in problem.unknowns}
    free, steps, slopes = _without_the_untold(problem, free, steps, slopes)
    held = [place for place in places if place not in free]
    covariance = _covariance(slopes)
    push = covariance @ slopes.T @ problem.slopes(steps, held)
    covariance = covariance + push @ push.T
    values = problem.values(steps)
    sigma = {one.key: one.spread(one.planned, 1.0) for one in problem.unknowns}
    for row, place in enumerate(free):
        one = problem.unknowns[place]
        sigma[one.key] = one.spread(values[one.key], sqrt(covariance[row, row]))
        told[one.key] = True
    found = {name: np.asarray(each) for name, each in residuals(values).items()}
    return Solution(
        keys=tuple(one.key for one in problem.unknowns), values=values, sigma=sigma, told=told,
        correlation=_correlation(first),
        scatter={name: _rms(each[problem.good[name]]) for name, each in found.items()},
        used={name: int(problem.good[name].sum()) for name in found},
        dropped={name: int((~problem.good[name]).sum()) for name in found}, residuals=found)


def _without_the_untold(problem: _Problem, free: list[int], steps: Array,
                        slopes: Array) -> tuple[list[int], Array, Array]:
    """Hold what the readings do not narrow, the least told first, and fit the rest anew each time."""
    while True:
        spread = np.sqrt(np.diag(_covariance(slopes)))
        untold = [(spread[row], place) for row, place in enumerate(free)
                  if problem.unknowns[place].kind == WANTED and spread[row] > TOLD]
        if not untold:
            return free, steps, slopes
        worst = max(untold)[1]
        free = [place for place in free if place != worst]
        steps = steps.copy()
        steps[worst] = 0.0
        steps, slopes = problem.fit(steps, free)


def _covariance(slopes: Array) -> Array:
    """Of the steps, the doubts about them (one step each) included."""
    return np.linalg.inv(slopes.T @ slopes + np.eye(slopes.shape[1])).astype(np.float64)


def _correlation(covariance: Array) -> Array:
    spread = np.sqrt(np.diag(covariance))
    return (covariance / np.outer(spread, spread)).astype(np.float64)
