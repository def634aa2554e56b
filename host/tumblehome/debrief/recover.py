"""Does what a dive teaches hold? Dives of landers whose true numbers are known, fitted, and counted.

    python -m tumblehome.debrief.recover [--dives 50] [--seed 1]

The true numbers of each dive are drawn around the sample's, as far off as the plan's doubt says; the water is a little
denser or lighter at the seabed than planned. The sea flies with the true numbers, the controller with the plan. A
fitted number should lie within one stated standard deviation of the true one in 68 % of the dives, and within two in
95 %; by chance alone it does so in some more or fewer, and the table says how many.
"""

import argparse
import sys
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from seatrial.bodies import core_here
from seatrial.dive import Dive
from seatrial.plan import Plan, load_sample
from tumblehome.debrief import learning, log, physics

ONE_SIGMA, TWO_SIGMA = 0.6827, 0.9545  # of a normal law within one and two standard deviations
BY_CHANCE = 0.99  # of all counts of a right uncertainty lie between the limits that are shown
SALT_KG_M3 = 0.77  # density for one psu more, in the sea; the equation of state at 10 degC, rounded
HALF_SPREAD = 0.5  # the plan's band counts as two standard deviations


@dataclass(frozen=True)
class Recovered:
    """One number of one dive: the true one, what the fit says, and whether the dive told it."""

    key: str
    true: float
    value: float
    sigma: float
    told: bool

    @property
    def off(self) -> float:
        """How many stated standard deviations the fit is from the truth."""
        return (self.value - self.true) / self.sigma


@dataclass(frozen=True)
class Row:
    """One number over all dives: how many told it, and how often it was within one and two standard deviations."""

    key: str
    dives: int
    told: int
    within_one: int
    within_two: int
    mean_off: float
    spread_pct: float  # median of the stated standard deviation, share of the number

    def fits(self) -> bool:
        """Whether both counts are such as chance gives."""
        return (_between(self.within_one, limits(self.told, ONE_SIGMA))
                and _between(self.within_two, limits(self.told, TWO_SIGMA)))


def limits(dives: int, share: float) -> tuple[int, int]:
    """Between which counts out of so many dives `BY_CHANCE` of all campaigns lie, if each has this chance."""
    from scipy.stats import binom  # here, not above: it takes a second, and no other command needs it

    low, high = binom.interval(BY_CHANCE, dives, share) if dives else (0, 0)
    return int(low), int(high)


def _between(count: int, bounds: tuple[int, int]) -> bool:
    return bounds[0] <= count <= bounds[1]


def with_values(section: Any, values: Mapping[str, float]) -> Any:
    """A section of a plan, or the plan, with other values at some dotted keys; what does not fit is not asked: the
    truth need not be a plan that anybody would dive."""
    inner: dict[str, dict[str, float]] = {}
    update: dict[str, Any] = {}
    for key, value in values.items():
        head, _dot, rest = key.partition(".")
        if rest:
            inner.setdefault(head, {})[rest] = value
        else:
            update[head] = value
    for head, some in inner.items():
        update[head] = with_values(getattr(section, head), some)
    return section.model_copy(update=update)


def true_plan(plan: Plan, rng: np.random.Generator) -> Plan:
    """The plan as it truly is, drawn around what it says."""
    values = {key: one.value(float(rng.standard_normal())) for key, one in physics.sought(plan).items()}
    charge = plan.power.charge_at_start_fraction + physics.CHARGE_DOUBT * float(rng.standard_normal())
    values[physics.CHARGE] = min(1.0, charge)
    truth = with_values(plan, values)
    more_psu = HALF_SPREAD * plan.doubt.density_kg_m3 / SALT_KG_M3 * float(rng.standard_normal())
    rows = tuple(row.model_copy(update={
        "salinity_psu": row.salinity_psu + more_psu * (row.depth_m / plan.site.depth_m - 0.5)})
        for row in plan.site.water)
    return truth.model_copy(update={"site": truth.site.model_copy(update={"water": rows})})


def dive_of(plan: Plan, truth: Plan, seed: int) -> bytes:
    """The journal of a dive with the true numbers, flown by a controller that knows the plan."""
    return Dive(truth, seed=seed, body=core_here(plan.mission_record()), keep_series=False).run().journal


def recovered(plan: Plan, seed: int, number: int) -> list[Recovered]:
    """One dive drawn, flown and fitted; each number that was looked for."""
    truth = true_plan(plan, np.random.default_rng((seed, number)))
    learned = learning.learn(log.parse(dive_of(plan, truth, seed + number), "dive %d" % number), plan)
    return [Recovered(fit.key, truth.value(fit.key), fit.value, fit.sigma, fit.told) for fit in learned.fits]


def campaign(plan: Plan, dives: int, seed: int) -> Iterator[list[Recovered]]:
    """So many dives, each by itself."""
    for number in range(dives):
        yield recovered(plan, seed, number)


def table_of(found: list[list[Recovered]]) -> list[Row]:
    """All dives together, a row a number."""
    rows = []
    for key in dict.fromkeys(one.key for dive in found for one in dive):
        every = [one for dive in found for one in dive if one.key == key]
        told = [one for one in every if one.told]
        off = np.array([one.off for one in told])
        rows.append(Row(key, len(every), len(told), int((abs(off) <= 1).sum()), int((abs(off) <= 2).sum()),
                        float(off.mean()) if told else 0.0,
                        float(np.median([100 * one.sigma / abs(one.value) for one in told])) if told else 0.0))
    return rows


def lines_of(rows: list[Row]) -> list[str]:
    """The table as text."""
    lines = ["%-40s %5s %5s %15s %15s %8s %8s" % (
        "number", "dives", "told", "within 1 sigma", "within 2 sigma", "mean", "sigma")]
    for row in rows:
        one, two = limits(row.told, ONE_SIGMA), limits(row.told, TWO_SIGMA)
        spread = "" if row.key == physics.OFFSET else "%6.2f %%" % row.spread_pct
        lines.append("%-40s %5d %5d %3d (%2d to %2d)%2s %3d (%2d to %2d)%2s %+6.2f s %8s" % (
            row.key, row.dives, row.told, row.within_one, *one, "", row.within_two, *two,
            "" if row.fits() else " *", row.mean_off, spread))
    told = sum(row.told for row in rows)
    lines.append("all: %d of %d within one sigma (%.0f %%; 68 %% is right), %d within two (%.0f %%; 95 %%)" % (
        sum(row.within_one for row in rows), told, 100 * sum(row.within_one for row in rows) / max(1, told),
        sum(row.within_two for row in rows), 100 * sum(row.within_two for row in rows) / max(1, told)))
    lines.append("In brackets what chance alone gives in %.0f %% of all campaigns; * outside." % (100 * BY_CHANCE))
    return lines


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="python -m tumblehome.debrief.recover",
                                     description="Fit dives whose true numbers are known.")
    parser.add_argument("--dives", type=int, default=50)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args(arguments)
    found = []
    for dive in campaign(load_sample(), given.dives, given.seed):
        found.append(dive)
        print("%d of %d" % (len(found), given.dives), file=sys.stderr, flush=True)
    rows = table_of(found)
    print("\n".join(lines_of(rows)))
    return 0 if all(row.fits() for row in rows) else 1


if __name__ == "__main__":
    sys.exit(main())
