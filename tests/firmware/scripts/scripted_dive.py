"""A dive by script that runs unchanged in CPython and in MicroPython, with `firmware/` on the path.

    scripted_dive.py bytes    every journal record in hexadecimal, and the outputs of each step
    scripted_dive.py memory   under MicroPython: bytes allocated in steps, by state; each step runs under heap_lock
"""

import binascii
import gc
import sys

from lander import journal, orders, signals, table
from lander.mission import Mission

try:
    import micropython
except ImportError:
    micropython = None

NUMBERS = (
    ("timed_release_ds", 9000), ("latest_release_ds", 15000), ("slowest_ascent_ds", 6000), ("pause_max_ds", 1200),
    ("camera_feedback", orders.CURRENT), ("beacon_ds", 3000), ("reading_surface_ds", 300),
    ("self_test", orders.TEST_ALL),
)

# What the sea does: name of an input or of the rate, and its value from that second on.
EVENTS = (
    (5, "magnet", 1), (12, "magnet", 0), (14, "primary_circuit", 1), (14, "backup_circuit", 1), (15, "store_test", 1),
    (17, "camera_ma", 520), (24, "camera_ma", 2), (38, "camera_ma", 520), (40, "rate", 100), (80, "rate", 0),
    (200, "camera_ma", 0),
    (230, "camera_ma", 520), (300, "pressure_mbar", 60000), (301, "pressure_mbar", -1), (400, "camera_centi_c", 5900),
    (500, "camera_centi_c", 1500), (600, "pressure_ok", 0), (640, "pressure_ok", 1), (700, "clock_s", 5),
    (760, "supply_ok", 0), (1500, "rate", -50), (1600, "rate", 0), (1700, "rate", 40), (1760, "rate", 0),
    (2200, "rate", -60), (2400, "rate", 0), (2900, "depth", 0), (3000, "magnet", 1), (3007, "magnet", 0),
)
END_S = 3100
CONTACT_CM = 10


class Sea:
    def __init__(self):
        self.depth_cm = 0
        self.rate_cm_s = 0
        self.next = 0
        self.forced_mbar = -1

    def bring(self, now_s):
        """The next event that is due, applied; returns its name and value, or None."""
        if self.next >= len(EVENTS) or EVENTS[self.next][0] > now_s:
            return None
        _at, name, value = EVENTS[self.next]
        self.next += 1
        if name == "rate":
            self.rate_cm_s = value
        elif name == "depth":
            self.depth_cm = value
        elif name == "pressure_mbar":
            self.forced_mbar = value
        else:
            return name, value
        return name, -1

    def show(self, inputs, span_ds):
        self.depth_cm = max(0, self.depth_cm + self.rate_cm_s * span_ds // 10)
        inputs.pressure_mbar = self.forced_mbar if self.forced_mbar >= 0 else 1013 + self.depth_cm * 1000 // 991
        inputs.contact_wet = 1 if self.depth_cm > CONTACT_CM else 0


def mission_record():
    given = orders.Orders()
    for name, value in NUMBERS:
        setattr(given, name, value)
    return orders.pack(given)


def fresh_inputs():
    inputs = signals.Inputs()
    for row in signals.INPUTS:
        if row[0].endswith("_ok"):
            setattr(inputs, row[0], 1)
    inputs.supply_mv = 15800
    inputs.supply_ma = 300
    inputs.camera_ma = 2
    return inputs


def run(act):
    """Run the script; `act(mission, inputs, outputs)` steps and looks."""
    inputs, outputs, sea = fresh_inputs(), signals.Outputs(), Sea()
    mission = Mission(mission_record())
    mission.boot(None, inputs)
    now_ds = 0
    while now_ds <= END_S * 10:
        event = sea.bring(now_ds // 10)
        while event:
            if hasattr(inputs, event[0]):
                setattr(inputs, event[0], event[1])
            event = sea.bring(now_ds // 10)
        span_ds = now_ds - inputs.uptime_ds
        inputs.uptime_ds = now_ds
        inputs.clock_s += span_ds // 10
        sea.show(inputs, span_ds)
        act(mission, inputs, outputs)
        inputs.supply_ma = 300 + 10 * outputs.lights_pct
        now_ds += min(outputs.wake_ds, 20)


def print_step(mission, inputs, outputs):
    mission.step(inputs, outputs)
    told = " ".join([str(getattr(outputs, row[0])) for row in signals.OUTPUTS])
    print(inputs.uptime_ds, told)
    for index in range(outputs.record_count):
        first = index * journal.RECORD_BYTES
        print(binascii.hexlify(outputs.records[first:first + journal.RECORD_BYTES]).decode())


class Meter:
    """Bytes allocated in steps, by the state in which the step began; a step that changes the state counts too."""

    def __init__(self):
        self.bytes = [0] * len(table.STATES)
        self.steps = [0] * len(table.STATES)
        self.failed = ""

    def step(self, mission, inputs, outputs):
        state = mission.state
        gc.collect()
        gc.disable()
        before = gc.mem_alloc()
        micropython.heap_lock()
        try:
            mission.step(inputs, outputs)
        except MemoryError:
            micropython.heap_unlock()
            self.failed = "allocates in %s at %d" % (table.STATES[state], inputs.uptime_ds)
            raise
        micropython.heap_unlock()
        self.bytes[state] += gc.mem_alloc() - before
        self.steps[state] += 1
        gc.enable()


def main(what):
    if what == "bytes":
        run(print_step)
        return
    meter = Meter()
    try:
        run(meter.step)
    except MemoryError:
        print(meter.failed)
        return
    for state in range(len(table.STATES)):
        print(table.STATES[state], meter.steps[state], meter.bytes[state])


main(sys.argv[1])
