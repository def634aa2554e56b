"""What is handed to the plotter and to maps, read back by other people's readers.

GPX by gpxpy and against the rules of the GPX 1.1 schema that it does not enforce; KML against the OGC schema that
fastkml carries; GeoJSON by the package geojson, and by the shoelace formula.
"""

import json
import re
from dataclasses import replace
from datetime import timedelta
from math import isclose

import fastkml
import fastkml.validator
import geojson
import gpxpy
import pytest
from lxml import etree

from tumblehome import moments
from tumblehome.find import exports, telling
from tumblehome.find.shapes import Plane
from tumblehome.page import palette
from tumblehome.page.search import search_page

from .searches_for_tests import AT_THE_DATE_LINE, HERE, NASTY, NEAR_THE_POLE, made_up

GPX_SPACE = "{http://www.topografix.com/GPX/1/1}"
PLACES = {"here": HERE, "date line": AT_THE_DATE_LINE, "near the pole": NEAR_THE_POLE}


@pytest.fixture(scope="module", params=PLACES)
def told(request):
    return made_up(PLACES[request.param])


def features(told, kind):
    return [each for each in json.loads(exports.geojson(told))["features"] if each["properties"]["kind"] == kind]


def twice_area(ring):
    return sum(one[0] * other[1] - other[0] * one[1] for one, other in zip(ring, ring[1:], strict=False))


def test_the_same_search_gives_the_same_three_files_byte_for_byte(told):
    assert exports.contents(told) == exports.contents(told)
    assert set(exports.contents(told)) == {"search.gpx", "search.kml", "search.geojson"}


# --- GPX ------------------------------------------------------------------------------------------------------------


def test_a_gpx_reader_finds_every_waypoint_of_every_pattern_where_it_was(told):
    read = gpxpy.parse(exports.gpx(told))
    assert [route.name for route in read.routes] == ["SQ 181145Z", "PT 181145Z"]
    assert [route.description.split(",")[0] for route in read.routes] == ["expanding square", "parallel tracks"]
    for route, planned in zip(read.routes, told.patterns, strict=True):
        assert [point.name for point in route.points][:2] in (["SQ01", "SQ02"], ["PT01", "PT02"])
        for point, place in zip(route.points, planned.pattern.waypoints, strict=True):
            assert Plane(place).metres(type(place)(point.latitude, point.longitude)) == pytest.approx((0, 0), abs=0.12)
        assert route.points[0].time == planned.begins
        run_h = (route.points[-1].time - planned.begins).total_seconds() / 3600
        assert run_h == pytest.approx(planned.pattern.hours, abs=2 / 3600)


def test_gpx_waypoints_mark_splash_bottom_boat_where_to_go_and_the_likely_places(told):
    names = [point.name for point in gpxpy.parse(exports.gpx(told)).waypoints]
    assert names == ["SPLASH", "BOTTOM", "BOAT", "GO", "AT181145", "AT181245", "AT181445", "AT181745", "AT182345"]


def test_two_patterns_of_one_kind_have_two_names_since_a_plotter_keeps_one_route_of_a_name():
    told = made_up()
    twice = (told.patterns[0], replace(told.patterns[0], begins=told.patterns[0].begins + timedelta(hours=11)))
    for patterns in (twice, (twice[0], twice[0])):
        read = gpxpy.parse(exports.gpx(replace(told, patterns=patterns)))
        names = [route.name for route in read.routes] + [point.name for route in read.routes for point in route.points]
        assert len(set(names)) == len(names) and max(map(len, names)) <= 12
        folders = fastkml.KML.from_string(exports.kml(replace(told, patterns=patterns)).encode()).features[0].features
        assert len({each.name for each in folders}) == len(folders)


def test_times_in_gpx_are_whole_seconds_however_the_search_was_worked_out():
    told = made_up()
    parts = timedelta(microseconds=211615)
    told = replace(told, now=told.now + parts, heading=replace(told.heading, at=told.heading.at + parts),
                   patterns=tuple(replace(each, begins=each.begins + parts) for each in told.patterns))
    times = re.findall("<time>(.*?)</time>", exports.gpx(told))
    assert len(times) > 30 and all(re.fullmatch(r"2027-05-\d\dT\d\d:\d\d:\d\dZ", each) for each in times)


def test_the_areas_on_the_plotter_are_those_of_the_search_and_not_of_the_hours_before_it():
    told = made_up()
    told = replace(told, heading=replace(told.heading, at=told.sights[3].at + timedelta(minutes=10)))
    assert {track.name for track in gpxpy.parse(exports.gpx(told)).tracks} == {
        "50 % 18 May 17:45Z", "90 % 18 May 17:45Z", "99 % 18 May 17:45Z"}


def test_the_areas_come_as_closed_tracks_without_times_so_that_no_one_takes_them_for_a_searched_track(told):
    read = gpxpy.parse(exports.gpx(told))
    assert [track.name for track in read.tracks] == ["50 % 18 May 11:45Z", "90 % 18 May 11:45Z", "99 % 18 May 11:45Z"]
    for track in read.tracks:
        for segment in track.segments:
            assert (segment.points[0].latitude, segment.points[0].longitude) == (segment.points[-1].latitude, segment.points[-1].longitude)
            assert not any(point.time for point in segment.points)


@pytest.mark.published("printed", source="GPX 1.1 schema (topografix, gpx.xsd)", tolerance="valid")
def test_gpx_keeps_the_rules_of_its_schema_that_the_reader_does_not_check(told):
    # Source: GPX 1.1 schema (topografix, gpx.xsd): the order of gpxType's children, required attributes, latitudeType
    # -90 to 90, longitudeType -180 to below 180, the order of wptType's children.
    root = etree.fromstring(exports.gpx(told).encode())
    assert root.tag == GPX_SPACE + "gpx" and root.get("version") == "1.1" and root.get("creator")
    order = ["metadata", "wpt", "rte", "trk", "extensions"]
    places = [order.index(child.tag.removeprefix(GPX_SPACE)) for child in root]
    assert places == sorted(places)
    point_order = ["ele", "time", "magvar", "geoidheight", "name", "cmt", "desc", "src", "link", "sym", "type"]
    points = [each for each in root.iter() if each.get("lat")]
    assert len(points) > 300
    for point in points:
        assert -90 <= float(point.get("lat")) <= 90 and -180 <= float(point.get("lon")) < 180
        inner = [point_order.index(child.tag.removeprefix(GPX_SPACE)) for child in point]
        assert inner == sorted(inner)


def test_gpx_writes_longitude_180_as_minus_180_since_180_is_outside_its_range():
    told = made_up(type(HERE)(0.0, 180.0))
    splash = gpxpy.parse(exports.gpx(told)).waypoints[0]
    assert (splash.latitude, splash.longitude) == (0.0, -180.0)


# --- KML ------------------------------------------------------------------------------------------------------------


@pytest.mark.published("library", source="OGC 07-147r2, ogckml22.xsd, as fastkml carries it", tolerance="valid")
def test_kml_is_valid_by_the_schema_of_the_ogc(told):
    # Source: OGC 07-147r2, ogckml22.xsd, as fastkml carries it.
    schema = fastkml.validator.get_schema_parser()
    valid = schema.validate(etree.fromstring(exports.kml(told).encode()))
    assert valid, [error.message for error in schema.error_log]


def test_the_schema_would_notice_elements_in_the_wrong_order(told):
    broken = exports.kml(told).replace("<open>1</open>", "").replace("</Document>", "<open>1</open></Document>")
    assert not fastkml.validator.get_schema_parser().validate(etree.fromstring(broken.encode()))


def test_kml_shows_each_moment_until_the_next_one(told):
    read = fastkml.KML.from_string(exports.kml(told).encode())
    folders = [each for each in read.features[0].features if each.name.startswith("areas")]
    moments = [sight.at for sight in told.sights]
    assert len(folders) == len(moments)
    for folder, begin, end in zip(folders, moments, [*moments[1:], None], strict=True):
        assert len(folder.features) == 3
        for mark in folder.features:
            assert mark.times.begin.dt == begin
            assert (mark.times.end.dt if mark.times.end else None) == end


def test_an_area_has_the_same_colour_in_kml_as_on_the_page():
    told = made_up()
    document = fastkml.KML.from_string(exports.kml(told).encode()).features[0]
    colours = {"#" + style.id: style.styles[0].color for style in document.styles}
    marks = next(each for each in document.features if each.name.startswith("areas")).features
    for mark, colour in zip(marks, (palette.VERMILLION, palette.BLUE, palette.INK), strict=True):
        blue, green, red = re.findall("..", colours[mark.style_url.url][2:])  # KML: aabbggrr (OGC 07-147r2, kml:color)
        assert "#" + red + green + blue == colour
        assert f'stroke="{colour}"' in search_page(told)


def test_a_likely_place_slides_with_its_areas(told):
    folders = fastkml.KML.from_string(exports.kml(told).encode()).features[0].features
    marks = [mark for mark in folders[0].features if mark.name.startswith("AT")]
    moments = [sight.at for sight in told.sights]
    assert [mark.times.begin.dt for mark in marks] == moments
    assert [mark.times.end.dt if mark.times.end else None for mark in marks] == [*moments[1:], None]


def test_an_area_says_that_its_share_is_of_those_afloat_and_how_likely_that_is(told):
    said = "; holds it with 50 % if it is afloat, which it is by then with 90 %"
    assert said in gpxpy.parse(exports.gpx(told)).tracks[0].description
    folders = fastkml.KML.from_string(exports.kml(told).encode()).features[0].features
    assert next(each for each in folders if each.name.startswith("areas")).features[0].description.endswith(said)


def test_lines_and_areas_bend_with_the_globe_and_do_not_run_under_the_water(told):
    # OGC 07-147r2, kml:tessellate: without it a line is straight between its vertices.
    space = "{http://www.opengis.net/kml/2.2}"
    root = etree.fromstring(exports.kml(told).encode())
    shapes = [*root.iter(space + "LineString"), *root.iter(space + "Polygon")]
    assert len(shapes) > 15 and all(each.findtext(space + "tessellate") == "1" for each in shapes)


def test_kml_text_that_could_end_its_element_stays_text():
    read = fastkml.KML.from_string(exports.kml(made_up(name=NASTY)).encode())
    assert read.features[0].name == NASTY.replace("\x07", "?")


# --- GeoJSON --------------------------------------------------------------------------------------------------------


@pytest.mark.published("library", source="the package geojson", tolerance="valid")
def test_geojson_is_valid_for_another_reader(told):
    read = geojson.loads(exports.geojson(told))
    assert read.is_valid, read.errors()
    assert all(each.is_valid for each in read.features), [each.errors() for each in read.features]


@pytest.mark.published("printed", source="RFC 7946, 3.1.6 and 3.1.9", tolerance="exact")
def test_geojson_keeps_the_right_hand_rule_and_the_usual_longitudes(told):
    # Source: RFC 7946, 3.1.6: exterior rings counter-clockwise, interior rings clockwise; 3.1.9: cut at the antimeridian.
    for each in features(told, "area"):
        for outer, *holes in each["geometry"]["coordinates"]:
            assert twice_area(outer) > 0 and all(twice_area(hole) < 0 for hole in holes)
            longitudes = [vertex[0] for vertex in outer]
            assert min(longitudes) >= -180 and max(longitudes) <= 180
            if told.splash != NEAR_THE_POLE:
                assert max(longitudes) - min(longitudes) < 90


def test_an_area_at_the_date_line_has_the_same_size_as_one_that_is_elsewhere():
    there, elsewhere = (features(made_up(place), "area") for place in (AT_THE_DATE_LINE, type(HERE)(-17.0, 20.0)))
    cut = False
    for one, other in zip(there, elsewhere, strict=True):
        parts = [sum(twice_area(ring) for polygon in each["geometry"]["coordinates"] for ring in polygon) for each in (one, other)]
        assert isclose(*parts, rel_tol=1e-4)
        cut |= len(one["geometry"]["coordinates"]) > len(other["geometry"]["coordinates"])
    assert cut, "no area lies across the line: this test looks at nothing"


def test_a_pattern_is_a_line_with_its_waypoints_in_order(told):
    lines, waypoints = features(told, "pattern"), features(told, "waypoint")
    assert [each["properties"]["pattern"] for each in lines] == ["expanding square", "parallel tracks"]
    stops = [stop for planned in told.patterns for stop in telling.stops(planned)]
    assert [each["properties"]["number"] for each in waypoints] == [stop.number for stop in stops]
    assert [each["properties"]["at_utc"] for each in waypoints] == [moments.iso(stop.at) for stop in stops]


def test_without_boat_and_before_anything_is_afloat_the_files_have_fewer_places_and_still_read():
    told = made_up(boat=None, bottom=None, sights=(type(made_up().sights[0])(made_up().now, (), None, 0.0, 0.0),), patterns=())
    assert geojson.loads(exports.geojson(told)).is_valid
    assert [point.name for point in gpxpy.parse(exports.gpx(told)).waypoints] == ["SPLASH", "GO"]
    assert fastkml.validator.get_schema_parser().validate(etree.fromstring(exports.kml(told).encode()))
