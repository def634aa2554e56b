"""What a dive teaches: true numbers come back within the stated uncertainty, go into the next plan, and then the
simulated dive follows the real one.

The truth is a simulated lander whose numbers differ from its plan (`tumblehome.debrief.recover`); limits of counts are
those of the binomial law, from SciPy.
"""

import tomllib
from dataclasses import replace

import numpy as np
import pytest

from seatrial.bodies import core_here
from seatrial.deeds import parse as parse_fault
from seatrial.dive import Dive
from seatrial.evidence import Evidence
from seatrial.plan import draft, load_sample, sample_text
from tumblehome.debrief import learning, log, physics, recover

PLAN = load_sample()
SEED, DIVES = 20, 8
OTHER = {
    "lander.drag_coefficient_down": 0.92, "lander.drag_coefficient_up": 0.55, "power.resistance_mohm": 190.0,
    "power.capacity_ah": 18.5, "heat.camera_to_housing_fan_w_k": 0.45, "heat.housing_to_water_w_k": 14.0,
    "sensors.pressure.offset_mbar": 40.0,
}


def flown(plan, *faults: str, seed: int = 5) -> tuple[bytes, Evidence]:
    body = core_here(PLAN.mission_record())
    result = Dive(plan, [parse_fault(fault) for fault in faults], seed, body, keep_series=False).run()
    return result.journal, result.evidence


@pytest.fixture(scope="module")
def other():
    """A dive of a lander that is another one than planned in most numbers."""
    return flown(recover.with_values(PLAN, OTHER))


@pytest.fixture(scope="module")
def learned(other) -> learning.Learned:
    return learning.learn(log.parse(other[0], "here"), PLAN)


@pytest.fixture(scope="module")
def rows() -> list[recover.Row]:
    return recover.table_of(list(recover.campaign(PLAN, DIVES, SEED)))


@pytest.mark.long
def test_true_numbers_of_drawn_landers_lie_within_the_stated_uncertainty_as_often_as_it_says(rows):
    told = sum(row.told for row in rows)
    one, two = sum(row.within_one for row in rows), sum(row.within_two for row in rows)
    # numbers of one dive hang together, so that the limits are those of a third as many
    assert recover.limits(told // 3, recover.ONE_SIGMA)[0] <= one / 3 <= recover.limits(told // 3, recover.ONE_SIGMA)[1]
    assert two / 3 >= recover.limits(told // 3, recover.TWO_SIGMA)[0]


def test_no_number_of_drawn_landers_is_off_in_all_dives(rows):
    assert [row.key for row in rows if row.told and not row.fits()] == []


def test_drag_pack_and_heat_are_told_by_every_ordinary_dive_and_far_better_than_the_plan_knew(rows):
    pct = {row.key: row.spread_pct for row in rows if row.told == DIVES}
    for key in (physics.DRAG_DOWN, physics.DRAG_UP, physics.RESISTANCE, physics.CAPACITY, physics.TO_WATER,
                physics.STILL, physics.FAN):
        assert pct[key] < 2.0, key


def test_the_weight_of_the_ballast_is_not_told_by_a_dive_and_stays_as_weighed(rows, learned):
    assert {row.told for row in rows if row.key == physics.BALLAST} == {0}
    assert learned.fit(physics.BALLAST).value == PLAN.lander.ballast.mass_kg
    assert any("mass of the ballast was left as planned" in note for note in learned.notes)


@pytest.mark.parametrize("key", sorted(OTHER))
def test_a_number_that_is_far_from_the_plan_is_found(learned, key):
    fit = learned.fit(key)
    assert fit.told and abs(fit.value - OTHER[key]) < 4.0 * fit.sigma


def test_the_model_with_the_fitted_numbers_follows_the_readings_down_to_their_noise(learned):
    for follow in learned.follows:
        noise = {"mbar": 2.7, "mV": 5.8, "degC": 0.037}[follow.unit]
        assert follow.after < 1.25 * noise, follow
    before = {follow.words: follow.before / follow.after for follow in learned.follows}
    assert before["pressure down"] > 20 and before["supply"] > 5 and before["camera"] > 3


def test_a_dive_of_the_next_plan_goes_as_the_real_one_went_and_one_of_the_old_plan_does_not(other, learned):
    _journal, real = other
    next_plan = recover.with_values(PLAN, learned.values())
    told, old = (flown(plan, seed=9)[1] for plan in (next_plan, PLAN))
    for begin, end in (("splash_s", "touchdown_s"), ("left_bottom_s", "surfaced_s")):
        took, now, then = (getattr(one, end) - getattr(one, begin) for one in (real, told, old))
        assert abs(now - took) < 1.0 < 30.0 < abs(then - took)
    assert abs(told.left_at_command_mah - real.left_at_command_mah) < 30.0


def test_the_journal_alone_is_enough_after_resets_and_with_torn_records():
    journal = bytearray(flown(PLAN, "reset@record+20min", "reset@record+2h", "torn-record@record+1h")[0])
    for slot in range(300, 340):
        journal[64 * slot + 20] ^= 0x55
    found = learning.learn(log.parse(bytes(journal), "here"), PLAN)
    for key in (physics.DRAG_DOWN, physics.RESISTANCE, physics.FAN):
        fit = found.fit(key)
        assert fit.told and abs(fit.value - fit.planned) < 4.0 * fit.sigma, fit


def test_what_the_journal_has_no_readings_for_is_named_and_nothing_is_made_up():
    found = learning.learn(log.parse(flown(PLAN, "pressure-gone@splash")[0], "here"), PLAN)
    assert [sentence.partition(":")[0] for sentence in found.missing] == [
        "drag, weights and pressure offset", "drag on the way up"]
    with pytest.raises(KeyError):
        found.fit(physics.DRAG_DOWN)
    assert found.fit(physics.RESISTANCE).told


def test_a_lander_that_never_sank_teaches_nothing_of_its_motion():
    found = learning.learn(log.parse(flown(PLAN, "never-sinks")[0], "here"), PLAN)
    assert not [fit for fit in found.fits if fit.key.startswith("lander.")]


def test_ballast_that_hangs_on_is_not_taken_for_a_heavier_lander_without_a_word():
    found = learning.learn(log.parse(flown(PLAN, "ballast-hangs:part=0.3")[0], "here"), PLAN)
    assert any("times its doubt from the plan" in note for note in found.notes)
    assert not [key for key in found.values() if key.startswith("lander.")] and physics.RESISTANCE in found.values()


# --- back into a plan ------------------------------------------------------------------------------------------------


def test_the_fragment_is_toml_with_the_values_and_their_uncertainty_in_comments(learned):
    text = learning.fragment(learned)
    tables = tomllib.loads(text)
    for key, value in learned.values().items():
        found = tables
        for name in key.split("."):
            found = found[name]
        assert found == value
    assert text.count("# fitted, +-") == len(learned.values())
    assert "# left as planned, this dive does not tell it: lander.ballast.mass_kg" in text


def test_a_merged_plan_has_the_fitted_values_and_else_what_it_had_comments_too(learned):
    text = learning.merged(sample_text(), learned)
    plan, values = draft(text), learned.values()
    assert {key: plan.value(key) for key in values} == values
    for line in sample_text().split("\n"):
        comment = line.partition("#")[2].strip()
        assert comment in text
    back = recover.with_values(plan, {key: PLAN.value(key) for key in values})
    assert back.model_dump() == PLAN.model_dump()


def test_merging_again_changes_the_same_lines_and_adds_none(learned):
    once = learning.merged(sample_text(), learned)
    twice = learning.merged(once, learned)
    assert len(twice.split("\n")) == len(once.split("\n")) and tomllib.loads(twice) == tomllib.loads(once)


def test_what_was_learned_of_a_sound_lander_makes_a_plan_that_still_adds_up():
    found = learning.learn(log.parse(flown(PLAN)[0], "here"), PLAN)
    plan = learning.refitted(PLAN, found)
    assert plan.lander.drag_coefficient_down == found.values()[physics.DRAG_DOWN]


@pytest.mark.parametrize("text", ["power = { resistance_mohm = 140, capacity_ah = 20 }", "power.resistance_mohm = 140"])
def test_a_plan_that_cannot_be_changed_line_by_line_is_refused_with_the_way_out(learned, text):
    with pytest.raises(ValueError, match="put the lines of the fragment in by hand"):
        learning.merged(text, learned)


def test_a_section_of_the_same_name_in_a_list_is_left_alone(learned):
    only = replace(learned, fits=tuple(fit for fit in learned.fits if fit.key == physics.MASS))
    only = replace(only, fits=tuple(replace(fit, told=True, value=30.0, sigma=0.1) for fit in only.fits))
    text = "[[lander.parts]]\nmass_kg = 1.0\n[[lander.parts]]\nmass_kg = 2.0\n"
    tables = tomllib.loads(learning.merged(text, only))
    assert tables["lander"] == {"parts": [{"mass_kg": 1.0}, {"mass_kg": 2.0}], "mass_kg": 30.0}


def test_an_offset_that_the_plan_knows_is_in_the_readings_of_the_simulated_sensor():
    with_offset = recover.with_values(PLAN, {physics.OFFSET: 30.0})
    readings = []
    for plan in (PLAN, with_offset):
        told = log.parse(flown(plan)[0], "here")
        readings.append(np.median(told.records["pressure_mbar"][told.records["state"] == 3]))
    assert readings[1] - readings[0] == pytest.approx(30.0, abs=4.0)


# --- the command -----------------------------------------------------------------------------------------------------


def test_the_recovery_command_prints_a_row_for_every_number(capsys):
    recover.main(["--dives", "1"])
    out = capsys.readouterr().out
    assert all(key in out for key in physics.sought(PLAN)) and "of 1" not in out


def test_the_same_seed_draws_the_same_lander():
    one, other = (recover.true_plan(PLAN, np.random.default_rng((3, 4))) for _ in range(2))
    assert one == other != recover.true_plan(PLAN, np.random.default_rng((3, 5)))
