"""What lamp and receiver were doing while the beacon was on: a record says no more than that it was.

The core's own rules are asked again, with what each record holds of the mission.
"""

from types import SimpleNamespace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lander import drive, journal, lamps, report, table, words
from lander.judge import Energy
from lander.orders import Orders
from seatrial.world import duty
from tumblehome.debrief.log import Log
from tumblehome.debrief.physics import SUPPLY_OK

LAMP, REPORT = 1 << words.DRIVES.index("beacon"), 1 << words.DRIVES.index("report")  # of the drives
SHARES = np.array([duty(pattern) / duty(lamps.BEACON[lamps.FLASH]) for pattern in lamps.BEACON])
HOVER_MIN = 3  # of the beacon's charge: so close to what the planned hours need, either rhythm may have been chosen
HOVER_MV = 50  # of the voltage, which a record reads at another instant than the choice did
RESTS_BELOW_PCT = min(least_pct for least_pct, every_ds in report.PACE if every_ds <= report.ALWAYS_DS)


class Beacon(NamedTuple):
    """By record: the pattern of the lamp (`lander.lamps`), whether it is sure to be that one, and whether the receiver
    may have rested between two reports."""

    code: NDArray[np.int64]
    is_sure: NDArray[np.bool_]
    may_rest: NDArray[np.bool_]

    @property
    def lamp_share(self) -> NDArray[np.float64]:
        """Mean current of the lamp, in parts of that of its ordinary flashing."""
        return SHARES[self.code]


def beacon_of(log: Log, orders: Orders) -> Beacon:
    """What the beacon did in each record of a log."""
    rows = log.records
    lit = (rows["drives"] & LAMP) > 0
    code = np.where(lit, lamps.FLASH, lamps.NO_BEACON).astype(np.int64)
    is_sure, may_rest = np.ones(len(rows), bool), np.zeros(len(rows), bool)
    hover_mah = -(-orders.beacon_ma * HOVER_MIN // 60)
    mission, inputs = _mission(orders), SimpleNamespace(clock_s=0)
    energy, places = mission.energy, np.flatnonzero(lit)
    read = (rows["signs"] & SUPPLY_OK) > 0
    trusted = (rows["flags"] & journal.CLOCK_TRUSTED) > 0
    columns = (rows["mission_ds"], rows["used_mah"], rows["state"], _surface_ds(log), trusted, rows["clock_s"],
               rows["supply_mv"], read)
    for at, now_ds, used_mah, mission.state, mission.surface_ds, mission.clock_trusted, inputs.clock_s, mv, is_read in (
            zip(places.tolist(), *(column[places].tolist() for column in columns), strict=True)):
        _charged(energy, used_mah + hover_mah, mv - HOVER_MV, is_read)
        may_rest[at] = report.charge_pct(mission, now_ds) < RESTS_BELOW_PCT
        if mission.state != table.SURFACE:
            continue
        by_less = drive.spares_lamp(mission, now_ds, inputs)
        _charged(energy, used_mah - hover_mah, mv + HOVER_MV, is_read)
        is_sure[at] = drive.spares_lamp(mission, now_ds, inputs) == by_less
        _charged(energy, used_mah, mv, is_read)
        code[at] = lamps.SPARSE if drive.spares_lamp(mission, now_ds, inputs) else lamps.FLASH
    return Beacon(code, is_sure, may_rest)


def _mission(orders: Orders) -> SimpleNamespace:
    """As much of a mission as those rules ask for."""
    return SimpleNamespace(orders=orders, state=table.SURFACE, surface_ds=0, clock_trusted=False, energy=Energy(orders))


def _charged(energy: Energy, used_mah: int, supply_mv: int, is_read: bool) -> None:
    energy.used_mah, energy.supply_mv = used_mah, supply_mv
    energy.voltage_low.on = is_read and supply_mv < energy.orders.reserve_mv


def _surface_ds(log: Log) -> NDArray[np.int64]:
    """Mission time from which each record counts the beacon hours: when it came to the surface, or started there."""
    rows = log.records
    afloat = rows["state"] == table.SURFACE
    begins = afloat.copy()
    begins[1:] &= ~afloat[:-1] | (rows["boot"][1:] != rows["boot"][:-1])
    latest = np.maximum.accumulate(np.where(begins, np.arange(len(rows)), 0)) if len(rows) else np.zeros(0, int)
    return rows["mission_ds"].astype(np.int64)[latest]
