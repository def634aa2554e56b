"""The controller at the other end of a wire: one line in, one line out, and no other door to the mission.

In lockstep the host plays the sea and the electronics. It sends the inputs of one instant, the mission steps, the
answer carries the outputs that changed. The host keeps the journal, as it keeps the battery and the water, so that
it can cut the power in the middle of a record; when the mission starts again it asks for the slots it wants to see.
`VERBS` is the list of what can be said. A request that is refused has changed nothing.
"""

import sys

from lander import VERSION, journal, orders, wire
from lander.session import Session


class Console:
    """Answers lines. `answer(line)` never raises for what a line says."""

    def __init__(self, heap=None) -> None:
        """`heap()` answers the bytes used and free; the core itself knows nothing of its interpreter's memory."""
        self.ended = False
        self._heap = heap
        self.session = Session()

    def answer(self, line: str) -> str:
        """The framed answer to one line, without a line end."""
        number = 0
        try:
            text = wire.unframe(line)
            number, verb, pairs = wire.words(text)
            said = self.obey(verb, pairs)
            return wire.frame("%d ok%s" % (number, " " + said if said else ""))
        except wire.WireError as error:
            return wire.frame("%d no %s" % (number, str(error.args[0]).replace("*", "+")))

    def obey(self, verb: str, pairs) -> str:
        """The words of the answer. Raises WireError with the reason."""
        if verb in VERBS:
            return VERBS[verb](self.session, pairs)
        if verb not in OWN_VERBS:
            raise wire.WireError("unknown verb: %s" % verb[:20])
        wire.nothing_else(pairs)
        return OWN_VERBS[verb](self)

    def hello(self) -> str:
        name, version = sys.implementation.name, sys.implementation.version
        return "lander=%s wire=%d journal=%d orders=%d python=%s-%d.%d small=%d" % (
            VERSION, wire.VERSION, journal.VERSION, orders.VERSION, name, version[0], version[1],
            1 if sys.maxsize < 1 << 32 else 0)

    def heap(self) -> str:
        """Bytes in use and free after a collection; 0 where the interpreter cannot tell."""
        return "used=%d free=%d" % (self._heap() if self._heap else (0, 0))

    def bye(self) -> str:
        self.ended = True
        return ""


OWN_VERBS = {"hello": Console.hello, "heap": Console.heap, "bye": Console.bye}
VERBS = {
    "orders": Session.load_orders,
    "boot": Session.boot,
    "slot": Session.slot,
    "start": Session.start,
    "set": Session.set_inputs,
    "step": Session.step,
    "more": Session.more,
    "record": Session.record,
    "lock": Session.lock,
}
