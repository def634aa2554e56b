"""Angles as charts have them: words for whoever reads, degrees for whoever reckons."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from seatrial.workings.chart_angles import Latitude, Longitude, position_words


@pytest.mark.parametrize(("latitude", "longitude", "words"), [
    (46.1, -28.4, "46°06.00′N 028°24.00′W"),
    (-0.5, 179.99999, "00°30.00′S 180°00.00′E"),
    (59.999999, 0.0, "60°00.00′N 000°00.00′E"),
])
def test_positions_are_degrees_and_minutes_as_on_a_chart(latitude, longitude, words):
    assert position_words(latitude, longitude) == words


@given(st.floats(-90, 90), st.floats(-180, 180))
def test_a_position_in_words_is_within_twenty_metres_of_the_position(latitude, longitude):
    parts = position_words(latitude, longitude).replace("°", " ").replace("′", " ").split()
    back = [(float(parts[at]) + float(parts[at + 1]) / 60) * (-1 if parts[at + 2] in "SW" else 1) for at in (0, 3)]
    assert back == pytest.approx([latitude, longitude], abs=0.006 / 60)


def test_the_meridian_opposite_to_greenwich_has_one_name():
    assert {Longitude(angle).words() for angle in (180.0, -180.0, -179.99999)} == {"180°00.00′E"}


def test_an_angle_is_told_to_the_decimals_asked_for():
    assert [Latitude(-12.34567).words(decimals) for decimals in (1, 3)] == ["12°20.7′S", "12°20.740′S"]


def test_an_angle_is_still_the_number_of_its_degrees():
    assert json.dumps([Latitude(46.1), Longitude(-28.4)]) == "[46.1, -28.4]"
    assert Latitude(46.1) + 0.9 == 47.0
