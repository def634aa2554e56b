"""The folder that a command writes its files into: looked at before the work, written whole or not at all."""

import os
import shutil
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import NoReturn

from seatrial.complaints import complaint
from tumblehome import terminal

PART = ".part"  # ends the name of a file that is not whole yet


def look_at(out: Path | None) -> None:
    """Refuse an output folder that cannot be written to, before the work and not after it; None is a fresh one."""
    if out is None:
        return
    try:
        if out.exists() and not out.is_dir():
            terminal.refuse(["--out is %s, which is a file: name a folder, or one that does not exist yet" % out])
        nearest = next(place for place in (out, *out.absolute().parents) if place.exists())
    except OSError as error:
        _refuse(out, error)
    if not nearest.is_dir():
        terminal.refuse(["--out is %s, but %s is a file: name another folder" % (out, nearest)])
    if not os.access(nearest, os.W_OK):
        terminal.refuse(["--out is %s, but %s may not be written to: name another folder" % (out, nearest)])


def write(out: Path | None, contents: Mapping[str, bytes], stem: str) -> Path:
    """Write files by name into `out`, or into a fresh folder named `stem` and the time of day; returns the folder.

    Each file appears whole or not at all, and a folder that was made for them does not outlive a failure. Ends with
    status 2 when the folder cannot be written.
    """
    try:
        folder = _fresh(stem) if out is None else out
        with _tidy(folder, contents, made_here=out is None):
            folder.mkdir(parents=True, exist_ok=True)
            for name, content in contents.items():
                (folder / (name + PART)).write_bytes(content)
            for name in contents:
                os.replace(folder / (name + PART), folder / name)
    except OSError as error:
        _refuse(Path() if out is None else out, error)
    if contents:
        terminal.so_far = "the files in %s are whole" % folder
    return folder


def _refuse(folder: Path, error: OSError) -> NoReturn:
    terminal.refuse(["--out %s cannot be written (%s): name another folder" % (folder, complaint(error))])


@contextmanager
def _tidy(folder: Path, names: Mapping[str, bytes], made_here: bool) -> Iterator[None]:
    """When writing into the folder fails, take away the parts, and every folder that did not stand before."""
    made = [folder] if made_here else [place for place in (folder, *folder.parents) if not place.exists()]
    try:
        yield
    except BaseException:  # the keyboard too
        if folder in made:
            shutil.rmtree(folder, ignore_errors=True)
        for name in names:
            with suppress(OSError):
                (folder / (name + PART)).unlink()
        for place in made:
            with suppress(OSError):  # gone, or somebody else has put something there
                place.rmdir()
        raise


def _fresh(stem: str) -> Path:
    """Make a folder named by the time of day, in the current one; two in one second get two."""
    stamp = datetime.now(UTC).strftime(stem + "-%Y%m%d-%H%M%S")
    number = 1
    while True:
        folder = Path(stamp if number == 1 else "%s-%d" % (stamp, number))
        try:
            folder.mkdir()
            return folder
        except FileExistsError:
            number += 1
