"""One circuit on for a moment: its current is judged by the plan, and a release takes a word that somebody types.

Currents on the practice board come from its electronics: Ohm's law over its circuits, the plan's own statements for
what a plan states. The circuits that can be poked are the board's own table.
"""

import io
import json
import shlex

import pytest

from boards import deck_poke
from seatrial.plan import load_sample
from tumblehome.bench.poke import CIRCUITS, faults_of

from ..readme_commands import PORT, is_shown, shown

SAMPLE = load_sample()
SOUND = {"supply_mv": 16000, "supply_ma": 40, "peak_ma": 40, "rest_ma": 40, "camera_ma": 2, "ended_early": 0}
BURNS_MA = 16700 / 330  # a test plug of 330 Ohm on a full pack


class Typed(io.StringIO):
    def isatty(self) -> bool:
        return True


@pytest.fixture
def typed(monkeypatch):
    def type_this(text: str, kind=Typed) -> None:
        monkeypatch.setattr("sys.stdin", kind(text))
    return type_this


def test_every_circuit_of_the_board_can_be_poked_and_no_other():
    assert tuple(CIRCUITS) == deck_poke.CIRCUITS


@pytest.mark.parametrize(("name", "planned_ma"), [
    ("lights", SAMPLE.lights.current_ma * SAMPLE.lights.level_pct / 100), ("fan", SAMPLE.fan.current_ma)])
def test_a_circuit_that_draws_as_planned_is_fine(run, board, name, planned_ma):
    said = run("bench", "poke", name, "--seconds", "3", "--port", board.url, "--json")
    told = json.loads(said.out)
    assert said.status == 0 and told["faults"] == []
    assert told["supply_ma"] - told["rest_ma"] == pytest.approx(planned_ma, abs=12.0)


def test_the_beacon_is_judged_by_what_it_draws_while_it_is_lit(run, board):
    said = run("bench", "poke", "beacon", "--seconds", "2", "--port", board.url)
    assert said.status == 0 and "against eyes" in said.out and "\nAS PLANNED  the beacon lamp\n" in said.out


def test_the_lights_are_told_as_the_readme_shows_it(run, board):
    (command,) = [line for line in shown() if line.startswith("tumblehome bench poke ")]
    said = run(*shlex.split(command.replace(PORT, board.url))[1:])
    assert said.status == 0 and is_shown(shown()[command], said.out, board.url)


def test_a_wrong_shunt_is_found_by_the_lights(run, practised):
    said = run("bench", "poke", "lights", "--seconds", "2", "--port", practised("supply-wrong").url)
    assert said.status == 1 and "the lights added" in said.err and "look at its cable" in said.err
    assert "\nNOT AS PLANNED  the lights, " in said.out


def test_a_camera_started_by_its_button_is_judged_by_what_it_draws_before_it_records(run, board):
    said = run("bench", "poke", "camera", "--port", board.url, "--json")
    told = json.loads(said.out)
    assert said.status == 0 and told["faults"] == []
    assert told["supply_ma"] - told["rest_ma"] == pytest.approx(SAMPLE.camera.idle_ma, abs=12.0)


def test_a_camera_whose_cable_is_not_through_is_found_by_one_poke(run, practised):
    said = run("bench", "poke", "camera", "--port", practised("camera-dead").url)
    assert said.status == 1 and "the camera with its button pressed added " in said.err


@pytest.mark.parametrize(("change", "words"), [
    ({}, "the fan added 0 mA; by the plan"), ({"supply_ma": 400}, "the fan added 360 mA"),
    ({"rest_ma": -1}, "the battery current cannot be read"), ({"ended_early": 1}, "went off before its time"),
    ({"supply_mv": 3000, "supply_ma": 150}, "the supply fell to 3.00 V")])
def test_each_fault_has_its_sentence(change, words):
    assert any(words in sentence for sentence in faults_of("fan", 1, {**SOUND, **change}, SAMPLE))


@pytest.mark.parametrize(("name", "added_ma", "is_fine"), [
    ("camera_supply", 0, True), ("camera_supply", SAMPLE.camera.recording_ma, True),
    ("camera_supply", 2 * SAMPLE.camera.recording_ma, False), ("record_button", 0, True), ("record_button", 200, False),
    ("status", 900, True)])
def test_what_the_plan_does_not_fix_is_judged_by_its_limits_or_not_at_all(name, added_ma, is_fine):
    measured = {**SOUND, "supply_ma": 40 + round(added_ma)}
    assert (faults_of(name, 1, measured, SAMPLE) == []) == is_fine


def test_lamps_at_a_low_level_are_judged_loosely():
    planned_ma = SAMPLE.lights.current_ma * 0.1
    assert not faults_of("lights", 10, {**SOUND, "supply_ma": 40 + round(1.9 * planned_ma)}, SAMPLE)
    assert faults_of("lights", 10, {**SOUND, "supply_ma": 40 + round(4 * planned_ma)}, SAMPLE)


def test_water_ends_it_and_is_told(run, practised):
    board = practised()
    board.set(contact_wet=1)
    said = run("bench", "poke", "fan", "--port", board.url)
    assert said.status == 1 and "water" in said.err


@pytest.mark.parametrize("words", [("anchor",), ("fan", "--level", "50"), ("fan", "--seconds", "60"),
                                   ("lights", "--level", "0"), ("fan", "--plan", "nowhere.toml")])
def test_what_cannot_be_is_bad_input(run, words):
    said = run("bench", "poke", *words, "--port", "socket://127.0.0.1:1")
    assert said.status == 2 and said.err.count("\n") == 1


# --- releases -------------------------------------------------------------------------------------------------------


def test_a_release_is_fired_after_the_word_and_what_it_draws_is_told(run, practised, typed):
    board = practised()
    typed("fire\n")
    said = run("bench", "poke", "release-primary", "--port", board.url)
    assert said.status == 0, said
    assert "stand clear of the ballast" in said.out and "circuit is sound by a trickle" in said.out
    drawn_ma = int(said.out.split("up to ")[1].split(" mA")[0])
    assert drawn_ma == pytest.approx(BURNS_MA, abs=6.0)


@pytest.mark.parametrize(("text", "kind", "status"), [("yes\n", Typed, 1), ("", Typed, 1), ("fire\n", io.StringIO, 2)],
                         ids=["another word", "nothing", "no terminal"])
def test_nothing_is_fired_without_the_word_at_a_terminal(run, board, typed, text, kind, status):
    typed(text, kind)
    said = run("bench", "poke", "release-primary", "--port", board.url)
    assert said.status == status and "nothing was fired" in said.out + said.err
    assert board.wanted["release_primary_pct"] == 0


def test_an_armed_lander_fires_nothing_on_the_bench(run, practised, typed):
    from tumblehome.bench.link import open_link

    board = practised()
    with open_link(board.url) as link:
        link.ask("ask", command="arm-anyway")
        while link.status()["state"] != "armed":
            assert board.wait(0.05)
    typed("fire\n")
    said = run("bench", "poke", "release-primary", "--port", board.url)
    assert said.status == 1 and "disarm first" in said.err
