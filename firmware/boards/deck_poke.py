"""`poke`: one circuit on for a time, while its current is measured. Loaded when it is asked for.

A release is not among the circuits. The camera is more than a circuit: its supply comes on, its power button is pressed
as long as the plan says, and what it draws at the end is that of a camera that has started. One on its own pack is put
off by a second press at the end. The time is counted by the flight's own turns, so that it ends when the line is
dead; it ends at once when the mission is not safe any more, when it tests itself or fires, or at a sign of water. Then
the circuit goes back to what the mission wants.
"""

from boards import deck_verbs, drives
from drivers.upkeep import RING, elapsed_ms
from lander import wire
from lander.camera import SUPPLY_UP_DS
from lander.orders import OWN_PACK
from lander.table import SAFE

CIRCUITS = ("camera_supply", "power_button", "record_button", "lights", "fan", "beacon", "status", "surface_supply",
            "heartbeat", "camera")  # in the order of `boards.drives`
RELEASES = ("primary", "backup", "primary_arm", "primary_fire", "primary_trickle", "backup_opener", "backup_locker",
            "backup_trickle", "release_primary", "release_backup", "release_primary_pct", "release_backup_pct")
SHORTEST_MS, LONGEST_MS, CAMERA_MS = 50, 10000, 60000  # the last: the longest time of a camera, which starts slowly
PRESS_FROM_MS = 100 * SUPPLY_UP_DS
TURN_MS = 20  # between two looks meanwhile
REST_MS = 400  # before it comes on: a current sensor that has slept has two readings by then
UNKNOWN = -1


class Poke:
    """One circuit that is on, or was. Currents are those of the whole lander, -1 where none was read."""

    def __init__(self, circuit: int, level: int, span_ms: int, now_ms: int) -> None:
        self.circuit = circuit
        self.level = level
        self.is_over = 0
        self.left_ms = span_ms
        self.supply_mv = self.supply_ma = self.peak_ma = self.rest_ma = self.camera_ma = UNKNOWN
        self._is_on = 0
        self._since_ms = now_ms
        self._span_ms = span_ms

    def tick(self, flight, now_ms: int) -> None:
        """On when the current at rest is known, off when its time is over or it may not be on any more."""
        if self.is_over:
            return
        if (flight.mission.state != SAFE or flight.outputs.state != SAFE or deck_verbs.is_busy(flight)
                or deck_verbs.is_wet(flight)):
            self.end(flight, now_ms)
            return
        gone_ms = elapsed_ms(now_ms, self._since_ms)
        if not self._is_on:
            self._rest(flight, now_ms, gone_ms)
            return
        self.left_ms = max(0, self._span_ms - gone_ms)
        is_closing = self.circuit == drives.CAMERA and self._press(flight, now_ms, gone_ms)
        if not is_closing:
            self._measure(flight.gear)
        if not self.left_ms:
            self.end(flight, now_ms)

    def _press(self, flight, now_ms: int, gone_ms: int) -> int:
        """The camera's power button, by the time that has gone. 1 while it is pressed to put the camera off again."""
        its = flight.mission.orders
        press_ms = 100 * its.power_press_ds
        is_closing = 1 if its.camera_supply == OWN_PACK and self.left_ms <= press_ms else 0
        level = 1 if is_closing or PRESS_FROM_MS <= gone_ms < PRESS_FROM_MS + press_ms else 0
        if level != flight.drives.poked_level:
            flight.drives.poked_level = level
            flight.drives.show(flight.outputs, now_ms)
        return is_closing

    def _rest(self, flight, now_ms: int, gone_ms: int) -> None:
        if flight.gear.supply.current_ok:
            self.rest_ma = max(0, flight.gear.supply.current_ma)
        if gone_ms < REST_MS:
            return
        self._is_on = 1
        self._since_ms = now_ms
        flight.drives.poked = self.circuit
        flight.drives.poked_level = 0 if self.circuit == drives.CAMERA else self.level
        flight.drives.show(flight.outputs, now_ms)

    def _measure(self, gear) -> None:
        supply, camera = gear.supply, gear.camera_current
        if supply.voltage_ok and (self.supply_mv == UNKNOWN or supply.voltage_mv < self.supply_mv):
            self.supply_mv = supply.voltage_mv
        if supply.current_ok:
            self.supply_ma = max(0, supply.current_ma)
            self.peak_ma = max(self.peak_ma, self.supply_ma)
        if camera.current_ok:
            self.camera_ma = max(0, camera.current_ma)

    def end(self, flight, now_ms: int) -> None:
        """Off, and what the mission wants counts again."""
        if self.is_over:
            return
        self.is_over = 1
        self.left_ms = 0
        flight.line.wanted_ms = RING
        flight.drives.poked = drives.NONE
        if self._is_on:
            flight.drives.show(flight.outputs, now_ms)


def poke(line, flight, pairs, now_ms: int) -> str:
    """Begin."""
    name = pairs.pop("output", "")
    if name in RELEASES:
        raise wire.WireError("release: ready and fire")
    if name not in CIRCUITS:
        raise wire.WireError("output=%s: allowed is %s" % (name[:20], " ".join(CIRCUITS)))
    level = wire.take(pairs, "level", 1, 100 if name == "lights" else 1)
    span_ms = wire.take(pairs, "ms", SHORTEST_MS, CAMERA_MS if name == "camera" else LONGEST_MS)
    wire.nothing_else(pairs)
    if line.poke is not None and not line.poke.is_over:
        raise wire.WireError("busy: %s is on" % CIRCUITS[line.poke.circuit])
    line.poke = Poke(CIRCUITS.index(name), level, span_ms, now_ms)
    line.wanted_ms = TURN_MS
    return ""


def poked(line, _flight, pairs, _now_ms: int) -> str:
    """What was measured."""
    wire.nothing_else(pairs)
    if line.poke is None:
        raise wire.WireError("nothing was poked")
    its = line.poke
    return "output=%s level=%d left_ms=%d supply_mv=%d supply_ma=%d peak_ma=%d rest_ma=%d camera_ma=%d" % (
        CIRCUITS[its.circuit], its.level, its.left_ms, its.supply_mv, its.supply_ma, its.peak_ma, its.rest_ma,
        its.camera_ma)
