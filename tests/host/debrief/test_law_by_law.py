"""The laws on a journal alone never contradict those on the truth: they say the same, or that it cannot be told.

The truth is the simulator's own judgement of the same dive, with sound cores under faults and with cores that are
broken on purpose.
"""

import pytest

from seatrial.deeds import parse as parse_fault
from seatrial.dive import Dive
from seatrial.known_bad import DIVES
from seatrial.plan import load_sample
from seatrial.verdicts import BROKEN, KEPT
from tumblehome.debrief import log, rebuilt
from tumblehome.debrief.law_by_law import CANNOT, NEVER_SHOWN, laws_on

from ...sim.broken_cores import CORES, body_of

PLAN = load_sample()
SHORT = PLAN.model_copy(update={
    "dive": PLAN.dive.model_copy(update={"watch_after_surfacing_min": 20.0}),
    "journal": PLAN.journal.model_copy(update={"reading_bottom_s": 30.0}),
    "times": PLAN.times.model_copy(update={"timed_release_min": 60.0, "latest_release_min": 80.0})})
# What a broken core does and its own journal cannot show: the sensor that would tell is the one that is wrong, or the
# controller has written what it believed.
UNSEEN = {
    "a clock that jumps while the controller runs stays trusted", "one sign of water is believed at once",
    "a reading that jumps is believed, and counts as a rise", "it presses without looking at the camera's answer",
    "a camera that crashed is not started again", "lights do not ask for depth",
}


def judged(plan, faults: list[str], body=None) -> tuple[dict[int, str], dict[int, set[str]]]:
    """By law: what the simulator says, and what the journals of all dives in it say."""
    result = Dive(plan, [parse_fault(fault) for fault in faults], 1, body, keep_series=False).run()
    told: dict[int, set[str]] = {}
    for dive in log.parse(result.journal, "here").dives():
        for law in laws_on(dive, plan):
            told.setdefault(law.number, set()).add(law.verdict)
    return {one.number: one.verdict for one in result.verdicts}, told


def no_contradiction(true: dict[int, str], told: dict[int, set[str]]) -> None:
    for number, verdict in true.items():
        if verdict == BROKEN:
            assert told[number] & {BROKEN, CANNOT}, number
        else:
            assert BROKEN not in told[number], number


@pytest.mark.parametrize("written", DIVES[::3], ids=str)
def test_a_sound_core_is_never_blamed_whatever_the_sea_does(written):
    plan = PLAN if written.startswith("*") else SHORT
    no_contradiction(*judged(plan, written.removeprefix("*").split()))


@pytest.mark.parametrize("core", CORES, ids=lambda core: "%s, %s" % (core.breaks, core.faults))
def test_a_broken_core_is_found_broken_in_its_own_journal_or_the_journal_says_that_it_cannot_tell(core):
    true, told = judged(PLAN, core.faults.split(), body_of(core.breaks, PLAN))
    no_contradiction(true, told)
    seen = {number for number, verdicts in told.items() if BROKEN in verdicts}
    assert seen <= core.laws
    assert (not seen) == (core.breaks in UNSEEN)


def test_a_sound_dive_keeps_every_law_but_the_second_boards_which_writes_nothing_here():
    _true, told = judged(PLAN, [])
    assert told.pop(13) == {CANNOT}
    assert set().union(*told.values()) == {KEPT}


def test_every_law_says_what_no_journal_can_show():
    result = Dive(SHORT, [], 1, keep_series=False).run()
    laws = laws_on(log.parse(result.journal, "here").dives()[-1], SHORT)
    assert [law.number for law in laws] == list(range(1, 14))
    assert [law.never_shown for law in laws] == [NEVER_SHOWN[law.number] for law in laws]


def test_a_journal_that_ends_at_the_seabed_leaves_the_way_home_untold():
    result = Dive(SHORT, [], 1, keep_series=False).run()
    dive = log.parse(result.journal, "here").dives()[-1]
    laws = {law.number: law for law in laws_on(dive.part(dive.records["state"] <= 3), SHORT)}
    for number in (1, 4, 8):
        assert laws[number].verdict == CANNOT and "ends" in laws[number].sentence


def test_missing_records_withhold_what_they_might_have_shown():
    result = Dive(SHORT, [], 1, keep_series=False).run()
    journal = bytearray(result.journal)
    journal[64 * 60 + 9] ^= 0xFF
    laws = {law.number: law for law in laws_on(log.parse(bytes(journal), "here").dives()[-1], SHORT)}
    assert laws[12].verdict == CANNOT and "missing" in laws[12].sentence
    assert laws[1].verdict == KEPT


def test_the_records_of_a_broken_law_are_those_that_show_it():
    core = next(core for core in CORES if core.breaks == "a magnet disarms under water")
    result = Dive(PLAN, [parse_fault(core.faults)], 1, body_of(core.breaks, PLAN), keep_series=False).run()
    for dive in log.parse(result.journal, "here").dives():
        for law in laws_on(dive, PLAN):
            if law.number == 11 and law.verdict == BROKEN:
                fields = [dive.fields(at) for at in law.records]
                assert fields and all(one["kind"] == 2 and one["state"] == 0 for one in fields)
                return
    pytest.fail("the disarming under water was not found")


def test_the_evidence_of_a_journal_has_the_moments_that_truly_were():
    result = Dive(PLAN, [], 1, keep_series=False).run()
    told, true = rebuilt.evidence_of(log.parse(result.journal, "here").dives()[-1], PLAN), result.evidence
    for name in ("splash_s", "touchdown_s", "left_bottom_s", "surfaced_s", "command_s"):
        assert abs(getattr(told, name) - getattr(true, name)) <= 10.0, name
    assert told.journal_rows == true.journal_rows
    assert [one.channel for one in told.attempts] == [one.channel for one in true.attempts]


def test_a_log_without_records_is_refused_in_one_sentence():
    empty = log.parse(Dive(SHORT, [], 1, keep_series=False).run().journal, "here")
    with pytest.raises(ValueError, match="has no records"):
        rebuilt.rebuild(empty.part(empty.records["state"] > 99), SHORT)
