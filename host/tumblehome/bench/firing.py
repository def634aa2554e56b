"""A release fired on the bench, by the mission's own two steps, after a word that somebody types."""

import sys
import time

from lander import words
from seatrial.electronics import TEST_PLUG_OHM
from seatrial.plan import Plan
from tumblehome import terminal
from tumblehome.bench.link import Link, LinkError, Refused
from tumblehome.bench.showing import pairs_table, show_cautions
from tumblehome.wording import CAUTIONS

CHANNELS = ("release-primary", "release-backup")
WORD = "fire"
FIRES_S = 5.0  # as the mission has it; then it goes off by itself
LOOK_S = 0.1
HEARD_S = 8.0  # within which the mission's next step has heard a command
BEGUN_S = 10.0
TESTED_S = 8.0
CARRIED = 0.5  # of what a test plug lets through, or of the planned current: a circuit that carries less is open
CIRCUITS = ("not tested", "sound", "open", "shorted")  # as the controller numbers them


def fire_release(link: Link, name: str, plan: Plan) -> bool:
    """Explain, test by a trickle, ask for the word, and fire; whether a current was seen. Raises as `Link.ask`."""
    channel = name.rpartition("-")[2]
    if link.status().get("state") != "safe":
        raise LinkError("the mission is %s: disarm first" % link.status().get("state"))
    show_cautions(CAUTIONS[key] for key in ("release", "load", "gas"))
    link.so_far = "nothing was fired"
    terminal.out.print("The %s release will be energised for %.0f s: a wire gets hot and is eaten, a latch moves. Its"
                       " circuit is %s by a trickle." % (channel, FIRES_S, trickle(link)[channel]))
    if not _is_typed():
        terminal.out.print("nothing was fired")
        return False
    link.so_far = "nothing was fired, and what was readied runs out within ten seconds"
    link.ask("ask", command="ready-%s" % channel)
    _fire_when_ready(link)
    link.so_far = "the %s release may have been fired; it goes off by itself after %.0f s" % (channel, FIRES_S)
    return _watch(link, channel, plan)


def trickle(link: Link) -> dict[str, str]:
    """What a trickle finds in both circuits, in a word. Raises as `Link.ask`."""
    end_s = time.monotonic() + TESTED_S
    said = link.ask("circuits")
    while not link.number_in(said, "primary") and time.monotonic() < end_s:
        time.sleep(LOOK_S)
        said = link.ask("circuits")
    return {channel: CIRCUITS[link.number_in(said, channel)] for channel in words.CHANNELS}


def _is_typed() -> bool:
    if not sys.stdin.isatty():
        terminal.refuse(["a release is fired only where `%s` is typed at a terminal: nothing was fired" % WORD])
    terminal.out.print("Keep clear, and type %s to fire it, anything else to leave it: " % WORD, end="")
    return sys.stdin.readline().strip() == WORD


def _fire_when_ready(link: Link) -> None:
    """The second step, once the mission has heard the first."""
    end_s = time.monotonic() + HEARD_S
    while True:
        try:
            link.ask("ask", command="fire")
            return
        except Refused as error:
            if "busy" not in error.reason or time.monotonic() > end_s:
                raise
        time.sleep(LOOK_S)


def _watch(link: Link, channel: str, plan: Plan) -> bool:
    """What flows while the mission drives it."""
    most_ma, lowest_mv, was_on = 0, 0, False
    is_read = True
    end_s = time.monotonic() + BEGUN_S
    while time.monotonic() < end_s + (FIRES_S if was_on else 0.0):
        seen = link.readings()
        if seen["release_%s_pct" % channel]:
            was_on = True
            is_read = is_read and bool(seen["release_ok"])
            most_ma = max(most_ma, seen["release_ma"])
            lowest_mv = min(lowest_mv or seen["supply_mv"], seen["supply_mv"])
        elif was_on:
            break
        time.sleep(LOOK_S)
    if not was_on:
        refused = link.number_in(link.status(), "refused")
        terminal.complain("it was not fired: %s" % words.REFUSALS.get(refused, "the controller does not say why"))
        return False
    link.so_far = "the %s release was fired" % channel
    planned_ma = getattr(plan.release, channel).current_ma
    carried_ma = CARRIED * min(planned_ma, lowest_mv / TEST_PLUG_OHM)
    terminal.out.print(pairs_table((
        ("fired", "the %s release" % channel),
        ("drew", "up to %d mA" % most_ma if is_read else "the current cannot be read"),
        ("planned", "%.0f mA at sea; a test plug draws what its resistance lets through" % planned_ma),
        ("lowest", "%.2f V" % (lowest_mv / 1000)))))
    if not is_read or most_ma < carried_ma:
        terminal.complain("no current was seen to speak of: is the release, or its test plug, in its terminals?")
        return False
    return True
