"""The check from its beginning to its end, on a link that is open: read, ask, judge, arm, verify."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime

from lander.table import ARMED, SAFE, STATES
from seatrial.plan import Plan
from tumblehome.bench.link import Link
from tumblehome.deck.arming import arm, call_off, disarm
from tumblehome.deck.asking import AFTER, CLEAR, QUESTIONS, STILL, Asking
from tumblehome.deck.checks import may_stand_still
from tumblehome.deck.judging import Judged, is_go, judged
from tumblehome.deck.reading import Read, Reader, stands_still
from tumblehome.deck.watch import Watch

NOT_CLEAR = "nothing was moved, since nobody has said that everybody is clear"


@dataclass(frozen=True)
class Conducted:
    """The whole check: what was read, how it was judged, and every request with its answer."""

    read: Read
    items: list[Judged]
    notes: list[dict]
    ended: datetime
    is_armed: bool

    @property
    def is_go(self) -> bool:
        return is_go(self.items)


def conduct(link: Link, plan: Plan, splash: datetime, asking: Asking, accepted: Mapping[str, str], watch: Watch,
            tell: Callable[[str], None] = lambda _said: None) -> Conducted:
    """Check the lander at the end of this link, and arm it where everything is go.

    `accepted` are reasons by item. Raises Gone and LinkError; `link.so_far` says then what was done. A no-go leaves the
    lander safe, and so does a person who stops the check by Ctrl-C.
    """
    link.so_far = "nothing was changed, and the lander is not armed by this check"
    reader = Reader(link, plan, splash, watch, tell)
    try:
        return _conduct(reader, asking, accepted, tell)
    except KeyboardInterrupt:
        call_off(reader)
        raise


def _conduct(reader: Reader, asking: Asking, accepted: Mapping[str, str], tell: Callable[[str], None]) -> Conducted:
    reader.read_at_rest()
    read = reader.read
    _move(reader, asking)
    read.answers = asking.answers
    _ask_the_rest(read, asking, accepted)
    items = judged(read, accepted, with_arming=False)
    if is_go(items):
        tell("arming, with its self-test: half a minute")
        read.armed = arm(reader, frozenset(accepted))
        if read.armed["state"] == STATES[ARMED]:
            for item in AFTER:
                asking.about(item)
    items = judged(read, accepted, with_arming=True)
    is_armed = read.armed is not None and read.armed["state"] == STATES[ARMED]
    if is_armed and not is_go(items):
        is_armed = not disarm(reader)
    return Conducted(read, items, reader.notes, reader.watch.utc(), is_armed)


def _move(reader: Reader, asking: Asking) -> None:
    read = reader.read
    if read.status.get("state") != STATES[SAFE]:
        why = "the mission is %s" % read.status.get("state")
    elif asking.about(CLEAR):
        reader.read_moving()
        return
    else:
        why = NOT_CLEAR
    read.refused.update(circuits=why, poke=why)


def _ask_the_rest(read: Read, asking: Asking, accepted: Mapping[str, str]) -> None:
    """Questions that are left. Nobody is bothered with them when what was measured is no go already."""
    asked = {question.item for question in QUESTIONS}
    measured = [each for each in judged(read, accepted, with_arming=False) if each.item.key not in asked]
    if not is_go(measured):
        asking.stop()
    for question in QUESTIONS:
        if question.item in AFTER or (question.item == STILL and not _asks_about_pressure(read)):
            continue
        asking.about(question.item)


def _asks_about_pressure(read: Read) -> bool:
    return stands_still(read) and may_stand_still(read.plan)
