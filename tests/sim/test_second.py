"""The second board beside the main one: what it brings home, what it leaves alone, what it costs."""

import pytest

from deadman import DISARMED
from seatrial.dive import Dive
from seatrial.faults import parse
from seatrial.laws import BROKEN
from seatrial.plan.energy import second_ma
from seatrial.plan.sections import Second
from seatrial.result import DiveResult
from seatrial.second import SecondBoard

from .flying import SHORT, changed

MARGIN_S = 1800.0
WITHOUT = changed(SHORT, second={"fitted": False})


def made(**keys) -> Second:
    """The section [second] of a plan with these keys."""
    return Second(fitted=True, **keys)


def fly_two(*faults: str, plan=SHORT, board: SecondBoard | None = None, before=None,
            numbers: Second | None = None) -> tuple[DiveResult, SecondBoard]:
    """A dive with both boards. `before(dive, board)` puts deeds of its own in the schedule."""
    board = board or SecondBoard(numbers)
    one = Dive(plan, [parse(text) for text in faults], 1, second=board)
    if before:
        before(one, board)
    return one.run(), board


def deadline_s(result: DiveResult) -> float:
    return result.evidence.under_s + 60.0 * result.plan.times.latest_release_min + MARGIN_S


def at(minutes: float, deed):
    """A deed so many minutes after the splash."""
    return lambda one, board: one.at(60.0 * (one.plan.dive.on_deck_min + minutes), lambda: deed(one, board))


@pytest.mark.parametrize("onset", ["start", "splash", "descend", "record+10min", "release"])
@pytest.mark.parametrize("signs", ["both", "pressure", "contact"])
def test_a_lander_whose_main_controller_died_comes_home_on_the_backup_by_the_deadline(signs, onset):
    result, board = fly_two("main-dead@%s" % onset, numbers=made(signs=signs))
    evidence = result.evidence
    assert evidence.freed_by == "backup"
    assert evidence.freed_s == pytest.approx(board.drives[0].from_s + 4.0, abs=0.1)  # turn_s of the sample's latch
    assert deadline_s(result) - 30.0 <= board.drives[0].from_s <= deadline_s(result)
    assert evidence.surfaced_s is not None
    assert not [one for one in result.verdicts if one.verdict == BROKEN]


def test_without_the_second_board_it_waits_for_the_corroding_link():
    evidence = Dive(WITHOUT, [parse("main-dead@record+10min")], 1).run().evidence
    assert evidence.freed_by == "passive"
    assert evidence.freed_s - evidence.splash_s > 3600.0 * SHORT.release.passive.earliest_h


def test_a_main_controller_that_is_dead_only_for_a_while_starts_again():
    evidence = Dive(WITHOUT, [parse("main-dead:for_s=120@record+10min")], 1).run().evidence
    assert evidence.freed_by == "primary"
    assert len(evidence.powered) == 2
    assert 120.0 <= evidence.powered[1].from_s - evidence.powered[0].to_s <= 131.0


def test_total_loss_of_the_main_pack_is_survived_too():
    result, _board = fly_two("power-gone@record+10min")
    assert result.evidence.freed_by == "backup"


def test_in_a_dive_without_faults_it_changes_no_decision_of_the_main_board():
    with_it, board = fly_two()
    without = Dive(WITHOUT, [], 1).run()
    assert with_it.evidence.rows_seen == without.evidence.rows_seen
    assert with_it.evidence.freed_by == "primary"
    assert all(one.from_s > with_it.evidence.surfaced_s for one in board.drives)
    assert not [one for one in with_it.verdicts if one.verdict == BROKEN]


def test_hauled_back_on_deck_it_never_fires():
    result, board = fly_two("hauled-back@record+10min")
    assert result.evidence.end_s > deadline_s(result)
    assert board.drives == []


def test_both_boards_at_once_turn_the_latch_as_one_would():
    """Two drivers with a diode each are an OR: twice the drive is not twice the speed."""
    one = Dive(WITHOUT, [], 1)
    one.world.set_levels((0, 100, 0, 0, 0, 0, 0, 0, 0))
    one.world.second_pct = 100
    passed_s, what = one.world.advance(60.0)
    assert (what, passed_s) == ("freed", pytest.approx(4.0))


def test_the_stronger_drive_counts():
    one = Dive(WITHOUT, [], 1)
    one.world.set_levels((0, 25, 0, 0, 0, 0, 0, 0, 0))
    one.world.second_pct = 50
    assert one.world.advance(60.0)[0] == pytest.approx(8.0)


def test_a_jammed_backup_is_driven_until_the_battery_is_empty():
    numbers = made(capacity_ah=0.03)
    plan = changed(SHORT, release={"passive": SHORT.release.passive.model_copy(update={"latest_h": 60.0})})
    _result, board = fly_two("main-dead@record", "jammed:channel=backup", plan=plan, numbers=numbers)
    assert len(board.drives) > 3
    pauses = [round(after.from_s - before.to_s) for before, after in zip(board.drives, board.drives[1:], strict=False)
              if before.drive_pct == after.drive_pct == 100]
    assert pauses == sorted(pauses)
    assert not board.on or board.battery.left_fraction(10.0) < 0.2


@pytest.mark.parametrize("power_failed", [0, 1])
def test_a_reset_of_the_second_board_never_makes_it_later(power_failed):
    result, board = fly_two("main-dead@record", before=at(30, lambda one, board: board.reset(power_failed)))
    assert board.starts == 2
    assert board.drives[0].from_s <= deadline_s(result)
    if power_failed:
        assert board.drives[0].from_s < result.evidence.splash_s + 1830.0


def test_a_hang_is_ended_by_its_watchdog_and_makes_nothing_later():
    result, board = fly_two("main-dead@record", before=at(30, lambda one, board: board.hang()))
    assert board.starts == 2
    assert deadline_s(result) - 150.0 < board.drives[0].from_s <= deadline_s(result)


def test_a_store_that_refuses_every_record_does_not_stop_it():
    board = SecondBoard()
    board.store_refuses = True
    result, _ = fly_two("main-dead@record", board=board)
    assert result.evidence.freed_by == "backup"


def dead_contact(one, board) -> None:
    board.contact_dead = True


def dead_pressure(one, board) -> None:
    board.pressure.absent = True


def frozen_pressure(one, board) -> None:
    board.pressure.frozen = True


@pytest.mark.parametrize("deed", [dead_contact, dead_pressure, frozen_pressure])
@pytest.mark.parametrize("minutes", [-5, 30])
def test_one_dead_sensor_of_its_own_does_not_stop_it(deed, minutes):
    result, board = fly_two("main-dead@record", before=at(minutes, deed))
    assert result.evidence.freed_by == "backup"
    assert board.drives[0].from_s <= deadline_s(result) + (30.0 if minutes < 0 else 0.0)


def test_disarmed_by_its_magnet_on_deck_it_stays_still_on_deck():
    def hold(one, board) -> None:
        board.contact_bridged = True
        board.hold_magnet(1)
        one.at(one.world.now_s + 8.0, lambda: board.hold_magnet(0))
    plan = changed(SHORT, dive={"on_deck_min": 300.0})
    states = []
    _result, board = fly_two(plan=plan, before=lambda one, board: (
        one.at(60.0, lambda: hold(one, board)), one.at(17900.0, lambda: states.append(board.dead_man.state))))
    assert states == [DISARMED]
    assert all(one.from_s > 18000.0 for one in board.drives)


def test_its_crystal_moves_the_deadline_by_its_error_and_no_more():
    slow, _ = fly_two("main-dead@record", numbers=made(drift_ppm=-2000.0))
    _fast, board = fly_two("main-dead@record", numbers=made(drift_ppm=2000.0))
    span_s = 60.0 * SHORT.times.latest_release_min + MARGIN_S
    assert slow.evidence.freed_s - _fast.evidence.freed_s == pytest.approx(0.004 * span_s, abs=11.0)
    assert board.starts == 1


def test_its_battery_pays_for_its_watch_and_its_drive():
    numbers = made()
    result, board = fly_two("main-dead@record", numbers=numbers)
    hours = result.sea_s / 3600.0
    watch_ah = second_ma(numbers) * hours / 1000.0
    drive_ah = 0.9 * sum(one.to_s - one.from_s for one in board.drives) / 3600.0  # 900 mA: the sample's latch
    # a second of haste after the splash, on the way up and around each attempt, and the drive
    assert watch_ah + drive_ah < board.battery.used_ah < 1.3 * watch_ah + drive_ah


def test_the_same_seed_gives_the_same_dive():
    one, first = fly_two("main-dead@record")
    other, second = fly_two("main-dead@record")
    assert one.journal == other.journal and first.drives == second.drives
