"""What the beacon did, reckoned from records that do not say it; held against the current that the dive measured."""

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from lander import lamps, table
from seatrial.dive import Dive
from seatrial.faults import parse
from seatrial.plan import Plan, load_sample
from seatrial.plan.changing import changed
from tumblehome.debrief import log
from tumblehome.debrief.beacon import Beacon, beacon_of

SEED = 6
LONG = {"times.timed_release_min": 70.0, "times.latest_release_min": 100.0, "dive.watch_after_surfacing_min": 1500.0,
        "journal.reading_surface_s": 120.0}
DUSK = {**LONG, "dive.splash_utc": datetime(2027, 5, 18, 17, 30, tzinfo=UTC)}


def flown(changes: dict, *faults: str) -> tuple[Plan, log.Log, Beacon]:
    """A dive of the sample with these changes, and what its beacon is reckoned to have done."""
    plan = changed(load_sample(), changes)
    told = log.parse(Dive(plan, [parse(one) for one in faults], SEED, keep_series=False).run().journal, "here")
    return plan, told, beacon_of(told, plan.orders())


def drawn_beside(plan: Plan, told: log.Log, beacon: Beacon) -> tuple[np.ndarray, np.ndarray]:
    """Codes of the records at the surface between neighbours of the same code, and the current less the others'."""
    rows = told.records
    steady = (rows["state"] == table.SURFACE) & beacon.is_sure
    steady[1:-1] &= (beacon.code[:-2] == beacon.code[1:-1]) & (rows["state"][:-2] == table.SURFACE)
    steady[[0, -1]] = False
    return beacon.code[steady], rows["supply_ma"][steady] - plan.power.controller_ma - plan.beacon.report_ma


@pytest.mark.parametrize(("changes", "faults", "codes"), [
    (DUSK, (), {lamps.SPARSE, lamps.FLASH}),
    (DUSK, ("clock-lost@afloat",), {lamps.FLASH}),
    (LONG, ("reset@afloat+1h",), {lamps.SPARSE, lamps.FLASH}),
    (DUSK, ("clock-lost@afloat", "old-battery:left=0.2@afloat"), {lamps.SPARSE, lamps.FLASH}),
], ids=["through dusk and dawn", "without a clock", "reset at the surface", "a weak pack"])
def test_the_current_at_the_surface_is_that_of_the_rhythm_that_was_reckoned(changes, faults, codes):
    plan, told, beacon = flown(changes, *faults)
    reckoned, lamp_ma = drawn_beside(plan, told, beacon)
    assert set(reckoned.tolist()) == codes
    room_ma = plan.sensors.supply.noise_ma + plan.sensors.supply.resolution_ma
    share = {lamps.FLASH: 1.0, lamps.SPARSE: (100 / 10000) / (100 / 2000)}  # milliseconds lit, of each pattern
    expected_ma = np.array([plan.beacon.lamp_ma * share[code] for code in reckoned.tolist()])
    assert (np.abs(lamp_ma - expected_ma) <= room_ma).all()


def test_a_beacon_that_is_off_has_no_pattern_and_on_the_way_up_it_flashes_fully():
    _plan, told, beacon = flown(LONG)
    state, lit = told.records["state"], (told.records["drives"] & 1 << 4) > 0
    assert ((beacon.code == lamps.NO_BEACON) == ~lit).all() and lit.any()
    assert set(beacon.code[lit & (state == table.ASCEND)].tolist()) == {lamps.FLASH}
    assert not beacon.may_rest.any() and (beacon.lamp_share[~lit] == 0.0).all()


def test_where_the_charge_is_near_what_the_planned_hours_need_the_rhythm_is_not_sure():
    plan, told, dusk = flown(DUSK)
    orders = plan.orders()
    at = np.flatnonzero((told.records["state"] == table.SURFACE) & (dusk.code == lamps.FLASH))[20]
    spent = told.records[[at]].copy()
    for needs_share, said in ((1.2, (lamps.FLASH, True, False)), (1.0, (lamps.FLASH, False, False)),
                              (0.8, (lamps.SPARSE, True, False)), (0.5, (lamps.SPARSE, True, True))):
        spent["used_mah"] = int(orders.capacity_mah - needs_share * orders.beacon_ma * plan.beacon.hours)
        beacon = beacon_of(replace(told, records=spent), orders)
        assert (int(beacon.code[0]), bool(beacon.is_sure[0]), bool(beacon.may_rest[0])) == said, needs_share
