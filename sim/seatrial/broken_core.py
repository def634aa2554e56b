"""A second mission core, made in memory from edited sources: nothing on the disk and nothing imported is touched.

An edit is a piece of one source file that stands there exactly once, and what stands there instead. The modules of the
edited core are called as the true ones are, and see only each other.
"""

import importlib.abc
import importlib.util
import sys
import tomllib
from collections.abc import Iterable
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import lander
from seatrial.complaints import complaint

CORE = "lander"
KEYS = {"file": str, "old": str, "new": str, "breaks": str, "law": int}
OPTIONAL = {"why": str}


class EditError(Exception):
    """An edit that cannot be made; the sentence names it."""


@dataclass(frozen=True)
class Edit:
    """A mistake to make in the core: `old` text becomes `new`; `breaks` says it in words, `law` which law it breaks."""

    file: str
    old: str
    new: str
    breaks: str
    law: int
    why: str = ""  # it survives, where it is known to

    def applied(self, source: str) -> str:
        """The source with this edit. Raises EditError unless its old text stands there exactly once."""
        count = source.count(self.old)
        if count != 1:
            raise EditError("edit %r: its old text stands %s in %s: %r" % (
                self.breaks, "nowhere" if not count else "%d times" % count, self.file, self.old))
        return source.replace(self.old, self.new)


def core_folder() -> Path:
    """Where the sources of the mission core lie."""
    return Path(lander.__file__).parent


def read_edits(path: Path) -> list[Edit]:
    """The edits of a TOML file. Raises EditError with one sentence."""
    try:
        tables = tomllib.loads(path.read_text(encoding="utf-8")).get("edit")
    except OSError as error:
        raise EditError("%s cannot be read: %s" % (path, complaint(error))) from None
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise EditError("%s is no file of edits: %s" % (path, error)) from None
    if not isinstance(tables, list) or not tables:
        raise EditError("%s holds no [[edit]]; each has the keys %s" % (path, ", ".join(KEYS)))
    return [_edit(path, number, table) for number, table in enumerate(tables, start=1)]


def _edit(path: Path, number: int, table) -> Edit:
    for key, kind in {**KEYS, **OPTIONAL}.items():
        if not isinstance(table, dict) or not isinstance(table.get(key, kind() if key in OPTIONAL else None), kind):
            raise EditError("%s, edit %d: %s must be %s" % (
                path, number, key, "a whole number" if kind is int else "a text"))
    for key in table:
        if key not in KEYS and key not in OPTIONAL:
            raise EditError("%s, edit %d: there is no key %s; keys are %s" % (
                path, number, key, ", ".join((*KEYS, *OPTIONAL))))
    if not 1 <= table["law"] <= 12:
        raise EditError("%s, edit %d: law is %d; laws are 1 to 12" % (path, number, table["law"]))
    return Edit(**table)


def edited_sources(edits: Iterable[Edit]) -> dict[str, str]:
    """The sources of the core by module name, with these edits made. Raises EditError."""
    sources = {path.stem: path.read_text(encoding="utf-8") for path in core_folder().glob("*.py")}
    for edit in edits:
        name = edit.file.removesuffix(".py")
        if name not in sources:
            raise EditError("edit %r: the core has no file %s" % (edit.breaks, edit.file))
        sources[name] = edit.applied(sources[name])
    return sources


class _Sources(importlib.abc.MetaPathFinder, importlib.abc.InspectLoader):
    """Finds the modules of the core in a dictionary of sources."""

    def __init__(self, sources: dict[str, str]) -> None:
        self._sources = sources

    def find_spec(self, name: str, path=None, target=None):
        package, _dot, module = name.partition(".")
        if package != CORE or (module or "__init__") not in self._sources:
            return None
        return importlib.util.spec_from_loader(name, self, is_package=not module)

    def get_source(self, fullname: str) -> str:
        return self._sources[fullname.partition(".")[2] or "__init__"]


@contextmanager
def _without_the_true_core(finder: _Sources):
    true = {name: sys.modules.pop(name) for name in list(sys.modules) if name == CORE or name.startswith(CORE + ".")}
    sys.meta_path.insert(0, finder)
    try:
        yield
    finally:
        sys.meta_path.remove(finder)
        for name in [name for name in sys.modules if name == CORE or name.startswith(CORE + ".")]:
            del sys.modules[name]
        sys.modules.update(true)


def mission_class(edits: Iterable[Edit]):
    """The class `Mission` of a core with these edits. Raises EditError for an edit that cannot be made, and whatever
    the edited sources raise when they are imported."""
    finder = _Sources(edited_sources(edits))
    with _without_the_true_core(finder):
        return importlib.import_module(CORE + ".mission").Mission
