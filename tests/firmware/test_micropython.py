"""The core under real MicroPython: it fits, allocates nothing in a step, and writes the same bytes as CPython."""

import ast
import os
import subprocess
import sys
from pathlib import Path

import pytest

from lander import table

SCRIPT = Path(__file__).parent / "scripts" / "scripted_dive.py"
CORE = sorted((Path(__file__).resolve().parents[2] / "firmware" / "lander").glob("*.py"))
ALLOWED_IMPORTS = {"lander", "struct", "binascii", "micropython", "sys", "gc"}
NEVER_ON_THE_BOARD = {"words.py"}


def run(command: list, firmware: Path, code: int = 0) -> str:
    done = subprocess.run(command, env={**os.environ, "MICROPYPATH": str(firmware), "PYTHONPATH": str(firmware)},
                          capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == code, done.stderr[-2000:]
    return done.stdout


def imports_of(tree: ast.Module) -> set:
    found = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found |= {name.name.split(".")[0] for name in node.names}
        elif isinstance(node, ast.ImportFrom):
            found.add((node.module or "").split(".")[0])
    return found


@pytest.mark.parametrize("file", CORE, ids=[file.name for file in CORE])
def test_the_core_imports_nothing_but_itself_and_what_every_board_has(file):
    assert imports_of(ast.parse(file.read_text(encoding="utf-8"))) <= ALLOWED_IMPORTS


@pytest.mark.parametrize("file", CORE, ids=[file.name for file in CORE])
def test_the_core_has_no_float_no_true_division_and_no_assert(file):
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        where = "%s:%s" % (file.name, getattr(node, "lineno", "?"))
        assert not (isinstance(node, ast.Constant) and isinstance(node.value, float)), where
        assert not (isinstance(node, ast.BinOp | ast.AugAssign) and isinstance(node.op, ast.Div)), where
        assert not (isinstance(node, ast.Name) and node.id in ("float", "round", "sum")), where
        assert not isinstance(node, ast.Assert), where


def test_the_core_never_loads_the_words_for_people():
    for file in CORE:
        if file.name not in NEVER_ON_THE_BOARD:
            assert "lander.words" not in [
                "%s.%s" % (node.module, name.name) for node in ast.walk(ast.parse(file.read_text(encoding="utf-8")))
                if isinstance(node, ast.ImportFrom) for name in node.names]


def test_the_core_loads_in_a_heap_of_128_kib(micropython, firmware):
    # The aim of the design is a heap under 96 KiB on a 32-bit board; words of this process are twice as wide.
    load = "import main; main.load(); import gc; gc.collect(); print(gc.mem_free())"
    assert int(run([micropython, "-X", "heapsize=128k", "-c", load], firmware)) > 0


def test_main_lists_every_part_of_the_core_that_flies(firmware):
    namespace: dict = {"__name__": "main"}
    exec((firmware / "main.py").read_text(encoding="utf-8"), namespace)  # noqa: S102
    listed = set(namespace["PARTS"])
    needed = {file.stem for file in CORE} - {"__init__", "words"}
    assert listed <= needed
    late = {"lamps", "facts", "report"}  # the report only at the surface, with everything else in place
    assert needed - listed <= late, "loaded late, on a heap in pieces: %s" % (needed - listed)


def test_no_step_in_any_state_allocates(micropython, firmware):
    lines = run([micropython, str(SCRIPT), "memory"], firmware).splitlines()
    assert len(lines) == len(table.STATES), lines
    for line in lines:
        state, steps, allocated = line.split()
        assert int(steps) > 0, state + " was never reached"
        assert int(allocated) == 0, line


def test_the_meter_notices_an_allocation(micropython, firmware, tmp_path):
    spoilt = SCRIPT.read_text(encoding="utf-8").replace(
        "            mission.step(inputs, outputs)\n", "            mission.step(inputs, outputs)\n"
        "            mission.spoilt = [state, before]\n", 1)
    spoilt_script = tmp_path / "spoilt.py"
    spoilt_script.write_text(spoilt, encoding="utf-8")
    assert "allocates in safe" in run([micropython, str(spoilt_script), "memory"], firmware)


def test_the_same_dive_gives_the_same_bytes_in_both_interpreters(micropython, firmware):
    here = run([sys.executable, str(SCRIPT), "bytes"], firmware)
    there = run([micropython, str(SCRIPT), "bytes"], firmware)
    assert len(here.splitlines()) > 1000
    assert here == there


@pytest.mark.published(
    "printed", ids="8.20", tolerance="exact",
    source="RevEng catalogue, CRC-16/IBM-3740: check 29B1h")
def test_the_same_checksum_in_both_interpreters(micropython, firmware):
    # RevEng catalogue, CRC-16/IBM-3740: check 29B1h.
    ask = "from lander.checksum import crc16; print('%04X' % crc16(b'123456789', 0, 9))"
    assert run([micropython, "-c", ask], firmware).strip() == "29B1"
