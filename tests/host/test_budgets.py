"""What the firmware takes is measured, not told: each meter is shown something that it has to notice.

The budgets are the design's own. Bytes of a 64-bit and a 32-bit MicroPython are measured by MicroPython itself.
"""

import json
import subprocess
import sys
from functools import cache

import pytest

from lander import table
from seatrial.board_files import mpy_cross
from seatrial.bodies import BodyError, find_micropython
from seatrial.plan import load_sample
from tumblehome import budgets
from tumblehome.budgets import Row

SAMPLE = load_sample()
SHORT = SAMPLE.model_copy(update={
    "dive": SAMPLE.dive.model_copy(update={"watch_after_surfacing_min": 10.0}),
    "times": SAMPLE.times.model_copy(update={"timed_release_min": 45.0, "latest_release_min": 60.0})})


@pytest.fixture
def micropython() -> str:
    try:
        return find_micropython()
    except BodyError as error:
        pytest.skip(str(error))


@pytest.fixture
def one_round(monkeypatch) -> None:
    """A test does not look at the clock, and one run is enough."""
    monkeypatch.setattr(budgets, "ROUNDS", 1)


def by_key(rows) -> dict[str, Row]:
    return {row.key: row for row in rows}


# --- rows ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("value, budget, at_least, met", [
    (9, 10, False, True), (10, 10, False, True), (11, 10, False, False), (None, 10, False, False),
    (9, 10, True, False), (10, 10, True, True), (0, 0, False, True), (None, None, False, True), (5, None, False, True),
])
def test_a_budget_is_met_or_missed(value, budget, at_least, met):
    assert Row("key", "group", "words", value, "bytes", budget, at_least).met is met


def fake(*rows: Row):
    return (lambda _plan: iter(rows),)


def test_one_budget_missed_gives_exit_status_1_and_is_named(run, monkeypatch):
    monkeypatch.setattr(budgets, "MEASURES", fake(Row("a", "Memory", "of the core", 7, "bytes", 8),
                                                  Row("b", "Memory", "of the rest", 9, "bytes", 8)))
    said = run("budgets")
    assert said.status == 1
    assert "MISSED Memory: of the rest" in said.out and "MISSED Memory: of the core" not in said.out


def test_all_budgets_met_give_exit_status_0(run, monkeypatch):
    monkeypatch.setattr(budgets, "MEASURES", fake(Row("a", "Memory", "of the core", 7, "bytes", 8)))
    said = run("budgets")
    assert said.status == 0 and "MET every budget" in said.out and "MISSED" not in said.out


def test_as_json_it_has_every_row_with_its_verdict(run, monkeypatch):
    monkeypatch.setattr(budgets, "MEASURES", fake(Row("a", "Memory", "of the core", 9, "bytes", 8)))
    told = json.loads(run("budgets", "--json").out)
    assert told["met"] is False
    assert [(row["key"], row["value"], row["budget"], row["met"]) for row in told["rows"]] == [("a", 9, 8, False)]


def test_without_micropython_one_sentence_says_so(run, monkeypatch):
    def missing(_plan):
        raise BodyError("there is no `micropython` here")
        yield
    monkeypatch.setattr(budgets, "MEASURES", (missing,))
    said = run("budgets")
    assert (said.status, said.out, said.err) == (2, "", "there is no `micropython` here\n")


def test_without_the_32_bit_micropython_one_sentence_says_so(run, monkeypatch, tmp_path):
    monkeypatch.setattr(budgets, "MEASURES", ())
    monkeypatch.setattr(budgets, "inputs_of_a_dive", lambda _plan: "\n")
    said = run("budgets", "--on-32-bit", tmp_path)
    assert said.status == 2 and len(said.err.splitlines()) == 1
    assert "micropython.mjs" in said.err or "there is no `node` here" in said.err


# --- what is measured ----------------------------------------------------------------------------------------------


def test_the_bytecode_of_a_board_is_the_sum_of_its_files(monkeypatch):
    monkeypatch.setattr(budgets, "compiled", cache(budgets.compiled))  # half a minute of compiling, else done twice
    rows = by_key(budgets.bytecode(SAMPLE))
    for board, role in budgets.FLASHED:
        files = budgets.compiled(board, budgets.firmware_folder(), role)
        key = "bytecode_%s_%s" % (board, role)
        parts = sum(rows["%s_%s" % (key, package)].value for package in budgets.PACKAGES)
        outside = sum(len(data) for name, data in files.items() if "/" not in name)
        whole = sum(map(len, files.values()))
        assert rows["files_%s_%s" % (board, role)].value == whole == parts + outside
        late = rows["bytecode_late_%s_%s" % (board, role)].value
        assert rows[key].value + late + rows["names_%s_%s" % (board, role)].value == whole
        assert (late > 0) == (role == "main")
        assert rows[key].budget == 65536


@pytest.mark.parametrize("longer_by", [1, 30, 100])
def test_a_longer_name_is_more_of_names_and_no_more_of_bytecode(longer_by, tmp_path):
    def compiled(name: str) -> bytes:
        (tmp_path / "a.py").write_text("def %s(depth_cm):\n    return depth_cm + 1\n" % name)
        subprocess.run([mpy_cross(), str(tmp_path / "a.py")], check=True)
        return (tmp_path / "a.mpy").read_bytes()

    short, long = compiled("sounding"), compiled("sounding" + "x" * longer_by)
    grown = budgets.bytes_of_names(long) - budgets.bytes_of_names(short)
    assert grown == len(long) - len(short) >= longer_by


@pytest.fixture(scope="module")
def stepped() -> dict[str, Row]:
    try:
        return by_key(budgets.steps(SHORT))
    except BodyError as error:
        pytest.skip(str(error))


@pytest.mark.parametrize("state", table.STATES)
def test_no_step_allocates_in_any_state(stepped, state):
    row = stepped["allocated_%s_bytes" % state]
    assert row.value == 0 and row.met, row


def test_the_time_of_a_step_was_measured(stepped):
    assert 0 < stepped["step_mean_ms"].value < stepped["step_max_ms"].value


def test_the_meter_notices_an_allocation(micropython, one_round, monkeypatch, tmp_path):
    step = "        self._mission.step(self._inputs, self._outputs)\n"
    source = budgets.METER.read_text(encoding="utf-8")
    assert step in source
    spoilt = tmp_path / budgets.METER.name
    spoilt.write_text(source.replace(step, step + "        self.spoilt = [state, state]\n"), encoding="utf-8")
    monkeypatch.setattr(budgets, "METER", spoilt)
    rows = by_key(budgets.steps(SHORT))
    assert all(rows["allocated_%s_bytes" % state].value > 0 for state in table.STATES)
    assert not rows["allocated_safe_bytes"].met


def test_the_meter_that_stops_is_told_in_one_sentence(micropython, one_round, monkeypatch, tmp_path):
    spoilt = tmp_path / budgets.METER.name
    spoilt.write_text("raise ValueError('spoilt')\n", encoding="utf-8")
    monkeypatch.setattr(budgets, "METER", spoilt)
    with pytest.raises(BodyError, match="a measurement stopped with: ValueError: spoilt"):
        list(budgets.steps(SHORT))


@pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminals")
def test_the_heap_of_a_controller_behind_a_wire_does_not_grow(micropython, monkeypatch):
    monkeypatch.setattr(budgets, "_of_a_day", lambda plan: plan)
    rows = by_key(budgets.heap_in_lockstep(SHORT))
    assert rows["heap_start_bytes"].value > 50000, "a heap with a mission in it"
    assert rows["heap_growth_bytes"].value == 0


@pytest.mark.long
@pytest.mark.skipif(sys.platform == "win32", reason="no pipes that can be waited for")
def test_the_heap_of_the_whole_board_is_measured_in_flight(micropython):
    brief = SHORT.model_copy(update={
        "dive": SHORT.dive.model_copy(update={"watch_after_surfacing_min": 1.0, "on_deck_min": 1.0}),
        "site": SHORT.site.model_copy(update={"depth_m": 30.0}),
        "times": SHORT.times.model_copy(update={"timed_release_min": 20.0, "latest_release_min": 25.0})})
    rows = by_key(budgets.heap_in_flight(brief))
    assert rows["flight_start_bytes"].value > 150000, "a heap with drivers and a mission in it"
    assert rows["flight_growth_bytes"].met


def test_a_day_of_mission_is_a_day_at_least():
    assert budgets._of_a_day(SAMPLE).dive.watch_after_surfacing_min >= 24 * 60


def test_the_current_of_the_phases_adds_up_to_the_charge_of_the_plan():
    rows = by_key(budgets.current(SAMPLE))
    worked = budgets.supply(SAMPLE)
    charge_mah = sum((rows["current_%s_ma" % phase.words.replace(" ", "_")].value or 0) * phase.lasts_h
                     for phase in worked.phases)
    budget = worked.budget
    wanted = budget.deck_mah + budget.to_latest.total_mah + budget.attempts_mah + budget.pauses_mah + (
        budget.ascent_mah + budget.beacon_mah)
    assert charge_mah == pytest.approx(wanted)
    assert rows["current_on_deck_ma"].value == pytest.approx(SAMPLE.power.controller_ma)
    assert rows["spare_at_latest_mah"].met


def test_a_plan_whose_pack_does_not_pay_for_it_misses_its_budget():
    poor = SAMPLE.model_copy(update={"power": SAMPLE.power.model_copy(update={"controller_ma": 900.0})})
    assert not by_key(budgets.current(poor))["spare_at_latest_mah"].met
