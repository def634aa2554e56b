"""The benchmark of the search runs and tells what it says it tells. No time is asserted."""

from tumblehome.find import bench

from .plans_and_clouds import PLAN, hours


def test_every_part_of_the_search_is_in_the_table():
    told = bench.rows(particles=1000)
    assert len(told) == 8
    assert all(words and seconds >= 0 for words, seconds in told)


def test_its_track_is_as_long_as_it_says_and_goes_at_six_knots():
    track = bench.track_of(PLAN, from_h=6, hours=1)
    assert track.first == hours(6) and len(track.segments[0].moments) == 360
    plane_m = track.segments[0].metres(bench.Plane(track.segments[0].positions[0]))
    assert abs(plane_m[1][100] - 1000 * bench.SPEED_M_S) < 1
