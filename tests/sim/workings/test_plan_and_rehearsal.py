"""What the plan works out and what the rehearsal simulates are one: both move the same hull in the same sea."""

import pytest

from seatrial.workings.drift import drift
from seatrial.workings.motion import motion

from ..flying import fly
from .plans_for_tests import sample, with_keys

SHORT_STAY = {"times__timed_release_min": 60.0, "times__latest_release_min": 80.0, "journal__reading_bottom_s": 60.0,
              "dive__watch_after_surfacing_min": 1.0}
DIVES = {
    "sample": with_keys(sample(), **SHORT_STAY),
    "deep": with_keys(sample(), site__depth_m=1000.0, sensors__pressure__range_m=1200.0, thresholds__too_deep_m=1100.0,
                      times__slowest_ascent_min=60.0, **SHORT_STAY),
    "heavy ballast": with_keys(sample(), lander__ballast__mass_kg=20.0, **SHORT_STAY),
}


@pytest.fixture(scope="module", params=DIVES)
def flown(request):
    plan = DIVES[request.param]
    return plan, fly(plan=plan)


def test_the_rehearsed_descent_takes_as_long_as_the_plan_says_within_a_hundredth(flown):
    plan, result = flown
    down_s = result.evidence.touchdown_s - result.evidence.splash_s
    assert motion(plan).descent_likely_s == pytest.approx(down_s, rel=0.01)


def test_the_rehearsed_ascent_takes_as_long_as_the_plan_says_within_a_hundredth(flown):
    plan, result = flown
    up_s = result.evidence.surfaced_s - result.evidence.freed_s
    assert motion(plan).mud_s + motion(plan).ascent_likely_s == pytest.approx(up_s, rel=0.01)


def test_the_rehearsed_lander_surfaces_where_the_plan_says_within_a_hundredth(flown):
    plan, result = flown
    surfacing = drift(plan).surfacing
    assert (surfacing.east_m, surfacing.north_m) == pytest.approx(result.surfaced_at, rel=0.01)
