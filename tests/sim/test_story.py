"""The story of a dive: what is told of states, attempts, resets and records, and that it fits together."""

from itertools import pairwise

import pytest

from lander import table, words
from seatrial.account import outcome

from .flying import SHORT, broken, fly

STORIES = {
    "as planned": (), "jammed": ("jammed",), "a reset in the attempt": ("attempt-resets:channel=primary",),
    "power gone for a while": ("power-gone:for_s=300@record+5min",), "hauled back": ("hauled-back@record+5min",),
    "a torn record": ("torn-record@record+5min",), "every write refused": ("flash-refuses@record",),
}


@pytest.fixture(params=STORIES.values(), ids=STORIES.keys(), scope="module")
def told(request):
    return fly(*request.param, plan=SHORT)


def test_states_follow_each_other_without_a_gap(told):
    spans = told.evidence.spans
    assert spans[0].from_s == 0.0
    assert all(before.to_s == after.from_s for before, after in pairwise(spans))
    assert spans[-1].to_s == told.evidence.end_s
    assert {span.name for span in spans} <= {*table.STATES, "off"}


def test_there_is_power_exactly_where_the_state_is_not_off(told):
    off = [(span.from_s, span.to_s) for span in told.evidence.spans if span.name == "off"]
    powered = told.evidence.powered
    assert off == [(before.to_s, after.from_s) for before, after in pairwise(powered)]
    assert len(told.evidence.resets_s) == len(powered) - 1


def test_the_timeline_is_told_in_order_and_every_state_has_its_reason(told):
    times = [item.time_s for item in told.evidence.timeline]
    assert times == sorted(times)
    states = [item for item in told.evidence.timeline if item.kind == "state"]
    assert len(states) >= 3
    assert all(item.reason and " to " in item.what for item in states)


def test_states_in_the_timeline_are_those_of_the_mission_table(told):
    legal = {("%s to %s" % (table.STATES[row[table.FROM]], table.STATES[row[table.TO]]), table.because(number))
             for number, row in enumerate(table.ROWS)}
    assert {(item.what, item.reason) for item in told.evidence.timeline if item.kind == "state"} <= legal


def test_every_attempt_that_was_energised_is_told_with_its_channel(told):
    lines = [item.what for item in told.evidence.timeline if item.kind == "attempt" and item.what.startswith("attempt")]
    assert lines == ["attempt %d: %s release" % (number, attempt.channel)
                     for number, attempt in enumerate(told.evidence.attempts, start=1)]


def test_the_rows_that_were_seen_are_the_rows_that_a_reader_will_find(told):
    evidence = told.evidence
    if evidence.journal_lost:
        assert evidence.journal_rows == evidence.rows_seen[:len(evidence.journal_rows)]
        assert len(evidence.journal_rows) < len(evidence.rows_seen)
    else:
        assert evidence.journal_rows == evidence.rows_seen
        assert evidence.journal_attempts == len(evidence.attempts)


def test_an_attempt_says_what_ended_it_in_the_words_of_its_record_and_a_reset_that_left_none():
    attempts = fly("attempt-resets:channel=primary", plan=SHORT).evidence.attempts
    assert [(one.channel, one.end, one.freed) for one in attempts] == [
        ("primary", "reset", False), ("backup", "time is up", True)]
    assert [one.boot for one in attempts] == [1, 2]


def test_beacon_and_recording_stand_in_the_evidence():
    evidence = fly(plan=SHORT).evidence
    assert evidence.beacon[0].from_s < evidence.surfaced_s + 60.0
    assert evidence.beacon[-1].to_s is None
    bottom_s = evidence.command_s - evidence.touchdown_s
    assert 0.95 * bottom_s < evidence.recorded_on_bottom_s <= bottom_s


def test_what_was_left_in_the_pack_is_weighed_at_the_first_command():
    evidence = fly(plan=SHORT).evidence
    assert SHORT.orders().reserve_mah < evidence.left_at_command_mah < evidence.pack_mah
    assert evidence.pack_mah <= 1000.0 * SHORT.power.capacity_ah * SHORT.power.charge_at_start_fraction


def test_a_fault_is_told_when_it_begins_and_when_it_ends():
    timeline = fly("strobe-dead:for_s=60@record+5min", plan=SHORT).evidence.timeline
    lines = [(item.what, item.reason) for item in timeline if item.kind == "fault"]
    assert lines == [("strobe-dead:for_s=60@record+300s", "the beacon lamp is dead"), ("strobe-dead ends", "")]


# --- the self-test on deck -----------------------------------------------------------------------------------------------


def test_the_self_test_is_told_and_the_lander_is_armed_within_a_minute_of_the_gesture():
    evidence = fly(plan=SHORT).evidence
    ended = next(item for item in evidence.timeline if item.what == "self-test ended")
    assert ended.reason == "passed: %s" % ", ".join(words.SELF_TEST.values())
    armed = next(span for span in evidence.spans if span.name == "armed")
    assert 12.0 < ended.time_s == armed.from_s < 72.0
    assert 0.5 < evidence.lights_in_air_s < 2.5


@pytest.mark.parametrize(("fault", "reason"), [
    ("bad-circuit@start", "primary release circuit is open"),
    ("bad-circuit:channel=backup,how=shorted@start", "backup release circuit is shorted"),
    ("flash-refuses@start", "journal memory could not be written and read back"),
    ("card-full", "camera was not seen to record"),
    ("clock-lost", "real-time clock was never set, or has stopped"),
])
def test_what_the_self_test_finds_is_told_with_its_lamp_and_the_lander_comes_home_all_the_same(fault, reason):
    result = fly(fault, plan=SHORT)
    evidence = result.evidence
    refused = next(item for item in evidence.timeline if item.what == "arming refused")
    assert refused.time_s < evidence.splash_s
    assert refused.reason.startswith("%s; status lamp: one long flash, " % reason)
    assert evidence.rows_seen[0] == "safe-splash"
    assert evidence.surfaced_s is not None
    assert outcome(result)["sentence"].endswith("It was never armed: %s." % reason)
    assert broken(result) == {}


def test_a_jammed_latch_has_a_sound_circuit_and_passes():
    assert fly("jammed:channel=both", plan=SHORT).evidence.rows_seen[0] == "safe-arm"
