"""What every test of the command line shares: the tool run in a folder of its own, as a person runs it."""

import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import NamedTuple

import pytest

from tumblehome import cli

from .pages_for_tests import BROWSER, Browser


class Said(NamedTuple):
    """What a run answered: exit status, what it printed, and what it complained of."""

    status: int
    out: str
    err: str


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Callable[..., Said]:
    """Runs `tumblehome` with these words in this process; the current folder is an empty one."""
    monkeypatch.chdir(tmp_path)

    def run_here(*words: object) -> Said:
        with pytest.raises(SystemExit) as ended:
            cli.main([str(word) for word in words])
        heard = capsys.readouterr()
        return Said(int(ended.value.code or 0), heard.out, heard.err)
    return run_here


@pytest.fixture(scope="session")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    """The one browser that opens pages; where there is none, who needs it is passed over."""
    if BROWSER is None:
        pytest.skip("no chromium or chrome on the PATH to open the page with")
    pytest.importorskip("playwright", reason="no playwright to drive the browser with")
    started = Browser(tmp_path_factory.mktemp("pages"))
    yield started
    started.close()


@pytest.fixture
def run_outside(tmp_path: Path) -> Callable[..., Said]:
    """Runs `tumblehome` as a process of its own, its answers into pipes, on a terminal said to be 80 wide."""
    def run_there(*words: object, cwd: Path = tmp_path, **environment: str) -> Said:
        done = subprocess.run(
            [sys.executable, "-c", "from tumblehome.cli import main; main()", *map(str, words)], cwd=cwd, timeout=120,
            capture_output=True, encoding="utf-8", check=False, stdin=subprocess.DEVNULL,
            env={**os.environ, "COLUMNS": "80", "PYTHONIOENCODING": "utf-8", **environment})
        return Said(done.returncode, done.stdout, done.stderr)
    return run_there
