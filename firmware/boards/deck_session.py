"""`session`: the flight stands still, and a host flies the core on this board in lockstep. Loaded when it is asked for.

The line speaks the verbs of `lander.console`, beside `see`, which reads the board's own sensors, and `live`, which puts
the outputs of the host's steps on the pins, after a code that had to be read and sent back. Until then they stay dry.
The board starts anew at `bye`, when nothing was said for a minute, and at a sign of water while it is live.
"""

from boards import deck_verbs
from boards.lockstep import heap
from drivers.upkeep import RING, elapsed_ms
from lander import wire
from lander.checksum import crc16
from lander.console import Console
from lander.signals import Outputs

TURN_MS = 20
CODE_MS = 30000  # to read the code and send it back
STEP_MS_MAX = 4000  # a host that is silent for longer holds no release
APPLIED = ("boot", "step")  # after these, live outputs go to the pins


class DeckSession:
    """A host's flight on this board. `is_live`: its outputs reach the pins."""

    def __init__(self, flight, now_ms: int) -> None:
        self.is_live = 0
        self._console = Console(heap)
        self._code = ""
        self._asked_ms = now_ms
        dry = _outputs()
        dry.status_code = flight.outputs.status_code
        flight.drives.apply(dry, now_ms)

    def has_ended(self) -> int:
        """1 after `bye`."""
        return 1 if self._console.ended else 0

    def turn(self, flight) -> None:
        """One round instead of the flight's own."""
        board, line = flight.board, flight.line
        now_ms = board.ticks_ms()
        flight.gear.tick(now_ms)
        board.turned()
        flight.hold(now_ms)
        line.hear(flight, now_ms)
        flight.watchdog.feed()
        if self.has_ended() or line.is_quiet or (self.is_live and deck_verbs.is_wet(flight)):
            flight.is_over = 1
            return
        board.sleep_ms(min(TURN_MS, flight.gear.next_tick_ms(now_ms)), 0)

    def obey(self, _line, flight, verb: str, pairs, now_ms: int) -> str:
        """Answer one line, as `boards.deck_verbs.obey`."""
        if verb == "live":
            return self._live(flight, pairs, now_ms)
        if verb == "see":
            return self._see(flight, pairs)
        said = self._console.obey(verb, pairs)
        if self.is_live and verb in APPLIED:
            outputs = self._console.session.outputs
            flight.drives.apply(outputs, now_ms)
            flight.due_ms = (now_ms + min(100 * outputs.wake_ds, STEP_MS_MAX)) & RING
        return said

    def _see(self, flight, pairs) -> str:
        first = deck_verbs.take_first(pairs)
        flight.fill()
        return deck_verbs.shown(first, flight.inputs, self._console.session.outputs, flight.drives.faults)

    def _live(self, flight, pairs, now_ms: int) -> str:
        """Without a code: answer one, and move nothing. With that code, soon: live."""
        said = pairs.pop("code", "")
        wire.nothing_else(pairs)
        flight.fill()
        deck_verbs.check(flight, deck_verbs.NO_WATER | deck_verbs.IN_AIR)
        if said:
            if said != self._code or elapsed_ms(now_ms, self._asked_ms) > CODE_MS:
                self._code = ""
                raise wire.WireError("another code, or too late: ask for a new one by live")
            self.is_live = 1
        self._code = "" if said else self._new_code(now_ms)
        self._asked_ms = now_ms
        return "code=%s" % (said or self._code)

    def _new_code(self, now_ms: int) -> str:
        """Four digits, other ones each time: no secret, only proof that somebody has read the answer."""
        seed = ("%s%d" % (self._code, now_ms)).encode()
        return "%04d" % (crc16(seed, 0, len(seed)) % 10000)


def _outputs():
    return Outputs()


def session(line, flight, pairs, now_ms: int) -> str:
    """Begin a session."""
    wire.nothing_else(pairs)
    if flight.gear.is_testing():
        raise wire.WireError("busy: the releases are tested by a trickle")
    if line.poke is not None:
        line.poke.end(flight, now_ms)
    line.session = DeckSession(flight, now_ms)
    return ""
