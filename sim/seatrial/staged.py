"""A dive that somebody leads by the hand: it stops after every step of the controller, and readings may be held.

It is the engine of `seatrial.dive`, with the same body, sea and journal. Where nobody asks for a stop and holds
nothing, its journal is that of `Dive.run`, byte for byte. On deck (`at_sea=False`) nobody throws it in and nobody arms
it: a test on the bench holds the readings that it wants the controller to be told.
"""

from collections.abc import Sequence

from lander.signals import INPUTS
from seatrial import hope
from seatrial.dive import Dive
from seatrial.faults import Fault
from seatrial.result import DiveResult

FOR_EVER_S = 1e9
RANGES = {name: (lowest, highest) for name, lowest, highest, _start in INPUTS}
OWN = ("uptime_ds", "reset_cause", "command")  # the controller's own count, and what the line brings: never held


def check_reading(name: str, value: int) -> None:
    """Raises ValueError, with what is allowed, for what a controller cannot be told."""
    if name not in RANGES or name in OWN:
        raise ValueError("%s is no reading that can be set" % name[:40])
    lowest, highest = RANGES[name]
    if not lowest <= value <= highest:
        raise ValueError("%s is %d; allowed is %d to %d" % (name, value, lowest, highest))


class _Pause(Exception):
    """The dive stands still here."""


class HeldBody:
    """A body whose readings are overruled by `held` before it is told them; `command` is told once."""

    def __init__(self, body) -> None:
        self._body = body
        self.held: dict[str, int] = {}
        self.command = 0

    def __getattr__(self, name: str):
        return getattr(self._body, name)

    def boot(self, store, inputs) -> int:
        self._overrule(inputs)
        return self._body.boot(store, inputs)

    def step(self, inputs, outputs) -> None:
        self._overrule(inputs)
        if self.command:
            inputs.command, self.command = self.command, 0
        self._body.step(inputs, outputs)

    def _overrule(self, inputs) -> None:
        for name, value in self.held.items():
            setattr(inputs, name, value)


class StagedDive(Dive):
    """`begin`, then `go_on` as often as it answers True, then `finish`."""

    def __init__(self, plan, body, faults: Sequence[Fault] = (), seed: int = 1, at_sea: bool = True) -> None:
        self._at_sea = at_sea
        self._until_s = FOR_EVER_S  # the moment that was asked for last
        self._has_reached = False
        self._has_ended = False
        self._is_extended = False
        super().__init__(plan, faults, seed, HeldBody(body))

    @property
    def now_s(self) -> float:
        return self.world.now_s

    @property
    def is_over(self) -> bool:
        return self._has_ended

    def begin(self) -> None:
        """On deck, the controller started; nothing has stepped yet."""
        self._prepare()

    def go_on(self, until_s: float = FOR_EVER_S) -> bool:
        """Let time pass until the controller has stepped, or until that moment; False when the dive is over."""
        if self._has_ended:
            return False
        self._has_reached = False
        if until_s < FOR_EVER_S and until_s != self._until_s:
            self._until_s = until_s
            self.at(max(until_s, self.world.now_s), self._reach)
        try:
            self._go_on()
            if not self._is_extended and hope.put_off_end(self):
                self._is_extended = True
                self._go_on()
        except _Pause:
            return True
        self._has_ended = True
        return False

    def finish(self) -> DiveResult:
        """What came of it, as `Dive.run` answers it."""
        while self.go_on():
            pass
        return self._finish()

    # --- what is done to it ---------------------------------------------------------------------------------------

    def hold_reading(self, name: str, value: int) -> None:
        """The controller is told this value from its next step on, which comes at once. Raises ValueError."""
        check_reading(name, value)
        self.body.held[name] = value
        self.wake()

    def let_go(self) -> None:
        """All readings are those of the world again."""
        self.body.held.clear()
        self.wake()

    def tell(self, command: int) -> None:
        """A command on the line, for the next step, which comes at once."""
        self.body.command = command
        self.wake()

    def put_in(self, fault: Fault) -> None:
        """Something breaks now."""
        entry = [fault, None, None]
        self.faults.append(entry)
        self.begin_fault(entry)

    def switch_off(self, for_s: float) -> None:
        """The supply is taken away for so long; it starts again when the supply is back."""
        self.main_dead = True
        self.reset("switched off", 0)
        self.at(self.world.now_s + for_s, self._switch_on)

    def wake(self) -> None:
        """Let the controller step now, as an edge does."""
        if self.world.controller_on and not self._hung:
            self._wake_s = self.world.now_s

    def _switch_on(self) -> None:
        self.main_dead = False
        self.at(self.world.now_s + self.plan.power.boot_s, self._try_to_start)

    # --- the engine ---------------------------------------------------------------------------------------------------

    def _prepare(self) -> None:
        if self._at_sea:
            return super()._prepare()
        self.evidence.splash_s = FOR_EVER_S
        self._end_s = FOR_EVER_S
        self._start_controller(0)
        for entry in self.faults:
            self._await_onset(entry)
        return None

    def _reach(self) -> None:
        self._has_reached = True

    def _do_scheduled(self) -> None:
        super()._do_scheduled()
        if self._has_reached and self._wake_s > self.world.now_s:
            raise _Pause

    def _step(self) -> None:
        super()._step()
        raise _Pause
