"""The serial line of the board on deck: lines as `lander.wire` frames them, and deaf as soon as the mission is at sea.

The mission itself hears only numbers of commands (`lander.signals`), and judges them by its own signs of water. What
comes while it is at sea is thrown away unread. `VERBS` is all that can be said here.
"""

import binascii

from drivers.upkeep import elapsed_ms
from lander import VERSION, orders, wire
from lander.table import ARMED, SAFE

LISTENING = (SAFE, ARMED)
BYTES_A_TURN = 64
QUIET_MS = 60000  # nobody has typed for so long: the board may sleep as deep as it can


class DeckLine:
    """`is_quiet` is 1 while nobody has said anything for a minute."""

    def __init__(self, board) -> None:
        self.is_quiet = 1
        self._board = board
        self._line = bytearray(wire.LINE_MAX + 1)
        self._length = 0
        self._command = 0
        self._record = bytearray(orders.RECORD_BYTES)
        self._heard_ms = 0

    def take_command(self) -> int:
        """The command for this step, once."""
        command = self._command
        self._command = 0
        return command

    def hear(self, flight, now_ms: int) -> None:
        """Take what has come; answer the lines that are whole. At sea: drop it."""
        if not self.is_quiet and elapsed_ms(now_ms, self._heard_ms) > QUIET_MS:
            self.is_quiet = 1
        for _ in range(BYTES_A_TURN):
            code = self._board.key()
            if code < 0:
                return
            if flight.mission.state not in LISTENING:
                self._length = 0
                continue
            self.is_quiet = 0
            self._heard_ms = now_ms
            if code == 10:
                self._answer(flight, now_ms)
            elif code != 13 and self._length <= wire.LINE_MAX:
                self._line[self._length] = code if 32 <= code < 127 else 63
                self._length += 1

    def _answer(self, flight, now_ms: int) -> None:
        length, self._length = self._length, 0
        if not length:
            return
        number = 0
        try:
            number, verb, pairs = wire.words(wire.unframe(bytes(self._line[:length]).decode()))
            if verb not in VERBS:
                raise wire.WireError("unknown verb: %s" % verb[:20])
            said = VERBS[verb](self, flight, pairs, now_ms)
            self._board.say(wire.frame("%d ok%s" % (number, " " + said if said else "")))
        except wire.WireError as error:
            self._board.say(wire.frame("%d no %s" % (number, str(error.args[0]).replace("*", "+"))))

    def hello(self, flight, pairs, _now_ms: int) -> str:
        """Who is there."""
        wire.nothing_else(pairs)
        return "lander=%s wire=%d orders=%d board=%s" % (VERSION, wire.VERSION, orders.VERSION, self._board.name)

    def told(self, flight, pairs, _now_ms: int) -> str:
        """What the mission does, and what it refused last."""
        wire.nothing_else(pairs)
        inputs, outputs = flight.inputs, flight.outputs
        return "state=%d refused=%d boots=%d supply_mv=%d pressure_mbar=%d clock_ok=%d plan_copies=%d store_free=%d" % (
            outputs.state, outputs.refused, flight.mission.boot_number, inputs.supply_mv, inputs.pressure_mbar,
            inputs.clock_ok, inputs.plan_copies, inputs.store_free)

    def ask(self, _flight, pairs, _now_ms: int) -> str:
        """A command for the mission's next step, by its number; `told` says whether it was refused."""
        command = wire.take(pairs, "command", 1, 6)
        wire.nothing_else(pairs)
        self._command = command
        return ""

    def clock(self, flight, pairs, now_ms: int) -> str:
        """Set the clock: seconds since 2020-01-01 00:00 UTC."""
        clock_s = wire.take(pairs, "s", 0, (1 << 30) - 1)
        wire.nothing_else(pairs)
        if flight.mission.state != SAFE:
            raise wire.WireError("disarm first: an armed mission counts on its clock")
        if not flight.gear.clock.set(clock_s, now_ms):
            raise wire.WireError("the clock did not take it")
        return ""

    def orders(self, _flight, pairs, _now_ms: int) -> str:
        """A piece of a mission record; it counts after `keep`."""
        at = wire.take(pairs, "at", 0, orders.RECORD_BYTES - 1)
        try:
            piece = binascii.unhexlify(pairs.pop("hex"))
        except (KeyError, ValueError):
            raise wire.WireError("hex wants pairs of hexadecimal digits") from None
        wire.nothing_else(pairs)
        if at + len(piece) > orders.RECORD_BYTES:
            raise wire.WireError("the mission record has %d bytes" % orders.RECORD_BYTES)
        self._record[at:at + len(piece)] = piece
        return ""

    def keep(self, flight, pairs, _now_ms: int) -> str:
        """Make the record that was sent the plan, in both copies. The board starts anew with it."""
        wire.nothing_else(pairs)
        if flight.mission.state != SAFE:
            raise wire.WireError("disarm first: the plan of an armed mission stays")
        try:
            if not flight.copies.store(bytes(self._record)):
                raise wire.WireError("the plan could not be written: the one before counts")
        except ValueError as error:
            raise wire.WireError(str(error)) from None
        flight.is_over = 1
        return ""


VERBS = {
    "hello": DeckLine.hello,
    "told": DeckLine.told,
    "ask": DeckLine.ask,
    "clock": DeckLine.clock,
    "orders": DeckLine.orders,
    "keep": DeckLine.keep,
}
