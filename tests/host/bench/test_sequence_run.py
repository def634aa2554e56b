"""`tumblehome bench run` as a person and a machine use it, and how a run ends when something does not go as wanted."""

import json
import time
from collections.abc import Iterator
from contextlib import nullcontext
from pathlib import Path
from xml.etree import ElementTree

import pytest
import serial

from seatrial.bodies import CPythonBody
from seatrial.plan import load_sample
from seatrial.practice import PracticeBoard
from tumblehome import cli
from tumblehome.bench import people
from tumblehome.bench import run as command
from tumblehome.bench.junit import junit
from tumblehome.bench.link import open_link
from tumblehome.bench.people import AtTerminal, Relay
from tumblehome.bench.rigs import BoardRig, SessionRig
from tumblehome.bench.running import (
    FAILED,
    GONE,
    NOT_RUN,
    PASSED,
    STOPPED,
    Outcome,
    StepResult,
    Stopped,
    Unmet,
    expect,
    run,
)
from tumblehome.bench.sequence import Limits, load, names

from .conftest import PATIENCE_S

HEAD = 'name = "mine"\nabout = "A test & <more>."\non = "%s"\n'


@pytest.fixture
def rig() -> SessionRig:
    plan = load_sample()
    return SessionRig(CPythonBody(plan.mission_record()), plan)


@pytest.fixture
def board(patient: None) -> Iterator[PracticeBoard]:
    with PracticeBoard(speed=10) as made:
        open_link(made.url, PATIENCE_S).close()  # it has come up
        yield made


@pytest.fixture
def write(tmp_path: Path):
    def write_it(steps: str, on: str = "board") -> str:
        path = tmp_path / "mine.toml"
        path.write_text(HEAD % on + steps)
        return str(path)
    return write_it


def run_here(*words: str) -> int:
    with pytest.raises(SystemExit) as ended:
        cli.main(["bench", "run", *words])
    return int(ended.value.code or 0)


# --- what is seen of time -----------------------------------------------------------------------------------------


def test_what_comes_in_time_is_waited_for_and_no_longer(rig: SessionRig) -> None:
    rig.command("arm")
    began_s = rig.now_s
    expect(rig, {"state": Limits(about=1, within=0)}, within_s=120.0)
    assert 20.0 < rig.now_s - began_s < 40.0  # the self-test


def test_what_does_not_come_in_time_is_told_with_what_was_seen(rig: SessionRig) -> None:
    with pytest.raises(Unmet, match="state is safe"):
        expect(rig, {"state": Limits(about=1, within=0)}, within_s=10.0)
    assert rig.now_s == 10.0


def test_what_was_refused_meanwhile_is_told_though_it_is_not_shown_any_more(rig: SessionRig) -> None:
    rig.set({"leak_wet": 1})
    rig.command("arm")
    with pytest.raises(Unmet, match="the mission refused: water inside"):
        expect(rig, {"state": Limits(about=1, within=0)}, within_s=120.0)


def test_what_must_last_fails_when_it_ends(rig: SessionRig) -> None:
    rig.command("arm")
    with pytest.raises(Unmet, match="state is armed"):
        expect(rig, {"state": Limits(about=0, within=0)}, for_s=60.0)


class SlowBoard:
    """The line and the clock of an armed board whose mission steps every two seconds, and whose uptime goes on between."""

    url, greeting, speed = "COM5", {}, 1.0

    def __init__(self) -> None:
        self.now_s, self.asked_s = 0.7, None

    def let_pass(self, for_s: float) -> None:
        self.now_s += for_s

    def ask(self, verb: str, **pairs: str) -> None:
        assert (verb, pairs) == ("ask", {"command": "disarm"})
        self.asked_s = self.now_s

    def readings(self) -> dict[str, int]:
        return {"uptime_ds": int(10 * self.now_s), "wake_ds": 20}

    def state(self) -> str:
        has_heard = self.asked_s is not None and self.now_s // 2 > self.asked_s // 2
        return "safe" if has_heard else "armed"


def test_a_command_to_a_board_that_flies_by_itself_is_done_once_a_step_has_taken_it() -> None:
    board = SlowBoard()
    BoardRig(board, AtTerminal(), load_sample(), board).command("disarm")
    assert board.state() == "safe"
    assert board.now_s < 5.0


def test_what_creeps_is_not_steady_and_what_has_settled_is(rig: SessionRig) -> None:
    steady = {"pressure_mbar": Limits(about=2000, within=1500, steady=20)}
    rig.set({"pressure_mbar": 1000})
    rig.set({"pressure_mbar": 3000}, over_s=100.0)
    expect(rig, steady, for_s=30.0)
    seen: list[int] = []

    class Creeping:
        now_s = 0.0

        def values(self) -> dict[str, int]:
            seen.append(1000 + len(seen))
            return {"pressure_mbar": seen[-1]}

        def go_on(self, _until_s: float) -> None:
            self.now_s += 1.0

    with pytest.raises(Unmet, match="pressure_mbar went from 1000 to 1021"):
        expect(Creeping(), steady, for_s=30.0)


def test_a_reading_on_a_line_arrives_when_it_should_and_is_half_way_in_the_middle(rig: SessionRig) -> None:
    rig.set({"supply_mv": 10000})
    began_s = rig.now_s
    rig.set({"supply_mv": 20000}, over_s=10.0)
    assert rig.now_s - began_s == pytest.approx(10.0)
    assert rig.values()["supply_mv"] == 20000


def test_mission_time_is_paced_by_the_speed_that_was_asked_for() -> None:
    slept: list[float] = []
    plan = load_sample()
    paced = SessionRig(CPythonBody(plan.mission_record()), plan, speed=60.0, sleep=slept.append)
    paced.wait(600.0)
    assert sum(slept) == pytest.approx(10.0)
    assert max(slept) <= 20.0  # a session that is silent for a minute is over


def test_after_a_dive_the_lander_stands_on_deck_again_and_each_journal_is_kept(rig: SessionRig) -> None:
    rig.begin_dive((), 1)
    came = rig.end_dive()
    assert came.evidence.surfaced_s is not None
    assert rig.values()["state"] == 0
    assert rig.now_s > came.sea_s - 1.0
    assert len(rig.journals) == 3
    assert rig.journals[1] == came.journal


def test_steps_after_the_one_that_failed_are_not_run(rig: SessionRig) -> None:
    one = load("arming-refused")
    rig.put_in("leak-dead")
    rig.set = lambda *_given: None  # nobody wets the probe
    outcome = run(one, rig)
    assert outcome.outcome == FAILED
    assert [step.outcome for step in outcome.steps[:4]] == [PASSED, PASSED, FAILED, NOT_RUN]
    assert outcome.done == 2


def test_a_sequence_that_the_keyboard_stops_keeps_what_was_done_and_which_step_was_under_way(rig: SessionRig) -> None:
    rig.command = _interrupt
    with pytest.raises(Stopped) as stop:
        run(load("arming-refused"), rig)
    outcome = stop.value.outcome
    assert outcome.outcome == STOPPED and outcome.done == 1
    assert [step.outcome for step in outcome.steps[:3]] == [PASSED, STOPPED, NOT_RUN]
    case = ElementTree.fromstring(junit([outcome])).findall("testsuite/testcase")[1]
    assert case.find("error").get("message") == "stopped by the keyboard"


# --- people -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("is_there", "says", "answer"), [
    (True, True, ""), (True, False, "answered no"), (False, True, people.NOT_ANSWERED)])
def test_a_question_is_answered_by_a_person_or_not_at_all(monkeypatch, is_there: bool, says: bool, answer: str) -> None:
    monkeypatch.setattr("sys.stdin", type("Stdin", (), {"isatty": staticmethod(lambda: is_there)})())
    monkeypatch.setattr(people.typer, "confirm", lambda *_words, **_more: says)
    assert AtTerminal().answer("No drops inside?") == answer


def test_a_relay_takes_the_supply_away_for_the_time_and_gives_it_back_even_when_that_fails(monkeypatch) -> None:
    port = serial.serial_for_url("loop://", do_not_open=True)  # its CTS shows its RTS
    monkeypatch.setattr(people.serial, "serial_for_url", lambda *_url, **_more: port)
    relay = Relay("/dev/relay")
    assert not port.cts
    seen: list[tuple[float, bool]] = []
    assert AtTerminal(relay).power_off(3.0, lambda for_s: seen.append((for_s, port.cts))) == ""
    assert seen == [(3.0, True)]
    assert not port.cts
    with pytest.raises(KeyboardInterrupt):
        AtTerminal(relay).power_off(3.0, _interrupt)
    assert not port.cts
    relay.close()


def _interrupt(_for_s: float) -> None:
    raise KeyboardInterrupt


# --- the command --------------------------------------------------------------------------------------------------


def test_the_list_names_every_sequence(capsys) -> None:
    with pytest.raises(SystemExit) as ended:
        cli.main(["bench", "run", "--list"])
    assert not ended.value.code
    shown = capsys.readouterr().out
    assert all(name in shown for name in names())


def test_a_run_on_a_practice_board_is_told_in_lines_in_junit_and_in_json(tmp_path: Path, capsys, patient) -> None:
    assert run_here("circuit-fan", "--port", "practice", "--junit", str(tmp_path / "r.xml"),
                    "--out", str(tmp_path / "out")) == 0
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) == 4
    assert lines[-1].startswith("PASSED 3 of 3 steps of circuit-fan")
    told = json.loads((tmp_path / "out" / "run.json").read_text())
    assert told["outcome"] == "passed"
    assert all(step["at_utc"].endswith("Z") and step["to_s"] >= step["from_s"] for step in told["steps"])
    suite = ElementTree.parse(tmp_path / "r.xml").getroot().find("testsuite")
    assert suite is not None and suite.get("tests") == "3" and suite.get("failures") == "0"


def test_a_run_that_fails_says_what_was_seen_and_ends_with_one(write, capsys, board) -> None:
    path = write("[[step]]\nexpect = { state = 'armed' }\n[[step]]\nwait_s = 1\n")
    assert run_here(path, "--port", board.url) == 1
    out = capsys.readouterr().out
    assert "state is safe" in out
    assert "FAILED 0 of 2 steps" in out


def test_a_question_without_a_person_fails_its_step(write, capsys, board, monkeypatch) -> None:
    monkeypatch.setattr("sys.stdin", type("Stdin", (), {"isatty": staticmethod(lambda: False)})())
    assert run_here(write("[[step]]\nask = 'No drops inside?'\n"), "--port", board.url) == 1
    assert people.NOT_ANSWERED in capsys.readouterr().out


@pytest.mark.parametrize("is_kept", [True, False])
def test_ctrl_c_tells_the_step_the_outputs_and_where_the_record_is(rig, tmp_path, capsys, monkeypatch, is_kept) -> None:
    rig.command = _interrupt
    monkeypatch.setattr(command, "_rig", lambda *_given: nullcontext(rig))
    out = ("--out", str(tmp_path / "kept"), "--junit", str(tmp_path / "r.xml")) if is_kept else ()
    assert run_here("arming-refused", "--port", "COM5", *out) == 130
    sentence = capsys.readouterr().err.splitlines()[-1]
    assert sentence.startswith("stopped: step 2 of ") and "was under way; the controller is gone with it; " in sentence
    if is_kept:
        assert json.loads((tmp_path / "kept" / "run.json").read_text(encoding="utf-8"))["outcome"] == "stopped"
        assert ElementTree.parse(tmp_path / "r.xml").getroot().get("errors") == "1"
        assert "the record is in %s and %s" % (tmp_path / "kept" / "run.json", tmp_path / "r.xml") in sentence
    else:
        assert "no record was asked for (--out keeps one)" in sentence


@pytest.mark.long
def test_ctrl_c_at_a_board_that_was_armed_disarms_it_and_says_so(write, capsys, board, monkeypatch) -> None:
    path = write("[[step]]\nexpect = { water_temp_ok = 1 }\nwithin_s = 15\n"  # nothing is armed before it has read them
                 "[[step]]\ncommand = 'arm'\n[[step]]\nexpect = { state = 'armed' }\nwithin_s = 120\n"
                 "[[step]]\nwait_s = 5\n")
    monkeypatch.setattr(command, "_tell", lambda step: _interrupt(0) if step.number == 4 else None)
    assert run_here(path, "--port", board.url) == 130
    sentence = capsys.readouterr().err.splitlines()[-1]
    assert "stopped: step 4 of 4 (" in sentence
    assert "it was told to disarm and is safe, with every output off" in sentence
    with open_link(board.url, PATIENCE_S) as there:
        assert there.status()["state"] == "safe"


@pytest.mark.long
def test_ctrl_c_in_a_session_lets_the_board_start_anew_and_says_so(write, capsys, board, monkeypatch) -> None:
    monkeypatch.setattr(command, "_tell", lambda step: _interrupt(0) if step.number == 2 else None)
    assert run_here(write("[[step]]\nwait_s = 5\n" * 2, "session"), "--port", board.url) == 130
    assert "its outputs were dry, and the controller has started anew, which switches every output off; " in (
        capsys.readouterr().err.splitlines()[-1])


@pytest.mark.parametrize("on", ["board", "session"])
def test_a_cable_that_is_pulled_ends_it_with_three_and_says_what_was_done(write, capsys, board, monkeypatch, on) -> None:
    tell = command._tell

    def pull(step: StepResult) -> None:
        tell(step)
        if step.number == 1 and step.outcome == PASSED:
            monkeypatch.setattr("tumblehome.bench.link.SILENT_S", 1.0)
            board.unplug()

    monkeypatch.setattr(command, "_tell", pull)
    path = write("[[step]]\nexpect = { state = 'safe' }\n[[step]]\nexpect = { state = 'safe' }\nfor_s = 30\n"
                 "[[step]]\nwait_s = 1\n", on)
    assert run_here(path, "--port", board.url) == 3
    said = capsys.readouterr()
    assert "went away after 1 steps" in said.err
    assert "GONE 1 of 3 steps" in said.out


@pytest.mark.parametrize(("words", "said"), [
    ((), "no sequence is named"),
    (("nothing-like-it",), "neither a file nor a sequence"),
    (("dive", "--speed", "-1"), "--speed is -1"),
    (("circuit-fan", "--speed", "5", "--port", "/dev/nothing"), "goes as it goes"),
    (("circuit-fan", "--live"), "outputs are live anyway"),
    (("dive", "--live"), "a code that a person types"),
    (("dive", "--port", "/dev/nothing"), "cannot open /dev/nothing"),
    (("dive", "--junit", "/nowhere/at/all.xml"), "--junit"),
    (("dive", "--plan", "nothing.toml"), "nothing.toml"),
])
def test_bad_input_is_refused_before_anything_is_done(words, said: str, capsys, monkeypatch) -> None:
    monkeypatch.setattr("sys.stdin", type("Stdin", (), {"isatty": staticmethod(lambda: False)})())
    assert run_here(*words) == 2
    assert said in capsys.readouterr().err


def test_only_a_code_that_was_typed_lets_outputs_reach_the_pins(board, monkeypatch) -> None:
    plan = load_sample()
    with open_link(board.url, PATIENCE_S) as link:
        body = link.session(plan.mission_record())
        live = SessionRig(body, plan)
        _until_camera(live)
        assert not board.electronics.levels()["camera_supply"]  # dry
        monkeypatch.setattr(command.typer, "prompt", lambda words, **_more: words.split("Type ")[1].split()[0])
        command._go_live(body)
        live.power_off(1.0)
        _until_camera(live)
        assert _comes(lambda: board.electronics.levels()["camera_supply"] == 1)
        body.close()
    assert _comes(lambda: not board.electronics.levels()["camera_supply"])


def _until_camera(rig: SessionRig) -> None:
    rig.command("arm")
    expect(rig, {"camera_supply": Limits(about=1, within=0)}, within_s=60.0)


def _comes(is_so) -> bool:
    end_s = time.monotonic() + PATIENCE_S
    while not is_so():
        if time.monotonic() > end_s:
            return False
        time.sleep(0.02)
    return True


# --- JUnit: the elements and attributes of the common form, read by the standard library -----------------------------


def test_junit_has_a_case_a_step_and_tells_failures_errors_and_what_was_not_run() -> None:
    steps = [StepResult(1, "wait 5 s", PASSED, "", 0.0, 5.0), StepResult(2, "fan \x07 <on>", FAILED, "a & \x00 b", 5.0, 6.0),
             StepResult(3, "wait 1 s", NOT_RUN)]
    gone = [StepResult(1, "wait 5 s", GONE, "the cable", 0.0, 1.0)]
    root = ElementTree.fromstring(junit([
        Outcome("one", "About.", "board", "/dev/x", FAILED, "2027-05-18T06:30:00Z", steps=steps),
        Outcome("two", "About.", "board", "/dev/x", GONE, "2027-05-18T06:30:00Z", steps=gone)]))
    assert root.tag == "testsuites"
    assert [root.get(key) for key in ("tests", "failures", "errors", "skipped")] == ["4", "1", "1", "1"]
    first = root.findall("testsuite")[0]
    cases = first.findall("testcase")
    assert [case.get("name") for case in cases] == ["001 wait 5 s", "002 fan ? <on>", "003 wait 1 s"]
    assert cases[0].get("time") == "5.0"
    failure = cases[1].find("failure")
    assert failure is not None and failure.get("message") == "a & ? b"
    assert cases[2].find("skipped") is not None
    assert root.findall("testsuite")[1].find("testcase/error") is not None
    assert first.get("timestamp") == "2027-05-18T06:30:00"
