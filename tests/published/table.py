"""The table of the published checks: `python tests/published/table.py` runs them all and writes README.md beside it.

With the names of some test files it runs those alone and keeps what the table says of the others. A check says what it
is by its marker, wherever its test stands:

    @pytest.mark.published("printed", source="...", tolerance="...", ids="...", what="...")

`what` is the sentence that the test's name makes, unless given. The markers are read from the source, by which a test
holds that the table is up to date without running anything; how many cases passed is what the last run has seen.
"""

import ast
import re
import sys
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import pytest

TESTS = Path(__file__).resolve().parents[1]
README = Path(__file__).with_name("README.md")
COMMAND = "python tests/published/table.py"
MARK = "pytest.mark.published"
KNOWN = {
    "printed": "the number stands in the source, which was read or is given by a library as well",
    "library": "another program gives the number, in the test or when it was written",
    "worked": "worked out from a law or by hand: it keeps our code from changing and is no authority of its own",
    "memory": "number or citation is from memory: nobody has looked it up",
    "practice": "common practice, no source",
}
HEAD = """# Published checks

Made by `%s`, which runs every check and writes this file; nothing here is written by hand.
Each check compares our own code with something from outside. `id` is its number in the project's list of check values
(CHECK_VALUES). What is known of a number:

"""


@dataclass(frozen=True)
class Check:
    """One test: where it is, and what its marker says."""

    file: str  # below tests/
    name: str
    known: str
    source: str
    tolerance: str
    ids: str = ""
    what: str = ""

    @property
    def place(self) -> str:
        return "%s::%s" % (self.file, self.name)

    @property
    def sentence(self) -> str:
        return self.what or self.name.rpartition("::")[2].removeprefix("test_").replace("_", " ")


@dataclass(eq=False)
class Outcomes:
    """As a plugin of pytest: how many cases of each test there were, and how many passed."""

    cases: Counter = field(default_factory=Counter)
    passed: Counter = field(default_factory=Counter)

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.when == "setup":
            self.cases[place_of(report.nodeid)] += 1
        elif report.when == "call":
            self.passed[place_of(report.nodeid)] += report.passed

    def told(self) -> dict[str, str]:
        return {place: "%d of %d" % (self.passed[place], cases) for place, cases in self.cases.items()}


def place_of(nodeid: str) -> str:
    """File below tests/ and name of the test, without its parameters."""
    path, _, name = nodeid.partition("::")
    return "%s::%s" % (path.rpartition("tests/")[2], name.partition("[")[0])


# --- reading the markers --------------------------------------------------------------------------------------------


def marked_files() -> list[Path]:
    return [path for path in sorted(TESTS.rglob("test_*.py")) if "@" + MARK in path.read_text(encoding="utf-8")]


@cache
def tree_of(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


def checks() -> list[Check]:
    return [check for path in marked_files() for check in checks_in(path)]


def checks_in(path: Path, text: str | None = None) -> Iterator[Check]:
    """The marked tests of a file, in its order. Raises ValueError where a marker cannot be read."""
    tree = tree_of(path) if text is None else ast.parse(text)
    constants = {name.id: node.value.value for node in tree.body
                 if isinstance(node, ast.Assign) and isinstance(node.value, ast.Constant)
                 for name in node.targets if isinstance(name, ast.Name)}
    for name, node in every_test(tree):
        for mark in node.decorator_list:
            if isinstance(mark, ast.Call) and ast.unparse(mark.func) == MARK:
                yield _check(path.relative_to(TESTS).as_posix(), name, mark, constants)


def every_test(tree: ast.Module | ast.ClassDef, within: str = "") -> Iterator[tuple[str, ast.FunctionDef]]:
    """Every test of a file by its name, those in classes too."""
    for node in tree.body:
        if isinstance(node, ast.FunctionDef) and node.name.startswith("test_"):
            yield within + node.name, node
        elif isinstance(node, ast.ClassDef):
            yield from every_test(node, node.name + "::")


def _check(file: str, name: str, mark: ast.Call, constants: Mapping[str, str]) -> Check:
    def text(node: ast.expr) -> str:
        return str(constants[node.id] if isinstance(node, ast.Name) else ast.literal_eval(node))
    try:
        known, = map(text, mark.args)
        return Check(file, name, known, **{str(word.arg): text(word.value) for word in mark.keywords})
    except (KeyError, TypeError, ValueError) as error:
        raise ValueError("%s::%s: its marker cannot be read: %s" % (file, name, error)) from None


# --- writing the table ----------------------------------------------------------------------------------------------


def page(found: Iterable[Check], passed: Mapping[str, str]) -> str:
    """The whole README: what is known, and the checks file by file. `passed` by the place of a check."""
    found = list(found)
    lines = [HEAD % COMMAND + _row("known", "checks", "meaning"), _row(*("---",) * 3)]
    counts = Counter(check.known for check in found)
    lines += [_row(known, str(counts[known]), meaning) for known, meaning in KNOWN.items()]
    for file in dict.fromkeys(check.file for check in found):
        lines += ["", "## %s" % file, "", _said_at_the_top(TESTS / file), "",
                  _row("check", "known", "source", "tolerance", "id", "passed"), _row(*("---",) * 6)]
        lines += [_row(check.sentence, check.known, check.source, check.tolerance, check.ids,
                       passed.get(check.place, "not run")) for check in found if check.file == file]
    return "\n".join(lines) + "\n"


def _row(*cells: str) -> str:
    return "| %s |" % " | ".join(cell.replace("|", "\\|") for cell in cells)


def _said_at_the_top(path: Path) -> str:
    return " ".join((ast.get_docstring(tree_of(path)) or "").split("\n\n")[0].split())


def passed_in(text: str, found: Iterable[Check]) -> dict[str, str]:
    """What a README says of how many cases passed, by the place of a check."""
    said: dict[tuple[str, str], str] = {}
    file = ""
    for line in text.splitlines():
        if line.startswith("## "):
            file = line[3:]
        elif line.startswith("| "):
            cells = re.split(r"(?<!\\) \| ", line[2:-2])
            said[file, cells[0]] = cells[-1]
    return {check.place: said[check.file, check.sentence] for check in found if (check.file, check.sentence) in said}


def main(files: list[str]) -> int:
    """Run every check, or those of some files, and write the table; status 1 where one did not pass."""
    outcomes, found = Outcomes(), checks()
    before = passed_in(README.read_text(encoding="utf-8"), found) if files and README.exists() else {}
    status = pytest.main(["-n", "0", "-q", "-m", "published", "-p", "no:cacheprovider",
                          *(files or map(str, marked_files()))], plugins=[outcomes])
    README.write_text(page(found, {**before, **outcomes.told()}), encoding="utf-8")
    print("wrote %s: %d checks run, %d of %d cases passed" % (
        README.name, len(outcomes.cases), outcomes.passed.total(), outcomes.cases.total()))
    return int(status != 0)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
