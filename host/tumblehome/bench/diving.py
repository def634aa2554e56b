"""`tumblehome bench dive`: the simulator plays sea and electronics, and the controller on the bench flies the mission.

The same dive is flown by the core in this process first. Whatever the controller does differently shows in the journal,
which must be the same byte for byte.
"""

import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Annotated

import typer
from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

from lander.journal import RECORD_BYTES, is_blank
from seatrial.board_files import constants
from seatrial.bodies import BodyError, CPythonBody
from seatrial.dive import Dive
from seatrial.laws import clock_text
from seatrial.result import DiveResult
from seatrial.scenario import in_shell
from tumblehome import options, progress, terminal, writing
from tumblehome.bench.link import Gone, Link, LinkError, Session
from tumblehome.bench.ports import Port, controller
from tumblehome.bench.showing import show_cautions
from tumblehome.rehearsal import (
    NOT_HOME,
    Chosen,
    FaultOption,
    JsonOption,
    OutOption,
    ScenarioOption,
    SeedOption,
    choose,
    publish,
)
from tumblehome.wording import CAUTIONS

LIVE = "live"
LIVE_SPEED = 60.0  # lamps and latches can still follow
SPEED_MIN = 0.1
ALIVE_S = 10.0  # between two lines to a controller that has nothing to do yet
HELD_S = 2  # a driver's permission outlives the last turn that gave it by so long
DANGERS = ("release", "load", "gas", "lamps", "pack")


def bench_dive(
    plan: options.PlanArgument = None,
    fault: FaultOption = None,
    scenario: ScenarioOption = None,
    live: Annotated[bool, typer.Option(
        "--live", help="Let the outputs reach the pins: releases fire, lamps light. Asks for a word first.")] = False,
    speed: Annotated[float | None, typer.Option(
        metavar="N", help="So many times as fast as the sea at most; when left out, as fast as the controller answers,"
                          " and %.0f with --live." % LIVE_SPEED)] = None,
    seed: SeedOption = None,
    port: Port = None,
    out: OutOption = None,
    as_json: JsonOption = False,
) -> None:
    """Fly a dive on the controller at this port: its own mission code, a simulated sea, and the faults you name.

    Outputs stay dry unless --live is given. The journal is held against that of the same dive in this process, byte for
    byte. Exit status 0: home within its laws, and the same journal. 1: not so. 2: bad input, or no controller. 3: the
    controller went away in the middle.
    """
    dive = choose(plan, fault, seed, scenario)
    if speed is not None and not speed >= SPEED_MIN:
        terminal.refuse(["--speed is %g; allowed is %g or more" % (speed, SPEED_MIN)])
    if live and as_json:
        terminal.refuse(["--live asks a person and --json answers a machine: leave one of them out"])
    writing.look_at(out)
    if live:
        _confirm_live()
        speed = speed or LIVE_SPEED
    with controller(port) as link:
        with progress.line("flying", "the same dive in this process"):
            expected = Dive(dive.plan, dive.faults, dive.seed, CPythonBody(dive.plan.mission_record())).run()
        result = _fly(link, dive, expected, live, speed)
        is_good = publish(result, _command(dive, link.url, live, speed), out, as_json)
        is_same = _tell_journals(result.journal, expected.journal, sys.stderr if as_json else sys.stdout)
        if link.is_board:
            link.so_far = "the dive was flown to its end and its files are written, but it has not started anew"
            link.come_back()
    raise typer.Exit(0 if is_good and is_same else NOT_HOME)


class Flyer(Session):
    """The controller as a body of a dive. `so_far` of its link tells how far the dive has come.

    `speed`: so many times as fast as the sea at most; None as fast as it answers.
    """

    def __init__(self, link: Link, mission_record: bytes, speed: float | None) -> None:
        super().__init__(link, mission_record)
        self._speed = speed
        self._steps = 0
        self._began_s = 0.0

    def attach(self, world, plan) -> None:
        """The sea that it flies in."""
        self._world = world
        self._splash_s = 60.0 * plan.dive.on_deck_min

    def begin(self) -> None:
        """The clock on the wall counts from now on."""
        self._began_s = time.monotonic()

    def boot(self, store, inputs) -> int:
        self._tell()
        return super().boot(store, inputs)

    def step(self, inputs, outputs) -> None:
        self._steps += 1
        self._tell()
        if self._speed:
            self._wait_until(self._began_s + self._world.now_s / self._speed)
        super().step(inputs, outputs)

    def _tell(self) -> None:
        self.link.so_far = "%d steps of the dive were flown, until %s after the splash; nothing was written, and %s" % (
            self._steps, clock_text(self._world.now_s - self._splash_s), _let_go(self.is_live))

    def _wait_until(self, end_s: float) -> None:
        """Nothing that is asked meanwhile changes anything; silence would end the session."""
        while (left_s := end_s - time.monotonic()) > 0.0:
            time.sleep(min(left_s, ALIVE_S))
            if left_s > ALIVE_S:
                self._ask("heap")


def _let_go(is_live: bool) -> str:
    """What becomes of the outputs of a controller that nobody speaks to any more."""
    if not is_live:
        return "its outputs were dry"
    return "it lets its releases go within %d s, and all else when it starts anew after %d s of silence" % (
        HELD_S + constants("boards/deck_session.py")["STEP_MS_MAX"] // 1000,
        constants("boards/deck_line.py")["QUIET_MS"] // 1000)


def _fly(link: Link, dive: Chosen, expected: DiveResult, live: bool, speed: float | None) -> DiveResult:
    """The dive, flown to its end."""
    try:
        flyer = Flyer(link, dive.plan.mission_record(), speed)
        if live:
            flyer.go_live(flyer.live_code())
    except BodyError as error:
        raise LinkError(str(error)) from None
    try:
        with _progress(expected.sea_s) as show:
            flyer.begin()
            return Dive(dive.plan, dive.faults, dive.seed, flyer, show).run()
    except Gone:
        raise
    except (BodyError, LinkError) as error:  # it has started anew, or something else answers
        raise Gone("the controller on %s does not fly any more (%s): %s; run the same command again"
                   % (link.url, error, link.so_far)) from None
    finally:
        flyer.close()


def _confirm_live() -> None:
    """Cautions, and a word that nobody types by accident. Ends with status 2 without it."""
    if not sys.stdin.isatty():
        terminal.refuse(["outputs reach the pins only where `%s` is typed at a terminal: nothing was sent" % LIVE])
    show_cautions(CAUTIONS[danger] for danger in DANGERS)
    terminal.out.print("Keep clear, and type %s to let the outputs of this dive reach the pins: " % LIVE, end="")
    if sys.stdin.readline().strip() != LIVE:
        terminal.refuse(["not confirmed: nothing was sent"])


@contextmanager
def _progress(end_s: float) -> Iterator:
    """Yields what the engine calls: sea time, how fast it goes, and the time left; on a terminal only."""
    columns = (TextColumn("diving"), BarColumn(), TextColumn("{task.fields[sea]} of sea time, {task.fields[rate]}"),
               TimeRemainingColumn())
    began_s = time.monotonic()
    with Progress(*columns, console=terminal.err, transient=True, disable=not sys.stderr.isatty()) as bar:
        task = bar.add_task("dive", total=end_s, sea="0:00:00", rate="")

        def show(now_s: float, _end_s: float) -> None:
            rate = now_s / max(time.monotonic() - began_s, 1e-3)
            bar.update(task, completed=now_s, sea=clock_text(now_s), rate="%.0f times as fast" % rate)
        yield show


def _tell_journals(flown: bytes, expected: bytes, where) -> bool:
    """Say whether two journals are the same, byte for byte, or where they part."""
    if flown == expected:
        print("journal the same as that of the simulator, byte for byte: %d records" % _count(expected), file=where)
        return True
    first = next(at for at in range(0, max(len(flown), len(expected)), RECORD_BYTES)
                 if flown[at:at + RECORD_BYTES] != expected[at:at + RECORD_BYTES])
    print("journal another one than that of the simulator from record %d on (%d records, %d in the simulator)" % (
        first // RECORD_BYTES, _count(flown), _count(expected)), file=where)
    return False


def _count(journal: bytes) -> int:
    return sum(not is_blank(journal[at:at + RECORD_BYTES]) for at in range(0, len(journal), RECORD_BYTES))


def _command(dive: Chosen, url: str, live: bool, speed: float | None) -> str:
    """The command that does this dive again, quoted for the shell."""
    words = ["tumblehome", "bench", "dive", *dive.words, "--port", url]
    return in_shell(words + (["--live"] if live else []) + (["--speed", "%g" % speed] if speed else []))
