"""How the lamp is taken to flash in a search is how the firmware flashes it, by night and with the charge that is left."""

from types import SimpleNamespace

import numpy as np
import pytest

from lander.drive import spares_lamp
from seatrial.plan import load_sample
from tumblehome.find.lamps import NEVER_S, SELDOM, Lamps, lamps_of

PLAN = load_sample()
ORDERS = PLAN.orders()
SURFACED_S = 19_000.0
NIGHT = SimpleNamespace(clock_s=60 * ORDERS.night_from_min + 3600)


def spared(charge_h: float, after_h: float) -> bool:
    """Whether the firmware flashes seldom so long after it surfaced with charge for so many hours of the full rhythm."""
    left_mah = round(ORDERS.beacon_ma * (charge_h - after_h))
    mission = SimpleNamespace(orders=ORDERS, surface_ds=round(10 * SURFACED_S), clock_trusted=True,
                              energy=SimpleNamespace(left_mah=lambda: left_mah))
    return spares_lamp(mission, round(10 * SURFACED_S + 36_000 * after_h), NIGHT)


@pytest.mark.parametrize("charge_h", [20.0, PLAN.beacon.hours - 2, PLAN.beacon.hours + 2, 90.0])
def test_it_flashes_by_night_as_the_firmware_has_it(charge_h):
    lamp = lamps_of(PLAN, np.array([SURFACED_S]), np.array([charge_h]))
    for after_h in (0.1, 0.5 * PLAN.beacon.hours, PLAN.beacon.hours - 1, PLAN.beacon.hours + 1):
        rhythm = lamp.rhythm(SURFACED_S + 3600 * after_h)[0]
        if after_h > charge_h:
            assert rhythm == 0.0  # it may last longer by sparing; nobody is promised that
        else:
            assert rhythm == (SELDOM if spared(charge_h, after_h) else 1.0)


def test_one_that_never_calls_never_flashes():
    lamp = lamps_of(PLAN, np.array([SURFACED_S, np.inf]), np.zeros(2))
    assert (lamp.full_until_s == NEVER_S).all() and not lamp.lit(0.0).any()


def test_a_lander_that_says_when_it_falls_silent_is_believed():
    planned = Lamps(np.array([100.0, 100.0, NEVER_S]), np.array([150.0, 150.0, 40.0]))
    assert list(planned.told(120.0).rhythm(90.0)) == [1.0, 1.0, SELDOM]
    assert list(planned.told(95.0).rhythm(90.0)) == [SELDOM] * 3  # the charge does not reach: it spares it
    assert not planned.told(95.0).lit(96.0).any()
