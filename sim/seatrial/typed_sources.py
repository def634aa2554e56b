"""What the compiler is given: the mission core with its types written out, and the sea's modules that work each step.

A compiler turns known types into direct access; without them it gains nothing. The sea's modules have theirs already.
The core in `firmware/lander` stays the one source. A parameter there is always named for what it is, so its type
follows from its name; a constant is a module's integer; the fields of an object that is filled from a table are those
of a fresh one. What is added here says that in the source and changes nothing else: every line keeps its number.
"""

import ast
import importlib
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import lander
from seatrial.caches import SEA

CORE = lander.__name__
PACKAGE = "lander_compiled"  # of another name than the core, so that both can be there at once
FIRST = "mission"  # the module that every other one of the core hangs on, as far as a mission needs it
# Where the class stands that a parameter of this name belongs to.
CLASSES = {
    "mission": ("mission", "Mission"),
    "inputs": ("signals", "Inputs"),
    "outputs": ("signals", "Outputs"),
    "orders": ("orders", "Orders"),
    "camera": ("camera", "Camera"),
}
TRUTHS = ("raw", "valid", "wanted")  # parameters that are true or false, as a bool or as 0 and 1
SEA_HEAD = "from mypy_extensions import mypyc_attr as _for_compiler"
SEA_CLASS = "@_for_compiler(allow_interpreted_subclasses=True, serializable=True)"  # a dive under way can be copied
HEAD = "from typing import Any as _Any, Final as _Final, TYPE_CHECKING as _FOR_TYPES"


class _Typed:
    """One module on its way to its typed copy: pieces of text and where they go."""

    def __init__(self, name: str, source: str, module: ModuleType) -> None:
        self._lines = source.split("\n")
        self._tree = ast.parse(source)
        self._module = module
        self._edits: list[tuple[int, int, int, int, str]] = []
        self._own = {node.name for node in self._tree.body if isinstance(node, ast.ClassDef)}
        self._asked: set[tuple[str, str]] = set()
        self._name = name

    def text(self) -> str:
        for node in ast.walk(self._tree):
            if isinstance(node, ast.FunctionDef):
                self._parameters(node)
            elif isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] == CORE:
                at = node.col_offset + len("from ")
                self._edits.append((node.lineno, at, node.lineno, at + len(CORE), PACKAGE))
        self._constants(self._tree.body, self._module)
        for node in self._tree.body:
            if isinstance(node, ast.ClassDef):
                self._constants(node.body, getattr(self._module, node.name))
                self._fields(node)
        self._head()
        return self._edited() + self._foot()

    def _parameters(self, function: ast.FunctionDef) -> None:
        for parameter in function.args.args:
            if parameter.annotation is not None:
                continue
            if parameter.arg in CLASSES:
                place = CLASSES[parameter.arg]
                self._put_behind(parameter, ': "%s"' % place[1])
                if place[1] not in self._own:
                    self._asked.add(place)
            elif parameter.arg in TRUTHS:
                self._put_behind(parameter, ": int")

    def _put_behind(self, node: ast.arg | ast.expr, text: str) -> None:
        line, column = node.end_lineno or 0, node.end_col_offset or 0
        self._edits.append((line, column, line, column, text))

    def _replace(self, node: ast.stmt, text: str) -> None:
        self._edits.append((node.lineno, node.col_offset, node.end_lineno or 0, node.end_col_offset or 0, text))

    def _constants(self, body: list[ast.stmt], owner: Any) -> None:
        """Whole numbers are written down by value, so that whoever reads them need not look them up."""
        for node in body:
            names = list(_names_set(node))
            values = [vars(owner).get(name) for name in names]
            if names and all(type(value) is int for value in values):
                self._replace(node, "; ".join("%s: _Final = %d" % pair for pair in zip(names, values, strict=True)))
            elif isinstance(node, ast.Assign) and names and isinstance(values[0], tuple) and names != ["__slots__"]:
                # A tuple of known length would be a structure of its own to the compiler, and a table a huge one.
                whole = all(type(value) is int for value in values[0])
                self._put_behind(node.targets[0], ": _Final[tuple[%s, ...]]" % ("int" if whole else "_Any"))

    def _fields(self, node: ast.ClassDef) -> None:
        """A class that is filled by a loop over a table has its fields declared."""
        if not any(isinstance(call, ast.Call) and isinstance(call.func, ast.Name) and call.func.id == "setattr"
                   for call in ast.walk(node)):
            return
        fresh = getattr(self._module, node.name)()
        names = getattr(fresh, "__slots__", None) or vars(fresh)
        known = {one.attr for one in ast.walk(node)
                 if isinstance(one, ast.Attribute) and isinstance(one.ctx, ast.Store)}
        declared = "; ".join("%s: %s" % (name, type(getattr(fresh, name)).__name__)
                             for name in names if name not in known)
        for one in node.body:
            if isinstance(one, ast.If) or (isinstance(one, ast.Assign) and "__slots__" in _names_set(one)):
                self._replace(one, declared or "pass")
                declared = ""

    def _head(self) -> None:
        first = self._tree.body[0] if self._tree.body else None
        if isinstance(first, ast.Expr):
            self._put_behind(first.value, "; " + HEAD)

    def _foot(self) -> str:
        """Names of types, where no line moves and no import goes round in a circle."""
        lines = ["    from %s.%s import %s" % (PACKAGE, *place) for place in sorted(self._asked)]
        return "\n".join(["if _FOR_TYPES:", *lines, ""]) if lines else ""

    def _edited(self) -> str:
        lines = list(self._lines)
        for line, column, end_line, end_column, text in sorted(self._edits, reverse=True):
            after = lines[end_line - 1][end_column:]
            lines[line - 1] = lines[line - 1][:column] + text + (after if line == end_line else "")
            for gone in range(line, end_line):
                lines[gone] = after if gone == end_line - 1 else ""
        return "\n".join(lines)


def _names_set(node: ast.stmt) -> Iterator[str]:
    """The names that a plain assignment sets; none for any other statement."""
    if isinstance(node, ast.Assign) and len(node.targets) == 1:
        target = node.targets[0]
        parts = target.elts if isinstance(target, ast.Tuple) else [target]
        if all(isinstance(part, ast.Name) for part in parts):
            yield from (part.id for part in parts if isinstance(part, ast.Name))


def modules(folder: Path) -> list[str]:
    """The modules of the core that a mission needs, by name."""
    found, todo = set(), [FIRST]
    while todo:
        name = todo.pop()
        if name in found:
            continue
        found.add(name)
        for node in ast.walk(ast.parse((folder / (name + ".py")).read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and node.module == CORE:
                todo += [alias.name for alias in node.names]
            elif isinstance(node, ast.ImportFrom) and (node.module or "").startswith(CORE + "."):
                todo.append((node.module or "").split(".")[1])
    return sorted(found)


def of_sea() -> dict[str, str]:
    """The sea's modules by file name, every class told to the compiler as one whose objects can be copied."""
    folder = Path(__file__).parent
    return {name + ".py": _open_to_copies((folder / (name + ".py")).read_text(encoding="utf-8")) for name in SEA}


def _open_to_copies(source: str) -> str:
    lines = source.split("\n")
    tree = ast.parse(source)
    for node in tree.body:
        if isinstance(node, ast.ClassDef) and not node.decorator_list:
            lines[node.lineno - 2] = SEA_CLASS  # on one of the two blank lines above a class
    lines[(tree.body[0].end_lineno or 1) - 1] += "; " + SEA_HEAD
    return "\n".join(lines)


def of_core() -> dict[str, str]:
    """The typed copies by file name, ready to be compiled as the package `PACKAGE`."""
    folder = Path(lander.__file__).parent
    typed = {name + ".py": _Typed(name, (folder / (name + ".py")).read_text(encoding="utf-8"),
                                  importlib.import_module("%s.%s" % (CORE, name))).text()
             for name in modules(folder)}
    return {"__init__.py": "", **typed}
