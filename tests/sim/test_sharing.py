"""Dives that begin alike: flown together they come to the very rows that they come to alone."""

import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import pytest

from lander import VERSION
from seatrial.campaign import flying
from seatrial.campaign.choosing import Campaign, Planned, dives
from seatrial.campaign.flying import Row, fly, fly_many
from seatrial.campaign.sharing import Beginning, Trunk, alike, beginning, can_share, gathered

from .flying import SAMPLE, SHORT

needs_copies = pytest.mark.skipif(not hasattr(os, "fork"), reason="processes cannot be copied here")
TOGETHER = (  # dives of several faults that begin alike, by what they are about
    ("a moment of the dive", ("jammed@attempt",), ("bad-circuit@attempt",), ("reset@attempt",)),
    ("two at one moment", ("leak@record", "jammed@record"), ("reset@record", "clock-lost@record")),
    ("one from before", ("jammed@splash", "reset@release"), ("jammed@splash", "caught@release")),
    ("another site", ("deeper", "leak@touchdown"), ("deeper", "press-missed@touchdown")),
    ("a depth", ("caught@60m",), ("leak@60m",), ("hauled-back@60m",)),
    ("a moment that never comes", ("jammed@backup",), ("leak@backup",)),
    ("after an outage", ("power-gone:for_s=60@record", "clock-lost@release"),
     ("power-gone:for_s=60@record", "weak-supply@release")),
)


def told_apart(rows: list[Row]) -> list[Row]:
    return [replace(row, took_s=0.0) for row in rows]


def planned(*lists: tuple[str, ...]) -> list[Planned]:
    return [Planned(number, faults, 3) for number, faults in enumerate(lists)]


@needs_copies
@pytest.mark.parametrize("lists", [lists for _, *lists in TOGETHER], ids=[about for about, *_ in TOGETHER])
def test_dives_flown_together_come_to_the_rows_that_they_come_to_alone(lists, monkeypatch):
    chosen = planned(*lists)
    assert len(list(alike(chosen))) == 1
    alone = [fly(SHORT, one) for one in chosen]
    monkeypatch.setattr(flying, "fly", None)  # none may be flown alone
    assert told_apart(fly_many(SHORT, VERSION, chosen)) == told_apart(alone)


@needs_copies
def test_a_dive_whose_copy_died_is_flown_alone(monkeypatch):
    chosen = planned(("jammed@attempt",), ("leak@attempt",), ("reset@attempt",))
    alone = [fly(SHORT, one) for one in chosen]
    whole = Trunk.hand_over
    monkeypatch.setattr(Trunk, "hand_over", lambda self, row: os._exit(9) if self.mine.number == 1 else whole(self, row))
    assert told_apart(fly_many(SHORT, VERSION, chosen)) == told_apart(alone)


@needs_copies
def test_an_error_in_one_copy_is_the_row_of_that_dive(monkeypatch):
    chosen = planned(("jammed@attempt",), ("leak@attempt",))
    monkeypatch.setattr("seatrial.story.Story.close", lambda self: 1 / 0)
    told = fly_many(SHORT, VERSION, chosen)
    assert [row.error for row in told] == [row.error for row in (fly(SHORT, one) for one in chosen)]
    assert "ZeroDivisionError" in told[0].error


@needs_copies
def test_a_copy_whose_worker_is_gone_ends_too():
    """Nobody reads what it tells: it must not come back as a second worker."""
    reading, writing = os.pipe()
    copy = os.fork()
    if not copy:
        os.close(reading)
        trunk = Trunk.__new__(Trunk)
        trunk._answer_to = writing
        trunk.hand_over(lambda: "x" * 1000000)
    os.close(writing)
    os.close(reading)
    assert os.waitstatus_to_exitcode(os.waitpid(copy, 0)[1]) == 1


def test_where_no_process_can_be_copied_the_rows_are_the_same(monkeypatch):
    chosen = planned(("jammed@attempt",), ("leak@attempt",))
    together = told_apart(fly_many(SHORT, VERSION, chosen))
    monkeypatch.delattr(os, "fork", raising=False)
    assert not can_share()
    assert told_apart(fly_many(SHORT, VERSION, chosen)) == together


def test_a_thread_of_a_worker_copies_no_process():
    with ThreadPoolExecutor(1) as pool:
        assert pool.submit(can_share).result() is False


@pytest.mark.parametrize(("faults", "shared"), [
    (("jammed@attempt",), Beginning(("",), "attempt", 3)),
    (("jammed@record+600s", "leak@record+10min"), Beginning(("", ""), "record+600s", 3)),
    (("deeper", "leak@60m"), Beginning(("deeper", ""), "60m", 3)),
    (("jammed@start+300s", "leak@record"), Beginning(("jammed@start+300s", ""), "record", 3)),
    (("leak@record", "deeper"), Beginning(("", "deeper"), "record", 3)),
    (("jammed", "deeper"), None),
    ((), None),
])
def test_dives_share_what_comes_before_the_last_moment_that_they_name(faults, shared):
    assert beginning(Planned(0, faults, 3)) == shared


def test_dives_of_another_seed_begin_otherwise():
    assert beginning(Planned(0, ("leak@record",), 3)) != beginning(Planned(0, ("leak@record",), 4))


def test_gathering_loses_no_dive_and_puts_those_with_fewer_faults_first():
    chosen = dives(Campaign(ways=2, only=("leak", "jammed", "deeper", "reset")), SAMPLE)
    lists = gathered(chosen, 5)
    assert sorted((one for some in lists for one in some), key=lambda one: one.number) == chosen
    assert all(1 <= len(some) <= 5 for some in lists)
    assert [len(some[0].faults) for some in lists] == sorted(len(some[0].faults) for some in lists)
    assert sum(len(list(alike(some))) for some in lists) == len(lists)
