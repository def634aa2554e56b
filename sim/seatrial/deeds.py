"""What people do to the lander besides what is planned, written like a fault and put into a dive like one.

    say:word=disarm@start+60s      a command comes over the serial line, and is heard at the controller's next step
    thrown-in@start+2h             it goes into the water once more, where it lies on deck by then

A magnet held to the housing is the fault `magnet-brushed`, hauling it back is `hauled-back`. `parse` reads deeds and
faults alike.
"""

from lander import signals
from seatrial import faults
from seatrial.faults import Fault, FaultError, FaultKind, Parameter, When, parse_when

WORDS = {
    "arm": signals.ASK_ARM, "disarm": signals.ASK_DISARM, "ready-primary": signals.READY_PRIMARY,
    "ready-backup": signals.READY_BACKUP, "fire": signals.FIRE, "arm-anyway": signals.ASK_ARM_ANYWAY,
}


class _Line:
    """A body with a person at its serial line: what is said reaches the controller with its next step."""

    def __init__(self, body) -> None:
        self.body = body
        self.name = body.name
        self.said: list[int] = []

    def boot(self, store, inputs) -> int:
        self.said.clear()
        return self.body.boot(store, inputs)

    def step(self, inputs, outputs) -> None:
        if self.said:
            inputs.command = self.said.pop(0)
        self.body.step(inputs, outputs)

    def close(self) -> None:
        self.body.close()


def _say(dive, values) -> None:
    if not isinstance(dive.body, _Line):
        dive.body = _Line(dive.body)
    if dive.world.controller_on:
        dive.body.said.append(WORDS[values["word"]])


def _throw_in(dive, values) -> None:
    if not dive.world.hull.in_water:
        dive.splash()
        dive.go_on_for_a_whole_dive()


def _kind(name: str, what: str, to_the_lander: str, begin, **parameters: Parameter) -> FaultKind:
    return FaultKind(name, "site and people", what, begin, parameters, None, to_the_lander)


DEEDS = {kind.name: kind for kind in (
    _kind("say", "somebody gives a command over the serial line",
          "on deck it is obeyed; under water it changes nothing", _say,
          word=Parameter("disarm", choices=tuple(WORDS), meaning="the command")),
    _kind("thrown-in", "it is put into the water from the deck, once more or before its time",
          "armed, it begins a dive", _throw_in),
)}


def parse(text: str) -> Fault:
    """A deed or a fault, as it is written on the command line. Raises FaultError with one sentence."""
    head, at, when = text.partition("@")
    name, colon, pairs = head.partition(":")
    kind = DEEDS.get(name)
    if kind is None:
        return faults.parse(text)
    values = {key: parameter.default for key, parameter in kind.parameters.items()}
    for pair in pairs.split(",") if colon else ():
        key, equals, value = pair.partition("=")
        if key not in values or not equals:
            raise FaultError("%s has no parameter %r; it has %s" % (name, key or pair, ", ".join(values) or "none"))
        values[key] = faults._value(kind, key, value)
    return Fault(kind, values, parse_when(when) if at else When())
