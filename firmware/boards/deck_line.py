"""The serial line of the board on deck: bytes to lines as `lander.wire` frames them, and deaf at sea.

What comes while the mission is at sea is thrown away unread. What can be said on deck is the table of
`boards.deck_verbs`; a session (`boards.deck_session`) has the line to itself. Every line is answered once, in order.
"""

from boards import deck_verbs
from drivers.upkeep import RING, elapsed_ms
from lander import wire
from lander.table import ARMED, SAFE

LISTENING = (SAFE, ARMED)
BYTES_A_TURN = 64
QUIET_MS = 60000  # nobody has typed for so long: the board may sleep as deep as it can
UNFINISHED_MS = 10000  # a line that stands so long without its end was cut off with the cable
REASON_MAX = wire.LINE_MAX - 20


class DeckLine:
    """`is_quiet` is 1 while nobody has said anything for a minute. `wanted_ms`: how soon the line wants a turn.

    `poke` is what runs for a time at a person's wish, `session` a host's lockstep; None where there is none. `later`
    are the modules that were loaded for a verb; they are let go when the mission's state changes.
    """

    def __init__(self, board) -> None:
        self.board = board
        self.is_quiet = 1
        self.wanted_ms = RING
        self.poke = None
        self.session = None
        self.later: dict = {}
        self.command = 0
        self.has_told_circuits = 0
        self._line = bytearray(wire.LINE_MAX + 1)
        self._length = 0
        self._heard_ms = 0
        self._state = SAFE

    def take_command(self) -> int:
        """The command for this step, once."""
        command = self.command
        self.command = 0
        return command

    def hear(self, flight, now_ms: int) -> None:
        """Take what has come; answer the lines that are whole. At sea: drop it."""
        if flight.mission.state != self._state:
            self._state = flight.mission.state
            self._leave(flight, now_ms)
        if self.poke is not None:
            self.poke.tick(flight, now_ms)
        if not self.is_quiet:
            self._wait(now_ms)
        for _ in range(BYTES_A_TURN):
            code = self.board.key()
            if code < 0:
                return
            if self._state not in LISTENING:
                continue
            self.is_quiet = 0
            self._heard_ms = now_ms
            if code == 10:
                self._answer(flight, now_ms)
                if flight.is_over or (self.session is not None and self.session.has_ended()):
                    return  # it starts anew now: what was sent after that line is not for this start
            elif code != 13 and self._length <= wire.LINE_MAX:
                self._line[self._length] = code if 32 <= code < 127 else 63  # no verb and no value has such a mark
                self._length += 1

    def _wait(self, now_ms: int) -> None:
        silent_ms = elapsed_ms(now_ms, self._heard_ms)
        if silent_ms > UNFINISHED_MS:
            self._length = 0
        if silent_ms > QUIET_MS:
            self.is_quiet = 1

    def _leave(self, flight, now_ms: int) -> None:
        """Another state: nothing of the line's doings goes on in it."""
        self._length = 0
        if self.poke is not None:
            self.poke.end(flight, now_ms)
        self.poke = None
        if self.later:
            deck_verbs.let_go(self)

    def _answer(self, flight, now_ms: int) -> None:
        length, self._length = self._length, 0
        if not length:
            return
        number = 0
        try:
            number, verb, pairs = wire.words(wire.unframe(bytes(self._line[:length]).decode()))
            obey = deck_verbs.obey if self.session is None else self.session.obey
            said = obey(self, flight, verb, pairs, now_ms)
            self.board.say(wire.frame("%d ok%s" % (number, " " + said if said else "")))
        except wire.WireError as error:
            self._refuse(number, str(error.args[0]))
        except Exception as error:  # whatever a verb does wrong, and be it memory: the flight goes on
            self._refuse(number, "failed: %s" % type(error).__name__)

    def _refuse(self, number: int, reason: str) -> None:
        self.board.say(wire.frame("%d no %s" % (number, reason.replace("*", "+")[:REASON_MAX])))
