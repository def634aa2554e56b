"""The controller's clock against this computer's. The practice board goes at the pace of the wall here, as a board does.
"""

import json
from datetime import UTC, datetime, timedelta

import pytest

from tumblehome.bench import clock, link
from tumblehome.bench.clock import Difference

from .cable import LOST, PULLED, Cable


@pytest.fixture(autouse=True)
def kept(tmp_path, monkeypatch):
    """The file of the person who set clocks."""
    path = tmp_path / "person" / "clocks.json"
    monkeypatch.setattr(clock, "_file", lambda: path)
    monkeypatch.setattr(clock, "LISTEN_S", 0.8)
    return path


@pytest.fixture
def late(practised):
    """A board whose clock is an hour behind."""
    return practised(speed=1.0, clock=datetime.now(UTC) - timedelta(hours=1))


def ask(run, board, *words):
    said = run("bench", "clock", "--json", "--port", board.url, *words)
    return said.status, json.loads(said.out), said.err


def test_a_difference_is_told_and_gone_when_the_clock_is_set(run, late, kept):
    status, told, _said = ask(run, late)
    assert status == 0 and told["difference_s"] == pytest.approx(-3600, abs=100.0) and "set" not in told
    status, told, _said = ask(run, late, "--set")
    assert status == 0 and abs(told["difference_s"]) < 3.0
    assert list(json.loads(kept.read_text())) == [b"practice".hex()]
    assert "set" in ask(run, late)[1]
    assert "trusted" in run("bench", "clock", "--port", late.url).out


def test_a_clock_that_stands_still_cannot_be_trusted_nor_set(run, practised):
    board = practised("clock-stopped", speed=1.0)
    status, told, said = ask(run, board)
    assert status == 1 and told["trusted"] == "no" and "its cell or its crystal" in said
    said = run("bench", "clock", "--set", "--port", board.url)
    assert said.status == 1 and "the clock did not take it" in said.err


@pytest.mark.long
@pytest.mark.parametrize("how", [PULLED, LOST])
def test_a_cable_pulled_while_it_is_set_is_told_and_it_is_set_the_next_time(run, late, how, monkeypatch):
    monkeypatch.setattr(link, "SILENT_S", 1.0)
    with Cable(late.url, "clock", 1, how) as cable:
        said = run("bench", "clock", "--set", "--port", cable.url)
    assert said.status == 3 and "the clock may have been set, or not" in said.err
    assert ask(run, late, "--set")[0] == 0


@pytest.mark.parametrize(("days", "moved_s", "ppm"), [(10.0, 8.64, 10.0), (30.0, -5.184, -2.0)])
def test_how_fast_it_goes_is_the_difference_over_the_time_since_it_was_set(kept, monkeypatch, days, moved_s, ppm):
    """Ten millionths of ten days are 8.64 s, by hand."""
    clock.remember("chip", Difference(0.1, 0.2, True))
    now_s = clock.time.time()
    monkeypatch.setattr(clock.time, "time", lambda: now_s + days * 86400)
    told = clock._rate("chip", Difference(0.1 + moved_s, 0.2, True))
    assert told["fast_by_ppm"] == pytest.approx(ppm, abs=0.1)
    assert clock._rate("other", Difference(0.0, 0.2, True)) == {}


def test_how_fast_it_goes_is_not_told_before_it_can_be_known():
    clock.remember("chip", Difference(0.1, 0.2, True))
    assert "fast_by_ppm" not in clock._rate("chip", Difference(0.2, 0.2, True))


@pytest.mark.parametrize("text", ["", "[]", '{"chip": 3}', "not json"])
def test_a_file_that_somebody_broke_is_as_none(kept, text):
    kept.parent.mkdir()
    kept.write_text(text)
    assert clock._rate("chip", Difference(0.0, 0.2, True)) == {}
