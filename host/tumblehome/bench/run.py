"""`tumblehome bench run`: a sequence of steps with a controller, judged, and told for people and for machines."""

import json
import os
import sys
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Annotated

import typer
from rich.table import Table
from rich.text import Text

from seatrial.bodies import BodyError
from seatrial.complaints import complaint
from seatrial.plan import Plan, PlanError
from seatrial.plan.changing import changed
from seatrial.practice import SPEED_MAX, SPEED_MIN, PracticeBoard, not_possible
from tumblehome import options, progress, terminal, writing
from tumblehome.bench import chamber
from tumblehome.bench import sequence as sequences
from tumblehome.bench.junit import junit
from tumblehome.bench.link import Link, LinkError, Session, open_link
from tumblehome.bench.people import AtPractice, AtTerminal, Relay
from tumblehome.bench.ports import Port, the_port
from tumblehome.bench.rigs import BoardRig, SessionRig
from tumblehome.bench.running import FAILED, GONE, NOT_RUN, PASSED, STOPPED, Outcome, StepResult, Stopped, run
from tumblehome.bench.sequence import BOARD, Sequence, SequenceError
from tumblehome.rehearsal import read_plan
from tumblehome.wording import CAUTIONS

DATA = "run.json"
PRACTICE = "practice"  # in the place of a port
STARTS_S = 30.0  # within this a practice board answers, on a machine that has much else to do
MAKERS = {"chamber": chamber.steps_by}  # by the key `by_plan`
STATUS = {PASSED: 0, FAILED: 1, GONE: 3, STOPPED: terminal.STOPPED}
LOOK = {PASSED: "green", FAILED: "bold red", GONE: "bold red", STOPPED: "bold red", NOT_RUN: ""}


def bench_run(
    sequence: Annotated[str | None, typer.Argument(
        autocompletion=options.one_of(sequences.names),
        help="Name of a sequence that comes with the tool, or a file (TOML).")] = None,
    shown: Annotated[bool, typer.Option("--list", help="Show the sequences that come with the tool, and end.")] = False,
    plan: Annotated[Path | None, typer.Option(
        metavar=options.FILE,
        help="Plan file (TOML) whose numbers count, and whose section chamber makes the steps of the sequence"
             " `chamber`; that of the sequence when left out.")] = None,
    speed: Annotated[float | None, typer.Option(
        metavar="N", help="Mission seconds in a second; 0: as fast as it answers. That of the sequence when left out.")
    ] = None,
    report: Annotated[Path | None, typer.Option(
        "--junit", metavar=options.FILE, help="Write the result as JUnit XML.")] = None,
    live: Annotated[bool, typer.Option(
        "--live", help="In a session: let the outputs reach the pins, after a code that you type.")] = False,
    relay: Annotated[str | None, typer.Option(
        "--relay-port", metavar=options.URL, help="Serial port whose RTS line switches the supply off by a relay.")
    ] = None,
    port: Port = None,
    out: Annotated[Path | None, options.out("Folder for run.json and the journals of a session.")] = None,
    as_json: Annotated[bool, options.as_json("run.json", "the lines")] = False,
) -> None:
    """Run a sequence of steps with a controller: what is done to it, and what must be seen within which time.

    `--port practice` starts a practice board for it, which needs no hardware and answers every question by itself.
    Exit status 0: passed. 1: something else was seen. 2: bad input. 3: the controller went away in the middle.
    130: stopped by Ctrl-C; the record of what was done is written all the same.
    """
    if shown:
        return _list()
    chosen = _load(sequence, speed, port, live)
    counted = _plan(chosen, plan)
    if plan is not None:
        chosen = _by_plan(chosen, counted)
    writing.look_at(out)
    _look_at(report)
    for name in chosen.cautions:
        print("caution: %s" % CAUTIONS[name], file=sys.stderr)
    wanted = chosen.speed if speed is None else speed
    with _rig(chosen, counted, port, wanted, live, relay) as rig:
        left = ""
        try:
            with _telling(chosen) as tell:
                outcome = run(chosen, rig, None if as_json else tell)
        except Stopped as stopped:
            outcome, left = stopped.outcome, _left(rig, port)
        except BrokenPipeError:  # nobody reads what it tells
            _left(rig, port)
            raise
        journals = rig.journals if isinstance(rig, SessionRig) else []
    _write(outcome, journals, report, out)
    if outcome.outcome == STOPPED:
        terminal.stop("%s; %s; %s" % (_how_far(outcome), left, _where(report, out)))
    if as_json:
        print(json.dumps(outcome.told(), indent=1))
    else:
        _conclude(outcome)
    raise typer.Exit(STATUS[outcome.outcome])


# --- what is asked for ------------------------------------------------------------------------------------------------


def _load(named: str | None, speed: float | None, port: str | None, live: bool) -> Sequence:
    if named is None:
        terminal.refuse(["no sequence is named: name one, or see them by --list"])
    try:
        chosen = sequences.load(named)
    except SequenceError as error:
        terminal.refuse(error.sentences)
    sentences = []
    if speed is not None and not 0.0 <= speed <= sequences.SPEED_MAX:
        sentences.append("--speed is %g; allowed is 0 to %g" % (speed, sequences.SPEED_MAX))
    if chosen.on == BOARD and speed is not None and port != PRACTICE:
        sentences.append("--speed: the time of a board that flies by itself goes as it goes: leave it out")
    if chosen.on == BOARD and port == PRACTICE and speed is not None and not SPEED_MIN <= speed <= SPEED_MAX:
        sentences.append("--speed is %g; allowed for a practice board is %g to %g" % (speed, SPEED_MIN, SPEED_MAX))
    if live and chosen.on == BOARD:
        sentences.append("--live: this sequence runs on the board itself, whose outputs are live anyway: leave it out")
    if live and not sys.stdin.isatty():
        sentences.append("--live wants a code that a person types: run it at a terminal")
    if sentences:
        terminal.refuse(sentences)
    return chosen


def _plan(chosen: Sequence, given: Path | None) -> Plan:
    plan = read_plan(given or chosen.plan_file())
    try:
        plan = changed(plan, chosen.changes)
        sequences.check_plan(chosen, plan)
    except (PlanError, SequenceError) as error:
        terminal.refuse(error.sentences)
    return plan


def _by_plan(chosen: Sequence, plan: Plan) -> Sequence:
    """With the steps that the plan asks for, where the sequence has some to be made."""
    if not chosen.by_plan:
        return chosen
    try:
        return chosen.model_copy(update={"steps": MAKERS[chosen.by_plan](plan)})
    except SequenceError as error:
        terminal.refuse(error.sentences)


def _look_at(report: Path | None) -> None:
    if report is None:
        return
    there = report if report.exists() else report.absolute().parent
    if report.is_dir() or not report.absolute().parent.is_dir() or not os.access(there, os.W_OK):
        terminal.refuse(["--junit is %s: name a file in a folder that exists and may be written to" % report])


def _list() -> None:
    table = Table(box=None, pad_edge=False, header_style="bold")
    table.add_column("sequence", no_wrap=True)
    table.add_column("on", no_wrap=True)
    table.add_column("what it shows")
    for name in sequences.names():
        one = sequences.load(name)
        table.add_row(name, one.on, Text(one.about))
    terminal.out.print(table)


# --- the controller ---------------------------------------------------------------------------------------------------


@contextmanager
def _rig(chosen: Sequence, plan: Plan, port: str | None, speed: float, live: bool,
         relay: str | None) -> Iterator[SessionRig | BoardRig]:
    """The controller, ready for the first step. Ends with status 2 where there is none."""
    with ExitStack() as stack:
        try:
            board = stack.enter_context(_practice(chosen, plan, speed)) if port == PRACTICE else None
            link = stack.enter_context(open_link(board.url, STARTS_S) if board else open_link(the_port(port)))
            link.patience_s = STARTS_S if board else 0.0
            link.notice = terminal.complain
            rig: SessionRig | BoardRig
            if chosen.on == BOARD:
                rig = _board_rig(stack, link, plan, board, relay)
            else:
                rig = SessionRig(_body(stack, link, plan, live), plan, speed)
        except (LinkError, BodyError, OSError) as error:
            terminal.refuse([terminal.printable(str(error))])
        yield rig


def _body(stack: ExitStack, link: Link, plan: Plan, live: bool) -> Session:
    body = link.session(plan.mission_record())
    stack.callback(body.close)
    if live:
        _go_live(body)
    return body


def _practice(chosen: Sequence, plan: Plan, speed: float) -> PracticeBoard:
    """In a session its own time does not matter, but for the minute of silence that ends it."""
    its_speed = speed if chosen.on == BOARD else 1.0
    sentence = not_possible("pico", (), its_speed, plan)
    if sentence:
        terminal.refuse([sentence])
    return PracticeBoard(plan, speed=its_speed, tell=terminal.complain)


def _board_rig(stack: ExitStack, link: Link, plan: Plan, board: PracticeBoard | None,
               relay: str | None) -> BoardRig:
    if board is not None:
        nobody = AtPractice(board)
        return BoardRig(link, nobody, plan, nobody)
    worked = Relay(relay) if relay else None
    if worked:
        stack.callback(worked.close)
    return BoardRig(link, AtTerminal(worked), plan)


def _go_live(body: Session) -> None:
    for name in ("release", "lamps"):
        print("caution: %s" % CAUTIONS[name], file=sys.stderr)
    code = body.live_code()
    typed = typer.prompt("The outputs of this sequence will reach the pins: releases, lights, camera. Type %s to let"
                         " them" % code, err=True)
    if typed.strip() != code:
        terminal.refuse(["--live: another code was typed, and nothing was driven: run the same command again"])
    body.go_live(code)


# --- what came of it --------------------------------------------------------------------------------------------------


@contextmanager
def _telling(chosen: Sequence) -> Iterator[Callable[[StepResult], None]]:
    """Yields what hears each step before and after. On a terminal the one under way is shown, with the time that it has
    taken; not one that asks a person, whose question stands there.
    """
    with ExitStack() as under_way:
        def tell(step: StepResult) -> None:
            under_way.close()
            if step.outcome != NOT_RUN:
                _tell(step)
            elif not isinstance(chosen.steps[step.number - 1], sequences.BY_PEOPLE):
                under_way.enter_context(progress.line("step %d of %d:" % (step.number, len(chosen.steps)),
                                                       step.what.partition(",")[0]))  # what of it fits beside the time

        yield tell


def _tell(step: StepResult) -> None:
    """A line when a step is done."""
    line = Text("%3d  %-6s  %s" % (step.number, step.outcome, terminal.printable(step.what)), style=LOOK[step.outcome])
    if step.seen and step.outcome != PASSED:
        line.append("\n             " + terminal.printable(step.seen))
    terminal.out.print(line, soft_wrap=True)


def _conclude(outcome: Outcome) -> None:
    word = {PASSED: "PASSED", FAILED: "FAILED", GONE: "GONE"}[outcome.outcome]
    sentence = "%d of %d steps of %s on %s" % (outcome.done, len(outcome.steps), outcome.name, outcome.where)
    terminal.out.print(Text(word, style=LOOK[outcome.outcome]), Text(terminal.printable(sentence)), soft_wrap=True)
    if outcome.outcome == GONE:
        print("the controller went away after %d steps; what they did stands above: run the same command again"
              % outcome.done, file=sys.stderr)


def _left(rig: SessionRig | BoardRig, port: str | None) -> str:
    if port == PRACTICE:
        return "the practice board ended with it"
    try:
        return rig.leave()
    except KeyboardInterrupt:  # once more
        return "nothing is known of its outputs: take its power away"


def _how_far(outcome: Outcome) -> str:
    step = outcome.steps[outcome.done]
    return "step %d of %d (%s) was under way" % (step.number, len(outcome.steps), step.what)


def _where(report: Path | None, out: Path | None) -> str:
    files = [str(path) for path in (None if out is None else out / DATA, report) if path is not None]
    return "the record is in %s" % " and ".join(files) if files else "no record was asked for (--out keeps one)"


def _write(outcome: Outcome, journals: list[bytes], report: Path | None, out: Path | None) -> None:
    if out is not None:
        contents = {DATA: json.dumps(outcome.told(), indent=1).encode()}
        contents |= {"journal-%d.bin" % number: data for number, data in enumerate(journals, 1)}
        writing.write(out, contents, "run")
    if report is not None:
        try:
            report.write_bytes(junit([outcome]))
        except OSError as error:
            terminal.refuse(["--junit %s cannot be written (%s): name another file" % (report, complaint(error))])
