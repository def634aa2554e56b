"""What to say to other vessels or the coast guard, in plain words.

Nobody is in danger, so it says that first, and has none of the words that call for help. It holds for a moment close
to now, since others look from now on; names the datum, as who enters a position wants it; tells no more decimals than
the place is known to; and ends with when it ends: common practice, no source.
"""

from collections.abc import Sequence

from lander import lamps
from lander.words import BEACON_LAMP
from seatrial.handbook.sighting import METRES_PER_NM
from seatrial.plan import Plan
from seatrial.workings.moments import MONTHS
from tumblehome.find import telling
from tumblehome.find.positions import written
from tumblehome.find.shapes import Position
from tumblehome.find.telling import Sight

LETTERS_MAX = 600  # read out in a minute
CUT = " ..."
STILL_KN = 0.05  # slower than this it is not said to drift
SURELY, HARDLY = 0.9, 0.1  # chances that the lamp still has charge: above the first it is told as it is
COARSE_M = 0.5 * METRES_PER_NM  # known no better than this, a place has tenths of a minute (185 m), else hundredths


def moment_told(sights: Sequence[Sight], begin: Sight) -> Sight:
    """The sight that others are told: the first that is half as likely afloat as when the search begins, or that."""
    return next((sight for sight in sights if sight.likely is not None and sight.afloat >= begin.afloat / 2), begin)


def lamp_told(fully: float, seldom: float) -> str:
    """How its lamp likely flashes, by the chances that it does so fully, and seldom, to save charge; else dark."""
    if fully + seldom < HARDLY:
        return "Its lamp is probably dark by now."
    rhythm = BEACON_LAMP[lamps.FLASH if fully >= seldom else lamps.SPARSE].split(":")[0]
    return "Lamp at night%s: %s." % ("" if fully + seldom >= SURELY else ", if still lit", rhythm)


def message(plan: Plan, splash: Position, sight: Sight, lamp: str = "") -> str:
    """One paragraph of at most 600 letters for others to look out by. All times are UTC.

    `lamp` is what `lamp_told` says of it; left out, it flashes fully. What the lander looks like, what is written on it
    and whom to call are the plan's own words ([card] looks_like, marked and the first of tell). Where they are too long
    for the paragraph they are cut at a word.
    """
    card, lamp = plan.card, lamp or lamp_told(1.0, 0.0)
    own = [_one_line(words) for words in (card.looks_like, card.marked, card.tell[0] if card.tell else "")]
    room = LETTERS_MAX - len(_paragraph(splash, sight, lamp, ["?" if words else "" for words in own]))
    return _paragraph(splash, sight, lamp, _fitted(own, room + sum(1 for words in own if words)))


def _paragraph(splash: Position, sight: Sight, lamp: str, own: Sequence[str]) -> str:
    looks_like, marked, call = own
    lines = (
        "For information, nobody is in danger: an unmanned seabed camera may %s low in the water." % (
            "be afloat," if sight.likely else "come up and float"),
        _where(splash, sight),
        "Looks like: %s." % looks_like if looks_like else "",
        lamp,
        "Marked: %s." % marked if marked else "",
        "Harmless; keep clear, note place and time, call this vessel%s." % (" or: " + call if call else ""),
        "We say when it is found.")
    return " ".join(line for line in lines if line)


def _where(splash: Position, sight: Sight) -> str:
    at = "%s UTC on %d %s %d" % (sight.at.strftime("%H:%M"), sight.at.day, MONTHS[sight.at.month - 1], sight.at.year)
    if sight.likely is None:
        return "At %s not up yet; it went in at %s (WGS 84)." % (at, written(splash, 2))
    words = "At %s near %s (WGS 84), within %s (9 chances in 10)" % (
        at, written(sight.likely, 1 if sight.radius_m >= COARSE_M else 2), telling.distance(sight.radius_m))
    if sight.speed_kn < STILL_KN:
        return words + "."
    return "%s, drifting toward %s true at %.1f knots." % (words, telling.bearing(sight.toward_deg), sight.speed_kn)


def _one_line(words: str) -> str:
    return " ".join(words.split()).rstrip(". ")


def _fitted(texts: Sequence[str], room: int) -> list[str]:
    """The texts in so many letters: short ones whole, and what they leave goes in equal shares to the long ones."""
    fitted = list(texts)
    left = sorted(range(len(texts)), key=lambda number: len(texts[number]))
    while left:
        number, share = left[0], room // len(left)
        fitted[number] = _cut(texts[number], share)
        room -= len(fitted[number])
        left = left[1:]
    return fitted


def _cut(words: str, letters: int) -> str:
    if len(words) <= letters:
        return words
    kept = words[:letters - len(CUT)]
    return (kept.rsplit(" ", 1)[0] if " " in kept else kept).rstrip(",;: ") + CUT
