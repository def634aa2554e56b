"""`tumblehome debrief`: what it tells of a journal, where it takes the plan from, and what it refuses in one sentence."""

import json
import re
from pathlib import Path

import pytest
import srt
import webvtt

from lander.journal import RECORD_BYTES
from seatrial.bodies import open_body
from seatrial.deeds import parse as parse_fault
from seatrial.dive import Dive
from seatrial.plan import load_sample
from seatrial.plan.changing import changed
from tumblehome.bench import pulled
from tumblehome.debrief.log import LAYOUTS

PLAN = changed(load_sample(), {"dive.watch_after_surfacing_min": 20})
SAMPLE = Path(__file__).parents[3] / "sim" / "seatrial" / "sample.toml"


def flown(*faults: str) -> bytes:
    body = open_body("cpython", PLAN.mission_record())
    return Dive(PLAN, [parse_fault(fault) for fault in faults], 1, body).run().journal


@pytest.fixture(scope="module")
def jammed() -> bytes:
    return flown("jammed@record")


@pytest.fixture(scope="module")
def leaking() -> bytes:
    """Water is felt in the housing an hour after landing."""
    return flown("leak@record+1h")


@pytest.fixture
def put(tmp_path):
    """Puts a journal into a folder, as a rehearsal does with `rehearsed`, and as a pull does with a `chip`."""
    def put_there(image: bytes, name: str = "dive", rehearsed: bool = True, chip: str | None = None) -> Path:
        folder = tmp_path / name
        folder.mkdir()
        (folder / pulled.IMAGE).write_bytes(image)
        if rehearsed:
            (folder / "dive.json").write_text(json.dumps({"plan_toml": PLAN.source_text}))
        if chip:
            (folder / pulled.DATA).write_text(json.dumps({"controller": {"id": chip}}))
        return folder
    return put_there


def checked(chip: str) -> str:
    """The record of a check on deck of this chip, as far as it is asked for."""
    return json.dumps({"kind": "check on deck", "form": 1, "board": {"id": chip}, "plan": {"toml": PLAN.source_text}})


# --- what it tells --------------------------------------------------------------------------------------------------


def test_it_names_the_cause_last_where_the_eye_rests_and_what_to_inspect(run, put, jammed):
    said = run("debrief", put(jammed), "--out", "told")
    assert said.err == ""
    words = " ".join(said.out.split())
    assert re.search(r"cause, \w+: .*jammed.* to know for sure: .*primary", words)
    assert words.rindex("HOME, NOT AS PLANNED") > words.rindex("cause, ") > words.index("Attempt 1, primary")
    assert sorted(path.name for path in Path("told").iterdir()) == [
        "debrief.html", "debrief.json", "dive.csv", "dive.nc", "records.json"]


def test_the_json_has_the_chain_with_its_records_and_is_the_file_that_is_written(run, put, jammed):
    said = run("debrief", put(jammed), "--json", "--out", "told")
    told = json.loads(said.out)
    assert told == json.loads(Path("told/debrief.json").read_text())
    attempts = [link for link in told["chain"] if link["said"].startswith("Attempt")]
    assert [link["said"].split(",")[0] for link in attempts] == ["Attempt 1", "Attempt 2"]
    assert all(link["records"] and link["expected"] and link["seen"] for link in attempts)
    assert told["outcome"]["end"] == "home" and "rehearsal" in told["plan_from"]


def test_a_lander_that_was_hauled_up_is_told_to_be_back_on_deck_and_not_home(run, put):
    told = json.loads(run("debrief", put(flown("hauled-back@record+10min")), "--json").out)
    assert (told["outcome"]["end"], told["outcome"]["word"]) == ("hauled back", "Hauled back")


def test_status_1_says_that_a_cause_is_established_or_a_law_broken(run, put, leaking):
    folder = put(leaking)
    told = json.loads(run("debrief", folder, "--json").out)
    assert any(cause["certainty"] == "established" for cause in told["causes"]) or any(
        law["verdict"] == "broken" for law in told["against"]["laws"])
    assert run("debrief", folder).status == 1


def test_the_plan_named_counts_before_those_that_lie_beside(run, put, jammed, tmp_path):
    folder = put(jammed)
    (folder / "deck.json").write_text(checked("E660"))
    assert "deck.json" in json.loads(run("debrief", folder, "--json").out)["plan_from"]
    assert json.loads(run("debrief", folder, SAMPLE, "--json").out)["plan_from"] == str(SAMPLE)


def test_no_plan_is_assumed_where_none_is_known(run, put, jammed):
    said = run("debrief", put(jammed, rehearsed=False))
    assert said.status == 0 and "needs the plan of this dive" in " ".join(said.out.split())
    told = json.loads(run("debrief", "dive", "--json").out)
    assert told["causes"] == [] and told["against"] is None and told["plan_toml"] is None


def test_a_torn_journal_opens_and_says_what_is_missing(run, put, jammed):
    torn = bytearray(jammed[:-37])
    torn[90 * RECORD_BYTES:91 * RECORD_BYTES] = b"\x01" * RECORD_BYTES
    said = run("debrief", put(bytes(torn)))
    words = " ".join(said.out.split())
    assert said.status in (0, 1) and said.err == ""
    assert "no whole record in 1 slot (the first: slot 90)" in words and "the file was cut off" in words


def test_one_of_several_dives_is_chosen_by_its_number(run, put, jammed):
    folder = put(jammed)
    assert json.loads(run("debrief", folder, "--dive", 1, "--json").out)["dive"] == 1
    said = run("debrief", folder, "--dive", 7)
    assert said.status == 2 and "no dive 7: its dives are 0, 1" in said.err


def test_what_it_teaches_is_a_piece_of_a_plan_that_the_next_plan_reads(run, put, jammed):
    run("debrief", put(jammed), "--learn", "--out", "told")
    fragment = Path("told/learned.toml").read_text()
    assert "resistance_mohm" in fragment and "drag_coefficient_down" in fragment
    assert "Fitted to this dive" in Path("told/debrief.html").read_text()


def test_with_the_first_light_of_the_video_it_writes_captions_and_chapters_with_own_notes(run, put, jammed):
    Path("notes.csv").write_text("time,text\n00:10:00,a hagfish\nsometime,nothing\n")
    said = run("debrief", put(jammed), "--lights-at", "00:00:05", "--notes", "notes.csv", "--out", "told")
    assert "row 3 of notes.csv is left out" in " ".join(said.out.split())
    captions = webvtt.read("told/captions.vtt")
    assert "depth 430" in captions[5].text
    assert len(list(srt.parse(Path("told/captions.srt").read_text()))) == len(captions)
    assert any("a hagfish" in chapter.text for chapter in webvtt.read("told/chapters.vtt"))


def test_where_it_came_up_is_held_against_the_plan(run, put, jammed):
    place = "%.5f %.5f" % (PLAN.site.latitude_deg + 0.01, PLAN.site.longitude_deg)
    told = json.loads(run("debrief", put(jammed), "--surfaced", place, "--json").out)
    row = next(row for row in told["against"]["rows"] if row["key"] == "off_place_m")
    assert row["verdict"] == "outside" and 900 < row["seen"] < 1400  # a hundredth of a degree of latitude is 1.11 km


def test_a_folder_of_several_dives_gives_their_trends(run, put, jammed, leaking):
    Path("many").mkdir()
    put(jammed, "many/one")
    put(leaking, "many/two")
    said = run("debrief", "many", "--out", "told")
    assert said.status == 0 and "shows over 6 dives or more" in " ".join(said.out.split())
    assert "…" not in said.out and "2027-05-18" in said.out and re.search(r"resets +bad *\n", said.out)
    assert json.loads(Path("told/trends.json").read_text())["dives"]
    assert "Too early to tell" in Path("told/trends.html").read_text(encoding="utf-8")
    assert "is for one dive" in run("debrief", "many", "--dive", 1).err


def test_the_journal_in_this_folder_is_taken_where_none_is_named(run, jammed):
    assert run("debrief").status == 2
    Path(pulled.IMAGE).write_bytes(jammed)
    assert run("debrief").status == 0


# --- what it refuses ------------------------------------------------------------------------------------------------


def test_a_journal_of_another_lander_than_was_checked_on_deck_is_refused(run, put, jammed):
    folder = put(jammed, chip="E661")
    Path("deck.json").write_text(checked("E660"))
    said = run("debrief", folder, "--deck", "deck.json")
    assert said.status == 2 and "E661" in said.err and "another lander" in said.err and said.err.count("\n") == 1
    assert list(Path().glob("debrief-*")) == []


FUTURE = bytes([max(LAYOUTS) + 1]) + bytes(RECORD_BYTES - 1)


@pytest.mark.parametrize(("image", "sentence"), [
    (b"", "is empty"), (b"\xff" * 4096, "all blank"), (FUTURE * 30, "bring it up to date"),
    (b"Depth was about 430 m, I think.\n" * 40, "is no journal")], ids=["empty", "blank", "future", "text"])
def test_what_is_no_journal_that_can_be_read_gets_one_sentence_and_status_2(run, put, image, sentence):
    said = run("debrief", put(image))
    assert said.status == 2 and said.out == "" and sentence in said.err and said.err.count("\n") == 1


@pytest.mark.parametrize(("words", "sentence"), [
    (("nowhere",), "does not exist"), ((".",), "has no journal.bin"),
    (("dive", "--notes", "notes.csv"), "needs the video's time"),
    (("dive", "--video-offset", "3", "--lights-at", "1:00"), "one of them"),
    (("dive", "--lights-at", "noon"), "no time in a video"), (("dive", "--video-starts", "noon"), "no moment"),
    (("dive", "--surfaced", "here"), "here"), (("dive", "--lander", "AB"), "--heard"),
    (("dive", "no-plan.toml"), "no-plan.toml"), (("dive", "dive/journal.bin"), "is a journal too"), (("dive", "--deck", "dive/dive.json"), "no record of a check"),
    (("dive", "--heard", "none.log"), "none.log")], ids=lambda given: given[-1] if isinstance(given, tuple) else "")
def test_a_mistake_is_one_sentence_and_nothing_is_written(run, put, jammed, words, sentence):
    if words[0] == "dive":
        put(jammed)
    said = run("debrief", *words)
    assert said.status == 2 and said.out == "" and sentence in said.err
    assert said.err.count("\n") == 1 and list(Path().glob("debrief-*")) == []
