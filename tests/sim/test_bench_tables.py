"""What a benchmark tells of an aim: reached or missed, and by how much. Worked by hand; there is no outside source."""

import os
import platform

import pytest

from seatrial.bench_tables import Outcome, Table, grouped, machine, markdown, number, summary

AT_LEAST = dict(aim=500_000, unit=": 1")
AT_MOST = dict(aim=2.0, unit="s", at_least=False)


@pytest.mark.parametrize("outcome, ratio, told", [
    (Outcome("sea", measured=320_000, **AT_LEAST), 0.64, "missed: 36 % below the aim"),
    (Outcome("sea", measured=500_000, **AT_LEAST), 1.0, "reached"),
    (Outcome("sea", measured=499_900, **AT_LEAST), 0.9998, "missed: 0.02 % below the aim"),
    (Outcome("page", measured=1.6, **AT_MOST), 1.25, "reached"),
    (Outcome("page", measured=2.5, **AT_MOST), 0.8, "missed: 25 % above the aim"),
    (Outcome("bytes", 0.0, 0.0, "bytes", False), None, "reached"),
    (Outcome("bytes", 0.0, 32.0, "bytes", False), None, "missed by 32 bytes"),
])
def test_an_aim_is_told_with_the_ratio_to_it_and_with_what_is_missing(outcome, ratio, told):
    assert outcome.told == told
    assert outcome.ratio == (ratio if ratio is None else pytest.approx(ratio))
    assert outcome.is_reached == (told == "reached")


def test_a_table_comes_with_its_lines_before_it_and_its_aims_behind_it():
    table = Table(("How long:",), ("what", "s"), (("page", "1.60"),), (Outcome("Page", measured=1.6, **AT_MOST),))
    assert list(markdown(table)) == ["How long:", "", "| what | s |", "|---|---|", "| page | 1.60 |", "",
                                     "Page: 1.6 s, aim up to 2 s, ratio to the aim 1.25; reached."]
    assert summary(table.outcomes)[2:] == ["| Page | up to 2 s | 1.6 s | 1.25 | reached |"]


def test_what_was_not_made_is_a_sentence_and_no_table():
    assert list(markdown(Table(("Not measured: no MicroPython.",), (), ()))) == ["Not measured: no MicroPython."]


@pytest.mark.parametrize("value, text", [(7, "7"), (312_345, "312 000"), (1_372_900, "1 370 000"), (999.6, "1000")])
def test_numbers_are_told_with_three_digits_in_groups(value, text):
    assert grouped(value) == text


@pytest.mark.parametrize("value, text", [(65_536, "65 536"), (1.7349, "1.73"), (0.0, "0"), (600.0, "600")])
def test_numbers_beside_an_aim_are_whole_from_a_thousand_on(value, text):
    assert number(value) == text


def test_the_machine_is_named_with_its_cores_its_python_and_its_load():
    told = machine()
    assert "%d cores" % os.cpu_count() in told and platform.python_version() in told
    assert float(told.rsplit("load ", 1)[1]) >= 0.0
