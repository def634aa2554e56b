"""The sequences that come with the tool: each passes on a sound lander, and fails on one that is not."""

import time
from collections.abc import Callable

import pytest

from lander import journal
from lander.mission import Mission
from seatrial.bodies import CPythonBody, MicroPythonBody
from seatrial.plan import load_sample
from seatrial.plan.changing import changed
from seatrial.practice import PracticeBoard
from tumblehome.bench.link import Link, open_link
from tumblehome.bench.people import AtPractice
from tumblehome.bench.rigs import BoardRig, SessionRig
from tumblehome.bench.running import FAILED, PASSED, Outcome, run
from tumblehome.bench.sequence import BOARD, load, names

from .conftest import PATIENCE_S

FLOWN = [name for name in names() if load(name).on != BOARD]
ON_BOARD = [name for name in names() if load(name).on == BOARD]
SPEED = 20.0
CHAMBER_SPEED = 100.0


def on_board(name: str, wrong: tuple[str, ...] = ()) -> Outcome:
    plan = load_sample()
    speed = CHAMBER_SPEED if name == "chamber" else SPEED
    with PracticeBoard(wrong=wrong, speed=speed) as board, open_link(board.url, PATIENCE_S) as link:
        nobody = AtPractice(board)
        return run(load(name), BoardRig(link, nobody, plan, nobody))


def flown(name: str, body: Callable = CPythonBody) -> Outcome:
    one = load(name)
    plan = changed(load_sample(), one.changes)
    rig = SessionRig(body(plan.mission_record()), plan)
    try:
        return run(one, rig)
    finally:
        rig.close()


@pytest.mark.parametrize("name", FLOWN)
def test_a_sequence_of_a_session_passes_on_the_core(name: str, run_sequence) -> None:
    assert run_sequence(name).outcome == PASSED


@pytest.mark.parametrize("name", ["arming-refused", "leak", "brownout-at-release"])
def test_and_in_real_micropython_with_the_same_values_at_the_same_times(name: str, patient: None) -> None:
    here, there = flown(name), flown(name, MicroPythonBody)
    assert there.outcome == PASSED, there.reason
    assert [(step.seen, step.from_s, step.to_s) for step in there.steps] == [
        (step.seen, step.from_s, step.to_s) for step in here.steps]


@pytest.mark.long
@pytest.mark.parametrize("name", ON_BOARD)
def test_a_sequence_of_a_board_passes_on_a_practice_board(name: str, patient: None) -> None:
    outcome = on_board(name)
    assert outcome.outcome == PASSED, outcome.reason


def test_a_sequence_of_a_session_passes_on_a_practice_board(patient: None) -> None:
    plan = load_sample()
    with PracticeBoard() as board, open_link(board.url, PATIENCE_S) as link:
        rig = SessionRig(link.session(plan.mission_record()), plan)
        outcome = run(load("arming-refused"), rig)
        rig.close()
    assert outcome.outcome == PASSED, outcome.reason


@pytest.mark.parametrize(("name", "wrong", "told"), [
    ("leak-probe", "leak-stuck", "leak_wet"),
    ("circuit-lights", "lamp-on", "poked_more_ma"),
    pytest.param("arm-and-disarm", "camera-dead", "not seen to record", marks=pytest.mark.long),
    ("arm-and-disarm", "clock-stopped", "clock"),
    pytest.param("chamber", "pressure-frozen", "pressure_mbar", marks=pytest.mark.long),
    ("circuit-fan", "supply-wrong", "poked_more_ma"),
    ("circuit-releases", "channels-swapped", "channels is swapped"),
    ("release-primary", "channels-swapped", "channels is swapped; primary_circuit is shorted"),
    ("release-backup", "channels-swapped", "channels is swapped"),
])
def test_a_board_that_is_wired_wrongly_fails_at_its_place(name: str, wrong: str, told: str, patient: None) -> None:
    outcome = on_board(name, (wrong,))
    assert outcome.outcome == FAILED
    assert told in outcome.reason


@pytest.mark.parametrize(("circuit", "wanted", "told"), [
    ("sound", PASSED, ""), ("open", FAILED, "backup_circuit is open")], ids=["sound", "open"])
def test_a_release_of_five_seconds_is_seen_however_slowly_the_board_is_looked_at(
        circuit: str, wanted: str, told: str, patient: None, monkeypatch: pytest.MonkeyPatch) -> None:
    readings = Link.readings

    def read_late(link: Link) -> dict[str, int]:
        time.sleep(10.0 / SPEED)  # ten seconds of the board, where nobody holds its time
        return readings(link)

    monkeypatch.setattr(Link, "readings", read_late)
    with PracticeBoard(speed=SPEED) as board, open_link(board.url, PATIENCE_S) as link:
        with board.lock:
            board.world.backup.circuit = circuit
        nobody = AtPractice(board)
        outcome = run(load("release-backup"), BoardRig(link, nobody, load_sample(), nobody))
    assert outcome.outcome == wanted, outcome.reason
    assert told in outcome.reason


@pytest.mark.parametrize("name", ["release-primary", "release-backup"])
def test_no_release_is_driven_on_a_board_whose_channels_are_swapped(name: str, patient: None) -> None:
    plan = load_sample()
    with PracticeBoard(wrong=("channels-swapped",), speed=SPEED) as board, open_link(board.url, PATIENCE_S) as link:
        nobody = AtPractice(board)
        run(load(name), BoardRig(link, nobody, plan, nobody))
        assert not board.world.backup.open
        events = [journal.fields(record)["code"] for record in link.journal()]
    assert journal.E_BENCH_ON not in events


# --- cores that are wrong on purpose ------------------------------------------------------------------------------


class Changed(Mission):
    """A mission whose outputs are spoilt after each step."""

    def step(self, inputs, outputs) -> None:
        super().step(inputs, outputs)
        self.spoil(inputs, outputs)

    def spoil(self, inputs, outputs) -> None:
        raise NotImplementedError


class DarkAtTheSurface(Changed):
    def spoil(self, inputs, outputs) -> None:
        outputs.beacon_code = 0


class OneChannelOnly(Changed):
    def spoil(self, inputs, outputs) -> None:
        outputs.release_backup_pct = 0


class BothAtOnce(Changed):
    def spoil(self, inputs, outputs) -> None:
        if outputs.release_primary_pct:
            outputs.release_backup_pct = 100


class LightsStayOn(Changed):
    def spoil(self, inputs, outputs) -> None:
        outputs.lights_pct = 70 if outputs.state in (3, 4) else outputs.lights_pct


class Restless(Changed):
    """Presses the record button every now and then, on a guess."""

    def spoil(self, inputs, outputs) -> None:
        outputs.record_button |= inputs.uptime_ds % 6000 < 300


class Fires(Changed):
    """A wet contact alone is enough for it."""

    def spoil(self, inputs, outputs) -> None:
        outputs.release_primary_pct = 100 if inputs.contact_wet else outputs.release_primary_pct


class Careless(Changed):
    """Shows no refusal."""

    def spoil(self, inputs, outputs) -> None:
        outputs.refused = 0


@pytest.mark.parametrize(("name", "mission"), [
    ("dive", DarkAtTheSurface), ("beacon", DarkAtTheSurface), ("dive", LightsStayOn), ("leak", LightsStayOn),
    ("dive-backup-only", OneChannelOnly), ("brownout-at-release", OneChannelOnly), ("stuck-release", OneChannelOnly),
    ("dive-primary-only", BothAtOnce), ("camera-feedback", Restless), ("camera-without-feedback", Restless),
    ("spray", Fires), ("arming-refused", Careless),
])
def test_a_core_that_does_it_wrongly_fails(name: str, mission: type[Mission]) -> None:
    class Body(CPythonBody):
        mission_class = mission

    assert flown(name, Body).outcome == FAILED


def test_every_sequence_of_a_session_fails_on_some_wrong_core() -> None:
    tried = {name for mark in test_a_core_that_does_it_wrongly_fails.pytestmark for name, _mission in mark.args[1]}
    assert tried == set(FLOWN)
