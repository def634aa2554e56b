"""What people do besides the plan: commands on deck, and being thrown in once more. No outside source: these are ours."""

import pytest

from seatrial.deeds import DEEDS, WORDS, parse
from seatrial.dive import Dive
from seatrial.faults import FaultError

from .flying import SHORT


def flown(*texts: str, plan=SHORT):
    dive = Dive(plan, [parse(text) for text in texts], 1)
    return dive.run()


def rows(*texts: str) -> list[str]:
    return flown(*texts).evidence.rows_seen


def test_a_deed_reads_back_as_it_is_written_and_faults_are_read_too():
    for text in ("say:word=arm@start+60s", "thrown-in@splash+3600s", "jammed:channel=both@record", "say"):
        assert str(parse(text)) == text
    assert set(WORDS) == set(DEEDS["say"].parameters["word"].choices)


@pytest.mark.parametrize(("text", "said"), [
    ("say:word=dance", "allowed is arm, disarm"), ("say:loud=1", "it has word"), ("thrown-in:for_s=3", "it has none"),
    ("sey", "is not known"), ("say@nowhere", "not understood")])
def test_a_deed_that_is_written_wrong_is_one_sentence(text, said):
    with pytest.raises(FaultError, match=said) as told:
        parse(text)
    assert "\n" not in str(told.value)


def test_a_word_on_deck_disarms_and_nobody_says_it_under_water():
    assert "armed-disarm" in rows("say@start+300s")
    assert rows("say@record") == rows()


def test_a_word_is_not_kept_for_a_controller_that_is_off():
    off = "power-gone:for_s=60@start+200s"
    assert rows(off, "say@start+210s") == rows(off)


def test_fire_needs_ready_before_it():
    fired = [flown("magnet-brushed:for_s=40", *said).evidence.bench_fires for said in (
        ("say:word=fire@start+101s",), ("say:word=ready-primary@start+100s", "say:word=fire@start+101s"))]
    assert [bool(fires and fires[0].from_s < 200.0) for fires in fired] == [False, True]


def test_hauled_back_and_thrown_in_again_it_makes_two_dives():
    result = flown("hauled-back@record+600s", "thrown-in@splash+3h")
    assert result.evidence.rows_seen[-6:-3] == ["ascend-surface", "surface-again", "descend-settled"]
    assert len(result.evidence.dives()) == 2
    assert result.evidence.surfaced_s is not None


def test_thrown_in_while_it_is_in_the_water_nothing_happens():
    assert flown("thrown-in@record").journal == flown().journal
