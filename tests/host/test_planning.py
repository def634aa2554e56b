"""`tumblehome plan` from the command line: what it says, what it writes, and how it ends."""

import json
import re

import pytest

from seatrial.plan import load_sample, sample_text
from seatrial.workings.whole import work_out
from tumblehome.wording import shown

from .plans_broken_in_one_way import BROKEN, SAMPLE, Broken

CHAPTERS = ("times", "weights", "motion", "drift", "supply", "warmth", "light", "pressure", "column")


@pytest.fixture
def written(tmp_path):
    """Writes a plan into the folder the command runs in; returns its name."""

    def write(text: str, name: str = "plan.toml") -> str:
        (tmp_path / name).write_text(text, encoding="utf-8")
        return name

    return write


def flat(text: str) -> str:
    """What was printed as one line, however the terminal broke it."""
    return " ".join(text.split())


# --- the sample ----------------------------------------------------------------------------------------------------


def test_with_no_file_the_sample_is_worked_out_and_adds_up(run, tmp_path):
    said = run("plan")
    assert said.status == 0
    assert said.err == ""
    assert flat(said.out).endswith("ADDS UP nothing found wrong; it proves nothing about hardware that was not tested")
    assert "WRONG" not in said.out
    assert list(tmp_path.iterdir()) == []


def test_the_short_table_holds_the_leading_figures_of_every_chapter(run):
    said = run("plan").out
    for title in ("Times and order", "Weight and buoyancy", "Down and up", "Sideways", "Energy", "Heat", "Light",
                  "Pressure"):
        assert re.search("(?m)^%s" % title, said), title
    assert re.search(r"descent, likely +659 +s", said)


def test_at_80_columns_no_word_is_cut_off(run):
    words = set(run("plan").out.split())
    for chapter in work_out(load_sample()).chapters:
        for figure in chapter.figures:
            if figure.leading:
                said = f"{figure.words} {figure.note} {figure.unit}".split()
                assert [word for word in said if word not in words] == [], figure.key


def test_at_80_columns_no_number_of_any_table_is_cut_off(run):
    said = run("plan", "--full").out
    words = set(re.split(r"[\s;]+", said))
    assert "\u2026" not in said
    for chapter in work_out(load_sample()).chapters:
        for table in chapter.tables:
            for row in table.rows:
                for column, value in zip(table.columns, row, strict=True):
                    assert [word for word in re.split(r"[\s;]+", shown(value, column.digits)) if word not in words] == []


def test_a_chapter_that_is_asked_for_is_shown_whole_and_alone(run):
    said = run("plan", "--chapter", "light").out
    assert "Light" in said and "Sideways" not in said
    assert "limit" in said
    assert "turbid" in said  # of its table


def test_full_shows_every_table(run):
    said = run("plan", "--full").out
    assert "The water by depth" in said and "turbid" in said


def test_a_chapter_that_is_none_is_refused_with_those_there_are(run):
    said = run("plan", "--chapter", "weather")
    assert said.status == 2
    assert said.err.startswith("--chapter is weather; allowed is times, weights,")


# --- JSON and files ------------------------------------------------------------------------------------------------


def test_the_json_is_the_account_and_nothing_else(run):
    said = run("plan", "--json")
    told = json.loads(said.out, parse_constant=lambda word: pytest.fail(word))
    assert said.status == 0
    assert told["adds_up"] is True and told["faults"] == []
    assert tuple(chapter["key"] for chapter in told["chapters"]) == CHAPTERS
    assert told["plan_toml"] == sample_text()
    motion = next(chapter for chapter in told["chapters"] if chapter["key"] == "motion")
    assert motion["figures"]["descent_likely_s"] == pytest.approx(658.6, abs=0.1)


def test_the_same_plan_gives_the_same_json_byte_for_byte(run):
    assert run("plan", "--json").out == run("plan", "--json").out


def test_out_gets_page_and_data(run, tmp_path):
    said = run("plan", "--out", "there")
    assert said.status == 0
    assert sorted(path.name for path in (tmp_path / "there").iterdir()) == ["plan.html", "plan.json"]
    assert json.loads((tmp_path / "there" / "plan.json").read_text())["adds_up"] is True
    assert "Adds up" in (tmp_path / "there" / "plan.html").read_text(encoding="utf-8")


def test_card_alone_gets_a_fresh_folder_and_with_out_that_one(run, tmp_path):
    assert run("plan", "--card").status == 0
    fresh, = tmp_path.iterdir()
    assert re.fullmatch(r"plan-\d{8}-\d{6}", fresh.name)
    assert [path.name for path in fresh.iterdir()] == ["card.html"]
    run("plan", "--card", "--out", "there")
    assert sorted(path.name for path in (tmp_path / "there").iterdir()) == ["card.html", "plan.html", "plan.json"]


def test_a_dive_that_does_not_add_up_gets_no_card_and_says_so(run, written, tmp_path):
    name = written(BROKEN[0].text)
    said = run("plan", name, "--card", "--out", "there")
    assert said.status == 1
    assert "none: a dive that does not add up gets no card" in said.out
    assert sorted(path.name for path in (tmp_path / "there").iterdir()) == ["plan.html", "plan.json"]


def test_a_folder_that_cannot_be_written_is_refused_before_the_work(run, tmp_path):
    (tmp_path / "taken").write_text("x")
    said = run("plan", "--out", "taken")
    assert said.status == 2
    assert said.out == ""
    assert said.err.startswith("--out is taken, which is a file")


# --- what does not add up ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("broken", BROKEN, ids=[broken.name for broken in BROKEN])
def test_a_plan_broken_in_one_way_gives_one_sentence_with_its_numbers(run, written, broken: Broken):
    said = run("plan", written(broken.text), "--json")
    sentences = json.loads(said.out)["faults"]
    assert said.status == 1
    assert len(sentences) == 1, sentences
    assert [part for part in broken.parts if part not in sentences[0]] == [], sentences[0]


def test_what_is_wrong_stands_above_the_verdict_at_the_end(run, written):
    said = run("plan", written(BROKEN[2].text))
    assert flat(said.out).endswith("or make the lander lighter DOES NOT ADD UP 1 thing to change")
    assert "WRONG lander.floats.volume_l" in flat(said.out)


def test_everything_wrong_is_told_at_once(run, written):
    text = SAMPLE.replace("range_m = 600\nresolution_mbar = 2\n", "range_m = 440\nresolution_mbar = 2\n").replace("earliest_h = 30", "earliest_h = 5.5")
    said = run("plan", written(text))
    assert said.status == 1
    assert "2 things to change" in said.out


@pytest.mark.parametrize(("text", "part"), [
    ("", "is an empty plan"), ("[site]\n", "the section [dive] is missing"),
    (SAMPLE.replace("depth_m = 430\n", 'depth_m = "430"\n', 1), "site.depth_m is the text"),
    (SAMPLE.replace("[fan]", "[fann]"), "fann is not a key of the plan"),
])
def test_bad_input_is_told_on_the_error_stream_with_status_2(run, written, tmp_path, text, part):
    said = run("plan", written(text), "--out", "there")
    assert said.status == 2
    assert said.out == ""
    assert part in said.err
    assert not (tmp_path / "there").exists()


def test_a_file_that_is_not_there_is_one_sentence(run):
    said = run("plan", "nowhere.toml")
    assert said.status == 2
    assert said.err.count("\n") == 1 and "nowhere.toml cannot be read" in said.err


# --- side by side --------------------------------------------------------------------------------------------------


def test_two_plans_stand_side_by_side_with_their_differences(run, written):
    more = SAMPLE.replace('name = "float"\nrole = "float"\ncount = 4', 'name = "float"\nrole = "float"\ncount = 5')
    said = run("plan", written(SAMPLE, "four.toml"), written(more, "five.toml"))
    assert "four.toml" in said.out and "five.toml" in said.out
    line = next(line for line in said.out.splitlines() if line.startswith("descent, likely"))
    four_s, five_s, difference_s = (float(found) for found in re.findall(r"[+-]?\d+", line)[:3])
    assert five_s > four_s  # more lift sinks slower
    assert difference_s == pytest.approx(five_s - four_s, abs=1)
    for words in ("surfaces, from the", "spare at the"):
        assert words in flat(said.out)


def test_a_plan_that_does_not_add_up_decides_the_status_of_all(run, written):
    said = run("plan", written(SAMPLE, "good.toml"), written(BROKEN[3].text, "bad.toml"))
    assert said.status == 1
    assert "bad.toml: times.latest_release_min is 360" in flat(said.out)


def test_side_by_side_as_json_is_a_list(run, written):
    said = run("plan", written(SAMPLE, "a.toml"), written(SAMPLE, "b.toml"), "--json")
    assert [told["adds_up"] for told in json.loads(said.out)] == [True, True]


@pytest.mark.parametrize("option", [("--card",), ("--out", "there")])
def test_a_card_or_a_folder_is_for_one_plan(run, written, tmp_path, option):
    said = run("plan", written(SAMPLE, "a.toml"), written(SAMPLE, "b.toml"), *option)
    assert said.status == 2
    assert said.err.startswith("%s is for one plan" % option[0])
    assert not (tmp_path / "there").exists()
