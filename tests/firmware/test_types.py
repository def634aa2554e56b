"""The firmware is typed against the MicroPython API of the first board, not against CPython's."""

import shutil
import subprocess
import sys
from importlib.metadata import PackageNotFoundError, distribution
from pathlib import Path

import pytest

FIRMWARE = Path(__file__).parents[2] / "firmware"
STUBS = ("micropython-rp2-rpi-pico-stubs", "micropython-stdlib-stubs")


@pytest.fixture(scope="module")
def typings(tmp_path_factory) -> Path:
    """The stubs in a folder of their own, since mypy does not take top-level stubs from where pip puts them."""
    folder = tmp_path_factory.mktemp("typings")
    for name in STUBS:
        try:
            stubs = distribution(name)
        except PackageNotFoundError:
            pytest.skip("no MicroPython stubs: pip install -e '.[test]'")
        for file in stubs.files or ():
            if file.suffix == ".pyi" or file.name == "VERSIONS":
                target = folder / str(file)
                target.parent.mkdir(parents=True, exist_ok=True)
                shutil.copyfile(str(file.locate()), target)
    return folder


def check(typings: Path, *paths: str) -> subprocess.CompletedProcess:
    return subprocess.run(
        [sys.executable, "-m", "mypy", "--config-file", "", "--custom-typeshed-dir", str(typings), "--no-site-packages",
         "--python-version", "3.11", "--check-untyped-defs", "--no-incremental", *paths],
        cwd=FIRMWARE, env={"PATH": "", "MYPYPATH": str(typings)}, capture_output=True, text=True, timeout=300)


def test_the_firmware_type_checks_against_the_stubs_of_the_board(typings):
    result = check(typings, "lander", "boards", "drivers", "deadman.py", "launcher.py", "main.py")
    ours = [line for line in result.stdout.splitlines() if line.startswith(("lander/", "boards/", "drivers/", "deadman.py", "launcher.py", "main.py"))]
    assert not ours, "\n".join(ours)
    assert "checked" in result.stdout or "Success" in result.stdout, result.stdout + result.stderr


def test_a_call_that_the_board_does_not_have_is_noticed(typings, tmp_path):
    wrong = tmp_path / "wrong.py"
    wrong.write_text("import machine\nmachine.Pin(1).no_such_thing()\n")
    result = check(typings, str(wrong))
    assert result.returncode == 1 and "no_such_thing" in result.stdout, result.stdout + result.stderr
