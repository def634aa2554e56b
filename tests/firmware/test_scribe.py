"""What is written, and how often, when there is little room."""

import pytest
from lander_story import Story

from lander import journal, scribe, signals


def seconds_between_readings(told: Story, seconds: int) -> float:
    told.trace.clear()
    told.after(seconds)
    readings = [record for step in told.trace for record in step.records if record["kind"] == journal.READING]
    return seconds / len(readings)


@pytest.mark.parametrize(("free", "times"), [(1024, 1), (1023, 8), (256, 8), (255, 64)])
def test_readings_become_rarer_twice_as_the_journal_fills(free, times):
    told = Story(reading_bottom_ds=20).on_the_bottom().show(store_free=free).after(1)
    assert seconds_between_readings(told, 2 * 128) == 2 * times


def test_a_journal_that_is_nearly_full_is_noted_once():
    told = Story().show(store_free=1023).on_the_bottom().after(600)
    assert told.events.count(journal.E_NEARLY_FULL) == 1


def test_a_step_with_more_to_tell_than_a_step_holds_tells_the_first_and_numbers_them_without_a_gap():
    told = Story().step()
    first, outputs = told.mission.sequence, told.outputs
    outputs.record_count = 0
    for detail in range(signals.RECORDS_MAX + 1):
        scribe.event(told.mission, told.inputs, outputs, journal.E_LEAK, detail)
    assert outputs.record_count == signals.RECORDS_MAX
    last = outputs.records[-journal.RECORD_BYTES:]
    assert journal.is_good(last)
    assert journal.fields(last)["detail"] == signals.RECORDS_MAX - 1
    assert told.mission.sequence == first + signals.RECORDS_MAX == journal.sequence_of(last) + 1
