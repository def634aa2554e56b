"""What a lander afloat tells of its own end, held against the end: dives are flown until the pack is empty.

The controller of these dives never sleeps, as on a board whose receiver is on: what it counts is then what it draws.
"""

import pytest

from lander import report
from seatrial.bodies import CPythonBody
from seatrial.dive import Dive
from seatrial.faults import parse
from seatrial.plan import load_sample
from seatrial.plan.changing import changed

PLANNED_H = 24.0
PLAN = changed(load_sample(), {
    "times.timed_release_min": 70.0, "times.latest_release_min": 100.0, "dive.watch_after_surfacing_min": 90 * 60.0,
    "beacon.hours": PLANNED_H, "power.capacity_ah": 9.0, "power.controller_asleep_ma": 38.0, "thresholds.reserve_mv": 15000.0,
})


class Calling(CPythonBody):
    """The core, and beside it who calls for it: hours afloat, and what was told then."""

    def boot(self, store, inputs) -> int:
        self.caller, self.told = None, []
        return super().boot(store, inputs)

    def attach(self, world, _plan) -> None:
        self.world = world

    def step(self, inputs, outputs) -> None:
        super().step(inputs, outputs)
        mission = self.mission
        if not outputs.report:
            return
        self.caller = self.caller or report.Caller(mission, 7)
        self.caller.hear(mission.mission_ds, 4610000, -2840000)
        if self.caller.is_due(mission.mission_ds, 0):
            values = self.caller.say(mission, inputs, 0, 1, 1)
            self.told.append({**dict(zip(report.NAMES, values, strict=True)), "at_s": self.world.now_s})
            self.caller.sent(mission, values)


def flown(*faults: str) -> tuple[float, list[tuple[float, dict]]]:
    """Hours from the surface to the end of the power, and what was told at which of them."""
    body = Calling(PLAN.mission_record())
    result = Dive(PLAN, [parse(one) for one in faults], seed=1, body=body, keep_series=False).run()
    up_s = result.evidence.surfaced_s
    end_s = next(span.to_s for span in result.evidence.powered if span.to_s is not None and span.to_s > up_s)
    return (end_s - up_s) / 3600, [((said["at_s"] - up_s) / 3600, said) for said in body.told]


@pytest.mark.parametrize("fault", [(), ("current-unread",)], ids=["sound", "current unread"])
def test_a_sound_pack_outlasts_the_moment_that_is_told_and_not_by_more_than_a_day_and_a_half(fault):
    end_h, told = flown(*fault)
    assert end_h > PLANNED_H
    off_h = [at_h + said["silent_h"] - end_h for at_h, said in told if at_h <= PLANNED_H]
    assert min(off_h) > -36 and max(off_h) <= 1
    last_h, last = told[-1]
    assert last["silent_h"] == 0 and end_h - last_h < 1.1, "it called to the end"


def test_a_pack_that_holds_half_is_found_out_by_its_voltage_and_lasts_the_planned_hours():
    end_h, told = flown("old-battery:left=0.5@surface")
    assert end_h > PLANNED_H
    late_h = [at_h + said["silent_h"] - end_h for at_h, said in told if said["supply_mv"] < PLAN.thresholds.reserve_mv - 100]
    assert len(late_h) > 100 and max(late_h) < 6, "the count alone would promise a day more"
    assert late_h[-1] < 0
