"""`tumblehome bench dive`: a controller on the bench flies a simulated dive, and its journal is the simulator's.

Most of it is tried on a stand-in: the line of the core's own console in this process, behind a socket. Whole dives go
over practice boards, in real MicroPython. The journal is held against that which `tumblehome rehearse` writes.
"""

import io
import json
import re
import sys
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path

import pytest

from lander import wire
from lander.console import Console
from lander.journal import RECORD_BYTES
from seatrial.on_deck import DeckElectronics
from seatrial.plan import load
from seatrial.plan.sample import sample_text
from seatrial.scenario import Scenario, plan_hash, write
from tumblehome.bench import diving, link

from .cable import LOST, PULLED, Cable, answering

SHORT = {"watch_after_surfacing_min": 2, "on_deck_min": 3, "reading_bottom_s": 30, "settle_latest_min": 8,
         "timed_release_min": 15, "latest_release_min": 20, "depth_m": 30, "depth_margin_m": 2,
         "slowest_ascent_min": 10}  # a dive of half an hour


@pytest.fixture
def plan(tmp_path) -> Path:
    text = sample_text()
    for key, value in SHORT.items():
        text = re.sub(r"(?m)^%s = \S+" % key, "%s = %s" % (key, value), text, count=1)
    path = tmp_path / "short.toml"
    path.write_text(text, encoding="utf-8")
    return path


class StandIn:
    """A board's line: hello, session and live, then the core's own console. It notes the verbs that it heard.

    `until` is the number of steps after which it says nothing more, or has started anew where `starts_anew`; `spoils`
    is the number of the record that it tells wrongly.
    """

    def __init__(self, until: int = 1 << 30, starts_anew: bool = False, spoils: int = -1) -> None:
        self.heard: list[str] = []
        self.records = 0
        self._until = until
        self._starts_anew = starts_anew
        self._spoils = spoils
        self._console: Console | None = None

    def answer(self, line: bytes) -> bytes:
        said = self._say(line.decode())
        return wire.frame(said).encode() + b"\r\n" if said else b""

    def _say(self, line: str) -> str:
        number, verb, pairs = wire.words(wire.unframe(line))
        self.heard.append(" ".join([verb, *("%s=%s" % pair for pair in pairs.items())]))
        is_over = Counter(text.split()[0] for text in self.heard)["step"] > self._until
        if is_over and not self._starts_anew:
            return ""
        if is_over and self._console:
            self._console = None
        if verb == "hello" and self._console is None:
            return "%d ok lander=0 wire=%d board=stand-in" % (number, wire.VERSION)
        if verb == "session" and self._console is None:
            self._console = Console()
            return "%d ok" % number
        if self._console is None:
            return "%d no unknown verb: %s" % (number, verb)
        return self._in_session(number, verb, line)

    def _in_session(self, number: int, verb: str, line: str) -> str:
        if verb == "live":
            return "%d ok code=4711" % number
        if verb == "bye":
            self._console = None
            return "%d ok" % number
        said = wire.unframe(self._console.answer(line))
        if verb == "record":
            self.records += 1
            if self.records - 1 == self._spoils:
                return said[:-1] + ("0" if said[-1] != "0" else "1")
        return said

    def count(self, verb: str) -> int:
        return sum(text.split()[0] == verb for text in self.heard)


class Typed(io.StringIO):
    """Somebody at a terminal who has typed this."""

    def isatty(self) -> bool:
        return True


@pytest.fixture
def stand_in() -> Iterator[Callable[..., tuple[StandIn, str]]]:
    opened = []

    def make(**named) -> tuple[StandIn, str]:
        made = StandIn(**named)
        opened.append(answering(made.answer))
        return made, opened[-1].__enter__()
    yield make
    for one in opened:
        with suppress(StopIteration):
            one.__exit__(None, None, None)


def journal_of(folder: Path) -> bytes:
    return (folder / "journal.bin").read_bytes()


# --- on the stand-in ------------------------------------------------------------------------------------------------


def test_it_leaves_what_rehearse_leaves_with_the_same_journal(run, stand_in, plan, tmp_path):
    assert run("rehearse", plan, "--fault", "jammed@record", "--out", "rehearsed").status == 0
    _made, url = stand_in()
    said = run("bench", "dive", plan, "--fault", "jammed@record", "--port", url, "--out", "flown")
    assert said.status == 0, said.err
    assert re.search(r"journal the same as that of the simulator, byte for byte: \d+ records\n", said.out)
    assert sorted(path.name for path in Path("flown").iterdir()) == ["dive.html", "dive.json", "journal.bin"]
    assert journal_of(Path("flown")) == journal_of(Path("rehearsed"))
    flown, rehearsed = (json.loads((Path(name) / "dive.json").read_text()) for name in ("flown", "rehearsed"))
    assert (flown["body"], rehearsed["body"]) == (url, "cpython")
    assert flown["command"].split() == ["tumblehome", "bench", "dive", str(plan), "--seed", "1", "--fault",
                                        "jammed@record", "--port", url]
    assert flown["timeline"] == rehearsed["timeline"]


def test_json_is_all_that_goes_to_the_standard_output(run, stand_in, plan):
    said = run("bench", "dive", plan, "--port", stand_in()[1], "--json")
    assert json.loads(said.out)["outcome"]["home"]
    assert "byte for byte" in said.err


def test_a_controller_that_does_something_else_is_found_out_at_its_record(run, stand_in, plan):
    said = run("bench", "dive", plan, "--port", stand_in(spoils=5)[1])
    assert said.status == 1
    assert "journal another one than that of the simulator from record 5 on" in said.out


@pytest.mark.parametrize(("named", "why"), [
    ({}, "is gone (no answer to `step` within"),
    ({"starts_anew": True}, "does not fly any more (the controller refused `step"),
], ids=["silent", "started anew"])
def test_a_controller_that_goes_away_in_the_middle_is_told_with_what_was_flown(run, stand_in, plan, tmp_path, named, why):
    before = sorted(tmp_path.iterdir())
    made, url = stand_in(until=100, **named)
    said = run("bench", "dive", plan, "--port", url)
    assert said.status == 3
    assert said.out == ""
    sentence, = said.err.splitlines()
    assert why in sentence
    assert re.search(r"101 steps of the dive were flown, until -?0:\d\d:\d\d after the splash; nothing was written, and its"
                     r" outputs were dry", sentence)
    assert sentence.endswith("run the same command again")
    assert sorted(tmp_path.iterdir()) == before


def test_nobody_waits_longer_than_two_seconds_for_the_word_that_it_is_gone():
    """The aim of the bench; what a person waits is the silence and the writing of one line."""
    assert link.SILENT_S < 2.0


def test_outputs_stay_dry_unless_a_person_types_the_word(run, stand_in, plan, monkeypatch):
    made, url = stand_in()
    said = run("bench", "dive", plan, "--port", url, "--live")
    assert (said.status, made.heard) == (2, [])
    assert "typed at a terminal" in said.err
    monkeypatch.setattr(sys, "stdin", Typed("yes\n"))
    said = run("bench", "dive", plan, "--port", url, "--live")
    assert (said.status, made.heard) == (2, [])
    assert "not confirmed: nothing was sent" in said.err
    assert run("bench", "dive", plan, "--port", url).status == 0
    assert made.count("live") == 0


def test_live_takes_two_steps_after_the_cautions_and_before_the_mission_starts(run, stand_in, plan, monkeypatch):
    monkeypatch.setattr(sys, "stdin", Typed("live\n"))
    made, url = stand_in()
    said = run("bench", "dive", plan, "--port", url, "--live", "--speed", "1e6")
    assert said.status == 0
    assert said.out.index("Electrolytic release") < said.out.index("type live") < said.out.index("HOME")
    assert [text for text in made.heard if text.startswith("live")] == ["live", "live code=4711"]
    assert made.heard.index("live code=4711") < next(
        at for at, text in enumerate(made.heard) if text.startswith("boot"))
    assert "--live --speed 1e+06" in said.out


def test_a_live_controller_that_goes_away_lets_go_by_itself_and_that_is_told(run, stand_in, plan, monkeypatch):
    monkeypatch.setattr(sys, "stdin", Typed("live\n"))
    said = run("bench", "dive", plan, "--port", stand_in(until=20)[1], "--live", "--speed", "1e6")
    assert said.status == 3
    assert "it lets its releases go within 6 s, and all else when it starts anew after 60 s of silence" in said.err


class Wall:
    """A clock on the wall that goes on only while somebody sleeps."""

    def __init__(self) -> None:
        self.now_s = 100.0
        self.slept_s: list[float] = []

    def monotonic(self) -> float:
        return self.now_s

    def sleep(self, for_s: float) -> None:
        self.slept_s.append(for_s)
        self.now_s += for_s


def test_the_sea_goes_no_faster_than_asked_and_the_line_never_falls_silent(run, stand_in, plan, monkeypatch):
    wall = Wall()
    monkeypatch.setattr(diving, "time", wall)
    made, url = stand_in()
    said = run("bench", "dive", plan, "--port", url, "--speed", "0.5", "--json")
    assert said.status == 0
    steps_s = json.loads(said.out)["series"]["time_s"]
    assert wall.now_s - 100.0 == pytest.approx(steps_s[-1] / 0.5, abs=1.0)
    assert max(wall.slept_s) <= diving.ALIVE_S
    assert made.count("heap") > 50


@pytest.mark.parametrize(("words", "sentence"), [
    (("--speed", "0"), "--speed is 0; allowed is 0.1 or more"),
    (("--speed", "nan"), "--speed is nan; allowed is 0.1 or more"),
    (("--live", "--json"), "leave one of them out"),
    (("--scenario", "none.toml"), "scenario none.toml cannot be read"),
    (("--fault", "gravity"), "gravity"),
    (("--port", "socket://127.0.0.1:1"), "cannot open socket://127.0.0.1:1"),
])
def test_what_cannot_be_is_refused_before_anything_is_sent(run, stand_in, words, sentence):
    made, url = stand_in()
    said = run("bench", "dive", "--port", url, *words)
    assert said.status == 2
    assert sentence in said.err
    assert "Traceback" not in said.err
    assert made.heard == []


def test_no_dive_is_flown_for_a_port_that_is_not_there(run, plan, monkeypatch):
    monkeypatch.setattr("tumblehome.bench.diving.Dive", None)
    said = run("bench", "dive", plan, "--port", "socket://127.0.0.1:1")
    assert said.status == 2 and said.err.startswith("cannot open socket://127.0.0.1:1")


def test_a_board_that_refuses_a_session_is_left_alone(run, plan):
    def refuse(line: bytes) -> bytes:
        number, verb, _pairs = wire.words(wire.unframe(line.decode()))
        said = "ok wire=%d board=pico" % wire.VERSION if verb == "hello" else "no disarm first: the mission is armed"
        return wire.frame("%d %s" % (number, said)).encode() + b"\n"

    with answering(refuse) as url:
        said = run("bench", "dive", plan, "--port", url)
    assert said.status == 1
    assert "refused `session`: disarm first: the mission is armed; `tumblehome bench disarm --port %s` does it" % url in said.err


# --- on practice boards ---------------------------------------------------------------------------------------------


@pytest.fixture
def patient(monkeypatch) -> None:
    """A machine that runs many tests may hold a process up for seconds."""
    monkeypatch.setattr(link, "SILENT_S", 20.0)


@pytest.fixture
def seen(monkeypatch) -> Counter:
    """What a practice board drives in a test, by name."""
    driven: Counter = Counter()
    usual = DeckElectronics.draw

    def draw(electronics) -> None:
        usual(electronics)
        driven.update({name for name, level in electronics.levels().items() if level})
    monkeypatch.setattr(DeckElectronics, "draw", draw)
    return driven


@pytest.mark.long
def test_a_scenario_replays_on_a_board_dry_after_a_cable_was_pulled_in_the_middle(
        run, practised, plan, seen, patient, tmp_path):
    scenario = tmp_path / "found.toml"
    scenario.write_text(write(Scenario(plan_hash(load(plan)), 7, ("leak@record+60s", "reset@release"), plan), tmp_path),
                        encoding="utf-8")
    run("rehearse", "--scenario", scenario, "--out", "rehearsed")
    board = practised(speed=25.0)
    with Cable(board.url, "step", 40, PULLED) as cable:
        said = run("bench", "dive", "--scenario", scenario, "--port", cable.url)
        assert said.status == 3
        assert "40 steps of the dive were flown" in said.err
    said = run("bench", "dive", "--scenario", scenario, "--port", board.url, "--out", "flown")
    assert said.status == 0, said.err
    assert journal_of(Path("flown")) == journal_of(Path("rehearsed"))
    assert len(journal_of(Path("flown"))) % RECORD_BYTES == 0
    assert seen.total() == 0
    assert board.starts == 3, "it started anew after each session"


@pytest.mark.long
def test_a_live_dive_drives_what_the_mission_wants(run, practised, plan, seen, patient, monkeypatch):
    monkeypatch.setattr(sys, "stdin", Typed("live\n"))
    board = practised(speed=25.0)
    said = run("bench", "dive", plan, "--port", board.url, "--live", "--speed", "1000")
    assert said.status == 0, said.err
    assert {"release_primary_pct", "lights_pct", "record_button"} <= set(seen)
    assert all(level == 0 for level in board.electronics.levels().values()), "the restart has let everything go"


def test_an_answer_that_is_lost_is_no_reason_to_fly_a_step_twice(run, practised, plan):
    board = practised(speed=25.0)
    with Cable(board.url, "step", 5, LOST) as cable:
        assert run("bench", "dive", plan, "--port", cable.url).status == 3
        assert cable.heard["step"] == 5
