"""The areas that hold the lander with a probability: known distributions, holes, and what a ring must be."""

from math import log, pi

import numpy as np
import pytest

from tumblehome.find.areas import areas, thinned
from tumblehome.find.drifting import clouds
from tumblehome.find.known import StillDown
from tumblehome.find.mistakes import FindError
from tumblehome.find.shapes import Area, Plane, Position

from .plans_and_clouds import PLAN, cloud_of, hours

SIGMA_M = 2000.0
N = 100_000


def normal(seed: int, count: int = N, east_m: float = 0.0, sigma_m: float = SIGMA_M) -> tuple[np.ndarray, np.ndarray]:
    random = np.random.Generator(np.random.PCG64(seed))
    east, north = random.normal(0.0, sigma_m, (2, count))
    return east + east_m, north


def rings_m(area: Area, plane: Plane) -> list[np.ndarray]:
    return [np.array([plane.metres(position) for position in ring]) for ring in area.rings]


def inside(area: Area, plane: Plane, east_m: np.ndarray, north_m: np.ndarray) -> np.ndarray:
    """Even-odd rule over all rings: a ray to the east crosses an odd number of sides (no part of the tool)."""
    odd = np.zeros(len(east_m), dtype=bool)
    for ring in rings_m(area, plane):
        for (e0, n0), (e1, n1) in zip(ring, ring[1:], strict=False):
            crosses = (n0 > north_m) != (n1 > north_m)
            if crosses.any():
                at_east = e0 + (north_m - n0) / (n1 - n0 if n1 != n0 else 1.0) * (e1 - e0)
                odd ^= crosses & (at_east > east_m)
    return odd


def turn(ring: np.ndarray) -> float:
    """Positive counter-clockwise: the angles turned through from side to side, summed (no shoelace)."""
    sides = np.diff(ring, axis=0)
    heading = np.arctan2(sides[:, 1], sides[:, 0])
    turned = np.diff(np.append(heading, heading[0]))
    return float(((turned + pi) % (2 * pi) - pi).sum())


def test_the_areas_of_a_circular_normal_are_those_of_circles():
    """The circle that holds p has the radius sigma sqrt(2 ln(1/(1-p))), so the area 2 pi sigma^2 ln(1/(1-p))."""
    found = areas(cloud_of(*normal(1)))
    for area, level, tolerance in zip(found, (0.5, 0.9, 0.99), (0.03, 0.03, 0.06), strict=True):
        assert area.probability == level
        assert area.area_km2 == pytest.approx(2 * pi * SIGMA_M ** 2 * log(1 / (1 - level)) / 1e6, rel=tolerance)


@pytest.mark.parametrize("lobes", [((0.0, 2000.0, 1.0),), ((-9000.0, 500.0, 0.7), (9000.0, 3000.0, 0.3))])
def test_fresh_draws_of_the_same_distribution_fall_inside_as_often_as_promised(lobes):
    """200 000 particles that the areas were not made from; 1 % of their probability is left for the smoothing."""
    parts = [normal(2 + place, N // 2, east_m, sigma_m) for place, (east_m, sigma_m, _share) in enumerate(lobes)]
    cloud = cloud_of(
        np.concatenate([part[0] for part in parts]), np.concatenate([part[1] for part in parts]),
        weight=np.repeat([share for *_rest, share in lobes], N // 2), way=np.repeat(range(len(lobes)), N // 2))
    for area in areas(cloud):
        share = sum(
            weight * inside(area, cloud.plane, *normal(20 + place, 20_000, east_m, sigma_m)).mean()
            for place, (east_m, sigma_m, weight) in enumerate(lobes))
        assert share == pytest.approx(area.probability, abs=0.01 + 3.3 * 0.5 / 20_000 ** 0.5)


@pytest.mark.parametrize("known", [(), (StillDown(hours(8)),)])
def test_landers_of_another_seed_lie_inside_the_areas_of_a_dive_as_often_as_promised(known):
    """Areas of one cast, landers of another, 4 and 48 h after the latest way home; 1 % is left for the smoothing."""
    at = [hours(11), hours(76)] if not known else [hours(40), hours(120)]
    for cloud, other in zip(*(
            clouds(PLAN, at, seed, known=known, particles=30_000) for seed in (1, 2)), strict=True):
        weight = other.weight * other.afloat
        counting = weight.sum() ** 2 / (weight ** 2).sum()
        for area in areas(cloud):
            share = weight[inside(area, cloud.plane, other.east_m, other.north_m)].sum() / weight.sum()
            assert share == pytest.approx(area.probability, abs=0.01 + 3.3 * 0.5 / counting ** 0.5)


def test_the_particles_inside_have_the_weight_that_is_stated():
    cloud = cloud_of(*normal(3), weight=np.random.Generator(np.random.PCG64(4)).random(N))
    for area in areas(cloud):
        assert cloud.weight[inside(area, cloud.plane, cloud.east_m, cloud.north_m)].sum() == pytest.approx(
            area.probability, abs=0.003)


def test_a_ring_of_particles_has_a_hole_and_holes_turn_clockwise():
    random = np.random.Generator(np.random.PCG64(5))
    angle, radius = random.random(N) * 2 * pi, random.normal(6000.0, 500.0, N)
    cloud = cloud_of(radius * np.cos(angle), radius * np.sin(angle))
    area = areas(cloud, [0.9])[0]
    assert [turn(ring) for ring in rings_m(area, cloud.plane)] == pytest.approx([2 * pi, -2 * pi])
    assert not inside(area, cloud.plane, np.zeros(1), np.zeros(1))[0]
    width_m = 2 * 1.645 * 500  # 90 % of a normal lie within 1.645 standard deviations
    assert area.area_km2 == pytest.approx(2 * pi * 6000 * width_m / 1e6, rel=0.05)


def test_rings_are_closed_and_the_larger_probability_has_the_larger_area():
    found = areas(cloud_of(*normal(6)))
    assert all(ring[0] == ring[-1] and len(ring) > 3 for area in found for ring in area.rings)
    assert found[0].area_km2 < found[1].area_km2 < found[2].area_km2


def test_the_lander_that_is_below_counts_for_nothing():
    east, north = normal(7)
    both = cloud_of(np.append(east, east + 90_000), np.append(north, north), afloat=[True] * N + [False] * N)
    assert areas(both) == areas(cloud_of(east, north))


def test_where_nothing_is_afloat_there_is_no_area():
    assert areas(cloud_of([0.0, 1.0], [0.0, 1.0], afloat=[False, False])) == ()
    assert areas(cloud_of([0.0, 1.0], [0.0, 1.0], afloat=[True, False], weight=[0.0, 1.0])) == ()


def test_a_place_that_is_known_to_the_metre_still_has_an_area():
    area = areas(cloud_of(np.full(1000, 50.0), np.full(1000, -20.0)), [0.9])[0]
    assert 0 < area.area_km2 < 0.001


def test_an_area_across_the_antimeridian_is_as_large_as_elsewhere():
    there = areas(cloud_of(*normal(8), origin=Position(-17.0, 179.99)), [0.9])[0]
    longitudes = [position.longitude_deg for ring in there.rings for position in ring]
    assert min(longitudes) < -179.9 and max(longitudes) > 179.9
    assert there.area_km2 == pytest.approx(areas(cloud_of(*normal(8)), [0.9])[0].area_km2)


@pytest.mark.parametrize("level", [0.0, 1.0, -0.5, 90.0])
def test_a_probability_that_is_none_is_refused(level):
    with pytest.raises(FindError, match="allowed is more than 0 and less than 1"):
        areas(cloud_of([0.0], [0.0]), [level])


def test_a_thinned_ring_keeps_its_corners_and_leaves_no_point_far_off():
    square = np.array([(0.0, 0.0), (1.0, 0.01), (2.0, 0.0), (2.0, 2.0), (1.0, 2.3), (0.0, 2.0), (0.0, 0.0)])
    assert thinned(square, 0.1).tolist() == [row for row in square.tolist() if row != [1.0, 0.01]]
    angles = np.linspace(0, 2 * np.pi, 721)
    circle = np.column_stack([np.cos(angles), np.sin(angles)])
    circle[-1] = circle[0]
    few = thinned(circle, 0.001)
    # sagitta of a chord: 1 - cos(half its angle); 0.001 of the radius is cut by chords of 5 degrees, 70 of them; halving
    # takes no more than twice as many
    assert 70 <= len(few) <= 140 and np.hypot(*((few[1:] + few[:-1]) / 2).T).min() > 0.999 - 1e-9
    assert (few[0] == few[-1]).all()
