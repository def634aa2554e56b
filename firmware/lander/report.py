"""What the lander calls at the surface: the report in its two forms, and when the next one is due.

`FIELDS` is the one list of what a report says; the sentence for a plain serial line and the frame for a radio are both
made by it, the receiver on the boat reads both by it, and the documents are printed from it.

    $PTHL,1,18764,7,230040000,4610000,-2840000,4,13180,1,11,95,5C1E*4F     sentence, at most 82 bytes with its end

Sentence: the fields in order as decimal numbers, then in four hexadecimal digits the checksum of the frame that they
make, then that of NMEA 0183. The address is our own choice: P for a sentence of no standard, THL for the maker.
Frame: the fields little-endian, then CRC-16/IBM-3740 of all before it.

Loaded only at the surface, where nothing else is in a hurry: this part may allocate.
"""

import struct

from lander import release, table
from lander.checksum import crc16

VERSION = 1
ADDRESS = "PTHL"

# Name, code of `struct`, lowest and highest, one after the other; what each means stands in lander.words.
FIELDS = (
    "version", "B", 0, 9,
    "lander", "H", 0, 65535,
    "number", "H", 0, 9999,
    "clock_s", "I", 0, (1 << 30) - 1,
    "latitude_deg_e5", "i", -9000000, 9000000,
    "longitude_deg_e5", "i", -18000000, 18000000,
    "age_s", "I", 0, 5184000,
    "supply_mv", "H", 0, 65535,
    "path", "B", 0, 7,
    "flags", "B", 0, 15,
    "silent_h", "H", 0, 999,
)
NAMES = tuple([str(FIELDS[at]) for at in range(0, len(FIELDS), 4)])
FLAGS_AT = NAMES.index("flags")
FORMAT = "<" + "".join([str(FIELDS[at]) for at in range(1, len(FIELDS), 4)])
CRC_AT = struct.calcsize(FORMAT)
FRAME_BYTES = CRC_AT + 2

# Release paths, and flags.
UNKNOWN, TIMED, LATEST, LOW, LEAK, OTHER, BACKUP, UNCOMMANDED = range(8)
FIX_KNOWN, FIX_NEW, AWASH, CLOCK_SURE = 1, 2, 4, 8

# Percent of the charge that the planned hours need, and the tenths of a second between reports while there is so much.
PACE = ((100, 1200), (75, 3000), (50, 9000), (25, 18000), (0, 36000))
LOW_PCT = 75  # no more is believed of a charge whose voltage is down to the reserve
DIM_PCT = 50  # and no less by the voltage alone: a cell that failed leaves the others' charge, and the receiver rests
AGAIN_DS = 150  # between the two of a doubled report
NEW_DS = 100  # a fix is new for so long
AWASH_DS = 600  # a due report waits so long for an antenna that is clear of the water
ALWAYS_DS = 3000  # with reports as often as this the receiver stays on between them
FIND_DS, SEEK_DS = 1800, 9000  # else it comes on so long before one, with an earlier fix and without
STUCK_DS = 1800  # a report that has not left by then is no reason to stay on: the radio may be dead
MEASURED_MIN = 60  # a measured mean current of less than this is no mean
DAY_MIN = 1440  # what was not measured yet of the first day is counted as planned: nights draw more than days


def clamp(values) -> None:
    """Bring each value into the range of its field."""
    for at in range(len(NAMES)):
        values[at] = max(FIELDS[4 * at + 2], min(FIELDS[4 * at + 3], values[at]))


def frame(values) -> bytearray:
    """The binary form of these values, which stand in the order of `NAMES`."""
    made = bytearray(FRAME_BYTES)
    struct.pack_into(FORMAT, made, 0, *values)
    struct.pack_into("<H", made, CRC_AT, crc16(made, 0, CRC_AT))
    return made


def sentence(values) -> str:
    """The same as a line of text, with its end."""
    body = ADDRESS
    for value in values:
        body += ",%d" % value
    body += ",%04X" % struct.unpack_from("<H", frame(values), CRC_AT)[0]
    total = 0
    for byte in body.encode():
        total ^= byte
    return "$%s*%02X\r\n" % (body, total)


def path_of(mission) -> int:
    """The way that the lander came up, as far as this run of the controller knows it."""
    if mission.command_ds < 0:  # by the second board or the passive link; a controller that is safe lost its dive
        return UNKNOWN if mission.state == table.SAFE else UNCOMMANDED
    if mission.release.attempts and mission.release.channel == release.BACKUP:
        return BACKUP
    if mission.why == table.STAY:
        return UNKNOWN
    if mission.release.attempts > 1:
        return OTHER  # hours may lie between the first attempt and this one
    when = table.ROWS[mission.why][table.WHEN]
    if when & table.DUE:
        return TIMED
    if when & table.LATEST:
        return LATEST
    if when & table.LOW:
        return LOW
    return LEAK if when & table.LEAK else OTHER


def charge_pct(mission, now_ds: int) -> int:
    """Charge left, percent of what the rest of the planned hours needs: 100 for as much or more, 0 after them."""
    orders = mission.orders
    left_ds = mission.surface_ds + orders.beacon_ds - now_ds if mission.state == table.SURFACE else orders.beacon_ds
    if left_ds <= 0:
        return 0
    needed_mah = orders.beacon_ma * (left_ds // 600) // 60
    counted_pct = _pct(max(0, orders.capacity_mah - mission.energy.used_mah), needed_mah)
    if not mission.energy.voltage_low.on:
        return counted_pct
    return min(counted_pct, LOW_PCT, max(DIM_PCT, _pct(mission.energy.left_mah(), needed_mah)))


def _pct(left_mah: int, needed_mah: int) -> int:
    return 100 if left_mah >= needed_mah else left_mah * 100 // needed_mah


class Caller:
    """Decides when to report, and what. Moments are mission time.

    `hear` every measured fix; while `is_due`, try to send the values of `say`, and tell `sent` those that have left.
    `wants_fix` says whether the receiver has to be on.
    """

    def __init__(self, mission, lander: int) -> None:
        self._lander = lander
        self._number = 0
        self._owed = 1
        self._next_ds = mission.mission_ds  # the first one at once: that it is up counts more than where
        self._latitude = self._longitude = 0
        self._fix_ds = -1
        self._is_told = False  # the last report had a new fix
        self._from_ds = mission.mission_ds
        self._from_mah = mission.energy.used_mah

    def hear(self, fix_ds: int, latitude_deg_e5: int, longitude_deg_e5: int) -> None:
        """A new fix, of that moment. The first after none or an old one is sent at once, and twice."""
        self._latitude, self._longitude = latitude_deg_e5, longitude_deg_e5
        self._fix_ds = fix_ds
        if not self._is_told:
            self._is_told = True
            self._owed = 2
            self._next_ds = fix_ds

    def is_awash(self, mission) -> int:
        """1 while the antenna seems to be under water: by the depth, or a fix that was there a moment ago is gone."""
        if mission.depth.valid and mission.depth.depth_cm > mission.orders.surface_cm:
            return 1
        return 1 if self._fix_ds >= 0 and NEW_DS < mission.mission_ds - self._fix_ds <= NEW_DS + AWASH_DS else 0

    def is_due(self, now_ds: int, awash: int) -> bool:
        """Whether a report is to be sent now; while the antenna is awash it is put off for a minute at most."""
        return now_ds - self._next_ds >= (AWASH_DS if awash else 0)

    def say(self, mission, inputs, awash: int, clock_s: int, is_sure: int):
        """The values of the report of this instant. `clock_s` 0: nobody knows the time."""
        now_ds = mission.mission_ds
        age_ds = now_ds - self._fix_ds
        flags = 0
        if self._fix_ds >= 0:
            flags = FIX_KNOWN | FIX_NEW if age_ds <= NEW_DS else FIX_KNOWN
        flags |= (AWASH if awash else 0) | (CLOCK_SURE if is_sure else 0)
        values = [VERSION, self._lander, self._number, clock_s, self._latitude, self._longitude,
                  age_ds // 10 if flags & FIX_KNOWN else 0, inputs.supply_mv if inputs.supply_ok else 0,
                  path_of(mission), flags, self.silent_h(mission, inputs.current_ok)]
        clamp(values)
        return values

    def sent(self, mission, values) -> None:
        """The report that was due has left, with these values: a fix that came while it waited is not told yet."""
        now_ds = mission.mission_ds
        self._number = (self._number + 1) % 10000
        self._is_told = bool(values[FLAGS_AT] & FIX_NEW)
        self._owed -= 1
        if self._owed > 0:
            self._next_ds = now_ds + AGAIN_DS
            return
        self._owed = 1
        self._next_ds = now_ds + self.every_ds(mission)

    def every_ds(self, mission) -> int:
        """Between two reports: the less charge there is for the planned hours, the longer."""
        share = charge_pct(mission, mission.mission_ds)
        at = len(PACE) - 1  # whatever the share is, there is a pace for it
        while at > 0 and share >= PACE[at - 1][0]:
            at -= 1
        return PACE[at][1]

    def wants_fix(self, mission) -> bool:
        """Always where reports are frequent; else for some minutes before the next one, longer without any fix yet;
        as if they left in time where none does."""
        every_ds, left_ds = self.every_ds(mission), self._next_ds - mission.mission_ds
        if left_ds < -STUCK_DS:
            left_ds %= every_ds
        return every_ds <= ALWAYS_DS or left_ds <= (FIND_DS if self._fix_ds >= 0 else SEEK_DS)

    def silent_h(self, mission, current_ok: int) -> int:
        """Whole hours until the charge is gone: at the mean current since the first report, and before a day of it
        at no less than the plan has for the rest of that day. Without a measured current the plan's, at the least."""
        minutes = (mission.mission_ds - self._from_ds) // 600
        drawn_mah = mission.energy.used_mah - self._from_mah
        planned_mah = mission.orders.beacon_ma * max(0, DAY_MIN - minutes) // 60
        mean_ma = -(-(drawn_mah + planned_mah) * 60 // max(DAY_MIN, minutes))
        if not current_ok:
            mean_ma = max(mean_ma, mission.orders.beacon_ma)
        elif minutes >= MEASURED_MIN:
            mean_ma = max(mean_ma, -(-drawn_mah * 60 // minutes))
        return mission.energy.left_mah() // max(1, mean_ma)
