"""The tool on systems that are not POSIX: every module of host and simulator is there without what only POSIX has.

What Windows lacks is told by Python's documentation, under "Availability" of each module and function (library
reference: `pty`, `tty`, `termios`, `fcntl`, `resource`, `grp`, `pwd`, `os.fork`, `signal.SIGKILL`, `select.poll`, ...).
"""

import ast
import os
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from seatrial import scenario

ROOT = Path(__file__).resolve().parents[2]
POSIX_ONLY = {"pty", "tty", "termios", "fcntl", "resource", "grp", "pwd", "syslog", "readline", "posix", "curses"}
LATER = ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda
SOURCES = sorted(path for folder in ("host", "sim") for path in (ROOT / folder).rglob("*.py"))
# Takes what the libraries need of this system first, then everything POSIX away, and brings the house anew.
ELSEWHERE = """
import importlib, os, pkgutil, select, signal, sys
HOUSE = ("lander", "seatrial", "tumblehome")

def bring():
    for base in HOUSE[1:]:
        for one in pkgutil.walk_packages(importlib.import_module(base).__path__, base + "."):
            if one.name.endswith("__main__"):
                continue
            try:
                importlib.import_module(one.name)
            except ModuleNotFoundError as error:
                if error.name not in ("boards", "vfs"):  # what runs under MicroPython alone
                    raise

class Without:
    def find_spec(self, name, path=None, target=None):
        if name in %r:
            raise ImportError("%%s is not there" %% name)

bring()
for name in list(sys.modules):
    if name.split(".")[0] in (*HOUSE, *%r):
        del sys.modules[name]
sys.meta_path.insert(0, Without())
for owner, names in ((os, "fork forkpty openpty set_blocking killpg setsid mkfifo getuid O_NOCTTY O_NONBLOCK "
                          "sched_getaffinity posix_spawn uname ttyname"),
                     (signal, "SIGKILL SIGHUP SIGALRM SIGUSR1 SIGUSR2 setitimer"), (select, "poll epoll")):
    for name in names.split():
        if hasattr(owner, name):
            delattr(owner, name)
bring()
"""


def parsed(mark: re.Pattern[str]) -> Iterator[tuple[Path, ast.Module]]:
    """The modules in whose text this is found; to parse them all would take seconds."""
    for path in SOURCES:
        text = path.read_text(encoding="utf-8")
        if mark.search(text):
            yield path, ast.parse(text)


def at_import(tree: ast.AST) -> Iterator[ast.AST]:
    """All that is worked through when a module comes, which is not what stands in its functions."""
    for node in ast.iter_child_nodes(tree):
        yield node
        if not isinstance(node, LATER):
            yield from at_import(node)


def modules_of(node: ast.AST) -> set[str]:
    names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else \
        [node.module or ""] if isinstance(node, ast.ImportFrom) else []
    return {name.split(".")[0] for name in names}


def test_no_module_wants_a_module_that_only_posix_has_when_it_comes():
    for path, tree in parsed(re.compile(r"import +(%s)\b|from +(%s) +import" % (("|".join(POSIX_ONLY),) * 2))):
        for node in at_import(tree):
            assert not modules_of(node) & POSIX_ONLY, "%s:%d" % (path, node.lineno)


@pytest.mark.long
def test_every_module_comes_where_there_is_nothing_of_posix():
    done = subprocess.run([sys.executable, "-c", ELSEWHERE % (POSIX_ONLY, POSIX_ONLY)], capture_output=True,
                          encoding="utf-8", check=False, cwd=ROOT)
    assert (done.returncode, done.stderr) == (0, "")


def opens_text(node: ast.AST) -> bool:
    """Whether it is a call that reads or writes a file as text."""
    if not isinstance(node, ast.Call):
        return False
    name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
    if name in ("read_text", "write_text"):
        return True
    owner = node.func.value if isinstance(node.func, ast.Attribute) else None
    modes = [one.value for one in node.args if isinstance(one, ast.Constant) and isinstance(one.value, str)]
    return name == "open" and not (isinstance(owner, ast.Name) and owner.id == "os") and any(
        set(mode) <= set("rwax+t") for mode in modes)


def writes(node: ast.Call) -> bool:
    modes = [one.value for one in node.args if isinstance(one, ast.Constant) and isinstance(one.value, str)]
    return getattr(node.func, "attr", "") == "write_text" or any(set(mode) & set("wax") for mode in modes if len(mode) < 4)


def test_every_file_of_text_has_its_encoding_named_and_one_that_is_written_its_line_ends():
    """Where they are left out they are those of the system (Python's documentation, `open`): on Windows not UTF-8, and
    other bytes of the same seed."""
    for path, tree in parsed(re.compile(r"\bopen\(|_text\(")):
        for node in filter(opens_text, ast.walk(tree)):
            wanted = {"encoding", "newline"} if writes(node) else {"encoding"}
            assert wanted <= {one.arg for one in node.keywords}, "%s:%d" % (path, node.lineno)


WORDS = ["tumblehome", "rehearse", "my dive.toml", "--fault", "jammed:channel=both,for_s=600@record"]


def test_a_command_to_do_it_again_is_quoted_for_the_shell_of_the_system(monkeypatch):
    """POSIX shells take single quotes (XCU 2.2.2); a program on Windows is given one string, and the C runtime's rules
    know double quotes only (Microsoft's documentation, "Parsing C command-line arguments")."""
    assert "'my dive.toml'" in scenario.in_shell(WORDS)
    monkeypatch.setattr(os, "name", "nt")
    quoted = scenario.in_shell(WORDS)
    monkeypatch.undo()
    assert quoted == 'tumblehome rehearse "my dive.toml" --fault jammed:channel=both,for_s=600@record'
