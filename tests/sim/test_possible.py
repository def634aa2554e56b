"""Whether a release is possible while a fault lasts: tried in the simulated sea, and held against whole dives."""

import pytest

from seatrial.account import is_home, outcome
from seatrial.faults import KINDS, parse
from seatrial.mechanisms import make
from seatrial.possible import BACKUP, PASSIVE, PRIMARY, SECOND_BOARD, WAYS, ways_home
from seatrial.water import WaterColumn

from .flying import SAMPLE, changed, fly

WATER = WaterColumn(SAMPLE.site)
ALL = set(WAYS)


def ways(*faults: str, plan=SAMPLE) -> dict:
    return {way.name: way for way in ways_home(plan, [parse(text) for text in faults], WATER)}


def possible(*faults: str, plan=SAMPLE) -> set[str]:
    return {name for name, way in ways(*faults, plan=plan).items() if way.possible}


def test_without_a_fault_every_way_is_open():
    assert possible() == ALL


@pytest.mark.parametrize(("fault", "left"), [
    ("jammed", ALL - {PRIMARY}),
    ("jammed:channel=backup", {PRIMARY, PASSIVE}),
    ("jammed:channel=both", {PASSIVE}),
    ("bad-circuit:how=shorted,channel=both", {PASSIVE}),
    ("ballast-hangs", set()),
    ("ballast-hangs:part=0.3", ALL),
    ("link-never", ALL - {PASSIVE}),
    ("deep-mud:suction_n=500", set()),
    ("power-gone", {SECOND_BOARD, PASSIVE}),
    ("weak-supply:mohm=1000000", {SECOND_BOARD, PASSIVE}),
    ("main-dead", {SECOND_BOARD, PASSIVE}),
    ("second-dead", ALL - {SECOND_BOARD}),
    ("attempt-resets:after_s=0", {SECOND_BOARD, PASSIVE}),
    ("attempt-resets", ALL - {PRIMARY}),
    ("caught", set()),
    ("reset", ALL), ("clock-lost", ALL), ("pressure-gone", ALL), ("lamp-shorted", ALL), ("deeper", ALL),
])
def test_a_fault_leaves_the_ways_that_its_parts_leave(fault, left):
    assert possible(fault) == left


def test_each_way_that_is_closed_says_why():
    told = ways("jammed", "bad-circuit:channel=backup", "link-never", "second-dead")
    assert {name: way.why_not for name, way in told.items()} == {
        PRIMARY: "it is jammed", BACKUP: "its circuit is open", SECOND_BOARD: "the second board is dead",
        PASSIVE: "the link does not part"}


def test_what_is_not_fitted_is_no_way():
    plan = changed(second={"fitted": False})
    assert set(ways(plan=plan)) == ALL - {SECOND_BOARD}
    assert set(ways("second-dead", plan=plan)) == ALL - {SECOND_BOARD}


def test_a_full_drive_opens_the_wire_in_its_own_time_and_the_mud_takes_the_rest():
    wire = make(SAMPLE.release.primary)
    due_s = wire.seconds_to_open(SAMPLE.release.primary.current_ma) + SAMPLE.site.mud_hold_s
    assert ways()[PRIMARY].after_s == pytest.approx(due_s, abs=2.0)


def test_a_supply_that_carries_half_a_drive_only_takes_longer():
    assert ways("weak-supply:mohm=10000")[PRIMARY].after_s > 1.5 * ways()[PRIMARY].after_s


def test_the_onset_and_the_end_of_a_fault_do_not_matter_here():
    assert possible("jammed:channel=both,for_s=5@surface") == {PASSIVE}


@pytest.mark.parametrize("name", sorted(name for name in KINDS if name not in ("hauled-back", "never-sinks")))
def test_who_stays_down_in_a_whole_dive_had_no_way_and_who_had_a_driven_one_comes_home(name):
    result = fly("%s@record+10min" % name)
    left = possible(name)
    assert is_home(result.evidence) == bool(left)
    if left and result.evidence.freed_by not in ("", "passive"):
        assert outcome(result)["path"] in left
