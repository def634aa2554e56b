"""The board's whole code in a real MicroPython on deck, with somebody at its line and the electronics simulated."""

from lander import wire
from lander.signals import Inputs
from seatrial.board_body import BoardBody
from seatrial.bodies import BodyError
from seatrial.dice import Dice
from seatrial.plan import load_sample
from seatrial.store import SimulatedStore
from seatrial.world import World

ANSWER_MS = 5000


class DeckBench:
    """A board that stands on deck, in air. Its time goes on by `run` and while an answer is awaited."""

    def __init__(self, board: str = "pico") -> None:
        self.plan = load_sample()
        world = World(self.plan, Dice(1))
        self.body = BoardBody(self.plan.mission_record(), board)
        self.body.attach(world, self.plan)
        self.body._handlers[b"sleep"] = self._sleep
        self.electronics = self.body.electronics
        self.inputs = Inputs()
        world.fill(self.inputs)
        self._asked_ms: int | None = None
        self._end_ms = 0
        self._number = 0

    def start(self, cause: int = 0) -> "DeckBench":
        """Start it on its flash, and let it come to its first steps."""
        self.inputs.reset_cause = cause
        self._asked_ms, self._end_ms = None, 1 << 40
        self.body.boot(SimulatedStore(1000), self.inputs)
        self._end_ms = 0
        self.run(3000)
        return self

    def close(self) -> None:
        self.body.close()

    def feel(self, **readings: int) -> None:
        """Let the sensors read something else."""
        for name, value in readings.items():
            setattr(self.inputs, name, value)
        self.electronics.take(self.inputs)

    def run(self, span_ms: int, until=lambda: False) -> None:
        """Let so much of its time pass, or until it is so."""
        self._end_ms = self.body._now_ms + span_ms
        self._go_on()
        while self._asked_ms is None and not until():
            self.body._serve_line()
        if until():
            self._end_ms = self.body._now_ms

    def type(self, data: bytes) -> None:
        """Bytes on the line, which wake it."""
        self.body._keys.extend(data)
        if self._asked_ms is not None:
            self._end_ms = self.body._now_ms
            self._answer_sleep(self.body._now_ms)

    def say(self, text: str) -> str:
        """The answer to one line, without number and checksum. AssertionError when there is none."""
        self._number += 1
        self.body.said.clear()
        self.type((wire.frame("%d %s" % (self._number, text)) + "\n").encode())
        self.run(ANSWER_MS, lambda: bool(self.body.said))
        number, said = wire.unframe(self.body.said[0]).split(" ", 1)
        assert int(number) == self._number
        return said

    def ok(self, text: str) -> dict[str, str]:
        """The pairs of an answer that is `ok`."""
        said = self.say(text)
        assert said.split()[0] == "ok", said
        return dict(pair.split("=") for pair in said.split()[1:])

    def ends(self, within_ms: int = 70000) -> bool:
        """Whether it comes to the end of its run, to start anew."""
        try:
            self.run(within_ms)
        except BodyError as error:
            assert "has ended: it gave no reason" in str(error)
            return True
        return False

    def level(self, signal: str) -> int:
        """What a pin or an output of the register drives."""
        return self.electronics._lines[signal].level

    def releases(self) -> tuple[int, int]:
        """What both releases are driven with, in percent."""
        levels = self.electronics.levels()
        return levels["release_primary_pct"], levels["release_backup_pct"]

    def _go_on(self) -> None:
        if self._asked_ms is not None:
            asked_ms, self._asked_ms = self._asked_ms, None
            self._sleep(b"%d" % asked_ms, b"0")

    def _sleep(self, until_ms: bytes, _is_deep: bytes) -> None:
        if int(until_ms) > self._end_ms:
            self._asked_ms = int(until_ms)
        else:
            self._answer_sleep(int(until_ms))

    def _answer_sleep(self, at_ms: int) -> None:
        self._asked_ms = None
        self.body._answer_sleep(at_ms)
