"""Tests of a lander as pytest runs them: the fixture `controller`, on any body that the mission core has.

    def test_a_wet_leak_probe_keeps_it_from_being_armed(controller):
        controller.set(leak_wet=1)
        controller.command("arm")
        controller.expect(state="safe", refused="water inside", within_s=2)

`pytest --controller sim` runs it in this process, `--controller micropython` in a real MicroPython, and with a port
(`--controller /dev/ttyACM0`) on the board there, in lockstep and with its outputs dry. A second fixture,
`run_sequence`, runs a sequence of `tumblehome bench run` by its name or file, and fails where that fails.
"""

from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import pytest

from seatrial.bodies import BodyError, CPythonBody, MicroPythonBody, find_micropython
from seatrial.plan import Plan, PlanError, load, load_sample
from seatrial.plan.changing import changed
from seatrial.practice import PracticeBoard
from tumblehome.bench import sequence as sequences
from tumblehome.bench.link import LinkError, open_link
from tumblehome.bench.people import AtPractice, AtTerminal
from tumblehome.bench.rigs import BoardRig, SessionRig
from tumblehome.bench.running import PASSED, Outcome, Unmet, come_home, expect, run
from tumblehome.bench.sequence import BOARD, COMMAND_NUMBERS, Limits, SequenceError, limits_of

SIM, MICROPYTHON = "sim", "micropython"
PRACTICE_SPEED = 20.0
STARTS_S = 30.0  # within this a practice board answers, on a machine that has much else to do


def pytest_addoption(parser: pytest.Parser) -> None:
    group = parser.getgroup("tumblehome", "a lander's controller")
    group.addoption("--controller", default=SIM, metavar="sim|micropython|PORT",
                    help="what flies the mission in tests with the fixtures `controller` and `run_sequence`: the core"
                         " in this process, in a real MicroPython, or on the board at a port")
    group.addoption("--controller-plan", default=None, metavar="FILE",
                    help="the plan that it flies; the built-in sample when left out")


class Controller:
    """A mission in lockstep, on a simulated lander that stands on deck. Times are those of the mission.

    What is not seen as wanted fails the test by an AssertionError that tells what was seen.
    """

    def __init__(self, rig: SessionRig) -> None:
        self._rig = rig

    @property
    def plan(self) -> Plan:
        """What it flies."""
        return self._rig.plan

    @property
    def now_s(self) -> float:
        """Seconds since the test began."""
        return self._rig.now_s

    @property
    def values(self) -> dict[str, int]:
        """All readings and outputs of the last step, by the names of `lander.signals`."""
        return self._rig.values()

    def set(self, over_s: float = 0.0, **readings: int) -> None:
        """From now on it is told these readings; `over_s` takes them there in a straight line. Raises ValueError."""
        self._rig.set(readings, over_s)

    def let_go(self) -> None:
        """Readings are those of the simulated lander again."""
        self._rig.let_go()

    def wait(self, for_s: float) -> None:
        """Let so much time pass."""
        self._rig.wait(for_s)

    def command(self, word: str) -> None:
        """A command on the line: arm, disarm, ready-primary, ready-backup, fire, arm-anyway. Raises ValueError."""
        if word not in COMMAND_NUMBERS:
            raise ValueError("%s is no command; there are %s" % (word, ", ".join(COMMAND_NUMBERS)))
        self._rig.command(word)

    def magnet(self, for_s: float) -> None:
        """The magnet to the housing for so long."""
        self._rig.magnet(for_s)

    def power_off(self, for_s: float) -> None:
        """The supply off for so long, and on again."""
        self._rig.power_off(for_s)

    def fault(self, written: str) -> None:
        """Something breaks now, written as for `tumblehome rehearse --fault`. Raises FaultError."""
        self._rig.put_in(written)

    def dive(self, *faults: str, seed: int = 1) -> None:
        """From here on a dive of the plan, from the deck, armed and thrown in as planned. Raises FaultError."""
        self._rig.begin_dive(faults, seed)

    def home(self) -> None:
        """The dive to its end: at the surface, with no law broken."""
        __tracebackhide__ = True
        try:
            come_home(self._rig)
        except Unmet as unmet:
            raise AssertionError(str(unmet)) from None

    def expect(self, within_s: float = 0.0, for_s: float = 0.0,
               **wanted: int | str | Limits | tuple[int, int]) -> str:
        """This must be seen by then, and for so long: a number, a word for one, a pair of bounds, or `Limits`."""
        __tracebackhide__ = True
        limits = {name: Limits(least=one[0], most=one[1]) if isinstance(one, tuple) else limits_of(name, one)
                  for name, one in wanted.items()}
        unknown = [name for name in limits if name not in sequences.SEEN]
        if unknown:
            raise ValueError("%s is nothing that can be seen" % unknown[0])
        try:
            return expect(self._rig, {name: one.by(self.plan) for name, one in limits.items()}, within_s, for_s)
        except Unmet as unmet:
            raise AssertionError("at %.1f s: %s" % (self.now_s, unmet)) from None


@pytest.fixture
def controller(request: pytest.FixtureRequest) -> Iterator[Controller]:
    """A controller that has just been switched on, on deck."""
    with _opened(request, _given_plan(request)) as rig:
        yield Controller(rig)


@pytest.fixture
def run_sequence(request: pytest.FixtureRequest) -> Callable[[str], Outcome]:
    """Runs a sequence by its name or file on a controller of its own; the test fails where the sequence does."""
    def run_it(named: str) -> Outcome:
        __tracebackhide__ = True
        try:
            chosen = sequences.load(named)
            plan = changed(_given_plan(request, chosen.plan_file()), chosen.changes)
            sequences.check_plan(chosen, plan)
        except (SequenceError, PlanError) as error:
            pytest.fail("\n".join(error.sentences), pytrace=False)
        opened = _board if chosen.on == BOARD else _opened
        with opened(request, plan) as rig:
            outcome = run(chosen, rig)
        if outcome.outcome != PASSED:
            pytest.fail("%s: step %d, %s: %s" % (chosen.name, outcome.done + 1, outcome.steps[outcome.done].what,
                                                 outcome.reason), pytrace=False)
        return outcome
    return run_it


def _given_plan(request: pytest.FixtureRequest, own: Path | None = None) -> Plan:
    named = request.config.getoption("--controller-plan") or own
    try:
        return load(Path(named)) if named else load_sample()
    except PlanError as error:
        pytest.fail("\n".join(error.sentences), pytrace=False)


@contextmanager
def _opened(request: pytest.FixtureRequest, plan: Plan) -> Iterator[SessionRig]:
    """Lockstep. A MicroPython that is not there skips the test, a board that is not there fails it."""
    chosen = request.config.getoption("--controller")
    with ExitStack() as stack:
        try:
            body = _body(stack, chosen, plan.mission_record())
        except (LinkError, BodyError) as error:
            pytest.fail(str(error), pytrace=False)
        stack.callback(body.close)
        yield SessionRig(body, plan)


def _body(stack: ExitStack, chosen: str, mission_record: bytes):
    if chosen == SIM:
        return CPythonBody(mission_record)
    if chosen == MICROPYTHON:
        _need_micropython()
        return MicroPythonBody(mission_record)
    return stack.enter_context(open_link(chosen)).session(mission_record)


@contextmanager
def _board(request: pytest.FixtureRequest, plan: Plan) -> Iterator[BoardRig]:
    """A board that flies by itself: the one at the port, or a practice board."""
    chosen = request.config.getoption("--controller")
    with ExitStack() as stack:
        try:
            if chosen not in (SIM, MICROPYTHON):
                yield BoardRig(stack.enter_context(open_link(chosen)), AtTerminal(), plan)
                return
            _need_micropython()
            board = stack.enter_context(PracticeBoard(plan, speed=PRACTICE_SPEED))
            nobody = AtPractice(board)
            link = stack.enter_context(open_link(board.url, STARTS_S))
            link.patience_s = STARTS_S
            yield BoardRig(link, nobody, plan, nobody)
        except LinkError as error:
            pytest.fail(str(error), pytrace=False)


def _need_micropython() -> None:
    try:
        find_micropython()
    except BodyError as error:
        pytest.skip(str(error))
