"""The card that goes on deck: one A4 page that says when and where to look for the lander, and what holds if it is
not there.

It has no script and no colour with a meaning: it must read from wet paper, from a copy in black and white, and on a
telephone without a network.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import datetime
from typing import TYPE_CHECKING

from seatrial.handbook.sighting import METRES_PER_NM
from seatrial.workings.moments import MONTHS
from tumblehome.page import parts
from tumblehome.page.parts import Column, Html
from tumblehome.wording import NOTHING

if TYPE_CHECKING:
    from seatrial.workings.card import Card, Moment, Spot, Way

_UTC = "UTC"
_TELL_ON_PAPER = 4  # lines that surely fit the page; the rest is named there and stands whole on a screen
_LETTERS_ON_PAPER = 4300  # what fits at the usual size of type, tried with a wide face; more is set smaller
_TAGS = re.compile("<[^>]*>")
_NEAR_NM = 0.5  # below this a distance is told in metres
_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


def card_page(card: Card) -> str:
    """The deck card as one HTML file, which prints to one A4 page.

    Every text of the card is escaped. What never happens (None) is shown as such and not left out.
    """
    blocks = (_give_up(card), _tell(card), _times(card), _release(card), _beacon(card),
              _block("Status lamp", _lines(card.status_lamp)), _weights(card))
    content = parts.join((_header(card), _look_out(card), _ways(card), _in_fact(card),
                          parts.element("div", parts.join(blocks), class_="columns"),
                          _block("Take care", _lines(card.cautions), "care")))
    dense = sum(map(len, _TAGS.split(content))) > _LETTERS_ON_PAPER
    body = parts.element("div", content, class_="dense") if dense else content
    footer = parts.element("p", "From the planned splash and the plan's own numbers: the plan page tells what they rest"
                                " on.")
    return parts.frame(f"Deck card: {card.name}", body, footer, with_charts=False, looks=("card.css",))


def _header(card: Card) -> Html:
    clock = "All times UTC (Z)" if card.zone == _UTC else f"Times UTC (Z), in brackets local, {card.zone}"
    shown = [*card.times, *(moment for way in card.ways for moment in (way.command, way.early, way.likely, way.late))]
    if any("+1 d" in _on_board(card, moment) or "-1 d" in _on_board(card, moment) for moment in shown):
        clock += " (+1 d, -1 d: there it is the next day, the day before)"
    return parts.element("header", parts.join((
        parts.element("p", f"Deck card of plan {card.mark or NOTHING}. {clock}.", class_="kind"),
        parts.element("h1", card.name, class_="clamp"),
        parts.element("p", card.place, class_="place"))))


def _look_out(card: Card) -> Html:
    """The one thing to see: from when on, where, and what for."""
    begin, spot = card.search_from, card.search_at
    if begin.utc is None or spot is None:
        pieces = [parts.element("p", "Nothing to look for: by this plan the timed release does not bring it up.",
                                class_="when")]
    else:
        pieces = [parts.element("p", parts.join((Html("Look from"), _big_time(card, begin.utc, begin.local))),
                                class_="when"),
                  parts.element("p", parts.join((Html("at"), parts.element("b", spot.words))), class_="where"),
                  parts.element("p", f"{_from_splash(spot)}. {_sentence(begin.note)}", class_="more")]
    pieces += [parts.element("p", parts.join((parts.element("b", f"{word}:"), parts.text(said))), class_="clamp more")
               for word, said in (("Looks like", card.looks_like), ("Marked", card.marked)) if said]
    return parts.element("section", parts.join(pieces), class_="look-out", aria_label="When and where to look")


def _big_time(card: Card, utc: datetime, local: datetime | None) -> Html:
    said = parts.element("b", f"{utc:%H:%M}Z")
    day = f"{_DAYS[utc.weekday()]} {_day(utc)} {utc.year}"
    if card.zone == _UTC or local is None:
        return parts.join((said, parts.text(day)))
    board = f"{local:%H:%M} local" + (f" {_day(local)}" if local.date() != utc.date() else "")
    return parts.join((said, parts.text(f"({board}), {day}")))


def _ways(card: Card) -> Html:
    if not card.ways:
        return Html("")
    elsewhere = any(way.spot is not None and way.spot != card.search_at for way in card.ways)
    columns = [Column("Freed by"), Column("Day"), Column("Command"), Column("Up, early"), Column("Likely"),
               Column("Late"), Column("Light")]
    caption = "When it comes up, by what frees it"
    if elsewhere:
        columns.append(Column("Where"))
    elif card.search_at is not None:
        caption += "; always at the place above"
    return parts.element("section", parts.table(caption, columns, [_way(card, way, elsewhere) for way in card.ways]),
                         class_="ways")


def _way(card: Card, way: Way, with_place: bool) -> tuple[Html | str, ...]:
    moments = (way.command, way.early, way.likely, way.late)
    row: tuple[Html | str, ...]
    if way.likely.utc is None:
        row = (way.words, NOTHING, _cell(card, way.command, None), "never", "never", "never", NOTHING)
    else:
        row = (way.words, _day(way.likely.utc), *(_cell(card, moment, way.likely.utc) for moment in moments),
               way.light or NOTHING)
    return (*row, way.spot.words if way.spot else NOTHING) if with_place else row


def _cell(card: Card, moment: Moment, day_known: datetime | None) -> Html:
    """A moment in UTC and by the clock on board; the day only where it is not that of `day_known`."""
    if moment.utc is None:
        return parts.text("by itself" if moment.words == "command" else NOTHING)
    same = day_known is not None and day_known.date() == moment.utc.date()
    day = "" if same else f"{_day(moment.utc)} "
    return parts.join((parts.element("b", f"{day}{moment.utc:%H:%M}Z"), parts.text(_on_board(card, moment))))


def _on_board(card: Card, moment: Moment) -> str:
    """The same moment by the clock on board, in brackets; empty where that shows UTC."""
    if card.zone == _UTC or moment.local is None or moment.utc is None:
        return ""
    days = (moment.local.date() - moment.utc.date()).days
    return f"({moment.local:%H:%M}{f' {days:+d} d' if days else ''})"


def _in_fact(card: Card) -> Html:
    """Room to write down the splash as it was: every other time moves with it."""
    line = Html('<span class="blank"></span>')
    return parts.element("p", Html(f"Splash in fact {line} Z, at {line}{line}: move all times by {line} min."),
                         class_="in-fact")


def _times(card: Card) -> Html:
    rows = parts.join(parts.element("div", parts.join((
        parts.element("dt", parts.join((parts.text(moment.words), parts.element("small", moment.note)))),
        parts.element("dd", _cell(card, moment, None))))) for moment in card.times)
    return _block("Planned", parts.element("dl", rows))


def _release(card: Card) -> Html:
    return _block("Release, in this order", parts.element(
        "ol", parts.join(parts.element("li", line) for line in card.release_order)))


def _weights(card: Card) -> Html:
    rows = parts.join(parts.element("div", parts.join((
        parts.element("dt", weight.words), parts.element("dd", f"{weight.kg:.1f} kg")))) for weight in card.weights)
    return _block("Weights", parts.element("dl", rows))


def _give_up(card: Card) -> Html:
    moment = card.give_up
    if moment.utc is None:
        lines = ("Not reckoned: no release brings it up.", *card.still_true)
        return _block("Give up waiting", _lines(lines), "give-up")
    pieces = [parts.element("p", parts.join((_big_time(card, moment.utc, moment.local),
                                             parts.text(f"– {moment.note}") if moment.note else Html(""))),
                            class_="until"),
              _lines((*_adrift(card.adrift), *card.still_true))]
    return _block("Give up waiting", parts.join(pieces), "give-up")


def _adrift(spot: Spot | None) -> Iterable[str]:
    if spot is not None:
        yield f"Up on time and not seen: by then near {spot.words}, {_from_splash(spot)}."


def _beacon(card: Card) -> Html:
    return _block("Beacon", _lines(card.beacon))


_WHEN_TOLD = "Tell, before the splash and when it is on board"


def _tell(card: Card) -> Html:
    if not card.tell:
        return _block(_WHEN_TOLD, parts.element("p", "Nobody is named in the plan ([card] tell): somebody on land"
                                                     " should know when to expect you."))
    lines = [parts.element("li", line, class_="clamp" + (" beyond" if number >= _TELL_ON_PAPER else ""))
             for number, line in enumerate(card.tell)]
    more = len(card.tell) - _TELL_ON_PAPER
    rest = [parts.element("p", f"and {more} more: see the plan, [card] tell", class_="paper-only")] if more > 0 else []
    return _block(_WHEN_TOLD, parts.join((parts.element("ul", parts.join(lines)), *rest)), "tell")


def _block(heading: str, content: Html, kind: str | None = None) -> Html:
    return parts.element("section", parts.join((parts.element("h2", heading), content)), class_=kind)


def _lines(lines: Iterable[str]) -> Html:
    return parts.element("ul", parts.join(parts.element("li", line) for line in lines))


def _from_splash(spot: Spot) -> str:
    return (f"{spot.bearing_deg:03.0f}° true, {_distance(spot.range_nm)} from the splash, give or take"
            f" {_distance(spot.radius_nm)}")


def _distance(nautical_miles: float) -> str:
    """A distance as it is said on board: miles, and metres when it is near."""
    if nautical_miles >= _NEAR_NM:
        return f"{nautical_miles:.1f} NM"
    return f"{max(1, round(nautical_miles * METRES_PER_NM / 10)) * 10} m"


def _day(moment: datetime) -> str:
    return f"{moment.day} {MONTHS[moment.month - 1]}"


def _sentence(words: str) -> str:
    return f"{words[:1].upper()}{words[1:]}." if words else ""
