"""The map of a search: drawn in the page itself, without a network, and without the land, which no one has given.

Azimuthal equidistant about the middle of what is searched: distances and bearings from there are true. North is up
there; the graticule shows by how much it leans elsewhere. All is in units of the picture, 640 wide; texts are placed
for the larger type of a telephone.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from math import ceil, cos, floor, hypot, log10, pi, radians
from typing import TYPE_CHECKING, NamedTuple

from seatrial.handbook.sighting import METRES_PER_NM
from tumblehome.find import telling
from tumblehome.find.positions import written
from tumblehome.find.shapes import Plane, Position
from tumblehome.page import palette, parts
from tumblehome.page.parts import Html

if TYPE_CHECKING:
    from tumblehome.find.shapes import Area
    from tumblehome.find.telling import Planned, Sight, Telling

WIDTH = 640
LEAST_HALF_M = 250.0  # no map is of less than this to each side of its middle
MARGIN = 1.15
FLATTEST = 0.62  # height to width
OFF_THE_MAP = 2.0  # places that would make the map more than so many times as large are told at its edge instead
GRATICULE_STEPS_MIN = (0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 15, 20, 30, 60, 120, 300, 600, 1800)
GRATICULE_ROOM = 150  # units from line to line, at least
MERIDIANS_AT_POLE_MIN = 1800
SAMPLES = 24  # points along a line of the graticule
LEG_STEP = 8  # from point to point along a leg of a pattern, to find a corner that it leaves free
LABEL_PLACES = 16  # places along an area's edge at which its label is tried
SCALE_ROOM = 150
ARROW_LEG = 30  # shorter legs have no arrow
TYPE, LETTER = 22, 12.0  # height of the type, and width of a letter, on a telephone


class AreaLook(NamedTuple):
    """How an area is drawn: edge, share of its colour inside, and the corner where its label stands, (east, north)."""

    colour: str
    dash: str
    width: float
    inside: float
    label_at: tuple[float, float]


AREAS = {
    0.5: AreaLook(palette.VERMILLION, "solid", 3.5, 0.2, (0.0, 1.0)),
    0.9: AreaLook(palette.BLUE, "dash", 2.5, 0.1, (0.0, -1.0)),
    0.99: AreaLook(palette.INK, "dot", 2.0, 0.05, (1.0, 0.0)),
}
OTHER_AREA = AreaLook(palette.INK, "dashdot", 2.0, 0.0, (-1.0, 0.0))

# Each kind of place by its shape; drawn about (0, 0).
MARKS = {
    "likely": '<path d="M-9 0H9M0 -9V9"/><circle r="6" fill="none"/>',
    "splash": '<circle r="5" fill="#fff"/><circle r="1.5"/>',
    "seabed": '<rect x="-5" y="-5" width="10" height="10" fill="#fff"/>',
    "boat": '<path d="M0 -10L6 3V9H-6V3Z" fill="currentColor"/>',
}
MARK_WORDS = {"likely": "likely place, if afloat", "splash": "splash", "seabed": "place on the seabed", "boat": "boat"}


class _View(NamedTuple):
    """Which part of the plane the picture shows."""

    plane: Plane
    east_m: float
    north_m: float
    unit_m: float
    height: int

    def at(self, east_m: float, north_m: float) -> tuple[float, float]:
        """Units from the upper left corner."""
        return (WIDTH / 2 + (east_m - self.east_m) / self.unit_m,
                self.height / 2 - (north_m - self.north_m) / self.unit_m)

    def of(self, place: Position) -> tuple[float, float]:
        return self.at(*self.plane.metres(place))

    def place(self, x: float, y: float) -> Position:
        return self.plane.position(self.east_m + (x - WIDTH / 2) * self.unit_m,
                                   self.north_m - (y - self.height / 2) * self.unit_m)

    def shows(self, x: float, y: float) -> bool:
        return 0 <= x <= WIDTH and 0 <= y <= self.height


class _Texts:
    """Texts that do not stand on one another: each takes the first free place around its mark, or none."""

    def __init__(self, view: _View) -> None:
        self.view = view
        self.taken: list[tuple[float, float, float, float]] = []

    def block(self, left: float, top: float, right: float, bottom: float) -> None:
        """Keep a box clear of further texts."""
        self.taken.append((left, top, right, bottom))

    def place(self, words: str, x: float, y: float, away: float = 12.0, kind: str | None = None,
              always: bool = False) -> Html:
        """The text beside (x, y); empty when there is no room, unless it must `always` stand, on the map if it can."""
        wide = len(words) * LETTER
        choices = [(x + away, y + 7, "start"), (x - away, y + 7, "end"), (x, y - away, "middle"),
                   (x, y + away + TYPE * 0.75, "middle"), (x + away, y - away, "start"), (x - away, y - away, "end"),
                   (x + away, y + away + 12, "start"), (x - away, y + away + 12, "end")]
        boxes = []
        for at_x, at_y, anchor in choices:
            left = at_x - {"start": 0.0, "middle": wide / 2, "end": wide}[anchor]
            boxes.append((left, at_y - TYPE * 0.8, left + wide, at_y + TYPE * 0.2))
        wanted = (self.free, self.holds, lambda _box: True) if always else (self.free,)
        found = next((number for fits in wanted for number, box in enumerate(boxes) if fits(box)), None)
        if found is None:
            return Html("")
        at_x, at_y, anchor = choices[found]
        self.block(*boxes[found])
        return parts.element("text", words, x=_n(at_x), y=_n(at_y), class_=kind,
                             text_anchor=None if anchor == "start" else anchor)

    def holds(self, box: tuple[float, float, float, float]) -> bool:
        """Whether a box (left, top, right, bottom) is on the map."""
        left, top, right, bottom = box
        return left >= 2 and right <= WIDTH - 2 and top >= 2 and bottom <= self.view.height - 2

    def free(self, box: tuple[float, float, float, float]) -> bool:
        """Whether a box (left, top, right, bottom) is on the map and clear of all that stands there."""
        left, top, right, bottom = box
        return self.holds(box) and not any(
            left < other_right and other_left < right and top < other_bottom and other_top < bottom
            for other_left, other_top, other_right, other_bottom in self.taken)


def sea_map(told: Telling, sight: Sight, planned: Planned | None) -> Html:
    """The map for one moment as SVG: areas, the pattern if one is given, places, graticule, scale, north."""
    view = _view(told, sight, planned)
    texts = _Texts(view)
    spots = _spots(view, told, sight)
    edges = [view.of(place) for area in sight.areas for ring in area.rings for place in ring]
    furniture = [_north(view, texts), _scale(view, texts, [*spots.values(), *_route(view, planned), *edges])]
    for x, y in spots.values():
        texts.block(x - 8, y - 8, x + 8, y + 8)
    graticule_lines, graticule_texts = _graticule(view, texts)
    ends = _waypoint_texts(view, texts, planned, at_ends=True) if planned else []
    area_texts = [_area_text(view, texts, area) for area in sight.areas]
    place_texts = [texts.place(kind, x, y) for kind, (x, y) in spots.items()]
    beyond = [each for kind, place in _known(told, sight) if kind not in spots
              for each in _beyond(view, texts, kind, place)]
    between = _waypoint_texts(view, texts, planned, at_ends=False) if planned else []
    pattern = _pattern(view, planned) if planned else Html("")
    layers = (*graticule_lines, *(_area(view, area) for area in reversed(sight.areas)), pattern,
              *(_mark(kind, *spot) for kind, spot in spots.items()), *graticule_texts, *area_texts, *between,
              *place_texts, *beyond, *ends, *furniture)
    return parts.element("svg", parts.join(layer for layer in layers if layer), viewBox=f"0 0 {WIDTH} {view.height}",
                         role="img", aria_label=_words(told, sight, planned), xmlns="http://www.w3.org/2000/svg",
                         class_="sea")


def _route(view: _View, planned: Planned | None) -> list[tuple[float, float]]:
    """Points along the legs of a pattern, close enough that none passes under a corner unseen."""
    points = [view.of(place) for place in planned.pattern.waypoints] if planned else []
    found = points[:1]
    for here, after in zip(points, points[1:], strict=False):
        steps = min(WIDTH, ceil(hypot(after[0] - here[0], after[1] - here[1]) / LEG_STEP)) or 1
        found += [(here[0] + step / steps * (after[0] - here[0]), here[1] + step / steps * (after[1] - here[1]))
                  for step in range(1, steps + 1)]
    return found


def key() -> Html:
    """What the lines and marks mean."""
    areas = [(parts.line_swatch(look.colour, look.dash, look.width), f"{100 * probability:g} % area", "")
             for probability, look in AREAS.items()]
    marks = [(parts.swatch(drawing, "-14 -11 28 22", "mark"), MARK_WORDS[kind], "") for kind, drawing in MARKS.items()]
    steered = (parts.swatch('<path d="M1 7H27"/><path class="arrow" d="M11 3L18 7L11 11Z"/>', kind="steered"),
               "pattern, as steered", "")
    return parts.key_list((*areas, steered, *marks))


def _words(told: Telling, sight: Sight, planned: Planned | None) -> str:
    """The map in words, for those who cannot see it."""
    said = [f"Map for {telling.moment(sight.at)}."]
    said += [f"{100 * area.probability:g} % area: {telling.square_km(area.area_km2)}." for area in sight.areas]
    if sight.likely is not None:
        said.append(f"Likely place {written(sight.likely)}.")
        if told.boat is not None:
            course_deg, away_m = telling.line(told.boat, sight.likely)
            said.append(f"From the boat {telling.bearing(course_deg)}, {telling.distance(away_m)}.")
    if planned is not None:
        said.append(f"Pattern: {planned.pattern.kind} with {len(planned.pattern.waypoints)} waypoints, in the table.")
    return " ".join(said)


# --- what is shown --------------------------------------------------------------------------------------------------


def _view(told: Telling, sight: Sight, planned: Planned | None) -> _View:
    plane = Plane(sight.likely or told.splash)
    wanted = [place for area in sight.areas for ring in area.rings for place in ring]
    wanted += [place for place in (sight.likely,) if place is not None]
    wanted += planned.pattern.waypoints if planned else ()
    box = _box(plane.metres(place) for place in wanted or (told.splash,))
    for place in (told.splash, told.bottom, told.boat):
        if place is not None:
            larger = _box((box[:2], box[2:], plane.metres(place)))
            box = larger if _size(larger) <= OFF_THE_MAP * max(_size(box), 2 * LEAST_HALF_M) else box
    west_m, south_m, east_m, north_m = box
    half_wide_m = max(LEAST_HALF_M, MARGIN * (east_m - west_m) / 2)
    half_high_m = max(LEAST_HALF_M, MARGIN * (north_m - south_m) / 2)
    half_wide_m = max(half_wide_m, half_high_m)  # never higher than wide
    height = round(WIDTH * max(FLATTEST, half_high_m / half_wide_m))
    return _View(plane, (west_m + east_m) / 2, (south_m + north_m) / 2, 2 * half_wide_m / WIDTH, height)


def _box(points: Iterable[tuple[float, float]]) -> tuple[float, float, float, float]:
    easts, norths = zip(*points, strict=True)
    return min(easts), min(norths), max(easts), max(norths)


def _size(box: tuple[float, float, float, float]) -> float:
    return max(box[2] - box[0], box[3] - box[1])


# --- areas, pattern, places -----------------------------------------------------------------------------------------


def _area(view: _View, area: Area) -> Html:
    look = AREAS.get(area.probability, OTHER_AREA)
    outline = "".join(_path(view, ring, "Z") for ring in area.rings)
    return parts.element("path", d=outline, fill=look.colour, fill_opacity=look.inside, fill_rule="evenodd",
                         stroke=look.colour, stroke_width=look.width, stroke_dasharray=parts.dashes(look.dash))


def _path(view: _View, places: Sequence[Position], end: str = "") -> str:
    """A line in whole tenths of a unit; points that fall on the one before are left out."""
    points: list[str] = []
    for place in places:
        x, y = view.of(place)
        point = f"{_n(x)} {_n(y)}"
        if not points or point != points[-1]:
            points.append(point)
    return "M" + "L".join(points) + end


def _area_text(view: _View, texts: _Texts, area: Area) -> Html:
    look = AREAS.get(area.probability, OTHER_AREA)
    if not area.rings:
        return Html("")
    east, north = look.label_at
    points = [view.of(place) for ring in area.rings for place in ring]
    shown = sorted([point for point in points if view.shows(*point)] or points,
                   key=lambda point: north * point[1] - east * point[0])
    words = f"{100 * area.probability:g} %"
    tried = (texts.place(words, x, y, 6.0, "area") for x, y in shown[::max(1, len(shown) // LABEL_PLACES)])
    return next(filter(None, tried), None) or texts.place(words, *shown[0], 6.0, "area", always=True)


def _pattern(view: _View, planned: Planned) -> Html:
    points = [view.of(place) for place in planned.pattern.waypoints]
    drawn = [parts.element("path", d=_path(view, planned.pattern.waypoints))]
    drawn += [_arrow(*one, *other) for one, other in zip(points, points[1:], strict=False)
              if hypot(other[0] - one[0], other[1] - one[1]) >= ARROW_LEG]
    drawn += [parts.element("circle", cx=_n(x), cy=_n(y), r=3.5) for x, y in points if view.shows(x, y)]
    return parts.element("g", parts.join(drawn), class_="steered")


def _waypoint_texts(view: _View, texts: _Texts, planned: Planned, at_ends: bool) -> list[Html]:
    """The numbers of the first and the last waypoint, or of those between, as far as there is room."""
    points = list(enumerate((view.of(place) for place in planned.pattern.waypoints), 1))
    chosen = [points[0], *points[1:][-1:]] if at_ends else points[1:-1]
    return [texts.place(str(number), *point, 6.0, "waypoint", always=at_ends)
            for number, point in chosen if view.shows(*point)]


def _arrow(x: float, y: float, to_x: float, to_y: float) -> Html:
    """A head in the middle of a leg, pointing along it."""
    long = hypot(to_x - x, to_y - y)
    ahead_x, ahead_y = (to_x - x) / long, (to_y - y) / long
    mid_x, mid_y = (x + to_x) / 2, (y + to_y) / 2
    tip = (mid_x + 8 * ahead_x, mid_y + 8 * ahead_y)
    wings = [(mid_x - 5 * ahead_x + side * 6 * ahead_y, mid_y - 5 * ahead_y - side * 6 * ahead_x) for side in (1, -1)]
    return parts.element("path", class_="arrow", d="M" + "L".join(
        f"{_n(at_x)} {_n(at_y)}" for at_x, at_y in (tip, *wings)) + "Z")


def _known(told: Telling, sight: Sight) -> Iterator[tuple[str, Position]]:
    places = {"likely": sight.likely, "boat": told.boat, "splash": told.splash, "seabed": told.bottom}
    yield from ((kind, place) for kind, place in places.items() if place is not None)


def _spots(view: _View, told: Telling, sight: Sight) -> dict[str, tuple[float, float]]:
    """The places that lie on the map, in its units."""
    spots = {kind: view.of(place) for kind, place in _known(told, sight)}
    return {kind: spot for kind, spot in spots.items() if view.shows(*spot)}


def _mark(kind: str, x: float, y: float) -> Html:
    return parts.element("g", Html(MARKS[kind]), class_="mark", transform=f"translate({_n(x)} {_n(y)})")


def _beyond(view: _View, texts: _Texts, kind: str, place: Position) -> Iterator[Html]:
    """A place off the map: an arrow at the edge toward it, with its bearing and distance from the middle."""
    x, y = view.of(place)
    from_x, from_y = WIDTH / 2, view.height / 2
    share = min(abs(room / step) for room, step in (
        (WIDTH / 2 - 16, x - from_x), (view.height / 2 - 16, y - from_y)) if step)
    edge_x, edge_y = from_x + share * (x - from_x), from_y + share * (y - from_y)
    course_deg, away_m = telling.line(view.place(from_x, from_y), place)
    long = hypot(x - from_x, y - from_y)
    back_x, back_y = edge_x - 12 * (x - from_x) / long, edge_y - 12 * (y - from_y) / long
    yield parts.element("g", _arrow(back_x, back_y, edge_x, edge_y), class_="steered")
    words = f"{kind} {telling.bearing(course_deg)} {telling.distance(away_m)}"
    tried = (texts.place(words, edge_x - step * (x - from_x) / long, edge_y - step * (y - from_y) / long, 14.0)
             for step in range(0, 200, 20))  # at the arrow, or along its shaft where something stands there
    yield next(filter(None, tried), None) or texts.place(words, edge_x, edge_y, 14.0, always=True)


# --- graticule, scale, north ----------------------------------------------------------------------------------------


def _graticule(view: _View, texts: _Texts) -> tuple[list[Html], list[Html]]:
    edge = [view.place(x, y) for x in (0, WIDTH / 2, WIDTH) for y in (0, view.height / 2, view.height)]
    middle = view.place(WIDTH / 2, view.height / 2)
    pole = next((pole for pole in (90.0, -90.0) if view.shows(*view.of(Position(pole, 0.0)))), None)
    latitudes = [place.latitude_deg for place in edge] + ([] if pole is None else [pole])
    longitudes = [middle.longitude_deg + _turn(place.longitude_deg - middle.longitude_deg) for place in edge]
    south, north = min(latitudes), max(latitudes)
    west, east = (min(longitudes), max(longitudes)) if pole is None else (-180.0, 180.0)
    step = _step(1.0, view)
    step_east = MERIDIANS_AT_POLE_MIN if pole is not None else _step(cos(radians(middle.latitude_deg)), view)
    lines, said = [], []
    for minutes in _whole(south, north, step):
        points = [view.of(Position(minutes / 60, _turn(west + (east - west) * share / SAMPLES)))
                  for share in range(SAMPLES + 1)]
        lines.append(_line(points))
        said.append(_edge_text(texts, _angle(minutes, step, 2, "NS"), _crossing(points, 4.0, 0), left=True))
    for minutes in _whole(west, east, step_east):
        points = [view.of(Position(south + (north - south) * share / SAMPLES, _turn(minutes / 60)))
                  for share in range(SAMPLES + 1)]
        lines.append(_line(points))
        said.append(_edge_text(texts, _angle(60 * _turn(minutes / 60), step_east, 3, "EW"),
                               _crossing(points, view.height - 8.0, 1), left=False))
    return lines, [each for each in said if each]


def _turn(degrees: float) -> float:
    """An angle between -180 and 180."""
    return (degrees + 180.0) % 360.0 - 180.0


def _step(narrowed: float, view: _View) -> float:
    """Minutes from line to line, where a minute is `narrowed` nautical miles long."""
    minute = max(narrowed, 1e-3) * METRES_PER_NM / view.unit_m
    return next((step for step in GRATICULE_STEPS_MIN if step * minute >= GRATICULE_ROOM), GRATICULE_STEPS_MIN[-1])


def _whole(low_deg: float, high_deg: float, step_min: float) -> Iterator[float]:
    for count in range(ceil(60 * low_deg / step_min), floor(60 * high_deg / step_min) + 1):
        if count * step_min < 60 * 180 or low_deg > -180:  # the meridian of 180 once, not from both sides
            yield count * step_min


def _line(points: Sequence[tuple[float, float]]) -> Html:
    return parts.element("path", class_="graticule", d="M" + "L".join(f"{_n(x)} {_n(y)}" for x, y in points))


def _crossing(points: Sequence[tuple[float, float]], at: float, axis: int) -> tuple[float, float] | None:
    """Where a line meets the vertical (axis 0) or the horizontal (axis 1) at that unit; None: nowhere."""
    for one, other in zip(points, points[1:], strict=False):
        if (one[axis] - at) * (other[axis] - at) <= 0 and one[axis] != other[axis]:
            share = (at - one[axis]) / (other[axis] - one[axis])
            return one[0] + share * (other[0] - one[0]), one[1] + share * (other[1] - one[1])
    return None


def _edge_text(texts: _Texts, words: str, at: tuple[float, float] | None, left: bool) -> Html:
    """A label at the left edge, above its line or below it, or at the lower one, right of its line or left of it."""
    if at is None:
        return Html("")
    wide = len(words) * LETTER
    places = [(at[0], at[1] - 4), (at[0], at[1] + 4 + TYPE * 0.8)] if left else [(at[0] + 4, at[1]),
                                                                                (at[0] - 4 - wide, at[1])]
    for x, y in places:
        box = (x, y - TYPE * 0.8, x + wide, y + TYPE * 0.2)
        if texts.free(box):
            texts.block(*box)
            return parts.element("text", words, x=_n(x), y=_n(y), class_="degrees")
    return Html("")


def _angle(minutes: float, step_min: float, width: int, sides: str) -> str:
    """Degrees and decimal minutes, with as many decimals as the step asks for."""
    digits = 0 if step_min >= 1 else 1 if step_min >= 0.1 else 2
    whole, rest = divmod(round(abs(minutes), 3), 60)
    side = "" if abs(minutes) in (0, 180 * 60) else sides[1] if minutes < 0 else sides[0]
    return f"{int(whole):0{width}d}°{rest:0{2 if digits == 0 else 3 + digits}.{digits}f}\N{PRIME}{side}"


def _scale(view: _View, texts: _Texts, drawn: Sequence[tuple[float, float]]) -> Html:
    """Two bars, in nautical miles and in kilometres, in the corner where they hide least of what is drawn."""
    rows = [(_nice(SCALE_ROOM * view.unit_m / METRES_PER_NM), METRES_PER_NM, "NM"),
            (_nice(SCALE_ROOM * view.unit_m / 1000), 1000.0, "km")]
    corners = [(WIDTH - SCALE_ROOM - 96, view.height - 92), (16, view.height - 92), (16, 20)]
    left, top = min(corners, key=lambda corner: sum(
        -16 < x - corner[0] < SCALE_ROOM + 96 and -18 < y - corner[1] < 58 for x, y in drawn))
    pieces = [parts.element("rect", x=left - 10, y=top - 12, width=SCALE_ROOM + 100, height=64, class_="plate")]
    for row, (length, metres, unit) in enumerate(rows):
        y, long = top + 8 + 28 * row, length * metres / view.unit_m
        words = f"{1000 * length:g} m" if unit == "km" and length < 1 else f"{length:g} {unit}"
        pieces.append(parts.element("path", d=f"M{left} {y - 6}V{y}H{_n(left + long)}V{y - 6}", class_="scale"))
        pieces.append(parts.element("text", words, x=_n(left + long + 6), y=y + 4))
    texts.block(left - 10, top - 12, left + SCALE_ROOM + 90, top + 52)
    return parts.element("g", parts.join(pieces))


def _nice(most: float) -> float:
    """The largest of 1, 2, 5, 10 ... (or 0.5, 0.2 ...) that is not more."""
    power = 10.0 ** floor(log10(most))
    return next(digit * power for digit in (5, 2, 1) if digit * power <= most)


def _north(view: _View, texts: _Texts) -> Html:
    """The arrow at the upper right: true north in the middle of the map, leaning there as the meridian does."""
    x, y = WIDTH - 30.0, 44.0
    here = view.place(WIDTH / 2, view.height / 2)
    if abs(here.latitude_deg) > 89.99:
        return Html("")  # all ways are south there; the graticule tells which is which
    up_x, up_y = view.of(Position(here.latitude_deg + (0.001 if here.latitude_deg < 89 else 1e-4), here.longitude_deg))
    lean = (up_x - WIDTH / 2) / max(1e-9, hypot(up_x - WIDTH / 2, up_y - view.height / 2)) * 180 / pi
    texts.block(WIDTH - 52, 0, WIDTH, 92)
    return parts.element("g", Html(f'<path d="M0 -26L9 14L0 6L-9 14Z" transform="rotate({lean:.1f})"/>'
                                   '<text y="38" text-anchor="middle">N</text>'),
                         class_="north", transform=f"translate({_n(x)} {_n(y)})")


def _n(units: float) -> str:
    """A length in the picture: a tenth of a unit is less than anyone sees."""
    return f"{round(units, 1) + 0.0:g}" if abs(units) < 1e5 else f"{units:.0f}"
