"""Starting again from records that no sound run leaves behind."""

import struct

import pytest
from lander_story import Story

from lander import journal, table


def resumed(told: Story, **values) -> Story:
    """The lander after a loss of power, its newest record with these values instead of its own."""
    slot = told.journal.next_slot - 1
    record = bytearray(told.store.kept[slot])
    struct.pack_into(journal.FORMAT, record, 0, *{**journal.fields(record), **values}.values())
    journal.seal(record, 0)
    told.store.kept[slot] = bytes(record)
    return told.reset(cause=0)


@pytest.mark.parametrize("state", [table.DESCEND, table.RECORD])
def test_a_dive_whose_record_does_not_say_when_it_began_counts_as_overdue(state):
    told = resumed(Story().on_the_bottom(), state=state, descent_ds=-1)
    assert told.mission.descent_ds >= 0
    assert told.rows[-1] == table.STATES[state] + "-time"
    assert told.until("surface", at_most_s=600)


@pytest.mark.parametrize(("sure", "state"), [(0, table.SAFE), (journal.FLAG_SURE, table.RELEASE)])
def test_a_state_that_there_is_not_is_noted_and_leads_home(sure, state):
    told = resumed(Story().on_the_bottom(), state=len(table.STATES), flags=sure)
    first = next(step for step in told.trace if step.boot == 2)
    assert first.before == state
    assert first.records[0]["flags"] & journal.FLAG_BUG
    assert told.until("surface", at_most_s=3 * 3600).attempts


def test_a_lander_that_comes_back_wet_was_under_water_since_its_last_record_on_deck():
    told = Story().arm().after(30)
    last_ds = journal.fields(told.store.kept[told.journal.next_slot - 1])["mission_ds"]
    told.sink_to(0).move_to(4000, 100).reset(cause=0, away_s=200).after(20)
    assert told.state == "descend"
    assert not told.mission.time_unknown, "its clock bridged the time"
    assert told.mission.descent_ds == last_ds


def test_a_new_dive_fires_at_full_drive_whatever_the_last_one_came_down_to():
    told = Story().on_the_bottom().until("release")
    while not told.trace[-1].driven:
        told.after(1)
    told.reset(cause=0).until("surface").haul().after(60)
    assert tuple(told.mission.release.ways) == (1, 0)
    told.hold_magnet().arm()
    assert (tuple(told.mission.release.ways), told.mission.release.attempts) == ((0, 0), 0)
