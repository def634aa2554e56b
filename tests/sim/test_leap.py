"""Passing the second board over: the same dive, the same record, the same battery as with every step taken."""

import pytest

from deadman import WATCH_DS
from seatrial import leap
from seatrial.dive import Dive
from seatrial.faults import parse
from seatrial.plan.sections import Second
from seatrial.second import SecondBoard

from .flying import SHORT, changed

STEP_AH = 12e-3 * WATCH_DS / 36000.0  # what the sample's second board draws in one step, were it awake all of it
LONG = changed(SHORT, times={"timed_release_min": 200.0, "latest_release_min": 240.0},
               dive={"on_deck_min": 90.0, "watch_after_surfacing_min": 120.0})
DIVES = (
    (SHORT, ()), (SHORT, ("main-dead@record",)), (SHORT, ("main-dead@record", "jammed:channel=backup")),
    (LONG, ("main-dead:for_s=3000@record+5min",)), (LONG, ("hauled-back@record+40min",)),
    (LONG, ("main-dead@record", "second-reset@record+63min")), (LONG, ("main-dead@start+40min", "second-hangs@90min")),
    (SHORT, ("main-dead@record", "second-contact-dead@record+11min", "second-contact-bridged@record+25min")),
    (LONG, ("main-dead@record", "second-pressure-gone:for_s=600@100min")), (SHORT, ("heavy-swell", "main-dead@record")),
    (SHORT, ("caught:for_s=2000@100m",)), (SHORT, ("never-sinks",)), (SHORT, ("link-early:after_min=20",)),
)


def flown(plan, faults, leaps: bool, seed: int, **keys):
    """The dive's result, its second board, and how many of the board's steps were really taken."""
    board = SecondBoard(Second(fitted=True, **keys), leaps=leaps)
    taken = []
    real = board._step_at

    def counted(*arguments) -> None:
        taken.append(arguments[0])
        real(*arguments)

    board._step_at = counted
    return Dive(plan, [parse(text) for text in faults], seed, second=board).run(), board, len(taken)


@pytest.mark.parametrize(("plan", "faults"), DIVES, ids=lambda value: " ".join(value) if isinstance(value, tuple) else "")
@pytest.mark.parametrize(("seed", "keys"), [(1, {}), (2, {"signs": "contact", "drift_ppm": 0.0}),
                                            (3, {"signs": "pressure", "noise_mbar": 12.0, "drift_ppm": -300.0})])
def test_leaping_changes_nothing(plan, faults, seed, keys):
    stepped, board, _count = flown(plan, faults, False, seed, **keys)
    leapt, other, _fewer = flown(plan, faults, True, seed, **keys)
    assert other.slots == board.slots
    assert [(one.drive_pct, one.been_under, one.freed) for one in other.drives] == [
        (one.drive_pct, one.been_under, one.freed) for one in board.drives]
    assert [one.from_s for one in other.drives] == pytest.approx([one.from_s for one in board.drives], abs=1e-6)
    # Where the run ends at a step of the board, the last digit of its time decides whether that step belongs to it.
    assert other.battery.used_ah == pytest.approx(board.battery.used_ah, rel=1e-9, abs=STEP_AH)
    assert other.starts == board.starts
    assert other.evidence.heard_s == pytest.approx(board.evidence.heard_s, abs=1e-6)
    assert (other.dead_man.state, other.dead_man.depth.rise_seen) == (board.dead_man.state, board.dead_man.depth.rise_seen)
    # The sea is computed in other pieces, so that the last digit of a reading of the main board may differ.
    assert leapt.evidence.rows_seen == stepped.evidence.rows_seen
    assert [one.verdict for one in leapt.verdicts] == [one.verdict for one in stepped.verdicts]


def test_most_steps_of_a_long_dive_are_passed_over():
    _result, _board, all_of_them = flown(LONG, (), False, 1)
    _result, _board, taken = flown(LONG, (), True, 1)
    assert taken < 0.25 * all_of_them


def resting() -> tuple[Dive, SecondBoard]:
    """A board that has been on the bottom for a quarter of an hour."""
    board = SecondBoard(leaps=False)
    one = Dive(SHORT, [], 1, second=board)
    one.at(600.0 + 1800.0, stop)
    with pytest.raises(Stopped):
        one.run()
    return one, board


class Stopped(Exception):
    """A test has seen enough of a dive."""


def stop() -> None:
    raise Stopped


def test_what_is_about_to_turn_is_never_passed_over():
    _one, board = resting()
    man, mbar = board.dead_man, board.inputs.pressure_mbar
    assert leap.quiet_steps(man, WATCH_DS, mbar - 10, mbar + 10) > 100
    assert leap.quiet_steps(man, WATCH_DS - 1, mbar - 10, mbar + 10) == 0  # something hurries
    assert leap.quiet_steps(man, WATCH_DS, 1000, mbar) == 0  # as if it might be anywhere
    man.magnet.since_ds = man.last_ds
    assert leap.quiet_steps(man, WATCH_DS, mbar - 10, mbar + 10) == 0


def test_a_leap_ends_before_the_deadline():
    _one, board = resting()
    man, mbar = board.dead_man, board.inputs.pressure_mbar
    steps = leap.quiet_steps(man, WATCH_DS, mbar - 10, mbar + 10)
    assert man.last_ds + steps * WATCH_DS < man.began_ds + man.deadline_ds
