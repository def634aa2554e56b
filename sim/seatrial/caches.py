"""Where compiled modules are kept, and for which sources. It imports nothing of the house, which asks it first."""

import hashlib
import os
import sys
import sysconfig
from importlib.metadata import PackageNotFoundError, version
from importlib.util import find_spec
from pathlib import Path

ASKED = "TUMBLEHOME_COMPILED"  # 1 in the environment: searches fly the compiled core and sea
TRANSLATOR = "mypy"  # the distribution that brings mypyc
HASH_DIGITS = 16
# The modules of the sea in which a step spends its time. Compiled, they keep their names and are found first.
SEA = ("battery", "camera", "dice", "heat", "hull", "mechanisms", "sensors", "water", "world")
MADE_BY = ("caches", "compiled", "typed_sources")  # what is compiled, and how, stands in these
# The folder of the user's caches, by the start of `sys.platform`: environment variable, and what it is when not set.
CACHES = (
    ("win", "LOCALAPPDATA", "AppData/Local"),
    ("darwin", "XDG_CACHE_HOME", "Library/Caches"),
    ("", "XDG_CACHE_HOME", ".cache"),
)


def cache_folder() -> Path:
    """Where this user's programs keep what they can make again."""
    variable, usual = next(row[1:] for row in CACHES if sys.platform.startswith(row[0]))
    given = os.environ.get(variable, "")
    return Path(given) if given else Path.home() / usual


def core_folder() -> Path:
    """The sources of the mission core, found without importing it."""
    spec = find_spec("lander")
    return Path(spec.origin).parent if spec and spec.origin else Path()


def folder_of_these_sources() -> Path:
    """Where the compiled modules of these very sources lie, or would lie.

    Every source that is compiled counts, the version of the translator and the kind of Python: what was compiled from
    anything else is never used.
    """
    told = hashlib.sha256()
    here = Path(__file__).parent
    for path in (*sorted(core_folder().glob("*.py")), *[here / (name + ".py") for name in SEA + MADE_BY]):
        told.update(path.name.encode() + b"\n" + path.read_bytes())
    told.update(("%s %s" % (sysconfig.get_config_var("EXT_SUFFIX") or sys.version, _translator_version())).encode())
    return cache_folder() / "tumblehome" / ("compiled-" + told.hexdigest()[:HASH_DIGITS])


def _translator_version() -> str:
    try:
        return version(TRANSLATOR)
    except PackageNotFoundError:
        return ""


def sea_asked_for() -> list[str]:
    """Where the compiled sea lies, when the environment asks for it and it was made; else nothing."""
    if os.environ.get(ASKED) != "1":
        return []
    folder = folder_of_these_sources()
    return [str(folder)] if folder.is_dir() else []
