"""`tumblehome sweep` as a person meets it: a campaign with one command, interrupted and gone on with, and its page.

The checks of one run against another are checks of the tool against itself. 130 is 128 + SIGINT, as shells report it
(common practice, no source).
"""

import json
import re
import shlex
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import pytest

from lander import VERSION
from seatrial import plan as plans
from seatrial import scenario
from seatrial.campaign import summary as summaries
from seatrial.campaign.choosing import Campaign, dives
from seatrial.campaign.flying import Row
from seatrial.faults import KINDS
from tumblehome import sweeping
from tumblehome.page.sweep import sweep_page

from .pages_for_tests import NASTY, Reader

ONLY = ("--only", "clock-lost", "--only", "site and people/caught")


def short_plan(folder: Path) -> Path:
    """The sample as a dive of an hour, so that a campaign takes seconds."""
    text = plans.sample_text()
    for key, value in (("timed_release_min", 60), ("latest_release_min", 90), ("watch_after_surfacing_min", 20),
                       ("reading_bottom_s", 30), ("earliest_h", 6), ("latest_h", 10)):
        text, changed = re.subn(r"(?m)^%s = [^#\n]*" % key, "%s = %d " % (key, value), text, count=1)
        assert changed
    path = folder / "short.toml"
    path.write_text(text, encoding="utf-8")
    return path


def rows_in(folder: Path) -> list[tuple]:
    """What stands in the file, but for the time it took."""
    columns = ", ".join(name for name in Row.__dataclass_fields__ if name != "took_s")
    with closing(sqlite3.connect(folder / "sweep.sqlite")) as base:  # open, it has files of its own beside it
        return base.execute("SELECT %s FROM dive ORDER BY number" % columns).fetchall()


@pytest.fixture(scope="module")
def flown(tmp_path_factory) -> Path:
    """A campaign that ran through, in a process of its own."""
    folder = tmp_path_factory.mktemp("flown")
    subprocess.run([*PROGRAM, "sweep", short_plan(folder), *ONLY, "--cores", "2", "--out", folder / "out"], cwd=folder,
                   check=True, capture_output=True, timeout=300)
    return folder


PROGRAM = (sys.executable, "-c", "from tumblehome.cli import main; main()")


# --- a campaign --------------------------------------------------------------------------------------------------------


def test_it_tells_law_by_law_what_came_of_it_and_how_to_see_each_harm_again(run, tmp_path):
    said = run("sweep", short_plan(tmp_path), "--only", "caught", "--cores", 2, "--out", "out")
    assert said.status == 0, "caught is physical: no law is broken where a release was possible"
    assert said.err == ""
    assert re.search(r"(?m)^ +4 +Never give up +\d+ +\d+ +0 +0$", said.out)
    assert "LAWS KEPT No law was broken where a release was possible" in said.out
    assert re.search(r"(?m)^ +\d+  lost: it is caught at \d+ m and held there$", said.out)
    assert re.search(r"(?m)^ +tumblehome rehearse \S+short.toml --seed \d+ --fault caught\S*$", said.out)


def test_the_folder_has_the_page_the_numbers_the_rows_and_a_scenario_for_each_harm(flown):
    names = sorted(entry.name for entry in (flown / "out").iterdir())
    told = json.loads((flown / "out" / "sweep.json").read_text())
    assert names == [*("scenario-%02d.toml" % (number + 1) for number in range(len(told["causes"]))),
                     "sweep.html", "sweep.json", "sweep.sqlite"]
    assert told["dives"]["flown"] == told["dives"]["planned"] == len(rows_in(flown / "out"))
    assert told["version"] == VERSION
    assert told["within_laws"] is True
    assert sum(path["dives"] for path in told["paths"]) == told["dives"]["flown"]


def test_the_harm_of_a_scenario_file_comes_again_when_it_is_flown(flown, monkeypatch):
    monkeypatch.chdir(flown)
    kept = scenario.read(flown / "out" / "scenario-01.toml")
    assert kept.found.startswith("lost: it is caught")
    words = shlex.split(kept.command())
    again = subprocess.run([*PROGRAM, *words[1:], "--json", "--out", "again"], cwd=flown, capture_output=True,
                           timeout=120, check=False)
    assert again.returncode == 1
    assert json.loads(again.stdout)["outcome"]["home"] is False


def test_the_same_command_once_more_flies_nothing_and_says_the_same(flown):
    before = (flown / "out" / "sweep.json").read_text()
    rows = rows_in(flown / "out")
    done = subprocess.run([*PROGRAM, *shlex.split(json.loads(before)["command"])[1:], "--json"], cwd=flown, timeout=120,
                          capture_output=True, encoding="utf-8", check=True)
    assert json.loads(done.stdout) == json.loads(before)
    assert rows_in(flown / "out") == rows


@pytest.mark.parametrize(("number", "status"), [
    (signal.SIGKILL, -signal.SIGKILL), pytest.param(signal.SIGINT, 130, marks=pytest.mark.long)])
def test_interrupted_and_gone_on_with_it_gives_the_same_rows(flown, tmp_path, number, status):
    words = ["sweep", str(flown / "short.toml"), *ONLY, "--cores", "1", "--out", "out"]
    running = subprocess.Popen([*PROGRAM, *words], cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
                               encoding="utf-8")
    half = len(rows_in(flown / "out")) // 3
    for _ in range(1200):
        if (tmp_path / "out" / "sweep.sqlite").exists() and _count(tmp_path / "out") >= half:
            break
        assert running.poll() is None, running.communicate()
        time.sleep(0.1)
    running.send_signal(number)
    _out, err = running.communicate(timeout=120)
    assert running.returncode == status
    if number == signal.SIGINT:
        assert re.match(r"stopped: \d+ of \d+ dives are flown and kept; go on with: tumblehome sweep .*\n$", err)
    assert half <= _count(tmp_path / "out") < len(rows_in(flown / "out"))
    subprocess.run([*PROGRAM, *words], cwd=tmp_path, check=True, capture_output=True, timeout=300)
    assert rows_in(tmp_path / "out") == rows_in(flown / "out")


def _count(folder: Path) -> int:
    try:
        with sqlite3.connect(folder / "sweep.sqlite") as base:
            return base.execute("SELECT count(*) FROM dive").fetchone()[0]
    except sqlite3.OperationalError:  # not made yet
        return 0


def test_a_law_that_is_broken_where_a_release_was_possible_ends_with_status_1(run, monkeypatch, tmp_path):
    monkeypatch.setattr(sweeping, "run", lambda plan, planned, results, *_: results.add(
        [row(dive.number, dive.faults, broken=bool(dive.faults)) for dive in planned]))
    monkeypatch.setattr("seatrial.campaign.blaming.fly", lambda plan, dive, water: row(-1, dive.faults, broken=True))
    said = run("sweep", "--only", "reset", "--out", "out")
    assert said.status == 1
    assert "LAW BROKEN 1 fault or set of faults does harm where a release was possible" in said.out
    assert "law 4" in said.out
    assert "--fault reset" in said.out
    assert json.loads((tmp_path / "out" / "sweep.json").read_text())["within_laws"] is False


def row(number: int, faults, broken: bool = False) -> Row:
    verdicts = ((4, "broken", "It gave up."),) if broken else ()
    return Row(number, faults, 1, True, "primary", True, -60.0, 9000.0, 8000.0, 0, 1, "", (), 100.0, 10, verdicts)


def test_without_a_folder_it_makes_one_named_by_the_time(run, monkeypatch, tmp_path):
    monkeypatch.setattr(sweeping, "run", lambda plan, planned, results, *_: results.add(
        [row(dive.number, dive.faults) for dive in planned]))
    assert run("sweep", "--only", "reset").status == 0
    folder, = tmp_path.iterdir()
    assert re.fullmatch(r"sweep-\d{8}-\d{6}", folder.name)


# --- bad input -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("words", "wanted"), [
    (("--ways", "4"), "--ways is 4; allowed is a whole number from 1 to 3"),
    (("--pairs", "--ways", "3"), "--pairs and --ways 3 were both given"),
    (("--cores", "0"), "--cores is 0; allowed is a whole number from 1 to 1024"),
    (("--seed", "-1"), "--seed is -1; allowed is a whole number from 0 to 4294967295"),
    (("--only", "jammed,leak"), "--only 'jammed,leak' names several at once: write --only for each of them"),
    (("--only", "jamed"), "--only 'jamed' names no fault; did you mean jammed?"),
    (("--only", ""), "--only is empty: write its value, or leave it out"),
    (("--cores", "2", "--cluster", "tcp://127.0.0.1:1"), "leave one out"),
    (("gone.toml",), "gone.toml"),
])
def test_wrong_input_gets_one_sentence_and_status_2_before_any_file_is_made(run, tmp_path, words, wanted):
    said = run("sweep", *words)
    assert said.status == 2
    assert said.out == ""
    assert len(said.err.splitlines()) == 1
    assert wanted in said.err
    assert list(tmp_path.iterdir()) == []


def test_the_folder_of_another_campaign_is_refused_and_left_as_it_is(flown, run):
    before = rows_in(flown / "out")
    said = run("sweep", flown / "short.toml", *ONLY, "--seed", 2, "--out", flown / "out")
    assert said.status == 2
    assert "is of another seed (1; now it is 2)" in said.err
    assert rows_in(flown / "out") == before


def test_the_folder_of_another_plan_is_refused(flown, run):
    said = run("sweep", *ONLY, "--out", flown / "out")
    assert said.status == 2
    assert "is of another plan, by the hash of its numbers" in said.err


def test_a_cluster_without_its_package_is_one_sentence(run, monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    said = run("sweep", "--only", "reset", "--cluster", "tcp://127.0.0.1:1", "--out", "out")
    assert said.status == 2
    assert "pip install 'tumblehome[cluster]'" in said.err


# --- the page ------------------------------------------------------------------------------------------------------


def told_of(rows, causes_of=None, causes=(), campaign=None, plan=None) -> dict:
    return summaries.summary(campaign or Campaign(2), plan or plans.load_sample(), None, rows, causes, causes_of or {},
                             len(rows), "tumblehome sweep --pairs")


@pytest.fixture(scope="module")
def page_of_all() -> str:
    """A page with every pair of faults, as large as it gets."""
    planned = dives(Campaign(2), plans.load_sample())
    return sweep_page(told_of([row(dive.number, dive.faults) for dive in planned]))


def test_the_page_names_what_kills_with_its_command(flown):
    page = Reader((flown / "out" / "sweep.html").read_text(encoding="utf-8"))
    assert "Laws kept" in page.text
    assert re.search(r"caught lost it is caught at \d+ m and held there", page.text)
    assert "tumblehome rehearse" in page.text
    assert "proves nothing about hardware" in page.text


def test_every_pair_of_faults_has_its_cell_with_words_for_those_who_point_at_it(page_of_all):
    said = [words for words in Reader(page_of_all).words if re.match(r"[a-z-]+( with [a-z-]+)?: ", words)]
    assert len(said) == len(KINDS) ** 2
    assert "reset with hang: always home, in time, laws kept. 7 dives; latest 0:01:00 early" in said


def test_no_meaning_of_the_picture_rests_on_colour(page_of_all):
    from tumblehome.page.sweep import _LEVELS
    assert len({(level.sign, level.hatched) for level in _LEVELS.values()}) == len(_LEVELS)
    assert set(_LEVELS) == set(range(summaries.HOME, summaries.BROKEN_TOGETHER + 1))


def test_the_page_asks_for_nothing_from_anywhere(page_of_all):
    page = Reader(page_of_all)
    assert not [tag for tag, given in page.tags if {"src", "srcset"} & set(given) or tag in ("link", "script", "img")]
    assert "default-src" in page_of_all


def test_a_hostile_plan_name_does_nothing():
    plan = plans.load_sample()
    plan = plan.model_copy(update={"dive": plan.dive.model_copy(update={"name": NASTY})})
    page = Reader(sweep_page(told_of([row(0, ())], plan=plan)))
    assert NASTY in page.text
    assert not page.named("script") and not page.named("img")


def test_a_browser_opens_it_without_a_complaint_and_prints_it(page_of_all, browser):
    drawn, console = browser.opened(page_of_all)
    assert console == []
    assert "Fault against fault" in drawn
    paper = browser.printed(page_of_all)
    assert paper.startswith(b"%PDF")
    assert len(paper) < 5_000_000, "a picture printed as bitmaps is too large to be sent"
