"""Rings and lines cut at the antimeridian, as RFC 7946, section 3.1.9, asks: nothing is lost, nothing crosses it."""

from math import cos, radians, sin

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tumblehome.find import dateline
from tumblehome.find.shapes import Position


def closed(*vertices):
    return tuple(Position(latitude, (longitude + 180) % 360 - 180) for longitude, latitude in (*vertices, vertices[0]))


def twice_area(ring):
    return sum(one[0] * other[1] - other[0] * one[1] for one, other in zip(ring, ring[1:], strict=False))


def whole_area(polygons):
    return sum(twice_area(ring) for polygon in polygons for ring in polygon) / 2


def test_a_ring_far_from_the_line_stays_as_it_is():
    square = closed((10, 0), (12, 0), (12, 1), (10, 1))
    assert dateline.polygons([square]) == [[[(10, 0), (12, 0), (12, 1), (10, 1), (10, 0)]]]


@pytest.mark.published("printed", source="RFC 7946, 3.1.9, the example of a polygon cut in two", tolerance="exact")
def test_a_square_across_the_line_is_two_which_meet_there():
    # Source: RFC 7946, 3.1.9, the example of a polygon cut in two: 179 to 180 and -180 to -179.
    parts = dateline.polygons([closed((179, 0), (181, 0), (181, 1), (179, 1))])
    spans = sorted((min(x for x, _ in outer), max(x for x, _ in outer)) for outer, in parts)
    assert spans == [(-180, -179), (179, 180)]
    assert whole_area(parts) == pytest.approx(2.0)


@pytest.mark.published("printed", source="RFC 7946, 3.1.9, the line from 45 N 170 E to 45 N 170 W", tolerance="exact")
def test_a_line_across_the_line_is_two_as_in_the_standard():
    # Source: RFC 7946, 3.1.9, the line from 45 N 170 E to 45 N 170 W.
    assert dateline.lines([Position(45, 170), Position(45, -170)]) == [[(170, 45), (180, 45)], [(-180, 45), (-170, 45)]]


def test_a_line_that_goes_to_and_fro_across_it_is_cut_each_time():
    places = [Position(0, 179), Position(1, -179), Position(2, 179), Position(3, -179)]
    parts = dateline.lines(places)
    assert [(part[0][0], part[-1][0]) for part in parts] == [(179, 180), (-180, -180), (180, 180), (-180, -179)]


def test_a_comb_across_the_line_falls_into_its_teeth():
    """Three teeth that reach east over the line: each comes off as a piece of its own, with nothing between them."""
    comb = closed((178, 0), (181, 0), (181, 1), (179, 1), (179, 2), (181, 2), (181, 3), (179, 3), (179, 4), (181, 4),
                  (181, 5), (178, 5))
    parts = dateline.polygons([comb])
    east = [outer for outer, *_ in parts if outer[0][0] < 0]
    assert len(parts) == 4 and len(east) == 3
    assert [abs(twice_area(tooth)) / 2 for tooth in east] == pytest.approx([1.0, 1.0, 1.0])


def test_a_hole_across_the_line_makes_a_bay_in_both_halves():
    outer = closed((178, 0), (182, 0), (182, 4), (178, 4))
    hole = closed((179, 1), (179, 3), (181, 3), (181, 1))
    parts = dateline.polygons([outer, hole])
    assert len(parts) == 2 and all(len(polygon) == 1 for polygon in parts)
    assert whole_area(parts) == pytest.approx(16 - 4)


def test_a_hole_on_one_side_stays_a_hole_there():
    parts = dateline.polygons([closed((178, 0), (182, 0), (182, 4), (178, 4)), closed((180.5, 1), (180.5, 2), (181, 2), (181, 1))])
    assert sorted(len(polygon) for polygon in parts) == [1, 2]
    assert whole_area(parts) == pytest.approx(16 - 0.5)


@pytest.mark.parametrize("edge", [180.0, -180.0])
def test_a_side_on_the_line_itself_makes_no_sliver(edge):
    inward = -1 if edge > 0 else 1
    corners = [(edge, 0), (edge + inward, 0), (edge + inward, 1), (edge, 1)]
    parts = dateline.polygons([closed(*(corners if inward > 0 else corners[::-1]))])
    assert len(parts) == 1 and abs(whole_area(parts)) == pytest.approx(1.0)


@pytest.mark.parametrize("pole", [90.0, -90.0])
def test_a_ring_around_a_pole_holds_the_pole(pole):
    ring = [Position(pole - (1 if pole > 0 else -1), (longitude + 180.0) % 360 - 180) for longitude in range(5, 370, 15)]
    ring = ring[:24] + ring[:1]
    parts = dateline.polygons([tuple(ring if pole > 0 else ring[::-1])])
    assert whole_area(parts) == pytest.approx(360.0)
    assert any(vertex[1] == pole for outer, *_ in parts for vertex in outer)
    assert all(-180 <= vertex[0] <= 180 for outer, *_ in parts for vertex in outer)


@given(st.floats(-180, 180), st.floats(-60, 60), st.lists(st.floats(0.01, 20), min_size=3, max_size=30))
def test_cutting_keeps_the_area_and_the_turn_of_any_star(longitude, latitude, spokes):
    angles = [360.0 * at / len(spokes) for at in range(len(spokes))]
    star = [(longitude + spoke * cos(radians(angle)), latitude + spoke * sin(radians(angle)))
            for spoke, angle in zip(spokes, angles, strict=True)]
    parts = dateline.polygons([closed(*star)])
    assert whole_area(parts) == pytest.approx(twice_area([*star, star[0]]) / 2, rel=1e-5, abs=1e-4)
    for outer, *holes in parts:
        assert not holes and twice_area(outer) > 0 and outer[0] == outer[-1]
        assert all(-180 <= vertex[0] <= 180 for vertex in outer)
