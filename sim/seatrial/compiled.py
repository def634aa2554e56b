"""The mission core and the sea compiled to machine code, as an option: the same source, the same journal, in less time.

`python -m seatrial.compiled` translates the copies of `seatrial.typed_sources` by mypyc and keeps the result in the
user's cache, in a folder named by the sources, the compiler's version and the kind of Python (`seatrial.caches`).
Nothing is compiled unless asked for, and whatever edits the core flies its sources.
"""

import argparse
import importlib
import os
import shutil
import subprocess
import sys
import sysconfig
import tempfile
from collections.abc import Sequence
from copy import deepcopy
from importlib.util import find_spec
from pathlib import Path
from types import ModuleType
from typing import Any

from seatrial import caches, typed_sources
from seatrial.bodies import BodyError, CPythonBody
from seatrial.complaints import complaint
from seatrial.typed_sources import PACKAGE

COMMAND = "python -m seatrial.compiled"
SEA_PACKAGE = "seatrial"
SAID_CHARACTERS = 1500  # of a translation that failed
# Told to the translator: no setting of a user's own file, and the same rounding on every machine.
OPTIONS = ("--config-file", "", "--check-untyped-defs", "--ignore-missing-imports", "--follow-imports", "silent")
SETTINGS = {"MYPYC_OPT_LEVEL": "2", "MYPYC_DEBUG_LEVEL": "0"}
ROUNDING = "-ffp-contract=off"  # a product and a sum fused into one would round otherwise than the interpreter


class CompileError(BodyError):
    """The compiled core cannot be made, or is not there; the sentence says what to do."""


def is_built() -> bool:
    """Core and sea of these very sources are compiled and whole."""
    return _is_whole(caches.folder_of_these_sources())


def _is_whole(folder: Path) -> bool:
    return (folder / PACKAGE).is_dir()


def build() -> Path:
    """Compile core and sea, unless that was done already; returns the folder. Raises CompileError."""
    folder = caches.folder_of_these_sources()
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
        raise CompileError("the compiled core cannot be kept in %s: %s" % (folder, complaint(error))) from None
    return folder


def _look_for_c_compiler() -> None:
    """Where the kind of system tells its name; elsewhere the translation itself finds out."""
    named = (os.environ.get("CC") or sysconfig.get_config_var("CC") or "").split()
    if named and shutil.which(named[0]) is None:
        raise CompileError("there is no C compiler `%s` here, which compiling the core needs: install one, or fly the"
                           " core as it is" % named[0])


def _translate(work: Path) -> None:
    """The sea's modules by themselves, and then the core, each a package in the folder."""
    for package, texts in ((SEA_PACKAGE, typed_sources.of_sea()), (PACKAGE, typed_sources.of_core())):
        folder = work / package
        folder.mkdir()
        for name, text in texts.items():
            (folder / name).write_text(text, encoding="utf-8", newline="\n")
        if package == SEA_PACKAGE:
            (folder / "__init__.py").write_text("", encoding="utf-8", newline="\n")
        _run_translator(work, sorted("%s/%s" % (package, name) for name in texts))
        if package == SEA_PACKAGE:
            for path in folder.glob("*.py"):
                path.unlink()  # who reads a source shall read the true one


def _run_translator(work: Path, names: list[str]) -> None:
    clean = {key: value for key, value in os.environ.items() if key not in ("PYTHONPATH", "MYPYPATH")}
    flags = "" if sys.platform.startswith("win") else " ".join((os.environ.get("CFLAGS", ""), ROUNDING)).strip()
    done = subprocess.run(
        [sys.executable, "-m", "mypyc", *OPTIONS, *names], cwd=work, capture_output=True, encoding="utf-8",
        errors="replace", check=False, env={**clean, **SETTINGS, **({"CFLAGS": flags} if flags else {})})
    if done.returncode:
        raise CompileError("core and sea were not compiled; mypyc and the C compiler said: %s"
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


def load(name: str = typed_sources.FIRST) -> ModuleType:
    """A module of the compiled core. Raises CompileError where these sources were not compiled yet."""
    whole_name = "%s.%s" % (PACKAGE, name)
    if whole_name in sys.modules:
        return sys.modules[whole_name]
    folder = caches.folder_of_these_sources()
    if not _is_whole(folder):
        raise CompileError("core and sea of these sources are not compiled here: `%s` does that, in about a minute"
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


def main(arguments: Sequence[str] = ()) -> int:
    options = argparse.ArgumentParser(prog="python -m seatrial.compiled",
                                      description=(__doc__ or "").splitlines()[0])
    options.parse_args(arguments)
    there = is_built()
    try:
        folder = build()
        load()
    except CompileError as error:
        print(error, file=sys.stderr)
        return 2
    print("core and sea %s in %s" % ("lie compiled" if there else "were compiled and lie", folder))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
