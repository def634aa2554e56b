"""Kinds of the fault catalogue that leave the same traces in a journal, each group with the reason.

A finding that cannot tell them apart names the whole group. What a group holds may be less in one dive than in another:
a rule leaves out what this dive has ruled out.
"""

WATER_INSIDE = ("leak", "leak-false")  # the probe says the same of a wet housing and of a wet probe

# Something other than the controller lets the ballast go: the controller sees the rise and nothing before it. The
# second board fires at once when it comes back from a loss of power, and when its own signs or counts mislead it.
LET_GO_BY_OTHERS = ("link-early", "second-reset", "second-pressure-gone", "second-contact-bridged",
                    "second-contact-dead", "second-dead", "second-hangs")

# The lander is free and stays: what holds it is not in the journal.
STUCK = ("ballast-hangs", "caught", "deep-mud")
HELD_FOR_A_TIME = ("deep-mud", "caught", "ballast-hangs")  # mud lets go after minutes, and the rest seldom

# Current flows as planned and nothing opens: how far the work has come is not in the journal.
NOT_OPENED = ("jammed", "slow-release")

# The watchdog bit: how many starts failed before this one is not in the journal.
BITTEN = ("hang", "half-loaded")

# Power came back: who took it away is not in the journal. A record torn before its first byte leaves a blank slot, and
# one torn behind its last is whole.
POWER_BLINKED = ("reset", "power-gone", "torn-record", "main-dead")
POWER_WENT = ("power-gone", "main-dead", "cell-gone", "weak-supply")

# Nothing was written any more: whether the controller ran on is not in the journal.
SILENCE = ("power-gone", "main-dead", "flash-refuses", "cell-gone", "half-loaded", "weak-supply", "old-battery")

# Never armed, and in the water: the gesture came while the controller was away, or never, or its record is lost.
NEVER_ARMED = ("reset", *BITTEN, "power-gone", "main-dead", "torn-record", "records-damaged", "magnet-brushed",
               "weak-supply", "cell-gone", "load-resets")

# A load was switched on and the controller was gone: an attempt is a load as well.
FIRING_CUT = ("attempt-resets", "load-resets")
# In attempt after attempt the drive takes the supply down: which part of it is weak shows on the bench alone.
DRIVE_TOO_MUCH = (*FIRING_CUT, "weak-supply", "bad-circuit", "cell-gone", "old-battery")

# The reading of the pressure is off by a number of millibars: by what, no single depth tells.
OFF_READING = ("pressure-offset", "pressure-drifts-warm", "pressure-creeps")

# One reading of the pressure is off and the next is right: what it was is over.
PRESSURE_BLINKED = ("pressure-noisy", *OFF_READING, "pressure-saturated", "pressure-frozen")

# One reading of the supply is off and the next is right.
SUPPLY_BLINKED = ("weak-supply", "cell-gone", "battery-misread")

# The clock and the count are apart by no more than a sleep: which of them leapt is not in the journal.
CLOCK_APART = ("clock-jumps", "counter-wraps")
CLOCK_LOST = ("clock-never-set", "clock-lost")  # without its time from the first record on: its flag is the same

# The camera answers no button: from outside a hung camera, a full card and a deaf button look alike.
CAMERA_DEAF = ("card-full", "press-missed", "camera-crashed")

# It comes to rest above the planned seabed: a line holds it, or the seabed is there.
TOO_HIGH = ("shallower", "caught")

# What follows from a pressure that cannot be trusted: these are judged by depth.
BY_DEPTH = ("deeper", "shallower", "caught", "never-sinks", "deep-mud", "ballast-hangs", *LET_GO_BY_OTHERS,
            "contact-dead", "contact-bridged", "colder", "deep-thermocline", "temperature-misread", "heavy-swell",
            *NOT_OPENED, "hauled-back")


def but(group: tuple[str, ...], *left_out: str) -> tuple[str, ...]:
    """A group without some of its kinds."""
    return tuple(kind for kind in group if kind not in left_out)
