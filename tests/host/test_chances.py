"""`tumblehome odds` as a person meets it: what it says and writes, how it leaves, and what it refuses.

The checks of one run against another are checks of the tool against itself. The arithmetic is held to the literature
in tests/published/test_odds.py and to toys with known answers in tests/sim/test_odds.py.
"""

import json

import pytest
import typer
from typer.testing import CliRunner

from seatrial.odds.rates import read
from tumblehome import chances, manual, options

from .test_sweep import short_plan

app = typer.Typer()
app.command("odds")(manual.well_ended(chances.odds))

RATES = """
replaces_all = true

[[part]]
name = "ballast fastening"
per_dive = 0.01
fails = [{faults = ["ballast-hangs"], share = 1.0}]
source = "a test"
guess = true

[[part]]
name = "primary release"
per_dive = 0.05
fails = [{faults = ["jammed:channel=primary"], share = 1.0}]
source = "a test"
"""


@pytest.fixture
def run(monkeypatch, tmp_path):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "120")

    def run(*words):
        return CliRunner().invoke(app, [str(word) for word in words])

    return run


@pytest.fixture(scope="module")
def reckoned(tmp_path_factory):
    """The odds of a short dive, once: the answer and the folder."""
    folder = tmp_path_factory.mktemp("odds")
    (folder / "rates.toml").write_text(RATES)
    answer = CliRunner().invoke(app, [str(short_plan(folder)), "--rates", str(folder / "rates.toml"), "--dives", "100",
                                      "--cores", "2", "--out", str(folder / "out")], env={"COLUMNS": "120"})
    return answer, folder


def test_the_odds_are_told_with_bounds_causes_and_what_would_help(reckoned):
    answer, _folder = reckoned
    assert answer.exit_code == 0, answer.output
    assert "Lost: 1.0" in answer.output and "with 95 % confidence" in answer.output
    assert "lost by" in answer.output and "--fault ballast-hangs" in answer.output
    assert "ballast fastening: half as often" in answer.output
    assert "Of the 2 rates and common causes of this table 1 are guesses" in answer.output
    assert "proves nothing about hardware that was not tested" in answer.output


def test_what_is_written_says_the_same_as_numbers(reckoned):
    told = json.loads((reckoned[1] / "out" / "odds.json").read_text())
    assert told["loss"]["lowest"] < 0.01 < told["loss"]["highest"]
    assert told["loss"]["value"] == pytest.approx(0.01, rel=0.1)
    assert {one["path"] for one in told["paths"]} == {"primary", "backup", "lost"}
    assert sum(one["value"] for one in told["paths"]) + told["rest_chance"] == pytest.approx(1.0)
    assert sum(one["chance"] for one in told["together"]) + told["rest_chance"] == pytest.approx(1.0)
    assert told["failed"] == [] and told["possible"]["dives"] == 0
    assert sum(one["dives"] for one in told["together"]) == told["dives"]


def test_the_built_in_table_is_handed_out_to_be_changed_and_is_itself_a_table_of_rates(reckoned):
    assert read(reckoned[1] / "out" / "rates-built-in.toml") == read()


def test_the_same_command_takes_what_was_flown_and_says_the_same(reckoned, monkeypatch):
    answer, folder = reckoned
    before = json.loads((folder / "out" / "odds.json").read_text())
    monkeypatch.setattr("seatrial.campaign.running.processes", None)  # nothing is left to fly
    again = CliRunner().invoke(app, before["command"].split()[2:] + ["--json"])
    assert again.exit_code == answer.exit_code
    assert json.loads(again.stdout) == before


@pytest.mark.long
def test_the_workers_of_a_cluster_find_the_same_odds(reckoned, run):
    distributed = pytest.importorskip("distributed", reason="the extra `cluster` is not installed: no cluster to try")
    _answer, folder = reckoned
    alone = json.loads((folder / "out" / "odds.json").read_text())
    with distributed.LocalCluster(n_workers=1, threads_per_worker=1, dashboard_address=None) as cluster:
        answer = run(folder / "short.toml", "--rates", folder / "rates.toml", "--dives", "100", "--json",
                     "--cluster", cluster.scheduler_address)
    assert answer.exit_code == 0, answer.output
    told = json.loads(answer.stdout)
    assert "--cluster tcp://" in told["command"]
    flown_elsewhere = {"command": "", "took_s": 0.0}
    assert told | flown_elsewhere == alone | flown_elsewhere


def test_a_folder_of_other_odds_is_refused(reckoned, run):
    _answer, folder = reckoned
    refused = run(folder / "short.toml", "--rates", folder / "rates.toml", "--dives", "100", "--seed", "2",
                  "--out", folder / "out")
    assert refused.exit_code == 2
    assert "name another folder with --out" in refused.output


def test_a_loss_that_a_release_could_have_spared_leaves_with_1(reckoned, run, monkeypatch):
    _answer, folder = reckoned
    told = json.loads((folder / "out" / "odds.json").read_text())
    told["possible"]["dives"] = 3
    monkeypatch.setattr(chances, "_in_folder", lambda *_: told)
    answer = run(folder / "short.toml")
    assert answer.exit_code == 1
    assert "In 3 lost dives a release was possible" in answer.output


def test_no_loss_is_told_as_a_bound_and_never_as_zero(reckoned, run, monkeypatch):
    _answer, folder = reckoned
    told = json.loads((folder / "out" / "odds.json").read_text())
    told["loss"] = {"value": 0.0, "lowest": 0.0, "highest": 0.00042, "dives": 0}
    told["causes"] = told["improvements"] = []
    monkeypatch.setattr(chances, "_in_folder", lambda *_: told)
    answer = run(folder / "short.toml")
    assert "the chance of loss is below 0.042 % a dive" in " ".join(answer.output.split())


@pytest.mark.parametrize(("words", "said"), [
    (("--dives", "99"), "--dives is 99; allowed is a whole number from 100 to 10000000"),
    (("--seed", "-1"), "--seed is -1"),
    (("--cores", "none"), "--cores is none"),
    (("--cores", "2", "--cluster", "tcp://127.0.0.1:1"), "--cores and --cluster were both given"),
    (("--rates", "none.toml"), "none.toml cannot be read"),
    (("none.toml",), "none.toml"),
])
def test_bad_input_is_told_before_any_dive_and_leaves_with_2(run, words, said):
    answer = run(*words)
    assert answer.exit_code == 2
    assert said in answer.output


def test_a_table_in_which_nothing_fails_is_refused(run, tmp_path):
    (tmp_path / "none.toml").write_text(RATES.replace("0.01", "0").replace("0.05", "0.0"))
    answer = run("--rates", "none.toml")
    assert answer.exit_code == 2
    assert "no part of this lander that can fail" in answer.output


def test_with_a_plan_that_lacks_the_link_fitting_one_is_tried(run, tmp_path, monkeypatch):
    monkeypatch.setattr(options, "whole_number", lambda _option, given, _lowest, _highest: int(given))  # so few
    text = short_plan(tmp_path).read_text()
    section = text.index("[release.passive]")
    bare = text[:section] + text[section:].replace("fitted = true", "fitted = false", 1)
    (tmp_path / "bare.toml").write_text(bare)
    (tmp_path / "rates.toml").write_text(RATES.replace("channel=primary", "channel=both").replace("0.01", "0"))
    answer = run("bare.toml", "--rates", "rates.toml", "--dives", "20", "--json")
    told = json.loads(answer.stdout)
    best = told["improvements"][0]
    assert (best["what"], best["name"][:16]) == ("fitted", "a corroding link")
    assert best["loss"] < 1e-6 < told["loss"]["value"]


def test_stopped_by_the_keyboard_it_says_how_to_go_on(run, tmp_path, monkeypatch):
    def stop(*_given):
        raise KeyboardInterrupt

    monkeypatch.setattr(chances, "run", stop)
    answer = run("--out", "half", "--dives", "200")
    assert answer.exit_code == 130  # 128 + SIGINT (common practice, no source)
    assert "stopped: what was flown is kept; go on with: tumblehome odds --dives 200 --seed 1 --out half" in answer.stderr
    assert (tmp_path / "half" / "odds.sqlite").exists()
    assert "go on" not in run("--dives", "200").stderr


@pytest.mark.parametrize(("chance", "words"), [
    (0.0, "none seen"), (1.0, "100 %"), (0.5, "50.0 %"), (0.98765, "98.8 %"), (0.99987, "99.987 %"),
    (0.0123, "1.2 %"), (0.00042, "0.042 %"), (1.23e-6, "0.00012 %"), (1.23e-7, "1 in 8 100 000")])
def test_chances_are_told_so_that_small_ones_can_be_felt(chance, words):
    assert chances.chance_text(chance) == words
