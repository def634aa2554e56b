"""The arithmetic of searching: coverage, probability of detection, and where effort is best spent.

Sweep width times the length that is steered is the area that is swept; over the area of the search it is the coverage.
How much of the coverage becomes detection is Koopman's: a search at random promises least and is the default; parallel
tracks held exactly under the inverse-cube law promise most. Real searches lie between the two.
B. O. Koopman, Search and Screening, 1946 and 1980; IAMSAR manual, volume II. Lengths in metres, areas in square metres.
"""

from collections.abc import Callable
from math import erf, exp, log1p, pi, sqrt

import numpy as np

from seatrial.handbook.arguments import above_zero
from tumblehome.find.shapes import Numbers

RANDOM, INVERSE_CUBE = "random", "inverse cube"


def coverage(sweep_m: float, length_m: float, area_m2: float) -> float:
    """Area swept over area searched: W L / A. Raises ValueError for a number that is not above 0."""
    above_zero(sweep_m=sweep_m, length_m=length_m, area_m2=area_m2)
    return sweep_m * length_m / area_m2


def detection(covered: float, law: str = RANDOM) -> float:
    """Probability of detection within the area, 0 to 1: 1 - exp(-C), or erf(C sqrt(pi) / 2) by the inverse cube.

    Raises ValueError for a negative coverage or another law.
    """
    if not covered >= 0.0:
        raise ValueError("the coverage is %s; allowed is 0 or more: correct it" % covered)
    return _LAWS[_law(law)](covered)


def coverage_for(wanted: float, law: str = RANDOM) -> float:
    """The coverage that gives this probability of detection. Raises ValueError beyond 0 to below 1, or another law."""
    if not 0.0 <= wanted < 1.0:
        raise ValueError("the probability wanted is %s; allowed is 0 to below 1: correct it" % wanted)
    return _BACK[_law(law)](wanted)


def spacing_m(sweep_m: float, wanted: float, law: str = RANDOM) -> float:
    """Distance between parallel tracks for this probability of detection: sweep width over coverage.

    Raises ValueError as `coverage_for` does, and for a probability of 0, which asks for no tracks.
    """
    above_zero(sweep_m=sweep_m, wanted=wanted)
    return sweep_m / coverage_for(wanted, law)


def inside_circle(radius_in_errors: float) -> float:
    """Share of a circular normal within so many root mean squares of one axis: 1 - exp(-f^2 / 2)."""
    return 1.0 - exp(-0.5 * radius_in_errors**2)


def best_on_normal(effort_m2: float, sigma_m: float, other_sigma_m: float) -> tuple[float, float]:
    """How far out to search a normal, in its sigmas, and the probability of success that no random search betters.

    With H = sqrt(effort / (pi sigma sigma')), effort being sweep width times length, the best search stays within
    sqrt(2 H) sigmas and succeeds with 1 - (1 + H) exp(-H): Koopman, The theory of search III, Operations Research 5,
    1957; Stone, Theory of Optimal Search, 1975. Raises ValueError for a number that is not above 0.
    """
    above_zero(effort_m2=effort_m2, sigma_m=sigma_m, other_sigma_m=other_sigma_m)
    spread = sqrt(effort_m2 / (pi * sigma_m * other_sigma_m))
    return sqrt(2.0 * spread), 1.0 - (1.0 + spread) * exp(-spread)


def effort_on_normal(wanted: float, sigma_m: float, other_sigma_m: float) -> float:
    """Sweep width times length, m2, with which the best search of a normal succeeds with this probability.

    `best_on_normal` solved for the effort: 1 - (1 + H) exp(-H) is the gamma distribution of shape 2. Raises ValueError
    for a probability beyond 0 to 1 or a sigma that is not above 0.
    """
    from scipy.special import gammaincinv  # here, not above: it takes a while, and few commands need it

    above_zero(wanted=wanted, sigma_m=sigma_m, other_sigma_m=other_sigma_m)
    if wanted >= 1.0:
        raise ValueError("the probability wanted is %s; allowed is more than 0 and less than 1: correct it" % wanted)
    return pi * sigma_m * other_sigma_m * float(gammaincinv(2.0, wanted)) ** 2


def best_on_cells(chances: Numbers, cell_m2: float, effort_m2: float) -> tuple[Numbers, float]:
    """How effort is best laid over cells of one size, and the success of it under the law of a random search.

    Cells likelier than a level are searched, each until what is left in it has sunk to that level, and the others
    not at all (Koopman 1957; de Guenin 1961). Returns the effort in each cell and the probability of success.
    Raises ValueError for a size or an effort that is not above 0, or chances that are negative or all 0.
    """
    above_zero(cell_m2=cell_m2, effort_m2=effort_m2)
    chances = np.asarray(chances, float)
    if not (np.isfinite(chances).all() and (chances >= 0).all() and chances.sum() > 0):
        raise ValueError("the chances of the cells are not all 0 or more with some above 0: correct them")
    order = np.argsort(-chances, axis=None)
    logs = np.log(chances.ravel()[order][chances.ravel()[order] > 0])
    places = np.arange(1, logs.size + 1)
    # searched down to the level of the k-th cell, the k likeliest take this much effort; it rises with k
    needed = cell_m2 * (np.cumsum(logs) - places * logs)
    count = int(np.searchsorted(needed, effort_m2, side="right"))
    level = (np.sum(logs[:count]) - effort_m2 / cell_m2) / count
    laid = np.zeros(chances.size)
    laid[order[:count]] = cell_m2 * (logs[:count] - level)
    spread = np.reshape(laid, chances.shape)
    return spread, float(np.sum(-chances * np.expm1(-spread / cell_m2)))


def _law(law: str) -> str:
    if law not in _LAWS:
        raise ValueError("the law is %s; allowed is %s: choose one" % (law, " or ".join(_LAWS)))
    return law


def _effort_of_inverse_cube(wanted: float) -> float:
    from scipy.special import erfinv  # here, not above: it takes a while, and few commands need it

    return 2.0 / sqrt(pi) * float(erfinv(wanted))


_LAWS: dict[str, Callable[[float], float]] = {
    RANDOM: lambda covered: 1.0 - exp(-covered),
    INVERSE_CUBE: lambda covered: erf(0.5 * sqrt(pi) * covered),
}
_BACK: dict[str, Callable[[float], float]] = {
    RANDOM: lambda wanted: -log1p(-wanted),
    INVERSE_CUBE: _effort_of_inverse_cube,
}
