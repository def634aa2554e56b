"""A journal with a long stay on the seabed, one reading a second, for what is measured on it."""

import binascii

import numpy as np

from lander.journal import CRC_AT, RECORD_BYTES
from lander.table import RECORD
from seatrial.bodies import open_body
from seatrial.dive import Dive
from seatrial.plan import Plan
from tumblehome.debrief import log

DAY_S = 86_400
AT = 20  # the reading on the seabed that goes on
VOLTS_MV, RIPPLE_MV = 15_000, 7  # no two readings in a row are alike, as in a real log


def image_of(plan: Plan, readings: int, seed: int = 1) -> bytes:
    """The journal of a flown dive in which one reading on the seabed goes on for so many seconds, one a second."""
    flown = Dive(plan, [], seed, open_body("cpython", plan.mission_record())).run().journal
    records = log.parse(flown, "flown").records
    at = int(np.flatnonzero(records["state"] == RECORD)[AT])
    stay = np.repeat(records[at:at + 1], readings)
    rest = records[at:].copy()
    _move(stay, np.arange(readings))
    stay["supply_mv"] = VOLTS_MV + np.arange(readings) % RIPPLE_MV
    _move(rest, np.full(len(rest), readings))
    rest["command_ds"][rest["command_ds"] >= 0] += 10 * readings
    return _slots(np.concatenate((records[:at], stay, rest)))


def _move(records: np.ndarray, steps: np.ndarray) -> None:
    """So many seconds later each, and so many numbers."""
    for name, by in (("sequence", 1), ("mission_ds", 10), ("clock_s", 1)):
        records[name] += (steps * by).astype(records[name].dtype)


def _slots(records: np.ndarray) -> bytes:
    """The records as they lie in the memory, each with its checksum."""
    slots = np.full((len(records), RECORD_BYTES), 0xFF, np.uint8)
    packed = np.frombuffer(records.tobytes(), np.uint8).reshape(len(records), -1)
    slots[:, :packed.shape[1]] = packed
    for slot in slots:
        slot[CRC_AT:CRC_AT + 2] = np.frombuffer(
            binascii.crc_hqx(slot[:CRC_AT].tobytes(), 0xFFFF).to_bytes(2, "little"), np.uint8)
    return slots.tobytes()
