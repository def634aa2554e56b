"""A plan is put on a board, counts there byte for byte, and only where it adds up."""

import pytest

from seatrial.plan import load
from tumblehome.bench.link import open_link
from tumblehome.bench.load import counts


def test_a_plan_that_was_loaded_is_what_the_board_flies_with(run, practised, plan_file):
    board = practised()
    path = plan_file(41)
    said = run("bench", "load", path, "--port", board.url)
    assert said.status == 0 and "counts now" in said.out and "whole copies 2 of 2" in said.out
    with open_link(board.url) as link:
        assert link.plan_record() == load(path).mission_record()
        assert counts(link, load(path).mission_record()) and not counts(link, load(plan_file(42)).mission_record())
        assert link.greeting["reset"] == "asked"


def test_a_plan_that_is_there_is_not_written_again(run, board, plan_file):
    said = run("bench", "load", plan_file(70), "--port", board.url)
    assert said.status == 0 and "was there already" in said.out and "generation 1" in said.out


def test_damaged_copies_are_replaced(run, practised, plan_file):
    board = practised("plan-damaged")
    assert "none: no copy is whole" in run("bench", "status", "--port", board.url).out
    assert run("bench", "load", plan_file(70), "--port", board.url).status == 0
    assert "whole copies 2 of 2" in run("bench", "status", "--port", board.url).out


def test_a_flash_that_takes_nothing_is_told_and_the_plan_before_counts(run, practised, plan_file):
    board = practised("store-read-only")
    said = run("bench", "load", plan_file(41), "--port", board.url)
    assert said.status == 1 and "the plan could not be written: the one before counts" in said.err


def test_a_plan_that_does_not_add_up_never_reaches_a_board(run, plan_file, tmp_path):
    said = run("bench", "load", plan_file(100), "--port", "socket://127.0.0.1:1")
    assert said.status == 1 and "mAh" in said.err
    (tmp_path / "no.toml").write_text("[dive]\n")
    assert run("bench", "load", tmp_path / "no.toml", "--port", "socket://127.0.0.1:1").status == 2


@pytest.mark.parametrize("touch", [{"contact_wet": 1}])
def test_a_wet_lander_keeps_its_plan(run, practised, plan_file, touch):
    board = practised()
    board.set(**touch)
    said = run("bench", "load", plan_file(41), "--port", board.url)
    assert said.status == 1 and "water" in said.err
