"""A sequence is run: its steps in order, each with what was expected and what was seen, until one fails."""

from collections.abc import Callable
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime
from typing import Any

from lander import VERSION
from seatrial.account import outcome
from seatrial.bodies import BodyError
from seatrial.laws import BROKEN
from tumblehome import moments
from tumblehome.bench import sequence as steps
from tumblehome.bench.link import LinkError, Refused
from tumblehome.bench.rigs import BoardRig, Rig, SessionRig
from tumblehome.bench.sequence import Limits, Sequence, Step, shown

PASSED, FAILED, NOT_RUN, GONE, STOPPED = "passed", "failed", "not run", "gone", "stopped"


class Unmet(Exception):
    """What was expected was not seen; the sentence says what was seen instead."""


class Stopped(KeyboardInterrupt):
    """The keyboard ended a sequence; `outcome` is what came of it until then."""

    def __init__(self, outcome: "Outcome") -> None:
        super().__init__()
        self.outcome = outcome


@dataclass
class StepResult:
    """One step: what was to be done or seen, what was, and when, in seconds of the controller."""

    number: int
    what: str
    outcome: str = NOT_RUN
    seen: str = ""
    from_s: float | None = None
    to_s: float | None = None
    at_utc: str = ""


@dataclass
class Outcome:
    """A sequence that was run, or the part of it that was. `outcome` is passed, failed, gone (the controller
    was), or stopped by the keyboard.
    """

    name: str
    about: str
    on: str
    where: str
    outcome: str = PASSED
    began_utc: str = ""
    version: str = VERSION
    reason: str = ""  # of the step that failed
    steps: list[StepResult] = field(default_factory=list)

    def told(self) -> dict[str, Any]:
        """As JSON takes it."""
        return asdict(self)

    @property
    def done(self) -> int:
        return sum(step.outcome == PASSED for step in self.steps)


def run(sequence: Sequence, rig: SessionRig | BoardRig,
        progress: Callable[[StepResult], None] | None = None) -> Outcome:
    """Run it. A controller that goes away in the middle ends it as gone; `progress` is told each step before and after.

    Never raises for what the controller does. Raises Stopped where the keyboard ends it.
    """
    came = Outcome(sequence.name, sequence.about, sequence.on, rig.where, began_utc=_utc())
    came.steps = [StepResult(number, step.words()) for number, step in enumerate(sequence.steps, 1)]
    for step, result in zip(sequence.steps, came.steps, strict=True):
        try:
            if progress:
                progress(result)
            came.outcome, came.reason = _run_step(step, result, rig)
            if progress:
                progress(result)
        except KeyboardInterrupt:
            came.outcome = result.outcome = STOPPED
            came.reason = result.seen = "stopped by the keyboard"
            raise Stopped(came) from None
        if came.outcome != PASSED:
            break
    return came


def _run_step(step: Step, result: StepResult, rig: Rig) -> tuple[str, str]:
    result.from_s, result.at_utc = rig.now_s, _utc()
    try:
        result.seen = DOING[type(step)](rig, step) or ""
        result.outcome = PASSED
    except (Unmet, Refused) as error:
        result.outcome, result.seen = FAILED, str(error)
    except (LinkError, BodyError) as error:
        result.outcome, result.seen = GONE, str(error)
    result.to_s = rig.now_s
    return result.outcome, "" if result.outcome == PASSED else result.seen


def _utc() -> str:
    return moments.iso(datetime.now(UTC))


# --- what must be seen ------------------------------------------------------------------------------------------------


class Watch:
    """Limits that are looked at again and again; `seen` are the last values, `unmet` what is wrong with them."""

    def __init__(self, limits: dict[str, Limits]) -> None:
        self.limits = limits
        self.seen: dict[str, int | None] = {}
        self.unmet: list[str] = []
        self.refused = 0  # last, by the mission: what it shows for half a minute only
        self._span: dict[str, tuple[int, int]] = {}

    def look_anew(self, values: dict[str, int]) -> bool:
        """The same as `look`; from now on counts what `steady` compares."""
        self._span = {}
        return self.look(values)

    def look(self, values: dict[str, int]) -> bool:
        """Whether all is as wanted."""
        self.seen = {name: values.get(name) for name in self.limits}
        self.refused = values.get("refused") or self.refused
        self.unmet = list(filter(None, (self._unmet(name, one) for name, one in self.limits.items())))
        return not self.unmet

    def _unmet(self, name: str, limits: Limits) -> str:
        value = self.seen[name]
        if value is None:
            return "%s was not measured" % name
        smallest, largest = limits.bounds()
        if not smallest <= value <= largest:
            return "%s is %s" % (name, shown(name, value))
        low, high = self._span.get(name, (value, value))
        self._span[name] = low, high = min(low, value), max(high, value)
        if limits.steady is not None and high - low > limits.steady:
            return "%s went from %d to %d" % (name, low, high)
        return ""

    def why(self) -> str:
        """What is wrong with what was seen last."""
        refused = ["the mission refused: %s" % shown("refused", self.refused)] if self.refused else []
        return "; ".join(self.unmet + refused)

    def sentence(self) -> str:
        """What was seen last."""
        return ", ".join("%s %s" % (name, "not measured" if value is None else shown(name, value))
                         for name, value in self.seen.items())


def expect(rig: Rig, limits: dict[str, Limits], within_s: float = 0.0, for_s: float = 0.0) -> str:
    """Wait until all is as wanted, and hold that it stays so; what was seen. Raises Unmet.

    Within `within_s` it must begin; what ends too soon may begin anew as long as that time lasts.
    """
    watch = Watch(limits)
    latest_s = rig.now_s + within_s
    while True:
        while not watch.look_anew(rig.values()):
            if rig.now_s >= latest_s - 1e-6:
                raise Unmet(watch.why())
            rig.go_on(latest_s)
        if _holds(rig, watch, for_s):
            return watch.sentence()
        if rig.now_s >= latest_s:
            raise Unmet(watch.why())


def _holds(rig: Rig, watch: Watch, for_s: float) -> bool:
    end_s = rig.now_s + for_s
    while rig.now_s < end_s - 1e-6:
        rig.go_on(end_s)
        if not watch.look(rig.values()):
            return False
    return True


# --- what is done -----------------------------------------------------------------------------------------------------


def _done(said: str) -> str:
    """What a person or the line answered: nothing where it was done."""
    if said:
        raise Unmet(said)
    return ""


def come_home(rig: SessionRig) -> str:
    """The dive to its end, and how that was. Raises Unmet where a law was broken or it did not come up."""
    result = rig.end_dive()
    broken = ["law %d is broken: %s" % (one.number, one.sentence) for one in result.verdicts if one.verdict == BROKEN]
    sentence = outcome(result)["sentence"]
    if broken or result.evidence.surfaced_s is None:
        raise Unmet(" ".join([sentence, *broken]))
    return sentence


DOING: dict[type[Step], Callable[[Any, Any], str | None]] = {
    steps.Note: lambda _rig, _step: None,
    steps.Set: lambda rig, step: rig.set(step.set, step.over_s),
    steps.LetGo: lambda rig, _step: rig.let_go(),
    steps.Break: lambda rig, step: rig.put_in(step.fault),
    steps.Sea: lambda rig, step: rig.begin_dive(step.faults, step.seed),
    steps.Home: lambda rig, _step: come_home(rig),
    steps.Wait: lambda rig, step: rig.wait(step.wait_s),
    steps.Command: lambda rig, step: _done(rig.command(step.command)),
    steps.Magnet: lambda rig, step: _done(rig.magnet(step.magnet_s)),
    steps.PowerOff: lambda rig, step: _done(rig.power_off(step.power_off_s)),
    steps.Expect: lambda rig, step: expect(rig, step.limits(rig.plan), step.within_s, step.for_s),
    steps.Poke: lambda rig, step: rig.poke(step.poke, step.level, step.for_s),
    steps.Trickle: lambda rig, _step: rig.trickle(),
    steps.Person: lambda rig, step: _done(rig.do(step.person, step.touch, step.over_s)),
    steps.Ask: lambda rig, step: _done(rig.answer(step.ask)),
}
