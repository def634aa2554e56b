"""One mission at the end of a wire: its record, its journal's newest record, its inputs, steps, outputs and records.

A method takes the pairs of a line, answers the words of the reply, and raises WireError before anything is changed.
"""

import binascii
import sys

from lander import journal, orders, wire
from lander.mission import Mission
from lander.signals import INPUTS, Inputs, Outputs
from lander.told import Told

micropython = __import__("micropython") if sys.implementation.name == "micropython" else None


class Session:
    def __init__(self) -> None:
        self.locked = False
        self.inputs = Inputs()
        self.outputs = Outputs()
        self.mission: Mission | None = None
        self._recall: journal.Recall | None = None
        self._record = bytearray(orders.RECORD_BYTES)
        self._told = Told(self.outputs)

    def load_orders(self, pairs) -> str:
        """A piece of the mission record; it is used at the next `boot`."""
        at = wire.take(pairs, "at", 0, orders.RECORD_BYTES - 1)
        piece = wire.take_hex(pairs)
        wire.nothing_else(pairs)
        if at + len(piece) > orders.RECORD_BYTES:
            raise wire.WireError("the mission record has %d bytes" % orders.RECORD_BYTES)
        for offset in range(len(piece)):
            self._record[at + offset] = piece[offset]
        return ""

    def boot(self, pairs) -> str:
        """Forget everything, as a reset does, and begin to read the journal."""
        slots = wire.take(pairs, "slots", 0, (1 << 30) - 1)
        wire.nothing_else(pairs)
        self.mission = None
        self.inputs = Inputs()
        self.outputs = Outputs()
        self._told = Told(self.outputs)
        self._recall = journal.Recall(slots)
        return "want=%d" % self._recall.want()

    def slot(self, pairs) -> str:
        """A journal slot that was wanted: its bytes, `hex=blank`, or `hex=bad` when it cannot be read."""
        if self._recall is None or self._recall.want() < 0:
            raise wire.WireError("no slot is wanted")
        wire.take(pairs, "at", self._recall.want(), self._recall.want())
        shown = pairs.get("hex")
        if shown == "blank" or shown == "bad":
            pairs.pop("hex")
            record = b"\xff" * journal.RECORD_BYTES if shown == "blank" else None
        else:
            record = wire.take_hex(pairs)
            if len(record) != journal.RECORD_BYTES:
                raise wire.WireError("a slot has %d bytes" % journal.RECORD_BYTES)
        wire.nothing_else(pairs)
        self._recall.give(record)
        return "want=%d" % self._recall.want()

    def start(self, pairs) -> str:
        """Start the mission on the journal that was read and on the inputs as they are set."""
        if self._recall is None or self._recall.want() >= 0:
            raise wire.WireError("boot first, and give the slots that are wanted")
        self.set_inputs(pairs)
        recall = self._recall
        self._recall = None
        self.mission = Mission(self._record)
        self.mission.boot(recall.newest, self.inputs)
        return "next=%d bad=%d" % (recall.next_slot, recall.bad)

    def set_inputs(self, pairs) -> str:
        """Set inputs; all are checked before any is changed."""
        checked = []
        for key, value in pairs.items():
            lowest, highest = _range_of(key)
            checked.append((key, wire.integer(key, value, lowest, highest)))
        for key, number in checked:
            setattr(self.inputs, key, number)
        return ""

    def step(self, pairs) -> str:
        """Set inputs, run one step, answer the outputs that changed."""
        if self.mission is None:
            raise wire.WireError("boot and start first")
        self.set_inputs(pairs)
        if self.locked and micropython is not None:
            micropython.heap_lock()
            try:
                self.mission.step(self.inputs, self.outputs)
            finally:
                micropython.heap_unlock()
        else:
            self.mission.step(self.inputs, self.outputs)
        return self.more({})

    def more(self, pairs) -> str:
        """Outputs that changed and were not told yet; `more=1` when there are more than fit this line."""
        wire.nothing_else(pairs)
        return self._told.changes()

    def record(self, pairs) -> str:
        """One record of the last step."""
        at = wire.take(pairs, "at", 0, max(0, self.outputs.record_count - 1))
        wire.nothing_else(pairs)
        if not self.outputs.record_count:
            raise wire.WireError("the last step wrote no record")
        first = at * journal.RECORD_BYTES
        return "hex=" + binascii.hexlify(bytes(self.outputs.records[first:first + journal.RECORD_BYTES])).decode()

    def lock(self, pairs) -> str:
        """1: run every step with the heap locked, so that an allocation is an error."""
        on = wire.take(pairs, "on", 0, 1)
        wire.nothing_else(pairs)
        self.locked = bool(on)
        return ""


def _range_of(key: str):
    for name, lowest, highest, _start in INPUTS:
        if name == key:
            return lowest, highest
    raise wire.WireError("unknown input: %s" % key[:30])
