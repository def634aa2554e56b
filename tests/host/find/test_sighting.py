"""How far the lander is seen and heard: each limit bites where it should, and nothing is promised that is not there."""

from datetime import UTC, datetime, timedelta
from inspect import signature
from math import pi

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from drivers.sx127x import Sx127x
from seatrial.handbook import sun
from seatrial.plan import draft_sample
from tumblehome.find.mistakes import SearchError
from tumblehome.find.sighting import (
    NOTICED,
    Link,
    Searcher,
    Sighting,
    by_eye,
    by_lamp,
    day_sweep_nm,
    radio_range,
    searcher_of,
    sensitivity_dbm,
    shown_share,
    sighting_in,
    spans,
    sweep_width_m,
)

NM = 1852.0
SAMPLE = draft_sample()


def plan_with(**changes):
    """The sample with keys of [site], [site.wind] or [beacon] changed, unjudged."""
    plan = SAMPLE
    for name, value in changes.items():
        part = next(part for part in (plan.site, plan.beacon) if hasattr(part, name))
        changed = part.model_copy(update={name: value})
        plan = plan.model_copy(update={"site" if part is plan.site else "beacon": changed})
    return plan


BOAT = Searcher(6.0, 2.5, 4.0)


@pytest.mark.parametrize("sighting", [Sighting("lamp", 900.0, "", 0.002, 0.0, 3.0), Sighting("eye", 9000.0, "", 0.0, 3e4, 3.0),
                                      Sighting("eye", 700.0, "", 0.001, 1e4, 5.0), Sighting("lamp", 900.0, "", 5.0, 0.0, 3.0)])
def test_the_sweep_width_is_twice_the_area_under_the_lateral_curve(sighting):
    # SciPy's adaptive quadrature
    area, _error = quad(lambda abeam: float(sighting.lateral(np.array(abeam))), 0, sighting.range_m, limit=400)
    assert sweep_width_m(sighting) == pytest.approx(2 * area, rel=1e-4)


def test_a_lamp_that_nobody_overlooks_sweeps_twice_its_range():
    assert sweep_width_m(Sighting("lamp", 900.0, "", 50.0, 0.0, 3.0)) == pytest.approx(1800.0, rel=1e-4)


def test_by_day_the_sweep_width_is_the_manuals_but_for_what_lies_beyond_the_horizon():
    seen = by_eye(SAMPLE, BOAT)
    site = SAMPLE.site
    asked_m = NM * day_sweep_nm(site.visibility_nm, site.wind.speed_m_s, site.swell_height_m)
    assert seen.sweep_m <= asked_m
    assert seen.sweep_m == pytest.approx(asked_m, rel=0.02)
    assert by_eye(SAMPLE, Searcher(12.0, 2.5, 4.0)).sweep_m == pytest.approx(seen.sweep_m, rel=1e-9)


def test_by_night_the_sweep_width_is_less_than_twice_the_range_and_falls_with_speed():
    slow, fast = (by_lamp(SAMPLE, Searcher(speed, 2.5, 4.0)) for speed in (4.0, 20.0))
    assert slow.range_m == fast.range_m
    assert fast.sweep_m < slow.sweep_m < 2 * slow.range_m


def test_the_range_says_what_limits_it():
    assert by_lamp(plan_with(lamp_cd=0.5), BOAT).limited_by == "the light of the lamp"
    assert by_lamp(plan_with(lamp_cd=5000.0), BOAT).limited_by == "the horizon"
    assert by_eye(plan_with(visibility_nm=0.5), BOAT).limited_by == "the visibility"
    assert by_eye(plan_with(visibility_nm=20.0), BOAT).limited_by == "the horizon"


def test_the_radio_is_reckoned_with_the_settings_that_the_driver_has_by_itself():
    own = {name: one.default for name, one in signature(Sx127x.__init__).parameters.items()}
    link = Link()
    assert (link.power_dbm, link.spreading_factor, link.bandwidth_hz) == (
        own["power_dbm"], own["spreading_factor"], own["bandwidth_hz"])


def test_a_lamp_of_unknown_intensity_promises_nothing():
    nothing = by_lamp(plan_with(lamp_cd=None), BOAT)
    assert (nothing.by, nothing.range_m, nothing.sweep_m) == ("nothing", 0.0, 0.0)
    assert "beacon.lamp_cd" in nothing.limited_by


def test_the_brighter_the_sky_the_nearer_a_lamp_is_seen():
    ranges = [sighting_in(light, SAMPLE, BOAT).range_m for light in (sun.CIVIL_TWILIGHT, sun.NAUTICAL_TWILIGHT, sun.NIGHT)]
    assert 0 < ranges[0] < ranges[1] < ranges[2]
    assert sighting_in(sun.DAYLIGHT, SAMPLE, BOAT).by == "eye"


def test_more_lookouts_overlook_less_but_see_no_farther():
    one, four = by_lamp(SAMPLE, BOAT), by_lamp(SAMPLE, Searcher(6.0, 2.5, 4.0, 4))
    assert four.range_m == one.range_m
    assert four.steady_per_s / one.steady_per_s == pytest.approx((1 - (1 - NOTICED) ** 4) / NOTICED, rel=1e-12)


@given(st.floats(0.05, 5), st.floats(0, 12))
def test_a_swell_hides_a_lamp_for_the_share_of_a_sine_that_lies_too_low(height, swell):
    # counted along one period of the sine itself
    phase = 2 * pi * (np.arange(20_000) + 0.5) / 20_000
    over_crests = height + 0.5 * swell * (np.cos(phase) - 1)
    assert shown_share(height, swell) == pytest.approx(np.mean(over_crests >= 0.5 * height), abs=2e-4)


@given(st.floats(0, 3), st.floats(0.1, 3))
def test_a_higher_swell_never_lets_a_lamp_be_seen_farther_or_more_often(swell, more):
    low, high = (by_lamp(plan_with(swell_height_m=height), BOAT) for height in (swell, swell + more))
    assert high.range_m <= low.range_m + 1e-6
    assert high.steady_per_s <= low.steady_per_s + 1e-12
    assert by_eye(plan_with(swell_height_m=swell + more), BOAT).sweep_m <= by_eye(plan_with(swell_height_m=swell), BOAT).sweep_m + 1e-6


def test_the_lights_of_a_night_follow_each_other_without_a_gap():
    begin = datetime(2027, 5, 18, 13, 0, tzinfo=UTC)
    found = spans(SAMPLE, BOAT, begin, begin + timedelta(hours=24))
    assert [span.light for span in found] == [sun.DAYLIGHT, sun.CIVIL_TWILIGHT, sun.NAUTICAL_TWILIGHT, sun.NIGHT,
                                              sun.NAUTICAL_TWILIGHT, sun.CIVIL_TWILIGHT, sun.DAYLIGHT]
    assert (found[0].begin, found[-1].end) == (begin, begin + timedelta(hours=24))
    assert all(one.end == other.begin for one, other in zip(found, found[1:], strict=False))
    assert [span.sighting.by for span in found] == ["eye", *["lamp"] * 5, "eye"]


def test_the_radio_is_limited_by_power_or_by_the_horizon():
    weak, strong = (radio_range(BOAT, 0.5, Link(power_dbm=power)) for power in (0.0, 60.0))
    assert weak.limited_by == "power" and strong.limited_by == "horizon"
    assert weak.range_nm < strong.range_nm
    # ITU-R P.453: 4.12 km a root metre, both antennas
    assert strong.range_nm == pytest.approx(4.12 * (0.5**0.5 + 4.0**0.5) / 1.852, rel=1e-9)


def test_a_slower_lora_frame_is_heard_farther():
    ranges = [radio_range(BOAT, 0.5, Link(spreading_factor=factor)).range_nm for factor in range(7, 13)]
    assert ranges == sorted(ranges)
    assert ranges[0] < ranges[-1]


def test_the_searcher_is_the_one_that_the_plan_counts_on():
    beacon = SAMPLE.beacon
    assert searcher_of(SAMPLE, 6.0) == Searcher(6.0, beacon.eye_height_m, beacon.antenna_height_m)
    assert searcher_of(SAMPLE, 6.0, eye_height_m=9.0).eye_height_m == 9.0
    assert searcher_of(SAMPLE, 6.0).speed_m_s == pytest.approx(6.0 * 1852 / 3600)


@pytest.mark.parametrize(("numbers", "what"), [((0.0, 2, 2), "speed"), ((float("nan"), 2, 2), "speed"), ((6, 0.0, 2), "eye"),
                                               ((6, 2, 99), "antenna"), ((6, 2, 2, 0), "lookouts")])
def test_a_searcher_that_cannot_be_is_refused_in_one_sentence(numbers, what):
    with pytest.raises(SearchError) as refused:
        Searcher(*numbers)
    assert len(refused.value.sentences) == 1
    assert what in refused.value.sentences[0] and "allowed is" in refused.value.sentences[0]


@pytest.mark.parametrize("wrong", [lambda: sensitivity_dbm(13, 125e3), lambda: sensitivity_dbm(9, 0.0), lambda: sensitivity_dbm(9, 125e3, float("nan")),
                                   lambda: day_sweep_nm(0.0, 1, 1), lambda: radio_range(BOAT, 0.0, Link())])
def test_numbers_that_no_formula_takes_are_refused(wrong):
    with pytest.raises(ValueError, match="allowed"):
        wrong()
