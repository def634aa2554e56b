"""Rings and lines cut where longitude jumps from 180 to -180, as RFC 7946, section 3.1.9, asks of whoever writes them.

Edges are straight in longitude and latitude, as the readers of the files draw them. A vertex is (longitude, latitude)
in degrees.
"""

from collections.abc import Iterable, Sequence

from tumblehome.find.shapes import Position

Vertex = tuple[float, float]
Ring = list[Vertex]  # closed: the first vertex stands at the end again
DECIMALS = 7  # of a degree: a centimetre


def polygons(rings: Iterable[Sequence[Position]]) -> list[list[Ring]]:
    """Polygons that stay on one side of the antimeridian: each an outer ring, counter-clockwise, and its holes.

    `rings` are closed, counter-clockwise outside and clockwise holes. One that goes around a pole is led along the
    antimeridian to the pole and back. Parts that vanish in the rounding to 1e-7 degrees are left out.
    """
    whole = [_around_pole(_unrolled(ring)) for ring in rings]
    groups = _grouped(whole)
    return [piece for group in groups for piece in _pieces(group)]


def lines(positions: Sequence[Position]) -> list[Ring]:
    """One line, or as many as it takes to stay on one side of the antimeridian; each is open."""
    unrolled = _unrolled(positions)
    parts: list[Ring] = [unrolled[:1]]
    lap = _lap(unrolled[0][0]) if unrolled else 0
    for longitude, latitude in unrolled[1:]:
        while _lap(longitude) != lap:
            step = 1 if _lap(longitude) > lap else -1
            crossing = _across(parts[-1][-1], (longitude, latitude), 360.0 * lap + 180.0 * step)
            parts[-1].append(crossing)
            parts.append([crossing])
            lap += step
        parts[-1].append((longitude, latitude))
    return [rolled for part in parts if len(rolled := _rolled(part)) > 1]


# --- along one ring -------------------------------------------------------------------------------------------------


def _unrolled(positions: Sequence[Position]) -> Ring:
    """Vertices whose longitudes never jump: each the way round that is shorter from the last."""
    ring: Ring = []
    for position in positions:
        longitude = position.longitude_deg
        if ring:
            longitude = ring[-1][0] + (longitude - ring[-1][0] + 180.0) % 360.0 - 180.0
        ring.append((longitude, position.latitude_deg))
    return ring


def _around_pole(ring: Ring) -> Ring:
    """A ring that does not close because it went once around, closed by way of the pole that it holds."""
    turned = ring[-1][0] - ring[0][0]
    if abs(turned) < 180:
        return ring
    pole = 90.0 if turned > 0 else -90.0  # counter-clockwise as seen from above: eastward around the north pole
    return [*ring, (ring[-1][0], pole), (ring[0][0], pole), ring[0]]


def _lap(longitude: float) -> int:
    """How many whole turns east of the usual longitudes; 180 itself belongs to the lap below."""
    return -int((180.0 - longitude) // 360.0)


def _across(one: Vertex, other: Vertex, longitude: float) -> Vertex:
    """Where the edge meets that meridian."""
    if other[0] == one[0]:
        return longitude, other[1]
    share = (longitude - one[0]) / (other[0] - one[0])
    return longitude, one[1] + share * (other[1] - one[1])


def _rolled(part: Sequence[Vertex]) -> Ring:
    """Back to usual longitudes by whole turns of all of it, rounded, without vertices that repeat the one before."""
    if not part:
        return []
    middle = (min(longitude for longitude, _ in part) + max(longitude for longitude, _ in part)) / 2
    turns = 360.0 * _lap(middle)
    rolled: Ring = []
    for longitude, latitude in part:
        vertex = (round(longitude - turns, DECIMALS) + 0.0, round(latitude, DECIMALS) + 0.0)
        if not rolled or vertex != rolled[-1]:
            rolled.append(vertex)
    return rolled


# --- polygons -------------------------------------------------------------------------------------------------------


def _twice_area(ring: Sequence[Vertex]) -> float:
    """Positive when counter-clockwise (the shoelace formula)."""
    return sum(here[0] * after[1] - after[0] * here[1] for here, after in zip(ring, ring[1:], strict=False))


def _holds(ring: Sequence[Vertex], vertex: Vertex) -> bool:
    """Whether a vertex lies inside: a ray to the east crosses the ring an odd number of times."""
    inside = False
    for one, other in zip(ring, ring[1:], strict=False):
        if (one[1] > vertex[1]) != (other[1] > vertex[1]):
            longitude = one[0] + (vertex[1] - one[1]) / (other[1] - one[1]) * (other[0] - one[0])
            inside ^= longitude > vertex[0]
    return inside


def _grouped(rings: Sequence[Ring]) -> list[list[Ring]]:
    """Outer rings, each with its holes: a hole goes to the smallest outer ring around it, whole turns aside."""
    groups = [[ring] for ring in rings if _twice_area(ring) > 0]
    for hole in (ring for ring in rings if _twice_area(ring) < 0):
        homes = [(_twice_area(group[0]), number, turns) for number, group in enumerate(groups)
                 for turns in (0.0, 360.0, -360.0) if _holds(group[0], (hole[0][0] + turns, hole[0][1]))]
        if homes:
            _area, number, turns = min(homes)
            groups[number].append([(longitude + turns, latitude) for longitude, latitude in hole])
    return groups


def _pieces(group: Sequence[Ring]) -> list[list[Ring]]:
    """An outer ring and its holes cut into laps of 360 degrees."""
    longitudes = [longitude for longitude, _latitude in group[0]]
    found = []
    for lap in range(_lap(min(longitudes)), _lap(max(longitudes)) + 1):
        kept = list(group)
        for edge, side in ((360.0 * lap + 180.0, 1), (360.0 * lap - 180.0, -1)):
            kept = _cut(kept, edge, side)
        rings = [rolled for ring in kept if len(rolled := _rolled(ring)) >= 4 and _twice_area(rolled)]
        found += _grouped(rings)
    return found


def _cut(rings: Sequence[Ring], edge: float, side: int) -> list[Ring]:
    """What of a polygon lies west of a meridian (side 1) or east of it (-1).

    Along the meridian, inside begins at every other crossing, so that each exit is joined with the crossing next to
    it. Vertices on the meridian count as beyond it, which keeps the number of crossings even.
    """
    whole: list[Ring] = []
    chains: list[Ring] = []
    for ring in rings:
        inside = [side * (longitude - edge) < 0 for longitude, _latitude in ring]
        if all(inside):
            whole.append(ring)
        elif any(inside):
            chains += _chains(ring, inside, edge)
    return whole + _joined(chains)


def _chains(ring: Ring, inside: Sequence[bool], edge: float) -> list[Ring]:
    """The runs inside, each from the crossing where it comes in to the one where it goes out."""
    number = len(ring) - 1  # without the closing vertex
    chains = []
    for start in range(number):
        if inside[start] or not inside[start + 1]:
            continue
        chain = [_across(ring[start], ring[start + 1], edge)]
        at = (start + 1) % number
        while inside[at]:
            chain.append(ring[at])
            at = (at + 1) % number
        chain.append(_across(ring[(at - 1) % number], ring[at], edge))
        chains.append(chain)
    return chains


def _joined(chains: Sequence[Ring]) -> list[Ring]:
    """Rings out of chains: from the exit of each along the meridian to the entry that pairs with it."""
    ends = sorted((latitude, number, way_out) for number, chain in enumerate(chains)
                  for latitude, way_out in ((chain[0][1], False), (chain[-1][1], True)))
    follows = {}
    for one, other in zip(ends[::2], ends[1::2], strict=True):
        leaving, entering = (one, other) if one[2] else (other, one)
        follows[leaving[1]] = entering[1]
    rings, left = [], set(range(len(chains)))
    while left:
        first = at = min(left)
        ring: Ring = []
        while at in left:
            left.discard(at)
            ring += chains[at]
            at = follows.get(at, first)
        rings.append([*ring, ring[0]])
    return rings
