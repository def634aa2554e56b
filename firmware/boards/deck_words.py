"""What can be said to the board on deck, in words: the pairs of each verb, its answer, and what it does.

For people, documents and tests; never loaded on a board. Where a verb is allowed stands in `boards.deck_verbs`.
"""

from boards.deck_verbs import IN_AIR, IS_SAFE, NO_WATER, NOT_BUSY

# name, pairs, answer, what it does
VERBS = (
    ("hello", "", "lander= wire= orders= journal= board= id= reset=",
     "who is there: versions of firmware, line, mission record and journal record, kind of board, number of its chip,"
     " and why it started: power, watchdog or asked"),
    ("status", "", "state= refused= boots= uptime_ds= supply_mv= plan_copies= store_free= selftest= passed=",
     "what the mission does; why it refused the last command or gesture (number of a refusal, 0: it did not); part of"
     " the self-test that runs (0: none) and the bits of the parts that passed"),
    ("see", "[from=N]", "NAME=VALUE ... next=M",
     "inputs, then outputs, of the last step, from place N of the two tables on, as many as fit; next is where to go"
     " on, -1 at the end; after them faults, pins that refused"),
    ("clock", "[s=N]", "s= ok=",
     "seconds since 2020-01-01 00:00 UTC, and 1 where they can be trusted; with s, set it (only while safe and dry)"),
    ("ask", "command=NAME", "",
     "a command for the mission's next step, by name or by number from 1 on: arm, disarm, ready-primary, ready-backup,"
     " fire, arm-anyway; fire needs a ready of the ten seconds before; status tells a refusal; what is poked ends"),
    ("circuits", "", "primary= backup= primary_mv= backup_mv=",
     "test both releases by a trickle: 0 not known yet (ask again), 1 sound, 2 open, 3 shorted, and the voltage left at"
     " each; a finding is told once, then the next request tests anew"),
    ("poke", "output=NAME level=N ms=N", "",
     "one circuit on for 50 to 10000 ms, 0.4 s after the request: camera_supply, power_button, record_button, lights"
     " (level 1 to 100), fan, beacon, status, surface_supply, heartbeat (level 1); or camera, for up to 60000 ms: its"
     " supply, and its power button as the plan presses it; never a release"),
    ("poked", "", "output= level= left_ms= supply_mv= supply_ma= peak_ma= rest_ma= camera_ma=",
     "what was measured of it, -1 where nothing was read: lowest voltage, current at last, largest, at rest before, and"
     " that of the camera"),
    ("plan", "[at=N]", "bytes= generation= copies= crc=, or at= hex=",
     "the mission record that counts, read back, or 64 bytes of it; the CRC-16 is that of all but its last two bytes"),
    ("orders", "at=N hex=BYTES", "", "a piece of a mission record to be kept"),
    ("keep", "crc=HHHH", "generation= copies=",
     "make the record that was sent the plan, if the CRC-16 of all but its last two bytes is this one; the board starts"
     " anew after the answer"),
    ("journal", "", "slots= next= free= bad= newest= crc=",
     "slots in all, the next one, free ones, bad ones at the end; the newest record's number (-1: none) and its"
     " own CRC-16"),
    ("slot", "at=N [count=1]", "at= hex=", "the 64 bytes of a slot, blank or bad"),
    ("clear", "newest=N crc=HHHH", "",
     "begin an empty journal, if its newest record is this one; the board starts anew after the answer"),
    ("files", "[at=N]", "count= digest=, or at= name= bytes= digest=",
     "how many files the firmware has, and one digest of all; or one file: a digest is the first 16 digits of a"
     " SHA-256"),
    ("session", "", "",
     "the flight stands still and the line speaks lockstep, with all outputs dry; the board starts anew at bye, after a"
     " minute of silence, and when water comes while it is live"),
)

# Verbs that a session has besides those of `lander.console`.
SESSION_VERBS = (
    ("see", "[from=N]", "NAME=VALUE ... next=M", "the board's own sensors, and the outputs of the last step"),
    ("live", "[code=NNNN]", "code=",
     "first without a code: answers one and moves nothing; with that code within 30 s, on a dry board: outputs of boot"
     " and step go to the pins from now on"),
)

# What a verb wants, by the bits of `boards.deck_verbs`.
WANTS = (
    (IS_SAFE, "safe"),
    (NO_WATER, "no sign of water"),
    (IN_AIR, "a sensor says air"),
    (NOT_BUSY, "no release is fired, no self-test runs"),
)
