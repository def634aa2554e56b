"""The light over a dive: no gap in it, and a move that is told really leads into the light that was wished for."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seatrial.workings.daylight import LIGHTS_OF, bands, changes_around, is_wanted, light_at, moves_min

from .plans_for_tests import with_keys

MINUTE, HOUR = timedelta(minutes=1), timedelta(hours=1)
NOON = datetime(2027, 5, 18, 13, 50, tzinfo=UTC)  # about, at the site of the sample
MIDNIGHT = NOON + 12 * HOUR


def site(latitude_deg=46.1, longitude_deg=-28.4, wish="daylight"):
    return with_keys(site__latitude_deg=latitude_deg, site__longitude_deg=longitude_deg, dive__surface_in=wish)


def test_the_bands_follow_each_other_without_a_gap_and_each_has_another_light():
    found = bands(site(), NOON, NOON + 48 * HOUR)
    assert found[0].begin == NOON
    assert found[-1].end == NOON + 48 * HOUR
    for before, after in zip(found, found[1:], strict=False):
        assert before.end == after.begin
        assert before.light != after.light
    for band in found:
        assert light_at(site(), band.begin + (band.end - band.begin) / 2) == band.light


@pytest.mark.parametrize(("wish", "by_day", "by_night"), [
    ("daylight", True, False), ("darkness", False, True), ("any", True, True)])
def test_the_wish_is_met_by_day_or_by_night(wish, by_day, by_night):
    assert is_wanted(site(wish=wish), NOON) is by_day
    assert is_wanted(site(wish=wish), MIDNIGHT) is by_night


def test_civil_twilight_is_neither_daylight_nor_darkness():
    dusk = next(band for band in bands(site(), NOON, MIDNIGHT) if band.light == "civil twilight")
    for wish in ("daylight", "darkness"):
        assert not is_wanted(site(wish=wish), dusk.begin + MINUTE)
        assert "civil twilight" not in LIGHTS_OF[wish]


@given(
    hours=st.floats(0, 24), width_min=st.integers(0, 90), latitude=st.floats(-60, 60), longitude=st.floats(-180, 180),
    wish=st.sampled_from(["daylight", "darkness"]),
)
@settings(max_examples=40)
def test_a_move_leads_into_the_light_and_one_minute_less_does_not(hours, width_min, latitude, longitude, wish):
    plan = site(latitude, longitude, wish)
    first = (NOON + hours * HOUR).replace(microsecond=0)
    last = first + width_min * MINUTE
    fits_now = is_wanted(plan, first) and is_wanted(plan, last)
    for move_min in moves_min(plan, first, last):
        if move_min is None:
            continue
        nearer = move_min - (1 if move_min > 0 else -1)
        assert is_wanted(plan, first + move_min * MINUTE) and is_wanted(plan, last + move_min * MINUTE)
        if not fits_now:
            assert not (is_wanted(plan, first + nearer * MINUTE) and is_wanted(plan, last + nearer * MINUTE))


def test_where_the_sun_stays_down_no_move_helps():
    winter = datetime(2027, 12, 20, 12, 0, tzinfo=UTC)
    assert moves_min(site(78.0, 15.0), winter, winter) == (None, None)
    assert changes_around(site(78.0, 15.0), winter) == (None, None)


def test_the_changes_around_a_moment_are_those_of_the_wish():
    before, after = changes_around(site(), MIDNIGHT)
    assert (before.name, after.name) == ("sunset", "sunrise")
    assert before.moment < MIDNIGHT < after.moment
    before, after = changes_around(site(wish="darkness"), NOON)
    assert (before.name, after.name) == ("civil dawn", "civil dusk")
