"""What the mission is told and what it answers: plain integers, one table for each direction.

The tables are the one source for the attributes, for the ranges that the wire accepts, for the boards and for the
documents. A reading comes with an `_ok` of its own: 0 says that the reading is invalid, whatever it shows.
"""

from lander.journal import RECORD_BYTES

TYPE_CHECKING = False  # True for the type checker alone; at run time a __getattr__ would make every reading slow
LARGEST = (1 << 30) - 1  # larger integers allocate on a 32-bit board

INPUTS = (
    # name, lowest, highest, at start; what each means stands in lander.words
    ("uptime_ds", 0, LARGEST, 0),
    ("clock_s", 0, LARGEST, 0),
    ("clock_ok", 0, 1, 0),
    ("reset_cause", 0, 2, 0),
    ("pressure_mbar", 0, 1300000, 1013),
    ("pressure_ok", 0, 1, 0),
    ("contact_wet", 0, 1, 0),
    ("contact_ok", 0, 1, 0),
    ("leak_wet", 0, 1, 0),
    ("leak_ok", 0, 1, 0),
    ("supply_mv", 0, 100000, 0),
    ("supply_ok", 0, 1, 0),
    ("supply_ma", 0, 100000, 0),
    ("current_ok", 0, 1, 0),
    ("camera_centi_c", -10000, 20000, 1500),
    ("camera_temp_ok", 0, 1, 0),
    ("housing_centi_c", -10000, 20000, 1500),
    ("housing_temp_ok", 0, 1, 0),
    ("water_centi_c", -10000, 20000, 1500),
    ("water_temp_ok", 0, 1, 0),
    ("camera_ma", 0, 100000, 0),
    ("camera_lamp_permille", 0, 1000, 0),
    ("camera_feedback_ok", 0, 1, 0),
    ("release_ma", 0, 100000, 0),
    ("release_ok", 0, 1, 0),
    ("magnet", 0, 1, 0),
    ("store_free", 0, LARGEST, 4096),
    ("store_lost", 0, 1000, 0),
    ("primary_circuit", 0, 3, 0),
    ("backup_circuit", 0, 3, 0),
    ("store_test", 0, 2, 0),
    ("plan_copies", 0, 2, 2),
    ("command", 0, 6, 0),
)

# Commands on the bench line.
NOTHING, ASK_ARM, ASK_DISARM, READY_PRIMARY, READY_BACKUP, FIRE, ASK_ARM_ANYWAY = range(7)

OUTPUTS = (
    # name, lowest, highest
    ("state", 0, 7),
    ("release_primary_pct", 0, 100),
    ("release_backup_pct", 0, 100),
    ("camera_supply", 0, 1),
    ("power_button", 0, 1),
    ("record_button", 0, 1),
    ("lights_pct", 0, 100),
    ("fan", 0, 1),
    ("beacon_code", 0, 2),
    ("report", 0, 1),
    ("status_code", 0, 15),
    ("refused", 0, 31),
    ("self_test", 0, 1),
    ("wake_ds", 1, 36000),
    ("record_count", 0, 8),
)

# Why a command or a gesture was refused.
(FINE, DEAF, WRONG_STATE, BAD_PLAN, WATER_INSIDE, NO_BATTERY, NO_PRESSURE, NO_CONTACT, NO_ROOM, NOT_READY,
 SIGN_OF_WATER, NO_LEAK_PROBE, NO_CLOCK, NO_TEMPERATURE, NO_CURRENT, NO_RELEASE_CURRENT, NO_FEEDBACK, PLAN_COPIES,
 PRIMARY_OPEN, PRIMARY_SHORTED, BACKUP_OPEN, BACKUP_SHORTED, CIRCUITS_UNTESTED, STORE_FAILED, NO_RECORDING,
 CAMERA_STAYS_ON, CAMERA_HOT, LIGHTS_WRONG, NOT_TESTED, CALLED_OFF) = range(30)

RECORDS_MAX = 8


class Inputs:
    """The readings of one instant; a board, the sea trial or the wire fills them."""

    __slots__ = tuple([row[0] for row in INPUTS])

    def __init__(self) -> None:
        for name, _lowest, _highest, start in INPUTS:
            setattr(self, name, start)

    if TYPE_CHECKING:
        def __getattr__(self, name: str) -> int: ...  # every field is an int


class Outputs:
    """What the mission wants: a board stores the records first, then applies the rest."""

    __slots__ = tuple([row[0] for row in OUTPUTS]) + ("records",)

    def __init__(self) -> None:
        for name, lowest, _highest in OUTPUTS:
            setattr(self, name, lowest)
        self.records = bytearray(RECORDS_MAX * RECORD_BYTES)

    if TYPE_CHECKING:
        def __getattr__(self, name: str) -> int: ...  # every field is an int
