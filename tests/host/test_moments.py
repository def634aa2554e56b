"""Moments that are written for an option, by ISO 8601-1:2019 (4.3, time shifts), and moments that are shown: all in UTC."""

import ast
import re
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest

from tumblehome.moments import MomentError, iso, utc

ROOT = Path(__file__).resolve().parents[2]
CLOCK = re.compile(r"%H:?%M")
SAYS_UTC = re.compile(r"UTC|Z\b")
SIMPLE = ast.Return | ast.Assign | ast.AnnAssign | ast.AugAssign | ast.Expr | ast.Raise
# Shown where something beside it says which time it is, or as another standard has it.
BESIDE = {"host/tumblehome/page/card.py": "local time, which it is called, in brackets behind UTC",
          "host/tumblehome/page/clock.py": "under a heading or behind a word that says UTC",
          "host/tumblehome/find/exports.py": "the name of a waypoint, day and time of which stand in its own fields",
          "sim/seatrial/workings/times.py": "local time, under a heading with its offset from UTC",
          "sim/seatrial/workings/moments.py": "local time, which it is called, behind UTC",
          "host/tumblehome/wording.py": "behind a word that says UTC, or in a column under one",
          "sim/seatrial/chips/gnss.py": "as NMEA 0183 has it"}


@pytest.mark.parametrize("text, wanted", [
    ("2027-05-18T06:30Z", datetime(2027, 5, 18, 6, 30, tzinfo=UTC)),
    ("2027-05-18 06:30+02:00", datetime(2027, 5, 18, 4, 30, tzinfo=UTC)),
    (" 20270518T063000Z ", datetime(2027, 5, 18, 6, 30, tzinfo=UTC)),
])
def test_a_moment_with_its_zone_is_taken_in_utc(text, wanted):
    assert utc(text) == wanted and utc(text).tzinfo is UTC


@pytest.mark.parametrize("text, said", [
    ("noon", "noon is no moment: write it such as 2027-05-18T06:30Z, which is UTC"),
    ("2027-05-18T06:30", "has no zone: write Z"), ("2027-05-18", "has no zone: write Z"),
    ("0001-01-01T00:00+14:00", "outside the years 2000 to 2099"), ("9999-12-31T23:59-12:00", "outside the years"),
    ("\x1b[31m", "?[31m is no moment"), ("x" * 500, "x" * 40 + " is no moment"),
])
def test_what_is_no_moment_in_utc_is_told(text, said):
    with pytest.raises(MomentError) as told:
        utc(text)
    assert said in str(told.value)


def test_a_moment_of_a_file_is_in_utc_and_reads_back():
    moment = datetime(2027, 5, 18, 4, 30, 7, tzinfo=timezone(timedelta(hours=-2)))
    assert iso(moment) == "2027-05-18T06:30:07Z" and utc(iso(moment)) == moment


@pytest.mark.parametrize("words", [
    ("deck", "--splash"), ("find", "--at"), ("find", "--not-heard-until"), ("find", "--down-at")])
def test_every_option_for_a_moment_wants_its_zone(run, words):
    said = run(*words, "2027-05-18T06:30")
    assert said.status == 2
    assert said.err.startswith("%s 2027-05-18T06:30 has no zone: write Z behind it if it is UTC" % words[-1])


def clock_times(path: Path) -> list[str]:
    """The statements that write a time of the clock."""
    text = path.read_text(encoding="utf-8")
    if not CLOCK.search(text):
        return []
    plain = (ast.unparse(node) for node in ast.walk(ast.parse(text)) if isinstance(node, SIMPLE)
             and not (isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)))
    return [statement for statement in plain if CLOCK.search(statement)]


def test_every_time_of_the_clock_that_is_written_says_that_it_is_utc():
    for path in sorted(path for folder in ("host", "sim") for path in (ROOT / folder).rglob("*.py")):
        if path.relative_to(ROOT).as_posix() not in BESIDE:
            for statement in clock_times(path):
                assert SAYS_UTC.search(statement), (path, statement)
