"""Positions: the usual forms are read, what could mean two places is refused."""

import re

import pytest
from geographiclib.geodesic import Geodesic
from hypothesis import given
from hypothesis import strategies as st

from tumblehome.find.mistakes import PositionError
from tumblehome.find.positions import EXAMPLE, parse, written
from tumblehome.find.shapes import Plane, Position

HALF_A_THOUSANDTH_DEG = 0.5 / 60_000 + 1e-12


@pytest.mark.parametrize("text", [
    EXAMPLE, "46 06.000 N, 028 24.000 W", "46 06 N 28 24 W", "46°06'N 28°24'W", "46° 06′ 00″ N 28° 24′ 00″ W",
    "46 6 0 n 28 24 0 w", "N 46 06, W 28 24", "N46°06.0' W028°24.0'", "46.1N 28.4W", "46.1 N, 28.4 W", "N46.1 W28.4",
    "28.4W 46.1N", "W 28 24 N 46 06", "46.1 -28.4", "46.1,-28.4", "+46.1, -28.4", "46.1° −28.4°",
    "46-06.00N 028-24.00W", "46:06:00N 28:24:00W", "46º06’00’’N 28º24’00’’W", "46 deg 06 min north / 28 deg 24 min west",
    "46°06.000′N;028°24.000′W", "46.1, –28.4", "46–06.00N 28–24.00W", "46°06ʹ00ʺN 28°24ʹ00ʺW", "46.1N,28.4W", "46.10N 28.400W", "  46 06.000 N\t28 24.000 W ",
])
def test_a_position_is_read_in_the_usual_forms(text):
    position = parse(text)
    assert position.latitude_deg == pytest.approx(46.1, abs=1e-12)
    assert position.longitude_deg == pytest.approx(-28.4, abs=1e-12)


# ICSM, Geocentric Datum of Australia Technical Manual: Flinders Peak, printed in degrees, minutes and seconds, and
# the line from there to Buninyong: 54 972.271 m.
def test_a_survey_mark_in_degrees_minutes_and_seconds_is_where_the_manual_has_it():
    peak = parse("37°57′03.72030″S 144°25′29.52440″E")
    other = parse("S 37 39 10.15610, E 143 55 35.38390")
    line = Geodesic.WGS84.Inverse(peak.latitude_deg, peak.longitude_deg, other.latitude_deg, other.longitude_deg)
    assert line["s12"] == pytest.approx(54_972.271, abs=5e-4)


# NMEA 0183, the widely printed example sentence: 4807.038,N 01131.000,E is 48.1173 N 11.516667 E.
def test_degrees_and_decimal_minutes_mean_what_a_receiver_means_by_them():
    assert parse("48 07.038 N 011 31.000 E").latitude_deg == pytest.approx(48.1173, abs=1e-9)
    assert parse("48 07.038 N 011 31.000 E").longitude_deg == pytest.approx(11.516667, abs=1e-6)


@pytest.mark.parametrize(("text", "why"), [
    ("", "is empty"), ("   ", "is empty"), ("46 06 28 24", "no N or S"), ("46 28", "no N or S"), ("46.1", "no N or S"),
    ("46.1 28.4", "neither letters nor a sign"), ("46 -28", "no N or S"), ("-128.4 46.1", "beyond the 90 degrees"),
    ("46.1 -190.5", "allowed is -180 to 180"), ("46 06 N 28 24", "the letters N"), ("46 06 28 24 W", "the letters W"),
    ("46 06 N 28 24 N", "the letters N and N"), ("28 24 W 46 06 E", "the letters W and E"),
    ("46 06 N 28 24 W 3 E", "the letters N and W and E"), ("46 60 N 28 24 W", "60 minutes"),
    ("46 06 60 N 28 24 0 W", "60 seconds"), ("91 N 28 W", "allowed is 0 to 90"), ("90 00.001 N 28 W", "allowed is 0 to 90"),
    ("46 N 181 W", "allowed is 0 to 180"), ("4606.000N 02824.000W", "a space between degrees and minutes"),
    ("46,1N 28,4W", "decimal comma"), ("46,28", "decimal comma"), ("46 06,5 N 28 24,5 W", "decimal comma"),
    ("-46.1 S 28.4 W", "a sign and the letter S"), ("46.5 30 N 28 24 W", "decimals in its degrees"),
    ("46 06.5 10 N 28 24 W", "decimals in its minutes"), ("N 46 06 28 24 W", "which numbers belong"),
    ("46 06 N W 28 24", "which numbers belong"), ("46'06°N 28°24'W", "the mark '"), ("°46 N 28 W", "without a number"),
    ("46 06 07 08 N 28 W", "4 numbers"), ("N W 28 24", "0 numbers"), ("46 06 N 28 24 O", '"O" in it'),
    ("46, 06 N 28 24 W", "comma in the middle"), ("46 06 N, 28, 24 W", "comma in the middle"), ("here", '"H" in it'),
    ("46 06 N 28 24 W \x1b[2J", "in it"), ("１６ N 28 W", "in it"), ("inf N nan W", "in it"), ("1e1 N 28 W", "the letters"),
])
def test_what_could_mean_two_places_or_none_is_refused_in_one_sentence_that_says_what_to_write(text, why):
    with pytest.raises(PositionError) as refused:
        parse(text)
    assert len(refused.value.sentences) == 1
    sentence = refused.value.sentences[0]
    assert why in sentence
    assert sentence.endswith("such as 46 06.000 N, 028 24.000 W")
    assert sentence.isprintable()


def test_the_example_in_every_refusal_is_itself_read():
    assert parse("46 06.000 N, 028 24.000 W") == parse(EXAMPLE)


@given(st.floats(-90, 90), st.floats(-180, 180))
def test_what_is_written_is_read_again_to_half_a_thousandth_of_a_minute(latitude, longitude):
    text = written(Position(latitude, longitude))
    assert re.fullmatch(r"\d\d°[0-5]\d\.\d{3}′[NS] \d{3}°[0-5]\d\.\d{3}′[EW]", text)
    back = parse(text)
    assert back.latitude_deg == pytest.approx(latitude, abs=HALF_A_THOUSANDTH_DEG)
    apart = abs(back.longitude_deg - longitude) % 360
    assert min(apart, 360 - apart) <= HALF_A_THOUSANDTH_DEG
    assert written(back) == text


@given(st.text(max_size=30) | st.text(alphabet="0123456789 .,-+°'\"NSEW", max_size=30))
def test_any_other_text_is_a_place_on_the_globe_or_one_sentence(text):
    try:
        position = parse(text)
    except PositionError as error:
        assert len(error.sentences) == 1
        return
    assert -90 <= position.latitude_deg <= 90
    assert -180 < position.longitude_deg <= 180


@pytest.mark.parametrize(("latitude", "longitude", "text"), [
    (46.1, -28.4, EXAMPLE), (0.0, 0.0, "00°00.000′N 000°00.000′E"), (-0.0, -0.0, "00°00.000′N 000°00.000′E"),
    (-1e-9, -1e-9, "00°00.000′N 000°00.000′E"), (45.9999999, 9.9999999, "46°00.000′N 010°00.000′E"),
    (-90.0, 180.0, "90°00.000′S 180°00.000′E"), (10.0, -180.0, "10°00.000′N 180°00.000′E"),
    (10.0, -179.9999999, "10°00.000′N 180°00.000′E"), (10.0, -179.5, "10°00.000′N 179°30.000′W"),
])
def test_a_position_is_written_as_sailors_write_it(latitude, longitude, text):
    assert written(Position(latitude, longitude)) == text


def test_both_names_of_the_antimeridian_are_one_place():
    assert parse("10 N 180 W") == parse("10 N 180 E") == parse("10.0 -180.0") == Position(10.0, 180.0)


def test_two_places_on_either_side_of_the_antimeridian_are_as_near_as_they_are():
    # Two degrees of the equator: the semi-major axis of WGS 84, 6 378 137 m, times two degrees in radians.
    plane = Plane(parse("0 N 179 E"))
    east_m, north_m = plane.metres(parse("0 N 179 W"))
    assert (east_m, north_m) == (pytest.approx(6_378_137 * 3.141592653589793 / 90, rel=1e-9), pytest.approx(0, abs=1e-6))
    assert written(plane.position(east_m, north_m)) == "00°00.000′N 179°00.000′W"


@pytest.mark.parametrize("position", [Position(90.5, 0), Position(float("nan"), 0), Position(0, 181), Position(0, float("inf"))])
def test_a_place_off_the_globe_is_not_written(position):
    with pytest.raises(PositionError, match=r"allowed is -\d+ to \d+"):
        written(position)


@pytest.mark.parametrize(("decimals", "text"), [
    (1, "46°06.0′N 028°24.0′W"), (2, "46°05.96′N 028°23.99′W"), (3, "46°05.960′N 028°23.990′W")])
def test_a_position_is_written_with_as_many_decimals_as_are_worth_it(decimals, text):
    assert written(Position(46 + 5.96 / 60, -28 - 23.99 / 60), decimals) == text
