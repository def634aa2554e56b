"""Every table of speed and size side by side in one run: `python -m tumblehome.benchmarks` prints Markdown.

`CATALOGUE` lists the tables; `--list` shows them, `--table NAME` chooses some, and those that take many minutes are
made only with `--long` or by name. Where there is an aim, it is told with what was measured, the ratio of both (1 at
the aim, more beyond it, whichever way is the better one) and by how much it is missed. Another machine or a busy one
gives other figures: the first line names the machine and its load. No test holds any of them.
"""

import argparse
import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict, dataclass, replace
from functools import lru_cache, partial
from pathlib import Path
from time import perf_counter, process_time
from typing import TypeVar

from lander import VERSION
from seatrial import bench, line_storm
from seatrial.bench import Effort
from seatrial.bench_tables import Outcome, Row, Table, load, machine, markdown, number, summary
from seatrial.bodies import BodyError, find_micropython
from seatrial.caches import ASKED
from seatrial.compiled import COMMAND, is_built
from seatrial.plan import Plan, load_sample
from seatrial.water import WaterColumn
from tumblehome import budgets
from tumblehome.debrief import log, whole
from tumblehome.debrief.long_log import DAY_S, image_of
from tumblehome.find import bench as find_bench
from tumblehome.find import trials
from tumblehome.find.drifting import PARTICLES
from tumblehome.flashing import FlashError
from tumblehome.page.debrief import debrief_page

NAME = "python -m tumblehome.benchmarks"
SWEEP_MAX_S, PAGE_MAX_S = 600.0, 2.0
DRAWN_FOR_ONE = 400  # landers drawn for one that is looked for: most are no longer unknown by then
Worked = TypeVar("Worked")


@dataclass(frozen=True)
class Size:
    """How much is run: of the sea trial, particles of a search, seconds of readings, words of the sweep, searches,
    lines of the storm; and where the 32-bit MicroPython is, if it is."""

    sea: Effort = bench.FULL
    particles: int = PARTICLES
    readings: int = DAY_S
    sweep: tuple[str, ...] = ("--pairs",)
    searches: int = trials.LANDERS
    lines: int = 100_000
    on_32_bit: Path | None = None


FULL, QUICK = Size(), Size(bench.QUICK, 10_000, DAY_S, ("--pairs", "--only", "Camera and light"), 1000, 2000)


@lru_cache(maxsize=1)
def sample() -> tuple[Plan, WaterColumn]:
    """The built-in plan and its water, made once."""
    plan = load_sample()
    return plan, WaterColumn(plan.site)


# --- the sea trial --------------------------------------------------------------------------------------------------


def of_the_sea(make: Callable[[Plan, WaterColumn, Effort], Table], size: Size) -> Table:
    """A table of `seatrial.bench` at this size."""
    return make(*sample(), size.sea)


def cores(size: Size) -> Table:
    return bench.cores_and_number(sample()[0], size.sea)


def where(_size: Size) -> Table:
    return bench.where_it_goes(*sample())


def compiled_sea(name: str, size: Size) -> Table:
    """A table made by a process of its own, with the sea compiled too, where that was made."""
    if not is_built():
        return not_made("core and sea are not compiled here: `%s` does that" % COMMAND)
    words = ["--table", name, "--json", *(["--quick"] if size.sea.rounds == QUICK.sea.rounds else []),
             *(["--processor-time"] if size.sea.by_processor else [])]
    done = subprocess.run([sys.executable, "-m", "tumblehome.benchmarks", *words], capture_output=True,
                          encoding="utf-8", check=True, env={**os.environ, ASKED: "1"})
    made = json.loads(done.stdout)[0]
    table = Table(tuple(made["about"]), tuple(made["head"]), tuple(map(tuple, made["rows"])),
                  tuple(Outcome(**one) for one in made["outcomes"]))
    return Table((*table.about, "Core and sea compiled, in a process of its own, not in turns with the others."),
                 table.head, table.rows, table.outcomes)


def sweep(size: Size) -> Table:
    """The command as it is typed, compiled where core and sea were made."""
    with tempfile.TemporaryDirectory() as scratch:
        words = ["sweep", *size.sweep, "--cores", "2", "--json", "--out", str(Path(scratch) / "sweep")]
        command = [sys.executable, "-c", "from tumblehome.cli import main; main()", *words]
        began_s = perf_counter()
        done = subprocess.run(command, capture_output=True, encoding="utf-8", check=False,
                              env={**os.environ, **({ASKED: "1"} if is_built() else {})})
        took_s = perf_counter() - began_s
    if not done.stdout:
        return not_made(done.stderr.strip())
    dives = json.loads(done.stdout)["dives"]
    typed = "tumblehome sweep %s --cores 2" % " ".join("'%s'" % word if " " in word else word for word in size.sweep)
    rows: tuple[Row, ...] = ((number(dives["flown"]), number(dives["home"]), "%.0f s" % took_s,
                              "%.1f" % (dives["flown"] / took_s), load()),)
    outcomes = (Outcome("All single faults and all pairs at every phase, two cores", SWEEP_MAX_S, took_s, "s", False),)
    how = "compiled" if is_built() else "as they are"
    return Table(("`%s`, core and sea %s, causes and page with it:" % (typed, how),),
                 ("dives", "home", "wall", "dives a second", "load at the end"), rows,
                 outcomes if size.sweep == FULL.sweep else ())


def storm(size: Size) -> Table:
    told = line_storm.storm(1, size.lines)
    rows: tuple[Row, ...] = ((number(told.lines), "%.0f s" % told.wall_s, "%.0f" % (told.lines / told.wall_s),
                              number(told.answers), str(told.growth), str(len(told.faults))),)
    return Table(("Lines that nobody should send, at the whole board's code in MicroPython, one core:",),
                 ("lines", "wall", "lines a second", "answers", "growth of the heap, bytes", "faults"), rows)


# --- the firmware ---------------------------------------------------------------------------------------------------


def firmware(size: Size) -> Table:
    """What is known without a board; times on this PC's MicroPython."""
    plan = sample()[0]
    find_micropython()
    rows = [*budgets.bytecode(plan), *budgets.steps(plan),
            *(budgets.heap_on_32_bit(plan, size.on_32_bit) if size.on_32_bit else ())]
    aimed = [row for row in rows if row.budget is not None and not row.key.startswith("allocated")]
    allocated = [row for row in rows if row.key.startswith("allocated")]
    about = ["Memory of the firmware, and its steps in MicroPython on this PC:"]
    if size.on_32_bit is None:
        about.append("The heap with words of 32 bits needs `--on-32-bit FOLDER`, as `tumblehome budgets` does.")
    outcomes = [Outcome("%s, %s" % (row.group, row.words), float(row.budget or 0.0), float(row.value), row.unit,
                        row.at_least) for row in aimed if row.value is not None]
    total = sum(row.value or 0.0 for row in allocated)
    missing = [row.words for row in allocated if row.value is None]
    outcomes.append(Outcome("Bytes allocated by the steps of a dive through %d states"
                            % (len(allocated) - len(missing)), 0.0, total, "bytes", False))
    return Table(tuple(about), ("group", "what", "measured"), tuple(
        (row.group, row.words, "" if row.value is None else "%s %s" % (number(row.value), row.unit)) for row in rows),
        tuple(outcomes))


# --- after the dive -------------------------------------------------------------------------------------------------


def day(size: Size) -> Table:
    """A journal of a day at one reading a second, from its bytes to its page."""
    plan = sample()[0]
    image = image_of(plan, size.readings)
    rows: list[Row] = []

    def timed(words: str, work: Callable[[], Worked]) -> Worked:
        began_s = process_time()
        done = work()
        rows.append((words, "%.2f" % (process_time() - began_s)))
        return done

    began_s = process_time()
    read = timed("journal read into columns", lambda: log.parse(image, "a day"))
    told = timed("chain, causes, plan and laws", lambda: whole.work_out(read, plan, "the sample"))
    page = timed("page, with the rehearsal that draws the planned depth", lambda: debrief_page(told))
    took_s = process_time() - began_s
    return Table(("%s readings at one a second and the rest of the dive, processor time; the page has %s kB:" % (
        number(size.readings), number(len(page.encode()) / 1000.0)),), ("what", "s"), tuple(rows),
                 (Outcome("Page for a 24 h log at 1 Hz, from the journal's bytes", PAGE_MAX_S, took_s, "s", False),)
                 if size.readings == DAY_S else ())


def search(size: Size) -> Table:
    return Table(("The search, sample dive, processor time of one core:",),
                 ("%s particles" % number(size.particles), "s"),
                 tuple((words, "%.2f" % seconds) for words, seconds in find_bench.rows(size.particles)))


def followed(size: Size) -> Table:
    rows: list[Row] = []
    for case in trials.cases(size.particles):
        outcome = trials.tried(case, size.searches, min(trials.DRAWN_FROM, DRAWN_FOR_ONE * size.searches))
        rows.append((outcome.name, "%.2f %%" % (100 * outcome.told), "%.2f %%" % (100 * outcome.share),
                     "%.2f to %.2f %%" % tuple(100 * limit for limit in outcome.limits)))
    return Table(("Searches that follow the advice: the chance told, and how often the lander was found.",),
                 ("%s searches" % number(size.searches), "told", "found", "limits, 99 %"), tuple(rows))


# --- all of it ------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Entry:
    """A table of the catalogue; `is_long` where it takes many minutes."""

    name: str
    what: str
    make: Callable[[Size], Table]
    is_long: bool = False


CATALOGUE = (
    Entry("sea", "sea time against wall time, whole mission code and physics",
          partial(of_the_sea, bench.sea_against_wall)),
    Entry("sea-compiled", "the same with core and sea compiled", partial(compiled_sea, "sea")),
    Entry("plain", "the same dive with SciPy's solve_ivp and a transitions machine",
          partial(of_the_sea, bench.against_plain)),
    Entry("plain-compiled", "the same with core and sea compiled", partial(compiled_sea, "plain")),
    Entry("cores", "dives of a sweep on one core and on two", cores),
    Entry("growth", "how the cost grows with hours and with faults", partial(of_the_sea, bench.growth)),
    Entry("where", "where the time of a dive goes", where),
    Entry("firmware", "bytecode, heap, steps and allocation of the firmware", firmware),
    Entry("day", "the page of a day of readings", day),
    Entry("search", "how long the search takes to work out", search),
    Entry("sweep", "all single faults and all pairs, two cores", sweep, True),
    Entry("trials", "searches that follow the advice", followed, True),
    Entry("storm", "lines that nobody should send, in MicroPython", storm, True),
)


def not_made(why: str) -> Table:
    """What cannot be measured here says why."""
    return Table(("Not measured: %s." % why.rstrip("."),), (), ())


def made(entry: Entry, size: Size) -> Table:
    """The table of an entry, or why it cannot be made here."""
    try:
        return entry.make(size)
    except (BodyError, FlashError) as error:
        return not_made(str(error))


def report(entries: Sequence[Entry], size: Size, asked: Sequence[str] = ()) -> Iterator[str]:
    """The tables as lines of Markdown, as they come, and last every aim beside what was measured."""
    yield "`%s`, version %s, on %s:" % (" ".join([NAME, *asked]), VERSION, machine())
    outcomes: list[Outcome] = []
    for entry in entries:
        table = made(entry, size)
        outcomes += table.outcomes
        yield from ("", "### %s" % entry.name, "")
        yield from markdown(table)
    if outcomes:
        yield from ("", "### The aims", "", "Load at the end: %s." % load(), "", *summary(outcomes))


def main(arguments: Sequence[str] | None = None) -> int:
    """The command; its exit status."""
    asked = list(sys.argv[1:] if arguments is None else arguments)
    given = _words().parse_args(asked)
    if given.list:
        print("\n".join("%-15s %s%s" % (one.name, one.what, ", long" if one.is_long else "") for one in CATALOGUE))
        return 0
    entries = [one for one in CATALOGUE if (one.name in given.table if given.table else given.long or not one.is_long)]
    size = QUICK if given.quick else FULL
    size = replace(size, on_32_bit=given.on_32_bit, sea=replace(size.sea, by_processor=given.processor_time))
    if given.json:
        print(json.dumps([asdict(made(one, size)) for one in entries]))
        return 0
    for line in report(entries, size, asked):
        print(line, flush=True)
    return 0


def _words() -> argparse.ArgumentParser:
    words = argparse.ArgumentParser(prog=NAME, description=(__doc__ or "").split("\n")[0])
    words.add_argument("--list", action="store_true", help="the tables, and nothing else")
    words.add_argument("--table", action="append", choices=[one.name for one in CATALOGUE], metavar="NAME",
                       help="only this table, as often as wanted; a long one as well")
    words.add_argument("--long", action="store_true", help="the long tables too: half an hour and more")
    words.add_argument("--quick", action="store_true", help="less of everything, for a first look")
    words.add_argument("--processor-time", action="store_true",
                       help="processor time for what runs on one core, where others use the machine as well")
    words.add_argument("--on-32-bit", type=Path, metavar="FOLDER", help="as `tumblehome budgets` takes it")
    words.add_argument("--json", action="store_true", help="the tables as data")
    return words


if __name__ == "__main__":
    sys.exit(main())
