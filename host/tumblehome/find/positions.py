"""Positions as sailors write them: read in the usual forms, written in degrees and decimal minutes.

What could mean two places is refused, never guessed: a lander is not found where a letter was left out. So a position
has its N or S and its E or W, before or after the numbers. The one form without letters is that of chart programs,
signed decimal degrees with the latitude first (the order of a `geo:` address, RFC 5870): `46.1 -28.4`.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite

from seatrial.plan.wording import show
from seatrial.workings.chart_angles import position_words
from tumblehome.find.mistakes import PositionError
from tumblehome.find.shapes import Position

EXAMPLE = "46\N{DEGREE SIGN}06.000\N{PRIME}N 028\N{DEGREE SIGN}24.000\N{PRIME}W"
_PLAIN = '46 06.000 N, 028 24.000 W'  # the same on a keyboard

_DEGREES_MAX = {"latitude": 90, "longitude": 180}
_KIND = {"N": "latitude", "S": "latitude", "E": "longitude", "W": "longitude"}
_MARKS = "\N{DEGREE SIGN}'\""  # of degrees, minutes and seconds, in their order
_PARTS = ("degrees", "minutes", "seconds")

_SAME = {  # what is printed or typed for the same sign
    "\N{MASCULINE ORDINAL INDICATOR}": "\N{DEGREE SIGN}", "\N{RING ABOVE}": "\N{DEGREE SIGN}",
    "\N{PRIME}": "'", "\N{RIGHT SINGLE QUOTATION MARK}": "'", "\N{LEFT SINGLE QUOTATION MARK}": "'",
    "\N{ACUTE ACCENT}": "'", "`": "'", "\N{DOUBLE PRIME}": '"', "\N{RIGHT DOUBLE QUOTATION MARK}": '"',
    "\N{LEFT DOUBLE QUOTATION MARK}": '"', "\N{MODIFIER LETTER PRIME}": "'", "\N{MODIFIER LETTER DOUBLE PRIME}": '"',
    "\N{MINUS SIGN}": "-", "\N{HYPHEN}": "-", "\N{EN DASH}": "-", "\N{NO-BREAK SPACE}": " ",
    "\N{THIN SPACE}": " ", "\N{NARROW NO-BREAK SPACE}": " "}
_WORDS = {"NORTH": "N", "SOUTH": "S", "EAST": "E", "WEST": "W", "DEGREES": "\N{DEGREE SIGN}", "DEG": "\N{DEGREE SIGN}",
          "MINUTES": "'", "MIN": "'", "SECONDS": '"', "SEC": '"'}
_TOKEN = re.compile(
    r"(?P<number>[+-]?[0-9]+(?:\.[0-9]*)?)|(?P<mark>[\N{DEGREE SIGN}'\":])|(?P<letter>[NSEW])|(?P<between>[,;/])"
    r"|(?P<space>\s+)")


@dataclass(frozen=True)
class _Number:
    """A number as it stood, and the mark behind it, or ""."""

    text: str
    mark: str = ""

    @property
    def signed(self) -> bool:
        return self.text[0] in "+-"

    @property
    def decimal(self) -> bool:
        return "." in self.text


def parse(text: str) -> Position:
    """The position that a person wrote; longitude 180 W comes out as 180.

    Degrees, degrees and minutes, or degrees, minutes and seconds, each with a letter before or after; the last number
    may have decimals behind a point. Marks, a comma between the two and leading zeros are as one likes. Without
    letters: decimal degrees, latitude first, at least one with its sign. Raises PositionError with one sentence.
    """
    tokens = _tokens(text)
    letters = [token for kind, token in tokens if kind == "letter"]
    if not letters:
        return _signed(text, tokens)
    kinds = sorted(_KIND[letter] for letter in letters)
    if kinds != ["latitude", "longitude"]:
        raise _wrong(text, "has the letters %s: give one of N and S and one of E and W" % " and ".join(letters))
    degrees = {}
    for letter, numbers in _halves(text, tokens):
        degrees[_KIND[letter]] = _degrees(text, letter, numbers)
    return Position(degrees["latitude"], _within_180(degrees["longitude"]))


def written(position: Position, decimals: int = 3) -> str:
    """As sailors write it, to a thousandth of a minute (1.9 m) or to so many decimals: `46°06.000′N 028°24.000′W`.

    Raises PositionError for a place off the globe.
    """
    latitude, longitude = position.latitude_deg, position.longitude_deg
    for name, value in (("latitude", latitude), ("longitude", longitude)):
        if not (isfinite(value) and abs(value) <= _DEGREES_MAX[name]):
            raise PositionError(["the %s is %s degrees; allowed is %d to %d: correct it" % (
                name, value, -_DEGREES_MAX[name], _DEGREES_MAX[name])])
    return position_words(latitude, longitude, decimals)


# --- reading ----------------------------------------------------------------------------------------------------------


def _wrong(text: str, what: str) -> PositionError:
    return PositionError(["the position %s %s, such as %s" % (show(" ".join(text.split())), what, _PLAIN)])


def _tokens(text: str) -> list[tuple[str, str]]:
    """(kind, text) of number, mark, letter and the comma between; raises PositionError for anything else."""
    plain = "".join(_SAME.get(sign, sign) for sign in text).upper().replace("''", '"').strip()
    plain = re.sub(r"[A-Z]{2,}", lambda found: _WORDS.get(found[0], found[0]), plain)
    if not plain:
        raise _wrong(text, "is empty: write degrees and minutes with their letters")
    if re.search(r"(?<![0-9.])[0-9]+,[0-9]", plain):
        raise _wrong(text, "has a comma between digits, which may be a decimal comma or stand between two numbers:"
                           " write decimals with a point and a space after a comma")
    plain = re.sub(r"(?<=[0-9])-(?=[0-9])", " ", plain)  # 46-06.0N: no minus, since it has digits on both sides
    tokens, at = [], 0
    while at < len(plain):
        found = _TOKEN.match(plain, at)
        if not found:
            raise _wrong(text, "has %s in it: write digits, a decimal point, N or S and E or W" % show(plain[at]))
        if found.lastgroup != "space":
            tokens.append((str(found.lastgroup), found[0]))
        at = found.end()
    return tokens


def _numbers(text: str, tokens: Sequence[tuple[str, str]]) -> list[_Number]:
    """The numbers with the marks behind them."""
    numbers: list[_Number] = []
    for kind, token in tokens:
        if kind == "number":
            numbers.append(_Number(token))
        elif kind == "mark" and numbers and not numbers[-1].mark:
            numbers[-1] = _Number(numbers[-1].text, token)
        elif kind == "mark":
            raise _wrong(text, "has the mark %s without a number: write the mark behind its number" % token)
    return numbers


def _signed(text: str, tokens: Sequence[tuple[str, str]]) -> Position:
    """Decimal degrees without letters, latitude first."""
    numbers = _numbers(text, tokens)
    in_degrees = all(number.decimal and number.mark in ("", _MARKS[0]) for number in numbers)
    if len(numbers) != 2 or not in_degrees:
        raise _wrong(text, "has no N or S and no E or W: write both letters")
    if not any(number.signed for number in numbers):
        raise _wrong(text, "has neither letters nor a sign, so that a W or an S may be missing: write the letters")
    latitude, longitude = (float(number.text) for number in numbers)
    if abs(latitude) > 90:
        raise _wrong(text, "begins with %s, beyond the 90 degrees of a latitude, which stands first where there are no"
                           " letters: write the letters" % numbers[0].text)
    if abs(longitude) > 180:
        raise _wrong(text, "has the longitude %s; allowed is -180 to 180: correct it" % numbers[1].text)
    return Position(latitude, _within_180(longitude))


def _halves(text: str, tokens: Sequence[tuple[str, str]]) -> list[tuple[str, list[_Number]]]:
    """The letter and the numbers of each half: both letters in front of their numbers, or both behind them."""
    kinds = [kind for kind, _token in tokens]
    commas = [place for place, kind in enumerate(kinds) if kind == "between"]
    first, second = (place for place, kind in enumerate(kinds) if kind == "letter")
    in_front = first == 0 and second < len(kinds) - 1
    behind = first > 0 and second == len(kinds) - 1
    if not in_front and not behind:
        raise _wrong(text, "does not show which numbers belong to which letter: write each letter behind its numbers")
    cut = second if in_front else first + 1
    if len(commas) > 1 or (commas and commas[0] != (cut - 1 if in_front else cut)):
        raise _wrong(text, "has a comma in the middle of a latitude or longitude: write decimals with a point and a"
                           " comma only between the two")
    letters = [tokens[first][1], tokens[second][1]]
    return [(letter, _numbers(text, half)) for letter, half in zip(letters, (tokens[:cut], tokens[cut:]), strict=True)]


def _degrees(text: str, letter: str, numbers: Sequence[_Number]) -> float:
    """One to three numbers and their letter, as signed degrees."""
    kind = _KIND[letter]
    if not 1 <= len(numbers) <= 3:
        raise _wrong(text, "has %d numbers for its %s: write degrees, or degrees and minutes" % (len(numbers), kind))
    if any(number.signed for number in numbers):
        raise _wrong(text, "has a sign and the letter %s, which may undo each other: leave the sign out" % letter)
    for place, number in enumerate(numbers):
        if number.mark not in ("", ":", _MARKS[place]):
            raise _wrong(text, "has the mark %s behind its %s: write %s, ' and \" behind degrees, minutes and seconds"
                         % (number.mark, _PARTS[place], _MARKS[0]))
        if number.decimal and place < len(numbers) - 1:
            raise _wrong(text, "has decimals in its %s and a number after them: keep decimals to the last number"
                         % _PARTS[place])
        if place > 0 and float(number.text) >= 60:
            raise _wrong(text, "has %s %s; allowed is 0 to below 60: correct them" % (number.text, _PARTS[place]))
    # the smallest part is worked out in whole units where it can be, so that what was written comes back the same
    value = sum(float(number.text) * 3600 / 60 ** place for place, number in enumerate(numbers)) / 3600
    if len(numbers) == 1:
        value = float(numbers[0].text)
    if value > _DEGREES_MAX[kind]:
        raise _wrong(text, "has a %s of %g degrees; allowed is 0 to %d: correct it, and leave a space between degrees"
                           " and minutes" % (kind, value, _DEGREES_MAX[kind]))
    return -value if letter in "SW" and value else value


def _within_180(longitude_deg: float) -> float:
    return 180.0 if longitude_deg == -180.0 else longitude_deg
