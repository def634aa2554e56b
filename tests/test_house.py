"""The habits of the house, held by tests: what may import what, what the mission core may not do, what stays small.

These are rules of this project (DEVELOPERS and the design), each checked on the source itself; there is no outside
source for them. Type checks against the board's stubs stand in tests/firmware/test_types.py.
"""

import ast
import os
import re
import shlex
import subprocess
import sys
from collections.abc import Iterable, Iterator
from pathlib import Path

import pytest

from lander.signals import INPUTS, OUTPUTS
from seatrial.faults import parse as parse_fault

from .host.readme_commands import parse

ROOT = Path(__file__).resolve().parents[1]
CORE = ROOT / "firmware" / "lander"
LINES_MAX = 600
# What each part of the house may import of the house; the order of the keys is the order of the floors.
MAY_IMPORT = {
    "firmware": {"lander", "boards", "drivers"},
    "sim": {"lander", "seatrial", "boards"},  # boards: flash_cuts.py runs under MicroPython, on the firmware itself
    "host": {"lander", "seatrial", "tumblehome"},
}
HOUSE = {"lander", "boards", "drivers", "seatrial", "tumblehome"}
CORE_MAY_IMPORT = {"lander", "sys", "struct", "binascii", "micropython", "gc"}
# Calls that bring in a wall clock or chance from outside the run; None bars the whole module.
NOT_IN_A_RUN = {"random": None, "secrets": None, "time": None, "uuid": None,
                "datetime": {"now", "utcnow", "today", "fromtimestamp"}}
# The link to a body waits on real answers, a practice board goes with the clock on the wall, and the benchmark times
# runs; none is a part of the simulated run.
OUTSIDE_A_RUN = {"bodies.py", "loader.py", "bench.py", "explore.py", "practice.py", "line_storm.py", "campaign/flying.py",
                 "fuzzing/running.py"}


def sources(folder: str) -> list[Path]:
    return sorted((ROOT / folder).rglob("*.py"))


def every_source() -> list[Path]:
    return [path for folder in MAY_IMPORT for path in sources(folder)]


def tree_of(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"), str(path))


def named(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def imports(tree: ast.AST) -> Iterator[tuple[str, int]]:
    """The first word of every module that is imported, wherever in the file, with its line."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield alias.name.split(".")[0], node.lineno
        elif isinstance(node, ast.ImportFrom):
            assert not node.level, "relative imports hide which floor is meant: line %d" % node.lineno
            yield (node.module or "").split(".")[0], node.lineno


def wall_clock_or_chance(tree: ast.AST) -> list[int]:
    """Lines that use a module of `NOT_IN_A_RUN`, by import or by attribute."""
    found = [node.lineno for node in ast.walk(tree) if isinstance(node, ast.Import | ast.ImportFrom)
             for module in ([alias.name for alias in node.names] if isinstance(node, ast.Import) else [node.module])
             if NOT_IN_A_RUN.get(str(module).split(".")[0], ()) is None]
    barred = {name for names in NOT_IN_A_RUN.values() if names for name in names}
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute) and node.attr in barred:
            found.append(node.lineno)
        if isinstance(node, ast.Attribute) and node.attr == "random":
            found.append(node.lineno)  # numpy.random is global state as well
    return found


def floats_and_true_divisions(tree: ast.AST) -> list[int]:
    found = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, float | complex):
            found.append(node.lineno)
        if isinstance(node, ast.BinOp | ast.AugAssign) and isinstance(node.op, ast.Div):
            found.append(node.lineno)
        if isinstance(node, ast.Name) and node.id in ("float", "complex", "round"):
            found.append(node.lineno)
        if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Pow):
            negative = isinstance(node.right, ast.UnaryOp)
            found += [node.lineno] if negative else []
    return found


# --- the floors ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("folder", MAY_IMPORT)
def test_imports_run_one_way_from_host_to_sea_trial_to_lander(folder):
    assert sources(folder)
    for path in sources(folder):
        for module, line in imports(tree_of(path)):
            if module in HOUSE:
                assert module in MAY_IMPORT[folder], "%s:%d imports %s" % (named(path), line, module)


def test_the_mission_core_imports_itself_and_what_every_micropython_has():
    for path in sources("firmware/lander"):
        for module, line in imports(tree_of(path)):
            assert module in CORE_MAY_IMPORT, "%s:%d imports %s" % (named(path), line, module)


def test_every_distributed_package_is_named_in_the_packaging():
    packages = re.search(r"^packages = \[(.*?)\]", (ROOT / "pyproject.toml").read_text(), re.MULTILINE | re.DOTALL)
    assert packages
    given = set(re.findall(r'"([\w.]+)"', packages[1]))
    for base in ("firmware/lander", "sim/seatrial", "host/tumblehome"):
        parent = (ROOT / base).parent
        for marker in (ROOT / base).rglob("__init__.py"):
            assert ".".join(marker.parent.relative_to(parent).parts) in given


# --- the mission core ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", sources("firmware"), ids=named)
def test_the_firmware_has_no_float_and_no_true_division(path):
    assert floats_and_true_divisions(tree_of(path)) == []


@pytest.mark.parametrize("path", sources("firmware"), ids=named)
def test_the_firmware_has_no_assert_since_the_board_compiler_deletes_it(path):
    """`mpy-cross -O1` and above drop assert statements (MicroPython documentation, `micropython.opt_level`)."""
    assert [node.lineno for node in ast.walk(tree_of(path)) if isinstance(node, ast.Assert)] == []


# --- determinism ---------------------------------------------------------------------------------------------------


def inside_a_run(path: Path) -> bool:
    return path.relative_to(ROOT / "sim" / "seatrial").as_posix() not in OUTSIDE_A_RUN


@pytest.mark.parametrize("path", [path for path in sources("sim") if inside_a_run(path)], ids=named)
def test_a_simulated_run_knows_no_wall_clock_and_no_chance_of_its_own(path):
    assert wall_clock_or_chance(tree_of(path)) == []


@pytest.mark.parametrize("path", sources("firmware/lander"), ids=named)
def test_the_mission_core_knows_no_clock_but_its_inputs(path):
    assert wall_clock_or_chance(tree_of(path)) == []


@pytest.mark.parametrize("line, finder", [
    ("import time", wall_clock_or_chance), ("from time import monotonic", wall_clock_or_chance),
    ("import random", wall_clock_or_chance), ("now = datetime.now(UTC)", wall_clock_or_chance),
    ("draw = np.random.normal()", wall_clock_or_chance),
    ("half = depth / 2", floats_and_true_divisions), ("depth /= 2", floats_and_true_divisions),
    ("depth = 1.5", floats_and_true_divisions), ("depth = float(text)", floats_and_true_divisions),
    ("depth = 10 ** -2", floats_and_true_divisions),
])
def test_the_searches_above_find_what_they_look_for(line, finder):
    assert finder(ast.parse(line)) == [1]


@pytest.mark.parametrize("line", ["half = depth // 2", "depth = 3 << 2", "later = start_s + 5", "square = depth ** 2"])
def test_the_searches_above_find_nothing_in_plain_integer_work(line):
    assert floats_and_true_divisions(ast.parse(line)) == []
    assert wall_clock_or_chance(ast.parse(line)) == []


# --- habits --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", every_source(), ids=named)
def test_every_file_says_what_it_is_for(path):
    if path.read_text(encoding="utf-8").strip():  # an empty marker of a package has nothing to say
        assert ast.get_docstring(tree_of(path)), "no docstring at the top"


@pytest.mark.parametrize("path", every_source(), ids=named)
def test_no_file_is_too_long_to_know(path):
    assert len(path.read_text(encoding="utf-8").splitlines()) <= LINES_MAX


def test_the_linter_has_nothing_to_say():
    folders = [name for name in ("firmware", "sim", "host", "tests") if (ROOT / name).exists()]
    done = subprocess.run([sys.executable, "-m", "ruff", "check", "--no-cache", *folders], cwd=ROOT,
                          capture_output=True, encoding="utf-8", check=False)
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.long
def test_sim_and_host_type_check(tmp_path):
    done = subprocess.run(
        [sys.executable, "-m", "mypy", "--cache-dir", str(tmp_path), "-p", "seatrial", "-p", "tumblehome"], cwd=ROOT,
        env={**os.environ, "MYPYPATH": "firmware:sim:host"}, capture_output=True, encoding="utf-8", check=False)
    assert done.returncode == 0, done.stdout + done.stderr


def asserts(function: ast.FunctionDef, helpers: Iterable[str] = ()) -> bool:
    """Whether it can fail by itself: an assert, an AssertionError, `raises`, the tool's `expect`, or such a helper."""
    wanted = {"raises", "expect", *helpers}
    for node in ast.walk(function):
        if isinstance(node, ast.Assert) or (isinstance(node, ast.Name) and node.id == "AssertionError"):
            return True
        if isinstance(node, ast.Call) and getattr(node.func, "attr", getattr(node.func, "id", "")) in wanted:
            return True
    return False


def without_assertion(*trees: ast.AST) -> list[str]:
    functions = [node for tree in trees for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)]
    helpers = {one.name for one in functions if not one.name.startswith("test_") and asserts(one)}
    return [one.name for one in functions if one.name.startswith("test_") and not asserts(one, helpers)]


@pytest.mark.parametrize("folder", ["firmware", "host", "published", "sim"])
def test_every_test_asserts_something(folder):
    assert without_assertion(*map(tree_of, sources("tests/" + folder))) == []


def test_a_test_that_asserts_nothing_is_found():
    helper = "def check(it):\n    assert it\n"
    assert without_assertion(ast.parse(helper + "def test_a():\n    check(fly())\n")) == []
    assert without_assertion(ast.parse(helper + "def test_b():\n    fly()\n")) == ["test_b"]


# --- documents -----------------------------------------------------------------------------------------------------


def tool_lines(document: Path) -> list[list[str]]:
    """The words after `tumblehome` of every command in the document's shell blocks."""
    if not document.exists():
        return []
    found = []
    for block in re.findall(r"(?ms)^```sh\n(.*?)^```", document.read_text(encoding="utf-8")):
        for line in block.replace("\\\n", " ").splitlines():
            words = shlex.split(line, comments=True)
            starts = [place for place, word in enumerate(words) if word.split("/")[-1] == "tumblehome"]
            for start in starts:
                rest = words[start + 1:]
                ends = [place for place, word in enumerate(rest) if word in ("&&", "|", ">", ";")]
                found.append(rest[:min(ends)] if ends else rest)
    return found


DOCUMENTS = sorted({*ROOT.glob("*.md"), *(ROOT / "hw_notes").glob("*.md")})
TOOL_LINES = [(named(document), words) for document in DOCUMENTS for words in tool_lines(document)]


def test_the_readme_shows_commands_to_copy():
    if not (ROOT / "README.md").read_text(encoding="utf-8").strip():
        pytest.skip("README.md is still empty")
    assert any(where == "README.md" for where, _words in TOOL_LINES)


@pytest.mark.parametrize("where, words", TOOL_LINES, ids=lambda one: one if isinstance(one, str) else " ".join(one))
def test_every_command_in_the_documents_is_one_that_the_tool_takes(where, words):
    if words[0].startswith("-"):
        assert words[0] in ("--help", "-h", "--version")
        return
    given = parse(shlex.join(["tumblehome", *words]))  # refuses an option that is not there
    for fault in given.get("fault") or ():
        assert parse_fault(fault).name


@pytest.mark.parametrize("document", DOCUMENTS, ids=named)
def test_every_file_that_a_document_links_to_is_there(document):
    for target in re.findall(r"\]\(([^)#:\s]+)(?:#[^)]*)?\)", document.read_text(encoding="utf-8")):
        assert (document.parent / target).exists(), target


@pytest.mark.parametrize("name", [row[0] for row in (*INPUTS, *OUTPUTS)])
def test_the_wiring_notes_name_every_input_and_output_of_the_controller(name):
    rows = [line for line in (ROOT / "hw_notes" / "wiring.md").read_text(encoding="utf-8").splitlines()
            if line.startswith("| `%s`" % name) or re.match(r"\| .*`%s`" % name, line)]
    assert rows, "%s stands in no table of hw_notes/wiring.md" % name


def test_the_wiring_notes_name_no_signal_that_the_controller_does_not_have():
    known = {row[0] for row in (*INPUTS, *OUTPUTS)}
    for line in (ROOT / "hw_notes" / "wiring.md").read_text(encoding="utf-8").splitlines():
        first = line.split("|")[1] if line.startswith("| `") else ""
        assert set(re.findall(r"`(\w+)`", first)) <= known, line


def test_the_hardware_notes_are_all_in_their_index():
    index = (ROOT / "hw_notes" / "README.md").read_text(encoding="utf-8")
    for note in (ROOT / "hw_notes").glob("*.md"):
        if note.name != "README.md":
            assert "](%s)" % note.name in index
