"""A search for the instruments on board: GPX for the plotter, KML and GeoJSON for maps.

GPX 1.1 has a route for each pattern, waypoints, and the areas of the moment at which the advised search begins as
tracks without times, since a plotter draws those. KML (OGC 07-147r2) shows each moment's areas for its span of time.
GeoJSON (RFC 7946) has all of it: outer rings counter-clockwise, cut at the antimeridian, longitude first.
"""

import json
import re
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from math import ceil
from typing import Any
from xml.etree.ElementTree import Element, SubElement, indent, tostring

import gpxpy.gpx

from lander import VERSION
from tumblehome import moments
from tumblehome.find import dateline, telling
from tumblehome.find.shapes import Area, Position
from tumblehome.find.telling import Planned, Sight, Telling
from tumblehome.page import palette
from tumblehome.page.search_map import AREAS

GPX, KML, GEOJSON = "search.gpx", "search.kml", "search.geojson"
CREATOR = "tumblehome %s" % VERSION
DECIMALS = 6  # of a degree in GPX: a tenth of a metre
# Few letters, because plotters cut names short: which pattern, then the number of the waypoint.
SHORT = {"expanding square": "SQ", "sector": "SE", "parallel tracks": "PT"}
UNKNOWN = "WP"
LIKELY = "AT"  # begins the name of a likely place, then day, hour and minute
# The colours of the page, since both lie on one table. The width tells the areas apart where the colour does not.
KML_LINES = {share: (look.colour, ceil(look.width)) for share, look in AREAS.items()}
KML_PATTERN = (palette.BLACK, 3)
_NOT_XML = re.compile("[^\t\n\r -\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")  # XML 1.0, section 2.2


def contents(told: Telling) -> dict[str, bytes]:
    """The three files by name, for `writing.write`. The same search gives the same bytes."""
    return {GPX: gpx(told).encode(), KML: kml(told).encode(), GEOJSON: geojson(told).encode()}


def _places(told: Telling) -> Iterator[tuple[str, Position, datetime, str]]:
    """Places worth a mark: short name, place, the moment it holds for, words."""
    yield "SPLASH", told.splash, told.splash_utc, "where it went in"
    if told.bottom is not None:
        yield "BOTTOM", told.bottom, told.splash_utc, "where it lies, or lay, on the seabed"
    if told.boat is not None:
        yield "BOAT", told.boat, told.now, "the boat when this was worked out"
    if told.heading.place is not None:
        yield "GO", told.heading.place, told.heading.at, told.heading.sentence
    for sight in told.sights:
        if sight.likely is not None:
            yield (LIKELY + sight.at.strftime("%d%H%M"), sight.likely, sight.at,
                   "likely place if afloat, give or take %s" % telling.distance(sight.radius_m))


def _prefixes(told: Telling) -> Iterator[tuple[str, Planned]]:
    """Each pattern with the letters its waypoints begin with; the second of a kind and later ones have a number."""
    seen: dict[str, int] = {}
    for planned in told.patterns:
        letters = SHORT.get(planned.pattern.kind, UNKNOWN)
        seen[letters] = seen.get(letters, 0) + 1
        yield (letters if seen[letters] == 1 else "%s%d-" % (letters, seen[letters])), planned


def _pattern_words(planned: Planned) -> str:
    pattern = planned.pattern
    words = "%s, %s, from %s, %.1f h at %g kn, finds it with %s" % (
        pattern.kind, telling.apart(pattern), telling.moment(planned.begins), pattern.hours,
        pattern.speed_kn, telling.percent(pattern.detection))
    return words + (": " + planned.why if planned.why else "")


def _area_words(sight: Sight, area: Area) -> str:
    """What the share of an area is a share of: it holds so much if the lander is afloat at all."""
    return "%s; holds it with %g %% if it is afloat, which it is by then with %s" % (
        telling.square_km(area.area_km2), 100 * area.probability, telling.percent(sight.afloat))


def _short_name(prefix: str, planned: Planned) -> str:
    """Few letters for a plotter, and another name for each pattern: of two routes of one name it keeps one."""
    return "%s %s" % (prefix.rstrip("-"), planned.begins.strftime("%d%H%MZ"))


def _area_name(area: Area) -> str:
    return "%g %% %s" % (100 * area.probability, telling.moment(area.at))


# --- GPX ------------------------------------------------------------------------------------------------------------


def gpx(told: Telling) -> str:
    """GPX 1.1 (topografix schema): waypoints, a route a pattern, the areas of the search as closed tracks."""
    made = gpxpy.gpx.GPX()
    made.creator, made.name, made.time = CREATOR, _xml(told.name), _second(told.now)
    for name, place, at, words in _places(told):
        made.waypoints.append(gpxpy.gpx.GPXWaypoint(
            *_degrees(place), time=_second(at), name=name, description=_xml(words), symbol="Waypoint"))
    for prefix, planned in _prefixes(told):
        route = gpxpy.gpx.GPXRoute(name=_short_name(prefix, planned), description=_xml(_pattern_words(planned)))
        for stop in telling.stops(planned):
            route.points.append(gpxpy.gpx.GPXRoutePoint(
                *_degrees(stop.place), time=_second(stop.at), name="%s%02d" % (prefix, stop.number)))
        made.routes.append(route)
    sight = telling.sight_at(told, told.heading.at)
    for area in sight.areas:
        track = gpxpy.gpx.GPXTrack(name=_area_name(area), description=(
            "edge of the area, not a track that was steered: " + _area_words(sight, area)))
        for ring in area.rings:
            track.segments.append(gpxpy.gpx.GPXTrackSegment(
                [gpxpy.gpx.GPXTrackPoint(*_degrees(place)) for place in ring]))
        made.tracks.append(track)
    return str(made.to_xml(version="1.1"))


def _degrees(place: Position) -> tuple[float, float]:
    """Latitude and longitude as GPX has them: longitudes stay below 180 (longitudeType, maxExclusive)."""
    longitude = round(place.longitude_deg, DECIMALS)
    return round(place.latitude_deg, DECIMALS), -180.0 if longitude >= 180 else longitude


def _second(at: datetime) -> datetime:
    """The moment in whole seconds: not every plotter reads parts of them."""
    return at.replace(microsecond=0)


def _xml(words: str) -> str:
    """The words without the letters that no XML file may hold."""
    return _NOT_XML.sub("?", words)


# --- KML ------------------------------------------------------------------------------------------------------------


def kml(told: Telling) -> str:
    """KML 2.2: a folder a moment, its areas shown until the next one; a folder a pattern; and the places.

    Elements stand in the order of the schema: styles after the name, time before the style, geometry last.
    """
    root = Element("kml", xmlns="http://www.opengis.net/kml/2.2")
    document = _under(root, "Document", name=told.name, open="1")
    for number, (colour, width) in enumerate((*KML_LINES.values(), KML_PATTERN)):
        style = SubElement(document, "Style", id="line%d" % number)
        _under(style, "LineStyle", color=_kml_colour(colour, "ff"), width=str(width))
        _under(style, "PolyStyle", color=_kml_colour(colour, "22"))
    ends = {sight.at: end for sight, end in _spans(told)}
    places = _under(document, "Folder", name="places")
    for name, place, at, words in _places(told):
        mark = _under(places, "Placemark", name=name, description="%s; %s" % (telling.moment(at), words))
        if name.startswith(LIKELY):
            _kml_span(mark, at, ends[at])
        _kml_geometry(mark, "Point", [_vertex(place)])
    for prefix, planned in _prefixes(told):
        _kml_pattern(document, prefix, planned)
    for sight, until in _spans(told):
        _kml_sight(document, sight, until)
    indent(root)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + tostring(root, encoding="unicode")


def _under(parent: Element, tag: str, **children: str) -> Element:
    """A new element with children that hold text alone."""
    made = SubElement(parent, tag)
    for name, words in children.items():
        SubElement(made, name).text = _xml(words)
    return made


def _spans(told: Telling) -> Iterator[tuple[Sight, datetime | None]]:
    """Each moment with the one at which the next takes over; the last has none."""
    yield from zip(told.sights, (*(sight.at for sight in told.sights[1:]), None), strict=True)


def _kml_sight(document: Element, sight: Sight, until: datetime | None) -> None:
    folder = _under(document, "Folder", name="areas %s" % telling.moment(sight.at))
    for area in sight.areas:
        mark = _under(folder, "Placemark", name=_area_name(area), description=_area_words(sight, area))
        _kml_span(mark, sight.at, until)  # not at the folder: readers differ in that
        _kml_style(mark, KML_LINES.get(area.probability, KML_PATTERN))
        shapes = SubElement(mark, "MultiGeometry")
        for outer, *holes in dateline.polygons(area.rings):
            polygon = _under(shapes, "Polygon", tessellate="1")
            _kml_geometry(SubElement(polygon, "outerBoundaryIs"), "LinearRing", outer)
            for hole in holes:
                _kml_geometry(SubElement(polygon, "innerBoundaryIs"), "LinearRing", hole)


def _kml_span(mark: Element, begin: datetime, end: datetime | None) -> None:
    span = _under(mark, "TimeSpan", begin=moments.iso(begin))
    if end is not None:
        SubElement(span, "end").text = moments.iso(end)


def _kml_pattern(document: Element, prefix: str, planned: Planned) -> None:
    folder = _under(document, "Folder", name=_short_name(prefix, planned), description=_pattern_words(planned))
    mark = _under(folder, "Placemark", name="track")
    _kml_style(mark, KML_PATTERN)
    tracks = SubElement(mark, "MultiGeometry")
    for part in dateline.lines(planned.pattern.waypoints):
        _kml_geometry(tracks, "LineString", part)
    for stop in telling.stops(planned):
        mark = _under(folder, "Placemark", name=str(stop.number), description=telling.moment(stop.at))
        _kml_geometry(mark, "Point", [_vertex(stop.place)])


def _kml_style(mark: Element, line: tuple[str, int]) -> None:
    SubElement(mark, "styleUrl").text = "#line%d" % (*KML_LINES.values(), KML_PATTERN).index(line)


def _kml_geometry(parent: Element, tag: str, vertices: Sequence[dateline.Vertex]) -> None:
    """A line bends with the globe (`tessellate`): a straight one of miles would run under the water."""
    made = _under(parent, tag, **({"tessellate": "1"} if tag == "LineString" else {}))
    SubElement(made, "coordinates").text = " ".join("%.7f,%.7f" % vertex for vertex in vertices)


def _kml_colour(colour: str, alpha: str) -> str:
    """#rrggbb as KML has it: aabbggrr."""
    return alpha + colour[5:7] + colour[3:5] + colour[1:3]


# --- GeoJSON --------------------------------------------------------------------------------------------------------


def geojson(told: Telling) -> str:
    """RFC 7946: one FeatureCollection; every feature says in `kind` what it is."""
    features = [*_area_features(told), *_pattern_features(told), *_place_features(told)]
    return json.dumps({"type": "FeatureCollection", "features": features}, allow_nan=False)


def _area_features(told: Telling) -> Iterator[dict[str, Any]]:
    for sight, until in _spans(told):
        for area in sight.areas:
            yield _feature({"type": "MultiPolygon", "coordinates": dateline.polygons(area.rings)}, {
                "kind": "area", "probability_if_afloat": area.probability, "afloat": sight.afloat,
                "at_utc": moments.iso(area.at), "until_utc": None if until is None else moments.iso(until),
                "area_km2": area.area_km2})


def _pattern_features(told: Telling) -> Iterator[dict[str, Any]]:
    for prefix, planned in _prefixes(told):
        pattern = planned.pattern
        yield _feature({"type": "MultiLineString", "coordinates": dateline.lines(pattern.waypoints)}, {
            "kind": "pattern", "pattern": pattern.kind, "begins_utc": moments.iso(planned.begins),
            "spacing_m": pattern.spacing_m, "length_m": pattern.length_m, "speed_kn": pattern.speed_kn,
            "hours": pattern.hours, "detection": pattern.detection, "why": planned.why})
        for stop in telling.stops(planned):
            yield _feature({"type": "Point", "coordinates": _vertex(stop.place)}, {
                "kind": "waypoint", "name": "%s%02d" % (prefix, stop.number), "number": stop.number,
                "at_utc": moments.iso(stop.at), "course_deg": stop.course_deg, "leg_m": stop.leg_m})


def _place_features(told: Telling) -> Iterator[dict[str, Any]]:
    for name, place, at, words in _places(told):
        yield _feature({"type": "Point", "coordinates": _vertex(place)}, {
            "kind": "place", "name": name, "at_utc": moments.iso(at), "words": words})


def _feature(geometry: Mapping[str, Any], properties: Mapping[str, Any]) -> dict[str, Any]:
    return {"type": "Feature", "geometry": dict(geometry), "properties": dict(properties)}


def _vertex(place: Position) -> tuple[float, float]:
    return round(place.longitude_deg, dateline.DECIMALS), round(place.latitude_deg, dateline.DECIMALS)
