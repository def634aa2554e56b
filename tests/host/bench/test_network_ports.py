"""A board that is reached over the network: a plain socket, and a serial server that speaks RFC 2217.

The server's end of RFC 2217 is pyserial's `PortManager`, as its own example of such a server uses it.
"""

import json
from collections.abc import Iterator

import pytest

from seatrial.plan import load, load_sample
from seatrial.practice import PracticeBoard
from tumblehome.bench import link
from tumblehome.bench.link import open_link
from tumblehome.deck import command
from tumblehome.deck.asking import BY_ITEM

from ..deck_watch import BEGAN, DeckWatch
from .redirector import Redirector

pytestmark = [pytest.mark.usefixtures("micropython"),
              pytest.mark.filterwarnings("ignore:set(Daemon|Name):DeprecationWarning")]  # of pyserial
FAST = 10.0
PATIENCE_S = 20.0
OTHER_PCT = 40
YES = ["--answer=%s=yes" % item for item in BY_ITEM]


@pytest.fixture(autouse=True)
def _patience(monkeypatch) -> None:
    """A machine that is busy with other tests is no controller that is gone."""
    monkeypatch.setattr(link, "SILENT_S", PATIENCE_S)


@pytest.fixture(scope="module")
def board(micropython) -> Iterator[PracticeBoard]:
    with PracticeBoard(load_sample(), speed=FAST, tcp_port=0, clock=BEGAN) as made:
        yield made


@pytest.fixture(scope="module", params=[pytest.param("socket", marks=pytest.mark.long), "rfc2217"])
def url(request, board) -> Iterator[str]:
    if request.param == "socket":
        yield board.url
        return
    with Redirector(board.url) as there:
        yield there.url


def test_its_status_is_told_at_that_address(run, url):
    said = run("bench", "status", "--port", url)
    assert said.status == 0, said
    assert url in said.out and "board    pico" in said.out and "whole copies 2 of 2" in said.out


def test_a_circuit_is_poked_and_draws_as_planned(run, url):
    said = run("bench", "poke", "fan", "--seconds", "2", "--port", url, "--json")
    assert said.status == 0, said
    told = json.loads(said.out)
    assert told["supply_ma"] - told["rest_ma"] == pytest.approx(load_sample().fan.current_ma, abs=12.0)


def test_a_plan_is_kept_over_the_restart_that_it_takes(run, url, plan_file):
    other = plan_file(OTHER_PCT)
    said = run("bench", "load", other, "--port", url)
    assert said.status == 0 and "counts now" in said.out, said
    with open_link(url, PATIENCE_S) as there:
        assert there.plan_record() == load(other).mission_record()
    assert run("bench", "load", plan_file(round(load_sample().lights.level_pct)), "--port", url).status == 0


def test_a_lander_is_checked_armed_and_disarmed(run, board, url, monkeypatch):
    monkeypatch.setattr(command, "Watch", lambda: DeckWatch(board))
    said = run("deck", "--port", url, "--splash=2027-05-18T06:30Z", *YES)
    assert said.status == 0 and said.out.splitlines()[-1] == "GO", said
    assert run("bench", "disarm", "--port", url).status == 0


def test_a_server_that_is_gone_is_one_sentence_and_bad_input(run):
    with Redirector("socket://127.0.0.1:1") as there:
        url = there.url
    said = run("bench", "status", "--port", url)
    assert said.status == 2 and said.err.startswith("cannot open %s (" % url) and said.err.count("\n") == 1
