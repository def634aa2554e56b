"""What every formula asks of its arguments, and the sentence for one that cannot be."""

from math import inf, isfinite


def above_zero(**named: float) -> None:
    """Raises ValueError for the first number that is not above 0 and finite."""
    for name, value in named.items():
        if not 0.0 < value < inf:
            raise ValueError(f"{name} is {value:g}; allowed is a number above 0: correct it")


def finite(**named: float) -> None:
    """Raises ValueError for the first number that is not finite."""
    for name, value in named.items():
        if not isfinite(value):
            raise ValueError(f"{name} is {value:g}; allowed is a finite number: correct it")


def within(low: float, high: float, **named: float) -> None:
    """Raises ValueError for the first number outside the range of the formula."""
    for name, value in named.items():
        if not low <= value <= high:
            raise ValueError(f"{name} is {value:g}; allowed is {low:g} to {high:g} in this formula: correct it")
