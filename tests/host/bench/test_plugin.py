"""The fixtures for tests of a lander, as somebody else's pytest uses them."""

import os
import subprocess
import sys
import tomllib
from importlib import import_module
from pathlib import Path
from typing import NamedTuple

import pytest

from seatrial.bodies import BodyError, find_micropython
from seatrial.plan import load_sample
from tumblehome.bench import pytest_plugin
from tumblehome.bench.pytest_plugin import Controller
from tumblehome.bench.sequence import Limits

TESTS = '''
import pytest

def test_a_wet_leak_probe_keeps_it_from_being_armed(controller):
    controller.set(leak_wet=1)
    controller.command("arm")
    controller.expect(state="safe", refused="water inside", within_s=2)

def test_it_does_not_arm_by_itself(controller):
    controller.expect(state="armed", within_s=60)

def test_a_sequence(run_sequence):
    run_sequence("arming-refused")

def test_a_sequence_that_fails(run_sequence, tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text("name = 'mine'\\nabout = 'x'\\non = 'session'\\n[[step]]\\nexpect = { state = 'armed' }\\n")
    run_sequence(str(path))
'''


class Ran(NamedTuple):
    passed: int
    failed: int
    out: str


@pytest.fixture
def run_tests(tmp_path: Path):
    def run_there(*words: str) -> Ran:
        (tmp_path / "test_mine.py").write_text(TESTS)
        done = subprocess.run(
            [sys.executable, "-m", "pytest", "-p", pytest_plugin.__name__, "-p", "no:cacheprovider", "-rA", *words,
             "test_mine.py"], cwd=tmp_path, capture_output=True, encoding="utf-8", check=False, timeout=300,
            env={**os.environ, "PYTEST_ADDOPTS": ""})
        lines = done.stdout.splitlines()
        return Ran(sum(line.startswith("PASSED") for line in lines), sum(line.startswith("FAILED") for line in lines),
                   done.stdout + done.stderr)
    return run_there


def test_a_test_of_a_lander_passes_or_fails_in_the_words_of_the_lander(run_tests) -> None:
    ran = run_tests()
    assert (ran.passed, ran.failed) == (2, 2), ran.out
    assert "AssertionError: at 60.0 s: state is safe" in ran.out
    assert "mine: step 1, expect state armed: state is safe" in ran.out
    assert "pytest_plugin.py:" not in ran.out  # the traceback ends in the person's own test


def test_it_does_the_same_in_real_micropython(run_tests) -> None:
    try:
        find_micropython()
    except BodyError as error:
        pytest.skip(str(error))
    ran = run_tests("--controller", "micropython")
    assert (ran.passed, ran.failed) == (2, 2), ran.out


def test_a_port_where_nobody_is_fails_the_test_with_one_sentence(run_tests) -> None:
    ran = run_tests("--controller", "/dev/nothing")
    assert ran.passed == 0
    assert "cannot open /dev/nothing" in ran.out


def test_the_entry_point_names_the_plugin_by_its_module_so_that_it_is_never_there_twice() -> None:
    project = tomllib.loads((Path(__file__).parents[3] / "pyproject.toml").read_text("utf-8"))["project"]
    assert project["entry-points"]["pytest11"] == {pytest_plugin.__name__: pytest_plugin.__name__}
    assert import_module(pytest_plugin.__name__) is pytest_plugin


# --- the fixture here, on the core in this process ------------------------------------------------------------------


def test_it_is_armed_by_the_magnet_and_stays_so_when_the_supply_was_away(controller: Controller) -> None:
    controller.magnet(7)
    controller.expect(state="armed", within_s=60)
    controller.power_off(30)
    controller.expect(state="armed", release_primary_pct=0, within_s=5, for_s=60)


def test_readings_are_held_until_they_are_let_go(controller: Controller) -> None:
    controller.set(supply_mv=12000, over_s=5)
    controller.expect(supply_mv=12000)
    controller.let_go()
    controller.expect(supply_mv=(15000, 17000), within_s=2)
    controller.expect(supply_mv=Limits(plan="thresholds.reserve_mv", times=1.1, within_pct=10))


def test_a_fault_on_the_way_is_survived(controller: Controller) -> None:
    controller.dive("jammed:channel=primary", seed=3)
    controller.expect(state="record", within_s=7200)
    controller.fault("pressure-gone")
    controller.wait(600)
    controller.home()
    assert controller.now_s > 60.0 * load_sample().times.timed_release_min


def test_a_dive_that_does_not_come_home_fails(controller: Controller) -> None:
    controller.dive("jammed:channel=both", "link-never")
    with pytest.raises(AssertionError, match="Still down"):
        controller.home()


@pytest.mark.parametrize("asked", [
    lambda it: it.set(colour=1), lambda it: it.set(contact_wet=2), lambda it: it.command("sing"),
    lambda it: it.expect(colour=1), lambda it: it.expect(state="asleep")])
def test_what_there_is_not_is_a_mistake_of_the_test_and_no_failure_of_the_lander(controller: Controller, asked) -> None:
    with pytest.raises(ValueError):
        asked(controller)
