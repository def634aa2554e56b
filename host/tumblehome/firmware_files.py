"""Which files of the firmware a board gets: its first file, what that imports, and so on, found in the sources.

An import counts wherever it stands in a file, also in a function. One under an `if` that asks only for `sys.platform`
and for numbers of `boards.fitted` counts when that holds, so that a board gets the drivers of the parts that are
fitted. What main.py loads by name stands in tables at its head, and they are read.

`python -m tumblehome.firmware_files` renews the lists that lie in the firmware folder for MicroPython's `mip`; a test
holds that they are up to date.
"""

import argparse
import ast
import hashlib
import json
import sys
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import SimpleNamespace
from typing import Any

from lander import VERSION
from seatrial.bodies import firmware_folder

LAUNCHER = "launcher.py"
FITTED = "boards/fitted.py"
LATE_IN = ("boards/deck_verbs.py", "boards/flight.py")  # their tables LATE name modules that are loaded when needed
ROLES = {"main": "main.py", "second": "second_main.py"}  # the file that runs as `main` on the board
ON_A_PC = {"boards/simulated.py"}  # main.py asks for it by an argument, which a board never has
LISTS = {"package.json": "main", "second.json": "second"}  # in the firmware folder, with the role each is for
DIGEST_DIGITS = 16  # of a digest on the deck line; boards.deck_files has the same
# What an `if` may be made of to be decided here. Anything else is left open, and both its ways are followed.
_PLAIN = (ast.Expression, ast.BoolOp, ast.And, ast.Or, ast.UnaryOp, ast.Not, ast.Compare, ast.Eq, ast.NotEq, ast.In,
          ast.NotIn, ast.Gt, ast.GtE, ast.Lt, ast.LtE, ast.Constant, ast.Tuple, ast.Attribute, ast.Name, ast.Load)


class MissingFile(Exception):
    """A file of the firmware imports one that is not there; one sentence says which."""


@dataclass(frozen=True)
class BoardKind:
    """What `sys.platform` says on such a board, the architecture that mpy-cross compiles for, and the roles that a
    board of this kind can have.
    """

    platforms: tuple[str, ...]
    architecture: str
    roles: tuple[str, ...]


BOARDS = {
    "pico": BoardKind(("rp2",), "armv6m", ("main", "second")),
    "esp32": BoardKind(("esp32",), "xtensawin", ("main",)),
    "unix": BoardKind(("linux", "darwin"), "x64", ("main", "second")),
}


def late_sources(firmware: Path, board: str | None = None) -> set[str]:
    """The files, by their path on the board, that are in its memory only once they are needed: on deck or afloat."""
    late = {"boards/%s.py" % name for path in LATE_IN
            for name in _constants(firmware / path).get("LATE", ())}
    return set(sources(firmware, board)) - set(sources(firmware, board, without=late))


def sources(firmware: Path, board: str | None = None, role: str = "main",
            without: Collection[str] = ()) -> dict[str, str]:
    """The files of a role: path on the board, and path in the firmware folder; nothing when its first file is missing.

    `board` is a key of `BOARDS`; None: what a board of any kind and with any parts fitted could need. What `without`
    names, by path, is left out with all that only it needs. Raises MissingFile.
    """
    first, platform = ROLES[role], BOARDS[board].platforms[0] if board else None
    known = _known(firmware, first, platform) if platform else {}
    found: set[str] = set()
    waiting = [first, *(place for module in _by_name(firmware / first, platform) for place in _places(module))]
    while waiting:
        name = waiting.pop()
        if name in found or name in without or name in ON_A_PC or not (firmware / name).is_file():
            continue
        found.add(name)
        for module in _imported(_tree(firmware / name).body, known):
            if not _is_there(firmware, module):
                raise MissingFile("%s imports %s, and that is not in the firmware folder" % (name, module))
            waiting += _places(module)
    return {("main.py" if name == first else name): name for name in sorted(found)} if first in found else {}


def _by_name(first: Path, platform: str | None) -> Iterator[str]:
    """What main.py loads by names that stand in tables at its head: the core part by part, and the board's own file."""
    tables = _constants(first)
    boards = tables.get("BOARDS", {})
    not_wanted = tables.get("SESSION", ()) if platform in boards else ()
    yield from ("lander.%s" % part for part in tables.get("PARTS", ()) if part not in not_wanted)
    yield from ("boards.%s" % name for name in ([boards[platform]] if platform in boards else
                                                boards.values() if platform is None else ()))


def _known(firmware: Path, first: str, platform: str) -> dict[str, Any]:
    """What an `if` may ask for: the platform, what is fitted, and the tables at the head of the first file."""
    return {**_constants(firmware / first), "sys": SimpleNamespace(platform=platform),
            "fitted": SimpleNamespace(**_constants(firmware / FITTED))}


def _constants(path: Path) -> dict[str, Any]:
    """The names in capitals at the head of a file whose value stands there in full."""
    found: dict[str, Any] = {}
    for node in _tree(path).body:
        if not isinstance(node, ast.Assign) or len(node.targets) > 1:
            continue
        with suppress(ValueError):  # it is worked out, not written down
            target = node.targets[0]
            value = ast.literal_eval(node.value)
            names = target.elts if isinstance(target, ast.Tuple) else [target]
            values = value if isinstance(target, ast.Tuple) else [value]
            found.update((name.id, one) for name, one in zip(names, values, strict=True) if isinstance(name, ast.Name))
    return {name: value for name, value in found.items() if name.isupper()}


def _tree(path: Path) -> ast.Module:
    """The parsed source; an empty one where there is no file or no program: mpy-cross says what is wrong."""
    try:
        return _parsed(path.read_text(encoding="utf-8"))
    except (OSError, SyntaxError, UnicodeDecodeError):
        return ast.Module([], [])


@cache  # a walk along the imports comes to most files many times
def _parsed(source: str) -> ast.Module:
    return ast.parse(source)


def _imported(statements: Iterable[ast.AST], known: dict[str, Any]) -> Iterator[str]:
    """What is imported: modules, and names in them in the same form."""
    for node in statements:
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            yield from ("%s.%s" % (node.module, alias.name) for alias in node.names)
        elif isinstance(node, ast.If) and (taken := _way(node, known)) is not None:
            yield from _imported(taken, known)
            if taken and isinstance(taken[-1], ast.Return | ast.Raise):
                return  # what follows in this block is never reached
        else:
            yield from _imported(_blocks(node), known)


def _blocks(node: ast.AST) -> Iterator[ast.AST]:
    """The statements within a statement."""
    for field in ("body", "orelse", "finalbody"):
        yield from getattr(node, field, ()) if isinstance(node, ast.stmt | ast.ExceptHandler) else ()
    yield from getattr(node, "handlers", ())


def _way(node: ast.If, known: dict[str, Any]) -> list[ast.stmt] | None:
    """The block that an `if` takes; None when what it asks is not known here."""
    test = ast.Expression(node.test)
    if not known or not all(isinstance(part, _PLAIN) for part in ast.walk(test)):
        return None
    try:
        holds = eval(compile(test, "if", "eval"), {"__builtins__": {}}, known)  # noqa: S307 - made of _PLAIN only
    except (NameError, AttributeError, TypeError):
        return None
    return node.body if holds else node.orelse


def _places(module: str) -> list[str]:
    """The files that a module may stand in, with those of every package on the way; its last word may be a name."""
    words = module.split(".")
    paths = ["/".join(words[:count]) for count in range(1, len(words) + 1)]
    return [path + end for path in paths for end in (".py", "/__init__.py")]


def _is_there(firmware: Path, module: str) -> bool:
    """Whether what is imported is there, as far as it is the firmware's own: a file, a package, or a name in one."""
    path = firmware / module.replace(".", "/")
    if not (firmware / module.split(".")[0]).is_dir() or path.is_dir() or path.with_suffix(".py").is_file():
        return True
    return path.parent.with_suffix(".py").is_file() or path.name in _constants(path.parent / "__init__.py")


# --- what a board must answer ---------------------------------------------------------------------------------------


def digest_of(data: bytes) -> str:
    """The digest of one file as the verb `files` of the deck line tells it: the first digits of its SHA-256."""
    return hashlib.sha256(data).hexdigest()[:DIGEST_DIGITS]


def expected_digest(files: Mapping[str, bytes]) -> str:
    """The digest of all files that a board answers to `files` when it has these: of a line a file, in sorted order.

    `files` by their path on the board: those of `flashing.compiled` for a board that was flashed, those of
    `seatrial.board_files.laid_out` for a simulated one.
    """
    return digest_of("".join("%s %s\n" % (name, digest_of(data)) for name, data in sorted(files.items())).encode())


# --- the lists of mip ----------------------------------------------------------------------------------------------


def package_json(firmware: Path | None = None, role: str = "main") -> str:
    """The list from which MicroPython's `mip` installs the firmware; it lies beside main.py, and its paths are
    relative to it. It serves every kind of board. The launcher is in it too: `mip` itself neither checks nor goes back.
    """
    files = {**sources(firmware or firmware_folder(), None, role), LAUNCHER: LAUNCHER}
    urls = [[there, here] for there, here in sorted(files.items())]
    return json.dumps({"urls": urls, "deps": [], "version": VERSION}, indent=1) + "\n"


def renew(firmware: Path | None = None) -> list[str]:
    """Write the lists anew where they are not up to date; the names of those that were written."""
    folder = firmware or firmware_folder()
    written = []
    for name, role in LISTS.items():
        path, wanted = folder / name, package_json(folder, role)
        if not path.exists() or path.read_text(encoding="utf-8") != wanted:
            path.write_text(wanted, encoding="utf-8", newline="\n")
            written.append(name)
    return written


def main(arguments: Sequence[str] = ()) -> int:
    options = argparse.ArgumentParser(prog="python -m tumblehome.firmware_files",
                                      description=(__doc__ or "").splitlines()[0])
    options.parse_args(arguments)
    for name in renew():
        print("renewed firmware/%s" % name)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
