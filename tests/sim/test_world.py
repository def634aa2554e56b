"""What the world remembers from step to step is what it would work out anew."""

import pytest

from seatrial.dive import Dive
from seatrial.faults import parse
from seatrial.plan.changing import changed
from seatrial.world import DRAUGHT_M, lamps_in_housing_w

from .flying import SHORT

PROBE_S = 7.3


@pytest.mark.parametrize("faults", [(), ("ballast-hangs",), ("hauled-back@record+5min",), ("jammed:channel=primary",)],
                         ids=["as planned", "ballast hangs on", "hauled back", "primary jammed"])
def test_what_is_kept_between_steps_is_never_stale(faults):
    dive = Dive(SHORT, [parse(text) for text in faults])
    world, hull, seen = dive.world, dive.world.hull, set()

    def probe() -> None:
        dive.at(world.now_s + PROBE_S, probe)
        outside_c = world.water.temperature_at(hull.depth_m) if hull.in_water else SHORT.site.air_temperature_c
        assert world.outside_c() == outside_c
        if hull.in_water and hull.depth_m > 0.0:
            assert world.pressure_mbar() == world.water.pressure_mbar_at(hull.depth_m + DRAUGHT_M)
        if world.levels[5]:
            assert world._lamps_heat_w(world.levels[5]) == lamps_in_housing_w(SHORT, world.levels[5])
        if hull.on_bottom:
            assert hull._pull_n == -hull.net_force_n(hull.depth_m) or hull._rests_at_m != hull.depth_m
        seen.add((hull.in_water, hull.on_bottom))
    dive.at(0.0, probe)
    dive.run()
    assert {(False, False), (True, False), (True, True)} <= seen


def test_a_hull_that_is_set_down_elsewhere_with_other_ballast_pulls_at_the_mud_anew():
    hull = Dive(SHORT).world.hull
    hull.in_water = True
    for depth_m, ballast in ((430.0, 1.0), (430.0, 0.0), (200.0, 0.0), (200.0, 1.0)):
        hull.on_bottom, hull.depth_m, hull.ballast_left, hull.held_s = True, depth_m, ballast, 0.0
        hull.advance(SHORT.site.mud_hold_s + 1.0)
        assert hull.on_bottom == (-hull.net_force_n(depth_m) <= SHORT.site.mud_suction_n)


def test_a_lander_without_a_corroding_link_dives_also_where_the_plan_gives_the_link_no_range():
    bare = changed(SHORT, {"release.passive": {"fitted": False}})
    flown = Dive(bare, [parse("link-late")], keep_series=False)
    assert flown.run().evidence.surfaced_s is not None
    assert not flown.world.link.open
