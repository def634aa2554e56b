"""A dive that is led by the hand: the same journal as one that runs by itself, and readings that a bench holds."""

import pytest

from lander.signals import ASK_ARM, FIRE, READY_PRIMARY
from lander.table import ARMED, RECORD, SAFE, SURFACE
from seatrial.bodies import CPythonBody
from seatrial.deeds import parse
from seatrial.dive import Dive
from seatrial.plan import load_sample
from seatrial.staged import StagedDive


def staged(faults=(), seed: int = 1, at_sea: bool = True) -> StagedDive:
    plan = load_sample()
    dive = StagedDive(plan, CPythonBody(plan.mission_record()), [parse(fault) for fault in faults], seed, at_sea)
    dive.begin()
    return dive


def go_to(dive: StagedDive, until_s: float) -> None:
    while dive.now_s < until_s:
        dive.go_on(until_s)


@pytest.mark.parametrize("faults", [(), ("attempt-resets", "leak@record+30min"), ("jammed:channel=both,for_s=90000@start",)])
def test_a_dive_that_is_only_watched_writes_the_journal_of_one_that_runs_by_itself(faults) -> None:
    plan = load_sample()
    alone = Dive(plan, [parse(fault) for fault in faults], 7, CPythonBody(plan.mission_record())).run()
    dive = staged(faults, 7)
    stops = 0
    while dive.go_on():
        stops += 1
    result = dive.finish()
    assert result.journal == alone.journal
    assert result.verdicts == alone.verdicts
    assert stops >= result.steps > 100


def test_it_stops_at_the_moment_that_was_asked_for_and_goes_on_from_there() -> None:
    dive = staged()
    go_to(dive, 3000.0)
    assert dive.now_s == 3000.0
    assert dive.outputs.state == RECORD
    while dive.outputs.state != SURFACE:
        assert dive.go_on()
    assert dive.finish().evidence.surfaced_s is not None
    assert dive.is_over
    assert not dive.go_on()


def test_on_deck_nobody_arms_it_and_nobody_throws_it_in() -> None:
    dive = staged(at_sea=False)
    go_to(dive, 7200.0)
    assert dive.outputs.state == SAFE
    assert not dive.world.hull.in_water


def test_a_held_reading_is_told_in_the_next_step_and_not_when_it_was_let_go() -> None:
    dive = staged(at_sea=False)
    go_to(dive, 10.0)
    dive.hold_reading("pressure_mbar", 5000)
    dive.go_on(11.0)
    assert dive.now_s == 10.0  # at once, as at an edge
    assert dive.inputs.pressure_mbar == 5000
    dive.let_go()
    dive.go_on(11.0)
    assert abs(dive.inputs.pressure_mbar - 1013) < 60


@pytest.mark.parametrize(("name", "value"), [("pressure_mbar", 1_300_001), ("contact_wet", 2), ("uptime_ds", 5),
                                             ("command", 1), ("colour", 1)])
def test_what_the_controller_cannot_be_told_is_refused_and_changes_nothing(name: str, value: int) -> None:
    dive = staged(at_sea=False)
    with pytest.raises(ValueError, match=name):
        dive.hold_reading(name, value)
    assert not dive.body.held


def test_a_command_is_told_once() -> None:
    dive = staged(at_sea=False)
    go_to(dive, 10.0)
    dive.tell(READY_PRIMARY)
    dive.go_on()
    dive.tell(FIRE)
    dive.go_on()
    assert dive.outputs.release_primary_pct
    go_to(dive, 30.0)
    assert not dive.outputs.release_primary_pct
    assert dive.inputs.command == 0


def test_a_supply_that_is_switched_off_comes_back_and_the_mission_is_what_it_was() -> None:
    dive = staged(at_sea=False)
    dive.tell(ASK_ARM)
    go_to(dive, 60.0)
    assert dive.outputs.state == ARMED
    dive.switch_off(20.0)
    go_to(dive, 75.0)
    assert not dive.world.controller_on
    go_to(dive, 60.0 + 20.0 + dive.plan.power.boot_s + 1.0)
    assert dive.outputs.state == ARMED
    assert dive.inputs.uptime_ds < 20


def test_something_may_break_while_it_is_led() -> None:
    dive = staged()
    go_to(dive, 3000.0)
    dive.put_in(parse("leak"))
    go_to(dive, 3030.0)
    assert dive.outputs.release_primary_pct
    assert [fault.name for fault, _from_s, _to_s in dive.finish().faults] == ["leak"]
