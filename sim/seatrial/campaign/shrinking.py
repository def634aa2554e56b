"""The shortest scenario that still does the same harm.

Faults are dropped, then numbers and words go back to their defaults and onsets to plainer ones, one change at a time,
for as long as the harm stays. The seed stays. A harm is "lost" or "law 4", as `blaming.harms_of` names it.
"""

from collections.abc import Callable, Iterator
from dataclasses import replace

from seatrial.faults import Fault, When

FLIGHTS_MAX = 60


def shrink(faults: list[Fault], does_harm: Callable[[list[Fault]], bool], flights: int = FLIGHTS_MAX) -> list[Fault]:
    """The shortest list found from these faults, in at most so many flights; `does_harm` flies one list."""
    left = flights
    changed = True
    while changed:
        changed = False
        for shorter in _shorter(faults):
            if left <= 0:
                return faults
            left -= 1
            if does_harm(shorter):
                faults = shorter
                changed = True
                break
    return faults


def drop(faults: list[Fault], does_harm: Callable[[list[Fault]], bool]) -> list[Fault]:
    """Only whole faults dropped, from the first on."""
    kept = list(faults)
    for fault in faults:
        without = [one for one in kept if one is not fault]
        if len(kept) > 1 and does_harm(without):
            kept = without
    return kept


def _shorter(faults: list[Fault]) -> Iterator[list[Fault]]:
    """Lists that are one step shorter, the greatest steps first."""
    if len(faults) > 1:
        for place in range(len(faults)):
            yield faults[:place] + faults[place + 1:]
    for place, fault in enumerate(faults):
        for plainer in _plainer(fault):
            yield [*faults[:place], plainer, *faults[place + 1:]]


def _plainer(fault: Fault) -> Iterator[Fault]:
    for key, parameter in fault.kind.parameters.items():
        if fault.values[key] != parameter.default:
            yield replace(fault, values={**fault.values, key: parameter.default})
    if fault.when == When():
        return
    yield replace(fault, when=When())
    if fault.when.after_s and fault.when.word != "start":
        yield replace(fault, when=When(fault.when.word))
