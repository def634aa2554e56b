"""Lamp patterns: what a person reads through the window, and what the beacon flashes.

A pattern is pairs of milliseconds, on and off, repeated. The board plays it without waking the mission.
"""

# A refusal is shown as REFUSED and its group: one long flash, then as many short ones as the group's number.
DARK, STANDING_BY, ARMED_ON_DECK, FIRING, TESTING, AT_SURFACE, REFUSED = range(7)

STATUS = (
    (),
    (80, 4920),
    (200, 200, 200, 1400),
    (60, 60),
    (500, 500),
    (80, 920),
    (1000, 2500),
    (1000, 800, 250, 2500),
    (1000, 800, 250, 350, 250, 2500),
    (1000, 800, 250, 350, 250, 350, 250, 2500),
    (1000, 800, 250, 350, 250, 350, 250, 350, 250, 2500),
    (1000, 800, 250, 350, 250, 350, 250, 350, 250, 350, 250, 2500),
    (1000, 800, 250, 350, 250, 350, 250, 350, 250, 350, 250, 350, 250, 2500),
    (1000, 800, 250, 350, 250, 350, 250, 350, 250, 350, 250, 350, 250, 350, 250, 2500),
)

# 0 not now, 1 battery, 2 water and its probes, 3 pressure, 4 release circuits, 5 camera and lamps, 6 memory and plan,
# 7 clock and thermometers.
NOT_NOW, BATTERY, WATER, PRESSURE, CIRCUITS, CAMERA, MEMORY, CLOCK = range(8)

# The group of each refusal, in the order of their numbers in lander.signals.
GROUPS = bytes((
    NOT_NOW, NOT_NOW, NOT_NOW, MEMORY, WATER, BATTERY, PRESSURE, WATER, MEMORY, NOT_NOW,
    WATER, WATER, CLOCK, CLOCK, BATTERY, CIRCUITS, CAMERA, MEMORY,
    CIRCUITS, CIRCUITS, CIRCUITS, CIRCUITS, CIRCUITS, MEMORY, CAMERA,
    CAMERA, CAMERA, CAMERA, NOT_NOW, NOT_NOW,
))

NO_BEACON, FLASH, SPARSE = range(3)

BEACON = (
    (),
    (100, 1900),
    (100, 9900),
)
