"""Lamp patterns: what a person reads through the window, and what the beacon flashes.

A pattern is pairs of milliseconds, on and off, repeated. The board plays it without waking the mission.
"""

DARK, STANDING_BY, ARMED_ON_DECK, FIRING, REFUSED, AT_SURFACE = range(6)

STATUS = (
    (),
    (80, 4920),
    (200, 200, 200, 1400),
    (60, 60),
    (1000, 500, 200, 500),
    (80, 920),
)

NO_BEACON, FLASH, SPARSE = range(3)

BEACON = (
    (),
    (100, 1900),
    (100, 9900),
)
