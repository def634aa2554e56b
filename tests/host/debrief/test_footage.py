"""The lander's captions fall on the pictures that they tell of, in files that players read.

The truth of the lamps is the simulated sea's, which no journal is asked for; the files are read by webvtt-py and srt.
"""

import re
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
import srt
import webvtt

from lander import table
from seatrial.bodies import open_body
from seatrial.deeds import parse as parse_fault
from seatrial.dive import Dive
from seatrial.plan import load_sample
from seatrial.plan.changing import changed
from tumblehome.debrief import footage, log
from tumblehome.debrief.depths import depths
from tumblehome.debrief.footage import Mark

LAMPS = 5  # their place among the levels of the simulated sea
FRAME_S = 0.04
PLAN = changed(load_sample(), {"dive.watch_after_surfacing_min": 20})
CYCLED = {"lights.on_s": 600, "lights.off_s": 1200}


class Filmed:
    """A dive with the moments at which its lamps truly changed, at sea, and a camera that has filmed all of it."""

    def __init__(self, changes: Mapping[str, object] | None = None, faults=(), seed: int = 5) -> None:
        self.plan = changed(PLAN, changes or {})
        dive = Dive(self.plan, [parse_fault(fault) for fault in faults], seed,
                    open_body("cpython", self.plan.mission_record()))
        self.lamps: list[tuple[float, bool]] = []
        heard = dive.story.levels_changed

        def listen(before, levels, why: str = "") -> None:
            if bool(before[LAMPS]) != bool(levels[LAMPS]) and dive.world.hull.in_water:
                self.lamps.append((dive.world.now_s, bool(levels[LAMPS])))
            heard(before, levels, why)
        dive.story.levels_changed = listen  # type: ignore[method-assign]
        self.result = dive.run()
        self.log = log.parse(self.result.journal, "here")
        self.depths = depths(self.log, self.plan)


@pytest.fixture(scope="module")
def filmed() -> Filmed:
    return Filmed()


@pytest.fixture(scope="module")
def match(filmed: Filmed) -> footage.Match:
    return footage.by_marks(filmed.log, [Mark(filmed.lamps[0][0] - 100.0)])


def seen_at(mission_s: float, begins_s: float, rate: float = 1.0) -> float:
    """The video time that a person reads, to a frame."""
    return round((mission_s - begins_s) / rate / FRAME_S) * FRAME_S


# --- the slate ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(1, 6))
def test_the_lamps_of_the_journal_change_when_the_lamps_of_the_sea_do(seed):
    filmed = Filmed(seed=seed)
    found = footage.changes_of_light(filmed.log)
    assert [change.on for change in found] == [on for _at, on in filmed.lamps] == [True, False]
    assert all(abs(change.mission_s - at_s) <= 0.1 + 1e-9
               for change, (at_s, _on) in zip(found, filmed.lamps, strict=True))


@pytest.mark.parametrize(("changes", "faults"), [
    (CYCLED, ()), ({}, ("reset@record+20min", "reset@record+50min")), (CYCLED, ("camera-crashed@record+45min",)),
])
def test_no_lamp_changed_outside_the_time_that_the_journal_leaves_open(changes, faults):
    filmed = Filmed(changes, faults)
    found = footage.changes_of_light(filmed.log)
    assert len(found) >= 4 and [change.on for change in found] == [on for _at, on in filmed.lamps]
    resets_s = footage.RESET_S * (len(np.unique(filmed.log.records["boot"])) - 1)  # what its time may have moved by
    for change, (at_s, _on) in zip(found, filmed.lamps, strict=True):
        assert change.mission_s - change.within_s - resets_s - 0.2 <= at_s <= change.mission_s + resets_s + 0.2


def test_one_mark_places_the_video(filmed):
    begins_s = 612.34
    match = footage.by_marks(filmed.log, [Mark(seen_at(filmed.lamps[0][0], begins_s))])
    assert abs(match.begins_s - begins_s) < 3 * match.begins_sigma_s < 0.5
    assert match.mission_s(match.video_s(5000.0)) == pytest.approx(5000.0)


def test_two_marks_tell_the_rate_of_the_cameras_clock(filmed):
    begins_s, rate = 612.34, 1.00012
    marks = [Mark(seen_at(at_s, begins_s, rate), on) for at_s, on in filmed.lamps]
    match = footage.by_marks(filmed.log, marks)
    assert abs(match.rate - rate) < 3 * match.rate_sigma and match.rate_sigma < 2e-5
    assert abs(match.mission_s(10000.0) - (begins_s + rate * 10000.0)) < 0.3
    assert any("parts in a million" in sentence for sentence in match.how)


def test_the_true_begin_and_rate_lie_within_the_stated_uncertainty_as_often_as_they_should():
    filmed = Filmed(CYCLED)
    rolls = np.random.default_rng(11)
    off = []
    for _ in range(200):
        begins_s, rate = rolls.uniform(500.0, 800.0), 1.0 + rolls.normal(0.0, footage.RATE_SIGMA)
        chosen = sorted(rolls.choice(len(filmed.lamps), 4, replace=False))
        marks = [Mark((filmed.lamps[at][0] - begins_s) / rate + rolls.normal(0.0, 0.05), filmed.lamps[at][1], at // 2 + 1)
                 for at in chosen]
        match = footage.by_marks(filmed.log, marks)
        off.append(((match.begins_s - begins_s) / match.begins_sigma_s, (match.rate - rate) / match.rate_sigma))
    assert (np.mean(np.abs(off) < 2.0, axis=0) >= 0.90).all()  # 95 % of a normal spread, less what 200 draws may miss by


def test_marks_find_their_own_place_among_many_changes_of_light():
    filmed = Filmed(CYCLED, ("reset@record+25min",))  # the camera starts anew at no regular time
    begins_s = 700.0
    marks = [Mark(seen_at(at_s, begins_s), on) for at_s, on in filmed.lamps[2:6]]
    assert abs(footage.by_marks(filmed.log, marks).begins_s - begins_s) < 8.0


def test_where_several_places_fit_the_first_is_taken_and_said_and_a_number_names_another():
    filmed = Filmed(CYCLED)
    lit_s = [at_s for at_s, on in filmed.lamps if on]
    match = footage.by_marks(filmed.log, [Mark(60.0)])
    assert abs(match.begins_s - (lit_s[0] - 60.0)) < 1.0
    assert "%d other changes of light" % (len(lit_s) - 1) in match.how[-1]
    second = footage.by_marks(filmed.log, [footage.read_mark("2@00:01:00")])
    assert abs(second.begins_s - (lit_s[1] - 60.0)) < 6.0


def test_the_start_in_utc_and_the_offset_from_the_splash_place_the_video_too(filmed):
    splash = filmed.plan.dive.splash_utc
    by_start = footage.by_start(filmed.log, splash + timedelta(minutes=3))
    by_offset = footage.by_offset(filmed.log, 180.0)
    assert abs(by_start.begins_s - by_offset.begins_s) < 10.0  # the journal's splash is when it was sure of the water


@pytest.mark.parametrize(("marks", "words"), [
    ([], "no mark is given"),
    ([Mark(60.0), Mark(90.0)], "do not fit"),
    ([Mark(60.0), Mark(600.0, False)], "do not fit"),
    ([Mark(60.0, True, 9)], "come on 1 times"),
])
def test_marks_that_fit_nothing_are_refused_in_one_sentence(filmed, marks, words):
    with pytest.raises(log.LogError, match=words) as refused:
        footage.by_marks(filmed.log, marks)
    assert "\n" not in str(refused.value)


def test_a_dive_without_light_or_clock_says_what_to_give_instead():
    dark = Filmed({"lights.level_pct": 0})
    with pytest.raises(log.LogError, match="no moment at which the lamps come on"):
        footage.by_marks(dark.log, [Mark(60.0)])
    unset = Filmed({"sensors.clock.set": False, "self_test.sensors": False}, ("clock-lost@start",))
    assert not unset.log.has_clock
    with pytest.raises(log.LogError, match="no trusted clock"):
        footage.by_start(unset.log, datetime(2027, 5, 18, tzinfo=UTC))


@pytest.mark.parametrize(("text", "seconds"), [("00:03:12.4", 192.4), ("3:12", 192.0), ("192.4", 192.4),
                                               ("01:00:00,500", 3600.5), ("0", 0.0)])
def test_video_times_are_read_as_they_are_written(text, seconds):
    assert footage.clock_s(text) == pytest.approx(seconds)


@pytest.mark.parametrize("text", ["", "soon", "1:2:3:4", "-5", "00:61:00", "nan", "inf"])
def test_what_is_no_video_time_is_refused(text):
    with pytest.raises(log.LogError, match="is no time in a video"):
        footage.clock_s(text)


@pytest.mark.parametrize("text", ["0@1:00", "x@1:00", "@1:00"])
def test_what_is_no_mark_is_refused(text):
    with pytest.raises(log.LogError, match="is no mark"):
        footage.read_mark(text)


# --- captions -------------------------------------------------------------------------------------------------------


@pytest.mark.published("library", source="webvtt-py and srt", tolerance="as each says")
def test_a_player_reads_the_same_captions_from_webvtt_and_subrip(filmed, match):
    cues = footage.captions(filmed.log, match, filmed.depths)
    vtt = webvtt.from_string(footage.web_vtt(cues, "first light"))
    rip = list(srt.parse(footage.sub_rip(cues)))
    assert len(vtt) == len(rip) == len(cues) > 1000
    for cue, one, other in zip(cues, vtt, rip, strict=True):
        assert one.text == other.content == cue.text
        assert abs(one.start_in_seconds - int(cue.from_s)) <= 1 and abs(other.start.total_seconds() - cue.from_s) < 0.001
        assert abs(other.end.total_seconds() - cue.to_s) < 0.001


def test_captions_tell_the_true_depth_and_time_of_their_moment(filmed, match):
    truth = filmed.result.series
    for cue in footage.captions(filmed.log, match, filmed.depths)[::50]:
        told = re.fullmatch(r"depth (\d+\.\d) m, (water|outside) -?\d+\.\d\d °C, (.*) UTC, (\w+)", cue.text)
        assert told and told.group(4) in table.STATES
        mission_s = match.mission_s(cue.from_s)
        true_m = float(np.interp(mission_s, truth.time_s, truth.depth_m))
        assert abs(float(told.group(1)) - max(true_m, 0.0)) < 1.5  # noise, lag and the swell
        utc = datetime.fromisoformat(told.group(3)).replace(tzinfo=UTC)
        since_splash_s = mission_s - filmed.result.evidence.splash_s
        assert abs((utc - filmed.plan.dive.splash_utc).total_seconds() - since_splash_s) < 3.0


def test_captions_follow_each_other_without_overlap_and_never_oftener_than_once_a_second(filmed, match):
    often = Filmed({"journal.reading_descent_s": 0.5, "journal.slots": 20000})
    for told in (filmed, often):
        cues = footage.captions(told.log, match, told.depths)
        assert all(cue.from_s < cue.to_s <= cue.from_s + footage.CUE_MOST_S for cue in cues)
        assert all(a.to_s <= b.from_s + 1e-9 and b.from_s - a.from_s >= 0.999
                   for a, b in zip(cues[1:], cues[2:], strict=False))


def test_captions_stay_within_the_video(filmed, match):
    cues = footage.captions(filmed.log, match, filmed.depths, video_ends_s=500.0)
    assert cues[0].from_s >= 0.0 and cues[-1].to_s <= 500.0 and footage.captions(filmed.log, match, filmed.depths, 0.0) == []


# --- chapters and notes ---------------------------------------------------------------------------------------------


def test_chapters_name_the_events_of_the_dive_in_their_order(filmed, match):
    told = footage.chapters(filmed.log, match, filmed.depths)
    texts = "; ".join(cue.text for cue in told)
    order = ["landed", "lamps on", "release: timed release due", "lamps off", "primary release fires", "left the bottom",
             "rise confirmed", "surfaced"]
    places = [texts.index(word) for word in order]
    assert places == sorted(places)
    assert [cue.text for cue in told] == [caption.text for caption in webvtt.from_string(footage.web_vtt(told))]


@pytest.mark.parametrize("seed", range(1, 5))
def test_the_bottom_is_left_when_it_truly_was(seed):
    filmed = Filmed(seed=seed)
    left_s = footage.left_bottom_s(filmed.log, filmed.depths)
    every_s = filmed.plan.journal.reading_bottom_s
    assert left_s is not None and abs(left_s - filmed.result.evidence.left_bottom_s) <= every_s + 3.0


def test_a_lander_that_never_rose_has_not_left_the_bottom():
    stuck = Filmed({"second.fitted": False}, ("jammed:channel=both@record",))
    lost = log.parse(stuck.result.journal[:64 * 3000], "here")
    assert footage.left_bottom_s(lost, depths(lost, stuck.plan)) is None


def test_notes_in_every_kind_of_time_stand_among_the_chapters(filmed, match):
    utc = filmed.log.utc(2000.0)
    text = "time,what\n%s,a crab & <something>\n00:20:00,\"eel, small\"\ns3000,silt --> settles\n" % (
        utc.strftime("%Y-%m-%dT%H:%M:%S.%fZ"))
    notes, refused = footage.read_notes(text, filmed.log, match)
    assert refused == [] and [note.mission_s for note in notes] == pytest.approx([2000.0, match.mission_s(1200.0), 3000.0],
                                                                                abs=1e-3)
    told = footage.chapters(filmed.log, match, filmed.depths, notes)
    read = [caption.text for caption in webvtt.from_string(footage.web_vtt(told))]
    assert "a crab &amp; &lt;something&gt;" in read and "eel, small" in read and len(read) == len(told)


def test_notes_of_a_spreadsheet_with_semicolons_are_read(filmed, match):
    notes, refused = footage.read_notes("\ufeff00:20:00;eel, small\r\n00:21:00;ray\r\n", filmed.log, match)
    assert [note.text for note in notes] == ["eel, small", "ray"] and refused == []


def test_a_file_without_a_note_says_how_one_is_written(filmed, match):
    for text in ("", "time,text\n"):
        assert footage.read_notes(text, filmed.log, match, "notes.csv") == (
            [], ["notes.csv has no notes in it: write a row each, a time, a comma and the text"])


def test_rows_that_are_no_notes_are_named_and_the_rest_is_kept(filmed, match):
    text = "99:99,what\n00:20:00,eel\n\nyesterday,ray\n00:22:00,\n2027-13-40T00:00:00Z,month\n"
    notes, refused = footage.read_notes(text, filmed.log, match, "notes.csv")
    assert [note.text for note in notes] == ["eel"]
    assert [re.match(r"row (\d) of notes.csv is left out", sentence).group(1) for sentence in refused] == list("1456")
