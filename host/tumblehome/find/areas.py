"""The smallest areas that hold the lander with a probability, drawn around a cloud.

The density is counted on a grid, smoothed by a Gaussian of its own for each way home (a way that came up an hour ago is
a spot beside one that drifts since yesterday), and read back at the particles: going down from where it is highest,
the level at which they have gathered the probability is the edge. So the share inside is right whatever the smoothing.

The width of the Gaussian is Scott's rule, the standard deviation times n to the power -1/6 with n the particles that
count (Scott, Multivariate Density Estimation, 1992), along the narrower of east and north, and no less than a cell.
"""

from collections.abc import Sequence
from math import ceil
from typing import Any

import numpy as np
from contourpy import FillType, contour_generator
from numpy.typing import NDArray

from tumblehome.find.mistakes import FindError
from tumblehome.find.shapes import Area, Cloud, Numbers, Plane, Position

Ways = NDArray[np.int64]
LEVELS = (0.5, 0.9, 0.99)
CELLS = 240  # across the longer side
CELL_MIN_M = 2.0  # no position is known better
LEFT_OUT = 5e-4  # of the weight, at each of the four sides: single far particles would make every cell too wide
PAD_WIDTHS = 4.0  # of the widest Gaussian, so that every contour closes
OFF_CELLS = 0.1  # points of a contour that lie less off the line between their neighbours are left out


def areas(cloud: Cloud, levels: Sequence[float] = LEVELS) -> tuple[Area, ...]:
    """One area for each probability, for the lander if it is afloat; none where nothing of the cloud can be.

    Raises FindError for a probability outside 0 to 1.
    """
    for level in levels:
        if not 0.0 < level < 1.0:
            raise FindError([f"an area of probability {level:g} is asked for; allowed is more than 0 and less than 1"])
    counts = cloud.afloat & (cloud.weight > 0.0)
    if not counts.any():
        return ()
    grid = _Grid(cloud.east_m[counts], cloud.north_m[counts], cloud.weight[counts], cloud.way[counts])
    edges = grid.edges(levels)
    drawn = contour_generator(grid.east_m, grid.north_m, grid.density, fill_type=FillType.OuterOffset)
    return tuple(_area(cloud, level, drawn.filled(edge, np.inf), OFF_CELLS * grid.cell_m)
                 for level, edge in zip(levels, edges, strict=True))


class _Grid:
    """The density of weighted particles, per cell, at the middles of cells."""

    def __init__(self, east_m: Numbers, north_m: Numbers, weight: Numbers, way: Ways) -> None:
        self._particles = east_m, north_m, weight
        low_e, high_e = _range(east_m, weight)
        low_n, high_n = _range(north_m, weight)
        self.cell_m = max(CELL_MIN_M, (high_e - low_e) / CELLS, (high_n - low_n) / CELLS)
        widths = {number: self._width_m(number, way) for number in np.unique(way)}
        # the half: a single place lies between the middles of cells, where its contour is more than a point
        pad_m = PAD_WIDTHS * max(widths.values()) + 2.5 * self.cell_m
        self.east_m = _middles(low_e - pad_m, high_e + pad_m, self.cell_m)
        self.north_m = _middles(low_n - pad_m, high_n + pad_m, self.cell_m)
        self.density = np.zeros((len(self.north_m), len(self.east_m)))
        for number, width_m in widths.items():
            own = way == number
            self.density += self._smoothed(east_m[own], north_m[own], weight[own], width_m)
        self.density[0] = self.density[-1] = self.density[:, 0] = self.density[:, -1] = 0.0

    def _width_m(self, number: int, way: Ways) -> float:
        east_m, north_m, weight = (values[way == number] for values in self._particles)
        counting = weight.sum() ** 2 / (weight ** 2).sum()
        spread_m = min(_spread(east_m, weight), _spread(north_m, weight))
        return max(self.cell_m, spread_m * counting ** (-1 / 6))

    def _smoothed(self, east_m: Numbers, north_m: Numbers, weight: Numbers, width_m: float) -> Numbers:
        from scipy.ndimage import gaussian_filter  # here, not above: it takes a while, and few commands need it

        half_m = self.cell_m / 2
        edges = (np.append(self.north_m - half_m, self.north_m[-1] + half_m),
                 np.append(self.east_m - half_m, self.east_m[-1] + half_m))
        counted, _north, _east = np.histogram2d(north_m, east_m, bins=edges, weights=weight)
        return gaussian_filter(counted, width_m / self.cell_m, mode="constant", truncate=PAD_WIDTHS)

    def edges(self, levels: Sequence[float]) -> list[float]:
        """The density at the edge of each area: particles in the order of density gather the probability there."""
        from scipy.ndimage import map_coordinates  # here, not above: it takes a while, and few commands need it

        east_m, north_m, weight = self._particles
        places = [(north_m - self.north_m[0]) / self.cell_m, (east_m - self.east_m[0]) / self.cell_m]
        density = map_coordinates(self.density, places, order=1, mode="constant")
        order = np.argsort(-density, kind="stable")
        gathered = np.cumsum(weight[order]) / weight.sum()
        lowest = self.density[self.density > 0].min()
        return [max(lowest, float(density[order[np.searchsorted(gathered, level)]])) for level in levels]


def _range(values: Numbers, weight: Numbers) -> tuple[float, float]:
    order = np.argsort(values, kind="stable")
    gathered = np.cumsum(weight[order]) / weight.sum()
    low, high = np.searchsorted(gathered, (LEFT_OUT, 1.0 - LEFT_OUT))
    return float(values[order[low]]), float(values[order[min(high, len(order) - 1)]])


def _spread(values: Numbers, weight: Numbers) -> float:
    middle = np.average(values, weights=weight)
    return float(np.sqrt(np.average((values - middle) ** 2, weights=weight)))


def _middles(low_m: float, high_m: float, cell_m: float) -> Numbers:
    return low_m + cell_m * np.arange(ceil((high_m - low_m) / cell_m) + 1, dtype=np.float64)


def _area(cloud: Cloud, level: float, filled: Any, off_m: float) -> Area:
    points, offsets = filled
    rings, area_m2 = [], 0.0
    for polygon, starts in zip(points, offsets, strict=True):
        for number, (start, end) in enumerate(zip(starts, starts[1:], strict=False)):
            ring = polygon[start:end]
            inside_m2 = _enclosed_m2(ring)
            outer = number == 0
            area_m2 += abs(inside_m2) if outer else -abs(inside_m2)
            fewer = thinned(ring, off_m)
            rings.append(_positions(cloud.plane, fewer if (inside_m2 > 0) == outer else fewer[::-1]))
    return Area(level, cloud.at, tuple(rings), area_m2 / 1e6)


def _enclosed_m2(ring: Numbers) -> float:
    """The area inside a closed ring, positive counter-clockwise (the shoelace formula)."""
    east_m, north_m = ring[:, 0], ring[:, 1]
    return float(np.sum(east_m[:-1] * north_m[1:] - east_m[1:] * north_m[:-1]) / 2)


def thinned(ring: Numbers, off_m: float) -> Numbers:
    """A closed ring with as few of its points as leave none of the others farther than that off it.

    Douglas and Peucker, Cartographica 10, 1973, from the first point to the one farthest from it and back.
    """
    across = int(np.argmax(np.hypot(*(ring - ring[0]).T)))
    kept, open_ends = {0, across, len(ring) - 1}, [(0, across), (across, len(ring) - 1)]
    while open_ends:
        begin, end = open_ends.pop()
        if end - begin < 2:
            continue
        along = ring[end] - ring[begin]
        apart = ring[begin + 1:end] - ring[begin]
        length_m = float(np.hypot(*along))
        off = np.abs(along[0] * apart[:, 1] - along[1] * apart[:, 0]) / length_m if length_m else np.hypot(*apart.T)
        farthest = int(np.argmax(off))
        if off[farthest] > off_m:
            middle = begin + 1 + farthest
            kept.add(middle)
            open_ends += [(begin, middle), (middle, end)]
    return ring[sorted(kept)]


def _positions(plane: Plane, ring: Numbers) -> tuple[Position, ...]:
    found = [plane.position(float(east_m), float(north_m)) for east_m, north_m in ring[:-1]]
    return (*found, found[0])
