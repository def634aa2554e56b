"""What every signal of the second board is: the words beside the pin numbers of `boards.second`.

For people, documents and tests; never loaded on a board. Columns as in `boards.wiring`.
"""

from boards.wiring import ANALOGUE, BUS, INPUT, OUTPUT, PWM

SECOND = (
    ("backup_fire", PWM, "low", "10 kOhm to ground at the switch",
     "drives the backup release, through a fuse and a diode of its own, beside the main board's driver"),
    ("backup_arm", OUTPUT, "low", "10 kOhm to ground at the switch",
     "arm switch in series with it where the backup is a wire; else not connected"),
    ("backup_trickle", OUTPUT, "low", "none", "test current into a wire: 330 Ohm, Schottky diode; else not connected"),
    ("backup_sense", ANALOGUE, "input", "none", "current of a wire: shunt and amplifier; else not connected"),
    ("backup_node", ANALOGUE, "input", "1 MOhm to ground", "voltage at a wire; else not connected"),
    ("contact_drive_a", OUTPUT, "low", "none", "drives its own wet contact outside one way"),
    ("contact_drive_b", OUTPUT, "low", "none", "drives its own wet contact outside the other way"),
    ("contact_node", ANALOGUE, "input", "none; 1 nF to ground", "wet contact: what stands between its electrodes"),
    ("magnet", INPUT, "input", "10 to 100 kOhm to 3.3 V", "hall or reed switch behind the wall: low with a magnet"),
    ("heartbeat", INPUT, "input", "47 kOhm in series, and 1 MOhm to ground",
     "the main board's heartbeat: so little current that a dead or flooded main board pulls nothing down"),
    ("status", OUTPUT, "low", "none", "lamp that tells the person on deck what the second board does"),
    ("i2c_sda", BUS, "input", "4.7 kOhm to 3.3 V", "data of its own pressure sensor"),
    ("i2c_scl", BUS, "input", "4.7 kOhm to 3.3 V", "clock of its pressure sensor's bus"),
)
