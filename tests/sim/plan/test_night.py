"""The night of the beacon lamp, as the plan orders it."""

from datetime import UTC, datetime, timedelta

import pytest

from seatrial.handbook.sun import sun_elevation_deg
from seatrial.plan import load_sample
from seatrial.plan.night import ALWAYS, DAY_MIN, HARDLY, night_min

SAMPLE = load_sample()


def at(latitude_deg: float, longitude_deg: float, splash: datetime):
    return SAMPLE.model_copy(update={
        "site": SAMPLE.site.model_copy(update={"latitude_deg": latitude_deg, "longitude_deg": longitude_deg}),
        "dive": SAMPLE.dive.model_copy(update={"splash_utc": splash})})


def is_night(minute: int, night: tuple[int, int]) -> bool:
    return (minute - night[0]) % DAY_MIN < (night[1] - night[0]) % DAY_MIN


@pytest.mark.parametrize("place", [
    (46.1, -28.4, datetime(2027, 5, 18, 6, 30, tzinfo=UTC)),
    (-33.0, 151.0, datetime(2027, 1, 3, 22, 0, tzinfo=UTC)),
    (5.0, 179.5, datetime(2027, 3, 20, tzinfo=UTC)),
    (58.0, 3.0, datetime(2027, 12, 30, 12, 0, tzinfo=UTC)),
])
def test_the_lamp_has_its_full_rhythm_whenever_the_sun_is_down_and_no_longer_than_it_must(place):
    latitude_deg, longitude_deg, splash = place
    night = night_min(at(*place))
    wasted = 0
    for minutes in range(0, 70 * 60, 7):
        moment = splash + timedelta(minutes=minutes)
        is_down = sun_elevation_deg(latitude_deg, longitude_deg, moment) < -0.8333
        lit = is_night(60 * moment.hour + moment.minute, night)
        assert lit or not is_down, moment
        wasted += lit and not is_down
    assert wasted * 7 < 3 * 45, "a quarter of an hour on both sides of three nights, and their difference"


def test_the_night_of_the_almanac_lies_within_the_ordered_one_by_a_quarter_of_an_hour():
    # Skyfield's almanac for the Naval Observatory's definition: 40.8939 N 83.8917 W, 2018-09-12, sunrise 11:13:12Z,
    # sunset 23:49:38Z.
    from_min, until_min = night_min(at(40.8939, -83.8917, datetime(2018, 9, 12, 1, 0, tzinfo=UTC)))
    assert 23 * 60 + 49 - 15 - 6 <= from_min <= 23 * 60 + 49 - 15
    assert 11 * 60 + 13 + 15 <= until_min <= 11 * 60 + 13 + 16 + 5


def test_a_dive_that_is_over_within_a_day_has_the_night_of_that_day():
    plan = at(46.1, -28.4, datetime(2027, 5, 18, 6, 30, tzinfo=UTC))
    short = plan.model_copy(update={"beacon": plan.beacon.model_copy(update={"hours": 10.0})})
    (from_min, until_min), (long_from_min, long_until_min) = night_min(short), night_min(plan)
    assert long_from_min <= from_min <= long_from_min + 5 and long_until_min - 5 <= until_min <= long_until_min


@pytest.mark.parametrize(("latitude_deg", "night"), [(67.0, ALWAYS), (69.0, ALWAYS), (75.0, HARDLY), (-75.0, ALWAYS)])
def test_where_the_sun_does_not_rise_or_set_the_lamp_has_its_full_rhythm_but_under_a_high_midnight_sun(
        latitude_deg, night):
    # The sun of midsummer midnight stands latitude + 23.44 - 90 degrees high: 0.4, 2.4 and 8.4; at 75 south it is down.
    assert night_min(at(latitude_deg, 10.0, datetime(2027, 6, 21, tzinfo=UTC))) == night


def test_a_midnight_sun_that_sinks_within_the_beacon_hours_does_not_darken_the_lamp():
    late = at(75.0, 10.0, datetime(2027, 7, 25, tzinfo=UTC))
    assert night_min(late) == HARDLY
    assert night_min(late.model_copy(update={"beacon": late.beacon.model_copy(update={"hours": 500.0})})) == ALWAYS


def test_the_orders_carry_the_night_and_the_current_of_the_beacon():
    orders = SAMPLE.orders()
    assert (orders.night_from_min, orders.night_until_min) == night_min(SAMPLE)
    drawn_ma = SAMPLE.power.controller_ma + SAMPLE.beacon.lamp_ma + SAMPLE.beacon.report_ma
    assert drawn_ma <= orders.beacon_ma < drawn_ma + 1
