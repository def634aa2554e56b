"""What a person sees of a controller: where it is, what it does, what it feels. Nothing of it is changed by looking."""

import io
import json
import re
from datetime import UTC, datetime

import pytest
from rich.console import Console

from lander.signals import INPUTS, OUTPUTS
from lander.words import REFUSALS
from tumblehome.bench import ports
from tumblehome.bench.link import open_link
from tumblehome.bench.watch import INVALID, VALID_BY, readings_table

from .cable import answering

NOBODY = "socket://127.0.0.1:1"


@pytest.fixture
def usb(monkeypatch):
    """Only these ports are USB ports of this machine."""
    def have(*urls: str) -> None:
        monkeypatch.setattr(ports, "usb_ports", lambda: dict.fromkeys(urls, "adapter"))
        monkeypatch.setattr("tumblehome.bench.listing.usb_ports", lambda: dict.fromkeys(urls, "adapter"))
    return have


# --- list -----------------------------------------------------------------------------------------------------------


def test_the_list_tells_who_answers_and_who_does_not(run, board, usb):
    usb(board.url)
    said = run("bench", "list", "--port", NOBODY, "--json")
    one, other = json.loads(said.out)
    assert said.status == 0
    assert (one["port"], one["board"], one["state"], one["id"]) == (board.url, "pico", "safe", b"practice".hex())
    assert other["port"] == NOBODY and other["problem"].startswith("cannot open")
    assert "pico" in run("bench", "list").out


def test_an_empty_machine_is_told(run, usb):
    usb()
    said = run("bench", "list")
    assert said.status == 1 and "no USB serial port" in said.out


def test_the_list_leaves_a_session_as_it_is(run, practised, usb):
    usb()
    board = practised()
    with open_link(board.url) as link:
        link.session()
        told = json.loads(run("bench", "list", "--port", board.url, "--json").out)
        assert told[0]["state"] == "in a session"
        assert "used" in link.ask("heap"), "it is still in lockstep"


# --- the port that is taken when none is named ----------------------------------------------------------------------


def test_the_only_controller_is_taken_and_of_two_none(run, board, practised, usb):
    usb(board.url, NOBODY)
    assert board.url in run("bench", "status").out
    other = practised()
    usb(board.url, other.url)
    said = run("bench", "status")
    assert said.status == 2 and "2 controllers answer: choose one by --port %s or %s" % (board.url, other.url) in said.err
    usb()
    said = run("bench", "status")
    assert said.status == 2 and "no controller was found" in said.err


# --- status ---------------------------------------------------------------------------------------------------------


def test_the_status_tells_versions_state_plan_journal_clock_and_supply(run, board):
    said = run("bench", "status", "--port", board.url)
    assert said.status == 0
    for words in ("tumblehome ", "pico, chip", "power came", "safe", "whole copies 2 of 2", "slots free", " V",
                  datetime.now(UTC).strftime("%Y-")):
        assert words in said.out, words
    told = json.loads(run("bench", "status", "--port", board.url, "--json").out)
    assert told["hello"]["board"] == "pico" and told["status"]["state"] == "safe"


# --- watch ----------------------------------------------------------------------------------------------------------


def test_piped_it_tells_all_first_and_then_what_has_changed(run, practised):
    board = practised()
    board.set(leak_wet=1)
    said = run("bench", "watch", "--seconds", "0.6", "--every", "0.3", "--port", board.url)
    first, *more = said.out.splitlines()
    assert said.status == 0 and more
    assert len(first.split()) == 1 + len(INPUTS) + len(OUTPUTS) + 1
    assert all(len(line.split()) < len(first.split()) for line in more)
    assert datetime.strptime(first.split()[0], "%Y-%m-%dT%H:%M:%SZ").year == datetime.now(UTC).year


def test_a_board_that_starts_anew_while_it_is_watched_is_told(run):
    uptimes = iter((50, 7, 9))
    hello = "ok lander=0 wire=2 orders=2 journal=1 board=pico id=01 reset=watchdog"
    values = {name: low for name, low, *_more in (*INPUTS, *OUTPUTS)}

    def answer(line: bytes) -> bytes:
        number, verb, *pairs = line.decode().partition("*")[0].split()
        if verb == "hello":
            return ("%s %s*typed\n" % (number, hello)).encode()
        if pairs == ["from=0"]:
            return ("%s ok uptime_ds=%d next=1*typed\n" % (number, next(uptimes))).encode()
        at = int(pairs[0].removeprefix("from="))
        names = [*values][at:at + 5]
        further = at + 5 if at + 5 < len(values) else -1
        said = " ".join("%s=%d" % (name, values[name]) for name in names)
        return ("%s ok %s%s next=%d*typed\n" % (number, said, " faults=0" if further < 0 else "", further)).encode()
    with answering(answer) as url:
        said = run("bench", "watch", "--seconds", "0.3", "--every", "0.1", "--port", url)
    assert said.status == 0, said
    assert said.out.count("the controller has started anew: watchdog") == 1


def test_a_reading_that_cannot_be_read_is_no_number():
    seen = {name: low for name, low, *_more in (*INPUTS, *OUTPUTS)}
    seen.update(faults=0, pressure_mbar=1013, pressure_ok=0, leak_wet=0, leak_ok=1)
    lines = {line.split()[0]: line for line in printed(seen, 120).splitlines() if line.split()}
    assert INVALID in lines["pressure_mbar"] and "1013" not in lines["pressure_mbar"]
    assert INVALID not in lines["leak_wet"]


def test_the_live_table_tells_the_clock_and_what_is_numbered_in_words():
    # 218194283 s from 2020-01-01 to 2026-11-30T09:31:23Z, by Python's datetime.
    seen = {name: low for name, low, *_more in (*INPUTS, *OUTPUTS)}
    seen.update(faults=0, clock_s=218194283, clock_ok=1, reset_cause=1, primary_circuit=2, backup_circuit=1)
    words = " ".join(printed(seen, 120).split())
    for told in ("clock_s 09:31:23Z", "reset_cause watchdog", "primary_circuit open", "backup_circuit sound"):
        assert told in words


@pytest.mark.parametrize("refused", REFUSALS)
def test_a_terminal_of_80_by_24_shows_all_of_it(refused):
    highest = {name: high for name, _low, high, *_more in (*INPUTS, *OUTPUTS)}
    seen = highest | {"state": 2, "refused": refused, "status_code": 2, "faults": 0}
    shown = printed(seen, 80)
    assert "\u2026" not in shown and len(shown.splitlines()) < 24
    assert all(re.search(r"\b%s +%s\b" % (name, highest[name]), shown) for name in ("supply_ma", "supply_mv", "wake_ds"))


def printed(seen, width):
    console = Console(width=width, record=True, file=io.StringIO())
    console.print(readings_table(seen, [], width))
    return console.export_text()


def test_every_reading_of_validity_belongs_to_a_reading():
    validities = {name for name, *_range in INPUTS if name.endswith("_ok")}
    assert set(VALID_BY.values()) == validities and set(VALID_BY) <= {name for name, *_range in INPUTS}
