"""The board's /main.py: it starts the version that counts, goes back when that cannot run, and never gives up."""

import shutil
import subprocess
from pathlib import Path

import pytest

import launcher

START = "import sys; sys.path.append(%r); import launcher; launcher.PAUSE_MS = 1; launcher.HOLD_MS = 50\n" \
    "class Machine:\n    reset = staticmethod(lambda: print('reset'))\n" \
    "sys.modules['machine'] = Machine\nlauncher.start(%r)"
GOOD = "def run(): print('%s runs')\n"
FAULTS = {
    "an exception when it is imported": "raise ValueError('no')\n",
    "an exception when it runs": "def run(): raise OSError(5)\n",
    "a module that is missing": "import no_such_module\n",
    "no memory": "def run(): bytearray(1 << 40)\n",
    "no run": "",
    "a file that is no program": "def (:\n",
}


@pytest.fixture
def root(tmp_path) -> Path:
    """A board's /fw with two versions: `new`, which counts, and `old` before it."""
    for name in ("new", "old"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "main.py").write_text(GOOD % name)
        (tmp_path / name / "files.txt").write_text("")
    (tmp_path / "current").write_text("new old\n")
    return tmp_path


@pytest.fixture
def start(micropython, firmware, root):
    """Powers the board up, under a real MicroPython; what it says."""
    def power_up() -> str:
        done = subprocess.run([micropython, "-c", START % (str(firmware), str(root))], cwd=root, capture_output=True,
                              text=True, timeout=30, check=False)
        return done.stdout + done.stderr
    return power_up


def test_the_version_that_counts_runs(start):
    assert start() == "new runs\n"


@pytest.mark.parametrize("fault", FAULTS)
def test_three_failures_in_a_row_go_back_to_the_version_before(start, root, fault):
    (root / "new" / "main.py").write_text(FAULTS[fault])
    for _ in range(3):
        said = start()
        assert "reset" in said and "old runs" not in said
    assert "going back to old" in said
    assert start() == "old runs\n"
    assert (root / "current").read_text() == "old new\n"


def test_when_both_fail_they_take_turns_for_ever(start, root):
    for name in ("new", "old"):
        (root / name / "main.py").write_text("raise ValueError('%s fails')\n" % name)
    said = [start() for _ in range(9)]
    assert ["new fails" in one for one in said] == [True] * 3 + [False] * 3 + [True] * 3
    assert ["old fails" in one for one in said] == [False] * 3 + [True] * 3 + [False] * 3


def test_without_a_version_before_it_goes_on_trying(start, root):
    (root / "current").write_text("new -\n")
    (root / "new" / "main.py").write_text("raise ValueError('new fails')\n")
    assert all("new fails" in start() for _ in range(5))
    assert (root / "current").read_text() == "new -\n"
    (root / "new" / "main.py").write_text(GOOD % "new")
    assert start() == "new runs\n"


def test_ctrl_c_and_the_end_of_the_program_are_no_failures(start, root):
    for ending in ("raise KeyboardInterrupt", "raise SystemExit", "return"):
        (root / "new" / "main.py").write_text("def run():\n    %s\n" % ending)
        assert "reset" not in start()
    assert not (root / "tries").exists()


def test_an_exception_after_more_than_a_minute_begins_a_new_row(root):
    for ran_ms in (1000, 1000, 60001, 1000):
        launcher.count_failure(str(root), "new", "old", ran_ms)
    assert (root / "current").read_text() == "new old\n"
    launcher.count_failure(str(root), "new", "old", 60000)
    assert (root / "current").read_text() == "old new\n"


@pytest.mark.parametrize("tries", ["old 2\n", "new\n", "new x\n", "", "new -1\n", "\xff\n"])
def test_a_count_of_another_version_or_a_damaged_one_counts_as_none(root, tries):
    (root / "tries").write_text(tries)
    launcher.count_failure(str(root), "new", "old", 0)
    assert (root / "tries").read_text() == "new 1\n"
    assert (root / "current").read_text() == "new old\n"


@pytest.mark.parametrize("current", [None, b"", b"\n", b"gone old\n", b"\xff\xfe\x80", b"old"])
def test_with_a_damaged_line_a_whole_version_still_starts(start, root, current):
    (root / "current").unlink()
    if current is not None:
        (root / "current").write_bytes(current)
    assert start() in ("old runs\n", "new runs\n")


def test_a_version_whose_list_was_not_written_does_not_count(start, root):
    (root / "new" / "files.txt").unlink()
    assert start() == "old runs\n"


def test_a_board_without_a_version_says_how_to_get_one(start, root):
    for name in ("new", "old"):
        shutil.rmtree(root / name)
    assert "tumblehome bench flash" in start()


def test_the_board_is_held_for_one_start_and_then_runs_all_the_same(start, root):
    (root / "hold").write_text("")
    assert start() == "held for flashing\nnew runs\n"
    assert start() == "new runs\n"


def test_a_flash_that_takes_no_write_does_not_keep_it_from_its_next_start(start, root):
    (root / "new" / "main.py").write_text("raise ValueError('new fails')\n")
    (root / "tries.new").mkdir()
    assert all("reset" in start() for _ in range(2))
