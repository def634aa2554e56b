"""The depths of a journal are those of the sea it was in.

In the plan's water they are held against the simulated sea; without a plan, against the UNESCO 1983 algorithms of the
library seawater.
"""

import numpy as np
import pytest
import seawater

from seatrial.bodies import open_body
from seatrial.dive import Dive
from seatrial.plan import load_sample
from seatrial.plan.changing import changed
from tumblehome.debrief import log
from tumblehome.debrief.depths import depths

PLAN = changed(load_sample(), {"dive.watch_after_surfacing_min": 20})


@pytest.fixture(scope="module")
def result():
    return Dive(PLAN, [], 3, open_body("cpython", PLAN.mission_record())).run()


@pytest.fixture(scope="module")
def told(result) -> log.Log:
    return log.parse(result.journal, "here")


def test_depths_in_the_plans_water_are_the_true_ones(result, told):
    deep = depths(told, PLAN)
    true_m = np.interp(told.mission_s, result.series.time_s, result.series.depth_m)
    assert np.nanmax(np.abs(deep.metres - np.maximum(true_m, 0.0))) < 1.5  # noise, lag in the fall, swell
    assert abs(deep.deepest_m - result.evidence.deepest_m) < 0.5


def test_depths_without_a_plan_are_those_of_the_unesco_algorithms(told):
    deep = depths(told, latitude_deg=46.1)
    over_dbar = np.maximum(told.records["pressure_mbar"].astype(float) - told.records["surface_mbar"], 0.0) / 100.0
    # TEOS-10's standard ocean has salinity 35.17 g/kg where UNESCO 1983 has 35; they part by less than 0.1 %.
    assert np.allclose(deep.metres, seawater.dpth(over_dbar, 46.1), rtol=1e-3, atol=0.01)
    assert "latitude 46.1" in deep.how


def test_a_reading_at_the_end_of_the_range_and_an_invalid_one_have_no_depth(told):
    full_mbar = PLAN.orders().pressure_full_mbar
    rows = told.records[:3].copy()
    rows["pressure_mbar"] = (full_mbar, 20000, 20000)
    rows["signs"][2] -= 8  # pressure_ok
    deep = depths(log.Log("here", rows, told.slot[:3], told.unread, 3), PLAN)
    assert np.isfinite(deep.metres).tolist() == [False, True, False]


def test_one_spike_is_not_the_deepest(told):
    rows = told.records.copy()
    rows["pressure_mbar"][900] = 55000
    spiked = log.Log("here", rows, told.slot, told.unread, told.slots)
    assert abs(depths(spiked, PLAN).deepest_m - depths(told, PLAN).deepest_m) < 0.5
