"""The mission table: states, conditions and transitions, to be read aloud.

    Rule 1: a state changes only by a row of this table.
    Rule 2: rows of a state are tried from the top; the first whose conditions hold is taken, one a step.
    Rule 3: a condition is a judgement (`lander.judge`), a deadline, or a gesture: never a raw reading.

`ROWS` is what the controller runs; each row ends with its label and its reason, which stand in the journal and on
every page. The diagram, the reference machine, the exploration and the documents are made from it.
"""

SAFE, ARMED, DESCEND, RECORD, RELEASE, BACKUP, ASCEND, SURFACE = range(8)
STATES = ("safe", "armed", "descend", "record", "release", "backup", "ascend", "surface")

# Conditions. Each is one bit of the step's facts.
ARM_ASKED = 1 << 0
DISARM_ASKED = 1 << 1
WET = 1 << 2
BOTH_WET = 1 << 3
SURE = 1 << 4
SPRAY_DRIED = 1 << 5
OUT_OF_WATER = 1 << 6
SETTLED = 1 << 7
SETTLE_LATE = 1 << 8
DUE = 1 << 9
LATEST = 1 << 10
TIME_UNKNOWN = 1 << 11
POWER_GAP = 1 << 12
LOW = 1 << 13
LEAK = 1 << 14
TOO_DEEP = 1 << 15
PLAN_BAD = 1 << 16
RISING = 1 << 17
STALLED = 1 << 18
ASCENT_LATE = 1 << 19
AT_SURFACE = 1 << 20
TRIED = 1 << 21
COMMANDED = 1 << 22
SANK_AGAIN = 1 << 23
BUG = 1 << 24
ALONE = 1 << 25

# Their names, lowest bit first; what each means stands in lander.words.
CONDITIONS = (
    "arm_asked", "disarm_asked", "wet", "both_wet", "sure", "spray_dried", "out_of_water", "settled",
    "settle_late", "due", "latest", "time_unknown", "power_gap", "low", "leak", "too_deep", "plan_bad",
    "rising", "stalled", "ascent_late", "at_surface", "tried", "commanded", "sank_again", "bug", "alone",
)


def _homeward(state: int):
    """The rows that end a dive: the same from the descent and from the bottom."""
    name = STATES[state]
    return (
        (state, BUG,             0, RELEASE, name + "-bug: mission code found itself wrong: go home"),
        (state, TIME_UNKNOWN,    0, RELEASE, name + "-time: time unknown: counts as overdue"),
        (state, LATEST,          0, RELEASE, name + "-latest: latest release reached"),
        (state, LEAK | SURE,     0, RELEASE, name + "-leak: water inside"),
        (state, PLAN_BAD | SURE, 0, RELEASE, name + "-plan: mission record damaged"),
        (state, POWER_GAP | SURE, 0, RELEASE, name + "-gap: power was gone too long"),
        (state, TOO_DEEP | SURE, 0, RELEASE, name + "-deep: deeper than planned"),
        (state, LOW | SURE,      0, RELEASE, name + "-low: battery down to the reserve"),
        (state, DUE,             0, RELEASE, name + "-due: timed release due"),
    )


ROWS = (
    # from    when                     unless     to       label: because
    (SAFE,    ARM_ASKED,               0,         ARMED,   "safe-arm: asked for, checks passed or overridden"),
    (SAFE,    BOTH_WET | TIME_UNKNOWN, 0,         RELEASE, "safe-lost: under water with no journal to go by"),
    (SAFE,    BOTH_WET,                0,         DESCEND, "safe-splash: under water, never armed"),
    (SAFE,    ALONE,                   0,         DESCEND, "safe-alone: one sign of water for long, other unreadable"),
    (ARMED,   DISARM_ASKED,            0,         SAFE,    "armed-disarm: disarmed"),
    (ARMED,   WET,                     0,         DESCEND, "armed-splash: a sign of water held: clock started"),
    (DESCEND, DISARM_ASKED,            0,         SAFE,    "descend-disarm: disarmed"),
    (DESCEND, SPRAY_DRIED,             0,         ARMED,   "descend-dry: only spray: clock stopped"),
    (DESCEND, OUT_OF_WATER,            0,         SURFACE, "descend-hauled: back in the air: clock stopped"),
    (DESCEND, AT_SURFACE,              0,         SURFACE, "descend-afloat: back at the surface: clock goes on"),
) + _homeward(DESCEND) + (
    (DESCEND, SETTLED,                 0,         RECORD,  "descend-settled: on the bottom: depth stands still"),
    (DESCEND, SETTLE_LATE,             0,         RECORD,  "descend-assumed: on the bottom by time, not seen"),
    (RECORD,  OUT_OF_WATER,            0,         SURFACE, "record-hauled: back in the air: clock stopped"),
) + _homeward(RECORD) + (
    (RECORD,  RISING,                  0,         ASCEND,  "record-rising: rising before any release"),
    (RECORD,  AT_SURFACE,              0,         SURFACE, "record-afloat: at the surface before any release"),
    (RELEASE, OUT_OF_WATER,            0,         SURFACE, "release-hauled: back in the air: clock stopped"),
    (RELEASE, RISING,                  0,         ASCEND,  "release-rising: rise confirmed"),
    (RELEASE, DISARM_ASKED,            0,         SAFE,    "release-disarm: disarmed"),
    (RELEASE, TRIED,                   0,         BACKUP,  "release-tried: no rise: other channel"),
    (BACKUP,  OUT_OF_WATER,            0,         SURFACE, "backup-hauled: back in the air: clock stopped"),
    (BACKUP,  RISING,                  0,         ASCEND,  "backup-rising: rise confirmed"),
    (BACKUP,  DISARM_ASKED,            0,         SAFE,    "backup-disarm: disarmed"),
    (BACKUP,  TRIED,                   0,         RELEASE, "backup-tried: no rise: other channel"),
    (ASCEND,  OUT_OF_WATER,            0,         SURFACE, "ascend-hauled: in the air"),
    (ASCEND,  AT_SURFACE,              0,         SURFACE, "ascend-surface: at the surface"),
    (ASCEND,  DISARM_ASKED,            0,         SAFE,    "ascend-disarm: disarmed"),
    (ASCEND,  DUE,                     COMMANDED, RELEASE, "ascend-due: timed release due, none commanded"),
    (ASCEND,  STALLED,                 COMMANDED, RELEASE, "ascend-first: rise stopped before any release"),
    (ASCEND,  STALLED,                 0,         BACKUP,  "ascend-stalled: rise stopped: fire again"),
    (ASCEND,  ASCENT_LATE,             0,         BACKUP,  "ascend-late: no surface in time: fire again"),
    (SURFACE, DISARM_ASKED,            0,         SAFE,    "surface-disarm: recovered"),
    (SURFACE, TIME_UNKNOWN,            COMMANDED, RELEASE, "surface-time: time unknown: counts as overdue"),
    (SURFACE, DUE,                     0,         RELEASE, "surface-due: timed release due, clock runs"),
    (SURFACE, SANK_AGAIN | COMMANDED,  0,         BACKUP,  "surface-sank: sank again after a release"),
    (SURFACE, SANK_AGAIN,              0,         DESCEND, "surface-again: in the water again: clock started"),
)

FROM, WHEN, UNLESS, TO, WHY = range(5)

# For each state the numbers of its rows, and every condition that any of them asks for.
ROWS_FROM = tuple([tuple([n for n, row in enumerate(ROWS) if row[FROM] == state]) for state in range(len(STATES))])


def _asked(state: int) -> int:
    bits = 0
    for number in ROWS_FROM[state]:
        bits |= ROWS[number][WHEN]
    return bits


ASKED = tuple([_asked(state) for state in range(len(STATES))])
del _asked, _homeward  # the table is made; a board needs the room
STAY = -1


def row_taken(state: int, facts: int) -> int:
    """The number of the row that these facts take from this state, or STAY."""
    if not facts & ASKED[state]:
        return STAY
    for number in ROWS_FROM[state]:
        row = ROWS[number]
        if facts & row[WHEN] == row[WHEN] and not facts & row[UNLESS]:
            return number
    return STAY


def label(number: int) -> str:
    return ROWS[number][WHY].split(": ", 1)[0]


def because(number: int) -> str:
    return ROWS[number][WHY].split(": ", 1)[1]
