"""The page of a search: what a tired person sees first, and a map that is true, on every screen and on paper.

Outside sources are named beside the checks that use them; distances are checked by geographiclib.
"""

import re
from dataclasses import replace
from functools import cache
from math import hypot

import pytest
from geographiclib.geodesic import Geodesic

from tumblehome.find import telling
from tumblehome.find.positions import written
from tumblehome.find.shapes import Plane, Position
from tumblehome.find.telling import Heading, Planned
from tumblehome.page import palette, search_map
from tumblehome.page.search import SAYING, search_page
from tumblehome.page.search_map import sea_map

from .find.searches_for_tests import AT_THE_DATE_LINE, HERE, NEAR_THE_POLE, made_up
from .pages_for_tests import NASTY, Reader, contrast

SEARCHES = {
    "here": {}, "date line": {"splash": AT_THE_DATE_LINE}, "near the pole": {"splash": NEAR_THE_POLE, "size_m": 8000.0},
    "a kilometre": {"size_m": 300.0, "boat": (-400.0, 300.0)}, "no boat": {"boat": None},
    "300 km": {"size_m": 60000.0, "boat": (-30000.0, 100000.0)}, "boat far off": {"boat": (-30000.0, -90000.0)}}


@cache
def search(name="here"):
    return made_up(**SEARCHES[name])


@cache
def page_of(told):
    return search_page(told)


@pytest.fixture(scope="module", params=SEARCHES)
def told(request):
    return search(request.param)


def maps(page):
    """Each map of the page as the text of its SVG."""
    return re.findall(r'<svg[^>]*class="sea"[^>]*>.*?</svg>', page.replace("\N{NO-BREAK SPACE}", " "), re.DOTALL)


def spot(drawn, kind):
    """Where the mark of a place stands, in units of the picture; None where it is off the map."""
    shape = {"boat": "M0 -10L6", "splash": 'r="5"', "seabed": 'width="10"', "likely": "M-9 0H9"}[kind]
    found = re.search(r'<g class="mark" transform="translate\(([-\d.]+) ([-\d.]+)\)"><[^>]*' + re.escape(shape), drawn)
    return found and (float(found[1]), float(found[2]))


def bars(drawn):
    """Metres of each scale bar and its length in units."""
    for left, right, length, unit in re.findall(r'd="M(\d+) [\d.]+V[\d.]+H([\d.]+)V[\d.]+" class="scale"></path>\s*<text[^>]*>([\d.]+) (\w+)<', drawn):
        yield float(length) * {"NM": 1852, "km": 1000, "m": 1}[unit], float(right) - float(left)


def geodesic_m(one, other):
    return Geodesic.WGS84.Inverse(one.latitude_deg, one.longitude_deg, other.latitude_deg, other.longitude_deg)["s12"]


# ---------------------------------------------------------------------------------------------- what it says

def test_the_first_thing_after_the_name_is_where_to_go_from_the_boat_and_when():
    words = Reader(page_of(search())).text
    assert ("Go to 46°06.000′N 028°24.000′W by 18 May 11:45Z 143° true, 2.7 NM from the boat. Then steer the"
            " expanding square") in words
    assert words.index("Go to") < words.index("Where it is, moment by moment") < words.index("How it may come up")


def test_without_a_boat_it_counts_from_the_splash_and_says_so():
    told = made_up(boat=None)
    told = replace(told, heading=replace(told.heading, place=told.sights[1].likely))
    assert "070° true, 0.8 NM from the splash; where the boat is was not given. Then steer" in Reader(page_of(told)).text


def test_where_waiting_pays_it_says_until_when():
    waiting = Heading(None, made_up().sights[2].at, "Dark by then: the lamp is seen from farther.")
    words = Reader(search_page(made_up(heading=waiting))).text
    assert "Wait until 18 May 14:45Z Dark by then: the lamp is seen from farther." in words and "Go to" not in words


def test_every_way_home_stands_there_with_its_chance_and_its_times():
    words = Reader(page_of(search())).text
    assert "timed release 82 % 18 May 11:41Z 18 May 11:43Z 18 May 11:47Z" in words
    assert "stays down 2 % – – –" in words


def test_every_waypoint_of_every_pattern_is_in_a_table_with_its_time_and_course(told):
    words = Reader(page_of(told)).text
    for planned in told.patterns:
        for stop in telling.stops(planned):
            assert f"{stop.number} {written(stop.place)} {telling.moment(stop.at)}" in words


def test_message_whom_to_tell_and_what_was_assumed_are_there_word_for_word():
    told = made_up()
    words = Reader(page_of(told)).text
    assert all(line in words for line in (told.message, SAYING, *told.reasons, *told.tell, *told.assumed, *told.cautions))


def test_before_anything_is_afloat_there_is_a_map_and_it_says_that_there_is_nothing_to_search_for():
    told = made_up(patterns=(), sights=tuple(replace(each, areas=(), likely=None, afloat=0.0) for each in made_up().sights))
    words = Reader(page_of(told)).text
    assert "nothing to search for at this moment" in words and "How to search" not in words


# ---------------------------------------------------------------------------------------------- the map

def test_there_is_a_map_for_each_moment_and_only_the_first_stands_without_a_script(told):
    figures = [each for each in Reader(page_of(told)).named("figure") if "data-moment" in each]
    assert len(figures) == len(told.sights)
    assert ["hidden" in each for each in figures] == [False, True, True, True, True]


def test_scale_bars_are_as_long_as_the_geodesic_between_two_marks(told):
    checked = 0
    for drawn, sight in zip(maps(page_of(told)), told.sights, strict=False):
        at = {"likely": (spot(drawn, "likely"), sight.likely), "splash": (spot(drawn, "splash"), told.splash),
              "boat": (spot(drawn, "boat"), told.boat)}
        seen = [(units, place) for units, place in at.values() if units and place]
        for (one, here), (other, there) in zip(seen, seen[1:], strict=False):
            units = hypot(one[0] - other[0], one[1] - other[1])
            if units < 60:
                continue  # too near each other to measure a tenth of a unit against
            for metres, long in bars(drawn):
                assert metres / long == pytest.approx(geodesic_m(here, there) / units, rel=0.01)
                checked += 1
    assert checked or told.boat is None


def test_the_parallel_of_the_splash_is_drawn_through_it_and_labelled_in_degrees_and_minutes():
    drawn = maps(page_of(search()))[0]
    y = spot(drawn, "splash")[1]
    label = re.search(r'<text[^>]*y="([\d.]+)"[^>]*>46°06(?:\.0)?′N<', drawn)
    assert float(label[1]) == pytest.approx(y, abs=6)


def test_a_label_of_the_graticule_goes_to_the_other_side_of_its_line_where_something_stands():
    texts = search_map._Texts(search_map._view(search(), search().sights[0], None))
    labels = [search_map._edge_text(texts, "46°07′N", (4.0, 200.0), left=True) for _each in range(3)]
    assert [float(re.search(r'y="([\d.]+)"', label)[1]) > 200.0 for label in labels[:2]] == [False, True]
    assert not labels[2]


def test_north_is_up_and_east_is_right(told):
    drawn = maps(page_of(told))[0]
    likely, boat = spot(drawn, "likely"), spot(drawn, "boat")
    if boat is None:
        return
    line = Geodesic.WGS84.Inverse(told.sights[0].likely.latitude_deg, told.sights[0].likely.longitude_deg,
                                  told.boat.latitude_deg, told.boat.longitude_deg, Geodesic.AZIMUTH)
    assert (boat[0] > likely[0]) == (line["azi1"] > 0)
    assert (boat[1] < likely[1]) == (abs(line["azi1"]) < 90)


def test_no_line_of_an_area_or_pattern_jumps_across_the_map_at_the_date_line():
    drawn = maps(page_of(search("date line")))[0]
    for outline in re.findall(r' d="(M[^"]+)"', drawn):
        numbers = [float(each) for each in re.findall(r"-?[\d.]+", outline)]
        assert max(map(abs, numbers)) < 3000


def test_each_area_has_its_label_and_no_two_have_the_same_dash(told):
    for drawn in maps(page_of(told)):
        assert [f">{share} %<" in drawn for share in (50, 90, 99)] == [True] * 3
        assert len(set(re.findall(r'stroke-dasharray="([^"]+)"', drawn))) == 3


def texts_of(drawn, kind):
    """Words and box (left, top, right, bottom) of each text of a kind, in the larger type of a telephone."""
    for tag, words in re.findall(rf'<text([^>]*class="{kind}"[^>]*)>([^<]*)<', drawn):
        told = dict(re.findall(r'([\w-]+)="([^"]*)"', tag))
        x, y, wide = float(told["x"]), float(told["y"]), 12.0 * len(words)
        left = x - {"middle": wide / 2, "end": wide}.get(told.get("text-anchor"), 0.0)
        yield words, (left, y - 17.6, left + wide, y + 4.4)


def steering(*points):
    """The map of a search whose pattern has these waypoints, (east, north) of the splash in metres, and the plate of its
    scale as left, top, right, bottom."""
    told = made_up(boat=None)
    pattern = replace(told.patterns[0].pattern, waypoints=tuple(Plane(HERE).position(*point) for point in points))
    drawn, = maps(sea_map(told, told.sights[0], Planned(pattern, told.sights[0].at)))
    left, top, wide, high = (float(each) for each in re.search(
        r'<rect x="(-?[\d.]+)" y="(-?[\d.]+)" width="(\d+)" height="(\d+)" class="plate"', drawn).groups())
    return drawn, (left, top, left + wide, top + high)


@pytest.mark.parametrize("east_m, south_m, north_m", [(11626, 2045, 7932), (11930, 2105, 5679), (10295, 1747, 5462)])
def test_no_label_of_an_area_is_hidden_by_the_scale_since_the_rest_of_a_number_is_another_number(east_m, south_m, north_m):
    drawn, (left, top, right, bottom) = steering((0, 0), (east_m, -south_m), (east_m, north_m), (-2500, north_m))
    for words, (begin, upper, end, lower) in texts_of(drawn, "area"):
        assert end < left or begin > right or lower < top or upper > bottom, words


@pytest.mark.parametrize("north_m", [-6000, -5000, -2500, -1250])
def test_the_scale_hides_no_leg_of_a_pattern_where_a_corner_is_free(north_m):
    drawn, (left, top, right, bottom) = steering((-7000, 3500), (7000, 3500), (7000, north_m), (1000, -5000))
    outline = re.search(r'class="steered"><path d="M([^"]*)"', drawn)[1]
    points = [tuple(map(float, point.split())) for point in outline.split("L")]
    for (x, y), (to_x, to_y) in zip(points, points[1:], strict=False):
        for share in (step / 100 for step in range(101)):
            assert not (left < x + share * (to_x - x) < right and top < y + share * (to_y - y) < bottom)


def test_the_first_and_the_last_waypoint_always_have_their_number(told):
    drawn = maps(page_of(told))[-2]  # of the first pattern
    for number in (1, len(told.patterns[0].pattern.waypoints)):
        assert re.search(rf'class="waypoint"[^>]*>{number}<', drawn)


def test_a_boat_far_off_is_told_at_the_edge_with_bearing_and_distance():
    drawn = maps(page_of(search("boat far off")))[0]
    assert spot(drawn, "boat") is None
    assert re.search(r">boat 19[89]° 5\d\.\d NM<", drawn)


# ---------------------------------------------------------------------------------------------- for everybody

def test_the_page_asks_for_nothing_from_outside(told):
    page = Reader(page_of(told))
    asking = {"src", "srcset", "action", "data", "poster"}
    assert [tag for tag, attributes in page.tags if asking & set(attributes)] == []
    assert all(link["href"].startswith("#") for link in page.named("a"))
    policy = next(meta["content"] for meta in page.named("meta") if "http-equiv" in meta)
    assert policy.startswith("default-src 'none'")
    assert not any("url(" in look or "@import" in look for look in page.styles)


def test_a_hostile_name_stays_text():
    told = made_up(name=NASTY, message=NASTY, tell=(NASTY,), assumed=(NASTY,), cautions=(NASTY,),
                   heading=Heading(HERE, made_up().now, NASTY))
    plain, nasty = Reader(page_of(search())), Reader(page_of(told))
    assert [tag for tag, _ in plain.tags] == [tag for tag, _ in nasty.tags]
    assert nasty.text.count('<script>alert("x")</script>') >= 6


def test_text_and_edges_of_the_map_stand_out_from_the_paper():
    # Source: WCAG 2.2, success criteria 1.4.3 (text 4.5 : 1) and 1.4.11 (graphics 3 : 1).
    look = Reader(page_of(search())).styles[0]
    for colour in re.findall(r"(?:^|[^-])(?:color|fill): (#[0-9a-f]{6})", look):
        assert contrast(colour, "#ffffff") >= 4.5, colour
    for colour in (palette.VERMILLION, palette.BLUE, palette.INK):
        assert contrast(colour, "#ffffff") >= 3.0, colour


def test_the_slider_shows_one_moment_at_a_time_and_tells_it(browser):
    turn = ('<script>addEventListener("load", function () { const slider = document.getElementById("when");'
            ' slider.value = "3"; slider.dispatchEvent(new Event("input")); });</script></body>')
    drawn, complaints = browser.opened(page_of(search()).replace("</body>", turn))
    page = Reader(drawn)
    figures = [each for each in page.named("figure") if "data-moment" in each]
    assert complaints == []
    assert ["hidden" in each for each in figures] == [True, True, True, False, True]
    slider = next(each for each in page.named("input") if each.get("id") == "when")
    assert slider["aria-valuetext"] == figures[3]["data-moment"] == "18 May 17:45Z, 11 h 15 min after the splash"
    assert "4 of 5" in page.text


@pytest.mark.parametrize("name", ["here", "300 km"])
def test_on_a_telephone_nothing_stands_beyond_the_edge(name, browser):
    wide, window = browser.width_on_a_phone(page_of(search(name)))
    assert wide <= window


def test_by_night_it_does_not_blind_where_the_device_is_set_to_dark_and_paper_stays_white(browser):
    def looks(shown):
        for scheme, media in (("light", "screen"), ("dark", "screen"), ("dark", "print")):
            shown.emulate_media(color_scheme=scheme, media=media)
            yield shown.evaluate("getComputedStyle(document.body).filter")
    told = browser.use(page_of(search()), lambda shown: list(looks(shown))).result
    assert told == ["none", "invert(1) hue-rotate(180deg)", "none"]


def test_it_prints_on_a4_where_to_go_first(browser):
    # Source: ISO 216, A4 is 210 mm by 297 mm; a point is 1/72 inch (ISO 32000-1, 8.3.2.3).
    paper = browser.printed(page_of(search()))
    box = re.search(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)", paper)
    assert [float(side) for side in box.groups()] == pytest.approx([210 / 25.4 * 72, 297 / 25.4 * 72], abs=1.0)


def test_a_place_on_the_date_line_is_written_the_same_from_both_sides():
    words = [Reader(search_page(made_up(Position(-17.0, longitude)))).text for longitude in (180.0, 179.9999999)]
    assert all("Go to 17°00.000′S 180°00.000′E" in each for each in words)
