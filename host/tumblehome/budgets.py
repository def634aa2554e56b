"""`tumblehome budgets`: what the firmware takes, measured on this PC, beside what it may take.

A function a group of rows; `MEASURES` lists them. Memory and time are measured in a real MicroPython. The one
of a PC works with words of 64 bits and a Pico or an ESP32 with 32: its heap is smaller there. `--on-32-bit` measures
that as well, on MicroPython's own build for WebAssembly.
"""

import json
import os
import subprocess
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from functools import lru_cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Annotated

import typer
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from lander import VERSION, table
from lander.signals import INPUTS
from seatrial.board_body import BoardBody
from seatrial.bodies import HEAP_BYTES, BodyError, CPythonBody, MicroPythonBody, find_micropython, firmware_folder
from seatrial.dive import Dive
from seatrial.faults import parse
from seatrial.plan import Plan
from seatrial.workings.supply import supply
from tumblehome import options, progress, terminal
from tumblehome.firmware_files import late_sources
from tumblehome.flashing import FlashError, compiled
from tumblehome.rehearsal import read_plan
from tumblehome.wording import shown

MISSED = 1
BYTECODE_MAX_BYTES = 64 * 1024
HEAP_32_MAX_BYTES = 96 * 1024
GROWTH_MAX_BYTES = 4096 + 8192  # of the whole board: buffers of the journal's files come and go, reports come and stay
GROWTH_32_MAX = 64  # some blocks of 16 bytes come and go with the measuring itself
DAY_MIN = 24 * 60.0
METER = Path(__file__).with_name("core_meter.py")
MICROPYTHON_32 = Path(__file__).with_name("micropython_32.mjs")
METER_HEAP = "heapsize=4M"  # the heap is not what this run finds out; with room to spare it is over sooner
ROUNDS = 3  # the same steps each time; the shortest time of each step counts, since others use this PC as well
# A Pico is about a hundred times slower than a PC (from memory, to be measured on the bench): a tenth of a second
# there, a tenth of what passes between two steps under way.
STEP_MAX_MS, STEP_MEAN_MS = 1.0, 0.3
FLASHED = (("pico", "main"), ("esp32", "main"), ("pico", "second"))
HEAP_32 = "Heap, 32-bit MicroPython"
WORDS_WIDTH = 42
PACKAGES = ("lander", "drivers", "boards")


@dataclass(frozen=True)
class Row:
    """A measured number. `budget` is what it may be at most, or, with `at_least`, at least; None: only told."""

    key: str
    group: str
    words: str
    value: float | None
    unit: str
    budget: float | None = None
    at_least: bool = False
    digits: int = 0
    note: str = ""

    @property
    def met(self) -> bool:
        """Whether the budget is met; a number that could not be measured has not met its budget."""
        if self.budget is None:
            return True
        if self.value is None:
            return False
        return self.value >= self.budget if self.at_least else self.value <= self.budget


# --- bytecode -------------------------------------------------------------------------------------------------------


def bytecode(_plan: Plan) -> Iterator[Row]:
    """What `bench flash` sends, by package and in all. Raises FlashError."""
    for board, role in FLASHED:
        files = compiled(board, firmware_folder(), role)
        group = "Bytecode, %s as %s board" % (board, role)
        for package in PACKAGES:
            yield Row("bytecode_%s_%s_%s" % (board, role, package), group, package,
                      sum(len(data) for name, data in files.items() if name.startswith(package + "/")), "bytes")
        whole, names = sum(map(len, files.values())), sum(map(bytes_of_names, files.values()))
        yield Row("files_%s_%s" % (board, role), group, "%d files in the flash" % len(files), whole, "bytes")
        yield Row("names_%s_%s" % (board, role), group, "names in them, kept once when loaded", names, "bytes")
        late_files = _late_files(board, role)
        late = sum(len(data) - bytes_of_names(data) for name, data in files.items() if name in late_files)
        yield Row("bytecode_late_%s_%s" % (board, role), group,
                  "without the names, loaded only when needed, on deck or afloat", late, "bytes")
        yield Row("bytecode_%s_%s" % (board, role), group, "without the names, always in memory", whole - names - late,
                  "bytes", BYTECODE_MAX_BYTES)


def _late_files(board: str, role: str) -> set[str]:
    names = late_sources(firmware_folder(), board) if role == "main" else set()
    return {name.removesuffix(".py") + ".mpy" for name in names}


def bytes_of_names(data: bytes) -> int:
    """Bytes that the table of names takes in an .mpy file (MicroPython's documentation, "MicroPython .mpy files").

    Behind the header of four bytes: the number of names, the number of objects, and for each name its length, doubled
    and with a last bit that tells a name which every MicroPython has; then its bytes and a zero.
    """
    count, at = _number(data, 4)
    _objects, at = _number(data, at)
    begin = at
    for _ in range(count):
        length, at = _number(data, at)
        if not length & 1:
            at += (length >> 1) + 1
    return at - begin


def _number(data: bytes, at: int) -> tuple[int, int]:
    """A number of seven bits a byte, highest first, and where it ends."""
    number = 0
    while True:
        byte = data[at]
        number, at = number << 7 | byte & 0x7F, at + 1
        if byte < 0x80:
            return number, at


# --- heap -----------------------------------------------------------------------------------------------------------


class _WatchedBody(MicroPythonBody):
    """A controller whose heap is looked at after its first step."""

    heap_at_start = 0

    def step(self, inputs, outputs) -> None:
        super().step(inputs, outputs)
        if not self.heap_at_start:
            self.heap_at_start = self.heap()[0]


def heap_in_lockstep(plan: Plan) -> Iterator[Row]:
    """The controller behind a wire for a day: core, wire and console, compiled on the spot. Raises BodyError."""
    body = _WatchedBody(plan.mission_record(), 2 * HEAP_BYTES)  # room to tell by how much it is too large
    try:
        result = Dive(_of_a_day(plan), (), 1, body, keep_series=False).run()
        used, _free = body.heap()
    finally:
        body.close()
    group = "Heap, 64-bit MicroPython, core behind a wire"
    yield Row("heap_start_bytes", group, "after the first step", body.heap_at_start, "bytes", HEAP_BYTES,
              note="a board takes about two thirds")
    yield Row("heap_day_bytes", group, "after %.1f h of mission" % (result.sea_s / 3600), used, "bytes", HEAP_BYTES)
    yield Row("heap_growth_bytes", group, "growth in that time", used - body.heap_at_start, "bytes", 0)


def _of_a_day(plan: Plan) -> Plan:
    """The same dive, watched at the surface until a day has gone by since the splash at least."""
    return plan.model_copy(update={"dive": plan.dive.model_copy(update={"watch_after_surfacing_min": DAY_MIN})})


def heap_on_32_bit(plan: Plan, package: Path) -> Iterator[Row]:
    """Heap from bytecode on MicroPython for WebAssembly, whose words are those of a board. Raises BodyError."""
    core = ("from core_meter import Meter; meter = Meter('/board/record', '/board/inputs'); seen = [0, 0]",
            "meter.begin()", "seen[0] = gc.mem_alloc()", "meter.go_on()", "seen[1] = gc.mem_alloc()",
            "print('heap', seen[0], seen[1])")
    with _dive_files(plan) as folder:
        first, last = _answer(_command_32(package, folder, core))[-1][1:]
    yield Row("heap_32_start_bytes", HEAP_32, "core, after the first steps", int(first), "bytes", HEAP_32_MAX_BYTES)
    yield Row("heap_32_growth_bytes", HEAP_32, "core, growth in a dive", int(last) - int(first), "bytes", GROWTH_32_MAX)
    yield from _loaded_on_32_bit(package)


def _loaded_on_32_bit(package: Path) -> Iterator[Row]:
    """All files of the first board loaded, with stand-ins for what only its MicroPython has; nothing of it runs."""
    files = compiled("pico", firmware_folder())
    modules = [name.removesuffix(".mpy").replace("/", ".") for name in files if not name.endswith("__init__.mpy")]
    pieces = ["class Nothing: pass", *("sys.modules[%r] = sys.modules.get(%r, Nothing)" % (name, name)
                                       for name in ("machine", "vfs", "rp2", "onewire")),
              *("import " + module for module in modules), "print('heap', gc.mem_alloc())"]
    with TemporaryDirectory() as scratch:
        _write(Path(scratch), files)
        loaded = int(_answer(_command_32(package, Path(scratch), pieces))[-1][1])
    code = sum(len(data) - bytes_of_names(data) for data in files.values())
    yield Row("heap_32_loaded_bytes", HEAP_32, "whole firmware of the pico, loaded", loaded, "bytes",
              note="without its buffers")
    yield Row("heap_32_besides_bytes", HEAP_32, "the same, besides its bytecode", loaded - code, "bytes",
              HEAP_32_MAX_BYTES)


def _command_32(package: Path, folder: Path, pieces: Iterable[str]) -> list[str]:
    return ["node", str(MICROPYTHON_32), str(package.resolve() / "micropython.mjs"), str(folder), *pieces]


def heap_in_flight(plan: Plan) -> Iterator[Row]:
    """The whole code of a board through the whole dive, on simulated chips. Raises BodyError."""
    body = BoardBody(plan.mission_record())
    try:
        result = Dive(plan, (), 1, body, keep_series=False).run()
    finally:
        body.close()
    first, last = body.heap_bytes[0], body.heap_bytes[-1]
    group = "Heap, 64-bit MicroPython, whole code of a pico"
    yield Row("flight_start_bytes", group, "when the mission starts", first, "bytes",
              note="a board takes about two thirds")
    yield Row("flight_growth_bytes", group, "growth in %.1f h" % (result.sea_s / 3600), last - first, "bytes",
              GROWTH_MAX_BYTES, note="files of the journal are opened as it grows; reports are loaded afloat")


# --- steps ----------------------------------------------------------------------------------------------------------


class _Recording(CPythonBody):
    """A controller that writes down what its inputs were: for each step those that changed."""

    def __init__(self, mission_record: bytes) -> None:
        super().__init__(mission_record)
        self.lines: list[str] = []
        self._before = [row[3] for row in INPUTS]

    def boot(self, store, inputs) -> int:
        self._record(inputs)
        return super().boot(store, inputs)

    def step(self, inputs, outputs) -> None:
        self._record(inputs)
        super().step(inputs, outputs)

    def _record(self, inputs) -> None:
        now = [getattr(inputs, row[0]) for row in INPUTS]
        self.lines.append(" ".join("%d=%d" % (number, value) for number, (value, before)
                                   in enumerate(zip(now, self._before, strict=True)) if value != before))
        self._before = now


@lru_cache(maxsize=4)
def inputs_of_a_dive(plan: Plan) -> str:
    """What the controller is told in a dive that goes through every state: the first release fails."""
    body = _Recording(plan.mission_record())
    Dive(plan, [parse("jammed")], 1, body, keep_series=False).run()
    return "\n".join(body.lines) + "\n"


@contextmanager
def _dive_files(plan: Plan) -> Iterator[Path]:
    """A folder with the meter, the bytecode of the core and what both need of the dive. Raises FlashError."""
    with TemporaryDirectory() as scratch:
        folder = Path(scratch)
        core = {name: data for name, data in compiled("pico", firmware_folder()).items() if name.startswith("lander/")}
        _write(folder, {**core, METER.name: METER.read_bytes(), "record": plan.mission_record(),
                        "inputs": inputs_of_a_dive(plan).encode("ascii")})
        yield folder


def _write(folder: Path, files: dict[str, bytes]) -> None:
    for name, data in files.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(data)


def _answer(command: list[str], folder: Path | None = None) -> list[list[str]]:
    """The words of each line that a meter answers; the last one begins with "heap". Raises BodyError."""
    try:
        done = subprocess.run(command, env={**os.environ, "MICROPYPATH": str(folder)}, capture_output=True,
                              encoding="utf-8", errors="replace", check=False)
    except FileNotFoundError:
        raise BodyError("there is no `%s` here, which --on-32-bit needs: install it, or leave the option out"
                        % command[0]) from None
    lines = [line.split() for line in done.stdout.splitlines()]
    if done.returncode or not lines or lines[-1][:1] != ["heap"]:
        said = (done.stderr.strip() or done.stdout.strip() or "nothing").splitlines()[-1]
        raise BodyError("a measurement stopped with: %s" % terminal.printable(said[:200]))
    return lines


def steps(plan: Plan) -> Iterator[Row]:
    """Time and allocation of the steps of a dive through all states. Raises BodyError."""
    with _dive_files(plan) as folder:
        command = [find_micropython(), "-X", METER_HEAP, *(str(folder / name) for name in (METER.name, "record",
                                                                                            "inputs"))]
        rounds = [[tuple(map(int, line)) for line in _answer(command, folder)[:-1]] for _ in range(ROUNDS)]
    took_us = [min(took for _state, took, _size in same) for same in zip(*rounds, strict=True)]
    group = "Steps of the core, MicroPython on this PC"
    yield Row("step_max_ms", group, "longest of %d steps" % len(took_us), max(took_us) / 1000, "ms", STEP_MAX_MS,
              digits=2, note="the shortest of %d runs counts" % ROUNDS)
    yield Row("step_mean_ms", group, "mean step", sum(took_us) / len(took_us) / 1000, "ms", STEP_MEAN_MS, digits=2)
    for number, state in enumerate(table.STATES):
        sizes = [size for began, _took, size in rounds[0] if began == number]
        yield Row("allocated_%s_bytes" % state, "Bytes allocated by all steps in a state", state,
                  sum(sizes) if sizes else None, "bytes", 0, note="%d steps" % len(sizes))


# --- current --------------------------------------------------------------------------------------------------------


def current(plan: Plan) -> Iterator[Row]:
    """Current by phase as the plan assumes it, and whether the pack pays for it."""
    worked = supply(plan)
    group = "Current from the main pack, as the plan counts it"
    for phase in worked.phases:
        yield Row("current_%s_ma" % phase.words.replace(" ", "_"), group, phase.words, phase.mean_ma, "mA",
                  note="" if phase.mean_ma is None else "mean over %.1f h" % phase.lasts_h)
    yield Row("spare_at_latest_mah", group, "spare at the latest release", worked.budget.spare_at_latest_mah, "mAh", 0,
              at_least=True, note="over the reserve")


MEASURES: tuple[tuple[str, Callable[[Plan], Iterator[Row]]], ...] = (
    ("bytecode", bytecode), ("heap over a day of mission", heap_in_lockstep), ("time of each step", steps),
    ("current", current))


# --- the command ----------------------------------------------------------------------------------------------------


def measure(plan: Plan, on_32_bit: Path | None = None, in_flight: bool = False,
            begins: Callable[[str], object] = lambda part: None) -> list[Row]:
    """All rows; `begins` hears what is measured. Raises BodyError or FlashError where something for it is missing."""
    rows: list[Row] = []
    for words, one in MEASURES:
        begins(words)
        rows += one(plan)
    if in_flight:
        begins("heap in a whole dive")
        rows += heap_in_flight(plan)
    if on_32_bit:
        begins("heap with words of 32 bits")
        rows += heap_on_32_bit(plan, on_32_bit)
    return rows


def budgets(
    plan: options.PlanArgument = None,
    on_32_bit: Annotated[Path | None, typer.Option(
        "--on-32-bit", metavar=options.FOLDER,
        help="Measure the heap with words of 32 bits as well, by node and the npm package"
             " @micropython/micropython-webassembly-pyscript in this folder.")] = None,
    in_flight: Annotated[bool, typer.Option(
        "--in-flight", help="Fly the whole code of a board through the dive as well, for its heap: a minute.")] = False,
    as_json: Annotated[bool, options.as_json("the numbers as JSON", "the table")] = False,
) -> None:
    """Measure what the firmware takes: bytecode, heap, step time, allocation, current; beside what it may take.

    Takes about a minute. Exit status 0: every budget is met. 1: one is missed. 2: bad input.
    """
    dive_plan = read_plan(plan)
    try:
        with progress.line("measuring", "bytecode") as begins:
            rows = measure(dive_plan, on_32_bit, in_flight, begins)
    except (BodyError, FlashError) as error:
        terminal.refuse([str(error)])
    if as_json:
        print(json.dumps({"tool": "tumblehome", "version": VERSION, "met": all(row.met for row in rows),
                          "rows": [{**asdict(row), "met": row.met} for row in rows]}, indent=1))
    else:
        _show(rows)
    raise typer.Exit(0 if all(row.met for row in rows) else MISSED)


def _show(rows: list[Row]) -> None:
    for group in dict.fromkeys(row.group for row in rows):
        grid = Table(box=None, pad_edge=False, show_header=False, title=group, title_justify="left", title_style="bold")
        grid.add_column(width=WORDS_WIDTH)
        for width, side in ((6, "right"), (5, "left"), (12, "left"), (6, "left")):
            grid.add_column(no_wrap=True, min_width=width, justify=side)  # type: ignore[arg-type]
        for row in rows:
            if row.group == group:
                words = "%s (%s)" % (row.words, row.note) if row.note else row.words
                grid.add_row(Padding(words, (0, 0, 0, 2)), shown(row.value, row.digits), row.unit, _bound(row),
                             _verdict(row))
        terminal.out.print(grid)
    missed = [row for row in rows if not row.met]
    for row in missed:
        terminal.out.print(Text("MISSED", style="bold red"), Text("%s: %s" % (row.group, row.words)))
    if not missed:
        terminal.out.print(Text("MET", style="bold green"), Text("every budget; on this PC, not on a board"))


def _bound(row: Row) -> str:
    if row.budget is None:
        return ""
    return "%s %s" % ("from" if row.at_least else "up to", shown(row.budget, row.digits))


def _verdict(row: Row) -> Text:
    if row.budget is None:
        return Text("")
    return Text("met", style="green") if row.met else Text("MISSED", style="bold red")
