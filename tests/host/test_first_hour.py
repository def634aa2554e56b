"""The first hour with the tool, by the very commands of the README: from a clone of this project to a debrief.

Only the set-up is left out: the code is that of the clone, the libraries are those of the test. A busy person says yes to
every question.
"""

import json
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from .readme_commands import (
    FIRST_HOUR,
    PORT,
    PRACTICE,
    ROOT,
    TOOL,
    commands,
    done,
    is_shown,
    practising,
    section,
    shown,
)

pytestmark = [pytest.mark.long, pytest.mark.usefixtures("micropython"),
              pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminals here")]
# What each step leaves for the next ones and for the person, and what it says of it, by its first words.
LEFT = {
    "cp": ("my-dive.toml",), "plan": ("my-dive/plan.html", "my-dive/card.html"),
    "rehearse": ("my-dive/dive.html", "my-dive/journal.bin"), "sweep": ("my-sweep/sweep.html",),
    "bench load": (), "bench poke": (), "deck": ("my-dive/deck.html", "my-dive/deck.json"),
    "find": ("my-dive/search.html", "my-dive/search.gpx", "my-dive/message.txt"),
    "debrief": ("my-dive/debrief.html", "my-dive/dive.csv"),
}
SAID = {
    "plan": "ADDS UP", "rehearse": "HOME At the surface", "sweep": "LAWS KEPT", "bench load": "whole copies 2 of 2",
    "bench poke": "AS PLANNED", "deck": "\nGO", "find": "\nGO TO 46°", "debrief": "HOME, NOT AS PLANNED",
}


@pytest.fixture
def clone(tmp_path, monkeypatch) -> Path:
    """What a person gets who clones the project once this change is in it."""
    if not (ROOT / ".git").exists():
        pytest.skip("no git repository here")
    listed = subprocess.run(["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"], cwd=ROOT,
                            capture_output=True, encoding="utf-8", check=True).stdout
    for name in filter(None, listed.split("\0")):
        if (ROOT / name).exists():
            (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(ROOT / name, tmp_path / name)
    monkeypatch.setenv("PYTHONPATH", ":".join(str(tmp_path / name) for name in ("firmware", "sim", "host")))
    seen = subprocess.run([*TOOL[:2], "import tumblehome; print(tumblehome.__file__)"], cwd=tmp_path, check=True,
                          capture_output=True, encoding="utf-8").stdout
    assert Path(seen.strip()).is_relative_to(tmp_path)
    return tmp_path


def key_of(command: str) -> str:
    words = [word for word in shlex.split(command) if word != "tumblehome"]
    return " ".join(words[:2]) if words[0] == "bench" else words[0]


def test_each_step_of_the_first_hour_leaves_what_the_next_one_needs(clone):
    hour = [line for line in commands(section(FIRST_HOUR)) if line != PRACTICE]
    assert [key_of(line) for line in hour] == list(LEFT)
    with practising(clone) as url:
        for command in hour:
            said = do(command.replace(PORT, url), clone)
            assert SAID.get(key_of(command), "") in said, (command, said)
            assert is_shown(shown().get(command, []), said, url), (command, said)
            missing = [name for name in LEFT[key_of(command)] if not (clone / name).is_file()]
            assert not missing, (command, said)
    told = json.loads((clone / "my-dive" / "debrief.json").read_text(encoding="utf-8"))
    assert "jammed" in json.dumps(told)


def do(command: str, folder: Path) -> str:
    words = shlex.split(command)
    if words[0] == "cp":
        shutil.copy(folder / words[1], folder / words[2])
        return ""
    status, said = done(words[1:], folder)
    assert status == 0, (command, said)
    return said
