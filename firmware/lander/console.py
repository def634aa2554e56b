"""The controller at the other end of a wire: one line in, one line out, and no other door to the mission.

In lockstep the host plays the sea and the electronics. It sends the inputs of one instant, the mission steps, the
answer carries the outputs that changed. The host keeps the journal, as it keeps the battery and the water, so that
it can cut the power in the middle of a record; when the mission starts again it asks for the slots it wants to see.
`VERBS` is the list of what can be said. A request that is refused has changed nothing.
"""

import binascii
import sys

from lander import VERSION, journal, orders, wire
from lander.mission import Mission
from lander.signals import INPUTS, OUTPUTS, Inputs, Outputs

try:
    import micropython
except ImportError:
    micropython = None  # type: ignore[assignment]

ROOM = wire.LINE_MAX - 30  # for pairs in an answer: number, verb and checksum take the rest
_OUTPUT_NAMES = tuple([row[0] for row in OUTPUTS])
_RANGES = {row[0]: (row[1], row[2]) for row in INPUTS}


class Console:
    """Answers lines. `answer(line)` never raises for what a line says."""

    def __init__(self) -> None:
        self.ended = False
        self.locked = False
        self.inputs = Inputs()
        self.outputs = Outputs()
        self.mission: Mission | None = None
        self._recall: journal.Recall | None = None
        self._record = bytearray(orders.RECORD_BYTES)
        self._told = [getattr(self.outputs, name) for name in _OUTPUT_NAMES]

    def answer(self, line: str) -> str:
        """The framed answer to one line, without a line end."""
        number = 0
        try:
            text = wire.unframe(line)
            number, verb, pairs = wire.words(text)
            if verb not in VERBS:
                raise wire.WireError("unknown verb: %s" % verb[:20])
            said = VERBS[verb](self, pairs)
            return wire.frame("%d ok%s" % (number, " " + said if said else ""))
        except wire.WireError as error:
            return wire.frame("%d no %s" % (number, str(error.args[0]).replace("*", "+")))

    def hello(self, pairs) -> str:
        _nothing_else(pairs)
        name, version = sys.implementation.name, sys.implementation.version
        return "lander=%s wire=%d journal=%d orders=%d python=%s-%d.%d small=%d" % (
            VERSION, wire.VERSION, journal.VERSION, orders.VERSION, name, version[0], version[1],
            1 if sys.maxsize < 1 << 32 else 0)

    def load_orders(self, pairs) -> str:
        """A piece of the mission record; it is used at the next `boot`."""
        at = _take(pairs, "at", 0, orders.RECORD_BYTES - 1)
        piece = _take_hex(pairs)
        _nothing_else(pairs)
        if at + len(piece) > orders.RECORD_BYTES:
            raise wire.WireError("the mission record has %d bytes" % orders.RECORD_BYTES)
        for offset in range(len(piece)):
            self._record[at + offset] = piece[offset]
        return ""

    def boot(self, pairs) -> str:
        """Forget everything, as a reset does, and begin to read the journal."""
        slots = _take(pairs, "slots", 0, (1 << 30) - 1)
        _nothing_else(pairs)
        self.mission = None
        self.inputs = Inputs()
        self.outputs = Outputs()
        self._told = [getattr(self.outputs, name) for name in _OUTPUT_NAMES]
        self._recall = journal.Recall(slots)
        return "want=%d" % self._recall.want()

    def slot(self, pairs) -> str:
        """A journal slot that was wanted: its bytes, `hex=blank`, or `hex=bad` when it cannot be read."""
        if self._recall is None or self._recall.want() < 0:
            raise wire.WireError("no slot is wanted")
        _take(pairs, "at", self._recall.want(), self._recall.want())
        shown = pairs.get("hex")
        if shown == "blank" or shown == "bad":
            pairs.pop("hex")
            record = b"\xff" * journal.RECORD_BYTES if shown == "blank" else None
        else:
            record = _take_hex(pairs)
            if len(record) != journal.RECORD_BYTES:
                raise wire.WireError("a slot has %d bytes" % journal.RECORD_BYTES)
        _nothing_else(pairs)
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
            if key not in _RANGES:
                raise wire.WireError("unknown input: %s" % key[:30])
            lowest, highest = _RANGES[key]
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
        _nothing_else(pairs)
        said = ""
        for index in range(len(_OUTPUT_NAMES)):
            value = getattr(self.outputs, _OUTPUT_NAMES[index])
            if value == self._told[index]:
                continue
            pair = "%s=%d" % (_OUTPUT_NAMES[index], value)
            if len(said) + len(pair) > ROOM:
                return said + " more=1"
            self._told[index] = value
            said = said + " " + pair if said else pair
        return said

    def record(self, pairs) -> str:
        """One record of the last step."""
        at = _take(pairs, "at", 0, max(0, self.outputs.record_count - 1))
        _nothing_else(pairs)
        if not self.outputs.record_count:
            raise wire.WireError("the last step wrote no record")
        first = at * journal.RECORD_BYTES
        return "hex=" + _hex(self.outputs.records[first:first + journal.RECORD_BYTES])

    def lock(self, pairs) -> str:
        """1: run every step with the heap locked, so that an allocation is an error."""
        self.locked = bool(_take(pairs, "on", 0, 1))
        _nothing_else(pairs)
        return ""

    def heap(self, pairs) -> str:
        """Bytes in use and free after a collection; 0 where the interpreter cannot tell."""
        _nothing_else(pairs)
        try:
            import gc
            gc.collect()
            return "used=%d free=%d" % (gc.mem_alloc(), gc.mem_free())
        except (ImportError, AttributeError):
            return "used=0 free=0"

    def bye(self, pairs) -> str:
        _nothing_else(pairs)
        self.ended = True
        return ""


VERBS = {
    "hello": Console.hello,
    "orders": Console.load_orders,
    "boot": Console.boot,
    "slot": Console.slot,
    "start": Console.start,
    "set": Console.set_inputs,
    "step": Console.step,
    "more": Console.more,
    "record": Console.record,
    "lock": Console.lock,
    "heap": Console.heap,
    "bye": Console.bye,
}


def _take(pairs, key: str, lowest: int, highest: int) -> int:
    if key not in pairs:
        raise wire.WireError("%s is missing" % key)
    return wire.integer(key, pairs.pop(key), lowest, highest)


def _take_hex(pairs) -> bytes:
    try:
        return binascii.unhexlify(pairs.pop("hex"))
    except KeyError:
        raise wire.WireError("hex is missing") from None
    except ValueError:
        raise wire.WireError("hex wants pairs of hexadecimal digits") from None


def _nothing_else(pairs) -> None:
    for key in pairs:
        raise wire.WireError("not wanted here: %s" % key[:30])


def _hex(data) -> str:
    return binascii.hexlify(data).decode()
