"""Bring the firmware to a bare MicroPython prompt, in memory only, where nothing else has put it there.

For a board or an emulator without a file system: the modules are sent through the raw prompt that every stock
MicroPython has, and stand in `sys.modules` until the next reset. Each piece is answered before the next is sent, and
no line is longer than the wire allows. What a board keeps over a reset is flashed, not loaded.
"""

import ast
import importlib.util
from collections.abc import Iterator
from pathlib import Path

from lander import wire

INTERRUPT, RAW, END = b"\r\x03\x03", b"\r\x01", b"\x04"
BANNER = b"raw REPL; CTRL-B to exit\r\n>"
QUOTED_MAX = wire.LINE_MAX - 20  # of a piece of source, quoted, beside what is typed around it
PROMPT_S = 2.0
ANSWER_S = 20.0  # a module has to be compiled

# What the other end needs to make modules without a file system; typed in line by line.
_HELPERS = (
    "import sys, gc",
    "class M: pass",
    "def X(n):\n m=M();g={'__name__':n};s=''.join(p);p.clear();gc.collect();exec(s,g)\n"
    " for k in g:setattr(m,k,g[k])\n Y(n,m)",
    "def Y(n,m):\n sys.modules[n]=m;a,d,b=n.rpartition('.')\n if d:setattr(sys.modules[a],b,m)",
    "p=[]",
)


class LoadError(Exception):
    """The prompt answered with an error, or not at all."""


def at_prompt(port) -> bool:
    """Whether a MicroPython prompt is at the other end; it is then left waiting in raw mode."""
    port.timeout = PROMPT_S
    port.write(INTERRUPT)
    port.write(RAW)
    return BANNER in port.read_until(BANNER)


def load(port, firmware: Path) -> None:
    """Send the firmware and start the lockstep loop. Raises LoadError with what the prompt said."""
    port.timeout = ANSWER_S
    for line in _HELPERS:
        _run(port, line)
    for name in ("lander", *("lander." + part for part in _parts(firmware)), "boards", "boards.lockstep"):
        source = bare(_file_of(firmware, name).read_text(encoding="utf-8"))
        for piece in _pieces(source):
            _run(port, "p.append(%s)" % piece)
        _run(port, "X(%r)" % name)
    port.write(b"p=M=X=Y=None;gc.collect();sys.modules['boards.lockstep'].run()" + END)
    port.read_until(b"OK")


def _pieces(source: str) -> Iterator[str]:
    """The source in quoted pieces, each short enough for a line."""
    at = 0
    while at < len(source):
        length = QUOTED_MAX - 2
        while len(repr(source[at:at + length])) > QUOTED_MAX:
            length -= 5
        yield repr(source[at:at + length])
        at += length


def bare(source: str) -> str:
    """The same program without comments, docstrings and annotations of functions: less to send and to compile."""
    tree = ast.parse(source)
    for node in ast.walk(tree):
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef):
            first = node.body[0] if node.body else None
            if isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant):
                node.body = node.body[1:] or [ast.Pass()]
        if isinstance(node, ast.FunctionDef):
            node.returns = None
            for argument in node.args.args:
                argument.annotation = None
    return ast.unparse(tree) + "\n"


def _parts(firmware: Path) -> tuple[str, ...]:
    """The modules of the core in the order in which main.py loads them."""
    spec = importlib.util.spec_from_file_location("tumblehome_firmware_main", firmware / "main.py")
    if spec is None or spec.loader is None:
        raise LoadError("there is no main.py in the firmware folder")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module.PARTS


def _file_of(firmware: Path, name: str) -> Path:
    path = firmware.joinpath(*name.split("."))
    return path / "__init__.py" if path.is_dir() else path.with_suffix(".py")


def _run(port, code: str) -> None:
    data = code.encode()
    if len(data) >= wire.LINE_MAX:
        raise LoadError("a piece of %d bytes is longer than the %d that a line may have" % (len(data), wire.LINE_MAX))
    port.write(data + END)
    said = port.read_until(END + b">")
    if not said.startswith(b"OK") or not said.endswith(END + b">"):
        raise LoadError("the prompt answered %r" % said[-80:])
    error = said[2:-2].split(END)[-1]
    if error:
        raise LoadError(error.decode("utf-8", "replace").strip().splitlines()[-1])
