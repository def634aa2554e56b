"""Bounds of a share that was counted: so many hits in so many trials.

The bounds are those of Clopper and Pearson (Biometrika 26, 1934, 404-413): the share at which so few hits, or so many,
would come with a chance of half of what is left over. They hold for any share and any number of trials.
"""

from collections.abc import Callable
from math import exp, lgamma, log, log1p

HALVINGS = 200  # no share is told apart from the next one long before


def bounds(hits: int, trials: int, doubt: float) -> tuple[float, float]:
    """The lowest and the highest share that so many hits leave believable; they miss it with a chance of `doubt`.

    No hit is no proof: then the highest is 1 - (doubt / 2)^(1 / trials). Without a trial all is believable.
    """
    if trials == 0:
        return 0.0, 1.0
    lowest = 0.0 if hits == 0 else _where(lambda share: 1.0 - at_most(hits - 1, trials, share) >= 0.5 * doubt)
    highest = 1.0 if hits == trials else _where(lambda share: at_most(hits, trials, share) <= 0.5 * doubt)
    return lowest, highest


def _where(reached: Callable[[float], bool]) -> float:
    """The share from which on it is reached, by halving."""
    below, above = 0.0, 1.0
    for _ in range(HALVINGS):
        middle = 0.5 * (below + above)
        if middle in (below, above):
            break
        below, above = (below, middle) if reached(middle) else (middle, above)
    return 0.5 * (below + above)


def at_most(hits: int, trials: int, share: float) -> float:
    """The binomial chance of at most so many hits, the smaller tail summed."""
    if hits < 0:
        return 0.0
    if hits >= trials or share <= 0.0:
        return 1.0
    if share >= 1.0:
        return 0.0
    if hits > trials * share:
        return 1.0 - at_most(trials - hits - 1, trials, 1.0 - share)
    log_odds = log(share) - log1p(-share)
    term = exp(lgamma(trials + 1) - lgamma(hits + 1) - lgamma(trials - hits + 1) + hits * log_odds
               + trials * log1p(-share))
    total = 0.0
    for count in range(hits, -1, -1):  # from the largest term down; each is the one above it times a ratio
        total += term
        if term <= 1e-18 * total:
            break
        term *= count / ((trials - count + 1) * exp(log_odds))
    return min(1.0, total)
