"""The mission record: what the plan orders the controller to do, as the controller keeps it.

`FIELDS` is the one list of these numbers. The host packs a plan by it, the board unpacks and range-checks by
it, the documents are printed from it. Times are in tenths of a second (`_ds`), the unit of mission time: on a
32-bit board an integer is free of allocation below 2^30, which is 3.4 years of tenths.

Layout, little-endian: magic "TH", version u16, number of fields u16, each field i32, CRC-16 of all before it.
"""

import struct

from lander.checksum import crc16

TYPE_CHECKING = False  # True for the type checker alone; see lander.signals
MAGIC = b"TH"
VERSION = 3
MISSION_LIMIT_DS = 60 * 24 * 3600 * 10  # no plan may run longer than 60 days
_HOUR_DS = 36000

NONE, LAMP, CURRENT = 0, 1, 2  # camera_feedback
SWITCHED, OWN_PACK = 0, 1  # camera_supply
# Bits of self_test: which parts the self-test before arming makes.
TEST_SENSORS, TEST_CIRCUITS, TEST_STORE, TEST_CAMERA, TEST_LIGHTS = 1, 2, 4, 8, 16
TEST_ALL = 31
WIRE, LATCH = 0, 1  # kind of a release channel, for the journal's reader only

# name, lowest, highest, default, one after the other: a tuple a row would cost a board 2 KiB. Read it by `rows()`.
# What each means stands in lander.words.
FIELDS = (
    "timed_release_ds", 600, MISSION_LIMIT_DS, 3 * _HOUR_DS,
    "latest_release_ds", 600, MISSION_LIMIT_DS, 4 * _HOUR_DS,
    "settle_latest_ds", 100, MISSION_LIMIT_DS, 18000,
    "slowest_ascent_ds", 100, MISSION_LIMIT_DS, 36000,
    "surface_margin_ds", 0, _HOUR_DS * 24, 6000,
    "power_gap_ds", 100, MISSION_LIMIT_DS, 6000,
    "beacon_ds", 600, MISSION_LIMIT_DS, 48 * _HOUR_DS,
    "beacon_ma", 1, 20000, 100,
    "night_from_min", 0, 1439, 0,
    "night_until_min", 0, 1439, 0,
    "pause_ds", 50, _HOUR_DS, 600,
    "pause_max_ds", 50, 4 * _HOUR_DS, 18000,
    "shed_ds", 10, 1200, 200,
    "fire_primary_ds", 1, 18000, 600,
    "fire_backup_ds", 1, 18000, 600,
    "kind_primary", WIRE, LATCH, WIRE,
    "kind_backup", WIRE, LATCH, LATCH,
    "rise_cm", 50, 5000, 300,
    "stalled_ds", 100, 36000, 900,
    "cm_per_bar", 900, 1100, 991,
    "pressure_full_mbar", 1500, 1200000, 61500,
    "submerged_cm", 30, 2000, 150,
    "surface_cm", 10, 1000, 100,
    "sign_hold_ds", 10, 600, 50,
    "one_sign_wait_ds", 600, 4 * _HOUR_DS, 9000,
    "settled_band_cm", 5, 500, 50,
    "settled_ds", 50, 36000, 300,
    "too_deep_cm", 200, 1100000, 60000,
    "leak_hold_ds", 5, 600, 50,
    "low_hold_ds", 50, 18000, 600,
    "reserve_mv", 2000, 60000, 12600,
    "capacity_mah", 10, 1000000, 10000,
    "reserve_mah", 1, 1000000, 3000,
    "controller_ma", 1, 2000, 40,
    "camera_ma", 0, 20000, 500,
    "lights_ma", 0, 50000, 1000,
    "fan_ma", 0, 5000, 100,
    "fire_ma", 1, 50000, 1000,
    "camera_feedback", NONE, CURRENT, NONE,
    "camera_supply", SWITCHED, OWN_PACK, SWITCHED,
    "power_press_ds", 1, 100, 30,
    "record_press_ds", 1, 20, 3,
    "camera_start_ds", 1, 1200, 120,
    "camera_stop_ds", 1, 600, 40,
    "camera_answer_ds", 1, 300, 30,
    "camera_on_ma", 1, 20000, 80,
    "camera_recording_ma", 1, 20000, 370,
    "camera_lamp_permille", 1, 1000, 400,
    "camera_hot_centi_c", 3000, 9000, 5800,
    "camera_cool_centi_c", 1000, 8900, 4500,
    "film_descent", 0, 1, 1,
    "lights_pct", 0, 100, 70,
    "lights_on_ds", 0, MISSION_LIMIT_DS, 0,
    "lights_off_ds", 0, MISSION_LIMIT_DS, 0,
    "fan_on_centi_c", -500, 8000, 3400,
    "fan_off_centi_c", -500, 8000, 2900,
    "magnet_hold_ds", 10, 300, 50,
    "magnet_hold_max_ds", 20, 1200, 150,
    "self_test", 0, TEST_ALL, 0,
    "reading_descent_ds", 5, 300, 20,
    "reading_bottom_ds", 10, 6000, 100,
    "reading_surface_ds", 10, 36000, 3000,
)
NAMES = tuple([str(FIELDS[at]) for at in range(0, len(FIELDS), 4)])
RECORD_BYTES = 6 + 4 * len(NAMES) + 2


def rows():
    """Name, lowest, highest and default of every field."""
    for at in range(0, len(FIELDS), 4):
        yield FIELDS[at:at + 4]


# Pairs that must stand in this order, whatever the plan says: (smaller, larger, strictly).
ORDER = (
    ("timed_release_ds", "latest_release_ds", True),
    ("shed_ds", "timed_release_ds", True),
    ("pause_ds", "pause_max_ds", False),
    ("surface_cm", "submerged_cm", True),
    ("submerged_cm", "too_deep_cm", True),
    ("magnet_hold_ds", "magnet_hold_max_ds", True),
    ("fan_off_centi_c", "fan_on_centi_c", True),
    ("camera_cool_centi_c", "camera_hot_centi_c", True),
    ("camera_on_ma", "camera_recording_ma", True),
    ("reserve_mah", "capacity_mah", True),
)


class Orders:
    """The numbers of one mission, each an attribute named as in `FIELDS`.

    A fresh object holds defaults that lead home; `good` tells whether a whole, checked record was read.
    """

    def __init__(self) -> None:
        self.good = False
        for name, _lowest, _highest, default in rows():
            setattr(self, name, default)

    if TYPE_CHECKING:
        def __getattr__(self, name: str) -> int: ...  # every field is an int


def fault(orders: Orders) -> str:
    """The first thing wrong with these orders, in one sentence, or an empty string."""
    for name, lowest, highest, _default in rows():
        value = getattr(orders, name)
        if not lowest <= value <= highest:
            return "%s is %d; allowed is %d to %d" % (name, value, lowest, highest)
    for smaller, larger, strictly in ORDER:
        low, high = getattr(orders, smaller), getattr(orders, larger)
        if low > high or (strictly and low == high):
            return "%s is %d and must be %s %s, which is %d" % (
                smaller, low, "below" if strictly else "at most", larger, high)
    if orders.latest_release_ds + orders.slowest_ascent_ds + orders.beacon_ds > MISSION_LIMIT_DS:
        return "latest release, ascent and beacon hours together are %d tenths of a second; the mission counter" \
            " is trusted to %d" % (orders.latest_release_ds + orders.slowest_ascent_ds + orders.beacon_ds,
                                   MISSION_LIMIT_DS)
    return ""


def pack(orders: Orders) -> bytes:
    """The mission record of these orders. Raises ValueError with the reason when `fault` finds one."""
    wrong = fault(orders)
    if wrong:
        raise ValueError(wrong)
    record = bytearray(RECORD_BYTES)
    struct.pack_into("<2sHH", record, 0, MAGIC, VERSION, len(NAMES))
    for index, name in enumerate(NAMES):
        struct.pack_into("<i", record, 6 + 4 * index, getattr(orders, name))
    struct.pack_into("<H", record, RECORD_BYTES - 2, crc16(record, 0, RECORD_BYTES - 2))
    return bytes(record)


def unpack(record) -> Orders:
    """Orders read from a mission record; `good` is False, and the defaults stand, when it is damaged."""
    orders = Orders()  # one at a time: two of them are more than a crowded heap has in one piece
    if not _is_whole(record):
        return orders
    for index, name in enumerate(NAMES):
        setattr(orders, name, struct.unpack_from("<i", record, 6 + 4 * index)[0])
    orders.good = not fault(orders)
    return orders if orders.good else Orders()


def _is_whole(record) -> bool:
    if record is None or len(record) != RECORD_BYTES:
        return False
    magic, version, count = struct.unpack_from("<2sHH", record, 0)
    if magic != MAGIC or version != VERSION or count != len(NAMES):
        return False
    return struct.unpack_from("<H", record, RECORD_BYTES - 2)[0] == crc16(record, 0, RECORD_BYTES - 2)
