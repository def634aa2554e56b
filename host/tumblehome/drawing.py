"""Circuit symbols as SVG: black lines and text, for paper, for a phone, and for a reader who cannot see colour.

A sheet measures in units of its own; text stays text. Every length is a number of these units.
"""

import html
import math
from collections.abc import Iterable

TEXT, SMALL = 15, 14
LINE = 1.6
DROP = 30  # from a line to the far end of what hangs on it


class Sheet:
    """One drawing. Draw on it, then ask for its `svg`."""

    def __init__(self, width: float, title: str, description: str) -> None:
        self.width = width
        self.title = title
        self.description = description
        self.height = 0.0
        self._pieces: list[str] = []

    def svg(self) -> str:
        """The finished file."""
        size = "%g %g" % (self.width, round(self.height + 10))
        head = ['<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %s" role="img" font-family="sans-serif">' % size,
                "<title>%s</title>" % html.escape(self.title), "<desc>%s</desc>" % html.escape(self.description),
                '<rect width="100%" height="100%" fill="white"/>']
        return "\n".join([*head, *self._pieces, "</svg>"]) + "\n"

    def line(self, *points: tuple[float, float], thick: bool = False, dashed: bool = False) -> None:
        """A line through these points."""
        path = " ".join("%g,%g" % point for point in points)
        self._add('<polyline points="%s" fill="none" stroke="black" stroke-width="%g"%s/>' % (
            path, 2 * LINE if thick else LINE, ' stroke-dasharray="6 5"' if dashed else ""), points)

    def box(self, x: float, y: float, width: float, height: float) -> None:
        self._add('<rect x="%g" y="%g" width="%g" height="%g" fill="white" stroke="black" stroke-width="%g"/>' % (
            x, y, width, height, LINE), [(x + width, y + height)])

    def text(self, x: float, y: float, words: str, anchor: str = "start", size: float = TEXT,
             bold: bool = False) -> None:
        """Words on one line, ohms by their sign; `y` is its base. A white edge keeps them readable where a line runs
        behind.
        """
        shown = html.escape(words.replace("Ohm", "Ω"))
        self._add('<text x="%g" y="%g" font-size="%g" text-anchor="%s"%s paint-order="stroke" stroke="white"'
                  ' stroke-width="3" fill="black">%s</text>' % (
                      x, y, size, anchor, ' font-weight="bold"' if bold else "", shown), [(x, y + 4)])

    def lines(self, x: float, y: float, rows: Iterable[str], anchor: str = "start", size: float = TEXT) -> float:
        """Words on several lines; answers where the next one would stand."""
        for row in rows:
            self.text(x, y, row, anchor, size)
            y += size * 1.25
        return y

    def circle(self, x: float, y: float, radius: float, thick: bool = False) -> None:
        """A ring: something round, seen from the side or along its axis."""
        self._add('<circle cx="%g" cy="%g" r="%g" fill="none" stroke="black" stroke-width="%g"/>' % (
            x, y, radius, 2 * LINE if thick else LINE), [(x, y + radius)])

    def arrow(self, start: tuple[float, float], end: tuple[float, float], dashed: bool = False) -> None:
        """A line with a head at its end."""
        self.line(start, end, dashed=dashed)
        long = math.hypot(end[0] - start[0], end[1] - start[1])
        along_x, along_y = (end[0] - start[0]) / long, (end[1] - start[1]) / long
        back_x, back_y = end[0] - 10 * along_x, end[1] - 10 * along_y
        self._add('<polygon points="%.1f,%.1f %.1f,%.1f %.1f,%.1f" fill="black"/>' % (
            *end, back_x - 5 * along_y, back_y + 5 * along_x, back_x + 5 * along_y, back_y - 5 * along_x), [end])

    def hatch(self, x: float, y: float, width: float) -> None:
        """A line with strokes below it: what stands still, as the seabed does."""
        self.line((x, y), (x + width, y), thick=True)
        for step in range(int(width // 14)):
            self.line((x + 14 * step + 14, y), (x + 14 * step + 4, y + 10))

    def mark(self, x: float, y: float, number: int) -> None:
        """A number in a ring, black on white, that a table beside the drawing takes up."""
        self._add('<circle cx="%g" cy="%g" r="11" fill="white" stroke="black" stroke-width="%g"/>' % (x, y, LINE),
                  [(x, y + 11)])
        self.text(x, y + 5, str(number), "middle", SMALL, bold=True)

    def dot(self, x: float, y: float) -> None:
        """Two lines that cross here are joined."""
        self._add('<circle cx="%g" cy="%g" r="3.5" fill="black"/>' % (x, y), [(x, y)])

    # --- parts that hang on a line ---------------------------------------------------------------------------------

    def pull(self, x: float, y: float, up: bool, words: str) -> None:
        """A resistor from a joint on a line to 3.3 V above or to ground below."""
        way = -1 if up else 1
        self.dot(x, y)
        self.line((x, y), (x, y + 7 * way))
        self.box(x - 4, y + 7 if not up else y - 21, 8, 14)
        self.line((x, y + 21 * way), (x, y + 25 * way))
        if up:
            self.supply(x, y - 25)
        else:
            self.ground(x, y + 25)
        self.text(x + 8, y + (-7 if up else 19), words, size=SMALL)

    def to_ground(self, x: float, y: float, words: str) -> None:
        """A capacitor from a joint on a line to ground."""
        self.dot(x, y)
        self.line((x, y), (x, y + 11))
        self.line((x - 8, y + 11), (x + 8, y + 11))
        self.line((x - 8, y + 16), (x + 8, y + 16))
        self.line((x, y + 16), (x, y + 25))
        self.ground(x, y + 25)
        self.text(x + 11, y + 19, words, size=SMALL)

    def supply(self, x: float, y: float, words: str = "3.3 V") -> None:
        self.line((x - 9, y), (x + 9, y))
        self.text(x + 12, y, words, size=SMALL)

    def ground(self, x: float, y: float) -> None:
        for row in range(3):
            self.line((x - 9 + 3 * row, y + 3 * row), (x + 9 - 3 * row, y + 3 * row))

    # --- parts in a line -------------------------------------------------------------------------------------------

    def resistor(self, x: float, y: float, words: str, below: bool = False) -> None:
        """A resistor 44 long in a line that runs to the right, in its middle."""
        self.box(x - 22, y - 7, 44, 14)
        if words:
            self.text(x, y + 25 if below else y - 13, words, "middle", SMALL)

    def fuse(self, x: float, y: float, words: str) -> None:
        self.resistor(x, y, words)
        self.line((x - 22, y), (x + 22, y))

    def diode(self, x: float, y: float, to_left: bool = False) -> None:
        """A diode that lets current pass to the right."""
        way = -1 if to_left else 1
        self._add('<polygon points="%g,%g %g,%g %g,%g" fill="black"/>' % (
            x - 8 * way, y - 9, x - 8 * way, y + 9, x + 8 * way, y), [(x + 8, y + 9)])
        self.line((x + 8 * way, y - 9), (x + 8 * way, y + 9))

    def diode_up(self, x: float, y: float) -> None:
        """A diode that lets current pass upwards, as a clamp to a supply does."""
        self._add('<polygon points="%g,%g %g,%g %g,%g" fill="black"/>' % (x - 7, y + 6, x + 7, y + 6, x, y - 6),
                  [(x, y + 6)])
        self.line((x - 7, y - 6), (x + 7, y - 6))

    def battery(self, x: float, y: float, words: Iterable[str]) -> None:
        """A battery in a line that runs down; plus is above."""
        self._add('<rect x="%g" y="%g" width="8" height="12" fill="white"/>' % (x - 4, y - 6), [])
        self.line((x - 16, y - 6), (x + 16, y - 6))
        self.line((x - 8, y + 6), (x + 8, y + 6), thick=True)
        self.text(x + 20, y - 8, "+")
        self.lines(x + 24, y + 8, words, size=SMALL)

    def part(self, x: float, y: float, width: float, height: float, rows: Iterable[str]) -> None:
        """A box with words in its middle; `y` is its middle."""
        given = list(rows)
        self.box(x, y - height / 2, width, height)
        self.lines(x + width / 2, y + 5 - (len(given) - 1) * SMALL * 0.625, given, "middle", SMALL)

    def _add(self, piece: str, points: Iterable[tuple[float, float]]) -> None:
        self._pieces.append(piece)
        for _x, y in points:
            self.height = max(self.height, y)
