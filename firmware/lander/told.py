"""What the other end of the wire was told of the outputs, so that only changes are sent."""

from lander import wire
from lander.signals import OUTPUTS

ROOM = wire.LINE_MAX - 30  # for pairs in an answer: number, verb and checksum take the rest


class Told:
    def __init__(self, outputs) -> None:
        """The other end knows what fresh outputs hold."""
        self._outputs = outputs
        self._told = [getattr(outputs, row[0]) for row in OUTPUTS]

    def changes(self) -> str:
        """Pairs of outputs that changed and were not told yet; `more=1` when there are more than fit this line."""
        said = ""
        for index in range(len(OUTPUTS)):
            name = OUTPUTS[index][0]
            value = getattr(self._outputs, name)
            if value == self._told[index]:
                continue
            pair = "%s=%d" % (name, value)
            if len(said) + len(pair) > ROOM:
                return said + " more=1"
            self._told[index] = value
            said = said + " " + pair if said else pair
        return said
