"""A record is told in the words of the mission table, and one of another firmware in numbers."""

from datetime import UTC, datetime, timedelta

import pytest

from lander import journal, release, signals, table, words
from tumblehome.debrief import telling
from tumblehome.page.clock import DiveClock

BLANK = dict.fromkeys(journal.NAMES, 0)


def record(**fields: int) -> dict[str, int]:
    return {**BLANK, **fields}


@pytest.mark.parametrize(("fields", "said"), [
    ({"kind": journal.READING, "code": 3, "detail": 43000}, ""),
    ({"kind": journal.BOOT, "code": 1, "detail": -1}, "controller started (watchdog), was away for an unknown time"),
    ({"kind": journal.BOOT, "code": 0, "detail": 130}, "controller started (power came), was away for 13.0 s"),
    ({"kind": journal.ATTEMPT, "code": 1, "detail": 80, "attempts": 4}, "attempt 4: backup release driven at 80 %"),
    ({"kind": journal.ATTEMPT_END, "code": 0, "detail": release.RISE}, "primary release off: rise confirmed"),
    ({"kind": journal.EVENT, "code": journal.E_LEAK}, "leak seen"),
    ({"kind": journal.EVENT, "code": journal.E_COMMAND_REFUSED, "detail": signals.DEAF},
     "command refused: under water: the line is deaf"),
    ({"kind": journal.EVENT, "code": journal.E_ARMED_ANYWAY, "detail": signals.NO_CLOCK},
     "armed in spite of a check, by an override on the bench line: real-time clock was never set, or has stopped"),
])
def test_a_record_is_told_in_words(fields, said):
    assert telling.what(record(**fields)) == said


def test_every_row_and_every_event_has_words_of_its_own():
    rows = [telling.what(record(kind=journal.ROW, code=number)) for number in range(len(table.ROWS))]
    events = [telling.what(record(kind=journal.EVENT, code=event, detail=1)) for event in words.EVENTS]
    assert len(set(rows)) == len(rows) and len(set(events)) == len(events) and all(rows + events)
    assert rows[0] == "safe to armed: asked for, checks passed or overridden"


@pytest.mark.parametrize("fields", [
    {"kind": journal.ROW, "code": 250}, {"kind": journal.EVENT, "code": 250},
    {"kind": journal.EVENT, "code": journal.E_ARM_REFUSED, "detail": 250},
    {"kind": journal.ATTEMPT_END, "code": 0, "detail": 250}, {"kind": journal.BOOT, "code": 250, "detail": 5},
])
def test_a_number_without_a_word_is_told_as_the_number(fields):
    assert "250" in telling.what(record(**fields))


def test_a_moment_is_utc_where_it_is_known_and_counts_from_the_splash_where_not():
    assert telling.moment(datetime(2027, 5, 18, 6, 30, 1, tzinfo=UTC), 1.0) == "2027-05-18 06:30:01 UTC"
    assert telling.moment(None, 3723.0) == "1:02:03 after the splash"
    assert telling.moment(None, -9.0) == "0:00:09 before the splash"
    assert telling.moment(None, None) == "unknown time"
    assert telling.moment(None, None, 45.0) == "mission time 0:00:45"


def test_a_time_is_told_to_the_nearest_second_as_the_page_tells_it():
    splash = datetime(2027, 5, 18, 6, 30, 0, 600000, tzinfo=UTC)
    clock = DiveClock(0.0, splash.isoformat())
    for after_s in (0.0, 0.3, 0.9, 59.4, -0.2):
        assert telling.moment(splash + timedelta(seconds=after_s), after_s) == "%s UTC" % clock.utc(after_s)
    assert telling.moment(splash, 0.0) == "2027-05-18 06:30:01 UTC"
