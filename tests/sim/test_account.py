"""The account of a dive, as dive.json holds it."""

import json
import math

import pytest

from seatrial.account import account, is_home, within_laws
from seatrial.faults import parse

from .broken_cores import body_of
from .flying import SAMPLE, SHORT, broken, changed, fly

KEYS = {"tool", "version", "seed", "body", "plan_name", "plan_toml", "mission_record_bytes", "command", "splash_utc",
        "outcome", "laws", "figures", "timeline", "spans", "attempts", "second", "faults", "series", "steps", "cautions"}
UNITS = ("_s", "_m", "_v", "_a", "_c", "_pct")
DIVES = {
    "as planned": (), "jammed": ("jammed",), "no power": ("power-gone@start",), "hauled back": ("hauled-back@record",),
    "caught": ("caught@100m",), "never sinks": ("never-sinks",), "an early link": ("link-early:after_min=5",),
    "no pressure": ("pressure-gone",),
}


@pytest.fixture(params=DIVES.values(), ids=DIVES.keys(), scope="module")
def told(request):
    return account(fly(*request.param, plan=SHORT), "tumblehome rehearse --seed 1")


def numbers_in(value):
    if isinstance(value, dict):
        for one in value.values():
            yield from numbers_in(one)
    elif isinstance(value, list):
        for one in value:
            yield from numbers_in(one)
    elif isinstance(value, float):
        yield value


def test_it_is_json_of_finite_numbers(told):
    assert all(math.isfinite(number) for number in numbers_in(told))
    assert json.loads(json.dumps(told, allow_nan=False)) == told


def test_it_has_its_keys_and_no_other(told):
    assert set(told) == KEYS


def test_every_series_has_its_unit_and_the_same_length(told):
    assert {len(values) for values in told["series"].values()} == {told["steps"]}
    assert all(name.endswith(UNITS) for name in told["series"])


def test_every_number_of_a_stretch_or_an_attempt_has_its_unit(told):
    for row in told["spans"] + told["attempts"] + told["timeline"] + told["faults"]:
        for key, value in row.items():
            assert not isinstance(value, float) or key.endswith(UNITS), key


def test_figures_are_words_with_units(told):
    for row in told["figures"]:
        assert set(row) == {"name", "text", "note"}
        assert row["text"]


def test_the_laws_are_all_there_with_their_words(told):
    assert [law["number"] for law in told["laws"]] == list(range(1, 14))
    assert {law["verdict"] for law in told["laws"]} <= {"kept", "broken", "excused"}
    assert all(law["sentence"] for law in told["laws"])


def test_the_timeline_is_in_order_and_ends_with_the_run(told):
    times = [item["time_s"] for item in told["timeline"]]
    assert times == sorted(times)
    assert not times or times[-1] <= told["outcome"]["end_s"]
    assert all(span["from_s"] <= span["to_s"] <= told["outcome"]["end_s"] for span in told["spans"])


@pytest.mark.parametrize(("faults", "home", "path", "said"), [
    ("", True, "primary", "At the surface 1:13:21 after the splash, freed by the primary release."),
    ("jammed", True, "backup", "freed by the backup release"),
    ("jammed:channel=both", True, "passive", "freed by the corroding link alone"),
    ("main-dead@record", True, "second board", "freed by the second board, which drove the backup release"),
    ("caught@100m", False, "none", "Still down 5:10:00 after the splash: it is caught at 100 m and held there."),
    ("deep-mud:suction_n=500", False, "none", "the ballast is gone (primary release), and the mud holds it: it pulls"),
    ("never-sinks", True, "none", "It never went under."),
    ("hauled-back@record", True, "none", "Hauled back on deck"),
])
def test_the_outcome_is_one_sentence_and_its_words(faults, home, path, said):
    outcome = account(fly(*faults.split(), plan=SHORT), "")["outcome"]
    assert (outcome["home"], outcome["path"], outcome["within_laws"]) == (home, path, True)
    assert said in outcome["sentence"]


def test_what_the_second_board_did_is_told_in_the_account_the_figures_and_the_timeline():
    result = fly("main-dead@record", plan=SHORT)
    told = account(result, "")
    second, dead_s = told["second"], result.evidence.resets_s[0]
    assert [one["freed"] for one in second["attempts"]] == [True]
    assert dead_s - 20.0 < second["heartbeat_heard_s"] <= dead_s + 10.0
    assert second["deadline_s"] == result.evidence.splash_s + 60.0 * (80 + 30)  # by hand: latest release and margin
    assert 0.9 < second["battery_left_fraction"] < 0.95
    figures = {row["name"]: row["note"] for row in told["figures"]}
    assert "it freed the ballast" in figures["Second board fired"]
    lines = [item["what"] for item in told["timeline"]]
    assert "second board, attempt 1: backup release" in lines
    assert "ballast freed by the backup release, driven by the second board" in lines


def test_without_a_second_board_nothing_is_told_of_one():
    told = account(fly(plan=changed(SHORT, second={"fitted": False})), "")
    assert told["second"] is None
    assert len(told["laws"]) == 12
    assert not [row for row in told["figures"] if "Second board" in row["name"]]


def test_a_lander_that_is_still_down_is_not_home_and_one_that_never_sank_is():
    assert not is_home(fly("caught@100m", plan=SHORT).evidence)
    assert is_home(fly("never-sinks", plan=SHORT).evidence)


def test_a_broken_law_stands_in_the_outcome():
    result = fly(plan=SHORT, body=body_of("the beacon is never lit", SHORT))
    assert set(broken(result)) == {8}
    assert not within_laws(result)
    outcome = account(result, "")["outcome"]
    assert outcome["home"] and not outcome["within_laws"]


def test_figures_tell_what_the_evidence_knows():
    result = fly()
    figures = {row["name"]: row["text"] for row in account(result, "")["figures"]}
    down_s = result.evidence.touchdown_s - result.evidence.splash_s
    assert figures["Descent rate"] == "%.2f m/s" % (SAMPLE.site.depth_m / down_s)
    assert figures["Left at the release"].endswith(" mAh")
    assert figures["Resets"] == "0"


def test_the_descent_rate_of_a_deeper_seabed_is_that_of_the_depth_it_reached():
    result = fly("deeper:by_m=60", plan=SHORT)
    figures = {row["name"]: row["text"] for row in account(result, "")["figures"]}
    down_s = result.evidence.touchdown_s - result.evidence.splash_s
    assert figures["Descent rate"] == "%.2f m/s" % ((SHORT.site.depth_m + 60.0) / down_s)


def test_faults_are_told_as_they_were_written_with_the_times_they_really_had():
    told = account(fly("pressure-gone:for_s=60@record+5min", "jammed@1000m", plan=SHORT), "")
    (gone, jammed) = told["faults"]
    assert parse(gone["written"]) == parse("pressure-gone:for_s=60@record+5min")
    assert gone["to_s"] - gone["from_s"] == pytest.approx(60.0)
    assert (jammed["from_s"], jammed["to_s"]) == (None, None)


def test_the_plan_and_the_command_that_replays_it_are_there():
    told = account(fly(), "tumblehome rehearse --seed 1")
    assert told["plan_toml"] == SAMPLE.source_text
    assert told["command"] == "tumblehome rehearse --seed 1"
    assert told["splash_utc"] == "2027-05-18T06:30:00Z"
    assert any("proves nothing" in caution for caution in told["cautions"])


def test_where_it_surfaced_is_none_while_it_is_down():
    assert account(fly("caught@100m", plan=SHORT), "")["outcome"]["east_m"] is None
