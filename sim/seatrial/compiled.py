"""The mission core compiled to machine code, as an option: the same source, the same journal, in less time.

`python -m seatrial.compiled` translates the typed copies of `seatrial.typed_core` by mypyc and keeps the result in the
user's cache, in a folder named by the sources, the compiler's version and the kind of Python: a changed core is never
flown from an old result. Nothing is compiled unless asked for, and whatever edits the core flies its sources.
"""

import hashlib
import importlib
import os
import shutil
import subprocess
import sys
import sysconfig
import tempfile
from copy import deepcopy
from importlib.metadata import PackageNotFoundError, version
from importlib.util import find_spec
from pathlib import Path
from types import ModuleType
from typing import Any

import lander
from seatrial import typed_core
from seatrial.bodies import BodyError, CPythonBody
from seatrial.typed_core import PACKAGE

COMMAND = "python -m seatrial.compiled"
TRANSLATOR = "mypy"  # the distribution that brings mypyc
HASH_DIGITS = 16
SAID_CHARACTERS = 1500  # of a translation that failed
# The folder of the user's caches, by the start of `sys.platform`: environment variable, and what it is when not set.
CACHES = (("win", "LOCALAPPDATA", "AppData/Local"), ("darwin", "", "Library/Caches"), ("", "XDG_CACHE_HOME", ".cache"))


class CompileError(BodyError):
    """The compiled core cannot be made, or is not there; the sentence says what to do."""


def cache_folder() -> Path:
    """Where this user's programs keep what they can make again."""
    variable, usual = next(row[1:] for row in CACHES if sys.platform.startswith(row[0]))
    given = os.environ.get(variable, "") if variable else ""
    return Path(given) if given else Path.home() / usual


def folder_of_these_sources() -> Path:
    """Where the compiled core of these very sources lies, or would lie."""
    told = hashlib.sha256()
    for path in (*sorted(Path(lander.__file__).parent.glob("*.py")), Path(typed_core.__file__)):
        told.update(path.name.encode() + b"\n" + path.read_bytes())
    told.update(("%s %s" % (sysconfig.get_config_var("EXT_SUFFIX") or sys.version, _translator_version())).encode())
    return cache_folder() / "tumblehome" / ("core-" + told.hexdigest()[:HASH_DIGITS])


def _translator_version() -> str:
    try:
        return version(TRANSLATOR)
    except PackageNotFoundError:
        return ""


def is_built() -> bool:
    return _is_whole(folder_of_these_sources())


def _is_whole(folder: Path) -> bool:
    return (folder / PACKAGE).is_dir()


def build() -> Path:
    """Compile the core, unless that was done already; returns the folder. Raises CompileError."""
    folder = folder_of_these_sources()
    if _is_whole(folder):
        return folder
    if find_spec("mypyc") is None or find_spec("setuptools") is None:
        raise CompileError("mypyc, which compiles the core, is not here: pip install 'tumblehome[compiled]'")
    _look_for_c_compiler()
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=folder.parent) as work:
            _translate(Path(work))
            _keep(Path(work), folder)
    except OSError as error:
        raise CompileError("the compiled core cannot be kept in %s: %s" % (folder, error.strerror)) from None
    return folder


def _look_for_c_compiler() -> None:
    """Where the kind of system tells its name; elsewhere the translation itself finds out."""
    named = (os.environ.get("CC") or sysconfig.get_config_var("CC") or "").split()
    if named and shutil.which(named[0]) is None:
        raise CompileError("there is no C compiler `%s` here, which compiling the core needs: install one, or fly the"
                           " core as it is" % named[0])


def _translate(work: Path) -> None:
    package = work / PACKAGE
    package.mkdir()
    for name, text in typed_core.sources().items():
        (package / name).write_text(text, encoding="utf-8")
    names = sorted("%s/%s" % (PACKAGE, path.name) for path in package.glob("*.py"))
    command = [sys.executable, "-m", "mypyc", "--config-file", "", "--check-untyped-defs", *names]
    clean = {key: value for key, value in os.environ.items() if key not in ("PYTHONPATH", "MYPYPATH")}
    done = subprocess.run(command, cwd=work, capture_output=True, encoding="utf-8", errors="replace", check=False,
                          env={**clean, "MYPYC_OPT_LEVEL": "2", "MYPYC_DEBUG_LEVEL": "0"})
    if done.returncode:
        raise CompileError("the core was not compiled; mypyc and the C compiler said: %s"
                           % (done.stdout + done.stderr).strip()[-SAID_CHARACTERS:])


def _keep(work: Path, folder: Path) -> None:
    """Only what is imported is kept; where another process was sooner, its result is as good."""
    for name in ("build", ".mypy_cache"):
        shutil.rmtree(work / name, ignore_errors=True)
    ready = work / "ready"
    ready.mkdir()
    for path in list(work.iterdir()):
        if path != ready:
            path.rename(ready / path.name)
    try:
        ready.rename(folder)
    except OSError:
        if not _is_whole(folder):
            raise


def load(name: str = typed_core.FIRST) -> ModuleType:
    """A module of the compiled core. Raises CompileError where these sources were not compiled yet."""
    whole_name = "%s.%s" % (PACKAGE, name)
    if whole_name in sys.modules:
        return sys.modules[whole_name]
    folder = folder_of_these_sources()
    if not _is_whole(folder):
        raise CompileError("the core of these sources is not compiled here: `%s` does that, in about half a minute"
                           % COMMAND)
    sys.path.insert(0, str(folder))
    try:
        return importlib.import_module(whole_name)
    except ImportError as error:
        raise CompileError("the compiled core in %s cannot be loaded (%s): remove that folder, then `%s`"
                           % (folder, error, COMMAND)) from None
    finally:
        sys.path.remove(str(folder))


class CompiledBody(CPythonBody):
    """The core in this process, compiled; it can be copied. Raises CompileError where it was not compiled yet."""

    name = "compiled"

    def __init__(self, mission_record: bytes) -> None:
        super().__init__(mission_record)
        signals = load("signals")
        self.takes = (signals.Inputs, signals.Outputs)
        self.mission_class = load().Mission

    def __deepcopy__(self, memo: dict) -> "CompiledBody":
        """Compiled objects cannot be made without their beginnings: a fresh mission is brought to where this one is."""
        twin = CompiledBody(self._mission_record)
        if self.mission is not None:
            twin.mission = self.mission_class(self._mission_record)
            bring_to(twin.mission, self.mission)
        memo[id(self)] = twin
        return twin


def bring_to(fresh: Any, other: Any) -> None:
    """Give a compiled object, and all that hangs on it, the values of another one that was made the same way."""
    for name in type(other).__mypyc_attrs__:
        value = getattr(other, name)
        if hasattr(type(value), "__mypyc_attrs__"):
            bring_to(getattr(fresh, name), value)
        else:
            setattr(fresh, name, deepcopy(value))


def main() -> int:
    there = is_built()
    try:
        folder = build()
        load()
    except CompileError as error:
        print(error, file=sys.stderr)
        return 2
    print("the compiled core %s in %s" % ("lies ready" if there else "was made", folder))
    return 0


if __name__ == "__main__":
    sys.exit(main())
