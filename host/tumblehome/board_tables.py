"""The tables of the board files, for the documents: which signal is where, what it is, and what is fitted.

The firmware is no part of the installed tool and imports run one way, so its files are read, not imported: every name
that is set at the top level to something that can be told from the source, and from the board files that it imports.
"""

import ast
from pathlib import Path
from typing import Any, NamedTuple

from tumblehome import firmware_files

FIRMWARE = Path(__file__).parents[2] / "firmware"
MAIN = tuple(name for name in firmware_files.BOARDS if name != "unix")  # kinds of board that fly a lander
BOARDS = {**dict.fromkeys(MAIN, ("wiring", "SIGNALS")), "second": ("second_wiring", "SECOND")}
REGISTER_OUTPUTS = 8  # of one chip of a chain

PIN, REGISTER, SELECTOR = range(3)  # of the controller, of the shift register, of the analogue switch


class Signal(NamedTuple):
    """One signal of a board: `way` is PIN, REGISTER or SELECTOR, `number` the GPIO, the output or the channel."""

    name: str
    way: int
    number: int
    kind: str
    at_reset: str
    resistor: str
    what: str


class _Known(ast.NodeTransformer):
    """Puts the value of a name in place of the name."""

    def __init__(self, values: dict[str, Any]) -> None:
        self._values = values

    def visit_Name(self, node: ast.Name) -> ast.AST:
        return ast.Constant(self._values[node.id]) if node.id in self._values else node


def constants(path: Path) -> dict[str, Any]:
    """The constants of a Python file by name. What a file works out is left out."""
    found: dict[str, Any] = {}
    for node in ast.parse(path.read_text(encoding="utf-8"), str(path)).body:
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("boards."):
            known = constants(FIRMWARE / (str(node.module).replace(".", "/") + ".py"))
            found.update({one.asname or one.name: known[one.name] for one in node.names if one.name in known})
        elif isinstance(node, ast.Assign):
            found.update(_assigned(node, found))
    return found


def _assigned(node: ast.Assign, known: dict[str, Any]) -> dict[str, Any]:
    try:
        value = ast.literal_eval(_Known(known).visit(node.value))
    except ValueError:
        return {}
    target = node.targets[0]
    if isinstance(target, ast.Tuple):
        return {name.id: one for name, one in zip(target.elts, value, strict=True) if isinstance(name, ast.Name)}
    return {target.id: value} if isinstance(target, ast.Name) else {}


def in_class(board: str, class_name: str, name: str) -> Any:
    """A constant in the body of a class of a board file. Raises KeyError where it is not."""
    for node in ast.parse((FIRMWARE / "boards" / f"{board}.py").read_text(encoding="utf-8")).body:
        if isinstance(node, ast.ClassDef) and node.name == class_name:
            for inner in node.body:
                if isinstance(inner, ast.Assign) and name in _assigned(inner, {}):
                    return _assigned(inner, {})[name]
    raise KeyError("%s.%s has no constant %s" % (board, class_name, name))


def fitted() -> dict[str, Any]:
    """The numbers of the parts, by name."""
    return tables("fitted")


def tables(board: str) -> dict[str, Any]:
    """The constants of a board file, by name."""
    return constants(FIRMWARE / "boards" / f"{board}.py")


def signals(board: str) -> list[Signal]:
    """The signals of a board, pins first, each by number. Raises KeyError for one that its wiring does not know."""
    wiring, table = BOARDS[board]
    words = {row[0]: row[1:] for row in tables(wiring)[table]}
    own = tables(board)
    places = [(name, PIN, number) for name, number in sorted(own["PINS"].items(), key=lambda item: item[1])]
    places += [(name, REGISTER, number) for number, name in enumerate(own.get("REGISTER", ()))]
    places += [(name, SELECTOR, number) for number, name in enumerate(own.get("SELECTOR", ()))]
    return [Signal(name, way, number, *words[name]) for name, way, number in places]
