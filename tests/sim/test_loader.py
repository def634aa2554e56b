"""The firmware is brought to a bare prompt in memory, in lines that a slow port survives."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest
import serial

from lander import wire
from seatrial import loader
from seatrial.bodies import BodyError, CPythonBody, WireBody, firmware_folder
from seatrial.dive import Dive
from seatrial.faults import parse
from seatrial.plan import load_sample

PROMPT = Path(__file__).parent / "scripts" / "raw_prompt.py"


@pytest.fixture
def bare_board():
    """The URL of a port where a raw prompt answers that knows nothing of the project."""
    process = subprocess.Popen([sys.executable, "-I", "-S", str(PROMPT)], stderr=subprocess.PIPE, text=True)
    yield "socket://127.0.0.1:%d" % int(process.stderr.readline())
    process.kill()
    process.wait()
    process.stderr.close()


class Overheard:
    """A port that remembers the longest line that was written between two answers."""

    def __init__(self, port) -> None:
        self.port = port
        self.longest = 0

    def write(self, data: bytes) -> None:
        self.longest = max(self.longest, len(data))
        self.port.write(data)

    def __getattr__(self, name):
        return getattr(self.port, name)


@pytest.mark.long
def test_a_bare_board_is_loaded_over_its_prompt_and_writes_the_same_journal(bare_board):
    plan = load_sample()
    faults = [parse("leak@50m")]
    body = WireBody(serial.serial_for_url(bare_board), "bare board", plan.mission_record())
    try:
        flown = Dive(plan, faults, 3, body).run()
    finally:
        body.close()
    assert flown.journal == Dive(plan, faults, 3, CPythonBody(plan.mission_record())).run().journal


@pytest.mark.long
def test_no_line_to_the_prompt_is_longer_than_the_wire_allows(bare_board):
    port = Overheard(serial.serial_for_url(bare_board))
    assert loader.at_prompt(port)
    loader.load(port, firmware_folder())
    assert 100 < port.longest <= wire.LINE_MAX
    port.close()


def test_what_the_prompt_complains_about_is_passed_on(bare_board, monkeypatch):
    monkeypatch.setattr(loader, "bare", lambda source: "raise ValueError('no room here')")
    with pytest.raises(BodyError, match="no room here"):
        WireBody(serial.serial_for_url(bare_board), "bare board", load_sample().mission_record())


@pytest.mark.parametrize("path", sorted(firmware_folder().glob("lander/*.py")), ids=lambda path: path.name)
def test_a_bare_module_is_the_same_program(path):
    source = path.read_text(encoding="utf-8")
    bare = ast.parse(loader.bare(source))
    names = {node.name for node in ast.walk(ast.parse(source)) if isinstance(node, ast.FunctionDef | ast.ClassDef)}
    assert {node.name for node in ast.walk(bare) if isinstance(node, ast.FunctionDef | ast.ClassDef)} == names
    assert len(loader.bare(source)) <= len(source)
    assert not any(ast.get_docstring(node) for node in ast.walk(bare) if isinstance(node, ast.Module | ast.FunctionDef))
