"""Core and sea, compiled, answer as their sources do, byte for byte; where that cannot be had a sentence says why.

What is compared with are core and sea themselves, interpreted: in the same dives, and the core under arbitrary input.
"""

import ast
import copy
import json
import os
import subprocess
import sys
from hashlib import sha256
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import lander
from lander.journal import RECORD_BYTES
from lander.mission import Mission
from lander.signals import INPUTS, OUTPUTS, Inputs, Outputs
from seatrial import caches, compiled, typed_sources
from seatrial.bodies import BodyError, CPythonBody, core_here, open_body
from seatrial.broken_core import core_folder, mission_class, read_edits
from seatrial.caches import ASKED
from seatrial.compiled import CompiledBody, CompileError
from seatrial.dice import Dice
from seatrial.known_bad import LIST, sweep
from seatrial.store import SimulatedStore

from .flying import SAMPLE, SHORT, fly
from .single_faults import SCENARIOS

RECORD = SHORT.mission_record()
DOZEN = [scenario for scenario in SCENARIOS if scenario.both_bodies]
NAMES = [row[0] for row in INPUTS]
TYPED = typed_sources.of_core()


@pytest.fixture(scope="session")
def built(tmp_path_factory):
    """Core and sea compiled: what is there already, or what is made for these tests alone."""
    patch = pytest.MonkeyPatch()
    if not compiled.is_built():
        folder = tmp_path_factory.getbasetemp().parent / "caches"  # one for all processes of the tests
        for variable in {row[1] for row in caches.CACHES}:
            patch.setenv(variable, str(folder))
        try:
            compiled.build()
        except CompileError as error:
            patch.undo()
            pytest.skip(str(error))
    yield
    patch.undo()


@pytest.fixture
def nothing_built(monkeypatch, tmp_path):
    monkeypatch.setattr(caches, "cache_folder", lambda: tmp_path / "cache")
    for name in [name for name in sys.modules if name.split(".")[0] == compiled.PACKAGE]:
        monkeypatch.delitem(sys.modules, name)


# --- it flies as the core does -----------------------------------------------------------------------------------------


@pytest.mark.long
@pytest.mark.parametrize("scenario", DOZEN, ids=lambda one: one.name)
def test_the_compiled_core_keeps_the_same_journal_through_faults(built, scenario):
    plain = fly(*scenario.faults, plan=SHORT, body=CPythonBody(RECORD))
    quick = fly(*scenario.faults, plan=SHORT, body=CompiledBody(RECORD))
    assert quick.body == "compiled"
    assert quick.journal == plain.journal
    assert (quick.steps, quick.sea_s, quick.verdicts) == (plain.steps, plain.sea_s, plain.verdicts)


FLOWN_ELSEWHERE = """
import copy, hashlib, json, sys
import seatrial.hull
from seatrial.dive import Dive
from seatrial.faults import parse
from seatrial.plan import load_sample
told = [seatrial.hull.__file__]
for faults in json.loads(sys.argv[1]):
    dive = Dive(load_sample(), [parse(text) for text in faults], 1, keep_series=False)
    twin = copy.deepcopy(dive.world)
    result = dive.run()
    told.append([dive.body.name, hashlib.sha256(result.journal).hexdigest(), repr(result.evidence), twin.now_s])
print(json.dumps(told))
"""


@pytest.mark.long
def test_the_compiled_sea_is_the_same_sea_to_the_last_digit(built):
    """All that is known of a dive with faults of every group: the journal, and every time and amount in the evidence."""
    chosen = [list(scenario.faults) for scenario in DOZEN] + [["jammed:channel=both"]]
    sources = os.pathsep.join(str(folder.parent) for folder in (core_folder(), Path(compiled.__file__).parent))
    done = subprocess.run([sys.executable, "-c", FLOWN_ELSEWHERE, json.dumps(chosen)], capture_output=True, text=True,
                          env={**os.environ, ASKED: "1", "PYTHONPATH": sources}, check=True)
    where, *told = json.loads(done.stdout)
    assert Path(where).is_relative_to(caches.folder_of_these_sources()) and not where.endswith(".py")
    for faults, (body, journal, evidence, twin_s) in zip(chosen, told, strict=True):
        result = fly(*faults, body=CPythonBody(SAMPLE.mission_record()))
        assert journal == sha256(result.journal).hexdigest(), faults
        assert evidence == repr(result.evidence), faults
        assert body == "compiled" and twin_s == 0.0


@pytest.mark.long
@given(seed=st.integers(0, 2**32 - 1))
def test_the_compiled_core_answers_arbitrary_readings_as_the_core_does(built, seed):
    dice = Dice(seed)
    record = RECORD if dice.chance(9, 10) else RECORD[:-1]
    pairs = [(Mission(record), Inputs(), Outputs())]
    pairs.append((compiled.load().Mission(record), *[kind() for kind in CompiledBody(record).takes]))
    newest = None
    for mission, inputs, _outputs in pairs:
        mission.boot(newest, inputs)
    uptime_ds = 0
    for _ in range(150):
        uptime_ds += dice.u16() % 400
        drawn = {"uptime_ds": uptime_ds}
        for name, lowest, highest, _start in INPUTS[1:]:
            if dice.chance(1, 6):
                drawn[name] = lowest + (dice.u16() << 16 | dice.u16()) % (highest - lowest + 1)
        told = []
        for mission, inputs, outputs in pairs:
            for name, value in drawn.items():
                setattr(inputs, name, value)
            mission.step(inputs, outputs)
            told.append(([getattr(outputs, row[0]) for row in OUTPUTS], bytes(outputs.records)))
        assert told[0] == told[1]
        if pairs[0][2].record_count and dice.chance(1, 20):  # power fails, and both find their newest record
            newest = told[0][1][:RECORD_BYTES]
            pairs = [(type(mission)(record), type(inputs)(), type(outputs)()) for mission, inputs, outputs in pairs]
            uptime_ds = 0
            for mission, inputs, _outputs in pairs:
                mission.boot(newest, inputs)


@pytest.mark.long
def test_a_copied_body_goes_on_from_where_it_was_while_the_first_is_elsewhere(built):
    body = CompiledBody(RECORD)
    inputs, outputs = (kind() for kind in body.takes)
    inputs.contact_ok = inputs.pressure_ok = inputs.contact_wet = 1
    inputs.pressure_mbar = 4000
    body.boot(SimulatedStore(64), inputs)

    def after(one, *uptimes_ds):
        for inputs.uptime_ds in uptimes_ds:
            one.step(inputs, outputs)
        return outputs.state, one.mission.descent_ds, one.mission.depth.depth_cm, bytes(outputs.records)

    after(body, 10, 20)
    twin = copy.deepcopy(body)
    expected = after(body, 30, 40, 60, 200, 400)
    assert twin.mission.mission_ds == 20
    assert after(twin, 30, 40, 60, 200, 400) == expected
    assert twin.mission.depth.orders is twin.mission.orders


@pytest.mark.long
def test_a_reading_that_is_no_whole_number_or_no_input_at_all_is_refused(built):
    inputs = CompiledBody(RECORD).takes[0]()
    with pytest.raises(TypeError, match="int"):
        inputs.pressure_mbar = 1013.25
    with pytest.raises(AttributeError):
        inputs.pressure_hpa = 1013
    assert [getattr(inputs, name) for name in NAMES] == [row[3] for row in INPUTS]


# --- the copies with types ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", [name for name in TYPED if name != "__init__.py"])
def test_a_typed_copy_says_the_same_on_the_same_lines(name):
    """Every function stands where it stood and does what it did: without types and names of packages both are one."""
    source = (core_folder() / name).read_text(encoding="utf-8")
    plain, typed = ([node for node in ast.walk(ast.parse(text))
                     if isinstance(node, ast.FunctionDef) and node.name != "__getattr__"]  # which is for types alone
                    for text in (source, TYPED[name].replace(typed_sources.PACKAGE, typed_sources.CORE)))
    assert [(one.name, one.lineno) for one in plain] == [(one.name, one.lineno) for one in typed]
    for one, other in zip(plain, typed, strict=True):
        assert [ast.dump(node) for node in one.body] == [ast.dump(node) for node in other.body]
        assert [given.arg for given in one.args.args] == [given.arg for given in other.args.args]


@pytest.mark.parametrize("name", [name for name in TYPED if name != "__init__.py"])
def test_a_typed_copy_has_every_constant_and_table_of_the_core(name):
    copied = {"__name__": "typed"}
    exec(TYPED[name].replace(typed_sources.PACKAGE, typed_sources.CORE), copied)  # noqa: S102 - the house's own text
    for key, value in vars(getattr(__import__("lander." + name[:-3]), name[:-3])).items():
        if isinstance(value, int | str | bytes | tuple) and not key.startswith("__"):
            assert copied[key] == value and type(copied[key]) is type(value), key


def test_all_modules_that_a_mission_needs_are_copied_and_no_others():
    names = {name[:-3] for name in TYPED} - {"__init__"}
    assert {"mission", "facts", "judge", "journal", "table", "restart", "selftest"} <= names
    assert not names & {"console", "session", "wire", "words"}


# --- when it cannot be had ---------------------------------------------------------------------------------------------


def test_a_core_that_was_not_compiled_is_asked_for_in_one_sentence(nothing_built):
    with pytest.raises(CompileError, match="are not compiled here: `python -m seatrial.compiled`"):
        open_body("compiled", RECORD)


def test_a_machine_without_a_c_compiler_is_told_so(nothing_built, monkeypatch):
    monkeypatch.setenv("CC", "no-such-compiler -pthread")
    with pytest.raises(CompileError, match="there is no C compiler `no-such-compiler` here"):
        compiled.build()


def test_an_installation_without_mypyc_is_told_how_to_get_it(nothing_built, monkeypatch):
    monkeypatch.setattr(compiled, "find_spec", lambda name: None)
    with pytest.raises(CompileError, match=r"pip install 'tumblehome\[compiled\]'"):
        compiled.build()


@pytest.mark.long
def test_a_core_whose_types_do_not_fit_is_not_compiled_and_the_line_is_named(nothing_built, monkeypatch):
    pytest.importorskip("mypyc")
    wrong = TYPED["release.py"].replace("self.channel = channel", 'self.channel = "primary"', 1)
    line = 1 + next(number for number, text in enumerate(wrong.split("\n")) if '"primary"' in text)
    monkeypatch.setattr(typed_sources, "of_core", lambda: {**TYPED, "release.py": wrong})
    monkeypatch.setattr(typed_sources, "of_sea", lambda: {"dice.py": '"""Nothing."""'})
    with pytest.raises(CompileError, match=r"lander_compiled/release\.py:%d: error: Incompatible types" % line):
        compiled.build()
    assert not compiled.is_built()


def test_a_changed_core_is_another_folder(monkeypatch, tmp_path):
    before = caches.folder_of_these_sources()
    assert caches.folder_of_these_sources() == before
    for path in core_folder().glob("*.py"):
        text = path.read_text(encoding="utf-8")
        (tmp_path / path.name).write_text(text.replace("READY_DS = 100", "READY_DS = 101"), encoding="utf-8")
    monkeypatch.setattr(caches, "core_folder", lambda: tmp_path)
    assert caches.folder_of_these_sources() != before


@pytest.mark.long
def test_the_sea_is_looked_for_in_the_cache_only_where_the_environment_asks_and_it_was_made(built, monkeypatch):
    for asked, found in (("1", [str(caches.folder_of_these_sources())]), ("0", []), ("", [])):
        monkeypatch.setenv(ASKED, asked)
        assert caches.sea_asked_for() == found
    monkeypatch.setenv(ASKED, "1")
    monkeypatch.setattr(caches, "core_folder", Path)  # other sources, of which nothing was made
    assert caches.sea_asked_for() == []


@pytest.mark.parametrize("system, variables, folder", [
    ("linux", {"XDG_CACHE_HOME": "/somewhere"}, "/somewhere"), ("linux", {}, "/my-folder/.cache"),
    ("darwin", {}, "/my-folder/Library/Caches"), ("win32", {"LOCALAPPDATA": "/local"}, "/local"),
])
def test_the_cache_lies_where_the_system_keeps_caches(monkeypatch, system, variables, folder):
    """XDG Base Directory Specification, and the usual places of macOS and Windows (from memory)."""
    monkeypatch.delenv("XDG_CACHE_HOME", raising=False)
    monkeypatch.setattr(caches.sys, "platform", system)
    monkeypatch.setattr(Path, "home", lambda: Path("/my-folder"))
    for name, value in variables.items():
        monkeypatch.setenv(name, value)
    assert caches.cache_folder() == Path(folder)


# --- who flies it ------------------------------------------------------------------------------------------------------


@pytest.mark.long
@pytest.mark.parametrize("asked, body", [("1", "compiled"), ("0", "cpython"), ("", "cpython"), (None, "cpython")])
def test_it_flies_only_where_the_environment_asks_for_it(built, monkeypatch, asked, body):
    monkeypatch.delenv(ASKED, raising=False)
    if asked is not None:
        monkeypatch.setenv(ASKED, asked)
    assert core_here(RECORD).name == body


def test_anything_else_in_the_environment_is_refused_with_what_is_allowed(monkeypatch):
    monkeypatch.setenv(ASKED, "yes")
    with pytest.raises(BodyError, match="TUMBLEHOME_COMPILED is 'yes' in the environment; allowed is 1"):
        core_here(RECORD)


@pytest.mark.long
def test_a_broken_core_flies_its_edited_source_whatever_the_environment_asks_for(built, monkeypatch):
    monkeypatch.setenv(ASKED, "1")
    assert core_folder() == Path(lander.__file__).parent  # where edits are made: the source, not the typed copy
    edit = next(one for one in read_edits(LIST) if one.law == 4)
    assert sweep(mission_class([edit])), edit.breaks
