"""The benchmark runs, tells what it says it tells, and compares like with like. No time is asserted.

The plain dive is the sea of the sample integrated by SciPy's `solve_ivp` (LSODA, from ODEPACK) at a tight tolerance, on
right-hand sides of its own: what it says of the way down, of the way up and of the heat holds the engine to an outside
reference.
"""

import re

import pytest

from seatrial import bench
from seatrial.compiled import is_built
from seatrial.dive import Dive
from seatrial.plain_dive import CAMERA_C, HOUSING_C, USED_AH, PlainDive
from seatrial.water import WaterColumn

from .flying import SAMPLE, SHORT, changed

WATER = WaterColumn(SAMPLE.site)
ALONE = bench.without_second(SHORT)


@pytest.fixture(scope="module")
def ours():
    dive = Dive(ALONE, water=WATER, keep_series=False)
    return dive, dive.run().evidence


@pytest.fixture(scope="module")
def plain():
    dive = PlainDive(ALONE, water=WATER, rtol=1e-9)
    dive.run()
    return dive


# --- the plain dive ------------------------------------------------------------------------------------------------


def test_the_engine_sinks_and_rises_as_scipy_says_to_a_hundredth_of_a_second(ours, plain):
    assert bench.error_s(ours[1], plain.result) < 0.01


def test_both_are_released_by_their_clocks_and_let_go_after_the_same_time_of_current(ours, plain):
    evidence, result = ours[1], plain.result
    assert result.states == ["armed", "descend", "record", "release", "ascend", "surface"]
    assert result.command_s == pytest.approx(evidence.command_s, abs=2.0 * SHORT.journal.reading_bottom_s)
    driven_s = evidence.freed_s - evidence.attempts[0].from_s
    assert result.freed_s - result.command_s == pytest.approx(driven_s, abs=SHORT.journal.reading_bottom_s)
    assert result.left_bottom_s - result.freed_s == pytest.approx(evidence.left_bottom_s - evidence.freed_s)


def test_both_end_as_warm_and_with_as_much_drawn(ours, plain):
    """Camera and lamps are worked a little differently by the two controllers, and ours arms with a self-test."""
    world = ours[0].world
    assert plain.state[CAMERA_C] == pytest.approx(world.heat.camera_c, abs=0.5)
    assert plain.state[HOUSING_C] == pytest.approx(world.heat.housing_c, abs=0.5)
    assert plain.state[USED_AH] == pytest.approx(world.battery.used_ah, rel=0.05)


def test_legs_and_steps_tell_the_same(plain):
    stepped = PlainDive(ALONE, water=WATER, rtol=1e-9, leg_s=None)
    stepped.run()
    assert bench.error_s(stepped.result, plain.result) < 1e-3
    assert stepped.result.states == plain.result.states
    assert stepped.result.steps == pytest.approx(plain.result.steps, abs=3)
    assert stepped.result.integrations > 10 * plain.result.integrations


def test_a_plain_dive_is_let_go_by_its_backup_when_the_wire_is_too_thick():
    thick = SHORT.release.primary.model_copy(update={"wire_diameter_mm": 9.0})
    result = PlainDive(changed(ALONE, release={"primary": thick}), water=WATER).run()
    assert result.states[3:] == ["release", "backup", "ascend", "surface"]
    assert result.surfaced_s > result.freed_s > result.command_s


def test_a_tolerance_is_matched_to_the_error_that_is_allowed(plain):
    loose = bench.matched_rtol(ALONE, WATER, 1.0, plain.result)
    tight = bench.matched_rtol(ALONE, WATER, 1e-5, plain.result)
    assert tight < loose
    for rtol, allowed_s in ((loose, 1.0), (tight, 1e-5)):
        assert bench.error_s(PlainDive(ALONE, 1, WATER, rtol).run(), plain.result) <= allowed_s


# --- how it measures -----------------------------------------------------------------------------------------------


def test_jobs_take_turns_with_the_same_seeds_and_each_best_time_keeps_its_answer(monkeypatch):
    seen, now_s = [], [0.0]
    monkeypatch.setattr(bench, "perf_counter", lambda: now_s[0])

    def job(name, takes_s):
        def run(seed):
            seen.append((name, seed))
            now_s[0] += takes_s[seed]
            return name, seed
        return run
    best = bench.best_in_turns([job("a", (3.0, 1.0, 2.0)), job("b", (4.0, 6.0, 5.0))], bench.Effort(3, 0, 0))
    assert seen == [("a", 0), ("b", 0), ("a", 1), ("b", 1), ("a", 2), ("b", 2)]
    assert best == [(1.0, ("a", 1)), (4.0, ("b", 0))]


@pytest.mark.parametrize("count", [1, 7, 40])
def test_a_sweep_of_the_benchmark_is_spread_over_the_whole_list(count):
    every = bench.dives_of(bench.Campaign(), SAMPLE)
    chosen = bench.spread_out(SAMPLE, count)
    numbers = [one.number for one in chosen]
    assert len(chosen) == count and numbers[0] == 0
    assert all(before < after for before, after in zip(numbers, numbers[1:], strict=False))
    assert numbers[-1] >= len(every) * (count - 1) // count


def test_the_more_hours_the_longer_the_dive_and_every_fault_of_the_growth_begins():
    for hours in (1.0, 5.0):
        evidence = Dive(bench.with_times(SAMPLE, hours), water=WATER, keep_series=False).run().evidence
        assert evidence.command_s - evidence.under_s == pytest.approx(3600.0 * hours, abs=30.0)
    result = bench.flown(SAMPLE, bench.FAULTS, WATER)(1)
    assert len(result.faults) == 8 and all(from_s is not None for _fault, from_s, _to_s in result.faults)


def test_all_of_the_time_goes_to_parts_that_are_named(monkeypatch):
    shares = dict(bench.shares(SHORT, WATER))
    assert sum(shares.values()) == pytest.approx(1.0)
    assert all(share > 0.0 for share in shares.values())
    assert shares["mission core"] == max(shares.values())
    monkeypatch.setattr(bench, "shares", lambda plan, water: list(shares.items()))
    rows = bench.where_it_goes(SHORT, WATER).rows
    assert [row[0] for row in rows] == [name for name, _where in bench.PARTS]
    assert all(row[1].endswith(" %") for row in rows)


# --- what it tells --------------------------------------------------------------------------------------------------


@pytest.mark.long
def test_every_table_of_the_sea_trial_is_whole(monkeypatch):
    monkeypatch.setattr(bench, "HOURS", (1.0,))
    effort = bench.Effort(1, 4, 1)
    tables = [bench.sea_against_wall(SHORT, WATER, effort), bench.against_plain(SHORT, WATER, effort),
              bench.cores_and_number(SHORT, effort), bench.growth(SHORT, WATER, effort)]
    bodies = 2 if is_built() else 1
    assert [len(table.rows) for table in tables] == [5 * bodies, 2 + bodies, 2, 6]
    assert [len(table.outcomes) for table in tables] == [2 * bodies, 2 * bodies, 1, 0]
    for table in tables:
        assert {len(row) for row in table.rows} == {len(table.head)}
        assert "nan" not in repr(table.rows) and "inf" not in repr(table.rows)
    for row in tables[0].rows:
        assert 1_000 < int(re.sub(r"\D", "", row[5].split(":")[0])) < 1_000_000_000
