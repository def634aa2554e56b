"""Sequences as files: what is written well is read, and what is not is told in sentences that name the step."""

import tomllib
from pathlib import Path

import pytest

from lander.signals import INPUTS
from seatrial.plan import load_sample
from seatrial.staged import OWN
from tumblehome.bench import sequence as sequences
from tumblehome.bench.sequence import Limits, SequenceError, check_plan, load, names, parse, shown

HEAD = 'name = "mine"\nabout = "A test."\non = "%s"\n'


def read(steps: str, on: str = "session", head: str = "") -> sequences.Sequence:
    return parse(tomllib.loads(HEAD % on + head + steps))


def refused(steps: str, on: str = "session", head: str = "") -> str:
    with pytest.raises(SequenceError) as error:
        read(steps, on, head)
    return " | ".join(error.value.sentences)


def test_a_step_is_what_its_one_key_says() -> None:
    one = read('[[step]]\nset = { contact_wet = 1, primary_circuit = "open" }\nover_s = 3\n[[step]]\nwait_s = 5\n'
               '[[step]]\nexpect = { state = "armed", supply_mv = { least = 14000 } }\nwithin_s = 2\n')
    assert [type(step).__name__ for step in one.steps] == ["Set", "Wait", "Expect"]
    assert one.steps[0].set == {"contact_wet": 1, "primary_circuit": 2}
    assert one.steps[2].words() == "expect state armed, supply_mv at least 14000 within 2 s"


@pytest.mark.parametrize(("steps", "said"), [
    ("", "no steps"),
    ("[[step]]\n", "step 1 does nothing that is known"),
    ("[[step]]\nwait_s = 1\ncommand = 'arm'\n", "step 1 does wait_s and command"),
    ("[[step]]\nwait_s = 1\n[[step]]\nset = { contact_wet = 2 }\n", "step 2: set: contact_wet is 2; allowed is 0 to 1"),
    ("[[step]]\nset = { contact_wett = 1 }\n", "did you mean contact_wet?"),
    ("[[step]]\nset = { uptime_ds = 1 }\n", "no reading that can be set"),
    ("[[step]]\nset = { store_test = 'good' }\n", "allowed is untested or written or failed"),
    ("[[step]]\nexpect = { state = 'asleep' }\n", "allowed is safe or armed"),
    ("[[step]]\nexpect = { colour = 1 }\n", "colour is nothing that can be seen"),
    ("[[step]]\nexpect = { supply_mv = { about = 5 } }\n", "about and within go together"),
    ("[[step]]\nexpect = { supply_mv = { } }\n", "nothing is wanted"),
    ("[[step]]\nexpect = { supply_mv = { steady = 5 } }\n", "add for_s"),
    ("[[step]]\ncommand = 'aarm'\n", "did you mean arm?"),
    ("[[step]]\nwait_s = -1\n", "step 1: wait_s"),
    ("[[step]]\nwait_s = 1\nfor_s = 1\n", "for_s: is not known here"),
    ("[[step]]\nfault = 'jamed'\n", "jamed"),
    ("[[step]]\nhome = true\n", "there is no dive to end"),
    ("[[step]]\nsea = true\n[[step]]\nset = { leak_wet = 1 }\n", "step 2 cannot be done in a dive"),
    ("[[step]]\npoke = 'fan'\n", 'step 1 cannot be done on = "session"'),
])
def test_what_cannot_be_run_is_told_with_its_step_and_the_way_out(steps: str, said: str) -> None:
    assert said in refused(steps)


@pytest.mark.parametrize(("steps", "said"), [
    ("[[step]]\npoke = 'release_primary'\n", "no circuit that can be poked"),
    ("[[step]]\npoke = 'fan'\nlevel = 50\n", "allowed is 1 to 1"),
    ("[[step]]\npoke = 'lights'\nfor_s = 11\n", "for_s"),
    ("[[step]]\nset = { leak_wet = 1 }\n", 'cannot be done on = "board"'),
    ("[[step]]\nperson = 'Push.'\ntouch = { hull = 1 }\n", "nobody can touch hull"),
])
def test_what_a_board_cannot_do_is_told_as_well(steps: str, said: str) -> None:
    assert said in refused(steps, "board")


def test_all_that_is_wrong_is_told_at_once() -> None:
    said = refused("[[step]]\nwait_s = 0\n[[step]]\ncommand = 'x'\n")
    assert "step 1" in said and "step 2" in said


@pytest.mark.parametrize("head", ["steps = []\n", "folder = '/'\n", "colour = 1\n", "cautions = ['fire']\n",
                                  "speed = -1\n"])
def test_a_head_that_is_not_known_is_refused(head: str) -> None:
    assert head.split()[0] in refused("[[step]]\nwait_s = 1\n", head=head)


@pytest.mark.parametrize("content", [b"\xff\xfe", b"name = ", b"a" * 1_000_001])
def test_a_file_that_is_no_sequence_is_told(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "mine.toml"
    path.write_bytes(content)
    with pytest.raises(SequenceError, match=r"mine\.toml"):
        load(str(path))


def test_a_name_that_is_not_in_the_library_gets_the_nearest_one() -> None:
    with pytest.raises(SequenceError, match="did you mean stuck-release"):
        load("stuck-realease")


@pytest.mark.parametrize("name", names())
def test_the_library_is_named_by_its_files_and_fits_the_sample(name: str) -> None:
    one = load(name)
    assert one.name == name
    check_plan(one, load_sample())
    assert any(isinstance(step, sequences.Expect | sequences.Home) for step in one.steps)


def test_a_reading_has_the_range_of_the_cores_own_table_at_both_ends() -> None:
    for name, lowest, highest, _start in INPUTS:
        if name in OWN:
            continue
        read("[[step]]\nset = { %s = %d }\n[[step]]\nset = { %s = %d }\n" % (name, lowest, name, highest))
        assert name in refused("[[step]]\nset = { %s = %d }\n" % (name, highest + 1))
        assert name in refused("[[step]]\nset = { %s = %d }\n" % (name, lowest - 1))


def test_limits_that_the_plan_gives_follow_the_plan() -> None:
    plan = load_sample()
    assert plan.fan.current_ma == 110
    assert Limits(plan="fan.current_ma", times=2.0, within_pct=10).by(plan).bounds() == (198, 242)
    with pytest.raises(SequenceError, match="fan.colour is no number"):
        Limits(plan="fan.colour", within_pct=10).by(plan)


def test_limits_are_all_kept_at_once() -> None:
    assert Limits(least=5, most=20, about=18, within=6).bounds() == (12, 20)


def test_a_value_is_shown_by_its_word_where_it_has_one() -> None:
    assert shown("state", 1) == "armed"
    assert shown("supply_mv", 14400) == "14400"
