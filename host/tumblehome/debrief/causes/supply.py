"""Supply: voltage, current and what each load draws, beside the plan's own pack and loads.

The sound dive: the voltage is the open-circuit voltage of the plan's cells at the charge left, less the measured
current times the plan's resistance in that cold; the current is the sum of the plan's loads that are switched on.
For the current only readings count before which nothing was switched (`Past.settled`).
"""

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from seatrial.battery import Battery
from seatrial.mechanisms import SHORTED_DRAWS
from seatrial.world import AWAKE_S
from tumblehome.debrief.causes.alike import SUPPLY_BLINKED
from tumblehome.debrief.causes.findings import ESTABLISHED, LIKELY, Finding
from tumblehome.debrief.causes.past import DRIVE, FIRING, Past

CELL_DOUBT_MV = 70.0  # a cell: how far a pack of another make may stand from the usual curve (common practice)
CURRENT_DOUBT = 0.2  # of a planned current: loads differ so much from their plan without a fault (common practice)
LEAST = 3  # readings that say the same: one may have met a load on its way
CELL_LEAST_MV = 2500.0  # under no load no living cell is below this; a missing one takes at least as much away
WEAK_LEAST_MOHM = 1.5  # times the plan's cold resistance: less is age
BLINK_TIMES = 4.0  # of the doubt: far beyond what one reading may be off by
FITTED_MOST = 60  # readings are enough for a shape
LEFT_TRIED = tuple(float(left) for left in np.arange(0.1, 1.0, 0.01))
SLOPE_PART = 0.3  # of what the whole loss would be as a resistance
ALIKE_TIMES, ALONE_TIMES = 1.5, 3.0  # times the best misfit: no worse, and so much worse that the best stands alone
HEAVY_PART = 0.8  # of the largest current: what was drawn then tells most of a resistance
FLAT_MA = 150.0  # loads must differ by so much to tell a resistance from a missing voltage


class Weighed(NamedTuple):
    """Readings of the supply: places, measured and planned current, measured and expected voltage; `settled` where
    nothing was switched just before, so that the planned current is that of the outputs. `drawn_ah` is the charge by
    the readings, and `cold_c` the pack's temperature."""

    at: NDArray[np.int64]
    ma: NDArray[np.float64]
    planned_ma: NDArray[np.float64]
    mv: NDArray[np.float64]
    expected_mv: NDArray[np.float64]
    settled: NDArray[np.bool_]
    drawn_ah: NDArray[np.float64]
    cold_c: NDArray[np.float64]

    @property
    def short_mv(self) -> NDArray[np.float64]:
        """How much less there is than expected."""
        return self.expected_mv - self.mv


def weigh(past: Past) -> Weighed:
    """The supply of this dive beside the plan's."""
    if "supply" not in past.memo:
        past.memo["supply"] = _weigh(past)
    return past.memo["supply"]


def _weigh(past: Past) -> Weighed:
    measured = past.sign("current_ok")
    settled = past.settled & ((past.drives & FIRING) == 0)
    at = np.flatnonzero(past.sign("supply_ok") & (measured | settled))
    ma = np.where(measured, past.ma, past.planned_ma)
    power = past.plan.power
    spans = np.diff(past.t, prepend=past.t[:1])
    awake = np.minimum(1.0, AWAKE_S / np.clip(spans, 0.2, past.plan.journal.reading_bottom_s))
    awake[past.drives & DRIVE["report"] > 0] = 1.0  # it listened for a fix
    mean_ma = ma - (power.controller_ma - power.controller_asleep_ma) * (1.0 - awake)
    drawn_ah = np.cumsum(mean_ma * spans) / 3.6e6
    battery = Battery(power)
    expected = np.zeros(len(at))
    cold_c = np.where(past.sign("housing_temp_ok"), past.housing_c, past.water_c)
    for place, number in enumerate(at):
        battery.used_ah = float(drawn_ah[number])
        expected[place] = battery.supply_mv(float(ma[number]), float(cold_c[number]))
    return Weighed(at, ma[at], past.planned_ma[at], past.mv[at], expected, settled[at], drawn_ah[at], cold_c[at])


def doubt_mv(past: Past) -> float:
    """A voltage must be off by more than this to mean something: other cells, and the sensor's noise and step."""
    sensor = past.plan.sensors.supply
    return past.plan.power.cells_in_series * CELL_DOUBT_MV + sensor.noise_mv + sensor.resolution_mv


def carries(past: Past, load_ma: float, after: int) -> bool:
    """Whether the pack carries such a load, as the readings behind this place show it: all that they are short of what
    is planned, and all that may be doubted, counted as resistance, still leaves the controller its voltage."""
    seen = weigh(past)
    later = seen.at > after
    if later.sum() < LEAST:
        return False
    ma, short_mv = seen.ma[later], seen.short_mv[later]
    heavy = ma >= HEAVY_PART * ma.max()
    most_mv = max(float(np.median(short_mv)), float(np.median(short_mv[heavy]))) + doubt_mv(past)
    if most_mv > 2.0 * doubt_mv(past):
        return False
    cold_mohm = past.plan.power.resistance_mohm * past.plan.power.resistance_factor_at_0_c
    mohm = cold_mohm + 1000.0 * most_mv / max(1.0, float(np.median(ma[heavy])))
    open_mv = float(np.median(seen.mv[later] + ma * cold_mohm / 1000.0))
    return open_mv - load_ma * mohm / 1000.0 > past.plan.power.recover_mv


def unread(past: Past) -> Iterator[Finding]:
    """Sound: every reading of the supply is valid in every record."""
    gone = ~past.sign("supply_ok")
    if gone.any():
        yield Finding(("supply-unread",), ESTABLISHED, "Battery voltage could not be read in %d records." % gone.sum(),
                      past.records(np.flatnonzero(gone)), "read the supply monitor on the bench; look at its bus wires",
                      90, ("current-unread",))
    lost = (~past.sign("current_ok") | ~past.sign("release_ok")) & ~gone
    if lost.any() and not gone.any():
        which = [name for name, bit in (("battery", "current_ok"), ("release", "release_ok"))
                 if (~past.sign(bit) & ~gone).any()]
        yield Finding(("current-unread",), ESTABLISHED, "The %s current could not be read in %d records." % (
            " and the ".join(which), lost.sum()), past.records(np.flatnonzero(lost)),
            "read the current sensors on the bench", 90)


def misread(past: Past) -> Iterator[Finding]:
    """Sound: voltage within what the plan's pack can have; currents that are those of the loads."""
    seen = weigh(past)
    power = past.plan.power
    full = Battery(power).open_circuit_mv(20.0)
    over = seen.mv > max(full, 4200.0 * power.cells_in_series) * (1.0 + 0.02) + doubt_mv(past) / 4.0
    under = past.sign("supply_ok") & (past.mv < power.brownout_mv * 0.9)
    if over.sum() >= LEAST:
        yield Finding(("battery-misread",), ESTABLISHED,
                      "The battery reads up to %.1f V, more than %d full cells can have (%.1f V): the reading is wrong."
                      % (seen.mv.max() / 1e3, power.cells_in_series, 4.2 * power.cells_in_series),
                      past.records(seen.at[over]), "measure the pack, and compare with what the controller reads", 85,
                      ("weak-supply", "old-battery", "lamp-shorted", "fan-dead", "strobe-dead"))
        return
    if under.sum() >= LEAST:
        yield Finding(("battery-misread",), ESTABLISHED,
                      "The battery reads %.1f V in records that the controller wrote, and it cannot run below %.1f V."
                      % (past.mv[under].min() / 1e3, power.brownout_mv / 1e3), past.records(np.flatnonzero(under)),
                      "measure the pack, and compare with what the controller reads", 85,
                      ("weak-supply", "old-battery", "cell-gone", "lamp-shorted", "fan-dead"))
        return
    high = seen.short_mv < -doubt_mv(past)
    if high.sum() >= LEAST:
        yield Finding(("battery-misread",), LIKELY,
                      "The battery reads %.1f V more than this pack can have with so much drawn from it."
                      % (-np.median(seen.short_mv[high]) / 1e3), past.records(seen.at[high]),
                      "measure the pack, and compare with what the controller reads", 70,
                      ("weak-supply", "old-battery"))
    yield from _currents_misread(past, seen)


def _currents_misread(past: Past, seen: Weighed) -> Iterator[Finding]:
    measured = past.sign("current_ok")[seen.at] & seen.settled
    floor = measured & (seen.planned_ma > past.plan.power.controller_ma - 1.0)
    low = floor & (seen.ma < 0.6 * past.plan.power.controller_ma - past.noise_ma)
    ratio = np.where(seen.planned_ma > 0.0, seen.ma / np.maximum(1.0, seen.planned_ma), 1.0)
    loaded = measured & (seen.planned_ma >= past.plan.power.controller_ma + FLAT_MA)
    for run, word in ((loaded & (ratio < 0.65), "less"), (loaded & (ratio > 3.0 + past.noise_ma / 100.0), "more")):
        if run.sum() < LEAST:
            continue
        factors = ratio[run]
        bare = seen.at[(measured & ~loaded) & (seen.at > seen.at[run][0] - 1)]
        own = past.ma[bare] / np.maximum(1.0, past.planned_ma[bare]) if len(bare) else np.array([])
        agrees = len(own) >= LEAST and abs(np.median(own) - np.median(factors)) < 0.25 * max(1.0, np.median(factors))
        if agrees or low.sum() >= LEAST:
            yield Finding(("battery-misread",), LIKELY,
                          "All currents read %.2f times what the loads draw, %s than anything that is switched on."
                          % (np.median(factors), word), past.records(seen.at[run]),
                          "measure the current of the controller alone, and compare with what it reads", 80,
                          ("fan-dead", "lamp-shorted", "strobe-dead", "weak-supply", "old-battery", "bad-circuit"))
            return


def pack(past: Past) -> Iterator[Finding]:
    """Sound: the voltage is within `doubt_mv` of the plan's pack at this charge, load and cold."""
    seen = weigh(past)
    short = seen.short_mv > doubt_mv(past)
    if short.sum() < LEAST:
        blink = np.abs(seen.short_mv) > BLINK_TIMES * doubt_mv(past)
        if blink.any():
            yield Finding(SUPPLY_BLINKED, LIKELY, "The supply was %.1f V off for a moment." % (
                np.abs(seen.short_mv).max() / 1e3), past.records(seen.at[blink]),
                "shake plug and pack while the controller runs", 66)
        return
    at, ma, off_mv = seen.at[short], seen.ma[short], seen.short_mv[short]
    cell_mv = float(np.median(seen.expected_mv[short])) / past.plan.power.cells_in_series
    spread = ma.max() - ma.min() >= FLAT_MA
    mohm = constant_mv = None
    if spread:
        slope, constant_mv = np.polyfit(ma, off_mv, 1)
        mohm = slope * 1000.0
    words = past.records(at)
    cells = int(round(float(np.median(off_mv)) / cell_mv))
    even = float(np.percentile(off_mv, 90) - np.percentile(off_mv, 10)) < CELL_LEAST_MV / 4.0
    cold_mohm = past.plan.power.resistance_mohm * past.plan.power.resistance_factor_at_0_c
    if cells >= 1 and even and abs(np.median(off_mv) - cells * cell_mv) < 0.2 * cell_mv and (
            mohm is None or mohm < cold_mohm * 2):
        lone = mohm is not None or _no_slope(ma, off_mv)
        yield Finding(("cell-gone",) if lone else ("cell-gone", "weak-supply", "battery-misread"), LIKELY,
                      "The pack has %.1f V less than planned, %s: the voltage of %d cell%s."
                      % (np.median(off_mv) / 1e3, "whatever the load" if lone else "at the one load there was",
                         cells, "" if cells == 1 else "s"), words,
                      "measure each cell of the pack", 80, ("old-battery", "weak-supply", "battery-misread"))
        return
    if mohm is not None and constant_mv is not None and mohm > cold_mohm * WEAK_LEAST_MOHM and (
            constant_mv < 0.4 * cell_mv):
        yield Finding(("weak-supply",), LIKELY,
                      "The supply sags by %.1f V at %.0f mA: %.1f ohm more than planned, in the pack or its plug."
                      % (off_mv.max() / 1e3, ma[off_mv.argmax()], mohm / 1e3), words,
                      "measure the resistance of pack and connector under load", 75, ("old-battery",))
        return
    ohm = off_mv / np.maximum(ma, 1.0)
    if mohm is None and np.median(ohm) > cold_mohm / 1000.0 * WEAK_LEAST_MOHM and cells:
        yield Finding(("weak-supply", "cell-gone", "battery-misread"), LIKELY,
                      "The supply is %.1f V lower than planned." % (np.median(off_mv) / 1e3), words,
                      "measure the pack with and without load", 70, ("old-battery",))
        return
    yield Finding(_by_shape(past, seen, int(at[0])), LIKELY,
                  "The pack is %.2f V lower than planned for the charge drawn: it holds less, or sags more."
                  % (np.median(off_mv) / 1e3), words, "measure the pack's capacity and resistance", 60)


def _no_slope(ma: NDArray[np.float64], off_mv: NDArray[np.float64]) -> bool:
    """Whether small steps of the load show that what is missing does not go with the current."""
    if len(ma) < 4 * LEAST or np.ptp(ma) <= 0.0:
        return False
    (slope, _constant), covariance = np.polyfit(ma, off_mv, 1, cov=True)
    return bool(abs(slope) + 3.0 * float(np.sqrt(covariance[0, 0])) < SLOPE_PART * float(np.median(off_mv / ma)))


def _by_shape(past: Past, seen: Weighed, first: int) -> tuple[str, ...]:
    """What makes a pack a little low: a small charge tells with what is drawn, a resistance with the current, and a
    wrong reading by the same share always. The best fit stands alone where it is good and the others are not."""
    later = np.flatnonzero(seen.at >= first)
    later = later[:: max(1, len(later) // FITTED_MOST)]
    ma, mv, expected = seen.ma[later], seen.mv[later], seen.expected_mv[later]
    short = expected - mv
    slope = float((short * ma).sum() / max(1.0, (ma * ma).sum()))
    share = float((mv * expected).sum() / (expected * expected).sum())
    misfit_mv = {
        "old-battery": min(_rms_mv(mv - _aged_mv(past, seen, later, left)) for left in LEFT_TRIED),
        "weak-supply": _rms_mv(short - slope * ma),
        "battery-misread": _rms_mv(mv - share * expected),
    }
    sensor = past.plan.sensors.supply
    least_mv = max(min(misfit_mv.values()), (sensor.noise_mv + sensor.resolution_mv) / 2.0)
    times = {kind: off_mv / least_mv for kind, off_mv in misfit_mv.items()}
    best, *others = sorted(times, key=lambda kind: max(ALIKE_TIMES, times[kind]))  # those alike stay in this order
    good_mv = sensor.noise_mv + sensor.resolution_mv + doubt_mv(past) / 4.0
    if misfit_mv[best] < good_mv:
        others = [kind for kind in others if times[kind] <= ALONE_TIMES]
    return (best, *others)


def _rms_mv(off_mv: NDArray[np.float64]) -> float:
    return float(np.sqrt(np.mean(off_mv ** 2)))


def _aged_mv(past: Past, seen: Weighed, chosen: NDArray[np.int64], left: float) -> NDArray[np.float64]:
    """Voltages of these readings if the pack held this part of the planned charge."""
    battery = Battery(past.plan.power)
    battery.capacity_factor = left
    expected = np.zeros(len(chosen))
    for place, number in enumerate(chosen):
        battery.used_ah = float(seen.drawn_ah[number])
        expected[place] = battery.supply_mv(float(seen.ma[number]), float(seen.cold_c[number]))
    return expected


def loads(past: Past) -> Iterator[Finding]:
    """Sound: what each load adds to the current is what the plan says, within a fifth and the sensor's noise."""
    seen = weigh(past)
    plan = past.plan
    measured = past.sign("current_ok")[seen.at] & seen.settled
    off_ma = seen.ma - seen.planned_ma
    lit = measured & (past.lights_pct[seen.at] > 0)
    dark = measured & ~(past.lights_pct[seen.at] > 0)
    base_ma = float(np.median(off_ma[dark])) if dark.sum() else 0.0
    over = lit & (off_ma > (SHORTED_DRAWS - 1.0) * 0.5 * plan.lights.current_ma * past.lights_pct[seen.at] / 100.0
                  + past.noise_ma)
    if over.sum() >= LEAST and abs(base_ma) < CURRENT_DOUBT * plan.power.controller_ma + past.noise_ma:
        yield Finding(("lamp-shorted",), LIKELY,
                      "With the lamps on %.0f mA flowed and %.0f mA were planned; with them off all was as planned."
                      % (np.median(seen.ma[over]), np.median(seen.planned_ma[over])), past.records(seen.at[over]),
                      "measure the current of each lamp", 80, ("old-battery", "weak-supply", "battery-misread"))
    yield from _missing(past, seen, np.where(past.drive("fan"), plan.fan.current_ma, 0.0), "fan-dead", "fan",
                        "turn the fan by hand and run it on the bench", 75)
    yield from _missing(past, seen, past.beacon_lamp_ma, "strobe-dead", "beacon lamp",
                        "light the beacon lamp on the bench", 75)


def _missing(past: Past, seen: Weighed, load_ma: NDArray[np.float64], kind: str, name: str, settle: str,
             weight: int) -> Iterator[Finding]:
    """A load that was switched on and drew nothing; `load_ma` is its planned current in each record."""
    planned_ma = load_ma[seen.at]
    measured = past.sign("current_ok")[seen.at] & seen.settled
    on = measured & (planned_ma > 3.0 * past.noise_ma)  # less is lost in the noise of the sensor
    other = measured & (planned_ma == 0.0)
    gone = on & (np.abs(seen.planned_ma - seen.ma - planned_ma) <= CURRENT_DOUBT * planned_ma + past.noise_ma)
    if gone.sum() < LEAST:
        return
    right = np.abs((seen.ma - seen.planned_ma)[other]) <= past.noise_ma + CURRENT_DOUBT * seen.planned_ma[other]
    if len(right) and right.mean() < 0.8:
        return
    yield Finding((kind,), LIKELY, "The %s was switched on and drew nothing: %.0f mA where %.0f mA were planned." % (
        name, np.median(seen.ma[gone]), np.median(seen.planned_ma[gone])), past.records(seen.at[gone]), settle, weight)


RULES = (unread, misread, pack, loads)
