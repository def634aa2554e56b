"""The release attempts of a plan, made by the mission core itself: when each begins and ends, and the watch after."""

from collections.abc import Iterator
from itertools import islice
from typing import Any, NamedTuple

from lander.orders import Orders
from lander.release import BACKUP, PRIMARY
from lander.release import Release as Sequence
from seatrial.plan.conversion import CONVERSIONS, rounded
from seatrial.plan.sections import Release


class Attempt(NamedTuple):
    """One attempt: which it is, on which channel, its seconds of current, and the watch for a rise after it.

    `number` counts from 1; `channel` is `lander.release.PRIMARY` or `BACKUP`; `from_s` and `until_s` count as the
    command did that began the release.
    """

    number: int
    channel: int
    from_s: float
    until_s: float
    watch_s: float


def attempts_from(release: Release, command_s: float = 0.0) -> Iterator[Attempt]:
    """The attempts after a release was commanded, without end, when nothing ever opens; the first after the shedding.

    Loads are off already when the second begins, so nothing is shed for it.
    """
    sequence = Sequence(_orders(release))
    sequence.begin(round(10 * command_s), PRIMARY)
    while True:
        from_ds, channel = sequence.until_ds, sequence.channel
        sequence.fire(from_ds)
        until_ds = sequence.until_ds
        sequence.rest(until_ds)
        yield Attempt(sequence.attempts, channel, from_ds / 10, until_ds / 10, (sequence.until_ds - until_ds) / 10)
        sequence.channel = BACKUP if channel == PRIMARY else PRIMARY


def planned_attempts(release: Release) -> list[Attempt]:
    """The attempts that the reserve holds, counted from the command."""
    return list(islice(attempts_from(release), release.attempts_planned))


def _orders(release: Release) -> Orders:
    """The numbers of the release in the mission record, the only ones that its sequence asks for."""
    orders = Orders()
    for conversion in CONVERSIONS:
        section, _, key = conversion.key.partition(".")
        if section == "release":
            value: Any = release
            for name in key.split("."):
                value = getattr(value, name)
            setattr(orders, conversion.order, rounded(value, conversion.per_unit, conversion.rounding))
    return orders
