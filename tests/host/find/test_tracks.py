"""Tracks of boats out of GPX files, and what a track must not have. Files are written by gpxpy or by hand."""

from collections.abc import Sequence
from datetime import datetime, timedelta

import gpxpy.gpx
import numpy as np
import pytest

from tumblehome.find.mistakes import FindError
from tumblehome.find.shapes import Plane, Position
from tumblehome.find.tracks import look_for_copies, read

from .plans_and_clouds import SPLASH, hours

Points = Sequence[tuple[float, float, datetime | None]]
LEG: Points = ((46.1, -28.4, hours(6)), (46.105, -28.4, hours(6.1)), (46.105, -28.39, hours(6.2)))


def gpx_of(*segments: Points) -> str:
    gpx = gpxpy.gpx.GPX()
    track = gpxpy.gpx.GPXTrack()
    gpx.tracks.append(track)
    for points in segments:
        segment = gpxpy.gpx.GPXTrackSegment()
        track.segments.append(segment)
        segment.points += [gpxpy.gpx.GPXTrackPoint(*point[:2], time=point[2]) for point in points]
    return gpx.to_xml()


def read_text(tmp_path, text: str | bytes):
    path = tmp_path / "boat.gpx"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read(path, SPLASH)


def test_points_and_times_of_each_segment_are_read(tmp_path):
    later = [(latitude, longitude, moment + timedelta(hours=2)) for latitude, longitude, moment in LEG if moment]
    track = read_text(tmp_path, gpx_of(LEG, later))
    assert track.file == "boat.gpx" and len(track.segments) == 2
    assert track.segments[0].positions[1] == Position(46.105, -28.4)
    assert list(track.segments[0].after_s(SPLASH)) == pytest.approx([6 * 3600, 6.1 * 3600, 6.2 * 3600])
    assert (track.first, track.last) == (hours(6), hours(8.2))


def test_metres_are_those_of_the_plane(tmp_path):
    east, north = read_text(tmp_path, gpx_of(LEG)).segments[0].metres(Plane(Position(46.1, -28.4)))
    assert (east[0], north[0]) == pytest.approx((0, 0), abs=1e-6)
    assert north[1] == pytest.approx(0.005 * 111_150, rel=1e-3)  # a degree of latitude at 46 N: 111.15 km (Bowditch)


def test_a_track_across_the_antimeridian_goes_on_in_a_straight_line(tmp_path):
    track = read_text(tmp_path, gpx_of(
        [(-17.0, 179.99, hours(6)), (-17.0, -179.99, hours(6.15)), (-17.0, -179.98, hours(6.2))]))
    east, _north = track.segments[0].metres(Plane(Position(-17.0, 179.98)))
    assert np.all(np.diff(east) > 0) and east[-1] < 5000


def test_a_track_is_cut_at_a_moment_between_its_points(tmp_path):
    track = read_text(tmp_path, gpx_of(LEG, [(46.2, -28.4, hours(30)), (46.21, -28.4, hours(30.1))]))
    part = track.between(hours(6.05), hours(6.15))
    assert part and len(part.segments) == 1
    assert part.segments[0].moments == (hours(6.05), hours(6.1), hours(6.15))
    ends = part.segments[0].positions
    assert (ends[0].latitude_deg, ends[0].longitude_deg) == pytest.approx((46.1025, -28.4), abs=1e-6)
    assert (ends[2].latitude_deg, ends[2].longitude_deg) == pytest.approx((46.105, -28.395), abs=1e-6)
    assert track.between(hours(0), hours(100)) == track
    assert track.between(hours(10), hours(20)) is None


def test_a_second_point_of_the_same_moment_is_left_out(tmp_path):
    track = read_text(tmp_path, gpx_of([LEG[0], LEG[0], *LEG[1:]]))
    assert len(track.segments[0].moments) == 3


def test_between_segments_a_pause_may_be_as_long_as_it_was(tmp_path):
    assert len(read_text(tmp_path, gpx_of(LEG[:2], [(46.2, -28.4, hours(30)), (46.21, -28.4, hours(30.1))])).segments) == 2


@pytest.mark.parametrize("text, said", [
    (gpx_of([LEG[0], (46.105, -28.4, hours(6.5))]), "segment 1 has a gap of 30 min from 2027-05-18 12:30Z to 2027-05-18"
                                                   " 13:00Z; allowed is 10: split it there into two segments"),
    (gpx_of([LEG[1], LEG[0]]), "segment 1: 2027-05-18 12:30Z stands after 2027-05-18 12:36Z: put its points in the"
                               " order of time"),
    (gpx_of([(46.1, -28.4, hours(-1)), LEG[0]]), "segment 1 begins at 2027-05-18 05:30Z, before the splash at"
                                                 " 2027-05-18 06:30Z"),
    (gpx_of([LEG[0], (46.105, -28.4, None)]), "segment 1, point 2 has no time"),
    (gpx_of([LEG[0], (46.2, -28.4, hours(6.01))]), "segment 1 goes 600 kn from 2027-05-18 12:30Z to 2027-05-18"),
    (gpx_of([(46.1, 181.5, hours(6)), (46.1, 181.6, hours(6.1))]), "point 1 lies at latitude 46.1, longitude 181.5;"
                                                                  " allowed is -90 to 90 and -180 to 180"),
    (gpx_of([LEG[0], LEG[0]]), "has one moment only"),
    (gpx_of([LEG[0]]), "holds single points and no track"),
    (gpx_of(), "holds no track: export the track"),
    ('<gpx version="1.1" creator="x"><wpt lat="46" lon="-28"/></gpx>', "holds no track (it has a route or waypoints"),
    ("", "boat.gpx is empty"),
    ("  \n", "boat.gpx is empty"),
    ("not a track", "boat.gpx is no GPX file"),
    (gpx_of(LEG)[:300], "boat.gpx is no GPX file"),
    (gpx_of(LEG).replace("46.105", "north"), "boat.gpx is no GPX file"),
    (b"\xff\xfe\x00", "boat.gpx is not text in UTF-8"),
])
def test_what_is_wrong_with_a_track_is_told_in_one_sentence(tmp_path, text, said):
    with pytest.raises(FindError) as refused:
        read_text(tmp_path, text)
    assert len(refused.value.sentences) == 1
    assert said in str(refused.value) and "\n" not in str(refused.value)
    assert str(refused.value).startswith("boat.gpx")


def test_a_file_that_is_not_there_is_told_of(tmp_path):
    with pytest.raises(FindError, match="none.gpx cannot be read .*: name a GPX file"):
        read(tmp_path / "none.gpx", SPLASH)


def test_a_stretch_that_comes_twice_is_refused_and_a_track_that_was_split_is_not(tmp_path):
    longer = [*LEG, (46.105, -28.38, hours(6.3)), (46.105, -28.37, hours(6.4))]
    one, part = read_text(tmp_path, gpx_of(longer)), read_text(tmp_path, gpx_of(longer[1:4]))
    for tracks in ((one, one), (part, one), (read_text(tmp_path, gpx_of(LEG, LEG)),)):
        with pytest.raises(FindError, match="boat.gpx, segment [12] holds the same points as boat.gpx, segment 1 from"
                                            " 2027-05-18 12:[0-9]+Z to 2027-05-18 12:[0-9]+Z: leave one of them out"):
            look_for_copies(tracks)
    look_for_copies((read_text(tmp_path, gpx_of(longer[:3], longer[2:])),))
    other_boat = [(latitude + 0.01, longitude, moment) for latitude, longitude, moment in longer]
    look_for_copies((one, read_text(tmp_path, gpx_of(other_boat))))
