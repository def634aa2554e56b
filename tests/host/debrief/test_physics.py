"""The plan's own physics run beside a dive: where the lander truly has the plan's numbers, nothing but noise is left,
whatever happened to it. The truth is the simulator's own account of the same dive.
"""

from dataclasses import replace

import numpy as np
import pytest

from lander import journal, table
from seatrial.bodies import core_here
from seatrial.dice import Dice
from seatrial.dive import Dive
from seatrial.faults import parse
from seatrial.plan import load_sample
from seatrial.plan.changing import changed
from seatrial.sensors import SupplySensor
from tumblehome.debrief import log, physics

PLAN = load_sample()
SENSOR = PLAN.sensors.temperature
NOISE_C = physics.noise_of(SENSOR.noise_centi_c, SENSOR.resolution_centi_c) / 100.0


def flown(*faults: str) -> tuple[Dive, log.Log]:
    body = core_here(PLAN.mission_record())
    dive = Dive(PLAN, [parse(fault) for fault in faults], 5, body, keep_series=False)
    return dive, log.parse(dive.run().journal, "here").dives()[-1]


def part(told: log.Log, words: str) -> physics.Part:
    return next(one for one in physics.parts_of(told, PLAN) if one.words == words)


def camera_off_c(one: physics.Part) -> np.ndarray:
    """How far the camera's temperature is from the model with the plan's numbers, once it has forgotten its start."""
    values = {unknown.key: unknown.planned for unknown in one.unknowns}
    return one.residuals(values)["camera"][one.time_s["camera"] > one.time_s["camera"][0] + 600.0]


@pytest.fixture(scope="module")
def hauled() -> log.Log:
    return flown("hauled-back@record+1h")[1]


def test_a_way_up_on_a_line_tells_nothing_of_drag_and_weight(hauled):
    motion = part(hauled, "motion")
    assert physics.hauled(hauled) and list(motion.read) == ["pressure down", "pressure on deck"]
    assert physics.DRAG_UP not in [one.key for one in motion.unknowns]


def test_heat_is_looked_at_in_the_water_and_no_longer_on_deck(hauled):
    warmth = part(hauled, "heat")
    wet = (hauled.records["flags"] & journal.WET_CONTACT) > 0
    assert warmth.time_s["camera"][-1] <= hauled.true_s[wet][-1] < hauled.true_s[-1] - 3600.0
    assert camera_off_c(warmth).std() < 1.3 * NOISE_C


@pytest.mark.parametrize(("fault", "most_c"), [
    ("card-full@record+1h", 1.3 * NOISE_C),
    ("power-gone:for_s=1800@record+1h", 0.15)])  # when in the ten seconds between two readings is not known
def test_a_camera_that_records_no_more_is_as_cool_as_the_plan_says(fault, most_c):
    assert camera_off_c(part(flown(fault)[1], "heat")).std() < most_c


def test_a_camera_whose_card_fills_recorded_until_half_way_between_two_looks_at_it():
    short = {"camera.card_h": 0.4, "times.timed_release_min": 70.0, "times.latest_release_min": 100.0}
    plan = changed(PLAN, short)
    dive = Dive(plan, (), 5, core_here(plan.mission_record()), keep_series=False)
    told = physics.last_of_each_moment(log.parse(dive.run().journal, "here"))
    made_w, more_w = physics._camera_w(told, plan)
    spans_s, less_w = np.diff(told.true_s), plan.heat.camera_recording_w - plan.heat.camera_idle_w
    recorded_s = float((np.maximum(0.0, made_w[:-1] - plan.heat.camera_idle_w) / less_w * spans_s).sum())
    assert dive.world.camera.recorded_s == pytest.approx(0.4 * 3600.0)
    # a press of 0.3 s, one at each end, is counted as far as its records tell it
    assert abs(recorded_s - 0.4 * 3600.0) < plan.journal.reading_bottom_s / 2.0 + 0.5
    assert (more_w[:-1] * spans_s).sum() == pytest.approx(less_w)  # a second later, a second's heat more
    warmth = physics.warmth_of(told, plan)
    stopped = next(one for one in warmth.unknowns if one.key == physics.STOPPED)
    assert stopped.doubt == pytest.approx(plan.journal.reading_bottom_s / 12.0 ** 0.5, rel=0.01)


def test_a_camera_that_is_stopped_as_planned_did_not_stop_by_itself(hauled):
    assert physics.STOPPED not in [one.key for one in part(hauled, "heat").unknowns]


def test_the_mean_of_a_current_is_doubted_by_what_whole_milliamperes_and_the_steps_of_the_sensor_make_of_it(hauled):
    sensor, dice = PLAN.sensors.supply, Dice(3)
    supply, chance = SupplySensor(sensor, dice.fork("supply")), np.random.default_rng(3)
    off_ma = [np.mean([supply.current_ma(true_ma) + 0.5 * sensor.resolution_ma for _ in range(300)]) - true_ma
              for true_ma in chance.uniform(1000.0, 1500.0, 60)]
    doubt_ma = next(one for one in part(hauled, "main pack").unknowns if one.key == physics.CURRENT_LEAN).doubt
    assert doubt_ma == pytest.approx(float(np.std(off_ma)), rel=0.3)


def test_a_days_readings_every_ten_seconds_are_all_looked_at(hauled):
    standing = hauled.records[hauled.is_reading & (hauled.records["state"] == table.RECORD)][:1]
    day = replace(hauled, records=np.repeat(standing, 8640), slot=np.arange(8640))
    assert len(physics.thinned(day)[0].records) == 8640


def test_what_comes_up_by_itself_and_is_taken_up_later_was_not_on_a_line():
    told = flown("hauled-back@afloat+5min")[1]
    assert (told.records["code"][told.records["kind"] == journal.EVENT] == journal.E_STOPPED).any()
    assert not physics.hauled(told) and physics.DRAG_UP in [one.key for one in part(told, "motion").unknowns]


@pytest.mark.parametrize(("fault", "starts"), [("attempt-resets@record", 20), ("power-gone:for_s=1800@record+1h", 2)])
def test_the_charge_drawn_is_counted_over_resets_and_while_the_power_is_gone(fault, starts):
    dive, told = flown(fault)
    drawn_ah = physics.drawn_ah(physics.last_of_each_moment(told), PLAN)[-1]
    assert told.records["boot"].max() >= starts
    # a converter of whole 5 mA leans by up to one: over the ten hours of this dive that many milliampere-hours
    assert abs(1000.0 * (drawn_ah - dive.world.battery.used_ah)) < 8.0


def test_a_thermometer_is_believed_to_be_late_by_its_lag():
    time_s = np.arange(0.0, 600.0, 2.0)
    true_c = 10.0 + 10.0 * np.exp(-time_s / 260.0)  # cooled by water as the sample's housing is
    read_c = true_c.copy()
    for at in range(1, len(time_s)):
        read_c[at] = true_c[at] + (read_c[at - 1] - true_c[at]) * np.exp(-2.0 / SENSOR.lag_s)
    centi_c = 100.0 * read_c - 0.5 * SENSOR.resolution_centi_c
    off_c = np.abs(physics.felt_late(PLAN, time_s, centi_c) - true_c)[60:-20]
    assert off_c.max() < 0.1 < np.abs(read_c - true_c)[60:-20].max()
